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
    wording,
    work_words,
)
from districtplan.outputs.page import bought, ground, lines, overview, palette, shapes, teach, work
from districtplan.outputs.purchase_tables import GOODS, served_totals

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Mapping, Sequence

    from districtplan.demos import Allotment
    from districtplan.outputs.texts import Texts
    from districtplan.outputs.work_words import Hill
    from districtplan.plan import Demos
    from districtplan.results import Results

LINES_TOLD_MAX = 20_000
"""Most guide lines of a village that cards tell of: about 5 MB of words."""
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


def district(results: Results, origin_deg: tuple[float, float], texts: Texts) -> dict[str, Any]:
    """Gather the content of the district's page, but for what its villages' own data holds.

    Parameters
    ----------
    results : Results
        The run, its plots in the order of villages.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any]
        Content that ``json.dumps`` takes; ``map.js`` says what it does with each part.
    """
    hills = work_words.hills(results, texts, work.HILLS_MAX)
    villages, whole = served_totals(results)
    return {
        "findings": findings(results, next(iter(hills), None), texts)
        | {"buy": purchase_words.headline(results, texts)}
        | _taught(results, demo_words.finding, texts),
        "work": work.work(results, hills, origin_deg, texts),
        "teach": teach.district(results, origin_deg, texts),
        "order": bought.order(results, texts),
        **_shared(results, origin_deg, texts),
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


def _shared(results: Results, origin_deg: tuple[float, float], texts: Texts) -> dict[str, Any]:
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
        "frame": {"origin_deg": list(origin_deg), "step_m": shapes.STEP_M},
        "villages": overview.villages(results, origin_deg),
        "dots": overview.dots(results, origin_deg, by_slope=by_slope),
        "legend": overview.legend(results, by_slope=by_slope),
        "flag_names": texts.section("flag_names"),
        "served": bought.served(results, texts),
        "calendar": bought.calendar(results, texts),
        "cautions": _cautions(texts),
        "warnings": wording.noticed(results, texts),
        "set_aside": _set_aside(results, texts),
        "sources": _sources(results),
    }


def village(results: Results, origin_deg: tuple[float, float], texts: Texts) -> dict[str, Any]:
    """Gather the plots of a village, and the water about them.

    Parameters
    ----------
    results : Results
        The run of the village alone.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any]
        ``plots`` and ``flow``; ``plots.js`` says what it does with each part.
    """
    return {
        "plots": _plots(results, origin_deg, texts),
        "flow": lines.flow(results, origin_deg),
    }


def village_page(
    results: Results,
    told: tuple[list[Hill], int],
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
    villages, _ = served_totals(results)
    return {
        "findings": findings(results, next(iter(hills), None), texts)
        | {"buy": _village_buys(villages, texts)}
        | _taught(results, demo_words.village_finding, texts),
        "work": work.work(results, hills, origin_deg, texts)
        | {"curve": None, "chosen": [], "left_out": count - len(hills)},
        "teach": teach.village(results, origin_deg, texts),
        "order": None,
        **_shared(results, origin_deg, texts),
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


def _village_buys(villages: pd.DataFrame, texts: Texts) -> list[str]:
    """Say what is planned for a village."""
    (row,) = cast("list[dict[str, Any]]", villages.to_dict("records"))
    goods = [
        texts.say(
            "purchase.amount",
            good=texts.say(f"goods.{good}_g"),
            amount=purchase_words.amount(int(row[f"{good}_g"])),
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
        ``stage`` and ``flags``, packed as few texts, flags of a plot with ``|`` between them.
    """
    plots = results.plots
    barred = wording.barred(plots)
    stages: list[str | None] = [
        ("excluded" if wording.excluded(row) is not None else "later")
        if stopped
        else str(row["row_method"]).replace(" ", "_")
        for row, stopped in zip(wording.records(plots), barred, strict=True)
    ]
    raised = ["|".join(sorted(wording.flags(row))) or None for row in wording.records(plots)]
    found: dict[str, Any] = {
        "id": plots["plot_id"].astype(str).tolist(),
        "slope": shapes.numbers(plots["slope_used_pct"], 0),
        "stage": shapes.coded(stages),
        "flags": shapes.coded(raised),
    }
    if "farmer_name" in plots:
        found["farmer_name"] = [None if pd.isna(n) else str(n) for n in plots["farmer_name"]]
    return found


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


def _plots(results: Results, origin: tuple[float, float], texts: Texts) -> dict[str, Any]:
    plots = results.plots.assign(**wording.bearings_set_out(results.plots))
    found: dict[str, Any] = {
        "id": plots["plot_id"].astype(str).tolist(),
        "shape": shapes.pack(plots["geometry"].to_numpy(), results.plots_crs, origin),
        "rows": lines.rows(results, origin),
        "guides": lines.guides(results, origin),
        "boundaries": lines.boundaries(results, origin),
        "curved": lines.curved(results, origin),
        "pegs": lines.pegs(results, origin),
        "water": _water(plots),
        "numbers": {name: shapes.numbers(plots[name], digits) for name, digits in NUMBERS.items()},
        "words": {name: shapes.coded(plots[name].tolist()) for name in WORDS},
        "beyond": [int(BEYOND in flags) for flags in plots["erosion_flags"]],
        "barred": wording.barred(plots).astype(int).tolist(),
        "steep": [int(not STEEP_CODES.isdisjoint(flags)) for flags in plots["erosion_flags"]],
    }
    for name in ("row_bearing_true_deg", "row_bearing_magnetic_deg"):
        # Both ends are written here: rounding twice could print a bearing one degree off.
        found["words"][f"{name}_text"] = shapes.coded(
            [None if pd.isna(value) else wording.both_ends(value) for value in plots[name]]
        )
    records = cast("list[dict[str, Any]]", plots[list(ABOVE)].to_dict("records"))
    found["words"]["loss_above"] = shapes.coded([wording.loss_above(row, texts) for row in records])
    for name in ("soil_loss_up_down_likely_t_ha_yr", "soil_loss_contour_likely_t_ha_yr"):
        tonnes = [None if pd.isna(v) else wording.tonnes(v) for v in plots[name]]
        found["numbers"][name] = shapes.numbers(pd.Series(tonnes, dtype="Int64"), 0)
    if "farmer_name" in plots:
        found["farmer_name"] = [None if pd.isna(n) else str(n) for n in plots["farmer_name"]]
    found["measure"] = _measures(results, texts)
    found["kit"] = _kits(results, texts)
    found["notes"] = _sentences(results, texts)
    found["readings"] = {kind: _read(plots, kind, texts) for kind in ("slope", "bearing")}
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
    spaced = cast("list[dict[str, Any]]", chosen.to_dict("records"))
    apart = [measure_words.apart(row, texts) for row in spaced]
    ruled_out = measure_words.vetoes(results, texts)
    vetoes = [" ".join(ruled_out.get(str(one), [])) or None for one in results.plots["plot_id"]]
    return {
        "words": {
            "measure": shapes.coded(names),
            "apart": shapes.coded(apart),
            "owed": shapes.coded(owed),
            "veto": shapes.coded(vetoes),
        },
        "numbers": {name: shapes.numbers(chosen[name], places) for name, places in digits.items()},
    }


def _kits(results: Results, texts: Texts) -> dict[str, Any]:
    """Gather the kit of each plot: who it is for and what is in it."""
    kits = results.purchase.kits
    digits = {"bean_area_ha": 2, **dict.fromkeys(KIT, 0)}
    said = [texts.say(f"order_lines.{line}") for line in kits["order_line"]]
    return {
        "words": {"order_line": shapes.coded(said)},
        "numbers": {name: shapes.numbers(kits[name], places) for name, places in digits.items()},
    }


def _read(plots: pd.DataFrame, kind: str, texts: Texts) -> dict[str, str]:
    """Say how plots were measured, by their place: few of them are."""
    columns = [f"{kind}_reading_date", f"{kind}_reading_method"]
    read = plots.loc[plots[columns[0]].notna(), columns]
    records = cast("list[dict[str, Any]]", read.to_dict("records"))
    return {
        str(place): wording.reading_words(row, kind, texts)
        for place, row in zip(read.index, records, strict=True)
    }


def _water(plots: pd.DataFrame) -> dict[str, list[int | None]]:
    """Gather what runs onto flagged plots and through them, by their place: few of them are.

    Tenths of a hectare from outside and through the plot, metres of flow lines, 1 for "at least".
    """
    flagged = plots.loc[plots["water_flags"].map(len) > 0]

    def whole(name: str, scale: int) -> list[int | None]:
        return [None if pd.isna(v) else round(scale * v) for v in flagged[name]]

    columns = {"run_on_area_ha": 10, "upslope_area_ha": 10, "flow_line_length_m": 1}
    read = [whole(name, scale) for name, scale in columns.items()]
    rows = zip(*read, whole("upslope_area_at_least", 1), strict=True)
    return {str(place): list(row) for place, row in zip(flagged.index, rows, strict=True)}


def _sentences(results: Results, texts: Texts) -> dict[str, object]:
    """Write every plot's sentences: why its method, its flags, what to take care of."""
    there = [name for name in (*SAID_OF, *SAID_IF_READ) if name in results.plots]
    records = cast("list[dict[str, Any]]", results.plots[there].to_dict("records"))
    plan = results.plan
    places: dict[str, int] = {}

    def place(sentence: str) -> int:
        return places.setdefault(sentence, len(places))

    def place_any(sentence: str | None) -> int | None:
        return None if sentence is None else place(sentence)

    said = [wording.method_sentences(row, plan, texts) for row in records]
    flags = [[place(s) for s in wording.flag_sentences(row, plan, texts)] for row in records]
    found = results.demos
    taught = {} if found is None else demo_words.of_plots(found, texts)
    return {
        "method": [[place(sentence) for sentence in sentences] for sentences in said],
        "check": [int(wording.bearing_is_check(row, plan)) for row in records],
        "flags": flags,
        "excluded": [place_any(wording.excluded_sentence(row, plan, texts)) for row in records],
        "same": [place_any(wording.same_tonnes(row, texts)) for row in records],
        "care": _care(results, place, texts),
        "lines": _lines(results, place, texts),
        "pegged": _pegged(results, place, texts),
        "teach": [[place(s) for s in taught[one]] for one in results.plots["plot_id"] if taught],
        "texts": list(places),
    }


def _lines(results: Results, place: Callable[[str], int], texts: Texts) -> dict[str, list[int]]:
    """Say where guide lines start, by plots' places; of too many only where that is to be found."""
    table = results.guides.lines
    at = {plot_id: at for at, plot_id in enumerate(results.plots["plot_id"])}
    barred = results.plots.loc[wording.barred(results.plots), "plot_id"]
    table = table[~table["plot_id"].isin(barred)]
    if len(table) > LINES_TOLD_MAX:
        elsewhere = [place(texts.say("lines.left_out"))]
        return {str(at[plot_id]): elsewhere for plot_id in table["plot_id"].unique()}
    lines, pegs = _by_plot(table), _by_plot(results.guides.pegs)
    return {
        str(at[plot_id]): [
            place(said)
            for said in field_words.lines_words(of_plot, pegs.get(plot_id, []), results, texts)
        ]
        for plot_id, of_plot in lines.items()
    }


def _by_plot(table: pd.DataFrame) -> dict[str, list[Mapping[Hashable, Any]]]:
    found: dict[str, list[Mapping[Hashable, Any]]] = {}
    for row in wording.records(table):
        found.setdefault(row["plot_id"], []).append(cast("dict[Hashable, Any]", row))
    return found


def _pegged(results: Results, place: Callable[[str], int], texts: Texts) -> dict[str, int]:
    """Say where peg 1 of straight rows stands, as their sheets do, by plots' places."""
    straight = results.plots["row_method"].eq(STRAIGHT).to_numpy() & ~wording.barred(results.plots)
    return {
        str(at): place(field_words.tie_words(walk.ties[0], None, results.plan, texts))
        for at, plot_id in enumerate(results.plots["plot_id"])
        if straight[at] and (walk := results.pegs.walks.get((plot_id, 1))) is not None
    }


def _care(results: Results, place: Callable[[str], int], texts: Texts) -> dict[str, list[int]]:
    def places(names: Sequence[str]) -> list[int]:
        return [place(texts.say(f"cautions.{name}")) for name in names]

    practice = results.plan.practice
    fed = any((practice.npk_kg_ha, practice.urea_kg_ha, practice.manure_kg_ha))
    return {"steep": places(STEEP), "feed": places(FEED) if fed else []}


def _totals(frame: pd.DataFrame) -> dict[str, Any]:
    numbers = {
        name: shapes.numbers(frame[name].astype("Float64"), 4 if name == "area_ha" else 0)
        for name in TOTALS
        if name in frame
    }
    names = frame["village"].astype(str).tolist() if "village" in frame else []
    return {"names": names, "numbers": numbers}


def _cautions(texts: Texts) -> dict[str, object]:
    said = texts.section("cautions")
    return {"title": said.pop("title"), "texts": list(said.values())}


def _set_aside(results: Results, texts: Texts) -> str:
    aside, read = f"{len(results.set_aside):,}", f"{results.rows_read:,}"
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
