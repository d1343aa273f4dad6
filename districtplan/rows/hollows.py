"""The lowest line of a hollow beside a flow line, as the ground itself shows it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

from districtplan.rows.walk import Ground, heights

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.rows.surface import Surface

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

STEP_M = 2.0
"""From one cross-section to the next."""
PARTS = 24
"""Parts of half a cross-section."""
CHORD_CELLS = 3.0
"""Cells to each side by which a line's way is told: steps from cell to cell go eight ways only."""
ROUNDS = 4
"""Times that cross-sections are turned square to the lowest places found."""


class Limits(NamedTuple):
    """What makes a hollow.

    Attributes
    ----------
    reach_m : float
        How far from the flow line its lowest place may be [m].
    side_min : float
        Rise over run that its sides have at least, over that reach [1].
    sigmas : float
        How many times what the error leaves in a slope its sides rise at least.
    """

    reach_m: float
    side_min: float
    sigmas: float


def lowest(
    line: shapely.LineString, surface: Surface, limits: Limits
) -> tuple[Floats, Floats, Bools]:
    """Look for the lowest place on cross-sections square to a flow line.

    A section that isn't square to the hollow has its lowest place too far downhill. So sections are
    turned square to the line of the lowest places found, and looked through again.

    Parameters
    ----------
    line : shapely.LineString
        The flow line, in the surface's metres.
    surface : Surface
        The ground.
    limits : Limits
        What makes a hollow.

    Returns
    -------
    on : numpy.ndarray
        Places on the flow line, shape (sections, 2) [m].
    low : numpy.ndarray
        The lowest places beside them, shape (sections, 2) [m].
    known : numpy.ndarray
        True where a hollow stands out, shape (sections,).
    """
    count = max(int(np.ceil(line.length / STEP_M)), 2)
    along = np.linspace(0, line.length, count + 1)
    on = shapely.get_coordinates(shapely.line_interpolate_point(line, along))
    side = max(surface.heights.step_x, surface.heights.step_y)
    chord = max(round(CHORD_CELLS * side / (line.length / count)), 1)
    across = np.linspace(-2 * limits.reach_m, 2 * limits.reach_m, 4 * PARTS + 1)
    needed = max(limits.side_min, limits.sigmas * surface.doubt.floor) * limits.reach_m
    centre = _evened(on, chord)
    low, known = on, np.zeros(len(on), dtype=bool)
    ground = Ground.of([surface])
    for _ in range(ROUNDS):
        normal = _normals(low if known.any() else centre, chord)
        wide = limits.reach_m * normal
        height = heights(ground, centre - wide, centre + wide, 2 * PARTS + 1)
        at = np.argmin(height, axis=1) + PARTS
        # Of what lies further out only the two places are asked that the lowest one is set beside.
        lowest_at = centre + across[at, None] * normal
        sides = heights(ground, lowest_at - wide, lowest_at + wide, 2).min(axis=1)
        known = sides - height.min(axis=1) >= needed
        if not known.any():
            return on, low, known
        offset = np.interp(along, along[known], across[at[known]])
        low = centre + offset[:, None] * normal
    near = shapely.distance(shapely.points(low), line) <= limits.reach_m
    return on, low, known & near


def _evened(xy: Floats, chord: int) -> Floats:
    """Even out steps from cell to cell, less towards the ends."""
    total = np.concatenate([np.zeros((1, 2)), np.cumsum(xy, axis=0)])
    place = np.arange(len(xy))
    reach = np.minimum(np.minimum(place, len(xy) - 1 - place), chord)
    sums = total[place + reach + 1] - total[place - reach]
    return np.asarray(sums / (2 * reach + 1)[:, None])


def _normals(xy: Floats, chord: int) -> Floats:
    place = np.arange(len(xy))
    ahead, behind = np.minimum(place + chord, len(xy) - 1), np.maximum(place - chord, 0)
    way = xy[ahead] - xy[behind]
    long = np.maximum(np.hypot(*way.T), np.finfo(float).tiny)
    return np.asarray(np.column_stack([-way[:, 1], way[:, 0]]) / long[:, None])
