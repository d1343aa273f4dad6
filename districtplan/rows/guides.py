"""Guide lines of all plots that need them: heights in, lines and pegs out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
import shapely

from districtplan import geodesy, tables
from districtplan.rows import curved, ladder, lines
from districtplan.rows.arc import quarter
from districtplan.rows.around import Around
from districtplan.rows.band import families
from districtplan.rows.corner import Tie, tie
from districtplan.rows.drain import SIDES
from districtplan.rows.ladder import Guide, Limits
from districtplan.rows.level_lines import LevelLines
from districtplan.rows.lines import LEVEL, Ground, Setting
from districtplan.rows.pegs import spaces

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.grid import Elevation
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.rows.around import Frame
    from districtplan.rows.lines import Line, Outline

    Floats = NDArray[np.float64]

TABLE = "guide_line_limits"
METHOD = "guide lines"
GUIDE_FLAGS = ("structure_not_followed",)
"""What ``guide_flags`` may hold."""
NO_LEG_M = 1e-9
"""Shorter legs have no direction [m]."""
BEARINGS = ("guide_bearing_true_deg", "guide_bearing_magnetic_deg")
OF_GUIDES = ("gap_m", "rows_in_gap", "short_rows_start", "short_rows_end")
"""What only pegs of guide lines have."""
OF_ROWS = ("plot_id", "crop", "row", "length_m", "geometry")
OF_COUNTS = (
    "plot_id", "crop", "rows", "short_rows", "row_length_m", "holes", "row_breaks",
)  # fmt: skip


@dataclass(frozen=True)
class Guides:
    """Guide lines of a district.

    Attributes
    ----------
    plots : pandas.DataFrame
        ``plot_id`` and the columns made by guides, one row a plot.
    lines : pandas.DataFrame
        ``plot_id``, ``guide_kind``, the columns made by guide lines and ``geometry``, empty where
        the team finds the course; one row a line, the lowest of a plot first.
    pegs : pandas.DataFrame
        ``plot_id``, ``line``, ``peg``, ``peg_along_m`` along the curve, the gap and its rows there,
        and ``geometry``; one row a peg.
    rows : pandas.DataFrame
        ``plot_id``, ``crop``, ``row`` (its number in the plot among those of its family),
        ``length_m`` and ``geometry``; the rows that follow the lines, as many as are drawn.
    counts : pandas.DataFrame
        ``plot_id``, ``crop``, ``rows``, ``short_rows``, ``row_length_m`` and ``holes`` of all these
        rows, and ``row_breaks`` of all crops together.
    boundaries : pandas.DataFrame
        ``plot_id``, the columns made by part boundaries and ``geometry``; one row a straight line
        between two parts of a plot that have an arc each.
    crs : pyproj.CRS
        CRS of the geometries, that of the raster.
    """

    plots: pd.DataFrame
    lines: pd.DataFrame
    pegs: pd.DataFrame
    rows: pd.DataFrame
    counts: pd.DataFrame
    boundaries: pd.DataFrame
    crs: CRS


def guide_lines(
    plots: pd.DataFrame,
    elevation: Elevation,
    plan: Plan,
    handbook: Handbook,
    every: int = 1,
    progress: Callable[[float], None] | None = None,
) -> Guides:
    """Find guide lines for plots whose straight rows break the limit since the land bends.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``longitude_deg``, ``latitude_deg``, ``geometry``, ``planted`` (the land that
        lines keep to), ``standing`` (lines of structures in it) and ``wet`` (land on which no line
        starts that is found on the ground), both None where there are none, the last four in the
        CRS of the raster; and of the terrain ``row_method``, ``row_bearing_true_deg``,
        ``declination_deg``, ``row_grade_limit_pct``, ``slope_used_pct`` and ``row_arc_radius_m``;
        and of the rows ``flow_strip_m2``, unknown where water runs through the plot but nobody
        knows where: no line with a course is drawn there, lest it cross; and
        ``row_grade_design_pct`` and ``row_fall_to``, the fall that lines are to have, none where
        empty.
    elevation : Elevation
        The raster.
    plan : Plan
        The raster's error, the row spacing and the section ``rows``.
    handbook : Handbook
        How lines are drawn and set out (table ``guide_line_limits``).
    every : int, default 1
        One row in so many is kept as a shape; all are counted.
    progress : Callable[[float], None] | None, default None
        Called with the share of plots done.

    Returns
    -------
    Guides
        The lines; plots of other methods have none.
    """
    bent = plots[plots["row_method"] == METHOD]
    turn = geodesy.convergence_deg(
        elevation.grid.crs, bent["longitude_deg"].to_numpy(), bent["latitude_deg"].to_numpy()
    )
    # From east anticlockwise on the raster's grid, as the lines are reckoned.
    angle = np.radians(90 - (bent["row_bearing_true_deg"].to_numpy() - turn))
    laying = curved.Rule(
        tuple(families(plan)),
        plan.rows.row_length_min_m,
        every,
        plan.rows.sag_max_cm / 100,
        plan.rows.gap_width_m,
    )
    rule = _Rules(elevation, plan, handbook, laying)
    found: list[dict[str, Any]] = []
    ways: list[float] = []
    drawn: list[dict[str, Any]] = []
    pegged: list[dict[str, Any]] = []
    followed: list[pd.DataFrame] = []
    counted: list[dict[str, Any]] = []
    parted: list[dict[str, Any]] = []
    columns = (
        "plot_id", "geometry", "planted", "standing", "wet", "row_grade_limit_pct",
        "slope_used_pct",
    )  # fmt: skip
    norths = zip(turn.tolist(), bent["declination_deg"].tolist(), strict=True)
    rows = zip(
        *(bent[name].tolist() for name in columns),
        bent["flow_strip_m2"].isna().tolist(),
        bent["row_arc_radius_m"].notna().tolist(),
        angle.tolist(),
        _falls(bent, angle),
        norths,
        strict=True,
    )
    for number, (plot_id, outline, land, standing, wet, limit, slope, *rest) in enumerate(rows):
        asked = _Asked(outline, land, standing, wet, limit / 100, slope / 100, *rest)
        frame, guide, passed_over = rule.guide(asked)
        if guide.followed is None:
            left = _left(asked) if guide.ground.falls else asked.limit
            guide = rule.follow(guide, frame.local(asked.planted), left)
        beside = guide.followed
        found.append({"plot_id": plot_id, **_of_plot(guide), **_of_structures(passed_over)})
        ways.append(_way(guide, plan.rows.peg_step_m / 2))
        local = frame.local(outline)
        ties = _ties(guide, local, asked.norths)
        for place, (line, way) in enumerate(zip(guide.lines, ties, strict=True), 1):
            where = {"plot_id": plot_id, "line": place}
            drawn.append(
                {
                    **where,
                    "guide_kind": guide.kind,
                    **_of_line(line, guide, way, frame),
                    **_downhill(line, guide, asked.norths),
                }
            )
            pegged += [{**where, **peg} for peg in _of_pegs(line, frame)]
        parted += _of_boundaries(plot_id, guide, frame)
        if beside is not None:
            followed.append(_of_rows(beside, plot_id, laying, frame))
            counted += _of_counts(beside, plot_id, laying)
        if progress is not None:
            progress((number + 1) / len(bent))
    true = geodesy.line_deg(turn - np.degrees(np.array(ways)) + 90)
    magnetic = geodesy.line_deg(true - bent["declination_deg"].to_numpy(dtype=np.float64))
    for row, *bearings in zip(found, true.tolist(), magnetic.tolist(), strict=True):
        row |= dict(zip(BEARINGS, bearings, strict=True))
    _place(drawn, elevation.grid.crs)
    laid = [pd.DataFrame(columns=list(OF_ROWS)), *followed]
    return Guides(
        _plot_table(plots, found),
        _drawn(drawn, ("plot_id", "guide_kind", *tables.made_by("guide lines"))),
        _drawn(pegged, ("plot_id", "line", "peg", "peg_along_m", *OF_GUIDES)),
        pd.concat(laid, ignore_index=True).astype({"row": "int64", "length_m": "float64"}),
        pd.DataFrame(counted, columns=list(OF_COUNTS)),
        _drawn(parted, ("plot_id", *tables.made_by("part boundaries"))),
        elevation.grid.crs,
    )


def _falls(plots: pd.DataFrame, angle: Floats) -> list[tuple[float, float]]:
    """Give the fall that lines are to have to the east and to the north [1]."""
    design = plots["row_grade_design_pct"].fillna(0).to_numpy() / 100
    ends = plots["row_fall_to"].to_numpy(dtype=object)
    side = np.array([SIDES.index(end) if end in SIDES else np.nan for end in ends])
    away = np.radians(side * 360 / len(SIDES) - plots["row_bearing_true_deg"].to_numpy())
    # Where either end will do, all lines fall to the end that the bearing points to.
    toward = np.where(np.cos(away) < 0, -design, design)
    return list(
        zip((toward * np.cos(angle)).tolist(), (toward * np.sin(angle)).tolist(), strict=True)
    )


class _Asked(NamedTuple):
    """A plot to be guided; the bearing is from east, anticlockwise [radians], grades [1]."""

    outline: Outline
    planted: Outline
    standing: shapely.MultiLineString | None
    wet: Outline | None
    limit: float
    slope: float
    crossed: bool
    bends: bool
    bearing: float
    fall: tuple[float, float]
    norths: tuple[float, float]


class _Rules:
    """Guides plots one by one under one plan."""

    def __init__(
        self, elevation: Elevation, plan: Plan, handbook: Handbook, laying: curved.Rule
    ) -> None:
        self._of = handbook.numbers(TABLE)
        self._laying = laying
        self._around = Around(elevation, plan, handbook)
        self._within = plan.rows.within_share_min
        self._setting = Setting(
            spaces(plan, handbook),
            plan.rows.sag_max_cm / 100,
            plan.rows.peg_step_m,
            self._of["string_grade_pct"] / 100,
            self._of["line_length_min_m"],
            self._of["rows_between_on_ground"],
            handbook.number("setting_out", "turn_max_deg"),
        )
        self._standing_share = handbook.number("setting_out", "row_share_min")

    def guide(self, plot: _Asked) -> tuple[Frame, Guide, float | None]:
        """Guide one plot, and tell the grade along structures that are passed over."""
        frame, surface = self._around.surface(plot.outline)
        # Where nothing is planted lines are drawn all the same: someone may plant it yet.
        local = frame.local(plot.outline if plot.planted.is_empty else plot.planted)
        wet = None if plot.wet is None else frame.local(plot.wet)
        if surface is None:
            return frame, _levelled(local, wet, plot, self._setting), None
        bearing: float | None = plot.bearing
        limits = self._limits(plot.limit, wet)
        beside = ladder.Beside(None, None)
        if plot.standing is not None:
            courses = [frame.to(np.asarray(line.coords)[:, :2]) for line in plot.standing.geoms]
            beside = ladder.beside(local, surface, tuple(courses), bearing, limits)
        if beside.guide is not None and not plot.crossed:
            return frame, beside.guide, beside.passed_over
        if plot.fall != LEVEL:
            # What is left of the limit, and the bearing that falls as the lines do.
            limits, bearing = self._limits(_left(plot), wet), None
        if plot.crossed:
            guide = ladder.on_the_ground(local, surface, bearing, limits, plot.fall)
        else:
            planted, left = frame.local(plot.planted), limits.grade
            limits = replace(limits, walk=lambda guide: self.follow(guide, planted, left))
            guide = ladder.guide(local, surface, bearing, limits, bends=plot.bends, fall=plot.fall)
        return frame, guide, beside.passed_over

    def follow(self, guide: Guide, planted: Outline, limit: float) -> Guide:
        """Draw the rows of a plot; beside level lines their grades are those of what is drawn."""
        found = curved.follow(guide, planted, self._laying)
        followed = replace(guide, followed=found)
        # Beyond the ends of gaps they are parallels.
        if found is None or not len(found.row) or not isinstance(guide.rows, LevelLines):
            return followed
        return replace(
            followed, guided=curved.walked(found, guide, limit, self._of["level_error_pct"] / 100)
        )

    def _limits(self, grade: float, wet: Outline | None) -> Limits:
        of = self._of
        return Limits(
            grade,
            self._within,
            int(of["sectors_max"]),
            of["sector_share_min"],
            of["slack_times"],
            self._of["level_error_pct"] / 100,
            of["rows_between_min"],
            self._standing_share,
            self._setting,
            wet=wet,
        )


def _left(plot: _Asked) -> float:
    """Say what the design's fall leaves of the limit: half of it at least."""
    return max(plot.limit - float(np.hypot(*plot.fall)), plot.limit / 2)


def _levelled(outline: Outline, wet: Outline | None, plot: _Asked, setting: Setting) -> Guide:
    """Guide a plot whose surroundings the raster doesn't know: a plane of the plot's slope."""
    rows = replace(ladder.straight_rows(outline), angle=plot.bearing)
    rise = plot.slope * np.array([-rows.along[1], rows.along[0]])
    xy = ladder.points(outline)
    ground = Ground(outline, lambda at: at @ rise, xy, rise, plot.slope, plot.fall, wet)
    starts = lines.on_the_ground(ground, np.full(len(xy), plot.slope), rows, setting)
    return Guide("level on the ground", starts, None, None, None, ground)


def _of_plot(guide: Guide) -> dict[str, Any]:
    # Grades are those that rows have beside the fall of the design.
    fall = np.hypot(*guide.ground.fall)
    straight, guided = (
        None if of is None else of._replace(rms=float(np.hypot(of.rms, fall)))
        for of in (guide.straight, guide.guided)
    )
    return {
        "guide_kind": guide.kind,
        "guide_lines": len(guide.lines),
        "guide_floor_pct": None if guide.floor is None else 100 * guide.floor,
        "row_grade_straight_rms_pct": None if straight is None else 100 * straight.rms,
        "row_grade_guided_rms_pct": None if guided is None else 100 * guided.rms,
        "row_within_straight_share": None if straight is None else straight.within,
        "row_within_guided_share": None if guided is None else guided.within,
    }


def _way(guide: Guide, stretch_m: float) -> float:
    """Give the direction of the line nearest to the plot's middle there, from east [radians].

    It is that of a stretch to either side: a traced line's corners turn where the line as set
    doesn't.
    """
    courses = [shapely.LineString(line.xy) for line in guide.lines if line.xy is not None]
    if not courses:
        return np.nan
    middle = shapely.Point(guide.ground.xy.mean(axis=0))
    course = courses[int(np.argmin(shapely.distance(courses, middle)))]
    at = np.clip(course.project(middle) + np.array([-1, 1]) * stretch_m, 0, course.length)
    east, north = np.diff(
        shapely.get_coordinates(shapely.line_interpolate_point(course, at)), axis=0
    )[0]
    return float(np.arctan2(north, east))


def _of_structures(passed_over: float | None) -> dict[str, Any]:
    if passed_over is None:
        return {"guide_flags": ()}
    return {"guide_flags": GUIDE_FLAGS, "row_grade_structure_rms_pct": 100 * passed_over}


def _ties(guide: Guide, outline: Outline, norths: tuple[float, float]) -> list[Tie]:
    """Tie starts of lines to corners: all at once, unless each may lie nearest another part."""
    starts = [line.start[None] for line in guide.lines]
    east, north = guide.ground.rise.tolist()
    if shapely.get_num_geometries(outline) == 1 and starts:
        starts = [np.concatenate(starts)]
    return [way for places in starts for way in tie(outline, places, (east, north), north=norths)]


def _of_line(line: Line, guide: Guide, way: Tie, frame: Frame) -> dict[str, Any]:
    step = None if line.xy is None else float(np.hypot(*(line.pegs[1] - line.pegs[0])))
    course = None if line.xy is None else shapely.LineString(frame.back(line.xy))
    offset = None if line.radius_m is None or step is None else step**2 / line.radius_m
    centre = {None: None, True: "uphill", False: "downhill"}[line.centre_uphill]
    return {
        "line_length_m": None if line.xy is None else float(line.along_m[-1]),
        "line_fall_pct": 100 * float(np.hypot(*guide.ground.fall)),
        "line_radius_m": line.radius_m,
        "line_centre_side": centre,
        "peg_step_m": step,
        "peg_offset_m": offset,
        "rows_downhill": line.rows_downhill,
        "rows_uphill": line.rows_uphill,
        "start": frame.back(line.start[None])[0],
        "start_corner": way.corner,
        "corner": frame.back(np.array([way.corner_xy]))[0],
        "start_from_corner_m": way.along_m,
        "start_way": way.way,
        "start_inside_m": way.inside_m,
        "start_inside_true_deg": way.inside_true_deg,
        "start_inside_magnetic_deg": way.inside_magnetic_deg,
        "geometry": course,
    }


def _downhill(line: Line, guide: Guide, norths: tuple[float, float]) -> dict[str, Any]:
    """Tell which side of a line is downhill, by the land on both sides along all of it."""
    if line.xy is None:
        return {"line_downhill_true_deg": None}
    leg = np.diff(line.xy, axis=0)
    long = np.hypot(*leg.T)
    middles, left = line.xy[:-1] + leg / 2, quarter(leg / np.maximum(long, NO_LEG_M)[:, None])
    height = guide.ground.height
    rise = long @ (height(middles + left) - height(middles - left))
    half_way = int(np.searchsorted(np.cumsum(long), long.sum() / 2))
    east, north = (-left if rise > 0 else left)[half_way]
    return {"line_downhill_true_deg": (np.degrees(np.arctan2(east, north)) + norths[0]) % 360}


def _of_rows(found: curved.Rows, plot_id: str, rule: curved.Rule, frame: Frame) -> pd.DataFrame:
    kept = (found.row - 1) % rule.every == 0
    crops = np.array([family.crop for family in rule.families], dtype=object)
    course = shapely.transform(found.course[kept], frame.back)
    values = (plot_id, crops[found.family[kept]], found.row[kept], found.length_m[kept], course)
    return pd.DataFrame(dict(zip(OF_ROWS, values, strict=True)))


def _of_counts(found: curved.Rows, plot_id: str, rule: curved.Rule) -> Iterator[dict[str, Any]]:
    for crop in sorted({family.crop for family in rule.families}):
        counts = curved.count(found, rule, crop)
        yield dict(zip(OF_COUNTS, (plot_id, crop, *counts, found.breaks), strict=True))


def _place(drawn: list[dict[str, Any]], crs: CRS) -> None:
    """Put longitude and latitude in the stead of starts and their corners, all at once."""
    for name, stem in (("start", "start"), ("corner", "start_corner")):
        places = np.array([row.pop(name) for row in drawn]).reshape(-1, 2)
        longitude, latitude = geodesy.lonlat(crs, places[:, 0], places[:, 1])
        for row, east, north in zip(drawn, longitude.tolist(), latitude.tolist(), strict=True):
            row |= {f"{stem}_longitude_deg": east, f"{stem}_latitude_deg": north}


def _of_pegs(line: Line, frame: Frame) -> Iterator[dict[str, Any]]:
    places = [shapely.Point(at) for at in frame.back(line.pegs).tolist()]
    for number, (place, along) in enumerate(zip(places, line.along_m.tolist(), strict=True)):
        change = None if line.change is None else int(line.change[number])
        yield {
            "peg": number + 1,
            "peg_along_m": along,
            "gap_m": None if line.gap_m is None else float(line.gap_m[number]),
            "rows_in_gap": None if line.rows is None else int(line.rows[number]),
            "short_rows_start": None if change is None else max(change, 0),
            "short_rows_end": None if change is None else max(-change, 0),
            "geometry": place,
        }


def _of_boundaries(plot_id: str, guide: Guide, frame: Frame) -> Iterator[dict[str, Any]]:
    if guide.rows is None or isinstance(guide.rows, LevelLines):
        return
    for number, course in enumerate(lines.between(guide.ground.outline, guide.rows), 1):
        yield {
            "plot_id": plot_id,
            "part_boundary": number,
            "part_boundary_m": float(np.hypot(*(course[1] - course[0]))),
            "geometry": shapely.LineString(frame.back(course)),
        }


def _typed(rows: list[dict[str, Any]], names: tuple[str, ...]) -> pd.DataFrame:
    kinds = {"integer": "Int64", "number": "float64"}
    return pd.DataFrame(
        {
            name: pd.Series(
                [row.get(name) for row in rows],
                dtype=kinds.get(tables.BY_NAME[name].kind, "object"),
            )
            for name in names
        }
    )


def _checked(rows: list[dict[str, Any]], names: tuple[str, ...]) -> pd.DataFrame:
    return tables.check(_typed(rows, names), names)


def _drawn(rows: list[dict[str, Any]], names: tuple[str, ...]) -> pd.DataFrame:
    """Make a table with courses, which a line that the team finds has none of."""
    courses = pd.Series([row["geometry"] for row in rows], dtype="object")
    return _checked(rows, names).assign(geometry=courses)


def _plot_table(plots: pd.DataFrame, found: list[dict[str, Any]]) -> pd.DataFrame:
    names = ("plot_id", *tables.made_by("guides"))
    by_id = {row["plot_id"]: row for row in found}
    none = _of_structures(None)
    rows = [by_id.get(plot_id, {"plot_id": plot_id, **none}) for plot_id in plots["plot_id"]]
    return _checked(rows, names)
