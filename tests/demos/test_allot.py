"""The choice as tables: every plot accounted for, conditions kept, conflicts named."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan.handbook import packaged
from tests.demos.district import ROWS, STRIPS, asked, chosen_of
from tests.support import renumbered

SHOWN = {"plot_id": ["P01"], "message": ["strips"], "seasons_ago": [1], "seasons_shown": [1]}


def test_the_middle_plot_reaches_most():
    found = chosen_of(asked(), 5)
    row = found.chosen.iloc[0]
    # P01, P02 and P03 reach three farmers each: the earlier id counts.
    assert (row["plot_id"], row["demo_reaches"], row["demo_reaches_alone"]) == ("P01", 3, 3)
    assert (row["demo_runner_up"], row["demo_runner_up_loss"]) == ("P02", 0)
    assert (found.farmers, found.farmers_reached, found.farmers_near) == (5, 3, 5)
    assert found.cover.gap == 0
    assert found.reached.tolist() == [1, 1, 1, 0, 0]


def test_every_plot_is_accounted_for():
    steep = [6.0, 6.0, 40.0, 6.0, 6.0]
    plan = asked(messages=[{**ROWS, "slope_max_pct": 12.0}])
    found = chosen_of(plan, 5, slope_used_pct=steep)
    told = found.plots.set_index("plot_id")
    assert told["demo_reasons"]["P02"] == ("too steep",)
    assert told["demo_shows"].notna().sum() == len(found.chosen) == 1
    others = told[told["demo_shows"].isna() & (told["demo_standing"] == "candidate")]
    assert len(others) == 3
    assert others["demo_adds"].notna().all()
    assert (others["demo_stopped"] == ("count",)).all()
    assert found.reasons[["demo_reason", "demo_kept_out"]].to_numpy().tolist() == [["too steep", 1]]


def test_what_another_plot_would_lose_is_the_difference_of_both_choices():
    found = chosen_of(asked(), 5)
    told = found.plots.set_index("plot_id")
    assert told.loc["P00", ["demo_instead_of", "demo_loss", "demo_adds"]].tolist() == ["P01", 1, 0]
    assert told.loc["P04", ["demo_instead_of", "demo_loss", "demo_adds"]].tolist() == ["P01", 1, 2]


def test_steep_villages_see_barriers():
    slope = [20.0] * 4 + [4.0] * 4
    villages = ["Steep"] * 4 + ["Flat"] * 4
    plan = asked(plots=4, messages=[ROWS, STRIPS], village_min=2)
    found = chosen_of(plan, 8, village=villages, slope_used_pct=slope)
    shows = found.chosen.groupby("village")["demo_message"].apply(list)
    assert (sorted(shows["Flat"]), sorted(shows["Steep"])) == (["rows"] * 2, ["rows", "strips"])
    assert found.villages["demo_steep"].tolist() == [0, 1]
    # Where the limit lies higher, the message that the plan names first is shown everywhere.
    plan = asked(plots=4, messages=[ROWS, STRIPS], village_min=2, steep_village_pct=30.0)
    found = chosen_of(plan, 8, village=villages, slope_used_pct=slope)
    assert set(found.chosen["demo_message"]) == {"rows"}


def test_a_conservation_demo_is_kept_whatever_it_adds():
    found = chosen_of(asked(messages=[ROWS, STRIPS]), 6, {"shown": pd.DataFrame(SHOWN)})
    row = found.chosen.iloc[0]
    assert (row["plot_id"], row["demo_message"], row["demo_why"]) == ("P01", "strips", "kept")


def test_land_that_is_closed_counts_in_no_class_of_slope():
    plan = asked(plots=2, slope_limits_pct=[10.0], class_tolerance_share=0.1)
    slopes = [6.0] * 4 + [20.0] * 4
    half = chosen_of(plan, 8, slope_used_pct=slopes).chosen["plot_id"]
    assert sorted(half > "P03") == [False, True]
    closed = ["enrolled"] * 4 + ["closed"] * 4
    gentle = chosen_of(plan, 8, slope_used_pct=slopes, order_line=closed).chosen["plot_id"]
    assert set(gentle) <= {"P00", "P01", "P02", "P03"}
    assert len(gentle) == 2


def test_kits_are_spent_by_message():
    dear = {**ROWS, "kits": 3.0}
    found = chosen_of(asked(plots=None, kits=5.0, messages=[dear]), 9)
    assert len(found.chosen) == 1
    found = chosen_of(asked(plots=None, kits=6.0, messages=[dear]), 9)
    assert (len(found.chosen), found.farmers_reached) == (2, 6)
    assert found.curve["demo_number"].tolist()[-3:] == [6, 9, 12]
    assert found.curve["demo_reached"].tolist()[-3:] == [6, 9, 9]


def test_the_curve_argues_for_two_plots_more():
    found = chosen_of(asked(plots=2), 12)
    assert found.curve["demo_number"].tolist() == [1, 2, 3, 4]
    assert found.curve["demo_reached"].tolist() == [3, 6, 9, 12]
    assert found.curve["demo_gain"].tolist()[1:] == [3, 3, 3]


def test_the_curve_never_promises_more_than_its_bound():
    # All live at the middle plot, beside which no other may be: two plots reach nobody.
    homes = pd.DataFrame(
        {
            "farmer_id": ["F00", "F01", "F02"], "x_m": 100.0, "y_m": 0.0, "sex": "",
            "youth": None, "reached": None,
        }
    )  # fmt: skip
    found = chosen_of(asked(apart_m=150.0, reach_m=50.0), 3, {"homesteads": homes})
    assert found.curve["demo_reached"].tolist()[:2] == [3, 0]
    assert found.curve["demo_bound"].tolist()[:2] == [3, 0]


def test_what_keeps_a_plot_out_is_told_of_the_message_that_it_is_nearest_to():
    enrolled = pd.DataFrame({"plot_id": ["P00"], "enrolled": [False], "consent": [True]})
    messages = [{**ROWS, "slope_max_pct": 3.0}, {**STRIPS, "slope_min_pct": 12.0}]
    plan = asked(consent="needed", messages=messages, area_min_ha=0.1)
    found = chosen_of(plan, 1, {"enrolled": enrolled})
    # To enrol alone would not do: it is also too steep for one message and too flat for the other.
    assert found.plots["demo_reasons"].tolist() == [("not enrolled", "too steep")]


def test_rows_up_and_down_need_a_slope_that_somebody_knows():
    found = chosen_of(asked(), 1, row_method="measure on the ground", slope_used_pct=3.0)
    assert found.chosen[["demo_provisional", "demo_up_down"]].to_numpy().tolist() == [[1, 0]]
    found = chosen_of(asked(), 1, slope_used_pct=3.0)
    assert found.chosen[["demo_provisional", "demo_up_down"]].to_numpy().tolist() == [[0, 1]]


def test_who_could_be_reached_counts_what_was_thinned_out_too():
    assert chosen_of(asked(candidates_max=1), 9).farmers_near == 9


def test_weights_count_only_where_somebody_has_the_answer():
    plan = asked(weight_women=2.5)
    assert not chosen_of(plan, 3).weighed
    answers = pd.DataFrame(
        {
            "plot_id": ["P00"], "tenure": None, "seasons_since_beans": None, "sex": ["female"],
            "youth": None, "reached": None,
        }
    )  # fmt: skip
    assert chosen_of(plan, 3, {"answers": answers}).weighed


def test_candidates_are_thinned_only_on_request_and_told():
    assert chosen_of(asked(), 9).thinned == 0
    found = chosen_of(asked(candidates_max=3, forced_in=["P08"]), 9)
    assert found.thinned == 6
    out = found.plots[found.plots["demo_reasons"] == ("thinned out",)]
    assert len(out) == 6
    assert found.chosen["plot_id"].tolist() == ["P08"]


def test_provisional_plots_are_chosen_like_others():
    found = chosen_of(asked(), 3, row_method=["straight", "measure on the ground", "straight"])
    assert found.chosen[["plot_id", "demo_provisional"]].to_numpy().tolist() == [["P01", 1]]


def test_chosen_plots_stand_beside_those_of_all_farmers():
    answers = pd.DataFrame(
        {
            "plot_id": ["P00", "P01", "P02"], "tenure": None, "seasons_since_beans": None,
            "sex": ["male", "female", "male"], "youth": None, "reached": None,
        }
    )  # fmt: skip
    found = chosen_of(asked(), 3, {"answers": answers}, area_ha=[0.1, 0.5, 0.3])
    assert found.compared.to_numpy().tolist() == [
        ["area", 0.5, 0.3],
        ["slope", 6, 6],
        ["women", 100, pytest.approx(100 / 3)],
    ]


CONTRADICTIONS = {
    "more than there are": ({"plots": 7}, {("count", None)}),
    "a village without a candidate": (
        {"plots": 2, "village_min": 1, "messages": [{**ROWS, "slope_max_pct": 10.0}]},
        {("village least", "Steep")},
    ),
    "more villages than plots": (
        {"plots": 1, "village_min": 1},
        {("count", None), ("village least", "Flat"), ("village least", "Steep")},
    ),
    "forced in, and no candidate": (
        {"forced_in": ["P05"], "messages": [{**ROWS, "slope_max_pct": 10.0}]}, {("in", "P05")},
    ),
    "forced in too near": (
        {"plots": 2, "forced_in": ["P00", "P01"], "apart_m": 150.0},
        {("in", "P00"), ("in", "P01"), ("apart", None)},
    ),
    "kits for fewer than are forced in": (
        {"plots": None, "kits": 1.0, "forced_in": ["P00", "P03"]},
        {("budget", None), ("in", "P00"), ("in", "P03")},
    ),
    "barriers that no plot can show": (
        {"plots": 2, "messages": [ROWS, {**STRIPS, "slope_max_pct": 3.0}], "village_min": 1},
        {("message first", "Steep"), ("village least", "Steep")},
    ),
    "a message that too few can show": (
        {"plots": 4, "messages": [ROWS, {**STRIPS, "slope_min_pct": 10.0, "plots_min": 4}]},
        {("message", "strips")},
    ),
    "steep land in proportion, none in the village of it": (
        {"plots": 3, "slope_limits_pct": [10.0], "class_tolerance_share": 0.1, "village_max": 3,
         "forced_out": ["P03", "P04", "P05"]},
        {("count", None), ("class", "0–10 %"), ("out", "P03"), ("out", "P04"), ("out", "P05")},
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CONTRADICTIONS)
def test_conditions_that_conflict_are_named(name):
    demos, expected = CONTRADICTIONS[name]
    villages, slope = ["Flat"] * 3 + ["Steep"] * 3, [4.0] * 3 + [20.0] * 3
    found = chosen_of(asked(**demos), 6, village=villages, slope_used_pct=slope)
    assert found.cover is None
    assert found.chosen.empty
    table = found.conflicts
    about = (
        table["demo_condition_of"].astype(object).where(table["demo_condition_of"].notna(), None)
    )
    assert set(zip(table["demo_condition"], about, strict=True)) == expected
    assert (table["demo_proved"] == 1).all()
    # What gives way lets a choice be made.
    assert (table["demo_enough"].notna() == table["demo_eased_reached"].notna()).all()


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_the_same_plan_gives_the_same_choice(seed):
    rng = np.random.default_rng(seed)
    known = {
        "village": rng.choice(["A", "B"], 8), "slope_used_pct": rng.uniform(0, 30, 8),
        "area_ha": rng.uniform(0.1, 1, 8),
    }  # fmt: skip
    plan = asked(plots=int(rng.integers(1, 4)), messages=[ROWS, STRIPS], apart_m=100.0)
    one, other = (chosen_of(plan, 8, **known) for _ in range(2))
    for name in ("chosen", "plots", "villages", "curve"):
        pd.testing.assert_frame_equal(getattr(one, name), getattr(other, name))


@pytest.mark.parametrize("name", packaged().rows("demo_choices")["name"])
def test_every_number_of_demo_choices_changes_something(name, monkeypatch):
    def outcome(book) -> str:
        monkeypatch.setattr("districtplan.plan.packaged", lambda: book)
        told = [book.number("demo_choices", one) for one in ("next_plots", "homestead_far_deg")]
        return asked().under(book).demos.model_dump_json() + str(told)

    usual = outcome(packaged())
    assert (
        outcome(renumbered("demo_choices", name, packaged().number("demo_choices", name) * 2))
        != usual
    )


def test_without_a_single_candidate_that_is_told():
    found = chosen_of(asked(area_min_ha=1.0), 3)
    assert found.cover is None
    assert found.conflicts["demo_condition"].tolist() == ["count"]
    assert found.farmers_near == 0
    assert (found.plots["demo_reasons"] == ("too small",)).all()
    assert set(found.villages["demo_village_why"]) == {"no candidate"}
