"""How each number of a plot came about, step by step, in plain words.

A step's equation is written three times over: in symbols, with this plot's numbers, and its
value. Whoever doubts a number can do the sum again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely
from pyproj import Geod, Transformer

from districtplan import geodesy
from districtplan.erosion import erosivity, ls
from districtplan.errors import Fault, InputError
from districtplan.handbook import cite
from districtplan.inputs.need import seeds_per_hole
from districtplan.inputs.seed import hundred_seed_weight_g
from districtplan.outputs import demo_words, visit_words, wording

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

    Row = Mapping[str, Any]


# Rules by which the raster's error decides how rows are laid out.
NOISE_RULES = (
    "trend_odds",
    "trend_clear",
    "mean_power",
    "rest_quiet",
    "rest_clear",
    "turn_se",
    "level_se",
)
# Reasons of rows that are laid out by a reading alone.
BY_READING = (
    "measured",
    "measured_past_limit",
    "measured_against_raster",
    "measured_but_bends",
    "measured_flat",
)
# Flags that say why a plot has no tonnes.
WITHOUT_TONNES = ("slope_beyond_equations", "no_slope_length", "no_soil_values")


@dataclass(frozen=True)
class Step:
    """One number of a plot.

    Attributes
    ----------
    title : str
        What the number is.
    inputs : str
        What it was made from; empty where the equation says it all.
    equation : str
        In symbols, then with this plot's numbers, then its value; empty where there is none.
    source : str
        Where the equation and its constants come from; what is from memory says so.
    result : str
        What it means, in a sentence.
    """

    title: str
    inputs: str
    equation: str
    source: str
    result: str


@dataclass(frozen=True)
class _Case:
    results: Results
    row: Row
    texts: Texts

    def say(self, key: str, **values: object) -> str:
        return self.texts.say(f"explain.{key}", **values)

    def source(self, table: str, *names: str) -> str:
        found = dict.fromkeys(self.results.handbook.source(table, name) for name in names)
        return "; ".join(found)

    def known(self, column: str) -> bool:
        return bool(pd.notna(self.row[column]))

    def equation(self, step: str, numbers: str, value: float, unit: str = "") -> str:
        shown = f"{digits(value, 5)} {unit}".rstrip()
        return f"{self.say(f'{step}.symbols')} = {numbers} = {shown}"


def explain(results: Results, plot_id: str, texts: Texts) -> list[Step]:
    """Say how each number of a plot came about.

    Parameters
    ----------
    results : Results
        The run.
    plot_id : str
        The plot.
    texts : Texts
        The words.

    Returns
    -------
    list[Step]
        The steps, in the order in which the numbers are made.

    Raises
    ------
    InputError
        If no plot of that id was used; the message says whether it was set aside, and why.
    """
    found = results.plots[results.plots["plot_id"] == plot_id]
    if found.empty:
        raise InputError(_missing(results, plot_id, texts))
    row = {str(name): value for name, value in found.iloc[0].items()}
    case = _Case(results, row, texts)
    makers: tuple[Callable[[_Case], list[Step]], ...] = (
        _ground,
        _rows,
        _guides,
        _directions,
        _ends,
        _water,
        _soil,
        _planting,
        _teaching,
        _visited,
    )
    return [step for make in makers for step in make(case)]


def digits(value: float, significant: int = 8) -> str:
    """Write a number without an exponent, for people and for doing the sum again.

    Parameters
    ----------
    value : float
        The number.
    significant : int, default 8
        Digits that count; whole numbers keep all of theirs.

    Returns
    -------
    str
        The number, without trailing zeros.

    Examples
    --------
    >>> digits(0.0304, 2), digits(46922.0, 3), digits(12.5)
    ('0.03', '46922', '12.5')
    """
    if value == 0:
        return "0"
    places = max(0, significant - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _listed(*said: str) -> str:
    return "; ".join(said)


def _missing(results: Results, plot_id: str, texts: Texts) -> Fault:
    where = results.plan.files.plots
    aside = results.set_aside[results.set_aside["plot_id"] == plot_id]
    if len(aside):
        row = aside.iloc[0]
        where = f"{where} {row.get('file_lines', '')}".strip()
        what = texts.say("explain.was_set_aside", row=row["source_row"], reason=row["reason"])
        return Fault(where, what, str(row["remedy"]))
    what = texts.say("explain.no_plot", plot_id=repr(plot_id))
    if results.plots.empty:
        return Fault(where, what, texts.say("explain.no_plots"))
    example = repr(results.plots["plot_id"].iloc[0])
    return Fault(where, what, texts.say("explain.no_plot_remedy", example=example))


def _ground(case: _Case) -> list[Step]:
    return [_area(case), _slope(case)]


def _area(case: _Case) -> Step:
    outline = case.row["geometry"]
    crs = case.results.plots_crs
    to_degrees = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    on_ellipsoid, _ = Geod(ellps="WGS84").geometry_area_perimeter(
        shapely.transform(outline, lambda at: np.stack(to_degrees.transform(*at.T), axis=1))
    )
    area = case.row["area_ha"]
    numbers = f"{digits(abs(on_ellipsoid))} ÷ 10000"
    corners = sum(
        len(ring.coords) - 1
        for part in getattr(outline, "geoms", [outline])
        for ring in (part.exterior, *part.interiors)
    )
    return Step(
        case.say("area.title"),
        _listed(case.say("area.inputs", corners=corners, crs=crs.name), *_outline_record(case)),
        case.equation("area", numbers, area, "ha"),
        f"{case.source('equations', 'area')}; {case.say('from_data')}",
        case.say(
            "area.result",
            area=digits(area, 4),
            se=digits(case.row["area_se_ha"], 2),
            error=digits(case.results.plan.enrolment.outline_error_m),
        ),
    )


def _outline_record(case: _Case) -> list[str]:
    """Say what was done to the outline, and who else's it covers."""
    row, said = case.row, []
    if case.known("outline_repair"):
        before = digits(row["area_as_given_ha"], 4)
        said.append(case.say("area.mended", done=row["outline_repair"], before=before))
    if case.known("overlap_plots"):
        shared = digits(row["overlap_ha"], 3)
        said.append(case.say("area.overlap", shared=shared, others=row["overlap_plots"]))
    return said


def _footing(case: _Case) -> list[str]:
    """Say where slopes rest on no heights of the ground's own."""
    shares = {
        "level": case.row["heights_level_share"],
        "filled": case.row["heights_filled_share"],
    }
    return [
        case.say(f"slope.{what}", share=digits(100 * share, 2))
        for what, share in shares.items()
        if share > 0
    ]


def _slope(case: _Case) -> Step:
    row, elevation = case.row, case.results.plan.elevation
    mean = row["slope_mean_pct"]
    read = case.known("slope_measured_pct")
    taken = row["slope_measured_pct"] if read else mean
    classes = case.results.handbook.rows("slope_classes")
    drawn = classes[classes["number"] == row["slope_class_number"]].iloc[0]
    shown = {
        "mean": digits(mean, 3),
        "p90": digits(row["slope_p90_pct"], 3),
        "max": digits(row["slope_max_pct"], 3),
    }
    error = {
        "error": digits(elevation.vertical_error_m),
        "correlation": digits(elevation.error_correlation_m),
    }
    return Step(
        case.say("slope.title"),
        _listed(
            case.say("slope.cells", cells=digits(row["cells"], 4)),
            *_footing(case),
            case.say("slope.mean", **shown),
            case.say("slope.error", **error),
        ),
        case.equation(
            "slope", f"atan({digits(taken)} ÷ 100)", math.degrees(math.atan(taken / 100)), "°"
        ),
        f"{case.source('equations', 'slope')}; {cite(drawn['source'], drawn['provenance'])}",
        case.say(
            "reading.slope" if read else "slope.result",
            mean=shown["mean"],
            se=digits(row["slope_se_pct"], 2),
            corrected=digits(row["slope_corrected_pct"], 3),
            number=row["slope_class_number"],
            name=str(row["slope_class"]).lower(),
            **(_slope_read(case) if read else {}),
        ),
    )


def _slope_read(case: _Case) -> dict[str, str]:
    level = case.row["row_method_reason"] == "measured_flat"
    error = "level_slope_se_pct" if level else "slope_se_pct"
    return {
        "how": wording.reading_words(case.row, "slope", case.texts),
        "slope": digits(case.row["slope_measured_pct"], 3),
        "read_se": digits(case.results.handbook.number("ground_readings", error)),
    }


def _rows(case: _Case) -> list[Step]:
    row = case.row
    laid_out = Step(
        case.say("method.title"),
        _checks(case),
        _level_enough(case),
        case.source("terrain_noise", *NOISE_RULES),
        wording.method_sentence(row, case.results.plan, case.texts),
    )
    if row["row_method_reason"] in BY_READING:
        why = wording.method_sentence(row, case.results.plan, case.texts)
        laid_out = Step(case.say("method.title"), *_read_checks(case), why)
    # Where rows may run in any direction, no limit holds.
    return [laid_out] if row["row_method"] == "any direction" else [_limit(case), laid_out]


def _read_checks(case: _Case) -> tuple[str, str, str]:
    """Say what a reading is good to; nothing where it isn't what rows are laid out by."""
    row, handbook, reason = case.row, case.results.handbook, case.row["row_method_reason"]
    if reason == "measured_but_bends":
        return "", "", ""
    error = "level_slope_se_pct" if reason == "measured_flat" else "bearing_se_deg"
    keys = {"measured_flat": "flat", "measured_against_raster": "against"}
    inputs = case.say(
        f"reading.{keys.get(reason, 'grade')}",
        slope=digits(row["slope_used_pct"], 3),
        times=digits(handbook.number("ground_readings", "outside_se")),
        se=digits(handbook.number("ground_readings", error)),
        flat=digits(case.results.plan.terrain.level_slope_pct),
        likely=digits(row["row_grade_likely_pct"], 3),
        most=digits(row["row_grade_95_pct"], 3),
        limit=digits(row["row_grade_limit_pct"], 3),
    )
    return inputs, "", case.source("ground_readings", error)


def _limit(case: _Case) -> Step:
    row, terrain = case.row, case.results.plan.terrain
    limit, slope = row["row_grade_limit_pct"], row["slope_used_pct"]
    share, most = terrain.row_grade_limit_share, terrain.row_grade_limit_pct
    return Step(
        case.say("limit.title"),
        case.say("limit.limit", limit=digits(most), share=digits(share)),
        case.equation(
            "limit", f"min({digits(most)}, {digits(share)} × {digits(slope)})", limit, "%"
        ),
        case.source("row_grade_limits", "row_grade_max_pct", "row_grade_max_share_of_slope"),
        case.say("limit.result", limit=digits(limit, 3)),
    )


def _checks(case: _Case) -> str:
    row, terrain = case.row, case.results.plan.terrain
    times = case.results.handbook.number("terrain_noise", "turn_se")
    said = [
        case.say("method.cells", cells=digits(row["cells"], 4), least=digits(terrain.cells_min)),
        case.say(
            "method.flat",
            slope=digits(row["slope_corrected_pct"], 3),
            se=digits(row["slope_se_pct"], 2),
            times=digits(times),
            flat=digits(terrain.level_slope_pct),
        ),
    ]
    if row["row_method"] == "any direction":
        return _listed(*said)
    grades = ("likely", "row_grade_likely_pct"), ("most", "row_grade_95_pct")
    said += [
        case.say(
            "method.coherence",
            coherence=digits(row["coherence"], 3),
            least=digits(terrain.coherence_min),
        ),
        case.say(
            "method.grade",
            limit=digits(row["row_grade_limit_pct"], 3),
            **{name: digits(row[column], 3) for name, column in grades},
        ),
        case.say("method.doubt", se=digits(row["row_bearing_se_deg"], 2))
        if case.known("row_bearing_se_deg")
        else case.say("method.unsure"),
    ]
    return _listed(*said)


def _level_enough(case: _Case) -> str:
    times = case.results.handbook.number("terrain_noise", "turn_se")
    slope, error = case.row["slope_corrected_pct"], case.row["slope_se_pct"]
    numbers = f"{digits(slope)} + {digits(times)} × {digits(error)}"
    return case.equation("method", numbers, slope + times * error, "%")


def _guides(case: _Case) -> list[Step]:
    row = case.row
    said = wording.guide_sentence(row, case.texts)
    if said is None:
        return []
    falls = wording.fall_sentence(row, case.results.plan, case.texts)
    said = said if falls is None else f"{said} {falls}"
    if case.known("guide_floor_pct") and case.results.plan.elevation.vertical_error_m == 0:
        inputs = [case.say("guides.taken_as_true")]
    elif case.known("guide_floor_pct"):
        inputs = [case.say("guides.inputs", floor=digits(row["guide_floor_pct"], 2))]
    else:
        inputs = [case.say("guides.unknown")]
    if case.known("row_bend_deg_100m"):
        bend, error = row["row_bend_deg_100m"], row["row_bend_se_deg_100m"]
        inputs.append(case.say("guides.bend", bend=digits(bend, 3), se=digits(error, 2)))
    if case.known("row_grade_guided_rms_pct"):
        grades = row["row_grade_straight_rms_pct"], row["row_grade_guided_rms_pct"]
        straight, guided = (digits(grade, 2) for grade in grades)
        inputs.append(case.say("guides.grades", straight=straight, guided=guided))
    share = f"{case.results.plan.rows.within_share_min:.0%}"
    limit = digits(row["row_grade_limit_pct"], 3)
    inputs.append(case.say("guides.wanted", share=share, limit=limit))
    source = case.source("equations", "guide_lines")
    return [Step(case.say("guides.title"), _listed(*inputs), "", source, said)]


def _directions(case: _Case) -> list[Step]:
    row = case.row
    title, source = case.say("bearing.title"), case.source("equations", "row_bearing")
    if not case.known("row_bearing_true_deg"):
        why = wording.reason_sentence(row, case.results.plan, case.texts)
        none = Step(title, "", "", source, case.say("bearing.none", why=why))
        return [none, _hillside(case)] if case.known("hillside_slope_pct") else [none]
    if case.known("row_bearing_measured_true_deg"):
        return [_bearing_read(case), _grid(case), _magnetic(case)]
    fall = case.say("bearing.no_fall")
    if case.known("downslope_true_deg"):
        fall = case.say("bearing.fall", downslope=digits(row["downslope_true_deg"], 3))
    # Rows that were turned to have a fall run beside the level line.
    turned = row["row_turn_deg"] if case.known("row_turn_deg") else 0.0
    level = geodesy.line_deg(np.array([row["row_bearing_true_deg"] - turned]))
    true = Step(
        title,
        case.say("bearing.inputs"),
        "",
        source,
        case.say(
            "bearing.result",
            words=geodesy.line_in_words(level)[0],
            bearing=digits(float(level[0]), 4),
            se=digits(row["row_bearing_se_deg"], 2),
            downslope=fall,
        ),
    )
    return [true, _grid(case), _magnetic(case)]


def _bearing_read(case: _Case) -> Step:
    row = case.row
    how = wording.reading_words(row, "bearing", case.texts)
    return Step(
        case.say("bearing.title"),
        case.say("reading.bearing", how=how),
        "",
        case.source("ground_readings", "bearing_se_deg"),
        case.say(
            "reading.result",
            words=row["row_bearing_words"],
            bearing=digits(row["row_bearing_true_deg"], 4),
            se=digits(row["row_bearing_se_deg"], 2),
        ),
    )


def _hillside(case: _Case) -> Step:
    elevation, slope = case.results.plan.elevation, case.row["hillside_slope_pct"]
    side = wording.direction(case.row["hillside_downslope_true_deg"], case.texts)
    return Step(
        case.say("hillside.title"),
        case.say(
            "hillside.inputs",
            window=digits(case.results.plan.terrain.hillside_window_m),
            error=digits(elevation.vertical_error_m, 3),
            correlation=digits(elevation.error_correlation_m, 3),
        ),
        "",
        case.source("equations", "hillside"),
        case.say("hillside.result", slope=digits(slope, 3), side=side),
    )


def _turned(true: float, turn: float) -> str:
    """Write true less turn so that the sum comes out within half a circle, as bearings do."""
    half_circles = -math.floor((true - turn) / 180) * 180
    sign = "+" if half_circles > 0 else "-"
    added = f" {sign} {abs(half_circles)}" if half_circles else ""
    return f"{digits(true)} - ({digits(turn)}){added}"


def _grid(case: _Case) -> Step:
    row, crs = case.row, case.results.grid_crs
    place = np.array([row["longitude_deg"]]), np.array([row["latitude_deg"]])
    convergence = float(geodesy.convergence_deg(crs, *place)[0])
    bearing = row["row_bearing_grid_deg"]
    return Step(
        case.say("grid.title"),
        case.say("grid.inputs", crs=crs.name, convergence=digits(convergence, 3)),
        case.equation("grid", _turned(row["row_bearing_true_deg"], convergence), bearing, "°"),
        case.source("equations", "grid_north"),
        case.say("grid.result", bearing=digits(bearing, 4)),
    )


def _magnetic(case: _Case) -> Step:
    row = case.row
    title, source = case.say("magnetic.title"), case.source("equations", "magnetic_north")
    date = case.texts.day(case.results.plan.district.planting_date)
    if not case.known("row_bearing_magnetic_deg"):
        return Step(title, "", "", source, case.say("magnetic.none", date=date))
    declination, bearing = row["declination_deg"], row["row_bearing_magnetic_deg"]
    return Step(
        title,
        case.say("magnetic.inputs", date=date, declination=digits(declination, 3)),
        case.equation("magnetic", _turned(row["row_bearing_true_deg"], declination), bearing, "°"),
        source,
        case.say("magnetic.result", ends=wording.both_ends(bearing)),
    )


def _ends(case: _Case) -> list[Step]:
    row, plan = case.row, case.results.plan
    if row["row_method"] != "straight" or wording.excluded(row) is not None:
        return []
    refusal, said = wording.ends_sentences(row, plan, case.texts)
    sentences = [*refusal, *said]
    inputs = equation = ""
    if case.known("row_bearing_measured_true_deg"):
        inputs = case.say("ends.measured")
    elif row["row_turn_deg"] != 0:
        level = (row["row_bearing_true_deg"] - row["row_turn_deg"]) % 180
        turn = digits(abs(row["row_turn_deg"]), 2)
        sentences.append(case.say("ends.turned", level=digits(level, 4), turn=turn))
    elif case.known("downslope_true_deg"):
        inputs, equation = _grade_along(case)
    source = _listed(
        case.source("terrain_noise", "turn_se"),
        case.source("row_grade_limits", "row_grade_min_pct"),
    )
    return [Step(case.say("ends.title"), inputs, equation, source, " ".join(sentences))]


def _grade_along(case: _Case) -> tuple[str, str]:
    row, slope = case.row, case.row["slope_used_pct"]
    fall, bearing, se = (
        row[name] for name in ("downslope_true_deg", "row_bearing_true_deg", "row_bearing_se_deg")
    )
    times = case.results.handbook.number("terrain_noise", "turn_se")
    unsure = slope * math.sin(min(math.radians(times * se), math.pi / 2))
    inputs = case.say(
        "ends.inputs",
        slope=digits(slope, 4),
        downslope=digits(fall, 4),
        times=digits(times),
        se=digits(se, 2),
        least=digits(max(unsure, case.results.plan.rows.row_grade_min_pct), 2),
    )
    # A millionth of a degree is dust.
    angle = round(math.degrees(math.asin(abs(math.cos(math.radians(fall - bearing))))), 6)
    numbers = f"{digits(slope)} × sin({digits(angle)}°)"
    return inputs, case.equation("ends", numbers, slope * math.sin(math.radians(angle)), "%")


def _water(case: _Case) -> list[Step]:
    row, limits = case.row, case.results.plan.water
    title, source = case.say("water.title"), case.source("equations", "flow_direction", "spill")
    if not case.known("upslope_area_ha"):
        return [Step(title, "", "", source, case.say("water.none"))]
    result = case.say(
        "water.result",
        least=case.say("water.least") if row["upslope_area_at_least"] else "",
        area=digits(row["upslope_area_ha"], 3),
        outside=digits(row["run_on_area_ha"], 3),
        line=digits(limits.flow_line_min_area_ha),
        length=digits(row["flow_line_length_m"], 3),
        crossing=digits(limits.crossing_min_m),
    )
    if case.known("catchment"):
        every = case.results.catchments
        of = every[every["catchment"] == row["catchment"]].iloc[0]
        result += " " + case.say(
            "water.catchment",
            name=row["catchment"],
            area=digits(of["catchment_area_ha"], 4),
            outside=digits(of["catchment_run_on_ha"], 4),
        )
    inputs = case.say("water.inputs", border=digits(limits.border_m))
    return [Step(title, inputs, "", source, result), _slope_above(case)]


def _slope_above(case: _Case) -> Step:
    """Say how much slope lies above the plot, and where it begins."""
    row, begins = case.row, str(case.row["slope_above_begins"]).replace(" ", "_")
    result = case.say(
        "above.result",
        least=case.say("above.least") if row["slope_length_above_at_least"] else "",
        length=digits(row["slope_length_above_m"], 4),
        begins=case.say(f"above.{begins}"),
    )
    cap = case.results.plan.erosion.slope_length_cap_m
    source = case.source("land_use_limits", "slope_length_cap_m")
    return Step(
        case.say("above.title"), case.say("above.inputs", cap=digits(cap)), "", source, result
    )


def _soil(case: _Case) -> list[Step]:
    measured = case.known("ls") and case.known("slope_length_m")
    steps = _length_and_steepness(case) if measured else []
    sentences = wording.flag_sentences(case.row, case.results.plan, case.texts)
    why = " ".join(sentences) or case.say("flags.none")
    limits = case.source(
        "land_use_limits",
        "equations_slope_max_pct",
        "structures_from_slope_pct",
        "perennials_from_slope_pct",
        "forest_from_slope_pct",
    )
    return [
        *steps,
        *_soil_values(case),
        *_loss(case),
        *_loss_now(case),
        Step(case.say("flags.title"), "", "", limits, why),
    ]


def _length_and_steepness(case: _Case) -> list[Step]:
    constants = ls.constants(case.results.handbook)
    slope, whole = case.row["slope_used_pct"], case.row["slope_length_m"]
    cap = case.results.plan.erosion.slope_length_cap_m
    short = constants["short_slope_length_ft"] * ls.FOOT_M
    # The product S L is that of 15 ft where the slope is shorter.
    length = max(min(whole, cap), short)
    at = np.array([slope])
    s = float(ls.steepness(at, constants)[0])
    m = float(ls.length_exponent(at, constants)[0])
    long = float(ls.length_factor(at, np.array([length]), constants)[0])
    sine = slope / 100 / math.hypot(1, slope / 100)
    form = "gentle" if slope < constants["steepness_break_pct"] else "steep"
    factor, constant = (constants[f"steepness_{form}_{part}"] for part in ("factor", "constant"))
    source = case.source("equations", "ls")
    measured = (
        case.say("length.capped", length=digits(whole, 4), cap=digits(cap))
        if whole > cap
        else case.say("length.length", length=digits(whole, 4))
    )
    unit_plot = constants["unit_plot_length_m"]
    first = Step(
        case.say("steepness.title"),
        case.say("steepness.inputs", slope=digits(slope, 5), sine=digits(sine, 5)),
        case.equation("steepness", f"{digits(factor)} × {digits(sine)} + ({constant:g})", s),
        source,
        case.say("steepness.result", s=digits(s, 4)),
    )
    if case.row["slope_length_total_m"] > whole:
        return [first, _below_other_land(case, constants)]
    return [
        first,
        Step(
            case.say("length.title"),
            _listed(measured, case.say("length.exponent", m=digits(m, 4))),
            case.equation("length", f"({digits(length)} ÷ {unit_plot:g}) ^ {digits(m)}", long),
            source,
            case.say("length.result", l=digits(long, 4)),
        ),
        _together(case, s, long, constants),
    ]


def _below_other_land(case: _Case, constants: Mapping[str, float]) -> Step:
    """Say how LS of a plot comes about that has other land above it."""
    row, cap = case.row, case.results.plan.erosion.slope_length_cap_m
    below = min(row["slope_length_total_m"], cap)
    above = max(below - row["slope_length_m"], 0.0)
    edges = np.array([above, below])
    upper, lower = ls.ls_factor(np.full(2, row["slope_used_pct"]), edges, constants)
    a, b = digits(above), digits(below)
    return Step(
        case.say("ls.title"),
        case.say("ls.above", above=digits(above, 4), below=digits(below, 4), cap=digits(cap)),
        f"{case.say('ls.above_symbols')} = ({b} × {digits(lower)} - {a} × {digits(upper)})"
        f" ÷ ({b} - {a}) = {digits(row['ls'], 5)}",
        case.source("equations", "ls", "ls_segment"),
        case.say("ls.result", ls=digits(row["ls"], 4)),
    )


def _together(case: _Case, s: float, long: float, constants: Mapping[str, float]) -> Step:
    title, source = case.say("ls.title"), case.source("equations", "ls")
    found, length = case.row["ls"], case.row["slope_length_m"]
    result = case.say("ls.result", ls=digits(found, 4))
    feet = [constants[f"{name}_slope_length_ft"] * ls.FOOT_M for name in ("short", "shortest")]
    upper, lower = feet
    if length >= upper:
        return Step(
            title, "", case.equation("ls", f"{digits(s)} × {digits(long)}", found), source, result
        )
    at = np.array([case.row["slope_used_pct"]])
    least = float(ls.ls_factor(at, np.array([lower]), dict(constants))[0])
    weight = math.log(max(length, lower) / lower) / math.log(upper / lower)
    numbers = f"{digits(least)} ^ (1 - {digits(weight)}) × {digits(s * long)} ^ {digits(weight)}"
    equation = f"{case.say('ls.short_symbols')} = {numbers} = {digits(found, 5)}"
    rule = case.source("rusle_ls", "shortest_slope_length_ft")
    return Step(title, case.say("ls.short"), equation, f"{source}; {rule}", result)


def _soil_values(case: _Case) -> list[Step]:
    """Say where R and C are from that the plan doesn't give as numbers."""
    soil, book, steps = case.results.plan.soil, case.results.handbook, []
    if soil.rain_equation is not None and case.known("r"):
        rain = erosivity.of_plan(soil, book).rain_mm or 0.0
        row = erosivity.branch(soil.rain_equation, rain, book)
        steps.append(
            Step(
                case.say("erosivity.title"),
                case.say("erosivity.inputs", name=row["equation"], rain=digits(rain, 5)),
                "",
                cite(row["source"], row["provenance"]),
                case.say("erosivity.result", r=digits(case.row["r"], 4), region=row["region"]),
            )
        )
    village_k_by = _village_k_by(case)
    if village_k_by is not None:
        steps.append(_of_village(case, village_k_by))
    for name, file, filled in (
        ("r", soil.rain_erosivity_raster, "rain_erosivity_filled"),
        # What is known of the village's soil goes before the raster.
        ("k", soil.erodibility_raster if village_k_by is None else None, "erodibility_filled"),
    ):
        if file is not None and case.known(name) and filled not in case.row["erosion_flags"]:
            value = digits(case.row[name], 4)
            result = case.say(f"mapped.{name}", value=value)
            steps.append(
                Step(case.say("mapped.title"), case.say("mapped.inputs", file=file), "", "", result)
            )
    if soil.cover is not None:
        rows = book.rows("cover_factors")
        row = rows[rows["name"] == soil.cover].iloc[0]
        mulch = soil.mulch_cover_pct or 0.0
        steps.append(
            Step(
                case.say("cover.title"),
                case.say("cover.inputs", name=row["name"], mulch=digits(mulch)),
                "",
                cite(row["source"], row["provenance"]),
                case.say("cover.result", c=digits(case.row["c"], 3), region=row["region"]),
            )
        )
    return steps


def _village_k_by(case: _Case) -> str | None:
    """Give how K of the plot's village was found; None where it has none of its own."""
    if "soils" not in case.results.beside:
        return None
    soils = case.results.beside["soils"].used
    own = soils[(soils["village"] == case.row["village"]) & soils["k"].notna()]
    return None if own.empty else str(own["k_by"].iloc[0])


def _of_village(case: _Case, k_by: str) -> Step:
    files, rows = case.results.plan.files, case.results.handbook.rows("erodibility_constants")
    drawn = rows[rows["name"].str.startswith(k_by)]
    sources = [cite(*pair) for pair in zip(drawn["source"], drawn["provenance"], strict=True)]
    return Step(
        case.say("village_soil.title"),
        case.say(f"village_soil.{k_by}", village=case.row["village"], file=files.soils),
        "",
        "; ".join(dict.fromkeys(sources)),
        case.say("mapped.k", value=digits(case.row["k"], 4)),
    )


def _loss_now(case: _Case) -> list[Step]:
    row = case.row
    floor = row["soil_loss_floor_t_ha_yr"]
    if case.known("soil_loss_floor_t_ha_yr"):
        limit = digits(case.results.plan.erosion.equations_slope_max_pct)
        said = case.say("loss_now.floor", loss=digits(floor, 2), limit=limit)
        return [Step(case.say("loss_now.title"), "", "", case.source("equations", "ls"), said)]
    if not case.known("soil_loss_now_likely_t_ha_yr"):
        return []
    likely = row["soil_loss_now_likely_t_ha_yr"]
    factors = (row["r"], row["k"], row["ls_now"], row["c"], row["p_now"])
    how = "known" if row["practice_now_known"] else "not_known"
    ends = {end: digits(row[f"soil_loss_now_{end}_t_ha_yr"], 2) for end in ("low", "high")}
    chance = digits(100 * row["chance_worst_tenth"], 2)
    return [
        Step(
            case.say("loss_now.title"),
            case.say(f"loss_now.{how}", practice=row["practice_now"]),
            case.equation("loss_now", " × ".join(map(digits, factors)), likely, "t/(ha yr)"),
            case.source("equations", "soil_loss"),
            case.say("loss_now.result", loss=digits(likely, 2)),
        ),
        Step(
            case.say("spread.title"),
            case.say("spread.at_least" if row["ls_at_least"] else "spread.inputs"),
            "",
            case.source("equations", "loss_spread", "worst_tenth"),
            case.say("spread.result", **ends, chance=chance, rank=row["erosion_rank"]),
        ),
    ]


def _loss(case: _Case) -> list[Step]:
    row = case.row
    title, source = case.say("loss_up_down.title"), case.source("equations", "soil_loss")
    if not case.known("soil_loss_up_down_likely_t_ha_yr"):
        codes = [code for code in WITHOUT_TONNES if code in row["erosion_flags"]]
        said = [case.texts.say(f"flags.{code}", plan=case.results.plan, **row) for code in codes]
        why = " ".join(said)
        return [Step(title, "", "", source, case.say("loss_up_down.none", why=why))]
    given = {name: digits(row[name]) for name in ("r", "k", "c")}
    numbers = f"{given['r']} × {given['k']} × {digits(row['ls'])} × {given['c']}"
    up_down = row["soil_loss_up_down_likely_t_ha_yr"]
    contour, p = row["soil_loss_contour_likely_t_ha_yr"], digits(row["p_contour"])
    classes = case.results.handbook.rows("erosion_classes")
    drawn = classes[classes["number"] == row["erosion_class_number"]].iloc[0]
    return [
        Step(
            title,
            case.say("loss_up_down.inputs", **given),
            case.equation("loss_up_down", numbers, up_down, "t/(ha yr)"),
            f"{source}; {case.say('from_plan')}",
            case.say("loss_up_down.result", loss=digits(up_down, 2)),
        ),
        Step(
            case.say("loss_contour.title"),
            case.say("loss_contour.inputs", p=p),
            case.equation("loss_contour", f"{numbers} × {p}", contour, "t/(ha yr)"),
            "; ".join([source, _practice_source(case), cite(drawn["source"], drawn["provenance"])]),
            case.say(
                "loss_contour.result",
                loss=digits(contour, 2),
                number=row["erosion_class_number"],
                name=row["erosion_class"],
            ),
        ),
    ]


def _practice_source(case: _Case) -> str:
    rows = case.results.handbook.rows("contour_p").sort_values("slope_high_pct")
    at_least = rows[rows["slope_high_pct"] >= case.row["slope_used_pct"]]
    drawn = (at_least if len(at_least) else rows.tail(1)).iloc[0]
    return cite(drawn["source"], drawn["provenance"])


def _planting(case: _Case) -> list[Step]:
    return [_row_count(case), *_stand(case), *_maize(case), *_weights(case)]


def _teaching(case: _Case) -> list[Step]:
    """Say why the plot is a demonstration plot or not, where the plan asks for any."""
    found = case.results.demos
    if found is None:
        return []
    said = demo_words.of_plots(found, case.texts)[case.row["plot_id"]]
    how = demo_words.how(found, case.results.plan.demos, case.texts)
    return [Step(case.say("demos.title"), " ".join(how), "", "", " ".join(said))]


def _visited(case: _Case) -> list[Step]:
    """Say who visits the plot when, where the plan names agents."""
    found = case.results.visits
    if found is None:
        return []
    said = visit_words.of_plots(found, case.texts).get(case.row["plot_id"])
    if said is None:
        said = [case.texts.say("visits.plot_none")]
    return [Step(case.say("visits.title"), case.say("visits.inputs"), "", "", " ".join(said))]


def _row_count(case: _Case) -> Step:
    row, plan = case.row, case.results.plan
    apart, slope = plan.practice.bean_rows_apart_cm, row["slope_used_pct"]
    length = digits(row["row_length_m"], 6)
    said = [case.say("rows.mean", length=length)]
    if case.known("rows"):
        counted = {
            "rows": f"{row['rows']:,}",
            "short": f"{row['short_rows']:,}",
            "least": digits(plan.rows.row_length_min_m),
        }
        said = [case.say("rows.result", length=length, basis=row["holes_basis"], **counted)]
    if case.known("first_row_corner"):
        start = {name: row[f"first_row_{name}"] for name in ("corner", "way")}
        said.append(case.say("rows.first", start=digits(row["first_row_start_m"], 3), **start))
    if row["land_taken_m2"] > 0:
        said.append(case.say("rows.taken", area=digits(row["land_taken_m2"], 4)))
    if row["flow_strip_m2"] > 0:
        said.append(case.say("rows.strip", area=digits(row["flow_strip_m2"], 4)))
    water = wording.water_sentence(row, plan, case.texts)
    if water is not None:
        said.append(water)
    if row["row_breaks"] > 0:
        depth = digits(case.results.plan.rows.sag_max_cm)
        gaps = {"area": digits(row["row_gap_m2"], 4), "row_breaks": row["row_breaks"]}
        said.append(case.say("rows.gaps", **gaps, deepest=depth))
    numbers = f"{digits(apart / 100)} ÷ (1 + ({digits(slope)} ÷ 100) ^ 2) ^ 0.5"
    return Step(
        case.say("rows.title"),
        case.say("rows.inputs", apart=digits(apart), slope=digits(slope, 4)),
        case.equation("rows", numbers, row["row_spacing_map_m"], "m"),
        f"{case.say('from_plan')}; {case.source('equations', 'rows')}",
        " ".join(said),
    )


def _stand(case: _Case) -> list[Step]:
    row, practice = case.row, case.results.plan.practice
    each = seeds_per_hole(case.results.plan, case.results.handbook)
    between = practice.hole_spacing_cm / 100
    length = row["row_length_m"]
    seeds = float(row["seeds"])
    stand = practice.germination_share, practice.emergence_share
    germination, emergence = (digits(share) for share in stand)
    seed_name = "seeds_per_hole_" + practice.seed_class.replace("-", "_")
    plan = case.say("from_plan")
    return [
        Step(
            case.say("holes.title"),
            case.say("holes.by_row" if case.known("rows") else "holes.by_area"),
            _exactly(case, "holes", f"{digits(length, 10)} ÷ {digits(between)}", length / between),
            f"{plan}; {case.source('practice', 'row_spacing_cm', 'hole_spacing_cm')}",
            case.say("holes.result", holes=f"{row['holes']:,}"),
        ),
        Step(
            case.say("seeds.title"),
            case.say("seeds.inputs", **{"each": each, "class": practice.seed_class}),
            _exactly(case, "seeds", f"{row['holes']} × {each}", seeds),
            f"{plan}; {case.source('practice', seed_name)}",
            case.say("seeds.result", seeds=f"{row['seeds']:,}"),
        ),
        Step(
            case.say("plants.title"),
            case.say("plants.inputs", germination=germination, emergence=emergence),
            _exactly(
                case,
                "plants",
                f"{row['seeds']} × {germination} × {emergence}",
                seeds * stand[0] * stand[1],
            ),
            plan,
            case.say("plants.result", plants=f"{row['plants']:,}"),
        ),
    ]


def _maize(case: _Case) -> list[Step]:
    row, practice = case.row, case.results.plan.practice
    if not case.known("maize_holes"):
        return []
    each = practice.maize_seeds_per_hole
    return [
        Step(
            case.say("maize.title"),
            case.say(
                "maize.inputs",
                apart=digits(practice.maize_row_spacing_cm),
                between=practice.maize_bean_rows,
                length=digits(row["maize_row_length_m"], 6),
                holes=f"{row['maize_holes']:,}",
            ),
            _exactly(case, "maize", f"{row['maize_holes']} × {each}", float(row["maize_seeds"])),
            case.say("from_plan"),
            case.say("maize.result", seeds=f"{row['maize_seeds']:,}"),
        )
    ]


def _exactly(case: _Case, step: str, numbers: str, value: float) -> str:
    """Write an equation of whole things with its value before it is rounded."""
    return f"{case.say(f'{step}.symbols')} = {numbers} = {digits(value, 10)}"


def _weights(case: _Case) -> list[Step]:
    row, practice, plan = case.row, case.results.plan.practice, case.say("from_plan")
    steps = []
    weight = hundred_seed_weight_g(case.results.plan, case.results.handbook)
    if weight is not None:
        steps.append(
            Step(
                case.say("seed.title"),
                case.say("seed.inputs", weight=digits(weight)),
                _exactly(
                    case,
                    "seed",
                    f"{row['seeds']} × {digits(weight)} ÷ 100",
                    float(row["seeds"]) * weight / 100,
                ),
                plan,
                case.say("seed.result", kg=wording.kilograms(int(row["seed_g"]))),
            )
        )
    for name in ("npk", "urea", "manure"):
        rate = getattr(practice, f"{name}_kg_ha")
        if rate is None:
            continue
        good = case.texts.say(f"goods.{name}_g")
        length, apart = row["row_length_m"], practice.bean_rows_apart_cm
        grams = rate * apart / 1000
        steps.append(
            Step(
                case.say("rate.title", good=good),
                case.say(
                    "rate.inputs", rate=digits(rate), apart=digits(apart), grams=digits(grams, 4)
                ),
                _exactly(
                    case,
                    "rate",
                    f"{digits(length, 10)} × {digits(rate)} × {digits(apart)} ÷ 1000",
                    length * grams,
                ),
                plan,
                case.say("rate.result", kg=wording.kilograms(int(row[f"{name}_g"])), good=good),
            )
        )
    return steps
