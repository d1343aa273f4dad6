"""Files of a run, one module a format: results in, bytes by name out."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

from districtplan.outputs import (
    demos_csv,
    gpx,
    layers,
    manifest,
    measures_csv,
    page,
    purchase_files,
    sheets,
    tables_csv,
    visit_files,
    workbook,
)
from districtplan.outputs.sheets import aside_page, day_page, demo_page, hand_out, work_page
from districtplan.outputs.texts import Texts

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from districtplan.results import Results


def _pages(results: Results, texts: Texts) -> dict[str, bytes]:
    """Draw sheets, and the map, whose cards lead to them."""
    drawn = sheets.draw(results, texts)
    return page.render(results, texts, drawn.pages) | drawn.files


FORMATS: Mapping[str, Callable[[Results, Texts], dict[str, bytes]]] = MappingProxyType(
    {
        "pages": _pages,
        "layers": layers.render,
        "tables": tables_csv.render,
        "measures": measures_csv.render,
        "demos": demos_csv.render,
        "visits": visit_files.render,
        "purchase": purchase_files.render,
        "workbook": workbook.render,
        "gpx": gpx.render,
        "lists": hand_out.render,
        "work": work_page.render,
        "demo pages": demo_page.render,
        "days": day_page.render,
        "set aside": aside_page.render,
    }
)
"""What writes each format; the manifest comes after them, over their bytes."""


def render_all(results: Results) -> dict[str, bytes]:
    """Write every file of a run.

    Parameters
    ----------
    results : Results
        The run; its plan says in which language.

    Returns
    -------
    dict[str, bytes]
        Files by relative name, ``run.json`` last.
    """
    texts = Texts.load(results.plan.page.language)
    files: dict[str, bytes] = {}
    for render in FORMATS.values():
        files |= render(results, texts)
    return files | manifest.render(results, files)
