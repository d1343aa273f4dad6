"""What was drawn on the land and turns water: it overrides what heights alone would say.

Water steps from cell to cell, from centre to centre. A feature that leads water away is a wall: no
step crosses it, and water gathers above it until it finds the lowest way round; only where there is
none at all does it go over. At a culvert, and where two cells of one channel lie on both sides, the
wall is open. A feature that carries water is a channel: its cells are sunk so deep that land beside
them drains into it, and water stays in it to its low end. Where sheet flow is slowed or caught, the
slope length ends.

All of it is found once, over the whole raster, by numbers of its cells: no block is asked.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from districtplan.coverage import batches, coverage, outlines_on_grid
from districtplan.water.directions import CODES, FORWARD, FORWARD_CODES, STEPS

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from districtplan.grid import Grid, Window
    from districtplan.handbook import Handbook

    Codes = NDArray[np.uint8]
    Floats = NDArray[np.float64]
    Heights = NDArray[np.float32]
    Bools = NDArray[np.bool_]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]

TABLE = "feature_effects"
"""What each kind of feature does to water."""
LEADS_AWAY, CARRIES, OPENS = "leads away", "carries", "lets through"
ENDS_LENGTH = "ends"

SUNK_M = 1_000
"""How deep channels are sunk: no cell falls as much to the next."""

PIECE_CELLS = 1 / 4
"""Lines are cut into pieces this long to find the cells that they touch."""

PIECES_AT_ONCE = 200_000

POLYGON, MULTIPOLYGON = shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON

OPPOSITE = {
    code: CODES[STEPS.index((-down, -right))]
    for (down, right), code in zip(STEPS, CODES, strict=True)
}


@dataclass(frozen=True)
class Shaped:
    """What features do to the cells of a raster; numbers ascend.

    A step is told by the number of its first cell, times the number of ``FORWARD``, plus its place
    there.

    Attributes
    ----------
    columns : int
        Columns of the raster.
    walls : numpy.ndarray
        Steps that water doesn't take, shape (walls,).
    ends : numpy.ndarray
        Steps at which a slope length ends, shape (ends,).
    channels : numpy.ndarray
        Numbers of cells that carry water, shape (cells,).
    """

    columns: int
    walls: Integers
    ends: Integers
    channels: Integers

    @classmethod
    def nothing(cls, grid: Grid) -> Shaped:
        """Tell of land on which nothing was drawn.

        Parameters
        ----------
        grid : Grid
            The raster's grid.

        Returns
        -------
        Shaped
            No walls, no ends, no channels.
        """
        none = np.zeros(0, dtype=np.int64)
        return cls(grid.columns, none, none, none)

    def walls_in(self, window: Window) -> Codes:
        """Mark the steps of a window that water doesn't take.

        Parameters
        ----------
        window : Window
            Cells within the raster.

        Returns
        -------
        numpy.ndarray
            The codes of these steps of each cell, added up, shape (rows, columns).
        """
        return self._marked(self.walls, window)

    def ends_in(self, window: Window) -> Codes:
        """Mark the steps of a window at which a slope length ends.

        Parameters
        ----------
        window : Window
            Cells within the raster.

        Returns
        -------
        numpy.ndarray
            The codes of these steps of each cell, added up, shape (rows, columns).
        """
        return self._marked(self.ends, window)

    def _marked(self, steps: Integers, window: Window) -> Codes:
        marks = np.zeros((window.rows, window.columns), dtype=np.uint8)
        row_steps = self.columns * len(FORWARD)
        low, high = np.searchsorted(
            steps, [(window.row - 1) * row_steps, (window.row + window.rows) * row_steps]
        )
        cell, place = np.divmod(steps[low:high], len(FORWARD))
        for which, ((down, right), code) in enumerate(zip(FORWARD, FORWARD_CODES, strict=True)):
            start = cell[place == which]
            stop = start + down * self.columns + right
            for cells, mark in ((start, code), (stop, OPPOSITE[code])):
                row, column, inside = self._placed(cells, window)
                # No step stands twice, so that codes add up.
                marks[row[inside], column[inside]] |= mark
        return marks

    def channels_in(self, window: Window) -> Bools:
        """Mark the cells of a window that carry water.

        Parameters
        ----------
        window : Window
            Cells within the raster.

        Returns
        -------
        numpy.ndarray
            Whether each does, shape (rows, columns).
        """
        marks = np.zeros((window.rows, window.columns), dtype=np.bool_)
        low, high = np.searchsorted(
            self.channels,
            [window.row * self.columns, (window.row + window.rows) * self.columns],
        )
        row, column, inside = self._placed(self.channels[low:high], window)
        marks[row[inside], column[inside]] = True
        return marks

    def _placed(self, cells: Integers, window: Window) -> tuple[Integers, Integers, Bools]:
        row, column = cells // self.columns - window.row, cells % self.columns - window.column
        inside = (row >= 0) & (row < window.rows) & (column >= 0) & (column < window.columns)
        return row, column, inside

    def sunk(self, heights: Heights, window: Window) -> Heights:
        """Sink the channels of a window.

        Parameters
        ----------
        heights : numpy.ndarray
            Elevations of the window, shape (rows, columns) [m].
        window : Window
            Its cells within the raster.

        Returns
        -------
        numpy.ndarray
            The same, cells that carry water lower by ``SUNK_M`` [m].
        """
        channels = self.channels_in(window)
        if not channels.any():
            return heights
        return np.where(channels, heights - np.float32(SUNK_M), heights)


def shape(features: pd.DataFrame, grid: Grid, handbook: Handbook) -> Shaped:
    """Find what features do to the cells of a raster.

    Parameters
    ----------
    features : pandas.DataFrame
        ``kind`` and ``geometry`` (lines and polygons) in the CRS of the raster.
    grid : Grid
        The raster's grid.
    handbook : Handbook
        What each kind does (table ``feature_effects``).

    Returns
    -------
    Shaped
        Walls, ends of slope lengths and channels.
    """
    told = handbook.rows(TABLE).set_index("name")
    shapes = features["geometry"].to_numpy(dtype=object)
    does = told.reindex(features["kind"])
    water = does["run_on"].to_numpy(dtype=object)
    ends = _crossed(_lines(shapes[(does["slope_length"] == ENDS_LENGTH).to_numpy()], grid), grid)
    walls = _crossed(_lines(shapes[water == LEADS_AWAY], grid), grid)
    open_at, channels = (_touched(shapes[water == what], grid) for what in (OPENS, CARRIES))
    cell, place = np.divmod(walls, len(FORWARD))
    steps = np.array([down * grid.columns + right for down, right in FORWARD], dtype=np.int64)
    other = cell + steps[place]
    is_open = np.isin(cell, open_at) | np.isin(other, open_at)
    is_open |= np.isin(cell, channels) & np.isin(other, channels)
    return Shaped(grid.columns, walls[~is_open], ends, channels)


def _lines(shapes: Objects, grid: Grid) -> Objects:
    """Give lines, and the outlines of polygons, in cells: to the east and to the south."""
    area = np.isin(shapely.get_type_id(shapes), (POLYGON, MULTIPOLYGON))
    shapes = np.where(area, shapely.boundary(shapes), shapes)
    parts = shapely.get_parts(shapes)
    return np.asarray(
        shapely.transform(
            shapely.force_2d(parts),
            lambda xy: np.column_stack(
                [(xy[:, 0] - grid.west) / grid.cell_x, (grid.north - xy[:, 1]) / grid.cell_y]
            ),
        ),
        dtype=object,
    )


def _segments(lines: Objects) -> tuple[Floats, Floats]:
    """Give both ends of each straight part of lines."""
    xy, owner = shapely.get_coordinates(lines, return_index=True)
    goes_on = owner[1:] == owner[:-1]
    return xy[:-1][goes_on], xy[1:][goes_on]


def _pieces(start: Floats, stop: Floats) -> tuple[Integers, Floats]:
    """Give points on segments, so close together that no cell is skipped, and their segments."""
    count = np.ceil(np.abs(stop - start).max(axis=1, initial=0) / PIECE_CELLS).astype(np.int64) + 1
    owner = np.repeat(np.arange(len(count)), count)
    step = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
    share = step / np.maximum(count[owner] - 1, 1)
    return owner, start[owner] + share[:, None] * (stop - start)[owner]


def _crossed(lines: Objects, grid: Grid) -> Integers:
    """Find the steps between cells that lines cross."""
    start, stop = _segments(lines)
    # What lies off the raster crosses none of its steps, and may be of any length.
    low, high = np.minimum(start, stop), np.maximum(start, stop)
    near = ((high > 0) & (low < [grid.columns, grid.rows])).all(axis=1)
    start, stop = start[near], stop[near]
    found = [np.zeros(0, dtype=np.int64)]
    for begin in range(0, len(start), PIECES_AT_ONCE):
        batch = slice(begin, begin + PIECES_AT_ONCE)
        found.append(_crossed_by(start[batch], stop[batch], grid))
    return np.unique(np.concatenate(found))


def _crossed_by(start: Floats, stop: Floats, grid: Grid) -> Integers:
    owner, points = _pieces(start, stop)
    # A step that is crossed at a point starts within a cell of the point's own.
    place = np.floor(points).astype(np.int64)
    around = np.arange(-1, 2)
    wanted = np.unique(
        np.column_stack(
            [
                np.repeat(owner, len(around) ** 2),
                (place[:, 0][:, None, None] + around[:, None] + 0 * around).ravel(),
                (place[:, 1][:, None, None] + 0 * around[:, None] + around).ravel(),
            ]
        ),
        axis=0,
    )
    found = []
    for which, (down, right) in enumerate(FORWARD):
        line, column, row = wanted.T
        inside = (row >= 0) & (row + down < grid.rows)
        inside &= (column >= 0) & (column + right >= 0)
        inside &= np.maximum(column, column + right) < grid.columns
        line, column, row = line[inside], column[inside], row[inside]
        a, b = start[line], stop[line]
        centre = np.column_stack([column, row]) + 1 / 2
        step = np.array([right, down], dtype=np.float64)
        # On either side of the line lies one centre, on either side of the step one end: what lies
        # on it counts to one side, so that a line drawn through centres is crossed once.
        near, far = (_side(a, b - a, point) for point in (centre, centre + step))
        one, other = (_side(centre, step, end) for end in (a, b))
        crossed = (near != far) & (one != other)
        found.append((row * grid.columns + column)[crossed] * len(FORWARD) + which)
    return np.concatenate(found)


def _side(origin: Floats, along: Floats, point: Floats) -> Bools:
    """Tell which side of a straight line a point lies on."""
    away = point - origin
    along = np.broadcast_to(along, away.shape)
    return np.asarray(along[:, 0] * away[:, 1] - along[:, 1] * away[:, 0] > 0, dtype=np.bool_)


def _touched(shapes: Objects, grid: Grid) -> Integers:
    """Find the cells that lines run through and polygons lie on."""
    area = np.isin(shapely.get_type_id(shapes), (POLYGON, MULTIPOLYGON))
    start, stop = _segments(_lines(shapes[~area], grid))
    low, high = np.minimum(start, stop), np.maximum(start, stop)
    near = ((high > 0) & (low < [grid.columns, grid.rows])).all(axis=1)
    _, points = _pieces(start[near], stop[near])
    column, row = (np.floor(part).astype(np.int64) for part in points.T)
    parts = [(row, column)]
    if area.any():
        outlines = outlines_on_grid(shapes[area], grid)
        for batch in batches(outlines):
            cells = coverage(outlines.take(batch))
            parts.append((cells.row, cells.column))
    row, column = (np.concatenate(part) for part in zip(*parts, strict=True))
    inside = (row >= 0) & (row < grid.rows) & (column >= 0) & (column < grid.columns)
    return np.unique((row * grid.columns + column)[inside])
