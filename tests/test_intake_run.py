"""Plots as districts have them, through the whole run by command."""

from __future__ import annotations

import csv
import io
import json
import re

import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import CRS, Transformer

from districtplan import pipeline
from tests.conftest import small_district, square, write_district
from tests.files.stored import store
from tests.support import districtplan

WRITES = ("layers", "tables")
FOUND_ONCE = True

QUIET = '[sheets]\nplots = "none"\n'


def with_plots(plan, name, *keys):
    """The plan with another plots file, and further keys of its section of files."""
    text = plan.read_text().replace('plots = "plots.gpkg"', "\n".join([f'plots = "{name}"', *keys]))
    plan.write_text(text + QUIET)
    return plan


def rows_of(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


def as_walks(plots, path, *, accuracy=False):
    lines = ["plot_id,village,order,latitude,longitude" + (",accuracy_m" if accuracy else "")]
    for plot in plots.to_crs(4326).itertuples():
        for order, (x, y) in enumerate(list(plot.geometry.exterior.coords)[:-1]):
            end = ",4.5" if accuracy else ""
            lines.append(f"{plot.plot_id},{plot.village},{order},{y:.8f},{x:.8f}{end}")
    path.write_text("\n".join(lines))


def as_tracks(plots, path):
    tracks = ""
    for plot in plots.to_crs(4326).itertuples():
        points = "".join(
            f'<trkpt lat="{y:.8f}" lon="{x:.8f}"/>' for x, y in plot.geometry.exterior.coords
        )
        tracks += f"<trk><name>{plot.plot_id}</name><desc>{plot.village}</desc>"
        tracks += f"<trkseg>{points}</trkseg></trk>"
    path.write_text(f"<gpx>{tracks}</gpx>")


def as_circles(plots, path):
    lines = ["plot_id;village;latitude;longitude;area_ha"]
    for plot, middle in zip(plots.itertuples(), plots.geometry.centroid.to_crs(4326), strict=True):
        lines.append(f"{plot.plot_id};{plot.village};{middle.y:.8f};{middle.x:.8f};0,49")
    path.write_text("\n".join(lines).replace(".", ","))


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("plots.fgb", None),
        ("plots.parquet", None),
        ("plots.kml", None),
        ("plots.kmz", None),
        ("walks.csv", "drawn from walked points, accuracy 4.5 m as the device says"),
        ("tracks.gpx", "drawn from walked points"),
        ("circles.csv", "a circle of the stated area, not the plot's shape"),
    ],
)
def test_every_format_goes_through_the_whole_run(name, told, tmp_path):
    plots, raster = small_district()
    plan, path, keys = write_district(tmp_path, plots, raster), tmp_path / name, ()
    if name == "walks.csv":
        as_walks(plots, path, accuracy=True)
    elif name == "tracks.gpx":
        as_tracks(plots, path)
        keys = 'plot_id_column = "name"', 'village_column = "desc"'
    elif name == "circles.csv":
        as_circles(plots, path)
    else:
        store(path, plots.to_crs(4326))
    done = districtplan("run", with_plots(plan, name, *keys), "--out", tmp_path / "run")
    assert done.returncode == 0, done.stderr
    table = pd.read_parquet(tmp_path / "run" / "plots.parquet")
    assert sorted(table["plot_id"]) == sorted(plots["plot_id"])
    assert table["area_ha"].to_numpy() == pytest.approx(0.49, rel=2e-3)
    made = {row["outline_repair"] for row in rows_of(tmp_path / "run" / "outlines.csv")}
    assert made == (set() if told is None else made)
    if told is not None:
        assert all(told in each for each in made)
        assert len(rows_of(tmp_path / "run" / "outlines.csv")) == 12
    circles = table["flags"].str.contains("circle").fillna(value=False)
    assert circles.all() if name == "circles.csv" else not circles.any()


def test_a_wrong_zone_is_named(tmp_path):
    """The plots are of zone 36, and their file says 35."""
    plots, raster = small_district()
    plan = write_district(tmp_path, plots.set_crs(32735, allow_override=True), raster)
    done = districtplan("run", plan, "--out", tmp_path / "run")
    assert done.returncode == 2
    assert "would lie on it in WGS 84 / UTM zone 36S" in done.stderr
    assert "EPSG:32736" in done.stderr
    assert not (tmp_path / "run").exists()


def test_some_plots_of_a_wrong_zone_are_set_aside_and_told(tmp_path):
    """Two of twelve plots were typed in the next zone: they lie far away, and nothing else does."""
    plots, raster = small_district()
    away = Transformer.from_crs(32736, 32735, always_xy=True)
    for row in (2, 7):
        moved = shapely.transform(
            plots.geometry[row], lambda at: np.column_stack(away.transform(*at.T))
        )
        plots.loc[row, "geometry"] = moved
    done = districtplan("run", write_district(tmp_path, plots, raster), "--out", tmp_path / "run")
    assert done.returncode == 0
    aside = rows_of(tmp_path / "run" / "set_aside.csv")
    assert [row["plot_id"] for row in aside] == ["K02", "K07"]
    assert all(row["reason"] and row["remedy"] for row in aside)
    assert len(pd.read_parquet(tmp_path / "run" / "plots.parquet")) == 10


def test_a_plot_where_a_device_had_no_fix_stops_no_other(tmp_path):
    """One of twelve outlines was stored at longitude and latitude 0: no map fits there."""
    plots, raster = small_district()
    plan = write_district(tmp_path, plots, raster)
    placed = plots.to_crs(4326)
    placed.loc[4, "geometry"] = shapely.box(0, 0, 0.0005, 0.0005)
    store(tmp_path / "placed.gpkg", placed)
    done = districtplan("run", with_plots(plan, "placed.gpkg"), "--out", tmp_path / "run")
    assert done.returncode == 0, done.stderr
    (aside,) = rows_of(tmp_path / "run" / "set_aside.csv")
    assert aside["plot_id"] == "K04"
    assert aside["reason"]
    assert aside["remedy"]
    used = pd.read_parquet(tmp_path / "run" / "plots.parquet")
    assert sorted(used["plot_id"]) == sorted(set(plots["plot_id"]) - {"K04"})
    # Where the rest lies, nothing is other than without it.
    alone = pipeline.find(write_district(tmp_path / "alone", plots.drop(index=4), raster)).plots
    names = ["slope_mean_pct", "row_bearing_true_deg", "area_ha"]
    merged = used.merge(alone, on="plot_id", suffixes=("", "_alone"))
    assert merged[names].to_numpy() == pytest.approx(
        merged[[f"{name}_alone" for name in names]].to_numpy(), rel=1e-3, nan_ok=True
    )


def test_land_shared_with_a_plot_that_left_is_shared_no_more(tmp_path):
    plots, raster = small_district()
    x, y = 955.0, 0.0
    plots.loc[0, "geometry"] = square(raster, x, y, 80)
    plots.loc[1, "geometry"] = square(raster, x + 50, y, 80)
    plots.loc[3, "geometry"] = square(raster, x - 70, y, 80)
    found = pipeline.find(write_district(tmp_path, plots, raster))
    assert found.set_aside["plot_id"].tolist() == ["K01"]
    table = found.plots.set_index("plot_id")
    assert table["overlap_plots"].dropna().to_dict() == {"K00": "K03", "K03": "K00"}
    assert table.loc["K00", "overlap_ha"] == pytest.approx(0.08, rel=0.01)


def test_explain_tells_what_was_done_to_an_outline(tmp_path):
    plots, raster = small_district()
    corners = list(plots.geometry[0].exterior.coords)
    away = corners[1][0] + 30, corners[1][1] + 0.05
    plots.loc[0, "geometry"] = shapely.Polygon([corners[0], corners[1], away, *corners[1:]])
    plots.loc[3, "geometry"] = shapely.affinity.translate(plots.geometry[6], 5, 5)
    plan = write_district(tmp_path, plots, raster)
    told = " ".join(districtplan("explain", plan, "K00").stdout.split())
    assert re.search(
        r"it isn't as in the file: .*a spike was cut off.*; as given it had 0\.49", told
    )
    assert "give or take" in told
    told = " ".join(districtplan("explain", plan, "K03").stdout.split())
    assert "other plots cover 0.423 ha of it too: K06" in told
    told = " ".join(districtplan("explain", plan, "K01").stdout.split())
    assert "isn't as in the file" not in told


def test_a_southern_district_without_an_authority_code(tmp_path):
    """A map that no register knows, south of the equator, polygons partly off the raster."""
    crs = CRS(
        "+proj=utm +zone=25 +south +ellps=aust_SA +towgs84=-67.35,3.88,-38.22,0,0,0,0 +units=m"
        " +type=crs"
    )
    assert crs.to_authority() is None
    plots, raster = small_district()
    west, north = 288_000.0, 9_116_000.0
    grid = raster.grid
    moved = [
        shapely.affinity.translate(shape, west - grid.west, north - grid.north)
        for shape in plots.geometry
    ]
    # One mostly on the raster, one mostly off, one wholly off.
    edge = west + grid.columns * grid.cell_x
    for row, inside in ((1, 267), (2, 10), (4, -60)):
        moved[row] = shapely.box(edge - inside, north - 1000, edge - inside + 270, north - 930)
    plots = plots.set_geometry(moved).set_crs(crs, allow_override=True)
    plots.to_file(tmp_path / "plots.gpkg", driver="GPKG")
    with rasterio.open(
        tmp_path / "dem.tif", "w", driver="GTiff", width=grid.columns, height=grid.rows, count=1,
        dtype="float32", crs=crs.to_wkt(), nodata=-9999,
        transform=Affine(10, 0, west, 0, -10, north),
    ) as file:  # fmt: skip
        file.write(raster.heights.astype(np.float32), 1)
    reference = write_district(tmp_path / "reference", *small_district())
    plan = tmp_path / "plan.toml"
    plan.write_text(reference.read_text() + QUIET)
    done = districtplan("run", plan, "--out", tmp_path / "run")
    assert done.returncode == 0, done.stderr
    found = pd.read_parquet(tmp_path / "run" / "plots.parquet").set_index("plot_id")
    aside = rows_of(tmp_path / "run" / "set_aside.csv")
    assert [row["plot_id"] for row in aside] == ["K02", "K04"]
    assert "slopes for no part of the plot" in aside[1]["reason"]
    assert "partly_off_raster" in str(found.loc["K01", "terrain_flags"])
    assert 0.9 < found.loc["K01", "raster_share"] < 1
    # What lies alike on the same land is as in the reference district, but for the turn of the map.
    other = pipeline.find(reference).plots.set_index("plot_id")
    same = ["K00", "K03", "K06", "K11"]
    assert found.loc[same, "slope_mean_pct"].to_numpy() == pytest.approx(
        other.loc[same, "slope_mean_pct"].to_numpy(), rel=2e-3
    )
    settings = json.loads((tmp_path / "run" / "run.json").read_text(encoding="utf-8"))
    assert settings["counts"]["set_aside"] == 2
