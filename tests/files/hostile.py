"""Files that lead to a network, and a fresh process to open them in."""

from __future__ import annotations

import os
import subprocess
import sys

from districtplan.files.gdal_guard import SETTINGS

VRT = """<VRTDataset rasterXSize="4" rasterYSize="4"><SRS>EPSG:32736</SRS>
<GeoTransform>0, 10, 0, 0, 0, -10</GeoTransform><VRTRasterBand dataType="Float32" band="1">
<SimpleSource><SourceFilename relativeToVRT="0">/vsicurl/{url}/a.tif</SourceFilename>
<SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>"""
OGR_VRT = """<OGRVRTDataSource><OGRVRTLayer name="plots">
<SrcDataSource>/vsicurl/{url}/a.geojson</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"""
WMS = """<GDAL_WMS><Service name="TMS"><ServerUrl>{url}/${{z}}/${{x}}/${{y}}.png</ServerUrl>
</Service><DataWindow><UpperLeftX>0</UpperLeftX><UpperLeftY>10</UpperLeftY>
<LowerRightX>10</LowerRightX><LowerRightY>0</LowerRightY><SizeX>4</SizeX><SizeY>4</SizeY>
</DataWindow><Projection>EPSG:32736</Projection><BandsCount>1</BandsCount></GDAL_WMS>"""
WCS = "<WCS_GDAL><ServiceURL>{url}/?</ServiceURL><CoverageName>x</CoverageName></WCS_GDAL>"
WFS = "<OGRWFSDataSource><URL>{url}/wfs</URL></OGRWFSDataSource>"
LINKED = """{{"type": "FeatureCollection", "crs": {{"type": "link", "properties":
{{"href": "{url}/crs", "type": "proj4"}}}}, "features": [{{"type": "Feature", "properties":
{{"plot_id": "1", "village": "V"}}, "geometry": {{"type": "Polygon", "coordinates":
[[[0,0],[1,0],[1,1],[0,0]]]}}}}]}}"""
NETWORK_LINK = """<kml xmlns="http://www.opengis.net/kml/2.2"><NetworkLink><Link>
<href>{url}/a.kml</href></Link></NetworkLink></kml>"""

HOSTILE_RASTERS = {"vrt.tif": VRT, "wms.tif": WMS, "wcs.tif": WCS, "vrt.asc": VRT}
HOSTILE_PLOTS = {
    "vrt.geojson": OGR_VRT,
    "vrt.gpkg": OGR_VRT,
    "vrt.kml": OGR_VRT,
    "vrt.fgb": OGR_VRT,
    "vrt.shp": OGR_VRT,
    "wfs.gpkg": WFS,
    "wfs.kml": WFS,
    "linked.geojson": LINKED,
    "link.kml": NETWORK_LINK,
}
ADDRESSES = [
    "/vsicurl/{url}/a.gpkg",
    "/vsizip//vsicurl/{url}/a.zip/a.gpkg",
    "{url}/a.gpkg",
    "WFS:{url}/wfs",
    "vrt://{url}/a.tif",
]


def python(code, *arguments, **environment):
    clean = {name: value for name, value in os.environ.items() if name not in SETTINGS}
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        env=clean | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
        | environment,
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done
