"""Riding to the roadhead and walking the rest: what is ridden has to be fetched again."""

from __future__ import annotations

import numpy as np

from districtplan.travel import Links, Walks, ride_and_walk

# Two roadheads an hour of riding apart; the first is a base. Two plots at the second, one far off.
RIDE = np.array([[0.0, 60.0], [50.0, 0.0]])
METRES = np.array([[0.0, 20_000.0], [20_000.0, 0.0]])
OUT = np.array([[0.0, 500.0, 500.0, np.inf], [500.0, 10.0, 20.0, np.inf]])
BACK = np.array([[0.0, 500.0], [500.0, 8.0], [500.0, 15.0], [np.inf, np.inf]])
BETWEEN = np.array(
    [
        [0, 400, 400, np.inf],
        [400, 0, 6, np.inf],
        [400, 40, 0, np.inf],
        [np.inf, np.inf, np.inf, 0],
    ]
)


def test_by_hand():
    found = ride_and_walk(RIDE, METRES, Walks(OUT, BACK, BETWEEN))
    assert found.roadhead[:3].tolist() == [0, 1, 1]
    # Out and back again differ, as uphill and downhill do.
    assert found.minutes[0, 1] == 60 + 10
    assert found.minutes[1, 0] == 8 + 50
    # At one roadhead one walks across, or by the roadhead where that is shorter.
    assert found.minutes[1, 2] == 6
    assert found.minutes[2, 1] == 15 + 10
    assert found.metres[1, 2] == 0
    assert found.metres[0, 1] == 20_000


def test_a_walk_never_leaves_the_motorcycle_behind():
    near = BETWEEN.copy()
    near[0, 1] = near[1, 0] = 1.0
    assert ride_and_walk(RIDE, METRES, Walks(OUT, BACK, near)).minutes[0, 1] == 70


def test_where_no_way_leads():
    found = ride_and_walk(RIDE, METRES, Walks(OUT, BACK, BETWEEN))
    assert np.isinf(found.minutes[3, :3]).all()
    assert np.isinf(found.minutes[:3, 3]).all()
    assert (found.metres[3] == 0).all()
    assert (np.diag(found.minutes) == 0).all()


def test_pairs_spread_out():
    links = Links(np.array([0, 1]), np.array([1, 0]), np.array([5.0, 7.0]))
    assert links.whole(2, 3).tolist() == [[np.inf, 5.0, np.inf], [7.0, np.inf, np.inf]]
