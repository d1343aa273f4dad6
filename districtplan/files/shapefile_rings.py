"""Holes outside their shell in a shapefile, which GDAL takes for parts of the plot.

In a shapefile a ring is a hole if it runs counter-clockwise (ESRI shapefile technical description,
1998, page 8), and nothing says whose. One that lies in no shell is put back as a hole, so that
intake meets it as it does in other formats: left out with a record, or the plot set aside.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, BinaryIO

import numpy as np
import shapely
from shapely import GeometryType

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from districtplan.files.layer import Objects

HEAD_BYTES, INDEX_BYTES = 100, 8
COUNTS_AT, PARTS_AT = 36, 44
"""Bytes from a record's content to the counts of rings and points, and to where rings start."""
RING_POINTS_MIN = 4


def put_holes_back(path: Path, rows: NDArray[np.int64], geometry: Objects) -> None:
    """Make holes again of parts that the file has as holes.

    Parameters
    ----------
    path : Path
        The .shp file, with its .shx beside it.
    rows : numpy.ndarray
        Number of each outline's record, from 0, shape (plots,).
    geometry : numpy.ndarray
        Outlines as GDAL gives them; changed in place.
    """
    several = np.flatnonzero(shapely.get_type_id(geometry) == GeometryType.MULTIPOLYGON)
    if len(several) == 0:
        return
    index = next(
        entry
        for entry in path.parent.iterdir()
        if entry.stem.lower() == path.stem.lower() and entry.suffix.lower() == ".shx"
    )
    with path.open("rb") as shapes, index.open("rb") as places:
        for row in several:
            stray = _stray(_rings(shapes, places, int(rows[row])))
            if stray:
                geometry[row] = _with_holes(geometry[row], stray)


def _rings(shapes: BinaryIO, places: BinaryIO, record: int) -> list[shapely.LinearRing]:
    """Read the rings of one record; none where the file is damaged there."""
    try:
        places.seek(HEAD_BYTES + record * INDEX_BYTES)
        words, length = struct.unpack(">2i", places.read(INDEX_BYTES))
        shapes.seek(2 * words + INDEX_BYTES)
        content = shapes.read(2 * length)
        parts, points = struct.unpack_from("<2i", content, COUNTS_AT)
        starts = np.frombuffer(content, "<i4", parts, PARTS_AT)
        xy = np.frombuffer(content, "<f8", 2 * points, PARTS_AT + 4 * parts).reshape(-1, 2)
    except (struct.error, ValueError, OverflowError, OSError):
        return []
    pieces = np.split(xy, starts[1:]) if (np.diff(starts) > 0).all() else []
    return [
        shapely.LinearRing(piece)
        for piece in pieces
        if len(piece) >= RING_POINTS_MIN and np.isfinite(piece).all()
    ]


def _stray(rings: list[shapely.LinearRing]) -> list[shapely.LinearRing]:
    """Pick the holes that lie in no shell; none where no ring is a shell by its direction."""
    shells = [shapely.Polygon(ring) for ring in rings if not ring.is_ccw]
    if not shells:
        return []
    return [
        ring
        for ring in rings
        if ring.is_ccw and not any(shapely.intersects(shell, ring) for shell in shells)
    ]


def _with_holes(outline: shapely.MultiPolygon, stray: list[shapely.LinearRing]) -> shapely.Geometry:
    """Take the stray rings off the parts, and make them holes of the first part that stays."""
    holes = [shapely.normalize(shapely.Polygon(ring)) for ring in stray]
    stay = [
        part
        for part in outline.geoms
        if not any(shapely.normalize(part).equals_exact(hole, 0.0) for hole in holes)
    ]
    if not stay:
        return outline
    first = shapely.Polygon(stay[0].exterior, [*stay[0].interiors, *stray])
    return first if len(stay) == 1 else shapely.MultiPolygon([first, *stay[1:]])
