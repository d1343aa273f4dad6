"""What is told of all plots, a column at a time, to be cut into villages and packed.

Columns are made once for the whole district: made village by village, the making of tables would
take longer than what is in them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from districtplan.outputs.page import shapes

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray


class Column(Protocol):
    """What knows its part between two places."""

    def cut(self, start: int, end: int) -> object:
        """Give what is told of the plots from one place to before another.

        Parameters
        ----------
        start : int
            The first place.
        end : int
            The place after the last.

        Returns
        -------
        object
            What ``json.dumps`` takes.
        """
        ...


@dataclass(frozen=True)
class Numbers:
    """A column of numbers.

    Attributes
    ----------
    digits : int
        Decimals to keep.
    naturals : numpy.ndarray
        Whole multiples of the last decimal, as :func:`shapes.stepped` makes them.
    """

    digits: int
    naturals: NDArray[np.int64]

    @staticmethod
    def of(values: pd.Series, digits: int) -> Numbers:
        """Take a column of a table.

        Parameters
        ----------
        values : pandas.Series
            Numbers, some not known.
        digits : int
            Decimals to keep.

        Returns
        -------
        Numbers
            The column.
        """
        return Numbers(digits, shapes.stepped(values, digits))

    def cut(self, start: int, end: int) -> dict[str, object]:
        """Give the part as ``digits`` and ``packed``; None where none is known.

        Parameters
        ----------
        start : int
            The first place.
        end : int
            The place after the last.

        Returns
        -------
        dict[str, object]
            The part.
        """
        own = self.naturals[start:end]
        return {"digits": self.digits, "packed": shapes.counts(own) if own.any() else None}


@dataclass(frozen=True)
class Texts:
    """A column of few texts.

    Attributes
    ----------
    values : Sequence[Any]
        The texts, some not known.
    """

    values: Sequence[Any]

    def cut(self, start: int, end: int) -> dict[str, object]:
        """Give the part as ``texts``, each once, and ``packed``.

        Parameters
        ----------
        start : int
            The first place.
        end : int
            The place after the last.

        Returns
        -------
        dict[str, object]
            The part.
        """
        return shapes.coded(self.values[start:end])


@dataclass(frozen=True)
class Each:
    """A column that is told as it is.

    Attributes
    ----------
    values : Sequence[Any]
        A value a plot.
    """

    values: Sequence[Any]

    def cut(self, start: int, end: int) -> Sequence[Any]:
        """Give the part.

        Parameters
        ----------
        start : int
            The first place.
        end : int
            The place after the last.

        Returns
        -------
        Sequence[Any]
            The part.
        """
        return self.values[start:end]


@dataclass(frozen=True)
class Few:
    """What is told of few plots.

    Attributes
    ----------
    values : Mapping[int, Any]
        Values by place.
    """

    values: Mapping[int, Any]

    def cut(self, start: int, end: int) -> dict[str, Any]:
        """Give the part, by place in it.

        Parameters
        ----------
        start : int
            The first place.
        end : int
            The place after the last.

        Returns
        -------
        dict[str, Any]
            The part.
        """
        own = (at for at in range(start, end) if at in self.values)
        return {str(at - start): self.values[at] for at in own}


@dataclass(frozen=True)
class Sentences:
    """Columns of sentences; each is handed over once a village, and told by its place.

    Attributes
    ----------
    columns : Mapping[str, Each | Few]
        Columns whose values are a sentence, a list of them, or none.
    care : Mapping[str, Sequence[str]]
        Sentences that are of no plot alone.
    """

    columns: Mapping[str, Each | Few]
    care: Mapping[str, Sequence[str]]

    def cut(self, start: int, end: int) -> dict[str, Any]:
        """Give the part: places by column, and ``texts``.

        Parameters
        ----------
        start : int
            The first place.
        end : int
            The place after the last.

        Returns
        -------
        dict[str, Any]
            The part.
        """
        places: dict[str, int] = {}

        def placed(said: object) -> object:
            if isinstance(said, str):
                return places.setdefault(said, len(places))
            # What is no sentence stays as it is.
            return [placed(one) for one in said] if isinstance(said, list) else said

        found: dict[str, Any] = {}
        for name, column in self.columns.items():
            own = column.cut(start, end)
            if isinstance(own, dict):
                found[name] = {at: placed(said) for at, said in own.items()}
            else:
                found[name] = [placed(said) for said in own]
        found["care"] = {kind: placed(said) for kind, said in self.care.items()}
        return found | {"texts": list(places)}


def cut(tree: Mapping[str, Any], start: int, end: int) -> dict[str, Any]:
    """Cut a tree of columns.

    Parameters
    ----------
    tree : Mapping[str, Any]
        Columns by name, or trees of them.
    start : int
        The first place.
    end : int
        The place after the last.

    Returns
    -------
    dict[str, Any]
        The part of each.
    """
    return {
        name: cut(branch, start, end) if isinstance(branch, dict) else branch.cut(start, end)
        for name, branch in tree.items()
    }
