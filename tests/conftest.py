"""Analytic ground, in code: what the tests of every stage stand on."""

from __future__ import annotations

import gc
import threading
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import CRS, Transformer

from districtplan import handbook, outputs, pipeline
from districtplan.grid import Grid, Window
from districtplan.intake import utm_zone
from districtplan.outputs.texts import Texts
from districtplan.plan import Plan
from districtplan.results import Results
from districtplan.terrain import measure

Surface = Callable[[np.ndarray, np.ndarray], np.ndarray]

WEST, NORTH = 499_000.0, 9_801_000.0
"""Corner of the test raster: across the middle of UTM 36S, two kilometres wide."""


@dataclass
class ArrayElevation:
    """An elevation raster held in memory; counts the windows it is asked for."""

    grid: Grid
    heights: np.ndarray
    windows: list[Window] = field(default_factory=list)
    tile: np.ndarray | None = None
    gaps: np.ndarray | None = None

    def read(self, window: Window) -> np.ndarray:
        self.windows.append(window)
        return self._part(self.heights, window).astype(np.float32)

    def tiles(self, window: Window) -> np.ndarray | None:
        if self.tile is None:
            return None
        return self._part(self.tile, window)

    def filled(self, window: Window) -> np.ndarray | None:
        return None if self.gaps is None else self._part(self.gaps, window)

    @staticmethod
    def _part(values: np.ndarray, window: Window) -> np.ndarray:
        return values[
            window.row : window.row + window.rows, window.column : window.column + window.columns
        ]


def surface_raster(
    surface: Surface,
    cell: float = 10.0,
    cells: int = 200,
    epsg: int = 32736,
    corner: tuple[float, float] = (WEST, NORTH),
) -> ArrayElevation:
    """Sample z(x, y) at cell centres, x east and y north in metres from the raster's middle."""
    grid = Grid(*corner, cell, cell, cells, cells, CRS.from_epsg(epsg))
    centre = (np.arange(cells) + 0.5 - cells / 2) * cell
    x, y = np.meshgrid(centre, -centre)
    return ArrayElevation(grid, surface(x, y))


def middle(raster: ArrayElevation) -> tuple[float, float]:
    """Coordinates of the raster's middle."""
    grid = raster.grid
    return (
        grid.west + grid.columns / 2 * grid.cell_x,
        grid.north - grid.rows / 2 * grid.cell_y,
    )


def plan_of(**sections: dict) -> Plan:
    """Make a plan; sections override the smallest one's."""
    smallest = {
        "district": {"name": "Test Hills", "planting_date": "2026-03-15"},
        "files": {"plots": "plots.gpkg", "elevation": ["dem.tif"]},
        "elevation": {"vertical_error_m": 0.0, "error_correlation_m": 30.0},
    }
    for name, keys in sections.items():
        smallest[name] = {**smallest.get(name, {}), **keys}
    return Plan.model_validate(smallest)


def measured(
    raster: ArrayElevation, polygons: list, plan: Plan | None = None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Run the terrain stage over polygons given in the raster's CRS."""
    outlines = np.array(polygons, dtype=object)
    centre = shapely.centroid(outlines)
    to_lonlat = Transformer.from_crs(raster.grid.crs, 4326, always_xy=True)
    longitude, latitude = to_lonlat.transform(shapely.get_x(centre), shapely.get_y(centre))
    plots = pd.DataFrame(
        {
            "plot_id": [f"P{i}" for i in range(len(outlines))],
            "area_ha": shapely.area(outlines) / 10_000,
            "longitude_deg": longitude,
            "latitude_deg": latitude,
            "geometry": outlines,
        }
    )
    zone = utm_zone(longitude, latitude)
    return measure(plots, raster, zone, plan or plan_of(), handbook.packaged())


def square(raster: ArrayElevation, x: float = 0, y: float = 0, side: float = 90) -> shapely.Polygon:
    """A square around a point given in metres from the raster's middle."""
    x0, y0 = middle(raster)
    half = side / 2
    return shapely.box(x0 + x - half, y0 + y - half, x0 + x + half, y0 + y + half)


def random_outlines(rng: np.random.Generator, count: int, extent: tuple) -> np.ndarray:
    """Star-shaped outlines inside an extent; one in ten with a hole, one in ten in two parts."""
    west, south, east, north = extent
    outlines = []
    for number in range(count):
        corners = rng.integers(4, 12)
        turn = np.sort(rng.uniform(0, 2 * np.pi, corners))
        turn = np.linspace(0, 2 * np.pi, corners, endpoint=False) + rng.uniform(0, 0.4, corners)
        radius = rng.uniform(8, 60) * rng.uniform(0.5, 1.0, corners)
        x, y = rng.uniform(west + 70, east - 70), rng.uniform(south + 70, north - 70)
        shape = shapely.Polygon(
            np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])
        )
        if number % 10 == 0:
            shape = shape.difference(shape.representative_point().buffer(3, quad_segs=2))
        if number % 10 == 5:
            shape = shape.difference(shapely.box(x - 1, south, x + 1, north))
        outlines.append(shape)
    return np.array(outlines, dtype=object)


def pytest_collection_finish():
    """Leave what is there for good out of each search for rubbish."""
    gc.freeze()


@pytest.fixture(scope="module", autouse=True)
def _rubbish():
    """Look for rubbish after each file of tests: all the while takes a tenth of their time."""
    gc.disable()
    yield
    gc.enable()
    gc.collect()


@pytest.fixture(scope="module", autouse=True)
def _formats(request):
    """Write only the formats that a file of tests reads, where its ``WRITES`` names them."""
    named = getattr(request.module, "WRITES", None)
    with pytest.MonkeyPatch.context() as patch:
        if named is not None:
            patch.setattr(outputs, "FORMATS", {name: outputs.FORMATS[name] for name in named})
        yield


@pytest.fixture(scope="module", autouse=True)
def _found_once(request):
    """Work out a plan once where a file of tests sets ``FOUND_ONCE``, while its files stay alike.

    Each command on a plan works it out anew: where what a command tells of it is tested, that is
    the same a second longer.
    """
    find, kept = pipeline.find, {}

    def once(plan, progress=pipeline.silent):
        files = sorted(path for path in Path(plan).parent.rglob("*") if path.is_file())
        stamps = [(path, path.stat().st_mtime_ns, path.stat().st_size) for path in files]
        if (key := (str(plan), *stamps)) not in kept:
            kept[key] = find(plan, progress)
        return kept[key]

    with pytest.MonkeyPatch.context() as patch:
        if getattr(request.module, "FOUND_ONCE", False):
            patch.setattr(pipeline, "find", once)
        yield


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20260315)


@pytest.fixture
def server():
    """A loopback server that counts what is asked of it."""

    class Counter(BaseHTTPRequestHandler):
        hits: list[str] = []  # noqa: RUF012  # one server, one list

        def do_GET(self):
            self.hits.append(self.path)
            self.send_error(404)

        do_HEAD = do_GET  # noqa: N815  # the library looks for this name

        def log_message(self, *_):
            pass

    Counter.hits = []
    with ThreadingHTTPServer(("127.0.0.1", 0), Counter) as running:
        thread = threading.Thread(target=running.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{running.server_port}", Counter.hits
        running.shutdown()
        thread.join()


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory) -> tuple[Path, Results]:
    """The demo, made and run once, and what was found: long, so one file's tests use it.

    Of its pages there is the district's: those of villages and the sheets take half of the time.
    """
    folder = tmp_path_factory.mktemp("demo")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(outputs, "FORMATS", {**outputs.FORMATS, "pages": district_page})
        return folder, pipeline.demo(folder)


@pytest.fixture(scope="session")
def demo_folder(demo_run) -> Path:
    """Where the demo stands: ``district`` and ``run``."""
    return demo_run[0]


@pytest.fixture(scope="session")
def whole_demo(tmp_path_factory) -> Path:
    """Where the demo stands with all that it writes: for slow tests."""
    folder = tmp_path_factory.mktemp("whole")
    pipeline.demo(folder)
    return folder


SMALL_PLAN = """\
[plan]
version = 1
[district]
name = "Test Hills"
planting_date = 2026-03-15
[files]
plots = "plots.gpkg"
elevation = ["dem.tif"]
[elevation]
vertical_error_m = 0.1
error_correlation_m = 20.0
"""


def district_page(results: Results, texts: Texts) -> dict[str, bytes]:
    """Render the district's page without those of villages, which take as long."""
    few = results.plan.page.model_copy(update={"village_pages_max": 0})
    plan = results.plan.model_copy(update={"page": few})
    return outputs.page.render(replace(results, plan=plan), texts)


def write_district(folder: Path, plots: gpd.GeoDataFrame, raster: ArrayElevation) -> Path:
    """Write plots, raster and the smallest plan; give the plan file."""
    folder.mkdir(parents=True, exist_ok=True)
    plots.to_file(folder / "plots.gpkg", driver="GPKG")
    grid = raster.grid
    with rasterio.open(
        folder / "dem.tif", "w", driver="GTiff", width=grid.columns, height=grid.rows, count=1,
        dtype="float32", crs=grid.crs.to_wkt(), nodata=-9999,
        transform=Affine(grid.cell_x, 0, grid.west, 0, -grid.cell_y, grid.north),
    ) as file:  # fmt: skip
        file.write(np.nan_to_num(raster.heights.astype(np.float32), nan=-9999), 1)
    (folder / "plan.toml").write_text(SMALL_PLAN, encoding="utf-8")
    return folder / "plan.toml"


def small_district(shift: float = 0.0) -> tuple[gpd.GeoDataFrame, ArrayElevation]:
    """Twelve plots of three villages on a slope that steepens, with a ridge."""
    raster = surface_raster(
        lambda x, y: 1800 + 0.05 * x + 0.0002 * (x + 1000) * np.abs(y) / 10 + 30 * np.sin(x / 250)
    )
    x, y = np.meshgrid([-600, -200, 200, 600], [-500, 0, 450])
    shapes = [square(raster, a + shift, b, 70) for a, b in zip(x.ravel(), y.ravel(), strict=True)]
    frame = {
        "plot_id": [f"K{number:02d}" for number in range(12)],
        "village": [("Ostrabek", "Tilverra", "Numbassi")[number % 3] for number in range(12)],
    }
    return gpd.GeoDataFrame(frame, geometry=shapes, crs=32736), raster
