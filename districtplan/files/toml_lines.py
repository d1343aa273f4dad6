"""Where each key of a TOML text stands: :mod:`tomllib` keeps no positions.

The text must be one that tomllib accepts: this second scan only finds lines, it checks nothing.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any

Place = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
# One part of a key: basic string, literal string, or bare up to a delimiter.
_KEY = re.compile(r"""(?:"(?:\\.|[^"\\])*"|'[^']*'|[^"'=\]])*""")
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}(?!")|' + r"'''.*?'{3,5}(?!')|" + r""""(?:\\.|[^"\\])*"|'[^']*'""",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}\n#]*")


def lines_of(text: str) -> dict[Place, int]:
    """Find the line of every key, table and list item.

    Parameters
    ----------
    text : str
        TOML that tomllib accepts.

    Returns
    -------
    dict[tuple[str | int, ...], int]
        Line, from 1, by path: names of keys, and numbers from 0 in lists.
    """
    scan = _Scan(text)
    scan.document()
    return scan.lines


def _parts(raw: str) -> tuple[str, ...]:
    """Split a dotted key, quotes and escapes and all, by the parser that knows how."""
    table: Any = tomllib.loads(f"{raw} = 0")
    parts: list[str] = []
    while isinstance(table, dict):
        ((key, table),) = table.items()
        parts.append(key)
    return tuple(parts)


class _Scan:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.counted = 0
        self.line = 1
        self.lines: dict[Place, int] = {}
        self.tables: dict[Place, int] = {}

    def document(self) -> None:
        here: Place = ()
        while self.blank():
            if self.text.startswith("[[", self.at):
                here = self.header("[[")
            elif self.text.startswith("[", self.at):
                here = self.header("[")
            else:
                self.pair(here)

    def blank(self) -> bool:
        """Skip blanks and comments; tell whether anything is left."""
        match = _BLANK.match(self.text, self.at)
        self.at = match.end() if match else self.at
        return self.at < len(self.text)

    def mark(self, place: Place) -> None:
        """Note the line of a place and of the tables that it implies."""
        self.line += self.text.count("\n", self.counted, self.at)
        self.counted = self.at
        for depth in range(1, len(place) + 1):
            self.lines.setdefault(place[:depth], self.line)

    def inside(self, parts: tuple[str, ...]) -> Place:
        """Put in the number of the newest item of each list of tables on the way."""
        place: Place = ()
        for part in parts:
            place = (*place, part)
            if place in self.tables:
                place = (*place, self.tables[place])
        return place

    def key(self) -> tuple[str, ...]:
        match = _KEY.match(self.text, self.at)
        raw = match.group() if match else ""
        self.at += len(raw)
        return _parts(raw)

    def header(self, bracket: str) -> Place:
        start = self.at
        self.at += len(bracket)
        parts = self.key()
        end, self.at = self.at + len(bracket), start
        if bracket == "[[":
            before = self.inside(parts[:-1])
            items = (*before, parts[-1])
            self.tables[items] = self.tables.get(items, -1) + 1
            place: Place = (*items, self.tables[items])
        else:
            place = self.inside(parts)
        self.mark(place)
        self.at = end
        return place

    def pair(self, here: Place) -> None:
        start = self.at
        parts = self.key()
        end, self.at = self.at + 1, start
        place: Place = (*here, *parts)
        self.mark(place)
        self.at = end
        self.value(place)

    def value(self, place: Place) -> None:
        self.blank()
        first = self.text[self.at : self.at + 1]
        if first == "[":
            self.items(place)
        elif first == "{":
            self.inline(place)
        else:
            pattern = _STRING if first in {'"', "'"} else _SCALAR
            match = pattern.match(self.text, self.at)
            self.at = match.end() if match else len(self.text)

    def items(self, place: Place) -> None:
        self.at += 1
        number = 0
        while self.blank() and self.text[self.at] != "]":
            if self.text[self.at] == ",":
                self.at += 1
                continue
            self.mark((*place, number))
            self.value((*place, number))
            number += 1
        self.at += 1

    def inline(self, place: Place) -> None:
        self.at += 1
        while self.blank() and self.text[self.at] != "}":
            if self.text[self.at] == ",":
                self.at += 1
                continue
            self.pair(place)
        self.at += 1
