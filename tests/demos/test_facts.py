"""What a choice goes by: candidates with their reasons, who is to be reached, what is lacking."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely

from districtplan.demos import require
from districtplan.demos.candidates import CANDIDATE, OUT, PROVISIONAL
from districtplan.errors import InputError
from tests.demos.district import ROWS, STRIPS, asked, known_of

ANSWERS = {
    "plot_id": ["P00", "P01", "P02"], "tenure": [True, False, None],
    "seasons_since_beans": [None, 1, 3], "sex": ["female", "male", ""],
    "youth": [True, None, False], "reached": [False, True, None],
}  # fmt: skip


CROSSED = {"flow_line_length_m": 30.0, "water_flags": [("crossed_by_flow",)]}


def standing(found) -> list[tuple[str, tuple[str, ...]]]:
    return list(zip(found.offers["demo_standing"], found.offers["demo_reasons"], strict=True))


def test_plots_come_by_id_whatever_their_order_in_the_file():
    found = known_of(asked(), 3, plot_id=["C", "A", "B"])
    assert found.plots["plot_id"].tolist() == ["A", "B", "C"]
    assert found.place_m[:, 0].tolist() == [100, 200, 0]


@pytest.mark.parametrize(
    ("demos", "known", "reason"),
    [
        ({"area_min_ha": 0.3}, {}, "too small"),
        ({"area_max_ha": 0.2}, {}, "too large"),
        ({}, CROSSED, "crossed by water"),
        ({"messages": [{**ROWS, "slope_max_pct": 5.0}]}, {}, "too steep"),
        ({"messages": [{**ROWS, "slope_min_pct": 8.0}]}, {}, "too flat"),
        ({}, {"order_line": "closed"}, "not to be planted"),
        ({}, {"order_line": "too steep"}, "not to be planted"),
    ],
)  # fmt: skip
def test_what_the_plan_states_keeps_plots_out(demos, known, reason):
    assert standing(known_of(asked(), 1)) == [(CANDIDATE, ())]
    assert standing(known_of(asked(**demos), 1, **known)) == [(OUT, (reason,))]


def test_gathered_water_keeps_out_only_where_the_plan_says_so_and_it_crosses():
    assert standing(known_of(asked(gathered_water="taken"), 1, **CROSSED)) == [(CANDIDATE, ())]
    # A touch of a line in a corner is no crossing.
    assert standing(known_of(asked(), 1, flow_line_length_m=3.0)) == [(CANDIDATE, ())]


def test_a_plot_without_a_bearing_stays_whatever_the_raster_says_of_its_slope():
    plan = asked(messages=[{**ROWS, "slope_max_pct": 5.0}])
    found = known_of(plan, 1, row_method="measure on the ground")
    assert standing(found) == [(PROVISIONAL, ())]


def test_enrolment_and_consent_must_be_recorded_where_the_plan_needs_them():
    enrolled = pd.DataFrame(
        {"plot_id": ["P00", "P01"], "enrolled": [True, True], "consent": [True, False]}
    )
    found = known_of(asked(consent="needed"), 3, {"enrolled": enrolled})
    assert standing(found) == [
        (CANDIDATE, ()),
        (OUT, ("no consent",)),
        (OUT, ("not enrolled", "no consent")),
    ]


def test_answers_keep_out_where_they_are_known():
    plan = asked(rest_seasons=2, messages=[{**ROWS, "tenure": True}])
    found = known_of(plan, 3, {"answers": pd.DataFrame(ANSWERS)})
    assert standing(found) == [
        (CANDIDATE, ()),
        (OUT, ("no tenure", "beans too lately")),
        (OUT, ("no tenure",)),
    ]


def test_distance_to_a_path_is_from_the_plots_edge():
    path = np.array([shapely.LineString([(125, -100), (125, 100)])], dtype=object)
    found = known_of(asked(path_max_m=40.0), 3, {"paths": path})
    assert found.plots["path_distance_m"].tolist() == [100, 0, 50]
    assert standing(found)[1:] == [(CANDIDATE, ()), (OUT, ("far from a path",))]


def test_season_demos_rest_and_conservation_demos_stay():
    shown = pd.DataFrame(
        {
            "plot_id": ["P00", "P01", "P02", "P03"],
            "message": ["rows", "strips", "strips", "strips"],
            "seasons_ago": [1, 1, 1, 2],
            "seasons_shown": [1, 2, 3, 1],
        }
    )
    plan = asked(again_after_seasons=2, messages=[ROWS, STRIPS])
    found = known_of(plan, 5, {"shown": shown})
    # Shown for two seasons of three: it goes on with its message alone.
    assert found.kept == {1: 1}
    assert found.ended == ()
    assert known_of(asked(messages=[ROWS]), 5, {"shown": shown}).ended == ("P01", "P02")
    able = found.offers[found.offers["demo_standing"] != OUT]
    assert able[["plot", "message"]].to_numpy().tolist() == [[1, 1], [4, 0], [4, 1]]
    resting = found.offers[found.offers["plot"].isin([0, 2, 3])]
    assert set(resting["demo_reasons"]) == {("shown too lately",)}


def test_a_farmer_counts_once_wherever_they_have_plots():
    people = known_of(asked(), 3, farmer_id=["F", "G", "F"]).people
    assert people.table["farmer_id"].tolist() == ["F", "G"]
    assert people.farmer.tolist() == [0, 1, 0]
    assert people.place_m[:, 0].tolist() == [0, 100, 200]


def test_farmers_live_at_their_homesteads_where_these_are_known():
    homes = pd.DataFrame(
        {
            "farmer_id": ["F01", "new"], "x_m": [40.0, 190.0], "y_m": [0.0, 0.0],
            "sex": ["female", ""], "youth": [None, None], "reached": [None, None],
        }
    )  # fmt: skip
    known = {"village": ["Hill", "Hill", "Dale"]}
    people = known_of(asked(weight_women=3.0), 3, {"homesteads": homes}, **known).people
    told = people.table.set_index("farmer_id")
    places = dict(zip(told.index[people.farmer], people.place_m[:, 0], strict=True))
    assert places == {"F00": 0, "F01": 40, "F02": 200, "new": 190}
    assert told["village"].to_dict() == {"F00": "Hill", "F01": "Hill", "F02": "Dale", "new": "Dale"}
    assert told["weight"].to_dict() == {"F00": 1, "F01": 3, "F02": 1, "new": 1}


def test_weights_are_off_by_default_and_multiply():
    answers = {"answers": pd.DataFrame(ANSWERS)}
    assert known_of(asked(), 3, answers).people.table["weight"].tolist() == [1, 1, 1]
    plan = asked(weight_never_reached=2.0, weight_women=3.0, weight_youth=5.0)
    assert known_of(plan, 3, answers).people.table["weight"].tolist() == [30, 1, 1]


def test_what_nobody_told_is_refused_all_at_once():
    plan = asked(
        consent="needed", reach_by="paths", path_max_m=50.0, weight_women=2.0,
        messages=[{**ROWS, "tenure": True}],
    )  # fmt: skip
    with pytest.raises(InputError) as told:
        require(plan, paths=False)
    assert [fault.where for fault in told.value.faults] == [
        "[demos] consent",
        '[demos] reach_by = "paths"',
        "[demos] path_max_m",
        "[demos.messages] tenure",
        "[demos] weight_women",
    ]
    require(asked(), paths=False)


def test_plots_forced_in_must_be_there():
    with pytest.raises(InputError, match="names 'P9', which no plot"):
        known_of(asked(forced_in=["P00", "P9"]), 1)
