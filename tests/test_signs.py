from __future__ import annotations

import pytest

from districtplan.signs import hidden, unaccented

UNSEEN = [
    *"\0\t\r\n\x1f\x7f\x85\xad\u061c\u180e\u2028\u2029\ufeff\ufffe\uffff\ud800\U000e0041",
    *map(chr, (*range(0x200B, 0x2010), *range(0x202A, 0x202F), *range(0x2060, 0x2065))),
    *map(chr, range(0x2066, 0x2070)), *"\u115f\u2800\u3164\uffa0\u034f",
]  # fmt: skip


@pytest.mark.parametrize("sign", UNSEEN, ids=ascii)
def test_what_is_not_seen_is_found(sign):
    assert hidden(sign)
    assert hidden(f"a{sign}b")
    assert hidden(f"é{sign}")


@pytest.mark.parametrize(
    "text", ["", "A-1 b", "é e\u0301", "a\u00a0b", "\u0645\u06cc\u062e", "\u1230", "<b>'\"=|\\"]
)
def test_what_is_seen_passes(text):
    assert not hidden(text)


@pytest.mark.parametrize("name", ["\u00e9tan", "E\u0301TAN", "\uff25\u0301tan"])
def test_accents_and_capitals_are_taken_off(name):
    assert unaccented(name) == "etan"
