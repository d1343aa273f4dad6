"""Where to work first, in words: hillsides in their order, why, with what, who must agree."""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING, NamedTuple, cast

import numpy as np
import pandas as pd

from districtplan.outputs import measure_words, wording

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from typing import Any

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

LISTED_MAX = 12
"""Plots that a sentence names; more are counted."""
FIND, OUTLET = "find_outlet", "outlet"
"""Works before what carries water: a technician finds an outlet, one that is there is looked at."""
LAST = "rows"
"""Work that all the others of a hillside come before."""
CARE = (
    "cautions.slipping",
    "cautions.below",
    "cautions.landslide",
    "cautions.law",
    "measures.caution.rows_alone",
    "cautions.storms",
    "cautions.wet",
    "cautions.tonnes",
    "cautions.left_out",
    "cautions.ground",
)
"""Cautions on where to work, those that save lives first."""
COLUMNS = (
    "work_site",
    "village",
    "site_place",
    "slope_used_pct",
    "slope_length_m",
    "slope_length_above_m",
    "run_on_area_ha",
    "flow_line_length_m",
    "soil_loss_now_likely_t_ha_yr",
    "soil_loss_floor_t_ha_yr",
)


class Planted(NamedTuple):
    """A plot of a hillside where something is to be done.

    Attributes
    ----------
    plot_id : str
        Its id.
    measure : str
        What is to be done, in words.
    why : str
        The reason, in words.
    """

    plot_id: str
    measure: str
    why: str


class Step(NamedTuple):
    """A piece of work.

    Attributes
    ----------
    said : str
        What is done.
    short : str
        The same in a few words.
    season : str
        When: the season before, or this season.
    facts : str
        Measure, lines, length, person-days and where it ends, as far as known.
    """

    said: str
    short: str
    season: str
    facts: str


class Hill(NamedTuple):
    """A hillside where something is to be done.

    Attributes
    ----------
    rank : int
        Its place in the order of work, the first 1.
    name : str
        Its name.
    summary : str
        What is done, on how many plots, in how many person-days.
    why : str
        Why there, by its first plot.
    plots : tuple[Planted, ...]
        Its plots, in the order of work.
    steps : tuple[Step, ...]
        The order of work; none where its lines aren't laid out.
    notes : tuple[str, ...]
        Who must agree, and what is safe if only some take part.
    """

    rank: int
    name: str
    summary: str
    why: str
    plots: tuple[Planted, ...]
    steps: tuple[Step, ...]
    notes: tuple[str, ...]


def hills(results: Results, texts: Texts, most: int | None = None) -> list[Hill]:
    """Put the hillsides to go to into words.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.
    most : int | None, default None
        How many at most.

    Returns
    -------
    list[Hill]
        The first in the order of work at the top.
    """
    chosen = _chosen(results)
    names = chosen["work_site"].drop_duplicates()
    return list(_hills(results, chosen, names.iloc[:most], texts).values())


def by_village(results: Results, texts: Texts, most: int) -> dict[str, tuple[list[Hill], int]]:
    """Put the hillsides of each village into words.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.
    most : int
        How many of a village at most.

    Returns
    -------
    dict[str, tuple[list[Hill], int]]
        By village that has any: those with plots of it, and how many there are in all.
    """
    chosen = _chosen(results)
    pairs = chosen[["village", "work_site"]].drop_duplicates()
    first = pairs[pairs.groupby("village").cumcount() < most]
    told = _hills(results, chosen, first["work_site"].drop_duplicates(), texts)
    counts = pairs["village"].value_counts()
    return {
        str(village): ([told[name] for name in own], int(counts[village]))
        for village, own in first.groupby("village", sort=True)["work_site"]
    }


def _hills(
    results: Results, chosen: pd.DataFrame, names: pd.Series, texts: Texts
) -> dict[str, Hill]:
    rank = {name: at for at, name in enumerate(chosen["work_site"].drop_duplicates(), 1)}
    wanted = chosen[chosen["work_site"].isin(names)]
    works = results.works
    order = dict(iter(works.order.groupby("work_site", sort=False)))
    lines = dict(iter(works.lines.groupby("work_site", sort=False)))
    return {
        str(name): _hill((rank[name], str(name)), own, order.get(name), lines.get(name), texts)
        for name, own in wanted.groupby("work_site", sort=False)
    }


def count(results: Results) -> int:
    """Count the hillsides where something is to be done.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    int
        Their number.
    """
    return int(_chosen(results)["work_site"].nunique())


def finding(results: Results, first: Hill | None, texts: Texts) -> list[str]:
    """Say where to go first, and with what.

    Parameters
    ----------
    results : Results
        The run.
    first : Hill | None
        The first hillside; None where nothing is to be done.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        The finding, then what comes before it, and why there.
    """
    if first is None:
        return [texts.say("work.nothing")]
    said = [texts.say("work.first", site=first.name, summary=first.summary)]
    works = results.works.order
    own = works[works["work_site"] == first.name]
    if (own["work"] == FIND).any():
        there = _there(own, texts)
        said.append(texts.say(f"work.first_{'more' if there else 'outlet'}", outlet=there))
    return [*said, texts.say("work.because", why=first.why)]


def care(texts: Texts) -> pd.DataFrame:
    """List what to mind before anything is begun.

    Parameters
    ----------
    texts : Texts
        The words.

    Returns
    -------
    pandas.DataFrame
        ``caution``, those that save lives first.
    """
    return pd.DataFrame({"caution": [texts.say(key) for key in CARE]}, dtype=object)


def why(row: dict[str, Any], texts: Texts) -> str:
    """Say why a plot is where to work.

    Parameters
    ----------
    row : dict[str, Any]
        The plot's ``COLUMNS``.
    texts : Texts
        The words.

    Returns
    -------
    str
        Such as "38 % slope, 90 m long, run-on from above".
    """
    parts = [texts.say("work.slope", slope=f"{row['slope_used_pct']:.0f}")]
    if pd.notna(row["slope_length_m"]):
        parts.append(texts.say("work.long", metres=f"{row['slope_length_m']:.0f}"))
    if row["flow_line_length_m"] > 0:
        parts.append(texts.say("work.crossed"))
    elif row["slope_length_above_m"] > 0 or row["run_on_area_ha"] > 0:
        parts.append(texts.say("work.run_on"))
    if pd.notna(row["soil_loss_now_likely_t_ha_yr"]):
        loss = f"{row['soil_loss_now_likely_t_ha_yr']:.0f}"
        parts.append(texts.say("work.loses", tonnes=loss))
    elif pd.notna(row["soil_loss_floor_t_ha_yr"]):
        parts.append(texts.say("work.beyond"))
    else:
        parts.append(texts.say("work.no_tonnes"))
    return ", ".join(parts)


def before_rows(row: Mapping[str, Any], results: Results, texts: Texts) -> list[str]:
    """Name a plot's hillside where something is done there before rows.

    Parameters
    ----------
    row : Mapping[str, Any]
        Its row of the plots table.
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        What that is; empty where nothing is.
    """
    site = row["work_site"]
    order = results.works.by_site.get(site)
    if order is None:
        crossed = wording.CROSSED in row["water_flags"]
        return [texts.say("sheets.hillside.not_laid_out", site=site)] if crossed else []
    before = order[order["work"] != LAST]
    steps = [
        texts.say(
            f"sheets.hillside.{'outlet' if work == OUTLET else 'step'}",
            short=step.short,
            facts=step.facts,
            season=step.season,
        )
        for work, step in zip(before["work"], _steps(before, texts), strict=True)
    ]
    if not steps:
        return []
    return [texts.say("sheets.hillside.first", site=site, steps="; ".join(steps))]


def curve(results: Results, texts: Texts) -> str:
    """Put the curve of soil saved against budget into words.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    str
        What some budgets would save; empty where there is no curve.
    """
    table = results.proposal.priorities.curve
    if table.empty:
        return ""
    spent, saved = (table[name].to_numpy() for name in ("budget_spent", "soil_saved_total_t_yr"))
    asked = results.plan.conservation
    budget = spent[-1] if asked.budget is None else asked.budget
    tried = [part * budget for part in (0.5, 1.0, 2.0) if part * budget <= spent[-1]]
    told = [
        texts.say(
            "work.curve_point",
            budget=measure_words.amount(each, results.plan, texts),
            saved=f"{np.interp(each, spent, saved):,.0f}",
        )
        for each in tried or [float(spent[-1])]
    ]
    return texts.say("work.curve_said", points=texts.listed(told))


def _chosen(results: Results) -> pd.DataFrame:
    """Give the measures chosen with what their reasons go by, in the order of work."""
    plots = results.plots.set_index("plot_id")
    chosen = results.proposal.chosen[["plot_id", "measure"]]
    told = plots.loc[chosen["plot_id"], list(COLUMNS)].reset_index()
    owed = results.works.days.set_index("plot_id")["days_owed"]
    return told.assign(
        measure=chosen["measure"].astype(object).to_numpy(),
        days_owed=owed.reindex(told["plot_id"]).to_numpy(),
    )


def _hill(
    named: tuple[int, str],
    own: pd.DataFrame,
    order: pd.DataFrame | None,
    lines: pd.DataFrame | None,
    texts: Texts,
) -> Hill:
    plots = tuple(
        Planted(row["plot_id"], measure_words.name(row["measure"], texts), why(row, texts))
        for row in cast("list[dict[str, Any]]", own.to_dict("records"))
    )
    return Hill(
        *named,
        _summary(own, texts),
        plots[0].why,
        plots,
        () if order is None else tuple(_steps(order, texts)),
        tuple(_notes(order, lines, texts)),
    )


def _summary(own: pd.DataFrame, texts: Texts) -> str:
    counts = own["measure"].value_counts()
    named = [
        texts.say(
            f"work.on.{'one' if number == 1 else 'many'}",
            measure=measure_words.name(str(name), texts),
            count=f"{number:,}",
        )
        for name, number in counts.items()
    ]
    days = float(own["days_owed"].sum(skipna=False))
    if np.isnan(days):
        return texts.say("work.summary", measures=texts.listed(named))
    said = measure_words.person_days(days, texts)
    return texts.say("work.summary_days", measures=texts.listed(named), days=said)


def _there(order: pd.DataFrame, texts: Texts) -> str:
    """Name the outlets that a hillside has already; empty where it has none."""
    named = order.loc[order["work"] == OUTLET, "work_outlet"]
    return texts.listed(named.iloc[0].split("; ")) if len(named) else ""


def _steps(order: pd.DataFrame, texts: Texts) -> Iterator[Step]:
    there = _there(order, texts)
    for row in cast("list[dict[str, Any]]", order.to_dict("records")):
        facts = []
        if pd.notna(row["work_structure"]):
            facts.append(measure_words.name(row["work_structure"], texts))
        if pd.notna(row["work_lines"]):
            facts.append(_counted("work.lines", int(row["work_lines"]), texts))
        if pd.notna(row["work_length_m"]):
            facts.append(texts.say("work.metres", metres=f"{row['work_length_m']:,.0f}"))
        if _differs(row["work_priced_length_m"], row["work_length_m"]):
            metres = f"{row['work_priced_length_m']:,.0f}"
            facts.append(texts.say("work.priced", metres=metres))
        if pd.notna(row["work_person_days"]):
            facts.append(measure_words.person_days(row["work_person_days"], texts))
        if row["work"] == OUTLET:
            facts.append(row["work_outlet"])
        elif pd.notna(row["work_outlet"]):
            facts.append(texts.say("work.ends_at", outlet=row["work_outlet"]))
        season = texts.say(f"work.season.{row['work_season'].replace(' ', '_')}")
        said = texts.say(f"measures.work.{row['work']}")
        # Where one is there, what is still to be found is for the water that it doesn't take.
        brief = "find_more" if row["work"] == FIND and there else row["work"]
        short = texts.say(f"work.short.{brief}", outlet=there)
        yield Step(said, short, season, ", ".join(facts))


def _differs(priced_m: float, drawn_m: float) -> bool:
    """Tell whether days are counted for other metres than are drawn, as they are printed."""
    return not np.isnan(priced_m) and round(priced_m) != round(float(np.nan_to_num(drawn_m)))


def _notes(order: pd.DataFrame | None, lines: pd.DataFrame | None, texts: Texts) -> Iterator[str]:
    if order is None:
        yield texts.say("work.not_laid_out")
        return
    asked = next((names for names in order["work_agreed_by"] if names), ())
    if asked:
        yield texts.say("work.agree", names=some(asked, texts))
    if lines is None:
        return
    leads = lines["structure_outlet"].notna()
    if not leads.all():
        yield _counted("work.safe_alone", int((~leads).sum()), texts)
    needed = dict.fromkeys(plot for plots in lines["structure_needs"] for plot in plots)
    if needed:
        yield texts.say("work.safe_together", names=some(tuple(needed), texts))


def some(names: tuple[str, ...], texts: Texts) -> str:
    """List names, the first of them where there are many.

    Parameters
    ----------
    names : tuple[str, ...]
        The names.
    texts : Texts
        The words.

    Returns
    -------
    str
        At most ``LISTED_MAX`` of them, the others counted.
    """
    shown = list(islice(names, LISTED_MAX))
    if len(names) > LISTED_MAX:
        shown.append(texts.say("work.more", count=f"{len(names) - LISTED_MAX:,}"))
    return texts.listed(shown)


def _counted(key: str, number: int, texts: Texts) -> str:
    return texts.say(f"{key}.{'one' if number == 1 else 'many'}", count=f"{number:,}")
