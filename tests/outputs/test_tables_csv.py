from __future__ import annotations

import csv
import dataclasses
import io

import pandas as pd
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from districtplan import tables
from districtplan.outputs import layers, tables_csv

HOSTILE = [
    "=1+1",
    "+1",
    "-1+2",
    "@SUM(A1)",
    "|calc",
    "%0A",
    "\t=1",
    "\r=1",
    "a\r=1+1",
    "  =1",
    "\uff1d1",
    'say "a", b',
    "plain",
    "-",
    "Ünïcode",
    "",
]


def rows(content):
    return list(csv.reader(io.StringIO(content.decode("utf-8"), newline="")))


@pytest.fixture(scope="module")
def files(small_results, texts):
    return tables_csv.render(small_results, texts)


def test_same_results_same_bytes(files, small_results, texts):
    assert tables_csv.render(small_results, texts) == files


def test_columns_csv_covers_the_tables_exactly(files, small_results, texts):
    _, *listed = rows(files["columns.csv"])
    within = {row[0]: row[4].split(", ") for row in listed}
    parquet = layers.render(small_results, texts)["plots.parquet"]
    in_parquet = set(pq.read_schema(io.BytesIO(parquet)).names)
    assert {name for name, where in within.items() if "plots" in where} == in_parquet
    assert {name for name, where in within.items() if "villages" in where} == set(
        rows(files["villages.csv"])[0]
    )
    assert {name for name, where in within.items() if "set_aside" in where} == set(
        rows(files["set_aside.csv"])[0]
    )


def test_outlines_list_what_was_mended_or_overlaps_and_nothing_else(small_results, texts):
    plots = small_results.plots
    shared = plots.assign(overlap_ha=0.0, overlap_plots=None)
    shared.loc[2, ["overlap_ha", "overlap_plots"]] = (0.01, "=1+1")
    changed = dataclasses.replace(small_results, plots=shared)
    head, *listed = rows(tables_csv.render(changed, texts)["outlines.csv"])
    found = [dict(zip(head, row, strict=True)) for row in listed]
    assert [row["plot_id"] for row in found] == plots["plot_id"].iloc[[0, 2]].tolist()
    assert found[0]["outline_repair"] == "a spike was cut off"
    assert float(found[0]["area_as_given_ha"]) > float(found[0]["area_ha"])
    assert found[1]["overlap_plots"] == "'=1+1"


def test_every_column_of_the_dictionary_has_a_meaning(files):
    head, *listed = rows(files["columns.csv"])
    assert head == ["name", "unit", "kind", "stage", "tables", "meaning"]
    assert all(row[5] for row in listed)
    assert {row[0] for row in listed} <= set(tables.BY_NAME)


def test_units_read_plainly(files):
    _, *listed = rows(files["columns.csv"])
    units = {row[0]: row[1] for row in listed}
    assert units["slope_mean_pct"] == "percent"
    assert not any(unit.startswith("'") for unit in units.values())


def test_lines_end_in_crlf(files):
    for content in files.values():
        assert content.endswith(b"\r\n")
        assert content.count(b"\n") == content.count(b"\r\n") == content.count(b"\r")


def test_villages_keep_their_numbers(files, small_results):
    head, *listed = rows(files["villages.csv"])
    for found, (_, village) in zip(listed, small_results.villages.iterrows(), strict=True):
        row = dict(zip(head, found, strict=True))
        assert row["village"] == village["village"]
        assert int(row["holes"]) == village["holes"]
        assert float(row["area_ha"]) == village["area_ha"]
        assert float(row["seed_kg"]) == village["seed_g"] / 1000
        assert row["urea_g"] == row["urea_kg"] == ""


def test_set_aside_says_which_why_and_what_to_do(small_results, texts):
    aside = small_results.set_aside.assign(plot_id=["=1+1", "a\r=2"])
    changed = dataclasses.replace(small_results, set_aside=aside)
    head, first, second = rows(tables_csv.render(changed, texts)["set_aside.csv"])
    assert head == ["source_row", "plot_id", "reason", "remedy", "village"]
    assert first[:4] == ["13", "'=1+1", "the outline crosses itself", "Redraw the outline"]
    assert first[4:] == ["Upper Tamba Ridge"]
    assert second[1] == "a␍=2"


@pytest.mark.parametrize("text", HOSTILE)
def test_no_cell_is_a_formula(text):
    content = tables_csv.write(pd.DataFrame({"id": [text], "n": [-1.5]}))
    assert content.count(b"\r") == 2
    (_, (shown, number)) = rows(content)
    assert not shown.lstrip().startswith(tables_csv.FORMULA_STARTS)
    assert number == "-1.5"
    # As a careless reader splits lines: no piece of any line starts a formula.
    for line in content.decode().splitlines()[1:]:
        assert not line.lstrip().startswith(tables_csv.FORMULA_STARTS)


@given(st.text(max_size=12), st.integers(), st.floats(allow_nan=False, allow_infinity=False))
def test_text_and_numbers_survive(text, whole, number):
    (_, found) = rows(
        tables_csv.write(pd.DataFrame({"t": [text], "i": [str(whole)], "f": [number]}))
    )
    assert float(found[2]) == number
    assert found[0].removeprefix("'") == text.translate(tables_csv.PICTURES).removeprefix("'")


def test_unknown_is_empty():
    assert [tables_csv.cell(value) for value in (None, pd.NA, float("nan"))] == ["", "", ""]
    assert tables_csv.cell(0) == "0"
    assert tables_csv.cell(0.0) == "0.0"
