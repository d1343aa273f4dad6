"""Steps between pegs of arcs, and how many rows share the gap from a guide line to the next.

Between two lines n spaces divide the gap evenly, so n - 1 rows lie between them. Where a space
would be wider than a limit a short row starts, where it would be narrower than another one ends.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan.rows import sag

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]

TABLE = "guide_line_limits"
STRING = 12
"""A string across an arc of radius R over a step s errs by G s / (R √12) in the mean square."""


class Spaces(NamedTuple):
    """How wide spaces between rows may be, on the ground.

    Attributes
    ----------
    usual_m : float
        The spacing that is asked for [m].
    least_m : float
        Narrower spaces end a row [m].
    most_m : float
        Wider spaces start a row [m].
    """

    usual_m: float
    least_m: float
    most_m: float


def spaces(plan: Plan, handbook: Handbook) -> Spaces:
    """Gather how wide spaces between rows may be.

    Parameters
    ----------
    plan : Plan
        Its row spacing: where it asks for another one, the limits move with it.
    handbook : Handbook
        The usual spacing (table ``practice``) and its limits (table ``guide_line_limits``).

    Returns
    -------
    Spaces
        The spaces.
    """
    spacing = plan.practice.row_spacing_cm / 100
    usual = handbook.number("practice", "row_spacing_cm") / 100
    of = handbook.numbers(TABLE)
    return Spaces(
        spacing,
        of["row_gap_least_cm"] / 100 * spacing / usual,
        of["row_gap_most_cm"] / 100 * spacing / usual,
    )


def string_step(radius: float, slope: float, grade: float, longest: float) -> float:
    """Say how far apart pegs of an arc stand, rows running straight between them.

    Parameters
    ----------
    radius : float
        Radius of the arc [m].
    slope : float
        Slope of the land [1].
    grade : float
        Root mean square grade that straight strings may add [1].
    longest : float
        Longest step [m].

    Returns
    -------
    float
        The step [m].
    """
    if slope == 0:
        return longest
    return float(np.clip(np.sqrt(STRING) * grade * radius / slope, sag.STEP_M, longest))


def share(gaps: Floats, spaces: Spaces) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Divide a gap into rows, peg by peg.

    Parameters
    ----------
    gaps : numpy.ndarray
        Width of the gap on the ground at each peg, NaN where it has none: the rows go on as they
        are; shape (pegs,) [m].
    spaces : Spaces
        How wide spaces may be.

    Returns
    -------
    rows : numpy.ndarray
        Rows between the lines from each peg on, shape (pegs,).
    change : numpy.ndarray
        Short rows that start there, or end where below 0; 0 at the first peg, shape (pegs,).
    """
    known = gaps[~np.isnan(gaps)]
    if not len(known):
        none = np.zeros(len(gaps), dtype=np.int64)
        return none, none
    # Of all numbers to start with, the one that comes nearest to the usual spacing all along.
    least, most = (int(known[0] / wide) for wide in (spaces.most_m, spaces.least_m))
    usual = known.sum() / spaces.usual_m
    tried = [_spaces(gaps, first, spaces) for first in range(max(least, 1), max(most, 1) + 1)]
    rows = min(tried, key=lambda some: abs(some[~np.isnan(gaps)].sum() - usual)) - 1
    return rows, np.diff(rows, prepend=rows[:1])


def _spaces(gaps: Floats, count: int, spaces: Spaces) -> NDArray[np.int64]:
    """Divide a gap into spaces, peg by peg, from a number of them on."""
    found = []
    for gap in gaps.tolist():
        if gap > count * spaces.most_m:
            count = max(int(np.ceil(gap / spaces.most_m)), 1)
        elif gap < count * spaces.least_m:
            count = max(int(np.floor(gap / spaces.least_m)), 1)
        found.append(count)
    return np.array(found, dtype=np.int64)
