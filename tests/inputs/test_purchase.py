"""What is bought, put together."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely

from districtplan import inputs
from districtplan.handbook import packaged, practice
from districtplan.inputs.enrolment import ENROLMENT, accept_enrolment
from tests.conftest import plan_of
from tests.support import needed

PRACTICE = {"hundred_seed_weight_g": 40.0, "npk_kg_ha": 100.0, "manure_kg_ha": 2_000.0}
SIDES = np.array([30.0, 40.0, 50.0, 60.0, 20.0])


def bought(listed: list[dict] | None, **sections: dict):
    plan = plan_of(**{"practice": PRACTICE, "orders": {"seed_pack_kg": 2.0}, **sections})
    area = SIDES**2 / 10_000
    joined = needed(area, plan).assign(
        village=["A", "A", "B", "B", "B"],
        area_ha=area,
        slope_used_pct=[5.0, 5.0, 5.0, 5.0, 90.0],
        row_length_m=area * 10_000 / 0.5,
    )
    outlines = np.array([shapely.box(0, 0, side, side) for side in SIDES], dtype=object)
    used = None
    if listed is not None:
        usual = {**dict.fromkeys(ENROLMENT, ""), "enrolled": "yes", "consent": "yes"}
        end = {"reason": None, "remedy": None}
        rows = [{"source_row": 1, **usual, **row, **end} for row in listed]
        frame = pd.DataFrame(rows, columns=["source_row", *ENROLMENT, "reason", "remedy"])
        used = accept_enrolment(frame.astype({"plot_id": "str"}), joined).used
    return inputs.purchase(joined, outlines, used, plan, packaged()), joined


def test_without_enrolment_it_is_an_upper_limit():
    found, joined = bought(None)
    assert not found.is_order
    assert set(found.kits["order_line"]) == {"registered", "too steep"}
    usable = joined["seed_g"][:4].astype(float)
    assert found.orders["planned_g"].sum() >= (usable * 1.02).sum() - 4
    # Whatever the uptake: an upper limit isn't below what all of them take.
    assert (found.orders["wanted_g"] == found.orders["planned_g"]).all()
    assert (found.orders["need_high_g"] < found.orders["planned_g"]).all()
    assert found.orders["chance_share"].isna().all()


def test_lines_stand_apart():
    rows = [{"plot_id": "P0"}, {"plot_id": "P1", "demo": "yes"}, {"plot_id": "P2"}]
    found, _ = bought(rows)
    assert found.is_order
    assert found.lines[["village", "order_line", "plots"]].values.tolist() == [  # noqa: PD011
        ["A", "enrolled", 1], ["A", "demo", 1], ["B", "enrolled", 1], ["B", "registered", 1],
        ["B", "too steep", 1],
    ]  # fmt: skip
    assert set(found.distribution["plot_id"]) == {"P0", "P1", "P2"}
    by_line = found.lines.groupby("order_line")["seed_g"].sum()
    assert found.uptake["seed_g"].tolist() == [
        round(int(by_line["enrolled"]) * share) for share in (0.6, 0.8, 0.95)
    ]


def test_nothing_is_bought_for_no_go_land_and_its_lines_are_its_kits():
    rows = [{"plot_id": "P0"}, {"plot_id": "P1", "closed": "yes"}, {"plot_id": "P2"}]
    prices = {f"{good}_price_kg": 1.0 for good in ("seed", "npk", "urea", "manure")}
    found, joined = bought(rows, money=prices)
    kits = found.kits.set_index("plot_id")
    barred = ["P1", "P4"]
    grams = ["seed_g", "npk_g", "manure_g", "manure_loads", "standing", "bean_area_ha"]
    assert (kits.loc[barred, grams] == 0).all(axis=None)
    assert (found.kit_costs.set_index("plot_id").loc[barred, "cost_cents"] == 0).all()
    area = joined.set_index("plot_id")["area_ha"]
    lines = found.lines.set_index("order_line")
    for line, plot_id in zip(("closed", "too steep"), barred, strict=True):
        assert kits.loc[plot_id, f"{line.replace(' ', '_')}_ha"] == area[plot_id]
        assert lines.loc[line, ["plots", "seed_g", "npk_g"]].tolist() == [1, 0, 0]
        assert lines.loc[line, "bean_area_ha"] == area[plot_id]
    for good in ("seed_g", "npk_g"):
        assert found.lines[good].sum() == found.kits[good].sum()


def test_nobody_enrolled():
    found, _ = bought([])
    assert found.is_order
    assert len(found.orders) == len(found.distribution) == 0
    assert found.uptake["seed_g"].tolist() == [0, 0, 0]


@pytest.mark.parametrize("left", [("npk", "manure"), ("manure",), ()])
def test_without_urea_or_any_fertiliser_all_else_is_bought_alike(left):
    rows = [{"plot_id": "P0"}, {"plot_id": "P1", "demo": "yes"}, {"plot_id": "P2"}]
    sizes = {"seed_pack_kg": 2.0, "npk_pack_kg": 50.0, "urea_pack_kg": 50.0, "vehicle_kg": 900.0}
    rates = {**PRACTICE, "urea_kg_ha": 40.0}
    kept = {key: rate for key, rate in rates.items() if key.removesuffix("_kg_ha") in left}
    seed = {"hundred_seed_weight_g": rates["hundred_seed_weight_g"]}
    every, _ = bought(rows, orders=sizes, practice=rates)
    found, _ = bought(rows, orders=sizes, practice={**seed, **kept})
    goods = ["seed", *left]
    assert every.orders["good"].unique().tolist() == ["seed", "npk", "urea", "manure"]
    assert found.orders["good"].unique().tolist() == goods
    alike = every.orders[every.orders["good"].isin(goods)].reset_index(drop=True)
    pd.testing.assert_frame_equal(found.orders, alike)
    assert set(found.handed_out["good"]) == set(found.lots["good"]) == set(goods) - {"manure"}


def test_half_the_land_takes_half():
    half, _ = bought([{"plot_id": "P3", "bean_share": "0.5"}])
    whole, _ = bought([{"plot_id": "P3"}])
    for name in ("seed_g", "npk_g", "manure_g", "standing"):
        assert half.kits[name][3] == pytest.approx(whole.kits[name][3] / 2, abs=1)


def test_scarce_manure_is_shared_by_land():
    found, joined = bought(None, fertiliser={"manure_there_kg": 500.0})
    planned = joined["manure_g"][:4].astype(float)
    got = found.kits["manure_g"][:4].astype(float)
    assert got.sum() == pytest.approx(500_000, abs=4)
    assert (got / planned).std() < 1e-4
    loads = np.ceil(got / 20_000)
    assert found.kits["manure_loads"][:4].tolist() == loads.tolist()


def test_plots_that_take_no_part_take_no_manure():
    found, joined = bought([{"plot_id": "P0"}], fertiliser={"manure_there_kg": 100.0})
    wanted = int(joined["manure_g"][0])
    assert wanted > 100_000
    assert found.kits["manure_g"][0] == pytest.approx(100_000, abs=1)
    assert found.manure_there_share == pytest.approx(100_000 / wanted)
    enough, _ = bought([{"plot_id": "P0"}], fertiliser={"manure_there_kg": wanted / 1000})
    assert enough.kits["manure_g"][0] == wanted


def test_error_of_areas():
    found, _ = bought(None, enrolment={"outline_alike_m": 0.0})
    assert found.kits["area_error_share"].tolist() == pytest.approx(3 * np.sqrt(2) / SIDES)


def test_money_work_and_days_come_with_it():
    found, joined = bought(
        [{"plot_id": "P0"}, {"plot_id": "P1", "demo": "yes"}],
        money={
            "seed_price_kg": 2.0, "npk_price_kg": 1.0, "manure_price_kg": 0.0,
            "grain_price_low_kg": 0.5, "grain_price_high_kg": 0.9,
        },
        labour={"planting_days_ha": 20.0},
        orders={"seed_pack_kg": 2.0, "vehicle_kg": 1_000.0},
        string={"cap_npk_g": 6.0},
    )  # fmt: skip
    mine = found.kits.set_index("plot_id").loc["P0"]
    cents = round(int(mine["seed_g"]) * 0.2) + round(int(mine["npk_g"]) * 0.1)
    costs = found.costs.set_index(["village", "order_line"])["cost_cents"]
    assert costs["A", "enrolled"] == pytest.approx(cents, abs=1)
    area = joined["area_ha"][:2].sum()
    assert found.labour["work_days"].sum() == pytest.approx(20 * area)
    table = found.margins.set_index("row")
    theirs = found.kits.iloc[:2]
    spent = float(theirs["seed_g"].sum()) * 0.002 + float(theirs["npk_g"].sum()) * 0.001
    assert table.loc["with", "cost"] == pytest.approx(spent / area, rel=1e-3)
    assert found.cap_in_every_hole_kg_ha == pytest.approx(1_200)
    inputs_day = found.calendar.set_index("work").loc["inputs_in_village", "last_day"]
    assert found.lots["delivery_day"].max() == inputs_day


def test_poles_are_counted_for_climbing_beans_alone():
    assert bought(None)[0].kits["poles"].isna().all()
    book = packaged().with_practice(*practice.packaged("climbing beans"))
    plan = plan_of(practice={"name": "climbing beans"}).under(book)
    area = SIDES**2 / 10_000
    joined = needed(area, plan, book).assign(
        village="A", area_ha=area, slope_used_pct=5.0, row_length_m=area * 10_000 / 0.75
    )
    outlines = np.array([shapely.box(0, 0, side, side) for side in SIDES], dtype=object)
    found = inputs.purchase(joined, outlines, None, plan, book)
    assert found.kits["poles"].tolist() == [
        round(int(holes) / 2 + 1e-9) for holes in joined["holes"]
    ]
