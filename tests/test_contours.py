"""Contours against a surface whose contours are known: circles around a cone's apex."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from districtplan import contours


def test_contours_of_a_cone_are_circles() -> None:
    x, y, _ = contours.lattice_over(shapely.box(-60.0, -60.0, 60.0, 60.0))
    trace = contours.traced(x, y, 100.0 - 0.2 * np.hypot(*np.meshgrid(x, y)))
    (line,) = trace(92.0)
    assert line.is_ring
    assert np.hypot(*np.asarray(line.coords).T) == pytest.approx(40.0, abs=0.02)


@pytest.mark.parametrize(("side_m", "step_m"), [(50.0, 1.0), (800.0, 2.0)])
def test_the_lattice_covers_the_land_and_grows_with_it(side_m: float, step_m: float) -> None:
    x, y, step = contours.lattice_over(shapely.box(3.0, 5.0, 3.0 + side_m, 5.0 + side_m / 2))
    assert step == step_m
    assert x[0] < 3.0 < x[1] + 1e-9
    assert x[-1] >= 3.0 + side_m
    assert y[-1] >= 5.0 + side_m / 2
    assert len(x) <= contours.STEPS_MAX + 3
