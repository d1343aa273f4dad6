"""Rasters as districts have them, through the whole run: gaps, water, feet, south up."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pypdf
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import Transformer

from districtplan import pipeline
from districtplan.outputs import wording
from districtplan.outputs.texts import Texts
from tests.conftest import middle, square, surface_raster, write_district
from tests.support import districtplan

WRITES = ("pages", "layers", "gpx")

SLOPE_PCT = 12.0


def district(folder, heights=None):
    """Four plots on an even slope; give the plan and the raster."""
    raster = surface_raster(lambda x, y: 1800.2 + 0.12 * x + 0.001 * y)
    if heights is not None:
        raster.heights = heights(raster.heights)
    shapes = [square(raster, x, 0, 95) for x in (-600, -200, 200, 600)]
    frame = {"plot_id": ["A", "B", "C", "D"], "village": "Ostrabek"}
    plan = write_district(folder, gpd.GeoDataFrame(frame, geometry=shapes, crs=32736), raster)
    return plan, raster


def with_keys(plan, *keys):
    plan.write_text(plan.read_text() + "\n".join(keys) + "\n")
    return plan


def holed(heights):
    """A gap of three cells under plot B, of eight under plot C."""
    heights = heights.copy()
    heights[98:101, 79:82] = np.nan
    heights[96:104, 116:124] = np.nan
    return heights


def test_gaps_are_filled_as_far_as_asked_and_told(tmp_path):
    plan, _ = district(tmp_path, holed)
    as_is = pipeline.find(plan)
    assert as_is.plots["plot_id"].tolist() == ["A", "D"]
    asked = with_keys(plan, "voids_filled_max_m = 30", "[sheets]", 'plots = "all"')
    results = pipeline.run(asked, tmp_path / "run")
    plots = results.plots.set_index("plot_id")
    assert list(plots.index) == ["A", "B", "D"]
    assert results.set_aside["plot_id"].tolist() == ["C"]
    assert plots["heights_filled_share"].gt(0).tolist() == [False, True, False]
    assert plots["slope_mean_pct"].tolist() == pytest.approx([SLOPE_PCT] * 3, abs=0.01)
    texts = Texts.load("en")
    assert "1 of 3 plots rest on heights that were filled" in " ".join(
        wording.noticed(results, texts)
    )
    told = pd.read_parquet(tmp_path / "run" / "plots.parquet").set_index("plot_id")["flags"]
    assert "rest on heights filled in" in str(told["B"])
    assert "filled in" not in str(told["A"])
    pages = pypdf.PdfReader(tmp_path / "run" / "sheets" / "v001-ostrabek.pdf").pages
    printed = [" ".join(page.extract_text().split()) for page in pages]
    on_paper = [page for page in printed if "rests on heights filled in from its sides" in page]
    assert on_paper
    assert all(page.startswith("B Ostrabek") for page in on_paper)
    explained = districtplan("explain", plan, "B").stdout
    assert "rest on heights filled in" in " ".join(explained.split())


def test_feet_are_asked_for_and_converted_by_the_plan_alone(tmp_path):
    in_metres, _ = district(tmp_path / "m")
    in_feet, _ = district(tmp_path / "ft", lambda heights: heights / 0.3048)
    taken = pipeline.find(in_feet)
    assert "Are the heights in feet?" in " ".join(taken.warnings)
    assert taken.plots["slope_mean_pct"].iloc[0] == pytest.approx(SLOPE_PCT / 0.3048, abs=0.01)
    results = pipeline.find(with_keys(in_feet, 'vertical_unit = "foot"'))
    assert "in feet?" not in " ".join(results.warnings)
    expected = pipeline.find(in_metres).plots
    for column in ("slope_mean_pct", "row_bearing_true_deg", "elevation_mean_m"):
        np.testing.assert_allclose(results.plots[column], expected[column], rtol=1e-3)


def test_south_up_gives_what_north_up_gives(tmp_path):
    plan, raster = district(tmp_path)
    expected = pipeline.find(plan).plots
    grid = raster.grid
    with rasterio.open(
        tmp_path / "dem.tif", "w", driver="GTiff", width=grid.columns, height=grid.rows, count=1,
        dtype="float32", crs=grid.crs.to_wkt(),
        transform=Affine(10, 0, grid.west, 0, 10, grid.north - 10 * grid.rows),
    ) as file:  # fmt: skip
        file.write(raster.heights[::-1].astype(np.float32), 1)
    found = pipeline.find(plan).plots
    pd.testing.assert_frame_equal(found, expected)


def test_water_in_a_plot_is_no_slope(tmp_path):
    def lake(heights):
        heights = heights.copy()
        heights[:, 124:135] = 1829.03
        return heights

    plan, _ = district(tmp_path, lake)
    plots = pipeline.find(plan).plots.set_index("plot_id")
    assert plots["heights_level_share"].gt(0).tolist() == [False, False, True, False]
    assert plots.loc["C", "slope_mean_pct"] == pytest.approx(SLOPE_PCT, abs=0.7)
    assert "constant_heights" in plots.loc["C", "terrain_flags"]


def in_degrees(folder, metres):
    """The same hills on cells of about their size in degrees; give the plan."""
    plan = write_district(folder, *metres)
    to_degrees = Transformer.from_crs(32736, 4326, always_xy=True)
    grid = metres[1].grid
    east, south = grid.west + grid.columns * grid.cell_x, grid.north - grid.rows * grid.cell_y
    west, low, right, high = to_degrees.transform_bounds(grid.west, south, east, grid.north)
    cell = 1e-4
    longitude = np.arange(west, right, cell) + cell / 2
    latitude = np.arange(high, low, -cell) - cell / 2
    x, y = Transformer.from_crs(4326, 32736, always_xy=True).transform(
        *np.meshgrid(longitude, latitude)
    )
    with rasterio.open(
        folder / "dem.tif", "w", driver="GTiff", width=len(longitude), height=len(latitude),
        count=1, dtype="float32", crs="EPSG:4326", transform=Affine(cell, 0, west, 0, -cell, high),
    ) as file:  # fmt: skip
        middle_x, middle_y = middle(metres[1])
        file.write(hills(x - middle_x, y - middle_y).astype(np.float32), 1)
    return plan


def hills(x, y):
    return 1800.2 + 0.09 * x + 0.04 * y + 6 * np.sin(x / 250) * np.cos(y / 300)


def test_a_district_on_a_degree_raster_tells_what_one_in_metres_tells(tmp_path):
    # Where a degree of longitude is a seventh shorter than one of latitude, off the zone's middle.
    raster = surface_raster(hills, corner=(600_000.0, 6_600_000.0))
    places = [(x, y) for x in (-600, -200, 200, 600) for y in (-450, 0, 450)]
    frame = {"plot_id": [f"K{at:02d}" for at in range(12)], "village": "Ostrabek"}
    shapes = [square(raster, x, y, 95) for x, y in places]
    metres = gpd.GeoDataFrame(frame, geometry=shapes, crs=32736), raster
    every = "[sheets]", 'plots = "all"'
    flat = pipeline.find(with_keys(write_district(tmp_path / "m", *metres), *every))
    plan = with_keys(in_degrees(tmp_path / "d", metres), *every)
    done = pipeline.run(plan, tmp_path / "run")
    assert done.set_aside.empty
    told, same = (each.plots.set_index("plot_id") for each in (done, flat))
    assert told["slope_mean_pct"].to_numpy() == pytest.approx(same["slope_mean_pct"], abs=0.1)
    turn = told["row_bearing_true_deg"] - same["row_bearing_true_deg"]
    # Rows run both ways: 179 degrees and 1 degree are 2 degrees apart.
    assert ((turn + 90) % 180 - 90).abs().max() < 0.5
    assert told["row_method"].tolist() == same["row_method"].tolist() == ["straight"] * 12
    lengths = [
        each.row_lines.lines.assign(m=lambda rows: shapely.length(rows["geometry"].to_numpy()))
        .groupby("plot_id")["m"].sum()
        for each in (done, flat)
    ]  # fmt: skip
    assert lengths[0].to_numpy() == pytest.approx(lengths[1].to_numpy(), rel=0.01)
    rows = done.row_lines.lines
    fields = metres[0].set_index("plot_id").geometry[rows["plot_id"]].to_numpy()
    assert shapely.within(rows["geometry"].to_numpy(), shapely.buffer(fields, 0.01)).all()
    assert done.villages["holes"].tolist() == pytest.approx(flat.villages["holes"], rel=1e-3)
    made = {path.name for path in (tmp_path / "run").rglob("*")}
    assert made >= {"index.html", "v001-ostrabek.gpx", "v001-ostrabek.pdf"}
