"""Length of a plot down its fall, where it can be told with a ruler."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tests.conftest import measured, middle, surface_raster


def oblong(raster, turn_deg, hole=0.0):
    """120 m by 40 m, its long side towards the bearing."""
    x, y = middle(raster)
    plot = shapely.box(x - 20, y - 60, x + 20, y + 60)
    if hole:
        plot = plot.difference(shapely.box(x - hole / 2, y - 10, x + hole / 2, y + 10))
    return shapely.affinity.rotate(plot, -turn_deg, origin=(x, y))


def falling(aspect_deg):
    fall = np.radians(aspect_deg)
    return surface_raster(lambda x, y: 1500 - 0.15 * (x * np.sin(fall) + y * np.cos(fall)))


@pytest.mark.parametrize("turn", [0, 35, 70, 125])
@pytest.mark.parametrize(
    ("aspect", "hole", "length"),
    [(0, 0, 120), (90, 0, 40), (0, 20, 110), (180, 0, 120)],
    ids=["down the long side", "across it", "with a hole", "the other way"],
)
def test_area_over_width(turn, aspect, hole, length):
    raster = falling(turn + aspect)
    row = measured(raster, [oblong(raster, turn, hole)])[0].iloc[0]
    assert row.slope_length_m == pytest.approx(length, rel=2e-3)


def test_oblique_fall_is_area_over_the_projected_width():
    raster = falling(30)
    row = measured(raster, [oblong(raster, 0)])[0].iloc[0]
    width = 40 * np.cos(np.radians(30)) + 120 * np.sin(np.radians(30))
    assert row.slope_length_m == pytest.approx(4800 / width, rel=2e-3)


@pytest.mark.parametrize("turn", [0, 90])
def test_over_a_crest_the_longer_side_counts(turn):
    def crest(x, y):
        off = x if turn == 0 else -y
        return 1500 - 0.15 * np.abs(off + 20)

    raster = surface_raster(crest)
    x, y = middle(raster)
    plot = shapely.box(x - 60, y - 60, x + 60, y + 60)
    row = measured(raster, [plot])[0].iloc[0]
    # 40 m on one side of the crest, 80 m on the other; the mean gradient keeps a third.
    assert row.slope_length_m == pytest.approx(120, rel=1e-3)
    even = shapely.box(x - 75, y - 60, x + 45, y + 60) if turn == 0 else None
    if even is not None:
        row = measured(raster, [even])[0].iloc[0]
        assert np.isnan(row.downslope_true_deg)
        assert row.slope_length_m == pytest.approx(120 * 65 / 120, rel=0.05)


def test_parts_are_taken_one_by_one():
    raster = falling(0)
    x, y = middle(raster)
    upper, lower = shapely.box(x, y + 20, x + 40, y + 60), shapely.box(x, y - 60, x + 40, y - 20)
    both = shapely.MultiPolygon([upper, lower])
    assert measured(raster, [both])[0].iloc[0].slope_length_m == pytest.approx(40, rel=2e-3)
