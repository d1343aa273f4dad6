"""Monte Carlo of guide lines: ``python -m tests.guide_lines [SEED] [PLOTS]``.

Invented landscapes of three roughnesses, told apart by the grade that straight rows leave on them:
random fields with a power-law spectrum, on a 2.5 m lattice whose cubic spline is the true ground.
The raster is block means of it plus errors. Plots are star-shaped, of 0.05 to 1.5 ha, at any turn.

Each scheme is planned from the raster and walked on the true ground: root mean square grade [%],
and share [%] of row length within 2 % or half the plot's mean slope. Schemes set with a level are
planned and levelled on the true ground; a level errs by 0.5 % at random per leg of 10 m.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pandas as pd
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


def from_raster(rng, plot, truth: Surface, heights: Heights, error: Error) -> dict:
    """Walk what is planned from the raster."""
    xy = ladder.points(plot)
    g = truth.gradient(xy)
    limit = min(0.02, float(np.hypot(*g.T).mean()) / 2)
    seen = surface.fit(heights, error)
    s = seen.gradient(xy)
    found = {"straight": score(g, arc.straight(xy, s).direction(xy), limit)}
    parts = (Sector((), arc.fit(xy, s, 3 * limit)),)
    found["arc"] = score(g, parts[0].rows.direction(xy), limit)
    for count in (2, 3):
        parts = sectors.split(parts, xy, s, 0.1, 3 * limit)
        found[f"{count} arcs"] = score(g, sectors.direction(parts, xy), limit)
    found["own contours"] = score(
        g, arc.quarter(s) / np.maximum(np.hypot(*s.T), 1e-12)[:, None], limit
    )
    slope = min(0.02, float(np.hypot(*s.T).mean()) / 2)
    guide = ladder.guide(plot, seen, None, replace(LIMITS, grade=slope))
    found["kind"] = guide.kind
    drawn = {"arc sectors": f"{min(max(len(guide.lines), 2), 3)} arcs"}.get(guide.kind, guide.kind)
    if drawn not in found:
        # A team levels as many lines, on the true ground and with the level's error.
        z = truth.height(xy)
        count = len(guide.lines)
        if guide.kind == "level lines":
            # Pieces of one level lie at one height.
            count = len(
                {round(float(np.median(guide.ground.height(one.pegs))), 1) for one in guide.lines}
            )
        lines = level_lines.place(level_lines.Contours(truth, plot, SETTING.line_m), z, count)
        off = shifted(levelled(rng, lines), truth)
        found[drawn] = score(g, level_lines.direction(off, xy, z), limit)
    found["as chosen"] = found.pop(drawn) if "level" in drawn else found[drawn]
    found["floor"] = seen.doubt.floor
    return found


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
    found = {}
    for name, count in counts.items():
        lines = level_lines.place(contours, z, count)
        found[name] = score(g, level_lines.direction(lines, xy, z), limit)
        off = shifted(levelled(rng, lines), truth)
        found[f"{name}, level errs"] = score(g, level_lines.direction(off, xy, z), limit)
    return found


def plots(rng: np.random.Generator, heights: np.ndarray, count: int):
    """Plots and the true ground under them."""
    for _ in range(count):
        place = rng.uniform(AWAY, SIDE * STEP - AWAY, 2)
        plot = shapely.affinity.translate(outline(rng), *place)
        yield plot, Surface(cut(heights, STEP, plot.bounds, 30.0), Doubt(0.0, 0.0, 1.0))


def told(rows: list[dict]) -> dict:
    """Write means as they are printed."""
    table = pd.DataFrame(rows)
    said: dict[str, object] = {}
    for name in table.columns.difference(["kind", "floor"], sort=False):
        squared, within = np.array(table[name].tolist()).mean(axis=0)
        said[name] = f"{100 * np.sqrt(squared):.1f} / {100 * within:.0f}"
    if "floor" in table:
        said["floor [%]"] = f"{100 * np.sqrt(np.mean(table['floor'] ** 2)):.1f}"
        kinds = table["kind"].value_counts(normalize=True)
        said |= {f"chose {kind} [%]": f"{100 * kinds.get(kind, 0):.0f}" for kind in ladder.KINDS}
    return said


def tables(seed: int, count: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Both tables: planned from rasters, and set with a level."""
    planned, set_out = {}, {}
    for number, (name, land) in enumerate(LANDS.items()):
        rng = np.random.default_rng([seed, number])
        heights = landscape(rng, land)
        where = list(plots(rng, heights, count))
        for cell, sigma, length in RASTERS:
            step = round(cell / STEP)
            side = SIDE // step
            raster = heights[: side * step, : side * step].reshape(side, step, side, step)
            raster = raster.mean(axis=(1, 3)) + sigma * correlated(rng, side, length / cell)
            margin = max(40.0, 3 * cell)
            planned[name, f"{cell:g} m", f"{sigma:g} m over {length:g} m"] = told(
                [
                    from_raster(
                        rng,
                        plot,
                        truth,
                        cut(raster, cell, plot.bounds, margin),
                        Error(sigma, length),
                    )
                    for plot, truth in where
                ]
            )
        set_out[name] = told([on_the_ground(rng, *one) for one in where])
    return pd.DataFrame(planned).T, pd.DataFrame(set_out).T


if __name__ == "__main__":
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else int(np.random.SeedSequence().entropy % 2**31)
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 100
    planned, set_out = tables(seed, count)
    sys.stdout.write(f"seed {seed}, {count} plots\n{planned.to_string()}\n{set_out.to_string()}\n")
