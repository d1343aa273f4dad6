"""What is built against soil loss on a hillside: work sites, outlets, lines, order of work."""

from __future__ import annotations

from districtplan.conservation.sites import work_sites

__all__ = ["work_sites"]
