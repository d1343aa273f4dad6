"""Plots that gathered water crosses before it has a safe outlet: their rows wait for one.

The land alone decides: flow lines in the plot, and what is drawn that takes water. Which measures a
budget pays for, or how many hillsides are laid out, changes nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from districtplan import tables
from districtplan.conservation.outlets import SAFE

if TYPE_CHECKING:
    from collections.abc import Collection

    import pandas as pd

    from districtplan.conservation.hillsides import Terrain
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

FLAG = "gathered_water_first"
"""Flag of plots whose rows wait until water that gathers there has an outlet."""


def waiting(
    plots: pd.DataFrame,
    terrain: Terrain,
    plan: Plan,
    handbook: Handbook,
    dry: Collection[str] = (),
) -> frozenset[str]:
    """Say on which plots rows wait for an outlet.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id`` and ``flow_line_length_m``.
    terrain : Terrain
        What lies on the hillsides, plots in the same order.
    plan : Plan
        From which length a flow line crosses, and how far from it what takes it may lie.
    handbook : Handbook
        How far beside the water flow lines may lie (table ``work_site_limits``).
    dry : collection of str, default none
        Ids of plots of which staff recorded that no water runs onto them.

    Returns
    -------
    frozenset[str]
        Ids of plots in which flow lines of that length lie further than that from every stream,
        waterway, ditch, grass or forest that is drawn.
    """
    least = plan.water.crossing_min_m
    length = plots["flow_line_length_m"].to_numpy(dtype=np.float64, na_value=np.nan)
    told = plots["plot_id"].isin(set(dry)).to_numpy()
    crossed = np.flatnonzero(tables.crossed(length, least) & ~told)
    # Flow lines go by cells, so they lie a little beside the water that they stand for.
    reach = plan.rows.outlet_reach_m + handbook.number("work_site_limits", "link_m")
    features = terrain.features
    safe = features.loc[features["kind"].isin(SAFE), "geometry"].to_numpy(dtype=object)
    taken = shapely.STRtree(safe)
    plot, line = shapely.STRtree(terrain.flow).query(
        terrain.outlines[crossed], predicate="intersects"
    )
    inside = shapely.intersection(terrain.flow[line], terrain.outlines[crossed][plot])
    piece, outlet = taken.query(inside, predicate="dwithin", distance=reach)
    for at in np.unique(piece):
        near = shapely.union_all(shapely.buffer(safe[outlet[piece == at]], reach))
        inside[at] = shapely.difference(inside[at], near)
    left = np.bincount(plot, shapely.length(inside), len(crossed)).astype(np.float64)
    ids = plots["plot_id"].to_numpy(dtype=object)[crossed]
    return frozenset(ids[tables.crossed(left, least)])
