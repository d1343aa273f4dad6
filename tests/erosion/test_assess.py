"""Soil loss, classes and flags of plots."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan import erosion, tables
from districtplan.erosion import ls
from districtplan.handbook import packaged
from tests.conftest import plan_of
from tests.support import SOIL, assessed

RIDGED = plan_of(soil=SOIL, practice={"row_form": "ridges"})
FLAT = plan_of(soil=SOIL)
DRY = plan_of()
GIVEN = erosion.PRACTICE
UP_DOWN, CONTOUR = "soil_loss_up_down_likely_t_ha_yr", "soil_loss_contour_likely_t_ha_yr"


def beside(practice: pd.DataFrame | None = None, **more) -> erosion.Beside:
    """What is known beside the plan; practice may lack columns."""
    if practice is not None:
        practice = practice.reindex(columns=GIVEN)
    return erosion.Beside(practice=practice, **more)


def one(slope_pct, length_m=30.0, plan=RIDGED, **more) -> pd.Series:
    return assessed(slope_pct, length_m, plan, **more).iloc[0]


def test_columns_and_order():
    found = assessed([3.0, 40.0, 8.0], 30.0, RIDGED)
    assert found.columns.tolist() == ["plot_id", *tables.made_by("erosion")]
    assert found["plot_id"].tolist() == ["P0", "P1", "P2"]


def test_product_by_hand():
    """R 4500, K 0.03, C 0.2, contour P 0.6 at 10 % and 30 m."""
    found = one(10.0)
    factor = ls.ls_factor(np.array([10.0]), np.array([30.0]), ls.constants(packaged()))[0]
    assert found["ls"] == factor
    assert found[UP_DOWN] == pytest.approx(4500 * 0.03 * 0.2 * factor)
    assert found[CONTOUR] == pytest.approx(0.6 * found[UP_DOWN])
    assert (found["erosion_class_number"], found["erosion_class"]) == (2, "moderate")
    assert found["erosion_flags"] == ()


def test_terrain_is_taken_by_id_not_by_place():
    terrain = pd.DataFrame(
        {
            "plot_id": ["b", "a"],
            "slope_mean_pct": [20.0, 2.0],
            "slope_se_pct": 1.0,
            "slope_measured_pct": np.nan,
            "slope_used_pct": [20.0, 2.0],
            "slope_length_m": [30.0, 30.0],
        }
    )
    found = erosion.assess(pd.DataFrame({"plot_id": ["a", "b"]}), terrain, DRY, packaged())
    assert found["slope_class_number"].tolist() == [5, 8]


def test_missing_terrain_is_a_fault():
    terrain = pd.DataFrame(
        {
            "plot_id": ["a"],
            "slope_mean_pct": [20.0],
            "slope_se_pct": 1.0,
            "slope_measured_pct": np.nan,
            "slope_used_pct": [20.0],
            "slope_length_m": [30.0],
        }
    )
    with pytest.raises(ValueError, match="'b'"):
        erosion.assess(pd.DataFrame({"plot_id": ["a", "b"]}), terrain, DRY, packaged())


def test_equations_take_the_corrected_slope_and_limits_the_raw_one():
    found = one(13.0, corrected_pct=10.0)
    assert found["ls"] == one(10.0)["ls"]
    assert found["p_contour"] == 0.6
    assert found["slope_class"] == "Strongly sloping"
    assert "rows_alone_not_enough" in found["erosion_flags"]


def test_length_is_cut_at_the_cap_only_for_the_equations():
    found = one(4.0, 200.0)
    assert found["ls"] == one(4.0, 122.0)["ls"]
    assert "slope_length_capped" in found["erosion_flags"]
    assert "longer_than_contour_limit" in found["erosion_flags"]
    assert "slope_length_capped" not in one(4.0, 122.0)["erosion_flags"]


def test_without_soil_values_everything_but_tonnes_is_told():
    for left_out in SOIL:
        found = one(14.0, plan=plan_of(soil={**SOIL, left_out: None}))
        assert found[[UP_DOWN, CONTOUR, "erosion_class"]].isna().all()
        assert found["erosion_class_number"] is pd.NA
        assert found["ls"] > 0
        assert found["slope_class"] == "Strongly sloping"
        assert {"no_soil_values", "rows_alone_not_enough"} <= set(found["erosion_flags"])


@pytest.mark.parametrize("plan", [RIDGED, DRY])
def test_beyond_the_equations_no_tonnes(plan):
    at, above = one(30.0, plan=plan), one(np.nextafter(30.0, 31.0), plan=plan)
    assert "slope_beyond_equations" not in at["erosion_flags"]
    assert above[["ls", "p_contour", UP_DOWN, CONTOUR]].isna().all()
    assert (above["erosion_class_number"], above["erosion_class"]) == (5, "beyond the equations")
    assert above["erosion_flags"][0] == "slope_beyond_equations"


def test_a_raw_slope_beyond_stays_beyond_whatever_the_correction():
    assert one(31.0, corrected_pct=20.0)["erosion_class_number"] == 5


def test_without_a_slope_length_no_tonnes():
    found = one(6.0, np.nan)
    assert found[["ls", "p_contour", UP_DOWN, CONTOUR, "erosion_class"]].isna().all()
    assert found["erosion_flags"] == ("no_slope_length",)
    assert "no_slope_length" not in one(40.0, np.nan)["erosion_flags"]


@pytest.mark.parametrize(
    ("slope_pct", "codes"),
    [
        (11.9, set()),
        (12.0, {"rows_alone_not_enough"}),
        (49.9, {"rows_alone_not_enough"}),
        (50.0, {"rows_alone_not_enough", "perennials_only"}),
        (60.0, {"rows_alone_not_enough", "forest_only"}),
        (90.0, {"rows_alone_not_enough", "forest_only"}),
    ],
)
def test_land_use_limits(slope_pct, codes):
    limits = {"rows_alone_not_enough", "perennials_only", "forest_only"}
    assert limits & set(one(slope_pct)["erosion_flags"]) == codes


@pytest.mark.parametrize(
    ("row_form", "p", "told"),
    [("flat", 1.0, True), ("ridges", 0.5, False), ("earthed up", 0.5, False)],
)
def test_flat_rows_get_no_credit(row_form, p, told):
    found = one(7.0, plan=plan_of(soil=SOIL, practice={"row_form": row_form}))
    assert found["p_contour"] == p
    assert ("contour_no_credit_flat_rows" in found["erosion_flags"]) == told


def test_rows_get_no_credit_where_staff_ruled_out_ridges():
    beside = erosion.Beside(no_ridges={"P1"})
    plan = plan_of(soil=SOIL, practice={"row_form": "earthed up"})
    found = assessed([7.0, 7.0, 27.0], 30.0, plan, beside=beside)
    assert found["p_contour"].tolist() == [0.5, 1.0, 1.0]
    assert found["soil_saved_contour_likely_t_ha_yr"][1] == 0
    vetoed = ["contour_no_credit_vetoed" in codes for codes in found["erosion_flags"]]
    assert vetoed == [False, True, False]
    # Where rows are flat anyway no veto is the reason.
    flat = assessed(7.0, 30.0, plan_of(soil=SOIL), beside=erosion.Beside(no_ridges={"P0"}))
    assert "contour_no_credit_flat_rows" in flat["erosion_flags"][0]
    assert "contour_no_credit_vetoed" not in flat["erosion_flags"][0]


@pytest.mark.parametrize(("slope_pct", "length_m"), [(0.5, 30), (27.0, 10), (7.0, 61.0), (40, 10)])
def test_flat_rows_forgo_nothing_where_ridges_get_no_credit(slope_pct, length_m):
    assert "contour_no_credit_flat_rows" not in one(slope_pct, length_m, FLAT)["erosion_flags"]


def test_credit_ends_at_the_length_limit():
    limit_m = 200 * 0.3048
    assert one(7.0, limit_m)["p_contour"] == 0.5
    over = one(7.0, np.nextafter(limit_m, 100))
    assert over["p_contour"] == 1.0
    assert over["erosion_flags"] == ("longer_than_contour_limit",)
    assert over[CONTOUR] == over[UP_DOWN]


def test_steeper_than_the_contour_table():
    assert "steeper_than_contour_limit" not in one(25.0, 10)["erosion_flags"]
    found = one(25.5, 10)
    assert found["p_contour"] == 1.0
    assert "steeper_than_contour_limit" in found["erosion_flags"]


@pytest.mark.parametrize(
    ("loss", "number", "name", "flagged"),
    [
        (9.9, 1, "none to slight", False),
        (10.1, 2, "moderate", False),
        (49.9, 2, "moderate", False),
        (50.1, 3, "high", True),
        (199.0, 3, "high", True),
        (201.0, 4, "very high", True),
    ],
)
def test_loss_classes(loss, number, name, flagged):
    """C is chosen so that the loss is the one wanted."""
    full = plan_of(soil={**SOIL, "cover_factor": 1.0})
    cover = loss / one(20.0, 30.0, full)[CONTOUR]
    found = one(20.0, 30.0, plan_of(soil={**SOIL, "cover_factor": cover}))
    assert (found["erosion_class_number"], found["erosion_class"]) == (number, name)
    assert ("loss_class_high" in found["erosion_flags"]) == flagged


def test_every_flag_can_be_raised_and_none_else():
    slope, length = np.meshgrid([0.2, 3, 11, 20, 26, 40, 55, 70], [1.0, 40, 150, np.nan])
    lists = (None, pd.DataFrame({"plot_id": ["P0"], "rows": "across"}))
    raised = {
        code
        for plan in (RIDGED, FLAT, DRY)
        for practice in lists
        for codes in assessed(slope, length, plan, beside=beside(practice))["erosion_flags"]
        for code in codes
    }
    mapped = beside(erodibility=np.array([np.nan]))
    raised |= set(assessed([11.0], [30.0], plan_of(), beside=mapped)["erosion_flags"][0])
    gaps = beside(rain_erosivity=np.array([np.nan]), erodibility=np.array([np.nan]))
    raised |= set(assessed([11.0], [30.0], RIDGED, beside=gaps)["erosion_flags"][0])
    ruled_out = beside(no_ridges={"P0"})
    raised |= set(assessed([11.0], [30.0], RIDGED, beside=ruled_out)["erosion_flags"][0])
    assert raised == set(erosion.FLAGS)


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 200), st.floats(0.1, 500), st.sampled_from([RIDGED, FLAT, DRY]))
def test_contour_never_loses_more(slope, length, plan):
    found = one(slope, length, plan)
    if pd.notna(found[CONTOUR]):
        assert 0 <= found[CONTOUR] <= found[UP_DOWN]
    else:
        assert plan is DRY or found["erosion_class_number"] == 5


@settings(max_examples=8, deadline=None)
@given(st.permutations(range(6)))
def test_order_of_plots_changes_nothing(order):
    slope = np.array([0.5, 4, 9, 18, 28, 45.0])
    found = assessed(slope, 30.0, RIDGED).drop(columns="plot_id")
    turned = assessed(slope[list(order)], 30.0, RIDGED).drop(columns="plot_id")
    expected = found.iloc[list(order)].reset_index(drop=True)
    pd.testing.assert_frame_equal(turned, expected)


def test_largest_plan_stays_within_the_declared_limits():
    soil = {
        "rain_erosivity_mj_mm_ha_h_yr": 50_000,
        "erodibility_t_ha_h_ha_mj_mm": 0.2,
        "cover_factor": 1,
    }
    limits = {"slope_length_cap_m": 305, "equations_slope_max_pct": 55}
    assert one(55.0, 1e6, plan_of(soil=soil, erosion=limits))[UP_DOWN] > 10_000


def test_no_plots():
    assert assessed([], [], RIDGED).empty
