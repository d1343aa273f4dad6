"""A smooth surface through the raster's heights around one plot, and how far its error reaches.

A quadratic trend is taken off, and what is left is smoothed by a penalty on its second differences.
In the cosine basis [1]_ that is a product: the coefficient of wave (i, j) is kept by
H = 1 / (1 + s L²), with L = Σ (2 - 2 cos(π i / n)) / d². A cubic spline runs through the result.

The strength s is the one of least expected error of the *gradient*. With c the coefficients of the
heights, v those of the error (known from its standard deviation and correlation) and K = Σ (π i /
n d)² the squared wave number, that is the unbiased risk

    Σ K ((1 - H)² c² + (2 H - 1) v)

which holds for errors that are alike over some cells, where cross-validation sees none. Without a
stated error the heights are taken as true, and the spline runs through them.

References
----------
.. [1] Garcia, D. (2010). Robust smoothing of gridded data in one and higher dimensions with missing
   values. Computational Statistics and Data Analysis 54, 1167-1178.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy import fft
from scipy.interpolate import RectBivariateSpline, make_interp_spline

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

STRENGTHS = 40
"""Strengths of smoothing that are tried, evenly on a logarithmic scale."""
ROUNDS_MAX = 30
"""Rounds that fill missing heights; each smooths what the last one filled."""
SHAPES_KEPT = 512
"""Shapes of windows whose waves are kept for the next plot."""
ORDER = 3
"""Cubic splines: they need one more height than this along a side."""


class Error(NamedTuple):
    """The raster's vertical error.

    Attributes
    ----------
    sigma_m : float
        One standard deviation, random and relative; 0 takes the heights as true [m].
    length_m : float
        Distance ℓ over which errors are alike, as exp(-d²/2ℓ²) [m].
    """

    sigma_m: float
    length_m: float


@dataclass(frozen=True)
class Heights:
    """Heights on a regular lattice around a plot, in local metres.

    Attributes
    ----------
    z : numpy.ndarray
        Heights, the first row furthest south, NaN where unknown, shape (rows, columns) [m].
    west : float
        Easting of the first column [m].
    south : float
        Northing of the first row [m].
    step_x : float
        From one column to the next [m].
    step_y : float
        From one row to the next [m].
    """

    z: Floats
    west: float
    south: float
    step_x: float
    step_y: float

    @property
    def x(self) -> Floats:
        """Give eastings of the columns.

        Returns
        -------
        numpy.ndarray
            Shape (columns,) [m].
        """
        return np.asarray(self.west + self.step_x * np.arange(self.z.shape[1]))

    @property
    def y(self) -> Floats:
        """Give northings of the rows.

        Returns
        -------
        numpy.ndarray
            Shape (rows,) [m].
        """
        return np.asarray(self.south + self.step_y * np.arange(self.z.shape[0]))


class Doubt(NamedTuple):
    """How far the gradient of a surface may be from the land's, along any direction.

    Attributes
    ----------
    noise : float
        Root mean square of what the raster's error leaves in it [1].
    lost : float
        Root mean square of what smoothing takes off the land itself [1].
    patch_m2 : float
        Area over which the noise is alike: that many square metres count as one [m²].
    """

    noise: float
    lost: float
    patch_m2: float

    @property
    def floor(self) -> float:
        """Give the grade that rows would have that follow the surface's own contours.

        Returns
        -------
        float
            Root mean square grade [1].
        """
        return float(np.hypot(self.noise, self.lost))


class Surface:
    """A cubic spline over a window.

    Parameters
    ----------
    heights : Heights
        The lattice, with smoothed heights and none missing.
    doubt : Doubt
        How far its gradient may be from the land's.

    Attributes
    ----------
    heights : Heights
        As given.
    doubt : Doubt
        As given.
    """

    def __init__(self, heights: Heights, doubt: Doubt) -> None:
        self.heights = heights
        self.doubt = doubt

    def tilted(self, fall: Floats) -> Surface:
        """Give the surface on which lines that fall are level.

        Parameters
        ----------
        fall : numpy.ndarray
            Fall wanted of lines to the east and to the north, shape (2,) [1].

        Returns
        -------
        Surface
            The same surface, raised by as much as a line would have fallen on its way. Its contours
            fall by ``fall`` in each metre that they go on that way: by the cosine less where they
            turn away from it.
        """
        own = self.heights
        raised = own.z + np.add.outer(fall[1] * own.y, fall[0] * own.x)
        return Surface(replace(own, z=raised), self.doubt)

    @functools.cached_property
    def _spline(self) -> RectBivariateSpline:
        heights = self.heights
        return RectBivariateSpline(
            heights.y,
            heights.x,
            heights.z,
            kx=min(ORDER, heights.z.shape[0] - 1),
            ky=min(ORDER, heights.z.shape[1] - 1),
            s=0,
        )

    def height(self, xy: Floats) -> Floats:
        """Give heights.

        Parameters
        ----------
        xy : numpy.ndarray
            Places, shape (points, 2) [m].

        Returns
        -------
        numpy.ndarray
            Shape (points,) [m].
        """
        return np.asarray(self._spline.ev(xy[:, 1], xy[:, 0]))

    def gradient(self, xy: Floats) -> Floats:
        """Give rises to the east and to the north.

        Parameters
        ----------
        xy : numpy.ndarray
            Places, shape (points, 2) [m].

        Returns
        -------
        numpy.ndarray
            Shape (points, 2) [1].
        """
        y, x = xy[:, 1], xy[:, 0]
        return np.column_stack([self._spline.ev(y, x, dy=1), self._spline.ev(y, x, dx=1)])

    def lattice(self, x: Floats, y: Floats) -> Floats:
        """Give heights at all crossings of columns and rows.

        Parameters
        ----------
        x : numpy.ndarray
            Eastings, rising, shape (columns,) [m].
        y : numpy.ndarray
            Northings, rising, shape (rows,) [m].

        Returns
        -------
        numpy.ndarray
            Shape (rows, columns) [m].
        """
        return np.asarray(self._spline(y, x))

    def cubics(self) -> Floats:
        """Give the spline as polynomials, one for each cell of the lattice.

        Returns
        -------
        numpy.ndarray
            Coefficients by powers of the way northwards and eastwards through a cell, each from 0
            to 1, shape (rows - 1, columns - 1, 4, 4) [m].
        """
        rows, columns = self.heights.z.shape
        down, across = _cardinal(rows), _cardinal(columns)
        both = down @ self.heights.z @ across.T
        apart = both.reshape(rows - 1, ORDER + 1, columns - 1, ORDER + 1)
        return np.ascontiguousarray(apart.transpose(0, 2, 1, 3))


@functools.lru_cache(maxsize=SHAPES_KEPT)
def _cardinal(count: int) -> Floats:
    """Give the spline's polynomials by the heights it runs through, shape (4 cells, heights)."""
    order = min(ORDER, count - 1)
    spline = make_interp_spline(np.arange(count), np.eye(count), k=order)
    powers = np.zeros((count - 1, ORDER + 1, count))
    for power in range(order + 1):
        powers[:, power] = spline(np.arange(count - 1), power) / math.factorial(power)
    return powers.reshape(-1, count)


def fit(heights: Heights, error: Error) -> Surface:
    """Smooth the heights of a window as far as their error asks.

    Parameters
    ----------
    heights : Heights
        The window; missing heights are filled from around them.
    error : Error
        The raster's error.

    Returns
    -------
    Surface
        The surface through them.

    Raises
    ------
    ValueError
        If no height is known.
    """
    known = ~np.isnan(heights.z)
    if not known.any():
        raise ValueError("no height is known")
    if error.sigma_m == 0 and known.all():
        return Surface(heights, Doubt(0.0, 0.0, heights.step_x * heights.step_y))
    trend = _trend(heights, known)
    left = np.where(known, heights.z - trend, 0.0)
    sides = heights.z.shape[0], heights.z.shape[1]
    waves = _waves(_Shape(*sides, heights.step_y, heights.step_x, error.length_m))
    squared = error.sigma_m**2
    waves = waves._replace(noise=squared * waves.noise, trend=squared * waves.trend)
    keep = _choose(fft.dctn(left, norm="ortho"), waves)
    # Missing heights take what smoothing makes of those around them, round by round.
    for _ in range(0 if known.all() else ROUNDS_MAX):
        filled = fft.idctn(_steady(keep, waves) * fft.dctn(left, norm="ortho"), norm="ortho")
        left = np.where(known, left, filled)
    coefficients = fft.dctn(left, norm="ortho")
    if not known.all():
        keep = _choose(coefficients, waves)
    smooth = trend + fft.idctn(keep * coefficients, norm="ortho")
    own = Heights(smooth, heights.west, heights.south, heights.step_x, heights.step_y)
    return Surface(own, _doubt(coefficients, keep, waves, heights))


class _Waves(NamedTuple):
    """Of each cosine wave: penalty, squared wave number, variance that the error gives it.

    The error's share in the trend is told apart: ``trend`` is the mean squared gradient it has.
    """

    penalty: Floats
    squared: Floats
    noise: Floats
    trend: float


class _Shape(NamedTuple):
    """All that the waves of a window depend on, but for the error's size."""

    rows: int
    columns: int
    step_y: float
    step_x: float
    length_m: float


def _alike(count: int, step: float, length: float) -> Floats:
    if length == 0:
        return np.eye(count)
    apart = np.subtract.outer(np.arange(count), np.arange(count)) * step
    return np.asarray(np.exp(-(apart**2) / (2 * length**2)))


@functools.lru_cache(maxsize=SHAPES_KEPT)
def _waves(shape: _Shape) -> _Waves:
    """Work out the waves of a window under an error of 1 m."""
    sides = (shape.rows, shape.step_y), (shape.columns, shape.step_x)
    place = [np.pi * np.arange(count) / count for count, _ in sides]
    (low, left), (high, right) = (
        ((2 - 2 * np.cos(turn)) / step**2, (turn / step) ** 2)
        for turn, (_, step) in zip(place, sides, strict=True)
    )
    penalty, squared = np.add.outer(low, high), np.add.outer(left, right)
    down, across = (_alike(*side, shape.length_m) for side in sides)
    of_side = []
    for alike in (down, across):
        basis = fft.dct(np.eye(len(alike)), axis=0, norm="ortho")
        of_side.append(np.einsum("ki,ij,kj->k", basis, alike, basis))
    # The trend takes its share of the error off every wave.
    own = np.linalg.qr(_quadratic(shape.rows, shape.columns))[0]
    own = own.T.reshape(-1, shape.rows, shape.columns)
    carried = down @ own @ across
    shared = np.einsum("aij,bij->ab", own, carried)
    wave, moved = (fft.dctn(part, axes=(1, 2), norm="ortho") for part in (own, carried))
    noise = np.multiply.outer(*of_side) - 2 * np.einsum("aij,aij->ij", wave, moved)
    noise += np.einsum("aij,ab,bij->ij", wave, shared, wave)
    rise = np.stack(np.gradient(own, shape.step_y, shape.step_x, axis=(1, 2)))
    # Where the plot lies: a trend errs most at the window's edge.
    middle = [slice(count // 4, count - count // 4) for count, _ in sides]
    rise = rise[:, :, middle[0], middle[1]]
    trend = np.einsum("daij,dbij,ab->", rise, rise, shared) / rise[0, 0].size
    return _Waves(penalty, squared, np.maximum(noise, 0.0), float(trend))


@functools.lru_cache(maxsize=SHAPES_KEPT)
def _quadratic(rows: int, columns: int) -> Floats:
    y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j]
    basis = np.stack([x**0, x, y, x * x, x * y, y * y], axis=-1)
    return basis.reshape(-1, basis.shape[-1])


def _trend(heights: Heights, known: NDArray[np.bool_]) -> Floats:
    basis, flat = _quadratic(*heights.z.shape), known.ravel()
    z = heights.z.ravel()[flat]
    middle = z.mean()
    fitted = np.linalg.lstsq(basis[flat], z - middle, rcond=None)[0]
    return np.asarray((middle + basis @ fitted).reshape(heights.z.shape))


def _choose(coefficients: Floats, waves: _Waves) -> Floats:
    """Give how much of each wave is kept, at the least expected error of the gradient."""
    if not waves.noise.any():
        return np.ones_like(coefficients)
    curved = waves.penalty**2
    # From hardly anything kept beside the trend to nearly all of the shortest wave.
    least, most = curved.ravel()[1:].min(), curved.max()
    strength = np.geomspace(1 / (100 * most), 100 / least, STRENGTHS)
    keep = 1 / (1 + strength[:, None, None] * curved)
    risk = np.einsum(
        "kij,ij->k",
        (1 - keep) ** 2 * coefficients**2 + (2 * keep - 1) * waves.noise,
        waves.squared,
    )
    return np.asarray(keep[int(np.argmin(risk))])


def _steady(keep: Floats, waves: _Waves) -> Floats:
    """Give what is kept while missing heights are filled: without an error, half the waves."""
    if (keep < 1).any():
        return keep
    return np.asarray(1 / (1 + waves.penalty**2 / np.median(waves.penalty) ** 2))


def _doubt(coefficients: Floats, keep: Floats, waves: _Waves, heights: Heights) -> Doubt:
    count = coefficients.size
    noise = waves.squared * keep**2 * waves.noise
    # What smoothing takes off the land itself: as it shows in these heights, but no more than were
    # each wave kept by just the share that it stands out of the error.
    shown = np.sum(waves.squared * (1 - keep) ** 2 * (coefficients**2 - waves.noise))
    most = np.sum(waves.squared * keep * (1 - keep) * waves.noise)
    cell = heights.step_x * heights.step_y
    patch = cell
    if noise.any():
        patch = max(float((noise**2).sum() / noise.sum() ** 2) * count * cell, cell)
    return Doubt(
        float(np.sqrt((noise.sum() / count + waves.trend) / 2)),
        float(np.sqrt(np.clip(shown, 0.0, most) / count / 2)),
        patch,
    )
