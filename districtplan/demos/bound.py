"""What no choice of demonstration plots can exceed: a Lagrangian bound.

Each row of demand pays a price of at most its weight to the sites that reach it, each rule a price
to or from the sites that count for it; what is left of weights, prices of bounds, and the sites
that earn most, is more than any choice can reach [1]_. Prices are bettered by subgradient steps.
At their limit the bound is that of the linear relaxation, without solving it: a step looks once at
each link, so that millions of them are no obstacle.

References
----------
.. [1] Galvão, R.D., ReVelle, C. (1996). A Lagrangean heuristic for the maximal covering location
   problem. European Journal of Operational Research 88(1), 114-123.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.demos.reach import Reach
    from districtplan.demos.rules import Table

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

HAIR = 1e-6
"""What a sum may be off by rounding."""
PATIENCE = 30
"""Steps without progress after which they become smaller."""
SHRINK = 0.7
WARM = 0.2
"""First step where prices are known to begin with."""
PROGRESS = 1e-4
"""Share of the bound that counts as progress."""
MEMORY = 0.97
"""Weight of earlier steps in the mean choice that gives a step its direction."""
SMALLEST = 1e-3
"""Step, as a share of the first, at which nothing more is gained."""


@dataclass(frozen=True)
class Bound:
    """A bound, and what it says of each site.

    Attributes
    ----------
    value : float
        No choice reaches more.
    taken : numpy.ndarray
        The sites that earn most, bool, shape (sites,).
    lost : numpy.ndarray
        How much lower the bound is for choices in which a site is decided otherwise than in
        ``taken``, shape (sites,).
    price, toll : numpy.ndarray
        What rows of demand and rules pay, shape (rows,) and (rules,).
    """

    value: float
    taken: Bools
    lost: Floats
    price: Floats
    toll: Floats


@dataclass(frozen=True)
class _Relaxed:
    """The model without its links and rules, which are paid for instead."""

    reach: Reach
    table: Table
    count: int | None
    fixed: Ints
    """1 in, 0 out, -1 free, by site."""

    def best(self, earned: Floats) -> tuple[Bools, Floats]:
        """Take the sites that earn most, and say what deciding otherwise would lose."""
        taken, free = self.fixed == 1, np.flatnonzero(self.fixed < 0)
        lost = np.full(len(earned), np.inf)
        if self.count is None:
            taken[free] = earned[free] > 0
            lost[free] = np.abs(earned[free])
            return taken, lost
        order = free[np.lexsort((free, -earned[free]))]
        into = min(max(self.count - int(taken.sum()), 0), len(order))
        taken[order[:into]] = True
        if 0 < into < len(order):
            lost[order[into:]] = earned[order[into - 1]] - earned[order[into:]]
            lost[order[:into]] = earned[order[:into]] - earned[order[into]]
        return taken, lost


def bound(
    reach: Reach,
    table: Table,
    count: int | None,
    known: Ints,
    steps: int,
    start: tuple[Floats, Floats] | None = None,
) -> Bound:
    """Bound what any choice that keeps to the rules can reach.

    Parameters
    ----------
    reach : Reach
        Who reaches whom.
    table : Table
        The rules.
    count : int | None
        How many sites are chosen, where that is given.
    known : numpy.ndarray
        The best choice known, sites by number.
    steps : int
        Steps to take.
    start : tuple[numpy.ndarray, numpy.ndarray] | None, default None
        Prices and tolls to begin with, where better ones than none are known.

    Returns
    -------
    Bound
        The best bound met.
    """
    # Imported late: numba takes a second.
    from districtplan.demos.loops import row_sums, site_sums

    relaxed = _Relaxed(reach, table, count, _fixed(table))
    turned = table.amounts.T.tocsr()
    reached = reach.value(known)
    price, toll = start or (reach.weight / 2, np.zeros(len(table.low)))
    best = Bound(np.inf, np.zeros(0, np.bool_), np.zeros(0), price, toll)
    size, idle = (1.0 if start is None else WARM), 0
    mean = np.zeros(reach.sites)
    earned, times = np.zeros(reach.sites), np.zeros(len(reach.weight))
    for _ in range(steps):
        site_sums(reach.first, reach.site, price, earned)
        left = earned - turned @ toll
        taken, lost = relaxed.best(left)
        side = np.where(toll > 0, table.high, np.where(toll < 0, table.low, 0.0))
        value = float((reach.weight - price).sum() + (toll * side).sum() + left[taken].sum())
        idle = 0 if value < best.value * (1 - PROGRESS) else idle + 1
        if value < best.value:
            best = Bound(value, taken, lost, price, toll)
        if best.value - reached < HAIR or size < SMALLEST:
            break
        if idle > PATIENCE:
            size, idle, price, toll = size * SHRINK, 0, best.price, best.toll
            continue
        mean = MEMORY * mean + (1 - MEMORY) * taken
        row_sums(reach.first, reach.site, mean, times)
        sums = times, table.amounts @ mean
        price, toll = _step(relaxed, (price, toll), sums, size, value - reached)
    return best


def _fixed(table: Table) -> Ints:
    """Read from rules of a single site that it is in or out."""
    fixed = np.full(table.amounts.shape[1], -1, np.int64)
    first = table.amounts.indptr
    for rule in np.flatnonzero(np.diff(first) == 1):
        site, amount = table.amounts.indices[first[rule]], table.amounts.data[first[rule]]
        if table.low[rule] > HAIR:
            fixed[site] = 1
        elif amount > table.high[rule] + HAIR:
            fixed[site] = 0
    return fixed


def _step(
    relaxed: _Relaxed,
    prices: tuple[Floats, Floats],
    sums: tuple[Floats, Floats],
    size: float,
    above: float,
) -> tuple[Floats, Floats]:
    """Step against the subgradient of the bound, by Polyak's length."""
    (price, toll), (times, held) = prices, sums
    weight, low, high = relaxed.reach.weight, relaxed.table.low, relaxed.table.high
    slope = times - 1
    stays = ((price <= 0) & (slope > 0)) | ((price >= weight) & (slope < 0))
    slope = np.where(stays, 0.0, slope)
    over, under = (toll > 0) | ((toll == 0) & (held > high)), (toll < 0) | (held < low)
    tilt = np.where(over, high - held, np.where(under, low - held, 0.0))
    length = size * above / max(float((slope**2).sum() + (tilt**2).sum()), HAIR)
    changed = toll - length * tilt
    # A price that turns its sign would pass from one bound of the rule to the other.
    changed[toll * changed < 0] = 0.0
    return np.clip(price - length * slope, 0.0, weight), changed
