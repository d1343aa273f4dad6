from __future__ import annotations

import pandas as pd
import pytest

from districtplan import terrain
from districtplan.handbook import packaged
from tests.conftest import plan_of
from tests.support import renumbered


def ground(height=1800.0, slope=12.0, count=20):
    return pd.DataFrame({"elevation_mean_m": [height] * count, "slope_corrected_pct": slope})


def read(raster, by_hand, count=6):
    return pd.DataFrame({"slope_raster_pct": [raster] * count, "slope_read_pct": by_hand})


@pytest.mark.parametrize(
    ("plots", "compared", "told"),
    [
        (ground(), read(12.0, 11.0), None),
        (ground(), read(36.1, 11.0), "3.3 times as steep as 6 slopes"),
        (ground(), read(36.1, 11.0, count=4), None),
        (ground(), read(6.6, 2.0), None),
        (ground(), read(90.0, 11.0), None),
        (ground(height=5900.0), read(12.0, 11.0), "half of the plots lie above 5,900 m"),
        (ground(slope=66.0), read(12.0, 11.0), "steeper than 66 %"),
        (ground(), read(12.0, 11.0, count=0), None),
    ],
)
def test_feet_are_asked_for(plots, compared, told):
    said = terrain.unit_doubts(plots, compared, plan_of(), packaged())
    assert len(said) == (told is not None)
    assert told is None or (told in said[0] and "Are the heights in feet?" in said[0])
    known = plan_of(elevation={"vertical_unit": "metre"})
    assert terrain.unit_doubts(plots, compared, known, packaged()) == []


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("feet_height_min_m", 6000.0),
        ("feet_slope_min_pct", 70.0),
        ("feet_reading_min_pct", 12.0),
        ("feet_readings_min", 7.0),
        ("feet_times_min", 3.5),
        ("feet_times_max", 3.2),
    ],
)
def test_every_limit_is_used(name, value):
    plots = ground(
        height=5900.0 if "height" in name else 1800.0, slope=66.0 if "slope" in name else 12.0
    )
    compared = read(36.1, 11.0, count=6 if "read" in name or "times" in name else 0)
    assert terrain.unit_doubts(plots, compared, plan_of(), packaged())
    assert not terrain.unit_doubts(
        plots, compared, plan_of(), renumbered("surface_checks", name, value)
    )
