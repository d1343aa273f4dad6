"""Which plots become demonstration plots: most farmers in reach, all conditions kept to."""

from __future__ import annotations

from districtplan.demos.contradictions import Relief, conflicts
from districtplan.demos.cover import Cover, Effort, choose
from districtplan.demos.reach import Reach
from districtplan.demos.rules import Conditions, Rule, Sites, rules

__all__ = [
    "Conditions",
    "Cover",
    "Effort",
    "Reach",
    "Relief",
    "Rule",
    "Sites",
    "choose",
    "conflicts",
    "rules",
]
