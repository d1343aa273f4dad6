"""Elevation from GeoTIFF (also cloud-optimised) and ASCII grids, one file or several tiles."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from districtplan import geodesy, voids
from districtplan.errors import Fault, InputError
from districtplan.files import ascii_grid, geotiff
from districtplan.files.local import locate, sha256, start_of
from districtplan.files.opened import SNIFFED_BYTES, Opened
from districtplan.files.tile import SIDE_MAX, Tile, check_cells
from districtplan.files.vertical_unit import in_metres
from districtplan.grid import Grid, Window
from districtplan.tables import BY_NAME

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from districtplan.files.plan_file import PlanFile

# Part of a cell by which tiles may miss each other's lines: rounding in files, no more.
ALIGNED_CELLS = 1e-3
# Tiles that differ by less agree: a centimetre is rounding, below the error of any survey.
AGREE_M = 0.01


class Raster(Opened):
    """Elevations of one or several aligned files, read by window.

    Where tiles overlap, the first listed that has a value wins; what differs is told in
    :attr:`warnings`. No data, infinite values and values that no place on Earth has (those outside
    the declared range of mean elevation) are NaN; the last kind is also told in :attr:`warnings`.
    Gaps as narrow as the plan says are filled in, and marked.

    Parameters
    ----------
    plan_file : PlanFile
        The plan, which names the files, and its folder.

    Raises
    ------
    InputError
        If a file can't be used, or the files don't fit together.
    """

    def __init__(self, plan_file: PlanFile) -> None:
        files = plan_file.plan.files
        super().__init__()
        self._doubtful: set[str] = set()
        self._differ_m: dict[str, float] = {}
        self.sha256: Mapping[str, str] = {}
        with self._opening():
            paths = _paths(files.elevation, plan_file.folder)
            unit = plan_file.plan.elevation.vertical_unit
            tiles = [
                in_metres(self._open(path, name, files.elevation_crs), unit)
                for name, path in paths.items()
            ]
            self.grid, self._tiles = _mosaic(tiles)
            self._gap = _gap_cells(self.grid, plan_file.plan.elevation.voids_filled_max_m)
            self.sha256 = {name: sha256(path, name) for name, path in paths.items()}

    @property
    def warnings(self) -> tuple[str, ...]:
        """Tell what was met while reading that the user should know.

        Returns
        -------
        tuple[str, ...]
            Sentences.
        """
        low, high = _believable()
        return (
            *(
                f"{name}: elevations outside {low:g} to {high:g} m were taken as no data"
                for name in sorted(self._doubtful)
            ),
            *(
                f"{name}: differs by up to {most:.2f} m from tiles named before it, where they "
                "overlap; those named first were taken"
                for name, most in sorted(self._differ_m.items())
            ),
        )

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

        Raises
        ------
        InputError
            If a file turns out to be damaged there.
        ValueError
            If the window leaves the grid: a fault of the caller.
        """
        if (
            min(window.row, window.column) < 0
            or window.row + window.rows > self.grid.rows
            or window.column + window.columns > self.grid.columns
        ):
            raise ValueError(
                f"{window} leaves the grid of {self.grid.rows} rows and {self.grid.columns} columns"
            )
        values = self._measured(window)
        if max(self._gap) == 0 or not np.isnan(values).any():
            return values
        return self._across_gaps(window)[0]

    def filled(self, window: Window) -> NDArray[np.bool_] | None:
        """Say which elevations of a window were filled in across a gap.

        Parameters
        ----------
        window : Window
            The cells wanted, inside the grid.

        Returns
        -------
        numpy.ndarray | None
            Whether each was, shape ``(window.rows, window.columns)``; None where none was.

        Raises
        ------
        InputError
            If a file turns out to be damaged there.
        """
        if max(self._gap) == 0:
            return None
        marked = self._across_gaps(window)[1]
        return marked if marked.any() else None

    def _measured(self, window: Window) -> NDArray[np.float32]:
        """Give what the files have."""
        values = np.full((window.rows, window.columns), np.nan, dtype=np.float32)
        for tile in self._tiles:
            self._put(values, window, tile)
        return values

    def _across_gaps(self, window: Window) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
        """Fill gaps as if the whole raster were at hand: no gap to fill reaches farther."""
        across, down = self._gap
        top, left = max(window.row - down, 0), max(window.column - across, 0)
        bottom = min(window.row + window.rows + down, self.grid.rows)
        right = min(window.column + window.columns + across, self.grid.columns)
        around = self._measured(Window(top, left, bottom - top, right - left))
        row, column = window.row - top, window.column - left
        inside = slice(row, row + window.rows), slice(column, column + window.columns)
        values, marked = voids.fill(around, across, down)
        return values[inside], marked[inside]

    def tiles(self, window: Window) -> NDArray[np.int16] | None:
        """Say which tile each elevation of a window is from.

        Parameters
        ----------
        window : Window
            The cells wanted, inside the grid.

        Returns
        -------
        numpy.ndarray | None
            Numbers of tiles, in the order of the plan, -1 where there is no elevation, shape
            ``(window.rows, window.columns)``; None where all are from one.

        Raises
        ------
        InputError
            If a file turns out to be damaged there.
        """
        met = [tile for tile in self._tiles if _overlap(window, tile) is not None]
        if len(met) < 2:  # noqa: PLR2004 - a seam lies between two
            return None
        values = np.full((window.rows, window.columns), np.nan, dtype=np.float32)
        numbers = np.full(values.shape, -1, dtype=np.int16)
        for number, tile in enumerate(met):
            self._put(values, window, tile)
            numbers[(numbers < 0) & ~np.isnan(values)] = number
        return numbers

    def _put(self, values: NDArray[np.float32], window: Window, tile: Tile) -> None:
        """Put a tile's values where there are none yet; note where it differs from the others."""
        overlap = _overlap(window, tile)
        if overlap is None:
            return
        top, left, bottom, right = overlap
        part = values[
            top - window.row : bottom - window.row, left - window.column : right - window.column
        ]
        shifted = Window(top - tile.row, left - tile.column, bottom - top, right - left)
        own = self._checked(tile.read(shifted), tile.name)
        holes = np.isnan(part)
        if holes.all():
            part[...] = own
            return
        apart = np.abs(part - own)[~(holes | np.isnan(own))]
        if apart.size and apart.max() > AGREE_M:
            most = max(float(apart.max()), self._differ_m.get(tile.name, 0.0))
            self._differ_m[tile.name] = most
        np.copyto(part, own, where=holes)

    def _checked(self, values: NDArray[np.floating[Any]], name: str) -> NDArray[np.float32]:
        """Make no data of what no place on Earth has."""
        low, high = _believable()
        if low <= values.min() and values.max() <= high:  # not so where a value is missing
            return values.astype(np.float32, copy=False)
        finite = np.isfinite(values)
        believed = finite & (values >= low) & (values <= high)
        if (finite & ~believed).any():
            self._doubtful.add(name)
        return np.where(believed, values, np.nan).astype(np.float32)

    def _open(self, path: Path, name: str, given: str | None) -> Tile:
        start = start_of(path, SNIFFED_BYTES, name)
        if start.startswith(geotiff.STARTS):
            return geotiff.open_tile(path, name, given, self._stack)
        text = start.removeprefix(b"\xef\xbb\xbf").lstrip().lower()
        if text.startswith(ascii_grid.STARTS):
            return ascii_grid.read_tile(path, name, given)
        raise InputError(
            Fault(
                name,
                "is neither GeoTIFF nor an ASCII grid",
                "Export the elevation raster as GeoTIFF",
            )
        )


def _paths(names: Sequence[str], folder: Path) -> dict[str, Path]:
    """Find the tiles; refuse one that is named twice, however it is written."""
    paths: dict[str, Path] = {}
    seen: dict[Path, str] = {}
    for name in names:
        path = locate(name, folder)
        first = seen.setdefault(path.resolve(), name)
        if name in paths or first != name:
            other = "" if first == name else f", also as {first}"
            raise InputError(
                Fault(name, f"is named twice in [files] elevation{other}", "Name each tile once")
            )
        paths[name] = path
    return paths


def _gap_cells(grid: Grid, width_m: float) -> tuple[int, int]:
    """Say how many cells of a row and of a column a gap that is filled has at most."""
    across, down = (float(size[grid.rows // 2]) for size in geodesy.cell_size_m(grid))
    return int(width_m / across), int(width_m / down)


def _overlap(window: Window, tile: Tile) -> tuple[int, int, int, int] | None:
    """Give the first row and column that a window and a tile share, and one past the last."""
    top, left = max(window.row, tile.row), max(window.column, tile.column)
    bottom = min(window.row + window.rows, tile.row + tile.grid.rows)
    right = min(window.column + window.columns, tile.column + tile.grid.columns)
    return (top, left, bottom, right) if top < bottom and left < right else None


def _believable() -> tuple[float, float]:
    column = BY_NAME["elevation_mean_m"]
    if column.low is None or column.high is None:
        raise ValueError("elevation_mean_m has no believable limits")
    return column.low, column.high


def _mosaic(tiles: Sequence[Tile]) -> tuple[Grid, list[Tile]]:
    """Lay tiles on one grid, that of the first."""
    first = tiles[0].grid
    faults = [fault for tile in tiles[1:] for fault in _misfits(tiles[0], tile)]
    if faults:
        raise InputError(*faults)
    places = [
        (
            round((first.north - tile.grid.north) / first.cell_y),
            round((tile.grid.west - first.west) / first.cell_x),
        )
        for tile in tiles
    ]
    top = min(row for row, _ in places)
    left = min(column for _, column in places)
    rows = max(row + tile.grid.rows for (row, _), tile in zip(places, tiles, strict=True)) - top
    columns = (
        max(column + tile.grid.columns for (_, column), tile in zip(places, tiles, strict=True))
        - left
    )
    if max(rows, columns) > SIDE_MAX:
        raise InputError(
            Fault(
                tiles[0].name,
                f"and the other tiles lie too far apart: {rows:,} rows and {columns:,} columns",
                f"Name only the district's tiles; at most {SIDE_MAX:,} rows or columns",
            )
        )
    grid = Grid(
        west=first.west + left * first.cell_x,
        north=first.north - top * first.cell_y,
        cell_x=first.cell_x,
        cell_y=first.cell_y,
        rows=rows,
        columns=columns,
        crs=first.crs,
    )
    if len(tiles) > 1:
        check_cells(grid, f"{tiles[0].name} and the other tiles")
    return grid, [
        replace(tile, row=row - top, column=column - left)
        for (row, column), tile in zip(places, tiles, strict=True)
    ]


def _misfits(one: Tile, other: Tile) -> list[Fault]:
    """Tell how a tile doesn't fit the first."""
    remedy = "Warp the tiles to one grid in a GIS, or merge them to one file"
    a, b = one.grid, other.grid
    if not a.crs.equals(b.crs, ignore_axis_order=True):
        return [Fault(other.name, f"has another CRS than {one.name}", remedy)]
    stretch = max(
        abs(a.cell_x - b.cell_x) / a.cell_x * b.columns,
        abs(a.cell_y - b.cell_y) / a.cell_y * b.rows,
    )
    if stretch > ALIGNED_CELLS:
        return [Fault(other.name, f"has another cell size than {one.name}", remedy)]
    rows, columns = (a.north - b.north) / a.cell_y, (b.west - a.west) / a.cell_x
    if max(abs(rows - round(rows)), abs(columns - round(columns))) > ALIGNED_CELLS:
        return [Fault(other.name, f"isn't aligned with the cells of {one.name}", remedy)]
    return []
