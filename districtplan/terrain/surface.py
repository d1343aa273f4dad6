"""Faults of the raster that show in the heights under a plot.

Each check looks at a pattern that ground doesn't have, on the cells that the plot covers and the
cells beside them, and holds it against what noise of the stated error, or the scatter of the
heights themselves, would give:

* steps: all heights are whole multiples of half a metre or of a metre;
* one height: patches of exactly the same height, a filled void or water;
* seams: a step where the tile changes, beyond the lines through both sides (a third difference,
  which any plane or evenly curved ground leaves at 0);
* stripes: rows, columns or diagonals whose heights come back every 2 to 8 lines;
* trees: cells of the plot's edge that stand above the ground on both their sides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from districtplan import geodesy
from districtplan.coverage import WHOLE
from districtplan.terrain.plateaus import STEPS_M, whole_steps

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

BUMP = np.array([-1.0, 2.0, -1.0]) / 2
"""A cell's height over the middle of its two neighbours."""

JUMP = np.array([1.0, -3.0, 3.0, -1.0]) / 2
"""The step between the second and third of four cells, over the lines through each pair."""

PEAK = 8 / 3
"""Share of the bumps of independent errors that turns of two lines have, over that of all waves."""

PERIODS = range(2, 9)
"""Lines after which stripes come back."""

WIDTHS = (1, 2, 3)
"""Cells across a belt of trees; the ground on both its sides is that far from a cell of it."""

GAP = max(WIDTHS) + 1
"""Rows above a plot that a look over its outline may reach."""


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
        Whether heights come back every few rows, columns or diagonals.
    constant : numpy.ndarray
        Whether a patch has exactly one height.
    trees : numpy.ndarray
        Whether cells of the edge stand above the ground on both their sides.
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
        self._limits = handbook.numbers(TABLE)

    @property
    def margin(self) -> int:
        """Say how far the checks reach beyond a plot.

        Returns
        -------
        int
            Number of cells.
        """
        return max(len(JUMP) // 2, 2 * max(WIDTHS))

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
        # Rounding to whole steps makes stripes of its own.
        striped = _striped(seen, limits, self._error) & (step == 0)
        return Surface(step, seam, striped, constant, trees)


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
    tiles: NDArray[np.int16] | None
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
        tiles = None if block.tile is None else block.tile.ravel()
        across, down = (_bump(height, place, flat, tiles, step) for step in (1, columns))
        at = np.clip(cells.row[cells.first], 0, len(cell_m[0]) - 1)
        size = cell_m[0][at], cell_m[1][at]
        return cls(cells, place, flat, tiles, columns, height, across, down, *size)

    def bump(self, step: int, at: Integers | None = None) -> NDArray[np.float32]:
        some = slice(None) if at is None else at
        return _bump(self.height[some], self.place[some], self.flat, self.tiles, step)

    @property
    def sizes(self) -> tuple[Floats, Floats]:
        return self.width_m, self.height_m

    def only(self, plots: Integers) -> _Batch:
        first = self.cells.first
        count = np.diff(np.append(first, len(self.place)))[plots]
        begin = np.cumsum(count) - count
        take = np.arange(int(count.sum())) + np.repeat(first[plots] - begin, count)
        plot = np.repeat(np.arange(len(plots)), count)
        cells = self.cells
        return replace(
            self,
            cells=type(cells)(begin, plot, cells.row[take], cells.column[take], cells.weight[take]),
            place=self.place[take],
            height=self.height[take],
            across=self.across[take],
            down=self.down[take],
            width_m=self.width_m[plots],
            height_m=self.height_m[plots],
        )

    def beside(self, step: int) -> NDArray[np.float32]:
        return self.flat.take(self.place + step, mode="clip")

    def total(self, values: NDArray[Any]) -> Floats:
        result: Floats = np.add.reduceat(values, self.cells.first, dtype=np.float64)
        return result


def _bump(
    height: NDArray[np.float32],
    place: Integers,
    flat: NDArray[np.float32],
    tiles: NDArray[np.int16] | None,
    step: int,
) -> NDArray[np.float32]:
    """Give heights over the middle of two others, so far off to both sides."""
    sides = (place - step, place + step)
    bump = height - sum(flat.take(side, mode="clip") for side in sides) / np.float32(2)
    if tiles is not None:
        # A step between tiles is no tree and no stripe.
        own = tiles.take(place)
        for side in sides:
            bump[tiles.take(side, mode="clip") != own] = np.nan
    return np.asarray(bump, dtype=np.float32)


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
    enough = seen.total(~np.isnan(seen.height)) >= limits["cells_min"]
    found = np.zeros(len(enough))
    for step in STEPS_M:
        found[enough & whole_steps(seen.height, seen.cells.first, step)] = step
    return found


def _one_height(seen: _Batch, limits: dict[str, float]) -> Flags:
    # As the raster has them: plateaus are no longer among the heights that are believed.
    height = seen.beside(0)
    same = np.ones(len(height), dtype=bool)
    for step in (1, seen.columns, seen.columns + 1):
        same &= height == seen.beside(step)
    squares, cells = seen.total(same), seen.total(~np.isnan(height))
    result: Flags = (squares >= 1) & (squares >= limits["constant_share_min"] * cells)
    return result


def _trees(seen: _Batch, limits: dict[str, float], error: tuple[float, float]) -> Flags:
    found = np.zeros(len(seen.cells.first), dtype=bool)
    upright = np.fmax.reduceat(np.fmax(seen.across, seen.down), seen.cells.first)
    sunk = np.fmin.reduceat(np.fmin(seen.across, seen.down), seen.cells.first)
    for width in WIDTHS:
        wide_m = width * seen.width_m
        noise = np.maximum(*(_variance(BUMP, width * m, error) for m in seen.sizes))
        least = np.maximum(limits["tree_height_min_m"], limits["tree_cell_share_min"] * wide_m)
        least = np.maximum(least, limits["tree_times"] * np.sqrt(noise))
        # Where a wider belt ends, a cell stands half its height over or under its neighbours.
        seems = upright > least if width == 1 else np.fmax(upright, -sunk) > least / 2
        plots = np.flatnonzero(seems)
        if len(plots):
            found[plots] |= _belt(seen.only(plots), width, least[plots], limits)
    return found


def _belt(seen: _Batch, width: int, least: Floats, limits: dict[str, float]) -> Flags:
    """Say around which plots a belt so many cells wide stands at least so high."""
    found = np.zeros(len(seen.cells.first), dtype=bool)
    upright = np.fmax(seen.bump(width), seen.bump(width * seen.columns))
    tall = upright > least.astype(np.float32)[seen.cells.plot]
    plots = np.flatnonzero(seen.total(tall) >= limits["tree_cells_min"])
    if len(plots):
        found[plots] = _at_edge(seen.only(plots), width, least[plots], limits)
    return found


def _at_edge(seen: _Batch, width: int, least: Floats, limits: dict[str, float]) -> Flags:
    """Say whether what stands up does so at the edge, as no crest or uneven ground would."""
    cells = seen.cells
    whole = cells.weight >= WHOLE
    runs = _Runs.of(cells)
    bumps = {step: seen.bump(width * step) for step in (1, seen.columns)}
    upright = np.fmax(*bumps.values())
    inner = whole & runs.inside(cells, width + 1) & ~np.isnan(upright)
    inner_cells = seen.total(inner)
    # Uneven ground stands up inside the plot too, a belt of trees on its edge doesn't.
    squared = 2 * seen.total(np.where(inner, np.maximum(upright, 0.0), 0.0) ** 2)
    own = np.sqrt(squared / np.maximum(inner_cells, 1))
    own[inner_cells < limits["cells_min"]] = 0.0
    limit = np.maximum(least, limits["tree_times"] * own).astype(np.float32)[cells.plot]
    edge = ~whole | ~runs.inside(cells, 1)
    high = np.zeros(len(edge), dtype=bool)
    for step, bump in bumps.items():
        at = np.flatnonzero(edge & (bump > limit))
        # A crest stands twice as high over ground twice as far off, trees don't.
        high[at] |= 2 * bump[at] - seen.bump(2 * width * step, at) > limit[at]
    room = seen.total(whole) >= limits["tree_whole_cells_min"]
    # Where the inside can't be told, a hedge that runs across the plot ends on its edge twice.
    few = np.where(inner_cells < limits["cells_min"], limits["cells_min"], 0.0)
    result: Flags = room & (seen.total(high) >= np.maximum(limits["tree_cells_min"], few))
    return result


class _Runs(NamedTuple):
    """Columns between which the cells of each row of a plot lie, row by row."""

    line: Integers
    low: Integers
    high: Integers

    @classmethod
    def of(cls, cells: Cells) -> _Runs:
        """Find the rows; two empty ones stand between plots."""
        begins = np.ones(len(cells.row), dtype=bool)
        begins[1:] = (cells.row[1:] != cells.row[:-1]) | (cells.plot[1:] != cells.plot[:-1])
        start = np.flatnonzero(begins)
        row, plot = cells.row[start], cells.plot[start]
        above = cells.row[cells.first] - GAP
        count = np.maximum.reduceat(cells.row, cells.first) - above + 1
        place = row - above[plot] + (np.cumsum(count) - count)[plot]
        low = np.full(int(count.sum()) + GAP, np.iinfo(np.int64).max)
        high = np.full(len(low), -1)
        low[place] = cells.column[start]
        high[place] = cells.column[np.append(start[1:], len(cells.row)) - 1]
        return cls(np.repeat(place, np.diff(np.append(start, len(cells.row)))), low, high)

    def inside(self, cells: Cells, reach: int) -> Flags:
        """Say which cells have cells of the plot so far off on all four sides."""
        here = self.line
        result = (cells.column - reach >= self.low[here]) & (
            cells.column + reach <= self.high[here]
        )
        for other in (here - reach, here + reach):
            result &= (cells.column >= self.low[other]) & (cells.column <= self.high[other])
        return np.asarray(result)


def _striped(seen: _Batch, limits: dict[str, float], error: tuple[float, float]) -> Flags:
    row, column = seen.cells.row, seen.cells.column
    slant = np.hypot(seen.width_m, seen.height_m) / 2
    both = (seen.across + seen.down) / 2
    found = np.zeros(len(seen.cells.first), dtype=bool)
    for line, bump, apart_m, along_m in (
        (row, seen.down, seen.height_m, seen.width_m),
        (column, seen.across, seen.width_m, seen.height_m),
        # Neighbours to both sides lie on the next diagonal.
        (row + column, both, slant, 2 * slant),
        (row - column, both, slant, 2 * slant),
    ):
        found |= _Lines.of(seen, line, bump).come_back((apart_m, along_m), limits, error)
    return found


@dataclass(frozen=True)
class _Lines:
    """Mean bump of each line of each plot that has enough of them, plot by plot."""

    first: Integers
    count: Integers
    number: Integers
    cells: Floats
    mean: Floats

    @classmethod
    def of(cls, seen: _Batch, line: Integers, bump: NDArray[Any]) -> _Lines:
        first = seen.cells.first
        lowest = np.minimum.reduceat(line, first)
        span = np.maximum.reduceat(line, first) - lowest + 1
        offset = np.cumsum(span) - span
        key = line + (offset - lowest)[seen.cells.plot]
        lines = int(span.sum())
        if np.isnan(bump.sum()):
            known = ~np.isnan(bump)
            key, bump = key[known], bump[known]
        cells = np.bincount(key, minlength=lines)
        total = np.bincount(key, bump, lines)
        some = cells > 0
        count = np.add.reduceat(some, offset, dtype=np.int64)
        number = (np.arange(lines) - np.repeat(offset, span))[some]
        held = cells[some].astype(np.float64)
        return cls(np.cumsum(count) - count, count, number, held, total[some] / held)

    def come_back(
        self, size_m: tuple[Floats, Floats], limits: dict[str, float], error: tuple[float, float]
    ) -> Flags:
        found = np.zeros(len(self.count), dtype=bool)
        cells, total, squared = self._sums()
        with np.errstate(divide="ignore", invalid="ignore"):
            most = np.sqrt(2 * (squared - total**2 / cells) / cells)
        for period in PERIODS:
            enough = max(limits["stripe_lines_min"], limits["stripe_repeats_min"] * period)
            # Most plots are ruled out by all that their lines differ.
            step = _gain(period) * limits["stripe_step_min_m"]
            plots = np.flatnonzero((self.count >= enough) & (most > step))
            sizes = size_m[0][plots], size_m[1][plots]
            noise = _wave_error(period, cells[plots], self.count[plots], sizes, error)
            least = np.maximum(step, limits["stripe_error_times"] * noise)
            likely = most[plots] > least
            plots, least = plots[likely], least[likely]
            if len(plots):
                found[plots] |= self._every(period, plots, least, limits["stripe_times"])
        return found

    def _sums(self) -> tuple[Floats, Floats, Floats]:
        def summed(values: Floats) -> Floats:
            # A plot without a line takes the value of the next one's first.
            sums = np.add.reduceat(np.append(values, 0.0), self.first)
            return np.where(self.count > 0, sums, 0.0)

        weighted = self.cells * self.mean
        return summed(self.cells), summed(weighted), summed(weighted * self.mean)

    def _every(self, period: int, plots: Integers, least: Floats, times: float) -> Flags:
        """Hold lines of one place in the period against the scatter of lines of the same place."""
        count = self.count[plots]
        begin = np.cumsum(count) - count
        take = np.arange(int(count.sum())) + np.repeat(self.first[plots] - begin, count)
        cells, mean = self.cells[take], self.mean[take]
        key = np.repeat(np.arange(len(plots)) * period, count) + self.number[take] % period
        shape = (len(plots), period)
        weight = np.bincount(key, cells, len(plots) * period).reshape(shape)
        total = np.bincount(key, cells * mean, len(plots) * period).reshape(shape)
        squared = np.add.reduceat(cells * mean**2, begin)
        every = weight.sum(axis=1)
        level = total / np.maximum(weight, 1)
        between = (total * level).sum(axis=1)
        # Few lines may scatter little by chance: two count less, as in the mean of a ratio F.
        within = np.maximum(squared - between, 0.0) / np.maximum(count - period - 2, 1)
        between = np.maximum(between - total.sum(axis=1) ** 2 / every, 0.0)
        # A period of two has one wave, longer ones a sine and a cosine.
        waves = min(period - 1, 2)
        turn = 2 * np.pi / period * np.arange(period)
        sides = (np.einsum("pn,n->p", level, side) for side in (np.cos(turn), np.sin(turn)))
        wave = waves / period * np.hypot(*sides)
        of_wave = every * wave**2 / waves
        most = np.maximum(between / (period - 1), of_wave / waves) / PEAK
        result: Flags = (most > times**2 * within) & (wave > least) & (weight > 0).all(axis=1)
        return result


def _gain(period: int) -> float:
    """Say how much higher a wave's bumps are than the wave."""
    return float(1 - np.cos(2 * np.pi / period))


def _wave_error(
    period: int,
    cells: Floats,
    lines: Integers,
    size_m: tuple[Floats, Floats],
    error: tuple[float, float],
) -> Floats:
    """Give the wave that the stated error alone makes of the mean bumps of a plot's lines.

    The mean square of Σ b exp(iωl) over L lines is Σ (L - abs k) c(k) cos ωk over the lags k, with
    the covariance c of bumps k lines apart.
    """
    sigma, length = error
    if len(lines) == 0:
        return np.zeros(0)
    sizes, which = np.unique(size_m[0], return_inverse=True)
    lag = np.arange(int(lines.max()))
    shift = np.subtract.outer(np.arange(len(BUMP)), np.arange(len(BUMP)))
    apart = (lag[:, None, None] + shift) * sizes[:, None, None, None]
    alike = np.exp(-(apart**2) / (2 * length**2)) if length > 0 else (apart == 0).astype(np.float64)
    waves = np.einsum("i,zkij,j->zk", BUMP, alike, BUMP) * np.cos(2 * np.pi * lag / period)
    waves[:, 1:] *= 2
    one, other = (np.cumsum(part, axis=1)[which, lines - 1] for part in (waves, lag * waves))
    near = np.minimum(1 + np.sqrt(2 * np.pi) * length / size_m[1], cells / lines)
    share = min(period - 1, 2) / lines
    result: Floats = (
        share * sigma * np.sqrt(np.maximum(lines * one - other, 0.0) * near * lines / cells)
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
