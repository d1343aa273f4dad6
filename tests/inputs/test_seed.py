"""Seed: what stands, what is bought, what a test of 100 seeds decides."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan import inputs
from districtplan.handbook import packaged
from districtplan.inputs.seed import hundred_seed_weight_g, seed_rate_kg_ha
from tests.conftest import plan_of
from tests.support import needed

STAND = {"germination_share": 0.8, "emergence_share": 0.9, "hundred_seed_weight_g": 35.0}


def stood(practice: dict, area_ha: float = 1.0):
    plan = plan_of(practice=practice).under(packaged())
    rows = needed(area_ha, plan).assign(row_length_m=area_ha * 10_000 / 0.5)
    return inputs.stand(rows, plan, packaged()).iloc[0], rows.iloc[0]


@pytest.mark.parametrize(("seed_class", "empty"), [("certified", 0.28), ("farm-saved", 0.0784)])
def test_empty_holes_at_72_percent(seed_class, empty):
    found, rows = stood({**STAND, "seed_class": seed_class})
    assert found["empty_holes"] / rows["holes"] == pytest.approx(empty, abs=1e-5)
    assert found["standing"] == rows["holes"] - found["empty_holes"]


def test_two_seeds_that_are_not_thinned_stand_both():
    found, rows = stood({**STAND, "seeds_per_hole": 2, "two_seeds": "holes twice as far apart"})
    assert found["empty_holes"] / rows["holes"] == pytest.approx(0.0784, abs=1e-4)
    assert found["standing"] / rows["holes"] == pytest.approx(2 * 0.72, abs=1e-4)


def test_the_expected_stand_is_that_of_drawn_seeds():
    found, rows = stood({**STAND, "seed_class": "farm-saved"})
    up = np.random.default_rng(7).random((int(rows["holes"]), 2)) < 0.72
    assert found["standing"] == pytest.approx(up.any(axis=1).sum(), rel=0.003)


@pytest.mark.parametrize("seed_class", ["certified", "farm-saved"])
def test_germination_never_divides_the_order(seed_class):
    """What is bought rises with empty holes only by what is filled again."""
    good, rows = stood({**STAND, "seed_class": seed_class, "refill_share": 0, "spillage_share": 0})
    assert good["seed_bought_g"] == rows["seed_g"]
    filled, _ = stood({**STAND, "seed_class": seed_class, "refill_share": 1, "spillage_share": 0})
    empty = 0.28 if seed_class == "certified" else 0.0784
    assert filled["seed_bought_g"] == pytest.approx(rows["seed_g"] * (1 + empty), abs=1)


def test_spillage_is_bought_too():
    found, rows = stood({"hundred_seed_weight_g": 35.0, "spillage_share": 0.1})
    assert found["seed_bought_g"] == pytest.approx(1.1 * rows["seed_g"], abs=1)
    # Of the seed that fills gaps some is spilled as well.
    found, rows = stood({**STAND, "seeds_per_hole": 1, "refill_share": 1, "spillage_share": 0.1})
    assert found["seed_bought_g"] == pytest.approx(1.1 * 1.28 * rows["seed_g"], abs=1)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.01, 1), st.floats(0.01, 1), st.floats(0, 1), st.sampled_from([1, 2, 3]))
def test_laws(germination, emergence, refill, seeds):
    practice = {
        "germination_share": germination, "emergence_share": emergence, "refill_share": refill,
        "seeds_per_hole": seeds, "hundred_seed_weight_g": 40.0,
    }  # fmt: skip
    found, rows = stood(practice, 0.1)
    assert 0 <= found["empty_holes"] <= rows["holes"]
    assert 0 <= found["standing"] <= rows["holes"]
    # Never more than every hole filled once again, and what is spilled.
    assert rows["seed_g"] <= found["seed_bought_g"] <= 2.05 * rows["seed_g"] + 1


@pytest.mark.published
def test_seed_rate_of_a_target_stand():
    """WE07. The formula of seed rates: 200,000 plants, 35 g, 0.80, 0.90: 97.2 kg/ha; 70.0 at 1."""
    assert seed_rate_kg_ha(200_000, 0.8, 0.9, 35) == pytest.approx(97.2, abs=0.05)
    assert seed_rate_kg_ha(200_000, 1, 1, 35) == pytest.approx(70.0)


def test_a_target_stand_is_bought_for():
    found, _ = stood({**STAND, "target_plants_ha": 200_000, "spillage_share": 0})
    assert found["seed_bought_g"] == pytest.approx(97_222, abs=1)


def test_a_rate_is_turned_back_into_the_weight_it_implies():
    plan = plan_of(practice={"seed_kg_ha": 70.0})
    assert hundred_seed_weight_g(plan, packaged()) == pytest.approx(35)
    assert needed(1.0, plan)["seed_g"][0] == 70_000
    (said,) = inputs.doubts(plan_of(practice={"seed_kg_ha": 20.0}), packaged())
    assert "seed_kg_ha = 20 implies hundred_seed_weight_g = 10" in said


def test_weight_and_rate_together_are_told():
    with pytest.raises(ValueError, match="Give one of them"):
        plan_of(practice={"seed_kg_ha": 70.0, "hundred_seed_weight_g": 35.0})


@pytest.mark.parametrize(
    ("sprouted", "choice"),
    [(100, "one"), (85, "one"), (84, "two"), (60, "two"), (59, "buy seed"), (0, "buy seed")],
)
def test_a_farmers_test_decides(sprouted, choice):
    found = inputs.judge_test(sprouted, packaged())
    assert found.choice == choice
    assert found.low_share <= sprouted / 100 <= found.high_share


def test_what_100_seeds_tell():
    """Clopper-Pearson for 80 of 100: 0.708 to 0.873 (exact binomial tables)."""
    found = inputs.judge_test(80, packaged())
    assert (found.low_share, found.high_share) == pytest.approx((0.7082, 0.8733), abs=5e-4)


def test_the_test_sets_seeds_a_hole_and_germination():
    asked = plan_of(practice={"sprouted_of_100": 70}).under(packaged())
    assert asked.practice.seeds_each(packaged()) == 2
    assert asked.practice.germination_share == 0.7
    own = plan_of(practice={"sprouted_of_100": 70, "seeds_per_hole": 1}).under(packaged())
    assert own.practice.seeds_each(packaged()) == 1
    (said,) = inputs.doubts(plan_of(practice={"sprouted_of_100": 40}), packaged())
    assert "Buy seed" in said


def test_without_a_weight_nothing_is_bought():
    found, _ = stood({})
    assert found["seed_bought_g"] is pd.NA
