"""The workbook: what an officer prints, sorts and takes to a meeting."""

from __future__ import annotations

import io
import math
import textwrap
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

import pandas as pd
import xlsxwriter
from xlsxwriter.worksheet import Worksheet

from districtplan.outputs import (
    demo_words,
    measure_words,
    purchase_sheets,
    purchase_words,
    visit_words,
    wording,
    work_words,
)
from districtplan.outputs.laid_sheets import Laid
from districtplan.outputs.plot_table import demo_tables, dictionary, plot_table
from districtplan.outputs.purchase_tables import theirs
from districtplan.outputs.sources import listing
from districtplan.outputs.visit_tables import visit_tables

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

    Cell = str | float | date | None

# A sheet of the format ends here, and so does a cell.
ROWS_MAX = 1_048_576
CELL_CHARACTERS_MAX = 32_767
A4 = 9

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
    "row_set_by",
    "guide_kind",
    "guide_lines",
    "row_bearing_true_deg",
    "row_bearing_grid_deg",
    "row_bearing_magnetic_deg",
    "row_bearing_words",
    "row_bearing_se_deg",
    "guide_bearing_magnetic_deg",
    "row_grade_95_pct",
    "row_grade_straight_rms_pct",
    "row_grade_guided_rms_pct",
    "row_grade_limit_pct",
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
    "_cost": "#,##0.00",
    "work_days": "#,##0.0",
    "hands_days": "#,##0.0",
    "lacking_days": "#,##0.0",
    "_low": "#,##0.00",
    "_high": "#,##0.00",
    "cost": "#,##0.00",
    "week_share": "0.00",
    "value": "General",
}
DATES = (
    "first_day", "last_day", "delivery_day", "week_to", "visit_day", "visit_first_day",
    "visit_last_day", "load_week", "cost_month",
)  # fmt: skip
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
    "row_set_by": 21,
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
    "file_lines": 24,
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
    "work_site": 20,
    "work": 60,
    "work_season": 18,
    "work_structure": 26,
    "work_outlet": 26,
    "work_plots": 40,
    "work_agreed_by": 40,
    "walk_reasons": 60,
    "site_villages": 26,
    "why_there": 44,
    "veto_why": 60,
    "upkeep": 48,
    "caution": 48,
    "summary_line": 44,
    "buying_point": 20,
    "order_status": 24,
    "dominates": 20,
    "farmer_id": 18,
    "signature": 34,
    "season": 16,
    "zone": 20,
    "good": 20,
    "season_work": 28,
    "work_note": 70,
    "work_source": 44,
    "margin_of": 30,
    "assumption": 24,
    "visit_id": 30,
    "visit_place": 20,
    "visit_why": 16,
    "visit_left_out": 18,
    "demo_message": 30,
    "demo_treatments": 44,
    "demo_village_why": 90,
    "row_method": 18,
}
WIDTH = 12
PAGE_CHARS = 180
"""Widths of columns that a page across can be read with, its print at four fifths [characters]."""

WRAPPED = (
    "row_method_why",
    "flags",
    "reason",
    "remedy",
    "meaning",
    "value",
    "source",
    "why_there",
    "veto_why",
    "upkeep",
    "caution",
    "work_note",
    "work_source",
    "work",
    "work_outlet",
    "work_plots",
    "work_agreed_by",
    "demo_treatments",
    "demo_village_why",
)
OF_WORK = ("measures", "work_order", "nurseries", "walk_over", "vetoes", "curve")
"""Sheets on what is done against soil loss."""
STOP_CHARS = 120
"""Signs of a line above the print of one of them; two stand clear of the table."""
READ_FIRST_WIDTH = 110
HEAD_LINE_PT = 15


class _Sheet(Worksheet):  # type: ignore[misc]
    """A sheet whose formulas are taken as they are.

    The library looks through each for thirty functions that came after the format, of which none is
    used here; over 100,000 plots that takes longer than all else.
    """

    def _prepare_formula(self, formula: str, expand_future_functions: bool = False) -> str:  # noqa: FBT001, FBT002 - as the library calls it
        return formula.removeprefix("=")


@dataclass(frozen=True)
class _Book:
    book: Workbook
    texts: Texts
    styles: dict[str, Format]

    def sheet(self, name: str) -> Worksheet:
        sheet = self.book.add_worksheet(self.texts.say(f"workbook.{name}"), _Sheet)
        sheet.set_paper(A4)
        sheet.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
        if name in OF_WORK:
            # On paper these sheets go to whoever digs, without the others.
            stop = textwrap.wrap(self.texts.say("cautions.slipping"), STOP_CHARS)
            sheet.set_header("&L" + "\n".join(stop).replace("&", "&&"))
            sheet.set_margins(left=0.4, right=0.4, top=0.9, bottom=0.6)
        page, of = self.texts.say("workbook.page"), self.texts.say("workbook.of")
        sheet.set_footer(f"&L&A&R{page} &P {of} &N")
        return sheet

    def style(self, column: str) -> Format:
        if column in WRAPPED:
            return self.styles["wrapped"]
        if column in DATES:
            return self.styles["date"]
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
        "constant_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": False,
    }
    with xlsxwriter.Workbook(target, options) as workbook:
        _properties(workbook, results)
        book = _Book(workbook, texts, _styles(workbook))
        _read_first(book, results)
        laid = purchase_sheets.sheets(results, texts, ROWS_MAX)
        nobody = results.purchase.is_order and theirs(results.purchase).empty
        for sheet in laid[:-2]:
            _laid(book, sheet, nobody=nobody)
        _plots(book, results)
        for sheet in laid[-2:]:
            _laid(book, sheet, nobody=nobody)
        _measures(book, results)
        _curve(book, results)
        _demos(book, results)
        _visits(book, results)
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
        "date": workbook.add_format({**base, "num_format": "d mmm yyyy", "align": "left"}),
        "head": workbook.add_format(head),
        "lead": workbook.add_format({"font_size": 11, "bold": True}),
        "title": workbook.add_format({"bold": True, "font_size": 16}),
        "heading": workbook.add_format({"bold": True, "font_size": 12, "top": 1}),
    }
    for end, shown in (*NUMBER_FORMATS.items(), ("plain", "General")):
        total = {**base, "bold": True, "top": 1, "num_format": shown}
        styles[f"total {end}"] = workbook.add_format(total)
    return styles


def _put(sheet: Worksheet, row: int, column: int, value: Cell, style: Format) -> None:
    """Write text as text and numbers as numbers; where there is nothing, the column's style is."""
    if isinstance(value, str):
        sheet.write_string(row, column, value[:CELL_CHARACTERS_MAX], style)
    elif value is None:
        return
    elif isinstance(value, date):
        sheet.write_datetime(row, column, value, style)
    else:
        sheet.write_number(row, column, value, style)


def _rows(book: _Book, sheet: Worksheet, laid: Laid) -> None:
    table, names = laid.table, [str(name) for name in laid.table]
    heads = [laid.heads.get(name) or book.texts.say(f"workbook.heads.{name}") for name in names]
    widths, styles = [WIDTHS.get(name, WIDTH) for name in names], [book.style(n) for n in names]
    wrapped = zip(heads, widths, strict=True)
    lines = max(len(textwrap.wrap(head, max(width - 3, 1))) for head, width in wrapped)
    top = len(laid.lead)
    for row, sentence in enumerate(laid.lead):
        sheet.write_string(row, 0, sentence, book.styles["lead"])
    # Not every program makes a row as high as its wrapped text.
    sheet.set_row(top, HEAD_LINE_PT * lines + 2)
    for column, (width, style) in enumerate(zip(widths, styles, strict=True)):
        sheet.set_column(column, column, width, style)
        sheet.write_string(top, column, heads[column], book.styles["head"])
    formulas = [laid.formulas.get(name) for name in names]
    values = (table[name].astype(object) for name in names)
    known = [column.where(column.notna(), None).tolist() for column in values]
    # Row by row: rows that are done leave the memory.
    for row, cells in enumerate(zip(*known, strict=True), start=top + 1):
        for column, (value, formula) in enumerate(zip(cells, formulas, strict=True)):
            if formula is not None and value is not None and (told := formula(row + 1)):
                sheet.write_formula(row, column, told, styles[column], value)
            else:
                _put(sheet, row, column, value, styles[column])


def _printed_as_table(sheet: Worksheet, laid: Laid) -> None:
    table, top = laid.table, len(laid.lead)
    first, *others = (WIDTHS.get(str(name), WIDTH) for name in table.columns)
    sheet.set_landscape()
    # Squeezed onto one page, a wide table can't be read: it goes on beside, names repeated.
    sheet.fit_to_pages(max(math.ceil(sum(others) / (PAGE_CHARS - first)), 1), 0)
    sheet.repeat_rows(0, top)
    sheet.repeat_columns(0)
    sheet.freeze_panes(top + 1, 1)
    sheet.autofilter(top, 0, top + max(len(table), 1), len(table.columns) - 1)


def _table(book: _Book, name: str, table: pd.DataFrame, lead: tuple[str, ...] = ()) -> None:
    sheet = book.sheet(name)
    laid = Laid(name, table, lead=lead)
    _rows(book, sheet, laid)
    _printed_as_table(sheet, laid)


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
    place = list(chosen).index("measure") + 1
    chosen.insert(place, "why_there", work_words.reasons(results, book.texts))
    if 0 < len(chosen) < ROWS_MAX:
        _table(book, "measures", chosen)
    else:
        sentence = "too_many_measures" if len(chosen) else "no_measures"
        book.sheet("measures").write_string(0, 0, book.texts.say(f"workbook.{sentence}"))
    works = measure_words.works(results, book.texts)
    if 0 < len(works) < ROWS_MAX:
        _table(book, "work_order", works)
    else:
        book.sheet("work_order").write_string(0, 0, book.texts.say("workbook.no_works"))
    nurseries = results.proposal.nurseries
    named = [measure_words.name(str(one), book.texts) for one in nurseries["measure"]]
    caution = measure_words.cautions(nurseries["measure"], results, book.texts)
    _table(book, "nurseries", nurseries.assign(measure=named, caution=caution))
    looked = measure_words.looked_at(results, book.texts)
    _table(book, "walk_over", looked.assign(caution=book.texts.say("cautions.slipping")))
    vetoes = measure_words.ruled_out(results, book.texts)
    if len(vetoes):
        _table(book, "vetoes", vetoes)


def _curve(book: _Book, results: Results) -> None:
    """Draw the most soil that each budget can save, beside its numbers."""
    curve = results.proposal.priorities.curve
    if curve.empty:
        return
    _table(book, "curve", curve)
    name = book.texts.say("workbook.curve")
    chart = book.book.add_chart({"type": "scatter", "subtype": "straight"})
    last = len(curve)
    series = {"categories": [name, 1, 0, last, 0], "values": [name, 1, 1, last, 1]}
    chart.add_series({**series, "line": {"color": "#1D1408", "width": 2}})
    unit = measure_words.unit(results.plan, book.texts)
    chart.set_title({"name": book.texts.say("workbook.curve_title")})
    chart.set_x_axis({"name": book.texts.say("workbook.curve_budget", unit=unit), "min": 0})
    chart.set_y_axis({"name": book.texts.say("workbook.curve_saved"), "min": 0})
    chart.set_legend({"none": True})
    sheet = book.book.get_worksheet_by_name(name)
    sheet.insert_chart(1, 3, chart, {"x_scale": 1.6, "y_scale": 1.6})


def _demos(book: _Book, results: Results) -> None:
    """Write the demonstration plots, the villages and the curve, if the plan asks for any."""
    found = results.demos
    if found is None:
        return
    texts, asked = book.texts, results.plan.demos
    said = demo_words.finding(found, asked, texts)
    chosen = demo_tables(results)["demos"]
    if len(chosen):
        _table(book, "demos", chosen, tuple(said))
    else:
        sheet = book.sheet("demos")
        for row, sentence in enumerate(said):
            sheet.write_string(row, 0, sentence)
    why = {
        village: " ".join(told) for village, told in demo_words.of_villages(found, texts).items()
    }
    villages = found.villages.drop(columns="demo_village_why")
    told = villages.assign(demo_village_why=villages["village"].map(why))
    _table(book, "demo_villages", told)
    if len(found.curve):
        _table(book, "demo_curve", found.curve)


def _visits(book: _Book, results: Results) -> None:
    """Write visits, days in the field, load and cost, if the plan names agents."""
    if results.visits is None:
        return
    shown = visit_tables(results)
    said = tuple(visit_words.finding(results.visits, book.texts))
    for name, table in (
        ("visits", shown["visits"].drop(columns=["done", "visit_sequence", "visit_agents_before"])),
        ("visit_days", shown["visits/days"]),
        ("visit_load", shown["visits/load"]),
        ("visit_costs", shown["visits/costs"]),
        ("visit_quality", shown["visits/quality"]),
    ):
        if len(table) < ROWS_MAX:
            _table(book, name, table, said if name == "visits" else ())
        else:
            book.sheet(name).write_string(0, 0, book.texts.say("workbook.too_many_visits"))


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


def _laid(book: _Book, laid: Laid, *, nobody: bool) -> None:
    """Write a sheet whose formulas keep their values beside them."""
    table = laid.table
    sheet = book.sheet(laid.name)
    if not 0 < len(table) < ROWS_MAX:
        empty = "nobody" if nobody else f"no_{laid.name}"
        sentence = "too_many_rows" if len(table) else empty
        sheet.write_string(0, 0, book.texts.say(f"workbook.{sentence}"))
        return
    _rows(book, sheet, laid)
    _printed_as_table(sheet, laid)
    there = book.texts.say(f"workbook.{laid.name}")
    for name, row in laid.names.items():
        book.book.define_name(name, f"='{there}'!${laid.column('value')}${row}")
    if laid.sums and len(table) + 1 < ROWS_MAX:
        _last_row(book, sheet, laid)


def _last_row(book: _Book, sheet: Worksheet, laid: Laid) -> None:
    last = laid.first_row + len(laid.table) - 1
    sheet.write_string(last, 0, book.texts.say("workbook.total"), book.styles["total plain"])
    for name in laid.sums:
        letter = laid.column(name)
        ends = [end for end in NUMBER_FORMATS if name.endswith(end)]
        style = book.styles[f"total {max(ends, key=len) if ends else 'plain'}"]
        total = math.fsum(laid.table[name].tolist())
        sheet.write_formula(
            last,
            laid.table.columns.tolist().index(name),
            f"=SUM({letter}{laid.first_row}:{letter}{last})",
            style,
            total,
        )


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
        *purchase_words.sentences(results, texts),
        " ".join(measure_words.sentences(results, texts)),
    ]
    if results.demos is not None:
        said.append(" ".join(demo_words.finding(results.demos, results.plan.demos, texts)))
    if results.visits is not None:
        said.append(" ".join(visit_words.finding(results.visits, texts)))
    key = "page.set_aside_some" if aside else "page.set_aside_none"
    said.append(texts.say(key, aside=f"{aside:,}", read=f"{results.rows_read:,}"))
    return said
