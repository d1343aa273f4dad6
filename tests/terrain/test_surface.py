"""Faults of the raster raise their flags; ground and noise without them don't."""

from __future__ import annotations

import importlib

import numpy as np
import pytest
import shapely
from pyproj import CRS

from districtplan import terrain
from districtplan.grid import Grid
from districtplan.handbook import packaged
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


def flags_of(raster, plots, sigma=0.3, length=0.0, **elevation) -> list[tuple[str, ...]]:
    """What each plot raises."""
    cell = raster.grid.cell_x
    error = {"vertical_error_m": sigma, "error_correlation_m": length * cell}
    table, _ = measured(raster, plots, plan_of(elevation=error | elevation))
    assert len(table) == len(plots)
    return table["terrain_flags"].tolist()


def raised(raster, plots, code, *error, **elevation) -> np.ndarray:
    """Whether each plot raises a flag."""
    return np.array([code in flags for flags in flags_of(raster, plots, *error, **elevation)])


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("sigma", "length"), [(0.0, 0.0), (1.0, 0.0), (1.0, 0.7), (3.0, 3.0)])
def test_hills_with_noise_raise_nothing(seed, sigma, length):
    raster = noisy(seed, sigma, length)
    raster.tile = np.zeros((CELLS, CELLS), dtype=np.int16)
    raster.tile[:, CELLS // 2 :] = 1
    told = flags_of(raster, plots_on(raster, seed), sigma, length)
    for code in surface.FLAGS:
        assert np.mean([code in flags for flags in told]) < 0.02, code


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
@pytest.mark.parametrize(
    "period", [2, 5, 8, *(pytest.param(one, marks=pytest.mark.slow) for one in (3, 4, 6, 7))]
)
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
    raster.heights[98:101, 98:100] = 1800.37
    assert not raised(raster, plot, "constant_heights").any()
    raster.heights[97:99, 97:103] = raster.heights[100:102, 97:103] = 1800.37
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
@pytest.mark.parametrize("width", [1, pytest.param(2, marks=pytest.mark.slow), 3])
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
        raster.heights[96:104, 98:100] = 1800.37
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


LIMITS = packaged().numbers(surface.TABLE)
ERROR = 1.0, 20.0
SIDES = [(10.0, 25.0), (25.0, 10.0)]


def lattice(cells, heights, tile=None) -> ArrayElevation:
    """A raster of 60 by 60 cells that need not be square."""
    grid = Grid(490_000.0, 9_701_000.0, *cells, 60, 60, CRS.from_epsg(32736))
    # Not a multiple of half a metre, which would be steps, nor level to the last digit as water.
    row, column = np.indices((60, 60))
    return ArrayElevation(grid, 2000.3 + 1e-3 * (row + 2 * column) + heights, tile=tile)


def on_cells(raster: ArrayElevation, rows: slice, columns: slice) -> shapely.Polygon:
    grid = raster.grid
    return shapely.box(
        grid.west + columns.start * grid.cell_x, grid.north - rows.stop * grid.cell_y,
        grid.west + columns.stop * grid.cell_x, grid.north - rows.start * grid.cell_y,
    )  # fmt: skip


def raises(raster, plot, code, error=ERROR, **elevation) -> bool:
    length = error[1] / raster.grid.cell_x
    return bool(raised(raster, [plot], code, error[0], length, **elevation)[0])


@pytest.mark.parametrize("cells", SIDES)
@pytest.mark.parametrize("down", [False, True])
def test_a_step_counts_from_what_errors_of_two_tiles_could_be(cells, down):
    """Oracle: the line of each side through two cells errs by itself; pairs near count as one."""
    pairs = 8
    along, across = cells[::-1] if down else cells
    sigma, length = ERROR
    noise = 2 * sigma**2 * (1.5**2 + 0.5**2 - 1.5 * np.exp(-(along**2) / (2 * length**2)))
    free = pairs / (1 + np.sqrt(2 * np.pi) * length / across)
    least = LIMITS["seam_times"] * np.sqrt(noise / max(free, 1))
    assert least > LIMITS["seam_step_min_m"]
    tile = np.zeros((60, 60), dtype=np.int16)
    tile[:, 30:] = 1
    place = slice(26, 26 + pairs), slice(27, 33)
    if down:
        tile, place = tile.T.copy(), place[::-1]
    for share, told in ((0.97, False), (1.03, True)):
        raster = lattice(cells, share * least * tile, tile)
        plot = on_cells(raster, *place).buffer(-0.5, join_style="mitre")
        assert raises(raster, plot, "step_between_tiles") == told


@pytest.mark.parametrize("sign", [-1, 1])
def test_a_seam_that_zigzags_is_no_step(sign):
    """What goes up on one half of the seam and down on the other has no mean step."""
    tile = np.zeros((60, 60), dtype=np.int16)
    tile[:, 30:] = 1
    turns = np.where(np.arange(60) % 2 == 0, 3.0, -3.0)[:, None]
    raster = lattice((10.0, 10.0), sign * turns * tile, tile)
    plot = on_cells(raster, slice(26, 34), slice(27, 33)).buffer(-0.5, join_style="mitre")
    assert not raises(raster, plot, "step_between_tiles", (0.0, 0.0))
    raster = lattice((10.0, 10.0), sign * 3.0 * tile, tile)
    assert raises(raster, plot, "step_between_tiles", (0.0, 0.0))


def test_a_seam_of_few_cells_has_no_scatter_of_its_own():
    """A narrow plot has too few cells off the seam to tell that its ground is rough."""
    tile = np.zeros((60, 60), dtype=np.int16)
    tile[:, 30:] = 1
    rough = np.zeros((60, 60))
    rough[:, 26] = 40.0
    raster = lattice((10.0, 10.0), 2.0 * tile + rough, tile)
    pairs = int(max(LIMITS["seam_pairs_min"], 3))
    narrow = on_cells(raster, slice(26, 26 + pairs), slice(28, 31))
    narrow = narrow.buffer(-0.5, join_style="mitre")
    assert pairs < LIMITS["cells_min"]
    assert raises(raster, narrow, "step_between_tiles", (0.0, 0.0))


@pytest.mark.parametrize("cells", SIDES)
@pytest.mark.parametrize("kind", ["rows", "columns", "down", "up"])
def test_stripes_count_from_what_errors_along_them_could_be(cells, kind):
    row, column = np.mgrid[:60, :60]
    width, height = cells
    slant = np.hypot(width, height) / 2
    period, lines, number, apart, along = {
        "rows": (2, 12, row, height, width),
        "columns": (2, 12, column, width, height),
        "down": (3, 23, row - column, slant, 2 * slant),
        "up": (3, 23, row + column, slant, 2 * slant),
    }[kind]
    noise = surface._wave_error(
        period, np.full(1, 144.0), np.full(1, lines), (np.full(1, apart), np.full(1, along)), ERROR
    )[0]
    gain = 1 - np.cos(2 * np.pi / period)
    least = LIMITS["stripe_error_times"] * noise / gain
    least = max(least, LIMITS["stripe_step_min_m"])
    for share, told in ((0.97, False), (1.03, True)):
        wave = share * least * np.cos(2 * np.pi * number / period + (period > 2))
        raster = lattice(cells, wave)
        plot = on_cells(raster, slice(20, 32), slice(20, 32)).buffer(-0.5, join_style="mitre")
        assert raises(raster, plot, "striped_heights") == told


@pytest.mark.parametrize("cells", SIDES)
def test_trees_count_from_what_errors_along_either_axis_could_be(cells):
    sigma, length = 2.0, 20.0
    wide = max(cells)
    alike = np.exp(-(np.array([wide, 2 * wide]) ** 2) / (2 * length**2))
    noise = sigma**2 * (1.5 - 2 * alike[0] + 0.5 * alike[1])
    least = LIMITS["tree_times"] * np.sqrt(noise)
    assert least > max(LIMITS["tree_height_min_m"], LIMITS["tree_cell_share_min"] * cells[0])
    for share, told in ((0.97, False), (1.03, True)):
        heights = np.zeros((60, 60))
        heights[20:32, 20:32] = share * least
        heights[21:31, 21:31] = 0.0
        raster = lattice(cells, heights)
        plot = on_cells(raster, slice(20, 32), slice(20, 32))
        found = raises(
            raster, plot, "trees_at_edge", (sigma, length), surface="tree tops and roofs"
        )
        assert found == told


def test_the_look_reaches_all_that_the_checks_read():
    watch = surface.Watch(lattice((10.0, 10.0), 0.0).grid, plan_of(), packaged())
    # A belt of trees so many cells wide is held against the ground twice as far off.
    assert watch.margin >= 2 * max(surface.WIDTHS)
    assert watch.margin >= len(surface.JUMP) // 2


@pytest.mark.parametrize("step", [0.5, 1.0])
def test_steps_matter_by_what_they_add_to_the_slope(step):
    """Rounding errs by step/√12, a Horn gradient by √12/8 of that over the cell: step / 8 cell."""
    nothing = np.zeros(2, dtype=bool)
    found = surface.Surface(np.full(2, step), nothing, nothing, nothing, nothing)
    slope = step / 80 / LIMITS["step_slope_share_min"] * np.array([0.99, 1.01])
    told, *_ = surface.flags(found, slope, np.full(2, 10.0), packaged())
    assert told.tolist() == [True, False]


def test_all_flags_are_declared():
    assert set(surface.FLAGS) <= set(terrain.FLAGS)
