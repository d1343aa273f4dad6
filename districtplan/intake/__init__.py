"""Intake: what can be used, and what is set aside with its reason and remedy.

:func:`accept` is the stage; :func:`utm_zone` names the zone that grid bearings refer to.
"""

from __future__ import annotations

from districtplan.intake.acceptance import accept
from districtplan.intake.doubts import doubts
from districtplan.intake.features import accept_features
from districtplan.intake.guess import Guess, guess, likely_id
from districtplan.intake.later import Meant, set_aside_later, with_lines
from districtplan.intake.refusal import require_some, require_zone
from districtplan.intake.villages import LIST as VILLAGE_LIST
from districtplan.intake.villages import SPELLINGS, SUGGESTED, rename, suggest
from districtplan.intake.villages import doubts as name_doubts
from districtplan.intake.zone import utm_zone, zone_that_fits

__all__ = [
    "SPELLINGS",
    "SUGGESTED",
    "VILLAGE_LIST",
    "Guess",
    "Meant",
    "accept",
    "accept_features",
    "doubts",
    "guess",
    "likely_id",
    "name_doubts",
    "rename",
    "require_some",
    "require_zone",
    "set_aside_later",
    "suggest",
    "utm_zone",
    "with_lines",
    "zone_that_fits",
]
