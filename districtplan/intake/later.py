"""Plots that passed intake but that a later stage can't serve."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import pandas as pd

from districtplan.intake.overlaps import overlaps
from districtplan.intake.refusal import require_some
from districtplan.intake.zone import zone_that_fits

if TYPE_CHECKING:
    from pyproj import CRS

    from districtplan.grid import Grid
    from districtplan.plan import Plan


class Meant(NamedTuple):
    """Where plots are meant to lie.

    Attributes
    ----------
    file : str
        Name of the plots file, as in the plan.
    crs : pyproj.CRS
        The CRS of the plots.
    grid : districtplan.grid.Grid
        Grid of the raster.
    """

    file: str
    crs: CRS
    grid: Grid


def with_lines(set_aside: pd.DataFrame, raw: pd.DataFrame) -> pd.DataFrame:
    """Say where in a file of text the rows that weren't used stand.

    Parameters
    ----------
    set_aside : pandas.DataFrame
        ``source_row`` and more.
    raw : pandas.DataFrame
        ``source_row`` and ``file_lines`` (None where rows say enough) of all rows.

    Returns
    -------
    pandas.DataFrame
        The same, with ``file_lines`` where the file has lines.
    """
    if raw["file_lines"].isna().all():
        return set_aside
    lines = raw.set_index("source_row")["file_lines"].astype("str")
    return set_aside.assign(file_lines=lines.loc[set_aside["source_row"]].to_numpy())


def set_aside_later(
    plots: pd.DataFrame,
    set_aside: pd.DataFrame,
    unusable: pd.DataFrame,
    meant: Meant,
    plan: Plan,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Move plots that can't be served to those set aside.

    Parameters
    ----------
    plots : pandas.DataFrame
        The plots accepted.
    set_aside : pandas.DataFrame
        ``source_row, plot_id, reason, remedy, village`` of the rows not used so far.
    unusable : pandas.DataFrame
        ``plot_id, reason, remedy`` of the plots to move.
    meant : Meant
        Where they are meant to lie.
    plan : Plan
        The plan, for what counts as an overlap.

    Returns
    -------
    plots : pandas.DataFrame
        The plots that stay.
    set_aside : pandas.DataFrame
        All rows not used, in the order of the file.

    Raises
    ------
    InputError
        If no plot stays; the message says if another UTM zone would fit.
    """
    leaves = plots["plot_id"].isin(unusable["plot_id"])
    gone = plots.loc[leaves, ["source_row", "plot_id", "village"]].merge(unusable, on="plot_id")
    everything = pd.concat([set_aside, gone[set_aside.columns]]) if len(gone) else set_aside
    everything = everything.sort_values("source_row").reset_index(drop=True)
    stays = plots[~leaves].reset_index(drop=True)
    if stays.empty:
        fits = zone_that_fits(plots["geometry"].to_numpy(), meant.crs, meant.grid)
        require_some(stays, everything, meant.file, fits)
    if plots.loc[leaves, "overlap_plots"].notna().any():
        # What was shared with a plot that left is shared no more.
        area_ha, others = overlaps(
            stays["geometry"].to_numpy(dtype=object),
            stays["area_ha"].to_numpy(),
            stays["plot_id"].to_numpy(dtype=object),
            plan.limits.overlap_min_pct,
        )
        stays = stays.assign(overlap_ha=area_ha, overlap_plots=pd.Series(others, dtype=object))
    return stays, everything
