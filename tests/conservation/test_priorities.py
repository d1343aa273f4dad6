"""Where to go first: budgets, shares of villages, places held for plots without tonnes."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from districtplan import conservation, erosion, tables
from districtplan.conservation.priorities import (
    AWAY,
    CLOSED,
    HELD,
    SAVES_MOST,
    Learned,
    _pooled,
    choose,
    order_without_tonnes,
    trimmed,
)
from districtplan.conservation.vetoes import respect
from districtplan.errors import PlanError
from districtplan.handbook import packaged
from tests.conservation.cases import (
    DAYS,
    options_of,
    plan_with,
    plots_of,
    standing_on,
    with_labour,
)

BOOK = with_labour()
SLOPES = [6, 9, 14, 18, 22, 26, 32, 38, 45, 55]
GAIN = "soil_saved_counted_t_yr"


def chosen_for(plan, slopes=SLOPES, book=BOOK, length_m=40.0, barred=None, **columns):
    plots = plots_of(slopes, length_m, plan, book, **columns)
    return choose(options_of(plots, plan, book), plots, plan, book, barred), plots


def test_a_budget_is_kept_and_the_choice_proved_best():
    found, _ = chosen_for(plan_with(budget=30.0))
    table = found.chosen
    made = ["plot_id", "village", "measure", *tables.made_by("choice"), GAIN, "measure_plants"]
    assert table.columns.tolist() == made
    assert table["budget_used"].sum() == pytest.approx(found.spent)
    assert found.spent <= 30 * (1 + 1e-9)
    assert found.gap == pytest.approx(0, abs=1e-9)
    assert found.saved_t_yr >= found.greedy_t_yr
    assert table["plot_id"].is_unique
    assert table["measure_order"].tolist() == list(range(1, len(table) + 1))


def test_more_budget_never_saves_less():
    saved = [
        chosen_for(plan_with(budget=budget, reserved_share=0.0))[0].saved_t_yr
        for budget in (5.0, 20.0, 60.0, 1e6)
    ]
    assert saved == sorted(saved)


def test_least_labour_is_refused_while_labour_is_missing():
    plan = plan_with(goal="least labour")
    with pytest.raises(PlanError, match=r"grass_strips, .*stone_lines") as caught:
        chosen_for(plan, book=packaged())
    assert "measure_costs.csv" in str(caught.value)
    some = with_labour({name: days for name, days in DAYS.items() if name != "stone_lines"})
    with pytest.raises(PlanError, match=r"labour isn't known for stone_lines\."):
        chosen_for(plan, book=some)


def test_least_labour_takes_what_saves_enough_for_the_fewest_days():
    found, _ = chosen_for(plan_with(goal="least labour"), slopes=[14.0])
    # A hillside ditch, 60 % left, doesn't save half.
    assert found.chosen["measure"].tolist() == ["grass_strips"]
    lax, _ = chosen_for(plan_with(goal="least labour", saved_share_min=0.1), slopes=[10.0])
    assert lax.chosen["measure"].tolist() == ["trash_lines"]


def test_a_budget_without_any_labour_is_refused_and_with_some_it_is_told():
    with pytest.raises(PlanError, match="is given, but labour"):
        chosen_for(plan_with(budget=30.0), book=packaged())
    some = with_labour({"grass_strips": 6.0})
    found, _ = chosen_for(plan_with(budget=30.0), book=some)
    assert set(found.chosen["measure"]) == {"grass_strips"}
    assert "stone_lines" in found.not_costed


def test_a_budget_of_money():
    plan = plan_with(budget=90.0, budget_unit="money", day_cost=3.0)
    money, _ = chosen_for(plan)
    days, _ = chosen_for(plan_with(budget=30.0))
    assert money.chosen["plot_id"].tolist() == days.chosen["plot_id"].tolist()
    assert money.spent == pytest.approx(3 * days.spent)
    with pytest.raises(ValueError, match="day_cost"):
        plan_with(budget=90.0, budget_unit="money")


def test_without_a_budget_each_plot_has_its_best():
    found, plots = chosen_for(plan_with(), book=packaged())
    assert len(found.chosen) == len(plots)
    assert np.isnan(found.saved_t_yr)
    assert found.chosen["budget_used"].isna().all()
    assert found.curve.empty


def test_a_steep_plot_is_not_last_for_lack_of_a_number():
    plan = plan_with(budget=40.0, reserved_share=0.5)
    found, _ = chosen_for(plan, slopes=[14] * 9 + [36.0])
    held = found.chosen[found.chosen["chosen_by"] == HELD]
    assert held["plot_id"].tolist() == ["P9"]
    assert found.held_spent == pytest.approx(18)
    none, _ = chosen_for(plan_with(budget=40.0, reserved_share=0.0), slopes=[14] * 9 + [36.0])
    assert set(none.chosen["chosen_by"]) == {SAVES_MOST}
    no_length, _ = chosen_for(plan, slopes=[14] * 9 + [36.0], length_m=[40.0] * 9 + [np.nan])
    assert "P9" in set(no_length.chosen["plot_id"])


@pytest.mark.parametrize(
    "asked",
    [
        {},
        {"budget": 200.0},
        {"budget": 200.0, "goal": "least labour"},
        {"budget": 200.0, "choose_by": "work site"},
    ],
)
def test_a_cover_that_is_not_known_keeps_no_steep_plot_from_permanent_cover(asked):
    plan = plan_with(**asked)
    plots = plots_of([55.0, 36.0], 40.0, plan, BOOK, work_site=["A", "B"], c=np.nan)
    found = choose(options_of(plots, plan, BOOK), plots, plan, BOOK)
    chosen = dict(zip(found.chosen["plot_id"], found.chosen["measure"], strict=True))
    # What is known to hold soil back goes first.
    assert chosen["P0"] == "permanent_cover"
    assert chosen["P1"] != "permanent_cover"


def test_what_the_held_share_leaves_goes_to_all():
    gentle = {"slopes": [14, 16, 18, 20]}
    held, _ = chosen_for(plan_with(budget=10.0, reserved_share=0.9), **gentle)
    free, _ = chosen_for(plan_with(budget=10.0, reserved_share=0.0), **gentle)
    assert held.saved_t_yr == free.saved_t_yr


def test_order_without_tonnes_counts_class_area_run_on_and_what_lies_below():
    plots = plots_of([36.0] * 4 + [65.0, 10.0])
    plots["lies_below"] = [None, None, None, "house", None, "house"]
    plots["run_on_area_ha"] = [0, 2.0, 0, 0, 0, 9]
    plots["area_ha"] = [0.3, 0.3, 0.6, 0.3, 0.3, 9]
    order = order_without_tonnes(plots).tolist()
    assert set(order) == {0, 1, 2, 3, 4}
    # Equal plots are in the order of their ids, so each of the four puts one before the first.
    assert order[-1] == 0


def test_a_fair_share_moves_work_to_villages():
    villages = ["Steep"] * 8 + ["Gentle"] * 2
    slopes = [26.0] * 8 + [6.0] * 2
    at = {"slopes": slopes, "village": villages, "book": with_labour({"grass_strips": 6.0})}
    without, _ = chosen_for(plan_with(budget=48.0), **at)
    assert set(without.chosen["village"]) == {"Steep"}
    fair, _ = chosen_for(plan_with(budget=48.0, village_share=1.0), **at)
    assert set(fair.chosen["village"]) == {"Steep", "Gentle"}
    assert fair.saved_t_yr <= without.saved_t_yr


def test_a_village_has_its_share_of_what_places_held_leave():
    """Plots beyond the equations take what is held; a third of the land is the village's."""
    at = {
        "slopes": [36.0] * 6 + [26.0] * 6 + [6.0] * 6,
        "village": ["Steep"] * 12 + ["Gentle"] * 6,
        "book": with_labour({"grass_strips": 6.0}),
    }
    for budget in (100.0, 150.0):
        plan = plan_with(budget=budget, village_share=1.0, reserved_share=0.5)
        found, _ = chosen_for(plan, **at)
        mine = found.chosen[found.chosen["village"] == "Gentle"]
        (cost,) = mine["budget_used"].unique()
        assert found.held_spent > 0
        paid = len(mine) * cost
        assert paid + cost > (budget - found.held_spent) / 3 >= paid


def test_what_places_held_took_is_not_spent_again():
    """Both bind: plots without tonnes take the share held, the others all that is left."""
    slopes = [36.0] * 4 + [26.0] * 6
    book = with_labour({"grass_strips": 6.0})
    plan = plan_with(budget=90.0, reserved_share=0.5)
    found, _ = chosen_for(plan, slopes=slopes, book=book)
    by = found.chosen.groupby("chosen_by", observed=True)["budget_used"].sum()
    assert by[HELD] == pytest.approx(found.held_spent)
    assert 27 < found.held_spent <= 45
    left = found.chosen.loc[found.chosen["chosen_by"] == SAVES_MOST, "budget_used"]
    assert left.sum() <= 90 - found.held_spent < left.sum() + left.max()


def test_measures_that_take_too_much_land_are_listed_not_chosen():
    """At 26 % lines 1.5 m apart in height and 2 m wide take a third of the plot."""
    at = {"slopes": [26.0], "book": with_labour({"grass_strips": 6.0, "stone_lines": 20.0})}
    found, _ = chosen_for(plan_with(budget=1e6, spacing_rule="drop"), **at)
    assert found.chosen["measure"].tolist() == ["stone_lines"]
    wide = plan_with(budget=1e6, spacing_rule="drop", land_taken_max_pct=40.0)
    lax, _ = chosen_for(wide, **at)
    assert lax.chosen["measure"].tolist() == ["grass_strips"]
    perennial, _ = chosen_for(plan_with(budget=1e6), slopes=[55.0])
    assert perennial.chosen["measure"].tolist() == ["permanent_cover"]


def test_plots_of_a_site_take_one_measure_together():
    sites = ["A"] * 3 + ["B"] * 3
    plan = plan_with(budget=1e6, reserved_share=0.0, choose_by="work site")
    found, _ = chosen_for(plan, slopes=[14, 16, 18, 20, 22, 24], work_site=sites)
    assert found.chosen.groupby("village")["plot_id"].count().sum() == 6
    by_site = found.chosen.assign(site=[sites[int(p[1:])] for p in found.chosen["plot_id"]])
    assert set(by_site.drop_duplicates(["site", "measure"])["site"].value_counts()) == {1}


def test_what_is_for_one_plot_of_a_site_leaves_all_on_the_others():
    ways = pd.DataFrame(
        {
            "unit": "A",
            "measure": ["trees", *["strips"] * 4],
            "village": "Hill",
            "erosion_rank": [1, 1, 2, 3, 4],
            "loss_left_likely_share": [0.1, *[0.3] * 4],
            GAIN: 1.0,
            "cost": 1.0,
        }
    )
    found = _pooled(ways, pd.DataFrame({"work_site": ["A"] * 4})).set_index("measure")
    left = found["loss_left_likely_share"]
    assert left["trees"] == pytest.approx(1 - 0.9 / 4)
    assert left["strips"] == pytest.approx(0.3)


def test_one_plot_without_tonnes_does_not_keep_its_hillside_from_being_chosen():
    """What its plots with tonnes save is the least that the site does."""
    at = {
        "slopes": [26.0, 26, 14, 6, 6, 6],
        "book": with_labour({"grass_strips": 6.0}),
        "work_site": ["A"] * 3 + ["B"] * 3,
    }
    plan = plan_with(budget=60.0, reserved_share=0.0, choose_by="work site")
    whole, _ = chosen_for(plan, **at)
    found, _ = chosen_for(plan, length_m=[40.0, 40.0, np.nan, 40.0, 40.0, 40.0], **at)
    assert set(whole.chosen["plot_id"]) == set(found.chosen["plot_id"]) == {"P0", "P1", "P2"}
    third = whole.chosen.set_index("plot_id")[GAIN]["P2"]
    assert found.saved_t_yr == pytest.approx(whole.saved_t_yr - third)
    assert found.left_out.empty
    none, _ = chosen_for(plan, length_m=[np.nan] * 3 + [40.0] * 3, **at)
    assert set(none.chosen["plot_id"]) == {"P3", "P4", "P5"}
    assert set(none.left_out["left_out_reason"]) == {"held_share_spent"}


def test_the_curve_rises_ever_less_steeply():
    found, _ = chosen_for(plan_with(budget=30.0))
    spent, saved = (found.curve[name].to_numpy() for name in tables.made_by("curve"))
    assert (spent[0], saved[0]) == (0, 0)
    assert (np.diff(np.diff(saved) / np.diff(spent)) <= 1e-9).all()
    at = np.interp(found.spent, spent, saved)
    assert found.saved_t_yr <= at + 1e-9


def test_the_whole_of_it_twice_is_the_same_and_vetoes_are_respected():
    plan = plan_with(budget=30.0)
    plots = plots_of(SLOPES, 40.0, plan, BOOK)
    known = conservation.Known(standing_on(plots, book=BOOK), erosion.Equations(plan, BOOK))
    first, second = (conservation.propose(plots, known, plan, BOOK) for _ in range(2))
    assert first.priorities.chosen.equals(second.priorities.chosen)
    assert first.options.offered.equals(second.options.offered)
    top = first.priorities.chosen.iloc[0]
    vetoes = first.priorities.chosen[["plot_id", "measure"]].iloc[:1].astype(str)
    vetoed = conservation.propose(
        plots,
        conservation.Known(known.standing, known.equations, vetoes),
        plan,
        BOOK,
    )
    again = vetoed.priorities.chosen.set_index("plot_id")["measure"]
    assert again.get(top["plot_id"]) != top["measure"]
    refused = vetoed.options.refused
    mine = refused[(refused["plot_id"] == top["plot_id"]) & (refused["measure"] == top["measure"])]
    assert mine["measure_reason"].tolist() == ["vetoed"]
    assert len(first.walk_over) == 10


def test_closed_land_bears_nothing_and_who_does_not_take_part_only_what_leads_water():
    out = {"P0": CLOSED, "P1": AWAY, "P3": AWAY}
    single, _ = chosen_for(plan_with(budget=1e6), slopes=[14] * 4, barred=out)
    assert single.chosen["plot_id"].tolist() == ["P2"]
    # Three plots of one hillside, then one alone whose owner stays away.
    plan = plan_with(budget=1e6, reserved_share=0.0, choose_by="work site")
    given = {"slopes": [14] * 4, "work_site": ["A"] * 3 + ["B"], "barred": out}
    level, _ = chosen_for(plan, book=with_labour({"grass_strips": 6.0}), **given)
    assert level.chosen["plot_id"].tolist() == ["P2"]
    ditches, _ = chosen_for(plan, book=with_labour({"hillside_ditch": 18.0}), **given)
    assert ditches.chosen["plot_id"].tolist() == ["P1", "P2"]


def test_a_drain_above_is_never_the_choice():
    """It saves the top plot alone, and ends nowhere before its hillside is laid out."""
    above = pd.DataFrame(
        {
            "plot_id": ["P0", "P1"],
            "slope_length_above_m": [90.0, 90.0],
            "slope_length_above_at_least": 0,
        }
    )
    plan = plan_with(budget=1e6, reserved_share=0.0, choose_by="work site")
    book = with_labour({"cut_off_drain": 15.0, "hillside_ditch": 18.0})
    found, _ = chosen_for(
        plan, slopes=[14.0, 14.0], book=book, length_m=20.0, above=above, work_site="A"
    )
    assert set(found.chosen["measure"]) == {"hillside_ditch"}


def test_every_plot_without_tonnes_is_chosen_or_listed_with_a_reason():
    slopes = [36.0, 38, 40, 45, 70, 14]
    veto = {"P0": CLOSED, "P1": AWAY}
    found, plots = chosen_for(plan_with(budget=40.0), slopes=slopes, barred=veto)
    without = plots.loc[plots["soil_loss_now_likely_t_ha_yr"].isna(), "plot_id"]
    left = found.left_out.set_index("plot_id")["left_out_reason"]
    assert set(left.index).isdisjoint(found.chosen["plot_id"])
    assert set(left.index) | set(found.chosen["plot_id"]) >= set(without)
    assert left[["P0", "P1"]].tolist() == [CLOSED, AWAY]
    assert set(left.drop(["P0", "P1"])) == {"budget_spent"}
    some, _ = chosen_for(
        plan_with(budget=40.0), slopes=[36.0, 10.0], book=with_labour({"trash_lines": 3.0})
    )
    assert some.left_out["left_out_reason"].tolist() == ["not_costed"]


def test_plots_that_their_hillsides_measure_is_not_for_are_told():
    plan = plan_with(budget=60.0, reserved_share=0.0, choose_by="work site")
    book = with_labour({"grass_strips": 6.0, "permanent_cover": 6_000.0})
    found, _ = chosen_for(plan, slopes=[36.0, 36.0, 55.0], book=book, work_site="A")
    assert found.chosen["plot_id"].tolist() == ["P0", "P1"]
    assert found.left_out[["plot_id", "left_out_reason"]].to_numpy().tolist() == [
        ["P2", "other_measure"]
    ]


def reasons_of(found):
    return dict(zip(found.left_out["plot_id"], found.left_out["left_out_reason"], strict=True))


def test_what_a_veto_or_least_labour_keeps_from_a_plot_is_told():
    plan = plan_with(budget=60.0, reserved_share=0.0, choose_by="work site")
    book = with_labour({"grass_strips": 6.0, "permanent_cover": 6_000.0})
    plots = plots_of([36.0, 36.0, 36.0, 55.0], 40.0, plan, book, work_site="A")
    vetoes = pd.DataFrame(
        [("P1", "grass_strips"), ("P2", "all"), ("P3", "grassed_waterway")],
        columns=["plot_id", "measure"],
    )
    options = respect(options_of(plots, plan, book), vetoes)
    found = choose(options, plots, plan, book)
    assert found.chosen["plot_id"].tolist() == ["P0"]
    assert reasons_of(found) == {"P1": "vetoed", "P2": "vetoed", "P3": "other_measure"}
    lazy = plan_with(budget=60.0, goal="least labour", saved_share_min=0.99)
    little, _ = chosen_for(lazy, slopes=[36.0])
    assert reasons_of(little) == {"P0": "saves_too_little"}


def test_no_ditch_is_chosen_for_those_alone_who_do_not_take_part():
    plan = plan_with(budget=1e6, reserved_share=0.0, choose_by="work site")
    book = with_labour({"hillside_ditch": 18.0})
    plots = plots_of([14.0, 14.0], 40.0, plan, book, work_site="A")
    options, away = options_of(plots, plan, book), {"P1": "does_not_take_part"}
    both = choose(options, plots, plan, book, away)
    assert both.chosen["plot_id"].tolist() == ["P0", "P1"]
    learned = Learned({}, frozenset({("P0", "hillside_ditch")}))
    assert choose(options, plots, plan, book, away, learned).chosen.empty


def test_what_cannot_be_laid_out_is_not_said_to_cost_too_much():
    plan = plan_with(budget=1e6, reserved_share=0.0, choose_by="work site")
    book = with_labour({"hillside_ditch": 18.0})
    plots = plots_of([14.0, 14.0], [40.0, np.nan], plan, book, work_site="A")
    options = options_of(plots, plan, book)
    names = set(options.offered["measure"])
    undrawn = frozenset((plot, str(name)) for plot in ("P0", "P1") for name in names)
    found = choose(options, plots, plan, book, None, Learned({}, undrawn))
    assert reasons_of(found) == {"P1": "not_laid_out"}


def test_over_a_budget_what_saves_least_for_its_cost_is_given_up_first_and_places_held_last():
    plan = plan_with(budget=60.0, reserved_share=0.5)
    found, plots = chosen_for(plan)
    saved = found.chosen.assign(worth=found.chosen[GAIN] / found.chosen["budget_used"])
    most = saved[saved["chosen_by"] == SAVES_MOST].sort_values("worth")
    assert len(most) > 2
    assert HELD in set(saved["chosen_by"])
    over = 0.5 * most["budget_used"].iloc[0]
    less = trimmed(found, plots, "plot_id", over)
    (gone,) = set(found.chosen["plot_id"]) - set(less.chosen["plot_id"])
    assert gone == most["plot_id"].iloc[0]
    assert less.spent == pytest.approx(found.spent - most["budget_used"].iloc[0])
    assert less.saved_t_yr == pytest.approx(found.saved_t_yr - most[GAIN].iloc[0])
    assert less.gap == pytest.approx(1 - less.saved_t_yr / found.bound_t_yr)
    held = trimmed(found, plots, "plot_id", float(most["budget_used"].sum()))
    assert set(held.chosen["chosen_by"]) == {HELD}
