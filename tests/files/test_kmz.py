from __future__ import annotations

import tracemalloc
import zipfile

import pytest

from districtplan.files import kml, kmz
from districtplan.files.vector import read_plots
from tests.files.stored import SQUARES, VILLAGES, frame, refuse, write_kml


def pack(path, members, compression=zipfile.ZIP_DEFLATED):
    with zipfile.ZipFile(path, "w", compression) as archive:
        for name, content in members.items():
            archive.writestr(name, content)


def test_a_kmz_is_its_kml(tmp_path, plan_file):
    write_kml(tmp_path / "doc.kml", frame(crs="EPSG:4326"))
    text = (tmp_path / "doc.kml").read_text()
    for inside in ("doc.kml", "files/plots.KML"):
        pack(tmp_path / "plots.kmz", {"a.png": b"x", inside: text})
        found = read_plots(plan_file(plots="plots.kmz")).frame
        assert found["village"].tolist() == VILLAGES
        assert all(a.equals(b) for a, b in zip(found["geometry"], SQUARES, strict=True))


def test_an_archive_that_unpacks_to_too_much_is_refused(tmp_path, plan_file, monkeypatch):
    pack(tmp_path / "plots.kmz", {"doc.kml": b" " * 30_000_000})
    assert (tmp_path / "plots.kmz").stat().st_size < 100_000
    monkeypatch.setattr(kmz, "ARCHIVE_BYTES", 1_000_000)
    monkeypatch.setattr(kml, "LARGEST_BYTES", 1_000_000)
    plan = plan_file(plots="plots.kmz")
    tracemalloc.start()
    refuse(plan, "is larger than 1 MB")
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    # It isn't unpacked to the end and then found too large.
    assert most < 10_000_000


@pytest.mark.parametrize(
    ("members", "match"),
    [
        ({}, "holds 0 KML documents"),
        ({"a.kml": "<kml/>", "b.kml": "<kml/>"}, "holds 2 KML documents"),
        ({"doc.kml": "<gpx/>"}, "isn't KML"),
        ({"doc.kml": b"\xff\xfe"}, "isn't UTF-8"),
    ],
)
def test_archives_that_hold_no_plots_say_why(members, match, tmp_path, plan_file):
    pack(tmp_path / "plots.kmz", members)
    refuse(plan_file(plots="plots.kmz"), match)


def test_nothing_is_unpacked_to_a_disk_and_damage_is_told(tmp_path, plan_file):
    folder = tmp_path / "in"
    folder.mkdir()
    pack(tmp_path / "plots.kmz", {"../../evil.kml": "<kml/>", "../x.txt": "x"})
    before = sorted(tmp_path.rglob("*"))
    assert len(read_plots(plan_file(plots="plots.kmz")).frame) == 0
    assert sorted(tmp_path.rglob("*")) == before
    whole = (tmp_path / "plots.kmz").read_bytes()
    (tmp_path / "plots.kmz").write_bytes(whole[: len(whole) // 2])
    refuse(plan_file(plots="plots.kmz"), "can't be read")
