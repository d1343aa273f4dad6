"""Words for the field: each number comes from the plan, the handbook or a stage."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from districtplan.handbook import packaged
from districtplan.inputs import marked_string
from districtplan.inputs.marked_string import MEASURES
from districtplan.outputs.field_words import (
    LEVELS,
    bears_words,
    level_words,
    lines_words,
    paces,
    pocket_words,
    string_line,
    string_words,
    tie_words,
)
from districtplan.rows import pocket_table
from districtplan.rows.corner import SIDES, Tie
from tests.conftest import plan_of
from tests.support import renumbered

PLAN = plan_of()
RATES = {"npk_kg_ha": 100.0, "urea_kg_ha": 40.0, "manure_kg_ha": 5_000.0}
WEIGHED = {"cap_npk_g": 6.0, "cap_urea_g": 5.0, "handful_manure_g": 300.0}


def test_tolerances_are_grade_times_span(texts):
    said = level_words(PLAN, packaged(), texts)
    assert list(said) == [texts.say(f"level.{name}.title") for name in LEVELS]
    assert "2 % at most: 4 cm over 2 m" in " ".join(said["A-frame"])
    assert "2 % at most: 20 cm over 10 m" in " ".join(said["Line level"])
    strict = level_words(plan_of(terrain={"row_grade_limit_pct": 1.0}), packaged(), texts)
    assert "1 % at most: 2 cm over 2 m" in " ".join(strict["A-frame"])
    for sentences in said.values():
        whole = " ".join(sentences)
        assert "more than 10 cm high or low for each 50 m" in whole
        assert "as high as the last" in whole
        assert "For a line that falls" not in whole
        assert "about every 2 m" in whole


@pytest.mark.parametrize("grade", [1.0, -1.0])
def test_a_graded_line_has_its_drop(texts, grade):
    said = level_words(PLAN, packaged(), texts, grade)
    assert "as high as the line drops over 2 m" in " ".join(said["A-frame"])
    assert "by what the line drops over 10 m" in " ".join(said["Line level"])
    assert "falls 1 %" in " ".join(said["A-frame"])
    assert "2 cm lower over 2 m" in " ".join(said["A-frame"])
    assert "10 cm lower over 10 m" in " ".join(said["Water tube"])


@pytest.mark.parametrize(
    "name",
    [
        "a_frame_span_m",
        "line_level_span_m",
        "water_tube_span_m",
        "closing_error_cm",
        "closing_run_m",
    ],
)
def test_handbook_numbers_matter(texts, name):
    value = packaged().number("setting_out", name)
    other = level_words(PLAN, renumbered("setting_out", name, value + 1), texts)
    assert other != level_words(PLAN, packaged(), texts)


ON_EDGE = (np.nan, np.nan, (0.0, 0.0))


def test_paces_are_the_plans(texts):
    tie = Tie("south-west", 30.0, "anticlockwise", 0.25, 195.0, 193.0, (0.0, 0.0))
    said = tie_words(tie, "C", PLAN, texts)
    assert said == (
        "30.0 m (40 paces) along the edge from corner C (south-west), the plot on your left, "
        "then 0.2 m into the plot towards 193° by compass"
    )
    assert paces(30.0, plan_of(rows={"pace_m": 0.6})) == 50
    unknown = replace(tie, inside_magnetic_deg=np.nan)
    assert tie_words(unknown, "C", PLAN, texts).endswith("0.2 m into the plot towards the south")
    near = Tie("north", 0.8, "clockwise", 0.0, *ON_EDGE)
    assert "(1 pace)" in tie_words(near, "A", PLAN, texts)
    there = Tie("north", 0.0, "clockwise", 0.0, *ON_EDGE)
    assert tie_words(there, "A", PLAN, texts) == "at corner A (north)"
    assert tie_words(there, None, PLAN, texts) == "at the north corner"


@pytest.mark.parametrize(("way", "hand"), [("clockwise", "right"), ("anticlockwise", "left")])
def test_seen_from_above_a_plot_walked_clockwise_is_on_the_right(texts, way, hand):
    said = tie_words(Tie("north", 12.0, way, 0.0, *ON_EDGE), "B", PLAN, texts)
    assert (
        said == f"12.0 m (16 paces) along the edge from corner B (north), the plot on your {hand}"
    )


def test_every_corner_has_a_name(texts):
    assert {texts.say(f"pegs.{side}") for side in SIDES} == set(SIDES)


def test_the_string_says_its_numbers(texts):
    string = marked_string(plan_of(practice=RATES, string=WEIGHED), packaged())
    said = " ".join(string_words(string, texts))
    assert f"Knot a string at {string.string_m:.4g} m" in said
    assert "1 level cap (6 g) each 12 holes (1.2 m), the first mark 0.6 m" in said
    assert "Cut a stick of 50 cm" in said
    for mark in string.marks:
        assert f"{mark.on_string} marks" in said
    assert "they may not touch" in said
    assert "No marks" not in said


@pytest.mark.parametrize(
    ("rate", "string", "told"),
    [
        # At rows of 50 cm 127 kg/ha are 6.35 g a metre: 99.7 g on the string, and 17 caps are 102.
        (127.0, "Knot a string at 15.7 m", "2.3 % more than"),
        # 21 g a metre are 319.2 g on the string, and 51 caps are 306.
        (420.0, "Knot a string at 15.2 m", "4.1 % less than"),
    ],
)
def test_rounding_is_told_in_percent(texts, rate, string, told):
    plan = plan_of(practice={"npk_kg_ha": rate}, string={"cap_npk_g": 6.0})
    said = " ".join(string_words(marked_string(plan, packaged()), texts))
    assert string in said
    assert f"{told} the plan's rate" in said


@pytest.mark.parametrize(("hole", "first"), [(10.0, "5"), (25.0, "12.5")])
def test_the_first_hole_is_half_a_space_from_the_start(texts, hole, first):
    string = marked_string(plan_of(practice={"hole_spacing_cm": hole}), packaged())
    said = " ".join(string_words(string, texts))
    assert f"Mark a hole each {hole:g} cm, the first {first} cm from the start:" in said


def test_the_stick_is_from_bean_row_to_bean_row(texts):
    """120 cm of maize to maize, beans 30 cm from it: 60 cm are left between two rows of beans."""
    band = {"maize_bean_rows": 2, "maize_row_spacing_cm": 120.0, "maize_bean_distance_cm": 30.0}
    string = marked_string(plan_of(practice=band), packaged())
    assert "Cut a stick of 60 cm: that far apart are the rows." in string_words(string, texts)


@pytest.mark.parametrize("good", MEASURES)
def test_what_is_to_be_weighed_is_said(texts, good):
    string = marked_string(plan_of(practice={f"{good}_kg_ha": 100.0}), packaged())
    assert MEASURES[good] in " ".join(string_words(string, texts))


def test_two_seeds_and_several_measures(texts):
    practice = {"manure_kg_ha": 5_000.0, "seed_class": "farm-saved"}
    plan = plan_of(practice=practice, string={"handful_manure_g": 12.5})
    said = " ".join(string_words(marked_string(plan, packaged()), texts))
    assert "2 seeds in a hole" in said
    assert "2 measures (12.5 g each) each 1 holes" not in said
    assert "2 measures (12.5 g each) at each hole" in said


def test_the_pocket_table_in_words(texts):
    pocket = pocket_table(PLAN, packaged())
    heads, *rows = pocket_words(pocket, 10.0, texts)
    cells = {row[0]: dict(zip(heads, row, strict=True)) for row in rows}
    assert len(heads) == len(pocket.rows) + 1
    assert cells["Next line, paces"]["2 m"] == "10 to 20"
    assert cells["lower by"]["2 m"] == "1.5 to 3 m"
    assert cells["Next line, paces"]["1 m"] == "20"
    assert cells["5, 10, 20° off: cm"]["2 m"] == "17, 35, 68"
    limits = {"perennials_from_slope_pct": 45.0, "forest_from_slope_pct": 62.0}
    said = bears_words(plan_of(erosion=limits).erosion, 10.0, texts)
    assert "from 1.2 m in 10 m ask" in said
    assert "from 4.5 m perennials; from 6.2 m forest" in said


def test_a_line_says_what_the_string_carries(texts):
    string = marked_string(plan_of(practice=RATES, string=WEIGHED), packaged())
    said = string_line(string, texts)
    assert said.startswith("String: hole each 10 cm, 1 seed in it; ")
    for mark in string.marks:
        assert f"to {mark.holes}" in said
    # What is given later stands last.
    assert re.search(r"; first weeding: urea 1 cap to \d+\.$", said)
    early = plan_of(practice=RATES, string=WEIGHED, fertiliser={"urea_time": "planting"})
    assert "at planting: urea" in string_line(marked_string(early, packaged()), texts)


def test_a_peg_is_no_stake(texts):
    for section in ("level", "pegs", "string", "pocket"):
        for text in texts.section(section).values():
            assert not re.search(r"\bstakes?\b", text)


def test_each_guide_line_says_where_it_starts_and_which_rows_lie_beside_it(small_results, texts):
    lines = small_results.guides.lines.iloc[:1].assign(line_fall_pct=0.3)
    pegs = pd.DataFrame(
        {
            "line": 1,
            "peg_along_m": [0.0, 10.0, 20.0, 30.0, 34.0],
            "rows_in_gap": pd.array([24, 24, 25, 24, 27], dtype="Int64"),
        }
    )
    pegs = pegs.to_dict("records")

    def told(lines, pegs):
        return lines_words(lines.to_dict("records"), pegs, small_results, texts)

    (said,) = told(lines, pegs)
    assert "Line 1 starts 12.5 m (17 paces) along the edge from the south-west corner" in said
    assert "it falls 3 cm in 10 m" in said
    assert "Rows: 38 uphill, 40 downhill." in said
    assert "24 at its start, 25 from 20 m along it on, 24 from 30 m along it on." in said
    (level,) = told(lines.assign(line_fall_pct=0.0), [])
    assert "falls" not in level
    assert "gap" not in level
    # What stands there is found by looking.
    standing = lines.assign(guide_kind="standing structures")
    assert not told(standing, pegs)
