"""Slope, fall and row bearing of each plot, and how far the raster supports them."""

from __future__ import annotations

from districtplan.terrain.hillshade import hillshade
from districtplan.terrain.measure import FLAGS, measure
from districtplan.terrain.method import METHODS, REASONS

__all__ = ["FLAGS", "METHODS", "REASONS", "hillshade", "measure"]
