"""Where to work first, in words: hillsides in their order, why, with what, who must agree."""

from __future__ import annotations

from datetime import date
from itertools import islice
from typing import TYPE_CHECKING, NamedTuple, cast

import numpy as np
import pandas as pd

from districtplan.outputs import measure_words, wording

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterator, Mapping
    from typing import Any

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

LISTED_MAX = 12
"""Plots that a sentence names; more are counted."""
ASKED_MAX = 60
"""The same of plots that must agree, take part or work: each of them is to be asked."""
FIND, OUTLET, LINES = "find_outlet", "outlet", "structures"
"""A technician finds an outlet, one that is there is looked at; and lines are built."""
LAST = "rows"
"""Work that all the others of a hillside come before."""
BY_STEPS = frozenset({"no_outlet", "head_not_spanned", "plots_between", "gathered_water_left"})
"""Reasons why lines aren't drawn that a work tells: it says what a technician does first."""
OF_NUMBERS = ("cautions.tonnes", "cautions.left_out", "cautions.small_plots")
"""Cautions on what the numbers mean."""
CARE = (
    "cautions.slipping",
    "cautions.below",
    "cautions.landslide",
    "cautions.law",
    "measures.caution.rows_alone",
    "cautions.trees",
    "cautions.storms",
    "cautions.wet",
    "cautions.ground",
    *OF_NUMBERS,
)
"""Cautions on where to work, those that save lives first."""
COLUMNS = (
    "work_site",
    "village",
    "site_villages",
    "site_place",
    "slope_used_pct",
    "slope_length_m",
    "slope_length_above_m",
    "run_on_area_ha",
    "flow_line_length_m",
    "soil_loss_now_likely_t_ha_yr",
    "soil_loss_floor_t_ha_yr",
    "lies_below",
)
BELOW = ("house", "slipping ground", "spring", "latrine", "grave", "road", "path", "stream")
"""What is told of what lies below a plot: another plot nearly always does."""


class Chosen(NamedTuple):
    """A plot of a hillside where something is to be done.

    Attributes
    ----------
    plot_id : str
        Its id.
    measure : str
        What is to be done, in words.
    why : str
        The reason, in words.
    owes : str
        Days that it owes, in words; empty where not known.
    """

    plot_id: str
    measure: str
    why: str
    owes: str


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
    plots : tuple[Chosen, ...]
        Its plots, in the order of work.
    steps : tuple[Step, ...]
        The order of work; none where its lines aren't laid out.
    notes : tuple[str, ...]
        Who must agree, what is safe if only some take part, who else owes days, what is raised.
    vetoes : tuple[tuple[str, str], ...]
        Plots of it and what staff ruled out there, with the reason.
    """

    rank: int
    name: str
    summary: str
    why: str
    plots: tuple[Chosen, ...]
    steps: tuple[Step, ...]
    notes: tuple[str, ...]
    vetoes: tuple[tuple[str, str], ...]


class _Site(NamedTuple):
    """What a hillside is told from."""

    chosen: pd.DataFrame
    order: pd.DataFrame | None
    lines: pd.DataFrame | None
    undrawn: pd.DataFrame
    owing: pd.DataFrame
    vetoes: tuple[tuple[str, str], ...]
    villages: tuple[str, ...]


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
    about = _About.of(results, texts)
    return {
        str(name): _hill((rank[name], str(name)), site, about)
        for name, site in _sites(results, wanted, texts)
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


def explained(results: Results, texts: Texts) -> list[str]:
    """Say why metres of lines differ, how outlets are named and how plants are counted.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        What the hillsides' works need said once; empty where none does.
    """
    order, said = results.works.order, []
    pairs = zip(order["work_priced_length_m"], order["work_length_m"], strict=True)
    if any(_differs(priced_m, drawn_m) for priced_m, drawn_m in pairs):
        said.append(texts.say("work.priced_why"))
    if order["work_outlet"].notna().any():
        said.append(texts.say("work.outlets_named"))
    if len(results.proposal.nurseries):
        lost = results.handbook.number("measure_numbers", "planting losses_share")
        said.append(texts.say("work.plants_counted", losses=f"{100 * lost:.0f}"))
    return said


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
    if row["lies_below"] in BELOW:
        below = wording.outlet_words(row["lies_below"], texts)
        parts.append(texts.say("work.lies_below", what=below))
    if pd.notna(row["soil_loss_now_likely_t_ha_yr"]):
        loss = f"{row['soil_loss_now_likely_t_ha_yr']:,.0f}"
        parts.append(texts.say("work.loses", tonnes=loss))
    elif pd.notna(row["soil_loss_floor_t_ha_yr"]):
        parts.append(texts.say("work.beyond"))
    else:
        parts.append(texts.say("work.no_tonnes"))
    return ", ".join(parts)


def reasons(results: Results, texts: Texts) -> list[str]:
    """Say why each plot with a measure is where to work.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        A reason a plot, in the order of work.
    """
    records = cast("list[dict[str, Any]]", _chosen(results).to_dict("records"))
    return [why(row, texts) for row in records]


def of_plot(plot: Chosen, texts: Texts) -> tuple[str, str]:
    """Say what is done on a plot of a hillside, and why.

    Parameters
    ----------
    plot : Chosen
        The plot.
    texts : Texts
        The words.

    Returns
    -------
    tuple[str, str]
        The measure with the days that the plot owes, as far as known; the reason.
    """
    if not plot.owes:
        return plot.measure, plot.why
    return texts.say("work.on_plot", measure=plot.measure, days=plot.owes), plot.why


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
    # A work on lines says of what measure they are: rows are lines too.
    told = {OUTLET: "outlet", LINES: "lines"}
    steps = [
        texts.say(
            f"sheets.hillside.{told.get(work, 'step')}",
            short=step.short,
            facts=step.facts,
            season=step.season,
            measure=measure_words.name(structure, texts) if work == LINES else "",
        )
        for work, structure, step in zip(
            before["work"], before["work_structure"], _steps(before, texts), strict=True
        )
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
        What some budgets would save; empty where there is no curve. The curve holds no share of
        the budget for anything, so that the choice beside it may save less.
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
    held = asked.budget is not None and (asked.village_share or asked.reserved_share)
    return texts.say(f"work.curve_{'unheld' if held else 'said'}", points=texts.listed(told))


def _chosen(results: Results) -> pd.DataFrame:
    """Give the measures chosen with what their reasons go by, in the order of work."""
    plots = results.plots.set_index("plot_id")
    chosen = results.proposal.chosen
    told = plots.loc[chosen["plot_id"], list(COLUMNS)].reset_index()
    owed = results.works.days.set_index("plot_id")["days_owed"]
    return told.assign(
        measure=chosen["measure"].astype(object).to_numpy(),
        measure_plants=chosen["measure_plants"].to_numpy(),
        saved_t_yr=chosen[measure_words.GAIN].to_numpy(),
        saved_by_floor=chosen["saved_by_floor"].to_numpy(),
        days_owed=owed.reindex(told["plot_id"]).to_numpy(),
    )


class _About(NamedTuple):
    """What all hillsides are told from, and the words."""

    village_of: Mapping[str, str]
    beds: Mapping[tuple[str, str], str]
    taking_part: frozenset[str] | None
    texts: Texts

    @classmethod
    def of(cls, results: Results, texts: Texts) -> _About:
        nurseries, there = results.proposal.nurseries, None
        keys = zip(nurseries["village"], nurseries["measure"], strict=True)
        if "enrolment" in results.beside:
            enrolled = results.beside["enrolment"].used
            there = frozenset(enrolled.loc[enrolled["takes_part"].eq(other=True), "plot_id"])
        return cls(
            dict(zip(results.plots["plot_id"], results.plots["village"], strict=True)),
            dict(zip(keys, nurseries["nursery_date"], strict=True)),
            there,
            texts,
        )


def _sites(
    results: Results, wanted: pd.DataFrame, texts: Texts
) -> Iterator[tuple[Hashable, _Site]]:
    """Gather what belongs to each hillside, the first to go to at the top."""
    works, plots = results.works, results.plots
    lines = dict(iter(works.lines.groupby("work_site", sort=False)))
    undrawn = dict(iter(works.refused.groupby("work_site", sort=False)))
    owed = works.days.set_index("plot_id")["days_owed"].reindex(plots["plot_id"]).to_numpy()
    # Days that aren't known are owed too.
    owes = (owed != 0) & ~plots["plot_id"].isin(wanted["plot_id"]).to_numpy()
    owes &= plots["work_site"].isin(wanted["work_site"]).to_numpy()
    others = plots.loc[owes, ["plot_id", "work_site"]].assign(days_owed=owed[owes])
    owing = dict(iter(others.groupby("work_site", sort=False)))
    site_of = dict(zip(plots["plot_id"], plots["work_site"], strict=True))
    ruled_out: dict[str, list[tuple[str, str]]] = {}
    for plot_id, said in measure_words.vetoes(results, texts).items():
        ruled_out.setdefault(site_of[plot_id], []).append((plot_id, " ".join(said)))
    for name, own in wanted.groupby("work_site", sort=False):
        yield (
            name,
            _Site(
                own,
                works.by_site.get(str(name)),
                lines.get(name),
                undrawn.get(name, works.refused.iloc[:0]),
                owing.get(name, others.iloc[:0]),
                tuple(ruled_out.get(str(name), ())),
                own["site_villages"].iloc[0],
            ),
        )


def _hill(named: tuple[int, str], site: _Site, about: _About) -> Hill:
    texts = about.texts
    plots = tuple(
        Chosen(
            row["plot_id"],
            measure_words.name(row["measure"], texts),
            why(row, texts),
            _days(row["days_owed"], texts),
        )
        for row in cast("list[dict[str, Any]]", site.chosen.to_dict("records"))
    )
    return Hill(
        *named,
        _summary(site, texts),
        plots[0].why,
        plots,
        () if site.order is None else tuple(_steps(site.order, texts)),
        tuple(_notes(site, about)),
        site.vetoes,
    )


def _days(days: float, texts: Texts) -> str:
    return "" if np.isnan(days) else measure_words.person_days(days, texts, decimals=1)


def _summary(site: _Site, texts: Texts) -> str:
    counts = site.chosen["measure"].value_counts()
    named = [
        texts.say(
            f"work.on.{'one' if number == 1 else 'many'}",
            measure=measure_words.name(str(name), texts),
            count=f"{number:,}",
        )
        for name, number in counts.items()
    ]
    # Plots without a measure of their own owe a share of what all have in common.
    days = sum(float(own["days_owed"].sum(skipna=False)) for own in (site.chosen, site.owing))
    told = texts.say("work.summary", measures=texts.listed(named))
    if not np.isnan(days):
        said = measure_words.person_days(days, texts)
        told = texts.say("work.summary_days", measures=texts.listed(named), days=said)
    saved = site.chosen["saved_t_yr"]
    if saved.isna().all():
        return told
    least = saved.isna().any() or site.chosen["saved_by_floor"].any()
    key = "work.saved_at_least" if least else "work.saved"
    return texts.say(key, summary=told, saved=f"{saved.sum():,.0f}")


def _there(order: pd.DataFrame, texts: Texts) -> str:
    """Name the outlets that a hillside has already; empty where it has none."""
    named = order.loc[order["work"] == OUTLET, "work_outlet"]
    return texts.listed(named.iloc[0].split("; ")) if len(named) else ""


def _steps(order: pd.DataFrame, texts: Texts) -> Iterator[Step]:
    there = _there(order, texts)
    worded = measure_words.steps(order, texts)
    records = cast("list[dict[str, Any]]", order.to_dict("records"))
    for row, said in zip(records, worded, strict=True):
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
        # Where one is there, what is still to be found is for the water that it doesn't take.
        brief = "find_more" if row["work"] == FIND and there else row["work"]
        short = texts.say(f"work.short.{brief}", outlet=there)
        yield Step(said, short, season, ", ".join(facts))


def _differs(priced_m: float, drawn_m: float) -> bool:
    """Tell whether days are counted for other metres than are drawn, as they are printed."""
    return not np.isnan(priced_m) and round(priced_m) != round(float(np.nan_to_num(drawn_m)))


def _notes(site: _Site, about: _About) -> Iterator[str]:
    texts, order = about.texts, site.order
    if order is None:
        yield texts.say("work.not_laid_out")
    else:
        asked = next((names for names in order["work_agreed_by"] if names), ())
        if asked:
            yield _agree(asked, site.villages, about)
        if site.lines is not None:
            yield from _safe(site.lines, about)
        yield from _undrawn(site.undrawn, texts)
    yield from _share(site.owing, texts)
    yield from _raised(site.chosen, about)


def _undrawn(refused: pd.DataFrame, texts: Texts) -> Iterator[str]:
    """Say what isn't drawn, and why, where no work says it."""
    pairs = zip(refused["structure"], refused["structure_reason"], strict=True)
    for structure, reason in pairs:
        if reason not in BY_STEPS:
            name = measure_words.name(structure, texts)
            yield texts.say("work.undrawn", measure=name, why=texts.say(f"work.why_not.{reason}"))


def _agree(asked: tuple[str, ...], villages: tuple[str, ...], about: _About) -> str:
    """Name who must agree: villages of the hillside, then plots beside or below, by village."""
    texts, plots = about.texts, asked[len(villages) :]
    said = [texts.say("work.agree_village", village=name) for name in asked[: len(villages)]]
    grouped: dict[str, list[str]] = {}
    for plot_id in plots[:ASKED_MAX]:
        grouped.setdefault(about.village_of[plot_id], []).append(plot_id)
    for village, own in grouped.items():
        named = texts.listed(own)
        said.append(texts.say("work.agree_plots", plots=named, village=village))
    if len(plots) > ASKED_MAX:
        said.append(texts.say("work.more", count=f"{len(plots) - ASKED_MAX:,}"))
    return texts.say("work.agree", names="; ".join(said))


def _safe(lines: pd.DataFrame, about: _About) -> Iterator[str]:
    """Say what is safe if only some take part, and which of those that it needs don't."""
    texts, leads = about.texts, lines["structure_outlet"].notna()
    if not leads.all():
        yield _counted("work.safe_alone", int((~leads).sum()), texts)
    needed = tuple(dict.fromkeys(plot for plots in lines["structure_needs"] for plot in plots))
    if not needed:
        return
    yield texts.say("work.safe_together", names=some(needed, texts, ASKED_MAX))
    if about.taking_part is not None:
        away = tuple(plot for plot in needed if plot not in about.taking_part)
        if away:
            yield texts.say("work.safe_not_yet", names=some(away, texts, ASKED_MAX))


def _share(owing: pd.DataFrame, texts: Texts) -> Iterator[str]:
    """Name plots that owe days without a measure of their own."""
    known = owing["days_owed"].notna()
    pairs = zip(owing.loc[known, "plot_id"], owing.loc[known, "days_owed"], strict=True)
    said = tuple(texts.say("work.owes", plot=one, days=_days(days, texts)) for one, days in pairs)
    if said:
        yield texts.say("work.share", names=some(said, texts, ASKED_MAX))
    if not known.all():
        names = some(tuple(owing.loc[~known, "plot_id"]), texts, ASKED_MAX)
        yield texts.say("work.share_unknown", names=names)


def _raised(chosen: pd.DataFrame, about: _About) -> Iterator[str]:
    """Say what is raised for a hillside, and when beds are set at the latest."""
    texts = about.texts
    for measure, own in chosen.groupby("measure", sort=False):
        days = [about.beds.get((village, str(measure))) for village in own["village"]]
        known = [day for day in days if day is not None]
        if not known:
            continue
        counted = own["measure_plants"].notna().all()
        yield texts.say(
            f"work.raise{'' if counted else '_unknown'}",
            measure=measure_words.name(str(measure), texts),
            plants=f"{own['measure_plants'].sum():,}",
            date=texts.day(date.fromisoformat(min(known))),
        )


def some(names: tuple[str, ...], texts: Texts, most: int = LISTED_MAX) -> str:
    """List names, the first of them where there are many.

    Parameters
    ----------
    names : tuple[str, ...]
        The names.
    texts : Texts
        The words.
    most : int, default LISTED_MAX
        How many of them at most.

    Returns
    -------
    str
        That many, the others counted.
    """
    shown = list(islice(names, most))
    if len(names) > most:
        shown.append(texts.say("work.more", count=f"{len(names) - most:,}"))
    return texts.listed(shown)


def _counted(key: str, number: int, texts: Texts) -> str:
    return texts.say(f"{key}.{'one' if number == 1 else 'many'}", count=f"{number:,}")
