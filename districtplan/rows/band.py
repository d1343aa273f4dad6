"""Which rows follow one another: beans alone, or a repeating band of maize and beans."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from districtplan.plan import Plan


@dataclass(frozen=True)
class Family:
    """Parallel rows of one crop, evenly spaced.

    Attributes
    ----------
    crop : str
        ``beans`` or ``maize``.
    first_m : float
        From the edge of the land to the first row, on the ground [m].
    spacing_m : float
        From row to row of this family, on the ground [m].
    hole_m : float
        From hole to hole [m].
    """

    crop: str
    first_m: float
    spacing_m: float
    hole_m: float


def families(plan: Plan) -> list[Family]:
    """List the families of rows of a plan.

    A band starts with a row of maize; the bean rows between this and the next are families of
    their own, each as far apart as the maize rows.

    Parameters
    ----------
    plan : Plan
        Its sections ``practice`` and ``rows``.

    Returns
    -------
    list[Family]
        The families, in the order of their first rows.
    """
    practice = plan.practice
    hole = practice.hole_spacing_cm / 100
    if practice.maize_bean_rows is None:
        spacing = practice.row_spacing_cm / 100
        return [Family("beans", _first(plan, spacing), spacing, hole)]
    width, aside = practice.maize_row_spacing_cm / 100, practice.bean_beside_maize_cm / 100
    first = _first(plan, aside)
    maize = Family("maize", first, width, practice.maize_hole_spacing_cm / 100)
    apart = practice.bean_row_step_cm / 100
    beans = [
        Family("beans", first + aside + place * apart, width, hole)
        for place in range(practice.maize_bean_rows)
    ]
    return [maize, *beans]


def _first(plan: Plan, gap_m: float) -> float:
    given = plan.rows.first_row_offset_cm
    return gap_m / 2 if given is None else given / 100
