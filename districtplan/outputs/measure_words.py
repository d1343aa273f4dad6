"""Words for measures against soil loss: what was chosen, where to look before."""

from __future__ import annotations

from typing import TYPE_CHECKING

from districtplan.outputs.plot_table import joined

if TYPE_CHECKING:
    import pandas as pd

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

SHOWN = (
    "measure_order",
    "village",
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
    "upkeep",
    "caution",
)
"""Columns of the sheet of measures."""


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
    return [
        texts.say(
            "measures.within",
            saved=f"{priorities.saved_t_yr:,.0f}",
            greedy=f"{priorities.greedy_t_yr:,.0f}",
            gap=f"{100 * priorities.gap:.2f}",
            spent=f"{priorities.spent:,.0f}",
            unit=texts.say(f"measures.unit.{asked.budget_unit}"),
        )
    ]


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
    if works.sites_drawn < works.sites:
        drawn, sites = f"{works.sites_drawn:,}", f"{works.sites:,}"
        said.append(texts.say("measures.drawn", drawn=drawn, sites=sites))
    without = int((works.order["work"] == "find_outlet").sum())
    if without:
        said.append(texts.say("measures.no_outlet", count=f"{without:,}"))
    return [*said, texts.say("measures.carrying")]


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
    now = results.plots.set_index("plot_id")["soil_loss_now_likely_t_ha_yr"]
    told = results.handbook.rows("measures").set_index("name")
    measure = chosen["measure"].astype(object)
    upkeep, caution = texts.section("measures.upkeep"), texts.section("measures.caution")
    return chosen.assign(
        measure=[name(one, texts) for one in measure],
        soil_loss_now_likely_t_ha_yr=chosen["plot_id"].map(now),
        upkeep=measure.map(told["upkeep"]).map(upkeep),
        caution=measure.map(told["caution"]).map(caution),
    )[list(SHOWN)]


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
    order = joined(results.works.order)
    said = texts.section("measures.work")
    structures = order["work_structure"].map(lambda one: name(one, texts), na_action="ignore")
    return order.assign(work=order["work"].map(said), work_structure=structures)


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
        ``walk_order``, ``village``, ``plot_id`` and ``reason``.
    """
    walk = results.proposal.walk_over
    reasons = texts.section("measures.look")
    said = [" ".join(reasons[code] for code in codes) for codes in walk["walk_reasons"]]
    return walk[["walk_order", "village", "plot_id"]].assign(reason=said)
