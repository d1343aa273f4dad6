"""Each way to guide rows on exact surfaces, against what was measured of it before.

The earlier plots' outlines aren't known, so every number here is a mean over rectangles of 0.3 ha
turned all ways; that the straight rows agree shows that the surfaces are alike.
"""

from __future__ import annotations

import functools

import numpy as np
import pytest
import shapely

from districtplan.rows import arc, curved, grade, level_lines, lines, sectors
from districtplan.rows.ladder import Guide
from districtplan.rows.lines import Ground
from districtplan.rows.sectors import Sector
from tests.rows.test_curved import RULE
from tests.rows.test_ladder import SETTING
from tests.support import published

TURNS = range(0, 180, 15)
LIMIT = 0.02
SHAPE_POINTS = 1.5
"""Points by which a share may differ from one outline to another."""


def _spur(radius: float, sign: float = 1.0):
    return lambda x, y: -0.15 * x - sign * 0.15 * (np.hypot(y, radius) - radius)


SURFACES = {
    "plane": lambda x, y: 0.2 * x + 0.05 * y,
    "cone 60": lambda x, y: -0.25 * np.hypot(x - 60, y),
    "cone 25": lambda x, y: -0.25 * np.hypot(x - 25, y),
    "spur 10": _spur(10),
    "spur 3": _spur(3),
    "hollow 10": _spur(10, -1),
    "spur 40": _spur(40),
    "saddle": lambda x, y: (x**2 - y**2) / 950,
    "nose": lambda x, y: -0.2 * x - 0.1 * y**2 / 70,
}


class Exact:
    """An exact surface in place of a fitted one."""

    def __init__(self, form) -> None:
        self.form = form

    def height(self, xy):
        return self.form(*xy.T)

    def lattice(self, x, y):
        return self.form(*np.meshgrid(x, y))

    def gradient(self, xy, step=1e-4):
        x, y = xy.T
        return np.column_stack(
            [
                (self.form(x + step, y) - self.form(x - step, y)) / (2 * step),
                (self.form(x, y + step) - self.form(x, y - step)) / (2 * step),
            ]
        )


def _points(plot: shapely.Polygon, step: float = 2.0) -> np.ndarray:
    west, south, east, north = plot.bounds
    x, y = np.meshgrid(np.arange(west + step / 2, east, step), np.arange(south, north, step))
    at = np.column_stack([x.ravel(), y.ravel()])
    return at[shapely.contains_xy(plot, at)]


def _between(surface: Exact, plot: shapely.Polygon) -> level_lines.LevelLines:
    """A level line every 20 rows; as before, the outermost bands have lines beyond the plot."""
    wide = plot.buffer(12)
    contours = level_lines.Contours(surface, wide, 1.0)
    return level_lines.place(contours, surface.height(_points(wide)), 9)


@functools.cache
def schemes(name: str) -> dict[str, tuple[float, float]]:
    """Root mean square grade [%] and share within the limit [%] of each scheme."""
    surface = Exact(SURFACES[name])
    found: dict[str, list[tuple[float, float]]] = {}
    for turn in TURNS:
        plot = shapely.affinity.rotate(shapely.box(-25, -30, 25, 30), turn)
        xy = _points(plot)
        g = surface.gradient(xy)
        limit = min(LIMIT, float(np.hypot(*g.T).mean()) / 2)

        def told(scheme, direction, g=g, limit=limit):
            walked = grade.walked(grade.along(g, direction), limit)
            found.setdefault(scheme, []).append((100 * walked.rms, 100 * walked.within))

        told("straight", arc.straight(xy, g).direction(xy))
        parts = (Sector((), arc.fit(xy, g, 3 * limit)),)
        told("arc", parts[0].rows.direction(xy))
        for count in (2, 3, 4):
            parts = sectors.split(parts, xy, g, 0.1, 3 * limit)
            told(f"{count} arcs", sectors.direction(parts, xy))
        found_lines = _between(surface, plot)
        told("shared gaps", level_lines.direction(found_lines, xy, surface.height(xy)))
    return {scheme: tuple(np.mean(values, axis=0)) for scheme, values in found.items()}


@pytest.mark.published
@pytest.mark.parametrize(
    "row", published("guide_line_schemes"), ids=lambda row: f"{row['surface']}, {row['scheme']}"
)
def test_no_worse_than_measured_before(row):
    rms, within = schemes(row["surface"])[row["scheme"]]
    if row["scheme"] == "straight":
        assert rms == pytest.approx(float(row["rms_pct"]), rel=0.07)
    assert within >= float(row["within_pct"]) - SHAPE_POINTS


SHARED = [row for row in published("guide_line_schemes") if row["scheme"] == "shared gaps"]


@pytest.mark.published
@pytest.mark.parametrize("row", SHARED, ids=lambda row: row["surface"])
def test_rows_as_drawn_between_level_lines_are_no_worse(row):
    """The rows themselves, walked; a spur along an axis has points in mirror pairs."""
    surface, within = Exact(SURFACES[row["surface"]]), []
    for turn in (0, 75):
        plot = shapely.affinity.rotate(shapely.box(-25, -30, 25, 30), turn)
        wide, gradient = plot.buffer(12), surface.gradient(_points(plot))
        slope = float(np.hypot(*gradient.T).mean())
        ground = Ground(wide, surface.height, _points(wide), gradient.mean(axis=0), slope)
        levels = _between(surface, plot)
        drawn = lines.of_levels(ground, levels, SETTING)
        guide = Guide("level lines", drawn, None, None, None, ground, levels)
        found = curved.follow(guide, plot, RULE)
        within.append(100 * curved.walked(found, guide, min(LIMIT, slope / 2), 0.0).within)
    assert np.mean(within) >= float(row["within_pct"]) - SHAPE_POINTS


def test_every_scheme_is_straight_on_a_plane():
    for scheme, (rms, within) in schemes("plane").items():
        assert rms < 1e-6, scheme
        assert within == 100


def test_a_worse_fit_would_be_seen(monkeypatch):
    monkeypatch.setattr(arc, "fit", lambda xy, g, slack: arc.straight(xy, g))
    assert schemes.__wrapped__("spur 10")["2 arcs"][1] < 48
