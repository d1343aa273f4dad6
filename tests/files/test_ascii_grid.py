"""ASCII grids: whole ones against GDAL's own reader, broken ones refused at once and in words."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio

from districtplan.errors import InputError
from districtplan.files import ascii_grid
from districtplan.files.raster import Raster
from districtplan.grid import Window

HEADER = {
    "ncols": "4", "nrows": "3", "xllcorner": "300000", "yllcorner": "9799970", "cellsize": "10",
    "NODATA_value": "-9999",
}  # fmt: skip
BODY = "100 101 102 103\n104 105 106 107\n108 109 110 111\n"


def text(body=BODY, **keys):
    """Write a grid, with keys changed, or left out where None."""
    told = {key: value for key, value in (HEADER | keys).items() if value is not None}
    return "".join(f"{key} {value}\n" for key, value in told.items()) + body


@pytest.fixture
def opened(plan_file, tmp_path):
    def make(content):
        raw = content if isinstance(content, bytes) else content.encode()
        (tmp_path / "dem.asc").write_bytes(raw)
        return Raster(plan_file(elevation=["dem.asc"], elevation_crs="EPSG:32736"))

    return make


def whole(raster):
    return raster.read(Window(0, 0, raster.grid.rows, raster.grid.columns))


WHOLE = {
    "plain": text(),
    "upper case": text().upper(),
    "windows": text().replace("\n", "\r\n"),
    "centres": text(xllcorner=None, yllcorner=None, xllcenter="300005", yllcenter="9799975"),
    "two sizes": text(cellsize=None, dx="10", dy="20"),
    "broken rows": text(BODY.replace("103\n", "103 ").replace("109 ", "109\n\t")),
    "no last line end": text().rstrip(),
    "fractions": text("1.5e2 -1.25 +3 .5\n" + BODY[16:]),
    "no data": text(BODY.replace("105", "-9999.0")),
    "float no data": text(
        BODY.replace("105", "-3.4028234663852886e+38"), NODATA_value="-3.4028234663852886e+38"
    ),
}


@pytest.mark.parametrize("name", WHOLE)
def test_reads_as_gdal_does(name, opened, tmp_path):
    with opened(WHOLE[name]) as raster:
        values = whole(raster)
        grid = raster.grid
        assert raster.warnings == ()
        np.testing.assert_array_equal(raster.read(Window(1, 2, 2, 1)), values[1:, 2:3])
    with rasterio.open(tmp_path / "dem.asc", driver="AAIGrid") as source:
        expected = source.read(1, masked=True).astype(np.float32).filled(np.nan)
        shape = source.transform
    np.testing.assert_array_equal(values, expected)
    assert (grid.west, grid.north) == pytest.approx((shape.c, shape.f), abs=1e-6)
    assert (grid.cell_x, grid.cell_y) == (shape.a, -shape.e)


def test_what_gdal_does_not_read(opened):
    with opened(b"\xef\xbb\xbf\n" + text(BODY.replace("105", "nan")).encode()) as raster:
        assert np.argwhere(np.isnan(whole(raster))).tolist() == [[1, 1]]


def test_numbers_across_pieces(opened, monkeypatch):
    monkeypatch.setattr(ascii_grid, "PIECE_BYTES", 5)
    with opened(text(BODY.replace("107", "107.123456789"))) as raster:
        values = whole(raster)
    assert values[1, 3] == np.float32(107.123456789)
    np.testing.assert_array_equal(np.floor(values.ravel()), np.arange(100, 112))


HALF = text("100 " * 400 * 200, ncols="400", nrows="400")
FAULTS = {
    "half the rows": (HALF, "only 80,000, up to line 7"),
    "almost nothing": (text("1 2 3", ncols="3000", nrows="3000"), "ends before them"),
    "one short": (text(BODY[:-4] + "  \n\n"), "12 in all, but holds only 11, up to line 11"),
    "one more": (text(BODY + "1"), "but holds more"),
    "a word": (text(BODY.replace("109", "high")), "dem.asc line 9: 'high' isn't a number"),
    "a comma": (text(BODY.replace("109", "109,5")), "dem.asc line 9: '109,5' isn't a number"),
    "grouped": (text(BODY.replace("109", "1_09")), "dem.asc line 9: '1_09' isn't a number"),
    "two in one": (text(BODY.replace("109", "10-9")), "dem.asc line 9: '10-9' isn't a number"),
    "binary": (text().encode() + b"\0\xff", r"line 10: '\\x00\\xff' isn't a number"),
    "endless": (text("1" * 3_000_000), "holds only"),
    "no body": (text(""), "ends before them"),
    "no rows": (text(nrows=None), "lacks nrows in its header"),
    "no place": (text(xllcorner=None, yllcorner=None), "lacks yllcorner or yllcenter"),
    "both": (text(xllcenter="300005"), "gives both xllcorner and xllcenter"),
    "one size": (text(cellsize=None, dy="10"), "lacks cellsize or dx"),
    "no dy": (text(cellsize=None, dx="10"), "only one of dx and dy"),
    "twice": ("NCOLS 4\n" + text(), "dem.asc line 2: gives ncols twice"),
    "unknown key": (text(owner="me"), "dem.asc line 7: starts with 'owner', neither a key"),
    "no number": (text(cellsize="10m"), "dem.asc line 5: cellsize is '10m', not a number"),
    "infinite": (text(xllcorner="inf"), "dem.asc line 3: xllcorner is 'inf', not a number"),
    "zero": (text(cellsize="0"), "has cellsize 0, not above 0"),
    "below zero": (text(cellsize=None, dx="10", dy="-10"), "has dy -10, not above 0"),
    "half a row": (text(nrows="2.5"), "line 2: nrows is '2.5', not a whole number above 0"),
    "nothing": (text(nrows="0"), "line 2: nrows is '0', not a whole number above 0"),
    "wide": (text(ncols="10000000", nrows="1"), "declares 10,000,000 columns, more than 1,000,000"),
    "many": (text(ncols="100000", nrows="100000"), "10,000,000,000 cells, too many"),
    "empty key": (text(cellsize=""), "line 5: cellsize is '', not a number"),
    "huge size": (text(cellsize="1e300"), "outside the area of its CRS|on the ground"),
}  # fmt: skip


@pytest.mark.timeout(20)
@pytest.mark.parametrize("name", FAULTS)
def test_what_is_broken_is_refused_at_once(name, opened):
    content, match = FAULTS[name]
    with pytest.raises(InputError, match=match) as caught:
        opened(content)
    assert all(fault.remedy for fault in caught.value.faults)
