"""Control pegs on a plot sheet: where the lines start and end, and a table of the pegs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan.outputs.field_words import tie_words
from districtplan.outputs.sheets.sheet import Part, Table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from districtplan.outputs.texts import Texts
    from districtplan.plan import Plan
    from districtplan.rows import Walk


def pegs_part(
    pegs: pd.DataFrame, walks: Sequence[tuple[int, Walk]], plan: Plan, texts: Texts
) -> Part:
    """Say where the lines of a plot start and end, and how well a walk closes.

    Parameters
    ----------
    pegs : pandas.DataFrame
        ``line`` and ``number`` of its pegs, in the order of walking.
    walks : Sequence[tuple[int, Walk]]
        Its lines and their numbers.
    plan : Plan
        The team's pace.
    texts : Texts
        The words.

    Returns
    -------
    Part
        A sentence a line, and what to expect.
    """
    names = pegs.groupby("line")["number"]
    first, last = names.first(), names.last()
    said = [
        texts.say(
            "sheets.pegs.ends",
            first=first[number],
            last=last[number],
            start=tie_words(walk.ties[0], plan, texts),
            end=tie_words(walk.ties[1], plan, texts),
        )
        for number, walk in walks
    ]
    worst = max(walk.closure_m for _, walk in walks)
    said.append(texts.say("sheets.pegs.closure", metres=worst))
    return Part(texts.say("sheets.pegs.title"), tuple(said))


def pegs_table(pegs: pd.DataFrame, texts: Texts) -> Table:
    """Make the table of control pegs.

    Parameters
    ----------
    pegs : pandas.DataFrame
        ``number`` and the columns made by pegs, in the order of walking.
    texts : Texts
        The words.

    Returns
    -------
    Table
        One row a peg.
    """
    heads = ("peg", "along", "drop", "bearing", "step")
    rows = [tuple(texts.say(f"sheets.pegs.{head}") for head in heads)]
    nothing = texts.say("sheets.pegs.nothing")

    def said(key: str, value: float | None) -> str:
        return nothing if pd.isna(value) else texts.say(f"sheets.pegs.{key}", value=value)

    columns = ("number", "peg_along_m", "peg_drop_cm", "peg_bearing_magnetic_deg")
    # Before the first peg of a line there is no leg to lay the string on along.
    sideways = pegs["peg_sideways_cm"].astype("float64").where(pegs["peg"] > 1)
    sides = np.select([sideways > 0, sideways < 0], ["right", "left"], "straight")
    for number, along, drop, bearing, side, aside in zip(
        *(pegs[column].tolist() for column in columns),
        sides.tolist(),
        sideways.abs().tolist(),
        strict=True,
    ):
        rows.append(
            (
                str(number),
                said("metres", along),
                said("cm", drop),
                said("degrees", bearing),
                said(side, aside),
            )
        )
    return Table("", tuple(rows))
