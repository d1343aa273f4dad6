"""Sheets of paper: for each village a file of plot sheets and a sheet for the wall."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from districtplan.outputs.file_names import village_stems
from districtplan.outputs.sheets import how_page, plot_page, wall_page
from districtplan.outputs.sheets.build import common, how_parts, sheets_of
from districtplan.outputs.sheets.choice import chosen, doubts
from districtplan.outputs.sheets.paper import Paper
from districtplan.outputs.sheets.wall_build import wall_of

if TYPE_CHECKING:
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

__all__ = ["Drawn", "chosen", "doubts", "draw"]


class Drawn(NamedTuple):
    """Sheets of a run.

    Attributes
    ----------
    files : dict[str, bytes]
        Files by relative name.
    pages : dict[str, int]
        By plot, the page of its village's file on which its sheet begins, from 1.
    """

    files: dict[str, bytes]
    pages: dict[str, int]


def draw(results: Results, texts: Texts) -> Drawn:
    """Draw the sheets of the plots that the plan's policy names.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    Drawn
        For each village with such plots ``sheets/v001-slug.pdf`` with them and, last, how the
        string is marked and a line levelled; and
        ``sheets/v001-slug-wall.pdf`` with all plots of the village; numbered in the order of the
        villages' names.
    """
    positions = chosen(results.plots, results.plan)
    village_of = results.plots["village"].to_numpy(dtype=object)[positions]
    shared, how = common(results, texts), how_parts(results, texts)
    files, pages = {}, {}
    for village, stem in village_stems(results.villages["village"]).items():
        mine = positions[village_of == village]
        if not len(mine):
            continue
        paper = _paper(results, texts, village)
        for sheet in sheets_of(results, texts, mine):
            pages[sheet.plot_id] = paper.pdf.page + 1
            plot_page.draw(paper, sheet, shared, texts)
        how_page.draw(paper, how, village)
        files[f"sheets/{stem}.pdf"] = paper.finish()
        paper = _paper(results, texts, village)
        inside = results.plots[results.plots["village"] == village]
        wall_page.draw(paper, wall_of(village, inside, results, texts), shared, texts)
        files[f"sheets/{stem}-wall.pdf"] = paper.finish()
    return Drawn(files, pages)


def _paper(results: Results, texts: Texts, village: str) -> Paper:
    district = results.plan.district
    title = texts.say("sheets.title", district=district.name, village=village)
    return Paper(title, district.planting_date, texts.language)
