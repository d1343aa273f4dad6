"""Cells that have exactly the height of all around them: water or a filled gap, no slope.

Ground isn't level to the last digit, and a slope of 0 taken from such cells would make plots at a
shore, or across a gap that the raster's maker filled, look flatter than they are. A plateau is
where all nine heights of a gradient are one; its edge belongs to it. On heights in whole steps
gentle ground has one height too, so there only the sea counts. That is asked of the land around a
plot, not of the plot alone: a reservoir may stand at a whole metre.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.coverage import Cells
    from districtplan.terrain.gradient import Block, Ground

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

STEPS_M = (0.5, 1.0)
"""Steps of height that are looked for."""
SEA_M = 0.0
AROUND = 100
"""Cells around a plot whose heights tell whether its own are in whole steps."""


def level(heights: NDArray[np.float32]) -> Flags | None:
    """Find the plateaus of a block of heights.

    Parameters
    ----------
    heights : numpy.ndarray
        Heights, NaN where there is none, shape (rows, columns) [m].

    Returns
    -------
    numpy.ndarray | None
        Which cells are of one, alike in shape; None where there is none.
    """
    beside = heights[:, 1:] == heights[:, :-1]
    three = beside[:, 1:] & beside[:, :-1]
    # Most blocks end here: by chance three heights in a row are seldom one.
    if not three.any():
        return None
    below = (heights[1:] == heights[:-1])[:, 1:-1]
    nine = three[2:] & three[1:-1] & three[:-2] & below[1:] & below[:-1]
    if not nine.any():
        return None
    return widened(np.pad(nine, 1))


def widened(marked: Flags) -> Flags:
    """Mark the eight neighbours of marked cells too.

    Parameters
    ----------
    marked : numpy.ndarray
        Cells, shape (rows, columns).

    Returns
    -------
    numpy.ndarray
        The same and their neighbours.
    """
    wide = np.pad(marked, 1)
    wide = wide[:-2] | wide[1:-1] | wide[2:]
    result: Flags = wide[:, :-2] | wide[:, 1:-1] | wide[:, 2:]
    return result


def whole_steps(heights: NDArray[np.floating], first: NDArray[np.int64], step_m: float) -> Flags:
    """Tell of which plots all heights that are known are whole multiples of a step.

    Parameters
    ----------
    heights : numpy.ndarray
        Heights of the cells, NaN where there is none, shape (cells,) [m].
    first : numpy.ndarray
        First cell of each plot, shape (plots,).
    step_m : float
        The step [m].

    Returns
    -------
    numpy.ndarray
        One value a plot, shape (plots,).
    """
    units = heights / np.float32(step_m)
    result: Flags = np.logical_and.reduceat((units == np.rint(units)) | np.isnan(heights), first)
    return result


def left_out(ground: Ground, cells: Cells, block: Block) -> Ground:
    """Take the slope of plateaus for not known.

    Parameters
    ----------
    ground : Ground
        Elevation and gradient at the cells.
    cells : Cells
        The cells of a batch of plots.
    block : Block
        Elevations around them.

    Returns
    -------
    Ground
        The same without those of plateaus.
    """
    if block.level is None:
        return ground
    place, inside = block.places(cells)
    here = block.level.ravel().take(place) & inside & ~np.isnan(ground.elevation)
    if not here.any():
        return ground
    rough = ~block.level & ~np.isnan(block.elevation)
    here &= ~_stepped(ground, cells, block, rough)[cells.plot] | (ground.elevation <= SEA_M)
    parts = {
        name: np.where(here, np.nan, getattr(ground, name))
        for name in ("elevation", "east", "north")
    }
    return replace(ground, **parts)


def _stepped(ground: Ground, cells: Cells, block: Block, rough: Flags) -> Flags:
    """Tell which plots lie on heights in whole steps, by the land around that is no plateau."""
    own: Flags = np.any([whole_steps(ground.elevation, cells.first, step) for step in STEPS_M], 0)
    if not own.any() or _in_steps(block.elevation[rough]):
        return own
    place, _ = block.places(cells)
    ends = np.append(cells.first, len(place))
    for plot in np.flatnonzero(own):
        at = place[ends[plot] : ends[plot + 1]]
        # Files side by side may be rounded each in its way.
        alike = rough if block.tile is None else rough & (block.tile == block.tile.flat[at[0]])
        sides = np.divmod(at, rough.shape[1])
        near = tuple(slice(max(n.min() - AROUND, 0), n.max() + AROUND + 1) for n in sides)
        within = near if alike[near].any() else (slice(None), slice(None))
        own[plot] = _in_steps(block.elevation[within][alike[within]])
    return own


def _in_steps(heights: NDArray[np.float32]) -> bool:
    return any(bool(np.all(heights % np.float32(step) == 0)) for step in STEPS_M)


@dataclass(frozen=True)
class Rests:
    """What slopes under plots rest on, shape (plots,) each.

    Attributes
    ----------
    level : numpy.ndarray
        Share of the plot whose slope isn't counted, since the heights are of a plateau.
    filled : numpy.ndarray
        Share of the plot whose slope rests on heights that were filled in.
    """

    level: Floats
    filled: Floats


class Footing:
    """Looks on what slopes rest, batch by batch, as the raster is read."""

    @property
    def margin(self) -> int:
        """Say how far beyond a plot is looked: its edge may be that of a plateau.

        Returns
        -------
        int
            Number of cells.
        """
        return 2

    def look(self, cells: Cells, ground: Ground, block: Block) -> Rests:
        """Look at the plots of one batch.

        Parameters
        ----------
        cells : Cells
            The cells of the batch.
        ground : Ground
            Elevation at each, without plateaus.
        block : Block
            Elevations around them.

        Returns
        -------
        Rests
            One value a plot.
        """
        none = np.zeros(len(cells.first))
        if block.level is None and block.filled is None:
            return Rests(none, none)
        place, inside = block.places(cells)

        def share(marked: Flags | None, unknown: Flags) -> Floats:
            if marked is None:
                return none
            counted = cells.weight * (marked.ravel().take(place) & inside & unknown)
            total: Floats = np.add.reduceat(counted, cells.first, dtype=np.float64)
            return total / np.add.reduceat(cells.weight, cells.first, dtype=np.float64)

        known = ~np.isnan(ground.elevation)
        return Rests(share(block.level, ~known), share(block.filled, known))
