"""Published routing instances through the project's own tasks, against the best that is known.

What takes minutes is measured by :mod:`tests.published_speed`; here its limits are held before a
release, and some of the easy ones with few steps every day.
"""

from __future__ import annotations

import pytest

from districtplan.visits import Effort
from tests.published_speed import (
    INSTANCES,
    MULTI_DEPOT,
    NAMES,
    SOLOMON,
    TSPLIB,
    beyond,
    known,
    measured,
    missed,
)


@pytest.mark.parametrize(("name", "most"), [("c101", 0.0), ("r101", 0.01), ("eil51", 0.01)])
def test_few_steps_do_for_easy_ones(name, most):
    assert 0 <= beyond(INSTANCES[name], Effort()) <= most


@pytest.mark.slow
@pytest.mark.parametrize("name", INSTANCES)
def test_no_limit_is_missed(name):
    instance = INSTANCES[name]
    assert not missed(instance.kind, measured(instance))


def test_every_instance_with_a_known_value_is_named():
    for kind in (SOLOMON, MULTI_DEPOT):
        assert sorted(NAMES[kind]) == sorted(known()[kind.known])
    assert {*NAMES[TSPLIB], "pr1002"} == set(known()["tsplib"])
