"""Small drawings of weeding and of what to take care of, for one who doesn't read.

Each fits a square of 9 mm and is drawn in units of a millimetre from its upper left corner. A thick
cross over a thing says never.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from districtplan.outputs.sheets.paper import Paper
    from districtplan.outputs.sheets.sheet import Care

    Points = Sequence[tuple[float, float]]

SIDE_MM = 9.0
"""Height and width of a drawing."""

THIN_MM, PEN_MM, THICK_MM = 0.4, 0.6, 1.1
ROUND = np.linspace(0, 2 * np.pi, 19)


def draw(paper: Paper, care: Care, x: float, y: float) -> None:
    """Draw one of them.

    Parameters
    ----------
    paper : Paper
        The page.
    care : str
        What it shows.
    x : float
        Left edge [mm].
    y : float
        Upper edge [mm].
    """
    DRAWN[care](_Pen(paper, x, y))


class _Pen:
    """Draws from a corner of the page on."""

    def __init__(self, paper: Paper, x: float, y: float) -> None:
        self._paper, self._x, self._y = paper, x, y

    def _at(self, points: Points) -> list[tuple[float, float]]:
        return [(self._x + east, self._y + south) for east, south in points]

    def line(self, *points: tuple[float, float], width: float = PEN_MM) -> None:
        self._paper.line(self._at(points), width)

    def fill(self, *points: tuple[float, float], grey: int = 0) -> None:
        self._paper.fill(self._at(points), grey)

    def dot(self, east: float, south: float, radius: float) -> None:
        self._paper.disc(self._x + east, self._y + south, radius, full=True)

    def ring(self, east: float, south: float, radius: float) -> None:
        self._paper.disc(self._x + east, self._y + south, radius)

    def oval(self, east: float, south: float, wide: float, high: float) -> None:
        self.fill(*_oval(east, south, wide, high))

    def cross(self) -> None:
        self.line((0.8, 1.2), (8.2, 8.2), width=THICK_MM)
        self.line((8.2, 1.2), (0.8, 8.2), width=THICK_MM)


def _oval(east: float, south: float, wide: float, high: float) -> list[tuple[float, float]]:
    points = np.column_stack([east + wide * np.cos(ROUND), south + high * np.sin(ROUND)])
    return [(x, y) for x, y in points.tolist()]


def _plant(pen: _Pen, east: float, high: float) -> None:
    """Draw a young bean: a stem and two leaves."""
    pen.line((east, 8.4), (east, 8.4 - high), width=PEN_MM)
    for side in (-1, 1):
        pen.oval(east + side * 1.0, 8.2 - high, 1.0, 0.6)


def _hoe(pen: _Pen) -> None:
    _plant(pen, 1.6, 2.8)
    _plant(pen, 7.4, 2.8)
    pen.line((0.2, 8.7), (8.8, 8.7))
    pen.line((8.0, 0.4), (4.4, 6.0), width=0.8)
    pen.fill((4.9, 5.6), (3.4, 8.2), (2.9, 7.6), (4.1, 5.0))


def _by_hand(pen: _Pen) -> None:
    """Draw a flower that stays, and a fist that pulls a weed with its roots."""
    pen.line((0.2, 8.7), (8.8, 8.7))
    pen.line((1.9, 8.6), (1.9, 4.2))
    for turn in np.linspace(0, 2 * np.pi, 6)[:-1].tolist():
        pen.dot(1.9 + 1.1 * float(np.sin(turn)), 3.0 - 1.1 * float(np.cos(turn)), 0.6)
    pen.ring(1.9, 3.0, 0.45)
    pen.line((6.4, 7.8), (6.4, 1.4), width=THIN_MM)
    pen.fill((6.4, 2.2), (5.2, 0.4), (6.4, 1.0), (7.6, 0.4))
    pen.line((5.4, 8.2), (6.4, 6.6), (7.4, 8.2), width=THIN_MM)
    pen.fill((4.6, 2.9), (8.8, 2.9), (8.8, 5.9), (4.6, 5.9))
    for south in (3.65, 4.4, 5.15):
        pen.fill((4.6, south - 0.12), (7.2, south - 0.12), (7.2, south + 0.12),
                 (4.6, south + 0.12), grey=255)  # fmt: skip


def _apart(pen: _Pen) -> None:
    """Draw grains and a seed with a wall between them."""
    for east, south in ((0.9, 3.4), (2.2, 4.2), (1.0, 5.2), (2.3, 5.9), (1.3, 6.9)):
        pen.dot(east, south, 0.5)
    pen.line((4.3, 0.5), (4.3, 8.6), width=THICK_MM)
    pen.oval(7.0, 5.2, 1.7, 1.1)
    pen.fill(*_oval(7.0, 4.5, 0.5, 0.45), grey=255)


def _cap(pen: _Pen) -> None:
    """Draw a cup, crossed out, under a bottle's cap."""
    pen.fill((2.9, 0.3), (6.1, 0.3), (6.4, 2.1), (2.6, 2.1))
    pen.line((2.0, 3.4), (2.4, 8.2), (5.8, 8.2), (6.2, 3.4), (2.0, 3.4))
    pen.line((6.1, 4.6), (7.6, 4.8), (7.4, 6.8), (6.0, 7.0))
    pen.line((0.6, 3.2), (8.2, 8.3), width=THICK_MM)
    pen.line((8.2, 3.2), (0.6, 8.3), width=THICK_MM)


def _wash(pen: _Pen) -> None:
    """Draw a tap, drops, and a hand below them."""
    pen.line((0.4, 1.2), (4.4, 1.2), (4.4, 2.4), width=THICK_MM)
    pen.line((2.2, 1.2), (2.2, 0.2), width=PEN_MM)
    for east, south in ((4.4, 3.9), (3.5, 5.2), (5.3, 5.0)):
        pen.fill((east, south - 0.8), (east + 0.5, south + 0.2), (east, south + 0.6),
                 (east - 0.5, south + 0.2))  # fmt: skip
    pen.fill((0.4, 6.8), (3.2, 6.4), (8.6, 6.4), (8.6, 7.1), (6.6, 7.2), (8.4, 7.4), (8.3, 8.0),
             (6.3, 7.9), (7.6, 8.3), (7.4, 8.8), (3.0, 8.8), (0.4, 8.4))  # fmt: skip


def _poison(pen: _Pen) -> None:
    """Draw a skull over two bones."""
    pen.line((0.9, 5.6), (8.1, 8.6), width=THICK_MM)
    pen.line((8.1, 5.6), (0.9, 8.6), width=THICK_MM)
    pen.fill(*_oval(4.5, 3.0, 2.9, 2.8))
    pen.fill((3.0, 5.0), (6.0, 5.0), (5.8, 6.9), (3.2, 6.9))
    for east in (3.3, 5.7):
        pen.fill(*_oval(east, 3.2, 0.8, 0.9), grey=255)
    pen.fill((4.5, 4.0), (4.9, 4.9), (4.1, 4.9), grey=255)
    for east in (3.9, 4.5, 5.1):
        pen.fill((east - 0.1, 5.7), (east + 0.1, 5.7), (east + 0.1, 6.9), (east - 0.1, 6.9),
                 grey=255)  # fmt: skip


def _no_digging(pen: _Pen) -> None:
    """Draw a spade in wet ground, crossed out."""
    pen.line((4.5, 0.8), (4.5, 4.4), width=0.8)
    pen.line((3.3, 0.6), (5.7, 0.6), width=0.8)
    pen.fill((3.1, 4.2), (5.9, 4.2), (5.7, 7.0), (4.5, 8.4), (3.3, 7.0))
    pen.cross()


def _steep(pen: _Pen) -> None:
    """Draw a steep hillside, and a mark beside it that says stop."""
    pen.fill((0.3, 8.6), (6.2, 8.6), (6.2, 0.6))
    pen.line((8.0, 0.6), (8.0, 5.8), width=THICK_MM)
    pen.dot(8.0, 7.8, 0.6)


def _rules(pen: _Pen) -> None:
    """Draw a written page with a seal."""
    pen.line((1.6, 0.6), (7.4, 0.6), (7.4, 8.6), (1.6, 8.6), (1.6, 0.6))
    for south in (2.2, 3.6, 5.0):
        pen.line((2.7, south), (6.3, south), width=THIN_MM)
    pen.dot(5.8, 7.0, 0.9)


DRAWN: dict[str, Callable[[_Pen], None]] = {
    "hoe": _hoe,
    "by hand": _by_hand,
    "apart": _apart,
    "cap": _cap,
    "hands": _wash,
    "dressed": _poison,
    "digging": _no_digging,
    "steep": _steep,
    "law": _rules,
}
