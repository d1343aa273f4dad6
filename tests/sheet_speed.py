"""How long 1,000 plot sheets take: ``python -m tests.sheet_speed``."""

from __future__ import annotations

import dataclasses
import time

import pandas as pd

from districtplan.outputs import sheets
from districtplan.outputs.texts import Texts
from districtplan.results import Results
from tests.outputs.conftest import make_results

SHEETS = 1_000


def many(plots_in_village: int) -> Results:
    """Repeat the small district's plots over villages, all of them to be printed."""
    results = make_results()
    copies = -(-SHEETS // len(results.plots))
    plots = pd.concat([results.plots] * copies, ignore_index=True).iloc[:SHEETS]
    names = [f"Village {number // plots_in_village:03d}" for number in range(SHEETS)]
    plots = plots.assign(plot_id=[f"P{number:04d}" for number in range(SHEETS)], village=names)
    villages = pd.DataFrame({"village": sorted(set(names))})
    asked = results.plan.sheets.model_copy(update={"plots": "all"})
    plan = results.plan.model_copy(update={"sheets": asked})
    return dataclasses.replace(results, plots=plots, villages=villages, plan=plan)


def main() -> None:
    """Time a few large villages and many small ones."""
    for size in (100, 25):
        results = many(size)
        start = time.perf_counter()
        files = sheets.draw(results, Texts.load("en")).files
        seconds = time.perf_counter() - start
        megabytes = sum(map(len, files.values())) / 1e6
        print(  # noqa: T201 - this script's result
            f"{SHEETS} sheets, {size} a village: {seconds:.1f} s, {len(files)} files, "
            f"{megabytes:.1f} MB"
        )


if __name__ == "__main__":
    main()
