"""The season's works, counted back and forward from the onset of rain."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pandas as pd

from districtplan.inputs.zones import DAYS, REST

if TYPE_CHECKING:
    from collections.abc import Iterator

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

TABLE = "season_calendar"
"""The handbook's works before and beside those of the practice."""
NURSERIES = "nurseries"
WEEK_DAYS = 7
WEEDINGS = ("weeding_1", "weeding_2", "weeding_3")
PLANTING = ("depth_low_cm", "depth_high_cm", "band_beside_cm", "band_below_cm")
"""Numbers that a team needs when it plants."""


def zoned(plan: Plan, handbook: Handbook, zones: pd.DataFrame | None) -> pd.DataFrame:
    """Date the works of each zone.

    Parameters
    ----------
    plan : Plan
        Onsets of the villages that no zone names.
    handbook : Handbook
        Tables ``practice`` and ``season_calendar``.
    zones : pandas.DataFrame | None
        Rows used of the file of onsets; None where the plan names none.

    Returns
    -------
    pandas.DataFrame
        What :func:`calendar` gives, after ``zone``, which is empty for the plan's own onsets.
    """
    found = [calendar(plan, handbook).assign(zone=REST)]
    if zones is not None:
        for row in zones.drop_duplicates("zone").to_dict("records"):
            days = {name: row[name] for name in DAYS}
            season = plan.season.model_copy(update={"onset_rule": row["onset_rule"], **days})
            there = plan.model_copy(update={"season": season})
            found.append(calendar(there, handbook).assign(zone=row["zone"]))
    table = pd.concat(found, ignore_index=True)
    return table[["zone", *(name for name in table if name != "zone")]]


def calendar(plan: Plan, handbook: Handbook) -> pd.DataFrame:
    """Date the works of an early, a usual and a late season.

    Parameters
    ----------
    plan : Plan
        Its onsets; the usual one is counted back from the planting date where it isn't given.
    handbook : Handbook
        Tables ``practice`` and ``season_calendar``.

    Returns
    -------
    pandas.DataFrame
        ``season`` (early, usual, late; those that the plan gives), ``work``, ``first_day`` and
        ``last_day`` as dates, ``counted_from`` (what day 0 is), ``from_day`` and ``to_day`` from
        there, ``onset_rule`` of the onset, ``no_hoe`` (1 where flowers may be open: pull by hand),
        ``numbers`` that the work needs, ``source``; in order of time.
    """
    works = sorted(_works(plan, handbook), key=lambda work: (work["onset_day"], work["work"]))
    found = []
    for season, onset in onsets(plan, handbook).items():
        for work in works:
            first = onset + timedelta(days=work["onset_day"])
            length = timedelta(days=work["to_day"] - work["from_day"])
            told = {name: value for name, value in work.items() if name != "onset_day"}
            found.append({"season": season, **told, "first_day": first, "last_day": first + length})
    return pd.DataFrame(found)


def with_nurseries(
    dated: pd.DataFrame, nurseries: pd.DataFrame, zone_of: dict[str, str]
) -> pd.DataFrame:
    """Date the nurseries by the measures that are chosen, where a zone has any.

    Parameters
    ----------
    dated : pandas.DataFrame
        What :func:`zoned` gives.
    nurseries : pandas.DataFrame
        ``village`` and ``nursery_weeks``, the weeks before the onset in which its plants stand.
    zone_of : dict[str, str]
        Zone by village, of those that have one.

    Returns
    -------
    pandas.DataFrame
        The same; in each season of these zones nurseries are set from the day that the slowest of
        the plants asks for to that of the quickest.
    """
    named = [zone_of.get(village, REST) for village in nurseries["village"]]
    zones = pd.Series(named, index=nurseries.index)
    weeks = nurseries.groupby(zones)["nursery_weeks"].agg(["max", "min"])
    rows = []
    for row in dated.to_dict("records"):
        if row["work"] == NURSERIES and row["zone"] in weeks.index:
            # Counted from the onset, as this work is: the first day says where that is.
            onset = row["first_day"] - timedelta(days=row["from_day"])
            days = [round(-WEEK_DAYS * weeks.loc[row["zone"], end]) for end in ("max", "min")]
            row["from_day"], row["to_day"] = days
            row["first_day"], row["last_day"] = (onset + timedelta(days=day) for day in days)
            row["source"] = ""
        rows.append(row)
    table = pd.DataFrame(rows, columns=list(dated))
    season = (table["zone"] != table["zone"].shift()) | (table["season"] != table["season"].shift())
    order = table.assign(place=season.cumsum()).sort_values(["place", "first_day", "work"])
    return table.loc[order.index].reset_index(drop=True)


def onsets(plan: Plan, handbook: Handbook) -> dict[str, date]:
    """List the days on which rains begin.

    Parameters
    ----------
    plan : Plan
        Its onsets and planting date.
    handbook : Handbook
        Table ``practice``: how long after the onset the crop is planted.

    Returns
    -------
    dict[str, datetime.date]
        Onset by season; always the usual one.
    """
    season = plan.season
    days = {
        "early": season.onset_early,
        "usual": plan.usual_onset(handbook),
        "late": season.onset_late,
    }
    return {name: day for name, day in days.items() if day is not None}


def _works(plan: Plan, handbook: Handbook) -> Iterator[dict[str, Any]]:
    practice = {name: round(value) for name, value in handbook.numbers("practice").items()}
    planted = practice["plant_after_onset_days"]
    emerged = planted + practice["emergence_to_day"]
    reference = handbook.practice.reference_day
    base = emerged if reference == "emergence" else planted
    starts = {
        "onset": 0,
        "emergence": emerged,
        "flowering": planted + practice["flowering_from_day"],
        "harvest": planted + practice["harvest_to_day"],
    }

    def work(name: str, start: int, counted: str, days: tuple[int, int]) -> dict[str, Any]:
        return {
            "work": name,
            "onset_day": start + days[0],
            "counted_from": counted,
            "from_day": days[0],
            "to_day": days[1],
            "no_hoe": 0,
            "onset_rule": "",
            "numbers": {},
            "source": handbook.source("practice", f"{name}_day") if name in WEEDINGS else "",
        }

    for row in handbook.rows(TABLE).to_dict("records"):
        days = (round(row["first_day"]), round(row["last_day"]))
        counted = row["counted_from"]
        told = work(row["name"], starts[counted], counted, days)
        yield told | {"source": handbook.source(TABLE, row["name"])}
    yield work("onset", 0, "onset", (0, 0)) | {"onset_rule": plan.season.onset_rule or ""}
    exact = handbook.numbers("practice")
    numbers = {name: exact[name] for name in PLANTING}
    yield work("planting", 0, "onset", (planted, planted)) | {"numbers": numbers}
    emergence = (practice["emergence_from_day"], practice["emergence_to_day"])
    yield work("emergence", planted, "planting", emergence)
    thinned = plan.practice.seeds_each(handbook) > 1 and plan.practice.two_seeds == "thin to one"
    if thinned:
        yield work("thin", base, reference, (practice["thin_from_day"], practice["thin_to_day"]))
    for name in WEEDINGS:
        day = practice[f"{name}_day"]
        open_flowers = base + day >= starts["flowering"]
        yield work(name, base, reference, (day, day)) | {"no_hoe": int(open_flowers)}
    if plan.practice.urea_kg_ha is not None and plan.fertiliser.urea_time == "first weeding":
        day = practice["weeding_1_day"]
        yield work("top_dressing", base, reference, (day, day))
    harvest = (practice["harvest_from_day"], practice["harvest_to_day"])
    yield work("harvest", planted, "planting", harvest)
