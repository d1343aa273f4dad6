"""Valid files of each format with bytes changed: read, or refused with words, in bounded time."""

from __future__ import annotations

import resource
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from districtplan import intake
from districtplan.errors import InputError
from districtplan.files.vector import read_plots
from tests.files.stored import frame, store

SUFFIXES = [".gpkg", ".geojson", ".shp", ".fgb", ".kml", ".kmz", ".csv", ".parquet", ".gpx"]
TRACK = (
    "<gpx><trk><name>a</name><desc>b</desc><trkseg>"
    '<trkpt lat="1" lon="1"/><trkpt lat="1" lon="2"/><trkpt lat="2" lon="2"/>'
    "</trkseg></trk></gpx>"
)
LONGEST_MS = 10_000
MEMORY_BYTES = 3_000_000_000
"""Room beyond what the test itself takes: libraries map more than they use."""

CHANGES = st.lists(
    st.tuples(
        st.sampled_from(["set", "cut", "insert", "repeat"]),
        st.floats(0, 1, exclude_max=True),
        st.binary(min_size=1, max_size=8),
    ),
    min_size=1,
    max_size=6,
)


def changed(whole, changes):
    raw = bytearray(whole)
    for kind, share, new in changes:
        at = int(share * len(raw))
        if kind == "set":
            raw[at : at + len(new)] = new
        elif kind == "cut":
            del raw[at : at + 16 * len(new)]
        elif kind == "insert":
            raw[at:at] = new
        else:
            raw[at:at] = raw[at : at + 64] * len(new)
    return bytes(raw)


def read(plan, part, raw):
    """Read the file with one part replaced; whatever comes is taken or told."""
    part.write_bytes(raw)
    try:
        found = read_plots(plan)
    except InputError as refused:
        faults = refused.faults
    else:
        plots, aside = intake.accept(found.frame, found.crs, plan.plan)
        assert len(plots) + len(aside) == len(found.frame)
        return
    assert faults
    assert all(fault.where and fault.what and fault.remedy for fault in faults)


def try_changes(suffix, folder, plan_file, examples):
    path = Path(folder / f"plots{suffix}")
    files = {"plots": path.name}
    if suffix == ".gpx":
        path.write_text(TRACK)
        files |= {"plot_id_column": "name", "village_column": "desc"}
    else:
        store(path, frame(crs="EPSG:4326"))
        files |= {"plots_crs": "EPSG:4326"} if suffix == ".csv" else {}
    plan = plan_file(**files)
    parts = [path]
    if suffix == ".shp":
        parts += [path.with_suffix(each) for each in (".dbf", ".shx", ".prj")]
    whole = {part: part.read_bytes() for part in parts}

    @settings(
        max_examples=examples,
        deadline=LONGEST_MS,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(st.sampled_from(parts), CHANGES)
    def check(part, changes):
        for each in parts:
            each.write_bytes(whole[each])
        read(plan, part, changed(whole[part], changes))

    check()


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_few_changed_bytes(suffix, tmp_path, plan_file):
    try_changes(suffix, tmp_path, plan_file, 25)


@pytest.fixture
def little_memory():
    """Hold the process to what it has and some more."""
    before = resource.getrlimit(resource.RLIMIT_AS)
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    limit = pages * resource.getpagesize() + MEMORY_BYTES
    resource.setrlimit(resource.RLIMIT_AS, (limit, before[1]))
    yield
    resource.setrlimit(resource.RLIMIT_AS, before)


@pytest.mark.slow
@pytest.mark.usefixtures("little_memory")
@pytest.mark.parametrize("suffix", SUFFIXES)
def test_many_changed_bytes_in_little_memory(suffix, tmp_path, plan_file):
    try_changes(suffix, tmp_path, plan_file, 2_000)
