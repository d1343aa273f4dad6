"""Amounts in store and amounts that came: files with a row a buying point or a village."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from districtplan.accepted import NUMBER, SHOWN_MAX, Given, UnusableError, accept

if TYPE_CHECKING:
    from collections.abc import Collection

    import pandas as pd

GOODS = ("seed", "npk", "urea")
STOCK = ("buying_point", *(f"{good}_kg" for good in GOODS))
"""Columns of a file of stocks; an empty cell is none."""
ARRIVED = ("village", *STOCK[1:])
"""Columns of a file of deliveries; an empty cell: it came in full."""


def accept_amounts(given: pd.DataFrame, known: Collection[str], columns: tuple[str, ...]) -> Given:
    """Take the rows that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns as text, ``reason`` and ``remedy`` (None where the row was
        read).
    known : Collection[str]
        Buying points or villages that there are.
    columns : tuple[str, ...]
        ``STOCK`` or ``ARRIVED``.

    Returns
    -------
    Given
        Rows used: the key, and ``seed_g``, ``npk_g`` and ``urea_g``, None where the cell is empty;
        and rows set aside.
    """
    key, seen = columns[0], given[columns[0]].value_counts()

    def read(row: dict[str, Any]) -> dict[str, Any]:
        if seen[row[key]] > 1:
            raise UnusableError(f"this {key} stands in several rows", "Keep one of them")
        return {key: row[key], **{f"{good}_g": _grams(f"{good}_kg", row) for good in GOODS}}

    return accept(given, key, known, read, (key, *(f"{good}_g" for good in GOODS)))


def _grams(name: str, row: dict[str, Any]) -> int | None:
    text = row[name]
    if not text:
        return None
    if not re.fullmatch(NUMBER, text):
        told = f"{name} = {text[:SHOWN_MAX]!a} isn't an amount"
        raise UnusableError(told, "Write digits only, such as 125.5")
    return round(float(text) * 1000)
