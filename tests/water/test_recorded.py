"""What was recorded of water from above overrides what the heights say."""

from __future__ import annotations

import pandas as pd
import pytest

from districtplan.erosion.given import RUN_ON
from districtplan.water import override

WATER = pd.DataFrame(
    {
        "plot_id": ["A", "B", "C"],
        "run_on_area_ha": [2.0, 3.0, 4.0],
        "slope_length_above_m": [80.0, 0.0, 122.0],
        "slope_length_above_at_least": [0, 0, 1],
        "slope_above_begins": ["divide", "feature", "cap"],
    }
)


def recorded(**said: str) -> list[tuple]:
    run_on = pd.DataFrame({"plot_id": list(said), "run_on": list(said.values())}, dtype=object)
    found = override(WATER, run_on)
    return [tuple(row) for row in found.drop(columns="plot_id").itertuples(index=False)]


def test_nothing_recorded_changes_nothing():
    same = [tuple(row) for row in WATER.drop(columns="plot_id").itertuples(index=False)]
    assert recorded(A="", Z="none") == same
    assert recorded() == same


@pytest.mark.parametrize("said", [value for value in RUN_ON if value != "yes"])
def test_what_is_stopped_leaves_no_slope_above(said):
    found = recorded(C=said)
    assert found[2] == (0.0, 0.0, 0, "as recorded")
    assert found[:2] == recorded()[:2]


def test_water_that_runs_on_in_spite_of_a_feature_makes_a_lower_limit():
    found = recorded(A="yes", B="yes")
    assert found[0] == (2.0, 80.0, 0, "divide")
    assert found[1] == (3.0, 0.0, 1, "feature")


def test_water_that_runs_on_where_the_heights_have_no_slope_above_makes_a_lower_limit():
    run_on = pd.DataFrame({"plot_id": ["A"], "run_on": ["yes"]})
    level = WATER.assign(slope_length_above_m=0.0, run_on_area_ha=0.0)
    assert override(level, run_on)["slope_length_above_at_least"].tolist() == [1, 0, 1]
