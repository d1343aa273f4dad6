"""The forecast of other rasters against the closed form and against a raster of that kind."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from districtplan import handbook
from districtplan.terrain.serves import forecast
from tests.conftest import measured, plan_of, square, surface_raster

PLAN = plan_of(elevation={"vertical_error_m": 2.0, "error_correlation_m": 60.0})


def ask(sides, slope=0.2, plan=PLAN):
    raster = surface_raster(lambda x, y: 2000 + slope * x, cell=30.0)
    plots = [square(raster, 7 * number, 0, side) for number, side in enumerate(sides)]
    table, _ = measured(raster, plots, plan)
    asked = pd.DataFrame(
        {
            "plot_id": [f"P{number}" for number in range(len(plots))],
            "area_ha": [side**2 / 1e4 for side in sides],
            "geometry": plots,
        }
    )
    table["slope_corrected_pct"] = 100 * slope
    table["row_grade_limit_pct"] = 2.0
    return forecast(asked, table, raster.grid, plan, handbook.packaged())


def test_finer_rasters_serve_more():
    told = ask([20, 30, 40, 60, 90, 140, 200])
    assert [one.cell_m for one in told] == [30, 10, 5, 2]
    shares = [one.plots_share for one in told]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert all(0 <= one.land_share <= 1 for one in told)
    assert all(one.land_share >= one.plots_share for one in told)


def test_no_raster_coarser_than_the_one_at_hand_is_offered():
    fine = plan_of(elevation={"vertical_error_m": 0.2, "error_correlation_m": 5.0})
    assert [one.cell_m for one in ask([60], plan=fine)] == [2]


def test_the_forecast_is_what_such_a_raster_does():
    """Plots on a true plane read from a raster of the 5 m kind: the same plots are served."""
    sides = [15, 20, 25, 30, 40, 50, 60]
    told = next(one for one in ask(sides) if one.cell_m == 5)
    raster = surface_raster(lambda x, y: 2000 + 0.2 * x, cell=5.0)
    plan = plan_of(elevation={"vertical_error_m": 0.3, "error_correlation_m": 15.0})
    table, _ = measured(raster, [square(raster, 0, 0, side) for side in sides], plan)
    assert told.plots_share == pytest.approx((table["row_method"] == "straight").mean(), abs=0.15)
    assert np.isfinite(told.land_share)
