"""Land beside water, on which no line starts that a team finds on the ground."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.rows.strips import Running

    Objects = NDArray[np.object_]

OFF_M = 1.0
"""A line starts this much farther from water than rows do [m]."""


def beside_water(
    outlines: Objects, running: Running, strips: Objects | None, strip_width_m: float
) -> Objects:
    """Give the land of plots that lies beside water, whether or not its strip can be placed.

    Parameters
    ----------
    outlines : numpy.ndarray
        The plots, in the zone, shape (plots,).
    running : Running
        Where water runs.
    strips : numpy.ndarray | None
        The strip along flow lines in each plot, None where there is none, shape (plots,).
    strip_width_m : float
        Width of a strip [m].

    Returns
    -------
    numpy.ndarray
        Land in and around each plot, None where it lies beside no water, shape (plots,).
    """
    found = np.full(len(outlines), None, dtype=object)
    half = strip_width_m / 2 + OFF_M
    reach = {half: running.lines, OFF_M: running.drawn}
    near = [
        (wide, shapes, shapely.STRtree(shapes).query(outlines, "dwithin", distance=wide))
        for wide, shapes in reach.items()
    ]
    parts: dict[int, list[shapely.Geometry]] = {}
    if strips is not None:
        wide_strips = shapely.buffer(strips, OFF_M)
        placed = np.flatnonzero(~shapely.is_missing(strips) & ~shapely.is_empty(strips))
        parts = {plot: [wide_strips[plot]] for plot in placed.tolist()}
    for wide, shapes, (plots, of) in near:
        # A flow line may be kilometres long: only what is near the plot is widened.
        around = shapely.envelope(shapely.buffer(outlines[plots], 2 * wide))
        lands = shapely.buffer(shapely.intersection(shapes[of], around), wide)
        for plot, land in zip(plots.tolist(), lands, strict=True):
            parts.setdefault(plot, []).append(land)
    for plot, lands in parts.items():
        found[plot] = shapely.union_all(lands)
    return found
