"""A raster of R or K: what is read, and what is refused."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest
from rasterio.transform import Affine

from districtplan.errors import InputError
from districtplan.files.soil_raster import SoilRaster
from districtplan.grid import Window

VALUES = np.array([[10.0, 20.0], [-1.0, 40.0]], dtype=np.float32)


def test_values_are_read_on_the_files_own_grid(tiff, tmp_path):
    path = tiff(
        "r.tif", VALUES, nodata=-1.0, crs="EPSG:4326", transform=Affine(0.1, 0, 30, 0, -0.1, 0)
    )
    with SoilRaster("r.tif", tmp_path) as raster:
        assert raster.grid.crs.to_epsg() == 4326
        found = raster.read(Window(0, 0, 2, 2))
        assert raster.sha256 == {"r.tif": hashlib.sha256(path.read_bytes()).hexdigest()}
    np.testing.assert_array_equal(found, [[10, 20], [np.nan, 40]])


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("https://rasters.example/r.tif", "nothing is read from a network"),
        ("/vsicurl/https://rasters.example/r.tif", "nothing is read from a network"),
        ("none.tif", "doesn't exist"),
        ("text.tif", "is no GeoTIFF"),
        ("two.tif", "has 2 bands"),
        ("nowhere.tif", "states no CRS"),
    ],
)
def test_what_is_refused(tiff, tmp_path, name, said):
    (tmp_path / "text.tif").write_text("R 4500", encoding="utf-8")
    tiff("two.tif", np.stack([VALUES, VALUES]))
    tiff("nowhere.tif", VALUES, crs=None)
    with pytest.raises(InputError, match=said):
        SoilRaster(name, tmp_path)
