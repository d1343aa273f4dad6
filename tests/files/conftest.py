from __future__ import annotations

from datetime import date

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine

from districtplan.files.plan_file import PlanFile
from districtplan.plan import District, Elevation, Files, Plan


@pytest.fixture
def plan_file(tmp_path):
    """Make a plan in a folder, with its [files] as asked."""

    def make(**files):
        plan = Plan(
            district=District(name="Invented Hills", planting_date=date(2026, 3, 15)),
            files=Files(**({"plots": "plots.gpkg", "elevation": ["dem.tif"]} | files)),
            elevation=Elevation(vertical_error_m=0.0, error_correlation_m=0.0),
        )
        return PlanFile(plan, tmp_path / "plan.toml", tmp_path)

    return make


@pytest.fixture
def tiff(tmp_path):
    """Write a small GeoTIFF."""

    def make(name, values, transform=None, crs="EPSG:32736", **profile):
        values = np.atleast_3d(values.T).T if values.ndim == 2 else values
        with rasterio.open(
            tmp_path / name,
            "w",
            **{
                "driver": "GTiff",
                "count": values.shape[0],
                "height": values.shape[1],
                "width": values.shape[2],
                "dtype": values.dtype,
                "crs": crs,
                "transform": transform or Affine(10, 0, 300_000, 0, -10, 9_800_000),
            }
            | profile,
        ) as target:
            target.write(values)
        return tmp_path / name

    return make
