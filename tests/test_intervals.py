"""How far apart lines lie, by each rule."""

from __future__ import annotations

import numpy as np
import pytest

from districtplan import intervals
from districtplan.handbook import packaged

BOOK = packaged()


def apart(rule: str, *slopes: float) -> list[float]:
    return intervals.horizontal_m(rule, np.array(slopes), BOOK).tolist()


@pytest.mark.published
def test_a_drop_of_1_5_m_is_3_8_m_apart_at_40_percent_where_paces_say_10():
    """IIRR, pp. 93-98: 1.5 m drop; Hesperian 2012, p. 291: 10 m on steep land."""
    assert f"{apart('drop', 40)[0]:.1f}" == "3.8"
    assert apart("distance", 40) == [10]
    assert apart("drop", 7.5, 5.0) == pytest.approx([20, 20])


def test_distances_change_at_the_bounds_of_steepness():
    assert apart("distance", 9.99, 10, 29.99, 30) == [20, 15, 15, 10]


@pytest.mark.parametrize(
    ("rule", "slope", "vertical", "horizontal"),
    [
        ("kenya terrace", 4, 0.9, 22.5),
        ("kenya terrace", 15, 1.725, 11.5),
        ("kenya terrace", 30, 2.85, 9.5),
        ("india bund medium rain", 6, 1.2, 20.0),
        ("india bund medium rain", 10, 1.6, 16.0),
        ("india bund high rain", 8, 1.8, 22.5),
        ("zimbabwe terrace", 2, 0.9, 45.0),
        ("zimbabwe terrace", 10, 2.1, 21.0),
        ("hillside ditch", 15, 1.9, 12.67),
        ("hillside ditch", 40, 4.4, 11.0),
    ],
)
def test_recalled_rules(rule, slope, vertical, horizontal):
    """Values computed from the recalled equations, not printed anywhere that was read."""
    found = apart(rule, slope)[0]
    assert found == pytest.approx(horizontal, abs=0.005)
    assert found * slope / 100 == pytest.approx(vertical)
    rows = BOOK.rows("spacing_rules").set_index("name")
    assert rows["provenance"][rule] == "memory"


def test_level_land_has_no_next_line():
    assert apart("kenya terrace", 0) == [np.inf]
    assert apart("drop", 0) == [20]
    assert apart("distance", 0) == [20]
    assert set(intervals.names(BOOK)) == {"distance", "drop", *BOOK.rows("spacing_rules")["name"]}
