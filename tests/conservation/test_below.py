"""What lies below plots without tonnes."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely

from districtplan.conservation import below
from tests.conftest import plan_of

PLAN = plan_of()
PLOT = shapely.box(0, 0, 40, 40)


def seen(*drawn, fall=180.0, loss=np.nan, plots=(PLOT,), width=np.nan):
    """Tell what lies below the first plot, whose land falls to the south."""
    features = pd.DataFrame(
        {
            "kind": [kind for kind, _ in drawn],
            "width_m": [width] * len(drawn),
            "geometry": pd.Series([shape for _, shape in drawn], dtype=object),
        }
    )
    table = pd.DataFrame(
        {
            "plot_id": [f"P{place}" for place in range(len(plots))],
            "downslope_true_deg": [fall] * len(plots),
            "soil_loss_now_likely_t_ha_yr": [loss] * len(plots),
        }
    )
    found = below(table, np.array(plots, dtype=object), features, PLAN)
    assert found["plot_id"].tolist() == table["plot_id"].tolist()
    return found["lies_below"].iloc[0]


def house(x, y):
    return ("house", shapely.box(x, y, x + 6, y + 6))


def test_what_lies_down_the_fall_counts_and_nothing_else():
    assert seen(house(17, -50)) == "house"
    assert seen(house(17, -50), fall=0.0) is None
    assert seen(house(17, -50), fall=90.0) is None
    assert seen(house(17, -50), fall=np.nan) is None
    assert seen(house(17, 60)) is None


def test_the_reach_is_how_far_water_runs_as_a_sheet():
    reach = PLAN.erosion.slope_length_cap_m - PLAN.rows.outlet_reach_m
    assert seen(house(17, -reach - 5.9)) == "house"
    assert seen(house(17, -reach - 6.1)) is None


def test_what_stands_beside_a_plot_is_not_below_it():
    path = shapely.LineString([(-2, 60), (-2, -90)])
    assert seen(("path", path)) is None
    assert seen(("path", shapely.LineString([(-20, 42), (60, 42)]))) is None
    assert seen(("path", shapely.LineString([(-20, -2), (60, -2)]))) == "path"


def test_the_worst_counts():
    path = ("path", shapely.LineString([(-20, -10), (60, -10)]))
    assert seen(path, house(17, -50)) == "house"
    assert seen(path, ("bank", shapely.LineString([(-20, -5), (60, -5)]))) == "path"


@pytest.mark.parametrize(("kind", "said"), [("stream", "stream"), ("ditch", None)])
def test_nothing_lies_below_beyond_what_takes_the_water(kind, said):
    across = (kind, shapely.LineString([(-60, -30), (100, -30)]))
    assert seen(across, house(17, -50)) == said
    assert seen(across, house(17, -20), width=2.0) == "house"
    short = (kind, shapely.LineString([(0, -30), (10, -30)]))
    assert seen(short, house(17, -50)) == "house"


def test_another_plot_below_is_a_neighbour():
    assert seen(plots=(PLOT, shapely.box(0, -60, 40, -20))) == "neighbour"
    assert seen(plots=(PLOT, shapely.box(41, 0, 80, 40))) is None
    assert seen(plots=(PLOT, shapely.box(0, 38, 40, 80))) is None


def test_plots_with_tonnes_and_narrow_ones():
    assert seen(house(17, -50), loss=12.0) is None
    assert seen(house(17, -50), plots=(shapely.box(16, 0, 22, 8),)) == "house"
    assert seen() is None
