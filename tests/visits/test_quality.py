"""The plan beside the simple one."""

from __future__ import annotations

import numpy as np
import pytest

from districtplan import tables
from districtplan.visits.nearest import nearest_first
from districtplan.visits.quality import quality
from districtplan.visits.timetable import timetable
from tests.visits.cases import line_task, random_task
from tests.visits.checker import faults

NONE = np.zeros(3, np.int64)


def test_nearest_first_by_hand():
    # 10 first, then 20 lies nearer than 5 does by one minute; what doesn't fit today is left.
    task = line_task([20, 10, 3], service_min=60)
    assert nearest_first(task, NONE) == {0: [2, 1, 0]}
    task = line_task([14, 10, 3], service_min=150, days=2)
    assert nearest_first(task, NONE) == {0: [2, 1], 1: [0]}


def test_of_equally_near_ones_the_first_plot_is_gone_to():
    task = line_task([10, 10, 10], plot=[2, 0, 1])
    assert nearest_first(task, NONE) == {0: [1, 2, 0]}


@pytest.mark.parametrize("seed", range(20))
def test_the_simple_plan_can_be_kept(seed):
    task = random_task(seed)
    agent_of = np.arange(task.crew.serves.shape[1]) % len(task.crew)
    days = nearest_first(task, agent_of)
    made = {visit for order in days.values() for visit in order}
    rows = timetable(task, days)
    found = faults(task, rows, dict.fromkeys(set(range(len(task.visits))) - made, ""))
    assert [what for what in found if not what.startswith("agent ")] == []


def told(task, days):
    rows = timetable(task, days).astype(np.int64)
    return rows.assign(walk_s=0.5 * rows["travel_s"])


def test_what_is_told_by_hand():
    # Out 30 minutes, work, home; on the second day twice 10 minutes.
    task = line_task([30, 10], service_min=60, days=2)
    plans = {
        "as planned": told(task, {0: [0], 1: [1]}),
        "nearest first": told(task, nearest_first(task, NONE[:2])),
    }
    found = quality(plans, len(task.crew)).set_index("quality_plan")
    planned, simple = found.loc["as planned"], found.loc["nearest first"]
    assert found.columns.tolist() == list(tables.made_by("visit quality"))[1:]
    assert planned["quality_road_h"] == pytest.approx(80 / 60)
    assert planned["quality_walk_h"] == pytest.approx(40 / 60)
    assert planned["quality_road_visit_min"] == 40
    assert planned["quality_road_share_pct"] == pytest.approx(100 * 80 / 200)
    assert planned["quality_road_share_most_pct"] == pytest.approx(100 * 60 / 120)
    assert planned["quality_agent_most_h"] == pytest.approx(200 / 60)
    assert (simple["quality_days"], simple["quality_road_h"]) == (1, 1)


def test_a_plan_without_days_has_no_shares():
    task = line_task([30], opens=[10 * 86_400], closes=[11 * 86_400])
    found = quality({"as planned": told(task, {})}, len(task.crew))
    assert found["quality_visits"].tolist() == [0]
    assert found["quality_road_share_pct"].isna().all()
