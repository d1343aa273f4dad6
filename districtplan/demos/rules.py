"""What a choice of demonstration plots must keep to, as rules that are linear in the sites.

A rule bounds the sum of amounts over the sites chosen. All that a plan may ask is of this form: how
many plots or kits, at least and at most so many a village, one a farmer, a distance between any
two, slope classes in proportion, plots forced in or out.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import KDTree

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

Kind = Literal[
    "count", "budget", "village least", "village most", "message least", "message first", "message",
    "class", "farmer", "plot", "apart", "in", "out",
]  # fmt: skip
ROUND = 1e-6
WHOLE = 1 - ROUND
"""Shares of plots are rounded outward to whole plots: less than one beyond the share is kept to."""
ALL = -1
"""A rule that is of no village, class, farmer or plot."""


@dataclass(frozen=True)
class Rule:
    """One bound on a sum over the sites chosen.

    Attributes
    ----------
    kind : Kind
        What it is for.
    of : int
        Number of the village, message, slope class, farmer, plot or site that it is about, else
        ``ALL``.
    sites : numpy.ndarray
        Sites that count, rising.
    amount : numpy.ndarray
        What each counts for.
    low, high : float
        Least and most of the sum.
    """

    kind: Kind
    of: int
    sites: Ints
    amount: Floats
    low: float
    high: float

    @property
    def condition(self) -> tuple[Kind, int]:
        """Say which condition of the plan it belongs to: a distance makes many rules.

        Returns
        -------
        tuple[Kind, int]
            Its kind and what it is of.
        """
        return self.kind, self.of


@dataclass(frozen=True)
class Sites:
    """What conditions need to know of candidates, each shape (sites,).

    A site is a plot with the message that it would show: a plot that could show several is as many
    sites, in one place and of one farmer.

    Attributes
    ----------
    village : numpy.ndarray
        Number of the village.
    farmer : numpy.ndarray
        Number of the farmer.
    slope_class : numpy.ndarray
        Number of the slope class, from 0.
    kits : numpy.ndarray
        Demonstration kits that the plot takes of a budget.
    place_m : numpy.ndarray
        Where it lies, east and north, shape (sites, 2) [m].
    plot, message : numpy.ndarray | None
        Numbers of the plot and of the message; None where each site is a plot with one message.
    """

    village: Ints
    farmer: Ints
    slope_class: Ints
    kits: Floats
    place_m: Floats
    plot: Ints | None = None
    message: Ints | None = None

    def __len__(self) -> int:
        return len(self.village)


@dataclass(frozen=True)
class Conditions:
    """What the plan asks of a choice; what is left out isn't asked.

    Attributes
    ----------
    count : int | None
        So many plots, no more and no fewer.
    budget : float | None
        Kits that may be spent.
    village_least, village_most : Mapping[int, int]
        Plots of a village, by its number.
    message_least : Mapping[int, tuple[int, Sequence[int]]]
        By the number of a village, how many of its plots show one of some messages: a steep village
        sees barriers.
    message_first : Mapping[int, Sequence[int]]
        By the number of a village, messages that at least half of its plots show.
    message_plots : Mapping[int, tuple[float, float]]
        By the number of a message, least and most plots that show it.
    class_share : numpy.ndarray | None
        Share of the tilled land in each slope class, together 1.
    class_tolerance : float
        How far the share of plots may be from it, besides what whole plots make unavoidable.
    apart_m : float
        Least distance between any two plots, as the crow flies [m].
    one_a_farmer : bool
        Whether a farmer has one demonstration plot at most.
    forced_in, forced_out : Sequence[int]
        Plots that are chosen, or not, whatever they add: sites, where each site is a plot.
    """

    count: int | None = None
    budget: float | None = None
    village_least: Mapping[int, int] = field(default_factory=dict)
    village_most: Mapping[int, int] = field(default_factory=dict)
    message_least: Mapping[int, tuple[int, Sequence[int]]] = field(default_factory=dict)
    message_first: Mapping[int, Sequence[int]] = field(default_factory=dict)
    message_plots: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    class_share: Floats | None = None
    class_tolerance: float = 0.0
    apart_m: float = 0.0
    one_a_farmer: bool = True
    forced_in: Sequence[int] = ()
    forced_out: Sequence[int] = ()


def rules(sites: Sites, conditions: Conditions) -> list[Rule]:
    """Write conditions as rules.

    Parameters
    ----------
    sites : Sites
        The candidates.
    conditions : Conditions
        What the plan asks.

    Returns
    -------
    list[Rule]
        All of them; a condition that no candidate can serve is a rule without sites.
    """
    found = list(_amounts(len(sites), sites, conditions))
    for village, least in sorted(conditions.village_least.items()):
        members = np.flatnonzero(sites.village == village)
        found.append(_counted("village least", village, members, least, np.inf))
    for village, most in sorted(conditions.village_most.items()):
        members = np.flatnonzero(sites.village == village)
        found.append(_counted("village most", village, members, -np.inf, most))
    found += _shown(sites, conditions)
    if conditions.class_share is not None:
        found += _classes(sites, conditions.class_share, conditions)
    if conditions.one_a_farmer:
        found += _one_each("farmer", sites.farmer)
    if sites.plot is not None:
        found += _one_each("plot", sites.plot)
    for clique in _too_near(sites.place_m, conditions.apart_m):
        found.append(_counted("apart", ALL, clique, -np.inf, 1))
    plot = np.arange(len(sites)) if sites.plot is None else sites.plot
    for one in sorted(conditions.forced_in):
        found.append(_counted("in", one, np.flatnonzero(plot == one), 1, 1))
    for one in sorted(conditions.forced_out):
        found.append(_counted("out", one, np.flatnonzero(plot == one), 0, 0))
    return found


def _shown(sites: Sites, conditions: Conditions) -> Iterator[Rule]:
    """Say which messages are shown where, and how often."""
    shown = np.zeros(len(sites), np.int64) if sites.message is None else sites.message
    for village, (least, messages) in sorted(conditions.message_least.items()):
        members = np.flatnonzero((sites.village == village) & np.isin(shown, list(messages)))
        yield _counted("message least", village, members, least, np.inf)
    for village, messages in sorted(conditions.message_first.items()):
        members = np.flatnonzero(sites.village == village)
        sign = np.where(np.isin(shown[members], list(messages)), 1.0, -1.0)
        yield Rule("message first", village, members, sign, 0.0, np.inf)
    for message, (low, high) in sorted(conditions.message_plots.items()):
        yield _counted("message", message, np.flatnonzero(shown == message), low, high)


def _counted(kind: Kind, of: int, members: Ints, low: float, high: float) -> Rule:
    return Rule(kind, of, members, np.ones(len(members)), float(low), float(high))


def _one_each(kind: Kind, owner: Ints) -> Iterator[Rule]:
    owners, count = np.unique(owner, return_counts=True)
    for one in owners[count > 1]:
        yield _counted(kind, int(one), np.flatnonzero(owner == one), -np.inf, 1)


def _amounts(count: int, sites: Sites, conditions: Conditions) -> Iterator[Rule]:
    everyone = np.arange(count)
    if conditions.count is not None:
        yield _counted("count", ALL, everyone, conditions.count, conditions.count)
    if conditions.budget is not None:
        kits = sites.kits.astype(np.float64)
        yield Rule("budget", ALL, everyone, kits, -np.inf, float(conditions.budget))


def _classes(sites: Sites, share: Floats, conditions: Conditions) -> Iterator[Rule]:
    """Keep plots of each class within its share of all that are chosen, rounded outward."""
    everyone = np.arange(len(sites))
    for one, part in enumerate(share):
        low, high = part - conditions.class_tolerance, part + conditions.class_tolerance
        mine = sites.slope_class == one
        if conditions.count is not None:
            # Taken off by a hair, so that a product that is whole isn't rounded further.
            least = np.floor(max(low, 0.0) * conditions.count + ROUND)
            most = np.ceil(min(high, 1.0) * conditions.count - ROUND)
            yield _counted("class", one, np.flatnonzero(mine), least, most)
            continue
        yield Rule("class", one, everyone, mine - low, -WHOLE, np.inf)
        yield Rule("class", one, everyone, mine - high, -np.inf, WHOLE)


def _too_near(place_m: Floats, apart_m: float) -> Iterator[Ints]:
    """Give sets of sites any two of which are too near, so that each such pair is in one."""
    if apart_m <= 0 or not len(place_m):
        return
    pairs = KDTree(place_m).query_pairs(apart_m, output_type="ndarray")
    step = place_m[pairs[:, 0]] - place_m[pairs[:, 1]]
    pairs = np.sort(pairs[np.hypot(*step.T) < apart_m], axis=1)
    near: dict[int, set[int]] = {}
    for one, other in pairs.tolist():
        near.setdefault(one, set()).add(other)
        near.setdefault(other, set()).add(one)
    told: set[tuple[int, int]] = set()
    for pair in sorted(map(tuple, pairs.tolist())):
        if pair in told:
            continue
        clique, common = list(pair), near[pair[0]] & near[pair[1]]
        while common:
            clique.append(min(common))
            common = common & near[clique[-1]]
        clique.sort()
        told.update(itertools.combinations(clique, 2))
        yield np.array(clique)


class Table(NamedTuple):
    """Rules as arrays.

    Attributes
    ----------
    amounts : scipy.sparse.csr_array
        What each site counts for, shape (rules, sites).
    low, high : numpy.ndarray
        Bounds of the sums, shape (rules,).
    """

    amounts: csr_array
    low: Floats
    high: Floats

    @classmethod
    def of(cls, found: Sequence[Rule], sites: int) -> Table:
        """Put rules together.

        Parameters
        ----------
        found : Sequence[Rule]
            The rules.
        sites : int
            How many sites there are.

        Returns
        -------
        Table
            One row a rule, in their order.
        """
        first = np.concatenate([[0], np.cumsum([len(rule.sites) for rule in found])])
        site = np.concatenate([np.empty(0, np.int64), *(rule.sites for rule in found)])
        amount = np.concatenate([np.empty(0), *(rule.amount for rule in found)])
        return cls(
            csr_array((amount, site, first.astype(np.int64)), shape=(len(found), sites)),
            np.array([rule.low for rule in found], dtype=np.float64),
            np.array([rule.high for rule in found], dtype=np.float64),
        )

    def kept(self, chosen: Ints) -> bool:
        """Say whether a choice keeps to all rules.

        Parameters
        ----------
        chosen : numpy.ndarray
            Sites by number.

        Returns
        -------
        bool
            True if it does.
        """
        taken = np.zeros(self.amounts.shape[1])
        taken[chosen] = 1
        sums = self.amounts @ taken
        return bool(((sums >= self.low - ROUND) & (sums <= self.high + ROUND)).all())
