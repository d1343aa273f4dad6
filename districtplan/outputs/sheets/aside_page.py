"""Plots that couldn't be used, village by village, on paper to send back: what to put right."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from districtplan.outputs.file_names import without_folder
from districtplan.outputs.sheets.paper import BOLD, PLAIN, Box, Paper, Setting, line_box
from districtplan.outputs.sheets.plot_page import FOOT_MM, FULL, GAP_MM, HAIR_MM, LEFT, RIGHT

if TYPE_CHECKING:
    from collections.abc import Iterable

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

VILLAGE = Setting(24, bold=True)
TITLE = Setting(15, bold=True, align="right")
ROWS_MAX = 5_000
"""Rows that are printed; set_aside.csv has them all."""
INDENT_MM = 4.0
BOX_MM = 4.2


class _Row(NamedTuple):
    """One row of the plots file, worded."""

    head: str
    plot: str
    wrong: str
    remedy: str


class _Village(NamedTuple):
    """The rows of one village, worded."""

    name: str
    title: str
    district: str
    season: str
    file: str
    intro: str
    rows: tuple[_Row, ...]


def render(results: Results, texts: Texts) -> dict[str, bytes]:
    """Draw the sheets, each village from a new page on.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, bytes]
        ``sheets/set-aside.pdf``; nothing where all rows were used.
    """
    if results.set_aside.empty:
        return {}
    district = results.plan.district
    title = texts.say("sheets.aside.file", district=district.name)
    paper = Paper(title, district.planting_date, texts.language)
    page = 0
    for sheet in _worded(results, texts):
        page = _draw(paper, sheet, texts, page)
    return {"sheets/set-aside.pdf": paper.finish()}


def _worded(results: Results, texts: Texts) -> Iterable[_Village]:
    """Word the rows village by village, in the order of their names; those without one last."""
    some = results.set_aside.head(ROWS_MAX)
    season = results.plan.district.planting_date
    left_out = len(results.set_aside) - len(some)
    more = texts.say("sheets.aside.more", count=f"{left_out:,}") if left_out else ""
    names = some["village"].unique()
    for name in sorted(names, key=lambda village: (village == "", village)):
        rows = tuple(
            _Row(
                _where(row._asdict(), texts),
                str(row.plot_id) or texts.say("sheets.aside.no_id"),
                texts.say("sheets.aside.wrong", reason=row.reason),
                texts.say("sheets.aside.remedy", remedy=row.remedy),
            )
            for row in some[some["village"] == name].itertuples()
        )
        said = texts.say("sheets.aside.intro", count=f"{len(rows):,}")
        yield _Village(
            str(name) or texts.say("sheets.aside.no_village"),
            texts.say("sheets.aside.title"),
            results.plan.district.name,
            texts.say("sheets.season", date=texts.day(season)),
            without_folder(results.plan.files.plots),
            f"{said} {more}".strip(),
            rows,
        )


def _where(row: dict[str, Any], texts: Texts) -> str:
    """Say where the plot stands in the file, so that it is found there."""
    if lines := str(row.get("file_lines", "")):
        told = lines[:1].upper() + lines[1:]
        return texts.say("sheets.aside.lines", lines=told, row=row["source_row"])
    return texts.say("sheets.aside.row", row=row["source_row"])


def _draw(paper: Paper, sheet: _Village, texts: Texts, page: int) -> int:
    """Draw one village; give the number of its last page."""
    paper.page()
    page += 1
    y = paper.block(sheet.intro, Box(LEFT, _header(paper, sheet), FULL, 0)) + GAP_MM
    width = FULL - INDENT_MM
    for row in sheet.rows:
        high = PLAIN.line_mm * 1.3 + sum(
            paper.height(text, width) for text in (row.wrong, row.remedy)
        )
        if y + high > FOOT_MM:
            _foot(paper, texts, page)
            paper.page()
            page += 1
            y = _header(paper, sheet)
        paper.frame(Box(RIGHT - BOX_MM, y, BOX_MM, BOX_MM), HAIR_MM)
        paper.write(row.head, LEFT, y, BOLD)
        at = LEFT + paper.width(row.head, BOLD) + 3
        paper.name(row.plot, line_box(at, y, RIGHT - BOX_MM - 3 - at), BOLD)
        y += PLAIN.line_mm * 1.1
        for text in (row.wrong, row.remedy):
            y = paper.block(text, Box(LEFT + INDENT_MM, y, width, 0))
        paper.line([(LEFT, y + 0.6), (RIGHT, y + 0.6)], HAIR_MM)
        y += GAP_MM
    _foot(paper, texts, page)
    return page


def _header(paper: Paper, sheet: _Village) -> float:
    top = 9.0
    title_mm = paper.width(sheet.title, TITLE)
    paper.name(sheet.name, Box(LEFT, top, FULL - title_mm - 6, 11), VILLAGE, least_pt=14)
    paper.write(sheet.title, RIGHT, top, TITLE)
    top += 11.4
    paper.name(sheet.district, line_box(LEFT, top, 0.5 * FULL), PLAIN)
    paper.write(sheet.season, RIGHT, top, PLAIN._replace(align="right"))
    top += 6
    paper.name(sheet.file, line_box(LEFT, top, FULL), PLAIN)
    top += 6
    paper.line([(LEFT, top), (RIGHT, top)], 0.9)
    return top + GAP_MM


def _foot(paper: Paper, texts: Texts, page: int) -> None:
    said = texts.say("sheets.list.page", page=page)
    paper.write(said, RIGHT, FOOT_MM + 4, PLAIN._replace(align="right"))
