"""Soil loss a plot: as it is now, with rows up and down and on the contour; flags and ranks."""

from __future__ import annotations

from districtplan.erosion.assess import FLAGS, Beside, assess
from districtplan.erosion.doubts import doubts
from districtplan.erosion.equations import Equations
from districtplan.erosion.given import PRACTICE, SOILS, accept_practice, accept_soils, soils_doubts
from districtplan.erosion.ls import FlowCells, LengthByArea, constants
from districtplan.erosion.mapped import plot_means, raster_doubts
from districtplan.erosion.now import standing
from districtplan.erosion.unit_systems import Quantity

__all__ = [
    "FLAGS",
    "PRACTICE",
    "SOILS",
    "Beside",
    "Equations",
    "FlowCells",
    "LengthByArea",
    "Quantity",
    "accept_practice",
    "accept_soils",
    "assess",
    "constants",
    "doubts",
    "plot_means",
    "raster_doubts",
    "soils_doubts",
    "standing",
]
