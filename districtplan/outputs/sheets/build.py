"""Plot sheets from results: which words and which drawing each plot gets."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from districtplan import rows
from districtplan.outputs import wording
from districtplan.outputs.field_words import (
    band_line,
    level_words,
    pocket_words,
    string_words,
)
from districtplan.outputs.sheets import outline
from districtplan.outputs.sheets.laid import BELT, LOW_PLACE, Found, Plot, by_plot, first_turn
from districtplan.outputs.sheets.pegs import pegs_table, reading_part, ties_part
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
    Taken,
)
from districtplan.outputs.sheets.steps import FIRST_CORNER, SETTING_OUT, falling, steps, totals

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from districtplan.outputs.sheets.outline import Rows
    from districtplan.outputs.sheets.sheet import Care, Picture
    from districtplan.outputs.texts import Texts
    from districtplan.plan import Plan
    from districtplan.results import Results

TABLE = "field_sheets"
GOODS: tuple[tuple[str, Picture], ...] = (
    ("seed_g", "seed"),
    ("npk_g", "sack"),
    ("urea_g", "banded sack"),
    ("manure_g", "manure"),
)
CAUTIONS: tuple[Care, ...] = ("apart", "cap", "hands", "dressed", "digging", "steep", "law")
BEANS, MAIZE = "beans", "maize"
NO_ROWS = outline.Rows((), 1, 0.0)
SOUTH_DEG = 180.0
OF_CORNERS = ("corners", "start_corners")
LEVELS = {"level": "level", "measure": "level_measure"}
"""What is carried to level with, where it isn't a level and a compass."""
LOW_PLACES_MAX = 2
"""Low places that are told with their rows: a sheet has no room for more."""
AREAL = 2
"""Dimensions of a polygon: where two shapes only touch, they share less."""
SMALL_HA = 0.1
"""Area below which square metres are printed [ha]."""
HEAVY_G = 100_000_000
"""Weight from which tonnes are printed: kilograms would not fit their box [g]."""
PACED = 20
"""Paces that one walks to count one's own."""
UNDRAWN = {"any": "any", "measure": "empty", "later": "later", "excluded": "crossed"}
"""What the drawing says where it has no rows."""
ONE_FALL_DEG = 30
"""Lines that lie farther from square to the plot's fall have an arrow each [degrees]."""
WHERE_WET = {"measure": "fall_where_wet", "any": "flat_where_wet"}
"""What is seen first where the soil drains poorly and rows have no fall yet."""


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
            ("hoe", "by hand"),
        ),
        Part(texts.say("sheets.cautions.title"), cautions, CAUTIONS),
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
    paced, step = results.plan.rows, results.plan.rows.peg_step_m
    parts = [
        Part(
            texts.say("sheets.how.string"),
            (
                *string_words(results.string, texts),
                *band_line(results.plan.practice, texts),
                texts.say("sheets.how.threads", half=step / 2, step=step),
                texts.say("sheets.how.pace", pace=paced.pace_m, walked=PACED * paced.pace_m),
            ),
        )
    ]
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
    for shape, row in zip(shapes, wording.records(plots), strict=True):
        plot = prepared(row, shape, found.get(row["plot_id"], Found()), results)
        yield sheet_of(plot, results, texts)


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
    kind = wording.kind_of(row)
    fall = _fall_deg(row, kind)
    moved = {
        name: None
        if (table := getattr(found, name)) is None
        else table.assign(
            geometry=outline.in_metres(table["geometry"].to_numpy(dtype=object), *place)
        )
        for name in ("rows", "guides", "boundaries", "starts", "pegs", *OF_CORNERS, "taken")
    }
    there = Found(**moved, walks=found.walks, every=found.every)
    return Plot(
        row,
        kind,
        local,
        fall,
        outline.corners(local, SOUTH_DEG if math.isnan(fall) else fall),
        _rows(row, kind, local, there, results),
        _maize(kind, there, results.plan),
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
    pegs = plot.pegs
    return Sheet(
        plot_id=row["plot_id"],
        village=row["village"],
        farmer=None if pd.isna(farmer) else str(farmer),
        facts=texts.say(
            "sheets.facts",
            area=_area(row["area_ha"], texts),
            latitude=f"{abs(row['latitude_deg']):.5f}",
            longitude=f"{abs(row['longitude_deg']):.5f}",
            northing=texts.say(f"sheets.side_{'s' if row['latitude_deg'] < 0 else 'n'}"),
            easting=texts.say(f"sheets.side_{'w' if row['longitude_deg'] < 0 else 'e'}"),
        ),
        source=_source(plot, results, texts),
        alarm=_alarm(plot, results, texts),
        headline=_headline(plot, results, texts),
        carried=() if kind in wording.BARRED else _carried(plot, results, texts),
        carry_title=texts.say("sheets.carry_title"),
        drawing=_drawing(plot, texts),
        drawing_note=_drawing_note(plot, texts),
        water=_water(plot, results.plan, texts),
        walk=steps(plot, results, texts),
        totals=totals(plot, results, texts),
        blanks=_blanks(results, texts) if kind == "measure" or plot.doubted else None,
        pocket=_pocket(results, texts) if kind == "measure" else None,
        ties=ties_part(plot, results.plan, texts),
        reading=None if pegs is None else reading_part(pegs, plot.found.walks, texts),
        pegs=None if pegs is None else pegs_table(pegs, texts),
        farmer_words=_farmer_words(plot, texts),
    )


def _source(plot: Plot, results: Results, texts: Texts) -> str:
    """Say where the plot is from and, where a list is signed too, why that says other amounts."""
    listed = results.purchase.is_order and plot.kind not in wording.BARRED
    name = "source_listed" if listed and pd.notna(plot.row["seed_g"]) else "source"
    return texts.say(f"sheets.{name}", row=plot.row["source_row"])


def _area(area_ha: float, texts: Texts) -> str:
    """Write an area; hundredths of a hectare would round a small one by a tenth or more."""
    name = "area" if area_ha >= SMALL_HA else "area_small"
    return texts.say(f"sheets.{name}", area_ha=area_ha, area_m2=10_000 * area_ha)


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
        return _of_crop(found, BEANS, results.plan)
    bearing = row["row_bearing_true_deg"]
    # Straight rows can't stand for those that follow a guide line.
    if kind == "guide" or pd.isna(bearing):
        return NO_ROWS
    return outline.straight_rows(shape, bearing, results.plan.practice.row_spacing_cm / 100)


def _maize(kind: str, found: Found, plan: Plan) -> Rows:
    drawn = kind in {"compass", "level", "guide"} and found.rows is not None
    return _of_crop(found, MAIZE, plan) if drawn else NO_ROWS


def _of_crop(found: Found, crop: str, plan: Plan) -> Rows:
    """Thin the rows of a crop; with two crops a drawing shows half as many of each, in turn."""
    table = pd.DataFrame() if found.rows is None else found.rows
    crops = table["crop"].to_numpy(dtype=object)
    here = table[crops == crop]
    lines = here["geometry"].to_numpy(dtype=object)
    numbers = here["row"].to_numpy(dtype=np.int64)
    both = len(np.unique(crops)) > 1
    return outline.given_rows(
        lines,
        numbers,
        found.every,
        2 if both else 1,
        between=crop == MAIZE,
        gap_m=plan.rows.gap_width_m,
    )


def _alarm(plot: Plot, results: Results, texts: Texts) -> str | None:
    row = plot.row
    code = next((code for code in wording.LAND_USE if code in row["erosion_flags"]), None)
    if code not in wording.EXCLUDED and row["outlet_flags"]:
        outlet = wording.outlet_words(row["row_outlet"], texts)
        return texts.say(f"sheets.alarm.{row['outlet_flags'][0]}", outlet=outlet)
    codes = [] if code is None else [code]
    if plot.doubted:
        codes.insert(0, "again")
    if row["slipping_ground"] and plot.kind != "excluded":
        codes.append("slipping_ground")
    by_raster = plot.kind == "guide" or (
        plot.kind == "compass" and pd.isna(row["row_bearing_measured_true_deg"])
    )
    if by_raster and "filled_heights" in row["terrain_flags"]:
        codes.append("filled")
    if wording.drains_poorly(row, results.plan):
        # What stands there has the fall that it has.
        wet = "level_where_wet" if plot.kind == "guide" and not plot.fall_pct else None
        wet = WHERE_WET.get(plot.kind, wet)
        codes += [] if wet is None else [wet]
    return " ".join(texts.say(f"sheets.alarm.{code}") for code in codes) or None


def _water(plot: Plot, plan: Plan, texts: Texts) -> Part | None:
    """Say where water runs, stands and goes, the most harmful first."""
    row, kind = plot.row, plot.kind
    if kind in wording.BARRED:
        return None
    said = []
    unplaced = wording.unplaced_water(row)
    if unplaced is not None:
        values = wording.how_much_water(row, texts)
        said.append(texts.say(f"sheets.water.{unplaced}", plan=plan, **values))
    there = () if plot.found.taken is None else set(plot.found.taken["kind"])
    drawn = [kind for kind in (*rows.DRAWN, BELT) if kind in there]
    said += [texts.say(f"sheets.water.{kind}") for kind in drawn]
    if unplaced is None and not drawn and row["flow_strip_m2"] > 0:
        said.append(texts.say("sheets.water.placed", plan=plan))
    if row["row_breaks"] > 0:
        name = "breaks_ringed" if plot.rings else "breaks"
        values = {"row_breaks": row["row_breaks"], "places": _low_places(plot, texts)}
        said.append(texts.say(f"sheets.water.{name}", plan=plan, **values))
    if kind in {"compass", "level"} and pd.notna(row["row_low_end"]):
        name = "fall_unknown" if row["row_outlet"] == rows.NOT_KNOWN else "fall"
        outlet = wording.outlet_words(row["row_outlet"], texts)
        harmed = texts.say("sheets.walk.harmed")
        said.append(texts.say(f"sheets.water.{name}", there=outlet, harmed=harmed, **row))
    return Part(texts.say("sheets.water.title"), tuple(said)) if said else None


def _low_places(plot: Plot, texts: Texts) -> str:
    """Say where low places cross straight rows: how far along from peg 1, and from row to row."""
    found, pegs = plot.found.taken, plot.pegs
    if found is None or pegs is None or plot.kind == "guide" or math.isnan(plot.fall_deg):
        return ""
    first, last = shapely.get_coordinates(pegs["geometry"].to_numpy(dtype=object)[[0, -1]])
    ahead = (last - first) / np.hypot(*(last - first))
    downhill = math.radians(plot.fall_deg)
    down = np.array([math.sin(downhill), math.cos(downhill)])
    parts = shapely.get_parts(found["geometry"].to_numpy(dtype=object)[found["kind"] == LOW_PLACE])
    parts = parts[np.argsort(-shapely.area(parts), kind="stable")]
    said = []
    for part in parts[:LOW_PLACES_MAX]:
        edge = (shapely.get_coordinates(part) - first) @ np.column_stack([ahead, down])
        ends = edge[edge[:, 1].argmin()], edge[edge[:, 1].argmax()]
        said += [
            texts.say(
                f"sheets.water.{name}",
                metres=abs(along),
                way=texts.say(f"sheets.water.{'along' if along >= 0 else 'back'}"),
                row=_row_off(below / plot.row["row_spacing_map_m"], texts),
            )
            for name, (along, below) in zip(("low_from", "low_to"), ends, strict=True)
        ]
    more = len(parts) > LOW_PLACES_MAX
    return "".join(said) + (texts.say("sheets.water.low_more") if more else "")


def _row_off(rows_below: float, texts: Texts) -> str:
    """Name a row by how many lie between it and the pegs, itself counted."""
    count = round(abs(rows_below))
    side = "line" if not count else "downhill" if rows_below > 0 else "uphill"
    return texts.say(f"sheets.water.low_{side}", count=count)


def _taken_word(kind: str, texts: Texts) -> str:
    return texts.say(f"sheets.taken.{kind.replace(' ', '_')}")


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
        if row["row_method_reason"] == "measured_past_limit":
            notes.append(texts.say("sheets.headline.past_limit_note"))
        big = wording.both_ends(row["row_bearing_magnetic_deg"])
        return Headline(texts.say(f"sheets.headline.{title}"), big, tuple(notes))
    word = "level" if kind == "guide" else kind
    drawn = row["guide_bearing_magnetic_deg"]
    middle = drawn if pd.notna(drawn) else row["row_bearing_magnetic_deg"]
    if kind == "guide" and pd.notna(middle):
        ends = wording.both_ends(middle)
        name = "standing" if plot.stands else "guide"
        note = texts.say(f"sheets.headline.{name}_note", ends=ends, date=date)
    elif kind == "measure":
        note = _hillside(row, texts)
    else:
        note = texts.say(f"sheets.headline.{word}_note")
    big = texts.say(f"sheets.headline.{word}_big")
    if plot.fall_pct:
        big = texts.say("sheets.headline.falling_big", **falling(plot.fall_pct, results.handbook))
    return Headline(texts.say(f"sheets.headline.{word}_title"), big, (note,))


def _hillside(row: Mapping[str, Any], texts: Texts) -> str:
    slope, side = row["hillside_slope_pct"], row["hillside_downslope_true_deg"]
    if pd.isna(slope) or pd.isna(side):
        return texts.say("sheets.headline.hillside_none")
    return texts.say(
        "sheets.headline.hillside_note",
        side=wording.direction(side, texts),
        fall=wording.fall_m(slope),
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
        _weight(picture, int(grams[column]), texts.say(f"goods.{column}"), texts)
        for column, picture in GOODS
        if pd.notna(grams[column])
    ]


def _weight(picture: Picture, grams: int, good: str, texts: Texts) -> Carried:
    if grams < HEAVY_G:
        return Carried(picture, wording.kilograms(grams), texts.say("sheets.kg", good=good))
    return Carried(picture, f"{grams / 1e6:,.0f}", texts.say("sheets.tonnes", good=good))


def _carried(plot: Plot, results: Results, texts: Texts) -> tuple[Carried, ...]:
    found = weighed(plot.row, texts)
    seeds = plot.row["seeds"]
    if pd.isna(plot.row["seed_g"]) and pd.notna(seeds):
        found.insert(0, Carried("seed", f"{seeds:,.0f}", texts.say("sheets.seeds")))
    # Where rows may run any way nothing is levelled.
    if plot.kind != "any":
        level = texts.say("sheets.level_amount")
        with_compass = LEVELS.get(plot.kind, "level_compass")
        found.append(Carried("level", level, texts.say(f"sheets.{with_compass}")))
    string = texts.say("sheets.string_amount", metres=results.string.string_m)
    stick = texts.say("sheets.string", stick=100 * results.string.stick_m)
    found.append(Carried("string", string, stick))
    if plot.kind != "any" and not plot.stands:
        pegs = texts.say("sheets.pegs_amount", count=f"{_pegs_needed(plot, results):,}")
        found.append(Carried("peg", pegs, texts.say("sheets.pegs_name")))
    return tuple(found)


def _pegs_needed(plot: Plot, results: Results) -> int:
    """Count a peg at each step of the level along the lines, and one at the end of each."""
    span = results.handbook.number(SETTING_OUT, "a_frame_span_m")
    if plot.pegs is not None:
        # From control peg to control peg, whatever the steps leave over.
        walks = [walk.leg_m for _, walk in plot.found.walks]
        return sum(int(np.ceil(leg_m / span).sum()) + 1 for leg_m in walks)
    longest = plot.rows.longest_m
    if not longest:
        # No row is known: the line can't be longer than the plot is broad.
        turn = math.radians(plot.fall_deg + 90)
        points = shapely.get_coordinates(plot.shape)
        across = points @ [[math.sin(turn)], [math.cos(turn)]]
        longest = float(np.ptp(points, axis=0).max() if math.isnan(turn) else np.ptp(across))
    lines = 1 if plot.starts is None else len(plot.starts)
    return lines * (math.ceil(longest / span) + 1)


def _drawing(plot: Plot, texts: Texts) -> Drawing:
    kind = plot.kind
    places = outline.places(plot.shape, plot.ends) if kind == "measure" else np.empty((0, 2))
    if plot.starts is not None:
        places = shapely.get_coordinates(plot.starts["geometry"].to_numpy(dtype=object))
    pegs = plot.pegs
    return Drawing(
        rings=outline.rings(plot.shape),
        rows=plot.rows.lines,
        maize=plot.maize.lines,
        guides=_thick(plot),
        boundaries=_between_parts(plot),
        taken=_taken(plot, texts),
        breaks=plot.rings,
        pegs=() if pegs is None else tuple(Mark(*one) for one in outline.marks_of(pegs)),
        starts=() if pegs is None else tuple(np.flatnonzero(~pegs["line"].duplicated()).tolist()),
        places=tuple(
            Mark(float(east), float(north), str(number))
            for number, (east, north) in enumerate(places, 1)
        ),
        corners=_corners(plot),
        falls=_falls(plot, texts),
        dashed=kind in {"measure", "later"},
        cross=outline.cross(plot.shape) if kind == "excluded" else (),
    )


def _falls(plot: Plot, texts: Texts) -> tuple[Fall, ...]:
    """Say where downhill is: of each line where one arrow would leave a line's sides in doubt."""
    kind, guides = plot.kind, plot.found.guides
    if kind == "guide" and guides is not None:
        downhill = guides["line_downhill_true_deg"].to_numpy(dtype=np.float64)
        turned = np.abs((downhill - plot.fall_deg + 180) % 360 - 180)
        if not (turned <= ONE_FALL_DEG).all():
            label = texts.say("sheets.drawing.falls")
            courses = guides["geometry"].to_numpy(dtype=object)
            middles = shapely.line_interpolate_point(courses, 0.5, normalized=True)
            places = shapely.get_coordinates(middles).tolist()
            return tuple(
                Fall(deg, label, of_hillside=False, at=(east, north))
                for deg, (east, north) in zip(downhill.tolist(), places, strict=True)
            )
    # A level plot has no downhill that a team could see.
    if math.isnan(plot.fall_deg) or kind == "any":
        return ()
    label = texts.say("sheets.drawing.hillside" if kind == "measure" else "sheets.drawing.fall")
    return (Fall(plot.fall_deg, label, kind == "measure"),)


def _thick(plot: Plot) -> tuple[NDArray[np.float64], ...]:
    """Draw guide lines thick, and the row that is pegged."""
    pegs = plot.pegs
    if plot.kind == "guide" and plot.found.guides is not None:
        return tuple(shapely.get_coordinates(line) for line in plot.found.guides["geometry"])
    if pegs is None:
        return ()
    lines = (part["geometry"] for _, part in pegs.groupby("line", sort=False))
    return tuple(shapely.get_coordinates(line.to_numpy(dtype=object)) for line in lines)


def _between_parts(plot: Plot) -> tuple[NDArray[np.float64], ...]:
    """Draw where one part ends and the next begins."""
    found = plot.found.boundaries
    if plot.kind != "guide" or found is None:
        return ()
    return tuple(shapely.get_coordinates(line) for line in found["geometry"])


def _taken(plot: Plot, texts: Texts) -> tuple[Taken, ...]:
    """Name what stands or runs in the plot, and land that isn't the plot's."""
    if plot.kind in wording.BARRED:
        return ()
    found = plot.found.taken
    there = [] if found is None else list(zip(found["kind"], found["geometry"], strict=True))
    holes = [ring for part in shapely.get_parts(plot.shape) for ring in part.interiors]
    there += [("hole", shapely.Polygon(ring)) for ring in holes]
    return tuple(
        Taken(
            outline.rings(shape) if kind != "hole" else (),
            outline.inside(shape),
            _taken_word(kind, texts),
        )
        for kind, several in there
        for shape in shapely.get_parts(several)
        if shapely.get_dimensions(shape) == AREAL
    )


def _corners(plot: Plot) -> tuple[Mark, ...]:
    """Letter the corners that the words name."""
    if plot.kind in {"excluded", "later", "any"} or plot.stands:
        return ()
    corners = plot.found.corners if plot.starts is None else plot.found.start_corners
    if corners is not None and (plot.pegs is not None or plot.starts is not None):
        points = shapely.get_coordinates(corners["geometry"].to_numpy(dtype=object)).tolist()
        return tuple(
            Mark(east, north, letter)
            for (east, north), letter in zip(points, corners["letter"], strict=True)
        )
    # Where no peg is known one starts from the first of them.
    east, north = plot.ends[0].tolist()
    return (Mark(east, north, FIRST_CORNER),)


def _drawing_note(plot: Plot, texts: Texts) -> str:
    said = []
    if plot.rows.lines:
        every = plot.rows.every
        name = "all_rows" if every == 1 else "thinned"
        said.append(texts.say(f"sheets.drawing.{name}", every=every))
        if plot.maize.lines:
            said.append(texts.say("sheets.drawing.maize"))
    elif plot.kind in UNDRAWN:
        said.append(texts.say(f"sheets.drawing.{UNDRAWN[plot.kind]}"))
    shown = {
        "pegs": plot.pegs is not None,
        "parts": bool(_between_parts(plot)),
        "stands": plot.stands,
        "starts": plot.starts is not None,
    }
    said += [texts.say(f"sheets.drawing.{name}") for name, there in shown.items() if there]
    return " ".join(said)


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
    across = "across_falling" if plot.fall_pct > 0 else "across"
    fed = any(plot.row[column] > 0 for column in ("npk_g", "urea_g") if pd.notna(plot.row[column]))
    last = "apart" if fed else "look_after"
    steep = not set(wording.LAND_USE).isdisjoint(plot.row["erosion_flags"])
    chosen = {
        "excluded": ("steep", "other", "ask"),
        "later": ("later", "water", "ask"),
        "measure": ("not_yet", "keep", last),
        "any": ("any", "water", last),
    }.get(plot.kind, ("steep_first", across, last) if steep else (across, "keep", last))
    said = tuple(texts.say(f"sheets.farmer.{name}") for name in chosen)
    return Part(texts.say("sheets.farmer.title"), said)
