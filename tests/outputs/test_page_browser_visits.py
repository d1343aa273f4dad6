"""The view of visits, in a browser."""

from __future__ import annotations

import pytest

from districtplan.outputs import page
from districtplan.visits.told import PLANNED
from tests.outputs import test_page_access as access
from tests.outputs import test_page_browser as driven
from tests.outputs.visited import visited_by

pytestmark = pytest.mark.browser

checker = access.checker
opened = driven.opened
EACH_SIZE, SIZES = driven.EACH_SIZE, driven.SIZES
FOLDS = ("visit-days", "visit-load", "visit-out")


@pytest.fixture(scope="module")
def seen(small_results):
    return visited_by(small_results)


@pytest.fixture(scope="module")
def written(seen, texts):
    return page.render(seen, texts)


@pytest.mark.parametrize("size", EACH_SIZE)
def test_one_click_says_who_comes_when(browser, seen, written, tmp_path, size):
    with opened(browser, tmp_path / "index.html", written, size=size) as (tab, watched):
        tab.click("text=Who comes when?")
        assert tab.inner_text("#finding").startswith("All ")
        agents = tab.locator("#visit-days .village")
        assert agents.count() == len(seen.visits.agents)
        # An agent's id is text from outside.
        assert "=T1" in agents.nth(0).inner_text()
        agents.nth(0).locator("summary").first.click()
        agents.nth(0).locator(".hill summary").first.click()
        agents.nth(0).locator(".hill button").first.click()
        weeks = seen.visits.load["load_week"].nunique()
        assert tab.locator("#visit-load tbody tr").count() == weeks
        assert tab.evaluate("document.documentElement.scrollWidth") == SIZES[size][0]
        made = seen.visits.visits
        for at, village in enumerate(seen.villages["village"]):
            own = made[(made["village"] == village) & (made["visit_status"] == PLANNED)]
            begins, ends = (
                own[f"visit_{one}"].str.split(":", expand=True).astype(int) @ [60, 1]
                for one in ("begins", "ends")
            )
            hours = round((ends - begins).sum() / 60)
            row = tab.locator("#list .village summary").nth(at).text_content()
            assert f"{len(own)} visits planned, {hours} h at work" in row
    assert watched.faults() == []


def test_a_plot_s_card_says_who_comes_when_in_every_view(browser, seen, written, texts, tmp_path):
    made = seen.visits.visits
    plot = made[(made["visit_status"] == PLANNED) & (made["plot_id"] != "")].iloc[0]
    with opened(browser, tmp_path / "index.html", written) as (tab, watched):
        for view in ("steep", "visits"):
            tab.evaluate("view => districtplan.show(view)", view)
            tab.evaluate("id => districtplan.open(id)", plot["plot_id"])
            said = tab.locator("#card .visits").inner_text()
            assert texts.day(plot["visit_day"]) in said
            if view == "visits":
                own = made[(made["visit_status"] == PLANNED) & (made["plot_id"] != "")]
                for one in own.to_dict("records"):
                    tab.evaluate("id => districtplan.open(id)", one["plot_id"])
                    said = tab.locator("#card .visits").inner_text()
                    when = f"{texts.day(one['visit_day'])}, {one['visit_begins']}"
                    assert f"{when}, by {one['agent_id']}" in said
            for part in FOLDS:
                hidden = tab.locator(f"#{part}").evaluate("(e) => e.hidden")
                assert hidden == (view != "visits")
    assert watched.faults() == []


@pytest.mark.parametrize("size", EACH_SIZE)
def test_the_view_has_no_grave_fault_of_access(browser, written, checker, tmp_path, size):
    with opened(browser, tmp_path / "index.html", written, size=size) as (tab, _):
        tab.evaluate("districtplan.show('visits')")
        tab.locator("#visit-days .village summary").first.click()
        tab.locator("#visit-days .hill summary").first.click()
        assert access.grave(tab, checker) == []


@pytest.mark.slow
def test_without_agents_there_is_no_such_view(browser, small_results, texts, tmp_path):
    written = page.render(small_results, texts)
    with opened(browser, tmp_path / "index.html", written) as (tab, watched):
        assert tab.locator("text=Who comes when?").count() == 0
        assert tab.evaluate("districtplan.show('visits')") is False
    assert watched.faults() == []
