"""A small district made in code: every method, every class, a hostile village, gaps."""

from __future__ import annotations

import dataclasses
import os
import shutil
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest
from pyproj import CRS, Transformer
from shapely import LineString, Point, Polygon, affinity

from districtplan import erosion
from districtplan.conservation import (
    Known,
    Proposal,
    Works,
    draw,
    line_tables,
    order_of_work,
    propose,
)
from districtplan.handbook import packaged
from districtplan.inputs import accept_enrolment, marked_string, purchase
from districtplan.inputs.enrolment import ENROLMENT
from districtplan.outputs.texts import Texts
from districtplan.plan import Plan
from districtplan.results import Features, GroundReadings, Relief, Results, RowLines
from districtplan.rows import Clear, Guides, Pegs, Rules
from districtplan.tables import made_by
from districtplan.terrain import Calibration
from tests.conservation.hillsides import DITCH, LIMITS, hillside
from tests.support import site_at, walked

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND",
)
HOSTILE = "{{ 7*191 }}<img src=x onerror=hit()>"
PLOTS_CRS = CRS.from_epsg(32736)
ORIGIN = (520_000.0, 8_990_000.0)
SPACING = (0.5, 0.1)
R, K, C = 4500.0, 0.03, 0.2
VILLAGES = ("Upper Tamba Ridge", HOSTILE, "Sondo")
EROSION_NAMES = ("none to slight", "moderate", "high", "very high", "beyond the equations")
UNMEASURED = {
    "slope_measured_pct": np.nan,
    "slope_reading_date": None,
    "slope_reading_method": None,
    "row_bearing_measured_true_deg": np.nan,
    "bearing_reading_date": None,
    "bearing_reading_method": None,
    "row_bearing_raster_true_deg": np.nan,
    "row_bearing_raster_se_deg": np.nan,
}
ENROLLED, DEMO = ("A-01", "A-02", "=B+1", "007", "109"), ("<b>B2</b>",)
SLOPE_CLASSES = (
    (0.2, "Flat"),
    (0.5, "Level"),
    (1.0, "Nearly level"),
    (2.0, "Very gently sloping"),
    (5.0, "Gently sloping"),
    (10.0, "Sloping"),
    (15.0, "Strongly sloping"),
    (30.0, "Moderately steep"),
    (60.0, "Steep"),
    (float("inf"), "Very steep"),
)
# id, village, slope [%], bearing [degrees], method, reason, terrain flags, class number
CASES = (
    ("A-01", 0, 6.4, 57.6, "straight", "supported", (), 1),
    ("A-02", 0, 11.8, 64.2, "straight", "supported", (), 2),
    ("A-03", 0, 27.5, 71.0, "straight", "supported", (), 4),
    ("A-04", 0, 36.2, 80.4, "straight", "supported", (), 5),
    ("=B+1", 1, 0.4, None, "any direction", "flat", (), 1),
    ("<b>B2</b>", 1, 18.3, 121.9, "guide lines", "straight_rows_too_steep", (), 3),
    ("B3", 1, 14.2, None, "measure on the ground", "no_best_direction", (), 2),
    ("B4", 1, 63.0, 179.7, "straight", "supported", (), 5),
    (
        "007",
        2,
        9.1,
        None,
        "measure on the ground",
        "too_few_cells",
        ("partly_off_raster", "hillside_falls"),
        1,
    ),
    (
        "108",
        2,
        3.2,
        None,
        "measure on the ground",
        "bearing_too_uncertain",
        ("noise_exceeds_slope",),
        1,
    ),
    ("109", 2, 21.6, 12.3, "guide lines", "straight_rows_too_steep", (), 3),
    ("110", 2, 54.0, 5.0, "straight", "supported", (), 5),
)


@pytest.fixture(scope="session")
def browser():
    """Chromium, started once: a start takes as long as a test."""
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("no Chromium was found, and CI must have one")
        pytest.skip("no Chromium was found")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        yield found
        found.close()


@pytest.fixture(scope="session")
def texts():
    return Texts.load("en")


@pytest.fixture(scope="session")
def hostile():
    return HOSTILE


@pytest.fixture(scope="session")
def small_results():
    return make_results()


@pytest.fixture(scope="session")
def results_without_soil():
    return make_results(soil=False)


@pytest.fixture(scope="session")
def results_with_names():
    return make_results(names=True)


@pytest.fixture(scope="session")
def enrolled_results(small_results):
    return bought_by(
        small_results,
        money={"currency": "shell", "seed_price_kg": 2.35, "npk_price_kg": 1.07,
               "manure_price_kg": 0.05, "grain_price_low_kg": 0.5, "grain_price_high_kg": 0.9},
        labour={"planting_days_ha": 20.0, "hands_a_plot": 2.0},
        orders={"vehicle_kg": 1_000.0, "seed_stock_kg": 1.5},
    )  # fmt: skip


def bought_by(results, **sections):
    """Enrol five plots and a demo plot of the small district; sections go into its plan."""
    told = results.plan.model_dump(exclude_unset=True)
    for name, keys in sections.items():
        told[name] = {**told.get(name, {}), **keys}
    plan = type(results.plan).model_validate(told)
    plots = results.plots
    listed = pd.DataFrame(dict.fromkeys(ENROLMENT, ""), index=range(6)).assign(
        plot_id=[*ENROLLED, *DEMO],
        farmer_id=["f1", "f1", "=HYPERLINK(1)", "@x", "\tz", "+1"],
        enrolled="yes",
        consent="yes",
        demo=["", "", "", "", "", "yes"],
        bean_share=["", "0.6", "", "", "", ""],
        source_row=range(1, 7),
        reason=pd.Series([None] * 6, dtype=object),
        remedy=pd.Series([None] * 6, dtype=object),
    )
    used = accept_enrolment(listed, plots).used
    found = purchase(plots, plots["geometry"].to_numpy(), used, plan, packaged())
    return dataclasses.replace(results, plan=plan, purchase=found)


def make_plan(*, soil: bool = True, names: bool = False) -> Plan:
    """Make a plan whose published limits are given, so that no handbook table is needed."""
    values = {
        "district": {"name": "Invented Hills", "planting_date": date(2026, 3, 15)},
        "files": {"plots": "plots.gpkg", "elevation": ["dem.tif"]},
        "elevation": {"vertical_error_m": 0.5, "error_correlation_m": 30.0},
        "terrain": {
            "flat_slope_pct": 1.0,
            "row_grade_limit_pct": 2.0,
            "row_grade_limit_share": 0.5,
        },
        "erosion": {
            "slope_length_cap_m": 122.0,
            "equations_slope_max_pct": 30.0,
            "structures_from_slope_pct": 12.0,
            "perennials_from_slope_pct": 50.0,
            "forest_from_slope_pct": 60.0,
        },
        "practice": {
            "row_spacing_cm": 50.0,
            "hole_spacing_cm": 10.0,
            "seeds_per_hole": 1,
            "hundred_seed_weight_g": 40.0,
            "npk_kg_ha": 100.0,
            "manure_kg_ha": 5000.0,
        },
        "orders": {"bought_at": "village", "seed_pack_kg": 2.0, "npk_pack_kg": 50.0},
    }
    if soil:
        values["soil"] = {
            "rain_erosivity_mj_mm_ha_h_yr": R,
            "erodibility_t_ha_h_ha_mj_mm": K,
            "cover_factor": C,
        }
    if names:
        values["files"]["farmer_name_column"] = "farmer"
    return Plan.model_validate(values)


def make_results(*, soil: bool = True, names: bool = False) -> Results:
    """Make the results of one run of twelve plots in three villages."""
    plan = make_plan(soil=soil, names=names)
    plots = make_plots(soil=soil, names=names)
    plots = plots.assign(**_sites(plots))
    villages = totals_of(plots)
    set_aside = pd.DataFrame(
        {
            "source_row": [13, 14],
            "plot_id": ["A-09", ""],
            "reason": ["the outline crosses itself", "the id is blank"],
            "remedy": ["Redraw the outline", "Give the plot an id of its own"],
            "village": ["Upper Tamba Ridge", ""],
        }
    )
    return Results(
        plan=plan,
        handbook=packaged(),
        plots=plots,
        plots_crs=PLOTS_CRS,
        grid_crs=PLOTS_CRS,
        estimate=None,
        guides=make_guides(plots),
        pegs=make_pegs(plots),
        proposal=make_proposal(plots, plan),
        works=make_works(plots),
        string=marked_string(plan, packaged()),
        readings=no_readings(),
        features=no_features(),
        row_lines=no_rows(plots),
        flow_lines=make_flow_lines(),
        purchase=purchase(plots, plots["geometry"].to_numpy(), None, plan, packaged()),
        villages=villages,
        district=district_of(villages),
        set_aside=set_aside,
        rows_read=14,
        relief=make_relief(plots),
        forecasts=(),
        input_sha256={"plots.gpkg": "0" * 64, "dem.tif": "1" * 64},
        seconds={"intake": 0.1, "terrain": 0.2},
        warnings=("The plan's R is outside the usual range.",),
    )


def make_proposal(plots: pd.DataFrame, plan: Plan) -> Proposal:
    """Propose measures for plots that nothing is known of but the table."""
    known = Known(
        erosion.standing(plots["plot_id"], None, packaged()), erosion.Equations(plan, packaged())
    )
    return propose(plots, known, plan, packaged())


def make_works(plots: pd.DataFrame) -> Works:
    """Make the lines and the order of work of one hillside of three plots."""
    ids = tuple(plots["plot_id"].iloc[[2, 1, 0]])
    drawn = {"Hill-S01": {"hillside_ditch": draw(hillside(plot_ids=ids), DITCH, 1.5, LIMITS)}}
    tables = line_tables(drawn)
    moved = [affinity.translate(shape, *ORIGIN) for shape in tables.lines["geometry"]]
    sites = pd.DataFrame(
        {
            "plot_id": ids,
            "work_site": "Hill-S01",
            "site_place": [1, 2, 3],
            "site_plots": 3,
            "site_villages": [(VILLAGES[0],)] * 3,
            "site_neighbours": [DEMO] * 3,
        }
    )
    outlets = pd.DataFrame({"work_site": ["Hill-S01"], "outlet": "waterway 1", "outlet_lines": 1})
    return Works(
        lines=tables.lines.assign(geometry=moved),
        refused=tables.refused,
        waterways=tables.waterways,
        outlets=outlets.assign(geometry=[LineString([ORIGIN, (ORIGIN[0], ORIGIN[1] + 90)])]),
        order=order_of_work(sites, drawn, ()),
        days=pd.DataFrame({"plot_id": plots["plot_id"], "days_owed": np.nan}),
        charged={},
        waiting=frozenset(),
        uncosted=frozenset(),
        undrawn=frozenset(),
        unled={},
        sites=1,
        sites_drawn=1,
    )


def _sites(plots: pd.DataFrame) -> dict[str, Any]:
    """Three plots are of the hillside whose works are made, each other one is alone on its own."""
    place = {2: 1, 1: 2, 0: 3}
    return {
        "work_site": [
            "Hill-S01" if i in place else f"{village}-S{i:02d}"
            for i, village in enumerate(plots["village"])
        ],
        "site_place": [place.get(i, 1) for i in range(len(plots))],
        "slipping_ground": 0,
        "lies_below": None,
        "site_plots": [3 if i in place else 1 for i in range(len(plots))],
        "site_villages": [(village,) for village in plots["village"]],
        "site_neighbours": [()] * len(plots),
    }


def make_guides(plots: pd.DataFrame) -> Guides:
    """Make an arc for one plot of bending land, and a start for the other."""
    bent = plots[plots["row_method"] == "guide lines"]
    arc, start = (plot.representative_point() for plot in bent["geometry"])
    course = LineString([(arc.x - 20, arc.y), (arc.x, arc.y + 2), (arc.x + 20, arc.y)])
    place = bent[["longitude_deg", "latitude_deg"]].to_numpy()
    lines = pd.DataFrame(
        {
            "plot_id": bent["plot_id"].to_numpy(),
            "guide_kind": bent["guide_kind"].to_numpy(),
            "line": pd.array([1, 1], dtype="Int64"),
            "line_length_m": [40.4, np.nan],
            "line_fall_pct": [0.0, 0.0],
            "line_radius_m": [101.0, np.nan],
            "line_centre_side": ["uphill", None],
            "peg_step_m": [8.1, np.nan],
            "peg_offset_m": [0.65, np.nan],
            "rows_downhill": pd.array([40, 20], dtype="Int64"),
            "rows_uphill": pd.array([38, 21], dtype="Int64"),
            "line_downhill_true_deg": [200.0, np.nan],
            "start_longitude_deg": place[:, 0],
            "start_latitude_deg": place[:, 1],
            "start_corner": ["south-west", "north-east"],
            "start_corner_longitude_deg": place[:, 0],
            "start_corner_latitude_deg": place[:, 1],
            "start_from_corner_m": [12.5, 3.0],
            "start_way": ["clockwise", "anticlockwise"],
            "start_inside_m": [0.0, 0.0],
            "start_inside_true_deg": [np.nan, np.nan],
            "start_inside_magnetic_deg": [np.nan, np.nan],
            "geometry": [course, None],
        }
    )
    pegs = pd.DataFrame(
        {
            "plot_id": bent["plot_id"].to_numpy(),
            "line": pd.array([1, 1], dtype="Int64"),
            "peg": pd.array([1, 1], dtype="Int64"),
            "peg_along_m": [0.0, 0.0],
            "gap_m": [np.nan, np.nan],
            "rows_in_gap": pd.array([pd.NA, pd.NA], dtype="Int64"),
            "short_rows_start": pd.array([pd.NA, pd.NA], dtype="Int64"),
            "short_rows_end": pd.array([pd.NA, pd.NA], dtype="Int64"),
            "geometry": [arc, start],
        }
    )
    table = plots[["plot_id", *made_by("guides")]]
    followed = pd.DataFrame(columns=["plot_id", "crop", "row", "length_m", "geometry"])
    counts = pd.DataFrame(
        columns=["plot_id", "crop", "rows", "short_rows", "row_length_m", "holes"]
    )
    boundaries = pd.DataFrame(
        columns=["plot_id", "part_boundary", "part_boundary_m", "geometry"], dtype=object
    )
    return Guides(table, lines, pegs, followed, counts, boundaries, PLOTS_CRS)


def make_pegs(plots: pd.DataFrame) -> Pegs:
    """Set out the arc of the plot of bending land."""
    guides = make_guides(plots)
    line = guides.lines.iloc[0]
    (outline,) = plots.loc[plots["plot_id"] == line["plot_id"], "geometry"]
    return pegs_of(line["plot_id"], outline, np.array(line["geometry"].coords), 10.0)


def pegs_of(plot_id: str, outline: Any, course: Any, step_m: float) -> Pegs:
    """Set out one line of one plot."""
    (longitude,), (latitude,) = Transformer.from_crs(PLOTS_CRS, 4326, always_xy=True).transform(
        [outline.centroid.x], [outline.centroid.y]
    )
    site = site_at(outline, PLOTS_CRS, (longitude, latitude), 1.3)
    walk = walked(course, 0.0, site, PLOTS_CRS, Rules(step_m, 10.0, 2.0, 0.1))
    table = pd.DataFrame(walk.columns()).add_prefix("peg_").rename(columns={"peg_peg": "peg"})
    table = table.astype({"peg": "Int64", "peg_sideways_cm": "Int64"})
    table = table.assign(plot_id=plot_id, line=1, geometry=[Point(*xy) for xy in walk.xy])
    table["gap_m"] = np.nan
    for name in ("rows_in_gap", "short_rows_start", "short_rows_end"):
        table[name] = pd.array([pd.NA] * len(table), dtype="Int64")
    names = ["plot_id", "line", *made_by("pegs"), "geometry"]
    return Pegs(table[names], {(plot_id, 1): walk})


def no_readings() -> GroundReadings:
    """Make what a plan without readings gives."""
    columns = ("source_row", "plot_id", *made_by("comparison"))
    return GroundReadings(
        pd.DataFrame(columns=columns),
        pd.DataFrame(columns=["source_row", "plot_id", "reason", "remedy"]),
        0,
        Calibration((), (), (), None, None),
    )


def no_features() -> Features:
    """Make what a plan without features gives."""
    columns = ("source_row", "kind", "feature", "width_m", "geometry")
    aside = ("source_row", "kind", "reason", "remedy")
    return Features(pd.DataFrame(columns=columns), pd.DataFrame(columns=aside), 0)


def no_rows(plots: pd.DataFrame) -> RowLines:
    """Draw no rows; all land is planted."""
    columns = ("plot_id", "crop", "row", "length_m", "geometry")
    land = plots["geometry"].to_numpy(dtype=object)
    return RowLines(pd.DataFrame(columns=columns), 1, land, Clear(np.array([], dtype=object)))


def make_flow_lines() -> pd.DataFrame:
    """Make two flow lines that meet, the larger first."""
    x, y = ORIGIN
    return pd.DataFrame(
        {
            "upslope_area_ha": [4.5, 1.2],
            "upslope_area_at_least": [1, 0],
            "geometry": [
                LineString([(x, y), (x + 40, y - 40)]),
                LineString([(x, y + 60), (x, y)]),
            ],
        }
    )


def make_plots(*, soil: bool = True, names: bool = False) -> pd.DataFrame:
    """Make the joined table of plots, with values that agree with one another."""
    outlines = [_outline(i) for i in range(len(CASES))]
    points = [outline.representative_point() for outline in outlines]
    to_degrees = Transformer.from_crs(PLOTS_CRS, 4326, always_xy=True)
    longitude, latitude = to_degrees.transform([p.x for p in points], [p.y for p in points])
    area_ha = np.array([outline.area / 1e4 for outline in outlines])
    slope = np.array([case[2] for case in CASES])
    measured = np.array([case[4] == "measure on the ground" for case in CASES])
    bearing = np.array([np.nan if case[3] is None else case[3] for case in CASES])
    frame = pd.DataFrame(
        {
            "plot_id": [case[0] for case in CASES],
            "village": [VILLAGES[case[1]] for case in CASES],
            "village_as_given": pd.Series([None] * len(CASES), dtype=object),
            "source_row": np.arange(1, len(CASES) + 1),
            "area_ha": area_ha,
            "longitude_deg": longitude,
            "latitude_deg": latitude,
            "outline_repair": pd.Series(
                ["a spike was cut off"] + [None] * (len(CASES) - 1), dtype=object
            ),
            "area_se_ha": area_ha * 0.08,
            "area_as_given_ha": [area_ha[0] * 1.01] + [np.nan] * (len(CASES) - 1),
            "overlap_ha": np.zeros(len(CASES)),
            "overlap_plots": pd.Series([None] * len(CASES), dtype=object),
            "geometry": outlines,
            "cells": [3.2 if case[5] == "too_few_cells" else 44.0 for case in CASES],
            "raster_share": [0.93 if case[6] else 1.0 for case in CASES],
            "heights_level_share": 0.0,
            "heights_filled_share": [0.25 if case[6] else 0.0 for case in CASES],
            "elevation_mean_m": 1400.0 + 10 * np.arange(len(CASES)),
            "slope_mean_pct": slope,
            "slope_p90_pct": slope * 1.2,
            "slope_max_pct": slope * 1.4,
            "slope_corrected_pct": slope * 0.98,
            "slope_se_pct": np.full(len(CASES), 0.6),
            "downslope_true_deg": (bearing + 90) % 360,
            "row_bearing_true_deg": bearing,
            "row_bearing_grid_deg": (bearing + 0.1) % 180,
            "row_bearing_magnetic_deg": (bearing - 1.3) % 180,
            "declination_deg": np.full(len(CASES), 1.3),
            "row_bearing_words": [_words(case[3]) for case in CASES],
            "row_bearing_se_deg": np.where(np.isnan(bearing), np.nan, 2.4),
            "row_grade_rms_pct": np.where(np.isnan(bearing), np.nan, 0.03 * slope),
            "bend_grade_pct": 0.0 * slope,
            "row_grade_likely_pct": 0.02 * slope,
            "row_grade_95_pct": 0.03 * slope,
            "row_grade_limit_pct": np.minimum(2.0, 0.5 * slope),
            "row_bend_deg_100m": np.where(np.isnan(bearing), np.nan, 12.0),
            "row_bend_se_deg_100m": np.where(np.isnan(bearing), np.nan, 2.0),
            "row_arc_radius_m": np.where(np.isnan(bearing), np.nan, 477.5),
            "row_arc_centre_longitude_deg": np.where(np.isnan(bearing), np.nan, longitude),
            "row_arc_centre_latitude_deg": np.where(np.isnan(bearing), np.nan, latitude),
            "coherence": np.where(np.isnan(bearing), 0.1, 0.9),
            "hillside_slope_pct": np.where(measured, 14.0, np.nan),
            "hillside_downslope_true_deg": np.where(measured, 140.0, np.nan),
            "row_method": [case[4] for case in CASES],
            "row_method_reason": [case[5] for case in CASES],
            **UNMEASURED,
            "row_method_raster": [case[4] for case in CASES],
            "row_method_reason_raster": [case[5] for case in CASES],
            "slope_used_pct": slope * 0.98,
            "terrain_flags": [case[6] for case in CASES],
            "upslope_area_ha": 1.2 + 0.1 * np.arange(len(CASES)),
            "upslope_area_at_least": (np.arange(len(CASES)) == 6).astype(np.int64),
            "run_on_area_ha": 1.1 + 0.1 * np.arange(len(CASES)),
            "flow_line_length_m": np.where(np.arange(len(CASES)) == 5, 31.0, 0.0),
            "slope_length_above_m": 12.5 * np.arange(len(CASES)),
            "slope_length_above_at_least": (np.arange(len(CASES)) == 6).astype(np.int64),
            "slope_above_begins": "divide",
            "catchment": None,
            "water_flags": [
                {5: ("crossed_by_flow",), 6: ("upslope_at_least",)}.get(i, ())
                for i in range(len(CASES))
            ],
            **_guided([case[4] for case in CASES]),
        }
    )
    if names:
        frame.insert(2, "farmer_name", [f"Invented Farmer {i}" for i in range(len(CASES))])
    frame = pd.concat([frame, _drainage(frame), _rows(frame), _erosion(frame, soil=soil)], axis=1)
    frame = pd.concat([frame, _inputs(frame)], axis=1)
    frame.loc[3, ["declination_deg", "row_bearing_magnetic_deg"]] = np.nan
    return frame


def _guided(methods: list[str]) -> dict[str, Any]:
    """The first plot of bending land gets an arc, the second is levelled on the ground."""
    kinds = iter(("arc", "level on the ground"))
    kind = [next(kinds) if method == "guide lines" else None for method in methods]
    arc = np.array([one == "arc" for one in kind])
    either = np.array([one is not None for one in kind])
    return {
        "guide_kind": kind,
        "guide_lines": pd.array([1 if one else None for one in kind], dtype="Int64"),
        "guide_bearing_true_deg": np.where(arc, 131.2, np.nan),
        "guide_bearing_magnetic_deg": np.where(arc, 128.8, np.nan),
        "guide_floor_pct": np.where(either, np.where(arc, 0.7, 3.1), np.nan),
        "row_grade_straight_rms_pct": np.where(either, 4.2, np.nan),
        "row_grade_guided_rms_pct": np.where(arc, 0.8, np.nan),
        "row_grade_structure_rms_pct": np.nan,
        "guide_flags": [()] * len(kind),
        "row_within_straight_share": np.where(either, 0.28, np.nan),
        "row_within_guided_share": np.where(arc, 0.97, np.nan),
    }


def totals_of(plots: pd.DataFrame) -> pd.DataFrame:
    """Add up the plots by village."""
    summed = ["area_ha", "holes", "plants", "seeds", "seed_g", "npk_g", "urea_g", "manure_g"]
    groups = plots.groupby("village", sort=True)
    totals = groups[summed].sum(min_count=1).reset_index()
    totals["seed_packs"] = -(-totals["seed_g"] // 2_000)
    totals["npk_packs"] = -(-totals["npk_g"] // 50_000)
    measured = plots[plots["row_method"] == "measure on the ground"]
    area = measured.groupby("village")["area_ha"].sum()
    totals["area_measure_ha"] = totals["village"].map(area).fillna(0.0)
    totals["area_unserved_ha"] = totals["area_measure_ha"]
    for column in ("urea_packs", "maize_holes", "maize_seeds"):
        totals[column] = pd.array([pd.NA] * len(totals), dtype="Int64")
    flagged = plots["erosion_flags"].map(lambda flags: "rows_alone_not_enough" in flags)
    counts = {
        "plots": plots["village"],
        "plots_steep": plots.loc[flagged, "village"],
        "plots_beyond_equations": plots.loc[plots["erosion_class_number"] == 5, "village"],
        "plots_measure": measured["village"],
        "plots_unserved": measured["village"],
    }
    for name, villages in counts.items():
        totals[name] = totals["village"].map(villages.value_counts()).fillna(0).astype("int64")
    return totals


def district_of(villages: pd.DataFrame) -> pd.Series:
    """Add up the villages."""
    return villages.drop(columns="village").sum(min_count=1).astype(object)


def make_relief(plots: pd.DataFrame) -> Relief:
    """Make a hillshade and heights over the plots, with a corner that has no elevation."""
    rows, columns = np.mgrid[0:64, 0:96]
    shade = (150 + 80 * np.sin(columns / 9) * np.cos(rows / 7)).astype(np.uint8)
    heights = (1500 + 4 * columns + 30 * np.cos(rows / 7)).astype(np.float32)
    shade[:10, :10] = 0
    heights[:10, :10] = np.nan
    return Relief(
        shade,
        heights,
        float(plots["longitude_deg"].min()) - 0.004,
        float(plots["latitude_deg"].min()) - 0.004,
        float(plots["longitude_deg"].max()) + 0.004,
        float(plots["latitude_deg"].max()) + 0.004,
    )


def _outline(index: int) -> BaseGeometry:
    # Four plots a village, villages 500 m apart; one plot has a hole, one has two parts.
    east = ORIGIN[0] + 500 * (index // 4) + 90 * (index % 2)
    north = ORIGIN[1] + 90 * (index % 4 // 2) + 60 * (index // 4)
    shape = Polygon([(0, 0), (62, -6), (70, 30), (55, 64), (20, 70), (-6, 40)])
    if index == 1:
        shape = shape.difference(Point(30, 30).buffer(8, quad_segs=3))
    if index == 10:
        shape = shape.difference(Polygon([(25, -20), (32, -20), (32, 90), (25, 90)]))
    return affinity.translate(affinity.rotate(shape, 17 * index, (30, 30)), east, north)


def _words(bearing: float | None) -> str | None:
    if bearing is None:
        return None
    names = ("N–S", "NE–SW", "E–W", "SE–NW")
    return names[round(bearing / 45) % 4]


def _erosion(frame: pd.DataFrame, *, soil: bool) -> pd.DataFrame:
    slope = frame["slope_corrected_pct"].to_numpy()
    length = np.full(len(frame), 48.0)
    sine = slope / 100 / np.hypot(1, slope / 100)
    steepness = np.where(slope < 9, 10.8 * sine + 0.03, 16.8 * sine - 0.50)
    rill = (sine / 0.0896) / (3 * sine**0.8 + 0.56)
    ls = steepness * (length / 22.13) ** (rill / (1 + rill))
    number = np.array([case[7] for case in CASES])
    beyond = number == 5
    loss = np.where(beyond, np.nan, R * K * ls * C) if soil else np.full(len(frame), np.nan)
    number = pd.array(number if soil else np.where(beyond, 5, -1), dtype="Int64")
    if not soil:
        number[~beyond] = pd.NA
    grade = [
        next(i for i, (top, _) in enumerate(SLOPE_CLASSES, 1) if value < top)
        for value in frame["slope_mean_pct"]
    ]
    known = 1.0 if soil else np.nan
    return pd.DataFrame(
        {
            "slope_class_number": grade,
            "slope_class": [SLOPE_CLASSES[i - 1][1] for i in grade],
            "slope_length_m": length,
            "ls": np.where(beyond, np.nan, ls),
            "r": np.full(len(frame), R * known),
            "k": np.full(len(frame), K * known),
            "c": np.full(len(frame), C * known),
            "ls_plot_only": np.where(beyond, np.nan, ls),
            "ls_upslope_area": np.full(len(frame), np.nan),
            "ls_at_least": np.ones(len(frame), dtype=np.int64),
            "slope_length_total_m": length,
            "p_now": np.where(beyond, np.nan, 1.0),
            "ls_now": np.where(beyond, np.nan, ls),
            "practice_now": pd.Series(["not known"] * len(frame), dtype=object),
            "practice_now_known": np.zeros(len(frame), dtype=np.int64),
            "soil_loss_now_low_t_ha_yr": loss / 2,
            "soil_loss_now_likely_t_ha_yr": loss,
            "soil_loss_now_high_t_ha_yr": loss * 2,
            "soil_loss_contour_low_t_ha_yr": loss / 2,
            "soil_loss_contour_high_t_ha_yr": loss * 2,
            "soil_saved_contour_likely_t_ha_yr": loss * 0.0,
            "soil_loss_floor_t_ha_yr": np.full(len(frame), np.nan),
            "chance_worst_tenth": np.where(np.isnan(loss), np.nan, 0.1),
            "erosion_rank": np.arange(1, len(frame) + 1),
            "p_contour": np.where(beyond, np.nan, known),
            "soil_loss_up_down_likely_t_ha_yr": loss,
            "soil_loss_contour_likely_t_ha_yr": loss,
            "erosion_class_number": number,
            "erosion_class": [None if pd.isna(n) else EROSION_NAMES[n - 1] for n in number],
            "erosion_flags": [_flags(value, soil=soil) for value in frame["slope_mean_pct"]],
        }
    )


def _flags(slope: float, *, soil: bool) -> tuple[str, ...]:
    limits = {
        "slope_beyond_equations": 30,
        "forest_only": 60,
        "perennials_only": 50,
        "rows_alone_not_enough": 12,
    }
    codes = tuple(code for code, limit in limits.items() if slope >= limit)
    return codes if soil else (*codes, "no_soil_values")


BASES = {
    "straight": "straight rows",
    "guide lines": "straight rows in place of curved ones",
    "any direction": "straight rows along the longer side",
    "measure on the ground": "area over spacing",
}


def _drainage(frame: pd.DataFrame) -> pd.DataFrame:
    """Straight rows are level, but for one that drains onto a house and one that falls to grass."""
    straight = frame["row_method"] == "straight"
    low = {1: "east end", 2: "south-west end"}
    outlet = {1: "house", 2: "grass"}
    place = range(len(frame))
    return pd.DataFrame(
        {
            "row_low_end": [low.get(i) for i in place],
            "row_fall_pct": np.where(straight, [0.7 if i in low else 0.0 for i in place], np.nan),
            "row_outlet": [outlet.get(i) for i in place],
            "row_end_ahead": np.where(straight, [outlet.get(i, "not known") for i in place], None),
            "row_end_behind": np.where(straight, "neighbour", None),
            "row_grade_design_pct": np.where(straight, 0.0, np.nan),
            "row_fall_to": [None] * len(frame),
            "row_turn_deg": np.where(straight, 0.0, np.nan),
            "outlet_flags": [("no_safe_outlet",) if i == 1 else () for i in place],
        }
    )


def _rows(frame: pd.DataFrame) -> pd.DataFrame:
    level = np.cos(np.arctan(frame["slope_used_pct"] / 100))
    length = frame["area_ha"] * 1e4 / (SPACING[0] * level)
    known = frame["row_method"] != "measure on the ground"
    number = pd.Series(range(120, 120 + len(frame)), dtype="Int64").where(known)
    none = pd.array([pd.NA] * len(frame), dtype="Int64")
    return pd.DataFrame(
        {
            "rows": number,
            "short_rows": number - 117,
            "row_length_m": length,
            "row_spacing_map_m": SPACING[0] * level,
            "holes": np.floor(length / SPACING[1] + 0.5).astype("Int64"),
            "holes_basis": frame["row_method"].map(BASES),
            "first_row_corner": np.where(known, "north-east corner", None),
            "first_row_way": np.where(known, "clockwise", None),
            "first_row_start_m": np.where(known, 2.25, np.nan),
            "flow_strip_m2": np.where(
                frame.index == 5, np.nan, np.where(frame.index == 4, 12.5, 0)
            ),
            "land_taken_m2": np.where(frame.index == 2, 41.5, 0.0),
            "row_breaks": np.where(frame.index == 3, 7, 0),
            "low_place_flags": [()] * len(frame),
            "row_gap_m2": np.where(frame.index == 3, 1.75, 0.0),
            "maize_rows": none,
            "maize_row_length_m": np.nan,
            "maize_holes": none,
        }
    )


def _inputs(frame: pd.DataFrame) -> pd.DataFrame:
    holes = frame["holes"].astype("int64")
    metres = frame["row_length_m"]
    columns = {
        "plants": holes,
        "seeds": holes,
        "seed_g": np.floor(holes * 40 / 100 + 0.5).astype("int64"),
        "maize_seeds": None,
        "npk_g": np.floor(metres * 5 + 0.5).astype("int64"),
        "urea_g": None,
        "manure_g": np.floor(metres * 250 + 0.5).astype("int64"),
        "seed_packs": None,
        "npk_packs": None,
        "urea_packs": None,
    }
    empty = [pd.NA] * len(frame)
    return pd.DataFrame(
        {
            name: pd.array(empty if values is None else values, dtype="Int64")
            for name, values in columns.items()
        }
    )


@pytest.fixture(scope="session")
def parted_results(small_results: Results) -> Results:
    """The small run, where the plot with an arc has two parts."""
    guides = small_results.guides
    (arc,) = guides.lines["geometry"].dropna()
    x, y = arc.centroid.coords[0]
    across = LineString([(x + 7, y - 18), (x + 7, y + 18)])
    (plot_id,) = guides.lines.loc[guides.lines["geometry"].notna(), "plot_id"]
    table = pd.DataFrame(
        {
            "plot_id": [plot_id],
            "part_boundary": pd.array([1], dtype="Int64"),
            "part_boundary_m": [across.length],
            "geometry": [across],
        }
    )
    return dataclasses.replace(small_results, guides=dataclasses.replace(guides, boundaries=table))
