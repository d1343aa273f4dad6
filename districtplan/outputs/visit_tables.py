"""Tables and layers of visits, named once for all outputs."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from districtplan import geodesy
from districtplan.visits.told import PLANNED

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from districtplan.results import Results
    from districtplan.visits import VisitPlan

    Floats = NDArray[np.float64]

DEGREES = CRS.from_epsg(4326)


def visit_tables(results: Results) -> Mapping[str, pd.DataFrame]:
    """Give the tables of visits.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    Mapping[str, pandas.DataFrame]
        ``visits``, then those of the folder of that name. Empty where the plan names no agents;
        what changed only where a plan is carried on, speeds only where trips are recorded. No
        farmer is named.
    """
    found = results.visits
    if found is None:
        return {}
    others = {
        "days": found.days,
        "load": found.load,
        "costs": found.costs,
        "quality": found.quality,
        "left_out": found.left_out,
        "stages": found.stages,
        "relief": found.relief,
        "held_back": found.held_back,
        "changed": found.changed,
        "speeds": found.speeds,
    }
    asked = results.plan.visits
    left = {
        *(["changed"] if asked.carried_on is None else []),
        *(["speeds"] if asked.trips is None else []),
    }
    return {
        "visits": found.visits,
        **{f"visits/{name}": table for name, table in others.items() if name not in left},
    }


def visit_layers(results: Results) -> dict[str, pd.DataFrame]:
    """Give the layers of visits.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    dict[str, pandas.DataFrame]
        ``visits``, a point each of those that have a day; ``visit_routes``, a line a day from the
        base and back, straight from stop to stop. Empty where the plan names no agents.
    """
    found = results.visits
    if found is None:
        return {}
    placed = found.visits["visit_day"].notna() & found.visits["place_longitude_deg"].notna()
    planned = found.visits[placed]
    degrees = planned[["place_longitude_deg", "place_latitude_deg"]].to_numpy(dtype=np.float64)
    points = np.array(shapely.points(degrees), dtype=object).reshape(-1)
    rows = list(routes(found))
    lines = np.empty(len(rows), dtype=object)
    lines[:] = [shapely.LineString(route) for *_, route in rows]
    told = pd.DataFrame(
        [(agent, day) for agent, day, _, _ in rows], columns=["agent_id", "visit_day"]
    )
    # Without any day columns are of no kind.
    keys = {"agent_id": object, "visit_day": object}
    beside = told.astype(keys).merge(found.days.astype(keys), on=list(keys), how="left")

    def moved(shapes: NDArray[np.object_]) -> NDArray[np.object_]:
        return geodesy.reproject(shapes, DEGREES, results.grid_crs)

    return {
        "visits": planned.reset_index(drop=True).assign(geometry=moved(points)),
        "visit_routes": beside.assign(geometry=moved(lines)),
    }


def routes(found: VisitPlan) -> Iterator[tuple[str, object, pd.DataFrame, Floats]]:
    """Give the way of each day.

    Parameters
    ----------
    found : VisitPlan
        The plan.

    Yields
    ------
    tuple[str, datetime.date, pandas.DataFrame, numpy.ndarray]
        The agent, the day, its visits in order, and base, stops and base, shape (stops + 2, 2):
        longitude, latitude [degrees].
    """
    base = found.agents.set_index("agent_id")[["longitude_deg", "latitude_deg"]]
    planned = found.visits[found.visits["visit_status"] == PLANNED]
    agents = planned["agent_id"].to_numpy(dtype=object)
    days = planned["visit_day"].to_numpy(dtype=object)
    starts = [
        at
        for at in range(len(planned))
        if at == 0 or (agents[at], days[at]) != (agents[at - 1], days[at - 1])
    ]
    for start, end in pairwise([*starts, len(planned)]):
        stops = planned.iloc[start:end]
        home = base.loc[agents[start]].to_numpy(dtype=np.float64)[None]
        at = stops[["place_longitude_deg", "place_latitude_deg"]].to_numpy(dtype=np.float64)
        yield str(agents[start]), days[start], stops, np.concatenate([home, at, home])
