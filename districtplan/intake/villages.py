"""Spellings of villages: which look like one another or like a listed name; told, never joined.

Only a file that staff have edited (``[files] village_names``) puts one name in another's place, and
each plot keeps the name that it was given.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from rapidfuzz import fuzz, process

from districtplan.accepted import Given, UnusableError, accept
from districtplan.intake import names
from districtplan.signs import unaccented

if TYPE_CHECKING:
    from collections.abc import Sequence

SPELLINGS = ("village_as_given", "village")
"""Columns of a file of spellings that are read."""
SUGGESTED = ("plots", "suggested", "likeness_pct")
"""Those that the run writes beside them, which need no reading."""
LIST = ("village",)
"""The column of a list of villages."""
COMPARED_MAX = 5_000
"""Spellings that are compared; more are no villages of a district."""
AT_ONCE = 500
TOLD = 5
SHOWN_MAX = 60

NUMBERS = re.compile(r"\d+")
LETTER = re.compile(r"(?<!\w)\w(?!\w)")


def rename(plots: pd.DataFrame, spellings: pd.DataFrame) -> tuple[pd.DataFrame, Given]:
    """Put the names that staff decided on in place of those given.

    Parameters
    ----------
    plots : pandas.DataFrame
        The columns of intake.
    spellings : pandas.DataFrame
        ``source_row``, the columns ``SPELLINGS`` as text, ``reason`` and ``remedy``; a row without
        a ``village`` leaves the name as it is.

    Returns
    -------
    plots : pandas.DataFrame
        The same, ``village_as_given`` filled where the name was replaced.
    given : Given
        Rows of the file that were used, and those set aside.
    """
    there = set(plots["village"])
    given_as = [_unguarded(str(name), there) for name in spellings["village_as_given"]]
    spellings = spellings.assign(village_as_given=pd.Series(given_as, dtype=object))
    seen = spellings["village_as_given"].value_counts()

    def read(row: dict[str, Any]) -> dict[str, Any]:
        if seen[row["village_as_given"]] > 1:
            raise UnusableError("this spelling stands in several rows", "Keep one of them")
        village, fault = names.text(row["village"])
        if fault not in {None, names.MISSING}:
            raise UnusableError(f"the village's name {fault}", "Type it again")
        return {name: row[name] for name in SPELLINGS} | {"village": village}

    given = accept(spellings, "village_as_given", there, read, SPELLINGS)
    used = given.used[given.used["village"] != ""]
    if used.empty:
        return plots, given
    by_name = dict(zip(used["village_as_given"], used["village"], strict=True))
    village = [by_name.get(name, name) for name in plots["village"]]
    as_given = [
        old if old != new else None for old, new in zip(plots["village"], village, strict=True)
    ]
    replaced = plots.assign(
        village=pd.Series(village, dtype=plots["village"].dtype, index=plots.index),
        village_as_given=pd.Series(as_given, dtype=object, index=plots.index),
    )
    return replaced, given


def _unguarded(name: str, there: set[str]) -> str:
    """Take off the apostrophe that keeps spreadsheets from running a name."""
    return name[1:] if name not in there and name[:1] == "'" and name[1:] in there else name


def suggest(
    villages: pd.Series, listed: Sequence[str] | None, likeness_min_pct: float
) -> pd.DataFrame:
    """Say which name each odd spelling may stand for.

    Parameters
    ----------
    villages : pandas.Series
        Village of each plot.
    listed : Sequence[str] | None
        Names of the list of villages; None where there is none: then rarer spellings are held
        against those that more plots have.
    likeness_min_pct : float
        Least likeness of two names [%].

    Returns
    -------
    pandas.DataFrame
        ``village_as_given``, ``plots``, ``suggested`` and ``likeness_pct`` (None where a name is
        not on the list and like none of it) and ``village``, empty, for staff to fill in; one row a
        spelling, in the order of the file.
    """
    counts = villages.value_counts(sort=False)
    spelt = [str(name) for name in counts.index]
    plots = counts.to_numpy()
    if listed is not None:
        there = set(listed)
        odd = [place for place, name in enumerate(spelt) if name not in there]
        allowed = np.ones((len(odd), len(listed)), dtype=bool)
        known = list(listed)
    else:
        odd, known = list(range(len(spelt))), spelt
        # The commoner of two counts, and of equally common ones the first.
        rank = np.lexsort((np.arange(len(plots)), -plots)).argsort()
        allowed = (
            rank[None, :] < rank[:, None] if len(spelt) <= COMPARED_MAX else np.zeros((0, 0), bool)
        )
    rows = []
    if max(len(odd), len(known)) <= COMPARED_MAX:
        for place, (best, likeness) in zip(
            odd, _likest([spelt[at] for at in odd], known, allowed), strict=True
        ):
            near = likeness >= likeness_min_pct
            if near or listed is not None:
                suggested = (known[best], round(likeness, 1)) if near else (None, np.nan)
                rows.append((spelt[place], int(plots[place]), *suggested, ""))
    spelling, village = SPELLINGS
    return pd.DataFrame(rows, columns=[spelling, *SUGGESTED, village])


def _likest(
    odd: list[str], known: list[str], allowed: np.ndarray[Any, np.dtype[np.bool_]]
) -> list[tuple[int, float]]:
    """Give the place of the name that each is most like, and how much [%]."""
    if not known:
        return [(0, 0.0)] * len(odd)
    bare, signs = [_bare(name) for name in known], [_signs(name) for name in known]
    found = []
    for first in range(0, len(odd), AT_ONCE):
        some = odd[first : first + AT_ONCE]
        asked = [_bare(name) for name in some]
        # The library's stubs don't take its own scorers, since these have overloads.
        likeness = np.maximum(
            # pyrefly: ignore[no-matching-overload]
            process.cdist(asked, bare, scorer=fuzz.ratio, dtype=np.float32),
            # pyrefly: ignore[no-matching-overload]
            process.cdist(asked, bare, scorer=fuzz.token_sort_ratio, dtype=np.float32),
        )
        likeness[~allowed[first : first + AT_ONCE]] = 0
        for name, row in zip(some, likeness, strict=True):
            # The first of the likest whose numbers and lone letters are the same.
            own = _signs(name)
            order = np.argsort(-row, kind="stable")
            best = next((at for at in order if row[at] == 0 or signs[at] == own), order[0])
            same = signs[best] == own
            found.append((int(best), float(row[best]) if same else 0.0))
    return found


def _bare(name: str) -> str:
    """Leave of a name its letters without accents, in lower case."""
    return " ".join(re.sub(r"[\W_]+", " ", unaccented(name)).split())


def _signs(name: str) -> tuple[list[str], list[str]]:
    """Give numbers and lone letters, by which villages of one name are told apart."""
    bare = _bare(name)
    return NUMBERS.findall(bare), LETTER.findall(bare)


def doubts(suggested: pd.DataFrame, plots: pd.DataFrame, *, listed: bool) -> list[str]:
    """Say which names were replaced, and which look like others.

    Parameters
    ----------
    suggested : pandas.DataFrame
        As :func:`suggest` gives it.
    plots : pandas.DataFrame
        ``village`` and ``village_as_given`` of the plots used.
    listed : bool
        Whether there is a list of villages.

    Returns
    -------
    list[str]
        Sentences; empty where there is nothing to tell.
    """
    said = []
    replaced = plots["village_as_given"].dropna()
    if spelt := replaced.nunique():
        said.append(
            f"{_counted(spelt, 'spelling')} of villages, on "
            f"{_counted(len(replaced), 'plot')}, {'was' if spelt == 1 else 'were'} "
            "replaced as the plan's village_names says; the column village_as_given keeps them."
        )
    if plots["village"].nunique() > COMPARED_MAX:
        said.append(
            f"There are more than {COMPARED_MAX:,} names of villages, too many to look for "
            "spellings: is village_column the right one?"
        )
    near = suggested[suggested["suggested"].notna()]
    if len(near):
        than = "in the village list" if listed else "of more plots"
        shown = "; ".join(
            f"{_shown(row.village_as_given)} may be {_shown(row.suggested)}"
            for row in near.head(TOLD).itertuples()
        )
        more = f"; {len(near) - TOLD} more" if len(near) > TOLD else ""
        said.append(
            f"Spellings of villages that are like a name {than}: {shown}{more}. They count as "
            "villages of their own. village_names.csv lists them all: fill in its column village "
            "where they are one, and name the file in [files] village_names."
        )
    if unlike := int(suggested["suggested"].isna().sum()):
        said.append(
            f"{_counted(unlike, 'village name')} {'is' if unlike == 1 else 'are'} not in the "
            "village list and like nothing in it: see village_names.csv."
        )
    return said


def _counted(number: int, what: str) -> str:
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def _shown(name: object) -> str:
    return repr(str(name)[:SHOWN_MAX])
