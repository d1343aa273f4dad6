"""Tables as CSV: RFC 4180, UTF-8, and safe to open in a spreadsheet program."""

from __future__ import annotations

import csv
import io
from numbers import Integral, Real
from typing import TYPE_CHECKING

import pandas as pd

from districtplan.outputs.plot_table import dictionary, outline_table, village_table

if TYPE_CHECKING:
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

# Text that starts with one of these may be run as a formula; the last four are = + - @ full-width.
FORMULA_STARTS = (*"=+-@|%\t\r", "\uff1d", "\uff0b", "\uff0d", "\uff20")
# A carriage return in a cell starts a new row for some readers, and with it a formula: control
# characters are shown by their pictures.
PICTURES = {code: chr(0x2400 + code) for code in range(32)} | {127: "␡"}


def render(results: Results, _: Texts) -> dict[str, bytes]:
    """Write the tables that have no outlines.

    Parameters
    ----------
    results : Results
        The run.
    _ : Texts
        The words, which these tables don't need.

    Returns
    -------
    dict[str, bytes]
        ``villages.csv``, ``set_aside.csv``, ``outlines.csv`` (plots whose outline was mended or
        overlaps others) and ``columns.csv``; ``village_names.csv`` where spellings of villages look
        like others; ``readings.csv`` and
        ``readings_set_aside.csv`` where the plan names ground readings, ``features_set_aside.csv``
        where it names features, likewise of ``current_practice`` and ``soils``.
    """
    readings = {
        "readings.csv": write(results.readings.compared),
        "readings_set_aside.csv": write(results.readings.set_aside),
    }
    beside = {f"{key}_set_aside.csv": write(rows.set_aside) for key, rows in results.beside.items()}
    features = {"features_set_aside.csv": write(results.features.set_aside)}
    spellings = {"village_names.csv": write(results.village_names)}
    return {
        "villages.csv": write(village_table(results)),
        "set_aside.csv": write(results.set_aside),
        "outlines.csv": write(outline_table(results)),
        "columns.csv": write(dictionary(results)),
        **({} if results.village_names.empty else spellings),
        **({} if results.plan.files.readings is None else readings),
        **({} if results.plan.files.features is None else features),
        **beside,
    }


def write(table: pd.DataFrame) -> bytes:
    """Write one table.

    Parameters
    ----------
    table : pandas.DataFrame
        Text and numbers; what is unknown becomes an empty cell.

    Returns
    -------
    bytes
        The file.
    """
    target = io.StringIO(newline="")
    writer = csv.writer(target, lineterminator="\r\n")
    writer.writerow(table.columns)
    columns = [table[name].tolist() for name in table]
    writer.writerows([cell(value) for value in row] for row in zip(*columns, strict=True))
    return target.getvalue().encode("utf-8")


def cell(value: object) -> str:
    """Write one cell.

    Parameters
    ----------
    value : object
        Text, a number or nothing.

    Returns
    -------
    str
        The cell's text, before quoting.
    """
    if value is None or value is pd.NA or (isinstance(value, float) and pd.isna(value)):
        return ""
    if isinstance(value, Integral):
        return str(int(value))
    if isinstance(value, Real):
        return repr(float(value))
    text = str(value)
    shown = text.translate(PICTURES)
    guarded = text.startswith(FORMULA_STARTS) or text.lstrip().startswith(FORMULA_STARTS)
    return f"'{shown}" if guarded else shown
