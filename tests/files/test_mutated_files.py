"""Valid files of each format with bytes changed: read, or refused with words, in bounded time."""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from hypothesis.errors import DeadlineExceeded

from districtplan import intake
from districtplan.errors import InputError
from districtplan.files import keyed_csv, readings
from districtplan.files.raster import Raster
from districtplan.files.vector import read_plots
from districtplan.grid import Window
from districtplan.tables import BY_NAME
from tests.files.stored import frame, store

SUFFIXES = [".gpkg", ".geojson", ".shp", ".fgb", ".kml", ".kmz", ".csv", ".parquet", ".gpx"]
TRACK = (
    "<gpx><trk><name>a</name><desc>b</desc><trkseg>"
    '<trkpt lat="1" lon="29.9"/><trkpt lat="1" lon="29.901"/><trkpt lat="1.001" lon="29.901"/>'
    "</trkseg></trk></gpx>"
)
FIELDS = [shapely.box(29.9 + at / 1000, 1, 29.9005 + at / 1000, 1.0005) for at in range(4)]
"""Plots that are used, so that what becomes of those is seen."""
# From a thread: a hang of compiled code answers to no signal.
pytestmark = pytest.mark.timeout(120, method="thread")
LONGEST_MS = 10_000
MEMORY_BYTES = 3_000_000_000
"""Room beyond what the test itself takes: libraries map more than they use."""

# Signs of the formats that are text, too: foreign bytes alone are refused at the door.
NEW = st.one_of(
    st.binary(min_size=1, max_size=8),
    st.text("0123456789.,;-+eE<>/\"'{}[]: \n", min_size=1, max_size=4).map(str.encode),
    st.sampled_from("0123456789").map(str.encode),
)
CHANGES = st.lists(
    st.tuples(
        st.sampled_from(["set", "set", "drop", "insert", "cut", "repeat"]),
        st.floats(0, 1, exclude_max=True),
        NEW,
    ),
    min_size=1,
    max_size=3,
)


def changed(whole, changes):
    raw = bytearray(whole)
    for kind, share, new in changes:
        at = int(share * len(raw))
        if kind == "set":
            raw[at : at + len(new)] = new
        elif kind == "drop":
            del raw[at : at + len(new)]
        elif kind == "cut":
            del raw[at : at + 16 * len(new)]
        elif kind == "insert":
            raw[at:at] = new
        else:
            raw[at:at] = raw[at : at + 64] * len(new)
    return bytes(raw)


def taken_or_told(read):
    """Read; whatever comes is taken or told."""
    try:
        read()
    except InputError as refused:
        faults = refused.faults
    else:
        return
    assert faults
    assert all(fault.where and fault.what and fault.remedy for fault in faults)


def of_plots(plan):
    found = read_plots(plan)
    plots, aside = intake.accept(found.frame, found.crs, plan.plan)
    assert len(plots) + len(aside) == len(found.frame)


def of_heights(plan):
    low, high = BY_NAME["elevation_mean_m"].low, BY_NAME["elevation_mean_m"].high
    with Raster(plan) as raster:
        grid = raster.grid
        heights = raster.read(Window(0, 0, min(grid.rows, 64), min(grid.columns, 64)))
        known = heights[~np.isnan(heights)]
        assert ((known >= low) & (known <= high)).all()


def of_readings(plan):
    found = readings.read_readings(plan)
    assert found.frame["source_row"].is_unique


def of_villages(plan):
    found = keyed_csv.read_table(plan.plan.files.village_names, plan.folder, intake.SPELLINGS)
    plots = pd.DataFrame({"village": ["Low", "High"], "village_as_given": None})
    _, given = intake.rename(plots, found.frame)
    assert len(given.used) + len(given.set_aside) == given.rows_read == len(found.frame)


def try_changes(suffix, folder, plan_file, examples, longest_ms=LONGEST_MS):
    path = Path(folder / f"plots{suffix}")
    files = {"plots": path.name}
    if suffix == ".gpx":
        path.write_text(TRACK)
        files |= {"plot_id_column": "name", "village_column": "desc"}
    else:
        store(path, frame(FIELDS, crs="EPSG:4326", plot_id=["A-1", "Ø 2", "3", None]))
        files |= {"plots_crs": "EPSG:4326"} if suffix == ".csv" else {}
    plan = plan_file(**files)
    parts = [path]
    if suffix == ".shp":
        parts += [path.with_suffix(each) for each in (".dbf", ".shx", ".prj")]
    change_parts(parts, lambda: of_plots(plan), examples, longest_ms)


def change_parts(parts, read, examples, longest_ms=LONGEST_MS):
    """Read the file again and again, one of its parts changed."""
    whole = {part: part.read_bytes() for part in parts}

    @settings(
        max_examples=examples,
        deadline=longest_ms,
        database=None,
        # A hang that is made smaller again and again hangs for long.
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(st.sampled_from(parts), CHANGES)
    def check(part, changes):
        for each in parts:
            each.write_bytes(whole[each])
        part.write_bytes(changed(whole[part], changes))
        taken_or_told(read)

    check()


@pytest.fixture
def little_memory():
    """Hold the process to what it has and some more."""
    before = resource.getrlimit(resource.RLIMIT_AS)
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    limit = pages * resource.getpagesize() + MEMORY_BYTES
    resource.setrlimit(resource.RLIMIT_AS, (limit, before[1]))
    yield
    resource.setrlimit(resource.RLIMIT_AS, before)


@pytest.mark.usefixtures("little_memory")
@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_few_changed_bytes(suffix, tmp_path, plan_file):
    try_changes(suffix, tmp_path, plan_file, 25)


def beside(kind, folder, plan_file):
    """Write a file of another kind; give it and what reads it."""
    path = folder / f"beside.{kind}"
    if kind == "tif":
        transform = Affine(10, 0, 300_000, 0, -10, 9_800_000)
        with rasterio.open(
            path, "w", driver="GTiff", width=40, height=30, count=1, dtype="float32",
            crs="EPSG:32736", transform=transform, nodata=-9999, tiled=True, blockxsize=16,
            blockysize=16, compress="deflate",
        ) as file:  # fmt: skip
            file.write(np.arange(1200, dtype=np.float32).reshape(30, 40), 1)
        return path, lambda: of_heights(plan_file(elevation=[path.name]))
    if kind == "asc":
        head = "ncols 8\nnrows 6\nxllcorner 300000\nyllcorner 9800000\ncellsize 10\n"
        path.write_text(head + "\n".join(" ".join(map(str, range(8))) for _ in range(6)))
        plan = plan_file(elevation=[path.name], elevation_crs="EPSG:32736")
        return path, lambda: of_heights(plan)
    if kind == "readings":
        path.write_text(
            "plot_id,slope_pct,bearing_deg,bearing_reference,method,date\n"
            "a,12,80,true,compass,2026-02-01\nb,9,,,clinometer,2026-02-02\n"
        )
        return path, lambda: of_readings(plan_file(readings=path.name))
    path.write_text("village_as_given,village\nLow,Lower\nHigh,\n")
    return path, lambda: of_villages(plan_file(village_names=path.name))


KINDS = ["tif", "asc", "readings", "villages"]


@pytest.mark.usefixtures("little_memory")
@pytest.mark.parametrize("kind", KINDS)
def test_a_few_changed_bytes_of_other_files(kind, tmp_path, plan_file):
    path, read = beside(kind, tmp_path, plan_file)
    change_parts([path], read, 50)


def lose_a_row(monkeypatch):
    whole = intake.accept
    monkeypatch.setattr(intake, "accept", lambda *given: (whole(*given)[0][1:], whole(*given)[1]))


def fall_over(monkeypatch):
    def broken(_):
        raise KeyError("geometry")

    monkeypatch.setattr("tests.files.test_mutated_files.read_plots", broken)


def say_nothing(monkeypatch):
    def silent(_):
        raise InputError

    monkeypatch.setattr("tests.files.test_mutated_files.read_plots", silent)


def hang(monkeypatch):
    whole = read_plots

    def slow(plan):
        time.sleep(0.4)
        return whole(plan)

    monkeypatch.setattr("tests.files.test_mutated_files.read_plots", slow)


@pytest.mark.parametrize(
    ("fault", "seen"),
    [
        (lose_a_row, AssertionError),
        (fall_over, KeyError),
        (say_nothing, AssertionError),
        (hang, DeadlineExceeded),
    ],
)
def test_a_fault_of_the_reader_is_seen(fault, seen, tmp_path, plan_file, monkeypatch):
    fault(monkeypatch)
    with pytest.raises(seen):
        try_changes(".csv", tmp_path, plan_file, 25, longest_ms=200)


ENDLESS = """
import pytest
from tests.files.test_mutated_files import pytestmark as bound

pytestmark = pytest.mark.timeout(1, **bound.kwargs)

def test_endless():
    while True:
        pass
"""


def test_a_hang_without_end_is_seen(tmp_path):
    (tmp_path / "test_endless.py").write_text(ENDLESS)
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", tmp_path],
        cwd=Path(__file__).parents[2], capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert "Timeout" in done.stdout + done.stderr


@pytest.mark.slow
@pytest.mark.timeout(3_600, method="thread")
@pytest.mark.usefixtures("little_memory")
@pytest.mark.parametrize("suffix", SUFFIXES)
def test_many_changed_bytes_in_little_memory(suffix, tmp_path, plan_file):
    try_changes(suffix, tmp_path, plan_file, 2_000)


@pytest.mark.slow
@pytest.mark.timeout(3_600, method="thread")
@pytest.mark.usefixtures("little_memory")
@pytest.mark.parametrize("kind", KINDS)
def test_many_changed_bytes_of_other_files_in_little_memory(kind, tmp_path, plan_file):
    path, read = beside(kind, tmp_path, plan_file)
    change_parts([path], read, 2_000)


@pytest.mark.usefixtures("little_memory")
def test_a_reader_that_takes_too_much_is_seen(tmp_path, plan_file, monkeypatch):
    monkeypatch.setattr(
        "tests.files.test_mutated_files.read_plots",
        lambda _: np.ones(2 * MEMORY_BYTES // 8),
    )
    with pytest.raises(MemoryError):
        try_changes(".geojson", tmp_path, plan_file, 2)
