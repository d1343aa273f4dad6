"""Pictures of the ground from a server, in a browser: asked for by hand alone, in their place."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageDraw
from pyproj import Transformer

from districtplan.outputs import page
from tests.outputs import test_page_access as access
from tests.outputs import test_page_browser as driven

pytestmark = pytest.mark.browser

opened = driven.opened
checker = access.checker
SERVER = "https://tiles.example.org"
CREDIT = "Invented pictures <b>by nobody</b>"
ASKED = re.compile(rf"{SERVER}/(\d+)/(\d+)/(\d+)\.png")
# Half the side of the plane of EPSG:3857, as its definition has it [m].
EDGE_M = np.pi * 6_378_137.0
SIDE, FINER = 256, 8
AT_ONCE = 6
# Pixels of the outline of a plot that is open, all of one colour.
OUTLINE = 4
RED, BLUE = (220, 30, 30), (30, 30, 220)
# The box around the outline of the plot that is open, which is drawn in a colour of its own.
BOX_OF_PLOT = """() => {
  const canvas = document.querySelector('canvas.fields');
  const [box, around] = [canvas, document.querySelector('#map')]
    .map((one) => one.getBoundingClientRect());
  const { data, width } = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);
  let [west, north, east, south] = [Infinity, Infinity, -1, -1];
  for (let at = 0; at < data.length / 4; at++) {
    const [red, green, blue, alpha] = data.slice(4 * at, 4 * at + 4);
    if (red !== 11 || green !== 74 || blue !== 130 || alpha !== 255) continue;
    const [px, py] = [at % width, Math.floor(at / width)];
    [west, east] = [Math.min(west, px), Math.max(east, px + 1)];
    [north, south] = [Math.min(north, py), Math.max(south, py + 1)];
  }
  const dense = width / box.width;
  const shift = [box.x - around.x, box.y - around.y];
  return [west, north, east, south].map((one, at) => one / dense + shift[at % 2]);
}"""
UNCOVER = """() => {
  for (const over of document.querySelectorAll('#map canvas, #map .leaflet-control')) {
    over.style.visibility = 'hidden';
  }
}"""


@pytest.fixture(scope="module")
def asking(small_results):
    told = {"tiles": f"{SERVER}/{{z}}/{{x}}/{{y}}.png", "tiles_credit": CREDIT}
    plan = small_results.plan
    return replace(
        small_results, plan=plan.model_copy(update={"page": plan.page.model_copy(update=told)})
    )


@pytest.fixture(scope="module")
def written(asking, texts):
    return page.render(asking, texts)


def page_of(written, kind, folder):
    if kind == "district":
        return folder / "index.html", written
    (name,) = (name for name in written if "tamba" in name and name.endswith(".html"))
    return folder / "page.html", {"page.html": written[name]}


def painted(outlines, level, column, row):
    """A picture of the server: red within outlines of the plane, blue about them."""
    metres = 2 * EDGE_M / 2**level / SIDE
    west, north = -EDGE_M + column * SIDE * metres, EDGE_M - row * SIDE * metres
    # Drawn larger first, so that a pixel has its share of either colour.
    image = Image.new("RGB", (FINER * SIDE, FINER * SIDE), BLUE)
    for outline in outlines:
        corners = np.column_stack([outline[:, 0] - west, north - outline[:, 1]]) / metres * FINER
        ImageDraw.Draw(image).polygon([tuple(one) for one in corners - 0.5], fill=RED)
    image = image.resize((SIDE, SIDE), Image.Resampling.BOX)
    out = io.BytesIO()
    image.save(out, format="PNG")
    return out.getvalue()


def outlines_of(results, plot_ids):
    """Outlines on the plane, by the library of projections and not by the page."""
    to_plane = Transformer.from_crs(results.plots_crs, 3857, always_xy=True)
    plots = results.plots[results.plots["plot_id"].isin(plot_ids)]
    return [np.column_stack(to_plane.transform(*one.exterior.xy)) for one in plots["geometry"]]


def red_in(tab):
    """Which pixels of the map, as it is on screen, are rather red than blue."""
    shot = Image.open(io.BytesIO(tab.locator("#map").screenshot())).convert("RGB")
    red, _, blue = np.moveaxis(np.asarray(shot).astype(int), 2, 0)
    return red > blue


def serve(tab, outlines=()):
    """Answer what is asked of the server, and keep what was asked."""
    asked = []

    def answer(route):
        asked.append(route.request)
        body = painted(outlines, *map(int, ASKED.fullmatch(route.request.url).groups()))
        route.fulfill(body=body, content_type="image/png")

    tab.context.route(f"{SERVER}/**", answer)
    return asked


def switch(tab):
    if not tab.locator("#ground-tiles").is_visible():
        tab.click("#legend > summary")
    tab.click("label[for=ground-tiles]")
    answered(tab)


def answered(tab):
    """Wait until each picture that is asked for is there, or failed."""
    tab.evaluate(
        """async () => {
          const some = () => [...document.querySelectorAll('img.leaflet-tile')];
          while (!some().every((one) => one.src && one.complete))
            await new Promise((done) => setTimeout(done, 20));
        }"""
    )
    tab.evaluate("districtplan.settled()")


def map_box(tab):
    box = tab.locator("#map").bounding_box()
    return np.array([box["x"], box["y"], box["x"] + box["width"], box["y"] + box["height"]])


def on_plane(tab, results):
    """Pixels to a metre of the plane, and where its origin is on screen."""
    west, south = results.relief.west, results.relief.south
    places = [(west, south), (results.relief.east, results.relief.north)]
    to_plane = Transformer.from_crs(4326, 3857, always_xy=True)
    plane = np.array([to_plane.transform(*one) for one in places])
    shot = "([x, y]) => Object.values(districtplan.pointOf(x, y))"
    screen = np.array([tab.evaluate(shot, list(one)) for one in places])
    scale = (screen[1] - screen[0]) / (plane[1] - plane[0])
    return scale, screen[0] - plane[0] * scale


@pytest.mark.parametrize("kind", ["district", "village"])
def test_nothing_is_asked_until_it_is_switched_on_and_then_of_one_server(
    browser, asking, written, tmp_path, kind
):
    file, files = page_of(written, kind, tmp_path)
    with opened(browser, file, files) as (tab, seen):
        asked = serve(tab)
        tab.evaluate("districtplan.show('rows')")
        tab.evaluate("districtplan.placeOf('A-01')")
        assert seen.faults() == []
        assert tab.locator(".credit").is_hidden()
        switch(tab)
        assert tab.inner_text(".credit") == CREDIT
        foreign = {url for url in seen.requests if not url.startswith(driven.LOCAL)}
        assert len(foreign) == len(asked)
        squares = {tuple(map(int, ASKED.fullmatch(url).groups())) for url in foreign}
        # Squares of one level, about as large as they are drawn, that cover the map and no more.
        ((level,), box) = {one[0] for one in squares}, map_box(tab)
        scale, origin = on_plane(tab, asking)
        metres = 2 * EDGE_M / 2**level
        assert SIDE / 2**0.5 <= metres * scale[0] <= SIDE * 2**0.5
        edges = [
            np.floor(((at - origin) / scale * [1, -1] + EDGE_M) / metres).astype(int)
            for at in (box[:2] + 1, box[2:] - 1)
        ]
        needed = {
            (level, column, row)
            for column in range(edges[0][0], edges[1][0] + 1)
            for row in range(edges[0][1], edges[1][1] + 1)
        }
        assert squares == needed
        told = "(all) => all.map((one) => one.referrerPolicy)"
        assert set(tab.eval_on_selector_all("img.leaflet-tile", told)) == {"no-referrer"}
        assert tab.inner_text("#tiles-told") == ""
        # Who opens an address that was sent has switched on nothing.
        assert tab.evaluate("location.hash") == "#view=rows"
        count = len(asked)
        switch(tab)
        assert tab.locator(".credit").is_hidden()
        tab.evaluate("districtplan.placeOf('A-04')")
        assert len(asked) == count
    assert seen.errors == []


@pytest.mark.parametrize(
    ("kind", "level"),
    [
        ("district", 18),
        # Beyond the server's last level, where its pixels are enlarged.
        pytest.param("district", 19, marks=pytest.mark.slow),
        pytest.param("village", 18.6, marks=pytest.mark.slow),
    ],
)
def test_pictures_lie_where_the_plots_lie(browser, asking, written, tmp_path, kind, level):
    file, files = page_of(written, kind, tmp_path)
    with opened(browser, file, files) as (tab, seen):
        serve(tab, outlines_of(asking, ["A-01"]))
        tab.evaluate("([id, at]) => districtplan.placeOf(id, at)", ["A-01", level])
        switch(tab)
        tab.evaluate("districtplan.open('A-01')")
        tab.evaluate("districtplan.settled()")
        answered(tab)
        plot = np.array(tab.evaluate(BOX_OF_PLOT))
        tab.evaluate(UNCOVER)
        rows, columns = np.nonzero(red_in(tab))
        square = np.array([columns.min(), rows.min(), columns.max() + 1, rows.max() + 1])
        # The outline is drawn to both sides of the edge.
        assert plot[2:] - plot[:2] == pytest.approx(square[2:] - square[:2] + OUTLINE, abs=2)
        assert (plot[:2] + plot[2:]) / 2 == pytest.approx((square[:2] + square[2:]) / 2, abs=1)
    assert seen.errors == []


def test_few_are_asked_for_at_once_and_none_once_it_is_off(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, _):
        held = []

        def hold(route):
            held.append(route)

        tab.context.route(f"{SERVER}/**", hold)
        tab.click("label[for=ground-tiles]")
        tab.wait_for_timeout(300)
        assert len(held) == AT_ONCE
        held[0].fulfill(body=painted([], 0, 0, 0), content_type="image/png")
        tab.wait_for_timeout(300)
        assert len(held) == AT_ONCE + 1
        tab.click("label[for=ground-tiles]")
        tab.wait_for_timeout(300)
        assert len(held) == AT_ONCE + 1
        # Unanswered, they would hold up the end of the test.
        for route in held[1:]:
            route.abort()


def test_without_a_connection_the_hills_stay_and_it_is_said(browser, written, texts, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        tab.context.route(f"{SERVER}/**", lambda route: route.abort("internetdisconnected"))
        pictures = "#map .leaflet-image-layer"
        before = tab.locator(pictures).count()
        switch(tab)
        said = texts.say("page.tiles_missed")
        assert tab.inner_text("#tiles-told") == said
        assert tab.locator(pictures).count() == before
        assert tab.locator("#map .leaflet-tile-loaded").count() == 0
        # What the browser says of the network isn't the page's fault.
        assert [one for one in seen.errors if "net::ERR" not in one] == []
        assert "Plot A-01" in driven.click_plot(tab, "A-01")
        tab.context.unroute(f"{SERVER}/**")
        serve(tab)
        switch(tab)
        assert tab.inner_text("#tiles-told") == ""
        switch(tab)
        assert tab.locator("#map .leaflet-tile-loaded").count() > 0
        assert tab.inner_text("#tiles-told") == ""


def test_from_too_far_nothing_is_asked_and_it_is_said(browser, asking, texts, tmp_path):
    plan = asking.plan
    far = plan.model_copy(update={"page": plan.page.model_copy(update={"tiles_zoom_min": 18})})
    content = page.render(replace(asking, plan=far), texts)
    with opened(browser, tmp_path / "index.html", content) as (tab, seen):
        asked = serve(tab)
        switch(tab)
        assert (len(asked), tab.inner_text("#tiles-told")) == (0, texts.say("page.tiles_nearer"))
        tab.evaluate("districtplan.placeOf('A-01', 18)")
        answered(tab)
        assert tab.inner_text("#tiles-told") == ""
        assert {ASKED.fullmatch(one.url)[1] for one in asked} == {"18"}
    assert seen.errors == []


def test_paper_has_the_pictures_and_their_credit(browser, asking, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        serve(tab)
        switch(tab)
        tab.emulate_media(media="print")
        tab.evaluate(
            "new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
        )
        assert tab.inner_text(".credit") == CREDIT
        assert tab.locator("#ground-tiles").is_hidden()
        shot = tab.locator("#map").screenshot()
        shot = np.asarray(Image.open(io.BytesIO(shot)).convert("RGB")).reshape(-1, 3)
        assert (shot == BLUE).all(axis=1).mean() > 0.3
    assert seen.errors == []


@pytest.mark.parametrize("size", driven.EACH_SIZE)
def test_the_switch_has_no_grave_fault_of_access(browser, written, checker, tmp_path, size):
    with opened(browser, tmp_path / "index.html", written, size=size) as (tab, _):
        serve(tab)
        switch(tab)
        assert access.grave(tab, checker) == []
        assert tab.locator("label[for=ground-tiles]").bounding_box()["height"] >= 44
        assert tab.evaluate("document.documentElement.scrollWidth") == driven.SIZES[size][0]


def test_another_server_is_shut_out(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        tab.evaluate("document.body.append(new Image())")
        tab.evaluate("document.body.lastChild.src = 'https://a.tiles.example.org/0/0/0.png'")
        tab.wait_for_timeout(200)
    assert any("Content Security Policy" in one for one in seen.errors)
