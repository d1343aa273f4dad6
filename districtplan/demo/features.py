"""The demo's features: streams, paths, waterways, a slope that slips, as staff would draw them."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

from districtplan.demo.ground import CELL_M, NORTH_M, ROWS, WEST_M, hollows

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from districtplan.demo.fields import Field
    from districtplan.demo.ground import Ground

    Floats = NDArray[np.float64]

SPRINGS_M = (800.0, 4_200.0)
"""How far north of the south edge streams rise: on the slopes on both sides of the valley."""
BROOKS_M = ((4_562.0, 2_129.0), (6_067.0, 957.0))
"""Where brooks rise, metres east and north of the south-west corner: one just below a hillside that
has no other outlet for its water, one above a field that water runs onto."""
BROOKS = ("Temmirila", "Osquavendi")
"""What they are called."""
STEP_M = 20.0
STEPS = 80
UP, DOWN, ALONG = 1.0, -1.0, 1j
"""Ways to walk: turns from uphill in the plane of complex numbers."""
LEVEL = 0.03
"""Where the ground falls less, a stream has reached the floor of the valley."""
PATHS = ("Gorrimbasi", "Eshtovala")
"""Villages with a path along the hillside."""
PATH_M = 240.0
WATERWAYS = {"Dovimbeka": "Vellombri", "Oqualime": "Quastimo", "Belvorani": "Ruvendikka"}
"""Villages with a grassed waterway down through their fields, and what each is called."""
WATERWAY_M = 200.0
"""How far it begins above the middle, and how far below it ends."""
SLIPS = "Morvindaka"
"""Village with a slope that slips."""
SLIP_M = 40.0


class Feature(NamedTuple):
    """One feature.

    Attributes
    ----------
    kind : str
        Its kind, as staff write it.
    shape : shapely.Geometry
        Where it lies [m].
    name : str | None
        What it is called.
    """

    kind: str
    shape: shapely.Geometry
    name: str | None = None


def make(ground: Ground, fields: list[Field]) -> list[Feature]:
    """Draw the features.

    Parameters
    ----------
    ground : Ground
        The hills.
    fields : list[Field]
        The fields.

    Returns
    -------
    list[Feature]
        Streams down the hollows, brooks into them, paths, waterways, a slope that slips and, last,
        a feature of a kind that isn't known.
    """
    found = _streams(ground)
    # The first field of a village is its middle one.
    middle = {field.village: field.outline.centroid for field in reversed(fields)}
    found += [Feature("path", _path(ground, middle[village])) for village in PATHS]
    found += [
        Feature("waterway", _waterway(ground, middle[village]), name)
        for village, name in WATERWAYS.items()
    ]
    slips = shapely.Point(middle[SLIPS].x, middle[SLIPS].y + 1.5 * SLIP_M)
    found.append(Feature("slipping ground", slips.buffer(SLIP_M, quad_segs=4)))
    return [*found, Feature("bridge", found[0].shape)]


def _streams(ground: Ground) -> list[Feature]:
    streams = _courses(ground, [(x, y) for y in SPRINGS_M for x in hollows(y)])
    brooks = zip(_courses(ground, BROOKS_M), BROOKS, strict=True)
    named = [Feature("stream", _to_next(brook, streams), name) for brook, name in brooks]
    return [*(Feature("stream", line) for line in streams), *named]


def _courses(ground: Ground, springs: Sequence[tuple[float, float]]) -> list[shapely.LineString]:
    corner = np.array([WEST_M, NORTH_M - ROWS * CELL_M])
    path = _walk(ground, corner + np.array(springs), STEPS, DOWN)
    lines = []
    for course in np.swapaxes(path, 0, 1):
        fall = np.hypot(*ground.gradient(course).T)
        length = int(np.argmax(np.append(fall < LEVEL, True)))
        if length > 1:
            lines.append(shapely.LineString(course[:length]))
    return lines


def _to_next(
    brook: shapely.LineString, streams: Sequence[shapely.LineString]
) -> shapely.LineString:
    """End a brook in the first stream that it comes near, if there is one."""
    waters, points = shapely.union_all(streams), shapely.get_coordinates(brook)
    near = np.flatnonzero(shapely.dwithin(shapely.points(points), waters, STEP_M))
    if not len(near):
        return brook
    leg = shapely.shortest_line(shapely.Point(points[near[0]]), waters)
    into = shapely.get_coordinates(leg)[1:]
    return shapely.LineString(np.concatenate([points[: near[0] + 1], into]))


def _path(ground: Ground, at: shapely.Point) -> shapely.LineString:
    start = np.array([[at.x, at.y]])
    ways = [_walk(ground, start, int(PATH_M / STEP_M), ALONG * side)[:, 0] for side in (-1, 1)]
    return shapely.LineString(np.concatenate([ways[0][:0:-1], ways[1]]))


def _waterway(ground: Ground, at: shapely.Point) -> shapely.LineString:
    start, steps = np.array([[at.x, at.y]]), int(WATERWAY_M / STEP_M)
    above, below = (_walk(ground, start, steps, way)[:, 0] for way in (UP, DOWN))
    return shapely.LineString(np.concatenate([above[:0:-1], below]))


def _walk(ground: Ground, start: Floats, steps: int, way: complex) -> Floats:
    """Walk a way that is turned from uphill; shape (steps + 1, starts, 2)."""
    path = [start]
    for _ in range(steps):
        east, north = ground.gradient(path[-1]).T
        up = (east + 1j * north) / np.maximum(np.hypot(east, north), LEVEL)
        step = STEP_M * way * up
        path.append(path[-1] + np.stack([step.real, step.imag], axis=1))
    return np.stack(path)
