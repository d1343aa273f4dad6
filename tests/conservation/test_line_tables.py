"""Tables of lines: every line, refusal and waterway once."""

from __future__ import annotations

import pandas as pd
import pytest
import shapely

from districtplan.conservation import Outlet, draw, line_tables
from tests.conservation.hillsides import DITCH, LIMITS, STRIPS, hillside


def test_every_line_refusal_and_waterway_is_told():
    stream = Outlet("stream 4", shapely.LineString([(-20, -8), (90, -8)]))
    flow = (shapely.LineString([(30, 100), (30, -20)]),)
    dug = draw(hillside(outlets=(stream,), flow=flow), DITCH, 1.5, LIMITS)
    strips = draw(hillside(floor_pct=3.0), STRIPS, 1.5, LIMITS)
    refused = draw(hillside(outlets=()), DITCH, 1.5, LIMITS)
    told = line_tables({"B-S01": {"hillside_ditch": dug}, "A-S01": {
        "grass_strips": strips, "hillside_ditch": refused,
    }}, {"top", "middle"})  # fmt: skip
    assert len(told.lines) == len(dug.lines) + len(strips.lines)
    assert told.lines["work_site"].is_monotonic_increasing
    assert told.refused.to_dict("records") == [
        {
            "work_site": "A-S01",
            "structure": "hillside_ditch",
            "structure_reason": "no_outlet",
        }
    ]
    waterway = told.waterways.iloc[0]
    assert waterway["waterway_outlet"] == "stream 4"
    assert waterway["waterway_length_m"] == pytest.approx(88, abs=0.1)
    on_ground = told.lines[told.lines["structure_state"] == "on the ground"]
    assert on_ground["structure_length_m"].isna().all()
    drawn = told.lines[told.lines["structure"] == "hillside_ditch"]
    share = drawn["structure_fall_m"] / drawn["structure_length_m"]
    assert share.to_numpy() == pytest.approx(0.01, rel=1e-3)
    assert pd.notna(drawn["structure_outlet"]).all()
    # Into a waterway to build: all that it crosses must take part, and the low plot doesn't.
    assert all(set(needs) >= set(dug.waterway_plots) for needs in drawn["structure_needs"])
    assert (drawn["structure_safe"] == 0).all()
    assert (on_ground["structure_safe"] == 1).all()
    assert line_tables({"B-S01": {"hillside_ditch": dug}}).lines["structure_safe"].isna().all()


def test_nothing_drawn_gives_empty_tables():
    assert [len(table) for table in line_tables({})] == [0, 0, 0]
