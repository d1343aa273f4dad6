"""Cover factor C: as given, or by crop from one author's table, less what mulch holds back."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from districtplan.handbook import Handbook
    from districtplan.plan import Soil

TABLE = "cover_factors"


@dataclass(frozen=True)
class Cover:
    """Cover factor of the district.

    Attributes
    ----------
    c : float | None
        C, no unit; None where the plan gives none.
    spread_factor : float
        C may be larger or smaller by this factor, 19 times in 20.
    author : str | None
        Whose table it is from, and whose P goes with it; None where C is as given.
    """

    c: float | None
    spread_factor: float
    author: str | None = None


def mulched(c: float, cover_pct: float, handbook: Handbook) -> float:
    """Take off what mulch holds back: ``C exp(-b cover)`` [1]_.

    Parameters
    ----------
    c : float
        C without mulch, no unit.
    cover_pct : float
        Share of the ground that mulch covers [%].
    handbook : Handbook
        The published tables.

    Returns
    -------
    float
        C under mulch, no unit.

    References
    ----------
    .. [1] Wischmeier, W.H., Smith, D.D. (1978). Predicting rainfall erosion losses. USDA
       Agriculture Handbook 537, fig. 6.
    """
    return c * math.exp(-handbook.number("practice_factors", "mulch_rate") * cover_pct)


def of_plan(soil: Soil, handbook: Handbook) -> Cover:
    """Take C as the plan gives it, or by the crop that it names.

    Parameters
    ----------
    soil : Soil
        The plan's section.
    handbook : Handbook
        The published tables.

    Returns
    -------
    Cover
        C, its spread and its author.
    """
    given = handbook.number("loss_spread", "cover_given_factor")
    found = Cover(soil.cover_factor, given)
    if soil.cover is not None:
        rows = handbook.rows(TABLE)
        row = rows[rows["name"] == soil.cover].iloc[0]
        low, high = float(row["c_low"]), float(row["c_high"])
        # A single printed value is no surer than one that is given.
        spread = max(math.sqrt(high / low), given)
        found = Cover(math.sqrt(low * high), spread, str(row["author"]))
    if found.c is None or soil.mulch_cover_pct is None:
        return found
    return Cover(
        mulched(found.c, soil.mulch_cover_pct, handbook), found.spread_factor, found.author
    )
