"""A run with a practice of one's own, enrolment, prices and packs: all of it read and used."""

from __future__ import annotations

import json
from datetime import date
from importlib import resources

import geopandas as gpd
import pytest
import shapely

from districtplan import handbook, pipeline
from tests.conftest import small_district, write_district

WRITES = ("tables", "purchase")

MORE = """\
[practice]
file = "ours.toml"
hundred_seed_weight_g = 40
[fertiliser]
products = ["npk"]
need_p2o5_kg_ha = 21
[orders]
seed_pack_kg = 2
npk_pack_kg = 50
vehicle_kg = 1000
[money]
currency = "coins"
seed_price_kg = 2
npk_price_kg = 1
"""
BESIDE = {
    "onsets": [
        "village,zone,onset_rule,onset_early,onset_usual,onset_late",
        "Ostrabek,valley,25 mm in three days,,2026-04-12,",
        "Nowhere,hills,,,2026-04-01,",
    ],
    "stock": ["buying_point,seed_kg,npk_kg,urea_kg", "Ostrabek,1,,"],
    "arrived": ["village,seed_kg,npk_kg,urea_kg", "Tilverra,0.5,,", "Numbassi,x,,"],
}


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    plots, raster = small_district()
    path = write_district(tmp_path_factory.mktemp("purchase"), plots, raster)
    ours = resources.files(handbook).joinpath("practices", "bush_beans.toml").read_text("utf-8")
    ours = ours.replace("value = 50\n", "value = 40\n", 1)
    (path.parent / "ours.toml").write_text(ours, encoding="utf-8")
    rows = ["plot_id,enrolled,consent,bean_share"]
    rows += [f"{plot_id},yes,yes,0.5" for plot_id in plots["plot_id"][:6]]
    rows += [f"{plots['plot_id'][6]},yes,no,", "nobody,yes,yes,"]
    (path.parent / "who.csv").write_text("\n".join(rows), encoding="utf-8")
    for name, lines in BESIDE.items():
        (path.parent / f"{name}.csv").write_text("\n".join(lines), encoding="utf-8")
    west, south, _, north = plots.geometry[8].bounds
    stream = shapely.LineString([(west, south - 40), (west, north + 40)])
    drawn = gpd.GeoDataFrame(
        {"kind": ["stream"], "width_m": [2.0]}, geometry=[stream], crs=plots.crs
    )
    drawn.to_file(path.parent / "features.gpkg", driver="GPKG")
    text = path.read_text(encoding="utf-8")
    files = 'features = "features.gpkg"\n' + "".join(f'{name} = "{name}.csv"\n' for name in BESIDE)
    text = text.replace("[files]\n", f'[files]\nenrolment = "who.csv"\n{files}')
    path.write_text(text + MORE, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def results(plan):
    return pipeline.find(plan)


def test_the_practice_is_the_users(results):
    assert results.plan.practice.row_spacing_cm == 40
    assert results.plan.practice.npk_kg_ha == pytest.approx(100)


def test_orders_are_for_those_enrolled(results):
    bought = results.purchase
    assert bought.is_order
    lines = bought.lines.groupby("order_line")["plots"].sum()
    assert lines["enrolled"] == 6
    mine = bought.kits[bought.kits["order_line"] == "enrolled"]
    assert (mine["bean_share"] == 0.5).all()
    planned = bought.orders.groupby("good")["planned_g"].sum()
    assert planned["seed"] == mine["seed_g"].sum()
    assert planned["npk"] == mine["npk_g"].sum()
    assert bought.costs["cost_cents"].notna().all()


def test_no_row_is_laid_in_the_belt_of_a_river_and_nothing_is_bought_for_it(results):
    plot = results.purchase.kits.set_index("plot_id").loc["K08"]
    area = results.plots.set_index("plot_id").loc["K08", "area_ha"]
    belt = (10 + 2 / 2) / 70
    assert plot["order_line"] == "registered"
    assert plot["river_buffer_ha"] == pytest.approx(belt * area, rel=1e-3)
    assert plot["bean_area_ha"] == pytest.approx((1 - belt) * area, rel=1e-3)
    lines = results.purchase.lines.query("order_line == 'river buffer'")
    assert lines["plots"].tolist() == [1]
    assert lines["bean_area_ha"].tolist() == pytest.approx([belt * area], rel=1e-3)
    assert lines["seed_g"].tolist() == [0]
    taken = results.plots.set_index("plot_id")["land_taken_m2"]
    assert taken["K08"] == pytest.approx(belt * 70 * 70, rel=1e-3)


def test_a_zone_has_its_own_calendar(results):
    dated = results.purchase.calendar
    onset = dated[dated["work"] == "onset"].set_index("zone")
    assert set(onset.index) == {"", "valley"}
    assert onset.loc["valley", "first_day"] == date(2026, 4, 12)
    assert onset.loc["valley", "onset_rule"] == "25 mm in three days"


def test_all_is_there_before_the_first_zone_plants(results):
    dated = results.purchase.calendar
    due = dated[dated["work"] == "inputs_in_village"].set_index("zone")["last_day"]
    assert due[""] < due["valley"]
    assert results.purchase.lots["delivery_day"].max() == due[""]


def test_stock_is_used_where_it_lies_and_a_short_delivery_is_shared(results):
    seed = results.purchase.orders.query("good == 'seed'").set_index("buying_point")
    assert seed["stock_g"].to_dict() == {"Numbassi": 0, "Ostrabek": 1_000, "Tilverra": 0}
    listed = results.purchase.handed_out.query("good == 'seed'")
    by_village = listed.groupby("village")[["issued_g", "short_g"]].sum()
    assert by_village.loc["Tilverra", "issued_g"] == 500
    assert by_village.loc["Tilverra", "short_g"] > 0
    assert by_village.loc["Ostrabek", "short_g"] == by_village.loc["Numbassi", "short_g"] == 0


def test_rows_in_are_rows_used_and_set_aside(plan, tmp_path):
    pipeline.run(plan, tmp_path / "run")
    told = json.loads((tmp_path / "run" / "run.json").read_text(encoding="utf-8"))
    counts = told["counts"]
    assert counts["enrolment"] == counts["enrolment_used"] + counts["enrolment_set_aside"] == 8
    aside = (tmp_path / "run" / "enrolment_set_aside.csv").read_text(encoding="utf-8")
    assert "no plot that is used" in aside
    for key in BESIDE:
        aside = (tmp_path / "run" / f"{key}_set_aside.csv").read_text(encoding="utf-8")
        assert len(aside.splitlines()) == 1 + counts[f"{key}_set_aside"]
        assert counts[key] == counts[f"{key}_used"] + counts[f"{key}_set_aside"]
    assert {"who.csv", "stock.csv"} <= {file["name"] for file in told["inputs"]}
    practice = next(table for table in told["handbook"] if table["table"] == "practice")
    assert practice["sha256"] != handbook.packaged().tables["practice"].sha256


def test_sources_list_the_practice_in_force(plan):
    found = {
        entry.what: entry.value for entry in pipeline.sources(plan) if entry.table == "practice"
    }
    assert found["row_spacing_cm"] == "40"


def test_the_calendar_and_the_nurseries_name_the_same_days(results):
    raised = results.proposal.nurseries
    assert len(raised)
    zones = raised["village"].map({"Ostrabek": "valley"}).fillna("")
    dated = results.purchase.calendar.query("work == 'nurseries' and season == 'usual'")
    for zone, days in raised["nursery_date"].groupby(zones):
        line = dated[dated["zone"] == zone].iloc[0]
        assert [line["first_day"].isoformat(), line["last_day"].isoformat()] == [
            days.min(),
            days.max(),
        ]
