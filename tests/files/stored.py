"""Plots stored in every format that is read."""

from __future__ import annotations

import zipfile

import geopandas
import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from districtplan.errors import InputError
from districtplan.files.vector import FORMATS, read_plots

DRAWN = [suffix for suffix in FORMATS if suffix != ".gpx"]
"""Formats of outlines; GPX has only walks."""
SHAPED = [suffix for suffix in DRAWN if suffix != ".csv"]
"""Those read for features and reference land too."""

SQUARES = np.array([box(10 * i, 0, 10 * i + 8, 8) for i in range(4)], dtype=object)
HOLED = Polygon([(0, 0), (9, 0), (9, 9), (0, 9)], [[(2, 2), (4, 2), (4, 4), (2, 4)]])
PARTS = shapely.MultiPolygon([box(0, 0, 1, 1), box(2, 0, 3, 1)])
IDS = ["A-1", "Ø 2", " 3 ", None]
VILLAGES = ["Low", "High", "High", "Low"]


def ring_bytes(points):
    ring = np.asarray(points, dtype="<f8").tobytes()
    return b"\x01" + np.array([3, 1, len(points)], dtype="<u4").tobytes() + ring


def frame(geometry=SQUARES, crs="EPSG:32736", **columns):
    columns = {"plot_id": IDS, "village": VILLAGES} | columns
    return geopandas.GeoDataFrame(columns, geometry=list(geometry), crs=crs)


def write_kml(path, data):
    def ring(ring):
        return " ".join(f"{x!r},{y!r},0" for x, y, *_ in ring.coords)

    marks = ""
    for row in data.itertuples():
        polygons = ""
        for part in [] if row.geometry is None else shapely.get_parts(row.geometry):
            holes = "".join(
                f"<innerBoundaryIs><LinearRing><coordinates>{ring(hole)}</coordinates>"
                "</LinearRing></innerBoundaryIs>"
                for hole in part.interiors
            )
            polygons += (
                f"<Polygon><outerBoundaryIs><LinearRing><coordinates>{ring(part.exterior)}"
                f"</coordinates></LinearRing></outerBoundaryIs>{holes}</Polygon>"
            )
        shown = "" if row.plot_id is None or row.plot_id != row.plot_id else row.plot_id
        marks += (
            f"<Placemark><name>{shown}</name><ExtendedData><SchemaData>"
            f'<SimpleData name="plot_id">{shown}</SimpleData></SchemaData>'
            f'<Data name="village"><value>{row.village}</value></Data></ExtendedData>'
            f"<MultiGeometry>{polygons}</MultiGeometry></Placemark>"
        )
    path.write_text(
        '<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net/kml/2.2">'
        f"<Document><Folder><name>plots</name>{marks}</Folder></Document></kml>",
        encoding="utf-8",
    )


def store(path, data):
    if path.suffix == ".kml":
        write_kml(path, data)
    elif path.suffix == ".kmz":
        write_kml(path.with_name("doc.kml"), data)
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.write(path.with_name("doc.kml"), "doc.kml")
    elif path.suffix == ".csv":
        data.drop(columns="geometry").assign(wkt=data.to_wkt()["geometry"]).to_csv(
            path, index=False
        )
    elif path.suffix in {".parquet", ".geoparquet"}:
        data.to_parquet(path)
    else:
        driver = {".gpkg": "GPKG", ".shp": "ESRI Shapefile", ".fgb": "FlatGeobuf"}
        options = {"SPATIAL_INDEX": "NO"} if path.suffix == ".fgb" else {}
        data.to_file(path, driver=driver.get(path.suffix, "GeoJSON"), engine="pyogrio", **options)


def refuse(plan, match):
    with pytest.raises(InputError, match=match) as caught:
        read_plots(plan)
    assert all(fault.remedy for fault in caught.value.faults)
    return caught.value.faults
