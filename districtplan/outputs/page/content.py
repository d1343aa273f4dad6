"""What the page's script is handed: plots as columns of integers, villages, words.

Nothing here is a template. Text of the user's goes into JSON as it is, and the script shows it by
``textContent`` or draws it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

import numpy as np
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
from districtplan.outputs.page import bought, ground, lines, palette, shapes, teach, work
from districtplan.outputs.purchase_tables import served_totals

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

LINES_TOLD_MAX = 20_000
"""Most guide lines that cards tell of: about 5 MB of words."""
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


def district(results: Results, texts: Texts) -> dict[str, Any]:
    """Gather the content of the district's page.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any]
        Content that ``json.dumps`` takes; ``map.js`` says what it does with each part.
    """
    plan = results.plan
    by_slope = not plan.tonnes
    plots = _plots(results, texts)
    villages, whole = served_totals(results)
    hills = work_words.hills(results, texts, work.HILLS_MAX)
    return {
        "language": texts.language,
        "words": texts.section("page"),
        "findings": {
            "steep": [
                *wording.district_sentences(results, texts),
                *measure_words.sentences(results, texts)[:1],
            ],
            "rows": [
                *wording.rows_sentences(results, texts),
                *wording.served_sentences(results, texts),
            ],
            "buy": purchase_words.headline(results, texts),
            "first": work_words.finding(results, next(iter(hills), None), texts),
            **_teaching(results, texts),
        },
        "planting_date": texts.day(plan.district.planting_date),
        "colour_by": "slope" if by_slope else "erosion",
        "classes": _classes(results, by_slope=by_slope),
        "plain": {"fill": palette.PLAIN, "ink": palette.ink_on(palette.PLAIN)},
        "ground": ground.picture(results.relief),
        "plots": plots,
        "flow": lines.flow(results, shapes.origin_of(plots["shape"])),
        "work": work.work(results, hills, shapes.origin_of(plots["shape"]), texts),
        "teach": teach.teach(results, shapes.origin_of(plots["shape"]), texts),
        "order": bought.order(results, texts),
        "calendar": bought.calendar(results, texts),
        "villages": _totals(villages),
        "villages_named": wording.villages_named(results),
        "district": _totals(whole.to_frame().T),
        "cautions": _cautions(texts),
        "warnings": wording.noticed(results, texts),
        "set_aside": _set_aside(results, texts),
        "sources": _sources(results),
    }


def _teaching(results: Results, texts: Texts) -> dict[str, list[str]]:
    """Say what was found of demonstration plots, if the plan asks for any."""
    found = results.demos
    return {} if found is None else {"teach": demo_words.finding(found, results.plan.demos, texts)}


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


def _plots(results: Results, texts: Texts) -> dict[str, Any]:
    plots = results.plots.assign(**wording.bearings_set_out(results.plots))
    shape = shapes.pack(plots["geometry"].to_numpy(), results.plots_crs)
    origin = shapes.origin_of(shape)
    found: dict[str, Any] = {
        "count": len(plots),
        "id": plots["plot_id"].astype(str).tolist(),
        "shape": shape,
        "rows": lines.rows(results, origin),
        "guides": lines.guides(results, origin),
        "boundaries": lines.boundaries(results, origin),
        "curved": lines.curved(results, origin),
        "pegs": lines.pegs(results, origin),
        "water": _water(plots),
        "numbers": {name: _number(plots[name], digits) for name, digits in NUMBERS.items()},
        "words": {name: _coded(plots[name].tolist()) for name in WORDS},
        "beyond": [int(BEYOND in flags) for flags in plots["erosion_flags"]],
        "barred": wording.barred(plots).astype(int).tolist(),
        "steep": [int(not STEEP_CODES.isdisjoint(flags)) for flags in plots["erosion_flags"]],
    }
    for name in ("row_bearing_true_deg", "row_bearing_magnetic_deg"):
        # Both ends are written here: rounding twice could print a bearing one degree off.
        found["words"][f"{name}_text"] = _coded(
            [None if pd.isna(value) else wording.both_ends(value) for value in plots[name]]
        )
    records = cast("list[dict[str, Any]]", plots[list(ABOVE)].to_dict("records"))
    found["words"]["loss_above"] = _coded([wording.loss_above(row, texts) for row in records])
    for name in ("soil_loss_up_down_likely_t_ha_yr", "soil_loss_contour_likely_t_ha_yr"):
        tonnes = [None if pd.isna(v) else wording.tonnes(v) for v in plots[name]]
        found["numbers"][name] = _number(pd.Series(tonnes, dtype="Int64"), 0)
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
            "measure": _coded(names),
            "apart": _coded(apart),
            "owed": _coded(owed),
            "veto": _coded(vetoes),
        },
        "numbers": {name: _number(chosen[name], places) for name, places in digits.items()},
    }


def _kits(results: Results, texts: Texts) -> dict[str, Any]:
    """Gather the kit of each plot: who it is for and what is in it."""
    kits = results.purchase.kits
    digits = {"bean_area_ha": 2, **dict.fromkeys(KIT, 0)}
    said = [texts.say(f"order_lines.{line}") for line in kits["order_line"]]
    return {
        "words": {"order_line": _coded(said)},
        "numbers": {name: _number(kits[name], places) for name, places in digits.items()},
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


def _number(values: pd.Series, digits: int) -> dict[str, object]:
    """Pack a column as whole multiples of its last decimal; all None where none is known."""
    known = values.notna().to_numpy()
    if not known.any():
        return {"digits": digits, "packed": None}
    if digits == 0 and pd.api.types.is_integer_dtype(values):
        whole = values.to_numpy(dtype=np.int64, na_value=0)
    else:
        scaled = values.to_numpy(dtype=np.float64, na_value=np.nan) * 10**digits
        whole = np.rint(np.where(known, scaled, 0)).astype(np.int64)
    # 0 is left for what isn't known.
    return {"digits": digits, "packed": shapes.counts(np.where(known, shapes.zigzag(whole) + 1, 0))}


def _coded(values: Sequence[Any]) -> dict[str, object]:
    """Pack a column of few texts: a list of them and, a plot, the place in it from 1, or 0."""
    places: dict[Any, int] = {}
    codes = [0 if pd.isna(value) else places.setdefault(value, len(places)) + 1 for value in values]
    return {"texts": list(places), "packed": shapes.counts(codes)}


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
    return {
        "method": [[place(sentence) for sentence in sentences] for sentences in said],
        "check": [int(wording.bearing_is_check(row, plan)) for row in records],
        "flags": flags,
        "excluded": [place_any(wording.excluded_sentence(row, plan, texts)) for row in records],
        "same": [place_any(wording.same_tonnes(row, texts)) for row in records],
        "care": _care(results, place, texts),
        "lines": _lines(results, place, texts),
        "pegged": _pegged(results, place, texts),
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


def _by_plot(table: pd.DataFrame) -> dict[str, list[dict[str, Any]]]:
    found: dict[str, list[dict[str, Any]]] = {}
    for row in wording.records(table):
        found.setdefault(row["plot_id"], []).append(row)
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
        name: _number(frame[name].astype("Float64"), 4 if name == "area_ha" else 0)
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
