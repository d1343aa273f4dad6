"""The slope above plots, on surfaces on which it is known, and by a plain walk."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan import water
from districtplan.handbook import packaged
from tests.conftest import ArrayElevation, middle, plan_of, square, surface_raster
from tests.water.flow import reference_ways, with_hollows, without_hollows


def hill(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A slope of 20 % that falls south from a crest at y = 500, and north beyond it."""
    return 1000 - 0.2 * np.abs(y - 500) + 0 * x


def plots_of(polygons: list) -> pd.DataFrame:
    outlines = np.array(polygons, dtype=object)
    return pd.DataFrame({"plot_id": [f"P{i}" for i in range(len(outlines))], "geometry": outlines})


def told(raster, polygons, features=(), cap_m=122.0, **keys):
    """Trace water; features are kinds and shapes in metres from the middle."""
    x0, y0 = middle(raster)
    shapes = [shapely.transform(shape, lambda xy: xy + np.array([x0, y0])) for _, shape in features]
    frame = pd.DataFrame(
        {"kind": [kind for kind, _ in features], "geometry": pd.Series(shapes, dtype=object)}
    )
    plan = plan_of(water=keys, erosion={"slope_length_cap_m": cap_m})
    table, *_ = water.trace(
        plots_of(polygons), raster, plan, packaged(), beside=water.Beside(frame)
    )
    names = ["slope_length_above_m", "slope_length_above_at_least", "slope_above_begins"]
    return [tuple(row) for row in table[names].itertuples(index=False)]


@pytest.fixture(scope="module")
def raster() -> ArrayElevation:
    return surface_raster(hill)


def test_to_the_divide_it_is_the_distance_from_the_crest(raster):
    # Squares of 40 m whose upper edges lie 0, 30, 100 and 110 m below the crest at y = 500.
    polygons = [square(raster, 0, 500 - top - 20, 40) for top in (0, 30, 100, 110)]
    assert told(raster, polygons) == [
        (0, 0, "divide"),
        (30, 0, "divide"),
        (100, 0, "divide"),
        (110, 0, "divide"),
    ]


def test_the_cap_ends_it_and_says_so(raster):
    far = [square(raster, 0, 100, 40)]
    assert told(raster, far) == [(122, 1, "cap")]
    assert told(raster, far, cap_m=305.0) == [(305, 1, "cap")]
    assert told(raster, [square(raster, 0, 200, 40)], cap_m=305.0) == [(280, 0, "divide")]


def test_the_end_of_the_heights_ends_it_and_says_so():
    raster = surface_raster(lambda x, y: 1000 + 0.2 * y + 0 * x)
    # The edge cells keep what is theirs; the row below them is the first that runs down.
    assert told(raster, [square(raster, 0, 1000 - 70, 40)]) == [(40, 1, "end of the heights")]


@pytest.mark.parametrize("kind", ["bank", "ditch", "path", "road", "terrace", "grass strip"])
def test_a_feature_above_ends_it(raster, kind):
    polygon = [square(raster, 0, 280, 40)]
    across = shapely.LineString([(-200, 360), (200, 360)])
    assert told(raster, polygon) == [(122, 1, "cap")]
    assert told(raster, polygon, [(kind, across)]) == [(60, 0, "feature")]
    # On the plot's own edge: nothing lies above.
    edge = shapely.LineString([(-200, 300), (200, 300)])
    assert told(raster, polygon, [(kind, edge)]) == [(0, 0, "feature")]
    # Beside the plot it changes nothing.
    beside = shapely.LineString([(60, 360), (200, 360)])
    assert told(raster, polygon, [(kind, beside)]) == [(122, 1, "cap")]


@pytest.mark.parametrize("kind", ["grass", "house", "other", "culvert"])
def test_what_slows_no_water_changes_nothing(raster, kind):
    polygon = [square(raster, 0, 280, 40)]
    across = shapely.box(-200, 350, 200, 360)
    assert told(raster, polygon, [(kind, across)]) == [(122, 1, "cap")]


def test_a_bank_above_half_of_the_edge_ends_nothing_yet(raster):
    polygon = [square(raster, 0, 280, 40)]
    half = shapely.LineString([(-200, 360), (-10, 360)])  # above one column of four
    assert told(raster, polygon, [("bank", half)])[0][1:] == (1, "cap")
    most = shapely.LineString([(-200, 360), (12, 360)])
    assert told(raster, polygon, [("grass strip", most)]) == [(60, 0, "feature")]


def test_a_line_of_gathered_water_decides_nothing():
    # A crest 60 m above the plot's upper edge, cut by a valley one cell wide from far beyond.
    def cut(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.where(np.abs(x - 5) < 5, 980 - 0.2 * (500 - y), hill(x, y))

    raster = surface_raster(cut)
    assert told(raster, [square(raster, 0, 400, 80)]) == [(60, 0, "divide")]
    assert told(raster, [square(raster, 5, 420, 10)]) == [(122, 1, "cap")]


def test_without_heights_nothing_is_known(raster):
    z = raster.heights.copy()
    z[90:110, 90:110] = np.nan
    found = told(
        ArrayElevation(raster.grid, z), [square(raster, 0, 0, 40), square(raster, 0, 420, 40)]
    )
    assert np.isnan(found[0][0])
    assert found[0][1] == 1
    assert pd.isna(found[0][2])
    assert found[1] == (60, 0, "divide")


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_a_higher_cap_never_shortens_and_a_strip_never_lengthens(seed):
    rng = np.random.default_rng(seed)
    raster = surface_raster(lambda x, y: 0 * x, cells=100)
    raster = ArrayElevation(raster.grid, with_hollows(rng, 100))
    polygons = [square(raster, *rng.uniform(-300, 300, 2), side=50) for _ in range(12)]
    usual = np.array([row[0] for row in told(raster, polygons)])
    further = np.array([row[0] for row in told(raster, polygons, cap_m=200.0)])
    assert (further >= usual - 1e-9).all()
    assert (usual <= 122).all()


@pytest.mark.parametrize("seed", range(4))
def test_agrees_with_a_walk_over_every_cell(seed):
    rng = np.random.default_rng(seed)
    raster = surface_raster(lambda x, y: 0 * x, cells=100)
    raster = ArrayElevation(raster.grid, without_hollows(rng, 100))
    polygons = [square(raster, *(rng.integers(-25, 25, 2) * 10), side=60) for _ in range(15)]
    found = told(raster, polygons)
    _, drains_to = reference_ways(raster)
    for polygon, (length, at_least, begins) in zip(polygons, found, strict=True):
        west, south, east, north = polygon.bounds
        columns = range(
            round((west - raster.grid.west) / 10), round((east - raster.grid.west) / 10)
        )
        rows = range(
            round((raster.grid.north - north) / 10), round((raster.grid.north - south) / 10)
        )
        inside = {row * 100 + column for row in rows for column in columns}
        expected = walked(raster.heights.astype(np.float32), drains_to, inside, 122.0)
        assert length == pytest.approx(expected, abs=1e-6)
        assert (begins == "cap") == (expected == 122.0)
        assert at_least or begins in {"divide", "end of the heights"}


def walked(heights: np.ndarray, drains_to: np.ndarray, inside: set[int], cap_m: float) -> float:
    """The middle of the longest ways down into a plot, cell by cell."""
    columns = heights.shape[1]
    into: dict[int, list[int]] = {}
    for cell, to in enumerate(drains_to.ravel()):
        if to >= 0:
            into.setdefault(int(to), []).append(cell)

    def step(a: int, b: int) -> float:
        return 10.0 * float(np.hypot(a // columns - b // columns, a % columns - b % columns))

    def longest(cell: int) -> float:
        return max((step(up, cell) + longest(up) for up in into.get(cell, [])), default=0.0)

    lengths = []
    for cell in sorted(inside):
        outside = [up for up in into.get(cell, []) if up not in inside]
        row, column = divmod(cell, columns)
        around = heights[row - 1 : row + 2, column - 1 : column + 2]
        if outside:
            lengths.append(max(step(up, cell) + longest(up) for up in outside))
        elif not into.get(cell) and heights[row, column] >= around.max():
            lengths.append(0.0)
    if not lengths:
        return 0.0
    return min(sorted(lengths)[len(lengths) // 2], cap_m)
