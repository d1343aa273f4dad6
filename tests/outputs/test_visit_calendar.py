"""Calendars of visits: read back by another library; a new plan keeps identifiers."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from icalendar import Calendar

from districtplan.outputs.visit_calendar import Event, calendar_file, revised

STAMP = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
SEVEN, EIGHT = datetime(2026, 3, 16, 7), datetime(2026, 3, 16, 8)  # noqa: DTZ001 - floating on purpose
ONE = Event(
    "pegging-P0001@upper-ridge", SEVEN, EIGHT, "Pegging, plot P0001", "Upper Ridge", "Level"
)


def read(events, name="Agent 1"):
    written = calendar_file(events, name, STAMP)
    return written, Calendar.from_ical(written, multiple=False)


def test_what_is_written_is_read_back():
    written, found = read([ONE._replace(sequence=3, note="Level; string, pegs\nScale")])
    (event,) = found.walk("VEVENT")
    assert found.errors == event.errors == []
    assert written.startswith(b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\n")
    assert written.endswith(b"END:VCALENDAR\r\n")
    assert event["UID"] == ONE.uid
    assert event.decoded("DTSTAMP") == STAMP
    # Floating: no zone.
    assert event.decoded("DTSTART") == SEVEN
    assert event.decoded("DTSTART").tzinfo is None
    assert b"DTSTART:20260316T070000\r\n" in written
    assert event["SEQUENCE"] == 3
    assert event["DESCRIPTION"] == "Level; string, pegs\nScale"


@settings(max_examples=50, deadline=None)
@given(st.text(st.characters(codec="utf-8"), max_size=300))
def test_any_name_is_folded_escaped_and_read_back(name):
    written, found = read([ONE._replace(summary=name)])
    assert all(len(line) <= 75 for line in written.split(b"\r\n"))
    assert b"\n" not in written.replace(b"\r\n", b"")
    assert b"\r" not in written.replace(b"\r\n", b"")
    (event,) = found.walk("VEVENT")
    ends = name.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    shown = "\n".join("".join(sign for sign in part if sign.isprintable()) for part in ends)
    assert event["SUMMARY"] == shown


def test_a_name_cannot_smuggle_an_event_in():
    _, found = read([ONE._replace(place="x\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nUID:evil")])
    assert len(found.walk("VEVENT")) == 1


def test_a_new_plan_keeps_identifiers_raises_what_changed_and_cancels_what_is_gone():
    other, third = (ONE._replace(uid=uid) for uid in ("b", "c"))
    later = third._replace(begins=EIGHT, ends=datetime(2026, 3, 16, 9))  # noqa: DTZ001
    first = revised([], [ONE, other, third])
    assert {event.sequence for event in first} == {0}
    second = {event.uid: event for event in revised(first, [ONE, later])}
    assert second[ONE.uid] == ONE
    assert second["c"] == later._replace(sequence=1)
    assert second["b"] == other._replace(sequence=1, cancelled=True)
    # Once more the same: nothing changes, the cancelled one stays.
    assert {event.uid: event for event in revised(second.values(), [ONE, later])} == second
    # Taken up again, it counts on.
    again = {event.uid: event for event in revised(second.values(), [ONE, other, later])}
    assert again["b"] == other._replace(sequence=2)
    written, _ = read(list(second.values()))
    assert written.count(b"STATUS:CANCELLED\r\n") == 1


@pytest.mark.parametrize("same", [True, False])
def test_the_same_events_give_the_same_bytes(same):
    other = ONE if same else ONE._replace(sequence=1)
    assert (calendar_file([ONE], "A", STAMP) == calendar_file([other], "A", STAMP)) is same
