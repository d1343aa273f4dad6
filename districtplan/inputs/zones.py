"""When the rains begin by zone: villages that go by one rule share a calendar."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from districtplan.accepted import SHOWN_MAX, Given, UnusableError, accept
from districtplan.plan import FIRST_DAY, LAST_DAY
from districtplan.signs import hidden

if TYPE_CHECKING:
    from collections.abc import Collection

    import pandas as pd

ONSETS = ("village", "zone", "onset_rule", "onset_early", "onset_usual", "onset_late")
"""Columns of a file of onsets."""
DAYS = ONSETS[3:]
REST = ""
"""Zone of villages that no row names: the plan's own onsets."""
TEXT_MAX = 200


def accept_onsets(given: pd.DataFrame, villages: Collection[str]) -> Given:
    """Take the rows that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``ONSETS`` as text, ``reason`` and ``remedy`` (None where the
        row was read).
    villages : Collection[str]
        Villages that there are.

    Returns
    -------
    Given
        Rows used: the columns ``ONSETS``, days as dates or None; and rows set aside. All rows of a
        zone say the same, or only those like its first are used.
    """
    seen = given["village"].value_counts()
    zones: dict[str, tuple[Any, ...]] = {}

    def read(row: dict[str, Any]) -> dict[str, Any]:
        if seen[row["village"]] > 1:
            raise UnusableError("this village stands in several rows", "Keep one of them")
        for name in ("zone", "onset_rule"):
            if len(row[name]) > TEXT_MAX or hidden(row[name]):
                raise UnusableError(f"{name} can't be printed", "Write a short plain text")
        if not row["zone"].strip():
            raise UnusableError("it names no zone", "Name one")
        days = [_day(name, row[name]) for name in DAYS]
        known = [day for day in days if day is not None]
        if days[1] is None or known != sorted(known):
            told = "onset_usual is missing, or the onsets don't follow one another"
            raise UnusableError(told, "Give early, usual and late in this order")
        found = (row["onset_rule"], *days)
        if zones.setdefault(row["zone"], found) != found:
            raise UnusableError("its zone has another rule or other days above", "Say the same")
        named = dict(zip(("onset_rule", *DAYS), found, strict=True))
        return {"village": row["village"], "zone": row["zone"], **named}

    return accept(given, "village", villages, read, ONSETS)


def _day(name: str, text: str) -> date | None:
    if not text:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = None
    if day is None or not FIRST_DAY <= day <= LAST_DAY:
        told = f"{name} = {text[:SHOWN_MAX]!a} isn't a day"
        raise UnusableError(told, "Write year-month-day, such as 2026-03-15")
    return day
