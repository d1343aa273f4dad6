"""Where water comes from and runs together: upslope area of each plot, and flow lines."""

from __future__ import annotations

from districtplan.water.cells import PlotCells
from districtplan.water.plots import FLAGS, Beside, trace
from districtplan.water.recorded import override

__all__ = ["FLAGS", "Beside", "PlotCells", "override", "trace"]
