"""The hillside of plots that the raster can't serve, on ground whose slope is known."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import CRS

from districtplan import handbook
from districtplan.grid import Grid
from districtplan.terrain import hillside
from tests.conftest import ArrayElevation, measured, middle, plan_of, square, surface_raster
from tests.support import renumbered
from tests.terrain.errors import correlated

COLUMNS = ["hillside_slope_pct", "hillside_downslope_true_deg"]


def plane(slope: float, aspect_deg: float):
    """A plane that falls towards the aspect."""
    fall = np.radians(aspect_deg)
    return lambda x, y: 2000 - slope * (x * np.sin(fall) + y * np.cos(fall))


def unserved(raster: ArrayElevation, plots: list, **sections: dict):
    """Measure plots of which the raster can serve none."""
    sections["terrain"] = {"cells_min": 1000.0} | sections.get("terrain", {})
    table, _ = measured(raster, plots, plan_of(**sections))
    return table


@pytest.mark.parametrize("cell", [1.0, 7.0, 10.0, 30.0, 90.0])
@pytest.mark.parametrize("aspect_deg", [0, 77, 135, 350])
def test_a_plane_gives_its_own_slope_and_fall(cell, aspect_deg):
    raster = surface_raster(plane(0.14, aspect_deg), cell=cell)
    row = unserved(raster, [square(raster, side=4 * cell)]).iloc[0]
    assert row["row_method"] == "measure on the ground"
    assert row["hillside_slope_pct"] == pytest.approx(14, abs=0.02)
    apart = (row["hillside_downslope_true_deg"] - aspect_deg + 180) % 360 - 180
    assert abs(apart) < 0.1
    assert "hillside_falls" in row["terrain_flags"]


def test_plots_with_a_bearing_get_none():
    raster = surface_raster(plane(0.14, 77))
    table, _ = measured(raster, [square(raster), square(raster, 200, 0, 15)])
    assert table["row_method"].tolist() == ["straight", "measure on the ground"]
    assert table[COLUMNS].notna().all(axis=1).tolist() == [False, True]
    flags = [any(flag.startswith("hillside") for flag in row) for row in table["terrain_flags"]]
    assert flags == [False, True]


def test_it_is_the_hillsides_fall_and_not_the_plots():
    def bank(x, y):
        return 2000 - 0.1 * y + np.where(np.abs(x) < 20, 0.5 * x, 10 * np.sign(x))

    raster = surface_raster(bank)
    row = unserved(raster, [square(raster, side=25)]).iloc[0]
    east = np.sin(np.radians(row["downslope_true_deg"]))
    assert east < -0.9  # the bank falls to the west
    assert row["hillside_slope_pct"] < row["slope_mean_pct"]


@pytest.mark.parametrize(
    "surface",
    [
        lambda x, y: 2000 - 0.2 * np.abs(x - 5) + 0.0 * y,
        lambda x, y: 2000 + 0.2 * np.hypot(x, y),
        lambda x, y: 2000 + 0.0 * (x + y),
    ],
    ids=["ridge", "bowl", "level"],
)
def test_no_one_fall(surface):
    raster = surface_raster(surface)
    row = unserved(raster, [square(raster, side=30)], terrain={"flat_slope_pct": 0.0}).iloc[0]
    if row["row_method"] == "measure on the ground":
        assert np.isnan(row["hillside_downslope_true_deg"])
        assert "hillside_has_no_fall" in row["terrain_flags"]


def test_noise_drowns_a_gentle_fall_and_no_steep_one():
    rng = np.random.default_rng(20_260_403)
    error = 4.0 * correlated(rng, 200, 5.0)
    for slope, told in ((0.0, False), (0.3, True)):
        raster = surface_raster(lambda x, y, s=slope: plane(s, 100)(x, y) + error)
        plots = [square(raster, x, y, 30) for x in range(-600, 601, 300) for y in (-500, 0, 500)]
        table = unserved(
            raster, plots, elevation={"vertical_error_m": 4.0, "error_correlation_m": 50}
        )
        falls = table["hillside_downslope_true_deg"].notna()
        assert falls.mean() > 0.9 if told else falls.mean() < 0.25


@pytest.mark.parametrize(
    "length", [1.0, *(pytest.param(length, marks=pytest.mark.slow) for length in (0.0, 6.0))]
)
def test_the_stated_error_is_that_of_the_plane(length):
    """Level ground is told to fall 1 time in 20, and a slope reads true in the mean square."""
    rng = np.random.default_rng(20_260_404)
    elevation = {"vertical_error_m": 2.0, "error_correlation_m": 10 * length}
    told, squared = [], []
    places = range(-780, 781, 260)
    for draw in range(8):
        error = 2.0 * correlated(rng, 200, length)
        for slope in (0.0, 0.15) if draw < 4 else (0.0,):
            raster = surface_raster(lambda x, y, e=error, s=slope: plane(s, 200)(x, y) + e)
            plots = [square(raster, x, y, 30) for x in places for y in places]
            table = unserved(raster, plots, elevation=elevation, terrain={"flat_slope_pct": 0.0})
            assert (table["row_method"] == "measure on the ground").all()
            if slope:
                squared += (table["hillside_slope_pct"] ** 2).tolist()
            else:
                told += table["hillside_downslope_true_deg"].notna().tolist()
    assert len(told) == 8 * 49
    assert 0.02 < np.mean(told) < 0.09
    assert np.sqrt(np.mean(squared)) == pytest.approx(15, rel=0.03)


def test_gaps_and_the_rasters_edge():
    raster = surface_raster(plane(0.14, 77))
    plots = [square(raster, 0, 0, 30), square(raster, 300, 0, 30), square(raster, 960, 0, 30)]
    raster.heights = raster.heights.copy()
    raster.heights[103:105, 103:106] = np.nan  # a small gap in the window of the first
    raster.heights[80:95, 120:142] = np.nan  # a third of the window of the second
    table = unserved(raster, plots)
    assert table["hillside_slope_pct"].isna().tolist() == [False, True, True]
    assert table["hillside_slope_pct"][0] == pytest.approx(14, abs=0.02)
    assert not any(flag.startswith("hillside") for flag in table["terrain_flags"][1])


def rectangular(cell_x: float, cell_y: float, surface) -> ArrayElevation:
    """A raster whose cells aren't square, over the same 2 km."""
    grid = Grid(
        490_000.0, 9_701_000.0, cell_x, cell_y, round(2000 / cell_y), round(2000 / cell_x),
        CRS.from_epsg(32736),
    )  # fmt: skip
    x = (np.arange(grid.columns) + 0.5) * cell_x - 1000
    y = 1000 - (np.arange(grid.rows) + 0.5) * cell_y
    return ArrayElevation(grid, surface(*np.meshgrid(x, y)))


@pytest.mark.parametrize("cells", [(10.0, 25.0), (25.0, 10.0)])
def test_cells_need_not_be_square(cells):
    raster = rectangular(*cells, plane(0.14, 60))
    row = unserved(raster, [square(raster, side=60)]).iloc[0]
    assert row["hillside_slope_pct"] == pytest.approx(14, abs=0.02)
    assert row["hillside_downslope_true_deg"] == pytest.approx(60, abs=0.1)
    # Where heights lack, the plane is fitted to the others.
    raster.heights[raster.grid.rows // 2 + 2, raster.grid.columns // 2 + 2] = np.nan
    row = unserved(raster, [square(raster, side=60)]).iloc[0]
    assert row["hillside_slope_pct"] == pytest.approx(14, abs=0.02)
    assert row["hillside_downslope_true_deg"] == pytest.approx(60, abs=0.1)
    # Bent ground along one axis is bent whichever way the cells are longer.
    raster = rectangular(*cells, lambda x, y: 2000 + 0.2 * np.abs(x) + 0.0 * y)
    assert np.isnan(
        unserved(raster, [square(raster, side=60)])["hillside_downslope_true_deg"].iloc[0]
    )


@pytest.mark.parametrize(("cells", "window", "sides"), [
    ((10.0, 25.0), 200.0, (8, 20)), ((25.0, 10.0), 200.0, (20, 8)), ((10.0, 10.0), 150.0, (15, 15)),
])  # fmt: skip
def test_the_window_is_square_on_the_ground_and_the_margin_holds_it(cells, window, sides):
    raster = rectangular(*cells, plane(0.14, 60))
    plan = plan_of(terrain={"hillside_window_m": window})
    windows = hillside.Windows(raster.grid, 10.0, plan, handbook.packaged())
    rows, columns = windows._rows, windows._columns
    steps = int(rows[1] - rows[0]), int(columns[1] - columns[0])
    assert abs(len(rows) * steps[0] - sides[0]) < steps[0]
    assert abs(len(columns) * steps[1] - sides[1]) < steps[1]
    assert abs(rows[0] + rows[-1]) <= 1
    assert windows.margin == max(-rows[0], rows[-1], -columns[0], columns[-1])


@pytest.mark.parametrize("cells", [(10.0, 25.0), (25.0, 10.0)])
@pytest.mark.parametrize("length", [0.0, 40.0])
def test_variances_are_those_of_the_planes_own_weights(cells, length):
    """Oracle: all pairs of heights of the window, their places in metres."""
    raster = rectangular(*cells, plane(0.14, 60))
    plan = plan_of(elevation={"vertical_error_m": 2.0, "error_correlation_m": length})
    windows = hillside.Windows(raster.grid, 10.0, plan, handbook.packaged())
    rows, columns = windows._rows, windows._columns
    width, height = np.full(1, cells[0]), np.full(1, cells[1])
    down, right = (grid.ravel() for grid in np.meshgrid(rows, columns, indexing="ij"))
    x, y = (right - right.mean()) * cells[0], (down - down.mean()) * cells[1]
    apart = np.subtract.outer(x, x) ** 2 + np.subtract.outer(y, y) ** 2
    alike = np.exp(-apart / (2 * length**2)) if length else np.eye(len(x))
    for place, found in (
        (x, windows._variance(columns, width, rows, height)),
        (y, windows._variance(rows, height, columns, width)),
    ):
        weights = place / (place @ place)
        assert found[0] == pytest.approx(4 * weights @ alike @ weights)


@pytest.mark.parametrize("cells", [(10.0, 25.0), (25.0, 10.0)])
@pytest.mark.parametrize("aspect", [0, 90])
def test_the_plane_explains_all_of_a_plane_and_the_misfit_the_rest(cells, aspect):
    raster = rectangular(*cells, plane(0.14, aspect))
    rows, columns = np.arange(8), np.arange(20)
    heights = raster.heights[None, :8, :20]
    _, tilted, other = hillside._plane(heights, rows, columns, 0.9)
    spread = heights - heights.mean()
    assert tilted[0] == pytest.approx((spread**2).sum())
    assert other[0] == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("cells", [(10.0, 40.0), (40.0, 10.0)])
def test_a_fall_is_clear_against_the_larger_of_both_errors(cells):
    """Samples of one side are fewer: the fall must be clear of what they leave open."""
    raster = rectangular(*cells, plane(0.0, 0))
    plan = plan_of(elevation={"vertical_error_m": 2.0, "error_correlation_m": 0.0})
    windows = hillside.Windows(raster.grid, 10.0, plan, handbook.packaged())
    sides = windows._rows, windows._columns
    width, height = np.full(1, cells[0]), np.full(1, cells[1])
    variances = (
        windows._variance(sides[1], width, sides[0], height)[0],
        windows._variance(sides[0], height, sides[1], width)[0],
    )
    times = handbook.packaged().number("hillside_limits", "fall_times")
    for share, clear in ((0.98, False), (1.02, True)):
        slope = share * times * np.sqrt(max(variances))
        raster = rectangular(*cells, plane(slope, 45))
        told = unserved(
            raster,
            [square(raster, side=60)],
            elevation={"vertical_error_m": 2.0, "error_correlation_m": 0.0},
            terrain={"flat_slope_pct": 0.0},
        )
        assert told["hillside_downslope_true_deg"].notna().all() == clear


def test_the_fall_is_from_true_north():
    """Beside the zone's middle the raster's north is off true north; the plot's own fall knows."""
    raster = surface_raster(plane(0.14, 77), corner=(760_000.0, 7_790_000.0))
    row = unserved(raster, [square(raster, side=60)]).iloc[0]
    turned = row["downslope_true_deg"] - 77
    assert abs(turned) > 0.5
    assert row["hillside_downslope_true_deg"] - 77 == pytest.approx(turned, abs=0.01)


def test_the_window_lies_around_the_plots_middle():
    """The hillside bends beside the plot: a window about its corner would see another slope."""
    raster = surface_raster(lambda x, y: 2000 + 0.1 * x + 2e-4 * x**2 + 0.0 * y)
    row = unserved(raster, [square(raster, 5, 5, 130)]).iloc[0]
    assert row["hillside_slope_pct"] == pytest.approx(10.2, abs=0.25)


def test_cells_wider_than_a_hillside_tell_nothing():
    raster = surface_raster(plane(0.14, 77), cell=500.0, cells=40)
    table = unserved(raster, [square(raster, side=900)])
    assert table[COLUMNS].isna().all(axis=None)


def test_in_degrees():
    degrees = ArrayElevation(
        Grid(36.0, -1.7, 1e-4, 1e-4, 200, 200, CRS.from_epsg(4326)),
        np.tile(np.arange(200.0), (200, 1)),
    )
    x, y = middle(degrees)
    plot = shapely.box(x - 1.5e-4, y - 1.5e-4, x + 1.5e-4, y + 1.5e-4)
    row = unserved(degrees, [plot]).iloc[0]
    assert row["hillside_downslope_true_deg"] == pytest.approx(270)
    # A degree of longitude near the equator, shortened by the latitude.
    width = 1e-4 * 111_319.49 * np.cos(np.radians(1.71))
    assert row["hillside_slope_pct"] == pytest.approx(100 / width, rel=1e-3)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("window_m", 110.0), ("window_max_m", 20.0), ("samples_max", 4.0), ("known_share_min", 0.5),
        ("fall_times", 1e6), ("plane_share_min", 1.1),
    ],
)  # fmt: skip
def test_every_limit_is_used(name, value, monkeypatch):
    raster = surface_raster(lambda x, y: plane(0.14, 77)(x, y) + 0.001 * x * y)
    raster.heights[80:95, 120:142] = np.nan
    plots = [square(raster, 0, 0, 30), square(raster, 300, 0, 30)]
    elevation = {"vertical_error_m": 0.5, "error_correlation_m": 30}
    usual = unserved(raster, plots, elevation=elevation)[COLUMNS]
    book = renumbered("hillside_limits", name, value)
    for place in ("tests.conftest.handbook.packaged", "districtplan.plan.packaged"):
        monkeypatch.setattr(place, lambda: book)
    assert not unserved(raster, plots, elevation=elevation)[COLUMNS].equals(usual)
