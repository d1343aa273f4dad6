"""The cells of plots: how the ground lies at each, and what drains into it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan.water.directions import CODES, STEPS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.water.blocks import Block

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]


class PlotCells(NamedTuple):
    """Cells of plots that have a height, and what drains into each, shape (cells,) each."""

    plot: Integers
    """Place of the plot that each is of."""
    entering_m2: Floats
    """Area that drains into the cell, the cell itself not counted [m²]."""
    side_m: Floats
    """Side of a square of the cell's area [m]."""
    across: Floats
    """Sine plus cosine of the direction of fall, both without sign; 1 where there is none."""


class Fall(NamedTuple):
    """How the ground lies at cells, shape (cells,) each."""

    up: NDArray[np.uint8]
    """Code of the step that is steepest up, 0 where none leads up."""
    across: Floats
    """Sine plus cosine of the direction of fall, both without sign; 1 where there is none."""


def fall_at(block: Block, at: tuple[Integers, Integers], cell_m: tuple[Floats, Floats]) -> Fall:
    """Find how the ground lies at cells of a block.

    The direction of fall is that of the mean differences across the cell. Features don't change
    it.

    Parameters
    ----------
    block : Block
        The block.
    at : tuple[numpy.ndarray, numpy.ndarray]
        Rows and columns of the cells within it, shape (cells,) each.
    cell_m : tuple[numpy.ndarray, numpy.ndarray]
        Width and height of the cells of each row of the region, shape (rows,) each [m].

    Returns
    -------
    Fall
        One value a cell.
    """
    row, column = at
    width, height = (size[row + block.window.row] for size in cell_m)
    own = block.ground[row + 1, column + 1]
    up = np.zeros(len(row), dtype=np.uint8)
    steepest = np.zeros(len(row), dtype=np.float32)
    beside = {}
    for (down, right), code in zip(STEPS, CODES, strict=True):
        rise = block.ground[row + 1 + down, column + 1 + right] - own
        beside[down, right] = rise.astype(np.float64)
        steep = rise / np.hypot(down * height, right * width).astype(np.float32)
        steeper = steep > steepest
        up[steeper], steepest[steeper] = code, steep[steeper]
    across = (beside[0, 1] - beside[0, -1]) / width
    along = (beside[1, 0] - beside[-1, 0]) / height
    with np.errstate(invalid="ignore", divide="ignore"):
        found = (np.abs(across) + np.abs(along)) / np.hypot(across, along)
    return Fall(up, np.where(np.isfinite(found), found, 1.0))
