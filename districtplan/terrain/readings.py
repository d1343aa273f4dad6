"""Slopes and bearings measured on the ground, which override the raster's."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from districtplan import geodesy, records, tables
from districtplan.terrain import hillside
from districtplan.terrain.method import LEVEL_REASONS, METHODS

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan, Terrain

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

REASONS = {
    "measured": "straight",
    "measured_past_limit": "straight",
    "measured_against_raster": "straight",
    "measured_but_bends": "guide lines",
    "measured_flat": "any direction",
    "measured_not_flat": "measure on the ground",
}
"""Reasons for a row method that a reading gives, and the method."""

FLAGS = ("bearing_reading_outside", "slope_reading_outside")
"""Flags of a plot whose latest reading the errors of raster and reading don't explain."""


def latest(compared: pd.DataFrame, column: str) -> pd.DataFrame:
    """Give each plot's latest reading of one thing.

    Parameters
    ----------
    compared : pandas.DataFrame
        Readings used; a plot has at most one of a thing a day.
    column : str
        ``slope_read_pct`` or ``bearing_read_true_deg``.

    Returns
    -------
    pandas.DataFrame
        Those readings, one row a plot, with their index in ``compared``.
    """
    read = compared[compared[column].notna()].sort_values("reading_date", kind="stable")
    return read.drop_duplicates("plot_id", keep="last")


def true_bearing(readings: pd.DataFrame, plots: pd.DataFrame, grid_crs: CRS) -> Floats:
    """Refer bearings read to true north: true = magnetic + declination = grid + convergence.

    Declination is that of the day of the reading.

    Parameters
    ----------
    readings : pandas.DataFrame
        Readings used.
    plots : pandas.DataFrame
        ``plot_id``, ``longitude_deg`` and ``latitude_deg`` of their plots.
    grid_crs : pyproj.CRS
        UTM zone that grid bearings refer to.

    Returns
    -------
    numpy.ndarray
        Bearings of the lines, NaN where none was read, shape (readings,) [degrees].
    """
    place = plots.set_index("plot_id").loc[readings["plot_id"]]
    longitude, latitude = (place[f"{name}_deg"].to_numpy() for name in ("longitude", "latitude"))
    reference = readings["bearing_reference"].to_numpy(dtype=object)
    turn = np.zeros(len(readings))
    on_grid = reference == "grid"
    turn[on_grid] = geodesy.convergence_deg(grid_crs, longitude[on_grid], latitude[on_grid])
    days = readings["date"].to_numpy(dtype=object)
    for day in dict.fromkeys(days[reference == "magnetic"].tolist()):
        then = (reference == "magnetic") & (days == day)
        turn[then] = geodesy.declination_deg(longitude[then], latitude[then], day)
    return geodesy.line_deg(readings["bearing_deg"].to_numpy(dtype=np.float64) + turn)


def apply(
    terrain: pd.DataFrame,
    compared: pd.DataFrame,
    plots: pd.DataFrame,
    grid_crs: CRS,
    plan: Plan,
    handbook: Handbook,
) -> pd.DataFrame:
    """Let readings override what the raster says of their plots.

    A measured bearing is laid out as straight rows, but where the raster shows that the land bends
    too much for any: one reading tells nothing of the rest of the plot. A measured slope takes the
    raster's place in soil loss and limits; where it is level, rows may run in any direction, a
    bearing read or not, unless the soil drains poorly; where it shows that level land isn't, or
    that the raster's bearing isn't sure enough for so gentle a slope, the bearing is to be measured
    too. Where raster and reading disagree by more than their errors explain, the plot is flagged,
    and rows are given the grade that they have if the raster is right.

    Parameters
    ----------
    terrain : pandas.DataFrame
        What the raster says, one row a plot, with the columns made for ``estimate``.
    compared : pandas.DataFrame
        Readings used, compared with the raster.
    plots : pandas.DataFrame
        ``plot_id``, ``longitude_deg`` and ``latitude_deg`` of the same plots; ``soil_drainage``
        where it is known, which stands before the plan's.
    grid_crs : pyproj.CRS
        UTM zone that grid bearings refer to.
    plan : Plan
        Its section ``terrain``, and the drainage of its ``soil``.
    handbook : Handbook
        Errors of readings (table ``ground_readings``).

    Returns
    -------
    pandas.DataFrame
        The same plots and columns, but ``estimate``'s, and those made by readings.
    """
    table = terrain.reset_index(drop=True)
    read = {
        kind: latest(compared, column).set_index("plot_id").reindex(table["plot_id"])
        for kind, column in (("slope", "slope_read_pct"), ("bearing", "bearing_read_true_deg"))
    }
    outside = {kind: (row[f"{kind}_agrees"] == "outside").to_numpy() for kind, row in read.items()}
    for kind, row in read.items():
        table[f"{kind}_reading_date"] = _text(row["reading_date"])
        table[f"{kind}_reading_method"] = _text(row["reading_method"])
    for column, kind, name in (
        ("slope_measured_pct", "slope", "slope_read_pct"),
        ("row_bearing_measured_true_deg", "bearing", "bearing_read_true_deg"),
        ("row_bearing_raster_true_deg", "bearing", "bearing_raster_true_deg"),
        ("row_bearing_raster_se_deg", "bearing", "bearing_raster_se_deg"),
    ):
        table[column] = read[kind][name].to_numpy(dtype=np.float64)
    for name in ("row_method", "row_method_reason"):
        table[f"{name}_raster"] = table[name]
    table["slope_used_pct"] = table["slope_measured_pct"].fillna(table["slope_corrected_pct"])
    table["row_grade_limit_pct"] = _limit(table, plan.terrain)
    _steepen(table, outside["slope"])
    grades = _grades(table, outside, handbook)
    table["read_grade_likely_pct"], table["read_grade_95_pct"] = grades
    times = handbook.number(records.TABLE, "outside_se")
    reach = times * handbook.number(records.TABLE, "level_slope_se_pct")
    same = plots.set_index("plot_id").loc[table["plot_id"]]
    wet = tables.drains_poorly(same, plan.soil.drainage)
    table["row_method_reason"] = _reasons(table, outside, reach, wet, plan)
    _lay_out(table, reach, handbook)
    _refer(table, plots, grid_crs)
    table["terrain_flags"] = _flags(table, outside)
    names = ("plot_id", *tables.made_by("terrain"), *tables.made_by("readings"))
    return tables.check(table[list(names)], names)


def _text(values: pd.Series) -> pd.Series:
    return values.astype(object).where(values.notna(), None).reset_index(drop=True)


def _limit(table: pd.DataFrame, terrain: Terrain) -> Floats:
    """Give the grade that rows may have, by the slope measured where anything was."""
    allowed = np.minimum(
        terrain.row_grade_limit_pct, terrain.row_grade_limit_share * table["slope_used_pct"]
    )
    read = table["slope_measured_pct"].notna() | table["row_bearing_measured_true_deg"].notna()
    return np.where(read, allowed, table["row_grade_limit_pct"])


def _steepen(table: pd.DataFrame, outside: Bools) -> None:
    """Let rows at the raster's own bearing fall as much more as a slope read is steeper.

    Within the errors of both slopes that is part of the bearing's error already.
    """
    steeper = outside & (table["slope_corrected_pct"] > 0)
    times = (table["slope_used_pct"] / table["slope_corrected_pct"]).clip(lower=1).where(steeper, 1)
    for column in ("row_grade_likely_pct", "row_grade_95_pct"):
        table[column] *= times


def _reasons(
    table: pd.DataFrame, outside: dict[str, Bools], reach: float, wet: Bools, plan: Plan
) -> NDArray[np.object_]:
    """Say why each plot gets its method; the first reason that holds, in this order."""
    by_bearing = table["row_bearing_measured_true_deg"].notna().to_numpy()
    slope_read = table["slope_measured_pct"].notna().to_numpy()
    by_slope = slope_read & ~by_bearing
    slope, limit, grade, at_bearing = (
        table[column].to_numpy()
        for column in (
            "slope_used_pct", "row_grade_limit_pct", "row_grade_95_pct", "read_grade_95_pct",
        )
    )  # fmt: skip
    before = table["row_method_reason"].to_numpy(dtype=object)
    seen = (table["bend_grade_pct"].to_numpy() > 0) & (grade > limit)
    bends = (before == "straight_rows_too_steep") | ((before == "no_best_direction") & seen)
    was_level = np.isin(before, LEVEL_REASONS)
    flat = plan.terrain.level_slope_pct
    # Where water drains poorly beds must have a fall, which level land has none of.
    level = (slope + reach <= flat) & ~wet
    sloping = slope > flat
    rules = {
        # A level line of level land tells nothing: where both are read the slope decides.
        "measured_flat": slope_read & level & ~bends & ~outside["slope"] & ~(by_slope & was_level),
        "measured_but_bends": by_bearing & bends,
        "measured_against_raster": by_bearing & outside["bearing"],
        "measured_past_limit": by_bearing & (at_bearing > limit),
        "measured": by_bearing,
        "measured_not_flat": by_slope & sloping & was_level,
        "bearing_too_uncertain": by_slope & (grade > limit) & (before == "supported"),
    }
    return np.select(list(rules.values()), list(rules), default=before).astype(object)


def _grades(
    table: pd.DataFrame, outside: dict[str, Bools], handbook: Handbook
) -> tuple[Floats, Floats]:
    """Give the likely and the 19-in-20 grade of rows at the bearings read.

    Where raster and reading agree within their errors, the level line is taken from both, each
    weighted by its precision; for want of the raster's, from the reading alone. Where they don't,
    rows fall as the raster says they do along the bearing read, and where the slopes differ too, by
    the steeper one. The grade of a bend that the raster shows comes on top.
    """
    error = handbook.number(records.TABLE, "bearing_se_deg")
    times = handbook.number(records.TABLE, "outside_se")
    slope = table["slope_used_pct"].to_numpy()
    steeper = np.fmax(slope, table["slope_corrected_pct"].to_numpy())
    slope = np.where(outside["slope"], steeper, slope)
    slope = np.where(outside["bearing"], np.fmax(slope, table["across_grade_pct"]), slope)
    read, line = table["row_bearing_measured_true_deg"], table["row_bearing_raster_true_deg"]
    away = np.abs(geodesy.shorter_turn_deg(read.to_numpy() - line.to_numpy()))
    away = np.where(line.isna(), 0.0, away)
    beside = table["row_bearing_raster_se_deg"].fillna(np.inf).to_numpy()
    # A mean of both lies off the reading by the raster's share of their distance.
    share = error**2 / (error**2 + beside**2)
    off, left = share * away, error * np.sqrt(1 - share)
    against = outside["bearing"]
    likely = np.where(against, away, np.hypot(off, left))
    far = np.where(against, away + times * np.hypot(beside, error), off + times * left)
    bend = table["bend_grade_pct"].to_numpy()
    return (
        np.hypot(bend, slope * np.sin(np.radians(likely))),
        np.hypot(bend, slope * np.sin(np.radians(np.minimum(far, 90.0)))),
    )


def _lay_out(table: pd.DataFrame, reach: float, handbook: Handbook) -> None:
    """Set method, bearing, its error and grades; a plot with a bearing needs no hillside."""
    reason = table["row_method_reason"]
    by_bearing = table["row_bearing_measured_true_deg"].notna()
    straight, flat = by_bearing & (reason != "measured_but_bends"), reason == "measured_flat"
    table["row_method"] = reason.map({**METHODS, **REASONS})
    none = table["row_method"].isin(["any direction", "measure on the ground"])
    true = table["row_bearing_measured_true_deg"].fillna(table["row_bearing_true_deg"])
    table["row_bearing_true_deg"] = true.mask(none)
    error = handbook.number(records.TABLE, "bearing_se_deg")
    # Whichever way rows run on level land, they fall no more than it.
    slope = table["slope_used_pct"]
    for column, value, here in (
        ("row_bearing_se_deg", error, by_bearing),
        ("row_bearing_se_deg", np.nan, flat),
        ("row_grade_likely_pct", table["read_grade_likely_pct"], straight),
        ("row_grade_95_pct", table["read_grade_95_pct"], straight),
        ("row_grade_likely_pct", slope, flat),
        ("row_grade_95_pct", slope + reach, flat),
        # The raster's is that of its own bearing.
        ("row_grade_rms_pct", np.nan, straight),
        ("hillside_slope_pct", np.nan, by_bearing | flat),
        ("hillside_downslope_true_deg", np.nan, by_bearing | flat),
    ):
        table[column] = table[column].mask(here, value)


def _refer(table: pd.DataFrame, plots: pd.DataFrame, grid_crs: CRS) -> None:
    """Refer bearings that readings changed to grid and magnetic north and to words."""
    changed = table["row_method_reason"] != table["row_method_reason_raster"]
    place = plots.set_index("plot_id").loc[table.loc[changed, "plot_id"]]
    true = table.loc[changed, "row_bearing_true_deg"].to_numpy()
    convergence = geodesy.convergence_deg(
        grid_crs, place["longitude_deg"].to_numpy(), place["latitude_deg"].to_numpy()
    )
    declination = table.loc[changed, "declination_deg"].to_numpy()
    table.loc[changed, "row_bearing_grid_deg"] = geodesy.line_deg(true - convergence)
    table.loc[changed, "row_bearing_magnetic_deg"] = geodesy.line_deg(true - declination)
    words = table["row_bearing_words"].to_numpy(dtype=object).copy()
    words[changed.to_numpy()] = geodesy.line_in_words(true)
    table["row_bearing_words"] = words


def _flags(table: pd.DataFrame, outside: dict[str, Bools]) -> list[tuple[str, ...]]:
    """Take back what a reading settles, and raise what it contradicts."""
    told = zip(
        table["terrain_flags"],
        table["slope_measured_pct"].notna(),
        # What a bearing, or that none is needed, settles.
        table["row_bearing_measured_true_deg"].notna() | (table["row_method"] == "any direction"),
        outside["bearing"].tolist(),
        outside["slope"].tolist(),
        strict=True,
    )
    return [
        (
            *(code for code, here in zip(FLAGS, raised, strict=True) if here),
            *(
                code
                for code in codes
                if not (by_slope and code == "noise_exceeds_slope")
                and not (settled and code in hillside.FLAGS)
            ),
        )
        for codes, by_slope, settled, *raised in told
    ]
