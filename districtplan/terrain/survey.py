"""Read the raster block by block under the plots, and summarise what is there."""

from __future__ import annotations

import itertools
from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, NamedTuple, Protocol, TypeVar

import numpy as np
import shapely

from districtplan import geodesy
from districtplan.coverage import Cells, batches, coverage
from districtplan.grid import Window
from districtplan.terrain import noise
from districtplan.terrain.gradient import Block, Ground, gradients
from districtplan.terrain.noise import Doubt
from districtplan.terrain.statistics import Statistics, summarise

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from numpy.typing import NDArray

    from districtplan.coverage import Outlines
    from districtplan.grid import Elevation, Grid
    from districtplan.terrain.noise import ErrorModel

Found = TypeVar("Found", Statistics, Doubt)

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

    def look(self, cells: Cells, ground: Ground, block: Block) -> None:
        """Take in one batch; batches come in the order of the plots.

        Parameters
        ----------
        cells : Cells
            The cells of the batch.
        ground : Ground
            Elevation and gradient at each.
        block : Block
            Elevations around them.
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


def blocks(outlines: Outlines, grid: Grid, margin: int = 1) -> Iterator[Work]:
    """Cut plots into reads of the raster.

    Parameters
    ----------
    outlines : Outlines
        The plots, ordered by block.
    grid : Grid
        The raster's grid.
    margin : int, default 1
        Cells to read beyond those that plots touch.

    Yields
    ------
    Work
        The plots of one block and what to read for them.
    """
    bounds = outlines.bounds()
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
    if window.rows and window.columns:
        values[1:-1, 1:-1] = elevation.read(window)
        tiles = elevation.tiles(window)
        if tiles is not None:
            framed = np.pad(tiles, 1, constant_values=-1)
            return Block(values, window.row, window.column, framed)
    return Block(values, window.row, window.column)


def survey(
    outlines: Outlines,
    elevation: Elevation,
    error: ErrorModel,
    progress: Callable[[float], None] | None = None,
    looks: Sequence[Look] = (),
) -> tuple[Statistics, Doubt]:
    """Summarise the raster under each plot, and how far its error may reach.

    Parameters
    ----------
    outlines : Outlines
        The plots, ordered by block.
    elevation : Elevation
        The raster.
    error : ErrorModel
        Its vertical error.
    progress : Callable[[float], None] | None, default None
        Called with the share of plots done.
    looks : Sequence[Look], default ()
        What else is handed each batch.

    Returns
    -------
    found : Statistics
        One value a plot.
    doubt : Doubt
        One value a plot.
    """
    total = len(outlines.plot_part) - 1
    # Two batches at a time: each takes long enough in numpy that threads pay. What is ahead of the
    # oldest unfinished one is bounded, and with it the memory.
    parts: list[tuple[Statistics, Doubt]] = []
    waiting: deque[Future[_Seen]] = deque()
    margin = max((1, *(other.margin for other in looks)))

    def take() -> None:
        one = waiting.popleft().result()
        for other in looks:
            other.look(one.cells, one.ground, one.block)
        parts.append((one.found, one.doubt))

    with ThreadPoolExecutor(THREADS) as pool:
        for work in blocks(outlines, elevation.grid, margin):
            group = outlines.take(work.plots)
            block = _read(elevation, work.window)
            for batch in batches(group):
                waiting.append(pool.submit(_look, group.take(batch), block, elevation.grid, error))
                if len(waiting) > THREADS:
                    take()
            if progress is not None:
                progress(work.plots.stop / total)
        while waiting:
            take()
    return (
        _together(Statistics, tuple(found for found, _ in parts)),
        _together(Doubt, tuple(doubt for _, doubt in parts)),
    )


class _Seen(NamedTuple):
    cells: Cells
    ground: Ground
    block: Block
    found: Statistics
    doubt: Doubt


def _look(outlines: Outlines, block: Block, grid: Grid, error: ErrorModel) -> _Seen:
    cells = coverage(outlines)
    ground = gradients(block, cells, grid)
    found = summarise(cells, ground)
    if error.sigma_m > 0:
        doubt = noise.doubt(cells, ground, geodesy.cell_size_m(grid), error)
    else:
        doubt = noise.without_error(found)
    return _Seen(cells, ground, block, found, doubt)


def _together(kind: type[Found], parts: tuple[Found, ...]) -> Found:
    return kind(
        **{
            field.name: np.concatenate([getattr(part, field.name) for part in parts])
            for field in fields(kind)
        }
    )
