"""The published numbers in force, each with where it comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from districtplan.handbook.checks import REQUIRED_COLUMNS

if TYPE_CHECKING:
    from collections.abc import Hashable

    from districtplan.handbook import Handbook, Table

# Columns that name a row, and those that qualify its numbers.
NAMING = ("name", "number")
# Columns whose values speak for themselves; others are printed with their column's name.
PLAIN = ("value", "equation")
UNIT = "unit"
NO_UNIT = (None, "1")


@dataclass(frozen=True)
class Entry:
    """One row of a handbook table, ready to be printed.

    Attributes
    ----------
    table : str
        Name of the table.
    what : str
        What the row is about.
    value : str
        Its values, named where there is more than one.
    unit : str
        Their unit, empty where the table states none of its own.
    source : str
        Author, year, title, table.
    provenance : str
        How the source was met: read, memory, computed, common practice or judgement.
    """

    table: str
    what: str
    value: str
    unit: str
    source: str
    provenance: str


def listing(handbook: Handbook) -> list[Entry]:
    """List every row of every table.

    Parameters
    ----------
    handbook : Handbook
        The tables in force.

    Returns
    -------
    list[Entry]
        The rows, table by table in alphabetical order.
    """
    return [
        _entry(table, row)
        for _, table in sorted(handbook.tables.items())
        for row in table.rows.to_dict("records")
    ]


def _entry(table: Table, row: dict[Hashable, Any]) -> Entry:
    known = {str(name): _shown(value) for name, value in row.items() if pd.notna(value)}
    naming = [name for name in NAMING if name in known] or [
        name for name in known if name not in REQUIRED_COLUMNS
    ][:1]
    values = {
        name: value
        for name, value in known.items()
        if name not in (*naming, *REQUIRED_COLUMNS, UNIT)
    }
    return Entry(
        table=table.name,
        what=", ".join(
            known[name] if name == "name" else f"{name} {known[name]}" for name in naming
        ),
        value=", ".join(
            value if name in PLAIN else f"{name} {value}" for name, value in values.items()
        ),
        unit="" if known.get(UNIT) in NO_UNIT else known[UNIT],
        source=known["source"],
        provenance=known["provenance"],
    )


def _shown(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)
