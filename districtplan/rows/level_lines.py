"""Level lines with shared gaps: a few lines set with a level, the rows between dividing each gap.

Between two level lines every row divides the gap evenly: at a place whose distances to the lower
and the upper line are a and b, rows are the curves of equal a / (a + b), so they run square to
b ∇a - a ∇b. Below the lowest line and above the highest, rows stay parallel to it, as they do to
the other line where one has ended.

Lines lie at the heights that part the land into bands of equal area, each in the middle of its
band. A contour through a saddle or around a top has several pieces; each is a line of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

from districtplan import contours
from districtplan.rows.arc import quarter

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.rows.surface import Surface

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Outline = shapely.Polygon | shapely.MultiPolygon

SMOOTH_M = 0.05
"""How far a corner of a line may lie beside it when its points are thinned [m]."""
TAIL_M = 15.0
"""How far rows beyond the end of a line go by its last leg, drawn out straight [m]."""
PEGGED_M = 0.5
"""Length from which a piece of a line can be pegged at all [m]."""
OBLIQUE = 0.94
"""Least cosine of the turn between the way to the next line and the way square to this one: 20
degrees. Where it is less the lines run apart or together and no rows lie between them."""
BESIDE_M = 1.0
"""How far along a line its direction is looked at to either side [m]."""
TOUCH_M = 0.05
"""How near its ends the way from a line to the next one may touch lines [m]."""
RING = 4
"""A ring is left out unless it is this many times as long as other pieces have to be: its pegs go
all the way around a place that is no wider than half of that."""
NEAR_M = 1e-9
"""Distance under which a point lies on a line [m]."""


class LevelLines(NamedTuple):
    """The lines of one plot, the lowest first.

    Attributes
    ----------
    heights : tuple[float, ...]
        Height of each level [m].
    pieces : tuple[tuple[numpy.ndarray, ...], ...]
        Pieces of the lines of each level, shape (points, 2) each [m].
    """

    heights: tuple[float, ...]
    pieces: tuple[tuple[Floats, ...], ...]


class Land(NamedTuple):
    """A plot and all its level lines.

    Attributes
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot.
    lines : LevelLines
        The lines.
    """

    outline: Outline
    lines: LevelLines


class Contours:
    """Follows contours of a surface over one plot.

    Parameters
    ----------
    surface : Surface
        The surface.
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot.
    shortest : float
        Shorter pieces are left out [m].
    """

    def __init__(self, surface: Surface, outline: Outline, shortest: float) -> None:
        x, y, _ = contours.lattice_over(outline)
        self._lines = contours.traced(x, y, surface.lattice(x, y))
        self._outline, self._shortest = outline, shortest

    def at(self, height: float) -> tuple[Floats, ...]:
        """Give the pieces of a contour within the plot.

        Parameters
        ----------
        height : float
            The level [m].

        Returns
        -------
        tuple[numpy.ndarray, ...]
            Pieces, the longest first, shape (points, 2) each [m]; those shorter than asked only
            where there is no longer one, and no short rings.
        """
        lines = self._lines(height)
        if not lines:
            return ()
        inside = shapely.intersection(
            shapely.line_merge(shapely.MultiLineString(lines)), self._outline
        )
        pieces = [
            shapely.simplify(part, SMOOTH_M)
            for part in shapely.get_parts(shapely.line_merge(inside))
            if shapely.get_type_id(part) == shapely.GeometryType.LINESTRING
            and part.length >= (RING * self._shortest if part.is_closed else PEGGED_M)
        ]
        pieces.sort(key=lambda part: (-part.length, part.coords[0]))
        long = [part for part in pieces if part.length >= self._shortest]
        return tuple(np.asarray(part.coords)[:, :2] for part in long or pieces[:1])


def place(traced: Contours, heights: Floats, count: int) -> LevelLines:
    """Place lines in the middles of bands of equal area.

    Parameters
    ----------
    traced : Contours
        The contours of the plot.
    heights : numpy.ndarray
        Heights at points spread evenly over the plot, shape (points,) [m].
    count : int
        Number of lines.

    Returns
    -------
    LevelLines
        The lines.
    """
    levels = np.quantile(heights, (np.arange(count) + 0.5) / count)
    found = [(float(level), traced.at(float(level))) for level in levels]
    found = [(level, pieces) for level, pieces in found if pieces]
    return LevelLines(tuple(level for level, _ in found), tuple(pieces for _, pieces in found))


def direction(lines: LevelLines, xy: Floats, heights: Floats) -> Floats:
    """Give the direction of rows at places.

    Parameters
    ----------
    lines : LevelLines
        At least one line.
    xy : numpy.ndarray
        Places, shape (points, 2) [m].
    heights : numpy.ndarray
        Heights there, shape (points,) [m].

    Returns
    -------
    numpy.ndarray
        Unit vectors, shape (points, 2).
    """
    below = np.searchsorted(np.array(lines.heights), heights, side="right") - 1
    across = np.empty_like(xy)
    for band in np.unique(below).tolist():
        here = below == band
        beside = lines.pieces[max(band, 0) : band + 2]
        away = [away_from(pieces, xy[here]) for pieces in beside]
        across[here] = _between(*away) if len(away) > 1 else away[0].unit
    size = np.hypot(*across.T)
    return quarter(across / np.where(size > 0, size, 1.0)[:, None])


class _Away(NamedTuple):
    """Ways from a line to places: how far, which way, whether beyond the line's end."""

    distance: Floats
    unit: Floats
    beyond: Bools


def _between(low: _Away, high: _Away) -> Floats:
    """Give the direction across rows between two lines."""
    a, b = (side.distance[:, None] for side in (low, high))
    shared = b * low.unit - a * high.unit
    # Where one line has ended rows follow the other, where both have the nearer.
    by_low = high.beyond & (~low.beyond | (a <= b)[:, 0])
    by_high = low.beyond & ~by_low
    alone = np.where(by_low[:, None], low.unit, high.unit)
    return np.asarray(np.where((by_low | by_high)[:, None], alone, shared))


def away_from(pieces: tuple[Floats, ...], xy: Floats) -> _Away:
    """Give the way from a line to each place.

    Parameters
    ----------
    pieces : tuple[numpy.ndarray, ...]
        Pieces of the line, shape (points, 2) each [m]; the open ones go on straight beyond their
        ends for a while, as rows do.
    xy : numpy.ndarray
        Places, shape (points, 2) [m].

    Returns
    -------
    distance : numpy.ndarray
        From the line; beyond its end from the last leg drawn out without end, shape (points,) [m].
    unit : numpy.ndarray
        Unit vectors away from the line, shape (points, 2).
    beyond : numpy.ndarray
        Whether the place lies beyond the end, shape (points,).
    """
    drawn = [drawn_out(piece, TAIL_M) for piece in pieces]
    start = np.concatenate([line[:-1] for line, _ in drawn])
    leg = np.concatenate([np.diff(line, axis=0) for line, _ in drawn])
    count = np.array([len(line) - 1 for line, _ in drawn])
    last = np.cumsum(count) - 1
    open_ended = np.array([tailed for _, tailed in drawn])
    low, high = np.zeros(len(leg), dtype=bool), np.zeros(len(leg), dtype=bool)
    low[(last - count + 1)[open_ended]] = True
    high[last[open_ended]] = True
    squared = np.maximum((leg**2).sum(axis=1), NEAR_M**2)
    apart = xy[:, None, :] - start
    free = np.einsum("psk,sk->ps", apart, leg) / squared
    share = np.clip(free, 0.0, 1.0)
    vectors = apart - share[:, :, None] * leg
    nearest = np.argmin(np.einsum("psk,psk->ps", vectors, vectors), axis=1)
    at = np.arange(len(xy)), nearest
    beyond = (low[nearest] & (free[at] < 0)) | (high[nearest] & (free[at] > 1))
    straight = apart[at] - free[at][:, None] * leg[nearest]
    way = np.where(beyond[:, None], straight, vectors[at])
    distance = np.hypot(*way.T)
    # On the line itself, the way square to it.
    square = quarter(leg[nearest]) / np.sqrt(squared[nearest])[:, None]
    square *= np.where(np.einsum("pk,pk->p", square, way) < 0, -1.0, 1.0)[:, None]
    on = distance < SMOOTH_M
    unit = np.where(on[:, None], square, way / np.where(on, 1.0, distance)[:, None])
    return _Away(distance, unit, beyond)


def facing(line: Floats, along: Floats, upper: tuple[Floats, ...], land: Land) -> Floats:
    """Give where the gap above a line ends: the nearest place of the next line that faces it.

    The way there keeps within the plot and crosses no line: what lies behind another arm, a hole or
    the plot's edge shares no rows with this place. Ways to the nearest of the same places never
    cross each other, so the land of no two of them is the same.

    Parameters
    ----------
    line : numpy.ndarray
        The lower line, shape (points, 2) [m].
    along : numpy.ndarray
        Distances along it, shape (places,) [m].
    upper : tuple[numpy.ndarray, ...]
        Pieces of the next line, shape (points, 2) each [m].
    land : Land
        The plot and all its lines.

    Returns
    -------
    numpy.ndarray
        The places across the gap, NaN where no line faces, shape (places, 2) [m].
    """
    run = np.append(0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T)))

    def at(metres: Floats) -> Floats:
        return np.column_stack([np.interp(metres, run, side) for side in line.T])

    xy, leg = at(along), at(along + BESIDE_M) - at(along - BESIDE_M)
    away = away_from(upper, xy)
    way = -away.distance[:, None] * away.unit
    size = np.maximum(np.hypot(*leg.T) * away.distance, NEAR_M)
    square = np.abs(leg[:, 0] * way[:, 1] - leg[:, 1] * way[:, 0]) / size >= OBLIQUE
    ways = shapely.linestrings(np.stack([xy, xy + way], axis=1))
    outside = away.distance - shapely.length(shapely.intersection(ways, land.outline))
    share = np.minimum(TOUCH_M / np.maximum(away.distance, NEAR_M), 0.5)[:, None]
    inner = shapely.linestrings(np.stack([xy + share * way, xy + (1 - share) * way], axis=1))
    lines = shapely.MultiLineString([piece for level in land.lines.pieces for piece in level])
    # Structures stand on land that isn't planted, which every way leaves.
    standing = not shapely.covers(shapely.buffer(land.outline, TOUCH_M), lines)
    free = (
        square
        & ~away.beyond
        & (standing | (outside <= TOUCH_M))
        & ~shapely.intersects(inner, lines)
    )
    return np.asarray(np.where(free[:, None], xy + way, np.nan))


def drawn_out(piece: Floats, tail_m: float) -> tuple[Floats, bool]:
    """Put straight tails on a line that isn't a ring.

    Parameters
    ----------
    piece : numpy.ndarray
        The line, shape (points, 2) [m].
    tail_m : float
        Length of the tails [m].

    Returns
    -------
    line : numpy.ndarray
        The line with its tails.
    tailed : bool
        Whether it has any.
    """
    if np.array_equal(piece[0], piece[-1]):
        return piece, False
    tails = [
        end + tail_m * (end - inner) / max(np.hypot(*(end - inner)), NEAR_M)
        for end, inner in ((piece[0], piece[1]), (piece[-1], piece[-2]))
    ]
    return np.concatenate([tails[:1], piece, tails[1:]]), True
