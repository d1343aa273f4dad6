"""What lies where rows end: something safe to drain to, something that isn't, or nothing known."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

from districtplan.rows.land import areas, less
from districtplan.rows.straight import FAR_M, Land, Layout, back, pieces, turn

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]

NEIGHBOUR, NOT_KNOWN = "neighbour", "not known"
INSIDE = " inside"
"""Follows the kind of what breaks rows inside their plot, where they go on beyond it."""


def _both(*kinds: str) -> tuple[str, ...]:
    return tuple(kind + where for kind in kinds for where in ("", INSIDE))


REFUSED = (
    *_both("house", "slipping ground", "spring", "latrine", "grave", "road", "path"),
    NEIGHBOUR,
)
"""What rows may not drain onto (common practice), the gravest first."""
SAFE = _both("ditch", "grass strip", "grass", "forest", "waterway", "stream")
"""Where water from rows does no harm (common practice)."""
LOOKED_PAST = ("bank", "terrace", "culvert", "other")
"""What doesn't tell where water ends up: the next thing beyond it counts (common practice)."""
ENDS = (*REFUSED, NOT_KNOWN, *SAFE)
"""What an end may be: it is as good as its worst row, the first of these."""
ROWS_TRIED = 4
"""Rows whose ends are looked at, evenly over the breadth, where only neighbours are near."""
NARROWEST_M = 3.0
"""Where features are near, rows are tried no further apart than this: no house is narrower."""
SMALL = ("spring", "latrine", "grave")
"""What may be narrower than that."""
SMALL_M = 1.0
"""How far apart rows are tried where something small is near."""


def ends(
    plots: Objects, chosen: Integers, bearing_deg: Floats, features: pd.DataFrame, reach: Floats
) -> tuple[Objects, Objects]:
    """Say what lies just beyond both ends of rows.

    A few rows of each plot are followed from their ends straight on. The nearest thing met counts;
    what water neither drains to nor harms, such as a bank, is looked past. A feature inside a plot
    breaks rows, and they end there too: what rows go on beyond is told as inside. An end is as good
    as the worst of its rows.

    Parameters
    ----------
    plots : numpy.ndarray
        Outlines of all plots, shape (plots,).
    chosen : numpy.ndarray
        Those that have rows, shape (chosen,).
    bearing_deg : numpy.ndarray
        Direction of their rows from grid north, shape (chosen,) [degrees].
    features : pandas.DataFrame
        ``kind``, ``width_m`` and ``geometry`` of what takes land.
    reach : numpy.ndarray
        How far beyond the ends is looked, shape (chosen,) [units of the map].

    Returns
    -------
    ahead : numpy.ndarray
        What lies at the end that the bearing points to, one of ``ENDS``, None where there are no
        rows, shape (chosen,).
    behind : numpy.ndarray
        The same at the other end.
    """
    # Outlines given more than once are no neighbours of each other.
    _, once, same = np.unique(shapely.to_wkb(plots), return_index=True, return_inverse=True)
    taken = areas(features)
    kinds = features["kind"].to_numpy(dtype=object)
    told = np.isin(kinds, ENDS)
    of_things = [ENDS.index(kind) for kind in kinds[told]]
    things = _Things(
        shapely.STRtree(np.concatenate([taken[told], plots[once]])),
        np.array([*of_things, *([ENDS.index(NEIGHBOUR)] * len(once))], dtype=np.int64),
        len(of_things),
    )
    closest = np.full(len(chosen), FAR_M)
    for some, narrowest in ((told, NARROWEST_M), (np.isin(kinds, SMALL), SMALL_M)):
        near = shapely.STRtree(taken[some]).query(
            plots[chosen], predicate="dwithin", distance=reach
        )
        closest[near[0]] = narrowest
    owner, *sides = _probes(less(plots[chosen], taken), bearing_deg, closest, reach)
    found = []
    for probes in sides:
        met = _nearest(things, probes, plots[once], same[chosen[owner]])
        worst = np.full(len(chosen), len(ENDS))
        np.minimum.at(worst, owner, met)
        found.append(np.array([*ENDS, None], dtype=object)[worst])
    return found[0], found[1]


class _Things(NamedTuple):
    """What rows may end on: features first, then the plots."""

    tree: shapely.STRtree
    code: Integers  # places in ENDS
    features: int  # how many of them are features


class _Probes(NamedTuple):
    """Ends of rows, on one side."""

    start: Floats  # where each is
    stop: Floats  # where it is looked up to
    next: Floats  # where the row goes on beyond it, NaN where it doesn't


def _probes(
    left: Objects, bearing_deg: Floats, closest: Floats, reach: Floats
) -> tuple[Integers, _Probes, _Probes]:
    """Cut a few rows over each plot: their plots, and both their ends."""
    plots = len(left)
    origin = np.nan_to_num(shapely.bounds(left)[:, :2])
    land = Land.of(left, origin, np.ones(plots))
    side = np.ones(plots)
    across = turn(land.xy, bearing_deg[land.owner()], side[land.owner()])[1]
    least, most = np.full(plots, np.inf), np.full(plots, -np.inf)
    some = np.diff(land.start) > 0
    least[some] = np.minimum.reduceat(across, land.start[:-1][some])
    most[some] = np.maximum.reduceat(across, land.start[:-1][some])
    breadth = np.where(some, most - least, FAR_M)
    apart = breadth / np.maximum(ROWS_TRIED, np.where(some, np.ceil(breadth / closest), 1))
    rows = pieces(land, Layout(bearing_deg, side, apart, apart / 2))
    of, far = rows.plot, reach[rows.plot]

    def at(along: Floats) -> Floats:
        return origin[of] + back(along, rows.across, bearing_deg[of], side[of])

    broken = (np.diff(of) == 0) & (np.diff(rows.row) == 0)
    after = np.append(np.where(broken, rows.near[1:], np.nan), [np.nan] * min(len(of), 1))
    before = np.append([np.nan] * min(len(of), 1), np.where(broken, rows.far[:-1], np.nan))
    ahead = _Probes(at(rows.far), at(rows.far + far), at(after))
    return of, ahead, _Probes(at(rows.near), at(rows.near - far), at(before))


def _nearest(things: _Things, probes: _Probes, plots: Objects, own: Integers) -> Integers:
    """Give what each probe meets first, as a place in ENDS."""
    start = probes.start
    lines = shapely.linestrings(np.stack([start, probes.stop], axis=1))
    probe, thing = things.tree.query(lines, predicate="intersects")
    other = thing - things.features != own[probe]
    probe, thing = probe[other], thing[other]
    distance = shapely.distance(shapely.points(start[probe]), things.tree.geometries[thing])
    # Outlines aren't drawn to the centimetre. What is as near is told apart by what it is: a house
    # before grass, and grass before the neighbour on whose edge it was drawn.
    centimetres = np.rint(100 * distance)
    is_plot = thing >= things.features
    order = np.lexsort((things.code[thing], is_plot, centimetres, probe))
    met = np.full(len(own), ENDS.index(NOT_KNOWN))
    first, place = np.unique(probe[order], return_index=True)
    closest = order[place]
    met[first] = things.code[thing[closest]]
    # Inside is what lies between two pieces of a row with nothing but the plot around it.
    gap = np.hypot(*(probes.next[first] - start[first]).T)
    between = np.flatnonzero(~is_plot[closest] & (distance[closest] < gap))
    way = shapely.linestrings(np.stack([start, probes.next], axis=1)[first[between]])
    inside = first[between][shapely.covers(plots[own[first[between]]], way)]
    met[inside] += 1
    return met
