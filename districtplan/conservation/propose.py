"""The whole of it: from plots to what is proposed."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from districtplan.conservation.measures import Options, options
from districtplan.conservation.planting import nurseries
from districtplan.conservation.priorities import AWAY, CLOSED, Priorities, choose
from districtplan.conservation.vetoes import respect
from districtplan.conservation.walk_over import walk_over

if TYPE_CHECKING:
    import pandas as pd

    from districtplan.conservation.effects import Equations
    from districtplan.conservation.priorities import Learned
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

    def with_choice(
        self, found: Priorities, plan: Plan, handbook: Handbook, onsets: pd.DataFrame | None
    ) -> Proposal:
        """Put another choice in place of this one.

        Parameters
        ----------
        found : Priorities
            The choice.
        plan : Plan
            What is wanted.
        handbook : Handbook
            The published tables.
        onsets : pandas.DataFrame | None
            As :class:`Known` has them.

        Returns
        -------
        Proposal
            The same options with that choice, and what is raised for it.
        """
        raised = nurseries(found.chosen, plan, handbook, onsets)
        return Proposal(self.options, found, raised, self.walk_over)


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
    closed : frozenset[str]
        Ids of plots that are closed to planting.
    """

    standing: pd.DataFrame
    equations: Equations
    vetoes: pd.DataFrame | None = None
    taking_part: frozenset[str] | None = None
    onsets: pd.DataFrame | None = None
    closed: frozenset[str] = frozenset()

    def barred(self, plots: pd.DataFrame) -> dict[str, str]:
        """Say which plots nothing is chosen for.

        Parameters
        ----------
        plots : pandas.DataFrame
            ``plot_id``.

        Returns
        -------
        dict[str, str]
            Why, by id of the plot.
        """
        away = set() if self.taking_part is None else set(plots["plot_id"]) - self.taking_part
        return dict.fromkeys(away, AWAY) | dict.fromkeys(self.closed, CLOSED)


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
    chosen = choose(found, plots, plan, handbook, known.barred(plots))
    raised = nurseries(chosen.chosen, plan, handbook, known.onsets)
    return Proposal(found, chosen, raised, walk_over(plots))


def chosen_again(
    proposal: Proposal,
    plots: pd.DataFrame,
    known: Known,
    wanted: tuple[Plan, Handbook],
    learned: Learned,
) -> Proposal:
    """Choose again among the same options, with what laying out hillsides has told.

    Parameters
    ----------
    proposal : Proposal
        An earlier choice.
    plots : pandas.DataFrame
        As :func:`propose` takes them.
    known : Known
        What is known beside them.
    wanted : tuple[Plan, Handbook]
        What is wanted, and the published tables.
    learned : Learned
        What the works of hillsides cost, and what can't be built.

    Returns
    -------
    Proposal
        What is proposed.
    """
    found = choose(proposal.options, plots, *wanted, known.barred(plots), learned)
    return proposal.with_choice(found, *wanted, known.onsets)
