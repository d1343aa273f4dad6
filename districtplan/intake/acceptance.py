"""The stage: rows in are rows used and rows set aside, none lost."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from districtplan.accepted import NUMBER
from districtplan.intake import names, outlines, repair, swapped
from districtplan.intake.overlaps import overlaps
from districtplan.tables import WALKED, check, made_by

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.plan import Plan

LISTED = 10
DRAW_AGAIN = "Draw the outline again and export the plots"
WALK_AGAIN = "Walk the edge of the plot again, one way around, and number the points in that order"
KEEP_ONE = "Remove all of these rows but one"
FAR_REMEDY = "Check its coordinates, and whether longitude and latitude are swapped"
NAME_REMEDIES = {
    names.MISSING: "Give one",
    names.CONTROL: "Type it again",
    names.LONG: "Shorten it",
    names.NO_TEXT: "Store it as text",
    names.TOO_LARGE: "Store it as text",
}
PLACE_REMEDIES = {
    "coordinates aren't a longitude and a latitude": "Longitude stands first, latitude second: "
    "are they swapped? If they are metres, set the right CRS",
    "the outline crosses longitude 180°": "Store the plots in a projected CRS of the place",
    "coordinates lie outside the area of the CRS": "Check the CRS of the file, and whether x and y "
    "are swapped",
}


class _Aside:
    """Reasons and remedies by row; a row may have several."""

    def __init__(self, rows: int) -> None:
        self.reasons: dict[int, list[str]] = {}
        self.remedies: dict[int, list[str]] = {}
        self.used = np.ones(rows, dtype=bool)

    def put(self, row: int, reason: str, remedy: str) -> None:
        self.used[row] = False
        self.reasons.setdefault(row, []).append(reason)
        remedies = self.remedies.setdefault(row, [])
        if remedy not in remedies:
            remedies.append(remedy)


ASKED = ("farmer_name", "soil_depth_given_m", "soil_drainage_given", "soil_not_read")
"""Columns that are there only where the plan asks for them."""
SOIL_DEPTH_MAX_M = 10
DECIMALS = 9
"""Decimals of a number that are read."""
DRAINAGE = ("free", "poor")


def accept(raw: pd.DataFrame, crs: CRS, plan: Plan) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Take the plots that can be used and set the others aside.

    Parameters
    ----------
    raw : pandas.DataFrame
        ``source_row``, ``plot_id`` and ``village`` as given, ``farmer_name`` if the plan asks,
        ``geometry``, ``problem`` (why an outline couldn't be read, or None), ``problem_remedy``
        (what to do about it; None: draw it again) and ``done`` (what its reader mended, a tuple
        of phrases).
    crs : pyproj.CRS
        CRS of the outlines.
    plan : Plan
        The plan, for its limits.

    Returns
    -------
    plots : pandas.DataFrame
        The columns of intake, in the order of the file; outlines in the file's CRS.
    set_aside : pandas.DataFrame
        ``source_row``, ``plot_id``, ``reason``, ``remedy`` and ``village`` of the rest.
    """
    aside = _Aside(len(raw))
    text = {"plot_id": _read_names(raw, "plot_id", "the id", aside)}
    given = outlines.flat(raw["geometry"].to_numpy(dtype=object))
    _set_aside_repeated(text["plot_id"], raw["source_row"].to_numpy(), given, aside)
    text["village"] = _read_names(raw, "village", "the village's name", aside)
    if "farmer_name" in raw:
        text["farmer_name"] = _read_farmers(raw, aside)
    text |= _read_soil(raw)
    # Hostile coordinates overflow on the way; what becomes of them is checked, not warned of.
    with np.errstate(invalid="ignore", over="ignore"):
        mended = _mend(given, raw, plan)
        geometry = mended.geometry
        sound = _check_outlines(raw, given, mended, crs, plan, aside)
        found = outlines.measure(geometry[sound], crs)
    _check_areas(sound, found.area_ha, plan, aside)
    kept = aside.used[sound]
    rows = sound[kept]
    done = mended.done[rows]
    changed = np.array([bool(what) for what in done], dtype=bool)
    overlap_ha, overlap_plots = overlaps(
        geometry[rows],
        found.area_ha[kept],
        text["plot_id"][rows],
        plan.limits.overlap_min_pct,
    )
    columns: dict[str, object] = {name: values[rows].tolist() for name, values in text.items()}
    columns |= {
        "village_as_given": pd.Series([None] * len(rows), dtype=object),
        "source_row": raw["source_row"].to_numpy(dtype=np.int64)[rows],
        "area_ha": found.area_ha[kept],
        "longitude_deg": found.longitude_deg[kept],
        "latitude_deg": found.latitude_deg[kept],
        "outline_repair": pd.Series([", ".join(what) or None for what in done], dtype=object),
        "area_as_given_ha": np.where(changed, found.area_ha[kept] * mended.before[rows], np.nan),
        "overlap_ha": overlap_ha,
        "overlap_plots": pd.Series(overlap_plots, dtype=object),
        "geometry": geometry[rows],
    }
    plots = pd.DataFrame(columns)
    asked = [name for name in made_by("intake") if name not in ASKED or name in text]
    return check(plots, asked), _set_aside(raw, text, aside)


def _read_names(raw: pd.DataFrame, column: str, title: str, aside: _Aside) -> NDArray[np.object_]:
    text, fault = names.texts(raw[column])
    for row in np.flatnonzero(pd.notna(fault)):
        aside.put(int(row), f"{title} {fault[row]}", NAME_REMEDIES[fault[row]])
    return text


def _read_farmers(raw: pd.DataFrame, aside: _Aside) -> NDArray[np.object_]:
    """Read farmers' names; one that is missing costs no plot."""
    text, fault = names.texts(raw["farmer_name"])
    for row, why in enumerate(fault):
        if why == names.MISSING:
            text[row] = None
        elif why is not None:
            aside.put(row, f"the farmer's name {why}", NAME_REMEDIES[why])
    return text


def _read_soil(raw: pd.DataFrame) -> dict[str, NDArray[Any]]:
    """Read depth and drainage of the soil; a value that is wrong is left out, and said so."""
    found: dict[str, NDArray[Any]] = {}
    wrong: list[list[str]] = [[] for _ in range(len(raw))]
    if "soil_depth_given_m" in raw:
        text, fault = names.texts(map(_written, raw["soil_depth_given_m"]))
        depth = np.full(len(text), np.nan)
        for row, (told, why) in enumerate(zip(text, fault, strict=True)):
            if why is None and re.fullmatch(NUMBER, told) and float(told) <= SOIL_DEPTH_MAX_M:
                depth[row] = float(told)
            elif why != names.MISSING:
                wrong[row].append(f"depth is no number of metres from 0 to {SOIL_DEPTH_MAX_M}")
        found["soil_depth_given_m"] = depth
    if "soil_drainage_given" in raw:
        text, fault = names.texts(raw["soil_drainage_given"])
        known = np.full(len(text), None, dtype=object)
        for row, (told, why) in enumerate(zip(text, fault, strict=True)):
            if why is None and told.lower() in DRAINAGE:
                known[row] = told.lower()
            elif why != names.MISSING:
                wrong[row].append(f"drainage is none of {', '.join(DRAINAGE)}")
        found["soil_drainage_given"] = known
    if found:
        said = ["; ".join(one) or None for one in wrong]
        found["soil_not_read"] = np.array(said, dtype=object)
    return found


def _written(value: object) -> object:
    """Write a number that a file gives as one; NaN is missing."""
    if not isinstance(value, float):
        return value
    return (
        None if np.isnan(value) else np.format_float_positional(value, precision=DECIMALS, trim="-")
    )


def _set_aside_repeated(
    ids: NDArray[np.object_],
    source_rows: NDArray[np.int64],
    geometry: NDArray[np.object_],
    aside: _Aside,
) -> None:
    """Set aside every row of an id that stands in several: which is right is unknown."""
    series = pd.Series(ids, dtype=object)
    repeated = series[series.duplicated(keep=False) & (series != "")]
    drawn = np.full(len(ids), None, dtype=object)
    with np.errstate(invalid="ignore", over="ignore"):
        drawn[repeated.index] = shapely.to_wkb(shapely.normalize(geometry[repeated.index]))
    for rows in repeated.groupby(repeated, sort=False).groups.values():
        listed = ", ".join(str(source_rows[row]) for row in rows[:LISTED])
        more = f" and {len(rows) - LISTED} more" if len(rows) > LISTED else ""
        same = drawn[rows[0]] is not None and len(set(drawn[rows])) == 1
        for row in rows:
            aside.put(
                int(row),
                f"the id stands in {len(rows)} rows: {listed}{more}"
                f"{', with the very same outline' if same else ''}",
                KEEP_ONE if same else "Give each plot an id of its own",
            )


def _mend(given: NDArray[np.object_], raw: pd.DataFrame, plan: Plan) -> repair.Mended:
    """Turn and mend outlines; what their readers did to them comes first."""
    turned, swaps = swapped.turn_back(given)
    mended = repair.mend(turned, plan.limits.spike_angle_max_deg)
    done = mended.done.copy()
    for row, (before, swap) in enumerate(zip(raw["done"], swaps, strict=True)):
        done[row] = (*before, *((swapped.TURNED,) if swap else ()), *done[row])
    return repair.Mended(mended.geometry, done, mended.before)


def _check_outlines(
    raw: pd.DataFrame,
    given: NDArray[np.object_],
    mended: repair.Mended,
    crs: CRS,
    plan: Plan,
    aside: _Aside,
) -> NDArray[np.int64]:
    """Set unsound and misplaced outlines aside; give the rows of the others."""
    geometry = mended.geometry
    reason = outlines.unsound(geometry)
    _set_changed(reason, given, mended, plan)
    problem = raw["problem"].to_numpy(dtype=object)
    told = ~pd.isna(problem)
    reason[told] = problem[told]
    broken = ~pd.isna(reason)
    for row in np.flatnonzero(broken):
        again = WALK_AGAIN if WALKED in mended.done[row] else DRAW_AGAIN
        aside.put(int(row), str(reason[row]), raw["problem_remedy"].iloc[row] or again)
    sound = np.flatnonzero(~broken)
    place = outlines.misplaced(geometry[sound], crs)
    lost = ~pd.isna(place)
    for row, why in zip(sound[lost], place[lost], strict=True):
        aside.put(int(row), why, PLACE_REMEDIES[why])
    return sound[~lost]


def _set_changed(
    reason: NDArray[np.object_], given: NDArray[np.object_], mended: repair.Mended, plan: Plan
) -> None:
    """Give the reason of outlines whose area changes too much on being mended."""
    most = plan.limits.repair_area_max_pct
    with np.errstate(divide="ignore"):
        change_pct = 100 * np.abs(1 / mended.before - 1)
    rows = np.flatnonzero(~(change_pct <= most))
    why = outlines.unsound(given[rows])
    for row, broken in zip(rows, why, strict=True):
        what = ", ".join(mended.done[row])
        changed = f"mended ({what}) {_change(change_pct[row])}, the plan allows {most:g} %"
        reason[row] = changed if broken is None else f"{broken}; {changed}"


def _change(change_pct: float) -> str:
    """Say how an outline's area would change, in numbers that are read at a glance."""
    if not np.isfinite(change_pct):
        return "its area would change by all of it"
    if change_pct > 100:  # noqa: PLR2004 - more than the whole: it grows
        return f"its area would be {change_pct / 100 + 1:,.1f} times as large"
    return f"its area would change by {change_pct:.3g} %"


def _check_areas(
    rows: NDArray[np.int64], area_ha: NDArray[np.float64], plan: Plan, aside: _Aside
) -> None:
    low, high = plan.limits.plot_area_min_ha, plan.limits.plot_area_max_ha
    for place in np.flatnonzero(~((area_ha >= low) & (area_ha <= high))):
        if np.isnan(area_ha[place]):
            aside.put(int(rows[place]), "the outline lies far from all others", FAR_REMEDY)
            continue
        if area_ha[place] < low:
            words, key = f"below the plan's {low:g} ha", "plot_area_min_ha"
        else:
            words, key = f"above the plan's {high:g} ha", "plot_area_max_ha"
        aside.put(
            int(rows[place]),
            f"the area, {area_ha[place]:.4g} ha, is {words}",
            f"Check the outline and its CRS, or change {key} in [limits]",
        )


def _set_aside(
    raw: pd.DataFrame, text: dict[str, NDArray[np.object_]], aside: _Aside
) -> pd.DataFrame:
    rows = sorted(aside.reasons)
    named = {
        name: pd.Series([_encodable(text[name][row]) for row in rows], dtype="str")
        for name in ("plot_id", "village")
    }
    return pd.DataFrame(
        {
            "source_row": raw["source_row"].to_numpy(dtype=np.int64)[rows],
            "plot_id": named["plot_id"],
            "reason": pd.Series(["; ".join(aside.reasons[row]) for row in rows], dtype="str"),
            "remedy": pd.Series([". ".join(aside.remedies[row]) for row in rows], dtype="str"),
            "village": named["village"],
        }
    )


def _encodable(text: str) -> str:
    """Keep an id as given, but for length and what no file can hold."""
    return text[: names.TEXT_MAX].encode("utf-8", "backslashreplace").decode("utf-8")
