"""The concentric rows of least squared grade, in closed form from six sums.

Rows around a centre C have the direction t(x) = e + k J (x - m) at x, with e their unit direction
at the middle m, k the curvature there, J a quarter turn to the left and C = m + J e / k; k = 0 is
straight. With a = (g, g·J (x - m)) at each place, g its gradient, the sum of squared grades is a
quadratic form of (e, k) with the matrix M = Σ w a aᵀ. Its least value over k leaves
A = M_gg - M_gk M_gkᵀ / M_kk, whose smaller eigenvalue's axis is e; then k = -M_gk·e / M_kk. The
form weighs places by |t|², which rounds of weights 1 / |t|² take out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

NEAREST = 1e-3
"""Least |t|² that a weight divides by: places next to the centre must not outweigh all others."""
FLAT = 1e-12
"""Share of the squared gradient times place under which a bend is rounding."""


class Best(NamedTuple):
    """Rows of least squared grade, shape (...) each.

    Attributes
    ----------
    angle : numpy.ndarray
        Direction at the middle, from east, anticlockwise [radians].
    bend : numpy.ndarray
        Curvature there, positive where rows turn to the left; 0 where nothing tells it [1/m].
    left : numpy.ndarray
        Squared grade that is left, summed.
    """

    angle: Floats
    bend: Floats
    left: Floats


def solve(xx: Floats, xy: Floats, yy: Floats, xk: Floats, yk: Floats, kk: Floats) -> Best:
    """Find the rows of least squared grade.

    Parameters
    ----------
    xx, xy, yy : numpy.ndarray
        Weighted sums of products of the gradients' components, shape (...).
    xk, yk : numpy.ndarray
        The same of these with g·J (x - m) [m].
    kk : numpy.ndarray
        The same of the squares of the latter [m²].

    Returns
    -------
    Best
        The rows.
    """
    divide = np.where(kk > 0, kk, 1.0)
    a, b, c = xx - xk * xk / divide, xy - xk * yk / divide, yy - yk * yk / divide
    angle = 0.5 * np.arctan2(2 * b, a - c) + np.pi / 2
    turned = xk * np.cos(angle) + yk * np.sin(angle)
    told = turned**2 > FLAT * kk * (xx + yy)
    left = (a + c) / 2 - np.hypot((a - c) / 2, b)
    return Best(angle, np.where(told, -turned / divide, 0.0), np.maximum(left, 0.0))
