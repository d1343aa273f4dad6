"""GeoTIFF, also cloud-optimised, read by window through GDAL's one driver for it."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj
import rasterio
from pyproj.exceptions import CRSError
from rasterio.errors import NotGeoreferencedWarning, RasterioError

from districtplan.errors import Fault, InputError
from districtplan.files.local import settle_crs, unreadable
from districtplan.files.tile import Tile, check_cells, check_sides
from districtplan.grid import Grid, Window

if TYPE_CHECKING:
    from contextlib import ExitStack
    from pathlib import Path

    from numpy.typing import NDArray
    from rasterio.io import DatasetReader

FLOAT32_BYTES = 4
BLOCK_BYTES_MAX = 256 << 20

STARTS = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
NUMBERS = (
    *("int8", "int16", "int32", "int64", "uint8", "uint16", "uint32", "uint64"),
    *("float16", "float32", "float64"),
)


def open_tile(
    path: Path, name: str, given: str | None, stack: ExitStack, *, heights: bool = True
) -> Tile:
    """Open a GeoTIFF.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        Name as in the plan.
    given : str | None
        CRS in the plan, where the file states none.
    stack : contextlib.ExitStack
        Closes the file in the end.
    heights : bool, default True
        Whether it holds heights.

    Returns
    -------
    Tile
        Its values, read when asked for.

    Raises
    ------
    InputError
        If it can't be read rightly.
    """
    try:
        with warnings.catch_warnings():
            # A file without a position is refused below, in words.
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            source = stack.enter_context(rasterio.open(path, driver="GTiff", NUM_THREADS="2"))
    except (RasterioError, MemoryError) as error:
        raise unreadable(name, error) from error
    check_sides(source.height, source.width, name)
    _check(source, name)
    stated = _stated_crs(source, name)
    if stated is None and not heights:
        raise InputError(Fault(name, "states no CRS", "Assign one in a GIS first"))
    crs = settle_crs(stated, given, name, "elevation_crs")
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
    if heights:
        # Rain comes in cells of many kilometres too.
        check_cells(grid, name)

    def read(window: Window) -> NDArray[np.floating[Any]]:
        if not flipped:
            return _read(source, window, name)
        row = grid.rows - window.row - window.rows
        return _read(source, Window(row, window.column, window.rows, window.columns), name)[::-1]

    return Tile(name, grid, read, stated_unit=_stated_unit(source) if heights else "")


def _read(source: DatasetReader, window: Window, name: str) -> NDArray[np.floating[Any]]:
    place = rasterio.windows.Window(window.column, window.row, window.columns, window.rows)
    try:
        read = source.read(1, window=place, masked=True)
    except (RasterioError, MemoryError) as error:
        raise unreadable(name, error) from error
    values: NDArray[np.floating[Any]] = read.data.astype(
        np.float32 if read.dtype.itemsize <= FLOAT32_BYTES else np.float64
    )
    scale, offset = source.scales[0], source.offsets[0]
    if (scale, offset) != (1, 0):
        with np.errstate(over="ignore", invalid="ignore"):
            values = values * scale + offset
    if np.ma.is_masked(read):
        values[read.mask] = np.nan
    return values


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
        faults += _check_blocks(source, name, kind.itemsize)
    faults += _check_scale(source, name)
    if faults:
        raise InputError(*faults)


def _check_blocks(source: DatasetReader, name: str, cell_bytes: int) -> list[Fault]:
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


def _check_scale(source: DatasetReader, name: str) -> list[Fault]:
    scale, offset = source.scales[0], source.offsets[0]
    if np.isfinite(scale) and np.isfinite(offset) and scale != 0:
        return []
    return [
        Fault(
            name,
            f"says its heights are to be multiplied by {scale:g} and raised by {offset:g}",
            "Export it again as plain heights in metres",
        )
    ]


def _stated_crs(source: DatasetReader, name: str) -> pyproj.CRS | None:
    if not source.crs:
        return None
    try:
        return pyproj.CRS.from_wkt(source.crs.to_wkt())
    except (CRSError, RasterioError) as error:
        raise InputError(
            Fault(name, "states a CRS that isn't understood", "Assign one in a GIS first")
        ) from error


def _stated_unit(source: DatasetReader) -> str:
    """Give the unit of heights that the file states; that of a compound CRS where it says none."""
    crs = pyproj.CRS.from_wkt(source.crs.to_wkt()) if source.crs else None
    stated = (source.units[0] or "").strip()
    if not stated and crs is not None and crs.is_compound:
        stated = crs.sub_crs_list[1].axis_info[0].unit_name
    return stated
