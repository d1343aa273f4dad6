"""Practice factor P of rows on the contour.

References
----------
.. [1] Wischmeier, W.H., Smith, D.D. (1978). Predicting rainfall erosion losses: a guide to
   conservation planning. USDA Agriculture Handbook 537, Table 13: the handbook table ``contour_p``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from districtplan.erosion.ls import FOOT_M

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.handbook import Handbook

    Floats = NDArray[np.float64]

NO_CREDIT = 1.0
"""P of rows up and down the slope, by definition."""


def contour_p(slope_pct: Floats, handbook: Handbook) -> tuple[Floats, Floats]:
    """Look up P of ridged rows on the contour and the slope length up to which it holds [1]_.

    Print leaves gaps between the classes (2 to 3 %, 5 to 6 %); a slope in a gap takes the steeper
    class, by our convention. Below the first class and above the last there is no credit.

    Parameters
    ----------
    slope_pct : numpy.ndarray
        Slopes [%].
    handbook : Handbook
        The published tables.

    Returns
    -------
    p : numpy.ndarray
        P, no unit; 1 outside the classes.
    length_max_m : numpy.ndarray
        Longest slope for which it holds, NaN outside the classes [m].

    References
    ----------
    .. [1] Wischmeier, W.H., Smith, D.D. (1978). Predicting rainfall erosion losses. USDA
       Agriculture Handbook 537, Table 13.
    """
    rows = handbook.rows("contour_p").sort_values("slope_high_pct")
    upper = rows["slope_high_pct"].to_numpy(dtype=np.float64)
    place = np.searchsorted(upper, slope_pct)
    inside = (slope_pct >= float(rows["slope_low_pct"].min())) & (place < len(upper))
    place = np.minimum(place, len(upper) - 1)
    p = rows["p"].to_numpy(dtype=np.float64)[place]
    length_max_m = rows["length_max_ft"].to_numpy(dtype=np.float64)[place] * FOOT_M
    return np.where(inside, p, NO_CREDIT), np.where(inside, length_max_m, np.nan)


def contour_p_by_author(
    author: str | None, slope_pct: Floats, handbook: Handbook
) -> tuple[Floats, Floats]:
    """Look up P of ridged rows on the contour by the author that C is from.

    An author's C and P share out the effect of tillage in their own way, so they go together.
    Length and slope limits are those of the table ``contour_p`` throughout: only it prints any.

    Parameters
    ----------
    author : str | None
        Author of C; None, or one without a P of contour rows of their own, where C is as given.
    slope_pct : numpy.ndarray
        Slopes [%].
    handbook : Handbook
        The published tables.

    Returns
    -------
    p : numpy.ndarray
        P, no unit; 1 outside the classes, and for an author who gives none.
    length_max_m : numpy.ndarray
        Longest slope for which it holds, NaN outside the classes [m].
    """
    p, length_max_m = contour_p(slope_pct, handbook)
    if author is None:
        return p, length_max_m
    own = np.full_like(p, NO_CREDIT)
    if author == "hurni":
        own = np.full_like(p, handbook.number("practice_factors", "hurni_contour"))
    elif author == "morgan":
        own = _by_degrees(slope_pct, handbook)
    return np.where(np.isnan(length_max_m), NO_CREDIT, own), length_max_m


def _by_degrees(slope_pct: Floats, handbook: Handbook) -> Floats:
    rows = handbook.rows("contour_p_degrees").sort_values("slope_high_deg")
    upper = rows["slope_high_deg"].to_numpy(dtype=np.float64)
    place = np.searchsorted(upper, np.degrees(np.arctan(slope_pct / 100)))
    p = rows["p"].to_numpy(dtype=np.float64)[np.minimum(place, len(upper) - 1)]
    return np.where(place < len(upper), p, NO_CREDIT)


def row_grade_p(p_level: Floats, row_grade_pct: Floats, slope_pct: Floats) -> Floats:
    """Give P of rows that fall along their length [1]_.

    ``P_g = P_0 + (1 - P_0) sqrt(s_f / s_l)``: P of level rows at no grade, 1 where rows run down
    the slope.

    Parameters
    ----------
    p_level : numpy.ndarray
        P of level rows, P_0.
    row_grade_pct : numpy.ndarray
        Grade along the rows, s_f [%].
    slope_pct : numpy.ndarray
        Slope of the land, s_l [%].

    Returns
    -------
    numpy.ndarray
        P, no unit.

    References
    ----------
    .. [1] Renard, K.G., Foster, G.R., Weesies, G.A., McCool, D.K., Yoder, D.C. (1997). Predicting
       soil erosion by water (RUSLE). USDA Agriculture Handbook 703, chapter 6.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.clip(row_grade_pct / slope_pct, 0, 1)
    # Level land has no steeper way than its rows.
    share = np.where(slope_pct > 0, share, 0)
    return np.asarray(p_level + (NO_CREDIT - p_level) * np.sqrt(share), dtype=np.float64)


def strip_p(
    rotation: Literal["meadow", "grain_meadow", "grain"],
    contour: tuple[Floats, Floats],
    handbook: Handbook,
) -> tuple[Floats, Floats]:
    """Give P of strips of crops along the contour, and the length up to which it holds [1]_.

    Parameters
    ----------
    rotation : {"meadow", "grain_meadow", "grain"}
        What stands between strips of a row crop: two years of meadow; grain and meadow; grain.
    contour : tuple[numpy.ndarray, numpy.ndarray]
        P of rows on the contour, and the longest slope for which it holds [m].
    handbook : Handbook
        The published tables.

    Returns
    -------
    p : numpy.ndarray
        P, no unit; 1 where contour rows get no credit.
    length_max_m : numpy.ndarray
        Longest slope for which it holds [m].

    References
    ----------
    .. [1] Wischmeier, W.H., Smith, D.D. (1978). Predicting rainfall erosion losses. USDA
       Agriculture Handbook 537, Table 14.
    """
    p, length_max_m = contour
    share = handbook.number("practice_factors", f"strip_{rotation}_share")
    longer = handbook.number("practice_factors", "strip_length_share")
    return np.where(p < NO_CREDIT, p * share, NO_CREDIT), length_max_m * longer
