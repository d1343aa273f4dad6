"""The raster's vertical error, estimated where the ground is known to be even.

On flat or evenly sloping land the heights less a plane are the raster's error, less what the plane
takes of it. Land is cut into squares and each gets its own plane by least squares. Over all of
them, products of residuals k cells apart along rows and columns are added up. Under an error of
standard deviation σ and correlation c(d) = exp(-d²/2ℓ²) the sum for a square with residual maker
M = I - QQᵀ and pairs W has the expectation σ² Σ c(d) B(d), B(d) the sum of M W M over pairs of
cells d apart: what the plane takes is in it. ℓ is that with the least squared difference between
sums and expectations, each over the number of its pairs; σ follows by linear least squares.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import scipy
import shapely

from districtplan import geodesy
from districtplan.coverage import WHOLE, coverage, outlines_on_grid
from districtplan.errors import Fault, InputError
from districtplan.grid import Window

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from districtplan.coverage import Outlines
    from districtplan.grid import Elevation
    from districtplan.handbook import Handbook

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]

TABLE = "reference_land_limits"

FLAT = 1e-8
"""Land narrower than this, against its length, has no slope across that could be fitted."""

CELLS_MAX = 1 << 24
"""Cells that the bounds of one outline may have."""

TRIED = 32
"""Correlation lengths that are tried before the best is refined."""

SHORTEST = 0.25
"""Shortest length that is tried: neighbours are then alike by 3e-4 [cells]."""


@dataclass(frozen=True)
class Estimate:
    """The vertical error as reference land shows it.

    Attributes
    ----------
    vertical_error_m : float
        Standard deviation of the error [m].
    error_correlation_m : float
        Its correlation length, 0 where neighbours aren't alike [m].
    squares : int
        Squares of land used.
    cells : int
        Cells used.
    """

    vertical_error_m: float
    error_correlation_m: float
    squares: int
    cells: int


class _Square(NamedTuple):
    """Whole cells of one square of land, and their size on the ground."""

    row: Integers
    column: Integers
    height: Floats
    cell_m: tuple[float, float]


class _Sums(NamedTuple):
    """One square: sums of residual products and pairs by lag, and B by distance."""

    products: Floats
    pairs: Floats
    expected: Floats
    apart_squared: Floats


def estimate_error(
    land: NDArray[np.object_], elevation: Elevation, handbook: Handbook, name: str
) -> Estimate:
    """Estimate the vertical error and its correlation length.

    Parameters
    ----------
    land : numpy.ndarray
        Outlines of flat or evenly sloping land in the CRS of the raster.
    elevation : Elevation
        The raster.
    handbook : Handbook
        Limits of the method (table ``reference_land_limits``).
    name : str
        Name of the file of outlines, for messages.

    Returns
    -------
    Estimate
        The error.

    Raises
    ------
    InputError
        If there is too little land, all of it has been levelled, or the correlation reaches too far
        to be told from a slope.
    """
    _check(land, name)
    limits = handbook.numbers(TABLE)
    squares = list(_squares(outlines_on_grid(land, elevation.grid), elevation, limits, name))
    uneven = [square for square in squares if not _levelled(square)]
    if not uneven:
        what = (
            "has no land with enough cells"
            if not squares
            else "has only land without any unevenness"
        )
        least = f"{limits['cells_min']:g}"
        raise InputError(
            Fault(
                name,
                f"{what}, so the raster's error can't be estimated",
                f"Name land of at least {least} whole cells that the raster's makers haven't "
                "levelled, or set vertical_error_m and error_correlation_m",
            )
        )
    most = int(limits["pieces_max"])
    kept = [uneven[i] for i in np.unique(np.linspace(0, len(uneven) - 1, most).astype(int))]
    sums = [_add_up(square, int(limits["lags_cells_max"])) for square in kept]
    cell_m = float(np.mean([np.sqrt(width * height) for width, height in (s.cell_m for s in kept)]))
    longest = max(float(np.sqrt(s.apart_squared.max() / 2)) for s in sums)
    longest *= limits["length_share_max"]
    sigma, length = _fit(sums, cell_m * SHORTEST, longest)
    if length >= longest * WHOLE or not np.isfinite(sigma):
        raise InputError(
            Fault(
                name,
                f"shows errors alike over {longest:.0f} m or more, too far for land of this size",
                "Name larger land, or set vertical_error_m and error_correlation_m",
            )
        )
    if length < limits["length_cells_min"] * cell_m:
        length = 0.0
    return Estimate(sigma, length, len(kept), sum(len(s.height) for s in kept))


def _check(land: NDArray[np.object_], name: str) -> None:
    lost = ~np.isfinite(shapely.bounds(land)).all(axis=1)
    if lost.any():
        raise InputError(
            *(
                Fault(
                    f"{name} row {row + 1}",
                    "lies where the raster's CRS doesn't reach",
                    "Check the CRS of the file",
                )
                for row in np.flatnonzero(lost)
            )
        )


def _squares(
    outlines: Outlines, elevation: Elevation, limits: dict[str, float], name: str
) -> Iterator[_Square]:
    grid = elevation.grid
    width, height = geodesy.cell_size_m(grid)
    side = int(limits["side_cells"])
    for number, (top, left, bottom, right) in enumerate(outlines.bounds().tolist()):
        if (bottom - top) * (right - left) > CELLS_MAX:
            raise InputError(
                Fault(
                    f"{name} row {number + 1}",
                    f"spans more than {CELLS_MAX:,} cells of the raster",
                    "Cut the land to a few hundred metres",
                )
            )
        up, west = max(top, 0), max(left, 0)
        down, east = min(bottom, grid.rows), min(right, grid.columns)
        if up >= down or west >= east:
            continue
        cells = coverage(outlines.take(slice(number, number + 1)))
        inside = (cells.row >= up) & (cells.row < down) & (cells.weight > WHOLE)
        inside &= (cells.column >= west) & (cells.column < east)
        row, column = cells.row[inside], cells.column[inside]
        values = elevation.read(Window(up, west, down - up, east - west))
        heights = values[row - up, column - west].astype(np.float64)
        square = (row - top) // side * ((right - left) // side + 1) + (column - left) // side
        for one in np.unique(square):
            mine = (square == one) & ~np.isnan(heights)
            if mine.sum() >= limits["cells_min"]:
                at = row[mine][0]
                size = float(width[at]), float(height[at])
                yield _Square(row[mine], column[mine], heights[mine], size)


class _Lattice:
    """The cells of one square as pictures, correlated with one another by their spectra."""

    def __init__(self, square: _Square) -> None:
        self.row = square.row - square.row.min()
        self.column = square.column - square.column.min()
        self.shape = int(self.row.max()) + 1, int(self.column.max()) + 1
        # Twice the size: no lag wraps round onto another.
        self.padded = 2 * self.shape[0], 2 * self.shape[1]
        down, right = (np.abs(np.fft.fftfreq(n, 1 / n)).astype(np.int64) for n in self.padded)
        self.lags = self.shape[0] + 1, self.shape[1] + 1
        self.place = (down[:, None] * self.lags[1] + right[None]).ravel()

    def picture(self, values: Floats) -> Floats:
        picture = np.zeros(self.shape)
        picture[self.row, self.column] = values
        return picture

    def products(self, one: Floats, other: Floats) -> Floats:
        """Add up products of values over all pairs, by rows and columns between them."""
        spectra = [np.fft.rfft2(self.picture(values), self.padded) for values in (one, other)]
        by_lag = np.fft.irfft2(spectra[0] * spectra[1].conj(), self.padded)
        size = self.lags[0] * self.lags[1]
        total = np.bincount(self.place, by_lag.ravel(), size)
        return np.asarray(total, dtype=np.float64).reshape(self.lags)

    def neighbours(self, values: Floats, lag: int) -> Floats:
        """Add up, at each cell, the values of the cells a lag away along row and column."""
        if lag == 0:
            return values
        framed = np.pad(self.picture(values), lag)
        total = np.zeros(len(values))
        for down, right in ((-lag, 0), (lag, 0), (0, -lag), (0, lag)):
            total += framed[self.row + lag + down, self.column + lag + right]
        return total


def _at(by_lag: Floats, lag: int) -> Iterator[tuple[int, int]]:
    """Give the places of a lag along a column and along a row, within the lattice."""
    for place in dict.fromkeys(((lag, 0), (0, lag))):
        if place[0] < by_lag.shape[0] and place[1] < by_lag.shape[1]:
            yield place


def _add_up(square: _Square, lags: int) -> _Sums:
    lattice = _Lattice(square)
    plane, left = _plane(square)
    residuals = lattice.products(left, left)
    count = lattice.products(np.ones(len(left)), np.ones(len(left)))
    products, pairs, expected = np.zeros(lags + 1), np.zeros(lags + 1), []
    for lag in range(lags + 1):
        beside = np.array([lattice.neighbours(axis, lag) for axis in plane])
        inner = plane @ beside.T
        # M W M = W - Q (WQ)ᵀ - (WQ) Qᵀ + Q (QᵀWQ) Qᵀ, each summed by lag.
        made = np.zeros(lattice.lags)
        for axis, near, mixed in zip(plane, beside, inner @ plane, strict=True):
            made += lattice.products(axis, mixed - 2 * near)
        for place in _at(count, lag):
            made[place] += count[place]
            products[lag] += residuals[place]
            pairs[lag] += count[place]
        expected.append(made.ravel())
    width, tall = square.cell_m
    apart = [np.arange(n) * size for n, size in zip(lattice.lags, (tall, width), strict=True)]
    apart_squared = apart[0][:, None] ** 2 + apart[1][None] ** 2
    return _Sums(products, pairs, np.array(expected), apart_squared.ravel())


def _plane(square: _Square) -> tuple[Floats, Floats]:
    """Give an orthonormal basis of planes, shape (2 or 3, cells), and the heights less theirs."""
    row, column = square.row - square.row.mean(), square.column - square.column.mean()
    plane = np.column_stack([np.ones(len(row)), row, column])
    taken, size, _ = np.linalg.svd(plane, full_matrices=False)
    basis = taken[:, size > FLAT * size[0]].T
    height = square.height - square.height.mean()
    return basis, height - (basis @ height) @ basis


def _levelled(square: _Square) -> bool:
    """Whether nothing but the rounding of 32-bit heights is left over the plane."""
    left = _plane(square)[1]
    rounding = np.spacing(np.float32(np.abs(square.height).max()))
    return bool(np.sqrt(np.mean(left**2)) <= rounding)


def _fit(sums: list[_Sums], shortest: float, longest: float) -> tuple[float, float]:
    """Find σ and ℓ."""
    pairs = np.maximum(sum(s.pairs for s in sums), 1.0)
    found = sum(s.products for s in sums) / pairs

    def expected(length: float) -> Floats:
        alike = (s.expected @ np.exp(-s.apart_squared / (2 * length**2)) for s in sums)
        return np.asarray(sum(alike) / pairs)

    def variance(length: float) -> float:
        shape = expected(length)
        return float(shape @ found / (shape @ shape))

    def misfit(log_length: float) -> float:
        length = float(np.exp(log_length))
        return float(np.sum((found - variance(length) * expected(length)) ** 2))

    tried = np.linspace(np.log(shortest), np.log(longest), TRIED)
    best = int(np.argmin([misfit(length) for length in tried]))
    if best == TRIED - 1:
        return float(np.sqrt(max(variance(longest), 0.0))), longest
    around = tried[max(best - 1, 0)], tried[best + 1]
    # scipy reads its optimizers only now: they take longer than all else that is read at the start.
    best_fit = scipy.optimize.minimize_scalar(misfit, bounds=around, method="bounded")
    length = float(np.exp(best_fit.x))
    return float(np.sqrt(max(variance(length), 0.0))), length
