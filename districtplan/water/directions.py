"""Where each cell's water goes next: to the neighbour that is steepest down.

A cell drains to the one of its eight neighbours to which the ground falls most steeply, diagonals
by their own length (D8) [1]_. A cell of a flat drains over cells of the same height towards the
nearest cell that has a way down. What is left is *still*: bottoms of hollows, of one cell or many,
and flats too wide to be followed.

An *edge cell* has no height beside it: the raster ends there, or has a gap. Where its water goes
can't be known, so it keeps what reaches it, and what lies below it may get more than is seen. Flats
that an edge cuts are still for the same reason.

References
----------
.. [1] O'Callaghan, J.F., Mark, D.M. (1984). The extraction of drainage networks from digital
   elevation data. Computer Vision, Graphics, and Image Processing 28, 323-344.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Heights = NDArray[np.float32]
    Codes = NDArray[np.uint8]
    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Integers = NDArray[np.int64]

STEPS = ((0, 1), (1, 0), (0, -1), (-1, 0), (1, 1), (1, -1), (-1, -1), (-1, 1))
"""Rows and columns to each neighbour: east, south, west, north, then the diagonals between."""

CODES = (1, 4, 16, 64, 2, 8, 32, 128)
"""The usual codes of these directions, clockwise from the east in powers of two."""

FORWARD = ((0, 1), (1, -1), (1, 0), (1, 1))
"""Neighbours with a higher number: each pair of neighbours is met once."""

FORWARD_CODES = (1, 8, 4, 2)
"""The codes of these directions."""

STAYS, NO_CELL = 0, 247
"""Codes of a cell that drains to no neighbour, and of one without a height."""

FLAT_ROUNDS = 16
"""How many cells deep a flat is followed: terraces of whole metres are narrower, lakes wider."""

HALO = FLAT_ROUNDS + 4
"""Cells around a block on which directions inside it depend."""

ROW_STEP = np.zeros(256, dtype=np.int64)
COLUMN_STEP = np.zeros(256, dtype=np.int64)
ROW_STEP[list(CODES)] = [down for down, _ in STEPS]
COLUMN_STEP[list(CODES)] = [right for _, right in STEPS]


@dataclass(frozen=True)
class Directions:
    """Where the water of each cell of a window goes.

    Attributes
    ----------
    code : numpy.ndarray
        Direction of each cell, ``STAYS`` for edge cells and still ones, ``NO_CELL`` without a
        height, shape (rows, columns).
    edge : numpy.ndarray
        Whether a cell is an edge cell, shape (rows, columns).
    from_edge : numpy.ndarray
        Whether water from beyond an edge may enter the cell: it is the steepest way down from an
        edge cell, or one itself, shape (rows, columns).
    """

    code: Codes
    edge: Bools
    from_edge: Bools


def directions(heights: Heights, width_m: Floats, height_m: Floats, walls: Codes) -> Directions:
    """Find where the water of each cell goes.

    Within ``HALO`` cells of the window's sides the answer holds only where the raster ends there.

    Parameters
    ----------
    heights : numpy.ndarray
        Elevations, NaN where there is none, shape (rows, columns) [m].
    width_m : numpy.ndarray
        Width of the cells of each row, shape (rows,) [m].
    height_m : numpy.ndarray
        Height of the cells of each row, shape (rows,) [m].
    walls : numpy.ndarray
        Steps that water doesn't take: their codes, added up, shape (rows, columns).

    Returns
    -------
    Directions
        One value a cell.
    """
    # Imported late: numba takes a second, and not every command traces water.
    from districtplan.water.loops import steepest

    around = np.pad(heights, 1, constant_values=np.nan)
    per_m = [1 / np.hypot(down * height_m, right * width_m) for down, right in STEPS]
    code, edge = steepest(around, np.column_stack(per_m).astype(np.float32), walls)
    from_edge = edge.copy()
    row, column = np.nonzero(edge & (code != STAYS))
    taken = code[row, column]
    from_edge[row + ROW_STEP[taken], column + COLUMN_STEP[taken]] = True
    cut, beside = _cut_flats(around, code, edge & (code == STAYS))
    from_edge |= beside
    code[edge] = STAYS
    code[np.isnan(heights)] = NO_CELL
    cut &= code == STAYS
    _cross_flats(around, code, edge, walls)
    code[cut] = STAYS
    return Directions(code, edge, from_edge)


def _cut_flats(around: Heights, code: Codes, start: Bools) -> tuple[Bools, Bools]:
    """Find the cells of flats that an edge cuts: which way they drain can't be known.

    Returns them, and them with the cells of the same height beside them, which they may drain to.
    """
    wide = around.shape[1]
    level = around.ravel()
    flat = np.pad(code == STAYS, 1).ravel()
    reached = np.pad(start, 1).ravel()
    front = np.flatnonzero(reached)
    steps = np.array([down * wide + right for down, right in STEPS])
    cut = reached.copy()
    for _ in range(FLAT_ROUNDS + 2):
        cut = reached.copy()
        other = (front[:, None] + steps).ravel()
        level_with = level[other] == np.repeat(level[front], len(steps))
        front = np.unique(other[level_with & ~reached[other]])
        reached[front] = True
        front = front[flat[front]]
    cut, reached = (found.reshape(around.shape)[1:-1, 1:-1] for found in (cut, reached))
    return cut, reached


def _cross_flats(around: Heights, code: Codes, edge: Bools, walls: Codes) -> None:
    """Lead flats towards their nearest way down, ring by ring."""
    wide = around.shape[1]
    level = around.ravel()
    framed = np.pad(code, 1, constant_values=NO_CELL).ravel()
    drained = (framed != STAYS) | np.pad(edge, 1).ravel()
    drained &= framed != NO_CELL
    flat = np.flatnonzero((framed == STAYS) & ~drained)
    closed = np.pad(walls, 1).ravel()
    for _ in range(FLAT_ROUNDS):
        taken = np.zeros(len(flat), dtype=np.uint8)
        for (down, right), number in zip(STEPS, CODES, strict=True):
            other = flat + (down * wide + right)
            free = (taken == STAYS) & drained[other] & (level[other] == level[flat])
            free &= (closed[flat] & number) == 0
            taken[free] = number
        found = taken != STAYS
        if not found.any():
            break
        framed[flat[found]] = taken[found]
        drained[flat[found]] = True
        flat = flat[~found]
    code[...] = framed.reshape(around.shape)[1:-1, 1:-1]
