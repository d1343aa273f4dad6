"""Control pegs of a district, walked over the globe; drops are those of the design."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS, Transformer

from districtplan import geodesy, handbook, rows
from districtplan.rows.guides import Guides
from tests.conftest import plan_of
from tests.rows.test_lay import NOTHING, ZONE, ground_of, plots_of
from tests.rows.test_setting_out import EARTH, PLACES

SQUARE = shapely.box(0, 0, 95, 60)
NO_GUIDES = Guides(
    pd.DataFrame(),
    pd.DataFrame(
        {
            "plot_id": [],
            "guide_kind": [],
            "line": [],
            "line_fall_pct": [],
            "geometry": pd.Series([], dtype=object),
        }
    ),
    pd.DataFrame({"plot_id": [], "line": [], "geometry": pd.Series([], dtype=object)}),
    pd.DataFrame(),
    pd.DataFrame(),
    pd.DataFrame(),
    ZONE,
)


FREE, POOR = (plan_of(soil={"drainage": drainage}) for drainage in ("free", "poor"))


def pegged(design, fall_to, bearing=90.0, guides=NO_GUIDES, plan=FREE):
    plots = plots_of([SQUARE])
    ground = ground_of(1, bearing=bearing, slope=10.0)
    _, _, laid = rows.lay(plots, ground, ZONE, rows.Clear(NOTHING), plan_of())
    lines, _ = rows.draw(laid, 10**6)
    north = geodesy.convergence_deg(
        ZONE, plots["longitude_deg"].to_numpy(), plots["latitude_deg"].to_numpy()
    )
    known = ground.assign(
        declination_deg=2.0,
        row_bearing_true_deg=bearing + north,
        row_grade_design_pct=design,
        row_fall_to=pd.Series([fall_to], dtype=object),
        row_method="straight" if guides is NO_GUIDES else "guide lines",
        geometry=plots["geometry"].to_numpy(),
        longitude_deg=plots["longitude_deg"],
        latitude_deg=plots["latitude_deg"],
    )
    return rows.control_pegs(known, rows.Rows(lines, ZONE), guides, plan, handbook.packaged())


def test_a_line_on_the_contour_drops_nowhere():
    found = pegged(0.0, None).table
    assert len(found) > 5
    assert (found["peg_drop_cm"].dropna() == 0).all()


@pytest.mark.parametrize(
    ("bearing", "end"),
    [(90.0, "east end"), (90.0, "west end"), (0.0, "north end"), (0.0, "south end"),
     (45.0, "south-west end"), (135.0, "south-east end")],
)  # fmt: skip
@pytest.mark.parametrize("design", [0.2, 1.0, 1.7])
def test_a_row_falls_by_its_design_to_the_end_that_it_is_to(bearing, end, design):
    found = pegged(design, end, bearing)
    (walk,) = found.walks.values()
    # 1 % falls 10 cm in 10 m: grade times the distance printed.
    assert walk.drop_cm == pytest.approx(design * np.asarray(walk.leg_m))
    ((x0, y0), (x1, y1)) = walk.xy[[0, -1]]
    side = {"north": (0, 1), "east": (1, 0), "south": (0, -1), "west": (-1, 0)}
    wanted = np.sum([side[part] for part in end.removesuffix(" end").split("-")], axis=0)
    assert np.dot([x1 - x0, y1 - y0], wanted) > 0


def test_where_either_end_is_safe_it_falls_from_the_nearer_corner():
    level, either = (pegged(*asked) for asked in ((0.0, None), (0.5, "either end")))
    assert (level.walks["P0", 1].xy == either.walks["P0", 1].xy).all()
    assert (either.walks["P0", 1].drop_cm > 0).all()


def test_rows_that_wait_for_an_outlet_are_not_pegged():
    found = pegged(np.nan, None)
    assert not found.walks
    assert found.table.empty


@pytest.mark.parametrize("kind", ["arc", rows.STANDING])
def test_what_stands_there_is_not_pegged(kind):
    course = shapely.LineString([(5, 20), (90, 21)])
    guides = guides_of(kind, course)
    found = pegged(np.nan, None, guides=guides)
    assert len(found.table) == (2 if kind == "arc" else 0)


def guides_of(kind, course, fall=0.0):
    """One guide line of the plot."""
    lines = pd.DataFrame(
        {
            "plot_id": ["P0"],
            "guide_kind": [kind],
            "line": [1],
            "line_fall_pct": [fall],
            "geometry": [course],
        }
    )
    places = [shapely.Point(at) for at in course.coords]
    along = [course.project(place) for place in places]
    pegs = pd.DataFrame({"plot_id": "P0", "line": 1, "peg_along_m": along})
    nothing = dict.fromkeys(("gap_m", "rows_in_gap", "short_rows_start", "short_rows_end"), np.nan)
    pegs = pegs.assign(geometry=places, **nothing)
    return Guides(pd.DataFrame(), lines, pegs, *[pd.DataFrame()] * 3, ZONE)


@pytest.mark.parametrize("fall", [0.2, 1.0])
def test_a_guide_line_falls_by_its_design_from_its_start(fall):
    course = shapely.LineString([(5, 20), (45, 22), (90, 21)])
    found = pegged(fall, "east end", guides=guides_of("arc", course, fall), plan=POOR)
    walk = found.walks["P0", 1]
    assert walk.drop_cm == pytest.approx(fall * np.asarray(walk.leg_m))
    assert (walk.xy[-1] == [90, 21]).all()


def test_guide_lines_that_wait_for_an_outlet_are_not_pegged():
    course = shapely.LineString([(5, 20), (90, 21)])
    guides = guides_of("arc", course)
    assert not pegged(np.nan, None, guides=guides, plan=POOR).walks
    assert pegged(np.nan, None, guides=guides).walks


CORNERS = {"north-west": (310, 390), "north-east": (40, 400), "south-east": (130, 380),
           "south-west": (225, 420)}  # fmt: skip
"""Corners of a plot clockwise: the direction from its middle [degrees], and how far [m]."""
SLOPE, FALL = 0.3, 200.0


def moved(place, azimuth, metres):
    """Go from a latitude and longitude along a geodesic."""
    arrived = EARTH.Direct(*place, float(azimuth), float(metres))
    return arrived["lat2"], arrived["lon2"]


def apart_m(one, other):
    return EARTH.Inverse(*one, *other)["s12"]


def along_edge(corners, tie):
    """Walk from a corner along the edge of a plane that falls, as far as is told, on the ground."""
    names = list(corners)
    step = 1 if tie.way == "clockwise" else -1
    ahead = names[(names.index(tie.corner) + step) % len(names)]
    azimuth = EARTH.Inverse(*corners[tie.corner], *corners[ahead])["azi1"]
    climbs = SLOPE * np.cos(np.radians(azimuth - FALL))
    return moved(corners[tie.corner], azimuth, tie.along_m / np.hypot(1, climbs))


def line_on_the_globe(place):
    """A plot, and the ends of a line across it: 0.2 and 0.35 of an edge from southern corners."""
    _, longitude, latitude, _ = PLACES[place]
    corners = {name: moved((latitude, longitude), *to) for name, to in CORNERS.items()}
    ends = []
    for south, north, share in (("south-west", "north-west", 0.2),
                                ("south-east", "north-east", 0.35)):  # fmt: skip
        edge = EARTH.Inverse(*corners[south], *corners[north])
        ends.append(moved(corners[south], edge["azi1"], share * edge["s12"]))
    return corners, ends


def peg(outline, course, at, guides=NO_GUIDES, slope_pct=100 * SLOPE, fall=FALL):
    """Peg a row, or the guide line if there is one, at one of the places."""
    epsg, longitude, latitude, declination = PLACES[at]
    plots = pd.DataFrame(
        {
            "plot_id": ["P0"],
            "longitude_deg": longitude,
            "latitude_deg": latitude,
            "declination_deg": declination,
            "slope_used_pct": slope_pct,
            "downslope_true_deg": fall,
            "row_method": "straight" if guides is NO_GUIDES else "guide lines",
            "row_grade_design_pct": 0.0,
            "row_fall_to": None,
            "geometry": [outline],
        }
    )
    lines = pd.DataFrame({"plot_id": ["P0"], "crop": "beans", "row": 1, "length_m": course.length})
    laid = rows.Rows(lines.assign(geometry=[course]), CRS.from_epsg(epsg))
    return rows.control_pegs(plots, laid, guides, FREE, handbook.packaged())


def pegged_on_the_globe(place, kind):
    """Peg the line across the plot, its coordinates brought to the zone."""
    zone = CRS.from_epsg(PLACES[place][0])
    to_zone = Transformer.from_crs(4326, zone, always_xy=True)
    corners, ends = line_on_the_globe(place)
    outline, course = (
        [to_zone.transform(east, north) for north, east in places]
        for places in (corners.values(), ends)
    )
    guides = NO_GUIDES
    if kind == "guide line":
        middle = shapely.LineString(course).interpolate(0.5, normalized=True)
        guides = guides_of("arc", shapely.LineString([course[0], middle.coords[0], course[1]]))
        guides = dataclasses.replace(guides, crs=zone)
    drawn = course[::-1] if kind == "row drawn backwards" else course
    return peg(shapely.Polygon(outline), shapely.LineString(drawn), place, guides)


@pytest.mark.parametrize("kind", ["row", "row drawn backwards", "guide line"])
@pytest.mark.parametrize("place", PLACES)
def test_what_is_printed_leads_over_the_globe(place, kind):
    """Legs, bearings, degrees of the ends and ties, with geographiclib alone."""
    corners, ends = line_on_the_globe(place)
    found = pegged_on_the_globe(place, kind)
    pegs, walk = found.table, found.walks["P0", 1]
    told = pegs[["peg_latitude_deg", "peg_longitude_deg"]].to_numpy()[[0, -1]]
    legs = pegs["peg_leg_m"].to_numpy()[1:]
    length = apart_m(*ends)
    # The row starts at the end that is nearer to its corner, whichever way it was drawn.
    for end, place_told, tie, corner in zip(
        ends, told, walk.ties, ("south-west", "south-east"), strict=True
    ):
        assert apart_m(end, place_told) < 0.02
        assert (tie.corner, tie.inside_m) == (corner, 0)
        assert apart_m(end, along_edge(corners, tie)) < 0.02
    if kind != "guide line":
        assert set(legs[:-1]) == {10.0}
    assert legs.sum() == pytest.approx(length, abs=0.051 if kind != "guide line" else 0.101)
    true, magnetic = (
        pegs[f"peg_bearing_{north}_deg"].to_numpy()[:-1] for north in ("true", "magnetic")
    )
    for bearings in (true, magnetic + PLACES[place][3]):
        at = ends[0]
        for leg, bearing in zip(legs, bearings, strict=True):
            at = moved(at, bearing, leg)
        # Half degrees are off by a quarter at most.
        assert apart_m(at, ends[1]) < length * np.sin(np.radians(0.26)) + 0.1


def test_a_row_starts_at_the_end_that_is_nearer_to_a_corner_on_the_ground():
    """20 m up an edge that climbs by 100 % are 28 m: farther than 25 m along the contour."""
    to_zone = Transformer.from_crs(4326, PLACES["south"][0], always_xy=True)
    x, y = to_zone.transform(*PLACES["south"][1:3])
    course = shapely.LineString([(x, y + 20), (x + 70, y)])
    for slope_pct, start in ((0.0, 0), (100.0, -1)):
        found = peg(shapely.box(x, y, x + 95, y + 80), course, "south", NO_GUIDES, slope_pct, 180.0)
        assert tuple(found.walks["P0", 1].xy[0]) == course.coords[start]


def test_the_first_row_of_at_least_half_the_longest_is_chosen():
    laid = pd.DataFrame(
        {
            "plot_id": ["P0", "P0", "P0", "P0", "P1"],
            "crop": ["maize", "beans", "beans", "beans", "beans"],
            "row": [1, 1, 2, 3, 1],
            "length_m": [300.0, 49.0, 50.0, 100.0, 7.0],
        }
    )
    assert rows.first_long(laid, 0.5).index.tolist() == [2, 4]
