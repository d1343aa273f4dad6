"""Rows: how many each plot takes, how long they are, where the first one starts."""

from __future__ import annotations

from districtplan.rows.drain import FLAGS, drain
from districtplan.rows.draw import draw
from districtplan.rows.ends import NOT_KNOWN, REFUSED, SAFE
from districtplan.rows.land import areas
from districtplan.rows.lay import Laid, by_area, lay
from districtplan.rows.strips import strips

__all__ = [
    "FLAGS",
    "NOT_KNOWN",
    "REFUSED",
    "SAFE",
    "Laid",
    "areas",
    "by_area",
    "drain",
    "draw",
    "lay",
    "strips",
]
