"""What is handed on to other stages agrees with what the assessment finds itself."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from districtplan import erosion
from districtplan.handbook import packaged
from tests.conftest import plan_of
from tests.support import SOIL, assessed

PLAN = plan_of(soil=SOIL, practice={"row_form": "ridges"})
SLOPES = np.array([1.5, 6.0, 9.0, 14.0, 24.0, 28.0])
LENGTHS = np.array([200.0, 30.0, 10.0, 24.0, 15.0, 15.0])


def test_ls_and_p_are_those_of_the_assessment():
    above = pd.DataFrame({"plot_id": [f"P{place}" for place in range(6)]})
    above = above.assign(
        slope_length_above_m=[0.0, 50.0, 200.0, 0.0, 0.0, 3.0], slope_length_above_at_least=0
    )
    found = assessed(SLOPES, LENGTHS, PLAN, beside=erosion.Beside(above=above))
    equations = erosion.Equations(PLAN, packaged())
    total = found["slope_length_total_m"].to_numpy()
    np.testing.assert_allclose(equations.ls(SLOPES, LENGTHS, total), found["ls"])
    np.testing.assert_allclose(equations.ls(SLOPES, LENGTHS, LENGTHS), found["ls_plot_only"])
    np.testing.assert_allclose(equations.contour_p(SLOPES, total), found["p_contour"])


@pytest.mark.parametrize(("condition", "p", "cut_to"), [("good", 1.0, 12.0), ("poor", 1.0, np.nan)])
def test_standing_structures(condition, p, cut_to):
    rows = [
        {"plot_id": "B", "structure": "bunds", "condition": condition, "spacing_m": 12.0},
        {"plot_id": "C", "structure": "grass strips", "condition": "good"},
    ]
    practice = pd.DataFrame(rows).reindex(columns=list(erosion.PRACTICE))
    found = erosion.standing(pd.Series(["A", "B", "C"]), practice, packaged())
    assert found["structure"].tolist() == ["", "bunds", "grass strips"]
    assert found["condition"].tolist() == ["", condition, "good"]
    assert found["structure_p"].tolist() == pytest.approx([1.0, p, 0.03**0.5])
    np.testing.assert_array_equal(found["cut_to_m"], [np.nan, cut_to, np.nan])
