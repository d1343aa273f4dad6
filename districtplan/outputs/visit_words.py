"""Visits in words: what was planned, what is left out and why, what each stage needs."""

from __future__ import annotations

import hashlib
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any, cast

from districtplan.outputs.file_names import village_stems
from districtplan.outputs.visit_calendar import Event, revised
from districtplan.signs import unaccented
from districtplan.visits import SESSION
from districtplan.visits.given import ON_FOOT, PARTED
from districtplan.visits.quality import AS_PLANNED, NEAREST
from districtplan.visits.season import CANCELLED
from districtplan.visits.told import LEFT_OUT, PLANNED, clock

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import pandas as pd

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results
    from districtplan.visits import VisitPlan

CHANGES_MAX = 20
"""Changes, and days fixed outside windows, that are told one by one; more are counted."""
UID_SIGNS = 32


def finding(found: VisitPlan, texts: Texts) -> list[str]:
    """Say what was planned, how much of a day is on the road, and what is left out.

    Parameters
    ----------
    found : VisitPlan
        The plan.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        The finding, then what else a planner must know.
    """
    visits, days = found.visits, found.days
    planned = visits[visits["visit_status"] == PLANNED]
    missing = visits[visits["visit_left_out"].notna()]
    away = days[["day_way_min", "day_work_min", "day_wait_min"]].to_numpy().sum()
    share = 100 * days["day_way_min"].sum() / max(away, 1)
    return [
        texts.say(
            "visits.finding" if len(missing) else "visits.finding_all",
            made=texts.number(len(planned)),
            count=texts.number(len(planned) + len(missing)),
            agents=texts.number(len(found.agents)),
            days=texts.number(len(days)),
            share=texts.number(share, ".0f"),
        ),
        *quality(found, texts),
        *_spread(found, texts),
        *_left_out(missing, texts),
        *_reliefs(found, texts),
        *_by_clock(found, texts),
    ]


def quality(found: VisitPlan, texts: Texts) -> list[str]:
    """Say how long the ways are, beside a plan that goes to the nearest visit first.

    Parameters
    ----------
    found : VisitPlan
        The plan.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Sentences; none of a plan without visits.
    """
    rows = {row["quality_plan"]: row for row in _records(found.quality)}
    own, simple = rows[AS_PLANNED], rows[NEAREST]
    if not own["quality_visits"] or not simple["quality_visits"]:
        return []
    return [
        texts.say(
            "visits.quality",
            road=texts.number(own["quality_road_h"], ",.1f"),
            walk=texts.number(own["quality_walk_h"], ",.1f"),
            each=texts.number(own["quality_road_visit_min"], ".0f"),
            most=texts.number(own["quality_road_share_most_pct"], ".0f"),
            simple_count=texts.number(simple["quality_visits"]),
            simple_road=texts.number(simple["quality_road_h"], ",.1f"),
            simple_each=texts.number(simple["quality_road_visit_min"], ".0f"),
        ),
        texts.say("visits.no_bound"),
    ]


def _by_clock(found: VisitPlan, texts: Texts) -> list[str]:
    return [] if found.reproducible else [texts.say("visits.by_clock")]


def _spread(found: VisitPlan, texts: Texts) -> Iterator[str]:
    """Say how evenly the work is shared; nothing of one agent."""
    if len(found.agents) < 2 or found.load.empty:  # noqa: PLR2004 - two to compare
        return
    hours = found.load.groupby("agent_id")["load_hours"].sum()
    hours = hours.reindex(found.agents["agent_id"], fill_value=0.0)
    yield texts.say(
        "visits.spread",
        least=texts.number(hours.min(), ".0f"),
        most=texts.number(hours.max(), ".0f"),
    )


def _left_out(missing: pd.DataFrame, texts: Texts) -> Iterator[str]:
    if missing.empty:
        return
    counts = missing["visit_left_out"].value_counts()
    parts = [
        texts.say(
            "visits.left_part", count=texts.number(count), why=texts.say(f"visits.why.{reason}")
        )
        for reason, count in counts.items()
    ]
    remedies = [texts.say(f"visits.remedy.{reason}") for reason in counts.index]
    yield " ".join([texts.say("visits.left", parts=texts.listed(parts)), *remedies])


def _reliefs(found: VisitPlan, texts: Texts) -> Iterator[str]:
    for row in found.relief.to_dict("records"):
        gained = int(row["relief_gained"])
        if row["relief"] == "a cut of days":
            yield texts.say("visits.cut", count=texts.number(max(-gained, 0)))
        else:
            yield texts.say(
                "visits.relief", what=texts.say(f"visits.relief_of.{row['relief']}"),
                agent=row["relief_agent"], count=texts.number(max(gained, 0)),
            )  # fmt: skip


def changes(found: VisitPlan, texts: Texts) -> list[str]:
    """Say what a plan that is carried on changes.

    Parameters
    ----------
    found : VisitPlan
        The plan.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        A count, then the first changes one by one; empty where nothing is carried on.
    """
    rows = cast("list[dict[str, Any]]", found.changed.to_dict("records"))
    if not rows:
        return []
    days = {
        (row[f"changed_{way}_agent"], row[f"changed_{way}_day"])
        for row in rows
        for way in ("from", "to")
        if row[f"changed_{way}_day"] is not None
    }
    said = [
        texts.say("visits.changed", count=texts.number(len(rows)), days=texts.number(len(days)))
    ]
    for row in rows[:CHANGES_MAX]:
        was, now = row["changed_from_day"], row["changed_to_day"]
        handed = row["changed_from_agent"] != row["changed_to_agent"]
        key = "new" if was is None else "gone" if now is None else "handed" if handed else "moved"
        told = {
            "visit": row["visit_id"],
            "was": "" if was is None else texts.day(was),
            "now": "" if now is None else texts.day(now),
            "agent": row["changed_to_agent"] or row["changed_from_agent"] or "",
            "before": row["changed_from_agent"] or "",
        }
        said.append(texts.say(f"visits.change_{key}", **told))
    if len(rows) > CHANGES_MAX:
        said.append(texts.say("visits.changed_more", count=texts.number(len(rows) - CHANGES_MAX)))
    return said


def noticed(results: Results, texts: Texts) -> list[str]:
    """Say what the run noticed of its visits: what is left out, what changed, if it has any.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Sentences.
    """
    found = results.visits
    if found is None:
        return []
    missing = found.visits[found.visits["visit_left_out"].notna()]
    recorded = [
        texts.say(
            f"visits.speed_{_kind(row)}",
            agent=row["agent_id"], trips=row["speed_trips"],
            recorded=texts.number(row["speed_recorded_km_h"], "g"),
            given=texts.number(row["speed_given_km_h"], "g"),
        )
        for row in _records(found.speeds)
    ]  # fmt: skip
    unused = _walks(results) if results.plan.visits.walk_by == "on foot" else 0
    if unused:
        recorded.append(texts.say("visits.trips_unused", count=texts.number(unused)))
    return [
        *_left_out(missing, texts),
        *_out_of_window(results, texts),
        *_leave_elsewhere(results, texts),
        *_alike(found, texts),
        *_without_session(results, texts),
        *recorded,
        *changes(found, texts),
        *_by_clock(found, texts),
    ]


def _kind(speed: Mapping[str, Any]) -> str:
    """Name what a recorded speed is of."""
    return "foot" if speed["agent_id"] == "" else "wet" if speed["speed_wet"] else "dry"


def _walks(results: Results) -> int:
    """Count the recorded trips of agents on foot."""
    found, trips = results.visits, results.beside.get("trips")
    if found is None or trips is None:
        return 0
    walkers = found.agents.loc[found.agents["mode"] == ON_FOOT, "agent_id"]
    return int(trips.used["agent_id"].isin(walkers).sum())


def _out_of_window(results: Results, texts: Texts) -> Iterator[str]:
    """Name rows that fix a day outside the window: the planner's word stands, and may be a slip."""
    found, fixed = results.visits, results.beside.get("by_hand")
    if found is None or fixed is None:
        return
    said = []
    for row in _records(fixed.used[fixed.used["day"].notna()]):
        day = row["day"]
        own = found.visits["visit_place"] == row["place"]
        own &= found.visits["visit_stage"] == row["stage"]
        spans = found.visits.loc[own, ["visit_first_day", "visit_last_day"]].to_numpy().tolist()
        if spans and not any(first <= day <= last for first, last in spans):
            at, (first, last) = int(row["source_row"]), spans[0]
            said.append(
                texts.say(
                    "visits.out_of_window",
                    file=results.plan.file_of("by_hand"), row=at, sheet=at + 1,
                    visit=texts.say(f"visits.stage.{row['stage']}"), place=row["place"],
                    day=texts.day(day), first=texts.day(first), last=texts.day(last),
                )
            )  # fmt: skip
    yield from said[:CHANGES_MAX]
    if len(said) > CHANGES_MAX:
        yield texts.say("visits.out_of_window_more", count=texts.number(len(said) - CHANGES_MAX))


def _leave_elsewhere(results: Results, texts: Texts) -> Iterator[str]:
    """Count the leave that no day of the season falls in: its year may be a slip."""
    found, leave = results.visits, results.beside.get("leave")
    if found is None or leave is None:
        return
    days = [found.visits[f"visit_{name}day"].dropna() for name in ("first_", "last_", "")]
    first = min(min(of, default=date.max) for of in days)
    last = max(max(of, default=date.min) for of in days)
    beyond = leave.used[(leave.used["last_day"] < first) | (leave.used["first_day"] > last)]
    if len(beyond):
        at = int(beyond["source_row"].iloc[0])
        yield texts.say(
            "visits.leave_elsewhere",
            file=results.plan.file_of("leave"), row=at, sheet=at + 1,
            count=texts.number(len(beyond)), first=texts.day(first), last=texts.day(last),
        )  # fmt: skip


def _alike(found: VisitPlan, texts: Texts) -> Iterator[str]:
    """Name agents of one name, but for capitals and accents: their sheets can't be told apart."""
    agents = found.agents.assign(bare=[unaccented(name) for name in found.agents["name"]])
    several = agents[agents["bare"].duplicated(keep=False)]
    if len(several):
        some = texts.listed(several["agent_id"].tolist()[:CHANGES_MAX])
        yield texts.say("visits.alike", count=texts.number(len(several)), agents=some)


def _without_session(results: Results, texts: Texts) -> Iterator[str]:
    """Name the meeting places to which nobody is near enough to come."""
    found, listed = results.visits, results.beside.get("meeting_places")
    if found is None or listed is None or not results.plan.visits.session_stages:
        return
    held = set(found.visits["visit_place"])
    empty = [place for place in listed.used["meeting_place"] if place not in held]
    if empty:
        yield texts.say("visits.no_session", places=texts.listed(empty))


def of_plots(found: VisitPlan, texts: Texts) -> dict[str, list[str]]:
    """Say of each plot who visits it when, or why nobody does.

    Parameters
    ----------
    found : VisitPlan
        The plan.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, list[str]]
        Sentences by the id of the plot, of those with a visit or one left out.
    """
    said: dict[str, list[str]] = {}
    own = found.visits[found.visits["plot_id"] != ""]
    for row in _records(own.sort_values(["visit_first_day", "visit_id"])):
        told = {"stage": stage(row, texts), "agent": row["agent_id"]}
        status = row["visit_status"]
        if status in (LEFT_OUT, CANCELLED):
            reason = row["visit_left_out"]
            why = texts.say(f"visits.why.{reason}") if reason else ""
            sentence = texts.say("visits.plot_left_out", why=why, **told)
        else:
            day = texts.day(row["visit_day"])
            sentence = texts.say(
                "visits.plot_planned" if status == PLANNED else "visits.plot_done",
                day=day, begins=row["visit_begins"], **told,
            )  # fmt: skip
        said.setdefault(row["plot_id"], []).append(sentence)
    return said


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    return cast("list[dict[str, Any]]", table.to_dict("records"))


def stage(row: Mapping[str, Any], texts: Texts) -> str:
    """Name the stage of a visit.

    Parameters
    ----------
    row : Mapping[str, Any]
        The visit.
    texts : Texts
        The words.

    Returns
    -------
    str
        Such as "second weeding".
    """
    return texts.say(f"visits.stage.{row['visit_stage']}")


def task(row: Mapping[str, Any], texts: Texts) -> str:
    """Say what is done at a visit.

    Parameters
    ----------
    row : Mapping[str, Any]
        The visit.
    texts : Texts
        The words.

    Returns
    -------
    str
        A sentence or two.
    """
    said = texts.say(f"visits.task.{row['visit_stage']}")
    if row["visit_no_hoe"]:
        said = f"{said} {texts.say('visits.by_hand')}"
    return said


def tools(stages: list[str], texts: Texts) -> list[str]:
    """List what to carry for some stages, each once.

    Parameters
    ----------
    stages : list[str]
        Names of stages.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Tools, forms last.
    """
    found = [
        tool
        for name in dict.fromkeys(stages)
        for tool in texts.say(f"visits.tools.{name}").split("; ")
    ]
    return [*dict.fromkeys(found), texts.say("visits.tools_always")]


def agent_stems(found: VisitPlan) -> dict[str, str]:
    """Name the files of agents.

    Parameters
    ----------
    found : VisitPlan
        The plan.

    Returns
    -------
    dict[str, str]
        Stem of the files' names by agent; after those that there are, who has visits of plans
        before.
    """
    known = found.agents["agent_id"].astype(str).tolist()
    gone = set(found.visits["agent_id"].dropna())
    gone |= {agent for row in _records(found.visits) for agent in _had(row)}
    stems = village_stems([*known, *sorted(gone - set(known))])
    return {agent: f"a{stem[1:]}" for agent, stem in stems.items()}


def calendars(results: Results, texts: Texts) -> dict[str, list[Event]]:
    """Give each agent's calendar; of a plan that is carried on, revised.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, list[Event]]
        Visits by the id of the agent, without anybody's name.
    """
    found = results.visits
    if found is None:
        return {}
    district = results.plan.district.name
    rows = {row["visit_id"]: row for row in _records(found.visits)}
    now = [
        _event(row, row, district, texts) for row in rows.values() if row["visit_day"] is not None
    ]
    before = []
    if "carried_on" in results.beside:
        for old in _records(results.beside["carried_on"].used):
            if old["visit_day"] is not None:
                told = {
                    **old,
                    "visit_begins": clock(int(old["visit_begins"])),
                    "visit_ends": clock(int(old["visit_ends"])),
                }
                before.append(_event(rows[old["visit_id"]], told, district, texts))
    told_of: dict[str, list[Event]] = {agent: [] for agent in agent_stems(found)}
    had = {uid(district, name): _had(row) for name, row in rows.items()}
    for event in revised(before, now):
        told_of[event.agent].append(event)
        # Who had it before needs to lose it, in whichever plan that was.
        for agent in had[event.uid]:
            told_of[agent].append(event._replace(cancelled=True, agent=agent))
    return told_of


def _had(row: Mapping[str, Any]) -> list[str]:
    """List the agents who had a visit in plans before."""
    return [agent for agent in row["visit_agents_before"].split(PARTED) if agent]


def uid(district: str, visit_id: str) -> str:
    """Give what a visit is known by in calendars: the same in every plan of a district.

    Parameters
    ----------
    district : str
        Name of the district.
    visit_id : str
        The visit.

    Returns
    -------
    str
        Plain letters.
    """
    digest = hashlib.sha256(f"{district}\n{visit_id}".encode()).hexdigest()
    return f"{digest[:UID_SIGNS]}@districtplan"


def _event(row: dict[str, Any], when: dict[str, Any], district: str, texts: Texts) -> Event:
    begins, ends = (
        datetime.combine(when["visit_day"], time.fromisoformat(when[f"visit_{name}"]))
        for name in ("begins", "ends")
    )
    session = row["visit_kind"] == SESSION
    place = row["visit_place"]
    return Event(
        uid(district, row["visit_id"]),
        begins,
        max(ends, begins + timedelta(minutes=1)),
        texts.say(
            "visits.event_session" if session else "visits.event",
            stage=stage(row, texts),
            place=place,
        ),
        ", ".join(part for part in (place, row["village"]) if part),
        f"{task(row, texts)} {texts.say('visits.care_short')}",
        int(when["visit_sequence"]),
        when["visit_status"] == CANCELLED,
        when["agent_id"],
    )
