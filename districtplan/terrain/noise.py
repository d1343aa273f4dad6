"""What the raster's vertical error does to slope and bearing, and the bearing least hurt by it.

The error e of a height is Gaussian with standard deviation σ and correlation exp(-d²/2ℓ²). A Horn
gradient is a fixed sum of nine heights, so the gradient's error at two cells has a known covariance
that depends only on how they lie to each other. Any number that is linear in the gradients, with
weights a, then has the variance aᵀGa exactly; for a lattice of weights that is one product of
spectra, so every plot gets its own exact form.

Write a cell's gradient as γ = p + iq (p east, q north). The squared grades of straight rows vary
with their direction as the real part of D = Σ w γ² turned, so half the argument of D is the
steepest axis. D splits into that of the plot's mean gradient c₀, of the gradient's linear trend
across the plot c₁, c₂ (a ridge, a hollow, a saddle), and of what is left:

    D = c₀² + (c₁² + c₂²) + Σ w r²

On a noisy plane only the first has any signal, on a ridge only the second. The published bearing
keeps each part as far as it stands out of its own noise:

    D = c₀² + κ₁ (c₁² + c₂²) + κ₂ Σ w r²

With σ = 0 both are 1 and the bearing is the plain least-squares one (:func:`without_error`).

References
----------
.. [1] James, W. and Stein, C. (1961). Estimation with quadratic loss. Proc. 4th Berkeley Symposium
   1, 361-379: shrinking an estimate by its own noise lowers its expected error.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, NamedTuple, TypeVar

import numpy as np
from scipy import fft

from districtplan.terrain.gradient import Ground

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from districtplan.coverage import Cells
    from districtplan.handbook import Handbook
    from districtplan.terrain.statistics import Statistics

    Floats = NDArray[np.float64]
    Complexes = NDArray[np.complex128]
    Integers = NDArray[np.int64]

Array = TypeVar("Array", "Floats", "Complexes")

TABLE = "terrain_noise"
SIDES = (4, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192, 256, 384, 512, 1024)
"""Sides of the lattices that plots are worked on, even: quick lengths for a Fourier transform."""
WINDOW_MAX = 512
"""Most points along a side of a plot's window."""
CELLS_AT_ONCE = 200_000
KERNELS_KEPT = 512
BAND_ROWS = 256
"""Rows of a raster in degrees that share one cell size in the error model."""
TINY = 1e-300
LEAST_SIGNAL = 1e-9
"""Share of its noise that a squared slope is held to have at least: level heights, in a raster of
whole metres, say no more than that."""
LEAST_TREND = 1e-6
"""Spread of a plot across which a trend can be told [cells]."""
LEAST_REST = 1e-3
"""The rest is never taken for noiseless: rounding could make it so."""
BEYOND_DOUBT = 1e9
"""Ratios to noise past which no odds change."""
RANDOM_RAD = float(np.pi / np.sqrt(12))
"""Standard deviation of a line's direction at random, the most that a bearing can be off."""


@dataclass(frozen=True)
class ErrorModel:
    """The raster's vertical error, and how the parts of a bearing are kept under it.

    Attributes
    ----------
    sigma_m : float
        Random, relative vertical error σ, one standard deviation [m].
    length_m : float
        Its correlation length ℓ [m].
    trend_odds : float
        Odds for the trend where it and the mean gradient are each as large as their noise.
    trend_clear : float
        The trend is kept on its own account from this ratio of its deviator, squared, to the
        variance of that.
    mean_power : float
        Power with which a mean gradient that stands out of its noise lowers the odds.
    rest_quiet : float
        The rest is kept where its variance is under that of the other parts over this.
    rest_clear : float
        Standard errors from which the rest's energy counts in the grade along rows.
    turn_se : float
        Standard errors that a bearing stays within 19 times in 20.
    level_se : float
        Standard errors that a one-sided bound stays within 19 times in 20.
    """

    sigma_m: float
    length_m: float
    trend_odds: float
    trend_clear: float
    mean_power: float
    rest_quiet: float
    rest_clear: float
    turn_se: float
    level_se: float

    @classmethod
    def of(cls, sigma_m: float, length_m: float, handbook: Handbook) -> ErrorModel:
        """Make the model of an error, with the rules of table ``terrain_noise``.

        Parameters
        ----------
        sigma_m : float
            Vertical error, one standard deviation [m].
        length_m : float
            Its correlation length [m].
        handbook : Handbook
            The tables in force.

        Returns
        -------
        ErrorModel
            The model.
        """
        rules = (field.name for field in fields(cls)[2:])
        return cls(sigma_m, length_m, *(handbook.number(TABLE, rule) for rule in rules))


@dataclass(frozen=True)
class Doubt:
    """Bearing, slope and their errors, shape (plots,) each; grades and slopes as fractions.

    Attributes
    ----------
    deviator : numpy.ndarray
        The published D: half its argument is the steepest axis, its size is the difference of the
        mean squared grades across and along the rows [1].
    trace : numpy.ndarray
        Mean squared slope without the noise [1].
    turn : numpy.ndarray
        Standard error of the bearing [radians].
    level : numpy.ndarray
        Mean squared grade along the best straight rows, without the noise; it may fall short of 0
        by as much as the noise was overrated [1].
    level_se : numpy.ndarray
        Its standard error [1].
    slope : numpy.ndarray
        Mean slope less its upward bias [1].
    slope_se : numpy.ndarray
        Its standard error [1].
    """

    deviator: Complexes
    trace: Floats
    turn: Floats
    level: Floats
    level_se: Floats
    slope: Floats
    slope_se: Floats

    def coherence(self) -> Floats:
        """Say how much better the best direction is than the worst, noise apart.

        Returns
        -------
        numpy.ndarray
            1 on a plane, 0 where no direction is better or there is no slope, shape (plots,).
        """
        steep = np.where(self.trace > 0, self.trace, 1.0)
        share: Floats = np.minimum(np.abs(self.deviator) / steep, 1.0)
        return share

    def grade_likely(self) -> Floats:
        """Give the grade that rows set by the bearing alone would likely have.

        Returns
        -------
        numpy.ndarray
            Root mean square grade along the rows, shape (plots,) [1].
        """
        level = np.maximum(self.level, 0.0)
        grade: Floats = np.sqrt(level + np.abs(self.deviator) * np.sin(self.turn) ** 2)
        return grade

    def grade_95(self, error: ErrorModel) -> Floats:
        """Give the grade that such rows do not exceed 19 times in 20.

        Parameters
        ----------
        error : ErrorModel
            How many standard errors that is.

        Returns
        -------
        numpy.ndarray
            Root mean square grade along the rows, shape (plots,) [1].
        """
        size = np.abs(self.deviator)
        likely = size * np.sin(self.turn) ** 2
        far = size * np.sin(np.minimum(error.turn_se * self.turn, np.pi / 2)) ** 2
        reach = error.level_se * self.level_se
        # The grade's square root is what is nearest to normal, where there is any.
        level = np.maximum(self.level, 0.0)
        bow = reach**2 * level / (4 * np.maximum(level**2 + self.level_se**2, TINY))
        spread = np.hypot(np.maximum(far - likely, 0.0), reach + bow)
        grade: Floats = np.sqrt(np.maximum(self.level + likely + spread, far))
        return grade


class _Kernels(NamedTuple):
    """Spectra of gradient covariances on one lattice, ready to be summed over half of it."""

    east: Floats
    north: Floats
    cross: Floats
    both: Floats
    both_squared: Floats
    skew_squared: Floats
    one_cell: float


class _Lags(NamedTuple):
    """Lags of a lattice: its sides, cells from one point to the next, and a cell's size."""

    rows: int
    columns: int
    stride: int
    cell_m: tuple[float, float]


@functools.lru_cache(maxsize=KERNELS_KEPT)
def _kernels(lags: _Lags, sigma: float, length: float) -> _Kernels:
    along, across = np.array([-1.0, 0.0, 1.0]), np.array([1.0, 2.0, 1.0])
    step = np.arange(3)

    def form(lag: Integers, one: Floats, other: Floats, cell: float) -> Floats:
        apart = (lag[:, None, None] + step[None, None, :] - step[None, :, None]) * cell
        if length > 0:
            alike = np.exp(-(apart**2) / (2 * length**2))
        else:
            alike = np.where(apart == 0, 1.0, 0.0)
        result: Floats = np.einsum("i,lij,j->l", one, alike, other)
        return result

    rows, columns = (
        np.fft.fftfreq(side, 1 / side).astype(np.int64) * lags.stride
        for side in (lags.rows, lags.columns)
    )
    width, height = lags.cell_m
    # A row further south lies further from the north: the sign matters for the odd kernels only.
    east = np.outer(form(rows, across, across, height), form(columns, along, along, width))
    north = np.outer(form(rows, along, along, height), form(columns, across, across, width))
    cross = np.outer(form(-rows, across, along, height), form(columns, along, across, width))
    east *= (sigma / (8 * width)) ** 2
    north *= (sigma / (8 * height)) ** 2
    cross *= sigma**2 / (8 * width * 8 * height)
    both = east + north
    skew_squared = (east - north) ** 2 + 4 * cross**2
    # Sums over half of a real array's spectrum count all but the first and middle columns twice.
    half = columns.size // 2 + 1
    count = np.full(half, 2.0)
    count[0] = 1.0
    if columns.size % 2 == 0:
        count[-1] = 1.0

    def spectrum(kernel: Floats) -> Floats:
        return np.asarray(fft.rfft2(kernel).real * count / kernel.size)

    return _Kernels(
        east=spectrum(east),
        north=spectrum(north),
        cross=spectrum(cross),
        both=spectrum(both),
        both_squared=spectrum(both**2),
        skew_squared=spectrum(skew_squared),
        one_cell=float(both[0, 0]),
    )


class _Lattice(NamedTuple):
    """Some plots of one lattice size: weights that add up to 1, gradients, and coordinates."""

    plots: Integers
    weight: Floats
    gradient: Complexes
    x: Floats
    y: Floats
    cell_m: tuple[float, float]
    stride: int


def _lags(lattice: _Lattice) -> _Lags:
    _, rows, columns = lattice.weight.shape
    return _Lags(2 * rows, 2 * columns, lattice.stride, lattice.cell_m)


def _spectrum(values: Floats) -> Complexes:
    """Transform windows, padded to twice their sides: no lag wraps round onto another.

    In single precision, which a variance has to spare, it takes half the time. The rows of zeros
    aren't transformed along themselves: they stay zeros.
    """
    _, rows, columns = values.shape
    by_row = fft.rfft(values.astype(np.float32), 2 * columns, axis=2)
    return np.asarray(fft.fft(by_row, 2 * rows, axis=1, overwrite_x=True))


def without_error(found: Statistics) -> Doubt:
    """Take the raster as true: the plain least-squares bearing.

    Parameters
    ----------
    found : Statistics
        What the cells say.

    Returns
    -------
    Doubt
        One value a plot, all errors 0.
    """
    deviator = found.east_east - found.north_north + 2j * found.east_north
    squared = found.east_east + found.north_north
    nothing = np.zeros(len(squared))
    return Doubt(
        deviator=deviator,
        trace=squared,
        turn=nothing,
        level=np.maximum((squared - np.abs(deviator)) / 2, 0.0),
        level_se=nothing,
        slope=found.slope_mean,
        slope_se=nothing,
    )


def doubt(cells: Cells, ground: Ground, cell_m: tuple[Floats, Floats], error: ErrorModel) -> Doubt:
    """Find bearing and slope of plots and how far the vertical error may have moved them.

    Parameters
    ----------
    cells : Cells
        The cells of one batch of plots.
    ground : Ground
        Elevation and gradient at each.
    cell_m : tuple[numpy.ndarray, numpy.ndarray]
        Width and height of a cell of each row of the raster, shape (rows,) [m].
    error : ErrorModel
        The raster's vertical error, above 0.

    Returns
    -------
    Doubt
        One value a plot; NaN for a plot without any gradient.
    """
    plots = len(cells.first)
    found = Doubt(
        np.full(plots, np.nan, dtype=np.complex128),
        *(np.full(plots, np.nan) for _ in range(len(fields(Doubt)) - 1)),
    )
    for lattice in _lattices(cells, ground, cell_m):
        part = _work(lattice, error)
        for field in fields(Doubt):
            getattr(found, field.name)[lattice.plots] = getattr(part, field.name)
    return found


def mean_error(cells: Cells, cell_m: tuple[Floats, Floats], error: ErrorModel) -> Floats:
    """Give the standard error of a component of each plot's mean gradient.

    Parameters
    ----------
    cells : Cells
        The cells of one batch of plots; no heights are needed.
    cell_m : tuple[numpy.ndarray, numpy.ndarray]
        Width and height of a cell of each row of the raster, shape (rows,) [m].
    error : ErrorModel
        The raster's vertical error, above 0.

    Returns
    -------
    numpy.ndarray
        Standard errors, shape (plots,) [1].
    """
    found = np.full(len(cells.first), np.nan)
    nothing = np.zeros(len(cells.weight))
    for lattice in _lattices(cells, Ground(nothing, nothing, nothing), cell_m):
        kernel = _kernels(_lags(lattice), error.sigma_m, error.length_m)
        power = np.abs(_spectrum(lattice.weight)) ** 2
        found[lattice.plots] = np.sqrt(_form(power, kernel.both) / 2)
    return found


def linear_error(
    cells: Cells,
    known: NDArray[np.bool_],
    weights: Complexes,
    cell_m: tuple[Floats, Floats],
    error: ErrorModel,
) -> Floats:
    """Give the standard error of a number that is linear in each plot's gradients.

    Parameters
    ----------
    cells : Cells
        The cells of one batch of plots.
    known : numpy.ndarray
        Which of them have a gradient, shape (cells,).
    weights : numpy.ndarray
        How the number grows with each cell's gradient to the east, and as an imaginary part to the
        north, shape (cells,).
    cell_m : tuple[numpy.ndarray, numpy.ndarray]
        Width and height of a cell of each row of the raster, shape (rows,) [m].
    error : ErrorModel
        The raster's vertical error, above 0.

    Returns
    -------
    numpy.ndarray
        Standard errors, NaN for a plot without any gradient, shape (plots,).
    """
    found = np.full(len(cells.first), np.nan)
    some = np.where(known, weights, np.nan)
    for lattice in _lattices(cells, Ground(some.real, some.real, some.imag), cell_m):
        kernel = _kernels(_lags(lattice), error.sigma_m, error.length_m)
        # On a very large plot one cell stands for the stride squared of them.
        variance = lattice.stride**4 * _linear_variance(lattice.gradient, kernel)
        found[lattice.plots] = np.sqrt(np.maximum(variance, 0.0))
    return found


class _Windows(NamedTuple):
    """The cells with a gradient, by plot, and the lattice that each plot is worked on."""

    plots: Integers
    first: Integers
    plot: Integers
    row: Integers
    column: Integers
    weight: Floats
    gradient: Complexes
    key: Integers


def _windows(cells: Cells, ground: Ground, cell_m: tuple[Floats, Floats]) -> _Windows:
    known = ~np.isnan(ground.east)
    plot, row, column = (values[known] for values in (cells.plot, cells.row, cells.column))
    weight = cells.weight[known]
    gradient = ground.east[known] + 1j * ground.north[known]
    plots, first = np.unique(plot, return_index=True)
    member = np.searchsorted(plots, plot)

    def window(values: Integers) -> tuple[Integers, Integers]:
        low = np.minimum.reduceat(values, first)
        return low, np.maximum.reduceat(values, first) - low + 1

    (top, high), (left, wide) = window(row), window(column)
    # Of a very large plot every second or third row and column stands for all.
    stride = -(-np.maximum(high, wide) // WINDOW_MAX)
    band = (top + high // 2) // BAND_ROWS * BAND_ROWS
    if all(np.ptp(size) == 0 for size in cell_m):
        band = np.zeros_like(band)
    row, column = row - top[member], column - left[member]
    on = (row % stride[member] == 0) & (column % stride[member] == 0)
    row, column = row // stride[member], column // stride[member]
    # Twice the window: no lag wraps round onto another.
    sides = np.array(SIDES)
    tall, broad = (sides[np.searchsorted(sides, 2 * -(-n // stride))] for n in (high, wide))
    plot, row, column = member[on], row[on], column[on]
    weight = weight[on] / np.bincount(plot, weight[on], len(plots))[plot]
    return _Windows(
        plots,
        np.searchsorted(plot, np.arange(len(plots) + 1)),
        plot,
        row,
        column,
        weight,
        gradient[on],
        np.stack([tall, broad, band, stride], axis=1),
    )


def _lattices(cells: Cells, ground: Ground, cell_m: tuple[Floats, Floats]) -> Iterator[_Lattice]:
    found = _windows(cells, ground, cell_m)
    if len(found.plots) == 0:
        return
    keys, group = np.unique(found.key, axis=0, return_inverse=True)
    for number, (high, wide, band, stride) in enumerate(keys.tolist()):
        members = np.flatnonzero(group.ravel() == number)
        at_once = max(1, CELLS_AT_ONCE // (high * wide))
        at_row = int(np.clip(band + BAND_ROWS // 2, 0, len(cell_m[0]) - 1))
        width, height = (float(size[at_row]) for size in cell_m)
        for start in range(0, len(members), at_once):
            mine = members[start : start + at_once]
            count = found.first[mine + 1] - found.first[mine]
            place = np.repeat(np.arange(len(mine)), count)
            ahead = found.first[mine] - np.concatenate([[0], np.cumsum(count)[:-1]])
            take = np.arange(len(place)) + ahead[place]
            at = place, found.row[take], found.column[take]
            weight = np.zeros((len(mine), high // 2, wide // 2))
            weight[at] = found.weight[take]
            gradient = np.zeros(weight.shape, dtype=np.complex128)
            gradient[at] = found.gradient[take]
            yield _Lattice(
                found.plots[mine],
                weight,
                gradient,
                np.arange(wide // 2) * (stride * width),
                -np.arange(high // 2) * (stride * height),
                (width, height),
                stride,
            )


def _sum(values: Array) -> Array:
    total: Array = np.einsum("kij->k", values)
    return total


def _trend_basis(lattice: _Lattice) -> tuple[Floats, Floats]:
    """Give two functions linear in place, of mean 0 and orthonormal under the weights."""
    w = lattice.weight
    x = np.broadcast_to(lattice.x[None, None, :], w.shape)
    y = np.broadcast_to(lattice.y[None, :, None], w.shape)
    x = x - _sum(w * x)[:, None, None]
    y = y - _sum(w * y)[:, None, None]

    def unit(values: Floats) -> Floats:
        size = np.sqrt(_sum(w * values**2))
        # A plot one cell wide has no trend across it.
        scale = np.where(size > LEAST_TREND * lattice.cell_m[0], 1 / np.maximum(size, TINY), 0.0)
        return values * scale[:, None, None]

    one = unit(x)
    return one, unit(y - _sum(w * one * y)[:, None, None] * one)


class _Signal(NamedTuple):
    """What the cells say, noise and all, shape (plots,) each."""

    mean: Complexes
    raw: Complexes
    squared: Floats
    steep: Floats
    trend: tuple[Complexes, Complexes]

    @property
    def trend_energy(self) -> Floats:
        one, other = (np.abs(part) for part in self.trend)
        return np.square(one) + np.square(other)

    @property
    def trend_deviator(self) -> Complexes:
        return self.trend[0] ** 2 + self.trend[1] ** 2


class _Floor(NamedTuple):
    """Energies that noise alone would give, shape (plots,) each."""

    mean: Floats
    trend: Floats
    squares: Floats
    trend_deviator: Floats
    rest_deviator: Floats
    slope_squares: Floats


class _Keep(NamedTuple):
    """Shares kept of the trend and of the rest, and of the rest in the grade, (plots,) each."""

    trend: Floats
    rest: Floats
    waves: Floats


def _form(power: Floats, covariance: Floats) -> Floats:
    """Sum a spectrum of weights against that of a covariance: aᵀGa."""
    total: Floats = np.einsum("kij,ij->k", power, covariance)
    return total


def _linear_variance(weights: Complexes, kernel: _Kernels) -> Floats:
    """Give the variance of the real part of the sum of conj(weights) times the errors."""
    east = _spectrum(weights.real)
    north = _spectrum(weights.imag)
    both: Floats = 2 * _form((east.conj() * north).real, kernel.cross)
    return both + _form(np.abs(east) ** 2, kernel.east) + _form(np.abs(north) ** 2, kernel.north)


def _floor(weight: Floats, basis: tuple[Floats, Floats], kernel: _Kernels) -> _Floor:
    whole, one, other = (_spectrum(w) for w in (weight, *(weight * f for f in basis)))
    power = np.abs(whole) ** 2
    mean = _form(power, kernel.both)
    first, second = (_form(np.abs(part) ** 2, kernel.both) for part in (one, other))
    shared = _form((one * other.conj()).real, kernel.both)
    squares = _form(power, kernel.both_squared)
    of_trend = 2 * (first**2 + second**2 + 2 * shared**2)
    of_spread = np.maximum(2 * (squares - mean**2), TINY)
    return _Floor(
        mean,
        first + second,
        squares,
        of_trend,
        np.maximum(of_spread - of_trend, LEAST_REST * of_spread),
        squares + _form(power, kernel.skew_squared),
    )


def _over(part: Floats, whole: Floats) -> Floats:
    """Divide, up to where it makes no difference; nothing over nothing is nothing."""
    ratio: Floats = np.minimum(part / np.maximum(whole, TINY), BEYOND_DOUBT)
    return ratio


def _keep(signal: _Signal, floor: _Floor, error: ErrorModel, one_cell: float) -> _Keep:
    """Weigh the trend and the rest by the odds that they mend the bearing more than they hurt it.

    The trend is kept where it is clear of its own noise, and where the mean gradient is so lost in
    its noise that there is nothing better; the rest where its noise is small beside the others'.
    """
    bend = signal.trend_deviator
    mean = np.maximum(np.abs(signal.mean) ** 2, TINY)
    # An opposed trend, large enough to turn the bearing square, is most often noise.
    agree = (signal.mean**2 * np.conj(bend)).real / np.maximum(mean * np.abs(bend), TINY)
    seen = _over(signal.trend_energy, floor.trend) * _over(np.abs(bend), floor.trend)
    lost = _over(floor.mean, mean) ** error.mean_power
    of_bend = 2 * signal.trend_energy * floor.trend
    clear = _over(np.abs(bend) ** 2, error.trend_clear * (of_bend + floor.trend_deviator))
    odds = error.trend_odds * seen * lost * np.exp(agree) + clear**2

    rest = np.abs(signal.raw - signal.mean**2 - bend)
    noise = 4 * mean * floor.mean + of_bend
    quiet = _over(noise, error.rest_quiet * floor.rest_deviator) ** 2
    rest_odds = quiet * _over(rest, np.sqrt(floor.rest_deviator))
    trend = odds / (1 + odds)
    kept = trend * rest_odds / (1 + rest_odds)
    # Waves within the plot may leave the bearing as it is, and ruin rows all the same: for the
    # grade the rest counts as soon as its energy is clear of what noise gives.
    energy = signal.squared - np.abs(signal.mean) ** 2 - signal.trend_energy
    of_noise = one_cell - floor.mean - floor.trend
    sure = np.maximum(energy - of_noise, 0.0) / np.sqrt(floor.rest_deviator / 2)
    stands_out = (np.minimum(sure, BEYOND_DOUBT) / error.rest_clear) ** 4
    return _Keep(trend, kept, np.maximum(kept, stands_out / (1 + stands_out)))


def _work(lattice: _Lattice, error: ErrorModel) -> Doubt:
    w, g = lattice.weight, lattice.gradient
    basis = _trend_basis(lattice)
    signal = _Signal(
        mean=_sum(w * g),
        raw=_sum(w * g**2),
        squared=_sum(w * np.abs(g) ** 2),
        steep=_sum(w * np.abs(g)),
        trend=(_sum(w * basis[0] * g), _sum(w * basis[1] * g)),
    )
    kernel = _kernels(_lags(lattice), error.sigma_m, error.length_m)
    floor = _floor(w, basis, kernel)
    keep = _keep(signal, floor, error, kernel.one_cell)
    rest = signal.raw - signal.mean**2 - signal.trend_deviator
    deviator = signal.mean**2 + keep.trend * signal.trend_deviator + keep.rest * rest

    def spread(values: Array) -> Array:
        return values[:, None, None]

    linear = spread(signal.trend[0]) * basis[0] + spread(signal.trend[1]) * basis[1]
    left = g - spread(signal.mean) - linear
    kept = spread(signal.mean) + spread(keep.trend) * linear + spread(keep.rest) * left
    axis: Complexes = np.exp(-0.5j * np.angle(deviator))

    # To first order each number is a sum of the gradients' errors, with weights from the kept
    # gradients; to second order the errors' own squares add. The kept gradients are noisy too,
    # which puts the second order into the first twice.
    own = floor.mean**2
    of_rest = keep.rest**2 * floor.rest_deviator / 2
    of_waves = keep.waves**2 * floor.rest_deviator / 2
    bearing_own = own + keep.trend**2 * floor.trend_deviator / 2 + of_rest
    # D's error square to D is the imaginary part of 2 w kept axis² e.
    across = np.conj(-2j * w * kept * spread(axis) ** 2)
    turn = np.sqrt(np.maximum(_linear_variance(across, kernel) - bearing_own, bearing_own / 2))
    size = np.abs(deviator)
    turn = np.minimum(turn / np.maximum(2 * size, TINY), RANDOM_RAD)
    # A trend too faint to set the bearing by still makes a grade along the rows.
    seen = spread(signal.mean) + linear + spread(keep.waves) * left
    across_axis: Complexes = np.conj(-1j * spread(axis))
    along = 2 * w * (seen * spread(axis)).imag * across_axis
    taken = size * np.sin(turn) ** 2
    level_own = (
        np.maximum(floor.mean - 2 * taken, 0) ** 2 + floor.trend_deviator / 2 + of_waves
    ) / 2
    level = _level(signal, floor, keep, axis, kernel.one_cell) + taken
    slope, slope_se = _slope(lattice, signal, floor, kernel)
    return Doubt(
        deviator=deviator,
        trace=2 * np.maximum(level, 0.0) + size,
        turn=turn,
        level=level,
        level_se=np.sqrt(np.maximum(_linear_variance(along, kernel) - level_own, level_own)),
        slope=slope,
        slope_se=slope_se,
    )


def _level(signal: _Signal, floor: _Floor, keep: _Keep, axis: Complexes, one_cell: float) -> Floats:
    """Give the mean squared grade along the rows, less all that noise gives rows of any bearing."""
    rest = signal.squared - np.abs(signal.mean) ** 2 - signal.trend_energy
    rest_deviator = signal.raw - signal.mean**2 - signal.trend_deviator
    deviator = signal.mean**2 + signal.trend_deviator + keep.waves * rest_deviator
    steep = np.abs(signal.mean) ** 2 + signal.trend_energy + keep.waves * rest
    noise = floor.mean + floor.trend + keep.waves * (one_cell - floor.mean - floor.trend)
    level: Floats = (steep - noise - (deviator * axis**2).real) / 2
    return level


NODES, CHANCES = np.polynomial.hermite_e.hermegauss(15)
CHANCES = CHANCES / CHANCES.sum()


def _slope(
    lattice: _Lattice, signal: _Signal, floor: _Floor, kernel: _Kernels
) -> tuple[Floats, Floats]:
    """Take the bias off the mean slope, and give what is left of the error.

    The mean squared slope S reads ``one_cell`` too much; the mean slope is scaled alike, to
    steep √(1 - one_cell/S). Its square is the number worked on: to first order it is a sum of the
    gradients' errors, whose weights are finite where the noise leaves nothing. The gradients are
    noisy too, which puts the second order in twice, against once in truth (S) or by half (steep).
    Where noise leaves nothing the slope stops at 0, so its spread is taken over the whole
    distribution.
    """
    squared = np.maximum(signal.squared, LEAST_SIGNAL * kernel.one_cell)
    steep = np.maximum(signal.steep, np.sqrt(LEAST_SIGNAL * kernel.one_cell))
    noise = np.minimum(kernel.one_cell / squared, 1.0)
    ratio = steep / np.sqrt(squared)
    true = steep**2 * (1 - noise)
    size = np.abs(lattice.gradient)
    of_steep, of_squared = (1 - noise) * steep, ratio**2 * noise
    scale = of_steep[:, None, None] / np.maximum(size, TINY) + of_squared[:, None, None]
    first = 4 * _linear_variance(lattice.weight * scale * lattice.gradient, kernel)
    second = ratio**2 * floor.slope_squares * (1 + noise) / 2
    wide = np.sqrt(np.maximum(first - second, second / 2))
    bent = np.minimum((wide / (2 * steep)) ** 2, kernel.one_cell)
    off = wide[:, None] * NODES + bent[:, None] * (NODES**2 - 1)
    drawn = np.sqrt(np.maximum(true[:, None] + off, 0.0))
    mean = drawn @ CHANCES
    spread = np.sqrt(np.maximum((drawn - mean[:, None]) ** 2 @ CHANCES, 0.0))
    return np.sqrt(true), spread
