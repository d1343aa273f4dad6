"""The sheets of plots that couldn't be used, read back."""

from __future__ import annotations

import dataclasses
import io

import pandas as pd
import pypdf
import pytest

from districtplan.outputs.sheets import aside_page

NAME = "sheets/set-aside.pdf"


def pages(content: bytes) -> list[str]:
    return [
        " ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(content)).pages
    ]


def aside(*rows):
    names = ["source_row", "plot_id", "reason", "remedy", "village"]
    return pd.DataFrame(rows, columns=names)


def test_each_village_has_its_own_page(small_results, texts):
    lower, upper, last = pages(aside_page.render(_with_more(small_results), texts)[NAME])
    assert "Lower" in lower
    assert "Row 3, plot B-1" in lower
    assert "Upper Tamba Ridge" in upper
    assert "Rows of this file that could not be used: 2" in upper
    assert "plots.gpkg" in upper
    for said in (
        "Row 13, plot A-09",
        "What is wrong: the outline crosses itself.",
        "What to do: Redraw the outline.",
    ):
        assert said in upper
        assert said not in lower
    assert "Village not given" in last
    assert "Row 14, plot without an id What is wrong: the id is blank." in last


def _with_more(results):
    more = aside(
        (3, "B-1", "the area, 0 ha, is below", "Check the outline", "Lower"),
        (15, "A-11", "the id stands in 2 rows: 15, 16", "Give each its own", "Upper Tamba Ridge"),
    )
    return dataclasses.replace(results, set_aside=pd.concat([more, results.set_aside]))


def test_a_plot_of_a_text_file_is_found_by_its_lines(small_results, texts):
    lines = small_results.set_aside.assign(file_lines=["lines 240 to 251", "line 9"])
    odd = dataclasses.replace(small_results, set_aside=lines)
    first, last = pages(aside_page.render(odd, texts)[NAME])
    assert "Lines 240 to 251, plot number 13 of the file: A-09 What is wrong" in first
    assert "Line 9, plot number 14 of the file: without an id" in last


def test_nothing_set_aside_no_sheet(small_results, texts):
    assert aside_page.render(dataclasses.replace(small_results, set_aside=aside()), texts) == {}


def test_every_row_is_on_some_page(small_results, texts):
    rows = [(row, f"P{row:03d}", "there is no outline", "Draw it", "Low") for row in range(90)]
    told = pages(
        aside_page.render(dataclasses.replace(small_results, set_aside=aside(*rows)), texts)[NAME]
    )
    assert len(told) > 3
    for row in range(90):
        assert sum(f"Row {row}, plot P{row:03d}" in page for page in told) == 1


def test_more_rows_than_are_printed_are_counted(small_results, texts, monkeypatch):
    monkeypatch.setattr(aside_page, "ROWS_MAX", 2)
    told = pages(aside_page.render(_with_more(small_results), texts)[NAME])
    assert "2 more rows are in set_aside.csv alone" in told[0]


@pytest.mark.parametrize(
    "name", ["<b>x</b>", "=1+1", "قرية", "a" * 200, "\u202eevil", "\U0001d518"]
)
def test_hostile_names_are_printed_or_shortened(small_results, texts, name):
    odd = aside((1, name, "the id " + "x" * 40 + " is wrong", "Type it again", name))
    content = aside_page.render(dataclasses.replace(small_results, set_aside=odd), texts)[NAME]
    assert (
        content == aside_page.render(dataclasses.replace(small_results, set_aside=odd), texts)[NAME]
    )
    assert "Type it again" in pages(content)[0]
