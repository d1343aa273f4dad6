"""Laws of the slope factors."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.erosion import ls
from districtplan.handbook import packaged

CONSTANTS = ls.constants(packaged())

slopes = st.floats(0, 55)
lengths = st.floats(0.01, 305)


def factor(slope: float, length: float) -> float:
    return float(ls.ls_factor(np.array([slope]), np.array([length]), CONSTANTS)[0])


@settings(deadline=None)
@given(slopes, lengths, st.floats(1, 3))
def test_longer_never_loses_less(slope, length, stretch):
    assert factor(slope, length * stretch) >= factor(slope, length) * (1 - 1e-12)


@settings(deadline=None)
@given(
    st.one_of(
        st.tuples(st.floats(0, 8.99), st.floats(0, 8.99)),
        st.tuples(st.floats(9, 55), st.floats(9, 55)),
    ),
    st.floats(22.13, 305),
)
def test_steeper_never_loses_less_on_either_side_of_the_step(pair, length):
    gentle, steep = sorted(pair)
    assert factor(steep, length) >= factor(gentle, length) * (1 - 1e-12)


@settings(deadline=None)
@given(slopes)
def test_no_jump_at_15_ft(slope):
    at = 15 * ls.FOOT_M
    assert factor(slope, at * (1 - 1e-9)) == pytest.approx(factor(slope, at), rel=1e-6)


@settings(deadline=None)
@given(slopes, st.floats(0, 3 * ls.FOOT_M))
def test_constant_below_3_ft(slope, length):
    assert factor(slope, length) == pytest.approx(factor(slope, 3 * ls.FOOT_M), rel=1e-12)


@settings(deadline=None)
@given(slopes)
def test_unit_plot_length_is_one(slope):
    one = ls.length_factor(np.array([slope]), np.array([22.13]), CONSTANTS)
    assert one[0] == 1.0


def test_by_hand():
    """10 %, 60 m: sin θ 0.099504, S 1.171663, β 1.0517, m 0.5126, L 1.6674."""
    slope, length = np.array([10.0]), np.array([60.0])
    assert ls.steepness(slope, CONSTANTS)[0] == pytest.approx(16.8 * 0.0995037 - 0.5, abs=1e-6)
    sine = 0.1 / 1.01**0.5
    beta = (sine / 0.0896) / (3.0 * sine**0.8 + 0.56)
    assert ls.length_exponent(slope, CONSTANTS)[0] == pytest.approx(beta / (1 + beta))
    assert ls.ls_factor(slope, length, CONSTANTS)[0] == pytest.approx(
        (16.8 * sine - 0.5) * (60 / 22.13) ** (beta / (1 + beta))
    )
