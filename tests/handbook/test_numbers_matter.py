"""Every handbook number changes some result, and no stage holds a published number of its own."""

from __future__ import annotations

import ast
import functools
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS

import districtplan
from districtplan import erosion, inputs, intervals, plan, rows
from districtplan.conservation import catalogue
from districtplan.conservation.planting import nurseries
from districtplan.erosion import cover, erosivity
from districtplan.erosion.practice_factor import contour_p_by_author, strip_p
from districtplan.errors import InputError
from districtplan.handbook import Handbook, packaged
from districtplan.inputs.calendar import calendar
from districtplan.outputs.field_words import level_words
from districtplan.outputs.texts import Texts
from districtplan.plan import Plan, Practice
from districtplan.visits.stages import windows
from tests.conftest import plan_of
from tests.conservation import cases
from tests.support import SOIL, assessed, needed, tweaked, walked

TABLES = (
    "practice",
    "practice_ranges",
    "purchase_choices",
    "contour_p",
    "contour_p_degrees",
    "cover_factors",
    "erodibility_constants",
    "erosion_classes",
    "erosivity_equations",
    "land_use_limits",
    "line_spacings",
    "loss_spread",
    "marked_string",
    "measure_numbers",
    "pocket_slopes",
    "outlet_limits",
    "practice_factors",
    "row_grade_limits",
    "rusle_ls",
    "season_calendar",
    "setting_out",
    "slope_classes",
    "soil_ranges",
    "spacing_rules",
    "steepness_equations",
    "structures_now",
    "visit_stages",
)
FOR_THE_READER = {
    ("contour_p", "slope_low_pct"),  # used of the first class; elsewhere the class before it ends
    ("pocket_slopes", "number"),
    ("slope_classes", "upper_pct"),
    ("erosion_classes", "upper_t_ha_yr"),
    ("contour_p_degrees", "slope_low_deg"),
}
"""Printed beside the bounds that are used; other tests hold them to agree."""
USED = ("slope_low_pct", 0)
Reach = Callable[[Handbook], list[str]]
SLOPES = np.concatenate([np.arange(0, 2.2, 0.05), np.arange(2.2, 32, 0.2), [61.0, 90.0]])
LENGTHS_M = np.array([1.0, 15.5, 18.6, 24.8, 37.2, 62.0, 93.0, 123.0])


def numbers() -> list[tuple[str, int, str]]:
    cells = []
    for table in TABLES:
        rows = packaged().rows(table)
        # Where no number of a table has a unit, its column of units reads as numbers.
        for column in rows.select_dtypes("number").columns.difference(["unit"]):
            cells += [
                (table, line, column)
                for line in rows.index
                if pd.notna(rows[column][line])
                and ((table, column) not in FOR_THE_READER or (column, line) == USED)
                and not (column.startswith("lower") and line == 0)  # 0, where classes start
            ]
    return cells


def ridged(book: Handbook) -> list[str]:
    """A plan of ridges, and soil loss under it."""
    slope, length = np.meshgrid(SLOPES, LENGTHS_M)
    asked = plan_of(soil=SOIL, practice={"row_form": "ridges"})
    return [asked.model_dump_json(), assessed(slope, length, asked, book).to_json()]


def bought(book: Handbook) -> list[str]:
    """Needs by class of seed."""
    return [
        needed(1.0, plan_of(practice={"seed_class": seed_class}), book).to_json()
        for seed_class in ("certified", "farm-saved")
    ]


def doubted(book: Handbook) -> list[str]:
    """Doubts of soils, rains, seed and rates."""
    told = []
    for value in (0.01, 0.099, 0.105, 0.15):
        soil = {"erodibility_t_ha_h_ha_mj_mm": value, "rain_erosivity_mj_mm_ha_h_yr": value * 1e5}
        told += erosion.doubts(plan_of(soil=soil), book)
    told += erosion.doubts(plan_of(soil={"rain_erosivity_mj_mm_ha_h_yr": 100.0}), book)
    told.append(repr(erosivity.by_equation("hurni", 1_000.0, book)))
    for value in (10.0, 70.0):
        told += inputs.doubts(plan_of(practice={"hundred_seed_weight_g": value}), book)
    return told + inputs.doubts(plan_of(practice={"npk_kg_ha": 1_000.0}), book)


def fed(book: Handbook) -> list[str]:
    """Doubts of rates and of a farmers' test, at the ends of what is allowed."""
    found = []
    for share in (60, 61, 86, 88):
        asked = plan_of(practice={"sprouted_of_100": share}).under(book)
        found += [str(asked.practice.seeds_each(book)), *inputs.doubts(asked, book)]
    saved = plan_of(practice={"seed_class": "farm-saved", "urea_kg_ha": 40.0}).under(book)
    found.append((works := calendar(saved, book)).to_json(default_handler=str))
    # Late flowers: hoeing ends before they open, whatever the table says.
    seen = {"flowering": date(2027, 1, 1)}
    found.append(windows(works, seen, [date(2026, 5, 1)], book).to_csv())
    beside = plan_of(practice={"npk_kg_ha": 400.0}).under(book)
    return found + inputs.doubts(beside, book)


@functools.cache
def asking(text: str) -> Plan:
    """Make a plan of its soil section, once: it takes nothing else from the handbook."""
    return plan_of(soil=json.loads(text))


RAINS_MM = (20.4, 102.0, 108.0, 113.0, 310.0, 510.0, 610.0, 870.0, 2450.0, 2550.0, 3060.0, 6100.0)


def rains(book: Handbook, equation: str) -> list[str]:
    """R by an equation, and what is doubted of it."""
    found = []
    for rain in RAINS_MM:
        soil = {"rain_equation": equation, "rain_monthly_mm": [rain / 2] * 2 + [0.0] * 10}
        asked = asking(json.dumps(soil))
        found += [repr(erosivity.of_plan(asked.soil, book)), *erosion.doubts(asked, book)]
    return found


def covers(book: Handbook) -> list[str]:
    """C of each cover, under mulch."""
    names = packaged().rows("cover_factors")["name"]
    soils = [{"cover": name, "mulch_cover_pct": 30.0} for name in names] + [{"cover_factor": 0.2}]
    return [repr(cover.of_plan(asking(json.dumps(soil)).soil, book)) for soil in soils]


def contours(book: Handbook) -> list[str]:
    """P of rows on the contour and of strips, by author."""
    slope = np.tan(np.radians(np.arange(0.1, 14.8, 0.05))) * 100
    contour = contour_p_by_author(None, slope, book)
    found = [contour_p_by_author(author, slope, book) for author in ("hurni", "morgan")]
    found += [strip_p(kind, contour, book) for kind in ("meadow", "grain_meadow", "grain")]
    return [str([part.tolist() for part in parts]) for parts in found]


def soils(book: Handbook) -> list[str]:
    """Soils that just can, and just can't, be given."""
    empty = dict.fromkeys(("source_row", *erosion.SOILS), "") | {"reason": None, "remedy": None}
    grains = {"sand_pct": "40", "silt_pct": "40", "clay_pct": "20"}
    organic = {"organic_matter_pct": "2.0"}
    fine = {"silt_pct": "45", "very_fine_sand_pct": "20", "clay_pct": "30"}
    classes = {"structure": "1", "permeability": "5"}
    given = [
        {"k": "0.2", "k_unit": "us"},
        {"k": "0.2", "k_unit": "technical"},
        {"k": "0.102", "k_unit": "si"},
        grains | organic,
        grains | {"organic_carbon_pct": "1.2", "sand_pct": "42.02"},
        {"sand_pct": "97", "silt_pct": "2", "clay_pct": "1", "organic_carbon_pct": "1.2"},
        fine | organic | classes,
        fine | {"organic_matter_pct": "4.1"} | classes,
        fine | {"silt_pct": "51", "clay_pct": "10"} | organic | classes,
        fine | organic | {"structure": "5", "permeability": "5"},
        fine | organic | {"structure": "2", "permeability": "7"},
    ]
    rows = [empty | {"source_row": i, "village": str(i)} | row for i, row in enumerate(given)]
    frame = pd.DataFrame(rows)
    found = []
    for equation in ("nomograph", "epic"):
        asked = plan_of(soil={"erodibility_equation": equation})
        taken = erosion.accept_soils(frame, frame["village"], asked, book)
        found += [taken.used.to_json(double_precision=15), taken.set_aside.to_json()]
    return found


def practices(book: Handbook) -> list[str]:
    """What is there already, each structure in each condition."""
    own = packaged().rows("structures_now")
    rows = [
        {"rows": "across", "row_form": "ridges", "structure": name, "condition": condition}
        for name in own["name"]
        for condition in ("good", "poor", "broken")
    ]
    practice = pd.DataFrame(rows).reindex(columns=list(erosion.PRACTICE))
    practice["plot_id"] = [f"P{place}" for place in range(len(practice))]
    practice["spacing_m"] = 12.0
    asked = plan_of(soil=SOIL)
    soils = pd.DataFrame({"village": ["Hill"], "k": [0.03], "k_by": ["epic"]})
    found = []
    for beside in (erosion.Beside(practice=practice), erosion.Beside(soils=soils)):
        table = assessed([3.0, 8.9, 9.2, 17.0] * 8, 40.0, asked, book, beside=beside)
        found.append(table.to_json(double_precision=15))
    measured = assessed([0.5, 12.0], 40.0, asked, book, measured=True)
    return [*found, measured.to_json(double_precision=15)]


@functools.cache
def measured_land() -> pd.DataFrame:
    """Plots whose slopes lie just beyond those that measures begin or end at."""
    slope = [1.5, 2.05, 5.1, 8.0, 12.2, 12.5, 20.5, 25.0, 30.5, 40.0, 47.5] * 2
    above = pd.DataFrame({"plot_id": [f"P{place}" for place in range(len(slope))]})
    above = above.assign(slope_length_above_m=20.0, slope_length_above_at_least=0)
    # Some measures are for gathered water, others must keep clear of it.
    gathered = np.repeat([0.0, 50.0], len(slope) // 2)
    return cases.plots_of(slope, 60.0, above=above, area_ha=3.0, flow_line_length_m=gathered)


def measures(book: Handbook) -> list[str]:
    """Every plot beside every measure, on soils just deep enough and not, and nurseries."""
    plots = measured_land()
    lines = ("grade_pct", "length_max_m")
    found = [str([[measure.number(name) for name in lines] for measure in catalogue(book)])]
    for depth in (0.51, 1.02):
        plan = cases.plan_with(soil_depth_m=depth).under(book)
        offered = cases.options_of(plots, plan, book).offered
        found += [offered.to_json(double_precision=15)]
        found += [nurseries(offered.assign(village="Hill"), plan, book).to_json()]
    return found


def rules(book: Handbook) -> list[str]:
    """Distances of lines by each rule."""
    slope = np.array([4.0, 12.0, 35.0])
    return [str(intervals.horizontal_m(rule, slope, book)) for rule in intervals.names(book)]


def unusual(book: Handbook) -> list[str]:
    """Doubts of practices whose numbers lie at the ends of what is published."""
    found = []
    for name, low, high in (
        packaged().rows("practice_ranges")[["name", "low", "high"]].itertuples(index=False)
    ):
        for value in (low * 1.02, high * 1.02):
            own = book.rows("practice").copy()
            own["value"] = own["value"].where(own["name"] != name, value)
            numbers = {"practice": replace(book.tables["practice"], rows=own)}
            asked = plan_of(practice={name: value} if name in Practice.model_fields else {})
            found += inputs.doubts(asked, Handbook({**book.tables, **numbers}))
    return found


EACH_RAIN = tuple(
    functools.partial(rains, equation=str(name))
    for name in packaged().rows("erosivity_equations")["equation"].unique()
)
REACHES: dict[str, tuple[Reach, ...]] = {
    "practice_ranges": (unusual,),
    "contour_p_degrees": (contours,),
    "cover_factors": (covers,),
    "erodibility_constants": (soils,),
    "erosivity_equations": EACH_RAIN,
    "loss_spread": (practices, *EACH_RAIN, covers),
    "measure_numbers": (measures,),
    "practice_factors": (contours, covers, practices),
    "spacing_rules": (rules,),
    "steepness_equations": (practices,),
    "structures_now": (practices,),
}


def strings(book: Handbook) -> list[str]:
    """Marked strings of measures that fit well, just, and not at all."""
    found = []
    for rate, measure in ((100.0, 3.153), (109.5, 5.3), (2_000.0, 2.8)):
        practice, weighed = {"npk_kg_ha": rate}, {"cap_npk_g": measure}
        try:
            string = inputs.marked_string(plan_of(practice=practice, string=weighed), book)
        except InputError as error:
            found.append(str(error))
        else:
            found.append(repr(string))
    return found


def set_out_lines(book: Handbook) -> list[str]:
    """A line that bends by the limit, the level's words and the pocket table."""
    asked = plan_of().under(book)
    zone = CRS.from_epsg(32736)
    site = rows.Site(shapely.box(0, 0, 100, 100), 0.0, 0.0, 1.0)
    rules = rows.Rules.of(asked, book)
    turn = np.radians(np.arange(0, 60, 0.1))
    found = []
    # Between these two radii lies the one that turns by the limit over a step.
    for radius in (56.5, 58.5):
        arc = radius * np.column_stack([np.sin(turn), np.cos(turn)])
        walk = walked(np.array([500_000, 9_000_000]) + arc, 1.0, site, zone, rules)
        found.append(f"{walk.columns()}{walk.closure_m}")
    found.append(str(level_words(asked, book, Texts.load("en"))))
    found.append(str(rows.pocket_table(asked, book)))
    share = book.number("setting_out", "row_share_min")
    lengths = {"row": [1, 2], "length_m": [51.0, 100.0]}
    laid = pd.DataFrame({"plot_id": "A", "crop": "beans", **lengths})
    found.append(rows.first_long(laid, share).to_json())
    return found


ANYTHING = (ridged, bought, doubted, soils, strings, set_out_lines, fed)
"""What is worked out where a table isn't in ``REACHES``."""


last: dict[str, int] = {}
"""What a number of a table was last seen to change: tried first, since all of it takes minutes."""


def worked_out(reach: Reach, book: Handbook) -> list[str]:
    """Work something out where plans, too, take what isn't asked of them from the handbook."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plan, "packaged", lambda: book)
        return reach(book)


@functools.cache
def usual(reach: Reach) -> list[str]:
    """Work something out under the package's own numbers, once."""
    return worked_out(reach, packaged())


def changed(table: str, book: Handbook) -> bool:
    """Tell whether anything that a table's numbers can reach is other than usual."""
    reaches = REACHES.get(table, ANYTHING)
    first = last.get(table, 0)
    for place in (*range(first, len(reaches)), *range(first)):
        if worked_out(reaches[place], book) != usual(reaches[place]):
            last[table] = place
            return True
    return False


def is_whole(table: str, line: int) -> bool:
    whole = packaged().tables[table].whole
    return bool(whole) and packaged().rows(table)["name"][line] in whole


@pytest.mark.parametrize(("table", "line", "column"), numbers(), ids=str)
def test_every_number_matters(table, line, column):
    value = float(packaged().rows(table)[column][line])
    other = value * 1.04 or 1.0
    if column == "flagged":
        other = 1 - value
    elif (
        column == "number" or table in ("season_calendar", "visit_stages") or is_whole(table, line)
    ):
        other = value + 1 if value < 5 else value - 1
    book = tweaked(table, line, column, other)
    assert changed(table, book)


@pytest.mark.parametrize("table", ["rusle_ls", "contour_p_degrees", "measure_numbers"])
def test_a_change_of_nothing_changes_nothing(table):
    column = packaged().rows(table).select_dtypes("number").columns[-1]
    same = tweaked(table, 0, column, float(packaged().rows(table)[column][0]))
    assert not changed(table, same)


GEOMETRY_AND_UNITS = {0, 1, 2, 3, 4, 0.5, 8, 90, 180, 360, 100, 1_000, 10_000, 0.3048, 1e8}
"""Counts and halves, turns, per cent, m in km, m² in a hectare, m in a foot, cm² in a hectare."""
NAMED = {
    "intake": {
        "AT_ONCE",
        "COMPARED_MAX",
        "NAME_MAX",
        "ZONES",
        "DECIMALS",
        "SOIL_DEPTH_MAX_M",
        "LISTED",
        "SHOWN_MAX",
        "TOLD",
        "TEXT_MAX",
        "WHOLE_MAX",
        "OTHERS_MIN",
        "FAR_TIMES",
        "PAIRS_AT_ONCE",
    },
    "terrain": {
        "UNIT",
        "CELLS_PER_BATCH",
        "PLOTS_PER_BATCH",
        "BLOCK_CELLS",
        "WHOLE",
        "ROUND",
        "SLOPE_BITS",
        "WEIGHT_BITS",
        "PERCENTILE",
        "SUN_FROM_DEG",
        "SUN_HEIGHT_DEG",
        "EXAGGERATION",
        "SHEAR_MAX_DEG",
        "SIZE_MAX",
        "POINTS",
        "PLOTS_MAX",
        "SIDES",
        "WINDOW_MAX",
        "CELLS_AT_ONCE",
        "KERNELS_KEPT",
        "BAND_ROWS",
        "TINY",
        "LEAST_TREND",
        "LEAST_REST",
        "LEAST_SIGNAL",
        "BEYOND_DOUBT",
        "NODES",
        "CELLS_MAX",
        "FLAT",
        "SHORTEST",
        "TRIED",
        "ROUNDS_MAX",
        "CLOSE",
        "NEAREST",
        "SMALLER",
        "FIELD_CELLS",
        "SEED",
        "LEAST_SIDE",
        "SAMPLES_MAX",
        "PERIODS",
    },
    "rows": {
        "GRADE_STEP_M",
        "OBLIQUE",
        "TOUCH_M",
        "PARTS",
        "CHORD_CELLS",
        "ROUNDS",
        "APART_SHARE",
        "CLEAR_SHARE",
        "ON_EDGE_M",
        "TURN_DUST_DEG",
        "CROSSINGS_AT_ONCE",
        "DUST",
        "FAR_M",
        "MILLIONTHS",
        "SIDES",
        "BOX_POINTS",
        "ROWS_TRIED",
        "NARROWEST_M",
        "DECIMALS",
        "STRENGTHS",
        "ROUNDS_MAX",
        "SHAPES_KEPT",
        "NEAREST",
        "STRAIGHT",
        "DIRECTIONS",
        "PLACES",
        "REFINED",
        "LEAST_POINTS",
        "SMOOTH_M",
        "TAIL_M",
        "BANDS",
        "GENTLEST",
        "STEEP_LEAST",
        "NO_LEG_M",
        "NEAR_M",
        "NINETEEN_IN_TWENTY",
        "STRING",
        "POINTS",
        "COUNTS",
        "CHORD_M",
        "BAND_ROWS",
        "SIDE_MAX",
        "READ_MAX",
        "PLOTS_AT_ONCE",
        "CELLS_AT_ONCE",
        "SQUARE_CELLS",
        "SQUARES_KEPT",
        "ROWS_LINKED",
    },
    "water": {
        "CODES",
        "NO_CELL",
        "ROW_STEP",
        "COLUMN_STEP",
        "FLAT_ROUNDS",
        "EXACT_BITS",
        "BLOCK_CELLS",
        "GROUP_CELLS",
        "WALL_M",
        "PIECES_AT_ONCE",
    },
    "erosion": {
        "SHOWN_MAX",
        "SQUARE_CELLS",
        "TEXT_MAX",
        "LISTED",
        "NINETEEN_IN_TWENTY",
        "FAR",
        "LEAST_ERROR",
        "DEPTH_MAX_M",
        "SPACING_MAX_M",
    },
    "conservation": {
        "CORE_MAX",
        "CURVE_POINTS",
        "DUST",
        "LISTED",
        "NODES_MAX",
        "ROUND",
        "ROUNDS_MAX",
        "SAME_M",
        "SHOWN_MAX",
        "TEXT_MAX",
        "ON_M",
        "SETTLED",
        "SETTLED_SHARE",
        "SLIT_M",
    },
    "inputs": {
        "DECIMALS",
        "DUST",
        "FAR",
        "HALVINGS",
        "NODES",
        "PAIRS_AT_ONCE",
        "PERCENT_DECIMALS",
        "SAME_DECIMALS",
        "SHOWN_MAX",
        "TEXT_MAX",
        "SUNDAY",
        "WEEK_DAYS",
    },
    "demos": {
        "CURVE_POINTS",
        "HAIR",
        "HALVINGS",
        "HEIGHTS",
        "IDLE_MAX",
        "KICK",
        "LINKS",
        "MEMORY",
        "MERGED",
        "NODES",
        "PATIENCE",
        "PROGRESS",
        "QUICK_LINKS",
        "RANDOM",
        "ROUND",
        "SEARCHES",
        "SHORT",
        "SHRINK",
        "SITES_MAX",
        "SMALLEST",
        "STEPS",
        "STEPS_MIN",
        "STEP_LINKS",
        "TRIES",
        "WARM",
        "WHOLE",
        "WISHES_GAP",
        "WISHES_NODES",
        "WORK",
        "WORSE",
    },
    "visits": {
        "AGENTS_AMONG",
        "AGENTS_MAX",
        "AT_ONCE",
        "AT_ONCE_MOST",
        "DAY_S",
        "DECIMALS",
        "EXCHANGED",
        "FAR_DAYS",
        "FEWEST",
        "FULL",
        "HANDED_ON",
        "HISTORY",
        "HOUR_MIN",
        "ITERATIONS",
        "LEFT_OUT",
        "LIMITS",
        "LISTED",
        "MINUTE_S",
        "MUCH",
        "NEAR",
        "NEIGHBOURS",
        "NO_WAY_S",
        "PLOTS_AMONG",
        "ROUNDED",
        "SEVERAL",
        "SEVERAL_FROM",
        "TAKERS",
        "TOGETHER",
        "TOLERANCE",
        "WIDTH",
    },
}
"""Settings of the arithmetic and of drawing, each named and explained where it stands."""
UNIFORM = {"noise.py": {12}, "serves.py": {12}}
"""The variance of what is uniform, a direction or a place, is its range squared over 12."""


def literals(source: str, named: set[str]) -> set[float]:
    """List numbers of a module that are neither geometry nor a unit's."""
    tree = ast.parse(source)
    allowed: set[int] = set()
    for node in tree.body:
        if isinstance(node, ast.Assign) and named & {
            getattr(inner, "id", "") for target in node.targets for inner in ast.walk(target)
        }:
            allowed |= {id(inner) for inner in ast.walk(node)}
    return {
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant)
        and isinstance(node.value, int | float)
        and not isinstance(node.value, bool)
        and id(node) not in allowed
        and node.value not in GEOMETRY_AND_UNITS
    }


@pytest.mark.parametrize("stage", NAMED)
def test_stages_hold_no_published_number(stage):
    modules = sorted((Path(districtplan.__file__).parent / stage).rglob("*.py"))
    assert modules
    found = {
        module.name: literals(module.read_text(encoding="utf-8"), NAMED[stage])
        - UNIFORM.get(module.name, set())
        for module in modules
    }
    assert {name: extra for name, extra in found.items() if extra} == {}


def test_a_published_number_in_code_would_be_found():
    assert literals("S = 10.8 * sine + 0.03", set()) == {10.8, 0.03}
    assert literals("KEPT = 6\nOTHER = 7", {"KEPT"}) == {7}
