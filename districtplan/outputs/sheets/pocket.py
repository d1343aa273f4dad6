"""The small tables of a plot sheet: the pocket table and the control pegs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd

from districtplan.outputs.sheets.sheet import Table

if TYPE_CHECKING:
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

TABLE = "field_sheets"
SLOPES = "pocket_slopes"
METRE_CM = 100


def pocket_table(results: Results, texts: Texts) -> Table:
    """Make the table by which an agent goes on from a measured fall without a computer.

    A row set wrong by an angle falls slope × sin(angle).

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    Table
        One column a slope: the fall that was measured, how far a row may fall, how far one falls
        that is set wrong, whether rows alone hold the soil.
    """
    plan, book = results.plan, results.handbook
    length = book.number(TABLE, "reading_length_m")
    slopes = [float(slope) for slope in book.rows(SLOPES)["slope_pct"]]
    terrain, limits = plan.terrain, plan.erosion
    rows = [
        (texts.say("sheets.pocket.fall", length=length), *(_cm(s * length, texts) for s in slopes))
    ]
    allowed = [
        min(terrain.row_grade_limit_pct, terrain.row_grade_limit_share * slope) for slope in slopes
    ]
    rows.append(
        (texts.say("sheets.pocket.allowed"), *(_cm(grade * length, texts) for grade in allowed))
    )
    degrees = book.number(TABLE, "bearing_slip_deg")
    turn = math.sin(math.radians(degrees))
    wrong = texts.say("sheets.pocket.wrong", degrees=degrees)
    rows.append((wrong, *(_cm(slope * turn * length, texts) for slope in slopes)))
    alone = [
        "none"
        if slope >= limits.perennials_from_slope_pct
        else "ask"
        if slope >= limits.structures_from_slope_pct
        else "yes"
        for slope in slopes
    ]
    words = [texts.say(f"sheets.pocket.{word}") for word in alone]
    rows.append((texts.say("sheets.pocket.alone"), *words))
    return Table("", tuple(rows))


def pegs_table(pegs: pd.DataFrame, texts: Texts) -> Table:
    """Make the table of control pegs.

    Parameters
    ----------
    pegs : pandas.DataFrame
        ``number``, ``along_m``, ``drop_cm``, ``bearing_magnetic_deg`` and ``step_cm``, in the order
        of walking.
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

    columns = ("number", "along_m", "drop_cm", "bearing_magnetic_deg", "step_cm")
    for number, along, drop, bearing, aside in zip(
        *(pegs[column].tolist() for column in columns), strict=True
    ):
        rows.append(
            (
                str(number),
                said("metres", along),
                said("cm", drop),
                said("degrees", bearing),
                said("left", -aside) if aside < 0 else said("right", aside),
            )
        )
    return Table(texts.say("sheets.pegs.title"), tuple(rows))


def _cm(value: float, texts: Texts) -> str:
    """Write a fall: slopes are percent, so percent times metres are centimetres."""
    if value >= METRE_CM:
        return texts.say("sheets.pocket.metres", value=value / METRE_CM)
    return texts.say("sheets.pocket.cm", value=value)
