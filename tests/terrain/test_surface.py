"""Faults of the raster raise their flags; ground and noise without them don't."""

from __future__ import annotations

import importlib

import numpy as np
import pytest
import shapely

from districtplan import terrain
from districtplan.terrain import surface
from tests.conftest import ArrayElevation, measured, middle, plan_of, square, surface_raster
from tests.support import renumbered
from tests.terrain.errors import correlated

CELLS = 200
SEEDS = (20_260_401, 20_260_402)


def hills(x, y):
    return 1800 + 0.12 * x + 0.08 * y + 20 * np.sin(x / 150) * np.cos(y / 130)


def noisy(seed: int, sigma: float, length: float) -> ArrayElevation:
    """Hills under an error of σ [m] that is alike over some cells."""
    error = sigma * correlated(np.random.default_rng(seed), CELLS, length)
    return surface_raster(lambda x, y: hills(x, y) + error)


def plots_on(raster: ArrayElevation, seed: int, count: int = 200) -> list[shapely.Geometry]:
    rng = np.random.default_rng(seed)
    x, y = middle(raster)
    found = []
    for _ in range(count):
        east, north = rng.uniform(-800, 800, 2)
        half = rng.uniform(20, 80, 2)
        box = shapely.box(-half[0], -half[1], half[0], half[1])
        turned = shapely.affinity.rotate(box, rng.uniform(0, 180))
        found.append(shapely.affinity.translate(turned, x + east, y + north))
    return found


def raised(raster, plots, code, sigma=0.3, length=0.0, **elevation) -> np.ndarray:
    """Whether each plot raises a flag."""
    cell = raster.grid.cell_x
    error = {"vertical_error_m": sigma, "error_correlation_m": length * cell}
    table, _ = measured(raster, plots, plan_of(elevation=error | elevation))
    assert len(table) == len(plots)
    return np.array([code in flags for flags in table["terrain_flags"]])


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("sigma", "length"), [(0.0, 0.0), (1.0, 0.0), (1.0, 0.7), (3.0, 3.0)])
def test_hills_with_noise_raise_nothing(seed, sigma, length):
    raster = noisy(seed, sigma, length)
    raster.tile = np.zeros((CELLS, CELLS), dtype=np.int16)
    raster.tile[:, CELLS // 2 :] = 1
    plots = plots_on(raster, seed)
    for code in surface.FLAGS:
        assert raised(raster, plots, code, sigma, length).mean() < 0.02, code


def test_whole_metres_raise_their_flag():
    raster = noisy(1, 0.5, 2.0)
    plots = plots_on(raster, 1)
    assert not raised(raster, plots, "stepped_heights").any()
    for step in (0.5, 1.0):
        whole = ArrayElevation(raster.grid, np.rint(raster.heights / step) * step)
        assert raised(whole, plots, "stepped_heights").all()
    tenths = ArrayElevation(raster.grid, np.rint(raster.heights * 10) / 10)
    assert not raised(tenths, plots, "stepped_heights").any()


def test_whole_metres_matter_less_on_steep_land_and_wide_cells():
    steep = surface_raster(lambda x, _: np.rint(1800 + 0.5 * x), cell=90.0)
    gentle = surface_raster(lambda x, _: np.rint(1800 + 0.05 * x), cell=90.0)
    x, y = middle(steep)
    plots = [shapely.box(x, y, x + 500, y + 500)]
    assert not raised(steep, plots, "stepped_heights").any()
    assert raised(gentle, plots, "stepped_heights").all()


@pytest.mark.parametrize("down", [False, True])
def test_a_step_between_tiles_raises_its_flag(down):
    raster = noisy(2, 0.3, 0.0)
    tile = np.zeros((CELLS, CELLS), dtype=np.int16)
    tile[CELLS // 2 :] = 1
    raster.tile = tile if down else tile.T
    plots = plots_on(raster, 2)
    x, y = middle(raster)
    seam = [shapely.box(x - 35, y - 35, x + 35, y + 35)]
    assert not raised(raster, [*seam, *plots], "step_between_tiles").any()
    raster.heights = raster.heights + 2.0 * raster.tile
    told = raised(raster, [*seam, *plots], "step_between_tiles")
    assert told[0]
    # Only where plots lie across the seam, and nothing else is blamed.
    line = shapely.box(x - 1e4, y - 10, x + 1e4, y + 10)
    line = line if down else shapely.affinity.rotate(line, 90, origin=(x, y))
    across = np.array([line.intersects(plot) for plot in plots])
    assert not told[1:][~across].any()
    assert told[1:][across].mean() > 0.6
    for other in ("trees_at_edge", "striped_heights"):
        assert not raised(raster, seam, other).any()


def test_a_natural_bank_on_a_seam_is_held_against_the_stated_error():
    raster = noisy(3, 0.0, 0.0)
    raster.tile = np.zeros((CELLS, CELLS), dtype=np.int16)
    raster.tile[:, CELLS // 2 :] = 1
    raster.heights = raster.heights + 1.0 * raster.tile
    x, y = middle(raster)
    plot = [shapely.box(x - 35, y - 35, x + 35, y + 35)]
    assert raised(raster, plot, "step_between_tiles", sigma=0.1).all()
    assert not raised(raster, plot, "step_between_tiles", sigma=3.0).any()


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("sigma", [0.0, 0.3])
def test_stripes_raise_their_flag(axis, sigma):
    raster = noisy(4, sigma, 0.0)
    rng = np.random.default_rng(4)
    x, y = middle(raster)
    corners = rng.uniform(-800, 800, (60, 2))
    plots = [shapely.box(x + e, y + n, x + e + 90, y + n + 90) for e, n in corners]
    assert raised(raster, plots, "striped_heights", sigma).mean() < 0.02
    turns = np.where(np.arange(CELLS) % 2 == 0, 0.5, -0.5)
    raster.heights = raster.heights + (turns[:, None] if axis == 0 else turns[None])
    assert raised(raster, plots, "striped_heights", sigma).mean() > 0.95


def on_grid(raster: ArrayElevation, side: float, turn: float = 0.0) -> list[shapely.Geometry]:
    x, y = middle(raster)
    steps = 170 * np.arange(-4, 5) + 3
    box = shapely.affinity.rotate(shapely.box(0, 0, side, side), turn)
    return [shapely.affinity.translate(box, x + e, y + n) for e in steps for n in steps]


@pytest.mark.parametrize("turn", [0.0, 30.0])
@pytest.mark.parametrize("period", range(2, 9))
def test_every_few_lines_raised_are_stripes(period, turn):
    """Every nth column raised by 0.8 m under an error of 0.1 m; every nth row alike."""
    raster = noisy(8, 0.1, 0.0)
    plots = on_grid(raster, 26.0 * period + 40, turn)
    assert raised(raster, plots, "striped_heights", 0.1).mean() < 0.02
    up = np.where(np.arange(CELLS) % period == 0, 0.8, 0.0)
    for stripes in (up[None], up[:, None]):
        striped = ArrayElevation(raster.grid, raster.heights + stripes)
        assert raised(striped, plots, "striped_heights", 0.1).mean() > 0.9


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("period", [3, 5, 7])
def test_waves_along_diagonals_are_stripes(period, side):
    raster = noisy(9, 0.1, 0.0)
    line = np.arange(CELLS)[:, None] + side * np.arange(CELLS)
    raster.heights = raster.heights + 0.6 * np.sin(2 * np.pi * line / period)
    assert raised(raster, on_grid(raster, 150), "striped_heights", 0.1).mean() > 0.9


@pytest.mark.parametrize("step", [0.5, 1.0])
def test_rounding_to_whole_steps_is_no_stripe(step):
    raster = surface_raster(lambda x, y: np.rint((1800 + 0.05 * x + 0.1 * y) / step) * step)
    for side in (60, 90, 120):
        assert not raised(raster, on_grid(raster, side), "striped_heights").any()


def test_ridges_along_the_raster_are_no_stripes():
    raster = surface_raster(lambda x, y: 1800 - 0.4 * np.abs(y - 5) + 0.02 * x)
    x, y = middle(raster)
    plots = [shapely.box(x - 300, y + n, x + 300, y + n + 90) for n in range(-80, 0, 10)]
    assert not raised(raster, plots, "striped_heights").any()
    assert not raised(raster, plots, "trees_at_edge").any()


def test_a_filled_void_raises_its_flag():
    raster = noisy(5, 0.3, 2.0)
    x, y = middle(raster)
    plot = [shapely.box(x - 35, y - 35, x + 35, y + 35)]
    assert not raised(raster, plot, "constant_heights").any()
    raster.heights[98:102, 98:102] = 1800.37
    assert raised(raster, plot, "constant_heights").all()
    # On heights in whole metres level ground has one height too.
    raster.heights = np.rint(raster.heights)
    assert not raised(raster, plot, "constant_heights").any()


def with_hedge(height: float) -> tuple[ArrayElevation, list[shapely.Geometry]]:
    """Hills with a row of trees along the west edge of one plot."""
    raster = noisy(6, 0.3, 0.0)
    x, y = middle(raster)
    column = CELLS // 2 - 4
    raster.heights[CELLS // 2 - 4 : CELLS // 2 + 4, column] += height
    west = raster.grid.west + (column + 0.5) * raster.grid.cell_x
    return raster, [shapely.box(west, y - 37, x + 33, y + 37)]


def test_trees_along_an_edge_raise_their_flag():
    raster, plot = with_hedge(8.0)
    assert raised(raster, plot, "trees_at_edge").all()
    assert raised(raster, plot, "trees_at_edge", surface="tree tops and roofs").all()
    assert not raised(raster, plot, "trees_at_edge", surface="ground").any()
    assert not raised(*with_hedge(1.0), "trees_at_edge").any()
    # A raster that errs by metres shows such cells anywhere.
    assert not raised(raster, plot, "trees_at_edge", sigma=5.0).any()


@pytest.mark.parametrize("turn", [0.0, 17.0, 30.0])
@pytest.mark.parametrize("height", [8.0, 15.0])
@pytest.mark.parametrize("width", [1, 2, 3])
def test_belts_around_plots_raise_their_flag(width, height, turn):
    raster = noisy(10, 0.3, 0.0)
    plots = on_grid(raster, 80, turn)
    assert not raised(raster, plots, "trees_at_edge").any()
    grid = raster.grid
    centre = (np.arange(CELLS) + 0.5) * grid.cell_x
    x, y = np.meshgrid(grid.west + centre, grid.north - centre)
    belts = [plot.boundary.buffer(width * grid.cell_x / 2) for plot in plots]
    raster.heights = raster.heights + height * shapely.contains_xy(shapely.unary_union(belts), x, y)
    assert raised(raster, plots, "trees_at_edge").mean() > 0.95


@pytest.mark.parametrize("side", [32, 60, 150])
def test_plots_of_few_cells_are_told_of_no_trees(side):
    rough = surface_raster(lambda x, y: hills(x, y) + 8 * np.sin(x / 70), cell=90.0)
    rng = np.random.default_rng(12)
    rough.heights = rough.heights + rng.choice([0.0, 40.0], rough.heights.shape, p=[0.95, 0.05])
    plots = [square(rough, *rng.uniform(-5000, 5000, 2), side) for _ in range(100)]
    assert not raised(rough, plots, "trees_at_edge").any()


def test_trees_inside_a_plot_are_uneven_ground():
    raster, _ = with_hedge(8.0)
    x, y = middle(raster)
    wide = [shapely.box(x - 80, y - 37, x + 33, y + 37)]
    assert not raised(raster, wide, "trees_at_edge").any()


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("cells_min", 1e6),
        ("step_slope_share_min", 1e6),
        ("constant_share_min", 1e6),
        ("seam_pairs_min", 1e6),
        ("seam_step_min_m", 1e6),
        ("seam_times", 1e6),
        ("stripe_lines_min", 1e6),
        ("stripe_step_min_m", 1e6),
        ("stripe_times", 1e6),
        ("stripe_repeats_min", 1e6),
        ("stripe_error_times", 1e6),
        ("tree_height_min_m", 1e6),
        ("tree_cell_share_min", 1e6),
        ("tree_times", 1e6),
        ("tree_cells_min", 1e6),
        ("tree_whole_cells_min", 1e6),
    ],
)
def test_every_limit_is_used(name, value, monkeypatch):
    """A limit out of reach silences its check."""
    code = {
        "cells": "stepped_heights", "step": "stepped_heights", "constant": "constant_heights",
        "seam": "step_between_tiles", "stripe": "striped_heights", "tree": "trees_at_edge",
    }[name.split("_")[0]]  # fmt: skip
    raster, plot = with_hedge(8.0)
    if code == "stepped_heights":
        raster.heights = np.rint(raster.heights)
    if code == "constant_heights":
        raster.heights[96:104, 98:102] = 1800.37
    if code == "step_between_tiles":
        raster.tile = np.zeros((CELLS, CELLS), dtype=np.int16)
        raster.tile[:, 101:] = 1
        raster.heights = noisy(6, 0.3, 0.0).heights
        raster.heights = raster.heights + 5.0 * raster.tile
    if code == "striped_heights":
        raster.heights = raster.heights + np.where(np.arange(CELLS) % 2 == 0, 1.0, -1.0)[:, None]
    assert raised(raster, plot, code).all()
    book = renumbered("surface_checks", name, value)
    monkeypatch.setattr("tests.conftest.handbook.packaged", lambda: book)
    assert not raised(raster, plot, code).any()


def test_grouping_changes_nothing(monkeypatch):
    raster = noisy(7, 0.5, 1.0)
    plots = plots_on(raster, 7, 60)
    whole, _ = measured(raster, plots)
    monkeypatch.setattr("districtplan.coverage.CELLS_PER_BATCH", 500)
    stage = importlib.import_module("districtplan.terrain.survey")
    monkeypatch.setattr(stage, "BLOCK_CELLS", 37)
    parts, _ = measured(raster, plots)
    assert whole["terrain_flags"].tolist() == parts["terrain_flags"].tolist()
    hillside = [name for name in whole if name.startswith("hillside")]
    assert whole[hillside].equals(parts[hillside])


@pytest.mark.parametrize(("x", "y"), [(50_000, 0), (0, 50_000), (-50_000, 50_000), (0, -1_030)])
def test_plots_beside_the_raster_are_told_and_nothing_breaks(x, y):
    raster = surface_raster(hills)
    table, off = measured(raster, [square(raster, x, y, 45), square(raster, side=45)])
    assert (len(table), len(off)) == (1, 1)


def test_all_flags_are_declared():
    assert set(surface.FLAGS) <= set(terrain.FLAGS)
