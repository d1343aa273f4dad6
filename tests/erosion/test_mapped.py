"""R and K from rasters: means over plots, units, gaps, and what they do in the assessment."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely

from districtplan import erosion
from districtplan.erosion import mapped
from districtplan.errors import InputError
from districtplan.handbook import packaged
from tests.conftest import plan_of, surface_raster
from tests.support import assessed

SOIL = {"rain_erosivity_raster": "r.tif", "rain_erosivity_unit": "si"}


def found(values, outlines, quantity="rain_erosivity", system="si"):
    raster = surface_raster(lambda x, y: 0 * x, cells=values.shape[0])
    raster.heights[:] = values
    corner = raster.grid.west, raster.grid.north
    moved = [shapely.affinity.translate(shapely.box(*one), *corner) for one in outlines]
    return erosion.plot_means(np.array(moved, dtype=object), raster, quantity, system, packaged())


def means(*asked):
    return found(*asked).mean


def doubts(values, quantity, system):
    said = found(np.array(values), [(0, -20, 20, 0)], quantity, system)
    return erosion.raster_doubts(said, "soil.tif", quantity, system, packaged())


def test_a_plot_has_the_mean_by_the_share_covered():
    values = np.array([[100.0, 300.0], [500.0, np.nan]])
    found = means(values, [(5, -10, 20, 0), (0, -20, 10, 0), (10, -20, 20, -10), (5, -15, 15, 0)])
    # The last covers half, half, a quarter, and a quarter without a value.
    expected = [(100 * 5 + 300 * 10) / 15, 300, np.nan, (50 + 150 + 125) / 1.25]
    np.testing.assert_allclose(found, expected, rtol=1e-6)


def test_land_beyond_the_raster_and_values_nobody_believes_do_not_count():
    values = np.array([[200.0, 1e9], [-9999.0, 0.0]])
    outlines = [(-10, -10, 10, 0), (-50, -10, -30, 0), (0, -20, 20, 0), (10, -20, 20, -10)]
    np.testing.assert_allclose(means(values, outlines), [200, np.nan, 200, np.nan])


@pytest.mark.parametrize(
    ("quantity", "system", "name"),
    [
        ("rain_erosivity", "us", "rain_erosivity_us_to_si"),
        ("erodibility", "us", "erodibility_us_to_si"),
        ("erodibility", "technical", "erodibility_technical_to_si"),
    ],
)
def test_units_are_converted_once(quantity, system, name):
    values = np.full((2, 2), 0.25, dtype=np.float32)
    expected = 0.25 * packaged().number("soil_ranges", name)
    assert means(values, [(0, -10, 10, 0)], quantity, system) == pytest.approx([expected])


def test_no_plots():
    assert means(np.ones((2, 2)), []).shape == (0,)


def test_plots_far_apart_are_given_their_own_values(monkeypatch):
    monkeypatch.setattr(mapped, "SQUARE_CELLS", 2)
    values = np.arange(1.0, 65.0).reshape(8, 8)
    outlines = [(10 * c, -10 * r - 10, 10 * c + 10, -10 * r) for r, c in ((7, 7), (0, 0), (3, 5))]
    np.testing.assert_allclose(means(values, outlines), [64, 1, 30])


def test_each_plot_goes_by_its_own_and_a_gap_is_told():
    plan = plan_of(soil={"cover_factor": 0.2, **SOIL, "erodibility_t_ha_h_ha_mj_mm": 0.03})
    rain = np.array([2000.0, 4000.0, np.nan])
    beside = erosion.Beside(rain_erosivity=rain)
    found = assessed([12.0] * 3, [30.0] * 3, plan, beside=beside)
    loss = found["soil_loss_up_down_likely_t_ha_yr"]
    assert loss[1] == pytest.approx(2 * loss[0])
    assert np.isnan(loss[2])
    told = ["soil_raster_ends" in flags for flags in found["erosion_flags"]]
    assert told == [False, False, True]


@pytest.mark.parametrize(
    ("values", "quantity", "system", "meant"),
    [
        ([[0.11, 0.15], [0.18, 0.19]], "erodibility", "si", ("us", "technical")),
        ([[0.03, 0.04], [0.05, 0.035]], "erodibility", "us", ("si",)),
        ([[200.0, 300.0], [400.0, 250.0]], "rain_erosivity", "si", ("us", "technical")),
        ([[1500.0, 2000.0], [1800.0, 2500.0]], "rain_erosivity", "us", ("si",)),
    ],
)
def test_values_of_another_unit_system_are_asked_about_though_all_can_be_believed(
    values, quantity, system, meant
):
    assert found(np.array(values), [(0, -20, 20, 0)], quantity, system).unbelieved == 0
    (said,) = doubts(values, quantity, system)
    assert said.startswith("Only 0 of 4 cells of soil.tif on plots are usual")
    assert said.endswith(f"Are they {' or '.join(meant)}?")
    for right in meant:
        assert doubts(values, quantity, right) == []


def test_cells_that_nobody_believes_are_counted():
    # Values of US units: the mean would be of the two lowest alone.
    unbelieved, unusual = doubts([[0.15, 0.19], [0.3, 0.0]], "erodibility", "si")
    assert unbelieved.startswith("2 of 4 cells of soil.tif")
    assert unusual.endswith("Are they us or technical?")
    (strewn,) = doubts([[0.03, 0.04], [0.05, -9999.0]], "erodibility", "si")
    assert strewn.startswith("1 of 4 cells of soil.tif")


def test_a_raster_that_serves_no_plot_is_told_once():
    off = found(np.ones((2, 2)), [(-60, -10, -40, 0), (-90, -10, -80, 0)])
    gap = found(np.full((2, 2), np.nan), [(0, -20, 20, 0)])
    for nothing in (off, gap):
        (said,) = erosion.raster_doubts(nothing, "r.tif", "rain_erosivity", "si", packaged())
        assert said.startswith("r.tif has no value on any plot")


def test_a_number_stands_in_the_gaps_of_a_raster_and_nowhere_else():
    both = {
        "rain_erosivity_mj_mm_ha_h_yr": 4500.0,
        "erodibility_t_ha_h_ha_mj_mm": 0.03,
        "erodibility_raster": "k.tif",
        "erodibility_unit": "si",
        "cover_factor": 0.2,
    }
    plan = plan_of(soil=SOIL | both)
    mapped = erosion.Beside(
        rain_erosivity=np.array([6000.0, np.nan, 6000.0]),
        erodibility=np.array([0.04, np.nan, np.nan]),
    )
    found = assessed([12.0, 12.0, 12.0], 30.0, plan, beside=mapped)
    assert found["r"].tolist() == [6000, 4500, 6000]
    assert found["k"].tolist() == [0.04, 0.03, 0.03]
    assert found["soil_loss_now_likely_t_ha_yr"].notna().all()
    codes = ("rain_erosivity_filled", "erodibility_filled", "soil_raster_ends")
    told = [[code for code in codes if code in flags] for flags in found["erosion_flags"]]
    assert told == [[], list(codes[:2]), ["erodibility_filled"]]
    # A village's own K has no need of either.
    soils = pd.DataFrame({"village": ["Hill"], "k": [0.05], "k_by": ["given"]})
    own = assessed([12.0] * 3, 30.0, plan, beside=replace(mapped, soils=soils))
    assert own["k"].tolist() == [0.05] * 3
    assert not own["erosion_flags"].map(lambda flags: "erodibility_filled" in flags).any()


@pytest.mark.parametrize(
    ("soil", "said"),
    [
        ({"rain_erosivity_raster": "r.tif"}, "rain_erosivity_unit"),
        ({"erodibility_unit": "si"}, "erodibility_raster"),
        (
            {**SOIL, "rain_equation": "renard_freimund_fournier", "rain_monthly_mm": [80.0] * 12},
            "Give one of them",
        ),
    ],
)
def test_plans_that_contradict_themselves_are_refused(soil, said):
    with pytest.raises((InputError, ValueError), match=said):
        plan_of(soil=soil)
