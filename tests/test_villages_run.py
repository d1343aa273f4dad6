"""Spellings of villages through the whole run: told, listed, and joined by an edited file alone."""

from __future__ import annotations

import csv
import io
import json

import pandas as pd

from tests.conftest import small_district, write_district
from tests.support import districtplan

WRITES = ("layers", "tables")


def test_the_file_to_edit_is_read_back(tmp_path):
    plots, raster = small_district()
    plots.loc[0, "village"], plots.loc[1, "village"] = "Ostrabec", "=Tilvera"
    plan = write_district(tmp_path, plots, raster)
    (tmp_path / "villages.csv").write_text("village\nOstrabek\nTilverra\nNumbassi\n")
    text = plan.read_text()
    plan.write_text(text.replace("[files]", '[files]\nvillages = "villages.csv"'))
    done = districtplan("run", plan, "--out", tmp_path / "run")
    assert done.returncode == 0
    assert "'Ostrabec' may be 'Ostrabek'" in done.stderr
    table = pd.read_parquet(tmp_path / "run" / "plots.parquet")
    assert table["village"][:2].tolist() == ["Ostrabec", "=Tilvera"]
    listed = (tmp_path / "run" / "village_names.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(listed)))
    assert [row["suggested"] for row in rows] == ["Ostrabek", "Tilverra"]
    rows[0]["village"] = "Ostrabek"
    with (tmp_path / "names.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    named = '[files]\nvillages = "villages.csv"\nvillage_names = "names.csv"'
    plan.write_text(text.replace("[files]", named))
    done = districtplan("run", plan, "--out", tmp_path / "again")
    assert done.returncode == 0
    table = pd.read_parquet(tmp_path / "again" / "plots.parquet")
    assert table["village"][:2].tolist() == ["Ostrabek", "=Tilvera"]
    assert table["village_as_given"].fillna("").tolist() == ["Ostrabec", *[""] * 11]
    assert "1 spelling of villages, on 1 plot, was replaced" in done.stderr
    # What the run wrote itself it takes back without a word, and gives one remedy a spelling.
    assert "not known here" not in done.stderr
    # What the guard against formulas changed is found again, and a digest stands for each file.
    told = json.loads((tmp_path / "again" / "run.json").read_text(encoding="utf-8"))
    assert {"names.csv", "villages.csv"} <= {entry["name"] for entry in told["inputs"]}
    assert told["counts"]["village_names_set_aside"] == 0


def test_without_a_list_near_equal_names_are_told(tmp_path):
    plots, raster = small_district()
    plots.loc[0, "village"] = "Ostrabec"
    done = districtplan("check", write_district(tmp_path, plots, raster))
    assert "like a name of more plots: 'Ostrabec' may be 'Ostrabek'" in done.stderr
