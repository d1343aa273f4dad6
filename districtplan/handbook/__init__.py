"""Published tables: each a CSV with source and provenance in every row, and a TOML beside it.

The handbook is a value: stages are handed one and look numbers up by table and name. A user's
folder may add a table, or replace the values of one (:func:`load`).
"""

from __future__ import annotations

import functools
import hashlib
import io
import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from districtplan.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

REQUIRED_COLUMNS = ("source", "provenance")
KEYS = ("number", "name")
"""What identifies a row, the first that a table has."""
BYTES_MAX = 1_000_000
TENFOLD = 10
PROVENANCES = ("read", "memory", "computed", "common practice, no source", "judgement")


@dataclass(frozen=True)
class Table:
    """One published table.

    Attributes
    ----------
    name : str
        Name of the table, which is the name of its files.
    title : str
        What it is, in a sentence.
    units : Mapping[str, str]
        Unit or meaning of each column.
    rows : pandas.DataFrame
        The rows; every one has ``source`` and ``provenance``.
    sha256 : str
        Digest of the CSV's bytes.
    bounds : Mapping[str, tuple[float, float]]
        Lowest and highest value that a user's table may have, by column; for columns without,
        numbers may change up to tenfold.
    """

    name: str
    title: str
    units: Mapping[str, str]
    rows: pd.DataFrame
    sha256: str
    bounds: Mapping[str, tuple[float, float]]


@dataclass(frozen=True)
class Handbook:
    """All tables in force.

    Attributes
    ----------
    tables : Mapping[str, Table]
        Tables by name.
    """

    tables: Mapping[str, Table]

    def rows(self, table: str) -> pd.DataFrame:
        """Give the rows of a table.

        Parameters
        ----------
        table : str
            Name of the table.

        Returns
        -------
        pandas.DataFrame
            Its rows.
        """
        return self.tables[table].rows

    def number(self, table: str, name: str) -> float:
        """Look up one constant in a table of the columns ``name`` and ``value``.

        Parameters
        ----------
        table : str
            Name of the table.
        name : str
            Name of the constant.

        Returns
        -------
        float
            Its value.

        Raises
        ------
        KeyError
            If the table has no such constant.
        """
        rows = self.rows(table)
        found = rows.loc[rows["name"] == name, "value"]
        if len(found) != 1:
            raise KeyError(f"{table}: {name}")
        return float(found.iloc[0])

    def source(self, table: str, name: str) -> str:
        """Say where one constant comes from.

        Parameters
        ----------
        table : str
            Name of the table.
        name : str
            Name of the constant.

        Returns
        -------
        str
            Its source; one from memory says so.
        """
        rows = self.rows(table)
        row = rows.loc[rows["name"] == name].iloc[0]
        return cite(str(row["source"]), str(row["provenance"]))


def cite(source: str, provenance: str) -> str:
    """Write a source as it is printed.

    Parameters
    ----------
    source : str
        Author, year, title, table.
    provenance : str
        One of ``PROVENANCES``.

    Returns
    -------
    str
        The source; anything not read in print says so.
    """
    return source if provenance == "read" else f"{source} [{provenance}]"


def parse(name: str, csv: bytes, toml: bytes) -> Table:
    """Make a table of its two files.

    Parameters
    ----------
    name : str
        Name of the table.
    csv : bytes
        The rows.
    toml : bytes
        Title, units and, where a user's values must stay inside them, bounds.

    Returns
    -------
    Table
        The table, checked.

    Raises
    ------
    InputError
        If a file can't be read, or a column, a source or a provenance is missing or unknown.
    """
    where = f"handbook table {name}"
    try:
        about: dict[str, Any] = tomllib.loads(toml.decode("utf-8-sig"))
        rows = pd.read_csv(io.BytesIO(csv), encoding="utf-8-sig")
    except (ValueError, RecursionError) as error:
        raise InputError(
            Fault(where, f"can't be read ({error})", "Save it as UTF-8 text")
        ) from error
    faults = [Fault(where, *told) for told in (*_about_faults(about, rows), *_row_faults(rows))]
    if faults:
        raise InputError(*faults)
    digest = hashlib.sha256(csv).hexdigest()
    return Table(name, about["title"], about["units"], rows, digest, about.get("bounds", {}))


def _about_faults(about: dict[str, Any], rows: pd.DataFrame) -> Iterator[tuple[str, str]]:
    title, units = about.get("title"), about.get("units")
    if not (isinstance(title, str) and title):
        yield "has no title", "Add title = ..."
    told = units if isinstance(units, dict) else {}
    for column in rows:
        if not isinstance(told.get(column), str):
            yield f"doesn't say what {column!r} is", "Add it under [units]"


def _row_faults(rows: pd.DataFrame) -> Iterator[tuple[str, str]]:
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
                yield f"unknown provenance {word!r}", f"Use one of {', '.join(PROVENANCES)}"


def _lines(marked: pd.Series) -> list[int]:
    return [place + 2 for place, mark in enumerate(marked) if mark]


@functools.cache
def packaged() -> Handbook:
    """Load the tables that come with the package.

    Returns
    -------
    Handbook
        The tables, by name.
    """
    folder = resources.files(__name__)
    names = sorted(entry.name[:-4] for entry in folder.iterdir() if entry.name.endswith(".csv"))
    return Handbook(
        {
            name: parse(
                name,
                folder.joinpath(f"{name}.csv").read_bytes(),
                folder.joinpath(f"{name}.toml").read_bytes(),
            )
            for name in names
        }
    )


def load(folder: Path | None = None) -> Handbook:
    """Load the package's tables and, over them, those of a folder.

    Parameters
    ----------
    folder : Path | None, default None
        A user's folder of ``<table>.csv`` and ``<table>.toml``.

    Returns
    -------
    Handbook
        The tables in force.

    Raises
    ------
    InputError
        If tables of the folder can't be used or differ from the package's in more than values; all
        faults are told together.
    """
    own = packaged()
    if folder is None:
        return own
    tables, faults = dict(own.tables), []
    files = sorted(folder.glob("*.csv"))
    if not files:
        faults.append(
            Fault(str(folder), "holds no table", "Put <table>.csv and <table>.toml in it")
        )
    for csv in files:
        try:
            table = _read(csv)
        except InputError as error:
            faults += error.faults
            continue
        if table.name in own.tables:
            faults += [
                Fault(str(csv), *told) for told in _change_faults(table, own.tables[table.name])
            ]
        tables[table.name] = table
    if faults:
        raise InputError(*faults)
    return Handbook(tables)


def _read(csv: Path) -> Table:
    toml = csv.with_suffix(".toml")
    if not csv.stem.isidentifier():
        raise InputError(
            Fault(str(csv), "isn't a table's name", "Use letters, digits and underscores")
        )
    try:
        for file in (csv, toml):
            if file.stat().st_size > BYTES_MAX:
                raise InputError(
                    Fault(str(file), f"is larger than {BYTES_MAX} bytes", "Keep only the table")
                )
        return parse(csv.stem, csv.read_bytes(), toml.read_bytes())
    except FileNotFoundError as error:
        raise InputError(
            Fault(str(csv), "has no TOML beside it", f"Write {toml.name} (title, [units])")
        ) from error
    except OSError as error:
        raise InputError(
            Fault(str(csv), f"can't be read ({error.strerror})", "Check the file and its rights")
        ) from error


def _change_faults(table: Table, own: Table) -> Iterator[tuple[str, str]]:
    """Hold a user's table to the shape of the package's, so that stages can rely on it."""
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
                f"line {line}: {column} can't be {value!r}",
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
        return
    if sorted(table.rows[key]) != sorted(own.rows[key]):
        yield (
            f"must hold each of these once: {', '.join(map(str, own.rows[key]))}",
            f"Check {key!r}",
        )
        return
    mine = table.rows.set_index(key).loc[own.rows[key]]
    theirs = own.rows.set_index(key)
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


def _near(values: pd.Series, own: pd.Series) -> pd.Series:
    # A tenfold change is a slip of the unit or of the decimal point.
    same_sign = np.sign(values) == np.sign(own)
    ratio = (values / own).where(own != 0, 1.0)
    near: pd.Series = (same_sign & ratio.between(1 / TENFOLD, TENFOLD)) | (
        values.isna() & own.isna()
    )
    return near
