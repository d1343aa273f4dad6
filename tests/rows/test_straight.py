"""Rows counted without drawing them: laws of area, an independent count, invariances."""

from __future__ import annotations

import dataclasses
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.rows import straight
from districtplan.rows.straight import Layout, count, holes_along, pieces
from tests.rows.fields import drawn, field, fields, land_of, layout_of

HOLE, SHORTEST = 0.1, 5.0
bearings = st.floats(0, 179.999)
spacings = st.floats(0.2, 3.0)


def counted(shape, layout, hole=HOLE, shortest=SHORTEST):
    found = count(land_of([shape]), layout, hole, shortest)
    return {name.name: getattr(found, name.name)[0] for name in dataclasses.fields(found)}


@settings(max_examples=120, deadline=None)
@given(fields, bearings, spacings, st.floats(0.01, 1), st.sampled_from([1.0, -1.0]))
def test_as_drawn_with_shapely(shape, bearing, spacing, share, side):
    first = share * spacing
    found = counted(shape, layout_of(bearing, spacing, first, side))
    lengths = drawn(shape, bearing, spacing, first, side)
    assert found["length_m"] == pytest.approx(lengths.sum(), rel=1e-6, abs=1e-6)
    assert found["rows"] + found["short"] == len(lengths)
    # A row within a hair of the limit may fall on either side of it.
    near = int((np.abs(lengths - SHORTEST) < 1e-5).sum())
    assert abs(found["rows"] - int((lengths >= SHORTEST).sum())) <= near
    halves = lengths / HOLE + 0.5
    near = int((np.abs(halves - np.round(halves)) < 1e-4).sum())
    expected = int(np.maximum(1, np.floor(halves)).sum())
    assert abs(found["holes"] - expected) <= near


def chord_variation(shape, bearing):
    """Total variation of chord length across the rows: its turns lie at corners."""
    turn = np.radians(bearing)
    across = shapely.get_coordinates(shape) @ np.array([np.cos(turn), -np.sin(turn)])
    places = np.unique(across)
    turned = shapely.affinity.rotate(shape, bearing, origin=(0, 0))
    low, high = turned.bounds[1] - 1, turned.bounds[3] + 1
    # Just beside each corner, where the length may jump along an edge.
    at = np.sort(np.concatenate([places - 1e-7, places + 1e-7]))
    lines = shapely.linestrings([[(x, low), (x, high)] for x in at])
    lengths = shapely.length(shapely.intersection(lines, turned))
    return np.abs(np.diff(np.concatenate([[0], lengths, [0]]))).sum()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), bearings, spacings, st.floats(0.01, 1))
def test_rows_times_spacing_is_the_area_of_a_convex_plot(seed, bearing, spacing, share):
    shape = field(seed, "convex")
    found = counted(shape, layout_of(bearing, spacing, share * spacing))
    # Of a convex plot chords grow to the longest and shrink again.
    longest = chord_variation(shape, bearing) / 2
    assert abs(found["length_m"] * spacing - shape.area) <= spacing * longest * 1.001 + 1e-3


@settings(max_examples=60, deadline=None)
@given(fields, bearings, spacings, st.floats(0.01, 1))
def test_rows_times_spacing_is_the_area_of_any_plot(shape, bearing, spacing, share):
    found = counted(shape, layout_of(bearing, spacing, share * spacing))
    bound = spacing * chord_variation(shape, bearing) / 2
    assert abs(found["length_m"] * spacing - shape.area) <= bound * 1.001 + 1e-3


@settings(max_examples=15, deadline=None)
@given(fields, bearings, st.floats(0.3, 1.0), st.integers(0, 10**6))
def test_the_mean_over_random_starts_is_the_area(shape, bearing, spacing, seed):
    starts = spacing * np.random.default_rng(seed).permutation(
        (np.arange(1_000) + np.random.default_rng(seed).random(1_000)) / 1_000
    )
    layout = Layout(np.full(1_000, bearing), np.ones(1_000), np.full(1_000, spacing), starts)
    found = count(land_of([shape] * 1_000), layout, HOLE, SHORTEST)
    assert found.length_m.mean() * spacing == pytest.approx(shape.area, rel=1e-3)


@settings(max_examples=60, deadline=None)
@given(fields, bearings, st.floats(-1e5, 1e5), st.floats(-1e5, 1e5))
def test_a_shift_changes_no_count(shape, bearing, east, north):
    layout = layout_of(bearing)
    here = counted(shape, layout)
    there = counted(shapely.affinity.translate(shape, east, north), layout)
    assert (here["rows"], here["short"], here["first"]) == (
        there["rows"], there["short"], there["first"],
    )  # fmt: skip
    assert abs(here["holes"] - there["holes"]) <= 1
    assert here["length_m"] == pytest.approx(there["length_m"], rel=1e-7)


@settings(max_examples=60, deadline=None)
@given(fields, bearings, st.sampled_from([90, 180, 270]))
def test_turning_the_world_changes_no_count(shape, bearing, turn):
    here = counted(shape, layout_of(bearing))
    # A row has no front end: past half a circle its bearing starts anew, and right is left.
    after = bearing + turn
    side = 1.0 if after % 360 < 180 else -1.0
    turned = shapely.affinity.rotate(shape, -turn, origin=(512_345.25, 9_876_543.5))
    there = counted(turned, layout_of(after % 180, side=side))
    assert (here["rows"], here["short"]) == (there["rows"], there["short"])
    assert abs(here["holes"] - there["holes"]) <= 1


def test_a_square_by_hand():
    """10 x 10 m, rows 0.5 m apart from 0.25 m on: 20 rows of 10 m and 100 holes."""
    found = counted(shapely.box(0, 0, 10, 10), layout_of(0))
    assert found == {
        "rows": 20,
        "short": 0,
        "length_m": pytest.approx(200),
        "holes": 2000,
        "first": 0,
    }


def test_a_row_on_the_far_edge_is_outside():
    """Rows at 0.25, 0.75 ... 9.75 m: the one at 9.75 m lies on the edge, on any machine."""
    for width in (9.75, 9.75 - 1e-9, 9.75 + 1e-9):
        assert counted(shapely.box(0, 0, width, 10), layout_of(0))["rows"] == 19


def test_a_mound_parts_rows_and_short_ends_are_counted_apart():
    mound = shapely.box(0, 0, 20, 20) - shapely.box(3, 5, 9, 15)
    found = counted(mound, layout_of(90))
    # Ten metres of rows are parted: 3 m to the west, which are short, and 11 m to the east.
    assert (found["rows"], found["short"]) == (20 + 20, 20)
    assert found["length_m"] == pytest.approx(20 * 20 + 20 * 14)
    assert found["holes"] == 20 * 200 + 20 * 140


def test_every_row_has_a_hole():
    assert holes_along(np.array([0.001, 0.149, 0.15, 0.151]), 0.1).tolist() == [1, 1, 2, 2]


def test_the_first_row_is_the_first_that_is_not_short():
    triangle = shapely.Polygon([(0, 0), (20, 20), (-20, 20)])
    found = counted(triangle, layout_of(90, side=-1.0))
    # Rows are 0.5, 1.5, 2.5, 3.5, 4.5, 5.5 m long from the corner on.
    assert (found["first"], found["short"]) == (5, 5)
    narrow = counted(shapely.box(0, 0, 3, 3), layout_of(0))
    assert (narrow["first"], narrow["rows"], narrow["short"]) == (0, 0, 6)


def test_no_land_no_rows():
    land = straight.Land.of(
        np.array([shapely.Polygon(), shapely.box(0, 0, 10, 10), shapely.Polygon()], dtype=object),
        np.zeros((3, 2)),
        np.ones(3),
    )
    found = count(land, layout_of(30, plots=3), HOLE, SHORTEST)
    assert found.rows[[0, 2]].tolist() == [0, 0]
    assert found.first.tolist()[::2] == [-1, -1]
    assert found.length_m[1] == pytest.approx(200, rel=0.02)
    none = count(land.take(slice(0, 0)), layout_of(30, plots=0), HOLE, SHORTEST)
    assert len(none.rows) == 0


def test_results_do_not_depend_on_batches(monkeypatch):
    shapes = [field(seed, kind) for seed in range(40) for kind in ("holed", "parts")]
    rng = np.random.default_rng(5)
    layout = Layout(
        rng.uniform(0, 180, 80),
        rng.choice([-1.0, 1.0], 80),
        rng.uniform(0.4, 1, 80),
        np.full(80, 0.2),
    )
    whole = count(land_of(shapes), layout, HOLE, SHORTEST)
    monkeypatch.setattr(straight, "CROSSINGS_AT_ONCE", 500)
    parts = count(land_of(shapes), layout, HOLE, SHORTEST)
    for name in ("rows", "short", "length_m", "holes", "first"):
        assert np.array_equal(getattr(whole, name), getattr(parts, name))


@settings(max_examples=40, deadline=None)
@given(fields, bearings, st.sampled_from([1, 2, 5]))
def test_pieces_are_the_rows_that_are_counted(shape, bearing, every):
    layout = layout_of(bearing)
    found = pieces(land_of([shape]), layout, every)
    everything = pieces(land_of([shape]), layout)
    kept = everything.row % every == 0
    assert found.row.tolist() == everything.row[kept].tolist()
    assert found.near == pytest.approx(everything.near[kept], abs=1e-7)
    summed = counted(shape, layout)
    assert len(everything.row) == summed["rows"] + summed["short"]
    assert (everything.far - everything.near).sum() == pytest.approx(summed["length_m"])


FAULTS = {
    "a row lost": lambda s: s.replace("np.ceil((most - zero)", "np.floor((most - zero)"),
    "holes rounded down": lambda s: s.replace("(0.5 + DUST)", "DUST"),
    "rows through holes": lambda s: s.replace("cut.crossings > ENDS", "cut.crossings > 99"),
    "wrong side": lambda s: s.replace("right = side * across", "right = across").replace(
        "x * cosine - y * sine)", "x * cosine + y * sine)"
    ),
    "degrees for radians": lambda s: s.replace(
        "np.sin(np.radians(bearing_deg))", "np.sin(bearing_deg)"
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_seeded_fault_is_seen(fault, monkeypatch):
    """Each fault, put into the module's text, must change what the checks above compare."""
    source = Path(straight.__file__).read_text(encoding="utf-8")
    broken = FAULTS[fault](source)
    assert broken != source
    module = ModuleType("broken")
    # Dataclasses look their module up by its name.
    monkeypatch.setitem(sys.modules, "broken", module)
    exec(compile(broken, "broken", "exec"), module.__dict__)
    wrong = 0
    for seed in range(6):
        shape = field(seed, "holed")
        polygons = np.array([shape], dtype=object)
        land = module.Land.of(polygons, shapely.bounds(polygons)[:, :2], np.ones(1))
        layout = module.Layout(*(np.array([value]) for value in (33.0, -1.0, 0.5, 0.2)))
        try:
            found = module.count(land, layout, HOLE, SHORTEST)
        except (ValueError, IndexError):
            wrong += 1
            continue
        lengths = drawn(shape, 33.0, 0.5, 0.2, -1.0)
        holes = np.maximum(1, np.floor(lengths / HOLE + 0.5)).sum()
        same = found.rows[0] + found.short[0] == len(lengths) and abs(found.holes[0] - holes) <= 1
        wrong += not same
    assert wrong
