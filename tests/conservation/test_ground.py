"""What is known of the ground of each plot."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from districtplan.conservation import ground, soil

PLOTS = pd.DataFrame(
    {
        "plot_id": ["a", "b", "c", "d"],
        "village": ["Hill", "Hill", "Ford", "Moor"],
        "work_site": ["Hill-S01", "Hill-S01", "Ford-S01", "Moor-S01"],
    }
)
OUTLINES = np.array([shapely.box(x, 0, x + 10, 10) for x in (0, 20, 40, 60)], dtype=object)


def features(*kinds):
    """One feature a kind, each over the corner of the first plot."""
    shapes = [shapely.box(-5, -5, 1, 1)] * len(kinds)
    return pd.DataFrame({"kind": list(kinds), "geometry": pd.Series(shapes, dtype=object)})


def test_ground_that_slips_bars_its_whole_hillside_and_no_other():
    found = ground(PLOTS, OUTLINES, features("path", "slipping ground"))
    assert found["plot_id"].tolist() == PLOTS["plot_id"].tolist()
    assert found["slipping_ground"].tolist() == [1, 1, 0, 0]


def test_other_features_slip_nowhere():
    assert ground(PLOTS, OUTLINES, features("path"))["slipping_ground"].sum() == 0
    assert ground(PLOTS, OUTLINES, features())["slipping_ground"].sum() == 0


def test_soil_of_the_plot_stands_before_its_villages():
    soils = pd.DataFrame(
        {"village": ["Ford", "Hill"], "depth_m": [0.4, 1.2], "drainage": ["poor", "free"]}
    )
    own = PLOTS.assign(
        soil_depth_given_m=[0.3, np.nan, np.nan, 0.9],
        soil_drainage_given=pd.Series(["poor", None, None, "free"], dtype=object),
    )
    found = soil(own, soils)
    np.testing.assert_array_equal(found["soil_depth_m"], [0.3, 1.2, 0.4, 0.9])
    assert found["soil_drainage"].tolist() == ["poor", "free", "poor", "free"]


def test_soil_is_the_villages():
    soils = pd.DataFrame(
        {"village": ["Ford", "Hill"], "depth_m": [np.nan, 1.2], "drainage": ["poor", ""]}
    )
    found = soil(PLOTS, soils)
    np.testing.assert_array_equal(found["soil_depth_m"], [1.2, 1.2, np.nan, np.nan])
    assert found["soil_drainage"].fillna("").tolist() == ["", "", "poor", ""]
