"""Planting material, nursery beds, and when they are set."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from districtplan.conservation.planting import nurseries, plants_to_raise
from districtplan.handbook import packaged
from districtplan.plan import Season
from tests.conservation.cases import MEASURES, plan_with

BOOK = packaged()


def raised(measure: str, length: float, area: float = 0.3) -> float:
    found = plants_to_raise(MEASURES[measure], np.array([length]), np.array([area]), BOOK)
    return float(found[0])


def test_plants_are_metres_times_rows_times_plants_a_metre_and_losses():
    """200 m, two rows, 7 a metre: 2,800 that stand, of 3,500 raised where one in five dies."""
    assert raised("grass_strips", 200) == 3500
    assert raised("hillside_ditch", 100) == 875
    assert raised("grass_strips", 0.1) == 2
    assert raised("permanent_cover", np.nan, 0.3) == np.ceil(0.3 * 1111 / 0.8)
    assert raised("stone_lines", 200) == 0
    assert np.isnan(raised("grass_strips", np.nan))


def test_enough_stand_after_losses():
    for metres in np.arange(1, 200, 7.3):
        assert raised("grass_strips", metres) * 0.8 >= metres * 14 - 1e-9


def test_nurseries_by_village_counted_back_from_the_onset_of_rain():
    chosen = pd.DataFrame(
        {
            "village": ["Hill", "Dale", "Hill", "Hill", "Hill"],
            "measure": [*["grass_strips"] * 3, "stone_lines", "permanent_cover"],
            "measure_plants": pd.array([3500, 10, 1500, 0, 417], dtype="Int64"),
        }
    )
    found = nurseries(chosen, plan_with(), BOOK)
    assert found["village"].tolist() == ["Dale", "Hill", "Hill"]
    assert found["measure"].tolist() == ["grass_strips", "grass_strips", "permanent_cover"]
    assert found["nursery_plants"].tolist() == [10, 5000, 417]
    assert found["nursery_m2"].tolist() == [1, 100, 5]
    # Planting on 15 March 2026 is as the rains begin; 12 and 16 weeks before.
    assert BOOK.number("practice", "plant_after_onset_days") == 0
    assert found["nursery_date"].tolist() == ["2025-12-21", "2025-12-21", "2025-11-23"]
    given = plan_with().model_copy(update={"season": Season(onset_usual=date(2026, 3, 1))})
    assert nurseries(chosen, given, BOOK)["nursery_date"].tolist()[2] == "2025-11-09"
    zones = pd.DataFrame({"village": ["Dale"], "onset_usual": [date(2026, 4, 1)]})
    zoned = nurseries(chosen, given, BOOK, zones)["nursery_date"].tolist()
    assert zoned == ["2026-01-07", "2025-12-07", "2025-11-09"]


def test_an_unknown_length_makes_the_villages_sum_unknown():
    chosen = pd.DataFrame(
        {
            "village": "Hill",
            "measure": "grass_strips",
            "measure_plants": pd.array([3500, pd.NA], dtype="Int64"),
        }
    )
    found = nurseries(chosen, plan_with(), BOOK)
    assert found["nursery_plants"].isna().all()
    assert found["nursery_m2"].isna().all()
    assert nurseries(chosen[:0], plan_with(), BOOK).empty


@pytest.mark.parametrize("measure", MEASURES.values(), ids=MEASURES)
def test_what_is_planted_has_a_nursery(measure):
    planted = measure.number("plants_per_m", 0) + measure.number("plants_per_ha", 0) > 0
    for name in ("nursery_weeks", "nursery_plants_m2"):
        assert np.isnan(measure.number(name)) is not planted
