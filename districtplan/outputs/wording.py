"""What the results mean, in sentences that the page, the workbook and the explanation share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Mapping

    from districtplan.outputs.texts import Texts
    from districtplan.plan import Plan
    from districtplan.results import Results

VILLAGES_NAMED = 3
GOODS = ("seed_g", "npk_g", "urea_g", "manure_g")
TENTHS_BELOW_G, HUNDREDTHS_BELOW_G = 100_000, 10_000
TENS_FROM_T = 100
METHODS = ("straight", "guide lines", "any direction", "measure on the ground")


def flag_sentences(row: Mapping[str, Any], plan: Plan, texts: Texts) -> list[str]:
    """Say why a plot is flagged, the gravest first.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        The plan, whose limits the sentences name.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        A sentence a flag; empty where there is none.
    """
    codes = (*row["erosion_flags"], *row["terrain_flags"])
    return [texts.say(f"flags.{code}", plan=plan, **row) for code in codes]


def method_sentence(row: Mapping[str, Any], plan: Plan, texts: Texts) -> str:
    """Say how rows are laid out on a plot, and why so.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        The plan, whose limits the sentence names.
    texts : Texts
        The words.

    Returns
    -------
    str
        The sentence.
    """
    return texts.say(f"reasons.{row['row_method_reason']}", plan=plan, **row)


def district_finding(results: Results, texts: Texts) -> str:
    """Say how much of the district is too steep for rows alone, and where.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    str
        One to three sentences.
    """
    total, steep = int(results.district["plots"]), int(results.district["plots_steep"])
    beyond = int(results.district["plots_beyond_equations"])
    said = [_counted("finding.steep", steep, texts, total=f"{total:,}")]
    if steep:
        said.append(_where_steep(results.villages, steep, texts))
    if beyond:
        said.append(_counted("finding.beyond", beyond, texts))
    return " ".join(said)


def rows_finding(results: Results, texts: Texts) -> str:
    """Say on how many plots the printed bearing can be used, and what the others need.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    str
        One or two sentences.
    """
    counts = results.plots["row_method"].value_counts()
    straight, *others = (int(counts.get(method, 0)) for method in METHODS)
    total = int(results.district["plots"])
    said = [_counted("finding.straight", straight, texts, total=f"{total:,}")]
    rest = [
        _counted(f"finding.{method.replace(' ', '_')}", count, texts)
        for method, count in zip(METHODS[1:], others, strict=True)
        if count
    ]
    if rest:
        said.append(texts.say("finding.other_rows", listed=texts.listed(rest)))
    return " ".join(said)


def orders_finding(results: Results, texts: Texts) -> str:
    """Say what the district needs to buy.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    str
        One or two sentences; goods without a rate in the plan are named as left out.
    """
    known = [good for good in GOODS if pd.notna(results.district[good])]
    left_out = [texts.say(f"goods.{good}") for good in GOODS if good not in known]
    holes = results.district["holes"]
    values = {
        "plots": f"{int(results.district['plots']):,}",
        "area": f"{float(results.district['area_ha']):,.1f}",
        "holes": "0" if pd.isna(holes) else f"{int(holes):,}",
    }
    if known:
        needs = [
            texts.say(
                "finding.good",
                amount=kilograms(int(results.district[good])),
                good=texts.say(f"goods.{good}"),
            )
            for good in known
        ]
        said = [texts.say("finding.orders", needs=texts.listed(needs), **values)]
    else:
        said = [texts.say("finding.holes_only", **values)]
    if left_out:
        said.append(texts.say("finding.left_out", goods=texts.listed(left_out)))
    return " ".join(said)


def kilograms(grams: int) -> str:
    """Write a weight for someone who weighs it out.

    Parameters
    ----------
    grams : int
        The weight [g].

    Returns
    -------
    str
        Kilograms: two decimals below 10 kg, one below 100 kg, none above.
    """
    digits = sum(grams < limit for limit in (TENTHS_BELOW_G, HUNDREDTHS_BELOW_G))
    return f"{grams / 1000:,.{digits}f}"


def both_ends(bearing_deg: float) -> str:
    """Write a row bearing as the two ways in which one can look along the row.

    Parameters
    ----------
    bearing_deg : float
        Bearing of the row, either end [degrees].

    Returns
    -------
    str
        Three digits each, such as ``058° / 238°``.
    """
    near = round(bearing_deg) % 180
    return f"{near:03d}° / {near + 180:03d}°"


def tonnes(loss_t_ha_yr: float) -> int:
    """Round a soil loss to what it is worth: accepted equations differ by a factor of two or more.

    Parameters
    ----------
    loss_t_ha_yr : float
        Mean yearly soil loss [t/(ha yr)].

    Returns
    -------
    int
        Whole tonnes, tens from 100 t on.
    """
    return round(loss_t_ha_yr) if loss_t_ha_yr < TENS_FROM_T else 10 * round(loss_t_ha_yr / 10)


def _counted(key: str, count: int, texts: Texts, **values: str) -> str:
    form = {0: "none", 1: "one"}.get(count, "many")
    return texts.say(f"{key}.{form}", count=f"{count:,}", **values)


def _where_steep(villages: pd.DataFrame, steep: int, texts: Texts) -> str:
    # Most steep plots first; villages alike stay in the order of their names.
    worst = villages.loc[villages["plots_steep"] > 0].sort_values(
        "plots_steep", ascending=False, kind="stable"
    )
    named = worst.head(VILLAGES_NAMED)
    names = texts.listed([str(name) for name in named["village"]])
    if len(worst) > VILLAGES_NAMED:
        inside = f"{int(named['plots_steep'].sum()):,}"
        return texts.say("finding.most_in", count=inside, villages=names)
    if len(worst) == 1:
        return texts.say("finding.all_in_one" if steep > 1 else "finding.it_is_in", villages=names)
    return texts.say("finding.all_in", villages=names)
