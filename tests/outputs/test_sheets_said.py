"""What a plot sheet says, held to the drawing beside it and to literal cases."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import LineString, affinity

from districtplan.geodesy import reproject
from districtplan.outputs.sheets.build import common, sheets_of
from districtplan.outputs.sheets.pegs import reading_part
from districtplan.rows import Clear
from tests.outputs.conftest import pegs_of
from tests.outputs.test_sheets import sheet_with, wet

SIDES = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
WAY = re.compile(
    r"Peg (\d+): ([\d.]+) m \(\d+ paces?\) along the edge from corner ([A-H]) \(([a-z-]+)\), "
    r"the plot on your (left|right)(?:, then ([\d.]+) m straight into the plot)?"
)


def said_of(sheet) -> str:
    """All that the sheet says of setting out, in its order."""
    parts = (sheet.walk, sheet.totals, sheet.ties)
    return " ".join(said for part in parts if part is not None for said in part.sentences)


def pegged_across(results, texts, *lines, **values):
    """The sheet of plot A-01 with lines from one share of its edge to another."""
    plots = results.plots
    at = int(np.flatnonzero(plots["plot_id"] == "A-01")[0])
    outline = plots["geometry"].iloc[at]
    laid = []
    for shares in lines:
        ends = [outline.exterior.interpolate(share, normalized=True) for share in shares]
        laid.append(pegs_of("A-01", outline, shapely.get_coordinates(ends), 10.0))
    numbers = range(1, len(lines) + 1)
    table = pd.concat([one.table.assign(line=n) for n, one in zip(numbers, laid, strict=True)])
    walks = {("A-01", n): one.walks["A-01", 1] for n, one in zip(numbers, laid, strict=True)}
    pegs = dataclasses.replace(laid[0], table=table.reset_index(drop=True), walks=walks)
    return sheet_with(dataclasses.replace(results, pegs=pegs), texts, "A-01", **values)


@pytest.mark.parametrize(
    ("begin", "end", "hands"),
    [
        (0.1, 0.7, ("left", "left")),
        (0.18, 0.5, ("right", "right")),
        (0.5, 0.1, ("right", "left")),
        (0.9, 0.5, ("left", "right")),
    ],
)
def test_the_sentence_leads_to_the_pegs_of_the_drawing(small_results, texts, begin, end, hands):
    """From the lettered corner along the edge, the plot on the hand that is named."""
    sheet = pegged_across(small_results, texts, (begin, end))
    (ring,) = sheet.drawing.rings
    corners = {mark.sign: np.array(mark[:2]) for mark in sheet.drawing.corners}
    pegs = {mark.sign: np.array(mark[:2]) for mark in sheet.drawing.pegs}
    found = WAY.findall(said_of(sheet))
    assert [number for number, *_ in found] == ["1", str(len(pegs))]
    for number, metres, letter, side, hand, inside in found:
        angle = np.radians(45 * SIDES.index(side))
        reach = ring @ [np.sin(angle), np.cos(angle)]
        assert corners[letter] == pytest.approx(ring[reach.argmax()], abs=0.05)
        # With the plot on the left one goes anticlockwise.
        around = shapely.orient_polygons(shapely.Polygon(ring), exterior_cw=hand == "right")
        edge = around.exterior
        at = edge.interpolate((edge.project(shapely.Point(corners[letter])) + float(metres))
                              % edge.length)  # fmt: skip
        assert np.hypot(*(at.coords[0] - pegs[number])) <= 0.1 + float(inside or 0)
    assert tuple(hand for *_, hand, _ in found) == hands


def test_each_corner_has_a_letter_of_its_own_in_the_order_of_the_words(small_results, texts):
    sheet = pegged_across(small_results, texts, (0.1, 0.7), (0.7, 0.3), (0.5, 0.1))
    said = " ".join(sheet.ties.sentences)
    letters = [(letter, side) for _, _, letter, side, *_ in WAY.findall(said)]
    assert list(dict.fromkeys(letters)) == [
        ("A", "south-west"), ("B", "north"), ("C", "south-east"), ("D", "north-east"),
    ]  # fmt: skip
    assert [mark.sign for mark in sheet.drawing.corners] == list("ABCD")


def test_the_worst_line_tells_how_well_a_walk_closes(small_results, texts):
    (walk,) = small_results.pegs.walks.values()
    walks = [(n, dataclasses.replace(walk, closure_m=far)) for n, far in enumerate((0.4, 2.3, 1.1))]
    said = reading_part(small_results.pegs.table, tuple(walks), texts).sentences[0]
    assert "end some 2.3 m beside the last peg" in said


@pytest.mark.parametrize(
    ("row", "fall", "faced"),
    [
        # Looking uphill one walks to the right: land that falls south is walked eastwards.
        ((92.0, 13.0), 180.0, ("079", "east")),
        ((92.0, 13.0), 0.0, ("259", "west")),
        ((46.0, -20.0), 140.0, ("066", "north-east")),
        ((46.0, -20.0), 320.0, ("246", "south-west")),
        ((2.0, 8.0), 92.0, ("354", "north")),
    ],
)
def test_one_faces_a_magnetic_number_and_walks_to_a_true_side(
    small_results, texts, row, fall, faced
):
    """Bearing and declination of the row and the way downhill, the number and the side."""
    (true, declination), (ahead, side) = row, faced
    values = {
        "row_bearing_true_deg": true,
        "row_bearing_magnetic_deg": (true - declination) % 180,
        "declination_deg": declination,
        "downslope_true_deg": fall,
    }
    said = said_of(sheet_with(small_results, texts, "A-01", **values))
    assert f"Face {ahead}° by compass" in said
    assert f"towards the {side}." in said


@pytest.mark.parametrize(("turn", "side"), list(enumerate(SIDES)))
def test_a_line_of_pegs_is_walked_from_its_first_to_its_second(small_results, texts, turn, side):
    plots = small_results.plots
    at = int(np.flatnonzero(plots["plot_id"] == "109")[0])
    middle = np.array(plots["geometry"].iloc[at].centroid.coords[0])
    angle = np.radians(45 * turn)
    course = middle + np.outer([-15, 15], [np.sin(angle), np.cos(angle)])
    laid = pegs_of("109", plots["geometry"].iloc[at], course, 10.0)
    (sheet,) = sheets_of(dataclasses.replace(small_results, pegs=laid), texts, np.array([at]))
    assert f"at first towards the {side}." in said_of(sheet)


@pytest.mark.parametrize(("limit", "allowed"), [(2.0, "4"), (1.37, "2.7"), (0.64, "1.2")])
def test_what_the_ground_may_rise_is_the_limit_over_the_level_and_never_more(
    small_results, texts, limit, allowed
):
    """Over 2 m a percent is 2 cm; tenths are rounded down."""
    sheet = sheet_with(small_results, texts, "A-01", row_grade_limit_pct=limit)
    assert f"every 2 m. If the ground rises or sinks over {allowed} cm to the next," in said_of(
        sheet
    )


def drawn_rows(results, every, rows=20):
    """Rows of A-01 as a run that drew one of so many hands them on."""
    (outline,) = results.plots.loc[results.plots["plot_id"] == "A-01", "geometry"]
    west, south, east, _ = outline.bounds
    lines = [LineString([(west, south + row), (east, south + row)]) for row in range(1, rows + 1)]
    table = pd.DataFrame({"crop": "beans", "row": range(1, rows + 1), "geometry": lines})
    table = table.assign(plot_id="A-01", length_m=east - west)
    drawn = dataclasses.replace(results.row_lines, lines=table, every=every)
    return dataclasses.replace(results, row_lines=drawn)


@pytest.mark.parametrize(
    ("every", "said"), [(1, "Every row is drawn."), (3, "One row drawn of 3.")]
)
def test_rows_that_are_not_drawn_are_told(small_results, texts, every, said):
    note = sheet_with(drawn_rows(small_results, every), texts, "A-01").drawing_note
    assert note.startswith(said)


@pytest.mark.parametrize(
    ("short", "said"),
    [(0, "120, metres of row 1,234"), (7, "120, short ones 7, metres of row 1,234")],
)
def test_short_rows_are_told_beside_the_others(small_results, texts, short, said):
    values = {"short_rows": short, "rows": 120, "row_length_m": 1234.4, "holes": 12_344}
    whole = said_of(sheet_with(small_results, texts, "A-01", **values))
    assert f"In all: rows or parts of rows {said}, holes 12,344." in whole


@pytest.mark.parametrize(
    ("latitude", "longitude", "said"),
    [
        (-14.25, 31.5, "14.25000° S, 31.50000° E"),
        (14.25, -31.5, "14.25000° N, 31.50000° W"),
    ],
)
def test_a_plot_lies_on_its_side_of_the_globe(small_results, texts, latitude, longitude, said):
    values = {"latitude_deg": latitude, "longitude_deg": longitude}
    assert sheet_with(small_results, texts, "110", **values).facts.endswith(said)


def carried_pegs(sheet) -> int:
    (count,) = (int(one.amount) for one in sheet.carried if one.picture == "peg")
    return count


def test_pegs_to_carry_are_one_more_than_steps(small_results, texts):
    """30 m by steps of 2 m are 16 pegs, 31 m are 17, in legs of 10, 10 and 11 m too."""
    (outline,) = small_results.plots.loc[small_results.plots["plot_id"] == "A-01", "geometry"]
    x, y = outline.centroid.x, outline.centroid.y
    for metres, pegs in ((30.0, 16), (31.0, 17)):
        line = LineString([(x, y), (x + metres * 0.9996, y)])
        table = pd.DataFrame({"plot_id": ["A-01"], "crop": "beans", "row": 1, "length_m": metres,
                              "geometry": [line]})  # fmt: skip
        rows = dataclasses.replace(small_results.row_lines, lines=table)
        unpegged = sheet_with(dataclasses.replace(small_results, row_lines=rows), texts, "A-01")
        assert carried_pegs(unpegged) == pegs
        laid = pegs_of("A-01", outline, np.array(line.coords), 10.0)
        legs = laid.walks["A-01", 1].leg_m
        assert legs.sum() == metres
        pegged = sheet_with(dataclasses.replace(small_results, pegs=laid), texts, "A-01")
        assert carried_pegs(pegged) == sum(int(np.ceil(leg / 2)) for leg in legs) + 1


def test_weedings_follow_one_another(small_results, texts):
    said = common(small_results, texts).weedings.sentences
    days = [int(re.match(r"\D*(\d+) days", line)[1]) for line in said if " days" in line]
    assert days == [14, 28, 42]


def test_land_that_is_not_for_beans_says_so_first(small_results, texts):
    steep = ("perennials_only", "rows_alone_not_enough")
    alarms = {
        "110": (steep, "NOT FOR BEANS: too steep. The guidance here is perennial crops."),
        "B4": (("forest_only", *steep), "NOT FOR BEANS: too steep. The guidance here is forest."),
        "A-03": (steep[1:], "STEEP: rows alone do not hold the soil. A technician decides first."),
        "A-01": ((), None),
    }
    for plot_id, (flags, said) in alarms.items():
        assert sheet_with(small_results, texts, plot_id, erosion_flags=flags).alarm == said


@pytest.mark.parametrize(("error", "unsure"), [(4.9, False), (5.1, True)])
def test_a_bearing_is_unsure_from_five_degrees(small_results, texts, error, unsure):
    sheet = sheet_with(small_results, texts, "A-01", row_bearing_se_deg=error)
    assert any(note.startswith("Not sure to 5°.") for note in sheet.headline.notes) is unsure


@pytest.mark.parametrize(("turn", "side"), list(enumerate(SIDES)))
def test_the_hillside_falls_to_the_side_that_is_named(small_results, texts, turn, side):
    values = {"hillside_downslope_true_deg": 45.0 * turn + 20, "hillside_slope_pct": 14.0}
    (note,) = sheet_with(small_results, texts, "108", **values).headline.notes
    assert f"falls to the {side}: 14" in note


@pytest.mark.parametrize(("down", "drawn"), [(120.0, 100.0), (255.0, 280.0)])
def test_downhill_is_drawn_square_to_straight_rows(small_results, texts, down, drawn):
    values = {"row_bearing_true_deg": 10.0, "downslope_true_deg": down}
    assert sheet_with(small_results, texts, "A-01", **values).drawing.falls[0].true_deg == drawn


@pytest.mark.parametrize(("down", "each"), [(175.0, False), (165.0, True), (np.nan, True)])
def test_lines_that_one_arrow_would_leave_in_doubt_have_one_each(small_results, texts, down, each):
    drawing = sheet_with(small_results, texts, "<b>B2</b>", downslope_true_deg=down).drawing
    (fall,) = drawing.falls
    (line,) = drawing.guides
    if each:
        assert fall.true_deg == 200.0
        assert fall.at == pytest.approx(line[1], abs=0.01)
    else:
        assert (fall.true_deg, fall.at) == (down, None)


def test_what_lies_where_rows_fall_is_named(small_results, texts):
    values = {
        "row_low_end": "south end",
        "row_outlet": "latrine",
        "row_fall_pct": 1.23,
        "outlet_flags": (),
    }
    sheet = sheet_with(small_results, texts, "A-01", **values)
    assert (
        "rows fall to their south end, 1.2 m in 100 m: there is a latrine. Go and look before"
        in " ".join(sheet.water.sentences)
    )
    assert "Look where rows end" not in said_of(sheet)
    unknown = sheet_with(small_results, texts, "A-01", **values | {"row_outlet": "not known"})
    assert "What lies there isn't known: go and look. No row may fall to slipping ground" in (
        " ".join(unknown.water.sentences)
    )


@pytest.mark.parametrize(
    ("ahead", "behind", "said"),
    [
        (
            "neighbour",
            "neighbour",
            "5. Look where rows end (both: a neighbour's plot). Where one falls to slip",
        ),
        (
            "house",
            "not known",
            "5. Look where rows end (east: a house; west: not known). Where one falls",
        ),
        (
            "not known",
            "not known",
            "5. Look where rows end. Where one falls to slipping ground, house,",
        ),
        (None, None, "5. Look where rows end. Where one falls to slipping ground, house,"),
    ],
)
def test_both_ends_of_rows_are_looked_at_where_neither_is_known_to_be_low(
    small_results, texts, ahead, behind, said
):
    values = {
        "row_low_end": None,
        "row_end_ahead": ahead,
        "row_end_behind": behind,
        "row_bearing_true_deg": 92.0,
    }
    assert said in said_of(sheet_with(small_results, texts, "A-01", **values))


@pytest.mark.parametrize("shares", [(0.1, 0.7), (0.2, 0.6), (0.9, 0.4)])
def test_rows_beside_a_straight_line_are_those_that_fit_between_it_and_the_edge(
    small_results, texts, shares
):
    """Counted by moving the line over the outline, a row at a time, till it no longer meets it."""
    plots = small_results.plots.set_index("plot_id")
    outline = plots.loc["A-01", "geometry"]
    ends = [outline.exterior.interpolate(share, normalized=True) for share in shares]
    run = shapely.get_coordinates(ends)
    east, north = run[1] - run[0]
    aside = np.array([north, -east]) / np.hypot(east, north)
    long = LineString(np.vstack([run[0] - 9 * (run[1] - run[0]), run[1] + 9 * (run[1] - run[0])]))
    down_deg = np.degrees(np.arctan2(*aside))
    bearing = np.degrees(np.arctan2(east, north)) % 180
    values = {
        "row_spacing_map_m": 0.48,
        "slope_used_pct": 20.0,
        "downslope_true_deg": down_deg % 360,
        "row_bearing_true_deg": bearing,
    }
    counts = []
    for sign in (-1, 1):
        step, count = sign * 0.48 * aside, 0
        while affinity.translate(long, *(step * (count + 1))).intersects(outline):
            count += 1
        counts.append(count)
    laid = pegs_of("A-01", outline, run, 10.0)
    sheet = sheet_with(dataclasses.replace(small_results, pegs=laid), texts, "A-01", **values)
    found = re.search(
        r"about (\d+) uphill, (\d+) downhill\. Level one row in (\d+);", said_of(sheet)
    )
    assert [int(found[1]), int(found[2])] == pytest.approx(counts, abs=1)
    # 15 m on moderate slopes: A Community Guide to Environmental Health (Hesperian 2012), p. 291.
    assert int(found[3]) == 31


def test_lines_that_end_at_one_place_are_smoothed_and_others_stop(small_results, texts):
    meet = pegged_across(small_results, texts, (0.1, 0.7), (0.7, 0.3))
    assert "Smooth them where two lines' rows meet." not in said_of(meet)  # straight rows have none
    for shares, said in (
        (((0.1, 0.7), (0.7, 0.3)), "Smooth them where two lines' rows meet."),
        (((0.1, 0.7), (0.2, 0.5)), "as many as it has. Level"),
    ):
        sheet = pegged_across(small_results, texts, *shares, row_method="guide lines")
        assert said in said_of(sheet)


def test_breaks_of_rows_along_lines_are_ringed_where_a_gap_is_and_nowhere_else(
    small_results, texts
):
    """A gap of the plan's 0.5 m is ringed; 4 m of path is not."""
    (outline,) = small_results.plots.loc[small_results.plots["plot_id"] == "A-01", "geometry"]
    x, y = outline.centroid.x, outline.centroid.y
    pieces = [(0, 10.0), (10.5, 20.0), (24.0, 30.0)]
    lines = [LineString([(x + a, y), (x + b, y)]) for a, b in pieces]
    table = pd.DataFrame({"plot_id": "A-01", "crop": "beans", "row": 1, "length_m": 9.5,
                          "geometry": lines})  # fmt: skip
    rows = dataclasses.replace(small_results.row_lines, lines=table)
    results = dataclasses.replace(small_results, row_lines=rows)
    values = {"row_method": "guide lines", "guide_kind": "arc", "row_breaks": 1}
    sheet = sheet_with(results, texts, "A-01", **values)
    ((east, _),) = sheet.drawing.breaks
    drawn = np.vstack(sheet.drawing.rows)[:, 0]
    assert east == pytest.approx((drawn[1] + drawn[2]) / 2, abs=0.01)
    assert "1 (some: rings in the drawing)" in " ".join(sheet.water.sentences)
    assert not sheet_with(results, texts, "A-01", **values | {"row_breaks": 0}).drawing.breaks


@pytest.mark.parametrize("soil", [lambda results: results, wet])
def test_measuring_goes_step_by_step_and_back(small_results, texts, soil):
    said = sheet_with(soil(small_results), texts, "108").walk.sentences
    assert [line[:2] for line in said[:6]] == ["1.", "2.", "3.", "4.", "5.", "6."]
    assert "Walk back, feet swapped; over 10 cm off in 50 m, do it again." in said[4]


def test_a_steep_plots_farmer_hears_of_the_technician(small_results, texts):
    """Who can't read the alarm is told it; elsewhere nobody is sent for one."""
    told = []
    for flags in ((), ("rows_alone_not_enough",)):
        sheet = sheet_with(small_results, texts, "A-01", erosion_flags=flags)
        words = " ".join(sheet.farmer_words.sentences)
        told.append(("A technician decides first" in words, sheet.alarm is not None))
    assert told == [(False, False), (True, True)]


def test_fertiliser_is_spoken_of_where_there_is_any(small_results, texts):
    fed = sheet_with(small_results, texts, "A-01", npk_g=1_000, urea_g=pd.NA)
    bare = sheet_with(small_results, texts, "A-01", npk_g=pd.NA, urea_g=pd.NA)
    assert "Fertiliser goes in first" in " ".join(fed.farmer_words.sentences)
    assert "Fertiliser" not in " ".join(bare.farmer_words.sentences)


def test_a_drawn_waterway_is_told_of_beside_its_plot(small_results, texts):
    """Water that is drawn takes no strip; its plot's sheet still speaks of it before rows."""
    (at,) = np.flatnonzero(small_results.plots["plot_id"] == "A-01")
    plots = small_results.plots["geometry"].to_numpy()
    zone = reproject(plots, small_results.plots_crs, small_results.grid_crs)
    shape = zone[at].buffer(-5)
    used = pd.DataFrame({"source_row": [1], "kind": ["waterway"], "width_m": [np.nan]})
    results = dataclasses.replace(
        small_results,
        row_lines=dataclasses.replace(
            small_results.row_lines, clear=Clear(np.array([shape], dtype=object))
        ),
        features=dataclasses.replace(small_results.features, used=used.assign(geometry=[shape])),
    )
    sheet = sheet_with(results, texts, "A-01", flow_strip_m2=0.0)
    assert "A waterway is drawn here. No row crosses it." in " ".join(sheet.water.sentences)
    dry = sheet_with(small_results, texts, "A-01", flow_strip_m2=0.0)
    assert dry.water is None or "A waterway" not in " ".join(dry.water.sentences)


def test_slipping_ground_on_the_hillside_is_told_first(small_results, texts):
    assert sheet_with(small_results, texts, "A-01").alarm is None
    told = sheet_with(small_results, texts, "A-01", slipping_ground=1)
    assert told.alarm.startswith("SLIPPING GROUND on this hillside: do not dig there")


def test_a_doubted_reading_is_read_again_on_the_sheet(small_results, texts):
    """Boxes to write in, and how, before any step."""
    values = {"terrain_flags": ("bearing_reading_outside",)}
    again = sheet_with(small_results, texts, "A-01", **values)
    assert again.blanks is not None
    assert "at five places, hold 10 m of string level" in said_of(again).split("1. Go")[0]
    assert sheet_with(small_results, texts, "A-01").blanks is None


def test_low_places_are_told_by_metres_and_rows_from_peg_1(small_results, texts):
    """A strip straight downhill, 12 m along from peg 1, from 8 rows uphill to 20 downhill."""
    plots = small_results.plots
    at = int(np.flatnonzero(plots["plot_id"] == "A-01")[0])
    (zone,) = reproject(
        plots["geometry"].to_numpy()[[at]], small_results.plots_crs, small_results.grid_crs
    )
    x, y = zone.centroid.x, zone.centroid.y
    # The zone's grid and the true north of a sheet differ by less than a degree here.
    outline = plots["geometry"].iloc[at]
    run = shapely.get_coordinates(
        reproject(
            np.array([LineString([(x - 15, y), (x + 15, y)])], dtype=object),
            small_results.grid_crs,
            small_results.plots_crs,
        )
    )
    laid = pegs_of("A-01", outline, run, 10.0)
    gaps = np.full(len(plots), None, dtype=object)
    gaps[at] = shapely.box(x - 3.25, y - 20 * 0.5, x - 2.75, y + 8 * 0.5)
    clear = Clear(np.array([], dtype=object), None, gaps)
    results = dataclasses.replace(
        small_results,
        pegs=laid,
        row_lines=dataclasses.replace(small_results.row_lines, clear=clear),
    )
    values = {
        "row_breaks": 28,
        "row_spacing_map_m": 0.5,
        "downslope_true_deg": 180.0,
        "row_bearing_true_deg": 90.0,
    }
    said = " ".join(sheet_with(results, texts, "A-01", **values).water.sentences)
    found = re.search(
        r"grass down each low place; (\d+) m along from peg 1 at row (\d+) uphill "
        r"to (\d+) m along from it at row (\d+) downhill\.",
        said,
    )
    assert [int(one) for one in found.groups()] == pytest.approx([12, 8, 12, 20], abs=1)
