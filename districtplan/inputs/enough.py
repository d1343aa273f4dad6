"""How much is enough, with a stated chance.

What a buying point will need is the sum of U_i A_i over its plots: A_i what plot i needs, off by
the relative error r_i of its area; U_i whether it is planted, with the season's uptake u as its
chance, alike for all. Of u are given a low, a usual and a high value: it is taken as triangular
between them. Given u, the sum has the mean u S and the variance u (Q + P) - u² Q, S = sum A,
Q = sum A², P = sum A² r². Demonstration plots are planted whatever the uptake: theirs is 1. The sum
is taken as normal; its quantile over all u is found by halving. Of few plots the normal has a tail
beyond all of them: never more is enough than with all planted, which is S and its errors alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.plan import Enrolment

    Floats = NDArray[np.float64]

NODES = 64
"""Values of the uptake that stand for all."""
HALVINGS = 60
FAR = 8
"""Standard deviations beyond which nothing lies."""


@dataclass(frozen=True)
class Enough:
    """What is enough, and why it isn't less.

    Attributes
    ----------
    amount_g : numpy.ndarray
        Enough with the chance asked for, shape (points,) [g].
    outline_share : numpy.ndarray
        Share of the variance that comes from errors of outlines, the rest from uptake; NaN where
        nothing is needed, shape (points,) [1].
    """

    amount_g: NDArray[np.int64]
    outline_share: Floats

    @property
    def dominates(self) -> list[str]:
        """Which of the two makes the order unsure.

        Returns
        -------
        list[str]
            ``outlines``, ``uptake`` or, where nothing is needed, ``nothing``.
        """
        return [
            "nothing" if np.isnan(share) else "outlines" if share > 1 / 2 else "uptake"
            for share in self.outline_share
        ]


def enough(
    need_g: Floats,
    error_share: Floats,
    point: NDArray[np.intp],
    seasons: Enrolment,
    chance: float,
    certain: NDArray[np.bool_],
) -> Enough:
    """Find what is enough for each buying point.

    Parameters
    ----------
    need_g : numpy.ndarray
        What each plot needs if it is planted, shape (plots,) [g].
    error_share : numpy.ndarray
        Relative standard error of its area, shape (plots,) [1].
    point : numpy.ndarray
        Number of its buying point, from 0, shape (plots,).
    seasons : Enrolment
        Low, usual and high uptake.
    chance : float
        Chance that it is to be enough [1].
    certain : numpy.ndarray
        Whether the plot is planted whatever the uptake, as demonstration plots are, shape (plots,).

    Returns
    -------
    Enough
        One amount a buying point.
    """
    count = int(point.max()) + 1 if len(point) else 0
    total = np.bincount(point, need_g, count)
    unsure = np.where(certain, 0.0, need_g)
    taken, square = np.bincount(point, unsure, count), np.bincount(point, unsure**2, count)
    wide = np.bincount(point, (need_g * error_share) ** 2, count)
    sure_wide = np.bincount(point, ((need_g - unsure) * error_share) ** 2, count)
    uptake = _uptake(seasons)[:, None]
    mean = uptake * taken + (total - taken)
    spread = uptake * (square + wide - sure_wide) - uptake**2 * square + sure_wide
    sd = np.sqrt(np.maximum(spread, 0.0))
    low, high = np.zeros(count), total + FAR * np.sqrt(square + wide)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        with np.errstate(divide="ignore", invalid="ignore"):
            # Where nothing is unsure, the mean itself is enough.
            z = np.where(sd > 0, (middle - mean) / sd, np.where(middle >= mean, np.inf, -np.inf))
        held = special.ndtr(z).mean(axis=0) >= chance
        low, high = np.where(held, low, middle), np.where(held, middle, high)
    high = np.minimum(high, total + special.ndtri(chance) * np.sqrt(wide))
    outline = uptake.mean() * (wide - sure_wide) + sure_wide
    other = (uptake.mean() - (uptake**2).mean()) * square + uptake.var() * taken**2
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(total > 0, outline / (outline + other), np.nan)
    # Halving leaves less than a thousandth of a gram.
    return Enough(np.ceil(np.round(high, 3)).astype(np.int64), share)


def _uptake(seasons: Enrolment) -> Floats:
    """Give uptakes of equal chance, from low to high."""
    low, usual, high = (
        seasons.uptake_low_share,
        seasons.uptake_usual_share,
        seasons.uptake_high_share,
    )
    if low == high:
        return np.full(NODES, usual)
    chances = (np.arange(NODES) + 0.5) / NODES
    # Takes as long to import as all else.
    from scipy import stats

    found: Floats = stats.triang.ppf(chances, (usual - low) / (high - low), low, high - low)
    return found
