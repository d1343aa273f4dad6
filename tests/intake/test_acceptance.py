from __future__ import annotations

import math
import re
from datetime import date

import numpy as np
import pandas as pd
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from shapely import Point, Polygon, box

from districtplan import intake, tables
from districtplan.intake.acceptance import ASKED, DRAW_AGAIN, KEEP_ONE, WALK_AGAIN
from districtplan.plan import District, Elevation, Files, Plan
from districtplan.tables import made_by

UTM = CRS("EPSG:32736")
PLAN = Plan(
    district=District(name="A", planting_date=date(2026, 3, 15)),
    files=Files(plots="p.gpkg", elevation=["d.tif"]),
    elevation=Elevation(vertical_error_m=0.0, error_correlation_m=0.0),
)


def ring(*points):
    """A polygon straight from bytes, as a file may hold it."""
    header = b"\x01" + np.array([3, 1, len(points)], dtype="<u4").tobytes()
    with np.errstate(invalid="ignore"):
        return shapely.from_wkb(header + np.array(points, dtype="<f8").tobytes())


def square(number=0, side=50.0):
    return box(300_000 + 100 * number, 9_700_000, 300_000 + 100 * number + side, 9_700_000 + side)


def raw(*rows, **columns):
    """Rows of (id, village, geometry[, problem])."""
    rows = [(*row, None)[:4] for row in rows]
    frame = {
        "source_row": np.arange(1, len(rows) + 1),
        **{
            name: pd.Series([row[at] for row in rows], dtype=object)
            for at, name in enumerate(("plot_id", "village", "geometry", "problem"))
        },
        "done": pd.Series([()] * len(rows), dtype=object),
        "problem_remedy": pd.Series([None] * len(rows), dtype=object),
    }
    return pd.DataFrame(frame | columns)


def test_good_plots_pass_as_given():
    plots, aside = intake.accept(
        raw(
            ("b", "V", square(0)), (1.0, 7, square(1)), (" a", "V ", shapely.force_3d(square(2), 5))
        ),
        UTM,
        PLAN,
    )
    assert list(plots) == [name for name in made_by("intake") if name not in ASKED]
    assert plots["plot_id"].tolist() == ["b", "1", " a"]
    assert plots["village"].tolist() == ["V", "7", "V "]
    assert plots["source_row"].tolist() == [1, 2, 3]
    assert not shapely.has_z(plots["geometry"].to_numpy()).any()
    np.testing.assert_allclose(plots["area_ha"], 0.25, rtol=2e-3)
    assert list(aside) == ["source_row", "plot_id", "reason", "remedy", "village"]
    assert len(aside) == 0


BAD = {
    "blank id": (("", "V", square(1)), "the id is missing"),
    "no id": ((None, "V", square(1)), "the id is missing"),
    "odd id": ((1.5, "V", square(1)), "neither text nor a whole number"),
    "control": (("a\rb", "V", square(1)), "control character"),
    "no village": (("x", " ", square(1)), "the village's name is missing"),
    "village control": (("x", "V\0", square(1)), "the village's name has a control"),
    "unseen": (("a\u200d", "V", square(1)), "the id has a control character or an invisible one"),
    "no outline": (("x", "V", None), "there is no outline"),
    "empty": (("x", "V", Polygon()), "there is no outline"),
    "point": (("x", "V", Point(300_000, 9_700_000)), "is a point"),
    "broken": (("x", "V", None, "a ring isn't closed"), "a ring isn't closed"),
    "bow tie": (
        ("x", "V", shapely.transform(Polygon([(0, 0), (90, 90), (90, 0), (0, 90)]),
                                     lambda xy: np.add(xy, (300_000, 9_700_000)))),
        "the outline isn't sound: its edge crosses itself; mended",
    ),
    "infinite": (("x", "V", ring((0, 0), (math.inf, 1), (1, 0), (0, 0))), "isn't finite"),
    "elsewhere": (("x", "V", box(9e6, 3e5, 9e6 + 50, 3e5 + 50)), "outside the area of the CRS"),
    "small": (("x", "V", square(1, 5)), "the area, 0.0025 ha, is below the plan's 0.005 ha"),
    "large": (("x", "V", square(1, 5000)), "is above the plan's 1000 ha"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_each_kind_of_bad_row_is_set_aside_alone(name):
    row, reason = BAD[name]
    plots, aside = intake.accept(
        raw(("good", "V", square(0)), row, ("also", "V", square(3))), UTM, PLAN
    )
    assert plots["plot_id"].tolist() == ["good", "also"]
    assert aside["source_row"].tolist() == [2]
    assert reason in aside["reason"][0]
    assert aside["remedy"][0]


def test_what_is_mended_is_recorded_and_what_changes_too_much_set_aside():
    x, y = 300_000, 9_700_000
    spiked = Polygon([(x, y), (x + 50, y), (x + 50, y + 50), (x + 25, y + 50), (x + 25, y + 99),
                      (x + 25, y + 50), (x, y + 50)])  # fmt: skip
    turned = shapely.transform(square(4), lambda points: points[:, ::-1])
    parts = shapely.MultiPolygon([square(7), square(7)])
    rows = raw(
        *((str(at), "V", square(at)) for at in (1, 2, 3, 5, 6)),
        ("spike", "V", spiked), ("turned", "V", turned), ("parts", "V", parts),
        done=pd.Series([("a ring that was open was closed",)] + [()] * 7, dtype=object),
    )  # fmt: skip
    plots, aside = intake.accept(rows, UTM, PLAN)
    told = plots.set_index("plot_id")
    assert told["outline_repair"].dropna().to_dict() == {
        "1": "a ring that was open was closed",
        "spike": "a spike was cut off",
        "turned": "longitude and latitude, or east and north, stood the wrong way round",
    }
    mended = told[told["outline_repair"].notna()]
    np.testing.assert_allclose(mended["area_as_given_ha"], mended["area_ha"], rtol=1e-9)
    assert told["area_as_given_ha"].notna().sum() == 3
    assert aside["plot_id"].tolist() == ["parts"]
    assert aside["reason"][0].endswith(
        "mended (a line that crosses or touches itself was parted) its area would change by 50 %, "
        "the plan allows 5 %"
    )
    low = PLAN.model_copy(update={"limits": PLAN.limits.model_copy(
        update={"repair_area_max_pct": 50.0})})  # fmt: skip
    assert len(intake.accept(rows, UTM, low)[1]) == 0


def test_land_that_two_plots_cover_is_measured_and_told():
    plots, aside = intake.accept(
        raw(("a", "V", square(0)), ("b", "V", shapely.affinity.translate(square(0), 40)),
            ("c", "V", square(9))), UTM, PLAN,
    )  # fmt: skip
    assert len(aside) == 0
    np.testing.assert_allclose(plots["overlap_ha"], [0.05, 0.05, 0], rtol=3e-3)
    assert plots["overlap_plots"].tolist() == ["b", "a", None]
    (told,) = intake.doubts(plots)
    assert "2 plots cover land that others cover too, 0.10 ha" in told


def test_all_rows_of_a_repeated_id_are_set_aside():
    plots, aside = intake.accept(
        raw(
            ("a", "V", square(0)), ("12", "V", square(1)), (12, "W", square(2)),
            ("12", "V", None), ("A", "V", square(4)), (None, "V", square(5)), ("", "V", square(6)),
        ),
        UTM, PLAN,
    )  # fmt: skip
    assert plots["plot_id"].tolist() == ["a", "A"]
    assert aside["source_row"].tolist() == [2, 3, 4, 6, 7]
    assert aside["reason"][0] == "the id stands in 3 rows: 2, 3, 4"
    assert aside["reason"][2] == "the id stands in 3 rows: 2, 3, 4; there is no outline"
    assert aside["reason"][3] == "the id is missing"


def test_the_same_outline_twice_under_one_id_is_to_be_removed_once():
    turned = Polygon([*square(1).exterior.coords[2:], *square(1).exterior.coords[1:3]])
    _, aside = intake.accept(
        raw(
            ("a", "V", square(1)), ("a", "W", turned), ("b", "V", square(2)), ("b", "V", square(3)),
            ("c", "V", None), ("c", "V", None),
        ),
        UTM, PLAN,
    )  # fmt: skip
    assert aside["reason"][0] == "the id stands in 2 rows: 1, 2, with the very same outline"
    assert aside["remedy"].tolist()[:3] == [KEEP_ONE, KEEP_ONE, "Give each plot an id of its own"]
    assert aside["remedy"][4].startswith("Give each plot an id of its own")


def test_a_remedy_of_the_reader_stands_and_a_walk_is_walked_again():
    bow = BAD["bow tie"][0][2]
    rows = raw(("a", "V", bow), ("b", "V", bow), ("c", "V", None, "a cell is blank"))
    rows["problem_remedy"] = pd.Series([None, None, "Fill the cell"], dtype=object)
    rows["done"] = pd.Series([(), (tables.WALKED,), ()], dtype=object)
    _, aside = intake.accept(rows, UTM, PLAN)
    assert aside["remedy"].tolist() == [DRAW_AGAIN, WALK_AGAIN, "Fill the cell"]


def test_changes_are_told_in_numbers_that_are_read_at_a_glance():
    x, y = 300_000, 9_700_000
    bow = Polygon([(x, y), (x + 90, y + 91), (x + 90, y), (x, y + 90)])
    reason = intake.accept(raw(("a", "V", bow)), UTM, PLAN)[1]["reason"][0]
    assert re.search(r"its area would be \d+\.\d times as large, the plan allows 5 %", reason)
    assert "e+" not in reason
    assert "[" not in reason


def test_all_reasons_of_a_row_are_told():
    _, aside = intake.accept(raw((None, "", None)), UTM, PLAN)
    assert aside["reason"][0] == (
        "the id is missing; the village's name is missing; there is no outline"
    )
    assert aside["remedy"][0] == "Give one. Draw the outline again and export the plots"


def test_farmers_only_if_read_and_a_missing_name_costs_nothing():
    names = pd.Series(["Ada", None, "x\n"], dtype=object)
    plots, aside = intake.accept(
        raw(*((f"{n}", "V", square(n)) for n in range(3)), farmer_name=names), UTM, PLAN
    )
    assert list(plots) == [n for n in made_by("intake") if n not in ASKED[1:]]
    assert plots["farmer_name"][0] == "Ada"
    assert pd.isna(plots["farmer_name"][1])
    assert "the farmer's name has a control" in aside["reason"][0]


def test_degrees_swapped_and_across_180():
    rows = raw(
        ("a", "V", box(130, -2, 130.001, -1.999)),
        ("b", "V", box(-2, 130, -1.999, 130.001)),
        ("c", "V", box(-179.999, 0, 179.999, 0.001)),
    )
    plots, aside = intake.accept(rows, CRS("EPSG:4326"), PLAN)
    assert plots["plot_id"].tolist() == ["a"]
    assert "swapped" in aside["remedy"][0]
    assert "projected CRS" in aside["remedy"][1]


def test_a_plot_on_the_other_side_of_the_earth_is_no_crash():
    rows = raw(
        ("a", "V", box(30, 2, 30.001, 2.001)),
        ("b", "V", box(30.002, 2, 30.003, 2.001)),
        ("c", "V", box(-150.001, -2.001, -149.999, -1.999)),
    )
    plots, aside = intake.accept(rows, CRS("EPSG:4326"), PLAN)
    assert len(plots) + len(aside) == 3
    assert plots["plot_id"].tolist()[:2] == ["a", "b"]


@pytest.mark.parametrize("crs", [4326, 32736])
def test_nothing_usable_is_no_crash(crs):
    nan = ring((0, 0), *[(math.nan, math.nan)] * 2, (0, 0))
    plots, aside = intake.accept(raw(("a", "V", nan), ("b", "V", None)), CRS(crs), PLAN)
    assert (len(plots), len(aside)) == (0, 2)
    plots, aside = intake.accept(raw(), CRS(crs), PLAN)
    assert (len(plots), len(aside)) == (0, 0)


def test_hostile_id_can_be_written():
    _, aside = intake.accept(raw(("\ud800" + "x" * 999, "V", square())), UTM, PLAN)
    assert aside["plot_id"][0].encode("utf-8")
    assert len(aside["plot_id"][0]) < 300


GEOMETRY = st.one_of(
    st.none(),
    st.integers(0, 9).map(square),
    st.sampled_from([row[2] for row, _ in BAD.values()]),
)
TEXT = st.one_of(st.none(), st.text(max_size=3), st.integers(0, 5), st.floats(), st.booleans())


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(TEXT, TEXT, GEOMETRY, st.sampled_from([None, None, "broken"])), max_size=9),
    st.sampled_from([UTM, CRS("EPSG:4326")]),
)
def test_rows_in_are_rows_out_and_rows_set_aside(rows, crs):
    plots, aside = intake.accept(raw(*rows), crs, PLAN)
    used, unused = plots["source_row"].tolist(), aside["source_row"].tolist()
    assert sorted(used + unused) == list(range(1, len(rows) + 1))
    assert used == sorted(used)
    assert unused == sorted(unused)
    assert plots["plot_id"].is_unique
    assert plots["area_ha"].between(0.005, 1000).all()
    assert (aside["reason"].str.len() > 0).all()
    assert (aside["remedy"].str.len() > 0).all()


def test_huge_coordinates_are_no_crash():
    rows = raw(
        ("a", "V", Polygon([(0, 0), (1e308, 1e308), (1e308, 0), (0, 1e308)])),
        ("b", "V", box(-1e308, -1e308, 1e308, 1e308)),
        ("c", "V", square()),
    )
    for crs in (UTM, CRS("EPSG:4326")):
        plots, aside = intake.accept(rows, crs, PLAN)
        assert aside["plot_id"].tolist()[:2] == ["a", "b"]
        assert len(plots) + len(aside) == 3


def test_soil_of_plots_is_read_where_it_is_asked_for():
    given = raw(
        *((f"{n}", "V", square(n)) for n in range(5)),
        soil_depth_given_m=["0.6", 1.25, np.nan, "deep", 11],
        soil_drainage_given=["Poor", None, "free", "free", "free"],
    )
    plots, aside = intake.accept(given, UTM, PLAN)
    assert plots["soil_depth_given_m"].tolist()[:2] == [0.6, 1.25]
    assert plots["soil_depth_given_m"][2:].isna().all()
    assert plots["soil_drainage_given"].fillna("").tolist() == ["poor", "", "free", "free", "free"]
    assert plots["soil_not_read"].isna().tolist() == [True] * 3 + [False] * 2
    assert aside.empty


def test_a_soil_that_cannot_be_read_costs_its_value_and_no_plot():
    wrong = raw(("0", "V", square(0)), soil_drainage_given=["wet"], soil_depth_given_m=["deep"])
    plots, aside = intake.accept(wrong, UTM, PLAN)
    assert aside.empty
    assert plots[["soil_drainage_given", "soil_depth_given_m"]].isna().all(axis=None)
    assert plots["soil_not_read"][0] == (
        "depth is no number of metres from 0 to 10; drainage is none of free, poor"
    )
    (said,) = (told for told in intake.doubts(plots) if "soil" in told)
    assert said.startswith("Depth or drainage of the soil can't be read on 1 plot:")
