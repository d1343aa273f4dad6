"""Control pegs of a district: drops are those of the design, from the high end."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely

from districtplan import geodesy, handbook, rows
from districtplan.rows.guides import Guides
from tests.conftest import plan_of
from tests.rows.test_lay import NOTHING, ZONE, ground_of, plots_of

SQUARE = shapely.box(0, 0, 95, 60)
NO_GUIDES = Guides(
    pd.DataFrame(),
    pd.DataFrame(
        {
            "plot_id": [],
            "guide_kind": [],
            "line": [],
            "line_fall_pct": [],
            "geometry": pd.Series([], dtype=object),
        }
    ),
    pd.DataFrame({"plot_id": [], "line": [], "geometry": pd.Series([], dtype=object)}),
    pd.DataFrame(),
    pd.DataFrame(),
    pd.DataFrame(),
    ZONE,
)


FREE, POOR = (plan_of(soil={"drainage": drainage}) for drainage in ("free", "poor"))


def pegged(design, fall_to, bearing=90.0, guides=NO_GUIDES, plan=FREE):
    plots = plots_of([SQUARE])
    ground = ground_of(1, bearing=bearing, slope=10.0)
    _, _, laid = rows.lay(plots, ground, ZONE, rows.Clear(NOTHING), plan_of())
    lines, _ = rows.draw(laid, 10**6)
    north = geodesy.convergence_deg(
        ZONE, plots["longitude_deg"].to_numpy(), plots["latitude_deg"].to_numpy()
    )
    known = ground.assign(
        declination_deg=2.0,
        row_bearing_true_deg=bearing + north,
        row_grade_design_pct=design,
        row_fall_to=pd.Series([fall_to], dtype=object),
        row_method="straight" if guides is NO_GUIDES else "guide lines",
        geometry=plots["geometry"].to_numpy(),
        longitude_deg=plots["longitude_deg"],
        latitude_deg=plots["latitude_deg"],
    )
    return rows.control_pegs(known, rows.Rows(lines, ZONE), guides, plan, handbook.packaged())


def test_a_line_on_the_contour_drops_nowhere():
    found = pegged(0.0, None).table
    assert len(found) > 5
    assert (found["peg_drop_cm"].dropna() == 0).all()


@pytest.mark.parametrize(
    ("bearing", "end"),
    [(90.0, "east end"), (90.0, "west end"), (0.0, "north end"), (0.0, "south end"),
     (45.0, "south-west end"), (135.0, "south-east end")],
)  # fmt: skip
@pytest.mark.parametrize("design", [0.2, 1.0, 1.7])
def test_a_row_falls_by_its_design_to_the_end_that_it_is_to(bearing, end, design):
    found = pegged(design, end, bearing)
    (walk,) = found.walks.values()
    # 1 % falls 10 cm in 10 m: grade times the distance printed.
    assert walk.drop_cm == pytest.approx(design * np.asarray(walk.leg_m))
    ((x0, y0), (x1, y1)) = walk.xy[[0, -1]]
    side = {"north": (0, 1), "east": (1, 0), "south": (0, -1), "west": (-1, 0)}
    wanted = np.sum([side[part] for part in end.removesuffix(" end").split("-")], axis=0)
    assert np.dot([x1 - x0, y1 - y0], wanted) > 0


def test_where_either_end_is_safe_it_falls_from_the_nearer_corner():
    level, either = (pegged(*asked) for asked in ((0.0, None), (0.5, "either end")))
    assert (level.walks["P0", 1].xy == either.walks["P0", 1].xy).all()
    assert (either.walks["P0", 1].drop_cm > 0).all()


def test_rows_that_wait_for_an_outlet_are_not_pegged():
    found = pegged(np.nan, None)
    assert not found.walks
    assert found.table.empty


@pytest.mark.parametrize("kind", ["arc", rows.STANDING])
def test_what_stands_there_is_not_pegged(kind):
    course = shapely.LineString([(5, 20), (90, 21)])
    guides = guides_of(kind, course)
    found = pegged(np.nan, None, guides=guides)
    assert len(found.table) == (2 if kind == "arc" else 0)


def guides_of(kind, course, fall=0.0):
    """One guide line of the plot."""
    lines = pd.DataFrame(
        {
            "plot_id": ["P0"],
            "guide_kind": [kind],
            "line": [1],
            "line_fall_pct": [fall],
            "geometry": [course],
        }
    )
    places = [shapely.Point(at) for at in course.coords]
    along = [course.project(place) for place in places]
    pegs = pd.DataFrame({"plot_id": "P0", "line": 1, "peg_along_m": along})
    nothing = dict.fromkeys(("gap_m", "rows_in_gap", "short_rows_start", "short_rows_end"), np.nan)
    pegs = pegs.assign(geometry=places, **nothing)
    return Guides(pd.DataFrame(), lines, pegs, *[pd.DataFrame()] * 3, ZONE)


@pytest.mark.parametrize("fall", [0.2, 1.0])
def test_a_guide_line_falls_by_its_design_from_its_start(fall):
    course = shapely.LineString([(5, 20), (45, 22), (90, 21)])
    found = pegged(fall, "east end", guides=guides_of("arc", course, fall), plan=POOR)
    walk = found.walks["P0", 1]
    assert walk.drop_cm == pytest.approx(fall * np.asarray(walk.leg_m))
    assert (walk.xy[-1] == [90, 21]).all()


def test_guide_lines_that_wait_for_an_outlet_are_not_pegged():
    course = shapely.LineString([(5, 20), (90, 21)])
    guides = guides_of("arc", course)
    assert not pegged(np.nan, None, guides=guides, plan=POOR).walks
    assert pegged(np.nan, None, guides=guides).walks
