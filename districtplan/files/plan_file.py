"""The plan file: read with all its faults told at once, or written as a commented start."""

from __future__ import annotations

import difflib
import re
import textwrap
import tomllib
from dataclasses import dataclass
from datetime import date, time
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from districtplan.errors import Fault, PlanError
from districtplan.files.local import locate_folder
from districtplan.files.plan_keys import EXAMPLES, Key, keys, keys_of_tables, literal, sections
from districtplan.files.toml_lines import Place, lines_of
from districtplan.plan import Plan

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pydantic_core import ErrorDetails

PLAN_BYTES_MAX = 1_000_000
WIDTH = 96
KEY_PARTS_MAX = 100
SHOWN_MAX = 60
DIGITS_MAX = 1_000
SHOWN_NUMBER_MAX = 1 << 64
ITEM_DEPTH = 3  # section, key, number of the item in its list
IN_TABLE = 4  # the same, and a key of the table that the item is

_BOUNDS = {
    "greater_than_equal": ("ge", "is below"),
    "greater_than": ("gt", "isn't above"),
    "less_than_equal": ("le", "is above"),
    "less_than": ("lt", "isn't below"),
}


@dataclass(frozen=True)
class PlanFile:
    """A plan, and where it was read.

    Attributes
    ----------
    plan : Plan
        The plan, checked.
    path : Path
        The file, absolute.
    folder : Path
        Its folder, where relative names start.
    """

    plan: Plan
    path: Path
    folder: Path

    @property
    def handbook_folder(self) -> Path | None:
        """The user's folder of tables, if the plan names one.

        Returns
        -------
        Path | None
            Absolute path of an existing folder.

        Raises
        ------
        InputError
            If there is no such folder.
        """
        name = self.plan.files.handbook
        return None if name is None else locate_folder(name, self.folder)


def read_plan(path: Path) -> PlanFile:
    """Read and check a plan file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    PlanFile
        The plan.

    Raises
    ------
    PlanError
        With every fault: an unknown key, a bad value, a missing key, or a file that isn't TOML.
    """
    path = path.absolute()
    text = _text(path)
    try:
        _check_depth(text)
        data = tomllib.loads(text)
        lines = lines_of(text)
    except RecursionError as error:
        raise PlanError(
            Fault(
                path.name, "nests lists or tables too deeply", "Keep to [section] and key = value"
            )
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise _syntax(path.name, error) from error
    except ValueError as error:
        raise _long_number(path.name, text, error) from error
    try:
        # Strict: a number in quotes is a slip to be told, not guessed at.
        plan = Plan.model_validate(data, strict=True)
    except ValidationError as error:
        teller = _Teller(path.name, data, lines)
        faults = [teller.fault(detail) for detail in error.errors(include_url=False)]
        raise PlanError(*faults) from None
    return PlanFile(plan, path, path.parent)


def _start(path: Path) -> bytes:
    with path.open("rb") as handle:
        return handle.read(PLAN_BYTES_MAX + 1)


def _text(path: Path) -> str:
    try:
        folder = path.is_dir()
        raw = b"" if folder else _start(path)
    except FileNotFoundError as error:
        raise PlanError(
            Fault(
                str(path), "doesn't exist", "Check the name, or make one: districtplan new FOLDER"
            )
        ) from error
    except (OSError, ValueError) as error:
        told = getattr(error, "strerror", None) or str(error)
        raise PlanError(Fault(ascii(str(path)), f"can't be read ({told})", "Check it")) from error
    if folder:
        raise PlanError(Fault(str(path), "is a folder", "Name the plan file in it"))
    if len(raw) > PLAN_BYTES_MAX:
        raise PlanError(Fault(path.name, "is larger than 1 MB", "A plan is a short text file"))
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise PlanError(
            Fault(f"{path.name} line {line}", "isn't UTF-8 text", "Save it as UTF-8")
        ) from error


def _check_depth(text: str) -> None:
    """Refuse dotted keys of many parts, on which the parser would spend minutes."""
    unquoted = re.sub(r'"[^"\n]*"|\'[^\'\n]*\'', "", text)
    if any(part.count(".") > KEY_PARTS_MAX for part in re.split(r"[=\n]", unquoted)):
        raise RecursionError("dotted key")


def _long_number(name: str, text: str, error: ValueError) -> PlanError:
    """Tell of a number that Python refuses to read; any other error is a fault of ours."""
    found = re.search(rf"[\d_]{{{DIGITS_MAX},}}", text)
    if found is None:
        raise error
    line = text.count("\n", 0, found.start()) + 1
    return PlanError(
        Fault(f"{name} line {line}", "has a number of thousands of digits", "Correct it")
    )


def _syntax(name: str, error: ValueError) -> PlanError:
    """Tell a TOML fault with its line where the parser gives one."""
    told = str(error)
    found = re.search(r"\s*\(at line (\d+), column \d+\)", told)
    where = f"{name} line {found.group(1)}" if found else name
    what = told.replace(found.group(), "") if found else told
    return PlanError(
        Fault(
            where,
            f"isn't written as TOML: {what[:1].lower()}{what[1:200]}",
            'Write key = value; text stands in "quotes", / parts folders',
        )
    )


class _Teller:
    """Turns one finding of the model into a sentence with key, line, value and remedy."""

    def __init__(self, name: str, data: Mapping[str, Any], lines: Mapping[Place, int]) -> None:
        self.name = name
        self.data = data
        self.lines = lines
        self.keys = keys() | keys_of_tables()
        self.sections = list(sections())

    def fault(self, detail: ErrorDetails) -> Fault:
        place = detail["loc"]
        kind = detail["type"]
        if kind == "extra_forbidden":
            return self.unknown(place)
        if kind == "missing":
            return self.missing(place)
        if len(place) == 1:
            return self.section(detail)
        return self.value(detail)

    def key(self, place: Place) -> Key:
        if len(place) < IN_TABLE:
            return self.keys[str(place[0]), str(place[1])]
        return self.keys[f"{place[0]}.{place[1]}", str(place[3])]

    def where(self, place: Place) -> str:
        for depth in range(len(place), 0, -1):
            if place[:depth] in self.lines:
                return f"{self.name} line {self.lines[place[:depth]]}"
        return self.name

    def unknown(self, place: Place) -> Fault:
        *above, last = place
        if above:
            section = above[0] if len(place) < IN_TABLE else f"{above[0]}.{above[1]}"
            what = f"[{section}] has no key {shown(last)}"
            choices = [key.name for key in self.keys.values() if key.section == section]
            elsewhere = [key.section for key in self.keys.values() if key.name == last]
        else:
            what = f"there is no section or key {shown(last)} at the top of a plan"
            choices = self.sections
            elsewhere = [key.section for key in self.keys.values() if key.name == last]
        near = difflib.get_close_matches(str(last), choices, n=1)
        if elsewhere:
            remedy = f"It belongs under [{elsewhere[0]}]"
        elif near:
            remedy = f"Did you mean {near[0]}?"
        else:
            remedy = "Known here: " + ", ".join(choices)
        return Fault(self.where(place), what, remedy)

    def missing(self, place: Place) -> Fault:
        if len(place) == 1:
            needed = [key for section, key in EXAMPLES if section == place[0]]
            return Fault(
                self.name,
                f"the section [{place[0]}] is missing",
                f"Add it with {', '.join(needed)}",
            )
        key = self.key(place)
        example = literal(EXAMPLES[key.section, key.name])
        return Fault(
            self.where(place),
            f"[{key.section}] {key.name} is missing",
            f"Add it, such as {key.name} = {example}. {key.meaning}".strip(),
        )

    def section(self, detail: ErrorDetails) -> Fault:
        name = detail["loc"][0]
        if detail["type"] == "value_error":
            told = str(detail.get("ctx", {}).get("error", detail["msg"]))
            what, _, remedy = told.partition(". ")
            return Fault(
                self.where(detail["loc"]), f"[{name}] {what}", remedy or "Change one of them"
            )
        return Fault(
            self.where(detail["loc"]),
            f"{name} = {shown(detail['input'])} isn't a section",
            f"Write [{name}] on a line of its own and its keys below",
        )

    def value(self, detail: ErrorDetails) -> Fault:
        place, given = detail["loc"], detail["input"]
        key = self.key(place)
        listed = len(place) in (ITEM_DEPTH, IN_TABLE + 1)
        item = f", item {int(place[-1]) + 1}," if listed else ""
        return Fault(
            self.where(place),
            f"[{key.section}] {key.name}{item} = {shown(given)} {_why(detail, key)}",
            _remedy(key, given),
        )


def _why(detail: ErrorDetails, key: Key) -> str:
    kind, context = detail["type"], detail.get("ctx", {})
    if kind in _BOUNDS:
        bound, words = _BOUNDS[kind]
        limit = context[bound]
        return f"{words} {limit if isinstance(limit, str) else f'{limit:.12g}'}"
    if kind == "value_error":
        return str(context["error"])
    if kind == "finite_number":
        return "isn't a finite number"
    return f"isn't {key.expects}"


def _remedy(key: Key, given: object) -> str:
    unquoted = key.expects.startswith(("a number", "a whole", "a date", "true"))
    hint = "; without quotes" if isinstance(given, str) and unquoted else ""
    return f"Give {key.expects}{hint}. {key.meaning}".strip()


def shown(value: object) -> str:
    """Show a value of the plan in a message, short and harmless.

    Parameters
    ----------
    value : object
        Any value that TOML can give.

    Returns
    -------
    str
        The value, cut where it is long.
    """
    if isinstance(value, dict):
        return "a section"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, bool | float) or (
        isinstance(value, int) and abs(value) < SHOWN_NUMBER_MAX
    ):
        return literal(value)
    if isinstance(value, int):
        return "a very large number"
    if isinstance(value, date | time):
        return value.isoformat()
    text = str(value)
    return literal(text if len(text) <= SHOWN_MAX else text[:SHOWN_MAX] + "...")


def starter_plan(guesses: Mapping[str, tuple[str | None, str]] | None = None) -> str:
    """Write a commented plan to start from.

    Every key stands in it with its meaning and range, from the plan's own declaration: required
    ones with an example to replace, the others commented out with their default.

    Parameters
    ----------
    guesses : Mapping[str, tuple[str | None, str]] | None, default None
        Value and reason of keys of ``[files]`` that were guessed; without a value the key stays
        as it is, with the reason above it.

    Returns
    -------
    str
        A plan file that :func:`read_plan` accepts as it is.
    """
    parts = [
        "# A plan for districtplan. Lines that start with # are comments.",
        "# Keys that stand open are required: replace the examples by what holds for the district.",
        "# Keys behind # show what is used where they are absent; remove the # to change one.",
    ]
    for name, model in sections().items():
        parts += ["", *_comment((model.__doc__ or "").split("\n\n")[0]), f"[{name}]"]
        for key in keys().values():
            if key.section == name:
                parts += _starter_key(key, (guesses or {}) if name == "files" else {})
        parts += _starter_tables(name)
    return "\n".join(parts) + "\n"


def _starter_tables(section: str) -> list[str]:
    """Write the tables of a section's lists, all of them behind #."""
    parts: list[str] = []
    told = ""
    for key in keys_of_tables().values():
        if not key.section.startswith(f"{section}."):
            continue
        if key.section != told:
            parts, told = [*parts, f"# [[{key.section}]]"], key.section
        parts += [line if line.startswith("#") else f"# {line}" for line in _starter_key(key, {})]
    return parts


def _starter_key(key: Key, guesses: Mapping[str, tuple[str | None, str]]) -> list[str]:
    told = f"{key.meaning} {key.expects[:1].upper()}{key.expects[1:]}.".strip()
    if key.name in guesses:
        value, why = guesses[key.name]
        told = f"{told} GUESSED, look at it: {why}."
        if value is not None:
            return [*_comment(told), f"{key.name} = {literal(value)}"]
    if (key.section, key.name) in EXAMPLES:
        return [*_comment(told), f"{key.name} = {literal(EXAMPLES[key.section, key.name])}"]
    if key.default is None:
        return [*_comment(told), f"# {key.name} ="]
    return [*_comment(told), f"# {key.name} = {literal(key.default)}"]


def _comment(text: str) -> list[str]:
    return [f"# {line}" for line in textwrap.wrap(text, WIDTH)]
