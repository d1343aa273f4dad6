"""Files beside the plots: each row used or set aside with its reason."""

from __future__ import annotations

import pandas as pd
import pytest

from districtplan.demos import (
    ANSWERS,
    HOMESTEADS,
    SHOWN,
    accept_answers,
    accept_homesteads,
    accept_shown,
)

PLOTS = {"P1", "P2"}
AROUND = pd.DataFrame({"longitude_deg": [36.0, 36.4], "latitude_deg": [-1.2, -1.0]})


def table(columns: tuple[str, ...], *rows: tuple[str, ...]) -> pd.DataFrame:
    """Rows as the reader gives them."""
    frame = pd.DataFrame(rows, columns=list(columns))
    return frame.assign(source_row=range(1, len(rows) + 1), reason=None, remedy=None)


def test_answers_are_read():
    given = table(ANSWERS, ("P1", "yes", "2", "Female", "no", ""), ("P2", "", "", "", "", "yes"))
    found = accept_answers(given, PLOTS)
    assert found.set_aside.empty
    told = found.used.astype(object).where(found.used.notna(), None)
    assert told.to_dict("records") == [
        {"plot_id": "P1", "tenure": True, "seasons_since_beans": 2, "sex": "female",
         "youth": False, "reached": None},
        {"plot_id": "P2", "tenure": None, "seasons_since_beans": None, "sex": "", "youth": None,
         "reached": True},
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        (("P9", "", "", "", "", ""), "no plot that is used"),
    ],
)
def test_answers_that_are_none_are_set_aside(row, reason):
    found = accept_answers(table(ANSWERS, row), PLOTS)
    assert found.used.empty
    assert reason in found.set_aside["reason"][0]
    assert found.rows_read == 1


@pytest.mark.parametrize(
    ("at", "value", "reason"),
    [
        (1, "maybe", "tenure = 'maybe' isn't yes or no"),
        (2, "-1", "seasons_since_beans = '-1'"),
        (2, "٢", "isn't a number of seasons"),
        (3, "f", "sex = 'f' isn't female or male"),
        (4, "old", "youth = 'old' isn't yes or no"),
    ],
)
def test_a_wrong_answer_costs_itself_and_no_other(at, value, reason):
    right = ("P1", "yes", "2", "female", "no", "yes")
    (whole,) = accept_answers(table(ANSWERS, right), PLOTS).used.to_dict("records")
    found = accept_answers(table(ANSWERS, (*right[:at], value, *right[at + 1 :])), PLOTS)
    (row,) = found.used.to_dict("records")
    assert pd.isna(row.pop(ANSWERS[at]))
    assert row == {name: one for name, one in whole.items() if name != ANSWERS[at]}
    (aside,) = found.set_aside.to_dict("records")
    assert reason in aside["reason"]
    assert aside["reason"].endswith("the rest of the row is used")
    assert aside["source_row"] == 1


def test_a_homestead_counts_whatever_is_wrong_with_who_lives_there():
    row = ("F1", "36.5", "-1.25", "woman", "yes", "never")
    found = accept_homesteads(table(HOMESTEADS, row), AROUND, 1.0)
    (used,) = found.used.to_dict("records")
    assert (used["longitude_deg"], used["youth"], used["sex"]) == (36.5, True, None)
    (aside,) = found.set_aside["reason"]
    assert "sex = 'woman'" in aside
    assert "reached = 'never'" in aside


def test_two_rows_of_one_plot_are_both_set_aside():
    row = ("P1", "yes", "", "", "", "")
    assert len(accept_answers(table(ANSWERS, row, row), PLOTS).set_aside) == 2


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        (("", "36", "-1", "", "", ""), "no farmer_id"),
        (("F\u202e", "36", "-1", "", "", ""), "no farmer_id"),
        (("F", "181", "-1", "", "", ""), "longitude_deg = '181'"),
        (("F", "36", "nan", "", "", ""), "latitude_deg = 'nan'"),
        (("F", "36", "-91", "", "", ""), "latitude_deg = '-91'"),
        (("F", "-1", "36", "", "", ""), "longitude_deg = '-1' is far from all plots"),
        (("F", "36", "-2.21", "", "", ""), "latitude_deg = '-2.21' is far"),
    ],
)
def test_homesteads_that_are_nowhere_are_set_aside(row, reason):
    found = accept_homesteads(table(HOMESTEADS, row), AROUND, 1.0)
    assert found.used.empty
    assert reason in found.set_aside["reason"][0]


def test_homesteads_are_read():
    given = table(HOMESTEADS, ("F1", "36.5", "-1.25", "male", "", "no"))
    found = accept_homesteads(given, AROUND, 1.0)
    (row,) = found.used.to_dict("records")
    assert (row["longitude_deg"], row["latitude_deg"], row["reached"]) == (36.5, -1.25, False)


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        (("P1", "", "1", "1"), "names no message"),
        (("P1", "rows", "0", "1"), "seasons_ago = '0'"),
        (("P1", "rows", "1", ""), "seasons_shown = ''"),
        (("P9", "rows", "1", "1"), "no plot that is used"),
    ],
)
def test_seasons_before_that_are_none_are_set_aside(row, reason):
    found = accept_shown(table(SHOWN, row), PLOTS)
    assert found.used.empty
    assert reason in found.set_aside["reason"][0]


def test_a_plot_may_have_been_shown_twice():
    rows = (("P1", "rows", "1", "1"), ("P1", "strips", "4", "3"))
    assert len(accept_shown(table(SHOWN, *rows), PLOTS).used) == 2


def test_a_plot_has_one_message_a_season():
    rows = (("P1", "rows", "1", "1"), ("P1", "strips", "1", "1"), ("P2", "strips", "1", "1"))
    found = accept_shown(table(SHOWN, *rows), PLOTS)
    assert found.used["plot_id"].tolist() == ["P2"]
    assert found.set_aside["source_row"].tolist() == [1, 2]
    assert "several rows of one season" in found.set_aside["reason"][0]
