"""Invented hillsides for lines of structures, and what must hold of any line."""

from __future__ import annotations

import itertools

import numpy as np
import shapely

from districtplan.conservation import Hillside, LineForm, Outlet
from districtplan.handbook import packaged

LIMITS = packaged().numbers("structure_limits") | {
    "outlet_reach_m": 5.0, "link_m": 10.0, "crossing_min_m": 10.0, "strip_width_m": 4.0
}  # fmt: skip
DITCH = LineForm("hillside_ditch", True, True, False, False, 1.0, 100.0)
DRAIN = LineForm("cut_off_drain", True, True, False, True, 1.0, 100.0)
STRIPS = LineForm("grass_strips", False, False, False, False, 0.0, np.inf)
BUND = LineForm("retention_bund", False, False, True, False, 0.0, np.inf)
NOWHERE = shapely.Polygon()


class Land:
    """A plane with waves: heights and exact gradients in closed form."""

    def __init__(self, slope=0.2, waves=()):
        self.slope, self.waves = slope, waves

    def height(self, xy):
        z = 1000 + self.slope * xy[:, 1]
        for size, east, north, phase in self.waves:
            z = z + size * np.sin(east * xy[:, 0] + north * xy[:, 1] + phase)
        return z

    def gradient(self, xy):
        rise = np.zeros_like(xy)
        rise[:, 1] = self.slope
        for size, east, north, phase in self.waves:
            turn = size * np.cos(east * xy[:, 0] + north * xy[:, 1] + phase)
            rise += turn[:, None] * [east, north]
        return rise

    def lattice(self, x, y):
        east, north = np.meshgrid(x, y)
        return self.height(np.column_stack([east.ravel(), north.ravel()])).reshape(east.shape)


def hillside(land=None, **given):
    """Three plots of 60 by 25 m one below the other on a slope, a waterway down its west side."""
    plots = shapely.box(0, [55, 27.5, 0], 60, [80, 52.5, 25])
    waterway = Outlet("waterway 1", shapely.LineString([(-2, 90), (-2, -10)]))
    usual = {
        "plot_ids": ("top", "middle", "low"),
        "plots": plots,
        "outlets": (waterway,),
        "flow": (),
        "refused": NOWHERE,
        "deep_and_free": True,
        "slipping": False,
        "no_waterway": NOWHERE,
        "ground": land or Land(),
        "floor_pct": 0.3,
    }
    return Hillside(**(usual | given))


def random_hillside(seed):
    """A hillside of plots in rows, waves across it, outlets, flow lines and houses anywhere."""
    rng = np.random.default_rng(seed)
    waves = [
        (
            rng.uniform(0, 2.5),
            *(rng.normal(0, 2 * np.pi / rng.uniform(50, 200), 2)),
            rng.uniform(0, 6),
        )
        for _ in range(rng.integers(0, 4))
    ]
    land = Land(rng.uniform(0.06, 0.6), waves)
    columns, rows = rng.integers(1, 5, 2)
    wide, deep, gap = rng.uniform(15, 60), rng.uniform(10, 40), rng.uniform(0, 9)
    west, south = np.meshgrid(
        np.arange(columns) * (wide + gap), np.arange(rows)[::-1] * (deep + gap)
    )
    west, south = west.ravel(), south.ravel()
    kept = rng.random(len(west)) < 0.85
    kept[0] = True
    plots = shapely.box(west, south, west + wide, south + deep)[kept]
    breadth, depth = columns * (wide + gap), rows * (deep + gap)

    def down(east, top, foot):
        ys = np.linspace(top, foot, 12)
        xs = east + np.cumsum(rng.normal(0, 2, 12))
        return shapely.LineString(np.column_stack([xs, ys]))

    outlets = [
        Outlet(
            f"waterway {place}", down(rng.uniform(-8, breadth), depth + 10, rng.uniform(-30, depth))
        )
        for place in range(rng.integers(0, 3))
    ]
    for place in range(rng.integers(0, 3)):
        x, y = rng.uniform(-20, breadth), rng.uniform(-20, depth)
        outlets.append(Outlet(f"grass {place}", shapely.box(x, y, x + 15, y + rng.uniform(5, 60))))
    flow = []
    if rng.random() < 0.5:
        flow.append(down(rng.uniform(0, breadth), depth + 20, -25))
        if rng.random() < 0.7:
            foot = flow[0].coords[-1]
            outlets.append(
                Outlet("stream 9", shapely.LineString([(foot[0] - 50, -27), (foot[0] + 50, -27)]))
            )
    houses = []
    for _ in range(rng.integers(0, 3)):
        x, y = rng.uniform(0, breadth), rng.uniform(0, depth)
        houses.append(shapely.box(x, y, x + 8, y + 8))
    return hillside(
        land,
        plot_ids=tuple(f"P{place}" for place in range(len(plots))),
        plots=plots,
        outlets=tuple(outlets),
        flow=tuple(flow),
        refused=shapely.union_all(houses) if houses else NOWHERE,
    ), float(rng.uniform(0.8, 4.0))


def faults(drawn, site, form):
    """What is wrong with lines, found without the code that draws them."""
    shapes = {outlet.name: outlet.shape for outlet in site.outlets}
    wrong = []
    if drawn.waterway is not None:
        shapes["waterway to build"] = drawn.waterway.line
        ends = shapes[drawn.waterway.ends_at]
        foot = shapely.Point(drawn.waterway.line.coords[-1])
        wrong += [
            ("the waterway ends nowhere", foot.distance(ends) > 1e-6),
            ("the waterway crosses what it may not", drawn.waterway.line.intersects(site.refused)),
        ]
    for line in drawn.lines:
        wrong += graded(line, shapes, site, form) if form.graded else level(line, site)
        wrong += [
            ("it crosses what it may not", line.shape.intersection(site.refused).length > 0.02),
            ("it crosses itself", not line.shape.is_simple),
        ]
    for one, other in itertools.combinations(drawn.lines, 2):
        # The two lines of an outlet, one to either side, meet in it; a contour that touches the
        # edge of the land is two lines from there.
        in_outlet = form.graded and one.shape.coords[-1] == other.shape.coords[-1]
        one_contour = not form.graded and one.number == other.number
        met = one.shape.intersection(other.shape)
        end_to_end = met.geom_type == "Point" and one.shape.touches(other.shape)
        harmless = met.is_empty or (end_to_end and (in_outlet or one_contour))
        wrong.append(("it crosses another", not harmless))
    return [name for name, is_so in wrong if is_so]


def graded(line, shapes, site, form):
    points = shapely.get_coordinates(line.shape)
    height = site.ground.height(points)
    end = shapely.Point(points[-1])
    nowhere = line.outlet not in shapes or end.distance(shapes[line.outlet]) > 1e-3
    share = 100 * (height[0] - height[-1]) / line.shape.length / form.grade_pct
    return [
        ("it carries water to a place without an outlet", nowhere),
        ("it rises towards its outlet", not (np.diff(height) < 0).all()),
        ("it falls by another grade", not 0.89 < share < 1.11),
        ("it is too long one way", line.shape.length > form.length_max_m + 1e-5),
    ]


def level(line, site):
    points = shapely.get_coordinates(line.shape)
    off = np.abs(site.ground.height(points) - np.median(site.ground.height(points)))
    aside = 0.05 + 0.2 * np.hypot(*site.ground.gradient(points).T)
    apart = shapely.distance(line.shape, list(site.flow)) if site.flow else np.array([np.inf])
    # Round corners of what is cut out are set by chords.
    least = 0.98 * LIMITS["strip_width_m"] / 2
    return [
        ("it isn't level", (off > aside).any()),
        ("it dams gathered water", (apart < least).any()),
    ]
