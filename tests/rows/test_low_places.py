"""Rows broken in low places: none left deeper than the limit, none broken without a hollow."""

from __future__ import annotations

import sys
from itertools import product
from typing import NamedTuple

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from districtplan import geodesy, handbook, rows
from districtplan.plan import Plan
from districtplan.rows import sag
from districtplan.rows.around import Around
from districtplan.rows.lay import Laid
from districtplan.rows.low_places import LowPlaces
from tests.conftest import (
    ArrayElevation,
    measured,
    plan_of,
    random_outlines,
    square,
    surface_raster,
)
from tests.rows.plot_by_plot import gaps
from tests.support import renumbered
from tests.terrain.errors import correlated

NOTHING = np.zeros(0, dtype=object)
STEP_M = 0.4
ROUNDING_M = 0.003
"""Between two points of the program's step lies a little more."""


class Case(NamedTuple):
    plots: pd.DataFrame
    low: LowPlaces
    before: Laid
    after: Laid
    table: pd.DataFrame
    raster: ArrayElevation
    plan: Plan
    bent: np.ndarray


def broken(raster, outlines, method="straight", bearing=90.0, **sections) -> Case:
    """Lay rows, look for low places, and lay them again; the raster lies in the zone itself."""
    plan = plan_of(**sections)
    ground, _ = measured(raster, outlines, plan)
    ground["slope_used_pct"] = ground["slope_corrected_pct"]
    ground = ground.assign(row_method=method, row_bearing_grid_deg=bearing)
    shapes = np.array(outlines, dtype=object)
    centre = shapely.centroid(shapes)
    crs = raster.grid.crs
    longitude, latitude = geodesy.lonlat(crs, shapely.get_x(centre), shapely.get_y(centre))
    plots = pd.DataFrame(
        {
            "plot_id": ground["plot_id"],
            "area_ha": shapely.area(shapes) / 10_000,
            "longitude_deg": longitude,
            "latitude_deg": latitude,
            "geometry": shapes,
        }
    )
    clear = rows.Clear(NOTHING)
    _, _, before = rows.lay(plots, ground, crs, clear, plan)
    land = plots.merge(ground[["plot_id", "row_method", "bend_grade_pct"]], on="plot_id")
    low = rows.low_places(land, before, crs, raster, plan, handbook.packaged())
    table, _, after = rows.lay(plots, ground, crs, clear._replace(gaps=low.gaps), plan)
    bent = (land["bend_grade_pct"] > 0).to_numpy()
    return Case(plots, low, before, after, table, raster, plan, bent)


def deepest(case: Case, laid: Laid) -> float:
    """Walk every row on the surface that the program smooths, in steps of its own."""
    around = Around(case.raster, case.plan, handbook.packaged())
    lines, every = rows.draw(laid, 10**7)
    assert every == 1
    most = 0.0
    for plot_id, outline in zip(case.plots["plot_id"], case.plots["geometry"], strict=True):
        frame, surface = around.surface(outline)
        for line in lines.loc[lines["plot_id"] == plot_id, "geometry"]:
            points = np.asarray(shapely.segmentize(line, STEP_M).coords)
            heights = surface.height(frame.to(points))
            most = max(most, float(sag.depth(heights).max()))
    return most


def hollow(x, y):
    """Land that falls to the south, with a hollow down its middle."""
    return 1500 + 0.12 * y + 0.0006 * x**2


def ridge(x, y):
    return 1500 + 0.12 * y - 0.0006 * x**2


def test_a_hollow_breaks_every_row_where_it_is_lowest():
    raster = surface_raster(hollow)
    case = broken(raster, [square(raster)])
    assert deepest(case, case.before) > 0.5
    assert deepest(case, case.after) <= 0.05 + ROUNDING_M
    lines, _ = rows.draw(case.before, 10**7)
    assert case.low.table["row_breaks"][0] == len(lines)
    # One strip down the middle, as wide as asked, from edge to edge.
    (gap,) = case.low.gaps
    assert isinstance(gap, shapely.Polygon)
    west, south, east, north = gap.bounds
    x = raster.grid.west + raster.grid.columns / 2 * raster.grid.cell_x
    assert (west + east) / 2 == pytest.approx(x, abs=0.6)
    assert east - west < 1.7
    assert north - south == pytest.approx(90, abs=0.6)
    assert case.table["row_gap_m2"][0] == pytest.approx(45, rel=0.02)
    assert len(rows.draw(case.after, 10**7)[0]) == 2 * len(lines)
    lost = rows.draw(case.before, 10**7)[0]["length_m"].sum() - case.table["row_length_m"][0]
    assert lost == pytest.approx(45 / 0.5, rel=0.02)


@pytest.mark.parametrize(("rounds", "left"), [(0, True), (1, False)])
def test_a_sag_that_is_left_after_the_last_round_is_told(rounds, left, monkeypatch):
    monkeypatch.setattr(sys.modules["districtplan.rows.low_places"], "ROUNDS_MAX", rounds)
    raster = surface_raster(hollow)
    case = broken(raster, [square(raster, 0, 0, 50)])
    assert (deepest(case, case.after) > 0.05 + ROUNDING_M) == left
    assert case.low.table["low_place_flags"].tolist() == [("sag_left",) if left else ()]


def test_a_ridge_and_a_plane_break_none():
    for surface in (ridge, lambda x, y: 1500 + 0.12 * y + 0.01 * x):
        raster = surface_raster(surface)
        case = broken(raster, [square(raster)])
        assert case.low.gaps[0] is None
        assert case.low.table["row_breaks"][0] == 0


def test_the_plan_sets_depth_and_width():
    raster = surface_raster(hollow)
    # Over the plot's 90 m rows fall 1.2 m to the middle.
    assert broken(raster, [square(raster)], rows={"sag_max_cm": 30.0}).low.gaps[0] is not None
    shallow = surface_raster(lambda x, y: 1500 + 0.12 * y + 0.0001 * x**2)
    assert broken(shallow, [square(shallow)], rows={"sag_max_cm": 22.0}).low.gaps[0] is None
    assert broken(shallow, [square(shallow)], rows={"sag_max_cm": 18.0}).low.gaps[0] is not None
    wide = broken(raster, [square(raster)], rows={"gap_width_m": 3.0})
    assert wide.table["row_gap_m2"][0] == pytest.approx(270, rel=0.02)


def test_two_hollows_are_two_strips_and_a_slanting_one_is_followed():
    waves = surface_raster(lambda x, y: 1500 + 0.12 * y + 0.6 * np.cos(2 * np.pi * x / 45), cell=5)
    case = broken(waves, [square(waves)])
    (gap,) = case.low.gaps
    assert len(shapely.get_parts(gap)) == 2
    assert deepest(case, case.after) <= 0.05 + ROUNDING_M
    slant = surface_raster(lambda x, y: 1500 + 0.12 * y + 0.0006 * (x - 0.6 * y) ** 2)
    case = broken(slant, [square(slant)])
    assert isinstance(case.low.gaps[0], shapely.Polygon)
    assert deepest(case, case.after) <= 0.05 + ROUNDING_M


def test_rows_that_curve_or_wait_for_the_level_are_not_broken_here():
    raster = surface_raster(hollow)
    for method in ("guide lines", "measure on the ground"):
        case = broken(raster, [square(raster)], method=method)
        assert case.low.gaps[0] is None


def test_a_noisy_plane_is_not_broken():
    """Of 49 plots, far enough apart, at most 2 may be: noise isn't a hollow."""
    noise = correlated(np.random.default_rng(7_000), 200, 3.0)
    raster = surface_raster(lambda x, y: 1500 + 0.2 * y + 0.5 * noise)
    plots = [square(raster, x, y) for x, y in product(range(-750, 751, 250), repeat=2)]
    error = {"vertical_error_m": 0.5, "error_correlation_m": 30.0}
    case = broken(raster, plots, elevation=error)
    assert len(case.low.gaps) == 49
    assert sum(gap is not None for gap in case.low.gaps) <= 2


@given(
    st.tuples(st.floats(-0.002, 0.002), st.floats(-0.001, 0.001)),
    st.tuples(st.floats(0, 0.8), st.floats(30, 90)),
    st.floats(0, 179),
    st.sampled_from(["straight", "any direction"]),
    st.booleans(),
)
@settings(max_examples=15, deadline=None)
def test_no_row_has_a_deeper_sag(bend, wave, bearing, method, maize):
    def land(x, y):
        rolling = wave[0] * np.sin(2 * np.pi * x / wave[1])
        return 1500 + 0.1 * y + bend[0] * x**2 + bend[1] * x * y + rolling

    raster = surface_raster(land)
    practice = {"maize_bean_rows": 2} if maize else {}
    outlines = [square(raster, 0, 0, 50), square(raster, 60, 10, 40).buffer(9, quad_segs=2)]
    outlines[0] = outlines[0].difference(outlines[0].centroid.buffer(3))
    case = broken(raster, outlines, method, bearing, practice=practice)
    assert deepest(case, case.after) <= 0.05 + ROUNDING_M
    assert not case.low.table["low_place_flags"].map(len).any()


@pytest.mark.parametrize(("sigma", "maize"), [(0.0, 0), (0.0, 2), (0.15, 0)])
def test_many_at_once_are_broken_as_one_by_one(sigma, maize, monkeypatch):
    """Random land and outlines in batches of a few: the same breaks, the same gaps."""
    module = sys.modules["districtplan.rows.low_places"]
    monkeypatch.setattr(module, "PLOTS_AT_ONCE", 7)
    rng = np.random.default_rng(int(100 * sigma) + maize)
    rough = ndimage.gaussian_filter(rng.normal(0, 40, (120, 120)), 3)
    raster = surface_raster(lambda x, y: 1500 + 0.1 * y + rough, cells=120)
    extent = (
        raster.grid.west,
        raster.grid.north - 1200,
        raster.grid.west + 1200,
        raster.grid.north,
    )
    outlines = list(random_outlines(rng, 40, extent))
    bearing = rng.normal(90, 5, 40)
    asked = {"elevation": {"vertical_error_m": sigma, "error_correlation_m": 20.0}}
    if maize:
        asked["practice"] = {"maize_bean_rows": maize}
    case = broken(raster, outlines, bearing=bearing, **asked)
    around = Around(raster, case.plan, handbook.packaged())
    crs, number = raster.grid.crs, case.low.table["row_breaks"]
    bent = case.bent
    for plot, outline in enumerate(outlines):
        gap, count = None, 0
        if bent[plot]:
            frame, surface = around.surface(outline)
            gap, count = gaps(case.before, plot, frame, surface, crs, (0.05, 0.5, 3.0))
        assert count == number[plot]
        found = case.low.gaps[plot]
        assert (gap is None) == (found is None)
        # Where strips meet, a corner more or less may come of rounding.
        assert gap is None or shapely.symmetric_difference(gap, found).area < 1e-5
    assert 6 < np.count_nonzero(number) < 40


@pytest.mark.parametrize("name", ["gap_width_m", "link_m"])
def test_every_number_changes_something(name, monkeypatch):
    slant = surface_raster(lambda x, y: 1500 + 0.12 * y + 0.0006 * (x - 1.5 * y) ** 2)
    (usual,) = broken(slant, [square(slant)]).low.gaps
    book = renumbered("low_places", name, 0.2)
    for place in ("tests.conftest.handbook.packaged", "districtplan.plan.packaged"):
        monkeypatch.setattr(place, lambda: book)
    (other,) = broken(slant, [square(slant)]).low.gaps
    assert not usual.equals(other)


@pytest.mark.parametrize("phase", [0.0, 0.125, 0.25])
@pytest.mark.parametrize(("length", "error"), [(90, 0.1), (90, 0.3), (70, 0.3), (45, 0.3)])
def test_waves_that_cancel_over_a_plot_are_not_hidden_by_a_stated_error(phase, length, error):
    """A hollow beside a ridge leaves the bearing as it is, and ruins rows all the same."""

    def land(x, y):
        return 1500 + 0.12 * y + np.sin(2 * np.pi * (x / length + phase))

    raster = surface_raster(land)
    asked = {"elevation": {"vertical_error_m": error, "error_correlation_m": 30.0}}
    ground, _ = measured(raster, [square(raster)], plan_of(**asked))
    (row,) = ground.to_dict("records")
    assert row["bend_grade_pct"] > 0
    along = np.linspace(-45, 45, 2_001)
    grade = 200 * np.pi / length * np.cos(2 * np.pi * (along / length + phase))
    # A raster of 10 m sees waves of 45 m flatter than they are.
    assert row["row_grade_95_pct"] > 0.7 * np.sqrt(np.mean(grade**2))
    assert row["row_method"] == "guide lines"
    case = broken(raster, [square(raster)], **asked)
    # Where the crest lies in the middle and the plot ends in the hollows water runs off.
    holds = deepest(case, case.before) > 0.05 + ROUNDING_M
    assert holds == (length < 90 or phase < 0.25)
    assert (case.low.table["row_breaks"][0] > 0) == holds
    assert deepest(case, case.after) <= 0.05 + ROUNDING_M
