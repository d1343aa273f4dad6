"""Lines and polygons that take land, as a file gives them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pyproj

from districtplan.files.layer import Objects, Wanted
from districtplan.files.local import locate
from districtplan.files.vector import digests, format_of, stated_crs

if TYPE_CHECKING:
    from collections.abc import Mapping

    from districtplan.files.plan_file import PlanFile

COLUMNS = ("kind", "width_m", "name")


@dataclass(frozen=True)
class RawFeatures:
    """Features as the file gives them.

    Attributes
    ----------
    frame : pandas.DataFrame
        ``source_row`` (from 1), ``kind``, ``width_m`` and ``name`` as given, ``geometry`` (None
        where there is none or it can't be read) and ``problem`` (why it can't be read, or None); no
        rows where the plan names no file.
    crs : pyproj.CRS
        CRS of the shapes.
    sha256 : Mapping[str, str]
        Digest of the file and of those beside it, by name as in the plan.
    """

    frame: pd.DataFrame
    crs: pyproj.CRS
    sha256: Mapping[str, str]


def read_features(plan_file: PlanFile) -> RawFeatures:
    """Read the features that a plan names.

    Parameters
    ----------
    plan_file : PlanFile
        The plan and its folder.

    Returns
    -------
    RawFeatures
        One row a row of the file, in its order.

    Raises
    ------
    InputError
        If the file can't be used as a whole: with the reason and what to do.
    """
    name = plan_file.plan.files.features
    if name is None:
        none = np.zeros(0, dtype=object)
        return RawFeatures(
            _frame(dict.fromkeys(COLUMNS, none), none, none), pyproj.CRS("EPSG:4326"), {}
        )
    path = locate(name, plan_file.folder)
    kind = format_of(path, name)
    wanted = Wanted(
        name,
        {column: column for column in COLUMNS},
        None,
        "Export the features alone",
        optional=("width_m", "name"),
        lines=True,
    )
    layer = kind.read(path, wanted)
    frame = _frame(layer.columns, layer.geometry, layer.as_given())
    return RawFeatures(frame, stated_crs(layer, kind, name), digests(path, name))


def _frame(given: Mapping[str, Objects], geometry: Objects, problem: Objects) -> pd.DataFrame:
    columns = {name: given[name] for name in COLUMNS} | {"geometry": geometry, "problem": problem}
    series = {name: pd.Series(values, dtype=object) for name, values in columns.items()}
    rows = np.arange(1, len(geometry) + 1, dtype=np.int64)
    return pd.DataFrame({"source_row": rows, **series})
