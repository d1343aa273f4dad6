"""Which plots get a sheet."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from districtplan import erosion
from districtplan.outputs import wording
from districtplan.outputs.sheets.choice import FLAGGED, chosen, doubts
from districtplan.tables import CIRCLE
from tests.conftest import plan_of

PLOTS = pd.DataFrame(
    {
        "plot_id": ["a", "b", "c", "d", "e", "f"],
        "row_method": [
            *["straight"] * 2,
            "measure on the ground",
            "guide lines",
            *["straight"] * 2,
        ],
        "outline_repair": [None, "a spike was cut off", None, None, None, None],
        "erosion_flags": [
            (),
            ("no_soil_values", "rows_alone_not_enough"),
            (),
            ("no_soil_values",),
            (),
            (),
        ],
        "water_flags": [(), (), (), (), ("crossed_by_flow",), ()],
        "outlet_flags": [(), (), (), (), (), ("no_safe_outlet",)],
    }
)


def ids(**sheets) -> list[str]:
    return PLOTS["plot_id"].iloc[chosen(PLOTS, plan_of(sheets=sheets))].tolist()


@pytest.mark.parametrize(
    ("sheets", "got"),
    [
        ({}, ["b", "c", "e", "f"]),
        ({"plots": "flagged"}, ["b", "c", "e", "f"]),
        ({"plots": "all"}, ["a", "b", "c", "d", "e", "f"]),
        ({"plots": "none"}, []),
        ({"plot_ids": ["d", "a", "a"]}, ["a", "d"]),
        ({"plots": "none", "plot_ids": ["d"]}, ["d"]),
        ({"plots": "all", "sheets_max": 5}, []),
        ({"plots": "all", "sheets_max": 6}, ["a", "b", "c", "d", "e", "f"]),
    ],
)
def test_the_policy_names_the_plots(sheets, got):
    assert ids(**sheets) == got


def test_flags_that_choose_are_flags():
    assert set(FLAGGED) <= set(erosion.FLAGS)


def test_nothing_is_dropped_without_a_word():
    assert doubts(PLOTS, plan_of()) == []
    (many,) = doubts(PLOTS, plan_of(sheets={"plots": "all", "sheets_max": 3}))
    assert "6 plots" in many
    assert "sheets_max = 3" in many
    strangers = [f"x{number}" for number in range(7)]
    (missing,) = doubts(PLOTS, plan_of(sheets={"plot_ids": ["a", *strangers]}))
    assert "'x0'" in missing
    assert "and 2 more" in missing
    assert "'a'" not in missing


def test_positions_are_whole_numbers():
    assert chosen(PLOTS, plan_of(sheets={"plots": "none"})).dtype == np.int64


def test_names_that_the_font_lacks_are_told_before_anyone_prints():
    plain = PLOTS.head(4).assign(village=["Đồi Mới", "قرية", "כפר", "Ωλ"])
    asked = plan_of(sheets={"plots": "all"})
    assert doubts(plain, asked) == []
    (said,) = doubts(plain.assign(village=["ሰላም", "বাংলা", "ភូមិ", "a"]), asked)
    assert said.startswith("3 names ")
    assert "row of the plots file" in said
    # Names that stand on no sheet are no matter.
    assert doubts(plain.assign(village=["ሰላም", "a", "a", "a"]), plan_of()) == []


def test_a_circle_that_stands_for_a_plot_gets_no_sheet_and_says_so(small_results, texts):
    plan = plan_of(sheets={"plots": "all"})
    plots = small_results.plots.assign(outline_repair=None)
    plots.loc[2, "outline_repair"] = f"typed with a comma, {CIRCLE}"
    assert chosen(plots, plan).tolist() == [n for n in range(len(plots)) if n != 2]
    said = [wording.flag_sentences(row, plan, texts) for row in plots.to_dict("records")]
    assert [place for place, told in enumerate(said) if "circle" in " ".join(told)] == [2]
