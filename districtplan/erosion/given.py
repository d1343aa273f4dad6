"""What comes in with the plan beside it: current practice of plots, soils of villages.

Rows that can be used, and those set aside with the reason: together all rows given.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np

from districtplan.accepted import NUMBER, SHOWN_MAX, Given, UnusableError, accept
from districtplan.erosion import erodibility
from districtplan.erosion.unit_systems import SYSTEMS, to_si

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping

    import pandas as pd

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

PRACTICE = (
    "plot_id",
    "rows",
    "row_form",
    "row_grade_pct",
    "structure",
    "condition",
    "spacing_m",
    "run_on",
)
"""Columns of a file of current practice."""

SOILS = (
    "village",
    "k",
    "k_unit",
    "sand_pct",
    "silt_pct",
    "very_fine_sand_pct",
    "clay_pct",
    "organic_carbon_pct",
    "organic_matter_pct",
    "structure",
    "permeability",
    "depth_m",
    "drainage",
)
"""Columns of a file of soils."""
FOR_K = SOILS[1 : SOILS.index("depth_m")]
"""Those of them that K is given by."""
DRAINAGE = ("free", "poor")
DEPTH_MAX_M = 10

ROWS = ("up and down", "across", "mixed")
FORMS = ("flat", "earthed up", "ridges")
CONDITIONS = ("good", "poor", "broken")
RUN_ON = (
    "none",
    "yes",
    "stopped by bank",
    "stopped by ditch",
    "stopped by path",
    "stopped by road",
    "stopped by strip",
    "stopped by terrace",
)
"""Whether water runs onto the plot from above."""
LISTED = 10
SPACING_MAX_M = 1_000


def accept_practice(
    given: pd.DataFrame,
    known: Collection[str],
    plan: Plan,
    handbook: Handbook,
    spelled: Mapping[str, str] | None = None,
) -> Given:
    """Take the rows of current practice that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``PRACTICE`` as text, ``reason`` and ``remedy``.
    known : Collection[str]
        Ids of the plots used.
    plan : Plan
        What is wanted; its form of the rows stands where a row gives none.
    handbook : Handbook
        The published tables: the structures that are known.
    spelled : Mapping[str, str] | None, default None
        Their names by other ways to write them, in small letters.

    Returns
    -------
    Given
        Rows used: ``plot_id``, ``rows``, ``row_form``, ``row_grade_pct`` (NaN where not given),
        ``structure``, ``condition`` (empty where there is none), ``spacing_m`` (NaN) and ``run_on``
        (empty where not given); and rows set aside.
    """
    table = handbook.rows("structures_now").set_index("name")

    def read(row: dict[str, Any]) -> dict[str, object]:
        rows = _choice("rows", row["rows"], ROWS) if row["rows"] else ""
        structure, condition = " ".join(row["structure"].lower().split()), row["condition"].lower()
        structure = (spelled or {}).get(structure, structure.replace("_", " "))
        if structure in {"", "none"}:
            structure = ""
            if condition:
                raise UnusableError("it has a condition and no structure", "Name the structure")
        else:
            _choice("structure", structure, tuple(table.index))
            _choice("condition", condition, CONDITIONS)
        run_on = _choice("run_on", row["run_on"], RUN_ON) if row["run_on"] else ""
        if not (rows or row["structure"] or run_on):
            raise UnusableError("it has neither rows nor a structure nor run_on", "Give one")
        spacing = _number("spacing_m", row["spacing_m"], 1, SPACING_MAX_M)
        shortens = structure and table["way"][structure] == "length"
        if shortens and condition != "broken" and np.isnan(spacing):
            raise UnusableError(
                f"{structure} need a spacing_m", "Give it down the slope, in metres"
            )
        form = row["row_form"].lower()
        return {
            "plot_id": row["plot_id"],
            "rows": rows,
            "row_form": _choice("row_form", form, FORMS) if form else plan.practice.row_form,
            "row_grade_pct": _number("row_grade_pct", row["row_grade_pct"], 0, 100),
            "structure": structure,
            "condition": condition,
            "spacing_m": spacing,
            "run_on": run_on,
        }

    return accept(given, "plot_id", known, _once(given, "plot_id", read), PRACTICE)


def accept_soils(
    given: pd.DataFrame, known: Collection[str], plan: Plan, handbook: Handbook
) -> Given:
    """Work out K of the villages whose soil is given, and set other rows aside.

    A value that can't be read costs the row only where nothing else in it can: what is left is
    used.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``SOILS`` as text, ``reason`` and ``remedy``.
    known : Collection[str]
        Villages that plots are of.
    plan : Plan
        What is wanted: by which equation K is worked out where it isn't given.
    handbook : Handbook
        The published tables.

    Returns
    -------
    Given
        Rows used: ``source_row``, ``village``, ``k`` [t ha h/(ha MJ mm)], ``k_by`` (given,
        nomograph, epic), ``depth_m`` [m], and ``drainage`` (free, poor); NaN and empty where not
        given or not read; ``not_read``, sentences on the latter. And rows set aside.
    """

    def read(row: dict[str, Any]) -> dict[str, object]:
        found: dict[str, object] = {"depth_m": np.nan, "drainage": "", "k": np.nan, "k_by": ""}
        parts: list[Callable[[], dict[str, object]]] = []
        if row["depth_m"]:
            parts.append(lambda: {"depth_m": _number("depth_m", row["depth_m"], 0, DEPTH_MAX_M)})
        if row["drainage"]:
            parts.append(lambda: {"drainage": _choice("drainage", row["drainage"], DRAINAGE)})
        if not parts or any(row[name] for name in FOR_K):
            parts.append(lambda: _erodibility(row, plan.soil.erodibility_equation, handbook))
        refused: list[UnusableError] = []
        for part in parts:
            try:
                found |= part()
            except UnusableError as unusable:
                refused.append(unusable)
        if len(refused) == len(parts):
            raise refused[0]
        told = " ".join(f"{reason}. {remedy}." for reason, remedy in (one.args for one in refused))
        return (
            {"source_row": row["source_row"], "village": row["village"]}
            | found
            | {"not_read": told}
        )

    names = ("source_row", "village", "k", "k_by", "depth_m", "drainage", "not_read")
    return accept(given, "village", known, _once(given, "village", read), names)


def soils_doubts(used: pd.DataFrame) -> list[str]:
    """Say which values of soils that are used couldn't be read.

    Parameters
    ----------
    used : pandas.DataFrame
        Rows used of :func:`accept_soils`.

    Returns
    -------
    list[str]
        A sentence a row, the first of them where there are many.
    """
    parts = used[used["not_read"] != ""]
    said = [
        f"Row {row.source_row} of the soils ({row.village}) is used in part: {row.not_read} What "
        "the plan gives stands instead."
        for row in parts.iloc[:LISTED].itertuples()
    ]
    if len(parts) > LISTED:
        said.append(f"{len(parts) - LISTED:,} more rows of the soils are used in part.")
    return said


def _erodibility(
    row: dict[str, Any], equation: str | None, handbook: Handbook
) -> dict[str, object]:
    if row["k"]:
        system = _choice("k_unit", row["k_unit"].lower(), SYSTEMS)
        k = _number("k", row["k"], 0, 1) * to_si("erodibility", system, handbook)
        by = "given"
    elif equation is None:
        raise UnusableError(
            "it has no k, and the plan names no equation",
            "Give k and k_unit, or soil.erodibility_equation in the plan",
        )
    else:
        k = _by_equation(equation, row, handbook)
        by = equation
    if not 0 < k <= handbook.number("soil_ranges", "erodibility_high"):
        raise UnusableError(f"K = {k:.4g} is believable of no soil", "Check units and values")
    return {"k": k, "k_by": by}


def _by_equation(equation: str, row: dict[str, Any], handbook: Handbook) -> float:
    n = handbook.numbers(erodibility.TABLE)

    def needed(name: str, low: float, high: float) -> float:
        value = _number(name, row[name], low, high)
        if np.isnan(value):
            raise UnusableError(f"{name} is missing", f"The {equation} needs it")
        return value

    silt, clay = needed("silt_pct", 0, 100), needed("clay_pct", 0, 100)
    carbon = _number("organic_carbon_pct", row["organic_carbon_pct"], 0, 100)
    matter = _number("organic_matter_pct", row["organic_matter_pct"], 0, 100)
    if np.isnan(carbon) == np.isnan(matter):
        both = not np.isnan(carbon)
        raise UnusableError(
            "it has both organic carbon and organic matter"
            if both
            else "organic_carbon_pct and organic_matter_pct are missing",
            "Give one of them",
        )
    per_carbon = n["organic_matter_per_carbon"]
    carbon = matter / per_carbon if np.isnan(carbon) else carbon
    if equation == "epic":
        sand = needed("sand_pct", 0, 100)
        if abs(sand + silt + clay - 100) > n["texture_sum_slack_pct"]:
            raise UnusableError(
                f"sand, silt and clay add up to {sand + silt + clay:g} %", "They make 100 %"
            )
        grains = {"sand_pct": sand, "silt_pct": silt, "clay_pct": clay}
        values = grains | {"organic_carbon_pct": carbon}
        return float(erodibility.epic(_arrays(values), handbook)[0])
    fine = silt + needed("very_fine_sand_pct", 0, 100)
    if fine + clay > 100 + n["texture_sum_slack_pct"]:
        raise UnusableError(
            f"silt, very fine sand and clay add up to {fine + clay:g} %", "They can't pass 100 %"
        )
    values = {
        "silt_and_very_fine_sand_pct": fine,
        "clay_pct": clay,
        "organic_matter_pct": carbon * per_carbon,
        "structure": _class("structure", row, n["structure_classes"]),
        "permeability": _class("permeability", row, n["permeability_classes"]),
    }
    k = float(erodibility.nomograph(_arrays(values), handbook)[0])
    if np.isnan(k):
        raise UnusableError(
            f"the nomograph isn't for {fine:g} % of silt and very fine sand",
            "Give k, or use epic",
        )
    return k


def _arrays(values: dict[str, float]) -> dict[str, np.ndarray[tuple[int], np.dtype[np.float64]]]:
    return {name: np.array([value], dtype=np.float64) for name, value in values.items()}


def _class(name: str, row: dict[str, Any], classes: float) -> float:
    value = _number(name, row[name], 1, classes)
    if not value.is_integer():
        raise UnusableError(f"{name} isn't a class", f"Give a whole number, 1 to {classes:g}")
    return value


def _choice(name: str, text: str, known: tuple[str, ...]) -> str:
    if text.lower() not in known:
        told = f"{name} = {text[:SHOWN_MAX]!a} isn't known" if text else f"{name} is missing"
        raise UnusableError(told, f"Give one of: {', '.join(known)}")
    return text.lower()


def _number(name: str, text: str, low: float, high: float) -> float:
    if not text:
        return np.nan
    if not re.fullmatch(NUMBER, text):
        raise UnusableError(
            f"{name} = {text[:SHOWN_MAX]!a} isn't a number", "Write digits only, such as 12.5"
        )
    value = float(text)
    if not low <= value <= high:
        raise UnusableError(f"{name} = {value:g} lies outside {low:g} to {high:g}", "Correct it")
    return value


def _once(
    given: pd.DataFrame, key: str, read: Callable[[dict[str, Any]], dict[str, object]]
) -> Callable[[dict[str, Any]], dict[str, object]]:
    """Read rows whose key stands in no other row."""
    listed: dict[str, list[int]] = {}
    for source_row, value in zip(given["source_row"], given[key], strict=True):
        listed.setdefault(value, []).append(source_row)

    def read_once(row: dict[str, Any]) -> dict[str, object]:
        rows = listed[row[key]]
        if len(rows) > 1:
            more = f" and {len(rows) - LISTED} more" if len(rows) > LISTED else ""
            told = ", ".join(map(str, rows[:LISTED]))
            raise UnusableError(
                f"this {key} stands in {len(rows)} rows: {told}{more}", "Keep one of them"
            )
        return read(row)

    return read_once
