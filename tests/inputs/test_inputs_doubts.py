"""Entries that are most often a slip are doubted, with the value."""

from __future__ import annotations

import pandas as pd
import pytest

from districtplan import inputs
from districtplan.handbook import packaged
from districtplan.inputs.calendar import calendar
from districtplan.inputs.orders import lots
from tests.conftest import plan_of
from tests.support import renumbered


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("hundred_seed_weight_g", 14.9, ("14.9", "15 to 60")),
        ("hundred_seed_weight_g", 61.0, ("61", "15 to 60")),
        ("npk_kg_ha", 301.0, ("301", "300")),
        ("urea_kg_ha", 1_200.0, ("1200", "300")),
    ],
)
def test_doubted(key, value, said):
    found = inputs.doubts(plan_of(practice={key: value}), packaged())
    assert len(found) == 1
    assert all(word in found[0] for word in (key, *said))


@pytest.mark.parametrize(("name", "value"), [("row_spacing_cm", 30.0), ("hole_spacing_cm", 25.0)])
def test_what_no_table_has_is_doubted_with_the_source(name, value):
    (said,) = inputs.doubts(plan_of(practice={name: value}), packaged())
    assert f"{name} = {value:g} lies outside" in said
    assert packaged().source("practice_ranges", name) in said


def test_a_practice_that_no_table_has_is_doubted():
    (said,) = inputs.doubts(plan_of(), renumbered("practice", "weeding_1_day", 35.0))
    assert "weeding_1_day = 35 lies outside 14 to 28" in said


def test_a_measure_that_fits_no_whole_holes_is_doubted():
    practice = {"manure_kg_ha": 2_000.0}
    plan = plan_of(practice=practice, string={"handful_manure_g": 13.5})
    (said,) = inputs.doubts(plan, renumbered("marked_string", "measures_max", 1.0))
    assert "handful_manure_g = 13.5" in said
    assert "35 % more" in said
    assert inputs.doubts(plan, packaged()) == []


@pytest.mark.parametrize(
    "practice",
    [
        {},
        {"hundred_seed_weight_g": 15.0},
        {"hundred_seed_weight_g": 60.0},
        {"npk_kg_ha": 300.0, "urea_kg_ha": 300.0, "manure_kg_ha": 10_000.0},
    ],
)
def test_not_doubted(practice):
    assert inputs.doubts(plan_of(practice=practice), packaged()) == []


@pytest.mark.parametrize(("lots_a_day", "doubted"), [(1, True), (2, False)])
def test_lots_that_would_come_before_they_are_ordered_are_doubted(lots_a_day, doubted):
    """Ordered by day -45, there by day -7: 38 lots at one a day fit between, the 39th doesn't."""
    plan = plan_of(orders={"seed_pack_kg": 50.0, "vehicle_kg": 50.0, "lots_a_day": lots_a_day})
    dated = calendar(plan, packaged())
    due = dated.set_index(["season", "work"]).loc[("usual", "inputs_in_village"), "last_day"]
    for packs, told in ((38, False), (39, doubted)):
        bought = pd.DataFrame({"buying_point": ["A"], "good": ["seed"], "packs": [packs]})
        found = inputs.delivery_doubts(lots(bought, plan, due), dated, plan)
        assert len(found) == told
        assert all(f"39 lots at lots_a_day = {lots_a_day}" in said for said in found)
    assert inputs.delivery_doubts(lots(bought.iloc[:0], plan, due), dated, plan) == []
