"""Demonstration plots as tables: those chosen, and all that the choice rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from districtplan.outputs.plot_table import demo_tables
from districtplan.outputs.tables_csv import write

if TYPE_CHECKING:
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results


def render(results: Results, _: Texts) -> dict[str, bytes]:
    """Write them.

    Parameters
    ----------
    results : Results
        The run.
    _ : Texts
        The words, which these tables don't need.

    Returns
    -------
    dict[str, bytes]
        ``demos.csv`` and ``demos/….csv``, where the plan asks for demonstration plots.
    """
    return {f"{name}.csv": write(table) for name, table in demo_tables(results).items()}
