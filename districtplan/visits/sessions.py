"""What is done at each stage: group sessions for those in walking distance, and single visits.

Which plots get what is the plan's policy. A session is held at a meeting place, once a stage, for
the farmers who can walk there; each goes to the nearest. Single visits go to demonstration plots,
to plots that are flagged or provisional, and to a share of the rest that moves on from stage to
stage, so that in the end everybody has been visited.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from districtplan.travel import Links

SESSION, SINGLE = "session", "single"
COLUMNS = (
    "stage", "kind", "at", "farmers", "reason", "first_day", "last_day", "no_hoe", "minutes",
    "priority",
)  # fmt: skip


@dataclass(frozen=True)
class Policy:
    """Which plots get what, by the names of stages.

    Attributes
    ----------
    sessions : Collection[str]
        Stages with a session at each meeting place that farmers can walk to.
    demos : Collection[str]
        Stages at which every demonstration plot is visited.
    flagged : Collection[str]
        Stages at which plots above the erosion class and provisional ones are visited.
    structures : Collection[str]
        Stages at which plots with structures are visited.
    rest : Collection[str]
        Stages at which a share of all other plots is visited, in this order.
    rest_every : int
        One in so many of them at each; 0 for none.
    """

    sessions: Collection[str]
    demos: Collection[str]
    flagged: Collection[str]
    structures: Collection[str]
    rest: Collection[str]
    rest_every: int


def work_units(
    plots: pd.DataFrame, near: Links, windows: pd.DataFrame, policy: Policy
) -> pd.DataFrame:
    """List all visits of a season.

    Parameters
    ----------
    plots : pandas.DataFrame
        In order of their ids: ``demo``, ``above_class`` (of erosion), ``provisional`` (measure on
        the ground) and ``structures``, bool.
    near : Links
        From plots to meeting places, by number, those in walking distance.
    windows : pandas.DataFrame
        What :func:`~.stages.windows` gives.
    policy : Policy
        Which plots get what.

    Returns
    -------
    pandas.DataFrame
        By stage as in the windows, sessions first: ``stage``, ``kind`` (session, single), ``at``
        (number of the meeting place or of the plot), ``farmers`` (plots whose farmers can walk
        there; 1 of a single visit), ``reason`` (farmers near, demo, erosion class, provisional,
        structures, turn), ``first_day``, ``last_day``, ``no_hoe``, ``minutes``, ``priority``.
    """
    farmers = _nearest(near)
    turns = {stage: turn for turn, stage in enumerate(policy.rest)}
    rows = []
    for window in windows.to_dict("records"):
        stage = window["stage"]
        told = (window["first_day"], window["last_day"], window["no_hoe"])
        single = (*told, window["minutes"], window["priority"])
        session = (*told, window["session_minutes"], window["priority"])
        if stage in policy.sessions:
            rows += [
                (stage, SESSION, at, count, "farmers near", *session)
                for at, count in farmers.items()
            ]
        rows += [
            (stage, SINGLE, at, 1, why, *single)
            for at, why in _single(plots, stage, policy, turns.get(stage))
        ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _nearest(near: Links) -> dict[int, int]:
    """Count plots by the nearest meeting place; of equally near ones the first."""
    order = np.lexsort((near.end, near.cost, near.start))
    _, first = np.unique(near.start[order], return_index=True)
    places, count = np.unique(near.end[order][first], return_counts=True)
    return dict(zip(places.tolist(), count.tolist(), strict=True))


def _single(
    plots: pd.DataFrame, stage: str, policy: Policy, turn: int | None
) -> Iterator[tuple[int, str]]:
    """Give plots visited by themselves, each for the first reason that holds."""
    kept = {
        "demo": ("demo", policy.demos),
        "above_class": ("erosion class", policy.flagged),
        "provisional": ("provisional", policy.flagged),
        "structures": ("structures", policy.structures),
    }
    others = ~plots[list(kept)].any(axis=1).to_numpy(dtype=np.bool_)
    told = np.zeros(len(plots), np.bool_)
    for column, (why, stages) in kept.items():
        if stage in stages:
            some = plots[column].to_numpy(dtype=np.bool_) & ~told
            told |= some
            for at in np.flatnonzero(some).tolist():
                yield at, why
    if turn is not None and policy.rest_every:
        place = np.cumsum(others) - 1
        for at in np.flatnonzero(others & ((place + turn) % policy.rest_every == 0)).tolist():
            yield at, "turn"
