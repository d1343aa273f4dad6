"""Readings made of the raster and known noise give that noise back."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from pyproj import CRS

from districtplan import handbook, terrain
from districtplan.terrain import calibration
from tests.conftest import plan_of
from tests.support import renumbered

ZONE = CRS.from_epsg(32736)
STATED = {"elevation": {"vertical_error_m": 1.0, "error_correlation_m": 30.0}}
BIAS, TIMES, READING = 4.0, 1.6, 2.0


def compared(
    slope_off,
    bearing_off,
    slope_se,
    bearing_se=3.0,
    *,
    book=None,
    slope=None,
    read=None,
    reason="supported",
):
    """Compare readings that the raster misses by so much."""
    count = len(slope_off)
    ids = [f"P{i}" for i in range(count)]
    slope = np.full(count, 30.0) if slope is None else slope
    bearing = np.linspace(0, 179, count)
    table = pd.DataFrame(
        {
            "plot_id": ids,
            "row_method_reason": reason,
            "slope_corrected_pct": slope + slope_off,
            "slope_se_pct": slope_se,
            "level_line_true_deg": (bearing + bearing_off) % 180,
            "level_line_se_deg": bearing_se,
        }
    )
    plots = pd.DataFrame({"plot_id": ids, "longitude_deg": 33.0, "latitude_deg": -2.0})
    readings = pd.DataFrame(
        {
            "source_row": np.arange(1, count + 1),
            "plot_id": ids,
            "slope_pct": slope if read is None else read,
            "bearing_deg": bearing,
            "bearing_reference": "true",
            "method": "level",
            "date": date(2026, 2, 27),
        }
    )
    return terrain.calibrate(
        table, readings, plots, ZONE, plan_of(**STATED), book or handbook.packaged()
    )


def noisy(rng: np.random.Generator, count: int):
    """The raster errs by TIMES its stated error and by BIAS, readings by their own."""
    se = rng.uniform(1.0, 6.0, count)
    off = BIAS + TIMES * se * rng.standard_normal(count) + READING * rng.standard_normal(count)
    slope = rng.uniform(60, 100, count)
    _, found = compared(off, 4 * rng.standard_normal(count) - 3, se, slope=slope)
    true_scatter = np.sqrt(np.mean(TIMES**2 * se**2) + READING**2)
    return found, true_scatter


def recovered(count: int, runs: int, rng: np.random.Generator) -> dict[str, float]:
    """Mean over runs of what is found, as a share of what was put in."""
    found = []
    for _ in range(runs):
        told, scatter = noisy(rng, count)
        found.append(
            {
                "bias": told.slopes[0].bias / BIAS,
                "scatter": told.slopes[0].scatter / scatter,
                "error": told.vertical_error_m / TIMES,
                "bearing bias": told.bearings[0].bias / -3,
                "bearing scatter": told.bearings[0].scatter / 4,
            }
        )
    return pd.DataFrame(found).mean().to_dict()


@pytest.mark.parametrize("count", [pytest.param(60, marks=pytest.mark.slow), 200])
def test_bias_scatter_and_error_come_back_on_fresh_seeds(count):
    seed = int(np.random.SeedSequence().generate_state(1)[0])
    found = recovered(count, 8_000 // count, np.random.default_rng(seed))
    for name, share in found.items():
        assert share == pytest.approx(1, abs=0.1), (name, seed)


@pytest.mark.parametrize("seed", range(5))
def test_a_thousand_readings_come_within_a_tenth_each_time(seed):
    rng = np.random.default_rng(seed)
    se = rng.uniform(1.0, 3.0, 1_000)
    off = 4 + TIMES * se * rng.standard_normal(1_000) + READING * rng.standard_normal(1_000)
    _, found = compared(off, np.zeros(1_000), se, slope=np.full(1_000, 40.0))
    assert found.slopes[0].bias == pytest.approx(4, rel=0.1)
    assert found.slopes[0].scatter == pytest.approx(
        np.sqrt(np.mean(TIMES**2 * se**2) + READING**2), rel=0.1
    )
    assert found.vertical_error_m == pytest.approx(TIMES, rel=0.1)


@pytest.mark.slow
def test_the_errors_own_error_is_what_seeds_show():
    rng = np.random.default_rng(7)
    told = [noisy(rng, 100)[0] for _ in range(150)]
    errors = [found.vertical_error_m for found in told]
    stated = np.mean([found.vertical_error_se_m for found in told])
    assert stated == pytest.approx(np.std(errors), rel=0.25)
    biases = [found.slopes[0].bias for found in told]
    assert np.mean([found.slopes[0].bias_se for found in told]) == pytest.approx(
        np.std(biases), rel=0.25
    )


def test_slips_of_one_reading_in_twenty_hardly_move_the_result():
    rng = np.random.default_rng(3)
    se = rng.uniform(1.0, 4.0, 400)
    off = TIMES * se * rng.standard_normal(400) + READING * rng.standard_normal(400)
    clean = compared(off, np.zeros(400), se)[1]
    off[:20] += 60.0
    slipped = compared(off, np.zeros(400), se)[1]
    assert slipped.vertical_error_m == pytest.approx(clean.vertical_error_m, rel=0.1)
    assert slipped.slopes[0].scatter == pytest.approx(clean.slopes[0].scatter, rel=0.1)
    assert slipped.slopes[0].bias == pytest.approx(clean.slopes[0].bias, abs=0.5)
    assert set(slipped.outside) >= {f"P{i}" for i in range(20)}


def test_nothing_is_said_of_nineteen_readings():
    rng = np.random.default_rng(4)
    for count, least in ((19, 0), (20, 1)):
        off = rng.standard_normal(count)
        _, found = compared(off, off, np.full(count, 2.0))
        assert min(len(found.slopes), 1) == min(len(found.bearings), 1) == least
        assert (found.vertical_error_m is not None) is bool(least)


def test_a_class_needs_five_readings():
    slope = np.array([7.0] * 16 + [12.0] * 5 + [22.0] * 4)
    _, found = compared(np.linspace(-1, 1, 25), np.zeros(25), 2.0, slope=slope)
    assert [(one.slope_class, one.readings) for one in found.slopes] == [
        ("", 25), ("Sloping", 16), ("Strongly sloping", 5),
    ]  # fmt: skip


def test_bearings_are_lines():
    table, found = compared(np.zeros(40), np.full(40, 178.0), 2.0)
    assert table["bearing_difference_deg"].to_numpy() == pytest.approx(-2)
    assert found.bearings[0].bias == pytest.approx(-2)
    assert found.outside == ()


def test_outside_is_more_than_both_errors_explain():
    reach = 2 * np.hypot(3.0, 2.0)
    table, found = compared(np.array([reach - 0.01, reach + 0.01]), np.zeros(2), 3.0)
    assert table["slope_agrees"].tolist() == ["inside", "outside"]
    assert found.outside == ("P1",)
    table, found = compared(np.zeros(2), np.array([-reach - 0.01, 0.0]), 3.0)
    assert table["bearing_agrees"].tolist() == ["outside", "inside"]
    assert found.outside == ("P0",)


def superseded(column: str, off: float):
    """Thirty plots read twice, the first time far off; classes differ by plot."""
    ids = [f"P{i}" for i in range(30)]
    slope = np.repeat([8.0, 12.0, 40.0], 10)
    table = pd.DataFrame(
        {
            "plot_id": ids, "row_method_reason": "supported",
            "slope_corrected_pct": slope + 1, "slope_se_pct": 1.0,
            "level_line_true_deg": 92.0, "level_line_se_deg": 3.0,
        }
    )  # fmt: skip
    both = {"slope_pct": np.tile(slope, 2), "bearing_deg": np.full(60, 90.0)}
    both[column][:30] += off
    readings = pd.DataFrame(
        {
            "source_row": np.arange(1, 61), "plot_id": ids * 2, **both,
            "bearing_reference": "true", "method": "level",
            "date": [date(2026, 2, 1)] * 30 + [date(2026, 2, 27)] * 30,
        }
    )  # fmt: skip
    plots = pd.DataFrame({"plot_id": ids, "longitude_deg": 33.0, "latitude_deg": -2.0})
    return terrain.calibrate(table, readings, plots, ZONE, plan_of(**STATED), handbook.packaged())


@pytest.mark.parametrize(("column", "off"), [("slope_pct", 30.0), ("bearing_deg", 40.0)])
def test_readings_that_later_ones_replace_tell_nothing(column, off):
    compared, found = superseded(column, off)
    kind = column.split("_")[0]
    # They are listed as they are, and neither counted nor called outside.
    assert (compared[f"{kind}_agrees"][:30] == "outside").all()
    assert (compared["reading_use"][:30] == "none").all()
    assert found.outside == ()
    for spreads, bias in ((found.slopes, 1.0), (found.bearings, 2.0)):
        assert spreads[0].readings == 30
        assert spreads[0].bias == pytest.approx(bias)
        assert [one.readings for one in spreads[1:]] == [10, 10, 10]


def test_a_plot_outside_by_slope_and_bearing_is_named_once():
    _, found = compared(np.array([30.0, 0.0]), np.array([60.0, 0.0]), 1.0)
    assert found.outside == ("P0",)


def test_the_class_of_a_bearing_is_that_of_the_slope_read_or_else_the_rasters():
    off, read = np.linspace(-1, 1, 20), np.repeat([12.0, 40.0], 10)
    _, found = compared(12.0 - read, off, 1.0, slope=read)
    assert [one.readings for one in found.bearings] == [20, 10, 10]
    _, found = compared(np.zeros(20), off, 1.0, slope=read, read=np.full(20, np.nan))
    assert [one.readings for one in found.bearings] == [20, 10, 10]


def test_a_class_begins_at_its_lower_bound():
    classes = handbook.packaged().rows("slope_classes").set_index("lower_pct")["name"]
    _, found = compared(np.zeros(20), np.zeros(20), 1.0, slope=np.full(20, 10.0))
    assert found.slopes[1].slope_class == classes[10.0]


def test_readings_no_worse_than_their_own_error_show_no_error_of_the_raster():
    rng = np.random.default_rng(5)
    _, found = compared(0.5 * rng.standard_normal(60), np.zeros(60), 2.0)
    assert (found.vertical_error_m, found.vertical_error_se_m) == (0.0, None)


def test_a_raster_taken_as_true_has_no_error_to_scale():
    _, found = compared(np.linspace(-3, 3, 60), np.zeros(60), 0.0)
    assert found.vertical_error_m is None
    assert found.slopes[0].scatter > 0


def test_equal_differences_have_no_scatter():
    one = calibration.spread(np.full(30, 2.0), np.ones(30), handbook.packaged())
    assert (one.bias, one.scatter) == (2.0, 0.0)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("slope_se_pct", 3.0),
        ("bearing_se_deg", 8.0),
        ("readings_min", 80.0),
        ("class_readings_min", 71.0),
        ("outside_se", 1.0),
        ("reject_se", 2.0),
        ("compared_se_max_deg", 2.0),
    ],
)
def test_every_number_of_the_table_matters(name, value):
    rng = np.random.default_rng(6)
    off = 4 * rng.standard_normal(70)
    turn = 6 * rng.standard_normal(70)
    usual = compared(off, turn, np.full(70, 2.0))[1]
    other = compared(off, turn, 2.0, book=renumbered("ground_readings", name, value))[1]
    assert usual != other


@pytest.mark.parametrize("reason", ["straight_rows_too_steep", "no_best_direction"])
def test_a_bearing_is_compared_where_the_raster_prints_none(reason):
    table, found = compared(np.zeros(2), np.array([1.0, 60.0]), 3.0, reason=reason)
    assert table["bearing_agrees"].tolist() == ["inside", "outside"]
    assert table["bearing_not_compared"].isna().all()
    assert found.outside == ("P1",)


def test_a_bearing_that_cannot_be_compared_says_why():
    table, found = compared(np.zeros(2), np.full(2, 60.0), 3.0, np.array([20.5, 19.5]))
    assert table["bearing_not_compared"][0] == "the raster is not sure of its own bearing"
    assert table["bearing_agrees"].tolist()[1:] == ["outside"]
    assert pd.isna(table["bearing_agrees"][0])
    assert pd.isna(table["bearing_raster_true_deg"][0])
    assert found.outside == ("P1",)
    table, found = compared(np.zeros(2), np.full(2, 60.0), 3.0, reason="flat")
    assert set(table["bearing_not_compared"]) == {"level land by the raster"}
    assert found.outside == ()
