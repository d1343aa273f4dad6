"""Rows of files beside the plots, keyed by plot or village: used, or set aside with a reason."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

TEXT_MAX = 200
"""Characters of a key that are told."""
SHOWN_MAX = 40
"""Characters of a value that are told."""
NUMBER = r"[0-9]{1,6}(\.[0-9]{1,20})?"
"""Written out: float() also takes digits of other scripts, underscores, inf and nan."""

REMEDIES = {
    "plot_id": "Give the id as it stands in the plots file, capitals and spaces too",
    "village": "Give the village's name as it stands in a run's villages.csv",
    "village_as_given": "Give the spelling as it stands in the plots file, capitals and spaces too",
}
"""What to do about a key that no plot has."""


@dataclass(frozen=True)
class Given:
    """The rows of a file, none lost.

    Attributes
    ----------
    used : pandas.DataFrame
        Rows that can be used, in the order of the file.
    set_aside : pandas.DataFrame
        ``source_row``, the key, ``reason`` and ``remedy`` of the others, and of rows that are used
        but for some value.
    rows_read : int
        Rows of the file.
    """

    used: pd.DataFrame
    set_aside: pd.DataFrame
    rows_read: int


def row_named(row: int) -> str:
    """Name a row of a file that has a head.

    Parameters
    ----------
    row : int
        Its number, counted after the head.

    Returns
    -------
    str
        That, and the number by which a spreadsheet shows it.
    """
    return f"row {row} (row {row + 1} of a spreadsheet)"


class UnusableError(ValueError):
    """A row, or a value of one, that can't be used: reason and remedy."""


def accept(
    given: pd.DataFrame,
    key: str,
    known: Collection[str],
    read: Callable[[dict[str, Any]], dict[str, Any]],
    names: tuple[str, ...],
) -> Given:
    """Take the rows that can be used and set the others aside.

    Parameters
    ----------
    given : pandas.DataFrame
        ``source_row``, the columns of the file as text, ``reason`` and ``remedy`` (None where the
        row was read).
    key : str
        Column of what each row is about.
    known : Collection[str]
        Its values that there are.
    read : Callable[[dict[str, Any]], dict[str, Any]]
        Reads one row, or raises :class:`UnusableError`. A value that is such an error is left empty
        and told; the rest of its row is used.
    names : tuple[str, ...]
        Columns of what is read.

    Returns
    -------
    Given
        All rows.
    """
    there, used, aside = set(known), [], []
    for cells in given.to_dict("records"):
        row = {str(name): value for name, value in cells.items()}
        try:
            _check(row, key, there)
            values = read(row)
            used.append({name: None if _wrong(one) else one for name, one in values.items()})
            if wrong := [one.args for one in values.values() if _wrong(one)]:
                reasons, remedies = (
                    "; ".join(dict.fromkeys(some)) for some in zip(*wrong, strict=True)
                )
                told = f"{reasons}; the rest of the row is used"
                aside.append((row["source_row"], str(row[key])[:TEXT_MAX], told, remedies))
        except UnusableError as unusable:
            aside.append((row["source_row"], str(row[key])[:TEXT_MAX], *unusable.args))
    return Given(
        pd.DataFrame(used, columns=list(names)),
        pd.DataFrame(aside, columns=["source_row", key, "reason", "remedy"]).astype(
            {"source_row": "int64"}
        ),
        len(given),
    )


def _wrong(value: object) -> bool:
    return isinstance(value, UnusableError)


def _check(row: dict[str, Any], key: str, there: set[str]) -> None:
    if row["reason"] is not None:
        raise UnusableError(row["reason"], row["remedy"])
    if row[key] not in there:
        raise UnusableError(
            f"no plot that is used has this {key}", REMEDIES.get(key, "Correct the name")
        )
