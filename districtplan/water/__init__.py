"""Where water comes from and runs together: upslope area of each plot, and flow lines."""

from __future__ import annotations

from districtplan.water.cells import PlotCells
from districtplan.water.plots import FLAGS, Beside, trace
from districtplan.water.recorded import RECORDED, override

__all__ = ["FLAGS", "RECORDED", "Beside", "PlotCells", "override", "trace"]
