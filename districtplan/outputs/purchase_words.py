"""Words on what is bought: the order in sentences, the calendar, the tables of people."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from districtplan.inputs import LINES
from districtplan.outputs import purchase_tables
from districtplan.outputs.purchase_notes import notes
from districtplan.outputs.purchase_tables import GOODS
from districtplan.outputs.wording import kilogram_form

if TYPE_CHECKING:
    from datetime import date

    import pandas as pd

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

SHOWN = ("zone", "season", "first_day", "last_day", "season_work", "work_note", "work_source")
"""Columns of the sheet of the calendar."""


def headline(results: Results, texts: Texts) -> list[str]:
    """Say in short what is bought.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        The first good, whether it is an order or an upper limit; then the others, the lines, what
        makes it unsure and what is left out.
    """
    bought = results.purchase
    goods = [of for good in GOODS if (of := _amount(results, good, texts))]
    if not goods:
        nobody = purchase_tables.theirs(bought).empty
        said = [texts.say(f"purchase.headline_{'nobody' if nobody else 'nothing'}")]
    else:
        said = [_opening(results, goods[0], texts)]
    if goods[1:]:
        said.append(texts.say("purchase.and_more", goods=texts.listed(goods[1:])))
    return [*said, _lines(results, texts), *_unsure(results, texts), *_no_rate(results, texts)]


def _opening(results: Results, goods: str, texts: Texts) -> str:
    """Say when to order and what money it takes before what it is: the first line of a phone."""
    bought = results.purchase
    if not bought.is_order:
        return texts.say("purchase.headline_limit", goods=goods)
    dated = bought.calendar
    usual = dated[(dated["season"] == "usual") & (dated["work"] == "order")]
    told = {"goods": goods, "days": span(usual["first_day"].min(), usual["last_day"].max(), texts)}
    costs = list(purchase_tables.costs_in_all(bought).values())
    known = [cost for cost in costs if cost is not None]
    if len(known) < len(costs):
        return texts.say("purchase.headline_order", **told)
    currency = results.plan.money.currency
    unit = "" if currency is None else f" {currency}"
    cost = texts.number(math.fsum(known), ",.0f")
    return texts.say("purchase.headline_order_cost", cost=cost, unit=unit, **told)


def span(first: date, last: date, texts: Texts) -> str:
    """Say from which day to which.

    Parameters
    ----------
    first : datetime.date
        The first day.
    last : datetime.date
        The last.
    texts : Texts
        The words.

    Returns
    -------
    str
        One day, or two, in brief.
    """
    told = [
        texts.say("dates.short", day=day.day, month=texts.say(f"dates.brief_{day.month}"))
        for day in (first, last)
    ]
    return told[0] if first == last else texts.say("dates.span", first=told[0], last=told[1])


def _amount(results: Results, good: str, texts: Texts) -> str:
    sums = purchase_tables.in_all(results.purchase).get(good)
    if sums is None:
        return ""
    bought = {"amount": amount(sums["ordered_g"], texts), "good": texts.say(f"goods.{good}_g")}
    if sums["packs"] is None:
        return texts.say("purchase.amount", **bought)
    return texts.say("purchase.amount_in_packs", packs=_packs(sums["packs"], good, texts), **bought)


def _packs(packs: int, good: str, texts: Texts) -> str:
    return texts.say(
        f"packs.{good}_packs.{'one' if packs == 1 else 'many'}", count=texts.number(packs)
    )


def _lines(results: Results, texts: Texts) -> str:
    lines = results.purchase.lines.groupby("order_line")[["plots", "bean_area_ha"]].sum()
    named = [
        texts.say(
            "purchase.plots_on",
            line=texts.say(f"order_lines.{line}"),
            plots=texts.number(int(row["plots"])),
            area=texts.number(row["bean_area_ha"], ",.1f"),
        )
        for line, row in lines.reindex(LINES).dropna().iterrows()
    ]
    return texts.say("purchase.lines", lines=texts.listed(named))


def _unsure(results: Results, texts: Texts) -> list[str]:
    reasons = set(results.purchase.orders["dominates"]) - {"", "nothing"}
    if not reasons:
        return []
    share = texts.number(100 * results.plan.orders.chance_enough_share, ".0f")
    why = texts.say(f"purchase.why.{'both' if len(reasons) > 1 else reasons.pop()}")
    return [texts.say("purchase.sure", share=share, why=why)]


def _no_rate(results: Results, texts: Texts) -> list[str]:
    kits = results.purchase.kits
    goods = [texts.say(f"goods.{good}_g") for good in GOODS if kits[f"{good}_g"].isna().all()]
    return [texts.say("purchase.no_rate", goods=texts.listed(goods))] if goods else []


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
        left over, what makes it unsure, and the notes beside it.
    """
    bought = results.purchase
    nobody = bought.is_order and purchase_tables.theirs(bought).empty
    kind = "headline_nobody" if nobody else "order" if bought.is_order else "limit"
    said = [texts.say(f"purchase.{kind}")]
    said.append(_lines(results, texts))
    said += [line for good in GOODS for line in of_good(results, good, texts)]
    said += [*_unsure(results, texts), *_no_rate(results, texts)]
    return [*said, *notes(results, texts)]


def amount(grams: int | None, texts: Texts) -> str:
    """Say how many kilograms there are, none as a plain nought.

    Parameters
    ----------
    grams : int | None
        Grams, None where they aren't known.
    texts : Texts
        The words.

    Returns
    -------
    str
        Kilograms.
    """
    if grams is None:
        return ""
    return texts.number(grams / 1000, kilogram_form(grams)) if grams else "0"


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
    found = purchase_tables.in_all(results.purchase).get(good)
    if found is None:
        return []
    sums = {
        name: amount(found[f"{name}_g"], texts)
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
    sums["in_stock"] = amount(purchase_tables.in_stock(results, good), texts)
    said = texts.say("purchase.good", good=texts.say(f"goods.{good}_g"), **sums)
    if found["packs"] is not None:
        counted = _packs(found["packs"], good, texts)
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
    dated = purchase_tables.calendar(results.purchase)
    notes = texts.section("works_note")
    said = [
        " ".join(
            [
                *([notes[work]] if work in notes else []),
                *([texts.say("works_note.no_hoe")] if no_hoe else []),
                *([texts.say("works_note.rule", rule=rule)] if rule else []),
            ]
        )
        for work, no_hoe, rule in dated[["season_work", "no_hoe", "onset_rule"]].itertuples(
            index=False
        )
    ]
    named = works_named(dated, texts).assign(
        season=[texts.say(f"seasons.{season}") for season in dated["season"]], work_note=said
    )
    zones = [zone or texts.say("seasons.rest") for zone in dated["zone"]]
    return named.assign(zone=zones)[list(SHOWN)]


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
