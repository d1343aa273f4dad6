"""The ground of the map in a browser: lines of equal height, tint, and boxes to take them off."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from districtplan.outputs import page
from districtplan.outputs.page import heights
from tests.outputs import test_page_browser as driven

pytestmark = pytest.mark.browser

opened = driven.opened
EACH_SIZE = driven.EACH_SIZE

# The darkest alpha of the lines' canvas within a pixel of each point.
INKED = """(points) => {
  const canvas = document.querySelector('canvas.contours');
  const box = canvas.getBoundingClientRect();
  const dense = canvas.width / box.width;
  return points.map(([longitude, latitude]) => {
    const { x, y } = districtplan.pointOf(longitude, latitude);
    const [px, py] = [(x - box.left) * dense, (y - box.top) * dense].map(Math.round);
    const pixels = canvas.getContext('2d').getImageData(px - 1, py - 1, 3, 3).data;
    return Math.max(...pixels.filter((_, at) => at % 4 === 3));
  });
}"""

# Keeps what is written on the lines' canvas from now on, and where on screen.
HEARD = """() => {
  const drawn = CanvasRenderingContext2D.prototype;
  const write = drawn.fillText;
  window.heard = [];
  drawn.fillText = function (text, x, y) {
    if (this.canvas.className.includes('contours')) {
      const box = this.canvas.getBoundingClientRect();
      const { x: px, y: py } = this.getTransform().transformPoint({ x, y });
      const dense = this.canvas.width / box.width;
      window.heard.push([text, box.x + px / dense, box.y + py / dense]);
    }
    return write.apply(this, arguments);
  };
}"""


@pytest.fixture(scope="module")
def sloping(small_results):
    """Ground that falls evenly to the west: its lines of equal height run north."""
    relief = small_results.relief
    columns = relief.shade.shape[1]
    plane = np.tile(1500 + 4 * (np.arange(columns) + 0.5), (len(relief.shade), 1))
    return replace(small_results, relief=replace(relief, heights_m=plane.astype(np.float32)))


def at(relief, plots, heights_m):
    """Points of some heights, on seven parallels about the middle of some plots."""
    # Heights rise by 4 m over each column.
    share = (np.asarray(heights_m) - 1500) / 4 / relief.shade.shape[1]
    longitude = relief.west + share * (relief.east - relief.west)
    latitude = plots["latitude_deg"].mean() + 8e-4 * np.arange(-3, 4)
    return [[x, y] for x in longitude.tolist() for y in latitude.tolist()]


@pytest.mark.parametrize("kind", ["district", "village"])
def test_a_line_is_drawn_where_its_height_is(browser, sloping, texts, tmp_path, kind):
    files = page.render(sloping, texts)
    file = tmp_path / "index.html"
    if kind == "village":
        (name,) = (name for name in files if name.startswith("villages/v001"))
        file = tmp_path / "villages" / "page.html"
        files = {"page.html": files[name]}
    with opened(browser, file, files) as (tab, seen):
        relief, plots = sloping.relief, sloping.plots
        if kind == "village":
            plots = plots[plots["village"] == sloping.villages["village"].iloc[0]]
        apart = int(tab.inner_text("#heights-apart").split(" m apart")[0].split()[-1])
        share = (plots["longitude_deg"].mean() - relief.west) / (relief.east - relief.west)
        middle = apart * round((1500 + 4 * relief.shade.shape[1] * share) / apart)
        for height in (middle - apart, middle, middle + apart):
            assert np.median(tab.evaluate(INKED, at(relief, plots, [height]))) > 60
            aside = [height - apart / 4, height + apart / 2]
            # But for a label, nothing is drawn there.
            assert np.median(tab.evaluate(INKED, at(relief, plots, aside))) == 0
    assert seen.faults() == []


def test_a_height_is_written_on_the_line_of_that_height(browser, sloping, texts, tmp_path):
    with opened(browser, tmp_path / "index.html", page.render(sloping, texts)) as (tab, seen):
        tab.evaluate(HEARD)
        for _ in ("off", "on"):
            tab.click("label[for=ground-lines]")
        heard = tab.evaluate("heard")
        assert heard
        for text, x, _ in heard:
            height = int(text.removesuffix(" m").replace(",", ""))
            place = at(sloping.relief, sloping.plots, [height])[0]
            on_line = tab.evaluate("([x, y]) => districtplan.pointOf(x, y)", place)
            # Lines are a dozen pixels apart at least; this one runs north.
            assert x == pytest.approx(on_line["x"], abs=4)
    assert seen.faults() == []


@pytest.mark.parametrize("size", EACH_SIZE)
def test_lines_and_tint_are_taken_off_and_the_address_says_so(
    browser, sloping, texts, tmp_path, size
):
    with opened(browser, tmp_path / "index.html", page.render(sloping, texts), size=size) as (
        tab,
        seen,
    ):
        if size == "phone":
            tab.click("#legend > summary")
        pictures = "#map .leaflet-ground-pane img"
        assert (tab.locator(pictures).count(), tab.locator("canvas.contours").count()) == (2, 1)
        shown = sloping.relief
        for picture in tab.locator(pictures).all():
            box = picture.bounding_box()
            corners = [(shown.west, shown.north), (shown.east, shown.south)]
            (left, top), (right, bottom) = (
                tab.evaluate("([x, y]) => Object.values(districtplan.pointOf(x, y))", corner)
                for corner in corners
            )
            lies = [box["x"], box["y"], box["x"] + box["width"], box["y"] + box["height"]]
            assert lies == pytest.approx([left, top, right, bottom], abs=1)
        tab.click("label[for=ground-lines]")
        assert tab.locator("canvas.contours").count() == 0
        tab.focus("#ground-tint")
        tab.keyboard.press("Space")
        assert tab.locator(pictures).count() == 1
        tab.evaluate("districtplan.settled()")
        assert tab.evaluate("location.hash") == "#ground=plain"
        tab.go_back()
        tab.evaluate("districtplan.settled()")
        assert tab.evaluate("location.hash") == "#ground=tint"
        assert tab.locator(pictures).count() == 2
        assert not tab.is_checked("#ground-lines")
        tab.evaluate("location.hash = 'ground=%3Cb%3E'")
        tab.evaluate("districtplan.settled()")
        assert tab.locator("canvas.contours").count() == 1
    assert seen.faults() == []


@pytest.mark.slow
def test_more_lines_are_loaded_when_the_map_is_near(browser, sloping, texts, tmp_path, monkeypatch):
    monkeypatch.setattr(heights, "CROSSINGS_FIRST_MAX", 400)
    files = page.render(sloping, texts)
    assert "map/heights.js" in files
    with opened(browser, tmp_path / "index.html", files) as (tab, seen):
        plots = tab.evaluate("districtplan.plots")
        tab.evaluate("([id, level]) => districtplan.placeOf(id, level)", [plots[0], 18])
        assert any(url.endswith("/map/heights.js") for url in seen.requests)
        fine = heights.intervals(sloping.relief, 0.0).fine_m
        assert f" {fine} m apart" in tab.inner_text("#heights-apart")
    assert seen.faults() == []
    gone = {name: part for name, part in files.items() if name != "map/heights.js"}
    with opened(browser, tmp_path / "gone" / "index.html", gone) as (tab, _):
        plots = tab.evaluate("districtplan.plots")
        tab.evaluate("([id, level]) => districtplan.placeOf(id, level)", [plots[0], 18])
        assert "map/heights.js" in tab.inner_text("#told")


@pytest.mark.slow
def test_land_to_find_the_level_of_hides_the_lines(browser, sloping, texts, tmp_path):
    (plot_id, *_) = sloping.plots.loc[
        sloping.plots["row_method"] == "measure on the ground", "plot_id"
    ]
    with opened(browser, tmp_path / "index.html", page.render(sloping, texts)) as (tab, _):
        spot = tab.evaluate("([id]) => districtplan.placeOf(id, 19)", [plot_id])
        # Off its number, in its land.
        shot = tab.evaluate(
            """([x, y]) => {
              const canvas = document.querySelector('canvas.fields');
              const box = canvas.getBoundingClientRect();
              const dense = canvas.width / box.width;
              const [px, py] = [(x - box.left) * dense, (y - box.top) * dense].map(Math.round);
              return [...canvas.getContext('2d').getImageData(px, py, 1, 1).data];
            }""",
            [spot["x"] + 24, spot["y"]],
        )
        assert shot[3] == 255
