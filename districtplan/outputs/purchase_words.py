"""Words on what is bought: the order in sentences, the calendar, the tables of people."""

from __future__ import annotations

from typing import TYPE_CHECKING

from districtplan.outputs.purchase_tables import GOODS, purchase_tables
from districtplan.outputs.wording import kilograms

if TYPE_CHECKING:
    import pandas as pd

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

SHOWN = ("season", "first_day", "last_day", "season_work", "work_note", "work_source")
"""Columns of the sheet of the calendar."""


def sentences(results: Results, texts: Texts) -> list[str]:
    """Say what the order is.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Whether it is an order, the four lines, what is enough of each good, its packs and what is
        left over, and what makes it unsure.
    """
    bought = results.purchase
    said = [texts.say(f"purchase.{'order' if bought.is_order else 'limit'}")]
    counts = bought.lines.groupby("order_line")["plots"].sum()
    named = [
        texts.say("purchase.plots_on", line=texts.say(f"order_lines.{line}"), plots=f"{count:,}")
        for line, count in counts.items()
    ]
    said.append(texts.say("purchase.lines", lines=texts.listed(named)))
    said += [line for good in GOODS for line in of_good(results, good, texts)]
    reasons = set(bought.orders["dominates"]) - {"", "nothing"}
    if reasons:
        share = f"{100 * results.plan.orders.chance_enough_share:.0f}"
        why = "both" if len(reasons) > 1 else reasons.pop()
        said.append(texts.say("purchase.sure", share=share, why=texts.say(f"purchase.why.{why}")))
    poles = bought.poles["poles_wanted"].sum()
    if poles:
        said.append(texts.say("purchase.poles", count=f"{int(poles):,}"))
    if bought.cap_in_every_hole_kg_ha is not None:
        amount = f"{bought.cap_in_every_hole_kg_ha:,.0f}"
        said.append(texts.say("purchase.cap", amount=amount))
    if bought.labour.empty:
        said.append(texts.say("purchase.no_labour"))
    if bought.costs["cost_cents"].isna().any():
        said.append(texts.say("purchase.no_money"))
    return said


def of_good(results: Results, good: str, texts: Texts) -> list[str]:
    """Say what is bought of one good over all buying points.

    Parameters
    ----------
    results : Results
        The run.
    good : str
        Seed, NPK, urea or manure.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        One sentence, none where none is bought.
    """
    orders = results.purchase.orders
    theirs = orders[orders["good"] == good]
    if theirs.empty:
        return []
    sums = {
        name: kilograms(int(theirs[f"{name}_g"].sum()))
        for name in (
            "planned",
            "need_low",
            "need_usual",
            "need_high",
            "wanted",
            "stock",
            "leftover",
        )
    }
    said = texts.say("purchase.good", good=texts.say(f"goods.{good}_g"), **sums)
    if theirs["packs"].notna().all():
        packs = int(theirs["packs"].sum())
        counted = texts.say(
            f"packs.{good}_packs.{'one' if packs == 1 else 'many'}", count=f"{packs:,}"
        )
        said = f"{said} {texts.say('purchase.packs', packs=counted, **sums)}"
    return [said]


def calendar(results: Results, texts: Texts) -> pd.DataFrame:
    """Put the calendar into words.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    pandas.DataFrame
        The columns ``SHOWN``, in order of time a season.
    """
    dated = purchase_tables(results)["calendar"]
    notes = texts.section("works_note")
    said = [
        " ".join(
            [
                *([notes[work]] if work in notes else []),
                *([texts.say("works_note.no_hoe")] if no_hoe else []),
            ]
        )
        for work, no_hoe in zip(dated["season_work"], dated["no_hoe"], strict=True)
    ]
    named = works_named(dated, texts).assign(
        season=[texts.say(f"seasons.{season}") for season in dated["season"]], work_note=said
    )
    return named[list(SHOWN)]


def works_named(table: pd.DataFrame, texts: Texts) -> pd.DataFrame:
    """Name the works of a table.

    Parameters
    ----------
    table : pandas.DataFrame
        With ``season_work``.
    texts : Texts
        The words.

    Returns
    -------
    pandas.DataFrame
        The same, its works in words.
    """
    return table.assign(season_work=[texts.say(f"works.{work}") for work in table["season_work"]])


def reasons_named(orders: pd.DataFrame, texts: Texts) -> pd.DataFrame:
    """Name what makes orders unsure, and what they are worth.

    Parameters
    ----------
    orders : pandas.DataFrame
        With ``dominates`` and ``order_status``.
    texts : Texts
        The words.

    Returns
    -------
    pandas.DataFrame
        The same in words.
    """
    return orders.assign(
        dominates=[texts.say(f"purchase.why.{why}") if why else "" for why in orders["dominates"]],
        order_status=[
            texts.say(f"purchase.status_{'order' if one == 'order' else 'limit'}")
            for one in orders["order_status"]
        ],
    )


def margins_named(margins: pd.DataFrame, texts: Texts) -> pd.DataFrame:
    """Name the rows of margins.

    Parameters
    ----------
    margins : pandas.DataFrame
        With ``margin_of``.
    texts : Texts
        The words.

    Returns
    -------
    pandas.DataFrame
        The same in words.
    """
    return margins.assign(
        margin_of=[texts.say(f"purchase.margin_{row}") for row in margins["margin_of"]]
    )
