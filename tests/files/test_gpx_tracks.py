from __future__ import annotations

import pytest
import shapely

from districtplan import tables
from districtplan.files.vector import read_plots
from tests.files.stored import refuse

SQUARE = [(29.9, -2.5), (29.901, -2.5), (29.901, -2.499), (29.9, -2.499)]


def track(points=SQUARE, name="a", tag="trk", split=2):
    inside = [f'<{tag}pt lat="{y}" lon="{x}"><ele>9</ele></{tag}pt>' for x, y in points]
    if tag == "trk":
        parts = (inside[:split], inside[split:])
        inside = [f"<trkseg>{''.join(part)}</trkseg>" for part in parts]
    return f"<{tag}><name>{name}</name><desc>V</desc>{''.join(inside)}</{tag}>"


def gpx(*inside):
    return (
        '<?xml version="1.0"?><gpx xmlns="http://www.topografix.com/GPX/1/1">'
        + "".join(inside)
        + "</gpx>"
    )


@pytest.fixture
def plan(plan_file):
    """A plan for tracks."""
    return plan_file(plots="plots.gpx", plot_id_column="name", village_column="desc")


def test_tracks_and_routes_are_walks_and_nothing_is_lost(tmp_path, plan):
    waypoint = '<wpt lat="1" lon="2"><name>d</name></wpt>'
    text = gpx(track(), track(name="b", tag="rte"), track(SQUARE[:2], "c"), waypoint,
               track([(*SQUARE[:3], ("x", 1))[at] for at in range(4)], "e"))  # fmt: skip
    (tmp_path / "plots.gpx").write_text(text)
    found = read_plots(plan).frame
    assert found["plot_id"].tolist() == ["a", "b", "c", "d", "e"]
    assert found["village"].tolist() == ["V", "V", "V", None, "V"]
    assert found["geometry"][0].equals(shapely.Polygon(SQUARE))
    assert found["geometry"][1].equals(shapely.Polygon(SQUARE))
    assert found["done"][0] == (tables.WALKED,)
    told = found["problem"].tolist()
    assert told[:2] == [None, None]
    expected = ("2 points", "a waypoint", "isn't a longitude")
    assert all(what in why for what, why in zip(expected, told[2:], strict=True))


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("<kml/>", "isn't GPX: it starts with <kml>"),
        ("<gpx>", "isn't XML"),
        ('<!DOCTYPE gpx [<!ENTITY a SYSTEM "file:///etc/passwd">]><gpx>&a;</gpx>', "declares"),
        (gpx("<trk></trk>"), "has no column 'name'"),
    ],
)
def test_files_that_are_no_tracks_say_why(text, match, tmp_path, plan):
    (tmp_path / "plots.gpx").write_text(text)
    refuse(plan, match)
