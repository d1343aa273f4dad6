"""Outlines that aren't sound: mended by rule, and told what was done.

A file's outline is never trusted more for having been mended: :func:`mend` says how its area
changes, and whoever calls sets aside what changes by more than the plan allows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

from districtplan.intake.outlines import POLYGONS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Objects = NDArray[np.object_]
    Floats = NDArray[np.float64]

CORNERS_MIN = 3
REPEATED = "points that stand twice in a row were taken out"
SPIKE = "a spike was cut off"
HOLE = "a hole outside the outline was left out"
CROSSING = "a line that crosses or touches itself was parted"


@dataclass(frozen=True)
class Mended:
    """Outlines after mending.

    Attributes
    ----------
    geometry : numpy.ndarray
        The outlines; those that needed nothing are as given.
    done : numpy.ndarray
        What was done to each, a tuple of phrases.
    before : numpy.ndarray
        Area as given over area as mended; 1 where nothing was done, NaN where nothing is left.
    """

    geometry: Objects
    done: Objects
    before: Floats


def mend(geometry: Objects, spike_angle_max_deg: float) -> Mended:
    """Mend what can be mended by rule.

    Parameters
    ----------
    geometry : numpy.ndarray
        Geometries in two dimensions, or None; what is no polygon stays as it is.
    spike_angle_max_deg : float
        Corners sharper than this are spikes [degrees].

    Returns
    -------
    Mended
        One outline a row.
    """
    found = geometry.copy()
    done = np.empty(len(geometry), dtype=object)
    done[:] = [() for _ in geometry]
    rows = np.flatnonzero(_polygons(geometry))
    given = shapely.area(geometry[rows])

    def put(at: NDArray[np.int64], new: Objects, what: str) -> None:
        for row, shape in zip(rows[at], new, strict=True):
            found[row] = shape
            done[row] = (*done[row], what)

    rings = _Rings.of(found[rows])
    repeats = np.flatnonzero(_repeats(rings))
    less = _objects([_once(each) for each in found[rows[repeats]]])
    fewer = ~shapely.is_missing(less)
    put(repeats[fewer], less[fewer], REPEATED)
    rings = _Rings.of(found[rows]) if fewer.any() else rings
    sharp = np.flatnonzero(_sharp(rings, spike_angle_max_deg))
    cut = _objects([_cut(each, spike_angle_max_deg) for each in found[rows[sharp]]])
    spiked = ~shapely.is_missing(cut)
    put(sharp[spiked], cut[spiked], SPIKE)
    broken = np.flatnonzero(~shapely.is_valid(found[rows]))
    for place in broken:
        _untie(found, done, int(rows[place]))
    before = np.ones(len(geometry))
    after = shapely.area(found[rows])
    with np.errstate(divide="ignore", invalid="ignore"):
        before[rows] = np.where(after > 0, given / after, np.nan)
    untouched = np.array([not what for what in done], dtype=bool)
    before[untouched] = 1.0
    return Mended(found, done, before)


def _polygons(geometry: Objects) -> NDArray[np.bool_]:
    """Tell what has a ring whose every coordinate is a number."""
    points, owner = shapely.get_coordinates(geometry, return_index=True)
    fine = np.isin(shapely.get_type_id(geometry), POLYGONS) & ~shapely.is_empty(geometry)
    fine[owner[~np.isfinite(points).all(axis=1)]] = False
    return np.asarray(fine, dtype=bool)


def _objects(shapes: list[shapely.Geometry | None]) -> Objects:
    found = np.empty(len(shapes), dtype=object)
    found[:] = shapes
    return found


class _Rings(NamedTuple):
    """Points of all rings: how many outlines, whose each ring is, which ring each point is of."""

    outlines: int
    owner: NDArray[np.int64]
    points: Floats
    ring: NDArray[np.int64]

    @classmethod
    def of(cls, geometry: Objects) -> _Rings:
        rings, owner = shapely.get_rings(geometry, return_index=True)
        return cls(len(geometry), owner, *shapely.get_coordinates(rings, return_index=True))


def _repeats(rings: _Rings) -> NDArray[np.bool_]:
    """Tell which outlines have a point twice in a row."""
    outlines, owner, points, ring = rings
    again = (ring[1:] == ring[:-1]) & (points[1:] == points[:-1]).all(axis=1)
    marked = np.zeros(outlines, dtype=bool)
    marked[owner[ring[1:][again]]] = True
    return marked


def _once(outline: shapely.Geometry) -> shapely.Geometry | None:
    """Take repeated points out; None where too few would be left."""
    try:
        return shapely.remove_repeated_points(outline)
    except shapely.errors.GEOSException:
        return None


def _sharp(rings: _Rings, angle_deg: float) -> NDArray[np.bool_]:
    """Tell which outlines have a corner sharper than the angle."""
    outlines, owner, points, ring = rings
    # A ring's last point is its first: its corners are the points but for the last.
    last = np.append(ring[1:] != ring[:-1], True) if len(ring) else np.zeros(0, dtype=bool)
    corners = np.flatnonzero(~last)
    starts = np.flatnonzero(np.concatenate([[True], ring[1:] != ring[:-1]]))[ring[corners]]
    ends = np.flatnonzero(last)[ring[corners]]
    earlier = np.where(corners == starts, ends - 1, corners - 1)
    back, on = points[earlier] - points[corners], points[corners + 1] - points[corners]
    marked = np.zeros(outlines, dtype=bool)
    marked[owner[ring[corners[_turns_back(back, on, angle_deg)]]]] = True
    return marked


def _turns_back(back: Floats, on: Floats, angle_deg: float) -> NDArray[np.bool_]:
    with np.errstate(over="ignore", invalid="ignore"):
        along = (back * on).sum(axis=-1)
        across = np.abs(back[..., 0] * on[..., 1] - back[..., 1] * on[..., 0])
        return np.asarray((along > 0) & (across < np.tan(np.radians(angle_deg)) * along))


def _cut(outline: shapely.Geometry, angle_deg: float) -> shapely.Geometry | None:
    """Cut spikes off; None where no outline would be left, as of a plot that is one itself."""
    parts = []
    for part in shapely.get_parts(outline):
        rings = [_blunt(shapely.get_coordinates(ring)[:-1], angle_deg) for ring in _rings(part)]
        if len(rings[0]) < CORNERS_MIN:
            return None
        holes = [ring for ring in rings[1:] if len(ring) >= CORNERS_MIN]
        parts.append(shapely.Polygon(rings[0], holes))
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def _rings(part: shapely.Polygon) -> list[shapely.LinearRing]:
    return [part.exterior, *part.interiors]


def _blunt(corners: Floats, angle_deg: float) -> Floats:
    """Take sharp corners out one at a time: the next may be part of the same spike."""
    while len(corners) >= CORNERS_MIN:
        back = np.roll(corners, 1, axis=0) - corners
        on = np.roll(corners, -1, axis=0) - corners
        still = (back == 0).all(axis=1)
        sharp = np.flatnonzero(_turns_back(back, on, angle_deg) | still)
        if len(sharp) == 0:
            break
        corners = np.delete(corners, sharp[0], axis=0)
    return corners


def _untie(found: Objects, done: Objects, row: int) -> None:
    """Leave out holes that lie outside, and part lines that cross."""
    parts = []
    lost = False
    for part in shapely.get_parts(found[row]):
        shell = shapely.Polygon(part.exterior)
        sound = shapely.make_valid(shell, method="structure", keep_collapsed=False)
        holes = [hole for hole in part.interiors if _inside(hole, sound)]
        lost |= len(holes) < len(part.interiors)
        parts.append(shapely.Polygon(part.exterior, holes))
    if lost:
        found[row] = parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
        done[row] = (*done[row], HOLE)
    if not shapely.is_valid(found[row]):
        parted = shapely.make_valid(found[row], method="structure", keep_collapsed=False)
        # Parts that come out of it may still lie side by side, which is no sound outline.
        found[row] = parted if parted.is_valid else shapely.union_all(shapely.get_parts(parted))
        done[row] = (*done[row], CROSSING)


def _inside(hole: shapely.LinearRing, shell: shapely.Geometry) -> bool:
    mended = shapely.make_valid(shapely.Polygon(hole), method="structure", keep_collapsed=False)
    return bool(shapely.area(shapely.intersection(mended, shell)) > 0)
