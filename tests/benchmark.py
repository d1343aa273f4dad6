"""Speed and memory, as ratios within one run: ``python -m tests.benchmark``.

Makes a district with the generator of the benchmark data (in the folder that
``DISTRICTPLAN_BENCHMARK_DATA`` names), then runs, each in a process of its own:

* a calibration kernel (a fixed sum of products in numpy),
* the floor: reading the raster and the polygons and nothing else,
* the plain script: gradients over the whole raster, then a mask a plot in a loop,
* the terrain step: reading, intake, slope, percentiles, bearing and their errors,
* the same with all else that is looked at in that pass: the raster's faults, hillsides, arcs,
* what the errors, the checks of the raster's surface and the arcs cost, in one warm process,
* the rows, their lengths and holes, beside the time that drawing them takes,
* the water step over the same plots, beside plain pyflwdir on the whole raster in memory, in turns,
  so that what else the machine does meets both; it fails where the middle ratio is too large,
* the conservation step of a whole run: water, soil loss, measures under a budget, lines of works,
  and its workbook, with the memory of both,
* the steps that draw (drains, low places, guide lines, works) over a smaller district as densely
  planted, told by 100,000 plots.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import NamedTuple

from districtplan.demo.write import labour

WATER_MOST = 1.2
"""How many times as long as pyflwdir the water step may take."""

CALIBRATION = """
import numpy as np
a = np.random.default_rng(1).random(20_000_000)
for _ in range(20):
    a = np.sqrt(a * a + 1e-9)
"""

FLOOR = """
import sys, pyogrio, rasterio
with rasterio.open(sys.argv[1]) as file:
    for _, window in file.block_windows(1):
        file.read(1, window=window)
pyogrio.raw.read(sys.argv[2])
"""

TERRAIN = """
import sys
from pathlib import Path
from districtplan import geodesy, handbook, intake, terrain
from districtplan.files import plan_file, raster, vector
read = plan_file.read_plan(Path(sys.argv[1]))
raw = vector.read_plots(read)
plots, aside = intake.accept(raw.frame, raw.crs, read.plan)
with raster.Raster(read) as elevation:
    zone = intake.utm_zone(plots["longitude_deg"].to_numpy(), plots["latitude_deg"].to_numpy())
    moved = geodesy.reproject(plots["geometry"].to_numpy(), raw.crs, elevation.grid.crs)
    found, off = terrain.measure(
        plots.assign(geometry=moved), elevation, zone, read.plan, handbook.packaged()
    )
print(len(found), "plots")
"""

# The step alone: what else is looked at in the same pass is left out, and found as nothing.
BARE = (
    """
import numpy as np
from districtplan.terrain import arcs, hillside, surface
def nothing(kind, count, dtype):
    return lambda look, cells, *others: kind(
        *(np.zeros(len(cells.first), dtype=dtype) for _ in range(count))
    )
surface.Watch.look = nothing(surface.Surface, 5, bool)
hillside.Windows.look = nothing(hillside.Hillside, 2, float)
arcs.Bends.look = nothing(arcs.Arcs, 6, float)
"""
    + TERRAIN
)

PARTS = """
import sys, time
from pathlib import Path
from districtplan import handbook, intake
from districtplan.files import plan_file, raster, vector
from districtplan.terrain import arcs, hillside, surface
from districtplan.terrain.noise import ErrorModel
from districtplan.terrain.survey import block_order, survey
read = plan_file.read_plan(Path(sys.argv[1]))
raw = vector.read_plots(read)
plots, aside = intake.accept(raw.frame, raw.crs, read.plan)
book = handbook.packaged()
with raster.Raster(read) as elevation:
    outlines = plots["geometry"].to_numpy()
    outlines = outlines[block_order(outlines, elevation.grid)]
    looks = (
        surface.Watch(elevation.grid, read.plan, book),
        hillside.Windows(elevation.grid, elevation.grid.rows / 2, read.plan, book),
    )
    none, stated = ErrorModel.of(0, 0, book), ErrorModel.of(1.0, 30.0, book)
    survey(outlines[:5000], elevation, stated, looks=looks)  # warm
    before = 0.0
    for name, error, asked in (
        ("slope and bearing", none, ()),
        ("with their errors", stated, ()),
        ("and the checks", stated, looks),
        ("and the arcs", stated, (*looks, arcs.Bends(elevation.grid, stated))),
    ):
        start = time.perf_counter()
        survey(outlines, elevation, error, looks=asked)
        taken = time.perf_counter() - start
        print(f"  {name:18} {taken:6.2f} s, {taken - before:+.2f} s")
        before = taken
print(f"  so the arcs of {len(outlines):,} plots cost the last difference")
"""

ROWS = """
import sys, time
from pathlib import Path
import numpy as np, pandas as pd, shapely
from districtplan import geodesy, intake, rows
from districtplan.files import plan_file, vector
from tests.rows.fields import drawn
read = plan_file.read_plan(Path(sys.argv[1]))
raw = vector.read_plots(read)
plots, _ = intake.accept(raw.frame, raw.crs, read.plan)
zone = intake.utm_zone(plots["longitude_deg"].to_numpy(), plots["latitude_deg"].to_numpy())
plots = plots.assign(geometry=geodesy.reproject(plots["geometry"].to_numpy(), raw.crs, zone))
rng = np.random.default_rng(1)
ground = pd.DataFrame({"plot_id": plots["plot_id"], "row_method": "straight"})
ground["slope_used_pct"] = rng.uniform(2, 40, len(plots))
ground["row_bearing_grid_deg"] = rng.uniform(0, 180, len(plots))
ground["downslope_true_deg"] = (ground["row_bearing_grid_deg"] + 90) % 360
nothing = np.zeros(0, dtype=object)
start, worked = time.perf_counter(), time.process_time()
table, _, laid = rows.lay(plots, ground, zone, rows.Clear(nothing), read.plan)
ours, worked = time.perf_counter() - start, time.process_time() - worked
sample = rng.choice(len(plots), 300, replace=False)
start = time.perf_counter()
for plot in sample:
    spacing = table["row_spacing_map_m"][plot]
    drawn(plots["geometry"][plot], ground["row_bearing_grid_deg"][plot], spacing, spacing / 2)
theirs = (time.perf_counter() - start) / len(sample) * len(plots)
total = int((table["rows"] + table["short_rows"]).sum())
print(f"rows: {len(plots):,} plots, {total:,} rows in {ours:.2f} s "
      f"({worked:.2f} s of processors); drawn and cut one plot at a "
      f"time {theirs:.0f} s (from 300 of them), {theirs / ours:.0f} times as long")
"""

STEPS = """
import sys, time
from pathlib import Path
from districtplan import pipeline, rows
taken = {}
def told(name):
    step = getattr(rows, name)
    def timed(*given):
        start = time.perf_counter()
        try:
            return step(*given)
        finally:
            taken[name] = taken.get(name, 0) + time.perf_counter() - start
    setattr(rows, name, timed)
for name in ("drain", "lay", "low_places"):
    told(name)
pipeline.find(Path(sys.argv[1]))  # warm
taken.clear()
found = pipeline.find(Path(sys.argv[2]))
plots = len(found.plots)
methods = found.plots["row_method"].value_counts().to_dict()
print(f"steps over {plots:,} plots, and by 100,000; {methods}")
taken |= {name: found.seconds[name] for name in ("guide lines", "measures", "pegs")}
for name, seconds in taken.items():
    print(f"  {name:12} {seconds:7.2f} s {seconds / plots * 100_000:8.1f} s")
guided = int(found.plots["guide_kind"].notna().sum())
print(f"  {1000 * taken['guide lines'] / max(guided, 1):.0f} ms for each plot with guide lines")
most = found.plan.conservation.sites_drawn_max
print(f"  works        {found.seconds['works']:7.2f} s; lines are drawn for at most {most} sites, "
      "however many plots there are")
"""

WATER = (
    TERRAIN.replace("import geodesy", "import water, geodesy").split("    found, off")[0]
    + """
    told, lines, _ = water.trace(
        plots.assign(geometry=moved), elevation, read.plan, handbook.packaged()
    )
print(len(told), "plots", len(lines), "flow lines")
"""
)

PYFLWDIR = """
import sys, numpy, pyflwdir, rasterio
with rasterio.open(sys.argv[1]) as file:
    heights = file.read(1).astype("float32")
    heights[heights == file.nodata] = numpy.nan
flow = pyflwdir.from_dem(heights, nodata=numpy.nan)
print(flow.upstream_area().max())
"""

WHOLE = """
import sys, time
from pathlib import Path
from districtplan import pipeline
from districtplan.outputs import workbook
from districtplan.outputs.texts import Texts
found = pipeline.find(Path(sys.argv[1]))
priorities, works = found.proposal.priorities, found.works
start = time.perf_counter()
content = workbook.render(found, Texts.load("en"))["district.xlsx"]
print(f"workbook of {len(found.plots):,} plots, {len(content) / 1e6:.0f} MB, in "
      f"{time.perf_counter() - start:.1f} s", flush=True)
for name in ("water", "erosion", "measures", "works"):
    print(f"  {name:18} {found.seconds[name]:6.2f} s")
steps = sum(found.seconds[name] for name in ("water", "erosion", "measures", "works"))
print(f"conservation step {steps:.1f} s of a run of {sum(found.seconds.values()):.1f} s; "
      f"{len(priorities.chosen):,} measures, gap {100 * priorities.gap:.3f} %, "
      f"{works.sites_drawn} of {works.sites} hillsides drawn", flush=True)
"""

SOIL = """
[soil]
rain_erosivity_mj_mm_ha_h_yr = 4500
erodibility_t_ha_h_ha_mj_mm = 0.03
cover_factor = 0.2
[practice]
row_form = "earthed up"
hundred_seed_weight_g = 40
npk_kg_ha = 100
urea_kg_ha = 40
manure_kg_ha = 3000
[money]
seed_price_kg = 2.4
npk_price_kg = 1.1
urea_price_kg = 0.9
manure_price_kg = 0.02
[conservation]
budget = 100000
"""

PLAN = """\
[plan]
version = 1
[district]
name = "Benchmark"
planting_date = 2026-03-15
[files]
plots = "{plots}"
elevation = ["{elevation}"]
[elevation]
vertical_error_m = {error}
error_correlation_m = 30.0
"""


class Taken(NamedTuple):
    """What a process took."""

    seconds: float
    worked: float
    """Seconds of processors, its own and the system's."""


def timed(name: str, *command: object, shown: bool = False) -> Taken:
    """Run a process; print and give its seconds, print its largest memory."""
    start = time.perf_counter()
    # As on a user's machine, where modules are compiled once.
    own = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    child = subprocess.Popen(
        [sys.executable, *map(str, command)],
        stdout=None if shown else subprocess.DEVNULL,
        env=own,
    )
    _, status, usage = os.wait4(child.pid, 0)
    seconds = time.perf_counter() - start
    if status:
        sys.exit(f"{name} failed")
    taken = Taken(seconds, usage.ru_utime + usage.ru_stime)
    sys.stdout.write(
        f"{name:12} {seconds:7.2f} s {taken.worked:7.2f} s of processors "
        f"{usage.ru_maxrss / 1024:7.0f} MB\n"
    )
    return taken


def district(
    data: Path, folder: Path, cells: int, plots: int, error: float = 1.0
) -> tuple[Path, Path, Path]:
    """Make a district; give its plan, its raster and its plots."""
    timed("district", data / "make_district.py", folder, "--cells", cells, "--plots", plots)
    raster, outlines = folder / f"dem_{cells}.tif", folder / f"plots_{cells}_{plots}.gpkg"
    plan = folder / f"plan_{cells}.toml"
    named = PLAN.format(plots=outlines.name, elevation=raster.name, error=error)
    plan.write_text(named, encoding="utf-8")
    return plan, raster, outlines


def steps_that_draw(data: Path, folder: Path) -> None:
    """Print what the steps cost that work on each plot by itself."""
    # A better raster than that of the terrain step, on which most bearings wait for the ground.
    sizes = (400, 50), (300, 250)
    warm, plan = (district(data, folder, *size, error=0.1)[0] for size in sizes)
    subprocess.run([sys.executable, "-c", STEPS, warm, plan], check=True)


def rows_beside_drawing(plan: Path) -> None:
    """Print how long the rows of a district take, and how long if each is drawn."""
    told = subprocess.run(
        [sys.executable, "-c", ROWS, str(plan)], check=True, capture_output=True, text=True
    )
    sys.stdout.write(told.stdout)


def measure_water(plan: Path, raster: Path, pairs: int) -> float:
    """Time the water step and plain pyflwdir in turns; print and give the middle ratio."""
    found = []
    # Once each before, so that neither is charged with compiling.
    for _ in range(1 + pairs):
        library = timed("pyflwdir", "-c", PYFLWDIR, raster)
        ours = timed("water step", "-c", WATER, plan)
        found.append([own / other for own, other in zip(ours, library, strict=True)])
    for name, ratios in zip(("time", "of processors"), zip(*found[1:], strict=True), strict=True):
        sys.stdout.write(
            f"water step / pyflwdir, {name}: {median(ratios):.2f} in the middle of {pairs} pairs, "
            f"{min(ratios):.2f} to {max(ratios):.2f}\n"
        )
    return median(seconds for seconds, _ in found[1:])


def measure_conservation(plan: Path) -> None:
    """Run a district with soil, invented labour and a budget, and time what conservation takes."""
    for name, content in labour().items():
        file = plan.parent / name
        file.parent.mkdir(exist_ok=True)
        file.write_bytes(content)
    asked = plan.read_text(encoding="utf-8").replace("[files]", '[files]\nhandbook = "handbook"')
    whole = plan.with_name("whole.toml")
    whole.write_text(asked + SOIL, encoding="utf-8")
    timed("whole run", "-c", WHOLE, whole, shown=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cells", type=int, default=6000)
    parser.add_argument("--plots", type=int, default=100_000)
    parser.add_argument("--pairs", type=int, default=5, help="how often water is measured")
    parser.add_argument("--folder", type=Path, help="where the district is made and kept")
    asked = parser.parse_args()
    if "DISTRICTPLAN_BENCHMARK_DATA" not in os.environ:
        sys.exit("Set DISTRICTPLAN_BENCHMARK_DATA to the folder of the benchmark data")
    data = Path(os.environ["DISTRICTPLAN_BENCHMARK_DATA"])
    if not (data / "make_district.py").is_file():
        sys.exit(f"No benchmark data in {data}: correct DISTRICTPLAN_BENCHMARK_DATA")
    with tempfile.TemporaryDirectory() as temporary:
        folder = asked.folder or Path(temporary)
        plan, raster, plots = district(data, folder, asked.cells, asked.plots)
        calibration = timed("calibration", "-c", CALIBRATION)
        floor = timed("floor", "-c", FLOOR, raster, plots)
        plain = timed(
            "plain script", data / "plain_script.py", raster, plots, "--tmp", folder / "p.tif"
        )
        ours = timed("terrain step", "-c", BARE, plan)
        whole = timed("with all looks", "-c", TERRAIN, plan)
        subprocess.run([sys.executable, "-c", PARTS, plan], check=True)
        rows_beside_drawing(plan)
        water = measure_water(plan, raster, asked.pairs)
        sys.stdout.flush()
        measure_conservation(plan)
        steps_that_draw(data, folder)
    sys.stdout.write(
        f"plain script / terrain step {plain.seconds / ours.seconds:.1f}, "
        f"with all looks {plain.seconds / whole.seconds:.1f}; "
        f"terrain step / floor {ours.seconds / floor.seconds:.1f}; "
        f"terrain step / calibration {ours.seconds / calibration.seconds:.1f}\n"
    )
    if water > WATER_MOST:
        sys.exit(f"The water step takes more than {WATER_MOST} times as long as pyflwdir")


if __name__ == "__main__":
    main()
