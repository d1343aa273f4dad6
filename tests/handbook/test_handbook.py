"""Published tables: every row says where it comes from; a user's folder may change values."""

from __future__ import annotations

import re
import shutil
from importlib import resources
from typing import TYPE_CHECKING

import pandas as pd
import pytest

from districtplan import handbook
from districtplan.errors import InputError
from districtplan.handbook import checks

if TYPE_CHECKING:
    from pathlib import Path

OWN = handbook.packaged()
TOML = b'title = "Made up"\n[units]\nname = "n"\nvalue = "v"\nsource = "s"\nprovenance = "p"\n'
CSV = b"name,value,source,provenance\na,1,Made up 2026,read\n"


def copied(folder: Path, table: str, *changes: tuple[str, str]) -> Path:
    """Copy a table of the package into a folder, changed by search and replace."""
    source = resources.files(handbook)
    text = source.joinpath(f"{table}.csv").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / f"{table}.csv").write_text(text, encoding="utf-8")
    toml = source.joinpath(f"{table}.toml").read_bytes()
    (folder / f"{table}.toml").write_bytes(toml)
    return folder / f"{table}.csv"


@pytest.mark.parametrize("name", OWN.tables)
def test_every_row_says_where_it_comes_from(name):
    table = OWN.tables[name]
    assert table.title
    assert set(table.units) == set(table.rows)
    assert table.rows["source"].str.len().min() > 10
    assert set(table.rows["provenance"]) <= set(checks.PROVENANCES)
    assert re.fullmatch("[0-9a-f]{64}", table.sha256)


@pytest.mark.parametrize("name", OWN.tables)
def test_a_source_that_was_read_names_a_year(name):
    rows = OWN.rows(name)
    for source in rows.loc[rows["provenance"].isin(["read", "memory"]), "source"]:
        dated = re.search(r"\b(18|19|20)\d\d\b", source)
        assert dated or "standard" in source or "rule of thumb" in source


@pytest.mark.parametrize(
    ("table", "name", "value", "unit", "provenance"),
    [
        ("land_use_limits", "flat_slope_pct", 1.0, "%", "read"),
        ("land_use_limits", "slope_length_cap_m", 122.0, "m", "memory"),
        ("land_use_limits", "equations_slope_max_pct", 30.0, "%", "judgement"),
        ("land_use_limits", "structures_from_slope_pct", 12.0, "%", "read"),
        ("land_use_limits", "perennials_from_slope_pct", 50.0, "%", "read"),
        ("land_use_limits", "forest_from_slope_pct", 60.0, "%", "read"),
        ("row_grade_limits", "row_grade_max_pct", 2.0, "%", "read"),
        ("row_grade_limits", "row_grade_max_share_of_slope", 0.5, "1", "read"),
        ("practice", "row_spacing_cm", 50.0, "cm", "common practice, no source"),
        ("practice", "hole_spacing_cm", 10.0, "cm", "common practice, no source"),
        ("practice", "seeds_per_hole_certified", 1.0, "1", "common practice, no source"),
        ("practice", "seeds_per_hole_farm_saved", 2.0, "1", "common practice, no source"),
    ],
)
def test_numbers_that_plans_start_from(table, name, value, unit, provenance):
    rows = OWN.rows(table).set_index("name")
    assert OWN.number(table, name) == value
    assert (rows["unit"][name], rows["provenance"][name]) == (unit, provenance)


@pytest.mark.parametrize("table", ["erosion_classes"])
def test_severity_classes_are_marked_as_recalled(table):
    with_tonnes = OWN.rows(table).dropna(subset="lower_t_ha_yr")
    assert set(with_tonnes["provenance"]) == {"memory"}


def test_a_source_not_read_in_print_says_so():
    assert OWN.source("land_use_limits", "slope_length_cap_m").endswith("[memory]")
    assert "[" not in OWN.source("rusle_ls", "rill_sine")


def test_unknown_number():
    with pytest.raises(KeyError, match="rusle_ls: nothing"):
        OWN.number("rusle_ls", "nothing")


def test_a_users_table_replaces_values(tmp_path):
    copied(
        tmp_path,
        "land_use_limits",
        ("structures_from_slope_pct,12", "structures_from_slope_pct,15"),
    )
    book = handbook.load(tmp_path)
    assert book.number("land_use_limits", "structures_from_slope_pct") == 15
    assert book.tables["land_use_limits"].sha256 != OWN.tables["land_use_limits"].sha256
    assert book.tables["rusle_ls"] is OWN.tables["rusle_ls"]
    assert OWN.number("land_use_limits", "structures_from_slope_pct") == 12


def test_a_users_table_may_be_new_or_differ_in_order(tmp_path):
    (tmp_path / "mulch.csv").write_bytes(CSV)
    (tmp_path / "mulch.toml").write_bytes(TOML)
    copied(
        tmp_path,
        "erosion_classes",
        ("2,moderate,10,50", "2,moderate,11,50"),
        (",0,10,0", ",0,11,0"),
    )
    book = handbook.load(tmp_path)
    assert book.number("mulch", "a") == 1
    assert book.rows("erosion_classes")["lower_t_ha_yr"].tolist()[1] == 11


def test_a_spreadsheets_byte_order_mark_is_read(tmp_path):
    csv = copied(tmp_path, "contour_p")
    csv.write_bytes(b"\xef\xbb\xbf" + csv.read_bytes().replace(b"\n", b"\r\n"))
    pd.testing.assert_frame_equal(handbook.load(tmp_path).rows("contour_p"), OWN.rows("contour_p"))


@pytest.mark.parametrize(
    ("csv", "toml", "told"),
    [
        (b"\xff\xfe\x00", TOML, "can't be read"),
        (b"", TOML, "can't be read"),
        (b"name,value,source,provenance\n", TOML, "has no rows"),
        (CSV, b"title = ", "can't be read"),
        (CSV, b"a = " + b"[" * 20_000, "can't be read"),
        (CSV, TOML.replace(b"title", b"titel"), "has no title"),
        (CSV, b'title = "x"\nunits = 3\n', "doesn't say what 'name' is"),
        (CSV, TOML.replace(b'value = "v"\n', b""), "doesn't say what 'value' is"),
        (CSV, TOML + b"[bounds]\nvalue = 3\n", "has 3 for the bounds of 'value'"),
        (CSV, TOML + b"[bounds]\nvalue = [2, 1]\n", "has [2, 1] for the bounds of 'value'"),
        (CSV, TOML + b"[bounds]\nvalue = ['a', 1]\n", "has ['a', 1] for the bounds"),
        (CSV, TOML + b"[bounds]\nvalue = [nan, 1]\n", "has [nan, 1] for the bounds"),
        (CSV, TOML + b"[bounds]\nvolume = [0, 1]\n", "bounds of 'volume', which is no column"),
        (CSV, b"bounds = 3\n" + TOML, "has 3 for bounds"),
        (CSV, b"whole = 'a'\n" + TOML, "has 'a' for names of whole numbers"),
        (CSV, TOML + b"[classes]\nlower = 'value'\n", "for [classes]"),
        (b"name,value\na,1\n", TOML, "has no column 'source'"),
        (CSV.replace(b"Made up 2026", b""), TOML, "line 2 has no source"),
        (CSV.replace(b",read", b","), TOML, "line 2 has no provenance"),
        (CSV.replace(b",read", b",hearsay"), TOML, "unknown provenance 'hearsay'"),
        (b'name,value,source,provenance\na,1,2,3,4,5,6,7\nb\n"', TOML, "can't be read"),
    ],
)
def test_a_broken_table_is_told(csv, toml, told):
    with pytest.raises(InputError, match=re.escape(told)) as caught:
        handbook.parse("mulch", csv, toml)
    assert all(fault.where == "handbook table mulch" for fault in caught.value.faults)
    assert all(fault.remedy for fault in caught.value.faults)


@pytest.mark.parametrize(
    ("table", "old", "new", "told"),
    [
        ("marked_string", "string_m,20,m", "string_m,0.2,m", "string_m: value"),
        ("marked_string", "string_m,20,m", "string_m,20,cm", "string_m: unit"),
        ("marked_string", "string_m,20,m", 'string_m,"20,5",m', "line 2: value"),
        ("marked_string", "string_m,20,m", "string_m,inf,m", "line 2: value"),
        ("marked_string", "string_m,20,m", "string_m,,m", "line 2: value"),
        ("marked_string", "string_m,20,m", "string_m,-20,m", "string_m: value"),
        ("marked_string", "string_m,", "rope_m,", "must hold each of these once"),
        ("marked_string", "string_share_min,", "string_m,", "must hold each of these once"),
        ("marked_string", "name,value,", "name,amount,", "lacks the columns"),
        ("contour_p", "3,5,0.50", "3,5,5.0", "line 3: p isn't within 0 to 1"),
        ("erosion_classes", "3,high,50", "3,high,", "3: lower_t_ha_yr can't be empty"),
        ("erosion_classes", ",50,200,1", ",50,200,2", "line 4: flagged isn't within 0 to 1"),
        ("slope_classes", "1,Flat,0,", "1,Flat,1,", "1: lower_pct"),
        (
            "slope_classes",
            ",2,5,",
            ",3,5,",
            "lower_pct 3 doesn't follow the upper_pct before it, 2",
        ),
        ("slope_classes", ",2,5,", ",2,1,", "upper_pct 1 isn't above lower_pct 2"),
        ("erosion_classes", ",10,50,", ",12,50,", "lower_t_ha_yr 12 doesn't follow"),
        ("contour_p", "6,8,", "4,8,", "slope_low_pct 4 doesn't follow the slope_high_pct before"),
        ("contour_p", "6,8,", "7,8,", "slope_low_pct 7 doesn't follow the slope_high_pct before"),
        ("contour_p", "6,8,", "8,6,", "slope_high_pct 6 isn't above slope_low_pct 8"),
        (
            "marked_string",
            "measures_max,3,",
            "measures_max,1.5,",
            "measures_max: 1.5 isn't a whole",
        ),
        ("marked_string", "string_m,20,", "string_m,,", "value can't be nan"),
    ],
)
def test_a_users_table_keeps_the_shape_of_the_packages(tmp_path, table, old, new, told):
    csv = copied(tmp_path, table, (old, new))
    if "amount" in new:
        toml = csv.with_suffix(".toml")
        toml.write_text(toml.read_text().replace("value =", "amount ="))
    with pytest.raises(InputError, match=re.escape(told)):
        handbook.load(tmp_path)


def test_faults_of_all_tables_are_told_together(tmp_path):
    copied(tmp_path, "marked_string", ("string_m,20", "string_m,2000"))
    copied(tmp_path, "contour_p", ("3,5,0.50", "3,5,50"))
    (tmp_path / "mulch.csv").write_bytes(CSV)
    (tmp_path / "no name!.csv").write_bytes(CSV)
    with pytest.raises(InputError) as caught:
        handbook.load(tmp_path)
    told = str(caught.value)
    for word in ("marked_string", "contour_p", "mulch.toml", "no name!"):
        assert word in told
    assert len(caught.value.faults) == 4


def test_an_empty_or_missing_folder_is_told(tmp_path):
    for folder in (tmp_path, tmp_path / "nowhere"):
        with pytest.raises(InputError, match="holds no table"):
            handbook.load(folder)


def test_a_huge_or_unreadable_table_is_told(tmp_path):
    csv = copied(tmp_path, "contour_p")
    csv.write_bytes(b"a" * (handbook.BYTES_MAX + 1))
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "folder.toml").write_bytes(TOML)
    with pytest.raises(InputError) as caught:
        handbook.load(tmp_path)
    assert "larger than 1000000 bytes" in str(caught.value)
    assert "folder.csv: can't be read" in str(caught.value)


def test_an_exact_copy_of_the_package_loads(tmp_path):
    # The practice has a file of its own.
    for name in OWN.tables.keys() - {"practice"}:
        copied(tmp_path, name)
    assert handbook.load(tmp_path).tables.keys() == OWN.tables.keys()
    shutil.rmtree(tmp_path)
