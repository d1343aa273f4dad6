"""Coverage against a published library, and its laws."""

from __future__ import annotations

import exactextract
import numpy as np
import pytest
import shapely
from exactextract.feature import JSONFeatureSource
from exactextract.raster import NumPyRasterSource
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from districtplan.coverage import batches, coverage, outlines_on_grid
from districtplan.grid import Grid
from tests.conftest import random_outlines

GRID = Grid(500_000.0, 9_800_000.0, 10.0, 10.0, 80, 80, CRS.from_epsg(32736))
EXTENT = (500_000.0, 9_799_200.0, 500_800.0, 9_800_000.0)


def as_dictionary(cells, plot):
    mine = cells.plot == plot
    return {
        (int(r), int(c)): float(w)
        for r, c, w in zip(cells.row[mine], cells.column[mine], cells.weight[mine], strict=True)
    }


def test_agrees_with_exactextract_on_1000_plots(rng):
    """Oracle: exactextract (Baston 2016-2025), coverage fractions of each cell."""
    outlines = random_outlines(rng, 1000, EXTENT)
    raster = NumPyRasterSource(
        np.arange(6400.0).reshape(80, 80), xmin=EXTENT[0], ymin=EXTENT[1], xmax=EXTENT[2],
        ymax=EXTENT[3],
    )  # fmt: skip
    features = JSONFeatureSource(
        [
            {"type": "Feature", "properties": {}, "geometry": shapely.geometry.mapping(shape)}
            for shape in outlines
        ]
    )
    expected = exactextract.exact_extract(raster, features, ["cell_id", "coverage"])
    cells = coverage(outlines_on_grid(outlines, GRID))
    worst = 0.0
    for plot, feature in enumerate(expected):
        found = as_dictionary(cells, plot)
        theirs = {
            (int(i) // 80, int(i) % 80): w
            for i, w in zip(
                feature["properties"]["cell_id"], feature["properties"]["coverage"], strict=True
            )
        }
        worst = max(
            worst,
            *(abs(found.get(at, 0) - theirs.get(at, 0)) for at in found.keys() | theirs.keys()),
        )
    assert worst < 1e-6


def test_covered_area_is_the_polygon_area(rng):
    outlines = random_outlines(rng, 300, EXTENT)
    cells = coverage(outlines_on_grid(outlines, GRID))
    area = np.add.reduceat(cells.weight, cells.first) * 100
    assert area == pytest.approx(shapely.area(outlines), abs=1e-5)


def test_batches_do_not_change_a_bit(rng):
    outlines = outlines_on_grid(random_outlines(rng, 60, EXTENT), GRID)
    whole = coverage(outlines)
    alone = [coverage(outlines.take(slice(i, i + 1))) for i in range(60)]
    assert np.array_equal(whole.weight, np.concatenate([cells.weight for cells in alone]))
    assert np.array_equal(whole.row, np.concatenate([cells.row for cells in alone]))


def test_batches_hold_every_plot_once(rng):
    outlines = outlines_on_grid(random_outlines(rng, 60, EXTENT), GRID)
    held = [i for batch in batches(outlines) for i in range(batch.start, batch.stop)]
    assert held == list(range(60))


@pytest.mark.parametrize("reverse", [False, True], ids=["shell one way", "shell the other way"])
def test_whole_cells_and_a_hole_are_exact(reverse):
    x, y = 500_100.0, 9_799_900.0
    shape = shapely.box(x, y, x + 40, y + 30).difference(
        shapely.box(x + 10, y + 10, x + 15, y + 20)
    )
    shape = shapely.reverse(shape) if reverse else shape
    cells = coverage(outlines_on_grid(np.array([shape], dtype=object), GRID))
    weights = as_dictionary(cells, 0)
    assert len(weights) == 12
    assert sorted(weights.values()) == [0.5] + [1.0] * 11


@given(
    corner=st.tuples(st.floats(0, 700), st.floats(-700, -60)),
    size=st.tuples(st.floats(0.01, 90), st.floats(0.01, 60)),
)
def test_a_box_covers_its_overlap_with_each_cell(corner, size):
    west, south = 500_000 + corner[0], 9_800_000 + corner[1]
    box = shapely.box(west, south, west + size[0], south + size[1])
    cells = coverage(outlines_on_grid(np.array([box], dtype=object), GRID))
    for (row, column), weight in as_dictionary(cells, 0).items():
        left, top = 500_000 + 10 * column, 9_800_000 - 10 * row
        wide = min(west + size[0], left + 10) - max(west, left)
        high = min(south + size[1], top) - max(south, top - 10)
        assert weight == pytest.approx(max(wide, 0) * max(high, 0) / 100, abs=1e-6)
