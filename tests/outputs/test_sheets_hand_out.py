"""The distribution list on paper, read back."""

from __future__ import annotations

import dataclasses
import io

import pandas as pd
import pypdf
import pypdfium2
import pytest

from districtplan.accepted import Given
from districtplan.inputs.orders import distribution, handed_out
from districtplan.outputs import purchase_tables, purchase_words, sheets
from districtplan.outputs.page import bought as page_bought
from districtplan.outputs.sheets import hand_out
from districtplan.outputs.wording import kilograms
from tests.outputs.conftest import bought_by


@pytest.fixture(scope="module")
def lists(enrolled_results, texts):
    return hand_out.render(enrolled_results, texts)


def said(content: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def ridge(files: dict[str, bytes]) -> str:
    return said(next(content for name, content in files.items() if "upper-tamba-ridge" in name))


def test_a_list_for_each_village_where_someone_gets_something(lists, enrolled_results):
    villages = enrolled_results.purchase.handed_out["village"].nunique()
    assert len(lists) == villages
    assert all(name.endswith("-list.pdf") for name in lists)


def test_nobody_known_no_list(small_results, texts):
    assert hand_out.render(small_results, texts) == {}


def test_every_farmer_and_amount_stands_on_it(lists, enrolled_results):
    listed = enrolled_results.purchase.handed_out
    told = ridge(lists)
    mine = listed[listed["village"] == "Upper Tamba Ridge"]
    assert len(mine)
    for row in mine.itertuples():
        assert row.farmer_id in told
        assert f"{kilograms(row.issued_g)} kg" in told
    packs = mine[mine["good"] == "seed"].iloc[0]
    assert f"{packs['whole_packs']} + {kilograms(packs['loose_g'])} kg" in told


def test_cautions_and_checks_stand_on_it(lists, texts):
    for content in lists.values():
        told = said(content)
        for name in hand_out.CAUTIONS:
            assert texts.say(f"cautions.{name}") in told
        assert "packs of 2 kg ordered; counted on arrival:" in told
        assert "sprouted (85 or more: one a hole, as the amounts are; 60 or more: two a" in told
        assert "this seed is then enough for half the rows: call the district; fewer:" in told
        assert "Seed stands apart from fertiliser." in told
        assert "Signature or thumbprint" in told


def test_the_list_says_what_its_amounts_are_and_why_less_may_come(lists, enrolled_results, texts):
    """It carries seed for gaps on the land under beans, a sheet what all rows take."""
    told = ridge(lists)
    assert "Amounts are for the land under beans, with seed for gaps" in told
    assert "a plot's sheet says what all its rows take." in told
    assert "what is ordered is enough with a chance of 90 %" in told
    own = bought_by(enrolled_results, orders={"bought_at": "plot"})
    assert "with a chance of" not in ridge(hand_out.render(own, texts))


def test_sheets_say_that_the_list_differs(small_results, enrolled_results, texts):
    for results, listed in ((enrolled_results, True), (small_results, False)):
        content = sheets.draw(results, texts).files["sheets/v001-sondo.pdf"]
        told = said(content)
        assert ("Carry: all rows. The list: land under beans, seed for gaps." in told) == listed


def test_what_is_in_store_is_told_beside_the_packs(enrolled_results, texts):
    """No pack ordered because enough is there isn't taken for forgotten."""
    bought = enrolled_results.purchase
    mine = bought.orders["good"].eq("seed") & bought.orders["buying_point"].eq("Upper Tamba Ridge")
    orders = bought.orders.assign(
        stock_g=bought.orders["stock_g"].mask(mine, 12_300),
        packs=bought.orders["packs"].mask(mine, 0),
    )
    stocked = dataclasses.replace(bought, orders=orders)
    told = ridge(hand_out.render(dataclasses.replace(enrolled_results, purchase=stocked), texts))
    assert "12.3 kg of it taken from the 12.3 kg in store, 0 packs of 2 kg ordered" in told


def test_amounts_of_two_seeds_a_hole_are_told_as_such(enrolled_results, texts):
    two = bought_by(enrolled_results, practice={"seeds_per_hole": 2})
    told = ridge(hand_out.render(two, texts))
    assert "85 or more: one a hole is enough, half of this seed is then left over" in told
    assert "60 or more: two a hole, as the amounts are; fewer: do not hand out" in told
    assert "half the rows" not in told


def test_the_stock_that_there_is_is_told_beside_what_is_used(enrolled_results, texts):
    """565 kg used of 2,000 kg: the store isn't told to hold 565 kg."""
    village = "Upper Tamba Ridge"
    bought = enrolled_results.purchase
    mine = bought.orders["good"].eq("seed") & bought.orders["buying_point"].eq(village)
    wanted = int(bought.orders.loc[mine, "wanted_g"].iloc[0])
    orders = bought.orders.assign(
        stock_g=bought.orders["stock_g"].mask(mine, wanted),
        packs=bought.orders["packs"].mask(mine, 0),
    )
    used = pd.DataFrame({"buying_point": [village], "seed_g": [2_000_000]})
    results = dataclasses.replace(
        enrolled_results,
        purchase=dataclasses.replace(bought, orders=orders),
        beside={"stock": Given(used, used.iloc[:0], 1)},
    )
    told = ridge(hand_out.render(results, texts))
    assert f"{kilograms(wanted)} kg of it taken from the 2,000 kg in store, 0 packs" in told
    there = 2_000_000 + 1_500
    order = page_bought.order(results, texts)
    rows = {row[0]: row[1] for row in order["rows"]}
    assert rows["In stock there is [kg]"] == kilograms(there)
    assert rows["Of that used [kg]"] == kilograms(
        int(orders.query("good == 'seed'")["stock_g"].sum())
    )
    said_of = " ".join(purchase_words.of_good(results, "seed", texts))
    assert f"kg are taken from stock, where there are {kilograms(there)} kg." in said_of


def test_a_short_delivery_stands_on_it(enrolled_results, texts):
    kits = enrolled_results.purchase.kits
    served = kits[kits["order_line"].isin(["enrolled", "demo"])]
    village = "Upper Tamba Ridge"
    came = distribution(served, {(village, "seed"): 1_500})
    short = dataclasses.replace(
        enrolled_results.purchase, handed_out=handed_out(came, enrolled_results.plan)
    )
    files = hand_out.render(dataclasses.replace(enrolled_results, purchase=short), texts)
    assert "1.50 kg" in ridge(files)


def test_black_on_white_and_nothing_runs_off_the_page(lists):
    for content in lists.values():
        for page in pypdfium2.PdfDocument(content):
            picture = page.render(scale=1).to_pil().convert("RGB")
            colours = {abs(r - g) + abs(g - b) for _, (r, g, b) in picture.getcolors(1 << 20)}
            assert max(colours) == 0
            edge = [picture.getpixel((picture.width - 12, y)) for y in range(picture.height)]
            assert set(edge) == {(255, 255, 255)}


def test_many_farmers_go_on_over_pages(enrolled_results, texts):
    one = enrolled_results.purchase.handed_out
    mine = one[one["farmer_id"] == "f1"]
    many = pd.concat([mine.assign(farmer_id=f"F{n:02d}") for n in range(40)], ignore_index=True)
    changed = dataclasses.replace(enrolled_results.purchase, handed_out=many)
    files = hand_out.render(dataclasses.replace(enrolled_results, purchase=changed), texts)
    (content,) = files.values()
    read = pypdf.PdfReader(io.BytesIO(content)).pages
    pages = [" ".join(page.extract_text().split()) for page in read]
    assert len(pages) > 1
    assert all("Signature or thumbprint" in page for page in pages)
    assert all(f"F{n:02d}" in "".join(pages) for n in range(40))


def test_names_of_farmers_are_printed_if_the_plan_asks(results_with_names, texts):
    files = hand_out.render(bought_by(results_with_names), texts)
    assert any("Invented Farmer" in said(content) for content in files.values())


def test_what_waits_for_an_outlet_is_marked_to_be_held_back(lists, enrolled_results, texts):
    """Of the first farmer's two plots one has no safe outlet: its part stands by itself."""
    kits = enrolled_results.purchase.kits.set_index("plot_id")
    listed = purchase_tables.distribution(enrolled_results)
    table = listed.set_index(["farmer_id", "good"])
    for good in ("seed", "npk"):
        assert table.loc[("f1", good), "held_back_g"] == kits.loc["A-02", f"{good}_g"]
        assert table.loc[("f1", good), "issued_g"] > kits.loc["A-02", f"{good}_g"]
    assert listed.loc[listed["farmer_id"] != "f1", "held_back_g"].eq(0).all()
    told = ridge(lists)
    assert "1 plot must wait for a safe outlet: do not hand out what stands beside" in told
    mark = "Hold back: no outlet yet"
    beside = told.rpartition(mark)[2]
    assert f" kg {kilograms(kits.loc['A-02', 'seed_g'])} kg" in beside
    assert f" kg {kilograms(kits.loc['A-02', 'npk_g'])} kg" in beside
    assert [said(content).count(mark) for content in lists.values()].count(0) == len(lists) - 1


def test_of_a_short_delivery_the_same_part_is_held_back(enrolled_results):
    kits = enrolled_results.purchase.kits
    served = kits[kits["order_line"].isin(["enrolled", "demo"])]
    planned = served.loc[served["village"] == "Upper Tamba Ridge", "seed_g"].sum()
    came = distribution(served, {("Upper Tamba Ridge", "seed"): int(planned) // 2})
    short = dataclasses.replace(
        enrolled_results.purchase, handed_out=handed_out(came, enrolled_results.plan)
    )
    listed = purchase_tables.distribution(dataclasses.replace(enrolled_results, purchase=short))
    row = listed[(listed["farmer_id"] == "f1") & (listed["good"] == "seed")].iloc[0]
    waits = kits.loc[kits["plot_id"] == "A-02", "seed_g"].iloc[0]
    assert abs(row["held_back_g"] - waits / 2) <= 1
