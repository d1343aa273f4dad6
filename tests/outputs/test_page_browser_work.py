"""The view of where to work first, in a browser."""

from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from pyproj import Transformer

from districtplan.outputs import page
from tests.outputs import test_page_browser as driven
from tests.outputs.conftest import PLOTS_CRS
from tests.outputs.test_measures import with_vetoes
from tests.outputs.test_work_words import with_curve

pytestmark = pytest.mark.browser

opened = driven.opened
EACH_SIZE, SIZES = driven.EACH_SIZE, driven.SIZES


@pytest.fixture(scope="module")
def written(small_results, texts):
    return page.render(with_curve(small_results), texts)


def visible(tab, selector):
    return tab.evaluate(
        "selector => { const box = document.querySelector(selector).getBoundingClientRect();"
        " return box.width > 0 && box.top < innerHeight && box.bottom > 0; }",
        selector,
    )


@pytest.mark.parametrize("size", EACH_SIZE)
def test_one_click_says_where_to_go_and_with_what(browser, written, tmp_path, size):
    with opened(browser, tmp_path / "index.html", written, size=size) as (tab, seen):
        tab.click("text=Where do we work first?")
        said = tab.inner_text("#finding")
        assert said.startswith("Go first to hillside")
        assert " on " in said
        assert visible(tab, "#finding")
        assert visible(tab, "#map")
        top = tab.evaluate("document.querySelector('#map').getBoundingClientRect().top")
        assert top < 0.32 * SIZES[size][1]
        first = tab.locator(".hill").first
        assert first.get_attribute("open") is not None
        name = first.locator("summary").inner_text()
        assert name.startswith("1")
        assert said.removeprefix("Go first to hillside ").removesuffix(".") in name
        # What was found stands above the map; how hillsides were chosen, beside the curve.
        assert "budget" not in tab.inner_text("#rest")
        assert "Within the budget" in tab.inner_text("#curve")
        folds = tab.evaluate("[...document.querySelectorAll('.panel > .fold')].map((e) => e.id)")
        assert folds[:5] == ["filter", "work", "first-care", "walk", "curve"]
        # Cautions and the walk-over list stand open.
        assert "stop, dig no ditch" in tab.inner_text("#first-care")
        assert tab.locator("#walk li").count() == 10
        # On a phone the page is as wide as the screen.
        assert tab.evaluate("document.documentElement.scrollWidth") == SIZES[size][0]
    assert seen.faults() == []


@pytest.mark.slow
def test_other_views_show_none_of_it(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        for view in ("first", "steep", "rows", "buy"):
            tab.evaluate("view => districtplan.show(view)", view)
            for part in ("work", "walk", "curve", "first-care", "legend-work"):
                hidden = tab.locator(f"#{part}").evaluate("(e) => e.hidden")
                assert hidden == (view != "first")
            assert tab.locator("#cautions").evaluate("(e) => e.hidden") == (view == "first")
    assert seen.faults() == []


def test_the_curve_is_a_picture_with_words(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        tab.evaluate("districtplan.show('first')")
        picture = tab.locator("#curve svg")
        assert picture.get_attribute("role") == "img"
        assert "100 t a year with 10 person-days" in picture.get_attribute("aria-label")
        points = [pair.split(",") for pair in
                  picture.locator("polyline").get_attribute("points").split(" ")]  # fmt: skip
        (x0, y0), (x1, y1), (x2, y2) = [(float(x), float(y)) for x, y in points]
        assert (x1 - x0) / (x2 - x0) == pytest.approx(1 / 3, abs=0.01)
        assert (y0 - y1) / (y0 - y2) == pytest.approx(1 / 2, abs=0.01)
        dashed = picture.locator("line[stroke-dasharray]")
        assert float(dashed.get_attribute("x1")) == pytest.approx(x1, abs=0.1)
        assert "your budget" in picture.text_content()
    assert seen.faults() == []


def darkest(tab, x, y):
    """The darkest pixel within three pixels of a place on screen."""
    return tab.evaluate(
        "([x, y]) => { const canvas = document.querySelector('canvas.fields');"
        " const box = canvas.getBoundingClientRect(); const dense = canvas.width / box.width;"
        " const at = [(x - box.left - 3) * dense, (y - box.top - 3) * dense, 7, 7];"
        " const p = canvas.getContext('2d').getImageData(...at).data; let least = 765;"
        " for (let i = 0; i < p.length; i += 4) if (p[i + 3] > 200)"
        " least = Math.min(least, p[i] + p[i + 1] + p[i + 2]);"
        " return least; }",
        [x, y],
    )


@pytest.mark.parametrize("size", EACH_SIZE)
def test_a_card_says_what_to_do_first_on_top(browser, small_results, texts, tmp_path, size):
    written = page.render(with_vetoes(with_curve(small_results)), texts)
    with opened(browser, tmp_path / "index.html", written, size=size) as (tab, seen):
        tab.evaluate("districtplan.show('first')")
        tab.locator(".hill ul button", has_text="A-01").first.click()
        said = tab.inner_text("#card .first")
        assert "Measure to look at first" in said
        assert "by the pacing rule" in said
        assert "Reason: <b>goats</b> {why}" in said
        assert said in tab.inner_text("#card").split("\nSlope ")[0]
        assert visible(tab, "#card .first dd")
        assert "Slope above it in that loss" in tab.inner_text("#card")
    assert seen.faults() == []


@pytest.mark.parametrize("drawn", [True, False])
def test_lines_are_drawn_where_they_lie(
    browser,
    small_results,
    written,
    texts,
    tmp_path,
    drawn,
):
    works = small_results.works
    course = max(works.lines["geometry"], key=lambda line: line.length)
    to_degrees = Transformer.from_crs(PLOTS_CRS, 4326, always_xy=True)
    parts = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
    along = [shapely.line_interpolate_point(course, part, normalized=True) for part in parts]
    if not drawn:
        bare = replace(works, lines=works.lines.iloc[:0], outlets=works.outlets.iloc[:0])
        written = page.render(replace(small_results, works=bare), texts)
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        tab.evaluate("districtplan.show('first')")
        tab.evaluate("districtplan.placeOf('A-02', 18)")
        dark = []
        for point in along:
            at = to_degrees.transform(point.x, point.y)
            place = tab.evaluate("([x, y]) => districtplan.pointOf(x, y)", at)
            dark.append(darkest(tab, place["x"], place["y"]) < 150)
        # Edges and numbers of plots are dark too, here and there.
        assert all(dark) == drawn
    assert seen.faults() == []


def test_a_hillside_is_shown_on_the_map_and_its_plots_open(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        tab.evaluate("districtplan.show('first')")
        hill = tab.locator(".hill").first
        plot = hill.locator("ul button").first
        name = plot.evaluate("(e) => e.firstChild.data")
        hill.locator("button", has_text="Show on the map").click()
        plot.click()
        card = tab.inner_text("#card")
        assert card.startswith(f"Plot {name}\n")
        assert "Hillside 1 in the order of work" in card
    assert seen.faults() == []
