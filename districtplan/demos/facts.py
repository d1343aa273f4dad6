"""What a choice of demonstration plots goes by: facts of plots, who may show what, who lives where.

The pipeline hands in one table of plots and the files beside it; what comes out has plots in the
order of their ids, so that of equal choices the one with the earlier id counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import shapely
from scipy.spatial import KDTree

from districtplan.demos.answers import WOMAN
from districtplan.demos.candidates import OUT, Message, candidates
from districtplan.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from districtplan.plan import DemoMessage, Demos, Plan

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]
    Objects = NDArray[np.object_]

PATHS = ("path", "road", "culvert")
"""Kinds of features that people walk on."""
NO_GO = ("closed", "too steep", "river buffer", "forest buffer")
"""Lines of land that nobody plants."""
CROSSED = "crossed_by_flow"
"""Flag of a plot that gathered water crosses."""
LAST = 1
"""Seasons ago that the last season was."""


class Beside(NamedTuple):
    """What is known beside the plots.

    Attributes
    ----------
    paths : numpy.ndarray
        Paths and roads, in metres of the zone.
    enrolled : pandas.DataFrame | None
        ``plot_id``, ``enrolled`` and ``consent``; None where the plan names no such file.
    answers, homesteads, shown : pandas.DataFrame | None
        Rows used of these files; homesteads with their ``x_m`` and ``y_m`` in the zone.
    """

    paths: Objects
    enrolled: pd.DataFrame | None
    answers: pd.DataFrame | None
    homesteads: pd.DataFrame | None
    shown: pd.DataFrame | None


class People(NamedTuple):
    """Who is to be reached.

    Attributes
    ----------
    table : pandas.DataFrame
        A row a farmer: ``farmer_id``, ``village``, ``weight``, ``woman`` (True, False or None).
    farmer : numpy.ndarray
        Number of the farmer that each place is of, shape (places,).
    place_m : numpy.ndarray
        Where they live or have a plot, east and north, shape (places, 2) [m].
    """

    table: pd.DataFrame
    farmer: Ints
    place_m: Floats


@dataclass(frozen=True)
class Facts:
    """All that a choice goes by but for the ways between people and plots.

    Attributes
    ----------
    plots : pandas.DataFrame
        A row a plot by id: its ``village``, ``farmer_id``, ``area_ha``, ``slope_used_pct``, and
        what candidates are told by.
    place_m : numpy.ndarray
        A point inside each, shape (plots, 2) [m].
    offers : pandas.DataFrame
        A row a plot and message: ``plot``, ``message`` (numbers), ``demo_standing``,
        ``demo_reasons``.
    kept : dict[int, int]
        By the number of a plot that is still to be shown, that of its message.
    ended : tuple[str, ...]
        Ids of plots shown last season whose message the plan no longer has: how long that stays
        isn't known, so they aren't kept.
    people : People
        Who is to be reached.
    """

    plots: pd.DataFrame
    place_m: Floats
    offers: pd.DataFrame
    kept: dict[int, int]
    ended: tuple[str, ...]
    people: People

    @property
    def open_plots(self) -> Ints:
        """Give the plots that may show something.

        Returns
        -------
        numpy.ndarray
            Numbers, rising.
        """
        able = self.offers["demo_standing"] != OUT
        return np.unique(self.offers.loc[able, "plot"].to_numpy(dtype=np.int64))


def require(plan: Plan, *, paths: bool) -> None:
    """Refuse a plan whose conditions go by what nobody told.

    Parameters
    ----------
    plan : Plan
        The plan, which asks for demonstration plots.
    paths : bool
        Whether any path or road is drawn.

    Raises
    ------
    InputError
        With all that is lacking.
    """
    faults = list(_lacking(plan, paths=paths))
    if faults:
        raise InputError(*faults)


def _lacking(plan: Plan, *, paths: bool) -> Iterator[Fault]:
    asked = plan.demos
    if asked.consent == "needed" and plan.files.enrolment is None:
        yield Fault(
            "[demos] consent",
            "is needed, and the plan names no files.enrolment that tells of it",
            'Name the file, or give consent = "not asked"',
        )
    for key, wanted in (
        ('reach_by = "paths"', asked.reach_by == "paths"),
        ("path_max_m", asked.path_max_m is not None),
    ):
        if wanted and not paths:
            yield Fault(
                f"[demos] {key}",
                "goes by paths and roads, of which files.features has none",
                "Draw them there, or take the key out",
            )
    known = asked.answers is not None
    if any(message.tenure for message in asked.messages or ()) and not known:
        yield Fault(
            "[demos.messages] tenure",
            "is asked for, and the plan names no demos.answers that tells of it",
            "Name the file, or take the key out",
        )
    for name in ("weight_never_reached", "weight_women", "weight_youth"):
        if getattr(asked, name) > 1 and not known and asked.homesteads is None:
            yield Fault(
                f"[demos] {name}",
                "is above 1, and neither demos.answers nor demos.homesteads tells of whom",
                "Name one of these files, or take the key out",
            )


def facts(plots: pd.DataFrame, outlines: Objects, beside: Beside, plan: Plan) -> Facts:
    """Put together what a choice goes by.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``village``, ``farmer_id``, ``order_line``, ``area_ha``, ``slope_used_pct``,
        ``row_method``, ``flow_line_length_m`` and ``water_flags``.
    outlines : numpy.ndarray
        Their outlines in metres of the zone, shape (plots,).
    beside : Beside
        What is known beside them.
    plan : Plan
        What is asked.

    Returns
    -------
    Facts
        The facts.

    Raises
    ------
    InputError
        If the plan forces plots in or out that there aren't.
    """
    asked = plan.demos
    order = np.argsort(plots["plot_id"].to_numpy(dtype=object), kind="stable")
    known = plots.iloc[order].reset_index(drop=True)
    outlines = outlines[order]
    place_m = shapely.get_coordinates(shapely.point_on_surface(outlines))
    known = known.assign(
        **_answered(known, beside, asked),
        path_distance_m=_to_path(outlines, beside.paths),
        no_go=known["order_line"].isin(NO_GO),
        flow_line_length_m=_crossing(known, asked),
    )
    number = {plot: at for at, plot in enumerate(known["plot_id"])}
    _check_forced(asked, number)
    kept = _kept(beside.shown, asked, number)
    offers = pd.concat(
        [_offer(known, at, kept, asked) for at in range(len(asked.messages or ()))],
        ignore_index=True,
    )
    offers = offers.sort_values(["plot", "message"], kind="stable", ignore_index=True)
    people = _people(known, place_m, beside, asked)
    return Facts(known, place_m, offers, kept, _ended(beside.shown, asked), people)


def _check_forced(asked: Demos, number: dict[str, int]) -> None:
    faults = [
        Fault(
            f"[demos] {key}",
            f"names {plot[:100]!a}, which no plot that is used has as its id",
            "Give the id as it stands in the plots file",
        )
        for key in ("forced_in", "forced_out")
        for plot in getattr(asked, key) or ()
        if plot not in number
    ]
    if faults:
        raise InputError(*faults)


def _answered(known: pd.DataFrame, beside: Beside, asked: Demos) -> dict[str, pd.Series]:
    """Look up what is answered of each plot; empty where it isn't."""
    ids = known["plot_id"]

    def of(table: pd.DataFrame | None, name: str) -> pd.Series:
        if table is None or table.empty:
            return pd.Series([None] * len(ids), dtype=object)
        return ids.map(table.drop_duplicates("plot_id").set_index("plot_id")[name].astype(object))

    found = {name: of(beside.answers, name) for name in ("tenure", "seasons_since_beans")}
    for name in ("enrolled", "consent"):
        all_are = pd.Series([True] * len(ids), dtype=object)
        found[name] = of(beside.enrolled, name) if asked.consent == "needed" else all_are
    shown = beside.shown
    last = None if shown is None else shown.sort_values("seasons_ago", kind="stable")
    found["seasons_since_demo"] = of(last, "seasons_ago")
    return found


def _to_path(outlines: Objects, paths: Objects) -> Floats:
    """Measure how far each plot is from a path; NaN where none is drawn."""
    if not len(paths):
        return np.full(len(outlines), np.nan)
    _, away = shapely.STRtree(paths).query_nearest(
        outlines, all_matches=False, return_distance=True
    )
    return np.asarray(away, np.float64)


def _crossing(known: pd.DataFrame, asked: Demos) -> Floats:
    """Give how long gathered water runs through plots that it is told to cross."""
    crossed = np.array([CROSSED in flags for flags in known["water_flags"]], np.bool_)
    counts = crossed & (asked.gathered_water == "left out")
    return np.where(counts, known["flow_line_length_m"].to_numpy(dtype=np.float64), 0.0)


def _kept(shown: pd.DataFrame | None, asked: Demos, number: dict[str, int]) -> dict[int, int]:
    """Find plots that were shown last season and haven't stood for their seasons yet."""
    if shown is None:
        return {}
    messages = list(asked.messages or ())
    names = {message.name: at for at, message in enumerate(messages)}
    found = {}
    last = shown[shown["seasons_ago"] == LAST]
    for plot, message, seasons in zip(
        last["plot_id"], last["message"], last["seasons_shown"].astype(int), strict=True
    ):
        at = names.get(message)
        if at is not None and seasons < asked.stays(messages[at]):
            found[number[plot]] = at
    return dict(sorted(found.items()))


def _ended(shown: pd.DataFrame | None, asked: Demos) -> tuple[str, ...]:
    """Name plots shown last season with a message that the plan no longer has."""
    if shown is None:
        return ()
    names = [message.name for message in asked.messages or ()]
    gone = (shown["seasons_ago"] == LAST) & ~shown["message"].isin(names)
    return tuple(sorted(shown.loc[gone, "plot_id"]))


def _offer(known: pd.DataFrame, at: int, kept: dict[int, int], asked: Demos) -> pd.DataFrame:
    """Say which plots may show one message; those still to be shown go on with theirs alone."""
    message = (asked.messages or [])[at]
    standing = np.array([kept.get(plot) == at for plot in range(len(known))], np.bool_)
    since = {
        name: known[name].where(~standing, other=None)
        for name in ("seasons_since_beans", "seasons_since_demo")
    }
    found = candidates(known.assign(**since), _message(message, asked))
    elsewhere = [kept.get(plot, at) != at for plot in range(len(known))]
    return found.assign(
        plot=np.arange(len(known)),
        message=at,
        demo_standing=found["demo_standing"].mask(pd.Series(elsewhere), OUT),
    ).drop(columns="plot_id")


def _message(message: DemoMessage, asked: Demos) -> Message:
    def most(value: float | None) -> float:
        return np.inf if value is None else value

    return Message(
        message.name,
        tuple(message.treatments),
        message.tenure,
        (message.slope_min_pct, most(message.slope_max_pct)),
        (asked.area_min_ha, most(asked.area_max_ha)),
        most(asked.path_max_m),
        asked.rest_seasons,
        asked.again_after_seasons,
        asked.stays(message),
    )


def _people(known: pd.DataFrame, place_m: Floats, beside: Beside, asked: Demos) -> People:
    """List farmers: where their homesteads are, else where their plots are."""
    homes = beside.homesteads
    at_home = pd.Series(dtype=object) if homes is None else homes["farmer_id"]
    mine = ~known["farmer_id"].isin(at_home).to_numpy()
    ids = pd.concat([at_home, known.loc[mine, "farmer_id"]], ignore_index=True)
    places = place_m[mine]
    if homes is not None:
        places = np.concatenate([homes[["x_m", "y_m"]].to_numpy(dtype=np.float64), places])
    farmer, names = pd.factorize(ids)
    first = np.unique(farmer, return_index=True)[1]
    village = known.drop_duplicates("farmer_id").set_index("farmer_id")["village"]
    of_names = pd.Series(names).map(village)
    if of_names.isna().any():
        # Who has no plot on the map belongs to where the nearest plot does.
        _, nearest = KDTree(place_m).query(places[first])
        of_names = of_names.fillna(known["village"].iloc[nearest].reset_index(drop=True))
    who = {name: _of_farmers(name, pd.Series(names), known, beside) for name in WHO}
    woman = [None if pd.isna(sex) or not sex else sex == WOMAN for sex in who["sex"]]
    weight = np.ones(len(names))
    weight *= np.where([one is True for one in woman], asked.weight_women, 1.0)
    weight *= np.where(who["youth"].eq(other=True), asked.weight_youth, 1.0)
    weight *= np.where(who["reached"].eq(other=False), asked.weight_never_reached, 1.0)
    table = pd.DataFrame(
        {
            "farmer_id": names,
            "village": of_names.astype(object),
            "weight": weight,
            "woman": pd.Series(woman, dtype=object),
        }
    )
    return People(table, farmer.astype(np.int64), places)


WHO = ("sex", "youth", "reached")


def _of_farmers(name: str, names: pd.Series, known: pd.DataFrame, beside: Beside) -> pd.Series:
    """Look up what is known of farmers: from their homestead's row, else from that of a plot."""
    found = pd.Series([None] * len(names), dtype=object)
    tables = []
    if beside.homesteads is not None:
        tables.append(beside.homesteads.set_index("farmer_id")[name])
    if beside.answers is not None:
        farmer = known.set_index("plot_id")["farmer_id"]
        of_plots = beside.answers.assign(farmer_id=beside.answers["plot_id"].map(farmer))
        said = of_plots[of_plots[name].notna() & (of_plots[name] != "")]
        tables.append(said.drop_duplicates("farmer_id").set_index("farmer_id")[name])
    for table in tables:
        told = names.map(table.astype(object))
        found = found.where(found.notna() & (found != ""), told)
    return found
