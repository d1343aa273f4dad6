"""Rows: how many each plot takes, how long they are, what guides them, how they are set out."""

from __future__ import annotations

from districtplan.rows.around import Around
from districtplan.rows.control import Pegs, Rows, control_pegs, first_long
from districtplan.rows.corner import Tie
from districtplan.rows.drain import EITHER, FLAGS, SIDES, drain
from districtplan.rows.draw import draw
from districtplan.rows.ends import INSIDE, NOT_KNOWN, REFUSED, SAFE
from districtplan.rows.guides import GUIDE_FLAGS, Guides, guide_lines
from districtplan.rows.ladder import KINDS, STANDING
from districtplan.rows.land import Clear, areas
from districtplan.rows.lay import Laid, by_area, lay, with_curved
from districtplan.rows.low_places import LOW_PLACE_FLAGS, low_places
from districtplan.rows.pegs import spaces
from districtplan.rows.pocket import pocket_table
from districtplan.rows.setting_out import Course, Rules, Site, Walk, set_out
from districtplan.rows.standing import with_standing
from districtplan.rows.strips import DRAWN, Running, strips
from districtplan.rows.wet import beside_water

__all__ = [
    "DRAWN",
    "EITHER",
    "FLAGS",
    "GUIDE_FLAGS",
    "INSIDE",
    "KINDS",
    "LOW_PLACE_FLAGS",
    "NOT_KNOWN",
    "REFUSED",
    "SAFE",
    "SIDES",
    "STANDING",
    "Around",
    "Clear",
    "Course",
    "Guides",
    "Laid",
    "Pegs",
    "Rows",
    "Rules",
    "Running",
    "Site",
    "Tie",
    "Walk",
    "areas",
    "beside_water",
    "by_area",
    "control_pegs",
    "drain",
    "draw",
    "first_long",
    "guide_lines",
    "lay",
    "low_places",
    "pocket_table",
    "set_out",
    "spaces",
    "strips",
    "with_curved",
    "with_standing",
]
