"""Sums, percentiles and maxima over the cells of each plot, weighted by coverage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.coverage import Cells
    from districtplan.terrain.gradient import Ground

    Floats = NDArray[np.float64]

SLOPE_BITS = 31
WEIGHT_BITS = 20
PERCENTILE = (9, 10)
"""Nine tenths, as whole numbers, so that a tie is decided exactly."""
HALF = 0.5


@dataclass(frozen=True)
class Statistics:
    """What the cells of each plot say, shape (plots,) each; slopes and gradients as fractions.

    Attributes
    ----------
    covered : numpy.ndarray
        Coverage of all cells touched [cells].
    cells : numpy.ndarray
        Coverage of the cells that have a gradient [cells].
    row_mean : numpy.ndarray
        Row of the grid around which the plot lies.
    elevation : numpy.ndarray
        Mean elevation [m].
    slope_mean : numpy.ndarray
        Mean slope [1].
    slope_p90 : numpy.ndarray
        Smallest slope with at least nine tenths of the coverage at or below it [1].
    slope_max : numpy.ndarray
        Steepest cell at least half covered, or of all touched where there is none [1].
    east : numpy.ndarray
        Mean gradient towards the grid's east [1].
    north : numpy.ndarray
        Mean gradient towards the grid's north [1].
    east_east : numpy.ndarray
        Mean of the squared east gradient [1].
    east_north : numpy.ndarray
        Mean of the product of both [1].
    north_north : numpy.ndarray
        Mean of the squared north gradient [1].
    uphill_share : numpy.ndarray
        Share of the coverage that falls to the commoner side of the steepest axis, 0.5 to 1.
    """

    covered: Floats
    cells: Floats
    row_mean: Floats
    elevation: Floats
    slope_mean: Floats
    slope_p90: Floats
    slope_max: Floats
    east: Floats
    north: Floats
    east_east: Floats
    east_north: Floats
    north_north: Floats
    uphill_share: Floats


def summarise(cells: Cells, ground: Ground) -> Statistics:
    """Summarise the cells of each plot; a plot without any gradient gets NaN.

    Parameters
    ----------
    cells : Cells
        The cells of one batch of plots.
    ground : Ground
        Elevation and gradient at each.

    Returns
    -------
    Statistics
        One value a plot.
    """
    first = cells.first
    known = ~np.isnan(ground.east)
    weight = np.where(known, cells.weight, 0.0)
    elevation, east, north = (
        np.where(known, values, 0.0) for values in (ground.elevation, ground.east, ground.north)
    )
    slope = np.hypot(east, north)
    total = np.add.reduceat(weight, first)

    def mean(values: Floats) -> Floats:
        with np.errstate(invalid="ignore", divide="ignore"):
            result: Floats = np.add.reduceat(weight * values, first) / total
        return result

    covered = np.add.reduceat(cells.weight, first)
    p90 = _p90(cells, weight, slope)
    east_east, east_north, north_north = mean(east**2), mean(east * north), mean(north**2)
    # The direction of the larger eigenvalue of the mean squared gradient: the steepest axis.
    axis = 0.5 * np.arctan2(2 * east_north, east_east - north_north)
    rises = east * np.cos(axis)[cells.plot] + north * np.sin(axis)[cells.plot] > 0
    up = mean(rises.astype(np.float64))
    return Statistics(
        covered=covered,
        cells=total,
        row_mean=np.add.reduceat(cells.weight * cells.row, first) / covered,
        elevation=mean(elevation),
        slope_mean=mean(slope),
        slope_p90=p90,
        slope_max=_steepest(cells, weight, slope),
        east=mean(east),
        north=mean(north),
        east_east=east_east,
        east_north=east_north,
        north_north=north_north,
        uphill_share=np.maximum(up, 1 - up),
    )


def _steepest(cells: Cells, weight: Floats, slope: Floats) -> Floats:
    at_least_half = np.maximum.reduceat(np.where(weight >= HALF, slope, -1.0), cells.first)
    touched = np.maximum.reduceat(np.where(weight > 0, slope, -1.0), cells.first)
    steepest = np.where(at_least_half >= 0, at_least_half, touched)
    return np.where(steepest >= 0, steepest, np.nan)


def _p90(cells: Cells, weight: Floats, slope: Floats) -> Floats:
    """Sort plot, slope and weight as one whole number: three times as fast as an index sort.

    Slopes keep the 24 significant bits of a 32-bit float and weights 20 bits; a positive float's
    bits sort as the float does.
    """
    units = np.rint(weight * 2.0**WEIGHT_BITS).astype(np.uint64)
    place = np.cumsum(units > 0)
    kept = units > 0
    bits = slope[kept].astype(np.float32).view(np.uint32).astype(np.uint64)
    key = cells.plot[kept].astype(np.uint64) << np.uint64(SLOPE_BITS + WEIGHT_BITS)
    key |= bits << np.uint64(WEIGHT_BITS)
    key |= units[kept] - np.uint64(1)
    key.sort()
    running = np.zeros(len(key) + 1, dtype=np.uint64)
    np.cumsum((key & np.uint64(2**WEIGHT_BITS - 1)) + np.uint64(1), out=running[1:])
    last = np.append(place[cells.first[1:] - 1], len(key))
    before = np.concatenate([[0], last[:-1]])
    result = np.full(len(cells.first), np.nan)
    some = last > before
    part, whole = (np.uint64(n) for n in PERCENTILE)
    base = running[before[some]]
    wanted = ((running[last[some]] - base) * part + (whole - np.uint64(1))) // whole + base
    found = key[np.searchsorted(running[1:], wanted)]
    bits = (found >> np.uint64(WEIGHT_BITS)) & np.uint64(2**SLOPE_BITS - 1)
    result[some] = bits.astype(np.uint32).view(np.float32)
    return result
