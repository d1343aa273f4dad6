"""Speed and memory, as ratios within one run: ``python -m tests.benchmark``.

Makes a district with the generator of the benchmark data (in the folder that
``DISTRICTPLAN_BENCHMARK_DATA`` names), then runs, each in a process of its own:

* a calibration kernel (a fixed sum of products in numpy),
* the floor: reading the raster and the polygons and nothing else,
* the plain script: gradients over the whole raster, then a mask a plot in a loop,
* the terrain step: reading, intake, slope, percentiles, bearing, errors, arcs,
* the same without arcs.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

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

# As above, with the arcs of rows left out.
WITHOUT_ARCS = (
    """
import numpy as np
from districtplan.terrain import arcs
def nothing(cells, *others):
    return arcs.Arcs(*(np.zeros(len(cells.first)) for _ in range(6)))
arcs.fit = nothing
"""
    + TERRAIN
)

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
vertical_error_m = 1.0
error_correlation_m = 30.0
"""


def timed(name: str, *command: object) -> float:
    """Run a process; print and give its seconds, print its largest memory."""
    start = time.perf_counter()
    child = subprocess.Popen([sys.executable, *map(str, command)], stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    seconds = time.perf_counter() - start
    if status:
        sys.exit(f"{name} failed")
    sys.stdout.write(f"{name:12} {seconds:7.2f} s {usage.ru_maxrss / 1024:7.0f} MB\n")
    return seconds


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cells", type=int, default=6000)
    parser.add_argument("--plots", type=int, default=100_000)
    parser.add_argument("--folder", type=Path, help="where the district is made and kept")
    asked = parser.parse_args()
    if "DISTRICTPLAN_BENCHMARK_DATA" not in os.environ:
        sys.exit("Set DISTRICTPLAN_BENCHMARK_DATA to the folder of the benchmark data")
    data = Path(os.environ["DISTRICTPLAN_BENCHMARK_DATA"])
    if not (data / "make_district.py").is_file():
        sys.exit(f"No benchmark data in {data}: correct DISTRICTPLAN_BENCHMARK_DATA")
    with tempfile.TemporaryDirectory() as temporary:
        folder = asked.folder or Path(temporary)
        size = ("--cells", asked.cells, "--plots", asked.plots)
        timed("district", data / "make_district.py", folder, *size)
        raster = folder / f"dem_{asked.cells}.tif"
        plots = folder / f"plots_{asked.cells}_{asked.plots}.gpkg"
        plan = folder / "plan.toml"
        plan.write_text(PLAN.format(plots=plots.name, elevation=raster.name), encoding="utf-8")
        calibration = timed("calibration", "-c", CALIBRATION)
        floor = timed("floor", "-c", FLOOR, raster, plots)
        plain = timed(
            "plain script", data / "plain_script.py", raster, plots, "--tmp", folder / "p.tif"
        )
        ours = timed("terrain step", "-c", TERRAIN, plan)
        bare = timed("without arcs", "-c", WITHOUT_ARCS, plan)
    sys.stdout.write(
        f"plain script / terrain step {plain / ours:.1f}; terrain step / floor {ours / floor:.1f}; "
        f"terrain step / calibration {ours / calibration:.1f}; arcs {ours - bare:.2f} s\n"
    )


if __name__ == "__main__":
    main()
