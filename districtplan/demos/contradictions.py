"""Why no choice keeps to all conditions: which of them conflict, and what each would have to give.

A set of conditions that can't be kept together, but any of which left out lets the others be kept,
is found by halving [1]_; where more than one such set is disjoint, each is told. Of each condition
in a set it is then worked out how little it must give, with all others kept.

References
----------
.. [1] Junker, U. (2004). QuickXPlain: preferred explanations and relaxations for over-constrained
   problems. Proceedings of AAAI-04, 167-172.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import KDTree

from districtplan.demos.exact import eased, wished
from districtplan.demos.rules import ALL, Conditions, Table, rules

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from districtplan.demos.exact import Solved
    from districtplan.demos.rules import Kind, Rule, Sites

    Condition = tuple[Kind, int]


@dataclass(frozen=True)
class Relief:
    """One condition of a conflict, and what it would have to give.

    Attributes
    ----------
    kind : Kind
        What kind of condition it is.
    of : int
        Number of the village, slope class, farmer or site that it is about, else ``ALL``.
    asked : tuple[float, float]
        Least and most that it asks: plots, kits; of a distance metres, of a slope class the
        tolerance.
    enough : float | None
        What it could ask with all others kept, in the same unit: of a plot forced in or out,
        0 or 1, of a slope class the tolerance of all classes. None where it can't solve the
        conflict alone.
    rules : tuple[Rule, ...]
        All rules with this one eased, and without other conflicts, to choose by; none where
        ``enough`` isn't known.
    proved : bool
        Whether it is proved that the set can't be kept; else no choice was found that keeps to it,
        within the work allowed.
    """

    kind: Kind
    of: int
    asked: tuple[float, float]
    enough: float | None
    rules: tuple[Rule, ...]
    proved: bool = True


def conflicts(sites: Sites, conditions: Conditions) -> list[tuple[Relief, ...]]:
    """Tell which conditions can't be kept together.

    Parameters
    ----------
    sites : Sites
        The candidates.
    conditions : Conditions
        What the plan asks.

    Returns
    -------
    list[tuple[Relief, ...]]
        Sets of conditions, none in two of them. Each set can't be kept, but would be without any
        one of its conditions; without one of each, all others can be kept unless sets overlap.
        Empty where nothing conflicts.
    """
    found = rules(sites, conditions)
    asked = _Asked(sites, conditions, found)
    left = list(dict.fromkeys(rule.condition for rule in found))
    sets: list[list[Condition]] = []
    alone = [rule.condition for rule in found if not _reachable(rule)]
    while not asked.kept(left):
        mine = [condition for condition in alone if condition in left]
        sets.append(mine[:1] or _smallest(asked.kept, left))
        # One tolerance is of all classes: it is eased for all of them.
        kinds = {kind for kind, _ in sets[-1]} & {"class"}
        left = [one for one in left if one not in sets[-1] and one[0] not in kinds]
    told = []
    for one in sets:
        elsewhere = {condition for other in sets if other is not one for condition in other}
        proved = not asked.possible(one).bound > -np.inf
        reliefs = (asked.relief(condition, elsewhere) for condition in one)
        told.append(tuple(replace(relief, proved=proved) for relief in reliefs))
    return told


@dataclass(frozen=True)
class _Asked:
    """Conditions with what they are about."""

    sites: Sites
    conditions: Conditions
    found: list[Rule]

    def kept(self, some: Sequence[Condition]) -> bool:
        """Say whether some conditions can be kept together."""
        return self.possible(some).chosen is not None

    def possible(self, some: Sequence[Condition]) -> Solved:
        """Look for a choice that keeps to some conditions."""
        wanted = set(some)
        return _solved([rule for rule in self.found if rule.condition in wanted], self.sites)

    def relief(self, condition: Condition, elsewhere: set[Condition]) -> Relief:
        """Work out how little a condition must give if all others but some are kept."""
        kind, of = condition
        others = [rule for rule in self.found if rule.condition not in {condition, *elsewhere}]
        if kind == "apart":
            return self._nearer(others)
        if kind == "class":
            return self._tolerant(of, [rule for rule in others if rule.kind != "class"])
        (mine,) = (rule for rule in self.found if rule.condition == condition)
        table = Table.of([*others, mine], len(self.sites))
        chosen = eased(table, np.arange(len(table.low)) == len(others))
        if chosen is None:
            return Relief(kind, of, (mine.low, mine.high), None, ())
        enough = float(mine.amount[np.isin(mine.sites, chosen)].sum())
        given = replace(mine, low=min(mine.low, enough), high=max(mine.high, enough))
        return Relief(kind, of, (mine.low, mine.high), enough, (*others, given))

    def _tolerant(self, of: int, others: list[Rule]) -> Relief:
        """Find the least tolerance, in whole percent, that can be kept."""
        now = self.conditions.class_tolerance
        steps = np.concatenate([[now], (np.arange(np.floor(now * 100), 100) + 1) / 100])
        low, high = 0, len(steps) - 1
        if not _possible([*others, *self._classes(1.0)], self.sites):
            return Relief("class", of, (now, 1.0), None, ())
        while high - low > 1:
            middle = (low + high) // 2
            if _possible([*others, *self._classes(float(steps[middle]))], self.sites):
                high = middle
            else:
                low = middle
        enough = float(steps[high])
        return Relief("class", of, (now, 1.0), enough, (*others, *self._classes(enough)))

    def _classes(self, tolerance: float) -> list[Rule]:
        asked = replace(self.conditions, class_tolerance=tolerance)
        return [rule for rule in rules(self.sites, asked) if rule.kind == "class"]

    def _nearer(self, others: list[Rule]) -> Relief:
        """Find the largest distance that can be kept."""
        apart = self.conditions.apart_m
        pairs = KDTree(self.sites.place_m).query_pairs(apart, output_type="ndarray")
        step = self.sites.place_m[pairs[:, 0]] - self.sites.place_m[pairs[:, 1]]
        # Between two distances that occur, nothing changes; at 0 all may be chosen.
        distances = np.concatenate([[0.0], np.unique(np.hypot(*step.T))])
        low, high = 0, len(distances)
        if not _possible(others, self.sites):
            return Relief("apart", ALL, (apart, np.inf), None, ())
        while high - low > 1:
            middle = (low + high) // 2
            if _possible([*others, *self._apart(distances[middle])], self.sites):
                low = middle
            else:
                high = middle
        enough = float(distances[low])
        return Relief("apart", ALL, (apart, np.inf), enough, (*others, *self._apart(enough)))

    def _apart(self, apart_m: float) -> list[Rule]:
        return rules(self.sites, Conditions(apart_m=apart_m, one_a_farmer=False))


def _reachable(rule: Rule) -> bool:
    """Say whether some choice keeps to a rule, whatever others say."""
    most, least = rule.amount[rule.amount > 0].sum(), rule.amount[rule.amount < 0].sum()
    return bool(most >= rule.low and least <= rule.high)


def _possible(found: Sequence[Rule], sites: Sites) -> bool:
    return _solved(found, sites).chosen is not None


def _solved(found: Sequence[Rule], sites: Sites) -> Solved:
    return wished(Table.of(found, len(sites)), np.zeros(len(sites)))


def _smallest(kept: Callable[[list[Condition]], bool], left: list[Condition]) -> list[Condition]:
    """Find conditions that can't be kept together, though they can without any one of them."""

    def search(
        sure: list[Condition], open_ones: list[Condition], *, added: bool
    ) -> list[Condition]:
        if added and not kept(sure):
            return []
        if len(open_ones) == 1:
            return open_ones
        middle = len(open_ones) // 2
        first, second = open_ones[:middle], open_ones[middle:]
        late = search([*sure, *first], second, added=True)
        early = search([*sure, *late], first, added=bool(late))
        return [*early, *late]

    return search([], left, added=False)
