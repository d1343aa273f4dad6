"""Order of work, days owed, and what is safe if only some take part."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely

from districtplan.conservation import Drawn, Outlet, days_owed, draw, order_of_work, safe_if
from tests.conservation.hillsides import BUND, DITCH, DRAIN, LIMITS, STRIPS, hillside

SITES = pd.DataFrame(
    {
        "plot_id": ["low", "middle", "top"],
        "work_site": "Hill-S01",
        "site_place": [3, 2, 1],
        "site_plots": 3,
        "site_villages": [("Hill", "Valley")] * 3,
        "site_neighbours": [("P9",)] * 3,
    }
)


def with_waterway():
    stream = Outlet("stream 4", shapely.LineString([(-20, -8), (90, -8)]))
    flow = (shapely.LineString([(30, 100), (30, -20)]),)
    return draw(hillside(outlets=(stream,), flow=flow), DITCH, 1.5, LIMITS)


def test_water_is_provided_for_before_it_is_sent():
    drain = draw(hillside(), DRAIN, 1.5, LIMITS)
    works = {"hillside_ditch": with_waterway(), "cut_off_drain": drain}
    steps = order_of_work(
        SITES, {"Hill-S01": works}, {"cut_off_drain"}, {("Hill-S01", "hillside_ditch"): 12.0}
    )
    assert steps["work"].tolist() == ["outlet", "waterway", "cut_off_drain", "structures", "rows"]
    assert steps["work_season"].tolist() == ["the season before"] * 2 + ["this season"] * 3
    assert steps["work_step"].tolist() == [1, 2, 3, 4, 5]
    assert steps["work_plots"].tolist() == [("top", "middle", "low")] * 5
    assert steps["work_agreed_by"].tolist() == [("Hill", "Valley", "P9")] * 4 + [()]
    assert steps["work_structure"].tolist()[1:4] == [
        "grassed_waterway", "cut_off_drain", "hillside_ditch",
    ]  # fmt: skip
    assert steps["work_outlet"].tolist()[:2] == ["stream 4; waterway 1", "stream 4"]
    days = [np.nan] * 3 + [12, np.nan]
    assert steps["work_person_days"].tolist() == pytest.approx(days, nan_ok=True)


def test_level_lines_need_no_outlet_and_rows_come_last():
    strips = draw(hillside(), STRIPS, 1.5, LIMITS)
    steps = order_of_work(SITES, {"Hill-S01": {"grass_strips": strips}}, ())
    assert steps["work"].tolist() == ["structures", "rows"]
    assert steps["work_agreed_by"].tolist() == [(), ()]


def test_without_a_safe_outlet_one_is_found_first_and_nothing_carries_water():
    refused = draw(hillside(outlets=()), DITCH, 1.5, LIMITS)
    steps = order_of_work(SITES, {"Hill-S01": {"hillside_ditch": refused}}, ())
    assert steps["work"].tolist() == ["find_outlet", "rows"]
    assert steps["work_season"][0] == "the season before"


def test_common_days_are_shared_by_area_and_unknown_ones_stay_unknown():
    own, area = np.array([4.0, np.nan, 2.0]), np.array([0.1, 0.1, 0.2])
    owed = days_owed(SITES, own, area, {"Hill-S01": 20.0})["days_owed"]
    assert owed.tolist() == pytest.approx([9.0, np.nan, 12.0], nan_ok=True)
    assert days_owed(SITES, own, area, {})["days_owed"][0] == 4.0
    assert days_owed(SITES, own, area, {"Hill-S01": np.nan})["days_owed"].isna().all()
    # One plot without a share: the two others do its part.
    some = days_owed(SITES, np.zeros(3), area * [1, 0, 1], {"Hill-S01": np.nan})["days_owed"]
    assert some.tolist() == pytest.approx([np.nan, 0.0, np.nan], nan_ok=True)
    none = days_owed(SITES, np.zeros(3), np.zeros(3), {"Hill-S01": 20.0})["days_owed"]
    assert none.tolist() == [0.0] * 3


def test_level_lines_are_safe_whoever_takes_part():
    bunds = draw(hillside(), BUND, 1.5, LIMITS)
    assert bunds.lines
    for taking_part in ({"middle"}, set()):
        assert safe_if(bunds, taking_part) == (bunds.lines, ())


def test_a_graded_line_is_safe_if_all_it_crosses_take_part():
    plots = shapely.box([0, 30, 60], 0, [30, 60, 90], 80)
    ditches = draw(hillside(plots=plots), DITCH, 4.0, LIMITS)
    assert {line.plot_ids for line in ditches.lines} == {("top", "middle", "low")}
    assert safe_if(ditches, {"top", "middle", "low"}) == (ditches.lines, ())
    # Who is nearest to the outlet stays away: the rest would end above their land.
    assert safe_if(ditches, {"middle", "low"}) == ((), ditches.lines)


def test_lines_into_a_waterway_need_all_that_the_waterway_crosses():
    drawn = with_waterway()
    assert safe_if(drawn, {"top", "middle"})[0] == ()
    assert safe_if(drawn, {"top", "middle", "low"})[1] == ()


def test_rows_have_ridges_where_they_are_chosen_alone():
    planted = {"Hill-S01": {"contour_ridges": ("low", "top")}}
    days = {("Hill-S01", "contour_ridges"): 3.0}
    steps = order_of_work(SITES, {"Hill-S01": {}}, (), days, planted)
    assert steps["work"].tolist() == ["rows", "rows"]
    assert steps["work_structure"].fillna("").tolist() == ["contour_ridges", ""]
    assert steps["work_plots"].tolist() == [("top", "low"), ("middle",)]
    assert steps["work_person_days"].tolist() == pytest.approx([3.0, np.nan], nan_ok=True)


def test_where_no_drain_spans_the_head_a_technician_lays_it_out():
    refused = Drawn((), None, (), "head_not_spanned")
    strips = draw(hillside(), STRIPS, 1.5, LIMITS)
    steps = order_of_work(
        SITES, {"Hill-S01": {"cut_off_drain": refused, "grass_strips": strips}}, {"cut_off_drain"}
    )
    assert steps["work"].tolist() == ["lay_out", "structures", "rows"]
    assert steps["work_structure"][0] == "cut_off_drain"
    assert steps["work_season"][0] == "the season before"
