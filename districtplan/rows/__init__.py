"""Rows: how their lines are set out on the ground."""

from __future__ import annotations

from districtplan.rows.pocket import pocket_table
from districtplan.rows.setting_out import Rules, Site, Walk, set_out

__all__ = ["Rules", "Site", "Walk", "pocket_table", "set_out"]
