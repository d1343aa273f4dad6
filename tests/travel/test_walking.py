"""Speed on foot, against printed numbers."""

from __future__ import annotations

import numpy as np
import pytest

from districtplan.handbook import packaged
from districtplan.travel import Walking
from tests.support import published, renumbered

WALKING = Walking.of(packaged())


@pytest.mark.published
@pytest.mark.parametrize(
    "row", published("tobler_1993"), ids=lambda row: f"Tobler 1993, {row['slope_percent']} %"
)
def test_tobler_1993(row):
    rise = float(row["slope_percent"]) / 100 * 1000
    for path, column in ((True, "speed_kmh"), (False, "off_path_kmh")):
        minutes = WALKING.minutes(np.array([1000.0]), np.array([rise]), np.array([path]))
        assert 60 / minutes[0] == pytest.approx(float(row[column]), abs=6e-5)


def test_standing_still_takes_no_time():
    assert WALKING.minutes(np.zeros(1), np.zeros(1), np.zeros(1, bool)) == 0


@pytest.mark.parametrize("name", ["fastest_km_h", "slope_decay", "fastest_slope", "off_path_share"])
def test_every_number_matters(name):
    changed = Walking.of(renumbered("walking", name, packaged().number("walking", name) * 1.1))
    way = np.array([100.0]), np.array([7.0]), np.zeros(1, bool)
    assert changed.minutes(*way) != WALKING.minutes(*way)
