"""Soil loss a plot, with rows up and down the slope and with rows on the contour, and its flags."""

from __future__ import annotations

from districtplan.erosion.assess import FLAGS, assess
from districtplan.erosion.doubts import doubts

__all__ = ["FLAGS", "assess", "doubts"]
