"""Safe outlets by kind, and waterways along flow lines."""

from __future__ import annotations

import pandas as pd
import pytest
import shapely

from districtplan.conservation import Outlet, safe_outlets, waterway
from districtplan.conservation.structure_lines import dig
from tests.conservation.hillsides import LIMITS, NOWHERE, Land, hillside

LAND = shapely.box(0, 0, 60, 80)
STREAM = Outlet("stream 4", shapely.LineString([(-20, -8), (90, -8)]))


def laid(line, outlets=(STREAM,), refused=NOWHERE, ground=None):
    line = shapely.LineString(line)
    return waterway(LAND, (line,), outlets, refused, ground or Land(), LIMITS)


def test_outlets_are_those_of_safe_kinds_as_they_are_called():
    kinds = ["house", "waterway", "grass strip", "stream", "bank", "ditch", "grass", "path"]
    called = [f"{kind} {row}" for row, kind in enumerate(kinds, 1)]
    features = pd.DataFrame(
        {"kind": kinds, "feature": called, "geometry": shapely.box(0, 0, range(1, 9), 9)}
    )
    names = [outlet.name for outlet in safe_outlets(features)]
    assert names == ["waterway 2", "stream 4", "ditch 6", "grass 7"]


def test_a_waterway_ends_at_the_first_outlet_that_it_reaches():
    grass = Outlet("grass 2", shapely.box(20, 5, 40, 15))
    found = laid([(30, 100), (30, -20)], (STREAM, grass))
    assert found.ends_at == "grass 2"
    assert found.line.coords[0] == pytest.approx((30, 80))
    assert found.line.coords[-1] == pytest.approx((30, 15))
    assert found.fall_m == pytest.approx(13)


@pytest.mark.parametrize("slope", [0.02, 0.2])
@pytest.mark.parametrize("below_m", [-3.0, 0.0, 3.0, 4.9, 5.1, 20.0])
def test_where_water_enters_within_reach_of_an_outlet_nothing_is_dug(below_m, slope):
    head = Outlet("stream 1", shapely.LineString([(-20, 80 - below_m), (90, 80 - below_m)]))
    found = laid([(30, 100), (30, -60)], (head, STREAM), ground=Land(slope))
    if below_m <= LIMITS["outlet_reach_m"]:
        assert found is None
    else:
        assert found.ends_at == "stream 1"
        assert found.line.length == pytest.approx(below_m)


@pytest.mark.parametrize(
    "given",
    [
        {"line": [(90, 100), (90, -20)]},
        {"line": [(30, 100), (30, 40)]},
        {"line": [(30, 100), (30, -20)], "outlets": ()},
        {"line": [(30, -20), (30, 100)]},
        {"line": [(30, 100), (30, -20)], "refused": shapely.box(0, -5, 90, -4)},
        {"line": [(30, 100), (30, -20)], "ground": Land(0.2, [(6, 0, 0.15, 0)])},
        {
            "line": [(30, 100), (30, -120)],
            "outlets": (Outlet("stream 1", shapely.box(0, -120, 60, -107)),),
        },
    ],
    ids=["beside", "short of it", "no outlet", "uphill", "over a path", "rises", "too far below"],
)
def test_no_waterway_where_water_would_not_be_safe(given):
    assert laid(**given) is None


def test_of_two_flow_lines_the_one_from_higher_up_serves():
    short = shapely.LineString([(15, 40), (15, -20)])
    whole = shapely.LineString([(45, 100), (45, -20)])
    found = waterway(LAND, (short, whole), (STREAM,), NOWHERE, Land(), LIMITS)
    assert found.line.coords[0][0] == pytest.approx(45)


def test_a_ring_of_flow_lines_ends():
    ring = [[(10, 60), (10, 50)], [(10, 50), (20, 55)], [(20, 55), (10, 60)]]
    lines = tuple(shapely.LineString(part) for part in ring)
    assert waterway(LAND, lines, (STREAM,), NOWHERE, Land(), LIMITS) is None


DOWN = shapely.LineString([(15, 100), (15, -20)])
FAR = shapely.LineString([(50, 100), (50, -20)])


def dug(*flow, **given):
    return dig(hillside(**({"outlets": (STREAM,), "flow": flow} | given)), LIMITS)


def test_one_waterway_takes_the_water_that_gathers_beside_it_and_no_other():
    one = dug(DOWN)
    assert (one.waterway.ends_at, one.reason) == ("stream 4", None)
    both = dug(DOWN, FAR)
    assert both.waterway is not None
    assert both.reason == "gathered_water_left"
    # Flow lines go by cells: what is nearer than the reach of outlets and a link is one water.
    assert dug(DOWN, shapely.LineString([(29.9, 100), (29.9, -20)])).reason is None
    assert dug(DOWN, shapely.LineString([(30.1, 100), (30.1, -20)])).reason is not None


def test_what_an_outlet_takes_already_needs_no_waterway():
    there = Outlet("waterway 1", shapely.LineString([(18, 110), (18, -10)]))
    found = dug(DOWN, outlets=(there,))
    assert found == ((), None, (), None, ("waterway 1",), ())


@pytest.mark.parametrize(("length_m", "reason"), [(9.9, None), (10.1, "gathered_water_left")])
def test_water_that_crosses_little_of_a_hillside_does_not_gather_there(length_m, reason):
    short = shapely.LineString([(50, 75), (50, 75 - length_m)])
    assert dug(DOWN, short).reason == reason


def test_water_that_crosses_somewhere_is_never_without_a_step():
    assert dug().reason == "no_outlet"


def test_no_waterway_is_laid_through_a_plot_that_may_bear_none():
    steep = shapely.box(0, 0, 60, 25)
    assert dug(DOWN, no_waterway=steep) == ((), None, (), "no_outlet", (), ())
