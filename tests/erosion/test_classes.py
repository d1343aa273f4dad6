"""Classes: a bound belongs to the class above it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from districtplan.erosion import classes
from districtplan.handbook import packaged


@pytest.mark.parametrize(
    ("table", "bound"), [("slope_classes", "pct"), ("erosion_classes", "t_ha_yr")]
)
def test_classes_follow_each_other(table, bound):
    rows = packaged().rows(table).dropna(subset=f"lower_{bound}")
    assert rows[f"lower_{bound}"].iloc[0] == 0
    assert rows[f"lower_{bound}"].is_monotonic_increasing
    assert rows[f"upper_{bound}"].tolist()[:-1] == rows[f"lower_{bound}"].tolist()[1:]
    assert rows["number"].tolist() == list(range(1, len(rows) + 1))


def test_bounds():
    lower = pd.Series([0.0, 10.0, 50.0])
    values = np.array([0.0, np.nextafter(10.0, 0.0), 10.0, 49.9, 50.0, 1e6, -1e-12])
    assert classes.place(values, lower).tolist() == [0, 0, 1, 1, 2, 2, 0]
