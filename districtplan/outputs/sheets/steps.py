"""How a team sets out the rows of a plot, step by step."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import pandas as pd

from districtplan import rows
from districtplan.outputs import wording
from districtplan.outputs.field_words import band_line, bears_words, string_line
from districtplan.outputs.sheets.laid import first_turn
from districtplan.outputs.sheets.pegs import runs_of
from districtplan.outputs.sheets.sheet import Part

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from districtplan.handbook import Handbook
    from districtplan.outputs.sheets.laid import Plot
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

READINGS = "field_sheets"
SETTING_OUT = "setting_out"
LETTERS = "ABCD"
FALLING = ("compass", "check", "level", "level_side", "level_numbers", "level_peg", "pegs")
"""Steps that differ where rows are to fall."""
LEVEL_LINES = "level lines"
"""Kind of guide lines between which rows divide the gap."""


def steps(plot: Plot, results: Results, texts: Texts) -> Part:
    """Say how the rows of a plot are set out.

    Parameters
    ----------
    plot : Plot
        The plot.
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    Part
        Numbered steps, then what the string carries; or why there are no rows.
    """
    if plot.kind == "excluded":
        return Part(texts.say("sheets.walk.none_title"), (texts.say("sheets.walk.none"),))
    if plot.kind == "later":
        return Part(texts.say("sheets.walk.later_title"), (texts.say("sheets.walk.outlet"),))
    plan = results.plan
    carried = [string_line(results.string, texts), *band_line(plan.practice, texts)]
    values = _values(plot, results, texts)
    if plot.kind == "measure":
        length = results.handbook.number(READINGS, "reading_length_m")
        start = "start"
        if plan.soil.drainage == "poor":
            start = "start_falling"
            values |= falling(plan.rows.row_grade_min_pct, results.handbook)
        measured = ("level", "falls", "middle", start, "back", "rows")
        said = [texts.say(f"sheets.measure.{step}", **values) for step in measured]
        said.append(bears_words(plan.erosion, length, texts))
        return Part(texts.say("sheets.measure.title"), (*said, *carried))
    more, chosen = _chosen(plot, results, texts)
    said = [texts.say(f"sheets.walk.{step}", **values | more) for step in chosen]
    title = "rows_title" if plot.stands or plot.kind == "any" else "title"
    return Part(texts.say(f"sheets.walk.{title}"), (*said, *carried, *_in_all(plot.row, texts)))


def _in_all(row: Mapping[str, Any], texts: Texts) -> Iterator[str]:
    """Say what the rows come to, those of beans first."""
    yield texts.say(
        f"sheets.walk.in_all{'_short' if row['short_rows'] else ''}",
        rows=f"{row['rows']:,}",
        short=f"{row['short_rows']:,}",
        metres=f"{row['row_length_m']:,.0f}",
        holes=f"{row['holes']:,}",
    )
    if pd.notna(row["maize_seeds"]):
        yield texts.say(
            "sheets.walk.in_all_maize",
            rows=f"{row['maize_rows']:,}",
            metres=f"{row['maize_row_length_m']:,.0f}",
            seeds=f"{row['maize_seeds']:,}",
        )


def _values(plot: Plot, results: Results, texts: Texts) -> dict[str, Any]:
    book = results.handbook
    spaces = rows.spaces(results.plan, book)
    span = book.number(SETTING_OUT, "a_frame_span_m")
    apart = "apart" if results.plan.practice.maize_bean_rows is None else "apart_band"
    error, run = (
        book.number(SETTING_OUT, "closing_error_cm"),
        book.number(SETTING_OUT, "closing_run_m"),
    )
    # No level is better than its own closing error, and a percent is a centimetre in a metre.
    allowed = max(plot.row["row_grade_limit_pct"], error / run)
    corner = "south_west" if math.isnan(plot.fall_deg) else "left_low"
    return {
        "span": span,
        "apart": texts.say(f"sheets.walk.{apart}", spacing=100 * results.string.stick_m),
        "length": book.number(READINGS, "reading_length_m"),
        "error": error,
        "distance": run,
        "allowed": math.floor(10 * span * allowed) / 10,
        "most": round(100 * spaces.most_m),
        "least": round(100 * spaces.least_m),
        "letter": LETTERS[0],
        "corner": texts.say(f"sheets.corner.{corner}"),
    }


def _chosen(plot: Plot, results: Results, texts: Texts) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Choose the steps, and give the values that only they have."""
    if plot.kind == "any":
        return {}, ("any", "any_check")
    more: dict[str, Any] = {}
    chosen: tuple[str, ...] = ("start", "level", "pegs", "rows")
    if plot.kind == "guide":
        more, chosen = _guided(plot, texts)
    elif plot.kind == "compass":
        check = wording.bearing_is_check(plot.row, results.plan)
        chosen = ("start", "check" if check else "compass", "pegs", "rows")
        more |= _ahead(plot, texts)
    if plot.pegs is not None and plot.kind != "guide":
        chosen = ("start_peg", *chosen[1:])
    if plot.pegs is not None and not plot.fall_pct:
        chosen = tuple("pegs_between" if step == "pegs" else step for step in chosen)
    if plot.fall_pct:
        more |= falling(plot.fall_pct, results.handbook)
        chosen = tuple(f"{step}_falling" if step in FALLING else step for step in chosen)
    return more, chosen


def falling(fall_pct: float, book: Handbook) -> dict[str, float]:
    """Say how far a line falls over the spans of levels.

    Parameters
    ----------
    fall_pct : float
        Its fall [%].
    book : Handbook
        The spans (table ``setting_out``).

    Returns
    -------
    dict[str, float]
        ``fall`` [cm] over an A-frame, ``long_fall`` [cm] over ``long`` [m], a string's level.
    """
    spans = [book.number(SETTING_OUT, f"{level}_span_m") for level in ("a_frame", "line_level")]
    # A percent falls a centimetre in a metre.
    short, long = (round(fall_pct * metres, 1) for metres in spans)
    return {"fall": short, "long_fall": long, "long": spans[1]}


def _guided(plot: Plot, texts: Texts) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Choose the steps where rows follow lines."""
    if plot.stands:
        return {}, ("stands", "stands_check", "follow_standing")
    side = {"side": _fall_side(plot, texts)} if plot.fall_pct else {}
    level = "level_side" if plot.fall_pct else "level"
    if plot.pegs is None:
        if plot.starts is None:
            return side, ("start", level, "pegs", "follow")
        one = len(plot.starts) == 1
        last = "follow" if one else "divide_levelled"
        # Level lines start in the middle of the plot, lines that fall at their high end.
        level = level if plot.fall_pct else "level_both"
        return side | {"lines": len(plot.starts)}, (
            "start_levelled" if one else "start_levelled_lines", level, "pegs", last
        )  # fmt: skip
    lines = len(plot.found.walks)
    if lines == 1:
        bearing = float(plot.found.walks[0][1].true_deg[0])
        side = {"side": wording.direction(bearing, texts)}
        return side, ("start_peg", "level_peg", "pegs", "follow")
    said = (texts.say("sheets.pegs.run", first=first, last=last)
            for first, last in runs_of(plot).values())  # fmt: skip
    # Without a line between them, two lines' rows don't meet: a strip or a feature parts them.
    meet = "follow_parts" if plot.found.boundaries is not None else "follow_apart"
    last_step = "divide" if plot.row["guide_kind"] == LEVEL_LINES else meet
    more = side | {"lines": lines, "runs": ", ".join(said)}
    return more, ("start_lines", "level_numbers", "pegs", last_step)


def _fall_side(plot: Plot, texts: Texts) -> str:
    """Name the end that guide lines fall to."""
    bearing, end = plot.row["row_bearing_true_deg"], plot.row["row_fall_to"]
    if end in rows.SIDES:
        # Where either end will do, all fall to the one that the bearing points to.
        bearing = first_turn(bearing, rows.SIDES.index(end) * 360 / len(rows.SIDES))
    return wording.direction(bearing, texts)


def _ahead(plot: Plot, texts: Texts) -> dict[str, str]:
    """Which way to walk: from the lower left corner, the slope to one's left."""
    east, north = plot.ends[1] - plot.ends[0]
    towards = math.degrees(math.atan2(east, north))
    if not math.isnan(plot.fall_deg):
        # Facing uphill, the right hand.
        towards = plot.fall_deg - 90
    if plot.found.walks:
        _, walk = plot.found.walks[0]
        towards = float(walk.true_deg[0])
    true = first_turn(plot.row["row_bearing_true_deg"], towards)
    # One of the two whole numbers of the headline.
    near = round(plot.row["row_bearing_magnetic_deg"]) % 180
    ahead = first_turn(near, true - plot.row["declination_deg"])
    return {"ahead": f"{ahead:03.0f}", "side": wording.direction(true, texts)}
