"""Tonnes where the equations do not reach, and slopes longer than the cap: neither may come out."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from districtplan import erosion
from districtplan.erosion import ls
from districtplan.erosion.practice_factor import contour_p
from districtplan.handbook import packaged
from tests.conftest import plan_of
from tests.support import SOIL, assessed

PLAN = plan_of(soil=SOIL, practice={"row_form": "ridges"})
CAP = PLAN.erosion.slope_length_cap_m


def with_above(above_m: float) -> erosion.Beside:
    above = {"plot_id": ["P0"], "slope_length_above_m": [above_m]}
    return erosion.Beside(above=pd.DataFrame({**above, "slope_length_above_at_least": [0]}))


def test_no_column_of_tonnes_has_any_beyond_the_equations_but_the_floor():
    beyond = PLAN.erosion.equations_slope_max_pct + 1
    found = assessed([beyond], [30.0], PLAN).iloc[0]
    tonnes = [name for name in found.index if name.endswith("_t_ha_yr")]
    assert len(tonnes) > 8
    given = {name for name in tonnes if pd.notna(found[name])}
    assert given == {"soil_loss_floor_t_ha_yr"}
    at = assessed([beyond - 1], [30.0], PLAN).iloc[0]
    assert {name for name in tonnes if pd.isna(at[name])} == {"soil_loss_floor_t_ha_yr"}


@pytest.mark.parametrize("above_m", [CAP - 40, CAP, 5 * CAP])
def test_no_slope_above_lengthens_a_plot_past_the_cap(above_m):
    found = assessed([12.0], [50.0], PLAN, beside=with_above(above_m)).iloc[0]
    longest = assessed([12.0], [50.0], PLAN, beside=with_above(CAP - 50)).iloc[0]
    for name in ("ls", "ls_now", "soil_loss_now_likely_t_ha_yr", "soil_loss_contour_high_t_ha_yr"):
        assert found[name] == pytest.approx(longest[name])
    assert "slope_length_capped" in found["erosion_flags"]
    assert "slope_length_capped" not in longest["erosion_flags"]


def test_what_measures_are_reckoned_by_is_capped_alike():
    equations = erosion.Equations(PLAN, packaged())
    slope, length = np.array([12.0, 12.0]), np.array([50.0, 4 * CAP])
    at_cap = equations.ls(slope, np.minimum(length, CAP), np.full(2, CAP))
    np.testing.assert_allclose(equations.ls(slope, length, np.full(2, 6 * CAP)), at_cap)
    alone = assessed([12.0], [4 * CAP], PLAN)["ls_plot_only"]
    assert alone[0] == pytest.approx(assessed([12.0], [CAP], PLAN)["ls_plot_only"][0])


def test_area_that_enters_counts_no_further_than_the_cap():
    """A channel that drains a hillside into a cell erodes no more than the cap's slope would."""
    side, constants = 10.0, erosion.constants(packaged())

    def length(entering_m2):
        cells = ls.FlowCells(
            np.zeros(1, int), np.array([entering_m2]), np.array([side]), np.ones(1)
        )
        found = erosion.LengthByArea(np.array([12.0]), CAP, constants)
        found.add(cells)
        return found.mean()[0]

    # The cell itself is the last of the cap.
    most = (CAP - side) * side
    assert length(1_000_000.0) == pytest.approx(length(most), rel=1e-12)
    assert length(0.9 * most) < 0.99 * length(most)


@pytest.mark.parametrize("slope_pct", [7.0, 12.0])
def test_contour_credit_ends_where_the_whole_slope_is_too_long(slope_pct):
    """A short plot below open land has none, if both together are longer than the limit."""
    (limit,) = contour_p(np.array([slope_pct]), packaged())[1]
    own, short = 20.0, 1.0
    found = [
        assessed([slope_pct], [own], PLAN, beside=with_above(limit - own + off)).iloc[0]
        for off in (-short, short)
    ]
    assert [row["p_contour"] == 1 for row in found] == [False, True]
    told = ["longer_than_contour_limit" in row["erosion_flags"] for row in found]
    assert told == [False, True]
