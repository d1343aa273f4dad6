"""Demonstration plots as they leave a run: tables, layers, workbook, page data, paper, words."""

from __future__ import annotations

import csv
import dataclasses
import io
import itertools
import json

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pypdf
import pytest

from districtplan.accepted import Given
from districtplan.demos import candidates, explain
from districtplan.demos.allot import THINNED
from districtplan.demos.cover import Cover
from districtplan.demos.rules import Kind
from districtplan.outputs import (
    demo_words,
    demos_csv,
    explanation,
    layers,
    manifest,
    page,
    wording,
    workbook,
)
from districtplan.outputs.page import cut, shapes, teach
from districtplan.outputs.plot_table import dictionary
from districtplan.outputs.sheets import demo_page
from tests.outputs.page_data import block_of, data_of, held_in, naturals, signed
from tests.outputs.taught import taught_by


@pytest.fixture(scope="module")
def taught(small_results):
    return taught_by(small_results)


@pytest.fixture(scope="module")
def torn(small_results):
    """A plan that can't be kept."""
    return taught_by(small_results, plots=3, forced_in=["A-01"], forced_out=["A-01", "A-02"][1:],
                     village_max=0)  # fmt: skip


def rows_of(files: dict[str, bytes], name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(files[name].decode(), newline="")))


def pages(content: bytes) -> list[str]:
    read = pypdf.PdfReader(io.BytesIO(content)).pages
    return [" ".join(page.extract_text().split()) for page in read]


@pytest.mark.slow
def test_without_demonstration_plots_there_is_nothing_of_them(small_results, texts):
    assert demos_csv.render(small_results, texts) == {}
    assert demo_page.render(small_results, texts) == {}
    assert not dictionary(small_results)["name"].str.startswith("demo").any()
    data = data_of(page.render(small_results, texts))
    assert data["teach"] is None
    assert not any(said["teach"] for said in data["plots"]["said"].values())
    assert "teach" not in data["findings"]
    assert "demos" not in json.loads(manifest.render(small_results, {})["run.json"])
    book = openpyxl.load_workbook(
        io.BytesIO(workbook.render(small_results, texts)["district.xlsx"])
    )
    assert texts.say("workbook.demos") not in book.sheetnames


def test_every_plot_and_every_village_is_in_a_table(taught, texts):
    files = demos_csv.render(taught, texts)
    assert set(files) == {
        "demos.csv", "demos/plots.csv", "demos/villages.csv", "demos/curve.csv",
        "demos/left_out.csv", "demos/compared.csv",
    }  # fmt: skip
    chosen = rows_of(files, "demos.csv")
    assert len(chosen) == len(taught.demos.chosen) == 2
    assert len(rows_of(files, "demos/plots.csv")) == len(taught.plots)
    villages = rows_of(files, "demos/villages.csv")
    assert len(villages) == 3
    assert sum(int(row["demo_farmers"]) for row in villages) == taught.demos.farmers
    told = dictionary(taught).set_index("name")
    assert all(name in told.index for name in chosen[0])
    assert "demos" in told["tables"]["demo_runner_up"]


@pytest.mark.parametrize("named", [False, True])
def test_names_are_there_only_where_the_plan_asks(small_results, results_with_names, texts, named):
    names = results_with_names.plots.set_index("plot_id")["farmer_name"].dropna()
    standing = taught_by(results_with_names).demos.plots.set_index("plot_id")["demo_standing"]
    able = [one for one in names.index if standing[one] == "candidate"]
    plot = next(one for one in able if names[one].isascii() and len(names[one]) < 25)
    own = results_with_names if named else small_results
    taught = taught_by(own, plots=1, forced_in=[plot], steep_village_pct=100.0)
    assert ("farmer_name" in rows_of(demos_csv.render(taught, texts), "demos.csv")[0]) is named
    (file,) = demo_page.render(taught, texts).values()
    assert (names[plot] in pages(file)[0]) is named


def test_text_of_the_plan_is_no_formula(taught, texts):
    files = demos_csv.render(
        taught_by(taught, messages=[{"name": "=1+1", "treatments": ["@x"]}]), texts
    )
    row = rows_of(files, "demos.csv")[0]
    assert row["demo_message"] == "'=1+1"
    assert row["demo_treatments"] == "'@x"


def test_layers_tell_where_farmers_are_but_not_who(taught, texts, tmp_path):
    path = tmp_path / "plots.gpkg"
    path.write_bytes(layers.render(taught, texts)["plots.gpkg"])
    chosen = gpd.read_file(path, layer="demos")
    assert chosen["plot_id"].tolist() == taught.demos.chosen["plot_id"].tolist()
    farmers = gpd.read_file(path, layer="demo_farmers")
    assert list(farmers.columns) == ["demos_in_reach", "geometry"]
    assert (farmers["demos_in_reach"] > 0).sum() == taught.demos.farmers_reached
    halves = gpd.read_file(path, layer="demo_halves")
    assert set(halves["plot_id"]) == set(taught.demos.laid)


def test_the_workbook_has_a_sheet_of_them(taught, texts):
    book = openpyxl.load_workbook(io.BytesIO(workbook.render(taught, texts)["district.xlsx"]))
    said = [row[0] for row in book[texts.say("workbook.demos")].iter_rows(values_only=True)]
    assert said[0] == demo_words.finding(taught.demos, taught.plan.demos, texts)[0]
    assert set(taught.demos.chosen["plot_id"]) <= set(said)
    assert texts.say("workbook.demo_villages") in book.sheetnames


def test_the_page_says_of_every_plot_why(taught, texts):
    data = data_of(page.render(taught, texts))
    teach = data["teach"]
    assert data["findings"]["teach"][0].startswith("2 demonstration plots: ")
    told = {plot: said["teach"] for plot, said in data["plots"]["said"].items()}
    assert set(told) == set(taught.plots["plot_id"])
    chosen = taught.demos.chosen["plot_id"].tolist()
    for plot, (first, *_) in told.items():
        assert first.startswith("This is a demonstration plot") is (plot in chosen)
    assert [row["id"] for row in teach["plots"]] == chosen
    assert [row["number"] for row in teach["plots"]] == [1, 2]
    assert [data["plots"]["id"][row["place"]] for row in teach["plots"]] == chosen
    assert teach["district"]["curve"]["now"] == 2
    # What is shown aloud counts one as one.
    assert not any(" 1 farmers" in sentence for said in told.values() for sentence in said)


@pytest.mark.parametrize("asked", [{}, {"plots": 1, "reach_m": 5000.0}])
def test_the_page_of_a_village_tells_of_its_own_farmers_and_where_they_go(
    small_results, texts, asked
):
    taught = taught_by(small_results, **asked)
    files = page.render(taught, texts)
    stems = block_of(files["index.html"].decode())["files"]["villages"]
    names = block_of(files["index.html"].decode())["villages"]["names"]
    found, gone, alone = taught.demos, set(), []
    numbers = {plot: at for at, plot in enumerate(found.chosen["plot_id"], 1)}
    for name, stem in zip(names, stems, strict=True):
        text = files[f"villages/{stem}.html"].decode()
        data, own = block_of(text), held_in(text)[stem]["plots"]
        teach = data["teach"]
        (row,) = found.villages[found.villages["village"] == name].to_dict("records")
        reached, farmers = row["demo_farmers_reached"], row["demo_farmers"]
        counts = f"{reached} of {farmers} farmers of {name} have a demonstration plot "
        assert data["findings"]["teach"][0].startswith(counts)
        goes = found.served.loc[found.served["village"] == name, "plot_id"]
        here = found.chosen.loc[found.chosen["village"] == name, "plot_id"]
        assert {one["id"] for one in teach["plots"]} == {*goes, *here}
        gone |= {*goes} - {*here}
        for one in teach["plots"]:
            assert one["number"] == numbers[one["id"]]
            place = own["id"].index(one["id"]) if one["id"] in own["id"] else None
            assert one["place"] == place
            assert (place is None) == (one["village"] != name)
        assert teach["district"] is None
        ((at, number),) = ((told["at"], told["farmers"]) for told in teach["villages"])
        assert (at, number) == (0, farmers)
        alone += naturals(teach["people"]["vertices"])
        assert len(naturals(teach["reach"]["vertices"])) == len(teach["plots"])
        assert len(teach["sides"]) == sum(one in found.laid for one in here)
    assert len(alone) == (found.reached == 0).sum()
    # Of few who are reached all go to their own village; where all are, some go to another.
    assert bool(gone) is bool(asked) is not bool(alone)


@pytest.mark.parametrize("way", ["straight line", "paths"])
def test_who_comes_to_a_plot_is_drawn_on_a_village_s_page_as_on_the_district_s(taught, texts, way):
    asked = taught.plan.demos.model_copy(update={"reach_by": way})
    plan = taught.plan.model_copy(update={"demos": asked})
    ordered = cut.in_order(dataclasses.replace(taught, plan=plan))
    origin = shapes.origin_of(ordered.plots)

    def drawn(results):
        told = teach.village(results, origin, texts)
        starts = np.cumsum([0, *naturals(told["reach"]["vertices"])])
        moves = np.array([signed(m) for m in naturals(told["reach"]["moves"])]).reshape(-1, 2)
        points = np.cumsum(moves, axis=0)
        rings = [points[a:b].tolist() for a, b in itertools.pairwise(starts)]
        return {one["number"]: ring for one, ring in zip(told["plots"], rings, strict=True)}

    whole = drawn(ordered)
    for part in cut.villages(ordered):
        own = drawn(part)
        assert own == {number: whole[number] for number in own}


def test_a_plot_is_explained_on_the_command_line_too(taught, small_results, texts):
    plot = taught.demos.chosen["plot_id"][0]
    title = texts.say("explain.demos.title")
    (step,) = (one for one in explanation.explain(taught, plot, texts) if one.title == title)
    assert step.result.startswith("This is a demonstration plot.")
    assert title not in {one.title for one in explanation.explain(small_results, plot, texts)}


AS_WEIGHED = ", counted as the plan weighs them"


@pytest.mark.parametrize(
    ("above", "weighed", "said"),
    [
        (0.0, False, "no other choice reaches more"),
        (1.0, False, "no other choice reaches more than 1 further farmer"),
        (3.0, False, "no other choice reaches more than 3 further farmers"),
        # Proved is the sum of weights alone: one more woman may be reached for three men.
        (0.0, True, f"no other choice reaches more{AS_WEIGHED}"),
        (0.3, True, f"no other choice reaches more than 1 further farmer{AS_WEIGHED}"),
        (2.2, True, f"no other choice reaches more than 3 further farmers{AS_WEIGHED}"),
    ],
)  # fmt: skip
def test_how_good_a_choice_is_stands_in_words(taught, texts, above, weighed, said):
    own = taught.demos.cover
    cover = dataclasses.replace(own, bound=own.value + above)
    found = dataclasses.replace(taught.demos, cover=cover, weighed=weighed)
    assert demo_words.finding(found, taught.plan.demos, texts)[0].endswith(f"{said}.")


@pytest.mark.parametrize(
    ("gains", "weighed", "said"),
    [
        ([1.0, 0.0], False, "would reach about 1 farmer more, a second no farmer more."),
        ([21.0, 6.0], True, f"about 21 farmers more, a second about 6 farmers more{AS_WEIGHED}."),
        ([1.0], False, "One plot more would reach about 1 farmer more."),
        ([-2.0], False, "One plot more would reach no farmer more."),
    ],
)  # fmt: skip
def test_what_more_plots_would_give_is_said_of_one_and_of_many(taught, texts, gains, weighed, said):
    now = taught.plan.demos.plots
    beyond = pd.DataFrame(
        {
            "demo_number": [now + 1.0 + at for at in range(len(gains))],
            "demo_reached": 1.0, "demo_bound": 1.0, "demo_gain": gains,
        }
    )  # fmt: skip
    found = dataclasses.replace(taught.demos, curve=beyond, weighed=weighed)
    told = " ".join(demo_words.finding(found, taught.plan.demos, texts))
    assert said in told


@pytest.mark.parametrize(
    ("kind", "enough", "said"),
    [
        ("apart", 1325.83, "If 1,320 m between plots are enough,"),
        ("apart", 7.9, "If 7 m between plots are enough,"),
        ("budget", 0.25, "If there are 0.3 kits,"),
        ("count", 3.0, "If the plots asked for are 3,"),
    ],
)
def test_relief_is_rounded_towards_what_can_be_kept(torn, texts, kind, enough, said):
    some = torn.demos.conflicts.iloc[:1].assign(demo_condition=kind, demo_enough=enough)
    found = dataclasses.replace(torn.demos, conflicts=some)
    assert any(one.startswith(said) for one in demo_words.conflicts(found, torn.plan.demos, texts))


@pytest.mark.parametrize(
    ("adds", "stopped", "said"),
    [
        (0.0, ("count",), "It would be needed only if another one near it were given up."),
        (3.0, ("count",), "if there were more demonstration plots;"),
        (3.0, ("count", "farmer"), "demonstration plots and its farmer gave up the other one;"),
        (0.0, ("out",), "if the plan no longer forced it out;"),
    ],
)
def test_what_would_change_it_is_no_less_than_what_stands_in_the_way(
    taught, texts, adds, stopped, said
):
    plots = taught.demos.plots
    at = plots.index[plots["demo_shows"].isna() & (plots["demo_standing"] != "no candidate")][0]
    row = plots.loc[[at]].assign(demo_adds=adds, demo_stopped=[stopped])
    found = dataclasses.replace(taught.demos, plots=row, weighed=True)
    (told,) = demo_words.of_plots(found, texts).values()
    assert said in told[-1]
    assert any(AS_WEIGHED in one for one in told)


@pytest.mark.parametrize(
    ("key", "answer"),
    [("weight_women", {"sex": "female"}), ("weight_youth", {"youth": True}),
     ("weight_never_reached", {"reached": False})],
)  # fmt: skip
def test_a_weight_that_counts_nobody_more_is_told(taught, texts, key, answer):
    asked = taught.plan.demos.model_copy(update={key: 2.0})
    plan = taught.plan.model_copy(update={"demos": asked})
    said = texts.say(f"demos.{key}_nobody")
    empty = Given(pd.DataFrame(), pd.DataFrame(), 3)
    some = Given(pd.DataFrame([answer | {"farmer_id": "F1"}]), pd.DataFrame(), 3)
    for homesteads, told in ((empty, True), (some, False)):
        beside = {**taught.beside, "homesteads": homesteads, "answers": empty}
        results = dataclasses.replace(taught, plan=plan, beside=beside)
        assert (said in wording.noticed(results, texts)) is told
    assert said not in wording.noticed(taught, texts)


def test_a_clock_that_stopped_the_search_is_told_on_page_and_in_the_manifest(taught, texts):
    own = taught.demos.cover
    stopped = Cover(own.chosen, own.value, own.bound + 1, own.greedy_value, reproducible=False)
    results = dataclasses.replace(taught, demos=dataclasses.replace(taught.demos, cover=stopped))
    said = texts.say("demos.by_clock")
    assert said not in wording.noticed(taught, texts)
    assert said in wording.noticed(results, texts)
    data = block_of(page.render(results, texts)["index.html"].decode())
    assert said in data["findings"]["teach"]
    assert said in data["warnings"]
    told = json.loads(manifest.render(results, {})["run.json"])["demos"]
    assert told["reproducible"] is False
    assert told["gap"] > 0


def test_plots_that_are_not_kept_since_their_message_is_gone_are_named(taught, texts):
    said = texts.say("demos.ended", plots="A-02")
    gone = dataclasses.replace(taught.demos, ended=("A-02",))
    assert said not in wording.noticed(taught, texts)
    assert said in wording.noticed(dataclasses.replace(taught, demos=gone), texts)


def test_conflicts_come_first_and_nothing_is_chosen(torn, texts):
    assert torn.demos.cover is None
    said = demo_words.finding(torn.demos, torn.plan.demos, texts)
    assert said[0] == texts.say("demos.none")
    assert said[1].startswith("These can't be kept together: ")
    assert any(sentence.startswith("If ") for sentence in said)
    assert wording.noticed(torn, texts)[-len(said) :] != []
    assert set(said) <= set(wording.noticed(torn, texts))
    files = demos_csv.render(torn, texts)
    assert rows_of(files, "demos.csv") == []
    assert len(rows_of(files, "demos/conflicts.csv")) == len(torn.demos.conflicts)
    assert demo_page.render(torn, texts) == {}
    written = page.render(torn, texts)
    assert block_of(written["index.html"].decode())["teach"]["plots"] == []
    for name, text in written.items():
        if name.startswith("villages/"):
            told = block_of(text.decode())
            assert told["findings"]["teach"] == [texts.say("demos.plot.no_choice")]
            assert texts.say("demos.none") in told["warnings"]
    # Other parts of the run are there.
    assert workbook.render(torn, texts)["district.xlsx"]
    assert layers.render(torn, texts)["plots.gpkg"]


def test_what_could_not_be_proved_is_not_called_impossible(torn, texts):
    some = torn.demos.conflicts.assign(demo_proved=0)
    found = dataclasses.replace(torn.demos, conflicts=some)
    assert demo_words.finding(found, torn.plan.demos, texts)[1].startswith("No choice was found")
    found = dataclasses.replace(torn.demos, conflicts=some.iloc[:0])
    assert demo_words.finding(found, torn.plan.demos, texts) == [texts.say("demos.not_found")]


def test_every_code_has_its_words(texts):
    reasons = {*candidates.REASONS, THINNED}
    assert set(texts.section("demos.kept_out")) == set(texts.section("demos.change")) == reasons
    kinds = set(Kind.__args__)
    assert set(texts.section("demos.stopped")) == kinds
    assert set(texts.section("demos.eased")) == set(texts.section("demos.could_change")) == kinds
    either = {"message_at_least", "message_at_most"}
    assert set(texts.section("demos.asked")) == (kinds - {"message"}) | either
    why = {explain.NO_CANDIDATE, explain.NONE_ALLOWED, explain.ADDS_LESS, explain.ADDS_NOTHING}
    assert why < set(texts.section("demos.why"))


def test_a_page_for_each_plot_with_its_halves_and_a_form(taught, texts):
    files = demo_page.render(taught, texts)
    found = taught.demos
    assert sum(len(pages(file)) for file in files.values()) == len(found.chosen)
    told = " ".join(page for file in files.values() for page in pages(file))
    for row in found.chosen.itertuples():
        laid = found.laid.get(row.plot_id)
        if laid is not None:
            assert f"{10_000 / laid.net_area_m2:,.0f} kg from a hectare" in told
    assert f"on the {found.chosen['demo_side'].iloc[0]} hand of who stands at the foot" in told
    assert "Dry grain of the net plot, kg" in told
    assert demo_page.render(taught, texts) == files


def test_steep_plots_never_get_rows_up_and_down(taught, texts):
    steep = taught.demos.chosen["demo_up_down"] == 0
    told = [page for file in demo_page.render(taught, texts).values() for page in pages(file)]
    assert sum("Never up and down here" in page for page in told) == steep.sum() > 0


def test_a_provisional_plot_says_that_its_halves_wait(small_results, texts):
    taught = taught_by(small_results, plots=1, forced_in=["B3"], messages=[
        {"name": "rows", "treatments": ["rows"]},
    ])  # fmt: skip
    assert taught.demos.chosen["demo_provisional"].tolist() == [1]
    assert taught.demos.laid == {}
    (file,) = demo_page.render(taught, texts).values()
    assert texts.say("sheets.demo.why_provisional") in pages(file)[0]
