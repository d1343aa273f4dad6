"""Low places plot by plot and row by row, with shapely and the spline itself: slow, and plain."""

from __future__ import annotations

import numpy as np
import shapely

from districtplan import geodesy
from districtplan.rows import sag
from districtplan.rows.low_places import ROUNDS_MAX, ROWS_LINKED
from districtplan.rows.straight import Land, back, pieces


def gaps(laid, plot, frame, surface, crs, limits):
    """Give a plot's gaps and how often its rows are broken; limits: depth, width, link [m]."""
    deepest, width, link = limits
    at = slice(plot, plot + 1)
    origin, scale, land = laid.origin[at], laid.scale[at], laid.polygons[plot]
    layouts = [layout.take(at) for _, layout in laid.layouts]
    spacing = min(layout.spacing_m[0] for layout in layouts)

    def zone(sd):
        many = np.zeros(len(sd), dtype=int)
        turned = layouts[0].bearing_deg[many], layouts[0].side[many]
        return origin + scale * back(sd[:, 0], sd[:, 1], *turned)

    gone, broken = None, 0
    for _ in range(ROUNDS_MAX):
        found = []
        for layout in layouts:
            rows = pieces(Land.of(np.array([land], dtype=object), origin, scale), layout)
            ends = []
            for s in (rows.near, rows.far):
                points = shapely.points(zone(np.column_stack([s, rows.across])))
                moved = geodesy.reproject(points, crs, frame.grid.crs)
                ends.append(frame.to(shapely.get_coordinates(moved)))
            start, stop = ends
            longest = max(np.hypot(*(stop - start).T), default=0.0)
            share = np.linspace(0, 1, int(np.ceil(longest / sag.STEP_M)) + 1)
            for row in range(len(start)):
                heights = surface.height(start[row] + share[:, None] * (stop - start)[row])
                near, far = rows.near[row], rows.far[row]
                found += [
                    (near + share[low] * (far - near), rows.across[row])
                    for low in sag.breaks(heights, deepest)
                ]
        if not found:
            break
        broken += len(found)
        strip = shapely.transform(
            _strip(sorted(found, key=lambda p: p[::-1]), spacing, width, link), zone
        )
        gone = strip if gone is None else shapely.union(gone, strip)
        land = shapely.difference(land, strip)
    return gone, broken


def chained(places, apart, link):
    """Link places, by place across, to the nearest chain before them."""
    chains = []
    for s, d in places:
        fits = [
            (abs(s - chain[-1][0]), number)
            for number, chain in enumerate(chains)
            if 0 < d - chain[-1][1] <= apart and abs(s - chain[-1][0]) <= link
        ]
        if fits:
            chains[min(fits)[1]].append((s, d))
        else:
            chains.append([(s, d)])
    return chains


def _strip(places, spacing, width, link):
    half = np.array([0.0, spacing / 2])
    lines = [
        shapely.LineString([chain[0] - half, *chain, chain[-1] + half])
        for chain in chained(places, (ROWS_LINKED + 1 / 2) * spacing, link)
    ]
    return shapely.union_all(shapely.buffer(lines, width / 2, cap_style="flat", join_style="mitre"))
