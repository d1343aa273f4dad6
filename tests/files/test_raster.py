from __future__ import annotations

import hashlib
import struct
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
import rasterio
from pyproj import CRS
from rasterio.transform import Affine

from districtplan.errors import InputError
from districtplan.files.raster import Raster
from districtplan.grid import Window

Z = np.arange(12, dtype=np.float32).reshape(3, 4) + 100


def whole(raster):
    return raster.read(Window(0, 0, raster.grid.rows, raster.grid.columns))


def test_one_file(plan_file, tiff):
    path = tiff("dem.tif", Z)
    with Raster(plan_file()) as raster:
        grid = raster.grid
        assert (grid.west, grid.north, grid.cell_x, grid.cell_y) == (300_000, 9_800_000, 10, 10)
        assert (grid.rows, grid.columns) == (3, 4)
        assert grid.crs.to_epsg() == 32736
        assert whole(raster).dtype == np.float32
        np.testing.assert_array_equal(whole(raster), Z)
        np.testing.assert_array_equal(raster.read(Window(1, 2, 2, 1)), Z[1:, 2:3])
        assert raster.sha256 == {"dem.tif": hashlib.sha256(path.read_bytes()).hexdigest()}
        assert raster.warnings == ()
        for window in (Window(-1, 0, 1, 1), Window(0, 0, 4, 1), Window(0, 3, 1, 2)):
            with pytest.raises(ValueError, match="leaves the grid"):
                raster.read(window)


@pytest.mark.parametrize(
    ("dtype", "nodata"),
    [
        ("int16", -32768),
        ("uint8", 255),
        ("int32", -9999),
        ("float32", -3.4028234663852886e38),
        ("float32", np.nan),
        ("float64", -9999.5),
        ("float32", 0.0),
    ],
)
def test_any_nodata(plan_file, tiff, dtype, nodata):
    values = Z.astype(dtype)
    values[1, 1] = nodata
    tiff("dem.tif", values, nodata=nodata)
    with Raster(plan_file()) as raster:
        read = whole(raster)
        assert raster.warnings == ()
    assert np.isnan(read[1, 1])
    assert np.isnan(read).sum() == 1
    assert read[2, 3] == 111


def test_undeclared_nodata_and_infinity(plan_file, tiff):
    values = Z.copy()
    values[0, 0], values[0, 1], values[0, 2], values[0, 3] = -9999, np.inf, -np.inf, 9000.5
    tiff("dem.tif", values)
    with Raster(plan_file()) as raster:
        read = whole(raster)
        assert raster.warnings == (
            "dem.tif: elevations outside -500 to 9000 m were taken as no data",
        )
    assert np.isnan(read[0]).all()
    np.testing.assert_array_equal(read[1:], Z[1:])


def test_scale_offset_and_mask(plan_file, tiff):
    path = tiff("dem.tif", Z.astype("int16"), nodata=103)
    with rasterio.open(path, "r+") as target:
        target.scales, target.offsets = (0.5,), (10.0,)
    with Raster(plan_file()) as raster:
        read = whole(raster)
    assert np.isnan(read[0, 3])
    assert read[2, 3] == 111 * 0.5 + 10


def test_internal_mask(plan_file, tmp_path):
    with (
        rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True),
        rasterio.open(
            tmp_path / "dem.tif",
            "w",
            driver="GTiff",
            count=1,
            height=3,
            width=4,
            dtype="float32",
            crs="EPSG:32736",
            transform=Affine(10, 0, 0, 0, -10, 0),
        ) as target,
    ):
        target.write(Z, 1)
        target.write_mask(Z != 105)
    with Raster(plan_file()) as raster:
        read = whole(raster)
    assert np.argwhere(np.isnan(read)).tolist() == [[1, 1]]


def test_south_up_is_turned(plan_file, tiff):
    tiff("dem.tif", Z[::-1], Affine(10, 0, 300_000, 0, 10, 9_799_970))
    with Raster(plan_file()) as raster:
        assert raster.grid.north == 9_800_000
        np.testing.assert_array_equal(whole(raster), Z)
        np.testing.assert_array_equal(raster.read(Window(0, 1, 2, 2)), Z[:2, 1:3])


def refuse(plan, match):
    with pytest.raises(InputError, match=match) as caught:
        Raster(plan)
    assert all(fault.remedy for fault in caught.value.faults)


def test_what_is_refused(plan_file, tiff, tmp_path):
    tiff("rotated.tif", Z, Affine(10, 1, 0, 1, -10, 0))
    tiff("mirrored.tif", Z, Affine(-10, 0, 0, 0, -10, 0))
    tiff("bands.tif", np.stack([Z, Z]))
    tiff("complex.tif", Z.astype("complex64"))
    tiff("nocrs.tif", Z, crs=None)
    tiff("engineering.tif", Z, crs='LOCAL_CS["here",UNIT["metre",1]]')
    (tmp_path / "page.tif").write_text("<html>")
    (tmp_path / "empty.tif").touch()
    (tmp_path / "cut.tif").write_bytes(b"II*\0" + b"\1" * 20)
    refuse(plan_file(elevation=["rotated.tif"]), "rotated or mirrored.*Warp it")
    refuse(plan_file(elevation=["mirrored.tif"]), "rotated or mirrored")
    refuse(plan_file(elevation=["bands.tif"]), "2 bands")
    refuse(plan_file(elevation=["complex.tif"]), "holds complex64 values")
    refuse(plan_file(elevation=["nocrs.tif"]), "states no CRS. Set elevation_crs")
    refuse(plan_file(elevation=["engineering.tif"]), "where on Earth")
    refuse(plan_file(elevation=["page.tif"]), "neither GeoTIFF nor an ASCII grid")
    refuse(plan_file(elevation=["empty.tif"]), "is empty")
    refuse(plan_file(elevation=["cut.tif"]), "can't be read")
    refuse(plan_file(elevation=["dem.tif"]), "doesn't exist")
    refuse(plan_file(elevation=["nocrs.tif"], elevation_crs="EPSG:99999999"), "isn't understood")
    with Raster(plan_file(elevation=["nocrs.tif"], elevation_crs="EPSG:32736")) as raster:
        assert raster.grid.crs.to_epsg() == 32736


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_no_position_is_refused(plan_file, tiff):
    tiff("dem.tif", Z, Affine.identity())
    refuse(plan_file(), "doesn't say where it lies")


def test_crs_that_contradicts_the_plan(plan_file, tiff):
    tiff("dem.tif", Z)
    refuse(plan_file(elevation_crs="EPSG:32737"), "states the CRS .*Remove elevation_crs")
    Raster(plan_file(elevation_crs="EPSG:32736")).close()


def with_elevation(plan, **keys):
    """The same plan with other keys in its section of elevation."""
    section = plan.plan.elevation.model_copy(update=keys)
    return replace(plan, plan=plan.plan.model_copy(update={"elevation": section}))


@pytest.mark.parametrize(
    ("unit", "metres"),
    [("foot", Fraction(3048, 10_000)), ("US survey foot", Fraction(1200, 3937))],
)
def test_a_unit_is_as_long_as_it_is_defined(unit, metres, plan_file, tiff):
    """Both exact (NIST and NOAA 2020, 85 FR 62698), and 12 mm apart at 20,000 feet."""
    tiff("dem.tif", np.full((3, 3), 20_000, dtype=np.int16))
    with Raster(with_elevation(plan_file(), vertical_unit=unit)) as raster:
        # No more off than single precision can hold.
        assert whole(raster) == pytest.approx(float(20_000 * metres), rel=2**-24)


def test_heights_in_feet_are_converted_only_where_the_plan_says_so(plan_file, tiff):
    path = tiff("dem.tif", Z)
    with rasterio.open(path, "r+") as target:
        target.units = ("ft",)
    refuse(plan_file(), "heights in 'ft'.*vertical_unit = \"foot\"")
    refuse(with_elevation(plan_file(), vertical_unit="metre"), "'ft', the plan in 'metre'")
    refuse(with_elevation(plan_file(), vertical_unit="US survey foot"), "the plan in 'US survey")
    with Raster(with_elevation(plan_file(), vertical_unit="foot")) as raster:
        np.testing.assert_allclose(whole(raster), Z * 0.3048, rtol=1e-6)
    tiff("dem.tif", Z, crs="EPSG:2263+6360")
    refuse(plan_file(), "heights in 'us survey foot'.*vertical_unit = \"US survey foot\"")
    with rasterio.open(path, "r+") as target:
        target.units = ("fathom",)
    refuse(plan_file(), "heights in 'fathom'. Convert them to metres in a GIS$")
    tiff("dem.tif", Z)
    with Raster(with_elevation(plan_file(), vertical_unit="foot")) as raster:
        np.testing.assert_allclose(whole(raster), Z * 0.3048, rtol=1e-6)


def test_a_map_in_feet_asks_for_the_unit_of_heights(plan_file, tiff):
    tiff("dem.tif", Z, Affine(30, 0, 984_000, 0, -30, 200_000), crs="EPSG:2263")
    refuse(plan_file(), "doesn't say whether its heights are in feet too. Set vertical_unit")
    with Raster(with_elevation(plan_file(), vertical_unit="metre")) as raster:
        np.testing.assert_array_equal(whole(raster), Z)


def test_gaps_are_filled_as_far_as_the_plan_says(plan_file, tiff):
    row, column = np.mgrid[0:30, 0:40].astype(np.float32)
    plane = 1800 + row - 0.5 * column
    holed = plane.copy()
    holed[10:12, 10:12] = holed[20:26, 20:26] = np.nan
    tiff("dem.tif", holed, nodata=np.nan)
    with Raster(plan_file()) as raster:
        assert np.isnan(whole(raster)).sum() == 40
        assert raster.filled(Window(0, 0, 30, 40)) is None
    with Raster(with_elevation(plan_file(), voids_filled_max_m=29.0)) as raster:
        np.testing.assert_allclose(whole(raster)[10:12, 10:12], plane[10:12, 10:12], atol=1e-3)
        assert np.isnan(whole(raster)).sum() == 36
        marked = raster.filled(Window(0, 0, 30, 40))
        assert np.argwhere(marked).tolist() == [[10, 10], [10, 11], [11, 10], [11, 11]]
        # The same from a window that ends inside the gap.
        np.testing.assert_array_equal(
            raster.read(Window(11, 11, 2, 2)), whole(raster)[11:13, 11:13]
        )
        assert raster.filled(Window(11, 11, 2, 2)).sum() == 1
        assert raster.filled(Window(0, 0, 5, 5)) is None


def test_compound_crs_keeps_its_horizontal_part(plan_file, tiff):
    tiff("dem.tif", Z, crs="EPSG:32736+5773")
    with Raster(plan_file()) as raster:
        assert raster.grid.crs.to_epsg() == 32736


def test_degrees(plan_file, tiff):
    tiff("dem.tif", Z, Affine(0.001, 0, 30, 0, -0.001, -2), crs="EPSG:4326")
    with Raster(plan_file()) as raster:
        assert raster.grid.crs.is_geographic
        assert (raster.grid.west, raster.grid.north) == (30, -2)


def test_ascii_grid(plan_file, tmp_path):
    (tmp_path / "dem.asc").write_text(
        "NCOLS 4\nNROWS 3\nXLLCORNER 300000\nYLLCORNER 9799970\nCELLSIZE 10\nNODATA_VALUE -9999\n"
        + "\n".join(" ".join(f"{value:g}" for value in row) for row in Z).replace("105", "-9999")
    )
    refuse(plan_file(elevation=["dem.asc"]), "states no CRS")
    with Raster(plan_file(elevation=["dem.asc"], elevation_crs="EPSG:32736")) as raster:
        read = whole(raster)
        assert raster.grid.north == 9_800_000
    assert np.argwhere(np.isnan(read)).tolist() == [[1, 1]]
    assert read[2, 3] == 111
    wkt = CRS.from_epsg(32736).to_wkt("WKT1_ESRI")
    (tmp_path / "dem.prj").write_text(wkt)
    with Raster(plan_file(elevation=["dem.asc"])) as raster:
        assert raster.grid.crs.is_projected
        assert "36S" in raster.grid.crs.name
    (tmp_path / "dem.prj").write_text("rubbish")
    refuse(plan_file(elevation=["dem.asc"]), "dem.prj: CRS 'rubbish' isn't understood")


def test_tiles_make_one_grid_and_the_first_value_wins(plan_file, tiff):
    rng = np.random.default_rng(1)
    truth = rng.uniform(100, 200, (20, 30)).astype(np.float32)
    corner = lambda row, column: Affine(10, 0, 10 * column, 0, -10, -10 * row)  # noqa: E731
    first = truth[4:12, 5:18].copy()
    first[2, 3] = np.nan
    tiff("a.tif", first, corner(4, 5))
    tiff("b.tif", truth[:10, 10:] + 1000, corner(0, 10))
    tiff("c.tif", truth[3:, :12] + 2000, corner(3, 0))
    expected = np.full_like(truth, np.nan)
    expected[3:, :12] = truth[3:, :12] + 2000
    expected[:10, 10:] = truth[:10, 10:] + 1000
    expected[4:12, 5:18] = np.where(np.isnan(first), expected[4:12, 5:18], first)
    with Raster(plan_file(elevation=["a.tif", "b.tif", "c.tif"])) as raster:
        assert (raster.grid.west, raster.grid.north) == (0, 0)
        assert (raster.grid.rows, raster.grid.columns) == truth.shape
        np.testing.assert_array_equal(whole(raster), expected)
        for row, column in rng.integers(0, [15, 25], (20, 2)):
            np.testing.assert_array_equal(
                raster.read(Window(int(row), int(column), 5, 5)),
                expected[row : row + 5, column : column + 5],
            )


def test_tiles_say_which_one_each_height_is_from(plan_file, tiff):
    first = np.array([[1, 2, -1], [3, -1, 4]], dtype=np.float32)
    tiff("a.tif", first, nodata=-1)
    second = np.full((2, 3), 9, dtype=np.float32)
    second[1, 2] = -1
    tiff("b.tif", second, Affine(10, 0, 300_010, 0, -10, 9_800_000), nodata=-1)
    with Raster(plan_file(elevation=["a.tif", "b.tif"])) as raster:
        assert raster.tiles(Window(0, 0, 2, 4)).tolist() == [[0, 0, 1, 1], [0, 1, 0, -1]]
        assert raster.tiles(Window(1, 1, 1, 2)).tolist() == [[1, 0]]
        # One tile alone has no seam.
        assert raster.tiles(Window(0, 0, 2, 1)) is None
        assert raster.tiles(Window(0, 3, 2, 1)) is None
    with Raster(plan_file(elevation=["a.tif"])) as raster:
        assert raster.tiles(Window(0, 0, 2, 3)) is None


def test_tiles_that_do_not_fit(plan_file, tiff):
    tiff("dem.tif", Z)
    tiff("zone.tif", Z, crs="EPSG:32737")
    tiff("shifted.tif", Z, Affine(10, 0, 300_005, 0, -10, 9_800_000))
    tiff("size.tif", Z, Affine(10.1, 0, 300_000, 0, -10, 9_800_000))
    tiff("far.tif", Z, Affine(10, 0, 3e12, 0, -10, 9_800_000))
    refuse(plan_file(elevation=["dem.tif", "zone.tif"]), "another CRS than dem.tif")
    refuse(plan_file(elevation=["dem.tif", "shifted.tif"]), "isn't aligned")
    refuse(plan_file(elevation=["dem.tif", "size.tif"]), "another cell size")
    refuse(plan_file(elevation=["dem.tif", "far.tif"]), "too far apart")
    with pytest.raises(InputError) as caught:
        Raster(plan_file(elevation=["dem.tif", "zone.tif", "shifted.tif"]))
    assert len(caught.value.faults) == 2


def test_tiny_file_that_declares_a_gigantic_block(plan_file, tmp_path):
    """A file of some 200 bytes that declares one strip of 17 GB."""
    side = 65_000
    tags = [
        (256, 4, side), (257, 4, side), (258, 3, 32), (259, 3, 8), (262, 3, 1), (273, 4, 8),
        (277, 3, 1), (278, 4, side), (279, 4, 16), (339, 3, 3),
    ]  # fmt: skip
    doubles = struct.pack("<9d", 10, 10, 0, 0, 0, 0, 3e5, 9.8e6, 0)
    start = 8 + 2 + 12 * (len(tags) + 2) + 4
    entries = b"".join(struct.pack("<HHII", tag, kind, 1, value) for tag, kind, value in tags)
    entries += struct.pack("<HHII", 33550, 12, 3, start)
    entries += struct.pack("<HHII", 33922, 12, 6, start + 24)
    (tmp_path / "dem.tif").write_bytes(
        b"II*\0\x08\0\0\0" + struct.pack("<H", len(tags) + 2)
        + entries + b"\0\0\0\0" + doubles
    )  # fmt: skip
    refuse(plan_file(elevation_crs="EPSG:32736"), "blocks of .* too large to read")


def test_damage_inside_is_told_on_reading(plan_file, tiff):
    path = tiff("dem.tif", np.tile(Z, (100, 100)), compress="deflate")
    raw = bytearray(path.read_bytes())
    raw[len(raw) // 2 : len(raw) // 2 + 400] = b"\xaa" * 400
    path.write_bytes(raw)
    with Raster(plan_file()) as raster, pytest.raises(InputError, match="can't be read"):
        whole(raster)


def test_absurd_sizes_are_refused(plan_file, tiff):
    tiff("wide.tif", np.zeros((1, 1_000_001), dtype=np.uint8))
    tiff("fine.tif", Z, Affine(0.04, 0, 300_000, 0, -0.04, 9_800_000))
    tiff("coarse.tif", Z, Affine(10, 0, 30, 0, -10, -2), crs="EPSG:4326")
    tiff("off.tif", Z, Affine(0.01, 0, 30, 0, -0.01, -200), crs="EPSG:4326")
    refuse(plan_file(elevation=["wide.tif"]), "1,000,001 columns, more than 1,000,000. Cut it")
    refuse(plan_file(elevation=["fine.tif"]), r"cells of 0\.04 by 0\.04 m on the ground")
    refuse(plan_file(elevation=["coarse.tif"]), r"cells of 1\.06e\+06 by 1\.11e\+06 m")
    refuse(plan_file(elevation=["off.tif"]), "outside the area of its CRS")


def test_scales_that_lose_the_heights_are_refused(plan_file, tiff):
    path = tiff("dem.tif", Z)
    for scale, offset in ((0.0, 0.0), (np.nan, 0.0), (np.inf, 0.0), (1.0, np.nan)):
        with rasterio.open(path, "r+") as target:
            target.scales, target.offsets = (scale,), (offset,)
        refuse(plan_file(), "to be multiplied by .* and raised by")


def test_a_tile_named_twice_is_refused(plan_file, tiff, tmp_path):
    tiff("dem.tif", Z)
    (tmp_path / "link.tif").symlink_to("dem.tif")
    refuse(plan_file(elevation=["dem.tif", "dem.tif"]), "is named twice")
    refuse(plan_file(elevation=["dem.tif", "./dem.tif"]), "also as dem.tif. Name each tile once")
    refuse(plan_file(elevation=["dem.tif", "link.tif"]), "also as dem.tif")


def test_tiles_that_differ_where_they_overlap_are_told(plan_file, tiff):
    near, far = Z + 0.005, Z.copy()
    near[0, 0] = np.nan
    far[2, 3] += 1.25
    tiff("a.tif", Z)
    tiff("b.tif", near)
    tiff("c.tif", far)
    with Raster(plan_file(elevation=["a.tif", "b.tif"])) as raster:
        np.testing.assert_array_equal(whole(raster), Z)
        assert raster.warnings == ()
    with Raster(plan_file(elevation=["a.tif", "b.tif", "c.tif"])) as raster:
        raster.read(Window(0, 0, 2, 4))
        assert raster.warnings == ()
        np.testing.assert_array_equal(whole(raster), Z)
        (told,) = raster.warnings
    assert told.startswith("c.tif: differs by up to 1.25 m")
