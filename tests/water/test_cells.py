"""Cells that the water stage hands on, and LS by upslope area through the arrays of a whole run."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from districtplan import erosion, water
from districtplan.erosion.ls import length_exponent
from districtplan.handbook import packaged
from districtplan.water import plots as module
from tests.conftest import ArrayElevation, plan_of, square, surface_raster
from tests.water.flow import reference, without_hollows

BOOK = packaged()


def gathered(raster: ArrayElevation, polygons: list) -> list[water.PlotCells]:
    outlines = np.array(polygons, dtype=object)
    plots = pd.DataFrame({"plot_id": [f"P{i}" for i in range(len(outlines))], "geometry": outlines})
    found: list[water.PlotCells] = []
    water.trace(plots, raster, plan_of(), BOOK, beside=water.Beside(each=found.append))
    return found


def by_area(parts: list[water.PlotCells], slope_pct: np.ndarray) -> np.ndarray:
    lengths = erosion.LengthByArea(slope_pct, 1e9, erosion.constants(BOOK))
    for part in parts:
        lengths.add(erosion.FlowCells(*part))
    return lengths.mean()


def whole_slope(slope_pct: float, cell: float, cells: int) -> tuple[ArrayElevation, list]:
    """A plane below a crest, and a plot from the crest down over so many cells."""
    raster = surface_raster(lambda x, y: 1000 - slope_pct / 100 * np.abs(y - 40 * cell), cell, 100)
    side = cells * cell
    return raster, [square(raster, 0, 40 * cell - side / 2, side)]


@pytest.mark.parametrize("slope_pct", [0.5, 4.0, 9.0, 22.0, 60.0])
@pytest.mark.parametrize(("cell", "cells"), [(10.0, 12), (1.0, 60), (12.5, 30)])
def test_it_telescopes_on_a_plane(slope_pct, cell, cells):
    """Desmet & Govers 1996: over n cells below a crest the mean of L is (n D / 22.13)^m."""
    parts = gathered(*whole_slope(slope_pct, cell, cells))
    slope = np.array([slope_pct])
    m = length_exponent(slope, erosion.constants(BOOK))[0]
    assert by_area(parts, slope)[0] == pytest.approx((cells * cell / 22.13) ** m, rel=1e-9)


def test_the_own_cell_in_what_enters_would_be_seen():
    parts = gathered(*whole_slope(9.0, 10.0, 12))
    wrong = [part._replace(entering_m2=part.entering_m2 + part.side_m**2) for part in parts]
    slope = np.array([9.0])
    assert by_area(wrong, slope)[0] > 1.02 * by_area(parts, slope)[0]


def test_no_grouping_changes_a_bit(rng, monkeypatch):
    raster = surface_raster(lambda x, y: 0 * x, cells=150)
    raster = ArrayElevation(raster.grid, without_hollows(rng, 150))
    polygons = [square(raster, *rng.uniform(-600, 600, 2), side=60) for _ in range(30)]
    slope = rng.uniform(2, 30, 30)
    one = by_area(gathered(raster, polygons), slope)
    monkeypatch.setattr(module, "BLOCK_CELLS", 31)
    monkeypatch.setattr(module, "GROUP_CELLS", 50)
    parts = gathered(raster, polygons)
    assert len(parts) > 4
    np.testing.assert_array_equal(one, by_area(parts, slope))


@pytest.mark.parametrize("seed", range(3))
def test_what_enters_each_cell_is_that_of_the_reference(seed):
    rng = np.random.default_rng(seed)
    raster = surface_raster(lambda x, y: 0 * x, cells=120)
    raster = ArrayElevation(raster.grid, without_hollows(rng, 120))
    polygons = [square(raster, *(rng.integers(-35, 35, 2) * 10), side=60) for _ in range(20)]
    (cells,) = gathered(raster, polygons)
    area = reference(raster) - 100.0
    for place, polygon in enumerate(polygons):
        west, south, east, north = polygon.bounds
        row = [round((raster.grid.north - edge) / 10) for edge in (north, south)]
        column = [round((edge - raster.grid.west) / 10) for edge in (west, east)]
        expected = area[row[0] : row[1], column[0] : column[1]].ravel()
        found = cells.entering_m2[cells.plot == place]
        np.testing.assert_allclose(np.sort(found), np.sort(expected), rtol=1e-9, atol=1e-6)
    assert (cells.side_m == 10).all()


def test_across_is_that_of_the_fall():
    turn = np.radians(30.0)
    raster = surface_raster(lambda x, y: 1000 + x * np.sin(turn) / 5 + y * np.cos(turn) / 5)
    (cells,) = gathered(raster, [square(raster)])
    assert cells.across == pytest.approx(np.sin(turn) + np.cos(turn), rel=1e-4)
    level = surface_raster(lambda x, y: 1000 + 0 * x)
    assert (gathered(level, [square(level)])[0].across == 1).all()
