"""Words for measures against soil loss: what was chosen, where to look before."""

from __future__ import annotations

from datetime import date
from math import ceil
from typing import TYPE_CHECKING

import pandas as pd

from districtplan.conservation import ALL, FIND, HELD, WATER, slope_for_limits
from districtplan.outputs.plot_table import joined, veto_table, with_hillside, with_villages

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from districtplan.conservation import Works
    from districtplan.handbook import Handbook
    from districtplan.outputs.texts import Texts
    from districtplan.plan import Plan
    from districtplan.results import Results

GAIN = "soil_saved_counted_t_yr"
SHOWN = (
    "measure_order",
    "village",
    "work_site",
    "plot_id",
    "measure",
    "soil_loss_now_likely_t_ha_yr",
    "soil_loss_after_likely_t_ha_yr",
    "soil_saved_t_yr",
    "lines",
    "measure_length_m",
    "line_apart_m",
    "line_apart_other_m",
    "land_taken_pct",
    "rows_after",
    "holes_after",
    "seed_after_g",
    "measure_plants",
    "person_days",
    "days_owed",
    "upkeep",
    "caution",
)
"""Columns of the sheet of measures."""
ROUND = 1e-4
"""Hundredths of a percent that rounding may make of nothing."""
WHOLE_FROM_M = 10
"""Distances from here on are printed in whole metres."""


def sentences(results: Results, texts: Texts) -> list[str]:
    """Say what is proposed against soil loss.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Which measures on how many plots, then how they were chosen, and what isn't a plot's own
        matter; empty where nothing is proposed.
    """
    chosen = results.proposal.priorities.chosen
    if chosen.empty:
        return []
    counts = chosen["measure"].value_counts(sort=True)
    named = [
        texts.say("measures.on", measure=name(str(measure), texts), count=f"{count:,}")
        for measure, count in counts[counts > 0].items()
    ]
    return [
        texts.say("measures.first", measures=texts.listed(named)),
        *how_chosen(results, texts),
        *whose_matter(results, texts),
    ]


def how_chosen(results: Results, texts: Texts) -> list[str]:
    """Say how measures were chosen.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        What they save within the budget, if there is one.
    """
    priorities, asked = results.proposal.priorities, results.plan.conservation
    if asked.budget is None:
        return [texts.say("measures.no_budget")]
    gains = results.proposal.chosen[GAIN]
    spent = amount(priorities.spent, results.plan, texts)
    within = "measures.within_at_least" if gains.isna().any() else "measures.within"
    return [
        texts.say(within, total=f"{gains.sum():,.0f}", spent=spent),
        texts.say(
            "measures.best",
            saved=f"{priorities.saved_t_yr:,.0f}",
            greedy=f"{priorities.greedy_t_yr:,.0f}",
            none_more=_none_more(priorities.gap, texts),
        ),
        *_not_counted(results, texts),
        *_held(results, texts),
    ]


def _none_more(gap: float, texts: Texts) -> str:
    """Say by how much the choice may be beaten, rounded up: nothing is proved by rounding."""
    hundredths = ceil(gap * 10_000 - ROUND)
    if hundredths <= 0:
        return texts.say("measures.none_more")
    return texts.say("measures.little_more", gap=f"{hundredths / 100:.2f}")


def _not_counted(results: Results, texts: Texts) -> list[str]:
    """Say what the costs of a choice leave out."""
    works, said = results.works, []
    if finding := _finding(works):
        said.append(texts.say("measures.no_outlet_cost", count=f"{finding:,}"))
    if unknown := len({site for site, _ in works.uncosted}):
        said.append(texts.say("measures.works_cost", count=f"{unknown:,}"))
    if results.plan.conservation.budget_unit == "money":
        costs = results.handbook.rows("measure_costs").set_index("name")["material_money"]
        built = {*results.proposal.chosen["measure"], *works.order["work_structure"].dropna()}
        bare = [name(one, texts) for one in costs.index[costs.isna()] if one in built]
        if bare:
            said.append(texts.say("measures.no_material", measures=texts.listed(bare)))
    return said


def _held(results: Results, texts: Texts) -> list[str]:
    """Say what is held for villages and plots without tonnes, and what is counted by a floor."""
    chosen = results.proposal.chosen
    said = []
    held = chosen.loc[chosen["chosen_by"] == HELD, GAIN]
    if share := results.plan.conservation.village_share:
        said.append(texts.say("measures.by_village", share=f"{100 * share:.0f}"))
    if len(held):
        said.append(texts.say("measures.held", count=f"{len(held):,}", saved=f"{held.sum():,.0f}"))
    floors = chosen.loc[chosen["saved_by_floor"] == 1, GAIN]
    if len(floors):
        values = {"count": f"{len(floors):,}", "saved": f"{floors.sum():,.0f}"}
        limit = f"{results.plan.erosion.equations_slope_max_pct:g}"
        said.append(texts.say("measures.floors", limit=limit, **values))
    if unknown := int(chosen[GAIN].isna().sum()):
        said.append(texts.say("measures.uncounted", count=f"{unknown:,}"))
    return said


def unit(plan: Plan, texts: Texts) -> str:
    """Name the unit of the budget.

    Parameters
    ----------
    plan : Plan
        What is wanted.
    texts : Texts
        The words.

    Returns
    -------
    str
        Person-days, or the plan's currency; the district's money where it names none.
    """
    asked = plan.conservation.budget_unit
    if asked == "money" and plan.money.currency is not None:
        return plan.money.currency
    return texts.say(f"measures.unit.{asked}")


def amount(value: float, plan: Plan, texts: Texts) -> str:
    """Write a budget or a part of it.

    Parameters
    ----------
    value : float
        In the unit of the budget.
    plan : Plan
        What is wanted.
    texts : Texts
        The words.

    Returns
    -------
    str
        Number and unit.
    """
    if plan.conservation.budget_unit == "person-days":
        return person_days(value, texts)
    return f"{value:,.0f} {unit(plan, texts)}"


def person_days(days: float, texts: Texts, decimals: int = 0) -> str:
    """Write a number of person-days.

    Parameters
    ----------
    days : float
        Their number.
    texts : Texts
        The words.
    decimals : int, default 0
        Decimals that are kept, where they aren't 0.

    Returns
    -------
    str
        Such as "1 person-day".
    """
    said = f"{days:,.{decimals}f}"
    said = said.rstrip("0").rstrip(".") if decimals else said
    return texts.say(f"measures.days.{'one' if said == '1' else 'many'}", days=said)


def apart(row: Mapping[str, Any], texts: Texts) -> str | None:
    """Say how far apart the lines of a measure lie, by both common rules where they differ.

    Parameters
    ----------
    row : Mapping[str, Any]
        The columns of spacing of a measure on a plot.
    texts : Texts
        The words.

    Returns
    -------
    str | None
        The sentence; None where it is no set of lines.
    """
    if pd.isna(row["line_apart_m"]):
        return None

    def rule(name: str) -> str:
        # Asked of every plot: the whole section is too much to gather each time.
        return texts.entries.get(f"measures.rule.{name}", name)

    values = {"m": _metres(row["line_apart_m"]), "rule": rule(row["spacing_rule"])}
    if pd.isna(row["line_apart_other_m"]):
        return texts.say("measures.apart.one", **values)
    other = _metres(row["line_apart_other_m"])
    beside = rule(row["spacing_rule_other"])
    return texts.say("measures.apart.two", other=other, other_rule=beside, **values)


def _metres(value: float) -> str:
    return f"{value:.0f}" if value >= WHOLE_FROM_M else f"{value:.1f}"


def vetoes(results: Results, texts: Texts) -> dict[str, list[str]]:
    """Say what staff ruled out in the field, and why.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, list[str]]
        Sentences by plot, in the order of the file; the last of each is what is chosen there.
    """
    said: dict[str, list[str]] = {}
    ruled_out = veto_table(results)
    # Of few plots: grouping the choice of a whole district takes half a minute.
    left_to = results.proposal.chosen
    left_to = left_to[left_to["plot_id"].isin(ruled_out["plot_id"])]
    chosen: dict[str, list[str]] = {}
    for plot_id, measure in zip(left_to["plot_id"], left_to["measure"], strict=True):
        chosen.setdefault(str(plot_id), []).append(str(measure))
    for row in ruled_out.itertuples():
        every = row.measure == ALL
        measure = texts.say("measures.veto_all") if every else name(str(row.measure), texts)
        day = texts.day(date.fromisoformat(str(row.veto_date)))
        why = str(row.veto_why).rstrip(" .")
        told = texts.say("measures.veto", measure=measure, date=day, why=why)
        said.setdefault(str(row.plot_id), []).append(told)
    for plot_id, sentences in said.items():
        if plot_id in chosen:
            left = texts.listed([name(one, texts) for one in chosen[plot_id]])
            sentences.append(texts.say("measures.veto_left", measures=left))
        else:
            sentences.append(texts.say("measures.veto_nothing"))
    return said


def whose_matter(results: Results, texts: Texts) -> list[str]:
    """Say what isn't known of measures, and what is no plot's own matter.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Labour that is missing, hillsides without lines or outlets, and who decides.
    """
    said = []
    priorities, works = results.proposal.priorities, results.works
    if priorities.not_costed:
        listed = [name(measure, texts) for measure in priorities.not_costed]
        said.append(texts.say("measures.not_costed", measures=texts.listed(listed)))
    if left := len(priorities.left_out):
        said.append(texts.say("measures.left_out", count=f"{left:,}"))
    said += _steepest(results, texts)
    away = _passed(results)
    if away:
        said.append(texts.say("measures.passed", count=f"{away:,}"))
    if works.sites_drawn < works.sites:
        drawn, sites = f"{works.sites_drawn:,}", f"{works.sites:,}"
        said.append(texts.say("measures.drawn", drawn=drawn, sites=sites))
    if without := _finding(works):
        said.append(texts.say("measures.no_outlet", count=f"{without:,}"))
    if waiting := len(works.waiting):
        key = f"measures.waiting.{'one' if waiting == 1 else 'many'}"
        said.append(texts.say(key, count=f"{waiting:,}"))
    return [*said, texts.say("measures.carrying")]


def _finding(works: Works) -> int:
    """Count the hillsides with a measure on which an outlet is still to be found."""
    sites = works.order.loc[works.order["work"] == FIND, "work_site"]
    return int(sites[~sites.isin(works.waiting)].nunique())


def _steepest(results: Results, texts: Texts) -> list[str]:
    """Say how many plots too steep for annual crops are left without their only measure."""
    plots, slope_pct = results.plots, results.plan.erosion.perennials_from_slope_pct
    chosen = plots["plot_id"].isin(results.proposal.chosen["plot_id"])
    bare = (slope_for_limits(plots) >= slope_pct) & ~chosen
    if not bare.any():
        return []
    left_out = results.proposal.priorities.left_out.set_index("plot_id")["left_out_reason"]
    beside = bare & plots["plot_id"].map(left_out).eq("other_measure")
    counts = {"count": f"{bare.sum():,}", "beside": f"{beside.sum():,}"}
    return [texts.say("measures.steepest", slope=f"{slope_pct:g}", **counts)]


def _passed(results: Results) -> int:
    """Count chosen plots that don't take part: lines that lead a hillside's water cross them."""
    if "enrolment" not in results.beside:
        return 0
    enrolled = results.beside["enrolment"].used
    there = enrolled.loc[enrolled["takes_part"].eq(other=True), "plot_id"]
    return int((~results.proposal.chosen["plot_id"].isin(there)).sum())


def name(measure: str, texts: Texts) -> str:
    """Name a measure.

    Parameters
    ----------
    measure : str
        Its name in the handbook; a district's own may have no words of the catalogue.
    texts : Texts
        The words.

    Returns
    -------
    str
        Words for it.
    """
    return texts.entries.get(f"measures.name.{measure}", measure.replace("_", " "))


def labels(handbook: Handbook, texts: Texts) -> dict[str, str]:
    """Give the printed words of all measures.

    Parameters
    ----------
    handbook : Handbook
        The published tables.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, str]
        Words by name.
    """
    return {str(one): name(str(one), texts) for one in handbook.rows("measures")["name"]}


def worded(results: Results, texts: Texts) -> pd.DataFrame:
    """Put what was chosen into words, for people.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    pandas.DataFrame
        The columns ``SHOWN``, one row a plot, in the order of work.
    """
    chosen = results.proposal.chosen
    plots = results.plots.set_index("plot_id")
    now = plots["soil_loss_now_likely_t_ha_yr"]
    told = results.handbook.rows("measures").set_index("name")
    measure = chosen["measure"].astype(object)
    upkeep = texts.section("measures.upkeep")
    return with_hillside(chosen, results).assign(
        measure=[name(one, texts) for one in measure],
        soil_loss_now_likely_t_ha_yr=chosen["plot_id"].map(now),
        upkeep=measure.map(told["upkeep"]).map(upkeep),
        caution=cautions(measure, results, texts),
    )[list(SHOWN)]


def cautions(measures: pd.Series, results: Results, texts: Texts) -> pd.Series:
    """Give what to mind at measures.

    Parameters
    ----------
    measures : pandas.Series
        Their names; missing where nothing is built.
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    pandas.Series
        The handbook's caution on each, if it has one, and when to stop.
    """
    told = results.handbook.rows("measures").set_index("name")["caution"]
    own = measures.astype(object).map(told).map(texts.section("measures.caution"))
    stop = texts.say("cautions.slipping")
    bare = own.isna()
    said = [stop if none else f"{one} {stop}" for one, none in zip(own, bare, strict=True)]
    return pd.Series(said, index=measures.index, dtype=object)


def where_led(said: pd.Series, leads: pd.Series, texts: Texts) -> pd.Series:
    """Put before cautions on what leads water where it may go.

    Parameters
    ----------
    said : pandas.Series
        Cautions.
    leads : pandas.Series
        Whether each is on what leads water away.
    texts : Texts
        The words.

    Returns
    -------
    pandas.Series
        The same, some of them with a sentence before.
    """
    below = texts.say("cautions.below")
    led = [f"{below} {one}" if away else one for one, away in zip(said, leads, strict=True)]
    return pd.Series(led, index=said.index, dtype=object)


def work_cautions(order: pd.DataFrame, results: Results, texts: Texts) -> pd.Series:
    """Give what to mind at each work of a hillside.

    Parameters
    ----------
    order : pandas.DataFrame
        The order of work.
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    pandas.Series
        The handbook's caution on what is built, where water may go, and when to stop.
    """
    alone = f"{texts.say('measures.caution.rows_alone')} {texts.say('cautions.slipping')}"
    own = cautions(order["work_structure"], results, texts)
    said = own.where(order["work"] != "rows", alone)
    return where_led(said, order["work_agreed_by"].map(len) > 0, texts)


def works(results: Results, texts: Texts) -> pd.DataFrame:
    """Put the order of work into words.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    pandas.DataFrame
        The order of work; what is done, the measure, plots and who must agree are text.
    """
    by_site = results.works.by_site
    said = [
        step
        for site in results.works.order["work_site"].drop_duplicates()
        for step in steps(by_site[site], texts)
    ]
    order = joined(with_villages(results.works.order, results))
    structures = order["work_structure"].map(lambda one: name(one, texts), na_action="ignore")
    caution = work_cautions(results.works.order, results, texts)
    told = order.drop(columns="work_waits")
    return told.assign(work=said, work_structure=structures, caution=caution)


def steps(order: pd.DataFrame, texts: Texts) -> list[str]:
    """Say what is done at each work of a hillside.

    Parameters
    ----------
    order : pandas.DataFrame
        Its order of work.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        A text a work; where an outlet is to be found, what waits for it and what doesn't.
    """
    said = texts.section("measures.work")
    return [
        _outlet_first(waits, order, texts) if work == FIND else said[work]
        for work, waits in zip(order["work"], order["work_waits"], strict=True)
    ]


def _outlet_first(waits: tuple[str, ...], order: pd.DataFrame, texts: Texts) -> str:
    built = set(order["work_structure"].dropna())

    def waiting(one: str) -> str:
        if one == WATER:
            return texts.say("measures.waits.water")
        key = "below" if one in built else "all"
        return texts.say(f"measures.waits.{key}", measure=name(one, texts))

    said = [
        texts.say("measures.work.find_outlet"),
        texts.say("measures.waits.said", waits=texts.listed([waiting(one) for one in waits])),
    ]
    if WATER in waits:
        said.append(texts.say("measures.waits.rows"))
    led = order[order["work_structure"].notna() & order["work_outlet"].notna()]
    ahead = [
        texts.say("measures.waits.to", measure=name(measure, texts), outlet=outlet)
        for measure, outlet in zip(led["work_structure"], led["work_outlet"], strict=True)
    ]
    if ahead:
        said.append(texts.say("measures.waits.ahead", works=texts.listed(ahead)))
    return " ".join(said)


def ruled_out(results: Results, texts: Texts) -> pd.DataFrame:
    """Put what staff ruled out into words, as a table.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    pandas.DataFrame
        The columns of vetoes, in the order of the file.
    """
    table = veto_table(results)
    every = texts.say("measures.veto_all")
    return table.assign(
        measure=[every if one == ALL else name(str(one), texts) for one in table["measure"]]
    )


def looked_at(results: Results, texts: Texts) -> pd.DataFrame:
    """Put the walk-over list into words.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    pandas.DataFrame
        ``walk_order``, ``village``, ``plot_id`` and ``walk_reasons``.
    """
    walk = results.proposal.walk_over
    reasons = texts.section("measures.look")
    said = [" ".join(reasons[code] for code in codes) for codes in walk["walk_reasons"]]
    return walk[["walk_order", "village", "plot_id"]].assign(walk_reasons=said)
