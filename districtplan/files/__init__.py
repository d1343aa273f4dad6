"""The edges: the only code that opens users' files and writes results.

The guard stands in the package's own import, before any of its modules can load GDAL.
"""

from __future__ import annotations

from districtplan.files import gdal_guard

__all__ = ["gdal_guard"]
