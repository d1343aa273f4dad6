"""Measures in files and in words: what was chosen, in order, and nothing that carries water."""

from __future__ import annotations

import csv
import io

import geopandas as gpd
import pandas as pd
import pytest

from districtplan import outputs
from districtplan.conservation import catalogue
from districtplan.outputs import measure_words, measures_csv
from tests.outputs.conftest import make_results


@pytest.fixture(scope="module")
def files(texts):
    return measures_csv.render(make_results(), texts)


def rows_of(raw):
    return list(csv.DictReader(io.StringIO(raw.decode("utf-8"), newline="")))


def test_every_plot_and_measure_is_offered_or_refused(files, small_results):
    every = pd.read_parquet(io.BytesIO(files["measure_options.parquet"]))
    measures = [one.name for one in catalogue(small_results.handbook)]
    assert len(every) == len(small_results.plots) * len(measures)
    assert not every.duplicated(["plot_id", "measure"]).any()
    assert (every["measure_reason"].isna() == every["soil_loss_after_likely_t_ha_yr"].notna()).sum()


def test_measures_stand_in_the_order_of_work_and_carry_no_water(files, small_results):
    chosen = rows_of(files["measures.csv"])
    assert chosen
    assert [int(row["measure_order"]) for row in chosen] == list(range(1, len(chosen) + 1))
    carrying = {one.name for one in catalogue(small_results.handbook) if one.carries_water}
    assert carrying
    assert carrying.isdisjoint(row["measure"] for row in chosen)
    for row in chosen:
        assert float(row["loss_left_likely_share"]) < 1


def test_every_measure_has_words(texts, small_results):
    section = {name: texts.section(f"measures.{name}") for name in ("name", "upkeep", "caution")}
    for one in catalogue(small_results.handbook):
        assert one.name in section["name"]
    table = small_results.handbook.rows("measures")
    assert set(table["upkeep"]) <= set(section["upkeep"])
    assert set(table["caution"]) <= {*section["caution"], "none"}


def test_a_districts_own_measure_is_named_by_its_name(texts):
    assert measure_words.name("vetiver_hedge", texts) == "vetiver hedge"


def test_sentences_name_what_is_chosen(texts, small_results):
    said = " ".join(measure_words.sentences(small_results, texts))
    for measure in small_results.proposal.priorities.chosen["measure"].unique():
        assert measure_words.name(str(measure), texts) in said
    assert "technician" in said
    assert "measure_costs.csv" in said


def test_the_sheet_holds_the_numbers_of_the_file(texts, small_results, files):
    shown = measure_words.worded(small_results, texts)
    chosen = rows_of(files["measures.csv"])
    assert shown["plot_id"].tolist() == [row["plot_id"] for row in chosen]
    told = [None if not row["soil_saved_t_yr"] else float(row["soil_saved_t_yr"]) for row in chosen]
    saved = [None if pd.isna(value) else value for value in shown["soil_saved_t_yr"]]
    assert saved == told


def test_the_walk_over_list_says_why(texts, small_results):
    walk = measure_words.looked_at(small_results, texts)
    assert 0 < len(walk) <= 10
    assert walk["reason"].str.len().gt(0).any()


def test_a_layer_shows_what_is_chosen_where(texts, small_results, tmp_path):
    path = tmp_path / "plots.gpkg"
    path.write_bytes(outputs.layers.render(small_results, texts)["plots.gpkg"])
    layer = gpd.read_file(path, layer="measures")
    outlines = small_results.plots.set_index("plot_id")["geometry"]
    assert len(layer) == len(small_results.proposal.priorities.chosen)
    for row in layer.itertuples():
        assert row.geometry.equals(outlines[row.plot_id]) or row.geometry.geoms[0].equals(
            outlines[row.plot_id]
        )
