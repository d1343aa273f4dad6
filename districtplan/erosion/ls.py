"""Slope length and steepness factors of RUSLE.

References
----------
.. [1] Renard, K.G., Foster, G.R., Weesies, G.A., McCool, D.K., Yoder, D.C. (1997). Predicting soil
   erosion by water: a guide to conservation planning with the Revised Universal Soil Loss Equation
   (RUSLE). USDA Agriculture Handbook 703, chapter 4. All constants are in the handbook table
   ``rusle_ls``: a moderate ratio of rill to interrill erosion, as on tilled cropland.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from districtplan.handbook import Handbook

    Floats = NDArray[np.float64]

FOOT_M = 0.3048


def constants(handbook: Handbook) -> dict[str, float]:
    """Take the constants of the equations from the handbook.

    Parameters
    ----------
    handbook : Handbook
        The published tables.

    Returns
    -------
    dict[str, float]
        Constants of the table ``rusle_ls``, by name.
    """
    rows = handbook.rows("rusle_ls")
    return {
        str(name): float(value) for name, value in zip(rows["name"], rows["value"], strict=True)
    }


def _sine(slope_pct: Floats) -> Floats:
    tangent = slope_pct / 100
    return np.asarray(tangent / np.hypot(1, tangent), dtype=np.float64)


def steepness(slope_pct: Floats, constants: Mapping[str, float]) -> Floats:
    """Give the steepness factor S of slopes of at least 15 ft [1]_.

    ``S = 10.8 sin θ + 0.03`` below 9 %, ``S = 16.8 sin θ - 0.50`` from 9 % up. The two lines meet
    0.8 % apart: that step is in the published equations.

    Parameters
    ----------
    slope_pct : numpy.ndarray
        Slopes [%].
    constants : Mapping[str, float]
        Constants of the table ``rusle_ls``.

    Returns
    -------
    numpy.ndarray
        S, no unit.

    References
    ----------
    .. [1] McCool, D.K., Brown, L.C., Foster, G.R., Mutchler, C.K., Meyer, L.D. (1987). Revised
       slope steepness factor for the universal soil loss equation. Transactions of the ASAE
       30(5), 1387-1396.
    """
    sine = _sine(slope_pct)
    gentle = constants["steepness_gentle_factor"] * sine + constants["steepness_gentle_constant"]
    steep = constants["steepness_steep_factor"] * sine + constants["steepness_steep_constant"]
    return np.where(slope_pct < constants["steepness_break_pct"], gentle, steep)


def length_exponent(slope_pct: Floats, constants: Mapping[str, float]) -> Floats:
    """Give the exponent m of slope length, which grows with the share of rill erosion [1]_.

    ``m = β / (1 + β)``, ``β = (sin θ / 0.0896) / (3.0 sin^0.8 θ + 0.56)``.

    Parameters
    ----------
    slope_pct : numpy.ndarray
        Slopes [%].
    constants : Mapping[str, float]
        Constants of the table ``rusle_ls``.

    Returns
    -------
    numpy.ndarray
        Exponent m, no unit.

    References
    ----------
    .. [1] McCool, D.K., Foster, G.R., Mutchler, C.K., Meyer, L.D. (1989). Revised slope length
       factor for the universal soil loss equation. Transactions of the ASAE 32(5), 1571-1576.
    """
    sine = _sine(slope_pct)
    interrill = (
        constants["interrill_factor"] * sine ** constants["interrill_power"]
        + constants["interrill_constant"]
    )
    ratio = sine / constants["rill_sine"] / interrill
    return ratio / (1 + ratio)


def length_factor(slope_pct: Floats, length_m: Floats, constants: Mapping[str, float]) -> Floats:
    """Give the length factor L: ``(length / 22.13 m)^m``.

    Parameters
    ----------
    slope_pct : numpy.ndarray
        Slopes [%].
    length_m : numpy.ndarray
        Slope lengths, measured level [m].
    constants : Mapping[str, float]
        Constants of the table ``rusle_ls``.

    Returns
    -------
    numpy.ndarray
        L, no unit.
    """
    relative = length_m / constants["unit_plot_length_m"]
    return np.asarray(relative ** length_exponent(slope_pct, constants), dtype=np.float64)


def ls_factor(slope_pct: Floats, length_m: Floats, constants: Mapping[str, float]) -> Floats:
    """Give LS, with the rule for slopes shorter than 15 ft.

    From 15 ft up it is L times S. The printed table leaves that product below 15 ft. It follows
    ``LS(3 ft) = min(LS(15 ft), (3.0 sin^0.8 θ + 0.56) L(15 ft))``, log LS linear in log length
    between 3 and 15 ft, and no change below 3 ft: a rule found by fitting, which reproduces every
    printed cell that was read.

    Parameters
    ----------
    slope_pct : numpy.ndarray
        Slopes [%].
    length_m : numpy.ndarray
        Slope lengths, measured level [m].
    constants : Mapping[str, float]
        Constants of the table ``rusle_ls``.

    Returns
    -------
    numpy.ndarray
        LS, no unit.
    """
    upper_m = constants["short_slope_length_ft"] * FOOT_M
    lower_m = constants["shortest_slope_length_ft"] * FOOT_M
    factor = steepness(slope_pct, constants) * length_factor(
        slope_pct, np.maximum(length_m, upper_m), constants
    )
    # Where the length is 15 ft or more the weight is 1, and the rule leaves the factor as it is.
    weight = np.log(np.clip(length_m, lower_m, upper_m) / lower_m) / np.log(upper_m / lower_m)
    short_steepness = (
        constants["steepness_short_factor"] * _sine(slope_pct) ** constants["steepness_short_power"]
        + constants["steepness_short_constant"]
    )
    shortest = short_steepness * length_factor(
        slope_pct, np.full_like(slope_pct, upper_m), constants
    )
    blend = np.minimum(factor, shortest) ** (1 - weight) * factor**weight
    return np.where(length_m < upper_m, blend, factor)


def ls_between(
    slope_pct: Floats, above_m: Floats, below_m: Floats, constants: Mapping[str, float]
) -> Floats:
    """Give the mean LS of a piece of slope that has other land above it [1]_.

    ``LS = (b LS(b) - a LS(a)) / (b - a)``: what all the slope loses, less what the land above
    loses. From 15 ft up it is ``S (b^(m+1) - a^(m+1)) / ((b - a) 22.13^m)``; the rule for short
    slopes goes on holding below.

    Parameters
    ----------
    slope_pct : numpy.ndarray
        Slopes [%].
    above_m : numpy.ndarray
        Slope lengths from where water starts to run to the upper edge, a [m].
    below_m : numpy.ndarray
        Slope lengths to the lower edge, b, longer [m].
    constants : Mapping[str, float]
        Constants of the table ``rusle_ls``.

    Returns
    -------
    numpy.ndarray
        LS, no unit.

    References
    ----------
    .. [1] Foster, G.R., Wischmeier, W.H. (1974). Evaluating irregular slopes for soil loss
       prediction. Transactions of the ASAE 17(2), 305-309.
    """
    whole = ls_factor(slope_pct, below_m, constants)
    upper = ls_factor(slope_pct, above_m, constants)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = (below_m * whole - above_m * upper) / (below_m - above_m)
    return np.where(above_m > 0, found, whole)


@dataclass(frozen=True)
class FlowCells:
    """Cells of plots, and the land that drains into each.

    Attributes
    ----------
    plot : numpy.ndarray
        Place of the plot that each cell is of, int.
    entering_m2 : numpy.ndarray
        Area that drains into the cell, the cell itself not counted [m²].
    side_m : numpy.ndarray
        Side of the cell [m].
    across : numpy.ndarray
        Sine plus cosine of the direction of fall, both without sign: the width flowed across, in
        sides of the cell.
    """

    plot: NDArray[np.intp]
    entering_m2: Floats
    side_m: Floats
    across: Floats


def length_on_cells(cells: FlowCells, exponent: Floats, constants: Mapping[str, float]) -> Floats:
    """Give the factor L of each cell by the area that drains into it [1]_.

    ``L = ((A + D²)^(m+1) - A^(m+1)) / (D^(m+2) x^m 22.13^m)``, A the area that enters the cell
    without the cell.

    Parameters
    ----------
    cells : FlowCells
        The cells.
    exponent : numpy.ndarray
        Exponent m at each cell.
    constants : Mapping[str, float]
        Constants of the table ``rusle_ls``.

    Returns
    -------
    numpy.ndarray
        L, no unit.

    References
    ----------
    .. [1] Desmet, P.J.J., Govers, G. (1996). A GIS procedure for automatically calculating the
       USLE LS factor on topographically complex landscape units. Journal of Soil and Water
       Conservation 51(5), 427-433.
    """
    # In units of the cell's area powers stay small: A / D² is a count of cells.
    count = cells.entering_m2 / cells.side_m**2
    grown = (count + 1) ** (exponent + 1) - count ** (exponent + 1)
    relative = cells.side_m / (cells.across * constants["unit_plot_length_m"])
    return np.asarray(grown * relative**exponent, dtype=np.float64)


class LengthByArea:
    """The mean factor L of plots by the area that drains into each of their cells.

    Cells are added some plots at a time and not kept.

    Parameters
    ----------
    slope_pct : numpy.ndarray
        Slope of each plot [%].
    cap_m : float
        Longest slope length that counts [m].
    constants : Mapping[str, float]
        Constants of the table ``rusle_ls``.
    """

    def __init__(self, slope_pct: Floats, cap_m: float, constants: Mapping[str, float]) -> None:
        self._exponent = length_exponent(slope_pct, constants)
        self._cap_m, self._constants = cap_m, constants
        self._total = np.zeros(len(slope_pct))
        self._number = np.zeros(len(slope_pct))

    def add(self, cells: FlowCells) -> None:
        """Add cells of plots.

        Flow that gathers in a channel isn't sheet flow: the area counts no further than the cap,
        as area over width.

        Parameters
        ----------
        cells : FlowCells
            The cells.
        """
        most = np.maximum(self._cap_m * cells.across - cells.side_m, 0) * cells.side_m
        capped = replace(cells, entering_m2=np.minimum(cells.entering_m2, most))
        length = length_on_cells(capped, self._exponent[cells.plot], self._constants)
        plots = len(self._total)
        self._total += np.bincount(cells.plot, weights=length, minlength=plots)
        self._number += np.bincount(cells.plot, minlength=plots)

    def mean(self) -> Floats:
        """Give the mean over the cells of each plot.

        Returns
        -------
        numpy.ndarray
            L of each plot, no unit; NaN for a plot without cells.
        """
        with np.errstate(invalid="ignore"):
            return np.asarray(self._total / self._number, dtype=np.float64)


def steepness_others(slope_pct: Floats, handbook: Handbook) -> tuple[Floats, Floats]:
    """Give S by two other published equations, to tell how far they spread [1]_ [2]_.

    Parameters
    ----------
    slope_pct : numpy.ndarray
        Slopes [%].
    handbook : Handbook
        The published tables.

    Returns
    -------
    nearing : numpy.ndarray
        ``S = -1.5 + 17 / (1 + exp(2.3 - 6.1 sin θ))``.
    liu : numpy.ndarray
        ``S = 21.91 sin θ - 0.96``; NaN on slopes gentler than its plots.

    References
    ----------
    .. [1] Nearing, M.A. (1997). A single, continuous function for slope steepness influence on
       soil loss. Soil Science Society of America Journal 61(3), 917-919.
    .. [2] Liu, B.Y., Nearing, M.A., Risse, L.M. (1994). Slope gradient effects on soil loss for
       steep slopes. Transactions of the ASAE 37(6), 1835-1840.
    """
    n, sine = handbook.numbers("steepness_equations"), _sine(slope_pct)
    curve = 1 + np.exp(n["nearing_offset"] - n["nearing_sine"] * sine)
    nearing = n["nearing_constant"] + n["nearing_rise"] / curve
    liu = n["liu_factor"] * sine + n["liu_constant"]
    return nearing, np.where(slope_pct >= n["liu_from_pct"], liu, np.nan)
