"""Small models solved to proof by HiGHS, up to a number of nodes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.sparse import csr_array, eye_array, hstack, vstack

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.demos.reach import Reach
    from districtplan.demos.rules import Table

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

INFEASIBLE = 2
TIMED_OUT = "Time limit"
"""How HiGHS says that the clock stopped it, and no number of nodes."""
WISHES_NODES = 50
"""Nodes after which nobody knows whether rules can be kept: packing plots far apart is hard."""
WISHES_GAP = 0.02
"""How far from the best a choice may be that only has to keep to the rules."""


@dataclass(frozen=True)
class Solved:
    """What a solver came to.

    Attributes
    ----------
    chosen : numpy.ndarray | None
        Sites by number, rising; None where it found none.
    bound : float
        No choice reaches more; minus infinity where none keeps to the rules.
    by_clock : bool
        Whether the clock stopped it.
    """

    chosen: Ints | None
    bound: float
    by_clock: bool = False


def wished(table: Table, wish: Floats) -> Solved:
    """Choose sites that keep to the rules, as near to a wish as need be.

    Parameters
    ----------
    table : Table
        The rules.
    wish : numpy.ndarray
        What each site is worth, shape (sites,).

    Returns
    -------
    Solved
        A choice; without one, minus infinity as the bound where it is proved that none keeps to
        the rules, else the sum of all wishes.
    """
    if not len(wish):
        nothing = np.empty(0, np.int64)
        return Solved(nothing, 0.0) if table.kept(nothing) else Solved(None, -np.inf)
    options = {"mip_rel_gap": WISHES_GAP, "node_limit": WISHES_NODES}
    solved = _milp(-wish, table, np.ones(len(wish)), options)
    if solved.x is None:
        return Solved(None, -np.inf if solved.status == INFEASIBLE else float(wish.sum()))
    return Solved(np.flatnonzero(np.rint(solved.x) > 0), float(wish.sum()))


def eased(table: Table, loose: Bools) -> Ints | None:
    """Choose sites that break some rules by as little as can be, and no others.

    Parameters
    ----------
    table : Table
        The rules.
    loose : numpy.ndarray
        Rules that may be broken, bool, shape (rules,).

    Returns
    -------
    numpy.ndarray | None
        Sites by number; None where breaking these alone isn't enough.
    """
    rules, sites = table.amounts.shape
    free = np.flatnonzero(loose)
    bounds = np.stack([table.low, table.high])
    # A slack from 0 to 1 reaches from any bound to any sum.
    reach = (
        1
        + abs(table.amounts).sum(axis=1)
        + np.abs(np.where(np.isfinite(bounds), bounds, 0)).sum(axis=0)
    )
    slack = csr_array((reach[free], (free, np.arange(len(free)))), (rules, len(free)))
    solved = _milp(
        np.concatenate([np.zeros(sites), reach[free], reach[free]]),
        type(table)(hstack([table.amounts, slack, -slack], format="csr"), table.low, table.high),
        np.concatenate([np.ones(sites), np.zeros(2 * len(free))]),
        {"node_limit": WISHES_NODES},
    )
    return None if solved.x is None else np.flatnonzero(np.rint(solved.x[:sites]) > 0)


def solve(
    reach: Reach, table: Table, known: Ints, limits: tuple[float, int, float | None]
) -> Solved:
    """Choose sites that reach most.

    Parameters
    ----------
    reach : Reach
        Who reaches whom, merged.
    table : Table
        The rules.
    known : numpy.ndarray
        Sites of a choice to better, by number.
    limits : tuple[float, int, float | None]
        Weight by which the best may be missed, nodes of the search, and seconds or None.

    Returns
    -------
    Solved
        The best found.
    """
    if not reach.sites:
        return wished(table, np.empty(0))
    missed, nodes, seconds = limits
    rows = len(reach.weight)
    links = csr_array((np.ones(len(reach.site)), reach.site, reach.first), (rows, reach.sites))
    both = vstack(
        [
            hstack([links, -eye_array(rows)]),
            hstack([table.amounts, csr_array((len(table.low), rows))]),
        ],
        format="csr",
    )
    bounds = (
        np.concatenate([np.zeros(rows), table.low]),
        np.concatenate([np.full(rows, np.inf), table.high]),
    )
    best = max(reach.value(known), 1.0)
    options: dict[str, Any] = {"node_limit": nodes, "mip_rel_gap": missed / best}
    if seconds is not None:
        options["time_limit"] = seconds
    solved = _milp(
        np.concatenate([np.zeros(reach.sites), -reach.weight]),
        type(table)(both, *bounds),
        np.concatenate([np.ones(reach.sites), np.zeros(rows)]),
        options,
    )
    chosen = None if solved.x is None else np.flatnonzero(np.rint(solved.x[: reach.sites]) > 0)
    upper = float(reach.weight.sum())
    if solved.status == INFEASIBLE:
        upper = -np.inf
    elif solved.mip_dual_bound is not None:
        upper = min(upper, -float(solved.mip_dual_bound))
    return Solved(chosen, upper, TIMED_OUT in solved.message)


def _milp(cost: Floats, table: Table, whole: Floats, options: dict[str, Any]) -> Any:  # noqa: ANN401 - scipy has no types
    # Takes half a second to import: only who chooses demonstration plots waits for it.
    from scipy.optimize import Bounds, LinearConstraint, milp

    return milp(
        cost,
        constraints=LinearConstraint(table.amounts, table.low, table.high),
        integrality=whole,
        bounds=Bounds(0, 1),
        options=options,
    )
