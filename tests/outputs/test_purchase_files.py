"""What is bought, as files carry it."""

from __future__ import annotations

import csv
import io

import numpy as np
import pandas as pd
import pytest

from districtplan import tables
from districtplan.outputs import purchase_files
from districtplan.outputs.plot_table import dictionary
from districtplan.outputs.purchase_tables import purchase_tables
from districtplan.outputs.texts import Texts
from tests.outputs.conftest import DEMO, ENROLLED, bought_by


def rows(content):
    return list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline="")))


def test_csv_and_parquet_say_the_same(enrolled_results, texts):
    files = purchase_files.render(enrolled_results, texts)
    names = {name.partition(".")[0] for name in files}
    assert names >= {f"purchase/{one}" for one in (
        "kits", "lines", "uptake", "orders", "deliveries", "distribution", "calendar", "labour",
        "margins",
    )}  # fmt: skip
    for name in names:
        listed = rows(files[f"{name}.csv"])
        kept = pd.read_parquet(io.BytesIO(files[f"{name}.parquet"]))
        assert list(listed[0]) == list(kept)
        assert len(listed) == len(kept)
        for column in kept.select_dtypes("number"):
            told = [float(row[column]) if row[column] else np.nan for row in listed]
            np.testing.assert_array_equal(told, kept[column].to_numpy("float64", na_value=np.nan))


def test_every_column_is_declared_and_in_the_dictionary(enrolled_results):
    told = set(dictionary(enrolled_results)["name"])
    for table in purchase_tables(enrolled_results).values():
        assert set(table) <= set(tables.BY_NAME)
        assert table.empty or set(table) <= told


def test_lines_are_never_added_up(enrolled_results):
    lines = purchase_tables(enrolled_results)["lines"]
    assert set(lines["order_line"]) == {"enrolled", "demo", "registered", "too steep"}
    count = lines.groupby("order_line")["plots"].sum()
    assert count["enrolled"] == len(ENROLLED)
    assert count["demo"] == len(DEMO)
    assert count.sum() == len(enrolled_results.plots)


def test_an_upper_limit_is_no_order_and_nothing_is_handed_out(small_results, texts):
    files = purchase_files.render(small_results, texts)
    assert {row["order_status"] for row in rows(files["purchase/orders.csv"])} == {
        "upper limit, not an order"
    }
    assert "purchase/distribution.csv" not in files
    assert "purchase/deliveries.csv" not in files


def test_costs_of_lines_are_those_of_their_kits_to_the_cent(enrolled_results):
    made = purchase_tables(enrolled_results)
    by_line = made["kits"].groupby(["village", "order_line"])["kit_cost"].sum()
    for line in made["lines"].itertuples():
        assert line.kit_cost == pytest.approx(by_line[line.village, line.order_line], abs=1e-6)
    goods = made["kits"][["seed_cost", "npk_cost", "manure_cost"]].sum(axis=1)
    assert goods.to_numpy() == pytest.approx(made["kits"]["kit_cost"].to_numpy(), abs=1e-9)


def test_a_list_gives_each_farmer_packs_and_the_rest_loose(enrolled_results):
    listed = purchase_tables(enrolled_results)["distribution"]
    seed = listed[listed["good"] == "seed"].set_index("farmer_id")
    assert seed.loc["f1", "farmer_plots"] == 2
    assert (seed["whole_packs"] * 2_000 + seed["loose_g"] == seed["issued_g"]).all()
    assert (seed["loose_g"] < 2_000).all()
    assert (seed["short_g"] == 0).all()
    assert (listed["signature"] == "").all()


def test_names_never_start_a_formula(enrolled_results):
    content = purchase_files.render(enrolled_results, Texts.load("en"))["purchase/distribution.csv"]
    found = {row["farmer_id"] for row in rows(content)}
    assert {"'=HYPERLINK(1)", "'@x"} <= found
    assert not any(name.startswith(("=", "@", "\t", "+")) for name in found)


def test_farmers_are_named_only_if_the_plan_asks(small_results, results_with_names):
    assert "farmer_name" not in purchase_tables(small_results)["distribution"]
    named = purchase_tables(bought_by(results_with_names))["distribution"]
    assert named["farmer_name"].notna().all()
