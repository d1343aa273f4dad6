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
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

REASONS = {
    "measured": "straight",
    "measured_but_bends": "guide lines",
    "measured_not_flat": "measure on the ground",
}
"""Reasons for a row method that a reading gives, and the method."""


def latest(readings: pd.DataFrame, column: str) -> pd.DataFrame:
    """Give each plot's latest reading of one thing.

    Parameters
    ----------
    readings : pandas.DataFrame
        Readings used; a plot has at most one of a thing a day.
    column : str
        ``slope_pct`` or ``bearing_deg``.

    Returns
    -------
    pandas.DataFrame
        Those readings, one row a plot, with their index in ``readings``.
    """
    read = readings[readings[column].notna()].sort_values("date", kind="stable")
    return read.drop_duplicates("plot_id", keep="last")


def true_bearing(
    readings: pd.DataFrame, terrain: pd.DataFrame, plots: pd.DataFrame, grid_crs: CRS
) -> Floats:
    """Refer bearings read to true north: true = magnetic + declination = grid + convergence.

    Parameters
    ----------
    readings : pandas.DataFrame
        Readings used.
    terrain : pandas.DataFrame
        ``plot_id`` and ``declination_deg`` of their plots.
    plots : pandas.DataFrame
        ``plot_id``, ``longitude_deg`` and ``latitude_deg`` of the same plots.
    grid_crs : pyproj.CRS
        UTM zone that grid bearings refer to.

    Returns
    -------
    numpy.ndarray
        Bearings of the lines, NaN where none was read, shape (readings,) [degrees].
    """
    ids = readings["plot_id"]
    place = plots.set_index("plot_id").loc[ids]
    convergence = geodesy.convergence_deg(
        grid_crs, place["longitude_deg"].to_numpy(), place["latitude_deg"].to_numpy()
    )
    declination = terrain.set_index("plot_id").loc[ids, "declination_deg"].to_numpy()
    reference = readings["bearing_reference"].to_numpy(dtype=object)
    turn = np.select(
        [reference == "magnetic", reference == "grid"], [declination, convergence], default=0.0
    )
    return geodesy.line_deg(readings["bearing_deg"].to_numpy(dtype=np.float64) + turn)


def apply(
    terrain: pd.DataFrame,
    readings: pd.DataFrame,
    plots: pd.DataFrame,
    grid_crs: CRS,
    plan: Plan,
    handbook: Handbook,
) -> pd.DataFrame:
    """Let readings override what the raster says of their plots.

    A measured bearing is laid out as straight rows, but where the raster shows that the land bends
    too much for any: one reading tells nothing of the rest of the plot. A measured slope takes the
    raster's place in soil loss and limits; where it shows that level land isn't, or that the
    raster's bearing isn't sure enough for so gentle a slope, the bearing is to be measured too.

    Parameters
    ----------
    terrain : pandas.DataFrame
        What the raster says, one row a plot.
    readings : pandas.DataFrame
        Readings used.
    plots : pandas.DataFrame
        ``plot_id``, ``longitude_deg`` and ``latitude_deg`` of the same plots.
    grid_crs : pyproj.CRS
        UTM zone that grid bearings refer to.
    plan : Plan
        Its section ``terrain``.
    handbook : Handbook
        The error of a bearing read (table ``ground_readings``).

    Returns
    -------
    pandas.DataFrame
        The same plots and columns, and those made by readings.
    """
    readings = readings.assign(bearing_deg=true_bearing(readings, terrain, plots, grid_crs))
    table = terrain.reset_index(drop=True)
    for column, measured, kind in (
        ("slope_pct", "slope_measured_pct", "slope"),
        ("bearing_deg", "row_bearing_measured_true_deg", "bearing"),
    ):
        taken = latest(readings, column).set_index("plot_id")
        row = taken.reindex(table["plot_id"]).reset_index(drop=True)
        table[measured] = row[column].astype(np.float64)
        table[f"{kind}_reading_date"] = _text(row["date"].map(str, na_action="ignore"))
        table[f"{kind}_reading_method"] = _text(row["method"])
    table["slope_used_pct"] = table["slope_measured_pct"].fillna(table["slope_corrected_pct"])
    changed = _lay_out(table, plan, handbook)
    _refer(table, changed, plots, grid_crs)
    table["terrain_flags"] = _flags(table)
    names = ("plot_id", *tables.made_by("terrain"), *tables.made_by("readings"))
    return tables.check(table, names)


def _text(values: pd.Series) -> pd.Series:
    return values.astype(object).where(values.notna(), None)


def _lay_out(table: pd.DataFrame, plan: Plan, handbook: Handbook) -> Bools:
    """Set method, bearing, error and grades; tell which plots have another bearing than before."""
    by_bearing = table["row_bearing_measured_true_deg"].notna().to_numpy()
    by_slope = table["slope_measured_pct"].notna().to_numpy() & ~by_bearing
    slope = table["slope_used_pct"].to_numpy()
    allowed = np.minimum(
        plan.terrain.row_grade_limit_pct, plan.terrain.row_grade_limit_share * slope
    )
    limit = np.where(by_bearing | by_slope, allowed, table["row_grade_limit_pct"])
    before = table["row_method_reason"].to_numpy(dtype=object)
    bends = by_bearing & (before == "straight_rows_too_steep")
    uneven = by_slope & np.isin(before, LEVEL_REASONS) & (slope > plan.terrain.level_slope_pct)
    unsure = by_slope & (before == "supported") & (table["row_grade_95_pct"].to_numpy() > limit)
    reason = np.select(
        [bends, by_bearing, uneven, unsure],
        ["measured_but_bends", "measured", "measured_not_flat", "bearing_too_uncertain"],
        default=before,
    )
    table["row_grade_limit_pct"] = limit
    table["row_method_reason"] = reason.astype(object)
    table["row_method"] = table["row_method_reason"].map({**METHODS, **REASONS})
    true = table["row_bearing_true_deg"].mask(unsure)
    table["row_bearing_true_deg"] = true.mask(
        by_bearing, table["row_bearing_measured_true_deg"].to_numpy()
    )
    # The raster's grades are those of its own bearing; of a bearing read only the error is known.
    # Where the land bends, that is the smaller part.
    error = handbook.number(records.TABLE, "bearing_se_deg")
    far = handbook.number(records.TABLE, "outside_se") * error
    for column, value in (
        ("row_bearing_se_deg", error),
        ("row_grade_rms_pct", np.nan),
        ("row_grade_likely_pct", slope * np.sin(np.radians(error))),
        ("row_grade_95_pct", slope * np.sin(np.radians(far))),
        ("hillside_slope_pct", np.nan),
        ("hillside_downslope_true_deg", np.nan),
    ):
        table[column] = table[column].mask(by_bearing & ~bends, value)
    changed: Bools = by_bearing | unsure
    return changed


def _refer(table: pd.DataFrame, changed: Bools, plots: pd.DataFrame, grid_crs: CRS) -> None:
    """Refer changed bearings to grid and magnetic north and to words."""
    place = plots.set_index("plot_id").loc[table.loc[changed, "plot_id"]]
    true = table.loc[changed, "row_bearing_true_deg"].to_numpy()
    convergence = geodesy.convergence_deg(
        grid_crs, place["longitude_deg"].to_numpy(), place["latitude_deg"].to_numpy()
    )
    declination = table.loc[changed, "declination_deg"].to_numpy()
    table.loc[changed, "row_bearing_grid_deg"] = geodesy.line_deg(true - convergence)
    table.loc[changed, "row_bearing_magnetic_deg"] = geodesy.line_deg(true - declination)
    words = table["row_bearing_words"].to_numpy(dtype=object).copy()
    words[changed] = geodesy.line_in_words(true)
    table["row_bearing_words"] = words


def _flags(table: pd.DataFrame) -> list[tuple[str, ...]]:
    """Take back what a reading settles."""
    settled = zip(
        table["terrain_flags"],
        table["slope_measured_pct"].notna(),
        table["row_bearing_measured_true_deg"].notna(),
        strict=True,
    )
    return [
        tuple(
            code
            for code in codes
            if not (by_slope and code == "noise_exceeds_slope")
            and not (by_bearing and code in hillside.FLAGS)
        )
        for codes, by_slope, by_bearing in settled
    ]
