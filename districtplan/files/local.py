"""Files named in a plan: found on this machine only, known by their first bytes, hashed."""

from __future__ import annotations

import difflib
import hashlib
import re
from typing import TYPE_CHECKING

import pyproj
from pyproj.exceptions import CRSError, ProjError

from districtplan.errors import Fault, InputError

if TYPE_CHECKING:
    from pathlib import Path

CHUNK_BYTES = 1 << 20
CRS_TEXT_MAX = 20_000
PLANE_AXES = 2

# Names that a geodata library could take for an address, an archive or a driver's own syntax.
_NOT_PLAIN = re.compile(r"[\x00-\x1f\x7f!|<>\"*]|^[/\\]*vsi|[/\\]vsi\w*[/\\]|://|^[a-z]{2,}:", re.I)
_CRS_NOT_PLAIN = re.compile(r"://|nadgrids|geoidgrids|\+init|\.json|\x00", re.I)


def locate(name: str, folder: Path) -> Path:
    """Find a file named in a plan.

    Parameters
    ----------
    name : str
        Name as in the plan; a relative one starts at the folder.
    folder : Path
        Folder of the plan file.

    Returns
    -------
    Path
        Absolute path of an existing file.

    Raises
    ------
    InputError
        If the name is an address or no plain name, or no such file exists.
    """
    path = _plain(name, folder)
    try:
        if path.is_dir():
            raise InputError(Fault(name, "is a folder", "Name a file in it"))
        if not path.exists():
            raise InputError(Fault(name, f"doesn't exist in {path.parent}", _like(path)))
        if not path.is_file():
            raise InputError(Fault(name, "isn't an ordinary file", "Copy it to one"))
    except OSError as error:
        raise _unreachable(name, error) from error
    return path


def locate_folder(name: str, folder: Path) -> Path:
    """Find a folder named in a plan.

    Parameters
    ----------
    name : str
        Name as in the plan; a relative one starts at the folder.
    folder : Path
        Folder of the plan file.

    Returns
    -------
    Path
        Absolute path of an existing folder.

    Raises
    ------
    InputError
        If the name is an address or no plain name, or no such folder exists.
    """
    path = _plain(name, folder)
    try:
        if not path.exists():
            raise InputError(Fault(name, f"doesn't exist in {path.parent}", _like(path)))
        if not path.is_dir():
            raise InputError(Fault(name, "isn't a folder", "Name the folder that it lies in"))
    except OSError as error:
        raise _unreachable(name, error) from error
    return path


def _plain(name: str, folder: Path) -> Path:
    """Give the path of a plain name; refuse what a library could take for something else."""
    if _NOT_PLAIN.search(name):
        raise InputError(
            Fault(
                ascii(name)[:200],
                "isn't a plain file name; nothing is read from a network or an archive",
                "Copy the file beside the plan and name it there",
            )
        )
    path = (folder / name).absolute()
    # The folder's own name counts too: it becomes part of what a library is handed.
    if _NOT_PLAIN.search(path.as_posix().removeprefix(path.drive)):
        raise InputError(
            Fault(name, f"lies in a folder with an odd name, {path.parent}", "Rename that folder")
        )
    return path


def _unreachable(name: str, error: OSError) -> InputError:
    return InputError(Fault(name[:200], f"can't be reached ({error.strerror})", "Check the name"))


def _like(path: Path) -> str:
    try:
        names = sorted(entry.name for entry in path.parent.iterdir())
    except OSError:
        return "Check the name; relative names start at the plan file's folder"
    near = difflib.get_close_matches(path.name, names, n=1)
    if near:
        return f"Did you mean {near[0]}?"
    return "Check the name; relative names start at the plan file's folder"


def start_of(path: Path, size: int, name: str) -> bytes:
    """Read the first bytes of a file.

    Parameters
    ----------
    path : Path
        The file.
    size : int
        How many [bytes].
    name : str
        Name as in the plan, for messages.

    Returns
    -------
    bytes
        At most so many.

    Raises
    ------
    InputError
        If the file can't be read or is empty.
    """
    try:
        with path.open("rb") as handle:
            start = handle.read(size)
    except OSError as error:
        raise unreadable(name, error) from error
    if not start:
        raise InputError(Fault(name, "is empty", "Export it again"))
    return start


def text_of(path: Path, largest: int, name: str) -> str:
    """Read a whole text file of bounded size.

    Parameters
    ----------
    path : Path
        The file.
    largest : int
        Largest size accepted [bytes].
    name : str
        Name as in the plan, for messages.

    Returns
    -------
    str
        The text, without a byte order mark.

    Raises
    ------
    InputError
        If the file is too large, can't be read or isn't UTF-8.
    """
    return decoded(start_of(path, largest + 1, name), largest, name)


def decoded(raw: bytes, largest: int, name: str) -> str:
    """Decode a text of bounded size.

    Parameters
    ----------
    raw : bytes
        Its bytes, at least one more than accepted where there are more.
    largest : int
        Largest size accepted [bytes].
    name : str
        Name as in the plan, for messages.

    Returns
    -------
    str
        The text, without a byte order mark.

    Raises
    ------
    InputError
        If it is too large or isn't UTF-8.
    """
    if len(raw) > largest:
        raise InputError(
            Fault(name, f"is larger than {largest / 1e6:g} MB", "Save it as a GeoPackage")
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            Fault(name, f"isn't UTF-8 text (byte {error.start + 1})", "Save it as UTF-8")
        ) from error


def sha256(path: Path, name: str) -> str:
    """Hash a file in small pieces.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        Name as in the plan, for messages.

    Returns
    -------
    str
        The digest, in hexadecimal.

    Raises
    ------
    InputError
        If the file can't be read.
    """
    digest = hashlib.sha256()
    try:
        with path.open("rb") as handle:
            while piece := handle.read(CHUNK_BYTES):
                digest.update(piece)
    except OSError as error:
        raise unreadable(name, error) from error
    return digest.hexdigest()


def unreadable(name: str, error: Exception) -> InputError:
    """Say that a file can't be read.

    Parameters
    ----------
    name : str
        Name as in the plan.
    error : Exception
        What the operating system or a library said.

    Returns
    -------
    InputError
        To be raised.
    """
    told = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    first = " ".join(told.split())[:200]
    return InputError(
        Fault(name, f"can't be read ({first})", "Check that it is complete; export it again")
    )


def crs_from(text: str, where: str) -> pyproj.CRS:
    """Understand a CRS given as text, without any file or network.

    Parameters
    ----------
    text : str
        Code such as EPSG:32736, a URN, or WKT.
    where : str
        Where it stands, for messages.

    Returns
    -------
    pyproj.CRS
        The CRS.

    Raises
    ------
    InputError
        If it isn't understood or isn't geographic or projected.
    """
    remedy = "Give a code such as EPSG:32736"
    shown = ascii(text[:60])
    if len(text) > CRS_TEXT_MAX or _CRS_NOT_PLAIN.search(text):
        raise InputError(Fault(where, f"CRS {shown} isn't a code or plain WKT", remedy))
    try:
        crs = pyproj.CRS.from_user_input(text)
    except CRSError as error:
        raise InputError(Fault(where, f"CRS {shown} isn't understood", remedy)) from error
    return horizontal(crs, where)


def horizontal(crs: pyproj.CRS, where: str) -> pyproj.CRS:
    """Keep the horizontal part of a CRS.

    Parameters
    ----------
    crs : pyproj.CRS
        Any CRS.
    where : str
        Where it stands, for messages.

    Returns
    -------
    pyproj.CRS
        Its geographic or projected part.

    Raises
    ------
    InputError
        If it is neither, or has no way to WGS 84.
    """
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    if not (crs.is_geographic or crs.is_projected):
        raise InputError(
            Fault(
                where,
                f"has the CRS {crs.name[:80]!r}, which doesn't say where on Earth it is",
                "Assign the right CRS in a GIS and export again",
            )
        )
    crs = crs.to_2d() if len(crs.axis_info) > PLANE_AXES else crs
    try:
        pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    except ProjError as error:
        raise InputError(
            Fault(where, f"CRS {crs.name[:80]!r} can't be brought to WGS 84", "Give another CRS")
        ) from error
    return crs


def settle_crs(stated: pyproj.CRS | None, given: str | None, name: str, key: str) -> pyproj.CRS:
    """Decide the CRS of a file from what it states and what the plan says.

    Parameters
    ----------
    stated : pyproj.CRS | None
        CRS in the file.
    given : str | None
        CRS in the plan.
    name : str
        Name of the file as in the plan.
    key : str
        The plan's key, for messages.

    Returns
    -------
    pyproj.CRS
        The CRS, horizontal.

    Raises
    ------
    InputError
        If there is none, or the two differ.
    """
    if stated is not None:
        stated = horizontal(stated, name)
    if given is None:
        if stated is None:
            raise InputError(
                Fault(name, "states no CRS", f'Set {key} in [files], such as "EPSG:32736"')
            )
        return stated
    wanted = crs_from(given, f"[files] {key}")
    if stated is not None and not stated.equals(wanted, ignore_axis_order=True):
        raise InputError(
            Fault(
                name,
                f"states the CRS {stated.name[:80]!r}, but {key} in the plan is {given!r}",
                f"Remove {key}, or correct the file",
            )
        )
    return wanted
