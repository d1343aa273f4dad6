"""Monte Carlo of guide lines: ``python -m tests.guide_lines [--seed SEED] [--plots PLOTS]``.

Invented landscapes of three roughnesses, told apart by the grade that straight rows leave on them:
random fields with a power-law spectrum, on a 2.5 m lattice whose cubic spline is the true ground.
The raster is block means of it plus errors. Plots are star-shaped, of 0.05 to 1.5 ha, at any turn.

Each scheme is planned from the raster and walked on the true ground: root mean square grade [%],
and share [%] of row length within 2 % or half the plot's mean slope. Schemes set with a level are
planned and levelled on the true ground; a level errs by 0.5 % at random per leg of 10 m. *As
chosen* is what the program picks from the raster, and its level lines are levelled on the ground:
so an error of heights, an error of the level and both are told apart.

``--table`` writes what was found (``tests/published/guide_line_landscapes.csv``), and always
prints the tables of DEVELOPERS.md.
"""

from __future__ import annotations

import argparse
import csv
import sys
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import shapely

from districtplan.rows import arc, grade, ladder, level_lines, sectors, surface
from districtplan.rows.ladder import Limits
from districtplan.rows.lines import Setting
from districtplan.rows.pegs import Spaces
from districtplan.rows.sectors import Sector
from districtplan.rows.surface import Doubt, Error, Heights, Surface
from tests.terrain.errors import correlated

STEP = 2.5
SIDE = 1024
AWAY = 400.0


class Land(NamedTuple):
    """A roughness: Hurst exponent, mean slope, smallest and largest hills [m]."""

    hurst: float
    slope: float
    small_m: float
    large_m: float


LANDS = {
    "smooth": Land(2.7, 0.11, 70.0, 1000.0),
    "medium": Land(1.2, 0.1, 3.0, 1000.0),
    "rough": Land(0.6, 0.25, 8.0, 800.0),
}
RASTERS = (
    (10.0, 0.0, 0.0),
    (10.0, 0.3, 0.0),
    (10.0, 1.0, 0.0),
    (10.0, 1.0, 30.0),
    (30.0, 0.0, 0.0),
    (30.0, 2.0, 50.0),
)
"""Cell [m], standard deviation and correlation length of the error [m]."""
LEVEL_ERROR, LEG_M = 0.005, 10.0
ROW_M = 0.5
A_LANDSCAPE = 10
"""Plots on one landscape: those on another are of another draw."""
ERRS = ", level errs"
# No sag breaks a line here: parts are told apart by their number.
SETTING = Setting(Spaces(ROW_M, 0.4, 0.6), 100.0, 10.0, 0.005, 5.0, 20, 10.0)
LIMITS = Limits(0.02, 0.9, 3, 0.1, 3.0, LEVEL_ERROR, 10, 0.5, SETTING)


def landscape(rng: np.random.Generator, land: Land) -> np.ndarray:
    """Heights of a square of 2.56 km."""
    turn = 2 * np.pi * np.fft.fftfreq(SIDE, STEP)
    number = np.hypot(turn[:, None], turn[None, : SIDE // 2 + 1])
    number[0, 0] = 1.0
    size = number ** -(land.hurst + 1) / (1 + (land.small_m * number) ** 4)
    size[number < 2 * np.pi / land.large_m] = 0.0
    waves = rng.standard_normal(size.shape) + 1j * rng.standard_normal(size.shape)
    heights = np.fft.irfft2(size * waves, s=(SIDE, SIDE))
    down, across = np.gradient(heights, STEP)
    return heights * land.slope / np.hypot(down, across).mean()


def outline(rng: np.random.Generator) -> shapely.Polygon:
    """A plot around the origin."""
    corners = rng.integers(5, 9)
    turn = (np.arange(corners) + rng.uniform(0, 0.6, corners)) * 2 * np.pi / corners
    stretch = rng.uniform(1, 2.5)
    at = np.column_stack([stretch * np.cos(turn), np.sin(turn)])
    plot = shapely.Polygon(at * rng.uniform(0.85, 1.0, corners)[:, None])
    scale = np.sqrt(rng.uniform(500, 15_000) / plot.area)
    plot = shapely.affinity.scale(plot, scale, scale, origin=(0, 0))
    return shapely.affinity.rotate(plot, rng.uniform(0, 180), origin=(0, 0))


def cut(heights: np.ndarray, cell: float, bounds: tuple, margin: float) -> Heights:
    """The lattice around a plot."""
    west, south, east, north = bounds
    left, low = (int((side - margin) / cell) for side in (west, south))
    right, high = (int(np.ceil((side + margin) / cell)) for side in (east, north))
    origin = (left + 0.5) * cell, (low + 0.5) * cell
    return Heights(heights[low:high, left:right], *origin, cell, cell)


def score(truth: np.ndarray, direction: np.ndarray, limit: float) -> tuple[float, float]:
    """Mean square of the grade, and share within the limit."""
    grades = grade.along(truth, direction)
    return float(np.mean(grades**2)), float(np.mean(np.abs(grades) <= limit))


def levelled(rng: np.random.Generator, lines: level_lines.LevelLines) -> level_lines.LevelLines:
    """The lines as a level finds them: each leg's height is off by its own error."""

    def found(piece: np.ndarray) -> np.ndarray:
        run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(piece, axis=0).T))])
        legs = max(int(np.ceil(run[-1] / LEG_M)), 1)
        pegs = np.linspace(0, run[-1], legs + 1)
        at = np.column_stack([np.interp(pegs, run, side) for side in piece.T])
        rise = np.concatenate([[0.0], np.cumsum(rng.normal(0, LEVEL_ERROR * run[-1] / legs, legs))])
        return np.column_stack([at, rise])

    return lines._replace(
        pieces=tuple(tuple(found(piece) for piece in pieces) for pieces in lines.pieces)
    )


def shifted(lines: level_lines.LevelLines, truth: Surface) -> level_lines.LevelLines:
    """Move the pegs of a levelled line up or down the slope by their error."""

    def moved(piece: np.ndarray) -> np.ndarray:
        at, rise = piece[:, :2], piece[:, 2]
        slope = truth.gradient(at)
        steep = np.maximum((slope**2).sum(axis=1), 0.02**2)
        return at + (rise / steep)[:, None] * slope

    return lines._replace(
        pieces=tuple(tuple(moved(piece) for piece in pieces) for pieces in lines.pieces)
    )


class Seen(NamedTuple):
    """A plot as it is and as the raster has it."""

    plot: shapely.Polygon
    truth: Surface
    seen: Surface
    limit: float


def seen_by(plot: shapely.Polygon, truth: Surface, heights: Heights, error: Error) -> Seen:
    """Look at a plot through a raster."""
    slope = float(np.hypot(*truth.gradient(ladder.points(plot)).T).mean())
    return Seen(plot, truth, surface.fit(heights, error), min(0.02, slope / 2))


def planned(one: Seen) -> dict:
    """Walk the arcs that are planned from the raster, and its own contours."""
    xy = ladder.points(one.plot)
    g, s, limit = one.truth.gradient(xy), one.seen.gradient(xy), one.limit
    found = {"straight": score(g, arc.straight(xy, s).direction(xy), limit)}
    parts = (Sector((), arc.fit(xy, s, 3 * limit)),)
    found["arc"] = score(g, parts[0].rows.direction(xy), limit)
    for count in (2, 3, 4):
        parts = sectors.split(parts, xy, s, 0.1, 3 * limit)
        found[f"{count} arcs"] = score(g, sectors.direction(parts, xy), limit)
    own = arc.quarter(s) / np.maximum(np.hypot(*s.T), 1e-12)[:, None]
    found["own contours"] = score(g, own, limit)
    return found


def chosen(rng: np.random.Generator, one: Seen) -> dict:
    """Walk what the program picks, by a level without and with its error."""
    xy = ladder.points(one.plot)
    g = one.truth.gradient(xy)
    slope = min(0.02, float(np.hypot(*one.seen.gradient(xy).T).mean()) / 2)
    guide = ladder.guide(one.plot, one.seen, None, replace(LIMITS, grade=slope))
    if guide.rows is not None and not isinstance(guide.rows, level_lines.LevelLines):
        walked = score(g, sectors.direction(guide.rows, xy), one.limit)
        return {"as chosen": walked, f"as chosen{ERRS}": walked}
    # A team levels as many lines, on the true ground.
    count = len(guide.lines)
    if guide.kind == "level lines":
        # Pieces of one level lie at one height.
        count = len(
            {round(float(np.median(guide.ground.height(one.pegs))), 1) for one in guide.lines}
        )
    z = one.truth.height(xy)
    lines = level_lines.place(level_lines.Contours(one.truth, one.plot, SETTING.line_m), z, count)
    return {
        name: score(g, level_lines.direction(set_out, xy, z), one.limit)
        for name, set_out in (
            ("as chosen", lines),
            (f"as chosen{ERRS}", shifted(levelled(rng, lines), one.truth)),
        )
    }


def on_the_ground(rng: np.random.Generator, plot, truth: Surface) -> dict:
    """Walk what a team levels, with and without the level's error."""
    xy = ladder.points(plot)
    g, z = truth.gradient(xy), truth.height(xy)
    slope = float(np.hypot(*g.T).mean())
    limit = min(0.02, slope / 2)
    contours = level_lines.Contours(truth, plot, SETTING.line_m)
    across = np.ptp(z) / slope
    counts = {"1 line": 1, "every 40 rows": max(round(across / ROW_M / 40), 1)}
    counts["every 20 rows"] = max(round(across / ROW_M / 20), 1)
    found = {"straight": score(g, arc.straight(xy, g).direction(xy), limit)}
    for name, count in counts.items():
        lines = level_lines.place(contours, z, count)
        found[name] = score(g, level_lines.direction(lines, xy, z), limit)
        off = shifted(levelled(rng, lines), truth)
        found[f"{name}{ERRS}"] = score(g, level_lines.direction(off, xy, z), limit)
    return found


class Region:
    """One invented landscape of a roughness, and plots on it.

    Parameters
    ----------
    seed : int
        Of the whole table.
    land : str
        The roughness.
    number : int
        Of the landscape among those of this roughness.
    count : int
        How many plots lie on it.
    """

    def __init__(self, seed: int, land: str, number: int, count: int) -> None:
        self.rng = np.random.default_rng([seed, list(LANDS).index(land), number])
        self.heights = landscape(self.rng, LANDS[land])
        self.plots = []
        for _ in range(count):
            place = self.rng.uniform(AWAY, SIDE * STEP - AWAY, 2)
            plot = shapely.affinity.translate(outline(self.rng), *place)
            truth = Surface(cut(self.heights, STEP, plot.bounds, 30.0), Doubt(0.0, 0.0, 1.0))
            self.plots.append((plot, truth))

    def seen(self, cell: float, sigma: float, length: float) -> list[Seen]:
        """Look at its plots through a raster."""
        step = round(cell / STEP)
        side = SIDE // step
        raster = self.heights[: side * step, : side * step].reshape(side, step, side, step)
        raster = raster.mean(axis=(1, 3)) + sigma * correlated(self.rng, side, length / cell)
        margin = max(40.0, 3 * cell)
        return [
            seen_by(plot, truth, cut(raster, cell, plot.bounds, margin), Error(sigma, length))
            for plot, truth in self.plots
        ]


def summed(rows: list[dict]) -> dict[str, dict[str, float]]:
    """Sum up plots: mean, and spread from plot to plot, by scheme."""
    said = {}
    for name in rows[0]:
        squared, within = np.array([row[name] for row in rows]).T
        gain = within - np.array([row["straight"][1] for row in rows])
        said[name] = {
            "plots": len(rows),
            "rms_pct": 100 * np.sqrt(squared.mean()),
            "within_pct": 100 * within.mean(),
            "within_sd_pct": 100 * within.std(ddof=1),
            "gain_pct": 100 * gain.mean(),
            "gain_sd_pct": 100 * gain.std(ddof=1),
        }
    return said


def regions(seed: int, land: str, count: int) -> list[Region]:
    """Give plots of one roughness, ten to a landscape."""
    return [
        Region(seed, land, number, len(part))
        for number, part in enumerate(np.array_split(np.arange(count), -(-count // A_LANDSCAPE)))
    ]


def table(seed: int, count: int) -> list[dict]:
    """Plan and set out the rows of many plots on all lands."""
    rows = []
    source = f"python -m tests.guide_lines --seed {seed} --plots {count}"

    def add(where: dict, found: dict, floor: float | None) -> None:
        for scheme, numbers in found.items():
            name = scheme.removesuffix(ERRS)
            level = 0.0 if name == scheme else 100 * LEVEL_ERROR
            told = {"scheme": name, "level_error_pct": level, **numbers, "floor_pct": floor}
            rows.append({**where, **told, "source": source, "provenance": "computed"})

    for land in LANDS:
        here = regions(seed, land, count)
        for raster in RASTERS:
            where = dict(zip(("cell_m", "error_m", "error_length_m"), raster, strict=True))
            seen = [(region.rng, one) for region in here for one in region.seen(*raster)]
            found = [planned(one) | chosen(rng, one) for rng, one in seen]
            floor = np.sqrt(np.mean([one.seen.doubt.floor**2 for _, one in seen]))
            add({"land": land, **where}, summed(found), 100 * float(floor))
        set_out = [on_the_ground(region.rng, *plot) for region in here for plot in region.plots]
        nothing = dict.fromkeys(("cell_m", "error_m", "error_length_m"))
        add({"land": land, **nothing}, summed(set_out), None)
    return rows


def rounded(rows: list[dict]) -> list[dict[str, str]]:
    """Write numbers to a hundredth, as the file has them."""

    def said(value: object) -> str:
        if value is None:
            return ""
        return f"{value:.2f}" if isinstance(value, float) else str(value)

    return [{name: said(value) for name, value in row.items()} for row in rows]


def written(rows: list[dict[str, str]], path: Path) -> None:
    """Write the file."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def markdown(rows: list[dict[str, str]]) -> str:
    """Give both tables of DEVELOPERS.md from the rows of the file."""
    cells: dict[tuple, dict[str, str]] = {}
    floors = {}
    for row in rows:
        where = (row["land"], row["cell_m"], row["error_m"], row["error_length_m"])
        name = row["scheme"] + (ERRS if float(row["level_error_pct"]) else "")
        said = f"{float(row['rms_pct']):.1f} / {float(row['within_pct']):.0f}"
        cells.setdefault(where, {})[name] = said
        if row["floor_pct"]:
            floors[where] = f"{float(row['floor_pct']):.1f}"
    lines = []
    for levelled_too in (False, True):
        here = {where: said for where, said in cells.items() if (where in floors) != levelled_too}
        schemes = list(next(iter(here.values())))
        first = ["land"] if levelled_too else ["land", "cell, error"]
        head = [*first, *schemes, *([] if levelled_too else ["floor"])]
        lines += ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
        for where, said in here.items():
            raster = [] if levelled_too else [_raster(*where[1:])]
            floor = [] if levelled_too else [floors[where]]
            lines.append("| " + " | ".join([where[0], *raster, *said.values(), *floor]) + " |")
        lines.append("")
    return "\n".join(lines)


def _raster(cell: str, sigma: str, length: str) -> str:
    told = f"{float(cell):g} m, {float(sigma):g} m"
    return f"{told} over {float(length):g} m" if float(length) else told


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, help="fresh if not given")
    parser.add_argument("--plots", type=int, default=100, help="of each roughness")
    parser.add_argument("--table", type=Path, help="file to write")
    asked = parser.parse_args()
    seed = asked.seed
    if seed is None:
        seed = int(np.random.SeedSequence().generate_state(1)[0])
    found = rounded(table(seed, asked.plots))
    if asked.table is not None:
        written(found, asked.table)
    sys.stdout.write(f"seed {seed}, {asked.plots} plots of each roughness\n{markdown(found)}\n")


if __name__ == "__main__":
    main()
