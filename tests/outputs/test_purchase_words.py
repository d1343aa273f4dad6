"""Sentences on what is bought."""

from __future__ import annotations

import dataclasses
import io

import openpyxl
import pandas as pd

from districtplan.outputs import purchase_words, workbook
from districtplan.outputs.page import bought
from districtplan.outputs.purchase_tables import costs_in_all, served_totals
from districtplan.outputs.wording import kilograms
from tests.outputs.conftest import bought_by


def test_an_upper_limit_is_called_one(small_results, texts):
    first, *rest = purchase_words.headline(small_results, texts)
    assert first.startswith("Upper limit, not an order: ")
    assert "The plan gives no rate for urea: left out." in rest
    assert any(
        " no-go: too steep (" in line and " registered, not enrolled" in line for line in rest
    )


def test_an_order_says_its_packs(enrolled_results, texts):
    first, *_ = purchase_words.headline(enrolled_results, texts)
    seed = enrolled_results.purchase.orders.query("good == 'seed'")
    packs, grams = int(seed["packs"].sum()), int(seed["ordered_g"].sum())
    assert first.endswith(f": {kilograms(grams)} kg of seed ({packs:,} packs).")


def test_when_and_how_much_money_come_before_what(enrolled_results, texts):
    first, *_ = purchase_words.headline(enrolled_results, texts)
    cost = sum(costs_in_all(enrolled_results.purchase).values())
    # Sixty to forty-five days before the rains of 15 March.
    assert first.startswith(f"Order 14 Jan to 29 Jan, about {cost:,.0f} shell: ")
    unpriced = bought_by(enrolled_results, money={"npk_price_kg": None})
    bare, *_ = purchase_words.headline(unpriced, texts)
    assert bare.startswith("Order 14 Jan to 29 Jan: ")


def test_uptake_names_whom_it_is_of(enrolled_results, texts):
    """The page counts demo kits with those enrolled, the Summary doesn't."""
    order = bought.order(enrolled_results, texts)
    assert "Uptake here is of those enrolled and demo kits" in order["hint"]
    said = " ".join(purchase_words.sentences(enrolled_results, texts))
    assert "all who take part, demo kits too, would need" in said
    content = workbook.render(enrolled_results, texts)["district.xlsx"]
    lines = [cell.value for cell in openpyxl.load_workbook(io.BytesIO(content))["Summary"]["A"]]
    assert "of the enrolled alone, no demo kits: usual uptake" in lines


def test_nobody_enrolled_is_said(enrolled_results, texts):
    found = enrolled_results.purchase
    kits = found.kits.assign(order_line="registered")
    empty = dataclasses.replace(found, kits=kits, orders=found.orders.iloc[:0])
    first, *_ = purchase_words.headline(
        dataclasses.replace(enrolled_results, purchase=empty), texts
    )
    assert first == "Nothing is ordered: nobody is enrolled."
    nobody = dataclasses.replace(
        empty, labour=empty.labour.iloc[:0], margins=empty.margins.iloc[:0]
    )
    left = dataclasses.replace(enrolled_results, purchase=nobody)
    first, *rest = purchase_words.sentences(left, texts)
    assert first == "Nothing is ordered: nobody is enrolled."
    # The plan gives person-days: there is only nobody to work.
    assert not any("Labour is left out" in line for line in rest)
    book = openpyxl.load_workbook(io.BytesIO(workbook.render(left, texts)["district.xlsx"]))
    for name in ("Orders", "Labour", "Margins"):
        assert book[name]["A1"].value == "Nothing here: nobody is enrolled."


def test_what_is_not_known_is_said(small_results, enrolled_results, texts):
    said = " ".join(purchase_words.sentences(small_results, texts))
    assert "Labour is left out" in said
    assert "Money is left out" in said
    told = " ".join(purchase_words.sentences(enrolled_results, texts))
    assert "left out: the plan gives no person-days" not in told
    assert "Money is left out" not in told


def test_totals_are_of_those_served(small_results, enrolled_results):
    for results, lines in (
        (small_results, ["registered"]),
        (enrolled_results, ["enrolled", "demo"]),
    ):
        villages, district = served_totals(results)
        kits = results.purchase.kits
        theirs = kits[kits["order_line"].isin(lines)]
        assert district["seed_g"] == theirs["seed_g"].sum() == villages["seed_g"].sum()
        assert (
            district["seed_packs"] == results.purchase.orders.query("good == 'seed'")["packs"].sum()
        )
        assert pd.isna(district["urea_g"])


def test_the_calendar_has_a_row_a_work(enrolled_results, texts):
    told = bought.calendar(enrolled_results, texts)
    assert told["heads"][:2] == ["Work", "usual rains"]
    works = {row[0]: row for row in told["rows"]}
    assert len(works) == len(told["rows"]) == len(enrolled_results.purchase.calendar)
    assert "not before" not in works["plant"][-1]
    late = [row for row in told["rows"] if "No hoe while flowers are open" in row[-1]]
    assert {row[0] for row in late} == {"third weeding"}


def test_every_work_has_a_name(enrolled_results, texts):
    works = texts.section("works")
    assert set(enrolled_results.purchase.calendar["work"]) <= set(works)
    assert set(texts.section("works_note")) - {"no_hoe", "rule"} <= set(works)
