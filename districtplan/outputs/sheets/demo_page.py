"""A demonstration plot on one page: why here, its two halves drawn, net plots, a record form."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple, cast

import numpy as np
import shapely

from districtplan.demos.comparison import TABLE
from districtplan.outputs import demo_words, wording
from districtplan.outputs.file_names import village_stems
from districtplan.outputs.sheets import pictures
from districtplan.outputs.sheets.paper import BOLD, PLAIN, Box, Paper, Setting, line_box
from districtplan.outputs.sheets.plot_page import (
    FOOT_MM,
    FULL,
    GAP_MM,
    HAIR_MM,
    HEADING,
    LEFT,
    PLOT,
    RIGHT,
    SIDE_MM,
    VILLAGE,
    Piece,
    listed,
)
from districtplan.outputs.sheets.sheet import Part
from districtplan.outputs.sheets.work_page import printable

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from districtplan.demos import Allotment
    from districtplan.demos.layout import Laid
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

    Floats = NDArray[np.float64]

DRAWING_MIN_MM, DRAWING_MAX_MM = 52.0, 96.0
ROWS_APART_MM = 2.2
"""Least distance between two rows that are drawn."""
FORM_ROWS = (
    "planted", "emerged", "plants", "weeded", "harm", "harvested", "dry", "yield", "visitors",
    "said",
)  # fmt: skip
FORM_ROW_MM = 6.9
FORM_HEAD_MM = 78.0
PAGE_MM = FOOT_MM + 5
TITLE = Setting(13, bold=True, align="right")
LETTER = Setting(17, bold=True, align="centre")
LETTER_MM = 4.2
"""Radius of the disc that a letter stands on."""
M2_HA = 10_000


class _Page(NamedTuple):
    """What the page of a plot says and shows."""

    row: Mapping[str, Any]
    plot: Mapping[str, Any]
    laid: Laid | None
    rows: list[Floats]
    why: Part
    halves: Part
    factor: str


def render(results: Results, texts: Texts) -> dict[str, bytes]:
    """Draw a page for each demonstration plot, village by village.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, bytes]
        ``sheets/v001-slug-demos.pdf`` of each village that has any.
    """
    found = results.demos
    if found is None or found.chosen.empty:
        return {}
    district = results.plan.district
    own = dict(iter(found.chosen.groupby("village", sort=False)))
    files = {}
    for village, stem in village_stems(results.villages["village"]).items():
        if village not in own:
            continue
        title = texts.say("sheets.demo.file", district=district.name, village=village)
        paper = Paper(title, district.planting_date, texts.language)
        for row in cast("list[dict[str, Any]]", own[village].to_dict("records")):
            _draw(paper, _page(row, found, results, texts), results, texts)
        files[f"sheets/{stem}-demos.pdf"] = paper.finish()
    return files


def _page(row: dict[str, Any], found: Allotment, results: Results, texts: Texts) -> _Page:
    plot_id = row["plot_id"]
    at = int(np.flatnonzero(results.plots["plot_id"] == plot_id)[0])
    plot = cast("dict[str, Any]", results.plots.iloc[at].to_dict())
    laid = found.laid.get(plot_id)
    lines = results.row_lines.lines
    drawn = lines.loc[lines["plot_id"] == plot_id, "geometry"]
    why = [*demo_words.why_chosen(row, found, texts), *demo_words.of_village(row, found, texts)]
    factor = "" if laid is None else f"{M2_HA / laid.net_area_m2:,.0f}"
    barred = bool(wording.barred(results.plots.iloc[[at]])[0])
    return _Page(
        row,
        plot,
        laid,
        [] if laid is None else [shapely.get_coordinates(line) for line in drawn],
        Part(texts.say("sheets.demo.why_title"), tuple(map(printable, why))),
        Part(
            texts.say("sheets.demo.halves_title"),
            tuple(_steps(row, plot, (laid, barred), results, texts)),
        ),
        factor,
    )


def _steps(
    row: Mapping[str, Any],
    plot: Mapping[str, Any],
    known: tuple[Laid | None, bool],
    results: Results,
    texts: Texts,
) -> Iterator[str]:
    """Say how the halves are laid out, harvested and weighed."""
    laid, barred = known
    asked, book = results.plan.demos, results.handbook
    numbers = {
        name: f"{book.number(TABLE, key):g}"
        for name, key in (("border", "border_rows"), ("end", "border_end_m"))
    }
    net = {"rows": f"{asked.net_rows}", "length": f"{asked.net_length_m:g}"}
    limit = f"{asked.up_down_slope_max_pct:g}"
    side = texts.say(f"demos.plot.side_{row['demo_side']}")
    if laid is None:
        why = "barred" if barred else "provisional" if row["demo_provisional"] else "room"
        reason = texts.say(f"sheets.demo.why_{why}")
        yield texts.say("sheets.demo.ground", why=reason)
    yield texts.say("sheets.demo.where_a", side=side)
    yield texts.say("sheets.demo.divide", metres=f"{book.number(TABLE, 'divide_m'):g}")
    key = "up_down" if row["demo_up_down"] else "across"
    yield texts.say(f"sheets.demo.{key}", limit=limit)
    if laid is None:
        yield texts.say("sheets.demo.net_ground", **net, **numbers)
    else:
        down, aside = _place_of_net(laid, float(plot["slope_used_pct"]))
        place = {"down": f"{down:.1f}", "aside": f"{aside:.1f}"}
        yield texts.say("sheets.demo.net", **net, **place, **numbers)
    weigh = texts.say("sheets.demo.weigh")
    if laid is not None:
        area = laid.net_area_m2
        factor = f"{M2_HA / area:,.0f}"
        weigh += " " + texts.say("sheets.demo.factor", area=f"{area:.1f}", factor=factor)
    yield weigh
    yield texts.say("sheets.demo.care")


def _place_of_net(laid: Laid, slope_pct: float) -> tuple[float, float]:
    """Measure where a net plot is pegged: down the path on the ground, and aside from it [m]."""
    halves = laid.halves
    top, foot = shapely.get_coordinates(halves.divide)[[0, -1]]
    along = (foot - top) / np.hypot(*(foot - top))
    corners = shapely.get_coordinates(halves.net_left) - top
    down = float((corners @ along).min())
    aside = float(np.abs(corners @ [-along[1], along[0]]).min())
    return down * float(np.hypot(1, slope_pct / 100)), aside


def _draw(paper: Paper, page: _Page, results: Results, texts: Texts) -> None:
    paper.page()
    y = _header(paper, page, results, texts)
    title = texts.say("sheets.demo.shows", message=page.row["demo_message"])
    y = paper.block(printable(title), Box(LEFT, y, FULL, 0), HEADING)
    treatments = texts.listed(list(page.row["demo_treatments"]))
    said = printable(texts.say("sheets.demo.treatments", treatments=treatments))
    y = paper.block(said, Box(LEFT, y, FULL, 0)) + GAP_MM
    steps, form = listed(paper, page.halves), _form(paper, page, texts)
    why = listed(paper, page.why, RIGHT - SIDE_MM, SIDE_MM)
    room = PAGE_MM - y - steps.height - form.height - 2 * GAP_MM
    high = max(DRAWING_MIN_MM, why.height, min(room, DRAWING_MAX_MM))
    _drawing(paper, page, Box(LEFT, y, FULL - SIDE_MM - 4, high), texts)
    why.draw(y)
    y += high + GAP_MM
    steps.draw(y)
    y += steps.height + GAP_MM
    if y + form.height > PAGE_MM:
        paper.page()
        y = _header(paper, page, results, texts)
    form.draw(y)


def _header(paper: Paper, page: _Page, results: Results, texts: Texts) -> float:
    top, right = 9.0, PLAIN._replace(align="right")
    paper.name(page.row["plot_id"], Box(LEFT, top, 0.5 * FULL, 12), PLOT, least_pt=16)
    paper.name(page.row["village"], Box(LEFT + 0.52 * FULL, top, 0.48 * FULL, 8), VILLAGE)
    paper.write(texts.say("sheets.demo.title"), RIGHT, top + 7.6, TITLE)
    top += 13.4
    district = results.plan.district
    paper.name(district.name, line_box(LEFT, top, 0.4 * FULL), PLAIN)
    farmer = page.plot.get("farmer_name")
    if isinstance(farmer, str):
        paper.name(farmer, line_box(LEFT + 0.42 * FULL, top, 0.28 * FULL), BOLD)
    day = texts.day(district.planting_date)
    paper.write(texts.say("sheets.season", date=day), RIGHT, top, right)
    top += 6
    paper.line([(LEFT, top), (RIGHT, top)], 0.9)
    return top + GAP_MM


def _drawing(paper: Paper, page: _Page, box: Box, texts: Texts) -> None:
    """Draw the halves with their rows and net plots; an empty frame where they aren't known."""
    paper.frame(box)
    if page.laid is None:
        middle = PLAIN._replace(align="centre")
        paper.block(
            page.halves.sentences[0],
            Box(box.x + 6, box.y + box.height / 3, box.width - 12, 0),
            middle,
        )
        return
    halves = page.laid.halves
    both = [halves.left, halves.right]
    key = texts.say("sheets.demo.key")
    note = paper.height(key, box.width - 4) + 1
    paper.block(key, Box(box.x + 2, box.y + box.height - note, box.width - 4, 0))
    box = box._replace(height=box.height - note)
    points = np.vstack([shapely.get_coordinates(half) for half in both])
    view = pictures.view_of(points, Box(box.x + 4, box.y + 4, box.width - 8, box.height - 20))
    for line in _thinned(page.rows, view):
        paper.line(view.on_paper(line), 0.18)
    for part in shapely.get_parts(both):
        paper.line(view.on_paper(shapely.get_coordinates(part)), 0.7)
    # The path in white, so that no row crosses it.
    path = view.on_paper(shapely.get_coordinates(halves.divide))
    paper.line(path, 1.6)
    _white(paper, path, 0.9)
    for net in (halves.net_left, halves.net_right):
        corners = view.on_paper(shapely.get_coordinates(net))
        paper.fill(corners.tolist(), grey=255)
        paper.line(corners, 0.6)
    named = {"left": (halves.left, halves.net_left), "right": (halves.right, halves.net_right)}
    for side, shapes in named.items():
        letter = "half_a" if side == page.laid.side else "half_b"
        _label(paper, texts.say(f"sheets.demo.{letter}"), shapes, view)
    foot = box.y + box.height
    pictures.scale_bar(paper, view.scale, box.x + 5, foot - 3, 0.35 * box.width)
    pictures.north_arrow(paper, box.x + box.width - 6, foot - 13, texts.say("sheets.north"))
    _uphill(paper, path, Box(box.x, foot - 14, box.width, 12), texts)


def _white(paper: Paper, points: Floats, width: float) -> None:
    """Draw a white band over a black line."""
    (x1, y1), (x2, y2) = points[0], points[-1]
    aside = np.array([y1 - y2, x2 - x1]) / max(np.hypot(x2 - x1, y2 - y1), 1e-9) * width / 2
    ends = np.array([[x1, y1], [x2, y2]])
    paper.fill([*(ends + aside).tolist(), *(ends - aside)[::-1].tolist()], grey=255)


def _thinned(rows: list[Floats], view: pictures.View) -> list[Floats]:
    """Leave rows out that would run into one that is drawn."""
    apart = ROWS_APART_MM / view.scale
    kept: list[shapely.LineString] = []
    for row in map(shapely.LineString, rows):
        if not kept or shapely.distance(row, kept).min() >= apart:
            kept.append(row)
    return [shapely.get_coordinates(row) for row in kept]


def _label(
    paper: Paper, words: str, shapes: tuple[BaseGeometry, BaseGeometry], view: pictures.View
) -> None:
    """Write the letter of a half inside it, off its net plot."""
    half, net = shapes
    disc = LETTER_MM / view.scale
    off = shapely.difference(shapely.buffer(half, -disc), shapely.buffer(net, disc))
    inside = shapely.point_on_surface(half if shapely.is_empty(off) else off)
    ((x, y),) = view.on_paper(shapely.get_coordinates(inside))
    paper.disc(x, y, LETTER_MM)
    paper.write(words, x, y - LETTER.line_mm / 2, LETTER)


def _uphill(paper: Paper, path: Floats, box: Box, texts: Texts) -> None:
    """Draw an arrow that points uphill, along the path."""
    up = (path[0] - path[-1]) / max(np.hypot(*(path[0] - path[-1])), 1e-9)
    middle = np.array([box.x + box.width - 26, box.y + box.height / 2])
    tail, tip = middle - 5 * up, middle + 5 * up
    aside = np.array([-up[1], up[0]])
    paper.line([tuple(tail), tuple(tip - 3 * up)], 0.9)
    paper.fill([tuple(tip), tuple(tip - 4 * up + 2 * aside), tuple(tip - 4 * up - 2 * aside)])
    words = texts.say("sheets.demo.uphill")
    paper.write(words, middle[0] - 7, middle[1] - 2.4, BOLD._replace(align="right"))


def _form(paper: Paper, page: _Page, texts: Texts) -> Piece:
    """Rule the record form, its cells empty."""
    rows = [name for name in FORM_ROWS if page.factor or name != "yield"]
    heads = [texts.say(f"sheets.demo.form_{name}") for name in ("what", "a", "b")]
    words = [texts.say(f"sheets.demo.row_{name}", factor=page.factor) for name in rows]
    wide = (FULL - FORM_HEAD_MM) / 2
    starts = (LEFT, LEFT + FORM_HEAD_MM, LEFT + FORM_HEAD_MM + wide)
    widths = (FORM_HEAD_MM, wide, wide)
    height = HEADING.line_mm + (len(rows) + 1) * FORM_ROW_MM + 9

    def draw(y: float) -> None:
        paper.write(texts.say("sheets.demo.form_title"), LEFT, y, HEADING)
        y += HEADING.line_mm
        for at, cells in enumerate([heads, *([word, "", ""] for word in words)]):
            for text, x, width in zip(cells, starts, widths, strict=True):
                paper.frame(Box(x, y, width, FORM_ROW_MM), HAIR_MM)
                paper.write(text, x + 1.4, y + 1.1, PLAIN if at else BOLD)
            y += FORM_ROW_MM
        paper.write(texts.say("sheets.demo.signed"), LEFT, y + 3)
        start = LEFT + paper.width(texts.say("sheets.demo.signed")) + 2
        paper.line([(start, y + 7.4), (RIGHT, y + 7.4)], HAIR_MM)

    return Piece(height, draw)
