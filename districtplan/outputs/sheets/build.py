"""Plot sheets from results: which words and which drawing each plot gets."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from districtplan import rows
from districtplan.outputs import wording
from districtplan.outputs.field_words import level_words, pocket_words, string_line, string_words
from districtplan.outputs.sheets import outline
from districtplan.outputs.sheets.laid import Found, by_plot, first_turn
from districtplan.outputs.sheets.pegs import pegs_part, pegs_table
from districtplan.outputs.sheets.sheet import (
    Blanks,
    Carried,
    Common,
    Drawing,
    Fall,
    Headline,
    How,
    Mark,
    Part,
    Sheet,
    Table,
)
from districtplan.terrain import READING_FLAGS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from districtplan.outputs.sheets.outline import Rows
    from districtplan.outputs.sheets.sheet import Picture
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

TABLE = "field_sheets"
SETTING_OUT = "setting_out"
GOODS: tuple[tuple[str, Picture], ...] = (
    ("seed_g", "seed"),
    ("npk_g", "sack"),
    ("urea_g", "banded sack"),
    ("manure_g", "manure"),
)
LETTERS = "ABCD"
CAUTIONS = ("apart", "cap", "hands", "dressed", "digging", "steep", "law")
NO_ROWS = outline.Rows((), 1, 0.0)
FALLING = ("compass", "check", "level", "pegs")
"""Steps that differ where rows are to fall."""
SOUTH_DEG = 180.0
UNDRAWN = {"any": "any", "measure": "empty", "later": "later", "excluded": "crossed"}
"""What the drawing says where it has no rows."""
STANDING = "standing structures"
"""Kind of guide lines that are there already."""


@dataclass(frozen=True)
class Plot:
    """A plot on its way to a sheet.

    Attributes
    ----------
    row : Mapping[str, Any]
        Its row of the plots table.
    kind : str
        excluded, later, measure, any, compass, guide or level: how its rows are set out.
    shape : shapely.Geometry
        Its outline in metres about its middle.
    fall_deg : float
        Which way it, or the hillside around, falls, from true north; NaN where it isn't known
        [degrees].
    ends : numpy.ndarray
        Its corners: lower left, lower right, upper right, upper left, shape (4, 2) [m].
    rows : Rows
        Rows drawn.
    found : Found
        What was laid out before, in metres.
    """

    row: Mapping[str, Any]
    kind: str
    shape: shapely.Geometry
    fall_deg: float
    ends: NDArray[np.float64]
    rows: Rows
    found: Found


def common(results: Results, texts: Texts) -> Common:
    """Write what all sheets of a run share.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    Common
        District, season, weedings and cautions.
    """
    book, plan = results.handbook, results.plan
    weedings = [
        texts.say("sheets.weeding.day", days=book.number(TABLE, f"weeding_{count}_days"))
        for count in (1, 2, 3)
    ]
    cautions = tuple(
        texts.say(f"sheets.cautions.{name}", fall=plan.erosion.structures_from_slope_pct)
        for name in CAUTIONS
    )
    return Common(
        plan.district.name,
        texts.say("sheets.season", date=texts.day(plan.district.planting_date)),
        Part(
            texts.say("sheets.weeding.title"),
            (
                texts.say("sheets.weeding.planted"),
                *weedings,
                texts.say("sheets.weeding.care"),
            ),
        ),
        Part(texts.say("sheets.cautions.title"), cautions),
        texts.say("sheets.north"),
    )


def how_parts(results: Results, texts: Texts) -> How:
    """Write what a team reads once: how the string is marked and a line levelled.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    How
        The string, then each level; what holds for all levels is said with the first.
    """
    parts = [Part(texts.say("sheets.how.string"), tuple(string_words(results.string, texts)))]
    told: set[str] = set()
    grade = None if results.plots["row_grade_design_pct"].gt(0).any() else 0.0
    for title, said in level_words(results.plan, results.handbook, texts, grade).items():
        parts.append(Part(title, tuple(one for one in said if one not in told)))
        told.update(said)
    return How(texts.say("sheets.how.title"), tuple(parts))


def sheets_of(results: Results, texts: Texts, positions: NDArray[np.int64]) -> Iterator[Sheet]:
    """Write the sheets of some plots.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.
    positions : numpy.ndarray
        Which plots, as positions in the results.

    Yields
    ------
    Sheet
        One a plot, in the order given.
    """
    plots = results.plots.iloc[positions]
    shapes = outline.in_degrees(plots["geometry"].to_numpy(dtype=object), results.plots_crs)
    found = by_plot(results, set(plots["plot_id"]))
    for shape, row in zip(shapes, records(plots), strict=True):
        plot = prepared(row, shape, found.get(row["plot_id"], Found()), results)
        yield sheet_of(plot, results, texts)


def records(plots: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Give a table's rows one by one.

    Parameters
    ----------
    plots : pandas.DataFrame
        The table.

    Yields
    ------
    dict[str, Any]
        Values by column, geometry left out.
    """
    names = [str(name) for name in plots if name != "geometry"]
    for values in zip(*(plots[name].tolist() for name in names), strict=True):
        yield dict(zip(names, values, strict=True))


def kind_of(row: Mapping[str, Any]) -> str:
    """Say how a plot's rows are set out.

    Parameters
    ----------
    row : Mapping[str, Any]
        Its row of the plots table.

    Returns
    -------
    str
        One of excluded, later (rows wait for a safe outlet), measure, any, guide (rows follow a
        level line), compass (straight rows by bearing) or level (straight rows on a day for which
        no compass bearing is known).
    """
    if wording.excluded(row) is not None:
        return "excluded"
    if row["outlet_flags"]:
        return "later"
    kinds = {"measure on the ground": "measure", "any direction": "any", "guide lines": "guide"}
    kind = kinds.get(row["row_method"], "compass")
    if kind == "compass" and pd.isna(row["row_bearing_magnetic_deg"]):
        return "level"
    return kind


def prepared(
    row: Mapping[str, Any], shape: shapely.Geometry, found: Found, results: Results
) -> Plot:
    """Bring a plot to metres and find its corners and rows.

    Parameters
    ----------
    row : Mapping[str, Any]
        Its row of the plots table.
    shape : shapely.Geometry
        Its outline in degrees.
    found : Found
        What was laid out before, in degrees.
    results : Results
        The run.

    Returns
    -------
    Plot
        All that a drawing needs.
    """
    place = float(row["longitude_deg"]), float(row["latitude_deg"])
    local = outline.in_metres(shape, *place)
    kind = kind_of(row)
    fall = _fall_deg(row, kind)
    moved = {
        name: None
        if (table := getattr(found, name)) is None
        else table.assign(
            geometry=outline.in_metres(table["geometry"].to_numpy(dtype=object), *place)
        )
        for name in ("rows", "guides", "pegs", "corners")
    }
    there = Found(**moved, walks=found.walks, every=found.every)
    return Plot(
        row,
        kind,
        local,
        fall,
        outline.corners(local, SOUTH_DEG if math.isnan(fall) else fall),
        _rows(row, kind, local, there, results),
        there,
    )


def sheet_of(plot: Plot, results: Results, texts: Texts) -> Sheet:
    """Write one sheet.

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
    Sheet
        All that is printed on it but what the run's sheets share.
    """
    row, kind = plot.row, plot.kind
    farmer = row.get("farmer_name")
    pegs = _pegs(plot)
    return Sheet(
        plot_id=row["plot_id"],
        village=row["village"],
        farmer=None if pd.isna(farmer) else str(farmer),
        facts=texts.say(
            "sheets.facts",
            area=f"{row['area_ha']:.2f}",
            latitude=f"{abs(row['latitude_deg']):.5f}",
            longitude=f"{abs(row['longitude_deg']):.5f}",
            northing=texts.say(f"sheets.side_{'s' if row['latitude_deg'] < 0 else 'n'}"),
            easting=texts.say(f"sheets.side_{'w' if row['longitude_deg'] < 0 else 'e'}"),
        ),
        source=texts.say("sheets.source", row=row["source_row"]),
        alarm=_alarm(row, texts),
        headline=_headline(plot, results, texts),
        carried=() if kind in {"excluded", "later"} else _carried(plot, results, texts),
        carry_title=texts.say("sheets.carry_title"),
        drawing=_drawing(plot, texts),
        drawing_note=_drawing_note(plot, texts),
        walk=_walk(plot, results, texts),
        blanks=_blanks(results, texts) if kind == "measure" else None,
        pocket=_pocket(results, texts) if kind == "measure" else None,
        ties=None if pegs is None else pegs_part(pegs, plot.found, results.plan, texts),
        pegs=None if pegs is None else pegs_table(pegs, texts),
        farmer_words=_farmer_words(plot, texts),
    )


def _fall_deg(row: Mapping[str, Any], kind: str) -> float:
    """Which way is downhill: square to the rows where there are any, else the hillside's way."""
    if kind == "measure":
        return float(row["hillside_downslope_true_deg"])
    down, bearing = row["downslope_true_deg"], row["row_bearing_true_deg"]
    if kind not in {"compass", "level"} or pd.isna(bearing) or pd.isna(down):
        return float("nan") if pd.isna(down) else float(down)
    return first_turn(float(bearing) + 90, float(down))


def _rows(
    row: Mapping[str, Any], kind: str, shape: shapely.Geometry, found: Found, results: Results
) -> Rows:
    if kind not in {"compass", "level", "guide"}:
        return NO_ROWS
    if found.rows is not None:
        lines = found.rows["geometry"].to_numpy(dtype=object)
        numbers = found.rows["row"].to_numpy(dtype=np.int64)
        return outline.given_rows(lines, numbers, found.every)
    bearing = row["row_bearing_true_deg"]
    # Straight rows can't stand for those that follow a guide line.
    if kind == "guide" or pd.isna(bearing):
        return NO_ROWS
    return outline.straight_rows(shape, bearing, results.plan.practice.row_spacing_cm / 100)


def _alarm(row: Mapping[str, Any], texts: Texts) -> str | None:
    code = next((code for code in wording.LAND_USE if code in row["erosion_flags"]), None)
    if code not in wording.EXCLUDED and row["outlet_flags"]:
        outlet = wording.outlet_words(row["row_outlet"], texts)
        return texts.say(f"sheets.alarm.{row['outlet_flags'][0]}", outlet=outlet)
    return None if code is None else texts.say(f"sheets.alarm.{code}")


def _headline(plot: Plot, results: Results, texts: Texts) -> Headline:
    row, kind = plot.row, plot.kind
    date = texts.day(results.plan.district.planting_date)
    if kind == "compass":
        notes = [texts.say("sheets.headline.bearing_note", date=date)]
        title = "bearing_title"
        if wording.bearing_is_check(row, results.plan):
            title = "check_title"
            limit = results.plan.terrain.bearing_check_slope_pct
            notes.insert(0, texts.say("sheets.headline.check_note", slope=limit))
        elif row["row_bearing_se_deg"] > wording.LEVEL_FROM_DEG:
            notes.append(texts.say("sheets.headline.unsure_note", degrees=wording.LEVEL_FROM_DEG))
        if not set(READING_FLAGS).isdisjoint(row["terrain_flags"]):
            notes.append(texts.say("sheets.headline.again_note"))
        elif row["row_method_reason"] == "measured_past_limit":
            notes.append(texts.say("sheets.headline.past_limit_note"))
        big = wording.both_ends(row["row_bearing_magnetic_deg"])
        return Headline(texts.say(f"sheets.headline.{title}"), big, tuple(notes))
    word = "level" if kind == "guide" else kind
    if kind == "guide" and pd.notna(row["row_bearing_magnetic_deg"]):
        ends = wording.both_ends(row["row_bearing_magnetic_deg"])
        name = "standing" if row["guide_kind"] == STANDING else "guide"
        note = texts.say(f"sheets.headline.{name}_note", ends=ends, date=date)
    elif kind == "measure":
        note = _hillside(row, texts)
    else:
        note = texts.say(f"sheets.headline.{word}_note")
    return Headline(
        texts.say(f"sheets.headline.{word}_title"),
        texts.say(f"sheets.headline.{word}_big"),
        (note,),
    )


def _hillside(row: Mapping[str, Any], texts: Texts) -> str:
    slope, side = row["hillside_slope_pct"], row["hillside_downslope_true_deg"]
    if pd.isna(slope) or pd.isna(side):
        return texts.say("sheets.headline.hillside_none")
    return texts.say(
        "sheets.headline.hillside_note",
        side=wording.direction(side, texts),
        fall=f"{slope:.0f}",
    )


def weighed(grams: Mapping[str, Any], texts: Texts) -> list[Carried]:
    """List seed, fertilisers and manure by weight.

    Parameters
    ----------
    grams : Mapping[str, Any]
        Grams of each, by column; what has no weight is left out.
    texts : Texts
        The words.

    Returns
    -------
    list[Carried]
        One each, in kilograms.
    """
    return [
        Carried(
            picture,
            wording.kilograms(int(grams[column])),
            texts.say("sheets.kg", good=texts.say(f"goods.{column}")),
        )
        for column, picture in GOODS
        if pd.notna(grams[column])
    ]


def _carried(plot: Plot, results: Results, texts: Texts) -> tuple[Carried, ...]:
    found = weighed(plot.row, texts)
    level = texts.say("sheets.level_amount")
    found.append(Carried("level", level, texts.say("sheets.level")))
    string = texts.say("sheets.string_amount", metres=results.plan.string.string_m)
    found.append(Carried("string", string, texts.say("sheets.string")))
    pegs = texts.say("sheets.pegs_amount", count=_pegs_needed(plot, results))
    found.append(Carried("peg", pegs, texts.say("sheets.pegs_name")))
    return tuple(found)


def _pegs_needed(plot: Plot, results: Results) -> int:
    """Count a peg at each step of the level along the longest line, and one at its end."""
    longest = plot.rows.longest_m
    if plot.found.guides is not None:
        longest = float(shapely.length(plot.found.guides["geometry"].to_numpy(dtype=object)).max())
    if not longest:
        # No row is known: the line can't be longer than the plot is broad.
        turn = math.radians(plot.fall_deg + 90)
        points = shapely.get_coordinates(plot.shape)
        across = points @ [[math.sin(turn)], [math.cos(turn)]]
        longest = float(np.ptp(points, axis=0).max() if math.isnan(turn) else np.ptp(across))
    span = results.handbook.number(SETTING_OUT, "a_frame_span_m")
    return math.ceil(longest / span) + 1


def _drawing(plot: Plot, texts: Texts) -> Drawing:
    kind = plot.kind
    label = texts.say("sheets.drawing.hillside" if kind == "measure" else "sheets.drawing.fall")
    measured = outline.places(plot.shape, plot.ends) if kind == "measure" else np.empty((0, 2))
    pegs = _pegs(plot)
    return Drawing(
        rings=outline.rings(plot.shape),
        rows=plot.rows.lines,
        guides=_thick(plot),
        pegs=() if pegs is None else tuple(Mark(*one) for one in outline.marks_of(pegs)),
        places=tuple(
            Mark(float(east), float(north), str(number))
            for number, (east, north) in enumerate(measured, 1)
        ),
        corners=_corners(plot),
        # A level plot has no downhill that a team could see.
        fall=None
        if math.isnan(plot.fall_deg) or kind == "any"
        else Fall(plot.fall_deg, label, kind == "measure"),
        dashed=kind in {"measure", "later"},
        cross=outline.cross(plot.shape) if kind == "excluded" else (),
    )


def _thick(plot: Plot) -> tuple[NDArray[np.float64], ...]:
    """Draw guide lines thick, and the row that is pegged."""
    pegs = _pegs(plot)
    if pegs is None:
        return ()
    if plot.found.guides is not None:
        return tuple(shapely.get_coordinates(line) for line in plot.found.guides["geometry"])
    lines = (part["geometry"] for _, part in pegs.groupby("line", sort=False))
    return tuple(shapely.get_coordinates(line.to_numpy(dtype=object)) for line in lines)


def _corners(plot: Plot) -> tuple[Mark, ...]:
    """Letter the corners that the words name."""
    if plot.kind in {"excluded", "later", "any"}:
        return ()
    corners = plot.found.corners
    if _pegs(plot) is not None and corners is not None:
        points = shapely.get_coordinates(corners["geometry"].to_numpy(dtype=object)).tolist()
        return tuple(
            Mark(east, north, letter)
            for (east, north), letter in zip(points, corners["letter"], strict=True)
        )
    found: dict[tuple[float, float], Mark] = {}
    for letter, (east, north) in zip(LETTERS, plot.ends, strict=True):
        # Of corners that coincide the first letter counts.
        found.setdefault((float(east), float(north)), Mark(float(east), float(north), letter))
    return tuple(found.values())


def _drawing_note(plot: Plot, texts: Texts) -> str:
    said = []
    if plot.rows.lines:
        every = plot.rows.every
        name = "all_rows" if every == 1 else "thinned"
        said.append(texts.say(f"sheets.drawing.{name}", every=every))
    elif plot.kind in UNDRAWN:
        said.append(texts.say(f"sheets.drawing.{UNDRAWN[plot.kind]}"))
    if _pegs(plot) is not None:
        said.append(texts.say("sheets.drawing.pegs"))
    return " ".join(said)


def _walk(plot: Plot, results: Results, texts: Texts) -> Part:
    row, kind, book = plot.row, plot.kind, results.handbook
    if kind == "excluded":
        title = texts.say("sheets.walk.none_title")
        return Part(title, (texts.say("sheets.walk.none"),))
    if kind == "later":
        return Part(texts.say("sheets.walk.later_title"), (texts.say("sheets.walk.outlet"),))
    span = book.number(SETTING_OUT, "a_frame_span_m")
    values = {
        "span": span,
        "spacing": results.plan.practice.row_spacing_cm,
        "length": book.number(TABLE, "reading_length_m"),
        "error": book.number(SETTING_OUT, "closing_error_cm"),
        "distance": book.number(SETTING_OUT, "closing_run_m"),
        # A grade in percent is centimetres in a metre.
        "allowed": math.floor(10 * span * row["row_grade_limit_pct"]) / 10,
        "letter": LETTERS[0],
        "corner": texts.say(
            f"sheets.corner.{'south_west' if math.isnan(plot.fall_deg) else 'left_low'}"
        ),
    }
    if kind == "measure":
        steps = ("level", "falls", "middle", "start", "back", "rows")
        said = tuple(texts.say(f"sheets.measure.{step}", **values) for step in steps)
        return Part(texts.say("sheets.measure.title"), (*said, string_line(results.string, texts)))
    if kind == "any":
        chosen: tuple[str, ...] = ("any", "any_check")
    elif kind == "compass":
        check = wording.bearing_is_check(row, results.plan)
        chosen = ("start", "check" if check else "compass", "pegs", "rows")
        values |= _ahead(plot, texts)
    else:
        chosen = ("start", "level", "pegs", "follow" if kind == "guide" else "rows")
    pegs = _pegs(plot)
    if pegs is not None:
        runs = pegs.groupby("line", sort=False)["number"].agg(["first", "last"])
        said_runs = (
            texts.say("sheets.pegs.run", first=first, last=last)
            for first, last in runs.itertuples(index=False)
        )
        values |= {"lines": len(runs), "runs": ", ".join(said_runs)}
        if kind == "guide" and plot.found.walks:
            values["side"] = wording.direction(float(plot.found.walks[0][1].true_deg[0]), texts)
            chosen = ("start", "level_peg", *chosen[2:])
        chosen = ("start_peg" if len(runs) == 1 else "start_lines", *chosen[1:])
    fall_pct = row["row_grade_design_pct"]
    if kind in {"compass", "level"} and fall_pct > 0:
        # A percent falls a centimetre in a metre.
        long = book.number(SETTING_OUT, "line_level_span_m")
        falls = (round(fall_pct * metres, 1) for metres in (span, long))
        values |= dict(zip(("fall", "long_fall"), falls, strict=True)) | {"long": long}
        chosen = tuple(f"{step}_falling" if step in FALLING else step for step in chosen)
    said = tuple(texts.say(f"sheets.walk.{step}", **values) for step in chosen)
    return Part(texts.say("sheets.walk.title"), (*said, string_line(results.string, texts)))


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


def _pegs(plot: Plot) -> pd.DataFrame | None:
    """Give the pegs of lines that are to be set out."""
    return plot.found.pegs if plot.kind in {"compass", "level", "guide"} else None


def _pocket(results: Results, texts: Texts) -> Table:
    length = results.handbook.number(TABLE, "reading_length_m")
    pocket = rows.pocket_table(results.plan, results.handbook)
    return Table("", tuple(map(tuple, pocket_words(pocket, length, texts))))


def _blanks(results: Results, texts: Texts) -> Blanks:
    length = results.handbook.number(TABLE, "reading_length_m")
    return Blanks(
        texts.say("sheets.measure.blanks", length=length),
        (*(str(number) for number in range(1, 6)), texts.say("sheets.measure.middle_label")),
        (texts.say("sheets.measure.compass"), texts.say("sheets.measure.date")),
    )


def _farmer_words(plot: Plot, texts: Texts) -> Part:
    falls = plot.row["row_grade_design_pct"] > 0
    chosen = {
        "excluded": ("steep", "other", "ask"),
        "later": ("later", "water", "ask"),
        "measure": ("not_yet", "keep", "apart"),
        "any": ("any", "water", "apart"),
    }.get(plot.kind, ("across_falling" if falls else "across", "keep", "apart"))
    said = tuple(texts.say(f"sheets.farmer.{name}") for name in chosen)
    return Part(texts.say("sheets.farmer.title"), said)
