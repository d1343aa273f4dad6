"""The demo's fields: patchworks along the hillside around invented villages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from districtplan.demo.ground import CELL_M, COLUMNS, NORTH_M, ROWS, WEST_M

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from districtplan.demo.ground import Ground

# Each village has a hillside of its own: name, slope looked for [%], fields wanted.
VILLAGES = (
    ("Asquembo", 0.26, 44),
    ("Belvorani", 34.0, 40),
    ("Cuddrisso", 8.0, 52),
    ("Dovimbeka", 22.0, 47),
    ("Eshtovala", 13.0, 41),
    ("Fenquara", 0.2, 38),
    ("Gorrimbasi", 17.0, 50),
    ("Hulvetto", 48.0, 29),
    ("Imbrasque", 5.0, 45),
    ("Jovendrika", 26.0, 43),
    ("Kestumoro", 10.0, 48),
    ("Luvaquessi", 2.0, 39),
    ("Morvindaka", 19.0, 46),
    ("Nyxambeli", 15.0, 42),
    ("Oqualime", 30.0, 37),
    ("Pelzundro", 11.5, 49),
)
VILLAGE_DISTANCE_M = 850.0
EDGE_M = 450.0
MESH_M = 10.0
HALF_MESH = 32
WOBBLE_M = 1.1
BALK_M = 1.5
AREA_M2 = (520.0, 11_900.0)
COMPACT_MIN = 0.32
FALLOW_SHARE = 0.12


@dataclass(frozen=True)
class Field:
    """One field.

    Attributes
    ----------
    plot_id : str
        Its id.
    village : str
        Its village.
    outline : shapely.Polygon
        Its outline [m].
    """

    plot_id: str
    village: str
    outline: shapely.Polygon


def _sites(ground: Ground) -> Iterator[tuple[str, int, NDArray[np.float64]]]:
    # For each village in turn the place whose slope fits best, away from the others.
    edge = int(EDGE_M / CELL_M)
    row, column = np.mgrid[edge : ROWS - edge : 4, edge : COLUMNS - edge : 4]
    place = np.stack(
        [WEST_M + (column.ravel() + 0.5) * CELL_M, NORTH_M - (row.ravel() + 0.5) * CELL_M], axis=1
    )
    slope = 100 * np.hypot(*ground.gradient(place).T)
    for name, wanted, fields in VILLAGES:
        best = int(np.argmin(np.abs(slope - wanted)))
        yield name, fields, place[best]
        slope[np.hypot(*(place - place[best]).T) < VILLAGE_DISTANCE_M] = np.inf


def _walk(
    ground: Ground, start: NDArray[np.float64], sense: tuple[float, float], steps: int
) -> NDArray[np.float64]:
    # Places met from each start, shape (steps + 1, starts, 2); sense is (along, up).
    along, up = sense
    path = [start]
    for _ in range(steps):
        slope = ground.gradient(path[-1])
        slope = slope / np.maximum(np.hypot(*slope.T), 1e-9)[:, None]
        level = np.stack([-slope[:, 1], slope[:, 0]], axis=1)
        path.append(path[-1] + MESH_M * (along * level + up * slope))
    return np.stack(path)


def _mesh(ground: Ground, centre: NDArray[np.float64]) -> NDArray[np.float64]:
    # Points along the contour through the village, and from each up and down the fall line.
    left = _walk(ground, centre[None, :], (-1, 0), HALF_MESH)[:0:-1, 0]
    right = _walk(ground, centre[None, :], (1, 0), HALF_MESH)[:, 0]
    key_line = np.concatenate([left, right])
    down = _walk(ground, key_line, (0, -1), HALF_MESH)[:0:-1]
    up = _walk(ground, key_line, (0, 1), HALF_MESH)
    return np.concatenate([down, up])


def _cuts(random: np.random.Generator, shortest: int, longest: int) -> Iterator[tuple[int, int]]:
    at = int(random.integers(0, shortest))
    while True:
        to = at + int(random.integers(shortest, longest + 1))
        if to > 2 * HALF_MESH:
            return
        yield at, to
        at = to


def _outline(mesh: NDArray[np.float64], rows: slice, columns: slice) -> shapely.Geometry:
    block = mesh[rows, columns]
    ring = np.concatenate([block[0], block[1:, -1], block[-1, -2::-1], block[-2:0:-1, 0]])
    # A balk, left unploughed, parts each field from its neighbours.
    shape = shapely.simplify(shapely.buffer(shapely.Polygon(ring), -BALK_M, quad_segs=2), 0.3)
    return shapely.transform(shape, lambda points: np.round(points, 2))


def _fit(shape: shapely.Polygon, village: shapely.Point) -> bool:
    if shape.is_empty or not shape.is_valid:
        return False
    inside = shapely.box(
        WEST_M, NORTH_M - ROWS * CELL_M, WEST_M + COLUMNS * CELL_M, NORTH_M
    ).buffer(-4 * CELL_M)
    compact = 4 * np.pi * shape.area / shape.length**2
    return bool(
        AREA_M2[0] <= shape.area <= AREA_M2[1] and compact >= COMPACT_MIN and inside.contains(shape)
    )


def _patchwork(
    random: np.random.Generator, ground: Ground, centre: NDArray[np.float64]
) -> list[shapely.Polygon]:
    mesh = _mesh(ground, centre)
    mesh = mesh + random.normal(0, WOBBLE_M, mesh.shape)
    shapes = [
        _outline(mesh, slice(low, high + 1), slice(left, right + 1))
        for low, high in _cuts(random, 2, 8)
        for left, right in _cuts(random, 3, 12)
    ]
    keep = random.random(len(shapes)) >= FALLOW_SHARE
    village = shapely.Point(centre)
    fields = [
        shape
        for shape, kept in zip(shapes, keep, strict=True)
        if kept and isinstance(shape, shapely.Polygon) and _fit(shape, village)
    ]
    return sorted(fields, key=lambda field: field.centroid.distance(village))


def make(random: np.random.Generator, ground: Ground) -> list[Field]:
    """Lay out the fields of every village.

    Parameters
    ----------
    random : numpy.random.Generator
        Source of all that is random.
    ground : Ground
        The hills.

    Returns
    -------
    list[Field]
        The fields, village by village; none overlaps another.
    """
    fields: list[Field] = []
    for village, wanted, centre in _sites(ground):
        taken: list[shapely.Polygon] = []
        for outline in _patchwork(random, ground, centre):
            others = np.array([field.outline for field in fields] + taken, dtype=object)
            if len(taken) < wanted and not shapely.intersects(others, outline).any():
                taken.append(outline)
        fields += [
            Field(f"{village[:3].upper()}-{number:03d}", village, outline)
            for number, outline in enumerate(taken, start=1)
        ]
    return fields
