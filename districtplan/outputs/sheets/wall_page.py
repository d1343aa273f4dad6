"""A wall sheet on paper: a map of the village with squares, then its plots as a list."""

from __future__ import annotations

import string
from typing import TYPE_CHECKING

import numpy as np
import shapely

from districtplan.outputs.sheets import pictures
from districtplan.outputs.sheets.paper import BOLD, PLAIN, Box, Setting, line_box
from districtplan.outputs.sheets.plot_page import (
    FOOT_MM,
    FULL,
    GAP_MM,
    LEFT,
    RIGHT,
    cautions,
    framed,
    strip,
    weeding_line,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.outputs.sheets.paper import Paper
    from districtplan.outputs.sheets.sheet import Common, Wall
    from districtplan.outputs.texts import Texts

    Floats = NDArray[np.float64]

VILLAGE = Setting(26, bold=True)
TITLE = Setting(15, bold=True, align="right")
COLUMNS, ROWS = 6, 6
"""Squares of the map: letters across, numbers down."""

WIDTHS_MM = (12.0, 44.0, 17.0, 37.0)
"""Columns of the list: number, plot, square, rows; the others share what is left."""

TOP_MM = 9.0
ROOM_MM = 4.6
"""Room that a number takes on the map."""


def draw(paper: Paper, wall: Wall, shared: Common, texts: Texts) -> None:
    """Draw a wall sheet.

    Parameters
    ----------
    paper : Paper
        Its file.
    wall : Wall
        What it says.
    shared : Common
        What all sheets of the run say.
    texts : Texts
        The words.
    """
    paper.page()
    y = _header(paper, wall, shared, texts)
    for sentence in wall.finding:
        y = paper.block(sentence, Box(LEFT, y, FULL, 0), BOLD)
    below = [cautions(paper, shared.cautions)]
    below.insert(0, framed(paper, weeding_line(paper, shared.weedings), LEFT, FULL))
    if wall.totals:
        below.insert(0, strip(paper, wall.totals_title, wall.totals))
    room = FOOT_MM + 8 - y - sum(piece.height + GAP_MM for piece in below) - GAP_MM
    squares = _map(paper, wall, shared, Box(LEFT, y + GAP_MM, FULL, room - GAP_MM))
    y += room + GAP_MM
    for piece in below:
        piece.draw(y)
        y += piece.height + GAP_MM
    _list(paper, wall, shared, squares, texts)


def _header(paper: Paper, wall: Wall, shared: Common, texts: Texts) -> float:
    paper.name(wall.village, Box(LEFT, TOP_MM, 0.64 * FULL, 12), VILLAGE, least_pt=15)
    paper.write(texts.say("sheets.wall.title"), RIGHT, TOP_MM, TITLE)
    top = TOP_MM + 12.4
    right = PLAIN._replace(align="right")
    paper.name(shared.district, line_box(LEFT, top, 0.5 * FULL), PLAIN)
    paper.write(shared.season, RIGHT, top, right)
    top += 6
    paper.line([(LEFT, top), (RIGHT, top)], 0.9)
    return top + GAP_MM


def _map(paper: Paper, wall: Wall, shared: Common, box: Box) -> list[str]:
    """Draw the village and tell which square each plot is in."""
    note = PLAIN.line_mm * len(paper.wrapped(wall.map_note, box.width)) + 1
    frame = Box(box.x + 5, box.y + 5, box.width - 5, box.height - note - 5)
    _squares(paper, frame)
    points = np.vstack([ring for plot in wall.plots for ring in plot.drawing.rings])
    view = pictures.view_of(
        points, Box(frame.x + 4, frame.y + 4, frame.width - 8, frame.height - 18)
    )
    for plot in wall.plots:
        pictures.field(paper, plot.drawing, view, thin=True)
    fields = [shapely.Polygon(plot.drawing.rings[0]) for plot in wall.plots]
    middles = view.on_paper(shapely.get_coordinates(shapely.point_on_surface(fields)))
    _numbers(paper, middles)
    foot = frame.y + frame.height
    pictures.scale_bar(paper, view.scale, frame.x + 4, foot - 3, 0.3 * frame.width)
    pictures.north_arrow(paper, frame.x + frame.width - 7, foot - 13, shared.north)
    paper.block(wall.map_note, Box(box.x, foot + 0.8, box.width, 0))
    paper.frame(frame, 0.7)
    place = (middles - [frame.x, frame.y]) / [frame.width / COLUMNS, frame.height / ROWS]
    column, row = np.floor(place).astype(int).T
    return [
        f"{string.ascii_uppercase[min(east, COLUMNS - 1)]}{min(south, ROWS - 1) + 1}"
        for east, south in zip(column, row, strict=True)
    ]


def _squares(paper: Paper, frame: Box) -> None:
    paper.dashes(0.4, 1.4)
    wide, high = frame.width / COLUMNS, frame.height / ROWS
    centre = BOLD._replace(align="centre")
    for index in range(COLUMNS):
        x = frame.x + index * wide
        if index:
            paper.line([(x, frame.y), (x, frame.y + frame.height)], 0.25)
        paper.write(string.ascii_uppercase[index], x + wide / 2, frame.y - 5, centre)
    for index in range(ROWS):
        y = frame.y + index * high
        if index:
            paper.line([(frame.x, y), (frame.x + frame.width, y)], 0.25)
        paper.write(str(index + 1), frame.x - 2.6, y + high / 2 - 2.4, centre)
    paper.dashes()


def _numbers(paper: Paper, middles: Floats) -> None:
    """Write numbers where there is room; the list leads to the others by their square."""
    taken: set[tuple[int, int]] = set()
    for number, (x, y) in enumerate(middles, 1):
        text = str(number)
        half = paper.width(text, BOLD) / 2 + 0.5
        cells = {
            (int(column), int(row))
            for column in range(int((x - half) // ROOM_MM), int((x + half) // ROOM_MM) + 1)
            for row in range(int((y - 2.2) // ROOM_MM), int((y + 2.2) // ROOM_MM) + 1)
        }
        if taken & cells:
            continue
        taken |= cells
        paper.fill(
            [(x - half, y - 2.2), (x + half, y - 2.2), (x + half, y + 2.2), (x - half, y + 2.2)],
            grey=255,
        )
        paper.write(text, float(x), float(y) - 2.35, BOLD._replace(align="centre"))


def _list(paper: Paper, wall: Wall, shared: Common, squares: list[str], texts: Texts) -> None:
    goods = len(wall.heads) - len(WIDTHS_MM)
    left = FULL - sum(WIDTHS_MM)
    widths = (*WIDTHS_MM, *(left / max(goods, 1) for _ in range(goods)))
    high = PLAIN.line_mm + 1.2
    y = FOOT_MM + 8
    for number, (plot, square) in enumerate(zip(wall.plots, squares, strict=True), 1):
        if y + high > FOOT_MM + 8:
            paper.page()
            y = _header(paper, wall, shared, texts)
            _cells(paper, y, widths, wall.heads, BOLD)
            y += high + 0.4
            paper.line([(LEFT, y - 0.4), (RIGHT, y - 0.4)], 0.6)
        cells = (str(number), "", square, *plot.cells)
        _cells(paper, y, widths, cells, PLAIN)
        paper.name(plot.plot_id, line_box(LEFT + widths[0], y + 0.3, widths[1] - 3), BOLD)
        y += high
        paper.line([(LEFT, y - 0.3), (RIGHT, y - 0.3)], 0.15)


def _cells(
    paper: Paper, y: float, widths: tuple[float, ...], cells: tuple[str, ...], setting: Setting
) -> None:
    x = LEFT
    for place, (width, cell) in enumerate(zip(widths, cells, strict=True)):
        if place < len(WIDTHS_MM):
            paper.write(cell, x, y + 0.3, setting)
        else:
            paper.write(cell, x + width, y + 0.3, setting._replace(align="right"))
        x += width
