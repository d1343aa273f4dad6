"""Two halves of a demonstration plot: same size, same height, apart, inside."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from districtplan.demos.comparison import (
    Rules,
    dry_yield_kg_ha,
    halve,
    rows_up_and_down,
    treated_side,
)
from districtplan.handbook import packaged

RULES = Rules.of(packaged(), 0.5)


def test_the_usual_net_plot_is_five_rows_of_four_metres():
    assert (RULES.net_rows, RULES.net_length_m) == (5, 4)
    assert RULES.net_area_m2 == 10


def test_a_kilogram_from_ten_square_metres_is_a_tonne_a_hectare():
    assert dry_yield_kg_ha(1.0, 10.0) == 1000


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(12, 40), min_size=8, max_size=8),
    st.floats(0, 360),
    st.sampled_from([90.0, -90.0]),
)
def test_halves_are_alike_in_all_that_is_compared(radii, down, quarter):
    turns = np.arange(8) * np.pi / 4
    plot = shapely.Polygon(np.column_stack([radii * np.cos(turns), radii * np.sin(turns)]))
    bearing = (down + quarter) % 180
    halves = halve(plot, bearing, down, RULES)
    assert halves is not None
    assert halves.left.area == pytest.approx(halves.right.area, abs=1e-3)
    assert halves.left.distance(halves.right) >= RULES.divide_m - 1e-6
    angle = np.radians(down)
    downhill, uphill_left = np.array([np.sin(angle), np.cos(angle)]), None
    # Looking uphill the left hand is a quarter turn anticlockwise from uphill.
    uphill_left = np.array([downhill[1], -downhill[0]])
    for net, half in ((halves.net_left, halves.left), (halves.net_right, halves.right)):
        assert half.buffer(1e-6).covers(net)
        assert net.area == pytest.approx(RULES.net_area_m2)
        assert half.boundary.distance(net) >= min(RULES.border_m) - 1e-6
    apart = np.subtract(halves.net_left.centroid.coords[0], halves.net_right.centroid.coords[0])
    assert apart @ downhill == pytest.approx(0, abs=1e-6)
    assert apart @ uphill_left > 0
    run = np.diff(shapely.get_coordinates(halves.divide), axis=0)[0]
    assert run @ downhill == pytest.approx(np.hypot(*run))
    ends = shapely.points(shapely.get_coordinates(halves.divide))
    # A team walks from one edge of the land to the other, past no corner that juts out beyond.
    assert shapely.distance(ends, plot.boundary).max() < 1e-6


def test_a_plot_without_room_has_no_halves():
    assert halve(shapely.box(0, 0, 9, 30), 90.0, 180.0, RULES) is None
    assert halve(shapely.box(0, 0, 11, 4), 90.0, 180.0, RULES) is not None
    assert halve(shapely.box(0, 0, 11, 3.4), 90.0, 180.0, RULES) is None


def test_land_that_is_not_planted_is_in_no_net_plot():
    hole = shapely.box(-15, -4, 15, 4)
    halves = halve(shapely.box(-20, -20, 20, 20).difference(hole), 90.0, 180.0, RULES)
    assert halves is not None
    assert not halves.net_left.intersects(hole)
    assert not halves.net_right.intersects(hole)


def test_the_lot_falls_evenly_and_is_the_plots_own():
    sides = [treated_side(f"P-{number}", 7) for number in range(2000)]
    assert abs(sides.count("left") - 1000) < 4 * np.sqrt(500)
    assert [treated_side(f"P-{number}", 7) for number in range(2000)] == sides
    assert [treated_side(f"P-{number}", 8) for number in range(2000)] != sides


@pytest.mark.parametrize(
    ("slope", "may"), [(11.9, True), (12.0, True), (12.1, False), (np.nan, False)]
)
def test_no_rows_run_down_steep_land_even_to_compare(slope, may):
    limit = packaged().number("demo_comparison", "up_down_slope_max_pct")
    assert rows_up_and_down(slope, limit) is may


def test_turning_the_plot_turns_the_halves():
    plot = shapely.Polygon([(0, 0), (30, 4), (28, 33), (3, 25)])
    once = halve(plot, 90.0, 180.0, RULES)
    turned = halve(affinity.rotate(plot, -50, origin=(0, 0)), 140.0, 230.0, RULES)
    assert once is not None
    assert turned is not None
    back = affinity.rotate(turned.net_left, 50, origin=(0, 0))
    assert back.symmetric_difference(once.net_left).area == pytest.approx(0, abs=1e-6)
