"""The page of where to work first in a village, read back."""

from __future__ import annotations

import dataclasses
import io

import numpy as np
import pandas as pd
import pypdf
import pypdfium2
import pytest

from districtplan import conservation
from districtplan.outputs import measure_words, work_words
from districtplan.outputs.sheets import hill_pages, work_page
from districtplan.outputs.sheets.build import sheets_of
from districtplan.outputs.sheets.paper import PLAIN, Paper, face
from districtplan.plan import Plan
from tests.outputs.test_measures import with_vetoes


@pytest.fixture(scope="module")
def files(small_results, texts):
    return work_page.render(small_results, texts)


def said(content: bytes, pages: slice = slice(None)) -> str:
    pages = pypdf.PdfReader(io.BytesIO(content)).pages[pages]
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def said_of_ridge(files: dict[str, bytes], pages: slice = slice(None)) -> str:
    named = (content for name, content in files.items() if "upper-tamba-ridge" in name)
    return said(next(named), pages)


def ink(content: bytes) -> np.ndarray:
    page = pypdfium2.PdfDocument(content)[0]
    return np.asarray(page.render(scale=1).to_pil())


def test_a_page_for_each_village_where_something_is_to_be_done(files, small_results):
    villages = small_results.proposal.chosen["village"].nunique()
    assert len(files) == villages
    for name, content in files.items():
        assert name.endswith("-work.pdf")
        assert len(pypdf.PdfReader(io.BytesIO(content)).pages) > 1


def test_where_no_plot_gets_a_sheet_no_village_gets_pages(small_results, texts):
    told = small_results.plan.model_dump(exclude_unset=True)
    plan = Plan.model_validate(told | {"sheets": {"plots": "none"}})
    assert work_page.render(dataclasses.replace(small_results, plan=plan), texts) == {}


def test_hillsides_their_plots_and_their_order_stand_on_it(files, small_results, texts):
    told = said_of_ridge(files, slice(1))
    (own, _) = work_words.by_village(small_results, texts, 12)["Upper Tamba Ridge"]
    assert told.index("Go first to hillside") < told.index("Must agree in writing")
    for hill in own:
        assert hill.summary.split(",", maxsplit=1)[0] in told
    hill = next(one for one in own if one.name == "Hill-S01")
    assert f"Why: {hill.why}." in told
    places = [told.index(step.short) for step in hill.steps]
    assert places == sorted(places)
    for plot in hill.plots:
        assert plot.plot_id in told


def test_what_is_raised_and_where_to_look_stand_on_it(files, small_results, texts):
    told = said_of_ridge(files, slice(1))
    nurseries = small_results.proposal.nurseries
    mine = nurseries[nurseries["village"] == "Upper Tamba Ridge"]
    assert len(mine)
    for row in mine.itertuples():
        assert f"{row.nursery_plants:,} plants to raise" in told
        assert "weeks before the rains" in told
    walk = measure_words.looked_at(small_results, texts)
    own = walk[walk["village"] == "Upper Tamba Ridge"]
    assert len(own)
    for row in own.itertuples():
        assert f"{row.plot_id}: {row.walk_reasons}" in told


def test_all_cautions_stand_on_it(files, texts):
    for content in files.values():
        told = said(content)
        for key in work_words.CARE:
            assert texts.say(key) in told


def test_it_is_black_and_white_and_keeps_off_the_edge(files):
    for content in files.values():
        picture = ink(content)
        assert np.ptp(picture[..., :3].astype(int), axis=2).max() == 0
        dark = np.argwhere(picture[..., 0] < 128)
        height, width = picture.shape[:2]
        (top, left), (bottom, right) = dark.min(axis=0), dark.max(axis=0)
        margin = 0.02 * height
        assert top > margin
        assert bottom < height - margin
        assert left > margin
        assert right < width - margin


def crowded(results):
    """Give every chosen plot a hillside of its own, with the steps of the one that is drawn."""
    plots = results.plots.assign(
        village="Sondo", work_site=[f"Sondo-S{at:02d}" for at in range(len(results.plots))]
    )
    order = results.works.order
    every = [order.assign(work_site=name) for name in plots["work_site"]]
    works = dataclasses.replace(results.works, order=pd.concat(every))
    return dataclasses.replace(results, plots=plots, works=works)


def test_what_has_no_room_is_told_in_brief_or_counted(small_results, texts, monkeypatch):
    some = crowded(small_results)
    ((name, content),) = work_page.render(some, texts).items()
    assert "sondo" in name
    told = said(content, pages=slice(1))
    hills = work_words.hills(some, texts)
    assert len(hills) > 8
    there = [hill.name in told for hill in hills]
    assert sum(there) > 1
    assert there == sorted(there, reverse=True)
    assert f"no room here: {there.count(False)}." in told
    # The first keeps its reason whatever the others are.
    assert told.count("Why: ") < sum(there)
    assert f"Why: {hills[0].why}." in told
    # All of them are told in full on the pages that follow, in the same order.
    told = said(content, pages=slice(1, None))
    places = [told.index(f" {hill.rank} {hill.name} ") for hill in hills]
    assert places == sorted(places)
    for hill in hills:
        assert told.count(f"Why: {hill.why}.") >= 1
        for plot in hill.plots:
            assert f"{plot.plot_id}: {plot.measure}. {plot.why}." in told
    assert "no room here" not in told
    monkeypatch.setattr(work_page, "HILLS_MAX", 3)
    (content,) = work_page.render(some, texts).values()
    assert f"no room here: {len(hills) - 3}. They are in the workbook." in said(content)


def test_a_hillside_in_full_has_its_steps_who_agrees_and_what_was_ruled_out(small_results, texts):
    vetoed = with_vetoes(small_results)
    told = said_of_ridge(work_page.render(vetoed, texts), slice(1, None))
    hill = next(one for one in work_words.hills(vetoed, texts) if one.name == "Hill-S01")
    for step in hill.steps:
        assert step.said in told
        assert step.facts in told
    for note in hill.notes:
        assert work_page.printable(note) in told
    assert len(hill.vetoes) == 2
    for plot_id, why in hill.vetoes:
        assert work_page.printable(f"{plot_id}: {why}") in told
    # What words mean is said once.
    assert told.count(work_words.explained(vetoed, texts)[0]) == 1


def test_days_stand_before_the_reason_where_all_plots_have_one_measure(small_results, texts):
    works = small_results.works
    owed = dataclasses.replace(works, days=works.days.assign(days_owed=2.25))
    some = dataclasses.replace(small_results, works=owed)
    hill = next(one for one in work_words.hills(some, texts) if one.name == "Hill-S01")
    told = said_of_ridge(work_page.render(some, texts), slice(1, None))
    for plot in hill.plots:
        assert f"{plot.plot_id}: owes 2.2 person-days. {plot.why}." in told


def test_what_was_ruled_out_elsewhere_in_the_village_is_told_too(small_results, texts):
    vetoed = with_vetoes(small_results)
    proposal = vetoed.proposal
    kept = proposal.priorities.chosen[proposal.priorities.chosen["plot_id"] == "A-04"]
    priorities = dataclasses.replace(proposal.priorities, chosen=kept)
    some = dataclasses.replace(
        vetoed, proposal=dataclasses.replace(proposal, priorities=priorities)
    )
    told = said_of_ridge(work_page.render(some, texts))
    assert "Ruled out in the field, on other hillsides" in told
    assert "A-03: all measures, on 27 February 2026. Reason: =slips" in told


def test_cautions_that_save_lives_stand_on_every_page(small_results, texts):
    for content in work_page.render(crowded(small_results), texts).values():
        pages = len(pypdf.PdfReader(io.BytesIO(content)).pages)
        assert pages > 2
        for page in range(pages):
            for key in work_words.CARE[: work_page.STOP]:
                assert texts.say(key) in said(content, slice(page, page + 1))


def test_a_hillside_that_goes_on_overleaf_is_named_again(small_results, texts):
    paper = Paper("Hills", small_results.plan.district.planting_date, texts.language)
    lines = tuple(hill_pages.Line(f"Plot {at}.", title=at == 49) for at in range(60))
    told = [hill_pages.Told("7", "Hill-S01", "strips", "continued", lines)]
    pages = []

    def turned():
        paper.page()
        pages.append(len(pages))
        return 20.0

    hill_pages.draw(paper, told, 20.0 + 51.5 * PLAIN.line_mm + 0.8, turned)
    content = paper.finish()
    first, second = (said(content, slice(at, at + 1)) for at in range(2))
    assert len(pages) == 2
    assert first.startswith("7 Hill-S01 strips Plot 0. ")
    # A title stays with what it stands over.
    assert first.endswith("Plot 48.")
    assert second.startswith("7 Hill-S01 continued Plot 49. Plot 50.")
    assert second.endswith("Plot 59.")


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Plots: A, B.", "Plots: A, B."),
        ("x" * 40, "x" * 29 + "…"),
        ("Čáp", "Čáp"),
        ("\u05e9\u05dc\u05d5\u05dd", "▯▯▯▯"),
        ("\U0001f9a9 ok", "▯ ok"),
        ("a\u0301\u202e", "a▯▯"),
    ],
)
def test_names_in_sentences_can_be_set(text, shown):
    assert work_page.printable(text) == shown
    assert all(ord(sign) in face("").wide for sign in shown)


def test_the_same_input_gives_the_same_bytes(files, small_results, texts):
    assert work_page.render(small_results, texts) == files


def test_a_plots_sheet_names_its_hillside_and_what_comes_first_there(small_results, texts):
    plots = small_results.plots
    sheets = {
        sheet.plot_id: sheet for sheet in sheets_of(small_results, texts, np.arange(len(plots)))
    }
    site = plots.set_index("plot_id")["work_site"]
    first = small_results.works.order.drop_duplicates("work_site").set_index("work_site")["work"]
    assert len(first) >= 1
    for plot_id, sheet in sheets.items():
        told = sheet.walk.sentences[0]
        if site[plot_id] in first:
            assert told.startswith(f"Hillside: {site[plot_id]}.")
            assert texts.say(f"work.short.{first[site[plot_id]]}") in told


def test_water_that_crosses_a_hillside_not_laid_out_is_looked_at_before_rows(small_results, texts):
    row = {"work_site": "Far-S09", "water_flags": ("crossed_by_flow",)}
    (told,) = work_words.before_rows(row, small_results, texts)
    assert told.startswith(
        "Hillside: Far-S09. Its works are not laid out: before rows a technician"
    )
    assert work_words.before_rows(row | {"water_flags": ()}, small_results, texts) == []


def test_where_gathered_water_has_no_outlet_nothing_is_set_out(small_results, texts):
    plots = small_results.plots
    waits = plots.assign(outlet_flags=[(conservation.GATHERED,)] * len(plots))
    results = dataclasses.replace(small_results, plots=waits)
    at = np.flatnonzero(plots["row_method"] == "straight")[:1]
    (sheet,) = sheets_of(results, texts, at)
    assert sheet.alarm.startswith("NO ROWS YET: gathered water")
    assert sheet.walk.title == texts.say("sheets.walk.later_title")
    assert (sheet.pegs, sheet.carried, sheet.drawing.rows) == (None, (), ())
