"""The demo's broken rows, one of each kind that a real district's file brings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import shapely
from shapely import affinity

from districtplan.demo.ground import CELL_M, COLUMNS

if TYPE_CHECKING:
    from districtplan.demo.fields import Field


@dataclass(frozen=True)
class Broken:
    """A row that can't be used.

    Attributes
    ----------
    plot_id : str | None
        Its id.
    village : str | None
        Its village.
    shape : shapely.Geometry | None
        What stands in place of an outline.
    fault : str
        What is wrong with it, for the demo's own README.
    """

    plot_id: str | None
    village: str | None
    shape: shapely.Geometry | None
    fault: str


def _bow_tie(outline: shapely.Polygon) -> shapely.Polygon:
    west, south, east, north = outline.bounds
    return shapely.Polygon([(west, south), (east, north), (east, south), (west, north)])


def make(fields: list[Field]) -> list[Broken]:
    """Break copies of some fields.

    Parameters
    ----------
    fields : list[Field]
        The good fields.

    Returns
    -------
    list[Broken]
        One row of each fault; the duplicate id also spoils the field that it repeats.
    """
    step = len(fields) // 9
    like = [fields[step * number] for number in range(9)]
    outline = [field.outline for field in like]
    beyond = affinity.translate(outline[4], COLUMNS * CELL_M, 0.0)
    sliver = affinity.scale(outline[5], 0.5, 0.01)
    village = [field.village for field in like]
    return [
        Broken("NEW-001", village[0], _bow_tie(outline[0]), "outline crosses itself"),
        Broken(
            like[1].plot_id, village[1], outline[1], f"same id as another row: {like[1].plot_id}"
        ),
        Broken("NEW-003", " ", outline[2], "village left blank"),
        Broken("NEW-004", village[3], None, "no outline at all"),
        Broken("NEW-005", village[4], beyond, "outline off the elevation raster"),
        Broken("NEW-006", village[5], sliver, "a sliver, too small to plan"),
        Broken("NEW-007", village[6], outline[6].centroid, "a point in place of an outline"),
        Broken("NEW-008", village[7], shapely.Polygon(), "an outline without corners"),
        Broken(None, village[8], outline[8], "id left blank"),
    ]
