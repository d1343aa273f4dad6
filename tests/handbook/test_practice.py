"""Practices as files: each number with its source, checked; those of the package, and a user's."""

from __future__ import annotations

import re
import tomllib
from importlib import resources

import pytest

from districtplan import handbook
from districtplan.errors import InputError
from districtplan.files.plan_file import read_plan
from districtplan.files.practice_file import read_handbook
from districtplan.handbook import checks, practice
from districtplan.inputs import hundred_seed_weight_g
from tests.conftest import SMALL_PLAN, plan_of


def raw(name: str = practice.USUAL) -> bytes:
    file = f"{name.replace(' ', '_')}.toml"
    return resources.files(handbook).joinpath("practices", file).read_bytes()


def under(name: str):
    return handbook.packaged().with_practice(*practice.packaged(name))


def test_the_practices_of_the_package():
    assert practice.names() == ("bean maize", "bush beans", "climbing beans")


@pytest.mark.parametrize("name", practice.names())
def test_every_number_says_where_it_comes_from(name):
    told, _ = practice.packaged(name)
    for number in told.numbers.values():
        assert len(number.source) > 10
        assert number.provenance in checks.PROVENANCES
        if number.provenance in {"read", "memory"}:
            assert re.search(r"\b(18|19|20)\d\d\b", number.source)
    rows = told.rows()
    assert len(rows) == len(told.numbers)
    assert set(rows["name"]) <= set(practice.NUMBERS)


def test_plans_start_from_their_practice():
    spaced = {
        name: plan_of(practice={"name": name}).under(under(name)).practice
        for name in practice.names()
    }
    assert spaced["bush beans"].row_spacing_cm == 50
    assert spaced["bush beans"].maize_bean_rows is None
    assert spaced["climbing beans"].row_spacing_cm == 75
    assert spaced["climbing beans"].hole_spacing_cm == 15
    assert spaced["bean maize"].maize_bean_rows == 1
    assert spaced["bean maize"].bean_rows_apart_cm == 75


def test_a_plans_own_keys_come_first():
    asked = plan_of(practice={"name": "climbing beans", "row_spacing_cm": 60.0})
    assert asked.under(under("climbing beans")).practice.row_spacing_cm == 60


def changed(*changes: tuple[str, str]) -> bytes:
    text = raw().decode()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return text.encode()


def test_holes_stand_twice_as_far_apart_where_the_practice_says_so():
    wide = changed(('two_seeds = "thin to one"', 'two_seeds = "holes twice as far apart"'))
    book = handbook.packaged().with_practice(*practice.parse(wide, "wide.toml"))
    for seed_class, spacing in (("certified", 10), ("farm-saved", 20)):
        assert plan_of(practice={"seed_class": seed_class}).under(
            book
        ).practice.hole_spacing_cm == (spacing)
    own = plan_of(practice={"seed_class": "farm-saved", "hole_spacing_cm": 12.0})
    assert own.under(book).practice.hole_spacing_cm == 12


def test_a_users_practice_is_read(tmp_path):
    (tmp_path / "ours.toml").write_bytes(changed(("value = 50", "value = 45")))
    text = SMALL_PLAN + '[practice]\nfile = "ours.toml"\n'
    (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
    read = read_plan(tmp_path / "plan.toml")
    book = read_handbook(read)
    assert read.plan.under(book).practice.row_spacing_cm == 45
    assert book.tables["practice"].sha256 != handbook.packaged().tables["practice"].sha256


OWN = """
[numbers.{name}]
value = {value}
source = "Weighed and timed by the district itself in 2025"
provenance = "read"
"""


def test_a_practice_may_have_its_seed_weight_and_its_labour():
    """A variety has a weight and a district its days; a plan's own keys still come first."""
    told = {"hundred_seed_weight_g": 25, "planting_days_ha": 18, "weeding_3_days_ha": 9.5}
    text = raw().decode() + "".join(OWN.format(name=k, value=v) for k, v in told.items())
    book = handbook.packaged().with_practice(*practice.parse(text.encode(), "ours.toml"))
    asked = plan_of(labour={"weeding_3_days_ha": 7.0}).under(book)
    assert asked.practice.hundred_seed_weight_g == 25
    assert (asked.labour.planting_days_ha, asked.labour.weeding_3_days_ha) == (18, 7)
    assert asked.labour.harvest_days_ha is None
    assert (
        plan_of(practice={"hundred_seed_weight_g": 40.0}).under(book).practice.hundred_seed_weight_g
        == 40
    )
    by_rate = plan_of(practice={"seed_kg_ha": 70.0}).under(book)
    assert by_rate.under(book) == by_rate
    assert hundred_seed_weight_g(by_rate, book) == pytest.approx(35)
    units = book.rows("practice").set_index("name")["unit"]
    assert units["planting_days_ha"] == "days/ha"
    plain = plan_of().under(handbook.packaged())
    assert plain.practice.hundred_seed_weight_g is None
    assert plain.labour.planting_days_ha is None


def test_another_crop_needs_no_code():
    other = changed(('crop = "beans"', 'crop = "cowpeas"'), ("value = 15\n", "value = 5\n"))
    told, _ = practice.parse(other, "cowpeas.toml")
    assert told.crop == "cowpeas"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (("value = 50", "value = 5"), "row_spacing_cm = 5 isn't within 10 to 300"),
        (("value = 1\n", "value = 1.5\n"), "seeds_per_hole_certified = 1.5 isn't a whole number"),
        (("value = 15\n", "value = 61\n"), "hundred_seed_weight_low_g = 61 is above"),
        (("[numbers.row_spacing_cm]", "[numbers.row_space_cm]"), "row_space_cm] isn't known"),
        (("[numbers.row_spacing_cm]", "[numbers.row_space_cm]"), "row_spacing_cm] is missing"),
        (("value = 50", 'value = "50"'), "numbers.row_spacing_cm.value"),
        (("value = 50", "value = nan"), "numbers.row_spacing_cm.value"),
        (("value = 50\n", ""), "numbers.row_spacing_cm.value"),
        (('source = "Common', 'sauce = "Common'), "numbers.row_spacing_cm.source"),
        (('provenance = "common practice, no source"', 'provenance = "hearsay"'), "isn't one of"),
        (('crop = "beans"', 'crop = ""'), "crop"),
        (('crop = "beans"', 'crop = "be\\u202eans"'), "crop"),
        (('crop = "beans"', 'crop = "beans"\ncolour = "red"'), "colour"),
        (("title =", "title"), "isn't a practice"),
    ],
)
def test_a_broken_practice_is_told(change, told):
    with pytest.raises(InputError, match=re.escape(told)) as caught:
        practice.parse(changed(change), "ours.toml")
    assert all(fault.where == "ours.toml" and fault.remedy for fault in caught.value.faults)


@pytest.mark.parametrize("bytes_", [b"\xff\xfe", b"", b"a = " + b"[" * 20_000])
def test_what_is_no_practice_is_told(bytes_):
    with pytest.raises(InputError, match=r"ours\.toml"):
        practice.parse(bytes_, "ours.toml")


@pytest.mark.parametrize("table", ["bean_practice", "practice"])
def test_a_practice_among_the_tables_is_told(tmp_path, table):
    (tmp_path / f"{table}.csv").write_text("name,value\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"\[practice\] file"):
        handbook.load(tmp_path)


def test_name_and_file_together_are_told():
    with pytest.raises(ValueError, match="both name and file"):
        plan_of(practice={"name": "bush beans", "file": "ours.toml"})


def test_the_files_are_as_a_user_would_write_them():
    for name in practice.names():
        assert set(tomllib.loads(raw(name).decode())) == set(practice.Practice.model_fields)
