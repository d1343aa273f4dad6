"""The workbook: what an officer prints, sorts and takes to a meeting."""

from __future__ import annotations

import io
import math
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import pandas as pd
import xlsxwriter
from xlsxwriter.utility import xl_col_to_name

from districtplan.outputs import measure_words, wording
from districtplan.outputs.plot_table import dictionary, district_row, plot_table, village_table
from districtplan.outputs.sources import listing

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

    Cell = str | float | None

# A sheet of the format ends here, and so does a cell.
ROWS_MAX = 1_048_576
CELL_CHARACTERS_MAX = 32_767
A4 = 9

VILLAGE_COLUMNS = (
    "village",
    "plots",
    "area_ha",
    "seed_kg",
    "npk_kg",
    "urea_kg",
    "manure_kg",
    "seed_packs",
    "npk_packs",
    "urea_packs",
    "holes",
    "plants",
    "seeds",
    "maize_holes",
    "maize_seeds",
    "plots_steep",
    "plots_beyond_equations",
    "plots_measure",
    "area_measure_ha",
    "plots_unserved",
    "area_unserved_ha",
)
PLOT_COLUMNS = (
    "plot_id",
    "village",
    "farmer_name",
    "area_ha",
    "slope_mean_pct",
    "slope_se_pct",
    "slope_p90_pct",
    "slope_max_pct",
    "slope_measured_pct",
    "slope_reading_date",
    "slope_reading_method",
    "slope_class",
    "row_method",
    "guide_kind",
    "guide_lines",
    "row_bearing_true_deg",
    "row_bearing_grid_deg",
    "row_bearing_magnetic_deg",
    "row_bearing_words",
    "row_bearing_se_deg",
    "bearing_reading_date",
    "bearing_reading_method",
    "row_method_why",
    "hillside_slope_pct",
    "hillside_downslope_true_deg",
    "slope_length_m",
    "upslope_area_ha",
    "upslope_area_at_least",
    "run_on_area_ha",
    "flow_line_length_m",
    "slope_length_above_m",
    "slope_length_above_at_least",
    "slope_above_begins",
    "row_low_end",
    "row_outlet",
    "row_fall_pct",
    "row_grade_design_pct",
    "row_fall_to",
    "row_turn_deg",
    "soil_loss_up_down_likely_t_ha_yr",
    "soil_loss_contour_likely_t_ha_yr",
    "erosion_class_number",
    "erosion_class",
    "flags",
    "rows",
    "short_rows",
    "row_length_m",
    "row_spacing_map_m",
    "first_row_corner",
    "first_row_way",
    "first_row_start_m",
    "land_taken_m2",
    "flow_strip_m2",
    "row_breaks",
    "row_gap_m2",
    "holes",
    "holes_basis",
    "plants",
    "seeds",
    "maize_rows",
    "maize_row_length_m",
    "maize_holes",
    "maize_seeds",
    "seed_kg",
    "npk_kg",
    "urea_kg",
    "manure_kg",
    "seed_packs",
    "npk_packs",
    "urea_packs",
)
# How numbers are shown, by the end of the column's name; the cell keeps all digits.
NUMBER_FORMATS = {
    "_ha": "#,##0.00",
    "_pct": "0.0",
    "_deg": "0",
    "_m": "0",
    "_m2": "0",
    "_map_m": "0.000",
    "_turn_deg": "0.0",
    "_start_m": "0.0",
    "_t_ha_yr": "#,##0",
    "_t_yr": "#,##0.0",
    "_g": "#,##0",
    "_kg": "#,##0.0",
}
WIDTHS = {
    "plot_id": 14,
    "village": 20,
    "farmer_name": 20,
    "slope_class": 18,
    "slope_reading_method": 18,
    "bearing_reading_method": 18,
    "reading_method": 18,
    "reading_use": 18,
    "bearing_not_compared": 40,
    "row_method": 21,
    "row_bearing_words": 12,
    "row_method_why": 48,
    "holes_basis": 30,
    "row_low_end": 16,
    "row_fall_to": 16,
    "first_row_corner": 18,
    "erosion_class": 20,
    "flags": 60,
    "reason": 48,
    "remedy": 60,
    "name": 34,
    "unit": 18,
    "kind": 28,
    "tables": 18,
    "meaning": 90,
    "table": 18,
    "what": 30,
    "value": 44,
    "source": 90,
    "provenance": 26,
    "measure": 30,
    "upkeep": 48,
    "caution": 48,
}
WIDTH = 12
WRAPPED = (
    "row_method_why",
    "flags",
    "reason",
    "remedy",
    "meaning",
    "value",
    "source",
    "upkeep",
    "caution",
)
READ_FIRST_WIDTH = 110


@dataclass(frozen=True)
class _Book:
    book: Workbook
    texts: Texts
    styles: dict[str, Format]

    def sheet(self, name: str) -> Worksheet:
        sheet = self.book.add_worksheet(self.texts.say(f"workbook.{name}"))
        sheet.set_paper(A4)
        sheet.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
        page, of = self.texts.say("workbook.page"), self.texts.say("workbook.of")
        sheet.set_footer(f"&L&A&R{page} &P {of} &N")
        return sheet

    def style(self, column: str) -> Format:
        if column in WRAPPED:
            return self.styles["wrapped"]
        ends = [end for end in NUMBER_FORMATS if column.endswith(end)]
        return self.styles[max(ends, key=len)] if ends else self.styles["plain"]


def render(results: Results, texts: Texts) -> dict[str, bytes]:
    """Write the workbook.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, bytes]
        ``district.xlsx``.
    """
    target = io.BytesIO()
    options = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": False,
    }
    with xlsxwriter.Workbook(target, options) as workbook:
        _properties(workbook, results)
        book = _Book(workbook, texts, _styles(workbook))
        _read_first(book, results)
        _villages(book, results)
        _plots(book, results)
        _measures(book, results)
        _set_aside(book, results)
        _readings(book, results)
        _table(book, "columns", dictionary(results))
        entries = [asdict(entry) for entry in listing(results.handbook)]
        _table(book, "sources", pd.DataFrame(entries))
    return {"district.xlsx": target.getvalue()}


def _properties(workbook: Workbook, results: Results) -> None:
    day = results.plan.district.planting_date
    # The plan's date and not the clock, so that equal runs give equal bytes; the format knows no
    # time zone.
    written = datetime(day.year, day.month, day.day)  # noqa: DTZ001 (see above)
    workbook.set_properties({"title": results.plan.district.name, "created": written})


def _styles(workbook: Workbook) -> dict[str, Format]:
    base = {"font_size": 11, "valign": "top"}
    styles = {
        end: workbook.add_format({**base, "num_format": shown})
        for end, shown in NUMBER_FORMATS.items()
    }
    head = {**base, "bold": True, "text_wrap": True, "bottom": 1, "bg_color": "#EDE8E0"}
    styles |= {
        "plain": workbook.add_format({**base, "num_format": "General"}),
        "wrapped": workbook.add_format({**base, "text_wrap": True}),
        "head": workbook.add_format(head),
        "title": workbook.add_format({"bold": True, "font_size": 16}),
        "heading": workbook.add_format({"bold": True, "font_size": 12, "top": 1}),
    }
    for end, shown in (*NUMBER_FORMATS.items(), ("plain", "General")):
        total = {**base, "bold": True, "top": 1, "num_format": shown}
        styles[f"total {end}"] = workbook.add_format(total)
    return styles


def _put(sheet: Worksheet, row: int, column: int, value: Cell, style: Format) -> None:
    """Write text as text, numbers as numbers, nothing as an empty cell."""
    if isinstance(value, str):
        sheet.write_string(row, column, value[:CELL_CHARACTERS_MAX], style)
    elif value is None:
        sheet.write_blank(row, column, None, style)
    else:
        sheet.write_number(row, column, value, style)


def _rows(book: _Book, sheet: Worksheet, table: pd.DataFrame) -> None:
    for column, name in enumerate(table.columns):
        sheet.set_column(column, column, WIDTHS.get(name, WIDTH))
        sheet.write_string(0, column, book.texts.say(f"workbook.heads.{name}"), book.styles["head"])
        style = book.style(name)
        values = table[name].astype(object)
        for row, value in enumerate(values.where(values.notna(), None), start=1):
            _put(sheet, row, column, value, style)


def _printed_as_table(sheet: Worksheet, table: pd.DataFrame, *, frozen: int) -> None:
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    sheet.freeze_panes(1, frozen)
    sheet.autofilter(0, 0, max(len(table), 1), len(table.columns) - 1)


def _table(book: _Book, name: str, table: pd.DataFrame) -> None:
    sheet = book.sheet(name)
    _rows(book, sheet, table)
    _printed_as_table(sheet, table, frozen=1)


def _plots(book: _Book, results: Results) -> None:
    table = plot_table(results, book.texts)
    table = table[[name for name in PLOT_COLUMNS if name in table]]
    # An error of a bearing that isn't printed would be taken for one of something else.
    error = table["row_bearing_se_deg"].where(table["row_bearing_true_deg"].notna())
    table = table.assign(row_bearing_se_deg=error)
    if len(table) >= ROWS_MAX:
        sheet = book.sheet("plots")
        sheet.write_string(0, 0, book.texts.say("workbook.too_many"))
        return
    _table(book, "plots", table)


def _measures(book: _Book, results: Results) -> None:
    chosen = measure_words.worded(results, book.texts)
    if 0 < len(chosen) < ROWS_MAX:
        _table(book, "measures", chosen)
    else:
        sentence = "too_many_measures" if len(chosen) else "no_measures"
        book.sheet("measures").write_string(0, 0, book.texts.say(f"workbook.{sentence}"))
    nurseries = results.proposal.nurseries
    named = [measure_words.name(str(one), book.texts) for one in nurseries["measure"]]
    _table(book, "nurseries", nurseries.assign(measure=named))
    _table(book, "walk_over", measure_words.looked_at(results, book.texts))


def _set_aside(book: _Book, results: Results) -> None:
    if len(results.set_aside) == 0:
        sheet = book.sheet("set_aside")
        sheet.write_string(0, 0, book.texts.say("workbook.no_set_aside"))
        return
    _table(book, "set_aside", results.set_aside)


def _readings(book: _Book, results: Results) -> None:
    if results.plan.files.readings is None:
        return
    found = {
        "readings": results.readings.compared,
        "readings_set_aside": results.readings.set_aside,
    }
    for name, table in found.items():
        if 0 < len(table) < ROWS_MAX:
            _table(book, name, table)
        else:
            sentence = "too_many_readings" if len(table) else f"no_{name}"
            book.sheet(name).write_string(0, 0, book.texts.say(f"workbook.{sentence}"))


def _villages(book: _Book, results: Results) -> None:
    table = village_table(results)[list(VILLAGE_COLUMNS)]
    sheet = book.sheet("villages")
    _rows(book, sheet, table)
    _printed_as_table(sheet, table, frozen=1)
    district = district_row(results)
    last = len(table)
    sheet.write_string(last + 1, 0, book.texts.say("workbook.total"), book.styles["total plain"])
    for column, name in enumerate(table.columns[1:], start=1):
        ends = [end for end in NUMBER_FORMATS if name.endswith(end)]
        style = book.styles[f"total {ends[0] if ends else 'plain'}"]
        total = district[name]
        if last and _sums_up(table[name], total):
            letter = xl_col_to_name(column)
            formula = f"=SUM({letter}2:{letter}{last + 1})"
            sheet.write_formula(last + 1, column, formula, style, total)
        else:
            # Bought by the district, so it isn't the sum of the villages.
            _put(sheet, last + 1, column, None if pd.isna(total) else total, style)


def _sums_up(values: pd.Series, total: object) -> bool:
    if bool(values.isna().any()) or not isinstance(total, int | float):
        return False
    return math.isclose(math.fsum(values.tolist()), total, rel_tol=1e-12, abs_tol=1e-12)


def _read_first(book: _Book, results: Results) -> None:
    texts = book.texts
    sheet = book.sheet("read_first")
    sheet.set_column(0, 0, READ_FIRST_WIDTH)
    sheet.hide_gridlines(2)
    sheet.set_portrait()
    sheet.fit_to_pages(1, 0)
    words = texts.section("workbook")
    cautions = texts.section("cautions")
    chapters = [
        (texts.say("workbook.finding"), _findings(results, texts)),
        (texts.say("workbook.noticed"), wording.noticed(results, texts)),
        (
            texts.say("workbook.meaning"),
            [sentence for key, sentence in words.items() if key.startswith("meaning_")],
        ),
        (
            texts.say("workbook.cautions"),
            [sentence for key, sentence in cautions.items() if key != "title"],
        ),
    ]
    title = texts.say("workbook.title", district=results.plan.district.name)
    sheet.write_string(0, 0, title, book.styles["title"])
    day = texts.day(results.plan.district.planting_date)
    sheet.write_string(1, 0, texts.say("workbook.season", date=day), book.styles["wrapped"])
    row = 3
    for heading, sentences in chapters:
        if not sentences:
            continue
        sheet.write_string(row, 0, heading, book.styles["heading"])
        for offset, sentence in enumerate(sentences, start=1):
            _put(sheet, row + offset, 0, sentence, book.styles["wrapped"])
        row += len(sentences) + 2


def _findings(results: Results, texts: Texts) -> list[str]:
    aside = len(results.set_aside)
    said = [
        wording.district_finding(results, texts),
        " ".join(wording.rows_sentences(results, texts)),
        " ".join(wording.served_sentences(results, texts)),
        " ".join(wording.orders_sentences(results, texts)),
        " ".join(measure_words.sentences(results, texts)),
    ]
    key = "page.set_aside_some" if aside else "page.set_aside_none"
    said.append(texts.say(key, aside=f"{aside:,}", read=f"{results.rows_read:,}"))
    return said
