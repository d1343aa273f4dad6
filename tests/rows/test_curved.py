"""Rows along guide lines: level where the lines are, as long as the land is wide, inside it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan import rows
from districtplan.rows import curved, ladder, level_lines, lines, sag, sectors, straight, surface
from districtplan.rows.band import Family
from districtplan.rows.curved import Rule
from districtplan.rows.level_lines import LevelLines
from tests.rows.test_ladder import LIMITS, PLOT, SETTING, TRUE, cone, plane, wavy, window

BEANS = Family("beans", 0.25, 0.5, 0.1)
RULE = Rule((BEANS,), 1.0, 1, 0.05, 0.0)
BAND = Rule((Family("maize", 0.2, 1.5, 0.3), Family("beans", 0.7, 1.5, 0.1)), 1.0, 1, 0.05, 0.0)
HOLED = shapely.difference(PLOT, shapely.Point(5, 10).buffer(6))
PARTS = shapely.MultiPolygon([shapely.box(-25, -30, -2, 30), shapely.box(3, -30, 25, 10)])
L_SHAPE = shapely.difference(PLOT, shapely.box(0, 0, 30, 40))


def along(form, land=PLOT, rule=RULE, plot=PLOT, **changed):
    guide = ladder.guide(plot, surface.fit(window(form), TRUE), None, replace(LIMITS, **changed))
    return guide, curved.follow(guide, land, rule)


def spur(x, y):
    return -0.15 * x - 0.15 * (np.hypot(y, 3) - 3)


@pytest.mark.parametrize("land", [PLOT, HOLED, PARTS, L_SHAPE], ids=["whole", "hole", "parts", "L"])
def test_circles_on_a_cone_are_those_of_an_independent_drawing(land):
    """Against the outlines of discs, clipped; our chords lie up to a centimetre inside."""
    guide, found = along(cone, land)
    (line,) = guide.lines if land is PLOT else guide.lines[:1]
    apart = 0.5 / np.hypot(1, guide.ground.slope)
    (part,) = guide.rows
    anchor = np.median(part.rows.across(guide.ground.xy))
    centre = shapely.Point(part.rows.centre)
    assert anchor == pytest.approx(line.radius_m)
    radii = anchor + apart * np.arange(-200, 201)
    discs = [centre.buffer(r, quad_segs=2_000).exterior for r in radii if r > 0.1]
    lengths = shapely.length(shapely.intersection(np.array(discs), land))
    assert found.length_m.sum() == pytest.approx(lengths.sum(), rel=3e-4)
    assert len(np.unique(found.row)) == (lengths > 1e-3).sum()


def test_rows_along_an_arc_are_level_and_straight_ones_are_not():
    guide, found = along(cone)
    falls = [np.ptp(guide.ground.height(shapely.get_coordinates(row))) for row in found.course]
    assert np.max(falls) < 0.05 * 0.25 * 50
    straight_guide, standing = along(cone, within=0.0)
    assert straight_guide.kind == "straight"
    steep = [
        np.ptp(straight_guide.ground.height(shapely.get_coordinates(row)))
        for row in standing.course
    ]
    assert np.max(steep) > 5 * np.max(falls)


def test_on_a_plane_rows_are_those_of_the_straight_layout():
    """Another code lays straight rows; both fill the same land, started elsewhere."""
    guide, found = along(plane)
    assert guide.kind == "straight"
    angle = guide.rows[0].rows.angle
    apart = 0.5 / np.hypot(1, guide.ground.slope)
    land = straight.Land.of(np.array([PLOT]), np.zeros((1, 2)), np.ones(1))
    bearing = np.array([90 - np.degrees(angle)])
    layout = straight.Layout(bearing, np.ones(1), np.array([apart]), np.array([apart / 2]))
    counts = straight.count(land, layout, 0.1, 1.0)
    own = curved.count(found, RULE, "beans")
    assert own.length_m == pytest.approx(counts.length_m[0], rel=0.01)
    assert abs(own.rows + own.short - counts.rows[0] - counts.short[0]) <= 1
    assert own.holes == pytest.approx(counts.holes[0], rel=0.01)


def test_rows_between_level_lines_keep_their_distance():
    """Rows lie as far apart as the gap table allows, 40 to 60 cm, and leave no land out."""
    guide, found = along(wavy)
    assert guide.kind == "level lines"
    tree = shapely.STRtree(found.course)
    middles = shapely.line_interpolate_point(found.course, 0.37, normalized=True)
    apart = []
    for number, middle in enumerate(middles):
        near = tree.query(middle, "dwithin", 2.0)
        apart.append(shapely.distance(found.course[near[near != number]], middle).min(initial=2.0))
    # On the map, where rows are a little nearer than on the ground.
    assert np.quantile(apart, 0.1) > 0.3
    # Wider only at seams, where shared rows meet parallels.
    assert np.quantile(apart, 0.98) < 0.7
    places = np.random.default_rng(20_261_131).uniform([-25, -30], [25, 30], (4_000, 2))
    _, gaps = tree.query_nearest(shapely.points(places), return_distance=True, all_matches=False)
    assert np.quantile(gaps, 0.99) < 0.35


@pytest.mark.parametrize("seed", [13, 28, 44, 113, 119, 127, 149])
def test_each_piece_of_land_has_rows_once(seed):
    """On rolling land in plots of all shapes: as many metres as there is land, and none crosses."""
    rng = np.random.default_rng(seed)
    phase = rng.uniform(0, 2 * np.pi, 3)

    def rolling(x, y):
        hills = 8 * np.sin(x / 60 + phase[0]) * np.cos(y / 70 + phase[1])
        return 0.12 * x + 0.05 * y + hills + 2 * np.sin(x / 31 + y / 40 + phase[2])

    count = rng.integers(4, 10)
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False) + rng.uniform(0, 0.4, count)
    reach = rng.uniform(25, 50)
    plot = shapely.MultiPoint(reach * np.column_stack([np.cos(turn), np.sin(turn)])).convex_hull
    guide, found = along(rolling, plot, plot=plot)
    whole = plot.area * np.hypot(1, guide.ground.slope) / 0.5
    assert found.length_m.sum() == pytest.approx(whole, rel=0.05)
    crossing = shapely.STRtree(found.course).query(found.course, "crosses")
    assert crossing.size == 0


def test_grades_are_those_of_the_rows_as_drawn():
    """Straight rows laid over a wavy slope in place of its own are told to be steep."""
    guide, found = along(wavy)
    own = curved.walked(found, guide, 0.02, 0.0)
    assert own.within > guide.straight.within
    across = np.array([shapely.LineString([(-20, y), (20, y)]) for y in range(-20, 21, 10)])
    steep = curved.walked(found._replace(course=across), guide, 0.02, 0.0)
    xy = np.stack(np.meshgrid(np.arange(-20, 21), np.arange(-20, 21, 10)), -1).reshape(5, 41, 2)
    rise = np.diff(guide.ground.height(xy.reshape(-1, 2)).reshape(5, 41), axis=1)
    assert steep.rms == pytest.approx(np.sqrt(np.mean(rise**2)))
    assert steep.within == pytest.approx(np.mean(np.abs(rise) <= 0.02))


def test_a_gap_ends_where_another_arm_or_the_edge_lies_between():
    lower = np.array([[0.0, 0.0], [40.0, 0.0]])
    upper = np.array([[0.0, 10.0], [40.0, 10.0]])
    arm = np.array([[10.0, 5.0], [20.0, 5.0]])
    steep = np.array([[0.0, 10.0], [40.0, 40.0]])
    bay = shapely.difference(shapely.box(-1, -1, 41, 41), shapely.box(26, 2, 34, 4))
    along_m = np.array([5.0, 15.0, 25.0, 30.0, 35.0])
    levels = LevelLines((0.0, 1.0), ((lower, arm), (upper,)))
    found = level_lines.facing(lower, along_m, (upper,), level_lines.Land(bay, levels))
    assert np.isnan(found[:, 0]).tolist() == [False, True, False, True, False]
    assert found[[0, 2, 4]].tolist() == [[5, 10], [25, 10], [35, 10]]
    apart = LevelLines((0.0, 1.0), ((lower,), (steep,)))
    land = level_lines.Land(shapely.box(-1, -1, 41, 41), apart)
    assert np.isnan(level_lines.facing(lower, along_m, (steep,), land)).all()


def test_a_short_row_starts_and_ends_in_the_middle():
    lower = np.column_stack([np.arange(7.0), np.zeros(7)])
    upper = np.column_stack([np.arange(7.0), np.array([2, 2, 2, 3, 3, 2, 2.0])])
    found = curved._divided(lower, upper, np.array([3, 3, 3, 4, 4, 3, 3]))
    spans = sorted(tuple(np.asarray(row.coords)[[0, -1], 0]) for row in found)
    # The one that starts ends where the gap narrows again.
    assert [span for span in spans if span != (0.0, 6.0)] in ([(0.0, 4.0)], [(3.0, 4.0)])
    assert len(spans) == 4


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    land=st.sampled_from([PLOT, HOLED, PARTS, L_SHAPE]),
    # In centimetres: next to the smallest numbers there are, lines can't be cut at all.
    strip_cm=st.integers(-2_000, 2_000),
)
def test_no_row_leaves_the_planted_land_or_holds_water(seed, land, strip_cm):
    """On hills of random waves, with a strip taken across: neither strip nor hole is crossed."""
    rng = np.random.default_rng(seed)
    size, turn, phase = rng.uniform(8, 40, 6), rng.uniform(0, 7, 6), rng.uniform(0, 7, 6)
    tall = rng.uniform(0, 0.8, 6)

    def hill(x, y):
        waves = [
            t * np.sin((x * np.cos(a) + y * np.sin(a)) / s + p)
            for t, s, a, p in zip(tall, size, turn, phase, strict=True)
        ]
        return -0.2 * x + sum(waves)

    strip = strip_cm / 100
    planted = shapely.difference(land, shapely.box(strip, -40, strip + 2, 40))
    guide, found = along(hill, planted)
    if found is None:
        return
    grown = planted.buffer(1e-6)
    assert shapely.covers(grown, found.course).all()
    for course in found.course:
        heights = guide.ground.height(sag.walk(np.asarray(course.coords)))
        assert sag.depth(heights).max() <= 0.05 + 1e-3
    mean_m2 = planted.area * np.hypot(1, guide.ground.slope) / 0.5
    assert found.length_m.sum() == pytest.approx(mean_m2, rel=0.12)


def test_where_water_would_stand_rows_leave_a_gap_and_are_counted():
    """A trough across the rows of an arc: each row that crosses it is broken there once."""

    def hollow(x, y):
        return cone(x, y) - 0.3 * np.exp(-(((y - 8) / 2) ** 2))

    guide = along(cone)[0]
    guide = replace(guide, ground=guide.ground._replace(height=lambda xy: hollow(*xy.T)))
    whole = curved.follow(guide, PLOT, replace(RULE, sag_m=9.0))
    broken = curved.follow(guide, PLOT, replace(RULE, gap_m=1.2))
    assert (whole.breaks, broken.breaks) == (0, len(broken.course) - len(whole.course))
    assert broken.breaks > 50
    lost = whole.length_m.sum() - broken.length_m.sum()
    assert lost == pytest.approx(1.2 * broken.breaks, rel=0.02)
    cut = shapely.union_all(whole.course).difference(shapely.union_all(broken.course).buffer(1e-3))
    assert np.abs(shapely.get_coordinates(cut)[:, 1] - 8).max() < 4


def test_a_band_is_laid_along_arcs_and_not_in_gaps():
    guide, found = along(cone, rule=BAND)
    beans, maize = (curved.count(found, BAND, crop) for crop in ("beans", "maize"))
    assert beans.length_m == pytest.approx(maize.length_m, rel=0.03)
    assert beans.holes == pytest.approx(3 * maize.holes, rel=0.03)
    assert along(wavy, rule=BAND)[1] is None
    assert guide.kind == "arc"


def test_parts_have_circles_of_their_own():
    guide, found = along(spur, within=0.8)
    assert guide.kind == "arc sectors"
    whole = PLOT.area * np.hypot(1, guide.ground.slope) / 0.5
    assert found.length_m.sum() == pytest.approx(whole, rel=0.02)


@pytest.mark.parametrize("land", [PLOT, HOLED, L_SHAPE], ids=["whole", "hole", "L"])
@pytest.mark.parametrize("count", [1, 2, 3])
def test_lines_between_parts_are_where_the_parts_touch(land, count):
    """Against the edges of the parts themselves: what two of them have in common."""
    arc = ladder.straight_rows(PLOT)
    cuts = [sectors.Cut((0.8, 0.6), 2.0), sectors.Cut((-0.6, 0.8), 4.0)]
    parts = [
        [((), arc)],
        [(((cuts[0], True),), arc), (((cuts[0], False),), arc)],
        [
            (((cuts[0], True),), arc),
            (((cuts[0], False), (cuts[1], True)), arc),
            (((cuts[0], False), (cuts[1], False)), arc),
        ],
    ][count - 1]
    found = lines.between(land, tuple(sectors.Sector(*part) for part in parts))
    lands = [lines.part_of(land, sectors.Sector(*part)) for part in parts]
    around = sum(part.length for part in lands) - land.length
    drawn = shapely.MultiLineString(list(found))
    assert drawn.length == pytest.approx(around / 2, abs=1e-6)
    for piece in found:
        middle = shapely.Point(piece.mean(axis=0))
        assert sum(shapely.dwithin(middle, part, 1e-9) for part in lands) == 2


def beside_strips(apart_m, broad_m, left_m=2.0):
    """A plane with two strips along the contour that end some way before the plot does."""
    y = np.linspace(left_m - 30, 30 - left_m, 57)
    courses = [np.column_stack([np.full(57, x), y]) for x in (-apart_m / 2, apart_m / 2)]
    strips = [shapely.LineString(one).buffer(broad_m / 2, cap_style="flat") for one in courses]
    land = shapely.difference(PLOT, shapely.union_all(strips))
    ground = surface.fit(window(lambda x, y: -0.2 * x + 0 * y), TRUE)
    guide = ladder.beside(land, ground, tuple(courses), None, LIMITS).guide
    return guide, curved.follow(guide, land, RULE)


@pytest.mark.parametrize(
    ("apart_m", "broad_m", "between"),
    [(1.1, 1.0, 0), (1.0, 0.6, 0), (1.4, 1.0, 0), (1.7, 1.0, 2), (2.2, 1.0, 3)],
)
def test_no_row_stands_in_a_band_too_narrow_for_it(apart_m, broad_m, between):
    """Bands of 10 to 40 cm bear no hole; wider ones their rows."""
    guide, found = beside_strips(apart_m, broad_m)
    assert guide.kind == ladder.STANDING
    half = (apart_m - broad_m) / 2 + 0.01
    inside = shapely.covers(shapely.box(-half, -28.01, half, 28.01), found.course)
    assert inside.sum() == between
    assert found.length_m[inside].sum() == pytest.approx(56 * between, abs=0.1)


@pytest.mark.parametrize("left_m", [0.1, 0.2, 0.4])
def test_crumbs_between_shared_gaps_and_the_edge_bear_no_row(left_m):
    """Where strips end just before the plot does rows end with the gap, and no bits follow."""
    _, found = beside_strips(10.0, 1.0, left_m)
    assert len(found.row) > 90
    assert found.length_m.min() > 50


def test_land_wide_enough_for_a_row_is_areas_alone():
    """Overlays leave points and lines beside areas, and the next overlay fails on such a mix."""
    square, line = shapely.box(0, 0, 5, 5), shapely.LineString([(5, 1), (9, 1)])
    found = curved._areas(shapely.GeometryCollection([shapely.MultiPolygon([square]), line]))
    assert found.equals(shapely.MultiPolygon([square]))
    assert curved._areas(shapely.Point(1, 1)).is_empty
    tailed = shapely.union(square, shapely.box(5, 1, 9, 1.4))
    assert curved._wide(tailed, 0.5).area == pytest.approx(25, abs=1e-6)
    assert curved._wide(tailed, 0.3).area == pytest.approx(26.6, abs=1e-6)


def test_rows_are_numbered_from_the_uppermost():
    guide, found = along(cone)
    mean = [guide.ground.height(shapely.get_coordinates(row)).mean() for row in found.course]
    by_row = pd.Series(mean).groupby(found.row).mean()
    assert by_row.index.tolist() == list(range(1, len(by_row) + 1))
    assert (np.diff(by_row) < 0.05).all()


def test_where_nothing_is_planted_there_are_no_rows():
    _, found = along(cone, shapely.Polygon())
    assert len(found.row) == 0
    assert curved.count(found, RULE, "beans") == (0, 0, 0.0, 0)


def test_counts_take_the_place_of_straight_ones():
    table = pd.DataFrame(
        {
            "plot_id": ["A", "B"],
            "rows": pd.array([4, 5], dtype="Int64"),
            "short_rows": pd.array([0, 1], dtype="Int64"),
            "row_length_m": [40.0, 50.0],
            "holes": pd.array([400, 500], dtype="Int64"),
            "holes_basis": ["straight rows in place of curved ones", "straight rows"],
            "first_row_corner": ["north", "south"],
            "first_row_way": ["clockwise", "clockwise"],
            "first_row_start_m": [1.0, 2.0],
            "row_spacing_map_m": [0.5, 0.5],
            "row_breaks": pd.array([0, 3], dtype="Int64"),
            "row_gap_m2": [0.0, 1.5],
        }
    )
    counts = pd.DataFrame(
        [("A", "beans", 6, 2, 41.5, 417, 2)],
        columns=[
            "plot_id", "crop", "rows", "short_rows", "row_length_m", "holes", "row_breaks",
        ],
    )  # fmt: skip
    found = rows.with_curved(table, counts, 1.2).set_index("plot_id")
    assert found.loc["A", ["row_breaks", "row_gap_m2"]].tolist() == [2, pytest.approx(1.2)]
    assert found.loc["A", ["rows", "short_rows", "row_length_m", "holes"]].tolist() == [
        6, 2, 41.5, 417,
    ]  # fmt: skip
    assert found.loc["A", "holes_basis"] == "rows along guide lines"
    assert found.loc["A", ["first_row_corner", "first_row_way", "first_row_start_m"]].isna().all()
    assert found.loc["B"].tolist() == table.set_index("plot_id").loc["B"].tolist()
    assert SETTING.spaces.usual_m == BEANS.spacing_m
