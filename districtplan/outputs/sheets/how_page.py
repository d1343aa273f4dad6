"""The last page of a village's plot sheets: how the string is marked and a line levelled."""

from __future__ import annotations

from typing import TYPE_CHECKING

from districtplan.outputs.sheets.paper import HEIGHT_MM, MARGIN_MM, Box
from districtplan.outputs.sheets.plot_page import FULL, GAP_MM, LEFT, PLOT, VILLAGE, listed

if TYPE_CHECKING:
    from districtplan.outputs.sheets.paper import Paper
    from districtplan.outputs.sheets.sheet import How


def draw(paper: Paper, how: How, village: str) -> None:
    """Draw it, on as many pages as it needs.

    Parameters
    ----------
    paper : Paper
        The village's file.
    how : How
        What it says.
    village : str
        The village, as given.
    """
    y = _header(paper, how, village)
    for part in how.parts:
        piece = listed(paper, part)
        if y + piece.height > HEIGHT_MM - MARGIN_MM:
            y = _header(paper, how, village)
        piece.draw(y)
        y += piece.height + GAP_MM


def _header(paper: Paper, how: How, village: str) -> float:
    paper.page()
    top = MARGIN_MM - 2.5
    paper.write(how.title, LEFT, top, PLOT._replace(pt=20))
    paper.name(village, Box(LEFT + 0.64 * FULL, top, 0.36 * FULL, 8), VILLAGE)
    top += 11
    paper.line([(LEFT, top), (LEFT + FULL, top)], 0.9)
    return top + GAP_MM
