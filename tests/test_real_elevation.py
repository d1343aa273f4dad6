"""The whole job on a real elevation raster, against independent oracles."""

from __future__ import annotations

import os
import shutil
import subprocess

import exactextract
import geopandas as gpd
import numpy as np
import pytest
import rasterio
from pyproj import CRS

from districtplan import pipeline
from districtplan.coverage import Cells
from districtplan.grid import Grid
from districtplan.terrain.gradient import Block, gradients
from tests import real_elevation


@pytest.fixture(scope="module")
def in_metres(tmp_path_factory):
    folder = tmp_path_factory.mktemp("metres")
    real_elevation.write(folder, metres=True)
    return folder


@pytest.fixture(scope="module")
def plots(in_metres):
    found = pipeline.find(in_metres / "plan.toml")
    return gpd.GeoDataFrame(found.plots, crs=found.plots_crs)


@pytest.fixture(scope="module")
def gdaldem():
    found = shutil.which("gdaldem")
    if found is None and os.environ.get("CI"):
        pytest.fail("gdaldem isn't installed: Debian package gdal-bin")
    if found is None:
        pytest.skip("gdaldem isn't installed")
    return found


def grid_of(file: rasterio.DatasetReader) -> Grid:
    left, top, cell = file.bounds.left, file.bounds.top, file.transform.a
    return Grid(left, top, cell, cell, file.height, file.width, CRS.from_epsg(real_elevation.UTM))


def every_interior_cell(rows: int, columns: int) -> Cells:
    row, column = np.mgrid[1 : rows - 1, 1 : columns - 1].reshape(2, -1)
    zero = np.zeros(1, dtype=np.int64)
    return Cells(zero, np.zeros(len(row), dtype=np.int64), row, column, np.ones(len(row)))


def test_slope_equals_gdaldem(in_metres, gdaldem, tmp_path):
    """Oracle: GDAL's gdaldem, Horn's slope in percent, on every interior cell."""
    slope_file = tmp_path / "slope.tif"
    subprocess.run(
        [gdaldem, "slope", "-p", "-q", in_metres / "elevation.tif", slope_file],
        check=True,
        env={k: v for k, v in os.environ.items() if not k.startswith(("PROJ", "GDAL", "OGR"))},
    )
    with rasterio.open(slope_file) as file:
        expected = file.read(1)[1:-1, 1:-1].ravel()
    with rasterio.open(in_metres / "elevation.tif") as file:
        heights, grid = file.read(1), grid_of(file)
    cells = every_interior_cell(*heights.shape)
    ground = gradients(Block(np.pad(heights, 1, constant_values=np.nan), 0, 0), cells, grid)
    ours = 100 * np.hypot(ground.east, ground.north)
    known = expected != -9999
    assert known.sum() > 100_000
    assert np.array_equal(known, ~np.isnan(ours))
    assert np.abs(ours[known] - expected[known]).max() < 0.01


@pytest.mark.slow
def test_200_random_plots_against_independent_oracles(in_metres, plots):
    """Slope and cells by exactextract over gradients taken here; bearing by 1,800 tries."""
    table = plots.sample(200, random_state=np.random.default_rng(11))
    with rasterio.open(in_metres / "elevation.tif") as file:
        z = file.read(1).astype(np.float64)
        profile, cell = file.profile, file.transform.a
    east = np.full(z.shape, np.nan)
    north = np.full(z.shape, np.nan)
    up, down, mid = z[:-2], z[2:], z[1:-1]
    east[1:-1, 1:-1] = (
        (up[:, 2:] - up[:, :-2]) + 2 * (mid[:, 2:] - mid[:, :-2]) + (down[:, 2:] - down[:, :-2])
    ) / (8 * cell)
    north[1:-1, 1:-1] = (
        (up[:, :-2] + 2 * up[:, 1:-1] + up[:, 2:])
        - (down[:, :-2] + 2 * down[:, 1:-1] + down[:, 2:])
    ) / (8 * cell)
    profile.update(dtype="float64", nodata=np.nan)
    layers = {"slope": 100 * np.hypot(east, north), "east": east, "north": north, "height": z}
    found = {}
    for name, values in layers.items():
        path = in_metres / f"{name}.tif"
        with rasterio.open(path, "w", **profile) as file:
            file.write(values, 1)
        found[name] = exactextract.exact_extract(
            str(path), table[["geometry"]], ["values", "coverage", "mean", "count"], output="pandas"
        )
    bearings = np.arange(1800) / 10
    turn = np.radians(bearings)
    for i, plot in enumerate(table.itertuples()):
        weight = found["slope"]["coverage"][i]
        assert plot.cells == pytest.approx(found["slope"]["count"][i], abs=1e-4)
        assert plot.slope_mean_pct == pytest.approx(found["slope"]["mean"][i], abs=1e-4)
        assert plot.elevation_mean_m == pytest.approx(found["height"]["mean"][i], abs=1e-3)
        if plot.row_method not in ("straight", "guide lines"):
            continue
        grade = np.outer(np.sin(turn), found["east"]["values"][i]) + np.outer(
            np.cos(turn), found["north"]["values"][i]
        )
        best = bearings[np.argmin((weight * grade**2).sum(axis=1))]
        # The raster lies on the district's own UTM zone: grid bearings compare directly.
        apart = abs(best - plot.row_bearing_grid_deg) % 180
        assert min(apart, 180 - apart) <= 0.06


@pytest.mark.slow
def test_every_output_is_written(in_metres, plots):
    pipeline.run(in_metres / "plan.toml", in_metres / "run")
    written = gpd.read_parquet(in_metres / "run" / "plots.parquet")
    assert written["plot_id"].tolist() == plots["plot_id"].tolist()
    assert list((in_metres / "run" / "sheets").glob("*.pdf"))


@pytest.mark.slow
def test_degrees_and_metres_tell_the_same_story(plots, tmp_path):
    plan = real_elevation.write(tmp_path, metres=False)
    degrees = pipeline.find(plan).plots.set_index("plot_id")
    metres = plots.set_index("plot_id")
    both = degrees.index.intersection(metres.index)
    assert len(both) > 200
    apart = (degrees.loc[both, "slope_mean_pct"] - metres.loc[both, "slope_mean_pct"]).abs()
    assert apart.median() < 1.0
    turned = (
        degrees.loc[both, "row_bearing_true_deg"] - metres.loc[both, "row_bearing_true_deg"]
    ).abs() % 180
    assert np.minimum(turned, 180 - turned).median() < 2.0
    assert degrees.loc[both, "area_ha"].to_numpy() == pytest.approx(
        metres.loc[both, "area_ha"].to_numpy(), rel=1e-9
    )
