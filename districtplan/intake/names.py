"""Ids and names as text: nothing stripped, nothing guessed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeGuard

import numpy as np

from districtplan.signs import hidden

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

TEXT_MAX = 200  # characters, as for names in the plan
# Doubles hold every whole number up to here; beyond, two ids could read the same.
WHOLE_MAX = float(1 << 53)

MISSING = "is missing"
CONTROL = "has a control character or an invisible one"
LONG = "is longer than 200 characters"
NO_TEXT = "is neither text nor a whole number"
TOO_LARGE = "is a number too large to be told from its neighbours"


def texts(values: Iterable[Any]) -> tuple[NDArray[np.object_], NDArray[np.object_]]:
    """Read a column of ids or names.

    Parameters
    ----------
    values : Iterable[Any]
        Values as a file gives them.

    Returns
    -------
    text : numpy.ndarray
        Each as text; a whole number without a decimal point; empty where it is missing.
    fault : numpy.ndarray
        What is wrong with it, or None.
    """
    listed = list(values)
    # A village stands in hundreds of rows: a text is looked at once, and most are sound.
    sound = {value for value in {*filter(_is_text, listed)} if _fault(value) is None}
    found = np.array([*listed, None], dtype=object)[:-1]
    fault = np.full(len(listed), None, dtype=object)
    for row, value in enumerate(listed):
        if not (_is_text(value) and value in sound):
            found[row], fault[row] = text(value)
    return found, fault


def _is_text(value: object) -> TypeGuard[str]:
    return type(value) is str


def text(value: object) -> tuple[str, str | None]:
    """Read one id or name.

    Parameters
    ----------
    value : object
        Value as a file gives it.

    Returns
    -------
    text : str
        The value as text.
    fault : str | None
        What is wrong with it, or None.
    """
    if isinstance(value, str):
        return value, _fault(value)
    if value is None or (isinstance(value, float | np.floating) and np.isnan(value)):
        return "", MISSING
    if isinstance(value, bool | np.bool_):
        return str(value), NO_TEXT
    if isinstance(value, int | np.integer):
        return str(int(value)), None
    if isinstance(value, float | np.floating) and float(value).is_integer():
        return str(int(value)), None if abs(float(value)) < WHOLE_MAX else TOO_LARGE
    return ascii(str(value)[:TEXT_MAX]), NO_TEXT


def _fault(value: str) -> str | None:
    if not value.strip():
        return MISSING
    if hidden(value):
        return CONTROL
    return LONG if len(value) > TEXT_MAX else None
