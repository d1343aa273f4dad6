"""Where a run takes the raster's error from, and what it says of the raster's faults."""

from __future__ import annotations

import json
import re

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine

from districtplan import pipeline
from districtplan.errors import InputError
from districtplan.outputs import wording
from districtplan.outputs.texts import Texts
from tests.conftest import SMALL_PLAN, square, surface_raster, write_district
from tests.outputs.page_data import data_of, files_of
from tests.terrain.errors import correlated

WRITES = ("pages", "layers", "tables", "workbook")

SIGMA, LENGTH_M = 0.8, 20.0


def district(folder, elevation: str, raster=None):
    """Twelve small plots and four fields on an even slope with a known error; give the plan."""
    if raster is None:
        error = SIGMA * correlated(np.random.default_rng(20_260_408), 200, LENGTH_M / 10)
        raster = surface_raster(lambda x, y: 1800 + 0.1 * x + 0.05 * y + error)
    places = [(x, y) for x in (-700, -300, 100, 500) for y in (-600, -100, 400)]
    plots = gpd.GeoDataFrame(
        {"plot_id": [f"K{n:02d}" for n in range(12)], "village": "Ostrabek"},
        geometry=[square(raster, x, y, 45) for x, y in places],
        crs=32736,
    )
    plan = write_district(folder, plots, raster)
    plan.write_text(SMALL_PLAN.split("[elevation]")[0] + f"[elevation]\n{elevation}\n")
    fields = [square(raster, x, y, 420) for x in (-500, 500) for y in (-500, 500)]
    land = gpd.GeoDataFrame(geometry=fields, crs=32736).to_crs(4326)
    land.to_file(folder / "flat.geojson", driver="GeoJSON")
    return plan


def said(results) -> str:
    return " ".join(wording.noticed(results, Texts.load("en")))


def test_the_error_is_estimated_on_reference_land_and_used(tmp_path):
    plan = district(tmp_path, 'reference_land = "flat.geojson"')
    results = pipeline.run(plan, tmp_path / "run")
    elevation = results.plan.elevation
    assert elevation.vertical_error_m == pytest.approx(SIGMA, rel=0.15)
    assert elevation.error_correlation_m == pytest.approx(LENGTH_M, rel=0.3)
    assert "estimated on reference land" in said(results)
    assert "flat.geojson" in results.input_sha256
    told = json.loads((tmp_path / "run" / "run.json").read_text(encoding="utf-8"))
    assert told["error_estimate"]["vertical_error_m"] == elevation.vertical_error_m
    assert told["settings"]["elevation"]["vertical_error_m"] == elevation.vertical_error_m
    # The same error, stated, gives the same plots.
    stated = (
        f"vertical_error_m = {elevation.vertical_error_m!r}\n"
        f"error_correlation_m = {elevation.error_correlation_m!r}\n"
    )
    again = pipeline.find(district(tmp_path / "again", stated))
    pd.testing.assert_frame_equal(again.plots, results.plots)


def test_a_stated_error_wins_over_the_estimate(tmp_path):
    text = 'vertical_error_m = 3.0\nerror_correlation_m = 50.0\nreference_land = "flat.geojson"'
    results = pipeline.find(district(tmp_path, text))
    assert results.plan.elevation.vertical_error_m == 3.0
    assert "The plan states 3 m over 50 m, which was used." in said(results)


def test_land_that_cannot_tell_stops_the_run(tmp_path):
    plan = district(tmp_path, 'reference_land = "flat.geojson"')
    small = gpd.read_file(tmp_path / "flat.geojson").to_crs(32736)
    small["geometry"] = small.centroid.buffer(20)
    small.to_crs(4326).to_file(tmp_path / "flat.geojson", driver="GeoJSON")
    with pytest.raises(InputError, match=r"flat\.geojson: has no land with enough cells"):
        pipeline.find(plan)


def test_a_source_gives_the_error(tmp_path):
    results = pipeline.find(district(tmp_path, 'source = "AW3D30"'))
    rows = results.handbook.rows("elevation_errors").set_index("name")
    assert results.plan.elevation.vertical_error_m == rows.loc["AW3D30", "vertical_error_m"]
    assert "The heights are from: AW3D30." in said(results)
    assert "tree tops and roofs" in said(results)


def test_the_hillside_is_told_wherever_a_plot_is(tmp_path):
    plan = district(tmp_path, "vertical_error_m = 0.8\nerror_correlation_m = 20")
    results = pipeline.run(plan, tmp_path / "run")
    plots = results.plots.set_index("plot_id")
    assert (plots["row_method"] == "measure on the ground").all()
    # The slope falls to the west-south-west, 11.2 % steep.
    assert plots["hillside_slope_pct"].median() == pytest.approx(11.2, abs=1)
    assert plots["hillside_downslope_true_deg"].median() == pytest.approx(243.4, abs=6)
    sentence = re.compile(r"hillside around the plot falls to the (south-)?west, about 1\d m in")
    page = data_of(files_of(tmp_path / "run"))
    assert any(sentence.search(text) for text in page["plots"]["texts"])
    book = openpyxl.load_workbook(tmp_path / "run" / "district.xlsx", read_only=True)
    head, first, *_ = book["Plots"].iter_rows(values_only=True)
    row = dict(zip(head, first, strict=True))
    assert row["Slope of the hillside, not the plot's [%]"] == pytest.approx(
        plots["hillside_slope_pct"].iloc[0]
    )
    assert sentence.search(row["Flags"])
    assert row["Row bearing, true [°]"] is None
    table = gpd.read_parquet(tmp_path / "run" / "plots.parquet")
    assert table["terrain_flags"].str.contains("hillside_falls").all()


def test_explain_tells_the_hillside(tmp_path):
    plan = district(tmp_path, "vertical_error_m = 0.8\nerror_correlation_m = 20")
    steps = {step.title: step for step in pipeline.explain(plan, "K00")}
    step = steps["Slope of the hillside, not the plot's"]
    assert "a window of about 150 m" in step.inputs
    assert "west" in step.result
    assert "Row bearing from grid north" not in steps


def test_an_integer_metre_raster_raises_its_flag(tmp_path):
    raster = surface_raster(lambda x, y: np.rint(1800 + 0.1 * x + 0.05 * y))
    plan = district(tmp_path, "vertical_error_m = 0.8\nerror_correlation_m = 20", raster)
    results = pipeline.find(plan)
    assert all("stepped_heights" in flags for flags in results.plots["terrain_flags"])
    assert "On 12 of 12 plots the heights come in whole steps" in said(results)


def test_tiles_that_meet_with_a_step_are_told(tmp_path):
    plan = district(tmp_path, "vertical_error_m = 0.1\nerror_correlation_m = 20")
    with rasterio.open(tmp_path / "dem.tif") as file:
        heights, profile = file.read(1), file.profile
    # The seam runs through the plots 300 m west of the middle.
    cut = 70
    for name, part, shift, step in (
        ("west.tif", heights[:, :cut], 0, 0.0),
        ("east.tif", heights[:, cut:], cut * 10, 6.0),
    ):
        moved = profile["transform"] @ Affine.translation(shift / 10, 0)
        wide = profile | {"width": part.shape[1], "transform": moved}
        with rasterio.open(tmp_path / name, "w", **wide) as file:
            file.write(part + np.float32(step), 1)
    plan.write_text(
        plan.read_text().replace('["dem.tif"]', '["west.tif", "east.tif"]'), encoding="utf-8"
    )
    results = pipeline.find(plan)
    flagged = ["step_between_tiles" in flags for flags in results.plots["terrain_flags"]]
    assert results.plots["plot_id"][flagged].tolist() == ["K03", "K04", "K05"]
    assert "On 3 of 12 plots tiles of the elevation raster meet with a step." in said(results)
    assert shapely.is_valid(results.plots["geometry"].to_numpy()).all()
