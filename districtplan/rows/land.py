"""Land to plant: a plot less its margin, structures, houses, paths, strips of flow and gaps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Objects = NDArray[np.object_]


class Clear(NamedTuple):
    """What rows keep clear of.

    Attributes
    ----------
    features : numpy.ndarray
        Polygons of land that structures, houses and paths take, shape (features,).
    strips : numpy.ndarray | None
        Polygon of each plot's strip of flow, None where it has none, empty where it can't be
        placed, shape (plots,).
    gaps : numpy.ndarray | None
        Polygon of each plot's gaps in low places, None where it has none, shape (plots,).
    """

    features: Objects
    strips: Objects | None = None
    gaps: Objects | None = None


@dataclass(frozen=True)
class Planted:
    """What is left of plots for rows.

    Attributes
    ----------
    polygons : numpy.ndarray
        The land, empty where nothing is left, shape (plots,).
    taken : numpy.ndarray
        Area taken by structures inside each outline, shape (plots,) [units²].
    strips : numpy.ndarray
        Area that strips take besides, NaN where one can't be placed, shape (plots,) [units²].
    gaps : numpy.ndarray
        Area that gaps take besides both, shape (plots,) [units²].
    """

    polygons: Objects
    taken: Floats
    strips: Floats
    gaps: Floats


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


def planted(outlines: Objects, clear: Clear, margin: Floats) -> Planted:
    """Take from plots what isn't planted.

    Parameters
    ----------
    outlines : numpy.ndarray
        Valid polygons, shape (plots,).
    clear : Clear
        What rows keep clear of, valid polygons in the same units.
    margin : numpy.ndarray
        Width along each plot's edge that isn't planted, 0 or more, shape (plots,) [units].

    Returns
    -------
    Planted
        The land that is left.
    """
    gone = _gone(outlines, clear.features)
    taken = _inside(outlines, gone)
    beside, between = np.zeros(len(outlines)), np.zeros(len(outlines))
    if clear.strips is not None:
        beside = _more(outlines, gone, clear.strips)
        beside[shapely.is_empty(clear.strips)] = np.nan
    if clear.gaps is not None:
        between = _more(outlines, gone, clear.gaps)
    touched = np.flatnonzero(~shapely.is_missing(gone))
    left = outlines.copy()
    wide = margin > 0
    left[wide] = shapely.buffer(outlines[wide], -margin[wide], join_style="mitre")
    left[touched] = shapely.difference(left[touched], gone[touched])
    return Planted(left, taken, beside, between)


def _more(outlines: Objects, gone: Objects, strips: Objects) -> Floats:
    """Add strips to what is gone, and measure what they take besides."""
    more = np.zeros(len(outlines))
    some = np.flatnonzero(~(shapely.is_missing(strips) | shapely.is_empty(strips)))
    before = _inside(outlines[some], gone[some])
    # The union with nothing is nothing.
    bare = shapely.is_missing(gone[some])
    gone[some] = np.where(bare, strips[some], shapely.union(gone[some], strips[some]))
    more[some] = np.maximum(_inside(outlines[some], gone[some]) - before, 0)
    return more


def less(outlines: Objects, features: Objects) -> Objects:
    """Take from plots what lies on them, and nothing else.

    Parameters
    ----------
    outlines : numpy.ndarray
        Valid polygons, shape (plots,).
    features : numpy.ndarray
        Valid polygons of land taken, shape (features,).

    Returns
    -------
    numpy.ndarray
        What is left, shape (plots,).
    """
    gone = _gone(outlines, features)
    touched = ~shapely.is_missing(gone)
    left = outlines.copy()
    left[touched] = shapely.difference(outlines[touched], gone[touched])
    return left


def _inside(outlines: Objects, gone: Objects) -> Floats:
    """Measure what lies on each plot."""
    area = np.zeros(len(outlines))
    touched = ~shapely.is_missing(gone)
    area[touched] = shapely.area(shapely.intersection(outlines[touched], gone[touched]))
    return area


def _gone(outlines: Objects, features: Objects) -> Objects:
    """Join what lies on each plot; None where nothing does."""
    gone = np.full(len(outlines), None, dtype=object)
    plot, feature = shapely.STRtree(features).query(outlines, predicate="intersects")
    order = np.lexsort((feature, plot))
    plot, feature = plot[order], feature[order]
    touched, first = np.unique(plot, return_index=True)
    for at, those in zip(touched, np.split(feature, first[1:]), strict=False):
        gone[at] = shapely.union_all(features[those])
    return gone
