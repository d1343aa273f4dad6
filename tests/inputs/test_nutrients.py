"""Rates from needs, what lies beside the seed, and any subset of goods."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan import inputs
from districtplan.handbook import packaged
from districtplan.inputs.nutrients import beside_seed_kg_ha, manure_share, product_kg
from tests.conftest import plan_of

NEED = {"need_n_kg_ha": 40.0, "need_p2o5_kg_ha": 30.0, "need_k2o_kg_ha": 20.0}
SUBSETS = [
    list(some) for count in (1, 2, 3) for some in combinations(("npk", "urea", "manure"), count)
]


def dosed(**fertiliser):
    return inputs.dosed(plan_of(fertiliser=fertiliser).under(packaged()))


@pytest.mark.published
def test_phosphate_as_a_compound():
    """WE05. kg product = kg nutrient / fraction: 40 kg P2O5 as 18-46-0 is 86.96 kg, 15.65 kg N."""
    plan = dosed(
        products=["npk"], need_p2o5_kg_ha=40.0, npk_n_pct=18.0, npk_p2o5_pct=46.0, npk_k2o_pct=0.0
    )
    assert plan.practice.npk_kg_ha == pytest.approx(86.96, abs=0.01)
    assert inputs.balance(plan)["npk_kg_ha"][0] == pytest.approx(15.65, abs=0.01)


@pytest.mark.published
def test_phosphate_first_and_nitrogen_after():
    """WE06. Worked text on replenishing nutrients (backyardgardener.com): 1.0 lb P2O5 as 11-55-0 is
    1.8 lb with 0.2 lb N; the 2.8 lb N still wanted of 3.0 are 13.3 lb of 21-0-0."""
    plan = dosed(
        products=["npk", "urea"], need_p2o5_kg_ha=1.0, need_n_kg_ha=3.0,
        npk_n_pct=11.0, npk_p2o5_pct=55.0, npk_k2o_pct=0.0, urea_n_pct=21.0,
    )  # fmt: skip
    assert plan.practice.npk_kg_ha == pytest.approx(1.8, abs=0.05)
    assert inputs.balance(plan)["npk_kg_ha"][0] == pytest.approx(0.2, abs=0.05)
    assert plan.practice.urea_kg_ha == pytest.approx(13.3, abs=0.05)
    assert product_kg(2.8, 21) == pytest.approx(13.3, abs=0.05)


@pytest.mark.published
def test_a_third_of_a_rate_by_the_stand():
    """WE02. West African school examination in agricultural science (myschool.ng 60104): maize at
    60 x 91 cm on 2 ha, a third of 100 kg of NPK at two weeks is 33.3 kg, 0.91 g a stand."""
    stands = round(10_000 / (0.60 * 0.91)) * 2
    assert stands == pytest.approx(36_630, abs=1)
    plan = plan_of(practice={"row_spacing_cm": 60, "hole_spacing_cm": 91, "npk_kg_ha": 50 / 3})
    rate = inputs.grams_a_metre(plan, "npk")
    assert rate is not None
    assert rate * 0.91 == pytest.approx(0.91, abs=0.01)
    assert 2 * plan.practice.npk_kg_ha == pytest.approx(33.3, abs=0.05)


@pytest.mark.published
@pytest.mark.parametrize(("grams", "kg_ha"), [(6.0, 60.0), (2.0, 20.0)])
def test_doses_by_the_hill(grams, kg_ha):
    """WE04. Bielders & Gerard 2015: 6 g NPK or 2 g DAP a hill at 10,000 hills/ha: 60, 20 kg/ha."""
    hills = {"row_spacing_cm": 100, "hole_spacing_cm": 100}
    plan = plan_of(practice=hills, string={"cap_npk_g": grams})
    assert inputs.cap_in_every_hole_kg_ha(plan) == pytest.approx(kg_ha)


@pytest.mark.published
def test_a_cap_in_every_hole_is_24_bags():
    """6 g in each hole at 50 x 10 cm: 1,200 kg/ha, 24 bags of 50 kg."""
    plan = plan_of(string={"cap_npk_g": 6.0})
    assert inputs.cap_in_every_hole_kg_ha(plan) == pytest.approx(1_200)
    assert inputs.cap_in_every_hole_kg_ha(plan_of()) is None


@pytest.mark.parametrize("products", SUBSETS, ids="+".join)
def test_any_subset_works_and_shows_what_is_lacking(products):
    plan = dosed(products=products, **NEED)
    rates = {good: getattr(plan.practice, f"{good}_kg_ha") for good in ("npk", "urea", "manure")}
    assert all(rates[good] is None for good in rates if good not in products)
    table = inputs.balance(plan).set_index("nutrient")
    brought = table[["npk_kg_ha", "urea_kg_ha", "manure_kg_ha"]].sum(axis=1)
    need = table["need_kg_ha"]
    assert (table["shortfall_kg_ha"] == (need - brought).clip(lower=0)).all()
    if products == ["urea"]:
        assert table["shortfall_kg_ha"].tolist() == pytest.approx([0, 30, 20])


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(SUBSETS), st.floats(1, 200), st.floats(1, 200))
def test_more_goods_never_lack_more(products, nitrogen, phosphate):
    need = {"need_n_kg_ha": nitrogen, "need_p2o5_kg_ha": phosphate}
    all_three = inputs.balance(dosed(products=["npk", "urea", "manure"], **need))
    some = inputs.balance(dosed(products=products, **need))
    lacking = [table["shortfall_kg_ha"].sum() for table in (all_three, some)]
    assert lacking[0] <= lacking[1] + 1e-9


def test_manure_brings_as_much_as_there_is():
    plan = plan_of(practice={"npk_kg_ha": 100.0, "manure_kg_ha": 2_000.0}, fertiliser=NEED)
    half = inputs.balance(plan, 0.5).set_index("nutrient")
    assert half["manure_kg_ha"].tolist() == pytest.approx([11, 8, 5])
    assert half["shortfall_kg_ha"].tolist() == pytest.approx([40 - 23 - 11, 30 - 21 - 8, 20 - 5])


def test_a_rate_that_is_given_stays():
    asked = plan_of(practice={"npk_kg_ha": 50.0}, fertiliser={"products": ["npk"], **NEED})
    assert inputs.dosed(asked).practice.npk_kg_ha == 50


def test_without_needs_nothing_is_worked_out():
    assert dosed(products=["npk", "manure"]).practice.npk_kg_ha is None
    assert inputs.balance(dosed())["shortfall_kg_ha"].isna().all()


def test_too_much_beside_the_seed_is_told_with_its_source():
    plan = plan_of(practice={"npk_kg_ha": 250.0, "urea_kg_ha": 100.0})
    assert beside_seed_kg_ha(plan) == pytest.approx(57.5)
    assert inputs.doubts(plan, packaged()) == []
    early = plan.model_copy(
        update={"fertiliser": plan.fertiliser.model_copy(update={"urea_time": "planting"})}
    )
    assert beside_seed_kg_ha(early) == pytest.approx(103.5)
    ceiling, urea = inputs.doubts(early, packaged())
    assert "104 kg/ha, above 90" in ceiling
    assert "Delaware" in ceiling
    assert "at planting" in urea


def test_manure_goes_as_far_as_there_is():
    plan = plan_of(fertiliser={"manure_there_kg": 500.0})
    assert manure_share(1_000_000, plan) == 0.5
    assert manure_share(100_000, plan) == 1
    assert manure_share(None, plan) == 1
    assert manure_share(1_000_000, plan_of()) == 1


def test_potash_alone_pushes_a_compound_over_the_ceiling():
    """400 kg/ha of 15-15-15 bring 60 kg N, which is allowed, and 60 kg K2O: 120 are too much."""
    grades = {f"npk_{name}_pct": 15.0 for name in ("n", "p2o5", "k2o")}
    plan = plan_of(practice={"npk_kg_ha": 400.0}, fertiliser=grades).under(packaged())
    assert beside_seed_kg_ha(plan) == pytest.approx(120)
    assert any(
        "N and K2O at planting come to 120" in told for told in inputs.doubts(plan, packaged())
    )
    less = plan_of(practice={"npk_kg_ha": 299.0}, fertiliser=grades).under(packaged())
    assert not any("N and K2O" in told for told in inputs.doubts(less, packaged()))
