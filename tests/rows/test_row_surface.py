"""The surface that rows are walked over, and what it says of its own error."""

from __future__ import annotations

import numpy as np
import pytest

from districtplan.rows import surface
from districtplan.rows.surface import Error, Heights
from tests.terrain.errors import correlated

SIDE = 24
STEP = 10.0
QUADRATIC = (0.1, -0.2, 4e-4, -3e-4, 2e-4)


def window(form, noise=0.0) -> Heights:
    place = STEP * np.arange(SIDE)
    x, y = np.meshgrid(place, place)
    return Heights(form(x, y) + noise, 0.0, 0.0, STEP, STEP)


def quadratic(x, y):
    a, b, c, d, e = QUADRATIC
    return 1500 + a * x + b * y + c * x * x + d * x * y + e * y * y


def middle_points() -> np.ndarray:
    x, y = np.meshgrid(np.linspace(70, 160, 15), np.linspace(70, 160, 15))
    return np.column_stack([x.ravel(), y.ravel()])


def gradient_of(form, xy, step=1e-3):
    x, y = xy.T
    return np.column_stack(
        [
            (form(x + step, y) - form(x - step, y)) / (2 * step),
            (form(x, y + step) - form(x, y - step)) / (2 * step),
        ]
    )


@pytest.mark.parametrize("error", [Error(0, 0), Error(1.0, 0.0), Error(1.0, 30.0)])
def test_a_quadratic_comes_back_exactly(error):
    found = surface.fit(window(quadratic), error)
    xy = middle_points()
    assert np.allclose(found.gradient(xy), gradient_of(quadratic, xy), atol=1e-6)
    assert np.allclose(found.height(xy), quadratic(*xy.T), atol=1e-5)


def test_without_an_error_the_surface_runs_through_the_heights():
    heights = window(lambda x, y: 20 * np.sin(x / 23) * np.cos(y / 31))
    found = surface.fit(heights, Error(0.0, 30.0))
    at = np.column_stack([side.ravel() for side in np.meshgrid(heights.x, heights.y)])
    assert np.allclose(found.height(at), heights.z.ravel(), atol=1e-9)
    assert found.doubt.floor == 0


@pytest.mark.parametrize("length", [0.0, 15.0, 30.0, 60.0])
def test_the_stated_floor_covers_the_error_of_the_gradient(length):
    """On land with no waves of its own what smoothing might take off is counted for nothing."""
    rng = np.random.default_rng(20_261_125)
    xy = middle_points()
    true = gradient_of(quadratic, xy)
    off, said = [], []
    for _ in range(60):
        noise = 0.5 * correlated(rng, SIDE, length / STEP)
        found = surface.fit(window(quadratic, noise), Error(0.5, length))
        off.append(np.mean((found.gradient(xy) - true) ** 2))  # of both components: one's
        said.append(found.doubt.floor**2)
    assert 0.85 < np.sqrt(np.mean(said) / np.mean(off)) < 3


@pytest.mark.parametrize("length", [0.0, 30.0])
def test_the_stated_floor_on_land_with_waves(length):
    rng = np.random.default_rng(20_261_126)
    xy = middle_points()

    def land(x, y):
        return quadratic(x, y) + 2 * np.sin(x / 12) * np.cos(y / 14)

    true = gradient_of(land, xy)
    off, said = [], []
    for _ in range(40):
        found = surface.fit(window(land, correlated(rng, SIDE, length / STEP)), Error(1.0, length))
        off.append(np.mean((found.gradient(xy) - true) ** 2))
        said.append(found.doubt.floor**2)
    assert 0.6 < np.sqrt(np.mean(said) / np.mean(off)) < 1.5


def test_smoothing_beats_the_heights_as_they_are():
    rng = np.random.default_rng(7)
    xy = middle_points()

    def land(x, y):
        return quadratic(x, y) + 3 * np.sin(x / 40) * np.cos(y / 50)

    true = gradient_of(land, xy)
    for length in (0.0, 30.0):
        noise = correlated(rng, SIDE, length / STEP)
        smooth = surface.fit(window(land, noise), Error(1.0, length)).gradient(xy) - true
        raw = surface.fit(window(land, noise), Error(0.0, length)).gradient(xy) - true
        assert np.mean(smooth**2) < 0.7 * np.mean(raw**2)


def test_missing_heights_are_filled_from_around_them():
    heights = window(lambda x, y: quadratic(x, y) + 2 * np.sin(x / 40))
    gaps = heights.z.copy()
    gaps[10:13, 8:12] = np.nan
    gaps[0, :4] = np.nan
    holed = Heights(gaps, 0.0, 0.0, STEP, STEP)
    for error in (Error(0.0, 0.0), Error(0.3, 20.0)):
        xy = middle_points()
        whole, filled = (surface.fit(one, error).gradient(xy) for one in (heights, holed))
        assert np.isfinite(filled).all()
        assert np.abs(whole - filled).max() < 0.06


def test_no_height_at_all_is_told():
    with pytest.raises(ValueError, match="no height"):
        surface.fit(window(lambda x, y: np.full_like(x, np.nan)), Error(0.0, 0.0))


@pytest.mark.parametrize("rows", [3, 5])
def test_small_windows_are_served(rows):
    z = np.add.outer(np.arange(rows), np.arange(4.0))
    found = surface.fit(Heights(z, 0.0, 0.0, 10.0, 10.0), Error(1.0, 30.0))
    assert np.allclose(found.gradient(np.array([[12.0, 8.0]])), [[0.1, 0.1]], atol=1e-6)
