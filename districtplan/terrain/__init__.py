"""Slope, fall and row bearing of each plot, and how far the raster supports them."""

from __future__ import annotations

from districtplan.terrain.calibration import Calibration, Spread, calibrate
from districtplan.terrain.hillshade import hillshade
from districtplan.terrain.measure import FLAGS as OF_SURFACE
from districtplan.terrain.measure import measure
from districtplan.terrain.method import LEVEL_REASONS, METHODS
from districtplan.terrain.method import REASONS as OF_RASTER
from districtplan.terrain.readings import FLAGS as READING_FLAGS
from districtplan.terrain.readings import REASONS as OF_READINGS
from districtplan.terrain.readings import apply as apply_readings
from districtplan.terrain.reference_land import Estimate, estimate_error
from districtplan.terrain.serves import Forecast, forecast
from districtplan.terrain.surface import FLAGS as OF_HEIGHTS
from districtplan.terrain.vertical_unit import doubts as unit_doubts

FLAGS = (*READING_FLAGS, *OF_SURFACE)
"""What ``terrain_flags`` may hold."""

SURFACE_FLAGS = ("filled_heights", *OF_HEIGHTS)
"""What they may say of the heights themselves."""

REASONS = (*OF_RASTER, *OF_READINGS)
"""Why a plot has its row method, by the raster or by a reading."""

__all__ = [
    "FLAGS",
    "LEVEL_REASONS",
    "METHODS",
    "READING_FLAGS",
    "REASONS",
    "SURFACE_FLAGS",
    "Calibration",
    "Estimate",
    "Forecast",
    "Spread",
    "apply_readings",
    "calibrate",
    "estimate_error",
    "forecast",
    "hillshade",
    "measure",
    "unit_doubts",
]
