"""Files of visits: tables as CSV, a calendar an agent, a GPX route a day."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import TYPE_CHECKING, Any, cast

import pandas as pd

from districtplan.outputs import gpx, visit_words
from districtplan.outputs.tables_csv import write
from districtplan.outputs.visit_calendar import calendar_file
from districtplan.outputs.visit_tables import routes, visit_tables

if TYPE_CHECKING:
    from collections.abc import Iterator

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results


def render(results: Results, texts: Texts) -> dict[str, bytes]:
    """Write them.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, bytes]
        ``visits.csv``, ``visits/….csv``, ``visits/a001-….ics`` and ``visits/a001-…/day.gpx``, where
        the plan names agents. No farmer is named.
    """
    found = results.visits
    if found is None:
        return {}
    tables = dict(visit_tables(results))
    calendars = visit_words.calendars(results, texts)
    district = results.plan.district
    # One count of changes: that of the calendars.
    count = {event.uid: event.sequence for events in calendars.values() for event in events}
    visits = tables["visits"]
    told = [
        count.get(visit_words.uid(district.name, visit), before)
        for visit, before in zip(visits["visit_id"], visits["visit_sequence"], strict=True)
    ]
    tables["visits"] = visits.assign(visit_sequence=told)
    files = {f"{name}.csv": write(table) for name, table in tables.items()}
    made_on = results.plan.visits.made_on or district.planting_date
    stamp = datetime.combine(made_on, time())
    stems = visit_words.agent_stems(found)
    for agent, events in calendars.items():
        name = texts.say("visits.calendar", agent=agent, district=district.name)
        files[f"visits/{stems[agent]}.ics"] = calendar_file(events, name, stamp)
    for agent, day, stops, line in routes(found):
        on = cast("date", day)
        title = texts.say("visits.route", agent=agent, day=texts.day(on))
        points = [
            point
            for row in cast("list[dict[str, Any]]", stops.to_dict("records"))
            for point in _points(row, texts)
        ]
        content = gpx.write(title, [], points, on, gpx.Route(title, line))
        files[f"visits/{stems[agent]}/{on.isoformat()}.gpx"] = content
    return files


def _points(row: dict[str, Any], texts: Texts) -> Iterator[gpx.Waypoint]:
    """Give a stop, after where what is ridden to it stays."""
    if pd.notna(row["roadhead_longitude_deg"]):
        yield gpx.Waypoint(
            texts.say("visits.route_roadhead", place=row["visit_place"]),
            row["roadhead_longitude_deg"],
            row["roadhead_latitude_deg"],
        )
    yield gpx.Waypoint(
        f"{row['visit_begins']} {row['visit_place']}",
        row["place_longitude_deg"],
        row["place_latitude_deg"],
        f"{visit_words.stage(row, texts)}. {visit_words.task(row, texts)}",
    )
