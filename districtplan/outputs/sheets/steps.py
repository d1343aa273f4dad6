"""How a team sets out the rows of a plot, step by step."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from districtplan import intervals, rows
from districtplan.outputs import wording, work_words
from districtplan.outputs.field_words import band_line, bears_words, string_line
from districtplan.outputs.sheets.laid import first_turn
from districtplan.outputs.sheets.pegs import first_place, runs_of
from districtplan.outputs.sheets.sheet import Part
from districtplan.outputs.sheets.work_page import printable

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from districtplan.handbook import Handbook
    from districtplan.outputs.sheets.laid import Plot
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

READINGS = "field_sheets"
SETTING_OUT = "setting_out"
FIRST_CORNER = "A"
"""Sign of the corner that one starts from where no peg is known."""
FALLING = ("compass", "check", "level", "level_side", "level_numbers", "level_peg", "pegs")
"""Steps that differ where rows are to fall."""
MEET_M = 2.0
"""Ends of two lines that are nearer than this lie at one place [m]."""
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
        What comes first on the hillside, then numbered steps; or why there are no rows.
    """
    site = tuple(map(printable, work_words.before_rows(plot.row, results, texts)))
    if plot.kind == "excluded":
        return Part(texts.say("sheets.walk.none_title"), (*site, texts.say("sheets.walk.none")))
    if plot.kind == "later":
        return Part(texts.say("sheets.walk.later_title"), (*site, texts.say("sheets.walk.outlet")))
    plan = results.plan
    values = _values(plot, results, texts)
    if plot.kind == "measure":
        length = results.handbook.number(READINGS, "reading_length_m")
        start = "start"
        if wording.drains_poorly(plot.row, plan):
            start = "start_falling"
            values |= falling(plan.rows.row_grade_min_pct, results.handbook)
        measured = ("level", "falls", "middle", start, "back", "rows")
        said = [texts.say(f"sheets.measure.{step}", **values) for step in measured]
        said.append(bears_words(plan.erosion, length, texts))
        return Part(texts.say("sheets.measure.title"), (*site, *said))
    if plot.doubted:
        site = (*site, texts.say("sheets.measure.again", **values))
    more, chosen = _chosen(plot, results, texts)
    said = [texts.say(f"sheets.walk.{step}", **values | more) for step in chosen]
    if plot.kind != "any":
        said += _ends(plot, len(said) + 1, texts)
    if plot.found.taken is not None:
        said[-1] += " " + texts.say("sheets.walk.stop")
    title = "rows_title" if plot.stands or plot.kind == "any" else "title"
    return Part(texts.say(f"sheets.walk.{title}"), (*site, *said))


def totals(plot: Plot, results: Results, texts: Texts) -> Part | None:
    """Say what the string carries, and what the rows come to.

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
    Part | None
        Sentences without a heading; None where no rows are set out.
    """
    if plot.kind in wording.BARRED:
        return None
    carried = (string_line(results.string, texts), *band_line(results.plan.practice, texts))
    laid = () if plot.kind == "measure" else _in_all(plot.row, texts)
    return Part("", (*carried, *laid))


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
    length = book.number(READINGS, "reading_length_m")
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
        "length": length,
        "half": length / 2,
        "error": error,
        "distance": run,
        "allowed": math.floor(10 * span * allowed) / 10,
        "most": round(100 * spaces.most_m),
        "least": round(100 * spaces.least_m),
        "letter": FIRST_CORNER,
        "corner": texts.say(f"sheets.corner.{corner}"),
        **_beside(plot, results, texts),
    }


def _ends(plot: Plot, number: int, texts: Texts) -> Iterator[str]:
    """Say what is known of both ends of rows, where neither is known to be the lower one."""
    row = plot.row
    if plot.kind != "guide" and pd.notna(row["row_low_end"]):
        return
    harmed = texts.say("sheets.walk.harmed")
    ends = row["row_end_ahead"], row["row_end_behind"]
    known = [pd.notna(there) and there != rows.NOT_KNOWN for there in ends]
    if plot.kind == "guide" or not any(known):
        yield texts.say("sheets.walk.ends_unknown", number=number, harmed=harmed)
        return
    end, other_end = wording.ends_named(row["row_bearing_true_deg"], texts)
    ahead, behind = (
        wording.outlet_words(there, texts) if told else texts.say("sheets.walk.end_unknown")
        for there, told in zip(ends, known, strict=True)
    )
    yield texts.say(
        f"sheets.walk.ends{'_alike' if ahead == behind else ''}",
        number=number,
        end=end,
        other_end=other_end,
        ahead=ahead,
        behind=behind,
        harmed=harmed,
    )


def _beside(plot: Plot, results: Results, texts: Texts) -> dict[str, str]:
    """Say how many rows lie on both sides of a straight line, and after how many one is tried.

    Lines are tried as far apart as lines are levelled that nothing is known of.
    """
    between = plot.row["row_spacing_map_m"]
    if plot.stands or plot.kind in {"measure", "any"} or pd.isna(between):
        return {"many": "", "tried": ""}
    across = _across(plot)
    many = ""
    if across is not None and results.plan.practice.maize_bean_rows is None:
        down, up = (math.floor(far / between) for far in across)
        many = texts.say("sheets.walk.many", up=up, down=down)
    slope = np.array([plot.row["slope_used_pct"]])
    apart = intervals.horizontal_m(intervals.DISTANCE, slope, results.handbook)
    tried = math.floor(float(apart[0]) / between)
    return {"many": many, "tried": texts.say("sheets.walk.tried", rows=tried)}


def _across(plot: Plot) -> tuple[float, float] | None:
    """Give how far a plot reaches downhill and uphill of the straight line that is pegged [m]."""
    if plot.kind == "guide" or plot.pegs is None or math.isnan(plot.fall_deg):
        return None
    angle = math.radians(plot.fall_deg)
    down = np.array([math.sin(angle), math.cos(angle)])
    pegged = shapely.get_coordinates(plot.pegs["geometry"].to_numpy(dtype=object)) @ down
    reach = shapely.get_coordinates(plot.shape) @ down
    return float(reach.max() - pegged.mean()), float(pegged.mean() - reach.min())


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
    if "start_peg" in chosen:
        more["place"] = first_place(plot, results.plan, texts)
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
    # Where no line between them is drawn, a strip or a feature may part two lines' rows.
    meet = "follow_apart" if plot.found.boundaries is None and _apart(plot) else "follow_parts"
    last_step = "divide" if plot.row["guide_kind"] == LEVEL_LINES else meet
    more = side | {"lines": lines, "runs": ", ".join(said)}
    return more, ("start_lines", "level_numbers", "pegs", last_step)


def _apart(plot: Plot) -> bool:
    """Tell whether a line of pegs ends where no other one does: rows of theirs don't meet."""
    pegs = plot.found.pegs
    if pegs is None:
        return False
    lines = pegs["line"].to_numpy()
    last = np.append(lines[1:] != lines[:-1], True)
    outer = last | np.roll(last, 1)
    points, of = pegs["geometry"].to_numpy(dtype=object)[outer], lines[outer]
    between = shapely.distance(points[:, None], points)
    between[of[:, None] == of] = np.inf
    nearest = pd.Series(between.min(axis=1)).groupby(of).min()
    return bool((nearest > MEET_M).any())


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
