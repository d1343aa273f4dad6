"""What share of a plot's loss each measure leaves, and the tonnes that follow.

A measure never raises the loss: where what stands there already holds back more, the share is 1.
A structure with a P takes the place of the one there, and is never multiplied with it. A ditch or
bund cuts the slope to its spacing; the P of sediment that leaves terraced land (AH-537, Table 15)
is not that of the field and isn't used.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.conservation.catalogue import Measure
    from districtplan.conservation.land import Land
    from districtplan.conservation.spacing import Spacing
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]

WHOLE = 1.0
"""Share left where nothing is held back."""


class Equations(Protocol):
    """What is asked of the equations of soil loss; the erosion stage has them."""

    def ls(self, slope_pct: Floats, length_m: Floats, total_m: Floats) -> Floats:
        """Give LS of a piece of slope.

        Parameters
        ----------
        slope_pct : numpy.ndarray
            Slopes [%].
        length_m : numpy.ndarray
            Length of the piece [m].
        total_m : numpy.ndarray
            From where water starts to run to its lower edge [m].

        Returns
        -------
        numpy.ndarray
            LS, no unit.
        """

    def contour_p(self, slope_pct: Floats, length_m: Floats) -> Floats:
        """Give P of ridged rows on the contour.

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


@dataclass(frozen=True)
class Range:
    """Low, likely and high.

    Attributes
    ----------
    low, likely, high : numpy.ndarray
        One value a plot.
    """

    low: Floats
    likely: Floats
    high: Floats


def share_left(
    measure: Measure,
    land: Land,
    apart: Spacing | None,
    equations: Equations,
    plan: Plan,
    handbook: Handbook,
) -> Range:
    """Give the share of the loss now that a measure leaves.

    Beyond the equations a cut slope is compared at their steepest slope.

    Parameters
    ----------
    measure : Measure
        The measure.
    land : Land
        The plots.
    apart : Spacing | None
        How far apart its lines lie; its least and most give low and high of a cut slope.
    equations : Equations
        LS and P of rows on the contour.
    plan : Plan
        Its limit of the equations.
    handbook : Handbook
        P of structures and C of covers.

    Returns
    -------
    Range
        Shares, above 0 and at most 1; NaN where what is lost now isn't known in full.
    """
    if measure.effect == "contour":
        return _same(_contour(land, equations))
    if measure.effect == "factor":
        return _ratio(_factors(measure, "structures_now", "p", handbook), land.structure_p)
    if measure.effect == "cover":
        return _ratio(_factors(measure, "cover_factors", "c", handbook), land.c)
    if measure.effect == "run_on":
        slope = _within(land, plan)
        without = equations.ls(slope, land.length_m, land.length_m)
        return _same(_of(without, _ls_now(land, slope, equations)))
    if measure.effect == "length" and apart is not None:
        slope = _within(land, plan)
        now = _ls_now(land, slope, equations)
        pieces = (
            np.minimum(land.length_m, m) for m in (apart.least_m, apart.apart_m, apart.most_m)
        )
        return Range(*(_of(equations.ls(slope, piece, piece), now) for piece in pieces))
    return _same(np.full(len(land.used_pct), WHOLE))


def _same(share: Floats) -> Range:
    return Range(share, share, share)


def _of(then: Floats, now: Floats) -> Floats:
    # NaN stays NaN: a loss that isn't known isn't lowered by a known share.
    return np.minimum(then / now, WHOLE)


def _ratio(factors: tuple[float, float, float], now: Floats) -> Range:
    return Range(*(_of(np.full_like(now, factor), now) for factor in factors))


def _factors(
    measure: Measure, table: str, factor: str, handbook: Handbook
) -> tuple[float, float, float]:
    rows = handbook.rows(table)
    low, likely, high = (rows[rows["name"] == name].iloc[0] for name in measure.rows_of)
    middle = np.sqrt(float(likely[f"{factor}_low"]) * float(likely[f"{factor}_high"]))
    return float(low[f"{factor}_low"]), float(middle), float(high[f"{factor}_high"])


def _contour(land: Land, equations: Equations) -> Floats:
    length = np.where(np.isnan(land.cut_to_m), land.total_m, land.cut_to_m)
    rows_now = np.nan_to_num(land.p_now / land.structure_p, nan=WHOLE)
    return _of(equations.contour_p(land.used_pct, length), rows_now)


def _within(land: Land, plan: Plan) -> Floats:
    return np.minimum(land.used_pct, plan.erosion.equations_slope_max_pct)


def _ls_now(land: Land, slope: Floats, equations: Equations) -> Floats:
    whole = equations.ls(slope, land.length_m, land.total_m)
    return np.where(np.isnan(land.ls_now), whole, land.ls_now)


def loss_after(loss: Range, left: Range) -> Range:
    """Give the loss that a measure leaves, with the spread of both.

    The loss now and the effect are independent, and their logarithms taken as normal: half widths
    add as squares. So no end rises above that of the loss now.

    Parameters
    ----------
    loss : Range
        Loss now [t/(ha yr)].
    left : Range
        Share that the measure leaves.

    Returns
    -------
    Range
        Loss [t/(ha yr)], NaN where there is none now.
    """
    likely = loss.likely * left.likely
    with np.errstate(divide="ignore", invalid="ignore"):
        up = np.hypot(np.log(loss.high / loss.likely), np.log(left.high / left.likely))
        down = np.hypot(np.log(loss.likely / loss.low), np.log(left.likely / left.low))
    return Range(likely * np.exp(-down), likely, likely * np.exp(up))
