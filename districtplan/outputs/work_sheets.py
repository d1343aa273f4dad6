"""Sheets of the workbook on work and margins, whose formulas follow days, yields and prices."""

from __future__ import annotations

from typing import TYPE_CHECKING

from districtplan.outputs import purchase_words
from districtplan.outputs.laid_sheets import LOOKED_THROUGH_MAX, Laid, Looked
from districtplan.outputs.purchase_tables import GOODS, served

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

CARRIED = "carry_manure"
WITHOUT, WITH, ADDED = 2, 3, 4
"""Rows of the sheet of margins."""


def labour(
    results: Results, done: pd.DataFrame, beside: tuple[Laid, Looked], rows_max: int
) -> list[Laid]:
    """Lay out the work: by village, work and week; by village and week; by work.

    Parameters
    ----------
    results : Results
        The run.
    done : pandas.DataFrame
        The table of labour.
    beside : tuple[Laid, Looked]
        The sheet with a row a village, and that of kits.
    rows_max : int
        Rows that a sheet holds.

    Returns
    -------
    list[Laid]
        Three sheets; without rows where the plan gives no figures.
    """
    villages, whole = beside
    texts, lines = whole.texts, served(results.purchase)
    numbers = dict(zip(villages.table["village"], villages.table["village_number"], strict=True))
    table = purchase_words.works_named(done, texts)
    table.insert(1, "village_number", [numbers[name] for name in done["village"]])
    laid = Laid("labour", table, sums=("work_days",))
    at, works = laid.column, done["season_work"].tolist()
    looks = len(done) * len(whole.kit.table) <= LOOKED_THROUGH_MAX and villages.formulas

    def of_village(what: str, row: int) -> str:
        number = f"{at('village_number')}{row}"
        cells = [villages.over(f"{line}_{what}", texts) for line in lines]
        return "(" + "+".join(f"INDEX({cell},{number})" for cell in cells) + ")"

    def work_days(row: int) -> str:
        share, work = f"{at('week_share')}{row}", works[row - 2]
        if work != CARRIED:
            return f"{of_village('bean_area_ha', row)}*{work}_days_ha*{share}"
        cell = f"{at('village_number')}{row}"
        loads = [whole.sum("manure_loads", line, "village_number", cell) for line in lines]
        return f"({'+'.join(loads)})/manure_loads_a_day*{share}" if looks else ""

    def hands_days(row: int) -> str:
        return f"{of_village('plots', row)}*hands_a_plot*work_days_a_week"

    laid = Laid("labour", table, {"work_days": work_days, "hands_days": hands_days}, laid.sums)
    live = 0 < len(done) < rows_max and len(done) ** 2 <= LOOKED_THROUGH_MAX
    return [laid, _weeks(laid, texts, live=live), _works(laid, texts, live=live)]


def _weeks(laid: Laid, texts: Texts, *, live: bool) -> Laid:
    """Set the work of each week beside the hands that a village has."""
    keys = ["village", "village_number", "week_to"]
    table = (
        laid.table.groupby(keys, sort=True)
        .agg(work_days=("work_days", "sum"), hands_days=("hands_days", "first"))
        .reset_index()
    )
    table["lacking_days"] = (table["work_days"] - table["hands_days"]).clip(lower=0)
    weeks = Laid("labour_weeks", table)
    at = weeks.column

    def over(name: str, fold: str, row: int) -> str:
        where = ",".join(f"{laid.over(key, texts)},{at(key)}{row}" for key in keys[1:])
        return f"{fold}({laid.over(name, texts)},{where})"

    formulas: dict[str, Callable[[int], str]] = {
        "work_days": lambda row: over("work_days", "SUMIFS", row),
        "hands_days": lambda row: over("hands_days", "AVERAGEIFS", row),
        "lacking_days": lambda row: f"MAX({at('work_days')}{row}-{at('hands_days')}{row},0)",
    }
    return Laid("labour_weeks", table, formulas if live else {}, ("work_days", "lacking_days"))


def _works(laid: Laid, texts: Texts, *, live: bool) -> Laid:
    """Add the work up over all villages, work by work."""
    table = laid.table.groupby("season_work", sort=False)["work_days"].sum().reset_index()

    def days(row: int) -> str:
        return f"SUMIFS({laid.over('work_days', texts)},{laid.over('season_work', texts)},$A{row})"

    return Laid("labour_works", table, {"work_days": days} if live else {}, ("work_days",))


def margins(results: Results, table: pd.DataFrame, whole: Looked) -> Laid:
    """Lay out a hectare without the practice, with it, and what it adds.

    Parameters
    ----------
    results : Results
        The run.
    table : pandas.DataFrame
        The table of margins.
    whole : Looked
        The sheet of kits.

    Returns
    -------
    Laid
        The sheet; its rows not yet in words.
    """
    kits = results.purchase.kits
    given = [good for good in GOODS if kits[f"{good}_g"].notna().any()]
    lines = served(results.purchase)
    laid = Laid("margins", table)
    at = laid.column

    def in_all(column: str) -> str:
        return "+".join(whole.sum(column, line) for line in lines)

    def value(end: str) -> Callable[[int], str]:
        other = {"low": "high", "high": "low"}[end]
        each = {
            WITHOUT: f"yield_without_{end}_kg_ha",
            WITH: f"yield_with_{end}_kg_ha",
            ADDED: f"(yield_with_{end}_kg_ha-yield_without_{other}_kg_ha)",
        }
        return lambda row: f"{each[row]}*grain_price_{end}_kg"

    def cost(row: int) -> str:
        if row == ADDED:
            return f"{at('cost')}{WITH}-{at('cost')}{WITHOUT}"
        goods = ["seed"] if row == WITHOUT else given
        paid = "+".join(in_all(f"{good}_cost") for good in goods if good in given)
        return f"({paid or 0})/({in_all('bean_area_ha')})"

    def ratio(end: str) -> Callable[[int], str]:
        def formula(row: int) -> str:
            spent = f"{at('cost')}{row}"
            return f'IF({spent}>0,{at(f"value_{end}")}{row}/{spent},"")'

        return formula

    formulas: dict[str, Callable[[int], str]] = {"cost": cost}
    for end in ("low", "high"):
        formulas[f"value_{end}"] = value(end)
        formulas[f"margin_{end}"] = _less(at(f"value_{end}"), at("cost"))
        formulas[f"value_cost_ratio_{end}"] = ratio(end)
    return Laid("margins", table, formulas)


def _less(whole: str, part: str) -> Callable[[int], str]:
    return lambda row: f"{whole}{row}-{part}{row}"
