"""What can go wrong, in one family: every message says what to do about it."""

from __future__ import annotations

from dataclasses import dataclass


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
