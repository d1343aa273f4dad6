"""The forecast of other rasters against rasters of their kind, made and run."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS

from districtplan import handbook
from districtplan.grid import Grid
from districtplan.terrain import serves
from districtplan.terrain.serves import forecast
from tests.conftest import ArrayElevation, measured, plan_of, square, surface_raster
from tests.terrain.errors import correlated

MIDDLE = 500_000.0, 9_800_000.0
EXTENT = 2400
KINDS = {10: (0.5, 30.0), 5: (0.3, 15.0), 2: (0.15, 6.0)}
"""Error and reach of the handbook's rasters, by cell."""
MEASURE = "measure on the ground"


def hills(seed):
    """Hills of waves from 1500 m down to 100 m long."""
    rng = np.random.default_rng(seed)
    waves = []
    for length, size in ((1500, 45), (700, 16), (350, 5), (180, 1.2), (100, 0.3)):
        for turn, phase in rng.uniform(0, 2 * np.pi, (6, 2)):
            step = 2 * np.pi / length
            waves.append((step * np.cos(turn), step * np.sin(turn), phase, size))
    return lambda x, y: 1800 + sum(s * np.sin(p * x + q * y + f) for p, q, f, s in waves)


def raster_of(land, cell, error, reach, seed=1):
    count = EXTENT // cell
    corner = MIDDLE[0] - EXTENT / 2, MIDDLE[1] + EXTENT / 2
    raster = surface_raster(land, cell=float(cell), cells=count, corner=corner)
    rng = np.random.default_rng(seed)
    raster.heights = raster.heights + error * correlated(rng, count, reach / cell)
    return raster


def fields(seed, shortest, longest, count=250):
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(count):
        long = np.exp(rng.uniform(np.log(shortest), np.log(longest)))
        half = long / 2, long * rng.uniform(0.4, 1) / 2
        box = shapely.affinity.rotate(
            shapely.box(-half[0], -half[1], *half), rng.uniform(0, 180), origin=(0, 0)
        )
        east, north = rng.uniform(-1000, 1000, 2) + MIDDLE
        found.append(shapely.affinity.translate(box, east, north))
    return found


def stated(error, reach):
    return plan_of(elevation={"vertical_error_m": error, "error_correlation_m": reach})


def told_of(raster, plots, plan):
    table, _ = measured(raster, plots, plan)
    asked = pd.DataFrame(
        {
            "plot_id": [f"P{number}" for number in range(len(plots))],
            "area_ha": shapely.area(np.array(plots)) / 1e4,
            "geometry": plots,
        }
    )
    return forecast(asked, table, raster, plan, handbook.packaged())


@pytest.mark.parametrize(
    ("at_hand", "seed", "sizes", "within"),
    [
        ((10, 1.0, 30.0), 1, (25, 90), 0.1),
        pytest.param((10, 1.0, 30.0), 2, (50, 150), 0.1, marks=pytest.mark.slow),
        # Cells of 30 m don't see all the bends that decide.
        pytest.param((30, 0.9, 60.0), 2, (25, 90), 0.15, marks=pytest.mark.slow),
        pytest.param((30, 0.9, 60.0), 1, (50, 150), 0.15, marks=pytest.mark.slow),
    ],
)
def test_the_forecast_is_what_such_rasters_serve(at_hand, seed, sizes, within):
    land, plots = hills(seed), fields(seed, *sizes)
    told = told_of(raster_of(land, *at_hand), plots, stated(*at_hand[1:]))
    assert [one.cell_m for one in told] == [10, 5, 2]
    for one in told:
        error, reach = KINDS[one.cell_m]
        table, _ = measured(
            raster_of(land, int(one.cell_m), error, reach, seed=7), plots, stated(error, reach)
        )
        served = (table["row_method"] != MEASURE).to_numpy()
        area = shapely.area(np.array(plots))
        assert one.plots_share == pytest.approx(served.mean(), abs=within)
        assert one.land_share == pytest.approx(area[served].sum() / area.sum(), abs=within)


def test_the_raster_at_hand_and_those_not_better_are_not_offered():
    def cells(cell, error):
        raster = surface_raster(lambda x, y: 2000 + 0.2 * x, cell=cell)
        return [one.cell_m for one in told_of(raster, [square(raster)], stated(error, 2 * cell))]

    assert cells(30.0, 0.9) == [10, 5, 2]
    assert cells(30.9, 0.9) == [10, 5, 2]  # an arc second: the same raster
    assert cells(30.0, 2.0) == [30, 10, 5, 2]  # same cells, smaller error
    assert cells(29.0, 2.0) == [30, 10, 5, 2]  # so nearly the same that the error decides
    assert cells(10.0, 0.5) == [5, 2]
    assert cells(10.0, 0.2) == [2]  # 5 m cells with 0.3 m are no better
    assert cells(2.0, 0.15) == []
    assert cells(30.0, 0.0) == []


def test_a_forecast_is_rough_where_plots_are_too_small_to_show_bends():
    land = hills(3)
    coarse, fine = raster_of(land, 30, 0.9, 60.0), raster_of(land, 10, 1.0, 30.0)
    small, large = fields(3, 20, 40, 40), fields(3, 90, 150, 40)
    assert all(one.rough for one in told_of(coarse, small, stated(0.9, 60.0)))
    assert not any(one.rough for one in told_of(fine, large, stated(1.0, 30.0)))


def test_no_error_of_the_raster_at_hand_is_taken_for_land():
    """A plane stays one under 3 m of error, and a gap in the heights does no harm."""
    plots = fields(4, 60, 120, 80)
    noisy = raster_of(lambda x, y: 2000 + 0.1 * x, 10, 3.0, 60.0)
    noisy.heights[::17, ::13] = np.nan
    clean = raster_of(lambda x, y: 2000 + 0.1 * x, 10, 0.0, 60.0)
    of_noisy, of_clean = (told_of(raster, plots, stated(3.0, 60.0)) for raster in (noisy, clean))
    for one, other in zip(of_noisy[1:], of_clean[1:], strict=True):
        assert one.plots_share == pytest.approx(other.plots_share, abs=0.15)
    assert told_of(noisy, plots, stated(3.0, 60.0)) == of_noisy


def bent(x, y):
    return 2000 + 0.1 * x + 0.05 * y + 1e-4 * x**2 + 2e-4 * x * y - 1.5e-4 * y**2


@pytest.mark.parametrize("cells", [(10.0, 25.0), (25.0, 10.0), (10.0, 10.0)])
def test_the_land_lies_under_the_other_rasters_cells_as_it_is(cells, monkeypatch):
    """Cells that aren't square; no error: the gradient in each new cell is that of the land."""
    width, height = cells
    grid = Grid(
        MIDDLE[0] - 1000, MIDDLE[1] + 1000, width, height, round(2000 / height),
        round(2000 / width), CRS.from_epsg(32736),
    )  # fmt: skip
    x = (np.arange(grid.columns) + 0.5) * width - 1000
    y = 1000 - (np.arange(grid.rows) + 0.5) * height
    raster = ArrayElevation(grid, bent(*np.meshgrid(x, y)))
    seen, spreads = [], []
    lay, bend = serves._ground, serves._Fit.bend

    def watched(found, *rest):
        ground = lay(found, *rest)
        seen.append((rest[1].cell_m, found, ground))
        return ground

    def told(fit, spread):
        spreads.append(spread)
        return bend(fit, spread)

    nothing = np.zeros((serves.FIELD_CELLS, serves.FIELD_CELLS))
    monkeypatch.setattr(serves, "_ground", watched)
    monkeypatch.setattr(serves, "_error_field", lambda _: (nothing, nothing))
    monkeypatch.setattr(serves._Fit, "bend", told)
    plot = shapely.box(MIDDLE[0] - 100, MIDDLE[1] + 50, MIDDLE[0] + 100, MIDDLE[1] + 150)
    # An error so much alike says next to nothing of slopes.
    told_of(raster, [plot], stated(1.0, 5000.0))
    assert [cell for cell, _, _ in seen][-3:] == [10, 5, 2]
    for cell, found, ground in seen:
        x = (found.column + 0.5) * cell - 1000
        y = 1000 - (found.row + 0.5) * cell
        assert (np.abs(x) < 100 + cell).all()
        assert (np.abs(y - 100) < 50 + cell).all()
        assert ground.east == pytest.approx(0.1 + 2e-4 * x + 2e-4 * y, abs=1e-3)
        assert ground.north == pytest.approx(0.05 + 2e-4 * x - 3e-4 * y, abs=1e-3)
    # Along its narrow side a plot counts as a square of its area.
    assert spreads[0] == pytest.approx([200**2 / 12, 200 * 100 / 12], rel=0.03)


def test_bends_count_by_how_far_the_plot_reaches_their_way():
    """Mean square of (a x + b y, b x + c y) for independent a, b and c."""
    value, variance = np.zeros(6), np.array([0, 0, 0, 1.0, 10.0, 100.0])
    _, noise = serves._Fit(value, np.diag(variance)).bend(np.array([3.0, 5.0]))
    assert noise**2 == pytest.approx(1 * 3 + 10 * (3 + 5) + 100 * 5)


def test_the_size_of_cells_that_are_not_square_is_that_of_their_area():
    def better(width, height):
        grid = Grid(
            MIDDLE[0] - 1000, MIDDLE[1] + 1000, width, height, round(2000 / height),
            round(2000 / width), CRS.from_epsg(32736),
        )  # fmt: skip
        raster = ArrayElevation(grid, np.full((grid.rows, grid.columns), 2000.0))
        plot = shapely.box(MIDDLE[0], MIDDLE[1], MIDDLE[0] + 100, MIDDLE[1] + 100)
        return [one.cell_m for one in told_of(raster, [plot], stated(0.5, 30.0))]

    # Of 16 by 4 m are 8 m: neither 10 m nor 4 m.
    assert better(16.0, 4.0) == better(4.0, 16.0) == [5, 2]
