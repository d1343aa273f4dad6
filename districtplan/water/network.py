"""How the trees of all blocks hang together, and how much each hands on.

Trees whose water ends in one still place are a *basin*. A basin spills over one of its passes: the
one on the way out to an edge cell whose highest pass is lowest, as water does that fills every
hollow (the minimum spanning tree of basins and passes, [1]_). From the pass the way down to the
still place is turned round, as if a channel were cut there, so that each cell hands its water to a
neighbour. Nothing here depends on how the region is cut into blocks.

Beyond an edge a lake may back up. What it could change, up to a stated depth, is told: water of
basins that it might lead elsewhere isn't handed on, and what might get more is marked.

References
----------
.. [1] Cordonnier, G., Bovy, B., Braun, J. (2019). A versatile, linear complexity algorithm for
   flow routing in topographies with depressions. Earth Surface Dynamics 7, 549-562.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from districtplan.water.blocks import Passes, lowest, raised
from districtplan.water.directions import FORWARD, FORWARD_CODES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from districtplan.water.blocks import Trees

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Integers = NDArray[np.int64]


class Cut(NamedTuple):
    """Ways down that are turned round, shape (ways,) each: one tree holds one at most."""

    tree: Integers
    start: Integers
    """Number of the cell where the tree's water leaves; from here the way down is turned."""
    target: Integers
    """Number of the cell that it is handed to."""


class Inflow(NamedTuple):
    """What enters blocks' trees, shape (inflows,) each."""

    cell: Integers
    """Number of the cell where it enters."""
    area: Floats
    from_edge: Floats


@dataclass(frozen=True)
class Network:
    """The trees of a region, joined.

    Attributes
    ----------
    first : numpy.ndarray
        First tree of each block, and one past the last, shape (blocks + 1,).
    area : numpy.ndarray
        Area that drains through each tree, its own with it, shape (trees,) [units].
    from_edge : numpy.ndarray
        How many cells of it may get water from beyond an edge, shape (trees,).
    cuts : Cut
        Ways that are turned round, in order of blocks.
    inflow : Inflow
        What trees hand on, in order of the blocks that get it.
    inflow_block : numpy.ndarray
        The block that each enters, ascending, shape (inflows,).
    """

    first: Integers
    area: Floats
    from_edge: Floats
    cuts: Cut
    inflow: Inflow
    inflow_block: Integers

    def cuts_of(self, block: int) -> Cut:
        """Give the ways of one block that are turned round.

        Parameters
        ----------
        block : int
            The block.

        Returns
        -------
        Cut
            Its ways.
        """
        ends = np.searchsorted(self.cuts.tree, self.first[block : block + 2])
        return Cut._make(column[ends[0] : ends[1]] for column in self.cuts)

    def inflow_of(self, block: int) -> Inflow:
        """Give what enters one block's trees.

        Parameters
        ----------
        block : int
            The block.

        Returns
        -------
        Inflow
            What enters.
        """
        ends = np.searchsorted(self.inflow_block, [block, block + 1])
        return Inflow._make(column[ends[0] : ends[1]] for column in self.inflow)


class _Forest(NamedTuple):
    """The trees of all blocks, one after another."""

    block: Integers
    end: Integers
    leaves_to: Integers
    into: Integers
    """Tree of the cell that the end drains to, -1 for none."""
    edge: Bools
    height: NDArray[np.float32]
    area: Floats
    from_edge: Floats
    passes: Passes
    basin: Integers
    """Basin of each tree, by which edge cell or still place its water ends in."""


class _Spill(NamedTuple):
    """Where the water of each basin goes, shape (basins,) each; -1 of basins of an edge cell."""

    start: Integers
    start_tree: Integers
    target: Integers
    target_tree: Integers


def join(blocks: Sequence[Trees | None], columns: int, backwater_m: float) -> Network:
    """Join the trees of all blocks of a region.

    Parameters
    ----------
    blocks : Sequence[Trees | None]
        The blocks in order; None for one without heights.
    columns : int
        Columns of the region, by which cells are numbered.
    backwater_m : float
        How deep a lake beyond an edge may back up above the edge cell [m].

    Returns
    -------
    Network
        All of them joined.
    """
    forest = _forest(blocks, columns)
    spill, met = _spills(forest, columns)
    unsure, touched = _backwater(forest, spill, met, backwater_m, columns)
    from_edge = forest.from_edge + np.bincount(touched[1], minlength=len(forest.end))
    cuts, to, to_cell = _links(forest, spill, unsure)
    area, from_edge = (_handed_down(own, to) for own in (forest.area, from_edge))

    hands_on = np.flatnonzero(to_cell >= 0)
    cell = np.concatenate([to_cell[hands_on], touched[0]])
    into = np.concatenate([to[hands_on], touched[1]])
    seen = np.ones(len(touched[0]))
    inflow = Inflow(
        cell,
        np.concatenate([area[hands_on], 0 * seen]),
        np.concatenate([from_edge[hands_on], seen]),
    )
    order = np.argsort(forest.block[into], kind="stable")
    first = np.cumsum([0, *(0 if one is None else len(one.end) for one in blocks)])
    by_tree = np.argsort(cuts.tree, kind="stable")
    return Network(
        first=first.astype(np.int64),
        area=area,
        from_edge=from_edge,
        cuts=Cut._make(column[by_tree] for column in cuts),
        inflow=Inflow._make(column[order] for column in inflow),
        inflow_block=forest.block[into][order],
    )


def _forest(blocks: Sequence[Trees | None], columns: int) -> _Forest:
    found = [(place, one) for place, one in enumerate(blocks) if one is not None]
    counts = [len(one.end) for _, one in found]
    shift = np.cumsum([0, *counts])
    trees = [one for _, one in found]
    block = np.repeat([place for place, _ in found], counts)
    rim, rim_tree, rim_height, rim_still, rim_walls = (
        np.concatenate(parts)
        for parts in (
            [one.rim for one in trees],
            [one.rim_tree + start for one, start in zip(trees, shift, strict=False)],
            [one.rim_height for one in trees],
            [one.rim_still for one in trees],
            [one.rim_walls for one in trees],
        )
    )
    order = np.argsort(rim)
    rim, rim_tree, rim_height, rim_still, rim_walls = (
        column[order] for column in (rim, rim_tree, rim_height, rim_still, rim_walls)
    )
    leaves_to = np.concatenate([one.leaves_to for one in trees])
    into = np.full(len(leaves_to), -1, dtype=np.int64)
    leaves = leaves_to >= 0
    into[leaves] = rim_tree[np.searchsorted(rim, leaves_to[leaves])]
    across, pools = [], []
    for place, (down, right) in enumerate(FORWARD):
        one, other = _neighbours(rim, down, right, columns)
        apart = block[rim_tree[one]] != block[rim_tree[other]]
        one, other = one[apart], other[apart]
        walled = (rim_walls[one] & FORWARD_CODES[place]) > 0
        across.append(
            Passes(
                rim_tree[one],
                rim_tree[other],
                raised(np.maximum(rim_height[one], rim_height[other]), walled),
                rim[one] * len(FORWARD) + place,
            )
        )
        both = rim_still[one] & rim_still[other] & ~walled
        pools.append((rim_tree[one[both]], rim_tree[other[both]]))
    inner = [
        one.passes._replace(low=one.passes.low + start, high=one.passes.high + start)
        for one, start in zip(trees, shift, strict=False)
    ]
    return _Forest(
        block=block.astype(np.int64),
        end=np.concatenate([one.end for one in trees]),
        leaves_to=leaves_to,
        into=into,
        edge=np.concatenate([one.edge for one in trees]),
        height=np.concatenate([one.height for one in trees]),
        area=np.concatenate([one.area for one in trees]),
        from_edge=np.concatenate([one.from_edge for one in trees]),
        passes=Passes._make(np.concatenate(column) for column in zip(*inner, *across, strict=True)),
        basin=_basins(into, pools),
    )


def _neighbours(rim: Integers, down: int, right: int, columns: int) -> tuple[Integers, Integers]:
    """Give the places in ``rim`` of cells and of their neighbours there."""
    column = rim % columns + right
    one = np.flatnonzero((column >= 0) & (column < columns))
    wanted = rim[one] + down * columns + right
    place = np.minimum(np.searchsorted(rim, wanted), len(rim) - 1)
    there = rim[place] == wanted
    return one[there], place[there]


def _basins(into: Integers, pools: list[tuple[Integers, Integers]]) -> Integers:
    """Give each tree's basin: trees that lead to one end, or to still places that touch."""
    end = _followed(np.where(into >= 0, into, np.arange(len(into))))
    one, other = (np.concatenate(side) for side in zip(*pools, strict=True))
    touch = sparse.coo_matrix((np.ones(len(one)), (one, other)), shape=(len(into), len(into)))
    _, pool = csgraph.connected_components(touch, directed=False)
    return np.unique(pool[end], return_inverse=True)[1].astype(np.int64)


def _followed(to: Integers) -> Integers:
    """Follow each to the last: those that lead to themselves are last."""
    while True:
        further = to[to]
        if np.array_equal(further, to):
            return to
        to = further


def _spills(forest: _Forest, columns: int) -> tuple[_Spill, Integers]:
    """Find where each basin spills, and the lowest passes between each two basins."""
    passes = forest.passes
    between = passes._replace(low=forest.basin[passes.low], high=forest.basin[passes.high])
    apart = np.flatnonzero(between.low != between.high)
    met = apart[lowest(between.take(apart))]
    outside = np.zeros(int(forest.basin.max()) + 1, dtype=np.bool_)
    outside[forest.basin[forest.edge]] = True
    # All edge cells are one: outside.
    node = np.where(outside, 0, np.cumsum(~outside))
    graph = between.take(met)
    graph = graph._replace(low=node[graph.low], high=node[graph.high])
    apart = np.flatnonzero(graph.low != graph.high)
    kept = apart[lowest(graph.take(apart))]
    graph, kept = graph.take(kept), met[kept]
    count = int(node.max()) + 1
    parent = _ways_out(graph, count)
    key = np.minimum(graph.low, graph.high) * count + np.maximum(graph.low, graph.high)
    inside = np.flatnonzero(~outside)
    own = node[inside]
    way = np.searchsorted(key, np.minimum(own, parent[own]) * count + np.maximum(own, parent[own]))
    is_low = graph.low[way] == own
    taken = passes.take(kept[way])
    low, high = cells_of(taken.pair, columns)
    spill = _Spill(*(np.full(len(outside), -1, dtype=np.int64) for _ in range(4)))
    spill.start[inside] = np.where(is_low, low, high)
    spill.target[inside] = np.where(is_low, high, low)
    spill.start_tree[inside] = np.where(is_low, taken.low, taken.high)
    spill.target_tree[inside] = np.where(is_low, taken.high, taken.low)
    return spill, met


def _ways_out(graph: Passes, count: int) -> Integers:
    """Give the basin that each spills into, on the lowest way out to node 0."""
    # No two passes rank alike, so that there is one such tree only.
    rank = np.empty(len(graph.low))
    rank[np.lexsort((graph.pair, graph.height))] = np.arange(1, len(rank) + 1)
    links = sparse.csr_matrix((rank, (graph.low, graph.high)), shape=(count, count))
    spanning = csgraph.minimum_spanning_tree(links)
    return np.asarray(csgraph.breadth_first_order(spanning, 0, directed=False)[1], dtype=np.int64)


def cells_of(pair: Integers, columns: int) -> tuple[Integers, Integers]:
    """Unpack pairs of neighbours.

    Parameters
    ----------
    pair : numpy.ndarray
        Pairs as :class:`districtplan.water.blocks.Passes` packs them, shape (pairs,).
    columns : int
        Columns of the region.

    Returns
    -------
    low : numpy.ndarray
        Number of the cell with the lower number, shape (pairs,).
    high : numpy.ndarray
        Number of its neighbour, shape (pairs,).
    """
    step = np.array([down * columns + right for down, right in FORWARD], dtype=np.int64)
    low = pair // len(FORWARD)
    return low, low + step[pair % len(FORWARD)]


def _backwater(
    forest: _Forest, spill: _Spill, met: Integers, depth_m: float, columns: int
) -> tuple[Bools, tuple[Integers, Integers]]:
    """Tell basins whose way out a lake beyond an edge may turn, and cells that may get more.

    Such a lake stands at an edge cell and rises above it by up to the depth. Where it would spill
    over a pass into what drains to another edge cell, the basins from there down to its own edge
    cell may drain that way instead.
    """
    inside = spill.target >= 0
    up = np.arange(len(inside))
    up[inside] = forest.basin[spill.target_tree[inside]]
    out = _followed(up)
    level = np.full(len(inside), np.nan, dtype=np.float32)
    level[forest.basin[forest.edge]] = forest.height[forest.edge]
    passes = forest.passes.take(met)
    one, other = forest.basin[passes.low], forest.basin[passes.high]
    low, high = cells_of(passes.pair, columns)
    apart = out[one] != out[other]
    over = apart & (passes.height <= level[out[one]] + depth_m)
    back = apart & (passes.height <= level[out[other]] + depth_m)
    unsure = np.zeros(len(inside), dtype=np.bool_)
    front = np.concatenate([one[over], other[back]])
    while len(front):
        front = np.unique(front[inside[front] & ~unsure[front]])
        unsure[front] = True
        front = up[front]
    # On either side of a pass that may be taken more may come, either way.
    either = over | back
    return unsure, (
        np.concatenate([low[either], high[either], spill.target[unsure], spill.start[unsure]]),
        np.concatenate(
            [
                passes.low[either],
                passes.high[either],
                spill.target_tree[unsure],
                spill.start_tree[unsure],
            ]
        ),
    )


def _links(forest: _Forest, spill: _Spill, unsure: Bools) -> tuple[Cut, Integers, Integers]:
    """Turn ways round from pass to still place; say where each tree then hands its water.

    Returns the ways, the tree that each tree hands to, and the cell; -1 for none. Still places of
    one pool in several blocks hand to the one where the way ends, at no one cell.
    """
    to, to_cell = forest.into.copy(), forest.leaves_to.copy()
    basin = np.flatnonzero((spill.target >= 0) & ~unsure)
    tree, start = spill.start_tree[basin], spill.start[basin]
    target, target_tree = spill.target[basin], spill.target_tree[basin]
    last = np.full(len(spill.start), -1, dtype=np.int64)
    parts = []
    while len(tree):
        parts.append(Cut(tree, start, target))
        to[tree], to_cell[tree] = target_tree, target
        ends = forest.into[tree] < 0
        last[basin[ends]] = tree[ends]
        tree, basin = tree[~ends], basin[~ends]
        start, target, target_tree = forest.leaves_to[tree], forest.end[tree], tree
        tree = forest.into[tree]
    pooled = np.flatnonzero((forest.into < 0) & ~forest.edge)
    main = last[forest.basin[pooled]]
    pooled = pooled[(main >= 0) & (main != pooled)]
    to[pooled] = last[forest.basin[pooled]]
    none = np.zeros(0, dtype=np.int64)
    columns = zip(*parts, strict=True) if parts else ([none], [none], [none])
    return Cut._make(np.concatenate(column) for column in columns), to, to_cell


def _handed_down(own: Floats, to: Integers) -> Floats:
    """Add up what trees hand on, from the topmost down."""
    total = own.copy()
    depth = (to >= 0).astype(np.int64)
    ahead = np.where(to >= 0, to, np.arange(len(to)))
    while True:
        further = depth[ahead]
        if not further.any():
            break
        depth += further
        ahead = ahead[ahead]
    order = np.argsort(-depth, kind="stable")
    edges = np.searchsorted(-depth[order], np.arange(-int(depth.max(initial=0)), 1))
    for start, stop in itertools.pairwise(edges.tolist()):
        here = order[start:stop]
        np.add.at(total, to[here], total[here])
    return total
