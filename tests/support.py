"""Stages run on numbers alone, handbooks with one number changed, and the command line."""

from __future__ import annotations

import contextlib
import csv
import io
import os
import sys
from dataclasses import replace
from pathlib import Path
from subprocess import CompletedProcess
from typing import TYPE_CHECKING
from unittest import mock

import numpy as np
import pandas as pd
import pytest

from districtplan import cli, erosion, inputs, rows
from districtplan.handbook import Handbook, packaged

if TYPE_CHECKING:
    from pyproj import CRS

    from districtplan.plan import Plan

SOIL = {
    "rain_erosivity_mj_mm_ha_h_yr": 4500.0,
    "erodibility_t_ha_h_ha_mj_mm": 0.03,
    "cover_factor": 0.2,
}


def benchmark_data() -> Path:
    """Find the published instances: they are no part of the project.

    The folder that ``DISTRICTPLAN_BENCHMARK_DATA`` names or, beside the project's own folder, a
    folder with the folder ``benchmarks`` in it.
    """
    named = os.environ.get("DISTRICTPLAN_BENCHMARK_DATA")
    beside = sorted(Path(__file__).parents[2].glob("*/benchmarks/best_known.json"))
    found = Path(named) if named else next((path.parent for path in beside), None)
    if found is not None and (found / "best_known.json").exists():
        return found
    told = "no published instances: set DISTRICTPLAN_BENCHMARK_DATA to their folder"
    # Who names a folder means that it is there, and what is tested for all must not skip them.
    if named or os.environ.get("CI"):
        pytest.fail(told)
    pytest.skip(told)


def districtplan(*arguments: object) -> CompletedProcess[str]:
    """Run the command line as a user types it, in this process: a new one takes seconds."""
    typed = ["districtplan", *map(str, arguments)]
    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        mock.patch.object(sys, "argv", typed),
        pytest.raises(SystemExit) as stop,
    ):
        cli.main()
    return CompletedProcess(typed, stop.value.code, out.getvalue(), err.getvalue())


def assessed(
    slope_pct,
    length_m,
    plan: Plan,
    book: Handbook | None = None,
    corrected_pct=None,
    beside: erosion.Beside | None = None,
    *,
    measured=False,
) -> pd.DataFrame:
    """Assess erosion of plots given by slope and slope length."""
    slope, length = np.broadcast_arrays(np.asarray(slope_pct, float), np.asarray(length_m, float))
    ids = [f"P{place}" for place in range(slope.size)]
    corrected = slope if corrected_pct is None else np.broadcast_to(corrected_pct, slope.shape)
    terrain = pd.DataFrame(
        {
            "plot_id": ids,
            "slope_mean_pct": slope.ravel(),
            "slope_se_pct": 1.0,
            "slope_measured_pct": slope.ravel() if measured else np.nan,
            "slope_used_pct": np.asarray(corrected, float).ravel(),
            "slope_length_m": length.ravel(),
        }
    )
    plots = pd.DataFrame({"plot_id": ids, "village": "Hill"})
    return erosion.assess(plots, terrain, plan, book or packaged(), beside or erosion.Beside())


def needed(area_ha, plan: Plan, book: Handbook | None = None) -> pd.DataFrame:
    """Work out the needs of level plots given by area, rows at no known bearing."""
    areas = np.atleast_1d(np.asarray(area_ha, float)) * 10_000
    practice = plan.practice
    apart, hole = practice.bean_rows_apart_cm / 100, practice.hole_spacing_cm / 100
    length, holes = rows.by_area(areas, apart, hole)
    laid = pd.DataFrame(
        {
            "plot_id": [f"P{i}" for i in range(len(areas))],
            "row_length_m": length,
            "holes": pd.array(holes.astype(np.int64), dtype="Int64"),
            "maize_holes": pd.array([pd.NA] * len(areas), dtype="Int64"),
        }
    )
    counted = laid[["plot_id", "holes", "maize_holes"]]
    return counted.merge(inputs.need(laid, plan, book or packaged()))


def tweaked(table: str, line: int, column: str, value: object) -> Handbook:
    """Copy the package's handbook with one cell changed."""
    own = packaged()
    rows = own.rows(table).copy()
    if isinstance(value, float):
        rows[column] = rows[column].astype(float)
    rows.loc[line, column] = value
    return Handbook({**own.tables, table: replace(own.tables[table], rows=rows)})


def renumbered(table: str, name: str, value: float) -> Handbook:
    """Copy the package's handbook with one named number changed."""
    rows = packaged().rows(table)
    return tweaked(table, int(rows.index[rows["name"] == name][0]), "value", value)


def published(name: str) -> list[dict[str, str]]:
    """Read a printed table kept beside the tests that use it, as it was printed."""
    path = Path(__file__).parent / "published" / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def site_at(
    outline, zone: CRS, place: tuple[float, float], declination_deg: float, fall=(0.0, np.nan)
) -> rows.Site:
    """Look up how the map lies at one plot; its fall is percent and degrees from true north."""
    plot = {
        "plot_id": ["P0"],
        "longitude_deg": [place[0]],
        "latitude_deg": [place[1]],
        "declination_deg": [declination_deg],
        "slope_used_pct": [fall[0]],
        "downslope_true_deg": [fall[1]],
        "geometry": [outline],
    }
    return rows.Site.each(pd.DataFrame(plot), zone)["P0"]


def walked(line, grade_pct: float, site: rows.Site, zone: CRS, rules: rows.Rules) -> rows.Walk:
    """Set out one line."""
    (walk,) = rows.set_out([rows.Course(line, grade_pct, site)], zone, rules)
    return walk
