"""Sheets of the workbook before they are written: values, and the formulas that give them."""

from __future__ import annotations

import functools
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from xlsxwriter.utility import xl_col_to_name

from districtplan.inputs import NO_GO_HA

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import pandas as pd

    from districtplan.outputs.texts import Texts

LOOKED_THROUGH_MAX = 50_000_000
"""Cells that the formulas of a column may look through; beyond it they are plain numbers."""


@dataclass(frozen=True)
class Laid:
    """A sheet: its values, and the formulas that give some of them.

    Attributes
    ----------
    name : str
        Key of its name in the words of the workbook.
    table : pandas.DataFrame
        Values, which are kept beside the formulas.
    formulas : Mapping[str, Callable[[int], str]]
        Formula of a column's cell by the number of its row, as the sheet counts them.
    sums : tuple[str, ...]
        Columns that a last row adds up.
    heads : Mapping[str, str]
        Heads of columns that aren't in the words' list.
    names : Mapping[str, int]
        Names for the cells of the column ``value``, and their rows.
    lead : tuple[str, ...]
        Sentences above the heads, a row each.
    """

    name: str
    table: pd.DataFrame
    formulas: Mapping[str, Callable[[int], str]] = field(default_factory=dict)
    sums: tuple[str, ...] = ()
    heads: Mapping[str, str] = field(default_factory=dict)
    names: Mapping[str, int] = field(default_factory=dict)
    lead: tuple[str, ...] = ()

    @property
    def first_row(self) -> int:
        """Tell where values begin.

        Returns
        -------
        int
            Number of their first row, as the sheet counts them.
        """
        return len(self.lead) + 2

    def column(self, name: str) -> str:
        """Give the letter of a column.

        Parameters
        ----------
        name : str
            The column.

        Returns
        -------
        str
            Its letter or letters.
        """
        return self._letters[name]

    @functools.cached_property
    def _letters(self) -> dict[str, str]:
        return {str(name): str(xl_col_to_name(at)) for at, name in enumerate(self.table)}

    def over(self, name: str, texts: Texts) -> str:
        """Give the cells of a column, as formulas of other sheets name them.

        Parameters
        ----------
        name : str
            The column.
        texts : Texts
            The words, which name the sheet.

        Returns
        -------
        str
            The cells, without the head.
        """
        letter = self.column(name)
        there = texts.say(f"workbook.{self.name}")
        last = self.first_row + len(self.table) - 1
        return f"'{there}'!${letter}${self.first_row}:${letter}${last}"


@dataclass(frozen=True)
class Looked:
    """The sheet of kits, as other sheets add it up.

    Attributes
    ----------
    kit : Laid
        The sheet.
    texts : Texts
        The words.
    """

    kit: Laid
    texts: Texts

    def sum(self, column: str, line: str, key: str = "", cell: str = "") -> str:
        """Add up a column over a line, and over the rows whose key is in the cell.

        Parameters
        ----------
        column : str
            What is added up.
        line : str
            The line.
        key : str, default ""
            Column of numbers that say which rows; empty for all.
        cell : str, default ""
            Cell that holds the number looked for.

        Returns
        -------
        str
            The formula, without its equals sign.
        """
        return f"SUMIFS({self._over(column)},{self._where(line, key, cell)})"

    def count(self, line: str, key: str = "", cell: str = "") -> str:
        """Count the rows of a line whose key is in the cell.

        Parameters
        ----------
        line : str
            The line.
        key : str, default ""
            Column of numbers that say which rows; empty for all.
        cell : str, default ""
            Cell that holds the number looked for.

        Returns
        -------
        str
            The formula, without its equals sign.
        """
        return f"COUNTIFS({self._where(line, key, cell)})"

    def no_go(self, line: str, what: str, cell: str) -> str:
        """Count the plots of a village that have no-go land of a line, or add up that land.

        Parameters
        ----------
        line : str
            The line.
        what : str
            ``plots``, or anything else for land.
        cell : str
            Cell that holds the village's number.

        Returns
        -------
        str
            The formula, without its equals sign.
        """
        land, by = self._over(NO_GO_HA[line]), self._over("village_number")
        if what == "plots":
            return f'COUNTIFS({land},">0",{by},{cell})'
        return f"SUMIFS({land},{by},{cell})"

    def _where(self, line: str, key: str, cell: str) -> str:
        said = self.texts.say(f"order_lines.{line}")
        by = f",{self._over(key)},{cell}" if key else ""
        return f'{self._over("order_line")},"{said}"{by}'

    def _over(self, column: str) -> str:
        return self.kit.over(column, self.texts)


def rounded(formula: str) -> str:
    """Round as the package does: to six decimals, then halves up.

    Parameters
    ----------
    formula : str
        What is rounded.

    Returns
    -------
    str
        The formula.
    """
    return f"ROUND(ROUND({formula},6),0)"
