"""How far apart lines along the contour lie, by published rules.

A rule gives how much lower the next line lies, the vertical interval VI, or how far it lies on the
map, the horizontal interval HI; on a slope of S percent ``HI = 100 VI / S``. Rules of the trade
differ, most on steep land, so each goes by its name and the technician chooses.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.handbook import Handbook

    Floats = NDArray[np.float64]

COMMON, LINEAR = "line_spacings", "spacing_rules"
DISTANCE, DROP = "distance", "drop"


def names(handbook: Handbook) -> tuple[str, ...]:
    """List the rules.

    Parameters
    ----------
    handbook : Handbook
        The published tables.

    Returns
    -------
    tuple[str, ...]
        The two common ones, then those of the table ``spacing_rules``.
    """
    return (DISTANCE, DROP, *map(str, handbook.rows(LINEAR)["name"]))


def horizontal_m(rule: str, slope_pct: Floats, handbook: Handbook) -> Floats:
    """Give the distance on the map from one line to the next, by a rule.

    Parameters
    ----------
    rule : str
        One of :func:`names`: ``distance`` goes by how steep the land is [1]_, ``drop`` is a fixed
        VI and never farther than a distance [2]_, the others are VI = factor (S / divisor +
        offset), each with its source in the table ``spacing_rules``.
    slope_pct : numpy.ndarray
        Slopes S [%].
    handbook : Handbook
        The published tables.

    Returns
    -------
    numpy.ndarray
        HI [m]; infinite on level land where the rule is a VI without a limit.

    References
    ----------
    .. [1] Hesperian (2012). A Community Guide to Environmental Health, p. 291.
    .. [2] International Institute of Rural Reconstruction. Sustainable Agriculture Extension
       Manual, pp. 93-98.
    """
    slope = np.asarray(slope_pct, dtype=np.float64)
    if rule == DISTANCE:
        n = handbook.numbers(COMMON)
        steep = np.where(slope >= n["steep_from_pct"], n["steep_m"], n["moderate_m"])
        return np.where(slope >= n["moderate_from_pct"], steep, n["gentle_m"])
    if rule == DROP:
        n = handbook.numbers(COMMON)
        return np.minimum(apart_m(np.full_like(slope, n["drop_m"]), slope), n["apart_max_m"])
    rows = handbook.rows(LINEAR)
    row = rows[rows["name"] == rule].iloc[0]
    vertical = float(row["factor_m"]) * (slope / float(row["divisor"]) + float(row["offset"]))
    return apart_m(vertical, slope)


def apart_m(vertical_m: Floats, slope_pct: Floats) -> Floats:
    """Turn a vertical interval into a horizontal one: ``HI = 100 VI / S``.

    Parameters
    ----------
    vertical_m : numpy.ndarray
        VI [m].
    slope_pct : numpy.ndarray
        Slopes S [%].

    Returns
    -------
    numpy.ndarray
        HI [m], infinite on level land.
    """
    with np.errstate(divide="ignore"):
        return np.asarray(vertical_m / (slope_pct / 100), dtype=np.float64)
