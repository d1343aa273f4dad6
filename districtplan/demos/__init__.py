"""Which plots become demonstration plots: most farmers in reach, all conditions kept to."""

from __future__ import annotations

from districtplan.demos.allot import Allotment, allot
from districtplan.demos.answers import (
    ANSWERS,
    HOMESTEADS,
    SHOWN,
    accept_answers,
    accept_homesteads,
    accept_shown,
)
from districtplan.demos.contradictions import Relief, conflicts
from districtplan.demos.cover import Cover, Effort, choose
from districtplan.demos.facts import PATHS, Beside, Facts, facts, require
from districtplan.demos.layout import layouts
from districtplan.demos.reach import Reach
from districtplan.demos.rules import Conditions, Rule, Sites, rules

__all__ = [
    "ANSWERS",
    "HOMESTEADS",
    "PATHS",
    "SHOWN",
    "Allotment",
    "Beside",
    "Conditions",
    "Cover",
    "Effort",
    "Facts",
    "Reach",
    "Relief",
    "Rule",
    "Sites",
    "accept_answers",
    "accept_homesteads",
    "accept_shown",
    "allot",
    "choose",
    "conflicts",
    "facts",
    "layouts",
    "require",
    "rules",
]
