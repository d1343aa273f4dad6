"""Which plots become demonstration plots, with what, and what the choice rests on, as tables."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import pandas as pd

from districtplan import tables
from districtplan.demos import explain
from districtplan.demos.candidates import CANDIDATE, OUT, PROVISIONAL, counted
from districtplan.demos.comparison import rows_up_and_down, treated_side
from districtplan.demos.contradictions import conflicts
from districtplan.demos.cover import SHORT, WORK, Effort, choose
from districtplan.demos.reach import Reach
from districtplan.demos.rules import Conditions, Rule, Sites, rules

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.demos.cover import Cover
    from districtplan.demos.facts import Facts
    from districtplan.demos.layout import Laid
    from districtplan.handbook import Handbook
    from districtplan.plan import Demos
    from districtplan.travel import Links

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

THINNED = "thinned out"
"""Reason of a candidate that the plan asks to leave out of a large model."""
CURVE_POINTS = 10
"""Numbers of plots that the curve is worked out for, about."""
QUICK_LINKS = 300_000_000
"""Links that all steps of a bound then look at."""
QUICK = Effort(work=WORK // SHORT, step_links=QUICK_LINKS)
"""Effort for what only argues: other numbers of plots, conditions that give way."""


@dataclass(frozen=True)
class Allotment:
    """Demonstration plots, or why there are none.

    Attributes
    ----------
    chosen : pandas.DataFrame
        A row a plot chosen, by id: the columns made by demos.
    plots : pandas.DataFrame
        A row a plot: how it stands, and what it would add.
    villages : pandas.DataFrame
        A row a village: its farmers, those reached, why it has none or several.
    curve : pandas.DataFrame
        Farmers reached by the number of plots, or of kits.
    reasons : pandas.DataFrame
        A row a message and reason: how many plots it keeps out.
    compared : pandas.DataFrame
        Plots chosen beside those of all farmers.
    conflicts : pandas.DataFrame
        Conditions that can't be kept together, and what each would have to give.
    people_m : numpy.ndarray
        Where farmers are, east and north, shape (places, 2) [m].
    people_village : numpy.ndarray
        Villages of these places' farmers, shape (places,).
    reached : numpy.ndarray
        Chosen plots that reach each of these places' farmers, shape (places,).
    chosen_m : numpy.ndarray
        Where the plots chosen are, shape (plots chosen, 2) [m].
    comers : tuple[numpy.ndarray, ...]
        By plot chosen, the places of the farmers who have it in reach, by number.
    served : pandas.DataFrame
        ``village``, ``plot_id`` and ``farmers`` of the village who have that plot in reach, most
        first.
    farmers, farmers_reached, farmers_near : int
        Farmers, those reached, and those that any candidate would reach.
    cover : Cover | None
        The choice with its bound; None where conditions conflict.
    thinned : int
        Candidates that were left out since the plan asks for thinning.
    weighed : bool
        Whether any farmer counts more than another.
    ended : tuple[str, ...]
        Ids of plots shown last season whose message the plan no longer has.
    laid : dict[str, Laid]
        Halves of the plots chosen, by id, where they can be laid out beforehand.
    """

    chosen: pd.DataFrame
    plots: pd.DataFrame
    villages: pd.DataFrame
    curve: pd.DataFrame
    reasons: pd.DataFrame
    compared: pd.DataFrame
    conflicts: pd.DataFrame
    people_m: Floats
    people_village: NDArray[np.object_]
    reached: Ints
    chosen_m: Floats
    comers: tuple[Ints, ...]
    served: pd.DataFrame
    farmers: int
    farmers_reached: int
    farmers_near: int
    cover: Cover | None
    thinned: int = 0
    weighed: bool = False
    ended: tuple[str, ...] = ()
    laid: dict[str, Laid] = field(default_factory=dict)

    @property
    def near_value(self) -> float:
        """Say how many more farmers, counted as the plan weighs them, a better choice might reach.

        Returns
        -------
        float
            0 where the choice is proved best.
        """
        return 0.0 if self.cover is None else self.cover.bound - self.cover.value


@dataclass(frozen=True)
class _Model:
    """Sites, who reaches whom, and what is asked."""

    facts: Facts
    asked: Demos
    sites: Sites
    site_plot: Ints
    site_message: Ints
    reach: Reach
    conditions: Conditions
    found: list[Rule]
    villages: list[str]
    thinned: Ints

    @property
    def effort(self) -> Effort:
        """When the search stops."""
        asked = self.asked
        return Effort(
            gap=asked.gap_pct / 100,
            nodes=asked.nodes_max,
            seed=asked.seed,
            seconds=asked.seconds,
        )

    def ids(self, sites: pd.Series) -> pd.Series:
        """Name the plots of sites; None for -1."""
        names = self.facts.plots["plot_id"].to_numpy(dtype=object)
        found = np.full(len(sites), None, dtype=object)
        numbers = sites.to_numpy(dtype=np.int64)
        found[numbers >= 0] = names[self.site_plot[numbers[numbers >= 0]]]
        return pd.Series(found, dtype=object)

    def heads(self, chosen: Ints) -> int:
        """Count the farmers that some sites reach."""
        return int((self.reach.reached(chosen) > 0).sum())


def allot(facts: Facts, links: Links, asked: Demos, book: Handbook) -> Allotment:
    """Choose demonstration plots and tell what the choice rests on.

    Parameters
    ----------
    facts : Facts
        What is known of plots and people.
    links : Links
        Ways within reach, from places of people to the plots that may show something.
    asked : Demos
        What the plan asks.
    book : Handbook
        Table ``demo_choices``.

    Returns
    -------
    Allotment
        The choice; without one, conditions that conflict.
    """
    model = _model(facts, links, asked)
    cover = choose(model.reach, model.found, model.effort)
    chosen = np.empty(0, np.int64) if cover is None else cover.chosen
    times = model.reach.reached(chosen)
    # Of all that may show something, thinned out or not.
    near = np.unique(facts.people.farmer[links.start])
    return Allotment(
        chosen=_chosen(model, chosen),
        plots=_plots(model, chosen),
        villages=_villages(model, chosen, times),
        curve=_curve(model, cover, round(book.number("demo_choices", "next_plots"))),
        reasons=_reasons(model),
        compared=_compared(model, chosen),
        conflicts=_conflicts(model) if cover is None else _no_conflicts(),
        people_m=facts.people.place_m,
        people_village=facts.people.table["village"].to_numpy(dtype=object)[facts.people.farmer],
        reached=times[facts.people.farmer],
        chosen_m=model.sites.place_m[chosen],
        comers=tuple(_comers(model, int(site)) for site in chosen),
        served=_served(model, chosen),
        farmers=len(times),
        farmers_reached=int((times > 0).sum()),
        farmers_near=len(near),
        cover=cover,
        thinned=len(model.thinned),
        weighed=bool((facts.people.table["weight"] != 1).any()),
        ended=facts.ended,
    )


def _model(facts: Facts, links: Links, asked: Demos) -> _Model:
    able = facts.offers[facts.offers["demo_standing"] != OUT]
    open_plots = facts.open_plots
    farmer, plot = facts.people.farmer[links.start], open_plots[links.end]
    thinned = _thin(facts, (farmer, plot), asked)
    able = able[~able["plot"].isin(thinned)]
    site_plot, site_message = (able[name].to_numpy(np.int64) for name in ("plot", "message"))
    plots = facts.plots
    village, names = pd.factorize(plots["village"], sort=True)
    slope = plots["slope_used_pct"].to_numpy(dtype=np.float64)
    classes = np.searchsorted(np.array(asked.slope_limits_pct or []), slope, side="right")
    kits = np.array([message.kits for message in asked.messages or ()], dtype=np.float64)
    sites = Sites(
        village[site_plot].astype(np.int64),
        pd.factorize(plots["farmer_id"])[0][site_plot].astype(np.int64),
        classes[site_plot].astype(np.int64),
        kits[site_message],
        facts.place_m[site_plot].reshape(-1, 2),
        site_plot,
        site_message,
    )
    conditions = _conditions(facts, asked, village, classes)
    weight = facts.people.table["weight"].to_numpy(dtype=np.float64)
    reach = Reach.of(weight, *_by_site(farmer, plot, site_plot, len(plots)), len(site_plot))
    return _Model(
        facts,
        asked,
        sites,
        site_plot,
        site_message,
        reach,
        conditions,
        rules(sites, conditions),
        [str(name) for name in names],
        thinned,
    )


def _served(model: _Model, chosen: Ints) -> pd.DataFrame:
    """Count for each village the farmers who have each plot in reach."""
    people = model.facts.people.table["village"]
    ids = model.facts.plots["plot_id"].to_numpy(dtype=object)
    found = []
    for site in chosen:
        mine = people[model.reach.reached(np.array([site])) > 0].value_counts()
        found += [(str(one), ids[model.site_plot[site]], int(n)) for one, n in mine.items()]
    table = pd.DataFrame(found, columns=["village", "plot_id", "farmers"])
    return table.sort_values(["village", "farmers", "plot_id"], ascending=[True, False, True])


def _comers(model: _Model, site: int) -> Ints:
    """Find the places of the farmers who have a site in reach."""
    mine = model.reach.reached(np.array([site])) > 0
    return np.flatnonzero(mine[model.facts.people.farmer])


def _by_site(farmer: Ints, plot: Ints, site_plot: Ints, plots: int) -> tuple[Ints, Ints]:
    """Repeat links to plots for each message that these may show."""
    first = np.searchsorted(site_plot, np.arange(plots + 1))
    count = np.diff(first)[plot]
    start = np.repeat(first[plot], count)
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return np.repeat(farmer, count), start + within


def _thin(facts: Facts, pairs: tuple[Ints, Ints], asked: Demos) -> Ints:
    """Leave out, where the plan asks, candidates that reach fewer than others of their village."""
    open_plots = facts.open_plots
    if asked.candidates_max is None or len(open_plots) <= asked.candidates_max:
        return np.empty(0, np.int64)
    linked = np.unique(np.stack(pairs), axis=1)
    weight = facts.people.table["weight"].to_numpy(dtype=np.float64)
    own = np.bincount(linked[1], weight[linked[0]], len(facts.plots))[open_plots]
    table = pd.DataFrame({"plot": open_plots, "own": own})
    table["village"] = facts.plots["village"].to_numpy(dtype=object)[open_plots]
    ranked = table.sort_values(["own", "plot"], ascending=[False, True], kind="stable")
    rank = ranked.groupby("village").cumcount()
    ids = facts.plots["plot_id"]
    stays = {*facts.kept, *np.flatnonzero(ids.isin(asked.forced_in or ()))}
    rank = rank.mask(ranked["plot"].isin(stays), -1)
    order = ranked["plot"].to_numpy()[np.argsort(rank.to_numpy(), kind="stable")]
    return np.sort(order[asked.candidates_max :])


def _conditions(facts: Facts, asked: Demos, village: NDArray[np.intp], classes: Ints) -> Conditions:
    plots, messages = facts.plots, list(asked.messages or ())
    area = plots["area_ha"].to_numpy(dtype=np.float64)
    count = int(village.max(initial=-1)) + 1
    barriers = [at for at, message in enumerate(messages) if message.barrier]
    ids = plots["plot_id"]
    forced = {name: set(np.flatnonzero(ids.isin(getattr(asked, name) or ())).tolist())
              for name in ("forced_in", "forced_out")}  # fmt: skip
    share: Floats | None = None
    if asked.slope_limits_pct is not None:
        # By the land that is tilled: none is where planting is closed.
        tilled = area * ~plots["no_go"].to_numpy(dtype=np.bool_)
        land = np.bincount(classes, tilled, len(asked.slope_limits_pct) + 1).astype(np.float64)
        share = land / max(land.sum(), np.finfo(np.float64).tiny)
    return Conditions(
        count=asked.plots,
        budget=asked.kits,
        village_least=dict.fromkeys(range(count), asked.village_min) if asked.village_min else {},
        village_most={}
        if asked.village_max is None
        else dict.fromkeys(range(count), asked.village_max),
        message_first=dict.fromkeys(steep_villages(facts, asked, village).tolist(), barriers)
        if barriers
        else {},
        message_plots={
            at: (float(one.plots_min), np.inf if one.plots_max is None else float(one.plots_max))
            for at, one in enumerate(messages)
            if one.plots_min or one.plots_max is not None
        },
        class_share=share,
        class_tolerance=asked.class_tolerance_share,
        apart_m=asked.apart_m,
        one_a_farmer=asked.one_a_farmer,
        forced_in=sorted(forced["forced_in"] | set(facts.kept)),
        forced_out=sorted(forced["forced_out"]),
    )


def steep_villages(facts: Facts, asked: Demos, village: NDArray[np.intp]) -> Ints:
    """Find the villages whose land is so steep that they must see barriers.

    Parameters
    ----------
    facts : Facts
        What is known of plots.
    asked : Demos
        The slope from which they must.
    village : numpy.ndarray
        Number of each plot's village, shape (plots,).

    Returns
    -------
    numpy.ndarray
        Numbers of villages, rising.
    """
    area = facts.plots["area_ha"].to_numpy(dtype=np.float64)
    slope = facts.plots["slope_used_pct"].to_numpy(dtype=np.float64)
    known = np.isfinite(slope)
    land = np.bincount(village[known], area[known])
    weighed = np.bincount(village[known], (area * slope)[known])
    return np.flatnonzero((land > 0) & (weighed >= asked.steep_village_pct * land))


def _chosen(model: _Model, chosen: Ints) -> pd.DataFrame:
    """Tell of each plot chosen what it gives, and which would take its place."""
    facts, asked = model.facts, model.asked
    alike = model.reach._replace(weight=np.ones(len(model.reach.weight)))
    told, heads = (
        explain.of_sites(reach, model.found, chosen, model.site_plot)
        for reach in (model.reach, alike)
    )
    plot, message = model.site_plot[chosen], model.site_message[chosen]
    messages = list(asked.messages or ())
    plots = facts.plots.iloc[plot].reset_index(drop=True)
    standing = facts.offers.set_index(["plot", "message"])["demo_standing"]
    provisional = np.array(
        [standing[at] == PROVISIONAL for at in zip(plot, message, strict=True)], np.bool_
    )
    # What the raster says of a slope that somebody must read first allows nothing.
    slope = plots["slope_used_pct"].to_numpy(dtype=np.float64)
    slope = np.where(provisional, np.nan, slope)
    limit = asked.up_down_slope_max_pct
    forced = plots["plot_id"].isin(asked.forced_in or ()).to_numpy()
    kept = np.isin(plot, list(facts.kept))
    found = pd.DataFrame(
        {
            "plot_id": plots["plot_id"],
            "village": plots["village"],
            "demo_message": [messages[at].name for at in message],
            "demo_treatments": [tuple(messages[at].treatments) for at in message],
            "demo_kits": [float(messages[at].kits) for at in message],
            "demo_why": np.select([kept, forced], ["kept", "forced in"], "chosen"),
            "demo_provisional": provisional.astype("int64"),
            "demo_reaches": heads["reached"].astype("int64"),
            "demo_reaches_alone": heads["alone"].astype("int64"),
            "demo_runner_up": model.ids(told["runner_up"]),
            "demo_runner_up_loss": told["loss"].astype("float64"),
            "demo_side": [treated_side(one, asked.seed) for one in plots["plot_id"]],
            "demo_up_down": [int(rows_up_and_down(one, limit)) for one in slope],
        }
    )
    # Columns of no rows have no kind of their own.
    found = found.astype({"demo_provisional": "int64", "demo_up_down": "int64"})
    return tables.check(found, ("plot_id", "village", *tables.made_by("demos")))


def _plots(model: _Model, chosen: Ints) -> pd.DataFrame:
    """Tell of each plot how it stands, and what would become of the choice with it."""
    facts = model.facts
    names = [message.name for message in model.asked.messages or ()]
    count = len(facts.plots)
    able = facts.offers[facts.offers["demo_standing"] != OUT]
    by_plot = able.groupby("plot")
    provisional = set(able.loc[able["demo_standing"] == PROVISIONAL, "plot"])
    shows = {plot: tuple(names[at] for at in own) for plot, own in by_plot["message"]}
    # A plot that can show nothing has the reasons of the message that it is nearest to.
    reasons = _nearest(facts.offers, count)
    others = explain.of_others(model.reach, model.found, chosen)
    others["plot"] = model.site_plot[others["site"].to_numpy()]
    others["in_place_of"] = model.ids(others["instead_of"])
    ranked = others.sort_values(["loss", "site"], kind="stable", na_position="last")
    ranked = ranked.drop_duplicates("plot").set_index("plot")
    best = cast("dict[int, dict[str, Any]]", ranked.to_dict("index"))
    picked = {model.site_plot[site]: names[model.site_message[site]] for site in chosen}
    thinned = set(model.thinned.tolist())
    rows = []
    for plot in range(count):
        free = plot in shows and plot not in picked
        own = best.get(plot, {}) if free else {}
        standing = PROVISIONAL if plot in provisional else CANDIDATE
        if plot in picked:
            why: tuple[str, ...] = ()
        elif plot in thinned:
            why = (THINNED,)
        else:
            why = () if free else reasons[plot]
        rows.append(
            (
                standing if plot in shows else OUT,
                why,
                picked.get(plot),
                shows.get(plot, ()),
                own.get("adds", np.nan),
                own.get("in_place_of"),
                own.get("loss", np.nan),
                own.get("stopped", ()),
            )
        )
    found = pd.DataFrame(rows, columns=list(tables.made_by("demo plots")))
    return tables.check(
        found.assign(plot_id=facts.plots["plot_id"], village=facts.plots["village"]).astype(
            {"demo_adds": "float64", "demo_loss": "float64"}
        ),
        ("plot_id", "village", *tables.made_by("demo plots")),
    )


def _nearest(offers: pd.DataFrame, count: int) -> list[tuple[str, ...]]:
    """Give all reasons that keep each plot from the message that fewest keep it from.

    With these out of the way it could show that one, which part of them would not be enough for.
    """
    found: list[tuple[str, ...]] = [()] * count
    for plot, own in offers.groupby("plot")["demo_reasons"]:
        offered: list[tuple[str, ...]] = [reasons for reasons in own if reasons]
        found[int(str(plot))] = min(offered, key=len, default=())
    return found


def _villages(model: _Model, chosen: Ints, times: Ints) -> pd.DataFrame:
    told = explain.of_villages(
        model.reach, model.sites, model.found, chosen, range(len(model.villages))
    )
    people = model.facts.people.table["village"]
    count = people.value_counts()
    reached = people[times > 0].value_counts()
    able = pd.Series(model.site_plot).groupby(model.sites.village).nunique()
    mean = model.facts.plots["village"]
    _, numbers = np.unique(mean.to_numpy(dtype=object), return_inverse=True)
    steep = steep_villages(model.facts, model.asked, numbers)
    found = pd.DataFrame(
        {
            "village": model.villages,
            "demo_farmers": [int(count.get(one, 0)) for one in model.villages],
            "demo_farmers_reached": [int(reached.get(one, 0)) for one in model.villages],
            "demo_candidates": [int(able.get(at, 0)) for at in range(len(model.villages))],
            "demo_plots": told["demos"].astype("int64"),
            "demo_steep": np.isin(np.arange(len(model.villages)), steep).astype(np.int64),
            "demo_village_why": told["why"],
            "demo_best": model.ids(told["best"]).mask(told["adds"] <= 0, None),
            "demo_best_adds": told["adds"].astype("float64"),
        }
    )
    return tables.check(found, ("village", *tables.made_by("demo villages")))


def _curve(model: _Model, cover: Cover | None, beyond: int) -> pd.DataFrame:
    """Say how many farmers other numbers of plots, or of kits, would reach."""
    columns = tables.made_by("demo curve")
    if cover is None:
        return pd.DataFrame({name: pd.Series(dtype="float64") for name in columns})
    asked = model.asked
    by_kits = asked.plots is None
    if by_kits:
        now = float(asked.kits or 0)
        step = float(min(model.sites.kits, default=1.0))
    else:
        now, step = float(asked.plots or 0), 1.0
    first = max(1.0, float(len(model.conditions.forced_in)))
    every = max(1, round(now / CURVE_POINTS))
    below = [] if by_kits else np.arange(first, now - 1, every).tolist()
    below = np.linspace(now / 4, now, 4)[:-1].tolist() if by_kits else [*below, now - 1]
    counts = sorted({one for one in below if one >= first or by_kits} - {now, 0.0})
    more = [now + step * number for number in range(1, beyond + 1)]
    effort = replace(QUICK, seed=asked.seed)
    numbers = sorted([*counts, now, *more])
    found = explain.curve(
        model.reach, model.sites, model.conditions, numbers, effort, {now: cover}
    ).astype("float64")
    reached = found["reached"]
    apart = found["count"].diff() / step
    return tables.check(
        pd.DataFrame(
            {
                "demo_number": found["count"],
                "demo_reached": reached,
                "demo_bound": found["bound"],
                "demo_gain": reached.diff() / apart,
            }
        ),
        columns,
    )


def _reasons(model: _Model) -> pd.DataFrame:
    """Count for each message what keeps plots out."""
    found = []
    for at, message in enumerate(model.asked.messages or ()):
        own = counted(model.facts.offers[model.facts.offers["message"] == at])
        own = own[own["plots"] > 0]
        found.append(
            pd.DataFrame(
                {
                    "demo_message": message.name,
                    "demo_reason": own["demo_reason"],
                    "demo_kept_out": own["plots"].astype("int64"),
                    "demo_kept_out_alone": own["plots_by_it_alone"].astype("int64"),
                }
            )
        )
    return tables.check(
        pd.concat(found, ignore_index=True), ("demo_message", *tables.made_by("demo reasons"))
    )


def _compared(model: _Model, chosen: Ints) -> pd.DataFrame:
    """Set plots chosen beside all plots, and their farmers beside all farmers."""
    plots = model.facts.plots
    mine = plots.iloc[model.site_plot[chosen]]
    woman = model.facts.people.table.set_index("farmer_id")["woman"]
    women, theirs = (
        woman.dropna().astype(float),
        mine["farmer_id"].map(woman).dropna().astype(float),
    )
    rows = [
        ("area", float(mine["area_ha"].median()), float(plots["area_ha"].median())),
        ("slope", float(mine["slope_used_pct"].median()), float(plots["slope_used_pct"].median())),
    ]
    if len(women):
        rows.append(("women", float(theirs.mean() * 100), float(women.mean() * 100)))
    found = pd.DataFrame(rows, columns=list(tables.made_by("demo comparison")))
    return tables.check(found, tables.made_by("demo comparison"))


def _no_conflicts() -> pd.DataFrame:
    names = tables.made_by("demo conflicts")
    kinds = {"integer": "int64", "number": "float64"}
    return pd.DataFrame(
        {name: pd.Series(dtype=kinds.get(tables.BY_NAME[name].kind, "object")) for name in names}
    )


def _conflicts(model: _Model) -> pd.DataFrame:
    """Name conditions that can't be kept together, and what each would have to give."""
    rows = []
    for number, some in enumerate(conflicts(model.sites, model.conditions), 1):
        for one in some:
            eased = choose(model.reach, one.rules, QUICK) if one.rules else None
            rows.append(
                (
                    number,
                    one.kind,
                    _about(model, one.kind, one.of),
                    *(value if np.isfinite(value) else np.nan for value in one.asked),
                    np.nan if one.enough is None else one.enough,
                    np.nan if eased is None else float(model.heads(eased.chosen)),
                    int(one.proved),
                )
            )
    if not rows:
        return _no_conflicts()
    found = pd.DataFrame(rows, columns=list(tables.made_by("demo conflicts")))
    numbers = ("demo_asked_least", "demo_asked_most", "demo_enough", "demo_eased_reached")
    return tables.check(
        found.astype(dict.fromkeys(numbers, "float64")), tables.made_by("demo conflicts")
    )


def _about(model: _Model, kind: str, of: int) -> str | None:
    """Name the village, message, class, farmer or plot that a condition is about."""
    if kind.startswith(("village", "message ")):
        return model.villages[of]
    if kind == "message":
        return (model.asked.messages or [])[of].name
    if kind in ("in", "out", "plot"):
        return str(model.facts.plots["plot_id"].iloc[of])
    if kind == "farmer":
        return str(model.facts.plots["farmer_id"].unique()[of])
    if kind == "class":
        limits = [0.0, *(model.asked.slope_limits_pct or [])]
        high = f"{limits[of + 1]:g}" if of + 1 < len(limits) else ""
        return f"{limits[of]:g}–{high} %" if high else f"> {limits[of]:g} %"
    return None
