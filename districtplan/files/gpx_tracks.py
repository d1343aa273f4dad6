"""GPX 1.0 and 1.1: each track or route a walk around a plot, always in WGS 84."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyproj

from districtplan.files import walks
from districtplan.files.coordinates import UnreadError, degrees
from districtplan.files.layer import Layer, Wanted, check_rows, objects
from districtplan.files.local import text_of
from districtplan.files.rings import BrokenRingError
from districtplan.files.xml_text import root_of, tag
from districtplan.tables import WALKED

if TYPE_CHECKING:
    from pathlib import Path
    from xml.etree.ElementTree import Element

    from shapely import Polygon

LARGEST_BYTES = 128_000_000
WALKS = ("trk", "rte")
POINTS = ("trkpt", "rtept")


def read(path: Path, wanted: Wanted) -> Layer:
    """Read plots from a GPX file.

    Parameters
    ----------
    path : Path
        The file.
    wanted : Wanted
        Columns, found in a track's ``name``, ``desc``, ``cmt``, ``src``, ``type`` or ``number``.

    Returns
    -------
    Layer
        Its tracks, routes and waypoints; the last have no outline.

    Raises
    ------
    InputError
        If it isn't GPX, declares entities or lacks a column.
    """
    wanted.check_plots("GPX")
    root = root_of(text_of(path, LARGEST_BYTES, wanted.name), wanted.name, "GPX")
    found = [each for each in root if tag(each) in (*WALKS, "wpt")]
    check_rows(len(found), wanted.name)
    rows = [_values(each) for each in found]
    if rows:
        wanted.check(dict.fromkeys(key for row in rows for key in row))
    drawn = [_drawn(each) for each in found]
    geometry, problem, remedy, done = (objects([each[at] for each in drawn]) for at in range(4))
    values = {
        key: objects([row.get(column) for row in rows]) for key, column in wanted.columns.items()
    }
    return Layer(values, geometry, problem, pyproj.CRS("EPSG:4326"), done, remedy)


def _values(walk: Element) -> dict[str, str]:
    """Collect the texts of a track."""
    return {tag(each): (each.text or "").strip() for each in walk if len(each) == 0}


def _drawn(walk: Element) -> tuple[Polygon | None, str | None, str | None, tuple[str, ...]]:
    if tag(walk) == "wpt":
        return None, "it is a waypoint, not a track around the plot", walks.WALK_AGAIN, ()
    done = [WALKED]
    try:
        points = [
            tuple(degrees(each.get(short, ""), axis, done) for axis, short in
                  (("longitude", "lon"), ("latitude", "lat")))
            for each in walk.iter()
            if tag(each) in POINTS
        ]  # fmt: skip
        outline = walks.walked(np.array(points, dtype=np.float64).reshape(-1, 2))
    except BrokenRingError as broken:
        return None, str(broken), broken.remedy, ()
    except UnreadError as unread:
        return None, str(unread), walks.WALK_AGAIN, ()
    return outline, None, None, tuple(done)
