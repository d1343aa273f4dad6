"""Files a user is given to start from: written where nothing stands yet."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from districtplan.errors import Fault, OutputError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path


def write_new(folder: Path, contents: Mapping[str, bytes]) -> None:
    """Write files into a folder; one that is there already must be the same.

    Parameters
    ----------
    folder : Path
        The folder, made if need be.
    contents : Mapping[str, bytes]
        Files by plain name, or by that of a folder, a slash and a plain name.

    Raises
    ------
    OutputError
        If another file stands in the place of one, or it can't be written: nothing is then
        written over.
    """
    try:
        different = [
            folder / name
            for name, content in contents.items()
            if os.path.lexists(folder / name) and not _same(folder / name, content)
        ]
        if different:
            raise OutputError(
                *(
                    Fault(str(path), "exists and isn't what would be written", "Name a new folder")
                    for path in different
                )
            )
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():
            path = folder / name
            path.parent.mkdir(exist_ok=True)
            _write(path, content)
    except OSError as error:
        if isinstance(error, OutputError):
            raise
        raise OutputError(
            Fault(
                str(folder),
                f"can't be written ({error.strerror or error})",
                "Check the space and the rights there",
            )
        ) from error


def _same(path: Path, content: bytes) -> bool:
    return path.is_file() and not path.is_symlink() and path.read_bytes() == content


def _write(path: Path, content: bytes) -> None:
    """Write beside, then move into place: a killed run leaves no half file under the name."""
    if path.exists():
        return
    beside = path.with_name(f".{path.name}.part")
    beside.unlink(missing_ok=True)
    with beside.open("xb") as handle:
        handle.write(content)
    beside.replace(path)
