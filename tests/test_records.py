"""Which ground readings are believed."""

from __future__ import annotations

import time
from datetime import date

import pandas as pd
import pytest

from districtplan import records
from districtplan.files.readings import parse
from districtplan.handbook import packaged
from tests.conftest import plan_of
from tests.support import renumbered

HEAD = "plot_id,slope_pct,bearing_deg,bearing_reference,method,date\n"


def accepted(text: str, book=None) -> records.Readings:
    known = pd.DataFrame({"plot_id": ["A1", "A2"]})
    refused = pd.DataFrame({"plot_id": ["B9"]})
    given = parse(HEAD + text, "readings.csv")
    return records.accept(given, known, refused, plan_of(), book or packaged())


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("a1,12,,,level,2026-02-27", "no plot with the id 'a1'"),
        ("A1 ,12,,,level,2026-02-27", "no plot with the id 'A1 '"),
        ("B9,12,,,level,2026-02-27", "the plot 'B9' was set aside"),
        ("A1,-1,,,level,2026-02-27", "slope_pct = -1 isn't within 0 and 200"),
        ("A1,200.5,,,level,2026-02-27", "slope_pct = 200.5 isn't within 0 and 200"),
        ("A1,,361,true,level,2026-02-27", "bearing_deg = 361 isn't within 0 and 360"),
        ("A1,12,,,level,1026-02-01", "lies more than 10 years before the planting date"),
        ("A1,12,,,level,2016-03-14", "lies more than 10 years before the planting date"),
        ("A1,12,,,level,0001-01-01", "lies more than 10 years before the planting date"),
        ("A1,12,,,level,2026-03-16", "lies after the planting date 2026-03-15"),
        ("A1,twelve,,,level,2026-02-27", "isn't a number"),
    ],
)
def test_what_is_not_believed_is_set_aside_and_nothing_else(row, reason):
    found = accepted(f"A2,200,360,true,level,2026-03-15\n{row}\n")
    assert found.used["plot_id"].tolist() == ["A2"]
    assert found.set_aside["source_row"].tolist() == [2]
    assert reason in found.set_aside["reason"][0]
    assert found.set_aside["remedy"][0]


def test_two_readings_of_one_thing_on_one_day_are_both_set_aside():
    found = accepted(
        "A1,12,,,level,2026-02-27\nA1,14,,,clinometer,2026-02-27\nA1,15,,,level,2026-02-28\n"
    )
    assert found.used["slope_pct"].tolist() == [15.0]
    assert found.set_aside["source_row"].tolist() == [1, 2]
    assert "2026-02-27 stands in 2 readings: 1, 2" in found.set_aside["reason"][0]


def test_bearings_of_one_plot_and_day_are_set_aside_too_and_long_lists_are_cut():
    often = "".join(f"A1,,{58 + n},true,sun,2026-02-27\n" for n in range(12))
    found = accepted(f"A2,,58,true,sun,2026-02-27\n{often}A1,,58,true,sun,2026-02-26\n")
    assert found.used["source_row"].tolist() == [1, 14]
    assert found.set_aside["source_row"].tolist() == list(range(2, 14))
    assert set(found.set_aside["reason"]) == {
        "the plot's bearing on 2026-02-27 stands in 12 readings: 2, 3, 4, 5, 6, 7, 8, 9, 10, 11 "
        "and 2 more"
    }


def test_the_first_reason_found_is_the_one_told():
    """Neither a repeated reading nor a missing north is told of where the day is impossible."""
    found = accepted("A1,12,58,magnetic,level,2027-01-01\nA1,14,58,magnetic,level,2027-01-01\n")
    assert found.set_aside["reason"].str.contains("after the planting date").all()


def test_readings_of_a_large_file_are_taken_in_seconds():
    """Whatever is worked out for each row apart makes 100,000 take several times as long."""
    days = [f"2026-01-{day:02d}" for day in range(1, 29)]
    ids = [f"P{n}" for n in range(100_000)]
    given = pd.DataFrame(
        {
            "source_row": range(1, len(ids) + 1),
            "plot_id": ids,
            "slope_pct": 12.0,
            "bearing_deg": 58.0,
            "bearing_reference": "magnetic",
            "method": "level",
            "date": [date.fromisoformat(days[n % 28]) for n in range(len(ids))],
            "reason": None,
            "remedy": None,
        }
    )
    known, nobody = given[["plot_id"]], pd.DataFrame({"plot_id": []}, dtype=str)
    start = time.process_time()
    found = records.accept(given, known, nobody, plan_of(), packaged())
    took = time.process_time() - start
    assert len(found.used) == len(ids)
    assert took < 1.2


def test_slope_and_bearing_of_one_day_may_stand_in_two_rows():
    found = accepted("A1,12,,,level,2026-02-27\nA1,,58,magnetic,compass,2026-02-27\n")
    assert len(found.used) == 2


def test_an_unbelievable_reading_does_not_drag_down_a_sound_one():
    found = accepted("A1,12,,,level,2026-02-27\nA1,900,,,level,2026-02-27\n")
    assert found.used["slope_pct"].tolist() == [12.0]


def test_a_compass_bearing_needs_the_magnetic_model():
    found = accepted(
        "A1,,58,magnetic,compass,2024-12-30\nA2,,58,true,sun,2024-12-30\n"
        "A1,,58,magnetic,compass,2025-01-02\nA2,,58,magnetic,compass,9999-12-31\n"
    )
    assert found.used["source_row"].tolist() == [2, 3]
    assert found.set_aside["source_row"].tolist() == [1, 4]
    assert "the magnetic model holds from 2025" in found.set_aside["reason"][0]
    assert "not on 2024-12-30" in found.set_aside["reason"][0]


def test_the_steepest_slope_is_the_handbooks():
    book = renumbered(records.TABLE, "slope_max_pct", 100.0)
    assert len(accepted("A1,150,,,level,2026-02-27\n").used) == 1
    assert len(accepted("A1,150,,,level,2026-02-27\n", book).used) == 0


def test_the_age_of_a_reading_is_the_handbooks():
    old = "A1,12,,,level,2016-03-15\n"
    assert len(accepted(old).used) == 1
    assert len(accepted(old, renumbered(records.TABLE, "age_max_years", 9.0)).used) == 0
