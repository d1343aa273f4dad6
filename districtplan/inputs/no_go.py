"""Land that no crop is planted on beside rivers and forest, by what is drawn and the plan's widths.

Each square metre is on one line: what lies in both belts is told of the river.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.plan import Plan

    Objects = NDArray[np.object_]
    Floats = NDArray[np.float64]

RIVERS, FORESTS = ("stream", "spring"), ("forest",)
"""Kinds of features that have a belt about them."""


class Buffers(NamedTuple):
    """Belts that no crop is planted on, with what they lie about.

    Attributes
    ----------
    river : numpy.ndarray
        Polygons about streams and springs, shape (rivers,).
    forest : numpy.ndarray
        Polygons about forest, shape (forests,).
    """

    river: Objects
    forest: Objects


def buffers(kinds: Objects, areas: Objects, plan: Plan) -> Buffers:
    """Draw the belts.

    Parameters
    ----------
    kinds : numpy.ndarray
        Kinds of the features, shape (features,).
    areas : numpy.ndarray
        Land that they take, in metres, shape (features,).
    plan : Plan
        Widths of the belts; with 0 the features' own land is all.

    Returns
    -------
    Buffers
        The belts.
    """

    def about(wanted: tuple[str, ...], width_m: float) -> Objects:
        drawn: Objects = shapely.buffer(areas[np.isin(kinds, wanted)], width_m)
        return drawn

    asked = plan.enrolment
    return Buffers(about(RIVERS, asked.river_buffer_m), about(FORESTS, asked.forest_buffer_m))


def in_buffers(outlines: Objects, belts: Buffers) -> tuple[Floats, Floats]:
    """Measure how much of each plot lies in the belts.

    Parameters
    ----------
    outlines : numpy.ndarray
        Valid polygons in the same units, shape (plots,).
    belts : Buffers
        The belts.

    Returns
    -------
    tuple[numpy.ndarray, numpy.ndarray]
        Share of each plot in the belts of rivers, and in those of forest alone, shape (plots,) [1].
    """
    river = _inside(outlines, belts.river)
    either = _inside(outlines, np.concatenate([belts.river, belts.forest]))
    return river, np.maximum(either - river, 0)


def _inside(outlines: Objects, land: Objects) -> Floats:
    share = np.zeros(len(outlines))
    plots, belts = shapely.STRtree(land).query(outlines, predicate="intersects")
    if len(plots) == 0:
        return share
    order = np.argsort(plots, kind="stable")
    met, starts = np.unique(plots[order], return_index=True)
    for plot, near in zip(met, np.split(belts[order], starts[1:]), strict=True):
        within = shapely.intersection(outlines[plot], shapely.union_all(land[near]))
        share[plot] = min(shapely.area(within) / shapely.area(outlines[plot]), 1)
    return share
