"""Distances and times between points, by several ways; demos and visits use them.

The pipeline hands in points in metres of one map projection, and hands links on: to
:class:`districtplan.demos.Reach`, whose rows are the starts and whose sites are the ends.
"""

from __future__ import annotations

from districtplan.travel.foot import Ground, on_foot
from districtplan.travel.links import Links, straight
from districtplan.travel.modes import (
    Modes,
    Riding,
    beyond,
    by_modes,
    path_minutes,
    straight_minutes,
)
from districtplan.travel.paths import by_paths
from districtplan.travel.ridden import Ridden, Walks, ride_and_walk
from districtplan.travel.terrain import Land, land, off
from districtplan.travel.walking import Walking

__all__ = [
    "Ground",
    "Land",
    "Links",
    "Modes",
    "Ridden",
    "Riding",
    "Walking",
    "Walks",
    "beyond",
    "by_modes",
    "by_paths",
    "land",
    "off",
    "on_foot",
    "path_minutes",
    "ride_and_walk",
    "straight",
    "straight_minutes",
]
