"""Files on visits: agents and their leave, meeting places, what is fixed by hand, what was seen."""

from __future__ import annotations

import contextlib
import re
from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple

from districtplan.accepted import (
    NUMBER,
    SHOWN_MAX,
    TEXT_MAX,
    Given,
    UnusableError,
    accept,
    row_named,
)
from districtplan.errors import Fault, InputError
from districtplan.plan import FIRST_DAY, LAST_DAY
from districtplan.signs import hidden
from districtplan.visits.days import HOUR_MIN
from districtplan.visits.stages import EVENTS, STORM
from districtplan.visits.units import parts

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    import pandas as pd

    Within = Mapping[str, tuple[float, float]]

AGENTS = (
    "agent_id", "name", "longitude_deg", "latitude_deg", "week_days", "from", "to", "hours_most",
    "mode", "speed_km_h", "wet_speed_km_h", "serves", "barred", "litres_100_km", "fuel_l",
    "tank_l", "days_most",
)  # fmt: skip
LEAVE = ("agent_id", "first_day", "last_day")
MEETING_PLACES = ("meeting_place", "village", "longitude_deg", "latitude_deg")
BY_HAND = ("place", "stage", "agent_id", "day")
OBSERVED = ("event", "day", "village")
TRIPS = ("agent_id", "day", "km", "minutes")
CARRIED_ON = (
    "visit_id", "agent_id", "visit_day", "visit_begins", "visit_ends", "visit_status",
    "visit_sequence", "visit_agents_before", "done",
)  # fmt: skip
"""Columns of these files."""
WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
ON_FOOT = "on foot"
MODES = (ON_FOOT, "bicycle", "motorcycle", "car")
AGENTS_MAX = 2_000
"""More agents than any district has: ways between their bases wouldn't fit into memory."""
LISTED = 5
"""Known names that a message lists."""
PARTED = "|"
"""What stands between names of villages in a cell."""
FUEL_MODES = frozenset(MODES[2:])
LIMITS = {
    "hours_most": (0.5, 24.0), "speed_km_h": (1.0, 120.0), "wet_speed_km_h": (0.0, 120.0),
    "litres_100_km": (0.1, 100.0), "fuel_l": (0.0, 100_000.0), "tank_l": (0.1, 1_000.0),
    "days_most": (0.0, 366.0), "km": (0.1, 1_000.0),
    "minutes": (1.0, 1_440.0),
}  # fmt: skip
"""Least and most of each number."""
EARTH = {"longitude_deg": (-180.0, 180.0), "latitude_deg": (-90.0, 90.0)}
"""Least and most degrees that there are (WGS 84)."""
_CLOCK = re.compile("([01][0-9]|2[0-3]):([0-5][0-9])")
_WHOLE = re.compile("[0-9]{1,6}")


def accept_agents(given: pd.DataFrame, villages: Collection[str], within: Within = EARTH) -> Given:
    """Take the agents that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``AGENTS`` as text, ``reason`` and ``remedy``.
    villages : Collection[str]
        Villages that there are.
    within : Mapping[str, tuple[float, float]], default EARTH
        Least and most ``longitude_deg`` and ``latitude_deg`` of a base [degrees].

    Returns
    -------
    Given
        Rows used: the columns ``AGENTS``: ``week_days`` as numbers (Monday is 0), ``from`` and
        ``to`` in minutes from midnight, ``serves`` and ``barred`` as tuples, numbers as numbers and
        None where left empty, ``wet_speed_km_h`` that of dry days where left empty; and rows set
        aside.
    """
    seen, known = given["agent_id"].value_counts(), set(villages)

    def read(row: dict[str, Any]) -> dict[str, Any]:
        agent = _printed(row, "agent_id", "Give each agent an id")
        if PARTED in agent:
            raise UnusableError(f"its agent_id has {PARTED}, which parts names", "Leave it out")
        _once(seen[agent], "agent_id")
        numbers = {
            name: _number(name, row[name], limits)
            for name, limits in LIMITS.items()
            if name in AGENTS
        }
        told = {name: row[name] for name in ("from", "to")}
        begins, ends = (_minutes(name, text) for name, text in told.items())
        if begins >= ends:
            raise UnusableError("its day ends before it begins", "Give from before to")
        return {
            "agent_id": agent,
            "name": row["name"] if row["name"] and not hidden(row["name"]) else agent,
            **_place(row, within),
            "week_days": _week_days(row["week_days"]),
            "from": begins,
            "to": ends,
            **numbers,
            **_riding(row["mode"].lower(), numbers),
            **{name: _villages(name, row[name], known) for name in ("serves", "barred")},
        }

    return accept(given, "agent_id", set(given["agent_id"]), read, AGENTS)


def accept_leave(given: pd.DataFrame, agents: Collection[str]) -> Given:
    """Take the days of leave that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``LEAVE`` as text, ``reason`` and ``remedy``.
    agents : Collection[str]
        Ids of agents.

    Returns
    -------
    Given
        Rows used: ``source_row`` and the columns ``LEAVE``, days as dates; and rows set aside.
    """

    def read(row: dict[str, Any]) -> dict[str, Any]:
        _known("agent_id", row["agent_id"], agents)
        first, last = (_day(name, row[name]) for name in LEAVE[1:])
        if first > last:
            raise UnusableError("its leave ends before it begins", "Give first_day first")
        return {
            "source_row": row["source_row"],
            "agent_id": row["agent_id"],
            "first_day": first,
            "last_day": last,
        }

    return accept(given, "agent_id", set(given["agent_id"]), read, ("source_row", *LEAVE))


def accept_trips(given: pd.DataFrame, agents: Collection[str]) -> Given:
    """Take the recorded trips that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``TRIPS`` as text, ``reason`` and ``remedy``.
    agents : Collection[str]
        Ids of agents.

    Returns
    -------
    Given
        Rows used: the columns ``TRIPS``, ``day`` as a date and numbers as numbers; and rows set
        aside.
    """

    def read(row: dict[str, Any]) -> dict[str, Any]:
        _known("agent_id", row["agent_id"], agents)
        told = {name: _number(name, row[name], LIMITS[name]) for name in TRIPS[2:]}
        for name, value in told.items():
            if value is None:
                raise UnusableError(f"it has no {name}", "Give it")
        low, high = LIMITS["speed_km_h"]
        if not low <= HOUR_MIN * (told["km"] or 0) / (told["minutes"] or 1) <= high:
            raise UnusableError("nobody rides at such a speed", "Check km and minutes")
        return {"agent_id": row["agent_id"], "day": _day("day", row["day"]), **told}

    return accept(given, "agent_id", set(given["agent_id"]), read, TRIPS)


def accept_meeting_places(
    given: pd.DataFrame, villages: Collection[str], within: Within = EARTH
) -> Given:
    """Take the meeting places that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``MEETING_PLACES`` as text, ``reason`` and ``remedy``.
    villages : Collection[str]
        Villages that there are.
    within : Mapping[str, tuple[float, float]], default EARTH
        Least and most ``longitude_deg`` and ``latitude_deg`` of a place [degrees].

    Returns
    -------
    Given
        Rows used: the columns ``MEETING_PLACES``, degrees as numbers (WGS 84); and rows set aside.
    """
    seen = given["meeting_place"].value_counts()

    def read(row: dict[str, Any]) -> dict[str, Any]:
        place = _printed(row, "meeting_place", "Give each place a name")
        _once(seen[place], "meeting_place")
        _known("village", row["village"], villages)
        return {"meeting_place": place, "village": row["village"], **_place(row, within)}

    return accept(given, "meeting_place", set(given["meeting_place"]), read, MEETING_PLACES)


class Fixable(NamedTuple):
    """What a visit may be fixed by.

    Attributes
    ----------
    plots : Collection[str]
        Ids of plots that are used.
    stages : Collection[str]
        Stages that the season has.
    sessions : Collection[tuple[str, str]]
        Places and stages of sessions.
    agents : Collection[str]
        Ids of agents.
    days : tuple[datetime.date, datetime.date]
        First and last day that can be meant: others are slips of the pen.
    """

    plots: Collection[str]
    stages: Collection[str]
    sessions: Collection[tuple[str, str]]
    agents: Collection[str]
    days: tuple[date, date]


def accept_by_hand(given: pd.DataFrame, known: Fixable) -> Given:
    """Take the visits fixed by hand that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``BY_HAND`` as text, ``reason`` and ``remedy``.
    known : Fixable
        What there is.

    Returns
    -------
    Given
        Rows used: ``source_row`` and the columns ``BY_HAND``, ``day`` as a date or None,
        ``agent_id`` empty where none is named; and rows set aside. All rows of a place name one
        agent, or only those like its first are used: one agent follows a place.
    """
    agent_of: dict[str, str] = {}
    told: set[tuple[str, str]] = set()

    def read(row: dict[str, Any]) -> dict[str, Any]:
        place, stage, agent = row["place"], row["stage"], row["agent_id"]
        _known("stage", stage, known.stages)
        if (place, stage) not in known.sessions and place not in known.plots:
            raise UnusableError(
                f"no plot that is used is {place[:SHOWN_MAX]!a}, and no session of this stage is "
                "held there",
                "Give a plot_id, or a meeting place and a stage of visits.session_stages",
            )
        if agent:
            _known("agent_id", agent, known.agents)
            if agent_of.get(place, agent) != agent:
                raise UnusableError(
                    f"another row gives this place to {agent_of[place][:SHOWN_MAX]!a}",
                    "Name one agent for all visits to a place",
                )
        if not agent and not row["day"]:
            raise UnusableError("it names neither agent nor day", "Give one of them")
        if (place, stage) in told:
            raise UnusableError("this place and stage stand in several rows", "Keep one of them")
        day = _day("day", row["day"]) if row["day"] else None
        if day is not None and not known.days[0] <= day <= known.days[1]:
            raise UnusableError(
                f"day = {day.isoformat()} lies more than half a year from the season's visits",
                "Correct the year",
            )
        # A row that is set aside takes no place from others: only here is it known to be used.
        told.add((place, stage))
        if agent:
            agent_of[place] = agent
        return {
            "source_row": row["source_row"],
            "place": place,
            "stage": stage,
            "agent_id": agent,
            "day": day,
        }

    return accept(given, "place", set(given["place"]), read, ("source_row", *BY_HAND))


def accept_observed(
    given: pd.DataFrame,
    villages: Collection[str],
    days: tuple[date, date],
    made_on: date | None = None,
) -> Given:
    """Take what was seen in the field that can be used and set the rest aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``OBSERVED`` as text, ``reason`` and ``remedy``.
    villages : Collection[str]
        Villages that there are.
    days : tuple[datetime.date, datetime.date]
        First and last day that can be meant: others are slips of the pen.
    made_on : datetime.date | None, default None
        Day on which the plan is made, if it is known.

    Returns
    -------
    Given
        Rows used: ``source_row`` and the columns ``OBSERVED``, ``day`` as a date, ``village`` empty
        for all; and rows set aside. But for storms, an event is seen once in a village.
    """
    told: set[tuple[str, str]] = set()

    def read(row: dict[str, Any]) -> dict[str, Any]:
        event, village = row["event"].strip().lower(), row["village"]
        _known("event", event, (*EVENTS, STORM))
        if village:
            _known("village", village, villages)
        day = _day("day", row["day"])
        if event != STORM and (event, village) in told:
            raise UnusableError("this event stands in several rows", "Keep one of them")
        if not days[0] <= day <= days[1]:
            raise UnusableError(
                f"day = {day.isoformat()} lies more than half a year from the onset of rain",
                "Correct the year",
            )
        if made_on is not None and day > made_on:
            raise UnusableError(
                f"day = {day.isoformat()} lies after visits.made_on = {made_on.isoformat()}",
                "Correct the day; what is yet to come leave out",
            )
        told.add((event, village))
        return {"source_row": row["source_row"], "event": event, "day": day, "village": village}

    return accept(given, "event", set(given["event"]), read, ("source_row", *OBSERVED))


def accept_carried_on(given: pd.DataFrame, stages: Collection[str]) -> Given:
    """Take the visits of the run before that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns ``CARRIED_ON`` as text, ``reason`` and ``remedy``.
    stages : Collection[str]
        Stages that visits may be of.

    Returns
    -------
    Given
        Rows used: the columns ``CARRIED_ON``; ``visit_day`` as a date and ``visit_begins`` and
        ``visit_ends`` in minutes from midnight, None of visits that were left out,
        ``visit_sequence`` as a number, ``visit_agents_before`` as a tuple, ``done`` as a truth
        value; and rows set aside.
    """
    seen = given["visit_id"].value_counts()

    def read(row: dict[str, Any]) -> dict[str, Any]:
        _once(seen[row["visit_id"]], "visit_id")
        if parts(row["visit_id"])[0] not in stages:
            raise UnusableError("its visit_id has no stage that is known", "Leave it as it was")
        done = row["done"].lower()
        if done not in ("yes", "no", ""):
            told = f"done = {row['done'][:SHOWN_MAX]!a} isn't yes or no"
            raise UnusableError(told, "Write yes where the visit was made")
        planned = bool(row["visit_day"])
        if done == "yes" and not planned:
            raise UnusableError("it is done without a visit_day", "Give the day")
        if not _WHOLE.fullmatch(row["visit_sequence"] or "0"):
            raise UnusableError("visit_sequence isn't a whole number", "Leave it as it was")
        return {
            "visit_id": row["visit_id"],
            # Tables that a run writes guard text that a spreadsheet would work out.
            "agent_id": row["agent_id"].removeprefix("'"),
            "visit_agents_before": tuple(
                agent
                for agent in row["visit_agents_before"].removeprefix("'").split(PARTED)
                if agent
            ),
            "visit_day": _day("visit_day", row["visit_day"]) if planned else None,
            **{
                name: _minutes(name, row[name]) if planned else None
                for name in ("visit_begins", "visit_ends")
            },
            "visit_status": row["visit_status"],
            "visit_sequence": int(row["visit_sequence"] or 0),
            "done": done == "yes",
        }

    return accept(given, "visit_id", set(given["visit_id"]), read, CARRIED_ON)


def require(given: Given, name: str, least: int = 0, most: int | None = None) -> None:
    """Refuse a file of which a row can't be used: without it the plan would be another.

    Parameters
    ----------
    given : Given
        Its rows.
    name : str
        Name of the file as in the plan.
    least : int, default 0
        Fewest rows.
    most : int | None, default None
        Most rows, if there is a limit.

    Raises
    ------
    InputError
        If a row was set aside, with all of them; or if there are fewer or more.
    """
    aside = given.set_aside
    if len(aside):
        key = aside.columns[1]
        raise InputError(
            *(
                Fault(f"{name} {row_named(row['source_row'])}, {key} {row[key][:SHOWN_MAX]!a}",
                      str(row["reason"]), str(row["remedy"]))
                for row in aside.to_dict("records")
            )
        )  # fmt: skip
    if len(given.used) < least:
        raise InputError(Fault(name, "has no row", "Give one row an agent"))
    if most is not None and given.rows_read > most:
        raise InputError(
            Fault(name, f"has {given.rows_read:,} rows, more than {most:,}", "Part the district")
        )


def _riding(mode: str, numbers: dict[str, float | None]) -> dict[str, Any]:
    """Check the way of going about; who goes on foot has no speed."""
    if mode not in MODES:
        raise UnusableError(
            f"mode = {mode[:SHOWN_MAX]!a} isn't one of {', '.join(MODES)}", "Write one of them"
        )
    speed, wet = numbers["speed_km_h"], numbers["wet_speed_km_h"]
    if mode == ON_FOOT:
        if speed is not None or wet is not None:
            raise UnusableError("it goes on foot and has a speed", "Leave the speeds empty")
        return {"mode": mode, "speed_km_h": 0.0, "wet_speed_km_h": 0.0}
    if speed is None:
        raise UnusableError("it rides and has no speed_km_h", "Give its speed on a dry day")
    if wet is not None and wet > speed:
        raise UnusableError("wet_speed_km_h is above speed_km_h", "Change one of them")
    if mode in FUEL_MODES and numbers["litres_100_km"] is None:
        raise UnusableError("it burns fuel and has no litres_100_km", "Give it")
    return {"mode": mode, "speed_km_h": speed, "wet_speed_km_h": speed if wet is None else wet}


def _week_days(text: str) -> tuple[int, ...]:
    words = text.lower().split()
    if not words or not set(words) <= set(WEEK) or len(set(words)) < len(words):
        raise UnusableError(
            f"week_days = {text[:SHOWN_MAX]!a} isn't a list of days",
            "Write days such as mon tue wed thu fri",
        )
    return tuple(sorted(WEEK.index(word) for word in words))


def _villages(name: str, text: str, known: Collection[str]) -> tuple[str, ...]:
    found = tuple(part.strip() for part in text.split(PARTED) if part.strip())
    for village in found:
        if village not in known:
            raise UnusableError(
                f"{name} names {village[:SHOWN_MAX]!a}, which no plot that is used is in",
                f"Give names as in a run's villages.csv, parted by {PARTED}",
            )
    return found


def near(plots: pd.DataFrame, far_deg: float) -> Within:
    """Say where what belongs to plots may lie.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``longitude_deg`` and ``latitude_deg`` of the plots that are used (WGS 84).
    far_deg : float
        How far beyond all plots it may be [degrees]: what is further is a slip.

    Returns
    -------
    Mapping[str, tuple[float, float]]
        Least and most of both [degrees].
    """
    return {
        name: (float(plots[name].min()) - far_deg, float(plots[name].max()) + far_deg)
        for name in EARTH
    }


def _place(row: dict[str, Any], within: Within) -> dict[str, float]:
    found = {}
    for name, (_, most) in EARTH.items():
        text = row[name]
        if not re.fullmatch(f"-?{NUMBER}", text) or abs(float(text)) > most:
            told = f"{name} = {text[:SHOWN_MAX]!a} isn't a number of degrees"
            raise UnusableError(told, "Write digits only, such as 36.82145")
        found[name] = float(text)
        if not within[name][0] <= found[name] <= within[name][1]:
            told = f"{name} = {text[:SHOWN_MAX]!a} is far from all plots"
            raise UnusableError(told, "Look whether longitude and latitude are in their columns")
    return found


def _printed(row: dict[str, Any], key: str, remedy: str) -> str:
    text = str(row[key])
    if not text.strip() or len(text) > TEXT_MAX or hidden(text):
        raise UnusableError(f"it has no {key} that can be printed", remedy)
    return text


def _once(times: int, key: str) -> None:
    if times > 1:
        raise UnusableError(f"this {key} stands in several rows", "Keep one of them")


def _known(name: str, text: str, known: Collection[str]) -> None:
    if text not in known:
        some = ", ".join(ascii(one[:SHOWN_MAX]) for one in sorted(known)[:LISTED])
        raise UnusableError(
            f"{name} = {text[:SHOWN_MAX]!a} isn't known", f"Write it as it stands, such as {some}"
        )


def _number(name: str, text: str, limits: tuple[float, float]) -> float | None:
    if not text:
        return None
    low, high = limits
    if not re.fullmatch(NUMBER, text) or not low <= float(text) <= high:
        told = f"{name} = {text[:SHOWN_MAX]!a} isn't a number from {low:g} to {high:g}"
        raise UnusableError(told, "Write digits only, or leave it empty")
    return float(text)


def _minutes(name: str, text: str) -> int:
    found = _CLOCK.fullmatch(text)
    if found is None:
        raise UnusableError(
            f"{name} = {text[:SHOWN_MAX]!a} isn't a time of the day", "Write it as 07:30"
        )
    return HOUR_MIN * int(found[1]) + int(found[2])


def _day(name: str, text: str) -> date:
    day: date | None = None
    with contextlib.suppress(ValueError):
        day = date.fromisoformat(text)
    if day is None or not FIRST_DAY <= day <= LAST_DAY:
        told = f"{name} = {text[:SHOWN_MAX]!a} isn't a day"
        raise UnusableError(told, "Write year-month-day, such as 2026-03-15")
    return day
