"""Rows: how many each plot takes, how long they are, where the first one starts."""

from __future__ import annotations

from districtplan.rows.draw import draw
from districtplan.rows.land import areas
from districtplan.rows.lay import Laid, by_area, lay

__all__ = ["Laid", "areas", "by_area", "draw", "lay"]
