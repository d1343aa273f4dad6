"""Plots handed on to who can fit them in, beside plans in which all can be kept."""

from __future__ import annotations

import numpy as np
import pytest

from districtplan.visits.alone import Found, alone
from districtplan.visits.fit import left_out
from districtplan.visits.hand_on import Turns, handed_on
from districtplan.visits.route import Effort
from districtplan.visits.timetable import timetable
from tests.visits.checker import faults
from tests.visits.planted import Size, planted

SOON = Effort(400, 200)
GIVEN = Turns(240, 12, in_return=False)


def owners(made):
    found = np.full(made.task.crew.serves.shape[1], -1)
    for shift, order in made.days.items():
        found[made.task.visits.plot[order]] = made.task.shifts.agent[shift]
    return found


@pytest.fixture(scope="module")
def made():
    """Three agents; days with so little to spare that none holds a visit more."""
    return planted(Size(agents=3, groups=5, plots=3, stages=2, weeks=1), 4, spare_s=300)


def wrong(made, *moves):
    """Hand plots over from the planted agents, and plan each agent alone."""
    agent_of = owners(made)
    for plot, taker in moves:
        agent_of[plot] = taker
    return alone(made.task, Found({}, agent_of), SOON, map)


def test_what_has_too_much_comes_back_to_who_has_room(made):
    first = int(np.flatnonzero(owners(made) == 0)[0])
    found = wrong(made, (first, 1))
    assert left_out(made.task, found.days)
    after = handed_on(made.task, found, GIVEN, SOON, map)
    assert left_out(made.task, after.days) == []
    assert faults(made.task, timetable(made.task, after.days), {}) == []


def test_where_nothing_is_left_out_nothing_changes(made):
    found = wrong(made)
    assert left_out(made.task, found.days) == []
    after = handed_on(made.task, found, GIVEN, SOON, map)
    assert after.days == found.days
    assert (after.agent_of == found.agent_of).all()


def test_it_wanders_on_over_who_is_full(made):
    """The first has a plot of the second's, the second one of the third's: two hands over."""
    own = owners(made)
    one, two = (int(np.flatnonzero(own == agent)[0]) for agent in (1, 2))
    found = wrong(made, (one, 0), (two, 1))
    before = left_out(made.task, found.days)
    after = handed_on(made.task, found, GIVEN, SOON, map)
    assert before
    assert len(left_out(made.task, after.days)) < len(before)
    missing = dict.fromkeys(left_out(made.task, after.days), "no room")
    assert faults(made.task, timetable(made.task, after.days), missing) == []


def test_who_are_full_change_plots(made):
    own = owners(made)
    one, two = (int(np.flatnonzero(own == agent)[0]) for agent in (0, 1))
    found = wrong(made, (one, 1), (two, 0))
    assert left_out(made.task, found.days)
    in_return = Turns(96, 48, in_return=True)
    after = handed_on(made.task, found, in_return, SOON, map)
    assert left_out(made.task, after.days) == []
    assert faults(made.task, timetable(made.task, after.days), {}) == []
    assert np.bincount(after.agent_of).tolist() == np.bincount(own).tolist()
