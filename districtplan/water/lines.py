"""Flow lines: where water of enough land runs together, from cell to cell."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import shapely

from districtplan import geodesy

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from districtplan.grid import Grid

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]


class Links(NamedTuple):
    """Steps of flow lines, from a cell to the next one, shape (links,) each."""

    start: Integers
    """Number of the cell in the grid, row by row."""
    stop: Integers
    area_ha: Floats
    """Upslope area of the first cell [ha]."""
    at_least: Bools


def together(parts: Sequence[Links]) -> Links:
    """Put links together; of a cell met twice, the one that knows of more land.

    Parameters
    ----------
    parts : Sequence[Links]
        Links of neighbouring regions.

    Returns
    -------
    Links
        One a cell, in order of cells.
    """
    every = Links._make(np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.lexsort((-every.area_ha, every.start))
    every = Links._make(column[order] for column in every)
    first = np.concatenate([[True], every.start[1:] != every.start[:-1]])[: len(order)]
    return Links._make(column[first] for column in every)


def flow_lines(links: Links, grid: Grid) -> pd.DataFrame:
    """Draw links as lines from one meeting of waters to the next.

    Parameters
    ----------
    links : Links
        The links, one a cell.
    grid : Grid
        The raster's grid.

    Returns
    -------
    pandas.DataFrame
        ``upslope_area_ha`` and ``upslope_area_at_least`` of the last cell before the next meeting,
        and ``geometry``, lines down the flow in the CRS of the grid; the largest area first.
    """
    head, place = _chains(links)
    order = np.lexsort((place, head))
    start, stop = links.start[order], links.stop[order]
    line = np.unique(head[order], return_inverse=True)[1]
    first = np.flatnonzero(np.concatenate([[True], line[1:] != line[:-1]])[: len(line)])
    last = np.append(first[1:], len(line)) - 1 if len(first) else first
    cell = np.insert(stop, first, start[first])
    owner = np.insert(line, first, line[first])
    x = grid.west + (cell % grid.columns + 0.5) * grid.cell_x
    y = grid.north - (cell // grid.columns + 0.5) * grid.cell_y
    shapes = shapely.linestrings(np.column_stack([x, y]), indices=owner)
    found = pd.DataFrame(
        {
            "upslope_area_ha": links.area_ha[order][last],
            "upslope_area_at_least": links.at_least[order][last].astype(np.int64),
            "geometry": np.asarray(shapes, dtype=object),
        }
    )
    largest = np.argsort(-found["upslope_area_ha"].to_numpy(), kind="stable")
    return found.iloc[largest].reset_index(drop=True)


def _chains(links: Links) -> tuple[Integers, Integers]:
    """Give the first link of each link's line, and its place in it."""
    count = len(links.start)
    cells, meets = np.unique(links.stop, return_counts=True)
    alone = cells[meets == 1]
    # The link that ends where this one starts, if it is the only one.
    before = np.arange(count)
    ends_at = np.argsort(links.stop, kind="stable")
    goes_on = np.flatnonzero(np.isin(links.start, alone))
    before[goes_on] = ends_at[np.searchsorted(links.stop[ends_at], links.start[goes_on])]
    place = (before != np.arange(count)).astype(np.int64)
    while True:
        further = before[before]
        if np.array_equal(further, before):
            return before, place
        place += place[before]
        before = further


def length_within(lines: Objects, polygons: Objects, grid: Grid) -> Floats:
    """Measure the flow lines inside each polygon.

    Parameters
    ----------
    lines : numpy.ndarray
        Lines in the CRS of the grid, shape (lines,).
    polygons : numpy.ndarray
        Polygons in the same CRS, shape (polygons,).
    grid : Grid
        The raster's grid, by whose cells lengths on the ground are known.

    Returns
    -------
    numpy.ndarray
        Length inside each polygon, shape (polygons,) [m].
    """
    tree = shapely.STRtree(lines)
    polygon, line = tree.query(polygons, predicate="intersects")
    inside = shapely.intersection(polygons[polygon], lines[line])
    piece, owner = shapely.get_parts(inside, return_index=True)
    of_line = shapely.get_type_id(piece) == shapely.GeometryType.LINESTRING
    xy, which = shapely.get_coordinates(piece[of_line], return_index=True)
    owner = polygon[owner[of_line][which]]
    same = which[1:] == which[:-1]
    row = (grid.north - (xy[1:, 1] + xy[:-1, 1]) / 2) / grid.cell_y
    at = np.clip(row, 0, grid.rows - 1).astype(np.int64)
    width, height = geodesy.cell_size_m(grid)
    step = np.abs(np.diff(xy, axis=0)) / [grid.cell_x, grid.cell_y]
    length = np.hypot(step[:, 0] * width[at], step[:, 1] * height[at])
    found = np.bincount(owner[1:][same], length[same], len(polygons))
    return found.astype(np.float64, copy=False)
