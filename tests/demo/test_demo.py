from __future__ import annotations

import sqlite3
import time
import tomllib

import numpy as np
import pyogrio
import pytest
import shapely
from rasterio.io import MemoryFile

from districtplan import demo
from districtplan.demo import ground
from districtplan.plan import Plan


@pytest.fixture(scope="module")
def files():
    return demo.make()


@pytest.fixture(scope="module")
def plots(files, tmp_path_factory):
    path = tmp_path_factory.mktemp("demo") / "plots.gpkg"
    path.write_bytes(files["plots.gpkg"])
    return pyogrio.read_dataframe(path)


@pytest.fixture(scope="module")
def good(plots):
    usable = plots.geometry.is_valid & (plots.geometry.geom_type == "Polygon")
    named = plots.plot_id.notna() & (plots.village.fillna("").str.strip() != "")
    return plots[usable & named & ~plots.plot_id.duplicated() & (plots.area > 100)]


def test_same_seed_same_bytes(files):
    # Past a full second, so that a clock in a file's header would show.
    time.sleep(1.1)
    assert demo.make() == files


def test_another_seed_is_another_district(files):
    assert demo.make(2)["plots.gpkg"] != files["plots.gpkg"]


def test_small_enough_to_keep(files):
    assert len(files["elevation.tif"]) < 2_500_000
    assert sum(map(len, files.values())) < 4_000_000


def test_size_of_the_district(good):
    assert good.village.nunique() >= 14
    assert len(good) >= 640


def test_areas_are_a_smallholders(good):
    hectares = good.area / 10_000
    assert hectares.min() >= 0.05
    assert hectares.max() <= 1.2
    assert hectares.max() > 0.9


def test_outlines_are_not_rectangles(good):
    assert good.geometry.count_coordinates().min() > 5
    boxes = good.geometry.minimum_rotated_rectangle().area
    assert (good.area / boxes).median() < 0.95


def test_fields_do_not_overlap(good):
    inside = good[good.geometry.within(shapely.box(*_extent()))]
    first, second = inside.sindex.query(inside.geometry, predicate="overlaps")
    assert len(first) == len(second) == 0


def _extent():
    south = ground.NORTH_M - ground.ROWS * ground.CELL_M
    east = ground.WEST_M + ground.COLUMNS * ground.CELL_M
    return ground.WEST_M, south, east, ground.NORTH_M


def test_one_row_of_each_fault(plots):
    bad = plots.tail(9)
    assert not bad.geometry.iloc[0].is_valid
    assert (plots.plot_id == bad.plot_id.iloc[1]).sum() == 2
    assert bad.village.iloc[2].strip() == ""
    assert bad.geometry.iloc[3] is None
    assert bad.geometry.iloc[4].disjoint(shapely.box(*_extent()))
    assert bad.geometry.iloc[5].is_valid
    assert bad.geometry.iloc[5].area < 50
    assert bad.geometry.iloc[6].geom_type == "Point"
    assert bad.geometry.iloc[7].is_empty
    assert bad.plot_id.isna().iloc[8]
    assert plots.geometry.iloc[:-9].is_valid.all()


def test_readme_names_the_broken_rows(files, plots):
    text = files["README.txt"].decode()
    for row in range(len(plots) - 8, len(plots) + 1):
        assert f"row {row}: " in text
    assert f"{len(plots) - 9} fields" in text


def test_plan_is_a_plan(files):
    plan = Plan.model_validate(tomllib.loads(files["plan.toml"].decode()))
    assert plan.files.plots in files
    assert all(name in files for name in plan.files.elevation)
    assert plan.elevation.vertical_error_m == ground.VERTICAL_ERROR_M
    assert plan.elevation.error_correlation_m == ground.ERROR_CORRELATION_M


def test_fields_lie_on_flat_gentle_and_steep_ground(good):
    hills = ground.make(np.random.default_rng(demo.SEED))
    centres = np.stack([good.centroid.x, good.centroid.y], axis=1)
    slope = 100 * np.hypot(*hills.gradient(centres).T)
    shares = np.histogram(slope, [0, 1, 5, 12, 30, 1_000])[0] / len(slope)
    assert shares.min() > 0.04


def test_error_is_what_the_plan_says():
    # The survey less a smooth surface of the same formula is the error itself, so the noise is
    # taken from its source: standard deviation 1, correlation exp(-1/2) at one length.
    noise = ground._smooth_noise(np.random.default_rng(3), ground.ERROR_CORRELATION_M)
    assert noise.std() == pytest.approx(1)
    lag = int(ground.ERROR_CORRELATION_M / ground.CELL_M)
    assert np.mean(noise[:, lag:] * noise[:, :-lag]) == pytest.approx(np.exp(-0.5), abs=0.03)


def test_raster_reads_back(files):
    with MemoryFile(files["elevation.tif"]) as memory, memory.open() as raster:
        values = raster.read(1)
        assert raster.crs.to_epsg() == ground.EPSG
        assert raster.bounds == pytest.approx(_extent())
        assert raster.nodata == ground.NODATA
    assert values.dtype == np.float32
    assert (values == ground.NODATA).sum() == 1
    assert np.isfinite(values).all()


def test_hillside_gradient_points_uphill():
    hills = ground.make(np.random.default_rng(demo.SEED))
    # Far apart points of the survey rise along the gradient met at their middle.
    row, column = np.mgrid[40:520:40, 40:600:40]
    east = ground.WEST_M + (column.ravel() + 0.5) * ground.CELL_M
    north = ground.NORTH_M - (row.ravel() + 0.5) * ground.CELL_M
    slope = hills.gradient(np.stack([east, north], axis=1))
    rise = (
        hills.survey[row.ravel() - 2, column.ravel()]
        - hills.survey[row.ravel() + 2, column.ravel()]
    )
    assert np.corrcoef(slope[:, 1], rise)[0, 1] > 0.97


def test_geopackage_is_marked_as_one(files, tmp_path):
    path = tmp_path / "plots.gpkg"
    path.write_bytes(files["plots.gpkg"])
    with sqlite3.connect(path) as connection:
        assert connection.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
        rows = connection.execute("SELECT table_name FROM gpkg_contents").fetchall()
    connection.close()
    assert rows == [("plots",)]
