"""What measures go by on each plot: slope, soil, water, what is there already."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from districtplan.plan import Plan

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Objects = NDArray[np.object_]

M2_IN_HA = 10_000


@dataclass(frozen=True)
class Land:
    """Plots as arrays, in the order of the table.

    Attributes
    ----------
    slope_pct : numpy.ndarray
        For limits: as measured, else the raster's mean, which errs upward [%].
    used_pct : numpy.ndarray
        For equations and spacing: less the bias of the raster's error [%].
    area_m2 : numpy.ndarray
        Area [m²].
    length_m : numpy.ndarray
        Length down the fall, NaN where that has no clear direction [m].
    total_m : numpy.ndarray
        From where water starts to run to the lower edge, as far as known [m].
    run_on_ha, flow_line_m : numpy.ndarray
        Area that drains onto it at one place [ha], and length of flow lines inside [m].
    soil_depth_m : numpy.ndarray
        Depth of soil, NaN where not known [m].
    drainage : numpy.ndarray
        free, poor, or empty where not known.
    slipping : numpy.ndarray
        Whether staff have marked slipping ground.
    structure, condition : numpy.ndarray
        What stands there and how sound it is, empty where nothing.
    structure_p : numpy.ndarray
        P of that, 1 where it has none.
    cut_to_m : numpy.ndarray
        Slope length that a sound structure leaves, NaN where none [m].
    p_now, ls_now, ls_plot_only, c : numpy.ndarray
        Factors of the loss now, NaN where there are no tonnes.
    """

    slope_pct: Floats
    used_pct: Floats
    area_m2: Floats
    length_m: Floats
    total_m: Floats
    run_on_ha: Floats
    flow_line_m: Floats
    soil_depth_m: Floats
    drainage: Objects
    slipping: Bools
    structure: Objects
    condition: Objects
    structure_p: Floats
    cut_to_m: Floats
    p_now: Floats
    ls_now: Floats
    ls_plot_only: Floats
    c: Floats


def land_of(plots: pd.DataFrame, standing: pd.DataFrame, plan: Plan) -> Land:
    """Take what measures go by from the tables of the stages before.

    Parameters
    ----------
    plots : pandas.DataFrame
        One row a plot: ``area_ha``, ``slope_mean_pct``, ``slope_measured_pct``,
        ``slope_used_pct``, ``slope_length_m``, ``slope_length_total_m``, ``run_on_area_ha``,
        ``flow_line_length_m``, ``p_now``, ``ls_now``, ``ls_plot_only`` and ``c``; where they are
        known also ``soil_depth_m``, ``soil_drainage`` and ``slipping_ground`` (1 or 0), which
        stand in place of the plan's.
    standing : pandas.DataFrame
        What stands on the same plots: ``plot_id``, ``structure``, ``condition``, ``structure_p``
        and ``cut_to_m``.
    plan : Plan
        What is wanted: depth and drainage of the soil where plots have none.

    Returns
    -------
    Land
        The plots.
    """

    def column(name: str, default: float = np.nan) -> Floats:
        if name not in plots:
            return np.full(len(plots), default)
        return plots[name].to_numpy(dtype=np.float64, na_value=np.nan)

    there = standing.set_index("plot_id").loc[plots["plot_id"]]
    depth = column("soil_depth_m")
    given = plan.conservation.soil_depth_m
    drainage = np.full(len(plots), "", dtype=object)
    if "soil_drainage" in plots:
        drainage = plots["soil_drainage"].fillna("").to_numpy(dtype=object)
    if plan.soil.drainage_known:
        drainage = np.where(drainage == "", plan.soil.drainage, drainage)
    return Land(
        slope_pct=slope_for_limits(plots),
        used_pct=column("slope_used_pct"),
        area_m2=column("area_ha") * M2_IN_HA,
        length_m=column("slope_length_m"),
        total_m=column("slope_length_total_m"),
        run_on_ha=column("run_on_area_ha"),
        flow_line_m=column("flow_line_length_m"),
        soil_depth_m=depth if given is None else np.where(np.isnan(depth), given, depth),
        drainage=drainage,
        slipping=column("slipping_ground", 0.0) > 0,
        structure=there["structure"].to_numpy(dtype=object),
        condition=there["condition"].to_numpy(dtype=object),
        structure_p=there["structure_p"].to_numpy(dtype=np.float64),
        cut_to_m=there["cut_to_m"].to_numpy(dtype=np.float64),
        p_now=column("p_now"),
        ls_now=column("ls_now"),
        ls_plot_only=column("ls_plot_only"),
        c=column("c"),
    )


def slope_for_limits(plots: pd.DataFrame) -> Floats:
    """Give the slope that limits of land use go by.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``slope_mean_pct`` and ``slope_measured_pct``.

    Returns
    -------
    numpy.ndarray
        As measured, else the raster's mean as it is, which errs upward [%].
    """
    raster = plots["slope_mean_pct"].to_numpy(dtype=np.float64)
    measured = plots["slope_measured_pct"].to_numpy(dtype=np.float64, na_value=np.nan)
    return np.where(np.isnan(measured), raster, measured)
