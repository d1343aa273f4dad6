"""Halves as shapes: where a bearing is known, of the size that the plan gives."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely

from districtplan.demos import layouts
from districtplan.demos.layout import parts
from districtplan.handbook import packaged
from tests.demos.district import asked

PLOT = {
    "plot_id": "P", "row_method": "straight", "row_bearing_grid_deg": 90.0,
    "row_bearing_true_deg": 89.0, "downslope_true_deg": 179.0, "row_spacing_map_m": 0.5,
}  # fmt: skip
LAND = np.array([shapely.box(0, 0, 40, 30)], dtype=object)


def laid(plan=None, *, provisional=0, **changed):
    chosen = pd.DataFrame(
        {"plot_id": ["P"], "demo_provisional": [provisional], "demo_side": "left"}
    )
    plots = pd.DataFrame([{**PLOT, **changed}])
    return layouts(chosen, plots, LAND, (plan or asked()).demos, packaged())


def test_halves_lie_across_the_slope_and_net_plots_are_as_large_as_asked():
    one = laid(asked(net_rows=6, net_length_m=3.0))["P"]
    halves = one.halves
    # It falls to the south: looking uphill, left is west.
    assert halves.left.centroid.x < halves.right.centroid.x
    assert halves.left.centroid.y == pytest.approx(halves.right.centroid.y)
    assert halves.left.area == pytest.approx(halves.right.area)
    for net in (halves.net_left, halves.net_right):
        west, south, east, north = net.bounds
        assert (east - west, north - south) == pytest.approx((3.0, 6 * 0.5))
    assert one.net_area_m2 == 9.0
    (top, foot) = halves.divide.coords
    assert top == pytest.approx((20, 30))
    assert foot == pytest.approx((20, 0))


def test_on_level_land_rows_may_run_along_the_longer_side():
    none = float("nan")
    one = laid(row_method="any direction", row_bearing_grid_deg=none, downslope_true_deg=none)["P"]
    (top, foot) = one.halves.divide.coords
    assert top[0] == pytest.approx(foot[0])


def test_without_a_bearing_or_room_they_are_laid_out_on_the_ground():
    assert laid(row_method="measure on the ground", row_bearing_grid_deg=float("nan")) == {}
    assert laid(provisional=1) == {}
    assert laid(asked(net_rows=100)) == {}


def test_the_layer_says_which_half_shows_the_message():
    table = parts(laid()).set_index("demo_part")
    assert table["demo_treated"]["left half"] == table["demo_treated"]["net plot of the left half"]
    assert table["demo_treated"].value_counts().to_dict() == {"message": 2, "as usual": 2}
    assert parts({}).empty
