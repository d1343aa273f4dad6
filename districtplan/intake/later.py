"""Plots that passed intake but that a later stage can't serve."""

from __future__ import annotations

import pandas as pd


def set_aside_later(
    plots: pd.DataFrame, set_aside: pd.DataFrame, unusable: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Move plots that can't be served to those set aside.

    Parameters
    ----------
    plots : pandas.DataFrame
        The plots accepted.
    set_aside : pandas.DataFrame
        ``source_row, plot_id, reason, remedy`` of the rows not used so far.
    unusable : pandas.DataFrame
        ``plot_id, reason, remedy`` of the plots to move.

    Returns
    -------
    plots : pandas.DataFrame
        The plots that stay.
    set_aside : pandas.DataFrame
        All rows not used, in the order of the file.
    """
    leaves = plots["plot_id"].isin(unusable["plot_id"])
    gone = plots.loc[leaves, ["source_row", "plot_id"]].merge(unusable, on="plot_id")
    everything = pd.concat([set_aside, gone]) if len(gone) else set_aside
    return (
        plots[~leaves].reset_index(drop=True),
        everything.sort_values("source_row").reset_index(drop=True),
    )
