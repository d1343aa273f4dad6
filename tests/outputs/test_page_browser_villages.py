"""From the district to its villages and plots and back, in a browser."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import url2pathname

import pypdf
import pytest
import shapely
from pyproj import Transformer
from shapely import Polygon, affinity, box
from shapely.ops import unary_union

from districtplan.handbook import packaged
from districtplan.inputs import purchase
from districtplan.outputs import FORMATS, page, wording
from districtplan.outputs.page import palette
from districtplan.outputs.texts import Texts
from tests.conftest import district_page
from tests.outputs import test_page_browser as driven
from tests.outputs import test_page_browser_hands as hands
from tests.outputs.conftest import (
    ORIGIN,
    PLOTS_CRS,
    VILLAGES,
    bought_by,
    district_of,
    totals_of,
)
from tests.outputs.test_work_words import with_curve

pytestmark = pytest.mark.browser

opened = driven.opened
EACH_SIZE, SIZES = driven.EACH_SIZE, driven.SIZES
RENAMED = {
    "Upper Tamba Ridge": "Éröñda Łɔ",
    "Sondo": "<script>hit()</script>" + "ש" * 3 + "é\u202e" + "x" * 10_000,
}
# Where plots of four villages lie [m]: one is hemmed in above, below and to the right.
CROSS = {"Midulambeka": (0, 0), "Nor": (0, 290), "Sud": (0, -290), "Ost": (170, 0)}
PLOTS_AT = ((0, -100), (75, 0), (0, 100))
TO_DEGREES = Transformer.from_crs(PLOTS_CRS, 4326, always_xy=True)


@pytest.fixture(scope="module")
def written(small_results, texts):
    return page.render(with_curve(small_results), texts)


@pytest.fixture(scope="module")
def renamed(small_results, texts):
    names = {**RENAMED}
    table = small_results.villages
    bought = small_results.purchase
    kits = bought.kits.assign(village=bought.kits["village"].replace(names))
    changed = replace(
        small_results,
        plots=small_results.plots.assign(village=small_results.plots["village"].replace(names)),
        villages=table.assign(village=table["village"].replace(names)),
        purchase=replace(bought, kits=kits),
    )
    return page.render(changed, texts)


def moved_to(plots, shapes):
    """Plots with other outlines, and where these lie."""
    inside = [shape.representative_point() for shape in shapes]
    longitude, latitude = TO_DEGREES.transform([p.x for p in inside], [p.y for p in inside])
    return plots.assign(geometry=shapes, longitude_deg=longitude, latitude_deg=latitude)


@pytest.fixture(scope="module")
def far_apart(small_results, texts):
    """One village so far from the others that no shape of a plot is seen with all in view."""
    plots = small_results.plots
    away = plots["geometry"].map(lambda shape: affinity.translate(shape, 60_000, 0))
    shapes = plots["geometry"].where(plots["village"] != "Sondo", away)
    return page.render(replace(small_results, plots=moved_to(plots, shapes)), texts)


@pytest.fixture(scope="module")
def close_together(small_results):
    """Four villages of three plots each, so near each other that their names crowd."""
    results, plots = small_results, small_results.plots
    at = [(x + east, y + north) for x, y in CROSS.values() for east, north in PLOTS_AT]
    shapes = []
    for shape, (east, north) in zip(plots["geometry"], at, strict=True):
        middle = shape.centroid
        to = east + ORIGIN[0] - middle.x, north + ORIGIN[1] - middle.y
        shapes.append(affinity.translate(shape, *to))
    named = plots.assign(village=[name for name in CROSS for _ in PLOTS_AT])
    plots = moved_to(named, shapes)
    villages = totals_of(plots)
    bought = purchase(plots, plots["geometry"].to_numpy(), None, results.plan, packaged())
    district = district_of(villages)
    return replace(results, plots=plots, villages=villages, district=district, purchase=bought)


def settle(tab):
    assert tab.evaluate("districtplan.settled()")


def loaded(seen):
    return [url.rsplit("/", 1)[1] for url in seen.requests if "/map/" in url]


def test_a_village_is_loaded_when_it_is_asked_for_and_once(browser, far_apart, tmp_path):
    with opened(browser, tmp_path / "index.html", far_apart) as (tab, seen):
        # A dot a plot is all that the district needs.
        assert loaded(seen) == []
        tab.click("#list > summary")
        tab.click("#list .village summary >> nth=0")
        tab.wait_for_selector(
            "#list .village[open] .tokens ~ button, #list .tokens button >> nth=1"
        )
        settle(tab)
        assert loaded(seen) == ["v001-sondo.js"]
        tab.click("#list .tokens button >> nth=1")
        assert tab.inner_text("#card-title") == "Plot 007"
        tab.keyboard.press("Escape")
        tab.fill("#search-input", "a-01")
        settle(tab)
        tab.keyboard.press("Enter")
        settle(tab)
        assert tab.inner_text("#card-title") == "Plot A-01"
        names = loaded(seen)
        assert set(names) == {"v001-sondo.js", "search.js", "v002-upper-tamba-ridge.js"}
        assert len(names) == 3
    assert seen.faults() == []


def test_a_click_on_a_far_village_opens_it(browser, far_apart, small_results, tmp_path):
    there = small_results.plots.set_index("plot_id").loc["A-01"]
    with opened(browser, tmp_path / "index.html", far_apart) as (tab, seen):
        where = [there["longitude_deg"], there["latitude_deg"]]
        at = tab.evaluate("([x, y]) => districtplan.pointOf(x, y)", where)
        tab.mouse.click(at["x"], at["y"])
        settle(tab)
        assert tab.inner_text("#village-title") == "Upper Tamba Ridge"
        assert "4 plots" in tab.inner_text("#village")
        of = small_results.villages.set_index("village").loc["Upper Tamba Ridge"]
        said = tab.inner_text("#village dl")
        for term, name in (("Too steep", "plots_steep"), ("Holes", "holes")):
            assert f"\n{term}\n{of[name]:,.0f}\n" in said
        # Its plots are on the map now: a click on one opens that.
        at = tab.evaluate("([x, y]) => districtplan.pointOf(x, y)", where)
        tab.mouse.click(at["x"], at["y"])
        assert tab.inner_text("#card-title") == "Plot A-01"
        tab.click("#card button")
        tab.click("#village header button")
        assert tab.locator("#village").is_hidden()
    assert seen.faults() == []


def test_the_way_back_leads_through_what_was_looked_at(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        start = tab.evaluate("location.hash")
        tab.click("text=Which way do rows run?")
        tab.click("#list > summary")
        tab.click("#list .village summary >> nth=0")
        tab.wait_for_selector("#list .tokens button >> nth=1")
        tab.click("#list .tokens button >> nth=0")
        settle(tab)
        tab.evaluate("districtplan.open('007')")
        settle(tab)
        sent = tab.evaluate("location.hash")
        assert sent == "#view=rows&village=v001-sondo&plot=007"
        tab.go_back()
        settle(tab)
        assert tab.locator("#card").is_hidden()
        assert tab.inner_text("#village-title") == "Sondo"
        tab.go_back()
        settle(tab)
        assert tab.locator("#village").is_hidden()
        assert tab.locator("[data-view=rows][aria-pressed=true]").count() == 1
        tab.go_back()
        settle(tab)
        assert tab.evaluate("location.hash") == start
        assert tab.locator("[data-view=steep][aria-pressed=true]").count() == 1
        tab.go_forward()
        settle(tab)
        assert tab.locator("[data-view=rows][aria-pressed=true]").count() == 1
        tab.go_forward()
        settle(tab)
        assert tab.inner_text("#village-title") == "Sondo"
        tab.go_forward()
        settle(tab)
        assert tab.inner_text("#card-title") == "Plot 007"
        # Who is sent the address sees the same.
        tab.goto("about:blank")
        tab.goto((tmp_path / "index.html").as_uri() + sent)
        settle(tab)
        assert tab.inner_text("#card-title") == "Plot 007"
        assert tab.locator("[data-view=rows][aria-pressed=true]").count() == 1
        # And may send it on.
        assert tab.evaluate("location.hash") == sent
    assert seen.faults() == []


def test_an_address_that_tells_nothing_shows_the_district(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        for fragment in (
            "#plot=nobody", "#village=__proto__&view=%3Cb%3E", "#view=%E0%A4%A", "#&&=&plot",
        ):  # fmt: skip
            tab.goto("about:blank")
            tab.goto((tmp_path / "index.html").as_uri() + fragment)
            settle(tab)
            assert tab.locator("#card").is_hidden(), fragment
            assert tab.locator("[data-view=steep][aria-pressed=true]").count() == 1, fragment
    assert seen.faults() == []


def test_search_minds_neither_accents_nor_case(browser, renamed, tmp_path):
    with opened(browser, tmp_path / "index.html", renamed) as (tab, seen):
        for typed in ("eronda lo", "ÉRÖÑDA", "łO", "Nda Łɔ"):
            tab.fill("#search-input", typed)
            settle(tab)
            assert tab.inner_text("#found li >> nth=0").startswith("Éröñda Łɔ"), typed
            tab.keyboard.press("Enter")
            settle(tab)
            assert tab.inner_text("#village-title") == "Éröñda Łɔ", typed
            tab.keyboard.press("Escape")
            assert tab.locator("#village").is_hidden()
    assert seen.faults() == []


def test_a_name_of_ten_thousand_signs_is_text_and_stays_in_its_place(browser, renamed, tmp_path):
    with opened(browser, tmp_path / "index.html", renamed, size="phone") as (tab, seen):
        tab.evaluate("districtplan.open('007')")
        tab.click("#card button")
        assert "<script>hit()</script>" in tab.inner_text("#village-title")
        # Set apart, so that what turns the reading order turns nothing beside it.
        assert tab.inner_text("#village-title").endswith("…\u2069")
        assert tab.evaluate("document.documentElement.scrollWidth") <= 360
        high = tab.evaluate("document.querySelector('#village').getBoundingClientRect().height")
        assert high < 2 * SIZES["phone"][1]
    assert seen.faults() == []


def test_the_plot_that_was_typed_comes_before_others_that_begin_so(
    browser, small_results, texts, tmp_path
):
    names = {"007": "110", "110": "11", "108": "\u00e1-1", "109": "a-1"}
    changed = hands.renamed(small_results, names)
    with opened(browser, tmp_path / "index.html", district_page(changed, texts)) as (
        tab,
        seen,
    ):
        for typed in ("a-1", "\u00e1-1", "11"):
            tab.fill("#search-input", typed)
            settle(tab)
            assert tab.locator("#found li").count() > 1
            tab.keyboard.press("Enter")
            settle(tab)
            assert tab.inner_text("#card-title") == f"Plot {typed}"
    assert seen.faults() == []


def test_on_a_phone_a_village_of_the_list_is_shown_where_it_is_seen(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written, size="phone") as (tab, seen):
        tab.click("#list > summary")
        tab.click("#list .village summary >> nth=-1")
        tab.click("#list .tokens .leading >> nth=-1")
        settle(tab)
        box = tab.locator("#map").bounding_box()
        assert 0 <= box["y"] <= SIZES["phone"][1] - box["height"]
    assert seen.faults() == []


def test_farmers_are_found_where_the_plan_names_them(browser, results_with_names, texts, tmp_path):
    content = district_page(results_with_names, texts)
    with opened(browser, tmp_path / "index.html", content) as (tab, seen):
        tab.fill("#search-input", "FARMER 11")
        settle(tab)
        tab.keyboard.press("Enter")
        settle(tab)
        assert tab.inner_text("#card-title") == "Plot 110"
        assert "Invented Farmer 11" in tab.inner_text("#card")
    assert seen.faults() == []


def test_a_filter_keeps_what_it_says_and_can_be_sent(browser, written, small_results, tmp_path):
    plots = small_results.plots
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        tab.click("#filter > summary")
        settle(tab)

        def told():
            settle(tab)
            return tab.inner_text("#filter-told")

        # What is just below a limit isn't at it.
        for limit in (plots["slope_used_pct"].iloc[:2] + 0.1).round(2):
            tab.fill("#filter-from", f"{limit:.2f}")
            tab.keyboard.press("Tab")
            above = int((plots["slope_used_pct"] >= limit).sum())
            assert told().startswith(f"{above} of 12 plots")
        tab.fill("#filter-from", "30")
        tab.keyboard.press("Tab")
        steep = int((plots["slope_used_pct"] >= 30).sum())
        assert told().startswith(f"{steep} of 12 plots, in ")
        tab.fill("#filter-to", "60")
        tab.keyboard.press("Tab")
        within = int(plots["slope_used_pct"].between(30, 60).sum())
        assert within < steep
        assert told().startswith(f"{within} of 12 plots")
        tab.click("text=Show all plots")
        settle(tab)
        assert tab.evaluate("location.hash") == ""
        for field, value, wanted in (
            ("class", "5", plots["erosion_class_number"].eq(5)),
            ("stage", "excluded", plots["erosion_flags"].map(lambda f: "forest_only" in f or
             "perennials_only" in f)),
            ("flag", "crossed_by_flow", plots["water_flags"].map(lambda f: "crossed_by_flow" in f)),
        ):  # fmt: skip
            tab.select_option(f"#filter-{field}", value)
            assert told().startswith(f"{int(wanted.sum())} of 12 plots"), field
            sent = tab.evaluate("location.hash")
            assert sent == f"#{field}={value}"
            for at in range(tab.locator("#filter-found .village summary").count()):
                tab.click(f"#filter-found .village summary >> nth={at}")
                tab.wait_for_selector(f"#filter-found .village >> nth={at} >> button")
            listed = tab.evaluate(
                "[...document.querySelectorAll('#filter-found .tokens button')]"
                ".map((e) => e.firstChild.data)"
            )
            assert sorted(listed) == sorted(plots.loc[wanted, "plot_id"])
            tab.click("text=Show all plots")
            settle(tab)
        tab.goto("about:blank")
        tab.goto((tmp_path / "index.html").as_uri() + "#class=5")
        settle(tab)
        assert tab.input_value("#filter-class") == "5"
    assert seen.faults() == []


def test_what_a_filter_leaves_out_is_pale_on_the_map(browser, written, tmp_path):
    pixel = """([x, y]) => {
      const canvas = document.querySelector('canvas.fields');
      const box = canvas.getBoundingClientRect();
      const dense = canvas.width / box.width;
      const at = [(x - box.left - 8) * dense, (y - box.top - 8) * dense, 17 * dense, 17 * dense];
      const seen = canvas.getContext('2d').getImageData(...at).data;
      return Math.min(...Array.from({ length: seen.length / 4 }, (_, i) => seen[4 * i]));
    }"""
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        place = tab.evaluate("districtplan.placeOf('A-04')")
        before = tab.evaluate(pixel, [place["x"], place["y"]])
        tab.click("#filter > summary")
        settle(tab)
        tab.select_option("#filter-class", "1")
        settle(tab)
        assert before < 120
        assert tab.evaluate(pixel, [place["x"], place["y"]]) > 200
    assert seen.faults() == []


def test_plots_have_the_colour_of_their_class(browser, written, small_results, tmp_path):
    most = """([x, y]) => {
      const canvas = document.querySelector('canvas.fields');
      const box = canvas.getBoundingClientRect();
      const dense = canvas.width / box.width;
      const at = [(x - box.left - 30) * dense, (y - box.top - 30) * dense, 60 * dense, 60 * dense];
      const seen = canvas.getContext('2d').getImageData(...at).data;
      const counts = {};
      for (let i = 0; i < seen.length; i += 4) {
        const hex = (n) => n.toString(16).padStart(2, '0');
        const colour = [...seen.slice(i, i + 3)].map(hex).join('');
        counts[colour] = (counts[colour] || 0) + 1;
      }
      return '#' + Object.keys(counts).sort((a, b) => counts[b] - counts[a])[0];
    }"""
    plots = small_results.plots.set_index("plot_id")
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        for plot_id in ("A-01", "A-02", "A-04"):
            place = tab.evaluate("id => districtplan.placeOf(id)", plot_id)
            fill = palette.EROSION[plots.loc[plot_id, "erosion_class_number"] - 1]
            assert tab.evaluate(most, [place["x"], place["y"]]) == fill
    assert seen.faults() == []


def test_a_missing_file_is_told_and_named(browser, written, tmp_path):
    alone = {"index.html": written["index.html"]}
    with opened(browser, tmp_path / "index.html", alone, size="phone") as (tab, seen):
        tab.fill("#search-input", "a-01")
        settle(tab)
        said = tab.inner_text("#told")
        assert "map/" in said
        assert "Copy the whole folder" in said
        assert tab.locator("#told").get_attribute("role") == "status"
        assert tab.inner_text("#search .status") == ""
        tab.click("#filter > summary")
        settle(tab)
        assert tab.inner_text("#filter .inner") == said
    # A file that isn't there is an error of the browser's; the page's own script has none.
    assert all("ERR_FILE_NOT_FOUND" in error for error in seen.errors)


def test_a_spoilt_file_is_told_and_an_address_shows_what_it_can(browser, written, tmp_path):
    spoilt = {**written, "map/search.js": b'districtplan.take("search", "!");\n'}
    with opened(browser, tmp_path / "index.html", spoilt) as (tab, seen):
        tab.goto("about:blank")
        tab.goto((tmp_path / "index.html").as_uri() + "#village=v001-sondo&class=1")
        settle(tab)
        assert "map/search.js" in tab.inner_text("#told")
        assert tab.inner_text("#village-title") == "Sondo"
    assert seen.faults() == []


@pytest.mark.parametrize("size", EACH_SIZE)
def test_a_page_of_a_village_needs_no_other_file(browser, written, small_results, tmp_path, size):
    (name,) = (name for name in written if name.endswith("sondo.html"))
    with opened(browser, tmp_path / "v.html", {"v.html": written[name]}, size=size) as (tab, seen):
        own = small_results.plots[small_results.plots["village"] == "Sondo"]
        for plot_id, slope in zip(own["plot_id"], own["slope_mean_pct"], strict=True):
            card = driven.click_plot(tab, plot_id)
            assert card.startswith(f"Plot {plot_id}\n")
            assert f"Slope {slope:.1f} %" in card
        assert tab.evaluate("districtplan.open('A-01')") is False
        tab.fill("#search-input", "11")
        settle(tab)
        assert tab.locator("#found li").count() == 1
        for view in ("rows", "buy", "first", "steep"):
            tab.evaluate("view => districtplan.show(view)", view)
            assert tab.inner_text("#finding")
            assert tab.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0]
        assert len(seen.requests) == 1 + sum(url.startswith("data:") for url in seen.requests)
    assert seen.faults() == []


def test_each_good_stands_by_its_name(browser, small_results, texts, tmp_path):
    plots = small_results.plots
    plots = plots.assign(urea_g=(plots["npk_g"] // 3).astype("Int64"))
    bought = bought_by(replace(small_results, plots=plots), practice={"urea_kg_ha": 30.0})
    kits, village = bought.purchase.kits, VILLAGES[0]
    served = kits[kits["order_line"].isin(["enrolled", "demo"])]
    (name,) = (name for name in bought.villages["village"] if name == village)
    grams = served[served["village"] == name][["npk_g", "urea_g"]].sum()
    npk, urea = (wording.kilograms(int(grams[f"{good}_g"])) for good in ("npk", "urea"))
    assert npk != urea
    files = page.render(bought, texts)
    with opened(browser, tmp_path / "index.html", files) as (tab, seen):
        (stem,) = (name for name in files if name.startswith("map/") and "tamba" in name)
        tab.evaluate(f"location.hash = 'village={Path(stem).stem}'")
        settle(tab)
        told = tab.inner_text("#village dl").splitlines()
        told = dict(zip(told[::2], told[1::2], strict=True))
        assert (told["NPK [kg]"], told["Urea [kg]"]) == (npk, urea)
        for kit in served.to_dict("records"):
            card = driven.click_plot(tab, kit["plot_id"])
            _, card = card.split("\nKit\n")
            for good, word in (("npk", "NPK"), ("urea", "Urea")):
                assert f"\n{word} {wording.kilograms(kit[f'{good}_g'])} kg\n" in card
    assert seen.faults() == []
    (phone,) = (part for name, part in files.items() if "tamba" in name and name.endswith("html"))
    with opened(browser, tmp_path / "page.html", {"page.html": phone}) as (tab, seen):
        tab.evaluate("districtplan.show('buy')")
        found = tab.inner_text("#finding")
        assert f"{npk} kg of NPK" in found
        assert f"{urea} kg of urea" in found
    assert seen.faults() == []


def test_pages_of_villages_are_left_out_where_they_would_be_too_many(small_results, texts):
    def made(most):
        asked = small_results.plan.page.model_copy(update={"village_pages_max": most})
        plan = small_results.plan.model_copy(update={"page": asked})
        return [n for n in page.render(replace(small_results, plan=plan), texts) if "villages" in n]

    assert len(made(3)) == 3
    assert made(2) == []
    plan = small_results.plan
    assert page.doubts(plan.page.village_pages_max, plan) == []
    (said,) = page.doubts(plan.page.village_pages_max + 1, plan)
    assert "101 villages" in said
    assert "Raise page.village_pages_max" in said


def test_a_card_leads_to_the_page_of_its_sheet(browser, small_results, texts, tmp_path):
    """Sheets may be several pages long: each page says which row of the plots file it is of."""
    sheets = small_results.plan.sheets.model_copy(update={"plots": "flagged"})
    plan = small_results.plan.model_copy(update={"sheets": sheets})
    files = FORMATS["pages"](replace(small_results, plan=plan), texts)
    rows = small_results.plots.set_index("plot_id")["source_row"]
    led = {}
    for name in ("index.html", *(name for name in files if name.startswith("villages/v001"))):
        with opened(browser, tmp_path / "run" / "index.html", files) as (tab, seen):
            tab.goto((tmp_path / "run" / name).as_uri())
            for plot_id in tab.evaluate("districtplan.plots"):
                tab.evaluate("id => districtplan.open(id)", plot_id)
                link = tab.locator("#card .paper a")
                led[plot_id] = link.evaluate("link => link.href") if link.count() else None
                if led[plot_id] is None:
                    continue
                path, page_number = led[plot_id].split("#page=")
                file = Path(url2pathname(urlsplit(path).path))
                text = pypdf.PdfReader(file).pages[int(page_number) - 1].extract_text()
                assert f"Plots file, row {rows[plot_id]}" in text.replace("\xa0", " ")
                assert file.name in link.inner_text()
        assert seen.faults() == []
    assert {link is None for link in led.values()} == {True, False}


def test_a_page_in_another_language_says_so_and_that_it_is_not_reviewed(
    browser, small_results, tmp_path
):
    asked = small_results.plan.page.model_copy(update={"language": "fr"})
    plan = small_results.plan.model_copy(update={"page": asked})
    content = page.render(replace(small_results, plan=plan), Texts.load("fr"))
    with opened(browser, tmp_path / "index.html", content, size="phone") as (tab, seen):
        assert tab.get_attribute("html", "lang") == "fr"
        assert "faire relire" in tab.inner_text("#review")
        assert tab.inner_text("#views button >> nth=0") == "Où est-ce pentu ?"
        assert driven.click_plot(tab, "A-01").startswith("Parcelle A-01\n")
        assert "Pente 6,4 % ± 0,6" in tab.inner_text("#card")
    assert seen.faults() == []
    english = page.render(small_results, Texts.load("en"))
    with opened(browser, tmp_path / "index.html", english) as (tab, seen):
        assert tab.locator("#review").is_hidden()


def test_each_village_s_name_stands_nearest_to_its_own_plots(
    browser, close_together, texts, tmp_path
):
    plots = close_together.plots
    hulls = [shape.convex_hull for shape in plots["geometry"]]
    rings = [shapely.transform(hull, TO_DEGREES.transform, interleaved=False) for hull in hulls]
    degrees = [list(ring.exterior.coords) for ring in rings]
    on_canvas = """(hulls) => {
      const corner = document.querySelector('canvas.fields').getBoundingClientRect();
      const at = ([x, y]) => districtplan.pointOf(x, y);
      return hulls.map((hull) => hull.map(at).map(({ x, y }) => [x - corner.x, y - corner.y]));
    }"""
    content = driven.district_page(close_together, texts)
    with opened(browser, tmp_path / "index.html", content) as (tab, seen):
        tab.evaluate(f"() => {{ {hands.WRITTEN} }}")
        for view in ("steep", "rows", "buy"):
            tab.evaluate("view => districtplan.show(view)", view)
            settle(tab)
            # Once more, as the map lies now.
            tab.evaluate("view => { window.written = []; districtplan.show(view); }", view)
            texts_there = tab.evaluate("window.written")
            names = {one["text"]: box(*one["box"]) for one in texts_there if one["text"] in CROSS}
            assert set(names) == set(CROSS), view
            drawn = plots.assign(drawn=[Polygon(hull) for hull in tab.evaluate(on_canvas, degrees)])
            lying = drawn.groupby("village")["drawn"].agg(lambda own: unary_union(list(own)))
            for name, label in names.items():
                assert lying.map(label.distance).idxmin() == name, view
    assert seen.faults() == []
