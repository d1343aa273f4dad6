"""What the user should look at in the plots used, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from districtplan.intake import look_alike

if TYPE_CHECKING:
    import pandas as pd


def doubts(plots: pd.DataFrame, suggested: pd.DataFrame | None = None) -> list[str]:
    """Say which outlines were mended or overlap, and what looks alike.

    Parameters
    ----------
    plots : pandas.DataFrame
        The columns of intake of the plots used.
    suggested : pandas.DataFrame | None, default None
        Spellings of villages as :func:`districtplan.intake.villages.suggest` gives them; those with
        a suggestion are told of there.

    Returns
    -------
    list[str]
        A sentence a kind of doubt; empty where there is none.
    """
    told: set[str] = set()
    if suggested is not None:
        told = set(suggested.loc[suggested["suggested"].notna(), "village_as_given"])
    said = look_alike.doubts(plots, told)
    if mended := int(plots["outline_repair"].notna().sum()):
        said.append(
            f"{mended:,} of {len(plots):,} outlines {'is' if mended == 1 else 'are'} not as in the "
            "file: outlines.csv says what was done to each, with its area before and after."
        )
    if shared := int(plots["overlap_plots"].notna().sum()):
        land = plots["overlap_ha"].sum()
        said.append(
            f"{shared:,} plots cover land that others cover too, {land:.2f} ha counted at each "
            "plot: outlines.csv lists them. That land is planned and bought for "
            "more than once; correct the outlines."
        )
    if "soil_not_read" in plots and (unread := int(plots["soil_not_read"].notna().sum())):
        said.append(
            f"Depth or drainage of the soil can't be read on {unread:,} "
            f"{'plot' if unread == 1 else 'plots'}: there the village's "
            "stands, else the plan's. Their column soil_not_read says why; correct the file."
        )
    return said
