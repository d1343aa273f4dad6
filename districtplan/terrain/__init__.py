"""Slope, fall and row bearing of each plot, and how far the raster supports them."""

from __future__ import annotations

from districtplan.terrain.hillshade import hillshade
from districtplan.terrain.measure import FLAGS, measure
from districtplan.terrain.method import METHODS, REASONS
from districtplan.terrain.reference_land import Estimate, estimate_error
from districtplan.terrain.serves import Forecast, forecast
from districtplan.terrain.surface import FLAGS as SURFACE_FLAGS

__all__ = [
    "FLAGS",
    "METHODS",
    "REASONS",
    "SURFACE_FLAGS",
    "Estimate",
    "Forecast",
    "estimate_error",
    "forecast",
    "hillshade",
    "measure",
]
