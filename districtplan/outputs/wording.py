"""What the results mean, in sentences that the page, the workbook and the explanation share."""

from __future__ import annotations

import math
from dataclasses import asdict
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from districtplan import geodesy
from districtplan.outputs import demo_words, visit_words
from districtplan.rows import EITHER, INSIDE, NOT_KNOWN, REFUSED, SAFE, STANDING
from districtplan.tables import CIRCLE, POOR
from districtplan.terrain import LEVEL_REASONS, READING_FLAGS, SURFACE_FLAGS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from districtplan.outputs.texts import Texts
    from districtplan.plan import Plan
    from districtplan.results import Results
    from districtplan.terrain import Forecast, Spread

VILLAGES_NAMED = 3
PLOTS_NAMED = 10
VILLAGES_LISTED = 20
MOST = 0.8
"""Share of plots that a raster worth asking for serves (judgement)."""
GAIN_MIN = 0.05
"""Share of plots from which more are worth a finer raster (judgement)."""
TENTHS_BELOW_G, HUNDREDTHS_BELOW_G = 100_000, 10_000
TENS_FROM_T = 100
CROSSED = "crossed_by_flow"
EXCLUDED = ("forest_only", "perennials_only")
FLAG_KINDS = ("outlet", "guide", "low_place", "water", "erosion", "terrain")
"""Columns of flags, those that are told first at the top."""
LAND_USE = (*EXCLUDED, "rows_alone_not_enough")
"""Flags of what land may be used for, the gravest first; each says more than those after it."""
NO_CREDIT = (
    "steeper_than_contour_limit",
    "longer_than_contour_limit",
    "contour_no_credit_flat_rows",
    "contour_no_credit_vetoed",
)
LEVEL_FROM_DEG = 5.0
"""Standard error of a bearing from which a level is to check it: own judgement."""
OUTLET = "no_safe_outlet"
"""Flag of plots whose rows would drain onto what they may not."""
METHODS = ("straight", "guide lines", "any direction", "measure on the ground")
MEASURE = METHODS[-1]
BARRED = {"excluded": "not for beans", "later": "nothing yet"}
"""What sets the rows of plots on which none may be set."""
GENTLE_PCT = 9.5
"""From here on a whole number tells a slope [%]."""
UNSURE = ("bearing_too_uncertain", "too_level_to_tell")
"""Reasons to measure that lie in the raster's error."""


def flags(row: Mapping[str, Any]) -> set[str]:
    """List the flags of a plot by their codes, those of its outline and soil among them.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.

    Returns
    -------
    set[str]
        Codes, as the catalogue's section ``flags`` has them.
    """
    raised = {code for kind in FLAG_KINDS for code in row[f"{kind}_flags"]}
    if CIRCLE in str(row["outline_repair"]):
        raised.add(CIRCLE)
    if pd.notna(row.get("soil_not_read")):
        raised.add("soil_not_read")
    return raised


def flag_sentences(row: Mapping[str, Any], plan: Plan, texts: Texts) -> list[str]:
    """Say why a plot is flagged, the gravest first.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        The plan, whose limits the sentences name.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        A sentence a flag; empty where there is none. Of the limits of land use only the gravest,
        and land that is not for beans before all else; then what is to be measured again.
    """
    raised = [code for kind in FLAG_KINDS for code in row[f"{kind}_flags"]]
    use = next((code for code in LAND_USE if code in raised), None)
    codes = [code for code in raised if code == use or code not in LAND_USE]
    codes.sort(key=lambda code: (code not in EXCLUDED, code not in READING_FLAGS))
    beside = row["row_bearing_raster_true_deg"]
    least = row["upslope_area_at_least"] == 1
    values = {
        "plan": plan,
        "hillside_side": direction(row["hillside_downslope_true_deg"], texts),
        "hillside_fall": fall_m(row["hillside_slope_pct"]),
        "raster_ends": "" if math.isnan(beside) else both_ends(beside),
        "outlet": outlet_words(row["row_outlet"], texts),
        "how_much": texts.say(f"how_much.{'at_least' if least else 'known'}"),
        **_both_ends(row, texts),
    }
    said = {code: texts.say(f"flags.{code}", **values, **row) for code in codes}
    if CIRCLE in str(row["outline_repair"]):
        said = {CIRCLE: texts.say("flags.circle"), **said}
    if pd.notna(unread := row.get("soil_not_read")):
        said["soil_not_read"] = texts.say("flags.soil_not_read", unread=unread)
    strip = strip_sentence(row, plan, texts)
    water = water_sentence(row, plan, texts)
    if CROSSED in said and water is not None:
        # Where the water's way isn't known one sentence tells what the flag tells, and what to do.
        said[CROSSED], strip = water, None
    gap = gap_sentence(row, plan, texts)
    return [sentence for sentence in (*said.values(), strip, gap) if sentence is not None]


def loss_above(row: Mapping[str, Any], texts: Texts) -> str | None:
    """Say how much of the slope above a plot its loss counts, and that gathered water isn't.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    texts : Texts
        The words.

    Returns
    -------
    str | None
        The sentences; None where the plot has no loss in tonnes.
    """
    above, begins = row["slope_length_above_m"], row["slope_above_begins"]
    if pd.isna(row["soil_loss_up_down_likely_t_ha_yr"]) or pd.isna(above) or pd.isna(begins):
        return None
    key = "at_least" if row["ls_at_least"] == 1 else "counted" if above > 0 else "none"
    where = texts.say(f"explain.above.{begins.replace(' ', '_')}")
    said = texts.say(f"loss_above.{key}", m=texts.number(above, ".0f"), begins=where)
    if row["flow_line_length_m"] > 0:
        said += " " + texts.say("loss_above.gathered")
    return said


def gap_sentence(row: Mapping[str, Any], plan: Plan, texts: Texts) -> str | None:
    """Say where rows are broken, if they are.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        The plan, whose width of gaps the sentence names.
    texts : Texts
        The words.

    Returns
    -------
    str | None
        The sentence; None where no row is broken, or none is set.
    """
    if row["row_breaks"] == 0 or is_barred(row):
        return None
    return texts.say("strips.low_places", plan=plan, row_breaks=row["row_breaks"])


def strip_sentence(row: Mapping[str, Any], plan: Plan, texts: Texts) -> str | None:
    """Say what becomes of rows where water runs together.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        The plan, whose limits the sentence names.
    texts : Texts
        The words.

    Returns
    -------
    str | None
        The sentence; None where no flow line is near, or no row that would have to stop.
    """
    water = water_sentence(row, plan, texts)
    if water is not None:
        return water
    stops = row["flow_strip_m2"] > 0 and not is_barred(row)
    return texts.say("strips.placed", plan=plan) if stops else None


def water_sentence(row: Mapping[str, Any], plan: Plan, texts: Texts) -> str | None:
    """Say what to do before rows are set where water crosses the plot, nobody knows where.

    Every text that tells of the rows needs it: they are drawn as if no water ran there. Where none
    are drawn yet, only what is bought is counted so.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        The plan, whose width of strips the sentence names.
    texts : Texts
        The words.

    Returns
    -------
    str | None
        The sentence; None where no flow line is near, or its strip is placed.
    """
    code = unplaced_water(row)
    if code is None:
        return None
    if code == "crossed" and is_barred(row):
        code = "crossed_barred"
    return texts.say(f"strips.{code}", plan=plan, **how_much_water(row, texts))


def unplaced_water(row: Mapping[str, Any]) -> str | None:
    """Say whether water runs on a plot, nobody knows where.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.

    Returns
    -------
    str | None
        ``crossed`` where it crosses the plot, ``not_placed`` where it is near; None where no flow
        line is near, or its strip is placed.
    """
    if pd.notna(row["flow_strip_m2"]):
        return None
    return "crossed" if CROSSED in row["water_flags"] else "not_placed"


def how_much_water(row: Mapping[str, Any], texts: Texts) -> dict[str, Any]:
    """Say how much land drains through a plot.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any]
        ``how_much`` in words and ``upslope_area_ha``, to put into a sentence.
    """
    least = "at_least" if row["upslope_area_at_least"] == 1 else "known"
    how_much = texts.say(f"how_much_within.{least}")
    return {"how_much": how_much, "upslope_area_ha": row["upslope_area_ha"]}


def outlet_words(outlet: str | None, texts: Texts) -> str:
    """Write what lies where rows end.

    Parameters
    ----------
    outlet : str | None
        As the columns have it, or nothing.
    texts : Texts
        The words.

    Returns
    -------
    str
        Such as ``a house``.
    """
    known = NOT_KNOWN if pd.isna(outlet) else str(outlet)
    return texts.say(f"outlets.{known.replace(' ', '_')}")


def fall_m(slope_pct: float) -> str:
    """Write how far land falls in 100 m; of gentle land a fall of none would be no fall.

    Parameters
    ----------
    slope_pct : float
        Its slope [%].

    Returns
    -------
    str
        Metres, to a tenth below ten.
    """
    return f"{slope_pct:.1f}" if slope_pct < GENTLE_PCT else f"{slope_pct:.0f}"


def direction(bearing_deg: float, texts: Texts) -> str:
    """Write a direction as one of eight sides.

    Parameters
    ----------
    bearing_deg : float
        Direction from true north, clockwise [degrees]; NaN where there is none.
    texts : Texts
        The words.

    Returns
    -------
    str
        Such as ``south-east``.
    """
    if math.isnan(bearing_deg):
        return texts.say("directions.none")
    return texts.say(f"directions.side_{round(bearing_deg / 45) % 8}")


def ends_named(bearing_deg: float, texts: Texts) -> tuple[str, str]:
    """Name both ends of straight rows by their sides.

    Parameters
    ----------
    bearing_deg : float
        Bearing of the rows from true north [degrees].
    texts : Texts
        The words.

    Returns
    -------
    tuple[str, str]
        The end that the bearing points to, and the other.
    """
    return direction(bearing_deg, texts), direction((bearing_deg + 180) % 360, texts)


def noticed(results: Results, texts: Texts) -> list[str]:
    """Say what the run noticed of its inputs as a whole.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Sentences: the warnings, where the raster's error is from, and faults of its surface.
    """
    elevation, total = results.plan.elevation, texts.number(int(results.district["plots"]))
    said = list(results.warnings)
    if results.estimate is not None:
        shown = {
            name: texts.number(value, ".3g") for name, value in asdict(results.estimate).items()
        }
        shown |= {
            name: texts.number(getattr(results.estimate, name)) for name in ("squares", "cells")
        }
        used = results.estimate.vertical_error_m == elevation.vertical_error_m
        key = "noticed.estimate_used" if used else "noticed.estimate_offered"
        said.append(texts.say(key, plan=results.plan, **shown))
    elif elevation.source is not None:
        said.append(texts.say("noticed.source", plan=results.plan))
    if elevation.vertical_error_m == 0:
        said.append(texts.say("noticed.taken_as_true", cell=_cell_m(results.plots, texts)))
    if elevation.surface == "tree tops and roofs":
        said.append(texts.say("noticed.tree_tops"))
    raised = results.plots["terrain_flags"].explode().value_counts()
    said += [
        _counted(f"noticed.{code}", int(raised[code]), texts, total=total)
        for code in SURFACE_FLAGS
        if code in raised
    ]
    said += [
        texts.say(
            "noticed.rows_set_aside",
            read=texts.number(of.rows_read),
            aside=texts.number(aside),
            name=name,
        )
        for name, of in results.beside.items()
        if (aside := len(of.set_aside))
    ]
    said += demo_words.noticed(results, texts)
    said += visit_words.noticed(results, texts)
    return [*said, *readings_findings(results, texts), *rows_noticed(results, texts)]


def rows_noticed(results: Results, texts: Texts) -> list[str]:
    """Say what to know of the rows' lines, and of the land that features take.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Sentences; empty where all rows are drawn and the plan names no features.
    """
    said = []
    every = results.row_lines.every
    if every > 1:
        said.append(texts.say("noticed.rows_thinned", every=every))
    features = results.features
    if results.plan.files.features is not None:
        taken = results.plots["land_taken_m2"]
        read = texts.number(features.rows_read)
        said.append(
            texts.say(
                "noticed.features",
                read=read,
                used=texts.number(len(features.used)),
                area=texts.number(taken.sum(), ",.0f"),
                plots=texts.number(int((taken > 0).sum())),
            )
        )
        if aside := len(features.set_aside):
            said.append(
                texts.say("noticed.features_set_aside", read=read, aside=texts.number(aside))
            )
    return said


def reading_words(row: Mapping[str, Any], kind: str, texts: Texts) -> str:
    """Say when and how a plot's slope or bearing was measured.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table, with a reading of that kind.
    kind : str
        ``slope`` or ``bearing``.
    texts : Texts
        The words.

    Returns
    -------
    str
        Part of a sentence.
    """
    day = texts.day(date.fromisoformat(row[f"{kind}_reading_date"]))
    return texts.say("readings.how", date=day, method=row[f"{kind}_reading_method"])


def readings_findings(results: Results, texts: Texts) -> list[str]:
    """Say what was measured on the ground and what it says of the raster.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Sentences; empty where the plan names no readings.
    """
    readings = results.readings
    if results.plan.files.readings is None:
        return []
    read, aside = readings.rows_read, len(readings.set_aside)
    slopes = int(results.plots["slope_measured_pct"].notna().sum())
    bearings = int(results.plots["row_bearing_measured_true_deg"].notna().sum())
    counts = {"slopes": texts.number(slopes), "bearings": texts.number(bearings)}
    said = [_counted("readings.used", read, texts, **counts)]
    if aside:
        said.append(_counted("readings.set_aside", read, texts, aside=texts.number(aside)))
    said += _not_compared(readings.compared, texts)
    calibration = readings.calibration
    said += _spreads("slope", ("steep", "gentle"), calibration.slopes, texts)
    said += _spreads("bearing", ("clockwise", "anticlockwise"), calibration.bearings, texts)
    if calibration.outside:
        listed = list(calibration.outside[:PLOTS_NAMED])
        more = len(calibration.outside) - len(listed)
        listed += [texts.say("readings.outside_more", count=texts.number(more))] if more else []
        said.append(texts.say("readings.outside", listed=texts.listed(listed)))
    return [*said, *_suggested_error(results, texts)]


def _not_compared(compared: pd.DataFrame, texts: Texts) -> list[str]:
    """Say how many of the bearings read tell nothing of the raster, and why."""
    why = compared["bearing_not_compared"].value_counts()
    if why.empty:
        return []
    listed = [
        texts.say("readings.not_compared_why", why=str(reason), count=texts.number(count))
        for reason, count in sorted(why.items())
    ]
    total = int(compared["bearing_read_true_deg"].notna().sum())
    return [
        texts.say(
            "readings.not_compared",
            count=texts.number(int(why.sum())),
            total=texts.number(total),
            why=texts.listed(listed),
        )
    ]


def _spreads(
    kind: str, sides: tuple[str, str], spreads: tuple[Spread, ...], texts: Texts
) -> list[str]:
    if not spreads:
        return []
    whole, *classes = spreads
    numbers = {
        "count": texts.number(whole.readings),
        "bias": texts.number(abs(whole.bias), ".1f"),
        "se": texts.number(whole.bias_se, ".1f"),
        "scatter": texts.number(whole.scatter, ".1f"),
    }
    side = "alike" if round(whole.bias, 1) == 0 else sides[whole.bias < 0]
    said = [texts.say(f"readings.{kind}_{side}", **numbers)]
    if classes:
        listed = [
            texts.say(
                "readings.class",
                name=found.slope_class,
                bias=found.bias,
                scatter=found.scatter,
                count=texts.number(found.readings),
            )
            for found in classes
        ]
        said.append(texts.say(f"readings.{kind}_classes", listed="; ".join(listed)))
    return said


def excluded(row: Mapping[str, Any]) -> str | None:
    """Say whether the guidance keeps beans off a plot.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.

    Returns
    -------
    str | None
        Code of the flag that says so.
    """
    return next((code for code in EXCLUDED if code in row["erosion_flags"]), None)


def excluded_sentence(row: Mapping[str, Any], plan: Plan, texts: Texts) -> str | None:
    """Say before all else that a plot is not for beans.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        The plan, whose limits the sentence names.
    texts : Texts
        The words.

    Returns
    -------
    str | None
        The sentence; None where beans may be planted.
    """
    code = excluded(row)
    return None if code is None else texts.say(f"excluded.first.{code}", plan=plan)


def same_tonnes(row: Mapping[str, Any], texts: Texts) -> str | None:
    """Say why both directions of rows show the same tonnes.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    texts : Texts
        The words.

    Returns
    -------
    str | None
        The sentence; None where they differ, or there are none.
    """
    up_down = row["soil_loss_up_down_likely_t_ha_yr"]
    if pd.isna(up_down) or up_down != row["soil_loss_contour_likely_t_ha_yr"]:
        return None
    code = next((code for code in NO_CREDIT if code in row["erosion_flags"]), "no_credit")
    return texts.say(f"same_tonnes.{code}")


def _suggested_error(results: Results, texts: Texts) -> list[str]:
    calibration, now = results.readings.calibration, results.plan.elevation.vertical_error_m
    error, se = calibration.vertical_error_m, calibration.vertical_error_se_m
    if error is None:
        return []
    if se is None:
        return [texts.say("readings.error_unseen", now=now)]
    times = results.handbook.number("ground_readings", "outside_se")
    key = "error_alike" if abs(error - now) <= times * se else "error_other"
    return [
        texts.say(
            f"readings.{key}", error=texts.number(error, ".2g"), se=texts.number(se, ".1g"), now=now
        )
    ]


def is_barred(row: Mapping[str, Any]) -> bool:
    """Tell whether no rows are set out on a plot: not for beans, or an outlet comes first.

    Parameters
    ----------
    row : Mapping[str, Any]
        Its row of the plots table.

    Returns
    -------
    bool
        Whether nothing is laid out.
    """
    return excluded(row) is not None or bool(row["outlet_flags"])


def kind_of(row: Mapping[str, Any]) -> str:
    """Say how a plot's rows are set out.

    Parameters
    ----------
    row : Mapping[str, Any]
        Its row of the plots table.

    Returns
    -------
    str
        One of excluded, later (rows wait for a safe outlet), measure, any, guide (rows follow a
        level line), compass (straight rows by bearing) or level (straight rows on a day for which
        no compass bearing is known).
    """
    if excluded(row) is not None:
        return "excluded"
    if row["outlet_flags"]:
        return "later"
    kinds = {"measure on the ground": "measure", "any direction": "any", "guide lines": "guide"}
    kind = kinds.get(row["row_method"], "compass")
    if kind == "compass" and pd.isna(row["row_bearing_magnetic_deg"]):
        return "level"
    return kind


def records(plots: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Give the rows of a table of plots one by one.

    All at once, those of a large district would fill the memory.

    Parameters
    ----------
    plots : pandas.DataFrame
        The table.

    Yields
    ------
    dict[str, Any]
        Values by column, geometry left out.
    """
    names = [str(name) for name in plots if name != "geometry"]
    for values in zip(*(plots[name].tolist() for name in names), strict=True):
        yield dict(zip(names, values, strict=True))


def barred(plots: pd.DataFrame) -> NDArray[np.bool_]:
    """Tell on which plots no rows are set out: not for beans, or an outlet comes first.

    Parameters
    ----------
    plots : pandas.DataFrame
        The plots.

    Returns
    -------
    numpy.ndarray
        Whether nothing is laid out, shape (plots,).
    """
    told = records(plots[["erosion_flags", "outlet_flags"]])
    return np.array([is_barred(row) for row in told], dtype=np.bool_)


def set_by(row: Mapping[str, Any], plan: Plan) -> str:
    """Say what sets out the rows of a plot.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        Its limit.

    Returns
    -------
    str
        ``bearing``; ``level`` where the bearing of straight rows only checks it; ``nothing yet``
        where an outlet comes first; ``not for beans``; else the method.
    """
    barred = BARRED.get(kind_of(row))
    if barred is not None:
        return barred
    if row["row_method"] != METHODS[0]:
        return str(row["row_method"])
    return "level" if bearing_is_check(row, plan) else "bearing"


def bearings_set_out(plots: pd.DataFrame) -> pd.DataFrame:
    """Put the bearing of a drawn guide line in place of that of straight rows nobody sets.

    Parameters
    ----------
    plots : pandas.DataFrame
        The table of plots.

    Returns
    -------
    pandas.DataFrame
        ``row_bearing_true_deg``, ``row_bearing_magnetic_deg`` and ``row_bearing_words`` as a team
        finds the rows near the plot's middle; a bearing measured on the ground stays.
    """
    drawn = plots["guide_bearing_true_deg"].notna() & plots["row_bearing_measured_true_deg"].isna()
    found = {
        f"row_bearing_{north}_deg": plots[f"row_bearing_{north}_deg"].mask(
            drawn, plots[f"guide_bearing_{north}_deg"]
        )
        for north in ("true", "magnetic")
    }
    words = geodesy.line_in_words(plots["guide_bearing_true_deg"].to_numpy(dtype=np.float64))
    return pd.DataFrame(
        {**found, "row_bearing_words": plots["row_bearing_words"].mask(drawn, words)}
    )


def bearing_is_check(row: Mapping[str, Any], plan: Plan) -> bool:
    """Say whether the land is too steep for straight rows to be set by their bearing.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        Its limit.

    Returns
    -------
    bool
        True where a level sets the first row, and the bearing only checks it.
    """
    steep = row["slope_used_pct"] > plan.terrain.bearing_check_slope_pct
    return bool(row["row_method"] == METHODS[0] and steep)


def method_sentences(row: Mapping[str, Any], plan: Plan, texts: Texts) -> list[str]:
    """Say how rows are laid out on a plot and why so, how sure that is, and where they drain.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        The plan, whose limits the sentences name.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        At least one sentence, a refusal first.
    """
    code = excluded(row)
    if code is not None:
        return [texts.say(f"excluded.rows.{code}")]
    said = [reason_sentence(row, plan, texts)]
    if row["row_method"] == METHODS[0]:
        if bearing_is_check(row, plan):
            said.append(texts.say("doubt.bearing_is_check", plan=plan))
        elif row["row_bearing_se_deg"] > LEVEL_FROM_DEG:
            said.append(texts.say("doubt.check_with_a_level", degrees=LEVEL_FROM_DEG))
        refusal, ends = ends_sentences(row, plan, texts)
        return [*refusal, *said, *ends]
    guided = None if is_barred(row) else guide_sentence(row, texts)
    if guided is not None:
        said.append(guided)
    falls = fall_sentence(row, plan, texts)
    if falls is not None:
        return [*said, falls]
    if guided is not None:
        said.append(texts.say("ends.along_lines"))
    if drains_poorly(row, plan) and row["row_method_reason"] not in LEVEL_REASONS:
        said.append(texts.say("doubt.drains_poorly", plan=plan))
    return said


def drains_poorly(row: Mapping[str, Any], plan: Plan) -> bool:
    """Say whether rows of a plot need a fall, since its soil drains poorly.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        The plan, whose drainage stands where that of the plot isn't known.

    Returns
    -------
    bool
        Whether it does.
    """
    known = row.get("soil_drainage")
    return bool((plan.soil.drainage if pd.isna(known) else known) == POOR)


def ends_sentences(row: Mapping[str, Any], plan: Plan, texts: Texts) -> tuple[list[str], list[str]]:
    """Say where straight rows drain, and what fall they are to have.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table, with straight rows.
    plan : Plan
        The plan.
    texts : Texts
        The words.

    Returns
    -------
    refusal : list[str]
        Why there are to be no rows yet; empty where there may be.
    said : list[str]
        The other sentences.
    """
    ahead, behind = row["row_end_ahead"], row["row_end_behind"]
    values = {
        "plan": plan,
        "outlet": outlet_words(row["row_outlet"], texts),
        "ahead": outlet_words(ahead, texts),
        **_both_ends(row, texts),
    }
    refusal, said = [], []
    if pd.isna(row["row_low_end"]):
        nothing = {ahead, behind} <= {NOT_KNOWN, None}
        alike = "level_inside" if _inside(ahead) else "level_alike"
        key = "level_unknown" if nothing else alike if ahead == behind else "level"
        said.append(texts.say(f"ends.{key}", **values))
    elif row["row_outlet"] in REFUSED:
        key = "refused_inside" if _inside(row["row_outlet"]) else "refused"
        refusal.append(texts.say(f"ends.{key}", **values, **row))
    elif row["row_turn_deg"] == 0:
        safe = "safe_inside" if _inside(row["row_outlet"]) else "safe"
        key = safe if row["row_outlet"] in SAFE else "not_known"
        said.append(texts.say(f"ends.{key}", **values, **row))
    if drains_poorly(row, plan):
        said.append(texts.say(f"ends.{_fall(row)}", **_fall_outlet(row, texts), **values, **row))
    return refusal, said


def _inside(outlet: str | None) -> bool:
    """Say whether rows end at something inside their plot."""
    return not pd.isna(outlet) and str(outlet).endswith(INSIDE)


def _both_ends(row: Mapping[str, Any], texts: Texts) -> dict[str, str]:
    """Name both ends of straight rows, that of the bearing first, and say what lies there."""
    bearing = row["row_bearing_true_deg"]
    ends = ends_named(bearing, texts)
    found = {"end": ends[0], "other_end": ends[1]}
    outlets = row["row_end_ahead"], row["row_end_behind"]
    for name, end, outlet in zip(("first", "second"), ends, outlets, strict=True):
        key = "inside" if _inside(outlet) else "beyond"
        found[name] = texts.say(f"ends.one.{key}", end=end, what=outlet_words(outlet, texts))
    return found


def _fall(row: Mapping[str, Any]) -> str:
    """Tell how rows come by their fall where the soil drains poorly."""
    if pd.isna(row["row_grade_design_pct"]):
        return "outlet_before_fall"
    if row["row_turn_deg"] != 0:
        return "turned"
    return "fall_to_either" if row["row_fall_to"] == EITHER else "fall"


def _fall_outlet(row: Mapping[str, Any], texts: Texts) -> dict[str, str]:
    """Write what lies at the end that rows are to fall to."""
    ahead, behind = row["row_end_ahead"], row["row_end_behind"]
    there = ahead if ahead in SAFE else behind
    if row["row_fall_to"] == row["row_low_end"]:
        there = row["row_outlet"]
    return {"there": outlet_words(there, texts)}


def method_sentence(row: Mapping[str, Any], plan: Plan, texts: Texts) -> str:
    """Say how rows are laid out on a plot, and why so.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        The plan, whose limits the sentence names.
    texts : Texts
        The words.

    Returns
    -------
    str
        The sentences of :func:`method_sentences`.
    """
    return " ".join(method_sentences(row, plan, texts))


def reason_sentence(row: Mapping[str, Any], plan: Plan, texts: Texts) -> str:
    """Say why rows are laid out so, by its code.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        The plan, whose limits the sentence names.
    texts : Texts
        The words.

    Returns
    -------
    str
        The sentence.
    """
    return texts.say(f"reasons.{row['row_method_reason']}", plan=plan, **row)


def guide_sentence(row: Mapping[str, Any], texts: Texts) -> str | None:
    """Say what guides the rows of a plot.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    texts : Texts
        The words.

    Returns
    -------
    str | None
        The sentence; None where straight rows do.
    """
    kind = row["guide_kind"]
    if pd.isna(kind):
        return None
    form = "floor_unknown" if pd.isna(row["guide_floor_pct"]) else "floor_known"
    why = "flow_not_placed" if pd.isna(row["flow_strip_m2"]) else form
    no_curve = texts.say(f"guides.no_curve.{why}", **row)
    lines = _counted("guides.lines", int(row["guide_lines"]), texts)
    within = {
        "guided_pct": 100 * row["row_within_guided_share"],
        "straight_pct": 100 * row["row_within_straight_share"],
    }
    return texts.say(
        f"guides.{kind.replace(' ', '_')}", no_curve=no_curve, lines=lines, **within, **row
    )


def fall_sentence(row: Mapping[str, Any], plan: Plan, texts: Texts) -> str | None:
    """Say what fall lines that rows follow are to have where the soil drains poorly.

    Parameters
    ----------
    row : Mapping[str, Any]
        One row of the plots table.
    plan : Plan
        The plan, whose limits the sentence names.
    texts : Texts
        The words.

    Returns
    -------
    str | None
        The sentence; None where they are level.
    """
    if not drains_poorly(row, plan) or row["guide_kind"] == STANDING:
        return None
    if pd.isna(row["guide_kind"]) or pd.isna(row["row_end_ahead"]):
        return None
    values = {"plan": plan, **_fall_outlet(row, texts), **_both_ends(row, texts), **row}
    if pd.isna(row["row_grade_design_pct"]):
        return texts.say("ends.outlet_before_fall", **values)
    key = "guided_either" if row["row_fall_to"] == EITHER else "guided"
    return texts.say(f"ends.{key}", **values)


def district_sentences(results: Results, texts: Texts) -> list[str]:
    """Say how much of the district is too steep for rows alone, and where.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        One to three sentences, the finding itself first. Where they are is no news of one village.
    """
    total, steep = int(results.district["plots"]), int(results.district["plots_steep"])
    beyond = int(results.district["plots_beyond_equations"])
    said = [_counted("finding.steep", steep, texts, total=texts.number(total))]
    if steep and len(results.villages) > 1:
        said.append(_where_steep(results.villages, steep, texts))
    if beyond:
        said.append(_counted("finding.beyond", beyond, texts))
    return said


def district_finding(results: Results, texts: Texts) -> str:
    """Say how much of the district is too steep for rows alone, and where.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    str
        The sentences of :func:`district_sentences`.
    """
    return " ".join(district_sentences(results, texts))


def villages_named(results: Results) -> list[str]:
    """List the villages that the finding on steep land names.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    list[str]
        Their names, most steep plots first.
    """
    return [str(name) for name in _worst(results.villages)["village"].head(VILLAGES_NAMED)]


def rows_sentences(results: Results, texts: Texts) -> list[str]:
    """Say on how many plots the printed bearing can be used, and what the others need.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        One to five sentences, the finding itself first.
    """
    away = _excluded_plots(results)
    waiting = _waiting(results)
    laid = results.plots[~away & ~waiting]
    counts = laid["row_method"].value_counts()
    others = (int(counts.get(method, 0)) for method in METHODS[1:])
    checked = int(_checked(laid, results.plan).sum())
    total = int(results.district["plots"])
    served = int(by_bearing(results).sum())
    said = [_counted("finding.straight", served, texts, total=texts.number(total))]
    against = laid["row_method_reason"] == "measured_against_raster"
    if against.any():
        said.append(_counted("finding.against_raster", int(against.sum()), texts))
    counted = {
        "checked": checked,
        **{method.replace(" ", "_"): n for method, n in zip(METHODS[1:], others, strict=True)},
        "waiting": int(waiting.sum()),
        "excluded": int(away.sum()),
    }
    limit = texts.number(results.plan.terrain.bearing_check_slope_pct, "g")
    rest = [
        _counted(f"finding.{name}", count, texts, limit=limit)
        for name, count in counted.items()
        if count
    ]
    if rest:
        said.append(texts.say("finding.other_rows", listed=texts.listed(rest)))
    refused = results.plots.loc[waiting, "outlet_flags"].map(lambda raised: OUTLET in raised)
    if refused.any():
        said.append(_counted("finding.refused", int(refused.sum()), texts))
    return said


def by_bearing(results: Results) -> pd.Series:
    """Tell on which plots straight rows can follow the bearing that is printed.

    Parameters
    ----------
    results : Results
        The run.

    Returns
    -------
    pandas.Series
        Whether they can, a value a plot.
    """
    plots = results.plots
    laid = ~_excluded_plots(results) & ~_waiting(results)
    return laid & plots["row_method"].eq(METHODS[0]) & ~_checked(plots, results.plan)


def _waiting(results: Results) -> pd.Series:
    """Tell which plots wait until water has a safe way out."""
    raised = results.plots["outlet_flags"].map(len).gt(0)
    return ~_excluded_plots(results) & raised


def served_sentences(results: Results, texts: Texts) -> list[str]:
    """Say how many plots the raster serves, what readings add, why not more, what raster would.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        One to five sentences, the share that the raster alone serves first.
    """
    district = results.district
    total = int(district["plots"])
    served = total - int(district["plots_unserved"])
    said = [
        _counted(
            "finding.served",
            served,
            texts,
            total=texts.number(total),
            land=_percent(1 - district["area_unserved_ha"] / district["area_ha"]),
        ),
        *_by_readings(results.plots, texts),
    ]
    why = _why_measured(results.plots[~_excluded_plots(results)], results.plan, texts)
    if why is not None:
        said.append(why)
    return [*said, *_finer_raster(results.forecasts, served, total, texts)]


def _by_readings(plots: pd.DataFrame, texts: Texts) -> list[str]:
    """Say on how many plots readings tell what the raster can't, or show that it can't."""
    before, after = (plots[name] == MEASURE for name in ("row_method_raster", "row_method"))
    counts = {"readings_add": before & ~after, "readings_take": ~before & after}
    return [
        _counted(f"finding.{key}", int(here.sum()), texts)
        for key, here in counts.items()
        if here.any()
    ]


def served_by_village(results: Results, texts: Texts) -> list[str]:
    """List the villages by the share of their land that the raster serves, the least first.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        One line a village, up to ``VILLAGES_LISTED``, and one on how many there are more.
    """
    villages = results.villages.copy()
    villages["land"] = 1 - villages["area_unserved_ha"] / villages["area_ha"]
    villages = villages.sort_values("land", kind="stable")
    lines = [
        texts.say(
            f"finding.{_village_key(row)}",
            village=row["village"],
            served=texts.number(row["plots"] - row["plots_unserved"]),
            plots=texts.number(row["plots"]),
            land=_percent(row["land"]),
            all=texts.number(row["plots"] - row["plots_measure"]),
        )
        for _, row in villages.head(VILLAGES_LISTED).iterrows()
    ]
    if len(villages) > VILLAGES_LISTED:
        lines.append(texts.say("finding.more_villages", more=len(villages) - VILLAGES_LISTED))
    return lines


def _village_key(row: pd.Series) -> str:
    alone = row["plots_unserved"] == row["plots_measure"]
    return "served_in_village" if alone else "served_in_village_with_readings"


def _percent(share: float) -> str:
    """Round to whole percent, but to 0 or 100 only what is so."""
    percent = 100 * share
    return f"{percent:.0f}" if percent in {0, 100} else f"{min(max(percent, 1), 99):.0f}"


def kilograms(grams: int) -> str:
    """Write a weight for someone who weighs it out.

    Parameters
    ----------
    grams : int
        The weight [g].

    Returns
    -------
    str
        Kilograms: two decimals below 10 kg, one below 100 kg, none above.
    """
    return format(grams / 1000, kilogram_form(grams))


def kilogram_form(grams: int) -> str:
    """Tell in which form a weight in kilograms is written.

    Parameters
    ----------
    grams : int
        The weight [g].

    Returns
    -------
    str
        As ``format`` takes it.
    """
    digits = sum(grams < limit for limit in (TENTHS_BELOW_G, HUNDREDTHS_BELOW_G))
    return f",.{digits}f"


def both_ends(bearing_deg: float) -> str:
    """Write a row bearing as the two ways in which one can look along the row.

    Parameters
    ----------
    bearing_deg : float
        Bearing of the row, either end [degrees].

    Returns
    -------
    str
        Three digits each, such as ``058° / 238°``.
    """
    near = round(bearing_deg) % 180
    return f"{near:03d}° / {near + 180:03d}°"


def tonnes(loss_t_ha_yr: float) -> int:
    """Round a soil loss to what it is worth: accepted equations differ by a factor of two or more.

    Parameters
    ----------
    loss_t_ha_yr : float
        Mean yearly soil loss [t/(ha yr)].

    Returns
    -------
    int
        Whole tonnes, tens from 100 t on.
    """
    return round(loss_t_ha_yr) if loss_t_ha_yr < TENS_FROM_T else 10 * round(loss_t_ha_yr / 10)


def _counted(key: str, count: int, texts: Texts, **values: str) -> str:
    form = {0: "none", 1: "one"}.get(count, "many")
    return texts.say(f"{key}.{form}", count=texts.number(count), **values)


def _checked(plots: pd.DataFrame, plan: Plan) -> pd.Series:
    """Mark plots whose straight rows a level sets, since the land is steep."""
    steep = plots["slope_used_pct"] > plan.terrain.bearing_check_slope_pct
    return steep & (plots["row_method"] == METHODS[0])


def _excluded_plots(results: Results) -> pd.Series:
    return results.plots["erosion_flags"].map(lambda raised: not set(EXCLUDED).isdisjoint(raised))


def _why_measured(plots: pd.DataFrame, plan: Plan, texts: Texts) -> str | None:
    """Say what keeps most plots from a bearing: the raster's cells, its error, or the land."""
    measured = plots[plots["row_method_raster"] == MEASURE]
    if 2 * len(measured) <= len(plots):
        return None
    counts = measured["row_method_reason_raster"].value_counts()
    coarse = int(counts.get("too_few_cells", 0))
    unsure = sum(int(counts.get(reason, 0)) for reason in UNSURE)
    if 2 * max(coarse, unsure) <= len(measured):
        return None
    cell = _cell_m(measured, texts)
    if coarse > unsure:
        return texts.say("finding.too_coarse", cell=cell)
    error = texts.number(plan.elevation.vertical_error_m, "g")
    return texts.say("finding.too_uncertain", cell=cell, error=error)


def _cell_m(plots: pd.DataFrame, texts: Texts) -> str:
    """Give the side of the raster's cells under plots, to two digits."""
    covered = plots[plots["cells"] > 0]
    cell_m2 = 10_000 * covered["area_ha"] * covered["raster_share"] / covered["cells"]
    return texts.number(float(f"{cell_m2.median() ** 0.5:.2g}"), "g")


def _finer_raster(
    forecasts: tuple[Forecast, ...], served: int, plots: int, texts: Texts
) -> list[str]:
    """Say what raster would serve: the coarsest that serves most, or the one that serves best."""
    if not forecasts:
        return []
    enough = [one for one in forecasts if one.plots_share >= MOST]
    chosen = enough[0] if enough else max(forecasts, key=lambda one: one.plots_share)
    gain = chosen.plots_share * plots - served
    if gain < max(GAIN_MIN * plots, 1):
        return []
    # All that is said follows from this one number; a forecast has no more than two digits.
    more = min(round(float(f"{gain:.2g}")), plots - served)
    key = "finding.finer_raster_rough" if chosen.rough else "finding.finer_raster"
    counts = {
        "more": texts.number(more),
        "count": texts.number(served + more),
        "total": texts.number(plots),
    }
    cell, error = texts.number(chosen.cell_m, "g"), texts.number(chosen.vertical_error_m, "g")
    share = _percent((served + more) / plots)
    return [texts.say(key, cell=cell, error=error, share=share, **counts)]


def _worst(villages: pd.DataFrame) -> pd.DataFrame:
    # Most steep plots first; villages alike stay in the order of their names.
    return villages.loc[villages["plots_steep"] > 0].sort_values(
        "plots_steep", ascending=False, kind="stable"
    )


def _where_steep(villages: pd.DataFrame, steep: int, texts: Texts) -> str:
    worst = _worst(villages)
    named = worst.head(VILLAGES_NAMED)
    names = texts.listed([str(name) for name in named["village"]])
    if len(worst) > VILLAGES_NAMED:
        inside = texts.number(int(named["plots_steep"].sum()))
        return texts.say("finding.most_in", count=inside, villages=names)
    if len(worst) == 1:
        return texts.say("finding.all_in_one" if steep > 1 else "finding.it_is_in", villages=names)
    return texts.say("finding.all_in", villages=names)
