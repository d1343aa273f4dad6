"""Names of files: those of villages, plain ASCII and never twice; inputs without their folder."""

from __future__ import annotations

import re
import unicodedata
from pathlib import PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

SLUG_MAX = 40
"""Characters of a name that a file's name keeps."""
DIGITS_MIN = 3
NOT_PLAIN = re.compile("[^a-z0-9]+")


def village_stems(villages: Iterable[str]) -> dict[str, str]:
    """Name the files of villages.

    Parameters
    ----------
    villages : Iterable[str]
        Names, each once, in the order in which they are numbered.

    Returns
    -------
    dict[str, str]
        Stem of the files' names by village: ``v``, its number, and what of its name is plain.

    Examples
    --------
    >>> village_stems(["Čáp / ../etc", "", "CON"])
    {'Čáp / ../etc': 'v001-cap-etc', '': 'v002', 'CON': 'v003-con'}
    """
    names = list(villages)
    digits = max(DIGITS_MIN, len(str(len(names))))
    stems = {}
    for number, name in enumerate(names, 1):
        slug = _slug(name)
        stems[name] = f"v{number:0{digits}d}" + (f"-{slug}" if slug else "")
    return stems


def without_folder(name: str) -> str:
    """Take the folder off an absolute path.

    Parameters
    ----------
    name : str
        A path as the plan gives it.

    Returns
    -------
    str
        The file's name where the path is absolute, else the path as it is.
    """
    for path in (PurePosixPath(name), PureWindowsPath(name)):
        if path.is_absolute() or path.drive:
            return path.name
    return name


def _slug(name: str) -> str:
    # Accents part from their letters, which stay; letters of other scripts fall away.
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return NOT_PLAIN.sub("-", plain).strip("-")[:SLUG_MAX].strip("-")
