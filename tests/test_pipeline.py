"""The whole run: what goes in comes out, and the same bytes each time."""

from __future__ import annotations

import json
import shutil

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from districtplan import outputs, pipeline
from districtplan.errors import InputError, OutputError
from districtplan.outputs.texts import Texts
from districtplan.outputs.wording import served_sentences
from tests.conftest import small_district, square, surface_raster, write_district

EACH_WAY = [(x, y) for x in (-30_000, 0, 30_000) for y in (-30_000, 0, 30_000) if (x, y) != (0, 0)]
SOON = {(-30_000, 0), (0, 30_000), (30_000, -30_000)}
AWAY = [pytest.param(*way, marks=() if way in SOON else pytest.mark.slow) for way in EACH_WAY]


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return write_district(tmp_path_factory.mktemp("small"), *small_district())


@pytest.fixture(scope="module")
def plain(small):
    """What is found in the small district as it is."""
    return pipeline.find(small).plots


def without_times(folder):
    contents = {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }
    told = json.loads(contents.pop("run.json"))
    told.pop("seconds")
    return contents, told


def test_same_input_from_two_folders_gives_the_same_bytes(small, tmp_path):
    elsewhere = tmp_path / "some where else"
    shutil.copytree(small.parent, elsewhere)
    pipeline.run(small, tmp_path / "a")
    pipeline.run(elsewhere / "plan.toml", tmp_path / "b")
    assert without_times(tmp_path / "a") == without_times(tmp_path / "b")


def test_the_order_of_rows_changes_no_plot(plain, tmp_path):
    plots, raster = small_district()
    shuffled = write_district(tmp_path, plots.sample(frac=1, random_state=3), raster)
    one = plain.set_index("plot_id").sort_index()
    other = pipeline.find(shuffled).plots.set_index("plot_id").sort_index()
    drop = ["source_row", "geometry"]
    pd.testing.assert_frame_equal(one.drop(columns=drop), other.drop(columns=drop))


def test_a_shift_by_whole_cells_changes_only_the_place(plain, tmp_path):
    plots, raster = small_district()
    moved = type(raster)(
        type(raster.grid)(
            raster.grid.west, raster.grid.north - 5000, 10.0, 10.0, 200, 200, raster.grid.crs
        ),
        raster.heights,
    )
    plots = plots.set_geometry(plots.translate(0, -5000))
    other = pipeline.find(write_district(tmp_path, plots, moved)).plots
    for column in ("slope_mean_pct", "slope_p90_pct", "cells", "row_bearing_grid_deg"):
        assert other[column].to_numpy() == pytest.approx(plain[column].to_numpy(), nan_ok=True)
    assert list(other["row_method"]) == list(plain["row_method"])


def test_splitting_a_plot_keeps_area_and_holes_within_one_row(plain, tmp_path):
    plots, raster = small_district()
    shape = plots.geometry.iloc[0]
    west, south, east, north = shape.bounds
    halves = [
        shape.intersection(shapely.box(west, south, west + 31, north)),
        shape.intersection(shapely.box(west + 31, south, east, north)),
    ]
    split = pd.concat([plots.iloc[1:], plots.iloc[[0, 0]]], ignore_index=True)
    split.loc[split.index[-2:], "plot_id"] = ["K00a", "K00b"]
    split.loc[split.index[-2:], "geometry"] = halves
    whole = plain.set_index("plot_id").loc["K00"]
    parts = pipeline.find(write_district(tmp_path, split, raster)).plots.set_index("plot_id")
    parts = parts.loc[["K00a", "K00b"]]
    assert parts["area_ha"].sum() == pytest.approx(whole["area_ha"], rel=1e-6)
    # Each plot starts its rows anew, so that one row of either may be more or less.
    longest = np.hypot(east - west, north - south)
    assert abs(int(parts["holes"].sum()) - int(whole["holes"])) <= longest / 0.1


def test_a_plot_off_the_raster_is_set_aside_with_its_share(tmp_path):
    plots, raster = small_district()
    plots.loc[3, "geometry"] = shapely.affinity.translate(plots.geometry[3], 990 - 600, 0)
    results = pipeline.find(write_district(tmp_path, plots, raster))
    assert len(results.plots) == 11
    assert results.set_aside["plot_id"].tolist() == ["K03"]
    assert "%" in results.set_aside["reason"][0]


@pytest.mark.parametrize(("east", "north"), AWAY)
def test_some_plots_off_the_raster_are_set_aside(east, north, tmp_path):
    plots, raster = small_district()
    plots.loc[[1, 7], "geometry"] = plots.geometry.translate(east, north)
    results = pipeline.find(write_district(tmp_path, plots, raster))
    assert results.set_aside["plot_id"].tolist() == ["K01", "K07"]
    assert len(results.plots) == 10


def test_no_usable_plot_is_refused_and_writes_nothing(tmp_path):
    plots, raster = small_district()
    plots["village"] = ""
    plan = write_district(tmp_path / "in", plots, raster)
    with pytest.raises(InputError):
        pipeline.run(plan, tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(("east", "north"), AWAY)
def test_all_plots_off_the_raster_is_refused(east, north, tmp_path):
    plots, raster = small_district()
    plots = plots.set_geometry(plots.translate(east, north))
    plan = write_district(tmp_path / "in", plots, raster)
    with pytest.raises(InputError, match="raster"):
        pipeline.run(plan, tmp_path / "out")


def test_an_older_run_is_replaced_only_when_asked(small, tmp_path, monkeypatch):
    monkeypatch.setattr(outputs, "FORMATS", {"tables": outputs.FORMATS["tables"]})
    pipeline.run(small, tmp_path / "out")
    with pytest.raises(OutputError):
        pipeline.run(small, tmp_path / "out")
    pipeline.run(small, tmp_path / "out", replace=True)


def test_doubled_heights_double_slopes(plain, tmp_path):
    plots, raster = small_district()
    high = write_district(tmp_path, plots, type(raster)(raster.grid, 2 * raster.heights))
    assert pipeline.find(high).plots["slope_mean_pct"].to_numpy() == pytest.approx(
        2 * plain["slope_mean_pct"].to_numpy(), rel=1e-4
    )


def test_look_alikes_are_told_and_kept(tmp_path):
    plots, raster = small_district()
    plots.loc[0, "village"] = plots.loc[0, "village"].upper()
    plots.loc[5, "geometry"] = plots.loc[6, "geometry"]
    results = pipeline.find(write_district(tmp_path, plots, raster))
    told = "\n".join(results.warnings)
    assert "'OSTRABEK' may be 'Ostrabek'" in told
    assert "'K05' and 'K06'" in told
    assert len(results.plots) == 12


def test_a_coarse_raster_says_so_first_and_what_would_serve(tmp_path):
    """Plots of a tenth of a hectare on cells of 90 m: none is served."""
    raster = surface_raster(lambda x, y: 2500 + 0.15 * x, cell=90.0)
    plots = [square(raster, x, y, 32) for x in range(-900, 901, 300) for y in (-600, 0, 600)]
    frame = gpd.GeoDataFrame(
        {"plot_id": [f"N{i}" for i in range(len(plots))], "village": "Ostrabek"},
        geometry=plots,
        crs=32736,
    )
    plan = write_district(tmp_path, frame, raster)
    text = plan.read_text(encoding="utf-8")
    plan.write_text(
        text.replace("vertical_error_m = 0.1", "vertical_error_m = 4.0"), encoding="utf-8"
    )
    results = pipeline.find(plan)
    assert set(results.plots["row_method"]) == {"measure on the ground"}
    first, *others = served_sentences(results, Texts.load("en"))
    assert first == "The elevation raster can tell how rows run on none of 21 plots."
    assert any("A raster of 2 m cells" in sentence for sentence in others)
