"""Where to work first in a village: all of it on one page, then its hillsides in full."""

from __future__ import annotations

import itertools
import unicodedata
from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple, cast

import pandas as pd

from districtplan.outputs import measure_words, work_words
from districtplan.outputs.file_names import village_stems
from districtplan.outputs.not_read import not_read
from districtplan.outputs.sheets import hill_pages
from districtplan.outputs.sheets.choice import chosen
from districtplan.outputs.sheets.hill_pages import INDENT_MM, Line, Told
from districtplan.outputs.sheets.names import ELLIPSIS, UNKNOWN_SIGN, is_plain
from districtplan.outputs.sheets.paper import PLAIN, Box, Paper, Setting, face, line_box
from districtplan.outputs.sheets.plot_page import (
    FOOT_MM,
    FULL,
    GAP_MM,
    HEADING,
    LEFT,
    RIGHT,
    Piece,
    listed,
)
from districtplan.outputs.sheets.sheet import Part

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from districtplan.outputs.texts import Texts
    from districtplan.outputs.work_words import Chosen, Hill
    from districtplan.results import Results

VILLAGE = Setting(24, bold=True)
TITLE = Setting(15, bold=True, align="right")
HILLS_MAX = 60
"""Hillsides of a village that are told."""
FIRST_MAX = 12
"""More than the first page has room for."""
STOP = 2
"""Cautions that stand on every page: those that save lives."""
WORD_MAX = 30
"""Signs of a word; a longer one would leave the page."""
BOTTOM_MM = FOOT_MM + 1.6


class _District(NamedTuple):
    """What the pages of all villages are made from."""

    results: Results
    texts: Texts
    walk: pd.DataFrame
    vetoes: Mapping[str, tuple[tuple[str, str], ...]]
    """By village: plots, and what was ruled out there."""
    meant: list[str]

    @classmethod
    def of(cls, results: Results, texts: Texts) -> _District:
        village_of = dict(zip(results.plots["plot_id"], results.plots["village"], strict=True))
        vetoes: dict[str, tuple[tuple[str, str], ...]] = {}
        for plot_id, said in measure_words.vetoes(results, texts).items():
            village = village_of[plot_id]
            vetoes[village] = (*vetoes.get(village, ()), (plot_id, " ".join(said)))
        walk = measure_words.looked_at(results, texts)
        meant = [*work_words.explained(results, texts), *not_read(results, texts)]
        return cls(results, texts, walk, vetoes, meant)


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
    told: tuple[Told, ...]


def render(results: Results, texts: Texts) -> dict[str, bytes]:
    """Draw pages for each village that gets sheets and where something is to be done.

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
    village_of = results.plots["village"].to_numpy(dtype=object)
    printed = set(village_of[chosen(results.plots, results.plan)])
    if not printed:
        return {}
    told = work_words.by_village(results, texts, HILLS_MAX)
    whole, files = _District.of(results, texts), {}
    for village, stem in village_stems(results.villages["village"]).items():
        if village not in told or village not in printed:
            continue
        title = texts.say("sheets.work.file", district=district.name, village=village)
        paper = Paper(title, district.planting_date, texts.language)
        _draw(paper, _sheet(village, told[village], whole), texts)
        files[f"sheets/{stem}-work.pdf"] = paper.finish()
    return files


def _sheet(village: str, told: tuple[list[Hill], int], whole: _District) -> _Sheet:
    (hills, total), texts = told, whole.texts
    district, walk = whole.results.plan.district, whole.walk
    return _Sheet(
        village=village,
        title=texts.say("sheets.work.title"),
        district=district.name,
        season=texts.say("sheets.season", date=texts.day(district.planting_date)),
        finding=work_words.finding(whole.results, hills[0], texts)[0],
        hills_title=texts.say("sheets.work.hills_title"),
        hills=hills[:FIRST_MAX],
        total=total,
        planting=_planting(whole.results, village, texts),
        walk=_walk(walk[walk["village"] == village], texts),
        care=Part(
            texts.say("sheets.cautions.title"),
            tuple(texts.say(key) for key in work_words.CARE if key not in work_words.OF_NUMBERS),
        ),
        told=(
            *(_in_full(hill, texts) for hill in hills),
            *_besides(village, told, whole),
        ),
    )


def _in_full(hill: Hill, texts: Texts) -> Told:
    """Tell all that is to be known on a hillside."""
    lines = [Line(texts.say("sheets.work.why", why=hill.why))]
    if hill.steps:
        lines.append(Line(texts.say("sheets.work.steps_title"), title=True))
    for number, step in enumerate(hill.steps, 1):
        key = f"sheets.work.in_full{'' if step.facts else '_bare'}"
        values = {"said": step.said, "facts": step.facts, "season": step.season}
        lines.append(Line(texts.say(key, number=number, **values)))
    lines += [Line(note) for note in hill.notes]
    lines.append(Line(texts.say("sheets.work.plots_title"), title=True))
    alike = len({plot.measure for plot in hill.plots}) == 1
    lines += [_of_plot(plot, texts, alike=alike) for plot in hill.plots]
    if hill.vetoes:
        lines.append(Line(texts.say("sheets.work.vetoes_title"), title=True))
        lines += [_ruled_out(plot_id, said, texts) for plot_id, said in hill.vetoes]
    again = texts.say("sheets.work.again")
    kept = tuple(line._replace(text=printable(line.text)) for line in lines)
    return Told(str(hill.rank), hill.name, printable(hill.summary), again, kept)


def _of_plot(plot: Chosen, texts: Texts, *, alike: bool) -> Line:
    """Tell a plot; where all have the measure that stands beside the hillside's name, not that."""
    done, why = work_words.of_plot(plot, texts)
    key = f"sheets.work.plot{'_alike' if alike and plot.owes else ''}"
    return Line(texts.say(key, plot=plot.plot_id, done=done, owes=plot.owes, why=why))


def _ruled_out(plot_id: str, said: str, texts: Texts) -> Line:
    return Line(texts.say("sheets.work.veto", plot=plot_id, said=said))


def _besides(village: str, told: tuple[list[Hill], int], whole: _District) -> Iterator[Told]:
    """Tell what is on no hillside above: hillsides left out, vetoes elsewhere, what words mean."""
    (hills, total), texts = told, whole.texts
    there = {plot_id for hill in hills for plot_id, _ in hill.vetoes}
    elsewhere = [
        _ruled_out(plot_id, said, texts)
        for plot_id, said in whole.vetoes.get(village, ())
        if plot_id not in there
    ]
    more = f"{total - len(hills):,}"
    left = [Line(texts.say("sheets.work.in_workbook", count=more))] if total > len(hills) else []
    meant = [Line(said) for said in whole.meant]
    meant += [Line(texts.say(key)) for key in work_words.OF_NUMBERS]
    for key, lines in (("elsewhere", elsewhere), ("meant", [*left, *meant])):
        if lines:
            kept = [line._replace(text=printable(line.text)) for line in lines]
            title = Line(texts.say(f"sheets.work.{key}"), title=True)
            yield Told("", "", "", "", (title, *kept))


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
    _first_page(paper, sheet, texts)
    stop = _cautions(paper, Part(sheet.care.title, sheet.care.sentences[:STOP]))
    pages = itertools.count(2)

    def turned() -> float:
        paper.page()
        stop.draw(BOTTOM_MM - stop.height)
        _number(paper, next(pages), texts)
        return _header(paper, sheet)

    hill_pages.draw(paper, sheet.told, BOTTOM_MM - stop.height - GAP_MM, turned)


def _number(paper: Paper, page: int, texts: Texts) -> None:
    said = texts.say("sheets.list.page", page=page)
    paper.write(said, RIGHT, BOTTOM_MM + 0.4, PLAIN._replace(align="right"))


def _first_page(paper: Paper, sheet: _Sheet, texts: Texts) -> None:
    paper.page()
    _number(paper, 1, texts)
    y = _header(paper, sheet)
    y = paper.block(printable(sheet.finding), Box(LEFT, y, FULL, 0), HEADING) + GAP_MM
    below = [
        listed(paper, sheet.planting),
        listed(paper, sheet.walk),
        _cautions(paper, sheet.care),
    ]
    room = BOTTOM_MM - y - sum(piece.height + GAP_MM for piece in below) - HEADING.line_mm
    paper.write(sheet.hills_title, LEFT, y, HEADING)
    y += HEADING.line_mm + 1
    for piece in [*_fitted(paper, sheet, room - GAP_MM - 1, texts), *below]:
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
        # The first keeps its order of work for as long as any other is told at all.
        if longer[-1] or not brevity[0] or len(brevity) == 1:
            brevity[longer[-1]] += 1
        else:
            brevity.pop()


def _details(hill: Hill, texts: Texts) -> list[tuple[str, ...]]:
    """Tell what stands under a hillside's name: all, that without most notes, nothing."""
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
    forms = [[*said, *steps, *hill.notes], [*said, *steps, *hill.notes[:1]], []]
    return [tuple(printable(one) for one in form) for form in forms]


def _hill(paper: Paper, hill: Hill, details: tuple[str, ...]) -> Piece:
    x, wide = LEFT + INDENT_MM, FULL - INDENT_MM
    told = Told(str(hill.rank), hill.name, printable(hill.summary), "", ())
    height = hill_pages.head_height(paper, told.summary)
    height += sum(paper.height(line, wide) for line in details)

    def draw(y: float) -> None:
        y = hill_pages.head(paper, told, told.summary, y)
        for line in details:
            y = paper.block(line, Box(x, y, wide, 0))

    return Piece(height, draw)
