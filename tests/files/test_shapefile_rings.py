"""Rings of shapefiles: holes outside their shell, which GDAL reads as parts."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Polygon, box

from districtplan import intake
from districtplan.files.vector import read_plots
from tests.files.stored import frame, store


def here(west, south, east, north):
    return box(300_000 + west, 9_800_000 + south, 300_000 + east, 9_800_000 + north)


SHELL = here(0, 0, 80, 80)
INNER = here(10, 10, 20, 20).exterior
SMALL, LARGE = here(100, 0, 105, 5).exterior, here(100, 0, 140, 40).exterior


def read(tmp_path, plan_file, *shapes):
    store(tmp_path / "plots.shp", frame(list(shapes), plot_id=list("abcd")[: len(shapes)],
                                        village=["V"] * len(shapes)))  # fmt: skip
    plan = plan_file(plots="plots.shp")
    raw = read_plots(plan)
    return raw.frame, *intake.accept(raw.frame, raw.crs, plan.plan)


def test_a_hole_outside_is_told_and_real_parts_stay(tmp_path, plan_file):
    whole = Polygon(SHELL.exterior, [INNER])
    parts = MultiPolygon([whole, here(200, 0, 280, 80)])
    stray = MultiPolygon([Polygon(SHELL.exterior, [INNER, SMALL]), here(200, 0, 280, 80)])
    _, plots, aside = read(tmp_path, plan_file, parts, stray, Polygon(SHELL.exterior, [SMALL]))
    assert len(aside) == 0
    assert "a hole outside" not in str(plots["outline_repair"][0])
    assert plots["outline_repair"].str.contains("a hole outside").tolist()[1:] == [True, True]
    assert plots["geometry"][1].normalize().equals(parts.normalize())
    assert plots["geometry"][2].equals(SHELL)


def test_a_large_hole_outside_sets_the_plot_aside(tmp_path, plan_file):
    _, plots, aside = read(tmp_path, plan_file, SHELL, Polygon(SHELL.exterior, [LARGE]))
    assert plots["plot_id"].tolist() == ["a"]
    assert "a hole outside the outline was left out" in aside["reason"][0]


@pytest.mark.parametrize("turned", [True, False])
def test_parts_that_all_run_one_way_are_parts(turned, tmp_path, plan_file):
    """A file whose every ring runs like a hole is a sloppy one: nothing is taken off it."""
    parts = MultiPolygon([SHELL, here(200, 0, 280, 80)])
    store(tmp_path / "plots.shp", frame([parts] * 4))
    if turned:
        raw = bytearray((tmp_path / "plots.shp").read_bytes())
        turn_rings(raw)
        (tmp_path / "plots.shp").write_bytes(raw)
    found = read_plots(plan_file(plots="plots.shp")).frame["geometry"]
    assert all(shapely.area(each) == pytest.approx(2 * 80 * 80) for each in found)


def turn_rings(raw):
    """Let the rings of each record run the other way."""
    at = 100
    while at < len(raw):
        words = int.from_bytes(raw[at + 4 : at + 8], "big")
        content = at + 8
        parts, points = np.frombuffer(raw, "<i4", 2, content + 36)
        starts = [*np.frombuffer(raw, "<i4", parts, content + 44), points]
        place = content + 44 + 4 * int(parts)
        xy = np.frombuffer(bytes(raw[place : place + 16 * points]), "<f8").reshape(-1, 2).copy()
        for first, last in itertools.pairwise(starts):
            xy[first:last] = xy[first:last][::-1].copy()
        raw[place : place + 16 * points] = xy.tobytes()
        at = content + 2 * words
