"""What readings override, and from which north they are."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from pyproj import CRS, Proj

from districtplan import geodesy, handbook, terrain
from districtplan.terrain import readings as stage
from tests.conftest import measured, plan_of, square, surface_raster
from tests.support import renumbered

ZONE = CRS.from_epsg(32736)
DAY = date(2026, 2, 27)


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
    found = terrain.apply_readings(
        table, readings_of(*rows), plots, ZONE, plan, book or handbook.packaged()
    )
    return found.set_index("plot_id")


def test_without_readings_nothing_changes():
    table, *_ = ground()
    found = applied([]).reset_index()
    pd.testing.assert_frame_equal(found[table.columns], table)
    assert found["slope_measured_pct"].isna().all()
    assert found["bearing_reading_method"].isna().all()
    assert found["slope_used_pct"].tolist() == table["slope_corrected_pct"].tolist()


def test_a_reading_overrides_its_plot_alone():
    found = applied([("P1", 31.5, 214.0, "true", "A-frame", DAY)])
    row = found.loc["P1"]
    assert (row["slope_measured_pct"], row["slope_used_pct"]) == (31.5, 31.5)
    assert (row["slope_reading_date"], row["slope_reading_method"]) == ("2026-02-27", "A-frame")
    assert row["row_bearing_measured_true_deg"] == row["row_bearing_true_deg"] == 34.0
    assert row["row_bearing_words"] == "NE–SW"
    assert (row["row_method"], row["row_method_reason"]) == ("straight", "measured")
    assert row["row_bearing_se_deg"] == 2.0
    assert np.isnan(row["row_grade_rms_pct"])
    assert row["row_grade_95_pct"] == pytest.approx(31.5 * np.sin(np.radians(4)))
    table, *_ = ground()
    others = ["P0", "P2"]
    expected = table.set_index("plot_id").loc[others]
    pd.testing.assert_frame_equal(found.loc[others, expected.columns], expected)


@pytest.mark.parametrize("reference", ["true", "magnetic", "grid"])
def test_a_bearing_comes_back_from_the_north_it_was_read_from(reference):
    row = applied([("P2", np.nan, 77.0, reference, "compass", DAY)]).loc["P2"]
    assert row[f"row_bearing_{reference}_deg"] == pytest.approx(77.0, abs=1e-9)


def compass_error() -> float:
    """How far the printed true bearing of a compass reading is off, by another way."""
    _, plots, _ = ground()
    place = plots.set_index("plot_id").loc["P0"]
    year = geodesy.decimal_year(date(2026, 3, 15))
    declination = geodesy.declination_exact(
        place["latitude_deg"], place["longitude_deg"], 0.0, year
    )
    assert abs(declination) > 0.5
    row = applied([("P0", np.nan, 60.0, "magnetic", "compass", DAY)]).loc["P0"]
    return abs(row["row_bearing_true_deg"] - (60.0 + declination))


def test_declination_is_added_to_a_compass_bearing():
    assert compass_error() < 0.01


@pytest.mark.parametrize("times", [0.0, -1.0], ids=["magnetic taken as true", "sign turned"])
def test_a_wrong_declination_would_be_seen(times, monkeypatch):
    def faulty(readings, table, *_):
        declination = table.set_index("plot_id").loc[readings["plot_id"], "declination_deg"]
        return geodesy.line_deg(readings["bearing_deg"].to_numpy() + times * declination.to_numpy())

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
    found = terrain.apply_readings(bent, taken, plots, ZONE, plan, handbook.packaged())
    row, before = found.set_index("plot_id").loc["P0"], bent.set_index("plot_id").loc["P0"]
    assert (row["row_method"], row["row_method_reason"]) == ("guide lines", "measured_but_bends")
    assert row["row_bearing_true_deg"] == 12.0
    assert row["row_grade_95_pct"] == before["row_grade_95_pct"]


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
    row = applied([("P0", 30.0, 12.0, "true", "A-frame", DAY)], book=book).loc["P0"]
    assert row["row_bearing_se_deg"] == 5.0
    assert row["row_grade_likely_pct"] == pytest.approx(30 * np.sin(np.radians(5)))
