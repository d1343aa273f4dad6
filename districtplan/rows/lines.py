"""Guide lines as they are set out: where they run, start and are pegged, and the rows between.

An arc needs no compass: stretch the last leg on by its length s, step s² / R to the side of the
centre, and put the next peg there; after the first leg s² / 2R. Counts of rows and widths of gaps
are on the ground: a map distance times √(1 + slope²), or with the known difference of height.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple, cast

import numpy as np
import shapely

from districtplan.rows import level_lines, pegs, sag
from districtplan.rows.arc import quarter
from districtplan.rows.sectors import Sector
from districtplan.rows.setting_out import stand

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    from districtplan.rows.arc import Arc
    from districtplan.rows.level_lines import LevelLines
    from districtplan.rows.pegs import Spaces

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Outline = shapely.Polygon | shapely.MultiPolygon

CHORD_M = 0.01
"""How far a drawn arc's chords may lie beside it [m]."""
EDGE_M = 1.0
"""Step along a plot's edge at which its reach is looked at [m]."""
BANDS = 6
"""Bands of heights, of equal area, that have a slope each."""
GENTLEST = 0.001
"""Gentler land than this counts as this [1]."""
LEVEL = (0.0, 0.0)
"""Fall to the east and to the north of lines on the contour [1]."""


class Ground(NamedTuple):
    """A plot and its surface.

    Attributes
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot.
    height : Callable[[numpy.ndarray], numpy.ndarray]
        Gives heights [m] at places, shape (points, 2) [m].
    xy : numpy.ndarray
        Places spread evenly over the plot, shape (points, 2) [m].
    rise : numpy.ndarray
        Mean gradient, shape (2,) [1].
    slope : float
        Mean slope [1].
    fall : tuple[float, float]
        Fall of the lines' design to the east and to the north; none on the contour [1].
    wet : shapely.Geometry | None
        Land beside water, on which no line starts that is found on the ground; None of none.
    """

    outline: Outline
    height: Callable[[Floats], Floats]
    xy: Floats
    rise: Floats
    slope: float
    fall: tuple[float, float] = LEVEL
    wet: shapely.Geometry | None = None

    @property
    def falls(self) -> bool:
        """Tell whether lines are designed to fall.

        Returns
        -------
        bool
            Whether they are.
        """
        return self.fall != LEVEL

    def level(self, xy: Floats) -> Floats:
        """Give heights that are alike along a line: lines that fall are level but for their fall.

        Parameters
        ----------
        xy : numpy.ndarray
            Places, shape (points, 2) [m].

        Returns
        -------
        numpy.ndarray
            Their heights, raised by what a line falls on its way there, shape (points,) [m].
        """
        return self.height(xy) + xy @ self.fall


@dataclass(frozen=True)
class Setting:
    """How lines are set out.

    Attributes
    ----------
    spaces : Spaces
        Spaces between rows.
    sag_m : float
        Depth of water that may stand in a row [m].
    peg_step_m : float
        Longest distance between pegs [m].
    string_grade : float
        Root mean square grade that straight strings between pegs may add [1].
    line_m : float
        Shortest line worth setting [m].
    rows_on_ground : float
        Rows from one line to the next where the raster can't tell.
    turn_max_deg : float
        Where a line turns by more over a step, pegs stand half a step apart [degrees].
    """

    spaces: Spaces
    sag_m: float
    peg_step_m: float
    string_grade: float
    line_m: float
    rows_on_ground: float
    turn_max_deg: float


@dataclass(frozen=True)
class Line:
    """One guide line.

    Attributes
    ----------
    xy : numpy.ndarray | None
        The line from its start on, shape (points, 2) [m]; None where only the start is known.
    start : numpy.ndarray
        Where it starts, shape (2,) [m].
    rows_downhill : int
        Rows between it and the next line downhill, or the edge of the plot.
    rows_uphill : int
        The same uphill.
    radius_m : float | None
        Radius of an arc [m]; None for other lines.
    centre_uphill : bool | None
        Whether an arc's centre lies uphill.
    pegs : numpy.ndarray
        Its pegs, shape (pegs, 2) [m].
    along_m : numpy.ndarray
        Distances of the pegs along it, shape (pegs,) [m].
    gap_m : numpy.ndarray | None
        Width of the gap to the next level line uphill at each peg, on the ground, NaN where that
        line has ended, shape (pegs,) [m]; None where there is none.
    rows : numpy.ndarray | None
        Rows in that gap from each peg on, shape (pegs,).
    change : numpy.ndarray | None
        Short rows that start at each peg, or end there where below 0, shape (pegs,).
    """

    xy: Floats | None
    start: Floats
    rows_downhill: int
    rows_uphill: int
    radius_m: float | None
    centre_uphill: bool | None
    pegs: Floats
    along_m: Floats
    gap_m: Floats | None = None
    rows: Integers | None = None
    change: Integers | None = None


def of_arcs(ground: Ground, parts: tuple[Sector, ...], setting: Setting) -> tuple[Line, ...]:
    """Draw the guide line of each part: its row of median place, broken where water would stand.

    Parameters
    ----------
    ground : Ground
        The plot.
    parts : tuple[Sector, ...]
        Its parts.
    setting : Setting
        How lines are set out.

    Returns
    -------
    tuple[Line, ...]
        The lines.
    """
    found: list[Line] = []
    for part in parts:
        xy = ground.xy[part.holds(ground.xy)]
        land = part_of(ground.outline, part)
        if len(xy) and not land.is_empty:
            found += _of_arc(ground._replace(outline=land, xy=xy), part.rows, setting)
    return tuple(found)


def of_levels(ground: Ground, levels: LevelLines, setting: Setting) -> tuple[Line, ...]:
    """Describe level lines: pegs, gaps and the rows in them.

    Parameters
    ----------
    ground : Ground
        The plot.
    levels : LevelLines
        The lines.
    setting : Setting
        How lines are set out.

    Returns
    -------
    tuple[Line, ...]
        The lines, the lowest first.
    """
    heights = ground.level(ground.xy)
    land = level_lines.Land(ground.outline, levels)
    found = []
    for number, (height, pieces) in enumerate(zip(levels.heights, levels.pieces, strict=True)):
        sides = ((number - 1, heights < height), (number + 1, heights > height))
        edges = [_reach(pieces, ground.xy[there]) for _, there in sides]
        for place, piece in enumerate(pieces):
            course = _begun(piece, ground)
            places, along = stand(course, setting.peg_step_m, setting.turn_max_deg)
            gaps = []
            for (beside, _), edge in zip(sides, edges, strict=True):
                if 0 <= beside < len(levels.pieces):
                    rise = levels.heights[beside] - height
                    across = level_lines.facing(course, along, levels.pieces[beside], land)
                    # On the ground, NaN where the line has ended.
                    gaps.append(np.hypot(np.hypot(*(across - places).T), rise))
                else:
                    gaps.append(np.hypot(1, ground.slope) * edge[place : place + 1])
            rows = [pegs.share(gap, setting.spaces) for gap in gaps]
            usual = [
                int(np.median(count[np.isfinite(gap)])) if np.isfinite(gap).any() else 0
                for gap, (count, _) in zip(gaps, rows, strict=True)
            ]
            down, up = usual
            line = Line(course, places[0], down, up, None, None, places, along)
            if number + 1 < len(levels.pieces):
                above, change = rows[1]
                line = replace(line, gap_m=gaps[1], rows=above, change=change)
            found.append(line)
    return tuple(found)


def on_the_ground(
    ground: Ground, steep: Floats, straight: Arc, setting: Setting
) -> tuple[Line, ...]:
    """Say where lines start that a team levels without a curve from the raster.

    Each has a height of its own, evenly many rows above the one before, so that no two become one
    line when they are levelled. They start one above the other, where the way up the slope through
    the middle of the plot has that height; where it leaves the plot, or never has it, on the
    edge of the land. Lines that are to fall start where they fall from. None starts beside water
    unless all of the plot lies there.

    Parameters
    ----------
    ground : Ground
        The plot.
    steep : numpy.ndarray
        Slope at each of its places, shape (points,) [1].
    straight : Arc
        Straight rows, square to which the way goes.
    setting : Setting
        How lines are set out.

    Returns
    -------
    tuple[Line, ...]
        The lines, the lowest first, without a course.
    """
    middle = ground.xy.mean(axis=0)
    far = float(np.hypot(*np.ptp(edge_of(ground.outline), axis=0)))
    across = far * quarter(straight.along)
    dry = shapely.difference(ground.outline, ground.wet or shapely.Polygon())
    land = ground.outline if dry.is_empty else dry
    edge = _Passed.on(shapely.boundary(land), ground)
    passed = [edge]
    if not ground.falls:
        way = shapely.intersection(shapely.LineString([middle - across, middle + across]), land)
        passed = [_Passed.on(way, ground), edge]
    climb, heights = _climb(np.concatenate([ground.level(ground.xy), edge.level]), steep)
    rows = climb / setting.spaces.usual_m
    count = max(int(np.ceil(rows[-1] / (setting.rows_on_ground + 1))), 1)
    asked = np.interp((np.arange(count) + 0.5) / count * rows[-1], rows, heights)
    met = dict(sorted((_met(passed, one) for one in asked.tolist()), key=lambda one: one[0]))
    below, *between, above = np.diff([0.0, *np.interp([*met], heights, rows), rows[-1]]).tolist()
    gaps = [int(below), *(max(round(gap) - 1, 0) for gap in between), int(above)]
    if ground.falls:
        starts = [there[np.argmin(there @ ground.fall)] for there in met.values()]
    else:
        starts = _above_each_other([*met.values()], middle)
    return tuple(
        Line(None, start, down, up, None, None, start[None], np.zeros(1))
        for start, (down, up) in zip(starts, pairwise(gaps), strict=True)
    )


def _met(passed: list[_Passed], height: float) -> tuple[float, Floats]:
    """Give the places of a height on the first course that has it, or of the nearest there is."""
    for one in passed:
        there = one.at(height)
        if len(there):
            return height, there
    levels = passed[-1].level
    nearest = int(np.argmin(np.abs(levels - height)))
    return float(levels[nearest]), passed[-1].xy[nearest : nearest + 1]


def _above_each_other(places: list[Floats], middle: Floats) -> list[Floats]:
    """Choose starts from the middle up and from there down, each as near the last as there is."""
    found: dict[int, Floats] = {}
    first = len(places) // 2
    for at in [*range(first, len(places)), *range(first - 1, -1, -1)]:
        last = found.get(at - 1, found.get(at + 1, middle))
        found[at] = places[at][np.argmin(np.hypot(*(places[at] - last).T))]
    return [found[at] for at in range(len(places))]


class _Passed(NamedTuple):
    """Places passed one after the other, and how high lines through them lie [m]."""

    xy: Floats
    level: Floats
    part: Integers

    @classmethod
    def on(cls, course: shapely.Geometry, ground: Ground) -> _Passed:
        parts = shapely.get_parts(shapely.segmentize(course, EDGE_M))
        xy, part = shapely.get_coordinates(parts, return_index=True)
        return cls(xy, ground.level(xy) if len(xy) else np.zeros(0), part)

    def at(self, height: float) -> Floats:
        """Give the places where a height is passed."""
        over = self.level > height
        (ahead,) = np.nonzero((over[1:] != over[:-1]) & (self.part[1:] == self.part[:-1]))
        begin, end = self.level[ahead], self.level[ahead + 1]
        share = ((height - begin) / (end - begin))[:, None]
        return np.asarray(self.xy[ahead] + share * (self.xy[ahead + 1] - self.xy[ahead]))


def _climb(level: Floats, steep: Floats) -> tuple[Floats, Floats]:
    """Give metres up the slope from the lowest place to some heights, and the heights.

    Land of a height has a slope of its own, the mean over a band of it: on land that is steeper
    above than below, lines stand as far apart on the ground there with more fall between them.
    """
    own = level[: len(steep)]
    bands = np.array_split(np.argsort(own, kind="stable"), min(BANDS, len(steep)))
    heights = np.array([level.min(), *(own[band[0]] for band in bands[1:]), level.max()])
    slope = np.maximum([steep[band].mean() for band in bands], GENTLEST)
    climb = np.append(0.0, np.cumsum(np.diff(heights) * np.hypot(1, 1 / slope)))
    return climb, heights


def part_of(outline: Outline, part: Sector) -> Outline:
    """Cut a part out of a plot, by rectangles near it that stand for half planes.

    Parameters
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot.
    part : Sector
        The part.

    Returns
    -------
    shapely.Polygon | shapely.MultiPolygon
        Its land.
    """
    west, south, east, north = outline.bounds
    middle = np.array([(west + east) / 2, (south + north) / 2])
    far = np.hypot(east - west, north - south)
    land = outline
    for cut, first in part.sides:
        normal = np.array(cut.normal)
        on = middle + (cut.offset - normal @ middle) * normal
        away = far * (-normal if first else normal) * 2
        side = far * 2 * quarter(normal)
        half = shapely.Polygon([on - side, on + side, on + side + away, on - side + away])
        land = cast("Outline", shapely.intersection(land, half))
    parts = [one for one in shapely.get_parts(land) if one.area > 0]
    return shapely.MultiPolygon([one for one in parts if isinstance(one, shapely.Polygon)])


def between(outline: Outline, parts: tuple[Sector, ...]) -> tuple[Floats, ...]:
    """Draw where one part of a plot ends and the next begins.

    Parameters
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot.
    parts : tuple[Sector, ...]
        Its parts.

    Returns
    -------
    tuple[numpy.ndarray, ...]
        Straight lines, shape (2, 2) each [m]: one a cut, more where the plot's edge breaks it. A
        later cut ends at an earlier one.
    """
    # Both parts beside a cut tell of it, after the cuts that were there before it.
    cuts = dict.fromkeys(
        (part.sides[:place], cut) for part in parts for place, (cut, _) in enumerate(part.sides)
    )
    west, south, east, north = outline.bounds
    middle = np.array([(west + east) / 2, (south + north) / 2])
    far = np.hypot(east - west, north - south)
    found: list[Floats] = []
    for before, cut in cuts:
        normal = np.array(cut.normal)
        on = middle + (cut.offset - normal @ middle) * normal
        course = np.array([on - far * quarter(normal), on + far * quarter(normal)])
        land = part_of(outline, Sector(before, parts[0].rows))
        found += [_eastward(piece[[0, -1]]) for piece in _pieces(course, land, CHORD_M)]
    return tuple(found)


def _of_arc(ground: Ground, rows: Arc, setting: Setting) -> list[Line]:
    centre = rows.centre
    edge = edge_of(ground.outline)
    reach, inner = rows.across(edge), rows.across(ground.xy)
    at = float(np.median(inner))
    radius = None
    if centre is None:
        uphill = bool(quarter(rows.along) @ ground.rise >= 0)
    else:
        out = ground.xy - centre
        uphill = bool(np.sum(out @ ground.rise / np.maximum(inner, CHORD_M)) >= 0)
        radius = at
        if shapely.contains_xy(ground.outline, *centre):
            reach = np.append(reach, 0.0)
    (course,) = rows_at(rows, np.array([at]), ground.xy, edge)
    on_ground = np.hypot(1, ground.slope) / setting.spaces.usual_m
    beyond, before = ((reach.max() - at) * on_ground, (at - reach.min()) * on_ground)
    down, up = (int(n) for n in ((before, beyond) if uphill else (beyond, before)))
    step = setting.peg_step_m
    if radius is not None:
        step = pegs.string_step(radius, ground.slope, setting.string_grade, step)
    found = []
    for piece in _pieces(course, ground.outline, setting.line_m):
        for part in _parts(piece, ground, setting):
            line = _begun(part, ground) if ground.falls else _downhill(part, ground.height)
            places, along = stand(line, step, setting.turn_max_deg)
            inward = None if radius is None else not uphill
            found.append(Line(line, line[0], down, up, radius, inward, places, along))
    return found


def rows_at(rows: Arc, places: Floats, xy: Floats, edge: Floats) -> Floats:
    """Draw rows, as far as the land may reach.

    Parameters
    ----------
    rows : Arc
        All rows.
    places : numpy.ndarray
        Which of them, as :meth:`Arc.across` gives it, shape (rows,) [m].
    xy : numpy.ndarray
        Places spread evenly over the land, shape (points, 2) [m].
    edge : numpy.ndarray
        Places along its edge, shape (points, 2) [m].

    Returns
    -------
    numpy.ndarray
        The rows, shape (rows, points of a row, 2) [m].
    """
    centre = rows.centre
    if centre is None:
        along = edge @ rows.along
        ends = np.array([along.min() - 1, along.max() + 1])
        return quarter(rows.along) * places[:, None, None] + ends[:, None] * rows.along
    out = xy - centre
    turn = np.arctan2(out[:, 1], out[:, 0])
    middle = np.arctan2(out[:, 1].mean(), out[:, 0].mean())
    span = np.abs((turn - middle + np.pi) % (2 * np.pi) - np.pi).max()
    # Points stop short of the edge.
    span = min(span * 2, np.pi)
    largest = places.max(initial=0.0)
    step = 2 * np.arccos(1 - CHORD_M / largest) if largest > CHORD_M else span
    angle = middle + np.linspace(-span, span, max(int(np.ceil(2 * span / step)), 1) + 1)
    way = np.column_stack([np.cos(angle), np.sin(angle)])
    return np.asarray(centre + places[:, None, None] * way)


def _pieces(course: Floats, outline: Outline, shortest: float) -> list[Floats]:
    inside = shapely.intersection(shapely.LineString(course), outline)
    parts = [
        part
        for part in shapely.get_parts(shapely.line_merge(inside))
        if shapely.get_type_id(part) == shapely.GeometryType.LINESTRING and part.length > 0
    ]
    parts.sort(key=lambda part: (-part.length, part.coords[0]))
    long = [part for part in parts if part.length >= shortest]
    return [np.asarray(part.coords)[:, :2] for part in long or parts[:1]]


def edge_of(outline: Outline) -> Floats:
    """Put places along the edge of a plot.

    Parameters
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot.

    Returns
    -------
    numpy.ndarray
        Places, shape (points, 2) [m].
    """
    return np.asarray(shapely.get_coordinates(shapely.segmentize(outline, EDGE_M)))


def _parts(piece: Floats, ground: Ground, setting: Setting) -> Iterator[Floats]:
    """Break a line where it would turn back uphill, and where water would stand in it."""
    for part in one_way(piece, ground.fall, setting.line_m):
        yield from sag.broken(part, ground.height, setting.sag_m)


def one_way(line: Floats, fall: tuple[float, float], shortest: float) -> list[Floats]:
    """Break a line that is to fall where it turns back: from there on it would rise.

    Parameters
    ----------
    line : numpy.ndarray
        The line, shape (points, 2) [m].
    fall : tuple[float, float]
        Fall of its design to the east and to the north [1].
    shortest : float
        Shorter parts are left out [m].

    Returns
    -------
    list[numpy.ndarray]
        Its parts, each of which goes one way, or square to it; those shorter than asked only where
        there is no longer one. The line itself where it isn't to fall.
    """
    way = np.diff(line, axis=0) @ fall
    if not (way.any() and (way < 0).any() and (way > 0).any()):
        return [line]
    ahead = np.flatnonzero(way)
    turns = ahead[1:][np.diff(np.sign(way[ahead])) != 0]
    parts = [line[first : last + 1] for first, last in pairwise([0, *turns.tolist(), len(way)])]
    length = [float(np.hypot(*np.diff(part, axis=0).T).sum()) for part in parts]
    least = min(shortest, max(length))
    return [part for part, metres in zip(parts, length, strict=True) if metres >= least]


def _begun(line: Floats, ground: Ground) -> Floats:
    """Turn a line so that it starts in the west, or where it is to fall from."""
    if ground.falls:
        return line if (line[-1] - line[0]) @ ground.fall >= 0 else line[::-1]
    return _eastward(line)


def _eastward(line: Floats) -> Floats:
    return line if tuple(line[0]) <= tuple(line[-1]) else line[::-1]


def _downhill(line: Floats, height: Callable[[Floats], Floats]) -> Floats:
    start, end = height(line[[0, -1]]).tolist()
    return line if start >= end else line[::-1]


def _reach(pieces: tuple[Floats, ...], xy: Floats) -> Floats:
    """Give how far the land beside each piece of a line reaches: what no other piece is nearer to.

    Land beyond a piece's ends isn't beside it: rows along it don't lie there.
    """
    if not len(xy):
        return np.zeros(len(pieces))
    away = [level_lines.away_from((piece,), xy) for piece in pieces]
    far = np.array([np.where(one.beyond, np.inf, one.distance) for one in away])
    own = (far.argmin(axis=0) == np.arange(len(pieces))[:, None]) & np.isfinite(far)
    return np.asarray(np.where(own, far, 0.0).max(axis=1))
