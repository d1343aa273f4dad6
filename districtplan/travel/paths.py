"""Distances along paths and roads, which are entered and left at their nearest places."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from districtplan.travel.links import Links, straight

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

SAME_M = 0.01
"""Places nearer than this are one: ends of lines that were drawn to meet."""
HAIR_M = 1e-9
"""Length of an edge without any: a sparse graph drops what is 0."""
AT_ONCE = 200
"""Starts worked together: each takes a row of distances to the whole network."""


def by_paths(
    starts_m: Floats, ends_m: Floats, lines: NDArray[np.object_], off_path: float, most_m: float
) -> Links:
    """Find how far it is along paths, or straight across the land where that is shorter.

    Parameters
    ----------
    starts_m, ends_m : numpy.ndarray
        Points, east and north, shape (points, 2) [m].
    lines : numpy.ndarray
        Paths; where two cross, one can turn from one into the other.
    off_path : float
        How many times a metre off the path counts, at least 1.
    most_m : float
        Longest way of interest [m].

    Returns
    -------
    Links
        Pairs with their ways, at most so long [m].
    """
    across = straight(starts_m, ends_m, off_path, most_m)
    drawn = shapely.union_all(lines[~shapely.is_empty(lines)], grid_size=SAME_M)
    edges = shapely.get_parts(shapely.line_merge(drawn)) if len(lines) else np.empty(0, object)
    edges = edges[shapely.length(edges) > 0]
    if not len(edges) or not len(starts_m) or not len(ends_m):
        return across
    graph, nodes = _graph(edges, np.concatenate([starts_m, ends_m]), off_path)
    starts, ends = nodes[: len(starts_m)], nodes[len(starts_m) :]
    found = [across]
    for first in range(0, len(starts), AT_ONCE):
        away = dijkstra(graph, indices=starts[first : first + AT_ONCE], limit=most_m)[:, ends]
        start, end = np.nonzero(away <= most_m)
        found.append(Links(start + first, end, away[start, end]))
    return Links.of(*(np.concatenate(part) for part in zip(*found, strict=True)))


def _graph(edges: NDArray[np.object_], places_m: Floats, off_path: float) -> tuple[csr_array, Ints]:
    """Make a network of paths and points; give the node of each point."""
    points = shapely.points(places_m)
    _, nearest = shapely.STRtree(edges).query_nearest(points, all_matches=False)
    along = shapely.line_locate_point(edges[nearest], points)
    foot = shapely.line_interpolate_point(edges[nearest], along)
    # Stops along each edge: its ends, and where points enter it.
    edge = np.concatenate([np.arange(len(edges)), np.arange(len(edges)), nearest])
    place = np.concatenate([np.zeros(len(edges)), shapely.length(edges), along])
    at = np.concatenate(
        [
            shapely.get_coordinates(shapely.get_point(edges, 0)),
            shapely.get_coordinates(shapely.get_point(edges, -1)),
            shapely.get_coordinates(foot),
        ]
    )
    rounded = np.rint(at / SAME_M).astype(np.int64)
    node = np.unique(rounded, axis=0, return_inverse=True)[1].reshape(-1)
    count = int(node.max()) + 1
    order = np.lexsort((place, edge))
    one, other = order[:-1], order[1:]
    same = edge[one] == edge[other]
    own = count + np.arange(len(places_m))
    start = np.concatenate([node[one[same]], own])
    end = np.concatenate([node[other[same]], node[2 * len(edges) :]])
    length = np.concatenate(
        [place[other[same]] - place[one[same]], off_path * shapely.distance(points, foot)]
    )
    return _undirected(start, end, length, count + len(places_m)), own


def _undirected(start: Ints, end: Ints, length: Floats, nodes: int) -> csr_array:
    """Join nodes both ways, the shortest of several edges between two alone."""
    kept = start != end
    one = np.minimum(start, end)[kept]
    links = Links.of(one, np.maximum(start, end)[kept], np.maximum(length[kept], HAIR_M))
    both = np.append(links.start, links.end), np.append(links.end, links.start)
    return csr_array((np.append(links.cost, links.cost), both), shape=(nodes, nodes))
