"""GeoPackage, shapefile and FlatGeobuf, read by GDAL through one named driver each."""

from __future__ import annotations

import codecs
import contextlib
import sqlite3
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
import pyogrio
import pyproj
from pyogrio.errors import CRSError as StatedCRSError
from pyogrio.errors import (
    DataLayerError,
    DataSourceError,
    FeatureError,
    FieldError,
    GeometryError,
)
from pyproj.exceptions import CRSError

from districtplan.errors import Fault, InputError
from districtplan.files.layer import Layer, Wanted, check_rows, decode, with_missing
from districtplan.files.local import unreadable
from districtplan.files.shapefile_rings import put_holes_back

if TYPE_CHECKING:
    from collections.abc import Generator
    from pathlib import Path

LAYERS_MAX = 10_000
HEAD_BYTES, LANGUAGE_BYTE, PIECE_BYTES = 32, 29, 1 << 20
DRIVERS = {"gpkg": "GPKG", "shp": "ESRI Shapefile", "fgb": "FlatGeobuf"}
FAULTS = (
    DataLayerError,
    DataSourceError,
    FeatureError,
    FieldError,
    GeometryError,
    StatedCRSError,
    sqlite3.Error,
    UnboundLocalError,  # pyogrio's own slip on a CRS it can't write as text
    MemoryError,
)


def read(path: Path, wanted: Wanted) -> Layer:
    """Read plots through GDAL.

    Outlines come as bytes and are understood row by row, so that one broken ring costs one row.
    Arcs come as short chords, GDAL's default.

    Parameters
    ----------
    path : Path
        A plain local file whose first bytes fit its suffix.
    wanted : Wanted
        Columns and layer to read.

    Returns
    -------
    Layer
        What it holds.

    Raises
    ------
    InputError
        If it can't be read, needs a layer named or lacks a column or a file beside it.
    """
    kind = path.suffix.lower().lstrip(".")
    options = _before(path, kind, wanted.name)
    with _told(wanted.name):
        layers = _layers(path, kind)
    layer = wanted.choose(layers)
    with _told(wanted.name):
        encoding = _unstated_encoding(path) if kind == "shp" else None
        info = pyogrio.read_info(path, layer=layer, encoding=encoding, **options)
    if info["driver"] != DRIVERS[kind]:
        raise InputError(Fault(wanted.name, "isn't what its suffix says", "Export it again"))
    check_rows(int(info["features"]), wanted.name)
    wanted.check(str(field) for field in info["fields"])
    present = wanted.present(str(field) for field in info["fields"])
    columns = list(dict.fromkeys(present.values()))
    with _told(wanted.name):
        meta, rows, wkb, fields = pyogrio.raw.read(
            path,
            layer=layer,
            columns=columns,
            datetime_as_string=True,
            encoding=encoding,
            return_fids=True,
            **options,
        )
    found = {str(column): field for column, field in zip(meta["fields"], fields, strict=True)}
    if wkb is None:
        raise InputError(Fault(wanted.name, "has no outlines", "Export it with its geometry"))
    geometry, problem, done = decode(wkb)
    if kind == "shp":
        put_holes_back(path, rows, geometry)
    values = {key: _plain(found[column]) for key, column in present.items()}
    values = with_missing(values, wanted, len(geometry))
    return Layer(values, geometry, problem, _crs(info["crs"], wanted.name), done)


@contextlib.contextmanager
def _told(name: str) -> Generator[None]:
    """Tell what a library refuses; only its own calls stand inside, so no fault of ours does."""
    try:
        with warnings.catch_warnings():
            # GDAL grumbles about single rows; each is told as such from its bytes.
            warnings.simplefilter("ignore")
            yield
    except UnicodeDecodeError as error:
        stated = f"has text that isn't {error.encoding}, the encoding that it states"
        raise InputError(Fault(name, stated, "Export it again as UTF-8")) from error
    except FAULTS as error:
        raise unreadable(name, error) from error


def _before(path: Path, kind: str, name: str) -> dict[str, str]:
    """Look at what stands beside the file; give the options to open it with."""
    if kind == "shp":
        have = {entry.name.lower() for entry in path.parent.iterdir()}
        missing = [suffix for suffix in (".shx", ".dbf") if path.stem.lower() + suffix not in have]
        if missing:
            raise InputError(
                Fault(
                    name,
                    f"lacks {' and '.join(path.stem + suffix for suffix in missing)} beside it",
                    "A shapefile is several files: copy them all",
                )
            )
        return {}
    if kind == "gpkg":
        journal = path.with_name(path.name + "-wal")
        if journal.exists() and journal.stat().st_size > 0:
            raise InputError(
                Fault(
                    name,
                    "is open in another program, with edits not yet in the file",
                    "Save and close it there",
                )
            )
        # Without this SQLite may write files beside the input.
        return {"IMMUTABLE": "YES"}
    return {}


def _unstated_encoding(path: Path) -> str | None:
    """Tell that a shapefile which says nothing of its encoding is in UTF-8; None to let GDAL tell.

    Text that is UTF-8 by chance is next to unknown; GDAL would take it for Latin-1.
    """
    beside = {
        entry.suffix.lower(): entry
        for entry in path.parent.iterdir()
        if entry.stem.lower() == path.stem.lower()
    }
    if ".cpg" in beside or ".dbf" not in beside:
        return None
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        with beside[".dbf"].open("rb") as table:
            head = table.read(HEAD_BYTES)
            if len(head) < HEAD_BYTES or head[LANGUAGE_BYTE]:
                return None
            table.seek(int.from_bytes(head[8:10], "little"))
            while piece := table.read(PIECE_BYTES):
                decoder.decode(piece)
            decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return None
    return "UTF-8"


def _layers(path: Path, kind: str) -> list[str]:
    """List the layers that have outlines."""
    if kind != "gpkg":
        return [str(name) for name, shape in pyogrio.list_layers(path) if shape is not None]
    # Asked of SQLite itself: listing takes no options, and without them GDAL may write a journal.
    address = f"{path.as_uri()}?mode=ro&immutable=1"
    with contextlib.closing(sqlite3.connect(address, uri=True)) as base:
        rows = base.execute("SELECT table_name FROM gpkg_contents WHERE data_type = 'features'")
        return [str(name) for (name,) in rows.fetchmany(LAYERS_MAX)]


def _plain(field: np.ndarray[Any, Any]) -> np.ndarray[Any, np.dtype[np.object_]]:
    """Turn a column into Python's own values, missing ones into None."""
    values = field.astype(object)
    if field.dtype.kind == "f":
        values[np.isnan(field)] = None
    return values


def _crs(text: str | None, name: str) -> pyproj.CRS | None:
    if text is None:
        return None
    try:
        return pyproj.CRS.from_user_input(text)
    except CRSError as error:
        raise InputError(
            Fault(name, "states a CRS that isn't understood", "Assign one in a GIS, export again")
        ) from error
