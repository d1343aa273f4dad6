"""What a choice of demonstration plots rests on: each plot, each village, one plot more or fewer.

All of it is worked out from the choice itself: what would be lost without a plot, which plot would
take its place, why a village has none. Numbers of sites and villages stand for their names, which
outputs put in.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.sparse import csr_array

from districtplan.demos.cover import choose
from districtplan.demos.rules import Table, rules

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from districtplan.demos.cover import Cover, Effort
    from districtplan.demos.reach import Reach
    from districtplan.demos.rules import Conditions, Rule, Sites

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

HAIR = 1e-6
"""What a sum may be off by rounding."""
NO_CANDIDATE, NONE_ALLOWED, ADDS_NOTHING, ADDS_LESS, HAS = (
    "no candidate",
    "conditions leave none",
    "others reach its farmers",
    "others reach more",
    "has",
)
"""Why a village has no demonstration plot, or that it has."""


def of_sites(
    reach: Reach, found: Sequence[Rule], chosen: Ints, plot: Ints | None = None
) -> pd.DataFrame:
    """Tell of each plot chosen what it alone gives, and which would take its place.

    Parameters
    ----------
    reach : Reach
        Who reaches whom.
    found : Sequence[Rule]
        The rules.
    chosen : numpy.ndarray
        Sites by number, rising.
    plot : numpy.ndarray | None, default None
        Plot of each site, which can't take its own place with another message; None where each
        site is a plot.

    Returns
    -------
    pandas.DataFrame
        One row a site chosen: ``site``, ``reached`` (weight of all it reaches), ``alone`` (of what
        no other reaches), ``runner_up`` (the site that could take its place with the least loss by
        all rules, the first of equals; -1 none) and ``loss`` by it, of ``alone`` where there is
        none.
    """
    table = Table.of(found, reach.sites)
    times = reach.reached(chosen)
    own = np.arange(reach.sites) if plot is None else plot
    every = _adds(reach, np.ones(len(reach.weight), np.bool_))
    rows = []
    for site in chosen:
        others = chosen[chosen != site]
        without = times - reach.reached(np.array([site]))
        adds = _adds(reach, without == 0)
        able = _able(table, others, reach.sites)
        able[own == own[site]] = False
        best = np.flatnonzero(able)
        runner = int(best[np.argmax(adds[best])]) if len(best) else -1
        given = float(adds[runner]) if runner >= 0 else 0.0
        rows.append((int(site), every[site], adds[site], runner, float(adds[site]) - given))
    return pd.DataFrame(rows, columns=["site", "reached", "alone", "runner_up", "loss"])


def of_villages(
    reach: Reach, sites: Sites, found: Sequence[Rule], chosen: Ints, villages: Sequence[int]
) -> pd.DataFrame:
    """Tell of each village how many it has, and why none.

    Parameters
    ----------
    reach : Reach
        Who reaches whom.
    sites : Sites
        The candidates.
    found : Sequence[Rule]
        The rules.
    chosen : numpy.ndarray
        Sites by number, rising.
    villages : Sequence[int]
        Numbers of all villages, candidates or not.

    Returns
    -------
    pandas.DataFrame
        One row a village: ``village``, ``candidates``, ``demos``, ``why`` (see ``HAS`` and those
        beside it), ``best`` (of its candidates that could be chosen, besides or in
        another's place, the one that adds most; -1 none) and ``adds``, what that would add to the
        choice.
    """
    table = Table.of(found, reach.sites)
    adds = _adds(reach, reach.reached(chosen) == 0)
    # In the stead of one of the others, or beside them all.
    able = _able(table, chosen, reach.sites)
    for out in chosen:
        able |= _able(table, chosen[chosen != out], reach.sites)
    rows = []
    for village in villages:
        mine = np.flatnonzero(sites.village == village)
        demos = int(np.isin(mine, chosen).sum())
        left = mine[~np.isin(mine, chosen) & able[mine]]
        best = int(left[np.argmax(adds[left])]) if len(left) else -1
        gain = float(adds[best]) if best >= 0 else 0.0
        if demos:
            why = HAS
        elif not len(mine):
            why = NO_CANDIDATE
        elif not len(left):
            why = NONE_ALLOWED
        else:
            why = ADDS_LESS if gain > 0 else ADDS_NOTHING
        rows.append((int(village), len(mine), demos, why, best, gain))
    return pd.DataFrame(rows, columns=["village", "candidates", "demos", "why", "best", "adds"])


def of_others(reach: Reach, found: Sequence[Rule], chosen: Ints) -> pd.DataFrame:
    """Tell of each site that isn't chosen in whose place it would lose least, and what stops it.

    Parameters
    ----------
    reach : Reach
        Who reaches whom.
    found : Sequence[Rule]
        The rules.
    chosen : numpy.ndarray
        Sites by number, rising.

    Returns
    -------
    pandas.DataFrame
        One row a site that isn't chosen: ``site``, ``adds`` (weight that it reaches and no site
        chosen does), ``instead_of`` (the site chosen in whose place all rules would be kept and
        least lost, the first of equals; -1 none), ``loss`` by that (NaN without) and ``stopped``,
        the kinds of rules that it would break beside all that are chosen.
    """
    table = Table.of(found, reach.sites)
    times = reach.reached(chosen)
    adds = _adds(reach, times == 0)
    loss, instead = np.full(reach.sites, np.inf), np.full(reach.sites, -1, np.int64)
    for site in chosen:
        without = times - reach.reached(np.array([site])) == 0
        mine = _adds(reach, without)
        lost = np.where(
            _able(table, chosen[chosen != site], reach.sites), mine[site] - mine, np.inf
        )
        better = lost < loss - HAIR
        loss, instead = np.where(better, lost, loss), np.where(better, site, instead)
    others = np.setdiff1d(np.arange(reach.sites), chosen)
    kinds = np.array([rule.kind for rule in found], dtype=object)
    broken = _broken(table, chosen)
    stopped = [
        tuple(dict.fromkeys(kinds[np.sort(broken.indices[start:end])]))
        for start, end in zip(broken.indptr[:-1], broken.indptr[1:], strict=True)
    ]
    return pd.DataFrame(
        {
            "site": others,
            "adds": adds[others],
            "instead_of": instead[others],
            "loss": np.where(np.isfinite(loss), loss, np.nan)[others],
            "stopped": pd.Series([stopped[one] for one in others], dtype=object),
        }
    )


def _broken(table: Table, chosen: Ints) -> csr_array:
    """Mark, by site, the rules that it would break beside some."""
    taken = np.zeros(table.amounts.shape[1])
    taken[chosen] = 1
    held = table.amounts @ taken
    pairs = table.amounts.tocoo()
    rule, site = pairs.coords
    after = held[rule] + pairs.data
    breaks = (after < table.low[rule] - HAIR) | (after > table.high[rule] + HAIR)
    marks = (np.ones(int(breaks.sum())), (site[breaks], rule[breaks]))
    return csr_array(marks, shape=table.amounts.shape[::-1])


def curve(
    reach: Reach,
    sites: Sites,
    conditions: Conditions,
    counts: Sequence[float],
    effort: Effort,
    known: Mapping[float, Cover] | None = None,
) -> pd.DataFrame:
    """Choose for several numbers of plots, so that an officer can argue for more.

    Parameters
    ----------
    reach : Reach
        Who reaches whom.
    sites : Sites
        The candidates.
    conditions : Conditions
        What the plan asks; its count, or its budget, is each of these in turn.
    counts : Sequence[float]
        Numbers of plots, rising; of kits, where the plan asks for no number of plots but has a
        budget.
    effort : Effort
        When each choice stops.
    known : Mapping[float, Cover] | None, default None
        Choices of some of these numbers that are known already.

    Returns
    -------
    pandas.DataFrame
        One row a number: ``count``, ``reached``, ``bound``, ``gain`` over the row before; empty
        numbers where the conditions can't be kept with so many.
    """
    by_kits = conditions.count is None and conditions.budget is not None
    asked = [
        replace(conditions, budget=float(one)) if by_kits else replace(conditions, count=int(one))
        for one in counts
    ]
    covers: list[Cover | None] = []
    for number, one in zip(counts, asked, strict=True):
        found = rules(sites, one)
        cover = (known or {}).get(number) or choose(reach, found, effort)
        if cover is not None and covers and covers[-1] is not None:
            cover = _at_least(reach, Table.of(found, reach.sites), cover, covers[-1].chosen)
        covers.append(cover)
    reached = pd.Series([np.nan if one is None else one.value for one in covers], dtype=float)
    bound = pd.Series([np.nan if one is None else one.bound for one in covers], dtype=float)
    return pd.DataFrame(
        {"count": list(counts), "reached": reached, "bound": bound, "gain": reached.diff()}
    )


def _at_least(reach: Reach, table: Table, cover: Cover, fewer: Ints) -> Cover:
    """Take a choice of fewer and what can be added to it, where a short search found less."""
    chosen = fewer
    adds = _adds(reach, reach.reached(chosen) == 0)
    while len(able := np.flatnonzero(_able(table, chosen, reach.sites))):
        chosen = np.sort(np.append(chosen, able[np.argmax(adds[able])]))
        adds = _adds(reach, reach.reached(chosen) == 0)
    value = reach.value(chosen)
    if value <= cover.value + HAIR or not table.kept(chosen):
        return cover
    return replace(cover, chosen=chosen, value=value)


def _adds(reach: Reach, wanting: NDArray[np.bool_]) -> Floats:
    """Sum for each site the weight of rows that it reaches, of those that are wanting."""
    weight = np.where(wanting, reach.weight, 0.0)
    links = np.repeat(weight, np.diff(reach.first))
    return np.bincount(reach.site, links, reach.sites).astype(np.float64)


def _able(table: Table, chosen: Ints, sites: int) -> NDArray[np.bool_]:
    """Say which sites could be chosen beside some, by all rules."""
    taken = np.zeros(sites)
    taken[chosen] = 1
    held = table.amounts @ taken
    wrong = (held < table.low - HAIR) | (held > table.high + HAIR)
    pairs = table.amounts.tocoo()
    rule, site = pairs.coords
    after = held[rule] + pairs.data
    breaks = (after < table.low[rule] - HAIR) | (after > table.high[rule] + HAIR)
    broken = np.bincount(site, breaks, sites)
    mended = np.bincount(site, wrong[rule], sites)
    return np.asarray((broken == 0) & (mended == wrong.sum()) & (taken == 0), np.bool_)
