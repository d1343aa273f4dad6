"""Files of onsets, stocks and deliveries: what is used, and what is set aside."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from districtplan.handbook import packaged
from districtplan.inputs.amounts import ARRIVED, STOCK, accept_amounts
from districtplan.inputs.calendar import zoned
from districtplan.inputs.labour import labour
from districtplan.inputs.orders import buying_points, orders
from districtplan.inputs.zones import ONSETS, accept_onsets
from tests.conftest import plan_of
from tests.inputs.test_orders import SIZES, kits_of

VILLAGES = {"A", "B", "C"}


def raw(columns: tuple[str, ...], *rows: tuple[str, ...]) -> pd.DataFrame:
    frame = pd.DataFrame(list(rows), columns=list(columns), dtype=object)
    return frame.assign(source_row=range(1, len(rows) + 1), reason=None, remedy=None)


def test_zones_that_agree_are_used():
    found = accept_onsets(
        raw(
            ONSETS,
            ("A", "valley", "first rain", "", "2026-04-01", ""),
            ("B", "valley", "first rain", "", "2026-04-01", ""),
            ("C", "hills", "", "2026-03-01", "2026-03-10", "2026-03-20"),
        ),
        VILLAGES,
    )
    assert len(found.set_aside) == 0
    dated = zoned(plan_of(), packaged(), found.used)
    onset = dated[(dated["work"] == "onset") & (dated["season"] == "usual")].set_index("zone")
    assert onset.loc["", "first_day"] == date(2026, 3, 15)
    assert onset.loc["valley", "first_day"] == date(2026, 4, 1)
    assert set(dated.loc[dated["zone"] == "hills", "season"]) == {"early", "usual", "late"}


@pytest.mark.parametrize(
    ("row", "told"),
    [
        (("D", "valley", "", "", "2026-04-01", ""), "no plot that is used"),
        (("A", " ", "", "", "2026-04-01", ""), "names no zone"),
        (("A", "v", "", "", "1 April", ""), "isn't a day"),
        (("A", "v", "", "", "1750-04-01", ""), "isn't a day"),
        (("A", "v", "", "", "", ""), "onset_usual is missing"),
        (("A", "v", "", "2026-05-01", "2026-04-01", ""), "don't follow one another"),
        (("A", "v", "a\u202eb", "", "2026-04-01", ""), "can't be printed"),
        (("A", "first", "other", "", "2026-04-01", ""), "another rule"),
    ],
)
def test_onsets_that_cannot_be_used_are_set_aside(row, told):
    first = ("B", "first", "rule", "", "2026-04-01", "")
    found = accept_onsets(raw(ONSETS, first, row), VILLAGES)
    assert len(found.used) == len(found.set_aside) == 1
    assert told in found.set_aside["reason"][0]


def test_work_of_a_zone_falls_in_its_weeks():
    zones = accept_onsets(raw(ONSETS, ("A", "late", "", "", "2026-06-01", "")), VILLAGES).used
    plan = plan_of(labour={"planting_days_ha": 10.0})
    kits = pd.DataFrame({"village": ["A", "B"], "bean_area_ha": [1.0, 1.0], "manure_loads": pd.NA})
    found = labour(kits, zoned(plan, packaged(), zones), plan, {"A": "late"}).set_index("village")
    assert found.loc["A", "week_to"] == date(2026, 6, 7)
    assert found.loc["B", "week_to"] == date(2026, 3, 15)


@pytest.mark.parametrize("amount", ["-1", "1e3", "x", "1,5", "\u0661"])
def test_what_is_no_amount_is_set_aside(amount):
    found = accept_amounts(raw(STOCK, ("A", amount, "", "")), VILLAGES, STOCK)
    assert "isn't an amount" in found.set_aside["reason"][0]


def test_amounts_are_grams_and_empty_is_not_told():
    given = raw(ARRIVED, ("A", "1.5", "", "0"), ("B", "1", "", ""), ("B", "2", "", ""))
    found = accept_amounts(given, VILLAGES, ARRIVED)
    assert found.used["seed_g"].tolist() == [1_500]
    assert found.used["npk_g"].tolist() == [None]
    assert found.used["urea_g"].tolist() == [0]
    assert found.set_aside["reason"].str.contains("several rows").all()


def test_a_buying_point_uses_its_own_stock_first():
    plots = [("A", "f1", 4_000, 0.0), ("B", "f2", 4_000, 0.0)]
    plan = plan_of(orders={**SIZES, "bought_at": "farmer", "seed_stock_kg": 3.0})
    stocks = pd.DataFrame({"buying_point": ["f1"], "seed_g": [9_000]})
    seed = orders(kits_of(plots), plan, stocks).query("good == 'seed'").set_index("buying_point")
    # What the first has beyond its wants stays with it; the district's goes to the second.
    assert seed["stock_g"].to_dict() == {"f1": 4_000, "f2": 3_000}
    assert seed["packs"].to_dict() == {"f1": 0, "f2": 1}
    assert seed["leftover_g"].to_dict() == {"f1": 0, "f2": 1_000}


def test_buying_points_are_those_of_the_level():
    plots = pd.DataFrame({"plot_id": ["P0", "P1"], "village": ["A", "B"]})
    enrolled = pd.DataFrame({"plot_id": ["P0"], "farmer_id": ["f1"], "group": [""]})
    found = {
        level: buying_points(plots, enrolled, plan_of(orders={"bought_at": level}))
        for level in ("plot", "farmer", "group", "village", "district")
    }
    assert found == {
        "plot": {"P0", "P1"}, "farmer": {"f1", "P0", "P1"}, "group": {"A", "B"},
        "village": {"A", "B"}, "district": {"district"},
    }  # fmt: skip
