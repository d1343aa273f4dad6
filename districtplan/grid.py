"""The raster's geometry and values, without any file access."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from pyproj import CRS


@dataclass(frozen=True)
class Grid:
    """Where the cells of a north-up raster lie.

    Attributes
    ----------
    west : float
        Outer edge of the first column [units of the CRS].
    north : float
        Outer edge of the first row [units of the CRS].
    cell_x : float
        Width of a cell, positive [units of the CRS].
    cell_y : float
        Height of a cell, positive [units of the CRS].
    rows : int
        Number of rows, counted from the north.
    columns : int
        Number of columns, counted from the west.
    crs : pyproj.CRS
        Coordinate reference system, geographic or projected.
    """

    west: float
    north: float
    cell_x: float
    cell_y: float
    rows: int
    columns: int
    crs: CRS


@dataclass(frozen=True)
class Window:
    """A block of cells: rows ``row`` to ``row + rows - 1``, columns alike.

    Attributes
    ----------
    row : int
        First row in the grid.
    column : int
        First column in the grid.
    rows : int
        Number of rows.
    columns : int
        Number of columns.
    """

    row: int
    column: int
    rows: int
    columns: int


class Elevation(Protocol):
    """What a stage needs of an elevation raster: its grid, and values by window."""

    @property
    def grid(self) -> Grid:
        """Where the cells lie."""

    def read(self, window: Window) -> NDArray[np.float32]:
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

    def tiles(self, window: Window) -> NDArray[np.int16] | None:
        """Say which tile of a mosaic each elevation of a window is from.

        Parameters
        ----------
        window : Window
            The cells wanted.

        Returns
        -------
        numpy.ndarray | None
            Numbers of tiles, -1 where there is no elevation, shape
            ``(window.rows, window.columns)``; None where all are from one.
        """

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
