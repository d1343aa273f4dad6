"""Work by the week and costs to the hundredth."""

from __future__ import annotations

from fractions import Fraction

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.errors import InputError
from districtplan.handbook import packaged
from districtplan.inputs import money
from districtplan.inputs.calendar import zoned
from districtplan.inputs.labour import labour
from tests.conftest import plan_of

KITS = pd.DataFrame(
    {
        "plot_id": ["P0", "P1", "P2"],
        "village": ["A", "A", "B"],
        "order_line": ["enrolled", "demo", "enrolled"],
        "bean_area_ha": [0.5, 0.25, 1.0],
        "manure_loads": pd.array([10, 5, 20], dtype="Int64"),
        "seed_g": pd.array([20_000, 10_000, 40_001], dtype="Int64"),
        "npk_g": pd.array([50_000, 25_000, 100_000], dtype="Int64"),
        "urea_g": pd.array([pd.NA] * 3, dtype="Int64"),
        "manure_g": pd.array([pd.NA] * 3, dtype="Int64"),
    }
)
PRICES = {"seed_price_kg": 2.5, "npk_price_kg": 0.915}
GRAIN = {"grain_price_low_kg": 0.5, "grain_price_high_kg": 0.9}


def worked(**figures: float) -> pd.DataFrame:
    plan = plan_of(labour=figures)
    return labour(KITS, zoned(plan, packaged(), None), plan, {})


def test_work_is_area_times_days():
    found = worked(planting_days_ha=20.0, peg_and_dig_days_ha=40.0, hands_a_plot=2.0)
    total = found.groupby(["village", "work"])["work_days"].sum()
    assert total["A", "planting"] == pytest.approx(15)
    assert total["B", "peg_and_dig"] == pytest.approx(40)
    hands = found.groupby("village")["hands_days"].first()
    assert hands.tolist() == [2 * 2 * 5, 1 * 2 * 5]


def test_weeks_end_on_sunday_and_hold_all_days():
    found = worked(peg_and_dig_days_ha=29.0)
    assert {day.weekday() for day in found["week_to"]} == {6}
    village = found[found["village"] == "B"]
    # 29 days of work at a person-day a day: a whole week holds seven.
    assert village["work_days"].max() == pytest.approx(7)
    assert village["work_days"].sum() == pytest.approx(29)


def test_without_figures_there_is_no_work_to_tell():
    assert worked().empty
    assert worked(planting_days_ha=20.0)["hands_days"].isna().all()


def test_loads_of_manure_are_carried():
    found = worked(manure_loads_a_day=5.0)
    assert found.groupby("village")["work_days"].sum().tolist() == pytest.approx([3, 4])


def test_costs_to_the_hundredth():
    found = money.costs(KITS, plan_of(money=PRICES))
    assert found["seed_cost_cents"].tolist() == [5_000, 2_500, 10_000]
    assert found["npk_cost_cents"].tolist() == [4_575, 2_288, 9_150]
    assert found["cost_cents"].tolist() == [9_575, 4_788, 19_150]
    by_line = money.sums(found, ["village", "order_line"])
    assert by_line["cost_cents"].tolist() == [4_788, 9_575, 19_150]


def test_a_price_that_no_file_can_hold_is_refused_by_its_key():
    kits = KITS.assign(npk_g=pd.array([10**14] * 3, dtype="Int64"))
    with pytest.raises(InputError, match=r"\[money\] npk_price_kg") as found:
        money.costs(kits, plan_of(money={**PRICES, "npk_price_kg": 1e9}))
    assert "Give the price of a kilogram" in str(found.value)


def test_what_has_no_price_has_no_cost():
    found = money.costs(KITS, plan_of(money={"seed_price_kg": 2.5}))
    assert found["cost_cents"].isna().all()
    assert money.sums(found, ["village"])["cost_cents"].isna().all()


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 10**7), min_size=1, max_size=6), st.integers(0, 10**6))
def test_sums_are_those_of_the_parts(grams, price_thousandths):
    kits = pd.DataFrame(
        {
            "plot_id": [str(place) for place in range(len(grams))],
            "village": "A",
            "order_line": "enrolled",
            "seed_g": pd.array(grams, dtype="Int64"),
        }
    )
    for good in ("npk", "urea", "manure"):
        kits[f"{good}_g"] = pd.array([pd.NA] * len(grams), dtype="Int64")
    found = money.costs(kits, plan_of(money={"seed_price_kg": price_thousandths / 1000}))
    total = money.sums(found, ["village"])["cost_cents"][0]
    assert total == found["cost_cents"].sum()
    exact = [Fraction(one * price_thousandths, 10_000) for one in grams]
    for cents, part in zip(found["cost_cents"], exact, strict=True):
        assert abs(cents - part) <= Fraction(1, 2) + Fraction(1, 100)


def test_margins_are_a_range():
    plan = plan_of(money={**GRAIN, **PRICES}).under(packaged())
    table = money.margins(plan, {"seed": 175.0, "npk": 91.5}).set_index("row")
    assert table.loc["without", ["value_low", "value_high"]].tolist() == pytest.approx(
        [222 * 0.5, 445 * 0.9]
    )
    assert table.loc["with", ["value_low", "value_high"]].tolist() == pytest.approx(
        [600 * 0.5, 1500 * 0.9]
    )
    assert table.loc["with", "margin_high"] == pytest.approx(1500 * 0.9 - 266.5)
    # Without the practice seed alone is paid for.
    assert table["cost"].tolist() == pytest.approx([175.0, 266.5, 91.5])
    assert table.loc["without", "margin_high"] == pytest.approx(445 * 0.9 - 175.0)
    assert table.loc["with", "margin_low"] == pytest.approx(600 * 0.5 - 266.5)
    added = table.loc["added"]
    assert added["value_low"] == pytest.approx((600 - 445) * 0.5)
    assert added["value_high"] == pytest.approx((1500 - 222) * 0.9)
    assert added["value_cost_ratio_low"] == pytest.approx(77.5 / 91.5)
    assert added["value_cost_ratio_high"] == pytest.approx(1278 * 0.9 / 91.5)
    assert (table["margin_low"] <= table["margin_high"]).all()


def test_without_prices_of_grain_no_margin_is_told():
    assert money.margins(plan_of(), {"seed": 175.0}).empty
    assert money.margins(plan_of(money=GRAIN), {}).empty


@pytest.mark.parametrize(
    "wrong",
    [{"grain_price_low_kg": 1.0}, {"grain_price_low_kg": 2.0, "grain_price_high_kg": 1.0}],
)
def test_prices_come_in_pairs_that_rise(wrong):
    with pytest.raises(ValueError, match="price"):
        plan_of(money=wrong)
