from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from shapely import box

from districtplan import intake
from districtplan.errors import InputError
from districtplan.intake import utm_zone
from districtplan.intake.zone import middle
from tests.conftest import NORTH, WEST, surface_raster


@settings(max_examples=15, deadline=None)
@given(st.floats(-180, 179.999), st.floats(-79.9, 83.9))
def test_zone_is_that_of_the_longitude(longitude, latitude):
    found = utm_zone(np.array([longitude]), np.array([latitude])).to_epsg()
    number = int((longitude + 180) // 6) + 1
    side = 32600 if latitude >= 0 else 32700
    on_border = abs((longitude + 180) % 6) < 1e-9 or abs((longitude + 180) % 6 - 6) < 1e-9
    around = {side + number} | ({side + (number - 2) % 60 + 1, side + number % 60 + 1}
                                if on_border else set())  # fmt: skip
    assert found in around


def test_middle_is_the_median_also_across_180():
    assert middle(np.array([10.0, 11, 50]), np.array([-1.0, 0, 5])) == (11, 0)
    longitude, _ = middle(np.array([179.0, -179, -178]), np.zeros(3))
    assert longitude == pytest.approx(-179)
    assert utm_zone(np.array([179.0, -179, -178]), np.zeros(3)).to_epsg() == 32601


def test_order_of_plots_does_not_matter_far_from_180():
    longitude = np.array([30.0, 31, 36.5, 36.6, 36.7])
    for order in (slice(None), slice(None, None, -1)):
        assert utm_zone(longitude[order], np.full(5, -2.0)).to_epsg() == 32737


@pytest.mark.parametrize("latitude", [84.5, -80.5, 90, -90])
def test_near_a_pole_is_told(latitude):
    with pytest.raises(InputError, match="beyond the UTM zones"):
        utm_zone(np.array([10.0]), np.array([latitude]))


def test_no_plots_is_told():
    with pytest.raises(InputError, match="none can be used"):
        utm_zone(np.array([]), np.array([]))


@pytest.mark.parametrize(("stated", "fits"), [(32735, 32736), (32636, 32736), (32736, None)])
def test_a_wrong_zone_is_known_by_the_raster(stated, fits):
    grid = surface_raster(lambda x, y: x + y).grid
    plots = np.array([box(WEST + 900, NORTH - 900, WEST + 950, NORTH - 850)], dtype=object)
    found = intake.zone_that_fits(plots, CRS.from_epsg(stated), grid)
    assert (None if found is None else found.to_epsg()) == fits
    away = np.array([box(WEST + 9e4, NORTH, WEST + 9.1e4, NORTH + 50)], dtype=object)
    assert intake.zone_that_fits(away, CRS.from_epsg(stated), grid) is None
    if found is not None:
        aside = pd.DataFrame({"source_row": [1], "plot_id": ["a"], "reason": "b", "remedy": "c"})
        with pytest.raises(InputError, match=rf"would lie on it in .*EPSG:{fits}"):
            intake.require_some(aside[:0], aside, "plots.shp", found)
