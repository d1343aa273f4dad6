"""How many plots other elevation rasters would serve: a forecast from the land that one shows.

For some plots the land is taken as the raster at hand shows it: a plane that bends, fitted to the
heights on and around the plot, with what the raster's error alone would give taken off slope and
bend. On that land the other raster is made, its cells and an error of its kind, and the plot goes
through the rule by which a run decides. What is smaller than the cells at hand stays unseen: on
plots of few cells the forecast is rough. It may be too high or too low, as bends may break the
row-grade limit or, where they are seen, call for guide lines instead of a measurement.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan import geodesy
from districtplan.coverage import batches, coverage, outlines_on_grid
from districtplan.terrain import noise
from districtplan.terrain.gradient import Ground
from districtplan.terrain.method import METHODS, grades, reasons
from districtplan.terrain.noise import ErrorModel
from districtplan.terrain.survey import block_order, survey

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from districtplan.coverage import Cells, Outlines
    from districtplan.grid import Elevation, Grid
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan, Terrain
    from districtplan.terrain.gradient import Block

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

TABLE = "raster_choices"
PLOTS_MAX = 300
"""Plots looked at, spread evenly over the file: enough for a share to about 3 points."""
SMALLER = 0.95
"""Cells count as smaller below this share: arc seconds and metres of a kind are the same raster."""
FIELD_CELLS = 256
"""Side of the field of errors that is laid over the land again and again."""
SEED = 20_270_315
AROUND = 1
"""Cells around a plot that its land is fitted to, beside its own."""
LEAST_SIDE = 5
"""Cells along a side from which bends stand out."""
SAMPLES_MAX = 9
"""Heights along a side that a fit takes."""


@dataclass(frozen=True)
class Forecast:
    """What one kind of raster would serve.

    Attributes
    ----------
    name : str
        The raster in words.
    cell_m : float
        Side of its cells [m].
    vertical_error_m : float
        Its vertical error, one standard deviation [m].
    plots_share : float
        Share of plots that need not be measured on the ground.
    land_share : float
        Share of their land.
    rough : bool
        Whether the shares are rough: on half of the plots or more, the raster at hand can't show
        bends that would break the row-grade limit.
    """

    name: str
    cell_m: float
    vertical_error_m: float
    plots_share: float
    land_share: float
    rough: bool


def forecast(
    plots: pd.DataFrame, ground: pd.DataFrame, elevation: Elevation, plan: Plan, handbook: Handbook
) -> tuple[Forecast, ...]:
    """Say what share of the plots each better raster of the handbook would serve.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``area_ha`` and ``geometry`` in the CRS of the raster.
    ground : pandas.DataFrame
        ``plot_id`` of the plots that the raster at hand has heights for.
    elevation : Elevation
        The raster at hand.
    plan : Plan
        Its sections ``terrain`` and ``elevation``.
    handbook : Handbook
        The rasters to look at (table ``raster_choices``).

    Returns
    -------
    tuple[Forecast, ...]
        One a raster that is better than the one at hand: smaller cells without a larger error, or
        a smaller error without larger cells.
    """
    grid = elevation.grid
    width, height = (float(size[grid.rows // 2]) for size in geodesy.cell_size_m(grid))
    rows = handbook.rows(TABLE)
    numbers = rows[["cell_m", "vertical_error_m", "correlation_m"]].to_numpy(dtype=np.float64)
    better = [
        (str(name), *each)
        for name, each in zip(rows["name"], numbers.tolist(), strict=True)
        if _better(each, float(np.sqrt(width * height)), plan.elevation.vertical_error_m)
    ]
    if not better:
        return ()
    known = plots[plots["plot_id"].isin(ground["plot_id"])]
    some = np.unique(np.linspace(0, len(known) - 1, PLOTS_MAX).astype(np.int64))
    sample = known.iloc[some]
    sample = sample.iloc[block_order(sample["geometry"].to_numpy(dtype=object), grid)]
    polygons, area = sample["geometry"].to_numpy(dtype=object), sample["area_ha"].to_numpy()
    own = plan.elevation.vertical_error_m, plan.elevation.error_correlation_m
    looked = survey(
        polygons, elevation, ErrorModel.of(*own, handbook), None, (_Fits(grid, own, plan.terrain),)
    )
    land: _Land = looked.looked[0]
    rough = bool(2 * land.unseen.sum() >= len(sample))
    told = []
    for name, cell_m, sigma_m, length_m in better:
        finer = replace(
            grid, cell_x=grid.cell_x * cell_m / width, cell_y=grid.cell_y * cell_m / height
        )
        outlines = outlines_on_grid(polygons, finer)
        error = ErrorModel.of(sigma_m, length_m, handbook)
        served = _served(outlines, land, _Finer(cell_m, (width, height), error), plan)
        share = float(area[served].sum() / area.sum())
        told.append(Forecast(name, cell_m, sigma_m, float(served.mean()), share, rough))
    return tuple(told)


def _better(choice: list[float], cell_m: float, error_m: float) -> bool:
    smaller = choice[0] < SMALLER * cell_m
    alike = choice[0] * SMALLER <= cell_m
    return (smaller and choice[1] <= error_m) or (alike and choice[1] < error_m)


@dataclass(frozen=True)
class _Land:
    """Planes that bend, one a plot; places are in cells of the raster at hand, from its corner.

    ``bend`` holds how the rise to the east grows to the east, to the north, and that to the north
    to the north [1/m].
    """

    row: Floats
    column: Floats
    rise: Floats
    bend: Floats
    unseen: NDArray[np.bool_]


class _Fits:
    """Fits the land of plots batch by batch, as the raster is read."""

    def __init__(self, grid: Grid, error: tuple[float, float], limits: Terrain) -> None:
        self._cell_m = geodesy.cell_size_m(grid)
        self._error = error
        self._limits = limits

    @property
    def margin(self) -> int:
        return max(LEAST_SIDE, AROUND)

    def look(self, cells: Cells, ground: Ground, block: Block) -> _Land:
        del ground
        edges = np.append(cells.first, len(cells.row))
        fits = [
            self._fit(cells, slice(start, stop), block)
            for start, stop in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)
        ]
        row, column, rise, bend, unseen = zip(*fits, strict=True)
        return _Land(
            np.array(row), np.array(column), np.array(rise), np.array(bend), np.array(unseen)
        )

    def _fit(
        self, cells: Cells, mine: slice, block: Block
    ) -> tuple[float, float, Floats, Floats, bool]:
        row, column, weight = cells.row[mine], cells.column[mine], cells.weight[mine]
        down, right = _samples(row), _samples(column)
        middle = float(down.mean()), float(right.mean())
        at = int(np.clip(row[0], 0, len(self._cell_m[0]) - 1))
        size = tuple(float(side[at]) for side in self._cell_m)
        tall, wide = block.elevation.shape
        # The border of the block holds no elevations: what lies beyond it is taken there.
        there = np.clip(down - block.row + 1, 0, tall - 1)
        beside = np.clip(right - block.column + 1, 0, wide - 1)
        heights = block.elevation[np.ix_(there, beside)].astype(np.float64).ravel()
        y, x = np.meshgrid(
            (middle[0] - down.astype(np.float64)) * size[1],
            (right.astype(np.float64) - middle[1]) * size[0],
            indexing="ij",
        )
        spread = [
            max(_spread(place, weight) * side**2, weight.sum() * size[0] * size[1] / 12)
            for place, side in ((column, size[0]), (row, size[1]))
        ]
        known = ~np.isnan(heights)
        fit = _Fit.of(x.ravel()[known], y.ravel()[known], heights[known], self._error)
        bend, noise = fit.bend(np.array(spread))
        few = weight.sum() < self._limits.cells_min
        unseen = bool(few or 100 * noise > self._limits.row_grade_limit_pct)
        return middle[0] + 0.5, middle[1] + 0.5, fit.rise(), bend, unseen


def _samples(line: Integers) -> Integers:
    """Choose rows or columns on and around a plot."""
    low, high = int(line.min()) - AROUND, int(line.max()) + AROUND
    more = max(LEAST_SIDE - (high - low + 1), 0)
    low, high = low - (more + 1) // 2, high + (more + 1) // 2
    return np.arange(low, high + 1, -(-(high - low + 1) // SAMPLES_MAX), dtype=np.int64)


def _spread(place: Integers, weight: Floats) -> float:
    mean = (weight * place).sum() / weight.sum()
    return float((weight * (place - mean) ** 2).sum() / weight.sum())


class _Fit(NamedTuple):
    """Rises and bends of heights by least squares, and their covariance under the stated error."""

    value: Floats
    covariance: Floats

    @classmethod
    def of(cls, x: Floats, y: Floats, heights: Floats, error: tuple[float, float]) -> _Fit:
        basis = np.stack([np.ones(len(x)), x, y, x * x / 2, x * y, y * y / 2], axis=1)
        # Metres and square metres differ by powers of ten.
        scale = np.maximum(np.abs(basis).max(axis=0, initial=0.0), 1.0)
        solve = np.linalg.pinv(basis / scale) / scale[:, None]
        sigma, length = error
        apart = np.subtract.outer(x, x) ** 2 + np.subtract.outer(y, y) ** 2
        alike = np.exp(-apart / (2 * length**2)) if length > 0 else np.eye(len(x))
        level = heights.mean() if len(heights) else 0.0
        return cls(solve @ (heights - level), sigma**2 * solve @ alike @ solve.T)

    def rise(self) -> Floats:
        """Give the rise to east and north, less what noise adds to its size."""
        rise, noise = self.value[1:3], float(self.covariance[1, 1] + self.covariance[2, 2])
        return np.asarray(rise * _kept(float(rise @ rise), noise))

    def bend(self, spread: Floats) -> tuple[Floats, float]:
        """Give the bends, less what noise adds, and the rise over the plot that is noise alone."""
        over = np.array([spread[0], spread.sum(), spread[1]])
        bend, noise = self.value[3:], float(over @ np.diag(self.covariance)[3:])
        return np.asarray(bend * _kept(float(over @ bend**2), noise)), float(np.sqrt(noise))


def _kept(squared: float, noise: float) -> float:
    return float(np.sqrt(max(1 - noise / squared, 0.0))) if squared > 0 else 0.0


class _Finer(NamedTuple):
    """Another raster, by the size of a cell of the one at hand."""

    cell_m: float
    own_m: tuple[float, float]
    error: ErrorModel


def _served(outlines: Outlines, land: _Land, finer: _Finer, plan: Plan) -> NDArray[np.bool_]:
    size = np.full(1, finer.cell_m)
    field = _error_field(finer)
    served = []
    for batch in batches(outlines):
        cells = coverage(outlines.take(batch))
        ground = _ground(cells, land, finer, field, np.arange(batch.start, batch.stop))
        doubt = noise.doubt(cells, ground, (size, size), finer.error)
        table = grades(doubt, finer.error, plan.terrain)
        table["cells"] = np.add.reduceat(cells.weight, cells.first)
        methods = [METHODS[reason] for reason in reasons(table, doubt, finer.error, plan)]
        served.append(np.array(methods) != "measure on the ground")
    return np.concatenate(served)


def _ground(
    cells: Cells, land: _Land, finer: _Finer, field: tuple[Floats, Floats], plots: Integers
) -> Ground:
    """Lay the land and an error under the cells of the other raster."""
    plot = plots[cells.plot]
    east_m = (cells.column + 0.5) * finer.cell_m - (land.column * finer.own_m[0])[plot]
    north_m = (land.row * finer.own_m[1])[plot] - (cells.row + 0.5) * finer.cell_m
    bend = land.bend[plot]
    place = cells.row % FIELD_CELLS, cells.column % FIELD_CELLS
    east, north = (
        rise + one * east_m + other * north_m + error[place]
        for rise, one, other, error in (
            (land.rise[plot, 0], bend[:, 0], bend[:, 1], field[0]),
            (land.rise[plot, 1], bend[:, 1], bend[:, 2], field[1]),
        )
    )
    return Ground(np.zeros(len(plot)), east, north)


def _error_field(finer: _Finer) -> tuple[Floats, Floats]:
    """Draw the error of Horn gradients to east and north on a square that joins at its sides."""
    turns = np.fft.fftfreq(FIELD_CELLS)
    length = finer.error.length_m / finer.cell_m
    # Smoothing by a Gaussian of ℓ/√2 makes errors alike as exp(-d²/2ℓ²).
    weight = np.exp(-((np.pi * length) ** 2) * (turns[:, None] ** 2 + turns**2))
    drawn = np.random.default_rng(SEED).standard_normal((FIELD_CELLS, FIELD_CELLS))
    heights = np.fft.ifft2(np.fft.fft2(drawn) * weight).real
    heights *= finer.error.sigma_m / (8 * finer.cell_m * np.sqrt((weight**2).mean()))
    slopes = []
    for along, across, sign in ((1, 0, 1), (0, 1, -1)):
        difference = np.roll(heights, -1, along) - np.roll(heights, 1, along)
        sides = np.roll(difference, 1, across) + np.roll(difference, -1, across)
        slopes.append(sign * (2 * difference + sides))
    return slopes[0], slopes[1]
