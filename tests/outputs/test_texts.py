"""The catalogue: every code has its sentence, and values never become templates."""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import replace
from datetime import date
from importlib import resources
from typing import get_args

import pytest

from districtplan import conservation, erosion, outputs, rows, terrain, water
from districtplan.outputs import manifest
from districtplan.outputs import texts as words
from districtplan.outputs.page import bought
from districtplan.outputs.texts import Texts
from districtplan.plan import Page
from districtplan.rows.ends import ENDS

PLACEHOLDER = re.compile(r"\{(\w+)\}")


def test_a_missing_key_raises(texts):
    with pytest.raises(KeyError, match="no such"):
        texts.say("page.no such")


def test_a_number_has_the_signs_of_its_language(texts, enrolled_results):
    french = Texts.load("fr")
    assert texts.number(1_234_567.25, ",.2f") == "1,234,567.25"
    assert french.number(1_234_567.25, ",.2f") == "1\u202f234\u202f567,25"
    said, worded = (
        [cell for _, *cells in bought.order(enrolled_results, one)["rows"] for cell in cells]
        for one in (texts, french)
    )
    signs = str.maketrans({",": "\u202f", ".": ","})
    assert any("." in cell for cell in said)
    assert worded == [cell.translate(signs) for cell in said]


def test_a_missing_value_raises(texts):
    with pytest.raises(KeyError, match="count"):
        texts.say("page.search_found")


def test_a_missing_language_raises():
    with pytest.raises(KeyError, match="xx"):
        Texts.load("xx")


@pytest.mark.parametrize("name", ["../en", "en.toml", ""])
def test_a_language_is_not_a_path(name):
    with pytest.raises(KeyError):
        Texts.load(name)


def test_a_missing_section_raises(texts):
    with pytest.raises(KeyError):
        texts.section("no such")


def test_a_section_of_the_same_start_is_not_mixed_in(texts):
    assert "steep.many" in texts.section("finding")
    known = {"day", "short", "span"}
    assert all(
        key.startswith(("month_", "brief_")) or key in known for key in texts.section("dates")
    )


@pytest.mark.parametrize("value", ["{plan}", "{{ 7*191 }}", "{0.__class__}", "<b>"])
def test_values_are_not_templates(texts, value):
    assert texts.say("finding.it_is_in", villages=value) == f"It is in {value}."


def test_every_flag_has_one_sentence(texts):
    assert set(texts.section("flags")) == {
        "circle",
        conservation.GATHERED,
        "soil_not_read",
        *erosion.FLAGS,
        *rows.FLAGS,
        *rows.GUIDE_FLAGS,
        *rows.LOW_PLACE_FLAGS,
        *terrain.FLAGS,
        *water.FLAGS,
    }


def test_every_flag_has_a_few_words_of_its_own(texts):
    names = texts.section("flag_names")
    assert set(names) == set(texts.section("flags"))
    assert len(set(names.values())) == len(names)


def test_everything_that_rows_may_end_on_has_its_words(texts):
    assert set(texts.section("outlets")) == {end.replace(" ", "_") for end in ENDS}


def test_every_reason_has_one_sentence(texts):
    assert set(texts.section("reasons")) == set(terrain.REASONS)


def test_the_script_and_the_catalogue_know_the_same_words(texts):
    _, script = outputs.page.assets().scripts
    words = texts.section("page")
    used = set(re.findall(r"data\.words\.(\w+)", script))
    used |= set(re.findall(r"(?:say|line)\(\s*\"(\w+)\"", script))
    assert used <= set(words)
    # Keys that the script puts together, or that Python fills in.
    made = {f"method_{m}" for m in ("straight", "guide_lines", "any_direction")}
    made |= {
        "method_measure_on_the_ground",
        "method_excluded",
        "method_later",
        "title",
        "season",
        "skip",
        "no_script",
    }
    made |= {"set_aside_none", "set_aside_some", "slope_value", "slope_sure"}
    made |= {
        key
        for key in words
        if key.startswith(("totals_", "view_", "legend_", "village_buys", "filter_"))
    }
    made |= {"rows_laid", "rows_beans", "rows_length", "kit_seed", "kit_loads", "kit_poles"}
    made |= {"holes", "plants", "seed_packs", "npk_packs", "urea_packs", "npk", "urea", "manure"}
    made |= {f"guide_{kind.replace(' ', '_')}" for kind in rows.KINDS}
    assert set(words) - used - made == set()


def test_a_plan_may_ask_for_the_languages_that_there_are():
    there = {
        entry.name.removesuffix(".toml")
        for entry in resources.files(words).iterdir()
        if entry.name.endswith(".toml")
    }
    assert set(get_args(Page.model_fields["language"].annotation)) == there


@pytest.mark.parametrize("language", ["fr"])
def test_another_language_says_the_same_with_the_same_values(texts, language):
    """It lacks nothing, has nothing of its own, and says on pages that it must be reviewed."""
    other = Texts.load(language)
    assert other.language == language
    assert set(other.entries) == set(texts.entries)
    for key, text in texts.entries.items():
        assert set(PLACEHOLDER.findall(other.entries[key])) == set(PLACEHOLDER.findall(text)), key
    assert other.say("page.review")
    assert not texts.say("page.review")


SPOKEN = ("dates", "lists", "goods", "page", "finding", "worked", "visits.why", "visits.stage")
"""What another language has whole: pages say it in words of their own."""


@pytest.mark.parametrize("language", ["fr"])
def test_what_another_language_lacks_is_said_in_english_and_told(texts, small_results, language):
    other = Texts.load(language)
    file = resources.files(words).joinpath(f"{language}.toml").read_text(encoding="utf-8")
    own = dict(words._leaves(tomllib.loads(file), ""))
    assert own.keys() <= texts.entries.keys()
    assert {*other.in_english} == texts.entries.keys() - own.keys()
    assert all(other.entries[key] == texts.entries[key] for key in other.in_english)
    assert [key for key in other.in_english if key.startswith(tuple(f"{s}." for s in SPOKEN))] == []
    page = small_results.plan.page.model_copy(update={"language": language})
    plan = small_results.plan.model_copy(update={"page": page})
    run = json.loads(manifest.render(replace(small_results, plan=plan), {})["run.json"])
    assert run["texts_in_english"] == list(other.in_english)
    english = json.loads(manifest.render(small_results, {})["run.json"])
    assert "texts_in_english" not in english


def test_a_date_in_words(texts):
    assert texts.day(date(2026, 3, 5)) == "5 March 2026"
    assert [texts.day(date(2026, m, 1)).split()[1][:3] for m in range(1, 13)] == [
        "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("items", "said"),
    [(["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")],
)
def test_lists_in_words(texts, items, said):
    assert texts.listed(items) == said


def test_the_page_leaves_no_placeholder_that_the_script_does_not_fill(texts):
    for key, text in texts.section("page").items():
        assert "{" not in PLACEHOLDER.sub("", text), key
