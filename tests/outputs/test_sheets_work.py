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
from districtplan.outputs.sheets import work_page
from districtplan.outputs.sheets.build import sheets_of
from districtplan.outputs.sheets.paper import face


@pytest.fixture(scope="module")
def files(small_results, texts):
    return work_page.render(small_results, texts)


def said(content: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def ridge(files: dict[str, bytes]) -> str:
    return said(next(content for name, content in files.items() if "upper-tamba-ridge" in name))


def ink(content: bytes) -> np.ndarray:
    page = pypdfium2.PdfDocument(content)[0]
    return np.asarray(page.render(scale=1).to_pil())


def test_a_page_for_each_village_where_something_is_to_be_done(files, small_results):
    villages = small_results.proposal.chosen["village"].nunique()
    assert len(files) == villages
    for name, content in files.items():
        assert name.endswith("-work.pdf")
        assert len(pypdf.PdfReader(io.BytesIO(content)).pages) == 1


def test_hillsides_their_plots_and_their_order_stand_on_it(files, small_results, texts):
    told = ridge(files)
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
    told = ridge(files)
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
    assert len(pypdf.PdfReader(io.BytesIO(content)).pages) == 1
    told = said(content)
    hills = work_words.hills(some, texts)
    assert len(hills) > 8
    there = [hill.name in told for hill in hills]
    assert sum(there) > 2
    assert there == sorted(there, reverse=True)
    assert f"no room here: {there.count(False)}." in told
    # The first is told in full whatever the others are.
    assert told.count("Why: ") < sum(there)
    assert f"Why: {hills[0].why}." in told
    monkeypatch.setattr(work_page, "HILLS_MAX", 3)
    (content,) = work_page.render(some, texts).values()
    assert f"no room here: {len(hills) - 3}." in said(content)


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
