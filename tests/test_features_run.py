"""A run with features, poor drainage and maize: what is printed of them, and where."""

from __future__ import annotations

import csv
import json

import geopandas as gpd
import numpy as np
import openpyxl
import pyogrio
import pytest
import shapely

from districtplan import pipeline
from districtplan.outputs import wording
from districtplan.outputs.texts import Texts
from tests.conftest import small_district, square, surface_raster, write_district

WRITES = ("tables", "layers", "workbook")
FOUND_ONCE = True

MORE = """\
[soil]
drainage = "poor"
[practice]
npk_kg_ha = 100
maize_bean_rows = 2
maize_row_spacing_cm = 100
[rows]
drawn_rows_max = 300
"""


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    plots, raster = small_district()
    path = write_district(tmp_path_factory.mktemp("features"), plots, raster)
    first = plots.geometry[0]
    west, south, east, north = first.bounds
    ditch = shapely.LineString([(west - 9, (south + north) / 2), (east + 9, (south + north) / 2)])
    frame = gpd.GeoDataFrame(
        {"kind": ["ditch", "house", "fence"], "width_m": [2.0, None, 1.0]},
        geometry=[ditch, shapely.box(west, south, west + 8, south + 6), ditch],
        crs=plots.crs,
    )
    frame.to_file(path.parent / "features.gpkg", driver="GPKG")
    text = path.read_text(encoding="utf-8")
    named = text.replace("[files]\n", '[files]\nfeatures = "features.gpkg"\n') + MORE
    path.write_text(named, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def run(plan, tmp_path_factory):
    folder = tmp_path_factory.mktemp("run") / "run"
    pipeline.run(plan, folder)
    return folder


@pytest.fixture(scope="module")
def results(plan):
    return pipeline.find(plan)


def test_features_are_used_or_set_aside(run):
    counts = json.loads((run / "run.json").read_text(encoding="utf-8"))["counts"]
    assert (counts["features"], counts["features_used"], counts["features_set_aside"]) == (3, 2, 1)
    with (run / "features_set_aside.csv").open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)
    assert (row["source_row"], row["kind"]) == ("3", "fence")
    assert "ditch" in row["remedy"]
    inputs = json.loads((run / "run.json").read_text(encoding="utf-8"))["inputs"]
    assert "features.gpkg" in {file["name"] for file in inputs}


def test_land_is_taken_from_its_plot_alone(results):
    taken = results.plots.set_index("plot_id")["land_taken_m2"]
    assert taken["K00"] == pytest.approx(70 * 2 + 8 * 6, rel=1e-3)
    assert (taken.drop("K00") == 0).all()


def test_layers_carry_rows_and_features(run, results):
    path = run / "plots.gpkg"
    # Rows that wait for an outlet are not drawn, and have no pegs.
    waits = results.plots["outlet_flags"].map(len) > 0
    laid = set() if waits.all() else {"rows", "guide_lines", "pegs"}
    layers = {"plots", "flow_lines", "features", "measures", "cautions", *laid}
    # Of lines: those that the hillsides ask for.
    lines = {"structure_lines", "outlets", "waterways", "part_boundaries"}
    assert set(pyogrio.list_layers(path)[:, 0]) - lines == layers
    drawn = results.row_lines.lines
    assert set(drawn["crop"]) == {"beans", "maize"}
    assert (gpd.GeoSeries(drawn["geometry"]).length / drawn["length_m"]).between(0.999, 1.001).all()
    assert gpd.read_file(path, layer="features")["kind"].tolist() == ["ditch", "house"]


def test_thinning_and_features_are_told(results):
    said = "\n".join(wording.noticed(results, Texts.load("en")))
    assert results.row_lines.every > 1
    assert f"draws one row in {results.row_lines.every}" in said
    assert "2 were used. No rows are laid there; land taken: 188 m², plots touched: 1." in said
    assert "1 of 3 features could not be used" in said


def test_maize_is_counted_in_the_workbook_and_by_village(run, results):
    sheet = openpyxl.load_workbook(run / "district.xlsx")["Plots"]
    head, *rows = sheet.iter_rows(values_only=True)
    at = {name: head.index(name) for name in ("Plot", "Maize holes", "Holes", "Number of rows")}
    plots = results.plots.set_index("plot_id")
    for row in rows:
        for column, name in (("Maize holes", "maize_holes"), ("Holes", "holes")):
            assert row[at[column]] == plots.loc[row[at["Plot"]], name]
    assert results.district["maize_holes"] == plots["maize_holes"].sum()
    known = plots[plots["rows"].notna()]
    # Two bean rows to each of maize, but for the band that the far edge cuts.
    assert ((known["rows"] - 2 * known["maize_rows"]).abs() <= 12).all()
    assert (plots["npk_g"] / plots["row_length_m"]).to_numpy() == pytest.approx(5.0, rel=1e-4)


def test_poor_drainage_asks_for_a_fall(results):
    texts = Texts.load("en")
    for _, row in results.plots.iterrows():
        said = wording.method_sentence(row, results.plan, texts)
        turned = row["row_turn_deg"] != 0 and row["row_method"] == "straight"
        assert ("rows fall" if turned else "at least 0.2 % to") in said


@pytest.mark.parametrize(
    ("drainage", "said"),
    [("free", "rows may run in any direction"), ("poor", "make ridges or beds that fall")],
)
def test_level_plots_by_drainage(drainage, said, tmp_path):
    plots, _ = small_district()
    raster = surface_raster(lambda x, y: 1800 + 0.001 * x)
    path = write_district(tmp_path, plots, raster)
    text = path.read_text(encoding="utf-8").replace(
        "vertical_error_m = 0.1", "vertical_error_m = 0"
    )
    path.write_text(f'{text}[soil]\ndrainage = "{drainage}"\n', encoding="utf-8")
    results = pipeline.find(path)
    row = results.plots.iloc[0]
    reason, method = {
        "free": ("flat", "any direction"),
        "poor": ("flat_drains_poorly", "measure on the ground"),
    }[drainage]
    assert (row["row_method_reason"], row["row_method"]) == (reason, method)
    assert row["row_grade_95_pct"] <= row["row_grade_limit_pct"] == 2
    assert said in wording.method_sentence(row, results.plan, Texts.load("en"))


def test_each_plot_goes_by_its_own_soil_its_villages_or_the_plans(tmp_path):
    plots, _ = small_district()
    wet = ["poor", "free", *[None] * (len(plots) - 2)]
    plots = plots.assign(wet=wet, village=["Ford"] * 4 + ["Hill"] * (len(plots) - 4))
    raster = surface_raster(lambda x, y: 1800 + 0.001 * x)
    path = write_district(tmp_path, plots, raster)
    (tmp_path / "soils.csv").write_text("village,drainage\nFord,poor\n", encoding="utf-8")
    files = '[files]\nsoils = "soils.csv"\nsoil_drainage_column = "wet"\n'
    text = path.read_text(encoding="utf-8").replace("[files]\n", files)
    path.write_text(
        text.replace("vertical_error_m = 0.1", "vertical_error_m = 0"), encoding="utf-8"
    )
    results = pipeline.find(path)
    level = ["flat_drains_poorly", "flat", *["flat_drains_poorly"] * 2]
    assert results.plots["row_method_reason"].tolist() == level + ["flat"] * (len(plots) - 4)
    texts = Texts.load("en")
    said = [
        "do not plant it flat" in wording.method_sentence(row, results.plan, texts)
        for row in wording.records(results.plots)
    ]
    assert said == [reason == "flat_drains_poorly" for reason in results.plots["row_method_reason"]]


def test_rows_of_a_run_keep_off_flow_lines_and_off_houses(tmp_path):
    """A valley that falls south through the middle column of plots; a house east of the first."""
    plots, _ = small_district(shift=205.0)
    raster = surface_raster(lambda x, y: 1800 + 0.1 * np.abs(x - 5) + 0.04 * y)
    path = write_district(tmp_path, plots, raster)
    _, south, east, north = plots.geometry[0].bounds
    house = shapely.box(east + 1, south, east + 9, north)
    gpd.GeoDataFrame({"kind": ["house"]}, geometry=[house], crs=plots.crs).to_file(
        path.parent / "features.gpkg", driver="GPKG"
    )
    text = path.read_text(encoding="utf-8").replace(
        "vertical_error_m = 0.1", "vertical_error_m = 0"
    )
    path.write_text(
        text.replace("[files]\n", '[files]\nfeatures = "features.gpkg"\n'), encoding="utf-8"
    )
    results = pipeline.find(path)
    found = results.plots.set_index("plot_id")
    crossed = found[found["flow_strip_m2"] > 0]
    assert set(crossed.index) == {"K01", "K05", "K09"}
    assert (crossed["flow_strip_m2"].between(270, 290)).all()
    flow = shapely.union_all(results.flow_lines["geometry"].to_numpy())
    assert not shapely.intersects(results.row_lines.lines["geometry"].to_numpy(), flow).any()
    ends = {found.loc["K00", f"row_end_{end}"] for end in ("ahead", "behind")}
    assert "house" in ends


def test_rows_never_run_any_direction_past_their_grade_limit(tmp_path):
    """A flat limit of 3 % doesn't let rows fall 2.5 % where a row may fall 1 %."""
    plots, _ = small_district()
    raster = surface_raster(lambda x, y: 1800 + 0.025 * x)
    path = write_district(tmp_path, plots, raster)
    text = path.read_text(encoding="utf-8").replace(
        "vertical_error_m = 0.1", "vertical_error_m = 0"
    )
    path.write_text(
        f"{text}[terrain]\nflat_slope_pct = 3\nrow_grade_limit_pct = 1\n", encoding="utf-8"
    )
    assert set(pipeline.find(path).plots["row_method"]) == {"straight"}


def test_guide_lines_of_poorly_drained_plots_fall_to_the_grass(tmp_path):
    """A round hill, grass north of one plot and nothing beside another: lines, pegs and page."""
    raster = surface_raster(lambda x, y: 2000 - 0.25 * np.hypot(x - 100, y))
    shapes = [square(raster, x, y, 90) for x, y in ((-60, 0), (-60, -150))]
    names = {"plot_id": ["K0", "K1"], "village": ["Ostrabek"] * 2}
    plots = gpd.GeoDataFrame(names, geometry=shapes, crs=raster.grid.crs)
    path = write_district(tmp_path, plots, raster)
    west, _, east, north = shapes[0].bounds
    grass = shapely.box(west - 9, north, east + 9, north + 5)
    gpd.GeoDataFrame({"kind": ["grass"]}, geometry=[grass], crs=plots.crs).to_file(
        path.parent / "features.gpkg", driver="GPKG"
    )
    text = path.read_text(encoding="utf-8").replace(
        "vertical_error_m = 0.1", "vertical_error_m = 0"
    )
    text = text.replace("[files]\n", '[files]\nfeatures = "features.gpkg"\n')
    more = '[soil]\ndrainage = "poor"\n[rows]\nrow_grade_min_pct = 0.6\n'
    path.write_text(text + more, encoding="utf-8")
    results = pipeline.find(path)
    found = results.plots.set_index("plot_id")
    assert (found["row_method"] == "guide lines").all()
    assert found.loc["K0", "row_fall_to"] == "north end"
    assert found.loc["K1", "outlet_flags"] == ("outlet_before_fall",)
    assert {plot_id for plot_id, _ in results.pegs.walks} == {"K0"}
    for walk in results.pegs.walks.values():
        assert walk.drop_cm == pytest.approx(0.6 * walk.leg_m)
        assert walk.xy[-1, 1] > walk.xy[0, 1]
    texts = Texts.load("en")
    said = wording.method_sentence(results.plots.iloc[0].to_dict(), results.plan, texts)
    assert "every line fall 0.6 % to the north end, where there is grass" in said
