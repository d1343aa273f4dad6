"""An invented district: hills, villages, fields and a plan, made from a seed.

Nothing in it is real: the ground is a formula, its coordinates lie in open ocean, and all names
and rates are invented.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from districtplan.demo import agents, broken, features, fields, ground, readings, season, write

if TYPE_CHECKING:
    from collections.abc import Mapping

SEED = 1


def make(seed: int = SEED) -> Mapping[str, bytes]:
    """Make the files of the invented district.

    Parameters
    ----------
    seed : int, default 1
        Seed of all that is random; the same seed gives the same bytes.

    Returns
    -------
    Mapping[str, bytes]
        ``plan.toml``, ``plots.gpkg``, ``elevation.tif``, ``features.gpkg``, ``readings.csv``,
        ``enrolment.csv``, ``stock.csv``, ``answers.csv``, ``shown.csv``, ``agents.csv``,
        ``leave.csv``, ``meeting_places.csv``, ``by_hand.csv``, ``README.txt`` and the tables of the
        folder ``handbook`` by name.
    """
    random = np.random.default_rng(seed)
    hills = ground.make(random)
    good = fields.make(random, hills)
    bad = broken.make(good)
    return {
        "plan.toml": write.plan(),
        "plots.gpkg": write.plots(good, bad),
        "elevation.tif": write.elevation(hills, good),
        "features.gpkg": write.features(features.make(hills, good)),
        **write.labour(),
        "readings.csv": readings.make(random, hills, good),
        "enrolment.csv": season.enrolment(seed, good),
        "stock.csv": season.stock(good),
        "answers.csv": season.answers(seed, good),
        "shown.csv": season.shown(),
        "agents.csv": agents.agents(good),
        "leave.csv": agents.leave(),
        "meeting_places.csv": agents.meeting_places(good),
        "by_hand.csv": agents.by_hand(),
        "README.txt": write.readme(good, bad, seed),
    }
