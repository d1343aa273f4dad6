"""Measures against soil loss: what to do first, where to look before, what to raise."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pandas as pd

from districtplan.outputs.measure_words import cautions, work_cautions
from districtplan.outputs.plot_table import joined, veto_table, with_hillside, with_villages
from districtplan.outputs.tables_csv import write
from districtplan.outputs.work_words import care

if TYPE_CHECKING:
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results


def render(results: Results, texts: Texts) -> dict[str, bytes]:
    """Write what is proposed.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words, of cautions alone.

    Returns
    -------
    dict[str, bytes]
        ``measures.csv``: the measures chosen, in the order of work; ``work_order.csv``: the works
        of each hillside; ``walk_over.csv``: the least certain plots; ``nurseries.csv``: what is
        raised for the measures; ``left_out.csv``: plots without tonnes that aren't chosen; and
        ``measure_options.parquet``: every plot beside every measure, with the reason where it
        isn't offered. ``vetoes.csv`` has what staff ruled out, if they did; ``cautions.csv`` what
        to mind before any of it is begun.
    """
    proposal, stop = results.proposal, texts.say("cautions.slipping")
    raised = proposal.nurseries
    walk = proposal.walk_over.assign(walk_reasons=proposal.walk_over["walk_reasons"].map("; ".join))
    every = pd.concat([proposal.options.offered, proposal.options.refused], ignore_index=True)
    target = io.BytesIO()
    every.to_parquet(target, index=False)
    vetoes = veto_table(results)
    chosen = with_hillside(proposal.chosen, results)
    order = results.works.order
    works = joined(with_villages(order, results))
    return {
        "measures.csv": write(chosen.assign(caution=cautions(chosen["measure"], results, texts))),
        "work_order.csv": write(works.assign(caution=work_cautions(order, results, texts))),
        "cautions.csv": write(care(texts)),
        "walk_over.csv": write(walk.assign(caution=stop)),
        "nurseries.csv": write(raised.assign(caution=cautions(raised["measure"], results, texts))),
        "left_out.csv": write(proposal.priorities.left_out.assign(caution=stop)),
        "measure_options.parquet": target.getvalue(),
        **({"vetoes.csv": write(vetoes)} if len(vetoes) else {}),
    }
