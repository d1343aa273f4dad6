"""Gaps in a raster's heights, filled across as far as the plan allows, and marked.

A cell without a height is filled where its row or its column has heights on both sides within
the width: on the straight line between the two, so that a plane comes back as it was. Where both
do, the shorter line counts more. What is filled depends on nothing farther off than the width.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Heights = NDArray[np.float32]
    Floats = NDArray[np.float64]


def fill(values: Heights, across: int, down: int) -> tuple[Heights, NDArray[np.bool_]]:
    """Fill narrow gaps.

    Parameters
    ----------
    values : numpy.ndarray
        Heights, NaN where there is none, shape (rows, columns) [m].
    across : int
        Most cells of a gap along a row.
    down : int
        Most cells of a gap along a column.

    Returns
    -------
    filled : numpy.ndarray
        The heights, those of narrow gaps filled.
    marked : numpy.ndarray
        Which were.
    """
    along_row, near_row = _between(values, across)
    along_column, near_column = (part.T for part in _between(values.T, down))
    near = near_row + near_column
    marked = np.isnan(values) & (near > 0)
    filled = values.copy()
    total = along_row * near_row + along_column * near_column
    filled[marked] = (total[marked] / near[marked]).astype(np.float32)
    return filled, marked


def _between(values: Heights, most: int) -> tuple[Floats, Floats]:
    """Give heights on the lines along rows, and their weight: 0 where a gap is too wide."""
    known = ~np.isnan(values)
    columns = values.shape[1]
    at = np.arange(columns)
    before = np.maximum.accumulate(np.where(known, at, -1), axis=1)
    after = np.minimum.accumulate(np.where(known, at, columns)[:, ::-1], axis=1)[:, ::-1]
    width = after - before - 1
    narrow = ~known & (before >= 0) & (after < columns) & (width <= most)
    low = np.take_along_axis(values, np.maximum(before, 0), axis=1)
    high = np.take_along_axis(values, np.minimum(after, columns - 1), axis=1)
    share = (at - before) / np.maximum(width + 1, 1)
    line = np.where(narrow, low + share * (high - low), 0.0)
    return line, np.where(narrow, 1 / np.maximum(width, 1), 0.0)
