"""The page in a browser, from a file, with the network shut."""

from __future__ import annotations

import re
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from districtplan.outputs import field_words, page, wording
from districtplan.outputs.page import palette
from tests.conftest import district_page
from tests.outputs.conftest import district_of, make_proposal, pegs_of, totals_of

pytestmark = pytest.mark.browser

LOCAL = ("file:", "data:", "blob:")
SIZES = {"desk": (1280, 800), "phone": (360, 740)}
EACH_SIZE = ("desk", pytest.param("phone", marks=pytest.mark.slow))


# The pixels themselves are measured: summed along the bearing of the lines, dark lines and light
# gaps part most. Among bearings half a degree apart, the one with the largest spread of sums.
BEARING_OF_PIXELS = """([x, y]) => {
  const canvas = document.querySelector('canvas.fields');
  const box = canvas.getBoundingClientRect();
  const dense = canvas.width / box.width;
  const half = Math.round(48 * dense);
  const [left, top] = [(x - box.left) * dense - half, (y - box.top) * dense - half];
  const side = 2 * half + 1;
  const pixels = canvas.getContext('2d').getImageData(left, top, side, side).data;
  let [best, most] = [null, -1];
  for (let bearing = 0; bearing < 180; bearing += 0.5) {
    const angle = (bearing * Math.PI) / 180;
    const [sums, counts] = [new Map(), new Map()];
    for (let j = 0; j < side; j++) for (let i = 0; i < side; i++) {
      const [east, north] = [i - half, half - j];
      if (Math.hypot(east, north) > half) continue;
      const bin = Math.round(east * Math.cos(angle) - north * Math.sin(angle));
      sums.set(bin, (sums.get(bin) || 0) + pixels[4 * (j * side + i)]);
      counts.set(bin, (counts.get(bin) || 0) + 1);
    }
    const kept = [...sums.keys()].filter((bin) => Math.abs(bin) < 0.8 * half);
    const means = kept.map((bin) => sums.get(bin) / counts.get(bin));
    const mean = means.reduce((a, b) => a + b) / means.length;
    const spread = means.reduce((a, b) => a + (b - mean) ** 2, 0) / means.length;
    if (spread > most) [best, most] = [bearing, spread];
  }
  return best;
}"""

# The colour that most pixels of a small square have.
MOST_COLOUR = """({ x, y }) => {
  const canvas = document.querySelector('canvas.fields');
  const box = canvas.getBoundingClientRect();
  const dense = canvas.width / box.width;
  const [left, top] = [(x - box.left - 20) * dense, (y - box.top - 20) * dense].map(Math.round);
  const side = Math.round(40 * dense);
  const { data } = canvas.getContext('2d').getImageData(left, top, side, side);
  const counts = new Map();
  for (let at = 0; at < data.length; at += 4) {
    const colour = [...data.slice(at, at + 3)].map((one) => one.toString(16).padStart(2, '0'));
    counts.set(`#${colour.join('')}`, (counts.get(`#${colour.join('')}`) || 0) + 1);
  }
  return [...counts].sort((a, b) => b[1] - a[1])[0][0];
}"""


@dataclass
class Seen:
    """What a browser reported while it had a page open."""

    errors: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)
    hits: int = 0

    def faults(self):
        foreign = [url for url in self.requests if not url.startswith(LOCAL)]
        return self.errors + foreign + ["code from the data ran"] * self.hits


@pytest.fixture(scope="module")
def written(small_results, texts):
    return page.render(small_results, texts)


def tab_of(browser):
    """Give the one tab of a browser: a new one for each page takes longer than its test."""
    if browser.contexts:
        return browser.contexts[0].pages[0]
    context = browser.new_context()
    tab = context.new_page()
    tab.add_init_script("window.hits = 0; window.hit = () => { window.hits += 1; };")
    # Files of one name differ from page to page.
    context.new_cdp_session(tab).send("Network.setCacheDisabled", {"cacheDisabled": True})
    return tab


@contextmanager
def opened(browser, file, content, *, size="desk", wait=True):
    """Write a page's files, open it and hear all it says.

    Hostile text tries to raise the counter ``hits``.
    """
    for name, part in content.items():
        target = file.parent / name
        target.parent.mkdir(exist_ok=True)
        target.write_bytes(part)
    tab = tab_of(browser)
    seen = Seen()
    told = {
        "console": lambda said: seen.errors.append(said.text) if said.type == "error" else None,
        "pageerror": lambda error: seen.errors.append(str(error)),
        "request": lambda request: seen.requests.append(request.url),
    }
    width, height = SIZES[size]
    try:
        tab.set_viewport_size({"width": width, "height": height})
        for event, hear in told.items():
            tab.on(event, hear)
        tab.goto(file.as_uri())
        if wait:
            # The policy forbids polling by eval.
            assert tab.evaluate("window.districtplan?.settled()") is True, seen.errors
        yield tab, seen
        seen.hits = tab.evaluate("window.hits")
    except BaseException:
        # What a test left half done is nothing to begin the next one with.
        tab.context.close()
        raise
    for event, hear in told.items():
        tab.remove_listener(event, hear)
    tab.emulate_media()
    tab.mouse.move(0, 0)
    tab.goto("about:blank")


def click_plot(tab, plot_id):
    place = tab.evaluate("id => districtplan.placeOf(id)", plot_id)
    tab.mouse.click(place["x"], place["y"])
    return tab.inner_text("#card")


@pytest.mark.parametrize("size", EACH_SIZE)
def test_a_click_on_a_plot_shows_its_numbers(browser, written, small_results, tmp_path, size):
    with opened(browser, tmp_path / "index.html", written, size=size) as (tab, seen):
        for row in small_results.plots.to_dict("records"):
            card = click_plot(tab, row["plot_id"])
            assert card.startswith(f"Plot {row['plot_id']}\n")
            slope = re.search(r"^Slope (\S+) %", card, re.MULTILINE)
            assert float(slope[1]) == pytest.approx(row["slope_mean_pct"], abs=0.0501)
            bearing = re.search(r"^Bearing (.*)$", card, re.MULTILINE)[1]
            if row["row_method"] in ("straight", "guide lines"):
                drawn = row["guide_bearing_true_deg"]
                near = round(row["row_bearing_true_deg"] if np.isnan(drawn) else drawn) % 180
                # Bearings are printed in whole degrees, and so is their error.
                assert bearing == f"{near:03d}° / {near + 180:03d}° true ±\xa02°"
            else:
                assert bearing == row["row_method"]
            barred = wording.is_barred(row)
            assert (f"Planting holes {row['holes']:,}" in card) != barred
            guided = row["row_method"] == "guide lines"
            assert ("Line 1 starts" in card) == (guided and not barred)
    assert seen.faults() == []


def test_a_card_says_what_was_measured_and_draws_its_rows(
    browser, small_results, texts, hostile, tmp_path
):
    plots = small_results.plots.copy()
    at = plots.index[plots["plot_id"] == "B3"][0]
    told = {
        "slope_measured_pct": 21.5,
        "slope_reading_date": "2026-02-27",
        "slope_reading_method": hostile,
        "row_bearing_true_deg": 33.0,
        "row_bearing_measured_true_deg": 33.0,
        "row_method": "straight",
        "row_method_reason": "measured",
        "bearing_reading_date": "2026-02-28",
        "bearing_reading_method": "A-frame",
    }
    for name, value in told.items():
        plots[name] = plots[name].astype(object) if isinstance(value, str) else plots[name]
        plots.loc[at, name] = value
    content = district_page(replace(small_results, plots=plots), texts)
    with opened(browser, tmp_path / "index.html", content) as (tab, seen):
        card = click_plot(tab, "B3")
        assert f"Slope 21.5 %, measured on the ground, 27 February 2026, {hostile}\n" in card
        assert "Slope by the raster 14.2 % ± 0.6\n" in card
        assert "Reckoned with 21.5 % slope, as measured on the ground\n" in card
        assert "less what the raster's error adds to it" in click_plot(tab, "A-01")
        bearing = "Bearing 033° / 213° true, measured on the ground, 28 February 2026, A-frame\n"
        assert bearing in card
        assert "Rows straight rows\n" in card
        assert "measured on the ground" not in click_plot(tab, "A-01")
        tab.evaluate("districtplan.show('rows')")
        place = tab.evaluate("districtplan.placeOf('B3')")
        assert tab.evaluate(BEARING_OF_PIXELS, [place["x"], place["y"]]) == pytest.approx(33, abs=1)
    assert seen.faults() == []
    plots.loc[at, ["row_method", "row_method_reason"]] = "any direction", "measured_flat"
    plots.loc[at, ["row_bearing_true_deg", "row_bearing_magnetic_deg"]] = np.nan
    content = district_page(replace(small_results, plots=plots), texts)
    with opened(browser, tmp_path / "index.html", content) as (tab, seen):
        assert "\nBearing any direction\n" in click_plot(tab, "B3")
    assert seen.faults() == []


def test_hostile_names_are_shown_as_text(browser, written, hostile, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        assert hostile in click_plot(tab, "<b>B2</b>")
        assert tab.inner_text("#card-title") == "Plot <b>B2</b>"
        assert hostile in tab.inner_text("#rest")
        tab.click("#list > summary")
        assert hostile in tab.inner_text("#list")
        tab.fill("#search-input", "{{ 7")
        tab.evaluate("districtplan.settled()")
        assert hostile in tab.inner_text("#found")
        tab.evaluate("districtplan.show('buy')")
        assert hostile in tab.inner_text("#totals")
        assert tab.locator("img:not(.leaflet-image-layer)").count() == 0
        assert "1337" not in tab.inner_text("body")
    assert seen.faults() == []


def test_the_checker_sees_a_page_that_lets_code_run(browser, written, tmp_path):
    # The same page without its policy, and with a village's name put in as markup.
    policy = rb'<meta http-equiv="Content-Security-Policy"[^>]*>'
    broken = re.sub(policy, b"", written["index.html"])
    broken = broken.replace(b"<main", b"<img src=x onerror=hit()><main", 1)
    broken = broken.replace(b"<main", b'<img src="http://example.invalid/a.png"><main', 1)
    with opened(browser, tmp_path / "index.html", {"index.html": broken}) as (tab, seen):
        tab.wait_for_function("window.hits > 0", timeout=5_000)
    assert "code from the data ran" in seen.faults()
    assert any("example.invalid" in fault for fault in seen.faults())


def test_the_policy_stops_the_same_markup(browser, written, tmp_path):
    put_in = written["index.html"].replace(b"<main", b"<img src=x onerror=hit()><main", 1)
    with opened(browser, tmp_path / "index.html", written | {"index.html": put_in}) as (tab, seen):
        tab.wait_for_timeout(300)
    assert seen.hits == 0
    assert seen.errors != []


def test_a_script_that_was_tampered_with_does_not_run(browser, written, tmp_path):
    changed = written["index.html"].replace(b'"use strict";', b'"use strict"; hit();', 1)
    with opened(browser, tmp_path / "index.html", {"index.html": changed}, wait=False) as (
        tab,
        seen,
    ):
        tab.wait_for_timeout(300)
        assert tab.evaluate("typeof window.districtplan") == "undefined"
    assert seen.hits == 0
    assert seen.errors != []


def test_how_steep_a_plot_is_shows_though_it_has_no_rows_yet(
    browser, written, small_results, tmp_path
):
    plots = small_results.plots.set_index("plot_id")
    assert plots.loc["B3", "row_method"] == "measure on the ground"
    fill = palette.EROSION[int(plots.loc["B3", "erosion_class_number"]) - 1]
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        for view, is_coloured in (("steep", True), ("rows", False)):
            tab.evaluate("view => districtplan.show(view)", view)
            at = tab.evaluate("districtplan.placeOf('B3')")
            assert (tab.evaluate(MOST_COLOUR, at) == fill) is is_coloured
    assert seen.faults() == []


def test_nothing_scrolls_sideways_on_a_phone(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written, size="phone") as (tab, seen):
        tab.click("#legend > summary")
        for view in ("steep", "rows", "buy", "first"):
            tab.evaluate("view => districtplan.show(view)", view)
            assert tab.evaluate("document.documentElement.scrollWidth") <= 360, view
            tab.evaluate("districtplan.open('B4')")
            assert tab.evaluate("document.documentElement.scrollWidth") <= 360, view
            tab.keyboard.press("Escape")
            assert tab.locator("#card").is_hidden()
    assert seen.faults() == []


def test_what_is_read_is_large_enough_and_what_is_touched_named(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written, size="phone") as (tab, seen):
        tab.click("#list > summary")
        tab.click(".village summary >> nth=0")
        tiny = tab.evaluate(
            """() => [...document.querySelectorAll('.panel *, .top *, .legend *')]
              .filter((e) => e.getClientRects().length)
              .filter((e) => e.childElementCount === 0 && e.textContent)
              .filter((e) => parseFloat(getComputedStyle(e).fontSize) < 16)
              .map((e) => e.outerHTML)"""
        )
        assert tiny == []
        unnamed = tab.evaluate(
            """() => [...document.querySelectorAll('button, a, summary, [role]')]
              .filter((e) => e.getClientRects().length)
              .filter((e) => !e.textContent.trim() && !e.getAttribute('aria-label'))
              .filter((e) => !e.labels?.length)
              .filter((e) => e.getAttribute('role') !== 'status')
              .map((e) => e.outerHTML)"""
        )
        assert unnamed == []
    assert seen.faults() == []


def test_search_works_by_keyboard(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        tab.focus("#search-input")
        tab.keyboard.type("a-0")
        tab.evaluate("districtplan.settled()")
        assert tab.locator("#found li").count() == 4
        tab.keyboard.press("ArrowDown")
        tab.keyboard.press("ArrowDown")
        chosen = tab.get_attribute("#search-input", "aria-activedescendant")
        assert tab.get_attribute(f"#{chosen}", "aria-selected") == "true"
        tab.keyboard.press("Enter")
        assert tab.inner_text("#card-title") == "Plot A-03"
        assert tab.locator("#found").is_hidden()
        tab.keyboard.press("Escape")
        assert tab.locator("#card").is_hidden()
        assert tab.evaluate("document.activeElement.id") == "search-input"
        tab.fill("#search-input", "no such plot")
        tab.evaluate("districtplan.settled()")
        assert "Nothing found" in tab.inner_text("#search")
    assert seen.faults() == []


def test_every_plot_is_reached_from_the_list_by_keyboard(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        tab.focus("#list > summary")
        tab.keyboard.press("Enter")
        tab.keyboard.press("Tab")
        tab.keyboard.press("Enter")
        tab.wait_for_selector(".village .tokens button")
        tab.keyboard.press("Tab")
        tab.keyboard.press("Tab")
        tab.keyboard.press("Enter")
        assert tab.inner_text("#card-title") == "Plot 007"
        tab.keyboard.press("Escape")
        assert tab.evaluate("document.activeElement.textContent").startswith("007")
    assert seen.faults() == []


@pytest.mark.parametrize(
    ("plot_id", "bearing"),
    [
        ("A-01", 57.6),
        pytest.param("A-03", 71.0, marks=pytest.mark.slow),
        pytest.param("A-04", 80.4, marks=pytest.mark.slow),
    ],
)
def test_the_picture_shows_rows_at_their_bearing(browser, written, tmp_path, plot_id, bearing):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        tab.evaluate("districtplan.show('rows')")
        place = tab.evaluate("id => districtplan.placeOf(id)", plot_id)
        found = tab.evaluate(BEARING_OF_PIXELS, [place["x"], place["y"]])
    assert min(abs(found - bearing), 180 - abs(found - bearing)) <= 1
    assert seen.faults() == []


def test_without_soil_values_the_page_says_so(browser, results_without_soil, texts, tmp_path):
    content = district_page(results_without_soil, texts)
    with opened(browser, tmp_path / "index.html", content) as (tab, seen):
        assert "Tonnes of soil are left out" in tab.inner_text("#legend")
        card = click_plot(tab, "A-01")
        assert "No tonnes are given." in card
        assert "Erosion class" not in card
        assert "NaN" not in card
    assert seen.faults() == []


def test_the_farmer_is_named_only_if_the_plan_asks(browser, results_with_names, texts, tmp_path):
    content = district_page(results_with_names, texts)
    with opened(browser, tmp_path / "index.html", content) as (tab, seen):
        assert "Farmer Invented Farmer 2" in click_plot(tab, "A-03")
    assert seen.faults() == []


def test_land_not_for_beans_says_so_first(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        card = click_plot(tab, "B4")
        first = card.index("Not for beans: the guidance here is forest")
        assert first < card.index("\nSlope ") < card.index("\nBearing ")
        assert card.count("Not for beans") == 1
        assert "Straight rows" not in card
        assert "Rows not for beans" in card
    assert seen.faults() == []


def test_where_no_rows_are_set_a_card_counts_and_starts_none(
    browser, small_results, texts, tmp_path
):
    """Guide lines, breaks and pegs are there, and neither they nor seed are told."""
    plots = small_results.plots.copy()
    lined = plots["plot_id"] == "<b>B2</b>"
    plots["row_breaks"] = plots["row_breaks"].mask(lined, 63)
    told = ("Line 1 starts", "Breaks in rows", "Number of rows", "First row", "Peg 1", "Seed ",
            "rows run", "set the line with a level", "Planting holes")  # fmt: skip
    for column, code, said in (
        (None, None, "guide lines"),
        ("erosion_flags", "perennials_only", "not for beans"),
        ("outlet_flags", "no_safe_outlet", "none yet"),
    ):
        barred = plots.copy()
        if column is not None:
            barred[column] = [
                (code,) if here else old for here, old in zip(lined, plots[column], strict=True)
            ]
        content = district_page(replace(small_results, plots=barred), texts)
        with opened(browser, tmp_path / "index.html", content) as (tab, seen):
            card = click_plot(tab, "<b>B2</b>")
        card = card.split("\nTake care")[0]
        if column == "outlet_flags":
            # The kit is ordered all the same: works may come in time.
            card = card.split("\nKit")[0]
        assert f"\nRows {said}" in card
        there = [one for one in told if one in card]
        assert there == ([] if column else [one for one in told if one not in NOT_GUIDED])
        assert seen.faults() == []


NOT_GUIDED = ("First row", "Peg 1")


def test_where_a_straight_plot_is_pegged_card_and_sheet_start_alike(
    browser, small_results, texts, tmp_path
):
    outline = small_results.plots.set_index("plot_id")["geometry"]["A-01"]
    middle = outline.representative_point()
    course = np.array([[middle.x - 15, middle.y], [middle.x + 15, middle.y + 9]])
    pegs = pegs_of("A-01", outline, course, 10.0)
    content = district_page(replace(small_results, pegs=pegs), texts)
    walk = pegs.walks["A-01", 1]
    with opened(browser, tmp_path / "index.html", content) as (tab, seen):
        card = click_plot(tab, "A-01")
    said = field_words.tie_words(walk.ties[0], None, small_results.plan, texts)
    assert f"Peg 1 of the sheet {said}\n" in card
    assert "First row starts" not in card
    assert seen.faults() == []


def test_the_compass_bearing_is_as_large_as_the_true_one(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        click_plot(tab, "A-01")
        sizes = tab.evaluate(
            "[...document.querySelectorAll('#card .lead dd')].map((e) => [e.textContent, "
            "getComputedStyle(e).fontSize])"
        )
        assert [text for text, _ in sizes][1:] == [
            "058° / 238° true ±\xa02°",
            "056° / 236° magnetic ±\xa02°",
        ]
        assert len({size for _, size in sizes}) == 1
        assert "set the line with a level" in click_plot(tab, "<b>B2</b>")
    assert seen.faults() == []


def test_the_legend_lists_what_is_on_the_map(browser, small_results, texts, tmp_path):
    kept = small_results.plots["plot_id"].isin(["A-01", "A-02"])
    plots = small_results.plots[kept].reset_index(drop=True)
    some = replace(
        small_results,
        plots=plots,
        villages=totals_of(plots),
        district=district_of(totals_of(plots)),
        proposal=make_proposal(plots, small_results.plan),
        works=replace(small_results.works, order=small_results.works.order.iloc[:0]),
        guides=replace(small_results.guides, lines=small_results.guides.lines.iloc[:0]),
        pegs=replace(small_results.pegs, table=small_results.pegs.table.iloc[:0]),
        flow_lines=small_results.flow_lines.iloc[:0],
    )
    content = district_page(some, texts)
    with opened(browser, tmp_path / "index.html", content) as (tab, seen):
        said = tab.inner_text("#legend")
        assert "moderate" in said
        assert "straight rows" in said
        assert "water" not in said.lower()
        for absent in ("very high", "beyond the equations", "dash", "dots", "cross", "thick"):
            assert absent not in said
    assert seen.faults() == []


def test_the_legend_on_a_phone_is_whole(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written, size="phone") as (tab, seen):
        tab.click("#legend > summary")
        cut = "(e) => e.scrollHeight > e.clientHeight + 1"
        assert tab.eval_on_selector("#legend", cut) is False
        map_bottom = tab.evaluate("document.querySelector('#map').getBoundingClientRect().bottom")
        top = tab.evaluate("document.querySelector('#legend').getBoundingClientRect().top")
        assert top >= map_bottom - 1
    assert seen.faults() == []


def test_the_heading_leaves_a_phone_most_of_its_screen(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written, size="phone") as (tab, seen):
        for view in ("steep", "rows", "buy"):
            tab.evaluate("view => districtplan.show(view)", view)
            top = tab.evaluate("document.querySelector('#map').getBoundingClientRect().top")
            assert top < 0.25 * SIZES["phone"][1], view
    assert seen.faults() == []


def test_the_map_fills_its_place_in_every_view(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        spans = []
        for view in ("buy", "steep", "buy"):
            tab.evaluate("view => districtplan.show(view)", view)
            spans.append(tab.inner_text(".leaflet-control-scale-line"))
        # The panel is wider where things are bought; the district is fitted anew each time.
        assert spans[0] == spans[2]
        box = tab.evaluate(
            "(({x, width}) => [x, width])(document.querySelector('#map').getBoundingClientRect())"
        )
        inside = tab.evaluate(
            "(({left, right}) => [left, right])"
            "(document.querySelector('.leaflet-image-layer').getBoundingClientRect())"
        )
        # The picture of the ground is centred in the map to a pixel's rounding.
        assert sum(inside) / 2 == pytest.approx(box[0] + box[1] / 2, abs=25)
    assert seen.faults() == []


def test_a_view_is_drawn_once(browser, written, tmp_path):
    """Of another size it is drawn twice: where it was moved to, and where it is fitted."""
    count = """() => {
      const drawn = CanvasRenderingContext2D.prototype;
      const scale = drawn.scale;
      window.drawn = {};
      drawn.scale = function (...by) {
        const { className } = this.canvas;
        window.drawn[className] = (window.drawn[className] ?? 0) + 1;
        return scale.apply(this, by);
      };
    }"""
    for size, views, most in (("phone", ("rows", "first", "steep"), 1), ("desk", ("buy",), 2)):
        with opened(browser, tmp_path / "index.html", written, size=size) as (tab, seen):
            tab.evaluate(count)
            for view in views:
                tab.evaluate("window.drawn = {}")
                tab.evaluate("view => districtplan.show(view)", view)
                tab.evaluate("districtplan.settled()")
                times = tab.evaluate("Object.entries(drawn)")
                assert {name.split()[0] for name, _ in times} == {"fields", "contours"}
                assert max(count for _, count in times) == most
        assert seen.faults() == []


def test_the_sheet_of_paper_holds_what_it_must(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        click_plot(tab, "B4")
        # Told with the next picture.
        drawn = "new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
        tab.emulate_media(media="print")
        tab.evaluate(drawn)
        assert tab.evaluate("document.body.classList.contains('printing')")
        for hidden in ("#views", "#search", ".leaflet-control-zoom", ".whole", "#list"):
            assert tab.locator(hidden).is_hidden(), hidden
        for shown in ("#legend .inner", "#cautions .inner", "#card"):
            assert tab.locator(shown).is_visible(), shown
        bottom = tab.evaluate("document.querySelector('#map').getBoundingClientRect().bottom")
        assert (
            tab.evaluate("document.querySelector('#legend').getBoundingClientRect().top") > bottom
        )
        cut = "(e) => e.scrollHeight > e.clientHeight + 1"
        assert tab.eval_on_selector("#card", cut) is False
        assert tab.eval_on_selector("#card", "(e) => getComputedStyle(e).position") == "static"
        tab.emulate_media(media="screen")
        tab.evaluate(drawn)
        assert not tab.evaluate("document.body.classList.contains('printing')")
    assert seen.faults() == []


def test_printing_fits_the_map_to_the_paper_and_back(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        before = tab.evaluate("document.querySelector('#map').getBoundingClientRect().width")
        tab.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        width = tab.evaluate("document.querySelector('#map').getBoundingClientRect().width")
        assert width == pytest.approx(182 / 25.4 * 96, abs=2)
        # A canvas that is drawn anew for printing hides what lies below it: it holds the ground.
        fields = "document.querySelector('canvas.fields').getContext('2d')"
        corner = f"{fields}.getImageData(9, 9, 1, 1).data[3]"
        assert tab.evaluate(corner) == 255
        tab.evaluate("window.dispatchEvent(new Event('afterprint'))")
        assert tab.evaluate(corner) == 0
        after = tab.evaluate("document.querySelector('#map').getBoundingClientRect().width")
        assert after == before
    assert seen.faults() == []
