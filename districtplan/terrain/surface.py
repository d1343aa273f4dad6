"""Faults of the raster that show in the heights under a plot.

Each check looks at a pattern that ground doesn't have, on the cells that the plot covers and the
cells beside them, and holds it against what noise of the stated error, or the scatter of the
heights themselves, would give:

* steps: all heights are whole multiples of half a metre or of a metre;
* one height: patches of exactly the same height, a filled void or water;
* seams: a step where the tile changes, beyond the lines through both sides (a third difference,
  which any plane or evenly curved ground leaves at 0);
* stripes: rows or columns that are high and low by turns;
* trees: cells of the plot's edge that stand above both their neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from districtplan import geodesy

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.coverage import Cells
    from districtplan.grid import Grid
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.terrain.gradient import Block, Ground

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Integers = NDArray[np.int64]

TABLE = "surface_checks"

FLAGS = (
    "stepped_heights",
    "step_between_tiles",
    "striped_heights",
    "constant_heights",
    "trees_at_edge",
)
"""What the checks may add to ``terrain_flags``."""

STEPS_M = (0.5, 1.0)
"""Steps of height that are looked for."""

BUMP = np.array([-1.0, 2.0, -1.0]) / 2
"""A cell's height over the middle of its two neighbours."""

JUMP = np.array([1.0, -3.0, 3.0, -1.0]) / 2
"""The step between the second and third of four cells, over the lines through each pair."""

WHOLE = 1 - 1e-6
"""Coverage is exact to 1e-6: a cell above this share lies in the plot whole."""


@dataclass(frozen=True)
class Surface:
    """What the checks found, shape (plots,) each.

    Attributes
    ----------
    step_m : numpy.ndarray
        Step of which all heights are multiples, 0 where there is none [m].
    seam : numpy.ndarray
        Whether the heights step where the tile changes.
    striped : numpy.ndarray
        Whether rows or columns are high and low by turns.
    constant : numpy.ndarray
        Whether a patch has exactly one height.
    trees : numpy.ndarray
        Whether cells of the edge stand above their neighbours.
    """

    step_m: Floats
    seam: Flags
    striped: Flags
    constant: Flags
    trees: Flags


class Watch:
    """Checks plots batch by batch, as the raster is read.

    Parameters
    ----------
    grid : Grid
        The raster's grid.
    plan : Plan
        The vertical error, and what the heights are of.
    handbook : Handbook
        Limits of the checks (table ``surface_checks``).
    """

    def __init__(self, grid: Grid, plan: Plan, handbook: Handbook) -> None:
        self._cell_m = geodesy.cell_size_m(grid)
        self._error = plan.elevation.vertical_error_m, plan.elevation.error_correlation_m
        self._bare = plan.elevation.surface == "ground"
        rows = handbook.rows(TABLE)
        self._limits = dict(zip(rows["name"], rows["value"].astype(float), strict=True))

    @property
    def margin(self) -> int:
        """Say how far the checks reach beyond a plot.

        Returns
        -------
        int
            Number of cells.
        """
        return len(JUMP) // 2

    def look(self, cells: Cells, ground: Ground, block: Block) -> Surface:
        """Check the plots of one batch.

        Parameters
        ----------
        cells : Cells
            The cells of the batch.
        ground : Ground
            Elevation at each.
        block : Block
            Elevations around them.

        Returns
        -------
        Surface
            One value a plot.
        """
        seen = _Batch.of(cells, ground, block, self._cell_m)
        limits = self._limits
        step = _step(seen, limits)
        constant = _one_height(seen, limits) & (step == 0)
        plots = len(cells.first)
        seam = np.zeros(plots, dtype=bool)
        if block.tile is not None:
            seam = _seam(seen, block.tile, limits, self._error)
        trees = np.zeros(plots, dtype=bool)
        if not self._bare:
            trees = _trees(seen, limits, self._error)
        return Surface(step, seam, _striped(seen, limits), constant, trees)


def flags(found: Surface, slope: Floats, cell_m: Floats, handbook: Handbook) -> list[Flags]:
    """Say which plots get which flag.

    Parameters
    ----------
    found : Surface
        What the checks found.
    slope : numpy.ndarray
        Mean slope of each plot, shape (plots,) [1].
    cell_m : numpy.ndarray
        Size of a cell at each plot, shape (plots,) [m].
    handbook : Handbook
        Limits of the checks.

    Returns
    -------
    list[numpy.ndarray]
        For each of ``FLAGS``, whether it is raised, shape (plots,).
    """
    # A height rounded to a step errs by step/√12, a Horn gradient by √12/8 of that over the cell.
    error = found.step_m / (8 * cell_m)
    share = handbook.number(TABLE, "step_slope_share_min")
    stepped = (found.step_m > 0) & (error >= share * slope)
    return [stepped, found.seam, found.striped, found.constant, found.trees]


@dataclass(frozen=True)
class _Batch:
    """Heights of one batch of plots and around it; unknown heights are NaN."""

    cells: Cells
    place: Integers
    flat: NDArray[np.float32]
    columns: int
    height: NDArray[np.float32]
    across: NDArray[Any]
    down: NDArray[Any]
    width_m: Floats
    height_m: Floats

    @classmethod
    def of(
        cls, cells: Cells, ground: Ground, block: Block, cell_m: tuple[Floats, Floats]
    ) -> _Batch:
        place, _ = block.places(cells)
        flat, columns = block.elevation.ravel(), block.elevation.shape[1]
        height = ground.elevation.astype(np.float32)
        across, down = (
            height - (flat.take(place - step) + flat.take(place + step)) / 2
            for step in (1, columns)
        )
        if block.tile is not None:
            # A step between tiles is no tree and no stripe.
            tiles = block.tile.ravel()
            own = tiles.take(place)
            for bump, step in ((across, 1), (down, columns)):
                bump[(tiles.take(place - step) != own) | (tiles.take(place + step) != own)] = np.nan
        at = np.clip(cells.row[cells.first], 0, len(cell_m[0]) - 1)
        return cls(cells, place, flat, columns, height, across, down, cell_m[0][at], cell_m[1][at])

    def beside(self, step: int) -> NDArray[np.float32]:
        return self.flat.take(self.place + step, mode="clip")

    def total(self, values: NDArray[Any]) -> Floats:
        result: Floats = np.add.reduceat(values, self.cells.first, dtype=np.float64)
        return result


def _variance(weights: Floats, apart_m: Floats, error: tuple[float, float]) -> Floats:
    """Give the variance of a weighted sum of heights in a line, by distance between cells."""
    sigma, length = error
    step = np.subtract.outer(np.arange(len(weights)), np.arange(len(weights)))
    if length == 0:
        return np.full(len(apart_m), sigma**2 * weights @ weights)
    sizes, which = np.unique(apart_m, return_inverse=True)
    alike = np.exp(-((step[None] * sizes[:, None, None]) ** 2) / (2 * length**2))
    result: Floats = sigma**2 * np.einsum("i,pij,j->p", weights, alike, weights)[which]
    return result


def _step(seen: _Batch, limits: dict[str, float]) -> Floats:
    known = ~np.isnan(seen.height)
    enough = seen.total(known) >= limits["cells_min"]
    found = np.zeros(len(enough))
    for step in STEPS_M:
        units = seen.height / np.float32(step)
        stepped = (units == np.rint(units)) | ~known
        found[enough & np.logical_and.reduceat(stepped, seen.cells.first)] = step
    return found


def _one_height(seen: _Batch, limits: dict[str, float]) -> Flags:
    same = np.ones(len(seen.height), dtype=bool)
    for step in (1, seen.columns, seen.columns + 1):
        same &= seen.height == seen.beside(step)
    squares, cells = seen.total(same), seen.total(~np.isnan(seen.height))
    result: Flags = (squares >= 1) & (squares >= limits["constant_share_min"] * cells)
    return result


def _trees(seen: _Batch, limits: dict[str, float], error: tuple[float, float]) -> Flags:
    bump = np.fmax(seen.across, seen.down)
    edge = seen.cells.weight < WHOLE
    inner = ~edge & ~np.isnan(bump)
    inner_cells = seen.total(inner)
    # Uneven ground shows inside the plot too, a row of trees on its edge doesn't.
    squared = seen.total(np.where(inner, bump, 0.0) ** 2) / np.maximum(inner_cells, 1)
    own = np.where(inner_cells >= limits["cells_min"], np.sqrt(squared), 0.0)
    noise = np.sqrt(np.maximum(*(_variance(BUMP, m, error) for m in (seen.width_m, seen.height_m))))
    least = np.maximum(limits["tree_height_min_m"], limits["tree_cell_share_min"] * seen.width_m)
    least = np.maximum(least, limits["tree_times"] * np.maximum(own, noise))
    high = edge & (bump > least.astype(np.float32)[seen.cells.plot])
    result: Flags = seen.total(high) >= limits["tree_cells_min"]
    return result


def _striped(seen: _Batch, limits: dict[str, float]) -> Flags:
    return _by_turns(seen, seen.cells.row, seen.down, limits) | _by_turns(
        seen, seen.cells.column, seen.across, limits
    )


def _by_turns(seen: _Batch, line: Integers, bump: NDArray[Any], limits: dict[str, float]) -> Flags:
    """Hold even lines against odd ones, by the scatter of the lines of the same plot."""
    first, plots = seen.cells.first, len(seen.cells.first)
    lowest = np.minimum.reduceat(line, first)
    count = np.maximum.reduceat(line, first) - lowest + 1
    offset = np.cumsum(count) - count
    key = line + (offset - lowest)[seen.cells.plot]
    known = ~np.isnan(bump)
    cells = np.bincount(key[known], minlength=count.sum())
    total = np.bincount(key[known], bump[known], count.sum())
    some = cells > 0
    plot = np.repeat(np.arange(plots), count)[some]
    mean = total[some] / cells[some]
    turn = np.where((np.arange(count.sum()) - np.repeat(offset, count))[some] % 2 == 0, 1.0, -1.0)
    lines = np.maximum(np.bincount(plot, minlength=plots), 1)
    signed = turn * (mean - (np.bincount(plot, mean, plots) / lines)[plot])
    high = np.bincount(plot, signed, plots) / lines
    scatter = np.bincount(plot, (signed - high[plot]) ** 2, plots) / np.maximum(lines - 1, 1)
    # Neighbouring bumps share heights: with signs by turns, independent errors give their mean
    # 8/3 of the variance that independent bumps would.
    error = np.sqrt(8 / 3 * scatter / lines)
    size = np.abs(high) / 2
    result: Flags = (
        (lines >= limits["stripe_lines_min"])
        & (np.abs(high) > limits["stripe_times"] * error)
        & (size >= limits["stripe_step_min_m"])
    )
    return result


def _seam(
    seen: _Batch, tile: NDArray[np.int16], limits: dict[str, float], error: tuple[float, float]
) -> Flags:
    tiles = tile.ravel()
    own = tiles.take(seen.place)
    found = np.zeros(len(seen.cells.first), dtype=bool)
    for step, along_m, across_m in (
        (1, seen.width_m, seen.height_m),
        (seen.columns, seen.height_m, seen.width_m),
    ):
        before, beside, after = (tiles.take(seen.place + n * step, mode="clip") for n in (-1, 1, 2))
        jump = np.zeros(len(own), dtype=np.float32)
        for n, weight in zip((-1, 0, 1, 2), JUMP.astype(np.float32), strict=True):
            jump += weight * seen.beside(n * step)
        known = ~np.isnan(jump) & ~np.isnan(seen.height)
        over = known & (before == own) & (beside != own) & (after == beside)
        within = known & (before == own) & (beside == own) & (after == own)
        pairs = seen.total(over)
        if not pairs.any():
            continue
        mean = seen.total(np.where(over, jump, 0.0)) / np.maximum(pairs, 1)
        # Pairs along the seam whose errors are alike count as one.
        reach = 1 + np.sqrt(2 * np.pi) * error[1] / across_m
        free = np.maximum(pairs / reach, 1)
        others = seen.total(within)
        own_squared = seen.total(np.where(within, jump, 0.0) ** 2) / np.maximum(others, 1)
        own_squared[others < limits["cells_min"]] = 0.0
        # Errors of two tiles aren't alike: each side has its own.
        noise = 2 * _variance(JUMP[2:], along_m, error)
        least = limits["seam_times"] * np.sqrt(np.maximum(noise, own_squared) / free)
        least = np.maximum(least, limits["seam_step_min_m"])
        found |= (pairs >= limits["seam_pairs_min"]) & (np.abs(mean) > least)
    return found
