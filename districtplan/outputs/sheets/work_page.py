"""Where to work first in a village, on one page: hillsides, order of work, planting, cautions."""

from __future__ import annotations

import unicodedata
from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple, cast

import pandas as pd

from districtplan.outputs import measure_words, work_words
from districtplan.outputs.file_names import village_stems
from districtplan.outputs.sheets.choice import chosen
from districtplan.outputs.sheets.names import ELLIPSIS, UNKNOWN_SIGN, is_plain
from districtplan.outputs.sheets.paper import BOLD, PLAIN, Box, Paper, Setting, face, line_box
from districtplan.outputs.sheets.plot_page import (
    FOOT_MM,
    FULL,
    GAP_MM,
    HAIR_MM,
    HEADING,
    LEFT,
    RIGHT,
    Piece,
    listed,
)
from districtplan.outputs.sheets.sheet import Part

if TYPE_CHECKING:
    from collections.abc import Mapping

    from districtplan.outputs.texts import Texts
    from districtplan.outputs.work_words import Hill
    from districtplan.results import Results

VILLAGE = Setting(24, bold=True)
TITLE = Setting(15, bold=True, align="right")
HILLS_MAX = 12
"""More than a page has room for."""
INDENT_MM = 10.0
NAME_MM = 60.0
WORD_MAX = 30
"""Signs of a word; a longer one would leave the page."""
BOTTOM_MM = FOOT_MM + 6


class _Sheet(NamedTuple):
    """What a village's page says."""

    village: str
    title: str
    district: str
    season: str
    finding: str
    hills_title: str
    hills: list[Hill]
    total: int
    planting: Part
    walk: Part
    care: Part


def render(results: Results, texts: Texts) -> dict[str, bytes]:
    """Draw a page for each village that gets sheets and where something is to be done.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, bytes]
        ``sheets/v001-slug-work.pdf`` of each of them.
    """
    district = results.plan.district
    told = work_words.by_village(results, texts, HILLS_MAX)
    village_of = results.plots["village"].to_numpy(dtype=object)
    printed = set(village_of[chosen(results.plots, results.plan)])
    walk = measure_words.looked_at(results, texts)
    files = {}
    for village, stem in village_stems(results.villages["village"]).items():
        if village not in told or village not in printed:
            continue
        hills, total = told[village]
        title = texts.say("sheets.work.file", district=district.name, village=village)
        paper = Paper(title, district.planting_date, texts.language)
        sheet = _Sheet(
            village=village,
            title=texts.say("sheets.work.title"),
            district=district.name,
            season=texts.say("sheets.season", date=texts.day(district.planting_date)),
            finding=work_words.finding(results, hills[0], texts)[0],
            hills_title=texts.say("sheets.work.hills_title"),
            hills=hills,
            total=total,
            planting=_planting(results, village, texts),
            walk=_walk(walk[walk["village"] == village], texts),
            care=Part(
                texts.say("sheets.cautions.title"),
                tuple(texts.say(key) for key in work_words.CARE),
            ),
        )
        _draw(paper, sheet, texts)
        files[f"sheets/{stem}-work.pdf"] = paper.finish()
    return files


def _planting(results: Results, village: str, texts: Texts) -> Part:
    nurseries = results.proposal.nurseries
    mine = nurseries[nurseries["village"] == village]
    said = [_raised(row, texts) for row in cast("list[dict[str, Any]]", mine.to_dict("records"))]
    title = texts.say("sheets.work.planting_title")
    return Part(title, tuple(said) or (texts.say("sheets.work.no_planting"),))


def _raised(row: Mapping[str, Any], texts: Texts) -> str:
    values = {
        "measure": measure_words.name(row["measure"], texts),
        "date": texts.day(date.fromisoformat(row["nursery_date"])),
        "weeks": f"{row['nursery_weeks']:g}",
    }
    if pd.isna(row["nursery_plants"]):
        return printable(texts.say("sheets.work.planting_unknown", **values))
    plants, beds = f"{row['nursery_plants']:,}", f"{row['nursery_m2']:,.0f}"
    return printable(texts.say("sheets.work.planting", plants=plants, beds=beds, **values))


def _walk(mine: pd.DataFrame, texts: Texts) -> Part:
    said = tuple(
        printable(texts.say("sheets.work.walk", plot=row.plot_id, reason=row.walk_reasons))
        for row in mine.itertuples()
    )
    return Part(texts.say("sheets.work.walk_title"), said or (texts.say("sheets.work.no_walk"),))


def printable(text: str) -> str:
    """Make a sentence that names from outside stand in fit to be broken into lines.

    Parameters
    ----------
    text : str
        The sentence.

    Returns
    -------
    str
        The same with signs that can't be set letter by letter shown as an empty box, and words
        that would leave the page cut short.
    """
    words = "".join(sign if _plain(sign) else UNKNOWN_SIGN for sign in text).split(" ")
    return " ".join(w if len(w) <= WORD_MAX else w[: WORD_MAX - 1] + ELLIPSIS for w in words)


def _plain(sign: str) -> bool:
    control = unicodedata.category(sign).startswith("C")
    return ord(sign) in face("").wide and is_plain(sign) and not control


def _draw(paper: Paper, sheet: _Sheet, texts: Texts) -> None:
    paper.page()
    y = _header(paper, sheet)
    y = paper.block(printable(sheet.finding), Box(LEFT, y, FULL, 0), HEADING) + GAP_MM
    below = [
        listed(paper, sheet.planting),
        listed(paper, sheet.walk),
        _cautions(paper, sheet.care),
    ]
    room = BOTTOM_MM - y - sum(piece.height + GAP_MM for piece in below) - HEADING.line_mm
    paper.write(sheet.hills_title, LEFT, y, HEADING)
    y += HEADING.line_mm
    for piece in [*_fitted(paper, sheet, room - GAP_MM, texts), *below]:
        piece.draw(y)
        y += piece.height + GAP_MM


def _cautions(paper: Paper, part: Part) -> Piece:
    """Write the cautions in two columns under a triangle each, in a frame."""
    wide = (FULL - 9) / 2
    high = [paper.height(sentence, wide - 5) + 0.7 for sentence in part.sentences]
    # The first column takes what fills half of the height, at least.
    split = next(i for i in range(1, len(high) + 1) if 2 * sum(high[:i]) >= sum(high))
    columns = [range(split), range(split, len(high))]
    height = HEADING.line_mm + max(sum(high[i] for i in column) for column in columns) + 3

    def draw(y: float) -> None:
        paper.frame(Box(LEFT, y, FULL, height), 1.0)
        paper.write(part.title, LEFT + 3, y + 1, HEADING)
        for place, column in enumerate(columns):
            x = LEFT + 3 + place * (wide + 3)
            at = y + 1 + HEADING.line_mm
            for index in column:
                paper.fill([(x, at + 3.9), (x + 1.6, at + 1.1), (x + 3.2, at + 3.9)])
                paper.block(part.sentences[index], Box(x + 5, at, wide - 5, 0))
                at += high[index]

    return Piece(height, draw)


def _header(paper: Paper, sheet: _Sheet) -> float:
    top = 9.0
    paper.name(sheet.village, Box(LEFT, top, 0.6 * FULL, 11), VILLAGE, least_pt=14)
    paper.write(sheet.title, RIGHT, top, TITLE)
    top += 11.4
    paper.name(sheet.district, line_box(LEFT, top, 0.5 * FULL), PLAIN)
    paper.write(sheet.season, RIGHT, top, PLAIN._replace(align="right"))
    top += 6
    paper.line([(LEFT, top), (RIGHT, top)], 0.9)
    return top + GAP_MM


def _fitted(paper: Paper, sheet: _Sheet, room: float, texts: Texts) -> list[Piece]:
    """Tell hillsides in full, the last of them in brief or not at all where the page is full."""
    forms = [[_hill(paper, hill, lines) for lines in _details(hill, texts)] for hill in sheet.hills]
    brevity = [0] * len(forms)
    while True:
        found = [form[brief] for form, brief in zip(forms, brevity, strict=False)]
        if len(brevity) < sheet.total:
            left = f"{sheet.total - len(brevity):,}"
            said = texts.say("sheets.work.left_out", count=left)
            found.append(listed(paper, Part("", (said,))))
        longer = [at for at, brief in enumerate(brevity) if brief + 1 < len(forms[at])]
        if not longer or sum(piece.height + GAP_MM for piece in found) <= room:
            return found
        # The first is told in full for as long as any other is told at all.
        if longer[-1] or len(brevity) == 1:
            brevity[longer[-1]] += 1
        else:
            brevity.pop()


def _details(hill: Hill, texts: Texts) -> list[tuple[str, ...]]:
    """Tell what stands under a hillside's name: all, the order of work alone, nothing."""
    plots = work_words.some(tuple(plot.plot_id for plot in hill.plots), texts)
    steps = [
        texts.say(
            f"sheets.work.{'step' if step.facts else 'step_bare'}",
            number=number,
            short=step.short,
            facts=step.facts,
            season=step.season,
        )
        for number, step in enumerate(hill.steps, 1)
    ]
    said = [texts.say("sheets.work.why", why=hill.why), texts.say("sheets.work.plots", plots=plots)]
    forms = [[*said, *steps, *hill.notes], [*steps, *hill.notes[:1]], []]
    return [tuple(printable(one) for one in form) for form in forms]


def _hill(paper: Paper, hill: Hill, details: tuple[str, ...]) -> Piece:
    x, wide = LEFT + INDENT_MM, FULL - INDENT_MM
    beside = wide - NAME_MM
    summary = printable(hill.summary)
    head = max(paper.height(summary, beside, BOLD), PLAIN.line_mm) + 0.8
    height = head + sum(paper.height(line, wide) for line in details)

    def draw(y: float) -> None:
        paper.line([(LEFT, y - 0.4), (RIGHT, y - 0.4)], HAIR_MM)
        paper.write(str(hill.rank), LEFT, y, BOLD)
        paper.name(hill.name, line_box(x, y, NAME_MM - 3), BOLD)
        paper.block(summary, Box(x + NAME_MM, y, beside, 0), BOLD)
        y += head
        for line in details:
            y = paper.block(line, Box(x, y, wide, 0))

    return Piece(height, draw)
