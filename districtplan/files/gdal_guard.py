"""Settings that must stand before GDAL and PROJ load.

The package imports this before any of its modules can load them. It is the second lock on the
door: the first is that files are known by their first bytes and opened by one named driver
from a plain local path, since a caller may have loaded GDAL before us.
"""

from __future__ import annotations

import os

# A folder of another installation, named here by a user's shell, breaks the wheels' own data.
CLEARED = ("PROJ_DATA", "PROJ_LIB", "GDAL_DATA", "GDAL_DRIVER_PATH", "GDAL_CONFIG_FILE")

# Drivers that read other files (vector ones too: OGR_SKIP is but an older name of GDAL_SKIP),
# fetch from a network or write beside what they read.
# Not VRT: rasters are opened by one named driver here, and a caller's own warping needs it.
SKIPPED = (
    "OGR_VRT",
    "GTI",
    "GDALG",
    "DERIVED",
    "HTTP",
    "WMS",
    "WMTS",
    "WCS",
    "WFS",
    "CSW",
    "OAPIF",
    "OGCAPI",
    "DAAS",
    "EEDA",
    "EEDAI",
    "NGW",
    "PLMOSAIC",
    "PLSCENES",
    "STACTA",
    "STACIT",
    "MRF",
    "ADBC",
    "AIVector",
    "AmigoCloud",
    "Carto",
    "Elasticsearch",
    "GML",
)

SETTINGS = {
    "PROJ_NETWORK": "OFF",
    "GDAL_SKIP": ",".join(SKIPPED),
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "none",
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
    "GDAL_PAM_ENABLED": "NO",
}


def _set() -> None:
    for name in CLEARED:
        os.environ.pop(name, None)
    os.environ.update(SETTINGS)


_set()
