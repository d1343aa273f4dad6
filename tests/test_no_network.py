"""Every command on every kind of hostile input, beside a server that counts what is asked of it.

A process of its own runs the command line, since what C code opens is seen by no patch of sockets.
"""

from __future__ import annotations

import json
import sqlite3
import zipfile

import pyarrow.parquet as pq
import pytest
import rasterio

from tests.conftest import small_district, write_district
from tests.files.hostile import (
    ADDRESSES,
    HOSTILE_PLOTS,
    HOSTILE_RASTERS,
    NETWORK_LINK,
    VRT,
    python,
)
from tests.files.stored import store

ENTITY = '<!DOCTYPE {kind} [<!ENTITY x SYSTEM "{url}/entity">]><{kind}>&x;</{kind}>'
STYLED = """<Style id="s"><IconStyle><Icon><href>{url}/icon.png</href></Icon></IconStyle></Style>
<GroundOverlay><Icon><href>{url}/overlay.png</href></Icon></GroundOverlay><Folder>"""
SIDECAR = """<PAMDataset><PAMRasterBand band="1"><Metadata domain="OVERVIEWS">
<MDI key="OVERVIEW_FILE">/vsicurl/{url}/o.tif</MDI></Metadata></PAMRasterBand></PAMDataset>"""
VIEW = """create view plots as select fid, geom, village, ogr_geocode('x', 'geometry',
'QUERY_TEMPLATE={url}/q?%s') as plot_id, gdal_get_pixel_value('/vsicurl/{url}/a.tif', 1, 'pixel',
0, 0) as z from base"""
SPECIAL = ("entity.kml", "entity.gpx", "link.kmz", "view.gpkg")
BESIDE = ("readings", "features", "enrolment", "villages", "village_names", "handbook", "soils")

COMMANDS = """
import contextlib, io, json, sys
from districtplan import cli
codes = []
for typed in json.loads(sys.argv[1]):
    sys.argv = ["districtplan", *typed]
    said = io.StringIO()
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(said):
        try:
            cli.main()
            codes.append([0, ""])
        except SystemExit as stop:
            codes.append([stop.code or 0, said.getvalue()])
print(json.dumps(codes))
"""


def told(commands):
    """Run commands in a fresh process: the exit code of each, and what it said."""
    done = python(COMMANDS, json.dumps([[str(word) for word in each] for each in commands]))
    return json.loads(done.stdout.splitlines()[-1])


@pytest.fixture
def district(tmp_path, server):
    """Write a sound district, and hostile files beside it; give a maker of plans."""
    url, _ = server
    plots, raster = small_district()
    plan = write_district(tmp_path, plots, raster)
    text = plan.read_text()
    for name, content in (HOSTILE_RASTERS | HOSTILE_PLOTS).items():
        (tmp_path / name).write_text(content.format(url=url))
    refused_plots(tmp_path, plots, url)
    taken_plots(tmp_path, plots.to_crs(4326), url)
    taken_raster(tmp_path, url)

    def make(number, section="files", **keys):
        told = text
        for key, value in keys.items():
            lines = [line for line in told.splitlines() if not line.startswith(f"{key} =")]
            lines.insert(lines.index(f"[{section}]") + 1, f"{key} = {json.dumps(value)}")
            told = "\n".join(lines) + "\n"
        path = tmp_path / f"plan{number}.toml"
        path.write_text(told)
        return path

    return make


def refused_plots(folder, plots, url):
    for kind in ("kml", "gpx"):
        (folder / f"entity.{kind}").write_text(ENTITY.format(kind=kind, url=url))
    with zipfile.ZipFile(folder / "link.kmz", "w") as archive:
        archive.writestr("doc.kml", NETWORK_LINK.format(url=url))
    plots.to_file(folder / "view.gpkg", layer="base", driver="GPKG")
    base = sqlite3.connect(folder / "view.gpkg")
    base.execute(VIEW.format(url=url))
    base.execute("update gpkg_contents set table_name = 'plots', identifier = 'plots'")
    base.execute(
        "insert into gpkg_geometry_columns values ('plots', 'geom', 'POLYGON', 32736, 0, 0)"
    )
    base.execute("delete from gpkg_geometry_columns where table_name = 'base'")
    base.commit()
    base.close()


def taken_plots(folder, plots, url):
    """Files that are read, in which addresses stand where nothing follows them."""
    store(folder / "styled.kml", plots)
    styled = (folder / "styled.kml").read_text(encoding="utf-8")
    (folder / "styled.kml").write_text(styled.replace("<Folder>", STYLED.format(url=url), 1))
    hostile = plots.copy()
    hostile.loc[0, "plot_id"], hostile.loc[1, "village"] = f"{url}/id", f'=WEBSERVICE("{url}/v")'
    store(folder / "cells.csv", hostile)
    lines = (folder / "cells.csv").read_text().splitlines()
    lines += [f"X1,Low,/vsicurl/{url}/a.geojson", f"X2,Low,<x href='{url}/wkt'/>"]
    (folder / "cells.csv").write_text("\n".join(lines))
    store(folder / "schema.parquet", plots)
    table = pq.read_table(folder / "schema.parquet")
    about = json.loads(table.schema.metadata[b"geo"])
    about["columns"]["geometry"]["crs"]["$schema"] = f"{url}/schema.json"
    pq.write_table(
        table.replace_schema_metadata({b"geo": json.dumps(about).encode()}),
        folder / "schema.parquet",
    )
    store(folder / "beside.shp", plots)
    (folder / "beside.shp.xml").write_text(SIDECAR.format(url=url))
    (folder / "beside.qpj").write_text(f"{url}/crs")
    (folder / "beside.qix").write_text(f"/vsicurl/{url}/index")


def taken_raster(folder, url):
    """The sound raster, with what lies beside rasters and in their own metadata led elsewhere."""
    with rasterio.open(folder / "dem.tif", "r+") as file:
        file.update_tags(ns="OVERVIEWS", OVERVIEW_FILE=f"/vsicurl/{url}/o.tif")
        file.update_tags(1, ns="OVERVIEWS", OVERVIEW_FILE=f"/vsicurl/{url}/o.tif")
    (folder / "dem.tif.aux.xml").write_text(SIDECAR.format(url=url))
    for suffix in (".ovr", ".msk"):
        (folder / f"dem.tif{suffix}").write_text(VRT.format(url=url))
    (folder / "dem.tfw").write_text(f"/vsicurl/{url}/world")
    (folder / "dem.prj").write_text(f"{url}/crs")


@pytest.mark.parametrize(
    "few", [True, pytest.param(False, marks=pytest.mark.slow)], ids=["few", "all"]
)
def test_no_command_reaches_the_network_and_the_counter_would_see_it(
    district, server, tmp_path, few
):
    """Few of them go all the way each time; that GDAL's door is shut has tests of its own."""
    url, hits = server
    addresses = ADDRESSES[:1] if few else ADDRESSES
    bad = [*HOSTILE_PLOTS, *(each.format(url=url) for each in addresses)]
    bad += SPECIAL
    plans = [district(at, plots=name) for at, name in enumerate(bad)]
    rasters = [*HOSTILE_RASTERS, *(each.format(url=url) for each in addresses)]
    plans += [district(100 + at, elevation=[name]) for at, name in enumerate(rasters)]
    other = [f"{url}/x.csv", "link.kml"]
    plans += [
        district(200 + 10 * at + way, **{key: name})
        for at, key in enumerate(BESIDE)
        for way, name in enumerate(other[:1] if few else other)
    ]
    plans += [
        district(300, section="elevation", reference_land="link.kml"),
        district(301, plots_crs=f"{url}/crs"),
    ]
    commands = [("check", plan) for plan in plans]
    commands += [("run", plans[0], "--out", tmp_path / "refused"), ("explain", plans[1], "K00")]
    commands += [("sources", district(302, handbook=f"{url}/tables"))]
    drafts = [*HOSTILE_PLOTS, *SPECIAL]
    commands += [
        ("new", tmp_path / f"new{at}", "--from", tmp_path / name) for at, name in enumerate(drafts)
    ]
    commands += [("new", tmp_path / "new", "--from", each.format(url=url)) for each in addresses]
    refused = told(commands)
    assert hits == []
    odd = [
        (typed, code, said)
        for typed, (code, said) in zip(commands, refused, strict=True)
        if code != 2 or "Traceback" in said
    ]
    assert odd == []
    taken = [
        ("run", district(400, plots="styled.kml"), "--out", tmp_path / "run"),
        ("check", district(401, plots="cells.csv", plots_crs="EPSG:4326")),
        ("explain", district(402, plots="schema.parquet"), "K00"),
        ("check", district(403, plots="beside.shp")),
        ("new", tmp_path / "drafted", "--from", tmp_path / "cells.csv"),
    ]
    assert [(code, said) for code, said in told(taken) if code != 0] == []
    assert hits == []
    # The counter sees what these files ask for where nothing guards the door.
    code = "import sys, rasterio\nwith rasterio.open(sys.argv[1]) as file: file.overviews(1)"
    python(f"import contextlib\nwith contextlib.suppress(Exception):\n    exec({code!r})",
           str(tmp_path / "dem.tif"))  # fmt: skip
    assert any(path.endswith(("o.tif", "a.tif")) for path in hits)
    before = len(hits)
    python("import sys, contextlib, pyogrio\nwith contextlib.suppress(Exception):\n"
           "    pyogrio.read_info(sys.argv[1])", str(tmp_path / "vrt.geojson"))  # fmt: skip
    assert len(hits) > before
