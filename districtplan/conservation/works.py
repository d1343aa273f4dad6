"""The works of each hillside: lines to safe outlets, their order, days owed, what is safe alone.

Lines are drawn for the sites of the measures chosen, in the order of work. What carries water is no
plot's choice: a cut-off drain goes with a site whose top plot it would save enough, a grassed
waterway with one that gathered water crosses, and both only where a safe outlet is known. Where
water gathers and no waterway will do, a technician finds the outlet before rows.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import shapely

from districtplan import geodesy, tables
from districtplan.conservation.catalogue import Measure, catalogue
from districtplan.conservation.hillsides import Hillsides, Soil
from districtplan.conservation.land import land_of
from districtplan.conservation.line_tables import line_tables
from districtplan.conservation.order import (
    BETWEEN,
    NO_OUTLET,
    NOT_SPANNED,
    WATERWAY,
    days_owed,
    order_of_work,
    shared,
    without_rows,
)
from districtplan.conservation.outlets import TO_BUILD, Outlet
from districtplan.conservation.priorities import AWAY
from districtplan.conservation.structure_lines import DRAWN, Drawn, LineForm, dig, draw
from districtplan.conservation.vetoes import ruled_out

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from districtplan.conservation.hillsides import Plane, Site, Terrain
    from districtplan.conservation.propose import Known, Proposal
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Bools = NDArray[np.bool_]
    Objects = NDArray[np.object_]

DRAIN = "cut_off_drain"
"""Goes with a hillside and not with a plot, as a grassed waterway does."""
PER_LINE = "100 m"
"""What labour of lines is counted by."""
NEEDS_NONE = ("no_run_on", "no_flow_line", "saves_nothing")
"""Reasons that keep a measure from a plot which could bear it, and needs none itself."""
NOT_FOR_BEANS = frozenset({"forest_only", "perennials_only"})
"""Flags of plots that have no rows."""


@dataclass(frozen=True)
class Works:
    """What is built on hillsides; shapes are in the UTM zone.

    Attributes
    ----------
    lines : pandas.DataFrame
        One row a line, by site and measure, from the top down: see
        :func:`districtplan.conservation.line_tables.line_tables`.
    refused : pandas.DataFrame
        One row a site and measure whose lines, or those below the last, aren't drawn.
    waterways : pandas.DataFrame
        One row a waterway to build first.
    outlets : pandas.DataFrame
        ``work_site``, the columns of outlets and ``geometry``: those that lines or waterways of a
        site end at.
    order : pandas.DataFrame
        One row a piece of work, by step, the site to go to first at the top.
    days : pandas.DataFrame
        ``plot_id`` and ``days_owed``.
    charged : Mapping[str, float]
        What goes with each hillside takes of a budget, in its unit, by name of the site, as far as
        known.
    waiting : frozenset[str]
        Names of sites for which nothing is chosen, since it would lead water that has no outlet: a
        technician finds one.
    uncosted : frozenset[tuple[str, str]]
        Site and measure of what goes with it and isn't in that: its labour or length isn't known.
    undrawn : frozenset[tuple[str, str]]
        Plot and measure chosen that leads water, of whose lines none can be laid out for it.
    unled : Mapping[str, Mapping[str, Drawn]]
        By site whose measure leads water and has no line for want of an outlet, and by measure:
        what is refused there.
    sites : int
        Sites with measures.
    sites_drawn : int
        Those that were laid out: the first in the order of work.
    """

    lines: pd.DataFrame
    refused: pd.DataFrame
    waterways: pd.DataFrame
    outlets: pd.DataFrame
    order: pd.DataFrame
    days: pd.DataFrame
    charged: Mapping[str, float]
    waiting: frozenset[str]
    uncosted: frozenset[tuple[str, str]]
    undrawn: frozenset[tuple[str, str]]
    unled: Mapping[str, Mapping[str, Drawn]]
    sites: int
    sites_drawn: int

    @functools.cached_property
    def by_site(self) -> Mapping[str, pd.DataFrame]:
        """Give the order of work of each site.

        Returns
        -------
        Mapping[str, pandas.DataFrame]
            Rows of ``order`` by name of the site; sites that aren't laid out are left out.
        """
        return {str(name): own for name, own in self.order.groupby("work_site", sort=False)}


class Drafts:
    """Lays out the works of choices that differ a little, each hillside as often as it must be.

    Parameters
    ----------
    plots : pandas.DataFrame
        The plots as :func:`districtplan.conservation.propose.propose` takes them, with the columns
        of work sites.
    terrain : Terrain
        What lies on the hillsides, plots in the same order.
    known : Known
        What stands on the plots, and who takes part.
    plan : Plan
        How many sites are drawn, and how far from a line an outlet may lie.
    handbook : Handbook
        The published tables.
    """

    def __init__(
        self, plots: pd.DataFrame, terrain: Terrain, known: Known, plan: Plan, handbook: Handbook
    ) -> None:
        self._plots, self._terrain, self._known = plots, terrain, known
        self._plan, self._handbook = plan, handbook
        reach = handbook.number("structure_limits", "waterway_below_max_m")
        self._hillsides = Hillsides(terrain, reach)
        self._laid: dict[tuple[str, ...], tuple[Plane, dict[str, Drawn]]] = {}

    def works(
        self, proposal: Proposal, waiting: Mapping[str, Mapping[str, Drawn]] | None = None
    ) -> Works:
        """Lay out the works of a choice.

        Parameters
        ----------
        proposal : Proposal
            The measures chosen.
        waiting : Mapping[str, Mapping[str, Drawn]] | None, default None
            ``unled`` of earlier choices, of sites for which nothing is chosen now.

        Returns
        -------
        Works
            The works.
        """
        plots, terrain = self._plots, self._terrain
        asked = _Asked.of(plots, proposal, self._known, self._plan, self._handbook)
        drawn: dict[str, dict[str, Drawn]] = {}
        planes = {}
        for name, chosen in asked.chosen.groupby("work_site", sort=False):
            site = str(name)
            planes[site], drawn[site] = self._of_site(site, chosen, asked)
        told = {**drawn, **(waiting or {})}
        found = line_tables(told, self._known.taking_part)

        def placed(table: pd.DataFrame) -> pd.DataFrame:
            local = zip(table["geometry"], table["work_site"], strict=True)
            moved = [shapely.transform(shape, planes[name].back) for shape, name in local]
            shapes = np.array(moved, dtype=object).reshape(-1)
            back = geodesy.reproject(shapes, terrain.raster_crs, terrain.zone)
            return table.assign(geometry=pd.Series(back, dtype=object))

        lines, waterways = placed(found.lines), placed(found.waterways)
        beside = _beside(drawn, asked)
        days = _days(asked, beside)
        costs = _costs(asked, beside, self._plan)
        sites = plots[plots["work_site"].isin(told)]
        order = order_of_work(sites, told, (DRAIN,), days, _planted(asked), _priced(asked, beside))
        place = {name: at for at, name in enumerate(told)}
        first = order["work_site"].map(place).to_numpy(dtype=np.int64)
        order = order.iloc[np.lexsort((order["work_step"], first))]
        barred = self._known.barred(sites)
        rowless = _without_beans(sites).union(barred)
        away = {plot for plot, why in barred.items() if why == AWAY}
        return Works(
            lines=lines,
            refused=found.refused,
            waterways=waterways,
            outlets=_outlets(lines, waterways, terrain.features),
            order=shared(without_rows(order, rowless), barred, away).reset_index(drop=True),
            days=_owed(asked, plots, days, self._known.barred(plots)),
            charged=_charged(costs),
            waiting=frozenset(waiting or ()),
            uncosted=frozenset(pair for pair, cost in costs.items() if np.isnan(cost)),
            undrawn=_undrawn(asked, drawn),
            unled=_unled(asked, drawn),
            sites=asked.sites,
            sites_drawn=len(drawn),
        )

    def _of_site(
        self, name: str, chosen: pd.DataFrame, asked: _Asked
    ) -> tuple[Plane, dict[str, Drawn]]:
        key = (name, *chosen["plot_id"], *chosen["measure"])
        if key not in self._laid:
            own = asked.places[name]
            site = self._hillsides.site(own)
            along = chosen[chosen["along"]]
            self._laid[key] = site.plane, _drawn(site, own, along, asked)
        return self._laid[key]


class _Kind(NamedTuple):
    measure: Measure
    form: LineForm


@dataclass(frozen=True)
class _Asked:
    """What is to be drawn, and what it takes."""

    chosen: pd.DataFrame
    places: Mapping[str, Integers]
    sites: int
    ids: Objects
    soil: Soil
    kinds: Mapping[str, _Kind]
    kept_off: Mapping[str, Bools]
    """Whether what carries water may not cross each plot, by measure, shape (plots,) each."""
    drained: set[str]
    """Plots that a cut-off drain goes with."""
    crossed: frozenset[str]
    """Plots that gathered water crosses."""
    every: pd.DataFrame
    limits: Mapping[str, float]

    @classmethod
    def of(
        cls, plots: pd.DataFrame, proposal: Proposal, known: Known, plan: Plan, handbook: Handbook
    ) -> _Asked:
        kinds = {measure.name: _Kind(measure, _form(measure)) for measure in catalogue(handbook)}
        limits = handbook.numbers("structure_limits") | {
            "outlet_reach_m": plan.rows.outlet_reach_m,
            "link_m": handbook.number("work_site_limits", "link_m"),
            "crossing_min_m": plan.water.crossing_min_m,
            "strip_width_m": plan.water.strip_width_m,
        }
        site = plots.set_index("plot_id")["work_site"]
        every = proposal.chosen.assign(measure=proposal.chosen["measure"].astype(object))
        every["work_site"] = every["plot_id"].map(site)
        graded = every["measure"].map(lambda name: kinds[name].form.graded).astype(bool)
        every["along"] = every["line_drop_m"].notna() | graded
        names = every["work_site"].drop_duplicates()
        first = names[: plan.conservation.sites_drawn_max]
        order = np.lexsort((plots["site_place"], plots["work_site"]))
        of_site = plots["work_site"].to_numpy(dtype=object)[order]
        starts = np.flatnonzero(of_site[1:] != of_site[:-1]) + 1
        parts = np.split(order.astype(np.int64), starts)
        land = land_of(plots, known.standing, plan)
        offered = proposal.options.offered
        least = 1 - limits["cut_off_saves_min_share"]
        saves = offered["loss_left_likely_share"] <= least
        top = set(plots.loc[plots["site_place"] == 1, "plot_id"]).difference(known.barred(plots))
        drains = offered.loc[(offered["measure"] == DRAIN) & saves, "plot_id"]
        # Whether or not a grassed waterway may be there, the water is.
        gathers = tables.crossed(land.flow_line_m, plan.water.crossing_min_m)
        leading = [name for name, kind in kinds.items() if kind.form.carries_water]
        kept_off = {name: _kept_off(name, plots, proposal, known) for name in leading}
        return cls(
            chosen=every[every["work_site"].isin(first)],
            places={str(plots["work_site"].iloc[part[0]]): part for part in parts if len(part)},
            sites=len(names),
            ids=plots["plot_id"].to_numpy(dtype=object),
            soil=Soil(
                land.soil_depth_m, land.drainage == "free", land.slipping, kept_off[WATERWAY]
            ),
            kinds=kinds,
            kept_off=kept_off,
            drained=top.intersection(drains),
            crossed=frozenset(plots.loc[gathers, "plot_id"]),
            every=every,
            limits=limits,
        )


def _kept_off(name: str, plots: pd.DataFrame, proposal: Proposal, known: Known) -> Bools:
    """Tell which plots a measure that carries water may not cross, for whatever reason.

    Land that needs none, since no water comes to it or it would save nothing there, may bear what
    others need, if staff didn't rule that out. So may plots that don't take part: their agreement
    in writing comes first.
    """
    refused = proposal.options.refused
    mine = refused[refused["measure"] == name]
    shut = known.closed.union(mine.loc[~mine["measure_reason"].isin(NEEDS_NONE), "plot_id"])
    if known.vetoes is not None:
        shut = shut.union(ruled_out(known.vetoes, name))
    return plots["plot_id"].isin(shut).to_numpy(dtype=np.bool_)


def _without_beans(plots: pd.DataFrame) -> set[str]:
    """Give the ids of plots that aren't for beans, or whose own rows wait for an outlet."""
    kept_off = [
        bool(waits) or not NOT_FOR_BEANS.isdisjoint(raised)
        for waits, raised in zip(plots["outlet_flags"], plots["erosion_flags"], strict=True)
    ]
    return set(plots.loc[kept_off, "plot_id"])


def _form(measure: Measure) -> LineForm:
    return LineForm(
        name=measure.name,
        graded=measure.line_form == "graded",
        carries_water=measure.carries_water,
        retains=measure.drains_freely,
        above=measure.effect == "run_on",
        grade_pct=measure.number("grade_pct", 0.0),
        length_max_m=measure.number("length_max_m", np.inf),
    )


def _drawn(site: Site, own: Integers, chosen: pd.DataFrame, asked: _Asked) -> dict[str, Drawn]:
    """Draw the works of one site; a waterway comes before lines that would cross it."""
    first = None
    if not asked.crossed.isdisjoint(asked.ids[own]):
        first = dig(site.hillside(own, tuple(asked.ids[own]), asked.soil, 0.0), asked.limits)
    found = _laid(site, own, chosen, asked, first)
    for late in found.values():
        if late.waterway is not None and late is not first:
            lines = [line for one in found.values() for line in one.lines]
            others = [line.shape for line in lines if line.outlet != TO_BUILD]
            if shapely.crosses(others, late.waterway.line).any():
                reason = None if first is None else first.reason
                return _laid(site, own, chosen, asked, late._replace(lines=(), reason=reason))
            break
    return found


def _laid(
    site: Site, own: Integers, chosen: pd.DataFrame, asked: _Asked, first: Drawn | None
) -> dict[str, Drawn]:
    """Draw the works of one site: what carries water before what may not cross it."""
    ids = asked.ids[own]
    wanted = dict.fromkeys(chosen["measure"])
    if not asked.drained.isdisjoint(ids):
        wanted[DRAIN] = None
    names = sorted(wanted, key=lambda name: not asked.kinds[name].form.carries_water)
    found = {} if first is None else {WATERWAY: first}
    dug = None if first is None else first.waterway
    through = () if first is None else first.waterway_plots
    standing = list(site.standing)
    for name in names:
        measure, form = asked.kinds[name]
        mine = chosen.loc[chosen["measure"] == name]
        off = asked.kept_off[name][own] if form.carries_water else ~np.isin(ids, mine["plot_id"])
        hillside = site.hillside(
            own[~off], tuple(ids[~off]), asked.soil, measure.number("depth_min_m", 0.0)
        )
        if form.carries_water:
            hillside = replace(hillside, refused=site.refused_with(own[off], own[~off]))
        if dug is not None and form.graded:
            built = Outlet(TO_BUILD, dug.line)
            hillside = replace(hillside, outlets=(*hillside.outlets, built))
        drop = float(mine["line_drop_m"].median()) if len(mine) else 1.0
        # Graded lines end in the waterway, level ones keep clear of it.
        water = [] if dug is None or form.graded else [dug.line]
        drawn = draw(hillside, form, drop, asked.limits, [*standing, *water])
        if drawn.reason == NO_OUTLET and off.any():
            # Where plots that may bear none are all that keeps lines from one, there is an outlet.
            whole = site.hillside(own, tuple(ids), asked.soil, 0.0)
            whole = replace(whole, outlets=hillside.outlets)
            if draw(whole, form, drop, asked.limits, standing).reason != NO_OUTLET:
                drawn = drawn._replace(reason=NOT_SPANNED if form.above else BETWEEN)
        if dug is not None and drawn.waterway is None:
            if TO_BUILD in [line.outlet for line in drawn.lines]:
                drawn = drawn._replace(waterway=dug, waterway_plots=through)
        elif drawn.waterway is not None:
            dug, through = drawn.waterway, drawn.waterway_plots
        shapes = [line.shape for line in drawn.lines]
        standing += [shape for shape in shapes if isinstance(shape, shapely.LineString)]
        found[name] = drawn
    return found


def _beside(
    drawn: Mapping[str, Mapping[str, Drawn]], asked: _Asked
) -> dict[tuple[str, str], float]:
    """Give the length by site and measure of what goes with hillsides; NaN where set out there."""
    chosen = set(zip(asked.chosen["work_site"], asked.chosen["measure"], strict=True))
    found = {}
    for site, works in drawn.items():
        for name, one in works.items():
            if one.lines and (site, name) not in chosen:
                known = all(line.state == DRAWN for line in one.lines)
                length = sum(float(line.shape.length) for line in one.lines)
                found[site, name] = length if known else np.nan
        dug = next((one.waterway.line.length for one in works.values() if one.waterway), None)
        if dug is not None:
            found[site, WATERWAY] = float(dug)
    return found


def _days(asked: _Asked, beside: Mapping[tuple[str, str], float]) -> dict[tuple[str, str], float]:
    """Give person-days by site and measure: as chosen, and of what goes with hillsides as drawn."""
    chosen = asked.every.groupby(["work_site", "measure"])["person_days"]
    summed = chosen.agg(lambda own: own.sum(skipna=False)).reset_index()
    keys = zip(summed["work_site"], summed["measure"], strict=True)
    days = dict(zip(keys, summed["person_days"].tolist(), strict=True))
    return days | {
        (site, name): length / 100 * asked.kinds[name].measure.days
        for (site, name), length in beside.items()
    }


def _priced(asked: _Asked, beside: Mapping[tuple[str, str], float]) -> dict[tuple[str, str], float]:
    """Give the metres by site and measure that days are counted for; none where it is earth."""
    per_line = [name for name, kind in asked.kinds.items() if kind.measure.labour_per == PER_LINE]
    along = asked.chosen[asked.chosen["along"] & asked.chosen["measure"].isin(per_line)]
    sums = along.groupby(["work_site", "measure"])["measure_length_m"]
    summed = sums.agg(lambda own: own.sum(skipna=False)).reset_index()
    keys = zip(summed["work_site"], summed["measure"], strict=True)
    return dict(zip(keys, summed["measure_length_m"].tolist(), strict=True)) | dict(beside)


def _costs(
    asked: _Asked, beside: Mapping[tuple[str, str], float], plan: Plan
) -> dict[tuple[str, str], float]:
    """Give what each piece that goes with a hillside takes of a budget; NaN where not known."""
    found: dict[tuple[str, str], float] = {}
    for (site, name), length in beside.items():
        measure = asked.kinds[name].measure
        cost = measure.days
        if plan.conservation.budget_unit == "money":
            pay = plan.conservation.day_cost
            cost = cost * (np.nan if pay is None else pay) + measure.material_money
        found[site, name] = length / 100 * cost
    return found


def _charged(costs: Mapping[tuple[str, str], float]) -> dict[str, float]:
    found: dict[str, float] = {}
    for (site, _), cost in costs.items():
        if not np.isnan(cost):
            found[site] = found.get(site, 0.0) + cost
    return found


def _undrawn(asked: _Asked, drawn: Mapping[str, Mapping[str, Drawn]]) -> frozenset[tuple[str, str]]:
    return frozenset(
        (plot, name)
        for plot, name, site in _leading(asked).itertuples(index=False)
        if not drawn[site][name].lines or plot in drawn[site][name].bare
    )


def _unled(asked: _Asked, drawn: Mapping[str, Mapping[str, Drawn]]) -> dict[str, dict[str, Drawn]]:
    """Give what is refused where a measure chosen has nowhere safe to lead its water."""
    found: dict[str, dict[str, Drawn]] = {}
    for _, name, site in _leading(asked).itertuples(index=False):
        if drawn[site][name].reason == NO_OUTLET and not drawn[site][name].lines:
            found[site] = {
                other: one._replace(waterway=None, waterway_plots=())
                for other, one in drawn[site].items()
                if not one.lines and (one.reason == NO_OUTLET or other == WATERWAY)
            }
    return found


def _leading(asked: _Asked) -> pd.DataFrame:
    """Give plot, measure and site of what is chosen and leads water."""
    chosen = asked.chosen
    leads = chosen["measure"].map(lambda name: asked.kinds[name].form.carries_water).astype(bool)
    return chosen.loc[leads, ["plot_id", "measure", "work_site"]]


def _planted(asked: _Asked) -> dict[str, dict[str, tuple[str, ...]]]:
    """Give the plots, by site and measure, of what isn't along lines."""
    found: dict[str, dict[str, tuple[str, ...]]] = {}
    rest = asked.chosen[~asked.chosen["along"]]
    for (site, name), own in rest.groupby(["work_site", "measure"], sort=True):
        found.setdefault(str(site), {})[str(name)] = tuple(own["plot_id"])
    return found


def _owed(
    asked: _Asked,
    plots: pd.DataFrame,
    days: Mapping[tuple[str, str], float],
    barred: Mapping[str, str],
) -> pd.DataFrame:
    carrying = {name for name, kind in asked.kinds.items() if kind.form.carries_water}
    alone = asked.every[~asked.every["measure"].isin(carrying)]
    own = alone.set_index("plot_id")["person_days"]
    mine = plots["plot_id"].map(own).where(plots["plot_id"].isin(own.index), 0.0)
    common: dict[str, float] = {}
    for (site, name), value in days.items():
        if name in carrying:
            common[site] = common.get(site, 0.0) + value
    # Who doesn't take part, or whose land is closed, owes nothing: the others share it.
    area = plots["area_ha"].where(~plots["plot_id"].isin(barred), 0.0)
    own_days, area_ha = (each.to_numpy(dtype=np.float64) for each in (mine, area))
    return days_owed(plots, own_days, area_ha, common)


def _outlets(lines: pd.DataFrame, waterways: pd.DataFrame, features: pd.DataFrame) -> pd.DataFrame:
    """List the outlets that are there already and that lines or waterways end at."""
    ends = pd.concat(
        [
            lines[["work_site", "structure_outlet"]].rename(columns={"structure_outlet": "outlet"}),
            waterways[["work_site", "waterway_outlet"]].rename(
                columns={"waterway_outlet": "outlet"}
            ),
        ]
    )
    counted = ends.groupby(["work_site", "outlet"], sort=True).size()
    found = counted.reset_index(name="outlet_lines")
    shapes = dict(zip(features["feature"], features["geometry"], strict=True))
    found = found[found["outlet"].isin(shapes)].reset_index(drop=True)
    columns = ("work_site", *tables.made_by("outlets"))
    checked = tables.check(found.astype({"outlet_lines": "int64"}), columns)
    return checked.assign(geometry=found["outlet"].map(shapes).astype(object))
