"""Group sessions and single visits, by the plan's policy."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from districtplan.travel import Links
from districtplan.visits.sessions import Policy, work_units

DAY = date(2026, 3, 2)
STAGES = ("pegging", "weeding_1", "weeding_2", "harvest", "storm")
WINDOWS = pd.DataFrame(
    [
        {"stage": stage, "first_day": DAY, "last_day": DAY, "no_hoe": 0, "minutes": 30,
         "session_minutes": 90, "priority": 1}
        for stage in STAGES
    ]
)  # fmt: skip
POLICY = Policy(
    sessions=("weeding_1", "weeding_2"), demos=STAGES, flagged=("pegging",), structures=("storm",),
    rest=("weeding_1", "weeding_2"), rest_every=2,
)  # fmt: skip
PLOTS = pd.DataFrame(
    {
        "demo": [1, 0, 0, 0, 0, 0, 0, 0],
        "above_class": [1, 1, 0, 0, 0, 0, 0, 0],
        "provisional": [0, 1, 1, 0, 0, 0, 0, 0],
        "structures": [0, 0, 0, 1, 0, 0, 0, 0],
    }
).astype(bool)
NEAR = Links(
    np.array([0, 1, 1, 2, 4]), np.array([0, 0, 1, 1, 1]), np.array([5.0, 20.0, 10.0, 8.0, 8.0])
)


def units():
    return work_units(PLOTS, NEAR, WINDOWS, POLICY)


def at(stage: str, kind: str) -> dict[int, str]:
    table = units()
    some = table[(table["stage"] == stage) & (table["kind"] == kind)]
    return dict(zip(some["at"], some["reason"], strict=True))


def test_farmers_go_to_the_nearest_meeting_place():
    table = units()
    sessions = table[(table["stage"] == "weeding_1") & (table["kind"] == "session")]
    assert dict(zip(sessions["at"], sessions["farmers"], strict=True)) == {0: 1, 1: 3}
    assert set(sessions["minutes"]) == {90}
    assert at("pegging", "session") == {}


def test_each_plot_has_one_visit_a_stage_for_the_first_reason():
    assert at("pegging", "single") == {0: "demo", 1: "erosion class", 2: "provisional"}
    assert at("storm", "single") == {0: "demo", 3: "structures"}
    assert at("harvest", "single") == {0: "demo"}
    assert not units().duplicated(["stage", "kind", "at"]).any()


def test_the_rest_take_turns_until_each_was_visited():
    first = {plot for plot, why in at("weeding_1", "single").items() if why == "turn"}
    second = {plot for plot, why in at("weeding_2", "single").items() if why == "turn"}
    assert first | second == {4, 5, 6, 7}
    assert not first & second
