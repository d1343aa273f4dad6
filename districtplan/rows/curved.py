"""The rows that follow guide lines, drawn one by one and counted as they are drawn.

Along arcs rows are circles around the arc's centre, spaced from the guide line, which is a row
itself; parts of a plot have circles of their own. Between two level lines rows divide the way from
the lower line to the nearest place of the upper one evenly, in as many as the gap table says there:
a short row starts or ends in the middle of the gap. The gap has ended where that way leaves the
plot, crosses a line or is far from square to the lower one. Everywhere else, above the highest
line, below the lowest, beyond an end of one, rows are parallel to the nearest line at the usual
spacing.

Like all rows they keep to the planted land, and are broken where water would stand. Beside level
lines no row stands on land that is narrower than one row is broad.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely
from shapely.ops import substring

from districtplan.rows import grade, level_lines, lines, sag
from districtplan.rows.level_lines import LevelLines
from districtplan.rows.straight import DUST, holes_along

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from districtplan.rows.band import Family
    from districtplan.rows.grade import Grades
    from districtplan.rows.ladder import Guide
    from districtplan.rows.lines import Line, Outline
    from districtplan.rows.sectors import Sector

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]

STEP_M = 2.0
"""Step along a lower line at which the gap is divided [m]."""
LEAP = 4.0
"""Where the nearest place of the upper line moves this many times as far as the lower one does,
rows can't follow: the upper line bends away."""
POINTS_MAX = 10_000
"""Places at which gaps of a plot are divided: a hectare. Larger fields aren't drawn row by row."""
GRADE_STEP_M = 0.25
"""Length that counts once where grades along rows are told [m]."""
BEANS = "beans"
KEY = 4
LINE, BETWEEN, BESIDE = range(3)
"""What a row by level lines is: a line itself, one in a gap, one parallel to a line."""


@dataclass(frozen=True)
class Rule:
    """How rows are laid.

    Attributes
    ----------
    families : tuple[Family, ...]
        Which rows follow one another.
    shortest_m : float
        Length from which a row isn't counted as short [m].
    every : int
        Each row whose number less 1 this divides is kept as a shape.
    sag_m : float
        Depth of water that may stand in a row [m].
    gap_m : float
        Length that is left without a row where water would stand [m].
    """

    families: tuple[Family, ...]
    shortest_m: float
    every: int
    sag_m: float
    gap_m: float


class Rows(NamedTuple):
    """Unbroken rows of one plot.

    Attributes
    ----------
    family : numpy.ndarray
        Which family of the rule each is of, shape (pieces,).
    row : numpy.ndarray
        Number of its row in the family: those beside the uppermost guide line first, each time
        downhill from 1 on, shape (pieces,).
    length_m : numpy.ndarray
        Length, shape (pieces,) [m].
    course : numpy.ndarray
        Its course in local metres, shape (pieces,).
    breaks : int
        How often rows are broken where water would stand.
    """

    family: Integers
    row: Integers
    length_m: Floats
    course: Objects
    breaks: int


class Count(NamedTuple):
    """What rows of one crop come to.

    Attributes
    ----------
    rows : int
        Unbroken rows of at least the shortest length.
    short : int
        Shorter ones.
    length_m : float
        Length of all of them [m].
    holes : int
        Planting holes along all of them.
    """

    rows: int
    short: int
    length_m: float
    holes: int


class _Drawn(NamedTuple):
    """Rows before they are clipped to the planted land.

    Attributes
    ----------
    family : numpy.ndarray
        Which family each is of, shape (rows,).
    key : numpy.ndarray
        Which row of it each is of, by part or line, side, run and place, shape (rows, 4).
    course : numpy.ndarray
        Their courses, shape (rows,).
    """

    family: Integers
    key: Integers
    course: Objects


def follow(guide: Guide, land: Outline, rule: Rule) -> Rows | None:
    """Draw the rows that follow the guide lines of a plot.

    Parameters
    ----------
    guide : Guide
        What guides them.
    land : shapely.Polygon | shapely.MultiPolygon
        What is planted, in local metres.
    rule : Rule
        How they are laid.

    Returns
    -------
    Rows | None
        The rows; None where the team finds the lines' course on the ground, and where a band of two
        crops, or a field of more than a hectare, would have to divide gaps that widen and narrow.
    """
    if guide.rows is None:
        return None
    if isinstance(guide.rows, LevelLines):
        points = land.area / (rule.families[0].spacing_m * STEP_M)
        if len(rule.families) > 1 or points > POINTS_MAX:
            return None
        apart = rule.families[0].spacing_m / np.hypot(1, guide.ground.slope)
        land = _wide(land, apart)
        found = list(_by_levels(guide, guide.rows, land, apart))
    else:
        found = [
            drawn
            for place, part in enumerate(guide.rows)
            for drawn in _by_arc(guide, place, part, land, rule.families)
        ]
    return _laid(guide, _together(found), land, rule)


def count(found: Rows, rule: Rule, crop: str) -> Count:
    """Count the rows of one crop.

    Parameters
    ----------
    found : Rows
        The rows of a plot.
    rule : Rule
        How they were laid.
    crop : str
        The crop.

    Returns
    -------
    Count
        Rows, metres and holes.
    """
    full, short, metres, holes = 0, 0, 0.0, 0
    for number, family in enumerate(rule.families):
        if family.crop == crop:
            length = found.length_m[found.family == number]
            enough = int((length >= rule.shortest_m - DUST).sum())
            full, short = full + enough, short + len(length) - enough
            metres += float(length.sum())
            holes += int(holes_along(length, family.hole_m).sum())
    return Count(full, short, metres, holes)


def walked(found: Rows, guide: Guide, limit: float, level_error: float) -> Grades:
    """Walk rows over the surface and tell their grades.

    Parameters
    ----------
    found : Rows
        The rows of a plot, at least one.
    guide : Guide
        What guides them.
    limit : float
        Steepest grade along a row [1].
    level_error : float
        Standard error of a leg set with a level [1].

    Returns
    -------
    Grades
        With the level's error counted.
    """
    xy, row = shapely.get_coordinates(
        shapely.segmentize(found.course, sag.STEP_M), return_index=True
    )
    size = np.hypot(*np.diff(xy, axis=0).T)
    rise = np.abs(np.diff(guide.ground.level(xy)))
    # Steps between points of one row; those of no length have no grade.
    steps = (np.diff(row) == 0) & (size > DUST)
    # As many times as they are long, so that each metre counts the same.
    times = np.maximum(np.round(size[steps] / GRADE_STEP_M), 1).astype(np.int64)
    along = np.repeat(rise[steps] / size[steps], times)
    told = grade.walked(along, limit)
    within = grade.spread_within(along, limit, level_error)
    return told._replace(rms=float(np.hypot(told.rms, level_error)), within=within)


def _together(found: list[_Drawn]) -> _Drawn:
    nothing = _Drawn(
        np.zeros(0, dtype=np.int64), np.zeros((0, KEY), dtype=np.int64), np.zeros(0, dtype=object)
    )
    return _Drawn(*(np.concatenate(values) for values in zip(nothing, *found, strict=True)))


def _laid(guide: Guide, drawn: _Drawn, land: Outline, rule: Rule) -> Rows:
    """Clip rows to the planted land, break them where water would stand, number them downhill."""
    clipped = shapely.line_merge(shapely.intersection(drawn.course, land))
    parts, of = shapely.get_parts(clipped, return_index=True)
    # A row that only touches the land leaves a point.
    long = shapely.length(parts) > DUST
    parts, of = parts[long], of[long]
    walked, piece = shapely.get_coordinates(
        shapely.segmentize(parts, sag.STEP_M), return_index=True
    )
    heights = guide.ground.height(walked) if len(walked) else np.zeros(0)
    ends = np.searchsorted(piece, np.arange(len(parts) + 1))
    course: list[shapely.Geometry] = []
    row, level, breaks = [], [], 0
    for number, (start, stop) in enumerate(itertools.pairwise(ends.tolist())):
        along = heights[start:stop]
        cuts = sag.breaks(along, rule.sag_m)
        breaks += len(cuts)
        for first, last in itertools.pairwise([0, *cuts, len(along) - 1]):
            points = walked[start + first : start + last + 1]
            # Half of the gap at each end that is a break.
            before, after = (rule.gap_m / 2 * (end in cuts) for end in (first, last))
            part = shapely.LineString(points) if cuts else parts[number]
            if before + after < part.length:
                course.append(substring(part, before, part.length - after) if cuts else part)
                row.append(of[number])
                level.append(along[first : last + 1].mean())
    return _numbered(drawn, np.array(row, dtype=np.int64), np.array(level), course, breaks)


def _numbered(
    drawn: _Drawn,
    of: Integers,
    level: Floats,
    courses: list[shapely.Geometry],
    breaks: int,
) -> Rows:
    """Give rows their numbers: those beside the uppermost guide line first, each time downhill."""
    course = np.array(courses, dtype=object)
    length = shapely.length(course)
    named = np.column_stack([drawn.family, drawn.key])[of]
    names, of_name = np.unique(named, axis=0, return_inverse=True)
    of_name = of_name.reshape(-1)
    guides, of_guide = np.unique(names[:, 1], return_inverse=True)
    row_level, guide_level = (
        np.bincount(by, level * length, minlength) / np.bincount(by, length, minlength)
        for by, minlength in ((of_name, len(names)), (of_guide[of_name], len(guides)))
    )
    order = np.lexsort((-row_level, -guide_level[of_guide], names[:, 0]))
    first = np.searchsorted(names[order, 0], names[order, 0], side="left")
    place = np.empty(len(names), dtype=np.int64)
    place[order] = np.arange(len(names)) - first + 1
    row = place[of_name]
    order = np.lexsort((row, named[:, 0]))
    return Rows(named[order, 0], row[order], length[order], course[order], breaks)


def _by_arc(
    guide: Guide, place: int, part: Sector, land: Outline, families: tuple[Family, ...]
) -> Iterator[_Drawn]:
    """Draw the rows of one part: the guide line is one of beans, the others lie beside it."""
    ground, rows = guide.ground, part.rows
    xy = ground.xy[part.holds(ground.xy)]
    here = lines.part_of(land, part)
    if not len(xy) or here.is_empty:
        return
    edge = lines.edge_of(here)
    reach = rows.across(edge)
    low, high = float(reach.min()), float(reach.max())
    centre = rows.centre
    if centre is not None:
        low = DUST if shapely.contains_xy(here, *centre) else max(low, DUST)
    anchor = float(np.median(rows.across(xy)))
    level = np.hypot(1, ground.slope)
    beans = next(family for family in families if family.crop == BEANS)
    for number, family in enumerate(families):
        apart = family.spacing_m / level
        at = anchor + (family.first_m - beans.first_m) / level
        index = np.arange(np.ceil((low - at) / apart), np.floor((high - at) / apart) + 1)
        courses = shapely.linestrings(lines.rows_at(rows, at + apart * index, xy, edge))
        inside = np.asarray(shapely.intersection(courses, here), dtype=object)
        yield _drawn(number, (place, 0, 0), index, inside)


def _drawn(
    family: int, key: tuple[int, int, int], index: Floats | Integers, courses: Objects
) -> _Drawn:
    """Name rows that differ by their last number alone."""
    named = np.column_stack([*(np.full(len(index), part) for part in key), index])
    return _Drawn(np.full(len(index), family), named.astype(np.int64), courses)


def _by_levels(guide: Guide, levels: LevelLines, land: Outline, apart: float) -> Iterator[_Drawn]:
    """Draw level lines, the rows between them, and those beside them where nothing lies beyond."""
    pieces = [piece for level in levels.pieces for piece in level]
    above = [
        levels.pieces[number + 1] if number + 1 < len(levels.pieces) else None
        for number, level in enumerate(levels.pieces)
        for _ in level
    ]
    rest: shapely.Geometry = land
    guides = np.array([shapely.LineString(piece) for piece in pieces], dtype=object)
    whole = level_lines.Land(guide.ground.outline, levels)
    for place, (line, upper) in enumerate(zip(guide.lines, above, strict=True)):
        yield _drawn(0, (place, LINE, 0), np.zeros(1), guides[place : place + 1])
        if upper is not None:
            for run, (courses, area) in enumerate(_shared(line, upper, whole)):
                # Each piece of land has the rows of one gap.
                own = shapely.intersection(rest, area)
                rest = shapely.difference(rest, area)
                inside = np.asarray(shapely.intersection(courses, own), dtype=object)
                yield _drawn(0, (place, BETWEEN, run), np.arange(len(courses)), inside)
    if len(levels.pieces) > 1:
        rest = _wide(rest, apart)
    for place, (piece, near) in enumerate(zip(pieces, _nearest(pieces, land), strict=True)):
        free = _areas(shapely.intersection(rest, near))
        if not free.is_empty:
            index, courses = _beside(piece, land, free, apart)
            inside = np.asarray(shapely.intersection(courses, free), dtype=object)
            yield _drawn(0, (place, BESIDE, 0), index, inside)


def _wide(land: shapely.Geometry, apart: float) -> shapely.MultiPolygon:
    """Leave out land narrower than a row is broad: crumbs between structures, beside shared gaps.

    Shrunk by half the breadth such land is gone, and growing back doesn't bring it again.
    """
    half = apart / 2
    core = shapely.buffer(land, -half, join_style="mitre")
    return _areas(shapely.intersection(shapely.buffer(core, half, join_style="mitre"), land))


def _areas(found: shapely.Geometry) -> shapely.MultiPolygon:
    """Keep what has an area: of land that only touches points and lines are left, too."""
    parts = shapely.get_parts(shapely.get_parts(found))
    return shapely.MultiPolygon([part for part in parts if isinstance(part, shapely.Polygon)])


def _shared(
    line: Line, upper: tuple[Floats, ...], land: level_lines.Land
) -> Iterator[tuple[Objects, shapely.Geometry]]:
    """Divide the gap above a line, run by run: a run ends where the gap does."""
    assert line.xy is not None
    assert line.rows is not None
    points = sag.walk(line.xy, STEP_M)
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T)))
    rows = line.rows[np.searchsorted(line.along_m, along + DUST, side="right") - 1]
    across = level_lines.facing(line.xy, along, upper, land)
    moved = np.hypot(*np.diff(across, axis=0).T)
    # Not a number where either has ended.
    follows = moved <= LEAP * np.hypot(*np.diff(points, axis=0).T)
    breaks = np.flatnonzero(~follows) + 1
    for run in np.split(np.arange(len(points)), breaks):
        if len(run) > 1:
            ring = np.concatenate([points[run], across[run][::-1]])
            courses = _divided(points[run], across[run], rows[run])
            yield courses, shapely.make_valid(shapely.Polygon(ring))


def _divided(lower: Floats, upper: Floats, rows: Integers) -> Objects:
    """Draw the rows of one run: where their number changes, one in the middle starts or ends."""
    going: list[list[Floats]] = [[] for _ in range(int(rows[0]))]
    done: list[list[Floats]] = []
    changes = np.flatnonzero(np.diff(rows)) + 1
    for stretch in np.split(np.arange(len(rows)), changes):
        number = int(rows[stretch[0]])
        middle = min(len(going), number) // 2
        while len(going) > number:
            done.append(going.pop(middle))
        while len(going) < number:
            going.insert(middle, [])
        share = np.arange(1, number + 1)[:, None, None] / (number + 1)
        placed = lower[stretch] + share * (upper[stretch] - lower[stretch])
        for row, points in zip(going, placed, strict=True):
            row.append(points)
    drawn = [np.concatenate(row) for row in done + going]
    return np.array([shapely.LineString(row) for row in drawn if len(row) > 1], dtype=object)


def _nearest(pieces: list[Floats], land: Outline) -> list[shapely.Geometry]:
    """Give the land nearest to each line."""
    if len(pieces) == 1:
        return [land]
    # Of a ring the first point stands again at its end.
    points = [sag.walk(piece, STEP_M)[:-1] for piece in pieces]
    of = np.repeat(np.arange(len(pieces)), [len(some) for some in points])
    cells = shapely.get_parts(
        shapely.voronoi_polygons(
            shapely.MultiPoint(np.concatenate(points)), extend_to=land, ordered=True
        )
    )
    # Where points lie in mirror pairs corners of a cell all but coincide, and some cross.
    sound = shapely.make_valid(cells)
    return [shapely.union_all(sound[of == place]) for place in range(len(pieces))]


def _beside(
    piece: Floats, land: Outline, free: shapely.Geometry, apart: float
) -> tuple[Floats, Objects]:
    """Draw parallels of a line on both sides, as far as land is free."""
    west, south, east, north = land.bounds
    tail = float(np.hypot(east - west, north - south))
    drawn = shapely.LineString(level_lines.drawn_out(piece, tail)[0])
    far = min(float(shapely.hausdorff_distance(free, drawn)), tail)
    steps = np.arange(1, np.floor(far / apart) + 1)
    sides = np.concatenate([steps, -steps])
    courses = shapely.offset_curve(drawn, apart * sides)
    found = ~shapely.is_missing(courses)
    return sides[found], courses[found]
