"""The whole of it: from plots to what is proposed."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from districtplan.conservation.measures import Options, options
from districtplan.conservation.planting import nurseries
from districtplan.conservation.priorities import Priorities, choose
from districtplan.conservation.vetoes import respect
from districtplan.conservation.walk_over import walk_over

if TYPE_CHECKING:
    import pandas as pd

    from districtplan.conservation.effects import Equations
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan


FIRST = ("measure_order", "plot_id", "village", "measure", "chosen_by", "budget_used")
"""Columns of a choice that come first where it is listed."""


@dataclass(frozen=True)
class Proposal:
    """What may be done, what to do first, and where to look before.

    Attributes
    ----------
    options : Options
        Every plot beside every measure, vetoes respected.
    priorities : Priorities
        What is chosen within the budget.
    nurseries : pandas.DataFrame
        What is to be raised for that, by village.
    walk_over : pandas.DataFrame
        The least certain plots.
    """

    options: Options
    priorities: Priorities
    nurseries: pd.DataFrame
    walk_over: pd.DataFrame

    @functools.cached_property
    def chosen(self) -> pd.DataFrame:
        """Give the measures chosen with what each takes, saves and leaves.

        Returns
        -------
        pandas.DataFrame
            One row a plot, in the order of work.
        """
        return self.priorities.chosen[list(FIRST)].merge(
            self.options.offered, on=["plot_id", "measure"], how="left", validate="one_to_one"
        )


@dataclass(frozen=True)
class Known:
    """What is known beside the plots.

    Attributes
    ----------
    standing : pandas.DataFrame
        What stands on them: see :func:`districtplan.conservation.land.land_of`.
    equations : Equations
        LS and P of rows on the contour; the erosion stage has them.
    vetoes : pandas.DataFrame | None
        Rows used of :func:`districtplan.conservation.vetoes.accept_vetoes`.
    taking_part : frozenset[str] | None
        Ids of plots that take part; None where that isn't known.
    onsets : pandas.DataFrame | None
        ``village`` and ``onset_usual`` of those whose zone has its own.
    """

    standing: pd.DataFrame
    equations: Equations
    vetoes: pd.DataFrame | None = None
    taking_part: frozenset[str] | None = None
    onsets: pd.DataFrame | None = None


def propose(plots: pd.DataFrame, known: Known, plan: Plan, handbook: Handbook) -> Proposal:
    """Propose measures against soil loss.

    Parameters
    ----------
    plots : pandas.DataFrame
        One row a plot: the columns of intake, terrain, water, drainage, rows, erosion, inputs and
        work sites.
    known : Known
        What is known beside them.
    plan : Plan
        What is wanted.
    handbook : Handbook
        The published tables.

    Returns
    -------
    Proposal
        What is proposed.

    Raises
    ------
    PlanError
        If the plan asks for a choice by labour that the handbook has no figures for.
    """
    found = options(plots, known.standing, known.equations, plan, handbook)
    if known.vetoes is not None:
        found = respect(found, known.vetoes)
    chosen = choose(found.offered, plots, plan, handbook)
    raised = nurseries(chosen.chosen, plan, handbook, known.onsets)
    return Proposal(found, chosen, raised, walk_over(plots))
