"""Every word that is printed, in one catalogue a language: ``<language>.toml`` in this package.

English is whole. Another language may lack entries: those are printed in English. A catalogue that
no speaker has reviewed yet says so in its entry ``page.review``, which pages show.

An entry is a sentence with ``{placeholders}``. Values never become templates: a village named
``{plan}`` is printed as that text.
"""

from __future__ import annotations

import functools
import re
import tomllib
from dataclasses import dataclass
from importlib import resources
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import date


WHOLE = "en"
"""The language that lacks nothing."""


@dataclass(frozen=True)
class Texts:
    """All words of one language.

    Attributes
    ----------
    language : str
        Language tag (BCP 47), as pages declare it.
    entries : Mapping[str, str]
        Sentences by key: section, dot, name.
    in_english : tuple[str, ...]
        Keys that the language's catalogue lacks: what is said in English.
    """

    language: str
    entries: Mapping[str, str]
    in_english: tuple[str, ...] = ()

    @staticmethod
    @functools.cache
    def load(language: str) -> Texts:
        """Read a catalogue of the package, what it lacks from the English one.

        Parameters
        ----------
        language : str
            Language tag, which is the name of the file.

        Returns
        -------
        Texts
            Its words.

        Raises
        ------
        KeyError
            If there is no catalogue of that language.
        """
        names = {entry.name for entry in resources.files(__name__).iterdir()}
        if f"{language}.toml" not in names:
            raise KeyError(language)
        file = resources.files(__name__).joinpath(f"{language}.toml")
        entries = dict(_leaves(tomllib.loads(file.read_text(encoding="utf-8")), ""))
        if language == WHOLE:
            return Texts(language, MappingProxyType(entries))
        whole = Texts.load(WHOLE).entries
        lacking = tuple(key for key in whole if key not in entries)
        return Texts(language, MappingProxyType({**whole, **entries}), lacking)

    def say(self, key: str, **values: object) -> str:
        """Write one sentence.

        Parameters
        ----------
        key : str
            Section, dot, name.
        **values : object
            What the placeholders stand for.

        Returns
        -------
        str
            The sentence.

        Raises
        ------
        KeyError
            If there is no such entry, or a placeholder has no value.
        """
        return self.entries[key].format_map(values)

    def section(self, name: str) -> dict[str, str]:
        """Give the entries of a section, their placeholders unfilled.

        Parameters
        ----------
        name : str
            Name of the section.

        Returns
        -------
        dict[str, str]
            Sentences by name, without the section.

        Raises
        ------
        KeyError
            If there is no such section.
        """
        if name not in self._sections:
            raise KeyError(name)
        return dict(self._sections[name])

    @functools.cached_property
    def _sections(self) -> dict[str, dict[str, str]]:
        # Sentences of a hundred thousand plots ask for sections: they are sorted out once.
        found: dict[str, dict[str, str]] = {}
        for key, text in self.entries.items():
            for dot in re.finditer(r"\.", key):
                found.setdefault(key[: dot.start()], {})[key[dot.end() :]] = text
        return found

    def day(self, value: date) -> str:
        """Write a date in words.

        Parameters
        ----------
        value : datetime.date
            The date.

        Returns
        -------
        str
            Day, month, year.
        """
        month = self.say(f"dates.month_{value.month}")
        return self.say("dates.day", day=value.day, month=month, year=value.year)

    def number(self, value: float, form: str = ",") -> str:
        """Write a number with the language's own signs for thousands and decimals.

        Parameters
        ----------
        value : float
            The number.
        form : str, default ","
            How it is written in English, as ``format`` takes it.

        Returns
        -------
        str
            The number.
        """
        signs = self.say("numbers.thousands") + self.say("numbers.decimal")
        return format(value, form).translate(str.maketrans(",.", signs))

    def listed(self, items: list[str]) -> str:
        """Write a list as part of a sentence.

        Parameters
        ----------
        items : list[str]
            At least one.

        Returns
        -------
        str
            The items, the last two joined by "and".
        """
        if len(items) == 1:
            return items[0]
        first = self.say("lists.comma").join(items[:-1])
        return self.say("lists.last", first=first, last=items[-1])


def _leaves(tree: Mapping[str, Any], above: str) -> Iterator[tuple[str, str]]:
    for name, value in tree.items():
        if isinstance(value, dict):
            yield from _leaves(value, f"{above}{name}.")
        else:
            yield f"{above}{name}", str(value)
