"""The shared solver of concentric rows: the least of the quadratic form, whatever its sums."""

from __future__ import annotations

import numpy as np
import pytest

from districtplan import concentric


def form(rng):
    a = rng.normal(size=(12, 3)) * [1, 1, 30]
    return a.T @ a


def sums_of(m):
    return m[0, 0], m[0, 1], m[1, 1], m[0, 2], m[1, 2], m[2, 2]


@pytest.mark.parametrize("seed", range(20))
def test_no_direction_and_bend_leave_less(seed):
    rng = np.random.default_rng(seed)
    m = form(rng)
    best = concentric.solve(*map(np.asarray, sums_of(m)))
    own = np.array([np.cos(best.angle), np.sin(best.angle), best.bend])
    assert own @ m @ own == pytest.approx(best.left)
    angle, bend = np.meshgrid(np.linspace(0, np.pi, 181), np.linspace(-1, 1, 401))
    tried = np.stack([np.cos(angle), np.sin(angle), bend], axis=-1)
    left = np.einsum("abi,ij,abj->ab", tried, m, tried)
    assert left.min() >= best.left * (1 - 1e-9)
    assert left.min() == pytest.approx(best.left, rel=0.05)


def test_a_bend_that_is_rounding_is_none():
    assert concentric.solve(*map(np.asarray, (1.0, 0.0, 0.0, 0.0, 1e-9, 1.0))).bend == 0.0


def test_nothing_tells_nothing():
    best = concentric.solve(*[np.zeros(3)] * 6)
    assert (best.bend == 0).all()
    assert (best.left == 0).all()
