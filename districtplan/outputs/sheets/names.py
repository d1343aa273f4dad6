"""Names from outside on paper: fitted to their boxes, or shortened with a mark.

A name may be of any script and length, and may stack marks on a letter. Signs that the font lacks
are shown as an empty box, marks that would leave the line are taken off, and what is too long ends
in an ellipsis; the sheet also names the row of the plots file, so no plot can be mistaken.
"""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable, Container

ELLIPSIS = "…"
UNKNOWN_SIGN = "▯"
TURNING = {"R", "AL", "AN"}
"""Bidirectional classes of signs that run from right to left, or stand among such."""


class Ink(NamedTuple):
    """How far a text reaches from the start of its line.

    Attributes
    ----------
    width : float
        From its first ink to its last, or to where the next letter would start.
    above : float
        Above the line, negative if it stays below.
    below : float
        Below the line, negative if it stays above.
    before : float
        Ink before the start, which the width counts.
    """

    width: float
    above: float
    below: float
    before: float = 0.0


def fitted(name: str, known: Container[int], ink: Callable[[str], Ink], box: Ink) -> str:
    """Fit a name into a box.

    Parameters
    ----------
    name : str
        The name, as given.
    known : Container[int]
        Code points that the font has.
    ink : Callable[[str], Ink]
        Measures a text.
    box : Ink
        The room there is, in the same unit.

    Returns
    -------
    str
        The name or the longest start of it that fits; anything left out is marked by an ellipsis
        at the end.
    """
    letters = clusters("".join(_shown(sign, known) for sign in unicodedata.normalize("NFC", name)))
    low = [_lowered(letter, ink, box) for letter in letters]
    whole = "".join(low)
    if low == letters and _holds(ink(whole), box):
        return whole
    end = len(low) if low != letters else len(low) - 1
    # Halving finds the longest start, since a longer one is never narrower by more than a sign.
    fits, fails = 0, end + 1
    while fails - fits > 1:
        middle = (fits + fails) // 2
        if _holds(ink("".join(low[:middle]).rstrip() + ELLIPSIS), box):
            fits = middle
        else:
            fails = middle
    return "".join(low[:fits]).rstrip() + ELLIPSIS


def clusters(text: str) -> list[str]:
    """Split a text into letters with their marks.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    list[str]
        Each letter with the combining marks after it.
    """
    found: list[str] = []
    for sign in text:
        if found and unicodedata.category(sign).startswith("M"):
            found[-1] += sign
        else:
            found.append(sign)
    return found


def is_plain(text: str) -> bool:
    """Tell whether a text can be set letter by letter, from left to right.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    bool
        Whether no sign combines with another or turns the reading order.
    """
    return text.isascii() or not any(
        unicodedata.category(sign).startswith("M") or unicodedata.bidirectional(sign) in TURNING
        for sign in text
    )


def _shown(sign: str, known: Container[int]) -> str:
    return sign if ord(sign) in known else UNKNOWN_SIGN


def _lowered(letter: str, ink: Callable[[str], Ink], box: Ink) -> str:
    """Take the marks off a letter that leaves the line, or the letter itself if it is too high."""
    for tried in (letter, letter[0]):
        if _holds(ink(tried), box, across=False):
            return tried
    return UNKNOWN_SIGN


def _holds(ink: Ink, box: Ink, *, across: bool = True) -> bool:
    return (
        ink.above <= box.above and ink.below <= box.below and (not across or ink.width <= box.width)
    )
