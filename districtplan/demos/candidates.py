"""Which plots may become demonstration plots, and why others may not.

Every plot has all its reasons, so that none is said to fail for less than it does, and each reason
is counted. What isn't known never rules a plot out, and a plot whose bearing or slope the raster
doesn't give is no worse than another: it is a candidate until somebody reads it on the ground.

The pipeline hands in one table of plots, joined from intake, terrain, water and the enrolment file,
and the limits of the plan for one message; candidates go on to :class:`~.rules.Sites` in the order
of their ids.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Bools = NDArray[np.bool_]

CANDIDATE, PROVISIONAL, OUT = "candidate", "provisional until a ground reading", "no candidate"
REASONS = (
    "not enrolled",
    "no consent",
    "no tenure",
    "too small",
    "too large",
    "far from a path",
    "crossed by water",
    "too flat",
    "too steep",
    "beans too lately",
    "shown too lately",
    "not to be planted",
)
"""Codes of why a plot is no candidate, in the order in which they are told."""
ON_THE_GROUND = "measure on the ground"
"""Row method of a plot whose bearing the raster doesn't support."""


@dataclass(frozen=True)
class Message:
    """What a demonstration plot shows, and what that needs of a plot.

    Attributes
    ----------
    name : str
        Its name in the plan.
    treatments : tuple[str, ...]
        What is shown.
    tenure : bool
        Whether the farmer must hold the land: what is shown stays for years.
    slope_pct : tuple[float, float]
        Least and most slope that it is for [%].
    area_ha : tuple[float, float]
        Smallest and largest plot that it fits on [ha].
    path_m : float
        Furthest from a road or path that people come to [m].
    rest_seasons : int
        Seasons without beans before, against root rot.
    again_after : int
        Seasons that must pass before a plot is shown again.
    stays : int
        Seasons that a plot is shown for, once chosen.
    """

    name: str
    treatments: tuple[str, ...] = ()
    tenure: bool = False
    slope_pct: tuple[float, float] = (0.0, np.inf)
    area_ha: tuple[float, float] = (0.0, np.inf)
    path_m: float = np.inf
    rest_seasons: int = 0
    again_after: int = 0
    stays: int = 1


def candidates(plots: pd.DataFrame, message: Message) -> pd.DataFrame:
    """Say which plots may show a message.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``area_ha``, ``slope_used_pct``, ``row_method`` and, empty where not known,
        ``enrolled``, ``consent``, ``tenure`` (bool), ``path_distance_m``, ``flow_line_length_m``,
        ``seasons_since_beans``, ``seasons_since_demo`` and ``no_go`` (bool).
    message : Message
        What is to be shown.

    Returns
    -------
    pandas.DataFrame
        ``plot_id``, ``demo_standing`` and ``demo_reasons``, a tuple of ``REASONS``; by id.
    """
    failed = np.stack(list(_failures(plots, message)), axis=1)
    unread = (plots["row_method"] == ON_THE_GROUND) | plots["slope_used_pct"].isna()
    standing = np.where(failed.any(axis=1), OUT, np.where(unread, PROVISIONAL, CANDIDATE))
    names = np.array(REASONS, dtype=object)
    found = pd.DataFrame(
        {
            "plot_id": plots["plot_id"].to_numpy(),
            "demo_standing": standing,
            "demo_reasons": [tuple(names[one]) for one in failed],
        }
    )
    return found.sort_values("plot_id", kind="stable", ignore_index=True)


def counted(found: pd.DataFrame) -> pd.DataFrame:
    """Count the reasons.

    Parameters
    ----------
    found : pandas.DataFrame
        What :func:`candidates` gives.

    Returns
    -------
    pandas.DataFrame
        One row a reason: ``demo_reason``, ``plots`` that it keeps out, alone or beside others, and
        ``plots_by_it_alone``, which would be candidates without it.
    """
    reasons = found["demo_reasons"]
    every = reasons.explode().value_counts()
    alone = reasons[reasons.str.len() == 1].explode().value_counts()
    return pd.DataFrame(
        {
            "demo_reason": REASONS,
            "plots": [int(every.get(one, 0)) for one in REASONS],
            "plots_by_it_alone": [int(alone.get(one, 0)) for one in REASONS],
        }
    )


def forced(shown: pd.DataFrame, stays: dict[str, int]) -> list[str]:
    """Name the plots that are chosen since they are still being shown.

    Parameters
    ----------
    shown : pandas.DataFrame
        ``plot_id``, ``message`` and ``seasons_shown`` of demonstration plots of seasons before.
    stays : dict[str, int]
        Seasons that a plot shows each message for.

    Returns
    -------
    list[str]
        Ids, rising: the conservation demonstrations that haven't stood for their seasons yet.
    """
    due = shown["message"].map(stays).fillna(0)
    return sorted(shown.loc[shown["seasons_shown"] < due, "plot_id"])


def _failures(plots: pd.DataFrame, message: Message) -> Iterator[Bools]:
    """Say for each reason which plots it keeps out."""
    # Enrolment and consent must be recorded; all else rules out only where it is known.
    yield ~_said(plots["enrolled"])
    yield ~_said(plots["consent"])
    yield ~_said(plots["tenure"]) & message.tenure
    yield _below(plots["area_ha"], message.area_ha[0])
    yield _above(plots["area_ha"], message.area_ha[1])
    yield _above(plots["path_distance_m"], message.path_m)
    yield _above(plots["flow_line_length_m"], 0.0)
    unread = (plots["row_method"] == ON_THE_GROUND).to_numpy()
    yield _below(plots["slope_used_pct"], message.slope_pct[0]) & ~unread
    yield _above(plots["slope_used_pct"], message.slope_pct[1]) & ~unread
    yield _below(plots["seasons_since_beans"], message.rest_seasons + 1)
    yield _below(plots["seasons_since_demo"], message.again_after + 1)
    yield _said(plots["no_go"])


def _said(answers: pd.Series) -> Bools:
    return np.asarray(answers.eq(other=True), np.bool_)


def _below(values: pd.Series, limit: float) -> Bools:
    return np.asarray(values.astype("float64") < limit, np.bool_)


def _above(values: pd.Series, limit: float) -> Bools:
    return np.asarray(values.astype("float64") > limit, np.bool_)
