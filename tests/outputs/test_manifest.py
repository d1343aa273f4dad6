from __future__ import annotations

import dataclasses
import hashlib
import json
import re

import pytest

from districtplan.outputs import manifest
from districtplan.tables import DICTIONARY_VERSION
from districtplan.terrain import Calibration, Forecast, Spread

OUTPUTS = {"plots.parquet": b"one", "assets/a.js": b"two"}


@pytest.fixture
def read(small_results):
    return json.loads(manifest.render(small_results, OUTPUTS)["run.json"])


def test_only_seconds_differ(small_results, read):
    slower = dataclasses.replace(small_results, seconds={"intake": 9.0, "terrain": 9.0})
    other = json.loads(manifest.render(slower, OUTPUTS)["run.json"])
    assert other.pop("seconds") != read.pop("seconds")
    assert other == read


def test_counts(read):
    assert read["counts"] == {"plots": 14, "plots_used": 12, "set_aside": 2, "villages": 3}
    counts = read["counts"]
    assert counts["plots"] == counts["plots_used"] + counts["set_aside"]


def test_digests_of_outputs_are_theirs(read):
    assert read["outputs"] == [
        {"name": name, "sha256": hashlib.sha256(OUTPUTS[name]).hexdigest()}
        for name in sorted(OUTPUTS)
    ]


def test_handbook_tables_are_listed_with_their_digests(read, small_results):
    listed = {entry["table"]: entry["sha256"] for entry in read["handbook"]}
    assert listed == {t.name: t.sha256 for t in small_results.handbook.tables.values()}


def test_settings_are_the_whole_plan(read, small_results):
    assert read["settings"] == small_results.plan.model_dump(mode="json")


def test_what_readings_say_and_other_rasters_would_serve(small_results, read):
    assert read["readings_against_raster"] is None
    assert read["other_rasters"] == []
    slopes = (Spread("", 25, -1.5, 0.2, 1.1), Spread("Sloping", 6, -2.0, 0.5, 1.2))
    calibration = Calibration(slopes, (Spread("", 21, 3.0, 1.0, 4.5),), ("A-02",), 1.25, None)
    readings = dataclasses.replace(small_results.readings, calibration=calibration)
    files = small_results.plan.files.model_copy(update={"readings": "readings.csv"})
    changed = dataclasses.replace(
        small_results,
        plan=small_results.plan.model_copy(update={"files": files}),
        readings=readings,
        forecasts=(Forecast("surveyed from the air", 1.0, 0.1, 0.9, 0.95, rough=False),),
    )
    found = json.loads(manifest.render(changed, OUTPUTS)["run.json"])
    told = found["readings_against_raster"]
    assert [Spread(**one) for one in told.pop("slopes_pct")] == list(slopes)
    assert [Spread(**one) for one in told.pop("bearings_deg")] == list(calibration.bearings)
    assert told == {"outside": ["A-02"], "vertical_error_m": 1.25, "vertical_error_se_m": None}
    assert [Forecast(**one) for one in found["other_rasters"]] == list(changed.forecasts)


def test_versions(read):
    assert read["dictionary_version"] == DICTIONARY_VERSION
    assert all(re.match(r"\d+\.\d+", version) for version in read["packages"].values())


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("/home/officer/plots.gpkg", "plots.gpkg"),
        ("C:\\district\\plots.gpkg", "plots.gpkg"),
        ("\\\\server\\share\\plots.gpkg", "plots.gpkg"),
        ("C:plots.gpkg", "plots.gpkg"),
        ("../data/plots.gpkg", "../data/plots.gpkg"),
        ("plots.gpkg", "plots.gpkg"),
    ],
)
def test_no_absolute_path(small_results, name, shown):
    beside = ("handbook", "vetoes", "onsets", "stock", "arrived", "villages", "village_names")
    files = small_results.plan.files.model_copy(
        update={"plots": name, "elevation": [name]} | dict.fromkeys(beside, name)
    )
    plan = small_results.plan.model_copy(update={"files": files})
    changed = dataclasses.replace(small_results, plan=plan, input_sha256={name: "0" * 64})
    text = manifest.render(changed, {})["run.json"].decode()
    found = json.loads(text)
    assert found["inputs"] == [{"name": shown, "sha256": "0" * 64}]
    assert found["settings"]["files"]["plots"] == shown
    assert found["settings"]["files"]["elevation"] == [shown]
    assert {found["settings"]["files"][key] for key in beside} == {shown}
    assert "officer" not in text
    assert "server" not in text
