"""The demo's agents, their leave, meeting places, and a visit fixed by hand: all invented."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

import numpy as np
from pyproj import Transformer

from districtplan.demo.ground import EPSG
from districtplan.demo.season import SHOWN

if TYPE_CHECKING:
    from collections.abc import Iterable

    from districtplan.demo.fields import Field

HEAD = (
    "agent_id", "name", "longitude_deg", "latitude_deg", "week_days", "from", "to", "hours_most",
    "mode", "speed_km_h", "wet_speed_km_h", "serves", "barred", "litres_100_km", "fuel_l", "tank_l",
    "days_most",
)  # fmt: skip
WEEK = "mon tue wed thu fri"
AGENTS = (
    ("A1", "Tarvi Oskel", "Gorrimbasi", WEEK, "07:00", "motorcycle", "25", "12", "2.5", "40", "9"),
    ("A2", "Mirre Sandovi", "Kestumoro", WEEK, "07:00", "bicycle", "10", "6", "", "", ""),
    ("A3", "Jolum Adrak", "Luvaquessi", "mon wed thu sat", "06:30", "on foot", *[""] * 5),
)
"""Id, name, village of the base, days, begin, mode, speeds, litres on 100 km, fuel and tank."""
END, HOURS, PAID = "13:30", "6.5", "60"
MEETINGS = (("market", "Dovimbeka"), ("school yard", "Imbrasque"), ("well", "Fenquara"))
LEAVE = ("A2", "2026-04-06", "2026-04-10")
FIXED_STAGE, FIXED_DAY = "planting", "2026-03-17"


def agents(good: list[Field]) -> bytes:
    """Write the agents.

    Parameters
    ----------
    good : list[Field]
        The fields; bases lie amid those of a village.

    Returns
    -------
    bytes
        A CSV file: one agent rides, one cycles, one walks.
    """
    rows = []
    for agent, name, village, days, begins, mode, speed, wet, litres, fuel, tank in AGENTS:
        rides = (speed, wet, "", "", litres, fuel, tank)
        hours = (days, begins, END, HOURS)
        rows.append((agent, name, *_amid(good, village), *hours, mode, *rides, PAID))
    return _csv([HEAD, *rows])


def meeting_places(good: list[Field]) -> bytes:
    """Write where farmers meet.

    Parameters
    ----------
    good : list[Field]
        The fields.

    Returns
    -------
    bytes
        A CSV file.
    """
    head = ("meeting_place", "village", "longitude_deg", "latitude_deg")
    rows = [(f"{what} of {town}", town, *_amid(good, town)) for what, town in MEETINGS]
    return _csv([head, *rows])


def leave() -> bytes:
    """Write who is on leave.

    Returns
    -------
    bytes
        A CSV file.
    """
    return _csv([("agent_id", "first_day", "last_day"), LEAVE])


def by_hand() -> bytes:
    """Write a visit that the office has fixed.

    Returns
    -------
    bytes
        A CSV file: the day on which planting is shown at a demonstration plot.
    """
    return _csv([("place", "stage", "agent_id", "day"), (SHOWN[0], FIXED_STAGE, "A1", FIXED_DAY)])


def _amid(good: list[Field], village: str) -> tuple[str, str]:
    own = [field.outline.centroid for field in good if field.village == village]
    middle = np.mean([(point.x, point.y) for point in own], axis=0)
    to_degrees = Transformer.from_crs(f"EPSG:{EPSG}", "EPSG:4326", always_xy=True)
    longitude, latitude = to_degrees.transform(*middle)
    return f"{longitude:.5f}", f"{latitude:.5f}"


def _csv(rows: Iterable[tuple[str, ...]]) -> bytes:
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    return text.getvalue().encode()
