"""The page under hands, keys and hostile names: what is reached, and what stays in place."""

from __future__ import annotations

import dataclasses

import pandas as pd
import pypdf
import pytest

from districtplan.outputs import page
from districtplan.outputs.page import shown_names
from tests.outputs import test_page_browser as driven
from tests.outputs.taught import taught_by
from tests.outputs.visited import visited_by

pytestmark = pytest.mark.browser

opened, SIZES = driven.opened, driven.SIZES

MARKUP = (
    "</script><script>hit()</script><img src=x onerror=hit()>\"'`${hit()}{{ 7*191 }}{% x %}\u2028"
)
TURNED = "\u202e\u0642\u0631\u064a\u0629 5"
STACKED = "e" + "\u0301" * 300 + "y" * 10_000
NAMES = (MARKUP, TURNED, STACKED)

# What may be pressed: of a box with a label around it, what the label covers.
TARGETS = """() => [...document.querySelectorAll(
    'button, input, select, summary, a[href], [role=button], [role=option]')]
  .filter((e) => e.checkVisibility() && !e.classList.contains('skip'))
  .map((e) => {
    const target = e.closest('label') ?? e;
    target.scrollIntoView({ block: 'center' });
    const box = target.getBoundingClientRect();
    // The label takes the press as far as it reaches.
    const reached = [[box.left + 3, box.top + 3], [box.right - 3, box.bottom - 3]]
      .every(([x, y]) => target.contains(document.elementFromPoint(x, y)));
    return { what: e.outerHTML.slice(0, 120), box: [box.width, box.height], reached };
  })"""

WRITTEN = """
  window.written = [];
  const put = CanvasRenderingContext2D.prototype.fillText;
  CanvasRenderingContext2D.prototype.fillText = function (text, x, y) {
    const { a, b, c, d, e, f } = this.getTransform();
    const dense = Math.hypot(a, b);
    const half = this.measureText(text).width / 2;
    const [along, across] = [Math.abs(a) / dense, Math.abs(b) / dense];
    const tall = parseFloat(this.font.match(/([\\d.]+)px/)[1]) / 2;
    const [px, py] = [(a * x + c * y + e) / dense, (b * x + d * y + f) / dense];
    const reach = [half * along + tall * across, half * across + tall * along];
    const box = [px - reach[0], py - reach[1], px + reach[0], py + reach[1]];
    window.written.push({ on: this.canvas.classList[0], text, box });
    return put.call(this, text, x, y);
  };
"""


def renamed(held, names):
    """The same results with other names, wherever they stand."""
    if isinstance(held, pd.DataFrame):
        there = [n for n in ("plot_id", "village", "farmer_name") if n in held]
        return held.assign(**{n: held[n].map(lambda v: names.get(v, v)) for n in there})
    if dataclasses.is_dataclass(held) and not isinstance(held, type):
        changed = {f.name: renamed(getattr(held, f.name), names) for f in dataclasses.fields(held)}
        return dataclasses.replace(held, **changed)
    if isinstance(held, dict):
        known = {str, tuple}
        if {type(key) for key in held} <= known:
            return {
                tuple(names.get(one, one) for one in key)
                if isinstance(key, tuple)
                else names.get(key, key): value
                for key, value in held.items()
            }
    return held


@pytest.fixture(scope="module")
def spoilt(results_with_names, texts):
    results = results_with_names
    ids = ("A-01", "A-02", "007")
    farmers = results.plots.set_index("plot_id")["farmer_name"][list(ids)].tolist()
    names = dict(zip(results.villages["village"], NAMES, strict=True))
    names |= dict(zip(ids, NAMES, strict=True)) | dict(zip(farmers, NAMES, strict=True))
    return page.render(renamed(results, names), texts)


@pytest.mark.parametrize("size", SIZES)
def test_hostile_names_are_text_everywhere_and_break_nothing(browser, spoilt, tmp_path, size):
    width, height = SIZES[size]
    shown = [shown_names.shown(name) for name in NAMES]
    with opened(browser, tmp_path / "index.html", spoilt, size=size) as (tab, seen):

        def fits():
            assert tab.evaluate("document.documentElement.scrollWidth") <= width
            # Whatever stands above it, half of the map is seen without scrolling.
            box = tab.locator("#map").bounding_box()
            assert min(box["y"] + box["height"], height) - box["y"] > 0.3 * height

        for view in ("rows", "buy", "first", "steep"):
            tab.evaluate("view => districtplan.show(view)", view)
            fits()
        tab.click("#list > summary")
        rows = tab.locator("#list .village > summary")
        listed = [rows.nth(at).evaluate("(e) => e.firstChild.data") for at in range(rows.count())]
        assert sorted(listed) == sorted(shown)
        assert max(rows.nth(at).bounding_box()["height"] for at in range(3)) < 300
        for typed, which in (("</script", 0), ("قرية", 1), ("yyyyyyyyy", 2)):
            tab.fill("#search-input", typed)
            tab.evaluate("districtplan.settled()")
            # The village, the plot, and the plot again by its farmer's name.
            found = tab.locator("#found li")
            assert found.count() >= 2
            assert shown[which] in found.nth(0).text_content()
            assert found.nth(1).bounding_box()["height"] < 400
            tab.locator("#search-input").press("Escape")
        for name, said in zip(NAMES, shown, strict=True):
            assert tab.evaluate("id => districtplan.open(id)", name)
            assert tab.locator("#card-title").text_content() == f"Plot {said}"
            assert said in tab.locator("#card dl").last.text_content()
            inner = "(e) => e.scrollWidth <= e.clientWidth + 1"
            assert tab.eval_on_selector("#card", inner)
            assert tab.evaluate("document.documentElement.scrollWidth") <= width
        tab.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        assert tab.evaluate("document.body.scrollWidth <= document.body.clientWidth + 1")
        tab.evaluate("window.dispatchEvent(new Event('afterprint'))")
        assert "1337" not in tab.inner_text("body")
        assert tab.locator("img:not(.leaflet-image-layer)").count() == 0
    assert seen.faults() == []


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("Sondo", "Sondo"),
        ("x" * 120, "x" * 120),
        ("x" * 121, "x" * 119 + "…"),
        ("e" + "\u0301" * 9, "e" + "\u0301" * 4),
        ("\u05e9\u05dc", "\u2068\u05e9\u05dc\u2069"),
        ("a\u202eb", "\u2068a\u202eb\u2069"),
        ("Éröñda Łɔ", "Éröñda Łɔ"),
    ],
)
def test_a_name_is_short_and_keeps_to_itself(name, said):
    assert shown_names.shown(name) == said
    assert shown_names.odd([name, None]) == ({} if name == said else {name: said})
    told = shown_names.in_sentences({"a": [f"In {name}.", 1]}, shown_names.odd([name]))
    assert told == {"a": [f"In {said}.", 1]}


def test_names_keep_to_themselves_in_sentences_too():
    known = shown_names.odd(["\u05e9", "\u05e9\u05dc 4", "Sondo"])
    said = shown_names.in_sentences("12 in \u05e9\u05dc 4, 3 in \u05e9, 2 in Sondo.", known)
    assert said == "12 in \u2068\u05e9\u05dc 4\u2069, 3 in \u2068\u05e9\u2069, 2 in Sondo."


@pytest.fixture(scope="module")
def full(small_results, texts):
    """With every view that there is."""
    return page.render(visited_by(taught_by(small_results)), texts)


def test_keys_lead_through_the_page_and_back(browser, full, small_results, tmp_path):
    with opened(browser, tmp_path / "index.html", full) as (tab, seen):
        came = []
        for _ in range(40):
            tab.keyboard.press("Tab")
            here = tab.evaluate(
                """() => {
                  const { outlineStyle, outlineWidth } = getComputedStyle(document.activeElement);
                  const e = document.activeElement;
                  // Past the last of the page.
                  if (e === document.body) return null;
                  return [e.id || e.dataset.view || e.parentElement.id || e.className,
                          outlineStyle !== 'none' && parseFloat(outlineWidth) >= 2];
                }"""
            )
            if here is None:
                break
            came.append(here[0])
            assert here[1], f"focus isn't seen on {here[0]}"
        wanted = ["skip", "steep", "visits", "map", "search-input", "legend", "filter", "list"]
        assert [came.index(one) for one in wanted] == sorted(came.index(one) for one in wanted)
        # A plot from the map: Enter opens what is below the cross.
        tab.evaluate("districtplan.placeOf('A-01')")
        tab.focus("#map")
        tab.keyboard.press("Enter")
        tab.evaluate("districtplan.settled()")
        assert tab.inner_text("#card-title") == "Plot A-01"
        assert tab.evaluate("document.activeElement.id") == "card"
        tab.keyboard.press("Tab")
        assert tab.evaluate("document.activeElement.textContent") == "Close"
        tab.keyboard.press("Escape")
        assert tab.locator("#card").is_hidden()
        assert tab.evaluate("document.activeElement.id") == "map"
        assert tab.locator("#village").is_visible()
        tab.keyboard.press("Escape")
        assert tab.locator("#village").is_hidden()
        # A list that is open closes first, and the card below it stays.
        tab.evaluate("districtplan.open('A-01')")
        tab.fill("#search-input", "a-0")
        tab.evaluate("districtplan.settled()")
        tab.keyboard.press("Escape")
        assert tab.locator("#found").is_hidden()
        assert tab.locator("#card").is_visible()
        assert_it_says_where_and_how(tab, small_results)
    assert seen.faults() == []


def assert_it_says_where_and_how(tab, results):
    """The open card of A-01: coordinates that can be copied, methods with their sources."""
    row = results.plots.set_index("plot_id").loc["A-01"]
    place = f"{row['latitude_deg']:.5f}, {row['longitude_deg']:.5f}"
    writes = "{ writeText: (text) => { window.put = text; return Promise.resolve(); } }"
    define = (
        "(there) => Object.defineProperty(navigator, 'clipboard', "
        f"{{ configurable: true, value: there ? {writes} : undefined }})"
    )
    tab.evaluate(define, True)
    tab.click("#card dd button")
    tab.evaluate("districtplan.settled()")
    assert tab.evaluate("window.put") == place
    assert tab.inner_text("#card dd [role=status]") == "Copied."
    tab.evaluate(define, False)
    tab.click("#card dd button")
    tab.evaluate("districtplan.settled()")
    assert tab.evaluate("getSelection().toString()") == place
    assert tab.inner_text("#card dd [role=status]").startswith("Selected")
    tab.click("#card .worked > summary")
    said = tab.inner_text("#card .worked")
    for number in ("Slope", "How sure the bearing is", "Rows", "Soil loss", "Inputs"):
        assert f"{number}\n" in said
    assert "read on the ground" not in said
    assert results.handbook.source("equations", "row_bearing") in said
    assert results.handbook.source("equations", "soil_loss") in said


def test_fingers_find_what_they_press(browser, full, tmp_path):
    """WCAG 2.2, 2.5.8: 24 by 24 pixels for all, 44 for what is pressed most."""
    with opened(browser, tmp_path / "index.html", full, size="phone") as (tab, seen):
        tab.click("#legend > summary")
        tab.click("#filter > summary")
        tab.click("#list > summary")
        tab.click("#list .village summary >> nth=0")
        tab.evaluate("districtplan.settled()")
        targets = tab.evaluate(TARGETS)
        for view in ("first", "teach", "visits", "buy"):
            tab.evaluate("view => districtplan.show(view)", view)
            targets += tab.evaluate(TARGETS)
        tab.evaluate("districtplan.open('A-01')")
        tab.click("#card .worked > summary")
        targets += [
            one for one in tab.evaluate(TARGETS) if "worked" in one["what"] or "Copy" in one["what"]
        ]
        tab.click("#card header button")
        tab.fill("#search-input", "a-0")
        tab.evaluate("districtplan.settled()")
        targets += [one for one in tab.evaluate(TARGETS) if 'role="option"' in one["what"]]
        assert len(targets) > 100
        assert [one for one in targets if min(one["box"]) < 44] == []
        boxes = [one for one in targets if "checkbox" in one["what"]]
        assert boxes
        assert [one for one in boxes if not one["reached"]] == []
    assert seen.faults() == []


@pytest.mark.parametrize("size", SIZES)
def test_heights_are_not_written_over_names(browser, full, tmp_path, size):
    with opened(browser, tmp_path / "index.html", full, size=size) as (tab, seen):
        tab.evaluate(f"() => {{ {WRITTEN} districtplan.show('teach'); }}")
        tab.evaluate("districtplan.settled()")
        # Once more, as the map lies now.
        tab.evaluate("() => { window.written = []; districtplan.show('teach'); }")
        written = tab.evaluate("window.written")
    names = [one["box"] for one in written if one["on"] == "fields"]
    heights = [one["box"] for one in written if one["on"] == "contours"]
    assert names
    # A phone's map may have no room for any.
    assert heights or size == "phone"
    over = [
        (a, b)
        for a in names
        for b in heights
        if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
    ]
    assert over == []
    assert seen.faults() == []


def test_the_map_and_its_legend_are_printed_on_one_sheet(browser, full, tmp_path):
    with opened(browser, tmp_path / "index.html", full) as (tab, seen):
        for view in ("steep", "first"):
            tab.evaluate("view => districtplan.show(view)", view)
            file = tmp_path / f"{view}.pdf"
            tab.pdf(path=file, prefer_css_page_size=True)
            first, *others = (sheet.extract_text() for sheet in pypdf.PdfReader(file).pages)
            assert "Legend" in first
            # The last of what the legend says.
            assert "North is up" in " ".join(first.split())
            assert all("North is up" not in " ".join(sheet.split()) for sheet in others)
    assert seen.faults() == []
