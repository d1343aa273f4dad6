"""Elevation from GeoTIFF (also cloud-optimised) and ASCII grids, one file or several tiles."""

from __future__ import annotations

import contextlib
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Self

import numpy as np
import pyproj
import rasterio
from pyproj.exceptions import CRSError
from rasterio.errors import NotGeoreferencedWarning, RasterioError

from districtplan.errors import Fault, InputError
from districtplan.files.local import (
    crs_from,
    locate,
    settle_crs,
    sha256,
    start_of,
    text_of,
    unreadable,
)
from districtplan.grid import Grid, Window
from districtplan.tables import BY_NAME

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path
    from types import TracebackType

    from numpy.typing import NDArray
    from rasterio.io import DatasetReader

    from districtplan.files.plan_file import PlanFile

SNIFFED_BYTES = 512
FLOAT32_BYTES = 4
BLOCK_BYTES_MAX = 256 << 20
SIDE_MAX = 1 << 31
PRJ_BYTES_MAX = 20_000
CACHE_BYTES = 64 << 20

# Part of a cell by which tiles may miss each other's lines: rounding in files, no more.
ALIGNED_CELLS = 1e-3

TIFF_STARTS = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
ASCII_STARTS = (b"ncols", b"nrows", b"xll", b"yll", b"cellsize")
NUMBERS = (
    *("int8", "int16", "int32", "int64", "uint8", "uint16", "uint32", "uint64"),
    *("float16", "float32", "float64"),
)
METRES = {"", "m", "metre", "metres", "meter", "meters"}

# Files beside a raster are not looked for: overviews and metadata could lead anywhere.
ENVIRONMENT = {
    "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR",
    "GDAL_CACHEMAX": CACHE_BYTES,
    "GDAL_PAM_ENABLED": "NO",
    "CPL_LOG_ERRORS": "OFF",
}


@dataclass(frozen=True)
class _Tile:
    """One file and where it lies in the mosaic."""

    name: str
    source: DatasetReader
    grid: Grid
    flipped: bool
    row: int = 0
    column: int = 0


class Raster:
    """Elevations of one or several aligned files, read by window.

    Where tiles overlap, the first listed that has a value wins. No data, infinite values and
    values that no place on Earth has (those outside the declared range of mean elevation) are
    NaN; the last kind is also told in :attr:`warnings`.

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
        self._stack = contextlib.ExitStack()
        self._doubtful: set[str] = set()
        self.sha256: Mapping[str, str] = {}
        try:
            self._stack.enter_context(rasterio.Env(**ENVIRONMENT))
            paths = {name: locate(name, plan_file.folder) for name in files.elevation}
            tiles = [self._open(path, name, files.elevation_crs) for name, path in paths.items()]
            self.grid, self._tiles = _mosaic(tiles)
            self.sha256 = {name: sha256(path, name) for name, path in paths.items()}
        except BaseException:
            self._stack.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the files."""
        self._stack.close()

    @property
    def warnings(self) -> tuple[str, ...]:
        """Tell what was met while reading that the user should know.

        Returns
        -------
        tuple[str, ...]
            Sentences.
        """
        low, high = _believable()
        return tuple(
            f"{name}: elevations outside {low:g} to {high:g} m were taken as no data"
            for name in sorted(self._doubtful)
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
        values = np.full((window.rows, window.columns), np.nan, dtype=np.float32)
        for tile in self._tiles:
            self._fill(values, window, tile)
        return values

    def _fill(self, values: NDArray[np.float32], window: Window, tile: _Tile) -> None:
        """Put a tile's values where there are none yet."""
        top, left = max(window.row, tile.row), max(window.column, tile.column)
        bottom = min(window.row + window.rows, tile.row + tile.grid.rows)
        right = min(window.column + window.columns, tile.column + tile.grid.columns)
        if top >= bottom or left >= right:
            return
        part = values[
            top - window.row : bottom - window.row, left - window.column : right - window.column
        ]
        holes = np.isnan(part)
        if holes.any():
            shifted = Window(top - tile.row, left - tile.column, bottom - top, right - left)
            np.copyto(part, self._read_tile(tile, shifted), where=holes)

    def _read_tile(self, tile: _Tile, window: Window) -> NDArray[np.float32]:
        row = window.row
        if tile.flipped:
            row = tile.grid.rows - window.row - window.rows
        place = rasterio.windows.Window(window.column, row, window.columns, window.rows)
        try:
            read = tile.source.read(1, window=place, masked=True)
        except (RasterioError, MemoryError, ValueError) as error:
            raise unreadable(tile.name, error) from error
        scale, offset = tile.source.scales[0], tile.source.offsets[0]
        values = read.data.astype(
            np.float32 if read.dtype.itemsize <= FLOAT32_BYTES else np.float64
        )
        if (scale, offset) != (1, 0):
            values = values * scale + offset
        mask = np.ma.getmaskarray(read) | ~np.isfinite(values)
        low, high = _believable()
        beyond = ((values < low) | (values > high)) & ~mask
        if beyond.any():
            self._doubtful.add(tile.name)
        values = np.where(mask | beyond, np.nan, values).astype(np.float32)
        return values[::-1] if tile.flipped else values

    def _open(self, path: Path, name: str, given: str | None) -> _Tile:
        driver = _driver(path, name)
        try:
            threads = {"NUM_THREADS": "2"} if driver == "GTiff" else {}
            with warnings.catch_warnings():
                # A file without a position is refused below, in words.
                warnings.simplefilter("ignore", NotGeoreferencedWarning)
                source = self._stack.enter_context(rasterio.open(path, driver=driver, **threads))
        except (RasterioError, MemoryError, ValueError) as error:
            raise unreadable(name, error) from error
        _check(source, name)
        crs = settle_crs(_stated_crs(source, path, name), given, name, "elevation_crs")
        _check_units(source, name)
        shape = source.transform
        flipped = shape.e > 0
        grid = Grid(
            west=shape.c,
            north=shape.f + (source.height * shape.e if flipped else 0.0),
            cell_x=shape.a,
            cell_y=abs(shape.e),
            rows=source.height,
            columns=source.width,
            crs=crs,
        )
        return _Tile(name, source, grid, flipped)


def _believable() -> tuple[float, float]:
    column = BY_NAME["elevation_mean_m"]
    if column.low is None or column.high is None:
        raise ValueError("elevation_mean_m has no believable limits")
    return column.low, column.high


def _driver(path: Path, name: str) -> str:
    start = start_of(path, SNIFFED_BYTES, name)
    if start.startswith(TIFF_STARTS):
        return "GTiff"
    if start.lstrip().lower().startswith(ASCII_STARTS):
        return "AAIGrid"
    raise InputError(
        Fault(
            name,
            "is neither GeoTIFF nor an ASCII grid",
            "Export the elevation raster as GeoTIFF",
        )
    )


def _check(source: DatasetReader, name: str) -> None:
    """Refuse what can't be read rightly, or declares more than it could hold."""
    shape = source.transform
    faults = []
    if source.count != 1:
        faults.append(
            Fault(name, f"has {source.count} bands, not one", "Export the elevation band alone")
        )
    if shape.is_identity or shape.a == 0 or shape.e == 0:
        faults.append(
            Fault(name, "doesn't say where it lies", "Export it again as GeoTIFF with its position")
        )
    elif shape.b != 0 or shape.d != 0 or shape.a < 0:
        faults.append(
            Fault(name, "is rotated or mirrored", "Warp it to a north-up grid in a GIS first")
        )
    if not all(np.isfinite(number) for number in shape[:6]):
        faults.append(Fault(name, "has a position that isn't finite", "Export it again"))
    kind = np.dtype(source.dtypes[0]) if source.dtypes[0] in NUMBERS else None
    if kind is None:
        faults.append(
            Fault(name, f"holds {source.dtypes[0]} values", "Export it as 32-bit floating point")
        )
    else:
        faults += _check_size(source, name, kind.itemsize)
    if faults:
        raise InputError(*faults)


def _check_size(source: DatasetReader, name: str, cell_bytes: int) -> list[Fault]:
    if max(source.width, source.height) >= SIDE_MAX:
        return [Fault(name, "declares more cells than any raster has", "Cut it to the district")]
    rows, columns = source.block_shapes[0]
    if rows * columns * cell_bytes > BLOCK_BYTES_MAX:
        return [
            Fault(
                name,
                f"is stored in blocks of {rows:,} by {columns:,} cells, too large to read",
                "Export it as GeoTIFF in tiles of 512 by 512",
            )
        ]
    return []


def _stated_crs(source: DatasetReader, path: Path, name: str) -> pyproj.CRS | None:
    if source.crs:
        try:
            return pyproj.CRS.from_wkt(source.crs.to_wkt())
        except (CRSError, RasterioError) as error:
            raise InputError(
                Fault(name, "states a CRS that isn't understood", "Assign one in a GIS first")
            ) from error
    for suffix in (".prj", ".PRJ"):
        beside = path.with_suffix(suffix)
        if source.driver == "AAIGrid" and beside.is_file():
            return crs_from(text_of(beside, PRJ_BYTES_MAX, beside.name).strip(), beside.name)
    return None


def _check_units(source: DatasetReader, name: str) -> None:
    """Refuse heights that say they aren't in metres: feet would treble every slope."""
    units = [(source.units[0] or "").strip().lower()]
    crs = pyproj.CRS.from_wkt(source.crs.to_wkt()) if source.crs else None
    if crs is not None and crs.is_compound:
        units += [axis.unit_name.lower() for axis in crs.sub_crs_list[1].axis_info]
    wrong = [unit for unit in units if unit not in METRES]
    if wrong:
        raise InputError(
            Fault(name, f"has heights in {wrong[0][:40]!r}", "Convert them to metres in a GIS")
        )


def _mosaic(tiles: Sequence[_Tile]) -> tuple[Grid, list[_Tile]]:
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
    if max(rows, columns) >= SIDE_MAX:
        raise InputError(
            Fault(tiles[0].name, "and the other tiles lie too far apart", "Name those needed")
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
    return grid, [
        _Tile(tile.name, tile.source, tile.grid, tile.flipped, row - top, column - left)
        for (row, column), tile in zip(places, tiles, strict=True)
    ]


def _misfits(one: _Tile, other: _Tile) -> list[Fault]:
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
