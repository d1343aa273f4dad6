"""Measures in files and in words: what was chosen, in order, and nothing that carries water."""

from __future__ import annotations

import csv
import dataclasses
import io

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from districtplan import conservation, outputs
from districtplan.accepted import Given
from districtplan.conservation import catalogue
from districtplan.outputs import measure_words, measures_csv, work_words
from districtplan.outputs.page import work
from districtplan.plan import Plan
from tests.conftest import plan_of
from tests.outputs.conftest import make_results


@pytest.fixture(scope="module")
def files(texts):
    return measures_csv.render(make_results(), texts)


def rows_of(raw):
    return list(csv.DictReader(io.StringIO(raw.decode("utf-8"), newline="")))


def test_every_plot_and_measure_is_offered_or_refused(files, small_results):
    every = pd.read_parquet(io.BytesIO(files["measure_options.parquet"]))
    measures = [one.name for one in catalogue(small_results.handbook)]
    assert len(every) == len(small_results.plots) * len(measures)
    assert not every.duplicated(["plot_id", "measure"]).any()
    assert (every["measure_reason"].isna() == every["soil_loss_after_likely_t_ha_yr"].notna()).sum()


def test_measures_stand_in_the_order_of_work_and_carry_no_water(files, small_results):
    chosen = rows_of(files["measures.csv"])
    assert chosen
    assert [int(row["measure_order"]) for row in chosen] == list(range(1, len(chosen) + 1))
    carrying = {one.name for one in catalogue(small_results.handbook) if one.carries_water}
    assert carrying
    assert carrying.isdisjoint(row["measure"] for row in chosen)
    for row in chosen:
        assert float(row["loss_left_likely_share"]) < 1


def test_every_measure_has_words(texts, small_results):
    section = {name: texts.section(f"measures.{name}") for name in ("name", "upkeep", "caution")}
    for one in catalogue(small_results.handbook):
        assert one.name in section["name"]
    table = small_results.handbook.rows("measures")
    assert set(table["upkeep"]) <= set(section["upkeep"])
    assert set(table["caution"]) <= {*section["caution"], "none"}


def test_a_districts_own_measure_is_named_by_its_name(texts):
    assert measure_words.name("vetiver_hedge", texts) == "vetiver hedge"


def test_sentences_name_what_is_chosen(texts, small_results):
    said = " ".join(measure_words.sentences(small_results, texts))
    for measure in small_results.proposal.priorities.chosen["measure"].unique():
        assert measure_words.name(str(measure), texts) in said
    assert "technician" in said
    assert "measure_costs.csv" in said


def test_the_sheet_holds_the_numbers_of_the_file(texts, small_results, files):
    shown = measure_words.worded(small_results, texts)
    chosen = rows_of(files["measures.csv"])
    assert shown["plot_id"].tolist() == [row["plot_id"] for row in chosen]
    told = [None if not row["soil_saved_t_yr"] else float(row["soil_saved_t_yr"]) for row in chosen]
    saved = [None if pd.isna(value) else value for value in shown["soil_saved_t_yr"]]
    assert saved == told


def test_cautions_stand_beside_measures_works_and_layers(files, texts, small_results, tmp_path):
    handbook = small_results.handbook.rows("measures").set_index("name")["caution"]
    said = texts.section("measures.caution")
    below, stop = texts.say("cautions.below"), texts.say("cautions.slipping")
    for row in rows_of(files["measures.csv"]):
        own = said.get(handbook[row["measure"]], "")
        assert row["caution"] == f"{own} {stop}".lstrip()
    works = rows_of(files["work_order.csv"])
    for row in works:
        assert row["caution"].endswith(stop)
        assert (below in row["caution"]) == bool(row["work_agreed_by"])
        built = handbook.get(row["work_structure"], "none")
        assert said.get(built, "") in row["caution"]
        assert (said["rows_alone"] in row["caution"]) == (row["work"] == "rows")
    assert any(below in row["caution"] for row in works)
    shown = measure_words.works(small_results, texts)["caution"].tolist()
    assert shown == [row["caution"] for row in works]
    care = [texts.say(key) for key in work_words.CARE]
    assert [row["caution"] for row in rows_of(files["cautions.csv"])] == care
    path = tmp_path / "plots.gpkg"
    path.write_bytes(outputs.layers.render(small_results, texts)["plots.gpkg"])
    assert gpd.read_file(path, layer="cautions")["caution"].tolist() == care
    lines = gpd.read_file(path, layer="structure_lines")
    assert len(lines)
    for row in lines.itertuples():
        assert row.caution.endswith(stop)
        assert said.get(handbook[row.structure], "") in row.caution
        assert (below in row.caution) == (row.structure_outlet is not None)
    assert lines["structure_outlet"].notna().any()
    assert set(gpd.read_file(path, layer="outlets")["caution"]) == {f"{below} {stop}"}
    layer = gpd.read_file(path, layer="measures")
    assert layer["caution"].fillna("").tolist() == [
        row["caution"] for row in rows_of(files["measures.csv"])
    ]


def test_the_walk_over_list_says_why(texts, small_results):
    walk = measure_words.looked_at(small_results, texts)
    assert 0 < len(walk) <= 10
    assert walk["walk_reasons"].str.len().gt(0).any()
    # The column of reasons of rows set aside says "why not used".
    assert texts.section("workbook.heads")["walk_reasons"] == "Why to look there"


def test_hillside_and_villages_stand_beside_measures_and_works(files, small_results, texts):
    site = small_results.plots.set_index("plot_id")["work_site"]
    for row in rows_of(files["measures.csv"]):
        # An apostrophe guards text that a spreadsheet would run.
        assert row["work_site"].removeprefix("'") == site[row["plot_id"].removeprefix("'")]
    villages = small_results.plots.set_index("work_site")["site_villages"].map("; ".join)
    works = rows_of(files["work_order.csv"])
    assert works
    for row in works:
        assert row["site_villages"] == villages[row["work_site"]].iloc[0]
    assert "work_site" in measure_words.worded(small_results, texts)


def test_days_that_each_plot_owes_stand_beside_its_measure(small_results, texts):
    days = small_results.works.days
    owed = days.assign(days_owed=np.arange(1.0, len(days) + 1))
    works = dataclasses.replace(small_results.works, days=owed)
    results = dataclasses.replace(small_results, works=works)
    by_plot = dict(zip(owed["plot_id"], owed["days_owed"], strict=True))
    rows = rows_of(measures_csv.render(results, texts)["measures.csv"])
    assert [float(row["days_owed"]) for row in rows] == [
        by_plot[row["plot_id"].removeprefix("'")] for row in rows
    ]
    shown = measure_words.worded(results, texts)
    assert shown["days_owed"].tolist() == [by_plot[plot] for plot in shown["plot_id"]]


def test_lists_of_names_are_text_in_layers(small_results, texts, tmp_path):
    path = tmp_path / "plots.gpkg"
    path.write_bytes(outputs.layers.render(small_results, texts)["plots.gpkg"])
    plots = gpd.read_file(path, layer="plots")
    wanted = small_results.plots["site_villages"].map("; ".join)
    assert plots["site_villages"].tolist() == wanted.tolist()
    neighbours = small_results.plots["site_neighbours"].map("; ".join)
    assert plots["site_neighbours"].fillna("").tolist() == neighbours.tolist()


def with_vetoes(results):
    used = pd.DataFrame(
        [
            ("A-01", "grass_strips", "<b>goats</b> {why}", "2026-02-27"),
            ("A-01", "trash_lines", "no stalks", "2026-02-28"),
            ("A-03", "all", "=slips", "2026-02-27"),
        ],
        columns=["plot_id", "measure", "why", "date"],
    )
    given = Given(used, pd.DataFrame(), len(used))
    return dataclasses.replace(results, beside={**results.beside, "vetoes": given})


def test_a_veto_tells_what_is_chosen_in_its_place(small_results, texts):
    """Staff see what their word changed: another measure, or none."""
    vetoed = with_vetoes(small_results)
    measures = vetoed.proposal.chosen.set_index("plot_id")["measure"]
    left = measure_words.name(measures["A-01"], texts)
    assert measure_words.vetoes(vetoed, texts)["A-01"][-1] == f"Chosen there now: {left}."
    priorities = vetoed.proposal.priorities
    none = dataclasses.replace(priorities, chosen=priorities.chosen[:0])
    proposal = dataclasses.replace(vetoed.proposal, priorities=none)
    bare = dataclasses.replace(vetoed, proposal=proposal)
    assert measure_words.vetoes(bare, texts)["A-01"][-1] == "Nothing is chosen there now."


def test_a_share_held_for_villages_is_told(small_results, texts):
    assert "held for villages" not in " ".join(measure_words.how_chosen(small_results, texts))
    told = small_results.plan.model_dump(exclude_unset=True)
    asked = {"conservation": {"budget": 10.0, "village_share": 0.6}}
    shared = dataclasses.replace(small_results, plan=Plan.model_validate(told | asked))
    said = " ".join(measure_words.how_chosen(shared, texts))
    assert "60 % of the budget is held for villages by their area" in said


def test_a_veto_is_told_with_its_reason(small_results, texts):
    assert measure_words.vetoes(small_results, texts) == {}
    assert "vetoes.csv" not in measures_csv.render(small_results, texts)
    vetoed = with_vetoes(small_results)
    told = measure_words.vetoes(vetoed, texts)
    assert told["A-03"][0] == "all measures, on 27 February 2026. Reason: =slips."
    assert told["A-01"][0].endswith("Reason: <b>goats</b> {why}.")
    assert told["A-01"][0].startswith("grass strips or live barriers, on ")
    rows = rows_of(measures_csv.render(vetoed, texts)["vetoes.csv"])
    assert [row["veto_why"] for row in rows] == ["<b>goats</b> {why}", "no stalks", "'=slips"]
    assert {row["village"] for row in rows} == {"Upper Tamba Ridge"}
    listed = work.work(vetoed, [], (39.0, -9.0), texts)["vetoes"]
    assert [said for *_, said in listed] == [" ".join(said) for said in told.values()]


def test_both_rules_of_spacing_are_told_where_they_differ(texts):
    row = {"line_apart_m": 10.0, "spacing_rule": "distance"}
    other = {"line_apart_other_m": 3.75, "spacing_rule_other": "drop"}
    alike = {"line_apart_other_m": np.nan, "spacing_rule_other": None}
    assert measure_words.apart(row | other, texts) == (
        "10 m by the pacing rule, 3.8 m by the drop rule: the technician chooses"
    )
    assert measure_words.apart(row | alike, texts) == "10 m by the pacing rule"
    assert measure_words.apart({"line_apart_m": np.nan}, texts) is None


def test_every_rule_of_spacing_has_words(texts, small_results):
    rules = {rule for one in catalogue(small_results.handbook) for rule in one.spacing_rules}
    assert set(texts.section("measures.rule")) == rules


def test_one_day_is_not_days_and_money_is_the_plans(texts):
    assert measure_words.person_days(1.2, texts) == "1 person-day"
    assert measure_words.person_days(0.4, texts) == "0 person-days"
    assert measure_words.person_days(1.04, texts, decimals=1) == "1 person-day"
    assert measure_words.person_days(1.25, texts, decimals=1) == "1.2 person-days"
    money = {"budget": 9.0, "budget_unit": "money", "day_cost": 2.0}
    named = plan_of(conservation=money, money={"currency": "shells"})
    assert measure_words.amount(1200.4, named, texts) == "1,200 shells"
    assert measure_words.unit(plan_of(conservation=money), texts) == "in the district's money"


def test_a_layer_shows_what_is_chosen_where(texts, small_results, tmp_path):
    path = tmp_path / "plots.gpkg"
    path.write_bytes(outputs.layers.render(small_results, texts)["plots.gpkg"])
    layer = gpd.read_file(path, layer="measures")
    outlines = small_results.plots.set_index("plot_id")["geometry"]
    assert len(layer) == len(small_results.proposal.priorities.chosen)
    for row in layer.itertuples():
        assert row.geometry.equals(outlines[row.plot_id]) or row.geometry.geoms[0].equals(
            outlines[row.plot_id]
        )


def test_the_headline_counts_all_that_is_chosen_and_marks_floors(texts, small_results):
    chosen = small_results.proposal.chosen
    priced = chosen.assign(
        chosen_by=[conservation.HELD, *["saves most"] * (len(chosen) - 1)],
        saved_by_floor=[1, *[0] * (len(chosen) - 1)],
        soil_saved_counted_t_yr=[1_000.0, *[10.0] * (len(chosen) - 1)],
    )
    proposal = dataclasses.replace(small_results.proposal)
    proposal.__dict__["chosen"] = priced
    priorities = dataclasses.replace(
        proposal.priorities, saved_t_yr=10.0 * (len(chosen) - 1), greedy_t_yr=9.0, gap=0.0
    )
    proposal = dataclasses.replace(proposal, priorities=priorities)
    proposal.__dict__["chosen"] = priced
    plan = small_results.plan
    asked = plan.model_copy(
        update={"conservation": plan.conservation.model_copy(update={"budget": 50.0})}
    )
    results = dataclasses.replace(small_results, proposal=proposal, plan=asked)
    told = measure_words.how_chosen(results, texts)
    assert (
        f"the measures chosen save about {1_000 + 10 * (len(chosen) - 1):,} t of soil a year"
        in told[0]
    )
    assert told[1].startswith(f"{10 * (len(chosen) - 1)} t of this are chosen to save most")
    assert told[2].startswith("On 1 plots, of hillsides that the share held")
    assert "On 1 plots 1,000 t are a floor" in told[3]


def with_budget(results, chosen=None, **asked):
    """The results of a plan that has a budget."""
    plan = results.plan
    given = plan.conservation.model_copy(update={"budget": 50.0, **asked})
    proposal = dataclasses.replace(results.proposal)
    proposal.__dict__["chosen"] = results.proposal.chosen if chosen is None else chosen
    budgeted = plan.model_copy(update={"conservation": given})
    return dataclasses.replace(results, proposal=proposal, plan=budgeted)


@pytest.mark.parametrize(
    ("gap", "said"),
    [(0.0, "save more."), (1e-9, "save more."), (3e-5, "over 0.01 %"), (0.0312, "over 3.12 %")],
)
def test_only_a_proof_is_told_as_one(texts, small_results, gap, said):
    results = with_budget(small_results)
    priorities = dataclasses.replace(results.proposal.priorities, gap=gap)
    proposal = dataclasses.replace(results.proposal, priorities=priorities)
    proposal.__dict__["chosen"] = results.proposal.chosen
    told = measure_words.how_chosen(dataclasses.replace(results, proposal=proposal), texts)
    assert f"no other choice would {'' if gap < 1e-8 else 'save '}{said}" in told[1]


def test_what_costs_leave_out_is_told_beside_the_choice(texts, small_results):
    plain = " ".join(measure_words.how_chosen(with_budget(small_results), texts))
    assert "Not in these costs" not in plain
    assert "Material" not in plain
    works = small_results.works
    order = works.order.assign(work=[conservation.FIND, *works.order["work"][1:]])
    pairs = frozenset({("A", "cut_off_drain"), ("A", "grassed_waterway"), ("B", "cut_off_drain")})
    lacking = dataclasses.replace(
        small_results, works=dataclasses.replace(works, order=order, uncosted=pairs)
    )
    told = measure_words.how_chosen(with_budget(lacking), texts)
    assert "on 1 of the chosen hillsides a safe outlet is still to be found" in told[2]
    assert "of 2 chosen hillsides whose labour or length is not known" in told[3]
    money = measure_words.how_chosen(
        with_budget(small_results, budget_unit="money", day_cost=2.0), texts
    )
    (said,) = [one for one in money if one.startswith("Material is not counted for ")]
    for measure in small_results.proposal.chosen["measure"].unique():
        assert measure_words.name(str(measure), texts) in said


def test_a_sum_that_lacks_a_plot_is_a_lower_limit(texts, small_results):
    chosen = small_results.proposal.chosen
    gains = [np.nan, *[10.0] * (len(chosen) - 1)]
    lacking = with_budget(small_results, chosen.assign(soil_saved_counted_t_yr=gains))
    told = " ".join(measure_words.how_chosen(lacking, texts))
    assert f"the measures chosen save at least {10 * (len(chosen) - 1)} t" in told
    assert "on 1 plots can't be counted: sums are lower limits" in told


def test_plots_too_steep_for_annual_crops_that_bear_nothing_are_counted(texts, small_results):
    plots = small_results.plots
    said = " ".join(measure_words.whose_matter(small_results, texts))
    limit = small_results.plan.erosion.perennials_from_slope_pct
    assert f"From {limit:g} % on" not in said
    # Two neighbours of one hillside, of which one bears a measure, and one alone.
    chosen = small_results.proposal.chosen
    first = chosen["plot_id"].iloc[0]
    second, third = plots.loc[plots["plot_id"] != first, "plot_id"].iloc[:2]
    steep = plots["plot_id"].isin([second, third])
    site = plots.set_index("plot_id")["work_site"].to_dict() | {first: "S", second: "S", third: "T"}
    given = plots.assign(
        slope_mean_pct=np.where(steep, limit, limit - 0.1),
        slope_measured_pct=np.nan,
        work_site=plots["plot_id"].map(site),
    )
    reasons = {"plot_id": [second, third], "left_out_reason": ["other_measure", "budget_spent"]}
    proposal = small_results.proposal
    told_why = dataclasses.replace(proposal.priorities, left_out=pd.DataFrame(reasons))
    left = dataclasses.replace(
        small_results, proposal=dataclasses.replace(proposal, priorities=told_why)
    )
    results = with_budget(left, chosen[chosen["plot_id"] == first])
    told = measure_words.whose_matter(dataclasses.replace(results, plots=given), texts)
    (line,) = [one for one in told if one.startswith(f"From {limit:g} % on")]
    assert "2 such plots are left without any measure, 1 of them on hillsides" in line


ORDER = pd.DataFrame(
    {
        "work": ["find_outlet", "outlet", "waterway", "structures", "rows"],
        "work_structure": [None, None, "grassed_waterway", "hillside_ditch", None],
        "work_outlet": [None, "stream 4", "stream 4", "waterway to build", None],
        "work_waits": [(), (), (), (), ()],
    }
)
"""A hillside whose waterway takes some of its water."""


@pytest.mark.parametrize(
    ("waits", "said"),
    [
        (
            ("hillside_ditch",),
            "Until it is found do not build: hillside ditches beyond those that are drawn.",
        ),
        (("cut_off_drain",), "Until it is found do not build: cut-off drain."),
        (
            ("gathered_water", "cut_off_drain"),
            "Until it is found do not build: anything that is to lead the gathered water that no "
            "outlet takes yet and cut-off drain. No rows before where this water crosses.",
        ),
    ],
)
def test_a_step_for_an_outlet_says_what_waits_for_it_and_what_does_not(texts, waits, said):
    order = ORDER.assign(work_waits=[waits, (), (), (), ()])
    first = measure_words.steps(order, texts)[0]
    assert first == (
        f"Find a safe outlet first: a technician decides. {said} Built all the same, since they "
        "have an outlet of their own: grassed waterway to stream 4 and hillside ditches to "
        "waterway to build."
    )
    alone = measure_words.steps(order[order["work"].isin(["find_outlet", "rows"])], texts)
    assert "all the same" not in alone[0]
    assert alone[1].startswith("Lay the rows")


def test_hillsides_that_wait_for_an_outlet_are_counted_apart(small_results, texts):
    works = small_results.works
    first = works.order.iloc[:1].assign(work="find_outlet", work_waits=[("hillside_ditch",)])
    sites = small_results.plots["work_site"]
    other = sites[sites != "Hill-S01"].iloc[0]
    order = pd.concat([first, first.assign(work_site=other)], ignore_index=True)
    some = dataclasses.replace(
        small_results,
        works=dataclasses.replace(works, order=order, waiting=frozenset({other})),
    )
    said = " ".join(measure_words.whose_matter(some, texts))
    assert "On 1 of these hillsides some water has no known safe outlet" in said
    assert "On 1 more hillside nothing is chosen, since what would save most leads water" in said
    assert len(measure_words.works(some, texts)) == 2
    assert "more hillside" not in " ".join(measure_words.whose_matter(small_results, texts))
