"""Control pegs on a plot sheet: where the lines start and end, and a table of the pegs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from districtplan.outputs.field_words import begins_words, beside_words, tie_words
from districtplan.outputs.sheets.laid import CORNER_DEG
from districtplan.outputs.sheets.sheet import Part, Table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from districtplan.outputs.sheets.laid import Plot
    from districtplan.outputs.texts import Texts
    from districtplan.plan import Plan
    from districtplan.rows import Walk

    Walks = tuple[tuple[int, Walk], ...]

OF_GAPS = ("gap_m", "rows_in_gap", "short_rows_start", "short_rows_end")
DROP_DECIMALS = 1
"""Drops are printed to a millimetre: no level shows less."""


def ties_part(plot: Plot, plan: Plan, texts: Texts) -> Part | None:
    """Say where the lines of a plot start and end.

    Parameters
    ----------
    plot : Plot
        The plot.
    plan : Plan
        The team's pace.
    texts : Texts
        The words.

    Returns
    -------
    Part | None
        A sentence a line; None for a plot without lines to set out.
    """
    if plot.starts is not None:
        letters = _letters(plot.found.start_corners)
        lines = plot.starts.to_dict("records")
        said = []
        for line, following in zip(lines, [*lines[1:], None], strict=True):
            letter = letters[line[CORNER_DEG[0]], line[CORNER_DEG[1]]]
            begins = begins_words(line, plan, texts, letter)
            said.append(" ".join((begins, *beside_words(line, texts, following))))
        return Part(texts.say("sheets.pegs.starts_title"), tuple(said))
    pegs, found = plot.pegs, plot.found
    if pegs is None:
        return None
    letters = _letters(found.corners)
    runs = runs_of(plot)
    guides = {} if found.guides is None else found.guides.set_index("line").to_dict("index")
    said = []
    for number, walk in found.walks:
        if number not in runs:
            continue
        ends = [
            texts.say(
                f"sheets.pegs.{name}",
                peg=peg,
                place=tie_words(end, letters[end.corner_xy], plan, texts),
            )
            for name, peg, end in zip(("start", "end"), runs[number], walk.ties, strict=True)
        ]
        # Of a single line the first step says where it starts.
        where = ends[1:] if len(found.walks) == 1 else ends
        said.append(" ".join((*where, *beside_words(guides.get(number, {}), texts))))
    if plot.left_out:
        last = pegs["number"].iloc[-1]
        said.append(
            texts.say("sheets.pegs.left_out", first=f"{last + 1:,}", count=f"{plot.left_out:,}")
        )
    return Part(texts.say("sheets.pegs.title"), tuple(said))


def first_place(plot: Plot, plan: Plan, texts: Texts) -> str:
    """Say where the first line of a plot starts.

    Parameters
    ----------
    plot : Plot
        The plot, with a line to set out.
    plan : Plan
        The team's pace.
    texts : Texts
        The words.

    Returns
    -------
    str
        Part of a sentence.
    """
    start = plot.found.walks[0][1].ties[0]
    return tie_words(start, _letters(plot.found.corners)[start.corner_xy], plan, texts)


def _letters(corners: pd.DataFrame | None) -> dict[tuple[float, float], str]:
    return {} if corners is None else dict(zip(corners["xy"], corners["letter"], strict=True))


def runs_of(plot: Plot) -> dict[int, tuple[int, int]]:
    """Give the first and the last peg of the lines that a sheet prints.

    Parameters
    ----------
    plot : Plot
        The plot.

    Returns
    -------
    dict[int, tuple[int, int]]
        First and last peg of each line, by its number, whether or not all between are printed.
    """
    if plot.pegs is None or plot.found.pegs is None:
        return {}
    shown = plot.found.pegs["line"].isin(plot.pegs["line"])
    numbers = plot.found.pegs[shown].groupby("line", sort=False)["number"].agg(["first", "last"])
    return {int(line): (first, last) for line, first, last in numbers.itertuples()}


def reading_part(pegs: pd.DataFrame, walks: Walks, texts: Texts) -> Part:
    """Say how the table of pegs is read, and how well a walk closes.

    Parameters
    ----------
    pegs : pandas.DataFrame
        The pegs of a plot.
    walks : tuple[tuple[int, Walk], ...]
        Its lines and their numbers.
    texts : Texts
        The words.

    Returns
    -------
    Part
        Sentences without a heading.
    """
    worst = max(walk.closure_m for _, walk in walks)
    reading = [texts.say("sheets.pegs.read"), texts.say("sheets.pegs.closure", metres=worst)]
    said = [" ".join(reading)]
    if _bends(pegs):
        said.append(texts.say("sheets.pegs.read_aside"))
    if _gaps(pegs):
        said.append(texts.say("sheets.pegs.read_gap"))
    return Part("", tuple(said))


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
    between = ("gap", "rows") if _gaps(pegs) else ()
    rows = [tuple(texts.say(f"sheets.pegs.{head}") for head in (*heads, *between))]
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
    if between:
        # From its last peg on a line has no rows beside it.
        ended = ~pegs["line"].duplicated(keep="last")
        counts = [name for name in OF_GAPS if name != "gap_m"]
        pegs[counts] = pegs[counts].mask(ended)
        shared = zip(*(pegs[name].tolist() for name in OF_GAPS), strict=True)
        added = [(said("metres", round(gap, 1)), _shared(counts, texts)) for gap, *counts in shared]
        rows[1:] = [(*row, *more) for row, more in zip(rows[1:], added, strict=True)]
    return Table("", tuple(rows))


def _shared(counts: Sequence[Any], texts: Texts) -> str:
    """Say how many rows divide a gap from a peg on, and how many begin or end there."""
    rows, more, fewer = (0 if pd.isna(count) else int(count) for count in counts)
    if not rows:
        return texts.say("sheets.pegs.nothing")
    some = more > 0, fewer > 0
    name = {(True, True): "both", (True, False): "more", (False, True): "fewer"}.get(some, "same")
    return texts.say(f"sheets.pegs.rows_{name}", rows=rows, more=more, fewer=fewer)


def _gaps(pegs: pd.DataFrame) -> bool:
    """Tell whether rows divide a gap between two lines anywhere."""
    return bool(pegs["rows_in_gap"].notna().any())


def _bends(pegs: pd.DataFrame) -> bool:
    """Tell whether any step aside is to be made: along a straight line none is."""
    return bool(pegs["peg_sideways_cm"].where(pegs["peg"] > 1).fillna(0).ne(0).any())
