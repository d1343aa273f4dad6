"""What measures leave of the loss: published P and C, cut slopes, and the mistakes known of."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.conservation import effects
from districtplan.conservation.effects import Range, loss_after
from districtplan.erosion import ls
from districtplan.handbook import packaged
from tests.conservation.cases import (
    MEASURES,
    option,
    options_of,
    plan_with,
    plots_of,
    practice_of,
    why_not,
)
from tests.support import SOIL, tweaked

RKC = 4500.0 * 0.03 * 0.2


def ls_of(slope: float, length: float) -> float:
    constants = ls.constants(packaged())
    return float(ls.ls_factor(np.array([slope]), np.array([length]), constants)[0])


def found_for(slope=15.0, length=60.0, plan=None, book=None, practice=None, **columns):
    plan = plan or plan_with()
    plots = plots_of(slope, length, plan, book, practice=practice, **columns)
    return options_of(plots, plan, book, practice)


def test_a_ditch_cuts_the_slope_and_has_no_p_of_its_own():
    """AH-537, Table 15: contour P with L on the interval; 0.2 of it is sediment, not field loss."""
    after = option(found_for(), "hillside_ditch")["soil_loss_after_likely_t_ha_yr"]
    field = RKC * ls_of(15.0, 19.0 / 1.5)  # VI 1.9 m on 15 %
    assert after == pytest.approx(field)
    for sediment in (0.2, 0.06, 0.05):
        assert after > 2 * sediment * field


def test_sediment_p_in_place_of_field_p_would_be_caught(monkeypatch):
    right = option(found_for(), "hillside_ditch")["soil_loss_after_likely_t_ha_yr"]
    usual = effects.share_left

    def wrong(measure, *given):
        left = usual(measure, *given)
        by = 0.2 if measure.effect == "length" else 1.0
        return Range(left.low * by, left.likely * by, left.high * by)

    monkeypatch.setattr("districtplan.conservation.measures.share_left", wrong)
    after = option(found_for(), "hillside_ditch")["soil_loss_after_likely_t_ha_yr"]
    assert after == pytest.approx(0.2 * right)
    with pytest.raises(AssertionError):
        test_a_ditch_cuts_the_slope_and_has_no_p_of_its_own()


@pytest.mark.parametrize(
    ("measure", "shares"),
    [
        ("grass_strips", (0.1, 0.03**0.5, 0.3)),  # Roose 1977, recalled
        ("stone_lines", (0.1, 0.032**0.5, 0.32)),
        ("bench_terraces", (0.05, 0.14, 0.35)),  # Morgan 2005, recalled: reverse, level, outward
    ],
)
def test_p_of_structures(measure, shares):
    found = option(found_for(), measure)
    told = [found[f"loss_left_{end}_share"] for end in ("low", "likely", "high")]
    assert told == pytest.approx(shares)


@pytest.mark.parametrize(
    ("slope", "length", "p"),
    [(2.0, 30.0, 0.6), (2.1, 30.0, 0.5), (8.1, 30.0, 0.6), (12.1, 24.3, 0.7), (25.0, 15.0, 0.9)],
)
def test_ridges_earn_p_of_their_slope_class(slope, length, p):
    """AH-537, Table 13, at its limits, gaps and lengths."""
    assert option(found_for(slope, length), "contour_ridges")["loss_left_likely_share"] == p


@pytest.mark.parametrize(
    ("slope", "length", "reason"),
    [(25.1, 15.0, "too_steep"), (25.0, 15.3, "saves_nothing"), (12.1, 24.5, "saves_nothing")],
)
def test_ridges_earn_nothing_beyond_the_limits(slope, length, reason):
    assert why_not(found_for(slope, length))["contour_ridges"] == reason


def test_ridges_that_run_across_already_are_not_proposed():
    level = practice_of(rows="across", row_form="ridges", row_grade_pct=0.0)
    assert why_not(found_for(10.0, 30.0, practice=level))["contour_ridges"] == "saves_nothing"
    mixed = practice_of(rows="mixed", row_form="ridges")
    found = option(found_for(10.0, 30.0, practice=mixed), "contour_ridges")
    assert found["loss_left_likely_share"] == pytest.approx(0.6 / 0.875)


def test_a_drain_takes_off_the_slope_above():
    above = pd.DataFrame(
        {
            "plot_id": ["P0"],
            "slope_length_above_m": [40.0],
            "slope_length_above_at_least": [0],
        }
    )
    found = option(found_for(length=30.0, above=above), "cut_off_drain")
    assert found["soil_loss_after_likely_t_ha_yr"] == pytest.approx(RKC * ls_of(15.0, 30.0))
    assert why_not(found_for(length=30.0, run_on_area_ha=0.1))["cut_off_drain"] == "saves_nothing"


def test_structures_take_the_place_of_those_there_and_are_not_multiplied():
    stones = practice_of(rows="up and down", structure="stone lines", condition="poor")
    found = option(found_for(practice=stones), "grass_strips")
    assert found["soil_loss_after_likely_t_ha_yr"] == pytest.approx(
        RKC * ls_of(15.0, 60.0) * 0.03**0.5
    )
    sound = practice_of(rows="up and down", structure="bench terraces reverse", condition="good")
    reasons = why_not(found_for(practice=sound))
    assert reasons["grass_strips"] == reasons["stone_lines"] == "saves_nothing"
    assert reasons["bench_terraces"] == "there_already"


def test_beyond_the_equations_losses_are_empty_and_a_floor_counts():
    found = option(found_for(36.0, 60.0), "grass_strips")
    assert (
        found[[f"soil_loss_after_{end}_t_ha_yr" for end in ("low", "likely", "high")]].isna().all()
    )
    assert np.isnan(found["soil_saved_t_yr"])
    at_limit = RKC * ls_of(30.0, 60.0)
    assert found["soil_saved_counted_t_yr"] == pytest.approx(at_limit * (1 - 0.03**0.5) * 0.3)
    assert found["saved_by_floor"] == 1
    ditch = option(found_for(36.0, 60.0), "hillside_ditch")
    cut = RKC * ls_of(30.0, 4.0 / 0.36)
    assert ditch["soil_saved_counted_t_yr"] == pytest.approx((at_limit - cut) * 0.3)


def test_without_a_slope_length_or_soil_values_nothing_is_made_up():
    found = found_for(15.0, np.nan)
    assert found.offered["soil_saved_counted_t_yr"].isna().all()
    assert np.isnan(option(found, "hillside_ditch")["loss_left_likely_share"])
    bare = found_for(15.0, plan=plan_with(soil={"drainage": "free"}))
    assert bare.offered["soil_saved_counted_t_yr"].isna().all()
    assert option(bare, "grass_strips")["loss_left_likely_share"] == pytest.approx(0.03**0.5)


@given(
    st.lists(st.floats(0.01, 500), min_size=3, max_size=3).map(sorted),
    st.lists(st.floats(0.01, 1), min_size=3, max_size=3).map(sorted),
)
def test_no_end_of_the_spread_rises(loss, left):
    loss, left = (Range(*(np.array([value]) for value in three)) for three in (loss, left))
    after = loss_after(loss, left)
    assert after.low <= after.likely <= after.high
    for end in ("low", "likely", "high"):
        assert getattr(after, end) <= getattr(loss, end) * (1 + 1e-9)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.floats(0.5, 90), min_size=1, max_size=8),
    st.floats(2, 300),
    st.sampled_from(["up and down", "across", "mixed"]),
    st.sampled_from(["", *packaged().rows("structures_now")["name"]]),
    st.sampled_from(["good", "poor", "broken"]),
    st.floats(3, 60),
)
def test_no_measure_raises_the_loss(slopes, length, rows, structure, condition, spacing):
    given = {"rows": rows, "row_form": "ridges", "spacing_m": spacing}
    if structure:
        given |= {"structure": structure, "condition": condition}
    plan, practice = plan_with(), practice_of(**given)
    plots = plots_of(slopes, length, plan, practice=practice, run_on_area_ha=1.0)
    found = options_of(plots, plan, practice=practice).offered.merge(
        plots, on="plot_id", suffixes=("", "_before")
    )
    for end in ("low", "likely", "high"):
        share = found[f"loss_left_{end}_share"].dropna()
        assert share.between(0, 1).all()
        now = found[f"soil_loss_now_{end}_t_ha_yr"]
        after = found[f"soil_loss_after_{end}_t_ha_yr"]
        assert ((after <= now * (1 + 1e-9)) | now.isna()).all()
    assert (found["soil_saved_counted_t_yr"].dropna() >= 0).all()
    assert (found["land_taken_pct"].between(0, 100)).all()


def test_c_of_cover_and_not_its_p():
    found = option(found_for(40.0, 60.0), "permanent_cover")
    assert found["loss_left_likely_share"] == pytest.approx(0.05 / SOIL["cover_factor"])
    rows = packaged().rows("cover_factors")
    line = int(rows.index[rows["name"] == MEASURES["permanent_cover"].rows_of[1]][0])
    book = tweaked("cover_factors", line, "c_high", 0.2)
    assert option(found_for(40.0, 60.0, book=book), "permanent_cover")[
        "loss_left_likely_share"
    ] == pytest.approx(0.1 / SOIL["cover_factor"])
