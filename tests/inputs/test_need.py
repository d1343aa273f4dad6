"""Needs of plots: arithmetic, what is left out, and laws."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan import inputs, tables
from districtplan.handbook import packaged
from tests.conftest import plan_of
from tests.support import needed

FULL = {
    "hundred_seed_weight_g": 35.0,
    "npk_kg_ha": 100.0,
    "urea_kg_ha": 50.0,
    "manure_kg_ha": 5_000.0,
    "germination_share": 0.8,
    "emergence_share": 0.9,
}
PLAN = plan_of(practice=FULL)
WHOLE = ("holes", "plants", "seeds", "seed_g", "npk_g", "urea_g", "manure_g")

areas = st.floats(0.0001, 1_000)


def test_one_hectare():
    found = needed(1.0, PLAN).iloc[0]
    assert found[list(WHOLE)].tolist() == [
        200_000,
        144_000,
        200_000,
        70_000,
        100_000,
        50_000,
        5_000_000,
    ]


def test_columns_and_kinds():
    found = needed([1.0, 2.0], PLAN).drop(columns=["holes", "maize_holes"])
    assert found.columns.tolist() == ["plot_id", *tables.made_by("inputs")]
    assert {str(found[name].dtype) for name in tables.made_by("inputs")} == {"Int64"}


def test_what_has_no_rate_is_left_out():
    found = needed(1.0, plan_of()).iloc[0]
    assert found[["holes", "plants", "seeds"]].tolist() == [200_000] * 3
    assert found[["seed_g", "npk_g", "urea_g", "manure_g"]].isna().all()


@pytest.mark.parametrize(
    ("practice", "seeds"),
    [
        ({"seed_class": "certified"}, 200_000),
        ({"seed_class": "farm-saved"}, 400_000),
        ({"seed_class": "farm-saved", "seeds_per_hole": 3}, 600_000),
    ],
)
def test_seeds_a_hole(practice, seeds):
    found = needed(1.0, plan_of(practice=practice)).iloc[0]
    assert (found["holes"], found["seeds"]) == (200_000, seeds)


def test_seed_in_the_ground_does_not_depend_on_germination():
    poor = plan_of(practice={**FULL, "germination_share": 0.5})
    assert needed(1.0, poor)["seed_g"][0] == needed(1.0, PLAN)["seed_g"][0]
    assert needed(1.0, poor)["plants"][0] == 90_000


@pytest.mark.parametrize("tenths_of_m2", range(1, 200, 7))
def test_holes_are_half_up_in_decimal(tenths_of_m2):
    """0.1 m² holds 2 holes at 50 x 10 cm; at 80 x 50 cm a quarter of one, halves included."""
    plan = plan_of(practice={"row_spacing_cm": 80, "hole_spacing_cm": 50})
    area_ha = tenths_of_m2 / 100_000
    assert needed(area_ha, PLAN)["holes"][0] == 2 * tenths_of_m2
    assert needed(area_ha, plan)["holes"][0] == (tenths_of_m2 * 10 // 2 + 10) // 20


def test_packs_only_where_plots_buy():
    sizes = {"seed_pack_kg": 2.0, "npk_pack_kg": 50.0}
    for level, packs in (("plot", [35, 2]), ("village", [pd.NA] * 2), ("district", [pd.NA] * 2)):
        plan = plan_of(practice=FULL, orders={**sizes, "bought_at": level})
        found = needed(1.0, plan).iloc[0]
        assert found[["seed_packs", "npk_packs"]].tolist() == packs
        assert found["urea_packs"] is pd.NA


@settings(max_examples=60, deadline=None)
@given(areas, areas)
def test_more_land_never_needs_less(first, second):
    small, large = sorted([first, second])
    found = needed([small, large], PLAN)
    for name in WHOLE:
        assert found[name][0] <= found[name][1]


@settings(max_examples=40, deadline=None)
@given(areas, st.floats(1, 20_000), st.floats(1, 20_000))
def test_a_higher_rate_never_needs_less(area, first, second):
    low, high = sorted([first, second])
    grams = [
        needed(area, plan_of(practice={"npk_kg_ha": rate}))["npk_g"][0] for rate in (low, high)
    ]
    assert grams[0] <= grams[1]


@settings(max_examples=60, deadline=None)
@given(st.lists(areas, min_size=2, max_size=6), st.sampled_from([1, 2, 5]))
def test_splitting_a_plot_keeps_its_needs(pieces, seeds_per_hole):
    plan = plan_of(practice={**FULL, "seeds_per_hole": seeds_per_hole})
    parts, whole = needed(pieces, plan), needed(sum(pieces), plan)
    grams_a_hole = seeds_per_hole * 0.35
    slack = {
        "seeds": seeds_per_hole,
        "plants": seeds_per_hole * 0.72 + 1,
        "seed_g": grams_a_hole + 1,
    }
    for name in WHOLE:
        apart = abs(int(parts[name].sum()) - int(whole[name][0]))
        assert apart <= len(pieces) * slack.get(name, 1)


@settings(max_examples=30, deadline=None)
@given(st.permutations([0.1, 0.25, 0.333, 1.7, 12.0]))
def test_order_of_plots_changes_nothing(order):
    expected = dict(
        zip(
            [0.1, 0.25, 0.333, 1.7, 12.0],
            needed([0.1, 0.25, 0.333, 1.7, 12.0], PLAN)["holes"],
            strict=True,
        )
    )
    assert needed(order, PLAN)["holes"].tolist() == [expected[area] for area in order]


def test_largest_plan_and_plot_do_not_overflow():
    practice = {
        "row_spacing_cm": 10,
        "hole_spacing_cm": 2,
        "seeds_per_hole": 5,
        "hundred_seed_weight_g": 150,
        "manure_kg_ha": 50_000,
    }
    orders = {"bought_at": "plot", "seed_pack_kg": 0.001}
    found = needed(1_000_000.0, plan_of(practice=practice, orders=orders)).iloc[0]
    assert found["holes"] == 5 * 10**12
    assert found["seed_g"] == found["seed_packs"] == 5 * 10**12 * 5 * 150 // 100
    assert found["manure_g"] == 5 * 10**13


def test_rates_are_grams_a_metre_of_row():
    """100 kg/ha in rows 50 cm apart is 5 g/m; along 4,100 m that is 20.5 kg."""
    assert inputs.grams_a_metre(PLAN, "npk") == 5.0
    assert inputs.grams_a_metre(plan_of(), "npk") is None
    steep = laid(row_length_m=4_100.0, holes=41_000)
    assert inputs.need(steep, PLAN, packaged())["npk_g"][0] == 20_500


def test_with_maize_a_hectare_takes_the_same_rate():
    band = {"maize_bean_rows": 2, "maize_row_spacing_cm": 90, "row_spacing_cm": 30}
    plan = plan_of(practice={"npk_kg_ha": 100.0, **band})
    # A hectare has 10,000 m² / 0.9 m rows of maize, and two of beans to each.
    hectare = laid(row_length_m=2 * 10_000 / 0.9, holes=222_222, maize_holes=44_444)
    found = inputs.need(hectare, plan, packaged()).iloc[0]
    assert found["npk_g"] == 100_000
    assert found["maize_seeds"] == 44_444
    twice = plan_of(practice={**band, "maize_seeds_per_hole": 2})
    assert inputs.need(hectare, twice, packaged())["maize_seeds"][0] == 88_888


def laid(row_length_m, holes, maize_holes=pd.NA):
    return pd.DataFrame(
        {
            "plot_id": ["P0"],
            "row_length_m": [row_length_m],
            "holes": pd.array([holes], dtype="Int64"),
            "maize_holes": pd.array([maize_holes], dtype="Int64"),
        }
    )


def test_no_plots():
    assert needed([], PLAN).empty
