from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.errors import InputError
from districtplan.intake import utm_zone
from districtplan.intake.zone import middle


@settings(max_examples=50, deadline=None)
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
