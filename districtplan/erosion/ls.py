"""Slope length and steepness factors of RUSLE.

References
----------
.. [1] Renard, K.G., Foster, G.R., Weesies, G.A., McCool, D.K., Yoder, D.C. (1997). Predicting soil
   erosion by water: a guide to conservation planning with the Revised Universal Soil Loss Equation
   (RUSLE). USDA Agriculture Handbook 703, chapter 4. All constants are in the handbook table
   ``rusle_ls``: a moderate ratio of rill to interrill erosion, as on tilled cropland.
"""

from __future__ import annotations

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
