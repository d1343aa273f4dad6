"""Land to plant: a plot less its edge margin, structures, houses, paths and strips of flow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Objects = NDArray[np.object_]


@dataclass(frozen=True)
class Planted:
    """What is left of plots for rows.

    Attributes
    ----------
    polygons : numpy.ndarray
        The land, empty where nothing is left, shape (plots,).
    taken : numpy.ndarray
        Area taken by structures and strips inside each outline, shape (plots,) [units²].
    """

    polygons: Objects
    taken: Floats


def areas(features: pd.DataFrame) -> Objects:
    """Give the land that features take: polygons as they are, lines as wide as they are.

    Parameters
    ----------
    features : pandas.DataFrame
        ``geometry`` in metres, and ``width_m``, which lines have.

    Returns
    -------
    numpy.ndarray
        Polygons, shape (features,).
    """
    shapes = features["geometry"].to_numpy(dtype=object)
    lines = shapely.get_dimensions(shapes) == 1
    half = features["width_m"].to_numpy(dtype=np.float64) / 2
    wide = shapes.copy()
    # Flat ends: a ditch drawn to the plot's edge doesn't reach beyond it.
    wide[lines] = shapely.buffer(shapes[lines], half[lines], cap_style="flat")
    return wide


def planted(
    outlines: Objects, features: Objects, strips: Objects | None, margin: Floats
) -> Planted:
    """Take from plots what isn't planted.

    Parameters
    ----------
    outlines : numpy.ndarray
        Valid polygons, shape (plots,).
    features : numpy.ndarray
        Valid polygons of land taken, shape (features,).
    strips : numpy.ndarray | None
        A strip of flow for each plot, None or empty where it has none, shape (plots,).
    margin : numpy.ndarray
        Width along each plot's edge that isn't planted, 0 or more, shape (plots,) [units].

    Returns
    -------
    Planted
        The land that is left.
    """
    gone = _gone(outlines, features, strips)
    touched = np.flatnonzero(~shapely.is_missing(gone))
    taken = np.zeros(len(outlines))
    inside = shapely.intersection(outlines[touched], gone[touched])
    taken[touched] = shapely.area(inside)
    left = outlines.copy()
    wide = margin > 0
    left[wide] = shapely.buffer(outlines[wide], -margin[wide], join_style="mitre")
    left[touched] = shapely.difference(left[touched], gone[touched])
    return Planted(left, taken)


def _gone(outlines: Objects, features: Objects, strips: Objects | None) -> Objects:
    """Join what lies on each plot; None where nothing does."""
    gone = np.full(len(outlines), None, dtype=object)
    if strips is not None:
        some = ~(shapely.is_missing(strips) | shapely.is_empty(strips))
        gone[some] = strips[some]
    plot, feature = shapely.STRtree(features).query(outlines, predicate="intersects")
    order = np.lexsort((feature, plot))
    plot, feature = plot[order], feature[order]
    touched, first = np.unique(plot, return_index=True)
    for at, those in zip(touched, np.split(feature, first[1:]), strict=False):
        shapes = [*features[those], *([] if gone[at] is None else [gone[at]])]
        gone[at] = shapely.union_all(shapes)
    return gone
