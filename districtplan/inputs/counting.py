"""Whole numbers: rounding half up, packs rounded up, sums that are exact."""

from __future__ import annotations

import functools
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

DECIMALS = 6
"""Decimals kept before rounding half up, so that 2.4999999996 counts as the half that it is."""


def half_up(values: pd.Series) -> pd.Series:
    """Round to whole numbers, halves up.

    Parameters
    ----------
    values : pandas.Series
        Numbers, not negative.

    Returns
    -------
    pandas.Series
        Whole numbers, ``Int64``.

    Examples
    --------
    >>> half_up(pd.Series([0.4, 0.5, 2.5, 2.4999999999])).tolist()
    [0, 1, 3, 3]
    """
    rounded: NDArray[np.float64] = np.floor(np.round(values.to_numpy(), DECIMALS) + 0.5)
    return pd.Series(rounded.astype(np.int64), index=values.index, dtype="Int64")


def unknown(index: pd.Index) -> pd.Series:
    """Make a column of whole numbers that nothing is known of.

    Parameters
    ----------
    index : pandas.Index
        Index of the column.

    Returns
    -------
    pandas.Series
        Nulls, ``Int64``.
    """
    return pd.Series(pd.NA, index=index, dtype="Int64")


def packs(need_g: int, pack_kg: float) -> int:
    """Count the packs that hold a need, the last one opened counted whole.

    The size is taken as the decimal number that it is written as, so that 3 packs of 0.1 kg hold
    300 g.

    Parameters
    ----------
    need_g : int
        Need [g].
    pack_kg : float
        Size of a pack [kg].

    Returns
    -------
    int
        Packs, the fewest that hold the need.

    Examples
    --------
    >>> packs(300, 0.1), packs(301, 0.1), packs(0, 50.0)
    (3, 4, 0)
    """
    size = _pack_g(pack_kg)
    return -(-int(need_g) * size.denominator // size.numerator)


def packs_each(need_g: NDArray[np.int64], pack_kg: float) -> NDArray[np.int64]:
    """Count the packs of many buyers, each as :func:`packs` does.

    Parameters
    ----------
    need_g : numpy.ndarray
        Needs, shape (buyers,) [g].
    pack_kg : float
        Size of a pack [kg].

    Returns
    -------
    numpy.ndarray
        Packs, shape (buyers,).
    """
    size = _pack_g(pack_kg)
    if int(need_g.max(initial=0)) * size.denominator > np.iinfo(np.int64).max:
        return np.array([packs(int(grams), pack_kg) for grams in need_g], dtype=np.int64)
    return -(-need_g * size.denominator // size.numerator)


@functools.cache
def _pack_g(pack_kg: float) -> Fraction:
    return Fraction(repr(float(pack_kg))) * 1000


def exact_sum(values: Iterable[int], what: str) -> int:
    """Add whole numbers without loss.

    Parameters
    ----------
    values : Iterable[int]
        Whole numbers.
    what : str
        Name of the column, for the message.

    Returns
    -------
    int
        The sum.

    Raises
    ------
    InputError
        If it is too large for the files that it is written to.
    """
    total = sum(int(value) for value in values)
    if total > np.iinfo(np.int64).max:
        raise InputError(
            Fault(
                f"total of {what}",
                f"{total} is too large",
                "Check the areas of the plots, and prices",
            )
        )
    return total
