"""Where water comes from and runs together: upslope area of each plot, and flow lines."""

from __future__ import annotations

from districtplan.water.plots import FLAGS, trace

__all__ = ["FLAGS", "trace"]
