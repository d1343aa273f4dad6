"""Soil loss as it is now, and below other land."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan import erosion
from districtplan.erosion import ls
from districtplan.handbook import packaged
from tests.conftest import plan_of
from tests.support import SOIL, assessed

RIDGED = plan_of(soil=SOIL, practice={"row_form": "ridges"})
NOW, UP_DOWN = "soil_loss_now_likely_t_ha_yr", "soil_loss_up_down_likely_t_ha_yr"
CONTOUR, SAVED = "soil_loss_contour_likely_t_ha_yr", "soil_saved_contour_likely_t_ha_yr"
ROWS = ("up and down", "across", "mixed", None)
STRUCTURES = (None, *packaged().rows("structures_now")["name"])


def found_with(slope_pct=10.0, length_m=30.0, plan=RIDGED, above_m=None, **given) -> pd.Series:
    practice = None
    if given:
        practice = pd.DataFrame([{"plot_id": "P0", **given}]).reindex(columns=erosion.PRACTICE)
    above = None
    if above_m is not None:
        names = {"slope_length_above_m": [above_m], "slope_length_above_at_least": [0]}
        above = pd.DataFrame({"plot_id": ["P0"], **names})
    beside = erosion.Beside(practice=practice, above=above)
    return assessed(slope_pct, length_m, plan, beside=beside).iloc[0]


def test_unknown_practice_counts_as_up_and_down_and_says_so():
    found = found_with()
    assert found[NOW] == found[UP_DOWN]
    assert (found["practice_now"], found["practice_now_known"]) == ("not known", 0)
    assert found["erosion_flags"] == ()
    assert "practice_not_known" in found_with(structure="grass strips")["erosion_flags"]


@pytest.mark.parametrize(
    ("given", "p"),
    [
        ({"rows": "up and down", "row_form": "ridges"}, 1.0),
        ({"rows": "across", "row_form": "flat"}, 1.0),
        ({"rows": "across", "row_form": "ridges"}, 0.75),
        ({"rows": "mixed", "row_form": "earthed up"}, 0.875),
        ({"rows": "across", "row_form": "ridges", "row_grade_pct": 0.0}, 0.6),
        ({"rows": "across", "row_form": "ridges", "row_grade_pct": 2.5}, 0.8),
        ({"structure": "bench terraces level", "condition": "good"}, 0.14),
        ({"structure": "bench terraces level", "condition": "poor"}, 0.57),
        ({"structure": "bench terraces level", "condition": "broken"}, 1.0),
        ({"structure": "grass strips", "condition": "good"}, 0.03**0.5),
    ],
)
def test_p_now(given, p):
    found = found_with(**given)
    assert found["p_now"] == pytest.approx(p)
    assert found[NOW] == pytest.approx(p * found[UP_DOWN])


def test_rows_across_earn_nothing_where_contour_rows_do_not():
    assert found_with(25.1, 10.0, rows="across", row_form="ridges")["p_now"] == 1.0
    assert found_with(10.0, 37.0, rows="across", row_form="ridges")["p_now"] == 1.0
    # Between sound bunds rows are short enough again.
    bunds = {"structure": "bunds", "condition": "good", "spacing_m": 15.0}
    assert found_with(10.0, 80.0, rows="across", row_form="ridges", **bunds)["p_now"] == 0.75


def test_bunds_cut_the_slope_and_are_no_p():
    constants = ls.constants(packaged())
    at = {"rows": "up and down", "structure": "bunds", "spacing_m": 12.0}
    sound = found_with(10.0, 60.0, **at, condition="good")
    cut, whole = (
        ls.ls_factor(np.array([10.0]), np.array([long]), constants)[0] for long in (12.0, 60.0)
    )
    assert (sound["p_now"], sound["ls_now"]) == (1.0, cut)
    assert found_with(10.0, 60.0, **at, condition="poor")["ls_now"] == pytest.approx(
        (cut + whole) / 2
    )
    assert found_with(10.0, 60.0, **at, condition="broken")["ls_now"] == whole


def test_saved_is_against_what_is_there():
    found = found_with(rows="across", row_form="ridges", row_grade_pct=2.5)
    assert found[SAVED] == pytest.approx(found[NOW] - found[CONTOUR])
    assert found_with(rows="across", row_form="ridges", row_grade_pct=0.0)[SAVED] == 0.0


@settings(max_examples=60, deadline=None)
@given(
    st.tuples(st.floats(0, 60), st.floats(0.5, 300), st.floats(0, 130) | st.none()),
    st.tuples(st.sampled_from(ROWS), st.sampled_from(["flat", "ridges"])),
    st.sampled_from(STRUCTURES),
    st.sampled_from(["good", "poor", "broken"]),
)
def test_what_is_there_never_adds_loss(land, how, structure, state):
    (slope, length, above), (rows, form) = land, how
    found = found_with(
        slope,
        length,
        above_m=above,
        rows=rows,
        row_form=form,
        structure=structure,
        condition=state if structure else None,
        spacing_m=9.0,
    )
    if pd.isna(found[NOW]):
        assert found["erosion_class_number"] == 5
        assert found["soil_loss_floor_t_ha_yr"] > 0
        return
    assert 0 <= found[SAVED] <= found[NOW] <= found[UP_DOWN] * (1 + 1e-12)
    low, high = found["soil_loss_now_low_t_ha_yr"], found["soil_loss_now_high_t_ha_yr"]
    assert low <= found[NOW] <= high
    assert pd.isna(found["soil_loss_floor_t_ha_yr"])


def test_land_above_adds_loss_and_says_whether_it_is_known():
    alone, none, some = found_with(), found_with(above_m=0.0), found_with(above_m=40.0)
    assert (alone["ls_at_least"], none["ls_at_least"], some["ls_at_least"]) == (1, 0, 0)
    assert found_with(above_m=np.nan)["ls_at_least"] == 1
    assert alone["ls"] == none["ls"] == some["ls_plot_only"] < some["ls"]
    assert some["slope_length_total_m"] == 70.0
    # Rows hold no longer slope, wherever it begins.
    assert "longer_than_contour_limit" in some["erosion_flags"]


def test_the_cap_is_where_the_slope_ends():
    at, over = found_with(above_m=92.0), found_with(above_m=500.0)
    assert over["ls"] == at["ls"]
    assert "slope_length_capped" not in at["erosion_flags"]
    assert "slope_length_capped" in over["erosion_flags"]
    # What is longer than the cap can't be made longer by what isn't known.
    assert found_with(length_m=130.0)["ls_at_least"] == 0


def test_beyond_the_equations_comes_first_with_a_floor():
    found = assessed([10.0, 35.0, 28.0, 50.0], 30.0, RIDGED)
    assert found["erosion_rank"].tolist() == [4, 2, 3, 1]
    assert found["chance_worst_tenth"].isna().tolist() == [False, True, False, True]
    limit = assessed(30.0, 30.0, RIDGED).iloc[0]
    assert found["soil_loss_floor_t_ha_yr"][1] == pytest.approx(limit[NOW])
    assert found["soil_loss_floor_t_ha_yr"].isna().tolist() == [True, False, True, False]


def test_without_soil_values_the_steepest_come_first():
    assert assessed([3.0, 12.0, 8.0], 30.0, plan_of())["erosion_rank"].tolist() == [3, 1, 2]


def test_soils_of_villages_stand_in_place_of_the_plans_k():
    soils = pd.DataFrame({"village": ["Hill"], "k": [0.05], "k_by": ["epic"]})
    beside = erosion.Beside(soils=soils)
    assert assessed(10.0, 30.0, RIDGED, beside=beside)["k"].tolist() == [0.05]
    away = erosion.Beside(soils=soils.assign(village="Ford"))
    assert assessed(10.0, 30.0, RIDGED, beside=away)["k"].tolist() == [0.03]


def test_ls_by_upslope_area_stands_beside():
    cells = ls.FlowCells(np.zeros(3, int), np.array([0.0, 100, 200]), np.full(3, 10.0), np.ones(3))
    length = erosion.LengthByArea(np.array([12.0]), 122.0, erosion.constants(packaged()))
    length.add(cells)
    beside = erosion.Beside(length_by_area=length.mean())
    found = assessed(12.0, 30.0, RIDGED, beside=beside).iloc[0]
    assert found["ls_upslope_area"] == pytest.approx(found["ls"], rel=1e-9)
