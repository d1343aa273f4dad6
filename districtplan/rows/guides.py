"""Guide lines of all plots that need them: heights in, lines and pegs out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
import shapely

from districtplan import geodesy, tables
from districtplan.grid import Window
from districtplan.rows import ladder, lines, surface
from districtplan.rows.corner import tie
from districtplan.rows.ladder import Guide, Limits
from districtplan.rows.lines import Ground, Setting
from districtplan.rows.pegs import Spaces
from districtplan.rows.surface import Error, Heights

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.grid import Elevation, Grid
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.rows.lines import Line, Outline

    Floats = NDArray[np.float64]

TABLE = "guide_line_limits"
METHOD = "guide lines"
OF_GUIDES = ("gap_m", "rows_in_gap", "short_rows_start", "short_rows_end")
"""What only pegs of guide lines have."""
BAND_ROWS = 256
"""Rows of a raster in degrees that share one cell size here."""
SIDE_MAX = 160
"""Most heights along a side of a window: of more, blocks are averaged."""
LEAST_SIDE = 3
"""Heights along a side from which a gradient can be told anywhere."""
READ_MAX = 1 << 26
"""Most cells of the raster read for one plot; larger plots are levelled on the ground."""


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
    crs : pyproj.CRS
        CRS of the geometries, that of the raster.
    """

    plots: pd.DataFrame
    lines: pd.DataFrame
    pegs: pd.DataFrame
    crs: CRS


class _Frame(NamedTuple):
    """Local metres around a plot: from the raster's cells and back."""

    grid: Grid
    row: int
    column: int
    width: float
    height: float

    def local(self, outline: Outline) -> Outline:
        moved: Outline = shapely.transform(outline, self._to)
        return moved

    def _to(self, at: Floats) -> Floats:
        u = (at[:, 0] - self.grid.west) / self.grid.cell_x - self.column
        v = (self.grid.north - at[:, 1]) / self.grid.cell_y - self.row
        return np.column_stack([u * self.width, -v * self.height])

    def back(self, xy: Floats) -> Floats:
        column = self.column + xy[:, 0] / self.width
        row = self.row - xy[:, 1] / self.height
        return np.column_stack(
            [self.grid.west + column * self.grid.cell_x, self.grid.north - row * self.grid.cell_y]
        )


def guide_lines(
    plots: pd.DataFrame,
    ground: pd.DataFrame,
    elevation: Elevation,
    plan: Plan,
    handbook: Handbook,
    progress: Callable[[float], None] | None = None,
) -> Guides:
    """Find guide lines for plots whose straight rows break the limit since the land bends.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``plot_id``, ``longitude_deg``, ``latitude_deg`` and ``geometry``, the last in the CRS of
        the raster.
    ground : pandas.DataFrame
        ``plot_id``, ``row_method``, ``row_bearing_true_deg``, ``row_grade_limit_pct``,
        ``slope_used_pct`` and ``row_arc_radius_m``.
    elevation : Elevation
        The raster.
    plan : Plan
        The raster's error, the row spacing and the section ``rows``.
    handbook : Handbook
        How lines are drawn and set out (table ``guide_line_limits``).
    progress : Callable[[float], None] | None, default None
        Called with the share of plots done.

    Returns
    -------
    Guides
        The lines; plots of other methods have none.
    """
    known = plots[["plot_id", "longitude_deg", "latitude_deg", "geometry"]].merge(
        ground[
            [
                "plot_id",
                "row_method",
                "row_bearing_true_deg",
                "row_grade_limit_pct",
                "slope_used_pct",
                "row_arc_radius_m",
            ]
        ],
        on="plot_id",
        validate="one_to_one",
    )
    bent = known[known["row_method"] == METHOD]
    turn = geodesy.convergence_deg(
        elevation.grid.crs, bent["longitude_deg"].to_numpy(), bent["latitude_deg"].to_numpy()
    )
    # From east anticlockwise on the raster's grid, as the lines are reckoned.
    angle = np.radians(90 - (bent["row_bearing_true_deg"].to_numpy() - turn))
    rule = _Rules(elevation, plan, handbook)
    found: list[dict[str, Any]] = []
    drawn: list[dict[str, Any]] = []
    pegged: list[dict[str, Any]] = []
    columns = ("plot_id", "geometry", "row_grade_limit_pct", "slope_used_pct", "row_arc_radius_m")
    rows = zip(*(bent[name].tolist() for name in columns), angle.tolist(), strict=True)
    for number, (plot_id, outline, limit, slope, radius, bearing) in enumerate(rows):
        frame, guide = rule.guide(
            outline, bearing, limit / 100, slope / 100, bends=not np.isnan(radius)
        )
        found.append({"plot_id": plot_id, **_of_plot(guide)})
        local = frame.local(outline)
        for place, line in enumerate(guide.lines, 1):
            where = {"plot_id": plot_id, "line": place}
            drawn.append({**where, "guide_kind": guide.kind, **_of_line(line, guide, local, frame)})
            pegged += [{**where, **peg} for peg in _of_pegs(line, frame)]
        if progress is not None:
            progress((number + 1) / len(bent))
    _place(drawn, elevation.grid.crs)
    return Guides(
        _plot_table(known, found),
        _drawn(drawn, ("plot_id", "guide_kind", *tables.made_by("guide lines"))),
        _drawn(pegged, ("plot_id", "line", "peg", "peg_along_m", *OF_GUIDES)),
        elevation.grid.crs,
    )


class _Rules:
    """Guides plots one by one under one plan."""

    def __init__(self, elevation: Elevation, plan: Plan, handbook: Handbook) -> None:
        self._of = handbook.numbers(TABLE)
        self._elevation = elevation
        self._cell_m = geodesy.cell_size_m(elevation.grid)
        self._error = Error(plan.elevation.vertical_error_m, plan.elevation.error_correlation_m)
        self._within = plan.rows.within_share_min
        spacing = plan.practice.row_spacing_cm / 100
        # Where the plan asks for another spacing, its limits move with it.
        usual = handbook.number("bean_practice", "row_spacing_cm") / 100
        self._setting = Setting(
            Spaces(
                spacing,
                self._of["row_gap_least_cm"] / 100 * spacing / usual,
                self._of["row_gap_most_cm"] / 100 * spacing / usual,
            ),
            plan.rows.sag_max_cm / 100,
            plan.rows.peg_step_m,
            self._of["string_grade_pct"] / 100,
            self._of["line_length_min_m"],
            self._of["rows_between_on_ground"],
            handbook.number("setting_out", "turn_max_deg"),
        )

    def guide(
        self, outline: Outline, bearing: float, limit: float, slope: float, *, bends: bool
    ) -> tuple[_Frame, Guide]:
        """Guide one plot; the bearing is from east, anticlockwise [radians], grades [1]."""
        frame, window = self._window(outline)
        local = frame.local(outline)
        heights = self._heights(frame, window)
        if heights is None:
            return frame, _levelled(local, bearing, slope, self._setting)
        return frame, ladder.guide(
            local, surface.fit(*heights), bearing, self._limits(limit), bends=bends
        )

    def _limits(self, grade: float) -> Limits:
        of = self._of
        return Limits(
            grade,
            self._within,
            int(of["sectors_max"]),
            of["sector_share_min"],
            of["slack_times"],
            of["level_error_pct"] / 100,
            of["rows_between_min"],
            self._setting,
        )

    def _window(self, outline: Outline) -> tuple[_Frame, Window]:
        grid = self._elevation.grid
        west, south, east, north = outline.bounds
        at = np.array([(west - grid.west), (east - grid.west)]) / grid.cell_x
        down = np.array([(grid.north - north), (grid.north - south)]) / grid.cell_y
        row = int(np.clip(down.mean(), 0, grid.rows - 1))
        if np.ptp(self._cell_m[0]) > 0 or np.ptp(self._cell_m[1]) > 0:
            row = min(row // BAND_ROWS * BAND_ROWS + BAND_ROWS // 2, grid.rows - 1)
        width, height = (float(side[row]) for side in self._cell_m)
        across, along = (
            max(self._of["window_margin_m"] / size, self._of["window_margin_cells"])
            for size in (width, height)
        )
        left, right = _clip(at, across, grid.columns)
        top, bottom = _clip(down, along, grid.rows)
        window = Window(top, left, bottom - top, right - left)
        return _Frame(grid, top, left, width, height), window

    def _heights(self, frame: _Frame, window: Window) -> tuple[Heights, Error] | None:
        if not 0 < window.rows * window.columns <= READ_MAX:
            return None
        z = self._elevation.read(window).astype(np.float64)
        if min(z.shape) < LEAST_SIDE or np.mean(~np.isnan(z)) < self._of["known_share_min"]:
            return None
        step = -(-max(z.shape) // SIDE_MAX)
        rows, columns = (side // step for side in z.shape)
        z = z[: rows * step, : columns * step].reshape(rows, step, columns, step)
        # A block with an unknown height is unknown: its mean would be of another place.
        z = z.mean(axis=(1, 3))
        width, height = frame.width * step, frame.height * step
        heights = Heights(z[::-1], width / 2, -(rows - 0.5) * height, width, height)
        return heights, _averaged(self._error, step, frame)


def _clip(span: Floats, margin: float, count: int) -> tuple[int, int]:
    reach = np.array([np.floor(span[0] - margin), np.ceil(span[1] + margin)])
    low, high = np.clip(reach, 0, count).astype(np.int64).tolist()
    return low, high


def _averaged(error: Error, step: int, frame: _Frame) -> Error:
    """Give the error of means over square blocks."""
    if step == 1 or error.length_m == 0:
        return Error(error.sigma_m / step, error.length_m)
    apart = np.subtract.outer(np.arange(step), np.arange(step))
    shares = [
        float(np.mean(np.exp(-((apart * side) ** 2) / (2 * error.length_m**2))))
        for side in (frame.width, frame.height)
    ]
    return Error(error.sigma_m * float(np.sqrt(shares[0] * shares[1])), error.length_m)


def _levelled(outline: Outline, bearing: float, slope: float, setting: Setting) -> Guide:
    """Guide a plot whose surroundings the raster doesn't know: a plane of the plot's slope."""
    rows = replace(ladder.straight_rows(outline), angle=bearing)
    rise = slope * np.array([-rows.along[1], rows.along[0]])
    xy = ladder.points(outline)
    ground = Ground(outline, lambda at: at @ rise, xy, rise, slope)
    starts = lines.on_the_ground(ground, rows, setting)
    return Guide("level on the ground", starts, None, None, None, ground.height, rise)


def _of_plot(guide: Guide) -> dict[str, Any]:
    straight, guided = guide.straight, guide.guided
    return {
        "guide_kind": guide.kind,
        "guide_lines": len(guide.lines),
        "guide_floor_pct": None if guide.floor is None else 100 * guide.floor,
        "row_grade_straight_rms_pct": None if straight is None else 100 * straight.rms,
        "row_grade_guided_rms_pct": None if guided is None else 100 * guided.rms,
        "row_within_straight_share": None if straight is None else straight.within,
        "row_within_guided_share": None if guided is None else guided.within,
    }


def _of_line(line: Line, guide: Guide, outline: Outline, frame: _Frame) -> dict[str, Any]:
    step = None if line.xy is None else float(np.hypot(*(line.pegs[1] - line.pegs[0])))
    course = None if line.xy is None else shapely.LineString(frame.back(line.xy))
    offset = None if line.radius_m is None or step is None else step**2 / line.radius_m
    centre = {None: None, True: "uphill", False: "downhill"}[line.centre_uphill]
    east, north = guide.rise.tolist()
    (way,) = tie(outline, line.start[None], (east, north))
    return {
        "line_length_m": None if line.xy is None else float(line.along_m[-1]),
        "line_radius_m": line.radius_m,
        "line_centre_side": centre,
        "peg_step_m": step,
        "peg_offset_m": offset,
        "rows_downhill": line.rows_downhill,
        "rows_uphill": line.rows_uphill,
        "start": frame.back(line.start[None])[0],
        "start_corner": way.corner,
        "start_from_corner_m": way.along_m,
        "start_way": way.way,
        "start_inside_m": way.inside_m,
        "geometry": course,
    }


def _place(drawn: list[dict[str, Any]], crs: CRS) -> None:
    """Put longitude and latitude in the stead of starts, all at once."""
    starts = np.array([row.pop("start") for row in drawn]).reshape(-1, 2)
    longitude, latitude = geodesy.lonlat(crs, starts[:, 0], starts[:, 1])
    for row, east, north in zip(drawn, longitude.tolist(), latitude.tolist(), strict=True):
        row |= {"start_longitude_deg": east, "start_latitude_deg": north}


def _of_pegs(line: Line, frame: _Frame) -> Iterator[dict[str, Any]]:
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


def _plot_table(known: pd.DataFrame, found: list[dict[str, Any]]) -> pd.DataFrame:
    names = ("plot_id", *tables.made_by("guides"))
    by_id = {row["plot_id"]: row for row in found}
    rows = [by_id.get(plot_id, {"plot_id": plot_id}) for plot_id in known["plot_id"].tolist()]
    return _checked(rows, names)
