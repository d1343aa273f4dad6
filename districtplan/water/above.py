"""The slope above each plot: how far water runs as a sheet before it enters.

From each cell at which water enters a plot the flow is followed up, over every cell that drains
there, to the farthest: a divide, a feature at which a slope length ends, the end of the heights, or
the cap beyond which water no longer runs as a sheet. Where the plot itself begins at a divide or
below a feature nothing lies above. At half of all these places at least as much slope lies above
the plot as is told: one line of gathered water decides nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan.water.directions import CODES, STAYS, STEPS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    Codes = NDArray[np.uint8]
    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Integers = NDArray[np.int64]

BEGINS = ("divide", "feature", "end of the heights", "cap")
"""What the slope above a plot may begin at."""
DIVIDE, FEATURE, HEIGHTS_END, CAP = range(len(BEGINS))


@dataclass(frozen=True)
class Ways:
    """Which way the cells around plots drain.

    Attributes
    ----------
    code : numpy.ndarray
        Directions, shape (rows, columns).
    ends : numpy.ndarray
        Steps at which a slope length ends: their codes, added up, shape (rows, columns).
    open : numpy.ndarray
        Whether water from where nothing is known may enter the cell, shape (rows, columns).
    channel : numpy.ndarray
        Whether the cell carries water, which runs as a sheet no more, shape (rows, columns).
    step_m : numpy.ndarray
        Length of a step in each of ``STEPS`` from the cells of each row, shape (rows, 8) [m].
    """

    code: Codes
    ends: Codes
    open: Bools
    channel: Bools
    step_m: Floats


class Above(NamedTuple):
    """The slope above each plot, shape (plots,) each."""

    length_m: Floats
    """NaN where the plot has no cell with a height."""
    at_least: Bools
    begins: Integers
    """Place in ``BEGINS``, -1 where nothing is known."""


class _Front(NamedTuple):
    """Cells that water comes from, the place that it is followed from, and how far above it."""

    place: Integers
    cell: Integers
    length_m: Floats


@dataclass
class _Found:
    """What was found of each place."""

    length_m: Floats
    open: Bools
    cut: Bools


def above(plot: Integers, cell: Integers, up: Codes, plots: int, ways: Ways, cap_m: float) -> Above:
    """Find the slope above plots.

    Parameters
    ----------
    plot : numpy.ndarray
        Plots of cells that have a height, ascending, shape (cells,).
    cell : numpy.ndarray
        Numbers of the cells among ``ways``, row by row, shape (cells,).
    up : numpy.ndarray
        Code of the step from each that is steepest up, 0 where none leads up, shape (cells,).
    plots : int
        How many plots there are.
    ways : Ways
        Which way cells drain.
    cap_m : float
        Longest slope length [m].

    Returns
    -------
    Above
        One value a plot.
    """
    fed = np.zeros(len(cell), dtype=np.bool_)
    entered = np.zeros(len(cell), dtype=np.bool_)
    of_plot = np.sort(plot * ways.code.size + cell)
    parts = []
    for which, place, upper in _upstream(cell, ways):
        fed[place] = True
        wanted = plot[place] * ways.code.size + upper
        at = np.minimum(np.searchsorted(of_plot, wanted), len(of_plot) - 1)
        outside = of_plot[at] != wanted
        entered[place[outside]] = True
        parts.append((which, place[outside], upper[outside]))
    ends = ways.ends.ravel()[cell]
    entered |= ~fed & ((up == STAYS) | ((ends & up) > 0))
    found = _Found(np.zeros(len(cell)), ways.open.ravel()[cell].copy(), ~fed & (ends > 0))
    start = _stepped(np.arange(len(cell)), np.zeros(len(cell)), parts, found, ways)
    _follow(start, found, ways, cap_m)
    length = found.length_m
    begins = np.select(
        [length >= cap_m, found.open, found.cut], [CAP, HEIGHTS_END, FEATURE], DIVIDE
    )
    known = _Places(plot, np.minimum(length, cap_m), begins).take(entered)
    return _middle(known, np.bincount(plot, minlength=plots) > 0)


def _upstream(cell: Integers, ways: Ways) -> Iterator[tuple[int, Integers, Integers]]:
    """Give the cells that drain into others: which of ``STEPS`` leads from them, into which."""
    rows, columns = ways.code.shape
    row, column = np.divmod(cell, columns)
    code = ways.code.ravel()
    for which, ((down, right), number) in enumerate(zip(STEPS, CODES, strict=True)):
        inside = (row >= down) & (row < rows + down)
        inside &= (column >= right) & (column < columns + right)
        place = np.flatnonzero(inside)
        upper = cell[place] - (down * columns + right)
        drains = code[upper] == number
        yield which, place[drains], upper[drains]


def _stepped(
    of: Integers,
    length_m: Floats,
    upstream: Iterable[tuple[int, Integers, Integers]],
    found: _Found,
    ways: Ways,
) -> _Front:
    """Go a step up, where water still runs as a sheet; what it is followed from learns of ends."""
    columns = ways.code.shape[1]
    parts = [_Front(of[:0], of[:0], length_m[:0])]
    for which, every, drained in upstream:
        cut = (ways.ends.ravel()[drained] & CODES[which]) > 0
        cut |= ways.channel.ravel()[drained]
        found.cut[of[every[cut]]] = True
        place, upper = every[~cut], drained[~cut]
        further = length_m[place] + ways.step_m[upper // columns, which]
        parts.append(_Front(of[place], upper, further))
    return _Front._make(np.concatenate(column) for column in zip(*parts, strict=True))


def _follow(front: _Front, found: _Found, ways: Ways, cap_m: float) -> None:
    """Follow water up to the farthest."""
    while len(front.cell):
        np.maximum.at(found.length_m, front.place, front.length_m)
        found.open[front.place[ways.open.ravel()[front.cell]]] = True
        short = front.length_m < cap_m
        front = _Front._make(column[short] for column in front)
        upstream = list(_upstream(front.cell, ways))
        fed = np.zeros(len(front.cell), dtype=np.bool_)
        for _, place, _ in upstream:
            fed[place] = True
        found.cut[front.place[~fed & (ways.ends.ravel()[front.cell] > 0)]] = True
        front = _stepped(front.place, front.length_m, upstream, found, ways)


class _Places(NamedTuple):
    """Places where water enters plots, or where a plot begins."""

    plot: Integers
    length_m: Floats
    begins: Integers

    def take(self, which: Integers | Bools) -> _Places:
        return _Places._make(column[which] for column in self)


def _middle(places: _Places, known: Bools) -> Above:
    """Give the place of each plot above which half of its places have at least as much slope."""
    longer = np.isin(places.begins, (HEIGHTS_END, CAP))
    place, has = _half(places.plot, places.length_m, places.begins, len(known))
    endless = np.where(longer, np.inf, places.length_m)
    most, _ = _half(places.plot, endless, places.begins, len(known))
    length, begins = np.zeros(len(known)), np.full(len(known), DIVIDE)
    at_least = np.zeros(len(known), dtype=np.bool_)
    length[has], begins[has] = places.length_m[place], places.begins[place]
    # Were all that may be longer endless, the middle one would be longer, or endless itself.
    at_least[has] = longer[most] | (places.length_m[most] > places.length_m[place])
    return Above(np.where(known, length, np.nan), at_least | ~known, np.where(known, begins, -1))


def _half(plot: Integers, length_m: Floats, begins: Integers, plots: int) -> tuple[Integers, Bools]:
    """Give the middle place of each plot that has places, the upper of two, and which have."""
    order = np.lexsort((begins, length_m, plot))
    count = np.bincount(plot, minlength=plots)
    has = count > 0
    first = np.cumsum(count) - count
    return order[(first + count // 2)[has]], has
