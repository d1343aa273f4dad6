"""Walking over terrain: planes, an independent shortest way, barriers that coarse blocks keep."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from districtplan.handbook import packaged
from districtplan.travel import Ground, Walking, on_foot

WALKING = Walking.of(packaged())
CELL = 10.0


def ground_of(heights, closed=None, path=None) -> Ground:
    nothing = np.zeros(heights.shape, bool)
    closed = nothing if closed is None else closed
    corner = (0.0, CELL * heights.shape[0])
    return Ground(heights, (CELL, CELL), corner, closed, nothing if path is None else path)


def at(ground: Ground, *cells: tuple[int, int]) -> np.ndarray:
    """Middles of cells by row and column."""
    return np.array(
        [[(column + 0.5) * CELL, ground.corner_m[1] - (row + 0.5) * CELL] for row, column in cells]
    )


def minutes(ground: Ground, start, end, block: int = 1) -> float:
    links = on_foot(ground, at(ground, start), at(ground, end), WALKING, (block, np.inf))
    return float(links.cost[0]) if len(links.cost) else np.inf


def hills(seed: int, size: int, steep: float) -> np.ndarray:
    rng = np.random.default_rng(seed)
    layers = [(30, 40), (12, 12), (4, 4)]
    heights = sum(gaussian_filter(rng.standard_normal((size, size)), s) * s * a for a, s in layers)
    slope = np.hypot(*np.gradient(heights, CELL)).mean()
    return heights * steep / slope


@pytest.mark.parametrize("block", [1, 4])
@pytest.mark.parametrize("step", [(0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (2, -1)])
def test_a_plane_is_walked_at_the_speed_of_its_slope(step, block):
    row, column = np.indices((80, 80))
    ground = ground_of(1.2 * column - 0.5 * row)
    start = np.array([41, 41])
    end = start + 8 * np.array(step)
    away, rise = CELL * np.hypot(*(8 * np.array(step))), 8 * (1.2 * step[1] - 0.5 * step[0])
    for one, other, up in ((start, end, rise), (end, start, -rise)):
        expected = WALKING.minutes(np.array([away]), np.array([up]), np.array([False]))[0]
        assert minutes(ground, one, other, block) == pytest.approx(expected, rel=1e-9)


def test_up_takes_longer_than_down():
    row, _ = np.indices((60, 60))
    ground = ground_of(-2.0 * row)
    up, down = minutes(ground, (50, 30), (10, 30)), minutes(ground, (10, 30), (50, 30))
    # Slopes of 20 % up and down lie 0.25 and 0.15 from the fastest.
    assert up / down == pytest.approx(np.exp(3.5 * (0.25 - 0.15)), rel=1e-9)


def test_full_grid_agrees_with_another_shortest_way():
    """Every cell joined to 16 others, put together one by one and solved by scipy."""
    heights = hills(3, 40, 0.25)
    ground = ground_of(heights)
    moves = [(0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (2, 1), (1, -2), (2, -1)]
    rows, start, end, cost = 40, [], [], []

    def walked(one, other) -> float:
        """A fifth of the line over what lies between, the rest of its ends."""
        (r, c), (r1, c1) = one, other
        long = max(abs(r1 - r), abs(c1 - c))
        points = [(r + (r1 - r) * k / long, c + (c1 - c) * k / long) for k in range(long + 1)]
        z = [
            (
                heights[int(np.floor(a)), int(np.floor(b))]
                + heights[int(np.ceil(a)), int(np.ceil(b))]
            )
            / 2
            for a, b in points
        ]
        away = CELL * np.hypot(r1 - r, c1 - c)

        def tobler(far, rise):
            return far / (0.6 * 100 * np.exp(-3.5 * abs(rise / far + 0.05)))

        line = sum(tobler(away / long, z[k + 1] - z[k]) for k in range(long))
        return 0.2 * line + 0.8 * tobler(away, z[-1] - z[0])

    for r, c in np.ndindex(40, 40):
        for down, across in moves + [(-a, -b) for a, b in moves]:
            if 0 <= r + down < 40 and 0 <= c + across < 40:
                start.append(r * rows + c)
                end.append((r + down) * rows + c + across)
                cost.append(walked((r, c), (r + down, c + across)))
    graph = csr_array((cost, (start, end)), shape=(1600, 1600))
    one, others = (5, 7), [(30, 35), (38, 2), (20, 20)]
    least = dijkstra(graph, indices=[5 * rows + 7])[0]
    for other in others:
        expected = least[other[0] * rows + other[1]]
        assert minutes(ground, one, other) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("steep", [0.1, 0.3])
def test_blocks_stay_close_to_the_full_grid(steep):
    ground = ground_of(hills(7, 200, steep))
    rng = np.random.default_rng(1)
    starts, ends = rng.uniform(0, 2000, (4, 2)), rng.uniform(0, 2000, (60, 2))
    full = on_foot(ground, starts, ends, WALKING, (1, np.inf))
    coarse = on_foot(ground, starts, ends, WALKING, (5, np.inf))
    assert len(full.cost) == len(coarse.cost) == 240
    ratio = (coarse.cost / full.cost)[full.cost > 10]
    assert abs(ratio.mean() - 1) < 0.015
    assert (np.abs(ratio - 1) < 0.03).mean() > 0.9


def river(size: int = 60) -> np.ndarray:
    """A river one cell wide that runs from corner to corner: its cells touch at corners alone."""
    return np.eye(size, dtype=bool)


@pytest.mark.parametrize("block", [1, 3, 4, 7])
def test_a_river_of_one_cell_is_a_barrier_in_blocks_too(block):
    ground = ground_of(np.zeros((60, 60)), river())
    assert minutes(ground, (50, 10), (10, 50), block) == np.inf
    assert minutes(ground, (50, 10), (55, 40), block) < np.inf


@pytest.mark.parametrize("block", [1, 3, 4, 7])
def test_a_bridge_is_the_way_across(block):
    path = np.zeros((60, 60), bool)
    path[20, 15:26] = True
    ground = ground_of(np.zeros((60, 60)), river(), path)
    found = minutes(ground, (40, 30), (24, 40), block)
    # Who leaves or joins the path does so at a block's node.
    detour = WALKING.minutes(np.array([CELL * block]), np.zeros(1), np.zeros(1, bool))[0]
    assert found == pytest.approx(minutes(ground, (40, 30), (24, 40)), abs=1.5 * detour)
    straight = WALKING.minutes(np.array([CELL * np.hypot(16, 10)]), np.zeros(1), np.zeros(1, bool))
    assert found > 1.5 * straight[0]


@pytest.mark.parametrize("block", [1, 4])
def test_paths_are_faster(block):
    path = np.zeros((60, 60), bool)
    path[30] = True
    flat = np.zeros((60, 60))
    with_path = minutes(ground_of(flat, path=path), (30, 2), (30, 58), block)
    without = minutes(ground_of(flat), (30, 2), (30, 58), block)
    assert with_path == pytest.approx(0.6 * without, rel=0.02)


def test_unknown_heights_are_not_crossed():
    heights = np.zeros((30, 30))
    heights[:, 15] = np.nan
    assert minutes(ground_of(heights), (10, 5), (10, 25)) == np.inf


@pytest.mark.parametrize("block", [1, 4])
def test_a_plot_on_closed_land_is_reached_from_beside_it(block):
    closed = np.zeros((40, 40), bool)
    closed[18:23, 18:23] = True
    ground = ground_of(np.zeros((40, 40)), closed)
    assert minutes(ground, (20, 20), (2, 2), block) < np.inf


def test_few_ends_are_walked_to_as_many_are():
    ground = ground_of(hills(2, 60, 0.2))
    rng = np.random.default_rng(4)
    many, few = rng.uniform(0, 600, (20, 2)), rng.uniform(0, 600, (3, 2))
    turned = on_foot(ground, many, few, WALKING, (3, np.inf))
    for number in range(20):
        alone = on_foot(ground, many[[number]], few, WALKING, (3, np.inf))
        assert turned.cost[turned.start == number] == pytest.approx(alone.cost)


def test_no_further_than_the_longest_time():
    ground = ground_of(hills(2, 60, 0.2))
    points = np.random.default_rng(4).uniform(0, 600, (20, 2))
    every = on_foot(ground, points, points, WALKING, (3, np.inf))
    near = on_foot(ground, points, points, WALKING, (3, 6.0))
    kept = every.cost <= 6
    assert 0 < len(near.cost) < len(every.cost)
    assert near.start.tolist() == every.start[kept].tolist()
    assert near.cost == pytest.approx(every.cost[kept])


def test_who_is_off_the_land_has_no_way():
    ground = ground_of(np.zeros((9, 9)))
    points = np.array([[-500.0, 45.0], [5.0, 45.0], [85.0, 45.0], [45.0, 91.0]])
    links = on_foot(ground, points, points[::-1], WALKING, (2, np.inf))
    assert set(zip(links.start.tolist(), links.end.tolist(), strict=True)) == {
        (1, 1), (1, 2), (2, 1), (2, 2)
    }  # fmt: skip


def test_nobody_to_walk():
    ground, none = ground_of(np.zeros((9, 9))), np.zeros((0, 2))
    for pair in ((none, at(ground, (1, 1))), (at(ground, (1, 1)), none), (none, none)):
        assert [len(part) for part in on_foot(ground, *pair, WALKING, (3, 60.0))] == [0, 0, 0]
