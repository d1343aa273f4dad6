"""CSV files keyed by plot or village: hostile ones are refused by name, rows told."""

from __future__ import annotations

import pytest

from districtplan.errors import InputError
from districtplan.files.keyed_csv import BYTES_MAX, parse, read_table

COLUMNS = ("village", "k", "k_unit")


def test_semicolons_bring_decimal_commas_and_blank_rows_are_left():
    frame, said = parse("Village;k;k_unit;note\nHill;0,3;us;x\n;;;\n", "s.csv", COLUMNS)
    assert frame[["source_row", "village", "k"]].values.tolist() == [[1, "Hill", "0.3"]]
    assert said == ("s.csv: columns not known here were left unread: 'note'.",)


def test_columns_beside_are_left_without_a_word():
    frame, said = parse("village;k;note;x\nHill;3;y;z\n", "s.csv", COLUMNS, ("note",))
    assert said == ("s.csv: columns not known here were left unread: 'x'.",)
    assert "note" not in frame


def test_no_file_no_rows(tmp_path):
    assert read_table(None, tmp_path, COLUMNS).frame.empty


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "is empty"),
        ("k,k_unit\n1,us\n", "lacks the column village"),
        ("village,k,k\nHill,1,2\n", "names the column k 2 times"),
        ("village\nHill\n", "has village alone"),
        ('village,k\n"Hill,1\n', "isn't CSV"),
        (",".join(["village"] + ["x"] * 500), "has 501 columns"),
    ],
)
def test_unusable_files_say_why(text, told):
    with pytest.raises(InputError, match=told):
        parse(text, "s.csv", COLUMNS)


@pytest.mark.parametrize(
    ("raw", "told"),
    [
        (b"PK\x03\x04", "is a spreadsheet's own format"),
        (b"village,k\nHill,\xff\n", "line 2 isn't UTF-8|isn't UTF-8"),
        (b"x" * (BYTES_MAX + 1), "is larger than 20 MB"),
    ],
)
def test_unreadable_files_say_why(tmp_path, raw, told):
    (tmp_path / "s.csv").write_bytes(raw)
    with pytest.raises(InputError, match=told):
        read_table("s.csv", tmp_path, COLUMNS)
