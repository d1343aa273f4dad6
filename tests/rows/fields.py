"""Invented outlines and an independent count of their rows, by drawing each with shapely."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import strategies as st

from districtplan.rows.straight import DUST, Land, Layout

FAR_OFF = np.array([512_345.25, 9_876_543.5])


def field(seed: int, kind: str) -> shapely.Geometry:
    """Make an outline: convex, concave, with a mound left out, or in several parts."""
    rng = np.random.default_rng(seed)
    corners = int(rng.integers(4, 12))
    turn = np.linspace(0, 2 * np.pi, corners, endpoint=False) + rng.uniform(0, 0.4, corners)
    radius = rng.uniform(8, 60) * rng.uniform(0.3, 1.0, corners)
    shape = shapely.Polygon(np.column_stack([radius * np.cos(turn), radius * np.sin(turn)]))
    if kind == "convex":
        shape = shape.convex_hull
    if kind == "holed":
        shape = shape.difference(shape.representative_point().buffer(1.5, quad_segs=3))
    if kind == "parts":
        shape = shape.difference(shapely.box(-0.7, -100, 0.7, 100))
    return shapely.affinity.translate(shape, *FAR_OFF)


fields = st.builds(
    field,
    st.integers(0, 10**6),
    st.sampled_from(["convex", "concave", "holed", "parts"]),
)


def land_of(shapes: list) -> Land:
    polygons = np.array(shapes, dtype=object)
    return Land.of(polygons, shapely.bounds(polygons)[:, :2], np.ones(len(polygons)))


def layout_of(bearing, spacing=0.5, first=0.25, side=1.0, plots=1) -> Layout:
    return Layout(*(np.full(plots, float(value)) for value in (bearing, side, spacing, first)))


def drawn(shape: shapely.Geometry, bearing, spacing=0.5, first=0.25, side=1.0) -> np.ndarray:
    """Lengths of unbroken rows: each line drawn, cut by the outline, and measured."""
    turn = np.radians(bearing)
    along = np.array([np.sin(turn), np.cos(turn)])
    across = side * np.array([np.cos(turn), -np.sin(turn)])
    local = shapely.affinity.translate(shape, -shape.bounds[0], -shape.bounds[1])
    points = shapely.get_coordinates(local)
    reach = points @ across
    ends = (points @ along).min() - 1, (points @ along).max() + 1
    lines = [
        [along * ends[0] + across * at, along * ends[1] + across * at]
        for at in np.arange(reach.min() + first + DUST * spacing, reach.max(), spacing)
    ]
    if not lines:
        return np.zeros(0)
    lengths = shapely.length(
        shapely.get_parts(shapely.intersection(shapely.linestrings(lines), local))
    )
    return lengths[lengths > DUST]
