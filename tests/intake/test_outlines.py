from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Geod, Transformer
from shapely import MultiPolygon, Point, Polygon, box

from districtplan.intake import outlines

GEOD = Geod(ellps="WGS84")
UTM = CRS("EPSG:32736")


def ring(*points):
    """A polygon straight from bytes, as a file may hold it."""
    header = b"\x01" + np.array([3, 1, len(points)], dtype="<u4").tobytes()
    with np.errstate(invalid="ignore"):
        return shapely.from_wkb(header + np.array(points, dtype="<f8").tobytes())


def geodesic_ha(geometry, crs):
    transformer = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    degrees = shapely.transform(geometry, transformer.transform, interleaved=False)
    return abs(GEOD.geometry_area_perimeter(shapely.orient_polygons(degrees))[0]) / 10_000


def blob(rng, x, y, radius):
    angle = np.linspace(0, 2 * np.pi, 12)[:-1]
    far = radius * rng.uniform(0.6, 1.2, 11)
    return Polygon(np.column_stack([x + far * np.cos(angle), y + far * np.sin(angle)]))


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.floats(-70, 70), st.floats(-180, 180))
def test_area_equals_the_geodesic_one(seed, latitude, longitude):
    """Over a district of some 60 km, in UTM and in degrees, to 1e-6."""
    rng = np.random.default_rng(seed)
    zone = int((longitude + 180) // 6) % 60 + 1
    crs = CRS.from_epsg((32600 if latitude >= 0 else 32700) + zone)
    to_grid = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    east, north = to_grid.transform(6 * zone - 183 + (longitude % 6 - 3) * 0.9, latitude)
    plots = np.array(
        [
            blob(rng, *(rng.uniform(-30_000, 30_000, 2) + np.array([east, north])), 40)
            for _ in range(8)
        ]
    )
    expected = [geodesic_ha(plot, crs) for plot in plots]
    found = outlines.measure(plots, crs)
    np.testing.assert_allclose(found.area_ha, expected, rtol=1e-6)
    to_degrees = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    degrees = np.array(
        [shapely.transform(plot, to_degrees.transform, interleaved=False) for plot in plots]
    )
    bounds = shapely.bounds(degrees)
    near = bounds[:, 2] - bounds[:, 0] < 1
    again = outlines.measure(degrees[near], CRS("EPSG:4326"))
    np.testing.assert_allclose(again.area_ha, np.array(expected)[near], rtol=1e-6)


def test_web_mercator_is_not_taken_for_metres():
    square = box(0, 8_000_000, 100, 8_000_100)
    found = outlines.measure(np.array([square]), CRS("EPSG:3857"))
    assert found.area_ha[0] == pytest.approx(geodesic_ha(square, "EPSG:3857"), rel=1e-6)
    assert found.area_ha[0] < 0.4


def test_point_is_inside_also_where_the_middle_is_not():
    horseshoe = Polygon(
        [(0, 0), (90, 0), (90, 90), (60, 90), (60, 30), (30, 30), (30, 90), (0, 90)]
    )
    placed = shapely.transform(horseshoe, lambda xy: np.add(xy, (400_000, 9_800_000)))
    found = outlines.measure(np.array([placed]), UTM)
    back = Transformer.from_crs("EPSG:4326", UTM, always_xy=True)
    point = Point(back.transform(found.longitude_deg[0], found.latitude_deg[0]))
    assert placed.contains(point)
    assert not placed.contains(placed.centroid)


def test_across_180_in_a_projected_crs():
    crs = CRS("EPSG:32660")
    east, north = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(180, -17)
    plots = np.array(
        [box(east - 50, north, east + 50, north + 100), box(east, north, east + 9, north + 9)]
    )
    assert list(outlines.misplaced(plots, crs)) == [None, None]
    found = outlines.measure(plots, crs)
    assert found.area_ha == pytest.approx([geodesic_ha(plot, crs) for plot in plots], rel=1e-6)


@pytest.mark.parametrize(
    ("geometry", "reason"),
    [
        (None, "no outline"),
        (Polygon(), "no outline"),
        (Point(), "no outline"),
        (Point(1, 1), "is a point, not a polygon"),
        (shapely.LineString([(0, 0), (1, 1)]), "is a linestring"),
        (shapely.GeometryCollection([box(0, 0, 1, 1)]), "is a geometrycollection"),
        (Polygon([(0, 0), (1, 1), (1, 0), (0, 1)]), "isn't sound: its edge crosses itself"),
        (MultiPolygon([box(0, 0, 2, 2), box(1, 1, 3, 3)]), "isn't sound: its edge crosses itself"),
        (ring((0, 0), (np.inf, 1), (1, 0), (0, 0)), "isn't finite"),
        (ring((0, 0), (np.nan, 1), (1, 0), (0, 0)), "isn't finite"),
        (ring((0, 0), (np.nan, np.nan), (np.nan, np.nan), (0, 0)), "isn't finite"),
        (box(0, 0, 1, 1), None),
        (MultiPolygon([box(0, 0, 1, 1), box(2, 0, 3, 1)]), None),
    ],
)
def test_unsound(geometry, reason):
    pair = np.empty(2, dtype=object)
    pair[:] = [geometry, box(0, 0, 1, 1)]
    found, other = outlines.unsound(pair)
    assert other is None
    assert found is None if reason is None else reason in found


@pytest.mark.parametrize(
    ("geometry", "crs", "reason"),
    [
        (box(30, -2, 30.1, -1.9), 4326, None),
        (box(-2, 95, -1, 96), 4326, "a longitude and a latitude"),
        (box(300_000, 9_700_000, 300_100, 9_700_100), 4326, "a longitude and a latitude"),
        (box(-179.9, 0, 179.9, 1), 4326, "crosses longitude 180°"),
        (box(300_000, 9_700_000, 300_100, 9_700_100), 32736, None),
        (box(-100_000, 9_700_000, -99_000, 9_700_100), 32736, None),
        (box(9_700_000, 300_000, 9_700_100, 300_100), 32736, "outside the area of the CRS"),
        (box(1e9, 1e9, 2e9, 2e9), 32736, "outside the area of the CRS"),
        (box(30, -2, 31, -1), 32736, "outside the area of the CRS"),
    ],
)
def test_misplaced(geometry, crs, reason):
    (found,) = outlines.misplaced(np.array([geometry]), CRS(crs))
    assert found is None if reason is None else reason in found


def test_nothing_at_all():
    none = np.empty(0, dtype=object)
    assert len(outlines.measure(none, UTM).area_ha) == 0
    assert len(outlines.unsound(none)) == 0
    assert len(outlines.misplaced(none, UTM)) == 0
