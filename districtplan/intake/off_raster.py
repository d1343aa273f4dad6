"""Plots that passed intake but lie where the raster has too few heights."""

from __future__ import annotations

import pandas as pd


def set_aside_off_raster(
    plots: pd.DataFrame, set_aside: pd.DataFrame, off_raster: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Move plots without enough raster under them to those set aside.

    Parameters
    ----------
    plots : pandas.DataFrame
        The plots accepted.
    set_aside : pandas.DataFrame
        ``source_row, plot_id, reason, remedy`` of the rows not used so far.
    off_raster : pandas.DataFrame
        ``plot_id`` and ``raster_share`` of the plots to move.

    Returns
    -------
    plots : pandas.DataFrame
        The plots that stay.
    set_aside : pandas.DataFrame
        All rows not used, in the order of the file.
    """
    leaves = plots["plot_id"].isin(off_raster["plot_id"])
    share = off_raster.set_index("plot_id")["raster_share"]
    gone = plots.loc[leaves, ["source_row", "plot_id"]].copy()
    gone["reason"] = [
        f"the elevation raster has slopes for {100 * share[plot_id]:.0f} % of the plot"
        for plot_id in gone["plot_id"]
    ]
    gone["remedy"] = "Add a raster that covers it, or check where the outline lies"
    everything = pd.concat([set_aside, gone]) if len(gone) else set_aside
    return (
        plots[~leaves].reset_index(drop=True),
        everything.sort_values("source_row").reset_index(drop=True),
    )
