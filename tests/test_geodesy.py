"""Directions against published values and PROJ."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from districtplan import geodesy


def test_convergence_has_the_sign_of_proj():
    """East of the middle of a zone, south of the equator, grid north lies west of true north.

    First-order check: (longitude - middle) x sin(latitude).
    """
    found = geodesy.convergence_deg(CRS.from_epsg(32736), np.array([36.0, 33.0]), np.full(2, -1.0))
    assert found == pytest.approx([3 * np.sin(np.radians(-1.0)), 0], abs=2e-4)


def test_a_geographic_crs_has_no_convergence():
    assert geodesy.convergence_deg(CRS.from_epsg(4326), np.array([36.0]), np.array([-1.0])) == [0]


@pytest.mark.parametrize(("day", "year"), [(date(2026, 1, 1), 2026.0), (date(2024, 7, 2), 2024.5)])
def test_decimal_year(day, year):
    assert geodesy.decimal_year(day) == pytest.approx(year, abs=0.002)


@pytest.mark.parametrize(("height_km", "within"), [(0.0, 0.002), (3.0, 0.05)])
def test_interpolated_declination_is_close_to_the_model(rng, height_km, within):
    """Up to 60° of latitude; a hand compass is read to a degree or two."""
    latitude, longitude = rng.uniform(-60, 60, 300), rng.uniform(-180, 180, 300)
    day = date(2026, 3, 15)
    found = geodesy.declination_deg(longitude, latitude, day)
    exact = [
        geodesy.declination_exact(a, o, height_km, geodesy.decimal_year(day))
        for a, o in zip(latitude, longitude, strict=True)
    ]
    assert np.abs((found - np.array(exact) + 180) % 360 - 180).max() < within


@pytest.mark.parametrize("day", [date(2024, 12, 30), date(2030, 6, 1)])
def test_no_stale_declination_outside_the_model(day):
    assert np.isnan(geodesy.declination_deg(np.array([36.0]), np.array([-1.0]), day)).all()
    assert "left out" in geodesy.doubts(day)[0]


def test_doubts_come_a_year_ahead():
    assert geodesy.doubts(date(2026, 3, 15)) == []
    assert "ends with 2030" in geodesy.doubts(date(2029, 3, 15))[0]


@given(st.floats(-1e4, 1e4))
def test_lines_lie_in_half_a_circle(angle):
    folded = float(geodesy.line_deg(np.array([angle]))[0])
    assert 0 <= folded < 180
    apart = (folded - angle) % 180
    assert min(apart, 180 - apart) < 1e-9


@pytest.mark.parametrize(
    ("bearing", "words"),
    [(0, "N–S"), (44, "NE–SW"), (90, "E–W"), (113, "ESE–WNW"), (135, "SE–NW"), (179.9, "N–S")],
)
def test_words(bearing, words):
    assert geodesy.line_in_words(np.array([float(bearing)]))[0] == words


def test_no_words_without_a_bearing():
    assert geodesy.line_in_words(np.array([np.nan]))[0] is None
