"""The loops over all cells of a block, compiled by numba.

Imported where water is traced: numba takes a second. Sums are of whole numbers, so that the order
in which cells are met changes nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from districtplan.compiled import compiled
from districtplan.water.directions import (
    CODES,
    COLUMN_STEP,
    FORWARD,
    FORWARD_CODES,
    NO_CELL,
    ROW_STEP,
    STAYS,
    STEPS,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Codes = NDArray[np.uint8]
    Heights = NDArray[np.float32]
    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Labels = NDArray[np.int32]
    Integers = NDArray[np.int64]

WAYS = len(STEPS)
UNKNOWN = -2
"""Mark of a cell that no way down has been followed through."""
AROUND, AROUND_CODES = np.array(STEPS), np.array(CODES, dtype=np.uint8)
AHEAD, AHEAD_CODES = np.array(FORWARD), np.array(FORWARD_CODES, dtype=np.uint8)


@compiled
def steepest(around: Heights, per_m: Heights, walls: Codes) -> tuple[Codes, Bools]:
    """Find the steepest way down from each cell; of equal ones the first of ``STEPS``.

    Parameters
    ----------
    around : numpy.ndarray
        Elevations in a frame of NaN, shape (rows + 2, columns + 2) [m].
    per_m : numpy.ndarray
        One over the length of a step in each of ``STEPS`` from each row, shape (rows, 8) [1/m].
    walls : numpy.ndarray
        Steps that water doesn't take: their codes, added up, shape (rows, columns).

    Returns
    -------
    code : numpy.ndarray
        Direction of each cell, ``STAYS`` where none leads down, shape (rows, columns).
    edge : numpy.ndarray
        Whether it has a height and a cell beside it has none, shape (rows, columns).
    """
    rows, columns = walls.shape
    code = np.zeros((rows, columns), dtype=np.uint8)
    edge = np.zeros((rows, columns), dtype=np.bool_)
    for row in range(rows):
        for column in range(columns):
            own, steep = around[row + 1, column + 1], np.float32(0)
            if np.isnan(own):
                continue
            for way in range(WAYS):
                other = around[row + 1 + AROUND[way, 0], column + 1 + AROUND[way, 1]]
                if np.isnan(other):
                    edge[row, column] = True
                elif (walls[row, column] & AROUND_CODES[way]) == 0:
                    fall = (own - other) * per_m[row, way]
                    if fall > steep:
                        steep = fall
                        code[row, column] = AROUND_CODES[way]
    return code, edge


@compiled
def ends_of(code: Codes) -> tuple[Labels, Integers]:
    """Follow each cell of a block to where its water ends or leaves.

    Parameters
    ----------
    code : numpy.ndarray
        Directions, shape (rows, columns).

    Returns
    -------
    end : numpy.ndarray
        Place of each cell's end among all, -1 without a height, shape (rows, columns).
    cell : numpy.ndarray
        Number in the block of the cell at each end, ascending, shape (ends,).
    """
    rows, columns = code.shape
    end = np.full((rows, columns), UNKNOWN, dtype=np.int32)
    cell = np.empty(code.size, dtype=np.int64)
    count = 0
    for row in range(rows):
        for column in range(columns):
            own = code[row, column]
            if own == NO_CELL:
                end[row, column] = -1
                continue
            down, right = row + ROW_STEP[own], column + COLUMN_STEP[own]
            leaves = down < 0 or down >= rows or right < 0 or right >= columns
            if own == STAYS or leaves:
                end[row, column] = count
                cell[count] = row * columns + column
                count += 1
    for row in range(rows):
        for column in range(columns):
            down, right = row, column
            while end[down, right] == UNKNOWN:
                own = code[down, right]
                down, right = down + ROW_STEP[own], right + COLUMN_STEP[own]
            found = end[down, right]
            down, right = row, column
            while end[down, right] == UNKNOWN:
                end[down, right] = found
                own = code[down, right]
                down, right = down + ROW_STEP[own], right + COLUMN_STEP[own]
    return end, cell[:count].copy()


@compiled
def hand_on(code: Codes, area: Floats, from_edge: Floats) -> None:
    """Add to each cell what drains to it within a block.

    Parameters
    ----------
    code : numpy.ndarray
        Directions, shape (rows, columns).
    area : numpy.ndarray
        What each cell has, and in the end what drains through it, shape (rows, columns) [units].
    from_edge : numpy.ndarray
        Another such sum, shape (rows, columns).
    """
    rows, columns = code.shape
    waits = np.zeros((rows, columns), dtype=np.uint8)
    for row in range(rows):
        for column in range(columns):
            own = code[row, column]
            if own not in (STAYS, NO_CELL):
                down, right = row + ROW_STEP[own], column + COLUMN_STEP[own]
                if 0 <= down < rows and 0 <= right < columns:
                    waits[down, right] += 1
    for row in range(rows):
        for column in range(columns):
            # From a cell that none drains to, as far as all above is known.
            y, x = row, column
            while waits[y, x] == 0:
                waits[y, x] = WAYS + 1
                own = code[y, x]
                if own in (STAYS, NO_CELL):
                    break
                down, right = y + ROW_STEP[own], x + COLUMN_STEP[own]
                if not (0 <= down < rows and 0 <= right < columns):
                    break
                area[down, right] += area[y, x]
                from_edge[down, right] += from_edge[y, x]
                waits[down, right] -= 1
                y, x = down, right


@compiled
def _met(label: Labels, row: int, column: int, way: int) -> int:
    """Give the label of a cell's neighbour; -1 where it is the cell's own, or none."""
    down, right = row + AHEAD[way, 0], column + AHEAD[way, 1]
    own = label[row, column]
    if own < 0 or down >= label.shape[0] or right < 0 or right >= label.shape[1]:
        return -1
    other = label[down, right]
    return -1 if other == own else other


@compiled
def borders(label: Labels, heights: Heights, walls: Codes) -> tuple[Integers, Heights, Bools]:
    """Give the pairs of neighbours of two labels.

    Parameters
    ----------
    label : numpy.ndarray
        Label of each cell, -1 for none, shape (rows, columns).
    heights : numpy.ndarray
        Elevations, shape (rows, columns) [m].
    walls : numpy.ndarray
        Steps that water doesn't take: their codes, added up, shape (rows, columns).

    Returns
    -------
    met : numpy.ndarray
        Label of the cell, of its neighbour, number of the cell in the block and place of the
        neighbour in ``FORWARD``, shape (4, pairs).
    height : numpy.ndarray
        The higher of both, shape (pairs,) [m].
    walled : numpy.ndarray
        Whether a wall stands between, shape (pairs,).
    """
    rows, columns = label.shape
    count = 0
    for row in range(rows):
        for column in range(columns):
            for way in range(len(AHEAD)):
                count += _met(label, row, column, way) >= 0
    met = np.empty((4, count), dtype=np.int64)
    height, walled = np.empty(count, dtype=np.float32), np.empty(count, dtype=np.bool_)
    at = 0
    for row in range(rows):
        for column in range(columns):
            for way in range(len(AHEAD)):
                other = _met(label, row, column, way)
                if other >= 0:
                    down, right = row + AHEAD[way, 0], column + AHEAD[way, 1]
                    met[0, at], met[1, at] = label[row, column], other
                    met[2, at], met[3, at] = row * columns + column, way
                    height[at] = max(heights[row, column], heights[down, right])
                    walled[at] = (walls[row, column] & AHEAD_CODES[way]) > 0
                    at += 1
    return met, height, walled


@compiled
def lowest_of(one: Integers, other: Integers, height: Heights, pair: Integers) -> Integers:
    """Choose the lowest pass between each two labels; of equal ones that of the lowest pair.

    Parameters
    ----------
    one : numpy.ndarray
        The lower label of each pass, shape (passes,).
    other : numpy.ndarray
        The higher one, shape (passes,).
    height : numpy.ndarray
        Height of each pass, shape (passes,) [m].
    pair : numpy.ndarray
        By what passes of one height are ranked, shape (passes,).

    Returns
    -------
    numpy.ndarray
        Places of the chosen passes, in order of the lower label, shape (chosen,).
    """
    labels = other.max() + 1
    first = np.zeros(labels + 1, dtype=np.int64)
    for label in one:
        first[label + 1] += 1
    first = np.cumsum(first)
    order, filled = np.empty(len(one), dtype=np.int64), first.copy()
    for place in range(len(one)):
        label = one[place]
        order[filled[label]] = place
        filled[label] += 1
    chosen = np.empty(len(one), dtype=np.int64)
    at = np.full(labels, -1, dtype=np.int64)
    count = 0
    for label in range(labels):
        begin = count
        for place in order[first[label] : first[label + 1]]:
            known = at[other[place]]
            # What is known of the other label counts where this one has met it.
            if known < begin:
                at[other[place]] = count
                chosen[count] = place
                count += 1
                continue
            best = chosen[known]
            if height[place] < height[best] or (
                height[place] == height[best] and pair[place] < pair[best]
            ):
                chosen[known] = place
    return chosen[:count].copy()
