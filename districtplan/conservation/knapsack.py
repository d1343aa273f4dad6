"""Which of several ways to spend on each unit, at most one, gives most within a budget.

A multiple-choice knapsack. Its linear relaxation is solved in closed form: the ways of a unit that
lie on the upper hull of gain over cost are taken step by step, dearest per gain last [1]_. Its
prices bound every solution from above, so that ways which can't be part of a better one than known
are struck out; HiGHS decides the few that remain by branch and bound. Nothing goes by the clock:
the search ends by proof or after a number of nodes.

References
----------
.. [1] Sinha, P., Zoltners, A.A. (1979). The multiple-choice knapsack problem. Operations Research
   27(3), 503-515.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csr_array, vstack

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

NODES_MAX = 500
"""Nodes of the search after which the best found counts."""
CORE_MAX = 4_000
"""Most ways that the search decides; those that could gain least are left out beyond it."""
ROUND = 1e-9
"""Share of a budget or a gain that rounding may cost."""


@dataclass(frozen=True)
class Ways:
    """Ways to spend, each of one unit.

    Attributes
    ----------
    unit : numpy.ndarray
        Number of the unit, from 0, int.
    cost : numpy.ndarray
        What it takes of the budget, at least 0.
    gain : numpy.ndarray
        What it gives, at least 0.
    group : numpy.ndarray
        Number of the group that its unit is of, from 0, int.
    """

    unit: Ints
    cost: Floats
    gain: Floats
    group: Ints

    def take(self, places: Ints) -> Ways:
        """Keep some.

        Parameters
        ----------
        places : numpy.ndarray
            Their places.

        Returns
        -------
        Ways
            Those alone.
        """
        return Ways(self.unit[places], self.cost[places], self.gain[places], self.group[places])


@dataclass(frozen=True)
class Choice:
    """What is chosen.

    Attributes
    ----------
    places : numpy.ndarray
        Places of the ways chosen, rising.
    gain, cost : float
        Their sums.
    greedy_gain : float
        What choosing step by step, the best gain for the cost first, would give.
    bound : float
        No choice gives more than this.
    """

    places: Ints
    gain: float
    cost: float
    greedy_gain: float
    bound: float

    @property
    def gap(self) -> float:
        """Share by which a better choice could exceed this one at most.

        Returns
        -------
        float
            0 where it is proved best.
        """
        return max(self.bound - self.gain, 0.0) / self.bound if self.bound > 0 else 0.0


@dataclass(frozen=True)
class _Steps:
    """Steps along the hulls, the best gain for the cost first."""

    place: Ints
    """Way that a unit is at after the step."""
    before: Ints
    """Way that it was at, -1 none."""
    cost: Floats
    gain: Floats
    ratio: Floats


def choose(ways: Ways, budget: float, group_shares: Floats | None = None) -> Choice:
    """Choose at most one way a unit so that the sum of gains is largest.

    Parameters
    ----------
    ways : Ways
        The ways.
    budget : float
        What all chosen ones may cost.
    group_shares : numpy.ndarray | None, default None
        Share of the budget that is a group's own; together at most 1. Each group gains at least
        what its own share gives it when spent on it alone, step by step.

    Returns
    -------
    Choice
        The choice, never worse than step by step.
    """
    useful = np.flatnonzero((ways.gain > 0) & (ways.cost <= budget))
    kept = useful[_undominated(ways.take(useful))]
    pool = ways.take(kept)
    steps = _steps(pool)
    least = np.zeros(int(pool.group.max(initial=0)) + 1, dtype=np.float64)
    start = np.empty(0, dtype=np.int64)
    if group_shares is not None:
        start = _each_alone(pool, budget * group_shares)
        np.add.at(least, pool.group[start], pool.gain[start])
    greedy = _step_by_step(pool, steps, budget, start)
    price, worth = _prices(pool, steps, budget, least)
    best, bound = _search(pool, budget, least, greedy, price, worth)
    return Choice(
        np.sort(kept[best]),
        float(pool.gain[best].sum()),
        float(pool.cost[best].sum()),
        float(pool.gain[greedy].sum()),
        bound,
    )


def curve(ways: Ways) -> tuple[Floats, Floats]:
    """Give what can be gained for budgets from nothing to all.

    Parameters
    ----------
    ways : Ways
        The ways.

    Returns
    -------
    cost : numpy.ndarray
        Budgets, rising from 0: those at which taking steps in their order is certainly best.
    gain : numpy.ndarray
        What is gained there.
    """
    useful = np.flatnonzero(ways.gain > 0)
    steps = _steps(ways.take(useful[_undominated(ways.take(useful))]))
    cost = np.concatenate([[0.0], np.cumsum(steps.cost)])
    gain = np.concatenate([[0.0], np.cumsum(steps.gain)])
    # What costs nothing is gained before anything is spent.
    last = np.concatenate([np.diff(cost) > 0, [True]])
    return cost[last], gain[last]


def _undominated(ways: Ways) -> Ints:
    """Strike out ways that cost no less than another of the unit and give no more."""
    order = np.lexsort((-ways.gain, ways.cost, ways.unit))
    unit, gain = ways.unit[order], ways.gain[order]
    # Units lie apart by more than any rank of a gain, so one running maximum serves them all.
    ranks = np.unique(gain, return_inverse=True)[1]
    stacked = unit * np.int64(len(gain) + 1) + ranks
    before = np.concatenate([[-1], np.maximum.accumulate(stacked)[:-1]])
    return np.sort(order[stacked > before])


def _steps(ways: Ways) -> _Steps:
    place = np.lexsort((ways.cost, ways.unit))
    while True:
        before, cost, gain = _rises(ways, place)
        with np.errstate(divide="ignore"):
            ratio = gain / cost
        # A way lies below the hull where the step after it is as good as the step to it.
        after = np.concatenate([ratio[1:], [0.0]])
        same = np.concatenate([ways.unit[place][1:] == ways.unit[place][:-1], [False]])
        below = same & (after >= ratio)
        if not below.any():
            break
        place = place[~below]
    order = np.lexsort((place, -ratio))
    return _Steps(place[order], before[order], cost[order], gain[order], ratio[order])


def _rises(ways: Ways, place: Ints) -> tuple[Ints, Floats, Floats]:
    unit = ways.unit[place]
    first = np.concatenate([[True], unit[1:] != unit[:-1]])[: len(place)]
    before = np.where(first, -1, np.concatenate([[-1], place[:-1]])[: len(place)])
    cost = ways.cost[place] - np.where(first, 0.0, ways.cost[before])
    gain = ways.gain[place] - np.where(first, 0.0, ways.gain[before])
    return before, cost, gain


def _each_alone(ways: Ways, budgets: Floats) -> Ints:
    """Spend the share of each group on it alone, step by step."""
    chosen = [np.empty(0, dtype=np.int64)]
    for group in np.unique(ways.group):
        # A way that the share can't pay is no step of the hull.
        mine = np.flatnonzero((ways.group == group) & (ways.cost <= budgets[group]))
        own = ways.take(mine)
        chosen.append(mine[_step_by_step(own, _steps(own), float(budgets[group]))])
    return np.concatenate(chosen)


def _step_by_step(ways: Ways, steps: _Steps, budget: float, start: Ints | None = None) -> Ints:
    """Take steps in their order while they fit; a step on one that was left out isn't taken."""
    at: dict[int, int] = {}
    left = budget * (1 + ROUND)
    if start is not None:
        at = dict(zip(ways.unit[start].tolist(), start.tolist(), strict=True))
        left -= float(ways.cost[start].sum())
    units = ways.unit[steps.place].tolist()
    for unit, place, before, cost in zip(
        units, steps.place.tolist(), steps.before.tolist(), steps.cost.tolist(), strict=True
    ):
        if cost <= left and at.get(unit, -1) == before:
            at[unit] = place
            left -= cost
    return np.array(sorted(at.values()), dtype=np.int64)


def _prices(ways: Ways, steps: _Steps, budget: float, least: Floats) -> tuple[float, Floats]:
    """Give the price of budget, and the worth of a gain in each group, of the relaxation."""
    groups = ways.group[steps.place]
    needed = np.zeros(len(steps.place), dtype=np.bool_)
    last = np.full(len(least), np.inf)
    for group in np.flatnonzero(least > 0):
        mine = np.flatnonzero(groups == group)
        reached = int(np.searchsorted(np.cumsum(steps.gain[mine]), least[group] * (1 - ROUND)))
        needed[mine[: reached + 1]] = True
        last[group] = steps.ratio[mine[min(reached, len(mine) - 1)]]
    free = np.flatnonzero(~needed)
    spent = steps.cost[needed].sum() + np.cumsum(steps.cost[free])
    over = np.flatnonzero(spent > budget)
    price = float(steps.ratio[free[over[0]]]) if len(over) else 0.0
    # A group whose own steps go on below that price counts its gains for more.
    with np.errstate(invalid="ignore"):
        worth = np.where((last < price) & np.isfinite(last), price / last, 1.0)
    return price, worth


def _search(
    ways: Ways, budget: float, least: Floats, known: Ints, price: float, worth: Floats
) -> tuple[Ints, float]:
    """Decide the ways that could still be part of a better choice; give it and the bound."""
    if not len(ways.unit):
        return known, 0.0
    value = worth[ways.group] * ways.gain - price * ways.cost
    units = int(ways.unit.max()) + 1
    best = np.zeros(units)
    np.maximum.at(best, ways.unit, value)
    bound = float(best.sum() + price * budget - ((worth - 1) * least).sum())
    gain = float(ways.gain[known].sum())
    room = (bound - gain) * (1 + ROUND) + bound * ROUND
    # What a choice loses at least if it takes this way, or none of the unit.
    lost, lost_by_none = best[ways.unit] - value, best
    open_way = lost <= room
    alone = np.bincount(ways.unit[open_way], minlength=units) + (lost_by_none <= room)
    settled = open_way & (alone[ways.unit] == 1)
    core = np.flatnonzero(open_way & ~settled)
    proved = len(core) <= CORE_MAX
    if not proved:
        core = np.sort(core[np.lexsort((core, lost[core]))[:CORE_MAX]])
    fixed = np.flatnonzero(settled)
    if not proved:
        # Units with ways left out keep what they have in the choice that is known.
        kept_units = np.zeros(units, dtype=np.bool_)
        kept_units[ways.unit[core]] = True
        settled_units = np.zeros(units, dtype=np.bool_)
        settled_units[ways.unit[fixed]] = True
        rest = known[~kept_units[ways.unit[known]] & ~settled_units[ways.unit[known]]]
        fixed = np.concatenate([fixed, rest])
    found, decided = _decide(ways, core, fixed, budget, least)
    if found is not None and ways.gain[found].sum() > gain:
        known, gain = found, float(ways.gain[found].sum())
    return known, gain if proved and decided else max(bound, gain)


def _decide(
    ways: Ways, core: Ints, fixed: Ints, budget: float, least: Floats
) -> tuple[Ints | None, bool]:
    """Solve what is left by branch and bound; say whether the end is proved."""
    if not len(core):
        fits = ways.cost[fixed].sum() <= budget * (1 + ROUND)
        return (fixed if fits else None), True
    count = len(core)
    unit = np.unique(ways.unit[core], return_inverse=True)[1]
    rows = [
        csr_array((np.ones(count), (unit, np.arange(count)))),
        csr_array(ways.cost[core][np.newaxis, :]),
    ]
    left = budget * (1 + ROUND) - float(ways.cost[fixed].sum())
    upper = [*np.ones(int(unit.max()) + 1), left]
    lower = [*np.zeros(int(unit.max()) + 1), -np.inf]
    held = np.bincount(ways.group[fixed], ways.gain[fixed], len(least))
    for group in np.flatnonzero(least > 0):
        rows.append(csr_array(np.where(ways.group[core] == group, ways.gain[core], 0)[np.newaxis]))
        lower.append(least[group] * (1 - ROUND) - held[group])
        upper.append(np.inf)
    # Takes half a second to import: only who has a budget waits for it.
    from scipy.optimize import Bounds, LinearConstraint, milp

    solved = milp(
        -ways.gain[core],
        constraints=LinearConstraint(vstack(rows, format="csr"), np.array(lower), np.array(upper)),
        integrality=np.ones(count),
        bounds=Bounds(0, 1),
        options={"node_limit": NODES_MAX, "mip_rel_gap": 0.0, "presolve": False},
    )
    if solved.x is None:
        return None, bool(solved.status == _INFEASIBLE)
    found = np.sort(np.concatenate([fixed, core[np.rint(solved.x) > 0]]))
    # The solver's own slack may overspend by a hair: such a choice isn't taken.
    fits = ways.cost[found].sum() <= budget * (1 + 2 * ROUND)
    return (found if fits else None), bool(solved.status == 0 and fits)


_INFEASIBLE = 2
