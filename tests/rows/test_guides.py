"""From a raster to lines, pegs and columns, through the terrain stage."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS, Transformer

from districtplan import handbook, rows
from districtplan.grid import Grid
from districtplan.rows import around, ladder, lines
from tests.conftest import ArrayElevation, measured, middle, plan_of, square, surface_raster
from tests.support import renumbered
from tests.terrain.errors import correlated


def ridges(x, y):
    return 1800 - 0.15 * x + 6 * np.sin(y / 45) + 1.5 * np.sin(y / 19 + x / 40)


def cone(x, y):
    return 2000 - 0.25 * np.hypot(x - 100, y)


def rough(sigma: float) -> tuple[ArrayElevation, list]:
    """Land that bends so much that no error hides it, and plots on it."""
    noise = sigma * correlated(np.random.default_rng(20_261_130), 200, 2.0)
    raster = surface_raster(lambda x, y: 1800 - 0.4 * x + 14 * np.sin(y / 40) + noise)
    plots = [square(raster, x, y, 110) for x, y in product((-200, 0, 200), repeat=2)]
    return raster, plots


def run(
    raster: ArrayElevation,
    plots: list,
    book=None,
    standing=None,
    *,
    planted=None,
    flow_strip_m2=0.0,
    falls=(np.nan, None),
    **sections,
):
    """Measure plots and guide their rows."""
    plan = plan_of(**sections)
    ground, _ = measured(raster, plots, plan)
    ground["slope_used_pct"] = ground["slope_corrected_pct"]
    outlines = np.array(plots, dtype=object)
    centre = shapely.centroid(outlines)
    lonlat = Transformer.from_crs(raster.grid.crs, 4326, always_xy=True)
    longitude, latitude = lonlat.transform(shapely.get_x(centre), shapely.get_y(centre))
    table = pd.DataFrame(
        {
            "plot_id": [f"P{i}" for i in range(len(plots))],
            "longitude_deg": longitude,
            "latitude_deg": latitude,
            "geometry": outlines,
            "planted": pd.Series(planted or plots, dtype=object),
            "standing": standing or [None] * len(plots),
            "wet": [None] * len(plots),
            "flow_strip_m2": flow_strip_m2,
            "row_grade_design_pct": falls[0],
            "row_fall_to": falls[1],
        }
    )
    table = table.merge(ground, on="plot_id", validate="one_to_one")
    found = rows.guide_lines(table, raster, plan, book or handbook.packaged())
    return ground, found


def test_a_cone_gets_arcs_around_its_apex():
    raster = surface_raster(cone)
    plots = [square(raster, x, y, 90) for x, y in product((-60, -20), (-150, 0, 150))]
    ground, found = run(raster, plots)
    assert (ground["row_method"] == "guide lines").all()
    assert (found.plots["guide_kind"] == "arc").all()
    x0, y0 = middle(raster)
    apex = shapely.Point(x0 + 100, y0)
    for line in found.lines.itertuples():
        away = shapely.distance(shapely.points(shapely.get_coordinates(line.geometry)), apex)
        assert np.ptp(away) < 0.05 * away.mean()
        assert line.line_radius_m == pytest.approx(away.mean(), rel=0.05)
        assert line.line_centre_side == "uphill"
        halfway = line.geometry.interpolate(0.5, normalized=True)
        outward = np.degrees(np.arctan2(halfway.x - apex.x, halfway.y - apex.y))
        assert abs((line.line_downhill_true_deg - outward + 180) % 360 - 180) < 3
        assert line.peg_offset_m == pytest.approx(line.peg_step_m**2 / line.line_radius_m)
    back = Transformer.from_crs(4326, raster.grid.crs, always_xy=True)
    centre = ground[["row_arc_centre_longitude_deg", "row_arc_centre_latitude_deg"]].to_numpy()
    x, y = back.transform(*centre.T)
    assert np.hypot(x - apex.x, y - apex.y).max() < 2


@pytest.mark.parametrize(("end", "north"), [("north end", 1), ("south end", -1)])
@pytest.mark.parametrize("form", [cone, pytest.param(ridges, marks=pytest.mark.slow)])
def test_guide_lines_fall_by_their_design_to_the_end_that_they_are_to(form, end, north):
    raster = surface_raster(form)
    plots = [square(raster, x, 0, 90) for x in (-150, 0)]
    ground, found = run(raster, plots, falls=(0.5, end))
    level = run(raster, plots)[1]
    bearing = np.radians(ground["row_bearing_grid_deg"])
    ways = dict(
        zip(ground["plot_id"], np.column_stack([np.sin(bearing), np.cos(bearing)]), strict=True)
    )
    drawn = found.lines[found.lines.geometry.notna()]
    assert set(drawn["plot_id"]) == set(level.lines["plot_id"])
    assert drawn["line_fall_pct"].to_numpy() == pytest.approx(0.5)
    assert (level.lines["line_fall_pct"] == 0).all()
    x0, y0 = middle(raster)
    fallen = {}
    for name, table in (("falling", drawn), ("level", level.lines)):
        grades = []
        for line in table[table.geometry.notna()].itertuples():
            at = shapely.get_coordinates(line.geometry)[[0, -1]]
            heights = form(*(at - [x0, y0]).T)
            way = ways[line.plot_id] * north * np.sign(ways[line.plot_id][1])
            grades.append(-np.diff(heights)[0] / ((at[1] - at[0]) @ way))
        fallen[name] = np.mean(grades)
    # A metre on falls by the design, along a level line by nothing but the raster's smoothing.
    assert 100 * (fallen["falling"] - fallen["level"]) == pytest.approx(0.5, abs=0.12)
    ends = np.array([shapely.get_coordinates(line)[[0, -1], 1] for line in drawn.geometry])
    assert (north * np.diff(ends, axis=1) > 0).all()


def test_a_line_that_is_to_fall_is_broken_where_it_turns_back():
    turn = np.radians(np.arange(0, 361, 5))
    ring = 30 * np.column_stack([np.cos(turn), np.sin(turn)])
    parts = lines.one_way(ring, (0.0, 0.01), 5.0)
    assert len(parts) == 3
    assert sum(len(part) - 1 for part in parts) == len(ring) - 1
    assert all(len({*np.sign(np.diff(part[:, 1]))}) == 1 for part in parts)
    assert lines.one_way(ring, lines.LEVEL, 5.0)[0] is ring
    # What is left of a short turn isn't worth a line.
    assert len(lines.one_way(ring[: len(ring) // 2 + 2], (0.0, 0.01), 90.0)) == 1


def test_no_arc_is_drawn_where_the_bend_may_be_the_rasters_error(monkeypatch):
    book = renumbered("guide_line_limits", "bend_se", 1e9)
    monkeypatch.setattr("tests.conftest.handbook.packaged", lambda: book)
    raster = surface_raster(cone)
    ground, found = run(raster, [square(raster, -20, 0)], book, elevation={"vertical_error_m": 0.1})
    assert ground["row_method"].tolist() == ["guide lines"]
    assert found.plots["guide_kind"].tolist() != ["arc"]


def test_only_plots_of_that_method_get_lines():
    raster = surface_raster(lambda x, y: np.where(x < 0, -0.2 * x, -0.2 * np.hypot(x - 300, y)))
    plots = [square(raster, -500, 0), square(raster, 350, 200), square(raster, -500, 300, 15)]
    ground, found = run(raster, plots)
    assert ground["row_method"].tolist() == ["straight", "guide lines", "measure on the ground"]
    assert found.plots["guide_kind"].notna().tolist() == [False, True, False]
    assert set(found.lines["plot_id"]) == {"P1"}
    assert found.plots.loc[0].drop(["plot_id", "guide_flags"]).isna().all()


def test_columns_agree_with_lines_and_pegs():
    raster = surface_raster(ridges)
    plots = [square(raster, x, y, 60) for x, y in product((-300, 0), (-300, 0, 300))]
    _, found = run(raster, plots)
    known = found.plots[found.plots["guide_kind"].notna()]
    assert len(known) >= 4
    counts = found.lines.groupby("plot_id").size()
    assert known.set_index("plot_id")["guide_lines"].astype(int).to_dict() == counts.to_dict()
    drawn = found.lines[found.lines.geometry.notna()]
    assert len(drawn)
    for line in drawn.itertuples():
        pegs = found.pegs[(found.pegs.plot_id == line.plot_id) & (found.pegs.line == line.line)]
        assert pegs["peg"].tolist() == list(range(1, len(pegs) + 1))
        assert pegs["peg_along_m"].max() == pytest.approx(line.line_length_m)
        first, *_, last = shapely.get_coordinates(line.geometry)
        assert np.allclose(shapely.get_coordinates(pegs.geometry.iloc[0]), first)
        assert np.allclose(shapely.get_coordinates(pegs.geometry.iloc[-1]), last)
        plot = plots[int(line.plot_id[1:])]
        assert plot.buffer(1e-3).contains(line.geometry)


def test_parts_of_a_plot_are_told_apart_by_lines():
    """On the raster's grid, within the plot: one line where a spur is cut in two."""
    raster = surface_raster(lambda x, y: 1800 - 0.15 * x - 0.15 * (np.hypot(y, 6) - 6))
    plots = [square(raster, 0, 20, 90)]
    _, found = run(raster, plots, rows={"within_share_min": 0.7})
    assert found.plots["guide_kind"].tolist() == ["arc sectors"]
    (line,) = found.boundaries.itertuples()
    assert plots[0].buffer(1e-6).covers(line.geometry)
    assert line.part_boundary_m == pytest.approx(line.geometry.length)
    assert line.part_boundary_m == pytest.approx(90, abs=2)
    # Along the crest, from which the land falls to both sides.
    away = shapely.get_coordinates(line.geometry)[:, 1] - middle(raster)[1]
    assert np.abs(away).max() < 8
    _, whole = run(surface_raster(cone), plots)
    assert whole.boundaries.empty


def test_the_tie_leads_from_its_corner_to_the_start():
    raster = surface_raster(cone)
    plot = shapely.affinity.rotate(square(raster, -60, 0, 90), 20)
    _, found = run(raster, [plot])
    ring = shapely.get_exterior_ring(shapely.orient_polygons(plot))
    corners = np.asarray(ring.coords)[:-1]
    back = Transformer.from_crs(4326, raster.grid.crs, always_xy=True)
    for line in found.lines.itertuples():
        sign = {"south": -1, "north": 1, "west": -1, "east": 1}
        up, right = (sign[word] for word in line.start_corner.split("-"))
        corner = corners[np.argmax(corners @ [right, up])]
        run_m = line.start_from_corner_m * (-1 if line.start_way == "clockwise" else 1)
        at = (ring.project(shapely.Point(corner)) + run_m) % ring.length
        x, y = back.transform(line.start_longitude_deg, line.start_latitude_deg)
        # The tape lies on ground of 20 % slope, the ring on the map.
        assert ring.interpolate(at).distance(shapely.Point(x, y)) < 0.03 * abs(run_m) + 0.1
        assert line.start_inside_m == 0
        assert np.isnan(line.start_inside_true_deg)


def test_in_degrees_it_is_the_same_land():
    """The cone again on a raster in degrees: the same radius in metres."""
    metre = 1 / 111_320.0
    cells = 300
    grid = Grid(36.0, -1.0, 10 * metre, 10 * metre, cells, cells, CRS.from_epsg(4326))
    place = (np.arange(cells) + 0.5 - cells / 2) * 10
    x, y = np.meshgrid(place, -place)
    raster = ArrayElevation(grid, cone(x, y))
    at = 36.0 + (cells / 2 * 10 - 60) * metre, -1.0 - cells / 2 * 10 * metre
    half = 45 * metre
    plot = shapely.box(at[0] - half, at[1] - half, at[0] + half, at[1] + half)
    _, found = run(raster, [plot])
    assert found.plots["guide_kind"].tolist() == ["arc"]
    assert found.lines["line_radius_m"].iloc[0] == pytest.approx(160, rel=0.03)
    assert found.crs == grid.crs


def test_a_plot_in_a_gap_is_levelled_on_the_ground():
    raster = surface_raster(cone)
    plots = [square(raster, -60, y, 90) for y in (0, -200)]
    raster.heights = raster.heights.copy()
    raster.heights[90:110, 83:88] = np.nan  # beside the first plot, 85 to 125 m west of it
    ground, found = run(raster, plots)
    assert (ground["row_method"] == "guide lines").all()
    assert found.plots["guide_kind"].tolist()[0] == "level on the ground"
    assert np.isnan(found.plots["guide_floor_pct"].iloc[0])
    lines = found.lines[found.lines["plot_id"] == "P0"]
    assert len(lines)
    assert lines.geometry.isna().all()
    assert (lines["start_inside_m"] > 10).any()


def test_a_window_at_the_rasters_edge_is_cut():
    raster = surface_raster(lambda x, y: cone(x + 850, y))
    ground, found = run(raster, [square(raster, -950, 0, 80)])
    assert ground["row_method"].tolist() == ["guide lines"]
    assert found.plots["guide_kind"].notna().all()


@pytest.mark.parametrize(("sigma", "sure"), [(0.35, True), (0.45, False), (0.75, False)])
def test_where_the_raster_errs_more_than_the_limit_no_curve_is_drawn(sigma, sure):
    """Errors that cost a little less than the limit, a little more, and nearly twice as much."""
    error = {"vertical_error_m": sigma, "error_correlation_m": 20.0}
    ground, found = run(*rough(sigma), elevation=error)
    told = found.plots.merge(found.lines.drop(columns="guide_kind"), on="plot_id")
    told = told.merge(ground[["plot_id", "row_grade_limit_pct"]], on="plot_id")
    beyond = told["guide_floor_pct"] / told["row_grade_limit_pct"]
    assert len(told) >= 9
    assert beyond.between(*((0.8, 1.0) if sure else (1.0, 2.0))).all()
    assert (told["guide_kind"] == "level on the ground").eq(not sure).all()
    assert told["geometry"].isna().eq(not sure).all()


# Side of the plots and slope; standard deviation and length of the error, near what decides: here
# the bearing is sure enough, and the raster shows a bend that may all be its error.
PLANES = (
    (80, 0.25, 0.1, 0.0),
    (80, 0.06, 0.3, 0.0),
    (80, 0.25, 2.0, 0.0),
    (80, 0.06, 0.5, 20.0),
    (120, 0.25, 1.0, 20.0),
    (120, 0.1, 1.0, 60.0),
)


def noisy(form, sigma: float, length: float, seed: int, side: float = 80, apart: int = 250):
    """Guide plots on a form under noise, far enough apart to be seeds of their own."""
    noise = sigma * correlated(np.random.default_rng(seed), 200, length / 10)
    raster = surface_raster(lambda x, y: form(x, y) + noise)
    places = product(range(-750, 751, apart), repeat=2)
    plots = [shapely.affinity.rotate(square(raster, x, y, side), x) for x, y in places]
    error = {"vertical_error_m": sigma, "error_correlation_m": length}
    return run(raster, plots, elevation=error)


@pytest.mark.parametrize(("side", "slope", "sigma", "length"), PLANES)
def test_a_noisy_plane_gets_no_guide_line(side, slope, sigma, length):
    """In at least 19 of 20 seeds, from raster to lines."""
    drawn = []
    for seed in (1, 2):
        _, found = noisy(lambda x, y: slope * x, sigma, length, 20_261_140 + seed, side)
        told = found.plots["guide_kind"]
        drawn += (told.notna() & (told != "straight")).tolist()
    assert len(drawn) == 98
    assert np.mean(drawn) <= 0.05


@pytest.mark.parametrize(("sigma", "length"), [(0.1, 0.0), (0.3, 0.0), (0.2, 30.0)])
def test_a_noisy_cone_gets_one(sigma, length):
    """Plots that each lie 90 m from an apex of their own."""

    def cones(x, y):
        return -0.3 * np.hypot((x + 125) % 250 - 125 + 90, (y + 125) % 250 - 125)

    _, found = noisy(cones, sigma, length, 20_261_142, apart=500)
    told = found.plots["guide_kind"]
    assert len(told) == 16
    assert (told.notna() & (told != "straight")).mean() >= 0.95


def test_large_windows_are_averaged_alike(monkeypatch):
    raster = surface_raster(cone)
    plots = [square(raster, -60, 0, 90)]
    _, own = run(raster, plots)
    monkeypatch.setattr(around, "SIDE_MAX", 8)
    _, coarse = run(raster, plots)
    assert coarse.lines["line_radius_m"].iloc[0] == pytest.approx(
        own.lines["line_radius_m"].iloc[0], rel=0.05
    )
    monkeypatch.setattr(around, "READ_MAX", 4)
    _, unread = run(raster, plots)
    assert unread.plots["guide_kind"].tolist() == ["level on the ground"]


@pytest.mark.parametrize(
    ("length", "step", "share"), [(0.0, 3, 1 / 3), (1e6, 3, 1.0), (30.0, 2, 0.973)]
)
def test_the_error_of_averaged_heights(length, step, share):
    frame = around.Frame(surface_raster(cone).grid, 0, 0, 10.0, 10.0)
    found = around._averaged(around.Error(2.0, length), step, frame)
    assert found.sigma_m == pytest.approx(2.0 * share, rel=1e-2)


def test_no_plots_of_that_method_at_all():
    raster = surface_raster(lambda x, y: 0.2 * x)
    _, found = run(raster, [square(raster)])
    assert len(found.lines) == len(found.pegs) == 0
    assert found.plots["guide_kind"].isna().all()


NUMBERS = {
    "within_share_min": 0.3, "sag_max_cm": 0.2, "sectors_max": 1.0, "sector_share_min": 0.45,
    "slack_times": 0.3, "level_error_pct": 3.0, "window_margin_m": 90.0,
    "window_margin_cells": 9.0, "known_share_min": 0.999, "rows_between_min": 60.0,
    "rows_between_on_ground": 5.0, "row_gap_most_cm": 52.0, "row_gap_least_cm": 48.0,
    "string_grade_pct": 0.05, "line_length_min_m": 40.0, "bend_se": 1e9,
}  # fmt: skip


def outcome(book=None) -> str:
    """All that is said of plots on a cone, on spurs, on ridges, and on rough land in doubt."""
    said = []
    ridged = surface_raster(ridges)
    ridged.heights = ridged.heights.copy()
    ridged.heights[96, 92] = np.nan
    spurred = surface_raster(lambda x, y: 1800 - 0.15 * x - 0.06 * np.hypot(y % 300 - 150, 3))
    plots = [square(ridged, x, y, 90) for x, y in product((-300, 0, 300), (0, 300))]
    notch = [shapely.affinity.scale(plot, 1, 0.3) for plot in plots]
    notch = [shapely.affinity.translate(part, 45, 0) for part in notch]
    bent = [shapely.difference(*both) for both in zip(plots, notch, strict=True)]
    plots += [square(ridged, -60, y, 90) for y in (-130, 0, 130)]
    error = {"vertical_error_m": 1.0, "error_correlation_m": 20.0}
    for raster, where, sections in (
        (surface_raster(cone), plots, {}),
        (ridged, plots + bent, {}),
        (spurred, plots, {}),
        (*rough(1.0), {"elevation": error}),
    ):
        ground, found = run(raster, where, book, **sections)
        told = (ground, found.plots, found.lines, found.pegs)
        said += [table.drop(columns="geometry", errors="ignore").to_json() for table in told]
    return "\n".join(said)


@pytest.fixture(scope="module")
def usual():
    return outcome()


def test_every_number_is_tried():
    assert set(NUMBERS) == set(handbook.packaged().rows("guide_line_limits")["name"])


@pytest.mark.slow
@pytest.mark.parametrize("name", NUMBERS)
def test_every_number_changes_something(name, usual, monkeypatch):
    book = renumbered("guide_line_limits", name, NUMBERS[name])
    for place in ("tests.conftest.handbook.packaged", "districtplan.plan.packaged"):
        monkeypatch.setattr(place, lambda: book)
    changed = outcome(book) != usual
    assert changed


@pytest.mark.parametrize(("key", "value"), [("within_share_min", 0.3), ("sag_max_cm", 0.1)])
def test_every_plan_key_changes_something(key, value):
    raster = surface_raster(lambda x, y: cone(x, y) + 0.2 * np.sin(y / 12))
    plots = [square(raster, -60, y, 90) for y in (-150, 0, 150)]
    own, other = (run(raster, plots, **asked)[1] for asked in ({}, {"rows": {key: value}}))
    assert (
        len(own.lines) != len(other.lines)
        or own.lines["guide_kind"].ne(other.lines["guide_kind"]).any()
    )


# ---------------------------------------------------------------- structures that stand


def bow(raster, radius, shift=0.0, span=0.45):
    """A line around the apex of the cone, or beside it."""
    x0, y0 = middle(raster)
    turn = np.linspace(np.pi - span, np.pi + span, 60)
    return shapely.LineString(
        np.column_stack([x0 + 100 + radius * np.cos(turn), y0 + shift + radius * np.sin(turn)])
    )


def test_a_structure_along_the_contour_guides_the_rows_and_no_other_line_does():
    raster = surface_raster(cone)
    plot = square(raster, -20, 0, 90)
    _, alone = run(raster, [plot])
    assert alone.plots["guide_kind"].tolist() == ["arc"]
    strip = bow(raster, 130)
    inside = shapely.MultiLineString([shapely.intersection(strip, plot)])
    _, found = run(raster, [plot], standing=[inside])
    assert found.plots["guide_kind"].tolist() == ["standing structures"]
    assert len(found.lines) == 1
    assert shapely.hausdorff_distance(found.lines["geometry"].iloc[0], inside) < 0.1
    # On the cone rows beside a circle are circles: all within the limit.
    assert found.plots["row_within_guided_share"].iloc[0] > 0.9
    # Rows to both edges: downhill 45 m less what lies inside, on the ground half a metre apart.
    between = found.lines[["rows_downhill", "rows_uphill"]].iloc[0]
    assert between.sum() == pytest.approx(90 * np.hypot(1, 0.25) / 0.5, rel=0.15)


@pytest.mark.parametrize(
    ("radius", "shift", "span"), [(130, 0.0, 0.06), (130, 60.0, 0.9)], ids=["short", "off"]
)
def test_a_structure_that_is_short_or_off_the_contour_guides_nothing(radius, shift, span):
    raster = surface_raster(cone)
    plot = square(raster, -20, 0, 90)
    strip = shapely.intersection(bow(raster, radius, shift, span), plot)
    assert not strip.is_empty
    _, found = run(raster, [plot], standing=[shapely.MultiLineString([strip])])
    assert found.plots["guide_kind"].tolist() == ["arc"]
    # One that rows could follow is told of, with what it would cost.
    (flags,) = found.plots["guide_flags"]
    assert flags == (("structure_not_followed",) if shift else ())
    (grade,) = found.plots["row_grade_structure_rms_pct"]
    assert np.isnan(grade) == (not shift)
    assert not grade <= 5


def test_structures_are_found_in_their_plots():
    raster = surface_raster(cone)
    plots = [square(raster, -60, y, 90) for y in (-150, 0, 150)]
    x0, y0 = middle(raster)
    across = shapely.LineString([(x0 - 200, y0), (x0 + 200, y0)])
    beside = shapely.box(x0 - 90, y0 + 140, x0 - 30, y0 + 142)
    features = pd.DataFrame(
        {
            "kind": ["grass strip", "path", "bank"],
            "geometry": pd.Series([across, across, beside], dtype=object),
        }
    )
    table = pd.DataFrame({"geometry": pd.Series(plots, dtype=object)})
    crs = raster.grid.crs
    added = rows.with_standing(table, np.array(plots, dtype=object), features, crs, crs)
    assert added["planted"].tolist() == plots
    found = added["standing"]
    assert found.isna().tolist() == [True, False, True]
    assert found[1].length == pytest.approx(90)


@pytest.mark.parametrize("surface", [cone, ridges], ids=["arc", "level lines"])
def test_no_guide_line_crosses_a_strip(surface):
    raster = surface_raster(surface)
    x0, y0 = middle(raster)
    plots = [square(raster, -20, 0, 60)]
    strip = shapely.box(x0 - 200, y0 + 8, x0 + 200, y0 + 12)
    planted = [shapely.difference(plots[0], strip)]
    _, across = run(raster, plots)
    _, found = run(raster, plots, planted=planted)
    assert any(shapely.intersects(line, strip) for line in across.lines["geometry"])
    assert len(found.lines)
    for line in found.lines["geometry"]:
        assert shapely.intersection(line, strip.buffer(-0.01)).is_empty
    # Places are still told from the corners of the whole plot.
    assert found.lines["start_from_corner_m"].notna().all()


def test_no_guide_line_is_drawn_where_water_runs_on_a_way_that_is_not_known():
    raster = surface_raster(cone)
    plots = [square(raster, x, 0, 90) for x in (-60, -20)]
    strip = shapely.MultiLineString([shapely.intersection(bow(raster, 130), plots[1])])
    _, found = run(raster, plots, standing=[None, strip], flow_strip_m2=np.nan)
    assert found.plots["guide_kind"].tolist() == ["level on the ground"] * 2
    assert len(found.lines) >= 2
    assert found.lines["geometry"].isna().all()
    assert found.rows.empty


def test_as_many_level_lines_are_set_as_keep_the_rows_that_are_drawn_within_the_limit(monkeypatch):
    raster = surface_raster(ridges)
    plots = [square(raster, 150, y, 90) for y in (-150, 0)]
    _, found = run(raster, plots)
    leveled = found.plots["guide_kind"] == "level lines"
    assert leveled.any()
    usual = ladder.guide

    def by_lines_alone(*given, **asked):
        *others, limits = given
        return usual(*others, replace(limits, walk=None), **asked)

    monkeypatch.setattr(ladder, "guide", by_lines_alone)
    _, fewer = run(raster, plots)
    both = leveled & (fewer.plots["guide_kind"] == "level lines")
    told, alone = (
        table.plots.loc[both, ["row_within_guided_share", "guide_lines"]]
        for table in (found, fewer)
    )
    assert (told >= alone).all(axis=None)
    assert (told > alone).any(axis=None)
    assert (told["row_within_guided_share"] >= 0.9).all()
