"""Broken inputs of every kind that reaches intake, each with what must become of it.

A file is refused with words, or each of its rows is used or set aside: none is lost.
"""

from __future__ import annotations

import zipfile
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import geopandas
import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Polygon, box

from districtplan import intake
from districtplan.errors import InputError
from districtplan.files import kml
from districtplan.files.plan_file import PlanFile
from districtplan.files.vector import read_plots
from districtplan.plan import District, Elevation, Files, Plan
from tests.files.stored import store

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

WEST, SOUTH, SIDE = 29.9, -2.5, 0.0005
GOOD = [box(WEST + at / 1000, SOUTH, WEST + at / 1000 + SIDE, SOUTH + SIDE) for at in range(5)]
DRAWN = (".gpkg", ".geojson", ".shp", ".fgb", ".kml", ".kmz", ".csv", ".parquet")
SURE = {f"good {at}" for at in range(5)}


@dataclass(frozen=True)
class Refused:
    """The file isn't used: words that must stand in what is said."""

    words: str


@dataclass(frozen=True)
class Mended:
    """The plot is used with a record."""

    words: str


@dataclass(frozen=True)
class Aside:
    """The plot is set aside with a reason."""

    words: str


@dataclass(frozen=True)
class Used:
    """The plot is used as it is: what looks like damage is none."""


Outcome = Refused | Mended | Aside | Used


def judge(folder: Path, name: str, outcome: Outcome, rows: int = 6, **files: object) -> None:
    """Read a file, take its plots, and hold what became of them to what was expected."""
    plan = Plan(
        district=District(name="Invented Hills", planting_date=date(2026, 3, 15)),
        files=Files(**({"plots": name, "elevation": ["dem.tif"]} | files)),
        elevation=Elevation(vertical_error_m=0.0, error_correlation_m=0.0),
    )
    if isinstance(outcome, Refused):
        with pytest.raises(InputError) as caught:
            read_plots(PlanFile(plan, folder / "plan.toml", folder))
        assert outcome.words in str(caught.value)
        assert all(fault.where.strip() and fault.remedy for fault in caught.value.faults)
        assert "Traceback" not in str(caught.value)
        return
    raw = read_plots(PlanFile(plan, folder / "plan.toml", folder))
    plots, aside = intake.accept(raw.frame, raw.crs, plan)
    assert len(raw.frame) == len(plots) + len(aside) == rows
    assert sorted([*plots["source_row"], *aside["source_row"]]) == list(range(1, rows + 1))
    assert aside["remedy"].str.len().gt(0).all()
    # What is broken takes nothing down with it.
    assert set(plots["plot_id"]) - {"bad"} >= SURE - set(aside["plot_id"])
    assert set(aside["plot_id"]) & SURE == set()
    if isinstance(outcome, Aside):
        assert outcome.words
        assert outcome.words in "; ".join(aside["reason"])
        return
    assert len(aside) == 0
    (last,) = plots[~plots["plot_id"].isin(SURE)].itertuples()
    if isinstance(outcome, Used):
        assert last.outline_repair is None or last.outline_repair != last.outline_repair
        return
    assert outcome.words in last.outline_repair
    assert np.isfinite([last.area_as_given_ha, last.area_ha]).all()


def at(*corners):
    """Corners in 1/100 of a plot's side, south of the good plots."""
    return [(WEST + 0.002 + x * SIDE / 100, SOUTH - 0.002 + y * SIDE / 100) for x, y in corners]


SHAPE = at((0, 0), (100, 0), (100, 100), (0, 100))
SQUARE = Polygon(SHAPE)
FAULTS: dict[str, tuple[shapely.Geometry | None, Outcome]] = {
    "spike": (Polygon(at((0, 0), (100, 0), (100, 100), (50, 100), (50, 190), (50, 100), (0, 100))),
              Mended("a spike was cut off")),
    "bow-tie": (Polygon(at((0, 0), (100, 100), (100, 0), (0, 100))),
                Aside("its area would change by")),
    "small loop": (Polygon(at((0, 0), (100, 0), (100, 100), (48, 100), (52, 104), (52, 100),
                              (48, 104), (0, 100))), Mended("crosses or touches itself")),
    "repeated points": (Polygon([SHAPE[0], *SHAPE, SHAPE[3]]), Mended("stand twice in a row")),
    "hole outside": (Polygon(SHAPE, [at((120, 20), (130, 20), (130, 30), (120, 30))]),
                     Mended("a hole outside the outline was left out")),
    "swapped": (shapely.transform(SQUARE, lambda points: points[:, ::-1]),
                Mended("stood the wrong way round")),
    "heights": (shapely.force_3d(SQUARE, 1800), Used()),
    "parts": (MultiPolygon([SQUARE, Polygon(at((150, 0), (250, 0), (250, 100), (150, 100)))]),
              Used()),
    "parts overlap": (MultiPolygon([SQUARE, Polygon(at((98, 0), (200, 0), (200, 100), (98, 100)))]),
                      Mended("crosses or touches itself")),
    "sliver": (Polygon(at((0, 0), (100, 0), (100, 0.5), (0, 0.5))), Aside("below the plan's")),
    "too large": (box(WEST, SOUTH, WEST + 0.2, SOUTH + 0.2), Aside("above the plan's")),
    "none": (None, Aside("there is no outline")),
    "flat": (Polygon(at((0, 0), (50, 0), (100, 0))), Aside("would change by all")),
    "not on Earth": (box(300_000, 9_700_000, 300_050, 9_700_050), Aside("aren't a longitude")),
    "huge": (box(1e300, 1e300, 2e300, 2e300), Aside("aren't a longitude")),
    # Whether the raster reaches there is asked later.
    "far": (box(-110.1, 2.4, -110.09, 2.41), Used()),
}  # fmt: skip


def frame(shape=SQUARE, plot_id="bad", village="Low", **columns):
    ids = [f"good {at}" for at in range(5)] + [plot_id]
    data = {"plot_id": ids, "village": ["Low"] * 5 + [village]} | columns
    shapes = [*GOOD, shape]
    if shapely.has_z(shape):
        shapes = list(shapely.force_3d(shapes, 1800))
    return geopandas.GeoDataFrame(data, geometry=shapes, crs="EPSG:4326")


def told(suffix: str) -> dict[str, str]:
    return {"plots_crs": "EPSG:4326"} if suffix == ".csv" else {}


@pytest.mark.parametrize("suffix", DRAWN)
@pytest.mark.parametrize("fault", FAULTS)
def test_outlines(fault, suffix, tmp_path):
    shape, outcome = FAULTS[fault]
    store(tmp_path / f"plots{suffix}", frame(shape))
    judge(tmp_path, f"plots{suffix}", outcome, **told(suffix))


NEAR = "-2.502"
WALK = [(x, y) for x, y in at((0, 0), (100, 0), (100, 100), (0, 100))]
CELLS: dict[str, tuple[str, str, Outcome]] = {
    "decimal comma": ("29,902", "-2,502", Mended("a decimal comma was read as a point")),
    "degrees and minutes": ("29°54.12'E", "2°30.12'S", Mended("degrees, minutes or letters")),
    "degrees, minutes, seconds": ("E 29 54 7.2", "S 2 30 7.2", Mended("degrees, minutes")),
    "letters of the other axis": ("29.902N", "2.502E", Aside("isn't a longitude")),
    "letter against its sign": ("29.902", "-2.502S", Aside("isn't a latitude")),
    "60 minutes": ("29 60.5", "-2 30", Aside("isn't a longitude")),
    "empty": ("", "-2.502", Aside("the longitude is blank in line 7")),
    "word": ("road", "-2.502", Aside("longitude = 'road' isn't a longitude")),
    "nan": ("nan", "-2.502", Aside("longitude = 'nan' isn't")),
    "inf": ("inf", "-2.502", Aside("longitude = 'inf' isn't")),
    "exponent": ("1e999", "-2.502", Aside("longitude = '1e999' isn't")),
    "digits of another script": ("\u0662\u0669.902", "-2.502", Aside("isn't a longitude")),
    "underscore": ("29_902", "-2.502", Aside("isn't a longitude")),
    "formula": ("=1+1", "-2.502", Aside("longitude = '=1+1' isn't")),
    "markup": ("<script>", "-2.502", Aside("longitude = '<script>' isn't")),
    "metres": ("300000", "9700000", Aside("aren't a longitude and a latitude")),
    "thousands of digits": ("9" * 5000, "-2.502", Aside("isn't a longitude")),
}


def circles(lines, cell, area="0.3"):
    """A file of good points with an area, and one that isn't."""
    rows = [f"good {n};Low;{WEST + n / 1000};{SOUTH};0.3" for n in range(5)]
    return "\n".join([*lines, *rows, f"bad;Low;{cell[0]};{cell[1]};{area}"]) + "\n"


@pytest.mark.parametrize("fault", CELLS)
def test_cells_of_points(fault, tmp_path):
    *cell, outcome = CELLS[fault]
    head = ["plot_id;village;longitude;latitude;area_ha"]
    (tmp_path / "plots.csv").write_text(circles(head, cell), encoding="utf-8")
    judge(tmp_path, "plots.csv", outcome)


AREAS = {
    "0": Aside("area_ha is 0"),
    "-1": Aside("area_ha = '-1' isn't a number"),
    "": Aside("area_ha = '' isn't a number"),
    "nan": Aside("area_ha = 'nan' isn't a number"),
    "0,3": Mended("a circle"),
    "0.0001": Aside("below the plan's"),
    "99999": Aside("above the plan's"),
    "999999999": Aside("above the plan's"),
    "1e3": Aside("area_ha = '1e3' isn't a number"),
    "0.3 ha": Aside("area_ha = '0.3 ha' isn't a number"),
}


@pytest.mark.parametrize("area", AREAS)
def test_areas_of_points(area, tmp_path):
    head = ["plot_id;village;longitude;latitude;area_ha"]
    (tmp_path / "plots.csv").write_text(circles(head, ("29.902", NEAR), area))
    judge(tmp_path, "plots.csv", AREAS[area])


def walk_of(points):
    return [(n, f"{x:.7f}", f"{y:.7f}") for n, (x, y) in enumerate(points, start=1)]


ROUND = [(50 + 50 * np.cos(turn), 50 + 50 * np.sin(turn)) for turn in np.linspace(0, 6.2, 40)]
WALKS: dict[str, tuple[list[tuple[object, str, str]], Outcome]] = {
    "walked": (walk_of(at(*ROUND)), Mended("drawn from walked points")),
    "one point": (walk_of(at((0, 0))), Aside("has 1 point, fewer than 3")),
    "two points": (walk_of(at((0, 0), (9, 9))), Aside("has 2 points, fewer than 3")),
    "stood still": (walk_of(at(*[(1, 1)] * 9)), Aside("has 1 point, fewer than 3")),
    "not closed": (walk_of(at(*ROUND[:20])), Aside("isn't closed")),
    "crosses itself": (walk_of(at((0, 0), (100, 100), (100, 0), (0, 100))), Aside("change by")),
    "small loop": (
        walk_of(at((0, 0), (100, 0), (100, 100), (48, 100), (52, 104), (52, 100), (48, 104),
                   (0, 100))), Mended("crosses or touches itself")),
    "there and back": (walk_of(at((0, 0), (100, 0), (0, 0))), Aside("has 2 points")),
    "word": ([*walk_of(WALK)[:3], (4, "here", NEAR)], Aside("longitude = 'here' isn't")),
    "swapped": ([(n, y, x) for n, x, y in walk_of(WALK)], Mended("wrong way round")),
}  # fmt: skip
ORDERS: dict[str, tuple[list[tuple[object, str, str]], Outcome]] = {
    "order twice": ([(1, x, y) for _, x, y in walk_of(WALK)], Aside("order 1 stands in several")),
    "order missing": ([("", x, y) for _, x, y in walk_of(WALK)], Aside("order = '' isn't")),
    "order a word": ([("first", x, y) for _, x, y in walk_of(WALK)], Aside("order = 'first'")),
    "order negative": ([(-n, x, y) for n, x, y in walk_of(WALK)], Aside("order = '-1'")),
    "out of order": ([walk_of(WALK)[n] for n in (2, 0, 3, 1)], Mended("drawn from walked")),
}


def walks():
    yield from ((f"good {n}", walk_of(shape.exterior.coords[:-1])) for n, shape in enumerate(GOOD))


@pytest.mark.parametrize("fault", [*WALKS, *ORDERS])
def test_walks_as_csv(fault, tmp_path):
    points, outcome = (WALKS | ORDERS)[fault]
    lines = ["plot_id,village,order,longitude,latitude"]
    for plot_id, walk in [*walks(), ("bad", points)]:
        lines += [f"{plot_id},Low,{n},{x},{y}" for n, x, y in walk]
    (tmp_path / "plots.csv").write_text("\n".join(lines))
    judge(tmp_path, "plots.csv", outcome)


def gpx(bad=None, root="gpx", before="", extra=""):
    tracks = ""
    for plot_id, walk in [*walks(), ("bad", walk_of(WALK) if bad is None else bad)]:
        points = "".join(f'<trkpt lat="{y}" lon="{x}"/>' for _, x, y in walk)
        tracks += f"<trk><name>{plot_id}</name><desc>Low</desc><trkseg>{points}</trkseg></trk>"
    return f'{before}<{root} version="1.1">{tracks}{extra}</{root}>'


GPX = {"plot_id_column": "name", "village_column": "desc"}


@pytest.mark.parametrize("fault", WALKS)
def test_walks_as_gpx(fault, tmp_path):
    points, outcome = WALKS[fault]
    (tmp_path / "plots.gpx").write_text(gpx(points))
    judge(tmp_path, "plots.gpx", outcome, **GPX)


def stored(folder, suffix, **changes):
    """Store good plots and a sixth one; give the name and what the plan must say."""
    name = f"plots{suffix}"
    if suffix == ".gpx":
        (folder / name).write_text(gpx())
        return name, GPX
    store(folder / name, frame(**changes))
    return name, told(suffix)


EVERY = (*DRAWN, ".gpx")
OTHER = "is named as"
CUT: dict[str, Outcome] = {
    **dict.fromkeys((".gpkg", ".fgb", ".kmz", ".parquet"), Refused("can't be read")),
    ".geojson": Refused("isn't JSON"),
    ".kml": Refused("isn't XML"),
    ".gpx": Refused("isn't XML"),
    ".csv": Refused("line 7: isn't CSV"),
}
WHOLE: dict[str, tuple[Callable[[bytes], bytes], dict[str, str], str]] = {
    "empty": (lambda _: b"", {}, "is empty"),
    "another format": (lambda _: b"\x00\x01 no such format " * 20, {}, OTHER),
    "zeros": (lambda _: b"\x00" * 4096, {}, OTHER),
    "column": (lambda whole: whole, {"plot_id_column": "PLOT"}, "has no column 'PLOT'"),
    "in an archive": (lambda whole: whole, {"plots": "/vsizip/plots"}, "isn't a plain file name"),
    "remote": (lambda whole: whole, {"plots": "https://a.invalid/p"}, "isn't a plain file name"),
}


@pytest.mark.parametrize("suffix", EVERY)
def test_files_as_a_whole(suffix, tmp_path):
    name, files = stored(tmp_path, suffix)
    path = tmp_path / name
    whole = path.read_bytes()
    for damage, more, words in WHOLE.values():
        path.write_bytes(damage(whole))
        judge(tmp_path, name, Refused(words), **(files | more))
    if suffix in CUT:
        path.write_bytes(whole[:-40])
        judge(tmp_path, name, CUT[suffix], **files)


def test_a_shapefile_that_was_cut_off_loses_the_last_outline_alone(tmp_path):
    name, _ = stored(tmp_path, ".shp")
    (tmp_path / name).write_bytes((tmp_path / name).read_bytes()[:-40])
    judge(tmp_path, name, Aside("there is no outline"))


@pytest.mark.parametrize("lost", [".prj", ".shx", ".dbf"])
def test_a_shapefile_that_lacks_a_part(lost, tmp_path):
    name, _ = stored(tmp_path, ".shp")
    (tmp_path / name).with_suffix(lost).unlink()
    judge(tmp_path, name, Refused("states no CRS" if lost == ".prj" else f"lacks plots{lost}"))
    if lost == ".prj":
        judge(tmp_path, name, Used(), plots_crs="EPSG:4326")


@pytest.mark.parametrize("suffix", [".geojson", ".kml", ".csv", ".gpx"])
def test_text_in_another_encoding(suffix, tmp_path):
    name, files = stored(tmp_path, suffix)
    path = tmp_path / name
    path.write_bytes(path.read_bytes().replace(b"Low", "L\xf6w".encode("latin-1")))
    judge(tmp_path, name, Refused("isn't UTF-8 text (byte"), **files)


RING = "29.902 -2.502, 29.9025 -2.502, 29.9025 -2.5015, 29.902 -2.5015"
NO_WKT = Aside("isn't an outline as well-known text")
TEXTS: dict[str, Outcome] = {
    f"POLYGON (({RING}))": Mended("a ring that was open was closed"),
    f"MULTIPOLYGON ((({RING})))": Mended("a ring that was open was closed"),
    f"POLYGON Z (({RING.replace(',', ' 1,')} 1, 29.902 -2.502 1))": Used(),
    "POLYGON ((nan nan, 1 1, 2 2, nan nan))": NO_WKT,
    "POLYGON ((1e999 0, 1 1, 2 2, 1e999 0))": Aside("a coordinate isn't finite"),
    "CURVEPOLYGON (CIRCULARSTRING (0 0, 1 1, 2 0, 1 -1, 0 0))": Aside("the outline has curves"),
    "POLYGON EMPTY": Aside("there is no outline"),
    "": Aside("there is no outline"),
    "POINT (1 1)": Aside("is a point, not a polygon"),
    "LINESTRING (1 1, 2 2)": Aside("is a linestring, not a polygon"),
    "GEOMETRYCOLLECTION (POINT (1 1))": Aside("is a geometrycollection, not a polygon"),
    "hello": NO_WKT,
    "(" * 5000: NO_WKT,
    "MULTIPOLYGON (" * 3000: NO_WKT,
    "POLYGON ((29,902 -2,502, 1 1))": NO_WKT,
    "0103000000": NO_WKT,
    "=HYPERLINK(1)": NO_WKT,
}


@pytest.mark.parametrize("text", TEXTS, ids=lambda text: ascii(text[:30]))
def test_outlines_as_text(text, tmp_path):
    rows = [f"good {n};Low;{shape.wkt}" for n, shape in enumerate(GOOD)]
    lines = ["plot_id;village;wkt", *rows, f"bad;Low;{text}"]
    (tmp_path / "plots.csv").write_text("\n".join(lines))
    judge(tmp_path, "plots.csv", TEXTS[text], plots_crs="EPSG:4326")


NO_PAIR = Aside("a position isn't a pair of numbers")
OPEN = "[[29.902,-2.502],[29.9025,-2.502],[29.9025,-2.5015]]"
RINGS: dict[str, Outcome] = {
    f"[{OPEN}]": Mended("a ring that was open was closed"),
    "[[[NaN,1],[1,1],[2,2],[NaN,1]]]": Aside("a coordinate isn't finite"),
    "[[[1e999,1],[1,1],[2,2],[1e999,1]]]": Aside("a coordinate isn't finite"),
    f"[[[{'9' * 400},1],[1,1],[2,2],[3,1]]]": Aside("isn't a pair of believable numbers"),
    '[[["29,9","1"],[1,1],[2,2],[3,1]]]': NO_PAIR,
    "[[[1],[2],[3],[4]]]": NO_PAIR,
    "[[[true,1],[1,1],[2,2],[true,1]]]": NO_PAIR,
    "[]": Aside("there is no outline"),
    "{}": Aside("isn't a list of rings"),
    "null": Aside("isn't a list of rings"),
    "[[[[[1,1]]]]]": Aside("a ring has 1 point, fewer than 4"),
    "[" * 500 + "]" * 500: Aside("a ring has 1 point, fewer than 4"),
}


@pytest.mark.parametrize("rings", RINGS, ids=lambda rings: ascii(rings[:30]))
def test_outlines_as_lists(rings, tmp_path):
    shapes = [*(shapely.to_geojson(shape) for shape in GOOD),
              f'{{"type":"Polygon","coordinates":{rings}}}']  # fmt: skip
    features = ",".join(
        f'{{"type":"Feature","properties":{{"plot_id":"{plot_id}","village":"Low"}},'
        f'"geometry":{shape}}}'
        for plot_id, shape in zip([*sorted(SURE), "bad"], shapes, strict=True)
    )
    (tmp_path / "plots.geojson").write_text(
        f'{{"type":"FeatureCollection","features":[{features}]}}'
    )
    judge(tmp_path, "plots.geojson", RINGS[rings])


NO_PLACE = Aside("isn't longitude,latitude")
COORDINATES: dict[str, Outcome] = {
    "29.902,-2.502 29.9025,-2.502 29.9025,-2.5015": Mended("a ring that was open was closed"),
    "nan,1 1,1 2,2 nan,1": Aside("a coordinate isn't finite"),
    "inf,1 1,1 2,2 inf,1": Aside("a coordinate isn't finite"),
    "1e999,1 1,1 2,2 1e999,1": Aside("a coordinate isn't finite"),
    "29\xb0,1 1,1 2,2": NO_PLACE,
    "29;1": NO_PLACE,
    "1 1 2 2 3 3": NO_PLACE,
    "29.902, -2.502 29.9025, -2.502": NO_PLACE,
    "": Aside("a ring has 0 points, fewer than 4"),
}


@pytest.mark.parametrize("points", COORDINATES, ids=lambda points: ascii(points[:30]))
def test_outlines_as_coordinates(points, tmp_path):
    store(tmp_path / "plots.kml", frame())
    text = (tmp_path / "plots.kml").read_text()
    start, end = text.rindex("<coordinates>"), text.rindex("</coordinates>")
    (tmp_path / "plots.kml").write_text(text[:start] + "<coordinates>" + points + text[end:])
    judge(tmp_path, "plots.kml", COORDINATES[points])


ENTITY = '<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]>'
LAUGHS = '<!DOCTYPE a [<!ENTITY b "ha"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]>'
DOCUMENTS = {
    f"{ENTITY}<kml>&b;</kml>": "declares a document type or entities",
    f"{LAUGHS}<kml>&c;</kml>": "declares a document type or entities",
    "<kml>&b;</kml>": "isn't XML (undefined entity",
    "<html/>": "isn't KML: it starts with <html>",
    "<kml": "isn't XML",
    "<kml>\x01</kml>": "isn't XML",
    "<a>" * 100_000: "isn't XML",
    "<kml><NetworkLink/></kml>": "nothing is fetched",
}


@pytest.mark.parametrize("text", DOCUMENTS, ids=lambda text: ascii(text[:30]))
def test_documents(text, tmp_path):
    (tmp_path / "plots.kml").write_text(text)
    judge(tmp_path, "plots.kml", Refused(DOCUMENTS[text]))
    if "NetworkLink" not in text:
        (tmp_path / "plots.gpx").write_text(text.replace("kml", "gpx"))
        judge(tmp_path, "plots.gpx", Refused(DOCUMENTS[text].replace("KML", "GPX")), **GPX)


ARCHIVES: dict[str, tuple[dict[str, bytes], str]] = {
    "none": ({}, "holds 0 KML documents"),
    "several": ({"a.kml": b"<kml/>", "b.kml": b"<kml/>"}, "holds 2 KML documents"),
    "bomb": ({"doc.kml": b" " * 3_000_000}, "is larger than 1 MB"),
    "entity": ({"doc.kml": f"{ENTITY}<kml/>".encode()}, "declares a document type"),
    "other": ({"../../etc/doc.kml": b"<gpx/>"}, "isn't KML"),
    "not text": ({"doc.kml": b"\xff\xfe"}, "isn't UTF-8"),
}


@pytest.mark.parametrize("fault", ARCHIVES)
def test_archives(fault, tmp_path, monkeypatch):
    members, words = ARCHIVES[fault]
    monkeypatch.setattr(kml, "LARGEST_BYTES", 1_000_000)
    with zipfile.ZipFile(tmp_path / "plots.kmz", "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    judge(tmp_path, "plots.kmz", Refused(words))
    assert [path.name for path in tmp_path.rglob("*")] == ["plots.kmz"]


INVISIBLE = Aside("a control character or an invisible one")
NAMES: dict[str, Outcome] = {
    "": Aside("the id is missing"),
    "  ": Aside("the id is missing"),
    "a\nb": INVISIBLE,
    "a\x7fb": INVISIBLE,
    "\u202eab": INVISIBLE,
    "a\u200db": INVISIBLE,
    "x" * 1000: Aside("the id is longer than 200"),
    # Names of every other kind are names; what writes them out makes them safe.
    "=cmd()": Used(),
    "../../etc/passwd": Used(),
    "<script>": Used(),
    "con": Used(),
}


@pytest.mark.parametrize("name", NAMES, ids=lambda name: ascii(name[:20]))
def test_names(name, tmp_path):
    store(tmp_path / "plots.gpkg", frame(plot_id=name))
    judge(tmp_path, "plots.gpkg", NAMES[name])


def test_an_id_that_stands_twice_sets_both_aside(tmp_path):
    store(tmp_path / "plots.csv", frame().iloc[[0, 1, 2, 3, 4, 5, 5]])
    judge(tmp_path, "plots.csv", Aside("in 2 rows: 6, 7"), 7, plots_crs="EPSG:4326")


def test_there_are_enough_of_them():
    kinds = (
        CELLS,
        AREAS,
        WALKS,
        ORDERS,
        WALKS,
        TEXTS,
        RINGS,
        COORDINATES,
        DOCUMENTS,
        ARCHIVES,
        NAMES,
    )
    count = len(FAULTS) * len(DRAWN) + len(WHOLE) * len(EVERY) + len(CUT) + sum(map(len, kinds))
    assert count >= 150
