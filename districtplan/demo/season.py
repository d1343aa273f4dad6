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
