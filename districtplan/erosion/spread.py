"""How far a plot's soil loss may be off, and how sure its rank is.

The logarithm of the loss is taken as normal. Errors of its factors are independent, so variances
add. They come in two kinds:

* *shared*: rain, cover and the choice of a steepness equation, and the soil where one value stands
  for the district, move all plots alike. They widen the spread and leave ranks as they are.
* *own*: the slope, and the soil where villages have their own, move one plot against another.

The chance that a plot is among the worst goes by its own error alone. All is in closed form; no
number is drawn at random.
"""

from __future__ import annotations

from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr

from districtplan.erosion import ls

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.handbook import Handbook

    Floats = NDArray[np.float64]

NINETEEN_IN_TWENTY = NormalDist().inv_cdf(0.975)
"""Standard errors that a normal error keeps within, 19 times in 20."""
HALVINGS = 100
"""More than the digits of a double: the threshold is found as well as it can be told."""
FAR = 10
"""No chance is left beyond so many standard errors."""
LEAST_ERROR = 1e-9
"""Own errors of the logarithm are at least this, so that equal plots share a place."""


def of_factor(factor: float) -> float:
    """Turn a factor of error into a standard error of the logarithm.

    Parameters
    ----------
    factor : float
        The value may be larger or smaller by this factor, 19 times in 20; at least 1.

    Returns
    -------
    float
        Standard error of the natural logarithm.
    """
    return float(np.log(factor)) / NINETEEN_IN_TWENTY


def of_equations(slope_pct: Floats, handbook: Handbook) -> Floats:
    """Give the standard error that the choice of a steepness equation leaves.

    Three published equations are few: half the range of their logarithms is taken as one standard
    error, so that about two in three equations would lie within.

    Parameters
    ----------
    slope_pct : numpy.ndarray
        Slopes [%].
    handbook : Handbook
        The published tables.

    Returns
    -------
    numpy.ndarray
        Standard error of ln S.
    """
    mccool = ls.steepness(slope_pct, ls.constants(handbook))
    nearing, liu = ls.steepness_others(slope_pct, handbook)
    # An equation says nothing where it doesn't reach, or turns negative.
    known = np.stack([np.where(other > 0, other, mccool) for other in (mccool, nearing, liu)])
    return np.asarray(np.log(known.max(axis=0) / known.min(axis=0)) / 2, dtype=np.float64)


def interval(likely: Floats, error: Floats, handbook: Handbook) -> tuple[Floats, Floats]:
    """Give the low and the high end of a loss.

    Parameters
    ----------
    likely : numpy.ndarray
        Likely loss, the median [t/(ha yr)].
    error : numpy.ndarray
        Standard error of its logarithm.
    handbook : Handbook
        The published tables.

    Returns
    -------
    low : numpy.ndarray
        Low end [t/(ha yr)].
    high : numpy.ndarray
        High end [t/(ha yr)].
    """
    share = handbook.number("loss_spread", "interval_share")
    reach = np.exp(NormalDist().inv_cdf((1 + share) / 2) * error)
    return likely / reach, likely * reach


def chance_among_worst(likely: Floats, own_error: Floats, share: float) -> Floats:
    """Give the chance that each plot is among the worst.

    The chance is ``Φ((ln A - t) / s)`` with the threshold t such that chances add up to the share
    of plots, at least one plot: exact for many plots, where the threshold hardly moves.

    Parameters
    ----------
    likely : numpy.ndarray
        Likely losses, above 0; NaN where there is none.
    own_error : numpy.ndarray
        Standard errors of the logarithm that are the plot's own.
    share : float
        Share of plots that are the worst.

    Returns
    -------
    numpy.ndarray
        Chances, 0 to 1; NaN without a loss.
    """
    chance = np.full(likely.shape, np.nan)
    known = likely > 0
    if not known.any():
        return chance
    middle, error = np.log(likely[known]), np.maximum(own_error[known], LEAST_ERROR)
    wanted = min(max(share * len(middle), 1.0), float(len(middle)))
    if wanted == len(middle):
        chance[known] = 1.0
        return chance
    far = FAR * error.max()
    low, high = float(middle.min() - far), float(middle.max() + far)
    for _ in range(HALVINGS):
        at = (low + high) / 2
        if ndtr((middle - at) / error).sum() > wanted:
            low = at
        else:
            high = at
        if not low < (low + high) / 2 < high:
            break
    chance[known] = ndtr((middle - (low + high) / 2) / error)
    return chance
