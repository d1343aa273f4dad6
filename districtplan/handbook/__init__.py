"""Published tables: each a CSV with source and provenance in every row, and a TOML beside it.

The handbook is a value: stages are handed one and look numbers up by table and name. A user's
folder may add a table, or replace the values of one (:func:`load`).
"""

from __future__ import annotations

import functools
import hashlib
import io
import tomllib
from dataclasses import dataclass, field, replace
from importlib import resources
from typing import TYPE_CHECKING, Any

import pandas as pd

from districtplan.errors import Fault, InputError
from districtplan.handbook import practice as practices
from districtplan.handbook.checks import about_faults, change_faults, row_faults

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

BYTES_MAX = 1_000_000
NO_TABLES = (practices.TABLE, "bean_practice")
"""What a user changes by a practice of his own, not by a table."""


NUMBER_UNITS = {
    "name": "Name by which the program looks the number up",
    "value": "The number, in the unit of its row",
    "unit": "Unit of the value; 1 where it has none",
    "source": "Author, year, title, table",
    "provenance": "How the number was come by: read, memory, computed, common practice, judgement",
}


@dataclass(frozen=True)
class Classes:
    """Which columns of a table bound its classes, each row one class.

    Attributes
    ----------
    lower : str
        Column of the lower bounds.
    upper : str
        Column of the upper bounds; empty in an open last class.
    gap_max : float
        Widest gap between a class and the next, in the unit of the bounds.
    """

    lower: str
    upper: str
    gap_max: float


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
    whole : tuple[str, ...]
        Names of the constants that are whole numbers.
    classes : Classes | None
        The columns that bound classes, where the rows are classes.
    """

    name: str
    title: str
    units: Mapping[str, str]
    rows: pd.DataFrame
    sha256: str
    bounds: Mapping[str, tuple[float, float]]
    whole: tuple[str, ...] = ()
    classes: Classes | None = None

    @functools.cached_property
    def constants(self) -> Mapping[str, float]:
        """Give values by name, of a table of the columns ``name`` and ``value``.

        Returns
        -------
        Mapping[str, float]
            Values by name.
        """
        return dict(zip(self.rows["name"], self.rows["value"].astype(float), strict=True))


@dataclass(frozen=True)
class Handbook:
    """All tables in force.

    Attributes
    ----------
    tables : Mapping[str, Table]
        Tables by name; ``practice`` holds the numbers of the practice.
    practice : Practice
        How the crop is grown.
    """

    tables: Mapping[str, Table]
    practice: practices.Practice = field(default_factory=lambda: practices.packaged()[0])

    def with_practice(self, practice: practices.Practice, sha256: str) -> Handbook:
        """Put another practice in force.

        Parameters
        ----------
        practice : Practice
            How the crop is grown.
        sha256 : str
            Digest of its file.

        Returns
        -------
        Handbook
            The same tables, with the numbers of this practice.
        """
        table = Table(
            practices.TABLE,
            practice.title,
            NUMBER_UNITS,
            practice.rows(),
            sha256,
            {},
            tuple(name for name, allowed in practices.NUMBERS.items() if allowed.whole),
        )
        return replace(self, tables={**self.tables, table.name: table}, practice=practice)

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
        constants = self.tables[table].constants
        if name not in constants:
            raise KeyError(f"{table}: {name}")
        return constants[name]

    def numbers(self, table: str) -> dict[str, float]:
        """Give all constants of a table of the columns ``name`` and ``value``.

        Parameters
        ----------
        table : str
            Name of the table.

        Returns
        -------
        dict[str, float]
            Values by name.
        """
        return dict(self.tables[table].constants)

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
        Title, units and what a user's values are held to: bounds, whole numbers, classes.

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
    faults = [Fault(where, *told) for told in (*about_faults(about, rows), *row_faults(rows))]
    if faults:
        raise InputError(*faults)
    digest = hashlib.sha256(csv).hexdigest()
    return Table(
        name,
        about["title"],
        about["units"],
        rows,
        digest,
        {column: (low, high) for column, (low, high) in about.get("bounds", {}).items()},
        tuple(about.get("whole", ())),
        Classes(**about["classes"]) if "classes" in about else None,
    )


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
    tables = {
        name: parse(
            name,
            folder.joinpath(f"{name}.csv").read_bytes(),
            folder.joinpath(f"{name}.toml").read_bytes(),
        )
        for name in names
    }
    return Handbook(tables).with_practice(*practices.packaged())


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
                Fault(str(csv), *told) for told in change_faults(table, own.tables[table.name])
            ]
        tables[table.name] = table
    if faults:
        raise InputError(*faults)
    return replace(own, tables=tables)


def _read(csv: Path) -> Table:
    toml = csv.with_suffix(".toml")
    if csv.stem in NO_TABLES:
        raise InputError(
            Fault(
                str(csv),
                "isn't a table any more: a practice has a file of its own",
                "Write a practice and name it in the plan, [practice] file",
            )
        )
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
