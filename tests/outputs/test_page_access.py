"""Pages under a checker of accessibility, axe-core: nothing serious on any kind of page."""

from __future__ import annotations

from importlib import resources

import pytest

from districtplan.outputs import page
from tests.outputs import test_page_browser as driven
from tests.outputs.test_work_words import with_curve

pytestmark = pytest.mark.browser

opened = driven.opened
EACH_SIZE = driven.EACH_SIZE
GRAVE = ("serious", "critical")
VIEWS = ("steep", "rows", "buy", "first")


@pytest.fixture(scope="module")
def checker():
    folder = pytest.importorskip("axe_playwright_python").__name__
    return resources.files(folder).joinpath("axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def written(small_results, texts):
    return page.render(with_curve(small_results), texts)


def grave(tab, checker):
    """What is found against WCAG 2.2 AA and good practice, where it is grave."""
    tab.evaluate(checker)
    found = tab.evaluate("axe.run(document).then(({ violations }) => violations)")
    return [
        (one["id"], node["html"][:200], node["failureSummary"][:300])
        for one in found
        for node in one["nodes"]
        if node["impact"] in GRAVE
    ]


@pytest.mark.parametrize("size", EACH_SIZE)
def test_the_page_of_the_district_has_no_grave_fault(browser, written, checker, tmp_path, size):
    with opened(browser, tmp_path / "index.html", written, size=size) as (tab, _):
        for view in VIEWS:
            tab.evaluate("view => districtplan.show(view)", view)
            assert grave(tab, checker) == [], view
        tab.click("#filter > summary")
        tab.evaluate("districtplan.settled()")
        tab.select_option("#filter-class", "1")
        tab.evaluate("districtplan.settled()")
        tab.click("#list > summary")
        tab.click("#list .village summary >> nth=0")
        tab.click("#list .tokens button >> nth=0")
        tab.evaluate("districtplan.settled()")
        assert tab.locator("#village").is_visible()
        assert grave(tab, checker) == []
        tab.evaluate("districtplan.open('B4')")
        assert grave(tab, checker) == []


@pytest.mark.parametrize("size", EACH_SIZE)
def test_the_page_of_a_village_has_no_grave_fault(browser, written, checker, tmp_path, size):
    (name,) = (name for name in written if name.endswith("sondo.html"))
    content = {"village.html": written[name]}
    with opened(browser, tmp_path / "village.html", content, size=size) as (tab, _):
        for view in VIEWS:
            tab.evaluate("view => districtplan.show(view)", view)
            assert grave(tab, checker) == [], view
        tab.evaluate("districtplan.open('109')")
        assert grave(tab, checker) == []


def test_the_checker_sees_a_grave_fault(browser, written, checker, tmp_path):
    with opened(browser, tmp_path / "index.html", written) as (tab, _):
        tab.evaluate("document.querySelector('#search-input').labels[0].remove()")
        tab.evaluate("document.querySelector('#search-input').placeholder = ''")
        assert "label" in {fault for fault, _, _ in grave(tab, checker)}
