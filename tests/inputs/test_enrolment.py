"""Who takes part: rows used and set aside, four lines, the cap on a kit."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely

from districtplan.inputs.enrolment import BELTS, ENROLMENT, LINES, accept_enrolment, taking_part
from districtplan.inputs.no_go import Buffers, buffers, in_buffers
from tests.conftest import plan_of

PLOTS = pd.DataFrame(
    {
        "plot_id": [f"P{place}" for place in range(6)],
        "village": ["Hill"] * 3 + ["Vale"] * 3,
        "area_ha": [0.4, 0.2, 0.1, 0.5, 0.5, 0.5],
        "slope_used_pct": [5.0, 5.0, 5.0, 5.0, 70.0, 5.0],
    }
)


def file(*rows: dict) -> pd.DataFrame:
    usual = {**dict.fromkeys(ENROLMENT, ""), "enrolled": "yes", "consent": "yes"}
    return pd.DataFrame(
        [
            {"source_row": place + 1, **usual, **row, "reason": None, "remedy": None}
            for place, row in enumerate(rows)
        ]
    )


def accepted(*rows: dict):
    return accept_enrolment(file(*rows), PLOTS)


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ({"plot_id": "Q"}, "no plot that is used"),
        ({"enrolled": "maybe"}, "enrolled = 'maybe' isn't yes or no"),
        ({"enrolled": ""}, "enrolled = '' isn't yes or no"),
        ({"consent": "si"}, "consent = 'si' isn't yes or no"),
        ({"bean_share": "1.5"}, "more land"),
        ({"bean_area_ha": "0.41"}, "more land"),
        ({"bean_area_ha": "-1"}, "bean_area_ha = '-1' isn't a number"),
        ({"bean_share": "=1+1"}, "bean_share = '=1+1' isn't a number"),
        ({"bean_share": "\u0661"}, "isn't a number"),
        ({"bean_share": "0.5", "bean_area_ha": "0.1"}, "both bean_area_ha and bean_share"),
    ],
)
def test_what_cannot_be_used_is_set_aside(row, told):
    found = accepted({"plot_id": "P0", **row}, {"plot_id": "P1"})
    assert found.used["plot_id"].tolist() == ["P1"]
    (reason,) = found.set_aside["reason"]
    assert told in reason
    assert found.set_aside["source_row"].tolist() == [1]
    assert found.set_aside["remedy"].str.len().min() > 5


def test_a_plot_in_two_rows_is_set_aside_with_both():
    found = accepted({"plot_id": "P0"}, {"plot_id": "P0"}, {"plot_id": "P1"})
    assert found.set_aside["source_row"].tolist() == [1, 2]
    assert len(found.used) + len(found.set_aside) == found.rows_read == 3


def test_four_lines():
    used = accepted(
        {"plot_id": "P0"},
        {"plot_id": "P1", "consent": "no"},
        {"plot_id": "P2", "demo": "YES"},
        {"plot_id": "P3", "closed": "yes"},
        {"plot_id": "P4"},
    ).used
    found = taking_part(PLOTS, used, plan_of()).set_index("plot_id")["order_line"]
    assert found.to_dict() == {
        "P0": "enrolled", "P1": "registered", "P2": "demo", "P3": "closed", "P4": "too steep",
        "P5": "registered",
    }  # fmt: skip
    assert set(found) == set(LINES) - set(BELTS)


def test_without_a_file_all_are_registered():
    found = taking_part(PLOTS, None, plan_of())
    assert found["order_line"].tolist() == ["registered"] * 4 + ["too steep", "registered"]
    # Nothing is planted on land too steep; it has a column of its own.
    steep = found["order_line"] == "too steep"
    assert found["bean_area_ha"].tolist() == PLOTS["area_ha"].where(~steep, 0).tolist()
    assert found["too_steep_ha"].tolist() == PLOTS["area_ha"].where(steep, 0).tolist()
    assert found["farmer_id"].tolist() == PLOTS["plot_id"].tolist()


def test_a_file_without_a_usable_row_enrols_nobody():
    used = accepted({"plot_id": "Q"}).used
    assert "enrolled" not in set(taking_part(PLOTS, used, plan_of())["order_line"])


def test_land_under_the_crop():
    used = accepted(
        {"plot_id": "P0", "bean_area_ha": "0.1"}, {"plot_id": "P1", "bean_share": "0.25"}
    ).used
    found = taking_part(PLOTS, used, plan_of())
    assert found["bean_area_ha"].tolist()[:3] == pytest.approx([0.1, 0.05, 0.1])
    assert found["bean_share"].tolist()[:3] == pytest.approx([0.25, 0.25, 1.0])


def test_a_cap_holds_for_a_farmer_not_for_a_plot():
    rows = [{"plot_id": f"P{place}", "farmer_id": "F"} for place in (0, 1)]
    plan = plan_of(enrolment={"kit_max_ha": 0.3})
    found = taking_part(PLOTS, accepted(*rows, {"plot_id": "P2"}).used, plan)
    assert found["bean_area_ha"].tolist()[:3] == pytest.approx([0.2, 0.1, 0.1])
    # Those who aren't enrolled get no kit, so no cap.
    assert found["bean_area_ha"].tolist()[3] == 0.5


def test_land_in_belts_is_on_lines_of_its_own():
    outlines = np.array([shapely.box(x, 0, x + 50, 50) for x in range(0, 600, 100)], dtype=object)
    river = shapely.box(-5, 0, 15, 50)
    forest = shapely.box(5, 0, 30, 50)
    belts = Buffers(np.array([river]), np.array([forest, shapely.box(90, -9, 160, 60)]))
    share = in_buffers(outlines, belts)
    assert share[0].tolist() == pytest.approx([0.3, 0, 0, 0, 0, 0])
    assert share[1].tolist() == pytest.approx([0.3, 1, 0, 0, 0, 0])
    found = taking_part(
        PLOTS, accepted({"plot_id": "P0"}, {"plot_id": "P1"}).used, plan_of(), share
    )
    assert found["order_line"].tolist()[:3] == ["enrolled", "forest buffer", "registered"]
    area = PLOTS["area_ha"]
    assert found["bean_area_ha"].tolist()[:3] == pytest.approx([0.4 * area[0], 0, area[2]])
    assert found["river_buffer_ha"][0] == pytest.approx(0.3 * area[0])
    assert found["forest_buffer_ha"].tolist()[:2] == pytest.approx([0.3 * area[0], area[1]])


def test_land_is_under_the_crop_outside_belts_first():
    used = accepted({"plot_id": "P0", "bean_share": "0.3"}).used
    none = np.zeros(len(PLOTS))
    found = taking_part(PLOTS, used, plan_of(), (none + 0.4, none))
    assert found["bean_share"][0] == pytest.approx(0.5)
    assert found["bean_area_ha"][0] == pytest.approx(0.3 * PLOTS["area_ha"][0])
    steep = found["order_line"] == "too steep"
    assert (found.loc[steep, "river_buffer_ha"] == 0).all()
    assert found.loc[steep, "bean_area_ha"].tolist() == [0]
    assert found.loc[steep, "too_steep_ha"].tolist() == PLOTS.loc[steep, "area_ha"].tolist()


def test_belts_are_as_wide_as_the_plan_says():
    kinds = np.array(["stream", "forest", "house", "spring"], dtype=object)
    areas = np.array([shapely.box(0, 0, 100, 2)] * 4, dtype=object)
    plan = plan_of(enrolment={"river_buffer_m": 10, "forest_buffer_m": 4})
    belts = buffers(kinds, areas, plan)
    assert [shapely.bounds(one).tolist() for one in belts.river] == [[-10, -10, 110, 12]] * 2
    assert [shapely.bounds(one).tolist() for one in belts.forest] == [[-4, -4, 104, 6]]


def test_uptakes_must_rise():
    with pytest.raises(ValueError, match="must rise"):
        plan_of(enrolment={"uptake_low_share": 0.9})
