"""The view of demonstration plots, in a browser."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from districtplan.outputs import page
from districtplan.outputs.file_names import village_stems
from tests.outputs import test_page_browser as driven
from tests.outputs.taught import taught_by

pytestmark = pytest.mark.browser

opened = driven.opened
EACH_SIZE, SIZES = driven.EACH_SIZE, driven.SIZES
FOLDS = ("demo-list", "demo-villages", "demo-curve", "demo-compared", "demo-out", "demo-how")


@pytest.fixture(scope="module")
def taught(small_results):
    return taught_by(small_results)


@pytest.fixture(scope="module")
def written(taught, texts):
    return page.render(taught, texts)


@pytest.mark.parametrize("size", EACH_SIZE)
def test_one_click_says_who_teaches_and_who_is_left(browser, taught, written, tmp_path, size):
    with opened(browser, tmp_path / "index.html", written, size=size) as (tab, seen):
        tab.click("text=Who teaches?")
        assert tab.inner_text("#finding").startswith("2 demonstration plots: ")
        first = tab.locator("#demo-list .hill").first
        assert taught.demos.chosen["plot_id"][0] in first.locator("summary").inner_text()
        assert tab.locator("#demo-villages .village").count() == 3
        assert tab.locator("#demo-curve svg").count() == 1
        assert "beans stood" not in tab.inner_text("#demo-list")
        assert tab.evaluate("document.documentElement.scrollWidth") == SIZES[size][0]
    assert seen.faults() == []


@pytest.mark.slow
def test_other_views_show_none_of_it(browser, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        for view in ("teach", "steep", "rows", "buy", "first"):
            tab.evaluate("view => districtplan.show(view)", view)
            for part in (*FOLDS, "legend-teach"):
                hidden = tab.locator(f"#{part}").evaluate("(e) => e.hidden")
                assert hidden == (view != "teach")
    assert seen.faults() == []


def test_any_plot_says_aloud_why_it_is_one_or_not(browser, taught, written, tmp_path):
    chosen = set(taught.demos.chosen["plot_id"])
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        tab.evaluate("districtplan.show('teach')")
        for plot in taught.plots["plot_id"]:
            assert tab.evaluate("id => districtplan.open(id)", plot)
            part = tab.locator("#card .teach")
            title = part.locator("h3").inner_text()
            assert title.startswith("Why this plot is a ") is (plot in chosen)
            said = part.inner_text()
            assert "flagged" in said
            assert "In the order it stands under: " in said
        # In another view it stands further down on the card.
        tab.evaluate("districtplan.show('steep')")
        assert tab.locator("#card .teach").count() == 1
    assert seen.faults() == []


@pytest.mark.slow
def test_a_page_without_them_has_no_such_view(browser, small_results, texts, tmp_path):
    written = page.render(small_results, texts)
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        assert tab.evaluate("districtplan.show('teach')") is False
        assert tab.locator("text=Who teaches?").count() == 0
        tab.evaluate("districtplan.open('A-01')")
        assert tab.locator("#card .teach").count() == 0
        for part in FOLDS:
            assert tab.locator(f"#{part}").evaluate("(e) => e.hidden")
    assert seen.faults() == []


def test_farmers_without_one_are_seen(browser, taught, written, tmp_path):
    left = taught.demos.reached == 0
    assert left.any()
    plot = taught.plots["plot_id"][int(left.argmax())]
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):

        def dark(view: str) -> int:
            tab.evaluate("view => districtplan.show(view)", view)
            place = tab.evaluate("id => districtplan.placeOf(id)", plot)
            tab.wait_for_timeout(100)
            clip = {"x": place["x"] - 3, "y": place["y"] - 3, "width": 6, "height": 6}
            shot = Image.open(io.BytesIO(tab.screenshot(clip=clip))).convert("L")
            return int((np.asarray(shot) < 90).sum())

        assert dark("teach") > 12
        assert dark("first") == 0
    assert seen.faults() == []


@pytest.mark.parametrize("size", EACH_SIZE)
def test_a_page_of_a_village_tells_of_its_own_farmers(browser, taught, written, tmp_path, size):
    first = taught.demos.chosen.iloc[0]
    stem = village_stems(taught.villages["village"].tolist())[first["village"]]
    # Alone, as it is sent: nothing beside it can be loaded.
    alone = {"page.html": written[f"villages/{stem}.html"]}
    with opened(browser, tmp_path / "page.html", alone, size=size) as (tab, seen):
        tab.click("text=Who teaches?")
        assert f"farmers of {first['village']} have a demo" in tab.inner_text("#finding")
        rest = tab.locator("#rest").text_content()
        assert rest.count(first["plot_id"]) == 1
        assert "under a village's name" not in tab.locator("#legend").text_content()
        assert tab.locator("button.whole").text_content() == "Whole village"
        assert "All of them are in" not in tab.evaluate(
            "() => { districtplan.show('steep'); return document.body.textContent; }"
        )
        tab.evaluate("districtplan.show('teach')")
        assert tab.evaluate("location.hash") == "#view=teach"
        shown = {part for part in FOLDS if not tab.locator(f"#{part}").evaluate("(e) => e.hidden")}
        assert shown == {"demo-list", "demo-villages", "demo-how"}
        tab.locator("#demo-list button", has_text="Show on the map").first.click()
        tab.evaluate("districtplan.settled()")
        assert tab.inner_text("#card-title").endswith(first["plot_id"])
        title = tab.locator("#card .teach h3").inner_text()
        assert title == "Why this plot is a demonstration plot"
        assert tab.evaluate("document.documentElement.scrollWidth") == SIZES[size][0]
    assert seen.faults() == []


@pytest.mark.slow
def test_the_view_has_an_address(browser, taught, written, tmp_path):
    plot = taught.demos.chosen["plot_id"][0]
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        tab.click("text=Who teaches?")
        tab.evaluate("id => districtplan.open(id)", plot)
        hash_ = tab.evaluate("location.hash")
        assert "view=teach" in hash_
        tab.goto("about:blank")
        tab.goto((tmp_path / "index.html").as_uri() + hash_)
        assert tab.evaluate("districtplan.settled()")
        assert tab.inner_text("#finding").startswith("2 demonstration plots: ")
        assert tab.inner_text("#card-title").endswith(plot)
    assert seen.faults() == []


def test_farmers_of_a_village_are_told_of_on_its_card(browser, taught, written, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, seen):
        tab.click("text=Who teaches?")
        tab.locator("#demo-villages .village summary").first.click()
        tab.locator("#demo-villages button", has_text="Show").first.click()
        tab.evaluate("districtplan.settled()")
        name = tab.inner_text("#village-title")
        row = taught.demos.villages.set_index("village").loc[name]
        assert (
            f"{row['demo_farmers_reached']} of its {row['demo_farmers']} farmers"
            in tab.inner_text("#village")
        )
        left = row["demo_farmers"] - row["demo_farmers_reached"]
        for place in ("#village", "#list"):
            told = tab.locator(place).text_content()
            assert "1 demonstration plot" in told
            assert ("with none in reach" in told) == (left > 0 or place == "#list")
        unreached = (
            taught.demos.villages["demo_farmers"] - taught.demos.villages["demo_farmers_reached"]
        )
        for count in unreached[unreached > 0]:
            farmers = "1 farmer" if count == 1 else f"{count} farmers"
            assert f"{farmers} with none in reach" in tab.locator("#list").text_content()
    assert seen.faults() == []
