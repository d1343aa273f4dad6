"""Lines of measures apart, and bench terraces against printed values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from districtplan.conservation.spacing import bench, spacing
from districtplan.handbook import packaged
from tests.conservation.cases import MEASURES, plan_with

BOOK = packaged()


@pytest.mark.published
def test_bench_intervals_as_printed():
    """Printed examination key: 25 %, 6 m, U = 1 give 2.0 m; 10 %, VI 2.5 m, U = 1 give 22.5 m."""
    assert f"{bench(np.array([25.0]), 6, 1).vertical_m[0]:.1f}" == "2.0"
    assert f"{bench(np.array([10.0]), 22.5, 1).vertical_m[0]:.1f}" == "2.5"


@pytest.mark.parametrize(
    ("slope", "width", "run", "vertical"),
    [
        (12.28, 2.5, 0.75, 0.338),
        (26.79, 2.5, 0.75, 0.838),
        (36.4, 2.5, 0.75, 1.252),
        (46.63, 2.5, 0.75, 1.793),
        (20, 3, 0.75, 0.706),
        (40, 3, 0.5, 1.5),
    ],
)
def test_bench_intervals_worked_out_from_the_printed_formula(slope, width, run, vertical):
    assert bench(np.array([slope]), width, run).vertical_m[0] == pytest.approx(vertical, abs=5e-4)


def test_a_hectare_of_benches():
    """20 %, 3 m, U = 0.75: 2833.3 m/ha, 85 % net, 750 m³/ha (recalled formula of the cut)."""
    found = bench(np.array([20.0]), 3, 0.75)
    a_hectare = 10_000 / found.whole_m[0]
    assert a_hectare == pytest.approx(2833.3, abs=0.05)
    assert 3 / found.whole_m[0] == pytest.approx(0.85)
    assert a_hectare * found.cut_m3_m[0] == pytest.approx(750)


@given(st.floats(1, 60), st.floats(1, 6), st.floats(0.3, 1.2))
def test_bench_and_riser_make_up_the_slope(slope, width, run):
    found = bench(np.array([slope]), width, run)
    assert 100 * found.vertical_m[0] / found.whole_m[0] == pytest.approx(slope)


def test_risers_that_would_meet_leave_no_bench():
    assert bench(np.array([100.0, 140.0]), 3, 1).vertical_m.tolist() == [np.inf, np.inf]


def test_both_common_rules_are_told_where_they_differ():
    at = np.array([5.0, 10.0, 40.0])
    usual = spacing(MEASURES["grass_strips"], at, plan_with(), BOOK)
    assert (usual.rule, usual.other_rule) == ("distance", "drop")
    assert usual.apart_m.tolist() == [20, 15, 10]
    np.testing.assert_allclose(usual.other_m, [np.nan, np.nan, 3.75])
    chosen = spacing(MEASURES["grass_strips"], at, plan_with(spacing_rule="drop"), BOOK)
    assert chosen.rule == "drop"
    assert chosen.apart_m.tolist() == pytest.approx([20, 15, 3.75])


def test_a_rule_that_is_not_common_for_a_measure_leaves_it_alone():
    plan = plan_with(spacing_rule="kenya terrace")
    at = np.array([20.0])
    assert spacing(MEASURES["hillside_ditch"], at, plan, BOOK).apart_m == pytest.approx([10.5])
    assert spacing(MEASURES["grass_strips"], at, plan, BOOK).rule == "distance"
    assert spacing(MEASURES["cut_off_drain"], at, plan, BOOK) is None


def test_retention_bunds_lie_no_farther_apart_than_published():
    """Mekdaschi & Liniger 2013, as cited: 5 to 25 m."""
    plan = plan_with(spacing_rule="india bund high rain")
    found = spacing(MEASURES["retention_bund"], np.array([5.0, 20.0]), plan, BOOK)
    assert found.apart_m.tolist() == pytest.approx([25, 18])
