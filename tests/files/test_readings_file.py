"""Ground readings from files that field teams and spreadsheet programs write, and hostile ones."""

from __future__ import annotations

import csv
import io
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from districtplan import records
from districtplan.errors import InputError
from districtplan.files import readings as reader
from districtplan.files.readings import BYTES_MAX, parse, read_readings
from districtplan.handbook import packaged
from tests.conftest import plan_of

HEAD = "plot_id,slope_pct,bearing_deg,bearing_reference,method,date\n"
KNOWN = pd.DataFrame({"plot_id": ["A1", "A2", " x"], "declination_deg": [1.5, 1.5, 1.5]})
NOBODY = pd.DataFrame({"plot_id": ["gone"]})


def rows(text: str) -> pd.DataFrame:
    return parse(HEAD + text, "readings.csv")


def refused(text: str) -> InputError:
    with pytest.raises(InputError) as caught:
        parse(text, "readings.csv")
    return caught.value


def test_a_row_is_read_as_it_stands():
    row = rows("A1,12.5,058,Magnetic, A-frame ,2026-02-27\n").iloc[0]
    assert row["source_row"] == 1
    assert (row["slope_pct"], row["bearing_deg"]) == (12.5, 58.0)
    assert (row["bearing_reference"], row["method"]) == ("magnetic", "A-frame")
    assert row["date"] == date(2026, 2, 27)
    assert row["reason"] is None


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_semicolons_take_a_decimal_comma(end):
    text = HEAD.replace(",", ";") + "A1;12,5;58.25;true;level;2026-02-27\n"
    row = parse(text.replace("\n", end), "readings.csv").iloc[0]
    assert (row["slope_pct"], row["bearing_deg"], row["reason"]) == (12.5, 58.25, None)


def test_columns_in_any_order_others_ignored_and_blank_rows_skipped():
    found = parse(
        "note,DATE,method,Plot_ID,slope_pct\n,,,,\nsee me,2026-01-05,level,A1,3\n\n", "readings.csv"
    )
    assert found["source_row"].tolist() == [2]
    assert found["slope_pct"].tolist() == [3.0]
    assert np.isnan(found["bearing_deg"][0])


@pytest.mark.parametrize(
    ("row", "reason", "remedy"),
    [
        ('A1,"12,5",,,level,2026-02-27', "slope_pct = '12,5' isn't a number", "semicolons"),
        ("A1,12 %,,,level,2026-02-27", "slope_pct = '12 %' isn't a number", "digits"),
        ("A1,nan,,,level,2026-02-27", "slope_pct = 'nan' isn't a number", "digits"),
        ("A1,1e9,,,level,2026-02-27", "slope_pct = '1e9' isn't a number", "digits"),
        ("A1,1_0,,,level,2026-02-27", "slope_pct = '1_0' isn't a number", "digits"),
        ("A1,١٢,,,level,2026-02-27", "isn't a number", "digits"),
        ("A1,,NE,true,level,2026-02-27", "bearing_deg = 'NE' isn't a number", "digits"),
        ("A1,,58,,level,2026-02-27", "bearing_reference is missing", "true, magnetic, grid"),
        ("A1,,58,north,level,2026-02-27", "'north' is none of these", "true, magnetic, grid"),
        ("A1,,,,level,2026-02-27", "neither a slope nor a bearing", "take the row out"),
        ("A1,12,,,,2026-02-27", "method is missing", "A-frame"),
        ("A1,12,,,a\x07b,2026-02-27", "control character", "Type it again"),
        ("A1,12,,,a\u202eb,2026-02-27", "control character", "Type it again"),
        (f"A1,12,,,{'x' * 61},2026-02-27", "longer than 60 characters", "Shorten"),
        ("A1,12,,,level,", "date is missing", "year-month-day"),
        ("A1,12,,,level,27.2.2026", "date = '27.2.2026' isn't a day", "year-month-day"),
        ("A1,12,,,level,2026-02-30", "date = '2026-02-30' isn't a day", "year-month-day"),
        ("A1,12,5,,,level,2026-02-27", "it has 7 cells, the first line has 6", "quotes"),
        ("A1", "it has 1 cells, the first line has 6", "quotes"),
    ],
)
def test_what_cannot_be_read_is_told_row_by_row(row, reason, remedy):
    found = rows(f"A2,1,,,level,2026-01-01\n{row}\n")
    assert found["reason"][0] is None
    assert reason in found["reason"][1]
    assert remedy in found["remedy"][1]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("plot_id,slope_pct,method\n", "lacks the columns date"),
        ("plot_id,method,date\n", "neither slope_pct, nor bearing_deg"),
        ("plot_id,bearing_deg,method,date\n", "without bearing_reference"),
        (HEAD.replace("slope_pct", "slope_pc"), "Did you mean slope_pct"),
        (HEAD.replace("slope_pct", "slope"), "Did you mean slope_pct, metres of fall in 100 m"),
        (HEAD.replace("slope_pct", "Slope (%)"), "'slope (%)', which isn't known here"),
        (HEAD.replace("slope_pct", "slope_deg"), "Did you mean slope_pct, metres of fall in 100 m"),
        ("plot_id,slope_pct,bearing,method,date\n", "Did you mean bearing_deg"),
        (HEAD.replace("method", "plot_id"), "names the column plot_id 2 times"),
        (HEAD + 'A1,"12,,,level,2026-02-27\n', "isn't CSV"),
        (HEAD + "A1," + "9" * 200_000 + "\n", "isn't CSV"),
        ("", "is empty"),
        ("<html>", "lacks the columns"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused(text, what):
    error = refused(text)
    assert what in str(error)
    assert all(fault.where.startswith("readings.csv") and fault.remedy for fault in error.faults)


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"PK\x03\x04rest", "spreadsheet"),
        (HEAD.encode("utf-16"), "isn't UTF-8"),
        (HEAD.encode() + b"A1,1,,,pendiente m\xe9dida,2026-01-01\n", "line 2: isn't UTF-8"),
        (b"", "is empty"),
        (b"x" * (BYTES_MAX + 1), "is larger than 20 MB"),
    ],
    ids=["xlsx", "utf-16", "latin-1", "empty", "large"],
)
def test_bytes_that_are_no_text_are_refused(content, what, plan_file, tmp_path):
    (tmp_path / "readings.csv").write_bytes(content)
    with pytest.raises(InputError, match=what):
        read_readings(plan_file(readings="readings.csv"))


@pytest.mark.parametrize("name", ["http://127.0.0.1/r.csv", "/vsicurl/x.csv", "missing.csv"])
def test_a_name_that_is_no_file_here_is_refused(name, plan_file):
    with pytest.raises(InputError):
        read_readings(plan_file(readings=name))


def test_a_mark_at_the_start_is_no_part_of_the_head(plan_file, tmp_path):
    (tmp_path / "r.csv").write_bytes(
        b"\xef\xbb\xbf" + (HEAD + "A1,1,,,level,2026-01-01\n").encode()
    )
    raw = read_readings(plan_file(readings="r.csv"))
    assert raw.frame["plot_id"].tolist() == ["A1"]
    assert set(raw.sha256) == {"r.csv"}


def test_a_plan_without_readings_has_none(plan_file):
    raw = read_readings(plan_file())
    assert (len(raw.frame), dict(raw.sha256)) == (0, {})


CELLS = st.one_of(
    st.sampled_from(["", "A1", "A2", "gone", " x", "12", "-3", "400", "true", "grid", "level"]),
    st.sampled_from(["2026-02-27", "2026-01-01", "2027-01-01", "=1+1", '"', "\r", "\n", "\x00"]),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=8),
)


@given(st.lists(st.lists(CELLS, min_size=1, max_size=8), max_size=12), st.sampled_from(",;"))
def test_rows_in_are_rows_used_and_rows_set_aside(table, separator):
    target = io.StringIO(newline="")
    writer = csv.writer(target, delimiter=separator)
    writer.writerow(HEAD.strip().split(","))
    writer.writerows(table)
    given_rows = parse(target.getvalue(), "readings.csv")
    taken = records.accept(given_rows, KNOWN, NOBODY, plan_of(), packaged())
    numbers = [number for number, row in enumerate(table, 1) if any(cell.strip() for cell in row)]
    assert sorted([*taken.used["source_row"], *taken.set_aside["source_row"]]) == numbers
    assert (taken.set_aside["reason"].str.len() > 0).all()
    assert (taken.set_aside["remedy"].str.len() > 0).all()
    assert set(taken.used["plot_id"]) <= set(KNOWN["plot_id"])


@pytest.mark.parametrize("separator", [",", ";"])
def test_columns_left_unread_are_named(separator, plan_file, tmp_path):
    """Also a name near to one that the file has: nothing is lost by leaving it."""
    head = ["Team", "plot_id", "slope_pct", "slope_pct_2", "method", "date", "", "\x1b[31m"]
    cells = ["one", "A1", "12", "13", "level", "2026-01-01", "", ""]
    text = "".join(f"{separator.join(row)}\n" for row in (head, cells))
    (tmp_path / "r.csv").write_text(text, encoding="utf-8")
    raw = read_readings(plan_file(readings="r.csv"))
    assert raw.frame["slope_pct"].tolist() == [12.0]
    assert raw.warnings == (
        "r.csv: columns not known here were left unread: 'team', 'slope_pct_2', '\\x1b[31m'.",
    )
    (tmp_path / "r.csv").write_text(HEAD, encoding="utf-8")
    assert read_readings(plan_file(readings="r.csv")).warnings == ()


def test_more_rows_than_a_season_has_are_refused(monkeypatch):
    monkeypatch.setattr(reader, "ROWS_MAX", 3)
    three = "A1,12,,,level,2026-02-27\n,,,,,\n" * 3
    assert rows(three)["source_row"].tolist() == [1, 3, 5]
    (fault,) = refused(f"{HEAD}{three}A1,12,,,level,2026-02-27\n").faults
    assert fault.where == "readings.csv"
    assert fault.what == "has more than 3 rows"
    assert fault.remedy == "Keep one season"


def test_quotes_that_never_close_are_told_by_line():
    (fault,) = refused(f'{HEAD}A1,12,,,level,2026-02-27\nA1,12,,,"level,2026-02-27\n').faults
    assert fault.where.startswith("readings.csv line ")
    assert "isn't CSV" in fault.what


FORM = "plot_id,fall_1_cm,fall_2_cm,fall_3_cm,fall_4_cm,fall_5_cm,string_m,method,date\n"


def test_the_form_of_a_sheet_is_typed_in_as_it_stands():
    """The README's example: the middle one of the five counts."""
    found = parse(FORM + "K019,152,121,138,131,142,10,string,2026-02-27\n", "readings.csv")
    assert found["slope_pct"].tolist() == [13.8]
    assert found["reason"].tolist() == [None]
    # A shorter string, and a fall that is a slip of the pen.
    found = parse(FORM + "K019,61,4800,55,52,57,4,string,2026-02-27\n", "readings.csv")
    assert found["slope_pct"].tolist() == [14.25]


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ("1,2,3,4,,10", "fall_5_cm is missing"),
        ("1,2,3,4,5,", "string_m is missing"),
        ("1,2,x,4,5,10", "fall_3_cm = 'x' isn't a number"),
        ("1,-2,3,4,5,10", "fall_2_cm = -2 is below 0"),
        ("1,2,3,4,5,0.5", "string_m = 0.5 isn't within 1 and 100"),
        (",,,,,10", "it has neither a slope nor a bearing"),
    ],
)
def test_a_form_that_is_not_whole_is_told_with_its_cell(cells, told):
    found = parse(FORM + f"K019,{cells},string,2026-02-27\n", "readings.csv").iloc[0]
    assert found["reason"] == told
    assert found["remedy"]
    assert pd.isna(found["slope_pct"])


def test_a_slope_and_falls_in_one_row_contradict_each_other():
    head = FORM.replace("string_m", "string_m,slope_pct")
    found = parse(head + "K019,1,2,3,4,5,10,12,string,2026-02-27\n", "readings.csv").iloc[0]
    assert found["reason"] == "it has slope_pct and falls"
    fault = refused("plot_id,fall_1_cm,fall_2_cm,method,date\n")
    assert "fall_3_cm, fall_4_cm, fall_5_cm, string_m" in str(fault)
