"""Land that several plots cover: told with its size, never taken from either."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Objects = NDArray[np.object_]
    Floats = NDArray[np.float64]

LISTED = 10
PAIRS_AT_ONCE = 100_000


def overlaps(
    geometry: Objects, area_ha: Floats, ids: Objects, share_min_pct: float
) -> tuple[Floats, Objects]:
    """Find the land of each plot that others cover too.

    Parameters
    ----------
    geometry : numpy.ndarray
        Sound outlines in one CRS.
    area_ha : numpy.ndarray
        Their areas on the ellipsoid [ha].
    ids : numpy.ndarray
        Ids of the plots.
    share_min_pct : float
        Share of the smaller plot from which on two overlap [%].

    Returns
    -------
    area : numpy.ndarray
        Land that others cover too, the sum over the others; 0 where none does [ha].
    others : numpy.ndarray
        Ids of the first ten others, joined by commas; None where there are none.
    """
    one, other, shared = _pairs(geometry)
    plane = shapely.area(geometry)
    with np.errstate(divide="ignore", invalid="ignore"):
        enough = shared > np.minimum(plane[one], plane[other]) * share_min_pct / 100
    one, other, shared = one[enough], other[enough], shared[enough]
    total = np.zeros(len(geometry))
    with_others: dict[int, list[int]] = {}
    for mine, yours in ((one, other), (other, one)):
        # The plane's scale is that of each plot's own land.
        np.add.at(total, mine, shared * area_ha[mine] / plane[mine])
        for row, beside in zip(mine.tolist(), yours.tolist(), strict=True):
            with_others.setdefault(row, []).append(beside)
    listed = np.full(len(geometry), None, dtype=object)
    for row, beside in with_others.items():
        more = [f"{len(beside) - LISTED} more"] if len(beside) > LISTED else []
        listed[row] = ", ".join([*(str(ids[at]) for at in sorted(beside)[:LISTED]), *more])
    return total, listed


def _pairs(geometry: Objects) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats]:
    """Give each pair of outlines once, with the area that they share in the plane."""
    if len(geometry) == 0:
        none = np.zeros(0, dtype=np.int64)
        return none, none, np.zeros(0)
    one, other = shapely.STRtree(geometry).query(geometry, predicate="intersects")
    once = one < other
    one, other = one[once], other[once]
    shared = [
        shapely.area(
            shapely.intersection(
                geometry[one[first : first + PAIRS_AT_ONCE]],
                geometry[other[first : first + PAIRS_AT_ONCE]],
            )
        )
        for first in range(0, len(one), PAIRS_AT_ONCE)
    ]
    return one, other, np.concatenate(shared) if shared else np.zeros(0)
