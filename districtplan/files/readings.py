"""Ground readings from a CSV file, cell by cell: what can't be read is told row by row."""

from __future__ import annotations

import contextlib
import csv
import difflib
import hashlib
import io
import re
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan.errors import Fault, InputError
from districtplan.files.local import locate, start_of
from districtplan.records import GIVEN, METHOD_MAX, REFERENCES

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from districtplan.files.plan_file import PlanFile

BYTES_MAX = 20_000_000
ROWS_MAX = 500_000
"""Rows beyond which a file is no season's readings; short ones would fill the memory."""
SHOWN_MAX = 40
REQUIRED = ("plot_id", "method", "date")
MEASURED = ("slope_pct", "bearing_deg")
FALLS = tuple(f"fall_{number}_cm" for number in range(1, 6))
"""The five falls of the form on a sheet, from the end of a level string to the ground."""
STRING = "string_m"
COLUMNS = ("plot_id", *MEASURED, *FALLS, STRING, "bearing_reference", "method", "date")

# Written out: int() and float() also take digits of other scripts, underscores, inf and nan.
_NUMBER = re.compile(r"[+-]?[0-9]{1,9}(\.[0-9]{1,20})?")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")

_WORD = re.compile(r"[a-z]+")

NEAR = 0.6
"""How alike a name must be to one that the file lacks to be taken for it."""
LISTED = 10
COLUMNS_MAX = 500
UNITS = {"slope_pct": ", metres of fall in 100 m", "bearing_deg": ", degrees from north"}
STRING_MAX_M = 100

AS_CSV = "Save it as CSV, UTF-8"


@dataclass(frozen=True)
class RawReadings:
    """Readings as the file gives them.

    Attributes
    ----------
    frame : pandas.DataFrame
        The columns :data:`districtplan.records.GIVEN`; no rows where the plan names no file.
    sha256 : Mapping[str, str]
        Digest of the file, by its name in the plan.
    warnings : tuple[str, ...]
        A sentence that names columns left unread, if any.
    """

    frame: pd.DataFrame
    sha256: Mapping[str, str]
    warnings: tuple[str, ...] = ()


class _UnreadError(ValueError):
    """A cell that can't be read: reason and remedy."""


def read_readings(plan_file: PlanFile) -> RawReadings:
    """Read the ground readings that a plan names.

    Parameters
    ----------
    plan_file : PlanFile
        The plan and its folder.

    Returns
    -------
    RawReadings
        One row a row of the file that isn't blank, in its order.

    Raises
    ------
    InputError
        If the file can't be used as a whole: with the reason and what to do.
    """
    name = plan_file.plan.files.readings
    if name is None:
        return RawReadings(_frame([]), {})
    raw = start_of(locate(name, plan_file.folder), BYTES_MAX + 1, name)
    if len(raw) > BYTES_MAX:
        raise InputError(Fault(name, f"is larger than {BYTES_MAX / 1e6:g} MB", "Keep one season"))
    if raw.startswith((b"PK", b"\xd0\xcf")):
        raise InputError(Fault(name, "is a spreadsheet's own format", AS_CSV))
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise InputError(Fault(f"{name} line {line}", "isn't UTF-8 text", AS_CSV)) from error
    digest = {name: hashlib.sha256(raw).hexdigest()}
    return RawReadings(parse(text, name), digest, unread_columns(text, name))


def parse(text: str, name: str) -> pd.DataFrame:
    """Read the text of a file of readings.

    Columns part at commas, or at semicolons where the first line has more of them; numbers may
    then have a decimal comma.

    Parameters
    ----------
    text : str
        The text.
    name : str
        Name of the file as in the plan, for messages.

    Returns
    -------
    pandas.DataFrame
        The columns :data:`districtplan.records.GIVEN`.

    Raises
    ------
    InputError
        If it isn't CSV, or its first line doesn't name the columns.
    """
    lines = _lines(text, name)
    head = next(lines, None)
    if head is None:
        raise InputError(Fault(name, "is empty", f"Its first line names columns: {_listed()}"))
    places, decimal_comma = _columns(_head(head), name), _separator(text) == ";"
    found: list[tuple[object, ...]] = []
    for number, row in enumerate(lines, start=1):
        # Spreadsheet programs write rows of separators below a table.
        if not any(cell.strip() for cell in row):
            continue
        if len(found) == ROWS_MAX:
            raise InputError(Fault(name, f"has more than {ROWS_MAX:,} rows", "Keep one season"))
        read = _row(number, row, len(head), places, decimal_comma=decimal_comma)
        found.append(tuple(read.get(column) for column in GIVEN))
    return _frame(found)


def unread_columns(text: str, name: str) -> tuple[str, ...]:
    """Name the columns that a file of readings has beyond those known here.

    Parameters
    ----------
    text : str
        The text, as :func:`parse` takes it.
    name : str
        Name of the file as in the plan.

    Returns
    -------
    tuple[str, ...]
        A sentence, or nothing where there are none.
    """
    head = _head(next(csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text))))
    unknown = [_shown(cell) for cell in head if cell and cell not in COLUMNS]
    if not unknown:
        return ()
    listed = ", ".join(unknown[:LISTED])
    more = f" and {len(unknown) - LISTED} more" if len(unknown) > LISTED else ""
    return (f"{name}: columns not known here were left unread: {listed}{more}.",)


def _lines(text: str, name: str) -> Iterator[list[str]]:
    """Give the rows one by one: those of a large file would fill the memory."""
    lines = io.StringIO(text, newline="")
    reader = csv.reader(lines, delimiter=_separator(text), strict=True)
    try:
        yield from reader
    except csv.Error as error:
        where = f"{name} line {reader.line_num}"
        raise InputError(Fault(where, f"isn't CSV ({error})", "Check its quotes")) from error


def _separator(text: str) -> str:
    first = text.split("\n", 1)[0]
    return ";" if first.count(";") > first.count(",") else ","


def _head(cells: list[str]) -> list[str]:
    return [cell.strip().lower() for cell in cells]


def _listed() -> str:
    return ", ".join(COLUMNS)


def _meant(cell: str, head: list[str]) -> str | None:
    """Guess which of the columns that the file lacks a name stands for."""
    lacking = [column for column in COLUMNS if column not in head]
    first = _WORD.match(cell)
    by_word = [column for column in lacking if first and column.split("_")[0] == first[0]]
    near = [*difflib.get_close_matches(cell, lacking, n=1, cutoff=NEAR), *by_word]
    return near[0] if near else None


def _columns(head: list[str], name: str) -> dict[str, int]:
    where = f"{name}, head (line 1)"
    if len(head) > COLUMNS_MAX:
        raise InputError(Fault(where, f"has {len(head):,} columns", f"Known here: {_listed()}"))
    faults = [
        Fault(where, f"names the column {column} {head.count(column)} times", "Name each once")
        for column in COLUMNS
        if head.count(column) > 1
    ]
    for cell in head:
        meant = None if cell in COLUMNS else _meant(cell, head)
        if meant is not None:
            faults.append(
                Fault(
                    where,
                    f"has a column {_shown(cell)}, which isn't known here",
                    f"Did you mean {meant}{UNITS.get(meant, '')}? If not, take it out",
                )
            )
    missing = [column for column in REQUIRED if column not in head]
    if missing:
        faults.append(
            Fault(where, f"lacks the columns {', '.join(missing)}", f"Known here: {_listed()}")
        )
    if not {*MEASURED, FALLS[0]} & set(head):
        faults.append(
            Fault(
                where,
                "has neither slope_pct, nor bearing_deg, nor the five falls of the form",
                "Add one of them",
            )
        )
    form = [column for column in (*FALLS, STRING) if column in head]
    if form and len(form) <= len(FALLS):
        lacking = ", ".join(column for column in (*FALLS, STRING) if column not in head)
        faults.append(
            Fault(where, f"has a part of the form's columns, but not {lacking}", "Add them")
        )
    if "bearing_deg" in head and "bearing_reference" not in head:
        remedy = f"Add it, with {', '.join(REFERENCES)} in each row"
        faults.append(Fault(where, "has bearing_deg without bearing_reference", remedy))
    if faults:
        raise InputError(*faults)
    return {column: head.index(column) for column in COLUMNS if column in head}


def _row(
    number: int, row: list[str], width: int, places: dict[str, int], *, decimal_comma: bool
) -> dict[str, object]:
    # An id is taken as it stands; spaces may be part of it.
    plot_id = row[places["plot_id"]] if places["plot_id"] < len(row) else ""
    found: dict[str, object] = {"source_row": number, "plot_id": plot_id}
    try:
        cells = _cells(row, width, places)
        found |= {
            column: _number(column, cells, decimal_comma=decimal_comma) for column in MEASURED
        }
        if any(cells.get(column) for column in FALLS):
            found["slope_pct"] = _by_falls(cells, decimal_comma=decimal_comma)
        found |= {
            "bearing_reference": _reference(cells),
            "method": _method(cells["method"]),
            "date": _day(cells["date"]),
        }
    except _UnreadError as unread:
        found |= dict(zip(("reason", "remedy"), unread.args, strict=True))
    return found


def _cells(row: list[str], width: int, places: dict[str, int]) -> dict[str, str]:
    if len(row) != width:
        raise _UnreadError(
            f"it has {len(row)} cells, the first line has {width}",
            "Put text with separators, and numbers with a decimal comma, in quotes",
        )
    cells = {column: row[at].strip() for column, at in places.items()}
    if not any(cells.get(column) for column in (*MEASURED, *FALLS)):
        raise _UnreadError("it has neither a slope nor a bearing", "Give one, or take the row out")
    return cells


def _by_falls(cells: dict[str, str], *, decimal_comma: bool) -> float:
    """Work out the slope from the form: the middle one of five falls counts [%]."""
    if cells.get("slope_pct"):
        raise _UnreadError("it has slope_pct and falls", "Give one of both")
    missing = [column for column in (*FALLS, STRING) if not cells.get(column)]
    if missing:
        raise _UnreadError(
            f"{', '.join(missing)} is missing",
            "Give all five falls and the length of the level string, or slope_pct",
        )
    *falls, string = (
        _number(column, cells, decimal_comma=decimal_comma) for column in (*FALLS, STRING)
    )
    below = next((place for place, fall in enumerate(falls) if fall < 0), None)
    if below is not None:
        raise _UnreadError(
            f"{FALLS[below]} = {falls[below]:g} is below 0", "Hold the string straight downhill"
        )
    if not 1 <= string <= STRING_MAX_M:
        raise _UnreadError(
            f"{STRING} = {string:g} isn't within 1 and {STRING_MAX_M}",
            "Give the length of the level string in metres",
        )
    # A centimetre in a metre is 1 %.
    return float(np.median(falls)) / string


def _number(column: str, cells: dict[str, str], *, decimal_comma: bool) -> float:
    text = cells.get(column, "")
    if not text:
        return np.nan
    plain = text.replace(",", ".") if decimal_comma else text
    if not _NUMBER.fullmatch(plain):
        remedy = "Write digits only, such as 12.5"
        if "," in text and not decimal_comma:
            remedy += ", or part the columns by semicolons"
        raise _UnreadError(f"{column} = {_shown(text)} isn't a number", remedy)
    return float(plain)


def _method(text: str) -> str:
    if not text:
        raise _UnreadError("method is missing", "Say how it was measured, such as A-frame")
    if not text.isprintable():
        raise _UnreadError("method has a control character", "Type it again")
    if len(text) > METHOD_MAX:
        raise _UnreadError(f"method is longer than {METHOD_MAX} characters", "Shorten it")
    return text


def _day(text: str) -> date:
    day = None
    if _DAY.fullmatch(text):
        # The pattern doesn't know that June has 30 days.
        with contextlib.suppress(ValueError):
            day = date.fromisoformat(text)
    if day is None:
        what = f"date = {_shown(text)} isn't a day" if text else "date is missing"
        raise _UnreadError(what, "Write year-month-day, such as 2026-02-27")
    return day


def _reference(cells: dict[str, str]) -> str | None:
    if not cells.get("bearing_deg"):
        return None
    text = cells["bearing_reference"].lower()
    if text not in REFERENCES:
        told = f"bearing_reference = {_shown(text)}" if text else "bearing_reference is missing"
        raise _UnreadError(
            f"{told}{' is none of these' if text else ''}",
            f"Give the north that the bearing is from: {', '.join(REFERENCES)}",
        )
    return text


def _shown(text: str) -> str:
    return ascii(text[:SHOWN_MAX])


def _frame(rows: list[tuple[object, ...]]) -> pd.DataFrame:
    columns = zip(*rows, strict=True) if rows else [()] * len(GIVEN)
    numbers = {"source_row": np.int64, **dict.fromkeys(MEASURED, np.float64)}
    return pd.DataFrame(
        {
            column: pd.Series(values, dtype=numbers.get(column, object))
            for column, values in zip(GIVEN, columns, strict=True)
        }
    )
