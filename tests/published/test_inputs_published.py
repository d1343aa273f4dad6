"""Holes, plants, seed and rates against printed and recomputed tables."""

from __future__ import annotations

import pytest

from districtplan.inputs import grams_a_metre
from tests.conftest import plan_of
from tests.support import needed, published

pytestmark = pytest.mark.published


def per_hectare(practice: dict, area_ha: float = 1.0):
    return needed(area_ha, plan_of(practice=practice)).iloc[0]


@pytest.mark.parametrize(
    "row",
    published("planting_arithmetic"),
    ids=lambda row: f"arithmetic: {row['row_cm']} x {row['hole_cm']}, {row['seeds_per_hole']}",
)
def test_planting_table(row):
    practice = {
        "row_spacing_cm": float(row["row_cm"]),
        "hole_spacing_cm": float(row["hole_cm"]),
        "seeds_per_hole": int(row["seeds_per_hole"]),
    }
    found = per_hectare(practice)
    assert found["holes"] == int(row["holes_per_ha"])
    # The table rounds plants from area; holes are whole first, so up to a seed a hole differs.
    assert abs(found["plants"] - int(row["plants_per_ha"])) <= int(row["seeds_per_hole"]) - 1
    for grams in (20, 35, 50):
        seed = per_hectare({**practice, "hundred_seed_weight_g": grams})["seed_g"]
        assert round(seed / 1000, 1) == float(row[f"seed_kg_ha_{grams}g"])


def test_published_spacing():
    """WE01. Ssali, bio-fortified beans: 50 x 10 cm, one seed a hole: 200,000 plants a hectare.

    That is 20,000 m of row: at a gram a metre, 20 kg.
    """
    found = per_hectare({"npk_kg_ha": 20.0})
    assert (found["holes"], found["plants"]) == (200_000, 200_000)
    assert grams_a_metre(plan_of(practice={"npk_kg_ha": 20.0}), "npk") == pytest.approx(1.0)
    assert found["npk_g"] == 20_000


def test_examination_question():
    """WE02. West African agricultural science exam: 60 x 91 cm, 18,315 plants/ha, 36,630 on 2."""
    spacing = {"row_spacing_cm": 60, "hole_spacing_cm": 91}
    assert per_hectare(spacing)["holes"] == 18_315
    assert per_hectare(spacing, 2.0)["holes"] == 36_630


@pytest.mark.parametrize(("ridge_m", "rate_kg_ha"), [(0.90, 100.0), (0.75, 120.0)])
def test_band_recommendation(ridge_m, rate_kg_ha):
    """WE03. Malawi extension, 23:21:0+4S on beans: 18 g for 2 m of ridge is 100 kg/ha at 90 cm."""
    practice = {"row_spacing_cm": 100 * ridge_m, "npk_kg_ha": rate_kg_ha}
    # Its cup of 7.2 g goes to 0.8 m of ridge.
    assert 7.2 / grams_a_metre(plan_of(practice=practice), "npk") == pytest.approx(0.8)
    assert per_hectare({"npk_kg_ha": rate_kg_ha}, 2 * ridge_m / 10_000)["npk_g"] == 18
