"""The workbook's formulas, recalculated by another program, against the package's totals."""

from __future__ import annotations

import dataclasses
import io
import math
import os
import re
import shutil
import subprocess
import warnings
import zipfile

import openpyxl
import pandas as pd
import pytest

from districtplan.handbook import packaged
from districtplan.inputs import LINES, NO_GO, need
from districtplan.outputs import purchase_sheets, workbook
from districtplan.outputs.purchase_tables import purchase_tables
from districtplan.outputs.wording import kilograms
from tests.outputs.conftest import bought_by

OFFICE = shutil.which("soffice")
CENT = 0.005
HEADS_AT = 3
"""Row of the heads of the sheet Distribution, below its sentences."""
PRICES = {
    "currency": "shell", "seed_price_kg": 2.35, "npk_price_kg": 1.07, "urea_price_kg": 0.9,
    "manure_price_kg": 0.05, "grain_price_low_kg": 0.5, "grain_price_high_kg": 0.9,
}  # fmt: skip
WORK = {
    "planting_days_ha": 20.0, "harvest_days_ha": 25.0, "manure_loads_a_day": 3.0,
    "hands_a_plot": 2.0,
}  # fmt: skip
MARGIN_HEADS = {
    "Value of the harvest, low [shell]": "value_low",
    "Value, high [shell]": "value_high",
    "Cost of inputs [shell]": "cost",
    "Margin, low [shell]": "margin_low",
    "Margin, high [shell]": "margin_high",
    "Value added by cost added, low": "value_cost_ratio_low",
    "Value added by cost added, high": "value_cost_ratio_high",
}


def without_values(content: bytes) -> bytes:
    """Take away the values kept beside formulas, so that whoever opens it must calculate."""
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as source, zipfile.ZipFile(target, "w") as bare:
        for name in source.namelist():
            raw = source.read(name)
            if name.startswith("xl/worksheets/sheet"):
                raw = re.sub(rb"(</f>)<v>[^<]*</v>", rb"\1", raw)
            bare.writestr(name, raw)
    return target.getvalue()


def recalculated(content: bytes, folder) -> openpyxl.Workbook:
    path = folder / "given.xlsx"
    path.write_bytes(content)
    subprocess.run(
        [OFFICE, f"-env:UserInstallation={(folder / 'profile').as_uri()}", "--headless",
         "--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", folder / "out", path],
        check=True, capture_output=True, timeout=240,
    )  # fmt: skip
    return openpyxl.load_workbook(folder / "out" / "given.xlsx", data_only=True)


def column(sheet, head: str) -> list:
    heads = [cell.value for cell in sheet[1]]
    return [row[heads.index(head)] for row in sheet.iter_rows(min_row=2, values_only=True)]


@pytest.fixture(scope="module")
def office():
    if OFFICE is None and os.environ.get("CI"):
        pytest.fail("LibreOffice isn't installed, and CI must have it for slow tests")
    if OFFICE is None:
        pytest.skip("LibreOffice isn't installed")


@pytest.fixture(scope="module")
def content(enrolled_results, texts):
    return workbook.render(enrolled_results, texts)["district.xlsx"]


def at_rates(results, **sections):
    """Buy as :func:`bought_by` does, with goods that follow the plan's rates."""
    plan = bought_by(results, **sections).plan
    needed = need(results.plots, plan, packaged())
    goods = {name: needed[name].to_numpy() for name in ("seed_g", "npk_g", "urea_g", "manure_g")}
    return bought_by(dataclasses.replace(results, plots=results.plots.assign(**goods)), **sections)


@pytest.fixture(scope="module")
def results_at_work(enrolled_results):
    return at_rates(enrolled_results, money=PRICES, labour=WORK)


def test_openpyxl_reads_it_without_complaint(content):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        book = openpyxl.load_workbook(io.BytesIO(content))
    assert {"Summary", "Orders", "Distribution", "Kits", "Assumptions"} <= set(book.sheetnames)


def test_values_kept_are_the_packages_totals(content, enrolled_results, texts):
    book = openpyxl.load_workbook(io.BytesIO(content), data_only=True)
    lines = purchase_tables(enrolled_results)["lines"]
    for line in LINES:
        said = texts.say(f"order_lines.{line}")
        place = column(book["Summary"], "Line (never added up)").index(said)
        theirs = lines[lines["order_line"] == line]
        grams = int(theirs["kit_seed_g"].sum())
        seed = column(book["Summary"], "Seed [kg]")[place]
        if line in NO_GO:
            assert seed is None
            areas = column(book["Villages"], f"{said}: Area [ha]")[:-1]
            assert sum(areas) == pytest.approx(theirs["bean_area_ha"].sum())
            continue
        assert seed == pytest.approx(grams / 1000)
        assert sum(column(book["Villages"], f"{said}: Cost [shell]")[:-1]) == pytest.approx(
            theirs["kit_cost"].sum(), abs=CENT
        )
    orders = enrolled_results.purchase.orders
    packs = orders["packs"].astype(object).where(orders["packs"].notna(), None)
    assert column(book["Orders"], "Packs to buy") == packs.tolist()
    paid = orders.groupby("good", sort=False)["order_cost"].sum().tolist()
    cost = column(book["Order in all"], "Cost of what is bought [shell]")
    assert cost == pytest.approx(paid, abs=CENT)


def test_no_row_adds_up_the_lines(content):
    sheet = openpyxl.load_workbook(io.BytesIO(content))["Summary"]
    assert sheet.max_row == 1 + len(LINES) + 3
    assert not any("SUM(" in str(cell.value) for row in sheet for cell in row)


def test_every_assumption_has_a_source_and_a_name(content):
    book = openpyxl.load_workbook(io.BytesIO(content))
    sheet = book["Assumptions"]
    assert all(column(sheet, "Source"))
    for name, cell in zip(column(sheet, "Name in formulas"), sheet["B"][1:], strict=True):
        assert book.defined_names[name].attr_text == f"'Assumptions'!$B${cell.row}"
        assert cell.data_type == "n"


def test_the_sheet_says_of_each_assumption_that_no_order_follows_it(enrolled_results, texts):
    laid = {one.name: one for one in purchase_sheets.sheets(enrolled_results, texts, 1_000)}
    orders, held = laid["orders"], laid["assumptions"].table.set_index("assumption")
    formulas = " ".join(
        orders.formulas[name](2) for name in ("planned_kg", "wanted_kg", "packs", "ordered_kg")
    )
    for season in ("low", "usual", "high"):
        name = f"uptake_{season}_share"
        assert name not in formulas
        assert "moves what is used, not the order" in held.loc[name, "what"]


def test_a_sheet_that_is_too_small_is_not_looked_through(enrolled_results, texts):
    laid = {one.name: one for one in purchase_sheets.sheets(enrolled_results, texts, 5)}
    assert not laid["summary"].formulas
    assert not laid["villages"].formulas
    assert "planned_kg" not in laid["orders"].formulas
    assert not laid["order_in_all"].formulas


def worked_by_hand(laid, row: int, changed: dict[str, float], named: dict[str, float]) -> dict:
    """Work out the cells of a row of orders as a spreadsheet does, after some have changed."""
    cells = {laid.column(name): laid.table[name].iloc[row - 2] for name in laid.table}
    cells |= {laid.column(name): value for name, value in changed.items()}
    rules = {
        "MIN": min, "MAX": max, "ROUND": round, "N": lambda value: value,
        "ROUNDUP": lambda value, _: math.ceil(value),
    }  # fmt: skip
    for name in ("wanted_kg", "stock_kg", "packs", "ordered_kg", "leftover_kg", "order_cost"):
        told = re.sub(rf"\b([A-Z]+){row}\b", r"cells['\1']", laid.formulas[name](row))
        cells[laid.column(name)] = eval(told, {**rules, **named, "cells": cells})
    return {name: cells[laid.column(name)] for name in laid.table}


@pytest.mark.parametrize("times", [0.0, 0.3, 1.0, 2.7])
def test_another_rate_draws_on_the_stock_and_never_buys_less_than_nothing(
    enrolled_results, texts, times
):
    laid = {one.name: one for one in purchase_sheets.sheets(enrolled_results, texts, 1_000)}
    orders, held = laid["orders"], laid["assumptions"].table.set_index("assumption")["value"]
    drawn = 0
    for place, good in enumerate(enrolled_results.purchase.orders["good"]):
        if good != "seed":
            continue
        planned = orders.table["planned_kg"].iloc[place] * times
        found = worked_by_hand(orders, place + 2, {"planned_kg": planned}, held.to_dict())
        there, wanted = found["stock_there_kg"], found["wanted_kg"]
        short = max(wanted - there, 0)
        assert wanted == pytest.approx(planned * (found["enough_share"] or 0), abs=1e-3)
        assert found["stock_kg"] == min(there, wanted)
        assert found["packs"] == math.ceil(round(short / held["seed_pack_kg"], 9))
        assert found["packs"] >= 0
        assert found["ordered_kg"] == found["packs"] * held["seed_pack_kg"]
        assert found["leftover_kg"] == pytest.approx(found["ordered_kg"] - short)
        assert found["order_cost"] == pytest.approx(found["ordered_kg"] * 2.35)
        drawn += there > 0
    assert drawn


@pytest.mark.parametrize("left", ["seed", "nothing"])
def test_what_is_left_out_has_no_column_and_no_formula(enrolled_results, texts, left):
    """Without fertiliser or anything: sheets stand, and nothing names what isn't there."""
    goods = [f"{good}_g" for good in ("npk", "urea", "manure", *(["seed"] * (left == "nothing")))]
    none = pd.array([pd.NA] * len(enrolled_results.plots), dtype="Int64")
    plots = enrolled_results.plots.assign(**dict.fromkeys(goods, none))
    rates = dict.fromkeys(("npk_kg_ha", "urea_kg_ha", "manure_kg_ha"))
    if left == "nothing":
        rates["hundred_seed_weight_g"] = None
    given = bought_by(dataclasses.replace(enrolled_results, plots=plots), practice=rates)
    content = workbook.render(given, texts)["district.xlsx"]
    book = openpyxl.load_workbook(io.BytesIO(content))
    heads = [str(cell.value) for cell in book["Summary"][1]]
    assert ("Seed [kg]" in heads) == (left == "seed")
    assert not any(good in head for head in heads for good in ("NPK", "Urea", "anure"))
    named = set(book.defined_names)
    used = {
        word
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "f"
        for word in re.findall(r"[a-z]+(?:_[a-z0-9]+)+", cell.value)
    }
    assert used <= named


@pytest.mark.slow
@pytest.mark.usefixtures("office")
def test_recalculated_values_are_those_kept(content, tmp_path):
    kept = openpyxl.load_workbook(io.BytesIO(content), data_only=True)
    live = openpyxl.load_workbook(io.BytesIO(content))
    found = recalculated(without_values(content), tmp_path)
    checked = 0
    for sheet in live:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type != "f":
                    continue
                value = found[sheet.title][cell.coordinate].value
                expected = kept[sheet.title][cell.coordinate].value
                assert value == pytest.approx(expected, abs=1e-6), (sheet.title, cell.coordinate)
                checked += 1
    assert checked > 300


@pytest.mark.slow
@pytest.mark.usefixtures("office")
def test_a_changed_assumption_gives_what_the_package_gives(content, enrolled_results, tmp_path):
    book = openpyxl.load_workbook(io.BytesIO(content))
    sheet = book["Assumptions"]
    changed = {
        "seed_price_kg": 3.11,
        "spillage_share": 0.1,
        "seed_pack_kg": 5.0,
        "refill_share": 0.2,
        "germination_share": 0.8,
    }
    for name, cell in zip(column(sheet, "Name in formulas"), sheet["B"][1:], strict=True):
        if name in changed:
            cell.value = changed.pop(name)
    assert not changed
    target = io.BytesIO()
    book.save(target)
    found = recalculated(target.getvalue(), tmp_path)
    other = bought_by(
        enrolled_results,
        money={"seed_price_kg": 3.11},
        practice={"spillage_share": 0.1, "refill_share": 0.2, "germination_share": 0.8},
        orders={"seed_pack_kg": 5.0},
    )
    kits = purchase_tables(other)["kits"]
    assert column(found["Kits"], "Seed [g]") == kits["kit_seed_g"].tolist()
    assert column(found["Kits"], "Cost [shell]") == pytest.approx(
        kits["kit_cost"].tolist(), abs=CENT
    )
    seed = other.purchase.orders.query("good == 'seed'")
    amounts = column(found["Orders"], "All who take part [kg]")[: len(seed)]
    assert amounts == pytest.approx((seed["planned_g"] / 1000).tolist())
    assert column(found["Orders"], "Packs to buy")[: len(seed)] == seed["packs"].tolist()
    paid = column(found["Orders"], "Cost of what is bought [shell]")[: len(seed)]
    assert paid == pytest.approx((seed["packs"] * 5 * 3.11).tolist(), abs=CENT)


@pytest.mark.slow
@pytest.mark.usefixtures("office")
@pytest.mark.parametrize("weight_g", [17.0, 59.0])
def test_a_lighter_and_a_heavier_seed_draw_on_the_stock(
    enrolled_results, texts, tmp_path, weight_g
):
    """Stock between what both want: the lighter buys none, the heavier uses all of it."""
    own = {"seed_stock_kg": 120.0, "seed_pack_kg": 2.0}
    first = at_rates(enrolled_results, orders=own)
    book = openpyxl.load_workbook(io.BytesIO(workbook.render(first, texts)["district.xlsx"]))
    sheet = book["Assumptions"]
    for name, cell in zip(column(sheet, "Name in formulas"), sheet["B"][1:], strict=True):
        cell.value = weight_g if name == "hundred_seed_weight_g" else cell.value
    target = io.BytesIO()
    book.save(target)
    found = recalculated(target.getvalue(), tmp_path)["Orders"]
    other = at_rates(enrolled_results, orders=own, practice={"hundred_seed_weight_g": weight_g})
    seed = other.purchase.orders.query("good == 'seed'")
    before = first.purchase.orders.query("good == 'seed'")
    bought, once = seed["packs"].sum(), before["packs"].sum()
    assert bought > once > 0 if weight_g > 40 else bought == 0 < once
    for head, name in (("Enough [kg]", "wanted_g"), ("Used from stock [kg]", "stock_g")):
        told = column(found, head)[: len(seed)]
        assert told == pytest.approx((seed[name] / 1000).tolist(), abs=0.003), head
    assert column(found, "Packs to buy")[: len(seed)] == seed["packs"].tolist()
    cost = column(found, "Cost of what is bought [shell]")[: len(seed)]
    assert cost == pytest.approx(seed["order_cost"].tolist(), abs=CENT)


@pytest.mark.slow
@pytest.mark.usefixtures("office")
def test_work_and_margins_follow_a_changed_price_rate_and_day(results_at_work, texts, tmp_path):
    changed = {
        "money": {"npk_price_kg": 1.23, "grain_price_low_kg": 0.61, "yield_with_high_kg_ha": 1_777},
        "practice": {"npk_kg_ha": 83.0, "manure_kg_ha": 2_600.0},
        "labour": {"planting_days_ha": 31.0, "manure_loads_a_day": 7.0, "work_days_a_week": 4.0},
    }
    book = openpyxl.load_workbook(
        io.BytesIO(workbook.render(results_at_work, texts)["district.xlsx"])
    )
    left = {key: value for keys in changed.values() for key, value in keys.items()}
    sheet = book["Assumptions"]
    for name, cell in zip(column(sheet, "Name in formulas"), sheet["B"][1:], strict=True):
        cell.value = left.pop(name, cell.value)
    assert not left
    target = io.BytesIO()
    book.save(target)
    found = recalculated(target.getvalue(), tmp_path)
    beside = {
        "money": {**PRICES, **changed["money"]},
        "practice": changed["practice"],
        "labour": {**WORK, **changed["labour"]},
    }
    made = purchase_tables(at_rates(results_at_work, **beside))
    before = purchase_tables(results_at_work)
    for head, name in MARGIN_HEADS.items():
        told = made["margins"][name].dropna().tolist()
        cells = [cell for cell in column(found["Margins"], head) if cell not in (None, "")]
        assert cells == pytest.approx(told, abs=CENT), head
        assert name == "value_low" or told != before["margins"][name].dropna().tolist()
    for head, name in (("Person-days", "work_days"), ("Person-days there are", "hands_days")):
        told = made["labour"][name].tolist()
        assert column(found["Labour"], head)[: len(told)] == pytest.approx(told, abs=CENT), head
        assert told != pytest.approx(before["labour"][name].tolist(), abs=CENT)
    by_week = made["labour"].groupby(["village", "week_to"])
    lacking = (by_week["work_days"].sum() - by_week["hands_days"].first()).clip(lower=0)
    told = column(found["Work by week"], "Person-days lacking")
    assert told == pytest.approx([*lacking, lacking.sum()], abs=CENT)
    assert 0 < (lacking > 0).sum() < len(lacking)
    in_all = column(found["Work in all"], "Person-days")
    assert in_all[:-1] == pytest.approx(
        made["labour"].groupby("season_work", sort=False)["work_days"].sum().tolist(), abs=CENT
    )
    assert in_all[-1] == pytest.approx(made["labour"]["work_days"].sum(), abs=CENT)


@pytest.mark.slow
@pytest.mark.usefixtures("office")
def test_names_come_back_as_text(content, tmp_path):
    found = recalculated(content, tmp_path)
    head = next(
        cell for row in found["Distribution"] for cell in row if cell.value == "Farmer's id"
    )
    sheet = openpyxl.load_workbook(tmp_path / "out" / "given.xlsx")["Distribution"]
    cells = [row[head.column - 1] for row in sheet.iter_rows(min_row=head.row + 1)]
    assert {"=HYPERLINK(1)", "+1", "@x", "\tz"} <= {cell.value for cell in cells}
    assert all(cell.data_type == "s" for cell in cells)


def test_lists_that_stay_as_the_run_made_them_say_so(enrolled_results, texts):
    """Formulas of the list look at their own row, below the sentences at its head."""
    bought = enrolled_results.purchase
    half = bought.orders["ordered_g"].mask(
        bought.orders["good"] == "seed", bought.orders["ordered_g"] // 2
    )
    fewer = dataclasses.replace(bought, orders=bought.orders.assign(ordered_g=half))
    results = dataclasses.replace(enrolled_results, purchase=fewer)
    book = openpyxl.load_workbook(io.BytesIO(workbook.render(results, texts)["district.xlsx"]))
    issued = bought.handed_out.groupby("good")["issued_g"].sum()
    orders = fewer.orders.groupby("good")[["ordered_g", "stock_g"]].sum()
    there = int(orders.loc["seed"].sum())
    assert there < issued["seed"]
    for name in ("Deliveries", "Distribution"):
        assert book[name]["A1"].value.startswith("As of the run: this sheet stays as it is when")
    said = book["Distribution"]["A2"].value
    assert f"{kilograms(issued['seed'])} kg of seed, of which {kilograms(there)} kg (" in said
    assert f"({100 * there / issued['seed']:.0f} %) are bought or taken from stock" in said
    assert "NPK" not in said
    sheet = book["Distribution"]
    assert sheet.freeze_panes == "B4"
    heads = {cell.value: cell.column_letter for cell in sheet[HEADS_AT]}
    listed = purchase_tables(enrolled_results)["distribution"]
    packs = {"seed": "seed_pack_kg", "npk": "npk_pack_kg"}
    for row, good in enumerate(listed["good"], start=HEADS_AT + 1):
        short = sheet[f"{heads['Short [kg]']}{row}"].value
        planned, given = (heads[one] for one in ("Planned [kg]", "Issued, if all plant [kg]"))
        assert short == f"=ROUND({planned}{row}-{given}{row},3)"
        assert packs[good] in sheet[f"{heads['Whole packs']}{row}"].value
    assert sheet.max_row == HEADS_AT + len(listed)
