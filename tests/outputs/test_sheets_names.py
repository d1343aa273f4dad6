"""Names on paper: kept inside their room, cut with a mark, never mistaken for plain words."""

from __future__ import annotations

import functools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.outputs.sheets.names import (
    ELLIPSIS,
    UNKNOWN_SIGN,
    Ink,
    clusters,
    fitted,
    is_plain,
)
from districtplan.outputs.sheets.paper import face, ink

BOLD = face("B")
MEASURE = functools.partial(ink, BOLD)
EM = BOLD.per_em
ROOM = Ink(12 * EM, 1.1 * EM, 0.4 * EM)
STACK = "Z" + "\u0301\u0302\u0303\u0304" * 5


def fit(name: str, room: Ink = ROOM) -> str:
    return fitted(name, BOLD.wide, MEASURE, room)


@pytest.mark.parametrize(
    "name", ["Upper Tamba", "قرية الجبل", "כפר 12-א", "Đồi Mới", "=B+1", "{plan}", "<b>"]
)
def test_a_name_that_fits_is_left_alone(name):
    assert fit(name) == name


def test_marks_that_leave_the_line_come_off_and_a_mark_says_so():
    assert fit(STACK + "algo") == "Źalgo" + ELLIPSIS


def test_a_long_name_keeps_its_longest_start():
    name = "abcdefghij" * 20
    cut = fit(name)
    kept = cut.removesuffix(ELLIPSIS)
    assert cut.endswith(ELLIPSIS)
    assert name.startswith(kept)
    assert MEASURE(name[: len(kept) + 1] + ELLIPSIS).width > ROOM.width


def test_signs_that_the_font_lacks_are_shown_as_boxes():
    assert 0x1230 not in BOLD.wide
    assert fit("ሰላም x") == f"{3 * UNKNOWN_SIGN} x"


def test_a_decomposed_name_is_the_composed_one():
    assert fit("e\u0301") == "é"


@settings(max_examples=150, deadline=None)
@given(
    st.text(
        st.one_of(
            st.characters(exclude_categories=["Cc", "Cf", "Cs", "Zl", "Zp"]),
            st.sampled_from("\u0301\u0316\u0651\u05b0قريةאבWẬ"),
        ),
        max_size=200,
    ),
    st.floats(2, 30),
)
def test_any_name_stays_in_any_room(name, ems):
    room = ROOM._replace(width=ems * EM)
    shown = MEASURE(fit(name, room))
    assert shown.width <= room.width
    assert shown.above <= room.above
    assert shown.below <= room.below


def test_clusters_keep_marks_with_their_letters():
    assert clusters("ae\u0301\u0316b") == ["a", "e\u0301\u0316", "b"]
    assert clusters("\u0301a") == ["\u0301", "a"]


@pytest.mark.parametrize(
    ("text", "plain"), [("Tamba", True), ("Ñandú…", True), ("a\u0301", False), ("אב", False)]
)
def test_plain_text_is_told_from_text_to_be_shaped(text, plain):
    assert is_plain(text) is plain
