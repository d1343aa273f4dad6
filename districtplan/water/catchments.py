"""Catchments of a chosen size: land that drains to one place, parted where enough comes together.

From each end of water upstream a new catchment begins where a tributary, or what is gathered along
the main stream, drains more than the least area. The library that orders cells parts them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from districtplan import tables
from districtplan.water.directions import NO_CELL

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from districtplan.grid import Grid
    from districtplan.water.blocks import Block, Region
    from districtplan.water.upslope import Upslope

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]

M2_IN_HA = 10_000
TABLE_COLUMNS = ("catchment", *tables.made_by("catchments"))


class Drained:
    """Where the water of all cells of a region goes.

    Parameters
    ----------
    region : Region
        The region.
    least_ha : float | None
        Land that a catchment has at least, where it isn't what is left of one; None where none are
        asked for, and so nothing is kept [ha].

    Attributes
    ----------
    least_ha : float | None
        As given.
    """

    def __init__(self, region: Region, least_ha: float | None) -> None:
        self._region, self.least_ha = region, least_ha
        shape = (0, 0) if least_ha is None else (region.window.rows, region.window.columns)
        self._code = np.full(shape, NO_CELL, dtype=np.uint8)
        self._area = np.zeros(shape, dtype=np.float32)

    def take(self, block: Block, up: Upslope) -> None:
        """Take what a block knows.

        Parameters
        ----------
        block : Block
            The block.
        up : Upslope
            Its ways, those turned round with them.
        """
        if self.least_ha is None:
            return
        window = block.window
        here = (
            slice(window.row, window.row + window.rows),
            slice(window.column, window.column + window.columns),
        )
        self._code[here], self._area[here] = up.code, block.area

    def catchments(
        self, plot: Integers, cell: tuple[Integers, Integers], plots: int
    ) -> tuple[Objects, pd.DataFrame] | None:
        """Part the region into catchments, and draw those that plots are in.

        Parameters
        ----------
        plot : numpy.ndarray
            Plot of each of their cells, shape (cells,).
        cell : tuple[numpy.ndarray, numpy.ndarray]
            Row and column of each in the region.
        plots : int
            How many plots there are.

        Returns
        -------
        of_plot : numpy.ndarray
            Name of the catchment that most cells of a plot are in, None where none has a height,
            shape (plots,).
        catchments : pandas.DataFrame
            One row a catchment: ``catchment``, the columns of catchments, and ``geometry`` in the
            CRS of the raster. None in the place of both where none are asked for.
        """
        if self.least_ha is None:
            return None
        region, unit_ha = self._region, self._region.unit_m2() / M2_IN_HA
        # It takes seconds to import, and few plans ask for catchments.
        import pyflwdir

        code = np.pad(self._code, 1, constant_values=NO_CELL)
        flow = pyflwdir.from_array(code, ftype="d8", check_ftype=False)
        drained = flow.accuflux(np.pad(self._area, 1).astype(np.float64), nodata=-1)
        framed, ends = flow.subbasins_area(self.least_ha / unit_ha, uparea=drained)
        label = np.ascontiguousarray(framed[1:-1, 1:-1]).astype(np.int64)
        label[self._code == NO_CELL] = 0
        of_plot = _most(plot, label[cell], plots)
        kept, count = np.unique(of_plot[of_plot > 0], return_counts=True)
        place = np.zeros(len(ends) + 1, dtype=np.int64)
        place[kept] = np.arange(1, len(kept) + 1)
        label = place[label]
        own = np.bincount(label.ravel(), self._area.ravel(), len(kept) + 1)[1:]
        end = ends[kept - 1].astype(np.int64)
        row, column = (end // framed.shape[1] - 1, end % framed.shape[1] - 1)
        name = _names(row + region.window.row, column + region.window.column)
        found = pd.DataFrame(
            {
                "catchment": name,
                "catchment_area_ha": own * unit_ha,
                "catchment_run_on_ha": np.maximum(drained.ravel()[end] - own, 0.0) * unit_ha,
                "catchment_plots": count.astype(np.int64),
                "geometry": _outlines(label, len(kept), region),
            }
        )
        named = np.concatenate([np.array([None], dtype=object), name])
        return named[place[of_plot]], found


def together(parts: Sequence[pd.DataFrame], of_plot: Objects) -> pd.DataFrame:
    """Put the catchments of regions together; of one met twice, the one that has more land.

    Parameters
    ----------
    parts : Sequence[pandas.DataFrame]
        Catchments of each region.
    of_plot : numpy.ndarray
        Name of each plot's catchment, None where it has none, shape (plots,).

    Returns
    -------
    pandas.DataFrame
        One row a catchment, the largest first; an empty table where there are no regions.
    """
    if not parts:
        return pd.DataFrame()
    every = pd.concat(parts, ignore_index=True)
    every = every.sort_values(["catchment_area_ha", "catchment"], ascending=[False, True])
    every = every.drop_duplicates("catchment").reset_index(drop=True)
    names = pd.Series(of_plot, dtype=object).value_counts()
    every["catchment_plots"] = every["catchment"].map(names).astype(np.int64)
    checked = tables.check(every.drop(columns="geometry"), TABLE_COLUMNS)
    return checked.assign(geometry=every["geometry"])


def _most(plot: Integers, label: Integers, plots: int) -> Integers:
    """Give the label that most cells of each plot have, the lower of two; 0 where none has any."""
    known = label > 0
    pairs, count = np.unique(
        np.column_stack([plot[known], label[known]]), axis=0, return_counts=True
    )
    order = np.lexsort((pairs[:, 1], -count, pairs[:, 0]))
    of, first = np.unique(pairs[order, 0], return_index=True)
    found = np.zeros(plots, dtype=np.int64)
    found[of] = pairs[order, 1][first]
    return found


def _names(row: Integers, column: Integers) -> Objects:
    """Name catchments after the cell of the raster that they end in, counted from 0."""
    names = np.empty(len(row), dtype=object)
    names[:] = [
        f"R{down}C{right}" for down, right in zip(row.tolist(), column.tolist(), strict=True)
    ]
    return names


def _outlines(label: Integers, count: int, region: Region) -> Objects:
    """Draw the land of labels from 1 on, along the edges of cells."""
    framed = np.pad(label, 1)
    corner = region.window.row - 1, region.window.column - 1
    south, east = np.array([1, 0]), np.array([0, 1])
    across = np.argwhere(framed[1:] != framed[:-1]) + south
    down = np.argwhere(framed[:, 1:] != framed[:, :-1]) + east
    ends = np.concatenate(
        [np.stack([across, across + east], axis=1), np.stack([down, down + south], axis=1)]
    )
    grid: Grid = region.grid
    xy = np.stack(
        [
            grid.west + (ends[..., 1] + corner[1]) * grid.cell_x,
            grid.north - (ends[..., 0] + corner[0]) * grid.cell_y,
        ],
        axis=-1,
    )
    sides = np.asarray(shapely.linestrings(xy), dtype=object)
    faces = shapely.get_parts(shapely.polygonize(sides.tolist()))
    inside = shapely.get_coordinates(shapely.point_on_surface(faces)).reshape(-1, 2)
    row = np.floor((grid.north - inside[:, 1]) / grid.cell_y).astype(np.int64) - corner[0]
    column = np.floor((inside[:, 0] - grid.west) / grid.cell_x).astype(np.int64) - corner[1]
    of = framed[row, column]
    # Corners in the middle of a straight side say nothing.
    faces = shapely.simplify(faces, 0)
    outlines = np.empty(count, dtype=object)
    for number in range(count):
        parts = faces[of == number + 1]
        outlines[number] = parts[0] if len(parts) == 1 else shapely.multipolygons(parts)
    return outlines
