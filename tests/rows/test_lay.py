"""The stage: ground spacing, what methods are counted along, land taken, maize, the first row."""

from __future__ import annotations

import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Geod, Proj, Transformer

from districtplan import rows, tables
from districtplan.rows.corner import ANTICLOCKWISE, SIDES
from tests.conftest import plan_of
from tests.rows.fields import field, fields

ZONE = CRS.from_epsg(32736)
# Where a metre of the zone is a metre on the ellipsoid, all but, and far from where it is.
NEAR, MIDDLE = (680_946.0, 9_800_000.0), (500_000.0, 9_800_000.0)
NOTHING = np.zeros(0, dtype=object)
PLAN = plan_of()


def plots_of(shapes, place=MIDDLE):
    """Plots moved to a place of the zone, with what intake says of them."""
    shapes = [
        shapely.affinity.translate(s, *(np.array(place) - np.array(s.bounds[:2]))) for s in shapes
    ]
    inside = shapely.point_on_surface(np.array(shapes, dtype=object))
    to_degrees = Transformer.from_crs(ZONE, 4326, always_xy=True)
    longitude, latitude = to_degrees.transform(shapely.get_x(inside), shapely.get_y(inside))
    scale = Proj(ZONE).get_factors(longitude, latitude).meridional_scale
    return pd.DataFrame(
        {
            "plot_id": [f"P{place}" for place in range(len(shapes))],
            "area_ha": shapely.area(shapes) / scale**2 / 10_000,
            "longitude_deg": longitude,
            "latitude_deg": latitude,
            "geometry": shapes,
        }
    )


def ground_of(count, bearing=90.0, slope=0.0, method="straight", fall=180.0):
    return pd.DataFrame(
        {
            "plot_id": [f"P{place}" for place in range(count)],
            "slope_used_pct": np.full(count, float(slope)),
            "row_method": method,
            "row_bearing_grid_deg": np.full(count, bearing),
            "downslope_true_deg": np.full(count, fall),
        }
    )


def laid(shapes, plan=PLAN, taken=NOTHING, strips=None, place=MIDDLE, **ground):
    plots = plots_of(shapes, place)
    clear = rows.Clear(taken, strips)
    table, _, found = rows.lay(plots, ground_of(len(shapes), **ground), ZONE, clear, plan)
    return table, found, plots


def first_of(shapes, plan=PLAN, **given):
    return laid(shapes, plan, **given)[0].iloc[0]


def test_columns_are_those_declared():
    table, _, _ = laid([shapely.box(0, 0, 20, 20)])
    assert table.columns.tolist() == ["plot_id", *tables.made_by("rows")]


def test_rows_are_spaced_on_the_ground():
    """Up a slope of 75 %, 100 m on the map are 125 m on the ground: a quarter more rows."""
    square = shapely.box(0, 0, 100, 100)
    level, steep = (first_of([square], slope=slope, place=NEAR) for slope in (0.0, 75.0))
    assert level["row_spacing_map_m"] == 0.5
    assert steep["row_spacing_map_m"] == pytest.approx(0.4)
    assert (level["rows"], steep["rows"]) == (200, 250)
    assert level["row_length_m"] == pytest.approx(20_000, rel=1e-5)
    assert steep["row_length_m"] == pytest.approx(25_000, rel=1e-5)
    assert level["holes"] == pytest.approx(200_000, abs=200)


def test_map_spacing_in_place_of_ground_spacing_would_be_seen(monkeypatch):
    """The fault that farmers would pay for, seeded: the cosine forgotten."""
    source = Path(sys.modules["districtplan.rows.lay"].__file__).read_text(encoding="utf-8")
    broken = source.replace(
        "family.spacing_m * level, family.first_m * level",
        "family.spacing_m * level**0, family.first_m * level**0",
    )
    assert broken != source
    module = ModuleType("broken_lay")
    monkeypatch.setitem(sys.modules, "broken_lay", module)
    exec(compile(broken, "broken_lay", "exec"), module.__dict__)
    plots = plots_of([shapely.box(0, 0, 100, 100)], NEAR)
    table, _, _ = module.lay(plots, ground_of(1, slope=75.0), ZONE, rows.Clear(NOTHING), PLAN)
    assert table["rows"][0] != 250


@pytest.mark.parametrize("place", [NEAR, MIDDLE])
def test_lengths_are_on_the_ellipsoid(place):
    """In the middle of a zone 1 m on the map is 1.0004 m on the ground: by geodesics, both ways."""
    strip = shapely.box(0, 0, 2_000, 0.6)
    plan = plan_of(rows={"first_row_offset_cm": 30})
    found = first_of([strip], plan, place=place)
    to_degrees = Transformer.from_crs(ZONE, 4326, always_xy=True)
    x, y = place
    ends = (*to_degrees.transform(x, y + 0.3), *to_degrees.transform(x + 2_000, y + 0.3))
    assert found["row_length_m"] == pytest.approx(Geod(ellps="WGS84").inv(*ends)[2], rel=1e-6)


@pytest.mark.parametrize(
    ("method", "bearing", "basis"),
    [
        ("straight", 12.0, "straight rows"),
        ("guide lines", 12.0, "straight rows in place of curved ones"),
        ("any direction", np.nan, "straight rows along the longer side"),
        ("measure on the ground", np.nan, "area over spacing"),
    ],
)
def test_every_method_has_its_basis(method, bearing, basis):
    found = first_of([shapely.box(0, 0, 60, 40)], method=method, bearing=bearing)
    assert found["holes_basis"] == basis
    assert found["holes"] == pytest.approx(48_000, rel=0.01)
    assert pd.isna(found["rows"]) == (method == "measure on the ground")
    assert pd.isna(found["first_row_corner"]) == (method == "measure on the ground")


@pytest.mark.parametrize("turn", [0, 30, 90, 145])
def test_any_direction_runs_along_the_longer_side(turn):
    field = shapely.affinity.rotate(shapely.box(0, 0, 60, 20), turn)
    found = first_of([field], method="any direction", bearing=np.nan, place=NEAR)
    assert (found["rows"], found["short_rows"]) == (40, 0)
    assert found["row_length_m"] == pytest.approx(2_400, rel=1e-4)


def test_where_the_bearing_is_unknown_holes_are_the_mean_over_bearings():
    shape = field(77, "holed")
    plots = plots_of([shape] * 721, NEAR)
    bearings = np.linspace(0, 180, 721)[:-1]
    ground = ground_of(720, slope=20.0).assign(row_bearing_grid_deg=bearings)
    table, _, _ = rows.lay(plots.iloc[:720], ground, ZONE, rows.Clear(NOTHING), PLAN)
    unknown = first_of([shape], method="measure on the ground", slope=20.0, place=NEAR)
    assert unknown["holes"] == pytest.approx(table["holes"].mean(), rel=3e-3)


def test_structures_strips_and_margin_take_land():
    square = shapely.box(0, 0, 100, 100)
    east, north = MIDDLE
    ditch = np.array([shapely.box(east - 10, north + 40, east + 200, north + 42)], dtype=object)
    strips = np.array([shapely.box(east + 50, north - 9, east + 56, north + 200)], dtype=object)
    plan = plan_of(rows={"edge_margin_m": 2.0})
    found = first_of([square], plan, taken=ditch, strips=strips)
    scale = 0.9996
    assert found["land_taken_m2"] == pytest.approx(200 / scale**2, rel=1e-4)
    # What the ditch takes anyhow isn't counted twice.
    assert found["flow_strip_m2"] == pytest.approx((600 - 12) / scale**2, rel=1e-4)
    left = (96 * 96 - (96 - 6) * 2 - 96 * 6) / scale**2
    assert found["row_length_m"] * 0.5 == pytest.approx(left, rel=0.005)
    plain = first_of([square])
    assert plain["land_taken_m2"] == plain["flow_strip_m2"] == 0
    assert plain["rows"] * 2 == pytest.approx(found["rows"], rel=0.1)


def test_a_strip_that_cannot_be_placed_takes_no_land_and_says_so():
    square = shapely.box(0, 0, 20, 20)
    found = first_of([square], strips=np.array([shapely.Polygon()], dtype=object))
    assert np.isnan(found["flow_strip_m2"])
    assert found["holes"] == first_of([square])["holes"]


def test_a_plot_that_is_taken_whole_has_no_rows():
    square = shapely.box(0, 0, 20, 20)
    everything = np.array([shapely.box(0, 0, 1e7, 1e8)], dtype=object)
    for method in ("straight", "any direction", "measure on the ground"):
        found = first_of([square], taken=everything, method=method)
        assert (found["holes"], found["row_length_m"]) == (0, 0)
        assert found["first_row_corner"] is None
    _, found, _ = laid([square], taken=everything)
    assert rows.draw(found, 10)[0].empty


@settings(max_examples=30, deadline=None)
@given(fields, st.floats(0, 179.9), st.integers(0, 10**6), st.floats(0, 3))
def test_no_row_crosses_a_hole_a_structure_or_a_strip(shape, bearing, seed, margin):
    rng = np.random.default_rng(seed)
    middle = np.array(MIDDLE) + rng.uniform(0, 60, 2)
    bank = shapely.LineString(
        [np.subtract(middle, (90, 20)), middle, np.add(middle, (80, 45))]
    ).buffer(0.4)
    house = shapely.box(*np.add(middle, (9, 3)), *np.add(middle, (15, 9)))
    strip = shapely.LineString([np.subtract(middle, (9, 80)), np.add(middle, (20, 90))]).buffer(1.5)
    plan = plan_of(rows={"edge_margin_m": margin})
    taken = np.array([bank, house], dtype=object)
    table, found, plots = laid(
        [shape], plan, taken, np.array([strip], dtype=object), bearing=bearing
    )
    lines, every = rows.draw(found, 10**6)
    assert every == 1
    assert len(lines) == table["rows"][0] + table["short_rows"][0]
    if not len(lines):
        return
    drawn = lines["geometry"].to_numpy()
    for gone in (bank, house, strip):
        assert shapely.length(shapely.intersection(drawn, gone.buffer(-1e-5))).max() == 0
    outline = plots["geometry"][0]
    assert shapely.length(shapely.difference(drawn, outline.buffer(1e-5))).max() == 0
    assert (shapely.distance(drawn, outline.boundary) >= margin * 0.9996 - 1e-5).all()
    assert shapely.length(drawn) / 0.9996 == pytest.approx(lines["length_m"], rel=1e-5, abs=1e-7)


@settings(max_examples=60, deadline=None)
@given(fields, st.floats(0, 179.9), st.floats(0, 359.9))
def test_the_first_row_is_found_from_its_corner(shape, bearing, fall):
    """Walk along the edge as printed: the line of the uppermost row not short passes there."""
    table, found, plots = laid([shape], bearing=bearing, fall=fall, place=NEAR)
    row = table.iloc[0]
    if row["first_row_corner"] is None:
        assert row["rows"] + row["short_rows"] == 0
        return
    lines, _ = rows.draw(found, 10**6)
    longest = lines.groupby("row")["length_m"].max()
    full = longest[longest >= 5]
    first = lines[lines["row"] == (full.index[0] if len(full) else longest.index[0])]
    side = np.radians(SIDES[row["first_row_corner"].removesuffix(" corner")])
    parts = shapely.get_parts(shapely.orient_polygons(plots["geometry"][0]))
    away = []
    for part in parts:
        ring = part.exterior
        corners = shapely.get_coordinates(ring)
        corner = corners[(corners @ [np.sin(side), np.cos(side)]).argmax()]
        step = row["first_row_start_m"] * (1 if row["first_row_way"] == ANTICLOCKWISE else -1)
        peg = ring.interpolate((ring.project(shapely.Point(corner)) + step) % ring.length)
        ends = shapely.get_coordinates(first["geometry"].iloc[0])
        along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
        away.append(abs(np.cross([*along, 0], [*(np.array([peg.x, peg.y]) - ends[0]), 0])[2]))
    assert min(away) < 0.01


@settings(max_examples=40, deadline=None)
@given(fields, st.floats(0, 179.9), st.floats(0, 359.9))
def test_rows_are_numbered_downhill(shape, bearing, fall):
    _, found, _ = laid([shape], bearing=bearing, fall=fall, place=NEAR)
    lines, _ = rows.draw(found, 10**6)
    across = np.radians(bearing + 90)
    # The side of the rows to which the land falls; convergence turns it a little.
    downhill = np.cos(np.radians(fall - bearing - 90))
    if abs(downhill) > 0.05:
        start = shapely.get_coordinates(lines["geometry"].to_numpy())[::2]
        reach = start @ [np.sin(across), np.cos(across)] * np.sign(downhill)
        assert (np.diff(reach) > -1e-6).all()


@pytest.mark.parametrize(
    ("fall", "bearing", "corner", "way"),
    [
        (180.0, 90.0, "north-west corner", "anticlockwise"),
        (0.0, 90.0, "south-west corner", "clockwise"),
        (90.0, 0.0, "south-west corner", "anticlockwise"),
        (270.0, 0.0, "south-east corner", "clockwise"),
    ],
)
def test_the_first_row_of_a_square(fall, bearing, corner, way):
    """Half a spacing, on the ground, down the edge from the upper corner where the row starts."""
    found = first_of(
        [shapely.box(0, 0, 40, 40)], fall=fall, bearing=bearing, slope=40.0, place=NEAR
    )
    assert found["first_row_corner"] == corner
    assert found["first_row_start_m"] == pytest.approx(0.25, abs=1e-3)
    assert found["first_row_way"] == way


def test_the_first_row_may_start_where_the_plan_says():
    plan = plan_of(rows={"first_row_offset_cm": 130})
    found = first_of([shapely.box(0, 0, 40, 40)], plan, slope=40.0, place=NEAR)
    assert found["first_row_start_m"] == pytest.approx(1.3, abs=1e-3)
    assert found["rows"] < first_of([shapely.box(0, 0, 40, 40)], slope=40.0, place=NEAR)["rows"]


def test_shorter_rows_are_counted_apart_by_the_plan():
    triangle = shapely.Polygon([(0, 0), (40, 0), (20, 40)])
    few, many = (
        first_of([triangle], plan_of(rows={"row_length_min_m": least})) for least in (1.0, 20.0)
    )
    assert few["rows"] + few["short_rows"] == many["rows"] + many["short_rows"]
    assert few["short_rows"] < many["short_rows"]
    assert few["holes"] == many["holes"]


BAND = {"maize_bean_rows": 2, "maize_row_spacing_cm": 90.0, "row_spacing_cm": 30.0}


def test_a_band_of_maize_and_beans():
    """9 m: maize at 0.15, 1.05 ... and beans at 0.45, 0.75, 1.35, 1.65 ... from the edge."""
    found = first_of([shapely.box(0, 0, 100, 9)], plan_of(practice=BAND), place=NEAR)
    assert (found["maize_rows"], found["rows"]) == (10, 20)
    assert found["row_length_m"] == pytest.approx(2_000, rel=1e-4)
    assert found["maize_row_length_m"] == pytest.approx(1_000, rel=1e-4)
    assert found["holes"] == pytest.approx(20_000, abs=20)
    assert found["maize_holes"] == pytest.approx(4_000, abs=10)
    assert found["row_spacing_map_m"] == 0.45
    assert found["first_row_start_m"] == pytest.approx(0.15, abs=1e-3)


def test_a_band_is_drawn_crop_by_crop():
    plan = plan_of(practice={**BAND, "maize_bean_distance_cm": 20.0})
    _, found, _ = laid([shapely.box(0, 0, 100, 9)], plan, place=NEAR)
    lines, _ = rows.draw(found, 10**6)
    north = shapely.bounds(lines["geometry"].to_numpy())[:, 1] - NEAR[1]
    from_edge = 9 - north
    maize = np.sort(from_edge[lines["crop"] == "maize"])
    beans = np.sort(from_edge[lines["crop"] == "beans"])
    assert maize == pytest.approx(0.1 + 0.9 * np.arange(10), abs=2e-3)
    assert beans[:4] == pytest.approx([0.3, 0.8, 1.2, 1.7], abs=2e-3)


def test_a_band_where_the_bearing_is_unknown():
    plan = plan_of(practice=BAND)
    found = first_of([shapely.box(0, 0, 90, 100)], plan, method="measure on the ground", place=NEAR)
    assert found["row_length_m"] == pytest.approx(20_000, rel=1e-4)
    assert found["maize_row_length_m"] == pytest.approx(10_000, rel=1e-4)
    assert found["maize_holes"] == pytest.approx(40_000, rel=1e-4)


def test_without_maize_nothing_is_said_of_it():
    found = first_of([shapely.box(0, 0, 20, 20)])
    assert found[["maize_rows", "maize_row_length_m", "maize_holes"]].isna().all()


@pytest.mark.parametrize(
    "practice",
    [
        {"maize_bean_rows": 3, "maize_row_spacing_cm": 75.0},
        {"maize_bean_rows": 2, "maize_bean_distance_cm": 35.0},
        {"maize_bean_rows": 1, "maize_bean_distance_cm": 20.0},
        {"maize_bean_distance_cm": 20.0},
    ],
)
def test_a_band_that_cannot_be_is_refused(practice):
    with pytest.raises(ValueError, match="maize_bean_rows"):
        plan_of(practice=practice)


def test_rows_are_thinned_evenly_and_by_number():
    _, found, _ = laid([shapely.box(0, 0, 30, 30), shapely.box(0, 0, 20, 50)], place=NEAR)
    everything, one = rows.draw(found, 10**6)
    thinned, every = rows.draw(found, 50)
    assert one == 1
    assert every == int(np.ceil(len(everything) / 50))
    assert set(thinned["row"] % every) == {1 % every}
    merged = thinned.merge(everything, on=["plot_id", "row"], suffixes=("", "_all"))
    assert len(merged) == len(thinned)
    assert shapely.distance(merged["geometry"], merged["geometry_all"]).max() < 1e-6


CHANGES = {
    ("rows", "edge_margin_m"): (1.0, {"row_length_m", "holes", "rows"}),
    ("rows", "first_row_offset_cm"): (60.0, {"first_row_start_m"}),
    ("rows", "row_length_min_m"): (30.0, {"rows", "short_rows"}),
    ("practice", "row_spacing_cm"): (25.0, {"row_length_m"}),
    ("practice", "hole_spacing_cm"): (5.0, {"holes"}),
    ("practice", "maize_bean_rows"): (1, {"rows", "holes", "row_length_m", "row_spacing_map_m"}),
    ("practice", "maize_row_spacing_cm"): (120.0, {"maize_rows", "maize_holes", "rows"}),
    ("practice", "maize_bean_distance_cm"): (20.0, {"first_row_start_m"}),
    ("practice", "maize_hole_spacing_cm"): (50.0, {"maize_holes"}),
}


@pytest.mark.parametrize(("section", "key"), CHANGES)
def test_every_key_changes_what_it_is_for(section, key):
    shape = field(12, "holed")
    value, columns = CHANGES[section, key]
    plain = key in {"row_spacing_cm", "hole_spacing_cm"} or section == "rows"
    before = {"practice": {} if plain else BAND}
    after = {**before, section: {**before.get(section, {}), key: value}}
    one, other = (first_of([shape], plan_of(**keys)) for keys in (before, after))
    changed = {name for name in one.index if one[name] is not pd.NA and one[name] != other[name]}
    assert columns <= changed


def test_the_order_of_plots_changes_nothing():
    shapes = [field(seed, kind) for seed in range(5) for kind in ("holed", "parts", "convex")]
    plots, ground = plots_of(shapes), ground_of(15, slope=13.0, bearing=40.0)
    one, _, _ = rows.lay(plots, ground, ZONE, rows.Clear(NOTHING), PLAN)
    other, _, _ = rows.lay(plots[::-1], ground, ZONE, rows.Clear(NOTHING), PLAN)
    other = other[::-1].reset_index(drop=True)
    pd.testing.assert_frame_equal(one, other)


def test_straight_rows_that_stand_in_for_curved_ones_are_counted_and_not_drawn():
    square = shapely.box(0, 0, 20, 20)
    table, found, _ = laid([square, square], method=["guide lines", "straight"])
    assert table["rows"].tolist() == [40, 40]
    assert rows.draw(found, 1_000)[0]["plot_id"].unique().tolist() == ["P1"]
