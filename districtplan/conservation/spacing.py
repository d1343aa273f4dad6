"""How far apart the lines of a measure lie on each plot, by the rules that are common for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from districtplan.intervals import horizontal_m

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.conservation.catalogue import Measure
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]

BENCH = "bench"
SAME_M = 0.05
"""Two rules that differ by less than is printed are alike."""


@dataclass(frozen=True)
class Spacing:
    """From one line of a measure to the next below, on the map.

    Attributes
    ----------
    rule, other_rule : str
        The rule that counts, and another that is common for the measure, empty where there is
        none.
    apart_m, other_m : numpy.ndarray
        By each of them; the other is NaN where they are alike [m].
    least_m, most_m : numpy.ndarray
        Over all rules that are common for the measure [m].
    """

    rule: str
    other_rule: str
    apart_m: Floats
    other_m: Floats
    least_m: Floats
    most_m: Floats


@dataclass(frozen=True)
class Bench:
    """Bench terraces on each slope [1]_.

    Attributes
    ----------
    vertical_m : numpy.ndarray
        ``VI = S Wb / (100 - S U)``, from bench to bench [m]; infinite where risers would meet.
    riser_m : numpy.ndarray
        Width of the riser, ``VI U`` [m].
    whole_m : numpy.ndarray
        Bench and riser [m]; also 100 VI / S.
    cut_m3_m : numpy.ndarray
        Earth cut a metre of a level bench, ``Wb VI / 8``, as recalled [m³/m].
    cut_depth_m : numpy.ndarray
        How deep a level bench is cut at the foot of its riser, ``S Wb / 200`` [m].

    References
    ----------
    .. [1] FAO. Watershed management field manual: slope treatment measures and practices.
       Conservation Guide 13/3.
    """

    vertical_m: Floats
    riser_m: Floats
    whole_m: Floats
    cut_m3_m: Floats
    cut_depth_m: Floats


def bench(slope_pct: Floats, width_m: float, riser_run: float) -> Bench:
    """Lay out bench terraces.

    Parameters
    ----------
    slope_pct : numpy.ndarray
        Slopes S [%].
    width_m : float
        Width of the level part, Wb [m].
    riser_run : float
        Run of the riser over its rise, U.

    Returns
    -------
    Bench
        Their measures.
    """
    left = 100 - slope_pct * riser_run
    with np.errstate(divide="ignore"):
        vertical = np.where(left > 0, slope_pct * width_m / np.maximum(left, 0), np.inf)
    riser = vertical * riser_run
    cut_m3_m, cut_depth_m = width_m * vertical / 8, slope_pct / 100 * width_m / 2
    return Bench(vertical, riser, width_m + riser, cut_m3_m, cut_depth_m)


def bench_of(measure: Measure, slope_pct: Floats, plan: Plan) -> Bench:
    """Lay out bench terraces as the plan and the handbook have them.

    Parameters
    ----------
    measure : Measure
        The measure, with the run of its risers.
    slope_pct : numpy.ndarray
        Slopes [%].
    plan : Plan
        Its width of a bench.

    Returns
    -------
    Bench
        Their measures.
    """
    return bench(slope_pct, plan.conservation.bench_width_m, measure.number("riser_run"))


def spacing(measure: Measure, slope_pct: Floats, plan: Plan, handbook: Handbook) -> Spacing | None:
    """Space the lines of a measure.

    Parameters
    ----------
    measure : Measure
        The measure.
    slope_pct : numpy.ndarray
        Slopes [%].
    plan : Plan
        Its rule, which counts for the measures that it is common for.
    handbook : Handbook
        The rules.

    Returns
    -------
    Spacing | None
        Their distances; None where the measure is no set of lines.
    """
    rules = measure.spacing_rules
    if not rules:
        return None
    widest = measure.number("spacing_high_m", np.inf)
    by_rule = {
        rule: np.minimum(
            bench_of(measure, slope_pct, plan).whole_m
            if rule == BENCH
            else horizontal_m(rule, slope_pct, handbook),
            widest,
        )
        for rule in rules
    }
    wanted = plan.conservation.spacing_rule
    rule = wanted if wanted in by_rule else rules[0]
    other = next((name for name in rules if name != rule), "")
    apart = by_rule[rule]
    beside = by_rule.get(other, np.full_like(apart, np.nan))
    with np.errstate(invalid="ignore"):  # both are infinite on level land
        alike = (beside == apart) | (np.abs(beside - apart) < SAME_M)
    every = np.stack(list(by_rule.values()))
    return Spacing(
        rule, other, apart, np.where(alike, np.nan, beside), every.min(axis=0), every.max(axis=0)
    )


def vertical_m(apart: Floats, slope_pct: Floats) -> Floats:
    """Give how much lower the next line lies.

    Parameters
    ----------
    apart : numpy.ndarray
        Distance on the map [m].
    slope_pct : numpy.ndarray
        Slopes [%].

    Returns
    -------
    numpy.ndarray
        VI [m].
    """
    return np.asarray(apart * slope_pct / 100, dtype=np.float64)
