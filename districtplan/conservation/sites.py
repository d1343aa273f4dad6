"""Work sites: the plots of one hillside, which drain the same way and so build as one."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from districtplan import tables

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from districtplan.handbook import Handbook

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]

TABLE = "work_site_limits"


def work_sites(plots: pd.DataFrame, parting: Objects, handbook: Handbook) -> pd.DataFrame:
    """Group plots into work sites.

    Two plots are of one hillside where they lie within the linking distance, their land falls to
    sides that differ by no more than the limit, and no line that parts hillsides runs between their
    middles. What is linked, from plot to plot, is one site; one whose land falls too far off its
    mean, that is too broad across the fall or has too many plots is cut along the fall, so that
    no site ends halfway down its own water. A plot whose fall isn't known goes with the nearest
    plot whose fall is, and links no others.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``village``, ``elevation_mean_m``, ``downslope_true_deg`` (NaN where not
        known) and ``geometry``, the last in the UTM zone.
    parting : numpy.ndarray
        Streams and flow lines that part hillsides, in the zone, shape (lines,).
    handbook : Handbook
        Limits (table ``work_site_limits``).

    Returns
    -------
    pandas.DataFrame
        One row a plot, in the order given: ``plot_id`` and the columns of work sites. A site is
        named after the village of most of its plots, numbered there by its first plot's id, so
        that its name doesn't hang on the order of rows.
    """
    limits = handbook.numbers(TABLE)
    order = np.argsort(plots["plot_id"].to_numpy(dtype=str), kind="stable")
    of = plots.iloc[order].reset_index(drop=True)
    shapes = of["geometry"].to_numpy(dtype=object)
    middle = shapely.get_coordinates(shapely.centroid(shapes)).reshape(-1, 2)
    near = _near(shapes, limits["link_m"])
    fall, links = _links(of["downslope_true_deg"].to_numpy(), middle, near, parting, limits)
    site = _bounded(fall, middle, links, limits)
    height = of["elevation_mean_m"].to_numpy()
    names = _names(of["village"].to_numpy(dtype=object), site)
    found = pd.DataFrame(
        {
            "plot_id": of["plot_id"].to_numpy(),
            "work_site": pd.Series(names[site], dtype="str"),
            "site_place": _places(site, height),
            "site_plots": np.bincount(site, minlength=1)[site],
            "site_villages": _listed(site, of["village"].to_numpy(dtype=object))[site],
            "site_neighbours": _below(site, near, of["plot_id"].to_numpy(), height)[site],
        }
    )
    back = np.empty(len(order), dtype=np.int64)
    back[order] = np.arange(len(order))
    found = found.iloc[back].reset_index(drop=True)
    return tables.check(found, ("plot_id", *tables.made_by("work sites")))


class _Pairs(NamedTuple):
    """Plots that have to do with each other, shape (pairs,) each."""

    one: Integers
    other: Integers

    def only(self, chosen: Bools) -> _Pairs:
        return _Pairs(self.one[chosen], self.other[chosen])


def _near(shapes: Objects, within_m: float) -> _Pairs:
    one, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=within_m)
    once = one < other
    one, other = one[once], other[once]
    order = np.lexsort((other, one))
    return _Pairs(one[order], other[order])


def _links(
    fall: Floats, middle: Floats, near: _Pairs, parting: Objects, limits: Mapping[str, float]
) -> tuple[Floats, _Pairs]:
    """Give the fall of each plot, that of the nearest where not known, and who is linked."""
    legs = shapely.linestrings(np.stack([middle[near.one], middle[near.other]], axis=1))
    parted = np.zeros(len(near.one), dtype=bool)
    parted[shapely.STRtree(parting).query(legs, predicate="intersects")[0]] = True
    pairs = near.only(~parted)
    known = ~np.isnan(fall)
    both = known[pairs.one] & known[pairs.other]
    alike = pairs.only(both)
    turn = np.abs(_turn(fall[alike.one] - fall[alike.other]))
    alike = alike.only(turn <= limits["turn_max_deg"])
    half = pairs.only(known[pairs.one] != known[pairs.other])
    guest = np.where(known[half.one], half.other, half.one)
    host = np.where(known[half.one], half.one, half.other)
    far = np.hypot(*(middle[guest] - middle[host]).T)
    order = np.lexsort((host, far, guest))
    guest, host = guest[order], host[order]
    once = np.concatenate([[True], np.diff(guest) > 0])[: len(guest)]
    guest, host = guest[once], host[once]
    filled = np.where(known, fall, 0.0)
    filled[guest] = fall[host]
    joined = _Pairs(np.concatenate([alike.one, guest]), np.concatenate([alike.other, host]))
    return filled, joined


def _bounded(fall: Floats, middle: Floats, links: _Pairs, limits: Mapping[str, float]) -> Integers:
    """Give the number of each plot's site: what is linked, cut until it keeps within bounds."""
    count = len(fall)
    site = _together(count, links)
    while count:
        part = _part(fall, middle, site, limits)
        if not part.any():
            break
        same = (site[links.one] == site[links.other]) & (part[links.one] == part[links.other])
        links = links.only(same)
        site = _together(count, links)
    return site


def _together(count: int, links: _Pairs) -> Integers:
    ones = np.ones(len(links.one), dtype=np.int8)
    graph = coo_array((ones, (links.one, links.other)), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def _part(fall: Floats, middle: Floats, site: Integers, limits: Mapping[str, float]) -> Integers:
    """Give the part of its site that each plot is in; all 0 where every site keeps its bounds."""
    turn = np.radians(fall)
    mean = np.arctan2(np.bincount(site, np.sin(turn)), np.bincount(site, np.cos(turn)))
    off = _turn(fall - np.degrees(mean)[site])
    part = np.zeros(len(site), dtype=np.int64)
    plots = np.bincount(site)
    turned = (_most(site, np.abs(off)) > limits["site_turn_max_deg"])[site]
    part[turned] = (_rank(site, off) >= plots[site] / 2)[turned]
    across = middle[:, 0] * np.cos(mean)[site] - middle[:, 1] * np.sin(mean)[site]
    start = -_most(site, -across)
    breadth = _most(site, across) - start
    broad = ~turned & (breadth > limits["breadth_max_m"])[site]
    strips = np.ceil(breadth / limits["breadth_max_m"])
    share = (across - start[site])[broad] / breadth[site[broad]]
    of = strips[site[broad]]
    part[broad] = np.minimum(np.floor(share * of), of - 1).astype(np.int64)
    many = ~turned & ~broad & (plots > limits["plots_max"])[site]
    strips = np.ceil(plots / limits["plots_max"])
    share = _rank(site, across) / plots[site]
    part[many] = np.floor(share * strips[site])[many].astype(np.int64)
    return part


def _rank(site: Integers, values: Floats) -> Integers:
    """Give the place of each plot in its site by a value, the first 0."""
    order = np.lexsort((values, site))
    plots = np.bincount(site, minlength=1)
    rank = np.empty(len(site), dtype=np.int64)
    rank[order] = np.arange(len(site)) - (np.cumsum(plots) - plots)[site[order]]
    return rank


def _most(site: Integers, values: Floats) -> Floats:
    most = np.full(site.max() + 1, -np.inf)
    np.maximum.at(most, site, values)
    return most


def _turn(degrees: Floats) -> Floats:
    return np.asarray((degrees + 180) % 360 - 180)


def _names(village: Objects, site: Integers) -> Objects:
    """Name each site; plots are in the order of their ids."""
    table = pd.DataFrame({"site": site, "village": village})
    counts = table.groupby(["site", "village"], sort=True).size().reset_index(name="plots")
    counts = counts.sort_values(["site", "plots", "village"], ascending=[True, False, True])
    of = counts.drop_duplicates("site").set_index("site")["village"]
    first = table.reset_index().groupby("site")["index"].min()
    own = pd.DataFrame({"village": of, "first": first}).sort_values("first")
    number = own.groupby("village").cumcount() + 1
    names = np.empty(len(own), dtype=object)
    names[own.index.to_numpy()] = [
        f"{name}-S{place:02d}" for name, place in zip(own["village"], number, strict=True)
    ]
    return names


def _places(site: Integers, height: Floats) -> Integers:
    """Give each plot's place in its site, from the top down; unknown heights come last."""
    return _rank(site, -np.nan_to_num(height, nan=-np.inf)) + 1


def _listed(site: Integers, values: Objects) -> Objects:
    """List the values of each site, each once and in order."""
    listed = np.empty(int(site.max(initial=-1)) + 1, dtype=object)
    listed[:] = [()] * len(listed)
    told = pd.DataFrame({"site": site, "value": values}).drop_duplicates()
    told = told.sort_values(["site", "value"])
    own, value = told["site"].to_numpy(), told["value"].to_numpy()
    start = np.flatnonzero(np.diff(own, prepend=-1))
    for first, those in zip(own[start], np.split(value, start[1:]), strict=False):
        listed[first] = tuple(those)
    return listed


def _below(site: Integers, near: _Pairs, plot_id: Objects, height: Floats) -> Objects:
    """List, by site, plots of other sites beside it that its water may reach."""
    one = np.concatenate([near.one, near.other])
    other = np.concatenate([near.other, near.one])
    # A height that isn't known may be below.
    reached = (site[one] != site[other]) & ~(height[other] >= height[one])
    listed = np.empty(int(site.max(initial=-1)) + 1, dtype=object)
    listed[:] = [()] * len(listed)
    lists = _listed(site[one[reached]], plot_id[other[reached]])
    listed[: len(lists)] = lists
    return listed
