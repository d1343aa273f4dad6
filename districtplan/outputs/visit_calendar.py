"""Visits as a calendar file [1]_, in floating local times: seven o'clock wherever it is read.

A visit keeps its identifier through every new plan. What has changed has a higher sequence number
than before, and a visit that was dropped stays, as cancelled, so that it vanishes from phones.

References
----------
.. [1] Desruisseaux, B. (2009). Internet Calendaring and Scheduling Core Object Specification
   (iCalendar). RFC 5545.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

LINE_OCTETS = 75
"""Longest line, without its end."""
ESCAPED = {"\\": "\\\\", ";": "\\;", ",": "\\,", "\r\n": "\\n", "\n": "\\n", "\r": "\\n"}
LOCAL = "%Y%m%dT%H%M%S"


class Event(NamedTuple):
    """A visit in a calendar.

    Attributes
    ----------
    uid : str
        What it is known by, the same in every plan.
    begins, ends : datetime.datetime
        Local times, without a zone.
    summary, place, note : str
        What is shown of it.
    sequence : int
        How often it was changed.
    cancelled : bool
        Whether it is no longer made.
    agent : str
        Whose visit it is, which isn't written: given to another, it has changed.
    """

    uid: str
    begins: datetime
    ends: datetime
    summary: str
    place: str
    note: str
    sequence: int = 0
    cancelled: bool = False
    agent: str = ""


def revised(before: Iterable[Event], now: Iterable[Event]) -> list[Event]:
    """Give what a new plan changes a higher sequence number.

    Parameters
    ----------
    before : Iterable[Event]
        The calendar that was handed out.
    now : Iterable[Event]
        The new plan's visits, with any sequence numbers.

    Returns
    -------
    list[Event]
        By time: those of the new plan, and as cancelled those that it no longer has.
    """
    known = {event.uid: event for event in before}
    found = []
    for event in now:
        old = known.pop(event.uid, None)
        sequence = 0 if old is None else old.sequence
        same = old is None or event._replace(sequence=sequence) == old
        found.append(event._replace(sequence=sequence if same else sequence + 1))
    for old in known.values():
        gone = old if old.cancelled else old._replace(cancelled=True, sequence=old.sequence + 1)
        found.append(gone)
    return sorted(found, key=lambda event: (event.begins, event.uid))


def calendar_file(events: Sequence[Event], name: str, stamp: datetime) -> bytes:
    """Write a calendar.

    Parameters
    ----------
    events : Sequence[Event]
        Its visits, in the order in which they are to stand.
    name : str
        What the calendar is called.
    stamp : datetime.datetime
        When the plan was made, in UTC; it comes from the plan and not from a clock.

    Returns
    -------
    bytes
        UTF-8, lines ended by CRLF and folded at 75 octets.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//districtplan//visits//EN",
        "CALSCALE:GREGORIAN",
        f"X-WR-CALNAME:{_text(name)}",
    ]
    for event in events:
        lines += [
            "BEGIN:VEVENT",
            f"UID:{_text(event.uid)}",
            f"DTSTAMP:{stamp.strftime(LOCAL)}Z",
            f"DTSTART:{event.begins.strftime(LOCAL)}",
            f"DTEND:{event.ends.strftime(LOCAL)}",
            f"SEQUENCE:{event.sequence}",
            f"STATUS:{'CANCELLED' if event.cancelled else 'CONFIRMED'}",
            f"SUMMARY:{_text(event.summary)}",
            f"LOCATION:{_text(event.place)}",
            f"DESCRIPTION:{_text(event.note)}",
            "END:VEVENT",
        ]
    lines.append("END:VCALENDAR")
    return b"".join(_folded(line) for line in lines)


def _text(value: str) -> str:
    """Escape what would end a value; leave out other control characters."""
    for sign, written in ESCAPED.items():
        value = value.replace(sign, written)
    return "".join(sign for sign in value if sign.isprintable())


def _folded(line: str) -> bytes:
    """Break a line where it is too long, never within a letter."""
    parts, part = [], b""
    for sign in line:
        octets = sign.encode()
        # A line that goes on begins with a space, which counts.
        if len(part) + len(octets) > LINE_OCTETS:
            parts.append(part)
            part = b" "
        part += octets
    return b"\r\n".join([*parts, part]) + b"\r\n"
