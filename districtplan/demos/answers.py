"""Files on demonstration plots: what farmers answered, where they live, what was shown before."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from districtplan.accepted import NUMBER, SHOWN_MAX, Given, UnusableError, accept
from districtplan.signs import hidden

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    import pandas as pd

ANSWERS = ("plot_id", "tenure", "seasons_since_beans", "sex", "youth", "reached")
HOMESTEADS = ("farmer_id", "longitude_deg", "latitude_deg", "sex", "youth", "reached")
SHOWN = ("plot_id", "message", "seasons_ago", "seasons_shown")
"""Columns of these files."""
WOMAN, MAN = "female", "male"
SEASONS_MAX = 1_000
_WHOLE = re.compile(r"[0-9]{1,4}")


def accept_answers(given: pd.DataFrame, plots: Collection[str]) -> Given:
    """Take the answers that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``ANSWERS`` as text, ``reason`` and ``remedy``.
    plots : Collection[str]
        Ids of the plots that are used.

    Returns
    -------
    Given
        Rows used: ``plot_id``, ``tenure``, ``youth`` and ``reached`` (True, False or None),
        ``seasons_since_beans`` (1 the last season; empty where not known) and ``sex``; and rows set
        aside.
    """
    seen = given["plot_id"].value_counts()

    def read(row: dict[str, Any]) -> dict[str, Any]:
        _once(seen[row["plot_id"]], "plot_id")
        return {
            "plot_id": row["plot_id"],
            "tenure": _told(_yes, "tenure", row),
            "seasons_since_beans": _told(_seasons, "seasons_since_beans", row),
            **_who(row),
        }

    return accept(given, "plot_id", plots, read, ANSWERS)


def accept_homesteads(given: pd.DataFrame, plots: pd.DataFrame, far_deg: float) -> Given:
    """Take the homesteads that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``HOMESTEADS`` as text, ``reason`` and ``remedy``.
    plots : pandas.DataFrame
        ``longitude_deg`` and ``latitude_deg`` of the plots that are used (WGS 84).
    far_deg : float
        How far beyond all plots a homestead may be [degrees]: what is further is a slip.

    Returns
    -------
    Given
        Rows used: ``farmer_id``, ``longitude_deg`` and ``latitude_deg`` (WGS 84), ``sex``,
        ``youth`` and ``reached``; and rows set aside.
    """
    seen = given["farmer_id"].value_counts()

    def read(row: dict[str, Any]) -> dict[str, Any]:
        farmer = row["farmer_id"]
        if not farmer.strip() or hidden(farmer):
            raise UnusableError("it has no farmer_id that can be printed", "Give the farmer's id")
        _once(seen[farmer], "farmer_id")
        place = {
            name: _degrees(name, row[name], most)
            for name, most in (("longitude_deg", 180.0), ("latitude_deg", 90.0))
        }
        for name, value in place.items():
            if not plots[name].min() - far_deg <= value <= plots[name].max() + far_deg:
                told = f"{name} = {row[name][:SHOWN_MAX]!a} is far from all plots"
                raise UnusableError(
                    told, "Look whether longitude and latitude are in their columns"
                )
        return {"farmer_id": farmer, **place, **_who(row)}

    return accept(given, "farmer_id", set(given["farmer_id"]), read, HOMESTEADS)


def accept_shown(given: pd.DataFrame, plots: Collection[str]) -> Given:
    """Take the demonstration plots of seasons before that can be used.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``SHOWN`` as text, ``reason`` and ``remedy``.
    plots : Collection[str]
        Ids of the plots that are used.

    Returns
    -------
    Given
        Rows used: ``plot_id``, ``message``, ``seasons_ago`` (1 the last) and ``seasons_shown``; and
        rows set aside.
    """
    seen = given[["plot_id", "seasons_ago"]].value_counts()

    def read(row: dict[str, Any]) -> dict[str, Any]:
        if seen[row["plot_id"], row["seasons_ago"]] > 1:
            told = "this plot_id stands in several rows of one season"
            raise UnusableError(told, "Keep one of them")
        if not row["message"]:
            raise UnusableError("it names no message", "Give it as the plan has it")
        found = {name: _seasons(name, row) for name in ("seasons_ago", "seasons_shown")}
        for name, value in found.items():
            if not value:
                told = f"{name} = {row[name][:SHOWN_MAX]!a} isn't a number of seasons"
                raise UnusableError(told, "Give a whole number from 1 on")
        return {"plot_id": row["plot_id"], "message": row["message"], **found}

    return accept(given, "plot_id", plots, read, SHOWN)


def _once(times: int, key: str) -> None:
    if times > 1:
        raise UnusableError(f"this {key} stands in several rows", "Keep one of them")


def _told(read: Callable[[str, dict[str, Any]], Any], name: str, row: dict[str, Any]) -> Any:  # noqa: ANN401 - of any kind
    """Read a value; one that can't be read costs itself and not the row."""
    try:
        return read(name, row)
    except UnusableError as wrong:
        return wrong


def _who(row: dict[str, Any]) -> dict[str, Any]:
    return {
        "sex": _told(_sex, "sex", row),
        "youth": _told(_yes, "youth", row),
        "reached": _told(_yes, "reached", row),
    }


def _sex(name: str, row: dict[str, Any]) -> str:
    sex: str = row[name].lower()
    if sex not in (WOMAN, MAN, ""):
        told = f"{name} = {row[name][:SHOWN_MAX]!a} isn't {WOMAN} or {MAN}"
        raise UnusableError(told, "Write one of them, or leave it empty")
    return sex


def _yes(name: str, row: dict[str, Any]) -> bool | None:
    answer = row[name].lower()
    if answer not in ("yes", "no", ""):
        told = f"{name} = {row[name][:SHOWN_MAX]!a} isn't yes or no"
        raise UnusableError(told, "Write yes or no, or leave it empty")
    return None if not answer else answer == "yes"


def _seasons(name: str, row: dict[str, Any]) -> int | None:
    if not row[name]:
        return None
    if not _WHOLE.fullmatch(row[name]) or int(row[name]) > SEASONS_MAX:
        told = f"{name} = {row[name][:SHOWN_MAX]!a} isn't a number of seasons"
        raise UnusableError(told, "Give a whole number, or leave it empty")
    return int(row[name])


def _degrees(name: str, text: str, most: float) -> float:
    if not re.fullmatch(f"-?{NUMBER}", text) or abs(float(text)) > most:
        told = f"{name} = {text[:SHOWN_MAX]!a} isn't a number of degrees"
        raise UnusableError(told, "Write digits only, such as 36.82145")
    return float(text)
