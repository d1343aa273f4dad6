"""The demo's files on the season: who takes part, and what is in store."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from districtplan.demo.fields import Field

HEAD = ("plot_id", "farmer_id", "group", "enrolled", "consent", "demo", "closed", "bean_area_ha")
SHOWN = ("GOR-013", "LUV-021")
"""Fields that were demonstration plots last season: with a barrier, and with rows alone."""
BARRIER, ROWS = "contour rows with a grass strip", "rows on the contour"
"""What demonstration plots show."""
HOLDS, WOMEN, YOUTH, REACHED, TOLD = 0.9, 0.45, 0.25, 0.5, 0.6
"""Shares of farmers who hold their land, are women, are young, were reached, and tell of beans."""
ENROLLED, CONSENT, DEMO, CLOSED, FARMERS, PART = 0.7, 0.95, 0.02, 0.01, 0.8, 0.4
"""Shares of the fields; of the enrolled, those with consent; farmers a field; fields in part."""


def enrolment(seed: int, good: list[Field]) -> bytes:
    """Write who takes part.

    Parameters
    ----------
    seed : int
        Seed of all that is random; other files don't depend on it.
    good : list[Field]
        The fields.

    Returns
    -------
    bytes
        A CSV file: a row a field that somebody answered for, and one of a field that isn't in the
        plots.
    """
    random = np.random.default_rng([seed, len(good)])
    rows: list[tuple[str, ...]] = []
    for number, field in enumerate(good):
        enrols, consents, shows, closed, own, part = random.random(6) < (
            ENROLLED,
            CONSENT,
            DEMO,
            CLOSED,
            FARMERS,
            PART,
        )
        share = random.uniform(0.4, 0.9)
        before = rows[-1] if rows else None
        # Some farmers have a field beside that of the row before.
        same = before is not None and not own and before[0][:3] == field.plot_id[:3]
        farmer = before[1] if before is not None and same else f"F{number + 1:03d}"
        land = f"{share * field.outline.area / 10_000:.3f}" if part else ""
        answers = ["yes" if one else "no" for one in (enrols, consents, shows, closed)]
        rows.append((field.plot_id, farmer, "", *answers, land))
    rows.append(("NYX-999", "F999", "", "yes", "yes", "no", "no", ""))
    return _csv([HEAD, *rows])


def answers(seed: int, good: list[Field]) -> bytes:
    """Write what farmers answered who may show others.

    Parameters
    ----------
    seed : int
        Seed of all that is random; other files don't depend on it.
    good : list[Field]
        The fields.

    Returns
    -------
    bytes
        A CSV file: a row a field, some cells empty.
    """
    random = np.random.default_rng([seed, len(good), 2])
    rows = []
    for field in good:
        holds, woman, young, reached, told = random.random(5) < (HOLDS, WOMEN, YOUTH, REACHED, TOLD)
        rest = str(random.integers(1, 5)) if told else ""
        yes = ["yes" if one else "no" for one in (holds, young, reached)]
        rows.append((field.plot_id, yes[0], rest, "female" if woman else "male", yes[1], yes[2]))
    head = ("plot_id", "tenure", "seasons_since_beans", "sex", "youth", "reached")
    return _csv([head, *rows])


def shown() -> bytes:
    """Write which fields were demonstration plots before.

    Returns
    -------
    bytes
        A CSV file: a barrier that hasn't stood for its seasons, and a field shown last season.
    """
    head = ("plot_id", "message", "seasons_ago", "seasons_shown")
    kept, rests = SHOWN
    return _csv([head, (kept, BARRIER, "1", "1"), (rests, ROWS, "1", "1")])


def stock(good: list[Field]) -> bytes:
    """Write what two villages have in store.

    Parameters
    ----------
    good : list[Field]
        The fields.

    Returns
    -------
    bytes
        A CSV file; the first village has more NPK than it needs.
    """
    first, second = list(dict.fromkeys(field.village for field in good))[:2]
    head = ("buying_point", "seed_kg", "npk_kg", "urea_kg")
    return _csv([head, (first, "12", "2000", ""), (second, "7.5", "", "25")])


def _csv(rows: Iterable[tuple[str, ...]]) -> bytes:
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    return text.getvalue().encode()
