"""What is known of the ground of each plot: whether it slips, how deep it is, how it drains."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from districtplan import tables
from districtplan.conservation.outlets import SLIPPING

if TYPE_CHECKING:
    from numpy.typing import NDArray


def soil(plots: pd.DataFrame, soils: pd.DataFrame | None = None) -> pd.DataFrame:
    """Look up depth and drainage of the soil of each plot.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id`` and ``village``; where they are known ``soil_depth_given_m`` and
        ``soil_drainage_given`` of the plot itself, which stand before its village's.
    soils : pandas.DataFrame | None, default None
        ``village``, ``depth_m`` (NaN where not given) and ``drainage`` (free, poor, or empty).

    Returns
    -------
    pandas.DataFrame
        One row a plot: ``plot_id`` and the columns made by soil, empty where neither is given, and
        the plan's stand.
    """
    depth = np.full(len(plots), np.nan)
    drainage = np.full(len(plots), None, dtype=object)
    if soils is not None:
        known = soils.set_index("village").reindex(plots["village"])
        depth = known["depth_m"].to_numpy(dtype=np.float64)
        said = known["drainage"]
        drainage = said.where(said.fillna("") != "").to_numpy(dtype=object)
    if "soil_depth_given_m" in plots:
        own = plots["soil_depth_given_m"].to_numpy(dtype=np.float64)
        depth = np.where(np.isnan(own), depth, own)
    if "soil_drainage_given" in plots:
        told = plots["soil_drainage_given"]
        drainage = np.where(told.isna(), drainage, told.to_numpy(dtype=object))
    found = pd.DataFrame(
        {
            "plot_id": plots["plot_id"].to_numpy(),
            "soil_depth_m": depth,
            "soil_drainage": pd.Series(drainage, dtype=object),
        }
    )
    return tables.check(found, ("plot_id", *tables.made_by("soil")))


def ground(
    plots: pd.DataFrame, outlines: NDArray[np.object_], features: pd.DataFrame
) -> pd.DataFrame:
    """Look up where the ground slips.

    Ground that slips bars the whole hillside: water held back above sets a slope moving below.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id`` and ``work_site``.
    outlines : numpy.ndarray
        Their outlines in the UTM zone, shape (plots,).
    features : pandas.DataFrame
        ``kind`` and ``geometry`` in the zone.

    Returns
    -------
    pandas.DataFrame
        One row a plot: ``plot_id`` and the columns made by ground.
    """
    slips = features.loc[features["kind"] == SLIPPING, "geometry"].to_numpy(dtype=object)
    touched = np.zeros(len(plots), dtype=bool)
    touched[shapely.STRtree(outlines).query(slips, predicate="intersects")[1]] = True
    found = pd.DataFrame(
        {
            "plot_id": plots["plot_id"].to_numpy(),
            "slipping_ground": plots["work_site"]
            .isin(plots.loc[touched, "work_site"])
            .to_numpy(dtype=np.int64),
        }
    )
    return tables.check(found, ("plot_id", *tables.made_by("ground")))
