"""CSV files with one row a plot or a village: cells as text, rows that can't be read told."""

from __future__ import annotations

import csv
import hashlib
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from districtplan.errors import Fault, InputError
from districtplan.files.local import locate, start_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

BYTES_MAX = 20_000_000
COLUMNS_MAX = 500
SHOWN_MAX = 40
LISTED = 10
CELL_MAX = 200
AS_CSV = "Save it as CSV, UTF-8"


@dataclass(frozen=True)
class RawTable:
    """A file's rows as text.

    Attributes
    ----------
    frame : pandas.DataFrame
        ``source_row``, the columns asked for (empty text where the file lacks one), ``reason`` and
        ``remedy`` (None where the row was read); no rows where the plan names no file.
    sha256 : Mapping[str, str]
        Digest of the file, by its name in the plan.
    warnings : tuple[str, ...]
        A sentence that names columns left unread, if any.
    """

    frame: pd.DataFrame
    sha256: Mapping[str, str]
    warnings: tuple[str, ...] = ()


def read_table(
    name: str | None, folder: Path, columns: tuple[str, ...], beside: tuple[str, ...] = ()
) -> RawTable:
    """Read a CSV file that a plan names.

    Columns part at commas, or at semicolons where the first line has more of them; numbers may
    then have a decimal comma.

    Parameters
    ----------
    name : str | None
        Name of the file as in the plan; None where it names none.
    folder : pathlib.Path
        Folder of the plan file.
    columns : tuple[str, ...]
        Columns that are known; the file must have the first.
    beside : tuple[str, ...], default none
        Columns that may stand beside them and aren't read.

    Returns
    -------
    RawTable
        One row a row of the file that isn't blank, in its order.

    Raises
    ------
    InputError
        If the file can't be used as a whole: with the reason and what to do.
    """
    if name is None:
        return RawTable(_frame([], columns), {})
    raw = start_of(locate(name, folder), BYTES_MAX + 1, name)
    if len(raw) > BYTES_MAX:
        raise InputError(Fault(name, f"is larger than {BYTES_MAX / 1e6:g} MB", "Keep one season"))
    if raw.startswith((b"PK", b"\xd0\xcf")):
        raise InputError(Fault(name, "is a spreadsheet's own format", AS_CSV))
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise InputError(Fault(f"{name} line {line}", "isn't UTF-8 text", AS_CSV)) from error
    frame, warnings = parse(text, name, columns, beside)
    return RawTable(frame, {name: hashlib.sha256(raw).hexdigest()}, warnings)


def parse(
    text: str, name: str, columns: tuple[str, ...], beside: tuple[str, ...] = ()
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Read the text of such a file.

    Parameters
    ----------
    text : str
        The text.
    name : str
        Name of the file as in the plan, for messages.
    columns : tuple[str, ...]
        Columns that are known; the file must have the first.
    beside : tuple[str, ...], default none
        Columns that may stand beside them and aren't read.

    Returns
    -------
    frame : pandas.DataFrame
        As :class:`RawTable` holds it.
    warnings : tuple[str, ...]
        A sentence that names columns left unread, if any.

    Raises
    ------
    InputError
        If it isn't CSV, or its first line doesn't name the columns.
    """
    first = text.split("\n", 1)[0]
    separator = ";" if first.count(";") > first.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        rows = list(reader)
    except csv.Error as error:
        where = f"{name} line {reader.line_num}"
        raise InputError(Fault(where, f"isn't CSV ({error})", "Check its quotes")) from error
    listed = ", ".join(columns)
    if not rows:
        raise InputError(Fault(name, "is empty", f"Its first line names columns: {listed}"))
    head = [cell.strip().lower() for cell in rows[0]]
    _check_head(head, name, columns)
    places = {column: head.index(column) for column in columns if column in head}
    found = [
        _row(number, row, len(head), places, columns, decimal_comma=separator == ";")
        for number, row in enumerate(rows[1:], start=1)
        # Spreadsheet programs write rows of separators below a table.
        if any(cell.strip() for cell in row)
    ]
    return _frame(found, columns), _unread(head, name, (*columns, *beside))


def _check_head(head: list[str], name: str, columns: tuple[str, ...]) -> None:
    where, listed = f"{name}, head (line 1)", ", ".join(columns)
    if len(head) > COLUMNS_MAX:
        raise InputError(Fault(where, f"has {len(head):,} columns", f"Known here: {listed}"))
    faults = [
        Fault(where, f"names the column {column} {head.count(column)} times", "Name each once")
        for column in columns
        if head.count(column) > 1
    ]
    if columns[0] not in head:
        faults.append(Fault(where, f"lacks the column {columns[0]}", f"Known here: {listed}"))
    if columns[1:] and not set(columns[1:]) & set(head):
        faults.append(Fault(where, f"has {columns[0]} alone", f"Known here: {listed}"))
    if faults:
        raise InputError(*faults)


def _row(
    number: int,
    row: list[str],
    width: int,
    places: dict[str, int],
    columns: tuple[str, ...],
    *,
    decimal_comma: bool,
) -> dict[str, object]:
    # An id or a village is taken as it stands; spaces may be part of it.
    at = places[columns[0]]
    found: dict[str, object] = {
        "source_row": number,
        **dict.fromkeys(columns, ""),
        columns[0]: row[at] if at < len(row) else "",
        "reason": None,
        "remedy": None,
    }
    if len(row) != width:
        return found | {
            "reason": f"it has {len(row)} cells, the first line has {width}",
            "remedy": "Put text with separators, and numbers with a decimal comma, in quotes",
        }
    for column in columns[1:]:
        text = row[places[column]].strip() if column in places else ""
        if len(text) > CELL_MAX or not text.isprintable():
            return found | {
                "reason": f"{column} = {text[:SHOWN_MAX]!a} isn't a value",
                "remedy": "Type it again",
            }
        found[column] = text.replace(",", ".") if decimal_comma else text
    return found


def _unread(head: list[str], name: str, columns: tuple[str, ...]) -> tuple[str, ...]:
    unknown = [ascii(cell[:SHOWN_MAX]) for cell in head if cell and cell not in columns]
    if not unknown:
        return ()
    more = f" and {len(unknown) - LISTED} more" if len(unknown) > LISTED else ""
    listed = ", ".join(unknown[:LISTED])
    return (f"{name}: columns not known here were left unread: {listed}{more}.",)


def _frame(rows: list[dict[str, object]], columns: tuple[str, ...]) -> pd.DataFrame:
    names = ("source_row", *columns, "reason", "remedy")
    frame = pd.DataFrame(
        {name: pd.Series([row[name] for row in rows], dtype=object) for name in names}
    )
    return frame.astype({"source_row": "int64"})
