"""Which plots become demonstration plots, so that most farmers have one in reach.

The maximal covering location problem [1]_ with conditions: of the sites that keep to the rules,
those that reach the most weight of demand. Demand that the same sites reach is merged. A greedy
choice is bettered by exchanges; prices give a bound that no choice exceeds (:mod:`~.bound`), and
decide most sites; HiGHS decides the rest where they are few enough. Everything ends by proof or by
work done, so that the same input gives the same choice, unless seconds are given.

Of choices that differ by one exchange and reach as much, the one with the earlier site counts: hand
candidates in by the order of their ids.

The pipeline hands in links that :mod:`districtplan.travel` measures, from plots that
``candidates`` lets through, and :func:`~.rules.rules` of the plan's conditions.

References
----------
.. [1] Church, R., ReVelle, C. (1974). The maximal covering location problem. Papers of the Regional
   Science Association 32, 101-118.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from districtplan.demos.bound import bound
from districtplan.demos.exact import Solved, solve, wished
from districtplan.demos.rules import Table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from districtplan.demos.bound import Bound
    from districtplan.demos.reach import Reach
    from districtplan.demos.rules import Rule

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

HAIR = 1e-6
"""What a sum may be off by rounding."""
WORK = 6_600_000_000
STEPS = 1_000
STEP_LINKS = 4_200_000_000
NODES = 20_000
LINKS = 100_000
"""Limits that a search of a large district reaches in half a minute."""
SEARCHES = 2
"""Searches side by side, whatever processors there are: so each machine gives the same choice."""
SHORT = 80
"""Part of the work that a first search may do."""
SITES_MAX = 4_000
"""Sites above which prices are first sought of a part of them."""
MERGED = 5
"""Times by which merging can be hoped to bring links down."""
STEPS_MIN = 60
"""Steps of the bound below which it says little."""


@dataclass(frozen=True)
class Effort:
    """When to stop.

    Attributes
    ----------
    gap : float
        Share by which the best may be missed.
    work : int
        Links that the search for a better choice looks at.
    steps : int
        Steps of the bound.
    step_links : int
        Links that all steps of the bound look at together.
    nodes : int
        Nodes of the exact search.
    links : int
        Most links of a model that is solved exactly.
    seed : int
        Where random exchanges start, at least 1.
    seconds : float | None
        Seconds for the exact search; a choice that this clock stops isn't reproducible.
    """

    gap: float = 0.0
    work: int = WORK
    steps: int = STEPS
    step_links: int = STEP_LINKS
    nodes: int = NODES
    links: int = LINKS
    seed: int = 1
    seconds: float | None = None


@dataclass(frozen=True)
class Cover:
    """What is chosen, and how good it is for certain.

    Attributes
    ----------
    chosen : numpy.ndarray
        Sites by number, rising.
    value : float
        Weight of demand that they reach.
    bound : float
        No choice that keeps to the rules reaches more.
    greedy_value : float
        What taking the site that adds most, one after the other, reaches.
    reproducible : bool
        Whether the same input gives the same choice: no clock stopped the search.
    """

    chosen: Ints
    value: float
    bound: float
    greedy_value: float
    reproducible: bool = True

    @property
    def gap(self) -> float:
        """Share by which a better choice could exceed this one at most.

        Returns
        -------
        float
            0 where it is proved best.
        """
        return (self.bound - self.value) / self.bound if self.bound > 0 else 0.0


def choose(reach: Reach, found: Sequence[Rule], effort: Effort | None = None) -> Cover | None:
    """Choose the sites that reach most of those that keep to all rules.

    Parameters
    ----------
    reach : Reach
        Who reaches whom.
    found : Sequence[Rule]
        The rules.
    effort : Effort | None, default None
        When to stop; None for as usual.

    Returns
    -------
    Cover | None
        The choice, never worse than greedy; None where no choice was found that keeps to all
        rules, which :func:`districtplan.demos.conflicts` explains.
    """
    effort = effort or Effort()
    merged, table = reach.merged(), Table.of(found, reach.sites)
    start = _greedy(merged, found, table)
    if start is None:
        return None
    best, solved, prices = start, Solved(None, float(merged.weight.sum())), None
    # Most models need no more than a short search; of the largest a short one proves nothing.
    works = (effort.work // SHORT, effort.work)
    for work in works if merged.sites <= SITES_MAX else works[1:]:
        best = _bettered(merged, table, best, work, effort.seed)
        prices = prices or _thinned(merged, table, _count(found), best, effort)
        limit = bound(merged, table, _count(found), best, _steps(merged, effort), prices)
        prices = limit.price, limit.toll
        best, solved = _decided(merged, table, best, limit, effort)
        if _floor(merged, solved.bound) - merged.value(best) <= effort.gap * solved.bound + HAIR:
            break
    best = _earliest(merged, table, best)
    value = merged.value(best)
    upper = _floor(merged, solved.bound)
    # What rounding leaves is no gap.
    upper = value if upper - value <= HAIR else upper
    return Cover(best, value, upper, merged.value(start), not solved.by_clock)


def _thinned(
    reach: Reach, table: Table, count: int | None, best: Ints, effort: Effort
) -> tuple[Floats, Floats] | None:
    """Find prices of a district with too many sites from one with fewer, where each step is cheap.

    They only start the search for prices of all sites: any prices give a bound that holds.
    """
    every = reach.sites // SITES_MAX + 1
    if every == 1:
        return None
    kept = np.union1d(np.arange(0, reach.sites, every), best)
    share = reach.only(kept)
    rest = Table(table.amounts[:, kept], table.low, table.high)
    found = bound(share, rest, count, np.searchsorted(kept, best), _steps(share, effort))
    return found.price, found.toll


def _steps(reach: Reach, effort: Effort) -> int:
    fit = effort.step_links // max(len(reach.site), 1)
    return int(min(effort.steps, max(fit, STEPS_MIN)))


def _floor(reach: Reach, value: float) -> float:
    """Bound by a whole number, where only whole numbers can be reached."""
    if np.array_equal(reach.weight, np.rint(reach.weight)):
        return float(np.floor(value + HAIR))
    return value


def _count(found: Sequence[Rule]) -> int | None:
    counts = [int(rule.low) for rule in found if rule.kind == "count"]
    return counts[0] if counts else None


def _greedy(reach: Reach, found: Sequence[Rule], table: Table) -> Ints | None:
    """Choose step by step; where that breaks a rule, keep of it what the rules allow."""
    from districtplan.demos.loops import Net, State, greedy

    price = np.ones(reach.sites)
    for rule in found:
        if rule.kind == "budget":
            price[rule.sites] = np.maximum(rule.amount, HAIR)
    net = Net.of(reach, table, price)
    state = State.of(net, np.empty(0, np.int64))
    alone = state.gain.copy()
    order = greedy(net, state)
    if table.kept(order):
        return np.sort(order)
    # A site of the greedy choice counts for more than all that is not in it.
    wish = alone / max(alone.max(initial=0.0), 1.0) / max(reach.sites, 1)
    wish[order] += 1
    return wished(table, wish).chosen


def _bettered(reach: Reach, table: Table, start: Ints, work: int, seed: int) -> Ints:
    """Search from a choice with several random numbers at once; of equals the first counts."""
    from districtplan.demos.loops import Net, State, search

    net = Net.of(reach, table, np.ones(reach.sites))

    def searched(number: int) -> Ints:
        state = State.of(net, start, seed + number)
        search(net, state, work)
        return np.flatnonzero(state.chosen)

    with ThreadPoolExecutor(SEARCHES) as pool:
        found = list(pool.map(searched, range(SEARCHES)))
    return max([start, *found], key=reach.value)


def _earliest(reach: Reach, table: Table, chosen: Ints) -> Ints:
    from districtplan.demos.loops import Net, State, earliest

    net = Net.of(reach, table, np.ones(reach.sites))
    state = State.of(net, chosen)
    earliest(net, state)
    return np.flatnonzero(state.chosen)


def _decided(
    reach: Reach, table: Table, best: Ints, limit: Bound, effort: Effort
) -> tuple[Ints, Solved]:
    """Solve what prices leave open, if it is small enough."""
    known = reach.value(best)
    if _floor(reach, limit.value) - known <= effort.gap * limit.value + HAIR:
        return best, Solved(None, limit.value)
    # Deciding such a site otherwise bounds what can be reached below what is known.
    closed = limit.lost > limit.value - known + HAIR
    ones, kept = np.flatnonzero(closed & limit.taken), np.flatnonzero(~closed)
    covered = reach.reached(ones) > 0
    # Merging what is left takes long itself: it is tried where it can bring the links down to few.
    links = int(reach.reached(kept)[~covered].sum())
    left = reach.without(covered, kept) if links <= MERGED * effort.links else reach
    if len(left.site) > effort.links:
        return best, Solved(None, limit.value)
    sure = reach.value(ones)
    held = table.amounts[:, ones].sum(axis=1)
    rest = Table(table.amounts[:, kept], table.low - held, table.high - held)
    mine = np.flatnonzero(np.isin(kept, best))
    solved = solve(left, rest, mine, (effort.gap * known, effort.nodes, effort.seconds))
    if solved.chosen is not None:
        found = np.sort(np.concatenate([ones, kept[solved.chosen]]))
        if table.kept(found) and reach.value(found) > known:
            best = found
    upper = max(known, sure + solved.bound)
    return best, Solved(best, upper, solved.by_clock)
