"""Soil values that look like another unit system are doubted, with the value."""

from __future__ import annotations

import pytest

from districtplan import erosion
from districtplan.handbook import packaged
from tests.conftest import plan_of
from tests.support import SOIL


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("rain_erosivity_mj_mm_ha_h_yr", 175.0, ("175", "500 to 12000", "17.02")),
        ("rain_erosivity_mj_mm_ha_h_yr", 13_000.0, ("13000", "500 to 12000")),
        ("erodibility_t_ha_h_ha_mj_mm", 0.15, ("0.15", "0.1", "0.1317")),
    ],
)
def test_doubted(key, value, said):
    found = erosion.doubts(plan_of(soil={**SOIL, key: value}), packaged())
    assert len(found) == 1
    assert all(word in found[0] for word in (key, *said))


def test_both_at_once():
    soil = {"rain_erosivity_mj_mm_ha_h_yr": 20_000.0, "erodibility_t_ha_h_ha_mj_mm": 0.15}
    assert len(erosion.doubts(plan_of(soil=soil), packaged())) == 2


@pytest.mark.parametrize(
    "soil",
    [SOIL, {}, {"rain_erosivity_mj_mm_ha_h_yr": 500.0}, {"erodibility_t_ha_h_ha_mj_mm": 0.1}],
)
def test_not_doubted(soil):
    assert erosion.doubts(plan_of(soil=soil), packaged()) == []
