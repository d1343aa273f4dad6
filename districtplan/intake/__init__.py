"""Intake: what can be used, and what is set aside with its reason and remedy.

:func:`accept` is the stage; :func:`utm_zone` names the zone that grid bearings refer to.
"""

from __future__ import annotations

from districtplan.intake.acceptance import accept
from districtplan.intake.off_raster import set_aside_off_raster
from districtplan.intake.refusal import require_some
from districtplan.intake.zone import utm_zone

__all__ = ["accept", "require_some", "set_aside_off_raster", "utm_zone"]
