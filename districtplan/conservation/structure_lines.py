"""The lines of structures on one hillside: level ones, and graded ones that end at an outlet.

A graded line is walked from its outlet away, as a team would peg it: at each place the leg is
turned off the contour until it rises by the grade, and the next peg is moved up or down the slope
until its height is right. So a line falls all the way, ends at an outlet by construction, and may
stop anywhere at its head, from which no water comes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import contourpy
import numpy as np
import shapely

from districtplan.conservation.outlets import TO_BUILD, Ground, Outlet, waterway

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry as Shape

    from districtplan.conservation.outlets import Waterway

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]

DRAWN, ON_THE_GROUND = "drawn", "on the ground"
REASONS = (
    "ground_not_known",
    "slipping_ground",
    "soil_not_deep_and_free",
    "no_outlet",
    "less_fall_than_spacing",
)
"""Why lines aren't drawn. Without an outlet a technician must find one."""
LATTICE_M = 2.0
"""Step of the lattice on which contours are followed [m]."""
LATTICE_MAX = 200
"""Most steps along a side of that lattice."""
SMOOTH_M = 0.05
"""How far a corner of a line may lie beside it when its points are thinned [m]."""
SLIT_M = 0.01
"""Width by which water that a line may not cross is cut out of the land [m]."""
ON_M = 1e-6
"""Distance under which a point lies on a line [m]."""
SETTLED = 3
"""Rounds in which a peg is moved to its height."""
SETTLED_SHARE = 0.1
"""How far a leg may be off the grade, as a share of it."""


@dataclass(frozen=True)
class LineForm:
    """How the lines of a measure run.

    Attributes
    ----------
    name : str
        The measure.
    graded : bool
        Whether they fall to an outlet; else they are level.
    carries_water : bool
        Whether they lead water; level lines that do are graded ones without a grade.
    retains : bool
        Whether they hold water back, so that the soil must be deep and drain freely.
    above : bool
        Whether there is one line only, above the highest land.
    grade_pct : float
        Fall of graded lines [%].
    length_max_m : float
        Longest way that water runs in one direction [m].
    """

    name: str
    graded: bool
    carries_water: bool
    retains: bool
    above: bool
    grade_pct: float
    length_max_m: float


@dataclass(frozen=True)
class Hillside:
    """One work site, in a plane of metres.

    Attributes
    ----------
    plot_ids : tuple[str, ...]
        Its plots, from the top down.
    plots : numpy.ndarray
        Their outlines, shape (plots,).
    outlets : tuple[Outlet, ...]
        Safe outlets near it.
    flow : tuple[shapely.LineString, ...]
        Flow lines near it, down the flow, the largest first.
    refused : Shape
        What water may not be led onto: houses, roads, paths, graves, latrines, springs and the
        plots of other sites, but where those below agreed in writing.
    deep_and_free : bool
        Whether its soil is known to be deep and to drain freely.
    slipping : bool
        Whether staff marked slipping ground on it.
    ground : Ground | None
        The smoothed surface in the same plane; None where too little is known of it.
    floor_pct : float
        Grade that the raster's own error costs a line that follows its contours [%].
    """

    plot_ids: tuple[str, ...]
    plots: Objects
    outlets: tuple[Outlet, ...]
    flow: tuple[shapely.LineString, ...]
    refused: Shape
    deep_and_free: bool
    slipping: bool
    ground: Ground | None
    floor_pct: float


class Line(NamedTuple):
    """One line of a structure.

    Attributes
    ----------
    number : int
        1 at the top; pieces of one height share it.
    state : str
        ``DRAWN``, or ``ON_THE_GROUND`` where the raster can't say the course.
    shape : shapely.LineString | shapely.Point
        Its course down the flow, from head to outlet; on the ground its start place.
    fall_m : float
        How much lower the outlet end lies than the head [m]; NaN on the ground.
    outlet : str | None
        Name of the outlet; None for level lines.
    plot_ids : tuple[str, ...]
        Plots that it crosses, from the outlet up; on the ground all of the site.
    """

    number: int
    state: str
    shape: shapely.LineString | shapely.Point
    fall_m: float
    outlet: str | None
    plot_ids: tuple[str, ...]


class Drawn(NamedTuple):
    """The lines of one measure on one hillside.

    Attributes
    ----------
    lines : tuple[Line, ...]
        From the top down.
    waterway : Waterway | None
        What must be built before them.
    waterway_plots : tuple[str, ...]
        Plots that it crosses, from its outlet up.
    reason : str | None
        Why there are none, or none below the last; one of ``REASONS``.
    """

    lines: tuple[Line, ...]
    waterway: Waterway | None
    waterway_plots: tuple[str, ...]
    reason: str | None


def draw(
    hillside: Hillside,
    form: LineForm,
    drop_m: float,
    limits: Mapping[str, float],
    standing: Sequence[shapely.LineString] = (),
) -> Drawn:
    """Draw the lines of a measure from the top of a hillside down.

    Line k lies k drops below the highest land; a cut-off drain above it. Level lines are contours.
    Graded ones start where an outlet lies at that height, and are walked both ways, each as far as
    the longest way of water, the site's land, what is refused and other lines let them. Where no
    outlet lies at the height of a line, a waterway is laid along a flow line; where that can't be
    done either, this line and those below are refused, since the one above would leave them
    the water of more than its spacing.

    Parameters
    ----------
    hillside : Hillside
        The site.
    form : LineForm
        How the lines run.
    drop_m : float
        How much lower each line lies than the one above, above 0 [m].
    limits : Mapping[str, float]
        Table ``structure_limits``, with ``outlet_reach_m`` (plan) and ``link_m`` (table
        ``work_site_limits``).
    standing : Sequence[shapely.LineString]
        Lines that are there or drawn already, which none may cross.

    Returns
    -------
    Drawn
        The lines. A raster whose error reaches the grade of graded lines, or the limit of level
        ones, gives their number and start places only.
    """
    ground = hillside.ground
    reason = _refusal(hillside, form)
    if reason is not None or ground is None:
        return Drawn((), None, (), reason or "ground_not_known")
    land = _land(hillside, limits)
    heights = _Heights.of(land, ground)
    levels = [heights.top] if form.above else heights.levels(drop_m)
    if not levels:
        return Drawn((), None, (), "less_fall_than_spacing")
    if not form.graded:
        lines = _level(hillside, heights, levels, limits, standing)
        if hillside.floor_pct > limits["level_floor_max_pct"]:
            lines = [_found_there(line, hillside) for line in lines]
        return Drawn(tuple(lines), None, (), None if lines else "less_fall_than_spacing")
    site = _Site(hillside, land, ground, form, limits)
    drawn = _to_outlets(site, levels, standing)
    if hillside.floor_pct < form.grade_pct:
        return drawn
    return drawn._replace(lines=tuple(_found_there(line, hillside) for line in drawn.lines))


def _refusal(hillside: Hillside, form: LineForm) -> str | None:
    """Tell why a measure may not be on a hillside at all."""
    if hillside.slipping and (form.retains or form.carries_water):
        return "slipping_ground"
    if form.retains and not hillside.deep_and_free:
        return "soil_not_deep_and_free"
    return None


def _land(hillside: Hillside, limits: Mapping[str, float]) -> Shape:
    """Give the site's land, the gaps between its plots closed, less what is refused."""
    half = limits["link_m"] / 2
    wide = shapely.union_all(shapely.buffer(hillside.plots, half))
    closed = shapely.buffer(wide, -half)
    whole = shapely.union_all([closed, *hillside.plots])
    return shapely.difference(whole, hillside.refused)


class _Heights(NamedTuple):
    """Heights over a site's land."""

    x: Floats
    y: Floats
    z: Floats
    land: Shape
    top: float
    low: float

    @classmethod
    def of(cls, land: Shape, ground: Ground) -> _Heights:
        west, south, east, north = land.bounds
        step = max(LATTICE_M, max(east - west, north - south) / LATTICE_MAX)
        x = west + step * np.arange(-1, np.ceil((east - west) / step) + 2)
        y = south + step * np.arange(-1, np.ceil((north - south) / step) + 2)
        edge = ground.height(shapely.get_coordinates(shapely.segmentize(land, step)))
        z = ground.lattice(x, y)
        inside = z[shapely.contains_xy(land, *np.meshgrid(x, y))]
        every = np.concatenate([edge, inside])
        return cls(x, y, z, land, float(every.max()), float(every.min()))

    def levels(self, drop_m: float) -> list[float]:
        count = int(np.ceil((self.top - self.low) / drop_m)) - 1
        return [self.top - drop_m * place for place in range(1, count + 1)]


def _level(
    hillside: Hillside,
    heights: _Heights,
    levels: list[float],
    limits: Mapping[str, float],
    standing: Sequence[shapely.LineString],
) -> list[Line]:
    contours = contourpy.contour_generator(
        heights.x, heights.y, heights.z, name="serial", line_type=contourpy.LineType.Separate
    )
    free = heights.land
    if standing:
        kept = shapely.union_all(shapely.buffer(list(standing), limits["lines_apart_min_m"]))
        free = shapely.difference(free, kept)
    shapes, owner = [], []
    for place, level in enumerate(levels):
        for points in contours.lines(level):
            shapes.append(shapely.LineString(np.asarray(points)))
            owner.append(place)
    inside = shapely.intersection(np.array(shapes, dtype=object), free)
    pieces, of = shapely.get_parts(inside, return_index=True)
    long = shapely.length(pieces) >= limits["line_length_min_m"]
    pieces = shapely.simplify(pieces[long], SMOOTH_M)
    numbers = np.array(owner, dtype=np.int64)[of[long]]
    crossed = _crossed(hillside, pieces)
    return [
        Line(int(number) + 1, DRAWN, piece, 0.0, None, plots)
        for number, piece, plots in zip(numbers, pieces, crossed, strict=True)
    ]


class _Site(NamedTuple):
    hillside: Hillside
    land: Shape
    ground: Ground
    form: LineForm
    limits: Mapping[str, float]


class _Starts(NamedTuple):
    """Where lines leave outlets, shape (starts,) each, but ``xy`` (starts, 2)."""

    level: Integers
    outlet: Integers
    xy: Floats


def _to_outlets(site: _Site, levels: list[float], standing: Sequence[shapely.LineString]) -> Drawn:
    """Draw graded lines to the outlets there are, else to a waterway to build as well."""
    hillside = site.hillside
    lines, done = _graded(site, hillside.outlets, levels, standing)
    dug = None
    if done < len(levels):
        dug = waterway(
            site.land, hillside.flow, hillside.outlets, hillside.refused, site.ground, site.limits
        )
    if dug is not None:
        outlets = (*hillside.outlets, Outlet(TO_BUILD, dug.line))
        lines, done = _graded(site, outlets, levels, standing)
        if not any(line.outlet == TO_BUILD for line in lines):
            dug = None
    through: tuple[str, ...] = ()
    if dug is not None:
        through = _crossed(hillside, np.array([dug.line], dtype=object))[0]
    return Drawn(tuple(lines), dug, through, None if done == len(levels) else "no_outlet")


def _graded(
    site: _Site,
    outlets: Sequence[Outlet],
    levels: list[float],
    standing: Sequence[shapely.LineString],
) -> tuple[list[Line], int]:
    """Walk lines from outlets; give them, and how many levels from the top have some."""
    starts = _starts(site, outlets, np.array(levels))
    count = len(starts.level)
    away = np.concatenate([starts.xy, starts.xy])
    paths = _walk(site, away, np.repeat([1.0, -1.0], count))
    near = (
        shapely.buffer(site.land, site.limits["cut_off_above_m"]) if site.form.above else site.land
    )
    near = shapely.difference(near, site.hillside.refused)
    taken: list[tuple[int, shapely.LineString]] = [(-1, line) for line in standing]
    lines: list[Line] = []
    done = 0
    for place in np.lexsort((starts.outlet, starts.level)).tolist():
        level, own = int(starts.level[place]), int(starts.outlet[place])
        if level > done:
            break
        free = _free(near, starts.xy[place], own, outlets, site)
        others = [line for other, line in taken if other != place]
        for path in (paths[place], paths[place + count]):
            line = _cut(path, free, near, others, site)
            if line is None:
                continue
            taken.append((place, line))
            lines.append(_line(site, level, outlets[own], line))
            done = level + 1
    return lines, done


def _starts(site: _Site, outlets: Sequence[Outlet], levels: Floats) -> _Starts:
    """Find where outlets near the land lie at the levels of lines, and fall by more than lines."""
    reach = site.limits["outlet_reach_m"]
    near: Shape = shapely.buffer(
        site.land, site.limits["cut_off_above_m"] if site.form.above else reach
    )
    near = shapely.difference(near, site.hillside.refused)
    found: list[tuple[int, int, float, float]] = []
    for place, outlet in enumerate(outlets):
        area = shapely.get_dimensions(outlet.shape) > 1
        edge = shapely.boundary(outlet.shape) if area else outlet.shape
        pieces = shapely.get_parts(shapely.line_merge(shapely.intersection(edge, near)))
        for piece in pieces[shapely.length(pieces) > 0]:
            xy = shapely.get_coordinates(shapely.segmentize(piece, reach))
            z = site.ground.height(xy)
            leg = np.hypot(*np.diff(xy, axis=0).T)
            steep = np.abs(np.diff(z)) > site.form.grade_pct / 100 * leg
            over = z[:, None] >= levels
            at, level = np.nonzero((over[1:] != over[:-1]) & (steep | area)[:, None])
            share = (levels[level] - z[at]) / (z[at + 1] - z[at])
            meets = xy[at] + share[:, None] * (xy[at + 1] - xy[at])
            found += [
                (int(one), place, *there) for one, there in zip(level, meets.tolist(), strict=True)
            ]
    table = np.array(found, dtype=np.float64).reshape(-1, 4)
    return _Starts(table[:, 0].astype(np.int64), table[:, 1].astype(np.int64), table[:, 2:])


def _walk(site: _Site, start: Floats, side: Floats) -> list[Floats]:
    """Walk away from outlets, rising at the grade: pegs of each walk, shape (pegs, 2) [m]."""
    grade, step = site.form.grade_pct / 100, site.limits["peg_step_m"]
    count = int(np.floor(site.form.length_max_m / step))
    at, pegs = start, [start]
    height = site.ground.height(start)
    going = np.ones(len(start), dtype=bool)
    stops = np.zeros(len(start), dtype=np.int64)
    for _ in range(count if len(start) else 0):
        half, sure = _leg(site.ground, at, side, grade)
        leg, sure_there = _leg(site.ground, at + step / 2 * half, side, grade)
        peg, there, settled = _settled(site.ground, at, height, at + step * leg, grade)
        # Where a peg is moved by far, the land turns within a leg, or is too flat for the grade.
        near = np.abs(np.hypot(*(peg - at).T) - step) < step / 2
        going &= sure & sure_there & settled & near
        stops += going
        at, height = peg, there
        pegs.append(peg)
    every = np.stack(pegs, axis=1)
    return [walk[: stop + 1] for walk, stop in zip(every, stops, strict=True)]


def _settled(
    ground: Ground, at: Floats, height: Floats, peg: Floats, grade: float
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Move pegs along the fall until they rise by the grade: where, how high, whether done."""
    wanted = there = height
    for _ in range(SETTLED):
        rise = ground.gradient(peg)
        steep = np.maximum((rise**2).sum(axis=1), ON_M)
        wanted = height + grade * np.hypot(*(peg - at).T)
        peg = peg + rise * ((wanted - ground.height(peg)) / steep)[:, None]
        there = ground.height(peg)
    rise_m = grade * np.hypot(*(peg - at).T)
    return peg, there, np.abs(there - height - rise_m) < SETTLED_SHARE * rise_m


def _leg(
    ground: Ground, at: Floats, side: Floats, grade: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """Give the direction that rises by the grade, and whether the land is steep enough for one."""
    rise = ground.gradient(at)
    slope = np.hypot(*rise.T)
    sure = slope > 2 * grade
    up = rise / np.where(sure, slope, 1.0)[:, None]
    part = np.where(sure, grade / np.where(sure, slope, 1.0), 0.0)[:, None]
    along = np.column_stack([-up[:, 1], up[:, 0]]) * side[:, None]
    return up * part + along * np.sqrt(1 - part**2), sure


def _free(near: Shape, start: Floats, place: int, outlets: Sequence[Outlet], site: _Site) -> Shape:
    """Give where a line may run: the land, and from its edge to the outlet, up to other water."""
    reach, apart = site.limits["outlet_reach_m"], site.limits["lines_apart_min_m"]
    own, at = outlets[place].shape, shapely.Point(start)
    gap = shapely.difference(shapely.buffer(at, 2 * reach), site.hillside.refused)
    others = [one.shape for other, one in enumerate(outlets) if other != place]
    water = shapely.difference(
        shapely.union_all([*others, *site.hillside.flow]), shapely.buffer(own, reach)
    )
    if shapely.get_dimensions(own) > 1:
        bars = shapely.union(shapely.buffer(water, SLIT_M), shapely.buffer(own, -SLIT_M))
    else:
        further = shapely.difference(own, shapely.buffer(at, apart))
        bars = shapely.buffer(shapely.union(water, further), SLIT_M)
    return shapely.difference(shapely.union(near, gap), bars)


def _cut(
    path: Floats, free: Shape, near: Shape, others: Sequence[shapely.LineString], site: _Site
) -> shapely.LineString | None:
    """Cut a walk where it first leaves free land or comes near another line; head first."""
    if len(path) <= 1:
        return None
    walk = shapely.LineString(path)
    stop = min(
        _first_out(walk, free),
        _first_near(walk, others, site.limits["lines_apart_min_m"]),
        _first_back(walk),
    )
    # What lies beyond the land at the outlet's side brings the line there; a head does nothing.
    on_land = shapely.get_coordinates(shapely.intersection(walk, near))
    if not len(on_land):
        return None
    places = np.asarray(shapely.line_locate_point(walk, shapely.points(on_land)))
    stop = float(places[places <= stop + ON_M].max(initial=0.0))
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    kept = path[along <= stop + ON_M]
    # The head stands between two pegs: it gets its height too.
    end = shapely.get_coordinates(walk.interpolate(stop))
    at = kept[-1:]
    if np.hypot(*(end - at)[0]) > site.limits["peg_step_m"] * SETTLED_SHARE:
        height = site.ground.height(at)
        head, _, settled = _settled(site.ground, at, height, end, site.form.grade_pct / 100)
        leg = shapely.LineString([at[0], head[0]])
        if settled[0] and shapely.difference(leg, free).length < SLIT_M:
            kept = np.concatenate([kept, head])
    if len(kept) <= 1 or shapely.LineString(kept).length < site.limits["line_length_min_m"]:
        return None
    return shapely.LineString(kept[::-1])


def _first_out(walk: shapely.LineString, free: Shape) -> float:
    """Give how far a walk goes before it leaves free land."""
    outside = shapely.difference(walk, free)
    return _nearest_along(walk, outside)


def _first_near(walk: shapely.LineString, others: Sequence[shapely.LineString], by: float) -> float:
    if not others:
        return float(walk.length)
    lines = np.array(others, dtype=object)
    close = lines[shapely.dwithin(lines, walk, by)]
    if not len(close):
        return float(walk.length)
    return _nearest_along(
        walk, shapely.intersection(walk, shapely.buffer(shapely.union_all(close), by))
    )


def _first_back(walk: shapely.LineString) -> float:
    """Give how far a walk goes before it meets itself."""
    points = shapely.get_coordinates(walk)
    if walk.is_simple:
        return float(walk.length)
    for count in range(2, len(points)):
        part = shapely.LineString(points[: count + 1])
        if not part.is_simple:
            return float(shapely.LineString(points[:count]).length)
    return float(walk.length)


def _nearest_along(walk: shapely.LineString, there: Shape) -> float:
    xy = shapely.get_coordinates(there)
    if not len(xy):
        return float(walk.length)
    return float(shapely.line_locate_point(walk, shapely.points(xy)).min())


def _line(site: _Site, level: int, outlet: Outlet, shape: shapely.LineString) -> Line:
    ends = site.ground.height(shapely.get_coordinates(shape)[[0, -1]])
    crossed = _crossed(site.hillside, np.array([shape], dtype=object))[0]
    return Line(level + 1, DRAWN, shape, float(ends[0] - ends[1]), outlet.name, crossed)


def _crossed(hillside: Hillside, shapes: Objects) -> list[tuple[str, ...]]:
    """List the plots that each line crosses, from its outlet end up."""
    line, plot = shapely.STRtree(hillside.plots).query(shapes, predicate="intersects")
    crossed: list[list[tuple[float, str]]] = [[] for _ in shapes]
    for one, other in zip(line.tolist(), plot.tolist(), strict=True):
        way = shapely.reverse(shapes[one])
        part = shapely.intersection(way, hillside.plots[other])
        crossed[one].append((_nearest_along(way, part), hillside.plot_ids[other]))
    return [tuple(name for _, name in sorted(own)) for own in crossed]


def _found_there(line: Line, hillside: Hillside) -> Line:
    """Keep of a line what the raster supports: its number and where to start."""
    level = line.outlet is None
    middle = line.shape.interpolate(0.5, normalized=True)
    start = middle if level else shapely.Point(line.shape.coords[-1])
    return line._replace(
        state=ON_THE_GROUND, shape=start, fall_m=np.nan, plot_ids=hillside.plot_ids
    )
