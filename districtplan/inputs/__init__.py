"""Plants, seed and fertiliser a plot, and what a village or the district has to buy."""

from __future__ import annotations

from districtplan.inputs.doubts import doubts
from districtplan.inputs.need import grams_a_metre, need
from districtplan.inputs.totals import totals

__all__ = ["doubts", "grams_a_metre", "need", "totals"]
