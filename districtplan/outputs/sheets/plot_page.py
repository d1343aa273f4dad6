"""A plot sheet on paper: the drawing and the one number first, then what to carry and do.

A sheet is one page; where its words need more room, what doesn't fit follows on a second page.
"""

from __future__ import annotations

import dataclasses
import functools
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan.outputs.sheets import care_pictures, pictures
from districtplan.outputs.sheets.paper import (
    BOLD,
    HEIGHT_MM,
    MARGIN_MM,
    PLAIN,
    SLACK_MM,
    TEXT_PT,
    WIDTH_MM,
    Box,
    Setting,
    line_box,
)
from districtplan.outputs.sheets.sheet import Part

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from districtplan.outputs.sheets.paper import Paper
    from districtplan.outputs.sheets.sheet import (
        Blanks,
        Care,
        Carried,
        Common,
        Headline,
        Sheet,
        Table,
    )
    from districtplan.outputs.texts import Texts

LEFT, RIGHT = MARGIN_MM, WIDTH_MM - MARGIN_MM
FULL = RIGHT - LEFT
SIDE_MM = 72.0
"""Width of the column beside the drawing."""

GAP_MM = 2.6
DRAWING_MIN_MM, DRAWING_MAX_MM = 64.0, 118.0
HAIR_MM = 0.45
"""Thinnest line: a photocopy of a photocopy keeps it."""

FOOT_MM = HEIGHT_MM - 14
"""Top of the line at the foot of a page."""

HEADING = Setting(13, bold=True)
BIG = Setting(27, bold=True)
AMOUNT = Setting(19, bold=True)
ALARM = Setting(13.5, bold=True)
PLOT = Setting(28, bold=True)
VILLAGE = Setting(17, bold=True, align="right")
COLUMNS = 3
"""Columns of cautions."""
SENTENCES_MAX = 8
"""Sentences under one heading that stay together on a page."""


class Piece(NamedTuple):
    """A piece of a page.

    Attributes
    ----------
    height : float
        How high it is [mm].
    draw : Callable[[float], None]
        Draws it; told where its top is [mm].
    """

    height: float
    draw: Callable[[float], None]


def draw(paper: Paper, sheet: Sheet, shared: Common, texts: Texts) -> None:
    """Draw a plot sheet.

    Parameters
    ----------
    paper : Paper
        The village's file.
    sheet : Sheet
        What the sheet says.
    shared : Common
        What all sheets of the run say.
    texts : Texts
        The words.
    """
    paper.page()
    before = len(paper.names)
    y = _header(paper, sheet, shared)
    side = _side(paper, sheet, shared)
    pieces, rest = _arranged(paper, sheet, shared, FOOT_MM - y, max(DRAWING_MIN_MM, side.height))
    high = max(DRAWING_MIN_MM, side.height, min(DRAWING_MAX_MM, rest))
    _drawing(paper, sheet, shared, Box(LEFT, y, FULL - SIDE_MM - 4, high))
    side.draw(y)
    y += high + GAP_MM
    left = pieces
    while left:
        # A fresh page takes a piece whatever its height, or no page ever would.
        fresh = left is not pieces
        while left and (fresh or y + left[0].height <= FOOT_MM):
            left[0].draw(y)
            y += left[0].height + GAP_MM
            left, fresh = left[1:], False
        last = not left
        _foot(paper, sheet, texts, more=not last, cut=len(paper.names) > before)
        if not last:
            paper.page()
            y = _header(paper, sheet, shared)


def _arranged(
    paper: Paper, sheet: Sheet, shared: Common, room: float, least: float
) -> tuple[list[Piece], float]:
    """Choose where pegs stand: beside other words, across the page, or after what all need.

    Gives the pieces, and the height left for the drawing, which needs ``least``.
    """
    if sheet.pegs is not None:
        pieces = _pieces(paper, sheet, shared, beside=True)
        if room - _height(pieces) >= least:
            return pieces, room - _height(pieces)
    pieces, pegs = _pieces(paper, sheet, shared, beside=False), _pegs(paper, sheet)
    ties = [] if sheet.ties is None else _in_pieces(paper, sheet.ties)
    if room - _height([*pieces, *ties]) >= least:
        # Where a line starts is on the page that says to set it out.
        pieces = [*pieces[:2], *ties, *pieces[2:]]
    else:
        pegs = [*ties, *pegs]
    rest = room - _height(pieces)
    if rest < least:
        # Rather the words to the farmer go overleaf than the cautions, and then the totals.
        *first, farmer, care = pieces
        late = []
        if sheet.totals is not None and room - _height([*first, care]) < least:
            first = _pieces(paper, dataclasses.replace(sheet, totals=None), shared, beside=False)[
                :-2
            ]
            late = [listed(paper, sheet.totals)]
        pieces = [*first, care, *late, farmer]
    if rest - _height(pegs) >= least:
        # After the steps, and where lines start; before the words to the farmer and the cautions.
        return [*pieces[:-2], *pegs, *pieces[-2:]], rest - _height(pegs)
    return [*pieces, *pegs], rest


def _pieces(paper: Paper, sheet: Sheet, shared: Common, *, beside: bool) -> list[Piece]:
    pieces = []
    if sheet.carried:
        pieces.append(strip(paper, sheet.carry_title, sheet.carried))
    if sheet.water is not None:
        pieces.append(listed(paper, sheet.water))
    after = () if sheet.totals is None else sheet.totals.sentences
    steps = (*sheet.walk.sentences, *after)
    pieces.append(listed(paper, Part(sheet.walk.title, steps)))
    if sheet.pocket is not None:
        pieces += tabled(paper, sheet.pocket)
    if sheet.blanks is not None:
        pieces.append(_abreast(paper, shared.weedings, sheet.farmer_words))
    elif beside and sheet.ties is not None and sheet.pegs is not None:
        reading = () if sheet.reading is None else sheet.reading.sentences
        said = (*sheet.ties.sentences, *reading)
        pieces.append(listed(paper, Part(sheet.ties.title, said)))
        pieces.append(_beside(paper, sheet.pegs, sheet.farmer_words))
    else:
        words = listed(paper, sheet.farmer_words, LEFT + 3, FULL - 6)
        pieces.append(framed(paper, words, LEFT, FULL))
    pieces.append(cautions(paper, shared.cautions))
    return pieces


def _pegs(paper: Paper, sheet: Sheet) -> list[Piece]:
    """Write how the pegs are read, and a long table of them across the page."""
    reading = [] if sheet.reading is None else [listed(paper, sheet.reading)]
    return reading if sheet.pegs is None else [*reading, *tabled(paper, sheet.pegs)]


def _in_pieces(paper: Paper, part: Part) -> list[Piece]:
    """Write sentences so that many of them go on overleaf."""
    said = part.sentences
    return [
        listed(paper, Part(part.title if at == 0 else "", said[at : at + SENTENCES_MAX]))
        for at in range(0, len(said), SENTENCES_MAX)
    ]


def _beside(paper: Paper, table: Table, farmer: Part) -> Piece:
    """Stand a short table of pegs and the words to the farmer side by side."""
    wide = (FULL - 4) / 2
    rows = list(tabled(paper, table, wide))
    words = listed(paper, farmer, LEFT + wide + 7, wide - 6)
    box = framed(paper, words, LEFT + wide + 4, wide)

    def draw(y: float) -> None:
        box.draw(y)
        for row in rows:
            row.draw(y)
            y += row.height + GAP_MM

    return Piece(max(_height(rows) - GAP_MM, box.height), draw)


def _height(pieces: Sequence[Piece]) -> float:
    return sum(piece.height + GAP_MM for piece in pieces)


def _header(paper: Paper, sheet: Sheet, shared: Common) -> float:
    """Say which plot it is; give the top of what follows."""
    top = MARGIN_MM - 2.5
    paper.name(sheet.plot_id, Box(LEFT, top, 0.56 * FULL, 13), PLOT, least_pt=16)
    paper.name(sheet.village, Box(LEFT + 0.58 * FULL, top, 0.42 * FULL, 8), VILLAGE)
    right = PLAIN._replace(align="right")
    paper.name(shared.district, line_box(LEFT + 0.58 * FULL, top + 8, 0.42 * FULL), right)
    top += 13.6
    paper.write(shared.season, RIGHT, top, right)
    room = FULL - paper.width(shared.season) - 4
    paper.write(sheet.facts, LEFT, top)
    if sheet.farmer is not None:
        start = LEFT + paper.width(sheet.facts) + 5
        paper.name(sheet.farmer, line_box(start, top, LEFT + room - start), BOLD)
    top += 6.4
    paper.line([(LEFT, top), (RIGHT, top)], 0.9)
    return top + GAP_MM if sheet.alarm is None else _alarm(paper, sheet.alarm, top + GAP_MM)


def _alarm(paper: Paper, text: str, y: float) -> float:
    lines = paper.wrapped(text, FULL - 22, ALARM)
    high = len(lines) * ALARM.line_mm + 3.4
    box = Box(LEFT, y, FULL, high)
    paper.frame(box, 1.2)
    x, middle = LEFT + 9, y + high / 2
    paper.line([(x, middle - 3.6), (x - 4, middle + 3), (x + 4, middle + 3), (x, middle - 3.6)],
               0.8)  # fmt: skip
    paper.write("!", x, middle - 2.4, BOLD._replace(align="centre"))
    paper.block(text, Box(LEFT + 18, y + 1.7, FULL - 22, high), ALARM)
    return y + high + GAP_MM


def _drawing(paper: Paper, sheet: Sheet, shared: Common, box: Box) -> None:
    lines = paper.wrapped(sheet.drawing_note, box.width)
    note = len(lines) * PLAIN.line_mm
    pictures.plot(paper, sheet.drawing, box._replace(height=box.height - note - 1), shared.north)
    paper.block(sheet.drawing_note, box._replace(y=box.y + box.height - note))


def _side(paper: Paper, sheet: Sheet, shared: Common) -> Piece:
    """Stand the headline, and below it what is written in by hand, beside the drawing."""
    pieces = [_headline(paper, sheet.headline)]
    if sheet.blanks is not None:
        pieces.append(_blanks(paper, sheet.blanks))
    elif sheet.carried:
        inside = _weedings(paper, shared.weedings, RIGHT - SIDE_MM + 3, SIDE_MM - 6)
        pieces.append(framed(paper, inside, RIGHT - SIDE_MM, SIDE_MM))

    def draw(y: float) -> None:
        for piece in pieces:
            piece.draw(y)
            y += piece.height + GAP_MM

    return Piece(sum(piece.height + GAP_MM for piece in pieces) - GAP_MM, draw)


def framed(paper: Paper, inside: Piece, x: float, width: float) -> Piece:
    """Draw a frame around a piece.

    Parameters
    ----------
    paper : Paper
        The page.
    inside : Piece
        What stands in it.
    x : float
        Left edge of the frame [mm].
    width : float
        Its width [mm].

    Returns
    -------
    Piece
        Both.
    """

    def draw(y: float) -> None:
        paper.frame(Box(x, y, width, inside.height + 3), 0.5)
        inside.draw(y + 1.5)

    return Piece(inside.height + 3, draw)


def _headline(paper: Paper, headline: Headline) -> Piece:
    x, width = RIGHT - SIDE_MM, SIDE_MM - 6
    big = BIG
    while paper.width(headline.big, big) > width and big.pt > TEXT_PT:
        big = big._replace(pt=big.pt - 1)
    notes = sum(paper.height(note, width) + 1 for note in headline.notes)
    height = HEADING.line_mm + big.line_mm + notes + 5

    def draw(y: float) -> None:
        paper.frame(Box(x, y, SIDE_MM, height), 1.0)
        y += 2
        paper.write(headline.title, x + 3, y, HEADING)
        y += HEADING.line_mm
        paper.write(headline.big, x + SIDE_MM / 2, y, big._replace(align="centre"))
        y += big.line_mm + 1
        for note in headline.notes:
            y = paper.block(note, Box(x + 3, y, width, 0)) + 1

    return Piece(height, draw)


def _blanks(paper: Paper, blanks: Blanks) -> Piece:
    x, across = RIGHT - SIDE_MM, 3
    wide, high = SIDE_MM / across, 8.6
    rows = -(-len(blanks.labels) // across)
    height = PLAIN.line_mm + 0.6 + rows * high + 7.5
    words = [paper.width(line) + 1 for line in blanks.lines]
    blank = (SIDE_MM - sum(words)) / len(words)

    def draw(y: float) -> None:
        paper.write(blanks.title, x, y, BOLD)
        y += PLAIN.line_mm + 0.6
        for index, label in enumerate(blanks.labels):
            box = Box(x + index % across * wide, y + index // across * high, wide, high)
            paper.frame(box, 0.5)
            paper.write(label, box.x + 1, box.y + 0.4, BOLD)
        y += rows * high
        start, end = x, y + 2.4 + PLAIN.line_mm
        for line, wide_mm in zip(blanks.lines, words, strict=True):
            paper.write(line, start, y + 2.4)
            start += wide_mm + blank
            paper.line([(start - blank, end), (start - 2, end)], HAIR_MM)

    return Piece(height, draw)


def strip(paper: Paper, title: str, goods: Sequence[Carried]) -> Piece:
    """Show what is carried, side by side: picture, number, name.

    Parameters
    ----------
    paper : Paper
        The page.
    title : str
        The heading.
    goods : sequence of Carried
        At least one thing.

    Returns
    -------
    Piece
        The strip.
    """
    head = max(paper.width(word, HEADING) for word in title.split(" ")) + 5
    wide = (FULL - head) / len(goods)
    high = max(paper.height(good.name, wide - 3) for good in goods) + 12.5

    def draw(y: float) -> None:
        paper.frame(Box(LEFT, y, FULL, high), 1.0)
        paper.block(title, Box(LEFT + 2.5, y + 2, head - 5, 0), HEADING)
        for index, good in enumerate(goods):
            x = LEFT + head + index * wide
            paper.line([(x, y), (x, y + high)], HAIR_MM)
            pictures.carried(paper, good.picture, x + 1.5, y + 1.5)
            amount = AMOUNT
            while paper.width(good.amount, amount) > wide - 13 and amount.pt > TEXT_PT:
                amount = amount._replace(pt=amount.pt - 1)
            paper.write(good.amount, x + 12, y + 6.5 - amount.line_mm / 2, amount)
            paper.block(good.name, Box(x + 2, y + 11.5, wide - 3, 0))

    return Piece(high, draw)


def listed(paper: Paper, part: Part, x: float = LEFT, width: float = FULL) -> Piece:
    """Write sentences under a heading.

    Parameters
    ----------
    paper : Paper
        The page.
    part : Part
        Heading and sentences.
    x : float, default LEFT
        Left edge [mm].
    width : float, default FULL
        Width [mm].

    Returns
    -------
    Piece
        The sentences.
    """
    high = [paper.height(sentence, width) for sentence in part.sentences]
    head = HEADING.line_mm if part.title else 0.0
    height = head + sum(high) + 0.6 * len(high)

    def draw(y: float) -> None:
        if part.title:
            paper.write(part.title, x, y, HEADING)
        y += head
        for sentence in part.sentences:
            y = paper.block(sentence, Box(x, y, width, 0)) + 0.6

    return Piece(height, draw)


def _weedings(paper: Paper, part: Part, x: float, width: float) -> Piece:
    """Write the day to note down and the lines that count from it."""
    planted, *days, care = part.sentences
    hoe, hand = part.care
    side = care_pictures.SIDE_MM
    blank = PLAIN.line_mm + 1.4
    last = _beside_picture(paper, care, hand, x, width - side - 2)
    height = HEADING.line_mm + (1 + len(days)) * blank + last.high + 0.8

    def draw(y: float) -> None:
        paper.write(part.title, x, y, HEADING)
        care_pictures.draw(paper, hoe, x + width - side, y + 0.4)
        y += HEADING.line_mm
        for line in (planted, *days):
            paper.write(line, x, y + 1)
            foot = y + 1 + PLAIN.line_mm
            end = x + width - (side + 2 if line is planted else 0)
            paper.line([(x + 1.5 + paper.width(line), foot), (end, foot)], HAIR_MM)
            y += blank
        last.draw(y + 0.8)

    return Piece(height, draw)


def weeding_line(paper: Paper, part: Part) -> Piece:
    """Write the weedings across the page, the day to note down first.

    Parameters
    ----------
    paper : Paper
        The page.
    part : Part
        Heading, the day to write down, a line a weeding, what to mind.

    Returns
    -------
    Piece
        Two lines of blanks and a sentence, with their pictures.
    """
    planted, *days, care = part.sentences
    hoe, hand = part.care
    side = care_pictures.SIDE_MM
    wide = (FULL - 6) / max(len(days), 1)
    last = _beside_picture(paper, care, hand, LEFT + 3, FULL - 6 - side - 2)

    def blank(text: str, x: float, y: float, end: float) -> None:
        paper.write(text, x, y)
        foot = y + PLAIN.line_mm
        paper.line([(x + paper.width(text) + 1.5, foot), (end, foot)], HAIR_MM)

    def draw(y: float) -> None:
        paper.write(part.title, LEFT + 3, y, HEADING)
        start = LEFT + 3 + paper.width(part.title, HEADING) + 6
        blank(planted, start, y + 0.6, RIGHT - 3 - side - 3)
        care_pictures.draw(paper, hoe, RIGHT - 3 - side, y - 0.6)
        y += HEADING.line_mm + 3.2
        for place, text in enumerate(days):
            x = LEFT + 3 + place * wide
            blank(text, x, y, x + wide - 3)
        last.draw(y + PLAIN.line_mm + 1)

    return Piece(HEADING.line_mm + 4.2 + PLAIN.line_mm + last.high, draw)


def _abreast(paper: Paper, weedings: Part, farmer: Part) -> Piece:
    """Stand the weedings and the words to the farmer side by side."""
    wide = (FULL - 4) / 2
    pieces = [
        _weedings(paper, weedings, LEFT + 3, wide - 6),
        listed(paper, farmer, LEFT + wide + 7, wide - 6),
    ]
    height = max(piece.height for piece in pieces)

    def draw(y: float) -> None:
        for piece, x in zip(pieces, (LEFT, LEFT + wide + 4), strict=True):
            framed(paper, piece._replace(height=height), x, wide).draw(y)

    return Piece(height + 3, draw)


def cautions(paper: Paper, part: Part) -> Piece:
    """Write the cautions beside their pictures, in three columns.

    Parameters
    ----------
    paper : Paper
        The page.
    part : Part
        Heading and sentences, and what is drawn beside each.

    Returns
    -------
    Piece
        The cautions in a frame.
    """
    wide = (FULL - 6) / COLUMNS
    cells = list(_cells(paper, part, wide))
    tops = np.cumsum([0.0, *(max(cell.high for cell in row) + 0.3 for row in cells)]).tolist()

    def draw(y: float) -> None:
        paper.frame(Box(LEFT, y, FULL, tops[-1] + 1.8), 1.0)
        for top, row in zip(tops, cells, strict=False):
            for cell in row:
                cell.draw(y + 1.0 + top)

    return Piece(tops[-1] + 1.8, draw)


class _Cell(NamedTuple):
    """A caution: how high it is [mm], and what draws it."""

    high: float
    draw: Callable[[float], None]


def _cells(paper: Paper, part: Part, wide: float) -> Iterator[list[_Cell]]:
    """Put heading and cautions into rows; one of many words takes two columns."""
    room = wide - care_pictures.SIDE_MM - 3.5
    row = [_Cell(0.0, lambda y: paper.write(part.title, LEFT + 3, y + 1.2, HEADING))]
    taken = 1
    for sentence, care in zip(part.sentences, part.care, strict=True):
        columns = 1 if paper.height(sentence, room) <= care_pictures.SIDE_MM + SLACK_MM else 2
        if taken + columns > COLUMNS:
            yield row
            row, taken = [], 0
        x = LEFT + 3 + taken * wide
        width = room + (columns - 1) * wide
        row.append(_beside_picture(paper, sentence, care, x, width))
        taken += columns
    yield row


def _beside_picture(paper: Paper, sentence: str, care: Care, x: float, width: float) -> _Cell:
    words = paper.height(sentence, width)
    high = max(words, care_pictures.SIDE_MM)

    def draw(y: float) -> None:
        care_pictures.draw(paper, care, x, y + (high - care_pictures.SIDE_MM) / 2)
        box = Box(x + care_pictures.SIDE_MM + 2, y + (high - words) / 2, width, 0)
        paper.block(sentence, box)

    return _Cell(high, draw)


def tabled(paper: Paper, table: Table, width: float = FULL) -> Iterator[Piece]:
    """Draw a table in pieces of one row, so that a long one goes on overleaf.

    Parameters
    ----------
    paper : Paper
        The page.
    table : Table
        Its cells.
    width : float, default FULL
        Its width, from the left margin [mm].

    Yields
    ------
    Piece
        The heading with the first two rows, then row by row.
    """
    first = max(paper.width(row[0], BOLD) for row in table.rows) + 4
    wide = (width - first) / (len(table.rows[0]) - 1)
    high = PLAIN.line_mm + 0.5

    def line(y: float, cells: tuple[str, ...], *, head: bool) -> None:
        x = LEFT
        for column, cell in enumerate(cells):
            across = first if column == 0 else wide
            paper.frame(Box(x, y, across, high), HAIR_MM)
            setting = BOLD if head or column == 0 else PLAIN
            if column == 0:
                paper.write(cell, x + 1.5, y + 0.3, setting)
            else:
                paper.write(cell, x + across / 2, y + 0.3, setting._replace(align="centre"))
            x += across

    top = HEADING.line_mm if table.title else 0.0

    def start(y: float) -> None:
        if table.title:
            paper.write(table.title, LEFT, y, HEADING)
        for index, cells in enumerate(table.rows[:2]):
            line(y + top + index * high, cells, head=index == 0)

    yield Piece(top + len(table.rows[:2]) * high - GAP_MM, start)
    for cells in table.rows[2:]:
        yield Piece(high - GAP_MM, functools.partial(line, cells=cells, head=False))
    yield Piece(0, lambda _: None)


def _foot(paper: Paper, sheet: Sheet, texts: Texts, *, more: bool, cut: bool) -> None:
    paper.line([(LEFT, FOOT_MM + 0.5), (RIGHT, FOOT_MM + 0.5)], HAIR_MM)
    said = sheet.source if not cut else f"{sheet.source}. {texts.say('sheets.cut')}"
    paper.write(said, LEFT, FOOT_MM + 1.2)
    if more:
        paper.write(texts.say("sheets.more"), RIGHT, FOOT_MM + 1.2, BOLD._replace(align="right"))
