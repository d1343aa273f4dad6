"""Who follows which plot, before any day is planned."""

from __future__ import annotations

import numpy as np
import pytest

from districtplan.visits.assign import NOBODY, assign
from districtplan.visits.loads import Rounds, loads
from districtplan.visits.task import DAY_S
from tests.visits.planted import SMALL, planted


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_planted_agents_are_found_again(seed):
    made = planted(SMALL, seed, spare_s=2_700)
    owner = np.full(made.task.crew.serves.shape[1], NOBODY)
    for shift, order in made.days.items():
        owner[made.task.visits.plot[order]] = made.task.shifts.agent[shift]
    assert assign(made.task).agent.tolist() == owner.tolist()


def test_a_load_is_near_open_on_one_day_and_no_longer_than_it():
    at = np.array([0, 1, 2, 50, 51, 52]) * 60.0
    opens = DAY_S * np.array([[0], [0], [0], [0], [0], [3]])
    rounds = Rounds(
        opens, opens + DAY_S - 1, np.full((6, 1), 7_200), np.full(6, 1_800.0),
        np.ones((6, 2), np.bool_), np.abs(at[:, None] - at),
    )  # fmt: skip
    leaves = DAY_S * np.arange(5)
    # Two hours each and half an hour of way: six hours hold two; the last has another day.
    assert loads(rounds, leaves, leaves + DAY_S // 4, DAY_S / 4).tolist() == [0, 0, 2, 3, 3, 5]
    assert loads(rounds, leaves, leaves + DAY_S // 3, DAY_S / 3).tolist() == [0, 0, 0, 3, 3, 5]
