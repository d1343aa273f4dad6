"""Sheets of the workbook on what is bought, with formulas that follow a changed assumption.

Numbers that a person may change stand once, on the sheet of assumptions, each with a name that
formulas use. Sums go by numbers of villages and buying points, never by their names: a name such as
``>5`` or ``*`` would be taken for a condition.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from districtplan.inputs import LINES, NO_GO, NO_GO_HA, WORKS, hundred_seed_weight_g
from districtplan.outputs import purchase_words, work_sheets
from districtplan.outputs.laid_sheets import LOOKED_THROUGH_MAX, Laid, Looked, rounded
from districtplan.outputs.plot_table import village_table
from districtplan.outputs.purchase_tables import (
    COSTS,
    GOODS,
    SIGNATURE,
    in_all,
    purchase_tables,
    served,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from districtplan.handbook import Handbook
    from districtplan.outputs.texts import Texts
    from districtplan.plan import Plan
    from districtplan.results import Results

VILLAGE_COLUMNS = (
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
MONEY = ("value_low", "value_high", "margin_low", "margin_high")
AMOUNTS = (
    "planned",
    "need_low",
    "need_usual",
    "need_high",
    "wanted",
    "stock_there",
    "stock",
    "ordered",
    "leftover",
)
CHANGEABLE = (
    ("practice", "hundred_seed_weight_g"),
    ("practice", "germination_share"),
    ("practice", "emergence_share"),
    ("practice", "refill_share"),
    ("practice", "spillage_share"),
    *(("practice", f"{good}_kg_ha") for good in GOODS[1:]),
    *(("orders", f"{good}_pack_kg") for good in GOODS[:3]),
    *(("enrolment", f"uptake_{season}_share") for season in ("low", "usual", "high")),
    *(("money", f"{good}_price_kg") for good in GOODS),
    *(("money", f"grain_price_{end}_kg") for end in ("low", "high")),
    *(
        ("money", f"yield_{how}_{end}_kg_ha")
        for how in ("without", "with")
        for end in ("low", "high")
    ),
    *(("labour", f"{work}_days_ha") for work in WORKS if work != work_sheets.CARRIED),
    *(("labour", key) for key in ("manure_loads_a_day", "hands_a_plot", "work_days_a_week")),
    ("fertiliser", "manure_load_kg"),
)
"""Keys of the plan that formulas of the workbook follow."""


def sheets(results: Results, texts: Texts, rows_max: int) -> list[Laid]:
    """Lay out the sheets on what is bought.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.
    rows_max : int
        Rows that a sheet holds. Where kits or orders have more, what looks through them is plain
        numbers.

    Returns
    -------
    list[Laid]
        Summary, a row a village, orders, lists, calendar, work, money, kits and assumptions, in the
        order of the workbook.
    """
    made = purchase_tables(results)
    held = _assumptions(results, texts)
    known = set(held.names)
    kit = _kits(results, made["kits"], known, texts)
    whole = Looked(kit, texts)
    order = _orders(made["orders"], results, known, whole)
    villages = _villages(results, made["lines"], whole, texts)
    summary = _summary(made, whole, texts, is_order=results.purchase.is_order)
    in_all = _order_in_all(order, texts)
    margins = work_sheets.margins(results, made["margins"], whole)
    if len(kit.table) >= rows_max:
        summary, villages, margins = (
            replace(laid, formulas={}) for laid in (summary, villages, margins)
        )
        order = replace(
            order, formulas={k: v for k, v in order.formulas.items() if k != "planned_kg"}
        )
    laid = [
        summary,
        villages,
        in_all if len(order.table) < rows_max else replace(in_all, formulas={}),
        order.worded(texts),
        Laid("poles", made["poles"], sums=("poles_planned", "poles_wanted")),
        Laid(
            "deliveries",
            _goods_named(made["deliveries"], texts),
            lead=(texts.say("workbook.as_of_run"),),
        ),
        _distribution(made["distribution"], results, known, texts),
        Laid("calendar", purchase_words.calendar(results, texts)),
        *work_sheets.labour(results, made["labour"], (villages, whole), rows_max),
        replace(margins, table=purchase_words.margins_named(margins.table, texts)),
        kit,
        held,
    ]
    return [_in_currency(one, results.plan.money.currency, texts) for one in laid]


def _in_currency(laid: Laid, currency: str | None, texts: Texts) -> Laid:
    """Name the currency at the head of columns of money, where the plan does."""
    if currency is None:
        return laid
    heads = dict(laid.heads)
    for name in map(str, laid.table):
        if name.endswith(("cost", *MONEY)):
            head = heads.get(name) or texts.say(f"workbook.heads.{name}")
            heads[name] = texts.say("workbook.in_currency", head=head, currency=currency)
    return replace(laid, heads=heads)


def _assumptions(results: Results, texts: Texts) -> Laid:
    """List the numbers that formulas follow, each with its source."""
    plan, book = results.plan, results.handbook
    rows: list[dict[str, Any]] = []

    def add(name: str, value: float, source: str) -> None:
        meaning = texts.say(f"assumptions.{name}")
        rows.append({"what": meaning, "value": value, "source": source, "assumption": name})

    mine = texts.say("assumptions.of_plan")
    usual = f"seeds_per_hole_{plan.practice.seed_class.replace('-', '_')}"
    theirs = mine if plan.practice.seeds_per_hole else book.source("practice", usual)
    add("seeds_per_hole", plan.practice.seeds_each(book), theirs)
    add("bean_rows_apart_cm", plan.practice.bean_rows_apart_cm, mine)
    bought = results.purchase
    left_out = {"labour"} if bought.labour.empty else set()
    for section, key in CHANGEABLE:
        value = getattr(getattr(plan, section), key)
        of_margins = key.startswith(("grain_", "yield_"))
        if section in left_out or (of_margins and bought.margins.empty):
            continue
        if key == "hundred_seed_weight_g":
            value = hundred_seed_weight_g(plan, book)
        if value is not None:
            add(key, value, _published(plan, section, key, book) or mine)
    add("manure_there_share", results.purchase.manure_there_share, texts.say("assumptions.worked"))
    table = pd.DataFrame(rows)
    names = {row["assumption"]: place for place, row in enumerate(rows, start=2)}
    return Laid("assumptions", table[["what", "value", "assumption", "source"]], names=names)


def _published(plan: Plan, section: str, key: str, book: Handbook) -> str:
    """Give the source of a number that is the handbook's, empty where the plan sets another."""
    extra = type(getattr(plan, section)).model_fields[key].json_schema_extra
    if not isinstance(extra, dict) or "published" not in extra:
        return ""
    table, name = (str(part) for part in extra["published"])
    known = book.tables[table].constants.get(name)
    return book.source(table, name) if known == getattr(getattr(plan, section), key) else ""


def _kits(results: Results, kits: pd.DataFrame, known: set[str], texts: Texts) -> Laid:
    """Lay out the kits: grams from holes and metres of row, costs from grams."""
    plan = results.plan
    plots = results.plots.reset_index(drop=True)
    villages = {name: number for number, name in enumerate(results.villages["village"], 1)}
    points = _numbers(results)
    level = {"group": "group", "village": "village", "farmer": "farmer_id", "plot": "plot_id"}
    point = kits[level[plan.orders.bought_at]] if plan.orders.bought_at in level else None
    table = pd.DataFrame(
        {
            "plot_id": kits["plot_id"],
            "village": kits["village"],
            "village_number": kits["village"].map(villages),
            "point_number": 1 if point is None else point.map(points),
            "order_line": [texts.say(f"order_lines.{line}") for line in kits["order_line"]],
            "bean_share": kits["bean_share"],
            "bean_area_ha": kits["bean_area_ha"],
            **{name: kits[name] for name in NO_GO_HA.values()},
            "holes": plots["holes"],
            "row_length_m": plots["row_length_m"],
            **{f"kit_{good}_g": kits[f"kit_{good}_g"] for good in GOODS},
            "manure_loads": kits["manure_loads"],
            "poles": kits["poles"],
            **{name: kits[name] for name in COSTS},
        }
    )
    laid = Laid("kits", table)
    at = laid.column
    formulas: dict[str, Callable[[int], str]] = {}
    if plan.practice.target_plants_ha is None and "hundred_seed_weight_g" in known:
        formulas["kit_seed_g"] = lambda row: _seed(
            f"{at('holes')}{row}", f"{at('bean_share')}{row}"
        )
    for good in GOODS[1:]:
        if f"{good}_kg_ha" in known:
            formulas[f"kit_{good}_g"] = _along(laid, good)
    formulas["manure_loads"] = lambda row: (
        f"ROUNDUP(ROUND({at('kit_manure_g')}{row}/(manure_load_kg*1000),9),0)"
    )
    given = [good for good in GOODS if kits[f"kit_{good}_g"].notna().any()]
    priced = [good for good in given if f"{good}_price_kg" in known]
    for good in priced:
        formulas[f"{good}_cost"] = _cost(laid, good)
    if given and priced == given:
        cells = [at(f"{good}_cost") for good in given]
        formulas["kit_cost"] = lambda row: "ROUND(" + "+".join(f"{c}{row}" for c in cells) + ",2)"
    return Laid("kits", table, formulas)


def _seed(holes: str, share: str) -> str:
    planted = rounded(f"{holes}*seeds_per_hole*hundred_seed_weight_g/100")
    empty = "(1-germination_share*emergence_share)^seeds_per_hole"
    bought = rounded(f"{planted}*(1+{empty}*refill_share)*(1+spillage_share)")
    return rounded(f"{bought}*{share}")


def _along(laid: Laid, good: str) -> Callable[[int], str]:
    length, share = laid.column("row_length_m"), laid.column("bean_share")

    def formula(row: int) -> str:
        spread = rounded(f"{length}{row}*({good}_kg_ha*bean_rows_apart_cm/1000)")
        kit = rounded(f"{spread}*{share}{row}")
        return rounded(f"{kit}*manure_there_share") if good == "manure" else kit

    return formula


def _cost(laid: Laid, good: str) -> Callable[[int], str]:
    grams = laid.column(f"kit_{good}_g")
    return lambda row: f"{rounded(f'{grams}{row}/1000*({good}_price_kg*100)')}/100"


def _numbers(results: Results) -> dict[str, int]:
    """Give buying points their numbers, as their orders stand."""
    return {
        str(name): number
        for number, name in enumerate(dict.fromkeys(results.purchase.orders["buying_point"]), 1)
    }


def _amounts(table: pd.DataFrame) -> dict[str, pd.Series]:
    """Give the kilograms and the money of lines, those that are known."""
    found = {f"{good}_kg": table[f"kit_{good}_g"].astype("Float64") / 1000 for good in GOODS}
    found["kit_cost"] = table["kit_cost"]
    return {name: values for name, values in found.items() if values.notna().any()}


def _summary(made: dict[str, pd.DataFrame], whole: Looked, texts: Texts, *, is_order: bool) -> Laid:
    """Set the four lines one under the other, then what those enrolled use by uptake."""
    kit = made["kits"]
    known = [good for good in GOODS if kit[f"kit_{good}_g"].notna().any()]
    rows: list[dict[str, Any]] = []
    for line in LINES:
        theirs = kit[kit["order_line"] == line]
        of_line = made["lines"][made["lines"]["order_line"] == line]
        row = {"summary_line": texts.say(f"order_lines.{line}"), "plots": of_line["plots"].sum()}
        if line not in NO_GO:
            row |= {f"{good}_kg": theirs[f"kit_{good}_g"].sum() / 1000 for good in known}
            row["kit_cost"] = round(theirs["kit_cost"].sum(), 2)
        rows.append({**row, "line_area_ha": of_line["bean_area_ha"].sum()})
    kind = "uptake" if is_order else "limit"
    for use in made["uptake"].to_dict("records"):
        amounts = {f"{good}_kg": use[f"kit_{good}_g"] / 1000 for good in known}
        rows.append({"summary_line": texts.say(f"order_lines.{kind}_{use['season']}"), **amounts})
    kept = ["summary_line", "plots", "line_area_ha", *(f"{good}_kg" for good in known)]
    if "kit_cost" in whole.kit.formulas:
        kept.append("kit_cost")
    table = pd.DataFrame(rows)[kept].astype({"plots": "Int64"})
    used_by = "enrolled" if is_order else "registered"
    seasons = list(made["uptake"]["season"])

    def of(column: str, unit: str) -> Callable[[int], str]:
        def formula(row: int) -> str:
            if row - 2 < len(LINES):
                return whole.sum(column, LINES[row - 2]) + unit
            season = seasons[row - 2 - len(LINES)]
            total = whole.sum(column, used_by)
            return f"{rounded(f'{total}*uptake_{season}_share')}{unit}"

        return formula

    formulas = {f"{good}_kg": of(f"kit_{good}_g", "/1000") for good in known}
    if "kit_cost" in kept:
        last = len(LINES) + 1
        formulas["kit_cost"] = lambda row: (
            f"ROUND({whole.sum('kit_cost', LINES[row - 2])},2)" if row <= last else ""
        )
    return Laid("summary", table, formulas)


def _villages(results: Results, lines: pd.DataFrame, whole: Looked, texts: Texts) -> Laid:
    """Lay out a row a village: the four lines beside each other, then holes and where to look."""
    every = village_table(results)
    kept = [name for name in VILLAGE_COLUMNS if name in every]
    table = every[["village", "plots", "area_ha"]].copy()
    table.insert(1, "village_number", np.arange(1, len(table) + 1))
    laid = lines.set_index(["order_line", "village"])
    heads: dict[str, str] = {}
    formulas: dict[str, Callable[[int], str]] = {}

    columns = {"plots": laid["plots"], "bean_area_ha": laid["bean_area_ha"], **_amounts(laid)}
    for line in LINES:
        for what, values in columns.items():
            if line in NO_GO and what not in {"plots", "bean_area_ha"}:
                continue  # Nothing is bought for it.
            name = f"{line}_{what}"
            known = values[values.index.get_level_values("order_line") == line]
            by_village = dict(zip(known.index.get_level_values("village"), known, strict=True))
            table[name] = [by_village.get(village, 0) for village in table["village"]]
            heads[name] = texts.say(
                "workbook.of_line",
                line=texts.say(f"order_lines.{line}"),
                what=texts.say(f"workbook.heads.{_called(line, what)}"),
            )
            formulas[name] = _of_village(whole, line, what)
    table[kept] = every[kept]
    sums = tuple(name for name in table.columns[2:] if table[name].notna().all())
    return Laid("villages", table, formulas, sums, heads)


def _called(line: str, what: str) -> str:
    """Name a column of a line: land that nobody plants isn't under the crop."""
    return "line_area_ha" if what == "bean_area_ha" and line in NO_GO else what


def _of_village(whole: Looked, line: str, what: str) -> Callable[[int], str]:
    """Add up what a line of a village takes; its number stands in the second column."""
    column, unit = (f"kit_{what[:-3]}_g", "/1000") if what.endswith("_kg") else (what, "")

    def formula(row: int) -> str:
        cell = f"$B{row}"
        if line in NO_GO:
            return whole.no_go(line, what, cell)
        if what == "plots":
            return whole.count(line, "village_number", cell)
        total = whole.sum(column, line, "village_number", cell) + unit
        return f"ROUND({total},2)" if what == "kit_cost" else total

    return formula


@dataclass(frozen=True)
class _Orders(Laid):
    """Orders by their codes, until they are worded."""

    def worded(self, texts: Texts) -> Laid:
        return Laid(
            self.name,
            _goods_named(purchase_words.reasons_named(self.table, texts), texts),
            self.formulas,
        )


def _goods_named(table: pd.DataFrame, texts: Texts) -> pd.DataFrame:
    return table.assign(good=[texts.say(f"goods.{good}_g") for good in table["good"]])


def _orders(orders: pd.DataFrame, results: Results, known: set[str], whole: Looked) -> _Orders:
    """Lay out the orders: packs follow from what is planned, the stock and the size of a pack."""
    points = _numbers(results)
    kilograms = {f"{name}_kg": orders[f"{name}_g"].astype("float64") / 1000 for name in AMOUNTS}
    planned = orders["planned_g"].astype("float64")
    table = pd.DataFrame(
        {
            "buying_point": orders["buying_point"].astype("str"),
            "point_number": orders["buying_point"].map(points).astype("Int64"),
            "good": orders["good"].astype("str"),
            "order_status": orders["order_status"],
            **{f"{name}_kg": kilograms[f"{name}_kg"] for name in AMOUNTS[:5]},
            "enough_share": (orders["wanted_g"].astype("float64") / planned.where(planned > 0)),
            "stock_there_kg": kilograms["stock_there_kg"],
            "stock_kg": kilograms["stock_kg"],
            "packs": orders["packs"],
            "ordered_kg": kilograms["ordered_kg"],
            "leftover_kg": kilograms["leftover_kg"],
            "order_cost": orders["order_cost"].astype("float64"),
            "chance_share": orders["chance_share"],
            "dominates": orders["dominates"],
        }
    )
    laid = Laid("orders", table)
    at = laid.column
    goods = orders["good"].tolist()
    lines = served(results.purchase)

    def plan_of(row: int) -> str:
        column = f"kit_{goods[row - 2]}_g"
        cell = f"${at('point_number')}{row}"
        return (
            "("
            + "+".join(whole.sum(column, line, "point_number", cell) for line in lines)
            + ")/1000"
        )

    def wanted(row: int) -> str:
        share = f"{at('enough_share')}{row}"
        return f"ROUND({at('planned_kg')}{row}*1000*N({share}),0)/1000"

    def short(row: int) -> str:
        return f"MAX(0,ROUND({at('wanted_kg')}{row}-{at('stock_kg')}{row},3))"

    def packs(row: int) -> str:
        name = f"{goods[row - 2]}_pack_kg"
        if name not in known:
            return ""
        return f"ROUNDUP(ROUND({short(row)}/{name},9),0)"

    def ordered(row: int) -> str:
        name = f"{goods[row - 2]}_pack_kg"
        return f"{at('packs')}{row}*{name}" if name in known else short(row)

    def paid(row: int) -> str:
        cents = rounded(f"{at('ordered_kg')}{row}*({goods[row - 2]}_price_kg*100)")
        return f"{cents}/100"

    formulas: dict[str, Callable[[int], str]] = {
        **{
            f"need_{season}_kg": _used(at("planned_kg"), season)
            for season in ("low", "usual", "high")
        },
        "wanted_kg": wanted,
        "stock_kg": lambda row: f"MIN({at('stock_there_kg')}{row},{at('wanted_kg')}{row})",
        "packs": packs,
        "ordered_kg": ordered,
        "leftover_kg": lambda row: f"ROUND({at('ordered_kg')}{row}-{short(row)},3)",
        "order_cost": paid,
    }
    if len(orders) * len(whole.kit.table) <= LOOKED_THROUGH_MAX:
        formulas["planned_kg"] = plan_of
    return _Orders("orders", table, formulas)


def _used(planned: str, season: str) -> Callable[[int], str]:
    return lambda row: f"{rounded(f'{planned}{row}*1000*uptake_{season}_share')}/1000"


def _order_in_all(order: Laid, texts: Texts) -> Laid:
    """Add the orders up by good, over all buying points."""
    table = order.table
    summed = [*(f"{name}_kg" for name in AMOUNTS), "packs", "order_cost"]
    found = table.groupby("good", sort=False)[summed].sum(min_count=1).reset_index()
    found["packs"] = found["packs"].astype("Int64")
    words = [texts.say(f"goods.{good}_g") for good in found["good"]]

    def of(name: str) -> Callable[[int], str]:
        def formula(row: int) -> str:
            if pd.isna(found[name].iloc[row - 2]):
                return ""
            return f"SUMIFS({order.over(name, texts)},{order.over('good', texts)},$A{row})"

        return formula

    return Laid("order_in_all", found.assign(good=words), {name: of(name) for name in summed})


def _distribution(listed: pd.DataFrame, results: Results, known: set[str], texts: Texts) -> Laid:
    """Lay out the list of what farmers get: what is issued may be overwritten on the day."""
    plan = results.plan
    lead = (texts.say("workbook.as_of_run"), *_beyond(results, texts))
    kept = [name for name in ("village", "farmer_id", "farmer_name", "good") if name in listed]
    table = listed[kept].assign(
        farmer_plots=listed["farmer_plots"],
        farmer_planned_kg=listed["farmer_planned_g"].astype("float64") / 1000,
        issued_kg=listed["issued_g"].astype("float64") / 1000,
        short_kg=listed["short_g"].astype("float64") / 1000,
        whole_packs=listed["whole_packs"],
        loose_kg=listed["loose_g"].astype("float64") / 1000,
        held_back_kg=listed["held_back_g"].astype("float64") / 1000,
        **{SIGNATURE: ""},
    )
    laid = Laid("distribution", table, lead=lead)
    at, goods = laid.column, listed["good"].tolist()
    formulas: dict[str, Callable[[int], str]] = {
        "short_kg": lambda row: f"ROUND({at('farmer_planned_kg')}{row}-{at('issued_kg')}{row},3)"
    }
    if plan.orders.bought_at not in {"plot", "farmer"}:

        def packs(row: int) -> str:
            name = f"{goods[row - laid.first_row]}_pack_kg"
            return f"INT(ROUND({at('issued_kg')}{row}/{name},9))" if name in known else ""

        def loose(row: int) -> str:
            name = f"{goods[row - laid.first_row]}_pack_kg"
            held = f"-{at('whole_packs')}{row}*{name}" if name in known else ""
            return f"ROUND({at('issued_kg')}{row}{held},3)"

        formulas |= {"whole_packs": packs, "loose_kg": loose}
    return Laid("distribution", _goods_named(table, texts), formulas, lead=lead)


def _beyond(results: Results, texts: Texts) -> list[str]:
    """Say of which goods more stands on the list than is bought or taken from stock, and why."""
    issued = results.purchase.handed_out.groupby("good")["issued_g"].sum()
    parts = []
    for good, sums in in_all(results.purchase).items():
        ordered, stock, listed = sums["ordered_g"], sums["stock_g"], int(issued.get(good, 0))
        if ordered is None or stock is None or listed <= ordered + stock:
            continue
        parts.append(
            texts.say(
                "workbook.beyond_good",
                good=texts.say(f"goods.{good}_g"),
                issued=purchase_words.amount(listed, texts),
                there=purchase_words.amount(ordered + stock, texts),
                share=f"{100 * (ordered + stock) / listed:.0f}",
            )
        )
    return [texts.say("workbook.beyond", parts=texts.listed(parts))] if parts else []
