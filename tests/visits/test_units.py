"""Windows village by village, and visits with names that stay."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from districtplan import visits
from districtplan.errors import InputError
from districtplan.handbook import packaged
from districtplan.inputs.calendar import calendar
from districtplan.travel import Links
from districtplan.visits.sessions import SESSION
from tests.conftest import plan_of

VILLAGES = ["Lower Ford", "Upper Ridge"]
POLICY = visits.Policy(("planting",), ("planting", "harvest"), ("pegging",), ("storm",), (), 0)


@pytest.fixture(scope="module")
def works():
    return calendar(plan_of(), packaged()).assign(zone="")


def dated(works, *seen):
    table = pd.DataFrame(seen, columns=["event", "day", "village"]) if seen else None
    table = None if table is None else table.assign(source_row=range(1, len(table) + 1))
    return visits.dated(works, {}, "usual", table, (VILLAGES, packaged()))


def first_days(found, village):
    own = found.windows[found.windows["group"] == found.group[village]]
    return own.drop_duplicates("stage").set_index("stage")["first_day"]


def test_what_one_village_saw_moves_its_own_days_alone(works):
    usual = first_days(dated(works), VILLAGES[0])
    planted = usual["planting"] + timedelta(days=1)
    found = dated(works, ("planting", planted + timedelta(days=7), VILLAGES[1]))
    late, other = (first_days(found, village) for village in VILLAGES[::-1])
    assert other.equals(usual)
    assert (late["planting"] - usual["planting"]).days == 7
    assert (late["harvest"] - usual["harvest"]).days == 7
    assert late["pegging"] == usual["pegging"]


def test_an_own_row_stands_before_that_of_all(works):
    days = [date(2026, 3, 20), date(2026, 3, 24)]
    found = dated(works, ("planting", days[1], VILLAGES[1]), ("planting", days[0], ""))
    low, high = (first_days(found, village)["planting"] for village in VILLAGES)
    assert (high - low).days == 4


@pytest.mark.parametrize(
    ("seen", "said"),
    [
        ([("planting", date(2026, 1, 5))], r"row 1 \(row 2 .* onset of the plan at its earliest"),
        ([("onset", date(2026, 3, 9)), ("planting", date(2026, 3, 5))], r"row 2 .* on 2026-03-09"),
    ],
)  # fmt: skip
def test_what_cannot_have_been_seen_is_told(works, seen, said):
    with pytest.raises(InputError, match=said):
        dated(works, *((*one, VILLAGES[0]) for one in seen))


def test_what_was_seen_in_another_season_is_half_a_year_from_any_onset(works):
    early = works[works["work"] == "onset"].assign(first_day=date(2026, 3, 1))
    first, last = visits.seen_days(pd.concat([works, early]))
    assert (date(2026, 3, 1) - first).days == (last - date(2026, 3, 15)).days == 183


def test_a_season_without_an_onset_says_so(works):
    with pytest.raises(InputError, match="has no onset"):
        visits.dated(works, {}, "early", None, (VILLAGES, packaged()))


def ground():
    plots = pd.DataFrame(
        {
            "plot_id": ["K0", "K1", "K2", "K3"],
            "village": [VILLAGES[0], VILLAGES[0], VILLAGES[1], VILLAGES[1]],
            "demo": [True, False, False, False],
            "above_class": [False, True, True, False],
            "provisional": False,
            "structures": [False, False, False, True],
            "visited": [True, True, False, True],
        }
    )
    listed = pd.DataFrame({"meeting_place": ["tree"], "village": [VILLAGES[1]]})
    near = Links.of(
        np.array([0, 1, 2, 3]), np.array([0, 0, 1, 1]), np.array([0.0, 50.0, 60.0, 70.0])
    )
    return visits.Ground(plots, visits.meetings(plots, listed), near)


def test_names_stay_and_nobody_visits_a_session_twice(works):
    found = dated(works, ("storm", date(2026, 4, 9), VILLAGES[1]))
    table = visits.units(ground(), found, POLICY).set_index("visit_id")
    assert set(table.index) == {
        "planting/session/K0", "planting/session/tree", "harvest/single/K0", "pegging/single/K1",
        "storm-2026-04-10/single/K3",
    }  # fmt: skip
    # K2 takes no part: neither by itself nor in a session.
    assert table["farmers"]["planting/session/tree"] == 1
    assert table["farmers"]["planting/session/K0"] == 2
    own = visits.numbered(table.reset_index())
    at = dict(zip(own.units["visit_id"], own.followed.tolist(), strict=True))
    # A session at a demonstration plot goes with that plot's other visits.
    assert at["planting/session/K0"] == at["harvest/single/K0"]
    assert len(own.villages) == 4


def test_by_hand_fixes_and_adds(works):
    found, place = dated(works), ground()
    table = visits.units(place, found, POLICY)
    rows = pd.DataFrame(
        [("K1", "pegging", "T1", None), ("K2", "harvest", "", date(2026, 6, 20))],
        columns=list(visits.BY_HAND),
    )
    fixed = visits.with_hand(table, place, found, rows).set_index("visit_id")
    assert fixed.loc["pegging/single/K1", "agent_id"] == "T1"
    added = fixed.loc["harvest/single/K2"]
    assert (added["reason"], added["fixed_day"]) == ("by hand", date(2026, 6, 20))
    assert len(fixed) == len(table) + 1
    assert (table["kind"] == SESSION).sum() == (fixed["kind"] == SESSION).sum()
