"""The distribution list of a village on paper: what arrives, and what each farmer signs for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import pandas as pd

from districtplan.inputs import pack_sizes
from districtplan.outputs.file_names import village_stems
from districtplan.outputs.purchase_tables import distribution, stock_at, waiting
from districtplan.outputs.sheets.paper import BOLD, PLAIN, Box, Paper, Setting, line_box
from districtplan.outputs.sheets.plot_page import (
    FOOT_MM,
    FULL,
    GAP_MM,
    HAIR_MM,
    LEFT,
    RIGHT,
    framed,
    listed,
)
from districtplan.outputs.sheets.sheet import Part
from districtplan.outputs.wording import kilograms

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterator, Mapping

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

VILLAGE = Setting(24, bold=True)
TITLE = Setting(15, bold=True, align="right")
CAUTIONS = ("dressed", "bags", "store", "manure", "hands", "rates", "law")
GOODS = ("seed", "npk", "urea")
NUMBER_MM, FARMER_MM, SIGN_MM = 10.0, 50.0, 46.0
"""Columns of the list; the goods share what is left."""

ROW_MM = 12.5
"""Height of a row: room for a thumbprint."""

HELD_MM = 5.6
"""What a row is higher by where something is held back."""

BLANK_MM = 24.0
BOX_MM = 4.2


class _List(NamedTuple):
    """A village's list, worded."""

    village: str
    title: str
    district: str
    season: str
    checks: tuple[str, ...]
    boxes: tuple[str, ...]
    signed: str
    sharing: str
    cautions: Part
    heads: tuple[str, ...]
    rows: tuple[tuple[str, str, tuple[tuple[str, str, str], ...]], ...]
    held: str


def render(results: Results, texts: Texts) -> dict[str, bytes]:
    """Draw the distribution lists.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, bytes]
        ``sheets/v001-slug-list.pdf`` of each village where someone gets something; none where it
        isn't known who takes part.
    """
    every = distribution(results)
    district = results.plan.district
    files = {}
    for village, stem in village_stems(results.villages["village"]).items():
        mine = every[every["village"] == village]
        if mine.empty:
            continue
        title = texts.say("sheets.list.file", district=district.name, village=village)
        paper = Paper(title, district.planting_date, texts.language)
        _draw(paper, _worded(village, mine, results, texts), texts)
        files[f"sheets/{stem}-list.pdf"] = paper.finish()
    return files


def _worded(village: str, mine: pd.DataFrame, results: Results, texts: Texts) -> _List:
    sizes = pack_sizes(results.plan)
    goods = [good for good in GOODS if (mine["good"] == good).any()]
    book = results.handbook
    sprouted = {
        "one": f"{book.number('practice', 'one_seed_from_pct'):g}",
        "two": f"{book.number('practice', 'two_seeds_from_pct'):g}",
    }
    bought = results.purchase.orders
    ordered = bought[bought["buying_point"] == village].set_index("good")
    if results.plan.orders.bought_at != "village":
        ordered = ordered.iloc[:0]
    orders = ordered[["packs", "stock_g", "wanted_g"]].to_dict("index")
    for good, order in orders.items():
        order["there_g"] = stock_at(results, village, str(good), order)
    checks = [_check(good, mine, (sizes[good], orders.get(good)), texts) for good in goods]
    if "seed" in goods:
        planned = "one" if results.plan.practice.seeds_each(book) == 1 else "two"
        checks.append(texts.say(f"sheets.list.sample.{planned}", **sprouted))
    rows = []
    named = "farmer_name" in mine
    for number, (farmer, theirs) in enumerate(mine.groupby("farmer_id", sort=False), 1):
        name = theirs["farmer_name"].iloc[0] if named else None
        shown = str(farmer) if name is None or pd.isna(name) else str(name)
        by_good = theirs.set_index("good")
        cells = tuple(_cell(by_good, good, sizes[good], texts) for good in goods)
        rows.append((str(number), shown, cells))
    heads = [texts.say("sheets.list.number"), texts.say("sheets.list.farmer")]
    heads += [_head(good, sizes[good], texts) for good in goods]
    told = tuple(texts.say(f"cautions.{name}") for name in CAUTIONS)
    return _List(
        village=village,
        title=texts.say("sheets.list.title"),
        district=results.plan.district.name,
        season=texts.say("sheets.season", date=texts.day(results.plan.district.planting_date)),
        checks=tuple(checks),
        boxes=(texts.say("sheets.list.apart"), texts.say("sheets.list.away")),
        signed=texts.say("sheets.list.signed"),
        sharing=" ".join([*_sharing(goods, results, texts), *_held(mine, results, texts)]),
        cautions=Part(texts.say("sheets.cautions.title"), told),
        heads=(*heads, texts.say("sheets.list.signature")),
        rows=tuple(rows),
        held=texts.say("sheets.list.held"),
    )


def _held(mine: pd.DataFrame, results: Results, texts: Texts) -> Iterator[str]:
    """Say which amounts are kept until plots have a safe outlet."""
    if not mine["held_back_g"].any():
        return
    told = waiting(results)
    count = int((told["village"] == mine["village"].iloc[0]).sum())
    key = f"sheets.list.held_back.{'one' if count == 1 else 'many'}"
    yield texts.say(key, count=f"{count:,}", held=texts.say("sheets.list.held"))


def _sharing(goods: list[str], results: Results, texts: Texts) -> Iterator[str]:
    """Say what amounts are of, why less may be ordered than all are to get, how that is shared."""
    if "seed" in goods:
        yield texts.say("sheets.list.reserve")
    if results.purchase.orders["chance_share"].notna().any():
        chance = f"{100 * results.plan.orders.chance_enough_share:.0f}"
        yield texts.say("sheets.list.enough", chance=chance)
    yield texts.say("sheets.list.sharing")


def _check(
    good: str,
    mine: pd.DataFrame,
    packs: tuple[float | None, Mapping[Hashable, Any] | None],
    texts: Texts,
) -> str:
    grams = int(mine.loc[mine["good"] == good, "farmer_planned_g"].sum())
    values = {"good": texts.say(f"sheets.wall.{good}_g"), "kg": kilograms(grams)}
    size, ordered = packs
    if size is None:
        return texts.say("sheets.list.weighed", **values)
    if ordered is None:
        return texts.say("sheets.list.counted", pack=f"{size:g}", **values)
    stock_g = int(ordered["stock_g"])
    values |= {"pack": f"{size:g}", "packs": f"{ordered['packs']:,}", "stock": kilograms(stock_g)}
    values["there"] = kilograms(int(ordered["there_g"]))
    return texts.say(f"sheets.list.{'stocked' if stock_g else 'ordered'}", **values)


def _head(good: str, pack_kg: float | None, texts: Texts) -> str:
    name = texts.say(f"sheets.wall.{good}_g")
    if pack_kg is None:
        return texts.say("sheets.list.head", good=name)
    return texts.say("sheets.list.head_packs", good=name, pack=f"{pack_kg:g}")


def _cell(
    by_good: pd.DataFrame, good: str, pack_kg: float | None, texts: Texts
) -> tuple[str, str, str]:
    """Write the kilograms, below them packs and what is weighed out of one, and what is kept."""
    row = by_good.loc[good].to_dict()
    amount = texts.say("sheets.list.amount", kg=kilograms(int(row["issued_g"])))
    held_g = int(row["held_back_g"])
    held = texts.say("sheets.list.amount", kg=kilograms(held_g)) if held_g else ""
    if pack_kg is None or not int(row["whole_packs"]):
        return amount, "", held
    packs, loose = f"{int(row['whole_packs']):,}", int(row["loose_g"])
    if not loose:
        return amount, texts.say("sheets.list.packs", packs=packs), held
    return amount, texts.say("sheets.list.packs_and", packs=packs, kg=kilograms(loose)), held


def _draw(paper: Paper, sheet: _List, texts: Texts) -> None:
    paper.page()
    y = _header(paper, sheet)
    y = _arrival(paper, sheet, y) + GAP_MM
    cautions = framed(paper, listed(paper, sheet.cautions, LEFT + 3, FULL - 6), LEFT, FULL)
    cautions.draw(y)
    y += cautions.height + GAP_MM
    y = paper.block(sheet.sharing, Box(LEFT, y, FULL, 0)) + GAP_MM
    widths = _widths(len(sheet.heads) - 3)
    y = _heads(paper, sheet.heads, widths, y)
    page = 1
    for number, farmer, cells in sheet.rows:
        waits = any(held for _, _, held in cells)
        height = ROW_MM + (HELD_MM if waits else 0.0)
        if y + height > FOOT_MM:
            _foot(paper, texts, page)
            page += 1
            paper.page()
            y = _heads(paper, sheet.heads, widths, _header(paper, sheet))
        paper.write(number, LEFT, y + 3.5)
        paper.name(farmer, line_box(LEFT + widths[0], y + 3.5, widths[1] - 3), BOLD)
        if waits:
            paper.write(sheet.held, LEFT + widths[0], y + ROW_MM - 0.4, BOLD)
        x = LEFT + widths[0] + widths[1]
        for (amount, below, held), width in zip(cells, widths[2:-1], strict=True):
            paper.write(amount, x, y + 1, BOLD)
            paper.write(below, x, y + 6.2)
            paper.write(held, x, y + ROW_MM - 0.4, BOLD)
            x += width
        y += height
        paper.line([(LEFT, y), (RIGHT, y)], HAIR_MM)
        paper.line([(RIGHT - SIGN_MM, y - height), (RIGHT - SIGN_MM, y)], HAIR_MM)
    _foot(paper, texts, page)


def _widths(goods: int) -> tuple[float, ...]:
    each = (FULL - NUMBER_MM - FARMER_MM - SIGN_MM) / goods
    return (NUMBER_MM, FARMER_MM, *(each for _ in range(goods)), SIGN_MM)


def _header(paper: Paper, sheet: _List) -> float:
    top = 9.0
    paper.name(sheet.village, Box(LEFT, top, 0.6 * FULL, 11), VILLAGE, least_pt=14)
    paper.write(sheet.title, RIGHT, top, TITLE)
    top += 11.4
    paper.name(sheet.district, line_box(LEFT, top, 0.5 * FULL), PLAIN)
    paper.write(sheet.season, RIGHT, top, PLAIN._replace(align="right"))
    top += 6
    paper.line([(LEFT, top), (RIGHT, top)], 0.9)
    return top + GAP_MM


def _arrival(paper: Paper, sheet: _List, y: float) -> float:
    """Draw lines to write on when the lorry has come."""
    step = PLAIN.line_mm + 2.4
    for line in sheet.checks:
        y = paper.block(line, Box(LEFT, y, FULL - BLANK_MM - 4, 0))
        paper.line([(RIGHT - BLANK_MM, y), (RIGHT, y)], HAIR_MM)
        y += 2.0
    for line in sheet.boxes:
        paper.frame(Box(LEFT, y + 0.4, BOX_MM, BOX_MM), 0.6)
        paper.write(line, LEFT + BOX_MM + 2.5, y)
        y += step
    paper.write(sheet.signed, LEFT, y)
    end = y + PLAIN.line_mm
    paper.line([(LEFT + paper.width(sheet.signed) + 2, end), (RIGHT, end)], HAIR_MM)
    return y + step


def _heads(paper: Paper, heads: tuple[str, ...], widths: tuple[float, ...], y: float) -> float:
    x, bottom = LEFT, y
    for place, (head, width) in enumerate(zip(heads, widths, strict=True)):
        indent = 1.5 if place == len(heads) - 1 else 0.0
        bottom = max(bottom, paper.block(head, Box(x + indent, y, width - 2, 0), BOLD))
        x += width
    paper.line([(LEFT, bottom + 0.6), (RIGHT, bottom + 0.6)], 0.7)
    return bottom + 0.6


def _foot(paper: Paper, texts: Texts, page: int) -> None:
    said = texts.say("sheets.list.page", page=page)
    paper.write(said, RIGHT, FOOT_MM + 4, PLAIN._replace(align="right"))
