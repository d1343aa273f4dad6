from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from districtplan.grid import Grid, Window
from tests.conftest import NORTH, WEST, ArrayElevation, surface_raster
from tests.water.flow import edge_cells, reference, traced, with_hollows, without_hollows

SEEDS = st.integers(0, 2**32 - 1)
FEW = settings(max_examples=15, deadline=None)


def raster_of(heights: np.ndarray, cell: float = 10.0, epsg: int = 32736) -> ArrayElevation:
    corner = (WEST, NORTH) if epsg == 32736 else (30.0, -1.8)
    grid = Grid(*corner, cell, cell, *heights.shape, CRS.from_epsg(epsg))
    return ArrayElevation(grid, heights.astype(np.float32))


def faulty_ground(rng: np.random.Generator) -> np.ndarray:
    """Rolling land; one in three in whole metres, one in three with gaps."""
    heights = with_hollows(rng)
    kind = rng.integers(3)
    if kind == 1:
        heights = np.round(heights)
    if kind == 2:
        heights[rng.random(heights.shape) < 0.001] = np.nan
    return heights


@pytest.mark.parametrize("epsg", [32736, 4326])
@pytest.mark.parametrize("seed", range(4))
def test_equals_sorting_by_height_and_pushing_down(seed, epsg):
    heights = without_hollows(np.random.default_rng(seed))
    if seed == 3:
        heights[90:94, 60:75] = np.nan
    raster = raster_of(heights, 10.0 if epsg == 32736 else 1 / 10_800, epsg)
    area, _, _ = traced(raster)
    np.testing.assert_allclose(area, reference(raster), rtol=1e-9)


def test_the_own_cell_counted_twice_would_be_seen():
    raster = raster_of(without_hollows(np.random.default_rng(5)))
    area, _, _ = traced(raster)
    twice = area + 100.0
    assert np.abs(area / reference(raster) - 1).max() < 1e-9
    assert np.abs(twice / reference(raster) - 1).max() > 0.9


@FEW
@given(SEEDS)
def test_all_water_leaves_at_the_edges(seed):
    heights = faulty_ground(np.random.default_rng(seed)).astype(np.float32)
    area, _, drains_to = traced(raster_of(heights))
    edge = edge_cells(heights)
    assert area[edge].sum() == pytest.approx(100.0 * (~np.isnan(heights)).sum(), rel=1e-12)
    assert (drains_to[edge] == -1).all()


@FEW
@given(SEEDS)
def test_what_drains_in_and_the_own_cell_is_what_drains_out(seed):
    # Nothing is counted twice, nothing is lost, cell by cell. No two heights are the same, for a
    # pool of several cells hands on from one of them what all take in.
    ground = with_hollows(np.random.default_rng(seed))
    heights = 1000 + np.argsort(np.argsort(ground, axis=None)).reshape(ground.shape) / 128
    area, _, drains_to = traced(raster_of(heights))
    handed = np.bincount(
        drains_to[drains_to >= 0], area[drains_to >= 0], minlength=area.size
    ).reshape(area.shape)
    np.testing.assert_allclose(area, handed + 100.0, rtol=1e-12)


@settings(max_examples=6, deadline=None)
@given(SEEDS, st.integers(20, 90))
def test_blocks_change_nothing(seed, side):
    raster = raster_of(faulty_ground(np.random.default_rng(seed)))
    for backwater in (-np.inf, 1.0, np.inf):
        one = traced(raster, 1_000, backwater_m=backwater)
        other = traced(raster, side, backwater_m=backwater)
        for a, b in zip(one, other, strict=True):
            np.testing.assert_array_equal(a, b)


@FEW
@given(SEEDS)
def test_a_part_of_the_raster_agrees_wherever_it_says_so(seed):
    rng = np.random.default_rng(seed)
    heights = faulty_ground(rng)
    raster = raster_of(heights)
    truth, _, _ = traced(raster)
    row, column = rng.integers(0, 40, 2)
    window = Window(int(row), int(column), int(rng.integers(40, 80)), int(rng.integers(40, 80)))
    area, at_least, _ = traced(raster, 50, window, np.inf)
    inside = truth[row : row + window.rows, column : column + window.columns]
    np.testing.assert_array_equal(area[~at_least], inside[~at_least])
    assert (~at_least).any()
    # Water may leave a hollow or a flat that the edge cuts by another way than it seems: then a
    # few cells get less.
    assert (area > inside).sum() <= 20


@FEW
@given(SEEDS)
def test_without_hollows_what_a_part_shows_is_a_lower_limit(seed):
    rng = np.random.default_rng(seed)
    raster = raster_of(without_hollows(rng, 110))
    truth, _, _ = traced(raster)
    row, column = rng.integers(0, 40, 2)
    window = Window(int(row), int(column), 70, 60)
    area, at_least, _ = traced(raster, 50, window, 0.0)
    inside = truth[row : row + 70, column : column + 60]
    np.testing.assert_array_equal(area[~at_least], inside[~at_least])
    assert (area <= inside).all()
    assert (area[at_least] < inside[at_least]).any()


def test_the_check_of_parts_sees_what_a_cut_hides():
    # Without reckoning with lakes beyond the edge, parts disagree where they say they don't.
    off = 0
    for seed in range(8):
        raster = raster_of(with_hollows(np.random.default_rng(seed)))
        truth, _, _ = traced(raster)
        area, at_least, _ = traced(raster, 50, Window(30, 30, 60, 60), -np.inf)
        off += int((area != truth[30:90, 30:90])[~at_least].sum())
    assert off > 0


def test_a_plane_drains_in_straight_lines():
    raster = surface_raster(lambda x, y: 1000 + 0.1 * y + 0 * x, cells=50)
    area, _, _ = traced(raster)
    # The first row and the side columns are edge cells: they keep what is theirs.
    down = 100.0 * np.arange(50)
    np.testing.assert_array_equal(area[1:-1, 1:-1], np.repeat(down[1:-1, None], 48, axis=1))
    np.testing.assert_array_equal(area[-1, 1:-1], down[-1])
    np.testing.assert_array_equal(area[0], 100.0)


def test_a_valley_gathers_both_sides():
    # Crests 200 m to either side, so that nothing comes in from beyond the edge but at the head.
    raster = surface_raster(
        lambda x, y: 1000 + 0.5 * (200 - np.abs(np.abs(x - 5) - 200)) + 0.02 * y, cells=60
    )
    area, at_least, _ = traced(raster)
    # Cells lie at x = ..., -5, 5, 15, ...: the bottom is one column with 20 cells on each side,
    # of which the crest drains one way only.
    middle = area[5:-1, 30]
    step = np.unique(np.round(np.diff(middle), 6))
    assert step.tolist() == [100.0 * 40]
    assert at_least[5:-1, 30].all()
    assert not at_least[5:-1, 15:29].any()


def test_a_hollow_spills_over_its_lowest_pass_and_loses_nothing():
    z = np.add.outer(30.0 - np.abs(np.arange(30.0) - 3), np.zeros(21)) + 100
    z[10:15, 8:13] -= 8
    z[15, 11] -= 0.5
    raster = raster_of(z)
    area, at_least, drains_to = traced(raster, 16)
    assert area[edge_cells(z)].sum() == pytest.approx(100.0 * z.size)
    # All that the hollow gathers, and the pass itself, leaves through the notch.
    assert area[15, 11] > 25 * 100
    assert drains_to[15, 11] // 21 == 16
    assert not at_least[15, 11]


def test_flats_lead_to_their_nearest_way_down():
    z = np.full((40, 40), 50.0)
    z[:, 30:] = 49.0 - np.arange(10)
    z[0], z[-1], z[:, 0] = 60, 60, 60
    area, _, drains_to = traced(raster_of(z))
    # Each row of the terrace runs straight east, where it is at most sixteen cells from the step.
    for column in range(14, 29):
        assert (drains_to[5:35, column] % 40 == column + 1).all()
    assert area[20, 30] > area[20, 20] > area[20, 15] > 0


def test_beside_a_gap_nothing_is_handed_on_and_what_lies_below_is_a_lower_limit():
    # A crest in the second row: nothing comes from beyond the edge.
    z = np.repeat(1000.0 - np.abs(np.arange(50.0) - 1)[:, None], 50, axis=1)
    z[20, 25] = np.nan
    area, at_least, _ = traced(raster_of(z))
    assert area[20, 25] == 0
    assert not at_least[20, 25]
    # Of the three cells above the gap each keeps what it gets; the cells below start anew.
    np.testing.assert_array_equal(area[19, 24:27], 1900.0)
    assert at_least[22:49, 24:27].all()
    assert (area[22, 24:27] < 1900).all()
    assert not at_least[30, 10:23].any()
    np.testing.assert_array_equal(area[30, 10:23], 3000.0)


def test_a_raster_without_heights_has_no_water():
    z = np.full((40, 40), np.nan)
    z[3, 3] = 5.0
    area, at_least, _ = traced(raster_of(z), 20)
    assert area.sum() == 100
    assert at_least.sum() == 1


def test_cells_in_degrees_have_their_size_on_the_ground():
    cell = 1 / 3_600
    rows = np.arange(40.0)
    grid = Grid(30.0, 50.0, cell, cell, 40, 40, CRS.from_epsg(4326))
    raster = ArrayElevation(grid, np.repeat(1000 - 30 * rows[:, None], 40, axis=1))
    area, _, _ = traced(raster)
    # At 50° north a second of longitude is about 19.9 m, of latitude 30.9 m.
    assert area[20, 20] == pytest.approx(20 * 19.89 * 30.90, rel=2e-3)
