"""Candidates: every reason is told and counted, and no small plot is out for want of a bearing."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from districtplan.demos.candidates import (
    CANDIDATE,
    ON_THE_GROUND,
    OUT,
    PROVISIONAL,
    REASONS,
    Message,
    candidates,
    counted,
    forced,
)

BARRIERS = Message(
    "barriers", ("contour rows", "barrier"), tenure=True, slope_pct=(8.0, 40.0),
    area_ha=(0.1, 1.0), path_m=200.0, rest_seasons=2, again_after=4, stays=3,
)  # fmt: skip
GOOD = {
    "plot_id": "P1", "area_ha": 0.3, "slope_used_pct": 20.0, "row_method": "straight",
    "enrolled": True, "consent": True, "tenure": True, "path_distance_m": 50.0,
    "flow_line_length_m": 0.0, "seasons_since_beans": 3, "seasons_since_demo": 5,
    "no_go": False,
}  # fmt: skip
FAULTS = {
    "not enrolled": {"enrolled": False},
    "no consent": {"consent": None},
    "no tenure": {"tenure": False},
    "too small": {"area_ha": 0.09},
    "too large": {"area_ha": 1.01},
    "far from a path": {"path_distance_m": 201.0},
    "crossed by water": {"flow_line_length_m": 12.0},
    "too flat": {"slope_used_pct": 7.9},
    "too steep": {"slope_used_pct": 40.1},
    "beans too lately": {"seasons_since_beans": 2},
    "shown too lately": {"seasons_since_demo": 4},
    "not to be planted": {"no_go": True},
}


def standing(**changed):
    found = candidates(pd.DataFrame([{**GOOD, **changed}]), BARRIERS).iloc[0]
    return found["demo_standing"], found["demo_reasons"]


def test_every_reason_has_its_fault():
    assert tuple(FAULTS) == REASONS


@pytest.mark.parametrize("reason", REASONS)
def test_each_fault_is_its_reason(reason):
    assert standing(**FAULTS[reason]) == (OUT, (reason,))


@pytest.mark.parametrize(
    "name", ["path_distance_m", "flow_line_length_m", "seasons_since_beans", "seasons_since_demo"]
)
def test_what_is_not_known_rules_nobody_out(name):
    assert standing(**{name: np.nan}) == (CANDIDATE, ())


@pytest.mark.parametrize("slope", [np.nan, 2.0, 20.0, 60.0])
def test_a_plot_without_a_bearing_is_provisional_whatever_the_raster_says(slope):
    assert standing(row_method=ON_THE_GROUND, slope_used_pct=slope) == (PROVISIONAL, ())


def test_limits_themselves_are_within():
    for changed in ({"area_ha": 0.1}, {"area_ha": 1.0}, {"slope_used_pct": 8.0},
                    {"slope_used_pct": 40.0}, {"path_distance_m": 200.0}):  # fmt: skip
        assert standing(**changed) == (CANDIDATE, ())


def test_reasons_are_counted_alone_and_beside_others():
    rows = [
        GOOD,
        {**GOOD, "plot_id": "P0", "area_ha": 0.01},
        {**GOOD, "plot_id": "P3", "area_ha": 0.01, "consent": False},
        {**GOOD, "plot_id": "P2", "row_method": ON_THE_GROUND},
    ]
    found = candidates(pd.DataFrame(rows), BARRIERS)
    assert found["plot_id"].tolist() == ["P0", "P1", "P2", "P3"]
    table = counted(found).set_index("demo_reason")
    assert table.loc["too small"].tolist() == [2, 1]
    assert table.loc["no consent"].tolist() == [1, 0]
    assert table["plots"].sum() == 3


def test_conservation_plots_stay_for_their_seasons():
    shown = pd.DataFrame(
        {
            "plot_id": ["B", "A", "C", "D"],
            "message": ["barriers", "barriers", "barriers", "seed"],
            "seasons_shown": [1, 2, 3, 1],
        }
    )
    assert forced(shown, {"barriers": 3, "seed": 1}) == ["A", "B"]
