"""A run with current practice, soils, rain and cover: all of it read, used and told."""

from __future__ import annotations

import csv
import json

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from rasterio.transform import from_bounds

from districtplan import pipeline
from districtplan.outputs.explanation import explain
from districtplan.outputs.plot_table import plot_table
from districtplan.outputs.texts import Texts
from tests.conftest import small_district, write_district

WRITES = ("tables",)
FOUND_ONCE = True

MORE = """\
[soil]
rain_equation = "renard_freimund_fournier"
rain_monthly_mm = [60, 70, 130, 220, 160, 40, 30, 35, 45, 110, 160, 90]
erodibility_equation = "epic"
cover = "morgan soya beans"
mulch_cover_pct = 30
[practice]
row_form = "ridges"
"""


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    plots, raster = small_district()
    path = write_district(tmp_path_factory.mktemp("soil"), plots, raster)
    ids, villages = plots["plot_id"].tolist(), sorted(set(plots["village"]))
    (path.parent / "now.csv").write_text(
        "plot_id,rows,row_form,structure,condition,spacing_m\n"
        f"{ids[0]},across,ridges,grass strips,good,\nnobody,across,,,,\n",
        encoding="utf-8",
    )
    soils = ["village,sand_pct,silt_pct,clay_pct,organic_carbon_pct"]
    soils += [f"{village},40,40,20,1.2" for village in villages] + ["Moor,40,40,20,1.2"]
    (path.parent / "soils.csv").write_text("\n".join(soils), encoding="utf-8")
    text = path.read_text(encoding="utf-8")
    files = '[files]\ncurrent_practice = "now.csv"\nsoils = "soils.csv"\n'
    path.write_text(text.replace("[files]\n", files) + MORE, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def results(plan):
    return pipeline.find(plan)


def test_rows_in_are_rows_used_and_set_aside(plan, tmp_path):
    pipeline.run(plan, tmp_path / "run")
    told = json.loads((tmp_path / "run" / "run.json").read_text(encoding="utf-8"))
    counts = told["counts"]
    for key in ("current_practice", "soils"):
        with (tmp_path / "run" / f"{key}_set_aside.csv").open(encoding="utf-8", newline="") as file:
            aside = list(csv.DictReader(file))
        assert len(aside) == counts[f"{key}_set_aside"] == 1
        assert counts[key] == counts[f"{key}_used"] + 1
        assert aside[0]["reason"].startswith("no plot that is used has this")
    assert {"now.csv", "soils.csv"} <= {file["name"] for file in told["inputs"]}


def test_a_village_whose_plots_all_lie_off_the_raster_has_its_soil_still(tmp_path):
    plots, raster = small_district()
    away = plots["geometry"].translate(50_000).where(plots["plot_id"] == "K11", plots["geometry"])
    villages = plots["village"].mask(plots["plot_id"] == "K11", "Moor")
    plan = write_district(tmp_path, plots.assign(village=villages).set_geometry(away), raster)
    (tmp_path / "soils.csv").write_text("village,drainage\nMoor,poor\n", encoding="utf-8")
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace("[files]\n", '[files]\nsoils = "soils.csv"\n'), encoding="utf-8")
    found = pipeline.find(plan)
    assert found.set_aside["plot_id"].tolist() == ["K11"]
    # What is wrong with the plot is told there, and not of the soil as well.
    assert found.beside["soils"].set_aside.empty
    assert found.beside["soils"].used["village"].tolist() == ["Moor"]


def test_factors_reach_the_plots(results):
    plots = results.plots
    assert plots["r"].iloc[0] == pytest.approx(7516, abs=1)
    assert plots["k"].iloc[0] == pytest.approx(0.03696, abs=1e-5)
    assert plots["c"].iloc[0] == pytest.approx((0.2 * 0.5) ** 0.5 * 0.35, rel=1e-3)
    assert plots["practice_now"].iloc[0] == "rows across; grass strips, good"
    assert plots["practice_now_known"].sum() == 1
    losses = plots["soil_loss_now_likely_t_ha_yr"]
    assert losses[0] < plots["soil_loss_up_down_likely_t_ha_yr"][0]
    assert sorted(plots["erosion_rank"]) == list(range(1, len(plots) + 1))
    assert plots["chance_worst_tenth"].sum() == pytest.approx(
        max(1.0, losses.notna().sum() / 10), abs=1e-3
    )


def test_ridges_ruled_out_in_the_field_earn_their_plot_no_credit(plan, results):
    usual = results.plots.set_index("plot_id")["p_contour"]
    held = usual.idxmin()
    (plan.parent / "vetoes.csv").write_text(
        f"plot_id,measure,why,date\n{held},contour_ridges,they break here,2026-02-27\n",
        encoding="utf-8",
    )
    other = plan.with_name("vetoed.toml")
    text = plan.read_text(encoding="utf-8")
    other.write_text(
        text.replace("[files]\n", '[files]\nvetoes = "vetoes.csv"\n'), encoding="utf-8"
    )
    found = pipeline.find(other)
    credit = found.plots.set_index("plot_id")["p_contour"]
    assert credit[held] == 1 > usual[held]
    assert credit.drop(held).equals(usual.drop(held))
    flags = plot_table(found, Texts.load("en")).set_index("plot_id")["flags"]
    assert "Rows with ridges were ruled out here" in flags[held]


def test_explanation_says_where_each_factor_is_from(results):
    told = explain(results, str(results.plots["plot_id"].iloc[0]), Texts.load("en"))
    steps = {step.title: step for step in told}
    assert "renard_freimund_fournier" in steps["Rain erosivity R"].inputs
    assert "[memory]" in steps["Rain erosivity R"].source
    assert "[memory]" in steps["Cover factor C"].source
    assert "rows across; grass strips, good" in steps["Soil loss as it is now"].inputs
    assert "chance that it is in the worst tenth" in steps["How sure the soil loss is"].result


@pytest.mark.parametrize(
    ("key", "line"),
    [
        (
            "rain_monthly_mm",
            "rain_monthly_mm = [9, 70, 130, 220, 160, 40, 30, 35, 45, 110, 160, 90]",
        ),
        ("rain_equation", 'rain_equation = "lo"'),
        ("cover", 'cover = "morgan cowpeas"'),
        ("mulch_cover_pct", "mulch_cover_pct = 50"),
        ("current_practice", ""),
        ("soils", ""),
    ],
)
def test_every_key_changes_soil_loss(plan, results, key, line):
    lines = plan.read_text(encoding="utf-8").split("\n")
    changed = [line if text.startswith(f"{key} =") else text for text in lines]
    assert changed != lines
    other = plan.with_name(f"other_{key}.toml")
    other.write_text("\n".join(changed), encoding="utf-8")
    found = pipeline.find(other).plots
    name = "soil_loss_now_likely_t_ha_yr"
    with pytest.raises(AssertionError):
        pd.testing.assert_series_equal(found[name], results.plots[name])


def test_what_is_recorded_or_drawn_of_water_from_above_changes_ls(plan, results):
    folder = plan.parent
    plots = results.plots
    # A plot with slope above it, by its place.
    chosen = int(plots["slope_length_above_m"].argmax())
    assert plots["slope_length_above_m"][chosen] > 60
    assert (plots["ls"] > plots["ls_plot_only"])[chosen]
    assert plots["ls_upslope_area"].notna().all()
    (folder / "stopped.csv").write_text(
        f"plot_id,run_on\n{plots['plot_id'][chosen]},stopped by bank\n", encoding="utf-8"
    )
    outer = plots["geometry"][chosen].buffer(4, join_style="mitre").exterior
    around = shapely.LineString(outer.coords)
    drawn = gpd.GeoDataFrame({"kind": ["ditch"]}, geometry=[around], crs=results.plots_crs)
    drawn.to_file(folder / "ditch.gpkg", driver="GPKG")
    text = plan.read_text(encoding="utf-8")
    plans = {
        "as recorded": text.replace('"now.csv"', '"stopped.csv"'),
        "feature": text.replace("[files]\n", '[files]\nfeatures = "ditch.gpkg"\n'),
    }
    for begins, words in plans.items():
        other = plan.with_name("above.toml")
        other.write_text(words, encoding="utf-8")
        found = pipeline.find(other)
        row = found.plots.loc[chosen]
        assert (row["slope_length_above_m"], row["slope_above_begins"]) == (0, begins)
        assert row["ls"] == pytest.approx(row["ls_plot_only"])
        assert row["ls_at_least"] == 0
        if begins == "feature":
            assert row["ls_upslope_area"] < plots["ls_upslope_area"][chosen]
            # The ditch lies less than a cell outside.
            assert row["run_on_area_ha"] <= 0.01 < plots["run_on_area_ha"][chosen]
        steps = explain(found, str(row["plot_id"]), Texts.load("en"))
        (told,) = (step.result for step in steps if step.title == "Slope above the plot")
        assert ("feature" if begins == "feature" else "recorded") in told


def test_rasters_of_rain_and_soil_reach_the_plots(tmp_path):
    plots, raster = small_district()
    depths = [*np.linspace(0.2, 1.3, len(plots) - 1).round(2).astype(str), "deep"]
    plots = plots.assign(depth=depths, wet="poor")
    path = write_district(tmp_path, plots, raster)
    columns = '[files]\nsoil_depth_column = "depth"\nsoil_drainage_column = "wet"\n'
    text = path.read_text(encoding="utf-8").replace("[files]\n", columns)
    west, south, east, north = plots.total_bounds
    rain = {"driver": "GTiff", "count": 1, "width": 2, "height": 1, "dtype": "float32"}
    rain |= {"crs": plots.crs, "nodata": -1.0}
    middle = (west + east) / 2
    place = from_bounds(middle - (east - west), south, middle + (east - west), north, 2, 1)
    for name, values in (("r.tif", [100.0, 200.0]), ("k.tif", [0.03, -1.0])):
        with rasterio.open(tmp_path / name, "w", transform=place, **rain) as file:
            file.write(np.array([[values]], dtype=np.float32))
    soil = """
[soil]
rain_erosivity_raster = "r.tif"
rain_erosivity_unit = "us"
erodibility_raster = "k.tif"
erodibility_unit = "si"
cover_factor = 0.2
"""
    path.write_text(text + soil, encoding="utf-8")
    found = pipeline.find(path)
    table = found.plots
    western = shapely.centroid(table["geometry"].to_numpy()).tolist()
    western = np.array([point.x < middle for point in western])
    us = found.handbook.number("soil_ranges", "rain_erosivity_us_to_si")
    np.testing.assert_allclose(table["r"], np.where(western, 100, 200) * us)
    np.testing.assert_allclose(table["k"], np.where(western, 0.03, np.nan))
    ends = [("soil_raster_ends" in flags) for flags in table["erosion_flags"]]
    assert ends == (~western).tolist()
    np.testing.assert_allclose(table["soil_depth_m"], [*map(float, depths[:-1]), np.nan])
    (said,) = (told for told in found.warnings if "soil_not_read" in told)
    assert "can't be read on 1 plot:" in said
    flags = plot_table(found, Texts.load("en"))["flags"]
    assert flags.str.contains("depth is no number").tolist() == [False] * (len(plots) - 1) + [True]
    assert (table["soil_drainage"] == "poor").all()
    assert {"r.tif", "k.tif"} <= set(found.input_sha256)
    said = explain(found, table["plot_id"][western].iloc[0], Texts.load("en"))
    assert any("cells of r.tif" in step.inputs for step in said)
