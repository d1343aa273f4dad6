"""All columns of a plots file, to draft a plan from it."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from districtplan.errors import Fault, InputError
from districtplan.files.csv_plots import AREA, ORDER, PLACE, WKT
from districtplan.files.layer import Wanted
from districtplan.files.local import locate
from districtplan.files.vector import format_of, states_crs
from districtplan.intake import likely_id

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from districtplan.files.layer import Objects

ID = "plot_id_column"
DRAWN = (WKT, ORDER, AREA, *PLACE)
"""Columns of a CSV file that outlines are made of, and so no plot's id or village."""


@dataclass(frozen=True)
class _Every(Wanted):
    """Asks a reader for all columns that it finds, and takes a layer of several."""

    found: dict[str, str] = field(default_factory=dict)
    layers: list[str] = field(default_factory=list)

    def check(self, present: Iterable[str]) -> None:
        self.found.update({name: name for name in present})
        # Points that are walked are gathered by the id, which has to be some column.
        self.found[ID] = likely_id(list(self.found)[1:])

    def choose(self, layers: Sequence[str]) -> str:
        if not layers:
            return super().choose(layers)
        first = next((name for name in layers if "plot" in name.lower()), layers[0])
        self.layers[:] = [first, *(name for name in layers if name != first)]
        return first


@dataclass(frozen=True)
class Draft:
    """A plots file, from which a plan may be drafted.

    Attributes
    ----------
    name : str
        Its name as the plan is to have it.
    columns : Mapping[str, numpy.ndarray]
        Values by column.
    geometry : numpy.ndarray
        Outlines, None where one can't be read.
    crs_known : bool
        Whether it states its CRS, or its format has one.
    layers : tuple[str, ...]
        Its layers, the one that was read first.
    id_column : str | None
        Where its format keeps what a shape is called, if it does.
    """

    name: str
    columns: Mapping[str, Objects]
    geometry: Objects
    crs_known: bool
    layers: tuple[str, ...]
    id_column: str | None


def read_draft(path: Path, folder: Path) -> Draft:
    """Read every column of a plots file.

    Parameters
    ----------
    path : Path
        The file.
    folder : Path
        Folder of the plan that is drafted.

    Returns
    -------
    Draft
        What it holds.

    Raises
    ------
    InputError
        If it can't be read.
    """
    found = locate(str(path), Path.cwd())
    kind = format_of(found, str(path))
    columns = {ID: ""}
    wanted = _Every(str(path), columns, None, found=columns)
    layer = kind.read(found, wanted)
    try:
        name = Path(os.path.relpath(found, folder)).as_posix()
    except ValueError as error:
        raise InputError(
            Fault(str(path), "lies on another drive than the plan", "Copy it to the plan's drive")
        ) from error
    return Draft(
        name,
        {
            column: values
            for column, values in layer.columns.items()
            if column != ID and column.lower() not in DRAWN
        },
        layer.geometry,
        states_crs(layer, kind),
        tuple(wanted.layers),
        kind.id_column,
    )
