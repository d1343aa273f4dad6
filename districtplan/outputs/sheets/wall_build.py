"""Wall sheets from results: a village's plots on one map and in one list."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from districtplan.outputs import wording
from districtplan.outputs.sheets import outline
from districtplan.outputs.sheets.build import GOODS, weighed
from districtplan.outputs.sheets.sheet import Drawing, Wall, WallPlot

if TYPE_CHECKING:
    from collections.abc import Mapping

    from districtplan.outputs.sheets.outline import Floats
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

ROWS_DRAWN = 7
"""Rows drawn of a plot: enough to show how they lie."""

STEEP = "rows_alone_not_enough"


def wall_of(village: str, plots: pd.DataFrame, results: Results, texts: Texts) -> Wall:
    """Write a village's wall sheet.

    Parameters
    ----------
    village : str
        The village, as given.
    plots : pandas.DataFrame
        Its plots.
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    Wall
        All its plots, in the order of the file.
    """
    shapes = outline.in_degrees(plots["geometry"].to_numpy(dtype=object), results.plots_crs)
    first = shapely.get_coordinates(shapes[0])[0]
    rows = list(wording.records(plots))
    known = [column for column, _ in GOODS if plots[column].notna().any()]
    spacing = results.plan.practice.row_spacing_cm / 100
    found = []
    for row, shape in zip(rows, shapes, strict=True):
        local = outline.in_metres(shape, float(first[0]), float(first[1]))
        found.append(
            WallPlot(row["plot_id"], _drawing(row, local, spacing), _cells(row, known, texts))
        )
    heads = ("number", "plot", "square", "rows", *known)
    return Wall(
        village,
        _finding(rows, plots, texts),
        tuple(weighed(_needs(plots, known), texts)),
        texts.say("sheets.wall.totals_title"),
        texts.say("sheets.wall.map_note"),
        tuple(texts.say(f"sheets.wall.{head}") for head in heads),
        tuple(found),
    )


def _drawing(row: Mapping[str, Any], shape: shapely.Geometry, spacing_m: float) -> Drawing:
    kind = wording.kind_of(row)
    bearing = row["row_bearing_true_deg"]
    lines: tuple[Floats, ...] = ()
    if kind in {"compass", "level"} and pd.notna(bearing):
        lines = outline.straight_rows(shape, float(bearing), spacing_m, ROWS_DRAWN).lines
    return Drawing(
        outline.rings(shape),
        rows=lines,
        dashed=kind == "measure",
        cross=outline.cross(shape) if kind == "excluded" else (),
    )


def _cells(row: Mapping[str, Any], known: list[str], texts: Texts) -> tuple[str, ...]:
    kind = wording.kind_of(row)
    if kind == "compass":
        said = wording.both_ends(row["row_bearing_magnetic_deg"])
    else:
        words = {
            "excluded": "none",
            "later": "waiting",
            "measure": "measure_word",
            "guide": "level",
        }
        word = words.get(kind, kind)
        said = texts.say(f"sheets.wall.{word}")
    if STEEP in row["erosion_flags"] and kind != "excluded":
        said = f"{texts.say('sheets.wall.mark')} {said}"
    nothing = texts.say("sheets.wall.nothing")
    amounts = (
        nothing
        if kind in wording.BARRED or pd.isna(row[column])
        else texts.say("sheets.wall.amount", kg=wording.kilograms(int(row[column])))
        for column in known
    )
    return (said, *amounts)


def _needs(plots: pd.DataFrame, known: list[str]) -> dict[str, int | None]:
    """Add up whole grams over the plots that beans may stand on now."""
    kept = plots[~wording.barred(plots)]
    return {column: int(kept[column].sum()) if column in known else None for column, _ in GOODS}


def _finding(rows: list[dict[str, Any]], plots: pd.DataFrame, texts: Texts) -> tuple[str, ...]:
    kinds = [wording.kind_of(row) for row in rows]
    barred = np.array([kind == "excluded" for kind in kinds])
    steep = np.array([STEEP in row["erosion_flags"] for row in rows]) & ~barred
    area = f"{plots['area_ha'].sum():.1f}"
    said = [texts.say("sheets.wall.finding", plots=f"{len(rows):,}", area=area)]
    counts = {
        "steep": int(steep.sum()),
        "measure": kinds.count("measure"),
        "later": kinds.count("later"),
        "excluded": int(barred.sum()),
    }
    mark = texts.say("sheets.wall.mark")
    said += [
        texts.say(
            f"sheets.wall.{name}.{'one' if count == 1 else 'many'}", count=f"{count:,}", mark=mark
        )
        for name, count in counts.items()
        if count
    ]
    return tuple(said)
