"""Intake: what can be used, and what is set aside with its reason and remedy.

:func:`accept` is the stage; :func:`utm_zone` names the zone that grid bearings refer to.
"""

from __future__ import annotations

from districtplan.intake.acceptance import accept
from districtplan.intake.doubts import doubts
from districtplan.intake.features import accept_features
from districtplan.intake.later import Meant, set_aside_later
from districtplan.intake.refusal import require_some
from districtplan.intake.zone import utm_zone, zone_that_fits

__all__ = [
    "Meant",
    "accept",
    "accept_features",
    "doubts",
    "require_some",
    "set_aside_later",
    "utm_zone",
    "zone_that_fits",
]
