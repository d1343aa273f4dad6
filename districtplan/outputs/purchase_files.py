"""What is bought, for whom, when and at what cost: each table as CSV and as Parquet."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from districtplan.outputs.purchase_tables import purchase_tables
from districtplan.outputs.tables_csv import write

if TYPE_CHECKING:
    import pandas as pd

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results


def render(results: Results, _: Texts) -> dict[str, bytes]:
    """Write what is bought.

    Parameters
    ----------
    results : Results
        The run.
    _ : Texts
        The words, which these tables don't need.

    Returns
    -------
    dict[str, bytes]
        ``purchase/<table>.csv`` and ``purchase/<table>.parquet`` of each table that has rows.
    """
    files = {}
    for name, table in purchase_tables(results).items():
        if len(table):
            files[f"purchase/{name}.csv"] = write(table)
            files[f"purchase/{name}.parquet"] = _parquet(table)
    return files


def _parquet(table: pd.DataFrame) -> bytes:
    target = io.BytesIO()
    table.to_parquet(target, index=False)
    return target.getvalue()
