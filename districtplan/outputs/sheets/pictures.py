"""Small drawings: what is carried, arrows, the scale, and the plot itself."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

from districtplan.outputs.sheets.paper import BOLD, MM_PER_PT, PLAIN, TEXT_PT, Box

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from numpy.typing import NDArray
    from shapely import Polygon

    from districtplan.outputs.sheets.paper import Paper
    from districtplan.outputs.sheets.sheet import Drawing, Fall, Mark, Picture

    Floats = NDArray[np.float64]

SIGN_MM = 2.9
"""Radius of a circle with a sign."""

SCALES_M = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1_000, 2_000, 5_000)
SCALE_SHARE = 0.4
CLEAR_MM = 0.4
"""Least white between two circles."""

DOT_MM = 0.9
"""Radius of a peg's dot."""

RING_MM = 0.8
"""Radius of the ring about a break in a row."""

OFF_MM = (1.6, 4.0, 8.0, 13.0)
"""How far off its place a sign or word may stand, the nearest first."""
NEAR_OFF = 2
"""From this one of them on a line leads from a corner to its letter."""

AROUND_RAD = tuple(math.radians(sign * turn) for turn in range(0, 181, 30) for sign in (1, -1))


class View(NamedTuple):
    """How metres become millimetres on the page.

    Attributes
    ----------
    scale : float
        Millimetres on paper for a metre.
    x : float
        Where east 0 lies [mm].
    y : float
        Where north 0 lies [mm].
    """

    scale: float
    x: float
    y: float

    def on_paper(self, points: Floats) -> Floats:
        """Place points on the page.

        Parameters
        ----------
        points : numpy.ndarray
            Metres east and north, shape (points, 2).

        Returns
        -------
        numpy.ndarray
            Millimetres from the left and from the top, shape (points, 2).
        """
        return np.column_stack(
            [self.x + self.scale * points[:, 0], self.y - self.scale * points[:, 1]]
        )


def view_of(points: Floats, box: Box) -> View:
    """Fit points into a box, in its middle.

    Parameters
    ----------
    points : numpy.ndarray
        Metres east and north, shape (points, 2).
    box : Box
        The room.

    Returns
    -------
    View
        The largest scale at which they fit.
    """
    low, high = points.min(axis=0), points.max(axis=0)
    size = np.maximum(high - low, 1e-3)
    scale = float(min(box.width / size[0], box.height / size[1]))
    middle = (low + high) / 2
    return View(
        scale,
        box.x + box.width / 2 - scale * float(middle[0]),
        box.y + box.height / 2 + scale * float(middle[1]),
    )


def plot(paper: Paper, drawing: Drawing, box: Box, north: str) -> None:
    """Draw a plot with its north arrow and scale.

    Parameters
    ----------
    paper : Paper
        The page.
    drawing : Drawing
        The plot.
    box : Box
        Where to.
    north : str
        Letter at the north arrow.
    """
    paper.frame(box)
    # Room at the sides for corners' letters, below for scale and arrows.
    inner = Box(box.x + 9, box.y + 9, box.width - 18, box.height - 28)
    view = view_of(np.vstack(drawing.rings), inner)
    field(paper, drawing, view)
    signs = _Signs(paper, view, box._replace(height=box.height - 14))
    dots = _dots(signs, drawing)
    _arrows(signs, drawing.falls)
    # What the words name comes first: corners, where to go, what has no rows.
    middle = np.array([box.x + box.width / 2, box.y + (box.height - 14) / 2])
    _corners(signs, drawing.corners, middle)
    _places(signs, drawing.places)
    _named(signs, drawing)
    _pegs(signs, drawing, dots)
    foot = box.y + box.height
    scale_bar(paper, view.scale, box.x + 5, foot - 4.5, box.width * SCALE_SHARE)
    north_arrow(paper, box.x + box.width - 7, foot - 12.6, north)
    if drawing.falls:
        _fall(paper, drawing.falls[0], Box(box.x, foot - 13, box.width - 17, 12))


def field(paper: Paper, drawing: Drawing, view: View, *, thin: bool = False) -> None:
    """Draw a plot's edge, what fills it, guide lines, and lines between parts.

    Parameters
    ----------
    paper : Paper
        The page.
    drawing : Drawing
        The plot.
    view : View
        Where to.
    thin : bool, default False
        Whether lines are thin, for many plots on one page.
    """
    edge = 0.45 if thin else 0.7
    for row in drawing.rows:
        paper.line(view.on_paper(row), 0.2 if thin else 0.35)
    paper.dashes(1.4, 1.0)
    for row in drawing.maize:
        paper.line(view.on_paper(row), 0.2 if thin else 0.35)
    paper.dashes()
    for guide in drawing.guides:
        paper.line(view.on_paper(guide), 0.9)
    paper.dashes(0.5, 1.3)
    for boundary in drawing.boundaries:
        paper.line(view.on_paper(boundary), 0.5)
    paper.dashes()
    if drawing.dashed:
        paper.dashes(*(0.9, 0.7) if thin else (2.4, 1.6))
    for ring in drawing.rings:
        paper.line(view.on_paper(ring), edge)
    paper.dashes()
    for stroke in drawing.cross:
        paper.line(view.on_paper(stroke), edge)


class _Signs:
    """Signs in circles that keep clear of one another, of dots and of the frame."""

    def __init__(self, paper: Paper, view: View, frame: Box) -> None:
        self.paper, self.view, self.frame = paper, view, frame
        self.circles: Floats = np.zeros((0, 2))
        self.dots: Floats = np.zeros((0, 2))
        self.boxes: Floats = np.zeros((0, 4))

    def at(self, mark: Mark) -> Floats:
        """Give the place of a mark on the page."""
        place: Floats = self.view.on_paper(np.array([[mark.east_m, mark.north_m]]))[0]
        return place

    def put(self, text: str, tried: Sequence[Floats], own: int | None = None) -> int | None:
        """Draw a circle at the first place that is free, if there is one; it may be on its dot.

        Gives which of the places that is.
        """
        places = np.array(tried)
        free = np.flatnonzero(self._free(places, own)).tolist()
        if not free:
            return None
        place = places[free[0]]
        _circled(self.paper, float(place[0]), float(place[1]), text)
        self.circles = np.vstack([self.circles, place])
        return int(free[0])

    def clear(self, box: Box, edge: Polygon | None) -> bool:
        """Tell whether a word may stand in a box: in the frame, off signs, words and an edge."""
        inside = shapely.box(box.x, box.y, box.x + box.width, box.y + box.height)
        x, y, width, height = self.frame
        if not shapely.box(x, y, x + width, y + height).contains(inside):
            return False
        if edge is not None and not edge.contains(inside) and edge.intersects(inside):
            return False
        here = np.array([box])
        near = _off(self.circles, here).min(initial=np.inf) < SIGN_MM
        on_dot = _off(self.dots, here).min(initial=np.inf) < DOT_MM
        words = shapely.box(*self.boxes[:, :2].T, *(self.boxes[:, :2] + self.boxes[:, 2:]).T)
        return not (near or on_dot or bool(np.any(shapely.intersects(words, inside))))

    def _free(self, places: Floats, own: int | None) -> NDArray[np.bool_]:
        x, y, width, height = self.frame
        low = np.array([x, y]) + SIGN_MM
        high = np.array([x + width, y + height]) - SIGN_MM
        inside = ((places >= low) & (places <= high)).all(axis=1)
        clear = (_apart(places, self.circles) >= 2 * SIGN_MM + CLEAR_MM).all(axis=1)
        clear &= (_off(places, self.boxes) >= SIGN_MM).all(axis=1)
        off = _apart(places, self.dots) >= SIGN_MM + DOT_MM + CLEAR_MM / 2
        if own is not None:
            off[:, own] = True
        return np.asarray(inside & clear & off.all(axis=1))


def _apart(places: Floats, others: Floats) -> Floats:
    """Give distances of places from others, shape (places, others)."""
    between = places[:, None] - others
    found: Floats = np.hypot(between[..., 0], between[..., 1])
    return found


def _off(places: Floats, boxes: Floats) -> Floats:
    """Give distances of places from boxes, 0 inside, shape (places, boxes)."""
    low, high = boxes[:, :2], boxes[:, :2] + boxes[:, 2:]
    between = np.maximum(np.maximum(low - places[:, None], places[:, None] - high), 0)
    found: Floats = np.hypot(between[..., 0], between[..., 1])
    return found


def _around(at: Floats, first: Floats, far: float) -> list[Floats]:
    """List places around a point, that in a first direction first, then to both of its sides."""
    angle = math.atan2(first[1], first[0])
    turned = (angle + turn for turn in AROUND_RAD)
    return [at + far * np.array([math.cos(one), math.sin(one)]) for one in turned]


def _led(signs: _Signs, text: str, at: Floats, tried: Sequence[Floats], far: int) -> None:
    """Draw a sign at the first free place; from one that is far a line leads to what it is of."""
    put = signs.put(text, tried)
    if put is not None and put >= far:
        way = tried[put] - at
        end = at + way * (1 - SIGN_MM / np.hypot(*way))
        signs.paper.line([tuple(at), tuple(end)], 0.3)


def _corners(signs: _Signs, corners: tuple[Mark, ...], middle: Floats) -> None:
    """Draw a corner's letter outside the plot, away from the middle if that is free."""
    for corner in corners:
        at = signs.at(corner)
        tried = [place for off in OFF_MM for place in _around(at, at - middle, SIGN_MM + off)]
        _led(signs, corner.sign, at, tried, NEAR_OFF * len(AROUND_RAD))


def _places(signs: _Signs, places: tuple[Mark, ...]) -> None:
    """Draw the numbers of places to go to, on them if that is free."""
    east = np.array([1.0, 0.0])
    for place in places:
        at = signs.at(place)
        tried = [at, *(one for off in OFF_MM for one in _around(at, east, SIGN_MM + off))]
        _led(signs, place.sign, at, tried, 1 + len(AROUND_RAD))


def _named(signs: _Signs, drawing: Drawing) -> None:
    """Draw the edges of land without rows, and write on white what is there, clear of signs."""
    paper, view = signs.paper, signs.view
    paper.dashes(0.4, 0.8)
    for land in drawing.taken:
        for ring in land.rings:
            paper.line(view.on_paper(ring), 0.4)
    paper.dashes()
    told: set[str] = set()
    for land in drawing.taken:
        wide, high = paper.width(land.word) + 1.2, PLAIN.line_mm
        points = view.on_paper(np.array(land.at)).tolist()
        edge = shapely.Polygon(view.on_paper(land.rings[0])) if land.rings else None
        tried = [
            Box(x + east - wide / 2, y + south - high / 2, wide, high)
            for east, south in _beside(wide, high, edge)
            for x, y in points
        ]
        box = next((one for one in tried if signs.clear(one, edge)), None)
        if box is None and land.word not in told:
            # What is alike lies side by side, and is named once.
            box = next((one for one in tried if signs.clear(one, None)), None)
        if box is None:
            continue
        told.add(land.word)
        signs.boxes = np.vstack([signs.boxes, box])
        right, foot = box.x + wide, box.y + high
        paper.fill([(box.x, box.y), (right, box.y), (right, foot), (box.x, foot)], grey=255)
        paper.write(land.word, box.x + wide / 2, box.y, PLAIN._replace(align="centre"))


def _beside(wide: float, high: float, edge: Polygon | None) -> Iterator[tuple[float, float]]:
    """List how far a word may stand off a point of what it names: within, then to its sides."""
    if edge is None or 2 * edge.area > high * edge.length:
        yield 0.0, 0.0
    for off in OFF_MM:
        across, down = wide / 2 + off, high / 2 + off
        yield from ((across, 0.0), (-across, 0.0), (0.0, down), (0.0, -down))


def _circled(paper: Paper, x: float, y: float, text: str) -> None:
    paper.disc(x, y, SIGN_MM)
    setting = BOLD._replace(align="centre")
    paper.write(text, x, y - 0.57 * TEXT_PT * MM_PER_PT, setting)


def _dots(signs: _Signs, drawing: Drawing) -> list[Floats]:
    """Draw pegs as dots, and rings about breaks in rows; give the places of pegs on the page."""
    places = [signs.at(mark) for mark in drawing.pegs]
    rings = signs.view.on_paper(np.array(drawing.breaks).reshape(-1, 2))
    signs.dots = np.vstack([np.array(places).reshape(-1, 2), rings])
    for x, y in rings.tolist():
        signs.paper.disc(x, y, RING_MM)
    for x, y in places:
        signs.paper.disc(float(x), float(y), DOT_MM, full=True)
    return places


def _arrows(signs: _Signs, falls: tuple[Fall, ...]) -> None:
    """Draw an arrow downhill from the middle of each line, white around it, clear of signs."""
    for fall in falls:
        if fall.at is None:
            continue
        along, aside = _ways(fall)
        begin = signs.view.on_paper(np.array([fall.at]))[0] + 0.8 * along
        for wider, grey in ((0.6, 255), (0.0, 0)):
            shaft, barb, head = 0.5 + wider, 2.0 + 1.5 * wider, 4.0 + wider
            side = [(0.0, shaft), (head, shaft), (head, barb), (8.0 + 1.5 * wider, 0.0)]
            ring = np.array([*side, *((ahead, -off) for ahead, off in reversed(side[:-1]))])
            signs.paper.fill((begin + ring @ np.array([along, aside])).tolist(), grey=grey)
        signs.dots = np.vstack([signs.dots, begin + 2 * along, begin + 6 * along])


def _pegs(signs: _Signs, drawing: Drawing, places: list[Floats]) -> None:
    """Write the numbers of pegs, those that start lines first, beside the line where crowded."""
    last = len(places) - 1
    rest = [index for index in (last, *range(last)) if index not in drawing.starts]
    for index in (*drawing.starts, *(rest if places else ())):
        at = places[index]
        along = places[min(index + 1, last)] - places[max(index - 1, 0)]
        beside = _around(at, np.array([-along[1], along[0]]), SIGN_MM + DOT_MM)
        if index not in drawing.starts:
            signs.put(drawing.pegs[index].sign, [at, *beside], own=index)
            continue
        off = [one for far in OFF_MM for one in _around(at, at - places[last // 2], SIGN_MM + far)]
        if signs.put(drawing.pegs[index].sign, [at, *beside], own=index) is None:
            _led(signs, drawing.pegs[index].sign, at, off, len(AROUND_RAD))


def north_arrow(paper: Paper, x: float, y: float, letter: str) -> None:
    """Draw an arrow up the page.

    Parameters
    ----------
    paper : Paper
        The page.
    x : float
        Its middle [mm].
    y : float
        Its tip [mm].
    letter : str
        Letter below it.
    """
    paper.fill([(x, y), (x - 2.6, y + 8), (x, y + 6), (x + 2.6, y + 8)])
    paper.write(letter, x, y + 7.6, BOLD._replace(align="centre"))


def scale_bar(paper: Paper, scale: float, x: float, y: float, most_mm: float) -> None:
    """Draw a bar that says how long some metres are on paper, however it was copied.

    Parameters
    ----------
    paper : Paper
        The page.
    scale : float
        Millimetres on paper for a metre.
    x : float
        Its left end [mm].
    y : float
        Its lower edge [mm].
    most_mm : float
        Longest that it may be [mm].
    """
    metres = max((m for m in SCALES_M if m * scale <= most_mm), default=SCALES_M[0])
    long = metres * scale
    paper.line([(x, y - 2), (x, y), (x + long, y), (x + long, y - 2)], 0.6)
    paper.write(f"{metres:,} m", x + 1, y - 5.6)


def _ways(fall: Fall) -> tuple[Floats, Floats]:
    """Give the way of an arrow on the page, and that square to it."""
    angle = math.radians(fall.true_deg)
    along = np.array([math.sin(angle), -math.cos(angle)])
    return along, np.array([-along[1], along[0]])


def _fall(paper: Paper, fall: Fall, box: Box) -> None:
    """Draw an arrow the way the ground falls; of the hillside dashed, since it isn't the plot's.

    Of arrows that stand at lines only what they mean is written here.
    """
    x, y = box.x + box.width - 8, box.y + box.height / 2
    if fall.at is not None:
        paper.write(fall.label, x + 5, y - 2.2, BOLD._replace(align="right"))
        return
    along, aside = _ways(fall)
    centre = np.array([x, y])
    tail, tip = centre - 5.5 * along, centre + 5.5 * along
    if fall.of_hillside:
        paper.dashes(1.6, 1.1)
    paper.line([tuple(tail), tuple(tip - 3 * along)], 1.0)
    paper.dashes()
    paper.fill(
        [tuple(tip), tuple(tip - 4 * along + 2.2 * aside), tuple(tip - 4 * along - 2.2 * aside)]
    )
    paper.write(fall.label, x - 8, y - 2.2, BOLD._replace(align="right"))


def carried(paper: Paper, picture: Picture, x: float, y: float) -> None:
    """Draw what is carried, about 9 mm high and wide.

    Parameters
    ----------
    paper : Paper
        The page.
    picture : str
        What it is.
    x : float
        Left edge [mm].
    y : float
        Upper edge [mm].
    """
    PICTURES[picture](paper, x, y)


def _curve(x: float, y: float, wide: float, high: float, turn: float = 0.0) -> Floats:
    angles = np.linspace(0, 2 * np.pi, 25)
    points = np.column_stack([wide * np.cos(angles), high * np.sin(angles)])
    sine, cosine = math.sin(turn), math.cos(turn)
    turned: Floats = points @ np.array([[cosine, sine], [-sine, cosine]]) + [x, y]
    return turned


def _seed(paper: Paper, x: float, y: float) -> None:
    for east, south, turn in ((3, 3, 0.5), (6.4, 5, -0.6), (3.4, 7.2, 0.1)):
        paper.fill([tuple(p) for p in _curve(x + east, y + south, 2.1, 1.3, turn)])
        paper.fill([tuple(p) for p in _curve(x + east, y + south - 0.9, 0.6, 0.5, turn)], grey=255)


def _sack_edge(paper: Paper, x: float, y: float) -> None:
    outline = [
        (1.6, 9), (1, 5.5), (2, 3), (3.6, 2.2), (2.8, 0.6), (6.2, 0.6), (5.4, 2.2), (7, 3),
        (8, 5.5), (7.4, 9), (1.6, 9),
    ]  # fmt: skip
    paper.line([(x + east, y + south) for east, south in outline], 0.6)
    paper.line([(x + 3.6, y + 2.2), (x + 5.4, y + 2.2)], 0.6)


def _sack(paper: Paper, x: float, y: float) -> None:
    _sack_edge(paper, x, y)
    for east, south in ((3.2, 5), (5.6, 5), (4.4, 6.6), (3, 7.8), (6, 7.8)):
        paper.disc(x + east, y + south, 0.35, full=True)


def _banded(paper: Paper, x: float, y: float) -> None:
    """Draw a sack that one who doesn't read can tell from the other."""
    paper.fill([(x + 1.1, y + 4.9), (x + 7.9, y + 4.9), (x + 7.6, y + 7.6), (x + 1.4, y + 7.6)])
    _sack_edge(paper, x, y)


def _manure(paper: Paper, x: float, y: float) -> None:
    paper.fill([(x + 0.4, y + 9), (x + 2.4, y + 4.6), (x + 4.6, y + 3), (x + 6.8, y + 4.8),
                (x + 8.8, y + 9)])  # fmt: skip
    paper.line([(x + 4.6, y + 3), (x + 7.6, y + 0.4)], 0.9)


def _string(paper: Paper, x: float, y: float) -> None:
    for radius in (3.6, 2.4, 1.2):
        paper.line(_curve(x + 4.4, y + 4.6, radius, radius), 0.6)
    paper.line([(x + 8, y + 4.6), (x + 8.6, y + 9)], 0.6)


def _peg(paper: Paper, x: float, y: float) -> None:
    for east in (2.2, 6.6):
        paper.fill([(x + east - 0.8, y + 0.6), (x + east + 0.8, y + 0.6), (x + east + 0.8, y + 6.4),
                    (x + east, y + 9), (x + east - 0.8, y + 6.4)])  # fmt: skip


def _level(paper: Paper, x: float, y: float) -> None:
    paper.line([(x + 0.6, y + 9), (x + 4.5, y + 0.8), (x + 8.4, y + 9)], 0.8)
    paper.line([(x + 2.2, y + 5.6), (x + 6.8, y + 5.6)], 0.6)
    paper.line([(x + 4.5, y + 0.8), (x + 4.5, y + 7)], 0.3)
    paper.disc(x + 4.5, y + 7.4, 0.7, full=True)


PICTURES: dict[str, Callable[[Paper, float, float], None]] = {
    "seed": _seed,
    "sack": _sack,
    "banded sack": _banded,
    "manure": _manure,
    "string": _string,
    "peg": _peg,
    "level": _level,
}
