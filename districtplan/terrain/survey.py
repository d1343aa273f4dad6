"""Read the raster block by block under the plots, and summarise what is there."""

from __future__ import annotations

import itertools
from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol, TypeVar

import numpy as np
import shapely

from districtplan import geodesy
from districtplan.coverage import Cells, batches, bounds_on_grid, coverage, joined, outlines_on_grid
from districtplan.grid import Window
from districtplan.terrain import noise, plateaus
from districtplan.terrain.gradient import Block, Ground, gradients
from districtplan.terrain.statistics import Statistics, summarise

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from _typeshed import DataclassInstance
    from numpy.typing import NDArray

    from districtplan.coverage import Outlines
    from districtplan.grid import Elevation, Grid
    from districtplan.terrain.noise import Doubt, ErrorModel

Found = TypeVar("Found", bound="DataclassInstance")

THREADS = 2
BLOCK_CELLS = 2_048
"""Side of the blocks by which plots are read; a plot belongs to the block of its middle."""


@dataclass(frozen=True)
class Work:
    """Plots that one read of the raster serves.

    Attributes
    ----------
    plots : slice
        Which of the plots, in the order of blocks.
    window : Window
        Cells to read: what the plots touch and a margin around, within the grid.
    """

    plots: slice
    window: Window


class Look(Protocol):
    """What else is made of the heights of each batch of plots while they are at hand."""

    @property
    def margin(self) -> int:
        """How many cells to read beyond those that plots touch."""

    def look(self, cells: Cells, ground: Ground, block: Block) -> DataclassInstance:
        """Look at one batch, in any thread.

        Parameters
        ----------
        cells : Cells
            The cells of the batch.
        ground : Ground
            Elevation and gradient at each.
        block : Block
            Elevations around them.

        Returns
        -------
        DataclassInstance
            A dataclass of arrays, one value a plot each.
        """


def block_order(polygons: NDArray[np.object_], grid: Grid) -> NDArray[np.int64]:
    """Order plots by the block of the raster that their middle lies in.

    Parameters
    ----------
    polygons : numpy.ndarray
        Outlines in the CRS of the grid, shape (plots,).
    grid : Grid
        The raster's grid.

    Returns
    -------
    numpy.ndarray
        Indices of the plots, shape (plots,).
    """
    west, south, east, north = shapely.bounds(polygons).T
    row = (grid.north - (south + north) / 2) / grid.cell_y // BLOCK_CELLS
    column = ((west + east) / 2 - grid.west) / grid.cell_x // BLOCK_CELLS
    return np.lexsort((column, row)).astype(np.int64)


def blocks(polygons: NDArray[np.object_], grid: Grid, margin: int = 1) -> Iterator[Work]:
    """Cut plots into reads of the raster.

    Parameters
    ----------
    polygons : numpy.ndarray
        Outlines in the CRS of the grid, ordered by block, shape (plots,).
    grid : Grid
        The raster's grid.
    margin : int, default 1
        Cells to read beyond those that plots touch.

    Yields
    ------
    Work
        The plots of one block and what to read for them.
    """
    bounds = bounds_on_grid(polygons, grid)
    middle = (bounds[:, :2] + bounds[:, 2:]) // 2 // BLOCK_CELLS
    change = np.flatnonzero(np.any(middle[1:] != middle[:-1], axis=1)) + 1
    edges = [0, *change.tolist(), len(bounds)]
    for start, stop in itertools.pairwise(edges):
        group = bounds[start:stop]
        top, left = np.maximum(group[:, :2].min(axis=0) - margin, 0)
        bottom, right = np.minimum(group[:, 2:].max(axis=0) + margin, [grid.rows, grid.columns])
        window = Window(int(top), int(left), max(int(bottom - top), 0), max(int(right - left), 0))
        yield Work(slice(start, stop), window)


def _read(elevation: Elevation, window: Window) -> Block:
    """Read a window with a border, of nothing where the window ends at the grid's edge."""
    # Plots off the raster leave an empty window; a block has room for one cell and its neighbours.
    shape = (max(window.rows, 1) + 2, max(window.columns, 1) + 2)
    values = np.full(shape, np.nan, dtype=np.float32)
    tiles = filled = None
    if window.rows and window.columns:
        values[1:-1, 1:-1] = elevation.read(window)
        tiles, filled = elevation.tiles(window), elevation.filled(window)
    return Block(
        values,
        window.row,
        window.column,
        None if tiles is None else np.pad(tiles, 1, constant_values=-1),
        plateaus.level(values),
        None if filled is None else plateaus.widened(np.pad(filled, 1)),
    )


class Survey(NamedTuple):
    """What was found under the plots, in their order.

    Attributes
    ----------
    outlines : Outlines
        The plots in cell units.
    statistics : Statistics
        One value a plot.
    doubt : Doubt
        One value a plot.
    looked : list
        What each look found, one value a plot.
    """

    outlines: Outlines
    statistics: Statistics
    doubt: Doubt
    looked: list[Any]


def survey(
    polygons: NDArray[np.object_],
    elevation: Elevation,
    error: ErrorModel,
    progress: Callable[[float], None] | None = None,
    looks: Sequence[Look] = (),
) -> Survey:
    """Summarise the raster under each plot, and how far its error may reach.

    Parameters
    ----------
    polygons : numpy.ndarray
        Outlines in the CRS of the grid, ordered by block, shape (plots,).
    elevation : Elevation
        The raster.
    error : ErrorModel
        Its vertical error.
    progress : Callable[[float], None] | None, default None
        Called with the share of plots done.
    looks : Sequence[Look], default ()
        What else is made of each batch.

    Returns
    -------
    Survey
        What was found, in the order of the plots.
    """
    # Two batches at a time: each takes long enough in numpy that threads pay. What is ahead of the
    # oldest unfinished one is bounded, and with it the memory.
    groups: list[Outlines] = []
    parts: list[tuple[Any, ...]] = []
    waiting: deque[Future[tuple[Any, ...]]] = deque()
    margin = max((1, *(other.margin for other in looks)))
    asked = _Asked(elevation.grid, error, looks)
    with ThreadPoolExecutor(THREADS) as pool:
        for work in blocks(polygons, elevation.grid, margin):
            group = outlines_on_grid(polygons[work.plots], elevation.grid)
            groups.append(group)
            block = _read(elevation, work.window)
            for batch in batches(group):
                waiting.append(pool.submit(_look, group.take(batch), block, asked))
                if len(waiting) > THREADS:
                    parts.append(waiting.popleft().result())
            if progress is not None:
                progress(work.plots.stop / len(polygons))
        parts.extend(one.result() for one in waiting)
    found, doubt, *looked = (_together(of_plots) for of_plots in zip(*parts, strict=True))
    return Survey(joined(groups), found, doubt, looked)


class _Asked(NamedTuple):
    grid: Grid
    error: ErrorModel
    looks: Sequence[Look]


def _look(outlines: Outlines, block: Block, asked: _Asked) -> tuple[Any, ...]:
    cells = coverage(outlines)
    ground = plateaus.left_out(gradients(block, cells, asked.grid), cells, block)
    found = summarise(cells, ground)
    if asked.error.sigma_m > 0:
        doubt = noise.doubt(cells, ground, geodesy.cell_size_m(asked.grid), asked.error)
    else:
        doubt = noise.without_error(found)
    return found, doubt, *(other.look(cells, ground, block) for other in asked.looks)


def _together(parts: tuple[Found, ...]) -> Found:
    """Join what was found in each batch."""
    names = [field.name for field in fields(parts[0])]
    return type(parts[0])(
        **{name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
    )
