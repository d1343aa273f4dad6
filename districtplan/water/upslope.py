"""The land that drains through each cell of a block, once the blocks are joined.

Upslope area is counted where water leaves a cell: the cell's own area is part of it, once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from districtplan.water.directions import CODES, COLUMN_STEP, NO_CELL, ROW_STEP, STAYS, STEPS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.water.blocks import Block
    from districtplan.water.network import Cut, Network

    Codes = NDArray[np.uint8]
    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Integers = NDArray[np.int64]

CODE_OF = np.zeros((3, 3), dtype=np.uint8)
CODE_OF[tuple(np.transpose(STEPS) + 1)] = CODES


@dataclass(frozen=True)
class Upslope:
    """What drains through each cell of a block.

    Attributes
    ----------
    area : numpy.ndarray
        Upslope area, 0 without a height, shape (rows, columns) [units].
    at_least : numpy.ndarray
        Whether more may come from where nothing is known, shape (rows, columns).
    drains_to : numpy.ndarray
        Number in the region of the cell that each hands its water to, -1 for none, shape
        (rows, columns).
    code : numpy.ndarray
        Directions, ways turned round with them, shape (rows, columns).
    """

    area: Floats
    at_least: Bools
    drains_to: Integers
    code: Codes


def upslope(block: Block, place: int, network: Network, columns: int) -> Upslope:
    """Find the land that drains through each cell of a block.

    Parameters
    ----------
    block : Block
        The block.
    place : int
        Its place among the blocks of the region.
    network : Network
        The blocks, joined.
    columns : int
        Columns of the region, by which cells are numbered.

    Returns
    -------
    Upslope
        One value a cell.
    """
    from districtplan.water.loops import hand_on

    cuts, inflow = network.cuts_of(place), network.inflow_of(place)
    start = _inside(block, cuts.start, columns)
    code = block.code.copy()
    turned, way = _turn(code, block, start, cuts, columns)
    drains_to = np.where(
        (code == STAYS) | (code == NO_CELL),
        -1,
        block.number + ROW_STEP[code] * columns + COLUMN_STEP[code],
    )
    drains_to.ravel()[start] = cuts.target
    turned_code = code.copy()
    # What leaves a tree comes back in as the inflow of another, in this block or not.
    code.ravel()[start] = STAYS
    entry = _inside(block, inflow.cell, columns)
    area, from_edge = block.area.copy(), block.from_edge.copy()
    np.add.at(area.ravel(), entry, inflow.area)
    np.add.at(from_edge.ravel(), entry, inflow.from_edge)
    hand_on(code, area, from_edge)
    # A pool takes in water at many cells and hands it on from one: what the others took in runs
    # along the whole of its turned way.
    for found, of_tree in ((area, network.area), (from_edge, network.from_edge)):
        rest = of_tree[cuts.tree] - found.ravel()[start]
        found.ravel()[turned] += rest[way]
    at_least = (code != NO_CELL) & (from_edge > 0)
    # What reaches a still place that isn't known to spill may leave by another way: only its own
    # area is sure.
    doubtful = (drains_to < 0) & ~block.edge & at_least
    return Upslope(np.where(doubtful, block.area, area), at_least, drains_to, turned_code)


def _inside(block: Block, number: Integers, columns: int) -> Integers:
    """Place cells of a block in its flat arrays."""
    row, column = number // columns - block.window.row, number % columns - block.window.column
    return row * block.window.columns + column


def _turn(
    code: Codes, block: Block, start: Integers, cuts: Cut, columns: int
) -> tuple[Integers, Integers]:
    """Turn ways down round, all at once; give the cells on them, and the way of each."""
    flat, wide = code.ravel(), block.window.columns
    natural = block.code.ravel()
    tall = block.window.rows
    here, way = start, np.arange(len(start))
    parts = []
    row, column = cuts.target // columns, cuts.target % columns
    row, column = row - block.window.row, column - block.window.column
    while len(here):
        parts.append((here, way))
        own_row, own_column = here // wide, here % wide
        flat[here] = CODE_OF[row - own_row + 1, column - own_column + 1]
        taken = natural[here]
        next_row, next_column = own_row + ROW_STEP[taken], own_column + COLUMN_STEP[taken]
        goes_on = (
            (taken != STAYS)
            & (next_row >= 0)
            & (next_row < tall)
            & (next_column >= 0)
            & (next_column < wide)
        )
        row, column = own_row[goes_on], own_column[goes_on]
        here = (next_row * wide + next_column)[goes_on]
        way = way[goes_on]
    if not parts:
        return start, way
    cells, ways = (np.concatenate(column) for column in zip(*parts, strict=True))
    return cells, ways
