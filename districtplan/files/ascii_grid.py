"""ASCII grids, read into memory: the declared size is held against the file before any work."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from districtplan.errors import Fault, InputError
from districtplan.files.local import crs_from, settle_crs, text_of, unreadable
from districtplan.files.tile import Tile, check_cells, check_sides
from districtplan.grid import Grid, Window

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path
    from typing import BinaryIO

    import pyproj
    from numpy.typing import NDArray

CELLS_MAX = 100_000_000
PIECE_BYTES = 1 << 20
LINE_BYTES_MAX = 1_000
TOKEN_BYTES_MAX = 100
PRJ_BYTES_MAX = 20_000

STARTS = (b"ncols", b"nrows", b"xll", b"yll", b"cellsize", b"dx", b"dy", b"nodata_value")
COUNTS = ("ncols", "nrows")
NUMBERS = ("xllcorner", "xllcenter", "yllcorner", "yllcenter", "cellsize", "dx", "dy")
# In each line one must stand, and no more.
CHOICES = (("ncols",), ("nrows",), NUMBERS[:2], NUMBERS[2:4], ("cellsize", "dx"))

_DIGITS = re.compile(r"\d{1,18}")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?|[+-]?(nan|inf)", re.I | re.A)

EXPORT = "Export it again, or as GeoTIFF"


@dataclass(frozen=True)
class _Header:
    values: Mapping[str, float]
    nodata: float | None
    rows: int
    columns: int
    line: int

    def grid(self, crs: pyproj.CRS) -> Grid:
        cell_x = self.values.get("dx", self.values.get("cellsize", math.nan))
        cell_y = self.values.get("dy", self.values.get("cellsize", math.nan))
        # The corner is that of the lower left cell; a centre lies half a cell inside.
        west = self.values.get("xllcorner", self.values.get("xllcenter", math.nan) - cell_x / 2)
        south = self.values.get("yllcorner", self.values.get("yllcenter", math.nan) - cell_y / 2)
        north = south + self.rows * cell_y
        return Grid(west, north, cell_x, cell_y, self.rows, self.columns, crs)


def read_tile(path: Path, name: str, given: str | None) -> Tile:
    """Read an ASCII grid.

    Keys of the header are ``ncols``, ``nrows``, ``xllcorner`` or ``xllcenter``, ``yllcorner`` or
    ``yllcenter``, ``cellsize`` (or ``dx`` and ``dy``) and ``NODATA_value``, in any order and case.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        Name as in the plan.
    given : str | None
        CRS in the plan, where there is no .prj beside the file.

    Returns
    -------
    Tile
        Its heights, in memory.

    Raises
    ------
    InputError
        If it isn't whole: with the line.
    """
    try:
        with path.open("rb") as handle:
            header = _header(handle, name)
            grid = header.grid(settle_crs(_stated_crs(path), given, name, "elevation_crs"))
            check_cells(grid, name)
            _check_room(header, path.stat().st_size - handle.tell(), name)
            values = _values(handle, header, name)
    except OSError as error:
        raise unreadable(name, error) from error

    def read(window: Window) -> NDArray[np.float32]:
        return values[
            window.row : window.row + window.rows, window.column : window.column + window.columns
        ]

    return Tile(name, grid, read)


def _stated_crs(path: Path) -> pyproj.CRS | None:
    for suffix in (".prj", ".PRJ"):
        beside = path.with_suffix(suffix)
        if beside.is_file():
            return crs_from(text_of(beside, PRJ_BYTES_MAX, beside.name).strip(), beside.name)
    return None


def _header(handle: BinaryIO, name: str) -> _Header:
    """Read the lines that start with a word; leave the file at the first height."""
    told: dict[str, float] = {}
    line = 0
    while True:
        start = handle.tell()
        raw = handle.readline(LINE_BYTES_MAX)
        words = raw.removeprefix(b"\xef\xbb\xbf").decode("ascii", "replace").split()
        if raw and not words:
            line += 1
            continue
        if not raw or _NUMBER.fullmatch(words[0]):
            break
        line += 1
        key, value = _entry(words, f"{name} line {line}")
        if key in told:
            raise InputError(Fault(f"{name} line {line}", f"gives {key} twice", EXPORT))
        told[key] = value
    handle.seek(start)
    faults = [Fault(name, *fault) for fault in _header_faults(told)]
    if faults:
        raise InputError(*faults)
    rows, columns = int(told.pop("nrows")), int(told.pop("ncols"))
    check_sides(rows, columns, name)
    return _Header(told, told.pop("nodata_value", None), rows, columns, line + 1)


def _entry(words: list[str], where: str) -> tuple[str, float]:
    key = words[0].lower()
    if key not in (*COUNTS, *NUMBERS, "nodata_value"):
        raise InputError(
            Fault(where, f"starts with {words[0][:40]!a}, neither a key nor a number", EXPORT)
        )
    text = " ".join(words[1:])
    if key in COUNTS and not (_DIGITS.fullmatch(text) and int(text) > 0):
        raise InputError(
            Fault(where, f"{key} is {text[:40]!a}, not a whole number above 0", EXPORT)
        )
    if not _NUMBER.fullmatch(text) or (key in NUMBERS and not math.isfinite(float(text))):
        raise InputError(
            Fault(where, f"{key} is {text[:40]!a}, not a number", "Write numbers as in 12.5")
        )
    return key, float(text)


def _header_faults(told: Mapping[str, float]) -> Iterator[tuple[str, str]]:
    for choice in CHOICES:
        found = [key for key in choice if key in told]
        if len(found) != 1:
            what = f"gives both {' and '.join(found)}" if found else f"lacks {' or '.join(choice)}"
            yield f"{what} in its header", EXPORT
    if ("dx" in told) != ("dy" in told):
        yield "gives only one of dx and dy in its header", EXPORT
    for key in ("cellsize", "dx", "dy"):
        if told.get(key, 1.0) <= 0:
            yield f"has {key} {told[key]:g}, not above 0", EXPORT


def _check_room(header: _Header, left: int, name: str) -> None:
    """Refuse a size that the file can't hold: a height takes a digit and a blank."""
    cells = header.rows * header.columns
    if cells > CELLS_MAX:
        raise InputError(
            Fault(
                name,
                f"has {cells:,} cells, too many for an ASCII grid ({CELLS_MAX:,})",
                "Export it as GeoTIFF, which is read piece by piece",
            )
        )
    if left < 2 * cells - 1:
        raise InputError(
            Fault(
                name,
                f"declares {header.rows:,} rows of {header.columns:,} heights, but ends before "
                "them",
                "Copy or export it again",
            )
        )


def _values(handle: BinaryIO, header: _Header, name: str) -> NDArray[np.float32]:
    """Read the heights; rows may be broken into lines anywhere."""
    cells = header.rows * header.columns
    values = np.empty(cells, dtype=np.float32)
    count, line = 0, header.line
    for piece in _pieces(handle):
        numbers = _numbers(piece, line, name)
        line += piece.count(b"\n")
        if count + len(numbers) > cells:
            raise InputError(_miscounted(header, f"more, up to line {line}", name))
        with np.errstate(over="ignore"):
            found = numbers.astype(np.float32)
            if header.nodata is not None:
                nothing = (numbers == header.nodata) | (found == np.float32(header.nodata))
                found[nothing] = np.nan
        values[count : count + len(numbers)] = found
        count += len(numbers)
    if count < cells:
        raise InputError(_miscounted(header, f"only {count:,}, up to line {line}", name))
    return values.reshape(header.rows, header.columns)


def _miscounted(header: _Header, held: str, name: str) -> Fault:
    return Fault(
        name,
        f"declares {header.rows:,} rows of {header.columns:,} heights, "
        f"{header.rows * header.columns:,} in all, but holds {held}",
        "Copy or export it again",
    )


def _pieces(handle: BinaryIO) -> Iterator[bytes]:
    """Give the text in pieces that break no number."""
    rest = b""
    while read := handle.read(PIECE_BYTES):
        text = rest + read
        end = max(text.rfind(blank) for blank in (b" ", b"\n", b"\t", b"\r")) + 1
        # What has no blank for so long is no number; it is told as such.
        if len(text) - end > TOKEN_BYTES_MAX:
            end = len(text)
        yield text[:end]
        rest = text[end:]
    yield rest


def _numbers(piece: bytes, line: int, name: str) -> NDArray[np.float64]:
    if b"_" in piece:
        # Python, but no grid, groups digits so.
        raise _no_number(piece, line, name)
    try:
        return np.array(piece.split(), dtype=np.float64)
    except ValueError as error:
        raise _no_number(piece, line, name) from error


def _no_number(piece: bytes, line: int, name: str) -> InputError:
    for number, text in enumerate(piece.split(b"\n"), line):
        for word in text.split():
            shown = word[: TOKEN_BYTES_MAX + 1].decode("latin-1")
            if not _NUMBER.fullmatch(shown):
                return InputError(
                    Fault(
                        f"{name} line {number}",
                        f"{shown[:40]!a} isn't a number",
                        "Write numbers as in 12.5, or export it again as GeoTIFF",
                    )
                )
    return InputError(Fault(f"{name} line {line}", "holds what isn't a number", EXPORT))
