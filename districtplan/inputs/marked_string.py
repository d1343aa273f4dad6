"""One string and one stick that carry the practice's numbers into the field.

The string is laid along a row, again and again, each time from where it ended. It has a mark at
every hole; a mark of another colour wherever one level cap of fertiliser is to go, and another for
a measure of manure. The stick is as long as rows are apart. A metre of row takes

    rate [kg/ha] x row spacing [m] / 10 = grams a metre,

so a cap of c grams is for c over that many metres: 6 g at 100 kg/ha and 50 cm are for 1.2 m, or 12
holes. Each mark stands in the middle of the holes that its measure is for. Thus a row that ends
between two marks gets as often too much as too little, and no more off than half a measure.

A string laid end to end keeps its marks in step only if they come round with it: so it is knotted
where they do, or all but do, and not at its full length.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from districtplan.errors import Fault, InputError
from districtplan.inputs.need import grams_a_metre, seeds_per_hole

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import ArrayLike, NDArray

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

TABLE = "marked_string"
MEASURES = {"npk": "cap_npk_g", "urea": "cap_urea_g", "manure": "handful_manure_g"}
"""What is measured out along a row, and the plan's key for the weight of a measure."""
DUST = 1e-6
"""Share of a distance below which a row that ends at a mark has the mark, or a number is whole."""
SAME_DECIMALS = 9
"""Decimals of a share to which two lengths of string are as good as each other."""
PERCENT_DECIMALS = 6
"""Decimals of a percentage, so that a string that fits exactly is off by 0."""


@dataclass(frozen=True)
class Marks:
    """Marks for one good.

    Attributes
    ----------
    good : str
        ``npk``, ``urea`` or ``manure``.
    measure_g : float
        Weight of one level measure [g].
    measures : int
        Measures at each mark.
    holes : int
        Holes that a mark is for.
    every_m : float
        From mark to mark; the first stands half of it from the string's start [m].
    on_string : int
        Marks on the string.
    at_planting : bool
        Whether it is given with the seed; else at the first weeding.
    error_pct : float
        How much more than the plan's rate the string gives, by rounding to whole holes and whole
        marks; less where negative [%].
    """

    good: str
    measure_g: float
    measures: int
    holes: int
    every_m: float
    on_string: int
    at_planting: bool
    error_pct: float


@dataclass(frozen=True)
class MarkedString:
    """The recipe for the string and the stick.

    Attributes
    ----------
    string_m : float
        From knot to knot [m].
    holes : int
        Marks for holes.
    hole_m : float
        From hole to hole; the first stands half of it from the string's start [m].
    stick_m : float
        Length of the stick: from a row of beans to the next [m].
    seeds_per_hole : int
        Seeds in a hole.
    marks : tuple[Marks, ...]
        Marks for goods that have both a rate and a weighed measure.
    not_weighed : tuple[str, ...]
        Goods with a rate, but no weighed measure and so no marks.
    """

    string_m: float
    holes: int
    hole_m: float
    stick_m: float
    seeds_per_hole: int
    marks: tuple[Marks, ...]
    not_weighed: tuple[str, ...]


@dataclass(frozen=True)
class Laid:
    """What a string gives over rows.

    Attributes
    ----------
    holes : int
        Holes, at least one a row.
    seeds : int
        Seeds in them.
    measures : dict[str, int]
        Level measures by good.
    grams : dict[str, float]
        Their weight by good [g].
    """

    holes: int
    seeds: int
    measures: dict[str, int]
    grams: dict[str, float]


@dataclass(frozen=True)
class _Wanted:
    """A good that is to be marked: holes that one measure is for, not yet whole, and when."""

    good: str
    measure_g: float
    holes: float
    at_planting: bool


@dataclass(frozen=True)
class _Period:
    """A good's marks: so many measures for so many holes."""

    wanted: _Wanted
    measures: int
    holes: int

    def count(self, holes: int) -> int:
        """Count the marks among the first holes."""
        return (2 * holes + self.holes) // (2 * self.holes)

    def error(self, holes: int) -> float:
        """Give the excess over the plan's rate on a string of so many holes [1]."""
        return self.count(holes) * self.measures * self.wanted.holes / holes - 1


def marked_string(plan: Plan, handbook: Handbook) -> MarkedString:
    """Work out how to mark the string.

    Parameters
    ----------
    plan : Plan
        Its practice, and the weighed measures.
    handbook : Handbook
        Limits of rounding (table ``marked_string``).

    Returns
    -------
    MarkedString
        The recipe.

    Raises
    ------
    InputError
        If a measure is too large for the string, or too small to be counted; or if the string
        is shorter than the way from peg to peg.
    """
    practice = plan.practice
    hole_m = practice.hole_spacing_cm / 100
    most = int(np.floor(plan.string.string_m / hole_m + DUST))
    wanted, faults = [], list(_too_short(plan))
    for good, key in MEASURES.items():
        rate, measure_g = grams_a_metre(plan, good), getattr(plan.string, key)
        if rate is None or measure_g is None:
            continue
        later = good == "urea" and plan.fertiliser.urea_time != "planting"
        one = _Wanted(good, measure_g, measure_g / (rate * hole_m), not later)
        wanted.append(one)
        faults += list(_faults(one, most, plan, handbook))
    if faults:
        raise InputError(*faults)
    periods = [_period(one, handbook) for one in wanted]
    least = handbook.number(TABLE, "string_share_min")
    holes = _knot(periods, max(int(np.ceil(least * most - DUST)), 1), most)
    return MarkedString(
        string_m=holes * hole_m,
        holes=holes,
        hole_m=hole_m,
        stick_m=practice.bean_row_step_cm / 100,
        seeds_per_hole=seeds_per_hole(plan, handbook),
        marks=tuple(_marks(period, holes, hole_m) for period in periods),
        not_weighed=tuple(
            good
            for good, key in MEASURES.items()
            if getattr(practice, f"{good}_kg_ha") is not None and getattr(plan.string, key) is None
        ),
    )


def walk_string(string: MarkedString, rows_m: ArrayLike) -> Laid:
    """Lay the string along rows, mark by mark.

    Parameters
    ----------
    string : MarkedString
        The string.
    rows_m : numpy.typing.ArrayLike
        Lengths of the unbroken rows on the ground, shape (rows,) [m].

    Returns
    -------
    Laid
        What is planted and spread; holes as the rows stage counts them,
        ``max(1, floor(length / spacing + 0.5))`` a row.
    """
    rows = np.asarray(rows_m, dtype=np.float64)
    times = np.floor(rows / string.string_m + DUST).astype(np.int64)
    rest = np.maximum(rows - times * string.string_m, 0.0)
    holes = np.maximum(times * string.holes + _passed(rest, string.hole_m), 1)
    measures = {
        mark.good: int((times * mark.on_string + _passed(rest, mark.every_m)).sum() * mark.measures)
        for mark in string.marks
    }
    total = int(holes.sum())
    return Laid(
        total,
        total * string.seeds_per_hole,
        measures,
        {mark.good: measures[mark.good] * mark.measure_g for mark in string.marks},
    )


def _passed(rest_m: NDArray[np.float64], every_m: float) -> NDArray[np.int64]:
    """Count marks at half a distance, one and a half, ... along what is left of a row."""
    return np.floor(rest_m / every_m + (0.5 + DUST)).astype(np.int64)


def _too_short(plan: Plan) -> Iterator[Fault]:
    """Refuse pegs that the string doesn't reach: the step aside is made with it."""
    step_m, string_m = plan.rows.peg_step_m, plan.string.string_m
    if step_m > string_m:
        yield Fault(
            "plan file",
            f"rows.peg_step_m = {step_m:g} is more than string.string_m = {string_m:g}: the string "
            "would not reach from peg to peg",
            "Set pegs closer or use a longer string",
        )


def _faults(one: _Wanted, most: int, plan: Plan, handbook: Handbook) -> Iterator[Fault]:
    key = f"string.{MEASURES[one.good]}"
    if round(one.holes) > most:
        reach_m = one.holes * plan.practice.hole_spacing_cm / 100
        yield Fault(
            "plan file",
            f"{key} = {one.measure_g:g} is for {reach_m:.1f} m of row, "
            f"more than string_m = {plan.string.string_m:g}",
            "Use a smaller measure or a longer string",
        )
    elif 1 / one.holes > handbook.number(TABLE, "measures_max") + 0.5:
        yield Fault(
            "plan file",
            f"{key} = {one.measure_g:g} would be needed {1 / one.holes:.1f} times at each hole",
            "Use a larger measure, or check the rate",
        )


def _period(one: _Wanted, handbook: Handbook) -> _Period:
    """Choose whole holes for whole measures: the fewest measures that keep close to the rate."""
    close = handbook.number(TABLE, "rounding_max_pct") / 100
    tried = []
    for measures in range(1, round(handbook.number(TABLE, "measures_max")) + 1):
        holes = max(int(np.floor(measures * one.holes + 0.5)), 1)
        error = abs(measures * one.holes / holes - 1)
        if error <= close:
            return _Period(one, measures, holes)
        tried.append((error, measures, holes))
    _, measures, holes = min(tried)
    return _Period(one, measures, holes)


def _knot(periods: list[_Period], least: int, most: int) -> int:
    """Choose the string's length in holes: its marks closest to the rates, then the longest."""
    worst = {
        holes: round(
            max((abs(period.error(holes)) for period in periods), default=0.0), SAME_DECIMALS
        )
        for holes in range(least, most + 1)
    }
    return min(worst, key=lambda holes: (worst[holes], -holes))


def _marks(period: _Period, holes: int, hole_m: float) -> Marks:
    return Marks(
        period.wanted.good,
        period.wanted.measure_g,
        period.measures,
        period.holes,
        period.holes * hole_m,
        period.count(holes),
        period.wanted.at_planting,
        # Adding 0 makes 0 of -0.
        round(100 * period.error(holes), PERCENT_DECIMALS) + 0.0,
    )
