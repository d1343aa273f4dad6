"""The marked string walked over rows gives the plot's seed, fertiliser and manure."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from districtplan.errors import InputError
from districtplan.handbook import packaged, practice
from districtplan.inputs import marked_string, walk_string
from districtplan.inputs.marked_string import MEASURES
from tests.conftest import plan_of
from tests.support import needed, renumbered

RATES = {"npk_kg_ha": 100.0, "urea_kg_ha": 40.0, "manure_kg_ha": 5_000.0}
WEIGHED = {"cap_npk_g": 6.0, "cap_urea_g": 5.0, "handful_manure_g": 300.0}
GIVEN = ("npk", "manure")
PRACTICES = {
    "beans": {},
    "beans, farm-saved seed": {"seed_class": "farm-saved"},
    "40 x 10": {"row_spacing_cm": 40.0},
    "50 x 20, 2 seeds": {"hole_spacing_cm": 20.0, "seeds_per_hole": 2},
    "75 x 10": {"row_spacing_cm": 75.0},
}


def recipe(practice: dict, weighed: dict, book=None):
    return marked_string(plan_of(practice=practice, string=weighed), book or packaged())


@pytest.mark.published
@pytest.mark.parametrize(
    ("rate", "holes"), [(50.0, 24), (100.0, 12), (150.0, 8), (200.0, 6)], ids=str
)
def test_a_cap_of_6_g_at_50_by_10(rate, holes):
    """100 kg/ha at rows of 50 cm is 5 g a metre: one cap to 1.2 m, which is 12 holes."""
    string = recipe({"npk_kg_ha": rate}, {"cap_npk_g": 6.0})
    (mark,) = string.marks
    assert (mark.measures, mark.holes) == (1, holes)
    assert mark.every_m == pytest.approx(holes / 10)
    assert mark.error_pct == 0
    assert string.string_m <= 20
    assert string.holes % holes == 0
    assert string.stick_m == 0.5


@pytest.mark.published
def test_manure_at_5_t_a_hectare():
    """5 t/ha at 50 x 10 cm is 25 g a hole: a measure of 300 g is for 12 holes."""
    (mark,) = recipe({"manure_kg_ha": 5_000.0}, {"handful_manure_g": 300.0}).marks
    assert (mark.good, mark.holes, mark.error_pct) == ("manure", 12, 0)


@pytest.mark.parametrize("name", practice.names())
def test_the_string_gives_what_plots_need_under_every_practice(name):
    """A string of each shipped practice, laid along rows, gives the rate of the plan."""
    book = packaged().with_practice(*practice.packaged(name))
    asked = plan_of(practice={"name": name, **RATES}, string=WEIGHED).under(book)
    string = marked_string(asked, book)
    apart_m = asked.practice.bean_rows_apart_cm / 100
    rows = np.random.default_rng(5).uniform(12, 48, 70)
    laid = walk_string(string, rows)
    need = needed(rows.sum() * apart_m / 10_000, asked, book).iloc[0]
    assert abs(laid.seeds - need["seeds"]) <= len(rows) / 2 * string.seeds_per_hole
    for mark in string.marks:
        off = abs(mark.error_pct) / 100 + 0.02
        assert laid.grams[mark.good] == pytest.approx(float(need[f"{mark.good}_g"]), rel=off)


@pytest.mark.parametrize("name", PRACTICES)
def test_walked_over_rows_it_gives_what_the_plot_needs(name):
    """Rows of a plot at even spacing: seed to a hole a row, goods to half a measure a row."""
    practice = {**PRACTICES[name], **RATES}
    plan = plan_of(practice=practice, string=WEIGHED)
    string = marked_string(plan, packaged())
    draw = np.random.default_rng(5)
    rows = draw.uniform(12, 48, 70)
    area_ha = rows.sum() * plan.practice.row_spacing_cm / 100 / 10_000
    need = needed(area_ha, plan).iloc[0]
    laid = walk_string(string, rows)
    assert abs(laid.seeds - need["seeds"]) <= len(rows) / 2 * string.seeds_per_hole
    for mark in string.marks:
        asked = float(need[f"{mark.good}_g"])
        rounding = abs(mark.error_pct) / 100 * asked
        half = mark.measures * mark.measure_g / 2
        # A string whose marks don't come round has one odd gap where it is laid again.
        assert abs(laid.grams[mark.good] - asked) <= 2 * rounding + len(rows) * half
        # Rows end anywhere between marks, so that halves all but cancel.
        assert laid.grams[mark.good] == pytest.approx(asked, rel=abs(mark.error_pct) / 100 + 0.02)
        assert laid.grams[mark.good] == laid.measures[mark.good] * mark.measure_g


def test_holes_are_counted_as_rows_count_them():
    string = recipe({}, {})
    rows = np.random.default_rng(3).uniform(0.01, 70, 500)
    counted = np.maximum(1, np.floor(rows / 0.1 + 0.5)).astype(int)
    assert walk_string(string, rows).holes == counted.sum()
    assert walk_string(string, [20.0, 40.0, 0.02, 0.14, 0.15]).holes == 200 + 400 + 1 + 1 + 2


def test_a_string_laid_again_keeps_in_step():
    """One row of 96 m is five strings of 19.2 m: 80 caps, no more and no less."""
    string = recipe({"npk_kg_ha": 100.0}, {"cap_npk_g": 6.0})
    assert string.string_m == pytest.approx(19.2)
    assert walk_string(string, [96.0]).measures == {"npk": 80}
    pieces = walk_string(string, [19.2] * 5)
    assert (pieces.measures["npk"], pieces.holes) == (80, 960)


def test_marks_walked_one_by_one():
    """The counts are those of a walk that puts each mark of each laid string on the ground."""
    string = recipe(RATES, WEIGHED)
    rows = np.random.default_rng(8).uniform(0.3, 65, 60)
    for mark in string.marks:
        places = (np.arange(mark.on_string) + 0.5) * mark.every_m
        laid = 0
        for row in rows:
            starts = np.arange(int(row // string.string_m) + 1) * string.string_m
            laid += int(((starts[:, None] + places).ravel() <= row).sum())
        assert walk_string(string, rows).measures[mark.good] == laid * mark.measures


def test_several_measures_where_one_is_too_coarse():
    """14 g for 10 g a hole: one to a hole is 40 % too much; two to three holes 7 % too little."""
    (mark,) = recipe({"manure_kg_ha": 2_000.0}, {"handful_manure_g": 14.0}).marks
    assert (mark.measures, mark.holes) == (3, 4)
    assert mark.error_pct == pytest.approx(5.0, abs=1.5)
    (large,) = recipe({"manure_kg_ha": 5_000.0}, {"handful_manure_g": 12.5}).marks
    assert (large.measures, large.holes, large.error_pct) == (2, 1, 0)


@given(
    st.floats(40, 400), st.floats(3, 12), st.floats(1_000, 20_000), st.floats(100, 900),
    st.sampled_from([30.0, 50.0, 75.0]), st.sampled_from([10.0, 20.0, 25.0]),
)  # fmt: skip
@settings(deadline=None, max_examples=60)
def test_the_error_told_is_that_of_a_long_row(npk, cap, manure, tin, row_cm, hole_cm):
    practice = {
        "npk_kg_ha": npk, "manure_kg_ha": manure,
        "row_spacing_cm": row_cm, "hole_spacing_cm": hole_cm,
    }  # fmt: skip
    # Below half a hole, or over a string, a measure is refused; other tests see to that.
    grams_a_hole = {good: practice[f"{good}_kg_ha"] * row_cm * hole_cm / 1e5 for good in GIVEN}
    assume(all(size / grams_a_hole[good] > 0.3 for good, size in (("npk", cap), ("manure", tin))))
    assume(cap / grams_a_hole["npk"] * hole_cm < 1_990)
    assume(tin / grams_a_hole["manure"] * hole_cm < 1_990)
    string = recipe(practice, {"cap_npk_g": cap, "handful_manure_g": tin})
    assert 0.75 * 20 - 1e-6 <= string.string_m <= 20 + 1e-6
    length = 1_000 * string.string_m
    laid = walk_string(string, [length])
    for mark in string.marks:
        rate = practice[f"{mark.good}_kg_ha"] / 10 * row_cm / 100
        assert laid.grams[mark.good] / (rate * length) - 1 == pytest.approx(
            mark.error_pct / 100, abs=1e-6
        )


@pytest.mark.parametrize(
    ("practice", "weighed", "told"),
    [
        ({"npk_kg_ha": 10.0}, {"cap_npk_g": 60.0}, "120.0 m of row, more than string_m = 20"),
        ({"manure_kg_ha": 40_000.0}, {"handful_manure_g": 5.0}, "needed 40.0 times at each hole"),
    ],
)
def test_a_measure_of_the_wrong_size_is_told(practice, weighed, told):
    with pytest.raises(InputError, match=told) as caught:
        recipe(practice, weighed)
    assert all(fault.remedy for fault in caught.value.faults)


def test_all_wrong_measures_are_told_together():
    with pytest.raises(InputError) as caught:
        recipe({"npk_kg_ha": 10.0, "urea_kg_ha": 10.0}, {"cap_npk_g": 60.0, "cap_urea_g": 70.0})
    assert len(caught.value.faults) == 2


def test_what_was_not_weighed_is_named():
    string = recipe(RATES, {"cap_npk_g": 6.0})
    assert [mark.good for mark in string.marks] == ["npk"]
    assert string.not_weighed == ("urea", "manure")
    assert recipe({}, WEIGHED).marks == ()
    assert recipe({}, WEIGHED).string_m == pytest.approx(20)


@pytest.mark.parametrize("good", MEASURES)
def test_each_plan_key_changes_its_marks_alone(good):
    usual = {mark.good: mark for mark in recipe(RATES, WEIGHED).marks}
    key = MEASURES[good]
    other = recipe(RATES, {**WEIGHED, key: WEIGHED[key] * 0.5})
    changed = {mark.good for mark in other.marks if mark.holes != usual[mark.good].holes}
    assert changed == {good}


def test_the_string_is_as_long_as_the_plan_has_it():
    assert recipe(RATES, {**WEIGHED, "string_m": 30.0}).string_m > 20


@pytest.mark.parametrize(
    ("name", "other", "practice", "weighed"),
    [
        ("string_share_min", 0.95, RATES, {**WEIGHED, "cap_npk_g": 5.3}),
        ("rounding_max_pct", 50.0, {"manure_kg_ha": 2_000.0}, {"handful_manure_g": 14.0}),
        ("measures_max", 2.0, {"manure_kg_ha": 2_000.0}, {"handful_manure_g": 14.0}),
    ],
)
def test_handbook_numbers_matter(name, other, practice, weighed):
    changed = recipe(practice, weighed, renumbered("marked_string", name, other))
    assert changed != recipe(practice, weighed)


def off_by(string, rows, plan, book) -> dict[str, float]:
    """How far a walk by the string is from the plan's need, as a share, seed and goods."""
    need = needed(rows.sum() * plan.practice.bean_rows_apart_cm / 100 / 10_000, plan, book).iloc[0]
    laid = walk_string(string, rows)
    found = {good: grams / float(need[f"{good}_g"]) - 1 for good, grams in laid.grams.items()}
    return found | {"seed": laid.seeds / float(need["seeds"]) - 1}


@pytest.mark.parametrize("name", practice.names())
@pytest.mark.parametrize("good", ["seed", *MEASURES])
def test_a_wrong_mark_is_seen(name, good):
    """Marks set a tenth too far apart, one more of them gone from the string: the walk tells."""
    book = packaged().with_practice(*practice.packaged(name))
    asked = plan_of(practice={"name": name, **RATES}, string=WEIGHED).under(book)
    string = marked_string(asked, book)
    rows = np.random.default_rng(5).uniform(12, 48, 70)

    def within(one) -> bool:
        found = off_by(one, rows, asked, book)
        told = {mark.good: abs(mark.error_pct) / 100 for mark in string.marks}
        return all(abs(off) <= told.get(what, 0.0) + 0.02 for what, off in found.items())

    assert within(string)
    if good == "seed":
        holes = round(string.holes / 1.1)
        wrong = dataclasses.replace(string, holes=holes, hole_m=string.hole_m * 1.1)
    else:
        marks = (
            dataclasses.replace(
                mark, every_m=mark.every_m * 1.1, on_string=round(mark.on_string / 1.1) - 1
            )
            if mark.good == good
            else mark
            for mark in string.marks
        )
        wrong = dataclasses.replace(string, marks=tuple(marks))
    assert not within(wrong)


def test_pegs_stand_no_farther_apart_than_the_string_reaches():
    far = plan_of(practice=RATES, string={"string_m": 20.0}, rows={"peg_step_m": 20.0})
    marked_string(far, packaged())
    with pytest.raises(InputError, match="would not reach from peg to peg"):
        marked_string(plan_of(practice=RATES, rows={"peg_step_m": 25.0}), packaged())
