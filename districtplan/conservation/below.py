"""What lies below plots that have no tonnes: what their soil and water would reach."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from districtplan import tables

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.plan import Plan

    Objects = NDArray[np.object_]

NEIGHBOUR = "neighbour"
BELOW = (
    "house", "slipping ground", "spring", "latrine", "grave", "road", "path", "stream", NEIGHBOUR,
)  # fmt: skip
"""What may lie below a plot, the worst first (judgement)."""
TAKEN_BY = ("stream", "waterway", "ditch")
"""What takes the water: land beyond it isn't below."""
SLIT_M = 0.1
"""Width at least at which that is cut out of the land below [m]."""
ON_M = 1e-6
"""Distance under which land touches a plot [m]."""


def below(
    plots: pd.DataFrame, outlines: Objects, features: pd.DataFrame, plan: Plan
) -> pd.DataFrame:
    """Look up the worst that lies below each plot without tonnes.

    Each plot is moved down its fall, as far as water runs as a sheet at most. What lies on the land
    that it passes over counts, up to a stream, waterway or ditch that takes the water. Outlines err
    by some metres, so a rim is left out of what is moved: what lies beside a plot isn't below it.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``downslope_true_deg`` and ``soil_loss_now_likely_t_ha_yr``, null in the last
        for a plot without tonnes.
    outlines : numpy.ndarray
        Their outlines in the UTM zone, shape (plots,).
    features : pandas.DataFrame
        ``kind``, ``width_m`` (of lines) and ``geometry`` in the zone.
    plan : Plan
        Its longest slope length, and how far outlines may lie from the edge.

    Returns
    -------
    pandas.DataFrame
        One row a plot: ``plot_id`` and the columns made by below.
    """
    fall = plots["downslope_true_deg"].to_numpy(dtype=np.float64)
    without = plots["soil_loss_now_likely_t_ha_yr"].isna().to_numpy(dtype=np.bool_)
    which = np.flatnonzero(without & ~np.isnan(fall))
    passed = _passed(outlines[which], np.radians(fall[which]), plan)
    reached = _up_to_water(passed, outlines[which], features)
    found = np.full(len(plots), len(BELOW))
    for place, kind in enumerate(BELOW[:-1]):
        # The water itself is cut out of the land before it.
        land = passed if kind in TAKEN_BY else reached
        shapes = features.loc[features["kind"] == kind, "geometry"].to_numpy(dtype=object)
        hit = shapely.STRtree(land).query(shapes, predicate="intersects")[1]
        np.minimum.at(found, which[hit], place)
    one, other = shapely.STRtree(outlines).query(reached, predicate="intersects")
    np.minimum.at(found, which[one[which[one] != other]], len(BELOW) - 1)
    words = np.array([*BELOW, None], dtype=object)[found]
    table = pd.DataFrame(
        {"plot_id": plots["plot_id"].to_numpy(), "lies_below": pd.Series(words, dtype=object)}
    )
    return tables.check(table, ("plot_id", *tables.made_by("below")))


def _passed(outlines: Objects, turn: NDArray[np.float64], plan: Plan) -> Objects:
    """Give the land that plots pass over when they are moved down their fall."""
    core = shapely.buffer(outlines, -plan.rows.outlet_reach_m)
    core = np.where(shapely.is_empty(core), shapely.centroid(outlines), core)
    xy, of = shapely.get_coordinates(core, return_index=True)
    way = plan.erosion.slope_length_cap_m * np.column_stack([np.sin(turn), np.cos(turn)])
    both = np.concatenate([xy, xy + way[of]])
    order = np.argsort(np.concatenate([of, of]), kind="stable")
    out = np.full(len(outlines), shapely.MultiPoint(), dtype=object)
    moved = shapely.multipoints(both[order], indices=np.concatenate([of, of])[order], out=out)
    return np.asarray(shapely.difference(shapely.convex_hull(moved), outlines), dtype=object)


def _up_to_water(passed: Objects, outlines: Objects, features: pd.DataFrame) -> Objects:
    """Leave out the land beyond what takes the water."""
    takes = features[features["kind"].isin(TAKEN_BY)]
    half = np.maximum(takes["width_m"].fillna(0).to_numpy(dtype=np.float64), SLIT_M) / 2
    bars = shapely.buffer(takes["geometry"].to_numpy(dtype=object), half)
    reached = passed.copy()
    land, bar = shapely.STRtree(bars).query(passed, predicate="intersects")
    for place in np.unique(land).tolist():
        cut = shapely.difference(passed[place], shapely.union_all(bars[bar[land == place]]))
        parts = shapely.get_parts(cut)
        reached[place] = shapely.union_all(parts[shapely.dwithin(parts, outlines[place], ON_M)])
    return reached
