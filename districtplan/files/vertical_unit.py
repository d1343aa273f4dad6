"""The unit of heights: what the file states and what the plan says, never guessed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from districtplan.errors import Fault, InputError

if TYPE_CHECKING:
    from typing import Any

    from numpy.typing import NDArray

    from districtplan.files.tile import Tile
    from districtplan.grid import Window

METRES = {"metre": 1.0, "foot": 0.3048, "US survey foot": 1200 / 3937}
"""Metres in each unit, by its name in the plan; those of feet are exact by definition."""
WRITTEN = {
    "metre": ("m", "metre", "metres", "meter", "meters"),
    "foot": ("ft", "foot", "feet", "international foot"),
    "US survey foot": ("us survey foot", "us-ft", "ftus", "us_survey_foot", "us foot", "foot_us"),
}
"""How files write them."""
SHOWN_MAX = 40


def in_metres(tile: Tile, given: str | None) -> Tile:
    """Give a tile whose heights are in metres.

    Parameters
    ----------
    tile : Tile
        The tile as its file has it.
    given : str | None
        Unit in the plan, if it gives one.

    Returns
    -------
    Tile
        The tile; multiplied only where the plan says that its heights are in feet.

    Raises
    ------
    InputError
        If the file states another unit than the plan, or feet where the plan says nothing, or
        nothing where its map is in feet.
    """
    unit = _settled(tile, given)
    if unit == "metre":
        return tile
    factor, read = METRES[unit], tile.read

    def scaled(window: Window) -> NDArray[np.floating[Any]]:
        return read(window).astype(np.float64) * factor

    return replace(tile, read=scaled)


def _settled(tile: Tile, given: str | None) -> str:
    stated = tile.stated_unit.strip().lower()
    known = next((unit for unit, written in WRITTEN.items() if stated in written), None)
    shown = stated[:SHOWN_MAX]
    if known == "metre" and given is None:
        return known
    if not stated and given is None:
        axis = tile.grid.crs.axis_info[0].unit_name
        if "foot" in axis.lower():
            raise InputError(
                Fault(
                    tile.name,
                    f"has a map in {axis!r} and doesn't say whether its heights are in feet too",
                    'Set vertical_unit in [elevation]: "foot", "US survey foot" or "metre"',
                )
            )
        return "metre"
    if given is not None:
        if not stated or given == known:
            return given
        raise InputError(
            Fault(
                tile.name,
                f"says that its heights are in {shown!r}, the plan in {given!r}",
                "Correct vertical_unit in [elevation], or the unit that the file states",
            )
        )
    remedy = "Convert them to metres in a GIS"
    if known is not None:
        remedy += f', or set vertical_unit = "{known}" in [elevation] if that is right'
    raise InputError(Fault(tile.name, f"has heights in {shown!r}", remedy))
