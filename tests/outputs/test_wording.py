"""Sentences: the right numbers, the right grammar, the gravest first."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from districtplan import erosion, rows, tables, terrain, water
from districtplan.outputs import wording
from districtplan.outputs.texts import Texts
from districtplan.terrain import Forecast, Spread
from districtplan.terrain.calibration import NOT_COMPARED


def _steep(results, counts, beyond=0):
    """Give results whose villages have these numbers of steep plots, of ten each."""
    villages = pd.DataFrame({"village": [f"V{i}" for i in range(len(counts))]})
    villages["plots"] = 10
    villages["plots_steep"] = counts
    district = results.district.copy()
    district["plots"] = 10 * len(counts)
    district["plots_steep"] = sum(counts)
    district["plots_beyond_equations"] = beyond
    return replace(results, villages=villages, district=district)


@pytest.mark.parametrize(
    ("counts", "beyond", "said"),
    [
        ([0, 0], 0, "None of 20 plots is too steep for rows alone."),
        ([0, 1], 0, "1 of 20 plots is too steep for rows alone. It is in V1."),
        ([0, 4], 0, "4 of 20 plots are too steep for rows alone. All of them are in V1."),
        ([1, 4], 0, "5 of 20 plots are too steep for rows alone. They are in V1 and V0."),
        (
            [2, 5, 0, 2, 9],
            2,
            "18 of 50 plots are too steep for rows alone. 16 of them are in three villages: V4, "
            "V1 and V0. 2 are steeper than the soil-loss equations reach: see to them first.",
        ),
        (
            [3, 0],
            1,
            "3 of 20 plots are too steep for rows alone. All of them are in V0. "
            "1 is steeper than the soil-loss equations reach: see to it first.",
        ),
    ],
)
def test_the_district_in_a_sentence(small_results, texts, counts, beyond, said):
    assert wording.district_finding(_steep(small_results, counts, beyond), texts) == said


def test_how_rows_are_laid_out(small_results, texts):
    assert " ".join(wording.rows_sentences(small_results, texts)) == (
        "On 1 of 12 plots straight rows can follow the bearing printed here. Of the others, 2 need "
        "a level for the first row, being steeper than 15 %, 2 need a guide line along the "
        "contour, 1 is level enough for any direction, 3 must be measured on the ground, 1 must "
        "wait until water has a safe way out and 2 are not for beans: the guidance there is forest "
        "or perennial crops. On 1 plot rows would drain onto a house, a path, a neighbour or "
        "something else that water harms: no rows before there is a safe outlet."
    )


def _measured(results, reason):
    plots = results.plots.copy()
    plots["row_method_raster"] = plots["row_method"] = "measure on the ground"
    plots["row_method_reason_raster"] = plots["row_method_reason"] = reason
    # Cells of 10 m under each plot.
    plots["cells"] = plots["area_ha"] * plots["raster_share"] * 100
    return replace(results, plots=plots)


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        (
            "bearing_too_uncertain",
            "The raster's error of 0.5 m on 10 m cells can't support a bearing on most plots this "
            "small: measure on the ground, or use a finer raster.",
        ),
        (
            "too_few_cells",
            "Cells of 10 m are too large for most plots this small: measure on the ground, or use "
            "a finer raster.",
        ),
    ],
)
def test_why_most_plots_are_measured(small_results, texts, reason, said):
    assert wording.served_sentences(_measured(small_results, reason), texts)[-1] == said


def _forecast(share, rough=False):
    return Forecast("a raster", 5.0, 0.5, share, share, rough)


@pytest.mark.parametrize(
    ("shares", "said"),
    [
        ([0.78], []),  # 9 of 12 are served now: no gain worth a raster
        (
            [0.95],
            ["5 m cells with an error of 0.5 m would serve about 2 plots more, 11 of 12 or 92 %"],
        ),
        ([], []),
    ],
)
def test_a_finer_raster_is_told_of_where_it_serves_more(small_results, texts, shares, said):
    forecasts = tuple(_forecast(share) for share in shares)
    first, *others = wording.served_sentences(replace(small_results, forecasts=forecasts), texts)
    land = 1 - small_results.district["area_unserved_ha"] / small_results.district["area_ha"]
    assert first.endswith(f"on 9 of 12 plots, {100 * land:.0f} % of their land.")
    assert len(others) == len(said)
    assert all(part in sentence for part, sentence in zip(said, others, strict=True))


def test_what_follows_from_a_number_minds_no_sign_of_a_language(texts):
    french = Texts.load("fr")
    spread = (Spread("", 20, 0.44, 0.4, 1.5),)
    for said in (
        lambda one: wording._finer_raster((_forecast(0.83),), 3, 98_765, one),
        lambda one: wording._spreads("slope", ("steep", "gentle"), spread, one),
    ):
        numbers, worded = (
            re.findall(r"\d[\d.,\u202f]*\d|\d", said(one)[0]) for one in (texts, french)
        )
        signs = str.maketrans({",": "\u202f", ".": ","})
        assert worded == [number.translate(signs) for number in numbers]


def test_counts_and_shares_of_a_finer_raster_follow_from_one_number(small_results, texts):
    for plots, served, share in itertools.product((7, 40, 250, 98_765), (0, 3), (0.83, 0.996, 1)):
        (said,) = wording._finer_raster((_forecast(share),), served, plots, texts)
        numbers = re.search(r"about ([\d,]+) plots more, ([\d,]+) of ([\d,]+) or (\d+) %", said)
        more, count, total, percent = (int(part.replace(",", "")) for part in numbers.groups())
        assert (count, total) == (served + more, plots)
        assert count <= total
        assert percent == pytest.approx(100 * count / total, abs=1)
        assert count / total == pytest.approx(share, abs=0.06)
    (said,) = wording._finer_raster((_forecast(0.9, rough=True),), 3, 40, texts)
    assert "rough" in said
    # A share of a plot more is none.
    assert wording._finer_raster((_forecast(1.0),), 7, 7, texts) == []


def test_villages_by_the_land_that_the_raster_serves(small_results, texts):
    villages = pd.DataFrame(
        {
            "village": [f"V{n:02}" for n in range(30)],
            "plots": 10,
            "plots_unserved": [n % 3 for n in range(30)],
            "plots_measure": [0 if n == 4 else n % 3 for n in range(30)],
            "area_ha": 1000.0,
            "area_unserved_ha": [0.0, 999.9, 0.1] * 10,
        }
    )
    *lines, more = wording.served_by_village(replace(small_results, villages=villages), texts)
    assert lines[0] == "  V01: 9 of 10 plots, 1 % of the land"
    assert lines[1] == "  V04: 9 of 10 plots, 1 % of the land; with readings 10"
    assert lines[10] == "  V02: 8 of 10 plots, 99 % of the land"
    assert len(lines) == wording.VILLAGES_LISTED
    assert more == "  and 10 villages more, which are better served."


def test_the_land_and_not_the_raster_is_not_blamed_on_the_raster(small_results, texts):
    said = wording.served_sentences(_measured(small_results, "no_best_direction"), texts)
    assert len(said) == 1


def test_every_code_makes_a_sentence(small_results, texts):
    row = small_results.plots.iloc[0].to_dict()
    said = []
    codes = (*erosion.FLAGS, *rows.FLAGS, *terrain.FLAGS, *water.FLAGS)
    for code in codes:
        row |= {"erosion_flags": (code,), "terrain_flags": (), "water_flags": ()}
        said += wording.flag_sentences(row, small_results.plan, texts)
    assert len(set(said)) == len(codes)
    assert not any("{" in sentence for sentence in said)
    row["erosion_flags"] = ()
    for reason in terrain.REASONS:
        row["row_method_reason"] = reason
        assert "{" not in wording.method_sentence(row, small_results.plan, texts)


def _row(results, plot_id):
    return results.plots.set_index("plot_id").loc[plot_id].to_dict()


def test_only_the_gravest_limit_of_land_use_is_said_and_first(small_results, texts):
    said = wording.flag_sentences(_row(small_results, "B4"), small_results.plan, texts)
    assert said[0] == "Not for beans: from 60 % slope the guidance is forest, not crops."
    assert not any("From 12 %" in sentence or "50 %" in sentence for sentence in said)
    said = wording.flag_sentences(_row(small_results, "A-03"), small_results.plan, texts)
    assert said[0].startswith("From 12 % slope")


@pytest.mark.parametrize("method", ["straight", "guide lines", "measure on the ground"])
def test_land_not_for_beans_gets_no_advice_on_rows(small_results, texts, method):
    row = _row(small_results, "B4") | {"row_method": method}
    said = wording.method_sentence(row, small_results.plan, texts)
    assert said == "No rows of beans are laid out here: the guidance is forest."
    assert wording.excluded_sentence(row, small_results.plan, texts).startswith("Not for beans")


def test_supported_rows_say_how_they_may_fall(small_results, texts):
    row = _row(small_results, "A-01")
    said = wording.method_sentence(row, small_results.plan, texts)
    assert said.startswith(
        "Straight rows at this bearing are likely to fall 0.1 % along the row, and no more than "
        "0.2 % 19 times in 20 (limit 2.0 %)."
    )
    assert "with a level" not in said.partition("Rows may rise")[0]
    unsure = row | {"row_bearing_se_deg": 5.1}
    assert "check with a level" in wording.method_sentence(unsure, small_results.plan, texts)


@pytest.mark.parametrize(("limit", "check"), [(15.0, True), (30.0, False)])
def test_on_steep_land_the_bearing_is_only_a_check(small_results, texts, limit, check):
    """The plot is 27 % steep; the slope that counts is the one in use."""
    plan = small_results.plan
    terrain_of = plan.terrain.model_copy(update={"bearing_check_slope_pct": limit})
    plan = plan.model_copy(update={"terrain": terrain_of})
    row = _row(small_results, "A-03")
    said = wording.method_sentence(row, plan, texts)
    told = f"steeper than {limit:g} %: set the first row with a level. The bearing is only a check."
    assert (told in said) == check == wording.bearing_is_check(row, plan)
    guided = row | {"row_method": "guide lines", "row_method_reason": "straight_rows_too_steep"}
    assert not wording.bearing_is_check(guided, plan)
    assert "Start here, and let the level decide" in wording.method_sentence(guided, plan, texts)


def test_where_lines_guide_the_rows_it_is_said_that_ends_are_not_looked_up(small_results, texts):
    said = {
        row["plot_id"]: wording.method_sentence(row, small_results.plan, texts)
        for row in small_results.plots.to_dict("records")
        if wording.excluded(row) is None
    }
    silent = {plot_id for plot_id, words in said.items() if "is not looked up" not in words}
    plots = small_results.plots.set_index("plot_id").loc[list(said)]
    assert silent == set(plots.index[plots["guide_kind"].isna()])
    assert len(silent) < len(said)


ENDS_SAID = [
    ({"row_end_ahead": "road", "row_end_behind": "road"}, "At both ends there is a road."),
    ({"row_low_end": "west end", "row_outlet": "house"}, "No rows before there is a safe outlet: "
     "they would drain onto a house at their west end."),
    ({"row_low_end": "west end", "row_outlet": "ditch", "row_fall_pct": 0.8},
     "Rows fall 0.8 % to their west end, where there is a ditch."),
    ({"row_low_end": "west end", "row_outlet": "not known", "row_fall_pct": 0.8},
     "What lies there is not known"),
    ({"row_end_ahead": "grass strip", "row_end_behind": "road"},
     "at the north-east end there is a grass strip, at the south-west end there is a road."),
    ({"row_end_ahead": "not known", "row_end_behind": "not known"},
     "What lies at the north-east and at the south-west end is not known"),
    ({"row_end_ahead": None, "row_end_behind": None},
     "What lies at the north-east and at the south-west end is not known"),
    ({"row_end_ahead": "house inside", "row_end_behind": "house inside"},
     "Whichever way they fall, some end at a house inside the plot."),
    ({"row_end_ahead": "path inside", "row_end_behind": "not known"},
     "towards the north-east some rows end at a path inside the plot, at the south-west end there "
     "is nothing that is known."),
    ({"row_low_end": "west end", "row_outlet": "house inside"}, "No rows before there is a safe "
     "outlet: as they fall to their west end, some would drain onto a house inside the plot."),
    ({"row_low_end": "west end", "row_outlet": "ditch inside", "row_fall_pct": 0.8},
     "Rows fall 0.8 % to their west end; some end at a ditch inside the plot."),
]  # fmt: skip


@pytest.mark.parametrize(("found", "told"), ENDS_SAID)
def test_where_rows_drain_is_told(small_results, texts, found, told):
    row = _row(small_results, "A-01") | found
    said = wording.method_sentence(row, small_results.plan, texts)
    assert told in said
    refused = str(found.get("row_outlet")).startswith("house")
    assert said.startswith("No rows before") == refused


FALLS_SAID = [
    ({"row_grade_design_pct": np.nan, "row_end_ahead": "road", "row_end_behind": "not known"},
     "at its ends: at the north-east end there is a road, at the south-west end there is nothing "
     "that is known."),
    ({"row_grade_design_pct": 0.2, "row_fall_to": "either end"}, "Both ends are safe"),
    ({"row_grade_design_pct": 0.2, "row_fall_to": "east end", "row_end_behind": "stream"},
     "fall at least 0.2 % to the east end, where there is a stream"),
    ({"row_grade_design_pct": 0.6, "row_fall_to": "east end", "row_low_end": "east end",
      "row_outlet": "waterway", "row_turn_deg": -3.2},
     "turned -3.2° (clockwise +) from the level line: rows fall 0.6 % to their east end, where "
     "there is a waterway."),
]  # fmt: skip


@pytest.mark.parametrize(("found", "told"), FALLS_SAID)
def test_what_fall_poorly_drained_rows_get_is_told(small_results, texts, found, told):
    plan = small_results.plan
    plan = plan.model_copy(update={"soil": plan.soil.model_copy(update={"drainage": "poor"})})
    assert told in wording.method_sentence(_row(small_results, "A-01") | found, plan, texts)


def test_strips_are_told_placed_or_not(small_results, texts):
    row = _row(small_results, "A-01") | {"water_flags": ()}
    said = [
        wording.strip_sentence(row | {"flow_strip_m2": area}, small_results.plan, texts)
        for area in (0.0, 12.0, np.nan)
    ]
    assert said[0] is None
    assert "on each side of a strip 4 m wide" in said[1]
    assert "let no row cross it" in said[2]


@pytest.mark.parametrize(("least", "how_much"), [(0, "about"), (1, "at least")])
def test_water_whose_way_is_not_known_is_an_instruction_told_once(
    small_results, texts, least, how_much
):
    row = _row(small_results, "A-01") | {
        "water_flags": ("crossed_by_flow",),
        "upslope_area_ha": 2.34,
        "upslope_area_at_least": least,
        "flow_strip_m2": np.nan,
    }
    plan = small_results.plan
    told = wording.water_sentence(row, plan, texts)
    assert told.startswith(
        f"Water gathers and crosses this plot ({how_much} 2.3 ha above): look for its way before "
        "you set rows, keep a strip of 4 m of grass there, and let no row cross it."
    )
    flags = wording.flag_sentences(row, plan, texts)
    assert flags.count(told) == 1
    assert sum("ha" in said and "Water gathers" in said for said in flags) == 1
    placed = row | {"flow_strip_m2": 40.0}
    assert wording.water_sentence(placed, plan, texts) is None
    assert "along a line of" in " ".join(wording.flag_sentences(placed, plan, texts))
    assert "rows are drawn and counted as if" in told
    later = wording.water_sentence(row | {"outlet_flags": ("no_safe_outlet",)}, plan, texts)
    assert "rows are drawn" not in later
    assert "amounts are counted as if it weren't there" in later


@pytest.mark.parametrize("code", [*wording.NO_CREDIT, None])
def test_the_same_tonnes_both_ways_are_explained(small_results, texts, code):
    row = _row(small_results, "A-01") | {"erosion_flags": (code,) if code else ()}
    assert wording.same_tonnes(row, texts).startswith("Both ways show the same tonnes: ")
    assert wording.same_tonnes(row | {"soil_loss_contour_likely_t_ha_yr": 0.1}, texts) is None
    assert wording.same_tonnes(_row(small_results, "B4"), texts) is None


def test_sentences_name_the_limits_of_the_plan(small_results, texts):
    limits = small_results.plan.erosion.model_copy(update={"structures_from_slope_pct": 17.5})
    plan = small_results.plan.model_copy(update={"erosion": limits})
    row = small_results.plots.iloc[0].to_dict() | {"erosion_flags": ("rows_alone_not_enough",)}
    assert "From 17.5 % slope" in wording.flag_sentences(row, plan, texts)[0]


@pytest.mark.parametrize(
    ("bearing", "said"),
    [
        (57.6, "058° / 238°"),
        (0.0, "000° / 180°"),
        (179.7, "000° / 180°"),
        (5.4, "005° / 185°"),
        (90.0, "090° / 270°"),
    ],
)
def test_both_ends_of_a_row(bearing, said):
    assert wording.both_ends(bearing) == said


@pytest.mark.parametrize(
    ("grams", "said"),
    [(0, "0.00"), (9_994, "9.99"), (35_600, "35.6"), (12_345_678, "12,346")],
)
def test_weights_as_they_are_weighed_out(grams, said):
    assert wording.kilograms(grams) == said


@pytest.mark.parametrize(("loss", "said"), [(0.3, 0), (8.6, 9), (56.2, 56), (167.0, 170)])
def test_tonnes_as_they_are_worth(loss, said):
    assert wording.tonnes(loss) == said


@pytest.mark.parametrize(
    ("bearing", "said"),
    [
        (0.0, "north"),
        (22.4, "north"),
        (22.6, "north-east"),
        (140.0, "south-east"),
        (359.0, "north"),
    ],
)
def test_directions_in_words(texts, bearing, said):
    assert wording.direction(bearing, texts) == said


def test_no_direction_in_words(texts):
    assert wording.direction(float("nan"), texts) == "no one side"


@pytest.mark.parametrize(
    ("slope", "said"), [(0.4, "0.4"), (9.44, "9.4"), (9.6, "10"), (21.4, "21")]
)
def test_a_gentle_fall_is_told_in_tenths_so_that_it_is_not_none(small_results, texts, slope, said):
    row = next(wording.records(small_results.plots[small_results.plots["plot_id"] == "007"]))
    row["hillside_slope_pct"] = slope
    told = " ".join(wording.flag_sentences(row, small_results.plan, texts))
    assert f"about {said} m in 100 m" in told


@pytest.mark.parametrize(
    ("column", "code"), [("erosion_flags", "forest_only"), ("outlet_flags", "no_safe_outlet")]
)
def test_where_no_rows_are_set_none_are_said_to_be_broken(small_results, texts, column, code):
    row = next(wording.records(small_results.plots)) | {"row_breaks": 4, "flow_strip_m2": 30.0}
    assert wording.gap_sentence(row, small_results.plan, texts) is not None
    assert wording.strip_sentence(row, small_results.plan, texts) is not None
    row[column] = (code,)
    assert wording.gap_sentence(row, small_results.plan, texts) is None
    assert wording.strip_sentence(row, small_results.plan, texts) is None


def test_where_an_outlet_comes_first_no_lines_are_to_be_levelled(small_results, texts):
    row = _row(small_results, "109")
    lines = wording.guide_sentence(row, texts)
    assert lines in wording.method_sentences(row, small_results.plan, texts)
    row["outlet_flags"] = ("no_safe_outlet",)
    said = wording.method_sentences(row, small_results.plan, texts)
    assert said == [wording.reason_sentence(row, small_results.plan, texts)]


def test_the_hillsides_fall_is_not_the_plots(small_results, texts):
    row = small_results.plots.iloc[8].to_dict()
    said = wording.flag_sentences(row, small_results.plan, texts)[-1]
    assert "hillside around the plot falls to the south-east, about 14 m in 100 m" in said
    assert "not the plot's" in said


def _with_flags(results, code, count):
    plots = results.plots.copy()
    plots["terrain_flags"] = [(code,) if place < count else () for place in range(len(plots))]
    return replace(results, plots=plots)


@pytest.mark.parametrize("code", terrain.SURFACE_FLAGS)
def test_faults_of_the_surface_are_counted(small_results, texts, code):
    usual = wording.noticed(_with_flags(small_results, code, 0), texts)
    assert usual == list(small_results.warnings)
    one, many = (
        wording.noticed(_with_flags(small_results, code, count), texts)[-1] for count in (1, 3)
    )
    assert "1 of 12 plots" in one
    assert "3 of 12 plots" in many


def test_where_the_error_is_from(small_results, texts):
    def said(estimate=None, **elevation):
        section = small_results.plan.elevation.model_copy(update=elevation)
        plan = small_results.plan.model_copy(update={"elevation": section})
        found = replace(small_results, plan=plan, estimate=estimate)
        return " ".join(wording.noticed(found, texts))

    assert "vertical error" not in said()
    assert "The heights are from: SRTM 30 m." in said(source="SRTM 30 m")
    assert "tree tops" in said(surface="tree tops and roofs")
    estimate = terrain.Estimate(1.2345, 41.27, 7, 12_345)
    used = said(estimate, vertical_error_m=1.2345, error_correlation_m=41.27)
    assert "was estimated on reference land: 1.23 m, alike over 41.3 m (7 squares of" in used
    assert "12,345 cells" in used
    offered = said(estimate)
    assert "Reference land shows a vertical error of 1.23 m" in offered
    assert "The plan states 0.5 m over 30 m, which was used." in offered


def _with_readings(results, rows_read, compared, aside=0, **calibration):
    files = results.plan.files.model_copy(update={"readings": "readings.csv"})
    columns = ("source_row", "plot_id", *tables.made_by("comparison"))
    found = replace(
        results.readings,
        compared=pd.DataFrame(compared, columns=columns),
        set_aside=pd.DataFrame({"source_row": range(aside)}),
        rows_read=rows_read,
        calibration=replace(results.readings.calibration, **calibration),
    )
    plan = results.plan.model_copy(update={"files": files})
    return replace(results, plan=plan, readings=found)


@pytest.mark.parametrize(
    ("read", "aside", "said"),
    [
        (0, 0, ["The file of ground readings has no readings."]),
        (1, 1, ["Of 1 row of ground", "The one row of ground readings could not be used."]),
        (5, 2, ["Of 5 rows of ground", "2 of 5 rows of ground readings could not be used."]),
    ],
)
def test_counts_of_readings_in_good_grammar(small_results, texts, read, aside, said):
    found = wording.readings_findings(_with_readings(small_results, read, [], aside), texts)
    assert len(found) == len(said)
    assert all(part in sentence for part, sentence in zip(said, found, strict=True))


def test_a_raster_taken_as_true_still_hides_what_is_smaller_than_its_cells(small_results, texts):
    elevation = small_results.plan.elevation.model_copy(update={"vertical_error_m": 0.0})
    plan = small_results.plan.model_copy(update={"elevation": elevation})
    told = [
        [one for one in wording.noticed(results, texts) if "taken as true" in one or "hide" in one]
        for results in (small_results, replace(small_results, plan=plan))
    ]
    assert told[0] == []
    assert told[1][0].startswith("The plan takes the heights as true (vertical_error_m = 0). ")
    assert "Cells of 10 m hide banks and bends smaller than that" in told[1][0]


@pytest.mark.parametrize(
    ("kind", "sides"),
    [("slopes", ("too steep", "too gentle")), ("bearings", (" clockwise", " anticlockwise"))],
)
def test_above_0_the_raster_is_steeper_or_turned_clockwise(small_results, texts, kind, sides):
    """Differences are raster less reading; bearings grow clockwise."""
    for bias, side in zip((2.5, -2.5), sides, strict=True):
        spreads = {kind: (Spread("", 20, bias, 0.4, 1.5),)}
        results = _with_readings(small_results, 20, [], **spreads)
        said = wording.readings_findings(results, texts)[-1]
        assert side in said
        assert "2.5" in said


@pytest.mark.parametrize(
    ("bias", "said"), [(0.04, "agrees on average"), (-0.04, "agrees on average"),
                       (0.06, "0.1 % too steep"), (-0.06, "0.1 % too gentle")],
)  # fmt: skip
def test_a_bias_of_nothing_is_no_side(small_results, texts, bias, said):
    slopes = (Spread("", 20, bias, 0.4, 1.5),)
    found = wording.readings_findings(_with_readings(small_results, 20, [], slopes=slopes), texts)
    assert said in found[-1]


def test_bearings_that_could_not_be_compared_are_counted_with_the_reason(small_results, texts):
    level, unsure = NOT_COMPARED
    rows = [{"bearing_read_true_deg": 12.0, "bearing_not_compared": why} for why in
            (level, unsure, unsure, None)]  # fmt: skip
    found = wording.readings_findings(_with_readings(small_results, 4, rows), texts)
    assert found[-1] == (
        "Of 4 bearings read 3 could not be compared with the raster: level land by the raster (1) "
        "and the raster is not sure of its own bearing (2)."
    )


def test_readings_are_added_to_what_the_raster_serves_and_hide_no_reason(small_results, texts):
    plots = _measured(small_results, "too_few_cells").plots.assign(row_method="straight")
    plots.loc[:2, "row_method"] = "measure on the ground"
    district = small_results.district.copy()
    district["plots_unserved"], district["area_unserved_ha"] = 12, district["area_ha"]
    results = replace(small_results, plots=plots, district=district, forecasts=(_forecast(0.9),))
    first, added, why, finer = wording.served_sentences(results, texts)
    assert first == "The elevation raster can tell how rows run on none of 12 plots."
    assert added == "Readings add 9."
    assert why.startswith("Cells of 10 m are too large")
    assert "would serve about" in finer


def test_a_slope_read_may_take_a_bearing_back(small_results, texts):
    plots = small_results.plots.copy()
    plots.loc[0, "row_method"] = "measure on the ground"
    _, taken, *_ = wording.served_sentences(replace(small_results, plots=plots), texts)
    assert taken.startswith("On 1 of those that it can tell")


def test_rows_against_the_raster_are_not_simply_counted_as_straight(small_results, texts):
    plots = small_results.plots.copy()
    plots.loc[0, "row_method_reason"] = "measured_against_raster"
    said = wording.rows_sentences(replace(small_results, plots=plots), texts)
    assert said[1] == (
        "On 1 of these plots reading and raster disagree: measure again before you set rows."
    )


def test_rows_that_may_fall_are_not_called_level(small_results, texts):
    row = _row(small_results, "A-01") | {"row_grade_likely_pct": 1.6, "row_low_end": None}
    for ahead, behind in ((None, None), ("path", "path"), ("path", "grass")):
        ends = {"row_end_ahead": ahead, "row_end_behind": behind}
        said = wording.method_sentence(row | ends, small_results.plan, texts)
        assert "likely to fall 1.6 % along the row" in said
        assert "Rows are level" not in said
        assert "Rows may rise and fall on the way; neither end is known to be lower" in said


def test_water_that_is_a_lower_limit_is_told_as_one(small_results, texts):
    row = small_results.plots.iloc[5].to_dict()
    for least, told in ((0, "(about 1.7 ha above)"), (1, "(at least 1.7 ha above)")):
        row |= {"upslope_area_ha": 1.7, "upslope_area_at_least": least}
        said = wording.flag_sentences(row, small_results.plan, texts)
        assert any(told in sentence for sentence in said)


@pytest.mark.parametrize(
    "kind",
    ["straight", "arc", "arc sectors", "level lines", "standing structures", "level on the ground"],
)
def test_what_guides_the_rows_is_said_to_who_has_only_the_map(small_results, texts, kind):
    shares = {"row_within_straight_share": 0.554, "row_within_guided_share": 0.97}
    row = small_results.plots.iloc[2].to_dict() | shares
    said = wording.guide_sentence(row | {"guide_kind": kind, "guide_lines": 2}, texts)
    assert "layer" not in said
    assert ("55 % of their length" in said or "on 55 %." in said) == (kind != "level on the ground")
    assert ("97 % of their length" in said) == (kind not in {"straight", "level on the ground"})
    assert "%" not in said.replace(" %", "")


def test_why_no_curve_is_drawn_is_said(small_results, texts):
    row = small_results.plots.iloc[2].to_dict()
    row |= {"guide_kind": "level on the ground", "guide_lines": 2, "row_within_guided_share": 1.0}
    for strip, floor, told in (
        (0.0, 3.1, "The raster's own error costs more than the limit (3.1 %)"),
        (0.0, np.nan, "costs an unknown amount"),
        (np.nan, 0.0, "Lines must not cross the water's way"),
    ):
        known = {"flow_strip_m2": strip, "guide_floor_pct": floor}
        assert told in wording.guide_sentence(row | known, texts)


def test_a_structure_off_the_contour_is_flagged_with_its_grade(small_results, texts):
    row = small_results.plots.iloc[2].to_dict() | {"guide_flags": ("structure_not_followed",)}
    row |= {"row_grade_structure_rms_pct": 7.34, "row_grade_straight_rms_pct": 4.2}
    said = " ".join(wording.flag_sentences(row, small_results.plan, texts))
    assert "rows along it would run 7.3 %" in said
    assert "straight rows 4.2 %" in said
    assert "technician" in said


def test_a_difference_that_rounds_to_nothing_has_no_minus(texts):
    said = texts.say("readings.class", name="Steep", bias=-0.04, scatter=1.2, count=5)
    assert said == "Steep +0.0, scatter 1.2 (5 readings)"


def test_a_bearing_past_the_limit_asks_for_a_level(small_results, texts):
    row = small_results.plots.iloc[2].to_dict()
    row |= {"row_method_reason": "measured_past_limit", "row_grade_95_pct": 2.6}
    said = wording.method_sentence(row, small_results.plan, texts)
    assert "could fall 2.6 % along the row (limit 2.0 %)" in said
    assert "with a level along its line" in said


def test_what_to_measure_again_stands_before_other_flags(small_results, texts):
    row = small_results.plots.iloc[2].to_dict()
    flags = ("partly_off_raster", "slope_reading_outside")
    row |= {"terrain_flags": flags, "slope_measured_pct": 8.0}
    first, *others = wording.flag_sentences(row, small_results.plan, texts)
    assert first.startswith("The slope measured on the ground, 8.0 %, and the elevation raster")
    assert len(others) == 2


def test_broken_rows_are_told_of_with_their_number(small_results, texts):
    row = small_results.plots.iloc[3].to_dict()
    said = wording.gap_sentence(row, small_results.plan, texts)
    assert "0.5 m wide" in said
    assert "Breaks in rows there: 7." in said
    assert said in wording.flag_sentences(row, small_results.plan, texts)
    assert wording.gap_sentence({**row, "row_breaks": 0}, small_results.plan, texts) is None


def test_guide_lines_that_are_to_fall_say_how_far_and_where_to(small_results, texts):
    soil = small_results.plan.soil.model_copy(update={"drainage": "poor"})
    wet = small_results.plan.model_copy(update={"soil": soil})
    row = small_results.plots.iloc[2].to_dict() | {"guide_kind": "arc", "row_bearing_true_deg": 0.0}
    row |= {"row_end_ahead": "grass", "row_end_behind": "house"}
    row |= {"row_grade_design_pct": 0.3, "row_fall_to": "north end"}
    said = wording.fall_sentence(row, wet, texts)
    assert "let every line fall 0.3 % to the north end, where there is grass" in said
    either = wording.fall_sentence(row | {"row_fall_to": "either end"}, wet, texts)
    assert "all to the north end. Both ends are safe" in either
    none = wording.fall_sentence(row | {"row_grade_design_pct": np.nan}, wet, texts)
    assert none.startswith("The soil drains poorly: every row needs a fall")
    assert wording.fall_sentence(row | {"guide_kind": "standing structures"}, wet, texts) is None
    assert wording.fall_sentence(row, small_results.plan, texts) is None


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, "30 m of it are counted: it begins at a divide."),
        (
            {"ls_at_least": 1, "slope_above_begins": "end of the heights"},
            "30 m of it are counted; more may lie above (the heights end there), so the loss is a "
            "lower limit.",
        ),
        (
            {"slope_length_above_m": 0.0, "slope_above_begins": "as recorded"},
            "None is counted: nothing runs on, as was recorded of the plot.",
        ),
        (
            {"flow_line_length_m": 12.0},
            "30 m of it are counted: it begins at a divide. Water that gathers and crosses the "
            "plot is not counted.",
        ),
        ({"soil_loss_up_down_likely_t_ha_yr": float("nan")}, None),
    ],
)
def test_what_is_counted_of_the_slope_above_is_said_plot_by_plot(texts, changed, said):
    row = {
        "slope_length_above_m": 30.0,
        "slope_above_begins": "divide",
        "ls_at_least": 0,
        "flow_line_length_m": 0.0,
        "soil_loss_up_down_likely_t_ha_yr": 40.0,
    }
    assert wording.loss_above(row | changed, texts) == said
