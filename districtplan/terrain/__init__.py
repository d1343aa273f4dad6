"""Slope, fall and row bearing of each plot, and how far the raster supports them."""

from __future__ import annotations

from districtplan.terrain.hillshade import hillshade
from districtplan.terrain.measure import FLAGS, measure
from districtplan.terrain.method import METHODS, REASONS
from districtplan.terrain.serves import Forecast, forecast

__all__ = ["FLAGS", "METHODS", "REASONS", "Forecast", "forecast", "hillshade", "measure"]
