"""The season's works: counted from the onset or a stage, under each practice."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
import pytest

from districtplan.handbook import packaged, practice
from districtplan.inputs.calendar import calendar, with_nurseries
from tests.conftest import plan_of
from tests.support import renumbered

SEASON = {
    "onset_early": date(2026, 3, 1), "onset_usual": date(2026, 3, 15),
    "onset_late": date(2026, 4, 5),
}  # fmt: skip


def works(book=None, **sections: dict):
    table = calendar(plan_of(**sections), book or packaged())
    return table[table["season"] == "usual"].set_index("work")


def test_weedings_at_two_four_and_six_weeks():
    found = works()
    days = [found.loc[f"weeding_{number}", "first_day"] for number in (1, 2, 3)]
    assert days == [date(2026, 3, 15) + timedelta(weeks=weeks) for weeks in (2, 4, 6)]
    assert set(found.loc[["weeding_1", "weeding_2"], "counted_from"]) == {"planting"}


def test_the_third_weeding_meets_open_flowers():
    """Flowering starts on about day 32, so on day 42 no hoe is used."""
    assert works()["no_hoe"].filter(like="weeding").tolist() == [0, 0, 1]
    late = works(renumbered("practice", "flowering_from_day", 45.0))
    assert late["no_hoe"].sum() == 0


def test_days_may_be_counted_from_emergence():
    told, digest = practice.packaged()
    book = packaged().with_practice(told.model_copy(update={"reference_day": "emergence"}), digest)
    found = works(book)
    assert found.loc["weeding_1", "first_day"] == date(2026, 3, 15) + timedelta(days=14 + 7)
    assert found.loc["weeding_1", "counted_from"] == "emergence"


def test_early_usual_and_late_are_one_season_shifted():
    table = calendar(plan_of(season=SEASON), packaged())
    for season, onset in (("early", date(2026, 3, 1)), ("late", date(2026, 4, 5))):
        mine = table[table["season"] == season].set_index("work")
        usual = table[table["season"] == "usual"].set_index("work")
        shift = onset - SEASON["onset_usual"]
        assert (mine["first_day"] - usual["first_day"]).tolist() == [shift] * len(usual)
        assert mine.loc["onset", "first_day"] == onset


@pytest.mark.parametrize(
    ("season", "work", "first", "last"),
    [
        # 90 and 60 days back from 1 March: 28 of February, 31 of January, 31 of December.
        ("early", "register", date(2025, 12, 1), date(2025, 12, 31)),
        ("early", "inputs_in_village", date(2026, 2, 15), date(2026, 2, 22)),
        # Emergence ends on day 7, flowering starts on day 32, harvest ends on day 78.
        ("early", "gap_fill", date(2026, 3, 9), date(2026, 3, 13)),
        ("early", "field_day", date(2026, 4, 14), date(2026, 4, 29)),
        ("early", "accounts", date(2026, 5, 25), date(2026, 6, 15)),
        # 60 and 45 days back from 5 April.
        ("late", "order", date(2026, 2, 4), date(2026, 2, 19)),
        ("late", "weeding_2", date(2026, 5, 3), date(2026, 5, 3)),
        ("late", "field_day", date(2026, 5, 19), date(2026, 6, 3)),
        ("late", "accounts", date(2026, 6, 29), date(2026, 7, 20)),
    ],
)
def test_dates_counted_on_a_calendar_by_hand(season, work, first, last):
    table = calendar(plan_of(season=SEASON), packaged()).set_index(["season", "work"])
    assert table.loc[(season, work), ["first_day", "last_day"]].tolist() == [first, last]


@pytest.mark.parametrize("name", practice.names())
def test_works_follow_one_another_under_every_practice(name):
    book = packaged().with_practice(*practice.packaged(name))
    found = calendar(plan_of(practice={"name": name}).under(book), book).set_index("work")
    order = [
        "register", "order", "test_seed", "inputs_in_village", "onset", "planting", "emergence",
        "weeding_1", "weeding_2", "weeding_3", "harvest", "accounts",
    ]  # fmt: skip
    days = found.loc[order, "first_day"].tolist()
    assert days == sorted(days)
    assert (found["first_day"] <= found["last_day"]).all()
    assert found["first_day"].is_monotonic_increasing
    # The planting date of the plan is the day of planting.
    assert found.loc["planting", "first_day"] == date(2026, 3, 15)


def test_thinning_only_where_two_are_thinned_and_urea_only_where_there_is_any():
    assert {"thin", "top_dressing"} & set(works().index) == set()
    both = works(practice={"seed_class": "farm-saved", "urea_kg_ha": 40.0})
    assert both.loc["thin", ["from_day", "to_day"]].tolist() == [10, 14]
    assert both.loc["top_dressing", "first_day"] == both.loc["weeding_1", "first_day"]
    planted = works(practice={"urea_kg_ha": 40.0}, fertiliser={"urea_time": "planting"})
    assert "top_dressing" not in planted.index


def test_onsets_must_follow_one_another():
    with pytest.raises(ValueError, match="must follow"):
        plan_of(season={**SEASON, "onset_late": date(2026, 3, 2)})


def test_nurseries_are_set_when_the_measures_chosen_ask_for_it():
    """Twelve and sixteen weeks before the onset of each season, not by the common line."""
    one = calendar(plan_of(season=SEASON), packaged())
    dated = pd.concat([one.assign(zone=zone) for zone in ("", "hills")], ignore_index=True)
    raised = pd.DataFrame({"village": ["a", "a", "b"], "nursery_weeks": [12.0, 16.0, 12.0]})
    found = with_nurseries(dated, raised, {"b": "hills"})
    beds = found[found["work"] == "nurseries"].set_index(["zone", "season"])
    for season in ("early", "usual", "late"):
        onset = SEASON[f"onset_{season}"]
        first, last = (onset - timedelta(weeks=weeks) for weeks in (16, 12))
        assert tuple(beds.loc[("", season), ["first_day", "last_day"]]) == (first, last)
        assert tuple(beds.loc[("hills", season), ["first_day", "last_day"]]) == (last, last)
    assert beds.loc[("", "usual"), ["from_day", "to_day"]].tolist() == [-112, -84]
    for _, mine in found.groupby(["zone", "season"]):
        assert mine["first_day"].is_monotonic_increasing
    rest, before = (table[table["work"] != "nurseries"] for table in (found, dated))
    pd.testing.assert_frame_equal(rest.reset_index(drop=True), before.reset_index(drop=True))
    none = with_nurseries(dated, raised.iloc[:0], {"b": "hills"})
    pd.testing.assert_frame_equal(none, dated)
