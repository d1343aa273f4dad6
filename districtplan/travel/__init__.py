"""Distances and times between points, three ways; demos and visits use them.

The pipeline hands in points in metres of one map projection, and hands links on: to
:class:`districtplan.demos.Reach`, whose rows are the starts and whose sites are the ends.
"""

from __future__ import annotations

from districtplan.travel.foot import Ground, on_foot
from districtplan.travel.links import Links, straight
from districtplan.travel.paths import by_paths
from districtplan.travel.terrain import Land, land
from districtplan.travel.walking import Walking

__all__ = ["Ground", "Land", "Links", "Walking", "by_paths", "land", "on_foot", "straight"]
