"""The compiled loops, against the spline, the depths of one row and links made one by one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.rows import sag, walk
from districtplan.rows.surface import Doubt, Error, Heights, Surface, fit
from tests.rows.plot_by_plot import chained


def surface(seed, rows=16, columns=13, sigma=0.0):
    rng = np.random.default_rng(seed)
    heights = Heights(1500 + rng.normal(0, 1.0, (rows, columns)), -20.0, 7.0, 10.0, 8.0)
    return fit(heights, Error(sigma, 20.0))


@pytest.mark.parametrize("shape", [(3, 3), (3, 9), (4, 4), (5, 4), (12, 30)])
def test_cubics_are_the_spline(shape):
    ground = surface(1, *shape)
    cubics = ground.cubics()
    assert cubics.shape == (shape[0] - 1, shape[1] - 1, 4, 4)
    rng = np.random.default_rng(2)
    for i, j in np.ndindex(cubics.shape[:2]):
        v, u = rng.uniform(0, 1, (2, 5))
        found = np.polynomial.polynomial.polyval2d(v, u, cubics[i, j])
        at = np.column_stack([-20 + 10 * (j + u), 7 + 8 * (i + v)])
        assert np.allclose(found, ground.height(at), atol=1e-8)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([0.0, 0.2]), st.floats(0.0, 0.8))
def test_rows_are_broken_where_one_by_one_they_are(seed, sigma, deepest):
    """Some rows reach beyond the heights, where the surface stays as it is at its edge."""
    rng = np.random.default_rng(seed)
    surfaces = [surface(seed + n, *rng.integers(3, 20, 2), sigma) for n in range(3)]
    of = np.sort(rng.integers(0, 3, 12))
    start, stop = rng.uniform(-30, 140, (2, 12, 2))
    found = walk.lows(walk.Ground.of(surfaces), of, start, stop, deepest)
    for plot in np.unique(of):
        rows = np.flatnonzero(of == plot)
        longest = np.hypot(*(stop - start)[rows].T).max()
        share = np.linspace(0, 1, int(np.ceil(longest / sag.STEP_M)) + 1)
        for row in rows:
            at = start[row] + share[:, None] * (stop - start)[row]
            wanted = share[sag.breaks(surfaces[plot].height(at), deepest)]
            assert np.allclose(np.sort(found.share[found.row == row]), wanted, atol=1e-12)


@pytest.mark.parametrize("points", [2, 7])
def test_heights_along_lines_are_the_splines(points):
    """Some lines reach beyond the heights."""
    ground = surface(3, 9, 12)
    start, stop = np.random.default_rng(4).uniform(-30, 120, (2, 20, 2))
    found = walk.heights(walk.Ground.of([ground]), start, stop, points)
    for share, told in zip(np.linspace(0, 1, points), found.T, strict=True):
        assert np.allclose(told, ground.height(start + share * (stop - start)), atol=1e-8)


def test_many_breaks_of_few_rows_find_room():
    waves = 1500 + np.tile([0.0, 1.0], 40) * np.ones((4, 1))
    ground = Surface(Heights(waves, 0.0, 0.0, 2.0, 2.0), Doubt(0.0, 0.0, 4.0))
    found = walk.lows(
        walk.Ground.of([ground]), np.array([0]), np.array([[0.0, 3]]), np.array([[158.0, 3]]), 0.1
    )
    assert len(found.row) == 39


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 2), st.integers(0, 12), st.integers(0, 9)), max_size=40),
    st.integers(1, 5),
)
def test_places_are_linked_as_one_by_one(places, link):
    plots, d, s = (
        (np.array(part, dtype=np.int64) for part in zip(*sorted(places), strict=True))
        if (places)
        else (np.zeros(0, dtype=np.int64),) * 3
    )
    place, apart = np.column_stack([s, d]).astype(float), np.array([1.0, 2.0, 3.5])
    found = walk.chains(plots, place, apart, float(link))
    count = 0
    for plot in np.unique(plots):
        mine = found[plots == plot]
        wanted = chained(place[plots == plot].tolist(), apart[plot], link)
        parts = [place[plots == plot][mine == count + n].tolist() for n in range(len(wanted))]
        assert parts == [[list(at) for at in chain] for chain in wanted]
        count += len(wanted)
    assert count == len(np.unique(found))
