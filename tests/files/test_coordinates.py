from __future__ import annotations

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from districtplan.files.coordinates import COMMA, SEXAGESIMAL, UnreadError, degrees

READ = [
    ("29.123", "longitude", 29.123, None),
    (" -2.5 ", "latitude", -2.5, None),
    ("-1.8142969568399097", "latitude", -1.8142969568399097, None),
    ("29,00000000000000000001", "longitude", 29.0, COMMA),
    ("\u22122.5", "latitude", -2.5, None),
    ("29,123", "longitude", 29.123, COMMA),
    ("-2,5", "latitude", -2.5, COMMA),
    ("29°07'22.8\"E", "longitude", 29 + 7 / 60 + 22.8 / 3600, SEXAGESIMAL),
    ("29\u00b0 07\u2032 22,8\u2033 e", "longitude", 29 + 7 / 60 + 22.8 / 3600, SEXAGESIMAL),
    ("S 2 30.5", "latitude", -(2 + 30.5 / 60), SEXAGESIMAL),
    ("2°30'S", "latitude", -2.5, SEXAGESIMAL),
    ("W29.5", "longitude", -29.5, SEXAGESIMAL),
    ("-2:30:36", "latitude", -2.51, SEXAGESIMAL),
    ("0° 0' 36\" S", "latitude", -0.01, SEXAGESIMAL),
]
REFUSED = [
    ("abc", "latitude"), ("nan", "latitude"), ("inf", "longitude"),
    ("1_0", "longitude"), ("\u0661", "longitude"), ("1e5", "longitude"), ("2°30'E", "latitude"),
    ("2°30'N", "longitude"), ("-2°30'S", "latitude"), ("S 2 N", "latitude"),
    ("2°60'S", "latitude"), ("2°30'60\"S", "latitude"), ("2.5°30'S", "latitude"),
    ("1,234.5", "longitude"), ("29.1.2", "longitude"), ("--2", "latitude"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "axis", "value", "phrase"), READ)
def test_what_people_type_is_read_and_told(text, axis, value, phrase):
    done = []
    assert degrees(text, axis, done) == pytest.approx(value, abs=1e-12)
    assert done == ([] if phrase is None else [phrase])


@pytest.mark.parametrize(("text", "axis"), REFUSED)
def test_what_is_no_coordinate_is_refused(text, axis):
    with pytest.raises(UnreadError, match=f"isn't a {axis}"):
        degrees(text, axis, [])


def test_a_blank_cell_is_told_as_blank():
    with pytest.raises(UnreadError, match="the latitude is blank"):
        degrees(" ", "latitude", [])


@given(st.text(alphabet="0123456789.,-+°'\" NSEWx:", max_size=14))
def test_any_text_ends_in_a_number_or_words(text):
    with contextlib.suppress(UnreadError):
        assert abs(degrees(text, "longitude", [])) <= 1e9
