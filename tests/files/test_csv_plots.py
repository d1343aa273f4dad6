from __future__ import annotations

import numpy as np
import pytest
import shapely

from districtplan import tables
from districtplan.errors import InputError
from districtplan.files import csv_plots, walks
from districtplan.files.coordinates import COMMA, SEXAGESIMAL
from districtplan.files.vector import read_plots
from tests.files.stored import refuse

SQUARE = [(29.9, -2.5), (29.901, -2.5), (29.901, -2.499), (29.9, -2.499)]


@pytest.fixture
def read(tmp_path, plan_file):
    """Read plots from text."""

    def make(text, name="plots.csv", **files):
        content = text if isinstance(text, bytes) else text.encode()
        (tmp_path / name).write_bytes(content)
        return read_plots(plan_file(plots=name, **files))

    return make


def walk(plot_id="a", village="V", points=SQUARE, separator=",", **columns):
    return [
        separator.join([plot_id, village, str(at), f"{y}", f"{x}", *columns.values()])
        for at, (x, y) in enumerate(points, start=1)
    ]


def table(*lines, head="plot_id,village,order,latitude,longitude"):
    return "\r\n".join([head, *lines]) + "\r\n"


def test_walked_points_make_a_plot_each_in_their_order(read):
    rows = walk()
    mixed = [
        rows[2],
        *walk("b", points=[(x + 1, y) for x, y in SQUARE]),
        *rows[:2],
        rows[3],
        ",,,,",
    ]
    found = read(table(*mixed))
    assert found.crs.to_epsg() == 4326
    assert found.frame["plot_id"].tolist() == ["a", "b"]
    assert found.frame["village"].tolist() == ["V", "V"]
    assert found.frame["problem"].tolist() == [None, None]
    assert found.frame["geometry"][0].equals(shapely.Polygon(SQUARE))
    assert found.frame["done"].tolist() == [(tables.WALKED,)] * 2


def test_what_a_device_says_of_its_accuracy_is_told(read):
    lines = [f"{line},{accuracy}" for line, accuracy in zip(walk(), (3, 4, 5, ""), strict=True)]
    head = "plot_id,village,order,latitude,longitude,accuracy_m"
    found = read(table(*lines, head=head)).frame
    assert found["done"][0] == (tables.WALKED, "accuracy 4 m as the device says")


def test_decimal_commas_and_minutes_are_read_and_told(read):
    head = "plot_id;village;order;latitude;longitude"
    commas = [line.replace(".", ",") for line in walk(separator=";")]
    minutes = ["m;V;1;2°30'S;29°54'E", "m;V;2;2°30'S;29°55'E", "m;V;3;2°29'S;29°55'E"]
    found = read(table(*commas, *minutes, head=head)).frame
    assert found["geometry"][0].equals(shapely.Polygon(SQUARE))
    assert found["done"].tolist() == [(tables.WALKED, COMMA), (tables.WALKED, SEXAGESIMAL)]
    np.testing.assert_allclose(
        found["geometry"][1].bounds, (29.9, -2.5, 29 + 55 / 60, -2 - 29 / 60)
    )


def test_a_point_and_an_area_make_a_circle_marked_as_such(read):
    head = "plot_id,village,latitude,longitude,area_ha"
    found = read(table("a,V,-2.5,29.9,0.4", "b,V,-2.5,29.9,0", "c,V,-2.5,199,1", head=head)).frame
    assert found["done"][0] == (tables.CIRCLE,)
    assert found["geometry"][0].contains(shapely.Point(29.9, -2.5))
    assert "area_ha is 0 in line 3" in found["problem"][1]
    assert "aren't a longitude and a latitude" in found["problem"][2]


def test_well_known_text_is_in_the_plans_crs(read):
    square = shapely.box(0, 0, 50, 50)
    text = table(f'a,V,"{square.wkt}"', "b,V,POLYGON((0 0", "c,V,", head="plot_id,village,WKT")
    found = read(text, plots_crs="EPSG:32736")
    assert found.crs.to_epsg() == 32736
    assert found.frame["geometry"][0].equals(square)
    assert "isn't an outline as well-known text" in found.frame["problem"][1]
    assert found.frame["geometry"][2].is_empty


def prefixed(*codes):
    rows = [f'p{n},V,"{code}{shapely.box(0, 0, 50, 50 + n).wkt}"' for n, code in enumerate(codes)]
    return table(*rows, head="plot_id,village,wkt")


def test_a_code_before_well_known_text_is_the_files_crs(read):
    text = prefixed("SRID=32736;", "srid = 032736 ; ", "", "SRID=0;", "SRID=32735;")
    for keys in ({}, {"plots_crs": "EPSG:32736"}):
        found = read(text, **keys)
        assert found.crs.to_epsg() == 32736
        shapes = found.frame["geometry"]
        assert all(shapes[n].equals(shapely.box(0, 0, 50, 50 + n)) for n in range(4))
        # One of another zone is set aside, not laid where its numbers don't mean.
        assert shapes[4] is None
        assert "its SRID=32735 isn't that of most other" in found.frame["problem"][4]
    assert read(prefixed("SRID=0;"), plots_crs="EPSG:32735").crs.to_epsg() == 32735


@pytest.mark.parametrize(
    ("code", "keys", "match"),
    [
        ("SRID=32736;", {"plots_crs": "EPSG:32735"}, "zone 36S'.*'EPSG:32735'. Remove plots_crs"),
        ("SRID=999999;", {}, "line 2.*'EPSG:999999' isn't understood"),
        ("SRID=0;", {}, "states no CRS. Set plots_crs"),
    ],
)
def test_a_code_that_cannot_be_the_crs_is_refused(code, keys, match, read):
    with pytest.raises(InputError, match=match):
        read(prefixed(code), **keys)


BROKEN = {
    "two points": (walk()[:2], "the walk has 2 points, fewer than 3"),
    "one order twice": (
        [*walk(), "a,V,1,-2.5,29.95"],
        "order 1 stands in several points, again in line 10",
    ),
    "two villages": ([*walk()[:3], *walk(village="W")[3:]], "differ in village: 'V' and 'W'"),
    "no number": ([*walk()[:3], "a,V,x,-2.5,29.9"], "order = 'x' isn't a number in line 9"),
    "no place": (
        [*walk()[:3], "a,V,4,-2.5,east"],
        "'east' isn't a longitude in line 9",
    ),
    "short row": ([*walk()[:3], "a,V,4,-2.5"], "line 9 has 4 cells, the first line has 5"),
}


@pytest.mark.parametrize("case", BROKEN)
def test_one_broken_point_costs_one_plot(case, read):
    lines, told = BROKEN[case]
    found = read(table(*walk("good"), *lines)).frame
    assert found["plot_id"].tolist() == ["good", "a"]
    assert found["problem"][0] is None
    assert told in found["problem"][1]
    assert found["geometry"][1] is None


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("\n", "has no line that names"),
        ("plot_id,village\na,V\n", "has no column with outlines"),
        ("plot_id,village,latitude,longitude\na,V,1,2\n", "without an order or area_ha"),
        ("village,wkt\nV,POINT(0 0)\n", "has no column 'plot_id'"),
        ("plot_id,plot_id,village,wkt\n", "names the column 'plot_id' twice"),
        ('plot_id,village,wkt\na,"V,x\n', "isn't CSV"),
        (b"plot_id,village,wkt\na,V\xe9,x\n", "isn't UTF-8"),
        (b"PK\x03\x04", "holds something else"),
        ("," * 600, "has no line|has 601 columns"),
    ],
)  # fmt: skip
def test_files_that_are_no_plots_say_why(text, match, tmp_path, plan_file):
    content = text if isinstance(text, bytes) else text.encode()
    (tmp_path / "plots.csv").write_bytes(content)
    refuse(plan_file(plots="plots.csv"), match)


def test_a_point_that_stands_twice_is_taken_once_and_told(read):
    found = read(table(*walk(), walk()[1], walk()[1])).frame
    assert found["problem"][0] is None
    assert found["geometry"][0].equals(shapely.Polygon(SQUARE))
    assert found["done"][0] == (tables.WALKED, csv_plots.AGAIN)


REMEDIES = {
    "blank latitude": (["a,V,4,,29.9"], "Write the latitude in line 5, or walk"),
    "two villages": (["a,W,4,-2.499,29.9"], "Write one village at all its points, or give each"),
    "order": (["a,V,3,-2.499,29.9"], "Number the points as they were walked"),
    "a word": (["a,V,last,-2.499,29.9"], "Write order as a number in line 5"),
}


@pytest.mark.parametrize("case", REMEDIES)
def test_each_fault_of_a_walk_has_its_own_remedy(case, read):
    lines, remedy = REMEDIES[case]
    found = read(table(*walk()[:3], *lines)).frame
    assert found["problem_remedy"][0].startswith(remedy)


def test_a_walk_of_two_points_is_to_be_walked_again(read):
    assert read(table(*walk()[:2])).frame["problem_remedy"][0] == walks.WALK_AGAIN


def test_the_lines_of_each_plot_are_told(read):
    mixed = [*walk("a")[:2], *walk("b"), *walk("a")[2:], "c,V,1,-2.5,29.9"]
    assert read(table(*mixed)).frame["file_lines"].tolist() == [
        "lines 2 to 3, 8 to 9",
        "lines 4 to 7",
        "line 10",
    ]
    loose = [line for pair in zip(walk("a" * 3) * 3, walk("b") * 3, strict=True) for line in pair]
    assert read(table(*loose)).frame["file_lines"][0] == "lines 2, 4, 6, 8, 10 and 7 more"
