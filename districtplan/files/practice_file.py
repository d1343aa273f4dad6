"""The published tables under a plan: its folder of tables, and its practice."""

from __future__ import annotations

from typing import TYPE_CHECKING

from districtplan import handbook
from districtplan.errors import Fault, InputError
from districtplan.files.local import locate, start_of
from districtplan.handbook import practice

if TYPE_CHECKING:
    from districtplan.files.plan_file import PlanFile
    from districtplan.handbook import Handbook

BYTES_MAX = 1_000_000


def read_handbook(read: PlanFile) -> Handbook:
    """Read the tables and the practice that a plan names, the package's where it names none.

    Parameters
    ----------
    read : PlanFile
        The plan.

    Returns
    -------
    Handbook
        The tables in force.

    Raises
    ------
    InputError
        If a table or the practice can't be used.
    """
    book = handbook.load(read.handbook_folder)
    asked = read.plan.practice
    if asked.file is None:
        return book.with_practice(*practice.packaged(asked.name))
    raw = start_of(locate(asked.file, read.folder), BYTES_MAX + 1, asked.file)
    if len(raw) > BYTES_MAX:
        raise InputError(
            Fault(asked.file, f"is larger than {BYTES_MAX} bytes", "Keep only the practice")
        )
    return book.with_practice(*practice.parse(raw, asked.file))
