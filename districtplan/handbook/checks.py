"""What a table of the handbook is held to: its own description, and the package's table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterator

    from districtplan.handbook import Table

REQUIRED_COLUMNS = ("source", "provenance")
KEYS = ("number", "name")
"""What identifies a row, the first that a table has."""
SHOWN_MAX = 200
TENFOLD = 10
PROVENANCES = ("read", "memory", "computed", "common practice, no source", "judgement")


def about_faults(about: dict[str, Any], rows: pd.DataFrame) -> Iterator[tuple[str, str]]:
    """Tell what is wrong with a table's description.

    Parameters
    ----------
    about : dict[str, Any]
        Its TOML.
    rows : pandas.DataFrame
        Its rows.

    Yields
    ------
    tuple[str, str]
        What is wrong, and what to do about it.
    """
    title, units = about.get("title"), about.get("units")
    if not (isinstance(title, str) and title):
        yield "has no title", "Add title = ..."
    told = units if isinstance(units, dict) else {}
    for column in rows:
        if not isinstance(told.get(column), str):
            yield f"doesn't say what {column!r} is", "Add it under [units]"
    yield from _limit_faults(about, rows)


def _limit_faults(about: dict[str, Any], rows: pd.DataFrame) -> Iterator[tuple[str, str]]:
    bounds = about.get("bounds", {})
    if not isinstance(bounds, dict):
        yield f"has {_plain(bounds)} for bounds", "Write [bounds] on a line of its own"
        bounds = {}
    for column, pair in bounds.items():
        if column not in rows:
            yield f"has bounds of {column!r}, which is no column", "Correct [bounds]"
        elif not _is_range(pair):
            yield f"has {_plain(pair)} for the bounds of {column!r}", "Give [lowest, highest]"
    whole = about.get("whole", [])
    if not (isinstance(whole, list) and all(isinstance(name, str) for name in whole)):
        yield f"has {_plain(whole)} for names of whole numbers", "Give a list of names in quotes"
    if "classes" in about and not _is_classes(about["classes"], rows):
        yield (
            f"has {_plain(about['classes'])} for [classes]",
            "Name the columns lower and upper, and the number gap_max",
        )


def _is_number(value: object) -> bool:
    return type(value) in {int, float} and bool(np.isfinite(float(str(value))))


def _is_range(pair: object) -> bool:
    return (
        isinstance(pair, list)
        and len(pair) == len(("low", "high"))
        and all(map(_is_number, pair))
        and pair[0] <= pair[1]
    )


def _is_classes(told: object, rows: pd.DataFrame) -> bool:
    return (
        isinstance(told, dict)
        and told.keys() == {"lower", "upper", "gap_max"}
        and all(told[end] in list(rows) for end in ("lower", "upper"))
        and _is_number(told["gap_max"])
    )


def _plain(value: object) -> str:
    """Show a value as it would stand in the file, not as a library's type."""
    return repr(value.item() if isinstance(value, np.generic) else value)[:SHOWN_MAX]


def row_faults(rows: pd.DataFrame) -> Iterator[tuple[str, str]]:
    """Tell which rows lack a source or a provenance.

    Parameters
    ----------
    rows : pandas.DataFrame
        The rows of a table.

    Yields
    ------
    tuple[str, str]
        What is wrong, and what to do about it.
    """
    if rows.empty:
        yield "has no rows", "Add them, or take its files away"
    for column in REQUIRED_COLUMNS:
        if column not in rows:
            yield f"has no column {column!r}", "Add it to every row"
            continue
        for line in _lines(rows[column].isna()):
            yield f"line {line} has no {column}", "Say where the number comes from"
    if "provenance" in rows:
        for word in rows["provenance"].dropna().drop_duplicates():
            if word not in PROVENANCES:
                yield f"unknown provenance {_plain(word)}", f"Use one of {', '.join(PROVENANCES)}"


def _lines(marked: pd.Series) -> list[int]:
    return [place + 2 for place, mark in enumerate(marked) if mark]


def change_faults(table: Table, own: Table) -> Iterator[tuple[str, str]]:
    """Hold a user's table to the shape of the package's, so that stages can rely on it.

    Parameters
    ----------
    table : Table
        The user's.
    own : Table
        The package's.

    Yields
    ------
    tuple[str, str]
        What is wrong, and what to do about it.
    """
    missing = [column for column in own.rows if column not in table.rows]
    if missing:
        yield f"lacks the columns {missing}", "Add them"
        return
    told = False
    for column in own.rows:
        for line in _lines(_unlike(table.rows[column], own.rows[column])):
            told = True
            value = table.rows[column].iloc[line - 2]
            yield (
                f"line {line}: {column} can't be {_plain(value)}",
                "Give a value as the package's table has",
            )
    if not told:
        yield from _value_faults(table, own)


def _unlike(values: pd.Series, own: pd.Series) -> pd.Series:
    unlike = values.isna() & (not own.isna().any())
    if pd.api.types.is_numeric_dtype(own):
        numbers = pd.to_numeric(values, errors="coerce")
        unlike |= values.notna() & ~np.isfinite(numbers)
    return unlike


def _value_faults(table: Table, own: Table) -> Iterator[tuple[str, str]]:
    for column, (low, high) in own.bounds.items():
        for line in _lines((table.rows[column] < low) | (table.rows[column] > high)):
            yield f"line {line}: {column} isn't within {low} to {high}", "Correct it"
    key = next((name for name in KEYS if name in own.rows), None)
    if key is None:
        yield from _class_faults(table.rows, own)
        return
    if sorted(table.rows[key]) != sorted(own.rows[key]):
        yield (
            f"must hold each of these once: {', '.join(map(str, own.rows[key]))}",
            f"Check {key!r}",
        )
        return
    mine = table.rows.set_index(key).loc[own.rows[key]]
    theirs = own.rows.set_index(key)
    yield from _changes(mine, theirs, own)
    for name in own.whole:
        if mine["value"][name] % 1:
            yield f"{name}: {_plain(mine['value'][name])} isn't a whole number", "Correct it"
    yield from _class_faults(mine, own)


def _changes(mine: pd.DataFrame, theirs: pd.DataFrame, own: Table) -> Iterator[tuple[str, str]]:
    """Tell values that are tenfold those of the package, and units that aren't its own."""
    for column in map(str, theirs):
        if column == "unit":
            changed = mine[column].map(str) != theirs[column].map(str)
        elif pd.api.types.is_numeric_dtype(theirs[column]) and column not in own.bounds:
            changed = ~_near(mine[column], theirs[column])
        else:
            continue
        for name in theirs.index[changed]:
            value = "empty" if pd.isna(mine[column][name]) else mine[column][name]
            yield (
                f"{name}: {column} can't be {value} where the package's table has "
                f"{theirs[column][name]}",
                "Check the unit: numbers may change up to tenfold, units not at all",
            )


def _class_faults(rows: pd.DataFrame, own: Table) -> Iterator[tuple[str, str]]:
    """Hold classes to bounds that rise and leave no slope or loss without a class."""
    if own.classes is None:
        return
    ends = own.classes
    before = np.nan
    for lower, upper in rows[[ends.lower, ends.upper]].itertuples(index=False):
        if np.isnan(lower):
            continue
        if not np.isnan(before) and not 0 <= lower - before <= ends.gap_max:
            yield (
                f"{ends.lower} {lower:g} doesn't follow the {ends.upper} before it, {before:g}",
                "Classes must rise and meet, in the order of the package's table",
            )
        if upper <= lower:
            yield f"{ends.upper} {upper:g} isn't above {ends.lower} {lower:g}", "Correct it"
        before = upper


def _near(values: pd.Series, own: pd.Series) -> pd.Series:
    # A tenfold change is a slip of the unit or of the decimal point.
    same_sign = np.sign(values) == np.sign(own)
    ratio = (values / own).where(own != 0, 1.0)
    near: pd.Series = (same_sign & ratio.between(1 / TENFOLD, TENFOLD)) | (
        values.isna() & own.isna()
    )
    return near
