"""A real elevation raster that an ordinary package carries, with invented plots laid over it.

Run as ``python -m tests.real_elevation FOLDER`` to write ``plan.toml``, ``plots.gpkg`` and
``elevation.tif`` there.

The raster is the Jacksboro fault, Tennessee, 3 arc-seconds, from matplotlib's sample data (USGS
elevations, public domain). Its file gives the northern edge as ``ymin`` and the southern as
``ymax``. The plots are invented and far larger than a smallholder's: cells of 90 m see no others.
"""

from __future__ import annotations

import sys
from pathlib import Path

import geopandas as gpd
import matplotlib.cbook
import numpy as np
import rasterio
import shapely
from rasterio.transform import from_bounds
from rasterio.warp import Resampling, calculate_default_transform, reproject

UTM = 32616
NODATA = -32768

PLAN = """\
[plan]
version = 1

[district]
name = "Invented plots on real hills"
planting_date = 2026-04-20

[files]
plots = "plots.gpkg"
elevation = ["elevation.tif"]

[elevation]
vertical_error_m = {error}
error_correlation_m = 100.0

[soil]
rain_erosivity_mj_mm_ha_h_yr = 4500
erodibility_t_ha_h_ha_mj_mm = 0.03
cover_factor = 0.2
"""


def elevations() -> tuple[np.ndarray, tuple[float, float, float, float]]:
    """Give heights [m], north up, and the outer edges west, south, east, north [degrees]."""
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        edges = tuple(float(data[name]) for name in ("xmin", "ymax", "xmax", "ymin"))
        return data["elevation"].astype(np.int16), edges


def in_degrees(path: Path) -> None:
    """Write the raster on its own grid."""
    heights, edges = elevations()
    rows, columns = heights.shape
    with rasterio.open(
        path, "w", driver="GTiff", height=rows, width=columns, count=1, dtype="int16",
        crs="EPSG:4326", transform=from_bounds(*edges, columns, rows), nodata=NODATA,
    ) as file:  # fmt: skip
        file.write(heights, 1)


def in_metres(path: Path) -> None:
    """Write the raster warped once to UTM, cells of 90 m."""
    heights, edges = elevations()
    rows, columns = heights.shape
    transform, wide, high = calculate_default_transform(
        "EPSG:4326", f"EPSG:{UTM}", columns, rows, *edges, resolution=90.0
    )
    warped = np.full((high, wide), np.nan, dtype=np.float32)
    reproject(
        heights.astype(np.float32), warped, src_transform=from_bounds(*edges, columns, rows),
        src_crs="EPSG:4326", dst_transform=transform, dst_crs=f"EPSG:{UTM}",
        dst_nodata=np.nan, resampling=Resampling.cubic,
    )  # fmt: skip
    with rasterio.open(
        path, "w", driver="GTiff", height=high, width=wide, count=1, dtype="float32",
        crs=f"EPSG:{UTM}", transform=transform, nodata=np.nan,
    ) as file:  # fmt: skip
        file.write(warped, 1)


def plots(count: int, seed: int) -> gpd.GeoDataFrame:
    """Invent plots of 2 to 18 ha in six villages, in UTM."""
    rng = np.random.default_rng(seed)
    west, south, east, north = elevations()[1]
    outline = gpd.GeoSeries([shapely.box(west, south, east, north)], crs=4326).to_crs(UTM)
    west, south, east, north = outline.iloc[0].buffer(-1500).bounds
    shapes = []
    for _ in range(count):
        corners = int(rng.integers(5, 12))
        turn = 2 * np.pi * (np.arange(corners) + rng.uniform(-0.3, 0.3, corners)) / corners
        radius = rng.uniform(110, 260) * rng.uniform(0.7, 1.0, corners)
        x, y = rng.uniform(west, east), rng.uniform(south, north)
        shapes.append(
            shapely.Polygon(np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)]))
        )
    return gpd.GeoDataFrame(
        {
            "plot_id": [f"T{number:04d}" for number in range(count)],
            "village": [f"Sample {1 + number % 6}" for number in range(count)],
        },
        geometry=shapes,
        crs=UTM,
    )


def write(
    folder: Path, *, metres: bool, count: int = 240, seed: int = 1, error: float = 0.0
) -> Path:
    """Write a district; give its plan file."""
    folder.mkdir(parents=True, exist_ok=True)
    (in_metres if metres else in_degrees)(folder / "elevation.tif")
    plots(count, seed).to_file(folder / "plots.gpkg", driver="GPKG")
    plan = folder / "plan.toml"
    plan.write_text(PLAN.format(error=error), encoding="utf-8")
    return plan


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("Name the folder to write to: python -m tests.real_elevation FOLDER")
    sys.stdout.write(str(write(Path(sys.argv[1]), metres=False, error=2.0)) + "\n")
