"""How quick the page of a large district is: ``python -m tests.page_speed``.

Makes an invented district of 100,000 plots in 400 villages, writes its page, and opens it in
headless Chromium from a file, with the network shut. Prints how long the page took to build and how
large its folder is; the time from navigation until a click on a plot, by way of its village, shows
that plot's id and slope, on the district's page and on the page of a village of 1,000 plots; and
how long pictures take while the map is dragged. Fails where a limit is broken.
"""

from __future__ import annotations

import argparse
import dataclasses
import itertools
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely
from pyproj import Transformer

from districtplan.files.relief import SIDE_MAX
from districtplan.handbook import packaged
from districtplan.inputs import purchase
from districtplan.outputs import page
from districtplan.outputs.texts import Texts
from tests.outputs.conftest import (
    ARGUMENTS,
    CHROMIUM,
    PLOTS_CRS,
    district_of,
    make_proposal,
    make_results,
    totals_of,
)

if TYPE_CHECKING:
    from districtplan.results import Results

PLOTS, VILLAGES, VILLAGE_PLOTS = 100_000, 400, 1_000
TIMES = 5
APART_M, SPIRAL_M = 3_000.0, 60.0
GOLDEN_DEG = 137.508
DISTRICT_S, VILLAGE_S, BUILT_S = 1.5, 1.0, 60.0
FOLDER_MB, FRAME_MS, FRAMES_SHARE = 60.0, 33.0, 0.95
PAN_S = 3.0

CARD = """([id, slope]) => new Promise((done, fail) => {
  const until = performance.now() + 20000;
  const look = () => {
    const card = document.querySelector('#card');
    const said = card.hidden ? '' : card.innerText;
    if (said.includes(`Plot ${id}`) && said.includes(`Slope ${slope} %`)) done(performance.now());
    else if (performance.now() > until) fail(new Error(`no card of ${id}: ${said.slice(0, 200)}`));
    else requestAnimationFrame(look);
  };
  look();
})"""

FRAMES = """(seconds) => new Promise((done) => {
  const [times, end] = [[], performance.now() + 1000 * seconds];
  const next = (now) => {
    times.push(now);
    if (now < end) requestAnimationFrame(next);
    else done(times.slice(1).map((time, at) => time - times[at]));
  };
  requestAnimationFrame(next);
})"""


def many(plots: int, villages: int) -> Results:
    """Repeat the small district's plots over villages that lie on a square grid."""
    results = make_results()
    rng = np.random.default_rng(1)
    small = len(results.plots)
    village = np.sort(np.arange(plots) % villages)
    rank = np.arange(plots) - np.searchsorted(village, village)
    turn = np.radians(GOLDEN_DEG * rank)
    side = int(np.ceil(np.sqrt(villages)))
    corners = shapely.get_coordinates(shapely.centroid(results.plots["geometry"].to_numpy()))
    at = np.column_stack([village % side, village // side]) * APART_M
    at += SPIRAL_M * np.sqrt(rank)[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    move = at - corners[np.arange(plots) % small] + corners[0] + rng.normal(0, 4, (plots, 2))
    ids = np.array([f"P{number:06d}" for number in range(plots)], dtype=object)
    table = _repeated(results.plots, plots).assign(
        plot_id=ids,
        village=[f"Village {number:03d}" for number in village],
        source_row=np.arange(1, plots + 1),
        work_site=[f"Hill-{number}" for number in range(plots)],
    )
    table["geometry"] = _moved(table["geometry"], move)
    inside = shapely.get_coordinates(shapely.point_on_surface(table["geometry"].to_numpy()))
    longitude, latitude = Transformer.from_crs(PLOTS_CRS, 4326, always_xy=True).transform(*inside.T)
    slope = np.round(table["slope_mean_pct"] * rng.uniform(0.8, 1.2, plots), 1)
    table = table.assign(longitude_deg=longitude, latitude_deg=latitude, slope_mean_pct=slope)

    def spread(lines: pd.DataFrame) -> pd.DataFrame:
        place = dict(zip(results.plots["plot_id"], range(small), strict=True))
        parts = []
        for plot_id, of_plot in lines.groupby("plot_id", sort=False):
            copies = np.arange(place[plot_id], plots, small)
            grown = of_plot.loc[of_plot.index.repeat(len(copies))]
            copy = np.tile(copies, len(of_plot))
            shape = grown["geometry"].to_numpy(dtype=object)
            parts.append(grown.assign(plot_id=ids[copy], geometry=_moved(shape, move[copy])))
        return pd.concat(parts, ignore_index=True)

    totals = totals_of(table)
    west, east = longitude.min() - 0.01, longitude.max() + 0.01
    south, north = latitude.min() - 0.01, latitude.max() + 0.01
    guides = dataclasses.replace(
        results.guides, lines=spread(results.guides.lines), pegs=spread(results.guides.pegs)
    )
    # As many cells as a run hands on at most.
    rows, columns = np.mgrid[0:SIDE_MAX, 0:SIDE_MAX]
    waves = np.sin(columns / 29) * np.cos(rows / 23)
    noise = rng.normal(0, 3, rows.shape)
    shade, heights = 150 + 60 * waves + noise, 1500 + 60 * waves + 0.3 * noise + rows / 5
    return dataclasses.replace(
        results,
        plots=table,
        guides=guides,
        pegs=dataclasses.replace(results.pegs, table=spread(results.pegs.table), walks={}),
        proposal=make_proposal(table, results.plan),
        works=dataclasses.replace(
            results.works, days=pd.DataFrame({"plot_id": ids, "days_owed": np.nan})
        ),
        row_lines=dataclasses.replace(results.row_lines, planted=table["geometry"].to_numpy()),
        purchase=purchase(table, table["geometry"].to_numpy(), None, results.plan, packaged()),
        villages=totals,
        district=district_of(totals),
        relief=dataclasses.replace(
            results.relief,
            shade=shade.astype(np.uint8),
            heights_m=heights.astype(np.float32),
            west=west,
            east=east,
            south=south,
            north=north,
        ),
        rows_read=plots,
    )


def _repeated(table: pd.DataFrame, rows: int) -> pd.DataFrame:
    return table.iloc[np.arange(rows) % len(table)].reset_index(drop=True)


def _moved(shapes: Any, move: np.ndarray) -> np.ndarray:
    shapes = np.asarray(shapes, dtype=object)
    points, owner = shapely.get_coordinates(shapes, return_index=True)
    return shapely.set_coordinates(shapes.copy(), points + move[owner])


def open_plot(
    browser: Any, file: Path, results: Results, place: int, *, drill: bool
) -> tuple[float, float]:
    """Time from navigation until a click on a plot shows its id and slope [s].

    Beside it the time that the page's thread was at work, which others on the machine don't change.
    """
    plot = results.plots.iloc[place]
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    tab = context.new_page()
    inspected = context.new_cdp_session(tab)
    inspected.send("Performance.setTimeDomain", {"timeDomain": "threadTicks"})
    inspected.send("Performance.enable")
    tab.goto(file.as_uri(), wait_until="commit")
    # Times of the page itself count from navigation.
    tab.wait_for_selector("#map canvas.fields", state="attached")
    if drill:
        # Where the village's first plot lies is on the map before any plot is there.
        own = results.plots[results.plots["village"] == plot["village"]]
        click_at(tab, own["longitude_deg"].iloc[0], own["latitude_deg"].iloc[0])
        tab.wait_for_selector("#village:not([hidden])")
    tab.evaluate("districtplan.settled()")
    click_at(tab, plot["longitude_deg"], plot["latitude_deg"])
    told = tab.evaluate(CARD, [plot["plot_id"], f"{plot['slope_mean_pct']:.1f}"])
    metrics = inspected.send("Performance.getMetrics")["metrics"]
    (worked,) = (one["value"] for one in metrics if one["name"] == "ThreadTime")
    context.close()
    return float(told) / 1000, worked


def click_at(tab: Any, longitude: float, latitude: float) -> None:
    """Click on a point in degrees."""
    at = tab.evaluate("([x, y]) => districtplan.pointOf(x, y)", [longitude, latitude])
    tab.mouse.click(at["x"], at["y"])


def pan(browser: Any, file: Path, *, drill: bool) -> np.ndarray:
    """Drag the map to and fro and give how long each picture took [ms]."""
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    tab = context.new_page()
    tab.goto(file.as_uri())
    tab.evaluate("districtplan.settled()")
    if drill:
        tab.click("#list > summary")
        tab.click("#list .village summary >> nth=50")
        tab.click("#list .village[open] .tokens button >> nth=0")
        tab.evaluate("districtplan.settled()")
    box = tab.evaluate(
        "(({x, y, width, height}) => [x + width * 0.6, y + height / 2])"
        "(document.querySelector('#map').getBoundingClientRect())"
    )
    tab.evaluate(f"() => {{ window.frames_told = ({FRAMES})({PAN_S}); }}")
    tab.mouse.move(*box)
    tab.mouse.down()
    start = time.perf_counter()
    for step in itertools.count():
        if time.perf_counter() - start > PAN_S - 0.3:
            break
        angle = step / 12
        tab.mouse.move(box[0] + 150 * np.sin(angle), box[1] + 90 * np.sin(angle / 2))
    tab.mouse.up()
    frames = np.array(tab.evaluate("window.frames_told"))
    context.close()
    return frames


def measure(files: dict[str, bytes], folder: Path) -> float:
    """Write pages; give their size [MB]."""
    for name, content in files.items():
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    return sum(map(len, files.values())) / 1e6


def main() -> None:
    """Measure, print, and fail where a limit is broken."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--plots", type=int, default=PLOTS)
    parser.add_argument("--villages", type=int, default=VILLAGES)
    asked = parser.parse_args()
    broken = []

    def tell(what: str, value: float, limit: float, unit: str) -> None:
        print(f"{what}: {value:.2f} {unit} (limit {limit:g})")  # noqa: T201 - this script's result
        if value > limit:
            broken.append(what)

    from playwright.sync_api import sync_playwright

    texts = Texts.load("en")
    with tempfile.TemporaryDirectory() as temporary, sync_playwright() as driver:
        district, village = Path(temporary, "district"), Path(temporary, "village")
        results = many(asked.plots, asked.villages)
        start, worked = time.perf_counter(), time.process_time()
        files = page.render(results, texts)
        worked = time.process_time() - worked
        tell("built", time.perf_counter() - start, BUILT_S, "s")
        print(f"  {worked:.1f} s of one core")  # noqa: T201
        tell("folder", measure(files, district), FOLDER_MB, "MB")
        one = many(VILLAGE_PLOTS, 1)
        measure(page.render(one, texts), village)
        (alone,) = (village / "villages").iterdir()
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        pages = (
            ("district's page", district / "index.html", results, True, DISTRICT_S),
            ("page of a village", alone, one, False, VILLAGE_S),
        )
        rng = np.random.default_rng(2)
        for name, file, shown, drill, limit in pages:
            places = rng.integers(0, len(shown.plots), TIMES).tolist()
            pairs = [open_plot(browser, file, shown, at, drill=drill) for at in places]
            times, worked = zip(*pairs, strict=True)
            tell(f"{name}, plot shown, median of {TIMES}", float(np.median(times)), limit, "s")
            print(f"  worst {max(times):.2f} s, at work at most {max(worked):.2f} s")  # noqa: T201
            frames = pan(browser, file, drill=drill)
            share = float(np.mean(frames < FRAME_MS))
            tell(
                f"{name}, while dragged, 95 % of {len(frames)} pictures within",
                float(np.quantile(frames, FRAMES_SHARE)), FRAME_MS, "ms",
            )  # fmt: skip
            print(f"  {100 * share:.1f} % under {FRAME_MS:g} ms, worst {frames.max():.0f} ms")  # noqa: T201
        browser.close()
    if broken:
        sys.exit(f"over the limit: {'; '.join(broken)}")


if __name__ == "__main__":
    main()
