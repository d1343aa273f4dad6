"""What the buying view of the page shows beside the map: the order and the calendar."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from districtplan.outputs import purchase_tables, purchase_words

if TYPE_CHECKING:
    from datetime import date

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

ROWS = ("wanted", "stock", "packs", "leftover", "planned", "need_low", "need_usual", "need_high")
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
        ``heads`` and ``rows`` of a table, a column a good, and ``served``, whom the totals are for.
    """
    sums = purchase_tables.in_all(results.purchase)
    known = list(sums)
    rows = []
    for name in ROWS:
        if name == "packs":
            packs = [of_good["packs"] for of_good in sums.values()]
            cells = ["" if one is None else f"{one:,}" for one in packs]
        else:
            cells = [purchase_words.amount(of_good[f"{name}_g"]) for of_good in sums.values()]
        rows.append([texts.say(f"purchase.head_{name}"), *cells])
    kind = "order" if results.purchase.is_order else "limit"
    return {
        "heads": ["", *(texts.say(f"goods.{good}_g") for good in known)],
        "rows": rows if known else [],
        "served": texts.say(f"purchase.served_{kind}"),
    }


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
            [_span(first, last, texts) for first, last in pairs],
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


def _span(first: date, last: date, texts: Texts) -> str:
    told = [
        texts.say("dates.short", day=day.day, month=texts.say(f"dates.brief_{day.month}"))
        for day in (first, last)
    ]
    return told[0] if first == last else texts.say("dates.span", first=told[0], last=told[1])
