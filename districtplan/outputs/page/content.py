"""What the page's script is handed: plots as columns of integers, villages, words.

Nothing here is a template. Text of the user's goes into JSON as it is, and the script shows it by
``textContent`` or draws it.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any, cast

import pandas as pd

from districtplan.handbook import cite
from districtplan.outputs import (
    demo_words,
    field_words,
    measure_words,
    purchase_words,
    visit_words,
    wording,
    work_words,
)
from districtplan.outputs.page import (
    bought,
    columns,
    ground,
    heights,
    lines,
    overview,
    palette,
    shapes,
    shown_names,
    teach,
    visit_view,
    work,
    worked,
)
from districtplan.outputs.page.columns import Each, Few, Numbers
from districtplan.outputs.purchase_tables import GOODS, served_totals

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Mapping

    import numpy as np
    from numpy.typing import NDArray

    from districtplan.demos import Allotment
    from districtplan.outputs.page.columns import Column
    from districtplan.outputs.page.heights import Intervals
    from districtplan.outputs.texts import Texts
    from districtplan.outputs.work_words import Hill
    from districtplan.plan import Demos
    from districtplan.results import Results

    Flags = NDArray[np.bool_]

SLOPE_DECIMALS = 2
"""Of a slope that plots are filtered by: what is just below a limit isn't at it [%]."""
LINES_TOLD_MAX = 200_000
"""Most guide lines that cards tell of: about 50 MB of words over all villages."""
NUMBERS = {
    "longitude_deg": 6,
    "latitude_deg": 6,
    "area_ha": 4,
    "elevation_mean_m": 0,
    "slope_mean_pct": 1,
    "slope_p90_pct": 1,
    "slope_max_pct": 1,
    "slope_corrected_pct": 1,
    "slope_se_pct": 1,
    "slope_measured_pct": 1,
    "slope_class_number": 0,
    "row_bearing_true_deg": 2,
    "row_bearing_se_deg": 1,
    "declination_deg": 1,
    "erosion_class_number": 0,
    "rows": 0,
    "short_rows": 0,
    "row_length_m": 0,
    "row_spacing_map_m": 4,
    "first_row_start_m": 1,
    "guide_lines": 0,
    "maize_rows": 0,
    "maize_row_length_m": 0,
    "maize_holes": 0,
    "holes": 0,
    "plants": 0,
    "seed_g": 0,
    "npk_g": 0,
    "urea_g": 0,
    "manure_g": 0,
    "seed_packs": 0,
    "npk_packs": 0,
    "urea_packs": 0,
}
"""Columns of numbers that the page shows, and the decimals it keeps."""

WORDS = (
    "village",
    "row_bearing_words",
    "slope_class",
    "erosion_class",
    "row_method",
    "holes_basis",
    "first_row_corner",
    "first_row_way",
    "guide_kind",
)
TOTALS = (
    "seed_g",
    "seed_packs",
    "npk_g",
    "npk_packs",
    "urea_g",
    "urea_packs",
    "manure_g",
    "plots",
    "area_ha",
    "holes",
    "plants",
    "plots_steep",
    "plots_beyond_equations",
    "plots_measure",
)
SAID_OF = (
    "outline_repair",
    "row_method",
    "row_method_reason",
    "slope_used_pct",
    "row_bearing_true_deg",
    "row_low_end",
    "row_fall_pct",
    "row_outlet",
    "row_end_ahead",
    "row_end_behind",
    "row_grade_design_pct",
    "row_fall_to",
    "row_turn_deg",
    "flow_strip_m2",
    "row_breaks",
    "low_place_flags",
    "outlet_flags",
    "terrain_flags",
    "water_flags",
    "erosion_flags",
    "cells",
    "heights_filled_share",
    "slope_length_m",
    "slope_length_total_m",
    "flow_line_length_m",
    "upslope_area_ha",
    "upslope_area_at_least",
    "slope_max_pct",
    "slope_corrected_pct",
    "slope_se_pct",
    "slope_measured_pct",
    "row_bearing_se_deg",
    "row_bearing_raster_true_deg",
    "row_bearing_raster_se_deg",
    "row_grade_likely_pct",
    "row_grade_95_pct",
    "row_grade_limit_pct",
    "soil_loss_up_down_likely_t_ha_yr",
    "soil_loss_contour_likely_t_ha_yr",
    "hillside_slope_pct",
    "hillside_downslope_true_deg",
    "guide_kind",
    "guide_lines",
    "guide_floor_pct",
    "guide_flags",
    "row_grade_straight_rms_pct",
    "row_grade_structure_rms_pct",
    "row_within_straight_share",
    "row_within_guided_share",
)
"""Columns that a plot's sentences are made from."""
SAID_IF_READ = ("soil_not_read", "soil_drainage")
"""The same, where they are there."""

RAISED = (
    "row_method",
    "outline_repair",
    *(f"{kind}_flags" for kind in wording.FLAG_KINDS),
)
"""Columns that tell what is noted of a plot."""

ABOVE = (
    "slope_length_above_m",
    "slope_above_begins",
    "ls_at_least",
    "flow_line_length_m",
    "soil_loss_up_down_likely_t_ha_yr",
)
"""Columns that what is counted of the slope above is told from."""

KIT = ("seed_g", "npk_g", "urea_g", "manure_g", "manure_loads", "poles")
"""What is in a kit."""

STRAIGHT = "straight"
BEYOND = "slope_beyond_equations"
STEEP_CODES = {BEYOND, "rows_alone_not_enough", "perennials_only", "forest_only"}
STEEP = ("storms", "landslide", "law")
FEED = ("fertiliser", "dressed", "bags", "store", "manure", "hands", "rates")


def district(
    results: Results, apart: Intervals | None, origin_deg: tuple[float, float], texts: Texts
) -> dict[str, Any]:
    """Gather the content of the district's page, but for what its villages' own data holds.

    Parameters
    ----------
    results : Results
        The run, its plots in the order of villages.
    apart : Intervals | None
        How far apart lines of equal height are.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any]
        Content that ``json.dumps`` takes; ``data.js`` unpacks it.
    """
    hills = work_words.hills(results, texts, work.HILLS_MAX)
    villages, whole = served_totals(results)
    return {
        "findings": findings(results, next(iter(hills), None), texts)
        | {"buy": purchase_words.headline(results, texts)}
        | _taught(results, demo_words.finding, texts)
        | _visited(results, texts),
        "work": work.work(results, hills, origin_deg, texts),
        "teach": teach.district(results, origin_deg, texts),
        "visits": visit_view.district(results, origin_deg, texts),
        "order": bought.order(results, texts),
        **_shared(results, apart, origin_deg, texts),
        "totals": _totals(villages),
        "district": _totals(whole.to_frame().T),
        "villages_named": wording.villages_named(results),
    }


def findings(results: Results, first: Hill | None, texts: Texts) -> dict[str, list[str]]:
    """Say what each view finds, the finding itself first.

    Parameters
    ----------
    results : Results
        The run, of the district or of a village.
    first : Hill | None
        The hillside to go to first, if there is one.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, list[str]]
        Sentences by view.
    """
    return {
        "steep": [
            *wording.district_sentences(results, texts),
            *measure_words.sentences(results, texts)[:1],
        ],
        "rows": [
            *wording.rows_sentences(results, texts),
            *wording.served_sentences(results, texts),
        ],
        "first": work_words.finding(results, first, texts),
    }


def _shared(
    results: Results, apart: Intervals | None, origin_deg: tuple[float, float], texts: Texts
) -> dict[str, Any]:
    """Gather what pages of the district and of its villages hold alike."""
    plan = results.plan
    by_slope = not plan.tonnes
    return {
        "language": texts.language,
        "words": texts.section("page"),
        "planting_date": texts.day(plan.district.planting_date),
        "colour_by": "slope" if by_slope else "erosion",
        "classes": _classes(results, by_slope=by_slope),
        "plain": {"fill": palette.PLAIN, "ink": palette.ink_on(palette.PLAIN)},
        "ground": ground.picture(results.relief),
        "heights": heights.shown(results.relief, apart, origin_deg),
        "tiles": ground.tiles(plan.page),
        "frame": {"origin_deg": list(origin_deg), "step_m": shapes.STEP_M},
        "villages": overview.villages(results, origin_deg),
        "odd": [*shown_names.odd(results.villages["village"]).items()],
        "dots": overview.dots(results, origin_deg, by_slope=by_slope),
        "legend": overview.legend(results, by_slope=by_slope),
        "flag_names": texts.section("flag_names"),
        "served": bought.served(results, texts),
        "calendar": bought.calendar(results, texts),
        "cautions": _cautions(texts),
        "warnings": wording.noticed(results, texts),
        "set_aside": _set_aside(results, texts),
        "sources": _sources(results),
        "worked": worked.worked(results, texts),
    }


def village(
    results: Results, told: dict[str, Any], origin_deg: tuple[float, float]
) -> dict[str, Any]:
    """Put together the plots of a village, and the water about them.

    Parameters
    ----------
    results : Results
        The run of the village alone.
    told : dict[str, Any]
        What :func:`plots` told of them.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].

    Returns
    -------
    dict[str, Any]
        ``plots`` and ``flow``; ``plots.js`` says what it does with each part. ``odd``: names that
        aren't shown as they are, and how they are shown.
    """
    drawn = {
        "shape": shapes.pack(results.plots["geometry"].to_numpy(), results.plots_crs, origin_deg),
        "rows": lines.rows(results, origin_deg),
        "guides": lines.guides(results, origin_deg),
        "boundaries": lines.boundaries(results, origin_deg),
        "curved": lines.curved(results, origin_deg),
        "pegs": lines.pegs(results, origin_deg),
    }
    return {
        "plots": told | drawn,
        "flow": lines.flow(results, origin_deg),
        "odd": [*_odd(results).items()],
    }


def sheets(results: Results, pages: Mapping[str, int]) -> dict[str, Any]:
    """Tell where each plot's sheet of paper is.

    Parameters
    ----------
    results : Results
        The run of a village.
    pages : Mapping[str, int]
        By plot, the page on which its sheet begins.

    Returns
    -------
    dict[str, Any]
        ``sheet``, a stream of pages; 0 where there is none.
    """
    return {"sheet": shapes.counts([pages.get(one, 0) for one in results.plots["plot_id"]])}


def village_page(
    results: Results,
    told: tuple[list[Hill], int],
    apart: Intervals | None,
    origin_deg: tuple[float, float],
    texts: Texts,
) -> dict[str, Any]:
    """Gather the content of the page of one village, but for what its own data holds.

    Parameters
    ----------
    results : Results
        The run of the village alone.
    told : tuple[list[Hill], int]
        Its hillsides in the order of work, and how many there are in all.
    apart : Intervals | None
        How far apart lines of equal height are on the page of the district.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any]
        The same as of the district, without its order and its curves.
    """
    hills, count = told
    results = dataclasses.replace(results, relief=ground.around(results.relief, results.plots))
    # A village has few lines: its page begins with all of them.
    apart = None if apart is None else apart._replace(first_m=apart.fine_m)
    villages, _ = served_totals(results)
    return {
        "findings": findings(results, next(iter(hills), None), texts)
        | {"buy": _village_buys(villages, texts)}
        | _taught(results, demo_words.village_finding, texts),
        "work": work.work(results, hills, origin_deg, texts)
        | {"curve": None, "chosen": [], "left_out": count - len(hills)},
        "teach": teach.village(results, origin_deg, texts),
        "visits": None,
        "order": None,
        **_shared(results, apart, origin_deg, texts),
        "totals": _totals(villages),
        "district": None,
        "villages_named": [],
    }


def _taught(
    results: Results, tell: Callable[[Allotment, Demos, Texts], list[str]], texts: Texts
) -> dict[str, list[str]]:
    """Say what was found of demonstration plots, if the plan asks for any."""
    found = results.demos
    return {} if found is None else {"teach": tell(found, results.plan.demos, texts)}


def _visited(results: Results, texts: Texts) -> dict[str, list[str]]:
    """Say what was found of visits, if the plan names agents."""
    found = results.visits
    return {} if found is None else {"visits": visit_words.finding(found, texts)}


def _village_buys(villages: pd.DataFrame, texts: Texts) -> list[str]:
    """Say what is planned for a village."""
    (row,) = cast("list[dict[str, Any]]", villages.to_dict("records"))
    goods = [
        texts.say(
            "purchase.amount",
            good=texts.say(f"goods.{good}_g"),
            amount=purchase_words.amount(int(row[f"{good}_g"]), texts),
        )
        for good in GOODS
        if pd.notna(row[f"{good}_g"]) and row[f"{good}_g"]
    ]
    if not goods:
        return [texts.say("page.village_buys_nothing")]
    return [texts.say("page.village_buys", goods=texts.listed(goods))]


def search(results: Results, texts: Texts) -> dict[str, Any]:
    """Gather what plots are searched and filtered by.

    Parameters
    ----------
    results : Results
        The run, its plots in the order of villages.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any]
        ``id`` and, if the plan asks, ``farmer_name`` of each plot; ``slope``, packed as numbers;
        ``stage`` and ``flags``, packed as few texts, flags of a plot with ``|`` between them;
        ``odd``, as of a village.
    """
    table = results.plots
    barred = wording.barred(table)
    searched = table[[name for name in (*RAISED, *SAID_IF_READ) if name in table]]
    stages: list[str | None] = [
        ("excluded" if wording.excluded(row) is not None else "later")
        if stopped
        else str(row["row_method"]).replace(" ", "_")
        for row, stopped in zip(wording.records(searched), barred, strict=True)
    ]
    raised = ["|".join(sorted(wording.flags(row))) or None for row in wording.records(searched)]
    found: dict[str, Any] = {
        "id": table["plot_id"].astype(str).tolist(),
        "slope": Numbers.of(table["slope_used_pct"], SLOPE_DECIMALS).cut(0, len(table)),
        "stage": shapes.coded(stages),
        "flags": shapes.coded(raised),
        "odd": [*_odd(results).items()],
    }
    if "farmer_name" in table:
        found["farmer_name"] = [None if pd.isna(n) else str(n) for n in table["farmer_name"]]
    return found


def _odd(results: Results) -> dict[str, str]:
    """Give the ids and farmers of plots that aren't shown as they are."""
    there = [name for name in ("plot_id", "farmer_name") if name in results.plots]
    return shown_names.odd(one for name in there for one in results.plots[name])


def _classes(results: Results, *, by_slope: bool) -> list[dict[str, object]]:
    """List the classes of the colour scale; their names come from the handbook's tables."""
    fills = palette.SLOPE if by_slope else palette.EROSION
    table = "slope_classes" if by_slope else "erosion_classes"
    rows = results.handbook.rows(table)
    # The class beyond the equations has no limits in tonnes.
    beyond = [] if by_slope else rows.loc[rows["lower_t_ha_yr"].isna(), "name"].tolist()
    classes = []
    for number, name in zip(rows["number"], rows["name"], strict=True):
        # A user's table may have more classes than there are fills: the last stands for the rest.
        fill = fills[min(int(number), len(fills)) - 1]
        ink = palette.ink_on(fill)
        entry: dict[str, object] = {"number": int(number), "name": str(name)}
        classes.append(entry | {"fill": fill, "ink": ink, "beyond": name in beyond})
    return classes


def plots(results: Results, texts: Texts) -> dict[str, Any]:
    """Tell of all plots.

    Parameters
    ----------
    results : Results
        The run, its plots in the order of villages.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any]
        A tree of columns, for :func:`columns.cut`.
    """
    set_out = wording.bearings_set_out(results.plots)
    table = results.plots.assign(**{str(name): set_out[name] for name in set_out})
    barred = wording.barred(table)
    numbers = {name: Numbers.of(table[name], digits) for name, digits in NUMBERS.items()}
    words: dict[str, Column] = {name: columns.Texts(table[name].tolist()) for name in WORDS}
    for name in ("row_bearing_true_deg", "row_bearing_magnetic_deg"):
        # Both ends are written here: rounding twice could print a bearing one degree off.
        words[f"{name}_text"] = columns.Texts(
            [None if pd.isna(value) else wording.both_ends(value) for value in table[name]]
        )
    above = wording.records(table[list(ABOVE)])
    words["loss_above"] = columns.Texts([wording.loss_above(row, texts) for row in above])
    for name in ("soil_loss_up_down_likely_t_ha_yr", "soil_loss_contour_likely_t_ha_yr"):
        tonnes = [None if pd.isna(v) else wording.tonnes(v) for v in table[name]]
        numbers[name] = Numbers.of(pd.Series(tonnes, dtype="Int64"), 0)
    raised = table["erosion_flags"]
    found: dict[str, Any] = {
        "id": Each(table["plot_id"].astype(str).tolist()),
        "water": _water(table),
        "numbers": numbers,
        "words": words,
        "beyond": Each([int(BEYOND in flags) for flags in raised]),
        "barred": Each(barred.astype(int).tolist()),
        "steep": Each([int(not STEEP_CODES.isdisjoint(flags)) for flags in raised]),
        "measure": _measures(results, texts),
        "kit": _kits(results, texts),
        "notes": _sentences(results, barred, texts),
        "readings": {kind: _read(table, kind, texts) for kind in ("slope", "bearing")},
    }
    if "farmer_name" in table:
        names = [None if pd.isna(n) else str(n) for n in table["farmer_name"]]
        found["farmer_name"] = Each(names)
    return found


def _measures(results: Results, texts: Texts) -> dict[str, Any]:
    """Gather the measure chosen for each plot: its words, what it takes and what it saves."""
    chosen = results.proposal.chosen.set_index("plot_id").reindex(results.plots["plot_id"])
    names = [
        None if pd.isna(one) else measure_words.name(str(one), texts) for one in chosen["measure"]
    ]
    days = results.works.days.set_index("plot_id")["days_owed"].reindex(chosen.index)
    chosen = chosen.assign(days_owed=days.mask(chosen["measure"].isna()))
    digits = {"land_taken_pct": 0, "soil_saved_t_yr": 1}
    owed = [
        None if pd.isna(each) else measure_words.person_days(each, texts, decimals=1)
        for each in chosen["days_owed"]
    ]
    apart = [measure_words.apart(row, texts) for row in wording.records(chosen)]
    ruled_out = measure_words.vetoes(results, texts)
    vetoes = [" ".join(ruled_out.get(str(one), [])) or None for one in results.plots["plot_id"]]
    return {
        "words": {
            "measure": columns.Texts(names),
            "apart": columns.Texts(apart),
            "owed": columns.Texts(owed),
            "veto": columns.Texts(vetoes),
        },
        "numbers": {name: Numbers.of(chosen[name], places) for name, places in digits.items()},
    }


def _kits(results: Results, texts: Texts) -> dict[str, Any]:
    """Gather the kit of each plot: who it is for and what is in it."""
    kits = results.purchase.kits
    digits = {"bean_area_ha": 2, **dict.fromkeys(KIT, 0)}
    said = [texts.say(f"order_lines.{line}") for line in kits["order_line"]]
    return {
        "words": {"order_line": columns.Texts(said)},
        "numbers": {name: Numbers.of(kits[name], places) for name, places in digits.items()},
    }


def _read(table: pd.DataFrame, kind: str, texts: Texts) -> Few:
    """Say how plots were measured: few of them are."""
    names = [f"{kind}_reading_date", f"{kind}_reading_method"]
    read = table.loc[table[names[0]].notna(), names]
    rows = zip(read.index, wording.records(read), strict=True)
    return Few({int(place): wording.reading_words(row, kind, texts) for place, row in rows})


def _water(table: pd.DataFrame) -> Few:
    """Gather what runs onto flagged plots and through them: few of them are.

    Tenths of a hectare from outside and through the plot, metres of flow lines, 1 for "at least".
    """
    flagged = table.loc[table["water_flags"].map(len) > 0]

    def whole(name: str, scale: int) -> list[int | None]:
        return [None if pd.isna(v) else round(scale * v) for v in flagged[name]]

    scales = {"run_on_area_ha": 10, "upslope_area_ha": 10, "flow_line_length_m": 1}
    read = [whole(name, scale) for name, scale in scales.items()]
    rows = zip(*read, whole("upslope_area_at_least", 1), strict=True)
    return Few({int(at): list(row) for at, row in zip(flagged.index, rows, strict=True)})


def _sentences(results: Results, barred: Flags, texts: Texts) -> columns.Sentences:
    """Write every plot's sentences: why its method, its flags, what to take care of."""
    there = [name for name in (*SAID_OF, *SAID_IF_READ) if name in results.plots]
    plan = results.plan
    said: dict[str, list[Any]] = {
        name: [] for name in ("method", "check", "flags", "excluded", "same")
    }
    for row in wording.records(results.plots[there]):
        said["method"].append(wording.method_sentences(row, plan, texts))
        said["check"].append(int(wording.bearing_is_check(row, plan)))
        said["flags"].append(wording.flag_sentences(row, plan, texts))
        said["excluded"].append(wording.excluded_sentence(row, plan, texts))
        said["same"].append(wording.same_tonnes(row, texts))
    found: dict[str, Each | Few] = {name: Each(column) for name, column in said.items()}
    found["lines"] = _lines(results, barred, texts)
    found["pegged"] = _pegged(results, barred, texts)
    found["teach"] = _why(results, texts)
    found["visits"] = Each(visit_view.of_plots(results, texts))
    return columns.Sentences(found, _care(results, texts))


def _why(results: Results, texts: Texts) -> Each:
    """Say why each plot is a demonstration plot or none; nothing where the plan asks for none."""
    if results.demos is None:
        return Each([])
    told = demo_words.of_plots(results.demos, texts)
    return Each([told[plot_id] for plot_id in results.plots["plot_id"]])


def _lines(results: Results, barred: Flags, texts: Texts) -> Few:
    """Say where guide lines start; of too many only where that is to be found."""
    table = results.guides.lines
    at = {plot_id: at for at, plot_id in enumerate(results.plots["plot_id"])}
    table = table[~table["plot_id"].isin(results.plots.loc[barred, "plot_id"])]
    if len(table) > LINES_TOLD_MAX:
        elsewhere = [texts.say("lines.left_out")]
        return Few({at[plot_id]: elsewhere for plot_id in table["plot_id"].unique()})
    lines_of, pegs_of = _by_plot(table), _by_plot(results.guides.pegs)
    return Few(
        {
            at[plot_id]: field_words.lines_words(of_plot, pegs_of.get(plot_id, []), results, texts)
            for plot_id, of_plot in lines_of.items()
        }
    )


def _by_plot(table: pd.DataFrame) -> dict[str, list[Mapping[Hashable, Any]]]:
    found: dict[str, list[Mapping[Hashable, Any]]] = {}
    for row in wording.records(table):
        found.setdefault(row["plot_id"], []).append(cast("dict[Hashable, Any]", row))
    return found


def _pegged(results: Results, barred: Flags, texts: Texts) -> Few:
    """Say where peg 1 of straight rows stands, as their sheets do."""
    straight = results.plots["row_method"].eq(STRAIGHT).to_numpy() & ~barred
    return Few(
        {
            at: field_words.tie_words(walk.ties[0], None, results.plan, texts)
            for at, plot_id in enumerate(results.plots["plot_id"])
            if straight[at] and (walk := results.pegs.walks.get((plot_id, 1))) is not None
        }
    )


def _care(results: Results, texts: Texts) -> dict[str, list[str]]:
    practice = results.plan.practice
    fed = any((practice.npk_kg_ha, practice.urea_kg_ha, practice.manure_kg_ha))
    named = {"steep": STEEP, "feed": FEED if fed else ()}
    return {kind: [texts.say(f"cautions.{n}") for n in names] for kind, names in named.items()}


def _totals(frame: pd.DataFrame) -> dict[str, Any]:
    numbers = {
        name: Numbers.of(frame[name].astype("Float64"), 4 if name == "area_ha" else 0).cut(
            0, len(frame)
        )
        for name in TOTALS
        if name in frame
    }
    names = frame["village"].astype(str).tolist() if "village" in frame else []
    return {"names": names, "numbers": numbers}


def _cautions(texts: Texts) -> dict[str, object]:
    said = texts.section("cautions")
    return {"title": said.pop("title"), "texts": list(said.values())}


def _set_aside(results: Results, texts: Texts) -> str:
    aside, read = texts.number(len(results.set_aside)), texts.number(results.rows_read)
    key = "page.set_aside_some" if len(results.set_aside) else "page.set_aside_none"
    return texts.say(key, aside=aside, read=read)


def _sources(results: Results) -> list[dict[str, object]]:
    listed: list[dict[str, object]] = []
    for table in results.handbook.tables.values():
        pairs = zip(table.rows["source"], table.rows["provenance"], strict=True)
        # A dict keeps the order of the table and drops repeats.
        cited = list(dict.fromkeys(cite(str(s), str(p)) for s, p in pairs))
        listed.append({"title": table.title, "cited": cited})
    return listed
