"""KML 2.2 (OGC 07-147r2): placemarks with polygons, always in WGS 84 longitude and latitude."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pyproj
import shapely

from districtplan.errors import Fault, InputError
from districtplan.files.layer import Layer, Wanted, check_rows, objects
from districtplan.files.local import text_of
from districtplan.files.rings import BrokenRingError, line, multipolygon, polygon
from districtplan.files.xml_text import root_of, tag

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from xml.etree.ElementTree import Element

    from shapely.geometry.base import BaseGeometry

LARGEST_BYTES = 128_000_000
FOLDERS = ("Document", "Folder")
SHAPES = ("Point", "LineString", "LinearRing", "Model", "Track", "MultiTrack")


def read(path: Path, wanted: Wanted) -> Layer:
    """Read plots from a KML file.

    Parameters
    ----------
    path : Path
        The file.
    wanted : Wanted
        Columns, found in a placemark's extended data or as its ``name`` or ``description``;
        a layer is a folder's name.

    Returns
    -------
    Layer
        Its placemarks.

    Raises
    ------
    InputError
        If it isn't KML, declares entities, points to other files or lacks a column.
    """
    return parse(text_of(path, LARGEST_BYTES, wanted.name), wanted)


def parse(text: str, wanted: Wanted) -> Layer:
    """Read plots from the text of a KML file.

    Parameters
    ----------
    text : str
        The text.
    wanted : Wanted
        As :func:`read` takes it.

    Returns
    -------
    Layer
        Its placemarks.

    Raises
    ------
    InputError
        As :func:`read` does.
    """
    root = root_of(text, wanted.name, "KML")
    if any(tag(each) == "NetworkLink" for each in root.iter()):
        raise InputError(
            Fault(
                wanted.name,
                "points to another file by a NetworkLink, and nothing is fetched",
                "Export the plots themselves",
            )
        )
    marks = list(_placemarks(root, wanted))
    check_rows(len(marks), wanted.name)
    rows = [_values(mark) for mark in marks]
    if rows:
        wanted.check(dict.fromkeys(key for row in rows for key in row))
    found: list[BaseGeometry | None] = []
    reasons: list[str | None] = []
    mended: list[tuple[str, ...]] = []
    for mark in marks:
        done: list[str] = []
        try:
            found.append(_shape(mark, done) if wanted.lines else _outline(mark, done))
            reasons.append(None)
        except BrokenRingError as broken:
            found.append(None)
            reasons.append(str(broken))
        mended.append(tuple(done))
    return Layer(
        {key: objects([row.get(column) for row in rows]) for key, column in wanted.columns.items()},
        objects(found),
        objects(reasons),
        pyproj.CRS("EPSG:4326"),
        objects(mended),
    )


def _placemarks(root: Element, wanted: Wanted) -> Iterator[Element]:
    if wanted.layer is None:
        return (each for each in root.iter() if tag(each) == "Placemark")
    folders = [
        (_text(_child(each, "name")) or "", each) for each in root.iter() if tag(each) in FOLDERS
    ]
    chosen = wanted.choose(list(dict.fromkeys(name for name, _ in folders if name)))
    inside = {
        id(mark): mark
        for name, folder in folders
        if name == chosen
        for mark in folder.iter()
        if tag(mark) == "Placemark"
    }
    return iter(inside.values())


def _child(element: Element, wanted: str) -> Element | None:
    return next((each for each in element if tag(each) == wanted), None)


def _text(element: Element | None) -> str | None:
    return None if element is None else (element.text or "").strip()


def _values(mark: Element) -> dict[str, str | None]:
    """Collect a placemark's values; its extended data stand before its name and description."""
    values: dict[str, str | None] = {}
    data = _child(mark, "ExtendedData")
    for each in () if data is None else data.iter():
        field = each.get("name")
        if field is None:
            continue
        if tag(each) == "Data":
            values[field] = _text(_child(each, "value"))
        elif tag(each) == "SimpleData":
            values[field] = _text(each)
    for field in ("name", "description"):
        element = _child(mark, field)
        if element is not None:
            values.setdefault(field, _text(element))
    return values


def _shape(mark: Element, done: list[str]) -> BaseGeometry | None:
    """Read a placemark of lines alone; else it must be one of polygons."""
    lines = [each for each in mark.iter() if tag(each) == "LineString"]
    if not lines or any(tag(each) == "Polygon" for each in mark.iter()):
        return _outline(mark, done)
    parts = [
        line(_points(_text(each) or ""))
        for within in lines
        for each in within.iter()
        if tag(each) == "coordinates"
    ]
    return parts[0] if len(parts) == 1 else shapely.MultiLineString(parts)


def _outline(mark: Element, done: list[str]) -> BaseGeometry | None:
    polygons = [each for each in mark.iter() if tag(each) == "Polygon"]
    within = {id(ring) for each in polygons for ring in each.iter()}
    for each in mark.iter():
        if tag(each) in SHAPES and id(each) not in within:
            raise BrokenRingError(f"the geometry has a {tag(each)}, not only polygons")
    if not polygons:
        return None
    parts = [_rings(each) for each in polygons]
    return polygon(parts[0], done) if len(parts) == 1 else multipolygon(parts, done)


def _rings(element: Element) -> list[list[tuple[float, float]]]:
    outer: list[list[tuple[float, float]]] = []
    holes: list[list[tuple[float, float]]] = []
    for boundary in element:
        if tag(boundary) not in {"outerBoundaryIs", "innerBoundaryIs"}:
            continue
        rings = [
            _points(_text(each) or "") for each in boundary.iter() if tag(each) == "coordinates"
        ]
        (outer if tag(boundary) == "outerBoundaryIs" else holes).extend(rings)
    if len(outer) != 1:
        raise BrokenRingError(f"a polygon has {len(outer)} outer rings, not one")
    return outer + holes


def _points(text: str) -> list[tuple[float, float]]:
    points = []
    for word in text.split():
        numbers = word.split(",")
        try:
            points.append((float(numbers[0]), float(numbers[1])))
        except (ValueError, IndexError) as error:
            raise BrokenRingError(f"{word[:40]!a} isn't longitude,latitude") from error
    return points
