"""What staff have ruled out in the field: read from a file, and respected by the next run."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pandas as pd

from districtplan.accepted import SHOWN_MAX, Given, UnusableError, accept
from districtplan.conservation.measures import Options
from districtplan.signs import hidden

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

VETOES = ("plot_id", "measure", "why", "date")
"""Columns of a file of vetoes."""
ALL = "all"
"""Measure of a row that rules out every one."""


def accept_vetoes(
    given: pd.DataFrame, known: Collection[str], measures: Mapping[str, str]
) -> Given:
    """Take the rows that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``VETOES`` as text, ``reason`` and ``remedy`` (None where the
        row was read).
    known : Collection[str]
        Ids of the plots used.
    measures : Mapping[str, str]
        Names of the measures by how they may be written: see
        :func:`districtplan.conservation.catalogue.measure_names`.

    Returns
    -------
    Given
        Rows used: ``plot_id``, ``measure`` (or all), ``why`` and ``date``; and rows set aside.
    """

    def read(row: dict[str, Any]) -> dict[str, str]:
        measure = " ".join(row["measure"].lower().split())
        if measure not in {ALL, *measures}:
            told = (
                f"measure = {measure[:SHOWN_MAX]!a} isn't known"
                if measure
                else "it names no measure"
            )
            names = dict.fromkeys(measures.values())
            raise UnusableError(told, f"Give one of: {ALL}, {', '.join(names)}")
        if not row["why"].strip() or hidden(row["why"]):
            raise UnusableError("it says no reason that can be read", "Say in why what was found")
        try:
            day = date.fromisoformat(row["date"])
        except ValueError:
            told = f"date = {row['date'][:SHOWN_MAX]!a} isn't a day"
            raise UnusableError(told, "Write year-month-day, such as 2026-02-27") from None
        return {
            "plot_id": row["plot_id"],
            "measure": measures.get(measure, ALL),
            "why": row["why"],
            "date": day.isoformat(),
        }

    return accept(given, "plot_id", known, read, VETOES)


def ruled_out(vetoes: pd.DataFrame, measure: str) -> frozenset[str]:
    """Say on which plots staff ruled out a measure, by its name or with all.

    Parameters
    ----------
    vetoes : pandas.DataFrame
        Rows used: ``plot_id`` and ``measure``.
    measure : str
        The measure.

    Returns
    -------
    frozenset[str]
        Ids of the plots.
    """
    return frozenset(vetoes.loc[vetoes["measure"].isin([measure, ALL]), "plot_id"])


def respect(options: Options, used: pd.DataFrame) -> Options:
    """Take what was ruled out from what is offered.

    Parameters
    ----------
    options : Options
        Every plot beside every measure.
    used : pandas.DataFrame
        Vetoes: ``plot_id`` and ``measure``.

    Returns
    -------
    Options
        The same pairs; vetoed ones are refused for that reason, those refused anyway keep theirs.
    """
    offered, refused = options
    whole = set(used.loc[used["measure"] == ALL, "plot_id"])
    single = set(zip(used["plot_id"], used["measure"], strict=True))
    at_stake = offered["plot_id"].isin(set(used["plot_id"]))
    ruled_out = at_stake.to_numpy(copy=True)
    ruled_out[ruled_out] = [
        plot in whole or (plot, measure) in single
        for plot, measure in offered.loc[at_stake, ["plot_id", "measure"]].itertuples(index=False)
    ]
    gone = offered.loc[ruled_out, ["plot_id", "measure"]].reset_index(drop=True)
    gone["measure_reason"] = pd.Categorical(
        ["vetoed"] * len(gone), refused["measure_reason"].cat.categories
    )
    return Options(
        offered[~ruled_out].reset_index(drop=True), pd.concat([refused, gone], ignore_index=True)
    )
