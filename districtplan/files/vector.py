"""Plots from any of the vector formats, as they are: what can't be read is told row by row."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyproj
import shapely

from districtplan.errors import Fault, InputError
from districtplan.files import csv_plots, geojson, geoparquet, gpx_tracks, kml, kmz, ogr
from districtplan.files.layer import Layer, Wanted
from districtplan.files.local import horizontal, locate, settle_crs, sha256, start_of

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from numpy.typing import NDArray

    from districtplan.files.plan_file import PlanFile

SNIFFED_BYTES = 4096

GPKG_IDS = (b"GPKG", b"GP10", b"GP11")
SIDECARS = (".shx", ".dbf", ".prj", ".cpg")
ASKED = {
    "farmer_name_column": "farmer_name",
    "soil_depth_column": "soil_depth_given_m",
    "soil_drainage_column": "soil_drainage_given",
}
"""Columns that are read only where the plan names them."""


@dataclass(frozen=True)
class Format:
    """One way to store plots.

    Attributes
    ----------
    title : str
        What it is called.
    fits : Callable[[bytes], bool]
        Whether the first bytes of a file are of this format.
    read : Callable[[Path, Wanted], Layer]
        Its reader.
    id_column : str | None, default None
        Where the format itself keeps what a shape is called, which most often is a plot's id.
    """

    title: str
    fits: Callable[[bytes], bool]
    read: Callable[[Path, Wanted], Layer]
    id_column: str | None = None


def _is_gpkg(start: bytes) -> bool:
    # Application id at byte 68 of the SQLite header (OGC 12-128r19, requirement 2).
    return start.startswith(b"SQLite format 3\x00") and start[68:72] in GPKG_IDS


def _is_json(start: bytes) -> bool:
    return start.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{")


def _is_xml(start: bytes) -> bool:
    return start.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"<")


_GEOJSON = Format("GeoJSON", _is_json, geojson.read)
_GEOPARQUET = Format("GeoParquet", lambda start: start.startswith(b"PAR1"), geoparquet.read)
FORMATS: dict[str, Format] = {
    ".gpkg": Format("GeoPackage", _is_gpkg, ogr.read),
    ".geojson": _GEOJSON,
    ".json": _GEOJSON,
    ".shp": Format("shapefile", lambda start: start.startswith(b"\x00\x00\x27\x0a"), ogr.read),
    ".fgb": Format("FlatGeobuf", lambda start: start.startswith(b"fgb\x03fgb"), ogr.read),
    ".kml": Format("KML", _is_xml, kml.read, "name"),
    ".kmz": Format("KMZ", lambda start: start.startswith(b"PK"), kmz.read, "name"),
    ".gpx": Format("GPX", _is_xml, gpx_tracks.read, "name"),
    ".csv": Format("CSV", csv_plots.fits, csv_plots.read),
    ".parquet": _GEOPARQUET,
    ".geoparquet": _GEOPARQUET,
}


@dataclass(frozen=True)
class RawPlots:
    """Plots as the file gives them.

    Attributes
    ----------
    frame : pandas.DataFrame
        ``source_row`` (from 1), ``plot_id`` and ``village`` as given, ``farmer_name`` if the plan
        asks, ``geometry`` (None where there is none or it can't be read), ``problem`` (why it can't
        be read, or None), ``problem_remedy`` (what to do about it; None: draw it again), ``done``
        (what was mended) and ``file_lines`` (where a row of text stands, or None).
    crs : pyproj.CRS
        CRS of the outlines.
    name : str
        Name of the file as in the plan.
    sha256 : Mapping[str, str]
        Digest of the file and, for a shapefile, of those beside it, by name as in the plan.
    """

    frame: pd.DataFrame
    crs: pyproj.CRS
    name: str
    sha256: Mapping[str, str]


def read_plots(plan_file: PlanFile) -> RawPlots:
    """Read the plots that a plan names.

    Parameters
    ----------
    plan_file : PlanFile
        The plan and its folder.

    Returns
    -------
    RawPlots
        One row a row of the file, in its order.

    Raises
    ------
    InputError
        If the file can't be used as a whole: with the reason and what to do.
    """
    files = plan_file.plan.files
    path = locate(files.plots, plan_file.folder)
    columns = {"plot_id_column": files.plot_id_column, "village_column": files.village_column}
    columns |= {key: name for key in ASKED if (name := getattr(files, key)) is not None}
    kind = format_of(path, files.plots)
    layer = kind.read(path, Wanted(files.plots, columns, files.plots_layer))
    stated = layer.crs
    if stated is None and states_crs(layer, kind) and files.plots_crs is None:
        stated = pyproj.CRS("EPSG:4326")
    return RawPlots(
        _frame(layer),
        settle_crs(stated, files.plots_crs, files.plots, "plots_crs"),
        files.plots,
        digests(path, files.plots),
    )


@dataclass(frozen=True)
class Land:
    """Outlines of reference land as a file gives them.

    Attributes
    ----------
    outlines : numpy.ndarray
        Valid polygons, none empty.
    crs : pyproj.CRS
        Their CRS.
    name : str
        Name of the file as in the plan.
    sha256 : Mapping[str, str]
        Digest of the file and of those beside it, by name as in the plan.
    """

    outlines: NDArray[np.object_]
    crs: pyproj.CRS
    name: str
    sha256: Mapping[str, str]


def read_reference_land(plan_file: PlanFile) -> Land | None:
    """Read the reference land that a plan names.

    Parameters
    ----------
    plan_file : PlanFile
        The plan and its folder.

    Returns
    -------
    Land | None
        Its outlines; None where the plan names none.

    Raises
    ------
    InputError
        If the file, or an outline in it, can't be used: with the reason and what to do.
    """
    name = plan_file.plan.elevation.reference_land
    if name is None:
        return None
    path = locate(name, plan_file.folder)
    kind = format_of(path, name)
    layer = kind.read(path, Wanted(name, {}, None, "Export the reference land alone"))
    crs = stated_crs(layer, kind, name)
    faults = [
        Fault(f"{name} row {row}", problem, "Correct it in a GIS, or take it out")
        for row, problem in enumerate(map(_land_problem, layer.geometry, layer.as_given()), start=1)
        if problem is not None
    ]
    if len(layer.geometry) == 0:
        faults = [Fault(name, "has no outlines", "Draw flat or evenly sloping land in it")]
    if faults:
        raise InputError(*faults)
    return Land(layer.geometry, crs, name, digests(path, name))


def states_crs(layer: Layer, kind: Format) -> bool:
    """Tell whether a file states its CRS, or its format has one.

    Parameters
    ----------
    layer : Layer
        What was read of the file.
    kind : Format
        Its format.

    Returns
    -------
    bool
        Whether its coordinates have a meaning of their own.
    """
    return layer.crs is not None or kind is _GEOJSON


def stated_crs(layer: Layer, kind: Format, name: str) -> pyproj.CRS:
    """Give the CRS that a file states; a GeoJSON file without one is in WGS 84 (RFC 7946).

    Parameters
    ----------
    layer : Layer
        What was read of the file.
    kind : Format
        Its format.
    name : str
        Its name as in the plan.

    Returns
    -------
    pyproj.CRS
        The CRS, horizontal.

    Raises
    ------
    InputError
        If it states none.
    """
    crs = layer.crs
    if crs is None and states_crs(layer, kind):
        crs = pyproj.CRS("EPSG:4326")
    if crs is None:
        raise InputError(Fault(name, "states no CRS", "Assign one in a GIS, export again"))
    return horizontal(crs, name)


def _land_problem(outline: Any, problem: str | None) -> str | None:  # noqa: ANN401 - as readers give it
    if problem is not None:
        return problem
    if not isinstance(outline, shapely.Polygon | shapely.MultiPolygon) or outline.is_empty:
        return "the outline isn't a polygon"
    return (
        None if outline.is_valid else f"the outline is broken ({shapely.is_valid_reason(outline)})"
    )


def format_of(path: Path, name: str) -> Format:
    """Find the format of a file by its suffix, and hold its first bytes to it.

    Parameters
    ----------
    path : Path
        A plain local file.
    name : str
        Its name as in the plan.

    Returns
    -------
    Format
        The format.

    Raises
    ------
    InputError
        If no such format is read, or the file holds something else.
    """
    kind = FORMATS.get(path.suffix.lower())
    if kind is None:
        raise InputError(
            Fault(
                name,
                f"has the suffix {path.suffix!r}, which isn't read",
                f"Export it as one of {', '.join(FORMATS)}",
            )
        )
    if not kind.fits(start_of(path, SNIFFED_BYTES, name)):
        raise InputError(
            Fault(
                name,
                f"is named as {kind.title} but holds something else",
                f"Export it again as {kind.title}",
            )
        )
    return kind


def _frame(layer: Layer) -> pd.DataFrame:
    rows = len(layer.geometry)
    columns = {
        "source_row": np.arange(1, rows + 1, dtype=np.int64),
        "plot_id": layer.columns["plot_id_column"],
        "village": layer.columns["village_column"],
    }
    columns |= {ASKED[key]: layer.columns[key] for key in ASKED if key in layer.columns}
    columns |= {"geometry": layer.geometry, "problem": layer.problem, "done": layer.done}
    nothing = np.full(rows, None, dtype=object)
    columns |= {
        "problem_remedy": nothing if layer.remedy is None else layer.remedy,
        "file_lines": nothing if layer.lines is None else layer.lines,
    }
    series = {
        name: pd.Series(values, dtype=None if name == "source_row" else object)
        for name, values in columns.items()
    }
    return pd.DataFrame(series)


def digests(path: Path, name: str) -> dict[str, str]:
    """Take the digests of a file and, for a shapefile, of those beside it.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        Its name as in the plan.

    Returns
    -------
    dict[str, str]
        Digests by name as in the plan.
    """
    found = {name: sha256(path, name)}
    if path.suffix.lower() == ".shp":
        stem = name[: -len(path.suffix)]
        for beside in sorted(path.parent.iterdir()):
            if beside.stem == path.stem and beside.suffix.lower() in SIDECARS:
                found[stem + beside.suffix] = sha256(beside, stem + beside.suffix)
    return found
