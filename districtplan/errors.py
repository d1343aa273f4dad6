"""What can go wrong, in one family: every message says what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

One = TypeVar("One")
Other = TypeVar("Other")


@dataclass(frozen=True)
class Fault:
    """One thing wrong with what the user gave.

    Attributes
    ----------
    where : str
        File and, where known, line or row, as the user would look it up.
    what : str
        What is wrong, with the value met.
    remedy : str
        What to do about it.
    """

    where: str
    what: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what}. {self.remedy}"


class DistrictplanError(Exception):
    """Root of all errors raised on purpose.

    Parameters
    ----------
    *faults : Fault
        All that is wrong, told together.
    """

    def __init__(self, *faults: Fault) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = faults


class PlanError(DistrictplanError, ValueError):
    """The plan file has unknown keys, bad values or can't be read."""


class InputError(DistrictplanError, ValueError):
    """A file named in the plan can't be used."""


class OutputError(DistrictplanError, OSError):
    """The run folder can't be written where it was asked for."""


def both(one: Callable[[], One], other: Callable[[], Other]) -> tuple[One, Other]:
    """Do two things that don't need each other, and tell the faults of both together.

    Parameters
    ----------
    one : Callable[[], One]
        The first.
    other : Callable[[], Other]
        The second, done even if the first fails.

    Returns
    -------
    tuple[One, Other]
        What they give.

    Raises
    ------
    InputError
        If either fails, with all faults.
    """
    try:
        first = one()
    except InputError as error:
        try:
            other()
        except InputError as more:
            raise InputError(*error.faults, *more.faults) from error
        raise
    return first, other()
