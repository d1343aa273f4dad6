"""The commands, as a user types them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from districtplan import pipeline
from tests.conftest import small_district, write_district
from tests.support import districtplan

FOUND_ONCE = True


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    return write_district(tmp_path_factory.mktemp("cli"), *small_district())


def test_check_writes_nothing(plan):
    before = sorted(path.name for path in plan.parent.iterdir())
    done = districtplan("check", plan)
    assert done.returncode == 0, done.stderr
    assert sorted(path.name for path in plan.parent.iterdir()) == before
    assert "12 plots" in done.stdout


def test_check_names_the_rows_of_files_beside_that_are_not_used(tmp_path):
    own = write_district(tmp_path, *small_district())
    (tmp_path / "no.csv").write_text(
        "plot_id,measure,why,date\nK00,all,rock,2026-02-27\nk-0,all,rock,2026-02-27\n"
        "K01,all,rock,Monday\n"
    )
    own.write_text(own.read_text().replace("[files]", '[files]\nvetoes = "no.csv"'))
    told = " ".join(districtplan("check", own).stdout.split())
    assert "no.csv row 2 (row 3 of a spreadsheet), plot_id 'k-0': no plot that is used has" in told
    assert "Give the id as it stands in the plots file" in told
    assert "no.csv row 3 (row 4 of a spreadsheet), plot_id 'K01': date = 'Monday'" in told
    assert "'K00'" not in told


def test_check_names_the_features_that_are_not_used(tmp_path):
    own = write_district(tmp_path, *small_district())
    line = '{"type":"LineString","coordinates":[[33,-1.9],[33.001,-1.9]]}'
    (tmp_path / "drawn.geojson").write_text(
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"kind":"drain"},'
        f'"geometry":{line}}}]}}'
    )
    own.write_text(own.read_text().replace("[files]", '[files]\nfeatures = "drawn.geojson"'))
    told = " ".join(districtplan("check", own).stdout.split())
    assert "drawn.geojson row 1, kind 'drain': the kind is 'drain'. Use one of grass" in told


def test_run_writes_and_refuses_to_write_over(plan, tmp_path):
    done = districtplan("run", plan, "--out", tmp_path / "run")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "run" / "index.html").is_file()
    assert "\x1b" not in done.stdout + done.stderr
    again = districtplan("run", plan, "--out", tmp_path / "run")
    assert again.returncode == 2
    assert "Traceback" not in again.stderr


def test_what_compiled_libraries_print_is_kept_off_the_answer():
    """The solver of integer programmes prints lines of its own, whatever it is told."""
    code = (
        "import os; from districtplan import cli\n"
        "os.write(1, b'before ')\n"
        "with cli._progress(): os.write(1, b'noise ')\n"
        "os.write(1, b'after')"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
    assert told.stdout == b"before after"


def test_quiet_prints_nothing(tmp_path, capfd):
    """Nor does a library past Python."""
    own = write_district(tmp_path, *small_district())
    done = districtplan("--quiet", "run", own, "--out", tmp_path / "run")
    assert (done.returncode, done.stdout, capfd.readouterr().out) == (0, "", "")


@pytest.mark.slow
def test_quiet_prints_nothing_as_a_process(plan, tmp_path):
    """As a process of its own: what a library prints past Python would be seen too."""
    done = subprocess.run(
        [Path(sys.executable).with_name("districtplan"), "--quiet", "run", plan, "--out",
         tmp_path / "run"], capture_output=True, text=True, check=False, encoding="utf-8",
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (0, "")


def test_explain_tells_how(plan):
    done = districtplan("explain", plan, "K01")
    assert done.returncode == 0, done.stderr
    assert "Horn" in done.stdout
    assert "World Magnetic Model" in done.stdout


def test_explain_of_an_unknown_plot(plan):
    done = districtplan("explain", plan, "nobody")
    assert done.returncode == 2
    assert "nobody" in done.stderr
    assert "Traceback" not in done.stderr


def test_sources_name_every_table_with_its_provenance():
    done = districtplan("sources")
    assert done.returncode == 0, done.stderr
    for word in ("rusle_ls", "memory", "common practice, no source", "McCool"):
        assert word in done.stdout


def test_new_writes_a_plan_that_checks_up_to_its_files(tmp_path):
    done = districtplan("new", tmp_path / "mine")
    assert done.returncode == 0, done.stderr
    checked = districtplan("check", tmp_path / "mine" / "plan.toml")
    assert checked.returncode == 2
    assert "plots.gpkg" in checked.stderr
    assert "doesn't exist" in checked.stderr


def test_new_leaves_an_edited_plan_alone(tmp_path):
    districtplan("new", tmp_path)
    (tmp_path / "plan.toml").write_text("# mine", encoding="utf-8")
    done = districtplan("new", tmp_path)
    assert done.returncode == 2
    assert (tmp_path / "plan.toml").read_text(encoding="utf-8") == "# mine"


def test_all_faults_of_a_plan_at_once(plan, tmp_path):
    text = plan.read_text(encoding="utf-8")
    bad = tmp_path / "plan.toml"
    bad.write_text(
        text.replace("vertical_error_m = 0.1", "vertical_error_m = -1")
        + "[terrain]\ncels_min = 4\n",
        encoding="utf-8",
    )
    done = districtplan("check", bad)
    assert done.returncode == 2
    assert "vertical_error_m" in done.stderr
    assert "cels_min" in done.stderr
    assert "cells_min" in done.stderr
    assert "line" in done.stderr


def test_check_tells_of_a_cap_that_no_string_can_carry(plan):
    bad = plan.with_name("cap.toml")
    text = plan.read_text(encoding="utf-8")
    assert "npk_kg_ha" not in text
    assert "[practice]" not in text
    bad.write_text(
        text + "\n[practice]\nnpk_kg_ha = 10\n[string]\ncap_npk_g = 400\n", encoding="utf-8"
    )
    done = districtplan("check", bad)
    assert done.returncode == 2
    assert "string.cap_npk_g" in done.stderr
    assert "smaller measure" in done.stderr


def test_problems_of_plots_and_elevation_are_told_together(plan, tmp_path):
    text = plan.read_text(encoding="utf-8")
    bad = tmp_path / "plan.toml"
    bad.write_text(text.replace("dem.tif", "none.tif"), encoding="utf-8")
    done = districtplan("check", bad)
    assert done.returncode == 2
    assert "plots.gpkg" in done.stderr
    assert "none.tif" in done.stderr


def test_wrong_use_is_2():
    assert districtplan("run").returncode == 2
    assert districtplan("nonsense").returncode == 2


def test_version():
    done = districtplan("--version")
    assert (done.returncode, done.stdout.split()[0]) == (0, "districtplan")


def test_a_fault_of_ours_is_3(plan, monkeypatch):
    def broken(*_, **__):
        raise ZeroDivisionError("seeded")

    monkeypatch.setattr(pipeline, "find", broken)
    done = districtplan("check", plan)
    assert done.returncode == 3
    assert "seeded" in done.stderr


def test_a_run_folder_with_an_impossible_name_is_2(plan, tmp_path):
    done = districtplan("run", plan, "--out", tmp_path / ("x" * 300))
    assert done.returncode == 2
    assert "can't be written" in done.stderr
