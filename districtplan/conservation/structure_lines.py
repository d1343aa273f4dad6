"""The lines of structures on one hillside: level ones, and graded ones that end at an outlet.

A graded line is walked from its outlet away, as a team would peg it: at each place the leg is
turned off the contour until it rises by the grade, and the next peg is moved up or down the slope
until its height is right. So a line falls all the way, ends at an outlet by construction, and may
stop anywhere at its head, from which no water comes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import shapely

from districtplan import contours, tables
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
    "no_land",
    "less_fall_than_spacing",
    "gathered_water_left",
    "head_not_spanned",
    "plots_between",
)
"""Why lines aren't drawn. Without an outlet, or where one waterway doesn't take all the water that
gathers, a technician must find one; where plots that may bear none lie between, there is one."""
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
    no_waterway : Shape
        Its plots that may bear no grassed waterway: too steep, or ruled out by staff.
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
    no_waterway: Shape
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
    takes : tuple[str, ...]
        Names of outlets that take the water already that gathers on the hillside.
    bare : tuple[str, ...]
        Plots that have no line for that reason.
    """

    lines: tuple[Line, ...]
    waterway: Waterway | None
    waterway_plots: tuple[str, ...]
    reason: str | None
    takes: tuple[str, ...] = ()
    bare: tuple[str, ...] = ()


def draw(
    hillside: Hillside,
    form: LineForm,
    drop_m: float,
    limits: Mapping[str, float],
    standing: Sequence[shapely.LineString] = (),
) -> Drawn:
    """Draw the lines of a measure from the top of a hillside down.

    Line k lies k drops below the highest land; a cut-off drain above it. Level lines are contours,
    and leave flow lines the strip that rows leave them.
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
        How much lower each line lies than the one above; 0 on land without a fall [m].
    limits : Mapping[str, float]
        Table ``structure_limits``, with ``outlet_reach_m`` and ``strip_width_m`` (plan) and
        ``link_m`` (table ``work_site_limits``).
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
    if land.is_empty:
        return Drawn((), None, (), "no_land")
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
    if form.above and drawn.lines:
        drawn = _spanning(drawn, site)
    if hillside.floor_pct < form.grade_pct:
        return drawn
    return drawn._replace(lines=tuple(_found_there(line, hillside) for line in drawn.lines))


def dig(hillside: Hillside, limits: Mapping[str, float]) -> Drawn:
    """Lay the waterway that a hillside needs which gathered water crosses, before rows.

    Parameters
    ----------
    hillside : Hillside
        The site.
    limits : Mapping[str, float]
        As :func:`draw` takes them, with ``crossing_min_m`` (plan).

    Returns
    -------
    Drawn
        The waterway and no lines; without a way to a safe outlet, or where water gathers that
        neither it nor an outlet takes, the reason. Where outlets that are there take it all, they
        are named and nothing is dug.
    """
    if hillside.slipping or not hillside.outlets:
        return Drawn((), None, (), "slipping_ground" if hillside.slipping else "no_outlet")
    if hillside.ground is None:
        return Drawn((), None, (), "ground_not_known")
    land = _land(hillside, limits)
    if land.is_empty:
        return Drawn((), None, (), "no_land")
    # Flow lines go by cells, so they lie a little beside the water that they stand for.
    reach = limits["outlet_reach_m"] + limits["link_m"]
    gathered = shapely.intersection(
        shapely.union_all(hillside.flow), shapely.union_all(hillside.plots)
    )
    near = [one for one in hillside.outlets if shapely.dwithin(one.shape, gathered, reach)]
    taken = [one.shape for one in near]
    if near and not _left(gathered, taken, reach, limits):
        return Drawn((), None, (), None, tuple(one.name for one in near))
    dug = _dug(hillside, land, hillside.ground, hillside.outlets, limits)
    if dug is None:
        return Drawn((), None, (), "no_outlet")
    left = _left(gathered, [*taken, dug.line], reach, limits)
    through = _crossed(hillside, np.array([dug.line], dtype=object))[0]
    return Drawn((), dug, through, "gathered_water_left" if left else None)


def _left(
    gathered: Shape, taken: Sequence[Shape], reach_m: float, limits: Mapping[str, float]
) -> bool:
    """Tell whether enough of flow lines to cross a plot lies too far from what takes them."""
    near = shapely.union_all(_wide(np.array(taken, dtype=object), reach_m))
    length = shapely.difference(gathered, near).length
    least = limits["crossing_min_m"]
    return bool(length > ON_M and tables.crossed(np.array([length]), least)[0])


def _dug(
    hillside: Hillside,
    land: Shape,
    ground: Ground,
    outlets: Sequence[Outlet],
    limits: Mapping[str, float],
) -> Waterway | None:
    """Lay a waterway to a safe outlet, clear of plots that may bear none."""
    refused = shapely.union(hillside.refused, hillside.no_waterway)
    return waterway(land, hillside.flow, outlets, refused, ground, limits)


def _refusal(hillside: Hillside, form: LineForm) -> str | None:
    """Tell why a measure may not be on a hillside at all."""
    if hillside.slipping and (form.retains or form.carries_water):
        return "slipping_ground"
    if form.retains and not hillside.deep_and_free:
        return "soil_not_deep_and_free"
    # A waterway to build ends at one too.
    return "no_outlet" if form.graded and not hillside.outlets else None


def _land(hillside: Hillside, limits: Mapping[str, float]) -> Shape:
    """Give the site's land, the gaps between its plots closed, less what is refused."""
    half = limits["link_m"] / 2
    wide = shapely.union_all(_wide(hillside.plots, half))
    closed = _wide(wide, -half)
    whole = shapely.union_all([closed, *hillside.plots])
    return shapely.difference(whole, hillside.refused)


def _wide(shape: Any, by_m: float) -> Any:  # noqa: ANN401 - one shape or many
    """Widen shapes with coarse corners: fine ones only slow what cuts lines by them."""
    return shapely.buffer(shape, by_m, quad_segs=2)


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
        x, y, step = contours.lattice_over(land)
        edge = ground.height(shapely.get_coordinates(shapely.segmentize(land, step)))
        z = ground.lattice(x, y)
        shapely.prepare(land)
        inside = z[shapely.contains_xy(land, *np.meshgrid(x, y))]
        every = np.concatenate([edge, inside])
        return cls(x, y, z, land, float(every.max()), float(every.min()))

    def levels(self, drop_m: float) -> list[float]:
        if drop_m <= 0:
            return []
        count = int(np.ceil((self.top - self.low) / drop_m)) - 1
        return [self.top - drop_m * place for place in range(1, count + 1)]


def _level(
    hillside: Hillside,
    heights: _Heights,
    levels: list[float],
    limits: Mapping[str, float],
    standing: Sequence[shapely.LineString],
) -> list[Line]:
    trace = contours.traced(heights.x, heights.y, heights.z)
    # A barrier across a waterway would dam it, and gathered water would break one that it meets.
    kept = [*standing, *(outlet.shape for outlet in hillside.outlets)]
    clear = shapely.buffer(kept, limits["lines_apart_min_m"])
    water = shapely.buffer(list(hillside.flow), limits["strip_width_m"] / 2)
    free = shapely.difference(heights.land, shapely.union_all([*clear, *water]))
    shapes, owner = [], []
    for place, level in enumerate(levels):
        found = trace(level)
        shapes += found
        owner += [place] * len(found)
    inside = shapely.intersection(np.array(shapes, dtype=object), free)
    pieces, of = shapely.get_parts(inside, return_index=True)
    long = shapely.length(pieces) >= limits["line_length_min_m"]
    pieces = pieces[long]
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
        there = tuple(outlet for outlet in hillside.outlets if outlet.name != TO_BUILD)
        dug = _dug(hillside, site.land, site.ground, there, site.limits)
    if dug is not None:
        outlets = (*hillside.outlets, Outlet(TO_BUILD, dug.line))
        lines, done = _graded(site, outlets, levels, standing)
        if not any(line.outlet == TO_BUILD for line in lines):
            dug = None
    through: tuple[str, ...] = ()
    if dug is not None:
        through = _crossed(hillside, np.array([dug.line], dtype=object))[0]
    if done == len(levels):
        return Drawn(tuple(lines), dug, through, None)
    bare = _bare(hillside, site.ground, lines, levels[done])
    return Drawn(tuple(lines), dug, through, "no_outlet", bare=bare)


def _bare(
    hillside: Hillside, ground: Ground, lines: list[Line], missing_m: float
) -> tuple[str, ...]:
    """List the plots that reach below the first level without a line, and have none."""
    on = {plot for line in lines for plot in line.plot_ids}
    lowest = [ground.height(shapely.get_coordinates(plot)).min() for plot in hillside.plots]
    return tuple(
        plot
        for plot, low in zip(hillside.plot_ids, lowest, strict=True)
        if plot not in on and (low < missing_m or not lines)
    )


def _spanning(drawn: Drawn, site: _Site) -> Drawn:
    """Keep drains that take the water off the top plot: this side of outlets, over its breadth."""
    top = site.hillside.plots[0]
    outlets = shapely.union_all([outlet.shape for outlet in site.hillside.outlets])

    def this_side(line: Line) -> bool:
        head = shapely.Point(line.shape.coords[0])
        return not shapely.crosses(shapely.shortest_line(head, top), outlets)

    lines = tuple(line for line in drawn.lines if this_side(line))
    middle = shapely.get_coordinates(shapely.centroid(top))
    rise = site.ground.gradient(middle)[0]
    across = np.array([-rise[1], rise[0]]) / max(float(np.hypot(*rise)), ON_M)

    def extent(shape: Shape) -> Shape:
        reach = shapely.get_coordinates(shape) @ across
        return shapely.box(reach.min(), 0, reach.max(), 1)

    breadth = extent(top)
    held = shapely.union_all([extent(line.shape) for line in lines])
    spanned = shapely.intersection(breadth, held).area
    if spanned < site.limits["cut_off_spans_min_share"] * breadth.area:
        return Drawn((), None, (), "head_not_spanned")
    return drawn._replace(lines=lines)


def _graded(
    site: _Site,
    outlets: Sequence[Outlet],
    levels: list[float],
    standing: Sequence[shapely.LineString],
) -> tuple[list[Line], int]:
    """Walk lines from outlets; give them, and how many levels from the top have some."""
    starts = _starts(site, outlets, np.array(levels))
    own, level = np.tile(starts.outlet, 2), np.tile(starts.level, 2)
    side = np.repeat([1.0, -1.0], len(starts.level))
    paths = _walk(site, np.tile(starts.xy, (2, 1)), side)
    near = _near(site, 0.0)
    free = [_free(near, place, outlets, site) for place in range(len(outlets))]
    walks = _cut_to_land(paths, free, near, own, outlets, site)
    taken, by = list(standing), [-1] * len(standing)
    found: list[tuple[int, str]] = []
    done = 0
    start = np.tile(np.arange(len(starts.level)), 2)
    for place in np.lexsort((start, own, level)).tolist():
        if level[place] > done:
            break
        others = [line for line, other in zip(taken, by, strict=True) if other != start[place]]
        line = _clear_of(walks[place], others, site.limits)
        if line is not None:
            taken.append(line)
            by.append(int(start[place]))
            done = int(level[place]) + 1
            found.append((done, outlets[int(own[place])].name))
    return _told(site, found, taken[len(standing) :]), done


def _told(
    site: _Site, found: list[tuple[int, str]], shapes: list[shapely.LineString]
) -> list[Line]:
    drawn = np.array(shapes, dtype=object)
    ends = [
        site.ground.height(shapely.get_coordinates(shapely.get_point(drawn, end)))
        for end in (0, -1)
    ]
    rows = zip(found, shapes, ends[0] - ends[1], _crossed(site.hillside, drawn), strict=True)
    return [
        Line(number, DRAWN, shape, float(fall), outlet, plots)
        for (number, outlet), shape, fall, plots in rows
    ]


def _near(site: _Site, beyond_m: float) -> Shape:
    """Give where lines may lie, widened: the land, or what is above it for a cut-off drain."""
    above = site.limits["cut_off_above_m"] if site.form.above else 0.0
    wide = _wide(site.land, above + beyond_m) if above + beyond_m else site.land
    return shapely.difference(wide, site.hillside.refused)


def _starts(site: _Site, outlets: Sequence[Outlet], levels: Floats) -> _Starts:
    """Find where outlets near the land lie at the levels of lines, and fall by more than lines."""
    reach = site.limits["outlet_reach_m"]
    near = _near(site, reach)
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
    height, rise = site.ground.height(start), site.ground.gradient(start)
    going, gone = np.ones(len(start), dtype=bool), np.zeros(len(start))
    stops = np.zeros(len(start), dtype=np.int64)
    bounds = np.array(_near(site, 2 * site.limits["outlet_reach_m"]).bounds)
    low_corner, high_corner = bounds[:2], bounds[2:]
    for _ in range(count):
        which = np.flatnonzero(going)
        if not len(which):
            break
        here, low = at[which], height[which]
        leg, sure = _leg(rise[which], side[which], grade)
        peg, there, settled, rise[which] = _settled(
            site.ground, here, low, here + step * leg, grade
        )
        # Where a peg is moved by far, the land turns within a leg, or is too flat for the grade.
        walked = np.hypot(*(peg - here).T)
        near = np.abs(walked - step) < step / 2
        # Pegs that are moved a little add up: the way is measured, not counted in steps.
        gone[which] += walked
        on = sure & settled & near & (gone[which] <= site.form.length_max_m + ON_M)
        stops[which] += on
        # What has left the bounds of the land has nothing more to reach.
        going[which] = on & ((peg >= low_corner) & (peg <= high_corner)).all(axis=1)
        at, height = at.copy(), height.copy()
        at[which], height[which] = peg, there
        pegs.append(at)
    every = np.stack(pegs, axis=1)
    return [walk[: stop + 1] for walk, stop in zip(every, stops, strict=True)]


def _settled(
    ground: Ground, at: Floats, height: Floats, peg: Floats, grade: float
) -> tuple[Floats, Floats, NDArray[np.bool_], Floats]:
    """Move pegs along the fall until they rise by the grade.

    Give where they are, how high, whether they are done, and how the land rises thereabouts.
    """
    rise = ground.gradient(peg)
    way = rise / np.maximum((rise**2).sum(axis=1), ON_M)[:, None]
    there = ground.height(peg)
    for _ in range(SETTLED):
        wanted = height + grade * np.hypot(*(peg - at).T)
        peg = peg + way * (wanted - there)[:, None]
        there = ground.height(peg)
    rise_m = grade * np.hypot(*(peg - at).T)
    return peg, there, np.abs(there - height - rise_m) < SETTLED_SHARE * rise_m, rise


def _leg(rise: Floats, side: Floats, grade: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Give the direction that rises by the grade, and whether the land is steep enough for one."""
    slope = np.hypot(*rise.T)
    sure = slope > 2 * grade
    up = rise / np.where(sure, slope, 1.0)[:, None]
    part = np.where(sure, grade / np.where(sure, slope, 1.0), 0.0)[:, None]
    along = np.column_stack([-up[:, 1], up[:, 0]]) * side[:, None]
    return up * part + along * np.sqrt(1 - part**2), sure


def _free(near: Shape, place: int, outlets: Sequence[Outlet], site: _Site) -> Shape:
    """Give where lines of an outlet may run: the land, and on to the outlet, up to other water."""
    reach, own = site.limits["outlet_reach_m"], outlets[place].shape
    beside = shapely.intersection(_wide(own, 2 * reach), _near(site, reach))
    others = [one.shape for other, one in enumerate(outlets) if other != place]
    water = shapely.union_all([*others, *site.hillside.flow])
    # Near its outlet a line may meet what else ends there, but not a waterway that is to be dug.
    dug = [one.shape for one in outlets if one.name == TO_BUILD and one.shape is not own]
    bars = _wide(shapely.union_all([shapely.difference(water, _wide(own, reach)), *dug]), SLIT_M)
    if shapely.get_dimensions(own) > 1:
        bars = shapely.union(bars, _wide(own, -SLIT_M))
    free: Shape = shapely.difference(shapely.union(near, beside), bars)
    return free


def _cut_to_land(
    paths: list[Floats],
    free: list[Shape],
    near: Shape,
    own: Integers,
    outlets: Sequence[Outlet],
    site: _Site,
) -> list[Floats]:
    """Cut walks where they first leave free land, meet their outlet again, or meet themselves."""
    long = np.flatnonzero([len(path) > 1 for path in paths])
    cut = [path[:1] for path in paths]
    walks = np.array([shapely.LineString(paths[place]) for place in long], dtype=object)
    lands = np.array([free[place] for place in own[long]], dtype=object)
    shapes = np.array([outlets[place].shape for place in own[long]], dtype=object)
    again = shapely.intersection(walks, shapes)
    again[shapely.get_dimensions(shapes) > 1] = shapely.Point()
    stop = np.minimum(_first(walks, shapely.difference(walks, lands)), _first_back(walks))
    stop = np.minimum(stop, _first(walks, again, site.limits["lines_apart_min_m"]))
    # What lies beyond the land at the outlet's side brings a line there; a head does nothing.
    at, walk = _along(walks, shapely.intersection(walks, near))
    last = np.zeros(len(walks))
    kept = at <= stop[walk] + ON_M
    np.maximum.at(last, walk[kept], at[kept])
    heads = np.zeros((len(paths), 2))
    heads[long] = shapely.get_coordinates(shapely.line_interpolate_point(walks, last))
    for place, end in zip(long.tolist(), last.tolist(), strict=True):
        path = paths[place]
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
        cut[place] = path[along <= end + ON_M]
    return _headed(cut, heads, [free[place] for place in own], site)


def _headed(cut: list[Floats], heads: Floats, free: list[Shape], site: _Site) -> list[Floats]:
    """Set heads that stand between two pegs at their height."""
    at = np.array([path[-1] for path in cut]).reshape(-1, 2)
    more = np.hypot(*(heads - at).T) > site.limits["peg_step_m"] * SETTLED_SHARE
    more &= np.array([len(path) for path in cut]) > 1
    if not more.any():
        return cut
    grade = site.form.grade_pct / 100
    height = site.ground.height(at[more])
    moved, _, settled, _ = _settled(site.ground, at[more], height, heads[more], grade)
    legs = shapely.linestrings(np.stack([at[more], moved], axis=1))
    land = np.array(free, dtype=object)[more]
    sound = settled & (shapely.length(shapely.difference(legs, land)) < SLIT_M)
    for place, head, good in zip(np.flatnonzero(more), moved, sound, strict=True):
        if good:
            cut[place] = np.concatenate([cut[place], head[None]])
    return cut


def _clear_of(
    path: Floats, others: Sequence[shapely.LineString], limits: Mapping[str, float]
) -> shapely.LineString | None:
    """Cut a walk at the last peg before it comes near another line; head first."""
    if len(path) <= 1:
        return None
    walk = shapely.LineString(path)
    stop = _first_near(walk, others, limits["lines_apart_min_m"])
    if stop < walk.length:
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
        path = path[along <= stop]
    if len(path) <= 1 or shapely.LineString(path).length < limits["line_length_min_m"]:
        return None
    return shapely.LineString(path[::-1])


def _first_near(walk: shapely.LineString, others: Sequence[shapely.LineString], by: float) -> float:
    lines = np.array(others, dtype=object)
    close = lines[shapely.dwithin(lines, walk, by)]
    if not len(close):
        return float(walk.length)
    beside = shapely.buffer(shapely.union_all(close), by)
    one = np.array([walk], dtype=object)
    return float(_first(one, shapely.intersection(one, beside))[0])


def _first_back(walks: Objects) -> Floats:
    """Give how far walks go before they meet themselves."""
    stop = shapely.length(walks)
    for place in np.flatnonzero(~shapely.is_simple(walks)).tolist():
        points = shapely.get_coordinates(walks[place])
        parts = [shapely.LineString(points[:count]) for count in range(2, len(points) + 1)]
        crossed = int(np.argmin(shapely.is_simple(parts)))
        stop[place] = parts[crossed - 1].length
    return np.asarray(stop)


def _first(walks: Objects, there: Objects, least: float = -1.0) -> Floats:
    """Give how far each walk goes before it meets a shape on it, further on than the least."""
    at, walk = _along(walks, there)
    stop = np.asarray(shapely.length(walks))
    further = at > least
    np.minimum.at(stop, walk[further], at[further])
    return stop


def _along(walks: Objects, there: Objects) -> tuple[Floats, Integers]:
    """Give how far along walks the corners of shapes on them lie, and whose they are."""
    xy, walk = shapely.get_coordinates(there, return_index=True)
    return np.asarray(shapely.line_locate_point(walks[walk], shapely.points(xy))), walk


def _ends(shapes: Objects) -> Objects:
    """Give the ends of the parts of lines: a long line's corners take long to locate."""
    parts, shape = shapely.get_parts(shapes, return_index=True)
    xy, part = shapely.get_coordinates(parts, return_index=True)
    turns = np.flatnonzero(np.diff(part, prepend=-1, append=-1))
    ends = np.sort(np.concatenate([turns[:-1], turns[1:] - 1]))
    out = np.full(len(shapes), shapely.MultiPoint(), dtype=object)
    return np.asarray(shapely.multipoints(xy[ends], indices=shape[part[ends]], out=out))


def _crossed(hillside: Hillside, shapes: Objects) -> list[tuple[str, ...]]:
    """List the plots that each line crosses, from its outlet end up."""
    line, plot = shapely.STRtree(hillside.plots).query(shapes, predicate="intersects")
    ways = shapely.reverse(shapes[line])
    first = _first(ways, _ends(shapely.intersection(ways, hillside.plots[plot])))
    crossed: list[list[str]] = [[] for _ in shapes]
    for place in np.lexsort((plot, first)).tolist():
        crossed[int(line[place])].append(hillside.plot_ids[int(plot[place])])
    return [tuple(own) for own in crossed]


def _found_there(line: Line, hillside: Hillside) -> Line:
    """Keep of a line what the raster supports: its number and where to start."""
    level = line.outlet is None
    middle = line.shape.interpolate(0.5, normalized=True)
    start = middle if level else shapely.Point(line.shape.coords[-1])
    return line._replace(
        state=ON_THE_GROUND, shape=start, fall_m=np.nan, plot_ids=hillside.plot_ids
    )
