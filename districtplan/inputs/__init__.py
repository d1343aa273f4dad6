"""Plants, seed and fertiliser a plot, and what a village or the district has to buy."""

from __future__ import annotations

from districtplan.inputs.amounts import ARRIVED, STOCK, accept_amounts
from districtplan.inputs.counting import packs
from districtplan.inputs.doubts import delivery_doubts, doubts
from districtplan.inputs.enrolment import ENROLMENT, LINES, NO_GO, NO_GO_HA, accept_enrolment
from districtplan.inputs.labour import WORKS
from districtplan.inputs.marked_string import MarkedString, marked_string, walk_string
from districtplan.inputs.need import grams_a_metre, need, pack_sizes
from districtplan.inputs.no_go import Buffers, buffers
from districtplan.inputs.nutrients import balance, cap_in_every_hole_kg_ha, dosed
from districtplan.inputs.orders import buying_points, distribution, lots
from districtplan.inputs.outline_error import area_errors
from districtplan.inputs.purchase import Beside, Purchase, purchase, with_nurseries
from districtplan.inputs.seed import empty_share, hundred_seed_weight_g, judge_test, stand
from districtplan.inputs.totals import totals
from districtplan.inputs.zones import ONSETS, accept_onsets

__all__ = [
    "ARRIVED",
    "ENROLMENT",
    "LINES",
    "NO_GO",
    "NO_GO_HA",
    "ONSETS",
    "STOCK",
    "WORKS",
    "Beside",
    "Buffers",
    "MarkedString",
    "Purchase",
    "accept_amounts",
    "accept_enrolment",
    "accept_onsets",
    "area_errors",
    "balance",
    "buffers",
    "buying_points",
    "cap_in_every_hole_kg_ha",
    "delivery_doubts",
    "distribution",
    "dosed",
    "doubts",
    "empty_share",
    "grams_a_metre",
    "hundred_seed_weight_g",
    "judge_test",
    "lots",
    "marked_string",
    "need",
    "pack_sizes",
    "packs",
    "purchase",
    "stand",
    "totals",
    "walk_string",
    "with_nurseries",
]
