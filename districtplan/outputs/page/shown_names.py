"""Names from outside, as a page shows them: short enough to leave room, and set apart."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    T = TypeVar("T")

NAME_MAX = 120
"""Most signs of a name that are shown: one of thousands would leave room for nothing else."""
MARKS_MAX = 4
"""Most marks on one letter: hundreds would be drawn over the lines above it."""
APART, END = "\u2068", "\u2069"
"""What lies between them has a direction of its own, and turns nothing beside it (Unicode Standard
Annex 9, isolates)."""
TURNS = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
FROM_THE_RIGHT = {"R", "AL"}


def odd(names: Iterable[object]) -> dict[str, str]:
    """Give the names that can't be shown as they are.

    Parameters
    ----------
    names : Iterable[object]
        Names; what is no text is passed over.

    Returns
    -------
    dict[str, str]
        How each is shown.
    """
    texts = dict.fromkeys(name for name in names if isinstance(name, str))
    said = ((name, shown(name)) for name in texts)
    return {name: text for name, text in said if text != name}


def shown(name: str) -> str:
    """Write a name as a page shows it.

    Parameters
    ----------
    name : str
        Any text.

    Returns
    -------
    str
        The name; cut where it is too long, set apart where it is read from the right.
    """
    if name.isascii() and len(name) <= NAME_MAX:
        return name
    signs, marks = [], 0
    for sign in name:
        marks = marks + 1 if unicodedata.combining(sign) else 0
        if marks > MARKS_MAX:
            continue
        signs.append(sign)
        if len(signs) > NAME_MAX:
            signs[-2:] = "…"
            break
    text = "".join(signs)
    directions = {unicodedata.bidirectional(sign) for sign in text}
    return text if directions.isdisjoint(TURNS | FROM_THE_RIGHT) else f"{APART}{text}{END}"


def in_sentences(tree: T, known: Mapping[str, str]) -> T:
    """Show names within sentences as they are shown alone.

    Parameters
    ----------
    tree : T
        Texts, or lists and dictionaries of them.
    known : Mapping[str, str]
        Names and how they are shown.

    Returns
    -------
    T
        The same, its texts changed; dictionaries keep their keys.
    """
    if not known:
        return tree
    # Of a hundred thousand names no pattern is made: where one may begin, it is looked up.
    begins = re.compile("[" + "".join(map(re.escape, {name[0] for name in known if name})) + "]")
    lengths = sorted({len(name) for name in known}, reverse=True)

    def replaced(text: str) -> str:
        parts, after = [], 0
        for found in begins.finditer(text):
            start = found.start()
            if start < after:
                continue
            name = next((n for n in (text[start : start + k] for k in lengths) if n in known), None)
            if name is not None:
                parts += [text[after:start], known[name]]
                after = start + len(name)
        return "".join([*parts, text[after:]])

    def told(branch: object) -> object:
        if isinstance(branch, str):
            return replaced(branch)
        if isinstance(branch, dict):
            return {key: told(one) for key, one in branch.items()}
        return [told(one) for one in branch] if isinstance(branch, (list, tuple)) else branch

    return told(tree)  # type: ignore[return-value]
