"""Where to go first, and with what: a choice of measures within a budget.

Tonnes that are saved are counted against the budget exactly (:mod:`~.knapsack`). Plots without
tonnes, most of them too steep for the equations, have a share of the budget of their own, in the
order of slope class, area, run-on and what lies below: none is last for lack of a number. What they
leave of it goes to all. Each of them that isn't chosen is listed with the reason:

``closed``
    The land is closed to planting, so nothing is built on it.
``does_not_take_part``
    By the file of who does; only a line that leads water, for its whole hillside, goes through.
``vetoed``
    Staff ruled out in the field what its hillside takes, or measures of a plot that has no other.
``no_measure``
    It may bear none that saves soil and takes no more land than the plan allows.
``not_laid_out``
    What it may bear, or its hillside takes, carries water, and can't be laid out there.
``other_measure``
    Its hillside takes a measure that isn't for this plot.
``saves_too_little``
    None that it may bear saves what least labour asks for.
``not_costed``
    Labour isn't known for those that it may bear.
``held_share_spent``
    What it would save isn't known, so only the share held could pay: that went to others before.
``budget_spent``
    The budget doesn't pay for it after those that come before.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from districtplan import tables
from districtplan.conservation import knapsack
from districtplan.conservation.below import BELOW
from districtplan.conservation.catalogue import catalogue
from districtplan.conservation.land import slope_for_limits
from districtplan.errors import Fault, PlanError

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from numpy.typing import NDArray

    from districtplan.conservation.measures import Options
    from districtplan.handbook import Handbook
    from districtplan.plan import Conservation, Plan

    Floats = NDArray[np.float64]

CURVE_POINTS = 200
"""Points of the curve, about: as many as a picture can show."""
SAVES_MOST, HELD = "saves most", "place held for plots without tonnes"
SITE, SITES = "work_site", "work site"
"""Column of the hillside that a plot is of, and what the plan calls it."""
GAIN, LEFT = "soil_saved_counted_t_yr", "loss_left_likely_share"
CLOSED, AWAY = "closed", "does_not_take_part"
VETOED = "vetoed"
ABOVE = "run_on"
"""Effect of a drain above a hillside: it saves the top plot alone, and goes with the site."""


class Learned(NamedTuple):
    """What laying out hillsides has told of a choice.

    Attributes
    ----------
    charged : Mapping[tuple[str, bool], float]
        What goes with a hillside takes of the budget, by name of the site and whether the measure
        chosen for it leads water itself.
    undrawn : frozenset[tuple[str, str]]
        Plot and measure whose lines can't be laid out for it.
    """

    charged: Mapping[tuple[str, bool], float]
    undrawn: frozenset[tuple[str, str]]


NOTHING = Learned({}, frozenset())


@dataclass(frozen=True)
class Priorities:
    """What is chosen, and how good the choice is.

    Attributes
    ----------
    chosen : pandas.DataFrame
        Options chosen, in the order of work: ``plot_id``, ``village``, ``measure``, the columns
        made by choice, ``soil_saved_counted_t_yr`` and ``measure_plants``.
    curve : pandas.DataFrame
        Most soil that can be saved for budgets from nothing to all; without rows where nothing is
        costed.
    saved_t_yr, greedy_t_yr, bound_t_yr : float
        What the exact choice saves on plots with tonnes or a floor of them, what choosing step by
        step would, and what no choice exceeds [t/yr]; NaN without a budget.
    gap : float
        Share by which a better choice could exceed this one at most; 0 where it is proved best.
    spent, held_spent : float
        Budget used in all, works of hillsides among it, and of it on plots from the share held
        for those without tonnes.
    not_costed : tuple[str, ...]
        Measures that the district gives no labour for: left out of a choice, or beside it on
        hillsides and not in what is spent.
    left_out : pandas.DataFrame
        Plots without tonnes that aren't chosen, the most pressing first: ``plot_id``, ``village``
        and the columns made by left out.
    """

    chosen: pd.DataFrame
    curve: pd.DataFrame
    saved_t_yr: float
    greedy_t_yr: float
    bound_t_yr: float
    gap: float
    spent: float
    held_spent: float
    not_costed: tuple[str, ...]
    left_out: pd.DataFrame


def choose(
    options: Options,
    plots: pd.DataFrame,
    plan: Plan,
    handbook: Handbook,
    barred: Mapping[str, str] | None = None,
    learned: Learned = NOTHING,
) -> Priorities:
    """Choose at most one measure a unit.

    Parameters
    ----------
    options : Options
        Every plot beside every measure, vetoes respected.
    plots : pandas.DataFrame
        Their plots: ``plot_id``, ``village``, ``area_ha``, ``slope_mean_pct``,
        ``slope_measured_pct``, ``slope_class_number``, ``run_on_area_ha``, ``erosion_rank``,
        ``soil_loss_now_likely_t_ha_yr``, and ``lies_below`` and ``work_site`` where they are
        known.
    plan : Plan
        Its budget and goal. Without a budget each plot takes the measure that saves most; where it
        asks to choose by work site, all plots of a site take one measure together. Measures that
        carry water are chosen for whole sites only.
    handbook : Handbook
        The published tables.
    barred : Mapping[str, str] | None, default None
        ``CLOSED`` or ``AWAY`` by ids of plots.
    learned : Learned
        What is known of the works of hillsides, where a choice is by work site.

    Returns
    -------
    Priorities
        The choice.

    Raises
    ------
    PlanError
        If least labour is asked for while labour of measures is missing, or a budget while it is
        missing for all.
    """
    asked = plan.conservation
    barred = {} if barred is None else barred
    every = _open(_ways(options.offered, plots, plan, handbook), barred, handbook)
    drawn = every[~_among(every["plot_id"], every["measure"], learned.undrawn)]
    single = _open(drawn, barred, handbook)
    by_site = asked.choose_by == SITES
    laid = _with_works(_pooled(single, plots), handbook, learned) if by_site else single
    # What can't be laid out is no fault of the labour given.
    _refuse(_without_labour(every, handbook), every, asked)
    missing = _without_labour(laid, handbook)
    ways = _least_labour(laid, asked) if asked.goal == "least labour" else laid
    vetoed = options.refused[options.refused["measure_reason"] == VETOED]
    vetoed = vetoed[vetoed["measure"].isin(_of_choice(asked, handbook))]
    left_out = _LeftOut((every, single, ways), plots, barred, vetoed, learned.undrawn)
    curve = _curve(ways)
    if asked.budget is None:
        best = _best_of_each(ways)
        nothing = knapsack.Choice(best, np.nan, 0.0, np.nan, np.nan)
        told = _told(single, ways, best, best[:0])
        return _priorities(told, left_out.beside(told), curve, nothing, 0.0, missing)
    costed = ways[ways["cost"].notna()]
    held = _hold(costed, plots, _unit(asked), asked.budget * asked.reserved_share)
    held_spent = float(ways["cost"][held].sum())
    rest = costed[~costed["unit"].isin(ways["unit"][held]) & costed[GAIN].notna()]
    found = knapsack.choose(
        _as_ways(rest),
        asked.budget - held_spent,
        _shares(rest, plots, asked.village_share),
    )
    most = rest.index.to_numpy()[found.places]
    told = _told(single, ways, most, held)
    return _priorities(told, left_out.beside(told), curve, found, held_spent, missing)


def _priorities(
    chosen: pd.DataFrame,
    left_out: pd.DataFrame,
    curve: pd.DataFrame,
    found: knapsack.Choice,
    held_spent: float,
    missing: tuple[str, ...],
) -> Priorities:
    return Priorities(
        chosen,
        curve,
        found.gain,
        found.greedy_gain,
        found.bound,
        found.gap,
        found.cost + held_spent,
        held_spent,
        missing,
        left_out,
    )


def _ways(
    offered: pd.DataFrame, plots: pd.DataFrame, plan: Plan, handbook: Handbook
) -> pd.DataFrame:
    """Take the options that may be chosen, one row a unit and measure."""
    asked = plan.conservation
    by_plot = plots.set_index("plot_id")
    at = by_plot.index.get_indexer(pd.Index(offered["plot_id"]))
    ends = slope_for_limits(plots)[at] >= plan.erosion.perennials_from_slope_pct
    fits = (offered["land_taken_pct"] <= asked.land_taken_max_pct).to_numpy() | ends
    # What holds nothing back itself, such as a waterway, is no choice but goes with others. What
    # isn't known, such as the share that cover leaves of a cover not known, counts as the least.
    saves = ~(offered[LEFT] >= 1).to_numpy()
    of_choice = offered["measure"].isin(_of_choice(asked, handbook)).to_numpy()
    kept = np.flatnonzero(fits & saves & of_choice)
    names = ["plot_id", "measure", GAIN, LEFT, "measure_plants"]
    found = offered.iloc[kept][names].reset_index(drop=True)
    cost = "cost_money" if asked.budget_unit == "money" else "person_days"
    found["cost"] = offered[cost].to_numpy()[kept]
    for name in ("village", "erosion_rank"):
        found[name] = plots[name].to_numpy()[at[kept]]
    found["unit"] = plots[_unit(asked)].to_numpy()[at[kept]]
    return found


def _of_choice(asked: Conservation, handbook: Handbook) -> list[str]:
    """Name the measures that may be chosen: what carries water is never one plot's matter."""
    by_site = asked.choose_by == SITES
    return [
        measure.name
        for measure in catalogue(handbook)
        if measure.effect not in {ABOVE, "none"} and (by_site or not measure.carries_water)
    ]


def _open(ways: pd.DataFrame, barred: Mapping[str, str], handbook: Handbook) -> pd.DataFrame:
    """Leave out closed plots, and of those that don't take part all but a hillside's own lines."""
    if not barred:
        return ways
    why = ways["plot_id"].map(barred)
    there = why.isna()
    carrying = [measure.name for measure in catalogue(handbook) if measure.carries_water]
    led = ways["measure"].isin(carrying)
    own = ways.loc[there & led, ["unit", "measure"]]
    # Lines lead the water of those who take part: for the others alone there are none.
    hosts = _among(ways["unit"], ways["measure"], set(own.itertuples(index=False, name=None)))
    return ways[there | ((why == AWAY) & hosts)].reset_index(drop=True)


@dataclass(frozen=True)
class _LeftOut:
    """What is known of plots that aren't chosen: all ways, those laid out, and those that count."""

    ways: tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]
    plots: pd.DataFrame
    barred: Mapping[str, str]
    vetoed: pd.DataFrame
    undrawn: frozenset[tuple[str, str]]

    def beside(self, chosen: pd.DataFrame) -> pd.DataFrame:
        """List the plots without tonnes that aren't chosen, with the first reason that holds."""
        some = self.plots.iloc[order_without_tonnes(self.plots)]
        some = some[~some["plot_id"].isin(chosen["plot_id"])].reset_index(drop=True)
        every, laid, ways = self.ways
        units = every.drop_duplicates("plot_id").set_index("plot_id")["unit"]
        own = some["plot_id"].map(units)
        of_unit = dict(zip(chosen["plot_id"].map(units), chosen["measure"], strict=True))
        takes = own.map(of_unit)
        costed = ways[ways["cost"].notna()]
        counted = costed[costed[GAIN] > 0]
        why = some["plot_id"].map(self.barred)
        none = own.isna()
        holds = {
            CLOSED: why == CLOSED,
            AWAY: why == AWAY,
            VETOED: self._ruled_out(some["plot_id"], takes, none),
            "no_measure": none,
            "not_laid_out": ~some["plot_id"].isin(laid["plot_id"])
            | _among(some["plot_id"], takes, self.undrawn),
            "other_measure": own.isin(of_unit),
            "saves_too_little": ~own.isin(ways["unit"]),
            "not_costed": ~own.isin(costed["unit"]),
            "held_share_spent": ~own.isin(counted["unit"]),
        }
        codes = [np.array(code, dtype=object) for code in holds]
        reasons = np.select([each.to_numpy() for each in holds.values()], codes, "budget_spent")
        some["left_out_order"] = np.arange(1, len(some) + 1)
        some["left_out_reason"] = reasons.astype(object)
        made = ("plot_id", "village", *tables.made_by("left out"))
        return tables.check(some[list(made)], made)

    def _ruled_out(self, plot_ids: pd.Series, of_hillside: pd.Series, none: pd.Series) -> pd.Series:
        """Tell where a veto alone keeps a plot from its hillside's measure, or from any."""
        pairs = set(zip(self.vetoed["plot_id"], self.vetoed["measure"], strict=True))
        any_vetoed = plot_ids.isin(self.vetoed["plot_id"])
        return _among(plot_ids, of_hillside, pairs) | (none & any_vetoed)


def _among(units: pd.Series, measures: pd.Series, pairs: Collection[tuple[str, str]]) -> pd.Series:
    """Tell which plots or hillsides and measures are among pairs of them."""
    found = units.isin({unit for unit, _ in pairs}).to_numpy(copy=True)
    both = zip(units[found], measures[found], strict=True)
    found[found] = [each in pairs for each in both]
    return pd.Series(found, index=units.index)


def _unit(asked: Conservation) -> str:
    return SITE if asked.choose_by == SITES else "plot_id"


def _pooled(ways: pd.DataFrame, plots: pd.DataFrame) -> pd.DataFrame:
    """Add up the plots of a site that a measure is for; its best rank is the site's."""
    groups = ways.groupby(["unit", "measure"], sort=True, observed=True)
    found = groups.agg(
        village=("village", "first"),
        erosion_rank=("erosion_rank", "min"),
        saved=(LEFT, lambda left: (1 - left).sum(min_count=1)),
    )
    # On plots of the site that the measure is not for, all is left.
    of_site = plots[SITE].value_counts().reindex(found.index.get_level_values("unit"))
    found[LEFT] = 1 - found.pop("saved") / of_site.to_numpy()
    # A site saves what its plots that can be counted save at least; where none can, it isn't known.
    found[GAIN] = groups[GAIN].sum(min_count=1)
    # A cost that is known in part is no cost.
    found["cost"] = groups["cost"].agg(lambda values: values.sum(skipna=False))
    return found.reset_index()


def _with_works(ways: pd.DataFrame, handbook: Handbook, learned: Learned) -> pd.DataFrame:
    """Add what goes with each site to its cost, once."""
    carrying = {measure.name for measure in catalogue(handbook) if measure.carries_water}
    pairs = zip(ways["unit"], ways["measure"], strict=True)
    beside = [learned.charged.get((unit, name in carrying), 0.0) for unit, name in pairs]
    return ways.assign(cost=ways["cost"] + np.array(beside, dtype=np.float64))


def trimmed(found: Priorities, plots: pd.DataFrame, unit: str, over: float) -> Priorities:
    """Give up what saves least for its cost until a budget is kept.

    Parameters
    ----------
    found : Priorities
        A choice.
    plots : pandas.DataFrame
        As :func:`choose` takes them.
    unit : str
        Column of plots that are chosen together.
    over : float
        By how much the budget is exceeded.

    Returns
    -------
    Priorities
        The choice that is left. Places held for plots without tonnes are given up last; the bound
        stays, so that the gap tells what is lost.
    """
    chosen = found.chosen
    units = chosen["plot_id"].map(plots.set_index("plot_id", drop=False)[unit])
    held = chosen["chosen_by"] == HELD
    sums = chosen.assign(unit=units, held=held).groupby("unit", sort=True)
    table = sums.agg(held=("held", "any"), gain=(GAIN, "sum"), cost=("budget_used", "sum"))
    worth = (table["gain"] / table["cost"]).to_numpy()
    table = table.iloc[np.lexsort((table.index, worth, table["held"]))]
    before = table["cost"].cumsum() - table["cost"]
    gone = units.isin(table.index[before < over])
    kept = chosen[~gone].reset_index(drop=True)
    kept["measure_order"] = np.arange(1, len(kept) + 1)
    order = plots.iloc[order_without_tonnes(plots)]["plot_id"]
    lost = chosen.loc[gone & chosen["plot_id"].isin(order), ["plot_id", "village"]]
    left = pd.concat([found.left_out, lost.assign(left_out_reason="budget_spent")])
    place = pd.Series(np.arange(len(order)), index=order)
    left = left.iloc[np.argsort(place[left["plot_id"]].to_numpy())].reset_index(drop=True)
    left["left_out_order"] = np.arange(1, len(left) + 1)
    saved = float(chosen.loc[~gone & ~held, GAIN].sum())
    bound = found.bound_t_yr
    return replace(
        found,
        chosen=kept,
        left_out=left,
        saved_t_yr=saved,
        gap=max(bound - saved, 0.0) / bound if bound > 0 else 0.0,
        spent=float(kept["budget_used"].sum()),
        held_spent=float(kept.loc[kept["chosen_by"] == HELD, "budget_used"].sum()),
    )


def _without_labour(ways: pd.DataFrame, handbook: Handbook) -> tuple[str, ...]:
    there = set(ways["measure"])
    return tuple(
        measure.name
        for measure in catalogue(handbook)
        if measure.name in there and np.isnan(measure.days)
    )


def _refuse(missing: tuple[str, ...], ways: pd.DataFrame, asked: Conservation) -> None:
    listed = ", ".join(missing)
    remedy = "Give days in measure_costs.csv of your handbook folder"
    if missing and asked.goal == "least labour":
        raise PlanError(
            Fault(
                "plan conservation.goal",
                f'is "least labour", but labour isn\'t known for {listed}',
                f'{remedy}, or set goal = "most soil"',
            )
        )
    if missing and asked.budget is not None and set(missing) == set(ways["measure"]):
        raise PlanError(
            Fault(
                "plan conservation.budget",
                f"is given, but labour isn't known for any measure: {listed}",
                f"{remedy}, or leave the budget out",
            )
        )


def _least_labour(ways: pd.DataFrame, asked: Conservation) -> pd.DataFrame:
    """Keep of each unit the cheapest that saves enough; else one of which that isn't known."""
    enough = ways[~(ways[LEFT] > 1 - asked.saved_share_min)]
    order = np.lexsort((enough[LEFT], enough["cost"], enough[LEFT].isna(), enough["unit"]))
    return enough.iloc[np.sort(order[~enough["unit"].iloc[order].duplicated().to_numpy()])]


def _best_of_each(ways: pd.DataFrame) -> NDArray[np.int64]:
    order = np.lexsort((ways.index, ways[LEFT], ways["unit"]))
    first = ~ways["unit"].iloc[order].duplicated().to_numpy()
    found: NDArray[np.int64] = np.sort(ways.index.to_numpy()[order[first]])
    return found


def _hold(costed: pd.DataFrame, plots: pd.DataFrame, name: str, budget: float) -> NDArray[np.int64]:
    """Spend what is held for plots without tonnes in their order, most held back for the cost."""
    order = order_without_tonnes(plots)
    place = pd.Series(np.arange(len(order)), index=plots[name].to_numpy()[order])
    place = place[~place.index.duplicated()]
    mine = costed[costed["unit"].isin(place.index)]
    with np.errstate(divide="ignore"):
        worth = (1 - mine[LEFT].to_numpy()) / mine["cost"].to_numpy()
    ranked = mine.iloc[np.lexsort((mine.index, -worth, place.loc[mine["unit"]].to_numpy()))]
    taken, served, left = [], set(), budget
    for at, unit, cost in zip(ranked.index, ranked["unit"], ranked["cost"], strict=True):
        if unit not in served and cost <= left:
            served.add(unit)
            taken.append(at)
            left -= cost
    return np.array(taken, dtype=np.int64)


def order_without_tonnes(plots: pd.DataFrame) -> NDArray[np.int64]:
    """Rank plots that have no tonnes of soil beside each other.

    Each of slope class, area, run-on and what lies below counts alike: by the plot's rank in it,
    equal ones sharing a rank.

    Parameters
    ----------
    plots : pandas.DataFrame
        As :func:`choose` takes them.

    Returns
    -------
    numpy.ndarray
        Places of plots without tonnes, the most pressing first.
    """
    without = np.flatnonzero(plots["soil_loss_now_likely_t_ha_yr"].isna())
    some = plots.iloc[without]
    below = np.zeros(len(some))
    if "lies_below" in some:
        worst = {kind: len(BELOW) - place for place, kind in enumerate(BELOW)}
        below = np.array([worst.get(kind, 0) for kind in some["lies_below"]], dtype=np.float64)
    pressing = pd.DataFrame(
        {
            "class": some["slope_class_number"].to_numpy(dtype=np.float64),
            "area": some["area_ha"].to_numpy(dtype=np.float64),
            "run_on": some["run_on_area_ha"].fillna(0).to_numpy(dtype=np.float64),
            "below": below,
        }
    )
    score = pressing.rank().sum(axis="columns").to_numpy()
    found: NDArray[np.int64] = without[np.lexsort((some["plot_id"].to_numpy(), -score))]
    return found


def _as_ways(ways: pd.DataFrame) -> knapsack.Ways:
    return knapsack.Ways(
        pd.factorize(ways["unit"])[0].astype(np.int64),
        ways["cost"].to_numpy(dtype=np.float64),
        ways[GAIN].to_numpy(dtype=np.float64),
        pd.factorize(ways["village"], sort=True)[0].astype(np.int64),
    )


def _shares(ways: pd.DataFrame, plots: pd.DataFrame, share: float) -> Floats | None:
    if share == 0 or ways.empty:
        return None
    area = plots.groupby("village")["area_ha"].sum()
    villages = pd.factorize(ways["village"], sort=True)[1]
    part: Floats = share * (area.loc[villages] / area.sum()).to_numpy(dtype=np.float64)
    return part


def _curve(ways: pd.DataFrame) -> pd.DataFrame:
    counted = ways[ways["cost"].notna() & ways[GAIN].notna()]
    cost, gain = knapsack.curve(_as_ways(counted))
    if counted.empty:
        cost, gain = cost[:0], gain[:0]
    # Even in gain: most of it comes with the first of the budget.
    at = np.searchsorted(gain, np.linspace(0, gain.max(initial=0.0), CURVE_POINTS))
    at = np.unique(np.minimum(at, len(cost) - 1)) if len(cost) else at[:0]
    table = pd.DataFrame({"budget_spent": cost[at], "soil_saved_total_t_yr": gain[at]})
    return tables.check(table, tables.made_by("curve"))


def _told(
    single: pd.DataFrame, ways: pd.DataFrame, most: NDArray[np.int64], held: NDArray[np.int64]
) -> pd.DataFrame:
    """List the plots of what is chosen, unit by unit in the order of their ranks."""
    chosen = ways.loc[np.concatenate([held, most]), ["unit", "measure", "erosion_rank"]]
    chosen["chosen_by"] = [*[HELD] * len(held), *[SAVES_MOST] * len(most)]
    chosen = chosen.rename(columns={"erosion_rank": "first"})
    found = single.merge(chosen, on=["unit", "measure"])
    found = found.sort_values(["first", "unit", "erosion_rank", "plot_id"], kind="stable")
    found["measure_order"] = np.arange(1, len(found) + 1)
    found = found.rename(columns={"cost": "budget_used"}).reset_index(drop=True)
    made = ("plot_id", "village", "measure", *tables.made_by("choice"), GAIN, "measure_plants")
    return tables.check(found[list(made)], made)
