"""How fast ways on foot are found, and how well: ``python -m tests.travel_speed``.

Invented land of 1,000 x 1,000 cells, rolling and rough, with a river that has two bridges and paths
that lead over them: the ways between 500 plots are found as a run finds them, in blocks of cells.
The ways from some of the plots are found again over the graph of all cells, which is put together
here from Tobler's equation by itself and solved by scipy. Fails where a limit is missed.
"""

from __future__ import annotations

import math
import subprocess
import sys
import time
from typing import NamedTuple

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from districtplan.handbook import packaged
from districtplan.travel import Ground, Walking, on_foot
from districtplan.travel.terrain import NODES
from tests.benchmark import CALIBRATION

SIDE, CELL_M, PLOTS = 1_000, 10.0, 500
STARTS = 8
"""Plots from which the full graph is walked."""
SECONDS, MEDIAN_PCT = 15.0, 1.5
RIVER, BRIDGES = 430, (220, 710)
"""Column of the river about its middle, and rows of its bridges."""
NEAR_MIN = 10.0
"""Ways shorter than this aren't compared: a cell more or less decides them."""
MOVES = ((0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (2, 1), (1, -2), (2, -1))


class Land(NamedTuple):
    """How land lies."""

    name: str
    seed: int
    slope: float
    """Mean slope [m/m]."""
    rough: float
    """How much small forms count beside large ones."""


LANDS = (Land("rolling", 1, 0.12, 0.3), Land("rough", 2, 0.3, 1.0), Land("steep", 3, 0.45, 0.6))


def made(land: Land) -> tuple[Ground, np.ndarray]:
    """Make land with a river, bridges and paths, and plots on it."""
    rng = np.random.default_rng(land.seed)
    layers = ((60, 60.0), (20, 20.0), (6, 6.0 * land.rough), (2, 2.0 * land.rough))
    heights = sum(
        gaussian_filter(rng.standard_normal((SIDE, SIDE)), width) * width * high
        for width, high in layers
    )
    heights = heights * land.slope / np.hypot(*np.gradient(heights, CELL_M)).mean()
    row = np.arange(SIDE)
    river, path = (np.zeros((SIDE, SIDE), np.bool_) for _ in range(2))
    # A river of one cell, which winds; its cells touch at corners alone where it turns.
    river[row, (RIVER + 40 * np.sin(row / 90)).astype(np.int64)] = True
    path[BRIDGES, 60:-60] = True
    path[100:-100, 700] = True
    ground = Ground(heights, (CELL_M, CELL_M), (0.0, SIDE * CELL_M), river, path)
    return ground, rng.uniform(0, SIDE * CELL_M, (PLOTS, 2))


def full(ground: Ground, plots: np.ndarray, starts: int) -> np.ndarray:
    """Walk over all cells from the first plots to all of them [minutes]."""
    heights, clear = ground.heights, ground.path | ~ground.closed
    number = np.arange(SIDE * SIDE).reshape(SIDE, SIDE)
    start, end, cost = [], [], []
    for down, across in MOVES:
        left = max(-across, 0)
        wide, high = SIDE - abs(across), SIDE - down

        def part(grid: np.ndarray, rows: int, columns: int, at=(left, wide, high)) -> np.ndarray:
            low = at[0] + columns
            return grid[rows : rows + at[2], low : low + at[1]]

        one, other = part(number, 0, 0), part(number, down, across)
        rise = part(heights, down, across) - part(heights, 0, 0)
        # Cells that the step crosses between its ends.
        half = (down // 2, int(across / 2)), (down - down // 2, across - int(across / 2))
        crossed = part(clear, *half[0]) & part(clear, *half[1])
        if abs(down * across) == 1:
            crossed = part(clear, 0, across) | part(clear, down, 0)
        goes = part(clear, 0, 0) & part(clear, down, across) & crossed
        # Who goes on a path goes on it the whole step.
        paved = part(ground.path, 0, 0) & part(ground.path, down, across)
        paved &= max(down, abs(across)) == 1
        away = CELL_M * math.hypot(down, across)
        for begin, stop, up in ((one, other, rise), (other, one, -rise)):
            speed = 6 * np.exp(-3.5 * np.abs(up / away + 0.05)) * np.where(paved, 1, 0.6)
            start.append(begin[goes])
            end.append(stop[goes])
            cost.append((away / (speed * 1000 / 60))[goes])
    graph = csr_array(
        (np.concatenate(cost), (np.concatenate(start), np.concatenate(end))),
        shape=(SIDE * SIDE, SIDE * SIDE),
    )
    row, column = ground.cells(plots)
    return dijkstra(graph, indices=number[row, column][:starts])[:, number[row, column]]


def told(land: Land, walking: Walking) -> tuple[str, list[str]]:
    """Find ways, and say how long it took, how far they are off, and which limits are missed."""
    ground, plots = made(land)
    block = max(1, math.ceil(math.sqrt(SIDE * SIDE / NODES)))
    begun, worked = time.perf_counter(), time.process_time()
    links = on_foot(ground, plots, plots, walking, (block, np.inf))
    seconds, worked = time.perf_counter() - begun, time.process_time() - worked
    found = links.whole(PLOTS, PLOTS)[:STARTS]
    least = full(ground, plots, STARTS)
    compared = np.isfinite(least) & (least > NEAR_MIN)
    off = 100 * (found[compared] / least[compared] - 1)
    median = float(np.median(np.abs(off)))
    missed = {
        "ways that there are aren't found": bool((np.isfinite(found) != np.isfinite(least)).any()),
        "too far off": not median <= MEDIAN_PCT,
        "too slow": seconds > SECONDS,
    }
    text = (
        f"{land.name}, {PLOTS} plots in blocks of {block}: {worked:.1f} s of processors, "
        f"{seconds:.1f} s by the clock; off the full graph by {median:.2f} % at the median, "
        f"{np.median(off):+.2f} % with its sign, nine in ten within "
        f"{np.quantile(np.abs(off), 0.9):.2f} %, {np.abs(off).max():.1f} % at most"
    )
    return text, [name for name, is_missed in missed.items() if is_missed]


def main() -> int:
    """Measure each land."""
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", CALIBRATION], check=True)
    print(f"calibration {time.perf_counter() - begun:.1f} s", flush=True)  # noqa: T201
    walking = Walking.of(packaged())
    # Loops are compiled once on a machine; that isn't measured.
    small = Ground(
        np.zeros((9, 9)), (1.0, 1.0), (0.0, 9.0), *(np.zeros((9, 9), np.bool_) for _ in range(2))
    )
    on_foot(small, np.ones((1, 2)), np.ones((1, 2)), walking, (1, np.inf))
    count = 0
    for land in LANDS:
        text, missed = told(land, walking)
        print(text, *missed, sep="; MISSED: ", flush=True)  # noqa: T201 - this script's result
        count += len(missed)
    return count


if __name__ == "__main__":
    sys.exit(main())
