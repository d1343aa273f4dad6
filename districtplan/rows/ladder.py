"""As few guide lines as keep the rows of a plot within the limit.

Where structures stand along the contour, their lines guide the rows and no other is set: one set of
lines a plot. Where rows along them would be steep they are passed over, and that is told. Elsewhere
one step at a time: straight rows; one arc; a few parts with an arc each; level lines that a team
sets with a level, the rows between sharing the gaps. Where the error of the surface's own gradient
is above the limit no curve is drawn from it, and the team levels the lines on the ground: only how
many, where they start and how many rows lie between come from the raster.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

from districtplan.rows import arc, grade, level_lines, lines, sag, sectors
from districtplan.rows.arc import Arc
from districtplan.rows.level_lines import LevelLines
from districtplan.rows.lines import LEVEL, Ground
from districtplan.rows.sectors import Sector

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray

    from districtplan.rows.curved import Rows
    from districtplan.rows.grade import Grades
    from districtplan.rows.lines import Line, Outline, Setting
    from districtplan.rows.surface import Surface

    Floats = NDArray[np.float64]

STANDING = "standing structures"
KINDS = (
    "straight",
    "arc",
    "arc sectors",
    "level lines",
    "level on the ground",
    STANDING,
)
"""What guides the rows of a plot, fewest lines first."""
POINTS = 600
"""Points at which the gradient of a plot is looked at."""
FINEST_M = 0.5
"""Nearer points than this add nothing [m]."""
STEEP_LEAST = 0.5
"""Share of the surface's slope that is taken for the land's where its error could be all of it."""
COUNTS = (1, 2, 3, 4, 6, 8, 12, 16)
"""Numbers of level lines that are tried."""


@dataclass(frozen=True)
class Limits:
    """What rows are held to.

    Attributes
    ----------
    grade : float
        Steepest grade along a row [1].
    within : float
        Share of the rows' length that keeps within it.
    sectors : int
        Most parts with an arc each.
    sector_share : float
        Least share of the plot that a part has.
    slack : float
        Grades from this many times the limit on count less when an arc is fitted.
    level_error : float
        Standard error of a leg set with a level [1].
    rows_between : float
        Fewest rows from one level line to the next.
    standing_share : float
        Least length of a structure that guides rows, as a share of the plot's length along it.
    setting : Setting
        How lines are set out.
    walk : Callable[[Guide], Guide] | None, default None
        Draws the rows that level lines guide and puts their grades in the guide: between lines they
        aren't those of the lines. Where they aren't drawn, or by default, those of the lines count.
    wet : shapely.Geometry | None, default None
        Land beside water, on which no line starts that is found on the ground.
    """

    grade: float
    within: float
    sectors: int
    sector_share: float
    slack: float
    level_error: float
    rows_between: float
    standing_share: float
    setting: Setting
    walk: Callable[[Guide], Guide] | None = None
    wet: shapely.Geometry | None = None


@dataclass(frozen=True)
class Guide:
    """What guides the rows of one plot.

    Attributes
    ----------
    kind : str
        One of ``KINDS``.
    lines : tuple[Line, ...]
        The guide lines, the lowest first.
    straight : Grades | None
        Grades along straight rows, as on the surface; ``within`` as it would be on the ground. None
        where the raster can't tell.
    guided : Grades | None
        The same along the guided rows.
    floor : float | None
        Grade that the surface's own error costs [1].
    ground : Ground
        The plot and its surface.
    rows : tuple[Sector, ...] | LevelLines | None
        What the rows follow; None where the team finds it on the ground.
    followed : Rows | None, default None
        The rows themselves, once they are drawn.
    """

    kind: str
    lines: tuple[Line, ...]
    straight: Grades | None
    guided: Grades | None
    floor: float | None
    ground: Ground
    rows: tuple[Sector, ...] | LevelLines | None = None
    followed: Rows | None = None


class Beside(NamedTuple):
    """What comes of the structures that stand in a plot.

    Attributes
    ----------
    guide : Guide | None
        Rows beside them; None where rows aren't to follow them.
    passed_over : float | None
        Root mean square grade that rows along them would have, where that is why they don't [1].
    """

    guide: Guide | None
    passed_over: float | None


class _Land(NamedTuple):
    """A plot; its surface is raised by what lines are to fall, so that on it they are level."""

    outline: Outline
    surface: Surface
    xy: Floats
    gradient: Floats
    fall: tuple[float, float]
    height: Callable[[Floats], Floats]


class _Step(NamedTuple):
    """One step of the ladder: its kind, what makes its rows, and their grades."""

    kind: str
    rows: tuple[Sector, ...] | LevelLines
    grades: Grades


def points(outline: Outline) -> Floats:
    """Spread points evenly over a plot.

    Parameters
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot.

    Returns
    -------
    numpy.ndarray
        Places, shape (points, 2) [m].
    """
    west, south, east, north = outline.bounds
    step = max(np.sqrt(outline.area / POINTS), FINEST_M)
    x, y = (np.arange(low + step / 2, high, step) for low, high in ((west, east), (south, north)))
    at = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    inside = at[shapely.contains_xy(outline, at)]
    # Thinner than the step everywhere.
    return inside if len(inside) else np.array(outline.representative_point().coords)


def straight_rows(outline: Outline) -> Arc:
    """Give straight rows through the middle of a plot, to the east.

    Parameters
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot.

    Returns
    -------
    Arc
        The rows.
    """
    middle = points(outline).mean(axis=0)
    return Arc(float(middle[0]), float(middle[1]), 0.0, 0.0)


def guide(
    outline: Outline,
    surface: Surface,
    bearing: float | None,
    limits: Limits,
    *,
    bends: bool = True,
    fall: tuple[float, float] = LEVEL,
) -> Guide:
    """Choose what guides the rows of a plot.

    Parameters
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot, in local metres.
    surface : Surface
        The ground there.
    bearing : float | None
        Direction of straight rows from east, anticlockwise [radians]; None takes the best.
    limits : Limits
        What rows are held to.
    bends : bool, default True
        Whether the bend of the rows stands out of the raster's error; without it no one arc is
        drawn over the whole plot.
    fall : tuple[float, float], default level
        Fall that lines are to have to the east and to the north; the limits are those of what rows
        add to it [1].

    Returns
    -------
    Guide
        The fewest lines that keep the rows within the limit; else those that come nearest.
    """
    land = _land(outline, surface, fall)
    first = _straight(land, bearing, limits)
    if first.grades.within >= limits.within:
        return _drawn(land, first, first, limits.setting)
    if surface.doubt.floor > limits.grade:
        return _without_course(land, first, limits)
    best, drawn = first, None
    for found in _ladder(land, limits, bends=bends):
        step, followed = found, None
        enough = step.grades.within >= limits.within
        if enough and limits.walk is not None and isinstance(step.rows, LevelLines):
            followed = limits.walk(_drawn(land, first, step, limits.setting))
            assert followed.guided is not None
            step = step._replace(grades=followed.guided)
        if step.grades.within > best.grades.within:
            best, drawn = step, followed
        if best.grades.within >= limits.within:
            break
    return drawn or _drawn(land, first, best, limits.setting)


def on_the_ground(
    outline: Outline,
    surface: Surface,
    bearing: float | None,
    limits: Limits,
    fall: tuple[float, float] = LEVEL,
) -> Guide:
    """Guide a plot by lines that the team levels, without a curve from the surface.

    Parameters
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot, in local metres.
    surface : Surface
        The ground there.
    bearing : float | None
        Direction of straight rows from east, anticlockwise [radians]; None takes the best.
    limits : Limits
        What rows are held to.
    fall : tuple[float, float], default level
        Fall that lines are to have to the east and to the north [1].

    Returns
    -------
    Guide
        How many lines, where they start and how many rows lie between.
    """
    land = _land(outline, surface, fall)
    return _without_course(land, _straight(land, bearing, limits), limits)


def beside(
    outline: Outline,
    surface: Surface,
    standing: tuple[Floats, ...],
    bearing: float | None,
    limits: Limits,
) -> Beside:
    """Let structures that stand in a plot guide its rows, if they lie along the contour.

    A structure is level where its own grade is within the limit, as far as the surface can tell.
    Rows beside it may be steeper all the same, since the land bends away from it: where they break
    the limit and straight rows are better they don't follow it.

    Parameters
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot, in local metres.
    surface : Surface
        The ground there.
    standing : tuple[numpy.ndarray, ...]
        Lines of the structures within the plot, shape (points, 2) each [m].
    bearing : float | None
        Direction of straight rows from east, anticlockwise [radians]; None takes the best.
    limits : Limits
        What rows are held to.

    Returns
    -------
    Beside
        Nothing of either where no structure is long enough for rows to follow it.
    """
    limit = limits.grade + surface.doubt.floor
    long, level = [], []
    for line in standing:
        points_on = sag.walk(line)
        reach = np.hypot(*(line[-1] - line[0]))
        way = (line[-1] - line[0]) / max(reach, FINEST_M)
        broad = np.ptp(shapely.get_coordinates(outline) @ way)
        size = np.hypot(*np.diff(points_on, axis=0).T)
        rise = np.diff(surface.height(points_on)) / np.maximum(size, FINEST_M)
        off = np.sqrt(np.average(rise**2, weights=size))
        if reach >= limits.standing_share * broad:
            long.append((float(surface.height(points_on).mean()), line))
            level += long[-1:] if off <= limit else []
    if not long:
        return Beside(None, None)
    followed = sorted(level or long, key=lambda one: one[0])
    found = LevelLines(tuple(at for at, _ in followed), tuple((line,) for _, line in followed))
    land = _land(outline, surface)
    straight = _straight(land, bearing, limits)
    heights = surface.height(land.xy)
    walked = grade.walked(_along_levels(land, found, heights), limits.grade)
    if not level or walked.rms > max(limit, straight.grades.rms):
        return Beside(None, walked.rms)
    guided = _by_levels(land, found, heights, limits)._replace(kind=STANDING)
    return Beside(_drawn(land, straight, guided, limits.setting), None)


def _land(outline: Outline, surface: Surface, fall: tuple[float, float] = LEVEL) -> _Land:
    xy = points(outline)
    seen = surface if fall == LEVEL else surface.tilted(np.array(fall))
    return _Land(outline, seen, xy, seen.gradient(xy), fall, surface.height)


def _straight(land: _Land, bearing: float | None, limits: Limits) -> _Step:
    rows = arc.straight(land.xy, land.gradient)
    if bearing is not None:
        rows = replace(rows, angle=bearing)
    return _by_arcs(land, "straight", (Sector((), rows),), limits)


def _without_course(land: _Land, straight: _Step, limits: Limits) -> Guide:
    assert not isinstance(straight.rows, LevelLines)
    ground = _ground(land)._replace(wet=limits.wet)
    starts = lines.on_the_ground(ground, _steep(land), straight.rows[0].rows, limits.setting)
    return Guide(
        "level on the ground", starts, straight.grades, None, land.surface.doubt.floor, ground
    )


def _steep(land: _Land) -> Floats:
    """Give the slope of the land at points, less what the raster's error adds to it."""
    slope = np.hypot(*land.gradient.T)
    added = 2 * land.surface.doubt.noise**2 / max(float(np.mean(slope**2)), lines.GENTLEST**2)
    return np.asarray(slope * max(np.sqrt(max(1 - added, 0.0)), STEEP_LEAST))


def _ladder(land: _Land, limits: Limits, *, bends: bool) -> Iterator[_Step]:
    slack = limits.slack * limits.grade
    parts: tuple[Sector, ...] = (Sector((), arc.fit(land.xy, land.gradient, slack)),)
    if bends:
        yield _by_arcs(land, "arc", parts, limits)
    for _ in range(limits.sectors - 1):
        finer = sectors.split(parts, land.xy, land.gradient, limits.sector_share, slack)
        if len(finer) == len(parts):
            break
        parts = finer
        yield _by_arcs(land, "arc sectors", parts, limits)
    heights = land.surface.height(land.xy)
    contours = level_lines.Contours(land.surface, land.outline, limits.setting.line_m)
    # Across the rows a plot is about as long as its heights differ, over its slope.
    slope = float(np.mean(np.hypot(*land.gradient.T)))
    across = float(np.ptp(heights)) * np.hypot(1, slope) / max(slope, limits.grade)
    most = across / (limits.rows_between * limits.setting.spaces.usual_m)
    for count in (count for count in COUNTS if count == 1 or count <= most):
        levels = level_lines.place(contours, heights, count)
        levels = _one_way(levels, land.fall, limits.setting.line_m)
        if levels.pieces:
            yield _by_levels(land, levels, heights, limits)


def _one_way(levels: LevelLines, fall: tuple[float, float], shortest: float) -> LevelLines:
    """Break lines that are to fall where they turn back."""
    return levels._replace(
        pieces=tuple(
            tuple(part for piece in pieces for part in lines.one_way(piece, fall, shortest))
            for pieces in levels.pieces
        )
    )


def _by_arcs(land: _Land, kind: str, parts: tuple[Sector, ...], limits: Limits) -> _Step:
    grades = grade.along(land.gradient, sectors.direction(parts, land.xy))
    # A direction takes up one number, a bend another, a cut two. How sure the bearing of straight
    # rows is has been judged before: here it is asked whether the land bends away from them, unless
    # the surface shows too little of the land to tell.
    doubt = land.surface.doubt
    numbers = 4 * len(parts) - 2
    if kind == "straight":
        numbers = 0 if doubt.floor <= limits.grade else 1
    free = min(numbers * doubt.patch_m2 / land.outline.area, 1.0)
    within = grade.within_on_the_ground(grades, limits.grade, doubt, free)
    return _Step(kind, parts, grade.walked(grades, limits.grade)._replace(within=within))


def _along_levels(land: _Land, levels: LevelLines, heights: Floats) -> Floats:
    return grade.along(land.gradient, level_lines.direction(levels, land.xy, heights))


def _by_levels(land: _Land, levels: LevelLines, heights: Floats, limits: Limits) -> _Step:
    grades = _along_levels(land, levels, heights)
    walked = grade.walked(grades, limits.grade)
    within = grade.spread_within(grades, limits.grade, limits.level_error)
    rms = float(np.hypot(walked.rms, limits.level_error))
    return _Step("level lines", levels, walked._replace(rms=rms, within=within))


def _ground(land: _Land) -> Ground:
    slope = float(np.mean(np.hypot(*land.gradient.T)))
    rise = land.gradient.mean(axis=0) - land.fall
    return Ground(land.outline, land.height, land.xy, rise, slope, land.fall)


def _drawn(land: _Land, first: _Step, best: _Step, setting: Setting) -> Guide:
    ground = _ground(land)
    if isinstance(best.rows, LevelLines):
        drawn = lines.of_levels(ground, best.rows, setting)
    else:
        drawn = lines.of_arcs(ground, best.rows, setting)
    return Guide(
        best.kind,
        drawn,
        first.grades,
        best.grades,
        land.surface.doubt.floor,
        ground,
        best.rows,
    )
