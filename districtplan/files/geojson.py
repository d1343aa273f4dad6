"""GeoJSON (RFC 7946), read without GDAL, which would follow a linked CRS out to the network."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import shapely

from districtplan.errors import Fault, InputError
from districtplan.files.layer import Layer, Objects, Wanted, check_rows, objects
from districtplan.files.local import crs_from, text_of
from districtplan.files.rings import BrokenRingError, line, multipolygon, polygon

if TYPE_CHECKING:
    from pathlib import Path

    import pyproj
    from shapely.geometry.base import BaseGeometry

LARGEST_BYTES = 512_000_000


def read(path: Path, wanted: Wanted) -> Layer:
    """Read plots from a GeoJSON file.

    Parameters
    ----------
    path : Path
        The file.
    wanted : Wanted
        Columns to read.

    Returns
    -------
    Layer
        What it holds; without a CRS where it states none, which RFC 7946 takes as WGS 84.

    Raises
    ------
    InputError
        If it isn't a feature collection, lacks a column or links to its CRS.
    """
    name = wanted.name
    try:
        data = json.loads(text_of(path, LARGEST_BYTES, name))
    except RecursionError as error:
        raise InputError(Fault(name, "nests lists too deeply", "Export it again")) from error
    except json.JSONDecodeError as error:
        raise InputError(Fault(name, f"isn't JSON ({error})", "Export it again")) from error
    except ValueError as error:
        if isinstance(error, InputError):
            raise
        # The one thing besides that Python's reader of JSON refuses.
        raise InputError(
            Fault(name, "has a number of thousands of digits", "Export it again")
        ) from error
    if not isinstance(data, dict) or data.get("type") != "FeatureCollection":
        raise InputError(Fault(name, "isn't a GeoJSON FeatureCollection", "Export it again"))
    features = data.get("features")
    if not isinstance(features, list) or not all(isinstance(each, dict) for each in features):
        raise InputError(Fault(name, "has no list of features", "Export it again"))
    check_rows(len(features), name)
    properties = [_properties(feature) for feature in features]
    # A column counts as present if any feature has it; where it lacks, the value is missing.
    present = dict.fromkeys(key for row in properties for key in row)
    if features:
        wanted.check(present)
    geometry, problem, done = _outlines(features, lines=wanted.lines)
    return Layer(
        {
            key: objects([row.get(column) for row in properties])
            for key, column in wanted.columns.items()
        },
        geometry,
        problem,
        _crs(data, name),
        done,
    )


def _properties(feature: dict[str, Any]) -> dict[str, Any]:
    found = feature.get("properties")
    return found if isinstance(found, dict) else {}


def _outlines(features: list[dict[str, Any]], *, lines: bool) -> tuple[Objects, Objects, Objects]:
    found: list[BaseGeometry | None] = []
    reasons: list[str | None] = []
    mended: list[tuple[str, ...]] = []
    for feature in features:
        done: list[str] = []
        try:
            found.append(_outline(feature.get("geometry"), done, lines=lines))
            reasons.append(None)
        except BrokenRingError as broken:
            found.append(None)
            reasons.append(str(broken))
        mended.append(tuple(done))
    return objects(found), objects(reasons), objects(mended)


def _outline(geometry: object, done: list[str], *, lines: bool) -> BaseGeometry | None:
    if geometry is None:
        return None
    if not isinstance(geometry, dict):
        raise BrokenRingError("the outline isn't a GeoJSON geometry")
    kind = geometry.get("type")
    if kind == "Polygon":
        return polygon(geometry.get("coordinates"), done)
    if kind == "MultiPolygon":
        return multipolygon(geometry.get("coordinates"), done)
    if lines and kind == "LineString":
        return line(geometry.get("coordinates"))
    if lines and kind == "MultiLineString":
        parts = geometry.get("coordinates")
        return shapely.MultiLineString(list(map(line, parts if isinstance(parts, list) else [])))
    allowed = "a line or a polygon" if lines else "a polygon"
    raise BrokenRingError(f"the geometry is a {str(kind)[:40]!a}, not {allowed}")


def _crs(data: dict[str, Any], name: str) -> pyproj.CRS | None:
    """Read the CRS member of GeoJSON as it was before RFC 7946."""
    crs = data.get("crs")
    if crs is None:
        return None
    properties = crs.get("properties") if isinstance(crs, dict) else None
    text = properties.get("name") if isinstance(properties, dict) else None
    if not isinstance(crs, dict) or crs.get("type") != "name" or not isinstance(text, str):
        raise InputError(
            Fault(
                name,
                "states its CRS by a link or in an unknown way, and nothing is fetched",
                'Export it again as RFC 7946 (WGS 84), or remove its "crs" and set plots_crs',
            )
        )
    return crs_from(text, name)
