from __future__ import annotations

import io
import json
import sqlite3
import time
from dataclasses import replace

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pyarrow.parquet as pq
import pyogrio
import pytest
import shapely

from districtplan.outputs import layers, workbook
from districtplan.outputs.plot_table import plot_columns, plot_table

IN_WORKBOOK = {
    "Area [ha]": "area_ha",
    "Slope, mean [%]": "slope_mean_pct",
    "Slope, P90 [%]": "slope_p90_pct",
    "Row bearing, true [°]": "row_bearing_true_deg",
    "Row bearing, magnetic [°]": "row_bearing_magnetic_deg",
    "Soil loss, rows on the contour [t/(ha yr)]": "soil_loss_contour_likely_t_ha_yr",
    "Holes": "holes",
    "Seed [kg]": "seed_kg",
    "NPK [kg]": "npk_kg",
    "Urea [kg]": "urea_kg",
    "Composted manure [kg]": "manure_kg",
}


@pytest.fixture(scope="module")
def files(small_results, texts):
    return layers.render(small_results, texts)


@pytest.fixture(scope="module")
def parquet(files):
    return pq.read_table(io.BytesIO(files["plots.parquet"]))


@pytest.fixture(scope="module")
def path(files, tmp_path_factory):
    path = tmp_path_factory.mktemp("layers") / "plots.gpkg"
    path.write_bytes(files["plots.gpkg"])
    return path


def test_same_results_same_bytes(files, small_results, texts):
    # Past a full second, so that a clock in a file's header would show.
    time.sleep(1.1)
    assert layers.render(small_results, texts) == files


def test_geoparquet_says_what_it_is(parquet):
    geo = json.loads(parquet.schema.metadata[b"geo"])
    assert geo["version"] == "1.1.0"
    assert geo["primary_column"] == "geometry"
    column = geo["columns"]["geometry"]
    assert column["encoding"] == "WKB"
    assert column["crs"]["id"] == {"authority": "EPSG", "code": 32736}
    assert column["covering"]["bbox"]["xmin"] == ["bbox", "xmin"]


def test_parquet_has_the_declared_columns(parquet, small_results):
    assert set(parquet.column_names) == {*plot_columns(small_results), "bbox"}


def test_parquet_keeps_ids_kinds_and_outlines(files, small_results):
    frame = gpd.read_parquet(io.BytesIO(files["plots.parquet"]))
    assert frame["plot_id"].tolist() == small_results.plots["plot_id"].tolist()
    assert frame["village"].tolist() == small_results.plots["village"].tolist()
    assert pd.api.types.is_integer_dtype(frame["holes"])
    outlines = small_results.plots["geometry"].to_numpy()
    assert shapely.equals(frame.geometry.to_numpy(), outlines).all()
    assert frame.crs == small_results.plots_crs


def test_unknown_stays_unknown(parquet):
    assert parquet["urea_g"].null_count == len(parquet)
    assert parquet["row_bearing_true_deg"].to_pandas().isna().sum() == 4


def test_geopackage_header(path):
    with sqlite3.connect(path) as connection:
        assert connection.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
        assert connection.execute("PRAGMA user_version").fetchone()[0] in {10300, 10400}
        contents = connection.execute(
            "SELECT table_name, srs_id, last_change FROM gpkg_contents"
        ).fetchall()
    connection.close()
    layers = (
        "plots", "guide_lines", "pegs", "flow_lines", "structure_lines", "outlets", "measures",
    )  # fmt: skip
    *drawn, table = contents
    assert drawn == [(layer, 32736, "2026-03-15T00:00:00Z") for layer in layers]
    assert (table[0], table[2]) == ("cautions", "2026-03-15T00:00:00Z")


def test_flow_lines_are_a_layer(path, small_results):
    lines = gpd.read_file(path, layer="flow_lines")
    assert lines["upslope_area_ha"].tolist() == [4.5, 1.2]
    assert lines["upslope_area_at_least"].tolist() == [1, 0]
    assert lines.geometry.geom_equals(
        gpd.GeoSeries(small_results.flow_lines["geometry"], crs=small_results.grid_crs)
    ).all()


def test_catchments_are_a_layer_where_they_are_asked_for(small_results, texts, tmp_path):
    shape = small_results.flow_lines["geometry"].iloc[0].buffer(50)
    table = pd.DataFrame(
        {
            "catchment": ["R9C7"],
            "catchment_area_ha": [1.1],
            "catchment_run_on_ha": [0.0],
            "catchment_plots": [2],
            "geometry": [shape],
        }
    )
    path = tmp_path / "plots.gpkg"
    path.write_bytes(layers.render(replace(small_results, catchments=table), texts)["plots.gpkg"])
    read = gpd.read_file(path, layer="catchments")
    assert read.drop(columns="geometry").equals(table.drop(columns="geometry"))
    assert read.crs == small_results.grid_crs
    assert read.geometry.iloc[0].equals(shape)


def test_no_flow_lines_no_layer(small_results, texts, tmp_path):
    without = replace(small_results, flow_lines=small_results.flow_lines.iloc[:0])
    (tmp_path / "plots.gpkg").write_bytes(layers.render(without, texts)["plots.gpkg"])
    assert pyogrio.list_layers(tmp_path / "plots.gpkg")[:, 0].tolist() == [
        "plots",
        "guide_lines",
        "pegs",
        "structure_lines",
        "outlets",
        "measures",
        "cautions",
    ]


def test_geopackage_in_a_second_reader(path, small_results):
    assert pyogrio.list_layers(path).tolist() == [
        ["plots", "MultiPolygon"],
        ["guide_lines", "LineString"],
        ["pegs", "Point"],
        ["flow_lines", "LineString"],
        ["structure_lines", "Unknown"],
        ["outlets", "Unknown"],
        ["measures", "MultiPolygon"],
        ["cautions", None],
    ]
    frame = pyogrio.read_dataframe(path, layer="plots")
    assert frame["plot_id"].tolist() == small_results.plots["plot_id"].tolist()
    outlines = gpd.GeoSeries(small_results.plots["geometry"])
    assert np.allclose(frame.area, outlines.area, rtol=1e-12)


def test_guide_lines_and_pegs_are_layers(path, small_results):
    lines = pyogrio.read_dataframe(path, layer="guide_lines")
    assert lines["plot_id"].tolist() == small_results.guides.lines["plot_id"].tolist()
    assert lines["guide_kind"].tolist() == ["arc", "level on the ground"]
    # No course is drawn that the team is to find; its start is told.
    assert lines.geometry.isna().tolist() == [False, True]
    assert lines["start_longitude_deg"].notna().all()
    assert len(pyogrio.read_dataframe(path, layer="pegs")) == len(small_results.pegs.table)


def test_the_clock_setting_is_given_back(files):
    assert files
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") is None


def test_same_number_everywhere(parquet, path, small_results, texts):
    in_parquet = parquet.to_pandas().set_index("plot_id")
    in_geopackage = pyogrio.read_dataframe(path, layer="plots").set_index("plot_id")
    made = workbook.render(small_results, texts)["district.xlsx"]
    sheet = openpyxl.load_workbook(io.BytesIO(made))["Plots"]
    head, *rows = sheet.iter_rows(values_only=True)
    printed = pd.DataFrame(rows, columns=head).set_index("Plot")
    assert list(printed.index) == list(in_parquet.index) == list(in_geopackage.index)
    for label, name in IN_WORKBOOK.items():
        ours = in_parquet[name].to_numpy(dtype=float, na_value=np.nan)
        np.testing.assert_array_equal(ours, in_geopackage[name].to_numpy(dtype=float))
        # A workbook keeps 16 digits of a number.
        np.testing.assert_allclose(printed[label].astype(float), ours, rtol=1e-15)


def test_kilograms_are_the_grams(parquet):
    frame = parquet.to_pandas()
    for good in ("seed", "npk", "manure"):
        assert (frame[f"{good}_kg"] == frame[f"{good}_g"] / 1000).all()
        assert (frame[f"{good}_kg"] * 1000).round().astype(int).tolist() == frame[
            f"{good}_g"
        ].tolist()


def test_flags_are_in_words(small_results, texts):
    table = plot_table(small_results, texts).set_index("plot_id")
    assert "rows alone do not hold the soil" in table.loc["A-03", "flags"]
    assert table.loc["A-01", "flags"] == ""
    assert table.loc["A-03", "erosion_flags"] == "rows_alone_not_enough"
    assert table.loc["<b>B2</b>", "water_flags"] == "crossed_by_flow"
    assert table.loc["<b>B2</b>", "flags"].startswith("Water gathers and crosses this plot")
    assert "(about 1.7 ha above)" in table.loc["<b>B2</b>", "flags"]
    assert "too small" in table.loc["007", "row_method_why"]


def test_no_farmer_unless_asked(files, results_with_names, texts):
    assert b"farmer" not in files["plots.gpkg"].lower()
    named = layers.render(results_with_names, texts)
    frame = gpd.read_parquet(io.BytesIO(named["plots.parquet"]))
    assert frame["farmer_name"].iloc[0] == "Invented Farmer 0"


def test_lines_between_parts_are_a_layer(parted_results, texts, tmp_path):
    (tmp_path / "plots.gpkg").write_bytes(layers.render(parted_results, texts)["plots.gpkg"])
    found = gpd.read_file(tmp_path / "plots.gpkg", layer="part_boundaries")
    known = parted_results.guides.boundaries
    assert found["plot_id"].tolist() == known["plot_id"].tolist()
    assert found["part_boundary_m"].tolist() == [36.0]
    assert found.crs == parted_results.guides.crs
    assert found.geometry.iloc[0].equals(known["geometry"].iloc[0])
