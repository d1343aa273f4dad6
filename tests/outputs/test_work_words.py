"""Where to work first, in words."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest

from districtplan.accepted import Given
from districtplan.outputs import measure_words, work_words
from districtplan.outputs.page import work
from districtplan.plan import Plan
from tests.outputs.conftest import make_proposal
from tests.outputs.test_measures import with_vetoes


@pytest.fixture(scope="module")
def hills(small_results, texts):
    return work_words.hills(small_results, texts)


ROW = {
    "slope_used_pct": 38.2,
    "slope_length_m": 90.4,
    "slope_length_above_m": 12.0,
    "run_on_area_ha": 0.0,
    "flow_line_length_m": 0.0,
    "soil_loss_now_likely_t_ha_yr": 120.4,
    "soil_loss_floor_t_ha_yr": np.nan,
    "lies_below": None,
}


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, "38 % slope, 90 m long, run-on from above, loses about 120 t a hectare a year now"),
        (
            {"slope_length_above_m": 0.0, "slope_length_m": np.nan},
            "38 % slope, loses about 120 t a hectare a year now",
        ),
        (
            {"flow_line_length_m": 3.0, "soil_loss_now_likely_t_ha_yr": np.nan},
            "38 % slope, 90 m long, gathered water crosses it, no tonnes known",
        ),
        (
            {"lies_below": "slipping ground", "soil_loss_now_likely_t_ha_yr": np.nan},
            "38 % slope, 90 m long, run-on from above, slipping ground below, no tonnes known",
        ),
        (
            {"lies_below": "neighbour", "soil_loss_now_likely_t_ha_yr": np.nan},
            "38 % slope, 90 m long, run-on from above, no tonnes known",
        ),
        (
            {
                "slope_length_above_m": 0.0,
                "run_on_area_ha": 0.2,
                "soil_loss_now_likely_t_ha_yr": np.nan,
                "soil_loss_floor_t_ha_yr": 9.0,
            },
            "38 % slope, 90 m long, run-on from above, too steep for tonnes",
        ),
    ],
)
def test_the_reason_is_in_words(texts, changed, said):
    assert work_words.why(ROW | changed, texts) == said


def test_hillsides_stand_in_the_order_of_work_with_all_their_plots(small_results, hills):
    chosen = small_results.proposal.chosen["plot_id"].tolist()
    site = small_results.plots.set_index("plot_id")["work_site"]
    assert [hill.name for hill in hills] == list(dict.fromkeys(site[plot] for plot in chosen))
    told = [plot.plot_id for hill in hills for plot in hill.plots]
    assert sorted(told) == sorted(chosen)
    assert work_words.count(small_results) == len(hills)


def test_a_hillside_tells_its_steps_who_must_agree_and_what_is_safe(hills, hostile):
    (hill,) = (one for one in hills if one.name == "Hill-S01")
    seasons = [step.season for step in hill.steps]
    assert seasons == sorted(seasons, key=lambda said: said != "the season before")
    assert hill.steps[-1].said.startswith("Lay the rows")
    assert any("ends at" in step.facts for step in hill.steps)
    agree, together, raised = hill.notes
    assert agree == (
        "Must agree in writing to where the water is led: the village Upper Tamba Ridge; "
        f"<b>B2</b> in {hostile}."
    )
    assert raised.startswith("Raise ")
    assert together.startswith("Lines that lead water away are safe only if all")
    for plot in ("A-01", "A-02", "A-03"):
        assert plot in together


def test_a_hillside_without_lines_says_so(hills):
    other = next(one for one in hills if one.name != "Hill-S01")
    assert other.steps == ()
    assert other.notes[0] == (
        "Its lines are not laid out: it is too far down the order of work, or nothing here runs "
        "along lines."
    )


def first_hill(results, texts):
    return next(one for one in work_words.hills(results, texts) if one.name == "Hill-S01")


def test_who_must_agree_stands_by_village(small_results, texts):
    works = small_results.works
    asked = ("Upper Tamba Ridge", "<b>B2</b>", "A-02", "109")
    village = small_results.plots.set_index("plot_id")["village"]
    order = works.order.assign(work_agreed_by=[asked] * len(works.order))
    some = dataclasses.replace(small_results, works=dataclasses.replace(works, order=order))
    assert first_hill(some, texts).notes[0] == (
        "Must agree in writing to where the water is led: the village Upper Tamba Ridge; "
        f"<b>B2</b> in {village['<b>B2</b>']}; A-02 in Upper Tamba Ridge; 109 in {village['109']}."
    )


def test_plots_of_a_hillside_tell_the_days_that_each_owes(small_results, texts, hills):
    (hill,) = (one for one in hills if one.name == "Hill-S01")
    assert {plot.owes for plot in hill.plots} == {""}
    works, first = small_results.works, hill.plots[0].plot_id
    days = works.days.assign(days_owed=np.where(works.days["plot_id"] == first, 2.26, np.nan))
    proposal = small_results.proposal
    chosen = proposal.priorities.chosen
    alone = dataclasses.replace(
        proposal.priorities, chosen=chosen[chosen["plot_id"] == first].reset_index(drop=True)
    )
    some = dataclasses.replace(
        small_results,
        works=dataclasses.replace(works, days=days),
        proposal=dataclasses.replace(proposal, priorities=alone),
    )
    told = first_hill(some, texts)
    assert work_words.of_plot(told.plots[0], texts)[0].endswith(", owes 2.3 person-days")
    # The others have no measure of their own now, but a share in what all build.
    others = [plot.plot_id for plot in hill.plots[1:]]
    (said,) = (note for note in told.notes if note.startswith("Owe days as well"))
    assert said.startswith("Owe days as well, how many is not known:")
    assert all(name in said for name in others)
    days = works.days.assign(days_owed=1.0)
    some = dataclasses.replace(some, works=dataclasses.replace(works, days=days))
    (said,) = (note for note in first_hill(some, texts).notes if note.startswith("Owe days"))
    assert all(f"{name} (1 person-day)" in said for name in others)
    assert first not in said


def test_plots_that_a_line_needs_and_that_do_not_take_part_are_named(small_results, texts):
    there = {"plot_id": ["A-01", "A-02", "A-03"], "takes_part": [True, False, True]}
    given = Given(pd.DataFrame(there), pd.DataFrame(), 3)
    some = dataclasses.replace(small_results, beside={"enrolment": given})
    (said,) = (note for note in first_hill(some, texts).notes if "take part yet" in note)
    assert said.startswith("Of these do not take part yet: A-02. ")


def test_what_is_raised_for_a_hillside_is_told(small_results, texts, hills):
    (hill,) = (one for one in hills if one.name == "Hill-S01")
    chosen = small_results.proposal.chosen.set_index("plot_id")
    plants = sum(chosen["measure_plants"][plot.plot_id] for plot in hill.plots)
    assert hill.notes[-1] == (
        f"Raise {plants:,} plants for it: grass strips or live barriers, beds set by "
        "21 December 2025."
    )


def test_what_was_ruled_out_on_a_hillside_stands_with_it(small_results, texts, hills):
    assert all(hill.vetoes == () for hill in hills)
    vetoed = with_vetoes(small_results)
    told = dict(first_hill(vetoed, texts).vetoes)
    assert told == {
        plot: " ".join(said) for plot, said in measure_words.vetoes(vetoed, texts).items()
    }


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        ("slipping_ground", "the ground slips"),
        ("soil_not_deep_and_free", "deep and freely draining"),
        ("ground_not_known", "no heights"),
        ("no_land", "no land is left"),
        ("less_fall_than_spacing", "falls less than they lie apart"),
        *((reason, None) for reason in sorted(work_words.BY_STEPS)),
    ],
)
def test_lines_that_are_not_drawn_are_told_with_the_reason(small_results, texts, reason, said):
    works = small_results.works
    row = {"work_site": "Hill-S01", "structure": "hillside_ditch", "structure_reason": reason}
    some = dataclasses.replace(works, refused=pd.DataFrame([row]))
    notes = first_hill(dataclasses.replace(small_results, works=some), texts).notes
    told = [note for note in notes if note.startswith("No lines are drawn for hillside ditches")]
    assert [said in note for note in told] == ([] if said is None else [True])


def test_level_lines_are_safe_whoever_takes_part(small_results, texts):
    works = small_results.works
    level = works.lines.assign(structure_outlet=None, structure_needs=[()] * len(works.lines))
    some = dataclasses.replace(small_results, works=dataclasses.replace(works, lines=level))
    (hill,) = (one for one in work_words.hills(some, texts) if one.name == "Hill-S01")
    assert hill.notes[1].startswith(f"{len(level)} lines lead no water away")


def test_the_finding_says_where_with_what_and_that_an_outlet_comes_first(
    small_results, texts, hills
):
    said = work_words.finding(small_results, hills[0], texts)
    assert said[0] == f"Go first to hillside {hills[0].name}: {hills[0].summary}."
    assert said[1:] == [texts.say("work.because", why=hills[0].why)]
    works = small_results.works
    order = works.order.iloc[:1].assign(
        work_site=hills[0].name, work="find_outlet", work_waits=[("gathered_water",)]
    )
    some = dataclasses.replace(small_results, works=dataclasses.replace(works, order=order))
    assert "find a safe outlet" in work_words.finding(some, hills[0], texts)[1]
    assert work_words.finding(some, None, texts) == [texts.say("work.nothing")]


def test_an_outlet_that_is_there_is_told_from_one_to_be_found(small_results, texts, hills):
    works = small_results.works
    name = hills[0].name
    first = works.order.iloc[[0, 0, 0]].assign(
        work_site=name,
        work=["find_outlet", "outlet", "structures"],
        work_structure=[None, None, "grass_strips"],
        work_outlet=[None, "stream 1; waterway 2", None],
        work_waits=[("gathered_water",), (), ()],
    )
    some = dataclasses.replace(small_results, works=dataclasses.replace(works, order=first))
    (told,) = work_words.before_rows({"work_site": name}, some, texts)
    assert "a technician finds a safe outlet for water that does not go to stream 1 and" in told
    assert "look over the safe outlet that is there: stream 1; waterway 2 (" in told
    assert "grass strips or live barriers, set out and built from the top down (" in told
    assert "stream 1 and waterway 2" in work_words.finding(some, hills[0], texts)[1]
    alone = dataclasses.replace(works, order=first.iloc[[0, 2]])
    some = dataclasses.replace(small_results, works=alone)
    (told,) = work_words.before_rows({"work_site": name}, some, texts)
    assert "a technician finds a safe outlet (" in told


def test_what_a_hillside_saves_is_told_with_a_floor_marked(small_results, texts):
    proposal = small_results.proposal
    offered = proposal.options.offered

    def summary(saved, by_floor):
        own = offered.assign(soil_saved_counted_t_yr=saved, saved_by_floor=by_floor)
        chosen = proposal.priorities.chosen.assign(soil_saved_counted_t_yr=saved)
        some = dataclasses.replace(
            proposal,
            options=proposal.options._replace(offered=own),
            priorities=dataclasses.replace(proposal.priorities, chosen=chosen),
        )
        hills = work_words.hills(dataclasses.replace(small_results, proposal=some), texts)
        return hills[0].summary, len(hills[0].plots)

    told, plots = summary(7.0, 0)
    assert told.endswith(f"; saves about {7 * plots} t of soil a year")
    assert summary(7.0, 1)[0].endswith(f"; saves at least {7 * plots} t of soil a year")
    assert "saves" not in summary(np.nan, 0)[0]


def test_days_are_told_only_where_all_are_known(small_results, texts, hills):
    assert "person-days" not in hills[0].summary
    works = small_results.works
    days = works.days.assign(days_owed=2.25)
    some = dataclasses.replace(small_results, works=dataclasses.replace(works, days=days))
    first = work_words.hills(some, texts)[0]
    assert f", {2.25 * len(first.plots):,.0f} person-days;" in first.summary
    days.loc[days["plot_id"] == first.plots[-1].plot_id, "days_owed"] = np.nan
    assert "person-days" not in work_words.hills(some, texts)[0].summary


@pytest.mark.parametrize(("share", "said"), [(4.0, ", 10 person-days"), (np.nan, "")])
def test_the_days_of_a_hillside_count_plots_that_owe_some_without_a_measure(
    small_results, texts, hills, share, said
):
    """The work takes 10 person-days: 6 of the one plot with a measure, 4 of another one."""
    (hill,) = (one for one in hills if one.name == "Hill-S01")
    first, other = (plot.plot_id for plot in hill.plots[:2])
    works, proposal = small_results.works, small_results.proposal
    owed = (
        works.days["plot_id"]
        .map({first: 6.0, other: share})
        .where(works.days["plot_id"].isin([first, other]), 0.0)
    )
    chosen = proposal.priorities.chosen
    alone = dataclasses.replace(
        proposal.priorities, chosen=chosen[chosen["plot_id"] == first].reset_index(drop=True)
    )
    some = dataclasses.replace(
        small_results,
        works=dataclasses.replace(works, days=works.days.assign(days_owed=owed)),
        proposal=dataclasses.replace(proposal, priorities=alone),
    )
    told = first_hill(some, texts).summary
    assert told.startswith(f"grass strips or live barriers on 1 plot{said}; saves")


def test_a_village_gets_its_own_hillsides(small_results, texts, hills):
    found = work_words.by_village(small_results, texts, 2)
    village = small_results.plots.set_index("plot_id")["village"]
    chosen = small_results.proposal.chosen
    assert set(found) == set(chosen["village"])
    ranked = {hill.name: hill for hill in hills}
    for name, (own, total) in found.items():
        theirs = [h for h in hills if name in {village[plot.plot_id] for plot in h.plots}]
        assert [ranked[hill.name] for hill in own] == theirs[:2]
        assert total == len(theirs)
    assert [hill.rank for hill in hills] == list(range(1, len(hills) + 1))


def test_what_needs_saying_once_is_said_where_it_is_met(small_results, texts):
    works, proposal = small_results.works, small_results.proposal
    bare = dataclasses.replace(
        small_results,
        works=dataclasses.replace(works, order=works.order.iloc[:0]),
        proposal=dataclasses.replace(proposal, nurseries=proposal.nurseries.iloc[:0]),
    )
    assert work_words.explained(bare, texts) == []
    order = works.order.assign(work_length_m=90.0, work_priced_length_m=120.0)
    some = dataclasses.replace(small_results, works=dataclasses.replace(works, order=order))
    why, named, plants = work_words.explained(some, texts)
    assert why == texts.say("work.priced_why")
    assert named == texts.say("work.outlets_named")
    lost = 100 * small_results.handbook.number("measure_numbers", "planting losses_share")
    assert f"when {lost:.0f} % die" in plants
    lead = work.work(some, [], (39.0, -9.0), texts)["lead"]
    first = lead.index(why)
    assert lead[first : first + 3] == [why, named, plants]


def test_many_names_are_counted(texts):
    names = tuple(f"P{number:02d}" for number in range(20))
    said = work_words.some(names, texts)
    assert said.endswith("P11 and 8 more")


def with_curve(results, **shares):
    told = results.plan.model_dump(exclude_unset=True)
    shares = {"village_share": 0.0, "reserved_share": 0.0} | shares
    plan = Plan.model_validate(told | {"conservation": {"budget": 10.0} | shares})
    curve = pd.DataFrame(
        {"budget_spent": [0.0, 10.0, 30.0], "soil_saved_total_t_yr": [0.0, 100.0, 200.0]}
    )
    priorities = dataclasses.replace(results.proposal.priorities, curve=curve)
    proposal = dataclasses.replace(results.proposal, priorities=priorities)
    return dataclasses.replace(results, plan=plan, proposal=proposal)


def test_the_curve_is_told_at_half_all_and_twice_the_budget(small_results, texts):
    assert work_words.curve(small_results, texts) == ""
    assert work_words.curve(with_curve(small_results), texts) == (
        "At most so much soil is saved: 50 t a year with 5 person-days, 100 t a year with 10 "
        "person-days and 150 t a year with 20 person-days."
    )


@pytest.mark.parametrize("held", ["village_share", "reserved_share"])
def test_a_curve_that_holds_no_share_says_so_beside_a_choice_that_does(small_results, texts, held):
    said = work_words.curve(with_curve(small_results, **{held: 0.3}), texts)
    assert said.startswith("No share of the budget held for villages or for plots without tonnes")


def test_the_page_lists_a_number_and_counts_the_others(small_results, texts, hills):
    told = work.work(small_results, hills[:2], (39.0, -9.0), texts)
    assert [hill["name"] for hill in told["hills"]] == [hill.name for hill in hills[:2]]
    assert told["left_out"] == len(hills) - 2
    assert told["chosen"] == measure_words.how_chosen(small_results, texts)
    ids = small_results.plots["plot_id"]
    for hill, words in zip(told["hills"], hills, strict=False):
        assert [ids[at] for at, *_ in hill["plots"]] == [plot.plot_id for plot in words.plots]


def test_nothing_to_do_is_a_page_too(small_results, texts):
    proposal = make_proposal(small_results.plots, small_results.plan)
    priorities = dataclasses.replace(
        proposal.priorities, chosen=proposal.priorities.chosen.iloc[:0]
    )
    some = dataclasses.replace(
        small_results, proposal=dataclasses.replace(proposal, priorities=priorities)
    )
    assert work_words.hills(some, texts) == []
    told = work.work(some, [], (39.0, -9.0), texts)
    assert (told["hills"], told["chosen"]) == ([], [])


@pytest.mark.parametrize(
    ("priced_m", "drawn_m", "told"),
    [(120.4, 119.6, False), (120.6, 120.4, True), (90.0, np.nan, True), (np.nan, 90.0, False)],
)
def test_metres_that_days_are_counted_for_are_told_where_they_differ(
    small_results, texts, priced_m, drawn_m, told
):
    order = small_results.works.order
    changed = order.assign(work_priced_length_m=priced_m, work_length_m=drawn_m)
    works = dataclasses.replace(small_results.works, order=changed)
    results = dataclasses.replace(small_results, works=works)
    hills = {hill.name: hill for hill in work_words.hills(results, texts)}
    facts = hills["Hill-S01"].steps[0].facts
    assert ("days counted for" in facts) == told
