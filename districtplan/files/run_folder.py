"""The run folder: written whole or not at all, and nobody else's folder is ever removed.

A run is written to a sibling, the old one moved aside, the new one moved in, the old one removed.
Killed at any point, either the old run or the new one is whole, here or aside; the next call puts
it right (:func:`heal`).
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
from typing import TYPE_CHECKING

from districtplan.errors import Fault, OutputError

if TYPE_CHECKING:
    from collections.abc import Generator, Mapping
    from pathlib import Path

MANIFEST = "run.json"
MANIFEST_BYTES_MAX = 64_000_000
_SAFE_PART = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,120}")


def write_run(folder: Path, contents: Mapping[str, bytes], *, replace: bool = False) -> None:
    """Write a run, all of it or nothing.

    Parameters
    ----------
    folder : Path
        Where to.
    contents : Mapping[str, bytes]
        Files by relative name with ``/``; ``run.json``, which lists them, must be among them.
    replace : bool, default False
        Whether an earlier run there may be replaced.

    Raises
    ------
    OutputError
        If something else stands there, or it can't be written.
    """
    _check_names(contents)
    folder = folder.absolute()
    with _told(folder):
        folder.parent.mkdir(parents=True, exist_ok=True)
        heal(folder)
        check_target(folder, replace=replace)
        _write(folder, contents)


@contextlib.contextmanager
def _told(folder: Path) -> Generator[None]:
    """Tell what the system refuses."""
    try:
        yield
    except OutputError:
        raise
    except OSError as error:
        raise OutputError(
            Fault(
                str(folder),
                f"can't be written ({error.strerror or error})",
                "Check the name, the space and the rights there, and close its files in other "
                "programs",
            )
        ) from error


def check_target(folder: Path, *, replace: bool) -> None:
    """Refuse a place where a run may not be written, before any work is done.

    Parameters
    ----------
    folder : Path
        Where a run is to go.
    replace : bool
        Whether an earlier run there may be replaced.

    Raises
    ------
    OutputError
        If a file, a link, somebody's folder or an earlier run stands there, or the place can't be
        looked at.
    """
    with _told(folder):
        _check_target(folder, replace=replace)


def _check_target(folder: Path, *, replace: bool) -> None:
    where = str(folder)
    if folder.is_symlink():
        raise OutputError(Fault(where, "is a link", "Name the folder itself"))
    if not folder.exists() or _is_empty(folder):
        return
    if not folder.is_dir():
        raise OutputError(Fault(where, "is a file", "Name another folder"))
    others = strangers(folder)
    if others is None:
        raise OutputError(
            Fault(where, "isn't empty and isn't an earlier run", "Name a new or empty folder")
        )
    if not replace:
        raise OutputError(
            Fault(where, "holds an earlier run", "Name another folder, or ask to replace it")
        )
    if others:
        raise OutputError(
            Fault(
                where,
                f"holds files that its run didn't write: {', '.join(others[:10])}",
                "Move them elsewhere, or name another folder",
            )
        )


def strangers(folder: Path) -> list[str] | None:
    """List what a run folder holds that its run didn't write.

    Parameters
    ----------
    folder : Path
        A folder.

    Returns
    -------
    list[str] | None
        Relative names, sorted; None where the folder is no run folder.
    """
    manifest = folder / MANIFEST
    if folder.is_symlink() or manifest.is_symlink() or not manifest.is_file():
        return None
    try:
        with manifest.open("rb") as handle:
            told = json.loads(handle.read(MANIFEST_BYTES_MAX))
        written = {MANIFEST, *(str(output["name"]) for output in told["outputs"])}
        ours = "districtplan" in told
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    if not ours:
        return None
    found = []
    for path in folder.rglob("*"):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink() or (not path.is_dir() and name not in written):
            found.append(name)
    return sorted(found)


def heal(folder: Path) -> None:
    """Put right what a killed run left beside a run folder.

    Parameters
    ----------
    folder : Path
        The run folder, whether or not it exists.

    Raises
    ------
    OutputError
        If what stands there wasn't made by a run.
    """
    folder = folder.absolute()
    new, old = _aside(folder, "new"), _aside(folder, "old")
    for path in (new, old):
        if path.is_symlink() or (path.exists() and not path.is_dir()):
            raise OutputError(Fault(str(path), "isn't a folder of ours", "Move it elsewhere"))
    if old.exists():
        if _is_empty(folder):
            folder.rmdir()
        if not folder.exists():
            old.rename(folder)
        elif strangers(folder) is not None and (_is_empty(old) or strangers(old) is not None):
            _remove(old)
        else:
            raise OutputError(
                Fault(str(old), "was left by a killed run", f"Compare it with {folder.name}")
            )
    if new.exists():
        _remove(new)


def _aside(folder: Path, what: str) -> Path:
    return folder.with_name(f".{folder.name}.districtplan-{what}")


def _is_empty(folder: Path) -> bool:
    return folder.is_dir() and next(folder.iterdir(), None) is None


def _remove(path: Path) -> None:
    # rmtree doesn't follow links; the name is one that only we give.
    shutil.rmtree(path)


def _check_names(contents: Mapping[str, bytes]) -> None:
    """Hold names to plain relative ones: a name made from data must not lead elsewhere."""
    if MANIFEST not in contents:
        raise ValueError(f"a run has a {MANIFEST}")
    seen: dict[str, str] = {}
    for name in contents:
        parts = name.split("/")
        if not all(_SAFE_PART.fullmatch(part) and not part.endswith(".") for part in parts):
            raise OutputError(
                Fault(ascii(name), "isn't a safe name for a file", "Tell us: it is a fault of ours")
            )
        if seen.setdefault(name.lower(), name) != name:
            raise OutputError(
                Fault(name, "differs from another only by case", "Tell us: it is a fault of ours")
            )


def _write(folder: Path, contents: Mapping[str, bytes]) -> None:
    new, old = _aside(folder, "new"), _aside(folder, "old")
    try:
        new.mkdir()
        for name, content in contents.items():
            _write_file(new / name, content)
        for path in sorted((path for path in new.rglob("*") if path.is_dir()), reverse=True):
            _sync(path)
        _sync(new)
        # os.replace fails over a folder that isn't empty, so the old one steps aside first.
        if folder.exists():
            folder.rename(old)
        new.rename(folder)
        _sync(folder.parent)
    except BaseException:
        with contextlib.suppress(OSError):
            heal(folder)
        raise
    # The new run stands; what can't be removed now (open elsewhere) goes at the next start.
    with contextlib.suppress(OSError):
        if old.exists():
            _remove(old)


def _write_file(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    # "x": never through a link or over a file that someone put there meanwhile.
    with path.open("xb") as handle:
        handle.write(content)
        handle.flush()
        os.fsync(handle.fileno())


def _sync(folder: Path) -> None:
    """Make a folder's entries last; a system that can't is none the worse."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
