"""A run with ground readings: they win over the raster wherever a number is printed."""

from __future__ import annotations

import csv
import json
import re
import shutil
from pathlib import Path

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pytest
from pyproj import Geod, Proj

from districtplan import pipeline
from districtplan.outputs import wording
from districtplan.outputs.texts import Texts
from tests.conftest import small_district, square, surface_raster, write_district
from tests.outputs.page_data import data_of, files_of
from tests.support import districtplan
from tests.terrain.errors import correlated

WRITES = ("pages", "layers", "tables", "workbook")
FOUND_ONCE = True

READINGS = """\
plot_id,slope_pct,bearing_deg,bearing_reference,method,date
K00,23.5,,,clinometer,2026-02-27
K00,,118,magnetic,A-frame & compass,2026-02-28
K01,,40,true,A-frame,2026-02-28
nobody,12,,,level,2026-02-27
K02,,,,level,2026-02-27
K03,12,,,level,2026-12-24
"""
SET_ASIDE = [4, 5, 6]


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    path = write_district(tmp_path_factory.mktemp("readings"), *small_district())
    (path.parent / "readings.csv").write_text(READINGS, encoding="utf-8")
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[files]\n", '[files]\nreadings = "readings.csv"\n'))
    return path


@pytest.fixture(scope="module")
def run(plan, tmp_path_factory):
    folder = tmp_path_factory.mktemp("run") / "run"
    pipeline.run(plan, folder)
    return folder


def table(path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_table_of_plots_has_the_reading(run):
    row = gpd.read_parquet(run / "plots.parquet").set_index("plot_id").loc["K00"]
    assert row["slope_measured_pct"] == row["slope_used_pct"] == 23.5
    assert row["slope_class"] == "Moderately steep"
    assert "rows_alone_not_enough" in row["erosion_flags"]
    # The needle of the day of the reading, three weeks before planting.
    assert row["row_bearing_magnetic_deg"] == pytest.approx(118, abs=0.01)
    assert row["row_bearing_true_deg"] == pytest.approx(118 + row["declination_deg"], abs=0.01)
    assert row["bearing_reading_method"] == "A-frame & compass"
    assert (row["slope_reading_date"], row["bearing_reading_date"]) == ("2026-02-27", "2026-02-28")
    assert (row["row_method"], row["row_method_reason"]) == ("straight", "measured_against_raster")
    assert row["row_method_raster"] == "straight"


def test_plots_without_a_reading_are_as_before(plan, run, tmp_path):
    text = plan.read_text(encoding="utf-8")
    bare = tmp_path / "bare"
    shutil.copytree(plan.parent, bare)
    (bare / "plan.toml").write_text(text.replace('readings = "readings.csv"\n', ""))
    before = pipeline.find(bare / "plan.toml").plots.set_index("plot_id")
    after = pipeline.find(plan).plots.set_index("plot_id")
    others = [name for name in before.index if name not in ("K00", "K01")]
    # A plot's place among all others may move with theirs.
    own = before.columns.difference(["erosion_rank", "chance_worst_tenth"])
    pd.testing.assert_frame_equal(before.loc[others, own], after.loc[others, own])
    pipeline.run(bare / "plan.toml", tmp_path / "out")
    assert not (tmp_path / "out" / "readings.csv").exists()
    assert "readings" not in json.loads((tmp_path / "out" / "run.json").read_text())["counts"]


def test_rows_in_are_rows_used_and_rows_set_aside(run):
    used, aside = table(run / "readings.csv"), table(run / "readings_set_aside.csv")
    assert [int(row["source_row"]) for row in used] == [1, 2, 3]
    assert [int(row["source_row"]) for row in aside] == SET_ASIDE
    assert list(aside[0]) == ["source_row", "plot_id", "reason", "remedy"]
    counts = json.loads((run / "run.json").read_text(encoding="utf-8"))["counts"]
    assert (counts["readings"], counts["readings_used"], counts["readings_set_aside"]) == (6, 3, 3)
    assert [row["reading_use"] for row in used] == ["slope", "bearing", "bearing"]


def test_every_column_is_explained(run):
    told = {row["name"]: row["tables"].split(", ") for row in table(run / "columns.csv")}
    for name in ("readings", "readings_set_aside"):
        for column in table(run / f"{name}.csv")[0]:
            assert name in told[column]


def test_the_difference_is_raster_less_reading(run):
    row = table(run / "readings.csv")[0]
    difference = float(row["slope_raster_pct"]) - float(row["slope_read_pct"])
    assert float(row["slope_difference_pct"]) == difference
    assert row["bearing_difference_deg"] == ""


def test_the_page_says_how_it_was_measured(run):
    data = data_of(files_of(run))
    ids = data["plots"]["id"]
    place = ids.index("K00")
    assert data["plots"]["readings"] == {
        "slope": {"K00": "measured on the ground, 27 February 2026, clinometer"},
        "bearing": {
            "K00": "measured on the ground, 28 February 2026, A-frame & compass",
            "K01": "measured on the ground, 28 February 2026, A-frame",
        },
    }
    assert data["plots"]["numbers"]["slope_measured_pct"]["values"][place] == 235
    assert any("3 of 6 rows of ground readings could not" in text for text in data["warnings"])


def test_the_workbook_has_both_sheets_and_the_columns(run):
    book = openpyxl.load_workbook(run / "district.xlsx", read_only=True)
    assert len(list(book["Readings"].rows)) == 4
    assert len(list(book["Readings set aside"].rows)) == 4
    head, *rows = [[cell.value for cell in row] for row in book["Plots"].rows]
    plot = dict(zip(head, next(row for row in rows if row[0] == "K00"), strict=True))
    assert plot["Slope, measured on the ground [%]"] == 23.5
    assert plot["Bearing measured by"] == "A-frame & compass"
    assert plot["Row bearing, magnetic [°]"] == pytest.approx(118, abs=0.01)
    first = " ".join(str(row[0].value) for row in book["Read first"].rows)
    assert "slopes 1, bearings 2" in first


def test_check_lists_readings_set_aside_with_a_remedy(plan):
    done = districtplan("check", plan)
    assert done.returncode == 0, done.stderr
    nobody = "plot_id 'nobody': there is no plot with the id 'nobody'"
    assert f"readings.csv row 4 (row 5 of a spreadsheet), {nobody}" in done.stdout
    late = "plot_id 'K03': date = 2026-12-24 lies after the planting date"
    assert f"readings.csv row 6 (row 7 of a spreadsheet), {late}" in done.stdout
    assert "3 of 6 rows of ground readings could not be used" in done.stderr


def test_a_reading_against_the_raster_is_told_of_wherever_it_is_printed(plan, run):
    """Card, table, workbook and explanation; the raster's own line stands beside it."""
    row = gpd.read_parquet(run / "plots.parquet").set_index("plot_id").loc["K00"]
    ends = wording.both_ends(row["row_bearing_raster_true_deg"])
    told = f"The raster says {ends} from true north, give or take"
    fall = f"if the raster is right, rows by it fall {row['row_grade_likely_pct']:.1f} % along"
    assert row["row_grade_95_pct"] > row["row_grade_limit_pct"]
    page = " ".join(data_of(files_of(run))["plots"]["texts"])
    book = openpyxl.load_workbook(run / "district.xlsx", read_only=True)
    cells = " ".join(str(cell.value) for line in book["Plots"].rows for cell in line)
    explained = districtplan("explain", plan, "K00").stdout
    for place in (page, cells, explained, row["flags"] + row["row_method_why"]):
        assert told in place
        assert fall in place
        assert "measure again before you set rows" in place
    checked = districtplan("check", plan)
    assert "the readings on K00" in checked.stderr


def test_the_first_line_is_of_the_raster_alone(plan, tmp_path):
    """On cells too large for the plots readings add theirs, and the reason stays."""
    shutil.copytree(plan.parent, tmp_path / "few")
    path = tmp_path / "few" / "plan.toml"
    text = path.read_text(encoding="utf-8")
    assert "[terrain]" not in text
    path.write_text(text + "\n[terrain]\ncells_min = 1000\n", encoding="utf-8")
    results = pipeline.find(path)
    first, added, why, *_ = wording.served_sentences(results, Texts.load("en"))
    total = len(results.plots)
    assert first == f"The elevation raster can tell how rows run on none of {total} plots."
    assert added == "Readings add 2."
    assert "too large for most plots" in why
    villages = " ".join(wording.served_by_village(results, Texts.load("en")))
    assert ": 0 of" in villages
    assert "0 % of the land; with readings" in villages


def test_explain_tells_of_the_reading(plan):
    done = districtplan("explain", plan, "K00")
    assert done.returncode == 0, done.stderr
    assert "measured on the ground, 27 February 2026, clinometer: 23.5 %, give or take 2" in (
        done.stdout
    )
    assert "the level line, measured on the ground, 28 February 2026" in done.stdout


def test_a_bad_file_of_readings_is_refused_without_a_traceback(plan, tmp_path):
    shutil.copytree(plan.parent, tmp_path / "bad")
    (tmp_path / "bad" / "readings.csv").write_text("plot,slope\n1,2\n", encoding="utf-8")
    done = districtplan("check", tmp_path / "bad" / "plan.toml")
    assert done.returncode == 2
    assert "readings.csv, head (line 1): lacks the columns" in done.stderr
    assert "Traceback" not in done.stderr


def test_hostile_words_stay_words(plan, tmp_path):
    shutil.copytree(plan.parent, tmp_path / "hostile")
    word = '=cmd()</script>{plan}"'
    quoted = word.replace('"', '""')
    row = f'K04,12,50,true,"{quoted}",2026-02-27\n'
    path = tmp_path / "hostile" / "readings.csv"
    path.write_text(READINGS + row + '"=1+1",12,,,level,2026-02-27\n', encoding="utf-8")
    pipeline.run(tmp_path / "hostile" / "plan.toml", tmp_path / "run")
    assert "=cmd()</script>" not in (tmp_path / "run" / "index.html").read_text(encoding="utf-8")
    assert table(tmp_path / "run" / "readings.csv")[-1]["reading_method"] == f"'{word}"
    assert table(tmp_path / "run" / "readings_set_aside.csv")[-1]["plot_id"] == "'=1+1"


TRUE_M, STATED_M, LENGTH_M = 3.0, 2.0, 30.0
SLOPE_PCT = 100 * np.hypot(0.3, 0.2)


def wide_district(folder: Path, seed: int) -> Path:
    """A steep plane, its raster worse than the plan says, and a reading on each of its plots."""
    rng = np.random.default_rng(seed)
    raster = surface_raster(lambda x, y: 1500 + 0.3 * x + 0.2 * y, cells=300)
    raster.heights += TRUE_M * correlated(rng, 300, LENGTH_M / 10)
    places = np.arange(-5, 6) * 220
    shapes = [square(raster, x, y, 60) for x in places for y in places]
    ids = [f"P{i:03d}" for i in range(len(shapes))]
    plots = {"plot_id": ids, "village": "Ostrabek"}
    plan = write_district(folder, gpd.GeoDataFrame(plots, geometry=shapes, crs=32736), raster)
    text = plan.read_text(encoding="utf-8").replace("[files]\n", '[files]\nreadings = "r.csv"\n')
    text = text.replace("error_m = 0.1", f"error_m = {STATED_M}")
    plan.write_text(text.replace("n_m = 20.0", f"n_m = {LENGTH_M}"), encoding="utf-8")
    rows = [f"{plot},{SLOPE_PCT + rng.normal(0, 2):.2f},level,2026-02-27" for plot in ids]
    lines = ["plot_id,slope_pct,method,date", *rows]
    (folder / "r.csv").write_text("\n".join(lines), encoding="utf-8")
    return plan


@pytest.mark.slow
def test_the_error_of_a_simulated_raster_is_found_from_readings(tmp_path):
    shares, biases = [], []
    for seed in range(4):
        found = pipeline.find(wide_district(tmp_path / str(seed), seed)).readings.calibration
        shares.append(found.vertical_error_m / TRUE_M)
        biases.append(found.slopes[0].bias)
        assert found.vertical_error_m - STATED_M > 2 * found.vertical_error_se_m
    assert np.mean(shares) == pytest.approx(1, abs=0.1)
    assert abs(np.mean(biases)) < 0.5


def test_the_suggestion_is_said_and_not_applied(tmp_path):
    plan = wide_district(tmp_path, 9)
    done = districtplan("check", plan)
    assert re.search(r"The readings suggest vertical_error_m = [23]\.\d \(now 2\)", done.stderr)
    assert "change it if you trust the readings" in done.stderr
    assert "Against 121 slopes measured on the ground the raster is" in done.stderr
    assert "Slopes by class, raster less reading: Steep" in done.stderr
    assert pipeline.find(plan).plan.elevation.vertical_error_m == STATED_M


def test_a_grid_bearing_is_along_the_grid(plan, tmp_path):
    """A line laid on the map grid has, by geodesics, the true bearing that is printed."""
    shutil.copytree(plan.parent, tmp_path / "grid")
    path = tmp_path / "grid" / "readings.csv"
    path.write_text(READINGS.splitlines()[0] + "\nK05,,60,grid,map,2026-02-27\n", encoding="utf-8")
    results = pipeline.find(tmp_path / "grid" / "plan.toml")
    row = results.plots.set_index("plot_id").loc["K05"]
    zone = Proj(results.grid_crs)
    x, y = zone(row["longitude_deg"], row["latitude_deg"])
    turn = np.radians(60)
    end = zone(x + 50 * np.sin(turn), y + 50 * np.cos(turn), inverse=True)
    true, _, _ = Geod(ellps="WGS84").inv(row["longitude_deg"], row["latitude_deg"], *end)
    assert row["row_bearing_true_deg"] == pytest.approx(true, abs=1e-3)
