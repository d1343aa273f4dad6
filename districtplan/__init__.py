"""Plan a season of hand-planted beans on sloping land.

Start with :mod:`districtplan.pipeline`: :func:`~districtplan.pipeline.find` works a plan out and
:func:`~districtplan.pipeline.run` writes it.
"""

from __future__ import annotations

from importlib.metadata import version

from districtplan.files import gdal_guard

__all__ = ["__version__", "gdal_guard"]

__version__ = version("districtplan")
