from __future__ import annotations

import pytest

from districtplan.files.gdal_guard import CLEARED
from tests.files.hostile import (
    ADDRESSES,
    HOSTILE_PLOTS,
    HOSTILE_RASTERS,
    LINKED,
    OGR_VRT,
    VRT,
    python,
)

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
