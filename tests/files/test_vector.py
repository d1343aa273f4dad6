from __future__ import annotations

import hashlib
import json
import sqlite3
import warnings

import geopandas
import numpy as np
import pyogrio
import pytest
import shapely
from shapely import Polygon, box

from districtplan.errors import InputError
from districtplan.files.plan_file import PlanFile
from districtplan.files.vector import read_plots, read_reference_land
from tests.files.stored import (
    DRAWN,
    HOLED,
    IDS,
    PARTS,
    SHAPED,
    SQUARES,
    VILLAGES,
    frame,
    refuse,
    ring_bytes,
    store,
)


@pytest.mark.parametrize("suffix", DRAWN)
def test_round_trip_over_all_readers(suffix, tmp_path, plan_file):
    geometry = [*SQUARES[:2], HOLED, PARTS]
    data = frame(geometry, "EPSG:4326", plot_id=["A-1", "Ø 2", "3", "<b>&"][: len(geometry)])
    if suffix in {".kml", ".kmz"}:
        data.loc[3, "plot_id"] = "4"
    path = tmp_path / f"plots{suffix}"
    store(path, data)
    stated = {"plots_crs": "EPSG:4326"} if suffix == ".csv" else {}
    raw = read_plots(plan_file(plots=path.name, **stated))
    assert raw.frame["source_row"].tolist() == [1, 2, 3, 4]
    assert raw.frame["plot_id"].tolist() == data["plot_id"].tolist()
    assert raw.frame["village"].tolist() == VILLAGES
    assert raw.frame["problem"].tolist() == [None] * 4
    assert "farmer_name" not in raw.frame
    assert raw.crs.is_geographic
    for given, found in zip(geometry, raw.frame["geometry"], strict=True):
        assert shapely.equals(given, found)
        assert shapely.area(given) == pytest.approx(shapely.area(found), rel=1e-12)
    assert raw.sha256[path.name] == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize("suffix", sorted({".gpkg", ".geojson", ".shp", ".fgb", ".parquet"}))
def test_missing_values_and_outlines_stay_rows(suffix, tmp_path, plan_file):
    geometry = [None, *SQUARES[1:]]
    path = tmp_path / f"plots{suffix}"
    store(path, frame(geometry, "EPSG:4326"))
    found = read_plots(plan_file(plots=path.name)).frame
    ids = found["plot_id"].tolist()[:3]
    # A shapefile's table is of fixed width: blanks at the ends are lost in it, not here.
    assert ids == [name.strip() if suffix == ".shp" else name for name in IDS[:3]]
    assert found["plot_id"][3] is None or found["plot_id"][3] == ""
    assert found["geometry"][0] is None
    assert found["geometry"][1] is not None


def test_numbers_as_ids_and_farmers(tmp_path, plan_file):
    data = frame(plot_id=[1, 2, None, 4], farmer=["A", None, "C", "D"])
    for name in ("plots.gpkg", "plots.parquet", "plots.shp"):
        store(tmp_path / name, data)
        raw = read_plots(plan_file(plots=name, farmer_name_column="farmer"))
        assert raw.frame["plot_id"].tolist() == [1, 2, None, 4]
        assert raw.frame["farmer_name"].tolist() == ["A", None, "C", "D"]
        assert raw.crs.to_epsg() == 32736 or raw.crs.is_projected


@pytest.mark.parametrize("suffix", [".gpkg", ".fgb", ".shp", ".parquet"])
def test_one_broken_ring_costs_one_row(suffix, tmp_path, plan_file):
    good = [shapely.to_wkb(square) for square in SQUARES]
    wkb = np.array(
        [
            good[0],
            ring_bytes([(0, 0), (1, 0), (1, 1), (0, 1)]),
            ring_bytes([(0, 0), (0, 0)]),
            good[3],
        ],
        dtype=object,
    )
    path = tmp_path / f"plots{suffix}"
    if suffix == ".parquet":
        frame().to_parquet(path)
        _replace_wkb(path, wkb)
    else:
        driver = {".gpkg": "GPKG", ".fgb": "FlatGeobuf", ".shp": "ESRI Shapefile"}[suffix]
        options = {"SPATIAL_INDEX": "NO"} if suffix == ".fgb" else {}
        fields = [np.array(["a", "b", "c", "d"], dtype=object)] * 2
        pyogrio.raw.write(
            path, wkb, fields, ["plot_id", "village"], geometry_type="Polygon",
            crs="EPSG:32736", driver=driver, **options,
        )  # fmt: skip
    found = read_plots(plan_file(plots=path.name)).frame
    assert len(found) == 4
    assert found["geometry"][0].equals(SQUARES[0])
    assert found["geometry"][3].equals(SQUARES[3])
    assert found["geometry"][1].equals(box(0, 0, 1, 1))
    assert found["done"].tolist() == [(), ("a ring that was open was closed",), (), ()]
    assert "Invalid number of points" in found["problem"][2]


def _replace_wkb(path, wkb):
    import pyarrow as pa
    import pyarrow.parquet as pq

    table = pq.read_table(path)
    table = table.set_column(table.schema.get_field_index("geometry"), "geometry", pa.array(wkb))
    table = table.replace_schema_metadata(pq.read_schema(path).metadata)
    pq.write_table(table, path)


CURVE = (
    b"\x01" + np.array([10, 1], dtype="<u4").tobytes()
    + b"\x01" + np.array([8, 5], dtype="<u4").tobytes()
    + np.array([0, 0, 1, 1, 2, 0, 1, -1, 0, 0], dtype="<f8").tobytes()
)  # fmt: skip


def test_curves(tmp_path, plan_file):
    good = shapely.to_wkb(SQUARES[0])
    wkb = np.array([good, CURVE, b"\x01\x02", None], dtype=object)
    frame().to_parquet(tmp_path / "plots.parquet")
    _replace_wkb(tmp_path / "plots.parquet", wkb)
    found = read_plots(plan_file(plots="plots.parquet")).frame
    assert found["problem"][1] == "the outline has curves"
    assert "can't be read" in found["problem"][2]
    assert found["problem"][3] is None
    assert found["geometry"][0].equals(SQUARES[0])
    fields = [np.array(["a", "b"], dtype=object)] * 2
    pyogrio.raw.write(
        tmp_path / "plots.gpkg", wkb[:2], fields, ["plot_id", "village"],
        geometry_type="Unknown", crs="EPSG:32736", driver="GPKG",
    )  # fmt: skip
    found = read_plots(plan_file()).frame
    assert found["geometry"][1].area == pytest.approx(np.pi, rel=2e-3)


def test_damaged_geopackage_rows(tmp_path, plan_file):
    store(tmp_path / "plots.gpkg", frame())
    with sqlite3.connect(tmp_path / "plots.gpkg") as base:
        for (name,) in base.execute("SELECT name FROM sqlite_master WHERE type='trigger'"):
            base.execute(f'DROP TRIGGER "{name}"')
        base.execute("UPDATE plots SET geom = 'text' WHERE fid = 1")
        base.execute("UPDATE plots SET geom = x'4750000300' WHERE fid = 2")
    base.close()
    found = read_plots(plan_file()).frame
    assert [outline is None for outline in found["geometry"]] == [True, True, False, False]


def test_nothing_is_written_beside_the_input(tmp_path, plan_file):
    store(tmp_path / "plots.gpkg", frame())
    with sqlite3.connect(tmp_path / "plots.gpkg") as base:
        base.execute("PRAGMA journal_mode = wal")
    base.close()
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert len(read_plots(plan_file()).frame) == 4
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
    (tmp_path / "plots.gpkg-wal").write_bytes(b"edits")
    refuse(plan_file(), "open in another program")


def test_layers(tmp_path, plan_file):
    for layer in ("plots", "other; plots"):
        frame().to_file(tmp_path / "plots.gpkg", layer=layer, driver="GPKG", engine="pyogrio")
    refuse(plan_file(), "several layers: plots, other; plots. Set plots_layer")
    refuse(plan_file(plots_layer="nine"), "no layer 'nine'; its layers: plots, other; plots")
    assert len(read_plots(plan_file(plots_layer="other; plots")).frame) == 4


@pytest.mark.parametrize("suffix", DRAWN)
def test_missing_columns_are_told_together(suffix, tmp_path, plan_file):
    store(tmp_path / f"plots{suffix}", frame(crs="EPSG:4326", plot_id=list("abcd")))
    plan = plan_file(plots=f"plots{suffix}", plot_id_column="plotid", village_column="zzz")
    first, second = refuse(plan, "plotid")
    assert "plot_id" in first.what
    assert first.remedy == "Set plot_id_column in [files], perhaps to 'plot_id'"
    assert second.remedy == "Set village_column in [files]"


def test_no_crs(tmp_path, plan_file):
    for name in ("plots.gpkg", "plots.shp", "plots.fgb", "plots.parquet"):
        with warnings.catch_warnings(action="ignore"):
            store(tmp_path / name, frame(crs=None))
        refuse(plan_file(plots=name), "states no CRS. Set plots_crs|where on Earth")
        if not name.endswith("gpkg"):
            raw = read_plots(plan_file(plots=name, plots_crs="EPSG:32736"))
            assert raw.crs.to_epsg() == 32736


def test_plots_crs_against_the_file(tmp_path, plan_file):
    store(tmp_path / "plots.gpkg", frame())
    refuse(plan_file(plots_crs="EPSG:32737"), "states the CRS .* Remove plots_crs")
    refuse(plan_file(plots_crs="nonsense"), "'nonsense' isn't understood")
    refuse(plan_file(plots_crs="+proj=utm +zone=36 +nadgrids=@http://x/y"), "isn't a code")
    assert read_plots(plan_file(plots_crs="EPSG:32736")).crs.to_epsg() == 32736


def test_shapefile_without_its_files(tmp_path, plan_file):
    store(tmp_path / "plots.shp", frame())
    for suffix in (".shx", ".dbf"):
        (tmp_path / f"plots{suffix}").rename(tmp_path / "aside")
        refuse(plan_file(plots="plots.shp"), f"lacks plots{suffix} beside it. .*copy them all")
        (tmp_path / "aside").rename(tmp_path / f"plots{suffix}")
    raw = read_plots(plan_file(plots="plots.shp"))
    assert sorted(raw.sha256) == ["plots.cpg", "plots.dbf", "plots.prj", "plots.shp", "plots.shx"]


def test_heights_are_kept_for_intake_to_drop(tmp_path, plan_file):
    store(tmp_path / "plots.gpkg", frame(shapely.force_3d(SQUARES, 7.0)))
    found = read_plots(plan_file()).frame
    assert shapely.equals(found["geometry"].to_numpy(), SQUARES).all()


@pytest.mark.parametrize(
    ("name", "content", "match"),
    [
        ("plots.gpkg", b"SQLite format 3\0" + b"\0" * 100, "named as GeoPackage but holds"),
        ("plots.gpkg", b"<OGRVRTDataSource/>", "named as GeoPackage but holds"),
        ("plots.gpkg", b"SQLite format 3\0" + b"\0" * 52 + b"GPKG" + b"\7" * 900, "can't be read"),
        ("plots.shp", b"\0\0\x27\x0a", "lacks plots.shx and plots.dbf"),
        ("plots.fgb", b"fgb\x03fgb\0" + b"\xff" * 99, "has no layer of outlines|can't be read"),
        ("plots.kml", b"<html/>", "starts with <html>"),
        ("plots.kml", b"<kml><Placemark>", "isn't XML"),
        ("plots.kml", b'<!DOCTYPE k [<!ENTITY a "b">]><kml/>', "document type"),
        ("plots.kml", "<?xml version='1.0' encoding='utf-16'?><kml/>".encode("utf-16"), "named as"),
        ("plots.kml", b"<kml><NetworkLink/></kml>", "NetworkLink"),
        ("plots.parquet", b"PAR1" + b"\0" * 50 + b"PAR1", "can't be read"),
        ("plots.geojson", b"{", "isn't JSON"),
        ("plots.geojson", b'{"a":' + b"[" * 100_000, "nests lists"),
        (
            "plots.geojson",
            b'{"a": 1' + b"0" * 9000 + b"}",
            "has a number of thousands of digits. E",
        ),
        ("plots.geojson", b'{"type": "Feature"}', "isn't a GeoJSON FeatureCollection"),
        ("plots.geojson", b'{"type": "FeatureCollection"}', "no list of features"),
        ("plots.geojson", b'{"type": "FeatureCollection", "features": [1]}', "no list of features"),
        ("plots.geojson", b"{\xff", "isn't UTF-8"),
        ("plots.geojson", b"", "is empty"),
        ("plots.zip", b"PK", "'.zip', which isn't read. Export it as one of .gpkg, .geojson"),
        ("plots", b"PK", "has the suffix ''"),
    ],
)
def test_files_that_are_not_what_they_say(name, content, match, tmp_path, plan_file):
    (tmp_path / name).write_bytes(content)
    refuse(plan_file(plots=name), match)


def collection(*geometries, **members):
    features = [
        {"type": "Feature", "properties": {"plot_id": n, "village": "V"}, "geometry": geometry}
        for n, geometry in enumerate(geometries)
    ]
    return json.dumps({"type": "FeatureCollection", "features": features} | members)


def polygon_of(*rings):
    return {"type": "Polygon", "coordinates": list(rings)}


RING = [[0, 0], [1, 0], [1, 1], [0, 0]]


@pytest.mark.parametrize(
    ("geometry", "problem"),
    [
        (polygon_of([RING[0], RING[1], RING[0]]), "a ring has 3 points, fewer than 4"),
        (polygon_of(RING, RING[:2]), "a ring has 2 points"),
        (polygon_of([[0, 0], [1, "0"], [1, 1], [0, 0]]), "isn't a pair of numbers"),
        (polygon_of([[0, 0], [1, True], [1, 1], [0, 0]]), "isn't a pair of numbers"),
        (polygon_of([[0, 0], [1], [1, 1], [0, 0]]), "isn't a pair of numbers"),
        (polygon_of([[0, 0], None, [1, 1], [0, 0]]), "isn't a pair of numbers"),
        (polygon_of([[0, 0], [1, float("nan")], [1, 1], [0, 0]]), "a coordinate isn't finite"),
        (polygon_of([[0, 0], [1, 10**400], [1, 1], [0, 0]]), "believable numbers"),
        (polygon_of("abcd"), "a ring has 0 points"),
        ({"type": "Polygon"}, "isn't a list of rings"),
        ({"type": "MultiPolygon", "coordinates": 3}, "isn't a list of parts"),
        ({"type": "MultiPolygon", "coordinates": [[RING], [RING[:2]]]}, "a ring has 2 points"),
        ({"type": "Point", "coordinates": [0, 0]}, "'Point', not a polygon"),
        ({"type": ["x"]}, "not a polygon"),
        ("text", "isn't a GeoJSON geometry"),
    ],
)
def test_broken_geojson_outline_costs_one_row(geometry, problem, tmp_path, plan_file):
    text = collection(polygon_of(RING), geometry, None, polygon_of())
    (tmp_path / "plots.geojson").write_text(text)
    found = read_plots(plan_file(plots="plots.geojson")).frame
    assert found["plot_id"].tolist() == [0, 1, 2, 3]
    assert problem in found["problem"][1]
    assert found["geometry"][1] is None
    assert found["problem"].tolist()[2:] == [None, None]
    assert found["geometry"][0].area == 0.5
    assert found["geometry"][3].is_empty


@pytest.mark.parametrize("points", [RING[:3], [[0, 0], [1, 0], [1, 1], [0, 1]]])
def test_an_open_geojson_ring_is_closed_and_told(points, tmp_path, plan_file):
    text = collection(polygon_of(RING), polygon_of(points, RING))
    (tmp_path / "plots.geojson").write_text(text)
    found = read_plots(plan_file(plots="plots.geojson")).frame
    assert found["done"].tolist() == [(), ("a ring that was open was closed",)]
    assert shapely.get_coordinates(found["geometry"][1].exterior).tolist() == [*points, points[0]]


def test_geojson_crs(tmp_path, plan_file):
    plan = plan_file(plots="plots.geojson")

    def crs(member, files=plan):
        (tmp_path / "plots.geojson").write_text(collection(polygon_of(RING), crs=member))
        return read_plots(files).crs

    named = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32736"}}
    assert crs(None).to_epsg() == 4326
    assert crs(named).to_epsg() == 32736
    named["properties"]["name"] = "urn:ogc:def:crs:OGC:1.3:CRS84"
    assert crs(named).is_geographic
    assert crs(None, plan_file(plots="plots.geojson", plots_crs="EPSG:32736")).to_epsg() == 32736
    for hostile in (
        {"type": "link", "properties": {"href": "http://localhost/crs", "type": "proj4"}},
        {"type": "name", "properties": {"name": 3}},
        {"type": "name"},
        "EPSG:4326",
        {"type": "name", "properties": {"name": "http://localhost/crs"}},
    ):
        with pytest.raises(InputError):
            crs(hostile)


def test_kml_rings_and_folders(tmp_path, plan_file):
    ring = "<{0}BoundaryIs><LinearRing><coordinates>{1}</coordinates></LinearRing></{0}BoundaryIs>"
    outer = ring.format("outer", "0,0 1,0 1,1 0,0")

    def mark(inside):
        return (
            "<Placemark><name>n</name><ExtendedData><Data name='village'><value> V </value></Data>"
            f"</ExtendedData>{inside}</Placemark>"
        )

    marks = [
        f"<Polygon>{outer}</Polygon>",
        f"<Polygon>{ring.format('outer', '0,0 1,0 1,1')}</Polygon>",
        f"<Polygon>{ring.format('outer', '0,0 x,0 1,1 0,0')}</Polygon>",
        f"<Polygon>{outer}{outer}</Polygon>",
        "<Point><coordinates>0,0</coordinates></Point>",
        "",
    ]
    (tmp_path / "plots.kml").write_text(
        "<kml><Document><Folder><name>a</name>" + "".join(map(mark, marks))
        + "</Folder><Folder><name>b</name>" + mark(marks[0]) + "</Folder></Document></kml>"
    )  # fmt: skip
    plan = plan_file(plots="plots.kml", plot_id_column="name")
    found = read_plots(plan).frame
    assert len(found) == 7
    assert found["village"][0] == "V"
    assert [len(done) for done in found["done"]] == [0, 1, 0, 0, 0, 0, 0]
    assert [None if told is None else told[:20] for told in found["problem"]] == [
        None, None, "'x,0' isn't longitud", "a polygon has 2 oute",
        "the geometry has a P", None, None,
    ]  # fmt: skip
    plan = plan_file(plots="plots.kml", plot_id_column="name", plots_layer="b")
    assert len(read_plots(plan).frame) == 1
    refuse(plan_file(plots="plots.kml", plot_id_column="name", plots_layer="c"), "its layers: a, b")


@pytest.mark.parametrize(
    "name",
    [
        "/vsicurl/http://localhost/plots.gpkg",
        "/vsizip//vsicurl/http://localhost/plots.zip/plots.gpkg",
        "http://localhost/plots.gpkg",
        "s3://bucket/plots.gpkg",
        "zip://plots.zip!plots.gpkg",
        "WFS:http://localhost/",
        "GPKG:plots.gpkg",
        "plots.gpkg\0.txt",
        "plots\n.gpkg",
        "sub/../vsimem/plots.gpkg",
        "VSICURL/plots.gpkg",
    ],
)
def test_addresses_are_no_file_names(name, plan_file):
    refuse(plan_file(plots=name), "isn't a plain file name")


def test_names_that_lead_nowhere(tmp_path, plan_file):
    (tmp_path / "plotz.gpkg").touch()
    (tmp_path / "folder.gpkg").mkdir()
    refuse(plan_file(), "doesn't exist in .*Did you mean plotz.gpkg")
    refuse(plan_file(plots="folder.gpkg"), "is a folder")
    refuse(plan_file(plots="plotz.gpkg"), "is empty")
    refuse(plan_file(plots="x" * 199), "doesn't exist|can't be reached")


def test_empty_layer_is_no_rows(tmp_path, plan_file):
    store(tmp_path / "plots.gpkg", frame().iloc[:0])
    assert len(read_plots(plan_file()).frame) == 0
    (tmp_path / "plots.geojson").write_text(collection())
    assert len(read_plots(plan_file(plots="plots.geojson")).frame) == 0


def test_a_fault_of_ours_is_no_fault_of_the_file(tmp_path, plan_file, monkeypatch):
    def broken(_):
        raise ValueError("seeded")

    frame().to_file(tmp_path / "plots.gpkg", driver="GPKG", engine="pyogrio")
    monkeypatch.setattr("districtplan.files.ogr.decode", broken)
    with pytest.raises(ValueError, match=r"^seeded$"):
        read_plots(plan_file())


def with_land(plan_file, name):
    made = plan_file()
    elevation = made.plan.elevation.model_copy(update={"reference_land": name})
    plan = made.plan.model_copy(update={"elevation": elevation})
    return PlanFile(plan, made.path, made.folder)


@pytest.mark.parametrize("suffix", SHAPED)
def test_reference_land_by_all_readers(suffix, tmp_path, plan_file):
    path = tmp_path / f"flat{suffix}"
    store(path, frame([*SQUARES[:3], PARTS], "EPSG:4326", plot_id=list("abcd")))
    land = read_reference_land(with_land(plan_file, path.name))
    assert land.crs.is_geographic
    assert land.name == path.name
    assert all(map(shapely.equals, [*SQUARES[:3], PARTS], land.outlines))
    assert land.sha256[path.name] == hashlib.sha256(path.read_bytes()).hexdigest()


def test_reference_land_needs_no_column_and_is_not_asked_for_unnamed(tmp_path, plan_file):
    assert read_reference_land(plan_file()) is None
    bare = geopandas.GeoDataFrame(geometry=list(SQUARES), crs="EPSG:32736")
    bare.to_file(tmp_path / "flat.gpkg", driver="GPKG", engine="pyogrio")
    assert len(read_reference_land(with_land(plan_file, "flat.gpkg")).outlines) == 4


def refuse_land(plan_file, name, match):
    with pytest.raises(InputError, match=match) as caught:
        read_reference_land(with_land(plan_file, name))
    assert all(fault.where.startswith(name) and fault.remedy for fault in caught.value.faults)
    return caught.value.faults


def test_reference_land_that_cannot_be_used(tmp_path, plan_file):
    bow = Polygon([(0, 0), (5, 5), (5, 0), (0, 5)])
    store(tmp_path / "bow.gpkg", frame([bow, SQUARES[1], None, SQUARES[3]]))
    first, second = refuse_land(plan_file, "bow.gpkg", "broken")
    assert (first.where, second.where) == ("bow.gpkg row 1", "bow.gpkg row 3")
    assert second.what == "the outline isn't a polygon"
    lines = [shapely.LineString([(0, 0), (1, 1)])] * 4
    store(tmp_path / "lines.parquet", frame(lines))
    refuse_land(plan_file, "lines.parquet", "isn't a polygon")
    store(tmp_path / "none.gpkg", frame()[:0])
    refuse_land(plan_file, "none.gpkg", "has no outlines")
    with warnings.catch_warnings(action="ignore"):
        store(tmp_path / "lost.fgb", frame(crs=None))
    refuse_land(plan_file, "lost.fgb", "states no CRS. Assign one")
    for layer in ("a", "b"):
        frame().to_file(tmp_path / "two.gpkg", layer=layer, driver="GPKG", engine="pyogrio")
    refuse_land(plan_file, "two.gpkg", "several layers: a, b. Export the reference land alone")
    refuse_land(plan_file, "nowhere.gpkg", "doesn't exist|isn't there|no such file")


@pytest.mark.parametrize("stored", ["UTF-8", "ISO-8859-1"])
def test_a_shapefile_that_states_no_encoding(stored, tmp_path, plan_file):
    data = frame(village=["Élan", "High", "Ñu", "Low"])
    data.to_file(tmp_path / "plots.shp", engine="pyogrio", encoding=stored)
    table = bytearray((tmp_path / "plots.dbf").read_bytes())
    table[29] = 0
    (tmp_path / "plots.dbf").write_bytes(table)
    (tmp_path / "plots.cpg").unlink()
    found = read_plots(plan_file(plots="plots.shp")).frame
    assert found["village"].tolist() == ["Élan", "High", "Ñu", "Low"]
    if stored != "UTF-8":
        (tmp_path / "plots.cpg").write_text("UTF-8")
        refuse(plan_file(plots="plots.shp"), "isn't utf-8, the encoding that it states")
