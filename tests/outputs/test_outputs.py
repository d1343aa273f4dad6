from __future__ import annotations

import json

import pytest

from districtplan.outputs import FORMATS, render_all


@pytest.fixture(scope="module")
def files(small_results):
    return render_all(small_results)


def test_same_results_same_bytes(files, small_results):
    assert render_all(small_results) == files


def test_files_of_a_run(files):
    assert {
        "index.html",
        "plots.parquet",
        "plots.gpkg",
        "villages.csv",
        "set_aside.csv",
        "outlines.csv",
        "columns.csv",
        "district.xlsx",
        "run.json",
    } <= set(files)


def test_manifest_covers_every_other_file(files):
    listed = json.loads(files["run.json"])["outputs"]
    assert {entry["name"] for entry in listed} == set(files) - {"run.json"}


@pytest.mark.parametrize("name", FORMATS)
def test_every_format_renders_every_district(
    name, small_results, results_without_soil, results_with_names, texts
):
    for results in (small_results, results_without_soil, results_with_names):
        made = FORMATS[name](results, texts)
        # Nothing is handed out while it isn't known to whom; nobody asked for demonstration plots
        # or visits.
        assert bool(made) is (name not in {"lists", "demos", "demo pages", "visits", "days"})
        assert all(isinstance(content, bytes) and content for content in made.values())


def test_no_farmer_in_any_byte_unless_asked(files, results_with_names):
    assert not any(b"Invented Farmer" in content for content in files.values())
    assert any(b"Invented Farmer" in content for content in render_all(results_with_names).values())
