"""The one place where results become the tables that files carry, so that they all agree."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import shapely

from districtplan import tables
from districtplan.conservation import VETOES
from districtplan.demos.layout import parts
from districtplan.outputs import wording
from districtplan.outputs.purchase_tables import GOODS, purchase_tables
from districtplan.outputs.visit_tables import visit_tables

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

CODES = (
    "terrain_flags",
    "water_flags",
    "outlet_flags",
    "low_place_flags",
    "guide_flags",
    "erosion_flags",
)

LISTS = ("site_villages", "site_neighbours")
"""Columns of lists that hold names."""

OUTLINES = (
    "source_row",
    "plot_id",
    "village",
    "area_ha",
    "area_se_ha",
    "area_as_given_ha",
    "outline_repair",
    "overlap_ha",
    "overlap_plots",
)


OF_DEMO = ("area_ha", "slope_used_pct", "row_method", "longitude_deg", "latitude_deg")
"""Columns of a plot that stand beside those of its demonstration."""


def plot_table(results: Results, texts: Texts) -> pd.DataFrame:
    """Make the table of plots.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    pandas.DataFrame
        One row a plot, in the order of the file: all columns of the stages, codes of flags joined
        by semicolons, then flags and method in words and kilograms; ``geometry`` last.
    """
    plots = results.plots.reset_index(drop=True)
    table = _with_kilograms(plots)
    for codes in CODES:
        table[codes] = [";".join(raised) for raised in plots[codes]]
    table = joined(table, LISTS)
    why, flags, set_by = [], [], []
    for row in wording.records(plots):
        why.append(wording.method_sentence(row, results.plan, texts))
        flags.append(" ".join(wording.flag_sentences(row, results.plan, texts)))
        set_by.append(wording.set_by(row, results.plan))
    table["row_method_why"], table["flags"], table["row_set_by"] = why, flags, set_by
    return table[plot_columns(results)]


def joined(table: pd.DataFrame, names: Collection[str] = tuple(tables.BY_NAME)) -> pd.DataFrame:
    """Join lists in cells by semicolons.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns as declared, and others.
    names : Collection[str], default all that are declared
        Columns that are looked at.

    Returns
    -------
    pandas.DataFrame
        The same with text in the place of lists.
    """
    found = table.copy()
    for name in table.columns.intersection(list(names)):
        if tables.BY_NAME[name].kind == "texts":
            found[name] = pd.Series(["; ".join(those) for those in table[name]], dtype="str")
    return found


def with_hillside(chosen: pd.DataFrame, results: Results) -> pd.DataFrame:
    """Put the hillside of each plot, and the days that it owes, beside its measure.

    Parameters
    ----------
    chosen : pandas.DataFrame
        The measures chosen.
    results : Results
        The run.

    Returns
    -------
    pandas.DataFrame
        The same with ``work_site`` after the village and ``days_owed`` after the days of the
        measure itself.
    """
    sites = results.plots.set_index("plot_id")["work_site"]
    owed = results.works.days.set_index("plot_id")["days_owed"]
    found = chosen.copy()
    beside = {"village": ("work_site", sites), "person_days": ("days_owed", owed)}
    for before, (name, values) in beside.items():
        found.insert(list(found).index(before) + 1, name, found["plot_id"].map(values))
    return found


def veto_table(results: Results) -> pd.DataFrame:
    """List what staff ruled out in the field, with the reason.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    pandas.DataFrame
        One row a veto that is used; none without a file of them.
    """
    given = results.beside.get("vetoes")
    used = pd.DataFrame(columns=list(VETOES)) if given is None else given.used
    villages = results.plots.set_index("plot_id")["village"]
    return pd.DataFrame(
        {
            "plot_id": used["plot_id"],
            "village": used["plot_id"].map(villages),
            "measure": used["measure"],
            "veto_why": used["why"],
            "veto_date": used["date"],
        }
    )


def with_villages(order: pd.DataFrame, results: Results) -> pd.DataFrame:
    """Put the villages of each hillside beside its works.

    Parameters
    ----------
    order : pandas.DataFrame
        The order of work.
    results : Results
        The run.

    Returns
    -------
    pandas.DataFrame
        The same with ``site_villages`` after the hillside.
    """
    sites = results.plots.drop_duplicates("work_site").set_index("work_site")["site_villages"]
    found = order.copy()
    found.insert(1, "site_villages", order["work_site"].map(sites))
    return found


def plot_columns(results: Results) -> list[str]:
    """List the columns of the table of plots.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    list[str]
        Names, as declared, ``geometry`` last.
    """
    made = {*results.plots.columns, *tables.made_by("outputs")} - {"geometry", "bbox"}
    return [*(name for name in tables.BY_NAME if name in made), "geometry"]


def outline_table(results: Results) -> pd.DataFrame:
    """List the plots whose outlines are to be looked at.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    pandas.DataFrame
        Columns ``OUTLINES`` of plots whose outline was mended or made, or overlaps others.
    """
    plots = results.plots
    looked_at = plots["outline_repair"].notna() | plots["overlap_plots"].notna()
    return plots.loc[looked_at, list(OUTLINES)].reset_index(drop=True)


def village_table(results: Results) -> pd.DataFrame:
    """Make the table of villages.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    pandas.DataFrame
        One row a village: totals, and kilograms beside grams.
    """
    return _with_kilograms(results.villages.reset_index(drop=True))


def district_row(results: Results) -> pd.Series:
    """Make the district's row of the same columns as the villages'.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    pandas.Series
        Totals; ``village`` is missing.
    """
    return _with_kilograms(results.district.to_frame().T).iloc[0]


def work_layers(results: Results) -> dict[str, pd.DataFrame]:
    """Give the layers of works on hillsides.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    dict[str, pandas.DataFrame]
        Tables by the names of their layers, lists in cells joined.
    """
    works = results.works
    layers = {
        "structure_lines": works.lines,
        "outlets": works.outlets,
        "waterways": works.waterways,
    }
    return {name: joined(layer) for name, layer in layers.items()}


def demo_tables(results: Results) -> Mapping[str, pd.DataFrame]:
    """Give the tables of demonstration plots.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    Mapping[str, pandas.DataFrame]
        ``demos``, then those of the folder of that name; lists in cells joined. Empty where the
        plan asks for none; conflicts only where there are some.
    """
    found = results.demos
    if found is None:
        return {}
    names = ["farmer_name"] if "farmer_name" in results.plots else []
    beside = results.plots[["plot_id", *names, *OF_DEMO]]
    chosen = found.chosen.merge(beside, on="plot_id", how="left", validate="one_to_one")
    others = {
        "plots": found.plots,
        "villages": found.villages,
        "curve": found.curve,
        "left_out": found.reasons,
        "compared": found.compared,
        "conflicts": found.conflicts,
    }
    return {
        "demos": joined(chosen),
        **{
            f"demos/{name}": joined(table)
            for name, table in others.items()
            if name != "conflicts" or len(table)
        },
    }


def demo_layers(results: Results) -> dict[str, pd.DataFrame]:
    """Give the layers of demonstration plots.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    dict[str, pandas.DataFrame]
        ``demos``, a point in each; ``demo_halves``; and ``demo_farmers``, where farmers are, with
        how many of them they have in reach, but not who they are. Empty where none are asked for.
    """
    found = results.demos
    if found is None:
        return {}
    points = pd.Series([shapely.Point(place) for place in found.chosen_m], dtype=object)
    places = pd.Series([shapely.Point(place) for place in found.people_m], dtype=object)
    return {
        "demos": demo_tables(results)["demos"].assign(geometry=points),
        "demo_halves": parts(found.laid),
        "demo_farmers": pd.DataFrame({"demos_in_reach": found.reached, "geometry": places}),
    }


def dictionary(results: Results) -> pd.DataFrame:
    """Make the data dictionary.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    pandas.DataFrame
        ``name``, ``unit``, ``kind``, ``stage``, ``tables`` and ``meaning`` of every column of the
        files' tables, in the declared order.
    """
    carried = {
        "plots": (*plot_columns(results), "bbox"),
        "villages": tuple(village_table(results).columns),
        "set_aside": tuple(results.set_aside.columns),
        "outlines": OUTLINES,
    }
    for name, layer in (("guide_lines", results.guides.lines), ("pegs", results.pegs.table)):
        if len(layer):
            carried[name] = tuple(layer.columns)
    if results.plan.files.readings is not None:
        carried["readings"] = tuple(results.readings.compared.columns)
        carried["readings_set_aside"] = tuple(results.readings.set_aside.columns)
    if results.plan.files.features is not None:
        carried["features_set_aside"] = tuple(results.features.set_aside.columns)
    if len(results.row_lines.lines):
        carried["rows"] = tuple(results.row_lines.lines.columns)
    if len(results.catchments):
        carried["catchments"] = tuple(results.catchments.columns)
    if len(results.features.used):
        carried["features"] = tuple(results.features.used.columns)
    proposal = results.proposal
    carried["cautions"] = ("caution",)
    carried["measures"] = (
        "work_site",
        "days_owed",
        "caution",
        *proposal.priorities.chosen.columns,
        *proposal.options.offered.columns,
    )
    carried["measure_options"] = (
        *proposal.options.offered.columns,
        *proposal.options.refused.columns,
    )
    carried["walk_over"] = (*proposal.walk_over.columns, "caution")
    carried["left_out"] = (*proposal.priorities.left_out.columns, "caution")
    carried["nurseries"] = (*proposal.nurseries.columns, "caution")
    shown = {**demo_tables(results), **demo_layers(results), **visit_tables(results)}
    carried |= {name: tuple(table.columns) for name, table in shown.items()}
    bought = purchase_tables(results).items()
    carried |= {f"purchase/{name}": tuple(table.columns) for name, table in bought if len(table)}
    order = with_villages(results.works.order, results)
    carried["work_order"] = (*order.columns, "caution")
    laid = {name: layer.assign(caution="") for name, layer in work_layers(results).items()}
    laid["vetoes"] = veto_table(results)
    carried |= {name: tuple(layer.columns) for name, layer in laid.items() if len(layer)}
    kinds = {"texts": "codes, joined by semicolons"}
    # In words: a cell that starts with a percent sign gets an apostrophe in CSV.
    units = {"%": "percent"}
    found = []
    for column in tables.COLUMNS:
        within = [name for name, columns in carried.items() if column.name in columns]
        if within:
            found.append(
                {
                    "name": column.name,
                    "unit": units.get(column.unit, column.unit),
                    "kind": kinds.get(column.kind, column.kind),
                    "stage": column.maker,
                    "tables": ", ".join(within),
                    "meaning": column.meaning,
                }
            )
    return pd.DataFrame(found)


def _with_kilograms(table: pd.DataFrame) -> pd.DataFrame:
    # Whole grams over a thousand, through 64-bit integers, so that the nearest float is taken once.
    return table.assign(
        **{
            f"{good}_kg": (table[f"{good}_g"].astype("Int64") / 1000)
            .astype("Float64")
            .to_numpy(dtype="float64", na_value=float("nan"))
            for good in GOODS
        }
    )
