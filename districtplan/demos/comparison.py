"""Two halves of a demonstration plot, so that what they yield can be compared.

The halves lie side by side across the slope, of one area, on both sides of a bund or path that
runs straight down: neither drains into the other. Which of them gets the message is drawn by lot.
In each a net plot of the same size, with rows of the same length, is harvested and weighed, both at
the same height and as far from the path; what borders on anything else is left out.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely
from shapely import affinity

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from districtplan.handbook import Handbook

TABLE = "demo_comparison"
Side = Literal["left", "right"]
HEIGHTS = 41
"""Places up and down the slope at which net plots are tried."""
LINE = 2
"""Points that a line has at least."""
HALVINGS = 40
"""Steps that bring both halves to the same area: to far less than a square centimetre."""


@dataclass(frozen=True)
class Rules:
    """How a comparison is laid out.

    Attributes
    ----------
    net_rows : int
        Rows of a net plot.
    net_length_m : float
        Length of each of them [m].
    border_m : tuple[float, float]
        What is left out along and across rows, besides [m].
    divide_m : float
        Breadth of the bund or path between the halves [m].
    row_spacing_m : float
        Between rows, on the map [m].
    """

    net_rows: int
    net_length_m: float
    border_m: tuple[float, float]
    divide_m: float
    row_spacing_m: float

    @classmethod
    def of(cls, book: Handbook, row_spacing_m: float) -> Rules:
        """Take the usual layout at a row spacing.

        Parameters
        ----------
        book : Handbook
            Its table ``demo_comparison``.
        row_spacing_m : float
            Between rows, on the map [m].

        Returns
        -------
        Rules
            The layout.
        """

        def number(name: str) -> float:
            return book.number(TABLE, name)

        return cls(
            int(number("net_rows")),
            number("net_length_m"),
            (number("border_end_m"), number("border_rows") * row_spacing_m),
            number("divide_m"),
            row_spacing_m,
        )

    @property
    def net_area_m2(self) -> float:
        """Area that a net plot stands for, on the map [m²]: a row has half a space on each side.

        Returns
        -------
        float
            Rows times spacing times length.
        """
        return self.net_rows * self.row_spacing_m * self.net_length_m


@dataclass(frozen=True)
class Halves:
    """A plot in two halves, in the CRS of its outline, looking uphill.

    Attributes
    ----------
    left : BaseGeometry
        The half on the left hand of one who looks uphill.
    right : BaseGeometry
        The other.
    divide : shapely.LineString
        Middle of the bund or path, from its upper end to its lower one.
    net_left : shapely.Polygon
        The net plot of the left half.
    net_right : shapely.Polygon
        That of the right one, its mirror image.
    """

    left: BaseGeometry
    right: BaseGeometry
    divide: shapely.LineString
    net_left: shapely.Polygon
    net_right: shapely.Polygon


def halve(
    planted: BaseGeometry, bearing_deg: float, downhill_deg: float, rules: Rules
) -> Halves | None:
    """Lay two halves out.

    Parameters
    ----------
    planted : BaseGeometry
        What is planted of the plot, in metres.
    bearing_deg : float
        Direction of its rows from grid north [degrees].
    downhill_deg : float
        Which way it falls, from grid north [degrees].
    rules : Rules
        The layout.

    Returns
    -------
    Halves | None
        The halves, of one area to a square centimetre; None where two net plots of the size asked
        for have no room at one height.
    """
    # Rows lie along x, downhill is towards negative y: looking uphill, left is west.
    ahead = bearing_deg if np.cos(np.radians(bearing_deg - downhill_deg + 90)) >= 0 else (
        bearing_deg + 180
    )  # fmt: skip
    turn, origin = ahead - 90, shapely.centroid(planted)
    flat = affinity.rotate(planted, turn, origin=origin)
    if flat.is_empty:
        return None
    middle = _middle(flat, rules.divide_m)
    left, right = _sides(flat, middle, rules.divide_m)
    nets = _nets(left, right, middle, rules)
    if nets is None:
        return None
    _, south, _, north = flat.bounds
    # Its ends are where a team finds the land to begin and to end, not beyond in a bay of it.
    whole = shapely.LineString([(middle, north), (middle, south)])
    inside = shapely.get_coordinates(shapely.intersection(whole, flat))
    if len(inside) < LINE:
        # Land that water or a path parts just there has no edge on the line.
        inside = shapely.get_coordinates(shapely.intersection(whole, shapely.convex_hull(flat)))
    divide = shapely.LineString(inside[np.argsort(-inside[:, 1])[[0, -1]]])
    return Halves(
        affinity.rotate(left, -turn, origin=origin),
        affinity.rotate(right, -turn, origin=origin),
        affinity.rotate(divide, -turn, origin=origin),
        affinity.rotate(nets[0], -turn, origin=origin),
        affinity.rotate(nets[1], -turn, origin=origin),
    )


def _middle(flat: BaseGeometry, divide_m: float) -> float:
    """Find where a line straight down leaves the same area on both sides."""
    west, _, east, _ = flat.bounds
    for _ in range(HALVINGS):
        middle = (west + east) / 2
        left, right = _sides(flat, middle, divide_m)
        west, east = (middle, east) if left.area < right.area else (west, middle)
    return float((west + east) / 2)


def _sides(flat: BaseGeometry, middle: float, divide_m: float) -> tuple[BaseGeometry, BaseGeometry]:
    west, south, east, north = flat.bounds
    half = divide_m / 2
    return (
        shapely.intersection(flat, shapely.box(west - 1, south, middle - half, north)),
        shapely.intersection(flat, shapely.box(middle + half, south, east + 1, north)),
    )


def _nets(
    left: BaseGeometry, right: BaseGeometry, middle: float, rules: Rules
) -> tuple[shapely.Polygon, shapely.Polygon] | None:
    """Find mirrored net plots with their borders, as near to the middle height as they fit."""
    _, low, _, high = shapely.union(left, right).bounds
    mirrored = affinity.scale(right, xfact=-1, origin=(middle, 0))
    room = shapely.intersection(left, mirrored)
    along, across = rules.border_m
    wide = rules.net_length_m + 2 * along
    tall = rules.net_rows * rules.row_spacing_m + 2 * across
    west, _, east, _ = room.bounds if not room.is_empty else (0.0, 0.0, 0.0, 0.0)
    heights = np.linspace(low, high, HEIGHTS)
    heights = heights[np.argsort(np.abs(heights - (low + high) / 2), kind="stable")]
    starts = np.linspace(west, max(west, east - wide), HEIGHTS)
    starts = starts[np.argsort(np.abs(starts + wide / 2 - (west + east) / 2), kind="stable")]
    places = [(x, y - tall / 2) for y in heights.tolist() for x in starts.tolist()]
    x, y = np.array(places).T
    boxes = shapely.box(x, y, x + wide, y + tall)
    shapely.prepare(room)
    fits = np.flatnonzero(shapely.covers(room, boxes))
    if not len(fits):
        return None
    x0, y0 = places[int(fits[0])]
    net = shapely.box(x0 + along, y0 + across, x0 + wide - along, y0 + tall - across)
    return net, affinity.scale(net, xfact=-1, origin=(middle, 0))


def treated_side(plot_id: str, seed: int) -> Side:
    """Draw by lot which half gets the message.

    Parameters
    ----------
    plot_id : str
        Id of the plot.
    seed : int
        Seed of the plan: the same draws the same for a plot, whatever others there are.

    Returns
    -------
    str
        ``left`` or ``right``, looking uphill.
    """
    drawn = hashlib.sha256(f"{seed}:{plot_id}".encode()).digest()
    return "left" if drawn[0] & 1 == 0 else "right"


def rows_up_and_down(slope_pct: float, slope_max_pct: float) -> bool:
    """Say whether rows up and down may stand beside rows across for comparison.

    Parameters
    ----------
    slope_pct : float
        Slope of the plot [%]; NaN where it isn't known.
    slope_max_pct : float
        Steepest on which they may [%].

    Returns
    -------
    bool
        Whether they may; never where the slope isn't known.
    """
    return bool(slope_pct <= slope_max_pct)


def dry_yield_kg_ha(net_weight_kg: float, net_area_m2: float) -> float:
    """Turn what a net plot weighed into a yield.

    Parameters
    ----------
    net_weight_kg : float
        Grain of the net plot, dried [kg].
    net_area_m2 : float
        Its area on the map [m²].

    Returns
    -------
    float
        Yield [kg/ha]: weight over area, ten thousand square metres to the hectare.
    """
    return 10_000 * net_weight_kg / net_area_m2
