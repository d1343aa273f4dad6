"""Ways along paths: a ladder of paths by hand, and a grid against the way counted in blocks."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.travel import by_paths

CROSS = np.array(
    [shapely.LineString([(0, 0), (1000, 0)]), shapely.LineString([(500, -300), (500, 300)])]
)


def way(start, end, lines=CROSS, off_path: float = 3.0, most: float = np.inf) -> float:
    most = 1e9 if most == np.inf else most
    links = by_paths(np.array([start], float), np.array([end], float), lines, off_path, most)
    return float(links.cost[0]) if len(links.cost) else np.inf


@pytest.mark.parametrize(
    ("start", "end", "metres"),
    [
        ((0, 0), (1000, 0), 1000),
        (
            (100, 0),
            (500, 300),
            700,
        ),  # turns where the paths cross, though neither has a corner there
        ((100, 20), (900, -10), 800 + 3 * 30),  # enters and leaves the path at its nearest places
        ((100, 20), (110, 20), 30),  # straight across is shorter
        ((500, 250), (500, -250), 500),
        ((-100, 0), (100, 0), 400),  # the nearest place is the path's end
    ],
)
def test_ways_by_hand(start, end, metres):
    assert way(start, end) == pytest.approx(metres, abs=0.02)
    assert way(end, start) == pytest.approx(metres, abs=0.02)


def test_paths_that_do_not_meet_are_joined_by_land_alone():
    lines = np.array(
        [shapely.LineString([(0, 0), (0, 500)]), shapely.LineString([(400, 0), (400, 500)])]
    )
    assert way((0, 0), (400, 0), lines) == pytest.approx(1200)


def test_no_paths_no_points_and_no_further_than_asked():
    none = np.empty(0, object)
    assert way((0, 0), (30, 40), none) == pytest.approx(150)
    assert way((0, 0), (1000, 0), most=999) == np.inf
    assert len(by_paths(np.zeros((0, 2)), np.zeros((1, 2)), CROSS, 3.0, 10.0).cost) == 0


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_on_a_grid_of_paths_blocks_are_counted(seed):
    rng = np.random.default_rng(seed)
    lines = [shapely.LineString([(0, k * 100), (500, k * 100)]) for k in range(6)]
    lines += [shapely.LineString([(k * 100, 0), (k * 100, 500)]) for k in range(6)]
    starts, ends = (rng.integers(0, 6, (4, 2)) * 100.0 for _ in range(2))
    links = by_paths(starts, ends, np.array(lines), 10.0, 1e9)
    expected = np.abs(starts[links.start] - ends[links.end]).sum(axis=1)
    assert len(links.cost) == 16
    assert links.cost == pytest.approx(expected, abs=0.02)


def test_points_in_any_number_are_worked_alike(monkeypatch):
    rng = np.random.default_rng(1)
    starts, ends = rng.uniform(0, 1000, (9, 2)), rng.uniform(0, 1000, (5, 2))
    every = by_paths(starts, ends, CROSS, 2.0, 1e9)
    monkeypatch.setattr("districtplan.travel.paths.AT_ONCE", 2)
    few = by_paths(starts, ends, CROSS, 2.0, 1e9)
    assert all((one == other).all() for one, other in zip(every, few, strict=True))
