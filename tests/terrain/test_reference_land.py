"""The raster's error as reference land shows it, on errors whose size is known."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from districtplan.errors import InputError
from districtplan.handbook import packaged
from districtplan.terrain.reference_land import estimate_error
from tests.conftest import ArrayElevation, square, surface_raster
from tests.support import renumbered
from tests.terrain.errors import correlated

SEEDS = (20_260_405, 20_260_406, 20_260_407)


def evenly(seed: int, sigma: float, length: float, cell: float = 10.0) -> ArrayElevation:
    """An even slope under an error of σ [m] that is alike over some cells."""
    error = sigma * correlated(np.random.default_rng(seed), 200, length)
    return surface_raster(lambda x, y: 1500 + 0.02 * x - 0.05 * y + error, cell=cell)


def fields(raster: ArrayElevation, side: float) -> np.ndarray:
    """Eight squares of land, none on the raster's lines."""
    cell = raster.grid.cell_x
    places = [(x * 45, y * 45) for x in (-2, -1, 0, 1) for y in (-1, 1)]
    return np.array(
        [square(raster, (x + 25.3) * cell, (y + 3.7) * cell, side * cell) for x, y in places],
        dtype=object,
    )


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("length", [0.0, 1.0, 2.0, 4.0])
@pytest.mark.parametrize(("sigma", "cell"), [(0.4, 5.0), (3.0, 30.0)])
def test_it_recovers_size_and_length(seed, length, sigma, cell):
    raster = evenly(seed, sigma, length, cell)
    found = estimate_error(fields(raster, 34), raster, packaged(), "flat.gpkg")
    assert found.vertical_error_m == pytest.approx(sigma, rel=0.15)
    assert found.error_correlation_m == pytest.approx(length * cell, rel=0.3)
    assert found.squares >= 8
    assert found.cells >= 8 * 1000


def test_the_planes_own_share_is_counted():
    """On small land a plane takes much of a long error: residuals alone read too small."""
    estimates = []
    for seed in range(8):
        raster = evenly(seed, 1.0, 2.0)
        found = estimate_error(fields(raster, 13), raster, packaged(), "flat.gpkg")
        estimates.append(found.vertical_error_m)
    assert np.mean(estimates) == pytest.approx(1.0, abs=0.12)


def test_slope_of_the_land_is_no_error():
    raster = surface_raster(lambda x, y: 1500 + 0.3 * x - 0.2 * y)
    # What is left is rounding of the heights to 32 bits: land that was levelled.
    assert "without any unevenness" in told(fields(raster, 30), raster)


def told(land, raster, book=None) -> str:
    with pytest.raises(InputError) as caught:
        estimate_error(land, raster, book or packaged(), "flat.gpkg")
    assert all(
        fault.where.startswith("flat.gpkg") and fault.remedy for fault in caught.value.faults
    )
    return str(caught.value)


def test_land_that_cannot_tell():
    raster = evenly(1, 1.0, 2.0)
    level = surface_raster(lambda x, y: 1500 + 0 * x + 0 * y)
    beyond = np.array([square(raster, 50_000, 0)], dtype=object)
    lost = np.array([shapely.box(np.inf, 0, np.inf, 1)], dtype=object)
    assert "enough cells" in told(fields(raster, 4), raster)
    assert "enough cells" in told(beyond, raster)
    assert "without any unevenness" in told(fields(level, 30), level)
    assert "doesn't reach" in told(lost, raster)
    wide = evenly(1, 1.0, 40.0)
    assert "alike over" in told(fields(wide, 30), wide)
    vast = np.array([square(raster, side=1e6)], dtype=object)
    assert "flat.gpkg row 1: spans more than" in told(vast, raster)


def test_gaps_and_edges_are_left_out():
    raster = evenly(5, 1.0, 1.0)
    raster.heights[90:110, 90:110] = np.nan
    land = np.array([square(raster, 0, 0, 600), square(raster, 900, 0, 400)], dtype=object)
    found = estimate_error(land, raster, packaged(), "flat.gpkg")
    assert found.vertical_error_m == pytest.approx(1.0, rel=0.15)
    assert found.cells == 60 * 60 - 20 * 20 + 30 * 40


def test_a_strip_one_cell_wide_has_no_slope_across():
    raster = evenly(6, 1.0, 0.0)
    x0 = raster.grid.west + 500
    y0 = raster.grid.north - 1_500
    land = np.array(
        [shapely.box(x0 + 30 * n, y0, x0 + 30 * n + 10, y0 + 1000) for n in range(30)], dtype=object
    )
    found = estimate_error(land, raster, packaged(), "flat.gpkg")
    assert found.vertical_error_m == pytest.approx(1.0, rel=0.1)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("cells_min", 500.0), ("side_cells", 12.0), ("pieces_max", 3.0), ("lags_cells_max", 2.0),
        ("length_cells_min", 4.0),
    ],
)  # fmt: skip
def test_every_limit_is_used(name, value):
    raster = evenly(7, 1.0, 2.0)
    land = np.append(fields(raster, 34), square(raster, -400, 0, 80))
    usual = estimate_error(land, raster, packaged(), "flat.gpkg")
    book = renumbered("reference_land_limits", name, value)
    assert estimate_error(land, raster, book, "flat.gpkg") != usual


def test_the_longest_length_is_bounded():
    raster = evenly(7, 1.0, 2.0)
    book = renumbered("reference_land_limits", "length_share_max", 0.05)
    assert "alike over" in told(fields(raster, 34), raster, book)
