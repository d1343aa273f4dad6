"""Visits in a run: every file read, days that can be kept, plans carried on, bad files refused."""

from __future__ import annotations

from datetime import date

import pytest

from districtplan import pipeline
from tests.conftest import small_district, write_district

VISITS = """\
[visits]
agents = "agents.csv"
leave = "leave.csv"
meeting_places = "places.csv"
by_hand = "by_hand.csv"
observed = "observed.csv"
holidays = [2026-04-03]
rest_every = 3
iterations = 100
{more}
"""
HEAD = (
    "agent_id,name,longitude_deg,latitude_deg,week_days,from,to,hours_most,mode,speed_km_h,"
    "wet_speed_km_h,serves,barred,litres_100_km,fuel_l,tank_l,days_most"
)
FILES = {
    "agents": [
        HEAD,
        "T1,Tavi Orrel,33.0,-1.8,mon tue wed thu fri,07:00,13:30,,motorcycle,20,0,,,3.1,40,8,",
        "T2,=Mera Sund,33.004,-1.802,mon wed fri,07:30,15:00,6,on foot,,,Tilverra|Numbassi,,,,,40",
    ],
    "leave": ["agent_id,first_day,last_day", "T2,2026-03-16,2026-03-20"],
    "places": [
        "meeting_place,village,longitude_deg,latitude_deg",
        "<b>big tree</b>,Tilverra,33.0,-1.801",
        "nowhere,Atlantis,33,-1.8",
    ],
    "by_hand": [
        "place,stage,agent_id,day",
        "K00,planting,T1,2026-03-17",
        "<b>big tree</b>,consent,T2,",
        "K77,planting,T1,",
    ],
    "observed": ["event,day,village", "planting,2026-03-16,", "storm,2026-04-10,Tilverra"],
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Twelve plots, and the files of visits."""
    plots, raster = small_district()
    path = write_district(tmp_path_factory.mktemp("visits"), plots, raster)
    for name, lines in FILES.items():
        (path.parent / f"{name}.csv").write_text("\n".join(lines), encoding="utf-8")
    return path.parent


def plan_in(folder, more="", name="plan"):
    plan = folder / f"{name}-visits.toml"
    text = (folder / "plan.toml").read_text(encoding="utf-8") + VISITS.format(more=more)
    plan.write_text(text, encoding="utf-8")
    return plan


@pytest.fixture(scope="module")
def found(folder):
    return pipeline.find(plan_in(folder))


def test_all_that_is_named_is_read_and_used(found):
    told = found.visits
    made = told.visits[told.visits["visit_status"] == "planned"]
    assert len(made) >= 12
    assert {name: len(given.set_aside) for name, given in found.beside.items()} == {
        "agents": 0, "meeting_places": 1, "observed": 0, "leave": 0, "by_hand": 1,
    }  # fmt: skip
    fixed = made[(made["visit_place"] == "K00") & (made["visit_stage"] == "planting")].iloc[0]
    assert (fixed["agent_id"], fixed["visit_day"]) == ("T1", date(2026, 3, 17))
    tree = made[made["visit_place"] == "<b>big tree</b>"]
    assert set(tree["agent_id"]) == {"T2"}
    assert made.groupby("visit_place")["agent_id"].nunique().eq(1).all()
    days = set(zip(made["agent_id"], made["visit_day"], strict=True))
    assert not any(agent == "T2" and date(2026, 3, 16) <= day <= date(2026, 3, 20)
                   for agent, day in days)  # fmt: skip
    assert date(2026, 4, 3) not in {day for _, day in days}
    assert (
        (made["visit_day"] >= made["visit_first_day"])
        .where(made["visit_by_hand"] == 0, other=True)
        .all()
    )
