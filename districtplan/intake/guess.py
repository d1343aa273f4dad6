"""Which column of a plots file is which, guessed to draft a plan: each guess with its reason."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from districtplan.intake import names
from districtplan.signs import hidden

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray

    Objects = NDArray[np.object_]

ID_WORDS = ("plot_id", "plotid", "plot_no", "plot_code", "parcel_id", "field_id", "uid", "id")
VILLAGE_WORDS = ("village", "village_name", "vill", "settlement", "hamlet", "locality", "community")
FARMER_WORDS = ("farmer", "owner", "holder", "grower", "surname")
NAME_MAX = 200
"""Characters of a column's name that the plan takes."""
GROUPS_MAX_SHARE = 0.5
"""Most distinct values, as a share of all, of what groups plots."""
DEGREES = (180.0, 90.0)
SHOWN_MAX = 5


@dataclass(frozen=True)
class Guess:
    """One key of the plan, guessed.

    Attributes
    ----------
    key : str
        Key in ``[files]``.
    value : str | None
        What is put there; None where nothing can be guessed.
    why : str
        The reason, in words.
    """

    key: str
    value: str | None
    why: str


def guess(
    columns: Mapping[str, Objects],
    geometry: Objects,
    id_column: str | None = None,
    *,
    crs_known: bool,
) -> list[Guess]:
    """Guess the columns of a plots file.

    Parameters
    ----------
    columns : Mapping[str, numpy.ndarray]
        Values by column, as the file gives them.
    geometry : numpy.ndarray
        Outlines or None.
    id_column : str | None, default None
        Where the file's format keeps what a shape is called, if it does.
    crs_known : bool
        Whether the file states its CRS.

    Returns
    -------
    list[Guess]
        ``plot_id_column`` and ``village_column``; ``plots_crs`` where the file states none; and
        ``farmer_name_column`` without a value where a column looks like one.
    """
    usable = {name: values for name, values in columns.items() if _can_be_named(name)}
    plot_id = _plot_id(usable, id_column)
    rest = {name: values for name, values in usable.items() if name != plot_id.value}
    found = [plot_id, _village(rest)]
    if not crs_known:
        found.append(_crs(geometry))
    farmers = [name for name in usable if any(word in name.lower() for word in FARMER_WORDS)]
    if farmers:
        why = f"{_listed(farmers)} may name farmers: no name is read unless you write it here"
        found.append(Guess("farmer_name_column", None, why))
    return found


def likely_id(columns: Sequence[str]) -> str:
    """Pick by its name the column that most likely has the plot's id.

    Parameters
    ----------
    columns : Sequence[str]
        Names of columns.

    Returns
    -------
    str
        One of them, the first where no name says; empty where there is none.
    """
    return next(iter([*_by_words(columns, ID_WORDS), *columns]), "")


def _can_be_named(name: str) -> bool:
    return 0 < len(name) <= NAME_MAX and bool(name.strip()) and not hidden(name)


def _plot_id(columns: Mapping[str, Objects], id_column: str | None) -> Guess:
    key = "plot_id_column"
    state = {name: _repeats(values) for name, values in columns.items()}
    alone = [name for name, told in state.items() if told is None]
    told = dict.fromkeys(_by_words(columns, ID_WORDS), "its name is that of an id")
    if id_column is not None and id_column in columns:
        told.setdefault(id_column, "this format keeps there what a shape is called")
    named = list(told)
    for name in named:
        if name in alone:
            why = f"{told[name]}, and {_all_differ(len(columns[name]))}"
            return Guess(key, name, why + _others(named, name))
    if named:
        return Guess(key, named[0], f"{told[named[0]]}, but {state[named[0]]}")
    if alone:
        why = "its values all differ; its name doesn't say that it is an id"
        return Guess(key, alone[0], why + _others(alone, alone[0]))
    return Guess(key, None, f"no column has a value of its own in every row; {_have(columns)}")


def _village(columns: Mapping[str, Objects]) -> Guess:
    key = "village_column"
    named = _by_words(columns, VILLAGE_WORDS)
    if named:
        many = len(_texts(columns[named[0]]))
        why = f"its name is that of a village; it has {many:,} different {_values(many)}"
        return Guess(key, named[0], why + _others(named, named[0]))
    grouping = {
        name: len(found)
        for name, values in columns.items()
        if 1 < len(found := _texts(values)) <= GROUPS_MAX_SHARE * len(values)
        and not all(text.isdecimal() for text in found)
    }
    if grouping:
        most = max(grouping, key=lambda name: grouping[name])
        why = f"its {grouping[most]:,} values come back in many rows; its name doesn't say village"
        return Guess(key, most, why + _others(list(grouping), most))
    return Guess(key, None, f"no column groups the plots; {_have(columns)}")


def _crs(geometry: Objects) -> Guess:
    bounds = shapely.total_bounds(geometry)
    if not np.isfinite(bounds).all():
        return Guess("plots_crs", None, "the file states none, and no outline could be read")
    far = np.abs(bounds).reshape(2, 2).max(axis=0)
    if (far <= DEGREES).all():
        return Guess("plots_crs", "EPSG:4326", "the file states none; its numbers may be degrees")
    return Guess("plots_crs", None, "the file states none, and its numbers are no degrees: ask")


def _by_words(columns: Iterable[str], words: tuple[str, ...]) -> list[str]:
    """List columns whose name is one of the words, then those that hold one, best word first."""
    plain = {name: re.sub(r"[\W_]+", "_", name.casefold()).strip("_") for name in columns}
    exact = [name for word in words for name in plain if plain[name] == word]
    parts = [
        name for word in words for name in plain if re.search(rf"(?:^|_){word}(?:_|$)", plain[name])
    ]
    return list(dict.fromkeys([*exact, *parts]))


def _texts(values: Objects) -> set[str]:
    text, fault = names.texts(values)
    return {told for told, why in zip(text, fault, strict=True) if why is None}


def _repeats(values: Objects) -> str | None:
    """Say why values are no ids; None where each row has one of its own."""
    text, fault = names.texts(values)
    lost = sum(why is not None for why in fault)
    counts = Counter(told for told, why in zip(text, fault, strict=True) if why is None)
    twice = sum(count for count in counts.values() if count > 1)
    if not len(values) or not (lost or twice):
        return None if len(values) else "it has no rows"
    return " and ".join(
        [f"{lost:,} of its values can't be ids"] * bool(lost)
        + [f"{twice:,} stand in several rows"] * bool(twice)
    )


def _values(count: int) -> str:
    return "value" if count == 1 else "values"


def _all_differ(count: int) -> str:
    return "it has one value alone" if count == 1 else f"its {count:,} values all differ"


def _others(found: list[str], taken: str) -> str:
    rest = [name for name in found if name != taken]
    return f"; it could also be {_listed(rest)}" if rest else ""


def _have(columns: Mapping[str, Objects]) -> str:
    return f"the columns are {_listed(list(columns))}" if columns else "there are no columns"


def _listed(found: list[str]) -> str:
    more = f" and {len(found) - SHOWN_MAX} more" if len(found) > SHOWN_MAX else ""
    return ", ".join(ascii(name) for name in found[:SHOWN_MAX]) + more
