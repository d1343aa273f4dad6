"""Monte Carlo of the error model: ``python -m tests.monte_carlo [SEED] [CASES] [DRAWS]``.

Each case is a plot on a surface, drawn at random: plane, ridge, hollow or saddle of 3 to 50 %
slope; square, six times as long as wide, or L-shaped, of 4 to 400 cells of 10 m, at any turn; σ 0.5
to 5 m; ℓ 0 to 100 m. Noise is drawn many times over; what the error model says of each draw is held
against what the draws do. Spurs, half a cone each, are a stress beyond these: they have a row of
their own and are in no total.

Errors of the bearing are told twice. *Of all draws*: also of those for which a run prints no
bearing but "measure on the ground". *Published*: of those alone for which it prints one, by the
plan's defaults, beside the other two bearings over the same draws. Cases of which fewer than 2 % of
draws are published give too few draws each; they are told together.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from districtplan import handbook
from districtplan.coverage import Cells, coverage, outlines_on_grid
from districtplan.grid import Grid
from districtplan.terrain import method, noise
from districtplan.terrain.gradient import Ground
from tests.conftest import plan_of

CELL = 10.0
GRID = Grid(0.0, 3000.0, CELL, CELL, 300, 300, CRS.from_epsg(32736))
SHAPES = ("square", "long", "L")
SURFACES = ("plane", "ridge", "hollow", "saddle")
BEYOND = "spur"
LENGTHS = (0, 10, 20, 30, 50, 100)
COHERENCE_MIN = 0.2
"""The plan's own default: below it no bearing is printed."""
CLEAR_DEG = 20
WITH_BEARING = ("straight", "guide lines")
"""Row methods with which a run prints a bearing that the raster shows."""
SHARE_MIN = 0.02
"""Share of a case's draws from which its published bearings are told by themselves."""
BEARINGS = ("published", "tensor", "mean_gradient")


def outline(rng: np.random.Generator, cells: int, shape: str) -> shapely.Polygon:
    area = cells * CELL**2
    if shape == "square":
        half = np.sqrt(area) / 2
        plot = shapely.box(-half, -half, half, half)
    elif shape == "long":
        side = np.sqrt(area / 6)
        plot = shapely.box(-3 * side, -side / 2, 3 * side, side / 2)
    else:
        side = np.sqrt(area / 0.64)
        plot = shapely.box(-side / 2, -side / 2, side / 2, side / 2)
        plot = plot.difference(shapely.box(-0.1 * side, -0.1 * side, side, side))
    plot = shapely.affinity.rotate(plot, rng.uniform(0, 180), origin=(0, 0))
    return shapely.affinity.translate(plot, 1500 + rng.uniform(-5, 5), 1500 + rng.uniform(-5, 5))


def heights(rng: np.random.Generator, surface: str, slope: float, size: float, x, y):
    turn = rng.uniform(0, 2 * np.pi)
    u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    off = rng.uniform(-0.15, 0.15) * size
    far = rng.uniform(1.5, 4) * size
    return {
        "plane": -slope * u,
        "ridge": -slope * np.abs(u - off),
        "hollow": slope * np.abs(u - off),
        "saddle": slope / (0.6 * size) * (u**2 - 0.5 * v**2),
        "spur": -slope * np.hypot(u - far, v),
    }[surface]


def horn(z: np.ndarray) -> np.ndarray:
    up, mid, down = z[..., :-2, :], z[..., 1:-1, :], z[..., 2:, :]
    east = (
        (up[..., 2:] - up[..., :-2])
        + 2 * (mid[..., 2:] - mid[..., :-2])
        + (down[..., 2:] - down[..., :-2])
    )
    north = (up - down)[..., :-2] + 2 * (up - down)[..., 1:-1] + (up - down)[..., 2:]
    return (east + 1j * north) / (8 * CELL)


def errors(rng: np.random.Generator, shape: tuple[int, int], length: float, draws: int):
    def factor(side: int) -> np.ndarray:
        place = np.arange(side) * CELL
        alike = np.exp(-((place[:, None] - place) ** 2) / (2 * length**2))
        values, vectors = np.linalg.eigh(alike)
        return vectors * np.sqrt(np.maximum(values, 0))

    white = rng.standard_normal((draws, *shape))
    if length == 0:
        return white
    return factor(shape[0]) @ white @ factor(shape[1]).T


def repeated(weight: np.ndarray, gradient: np.ndarray) -> tuple[Cells, Ground]:
    """Each draw as a plot of its own."""
    row, column = np.nonzero(weight)
    draws, count = len(gradient), len(row)
    cells = Cells(
        first=np.arange(draws) * count,
        plot=np.repeat(np.arange(draws), count),
        row=np.tile(row, draws),
        column=np.tile(column, draws),
        weight=np.tile(weight[row, column], draws),
    )
    flat = gradient[:, row, column].ravel()
    return cells, Ground(np.zeros(len(flat)), flat.real, flat.imag)


def rms(e: np.ndarray) -> float:
    return float(np.degrees(np.sqrt(np.mean(e**2)))) if len(e) else np.nan


def published(said: noise.Doubt, error: noise.ErrorModel, cells: float) -> np.ndarray:
    """Say for which draws a run prints a bearing, by the rule of the run itself."""
    plan = plan_of()
    table = method.grades(said, error, plan.terrain).assign(cells=cells)
    methods = [method.METHODS[reason] for reason in method.reasons(table, said, error, plan)]
    return np.isin(methods, WITH_BEARING)


def ratio_se(e: np.ndarray, other: np.ndarray) -> float:
    """Give the standard error of rms over that of another, by how they differ draw by draw."""
    if len(e) < 2:
        return np.nan
    ratio = rms(e) / rms(other)
    apart = e**2 - ratio**2 * other**2
    return float(apart.std(ddof=1) / np.sqrt(len(e)) / (2 * ratio * np.mean(other**2)))


def case(rng: np.random.Generator, draws: int, surface: str) -> dict:
    cells = int(np.exp(rng.uniform(np.log(4), np.log(401))))
    shape = str(rng.choice(SHAPES))
    slope = float(np.exp(rng.uniform(np.log(0.03), np.log(0.5))))
    sigma = float(np.exp(rng.uniform(np.log(0.5), np.log(5))))
    length = float(rng.choice(LENGTHS))
    plot = outline(rng, cells, shape)
    found = coverage(outlines_on_grid(np.array([plot], dtype=object), GRID))
    top, left = found.row.min(), found.column.min()
    weight = np.zeros((found.row.max() - top + 1, found.column.max() - left + 1))
    weight[found.row - top, found.column - left] = found.weight
    rows, columns = weight.shape
    x = (left - 1 + np.arange(columns + 2) + 0.5) * CELL - 1500
    y = 1500 - (top - 1 + np.arange(rows + 2) + 0.5) * CELL
    true = heights(rng, surface, slope, np.sqrt(cells) * CELL, *np.meshgrid(x, y))
    noisy = true + sigma * errors(rng, true.shape, length, draws)

    w = weight / weight.sum()
    g0, g = horn(true), horn(noisy)
    deviator, squared = (w * g0**2).sum(), (w * np.abs(g0) ** 2).sum()

    def turned(d: np.ndarray) -> np.ndarray:
        return np.angle(d / deviator) / 2

    error = noise.ErrorModel.of(sigma, length, handbook.packaged())
    size = np.full(rows, CELL)
    said = noise.doubt(*repeated(weight, g), (size, size), error)
    off = turned(said.deviator)
    walked = np.sqrt((squared - abs(deviator)) / 2 + abs(deviator) * np.sin(off) ** 2)
    tensor, mean = turned((w * g**2).sum((1, 2))), turned((w * g).sum((1, 2)) ** 2)
    errs = dict(zip(BEARINGS, (off, tensor, mean), strict=True))
    printed = published(said, error, float(weight.sum()))
    return {
        "surface": surface, "shape": shape, "cells": cells, "slope_pct": 100 * slope,
        "sigma_m": sigma, "length_m": length, "coherence": abs(deviator) / squared,
        **{f"{name}_deg": rms(e) for name, e in errs.items()},
        "share_published": float(printed.mean()), "draws": draws,
        **{f"{name}_printed_deg": rms(e[printed]) for name, e in errs.items()},
        "better_scatter": ratio_se(off[printed], min(tensor[printed], mean[printed], key=rms)),
        "worse_scatter": ratio_se(off[printed], max(tensor[printed], mean[printed], key=rms)),
        "bearing_sd_deg": float(np.degrees(off.std())), "bearing_se_deg": rms(said.turn),
        "slope_sd_pct": float(100 * said.slope.std()),
        "slope_se_pct": float(100 * np.sqrt(np.mean(said.slope_se**2))),
        "grade_held": float(np.mean(walked <= said.grade_95(error))),
    }  # fmt: skip


def cases(seed: int, count: int, draws: int = 400) -> pd.DataFrame:
    """Draw cases whose true bearing is clear, and a quarter as many spurs beyond them."""
    rng = np.random.default_rng(seed)
    found: list[dict] = []
    while len(found) < count:
        one = case(rng, draws, str(rng.choice(SURFACES)))
        if one["coherence"] > COHERENCE_MIN:
            found.append(one)
    found += [case(rng, draws, BEYOND) for _ in range(count // 4)]
    table = pd.DataFrame(found)
    either = table[["tensor_deg", "mean_gradient_deg"]]
    table["of_better"] = table["published_deg"] / either.min(axis=1)
    table["better_deg"] = either.min(axis=1)
    table["of_worse"] = table["published_deg"] / either.max(axis=1)
    either = table[["tensor_printed_deg", "mean_gradient_printed_deg"]]
    table["printed_of_better"] = table["published_printed_deg"] / either.min(axis=1)
    table["printed_of_worse"] = table["published_printed_deg"] / either.max(axis=1)
    table["bearing_ratio"] = table["bearing_se_deg"] / table["bearing_sd_deg"]
    table["slope_ratio"] = table["slope_se_pct"] / table["slope_sd_pct"]
    return table


def seldom_of_better(part: pd.DataFrame) -> float:
    """Compare bearings over the published draws of many cases taken together."""
    draws = part["share_published"] * part["draws"]
    if not draws.sum():
        return np.nan
    own, *others = (
        np.sqrt((draws * part[f"{name}_printed_deg"].fillna(0) ** 2).sum()) for name in BEARINGS
    )
    return own / min(others)


def summary(table: pd.DataFrame) -> pd.DataFrame:
    """What was asked for, over all cases, and by surface."""
    asked = table[table["surface"] != BEYOND]
    rows = {}
    for name, part in [
        ("all", asked),
        *asked.groupby("surface"),
        (BEYOND, table.drop(asked.index)),
    ]:
        clear = part[part["bearing_sd_deg"] < CLEAR_DEG]
        # Where neither bearing says anything, all three are lines at random.
        seen = part[part["better_deg"] < CLEAR_DEG]
        often = part[part["share_published"] >= SHARE_MIN]
        # What so few draws leave open is told apart.
        of_better = often["printed_of_better"] - 2 * often["better_scatter"]
        of_worse = often["printed_of_worse"] - 2 * often["worse_scatter"]
        rows[name] = {
            "cases": len(part),
            "bearing se/sd within 0.85-1.15": clear["bearing_ratio"].between(0.85, 1.15).mean(),
            "slope se/sd within 0.85-1.15": part["slope_ratio"].between(0.85, 1.15).mean(),
            "19-in-20 grade held": part["grade_held"].mean(),
            "published cases": len(often),
            "published rms / better, median": often["printed_of_better"].median(),
            "published rms / better, worst": often["printed_of_better"].max(),
            "published rms / better, up to 1.4": (often["printed_of_better"] <= 1.4).mean(),
            "published rms / better, worst less 2 se": of_better.max(),
            "published rms / worse, worst": often["printed_of_worse"].max(),
            "published rms / worse, worst less 2 se": of_worse.max(),
            "published seldom, together: rms / better": seldom_of_better(part.drop(often.index)),
            "all draws rms / better, median": part["of_better"].median(),
            "all draws rms / better, up to 1.4": (part["of_better"] <= 1.4).mean(),
            "all draws rms / better, worst": part["of_better"].max(),
            "all draws rms / worse, worst": seen["of_worse"].max(),
            "all draws rms / worse, worst, lost too": part["of_worse"].max(),
        }
    return pd.DataFrame(rows).round(3)


if __name__ == "__main__":
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else int(np.random.SeedSequence().entropy % 2**31)
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 400
    draws = int(sys.argv[3]) if len(sys.argv) > 3 else 1000
    table = summary(cases(seed, count, draws))
    sys.stdout.write(f"seed {seed}\n{table.to_string()}\n")
