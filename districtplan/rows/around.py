"""The smoothed surface around a plot, in local metres."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

from districtplan import geodesy
from districtplan.grid import Window
from districtplan.rows import surface
from districtplan.rows.kept import SQUARE_CELLS
from districtplan.rows.surface import Error, Heights

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.grid import Elevation, Grid
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.rows.lines import Outline
    from districtplan.rows.surface import Surface

    Floats = NDArray[np.float64]

TABLE = "guide_line_limits"
BAND_ROWS = 256
"""Rows of a raster in degrees that share one cell size here."""
SIDE_MAX = 160
"""Most heights along a side of a window: of more, blocks are averaged."""
LEAST_SIDE = 3
"""Heights along a side from which a gradient can be told anywhere."""
READ_MAX = 1 << 26
"""Most cells of the raster read for one plot; the surface of a larger one isn't known."""


class Frame(NamedTuple):
    """Local metres around a plot: from the raster's cells and back.

    Attributes
    ----------
    grid : Grid
        The raster's grid.
    row : int
        Row of the cell whose north-west corner is the origin.
    column : int
        Column of that cell.
    width : float
        Width of a cell [m].
    height : float
        Height of a cell [m].
    """

    grid: Grid
    row: int
    column: int
    width: float
    height: float

    def local(self, outline: Outline) -> Outline:
        """Bring an outline to local metres.

        Parameters
        ----------
        outline : shapely.Polygon | shapely.MultiPolygon
            In the CRS of the raster.

        Returns
        -------
        shapely.Polygon | shapely.MultiPolygon
            In local metres, north up.
        """
        moved: Outline = shapely.transform(outline, self.to)
        return moved

    def to(self, at: Floats) -> Floats:
        """Bring points to local metres.

        Parameters
        ----------
        at : numpy.ndarray
            In the CRS of the raster, shape (points, 2).

        Returns
        -------
        numpy.ndarray
            Shape (points, 2) [m].
        """
        u = (at[:, 0] - self.grid.west) / self.grid.cell_x - self.column
        v = (self.grid.north - at[:, 1]) / self.grid.cell_y - self.row
        return np.column_stack([u * self.width, -v * self.height])

    def back(self, xy: Floats) -> Floats:
        """Undo :meth:`to`.

        Parameters
        ----------
        xy : numpy.ndarray
            Shape (points, 2) [m].

        Returns
        -------
        numpy.ndarray
            In the CRS of the raster, shape (points, 2).
        """
        column = self.column + xy[:, 0] / self.width
        row = self.row - xy[:, 1] / self.height
        return np.column_stack(
            [self.grid.west + column * self.grid.cell_x, self.grid.north - row * self.grid.cell_y]
        )


class Around:
    """Reads and smooths the heights around plots.

    Parameters
    ----------
    elevation : Elevation
        The raster.
    plan : Plan
        The raster's error.
    handbook : Handbook
        How far around a plot is looked (table ``guide_line_limits``).
    """

    def __init__(self, elevation: Elevation, plan: Plan, handbook: Handbook) -> None:
        self._of = handbook.numbers(TABLE)
        self._elevation = elevation
        self._cell_m = geodesy.cell_size_m(elevation.grid)
        self._in_bands = any(np.ptp(size) > 0 for size in self._cell_m)
        self._error = Error(plan.elevation.vertical_error_m, plan.elevation.error_correlation_m)

    def order(self, outlines: NDArray[np.object_]) -> NDArray[np.int64]:
        """Order plots so that those whose heights lie together come together.

        Parameters
        ----------
        outlines : numpy.ndarray
            In the CRS of the raster, shape (plots,).

        Returns
        -------
        numpy.ndarray
            Their numbers, shape (plots,).
        """
        grid = self._elevation.grid
        west, _, _, north = shapely.bounds(outlines).reshape(-1, 4).T
        down = (grid.north - north) / grid.cell_y // SQUARE_CELLS
        return np.asarray(np.lexsort(((west - grid.west) / grid.cell_x // SQUARE_CELLS, down)))

    def surface(self, outline: Outline) -> tuple[Frame, Surface | None]:
        """Smooth the heights around a plot.

        Parameters
        ----------
        outline : shapely.Polygon | shapely.MultiPolygon
            In the CRS of the raster.

        Returns
        -------
        frame : Frame
            Its local metres.
        surface : Surface | None
            The surface in them; None where too little is known of it.
        """
        frame, window = self._window(outline)
        heights = self._heights(frame, window)
        return frame, None if heights is None else surface.fit(*heights)

    def _window(self, outline: Outline) -> tuple[Frame, Window]:
        grid = self._elevation.grid
        west, south, east, north = outline.bounds
        at = np.array([(west - grid.west), (east - grid.west)]) / grid.cell_x
        down = np.array([(grid.north - north), (grid.north - south)]) / grid.cell_y
        row = int(np.clip(down.mean(), 0, grid.rows - 1))
        if self._in_bands:
            row = min(row // BAND_ROWS * BAND_ROWS + BAND_ROWS // 2, grid.rows - 1)
        width, height = (float(side[row]) for side in self._cell_m)
        across, along = (
            max(self._of["window_margin_m"] / size, self._of["window_margin_cells"])
            for size in (width, height)
        )
        left, right = _clip(at, across, grid.columns)
        top, bottom = _clip(down, along, grid.rows)
        window = Window(top, left, bottom - top, right - left)
        return Frame(grid, top, left, width, height), window

    def _heights(self, frame: Frame, window: Window) -> tuple[Heights, Error] | None:
        if not 0 < window.rows * window.columns <= READ_MAX:
            return None
        z = self._elevation.read(window).astype(np.float64)
        if min(z.shape) < LEAST_SIDE or np.mean(~np.isnan(z)) < self._of["known_share_min"]:
            return None
        step = -(-max(z.shape) // SIDE_MAX)
        rows, columns = (side // step for side in z.shape)
        z = z[: rows * step, : columns * step].reshape(rows, step, columns, step)
        # A block with an unknown height is unknown: its mean would be of another place.
        z = z.mean(axis=(1, 3))
        width, height = frame.width * step, frame.height * step
        heights = Heights(z[::-1], width / 2, -(rows - 0.5) * height, width, height)
        return heights, _averaged(self._error, step, frame)


def _clip(span: Floats, margin: float, count: int) -> tuple[int, int]:
    reach = np.array([np.floor(span[0] - margin), np.ceil(span[1] + margin)])
    low, high = np.clip(reach, 0, count).astype(np.int64).tolist()
    return low, high


def _averaged(error: Error, step: int, frame: Frame) -> Error:
    """Give the error of means over square blocks."""
    if step == 1 or error.length_m == 0:
        return Error(error.sigma_m / step, error.length_m)
    apart = np.subtract.outer(np.arange(step), np.arange(step))
    shares = [
        float(np.mean(np.exp(-((apart * side) ** 2) / (2 * error.length_m**2))))
        for side in (frame.width, frame.height)
    ]
    return Error(error.sigma_m * float(np.sqrt(shares[0] * shares[1])), error.length_m)
