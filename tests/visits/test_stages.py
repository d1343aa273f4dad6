"""Windows of visits: from the onset rule, moved by what was seen; hoes stay away from flowers."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from districtplan.handbook import packaged
from districtplan.inputs.calendar import calendar
from districtplan.visits.stages import windows
from tests.conftest import plan_of

FLOWERS = date(2026, 3, 15) + timedelta(days=32)
"""When the first open: 32 days after planting."""


def works(of: str = "usual", **told):
    dated = calendar(plan_of(**told), packaged())
    return dated[dated["season"] == of]


def dated(observed=None, storms=(), of=None):
    table = windows(works() if of is None else of, observed or {}, storms, packaged())
    return {row["stage"]: row for row in table.to_dict("records")}


def test_each_stage_stands_once_and_in_order_of_time():
    found = dated()
    assert list(found) == [
        "consent", "pegging", "planting", "weeding_1", "weeding_2", "weeding_3", "field_day",
        "harvest",
    ]  # fmt: skip
    assert all(row["first_day"] <= row["last_day"] for row in found.values())
    onset = works().set_index("work").loc["onset", "first_day"]
    assert found["pegging"]["last_day"] < onset


def test_early_and_late_onsets_move_everything_alike():
    onsets = {"onset_early": date(2026, 3, 1), "onset_late": date(2026, 4, 4)}
    early, late = (dated(of=works(name, season=onsets)) for name in ("early", "late"))
    apart = {late[stage]["first_day"] - early[stage]["first_day"] for stage in early}
    assert apart == {timedelta(days=34)}


@pytest.mark.parametrize(
    ("event", "moved"),
    [
        ("onset", {"consent", "pegging", "planting", "weeding_1", "weeding_2", "weeding_3",
                   "field_day", "harvest"}),
        ("planting", {"planting", "weeding_1", "weeding_2", "weeding_3", "field_day", "harvest"}),
        ("flowering", {"field_day", "harvest"}),
        ("harvest", {"harvest"}),
    ],
)  # fmt: skip
def test_what_was_seen_overrides_the_rule_and_moves_what_comes_after(event, moved):
    usual = dated()
    day = {
        "onset": date(2026, 3, 15), "planting": date(2026, 3, 15),
        "flowering": FLOWERS, "harvest": usual["harvest"]["last_day"],
    }[event]  # fmt: skip
    later = dated({event: day + timedelta(days=9)})
    shifted = {
        stage for stage in usual
        if later[stage]["first_day"] - usual[stage]["first_day"] == timedelta(days=9)
    }  # fmt: skip
    assert shifted == moved


def test_no_hoe_while_flowers_are_open():
    usual = dated()
    opened = FLOWERS
    assert [usual[f"weeding_{look}"]["no_hoe"] for look in (1, 2, 3)] == [0, 0, 1]
    assert usual["weeding_2"]["last_day"] < opened
    # Flowers seen late: the third look may hoe, until they open.
    late = dated({"flowering": opened + timedelta(days=12)})
    assert late["weeding_3"]["no_hoe"] == 0
    assert late["weeding_3"]["last_day"] < opened + timedelta(days=12)
    # Flowers seen early: the second look is by hand already.
    early = dated({"flowering": usual["weeding_2"]["first_day"]})
    assert early["weeding_2"]["no_hoe"] == 1


def test_the_field_day_is_at_pod_fill():
    # Pods are filled some days after they set, and before the first crop is ripe.
    found = dated()["field_day"]
    assert FLOWERS + timedelta(days=10) <= found["first_day"]
    assert found["last_day"] < dated()["harvest"]["first_day"]


def test_a_round_after_every_storm():
    storm = date(2026, 4, 10)
    table = windows(works(), {}, [storm, storm, date(2026, 5, 1)], packaged())
    rounds = table[table["stage"] == "storm"]
    assert len(rounds) == 2
    assert rounds["first_day"].iloc[0] == storm + timedelta(days=1)


def test_every_window_has_a_source():
    assert all(row["source"] for row in dated(storms=[date(2026, 4, 1)]).values())
