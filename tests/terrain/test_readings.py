"""What readings override, and from which north they are."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from pyproj import CRS, Proj

from districtplan import geodesy, handbook, tables, terrain
from districtplan.terrain import calibration as stage
from districtplan.terrain import readings as terrain_readings
from tests.conftest import measured, plan_of, square, surface_raster
from tests.support import renumbered

ZONE = CRS.from_epsg(32736)
DAY = date(2026, 2, 27)
LEVEL_DEG = float(np.degrees(np.arctan2(0.4, 1)))
"""The level line of the plane that falls to the east-south-east."""
NOISY = {"elevation": {"vertical_error_m": 0.8, "error_correlation_m": 10.0}}


def readings_of(*rows: tuple) -> pd.DataFrame:
    """Rows of plot, slope, bearing, reference, method and day."""
    columns = ["plot_id", "slope_pct", "bearing_deg", "bearing_reference", "method", "date"]
    frame = pd.DataFrame(rows, columns=columns)
    frame.insert(0, "source_row", np.arange(1, len(rows) + 1))
    return frame.astype({"slope_pct": float, "bearing_deg": float})


def ground(slope: float = 0.2, **sections):
    """Three plots, far apart, on a plane that falls to the east-south-east."""
    raster = surface_raster(lambda x, y: 1800 - slope * (x - 0.4 * y))
    shapes = [square(raster, x, y) for x, y in ((-700, 500), (0, 0), (700, -500))]
    plan = plan_of(**sections)
    table, _ = measured(raster, shapes, plan)
    centre = [shape.centroid for shape in shapes]
    to_degrees = Proj(raster.grid.crs)
    longitude, latitude = to_degrees([p.x for p in centre], [p.y for p in centre], inverse=True)
    plots = pd.DataFrame(
        {
            "plot_id": table["plot_id"],
            "longitude_deg": np.asarray(longitude),
            "latitude_deg": np.asarray(latitude),
        }
    )
    return table, plots, plan


def applied(rows: list[tuple], slope: float = 0.2, book=None, **sections) -> pd.DataFrame:
    table, plots, plan = ground(slope, **sections)
    return overridden(table, readings_of(*rows), plots, plan, book)


def overridden(table, taken, plots, plan, book=None) -> pd.DataFrame:
    book = book or handbook.packaged()
    compared, _ = terrain.calibrate(table, taken, plots, ZONE, plan, book)
    return terrain.apply_readings(table, compared, plots, ZONE, plan, book).set_index("plot_id")


def test_without_readings_nothing_changes():
    table, *_ = ground()
    found = applied([]).reset_index()
    kept = ["plot_id", *tables.made_by("terrain")]
    assert not set(tables.made_by("estimate")) & set(found.columns)
    pd.testing.assert_frame_equal(found[kept], table[kept])
    assert found["row_method_raster"].tolist() == table["row_method"].tolist()
    assert found["slope_measured_pct"].isna().all()
    assert found["bearing_reading_method"].isna().all()
    assert found["slope_used_pct"].tolist() == table["slope_corrected_pct"].tolist()


def test_a_reading_overrides_its_plot_alone():
    found = applied([("P1", 21.5, 200.5, "true", "A-frame", DAY)])
    row = found.loc["P1"]
    assert (row["slope_measured_pct"], row["slope_used_pct"]) == (21.5, 21.5)
    assert (row["slope_reading_date"], row["slope_reading_method"]) == ("2026-02-27", "A-frame")
    assert row["row_bearing_measured_true_deg"] == row["row_bearing_true_deg"] == 20.5
    assert row["row_bearing_words"] == "NNE–SSW"
    assert (row["row_method"], row["row_method_reason"]) == ("straight", "measured")
    assert row["row_bearing_se_deg"] == 2.0
    assert np.isnan(row["row_grade_rms_pct"])
    # This raster has no error, so rows fall by what the reading is off its line.
    assert row["row_grade_95_pct"] == pytest.approx(
        21.5 * np.sin(np.radians(LEVEL_DEG - 20.5)), rel=1e-3
    )
    table, *_ = ground()
    others = ["P0", "P2"]
    expected = table.set_index("plot_id").loc[others, list(tables.made_by("terrain"))]
    pd.testing.assert_frame_equal(found.loc[others, expected.columns], expected)


@pytest.mark.parametrize("reference", ["true", "magnetic", "grid"])
def test_a_bearing_comes_back_from_the_north_it_was_read_from(reference):
    row = applied([("P2", np.nan, 77.0, reference, "compass", DAY)]).loc["P2"]
    # Between the day of the reading and that of planting the needle turns by a hundredth.
    near = 0.01 if reference == "magnetic" else 1e-9
    assert row[f"row_bearing_{reference}_deg"] == pytest.approx(77.0, abs=near)


def compass_error() -> float:
    """How far the printed true bearing of a compass reading is off, by another way."""
    _, plots, _ = ground()
    place = plots.set_index("plot_id").loc["P0"]
    year = geodesy.decimal_year(DAY)
    declination = geodesy.declination_exact(
        place["latitude_deg"], place["longitude_deg"], 0.0, year
    )
    assert abs(declination) > 0.5
    row = applied([("P0", np.nan, 60.0, "magnetic", "compass", DAY)]).loc["P0"]
    return abs(row["row_bearing_true_deg"] - (60.0 + declination))


def test_declination_is_added_to_a_compass_bearing():
    assert compass_error() < 0.01


def test_declination_is_that_of_the_day_of_the_reading():
    """Two readings of one needle, a year and a half apart, by the exact model."""
    _, plots, _ = ground()
    place = plots.set_index("plot_id").loc["P0"]
    at = place["latitude_deg"], place["longitude_deg"], 0.0
    days = date(2025, 1, 10), date(2026, 3, 14)
    found = [applied([("P0", np.nan, 21.0, "magnetic", "compass", day)]).loc["P0"] for day in days]
    turned = found[1]["row_bearing_true_deg"] - found[0]["row_bearing_true_deg"]
    old, new = (geodesy.declination_exact(*at, geodesy.decimal_year(day)) for day in days)
    assert abs(new - old) > 0.05
    assert turned == pytest.approx(new - old, abs=0.004)


@pytest.mark.parametrize("times", [0.0, -1.0], ids=["magnetic taken as true", "sign turned"])
def test_a_wrong_declination_would_be_seen(times, monkeypatch):
    def faulty(readings, plots, _):
        place = plots.set_index("plot_id").loc[readings["plot_id"]]
        at = place["longitude_deg"].to_numpy(), place["latitude_deg"].to_numpy()
        turn = times * geodesy.declination_deg(*at, DAY)
        return geodesy.line_deg(readings["bearing_deg"].to_numpy() + turn)

    monkeypatch.setattr(stage, "true_bearing", faulty)
    assert compass_error() > 0.5


def test_convergence_is_added_to_a_grid_bearing():
    _, plots, _ = ground()
    place = plots.set_index("plot_id").loc["P0"]
    row = applied([("P0", np.nan, 60.0, "grid", "map", DAY)]).loc["P0"]
    factors = Proj(ZONE).get_factors(place["longitude_deg"], place["latitude_deg"])
    assert row["row_bearing_true_deg"] == pytest.approx(60 + factors.meridian_convergence, abs=1e-9)


def test_the_latest_wins_and_slope_and_bearing_may_differ():
    row = applied(
        [
            ("P0", 30.0, 40.0, "true", "new", date(2026, 3, 1)),
            ("P0", 10.0, np.nan, None, "newest", date(2026, 3, 2)),
            ("P0", 20.0, 80.0, "true", "old", date(2026, 1, 1)),
        ]
    ).loc["P0"]
    assert (row["slope_measured_pct"], row["slope_reading_method"]) == (10.0, "newest")
    assert (row["row_bearing_true_deg"], row["bearing_reading_method"]) == (40.0, "new")


def test_one_bearing_read_makes_no_straight_rows_on_land_that_bends():
    table, plots, plan = ground()
    bent = table.assign(row_method="guide lines", row_method_reason="straight_rows_too_steep")
    taken = readings_of(("P0", np.nan, 12.0, "true", "A-frame", DAY))
    found = overridden(bent, taken, plots, plan)
    row, before = found.loc["P0"], bent.set_index("plot_id").loc["P0"]
    assert (row["row_method"], row["row_method_reason"]) == ("guide lines", "measured_but_bends")
    assert row["row_bearing_true_deg"] == 12.0
    assert row["row_grade_95_pct"] == before["row_grade_95_pct"]
    assert before["row_bearing_se_deg"] < 1
    assert row["row_bearing_se_deg"] == 2.0


def test_a_plot_that_the_raster_cannot_serve_is_served_by_a_reading():
    served = {"terrain": {"cells_min": 1000.0}}
    before = applied([], **served).loc["P0"]
    assert before["row_method"] == "measure on the ground"
    assert before["hillside_slope_pct"] > 0
    after = applied([("P0", np.nan, 12.0, "true", "A-frame", DAY)], **served).loc["P0"]
    assert (after["row_method"], after["row_bearing_true_deg"]) == ("straight", 12.0)
    assert np.isnan(after["hillside_slope_pct"])
    assert "hillside_falls" in before["terrain_flags"]
    assert "hillside_falls" not in after["terrain_flags"]


def test_a_slope_alone_keeps_the_hillside_of_a_plot_without_a_bearing():
    row = applied([("P0", 25.0, np.nan, None, "level", DAY)], terrain={"cells_min": 1000.0}).loc[
        "P0"
    ]
    assert row["row_method"] == "measure on the ground"
    assert "hillside_falls" in row["terrain_flags"]


def test_land_that_only_the_raster_holds_level_is_to_be_measured():
    level = applied([], slope=0.002).loc["P0"]
    assert level["row_method"] == "any direction"
    row = applied([("P0", 14.0, np.nan, None, "level", DAY)], slope=0.002).loc["P0"]
    assert (row["row_method"], row["row_method_reason"]) == (
        "measure on the ground", "measured_not_flat",
    )  # fmt: skip
    assert np.isnan(row["row_bearing_true_deg"])
    still = applied([("P0", 0.5, np.nan, None, "level", DAY)], slope=0.002).loc["P0"]
    assert still["row_method"] == "any direction"


def test_a_gentler_slope_than_the_rasters_may_take_its_bearing_back():
    noisy = {"elevation": {"vertical_error_m": 0.8, "error_correlation_m": 10.0}}
    before = applied([], **noisy).loc["P0"]
    assert before["row_method"] == "straight"
    assert before["row_grade_95_pct"] < 2
    slope = 0.9 * before["row_grade_95_pct"]
    row = applied([("P0", slope, np.nan, None, "level", DAY)], **noisy).loc["P0"]
    assert row["row_grade_limit_pct"] == pytest.approx(slope / 2)
    assert (row["row_method"], row["row_method_reason"]) == (
        "measure on the ground", "bearing_too_uncertain",
    )  # fmt: skip
    for column in ("true", "grid", "magnetic"):
        assert np.isnan(row[f"row_bearing_{column}_deg"])
    assert pd.isna(row["row_bearing_words"])


def test_the_error_of_a_bearing_read_is_the_handbooks():
    book = renumbered("ground_readings", "bearing_se_deg", 5.0)
    row = applied([("P0", 20.0, 20.0, "true", "A-frame", DAY)], book=book, **NOISY).loc["P0"]
    assert row["row_bearing_se_deg"] == 5.0
    read, raster = row["row_bearing_se_deg"], row["row_bearing_raster_se_deg"]
    off = np.hypot(read**2 * (row["row_bearing_raster_true_deg"] - 20) / (read**2 + raster**2),
                   read * raster / np.hypot(read, raster))  # fmt: skip
    assert row["row_grade_likely_pct"] == pytest.approx(20 * np.sin(np.radians(off)), rel=1e-3)


@pytest.mark.parametrize("away", [90, 40, -15])
def test_a_bearing_across_the_rasters_is_flagged_and_has_no_safe_grade(away):
    read = (LEVEL_DEG + away) % 180
    row = applied([("P0", np.nan, read, "true", "A-frame", DAY)]).loc["P0"]
    assert (row["row_method"], row["row_method_reason"]) == ("straight", "measured_against_raster")
    assert row["row_bearing_true_deg"] == pytest.approx(read)
    assert row["terrain_flags"][0] == "bearing_reading_outside"
    assert row["row_bearing_raster_true_deg"] == pytest.approx(LEVEL_DEG, abs=0.5)
    assert row["row_bearing_raster_se_deg"] < 3
    # What the plane itself falls along those rows.
    slope = 100 * np.hypot(0.2, 0.08)
    falls = slope * np.sin(np.radians(abs(away)))
    assert row["row_grade_likely_pct"] == pytest.approx(falls, rel=0.02)
    assert falls * 0.999 <= row["row_grade_95_pct"] <= slope * 1.001
    assert row["row_grade_95_pct"] > row["row_grade_limit_pct"]


def test_a_bearing_that_agrees_raises_nothing():
    row = applied([("P0", 21.0, LEVEL_DEG + 3, "true", "A-frame", DAY)]).loc["P0"]
    assert row["row_method_reason"] == "measured"
    assert not set(row["terrain_flags"]) & set(terrain_readings.FLAGS)


def test_the_later_of_two_readings_decides_whether_they_disagree():
    first, last = date(2026, 2, 1), date(2026, 2, 2)
    right, wrong = (LEVEL_DEG + turn for turn in (1, 60))
    for bearings, flagged in (((wrong, right), False), ((right, wrong), True)):
        days = zip((first, last), bearings, strict=True)
        rows = [("P0", np.nan, read, "true", "A-frame", day) for day, read in days]
        flags = applied(rows).loc["P0", "terrain_flags"]
        assert ("bearing_reading_outside" in flags) is flagged


def test_a_slope_far_off_the_rasters_is_flagged_and_rows_go_by_the_steeper():
    gentle = applied([("P0", 6.0, LEVEL_DEG, "true", "A-frame", DAY)]).loc["P0"]
    assert "slope_reading_outside" in gentle["terrain_flags"]
    assert gentle["slope_used_pct"] == 6.0
    steeper = gentle["slope_corrected_pct"]
    alike = applied([("P0", steeper, LEVEL_DEG, "true", "A-frame", DAY)]).loc["P0"]
    assert gentle["row_grade_95_pct"] == pytest.approx(alike["row_grade_95_pct"], rel=1e-3)
    before = applied([], **NOISY).loc["P0"]
    steep = applied([("P0", 65.0, np.nan, None, "level", DAY)], **NOISY).loc["P0"]
    times = 65 / before["slope_corrected_pct"]
    assert steep["row_grade_95_pct"] == pytest.approx(before["row_grade_95_pct"] * times)
    assert (before["row_method"], steep["row_method"]) == ("straight", "measure on the ground")


def test_a_bearing_whose_own_error_breaks_the_limit_says_so():
    """At 30 % four degrees fall more than 2 %, at 28 % they don't, where the raster can't tell."""
    rough = {"elevation": {"vertical_error_m": 30.0, "error_correlation_m": 10.0}}
    found = [
        applied([("P0", slope, LEVEL_DEG, "true", "A-frame", DAY)], 0.27, **rough).loc["P0"]
        for slope in (28.0, 30.0)
    ]
    assert [row["row_method_reason"] for row in found] == ["measured", "measured_past_limit"]
    assert np.isnan(found[0]["row_bearing_raster_true_deg"])
    assert found[0]["row_grade_95_pct"] == pytest.approx(28 * np.sin(np.radians(4)))
    assert found[0]["row_grade_likely_pct"] == pytest.approx(28 * np.sin(np.radians(2)))
    # A raster that knows the line better than a compass lets it stand.
    sure = applied([("P0", 30.0, LEVEL_DEG, "true", "A-frame", DAY)], 0.27, **NOISY).loc["P0"]
    assert sure["row_method_reason"] == "measured"
    assert 0 < sure["row_grade_95_pct"] < 30 * np.sin(np.radians(4))


def test_the_grade_of_rows_by_reading_and_raster_holds_19_times_in_20():
    """Draws of a line known to both with their errors; where both agree the bound is kept."""
    rng = np.random.default_rng(11)
    draws, slope, raster_se = 4_000, 25.0, 1.5
    line = 60 + raster_se * rng.standard_normal(draws)
    read = 60 + 2 * rng.standard_normal(draws)
    table, plots, plan = ground()
    many = pd.concat([table.iloc[[0]]] * draws, ignore_index=True)
    many["plot_id"] = [f"D{i}" for i in range(draws)]
    many = many.assign(
        level_line_true_deg=line, level_line_se_deg=raster_se, bend_grade_pct=0.0,
        slope_corrected_pct=slope, across_grade_pct=slope,
    )  # fmt: skip
    places = pd.concat([plots.iloc[[0]]] * draws, ignore_index=True).assign(plot_id=many["plot_id"])
    rows = zip(many["plot_id"], np.full(draws, np.nan), read, strict=True)
    taken = readings_of(*((*row, "true", "A-frame", DAY) for row in rows))
    found = overridden(many, taken, places, plan)
    true = slope * np.abs(np.sin(np.radians(read - 60)))
    held = true <= found["row_grade_95_pct"].to_numpy()
    assert 0.94 <= held.mean() <= 0.985
    agree = (found["row_method_reason"] != "measured_against_raster").to_numpy()
    assert np.sqrt(np.mean(true[agree] ** 2)) == pytest.approx(
        np.sqrt(np.mean(found["row_grade_likely_pct"].to_numpy()[agree] ** 2)), rel=0.1
    )


def test_a_plot_read_as_level_takes_rows_in_any_direction():
    noisy = {"elevation": {"vertical_error_m": 3.0, "error_correlation_m": 10.0}}
    before = applied([], slope=0.01, **noisy).loc["P0"]
    assert before["row_method"] == "measure on the ground"
    row = applied([("P0", 0.1, np.nan, None, "level", DAY)], slope=0.01, **noisy).loc["P0"]
    assert (row["row_method"], row["row_method_reason"]) == ("any direction", "measured_flat")
    assert np.isnan(row["row_bearing_true_deg"])
    assert np.isnan(row["hillside_slope_pct"])
    assert not {"hillside_falls", "hillside_has_no_fall"} & set(row["terrain_flags"])
    assert row["row_grade_95_pct"] == pytest.approx(0.1 + 2 * 0.25)
    above = applied([("P0", 0.6, np.nan, None, "level", DAY)], slope=0.01, **noisy).loc["P0"]
    assert above["row_method"] == "measure on the ground"
    book = renumbered("ground_readings", "level_slope_se_pct", 2.0)
    unsure = applied([("P0", 0.1, np.nan, None, "level", DAY)], 0.01, book, **noisy).loc["P0"]
    assert unsure["row_method"] == "measure on the ground"


@pytest.mark.parametrize("slope", [0.001, 0.01])
def test_a_bearing_read_on_land_read_as_level_is_no_bearing_to_keep(slope):
    noisy = {"elevation": {"vertical_error_m": 3.0, "error_correlation_m": 10.0}}
    both = [("P0", 0.1, 40.0, "true", "level", DAY), ("P1", 1.4, 40.0, "true", "level", DAY)]
    found = applied(both, slope=slope, **noisy)
    assert found.loc["P0", "row_method_reason"] == "measured_flat"
    assert found.loc["P0", "row_method"] == "any direction"
    assert found.loc["P0", ["row_bearing_true_deg", "row_bearing_magnetic_deg"]].isna().all()
    assert np.isnan(found.loc["P0", "row_bearing_se_deg"])
    assert found.loc["P0", "row_grade_95_pct"] == pytest.approx(0.1 + 2 * 0.25)
    assert found.loc["P1", "row_method"] == "straight"
    assert found.loc["P1", "row_bearing_true_deg"] == pytest.approx(40.0)
    # Beds that water drains from poorly must have a fall.
    poor = applied(both, slope=slope, soil={"drainage": "poor"}, **noisy)
    assert poor.loc["P0", "row_method"] == "straight"
    level = [("P0", 0.1, np.nan, None, "level", DAY)]
    alone = applied(level, slope=slope, soil={"drainage": "poor"}, **noisy)
    assert alone.loc["P0", "row_method"] == "measure on the ground"


def test_a_plot_read_as_level_goes_by_its_own_drainage_before_the_plans():
    noisy = {"elevation": {"vertical_error_m": 3.0, "error_correlation_m": 10.0}}
    read = readings_of(*((plot, 0.1, np.nan, None, "level", DAY) for plot in ("P0", "P1", "P2")))
    for drainage, last in (("free", "any direction"), ("poor", "measure on the ground")):
        table, plots, plan = ground(0.01, soil={"drainage": drainage}, **noisy)
        plots["soil_drainage"] = pd.Series(["poor", "free", None], dtype=object)
        # Whichever way round both stand, each plot has its own.
        found = overridden(table, read, plots[::-1], plan)["row_method"]
        assert found[["P0", "P1", "P2"]].tolist() == [
            "measure on the ground", "any direction", last,
        ]  # fmt: skip


def test_a_level_reading_on_land_that_the_raster_shows_to_slope_is_no_leave():
    row = applied([("P0", 0.1, np.nan, None, "level", DAY)]).loc["P0"]
    assert row["row_method"] == "straight"
    assert "slope_reading_outside" in row["terrain_flags"]


def test_no_straight_rows_where_the_raster_shows_that_none_is_level():
    """Between four hills no straight row is level: one bearing read doesn't make it so."""
    raster = surface_raster(lambda x, y: 1500 + 2e-3 * x * y)
    table, plan = *measured(raster, [square(raster, 0, 0, 200)], plan_of())[:1], plan_of()
    plots = pd.DataFrame({"plot_id": table["plot_id"], "longitude_deg": 33.0, "latitude_deg": -2.0})
    assert table["row_method_reason"].tolist() == ["no_best_direction"]
    row = overridden(
        table, readings_of(("P0", np.nan, 45.0, "true", "A-frame", DAY)), plots, plan
    ).loc["P0"]
    assert (row["row_method"], row["row_method_reason"]) == ("guide lines", "measured_but_bends")
    assert row["row_grade_95_pct"] > row["row_grade_limit_pct"]
