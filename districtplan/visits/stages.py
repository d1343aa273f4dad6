"""When each stage of the season is visited: counted from its works, and from what was seen.

The works come dated by the onset rule. What was observed overrides it: where planting was seen a
week late, all that is counted from planting moves by a week, and so does what is counted from
later events that nobody has seen yet.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterator, Mapping, Sequence

    from districtplan.handbook import Handbook

    Span = tuple[date, date, int]
    """First day, last day, and whether weeds are pulled by hand."""

TABLE = "visit_stages"
STORM = "storm"
EVENTS = ("onset", "planting", "emergence", "flowering", "harvest")
"""In order of time: what was seen of one moves those after it too."""
LOOKS = ("weeding_1", "weeding_2", "weeding_3")
"""Stages at which weeds are hoed, while no flowers are open."""
COLUMNS = (
    "stage", "first_day", "last_day", "no_hoe", "minutes", "session_minutes", "priority", "source",
)  # fmt: skip


def windows(
    works: pd.DataFrame, observed: Mapping[str, date], storms: Sequence[date], handbook: Handbook
) -> pd.DataFrame:
    """Date the stages of one season in one zone.

    Parameters
    ----------
    works : pandas.DataFrame
        Its works: ``work``, ``first_day``, ``last_day``, ``counted_from``, ``from_day``,
        ``no_hoe``; each once.
    observed : Mapping[str, datetime.date]
        Days seen in the field, by event: onset, planting, emergence, flowering, harvest.
    storms : Sequence[datetime.date]
        Days of storms above the plan's value.
    handbook : Handbook
        Table ``visit_stages``.

    Returns
    -------
    pandas.DataFrame
        ``stage``, ``first_day`` and ``last_day``, ``no_hoe`` (1 where flowers may be open: pull by
        hand), ``minutes`` and ``session_minutes``, ``priority``, ``source``; in order of time. A
        stage whose work the season doesn't have is left out.
    """
    moved = _moved(works, observed)
    flowering = _day_of(works, "flowering") + moved["flowering"]
    by_work = {row["work"]: row for row in works.to_dict("records")}
    rows = []
    for stage in handbook.rows(TABLE).to_dict("records"):
        name = stage["name"]
        told = [round(stage[column]) for column in ("minutes", "session_minutes", "priority")]
        for span in _spans(stage, by_work, moved, storms):
            first, last, no_hoe = _unhoed(span, flowering) if name in LOOKS else span
            rows.append((name, first, last, no_hoe, *told, handbook.source(TABLE, name)))
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table.sort_values(["first_day", "stage"], kind="stable", ignore_index=True)


def _unhoed(span: Span, flowering: date) -> Span:
    """End hoeing before flowers open; what can't end before is done by hand."""
    first, last, _ = span
    if first >= flowering:
        return first, last, 1
    return first, min(last, flowering - timedelta(days=1)), 0


def _spans(
    stage: Mapping[Hashable, Any],
    works: Mapping[str, Mapping[Hashable, Any]],
    moved: dict[str, timedelta],
    storms: Sequence[date],
) -> Iterator[Span]:
    low, high = (timedelta(days=round(stage[end])) for end in ("first_day", "last_day"))
    if stage["counted_from"] == STORM:
        for storm in sorted(set(storms)):
            yield storm + low, storm + high, 0
        return
    work = works.get(stage["counted_from"])
    if work is not None:
        # Planting itself is counted from the onset, but was seen by itself.
        event = work["work"] if work["work"] in EVENTS else work["counted_from"]
        by = moved[event]
        yield work["first_day"] + low + by, work["last_day"] + high + by, int(work["no_hoe"])


def _moved(works: pd.DataFrame, observed: Mapping[str, date]) -> dict[str, timedelta]:
    """Say by how much each event moves: as seen, else as the one before it."""
    found, by = {}, timedelta()
    for event in EVENTS:
        if event in observed:
            by = observed[event] - _day_of(works, event)
        found[event] = by
    return found


def _day_of(works: pd.DataFrame, event: str) -> date:
    """Give the day of an event as the season's works have it."""
    own = works[works["work"] == event]
    if len(own):
        day: date = own["last_day"].iloc[0]
        return day
    counted = works[works["counted_from"] == event].iloc[0]
    base: date = counted["first_day"] - timedelta(days=int(counted["from_day"]))
    return base
