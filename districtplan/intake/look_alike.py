"""Names and outlines so alike that two may be one: told, never joined."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING

import shapely

if TYPE_CHECKING:
    from collections.abc import Collection, Hashable, Iterable

    import pandas as pd

LISTED = 10
SHOWN_MAX = 60


def doubts(plots: pd.DataFrame, told: Collection[str] = ()) -> list[str]:
    """Say which villages, ids and outlines look like one another.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``village`` and ``geometry`` of the plots used.
    told : Collection[str], default none
        Spellings of villages that are told of elsewhere, with what to do about them.

    Returns
    -------
    list[str]
        A sentence a kind of doubt; empty where there is none.
    """
    said = []
    for column, what in (("village", "Villages"), ("plot_id", "Plot ids")):
        names = dict.fromkeys(plots[column])
        if column == "village":
            names = {name: None for name in names if name not in told}
        groups = _groups((_bare(name), name) for name in names)
        if groups:
            said.append(
                f"{what} that differ only in blanks, capitals or the form of their letters count "
                f"as different: {_listed(groups)}. Make them one in the plots file if they are."
            )
    outlines = shapely.to_wkb(shapely.normalize(plots["geometry"].to_numpy()))
    groups = _groups(zip(outlines, plots["plot_id"], strict=True))
    if groups:
        said.append(
            f"Plots with the very same outline, whose land counts more than once: "
            f"{_listed(groups)}. Remove the rows that are too many."
        )
    return said


def _bare(name: str) -> str:
    """Leave of a name what the eye tells apart."""
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())
    return " ".join(folded.split())


def _groups(pairs: Iterable[tuple[Hashable, str]]) -> list[list[str]]:
    """Gather the names of equal keys, where there are several."""
    found: dict[Hashable, list[str]] = {}
    for key, name in pairs:
        found.setdefault(key, []).append(name)
    return [names for names in found.values() if len(names) > 1]


def _listed(groups: list[list[str]]) -> str:
    told = [" and ".join(_some([_shown(name) for name in names])) for names in groups]
    return "; ".join(_some(told))


def _some(told: list[str]) -> list[str]:
    more = len(told) - LISTED
    return [*told[:LISTED], f"{more} more"] if more > 0 else told


def _shown(name: str) -> str:
    # As Python writes text: blanks at its ends and odd ones are seen.
    return repr(name if len(name) <= SHOWN_MAX else name[:SHOWN_MAX] + "...")
