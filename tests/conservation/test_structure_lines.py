"""Lines of structures: on known slopes, and what must hold on any hillside."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.conservation import Outlet, draw, structure_lines
from districtplan.conservation.structure_lines import ON_THE_GROUND, dig
from tests.conservation.hillsides import (
    BUND,
    DITCH,
    DRAIN,
    LIMITS,
    STRIPS,
    Land,
    faults,
    hillside,
    random_hillside,
)


def test_level_lines_lie_a_drop_apart_from_the_top_down():
    drawn = draw(hillside(), STRIPS, 1.5, LIMITS)
    north = [shapely.get_coordinates(line.shape)[:, 1].mean() for line in drawn.lines]
    assert [line.number for line in drawn.lines] == list(range(1, 11))
    # 1.5 m of fall on land of 20 % are 7.5 m on the map.
    assert north == pytest.approx(80 - 7.5 * np.arange(1, 11), abs=0.01)
    assert all(line.shape.length == pytest.approx(60, abs=1) for line in drawn.lines)


def test_graded_lines_fall_by_the_grade_to_the_outlet():
    drawn = draw(hillside(), DITCH, 1.5, LIMITS)
    assert drawn.reason is None
    assert len(drawn.lines) == 10
    for line in drawn.lines:
        assert line.outlet == "waterway 1"
        assert line.shape.coords[-1][0] == pytest.approx(-2)
        assert 100 * line.fall_m / line.shape.length == pytest.approx(1, rel=1e-3)
        assert line.shape.coords[0][0] == pytest.approx(60, abs=0.2)
    # From the waterway up the fifth line rises by 0.6 m, 3 m on the map, into the plot above.
    assert drawn.lines[3].plot_ids == ("middle",)


def test_a_line_goes_no_further_than_water_may_run_one_way():
    plots = shapely.box(0, [55, 27.5, 0], 160, [80, 52.5, 25])
    drawn = draw(hillside(plots=plots), DITCH, 1.5, LIMITS)
    assert all(95 < line.shape.length <= 100 + 1e-5 for line in drawn.lines)


def test_a_cut_off_drain_runs_above_all_plots():
    drawn = draw(hillside(), DRAIN, 1.5, LIMITS)
    assert len(drawn.lines) > 0
    assert min(shapely.get_coordinates(line.shape)[:, 1].min() for line in drawn.lines) >= 80 - 1e-6


def test_without_an_outlet_graded_lines_are_refused():
    drawn = draw(hillside(outlets=()), DITCH, 1.5, LIMITS)
    assert (drawn.lines, drawn.reason) == ((), "no_outlet")


def test_a_stream_at_the_foot_is_no_outlet_for_lines_above_it():
    stream = Outlet("stream 4", shapely.LineString([(-20, -8), (90, -8)]))
    drawn = draw(hillside(outlets=(stream,)), DITCH, 1.5, LIMITS)
    assert (drawn.lines, drawn.reason) == ((), "no_outlet")


def test_a_waterway_is_built_first_along_the_flow_line_to_a_safe_outlet():
    stream = Outlet("stream 4", shapely.LineString([(-20, -8), (90, -8)]))
    upper = shapely.LineString([(30, 100), (30, 40)])
    lower = shapely.LineString([(30, 40), (30, -20)])
    site = hillside(outlets=(stream,), flow=(upper, lower))
    drawn = draw(site, DITCH, 1.5, LIMITS)
    assert drawn.reason is None
    assert drawn.waterway.ends_at == "stream 4"
    assert drawn.waterway.line.length == pytest.approx(88, abs=0.1)
    assert drawn.waterway.fall_m == pytest.approx(0.2 * 88, abs=0.05)
    assert drawn.waterway_plots == ("low", "middle", "top")
    assert {line.outlet for line in drawn.lines} == {"waterway to build"}
    assert faults(drawn, site, DITCH) == []
    path = shapely.box(-50, -3, 100, -1)
    refused = draw(
        hillside(outlets=(stream,), flow=(upper, lower), refused=path), DITCH, 1.5, LIMITS
    )
    assert (refused.lines, refused.waterway, refused.reason) == ((), None, "no_outlet")


def test_lines_stop_at_a_house_and_at_lines_that_stand():
    house = shapely.box(40, 50, 48, 60)
    site = hillside(refused=house)
    for form in (DITCH, STRIPS):
        drawn = draw(site, form, 1.5, LIMITS)
        assert faults(drawn, site, form) == []
    wall = shapely.LineString([(30, -10), (30, 90)])
    drawn = draw(hillside(), DITCH, 1.5, LIMITS, (wall,))
    assert drawn.lines
    assert all(line.shape.distance(wall) >= 1.99 for line in drawn.lines)


@pytest.mark.parametrize(
    ("form", "given", "reason"),
    [
        (DITCH, {"slipping": True}, "slipping_ground"),
        (BUND, {"slipping": True}, "slipping_ground"),
        (STRIPS, {"slipping": True}, None),
        (BUND, {"deep_and_free": False}, "soil_not_deep_and_free"),
        (STRIPS, {"deep_and_free": False}, None),
        (DITCH, {"ground": None}, "ground_not_known"),
        (DITCH, {"ground": Land(slope=0.01)}, "less_fall_than_spacing"),
        (STRIPS, {"refused": shapely.box(-99, -99, 199, 199)}, "no_land"),
    ],
)
def test_what_may_not_be_drawn_says_why(form, given, reason):
    site = hillside(**given)
    if "ground" in given:
        site = hillside()
        site = type(site)(**(vars(site) | given))
    drawn = draw(site, form, 1.5, LIMITS)
    assert drawn.reason == reason
    assert bool(drawn.lines) is (reason is None)


def test_land_without_a_fall_asks_for_no_line():
    drawn = draw(hillside(), STRIPS, 0.0, LIMITS)
    assert (drawn.lines, drawn.reason) == ((), "less_fall_than_spacing")


@pytest.mark.parametrize(("form", "floor"), [(DITCH, 1.0), (STRIPS, 2.1)])
def test_a_raster_that_errs_too_much_gives_start_places_only(form, floor):
    drawn = draw(hillside(floor_pct=floor), form, 1.5, LIMITS)
    assert {line.state for line in drawn.lines} == {ON_THE_GROUND}
    assert len(drawn.lines) == 10
    assert all(line.shape.geom_type == "Point" and np.isnan(line.fall_m) for line in drawn.lines)
    sure = draw(hillside(floor_pct=floor - 0.2), form, 1.5, LIMITS)
    assert {line.state for line in sure.lines} == {"drawn"}


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_no_line_harms_on_any_hillside(seed):
    site, drop = random_hillside(seed)
    for form in (DITCH, DRAIN, STRIPS):
        assert faults(draw(site, form, drop, LIMITS), site, form) == []


@pytest.mark.parametrize("form", [STRIPS, BUND], ids=["strips", "bund"])
def test_level_lines_leave_gathered_water_its_strip(form):
    water = shapely.LineString([(30, 100), (30, -20)])
    drawn = draw(hillside(flow=(water,)), form, 1.5, LIMITS)
    ends = {round(end, 6) for line in drawn.lines for end in line.shape.xy[0]}
    half = LIMITS["strip_width_m"] / 2
    assert ends.issuperset({0, 30 - half, 30 + half, 60})
    assert not any(30 - half + 1e-6 < end < 30 + half - 1e-6 for end in ends)
    assert shapely.distance([line.shape for line in drawn.lines], water).min() > half - 1e-6


def uphill(original):
    def settled(ground, at, height, peg, grade):
        peg, there, sure, rise = original(ground, at, height, peg, -grade)
        return peg, there, np.ones_like(sure), rise

    return settled


def astray(original):
    def starts(site, outlets, levels):
        found = original(site, outlets, levels)
        return found._replace(xy=found.xy + np.array([3.0, 0.0]))

    return starts


def unbounded(original):
    return lambda walk, *others: float(walk.length)


def anywhere(original):
    return lambda near, place, outlets, site: shapely.box(-1e4, -1e4, 1e4, 1e4)


@pytest.mark.parametrize(
    ("name", "fault", "told"),
    [
        ("_settled", uphill, "it rises towards its outlet"),
        ("_starts", astray, "it carries water to a place without an outlet"),
        ("_first_near", unbounded, "it crosses another"),
        ("_free", anywhere, "it crosses what it may not"),
    ],
)
def test_each_seeded_fault_is_seen(name, fault, told, monkeypatch):
    monkeypatch.setattr(structure_lines, name, fault(getattr(structure_lines, name)))
    found = set()
    for seed in range(60):
        site, drop = random_hillside(seed)
        found.update(faults(draw(site, DITCH, drop, LIMITS), site, DITCH))
        if told in found:
            break
    assert told in found


def drawn_under(limits):
    """Everything that a limit can reach, in one text."""
    stream = Outlet("stream 4", shapely.LineString([(-20, -102), (90, -102)]))
    flow = (shapely.LineString([(30, 100), (30, -110)]),)
    near = Outlet("stream 5", shapely.LineString([(-20, -62), (90, -62)]))
    bent = Land(0.2, [(3.0, 0.0, 0.25, 0.0)])
    rising = Land(0.2, [(1.2603, 0.0, 0.2, 0.0)])
    short = shapely.box(0, [55, 27.5, 0], 5.1, [80, 52.5, 25])
    wall = (shapely.LineString([(30, -10), (30, 90)]),)
    cases = [
        (hillside(flow=flow), STRIPS, ()),
        (hillside(), DITCH, wall),
        (hillside(ground=bent), DITCH, ()),
        (hillside(plots=short), STRIPS, ()),
        (hillside(floor_pct=2.04), STRIPS, ()),
        (hillside(), DRAIN, ()),
        (hillside(outlets=(stream,), flow=flow), DITCH, ()),
        (hillside(outlets=(near,), flow=flow, ground=rising), DITCH, ()),
    ]
    return [str(draw(site, form, 1.5, limits, standing)) for site, form, standing in cases]


NOT_HERE = ("link_m", "cut_off_saves_min_share", "cut_off_spans_min_share", "crossing_min_m")
"""Limits that other tests hold: of work sites, of what goes with them, and of waterways."""


@pytest.mark.parametrize("name", [name for name in LIMITS if name not in NOT_HERE])
def test_every_limit_matters(name):
    assert drawn_under(LIMITS | {name: LIMITS[name] * 1.04}) != drawn_under(LIMITS)


def test_no_waterway_is_dug_on_ground_that_slips():
    flow = (shapely.LineString([(30, 100), (30, -20)]),)
    stream = Outlet("stream 4", shapely.LineString([(-20, -8), (90, -8)]))
    sound = dig(hillside(outlets=(stream,), flow=flow), LIMITS)
    assert sound.waterway is not None
    slips = dig(hillside(outlets=(stream,), flow=flow, slipping=True), LIMITS)
    assert (slips.waterway, slips.reason) == (None, "slipping_ground")


@pytest.mark.parametrize(("wide_m", "reason"), [(47.0, None), (52.0, "head_not_spanned")])
def test_a_drain_spans_the_head_of_the_plot_that_it_is_dug_for(wide_m, reason):
    """A wall leaves the drain some 40 m from the outlet: four fifths of 50 m."""
    wall = (shapely.LineString([(42, 60), (42, 120)]),)
    plots = shapely.box(0, [55, 27.5, 0], wide_m, [80, 52.5, 25])
    drawn = draw(hillside(plots=plots), DRAIN, 1.0, LIMITS, wall)
    assert drawn.reason == reason
    assert bool(drawn.lines) == (reason is None)


def test_a_drain_beyond_its_outlet_takes_no_water_off_the_plot():
    east = Outlet("stream 2", shapely.LineString([(62, 110), (62, -10)]))
    drawn = draw(hillside(outlets=(east,)), DRAIN, 1.0, LIMITS)
    assert len(drawn.lines) == 1
    assert shapely.get_coordinates(drawn.lines[0].shape)[:, 0].max() < 62 + 1e-6
