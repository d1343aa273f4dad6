"""Stages dated village by village: villages with one calendar that saw the same share windows."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import pandas as pd

from districtplan.accepted import row_named
from districtplan.errors import Fault, InputError
from districtplan.visits.stages import EVENTS, STORM, windows

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import date

    from districtplan.handbook import Handbook

    Key = tuple[str, tuple[tuple[str, date], ...], tuple[date, ...]]
    """Calendar of a village, what was seen there, and its storms."""

ONSET = "onset"
CALENDAR = ["work", "first_day", "last_day", "counted_from", "from_day", "no_hoe"]


class Dated(NamedTuple):
    """Windows of all stages.

    Attributes
    ----------
    windows : pandas.DataFrame
        What :func:`~.stages.windows` gives, after ``group``, a number.
    group : dict[str, int]
        Group by village.
    onset : date
        The first day on which rains begin in any village, as seen where it was.
    """

    windows: pd.DataFrame
    group: dict[str, int]
    onset: date


def dated(
    calendar: pd.DataFrame,
    zone_of: Mapping[str, str],
    season: str,
    observed: pd.DataFrame | None,
    known: tuple[Sequence[str], Handbook],
) -> Dated:
    """Date the stages of all villages.

    Parameters
    ----------
    calendar : pandas.DataFrame
        Works of each ``season``, early, usual or late, and ``zone``.
    zone_of : Mapping[str, str]
        Zone by village; of others the zone without a name.
    season : str
        Season that windows count from.
    observed : pandas.DataFrame | None
        ``source_row``, ``event``, ``day`` and ``village``, empty for all; None where nothing was
        seen.
    known : tuple[Sequence[str], Handbook]
        The villages, and the table ``visit_stages``.

    Returns
    -------
    Dated
        Windows by group of villages.

    Raises
    ------
    InputError
        If a zone has no onset in that season; if what was seen contradicts itself or the season.
    """
    villages, handbook = known
    numbers: dict[Key, int] = {}
    group = {}
    for village in sorted(villages):
        key = (zone_of.get(village, ""), *_seen(observed, village))
        group[village] = numbers.setdefault(key, len(numbers))
    found, onsets, faults = [], [], list[Fault]()
    for (zone, events, storms), number in numbers.items():
        own = (calendar["zone"] == zone) & (calendar["season"] == season)
        works = calendar.loc[own, CALENDAR]
        if works.empty:
            raise InputError(
                Fault(
                    f'[visits] season = "{season}"',
                    f"has no onset in zone {zone!a}" if zone else "has no onset",
                    f"Give season.onset_{season}, or take another season",
                )
            )
        begins = calendar[(calendar["zone"] == zone) & (calendar["work"] == ONSET)]["first_day"]
        if observed is not None:
            faults += _contradictions(events, begins.min(), observed)
        seen = dict(events)
        table = windows(works, seen, storms, handbook)
        onsets.append(seen.get(ONSET, works.loc[works["work"] == ONSET, "first_day"].iloc[0]))
        found.append(table.assign(group=number))
    if faults:
        raise InputError(*dict.fromkeys(faults))
    table = pd.concat(found, ignore_index=True)
    return Dated(table[["group", *(name for name in table if name != "group")]], group, min(onsets))


def _seen(
    observed: pd.DataFrame | None, village: str
) -> tuple[tuple[tuple[str, date], ...], tuple[date, ...]]:
    """Take what was seen in a village: its own rows stand before those of all."""
    if observed is None or observed.empty:
        return (), ()
    events: dict[str, date] = {}
    storms = []
    for own in ("", village):
        for row in observed[observed["village"] == own].to_dict("records"):
            if row["event"] == STORM:
                storms.append(row["day"])
            else:
                events[str(row["event"])] = row["day"]
    ordered = tuple((event, events[event]) for event in EVENTS if event in events)
    return ordered, tuple(sorted(set(storms)))


def _contradictions(
    events: tuple[tuple[str, date], ...], onset: date, observed: pd.DataFrame
) -> Iterator[Fault]:
    """Name what was seen before what comes before it."""
    before = (f"{ONSET} of the plan at its earliest", onset)
    for event, day in events:
        if event != ONSET and day < before[1]:
            told = observed[(observed["event"] == event) & (observed["day"] == day)]
            yield Fault(
                f"[visits] observed {row_named(told['source_row'].iloc[0])}",
                f"{event} was seen on {day}, before {before[0]} on {before[1]}",
                f"Correct the day, or give the day on which {ONSET} was seen",
            )
        before = (event, day)
