"""Sentences beside the order."""

from __future__ import annotations

import dataclasses

import pandas as pd
import pytest

from districtplan.outputs.page import bought
from districtplan.outputs.purchase_notes import notes
from districtplan.outputs.purchase_tables import costs_in_all
from districtplan.outputs.wording import kilograms
from tests.outputs.conftest import bought_by

UP = {"germination_share": 0.8, "emergence_share": 0.9}


def told(results, texts, **sections):
    return notes(bought_by(results, **sections), texts)


@pytest.mark.parametrize(("seeds", "empty"), [(1, 28), (2, 8)])
def test_the_stand_that_is_expected_and_no_division(small_results, texts, seeds, empty):
    said = told(small_results, texts, practice={**UP, "seeds_per_hole": seeds})
    (stand,) = [one for one in said if one.startswith("Of the holes")]
    assert f"{empty} % are expected to stay empty" in stand
    assert "the order isn't divided by germination" in stand
    assert ("thin to one plant from day 10 to day 14" in " ".join(said)) == (seeds == 2)


def test_two_seeds_that_stay_are_told_with_their_spacing(small_results, texts):
    practice = {"seeds_per_hole": 2, "two_seeds": "holes twice as far apart"}
    said = told(small_results, texts, practice={**practice, "hole_spacing_cm": 20.0})
    assert "2 seeds go into each hole, holes 20 cm apart; plants are not thinned." in said


@pytest.mark.parametrize(
    ("sprouted", "choice"), [(90, "one seed a hole"), (70, "two seeds a hole"), (40, "buy it")]
)
def test_what_a_test_of_100_seeds_asks_for(small_results, texts, sprouted, choice):
    said = told(small_results, texts, practice={"sprouted_of_100": sprouted})
    opening = f"In the farmers' own test {sprouted} of 100 seeds sprouted"
    (first,) = [one for one in said if one.startswith(opening)]
    assert choice in first


def test_a_target_stand_is_told_as_one(small_results, texts):
    said = told(small_results, texts, practice={**UP, "target_plants_ha": 180_000.0})
    assert "Seed is bought for 180,000 plants a hectare that are to stand." in said


def test_maize_is_told_to_be_left_out(enrolled_results, texts):
    seeds = pd.array([1_000] * len(enrolled_results.plots), dtype="Int64")
    plots = enrolled_results.plots.assign(maize_seeds=seeds)
    said = " ".join(notes(dataclasses.replace(enrolled_results, plots=plots), texts))
    # Five whole plots, and six tenths of one.
    assert "Maize seed isn't in the order, nor maize in the margins: 5,600 maize seeds" in said
    assert "Maize" not in " ".join(notes(enrolled_results, texts))


def test_nutrients_that_are_lacking_are_told(small_results, texts):
    need = {"need_n_kg_ha": 40.0, "need_p2o5_kg_ha": 30.0}
    # 100 kg of 23:21:0 and 5 t of manure of 1.1, 0.8, 0.5 %.
    enough = told(small_results, texts, fertiliser=need)
    assert (
        "What is given brings 78 kg of N, 61 kg of P2O5 and 25 kg of K2O a hectare. "
        "Rates are not soil-tested." in enough
    )
    assert "Nothing is lacking of the nutrients that the crop is to get." in enough
    short = told(small_results, texts, fertiliser=need, practice={"manure_kg_ha": None})
    assert "Of what the crop is to get, 17 kg of N and 9 kg of P2O5 a hectare are lacking." in short
    without = told(small_results, texts)
    assert not any("lacking" in one for one in without)


def test_manure_that_isnt_there_brings_nothing(small_results, texts):
    """Next to none of the manure: what it would have brought is lacking."""
    there = {"manure_there_kg": 1.0, "need_n_kg_ha": 40.0}
    said = told(small_results, texts, fertiliser=there)
    assert "There is manure for 0 % of what is wanted; each plot gets that share." in said
    assert "Of what the crop is to get, 17 kg of N a hectare are lacking." in said


@pytest.mark.parametrize(("pack", "bags"), [(50.0, "24 bags of 50 kg, 1,200 kg"), (None, "1,200")])
def test_a_cap_in_every_hole_is_told_in_bags(small_results, texts, pack, bags):
    sections = {"string": {"cap_npk_g": 6.0}, "orders": {"npk_pack_kg": pack}}
    said = " ".join(told(small_results, texts, **sections))
    assert f"One cap in every hole would be {bags}" in said
    assert "never do that" in said


def test_the_order_is_costed_by_what_is_bought(enrolled_results, texts):
    orders = enrolled_results.purchase.orders
    prices = {"seed": 2.35, "npk": 1.07, "manure": 0.05}
    spent = sum(
        round(row.ordered_g / 1000 * prices[row.good], 2) for row in orders.itertuples(index=False)
    )
    assert sum(costs_in_all(enrolled_results.purchase).values()) == pytest.approx(spent, abs=0.01)
    (said,) = [one for one in notes(enrolled_results, texts) if "What is ordered" in one]
    assert said.startswith(f"What is ordered costs {spent:,.2f} shell: seed ")
    told = bought.order(enrolled_results, texts)
    (row,) = [row for row in told["rows"] if row[0] == "Cost of these [shell]"]
    assert row[1:] == [f"{cost:,.0f}" for cost in costs_in_all(enrolled_results.purchase).values()]
    assert told["notes"] == notes(enrolled_results, texts)


def test_margins_are_a_range_and_never_a_promise(enrolled_results, texts):
    said = " ".join(notes(enrolled_results, texts))
    table = enrolled_results.purchase.margins.set_index("row")
    assert f"one with it {table.loc['with', 'margin_low']:,.0f} to" in said
    assert "never a promise" in said
    assert "to the value of the harvest" in said


def test_without_prices_no_cost_is_told(small_results, texts):
    said = told(small_results, texts, money={"seed_price_kg": 2.0})
    assert not any("What is ordered costs" in one for one in said)
    assert "Money is left out: the plan doesn't give the price of all that is bought." in said
    order = bought.order(bought_by(small_results, money={"seed_price_kg": 2.0}), texts)
    (row,) = [row for row in order["rows"] if row[0] == "Cost of these"]
    assert row[1]
    assert not any(row[2:])
    unpriced = bought.order(bought_by(small_results), texts)
    assert not any(row[0].startswith("Cost") for row in unpriced["rows"])


def test_nobody_enrolled_has_no_stand(enrolled_results, texts):
    found = enrolled_results.purchase
    kits = found.kits.assign(order_line="registered")
    empty = dataclasses.replace(found, kits=kits, orders=found.orders.iloc[:0])
    said = notes(dataclasses.replace(enrolled_results, purchase=empty), texts)
    assert not any("stay empty" in one or "What is ordered" in one for one in said)


def test_what_waits_for_an_outlet_is_told_to_be_held_back(enrolled_results, texts):
    """Asked of the plots as they end: measures, laid out after the order, make more wait."""
    first, *_ = notes(enrolled_results, texts)
    kits = enrolled_results.purchase.kits.set_index("plot_id")
    assert first.startswith(
        "1 plot that is bought for must wait for a safe outlet before any row: "
    )
    assert f"the amounts include {kilograms(kits.loc['A-02', 'seed_g'])} kg of seed, " in first
    assert f"{kilograms(kits.loc['A-02', 'npk_g'])} kg of NPK" in first
    assert first.endswith("Hold it back until it has one.")
    late = [
        ("gathered_water_first",) if one in {"A-01", "A-02", "110"} else () for one in kits.index
    ]
    plots = enrolled_results.plots.assign(outlet_flags=late)
    more, *_ = notes(dataclasses.replace(enrolled_results, plots=plots), texts)
    both = kits.loc[["A-01", "A-02"], "seed_g"].sum()
    assert more.startswith("2 plots that are bought for ")
    assert f"{kilograms(both)} kg of seed" in more
    none = plots.assign(outlet_flags=[()] * len(plots))
    said = notes(dataclasses.replace(enrolled_results, plots=none), texts)
    assert not any("safe outlet" in one for one in said)
