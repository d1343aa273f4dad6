"""What the buying view of the page shows beside the map: the order and the calendar."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from districtplan.outputs import purchase_tables, purchase_words
from districtplan.outputs.purchase_notes import notes

if TYPE_CHECKING:
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

ROWS = (
    "wanted",
    "in_stock",
    "stock",
    "packs",
    "cost",
    "leftover",
    "planned",
    "need_low",
    "need_usual",
    "need_high",
)
"""What is told of each good, what is bought first."""


def order(results: Results, texts: Texts) -> dict[str, Any]:
    """Lay out the order over all buying points.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any]
        ``heads`` and ``rows`` of a table, a column a good; ``hint``, what it tells; and ``notes``,
        sentences beside the order.
    """
    sums = purchase_tables.in_all(results.purchase)
    costs = purchase_tables.costs_in_all(results.purchase).values()
    known = list(sums)
    rows = []
    for name in ROWS:
        head = texts.say(f"purchase.head_{name}")
        if name == "cost":
            if all(cost is None for cost in costs):
                continue
            cells = ["" if cost is None else texts.number(cost, ",.0f") for cost in costs]
            currency = results.plan.money.currency
            if currency is not None:
                head = texts.say("workbook.in_currency", head=head, currency=currency)
        elif name == "packs":
            packs = [of_good["packs"] for of_good in sums.values()]
            cells = ["" if one is None else texts.number(one) for one in packs]
        elif name == "in_stock":
            held = [purchase_tables.in_stock(results, good) for good in known]
            cells = [purchase_words.amount(grams, texts) for grams in held]
        else:
            cells = [
                purchase_words.amount(of_good[f"{name}_g"], texts) for of_good in sums.values()
            ]
        rows.append([head, *cells])
    return {
        "heads": ["", *(texts.say(f"purchase.of_{good}") for good in known)],
        "rows": rows if known else [],
        "hint": texts.say(f"purchase.hint_{_kind(results)}"),
        "notes": notes(results, texts),
    }


def served(results: Results, texts: Texts) -> str:
    """Say whom the totals are of.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    str
        The sentence.
    """
    return texts.say(f"purchase.served_{_kind(results)}")


def _kind(results: Results) -> str:
    return "order" if results.purchase.is_order else "limit"


def calendar(results: Results, texts: Texts) -> dict[str, Any]:
    """Lay out the calendar, a row a work and a column a season.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any]
        ``heads`` and ``rows`` of a table.
    """
    dated = purchase_tables.calendar(results.purchase)
    worded = purchase_words.calendar(results, texts)
    pairs = zip(dated["first_day"], dated["last_day"], strict=True)
    days = dict(
        zip(
            zip(dated["zone"], dated["season"], dated["season_work"], strict=True),
            [purchase_words.span(first, last, texts) for first, last in pairs],
            strict=True,
        )
    )
    others = [season for season in dict.fromkeys(dated["season"]) if season != "usual"]
    usual = dated[dated["season"] == "usual"]
    rows = [
        [
            worded["season_work"][place]
            if dated["zone"].nunique() == 1
            else f"{worded['zone'][place]}: {worded['season_work'][place]}",
            days[zone, "usual", work],
            worded["work_note"][place],
            *(days.get((zone, season, work), "") for season in others),
        ]
        for place, zone, work in usual[["zone", "season_work"]].itertuples()
    ]
    first, *more = (texts.say(f"seasons.{season}") for season in ("usual", *others))
    work, note = (texts.say(f"purchase.head_calendar_{one}") for one in ("work", "note"))
    return {"heads": [work, first, note, *more], "rows": rows}
