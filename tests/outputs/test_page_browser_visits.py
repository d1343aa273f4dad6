"""The view of visits, in a browser."""

from __future__ import annotations

from itertools import pairwise

import pytest

from districtplan.outputs import page
from districtplan.visits.told import PLANNED
from tests.outputs import test_page_access as access
from tests.outputs import test_page_browser as driven
from tests.outputs.taught import taught_by
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


def test_on_a_phone_ways_are_shown_where_they_are_seen(browser, written, tmp_path):
    """Lists of days stand far below the map."""
    with opened(browser, tmp_path / "index.html", written, size="phone") as (tab, watched):
        tab.evaluate("districtplan.show('visits')")
        agent = tab.locator("#visit-days .village").first
        agent.locator("summary").first.click()
        agent.locator(".hill summary").first.click()
        for lead in (agent.locator(".hill button"), tab.locator("#visit-days .leading")):
            lead.first.click()
            box = tab.locator("#map").bounding_box()
            assert box["y"] >= 0
            assert box["y"] + box["height"] <= SIZES["phone"][1]
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


# How much of some legs has the colour of the way that is shown, halfway between their ends.
SHOWN = """(legs) => {
  const canvas = document.querySelector('canvas.fields');
  const box = canvas.getBoundingClientRect();
  const dense = canvas.width / box.width;
  const context = canvas.getContext('2d');
  const hits = legs.filter(([from, to]) => {
    const [one, other] = [from, to].map(([longitude, latitude]) => districtplan.pointOf(longitude, latitude));
    const [x, y] = [(one.x + other.x) / 2 - box.left, (one.y + other.y) / 2 - box.top];
    const { data } = context.getImageData(Math.round(x * dense) - 2, Math.round(y * dense) - 2, 5, 5);
    for (let at = 0; at < data.length; at += 4) if (data[at] === 11 && data[at + 1] === 74 && data[at + 2] === 130) return true;
    return false;
  });
  return hits.length / legs.length;
}"""  # noqa: E501


def legs_of(seen):
    """From base to stop to stop and back, by agent and day as a card writes it."""
    base = seen.visits.agents.set_index("agent_id")[["longitude_deg", "latitude_deg"]]
    made = seen.visits.visits
    made = made[made["visit_status"] == PLANNED].sort_values("visit_begins")
    found = {}
    for (agent, day), stops in made.groupby(["agent_id", "visit_day"]):
        home = [base.loc[agent].tolist()]
        way = home + stops[["place_longitude_deg", "place_latitude_deg"]].to_numpy().tolist() + home
        found[agent, day] = list(pairwise(way))
    return found


def test_the_way_that_is_shown_is_that_of_the_day(browser, seen, written, texts, tmp_path):
    legs = legs_of(seen)
    with opened(browser, tmp_path / "index.html", written) as (tab, watched):
        tab.evaluate("districtplan.show('visits')")
        told_apart = 0
        for agent, fold in zip(
            seen.visits.agents["agent_id"], tab.locator("#visit-days .village").all(), strict=True
        ):
            fold.locator("summary").first.click()
            days = sorted(day for one, day in legs if one == agent)
            for day, own in zip(days, fold.locator(".hill").all(), strict=True):
                assert own.inner_text().startswith(texts.day(day))
                own.locator("summary").click()
                own.locator("button").click()
                tab.evaluate("districtplan.settled()")
                share = {other: tab.evaluate(SHOWN, way) for other, way in legs.items()}
                assert share[agent, day] == max(share.values()) >= 0.8
                told_apart += min(share.values()) < share[agent, day]
        assert told_apart > 1
    assert watched.faults() == []


@pytest.mark.parametrize("size", EACH_SIZE)
def test_the_view_has_no_grave_fault_of_access(browser, written, checker, tmp_path, size):
    with opened(browser, tmp_path / "index.html", written, size=size) as (tab, _):
        tab.evaluate("districtplan.show('visits')")
        tab.locator("#visit-days .village summary").first.click()
        tab.locator("#visit-days .hill summary").first.click()
        assert access.grave(tab, checker) == []


def test_on_a_phone_six_views_stand_in_one_line(browser, small_results, texts, tmp_path):
    written = page.render(visited_by(taught_by(small_results)), texts)
    with opened(browser, tmp_path / "index.html", written, size="phone") as (tab, watched):
        buttons = tab.locator("#views button").all()
        assert len(buttons) == 6
        wide = SIZES["phone"][0]
        boxes = [button.bounding_box() for button in buttons]
        assert len({box["y"] for box in boxes}) == 1
        assert min(min(box["width"], box["height"]) for box in boxes) >= 44
        assert tab.locator("#views").bounding_box()["height"] < 2 * 44

        def whole(button):
            box = button.bounding_box()
            return box["x"] >= 0 and box["x"] + box["width"] <= wide

        for button in reversed(buttons):
            tab.evaluate("view => districtplan.show(view)", button.get_attribute("data-view"))
            assert whole(button)
            assert button.get_attribute("aria-pressed") == "true"
        tab.focus("#views button")
        for button in buttons:
            assert button.evaluate("(one) => one === document.activeElement")
            assert whole(button)
            tab.keyboard.press("Tab")
        assert tab.evaluate("document.documentElement.scrollWidth") == wide
    assert watched.faults() == []


@pytest.mark.slow
def test_without_agents_there_is_no_such_view(browser, small_results, texts, tmp_path):
    written = page.render(small_results, texts)
    with opened(browser, tmp_path / "index.html", written) as (tab, watched):
        assert tab.locator("text=Who comes when?").count() == 0
        assert tab.evaluate("districtplan.show('visits')") is False
    assert watched.faults() == []
