"""What every reader of plots is asked for and gives back."""

from __future__ import annotations

import contextlib
import difflib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.errors import ShapelyError

from districtplan.errors import Fault, InputError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from pyproj import CRS

Objects = NDArray[np.object_]

ROWS_MAX = 5_000_000
LISTED_MAX = 30
CLOSED = "a ring that was open was closed"


@dataclass(frozen=True)
class Wanted:
    """What to read.

    Attributes
    ----------
    name : str
        Name of the file as in the plan.
    columns : Mapping[str, str]
        Names of the columns, by the plan's key that gives them.
    layer : str | None
        Layer asked for, if any.
    layer_remedy : str, default of the plots
        What to do about a file with several layers.
    optional : tuple[str, ...], default none
        Keys of columns that may be missing: their values are then None.
    lines : bool, default False
        Whether lines are read too, not polygons alone.
    """

    name: str
    columns: Mapping[str, str]
    layer: str | None
    layer_remedy: str = "Set plots_layer in [files] to the one with the plots"
    optional: tuple[str, ...] = ()
    lines: bool = False

    def check(self, present: Iterable[str]) -> None:
        """Refuse a file that lacks a column.

        Parameters
        ----------
        present : Iterable[str]
            Columns that it has.

        Raises
        ------
        InputError
            For every column that is missing, with those that there are.
        """
        have = list(present)
        listed = ", ".join(have[:LISTED_MAX]) + (", ..." if len(have) > LISTED_MAX else "")
        faults = []
        for key, column in self.columns.items():
            if column not in have and key not in self.optional:
                near = difflib.get_close_matches(column, have, n=1)
                hint = f", perhaps to {near[0]!r}" if near else ""
                faults.append(
                    Fault(
                        self.name,
                        f"has no column {column!r}; its columns: {listed or 'none'}",
                        f"{self.column_remedy(key)}{hint}",
                    )
                )
        if faults:
            raise InputError(*faults)

    def check_plots(self, kind: str) -> None:
        """Refuse to read from a format of plots what isn't plots.

        Parameters
        ----------
        kind : str
            Name of the format.

        Raises
        ------
        InputError
            If features or reference land are asked for.
        """
        if "plot_id_column" not in self.columns:
            raise InputError(
                Fault(self.name, f"is {kind}, which is read for plots alone", "Use a GeoPackage")
            )

    def column_remedy(self, key: str) -> str:
        """Say what to do about a column that is missing.

        Parameters
        ----------
        key : str
            Key that names it; one that is no key of the plan is the column's own name.

        Returns
        -------
        str
            The remedy.
        """
        return "Rename the right column" if key == self.columns[key] else f"Set {key} in [files]"

    def present(self, have: Iterable[str]) -> dict[str, str]:
        """List the columns asked for that there are.

        Parameters
        ----------
        have : Iterable[str]
            Columns of the file.

        Returns
        -------
        dict[str, str]
            Their names, by key.
        """
        known = set(have)
        return {key: column for key, column in self.columns.items() if column in known}

    def choose(self, layers: Sequence[str]) -> str:
        """Pick the layer to read.

        Parameters
        ----------
        layers : Sequence[str]
            Layers that the file has.

        Returns
        -------
        str
            The one asked for, or the only one.

        Raises
        ------
        InputError
            If there is none, no such one, or several and none is asked for.
        """
        listed = ", ".join(layers[:LISTED_MAX])
        if not layers:
            raise InputError(Fault(self.name, "has no layer of outlines", "Export it again"))
        if self.layer is None:
            if len(layers) > 1:
                raise InputError(
                    Fault(
                        self.name,
                        f"has several layers: {listed}",
                        self.layer_remedy,
                    )
                )
            return layers[0]
        if self.layer not in layers:
            raise InputError(
                Fault(
                    self.name,
                    f"has no layer {self.layer!r}; its layers: {listed}",
                    "Correct plots_layer in [files]",
                )
            )
        return self.layer


@dataclass(frozen=True)
class Layer:
    """What a reader found, row by row.

    Attributes
    ----------
    columns : Mapping[str, numpy.ndarray]
        Values of each column asked for, as the file gives them, by the plan's key.
    geometry : numpy.ndarray
        Outlines; None where there is none or it can't be read.
    problem : numpy.ndarray
        Why an outline can't be read, or None.
    crs : pyproj.CRS | None
        CRS that the file states.
    done : numpy.ndarray
        What was mended on reading each outline, a tuple of phrases.
    remedy : numpy.ndarray | None, default None
        What to do about each problem, None where the outline is to be drawn again; None for all.
    lines : numpy.ndarray | None, default None
        Lines of a file of text that each row stands in, in words; None where rows are enough.
    """

    columns: Mapping[str, Objects]
    geometry: Objects
    problem: Objects
    crs: CRS | None
    done: Objects
    remedy: Objects | None = None
    lines: Objects | None = None

    def as_given(self) -> Objects:
        """Tell why each outline can't be used as it stands in the file.

        Returns
        -------
        numpy.ndarray
            ``problem``, and what was mended where that is not to pass.
        """
        problem = self.problem.copy()
        for row, what in enumerate(self.done):
            if what and problem[row] is None:
                problem[row] = f"the shape is broken: {', '.join(what)}"
        return problem


def with_missing(values: dict[str, Objects], wanted: Wanted, rows: int) -> dict[str, Objects]:
    """Add the columns asked for that a file doesn't have.

    Parameters
    ----------
    values : dict[str, numpy.ndarray]
        Values of the columns that it has, by key.
    wanted : Wanted
        What was asked for.
    rows : int
        Number of rows.

    Returns
    -------
    dict[str, numpy.ndarray]
        All columns, in the order asked for; None where there is no such column.
    """
    return {key: values.get(key, np.full(rows, None, dtype=object)) for key in wanted.columns}


def check_rows(rows: int, name: str) -> None:
    """Refuse a file that declares too many rows to be plots of a district.

    Parameters
    ----------
    rows : int
        Rows declared.
    name : str
        Name of the file as in the plan.

    Raises
    ------
    InputError
        If they are more than ``ROWS_MAX``.
    """
    if rows > ROWS_MAX:
        raise InputError(
            Fault(name, f"declares {rows:,} rows, more than {ROWS_MAX:,}", "Split the district")
        )


def objects(values: Sequence[Any]) -> Objects:
    """Put values in an array as they are, lists and geometries too.

    Parameters
    ----------
    values : Sequence[Any]
        Any values.

    Returns
    -------
    numpy.ndarray
        One-dimensional, of objects.
    """
    array = np.empty(len(values), dtype=object)
    for row, value in enumerate(values):
        array[row] = value
    return array


def decode(wkb: Objects) -> tuple[Objects, Objects, Objects]:
    """Turn well-known binary into outlines, one broken row at a time.

    Parameters
    ----------
    wkb : numpy.ndarray
        Bytes or None.

    Returns
    -------
    geometry : numpy.ndarray
        Outlines, None where there is none or it can't be read.
    problem : numpy.ndarray
        Why not, or None.
    done : numpy.ndarray
        What was mended, a tuple of phrases.
    """
    problem = np.full(len(wkb), None, dtype=object)
    done = objects([()] * len(wkb))
    try:
        with np.errstate(invalid="ignore"):
            geometry = shapely.from_wkb(wkb, on_invalid="ignore")
        doubtful = np.flatnonzero(shapely.is_missing(geometry))
    except NotImplementedError:
        # One curve stops the whole call, whatever is asked for invalid rows.
        geometry = np.full(len(wkb), None, dtype=object)
        doubtful = np.arange(len(wkb))
    for row in doubtful:
        if wkb[row] is not None:
            geometry[row], problem[row], done[row] = _decode_one(wkb[row])
    return geometry, problem, done


def _decode_one(wkb: bytes) -> tuple[object, str | None, tuple[str, ...]]:
    try:
        with np.errstate(invalid="ignore"):
            return shapely.from_wkb(wkb), None, ()
    except NotImplementedError:
        return None, "the outline has curves", ()
    except (ShapelyError, TypeError, ValueError) as error:
        problem = f"the outline can't be read ({_plain(error)})"
    with np.errstate(invalid="ignore"), contextlib.suppress(ShapelyError):
        # Only what is no more than open is read so: its points all stay.
        shape = shapely.from_wkb(wkb, on_invalid="fix")
        if isinstance(shape, shapely.Polygon | shapely.MultiPolygon) and not shape.is_empty:
            return shape, None, (CLOSED,)
    return None, problem, ()


def _plain(error: Exception) -> str:
    told = " ".join(str(error).split())[:120]
    return told.split("Exception: ", 1)[-1]
