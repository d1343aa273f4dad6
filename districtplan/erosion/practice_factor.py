"""Practice factor P of rows on the contour.

References
----------
.. [1] Wischmeier, W.H., Smith, D.D. (1978). Predicting rainfall erosion losses: a guide to
   conservation planning. USDA Agriculture Handbook 537, Table 13: the handbook table ``contour_p``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

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
