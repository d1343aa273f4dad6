"""What is built against soil loss on a hillside: work sites, outlets, lines, order of work."""

from __future__ import annotations

from districtplan.conservation.line_tables import LineTables, line_tables
from districtplan.conservation.order import days_owed, order_of_work, safe_if
from districtplan.conservation.outlets import Outlet, Waterway, safe_outlets, waterway
from districtplan.conservation.sites import work_sites
from districtplan.conservation.structure_lines import Drawn, Hillside, Line, LineForm, draw

__all__ = [
    "Drawn",
    "Hillside",
    "Line",
    "LineForm",
    "LineTables",
    "Outlet",
    "Waterway",
    "days_owed",
    "draw",
    "line_tables",
    "order_of_work",
    "safe_if",
    "safe_outlets",
    "waterway",
    "work_sites",
]
