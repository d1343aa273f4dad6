"""Every plot beside every measure: metres, land, labour, and what is left of the rows."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from districtplan import tables
from tests.conservation.cases import (
    DAYS,
    MEASURES,
    option,
    options_of,
    plan_with,
    plots_of,
    practice_of,
    with_labour,
)


def found_for(slope=15.0, length=60.0, plan=None, book=None, **columns):
    plan = plan or plan_with()
    return options_of(plots_of(slope, length, plan, book, **columns), plan, book)


def test_every_plot_stands_beside_every_measure_once():
    slopes = [0.5, 8.0, 20.0, 36.0, 55.0, 80.0]
    found = found_for(slopes, run_on_area_ha=1.0)
    pairs = pd.concat(part[["plot_id", "measure"]].astype(str) for part in found)
    assert len(pairs) == len(slopes) * len(MEASURES)
    assert not pairs.duplicated().any()
    assert found.offered.columns.tolist() == ["plot_id", *tables.made_by("options")]
    assert found.refused.columns.tolist() == ["plot_id", "measure", "measure_reason"]
    assert found.refused["measure_reason"].notna().all()
    places = found.offered["plot_id"].str[1:].astype(int)
    assert places.is_monotonic_increasing


def test_lines_of_a_barrier():
    """60 m down the fall at 15 m apart: 4 lines of 50 m, 2 m wide, on 0.3 ha."""
    found = option(found_for(), "grass_strips")
    assert (found["lines"], found["measure_length_m"]) == (4, pytest.approx(200))
    assert (found["line_apart_m"], found["line_drop_m"]) == (15, pytest.approx(2.25))
    assert found["line_apart_other_m"] == pytest.approx(10)
    assert (found["spacing_rule"], found["spacing_rule_other"]) == ("distance", "drop")
    assert found["land_taken_pct"] == pytest.approx(100 * 200 * 2 / 3000)


@pytest.mark.parametrize(("length", "lines"), [(5.0, 1), (15.0, 1), (15.1, 2), (45.0, 3)])
def test_no_piece_between_lines_is_longer_than_the_spacing(length, lines):
    assert option(found_for(15.0, length), "grass_strips")["lines"] == lines


def test_without_a_length_down_the_fall_lines_are_not_counted_but_measured_by_area():
    found = option(found_for(15.0, np.nan), "grass_strips")
    assert found["lines"] is pd.NA
    assert found["measure_length_m"] == pytest.approx(3000 / 15)


def test_what_rows_become_beside_a_measure():
    found = option(found_for(), "grass_strips")
    left = 1 - 400 / 3000
    assert found["row_length_after_m"] == pytest.approx(6000 * left)
    for name in ("rows_after", "holes_after", "seed_after_g", "manure_after_g"):
        assert found[name] == round(6000 * left)
    ridges = option(found_for(10.0, 30.0), "contour_ridges")
    assert (ridges["land_taken_pct"], ridges["holes_after"]) == (0, 6000)
    cover = option(found_for(40.0), "permanent_cover")
    assert (cover["land_taken_pct"], cover["holes_after"]) == (100, 0)


def test_saved_is_counted_against_what_is_there():
    """Stone lines that are there hold back soil already: strips save the rest of it alone."""
    there = practice_of(rows="up and down", structure="stone lines", condition="poor")
    plots = plots_of(15.0, 60.0, plan_with(), practice=there)
    found = option(options_of(plots, plan_with(), practice=there), "grass_strips")
    now, bare = (
        plots[f"soil_loss_{practice}_likely_t_ha_yr"].iloc[0] for practice in ("now", "up_down")
    )
    assert now < 0.9 * bare
    after = found["soil_loss_after_likely_t_ha_yr"]
    assert 0 < after < now
    assert found["soil_saved_t_yr"] == pytest.approx((now - after) * 0.3)
    assert found["soil_saved_counted_t_yr"] == found["soil_saved_t_yr"]


def test_level_land_is_offered_nothing():
    found = found_for([0.0, 0.5], run_on_area_ha=1.0)
    assert found.offered.empty
    assert len(found.refused) == 2 * len(MEASURES)


def test_unknown_rows_stay_unknown():
    found = found_for(holes=pd.array([pd.NA], dtype="Int64"), row_length_m=np.nan)
    strips = option(found, "grass_strips")
    assert strips["holes_after"] is pd.NA
    assert np.isnan(strips["row_length_after_m"])


@pytest.mark.filterwarnings("error")
def test_where_no_riser_meets_the_slope_no_bench_is_reckoned():
    found = found_for([20.0, 250.0], book=with_labour())
    assert "bench_terraces" in set(found.offered.loc[found.offered["plot_id"] == "P0", "measure"])
    assert "bench_terraces" not in set(
        found.offered.loc[found.offered["plot_id"] == "P1", "measure"]
    )


def test_benches_take_the_riser_and_move_earth():
    """20 %, 3 m, U = 0.75: 15 % of the land, 2833.3 m/ha and 750 m³/ha."""
    found = option(found_for(20.0, book=with_labour()), "bench_terraces")
    assert found["land_taken_pct"] == pytest.approx(15)
    assert found["measure_length_m"] == pytest.approx(0.3 * 2833.333, abs=0.01)
    assert found["person_days"] == pytest.approx(0.3 * 750 * DAYS["bench_terraces"])


@pytest.mark.parametrize(("width_m", "offered"), [(3.0, True), (4.9, True), (5.0, False)])
def test_no_bench_is_cut_through_the_soil(width_m, offered):
    """At 40 % a bench of 5 m is cut a metre deep at its back: all of a soil of one metre."""
    found = found_for(40.0, plan=plan_with(soil_depth_m=1.0, bench_width_m=width_m))
    assert ("bench_terraces" in set(found.offered["measure"])) == offered
    why = found.refused.set_index("measure")["measure_reason"]
    assert why.get("bench_terraces") == (None if offered else "soil_shallow")


def test_a_waterway_takes_what_rows_do_not_keep_clear_of_already():
    at = {"flow_line_length_m": 50.0}
    taken = option(found_for(**at), "grassed_waterway")["land_taken_pct"]
    assert taken == pytest.approx(100 * 4 * 50 / 3000)
    clear = option(found_for(**at, flow_strip_m2=200.0), "grassed_waterway")
    assert (clear["land_taken_pct"], clear["measure_length_m"]) == (0, 50)


def test_labour_and_money_are_empty_until_the_district_gives_them():
    found = found_for(run_on_area_ha=1.0).offered
    assert found[["person_days", "cost_money"]].isna().all(axis=None)
    priced = plan_with(day_cost=3.0)
    assert (
        option(found_for(plan=priced), "grass_strips")[["person_days", "cost_money"]].isna().all()
    )
    costed = option(found_for(plan=priced, book=with_labour()), "grass_strips")
    assert costed["person_days"] == pytest.approx(2 * DAYS["grass_strips"])
    assert costed["cost_money"] == pytest.approx(3 * 2 * DAYS["grass_strips"])
    unpriced = option(found_for(book=with_labour()), "grass_strips")
    assert unpriced["person_days"] > 0
    assert np.isnan(unpriced["cost_money"])


def test_tonnes_saved_are_the_loss_a_hectare_less_times_the_area():
    plan = plan_with()
    plots = plots_of([14.0, 14.0], plan=plan).assign(area_ha=[0.3, 1.2])
    offered = options_of(plots, plan).offered
    at = plots.set_index("plot_id").loc[offered["plot_id"]]
    now = at["soil_loss_now_likely_t_ha_yr"].to_numpy()
    less = now - offered["soil_loss_after_likely_t_ha_yr"].to_numpy()
    assert (less > 0).any()
    saved = offered["soil_saved_t_yr"].to_numpy()
    assert saved == pytest.approx(less * at["area_ha"].to_numpy())
    assert offered["soil_saved_counted_t_yr"].to_numpy() == pytest.approx(saved)


def test_labour_of_cover_is_by_the_hectare():
    found = option(found_for(40.0, book=with_labour()), "permanent_cover")
    assert found["person_days"] == pytest.approx(0.3 * DAYS["permanent_cover"])
    assert found["measure_length_m"] is None or np.isnan(found["measure_length_m"])
