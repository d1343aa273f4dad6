from __future__ import annotations

import dataclasses
import io
import re
import time
import zipfile

import openpyxl
import pandas as pd
import pytest

from districtplan.outputs import work_words, workbook
from tests.outputs.test_measures import with_vetoes

SHEETS = [
    "Read first",
    "Summary",
    "Villages",
    "Order in all",
    "Orders",
    "Poles",
    "Deliveries",
    "Distribution",
    "Calendar",
    "Labour",
    "Work by week",
    "Work in all",
    "Margins",
    "Plots",
    "Kits",
    "Assumptions",
    "Measures",
    "Order of work",
    "Nurseries",
    "Walk over",
    "Set aside",
    "Columns",
    "Sources",
]


def opened(results, texts, **options):
    content = workbook.render(results, texts)["district.xlsx"]
    return openpyxl.load_workbook(io.BytesIO(content), **options)


@pytest.fixture(scope="module")
def book(small_results, texts):
    return opened(small_results, texts)


@pytest.fixture(scope="module")
def cached(small_results, texts):
    return opened(small_results, texts, data_only=True)


def test_same_results_same_bytes(small_results, texts):
    first = workbook.render(small_results, texts)
    # Past a full second, so that a clock in a file's header would show.
    time.sleep(1.1)
    assert workbook.render(small_results, texts) == first


def test_sheets(book):
    assert book.sheetnames == SHEETS


def test_rows_of_plots_and_sources_hold_no_formulas(book):
    formulas = {
        sheet.title
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "f"
    }
    assert formulas == {"Summary", "Villages", "Order in all", "Orders", "Kits"}


def test_totals_are_right_both_live_and_stored(book, cached, small_results):
    live, stored = book["Villages"], cached["Villages"]
    last = live.max_row
    assert live.cell(last, 1).value == "Whole district"
    heads = [cell.value for cell in live[1]]
    for column in range(3, live.max_column + 1):
        if live.cell(2, column).value is None:
            continue
        letter = live.cell(last, column).column_letter
        assert live.cell(last, column).value == f"=SUM({letter}2:{letter}{last - 1})"
        values = [stored.cell(row, column).value for row in range(2, last)]
        assert stored.cell(last, column).value == pytest.approx(sum(values), rel=1e-12)
    assert stored.cell(last, heads.index("Holes") + 1).value == small_results.district["holes"]


def test_text_is_never_a_formula_nor_a_number(book, hostile):
    sheet = book["Plots"]
    cells = {cell.value: cell.data_type for row in sheet.iter_rows() for cell in row[:2]}
    assert cells["=B+1"] == "s"
    assert cells["007"] == "s"
    assert cells[hostile] == "s"


def test_no_link_is_made(small_results, texts):
    count = len(small_results.plots)
    plots = small_results.plots.assign(village=[f"https://a.example/{n}" for n in range(count)])
    content = workbook.render(dataclasses.replace(small_results, plots=plots), texts)
    with zipfile.ZipFile(io.BytesIO(content["district.xlsx"])) as archive:
        assert not [name for name in archive.namelist() if "worksheets/_rels" in name]


def test_tables_print_as_tables(book):
    bare = {"Poles", "Deliveries", "Distribution", "Labour", "Work by week", "Work in all"}
    for title in set(SHEETS[1:]) - bare - {"Margins"}:
        sheet = book[title]
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.page_setup.fitToHeight == 0
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.print_title_rows == "$1:$1"
        assert sheet.print_title_cols == "$A:$A"
        assert sheet.freeze_panes == "B2"
        letters = [cell.column_letter for cell in sheet[1]]
        wide = [sheet.column_dimensions[letter].width for letter in letters]
        across = sheet.page_setup.fitToWidth or 1
        page = wide[0] + sum(wide[1:]) / across
        # The print stays readable, and no page across is left nearly empty.
        assert page <= workbook.PAGE_CHARS * 1.1
        assert across == 1 or page > workbook.PAGE_CHARS / 2


def test_read_first_says_the_finding_and_the_cautions(book, small_results, texts):
    said = [cell.value for cell in book["Read first"]["A"] if cell.value]
    assert said[0] == "Invented Hills: a season of hand-planted beans"
    assert any("of 12 plots are too steep for rows alone" in line for line in said)
    assert any("2 of 14 rows of the plots file could not be used" in line for line in said)
    assert small_results.warnings[0] in said
    for name, caution in texts.section("cautions").items():
        assert name == "title" or caution in said


def test_rows_leave_the_memory_and_empty_cells_are_not_written(enrolled_results, texts):
    """Over 100,000 plots empty cells, and texts kept to the end, cost two gigabytes."""
    content = workbook.render(enrolled_results, texts)["district.xlsx"]
    with zipfile.ZipFile(io.BytesIO(content)) as parts:
        assert "xl/sharedStrings.xml" not in parts.namelist()
        sheets = [name for name in parts.namelist() if name.startswith("xl/worksheets/sheet")]
        written = b"".join(parts.read(name) for name in sheets)
    assert b"<v>" in written
    assert re.findall(rb"<c [^>]*/>", written) == []


def test_an_empty_cell_has_the_style_of_its_column(book):
    sheet = book["Plots"]
    heads = [cell.value for cell in sheet[1]]
    letter = sheet.cell(1, heads.index("Row bearing, true [°]") + 1).column_letter
    assert sheet.column_dimensions[letter].number_format == "0"


def test_sources_sheet_marks_what_is_from_memory(book):
    head, *rows = book["Sources"].iter_rows(values_only=True)
    provenance = head.index("How the source was met")
    assert {"read", "memory"} <= {row[provenance] for row in rows}
    assert all(row[provenance - 1] for row in rows)


def test_no_error_of_a_bearing_that_is_not_printed(small_results, texts):
    plots = small_results.plots.assign(row_bearing_se_deg=12.5)
    changed = dataclasses.replace(small_results, plots=plots)
    head, *rows = opened(changed, texts)["Plots"].iter_rows(values_only=True)
    bearing, error = (
        head.index(name) for name in ("Row bearing, true [°]", "Bearing, give or take [°]")
    )
    assert {row[error] for row in rows if row[bearing] is None} == {None}
    assert {row[error] for row in rows if row[bearing] is not None} == {12.5}


def test_purchases_stand_before_counts(book):
    heads = [cell.value for cell in book["Villages"][1]]
    assert heads.index("enrolled: Seed [kg]") < heads.index("Holes")


def test_nothing_set_aside_is_said(small_results, texts):
    nothing = dataclasses.replace(small_results, set_aside=small_results.set_aside.iloc[:0])
    sheet = opened(nothing, texts)["Set aside"]
    assert sheet["A1"].value == "All rows of the plots file were used."


def test_more_plots_than_a_sheet_holds_is_said(small_results, texts, monkeypatch):
    monkeypatch.setattr(workbook, "ROWS_MAX", 5)
    assert "plots.parquet" in opened(small_results, texts)["Plots"]["A1"].value


def test_no_farmer_unless_asked(book, results_with_names, texts):
    assert "Farmer" not in [cell.value for cell in book["Plots"][1]]
    named = opened(results_with_names, texts)["Plots"]
    assert "Farmer" in [cell.value for cell in named[1]]


def test_sheets_of_work_say_on_paper_when_to_stop(book, texts):
    stop = texts.say("cautions.slipping")
    for title in ("Measures", "Order of work", "Nurseries", "Walk over"):
        assert " ".join(book[title].oddHeader.left.text.split()) == stop
    assert not book["Plots"].oddHeader.left.text


def test_measures_say_why_there_and_vetoes_have_a_sheet(book, small_results, texts):
    rows = list(book["Measures"].iter_rows(values_only=True))
    at = rows[0].index("Why there")
    hills = work_words.hills(small_results, texts)
    told = {plot.plot_id: plot.why for hill in hills for plot in hill.plots}
    assert [row[at] for row in rows[1:]] == [told[row[rows[0].index("Plot")]] for row in rows[1:]]
    assert "Ruled out" not in book.sheetnames
    found = opened(with_vetoes(small_results), texts)["Ruled out"]
    heads, *cells = found.iter_rows(values_only=True)
    rows = [dict(zip(heads, row, strict=True)) for row in cells]
    assert [row["Why it was ruled out"] for row in rows] == [
        "<b>goats</b> {why}",
        "no stalks",
        "=slips",
    ]
    assert rows[2]["Measure"] == "all measures"
    assert rows[0]["Plot"] == "A-01"


def test_the_curve_of_soil_saved_is_a_picture(book, small_results, texts):
    assert "Budget curve" not in book.sheetnames
    curve = pd.DataFrame(
        {"budget_spent": [0.0, 5.0, 20.0], "soil_saved_total_t_yr": [0.0, 9.0, 12.0]}
    )
    priorities = dataclasses.replace(small_results.proposal.priorities, curve=curve)
    proposal = dataclasses.replace(small_results.proposal, priorities=priorities)
    told = dataclasses.replace(small_results, proposal=proposal)
    found = opened(told, texts)["Budget curve"]
    rows = [list(row[:2]) for row in found.iter_rows(2, 4, values_only=True)]
    assert rows == curve.to_numpy().tolist()
    data = workbook.render(told, texts)["district.xlsx"]
    assert data == workbook.render(told, texts)["district.xlsx"]
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        (chart,) = [name for name in file.namelist() if name.startswith("xl/charts/chart")]
        drawn = file.read(chart).decode()
    assert "'Budget curve'!$A$2:$A$4" in drawn
    assert "'Budget curve'!$B$2:$B$4" in drawn
