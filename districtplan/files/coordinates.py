"""Longitudes and latitudes as people type them: degrees, minutes, seconds, letters, commas."""

from __future__ import annotations

import re

# Written out: float() also takes digits of other scripts, underscores, inf and nan.
_PLAIN = re.compile(r"[+-]?[0-9]{1,9}(\.[0-9]{1,30})?")
_COMMA = re.compile(r"[+-]?[0-9]{1,3},[0-9]{1,30}")
_PARTS = re.compile(
    r"(?P<first>[NSEW])?\s*(?P<sign>[+-])?(?P<deg>[0-9]{1,3}(?:[.,][0-9]{1,15})?)\s*[°º:d ]?\s*"
    r"(?:(?P<min>[0-9]{1,2}(?:[.,][0-9]{1,12})?)\s*['\u2032\u2019: m]?\s*"
    r"(?:(?P<sec>[0-9]{1,2}(?:[.,][0-9]{1,9})?)\s*(?:\"|''|\u2033|\u201d|s)?)?)?\s*(?P<last>[NSEW])?",
    re.IGNORECASE,
)
MINUTES = 60
COMMA = "a decimal comma was read as a point"
SEXAGESIMAL = "degrees, minutes or letters were read as degrees"
LETTERS = {"longitude": "EW", "latitude": "NS"}
SHOWN_MAX = 40


class UnreadError(ValueError):
    """A cell that is no coordinate; the message is the reason."""


def degrees(text: str, axis: str, done: list[str]) -> float:
    """Read a longitude or a latitude.

    Parameters
    ----------
    text : str
        What stands in a cell, such as ``29.123``, ``29,123``, ``29°07'22.8"E`` or ``S 2 30.5``.
    axis : str
        ``longitude`` or ``latitude``, for its letters.
    done : list[str]
        Takes a phrase where it isn't plain degrees with a point.

    Returns
    -------
    float
        Degrees, east and north positive.

    Raises
    ------
    UnreadError
        If it is none of these, or has a letter of the other axis or against its sign.
    """
    plain = text.strip().replace("\u2212", "-")
    if not plain:
        raise UnreadError(f"the {axis} is blank")
    if _PLAIN.fullmatch(plain):
        return float(plain)
    if _COMMA.fullmatch(plain):
        _note(done, COMMA)
        return float(plain.replace(",", "."))
    found = _PARTS.fullmatch(plain)
    wrong = UnreadError(f"{axis} = {text[:SHOWN_MAX]!a} isn't a {axis}")
    if found is None:
        raise wrong
    letters = [each.upper() for each in (found["first"], found["last"]) if each]
    if len(letters) > 1 or (letters and (found["sign"] or letters[0] not in LETTERS[axis])):
        raise wrong
    whole, minutes, seconds = (
        float((found[part] or "0").replace(",", ".")) for part in ("deg", "min", "sec")
    )
    # Only the last part may have decimals: 29.5 30 is no angle.
    split = [found[part] for part in ("deg", "min", "sec") if found[part]]
    if max(minutes, seconds) >= MINUTES or any(re.search("[.,]", part) for part in split[:-1]):
        raise wrong
    _note(done, SEXAGESIMAL)
    size = whole + minutes / MINUTES + seconds / MINUTES**2
    return -size if found["sign"] == "-" or letters in (["S"], ["W"]) else size


def _note(done: list[str], phrase: str) -> None:
    if phrase not in done:
        done.append(phrase)
