"""KMZ: an archive of which one KML document is read, in memory and of bounded size."""

from __future__ import annotations

import dataclasses
import io
import lzma
import struct
import zipfile
import zlib
from typing import TYPE_CHECKING

from districtplan.errors import Fault, InputError
from districtplan.files import kml
from districtplan.files.local import decoded, start_of, unreadable

if TYPE_CHECKING:
    from pathlib import Path

    from districtplan.files.layer import Layer, Wanted

ARCHIVE_BYTES = 64_000_000
MEMBERS_MAX = 10_000
FAULTS = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    EOFError,
    OSError,
    RuntimeError,
    ValueError,  # a damaged directory that points before the file's start
)


def read(path: Path, wanted: Wanted) -> Layer:
    """Read plots from a KMZ file.

    Nothing is unpacked to a disk, so names inside lead nowhere; what it declares of its size
    isn't believed.

    Parameters
    ----------
    path : Path
        The file.
    wanted : Wanted
        Columns, as for KML.

    Returns
    -------
    Layer
        The placemarks of its ``doc.kml``, or of its only KML document.

    Raises
    ------
    InputError
        If it is too large, damaged, or holds no or several KML documents.
    """
    name = wanted.name
    raw = start_of(path, ARCHIVE_BYTES + 1, name)
    if len(raw) > ARCHIVE_BYTES:
        raise InputError(Fault(name, f"is larger than {ARCHIVE_BYTES / 1e6:g} MB", "Split it"))
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            inside = _document(archive.namelist(), name)
            with archive.open(inside) as member:
                found = member.read(kml.LARGEST_BYTES + 1)
    except FAULTS as error:
        if isinstance(error, InputError):
            raise
        raise unreadable(name, error) from error
    text = decoded(found, kml.LARGEST_BYTES, name)
    return kml.parse(text, dataclasses.replace(wanted, name=name))


def _document(members: list[str], name: str) -> str:
    if len(members) > MEMBERS_MAX:
        raise InputError(Fault(name, f"holds {len(members):,} files", "Export the plots alone"))
    documents = [each for each in members if each.lower().endswith(".kml")]
    if "doc.kml" in documents:
        return "doc.kml"
    if len(documents) != 1:
        raise InputError(
            Fault(name, f"holds {len(documents)} KML documents, not one", "Export it as KML")
        )
    return documents[0]
