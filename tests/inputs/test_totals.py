"""Totals: exact sums, packs rounded up once at the level at which they are bought."""

from __future__ import annotations

import math
from fractions import Fraction

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan import inputs, tables
from districtplan.errors import InputError
from tests.conftest import plan_of
from tests.support import needed

PRACTICE = {"hundred_seed_weight_g": 35.0, "npk_kg_ha": 90.0, "manure_kg_ha": 3_000.0}
SIZES = {"seed_pack_kg": 2.0, "npk_pack_kg": 50.0, "urea_pack_kg": 50.0}
LEVELS = ("plot", "village", "district")
WHOLE = [name for name in tables.made_by("inputs") if not name.endswith("_packs")]
WHOLE = ["holes", *(name for name in WHOLE if name != "maize_seeds")]

farms = st.lists(
    st.tuples(
        st.sampled_from(["Upper Ridge", "low field", "Åse", "=1+1", "{{ 7*191 }}"]),
        st.floats(0.005, 40),
        st.lists(
            st.sampled_from(["slope_beyond_equations", "rows_alone_not_enough", "forest_only"]),
            unique=True,
        ),
        st.sampled_from(["straight", "guide lines", "any direction", "measure on the ground"]),
    ),
    min_size=1,
    max_size=25,
)


def plan_for(level: str):
    return plan_of(practice=PRACTICE, orders={**SIZES, "bought_at": level})


def district_of(plots: list[tuple], plan) -> pd.DataFrame:
    found = needed([area for _, area, _, _ in plots], plan)
    return found.assign(
        village=[village for village, *_ in plots],
        area_ha=[area for _, area, _, _ in plots],
        erosion_flags=[tuple(codes) for _, _, codes, _ in plots],
        row_method=[method for *_, method in plots],
        # As if readings had served each plot that lies in one village.
        row_method_raster=[
            "measure on the ground" if village == "low field" else method
            for village, *_, method in plots
        ],
    )


@settings(max_examples=20, deadline=None)
@given(farms, st.sampled_from(LEVELS))
def test_sums_are_exact(plots, level):
    joined = district_of(plots, plan_for(level))
    villages, district = inputs.totals(joined, plan_for(level))
    assert villages["village"].tolist() == sorted(set(joined["village"]))
    assert int(villages["plots"].sum()) == district["plots"] == len(plots)
    assert district["area_ha"] == math.fsum(joined["area_ha"])
    for name in WHOLE:
        if name == "urea_g":  # no rate in the plan
            assert district[name] is pd.NA
            assert villages[name].isna().all()
            continue
        assert int(villages[name].sum()) == district[name] == sum(map(int, joined[name]))
        for _, row in villages.iterrows():
            mine = joined[joined["village"] == row["village"]]
            assert row[name] == sum(map(int, mine[name]))


@settings(max_examples=15, deadline=None)
@given(farms)
def test_counts(plots):
    villages, district = inputs.totals(district_of(plots, plan_for("plot")), plan_for("plot"))
    counted = {
        "plots_steep": [
            place for place, plot in enumerate(plots) if "rows_alone_not_enough" in plot[2]
        ],
        "plots_beyond_equations": [
            place for place, plot in enumerate(plots) if "slope_beyond_equations" in plot[2]
        ],
        "plots_measure": [
            place for place, plot in enumerate(plots) if plot[3] == "measure on the ground"
        ],
        "plots_unserved": [
            place
            for place, plot in enumerate(plots)
            if plot[0] == "low field" or plot[3] == "measure on the ground"
        ],
    }
    for name, places in counted.items():
        assert district[name] == len(places) == int(villages[name].sum())


@settings(max_examples=20, deadline=None)
@given(farms, st.sampled_from(LEVELS))
def test_packs_are_rounded_up_once_where_bought(plots, level):
    joined = district_of(plots, plan_for(level))
    villages, district = inputs.totals(joined, plan_for(level))
    for what, size_kg in (("seed", 2), ("npk", 50)):
        table = {"plot": joined, "village": villages, "district": district.to_frame().T}[level]
        bought = 0
        for grams, packs in zip(table[f"{what}_g"], table[f"{what}_packs"], strict=True):
            spare = Fraction(int(packs) * size_kg * 1000 - int(grams))
            assert 0 <= spare < size_kg * 1000
            bought += int(packs)
        assert district[f"{what}_packs"] == bought
        if level == "district":
            assert villages[f"{what}_packs"].isna().all()
        else:
            assert int(villages[f"{what}_packs"].sum()) == bought
    assert district["urea_packs"] is pd.NA
    assert villages["urea_packs"].isna().all()


@settings(max_examples=10, deadline=None)
@given(farms, st.randoms(use_true_random=False))
def test_order_of_plots_changes_nothing(plots, random):
    plan = plan_for("village")
    villages, district = inputs.totals(district_of(plots, plan), plan)
    shuffled = random.sample(plots, len(plots))
    again, whole = inputs.totals(district_of(shuffled, plan), plan)
    pd.testing.assert_frame_equal(villages, again)
    assert district.to_dict() == whole.to_dict()


def test_packs_by_hand():
    """Three plots of 0.1 ha need 7 kg each: 4 packs of 2 kg; 14 kg make 7 packs, 21 kg make 11."""
    plots = [("A", 0.1, [], "straight"), ("A", 0.1, [], "straight"), ("B", 0.1, [], "straight")]
    packs = {
        level: inputs.totals(district_of(plots, plan_for(level)), plan_for(level))[1]["seed_packs"]
        for level in LEVELS
    }
    assert packs == {"plot": 12, "village": 11, "district": 11}


def test_without_pack_sizes_packs_are_left_out():
    plan = plan_of(practice=PRACTICE)
    villages, district = inputs.totals(district_of([("A", 1.0, [], "straight")], plan), plan)
    for what in ("seed", "npk", "urea"):
        assert district[f"{what}_packs"] is pd.NA
        assert villages[f"{what}_packs"].isna().all()


def test_columns_are_declared():
    plan = plan_for("village")
    villages, district = inputs.totals(district_of([("A", 1.0, [], "straight")], plan), plan)
    counted = {"holes", "maize_holes"}
    expected = {
        "village",
        "area_ha",
        *counted,
        *tables.made_by("inputs"),
        *tables.made_by("totals"),
    }
    assert set(villages) == expected == {"village", *district.index}
    tables.check(villages, villages.columns)


def test_too_large_a_district_is_told():
    plots = [("A", 1e9, [], "straight")] * 3
    plan = plan_of(practice={"manure_kg_ha": 50_000})
    joined = district_of(plots, plan)
    joined["manure_g"] = pd.array([4 * 10**18] * 3, dtype="Int64")
    with pytest.raises(InputError, match="total of manure_g"):
        inputs.totals(joined, plan)
