"""Lines as they are set out: walked by what is printed, with a library of geodesics apart."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer

from districtplan.handbook import packaged
from districtplan.rows import Rules, Site
from districtplan.rows.setting_out import closure_m, printed_deg
from tests.conftest import plan_of
from tests.support import renumbered, site_at, walked

EARTH = Geodesic.WGS84
RULES = Rules.of(plan_of(), packaged())
PLACES = {
    "south": (32736, 31.2, -14.3, -6.4),
    "zone's edge": (32633, 17.9, 55.2, 5.1),
    "equator": (32736, 33.0, 0.0, 1.2),
    "west": (32719, -70.1, -33.4, -22.3),
}


def square_at(name: str = "south") -> tuple[Site, np.ndarray]:
    """Give a square plot of 300 m at a place, and its middle."""
    epsg, longitude, latitude, declination = PLACES[name]
    crs = CRS.from_epsg(epsg)
    middle = np.array(
        Transformer.from_crs(4326, crs, always_xy=True).transform(longitude, latitude)
    )
    outline = shapely.box(*(middle - 150), *(middle + 150))
    return site_at(outline, crs, (longitude, latitude), declination), middle


def zone_of(name: str = "south") -> CRS:
    return CRS.from_epsg(PLACES[name][0])


def set_out(line: np.ndarray, grade_pct: float, site: Site, rules: Rules, name: str = "south"):
    return walked(line, grade_pct, site, zone_of(name), rules)


def straight(middle: np.ndarray, length: float, bearing_deg: float) -> np.ndarray:
    angle = np.radians(bearing_deg)
    return middle + length * np.outer([-0.5, 0.5], [np.sin(angle), np.cos(angle)])


def arc(middle: np.ndarray, length: float, radius: float, bearing_deg: float = 80.0) -> np.ndarray:
    """Draw an arc by chords of half a metre; it bends right for a radius above 0."""
    turn = np.radians(bearing_deg) + np.linspace(0, length / radius, int(2 * length) + 1)
    return middle + radius * np.column_stack(
        [np.cos(turn[0]) - np.cos(turn), np.sin(turn) - np.sin(turn[0])]
    )


def wave(middle: np.ndarray, length: float, high: float) -> np.ndarray:
    x = np.linspace(0, length, int(2 * length) + 1)
    return middle + np.column_stack([x - length / 2, high * np.sin(4 * np.pi * x / length)])


def lines(middle: np.ndarray) -> dict[str, np.ndarray]:
    return {
        "straight": straight(middle, 100.0, 84.3),
        "straight, least favourable": straight(middle, 100.0, 84.25),
        "arc right": arc(middle, 100.0, 80.0),
        "arc left": arc(middle, 100.0, -45.0),
        "tight": arc(middle, 60.0, 30.0),
        "S": wave(middle, 100.0, 4.0),
        "odd length": straight(middle, 97.3, 311.1),
        "few points": middle + np.array([[0, 0], [38, 9], [71, 2], [104, -14]]),
    }


def geodesic_walk(walk, start, bearings) -> tuple[float, float]:
    """Walk legs by geodesics, with geographiclib alone."""
    latitude, longitude = start
    for leg, bearing in zip(walk.leg_m, bearings, strict=True):
        arrived = EARTH.Direct(latitude, longitude, float(bearing), float(leg))
        latitude, longitude = arrived["lat2"], arrived["lon2"]
    return latitude, longitude


def missed_m(walk, arrived) -> float:
    return EARTH.Inverse(*arrived, walk.latitude_deg[1], walk.longitude_deg[1])["s12"]


def by_string(walk, first_deg: float) -> list[float]:
    """Lay a string on along each last leg and swing its end: the bearings that result."""
    bearings = [first_deg]
    for leg, swing in zip(walk.leg_m[1:], walk.sideways_cm[1:], strict=True):
        turn = 2 * np.arcsin(swing / 100 / 2 / leg)
        bearings.append(bearings[-1] + np.degrees(turn))
    return bearings


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("name", lines(np.zeros(2)))
def test_the_printed_walk_closes(place, name):
    site, middle = square_at(place)
    walk = set_out(lines(middle)[name], 1.0, site, RULES, place)
    start = (walk.latitude_deg[0], walk.longitude_deg[0])
    allowed = 0.5 * max(walk.leg_m.sum() / 100, 1.0)
    assert missed_m(walk, geodesic_walk(walk, start, walk.true_deg)) < allowed
    # As a compass shows it: the declination is added back.
    shown = walk.magnetic_deg + site.declination_deg
    assert missed_m(walk, geodesic_walk(walk, start, shown)) < allowed


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("name", lines(np.zeros(2)))
def test_sideways_steps_close(place, name):
    site, middle = square_at(place)
    walk = set_out(lines(middle)[name], 0.0, site, RULES, place)
    start = (walk.latitude_deg[0], walk.longitude_deg[0])
    # The first leg is sighted along a rope from peg 1 to peg 2, not read from a compass.
    second = Transformer.from_crs(zone_of(place), 4326, always_xy=True).transform(*walk.xy[1])
    first = EARTH.Inverse(*start, second[1], second[0])["azi1"]
    assert missed_m(walk, geodesic_walk(walk, start, by_string(walk, first))) < 0.5


def test_whole_degrees_would_not_close():
    """The least favourable bearing misses by 0.87 m in whole degrees: the check can fail."""
    site, middle = square_at()
    site = dataclasses.replace(site, convergence_deg=0.0)
    walk = set_out(straight(middle, 100.0, 84.49), 0.0, site, RULES)
    across = 100 * np.sin(np.radians(84.49 - np.round(84.49)))
    assert abs(across) > 0.5
    assert abs(100 * np.sin(np.radians(84.49 - walk.true_deg[0]))) < 0.5


@pytest.mark.parametrize("turned", ["convergence", "declination"])
def test_a_sign_turned_round_is_seen(turned):
    site, middle = square_at("zone's edge")
    true = site.convergence_deg, site.declination_deg
    if turned == "convergence":
        wrong = dataclasses.replace(site, convergence_deg=-true[0])
    else:
        wrong = dataclasses.replace(site, declination_deg=-true[1])
    walk = set_out(straight(middle, 100.0, 60.0), 0.0, wrong, RULES, "zone's edge")
    start = (walk.latitude_deg[0], walk.longitude_deg[0])
    shown = walk.magnetic_deg + site.declination_deg
    assert missed_m(walk, geodesic_walk(walk, start, shown)) > 3


@pytest.mark.parametrize("radius", [25.0, 60.0, 80.0, -140.0, 400.0])
def test_an_arc_bends_by_the_step_squared_over_its_radius(radius):
    site, middle = square_at()
    walk = set_out(arc(middle, 95.0, radius * site.scale), 0.0, site, RULES)
    step = walk.leg_m[0]
    assert step == (5 if abs(radius) < 57.3 else 10)
    whole = walk.leg_m[1:] == step
    assert np.abs(walk.sideways_cm[1:][whole] - 100 * step**2 / radius).max() <= 1
    assert abs(walk.sideways_cm[0] - 100 * step**2 / (2 * radius)) <= 1
    # Rounding is given back: the sum is true to a centimetre.
    assert abs((walk.sideways_cm[1:][whole] - 100 * step**2 / radius).sum()) <= 1.5


def test_the_tangent_is_that_of_the_line():
    site, middle = square_at()
    walk = set_out(arc(middle, 90.0, 50.0, bearing_deg=80.0), 0.0, site, RULES)
    assert abs(walk.tangent_true_deg - (80.0 + site.convergence_deg)) <= 0.3


@pytest.mark.parametrize("name", lines(np.zeros(2)))
def test_pegs_stand_on_the_line_a_string_apart(name):
    site, middle = square_at()
    line = lines(middle)[name]
    walk = set_out(line, 0.0, site, RULES)
    drawn = shapely.LineString(line)
    assert shapely.distance(drawn, shapely.points(walk.xy)).max() < 1e-6
    assert (walk.xy[[0, -1]] == line[[0, -1]]).all()
    apart = np.hypot(*np.diff(walk.xy, axis=0).T) / site.scale
    assert walk.leg_m == pytest.approx(apart, abs=0.05 + 1e-9)
    assert set(np.round(apart[:-2], 6)) <= {5.0, 10.0}
    assert apart[-1] <= 11
    table = pd.DataFrame(walk.columns())
    assert table["along_m"].iloc[-1] == pytest.approx(walk.leg_m.sum())
    assert list(table["peg"]) == list(range(1, len(table) + 1))


def test_pegs_are_closer_only_where_the_line_bends():
    site, middle = square_at()
    bent = arc(middle, 40.0, 30.0)
    heading = bent[-1] - bent[-2]
    line = np.vstack([bent, bent[-1] + 60 * heading / np.hypot(*heading)])
    walk = set_out(line, 0.0, site, RULES)
    assert walk.leg_m[:6].tolist() == [5.0] * 6
    assert walk.leg_m[-4:-1].tolist() == [10.0] * 3


def test_no_peg_just_before_the_end():
    site, middle = square_at()
    lengths = {80.4: [10.0] * 7 + [10.4], 81.2: [10.0] * 8 + [1.2], 0.6: [0.6], 7.0: [7.0]}
    for length, legs in lengths.items():
        walk = set_out(straight(middle, length * site.scale, 10.0), 0.0, site, RULES)
        assert walk.leg_m.tolist() == legs


@pytest.mark.parametrize("grade", [0.0, -0.0, 1.0, -0.5, 1.7])
def test_drops_are_grade_times_distance(grade):
    site, middle = square_at()
    for line in lines(middle).values():
        walk = set_out(line, grade, site, RULES)
        assert walk.drop_cm == pytest.approx(grade * walk.leg_m, abs=1e-12)
        if grade == 0:
            assert (walk.drop_cm == 0).all()
            assert not np.signbit(walk.drop_cm).any()
            assert not np.signbit(walk.columns()["drop_cm"]).any()
    walk = set_out(straight(middle, 100 * site.scale, 0.0), 1.0, site, RULES)
    assert walk.drop_cm.tolist() == [10.0] * 10


@pytest.mark.parametrize("name", ["straight", "arc left", "S"])
def test_the_closure_printed_is_the_closure_simulated(name):
    site, middle = square_at()
    walk = set_out(lines(middle)[name], 0.0, site, RULES)
    draw = np.random.default_rng(20260315)
    bearing = np.radians(walk.true_deg + draw.normal(0, 2.0, (20_000, len(walk.leg_m))))
    leg = walk.leg_m + draw.normal(0, 0.1, bearing.shape)
    arrived = np.stack([(leg * np.sin(bearing)).sum(1), (leg * np.cos(bearing)).sum(1)], axis=1)
    meant = np.radians(walk.true_deg)
    end = [(walk.leg_m * np.sin(meant)).sum(), (walk.leg_m * np.cos(meant)).sum()]
    simulated = np.sqrt(np.mean(np.sum((arrived - end) ** 2, axis=1)))
    assert walk.closure_m == pytest.approx(simulated, rel=0.02)


def test_closure_of_no_error_is_none():
    assert closure_m(np.full(10, 10.0), 0.0, 0.0) == 0
    assert closure_m(np.full(4, 10.0), 0.0, 0.1) == pytest.approx(0.2)


@given(st.floats(-1e4, 1e4))
@settings(deadline=None)
def test_printed_bearings_are_half_degrees_of_a_turn(bearing):
    shown = float(printed_deg(np.array([bearing]))[0])
    assert 0 <= shown < 360
    assert shown % 0.5 == 0
    assert abs((shown - bearing + 180) % 360 - 180) <= 0.25 + 1e-9


@given(st.floats(0, 360), st.floats(2, 250), st.floats(-0.02, 0.02))
@settings(deadline=None, max_examples=60)
def test_any_arc_closes(bearing, length, bend):
    site, middle = square_at()
    line = straight(middle, length, bearing) if abs(bend) < 1e-6 else None
    if line is None:
        line = arc(middle, length, 1 / bend, bearing)
    walk = set_out(line, 0.0, site, RULES)
    start = (walk.latitude_deg[0], walk.longitude_deg[0])
    allowed = 0.5 * max(walk.leg_m.sum() / 100, 1.0)
    assert missed_m(walk, geodesic_walk(walk, start, walk.true_deg)) < allowed


def test_an_unknown_declination_leaves_magnetic_bearings_out():
    site, middle = square_at()
    unknown = dataclasses.replace(site, declination_deg=float("nan"))
    walk = set_out(straight(middle, 50.0, 20.0), 0.0, unknown, RULES)
    assert np.isnan(walk.magnetic_deg).all()
    assert not np.isnan(walk.true_deg).any()


def test_the_table_gives_degrees_of_the_ends_only():
    site, middle = square_at()
    walk = set_out(arc(middle, 90.0, 60.0), 1.0, site, RULES)
    table = pd.DataFrame(walk.columns())
    inner = table.iloc[1:-1]
    assert inner[["longitude_deg", "latitude_deg"]].isna().all().all()
    assert table.iloc[[0, -1]][["longitude_deg", "latitude_deg"]].notna().all().all()
    assert table["bearing_true_deg"].isna().tolist() == [False] * (len(table) - 1) + [True]
    assert table["drop_cm"].iloc[0] == 0


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ([[0, 0], [0, 0]], "no length"),
        ([[0, 0]], "no length"),
        ([[0, 0], [np.nan, 1]], "isn't known"),
        ([[0, 0], [0.01, 0.01]], "ends where it starts"),
    ],
)
def test_no_line_is_refused(line, told):
    site, middle = square_at()
    with pytest.raises(ValueError, match=told):
        set_out(middle + np.array(line, dtype=float), 0.0, site, RULES)
    with pytest.raises(ValueError, match="grade"):
        set_out(straight(middle, 9.0, 0.0), np.nan, site, RULES)


@pytest.mark.parametrize("radius", [0.5, 2.0, 4.9, 8.0])
@pytest.mark.parametrize("open_m", [0.0, 0.02])
def test_a_ring_is_pegged_all_the_way_around(radius, open_m):
    """Also where one string reaches across it: pegs at its start and end alone are one place."""
    site, middle = square_at()
    ring = arc(middle, 2 * np.pi * radius - open_m, radius)
    ring = np.vstack([ring, ring[:1]]) if open_m == 0 else ring
    walk = set_out(ring, 0.0, site, RULES)
    assert (walk.leg_m > 0).all()
    assert np.hypot(*(walk.xy - walk.xy[0]).T).max() > radius
    assert walk.leg_m.sum() >= 4 * radius * 0.9


def test_a_plots_fall_lengthens_its_edges():
    site, _ = square_at()
    epsg, longitude, latitude, declination = PLACES["south"]
    crs = CRS.from_epsg(epsg)
    steep = site_at(site.outline, crs, (longitude, latitude), declination, (30.0, 180.0))
    assert steep.rise[1] == pytest.approx(0.3, rel=1e-3)
    assert abs(steep.rise[0]) < 0.01
    assert site_at(site.outline, crs, (longitude, latitude), 0.0, (30.0, np.nan)).rise == (0, 0)


@pytest.mark.parametrize(
    ("name", "field"),
    [
        ("turn_max_deg", "leg_m"),
        ("compass_error_deg", "closure_m"),
        ("leg_error_m", "closure_m"),
    ],
)
def test_handbook_numbers_matter(name, field):
    site, middle = square_at()
    line = arc(middle, 90.0, 60.0)
    value = packaged().number("setting_out", name)
    changed = Rules.of(plan_of(), renumbered("setting_out", name, value * 0.5))
    before, after = (set_out(line, 0.0, site, rules) for rules in (RULES, changed))
    assert not np.array_equal(getattr(before, field), getattr(after, field))


def test_the_step_is_the_plans():
    site, middle = square_at()
    rules = Rules.of(plan_of(rows={"peg_step_m": 20.0}), packaged())
    walk = set_out(straight(middle, 100.0 * site.scale, 0.0), 0.0, site, rules)
    assert walk.leg_m.tolist() == [20.0] * 5
