"""The rows stage: guide lines for rows on land that bends."""

from __future__ import annotations

from districtplan.rows.guides import Guides, guide_lines
from districtplan.rows.ladder import KINDS

__all__ = ["KINDS", "Guides", "guide_lines"]
