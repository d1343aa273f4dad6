"""What is there already: practice factor and slope length of today's rows and structures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan.erosion.practice_factor import NO_CREDIT, row_grade_p

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.handbook import Handbook

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

NOT_KNOWN = "not known"


@dataclass(frozen=True)
class Now:
    """Current practice of plots, in their order.

    Attributes
    ----------
    across : numpy.ndarray
        Share of the rows that run across the slope: 1, a half where they are mixed, 0.
    ridged : numpy.ndarray
        Whether rows are ridged or earthed up; flat rows hold nothing back.
    row_grade_pct : numpy.ndarray
        Grade along rows, NaN where not given [%].
    structure, condition : list[str]
        The structure and its condition, empty where there is none.
    structure_p : numpy.ndarray
        P of the structure as it is.
    shortened : numpy.ndarray
        Share of what shortening the slope would hold back: 1, less in poor condition, 0.
    spacing_m : numpy.ndarray
        Slope length that the structure leaves, NaN where it shortens none [m].
    words : list[str]
        What is there, in words.
    known : numpy.ndarray
        Whether it is known how rows run.
    """

    across: Floats
    ridged: Bools
    row_grade_pct: Floats
    structure: list[str]
    condition: list[str]
    structure_p: Floats
    shortened: Floats
    spacing_m: Floats
    words: list[str]
    known: Bools


def of_plots(plot_id: pd.Series, practice: pd.DataFrame | None, handbook: Handbook) -> Now:
    """Bring what was recorded in the order of the plots.

    Parameters
    ----------
    plot_id : pandas.Series
        Ids of the plots.
    practice : pandas.DataFrame | None
        Rows used of :func:`districtplan.erosion.given.accept_practice`; None where the plan names
        no such file.
    handbook : Handbook
        The published tables.

    Returns
    -------
    Now
        Unknown practice counts as rows up and down without structures.
    """
    if practice is None:
        practice = pd.DataFrame(columns=["plot_id", *_COLUMNS], dtype=object)
    # Texts may come as a column of nothing but NaN, which is one of numbers.
    rows = practice.astype(object).set_index("plot_id").reindex(plot_id)
    given = _texts(rows["rows"])
    across = np.array([_ACROSS.get(rows, 0.0) for rows in given], dtype=np.float64)
    table = handbook.rows("structures_now").set_index("name")
    structure, condition = _texts(rows["structure"]), _texts(rows["condition"])
    poor = handbook.number("practice_factors", "poor_condition_share")
    shares = {"good": 1.0, "poor": poor}
    works = np.array([shares.get(state, 0.0) for state in condition], dtype=np.float64)
    # What only cuts the slope has no P of its own.
    p = np.sqrt((table["p_low"] * table["p_high"]).fillna(NO_CREDIT))
    likely = dict(zip(table.index, p, strict=True))
    sound_p = np.array([likely.get(name, NO_CREDIT) for name in structure], dtype=np.float64)
    shortens = structure.isin(table.index[table["way"] == "length"]).to_numpy(dtype=np.bool_)
    spacing = rows["spacing_m"].to_numpy(dtype=np.float64)
    return Now(
        across=across,
        ridged=rows["row_form"].isin(["earthed up", "ridges"]).to_numpy(dtype=np.bool_),
        row_grade_pct=rows["row_grade_pct"].to_numpy(dtype=np.float64),
        structure=structure.tolist(),
        condition=condition.tolist(),
        structure_p=NO_CREDIT - works * (NO_CREDIT - sound_p),
        shortened=np.where(shortens & (works > 0), works, 0.0),
        spacing_m=np.where(shortens & (works > 0), spacing, np.nan),
        words=[_words(*parts) for parts in zip(given, structure, condition, strict=True)],
        known=(given != "").to_numpy(dtype=np.bool_),
    )


def standing(plot_id: pd.Series, practice: pd.DataFrame | None, handbook: Handbook) -> pd.DataFrame:
    """Tell which structures stand on plots, so that none is proposed where it is.

    Parameters
    ----------
    plot_id : pandas.Series
        Ids of the plots.
    practice : pandas.DataFrame | None
        Rows used of :func:`districtplan.erosion.given.accept_practice`; None where the plan names
        no such file.
    handbook : Handbook
        The published tables.

    Returns
    -------
    pandas.DataFrame
        ``plot_id``, ``structure`` and ``condition`` (empty where there is none), ``structure_p``
        as it is, and ``cut_to_m``, the slope length that a sound one leaves (NaN where none).
    """
    now = of_plots(plot_id, practice, handbook)
    return pd.DataFrame(
        {
            "plot_id": plot_id.to_numpy(),
            "structure": now.structure,
            "condition": now.condition,
            "structure_p": now.structure_p,
            "cut_to_m": np.where(now.shortened == 1, now.spacing_m, np.nan),
        }
    )


def _texts(column: pd.Series) -> pd.Series:
    return column.where(column.notna(), "")


_ACROSS = {"across": 1.0, "mixed": 0.5}
_COLUMNS = ("rows", "row_form", "row_grade_pct", "structure", "condition", "spacing_m")


def _words(rows: str, structure: str, condition: str) -> str:
    said = [f"rows {rows}"] if rows else []
    said += [f"{structure}, {condition}"] if structure else []
    return "; ".join(said) or NOT_KNOWN


def rows_p(now: Now, level_p: Floats, slope_pct: Floats, handbook: Handbook) -> Floats:
    """Give P of the rows as they run now.

    Rows across the slope earn what rows on the contour earn, less by their grade where it is
    known; where it isn't, no more than cross-slope farming does. Flat rows earn nothing.

    Parameters
    ----------
    now : Now
        What is there.
    level_p : numpy.ndarray
        P that ridged rows on the contour would earn, 1 where none.
    slope_pct : numpy.ndarray
        Slopes [%].
    handbook : Handbook
        The published tables.

    Returns
    -------
    numpy.ndarray
        P, no unit.
    """
    usual = np.maximum(level_p, handbook.number("practice_factors", "cross_slope"))
    graded = row_grade_p(level_p, now.row_grade_pct, slope_pct)
    across = np.where(np.isnan(now.row_grade_pct), usual, graded)
    earned = np.where(now.ridged, across, NO_CREDIT)
    return np.asarray(NO_CREDIT - now.across * (NO_CREDIT - earned), dtype=np.float64)
