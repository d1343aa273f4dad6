"""Sentences: the right numbers, the right grammar, the gravest first."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from districtplan import erosion, terrain
from districtplan.outputs import wording


def _steep(results, counts, beyond=0):
    """Give results whose villages have these numbers of steep plots, of ten each."""
    villages = pd.DataFrame({"village": [f"V{i}" for i in range(len(counts))]})
    villages["plots"] = 10
    villages["plots_steep"] = counts
    district = results.district.copy()
    district["plots"] = 10 * len(counts)
    district["plots_steep"] = sum(counts)
    district["plots_beyond_equations"] = beyond
    return replace(results, villages=villages, district=district)


@pytest.mark.parametrize(
    ("counts", "beyond", "said"),
    [
        ([0, 0], 0, "None of 20 plots is too steep for rows alone."),
        ([0, 1], 0, "1 of 20 plots is too steep for rows alone. It is in V1."),
        ([0, 4], 0, "4 of 20 plots are too steep for rows alone. All of them are in V1."),
        ([1, 4], 0, "5 of 20 plots are too steep for rows alone. They are in V1 and V0."),
        (
            [2, 5, 0, 2, 9],
            2,
            "18 of 50 plots are too steep for rows alone. 16 of them are in three villages: V4, "
            "V1 and V0. 2 are steeper than the soil-loss equations reach: see to them first.",
        ),
        (
            [3, 0],
            1,
            "3 of 20 plots are too steep for rows alone. All of them are in V0. "
            "1 is steeper than the soil-loss equations reach: see to it first.",
        ),
    ],
)
def test_the_district_in_a_sentence(small_results, texts, counts, beyond, said):
    assert wording.district_finding(_steep(small_results, counts, beyond), texts) == said


def test_how_rows_are_laid_out(small_results, texts):
    assert wording.rows_finding(small_results, texts) == (
        "On 6 of 12 plots straight rows can follow the bearing printed here. Of the others, 2 need "
        "a guide line along the contour, 1 is level enough for any direction and 3 must be "
        "measured on the ground."
    )


def test_what_is_bought_and_what_is_left_out(small_results, texts):
    said = wording.orders_finding(small_results, texts)
    assert f"{int(small_results.district['seed_g']) / 1000:,.0f} kg of seed" in said
    assert said.endswith("The plan gives no rate for urea: left out.")


def test_nothing_is_bought_without_rates(small_results, texts):
    district = small_results.district.copy()
    district[list(wording.GOODS)] = pd.NA
    said = wording.orders_finding(replace(small_results, district=district), texts)
    assert "planting holes" in said
    assert "no rate for seed, NPK, urea and composted manure" in said


def test_every_code_makes_a_sentence(small_results, texts):
    row = small_results.plots.iloc[0].to_dict()
    row |= {"erosion_flags": erosion.FLAGS, "terrain_flags": terrain.FLAGS}
    said = wording.flag_sentences(row, small_results.plan, texts)
    assert len(set(said)) == len(erosion.FLAGS) + len(terrain.FLAGS)
    assert not any("{" in sentence for sentence in said)
    for reason in terrain.REASONS:
        row["row_method_reason"] = reason
        assert "{" not in wording.method_sentence(row, small_results.plan, texts)


def test_sentences_name_the_limits_of_the_plan(small_results, texts):
    limits = small_results.plan.erosion.model_copy(update={"structures_from_slope_pct": 17.5})
    plan = small_results.plan.model_copy(update={"erosion": limits})
    row = small_results.plots.iloc[0].to_dict() | {"erosion_flags": ("rows_alone_not_enough",)}
    assert "From 17.5 % slope" in wording.flag_sentences(row, plan, texts)[0]


@pytest.mark.parametrize(
    ("bearing", "said"),
    [
        (57.6, "058° / 238°"),
        (0.0, "000° / 180°"),
        (179.7, "000° / 180°"),
        (5.4, "005° / 185°"),
        (90.0, "090° / 270°"),
    ],
)
def test_both_ends_of_a_row(bearing, said):
    assert wording.both_ends(bearing) == said


@pytest.mark.parametrize(
    ("grams", "said"),
    [(0, "0.00"), (9_994, "9.99"), (35_600, "35.6"), (12_345_678, "12,346")],
)
def test_weights_as_they_are_weighed_out(grams, said):
    assert wording.kilograms(grams) == said


@pytest.mark.parametrize(("loss", "said"), [(0.3, 0), (8.6, 9), (56.2, 56), (167.0, 170)])
def test_tonnes_as_they_are_worth(loss, said):
    assert wording.tonnes(loss) == said
