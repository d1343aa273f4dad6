"""Heights read in large squares and kept for the next plot."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

from districtplan.grid import Window

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from districtplan.grid import Elevation, Grid

    Heights = NDArray[np.float32]
    Integers = NDArray[np.int64]

SQUARE_CELLS = 512
"""Side of the squares that are read."""
SQUARES_KEPT = 16


class Kept:
    """An elevation raster that remembers what was read around a place.

    Parameters
    ----------
    elevation : Elevation
        The raster.

    Attributes
    ----------
    grid : Grid
        Its grid.
    """

    def __init__(self, elevation: Elevation) -> None:
        self.grid: Grid = elevation.grid
        self._elevation = elevation
        self._read = functools.lru_cache(maxsize=SQUARES_KEPT)(elevation.read)

    def read(self, window: Window) -> Heights:
        """Give elevations of a window inside the grid [m]; NaN where there is none.

        Parameters
        ----------
        window : Window
            The cells wanted.

        Returns
        -------
        numpy.ndarray
            Elevations, shape ``(window.rows, window.columns)`` [m].
        """
        if max(window.rows, window.columns) > SQUARE_CELLS:
            return self._elevation.read(window)
        top, rows = _squares(window.row, window.rows, self.grid.rows)
        left, columns = _squares(window.column, window.columns, self.grid.columns)
        around = self._read(Window(top, left, rows, columns))
        row, column = window.row - top, window.column - left
        return around[row : row + window.rows, column : column + window.columns]

    def tiles(self, window: Window) -> NDArray[np.int16] | None:
        """Say which tile of a mosaic each elevation of a window is from.

        Parameters
        ----------
        window : Window
            The cells wanted.

        Returns
        -------
        numpy.ndarray | None
            Numbers of tiles, shape ``(window.rows, window.columns)``; None where all are from one.
        """
        return self._elevation.tiles(window)

    def filled(self, window: Window) -> NDArray[np.bool_] | None:
        """Say which elevations of a window were filled in across a gap.

        Parameters
        ----------
        window : Window
            The cells wanted.

        Returns
        -------
        numpy.ndarray | None
            Whether each was, shape ``(window.rows, window.columns)``; None where none was.
        """
        return self._elevation.filled(window)


def _squares(start: int, count: int, total: int) -> tuple[int, int]:
    """Widen a side of a window to whole squares: where it starts, and how long it is."""
    first = start // SQUARE_CELLS * SQUARE_CELLS
    stop = min(-(-(start + count) // SQUARE_CELLS) * SQUARE_CELLS, total)
    return first, stop - first
