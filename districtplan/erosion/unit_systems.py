"""Unit systems of R and K, each converted once, on the way in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from districtplan.handbook import Handbook

Quantity = Literal["rain_erosivity", "erodibility"]
SYSTEMS = ("si", "us", "technical")
"""SI; US customary; and the metric-technical system, with tonnes-force."""


def to_si(quantity: Quantity, system: str, handbook: Handbook) -> float:
    """Give the factor that turns a quantity of a unit system into SI.

    Parameters
    ----------
    quantity : Quantity
        Rain erosivity R or erodibility K.
    system : str
        One of ``SYSTEMS``.
    handbook : Handbook
        The published tables.

    Returns
    -------
    float
        Factor; R is then in MJ mm/(ha h yr), K in t ha h/(ha MJ mm).

    Raises
    ------
    ValueError
        If the system isn't known.
    """
    if system not in SYSTEMS:
        raise ValueError(f"unit system {system!r} is none of {', '.join(SYSTEMS)}")
    if system == "si":
        return 1.0
    return handbook.number("soil_ranges", f"{quantity}_{system}_to_si")
