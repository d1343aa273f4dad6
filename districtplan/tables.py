"""Every column of the program, declared once.

The declaration feeds the check after each stage, the data dictionary beside the results, labels
on pages and the README's table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

Kind = Literal["text", "integer", "number", "texts", "date", "geometry"]
Maker = Literal[
    "intake",
    "terrain",
    "estimate",
    "readings",
    "comparison",
    "water",
    "drainage",
    "low places",
    "rows",
    "guides",
    "guide lines",
    "part boundaries",
    "pegs",
    "erosion",
    "options",
    "refused",
    "nurseries",
    "choice",
    "curve",
    "left out",
    "walk over",
    "vetoes",
    "work sites",
    "ground",
    "below",
    "soil",
    "structure lines",
    "refused lines",
    "waterways",
    "outlets",
    "catchments",
    "work order",
    "days",
    "cautions",
    "inputs",
    "totals",
    "area error",
    "taking part",
    "kits",
    "seasons",
    "orders",
    "poles",
    "lots",
    "distribution",
    "calendar",
    "labour",
    "money",
    "margins",
    "lists",
    "demos",
    "demo plots",
    "demo villages",
    "demo curve",
    "demo reasons",
    "demo comparison",
    "demo conflicts",
    "demo layout",
    "visits",
    "visit days",
    "visit load",
    "visit costs",
    "visit reasons",
    "visit stages",
    "visit relief",
    "visit rain",
    "visit changes",
    "visit speeds",
    "visit quality",
    "features",
    "drawing",
    "set aside",
    "outputs",
]

DICTIONARY_VERSION = 1
POOR = "poor"
"""How soil drains on which rows need a fall."""


@dataclass(frozen=True)
class Column:
    """One column: who makes it, what it means, what is believable.

    Attributes
    ----------
    name : str
        Name, ending in the unit where it has one.
    kind : Kind
        Text, integer, number, texts (a tuple of codes), date or geometry.
    maker : Maker
        The stage that makes it.
    unit : str
        Unit, empty where it has none.
    meaning : str
        What it is, in a sentence.
    low : float | None
        Smallest believable value.
    high : float | None
        Largest believable value.
    nullable : bool
        Whether a value may be unknown.
    """

    name: str
    kind: Kind
    maker: Maker
    unit: str
    meaning: str
    low: float | None = None
    high: float | None = None
    nullable: bool = False


def _text(name: str, maker: Maker, meaning: str, *, nullable: bool = False) -> Column:
    return Column(name, "text", maker, "", meaning, nullable=nullable)


def _codes(name: str, maker: Maker, meaning: str) -> Column:
    return Column(name, "texts", maker, "", meaning)


def _integer(name: str, maker: Maker, unit: str, meaning: str, *, nullable: bool = True) -> Column:
    return Column(name, "integer", maker, unit, meaning, 0, None, nullable)


def drains_poorly(plots: pd.DataFrame, otherwise: str) -> NDArray[np.bool_]:
    """Say of which plots the soil drains poorly.

    Parameters
    ----------
    plots : pandas.DataFrame
        ``soil_drainage``: free, poor, or None where not known; the column may be absent.
    otherwise : str
        What stands where it isn't known.

    Returns
    -------
    numpy.ndarray
        Whether it does, shape (plots,).
    """
    if "soil_drainage" not in plots:
        return np.full(len(plots), otherwise == POOR)
    known = plots["soil_drainage"]
    return known.where(known.notna(), otherwise).eq(POOR).to_numpy(dtype=np.bool_)


def crossed(flow_line_m: NDArray[np.float64], least_m: float) -> NDArray[np.bool_]:
    """Say which plots gathered water crosses.

    Parameters
    ----------
    flow_line_m : numpy.ndarray
        Length of flow lines inside each plot, NaN where not known, shape (plots,) [m].
    least_m : float
        Length from which they cross; with 0 any does [m].

    Returns
    -------
    numpy.ndarray
        Whether it does, shape (plots,).
    """
    return np.asarray((flow_line_m > 0) & (flow_line_m >= least_m))


def is_circle(outline_repair: pd.Series) -> pd.Series:
    """Say which plots have a circle in place of their outline.

    Parameters
    ----------
    outline_repair : pandas.Series
        The column.

    Returns
    -------
    pandas.Series
        True where nobody knows the plot's shape.
    """
    return outline_repair.fillna("").str.contains(CIRCLE, regex=False)


def _bearing(name: str, meaning: str, maker: Maker = "terrain") -> Column:
    return Column(name, "number", maker, "°", meaning, 0, 180, nullable=True)


def _slope(name: str, meaning: str, maker: Maker = "terrain", *, nullable: bool = False) -> Column:
    return Column(name, "number", maker, "%", meaning, 0, 1_000, nullable)


def _kilograms(name: str, meaning: str) -> Column:
    return Column(name, "number", "outputs", "kg", meaning, 0, None, nullable=True)


def _metres(name: str, meaning: str, maker: Maker, unit: str = "m") -> Column:
    return Column(name, "number", maker, unit, meaning, 0, None, nullable=True)


def _loss(name: str, meaning: str) -> Column:
    return Column(name, "number", "erosion", "t/(ha yr)", meaning, 0, 1_000_000, nullable=True)


CIRCLE = "a circle of the stated area, not the plot's shape"
WALKED = "drawn from walked points"
"""What ``outline_repair`` says of a plot that was given as a point with its area."""

COLUMNS: tuple[Column, ...] = (
    _text("plot_id", "intake", "Id of the plot, as given."),
    _text(
        "village", "intake", "Village of the plot, as given or as the plan's village_names says."
    ),
    _text(
        "village_as_given",
        "intake",
        "Village as the plots file has it, where the plan's village_names replaced it.",
        nullable=True,
    ),
    _text("farmer_name", "intake", "Name of the farmer; only if the plan asks.", nullable=True),
    Column(
        "soil_depth_given_m",
        "number",
        "intake",
        "m",
        "Depth of soil as given with the plot; only if the plan asks.",
        0,
        10,
        nullable=True,
    ),
    _text(
        "soil_drainage_given",
        "intake",
        "Drainage of the soil as given with the plot; only if the plan asks.",
        nullable=True,
    ),
    _text(
        "soil_not_read",
        "intake",
        "What of these can't be read and is left out; only if the plan asks.",
        nullable=True,
    ),
    _integer(
        "source_row",
        "intake",
        "",
        "Row of the file that it is from, the first after its head 1.",
        nullable=False,
    ),
    Column("area_ha", "number", "intake", "ha", "Area of the plot on the ellipsoid.", 0, None),
    Column(
        "longitude_deg", "number", "intake", "°", "Longitude inside the plot, WGS 84.", -180, 180
    ),
    Column("latitude_deg", "number", "intake", "°", "Latitude inside the plot, WGS 84.", -90, 90),
    _text(
        "outline_repair",
        "intake",
        "How the outline was mended or made, in phrases; empty where it is as given.",
        nullable=True,
    ),
    Column(
        "area_se_ha",
        "number",
        "area error",
        "ha",
        "Standard error of the area, if the outline's points err as the plan says.",
        0,
        None,
    ),
    Column(
        "area_as_given_ha",
        "number",
        "intake",
        "ha",
        "Area of the outline before it was mended; empty where it is as given.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "overlap_ha",
        "number",
        "intake",
        "ha",
        "Land of the plot that other plots cover too, summed over them.",
        0,
        None,
    ),
    _text("overlap_plots", "intake", "Ids of plots that share land with it.", nullable=True),
    Column("geometry", "geometry", "intake", "", "Outline of the plot, in the CRS of its file."),
    Column(
        "cells",
        "number",
        "terrain",
        "",
        "Raster cells in the plot, each counted by the share covered.",
        0,
        None,
    ),
    Column(
        "raster_share",
        "number",
        "terrain",
        "",
        "Share of the plot's area with slopes from the raster.",
        0,
        1.000001,
    ),
    Column(
        "heights_level_share",
        "number",
        "terrain",
        "",
        "Share of the plot where the raster has exactly one height, as water or a filled gap has: "
        "no slope is taken there.",
        0,
        1.000001,
    ),
    Column(
        "heights_filled_share",
        "number",
        "terrain",
        "",
        "Share of the plot whose slopes rest on heights filled in across a gap of the raster.",
        0,
        1.000001,
    ),
    Column(
        "elevation_mean_m",
        "number",
        "terrain",
        "m",
        "Mean elevation, weighted by coverage.",
        -500,
        9_000,
    ),
    _slope("slope_mean_pct", "Mean slope of the raster as it is, weighted by coverage (Horn)."),
    _slope(
        "slope_p90_pct", "Smallest slope with at least nine tenths of the coverage at or below it."
    ),
    _slope("slope_max_pct", "Steepest cell at least half covered, or of all touched."),
    _slope(
        "slope_corrected_pct",
        "Mean slope less the upward bias that the stated vertical error gives.",
    ),
    _slope(
        "slope_se_pct",
        "Standard error of the mean slope from the stated vertical error.",
    ),
    Column(
        "downslope_true_deg",
        "number",
        "terrain",
        "°",
        "Where the mean gradient falls, from true north; empty where it all but cancels.",
        0,
        360,
        nullable=True,
    ),
    _bearing(
        "row_bearing_true_deg",
        "Bearing of straight rows from true north; empty where it is to be measured.",
    ),
    _bearing("row_bearing_grid_deg", "The same from grid north of the district's UTM zone."),
    _bearing(
        "row_bearing_magnetic_deg",
        "The same from magnetic north on the planting date; empty where the model has ended.",
    ),
    Column(
        "declination_deg",
        "number",
        "terrain",
        "°",
        "Magnetic declination at the plot on the planting date, east positive.",
        -180,
        180,
        nullable=True,
    ),
    _text("row_bearing_words", "terrain", "The row bearing in words.", nullable=True),
    Column(
        "row_bearing_se_deg",
        "number",
        "terrain",
        "°",
        "Standard error of the row bearing: from the stated vertical error, or that of a reading.",
        0,
        90,
        nullable=True,
    ),
    _slope(
        "row_grade_rms_pct",
        "Root mean square grade along the best straight rows, on the "
        "raster's slopes, which are smoother than the ground.",
        nullable=True,
    ),
    _slope("row_grade_likely_pct", "Grade that rows set by this bearing alone would likely have."),
    _slope(
        "row_grade_95_pct", "Root mean square grade that such rows do not exceed 19 times in 20."
    ),
    _slope("row_grade_limit_pct", "Steepest grade along a row that the plan allows here."),
    Column(
        "row_bend_deg_100m",
        "number",
        "terrain",
        "°/100 m",
        "How far the rows that run most nearly level turn over 100 m, as one arc.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "row_bend_se_deg_100m",
        "number",
        "terrain",
        "°/100 m",
        "Standard error of that turn from the stated vertical error.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "row_arc_radius_m",
        "number",
        "terrain",
        "m",
        "Radius of that arc at the middle of the plot; empty where its bend doesn't stand out of "
        "the error.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "row_arc_centre_longitude_deg",
        "number",
        "terrain",
        "°",
        "Longitude of the arc's centre, WGS 84.",
        -180,
        180,
        nullable=True,
    ),
    Column(
        "row_arc_centre_latitude_deg",
        "number",
        "terrain",
        "°",
        "Latitude of the arc's centre, WGS 84.",
        -90,
        90,
        nullable=True,
    ),
    Column(
        "coherence",
        "number",
        "terrain",
        "",
        "How much better the best bearing is than the worst: 1 plane, 0 none better.",
        0,
        1,
    ),
    Column(
        "slope_length_m",
        "number",
        "terrain",
        "m",
        "Length of the plot down its fall; the slope above isn't part of it.",
        0,
        None,
        nullable=True,
    ),
    _slope(
        "hillside_slope_pct",
        "Slope of the hillside around a plot that must be measured on the ground, not the plot's.",
        nullable=True,
    ),
    Column(
        "hillside_downslope_true_deg",
        "number",
        "terrain",
        "°",
        "Where that hillside falls, from true north; empty where it has no one fall, or the "
        "heights can't tell.",
        0,
        360,
        nullable=True,
    ),
    _text(
        "row_method", "terrain", "straight, guide lines, any direction or measure on the ground."
    ),
    _text("row_method_reason", "terrain", "Code of why that method."),
    _codes("terrain_flags", "terrain", "Codes of what to know of the plot's terrain."),
    _bearing(
        "level_line_true_deg",
        "The raster's own estimate of the most level bearing, printed or not: only readings are "
        "compared with it.",
        "estimate",
    ),
    Column("level_line_se_deg", "number", "estimate", "°", "Its standard error.", 0, 90),
    _slope(
        "across_grade_pct",
        "Grade across that line, by which rows turned away from it fall, by the raster.",
        "estimate",
    ),
    _slope(
        "bend_grade_pct",
        "Grade that straight rows have at best where the land bends; 0 where the raster's error "
        "could show as much.",
        "terrain",
    ),
    _slope("slope_measured_pct", "Slope as measured on the ground.", "readings", nullable=True),
    _slope(
        "slope_used_pct",
        "Slope that soil loss and limits go by: as measured, else as corrected.",
        "readings",
    ),
    _text("slope_reading_date", "readings", "Day on which it was measured.", nullable=True),
    _text("slope_reading_method", "readings", "How it was measured, as given.", nullable=True),
    _bearing(
        "row_bearing_measured_true_deg",
        "Bearing of the level line from true north, as measured on the ground.",
        "readings",
    ),
    _text("bearing_reading_date", "readings", "Day on which it was measured.", nullable=True),
    _text("bearing_reading_method", "readings", "How it was measured, as given.", nullable=True),
    _bearing(
        "row_bearing_raster_true_deg",
        "Where a bearing was measured, that of the raster beside it, from true north: to compare, "
        "not to set rows by.",
        "readings",
    ),
    Column(
        "row_bearing_raster_se_deg",
        "number",
        "readings",
        "°",
        "Its standard error, as stated.",
        0,
        90,
        nullable=True,
    ),
    _text("row_method_raster", "readings", "Row method that the raster alone gives."),
    _text("row_method_reason_raster", "readings", "Code of why that method."),
    _text("reading_date", "comparison", "Day of the reading."),
    _text("reading_method", "comparison", "How the reading was made, as given."),
    _text(
        "reading_use",
        "comparison",
        "What the plot takes from it: slope, bearing, slope and bearing, or none, since a later "
        "reading wins.",
    ),
    _slope("slope_read_pct", "Slope as read.", "comparison", nullable=True),
    _slope("slope_raster_pct", "Slope of the raster, as corrected.", "comparison"),
    _slope("slope_raster_se_pct", "Its standard error, as stated.", "comparison"),
    Column(
        "slope_difference_pct",
        "number",
        "comparison",
        "%",
        "Slope of the raster less the slope read.",
        -1_000,
        1_000,
        nullable=True,
    ),
    _text(
        "slope_agrees",
        "comparison",
        "inside or outside what the errors of raster and reading explain 19 times in 20.",
        nullable=True,
    ),
    _bearing("bearing_read_true_deg", "Bearing as read, from true north.", "comparison"),
    _bearing(
        "bearing_raster_true_deg",
        "Most level bearing by the raster, from true north, printed or not; empty where it can't "
        "be compared.",
        "comparison",
    ),
    Column(
        "bearing_raster_se_deg",
        "number",
        "comparison",
        "°",
        "Its standard error, as stated.",
        0,
        90,
        nullable=True,
    ),
    Column(
        "bearing_difference_deg",
        "number",
        "comparison",
        "°",
        "Bearing of the raster less the bearing read, the shorter way round.",
        -90,
        90,
        nullable=True,
    ),
    _text(
        "bearing_agrees",
        "comparison",
        "inside or outside what the errors of raster and reading explain 19 times in 20.",
        nullable=True,
    ),
    _text(
        "bearing_not_compared",
        "comparison",
        "Why a bearing read isn't compared: the raster isn't sure of its own, or shows level land.",
        nullable=True,
    ),
    Column(
        "upslope_area_ha",
        "number",
        "water",
        "ha",
        "Largest area that drains through one cell of the plot, the cell with it.",
        0,
        None,
        nullable=True,
    ),
    _integer(
        "upslope_area_at_least",
        "water",
        "",
        "1 where the area may be larger, since heights end or are missing upslope; else 0.",
        nullable=False,
    ),
    Column(
        "run_on_area_ha",
        "number",
        "water",
        "ha",
        "Largest area outside that drains onto the plot at one place.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "flow_line_length_m",
        "number",
        "water",
        "m",
        "Length of flow lines inside the plot.",
        0,
        None,
    ),
    Column(
        "slope_length_above_m",
        "number",
        "water",
        "m",
        "Slope above the plot down which water runs onto it as a sheet; half of the places where "
        "it enters have at least as much.",
        0,
        None,
        nullable=True,
    ),
    _integer(
        "slope_length_above_at_least",
        "water",
        "",
        "1 where the slope above may be longer: it is cut by the end of the heights or by the cap; "
        "else 0.",
        nullable=False,
    ),
    _text(
        "slope_above_begins",
        "water",
        "Where the slope above begins: divide, feature, end of the heights, cap or as recorded.",
        nullable=True,
    ),
    _text(
        "catchment",
        "water",
        "Catchment that most of the plot is in, by row and column of the cell where it ends; empty "
        "where none are asked for.",
        nullable=True,
    ),
    _codes("water_flags", "water", "Codes of what to know of water on the plot."),
    _text(
        "row_low_end",
        "drainage",
        "End of straight rows that is low; empty where they are level as far as is known.",
        nullable=True,
    ),
    _slope(
        "row_fall_pct",
        "Mean grade along straight rows to their low end; 0 where they are level as far as known.",
        "drainage",
        nullable=True,
    ),
    _text(
        "row_outlet",
        "drainage",
        "What lies at the low end: a kind of feature, with inside where it breaks rows inside the "
        "plot; neighbour or not known.",
        nullable=True,
    ),
    _text(
        "row_end_ahead",
        "drainage",
        "What lies at the end of rows that their bearing points to, likewise; of guided rows only "
        "where the soil drains poorly, as seen straight on.",
        nullable=True,
    ),
    _text("row_end_behind", "drainage", "What lies at their other end, likewise.", nullable=True),
    _slope(
        "row_grade_design_pct",
        "Fall that rows are to have: 0 where the soil drains, empty where they need one and no "
        "safe end is known, and where guided rows need none.",
        "drainage",
        nullable=True,
    ),
    _text(
        "row_fall_to",
        "drainage",
        "End that rows are to fall to where the soil drains poorly.",
        nullable=True,
    ),
    Column(
        "row_turn_deg",
        "number",
        "drainage",
        "°",
        "How far straight rows are turned from the level line, clockwise, to have their fall.",
        -90,
        90,
        nullable=True,
    ),
    _codes("outlet_flags", "drainage", "Codes of why rows must wait for a safe outlet."),
    _integer(
        "rows",
        "rows",
        "",
        "Unbroken rows of at least the plan's shortest length; empty where no bearing is known.",
    ),
    _integer("short_rows", "rows", "", "Shorter rows of either crop, planted too."),
    _metres("row_length_m", "Length of all bean rows on the ground.", "rows"),
    _metres(
        "row_spacing_map_m",
        "Mean distance of bean rows on the map: on the ground, times the cosine of the slope.",
        "rows",
    ),
    _integer(
        "holes",
        "rows",
        "",
        "Planting holes: row by row, its length over the hole spacing, halves up, at least one.",
    ),
    _text(
        "holes_basis",
        "rows",
        "What holes are counted along: straight rows, rows along guide lines, straight rows in "
        "place of curved ones whose course is found on the ground, straight rows along the longer "
        "side, or area over spacing where the bearing isn't known.",
    ),
    _text(
        "first_row_corner",
        "rows",
        "Corner of the plot to measure from: the point of the outline farthest to that side.",
        nullable=True,
    ),
    _text(
        "first_row_way",
        "rows",
        "Which way to go from it along the edge, seen on the map: clockwise or anticlockwise.",
        nullable=True,
    ),
    _metres(
        "first_row_start_m",
        "Along the edge on the ground from that corner to the line of the first row that isn't "
        "short, counted downhill.",
        "rows",
    ),
    _metres("land_taken_m2", "Land that structures, houses or paths take.", "rows", "m²"),
    _metres(
        "flow_strip_m2",
        "Land beside flow lines that rows keep clear of; empty where a line's place isn't sure "
        "enough for that.",
        "rows",
        "m²",
    ),
    _integer(
        "row_breaks",
        "low places",
        "",
        "Breaks in rows where water would stand: a row counts once for each low place that it "
        "crosses.",
    ),
    _codes("low_place_flags", "low places", "Codes of what is left of low places in rows."),
    _metres(
        "row_gap_m2",
        "Land left in low places, where rows are broken so that no water stands in them.",
        "rows",
        "m²",
    ),
    _integer("maize_rows", "rows", "", "Rows of maize, as rows; empty where none is planted."),
    _metres("maize_row_length_m", "Length of all maize rows on the ground.", "rows"),
    _integer("maize_holes", "rows", "", "Planting holes of maize."),
    _text(
        "guide_kind",
        "guides",
        "What guides the rows where straight ones break the limit: straight, arc, arc sectors, "
        "level lines, level on the ground or standing structures; empty elsewhere.",
        nullable=True,
    ),
    _integer("guide_lines", "guides", "", "Guide lines to set out; empty where none are."),
    _bearing(
        "guide_bearing_true_deg",
        "Bearing of the guide line nearest to the plot's middle there, from true north; empty "
        "where no line is drawn.",
        "guides",
    ),
    _bearing(
        "guide_bearing_magnetic_deg",
        "The same from magnetic north on the planting date.",
        "guides",
    ),
    _slope(
        "guide_floor_pct",
        "Grade that the raster's own error costs rows that follow its contours.",
        "guides",
        nullable=True,
    ),
    _slope(
        "row_grade_straight_rms_pct",
        "Root mean square grade along straight rows, walked over the smoothed raster.",
        "guides",
        nullable=True,
    ),
    _slope(
        "row_grade_guided_rms_pct",
        "The same along the guided rows; with level lines, the level's own error counted.",
        "guides",
        nullable=True,
    ),
    _slope(
        "row_grade_structure_rms_pct",
        "The same along rows beside structures, where rows aren't to follow these; else empty.",
        "guides",
        nullable=True,
    ),
    _codes("guide_flags", "guides", "Codes of why structures don't guide the plot's rows."),
    Column(
        "row_within_straight_share",
        "number",
        "guides",
        "",
        "Share of the length of straight rows within the limit, the raster's error allowed for.",
        0,
        1,
        nullable=True,
    ),
    Column(
        "row_within_guided_share",
        "number",
        "guides",
        "",
        "The same of the guided rows.",
        0,
        1,
        nullable=True,
    ),
    _integer("line", "guide lines", "", "Number of the line in its plot.", nullable=False),
    Column(
        "line_length_m",
        "number",
        "guide lines",
        "m",
        "Length of the line on the map; empty where the team finds its course.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "line_fall_pct",
        "number",
        "guide lines",
        "%",
        "Fall of the design from the start of the line on; 0 on the contour.",
        0,
        None,
    ),
    Column(
        "line_radius_m",
        "number",
        "guide lines",
        "m",
        "Radius of an arc; empty for other lines.",
        0,
        None,
        nullable=True,
    ),
    _text(
        "line_centre_side",
        "guide lines",
        "Side on which the arc's centre lies: uphill or downhill.",
        nullable=True,
    ),
    Column(
        "peg_step_m",
        "number",
        "guide lines",
        "m",
        "Distance from one peg to the next.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "peg_offset_m",
        "number",
        "guide lines",
        "m",
        "Step to the centre's side from the last leg stretched on; half of it after the first leg.",
        0,
        None,
        nullable=True,
    ),
    _integer(
        "rows_downhill",
        "guide lines",
        "",
        "Rows from the line to the next one downhill, or to the edge of the land it guides.",
    ),
    _integer("rows_uphill", "guide lines", "", "The same uphill."),
    Column(
        "line_downhill_true_deg",
        "number",
        "guide lines",
        "°",
        "Downhill at the line's middle, square to it, from true north; empty where its course "
        "isn't known.",
        0,
        360,
        nullable=True,
    ),
    Column(
        "start_longitude_deg",
        "number",
        "guide lines",
        "°",
        "Longitude of the line's start, WGS 84; to find the place, not to set the line by.",
        -180,
        180,
    ),
    Column(
        "start_latitude_deg",
        "number",
        "guide lines",
        "°",
        "Latitude of the line's start, WGS 84.",
        -90,
        90,
    ),
    _text("start_corner", "guide lines", "Corner of the plot from which the start is measured."),
    Column(
        "start_corner_longitude_deg",
        "number",
        "guide lines",
        "°",
        "Longitude of that corner, WGS 84.",
        -180,
        180,
    ),
    Column(
        "start_corner_latitude_deg",
        "number",
        "guide lines",
        "°",
        "Latitude of that corner, WGS 84.",
        -90,
        90,
    ),
    Column(
        "start_from_corner_m",
        "number",
        "guide lines",
        "m",
        "Distance of the start from that corner along the plot's edge, on the ground.",
        0,
        None,
    ),
    _text(
        "start_way",
        "guide lines",
        "Which way to go from it along the edge, seen on the map: clockwise or anticlockwise.",
    ),
    Column(
        "start_inside_m",
        "number",
        "guide lines",
        "m",
        "Distance of the start from the edge, on the ground, for a line that doesn't reach it.",
        0,
        None,
    ),
    *(
        Column(
            f"start_inside_{north}_deg",
            "number",
            "guide lines",
            "°",
            meaning,
            0,
            360,
            nullable=True,
        )
        for north, meaning in (
            ("true", "Bearing from the edge to such a start, from true north."),
            ("magnetic", "The same, as a hand compass shows it; empty where that isn't known."),
        )
    ),
    _integer(
        "part_boundary",
        "part boundaries",
        "",
        "Number of the line between two parts of a plot that have an arc each.",
        nullable=False,
    ),
    Column(
        "part_boundary_m",
        "number",
        "part boundaries",
        "m",
        "Length of that line, on the map.",
        0,
        nullable=False,
    ),
    _integer("peg", "pegs", "", "Number of the peg on its line, 1 at the start.", nullable=False),
    Column(
        "peg_along_m",
        "number",
        "pegs",
        "m",
        "Distance from the start, leg by leg, straight from peg to peg.",
        0,
        None,
    ),
    Column("peg_leg_m", "number", "pegs", "m", "Distance from the peg before; 0 at the first.", 0),
    Column(
        "peg_drop_cm",
        "number",
        "pegs",
        "cm",
        "How much lower than the peg before it is set by the level, as designed; 0 on the contour.",
    ),
    Column(
        "peg_bearing_true_deg",
        "number",
        "pegs",
        "°",
        "Bearing to the next peg from true north; empty at the last.",
        0,
        360,
        nullable=True,
    ),
    Column(
        "peg_bearing_magnetic_deg",
        "number",
        "pegs",
        "°",
        "The same as a hand compass shows it.",
        0,
        360,
        nullable=True,
    ),
    Column(
        "peg_sideways_cm",
        "integer",
        "pegs",
        "cm",
        "Step to the right (left where negative) of the last leg stretched on, to the next peg; at "
        "the first peg off the line's tangent.",
        nullable=True,
    ),
    Column(
        "peg_longitude_deg",
        "number",
        "pegs",
        "°",
        "Longitude of an end of the line, WGS 84; to find the place, not to set pegs by.",
        -180,
        180,
        nullable=True,
    ),
    Column(
        "peg_latitude_deg",
        "number",
        "pegs",
        "°",
        "Latitude of an end of the line, WGS 84.",
        -90,
        90,
        nullable=True,
    ),
    Column(
        "gap_m",
        "number",
        "pegs",
        "m",
        "Width of the gap to the next level line uphill, on the ground; empty where there is none.",
        0,
        None,
        nullable=True,
    ),
    _integer("rows_in_gap", "pegs", "", "Rows that divide that gap evenly from this peg on."),
    _integer("short_rows_start", "pegs", "", "Short rows that start at this peg."),
    _integer("short_rows_end", "pegs", "", "Short rows that end at this peg."),
    _integer(
        "slope_class_number",
        "erosion",
        "",
        "Number of the slope class, 1 flat to 10.",
        nullable=False,
    ),
    _text("slope_class", "erosion", "Slope class (FAO 2006)."),
    Column(
        "ls",
        "number",
        "erosion",
        "",
        "Slope length and steepness factor (RUSLE).",
        0,
        200,
        nullable=True,
    ),
    Column(
        "ls_plot_only",
        "number",
        "erosion",
        "",
        "The same with no land above the plot: a lower limit.",
        0,
        200,
        nullable=True,
    ),
    Column(
        "ls_upslope_area",
        "number",
        "erosion",
        "",
        "Slope length and steepness factor by the area that drains into each cell (Desmet & "
        "Govers); empty where the plot has no heights.",
        0,
        None,
        nullable=True,
    ),
    _integer(
        "ls_at_least",
        "erosion",
        "",
        "1 where the slope above the plot isn't known in full, so that LS is a lower limit; else "
        "0.",
        nullable=False,
    ),
    Column(
        "slope_length_total_m",
        "number",
        "erosion",
        "m",
        "Slope length from where water starts to run, as far as known, to the plot's lower edge.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "r",
        "number",
        "erosion",
        "MJ mm/(ha h yr)",
        "Rain erosivity, as given or by the plan's equation.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "k",
        "number",
        "erosion",
        "t ha h/(ha MJ mm)",
        "Soil erodibility, as given or by the plan's equation.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "c",
        "number",
        "erosion",
        "",
        "Cover factor, as given or by the plan's cover and mulch.",
        0,
        1,
        nullable=True,
    ),
    Column(
        "p_contour",
        "number",
        "erosion",
        "",
        "Practice factor of rows on the contour.",
        0,
        1,
        nullable=True,
    ),
    Column(
        "p_now",
        "number",
        "erosion",
        "",
        "Practice factor of what is there already; 1 where that isn't known.",
        0,
        1,
        nullable=True,
    ),
    Column(
        "ls_now",
        "number",
        "erosion",
        "",
        "LS between the structures that are there already.",
        0,
        200,
        nullable=True,
    ),
    _text("practice_now", "erosion", "What is there already, in words, or not known."),
    _integer(
        "practice_now_known",
        "erosion",
        "",
        "1 where it is known how rows run now; else 0, and they are taken to run up and down.",
        nullable=False,
    ),
    _loss("soil_loss_now_low_t_ha_yr", "Low end of the soil loss with what is there already."),
    _loss("soil_loss_now_likely_t_ha_yr", "Mean yearly soil loss with what is there already."),
    _loss("soil_loss_now_high_t_ha_yr", "High end of the soil loss with what is there already."),
    _loss("soil_loss_up_down_likely_t_ha_yr", "Mean yearly soil loss, rows up and down the slope."),
    _loss("soil_loss_contour_likely_t_ha_yr", "Mean yearly soil loss, level rows on the contour."),
    _loss("soil_loss_contour_low_t_ha_yr", "Low end of the soil loss, level rows on the contour."),
    _loss(
        "soil_loss_contour_high_t_ha_yr", "High end of the soil loss, level rows on the contour."
    ),
    _loss(
        "soil_saved_contour_likely_t_ha_yr",
        "Soil that level rows on the contour would save of what is lost now; structures stay.",
    ),
    _loss(
        "soil_loss_floor_t_ha_yr",
        "Only where the plot is beyond the equations: loss at their steepest slope, a lower limit.",
    ),
    Column(
        "chance_worst_tenth",
        "number",
        "erosion",
        "",
        "Chance that the plot is in the tenth of plots that lose most now; empty without tonnes.",
        0,
        1,
        nullable=True,
    ),
    _integer(
        "erosion_rank",
        "erosion",
        "",
        "Place by soil loss now, the first 1; plots beyond the equations come first, by slope.",
        nullable=False,
    ),
    Column(
        "erosion_class_number",
        "integer",
        "erosion",
        "",
        "1 to 4 as loss rises, 5 beyond the equations.",
        1,
        5,
        nullable=True,
    ),
    _text(
        "erosion_class",
        "erosion",
        "Class of soil loss with rows on the contour, or beyond the "
        "equations; empty without R, K and C.",
        nullable=True,
    ),
    _codes("erosion_flags", "erosion", "Codes of why the plot is flagged."),
    _text("measure", "options", "Measure against soil loss, by its name in the handbook."),
    _integer(
        "lines",
        "options",
        "",
        "Lines of the measure; empty where it has none or they can't be counted.",
    ),
    _metres("measure_length_m", "Length of all its lines.", "options"),
    _metres("line_apart_m", "From one line to the next below, on the map.", "options"),
    _text("spacing_rule", "options", "Rule that gives that distance.", nullable=True),
    _metres(
        "line_apart_other_m",
        "The same by another rule that is common for the measure; empty where they are alike.",
        "options",
    ),
    _text("spacing_rule_other", "options", "That other rule.", nullable=True),
    _metres("line_drop_m", "How much lower the next line lies.", "options"),
    Column(
        "land_taken_pct",
        "number",
        "options",
        "%",
        "Share of the plot that the measure takes.",
        0,
        100.000001,
        nullable=True,
    ),
    *(
        Column(
            f"loss_left_{end}_share",
            "number",
            "options",
            "",
            f"{words} of the share of the loss now that the measure leaves; empty where not known.",
            0,
            1,
            nullable=True,
        )
        for end, words in (("low", "Low end"), ("likely", "Likely size"), ("high", "High end"))
    ),
    *(
        Column(
            f"soil_loss_after_{end}_t_ha_yr",
            "number",
            "options",
            "t/(ha yr)",
            f"{words} of the soil loss with the measure.",
            0,
            1_000_000,
            nullable=True,
        )
        for end, words in (("low", "Low end"), ("likely", "Likely size"), ("high", "High end"))
    ),
    Column(
        "soil_saved_t_yr",
        "number",
        "options",
        "t/yr",
        "Soil that the measure likely saves against what is there now; empty without tonnes.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "soil_saved_counted_t_yr",
        "number",
        "options",
        "t/yr",
        "The same as a budget counts it: beyond the equations by the loss at their limit.",
        0,
        None,
        nullable=True,
    ),
    _integer(
        "saved_by_floor",
        "options",
        "",
        "1 where that is by the loss at the steepest slope of the equations; else 0.",
        nullable=False,
    ),
    _integer("rows_after", "options", "", "Rows that would be left beside the measure."),
    _metres("row_length_after_m", "Row length that would be left.", "options"),
    _integer("holes_after", "options", "", "Planting holes that would be left."),
    _integer("seed_after_g", "options", "g", "Seed that would then be planted."),
    _integer("npk_after_g", "options", "g", "NPK fertiliser that would then be needed."),
    _integer("urea_after_g", "options", "g", "Urea that would then be needed."),
    _integer("manure_after_g", "options", "g", "Composted manure that would then be needed."),
    _integer(
        "measure_plants",
        "options",
        "",
        "Splits or seedlings to raise, those that die among them; 0 for a measure without.",
    ),
    Column(
        "person_days",
        "number",
        "options",
        "",
        "Labour; empty where the district gives no figure.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "cost_money",
        "number",
        "options",
        "",
        "Pay of that labour and material, in the district's money; empty likewise.",
        0,
        None,
        nullable=True,
    ),
    _text("measure_reason", "refused", "Code of why the measure isn't offered."),
    _integer(
        "nursery_plants",
        "nurseries",
        "",
        "Splits or seedlings that the village raises; empty where a line's length isn't known.",
    ),
    Column(
        "nursery_m2", "number", "nurseries", "m²", "Nursery beds for them.", 0, None, nullable=True
    ),
    Column(
        "nursery_weeks",
        "number",
        "nurseries",
        "",
        "Weeks before the usual onset of rain that beds are set.",
        0,
        None,
    ),
    _text("nursery_date", "nurseries", "Day on which beds are set."),
    _integer(
        "measure_order", "choice", "", "Place in the order of work, the first 1.", nullable=False
    ),
    _text(
        "chosen_by",
        "choice",
        "Why it was chosen: saves most, or place held for plots without tonnes.",
    ),
    Column(
        "budget_used",
        "number",
        "choice",
        "",
        "What it takes of the budget, in the budget's unit; empty without a budget.",
        0,
        None,
        nullable=True,
    ),
    _integer(
        "left_out_order", "left out", "", "Place among them, the most pressing 1.", nullable=False
    ),
    _text(
        "left_out_reason",
        "left out",
        "Why a plot without tonnes isn't chosen: closed, does_not_take_part, vetoed (staff ruled "
        "out its hillside's measure, or its last), no_measure, other_measure (its hillside takes "
        "one that isn't for it), not_laid_out, saves_too_little, not_costed, held_share_spent or "
        "budget_spent.",
    ),
    Column("budget_spent", "number", "curve", "", "Budget spent, in its unit.", 0, None),
    Column(
        "soil_saved_total_t_yr",
        "number",
        "curve",
        "t/yr",
        "Most soil that can be saved for it.",
        0,
        None,
    ),
    _integer(
        "walk_order", "walk over", "", "Place on the walk-over list, the first 1.", nullable=False
    ),
    Column(
        "doubt",
        "number",
        "walk over",
        "",
        "How doubtful the plot's rank is: 1 where it may as well be in the worst tenth as not.",
        0,
        1,
    ),
    _codes("walk_reasons", "walk over", "Codes of why to go and look."),
    _text("veto_why", "vetoes", "Why staff ruled the measure out in the field."),
    Column("veto_date", "date", "vetoes", "", "Day of that."),
    _text("work_site", "work sites", "Work site of the plot: a hillside that builds as one."),
    _integer("site_place", "work sites", "", "Place in its site, the top plot 1.", nullable=False),
    _integer("site_plots", "work sites", "", "Plots of the site.", nullable=False),
    _codes("site_villages", "work sites", "Villages that have land in the site."),
    _codes(
        "site_neighbours",
        "work sites",
        "Plots of other sites beside it, lower or of unknown height, that its water may reach.",
    ),
    _integer(
        "slipping_ground",
        "ground",
        "",
        "1 where ground that slips was drawn on the hillside: nothing is dug or held back there.",
        nullable=False,
    ),
    _text(
        "lies_below",
        "below",
        "Only of plots without tonnes: the worst that lies below within the longest slope length: "
        "house, slipping ground, spring, latrine, grave, road, path, stream or neighbour; empty "
        "where nothing is known to.",
        nullable=True,
    ),
    _metres(
        "soil_depth_m", "Depth of the plot's or its village's soil; empty where not given.", "soil"
    ),
    _text(
        "soil_drainage",
        "soil",
        "free or poor, of the plot's or its village's soil; empty where not given.",
        nullable=True,
    ),
    _text("structure", "structure lines", "Measure that the line is of."),
    _integer(
        "structure_line",
        "structure lines",
        "",
        "Number of the line in its site, the top one 1; pieces at one height share it.",
        nullable=False,
    ),
    _text(
        "structure_state",
        "structure lines",
        "drawn, or on the ground where the raster can't say the course: then a start place.",
    ),
    _metres(
        "structure_length_m", "Length; empty where its course is found there.", "structure lines"
    ),
    _metres(
        "structure_fall_m",
        "How much lower its outlet end lies than its head; 0 on the contour.",
        "structure lines",
    ),
    _text(
        "structure_outlet",
        "structure lines",
        "Outlet that it ends at; empty for level lines.",
        nullable=True,
    ),
    _codes(
        "structure_plots",
        "structure lines",
        "Plots that it crosses, from its outlet up.",
    ),
    _codes(
        "structure_needs",
        "structure lines",
        "Plots that must all take part before it is safe; none for a level line, safe alone.",
    ),
    _integer(
        "structure_safe",
        "structure lines",
        "",
        "1 if all that it needs take part, by the file of who does, else 0; empty without it.",
    ),
    _text("structure_reason", "refused lines", "Code of why the lines aren't drawn."),
    _metres("waterway_length_m", "Length of a grassed waterway to build first.", "waterways"),
    _metres("waterway_fall_m", "How much lower its end lies than its start.", "waterways"),
    _text("waterway_outlet", "waterways", "Safe outlet that it ends at."),
    _codes("waterway_plots", "waterways", "Plots that it crosses, from its outlet up."),
    Column(
        "catchment_area_ha",
        "number",
        "catchments",
        "ha",
        "Land of the catchment itself, without those above it.",
        0,
        None,
    ),
    Column(
        "catchment_run_on_ha",
        "number",
        "catchments",
        "ha",
        "Land of other catchments that drains into it.",
        0,
        None,
    ),
    _integer("catchment_plots", "catchments", "", "Plots that lie in it mostly.", nullable=False),
    _text("outlet", "outlets", "Safe outlet, as the layer features calls it."),
    _integer(
        "outlet_lines",
        "outlets",
        "",
        "Lines and waterways of the site that end there.",
        nullable=False,
    ),
    _integer("work_step", "work order", "", "Place in the order of work, 1 first.", nullable=False),
    _text(
        "work",
        "work order",
        "What is done: find_outlet (a technician decides), lay_out (a technician does), "
        "lay_out_below (the same below plots that may bear no line), outlet, waterway, "
        "cut_off_drain, structures, cover (planted to stay), rows.",
    ),
    _text("work_season", "work order", "the season before, or this season."),
    _text("work_structure", "work order", "Measure that is built.", nullable=True),
    _integer("work_lines", "work order", "", "Its lines, from the top down."),
    _metres("work_length_m", "Their length; empty where set out there.", "work order"),
    _metres(
        "work_priced_length_m",
        "Length that person-days and planting material are counted for, where they go by length: "
        "by the spacing on each plot, the first line along its top edge. Lines as drawn start a "
        "drop below the hillside's top and stop short of water and of one another.",
        "work order",
    ),
    _text("work_outlet", "work order", "Safe outlets that they end at.", nullable=True),
    _codes(
        "work_waits",
        "work order",
        "What waits for the outlet that is to be found: measures, or those of their lines that "
        "aren't drawn, and gathered_water (whatever would lead it).",
    ),
    Column(
        "work_person_days",
        "number",
        "work order",
        "",
        "Person-days that it takes; empty where not known.",
        0,
        None,
        nullable=True,
    ),
    _codes("work_plots", "work order", "Plots that work at it, from the top down."),
    _codes("work_agreed_by", "work order", "Villages and plots whose written agreement it needs."),
    _text(
        "caution",
        "cautions",
        "What to mind before a measure or a work is begun.",
    ),
    Column(
        "days_owed",
        "number",
        "days",
        "",
        "Person-days that the plot owes, its share of common works among them: none where it "
        "doesn't take part or is closed, since the others do its share; empty where they aren't "
        "known.",
        0,
        None,
        nullable=True,
    ),
    _integer("plants", "inputs", "", "Plants expected: seeds times germination and emergence."),
    _integer("seeds", "inputs", "", "Seeds planted: holes times seeds a hole."),
    _integer("maize_seeds", "inputs", "", "Maize seeds planted: its holes times seeds a hole."),
    _integer("seed_g", "inputs", "g", "Seed planted."),
    _integer("npk_g", "inputs", "g", "NPK fertiliser."),
    _integer("urea_g", "inputs", "g", "Urea."),
    _integer("manure_g", "inputs", "g", "Composted manure."),
    _integer("seed_packs", "inputs", "", "Packs of seed, if bought at this level."),
    _integer("npk_packs", "inputs", "", "Bags of NPK, if bought at this level."),
    _integer("urea_packs", "inputs", "", "Bags of urea, if bought at this level."),
    _integer("plots", "totals", "", "Plots used.", nullable=False),
    _integer(
        "plots_steep", "totals", "", "Plots where rows alone don't hold the soil.", nullable=False
    ),
    _integer(
        "plots_beyond_equations", "totals", "", "Plots too steep for the equations.", nullable=False
    ),
    _integer(
        "plots_measure",
        "totals",
        "",
        "Plots whose bearing is to be measured on the ground.",
        nullable=False,
    ),
    Column("area_measure_ha", "number", "totals", "ha", "Area of those plots.", 0, None),
    _integer(
        "plots_unserved",
        "totals",
        "",
        "Plots whose bearing the raster alone leaves to be measured.",
        nullable=False,
    ),
    Column("area_unserved_ha", "number", "totals", "ha", "Area of those plots.", 0, None),
    _text("farmer_id", "taking part", "Id of the farmer, as given; else the plot's."),
    _text("group", "taking part", "Group of the farmer, as given; else the village."),
    _text("order_line", "taking part", "Who takes part, or why nobody plants: never one sum."),
    Column(
        "bean_share",
        "number",
        "taking part",
        "",
        "Share of the plot, out of belts, that is under this crop this season; 0 on no-go land.",
        0,
        1,
    ),
    Column("bean_area_ha", "number", "taking part", "ha", "Area of that share.", 0, None),
    Column("river_buffer_ha", "number", "taking part", "ha", "In the belt of a river.", 0, None),
    Column("forest_buffer_ha", "number", "taking part", "ha", "In that of forest alone.", 0, None),
    Column("closed_ha", "number", "taking part", "ha", "Land that is closed.", 0, None),
    Column("too_steep_ha", "number", "taking part", "ha", "Land too steep for beans.", 0, None),
    Column(
        "area_error_share",
        "number",
        "kits",
        "",
        "Standard error of the plot's area, from its outline's points, as a share of it.",
        0,
        None,
    ),
    _integer("empty_holes", "kits", "", "Holes expected to stay empty before any is filled again."),
    _integer("standing", "kits", "", "Plants expected then, after thinning where it is done."),
    _integer("kit_seed_g", "kits", "g", "Seed of the kit, gap filling and spillage in it."),
    _integer("kit_npk_g", "kits", "g", "NPK of the kit."),
    _integer("kit_urea_g", "kits", "g", "Urea of the kit."),
    _integer("kit_manure_g", "kits", "g", "Manure of the kit, of what there is."),
    _integer("manure_loads", "kits", "", "Loads of manure to carry."),
    _integer("poles", "kits", "", "Poles for climbing beans; empty for other crops."),
    _text(
        "season",
        "seasons",
        "low, usual or high uptake; in the calendar early, usual or late rains.",
    ),
    Column(
        "uptake_share",
        "number",
        "seasons",
        "",
        "Share of the enrolled land, without demo kits, that is planted in such a season.",
        0,
        1,
    ),
    _text("buying_point", "orders", "Who buys: a plot, farmer, group, village or the district."),
    _text("good", "orders", "What is bought or carried: seed, npk, urea or manure."),
    _integer("planned_g", "orders", "g", "What all who take part need.", nullable=False),
    _integer(
        "need_low_g",
        "orders",
        "g",
        "Of that, demo kits too, what is used at low uptake.",
        nullable=False,
    ),
    _integer("need_usual_g", "orders", "g", "The same at usual uptake.", nullable=False),
    _integer("need_high_g", "orders", "g", "The same at high uptake.", nullable=False),
    _integer(
        "wanted_g",
        "orders",
        "g",
        "What is enough with the plan's chance, given uptake and errors of outlines.",
        nullable=False,
    ),
    _integer("stock_there_g", "orders", "g", "What there is in stock for it.", nullable=False),
    _integer(
        "stock_g",
        "orders",
        "g",
        "Of that, what is taken from stock; there may be more.",
        nullable=False,
    ),
    _integer("packs", "orders", "", "Packs to buy, rounded up once; empty without a size."),
    _integer("ordered_g", "orders", "g", "What is bought.", nullable=False),
    _integer("leftover_g", "orders", "g", "What is bought beyond the wants.", nullable=False),
    Column(
        "order_cost",
        "number",
        "orders",
        "",
        "Cost of what is bought, in the plan's currency; empty without its price.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "chance_share",
        "number",
        "orders",
        "",
        "Chance that it is enough; empty where it is bought as planned, or is an upper limit.",
        0,
        1,
        nullable=True,
    ),
    _text(
        "dominates",
        "orders",
        "Which makes it unsure: outlines, uptake or nothing; empty where chance_share is.",
    ),
    _integer("poles_planned", "poles", "", "Poles that all who take part need."),
    _integer("poles_wanted", "poles", "", "Poles that are enough with the plan's chance."),
    _integer("lot", "lots", "", "Load of a vehicle, the first 1.", nullable=False),
    Column("delivery_day", "date", "lots", "", "Day on which the lot is to arrive."),
    Column("lot_kg", "number", "lots", "kg", "Weight of these packs.", 0, None),
    _integer(
        "seeds_to_test",
        "lots",
        "",
        "Seeds of this delivery to germinate on arrival.",
        nullable=False,
    ),
    _integer("farmer_plots", "distribution", "", "Plots of the farmer there.", nullable=False),
    _integer("farmer_planned_g", "distribution", "g", "What they are to get.", nullable=False),
    _integer(
        "issued_g",
        "distribution",
        "g",
        "What they get of what arrived; before that what is planned if all plant.",
        nullable=False,
    ),
    _integer("short_g", "distribution", "g", "What is lacking.", nullable=False),
    _integer("whole_packs", "distribution", "", "Whole packs of it; empty without a size."),
    _integer("loose_g", "distribution", "g", "What is weighed out of a pack.", nullable=False),
    _text("zone", "calendar", "Zone of onset; empty for villages that go by the plan's own."),
    _text("onset_rule", "calendar", "Rule by which the onset is known; empty of other works."),
    _text("season_work", "calendar", "Work of the season."),
    Column("first_day", "date", "calendar", "", "First day of the work."),
    Column("last_day", "date", "calendar", "", "Last day of the work."),
    _text("counted_from", "calendar", "Day 0 of the days counted."),
    Column("from_day", "integer", "calendar", "", "First day, counted from there."),
    Column("to_day", "integer", "calendar", "", "Last day, counted from there."),
    _integer("no_hoe", "calendar", "", "1 where flowers may be open: no hoe.", nullable=False),
    _text("work_source", "calendar", "Where the days are from; empty where they follow."),
    Column("week_to", "date", "labour", "", "Sunday with which the week ends."),
    Column("week_share", "number", "labour", "1", "Share of the work's days that lie in it.", 0, 1),
    Column(
        "work_days",
        "number",
        "labour",
        "",
        "Person-days of the work in that week, by the district's own figures.",
        0,
        None,
    ),
    Column(
        "hands_days",
        "number",
        "labour",
        "",
        "Person-days that the village has in that week; empty where the plan doesn't say.",
        0,
        None,
        nullable=True,
    ),
    *(
        Column(f"{good}_cost", "number", "money", "", meaning, 0, None, nullable=True)
        for good, meaning in (
            ("seed", "Cost of the seed, in the plan's currency."),
            ("npk", "Cost of the NPK."),
            ("urea", "Cost of the urea."),
            ("manure", "Cost of the manure."),
            ("kit", "Cost of all that is in the kit; empty where a price is lacking."),
        )
    ),
    _text("margin_of", "margins", "A hectare without the practice, with it, or what it adds."),
    *(
        Column(name, "number", "margins", "", meaning, nullable=name.startswith("value_cost"))
        for name, meaning in (
            ("value_low", "Value of the harvest of a hectare, low."),
            ("value_high", "The same, high."),
            ("cost", "Cost of a hectare."),
            ("margin_low", "Value less cost, low."),
            ("margin_high", "The same, high."),
            ("value_cost_ratio_low", "Value added for each unit of cost added, low."),
            ("value_cost_ratio_high", "The same, high."),
        )
    ),
    _text(
        "demo_message", "demos", "Message that the demonstration plot carries, as the plan has it."
    ),
    _codes("demo_treatments", "demos", "What it shows."),
    Column("demo_kits", "number", "demos", "", "Demonstration kits that it takes.", 0, None),
    _text(
        "demo_why",
        "demos",
        "chosen, forced in by the plan, or kept: shown before, and not yet for its seasons.",
    ),
    _integer(
        "demo_provisional",
        "demos",
        "",
        "1 where somebody must first read slope and bearing on the ground; else 0.",
        nullable=False,
    ),
    _integer("demo_reaches", "demos", "", "Farmers who have it in reach.", nullable=False),
    _integer(
        "demo_reaches_alone",
        "demos",
        "",
        "Of these, farmers who have no other demonstration plot in reach.",
        nullable=False,
    ),
    _text(
        "demo_runner_up",
        "demos",
        "Plot that could take its place with the least loss; empty where none could.",
        nullable=True,
    ),
    Column(
        "demo_runner_up_loss",
        "number",
        "demos",
        "",
        "Farmers that would be lost by that, counted as the plan weighs them; without such a plot, "
        "those lost without this one.",
    ),
    _text(
        "demo_side",
        "demos",
        "Half that gets the message, looking uphill: left or right, drawn by lot.",
    ),
    _integer(
        "demo_up_down",
        "demos",
        "",
        "1 where rows up and down may stand beside rows across, to compare; else 0, as where the "
        "slope must be read first.",
        nullable=False,
    ),
    _text(
        "demo_standing",
        "demo plots",
        "candidate, provisional until a ground reading, or no candidate.",
    ),
    _codes(
        "demo_reasons",
        "demo plots",
        "Why it can show nothing: all that keeps it from the message that fewest reasons keep it "
        "from.",
    ),
    _text(
        "demo_shows",
        "demo plots",
        "Message that it shows as a demonstration plot; empty where it is none.",
        nullable=True,
    ),
    _codes("demo_could_show", "demo plots", "Messages that it could show."),
    Column(
        "demo_adds",
        "number",
        "demo plots",
        "",
        "Farmers, counted as the plan weighs them, who would have a demonstration plot in reach by "
        "this one alone; empty for those chosen and for no candidates.",
        0,
        None,
        nullable=True,
    ),
    _text(
        "demo_instead_of",
        "demo plots",
        "Demonstration plot in whose place it would lose least; empty where it can't take one's.",
        nullable=True,
    ),
    Column(
        "demo_loss", "number", "demo plots", "", "Farmers lost by that, weighed.", nullable=True
    ),
    _codes(
        "demo_stopped",
        "demo plots",
        "Kinds of conditions that it would break beside all that are chosen.",
    ),
    _integer("demo_farmers", "demo villages", "", "Farmers of the village.", nullable=False),
    _integer(
        "demo_farmers_reached",
        "demo villages",
        "",
        "Of these, who have a demonstration plot in reach.",
        nullable=False,
    ),
    _integer(
        "demo_candidates", "demo villages", "", "Plots that could show something.", nullable=False
    ),
    _integer("demo_plots", "demo villages", "", "Demonstration plots.", nullable=False),
    _integer(
        "demo_steep",
        "demo villages",
        "",
        "1 where the land is so steep that half of them show a barrier; else 0.",
        nullable=False,
    ),
    _text(
        "demo_village_why",
        "demo villages",
        "Why it has none: no candidate, conditions leave none, others reach its farmers, others "
        "reach more; has, where it has one.",
    ),
    _text(
        "demo_best",
        "demo villages",
        "Of its plots that could be chosen, besides or in another's place, the one that adds most.",
        nullable=True,
    ),
    Column(
        "demo_best_adds",
        "number",
        "demo villages",
        "",
        "Farmers that this would add, counted as the plan weighs them.",
        0,
        None,
    ),
    _text("quality_plan", "visit quality", "as planned, or the simple plan: nearest first."),
    _integer("quality_visits", "visit quality", "", "Visits that are made.", nullable=False),
    _integer("quality_days", "visit quality", "", "Days in the field.", nullable=False),
    Column(
        "quality_road_h",
        "number",
        "visit quality",
        "hours",
        "All ways, of all agents.",
        0,
        None,
        nullable=False,
    ),
    Column(
        "quality_walk_h",
        "number",
        "visit quality",
        "hours",
        "Of these, what is walked.",
        0,
        None,
        nullable=False,
    ),
    Column(
        "quality_road_visit_min",
        "number",
        "visit quality",
        "minutes",
        "Ways for each visit that is made.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "quality_road_share_pct",
        "number",
        "visit quality",
        "%",
        "Share of the ways in the time away from bases.",
        0,
        100,
        nullable=True,
    ),
    Column(
        "quality_road_share_most_pct",
        "number",
        "visit quality",
        "%",
        "That share on the day with most ways for its length.",
        0,
        100,
        nullable=True,
    ),
    Column(
        "quality_agent_least_h",
        "number",
        "visit quality",
        "hours",
        "Time away from the base of who is away least.",
        0,
        None,
        nullable=False,
    ),
    Column(
        "quality_agent_most_h",
        "number",
        "visit quality",
        "hours",
        "Time away from the base of who is away most.",
        0,
        None,
        nullable=False,
    ),
    Column("demo_number", "number", "demo curve", "", "Demonstration plots, or kits.", 0, None),
    Column(
        "demo_reached",
        "number",
        "demo curve",
        "",
        "Farmers reached, counted as the plan weighs them; empty where the conditions can't be "
        "kept. Of other numbers than the plan's, what a shorter search found.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "demo_bound",
        "number",
        "demo curve",
        "",
        "No choice of so many reaches more.",
        0,
        None,
        nullable=True,
    ),
    Column(
        "demo_gain",
        "number",
        "demo curve",
        "",
        "What each plot, or kit of the smallest size, adds since the row before.",
        nullable=True,
    ),
    _text("demo_reason", "demo reasons", "What keeps plots from showing the message."),
    _integer("demo_kept_out", "demo reasons", "", "Plots that it keeps out.", nullable=False),
    _integer(
        "demo_kept_out_alone",
        "demo reasons",
        "",
        "Of these, plots that nothing else keeps out.",
        nullable=False,
    ),
    _text(
        "demo_compared",
        "demo comparison",
        "area (median, ha), slope (median, %) or women (of 100 farmers whose sex is recorded).",
    ),
    Column("demo_of_chosen", "number", "demo comparison", "", "Of those chosen.", nullable=True),
    Column("demo_of_all", "number", "demo comparison", "", "Of all farmers.", nullable=True),
    _integer("demo_conflict", "demo conflicts", "", "Number of the conflict.", nullable=False),
    _text("demo_condition", "demo conflicts", "Kind of a condition that is part of it."),
    _text("demo_condition_of", "demo conflicts", "What it is about.", nullable=True),
    Column(
        "demo_asked_least",
        "number",
        "demo conflicts",
        "",
        "Least that it asks; of a slope class the tolerance.",
        nullable=True,
    ),
    Column("demo_asked_most", "number", "demo conflicts", "", "Most that it asks.", nullable=True),
    Column(
        "demo_enough",
        "number",
        "demo conflicts",
        "",
        "What it could ask with all others kept; empty where it can't solve the conflict alone.",
        nullable=True,
    ),
    Column(
        "demo_eased_reached",
        "number",
        "demo conflicts",
        "",
        "Farmers who would then have a demonstration plot in reach.",
        0,
        None,
        nullable=True,
    ),
    _integer(
        "demo_proved",
        "demo conflicts",
        "",
        "1 where it is proved that no choice keeps to all of it; 0 where none was found.",
        nullable=False,
    ),
    _integer(
        "demos_in_reach",
        "demo layout",
        "",
        "Demonstration plots that a farmer has in reach.",
        nullable=False,
    ),
    _text(
        "demo_part",
        "demo layout",
        "left or right half, the net plot of either, or the bund or path between.",
    ),
    _text(
        "demo_treated",
        "demo layout",
        "message, as usual, or empty of what lies between.",
        nullable=True,
    ),
    _text("visit_id", "visits", "What the visit is known by in every plan: stage, kind, place."),
    _text("visit_stage", "visits", "Stage of the season; what is done then stands on day sheets."),
    _text("visit_kind", "visits", "session, for all who can walk there, or single."),
    _text("visit_place", "visits", "Id of the plot, or name of the meeting place."),
    Column("visit_farmers", "integer", "visits", "", "Plots whose farmers it is for.", 0, None),
    _text(
        "visit_why", "visits", "Why it is made: a session, or why the plot is visited by itself."
    ),
    _text("agent_id", "visits", "Id of the agent.", nullable=True),
    Column("visit_day", "date", "visits", "", "Day of the visit.", nullable=True),
    _integer("visit_stop", "visits", "", "Its place among the visits of that day, the first 1."),
    _text("visit_leaves", "visits", "When the agent sets out for it, local time.", nullable=True),
    _text("visit_begins", "visits", "When it begins, local time.", nullable=True),
    _text("visit_ends", "visits", "When it ends, local time.", nullable=True),
    _integer("visit_way_min", "visits", "minutes", "Way there, from the stop before or the base."),
    Column(
        "visit_ride_km",
        "number",
        "visits",
        "km",
        "What is ridden of that way.",
        0,
        None,
        nullable=True,
    ),
    Column("visit_first_day", "date", "visits", "", "First day on which it may be made."),
    Column("visit_last_day", "date", "visits", "", "Last day on which it may be made."),
    _integer("visit_no_hoe", "visits", "", "1 where weeds are pulled by hand.", nullable=False),
    _integer("visit_priority", "visits", "", "0 for what is left out last.", nullable=False),
    _integer(
        "visit_by_hand", "visits", "", "1 where staff fixed its agent or day.", nullable=False
    ),
    _text("visit_status", "visits", "planned, left out, done or cancelled."),
    _text(
        "visit_left_out",
        "visits",
        "Why it is left out: nobody may go, another agent, no way, no day, too heavy, too long, "
        "days full, fuel or paid days.",
        nullable=True,
    ),
    _integer(
        "visit_sequence", "visits", "", "How often it was changed, as in calendars.", nullable=False
    ),
    _text(
        "visit_agents_before",
        "visits",
        "Agents who had it in plans before, parted by bars: it is cancelled in their calendars.",
    ),
    Column(
        "place_longitude_deg",
        "number",
        "visits",
        "°",
        "Longitude of the place, WGS 84.",
        -180,
        180,
        nullable=True,
    ),
    Column(
        "place_latitude_deg",
        "number",
        "visits",
        "°",
        "Latitude of the place, WGS 84.",
        -90,
        90,
        nullable=True,
    ),
    Column(
        "roadhead_longitude_deg",
        "number",
        "visits",
        "°",
        "Longitude of where what was ridden stays, the rest being walked, WGS 84.",
        -180,
        180,
        nullable=True,
    ),
    Column(
        "roadhead_latitude_deg",
        "number",
        "visits",
        "°",
        "Latitude of where what was ridden stays, WGS 84.",
        -90,
        90,
        nullable=True,
    ),
    _text("done", "visits", "Write yes where the visit was made, and carry the plan on with it."),
    _integer("day_visits", "visit days", "", "Visits of the agent that day.", nullable=False),
    _text("day_leaves", "visit days", "When the base is left, local time."),
    _text("day_home", "visit days", "When the agent is back, local time."),
    _integer("day_way_min", "visit days", "minutes", "All ways of the day.", nullable=False),
    _integer("day_ride_min", "visit days", "minutes", "Of these, what is ridden.", nullable=False),
    _integer("day_walk_min", "visit days", "minutes", "Of these, what is walked.", nullable=False),
    _integer("day_work_min", "visit days", "minutes", "All visits of the day.", nullable=False),
    _integer("day_wait_min", "visit days", "minutes", "What is waited.", nullable=False),
    _integer(
        "day_slack_min",
        "visit days",
        "minutes",
        "What the day leaves of the hours away.",
        nullable=False,
    ),
    Column(
        "day_way_share_pct",
        "number",
        "visit days",
        "%",
        "Share of the ways in the time away.",
        0,
        100,
    ),
    Column("day_ride_km", "number", "visit days", "km", "What is ridden that day.", 0, None),
    Column("load_week", "date", "visit load", "", "Monday of the week."),
    _integer("load_days", "visit load", "", "Days in the field that week.", nullable=False),
    _integer("load_visits", "visit load", "", "Visits of that week.", nullable=False),
    Column("load_hours", "number", "visit load", "hours", "Hours away from the base.", 0, None),
    Column("cost_month", "date", "visit costs", "", "First day of the month."),
    _integer(
        "cost_days", "visit costs", "", "Days in the field, each an allowance.", nullable=False
    ),
    _integer("cost_visits", "visit costs", "", "Visits of the month.", nullable=False),
    Column("cost_ride_km", "number", "visit costs", "km", "What is ridden that month.", 0, None),
    Column("cost_fuel_l", "number", "visit costs", "l", "Fuel for that.", 0, None),
    _integer(
        "visits_left_out", "visit reasons", "", "Visits left out for that reason.", nullable=False
    ),
    _text("stage_season", "visit stages", "early, usual or late onset."),
    _text("stage_why", "visit stages", "Source of the window and of the minutes."),
    Column("stage_first_day", "date", "visit stages", "", "First day of the stage there."),
    Column("stage_last_day", "date", "visit stages", "", "Last day of the stage there."),
    _integer("stage_planned", "visit stages", "", "1 of the season planned for.", nullable=False),
    _text(
        "relief",
        "visit relief",
        "What is changed: one more agent, a faster way, a tank of fuel, or a cut of days.",
    ),
    _text("relief_agent", "visit relief", "For which agent; empty of all.", nullable=True),
    Column(
        "relief_gained",
        "integer",
        "visit relief",
        "",
        "Visits made more than in the plan; below 0 where fewer are.",
    ),
    Column("held_back_day", "date", "visit rain", "", "Working day held back for rain."),
    Column(
        "changed_from_day",
        "date",
        "visit changes",
        "",
        "Day in the plan before; empty of a new visit.",
        nullable=True,
    ),
    _text("changed_from_agent", "visit changes", "Agent in the plan before.", nullable=True),
    Column(
        "changed_to_day",
        "date",
        "visit changes",
        "",
        "Day now; empty where it is dropped.",
        nullable=True,
    ),
    _text("changed_to_agent", "visit changes", "Agent now.", nullable=True),
    _integer("speed_wet", "visit speeds", "", "1 of days from the onset on.", nullable=False),
    _integer("speed_trips", "visit speeds", "", "Recorded trips that tell it.", nullable=False),
    Column(
        "speed_recorded_km_h",
        "number",
        "visit speeds",
        "km/h",
        "Speed by them: it is planned by.",
        0,
        None,
    ),
    Column(
        "speed_given_km_h",
        "number",
        "visit speeds",
        "km/h",
        "Speed as the file of agents has it.",
        0,
        None,
    ),
    _text("kind", "features", "Kind of a feature that takes land, as given."),
    _text(
        "feature",
        "features",
        "What it is called: its kind and name, or its kind and row of the file.",
    ),
    Column(
        "width_m",
        "number",
        "features",
        "m",
        "Width of a feature drawn as a line.",
        0,
        None,
        nullable=True,
    ),
    _text("crop", "drawing", "What is planted along a row: beans or maize."),
    _integer("row", "drawing", "", "Number of a row in its plot, the first 1, counted downhill."),
    _metres("length_m", "Length of a row on the ground.", "drawing"),
    _text("order_status", "lists", "order, or upper limit: it isn't known who takes part."),
    _integer(
        "held_back_g",
        "lists",
        "g",
        "Part of what is issued that is for plots without a safe outlet: kept until they have one.",
        nullable=False,
    ),
    _text("signature", "lists", "Left empty, for a signature or thumbprint."),
    _text("reason", "set aside", "Why the row wasn't used."),
    _text("remedy", "set aside", "What to do about it."),
    _text("file_lines", "set aside", "Lines of the plots file that it stands in; of CSV alone."),
    _text(
        "row_set_by",
        "outputs",
        "What sets out the rows: bearing, level (the bearing only checks), guide lines, any "
        "direction, measure on the ground, nothing yet (an outlet comes first) or not for beans.",
    ),
    _text("row_method_why", "outputs", "Why rows are laid out so, in a sentence."),
    _text("flags", "outputs", "Why the plot is flagged, in sentences; empty where it isn't."),
    _kilograms("seed_kg", "Seed planted: the grams, in kilograms."),
    _kilograms("npk_kg", "NPK fertiliser: the grams, in kilograms."),
    _kilograms("urea_kg", "Urea: the grams, in kilograms."),
    _kilograms("manure_kg", "Composted manure: the grams, in kilograms."),
    Column(
        "bbox",
        "geometry",
        "outputs",
        "",
        "Bounds of the outline, by which readers of plots.parquet skip what they don't need.",
    ),
)
BY_NAME = {column.name: column for column in COLUMNS}


def made_by(maker: Maker) -> tuple[str, ...]:
    """List the columns that a stage makes.

    Parameters
    ----------
    maker : Maker
        The stage.

    Returns
    -------
    tuple[str, ...]
        Names, in order.
    """
    return tuple(column.name for column in COLUMNS if column.maker == maker)


def check(frame: pd.DataFrame, columns: Iterable[str]) -> pd.DataFrame:
    """Hold a table to its declaration.

    Parameters
    ----------
    frame : pandas.DataFrame
        The table.
    columns : Iterable[str]
        Columns that it must have, no others.

    Returns
    -------
    pandas.DataFrame
        The same table, its columns in the declared order.

    Raises
    ------
    ValueError
        If a column is missing, undeclared, of another kind, null where it may not be, or holds an
        unbelievable value: a fault of the program, not of the user's data.
    """
    names = list(columns)
    wrong = [f"missing {name}" for name in names if name not in frame]
    wrong += [f"not declared here: {name}" for name in frame if name not in names]
    for column in (BY_NAME[name] for name in names if name in frame):
        values = frame[column.name]
        if not column.nullable and bool(values.isna().any()):
            wrong.append(f"{column.name} is null in {int(values.isna().sum())} rows")
        if column.kind == "integer" and not pd.api.types.is_integer_dtype(values):
            wrong.append(f"{column.name} is {values.dtype}, not integer")
        if column.kind == "number" and not pd.api.types.is_float_dtype(values):
            wrong.append(f"{column.name} is {values.dtype}, not a number")
        if column.low is not None and bool((values < column.low).any()):
            wrong.append(f"{column.name} falls below {column.low}")
        if column.high is not None and bool((values > column.high).any()):
            wrong.append(f"{column.name} rises above {column.high}")
    if wrong:
        raise ValueError("; ".join(wrong))
    return frame[names]
