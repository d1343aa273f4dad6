"""Where to work first, for the page's script: hillsides in words, their lines, the curve."""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from districtplan.outputs import measure_words, work_words
from districtplan.outputs.not_read import not_read
from districtplan.outputs.page import palette, shapes

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from districtplan.outputs.texts import Texts
    from districtplan.outputs.work_words import Hill
    from districtplan.results import Results

    Objects = NDArray[np.object_]

AREA = 2
"""Dimensions of land: it is drawn by its edge."""
HILLS_MAX = 100
"""Hillsides that the page lists and draws; the workbook has all."""
VETOES_MAX = 100
"""Plots with vetoes that the page lists; all are in vetoes.csv, and each on its own card."""


def work(
    results: Results, listed: list[Hill], origin_deg: tuple[float, float], texts: Texts
) -> dict[str, Any]:
    """Gather what the view of where to work first shows.

    Parameters
    ----------
    results : Results
        The run.
    listed : list[Hill]
        The hillsides, in the order of work.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any]
        ``hills`` in words, their plots by place and id, those of this run; ``left_out``, the
        number of hillsides that aren't among them; streams of ``lines`` (with ``carries``: 1 where
        one leads water away), ``waterways`` and ``outlets``; how they were ``chosen``; ``curve``,
        ``walk``, ``vetoes`` and ``care``.
    """
    place = {plot_id: at for at, plot_id in enumerate(results.plots["plot_id"])}
    names = {hill.name for hill in listed}
    works = results.works

    def theirs(table: pd.DataFrame) -> pd.DataFrame:
        return table[table["work_site"].isin(names)]

    lines = theirs(works.lines)
    lines = lines[lines["structure_state"] == "drawn"]

    def packed(shape: Objects) -> dict[str, object]:
        drawn = np.asarray(shapely.simplify(shape, shapes.STEP_M), dtype=object).reshape(-1)
        return shapes.pack_lines(drawn, results.grid_crs, origin_deg)

    outlets = theirs(works.outlets)["geometry"].to_numpy(dtype=object)
    areas = shapely.get_dimensions(outlets) == AREA
    edges = np.where(areas, shapely.boundary(outlets), outlets)
    table = results.proposal.priorities.curve
    asked = results.plan.conservation
    return {
        "look": {"fill": palette.CHOSEN, "ink": palette.ink_on(palette.CHOSEN)},
        "hills": [
            {
                "name": hill.name,
                "summary": hill.summary,
                "why": hill.why,
                "rank": hill.rank,
                "plots": [
                    [place[p.plot_id], p.plot_id, *work_words.of_plot(p, texts)]
                    for p in hill.plots
                    if p.plot_id in place
                ],
                "steps": [[step.said, step.season, step.facts] for step in hill.steps],
                "notes": list(hill.notes),
            }
            for hill in listed
        ],
        "left_out": work_words.count(results) - len(listed),
        "lines": {
            "carries": lines["structure_outlet"].notna().astype(int).tolist(),
            **packed(lines["geometry"].to_numpy(dtype=object)),
        },
        "waterways": packed(theirs(works.waterways)["geometry"].to_numpy(dtype=object)),
        "outlets": packed(shapely.get_parts(edges)),
        "chosen": measure_words.how_chosen(results, texts) if listed else [],
        "curve": {
            "points": np.round(table.to_numpy(dtype=np.float64), 1).tolist(),
            "budget": asked.budget,
            "unit": measure_words.unit(results.plan, texts),
            "said": work_words.curve(results, texts),
        },
        "walk": [
            [place[row.plot_id], row.plot_id, row.walk_reasons]
            for row in measure_words.looked_at(results, texts).itertuples()
        ],
        "vetoes": [
            [place[plot_id], plot_id, " ".join(said)]
            for plot_id, said in islice(measure_words.vetoes(results, texts).items(), VETOES_MAX)
        ],
        "lead": [
            *measure_words.whose_matter(results, texts),
            *work_words.explained(results, texts),
            *not_read(results, texts),
        ],
        "care": work_words.care(texts)["caution"].tolist(),
    }
