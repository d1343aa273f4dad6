"""What one block of cells knows by itself: which cells drain together, and over what they'd spill.

A region of the raster is worked block by block. Within a block each cell leads down to one of the
block's *ends*: a still place, an edge cell, or the last cell before another block. The cells that
lead to one end are a *tree*; still cells that touch are one end. Two trees that touch meet at a
*pass*, the lowest pair of neighbours between them. Trees, passes and the cells along the block's
rim are all that is kept of a block: :mod:`districtplan.water.network` joins them.

Areas are whole numbers of a small unit, so that sums don't depend on how they are grouped.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy import ndimage, sparse
from scipy.sparse import csgraph

from districtplan import geodesy
from districtplan.grid import Window
from districtplan.water.directions import (
    COLUMN_STEP,
    FORWARD,
    FORWARD_CODES,
    HALO,
    NO_CELL,
    ROW_STEP,
    STAYS,
    directions,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from districtplan.grid import Elevation, Grid
    from districtplan.water.shaped import Shaped

    Codes = NDArray[np.uint8]
    Heights = NDArray[np.float32]
    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Integers = NDArray[np.int64]

EXACT_BITS = 52
"""Whole numbers of this many bits are exact in floating point, sums of them too."""

WALL_M = 20_000
"""How much a wall raises a pass: water goes over it only where there is no other way."""


@dataclass(frozen=True)
class Region:
    """A part of the raster, in blocks; cells are numbered row by row.

    Attributes
    ----------
    elevation : Elevation
        The raster.
    window : Window
        The region's cells within the raster.
    side : int
        Side of a block [cells].
    shaped : Shaped
        What was drawn on the land.
    """

    elevation: Elevation
    window: Window
    side: int
    shaped: Shaped

    @property
    def grid(self) -> Grid:
        """Where the raster's cells lie.

        Returns
        -------
        Grid
            The raster's grid.
        """
        return self.elevation.grid

    def cell_m(self) -> tuple[Floats, Floats]:
        """Give the size of the cells of each row.

        Returns
        -------
        width : numpy.ndarray
            Width, shape (rows,) [m].
        height : numpy.ndarray
            Height, shape (rows,) [m].
        """
        rows = slice(self.window.row, self.window.row + self.window.rows)
        width, height = geodesy.cell_size_m(self.grid)
        return width[rows], height[rows]

    def unit_m2(self) -> float:
        """Give the unit of areas: a power of two that keeps every sum exact.

        Returns
        -------
        float
            The unit [m²].
        """
        width, height = self.cell_m()
        total = float(np.sum(width * height)) * self.window.columns
        return float(2.0 ** (np.ceil(np.log2(total)) - EXACT_BITS))

    def blocks(self) -> Iterator[Window]:
        """Cut the region into blocks, row by row.

        Yields
        ------
        Window
            A block, counted within the region.
        """
        for row in range(0, self.window.rows, self.side):
            for column in range(0, self.window.columns, self.side):
                yield Window(
                    row,
                    column,
                    min(self.side, self.window.rows - row),
                    min(self.side, self.window.columns - column),
                )


@dataclass(frozen=True)
class Block:
    """Heights and directions of a block.

    Attributes
    ----------
    window : Window
        The block within the region.
    number : numpy.ndarray
        Number of each cell in the region, shape (rows, columns).
    heights : numpy.ndarray
        Elevations, channels sunk, shape (rows, columns) [m].
    ground : numpy.ndarray
        Elevations as they are, with a frame of one cell, NaN beyond the region, shape (rows + 2,
        columns + 2) [m].
    walls : numpy.ndarray
        Steps that water doesn't take: their codes, added up, shape (rows, columns).
    code : numpy.ndarray
        Directions, shape (rows, columns).
    edge : numpy.ndarray
        Whether a cell is an edge cell, shape (rows, columns).
    area : numpy.ndarray
        Area of each cell, 0 without a height, shape (rows, columns) [units].
    from_edge : numpy.ndarray
        1 where water from beyond an edge may enter, else 0, shape (rows, columns).
    """

    window: Window
    number: Integers
    heights: Heights
    ground: Heights
    walls: Codes
    code: Codes
    edge: Bools
    area: Floats
    from_edge: Floats


class Passes(NamedTuple):
    """Lowest passes between trees (or, later, basins), shape (passes,) each.

    ``pair`` packs the lower cell's number and the neighbour's place in ``FORWARD``; of passes of
    one height the lowest ``pair`` is taken, so that none depends on how the region is cut.
    """

    low: Integers
    """Tree of the cell with the lower number."""
    high: Integers
    """Tree of its neighbour."""
    height: Heights
    pair: Integers

    def take(self, which: Integers | Bools) -> Passes:
        """Give some of the passes.

        Parameters
        ----------
        which : numpy.ndarray
            Which, as numpy counts.

        Returns
        -------
        Passes
            Those alone.
        """
        return Passes._make(column[which] for column in self)


@dataclass(frozen=True)
class Trees:
    """What is kept of a block.

    Attributes
    ----------
    end : numpy.ndarray
        Number of the cell at each tree's end; of several still cells the first, shape (trees,).
    leaves_to : numpy.ndarray
        Number of the cell in another block that the end drains to, -1 for none, shape (trees,).
    edge : numpy.ndarray
        Whether the end is an edge cell, shape (trees,).
    height : numpy.ndarray
        Elevation of the end, shape (trees,) [m].
    area : numpy.ndarray
        Area of the cells of each tree, shape (trees,) [units].
    from_edge : numpy.ndarray
        How many of its cells water from beyond an edge may enter, shape (trees,).
    passes : Passes
        Passes between trees of the block.
    rim : numpy.ndarray
        Numbers of the cells along the block's rim that have a height, ascending, shape (cells,).
    rim_tree : numpy.ndarray
        Their trees, shape (cells,).
    rim_height : numpy.ndarray
        Their elevations, shape (cells,) [m].
    rim_still : numpy.ndarray
        Whether they are still and no edge cells, shape (cells,).
    rim_walls : numpy.ndarray
        Steps that water doesn't take from them, shape (cells,).
    """

    end: Integers
    leaves_to: Integers
    edge: Bools
    height: Heights
    area: Floats
    from_edge: Floats
    passes: Passes
    rim: Integers
    rim_tree: Integers
    rim_height: Heights
    rim_still: Bools
    rim_walls: Codes


def read_block(region: Region, window: Window) -> Block:
    """Read a block and find where its water goes.

    Parameters
    ----------
    region : Region
        The region.
    window : Window
        The block within it.

    Returns
    -------
    Block
        Its cells.
    """
    top, left = max(window.row - HALO, 0), max(window.column - HALO, 0)
    bottom = min(window.row + window.rows + HALO, region.window.rows)
    right = min(window.column + window.columns + HALO, region.window.columns)
    around = Window(
        region.window.row + top, region.window.column + left, bottom - top, right - left
    )
    width, height = (size[top:bottom] for size in region.cell_m())
    ground = region.elevation.read(around)
    heights = region.shaped.sunk(ground, around)
    walls = region.shaped.walls_in(around)
    found = directions(heights, width, height, walls)
    inside = (
        slice(window.row - top, window.row - top + window.rows),
        slice(window.column - left, window.column - left + window.columns),
    )
    area = np.rint(width * height / region.unit_m2())[inside[0]]
    code = np.ascontiguousarray(found.code[inside])
    row = np.arange(window.row, window.row + window.rows, dtype=np.int64)
    column = np.arange(window.column, window.column + window.columns, dtype=np.int64)
    return Block(
        window=window,
        number=row[:, None] * region.window.columns + column,
        heights=np.ascontiguousarray(heights[inside]),
        ground=_framed(ground, inside),
        walls=np.ascontiguousarray(walls[inside]),
        code=code,
        edge=np.ascontiguousarray(found.edge[inside]),
        area=np.where(code == NO_CELL, 0.0, area[:, None]),
        from_edge=found.from_edge[inside].astype(np.float64),
    )


def _framed(ground: Heights, inside: tuple[slice, slice]) -> Heights:
    """Give a part of a window with a frame of one cell, NaN where the window ends."""
    (rows, columns), (tall, wide) = inside, ground.shape
    top, left = max(rows.start - 1, 0), max(columns.start - 1, 0)
    bottom, right = min(rows.stop + 1, tall), min(columns.stop + 1, wide)
    framed = np.full(
        (rows.stop - rows.start + 2, columns.stop - columns.start + 2), np.nan, dtype=np.float32
    )
    down, over = top - rows.start + 1, left - columns.start + 1
    framed[down : down + bottom - top, over : over + right - left] = ground[top:bottom, left:right]
    return framed


def trees(region: Region, block: Block) -> Trees | None:
    """Find a block's trees and their passes.

    Parameters
    ----------
    region : Region
        The region.
    block : Block
        The block.

    Returns
    -------
    Trees | None
        What is kept of it; None where it has no heights.
    """
    known = block.code != NO_CELL
    if not known.any():
        return None
    label, root = _labels(block)
    count = len(root)
    number = block.number.ravel()[root]
    code = block.code.ravel()[root]
    leaves = code != STAYS
    step = ROW_STEP[code] * region.window.columns + COLUMN_STEP[code]
    here = label[known]
    rim = np.zeros(block.code.shape, dtype=np.bool_)
    rim[[0, -1], :] = True
    rim[:, [0, -1]] = True
    rim &= known
    return Trees(
        end=number,
        leaves_to=np.where(leaves, number + step, -1),
        edge=block.edge.ravel()[root],
        height=block.heights.ravel()[root],
        area=_sum(here, block.area[known], count),
        from_edge=_sum(here, block.from_edge[known], count),
        passes=_passes(block, label),
        rim=block.number[rim],
        rim_tree=label[rim].astype(np.int64),
        rim_height=block.heights[rim],
        rim_still=((block.code == STAYS) & ~block.edge)[rim],
        rim_walls=block.walls[rim],
    )


def _sum(label: NDArray[np.int32], values: Floats, count: int) -> Floats:
    return np.bincount(label, values, count).astype(np.float64, copy=False)


def _labels(block: Block) -> tuple[NDArray[np.int32], Integers]:
    """Give each cell's tree, -1 without a height, and each tree's end, in the block's order."""
    from districtplan.water.loops import ends_of

    end, ends = ends_of(block.code)
    still = (block.code == STAYS) & ~block.edge
    pool = _pools(still, block.walls).ravel()[ends]
    # Still cells that touch are one end: that of their first cell.
    first = np.arange(len(ends))
    inside = np.flatnonzero(pool)
    _, lead, place = np.unique(pool[inside], return_index=True, return_inverse=True)
    first[inside] = inside[lead][place]
    kept, tree = np.unique(first, return_inverse=True)
    return np.append(tree, -1).astype(np.int32)[end], ends[kept]


def _pools(still: Bools, walls: Codes) -> NDArray[np.int32]:
    """Give each still cell the number of its pool, from 1; 0 elsewhere. Walls part pools."""
    pools, count = ndimage.label(still, structure=np.ones((3, 3), dtype=np.int8))
    parted = np.unique(pools[still & (walls > 0)])
    if not len(parted):
        return np.asarray(pools, dtype=np.int32)
    row, column = np.nonzero(np.isin(pools, parted))
    place = np.full(still.shape, -1, dtype=np.int64)
    place[row, column] = np.arange(len(row))
    framed = np.pad(place, 1, constant_values=-1)
    one, other = [], []
    for (down, right), code in zip(FORWARD, FORWARD_CODES, strict=True):
        near = framed[row + 1 + down, column + 1 + right]
        touch = np.flatnonzero((near >= 0) & ((walls[row, column] & code) == 0))
        one.append(touch)
        other.append(near[touch])
    links = np.concatenate(one), np.concatenate(other)
    graph = sparse.coo_matrix((np.ones(len(links[0])), links), shape=(len(row), len(row)))
    pools[row, column] = count + 1 + csgraph.connected_components(graph, directed=False)[1]
    return np.asarray(pools, dtype=np.int32)


def _passes(block: Block, label: NDArray[np.int32]) -> Passes:
    from districtplan.water.loops import borders

    (low, high, cell, way), height, walled = borders(label, block.heights, block.walls)
    pair = block.number.ravel()[cell] * len(FORWARD) + way
    found = Passes(low, high, raised(height, walled), pair)
    return found.take(lowest(found))


def raised(height: Heights, walled: Bools) -> Heights:
    """Raise the passes that lie behind walls over all others.

    Parameters
    ----------
    height : numpy.ndarray
        Heights of passes, shape (passes,) [m].
    walled : numpy.ndarray
        Whether a wall stands in each, shape (passes,).

    Returns
    -------
    numpy.ndarray
        Heights, walls with them, shape (passes,) [m].
    """
    wall = np.float32(WALL_M) * walled.astype(np.float32)
    return np.asarray(height + wall, dtype=np.float32)


def lowest(passes: Passes) -> Integers:
    """Choose the lowest pass between each two trees.

    Parameters
    ----------
    passes : Passes
        Any passes.

    Returns
    -------
    numpy.ndarray
        Places of one pass for each two trees that touch, in order of the trees, shape (chosen,).
    """
    from districtplan.water.loops import lowest_of

    if not len(passes.low):
        return np.zeros(0, dtype=np.int64)
    one, other = np.minimum(passes.low, passes.high), np.maximum(passes.low, passes.high)
    chosen = lowest_of(one, other, passes.height, passes.pair)
    return chosen[np.lexsort((other[chosen], one[chosen]))]
