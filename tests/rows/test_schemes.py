"""Each way to guide rows on exact surfaces, against what was measured of it before.

The earlier plots' outlines aren't known, so every number here is a mean over rectangles of 0.3 ha
turned all ways; that the straight rows agree shows that the surfaces are alike.
"""

from __future__ import annotations

import functools

import numpy as np
import pytest
import shapely

from districtplan.rows import arc, grade, level_lines, sectors
from districtplan.rows.sectors import Sector
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
        # As before, the outermost bands have lines on land outside the plot.
        wide = plot.buffer(12)
        contours = level_lines.Contours(surface, wide, 1.0)
        lines = level_lines.place(contours, surface.height(_points(wide)), 9)
        told("shared gaps", level_lines.direction(lines, xy, surface.height(xy)))
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


def test_every_scheme_is_straight_on_a_plane():
    for scheme, (rms, within) in schemes("plane").items():
        assert rms < 1e-6, scheme
        assert within == 100


def test_a_worse_fit_would_be_seen(monkeypatch):
    monkeypatch.setattr(arc, "fit", lambda xy, g, slack: arc.straight(xy, g))
    assert schemes.__wrapped__("spur 10")["2 arcs"][1] < 48
