"""Magnetic declination against the model's own test values."""

from __future__ import annotations

import pytest

from districtplan import geodesy
from tests.support import published

ROWS = published("wmm2025_test_values")
PRINT_ROUNDING_DEG = 0.005


def test_all_printed_values_are_here():
    assert len(ROWS) == 100


@pytest.mark.published
@pytest.mark.parametrize(
    "row",
    ROWS,
    ids=lambda row: (
        "NOAA 2024, test values: "
        f"{row['year']} {row['height_km']} km {row['latitude_deg']} {row['longitude_deg']}"
    ),
)
def test_declination(row):
    found = geodesy.declination_exact(
        float(row["latitude_deg"]),
        float(row["longitude_deg"]),
        float(row["height_km"]),
        float(row["year"]),
    )
    apart = (found - float(row["declination_deg"]) + 180) % 360 - 180
    assert abs(apart) <= PRINT_ROUNDING_DEG + 1e-9
