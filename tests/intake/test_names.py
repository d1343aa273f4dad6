from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.intake import names


@pytest.mark.parametrize(
    ("value", "text", "fault"),
    [
        ("A-1", "A-1", None),
        (" 3 ", " 3 ", None),
        ("007", "007", None),
        (12, "12", None),
        (12.0, "12", None),
        (np.int64(-5), "-5", None),
        (np.float64(13), "13", None),
        (2**53 - 1.0, "9007199254740991", None),
        (2.0**53, "9007199254740992", names.TOO_LARGE),
        (2**60, str(2**60), None),
        (12.5, "'12.5'", names.NO_TEXT),
        (math.inf, "'inf'", names.NO_TEXT),
        (math.nan, "", names.MISSING),
        (None, "", names.MISSING),
        ("", "", names.MISSING),
        (" \u00a0", " \u00a0", names.MISSING),
        (True, "True", names.NO_TEXT),
        ([1], "'[1]'", names.NO_TEXT),
        ("a\rb", "a\rb", names.CONTROL),
        ("a\0", "a\0", names.CONTROL),
        ("a\u2028b", "a\u2028b", names.CONTROL),
        ("a\u202eb", "a\u202eb", names.CONTROL),
        ("a\u200bb", "a\u200bb", names.CONTROL),
        ("\ufeff", "\ufeff", names.CONTROL),
        ("a\u00ad", "a\u00ad", names.CONTROL),
        ("\ud800", "\ud800", names.CONTROL),
        ("x" * 200, "x" * 200, None),
        ("x" * 201, "x" * 201, names.LONG),
        ("\u0645\u06cc\u062e e\u0301 \u1230", "\u0645\u06cc\u062e e\u0301 \u1230", None),
    ],
)
def test_ids(value, text, fault):
    assert names.text(value) == (text, fault)


@settings(deadline=None)
@given(st.lists(st.one_of(st.none(), st.text(), st.integers(), st.floats(), st.booleans())))
def test_column_is_its_values_one_by_one(values):
    text, fault = names.texts(values)
    assert list(zip(text, fault, strict=True)) == [names.text(value) for value in values]
