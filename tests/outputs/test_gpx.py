"""GPX 1.1: structure, order and ranges, and re-read by two libraries."""

from __future__ import annotations

import dataclasses
import re
from datetime import date
from xml.etree import ElementTree as ET

import gpxpy
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from pyproj import Transformer

from districtplan.outputs import gpx
from districtplan.outputs.file_names import SLUG_MAX, village_stems
from districtplan.outputs.gpx import Track, Waypoint, write

DAY = date(2026, 3, 15)
SQUARE = np.array([(31.2, -14.3), (31.201, -14.3), (31.201, -14.299), (31.2, -14.3)])
ORDER = {
    "gpx": ("metadata", "wpt", "rte", "trk", "extensions"),
    "metadata": (
        "name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions",
    ),
    "wpt": (
        "ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type",
    ),
    "trk": ("name", "cmt", "desc", "src", "link", "number", "type", "extensions", "trkseg"),
    "trkseg": ("trkpt", "extensions"),
    "trkpt": (),
}  # fmt: skip
"""What an element of GPX 1.1 may hold, in the order of its schema."""
DECIMAL = re.compile(r"-?\d+(\.\d+)?")
TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")


def faults(content: bytes) -> list[str]:
    """Hold a file to the structure of GPX 1.1."""
    root = ET.fromstring(content)
    found = []
    if root.tag != f"{{{gpx.NAMESPACE}}}gpx":
        return ["not a gpx element of the 1.1 namespace"]
    if root.get("version") != "1.1" or not root.get("creator"):
        found.append("no version 1.1 or no creator")
    for element in root.iter():
        tag = element.tag.removeprefix(f"{{{gpx.NAMESPACE}}}")
        if tag in ORDER:
            children = [child.tag.removeprefix(f"{{{gpx.NAMESPACE}}}") for child in element]
            unknown = set(children) - set(ORDER[tag])
            if unknown:
                found.append(f"{tag} holds {unknown}")
                continue
            places = [ORDER[tag].index(child) for child in children]
            if places != sorted(places):
                found.append(f"{tag} out of order")
        if tag in ("wpt", "trkpt"):
            found += _place_faults(element)
        if tag == "time" and not TIME.fullmatch(element.text or ""):
            found.append("time isn't in UTC")
    return found


def _place_faults(element: ET.Element) -> list[str]:
    lat, lon = element.get("lat", ""), element.get("lon", "")
    if not (DECIMAL.fullmatch(lat) and DECIMAL.fullmatch(lon)):
        return [f"{lat}, {lon} aren't decimals"]
    if not (-90 <= float(lat) <= 90 and -180 <= float(lon) < 180):
        return [f"{lat}, {lon} out of range"]
    return []


def _first(parent: ET.Element, tag: str, attrib: dict[str, str] | None = None) -> ET.Element:
    """Put a new element before those that its parent has."""
    element = ET.Element(tag, attrib or {})
    parent.insert(0, element)
    return element


@pytest.fixture(scope="module")
def with_ends(small_results):
    plots = small_results.plots
    walk = next(iter(small_results.pegs.walks.values()))
    walks = {
        (plot_id, line): dataclasses.replace(
            walk,
            longitude_deg=np.array([longitude, longitude + 0.0002]),
            latitude_deg=np.array([latitude, latitude]),
        )
        for plot_id, longitude, latitude in zip(
            plots["plot_id"], plots["longitude_deg"], plots["latitude_deg"], strict=True
        )
        for line in (1, 2)
    }
    pegs = dataclasses.replace(small_results.pegs, walks=walks)
    return dataclasses.replace(small_results, pegs=pegs)


@pytest.fixture(scope="module")
def ends(with_ends):
    rows = [
        (plot_id, line, end, walk.longitude_deg[at], walk.latitude_deg[at])
        for (plot_id, line), walk in with_ends.pegs.walks.items()
        for at, end in enumerate(("start", "end"))
    ]
    return pd.DataFrame(rows, columns=["plot_id", "line", "end", "longitude_deg", "latitude_deg"])


@pytest.fixture(scope="module")
def files(with_ends, texts):
    return gpx.render(with_ends, texts)


def test_one_file_a_village(files, small_results):
    assert len(files) == len(small_results.villages)
    assert all(re.fullmatch(r"gpx/v\d{3}(-[a-z0-9-]+)?\.gpx", name) for name in files)


def test_files_obey_the_standard(files):
    for content in files.values():
        assert faults(content) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b'version="1.1"', b'version="1.0"'),
        (b"GPX/1/1", b"GPX/1/0"),
        (b'lon="', b'lon="2'),
        (b'lat="', b'lat="1e'),
        (b"T00:00:00Z", b"T00:00:00"),
        (b"<trkseg>", b"<name>late</name><trkseg>"),
        (b"</metadata>", b"</metadata><trk></trk><wpt lat='1' lon='1'/>"),
        (b"<trkseg>", b"<trkseg><farmer>A</farmer>"),
    ],
)
def test_the_structural_check_sees_faults(files, old, new):
    content = next(iter(files.values()))
    assert old in content
    try:
        found = faults(content.replace(old, new))
    except ET.ParseError:
        found = ["not well-formed"]
    assert found
    if new.startswith(b"<name>late"):
        late = content.replace(b"</trk>", b"<name>late</name></trk>")
        assert faults(late)


def test_gpxpy_reads_the_same(files, small_results, ends):
    plots = small_results.plots
    to_degrees = Transformer.from_crs(small_results.plots_crs, 4326, always_xy=True)
    for village, content in zip(small_results.villages["village"], files.values(), strict=True):
        read = gpxpy.parse(content.decode())
        here = plots[plots["village"] == village]
        assert [track.name for track in read.tracks] == here["plot_id"].tolist()
        assert village in read.name
        assert read.time.isoformat() == "2026-03-15T00:00:00+00:00"
        for track, outline in zip(read.tracks, here["geometry"], strict=True):
            rings = [
                ring for part in shapely.get_parts(outline) for ring in shapely.get_rings(part)
            ]
            assert len(track.segments) == len(rings)
            for segment, ring in zip(track.segments, rings, strict=True):
                x, y = np.array(ring.coords)[:, :2].T
                meant = np.column_stack(to_degrees.transform(x, y))
                found = [(point.longitude, point.latitude) for point in segment.points]
                assert np.abs(found - meant).max() < 1e-7
                assert found[0] == found[-1]
        mine = ends[ends["plot_id"].isin(here["plot_id"])]
        assert [point.name for point in read.waypoints] == [
            f"{plot_id} line {line} {end}"
            for plot_id, line, end in mine[["plot_id", "line", "end"]].itertuples(index=False)
        ]
        places = [(point.longitude, point.latitude) for point in read.waypoints]
        degrees = mine[["longitude_deg", "latitude_deg"]].to_numpy()
        assert np.abs(degrees - places).max() < 1e-7


def test_a_line_that_falls_says_so_at_its_ends(with_ends, texts):
    walks = {
        at: dataclasses.replace(walk, drop_cm=0.4 * walk.leg_m * (at[1] - 1))
        for at, walk in with_ends.pegs.walks.items()
    }
    pegs = dataclasses.replace(with_ends.pegs, walks=walks)
    for content in gpx.render(dataclasses.replace(with_ends, pegs=pegs), texts).values():
        assert faults(content) == []
        for point in gpxpy.parse(content.decode()).waypoints:
            falls = "The line falls 4 cm in 10 m from its start to its end."
            assert (falls in point.description) is ("line 2" in point.name)


def test_ends_of_lines_say_their_pegs_numbers(with_ends, texts):
    """Pegs are numbered through all lines of a plot, as its sheet has them."""
    walks = dict(with_ends.pegs.walks)
    (plot_id, _), first = next(iter(walks.items()))
    second = walks[plot_id, 2]
    count = len(first.leg_m) + 1
    told = {
        f"{plot_id} line 1 start": 1,
        f"{plot_id} line 1 end": count,
        f"{plot_id} line 2 start": count + 1,
        f"{plot_id} line 2 end": count + 1 + len(second.leg_m),
    }
    found = {
        point.name: point.description
        for content in gpx.render(with_ends, texts).values()
        for point in gpxpy.parse(content.decode()).waypoints
    }
    for name, number in told.items():
        assert f"Peg {number} of the plot's sheet." in found[name]


def test_gdal_reads_the_same(files, small_results, tmp_path):
    counted = 0
    for content in files.values():
        path = tmp_path / "village.gpx"
        path.write_bytes(content)
        tracks = pyogrio.read_dataframe(path, layer="tracks")
        assert set(tracks["name"]) <= set(small_results.plots["plot_id"])
        counted += len(tracks)
        assert len(pyogrio.read_dataframe(path, layer="waypoints")) == 4 * len(tracks)
    assert counted == len(small_results.plots)


def test_same_bytes_twice_and_no_farmers_names(with_ends, results_with_names, texts):
    assert gpx.render(with_ends, texts) == gpx.render(with_ends, texts)
    for content in gpx.render(results_with_names, texts).values():
        assert b"Invented Farmer" not in content


@pytest.mark.parametrize(
    "name",
    [
        "<b>&amp; ]]> \"'",
        "{{ 7*191 }}<img src=x onerror=hit()>",
        "مزرعة الشمال",
        "e\u0301 \U0001f33d",
    ],
)
def test_names_are_text(name):
    content = write(name, [Track(name, (SQUARE,))], [Waypoint(name, 31.2, -14.3)], DAY)
    assert faults(content) == []
    read = gpxpy.parse(content.decode())
    assert (read.name, read.tracks[0].name, read.waypoints[0].name) == (name, name, name)


@pytest.mark.parametrize("sign", ["\x00", "\x1b", "\ud800", "\uffff", "\n", "\r"])
def test_signs_that_xml_cannot_hold_are_marked(sign):
    content = write(f"a{sign}b", [Track("t", (SQUARE,))], [], DAY)
    assert gpxpy.parse(content.decode()).name == "a\ufffdb"


def test_the_date_line_and_zero():
    ring = np.array([(180.0, -1e-9), (-180.0, 0.0), (179.99999999, 90.0), (0.0, -90.0)])
    content = write("t", [Track("t", (ring,))], [], DAY)
    assert faults(content) == []
    points = gpxpy.parse(content.decode()).tracks[0].segments[0].points
    assert [point.longitude for point in points] == [-180, -180, -180, 0]
    assert b'"-0.' not in content


@pytest.mark.parametrize("place", [(np.nan, 0.0), (0.0, np.inf), (181.0, 0.0), (0.0, 90.1)])
def test_no_place_is_refused(place):
    with pytest.raises(ValueError, match="isn't known"):
        write("t", [], [Waypoint("w", *place)], DAY)


def test_file_names_are_plain_and_never_the_same():
    villages = ["../../etc/passwd", "CON", "", "ä" * 300, "a/b", "a b", "قرية", "A.B", "nul\0"]
    stems = list(village_stems(villages).values())
    assert len({stem.lower() for stem in stems}) == len(villages)
    for stem in stems:
        assert re.fullmatch(r"v\d{3}(-[a-z0-9]+)*", stem)
        assert len(stem) <= SLUG_MAX + 5
    assert stems[:2] == ["v001-etc-passwd", "v002-con"]


def test_file_names_of_many_villages_sort_by_number():
    stems = list(village_stems(f"village {n}" for n in range(1200)).values())
    assert stems == sorted(stems)
    assert stems[0].startswith("v0001-")


@pytest.mark.parametrize("turned", [ET.SubElement, _first])
def test_an_order_turned_round_in_the_writer_is_seen(turned, with_ends, texts, monkeypatch):
    """A writer that put each element first in its parent would break the standard's order."""
    monkeypatch.setattr(gpx.ET, "SubElement", turned)
    found = [
        fault for content in gpx.render(with_ends, texts).values() for fault in faults(content)
    ]
    assert bool(found) is (turned is _first)
    assert all("out of order" in fault for fault in found)


def test_the_start_of_a_line_found_on_the_ground_is_a_waypoint(small_results, texts):
    """Its place as the layer has it; none on a plot where nothing is set out."""
    lines = small_results.guides.lines
    (line,) = lines[lines["geometry"].isna()].to_dict("records")
    name = f"{line['plot_id']} line {line['line']} start"

    def read(results):
        pages = [gpxpy.parse(content.decode()) for content in gpx.render(results, texts).values()]
        return {point.name: point for page in pages for point in page.waypoints}

    point = read(small_results)[name]
    assert point.longitude == pytest.approx(line["start_longitude_deg"], abs=1e-7)
    assert point.latitude == pytest.approx(line["start_latitude_deg"], abs=1e-7)
    plots = small_results.plots.assign(
        outlet_flags=[
            ("outlet_harm",) if plot_id == line["plot_id"] else flags
            for plot_id, flags in small_results.plots[["plot_id", "outlet_flags"]].to_numpy()
        ]
    )
    assert name not in read(dataclasses.replace(small_results, plots=plots))
