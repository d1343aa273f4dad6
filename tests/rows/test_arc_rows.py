"""One arc in closed form: it finds a cone's apex, and is straight on a plane."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize

from districtplan.rows import arc, grade
from districtplan.rows.arc import Arc

X, Y = np.meshgrid(np.linspace(-30, 30, 21), np.linspace(-20, 20, 17))
XY = np.column_stack([X.ravel(), Y.ravel()])


def cone(apex, slope=0.25):
    out = XY - apex
    return -slope * out / np.hypot(*out.T)[:, None]


@given(
    away=st.floats(40, 1000), turn=st.floats(0, 2 * np.pi), slope=st.floats(0.03, 0.6),
    sign=st.sampled_from([-1, 1]),
)  # fmt: skip
def test_an_arc_finds_the_apex_of_a_cone(away, turn, slope, sign):
    apex = away * np.array([np.cos(turn), np.sin(turn)])
    found = arc.fit(XY, sign * cone(apex, slope))
    assert found.centre is not None
    assert np.allclose(found.centre, apex, atol=1e-6 * away)
    assert np.abs(grade.along(cone(apex, slope), found.direction(XY))).max() < 1e-7


@given(st.floats(0, 2 * np.pi), st.floats(0.001, 1))
def test_an_arc_is_straight_on_a_plane(turn, slope):
    gradient = np.tile(slope * np.array([np.cos(turn), np.sin(turn)]), (len(XY), 1))
    found = arc.fit(XY, gradient)
    assert abs(found.bend) < 1e-12
    assert found.centre is None
    assert np.abs(grade.along(gradient, found.direction(XY))).max() < 1e-9


@pytest.mark.parametrize("points", [1, 2])
def test_nothing_to_tell_a_bend_by(points):
    assert arc.fit(XY[:points], np.zeros((points, 2))).bend == 0


def test_no_other_arc_is_better():
    """Against a search over all arcs by an optimiser, on bent and bumpy land."""
    rng = np.random.default_rng(5)
    for _ in range(5):
        p, q = rng.normal(0.2, 0.05, 2)
        bend = rng.normal(0, 2e-3, 3)
        gradient = np.column_stack(
            [
                p + bend[0] * X.ravel() + bend[1] * Y.ravel() + 0.02 * np.sin(X.ravel() / 7),
                q + bend[1] * X.ravel() + bend[2] * Y.ravel(),
            ]
        )
        found = arc.fit(XY, gradient)

        def cost(at, g=gradient):
            rows = Arc(0.0, 0.0, at[0], at[1] / 100)
            return np.mean(grade.along(g, rows.direction(XY)) ** 2)

        best = min(minimize(cost, [start, 0.0], method="Nelder-Mead").fun for start in (0, 1, 2, 3))
        own = np.mean(grade.along(gradient, found.direction(XY)) ** 2)
        assert own <= 1.03 * best + 1e-9


def test_walking_the_rows_gives_the_grades_of_the_points():
    """Explicit rows half a metre apart, walked, against the points that stand for them."""

    def height(x, y):
        return 0.2 * x + 0.002 * x * y - 0.001 * y**2

    x, y = XY.T
    gradient = np.column_stack([0.2 + 0.002 * y, 0.002 * x - 0.002 * y])
    rows = arc.straight(XY, gradient)
    points = grade.walked(grade.along(gradient, rows.direction(XY)), 0.02)
    step, along = 0.25, rows.along
    normal = arc.quarter(along)
    grades = []
    for offset in np.arange(-40, 40, 0.5):
        line = offset * normal + np.arange(-60, 60, step)[:, None] * along
        inside = (np.abs(line[:, 0]) <= 30) & (np.abs(line[:, 1]) <= 20)
        if inside.sum() > 1:
            grades.append(np.diff(height(*line[inside].T)) / step)
    walked = grade.walked(np.concatenate(grades), 0.02)
    assert walked.rms == pytest.approx(points.rms, rel=0.06)
    assert walked.within == pytest.approx(points.within, abs=0.04)
    assert walked.p95 == pytest.approx(points.p95, rel=0.08)
