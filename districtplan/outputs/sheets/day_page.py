"""An agent's days on paper: when to leave, where to go, what to do, what to carry.

A day is a page, at whose foot stands what keeps an agent safe; of many visits the last ones follow
on the next, which says it in short. Room that a page has to spare is for notes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple, cast

import numpy as np
import pandas as pd
from pyproj import Geod

from districtplan.outputs import visit_words, wording
from districtplan.outputs.sheets.paper import (
    BOLD,
    HEIGHT_MM,
    MARGIN_MM,
    PLAIN,
    Box,
    Paper,
    Setting,
    line_box,
)
from districtplan.outputs.sheets.plot_page import (
    FULL,
    GAP_MM,
    HAIR_MM,
    HEADING,
    LEFT,
    RIGHT,
    Piece,
)
from districtplan.outputs.sheets.work_page import printable
from districtplan.outputs.visit_tables import routes
from districtplan.visits import SESSION

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping
    from datetime import date

    from numpy.typing import NDArray

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

    Floats = NDArray[np.float64]

AGENT = Setting(20, bold=True)
DAY = Setting(15, bold=True, align="right")
PLACE = Setting(15, bold=True)
TIME = Setting(15, bold=True)
TASK = Setting(12.5)
TASK_BOLD = TASK._replace(bold=True)
BOTTOM_MM = HEIGHT_MM - MARGIN_MM
TIME_MM = 34.0
"""Width of the column of times."""
BAR_MM = 9.0
"""Height of the bar of the day."""
BOX_MM = 4.2
NOTE_MM = 8.0
"""Height of a line to write on."""
NOTES, NOTES_MOST = 2, 6
"""Such lines for each visit, the one above the next visit among them."""
TOOLS_ACROSS = 3
CARE = ("dark", "alone", "river", "lightning", "heat")
HOUR_MIN = 60
GLOBE = Geod(ellps="WGS84")
DECIMALS = 5
"""Decimals of a degree: a metre."""
HERE_M = 30.0
"""Places nearer than this are one [m]."""
LETTER_MM = 5.0
"""Narrowest part of the bar that holds its number."""


class _Day(NamedTuple):
    """A day of an agent."""

    agent: str
    when: date
    day: Mapping[Hashable, Any]
    stops: list[dict[str, Any]]
    farmers: Mapping[str, str]
    legs: list[str]
    """Which way each stop lies from the one before."""


def render(results: Results, texts: Texts) -> dict[str, bytes]:
    """Draw the days of all agents.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, bytes]
        ``visits/a001-….pdf`` of each agent who has any day; a farmer's name only where the plan
        asks for it.
    """
    found = results.visits
    if found is None:
        return {}
    district, stems = results.plan.district, visit_words.agent_stems(found)
    names = found.agents.set_index("agent_id")["name"]
    days = {(row["agent_id"], row["visit_day"]): row for row in found.days.to_dict("records")}
    farmers = _farmers(results)
    papers: dict[str, Paper] = {}
    for agent, when, stops, line in routes(found):
        if agent not in papers:
            title = texts.say("visits.sheet.file", agent=agent, district=district.name)
            papers[agent] = Paper(title, district.planting_date, texts.language)
        told = days[agent, when]
        rows = cast("list[dict[str, Any]]", stops.to_dict("records"))
        _draw(
            papers[agent],
            _Day(str(names[agent]), cast("date", when), told, rows, farmers, _legs(line, texts)),
            results,
            texts,
        )
    return {f"visits/{stems[agent]}.pdf": paper.finish() for agent, paper in papers.items()}


def _legs(line: Floats, texts: Texts) -> list[str]:
    """Say how far and to which side each place lies from the one before, straight."""
    longitude, latitude = line.T
    bearing, _, metres = GLOBE.inv(longitude[:-1], latitude[:-1], longitude[1:], latitude[1:])
    return [
        texts.say("visits.sheet.here")
        if away < HERE_M
        else texts.say(
            "visits.sheet.leg", side=wording.direction(turn % 360, texts), km=f"{away / 1000:.1f}"
        )
        for turn, away in zip(bearing.tolist(), metres.tolist(), strict=True)
    ]


def _farmers(results: Results) -> Mapping[str, str]:
    """Give the farmer of each plot, where the plan asks for names on agents' own sheets."""
    plots = results.plots
    if not results.plan.visits.farmer_names or "farmer_name" not in plots:
        return {}
    known = plots[plots["farmer_name"].notna()]
    return dict(zip(known["plot_id"], known["farmer_name"].astype(str), strict=True))


def _draw(paper: Paper, told: _Day, results: Results, texts: Texts) -> None:
    paper.page()
    y = _header(paper, told, results, texts)
    y = _summary(paper, told, results, texts, y)
    y = _bar(paper, told, texts, y) + GAP_MM
    tools = _tools(paper, told, texts)
    tools.draw(y)
    y += tools.height + GAP_MM
    care = _care(paper, texts)
    care.draw(BOTTOM_MM - care.height)
    foot = BOTTOM_MM - care.height - GAP_MM
    stops = _stops(paper, told, NOTES, texts)
    spare = foot - y - sum(stop.height for stop in stops)
    if spare < 0:
        foot -= PLAIN.line_mm
    else:
        more = min(int(spare / (NOTE_MM * len(stops))), NOTES_MOST - NOTES)
        stops = _stops(paper, told, NOTES + more, texts)
    for stop in stops:
        if y + stop.height > foot:
            overleaf = PLAIN._replace(bold=True, align="right")
            paper.write(texts.say("visits.sheet.overleaf"), RIGHT, y + 1, overleaf)
            paper.page()
            short = _care_short(paper, texts)
            short.draw(BOTTOM_MM - short.height)
            y = _header(paper, told, results, texts)
            foot = BOTTOM_MM - short.height - GAP_MM - PLAIN.line_mm
        stop.draw(y)
        y += stop.height


def _stops(paper: Paper, told: _Day, notes: int, texts: Texts) -> list[Piece]:
    return [_stop(paper, told, at, notes, texts) for at in enumerate(told.stops, 1)]


def _header(paper: Paper, told: _Day, results: Results, texts: Texts) -> float:
    top = 9.0
    paper.name(told.agent, Box(LEFT, top, 0.5 * FULL, 9), AGENT, least_pt=13)
    weekday = texts.say(f"visits.weekday_{told.when.weekday()}")
    paper.write(f"{weekday} {texts.day(told.when)}", RIGHT, top + 1.4, DAY)
    top += 9.6
    paper.name(results.plan.district.name, line_box(LEFT, top, 0.6 * FULL), PLAIN)
    paper.write(texts.say("visits.sheet.title"), RIGHT, top, PLAIN._replace(align="right"))
    top += 5.6
    paper.line([(LEFT, top), (RIGHT, top)], 0.9)
    return top + GAP_MM


def _summary(paper: Paper, told: _Day, results: Results, texts: Texts, y: float) -> float:
    day = told.day
    first = texts.say(
        "visits.sheet.times", leaves=day["day_leaves"], home=day["day_home"], leg=told.legs[-1]
    )
    y = paper.block(first, Box(LEFT, y, FULL, 0), HEADING)
    spent = texts.say(
        "visits.sheet.spent",
        ride=day["day_ride_min"], walk=day["day_walk_min"], work=day["day_work_min"],
        wait=day["day_wait_min"], slack=day["day_slack_min"], km=f"{day['day_ride_km']:.1f}",
        back=results.plan.visits.back_by, storm=results.plan.visits.storm_from,
    )  # fmt: skip
    return paper.block(spent, Box(LEFT, y, FULL, 0)) + 1.5


def _minutes(text: str) -> int:
    hours, minutes = text.split(":")
    return HOUR_MIN * int(hours) + int(minutes)


def _bar(paper: Paper, told: _Day, texts: Texts, y: float) -> float:
    """Draw the day from leaving to coming home: ways grey, visits white with their numbers."""
    begin, end = (_minutes(str(told.day[f"day_{name}"])) for name in ("leaves", "home"))
    scale = FULL / max(end - begin, 1)

    def x(text: str) -> float:
        return LEFT + scale * (_minutes(text) - begin)

    paper.fill(
        [(LEFT, y), (RIGHT, y), (RIGHT, y + BAR_MM), (LEFT, y + BAR_MM)],
        grey=175,
    )
    paper.frame(Box(LEFT, y, FULL, BAR_MM))
    for number, row in enumerate(told.stops, 1):
        left, right = x(row["visit_begins"]), x(row["visit_ends"])
        box = [(left, y), (right, y), (right, y + BAR_MM), (left, y + BAR_MM)]
        paper.fill(box, grey=255)
        paper.frame(Box(left, y, right - left, BAR_MM))
        if right - left >= LETTER_MM:
            middle = BOLD._replace(align="centre")
            paper.write(str(number), (left + right) / 2, y + 2.2, middle)
    y += BAR_MM + 0.6
    paper.write(str(told.day["day_leaves"]), LEFT, y)
    paper.write(texts.say("visits.sheet.bar"), LEFT + FULL / 2, y, PLAIN._replace(align="centre"))
    paper.write(str(told.day["day_home"]), RIGHT, y, PLAIN._replace(align="right"))
    return y + PLAIN.line_mm


def _tools(paper: Paper, told: _Day, texts: Texts) -> Piece:
    """List what to carry, with boxes to tick before leaving."""
    listed = visit_words.tools([row["visit_stage"] for row in told.stops], texts)
    wide = FULL / TOOLS_ACROSS
    room = wide - BOX_MM - 6
    rows = [listed[at : at + TOOLS_ACROSS] for at in range(0, len(listed), TOOLS_ACROSS)]
    highs = [max(paper.height(tool, room) for tool in row) + 1.0 for row in rows]
    height = HEADING.line_mm + sum(highs) + 2.5

    def draw(y: float) -> None:
        paper.frame(Box(LEFT, y, FULL, height))
        paper.write(texts.say("visits.sheet.carry"), LEFT + 2, y + 1, HEADING)
        y += 1.4 + HEADING.line_mm
        for row, high in zip(rows, highs, strict=True):
            for place, tool in enumerate(row):
                x = LEFT + 2 + wide * place
                paper.frame(Box(x, y + 0.4, BOX_MM, BOX_MM), 0.6)
                paper.block(tool, Box(x + BOX_MM + 2, y, room, 0))
            y += high

    return Piece(height, draw)


def _task(told: _Day, at: tuple[int, dict[str, Any]], texts: Texts) -> str:
    """Say what to do; what was said before needs no room again."""
    number, row = at
    stages = [one["visit_stage"] for one in told.stops]
    first = stages.index(row["visit_stage"]) + 1
    if first < number:
        return texts.say("visits.sheet.as_before", number=first)
    return visit_words.task(row, texts)


def _stop(
    paper: Paper, told: _Day, at: tuple[int, dict[str, Any]], notes: int, texts: Texts
) -> Piece:
    """Write where to go, when, what to do there, and leave room for notes."""
    number, row = at
    x, room = LEFT + TIME_MM, FULL - TIME_MM
    session = row["visit_kind"] == SESSION
    ridden = f"{row['visit_ride_km']:.1f}"
    key = "way" if float(ridden) else "way_on_foot"
    way = texts.say(f"visits.sheet.{key}", minutes=row["visit_way_min"], km=ridden)
    if session:
        said = texts.say("visits.sheet.session", count=f"{row['visit_farmers']:,}")
    else:
        said = texts.say(f"visits.reason.{row['visit_why']}")
    stage = f"{visit_words.stage(row, texts)}. {said}"
    task = _task(told, at, texts)
    way = f"{told.legs[number - 1]}, {way}"
    farmer = told.farmers.get(row["plot_id"], "")
    stays = _roadhead(row, texts)
    pairs = [*([(stays, BOLD)] if stays else []), (stage, TASK_BOLD), (task, TASK)]
    heights = [paper.height(text, room, setting) for text, setting in pairs]
    line = PLACE.line_mm + 1.0
    aside = TIME.line_mm + PLAIN.line_mm + paper.height(way, TIME_MM - 3) + 3.0
    farmer_mm = PLAIN.line_mm if farmer else 0.0
    height = max(1.6 + line + farmer_mm + sum(heights) + notes * NOTE_MM, aside)

    def draw(y: float) -> None:
        paper.line([(LEFT, y), (RIGHT, y)], HAIR_MM)
        y += 1.6
        paper.write(f"{number}", LEFT, y, PLACE)
        paper.write(str(row["visit_begins"]), LEFT + 9, y, TIME)
        paper.write(
            texts.say("visits.sheet.until", ends=row["visit_ends"]), LEFT + 9, y + TIME.line_mm
        )
        paper.block(way, Box(LEFT, y + TIME.line_mm + PLAIN.line_mm + 0.6, TIME_MM - 3, 0))
        paper.name(row["visit_place"], Box(x, y, 0.52 * room, line), PLACE, least_pt=11)
        right = PLAIN._replace(align="right")
        paper.name(row["village"], Box(x + 0.54 * room, y, 0.46 * room - 14, line), right)
        paper.frame(Box(RIGHT - BOX_MM - 1, y + 0.8, BOX_MM + 1, BOX_MM + 1), 0.6)
        y += line
        if farmer:
            paper.name(farmer, line_box(x, y, room), BOLD)
            y += PLAIN.line_mm
        for text, setting in pairs:
            y = paper.block(printable(text), Box(x, y, room, 0), setting)
        # The last line is that above the next stop.
        for line_y in range(1, notes):
            paper.line([(x, y + line_y * NOTE_MM), (RIGHT, y + line_y * NOTE_MM)], HAIR_MM / 2)

    return Piece(height, draw)


def _roadhead(row: dict[str, Any], texts: Texts) -> str:
    """Say where what is ridden stays and which way to walk from there; empty where one rides on."""
    head, place = (
        (row[f"{name}_longitude_deg"], row[f"{name}_latitude_deg"])
        for name in ("roadhead", "place")
    )
    if pd.isna(head[0]) or GLOBE.inv(*head, *place)[2] < HERE_M:
        return ""
    (leg,) = _legs(np.array([head, place]), texts)
    at = f"{head[1]:.{DECIMALS}f}, {head[0]:.{DECIMALS}f}"
    return texts.say("visits.sheet.roadhead", at=at, leg=leg)


def _care_short(paper: Paper, texts: Texts) -> Piece:
    """Frame the same in short, for pages that follow."""
    said = texts.say("visits.care_short")
    height = paper.height(said, FULL - 6, BOLD) + 3.0

    def draw(y: float) -> None:
        paper.frame(Box(LEFT, y, FULL, height), 0.9)
        paper.block(said, Box(LEFT + 3, y + 1.2, FULL - 6, 0), BOLD)

    return Piece(height, draw)


def _care(paper: Paper, texts: Texts) -> Piece:
    """Frame what keeps an agent safe."""
    said = [texts.say(f"visits.care.{name}") for name in CARE]
    room = FULL - 6
    height = HEADING.line_mm + sum(paper.height(one, room) + 0.6 for one in said) + 3 + NOTE_MM

    def draw(y: float) -> None:
        paper.frame(Box(LEFT, y, FULL, height), 0.9)
        paper.write(texts.say("visits.sheet.care"), LEFT + 3, y + 1.2, HEADING)
        y += 1.2 + HEADING.line_mm
        for one in said:
            y = paper.block(one, Box(LEFT + 3, y, room, 0)) + 0.6
        word = texts.say("visits.sheet.word")
        line = y + NOTE_MM - 1.5
        paper.write(word, LEFT + 3, line - PLAIN.line_mm, BOLD)
        paper.line([(LEFT + 5 + paper.width(word, BOLD), line), (RIGHT - 3, line)], HAIR_MM / 2)

    return Piece(height, draw)
