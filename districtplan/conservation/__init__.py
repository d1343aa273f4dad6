"""What to do against soil loss, and where first: measures, their cost, a choice under a budget."""

from __future__ import annotations

from districtplan.conservation.catalogue import Measure, catalogue
from districtplan.conservation.propose import Known, Proposal, propose
from districtplan.conservation.vetoes import VETOES, Vetoes, accept_vetoes

__all__ = [
    "VETOES",
    "Known",
    "Measure",
    "Proposal",
    "Vetoes",
    "accept_vetoes",
    "catalogue",
    "propose",
]
