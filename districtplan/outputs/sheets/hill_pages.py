"""Hillsides in full, and what else is told, over as many pages as that needs."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from districtplan.outputs.sheets.paper import BOLD, PLAIN, Box, line_box
from districtplan.outputs.sheets.plot_page import FULL, GAP_MM, HAIR_MM, LEFT, RIGHT

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from districtplan.outputs.sheets.paper import Paper

INDENT_MM = 10.0
NAME_MM = 60.0
HUNG_MM = 5.0
TOGETHER = 3
"""Lines that stay with the name of a hillside."""


class Line(NamedTuple):
    """A sentence.

    Attributes
    ----------
    text : str
        Its words.
    title : bool
        Whether it stands over those that follow.
    """

    text: str
    title: bool = False


class Told(NamedTuple):
    """A hillside in full, or what is of none.

    Attributes
    ----------
    rank : str
        Its place in the order of work.
    name : str
        Its name, as given; empty where it is none.
    summary : str
        What is done.
    again : str
        What stands in the place of that where it goes on overleaf.
    lines : tuple[Line, ...]
        All that is to be known there.
    """

    rank: str
    name: str
    summary: str
    again: str
    lines: tuple[Line, ...]


def draw(
    paper: Paper, hills: Iterable[Told], bottom_mm: float, turned: Callable[[], float]
) -> None:
    """Draw hillsides.

    Parameters
    ----------
    paper : Paper
        The pages.
    hills : iterable of Told
        The hillsides.
    bottom_mm : float
        Where a page ends [mm].
    turned : Callable[[], float]
        Starts a page; says where its room begins [mm].
    """
    y = turned()
    for hill in hills:
        first = sum(_high(paper, line) for line in hill.lines[:TOGETHER])
        if y + head_height(paper, hill.summary) + first > bottom_mm:
            y = turned()
        y = head(paper, hill, hill.summary, y)
        for at, line in enumerate(hill.lines):
            # A title never ends a page.
            kept = hill.lines[at : at + (2 if line.title else 1)]
            if y + sum(_high(paper, each) for each in kept) > bottom_mm:
                y = head(paper, hill, hill.again, turned())
            setting, hung = (BOLD, 0.0) if line.title else (PLAIN, HUNG_MM)
            x = LEFT + INDENT_MM + hung
            y = paper.block(line.text, Box(x, y, RIGHT - x, 0), setting)
        y += GAP_MM


def head_height(paper: Paper, summary: str) -> float:
    """Measure the line that names a hillside.

    Parameters
    ----------
    paper : Paper
        The page.
    summary : str
        What stands beside the name.

    Returns
    -------
    float
        Its height [mm].
    """
    beside = FULL - INDENT_MM - NAME_MM
    return max(paper.height(summary, beside, BOLD), PLAIN.line_mm) + 0.8


def head(paper: Paper, hill: Told, summary: str, y: float) -> float:
    """Name a hillside under a line; what is of none has the line alone.

    Parameters
    ----------
    paper : Paper
        The page.
    hill : Told
        The hillside.
    summary : str
        What stands beside its name.
    y : float
        Top [mm].

    Returns
    -------
    float
        Top of what follows [mm].
    """
    x = LEFT + INDENT_MM
    paper.line([(LEFT, y - 0.4), (RIGHT, y - 0.4)], HAIR_MM)
    if not hill.name:
        return y
    paper.write(hill.rank, LEFT, y, BOLD)
    paper.name(hill.name, line_box(x, y, NAME_MM - 3), BOLD)
    paper.block(summary, Box(x + NAME_MM, y, FULL - INDENT_MM - NAME_MM, 0), BOLD)
    return y + head_height(paper, summary)


def _high(paper: Paper, line: Line) -> float:
    setting, hung = (BOLD, 0.0) if line.title else (PLAIN, HUNG_MM)
    return paper.height(line.text, FULL - INDENT_MM - hung, setting)
