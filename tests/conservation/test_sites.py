"""Work sites: what belongs to one hillside, and what keeps within bounds."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.conservation import work_sites
from districtplan.handbook import packaged
from tests.support import tweaked

NOTHING = np.array([], dtype=object)
LIMITS = packaged().numbers("work_site_limits")


def field(columns, rows, side=20.0, apart=2.0, fall=180.0):
    """Plots in a grid that fall to the south: the north row is the highest."""
    east, north = (part.ravel() for part in np.meshgrid(np.arange(columns), np.arange(rows)))
    west, south = east * (side + apart), north * (side + apart)
    return pd.DataFrame(
        {
            "plot_id": [f"P{place:04d}" for place in range(len(west))],
            "village": "Hill",
            "elevation_mean_m": 1000.0 + south / 10,
            "downslope_true_deg": float(fall),
            "geometry": shapely.box(west, south, west + side, south + side),
        }
    )


def test_a_field_on_one_slope_is_one_site_told_from_the_top():
    plots = field(4, 5)
    sites = work_sites(plots, NOTHING, packaged())
    assert set(sites["work_site"]) == {"Hill-S01"}
    assert sites["site_plots"].eq(20).all()
    height = plots["elevation_mean_m"].to_numpy()[np.argsort(sites["site_place"])]
    assert (np.diff(height) <= 0).all()
    assert sorted(sites["site_place"]) == list(range(1, 21))


@pytest.mark.parametrize(("apart", "sites"), [(9.9, 1), (10.1, 2)])
def test_plots_are_of_one_site_within_the_linking_distance(apart, sites):
    found = work_sites(field(2, 1, apart=apart), NOTHING, packaged())
    assert found["work_site"].nunique() == sites


@pytest.mark.parametrize(("turn", "sites"), [(44.0, 1), (46.0, 2)])
def test_land_that_falls_another_way_is_another_site(turn, sites):
    plots = field(2, 1).assign(downslope_true_deg=[358.0, (358.0 + turn) % 360])
    assert work_sites(plots, NOTHING, packaged())["work_site"].nunique() == sites


def test_a_stream_parts_hillsides():
    stream = np.array([shapely.LineString([(21, -50), (21, 50)])], dtype=object)
    sites = work_sites(field(2, 1), stream, packaged())
    assert sites["work_site"].tolist() == ["Hill-S01", "Hill-S02"]
    # Both lie at one height: neither's water is known to reach the other.
    assert sites["site_neighbours"].tolist() == [(), ()]


def test_a_turning_hillside_is_cut():
    fall = np.arange(0, 200, 40.0)
    plots = field(5, 1).assign(downslope_true_deg=fall)
    sites = work_sites(plots, NOTHING, packaged())
    assert sites["work_site"].nunique() == 2


def test_a_broad_hillside_is_cut_along_its_fall():
    plots = field(20, 1)
    sites = work_sites(plots, NOTHING, packaged())
    middle = shapely.get_x(shapely.centroid(plots["geometry"].to_numpy()))
    spans = pd.Series(middle).groupby(sites["work_site"]).agg(np.ptp)
    assert len(spans) == 3
    assert (spans <= LIMITS["breadth_max_m"]).all()


def test_plots_below_another_site_must_agree():
    plots = field(1, 30)
    plots["downslope_true_deg"] = [180.0] * 15 + [100.0] * 15
    plots.loc[14, "village"] = "Valley"
    sites = work_sites(plots, NOTHING, packaged()).set_index("plot_id")
    assert sites["site_neighbours"]["P0020"] == ("P0014",)
    assert sites["site_neighbours"]["P0003"] == ()
    assert sites["site_villages"]["P0003"] == ("Hill", "Valley")
    assert sites["work_site"]["P0003"] == "Hill-S01"


def test_a_plot_of_unknown_fall_goes_with_its_neighbour_and_links_no_others():
    plots = field(3, 1).assign(downslope_true_deg=[180.0, np.nan, 170.0])
    sites = work_sites(plots, NOTHING, packaged())
    assert sites["work_site"].tolist() == ["Hill-S01", "Hill-S01", "Hill-S02"]
    alone = work_sites(plots.assign(downslope_true_deg=np.nan), NOTHING, packaged())
    assert alone["work_site"].nunique() == 3


def test_no_plots_make_no_sites():
    assert len(work_sites(field(1, 1).iloc[:0], NOTHING, packaged())) == 0


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_every_site_keeps_its_bounds_in_any_order_of_rows(seed):
    rng = np.random.default_rng(seed)
    plots = field(*rng.integers(1, 16, 2), apart=rng.uniform(0, 12))
    plots = plots[rng.random(len(plots)) < 0.9].reset_index(drop=True)
    waves = rng.normal(0, 60, 3) * rng.random()
    x, y = shapely.get_coordinates(shapely.centroid(plots["geometry"].to_numpy())).T
    fall = 180 + waves[0] * np.sin(x / 80) + waves[1] * np.cos(y / 60)
    plots["downslope_true_deg"] = fall % 360
    plots["village"] = rng.choice(["Hill", "Valley"], len(plots))
    sites = work_sites(plots, NOTHING, packaged())
    mixed = plots.sample(frac=1, random_state=int(seed % 1000))
    again = work_sites(mixed, NOTHING, packaged()).set_index("plot_id")
    assert again.loc[plots["plot_id"]].reset_index().equals(sites)
    for _, own in plots.groupby(sites["work_site"].to_numpy()):
        assert len(own) <= LIMITS["plots_max"]
        shapes = shapely.union_all(shapely.buffer(own["geometry"].to_numpy(), 5.0001))
        assert len(shapely.get_parts(shapes)) == 1
        turn = np.exp(1j * np.radians(own["downslope_true_deg"].to_numpy()))
        off = np.degrees(np.angle(turn * np.conj(turn.sum())))
        assert np.abs(off).max() <= LIMITS["site_turn_max_deg"] + 1e-6


@pytest.mark.parametrize("line", range(len(packaged().rows("work_site_limits"))))
def test_every_limit_matters(line):
    plots = field(10, 5, apart=9.8)
    cases = [
        (plots, NOTHING),
        (field(5, 5), NOTHING),
        (field(2, 1).assign(downslope_true_deg=[0.0, 44.5]), NOTHING),
        (field(5, 1).assign(downslope_true_deg=[0.0, 29.75, 59.5, 89.25, 119.0]), NOTHING),
        (field(10, 1, apart=2.15), NOTHING),
    ]
    value = float(packaged().rows("work_site_limits")["value"][line])
    book = tweaked("work_site_limits", line, "value", value - 1)
    assert any(not work_sites(*case, book).equals(work_sites(*case, packaged())) for case in cases)
