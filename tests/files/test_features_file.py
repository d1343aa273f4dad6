"""The file of features: every format gives lines and polygons, hostile files are refused."""

from __future__ import annotations

import hashlib
import json
import zipfile

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from districtplan.errors import InputError
from districtplan.files.features import read_features
from districtplan.files.vector import read_plots
from tests.files.stored import SHAPED

SHAPES = [
    shapely.LineString([(33.0, -2.0), (33.001, -2.0005)]),
    shapely.box(33.0, -2.0, 33.0001, -1.9999),
    shapely.MultiLineString([[(33, -2), (33.1, -2)], [(33, -2.1), (33.1, -2.1)]]),
]
KINDS = ["ditch", "house", "path"]


def kml_of(shapes, kinds, widths):
    def points(shape):
        return " ".join(f"{x!r},{y!r}" for x, y in shapely.get_coordinates(shape).tolist())

    marks = ""
    for shape, kind, width in zip(shapes, kinds, widths, strict=True):
        if shape.geom_type == "Polygon":
            drawn = (
                "<Polygon><outerBoundaryIs><LinearRing><coordinates>"
                f"{points(shape)}</coordinates></LinearRing></outerBoundaryIs></Polygon>"
            )
        else:
            drawn = "".join(
                f"<LineString><coordinates>{points(part)}</coordinates></LineString>"
                for part in shapely.get_parts(shape)
            )
        data = f'<Data name="kind"><value>{kind}</value></Data>'
        if width is not None:
            data += f'<Data name="width_m"><value>{width}</value></Data>'
        marks += (
            f"<Placemark><ExtendedData>{data}</ExtendedData>"
            f"<MultiGeometry>{drawn}</MultiGeometry></Placemark>"
        )
    return f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{marks}</Document></kml>'


def store(path, shapes=SHAPES, widths=(0.5, None, 1.5)):
    """Write features; without widths the column isn't there."""
    columns = {"kind": KINDS[: len(shapes)]} | ({} if widths is None else {"width_m": widths})
    frame = gpd.GeoDataFrame(columns, geometry=list(shapes), crs=4326)
    if path.suffix == ".kmz":
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("a.kml", kml_of(shapes, KINDS, widths or [None] * len(shapes)))
    elif path.suffix == ".kml":
        path.write_text(kml_of(shapes, KINDS, widths or [None] * len(shapes)), encoding="utf-8")
    elif path.suffix in {".parquet", ".geoparquet"}:
        frame.to_parquet(path)
    else:
        driver = {".gpkg": "GPKG", ".shp": "ESRI Shapefile", ".fgb": "FlatGeobuf"}
        options = {"SPATIAL_INDEX": "NO"} if path.suffix == ".fgb" else {}
        frame.to_file(path, driver=driver.get(path.suffix, "GeoJSON"), engine="pyogrio", **options)


@pytest.mark.parametrize("suffix", SHAPED)
@pytest.mark.parametrize("widths", [(0.5, None, 1.5), None])
def test_every_format_gives_lines_and_polygons(suffix, widths, tmp_path, plan_file):
    path = tmp_path / f"features{suffix}"
    # A shapefile holds one kind of shape.
    shapes = [SHAPES[0], SHAPES[2]] if suffix == ".shp" else SHAPES
    told = widths and (widths[:1] + widths[2:] if suffix == ".shp" else widths)
    store(path, shapes, told)
    found = read_features(plan_file(features=path.name))
    assert found.frame["source_row"].tolist() == list(range(1, len(shapes) + 1))
    assert found.frame["kind"].tolist() == KINDS[: len(shapes)]
    given = [None if w is None else float(w) for w in found.frame["width_m"]]
    assert given == (list(told) if told else [None] * len(shapes))
    assert found.frame["problem"].isna().all()
    assert shapely.equals(found.frame["geometry"].to_numpy(), shapes).all()
    assert found.sha256[path.name] == hashlib.sha256(path.read_bytes()).hexdigest()


def test_names_are_read_where_there_are_any(tmp_path, plan_file):
    columns = {"kind": KINDS[:1] * 2, "name": ["Temmirila", None]}
    frame = gpd.GeoDataFrame(columns, geometry=SHAPES[:1] * 2, crs=4326)
    frame.to_file(tmp_path / "features.gpkg")
    found = read_features(plan_file(features="features.gpkg")).frame["name"]
    assert found[0] == "Temmirila"
    assert pd.isna(found[1])


def test_no_file_no_features(plan_file):
    assert len(read_features(plan_file()).frame) == 0


def test_a_file_without_kinds_is_refused(tmp_path, plan_file):
    frame = gpd.GeoDataFrame({"sort": ["ditch"]}, geometry=SHAPES[:1], crs=4326)
    frame.to_file(tmp_path / "features.gpkg")
    with pytest.raises(InputError, match=r"no column 'kind'.*Rename"):
        read_features(plan_file(features="features.gpkg"))


def test_a_file_without_crs_is_refused(tmp_path, plan_file):
    frame = gpd.GeoDataFrame({"kind": ["ditch"]}, geometry=SHAPES[:1])
    frame.to_parquet(tmp_path / "features.parquet")
    with pytest.raises(InputError, match="CRS"):
        read_features(plan_file(features="features.parquet"))


@pytest.mark.parametrize(
    "coordinates", [[], [[1, 2]], "x", [[1, 2], ["a", 3]], [[1, 2], [float("inf"), 3]], None]
)
def test_broken_lines_cost_one_row(coordinates, tmp_path, plan_file):
    def feature(points):
        shape = {"type": "LineString", "coordinates": points}
        return {"type": "Feature", "properties": {"kind": "ditch"}, "geometry": shape}

    text = {
        "type": "FeatureCollection",
        "features": [feature(coordinates), feature([[33, -2], [33.1, -2]])],
    }
    (tmp_path / "features.geojson").write_text(json.dumps(text), encoding="utf-8")
    frame = read_features(plan_file(features="features.geojson")).frame
    assert frame["problem"][0]
    assert frame["problem"][1] is None


def test_plots_are_still_polygons_alone(tmp_path, plan_file):
    store(tmp_path / "plots.geojson")
    text = (tmp_path / "plots.geojson").read_text(encoding="utf-8")
    named = text.replace('"kind"', '"plot_id"').replace('"width_m"', '"village"')
    (tmp_path / "plots.geojson").write_text(named, encoding="utf-8")
    frame = read_plots(plan_file(plots="plots.geojson")).frame
    assert [problem is None for problem in frame["problem"]] == [False, True, False]


@pytest.mark.parametrize("name", ["walk.csv", "walk.gpx"])
def test_walks_are_no_features(name, tmp_path, plan_file):
    (tmp_path / name).write_text("<gpx/>" if name.endswith("gpx") else "kind,wkt\n")
    with pytest.raises(InputError, match="read for plots alone"):
        read_features(plan_file(features=name))
