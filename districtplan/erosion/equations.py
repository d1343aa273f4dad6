"""The equations of soil loss, as other stages may ask them: handed on, never imported."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from districtplan.erosion import cover, ls
from districtplan.erosion.practice_factor import NO_CREDIT, contour_p_by_author

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Equations:
    """LS of pieces of slope and P of rows on the contour, under one plan.

    Attributes
    ----------
    plan : Plan
        Its cap of slope length, and the author of C.
    handbook : Handbook
        The published tables.
    """

    plan: Plan
    handbook: Handbook

    def ls(self, slope_pct: Floats, length_m: Floats, total_m: Floats) -> Floats:
        """Give LS of a piece of slope, as the assessment does.

        Parameters
        ----------
        slope_pct : numpy.ndarray
            Slopes [%].
        length_m : numpy.ndarray
            Length of the piece, level [m].
        total_m : numpy.ndarray
            From where water starts to run to the lower edge of the piece, at least its length [m].

        Returns
        -------
        numpy.ndarray
            LS, no unit.
        """
        below_m = np.minimum(total_m, self.plan.erosion.slope_length_cap_m)
        above_m = np.maximum(below_m - length_m, 0)
        return ls.ls_between(slope_pct, above_m, below_m, ls.constants(self.handbook))

    def contour_p(self, slope_pct: Floats, length_m: Floats) -> Floats:
        """Give P of ridged rows on the contour; 1 beyond the length or slope that it holds for.

        Parameters
        ----------
        slope_pct : numpy.ndarray
            Slopes [%].
        length_m : numpy.ndarray
            Slope lengths that rows lie on [m].

        Returns
        -------
        numpy.ndarray
            P, no unit.
        """
        author = cover.of_plan(self.plan.soil, self.handbook).author
        p, length_max_m = contour_p_by_author(author, slope_pct, self.handbook)
        # NaN where there is no class: not longer than any limit.
        return np.where(length_m > length_max_m, NO_CREDIT, p)
