"""Length of a plot down its slope."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.coverage import Outlines

    Floats = NDArray[np.float64]


def length_along(
    outlines: Outlines, direction_deg: Floats, cell_m: tuple[Floats, Floats]
) -> Floats:
    """Give the mean length of plots along a direction: area over width across it.

    Parts of a plot are taken one by one and averaged by their area, since water does not run from
    one to the next.

    Parameters
    ----------
    outlines : Outlines
        The plots.
    direction_deg : numpy.ndarray
        Direction of each plot from the raster's north, NaN where there is none, shape (plots,)
        [degrees].
    cell_m : tuple[numpy.ndarray, numpy.ndarray]
        Width and height of a cell at each plot, shape (plots,) [m].

    Returns
    -------
    numpy.ndarray
        Horizontal lengths, NaN where there is no direction, shape (plots,) [m].
    """
    parts = np.diff(outlines.plot_part)
    plot_of_part = np.repeat(np.arange(len(parts)), parts)
    part_vertex = outlines.ring_start[outlines.part_ring]
    plot_of_vertex = np.repeat(plot_of_part, np.diff(part_vertex))
    width, height = (size[plot_of_vertex] for size in cell_m)
    # From the plot's first vertex, so that far-off coordinates don't cost digits.
    lead = outlines.plot_vertex[:-1][plot_of_vertex]
    x = (outlines.u - outlines.u[lead]) * width
    y = (outlines.v[lead] - outlines.v) * height
    across = np.radians(direction_deg)[plot_of_vertex]
    reach = x * np.cos(across) - y * np.sin(across)
    first = part_vertex[:-1]
    with np.errstate(invalid="ignore"):
        span = np.maximum.reduceat(reach, first) - np.minimum.reduceat(reach, first)

    # Shoelace over all rings: holes run the other way round only in well-wound outlines, so each
    # ring's area is taken without its sign.
    ends = outlines.ring_start[1:] - 1
    twice = x[:-1] * y[1:] - x[1:] * y[:-1]
    twice = np.append(twice, 0.0)
    twice[ends] = 0.0
    ring_area = np.abs(np.add.reduceat(twice, outlines.ring_start[:-1])) / 2
    shell = outlines.part_ring[:-1]
    area = 2 * ring_area[shell] - np.add.reduceat(ring_area, shell)
    length = np.add.reduceat(area**2 / span, outlines.plot_part[:-1])
    result: Floats = length / np.add.reduceat(area, outlines.plot_part[:-1])
    return result
