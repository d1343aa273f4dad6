from __future__ import annotations

import numpy as np
import pytest

from districtplan.terrain import plateaus
from tests.conftest import measured, square, surface_raster

SLOPE = 0.2


def plane():
    return surface_raster(lambda x, y: 1800.2 + SLOPE * x + 0.003 * y)


def test_a_plateau_is_three_cells_wide_and_has_its_edge():
    heights = np.arange(100, dtype=np.float32).reshape(10, 10)
    assert plateaus.level(heights) is None
    heights[2:4, 1:9] = 7.25
    assert plateaus.level(heights) is None
    heights[4, 1:4] = 7.25
    found = np.argwhere(plateaus.level(heights))
    assert found.min(axis=0).tolist() == [2, 1]
    assert found.max(axis=0).tolist() == [4, 3]
    heights[2:5, 1:4] = np.nan
    assert plateaus.level(heights) is None


def test_a_lake_counts_as_no_slope():
    """A plot on even land of 20 %, a fifteenth of it in a lake: its slope stays 20 %."""
    raster = plane()
    raster.heights[:, 107:130] = 1814.37
    shore = square(raster, 33.5, 0, 90)
    table, aside = measured(raster, [shore])
    assert len(aside) == 0
    assert "constant_heights" in table["terrain_flags"][0]
    assert table["heights_level_share"][0] == pytest.approx(8.5 / 90, abs=1e-6)
    assert table["raster_share"][0] == pytest.approx(1 - 8.5 / 90, abs=1e-6)
    # The last column of land sees the lake; none sees a slope of 0.
    assert table["slope_mean_pct"][0] > 100 * SLOPE * 0.95
    # A plot that lies farther in the lake is set aside with what is there.
    table, aside = measured(raster, [square(raster, 50, 0, 90), square(raster, -300, 0, 90)])
    assert "exactly one height, as water" in aside["reason"][0]
    assert table["heights_level_share"].tolist() == [0.0]


def test_the_sea_is_known_on_whole_metres_too():
    raster = surface_raster(lambda x, y: np.maximum(np.rint(0.01 * x), 0.0))
    table, aside = measured(raster, [square(raster, -200, 0, 90)])
    assert len(table) == 0
    assert "exactly one height" in aside["reason"][0]
    # Gentle ground in whole metres is stepped, not a lake.
    table, aside = measured(raster, [square(raster, 600, 0, 90)])
    assert len(aside) == 0
    assert table["heights_level_share"].tolist() == [0.0]


@pytest.mark.parametrize("level_m", [1234.5, 1234.0])
def test_a_reservoir_at_a_whole_step_is_known_by_the_land_around(level_m):
    """Half the raster stands at one height of whole half metres, all else has decimals."""
    raster = plane()
    raster.heights[:, :100] = level_m
    # Far from any shore, near it, and on land.
    plots = [square(raster, x, 0, 90) for x in (-900, -100, 300)]
    table, aside = measured(raster, plots)
    assert aside["plot_id"].tolist() == ["P0", "P1"]
    assert all("exactly one height" in reason for reason in aside["reason"])
    assert table["slope_mean_pct"].tolist() == pytest.approx([100 * SLOPE], rel=1e-3)


def test_a_file_in_whole_metres_beside_one_with_decimals_is_no_lake():
    raster = plane()
    raster.heights[:, :100] = np.rint(1800 + 0.004 * np.arange(100) * 10)
    raster.tile = np.zeros(raster.heights.shape, dtype=np.int16)
    raster.tile[:, 100:] = 1
    table, aside = measured(raster, [square(raster, x, 0, 90) for x in (-500, -60, 300)])
    assert len(aside) == 0
    assert table["heights_level_share"].tolist() == [0.0] * 3


def test_plots_on_filled_heights_are_told():
    raster = plane()
    raster.gaps = np.zeros(raster.heights.shape, dtype=bool)
    raster.gaps[100, 100] = True
    plots = [square(raster, 5, -5, 30), square(raster, 200, 0, 30), square(raster, 25, -5, 10)]
    table, _ = measured(raster, plots)
    # One filled cell is in the gradients of the eight around it.
    assert table["heights_filled_share"].tolist() == pytest.approx([1.0, 0.0, 0.0])
    assert [("filled_heights" in flags) for flags in table["terrain_flags"]] == [True, False, False]
