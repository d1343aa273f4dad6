from __future__ import annotations

import os
import subprocess
import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from districtplan.files.gdal_guard import CLEARED, SETTINGS

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

READ_ALL = """
import sys
from datetime import date
from pathlib import Path
{first}
from districtplan.errors import InputError
from districtplan.files.plan_file import PlanFile
from districtplan.files.raster import Raster
from districtplan.files.vector import read_plots
from districtplan.plan import District, Elevation, Files, Plan

folder = Path(sys.argv[1])
refused = 0
for name in sys.argv[2:]:
    plan = Plan(
        district=District(name="A", planting_date=date(2026, 3, 15)),
        files=Files(plots=name, elevation=[name]),
        elevation=Elevation(vertical_error_m=0.0, error_correlation_m=0.0),
    )
    for read in (read_plots, Raster):
        try:
            read(PlanFile(plan, folder / "plan.toml", folder))
        except InputError as error:
            assert error.faults[0].remedy
            refused += 1
print("refused", refused)
"""


@pytest.fixture
def server():
    """A loopback server that counts what is asked of it."""

    class Counter(BaseHTTPRequestHandler):
        hits: list[str] = []  # noqa: RUF012  # one server, one list

        def do_GET(self):
            self.hits.append(self.path)
            self.send_error(404)

        do_HEAD = do_GET  # noqa: N815  # the library looks for this name

        def log_message(self, *_):
            pass

    Counter.hits = []
    with ThreadingHTTPServer(("127.0.0.1", 0), Counter) as running:
        thread = threading.Thread(target=running.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{running.server_port}", Counter.hits
        running.shutdown()
        thread.join()


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


@pytest.mark.parametrize("first", ["", "import rasterio, pyogrio; pyogrio.list_drivers()"])
def test_no_hostile_input_reaches_the_network(first, server, tmp_path):
    url, hits = server
    for name, text in (HOSTILE_RASTERS | HOSTILE_PLOTS).items():
        (tmp_path / name).write_text(text.format(url=url))
    names = [*HOSTILE_RASTERS, *HOSTILE_PLOTS, *(each.format(url=url) for each in ADDRESSES)]
    done = python(READ_ALL.format(first=first), str(tmp_path), *names)
    assert done.stdout.split() == ["refused", str(2 * len(names))]
    assert hits == []


@pytest.mark.parametrize(
    ("name", "text", "read"),
    [
        ("vrt.tif", VRT, "import rasterio; rasterio.open(sys.argv[1]).read()"),
        ("vrt.geojson", OGR_VRT, "import pyogrio; pyogrio.read_info(sys.argv[1])"),
        ("linked.geojson", LINKED, "import pyogrio; pyogrio.read_info(sys.argv[1])"),
    ],
)
def test_the_counter_sees_a_hit(name, text, read, server, tmp_path):
    """The same files, read without any guard, do reach the server."""
    url, hits = server
    (tmp_path / name).write_text(text.format(url=url))
    code = f"import sys, contextlib\nwith contextlib.suppress(Exception):\n    {read}"
    python(code, str(tmp_path / name))
    assert hits


def test_guard_stands_before_gdal_and_skips_its_drivers():
    code = """
import districtplan.files, pyogrio, rasterio
from districtplan.files.gdal_guard import SKIPPED
with rasterio.Env() as env:
    assert not set(SKIPPED) & (set(env.drivers()) | set(pyogrio.list_drivers()))
    assert "GTiff" in env.drivers()
assert {"GPKG", "ESRI Shapefile", "FlatGeobuf"} <= set(pyogrio.list_drivers())
"""
    assert python(code).stderr == ""


def test_folders_of_another_installation_do_no_harm(tmp_path):
    code = """
import districtplan.files, pyproj, rasterio.crs, pyogrio
assert pyproj.CRS("EPSG:32736").is_projected
assert rasterio.crs.CRS.from_epsg(32736).is_projected
"""
    python(code, **dict.fromkeys(CLEARED, str(tmp_path)))
