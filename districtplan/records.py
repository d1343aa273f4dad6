"""What comes back from the field: ground readings that can be used, and those set aside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan import geodesy

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from numpy.typing import ArrayLike

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

TABLE = "ground_readings"
"""The handbook's limits and errors of readings."""

REFERENCES = ("true", "magnetic", "grid")
"""The norths that a bearing may be read from."""

METHOD_MAX = 60
"""Longest description of how a reading was made [characters]."""

TEXT_MAX = 200
FULL_TURN = 360
LISTED = 10
GIVEN = (
    "source_row",
    "plot_id",
    "slope_pct",
    "bearing_deg",
    "bearing_reference",
    "method",
    "date",
    "reason",
    "remedy",
)
"""Columns of readings as a file gives them; reason and remedy are None where they were read."""


@dataclass(frozen=True)
class Readings:
    """The readings of a file, none lost.

    Attributes
    ----------
    used : pandas.DataFrame
        ``source_row``, ``plot_id``, ``slope_pct`` and ``bearing_deg`` (NaN where not read),
        ``bearing_reference``, ``method`` and ``date``, in the order of the file.
    set_aside : pandas.DataFrame
        ``source_row, plot_id, reason, remedy`` of the others.
    """

    used: pd.DataFrame
    set_aside: pd.DataFrame


def accept(
    given: pd.DataFrame,
    known: pd.DataFrame,
    refused: pd.DataFrame,
    plan: Plan,
    handbook: Handbook,
) -> Readings:
    """Take the readings that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        The columns ``GIVEN``.
    known : pandas.DataFrame
        ``plot_id`` of the plots used.
    refused : pandas.DataFrame
        ``plot_id`` of the rows of the plots file that were set aside.
    plan : Plan
        Its planting date, after which no reading can be, nor too long before it.
    handbook : Handbook
        Believable slopes and ages (table ``ground_readings``).

    Returns
    -------
    Readings
        Rows used and rows set aside: together all rows given.
    """
    given = given.reset_index(drop=True)
    reasons: dict[int, tuple[str, str]] = {}
    for check in (
        _unread(given),
        _unknown(given, known, refused),
        _unbelievable(given, handbook),
        _untimely(given, plan, handbook),
        _without_north(given, plan),
    ):
        for place, reason, remedy in check:
            reasons.setdefault(place, (reason, remedy))
    for place, reason, remedy in _repeated(given.drop(index=list(reasons))):
        reasons.setdefault(place, (reason, remedy))
    places = sorted(reasons)
    aside = pd.DataFrame(
        {
            "source_row": given["source_row"].to_numpy(dtype=np.int64)[places],
            "plot_id": given["plot_id"].iloc[places].astype("str").str[:TEXT_MAX].to_numpy(),
            "reason": pd.Series([reasons[p][0] for p in places], dtype="str"),
            "remedy": pd.Series([reasons[p][1] for p in places], dtype="str"),
        }
    )
    used = given.drop(columns=["reason", "remedy"]).drop(index=places)
    return Readings(used.reset_index(drop=True), aside)


Told = tuple[int, str, str]


def _places(marked: ArrayLike) -> list[int]:
    found: list[int] = np.flatnonzero(marked).tolist()
    return found


def _unread(given: pd.DataFrame) -> Iterator[Told]:
    for place, (reason, remedy) in enumerate(zip(given["reason"], given["remedy"], strict=True)):
        if reason is not None:
            yield place, reason, remedy


def _unknown(given: pd.DataFrame, known: pd.DataFrame, refused: pd.DataFrame) -> Iterator[Told]:
    ids, used, aside = given["plot_id"].tolist(), set(known["plot_id"]), set(refused["plot_id"])
    for place, plot_id in enumerate(ids):
        shown = repr(plot_id[:TEXT_MAX])
        if plot_id in used:
            continue
        if plot_id in aside:
            yield place, f"the plot {shown} was set aside", "See set_aside.csv for its reason"
        else:
            yield (
                place,
                f"there is no plot with the id {shown}",
                "Give the id as it stands in the plots file, capitals and spaces too",
            )


def _unbelievable(given: pd.DataFrame, handbook: Handbook) -> Iterator[Told]:
    steepest = handbook.number(TABLE, "slope_max_pct")
    slope, bearing = given["slope_pct"].to_numpy(), given["bearing_deg"].to_numpy()
    for place in _places((slope < 0) | (slope > steepest)):
        yield (
            place,
            f"slope_pct = {slope[place]:g} isn't within 0 and {steepest:g}",
            "Give metres of fall in 100 m: 45 degrees are 100 %",
        )
    for place in _places((bearing < 0) | (bearing > FULL_TURN)):
        yield (
            place,
            f"bearing_deg = {bearing[place]:g} isn't within 0 and {FULL_TURN}",
            "Read it clockwise from north, along the level line",
        )


def _untimely(given: pd.DataFrame, plan: Plan, handbook: Handbook) -> Iterator[Told]:
    latest = plan.district.planting_date
    oldest = handbook.number(TABLE, "age_max_years")
    season = geodesy.decimal_year(latest)
    days = given["date"]
    # Many readings share few days.
    later = {day for day in days.unique() if day is not None and day > latest}
    stale = {
        day
        for day in days.unique()
        if day is not None and day <= latest and season - geodesy.decimal_year(day) > oldest
    }
    for place in _places(days.isin(later | stale)):
        day = days.iloc[place].isoformat()
        if days.iloc[place] in later:
            yield (
                place,
                f"date = {day} lies after the planting date {latest.isoformat()}",
                "Correct it, or planting_date in the plan",
            )
        else:
            yield (
                place,
                f"date = {day} lies more than {oldest:g} years before the planting date "
                f"{latest.isoformat()}",
                "Correct it, or measure again: land changes",
            )


def _without_north(given: pd.DataFrame, plan: Plan) -> Iterator[Told]:
    """Find compass bearings of a day that the magnetic model doesn't hold."""
    first, last = geodesy.magnetic_model_years()
    # A later day is told of already.
    beyond = {
        day
        for day in given["date"].unique()
        if day is not None
        and day <= plan.district.planting_date
        and not first <= geodesy.decimal_year(day) <= last
    }
    for place in _places(given["date"].isin(beyond) & (given["bearing_reference"] == "magnetic")):
        day = given["date"].iloc[place].isoformat()
        yield (
            place,
            f"the magnetic model holds from {first:g} to {last:g}, not on {day}, so the compass "
            "bearing can't be used",
            "Give the bearing from true or grid north; for a later day install a newer pygeomag",
        )


def _repeated(sound: pd.DataFrame) -> Iterator[Told]:
    """Find readings of one thing on one plot and day: which is right is unknown."""
    for column, name in (("slope_pct", "slope"), ("bearing_deg", "bearing")):
        read = sound.loc[sound[column].notna(), ["source_row", "plot_id", "date"]]
        again = read[read.duplicated(["plot_id", "date"], keep=False)]
        places: dict[tuple[str, date], list[int]] = {}
        for place, plot_id, day in zip(again.index, again["plot_id"], again["date"], strict=True):
            places.setdefault((plot_id, day), []).append(int(place))
        for (_, day), rows in places.items():
            listed = ", ".join(str(row) for row in again.loc[rows[:LISTED], "source_row"])
            more = f" and {len(rows) - LISTED} more" if len(rows) > LISTED else ""
            reason = (
                f"the plot's {name} on {day.isoformat()} stands in {len(rows)} readings: "
                f"{listed}{more}"
            )
            for row in rows:
                yield row, reason, "Keep one of them"
