"""What is drawn on the land turns water: walls, culverts and channels, whatever the blocks."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.grid import Window
from districtplan.handbook import packaged
from districtplan.intake.features import KINDS
from districtplan.water import blocks, network, shaped
from districtplan.water.directions import CODES, FORWARD, STEPS
from tests.conftest import ArrayElevation, middle, surface_raster
from tests.water.flow import edge_cells, traced, with_hollows

SEEDS = st.integers(0, 2**32 - 1)
FEW = settings(max_examples=12, deadline=None)


def drawn(raster: ArrayElevation, *features: tuple[str, object]) -> shaped.Shaped:
    """Shape a raster by kinds and shapes, the latter in metres from its middle."""
    x0, y0 = middle(raster)
    kinds, shapes = zip(*features, strict=True)
    moved = shapely.transform(np.array(shapes, dtype=object), lambda xy: xy + np.array([x0, y0]))
    frame = pd.DataFrame({"kind": kinds, "geometry": pd.Series(list(moved), dtype=object)})
    return shaped.shape(frame, raster.grid, packaged())


def line(*points: tuple[float, float]) -> shapely.LineString:
    return shapely.LineString(points)


def crossing(raster: ArrayElevation, drains_to: np.ndarray, barrier) -> np.ndarray:
    """Cells whose step to the next crosses a line given in metres from the middle."""
    cell = np.flatnonzero(drains_to.ravel() >= 0)
    to = drains_to.ravel()[cell]
    columns, half = raster.grid.columns, raster.grid.columns / 2
    size = raster.grid.cell_x
    ends = [
        np.column_stack([(c % columns + 0.5 - half) * size, (half - c // columns - 0.5) * size])
        for c in (cell, to)
    ]
    steps = shapely.linestrings(np.stack(ends, axis=1))
    return cell[shapely.intersects(steps, barrier)]


def broken_line(rng: np.random.Generator, reach: float) -> shapely.LineString:
    """A line of a few blunt bends, which encloses no cell."""
    x = np.linspace(-reach, reach * rng.uniform(0.2, 1), rng.integers(2, 6))
    y = np.cumsum(rng.uniform(-0.5, 0.5, len(x)) * np.diff(x, prepend=x[0]))
    turn = rng.uniform(0, 2 * np.pi)
    way = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return shapely.LineString(np.column_stack([x, y]) @ way)


@FEW
@given(SEEDS)
def test_no_water_crosses_an_open_bank_and_none_is_lost(seed):
    rng = np.random.default_rng(seed)
    raster = surface_raster(lambda x, y: 0 * x, cells=80)
    heights = with_hollows(rng, 80)
    if seed % 2:
        heights = np.round(heights)
    raster = ArrayElevation(raster.grid, heights)
    bank = broken_line(rng, 350)
    area, _, drains_to = traced(raster, shaped=drawn(raster, ("bank", bank)))
    assert len(crossing(raster, drains_to, bank)) == 0
    assert area[edge_cells(heights)].sum() == pytest.approx(100.0 * heights.size, rel=1e-12)
    # The land does cross there where nothing is drawn: the test can fail.
    _, _, bare = traced(raster)
    assert len(crossing(raster, bare, bank)) > 0


@settings(max_examples=8, deadline=None)
@given(SEEDS, st.integers(20, 60))
def test_blocks_change_nothing_with_features_either(seed, side):
    rng = np.random.default_rng(seed)
    raster = surface_raster(lambda x, y: 0 * x, cells=90)
    heights = with_hollows(rng, 90)
    raster = ArrayElevation(raster.grid, np.round(heights) if seed % 2 else heights)
    kinds = rng.choice(["bank", "ditch", "path", "waterway", "stream", "culvert"], 6)
    land = drawn(raster, *((kind, broken_line(rng, 420)) for kind in kinds))
    for backwater in (-np.inf, 1.0):
        one = traced(raster, 1_000, backwater_m=backwater, shaped=land)
        other = traced(raster, side, backwater_m=backwater, shaped=land)
        for a, b in zip(one, other, strict=True):
            np.testing.assert_array_equal(a, b)


def plane() -> ArrayElevation:
    """A plane that falls south; cells of 10 m."""
    return surface_raster(lambda x, y: 1000 + 0.1 * y + 0.001 * x, cells=60)


def at(raster: ArrayElevation, values: np.ndarray, x: float, y: float) -> float:
    half = raster.grid.columns // 2
    return values[int(half - np.ceil(y / 10)), int(half + x // 10)]


def test_a_bank_leads_water_to_its_low_end():
    raster = plane()
    bank = line((-102, 0), (102, 0))
    area, _, drains_to = traced(raster, shaped=drawn(raster, ("bank", bank)))
    bare, _, _ = traced(raster)
    assert at(raster, bare, 5, -5) == at(raster, bare, 205, -5) == 3000
    # Below the bank each column starts anew; its west end is the lower one.
    assert at(raster, area, 5, -5) == 100
    assert at(raster, area, -105, -5) == 20 * 2900 + 3000
    assert at(raster, area, 105, -5) == 3000
    assert len(crossing(raster, drains_to, bank)) == 0


def test_a_culvert_lets_water_through_at_its_place():
    raster = plane()
    road = ("road", line((-300, 0), (300, 0)))
    pipe = ("culvert", line((45, 4), (45, -4)))
    area, _, drains_to = traced(raster, shaped=drawn(raster, road, pipe))
    closed, _, _ = traced(raster, shaped=drawn(raster, road))
    assert at(raster, closed, 45, -5) == 100
    assert at(raster, area, 45, -5) > 20 * 2900
    assert {int(cell % 60) for cell in crossing(raster, drains_to, road[1])} <= {33, 34, 35}
    # The culvert opens what it lies under; alone it does nothing.
    alone, _, _ = traced(raster, shaped=drawn(raster, pipe))
    np.testing.assert_array_equal(alone, traced(raster)[0])


def test_what_is_closed_all_round_goes_over_at_last():
    raster = plane()
    ring = shapely.box(-52, -52, 52, 52)
    area, _, drains_to = traced(raster, shaped=drawn(raster, ("bank", ring)))
    over = crossing(raster, drains_to, ring.exterior)
    # All that falls inside leaves over one place, and nothing enters.
    assert len(over) == 1
    assert area.ravel()[over[0]] == 100 * 100


def test_a_waterway_collects_and_hands_on_at_its_low_end():
    raster = plane()
    ditch = ("waterway", line((-195, 100), (195, -100)))
    area, _, drains_to = traced(raster, shaped=drawn(raster, ditch))
    # All columns above it, 40 of them, leave at its lower end in the south-east.
    cells = drawn(raster, ditch).channels
    columns, ahead = raster.grid.columns, drains_to.ravel()[cells]
    leaving = cells[~np.isin(ahead, cells)]
    assert len(leaving) == 1
    assert leaving[0] % columns == 49
    assert area.ravel()[leaving[0]] == pytest.approx(100 * 40 * 30, rel=0.1)
    # The same line as a path leads water along; as grass it does nothing.
    grass, _, _ = traced(raster, shaped=drawn(raster, ("grass strip", ditch[1])))
    np.testing.assert_array_equal(grass, traced(raster)[0])


@FEW
@given(SEEDS)
def test_walls_are_the_steps_that_a_line_crosses(seed):
    rng = np.random.default_rng(seed)
    raster = surface_raster(lambda x, y: 0 * x, cells=40)
    bank = broken_line(rng, 260)  # some of it lies off the raster
    land = drawn(raster, ("bank", bank))
    cells = np.arange(raster.grid.rows * raster.grid.columns)
    expected = set()
    for place, (down, right) in enumerate(FORWARD):
        row, column = np.divmod(cells, 40)
        inside = (row + down < 40) & (column + right >= 0) & (column + right < 40)
        to = np.where(inside, cells + down * 40 + right, -1)
        for cell in crossing(raster, to, bank):
            expected.add(int(cell) * len(FORWARD) + place)
    assert set(land.walls.tolist()) == expected
    np.testing.assert_array_equal(land.walls, land.ends)


def test_a_line_through_centres_is_crossed_once():
    raster = plane()
    bank = line((-100, 5), (100, 5))  # the centres of one row
    area, _, _ = traced(raster, shaped=drawn(raster, ("bank", bank)))
    found = {at(raster, area, 5, y) for y in (5, -5)}
    assert 100 in found
    assert at(raster, area, 5, -25) <= 300


def test_windows_see_the_same_walls_wherever_they_lie():
    raster = plane()
    land = drawn(
        raster, ("bank", line((-150, -80), (150, 90))), ("stream", line((0, 90), (9, -90)))
    )
    whole = Window(0, 0, 60, 60)
    for window in (Window(20, 13, 21, 30), Window(29, 29, 1, 1), Window(0, 0, 30, 60)):
        part = (
            slice(window.row, window.row + window.rows),
            slice(window.column, window.column + window.columns),
        )
        for of in (land.walls_in, land.ends_in, land.channels_in):
            np.testing.assert_array_equal(of(window), of(whole)[part])
    # Each step is closed from both sides.
    marks = land.walls_in(whole)
    for (down, right), code in zip(STEPS, CODES, strict=True):
        rows, columns = np.nonzero(marks & code)
        back = CODES[STEPS.index((-down, -right))]
        assert (marks[rows + down, columns + right] & back).all()


def test_every_kind_is_told_what_it_does():
    rows = packaged().rows(shaped.TABLE)
    assert sorted(rows["name"]) == sorted(KINDS)
    assert set(rows["run_on"]) <= {"leads away", "carries", "lets through", "passes"}
    assert set(rows["slope_length"]) <= {"ends", "goes on"}


def hollows_beside_a_bank() -> tuple[ArrayElevation, object]:
    """Two bottoms of one height on either side of a bank; each has a way out of its own."""
    raster = surface_raster(lambda x, y: 0 * x, cells=40)
    column = np.arange(40)
    heights = np.repeat(np.where(column < 20, 19 - column, column - 20)[None] * 1.0, 40, axis=0)
    heights += np.abs(np.arange(40) - 20)[:, None]
    # Out to the west the pass is lower than out to the east.
    heights[20, :20] = np.minimum(heights[20, :20], 6 - 0.1 * (19 - column[:20]))
    heights[20, 20:] = np.minimum(heights[20, 20:], 9 - 0.1 * (column[20:] - 20))
    heights[20, 19:21] = -1
    bank = line((0, -200), (0, 200))
    return ArrayElevation(raster.grid, heights), bank


def out_to_the_west(side: int = 64) -> float:
    raster, bank = hollows_beside_a_bank()
    area, _, _ = traced(raster, side, shaped=drawn(raster, ("bank", bank)))
    return float(area[20, 0])


@pytest.mark.parametrize("side", [64, 20, 19])
def test_hollows_on_both_sides_of_a_bank_stay_two(side):
    # Half the land, but for the edge cells, which keep what is theirs, and the last one.
    assert out_to_the_west(side) == 100 * (19 * 38 + 1)


def test_pools_that_pay_no_heed_to_walls_would_be_seen(monkeypatch):
    whole = blocks._pools
    monkeypatch.setattr(blocks, "_pools", lambda still, walls: whole(still, 0 * walls))
    assert out_to_the_west() != 100 * (19 * 38 + 1)


@pytest.mark.parametrize("module", [blocks, network])
def test_passes_that_pay_no_heed_to_walls_would_be_seen(module, monkeypatch):
    monkeypatch.setattr(module, "raised", lambda height, _: height)
    grid = surface_raster(lambda x, y: 0 * x, cells=80).grid
    crossed = 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        raster = ArrayElevation(grid, np.round(with_hollows(rng, 80)))
        bank = broken_line(rng, 350)
        _, _, drains_to = traced(raster, 10, shaped=drawn(raster, ("bank", bank)))
        crossed += len(crossing(raster, drains_to, bank))
    assert crossed > 0
