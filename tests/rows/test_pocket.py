"""The pocket table against the rules that it prints."""

from __future__ import annotations

import numpy as np
import pytest

from districtplan.handbook import packaged
from districtplan.rows import pocket_table
from tests.conftest import plan_of

TABLE = pocket_table(plan_of(), packaged())
BY_SLOPE = {row.slope_pct: row for row in TABLE.rows}


def test_slopes_rise():
    slopes = list(BY_SLOPE)
    assert slopes == sorted(slopes)
    assert slopes[0] == 2
    assert slopes[-1] == 60


@pytest.mark.published
def test_the_two_rules_of_a_drop_cross_at_7_5_percent():
    """IIRR: 20 m down a gentle slope, or a drop of 1.5 m on a steeper one."""
    assert BY_SLOPE[2].by_drop.map_m == 20
    for slope in (10, 20, 30, 60):
        assert BY_SLOPE[slope].by_drop.map_m == pytest.approx(150 / slope)
        assert BY_SLOPE[slope].by_drop.drop_m == pytest.approx(1.5)


@pytest.mark.published
def test_distances_by_steepness():
    """Hesperian 2012, p. 291: barriers 20, 15 and 10 m apart on easy, moderate, steep slopes."""
    found = {slope: row.by_distance.map_m for slope, row in BY_SLOPE.items()}
    assert found == {2: 20, 10: 15, 20: 15, 30: 10, 50: 10, 60: 10}


@pytest.mark.published
def test_what_a_bearing_error_costs():
    """Row grade is slope times the sine: 5° on 20 % is 1.7 %, 10° 3.5 %."""
    row = BY_SLOPE[20]
    assert [round(grade, 1) for grade in row.grade_off_pct] == [1.7, 3.5, 6.8]
    assert TABLE.errors_deg == (5, 10, 20)


def test_steps_are_along_the_ground():
    for row in TABLE.rows:
        for spacing in (row.by_distance, row.by_drop):
            ground = np.hypot(spacing.map_m, spacing.drop_m)
            assert abs(spacing.steps * 0.75 - ground) <= 0.375 + 1e-9
            assert spacing.drop_m == pytest.approx(spacing.map_m * row.slope_pct / 100)


def test_the_largest_error_brings_a_row_to_its_limit():
    for row in TABLE.rows:
        grade = row.slope_pct * np.sin(np.radians(row.error_max_deg))
        assert grade == pytest.approx(row.grade_limit_pct)
    gentle = pocket_table(plan_of(terrain={"row_grade_limit_share": 1.0}), packaged()).rows[0]
    assert gentle.grade_limit_pct == 2


def test_the_pace_is_the_plans():
    short = pocket_table(plan_of(rows={"pace_m": 0.5}), packaged())
    assert short.rows[0].by_distance.steps == 40
