"""Choice and works together: what hillsides need is known only once they are laid out.

A choice by work site is made anew with what laying out has told, until all of it is known of the
sites chosen: works that go with a site only add to its cost, and measures only fall away. So each
choice is the best of a problem that allows no less than the true one, and the last, which keeps the
budget in truth, is the best of that as well. Where single plots are chosen, those that save least
for their cost are given up until the works of their hillsides are paid, and the gap says what that
may lose.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np

from districtplan.conservation import knapsack
from districtplan.conservation.catalogue import catalogue
from districtplan.conservation.priorities import NOTHING, SITE, SITES, Learned, trimmed
from districtplan.conservation.propose import chosen_again
from districtplan.conservation.works import Drafts

if TYPE_CHECKING:
    import pandas as pd

    from districtplan.conservation.hillsides import Terrain
    from districtplan.conservation.propose import Known, Proposal
    from districtplan.conservation.works import Works
    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

ROUNDS_MAX = 20
"""Choices after which what is over the budget is given up."""


def lay_out(
    plots: pd.DataFrame,
    proposal: Proposal,
    terrain: Terrain,
    known: Known,
    plan: Plan,
    handbook: Handbook,
) -> tuple[Proposal, Works]:
    """Lay out the hillsides of a choice, and choose again until the budget pays for them.

    Parameters
    ----------
    plots : pandas.DataFrame
        As :func:`districtplan.conservation.propose.propose` takes them, with the columns of work
        sites.
    proposal : Proposal
        The first choice, which knows nothing of the works of hillsides.
    terrain : Terrain
        What lies on the hillsides, plots in the same order.
    known : Known
        What stands on the plots, and who takes part.
    plan : Plan
        What is wanted.
    handbook : Handbook
        The published tables.

    Returns
    -------
    proposal : Proposal
        The choice.
    works : Works
        Its works.
    """
    drafts = Drafts(plots, terrain, known, plan, handbook)
    works = drafts.works(proposal)
    budget, by_site = plan.conservation.budget, plan.conservation.choose_by == SITES
    carrying = {measure.name for measure in catalogue(handbook) if measure.carries_water}
    learned, unled = NOTHING, dict(works.unled)
    for _ in range(ROUNDS_MAX if by_site else 0):
        if not works.undrawn and (budget is None or _total(proposal, works) <= _least(budget)):
            break
        told = _measures(plots, proposal)
        charged = {(site, told[site] in carrying): cost for site, cost in works.charged.items()}
        learned = Learned({**learned.charged, **charged}, learned.undrawn | works.undrawn)
        proposal = chosen_again(proposal, plots, known, (plan, handbook), learned)
        works = drafts.works(proposal)
        unled.update(works.unled)
    if budget is not None:
        unit = SITE if by_site else "plot_id"
        while (total := _total(proposal, works)) > _least(budget):
            found = trimmed(proposal.priorities, plots, unit, total - budget)
            proposal = proposal.with_choice(found, plan, handbook, known.onsets)
            works = drafts.works(proposal)
        priorities = dataclasses.replace(proposal.priorities, spent=total)
        proposal = dataclasses.replace(proposal, priorities=priorities)
    there = _measures(plots, proposal)
    waiting = {site: refused for site, refused in sorted(unled.items()) if site not in there}
    if waiting:
        works = drafts.works(proposal, waiting)
    return _named(proposal, works, handbook), works


def _named(proposal: Proposal, works: Works, handbook: Handbook) -> Proposal:
    """Name, among what isn't costed, what goes with hillsides and has no labour."""
    there = {*proposal.priorities.not_costed, *(name for _, name in works.uncosted)}
    missing = tuple(
        measure.name
        for measure in catalogue(handbook)
        if measure.name in there and np.isnan(measure.days)
    )
    priorities = dataclasses.replace(proposal.priorities, not_costed=missing)
    return dataclasses.replace(proposal, priorities=priorities)


def _least(budget: float) -> float:
    return budget * (1 + 2 * knapsack.ROUND)


def _total(proposal: Proposal, works: Works) -> float:
    """Give what measures and the works of their hillsides take of a budget, each work once."""
    beside = sum(works.charged.values())
    return float(proposal.priorities.chosen["budget_used"].sum() + beside)


def _measures(plots: pd.DataFrame, proposal: Proposal) -> dict[str, str]:
    """Give the measure of each site."""
    chosen = proposal.priorities.chosen
    site = chosen["plot_id"].map(plots.set_index("plot_id")[SITE])
    return dict(zip(site, chosen["measure"].astype(object), strict=True))
