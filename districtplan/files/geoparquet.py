"""GeoParquet 1.x with outlines as well-known binary, read by pyarrow."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pyarrow as pa
import pyarrow.parquet as pq
import pyproj
from pyproj.exceptions import CRSError

from districtplan.errors import Fault, InputError
from districtplan.files.layer import Layer, Wanted, check_rows, decode, objects, with_missing
from districtplan.files.local import unreadable

if TYPE_CHECKING:
    from pathlib import Path


def read(path: Path, wanted: Wanted) -> Layer:
    """Read plots from a GeoParquet file.

    Parameters
    ----------
    path : Path
        The file.
    wanted : Wanted
        Columns to read; no others are decoded.

    Returns
    -------
    Layer
        What it holds.

    Raises
    ------
    InputError
        If it isn't GeoParquet, is damaged or lacks a column.
    """
    name = wanted.name
    try:
        with path.open("rb") as handle, pq.ParquetFile(handle) as source:
            check_rows(source.metadata.num_rows, name)
            about = _about(source.schema_arrow, name)
            outline = str(about["primary_column"])
            names = [field for field in source.schema_arrow.names if field != outline]
            wanted.check(names)
            present = wanted.present(names)
            table = source.read(columns=[*dict.fromkeys(present.values()), outline])
            values = {
                key: objects(table.column(column).to_pylist()) for key, column in present.items()
            }
            wkb = objects(table.column(outline).to_pylist())
    except (pa.ArrowException, OSError, ValueError, KeyError) as error:
        if isinstance(error, InputError):
            raise
        raise unreadable(name, error) from error
    geometry, problem, done = decode(wkb)
    values = with_missing(values, wanted, len(geometry))
    return Layer(values, geometry, problem, _crs(about["columns"][outline], name), done)


def _about(schema: pa.Schema, name: str) -> dict[str, Any]:
    """Read the file's own description of its outlines."""
    try:
        about = json.loads((schema.metadata or {})[b"geo"])
        outline = about["primary_column"]
        encoding = about["columns"][outline]["encoding"]
        kind = schema.field(outline).type
    except (KeyError, TypeError, ValueError, RecursionError) as error:
        raise InputError(
            Fault(name, "is Parquet but not GeoParquet", "Export it as GeoParquet or GeoPackage")
        ) from error
    if encoding != "WKB" or not (pa.types.is_binary(kind) or pa.types.is_large_binary(kind)):
        raise InputError(
            Fault(
                name,
                f"holds outlines as {str(encoding)[:40]!a}, not WKB",
                "Export it with WKB geometry",
            )
        )
    return dict(about)


def _crs(column: dict[str, Any], name: str) -> pyproj.CRS | None:
    """Read the CRS as PROJJSON; absent means WGS 84, null means unknown (GeoParquet 1.1)."""
    if "crs" not in column:
        return pyproj.CRS("EPSG:4326")
    if column["crs"] is None:
        return None
    try:
        return pyproj.CRS.from_json_dict(column["crs"])
    except (CRSError, TypeError, ValueError, AttributeError) as error:
        raise InputError(
            Fault(name, "states a CRS that isn't PROJJSON", "Export it again")
        ) from error
