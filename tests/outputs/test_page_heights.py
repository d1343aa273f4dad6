"""Lines of equal height: where they lie, how far apart, how many."""

from __future__ import annotations

import base64
import io
from dataclasses import replace

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from pyproj import Transformer

from districtplan.outputs.page import ground, heights, palette
from districtplan.results import Relief
from tests.outputs.page_data import naturals, signed

ORIGIN = (33.0, -9.0)
WEST, SOUTH, EAST, NORTH = 32.99, -9.02, 33.03, -8.98
CENTRE = (33.01, -9.0)
PEAK_M, FALL = 1600.0, 0.1


def cone(rows=240, columns=220, noise_m=0.0):
    """A cone: its contours are circles about its peak, in degrees' own metres."""
    y = NORTH - (NORTH - SOUTH) * (np.arange(rows) + 0.5) / rows
    x = WEST + (EAST - WEST) * (np.arange(columns) + 0.5) / columns
    x, y = np.meshgrid(x, y)
    rng = np.random.default_rng(3)
    z = PEAK_M - FALL * away(x, y) + rng.normal(0, noise_m, x.shape)
    shade = np.full(z.shape, 200, dtype=np.uint8)
    return Relief(shade, z.astype(np.float32), WEST, SOUTH, EAST, NORTH)


def away(longitude, latitude):
    """Metres on the plane from the peak."""
    to_plane = Transformer.from_crs(4326, 3857, always_xy=True)
    x, y = to_plane.transform(longitude, latitude)
    x0, y0 = to_plane.transform(*CENTRE)
    return np.hypot(x - x0, y - y0)


def cell_m(relief):
    return away(CENTRE[0] + (EAST - WEST) / relief.shade.shape[1], CENTRE[1])


def read(told):
    """Lines as (height, points on the plane from the peak)."""
    levels = [signed(value) for value in naturals(told["levels"])]
    vertices = naturals(told["vertices"])
    moves = np.array([signed(value) for value in naturals(told["moves"])]).reshape(-1, 2)
    to_plane = Transformer.from_crs(4326, 3857, always_xy=True)
    points = np.cumsum(moves, axis=0) * 0.1 + to_plane.transform(*ORIGIN)
    points -= to_plane.transform(*CENTRE)
    cuts = np.cumsum(vertices)[:-1]
    return list(zip(levels, np.split(points, cuts), strict=True))


def test_a_line_lies_where_the_ground_has_its_height():
    relief = cone()
    drawn = read(heights.lines(relief, 5, ORIGIN))
    radius = {level: (PEAK_M - 5 * level) / FALL for level, _ in drawn}
    assert len(drawn) > 30
    for level, points in drawn:
        # Between corners too: a chord that cuts a bend would be off there.
        along = shapely.get_coordinates(shapely.segmentize(shapely.LineString(points), 5))
        off = np.abs(np.hypot(*along.T) - radius[level])
        assert off.max() < 0.5 * cell_m(relief)


def test_a_line_in_the_wrong_place_would_be_noticed():
    relief = cone()
    shifted = replace(relief, heights_m=np.roll(relief.heights_m, 1, axis=1))
    level, points = read(heights.lines(shifted, 50, ORIGIN))[0]
    off = np.abs(np.hypot(*points.T) - (PEAK_M - 50 * level) / FALL)
    assert off.max() > 0.5 * cell_m(relief)


def test_the_tint_says_the_height_of_its_place():
    relief = cone()
    made = ground.picture(relief)
    picture = Image.open(io.BytesIO(base64.b64decode(made["tint"].split(",")[1]))).convert("RGBA")
    pixels = np.asarray(picture).astype(float)
    low, high = ([int(end[at : at + 2], 16) for at in (1, 3, 5)] for end in palette.TINT)
    share = (pixels[:, :, 0] - low[0]) / (high[0] - low[0])
    told = made["low_m"] + share * (made["high_m"] - made["low_m"])
    step = (made["high_m"] - made["low_m"]) / (ground.TINTS - 1)
    assert np.abs(told - relief.heights_m).max() < step


def test_a_smaller_tint_keeps_its_edges_and_its_gaps():
    relief = cone(900, 1_000)
    gap = relief.heights_m.copy()
    gap[:450, :500] = np.nan
    made = ground.picture(replace(relief, heights_m=gap))
    picture = np.asarray(Image.open(io.BytesIO(base64.b64decode(made["tint"].split(",")[1]))))
    assert picture.shape == (360, 400, 4)
    assert not picture[:180, :200, 3].any()
    assert picture[181:, :, 3].all()
    bare = ground.picture(replace(relief, heights_m=np.full_like(gap, np.nan)))
    assert bare["tint"] is None


@given(st.floats(0, 20_000))
def test_intervals_are_round(least):
    metres = heights._round_up(least)
    assert metres >= max(1, least)
    assert str(metres).rstrip("0") in {"1", "2", "5"}
    assert metres <= max(1, 2.5 * least)


def test_the_interval_minds_cells_error_and_size(monkeypatch):
    relief = cone()
    # Sides of cells rise by 0.1 * 20 m at most: two cells are nearly 4 m.
    assert heights.intervals(relief, float("nan")) == (5, 5)
    assert heights.intervals(relief, 2.0).fine_m == 10
    monkeypatch.setattr(heights, "CROSSINGS_FIRST_MAX", 5_000)
    assert heights.intervals(relief, 0.0) == (5, 50)
    monkeypatch.setattr(heights, "CROSSINGS_MAX", 2_000)
    fine, first = heights.intervals(relief, 0.0)
    assert fine > 5
    assert first % fine == 0


def test_one_wrong_height_asks_for_no_thousands_of_lines():
    relief = cone()
    wrong = relief.heights_m.copy()
    wrong[5, 5] = 60_000
    apart = heights.intervals(replace(relief, heights_m=wrong), 0.0)
    assert (60_000 - wrong.min()) / apart.fine_m <= heights.LEVELS_MAX


def test_level_land_and_land_without_heights_bear_no_line():
    relief = cone()
    level = replace(relief, heights_m=np.full_like(relief.heights_m, 1500.5))
    apart = heights.intervals(level, 0.0)
    assert apart == (1, 1)
    shown = heights.shown(level, apart, ORIGIN)
    assert (shown["rise"], read_count(shown["lines"])) == (0.0, 0)
    bare = replace(relief, heights_m=np.full_like(relief.heights_m, np.nan))
    assert heights.intervals(bare, 0.0) is None
    assert heights.shown(bare, None, ORIGIN) is None
    # The page of a village may hold a corner of the heights, or a single row.
    assert read_count(heights.shown(bare, apart, ORIGIN)["lines"]) == 0
    row = replace(relief, heights_m=relief.heights_m[:1], shade=relief.shade[:1])
    assert heights.shown(row, apart, ORIGIN) is None


def read_count(told):
    return len(naturals(told["levels"]))


def test_rings_about_single_cells_are_left_out():
    level = cone()
    bumpy = np.full_like(level.heights_m, 1502.5)
    bumpy[10::20, 10::20] = 1506
    assert read_count(heights.lines(replace(level, heights_m=bumpy), 5, ORIGIN)) == 0
    bumpy[50:54, 50:54] = 1506
    assert read_count(heights.lines(replace(level, heights_m=bumpy), 5, ORIGIN)) == 1
