"""Control pegs on a plot sheet: where the lines start and end, and a table of the pegs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan.outputs.field_words import tie_words
from districtplan.outputs.sheets.sheet import Part, Table

if TYPE_CHECKING:
    from districtplan.outputs.sheets.laid import Found
    from districtplan.outputs.texts import Texts
    from districtplan.plan import Plan

DROP_DECIMALS = 1
"""Drops are printed to a millimetre: no level shows less."""


def pegs_part(pegs: pd.DataFrame, found: Found, plan: Plan, texts: Texts) -> Part:
    """Say where the lines of a plot start and end, and how well a walk closes.

    Parameters
    ----------
    pegs : pandas.DataFrame
        ``line`` and ``number`` of its pegs, in the order of walking.
    found : Found
        Its lines, and the corners that they are measured from.
    plan : Plan
        The team's pace.
    texts : Texts
        The words.

    Returns
    -------
    Part
        A sentence a line, how the table is read, and what to expect.
    """
    corners = found.corners
    letters = {} if corners is None else dict(zip(corners["xy"], corners["letter"], strict=True))
    names = pegs.groupby("line")["number"]
    first, last = names.first(), names.last()
    said = [
        texts.say(
            "sheets.pegs.ends",
            first=first[number],
            last=last[number],
            **{
                name: tie_words(end, letters[end.corner_xy], plan, texts)
                for name, end in zip(("start", "end"), walk.ties, strict=True)
            },
        )
        for number, walk in found.walks
    ]
    worst = max(walk.closure_m for _, walk in found.walks)
    reading = [texts.say("sheets.pegs.read"), texts.say("sheets.pegs.closure", metres=worst)]
    said.append(" ".join(reading))
    if _bends(pegs):
        said.append(texts.say("sheets.pegs.read_aside"))
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
    heads = ("peg", "along", "drop", "bearing", *(("step",) if _bends(pegs) else ()))
    rows = [tuple(texts.say(f"sheets.pegs.{head}") for head in heads)]
    nothing = texts.say("sheets.pegs.nothing")

    def said(key: str, value: float | None) -> str:
        return nothing if pd.isna(value) else texts.say(f"sheets.pegs.{key}", value=value)

    pegs = pegs.assign(peg_drop_cm=pegs["peg_drop_cm"].round(DROP_DECIMALS))
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
            )[: len(heads)]
        )
    return Table("", tuple(rows))


def _bends(pegs: pd.DataFrame) -> bool:
    """Tell whether any step aside is to be made: along a straight line none is."""
    return bool(pegs["peg_sideways_cm"].where(pegs["peg"] > 1).fillna(0).ne(0).any())
