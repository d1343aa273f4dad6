"""What to do against soil loss, and where first.

Measures of each plot, a choice under a budget; work sites, outlets, lines and order of work of a
hillside.
"""

from __future__ import annotations

from districtplan.conservation.below import below
from districtplan.conservation.catalogue import (
    Measure,
    catalogue,
    measure_names,
    structure_names,
)
from districtplan.conservation.gathered import FLAG as GATHERED
from districtplan.conservation.gathered import waiting
from districtplan.conservation.ground import ground, soil
from districtplan.conservation.hillsides import Terrain
from districtplan.conservation.land import slope_for_limits
from districtplan.conservation.lay_out import lay_out
from districtplan.conservation.line_tables import LineTables, line_tables
from districtplan.conservation.order import FIND, RIDGES, WATER, days_owed, order_of_work, safe_if
from districtplan.conservation.outlets import Outlet, Waterway, safe_outlets, waterway
from districtplan.conservation.priorities import HELD
from districtplan.conservation.propose import Known, Proposal, propose
from districtplan.conservation.sites import work_sites
from districtplan.conservation.structure_lines import Drawn, Hillside, Line, LineForm, draw
from districtplan.conservation.vetoes import ALL, VETOES, accept_vetoes, ruled_out
from districtplan.conservation.works import Works

__all__ = [
    "ALL",
    "FIND",
    "GATHERED",
    "HELD",
    "RIDGES",
    "VETOES",
    "WATER",
    "Drawn",
    "Hillside",
    "Known",
    "Line",
    "LineForm",
    "LineTables",
    "Measure",
    "Outlet",
    "Proposal",
    "Terrain",
    "Waterway",
    "Works",
    "accept_vetoes",
    "below",
    "catalogue",
    "days_owed",
    "draw",
    "ground",
    "lay_out",
    "line_tables",
    "measure_names",
    "order_of_work",
    "propose",
    "ruled_out",
    "safe_if",
    "safe_outlets",
    "slope_for_limits",
    "soil",
    "structure_names",
    "waiting",
    "waterway",
    "work_sites",
]
