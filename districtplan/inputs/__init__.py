"""Plants, seed and fertiliser a plot, and what a village or the district has to buy."""

from __future__ import annotations

from districtplan.inputs.doubts import doubts
from districtplan.inputs.marked_string import MarkedString, marked_string, walk_string
from districtplan.inputs.need import grams_a_metre, need
from districtplan.inputs.totals import totals

__all__ = [
    "MarkedString",
    "doubts",
    "grams_a_metre",
    "marked_string",
    "need",
    "totals",
    "walk_string",
]
