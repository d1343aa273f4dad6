"""The ten least certain plots."""

from __future__ import annotations

import numpy as np

from districtplan.conservation.walk_over import LISTED, REASONS, walk_over
from tests.conservation.cases import plots_of


def plots_with(**columns):
    count = len(next(iter(columns.values())))
    known = {"practice_now_known": 1, "ls_at_least": 0}
    return plots_of([10.0] * count, 30.0, **(known | columns))


def test_balanced_chances_come_first():
    chance = np.array([0.0, 0.5, 1.0, 0.45, 0.2, 0.6])
    found = walk_over(plots_with(chance_worst_tenth=chance))
    assert found["plot_id"].tolist() == ["P1", "P3", "P5", "P4"]
    assert found["doubt"].tolist()[:2] == [1, 4 * 0.45 * 0.55]
    assert found["walk_reasons"].tolist()[0] == ("may_be_worst_tenth",)
    assert found["walk_reasons"].map(len).gt(0).all()


def test_what_is_not_known_of_a_plot_makes_it_doubtful():
    found = walk_over(
        plots_with(
            chance_worst_tenth=[0.0, np.nan, 0.05],
            practice_now_known=[1, 0, 1],
            ls_at_least=[0, 1, 0],
            row_method=["straight", "measure on the ground", "straight"],
            slope_length_m=[30.0, np.nan, 30.0],
        )
    )
    assert found["plot_id"].tolist()[0] == "P1"
    assert found["walk_reasons"].tolist()[0] == REASONS[2:]
    assert found["doubt"].tolist()[0] == 0.8


def test_equal_doubts_go_by_the_spread_and_the_list_ends_at_ten():
    high = np.linspace(20, 40, 15)
    found = walk_over(
        plots_with(
            chance_worst_tenth=[0.5] * 15,
            soil_loss_now_low_t_ha_yr=[10.0] * 15,
            soil_loss_now_high_t_ha_yr=high,
        )
    )
    assert found["plot_id"].tolist() == [f"P{place}" for place in range(14, 4, -1)]
    assert found["walk_order"].tolist() == list(range(1, LISTED + 1))


def test_beyond_the_equations_is_a_reason():
    found = walk_over(plots_of([36.0, 10.0], 30.0))
    told = dict(zip(found["plot_id"], found["walk_reasons"], strict=True))
    assert "beyond_equations" in told["P0"]
    assert "beyond_equations" not in told["P1"]
