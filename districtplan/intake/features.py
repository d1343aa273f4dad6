"""Features that take land: which can be used, and those set aside with reason and remedy."""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely
from shapely import GeometryType

from districtplan import geodesy
from districtplan.intake import names, outlines

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.handbook import Handbook

    Objects = NDArray[np.object_]

TABLE = "feature_widths"
"""The handbook's usual widths of features that are drawn as lines."""

KINDS = (
    "grass strip",
    "ditch",
    "bank",
    "terrace",
    "waterway",
    "grass",
    "stream",
    "path",
    "road",
    "culvert",
    "house",
    "forest",
    "grave",
    "latrine",
    "spring",
    "slipping ground",
    "other",
)
WITHOUT_WIDTH = (
    "grass", "house", "forest", "grave", "latrine", "spring", "slipping ground", "other",
)  # fmt: skip
"""Kinds of no usual width: as a line they must have one of their own."""

LINES = (GeometryType.LINESTRING, GeometryType.MULTILINESTRING)
USED = ("source_row", "kind", "feature", "width_m", "geometry")
SET_ASIDE = ("source_row", "kind", "reason", "remedy")
SHOWN_MAX = 40
PARTED = ";"
DRAW_AGAIN = "Draw it again, as a line or a polygon"

# Written out: float() also takes digits of other scripts, underscores, inf and nan.
_NUMBER = re.compile(r"[0-9]{1,9}(\.[0-9]{1,20})?")


def accept_features(
    raw: pd.DataFrame, crs: CRS, zone: CRS, handbook: Handbook
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Take the features that can be used and set the others aside.

    Parameters
    ----------
    raw : pandas.DataFrame
        ``source_row``, ``kind``, ``width_m`` and ``name`` as given, ``geometry`` and ``problem``
        (why a shape couldn't be read, or None).
    crs : pyproj.CRS
        CRS of the shapes.
    zone : pyproj.CRS
        UTM zone of the district.
    handbook : Handbook
        Usual widths (table ``feature_widths``).

    Returns
    -------
    used : pandas.DataFrame
        ``source_row``, ``kind``, ``feature`` (what it is called: no two alike), ``width_m`` (of
        lines; NaN for polygons) and ``geometry`` in the zone, in the order of the file.
    set_aside : pandas.DataFrame
        ``source_row``, ``kind``, ``reason`` and ``remedy`` of the others.
    """
    given = outlines.flat(raw["geometry"].to_numpy(dtype=object))
    reason = raw["problem"].to_numpy(dtype=object).copy()
    remedy = np.full(len(raw), None, dtype=object)
    remedy[~pd.isna(reason)] = DRAW_AGAIN

    def told(why: Objects, what: str) -> None:
        new = pd.isna(reason) & ~pd.isna(why)
        reason[new], remedy[new] = why[new], what

    told(_unsound(given), DRAW_AGAIN)
    sound = np.flatnonzero(pd.isna(reason))
    moved = np.full(len(raw), None, dtype=object)
    # Hostile coordinates overflow on the way; what becomes of them is checked, not warned of.
    with np.errstate(invalid="ignore", over="ignore"):
        moved[sound] = geodesy.reproject(given[sound], crs, zone)
    lost = np.full(len(raw), None, dtype=object)
    lost[sound[~pd.isna(_unsound(moved[sound]))]] = "it lies far from the plots"
    told(lost, "Check its coordinates and its CRS")
    kinds, unknown = _kinds(raw["kind"])
    told(unknown, f"Use one of {', '.join(KINDS)}")
    lines = np.isin(shapely.get_type_id(given), LINES)
    width, wrong = _widths(raw["width_m"].to_numpy(dtype=object), kinds, lines, handbook)
    told(wrong, "Give its width in metres, digits only, such as 0.6, or draw it as a polygon")
    called, unclear = _names(raw["name"])
    told(unclear, "Correct its name, or leave it empty")
    used = pd.isna(reason)
    rows = raw["source_row"].to_numpy(dtype=np.int64)
    return (
        pd.DataFrame(
            {
                "source_row": rows[used],
                "kind": pd.Series(kinds[used], dtype="str"),
                "feature": pd.Series(_called(kinds, called, rows, used), dtype="str"),
                "width_m": width[used],
                "geometry": pd.Series(moved[used], dtype=object),
            }
        ),
        pd.DataFrame(
            {
                "source_row": rows[~used],
                "kind": pd.Series(kinds[~used], dtype="str"),
                "reason": pd.Series(reason[~used], dtype="str"),
                "remedy": pd.Series(remedy[~used], dtype="str"),
            }
        ),
    )


def _unsound(shapes: Objects) -> Objects:
    """Tell why each shape takes no land that can be told, or None."""
    reason = outlines.unsound(shapes)
    lines = np.isin(shapely.get_type_id(shapes), LINES) & ~shapely.is_empty(shapes)
    reason[lines] = None
    points, owner = shapely.get_coordinates(shapes, return_index=True)
    infinite = np.zeros(len(shapes), dtype=bool)
    infinite[owner[~np.isfinite(points).all(axis=1)]] = True
    reason[lines & infinite] = "a coordinate isn't finite"
    with np.errstate(invalid="ignore"):
        point = lines & ~infinite & ~(shapely.length(shapes) > 0)
    reason[point] = "the line has no length"
    other = ~lines & ~np.isin(shapely.get_type_id(shapes), outlines.POLYGONS)
    for row in np.flatnonzero(other & ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))):
        name = GeometryType(shapely.get_type_id(shapes[row])).name.lower()
        reason[row] = f"the geometry is a {name}, not a line or a polygon"
    return reason


def _kinds(given: pd.Series) -> tuple[Objects, Objects]:
    text, fault = names.texts(given)
    plain = np.array([name.strip().lower() for name in text] + [""], dtype=object)[:-1]
    wrong = np.full(len(text), None, dtype=object)
    for row, (kind, why) in enumerate(zip(plain, fault, strict=True)):
        if why is not None:
            wrong[row] = f"the kind {why}"
            plain[row] = ""
        elif kind not in KINDS:
            wrong[row] = f"the kind is {kind[:SHOWN_MAX]!a}"
            plain[row] = kind[:SHOWN_MAX]
    return plain, wrong


def _names(given: pd.Series) -> tuple[Objects, Objects]:
    """Read the names that features may have; empty where they have none."""
    text, fault = names.texts(given)
    wrong = np.full(len(text), None, dtype=object)
    for row, (name, why) in enumerate(zip(text, fault, strict=True)):
        if why == names.MISSING:
            text[row] = ""
        elif why is not None:
            wrong[row] = f"the name {why}"
        elif PARTED in name:
            wrong[row] = "the name has a semicolon, which parts names in lists"
    return text, wrong


def _called(
    kinds: Objects, given: Objects, rows: NDArray[np.int64], used: NDArray[np.bool_]
) -> list[str]:
    """Call each feature used by its kind and name, or row: two of a kind and name by both.

    A name stands in quotation marks, so that none reads like a row.
    """
    told = list(zip(kinds[used], given[used], rows[used], strict=True))
    often = Counter((kind, name) for kind, name, _ in told)
    return [
        f"{kind} {row}"
        if not name
        else f"{kind} “{name}”"
        if often[kind, name] == 1
        else f"{kind} “{name}” {row}"
        for kind, name, row in told
    ]


def _widths(
    given: Objects, kinds: Objects, lines: NDArray[np.bool_], handbook: Handbook
) -> tuple[NDArray[np.float64], Objects]:
    """Give the width of each line, usual for its kind where it has none."""
    widest = handbook.number(TABLE, "width_max_m")
    width = np.full(len(given), np.nan)
    wrong = np.full(len(given), None, dtype=object)
    for row in np.flatnonzero(lines):
        value, kind = given[row], kinds[row]
        if value is None or value == "" or value != value:  # noqa: PLR0124 - not a number
            if kind in WITHOUT_WIDTH or kind not in KINDS:
                wrong[row] = f"a line of the kind {kind} has no width_m"
            else:
                width[row] = handbook.number(TABLE, f"{kind.replace(' ', '_')}_width_m")
            continue
        number = _number(value)
        if not 0 < number <= widest:
            shown = ascii(str(value)[:SHOWN_MAX])
            wrong[row] = f"width_m = {shown} isn't a number above 0, at most {widest:g}"
        width[row] = number
    return width, wrong


def _number(value: Any) -> float:  # noqa: ANN401 - as readers give it
    if isinstance(value, str):
        return float(value) if _NUMBER.fullmatch(value.strip()) else np.nan
    plain = isinstance(value, int | float | np.number) and not isinstance(value, bool)
    return float(value) if plain else np.nan
