"""Plots as CSV: outlines as well-known text, points walked in order, or a point and an area."""

from __future__ import annotations

import contextlib
import csv
import io
import re
from collections import Counter
from typing import TYPE_CHECKING

import numpy as np
import pyproj
import shapely
from shapely.errors import ShapelyError

from districtplan import tables
from districtplan.errors import Fault, InputError
from districtplan.files import walks
from districtplan.files.coordinates import UnreadError, degrees
from districtplan.files.layer import CLOSED, Layer, Wanted, check_rows, objects
from districtplan.files.local import crs_from, text_of
from districtplan.files.rings import BrokenRingError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

LARGEST_BYTES = 256_000_000
COLUMNS_MAX = 500
CELL_MAX = 1_000_000
SHOWN_MAX = 40
WKT, ORDER, AREA, ACCURACY = "wkt", "order", "area_ha", "accuracy_m"
PLACE = ("longitude", "latitude")
WAYS = (
    "Give outlines in a column wkt; or walked points in columns order, latitude and longitude; or "
    "one point a plot in latitude, longitude and area_ha"
)
# Written out: float() also takes digits of other scripts, underscores, inf and nan.
_NUMBER = re.compile(r"[0-9]{1,9}([.,][0-9]{1,20})?")
# A database's own prefix; 0 is its word for not known.
_SRID = re.compile(r"\s*SRID\s*=\s*0*([0-9]{1,6})\s*;", re.IGNORECASE)

Row = tuple[int, list[str]]
Outline = tuple[shapely.Geometry | None, str | None, str | None, tuple[str, ...]]
AGAIN = "a point that stands in the file twice was taken once"
RANGES_MAX = 5
"""Ranges of lines that are told of a plot."""


def fits(start: bytes) -> bool:
    """Tell whether the first bytes of a file may be CSV.

    Parameters
    ----------
    start : bytes
        The first bytes.

    Returns
    -------
    bool
        Whether they are text and no other format's.
    """
    return b"\x00" not in start and not start.startswith((b"PK", b"\xd0\xcf", b"PAR1"))


def read(path: Path, wanted: Wanted) -> Layer:
    """Read plots from a CSV file.

    Columns part at commas, or at semicolons where the first line has more of them. Points are in
    WGS 84; well-known text is in the CRS that its prefix ``SRID=`` or the plan gives.

    Parameters
    ----------
    path : Path
        The file.
    wanted : Wanted
        Columns to read.

    Returns
    -------
    Layer
        One row a plot: a row of the file, or all rows of one id where points are walked.

    Raises
    ------
    InputError
        If it isn't CSV, or lacks a column.
    """
    wanted.check_plots("CSV")
    head, rows = _table(text_of(path, LARGEST_BYTES, wanted.name), wanted.name)
    wanted.check(head)
    places = {column: head.index(name) for column, name in _meant(head).items()}
    if WKT in places:
        groups: list[list[Row]] = [[row] for row in rows]
        draw, crs = _by_wkt, _without_prefix(rows, places[WKT], wanted.name)
    elif not {*PLACE} <= set(places):
        raise InputError(Fault(wanted.name, "has no column with outlines", WAYS))
    elif ORDER in places:
        groups = _by_id(rows, head.index(wanted.columns["plot_id_column"]))
        draw, crs = _by_walk, pyproj.CRS("EPSG:4326")
    elif AREA in places:
        groups = [[row] for row in rows]
        draw, crs = _by_area, pyproj.CRS("EPSG:4326")
    else:
        raise InputError(Fault(wanted.name, "has points without an order or area_ha", WAYS))
    columns = {key: head.index(name) for key, name in wanted.present(head).items()}
    drawn = [_drawn(group, len(head), places, columns, draw) for group in groups]
    values = {
        key: objects([_cell(group[0][1], columns.get(key)) for group in groups])
        for key in wanted.columns
    }
    geometry, problem, remedy, done = (objects([each[at] for each in drawn]) for at in range(4))
    lines = objects([_lines([line for line, _ in group]) for group in groups])
    return Layer(values, geometry, problem, crs, done, remedy, lines)


def _lines(lines: Sequence[int]) -> str:
    """Say which lines of the file a plot stands in."""
    if len(lines) == 1:
        return f"line {lines[0]}"
    starts = [at for at, line in enumerate(lines) if at == 0 or line != lines[at - 1] + 1]
    ends = [*(start - 1 for start in starts[1:]), len(lines) - 1]
    told = [
        f"{lines[start]}" if start == end else f"{lines[start]} to {lines[end]}"
        for start, end in zip(starts, ends, strict=True)
    ]
    more = f" and {len(told) - RANGES_MAX} more" if len(told) > RANGES_MAX else ""
    return f"lines {', '.join(told[:RANGES_MAX])}{more}"


def _table(text: str, name: str) -> tuple[list[str], list[Row]]:
    """Give the head, and the rows that aren't blank with their lines."""
    first = text.split("\n", 1)[0]
    separator = ";" if first.count(";") > first.count(",") else ","
    limit = csv.field_size_limit(CELL_MAX)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        head = [cell.strip() for cell in next(reader, [])]
        rows = [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]
    except csv.Error as error:
        where = f"{name} line {reader.line_num}"
        raise InputError(Fault(where, f"isn't CSV ({error})", "Check its quotes")) from error
    finally:
        csv.field_size_limit(limit)
    if not any(head):
        raise InputError(Fault(name, "has no line that names its columns", WAYS))
    if len(head) > COLUMNS_MAX:
        raise InputError(Fault(name, f"has {len(head):,} columns", "Keep those of plots"))
    check_rows(len(rows), name)
    twice = sorted({cell for cell in head if cell and head.count(cell) > 1})
    if twice:
        shown = ascii(twice[0][:SHOWN_MAX])
        raise InputError(Fault(name, f"names the column {shown} twice", "Name each once"))
    return head, rows


def _meant(head: Sequence[str]) -> dict[str, str]:
    """Find the columns of outlines, however their names are written."""
    known = (WKT, ORDER, AREA, ACCURACY, *PLACE)
    return {cell.lower(): cell for cell in head if cell.lower() in known}


def _without_prefix(rows: Sequence[Row], at: int, name: str) -> pyproj.CRS | None:
    """Take the code before each outline away; give the CRS of most that have one."""
    prefixes = {
        line: found
        for line, row in rows
        if at < len(row) and (found := _SRID.match(row[at])) is not None
    }
    codes = Counter(found[1] for found in prefixes.values() if found[1] != "0")
    most = codes.most_common(1)[0][0] if codes else "0"
    for line, row in rows:
        # Others keep theirs and are told: their numbers mean another place.
        if line in prefixes and prefixes[line][1] in ("0", most):
            row[at] = row[at][prefixes[line].end() :]
    if not codes:
        return None
    first = min(line for line, found in prefixes.items() if found[1] == most)
    return crs_from(f"EPSG:{most}", f"{name} line {first}")


def _by_id(rows: Sequence[Row], at: int) -> list[list[Row]]:
    groups: dict[str, list[Row]] = {}
    for row in rows:
        groups.setdefault(_cell(row[1], at) or "", []).append(row)
    return list(groups.values())


def _cell(row: Sequence[str], at: int | None) -> str | None:
    """Give a cell as it stands, None where it is empty or not there."""
    return row[at] if at is not None and at < len(row) and row[at] != "" else None


def _drawn(
    group: list[Row],
    width: int,
    places: dict[str, int],
    columns: dict[str, int],
    draw: Callable[[list[Row], dict[str, int], list[str]], shapely.Geometry],
) -> Outline:
    """Draw one plot; what can't be is told with its line."""
    done: list[str] = []
    for line, row in group:
        if len(row) != width:
            why = f"line {line} has {len(row)} cells, the first line has {width}"
            return None, why, "Put text that has separators in quotes, and fill no cell beyond", ()
    for key, at in columns.items():
        if len(said := dict.fromkeys(row[at] for _, row in group)) > 1:
            shown = " and ".join(ascii(text[:SHOWN_MAX]) for text in list(said)[:2])
            what = key.removesuffix("_column")
            what = "the farmer's name" if what == "farmer_name" else what.replace("_", " ")
            remedy = f"Write one {what} at all its points, or give each plot an id of its own"
            return None, f"its points differ in {what}: {shown}", remedy, ()
    try:
        return draw(group, places, done), None, None, tuple(done)
    except BrokenRingError as broken:
        return None, str(broken), broken.remedy, ()


def _by_wkt(group: list[Row], places: dict[str, int], done: list[str]) -> shapely.Geometry:
    ((_, row),) = group
    text = row[places[WKT]].strip()
    if other := _SRID.match(text):
        raise BrokenRingError(
            f"its SRID={other[1]} isn't that of most other outlines: export all in one CRS"
        )
    if not text:
        return shapely.Polygon()
    try:
        with np.errstate(over="ignore", invalid="ignore"):
            return shapely.from_wkt(text)
    except NotImplementedError as error:
        raise BrokenRingError("the outline has curves") from error
    except (ShapelyError, ValueError) as error:
        closed = _closed(text)
        if closed is None:
            raise BrokenRingError(
                f"{text[:SHOWN_MAX]!a} isn't an outline as well-known text"
            ) from error
    done.append(CLOSED)
    return closed


def _closed(text: str) -> shapely.Geometry | None:
    """Read what is no more than open: its points all stay."""
    with (
        np.errstate(over="ignore", invalid="ignore"),
        contextlib.suppress(ShapelyError, ValueError),
    ):
        shape = shapely.from_wkt(text, on_invalid="fix")
        if isinstance(shape, shapely.Polygon | shapely.MultiPolygon) and not shape.is_empty:
            return shape
    return None


def _by_walk(group: list[Row], places: dict[str, int], done: list[str]) -> shapely.Geometry:
    done.append(tables.WALKED)
    found: dict[float, tuple[float, float]] = {}
    rows: dict[float, list[str]] = {}
    accuracy = []
    for line, row in group:
        order = _number(row[places[ORDER]], ORDER, line)
        if rows.setdefault(order, row) == row and order in found:
            # The very same line once more says nothing new.
            done.extend([] if AGAIN in done else [AGAIN])
            continue
        if order in found:
            raise BrokenRingError(
                f"order {order:g} stands in several points, again in line {line}",
                "Number the points as they were walked, each with an order of its own",
            )
        found[order] = _place(line, row, places, done)
        if ACCURACY in places and row[places[ACCURACY]].strip():
            accuracy.append(_number(row[places[ACCURACY]], ACCURACY, line))
    if accuracy:
        # What a device says of itself is told, not believed.
        done.append(f"accuracy {np.median(accuracy):.3g} m as the device says")
    return walks.walked(np.array([found[order] for order in sorted(found)]))


def _by_area(group: list[Row], places: dict[str, int], done: list[str]) -> shapely.Geometry:
    done.append(tables.CIRCLE)
    ((line, row),) = group
    area_ha = _number(row[places[AREA]], AREA, line)
    longitude, latitude = _place(line, row, places, done)
    if area_ha == 0:
        raise BrokenRingError(f"{AREA} is 0 in line {line}", f"Write the area in line {line}")
    return walks.circle(longitude, latitude, area_ha)


def _place(
    line: int, row: Sequence[str], places: dict[str, int], done: list[str]
) -> tuple[float, float]:
    found = {}
    for axis in PLACE:
        try:
            found[axis] = degrees(row[places[axis]], axis, done)
        except UnreadError as unread:
            way = "walk the edge again" if ORDER in places else "stand in the plot's middle again"
            remedy = f"Write the {axis} in line {line}, or {way}"
            raise BrokenRingError(f"{unread} in line {line}", remedy) from unread
    return found["longitude"], found["latitude"]


def _number(text: str, column: str, line: int) -> float:
    if not _NUMBER.fullmatch(text.strip()):
        shown = ascii(text[:SHOWN_MAX])
        raise BrokenRingError(
            f"{column} = {shown} isn't a number in line {line}",
            f"Write {column} as a number in line {line}",
        )
    return float(text.strip().replace(",", "."))
