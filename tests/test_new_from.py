"""A plan drafted from a plots file of each format, checked as it stands."""

from __future__ import annotations

import geopandas as gpd
import pytest

from districtplan.files.plan_file import read_plan
from districtplan.files.vector import read_plots
from tests.conftest import small_district
from tests.files.stored import DRAWN, store
from tests.support import districtplan


def stored(folder, suffix):
    plots, _ = small_district()
    path = folder / f"plots{suffix}"
    if suffix in {".gpx", "walks"}:
        return walked(folder, plots, suffix)
    store(path, plots.to_crs(4326))
    return path


def walked(folder, plots, suffix):
    """The plots as walks."""
    rows, tracks = ["Parcel ID;order;latitude;longitude;village"], ""
    for plot in plots.to_crs(4326).itertuples():
        points = list(plot.geometry.exterior.coords)[:-1]
        rows += [f"{plot.plot_id};{at};{y};{x};{plot.village}" for at, (x, y) in enumerate(points)]
        marks = "".join(f'<trkpt lat="{y}" lon="{x}"/>' for x, y in points)
        tracks += f"<trk><name>{plot.plot_id}</name><desc>{plot.village}</desc>"
        tracks += f"<trkseg>{marks}</trkseg></trk>"
    if suffix == ".gpx":
        path = folder / "plots.gpx"
        path.write_text(f"<gpx>{tracks}</gpx>")
    else:
        path = folder / "plots.csv"
        path.write_text("\n".join(rows))
    return path


@pytest.mark.parametrize("suffix", [*DRAWN, ".gpx", "walks"])
def test_a_draft_reads_its_file(suffix, tmp_path):
    path = stored(tmp_path, suffix)
    done = districtplan("new", tmp_path / "mine", "--from", path)
    assert done.returncode == 0, done.stderr
    assert f"Guessed plots = '../{path.name}'" in done.stdout
    text = (tmp_path / "mine" / "plan.toml").read_text(encoding="utf-8")
    assert text.count("GUESSED, look at it") >= 3
    raw = read_plots(read_plan(tmp_path / "mine" / "plan.toml"))
    assert sorted(raw.frame["plot_id"]) == [f"K{number:02d}" for number in range(12)]
    assert set(raw.frame["village"]) == {"Ostrabek", "Tilverra", "Numbassi"}
    assert raw.frame["problem"].isna().all()


def test_a_layer_is_guessed_and_the_others_told(tmp_path):
    plots, _ = small_district()
    plots.to_file(tmp_path / "d.gpkg", layer="roads", driver="GPKG")
    plots.to_file(tmp_path / "d.gpkg", layer="my plots", driver="GPKG")
    done = districtplan("new", tmp_path / "mine", "--from", tmp_path / "d.gpkg")
    assert "Guessed plots_layer = 'my plots': its layers: 'my plots', 'roads'" in done.stdout
    assert len(read_plots(read_plan(tmp_path / "mine" / "plan.toml")).frame) == 12


def test_nothing_is_written_over_and_nothing_runs_away(tmp_path):
    plots, _ = small_district()
    hostile = 'village"]\n[elevation]\nvertical_error_m = 9 # \x1b[31m'
    data = gpd.GeoDataFrame({hostile: ["A", "A"], "x": [1, 2]}, geometry=plots.geometry[:2])
    (tmp_path / "p.geojson").write_text(data.set_crs(4326, allow_override=True).to_json())
    assert districtplan("new", tmp_path / "mine", "--from", tmp_path / "p.geojson").returncode == 0
    plan = tmp_path / "mine" / "plan.toml"
    assert read_plan(plan).plan.elevation.vertical_error_m == 2.0
    before = plan.read_bytes()
    done = districtplan("new", tmp_path / "mine")
    assert done.returncode == 2
    assert "exists and isn't what would be written" in done.stderr
    assert plan.read_bytes() == before


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("none.gpkg", "doesn't exist"),
        ("plots.xyz", "which isn't read"),
        ("broken.geojson", "isn't JSON"),
        ("http://127.0.0.1:9/plots.gpkg", "isn't a plain file name"),
        ("/vsicurl/http://127.0.0.1:9/plots.gpkg", "isn't a plain file name"),
    ],
)
def test_what_cannot_be_read_leaves_no_folder(name, told, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "plots.xyz").write_text("x")
    (tmp_path / "broken.geojson").write_text("{,")
    done = districtplan("new", tmp_path / "mine", "--from", name)
    assert done.returncode == 2
    assert told in done.stderr
    assert not (tmp_path / "mine").exists()
