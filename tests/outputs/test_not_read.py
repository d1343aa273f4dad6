"""What wasn't read in print is marked where staff read numbers: on the page and on the sheet."""

from __future__ import annotations

import io
from dataclasses import replace

import pypdf
import pytest

from districtplan.conservation import catalogue
from districtplan.handbook import Handbook, packaged
from districtplan.outputs.not_read import not_read
from districtplan.outputs.page import work
from districtplan.outputs.sheets import work_page
from districtplan.plan import Plan
from tests.support import tweaked


def with_book(results, book):
    return replace(results, handbook=book)


def choosing(results, measure):
    """The run, as if all that is chosen were one measure."""
    proposal = results.proposal
    chosen = proposal.priorities.chosen
    own = chosen["measure"].astype(object).map(lambda _: measure)
    priorities = replace(proposal.priorities, chosen=chosen.assign(measure=own))
    return replace(results, proposal=replace(proposal, priorities=priorities))


def all_read(book: Handbook) -> Handbook:
    tables = {
        name: replace(table, rows=table.rows.assign(provenance="read"))
        for name, table in book.tables.items()
    }
    return Handbook(tables)


def test_memory_is_marked_with_what_it_stands_behind(small_results, texts):
    """Of grass strips P (Roose 1977) and width are recalled; plants a metre have no source."""
    (said,) = not_read(choosing(small_results, "grass_strips"), texts)
    assert "grass strips or live barriers" in said
    for mark in (
        "share of the loss that is left [memory]",
        "width [memory]",
        "plants to raise [common practice, no source]",
        "how far apart [judgement]",
    ):
        assert mark in said
    assert "labour" not in said


def test_rules_of_spacing_and_labour_are_marked(small_results, texts):
    book = tweaked("measure_costs", 6, "days", 12.0)
    assert [one.name for one in catalogue(book) if one.days == 12] == ["hillside_ditch"]
    (said,) = not_read(with_book(choosing(small_results, "hillside_ditch"), book), texts)
    assert "how far apart [memory]" in said
    assert "labour [judgement]" in said


def test_an_equation_of_rain_and_a_cover_by_crop_are_marked(small_results, texts):
    soil = {
        "rain_equation": "roose",
        "rain_annual_mm": 1100,
        "erodibility_t_ha_h_ha_mj_mm": 0.03,
        "cover": "hurni cereals and pulses",
    }
    told = small_results.plan.model_dump(exclude_unset=True) | {"soil": soil}
    some = replace(small_results, plan=Plan.model_validate(told))
    said = not_read(some, texts)[0]
    assert "of the soil loss: " in said
    assert "rain erosivity from rain [memory] and cover factor [memory]" in said


def test_what_was_read_has_no_mark(small_results, texts):
    assert not_read(with_book(small_results, all_read(small_results.handbook)), texts) == []


@pytest.mark.parametrize("measure", [one.name for one in catalogue(packaged())])
def test_every_measure_can_be_told(small_results, texts, measure):
    for said in not_read(choosing(small_results, measure), texts):
        assert "[" in said


def test_page_and_sheet_carry_the_marks(small_results, texts):
    said = not_read(small_results, texts)
    assert any("[memory]" in one for one in said)
    assert work.work(small_results, [], (39.0, -9.0), texts)["lead"][-len(said) :] == said
    files = work_page.render(small_results, texts)
    for content in files.values():
        pages = pypdf.PdfReader(io.BytesIO(content)).pages
        told = " ".join(" ".join(page.extract_text() for page in pages).split())
        for one in said:
            assert one in told
