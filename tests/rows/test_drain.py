"""Where rows drain: districts made so that the answer is known, turned by right angles, falls."""

from __future__ import annotations

import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate

from districtplan import rows, tables
from districtplan.handbook import packaged
from districtplan.intake.features import KINDS
from districtplan.rows import ends
from tests.conftest import plan_of
from tests.rows.test_lay import MIDDLE, ZONE, plots_of
from tests.support import renumbered

PLOT = shapely.box(0, 0, 60, 40)
POOR = {"drainage": "poor"}
REFUSED = ["house", "slipping ground", "spring", "latrine", "grave", "road", "path"]
SAFE = ["ditch", "grass strip", "grass", "forest", "waterway", "stream"]
NONE = pd.DataFrame({"kind": [], "width_m": [], "geometry": []}).astype({"width_m": float})


def features_of(*found):
    """Features given by kind, shape in metres from the plot's corner, and width of a line."""
    shapes = [shapely.affinity.translate(shape, *MIDDLE) for _, shape, *_ in found]
    return pd.DataFrame(
        {
            "kind": [kind for kind, *_ in found],
            "width_m": [width[0] if width else np.nan for *_, width in map(split, found)],
            "geometry": pd.Series(shapes, dtype=object),
        }
    )


def split(feature):
    kind, shape, *width = feature
    return kind, shape, width


def ground_of(count, bearing=90.0, fall=180.0, slope=10.0, **others):
    """What terrain and readings say; the bearing is the same from all norths."""
    columns = {
        "plot_id": [f"P{place}" for place in range(count)],
        "row_method": "straight",
        "slope_used_pct": slope,
        "downslope_true_deg": float(fall),
        "row_bearing_true_deg": float(bearing),
        "row_bearing_grid_deg": float(bearing),
        "row_bearing_magnetic_deg": float(bearing),
        "row_bearing_words": "E–W",
        "row_bearing_se_deg": 0.0,
        "row_bearing_measured_true_deg": np.nan,
        "row_grade_likely_pct": 0.0,
        "row_grade_95_pct": 0.0,
        "row_grade_limit_pct": min(2.0, slope / 2),
        "cells": 24.0,
        "raster_share": 1.0,
    }
    return pd.DataFrame({**columns, **others}, index=range(count))


def around(*shapes):
    """Plots where they are drawn: the first is the one asked about."""
    plots = plots_of(shapes)
    return plots.assign(geometry=[shapely.affinity.translate(s, *MIDDLE) for s in shapes])


def drained(features=NONE, plan=None, others=(), book=None, **ground):
    plots = around(PLOT, *others)
    table = ground_of(len(plots), **ground)
    return rows.drain(plots, table, ZONE, features, plan or plan_of(), book or packaged())


def first(*arguments, **given):
    return drained(*arguments, **given)[1].iloc[0]


def east(kind, gap=1.0):
    return features_of((kind, shapely.box(60 + gap, -20, 64 + gap, 60)))


FALLS_EAST = {"fall": 172.0}
"""Rows to the east fall 10 % × cos 82° = 1.4 %."""


def test_columns_are_those_declared():
    _, table = drained()
    assert table.columns.tolist() == ["plot_id", *tables.made_by("drainage")]


def test_each_plot_goes_by_its_own_soil_before_the_plans():
    aside = shapely.affinity.translate(PLOT, 300, 0)
    plots = around(PLOT, aside)
    grass = features_of(*(("grass", shapely.box(x + 61, -20, x + 64, 60)) for x in (0, 300)))

    def found(soils, drainage):
        known = plots.assign(soil_drainage=pd.Series(soils, dtype=object))
        plan = plan_of(soil={"drainage": drainage})
        _, table = rows.drain(known, ground_of(2), ZONE, grass, plan, packaged())
        return table["row_grade_design_pct"].tolist()

    falls, level = found([None, None], "poor")[0], 0
    assert falls > 0
    assert found(["poor", "free"], "free") == found(["poor", "free"], "poor") == [falls, level]
    assert found(["free", None], "poor") == [level, falls]
    assert found([None, "poor"], "free") == [level, falls]


def test_the_mean_grade_is_the_slope_along_the_rows():
    found = first(fall=172.0)
    assert found["row_low_end"] == "east end"
    assert found["row_fall_pct"] == pytest.approx(10 * np.cos(np.radians(82)))
    other = first(fall=188.0)
    assert other["row_low_end"] == "west end"
    assert other["row_fall_pct"] == pytest.approx(found["row_fall_pct"])
    assert (found["row_grade_design_pct"], found["row_turn_deg"]) == (0, 0)
    assert not np.signbit(found["row_turn_deg"])


@pytest.mark.parametrize(
    "unsure",
    [
        {"fall": 179.0},  # 0.17 %, less than the least fall
        {"fall": 172.0, "row_bearing_se_deg": 4.2},  # 8° is within 1.96 × 4.2°
        {"fall": np.nan},
        {"fall": 172.0, "row_bearing_measured_true_deg": 90.0},  # level by a level
    ],
)
def test_where_the_grade_is_within_its_error_no_end_is_low(unsure):
    found = first(east("house"), **unsure)
    assert found["row_low_end"] is None
    assert found["row_outlet"] is None
    assert found["row_fall_pct"] == 0
    assert found["outlet_flags"] == ()
    assert (found["row_end_ahead"], found["row_end_behind"]) == ("house", "not known")


@pytest.mark.parametrize("kind", REFUSED)
def test_rows_are_refused_above_what_water_harms(kind):
    found = first(east(kind), **FALLS_EAST)
    assert found["row_outlet"] == kind
    assert found["outlet_flags"] == ("no_safe_outlet",)
    uphill = first(east(kind), fall=188.0)
    assert (uphill["row_outlet"], uphill["outlet_flags"]) == ("not known", ())


@pytest.mark.parametrize("kind", SAFE)
def test_safe_ends_are_safe(kind):
    found = first(east(kind), **FALLS_EAST)
    assert (found["row_outlet"], found["outlet_flags"]) == (kind, ())


def test_a_neighbour_is_refused_unless_something_safe_lies_between():
    neighbour = [shapely.box(63, 0, 100, 40)]
    bare = first(others=neighbour, **FALLS_EAST)
    assert (bare["row_outlet"], bare["outlet_flags"]) == ("neighbour", ("no_safe_outlet",))
    strip = features_of(("grass strip", shapely.LineString([(61.5, -9), (61.5, 50)]), 1.0))
    between = first(strip, others=neighbour, **FALLS_EAST)
    assert (between["row_outlet"], between["outlet_flags"]) == ("grass strip", ())
    behind = first(east("grass", gap=4.0), others=neighbour, **FALLS_EAST)
    assert behind["row_outlet"] == "neighbour"
    # Drawn on the common edge, half of it lies in each plot.
    shared = features_of(("ditch", shapely.LineString([(60, -9), (60, 50)]), 0.6))
    touching = [shapely.box(60, 0, 100, 40)]
    assert first(others=touching, **FALLS_EAST)["row_outlet"] == "neighbour"
    assert first(shared, others=touching, **FALLS_EAST)["row_outlet"] == "ditch"


def test_an_outline_given_twice_is_no_neighbour_of_itself():
    assert first(others=[PLOT], **FALLS_EAST)["row_outlet"] != "neighbour"


@pytest.mark.parametrize("kind", ["bank", "terrace", "culvert", "other"])
def test_a_bank_is_looked_past(kind):
    bank = features_of((kind, shapely.box(60, -9, 61, 50)))
    found = first(bank, others=[shapely.box(62, 0, 90, 40)], **FALLS_EAST)
    assert found["row_outlet"] == "neighbour"


def test_one_row_onto_a_house_is_enough():
    mixed = features_of(
        ("grass", shapely.box(60, -9, 65, 33)), ("house", shapely.box(61, 33, 66, 45))
    )
    found = first(mixed, **FALLS_EAST)
    assert (found["row_outlet"], found["outlet_flags"]) == ("house", ("no_safe_outlet",))


@settings(max_examples=40, deadline=None)
@given(st.floats(-1.5, 37.5))
def test_no_house_is_missed_between_rows(place):
    """Anything three metres wide is met, wherever it stands along the end."""
    house = features_of(("house", shapely.box(61, place, 65, place + 3.1)))
    inside = min(place + 3.1, 40) - max(place, 0)
    if inside > 3:
        assert first(house, **FALLS_EAST)["row_outlet"] == "house"


@pytest.mark.parametrize("kind", ["spring", "latrine", "grave"])
def test_nothing_small_is_missed_between_rows(kind):
    for place in np.arange(0, 39, 2.3).tolist():
        small = features_of((kind, shapely.box(61, place, 62.1, place + 1.1)))
        assert first(small, **FALLS_EAST)["row_outlet"] == kind


def test_grass_along_a_part_of_the_end_only_is_not_known():
    half = features_of(("grass", shapely.box(60, -9, 65, 20)))
    assert first(half, **FALLS_EAST)["row_outlet"] == "not known"


def test_rows_that_a_house_inside_the_plot_breaks_drain_onto_it():
    house = features_of(("house", shapely.box(25, 10, 33, 30)))
    found = first(house, **FALLS_EAST)
    assert (found["row_outlet"], found["outlet_flags"]) == ("house inside", ("no_safe_outlet",))
    assert (found["row_end_ahead"], found["row_end_behind"]) == ("house inside", "house inside")


@pytest.mark.parametrize(
    ("shape", "told"),
    [
        (shapely.box(25, 10, 33, 90), "house inside"),  # out of the upper edge, beside the rows
        (shapely.box(50, 10, 70, 30), "house"),  # over the end of the rows
        (shapely.box(61, 10, 70, 30), "house"),
    ],
)
def test_only_what_breaks_rows_is_inside(shape, told):
    assert first(features_of(("house", shape)), **FALLS_EAST)["row_outlet"] == told


def test_what_lies_between_two_arms_of_a_plot_is_beside_it():
    arms = shapely.union_all(
        [shapely.box(0, 0, 60, 10), *(shapely.box(x, 0, x + 20, 40) for x in (0, 40))]
    )
    house = features_of(("house", shapely.box(21, 11, 39, 40)))
    plots = around(arms)
    _, found = rows.drain(plots, ground_of(1, **FALLS_EAST), ZONE, house, plan_of(), packaged())
    assert found["row_outlet"].tolist() == ["house"]


def test_what_is_behind_a_bank_inside_is_not_inside():
    bank = ("bank", shapely.box(57, 0, 58, 40))
    house = ("house", shapely.box(61, 10, 66, 30))
    assert first(features_of(bank, house), **FALLS_EAST)["row_outlet"] == "house"


def test_what_lies_beside_the_last_row_is_not_where_rows_end():
    beside = features_of(("path", shapely.box(-20, 41, 80, 43)))
    found = first(beside, **FALLS_EAST)
    assert (found["row_end_ahead"], found["row_end_behind"]) == ("not known", "not known")


@pytest.mark.parametrize("method", ["guide lines", "any direction", "measure on the ground"])
def test_only_straight_rows_are_asked(method):
    found = first(east("house"), row_method=method)
    assert found[[n for n in found.index if n not in {"plot_id", "outlet_flags"}]].isna().all()
    assert found["outlet_flags"] == ()


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
@pytest.mark.parametrize("drainage", ["free", "poor"])
def test_turning_the_world_turns_the_answers(turn, drainage):
    """A right angle clockwise: ends keep what they are and what lies there."""
    names = ["north end", "east end", "south end", "west end"]
    things = [
        ("grass", shapely.box(60, -9, 65, 60)),
        ("house", shapely.box(-8, 10, -1, 30)),
        ("path", shapely.box(20, -4, 40, -2)),
    ]
    things = [(kind, rotate(shape, -turn, (0, 0))) for kind, shape in things]
    plots = around(rotate(PLOT, -turn, (0, 0)))
    for fall in (172.0, 188.0, 180.0):
        ground = ground_of(1, (90 + turn) % 180, (fall + turn) % 360)
        plan = plan_of(soil={"drainage": drainage})
        after, table = rows.drain(plots, ground, ZONE, features_of(*things), plan, packaged())
        _, same = drained(
            features_of(*[(kind, rotate(shape, turn, (0, 0))) for kind, shape in things]),
            plan=plan, fall=fall,
        )  # fmt: skip
        found, still = table.iloc[0], same.iloc[0]
        columns = ["row_outlet", "row_fall_pct", "row_grade_design_pct", "outlet_flags"]
        for name in columns:
            assert (
                found[name] == pytest.approx(still[name])
                if isinstance(found[name], float)
                else found[name] == still[name]
            )
        assert found["row_turn_deg"] == pytest.approx(still["row_turn_deg"])
        for name in ("row_low_end", "row_fall_to"):
            if still[name] is None:
                assert found[name] is None
            else:
                assert found[name] == names[(names.index(still[name]) + turn // 90) % 4]
        bearing = (90 + turn + still["row_turn_deg"]) % 180
        assert after["row_bearing_true_deg"][0] == pytest.approx(bearing)


def poor(features, **ground):
    plan = plan_of(soil=POOR)
    after, table = drained(features, plan=plan, **ground)
    return after.iloc[0], table.iloc[0]


@pytest.mark.parametrize(("side", "turn"), [("east", 1), ("west", -1)])
def test_poorly_drained_rows_are_turned_to_the_safe_end(side, turn):
    """On 10 % that fall south, 0.2 % are asin(0.02) = 1.15° towards the south."""
    shape = shapely.box(60, -9, 65, 60) if side == "east" else shapely.box(-5, -9, 0, 60)
    after, found = poor(features_of(("grass", shape)))
    assert found["row_turn_deg"] == pytest.approx(turn * 1.14599, abs=1e-4)
    for name in ("true", "grid", "magnetic"):
        assert after[f"row_bearing_{name}_deg"] == pytest.approx(90 + turn * 1.14599, abs=1e-4)
    assert found["row_low_end"] == found["row_fall_to"] == f"{side} end"
    assert found["row_outlet"] == "grass"
    assert found["row_fall_pct"] == found["row_grade_design_pct"] == pytest.approx(0.2)
    assert after["row_grade_95_pct"] == pytest.approx(0.2)
    # The ground does fall so along the bearing printed.
    towards = np.radians(after["row_bearing_true_deg"] + (0 if side == "east" else 180))
    assert -10 * np.cos(towards) == pytest.approx(0.2)


def test_the_turn_outweighs_the_error_and_stays_in_the_limit():
    after, found = poor(east("grass"), row_grade_95_pct=0.8, row_grade_likely_pct=0.3)
    assert found["row_grade_design_pct"] == pytest.approx(1.0)
    assert after["row_grade_95_pct"] == pytest.approx(1.8)
    assert after["row_grade_likely_pct"] == pytest.approx(np.hypot(1.0, 0.3))
    after, found = poor(east("grass"), row_grade_95_pct=0.95)
    assert (found["row_turn_deg"], found["row_grade_design_pct"]) == (0, 0.2)
    assert found["row_fall_to"] == "east end"
    assert after["row_bearing_true_deg"] == 90


def test_rows_that_fall_to_the_wrong_end_are_turned_round():
    both = features_of(
        ("grass", shapely.box(60, -9, 65, 60)), ("house", shapely.box(-9, 9, -1, 30))
    )
    after, found = poor(both, fall=182.0)
    assert found["row_low_end"] == "east end"
    assert found["outlet_flags"] == ()
    # From 0.35 % to the west to 0.2 % to the east.
    assert found["row_turn_deg"] == pytest.approx(2 + 1.146, abs=0.01)
    assert after["row_bearing_true_deg"] > 93


@pytest.mark.parametrize(
    "features", [NONE, features_of(("path", shapely.box(60, -9, 65, 60)))], ids=["none", "path"]
)
def test_without_a_safe_end_rows_wait_for_an_outlet(features):
    after, found = poor(features)
    assert found["outlet_flags"] == ("outlet_before_fall",)
    assert np.isnan(found["row_grade_design_pct"])
    assert (found["row_fall_to"], found["row_turn_deg"]) == (None, 0)
    assert after["row_bearing_true_deg"] == 90


def test_two_safe_ends_leave_the_choice_to_the_level():
    both = features_of(
        ("grass", shapely.box(60, -9, 65, 60)), ("stream", shapely.box(-9, -9, -1, 60))
    )
    _, found = poor(both)
    assert (found["row_fall_to"], found["row_grade_design_pct"]) == ("either end", 0.2)
    assert found["row_turn_deg"] == 0


def test_guided_rows_are_to_fall_to_the_safe_end_and_are_not_turned():
    after, found = poor(east("grass"), row_method="guide lines", fall=175.0)
    assert (found["row_fall_to"], found["row_grade_design_pct"]) == ("east end", 0.2)
    assert (found["row_turn_deg"], after["row_bearing_true_deg"]) == (0, 90)
    # Which end of rows that bend is low, nobody knows.
    assert found["row_low_end"] is None
    _, without = poor(NONE, row_method="guide lines")
    assert without["outlet_flags"] == ("outlet_before_fall",)
    assert np.isnan(without["row_grade_design_pct"])


def test_a_bearing_that_was_read_is_not_turned():
    after, found = poor(east("grass"), row_bearing_measured_true_deg=90.0)
    assert (found["row_turn_deg"], found["row_grade_design_pct"]) == (0, 0.2)
    assert after["row_bearing_true_deg"] == 90


@settings(max_examples=80, deadline=None)
@given(st.floats(0, 179.9), st.floats(0, 359.9), st.floats(0.1, 60), st.floats(0, 2), st.booleans())
def test_turned_rows_fall_to_a_safe_end_within_their_limit(bearing, off, slope, err, ahead):
    """Whatever the plot: nothing is turned that the raster doesn't support."""
    shape = rotate(PLOT, 90 - bearing)
    way = np.radians(bearing + (0 if ahead else 180))
    side = np.array([np.sin(way), np.cos(way)]) * 34
    grass = shapely.affinity.translate(rotate(shapely.box(28, -80, 32, 120), 90 - bearing), *side)
    plots = around(shape)
    fall = bearing + 90 + 4 * np.sin(off)
    limit = min(2.0, slope / 2)
    ground = ground_of(1, bearing, fall % 360, slope, row_grade_95_pct=min(err, limit))
    after, table = rows.drain(
        plots, ground, ZONE, features_of(("grass", grass)), plan_of(soil=POOR), packaged()
    )
    found, after = table.iloc[0], after.iloc[0]
    turned = found["row_turn_deg"] != 0
    assert turned == (after["row_bearing_true_deg"] != ground["row_bearing_true_deg"][0])
    if turned:
        assert found["row_low_end"] == found["row_fall_to"]
        assert found["row_outlet"] == "grass"
        assert after["row_grade_95_pct"] <= limit + 1e-9
        assert found["row_fall_pct"] >= 0.2


def test_the_order_of_plots_changes_nothing():
    shapes = [shapely.affinity.translate(PLOT, 62 * i, 45 * j) for i in range(4) for j in range(3)]
    plots, ground = around(*shapes), ground_of(12, fall=172.0)
    things = features_of(
        ("path", shapely.LineString([(122, -9), (122, 200)]), 1.0),
        ("grass", shapely.box(185, -9, 186, 60)),
    )
    plan = plan_of(soil=POOR)
    one = rows.drain(plots, ground, ZONE, things, plan, packaged())
    other = rows.drain(plots[::-1], ground, ZONE, things[::-1], plan, packaged())
    for mine, theirs in zip(one, other, strict=True):
        pd.testing.assert_frame_equal(mine, theirs[::-1].reset_index(drop=True))
    assert set(one[1]["row_outlet"].dropna()) >= {"neighbour", "path", "grass", "not known"}


def test_keys_and_numbers_change_what_they_are_for():
    near = first(east("house", gap=3.0), **FALLS_EAST)
    short = first(east("house", gap=3.0), plan_of(rows={"outlet_reach_m": 2.0}), **FALLS_EAST)
    assert (near["row_outlet"], short["row_outlet"]) == ("house", "not known")
    higher = first(plan=plan_of(rows={"row_grade_min_pct": 1.5}), **FALLS_EAST)
    assert (first(**FALLS_EAST)["row_low_end"], higher["row_low_end"]) == ("east end", None)
    surer = renumbered("terrain_noise", "turn_se", 1.0)
    sure, unsure = (
        first(book=book, row_bearing_se_deg=5.0, **FALLS_EAST) for book in (surer, packaged())
    )
    assert (sure["row_low_end"], unsure["row_low_end"]) == ("east end", None)


FAULTS = {
    "drain": [
        ("grade > 0, ahead, behind", "grade < 0, ahead, behind"),
        ("bearing_deg + 180, bearing_deg", "bearing_deg, bearing_deg + 180"),
        ("np.where(right, turn, 0 - turn)", "np.where(right, 0 - turn, turn)"),
        ("np.isin(outlet, REFUSED)", "np.isin(outlet, SAFE)"),
    ],
    "ends": [
        ("thing - things.features != own[probe]", "thing >= 0"),
        ("centimetres, probe)", "-centimetres, probe)"),
        ("np.minimum.at", "np.maximum.at"),
    ],
}


@pytest.mark.parametrize(
    ("module", "right", "wrong"), [(m, *pair) for m, pairs in FAULTS.items() for pair in pairs]
)
def test_seeded_faults_are_caught(module, right, wrong, monkeypatch):
    """The slips that would send water onto a house, each made on purpose."""
    drain = sys.modules["districtplan.rows.drain"]
    source = Path(sys.modules[f"districtplan.rows.{module}"].__file__).read_text(encoding="utf-8")
    assert source.count(right) == 1
    broken = ModuleType(f"broken_{module}")
    monkeypatch.setitem(sys.modules, broken.__name__, broken)
    exec(compile(source.replace(right, wrong), broken.__name__, "exec"), broken.__dict__)
    if module == "ends":
        monkeypatch.setattr(drain, "ends", broken.ends)
    else:
        monkeypatch.setattr(rows, "drain", broken.drain)
    caught = 0
    for check, arguments in (
        (test_rows_are_refused_above_what_water_harms, ("house",)),
        (test_a_neighbour_is_refused_unless_something_safe_lies_between, ()),
        (test_poorly_drained_rows_are_turned_to_the_safe_end, ("east", 1)),
        (test_one_row_onto_a_house_is_enough, ()),
    ):
        try:
            check(*arguments)
        except AssertionError:
            caught += 1
    assert caught


def test_ends_name_each_kind_once():
    assert len(set(ends.ENDS)) == len(ends.ENDS)


def test_it_is_decided_of_each_kind_of_feature_what_it_is_to_row_ends():
    """A new kind is refused, safe or looked past by decision, never by being forgotten."""
    decided = [kind for kind in ends.ENDS if kind not in {ends.NEIGHBOUR, ends.NOT_KNOWN}]
    decided = [kind for kind in decided if not kind.endswith(ends.INSIDE)] + list(ends.LOOKED_PAST)
    assert sorted(decided) == sorted(KINDS)
    table = packaged().rows("feature_effects")
    assert sorted(decided) == sorted(table["name"])
