from __future__ import annotations

import pytest

from districtplan.errors import InputError, PlanError
from districtplan.files.plan_file import read_plan, starter_plan
from districtplan.files.plan_keys import EXAMPLES, keys, literal
from districtplan.handbook import packaged
from districtplan.plan import Plan

GOOD = """[district]
name = "Invented Hills"
planting_date = 2026-03-15
[files]
plots = "plots.gpkg"
elevation = "dem.tif"
[elevation]
vertical_error_m = 1
error_correlation_m = 30.0
"""


def write(tmp_path, text):
    path = tmp_path / "plan.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def faults(tmp_path, text):
    with pytest.raises(PlanError) as caught:
        read_plan(write(tmp_path, text))
    told = str(caught.value)
    for jargon in ("pydantic", "For further", "Input should", "validation error", "float_type"):
        assert jargon not in told
    return caught.value.faults


def test_good_plan(tmp_path):
    found = read_plan(write(tmp_path, GOOD))
    assert found.plan.files.elevation == ["dem.tif"]
    assert found.plan.elevation.vertical_error_m == 1.0
    assert found.folder == tmp_path
    assert found.path == tmp_path / "plan.toml"


def test_byte_order_mark_and_windows_line_ends(tmp_path):
    assert read_plan(write(tmp_path, b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode()))


@pytest.mark.parametrize(
    ("added", "line", "what", "remedy"),
    [
        ("[practice]\nrow_spacing_cm = 5", 11, "row_spacing_cm = 5 is below 10", "from 10 to 300"),
        ("[practice]\nrow_spacing_cm = 301.5", 11, "= 301.5 is above 300", "from 10 to 300"),
        ("[practice]\nnpk_kg_ha = 0", 11, "= 0 isn't above 0", "above 0, at most 50000"),
        ("[terrain]\ncoherence_min = 1", 11, "= 1 isn't below 1", "above 0, below 1"),
        ("[practice]\nrow_spacing = 50", 11, 'no key "row_spacing"', "row_spacing_cm?"),
        ("[practice]\nqqqq = 50", 11, 'no key "qqqq"', "row_spacing_cm, hole_spacing_cm"),
        ("[practice]\nrain_erosivity_mj_mm_ha_h_yr = 50", 11, "no key", "belongs under [soil]"),
        ("[practise]\nrow_spacing_cm = 50", 10, '"practise"', "Did you mean practice?"),
        ("[practice]\nrow_spacing_cm = '50'", 11, '= "50" isn\'t a number', "without quotes"),
        ("[practice]\nrow_spacing_cm = true", 11, "= true isn't a number", "Between rows"),
        ("[practice]\nrow_spacing_cm = inf", 11, "= inf isn't a finite number", "from 10"),
        ("[practice]\nrow_spacing_cm = nan", 11, "= nan isn't a finite number", "from 10"),
        ("[practice]\nrow_spacing_cm = [50]", 11, "= a list isn't a number", "from 10"),
        ("[practice]\nrow_spacing_cm = {a = 1}", 11, "= a section isn't a number", "from 10"),
        ("[practice]\nseeds_per_hole = 1.5", 11, "= 1.5 isn't a whole number", "from 1 to 5"),
        ("[practice]\nseed_class = 'best'", 11, '= "best" isn\'t one of', '"certified"'),
        ("[plan]\nversion = 2", 11, "version = 2 isn't 1", "Give 1"),
        ("[erosion]\nforest_from_slope_pct = 20", 10, "must rise", "Change one"),
        ("practice.row_spacing_cm = 5", 10, '[elevation] has no key "practice"', "Known here"),
        ("[practice]\nrow_spacing_cm = 0x" + "f" * 4000, 11, "a very large number", "from 10"),
        (
            "[limits]\nplot_area_min_ha = 0.5\nplot_area_max_ha = 0.25",
            10,
            "plot_area_min_ha = 0.5 is above plot_area_max_ha = 0.25",
            "Change one",
        ),
        (
            "[soil]\nrain_monthly_mm = 'wet'",
            11,
            "isn't a list of 12 numbers, each from 0 to 5000",
            "Mean rain",
        ),
        (
            "[page]\ntiles = 'http://tiles.example.org/{z}/{x}/{y}.png'\ntiles_credit = 'c'",
            11,
            '[page] tiles = "http://tiles.example.org/{z}/{x}/{y}.png" doesn\'t start with https:',
            "such as https://tiles.example.org/{z}/{x}/{y}.png",
        ),
        (
            "[page]\ntiles = 'https://tiles.example.org/{z}/{x}/{y}.png'",
            10,
            "[page] needs both tiles and tiles_credit",
            "Give the other",
        ),
        (
            "[page]\ntiles_zoom_min = 9\ntiles_zoom_max = 8",
            10,
            "tiles_zoom_min = 9 is above tiles_zoom_max = 8",
            "Change one",
        ),
        ("[practice]\n\n\nnpk_kg_ha = 5\nurea_kg_ha = -1", 14, "= -1 isn't above 0", "Urea"),
    ],
)
def test_one_fault(tmp_path, added, line, what, remedy):
    (fault,) = faults(tmp_path, GOOD + added)
    assert fault.where == f"plan.toml line {line}"
    assert what in fault.what
    assert remedy in fault.remedy


def test_dotted_and_inline_keys_have_lines(tmp_path):
    text = "practice.row_spacing_cm = 5\norders = {seed_pack_kg = -1}\n" + GOOD
    assert [fault.where for fault in faults(tmp_path, text)] == [
        "plan.toml line 1",
        "plan.toml line 2",
    ]


def test_missing_keys_and_sections(tmp_path):
    told = faults(tmp_path, "[district]\nname = 'A'\n[files]\nplots = 'p.gpkg'\nelevation = []\n")
    assert [(fault.where, fault.what.split(" = ")[0]) for fault in told] == [
        ("plan.toml line 1", "[district] planting_date is missing"),
        ("plan.toml line 5", "[files] elevation"),
        ("plan.toml", "the section [elevation] is missing"),
    ]
    assert "planting_date = 2026-03-15" in told[0].remedy
    assert "vertical_error_m" in told[2].remedy


def test_section_that_is_no_section(tmp_path):
    (fault,) = faults(tmp_path, "practice = 3\n" + GOOD)
    assert fault.where == "plan.toml line 1"
    assert "isn't a section" in fault.what


def test_item_of_a_list(tmp_path):
    text = GOOD.replace('"dem.tif"', '[\n"a.tif",\n3]')
    (fault,) = faults(tmp_path, text)
    assert fault.where == "plan.toml line 8"
    assert "elevation, item 2, = 3 isn't" in fault.what


def test_quoted_date(tmp_path):
    (fault,) = faults(tmp_path, GOOD.replace("2026-03-15", '"2026-03-15"'))
    assert "without quotes" in fault.remedy
    (fault,) = faults(tmp_path, GOOD.replace("2026-03-15", "2026-03-15T10:00:00"))
    assert "isn't a date from 1900-01-01 to 2199-12-31, such as" in fault.what


@pytest.mark.parametrize(
    ("old", "new", "line", "what"),
    [
        ("2026-03-15", "1899-12-31", 3, "planting_date = 1899-12-31 is below 1900-01-01"),
        ("2026-03-15", "2200-01-01", 3, "planting_date = 2200-01-01 is above 2199-12-31"),
        ("= 30.0", "= 1e-9", 9, "error_correlation_m = 1e-09 is neither 0 nor at least 0.001"),
        ("= 30.0", "= -1", 9, "error_correlation_m = -1 is below 0"),
        ("Invented Hills", " \u00a0", 2, 'name = " \u00a0" is blank'),
        ("Invented Hills", "Hills\u202e", 2, "has a control character or an invisible one"),
        ("Invented Hills", "Hills\\u200b", 2, "has a control character or an invisible one"),
    ],
)
def test_one_changed_value(tmp_path, old, new, line, what):
    (fault,) = faults(tmp_path, GOOD.replace(old, new))
    assert fault.where == f"plan.toml line {line}"
    assert what in fault.what
    assert fault.remedy


@pytest.mark.parametrize("value", ["0", "0.001", "10000"])
def test_distances_over_which_errors_are_alike(tmp_path, value):
    text = GOOD.replace("= 30.0", f"= {value}")
    assert read_plan(write(tmp_path, text)).plan.elevation.error_correlation_m == float(value)


@pytest.mark.parametrize(
    ("text", "where", "what"),
    [
        ("a = \n", "plan.toml line 1", "isn't written as TOML: invalid value"),
        (GOOD + GOOD, "plan.toml line 10", "isn't written as TOML"),
        ("a = " + "[" * 5000 + "]" * 5000, "plan.toml", "nests lists or tables too deeply"),
        (b"# \n\xff", "plan.toml line 2", "isn't UTF-8"),
        ("#" * 1_000_001, "plan.toml", "larger than 1 MB"),
        ("\na = 1" + "0" * 5000, "plan.toml line 2", "has a number of thousands of digits"),
        ("a = 1.5\nb = 1_" + "0_" * 9000 + "0", "plan.toml line 2", "thousands of digits"),
        ('plots = "C:\\plots"', "plan.toml line 1", "isn't written as TOML"),
    ],
)
def test_files_that_are_no_plan(tmp_path, text, where, what):
    (fault,) = faults(tmp_path, text)
    assert fault.where == where
    assert what in fault.what


@pytest.mark.parametrize("depth", [40, 200, 400])
def test_deep_keys_end_in_words(tmp_path, depth):
    assert faults(tmp_path, GOOD + ".".join("a" * depth) + " = 1")
    assert faults(tmp_path, "[practice]\nrow_spacing_cm = " + "[" * depth + "]" * depth)


def test_very_deep_keys_end_in_words(tmp_path):
    for text in (".".join("a" * 100_000), "[" + " . ".join(['"a"'] * 100_000) + "]"):
        (fault,) = faults(tmp_path, text + " = 1")
        assert "too deeply" in fault.what
        (fault,) = faults(tmp_path, "b = {" + text + " = 1}")
        assert "too deeply" in fault.what


def test_many_names_with_dots_are_fine(tmp_path):
    names = [f"tile.{number}.tif" for number in range(1000)]
    text = GOOD.replace('"dem.tif"', literal(names))
    assert read_plan(write(tmp_path, text)).plan.files.elevation == names


def test_absent_and_folder(tmp_path):
    with pytest.raises(PlanError, match="doesn't exist"):
        read_plan(tmp_path / "none.toml")
    with pytest.raises(PlanError) as caught:
        read_plan(tmp_path)
    assert caught.value.faults[0].what == "is a folder"
    with pytest.raises(PlanError, match="can't be read"):
        read_plan(tmp_path / ("x" * 300))
    with pytest.raises(PlanError):
        read_plan(tmp_path / "a\0b")


def test_values_are_shown_short(tmp_path):
    (fault,) = faults(tmp_path, GOOD.replace("2026-03-15", '"\\u001b[31m' + "x" * 500 + '"'))
    assert len(fault.what) < 200
    assert "\x1b" not in fault.what


def test_starter_plan_loads_as_it_is(tmp_path):
    text = starter_plan()
    plan = read_plan(write(tmp_path, text)).plan
    assert plan.practice == Plan.model_fields["practice"].get_default(call_default_factory=True)
    assert max(map(len, text.splitlines())) <= 100


def test_starter_plan_shows_every_key_with_its_default(tmp_path):
    text = starter_plan()
    for key in keys().values():
        commented = f"# {key.name} ="
        if (key.section, key.name) in EXAMPLES:
            assert f"\n{key.name} = {literal(EXAMPLES[key.section, key.name])}\n" in text
        elif key.default is None:
            assert f"{commented}\n" in text
        else:
            shown = f"{commented} {literal(key.default)}\n"
            assert shown in text
            text = text.replace(shown, shown[2:], 1)
    opened = read_plan(write(tmp_path, text)).plan
    assert opened == read_plan(write(tmp_path, starter_plan())).plan


def test_every_required_key_has_an_example():
    assert {place for place, key in keys().items() if key.required} <= set(EXAMPLES)


def test_the_folder_of_tables(plan_file, tmp_path):
    assert plan_file().handbook_folder is None
    (tmp_path / "tables").mkdir()
    (tmp_path / "table.csv").touch()
    assert plan_file(handbook="tables").handbook_folder == tmp_path / "tables"
    for name, told in (
        ("tabels", "doesn't exist in .*Did you mean tables"),
        ("table.csv", "isn't a folder"),
        ("https://a.example/b", "isn't a plain file name"),
        ("/vsizip/a.zip", "isn't a plain file name"),
    ):
        with pytest.raises(InputError, match=told):
            assert plan_file(handbook=name).handbook_folder


def elevation(**keys):
    text = "\n".join(f"{name} = {literal(value)}" for name, value in keys.items())
    return GOOD.split("[elevation]")[0] + "[elevation]\n" + text


def test_a_source_gives_the_usual_error_and_numbers_win(tmp_path):
    book = packaged()
    usual = book.rows("elevation_errors").set_index("name").loc["GLO-30, steep land"]
    read = read_plan(write(tmp_path, elevation(source="GLO-30, steep land"))).plan
    found = read.under(book).elevation
    assert found.vertical_error_m == usual["vertical_error_m"]
    assert found.error_correlation_m == usual["error_correlation_m"]
    assert found.surface == "tree tops and roofs"
    stated = {"vertical_error_m": 9.0, "error_correlation_m": 7.0, "surface": "ground"}
    text = elevation(source="GLO-30, steep land", **stated)
    found = read_plan(write(tmp_path, text)).plan.under(book).elevation
    assert stated.items() <= found.model_dump().items()


@pytest.mark.parametrize("source", packaged().rows("elevation_errors")["name"])
def test_every_source_makes_a_plan(tmp_path, source):
    plan = read_plan(write(tmp_path, elevation(source=source))).plan.under(packaged())
    assert plan.elevation.error_known


def test_reference_land_leaves_the_error_open(tmp_path):
    text = elevation(reference_land="flat.gpkg", source="SRTM 30 m")
    plan = read_plan(write(tmp_path, text)).plan.under(packaged())
    assert not plan.elevation.error_known
    assert plan.elevation.surface == "tree tops and roofs"
    settled = plan.with_error(1.5, 40.0)
    assert settled.elevation.vertical_error_m == 1.5
    assert settled.elevation.error_correlation_m == 40.0
    assert settled.with_error(3.0, 3.0) == settled


@pytest.mark.parametrize(
    "keys",
    [
        {},
        {"vertical_error_m": 1.0},
        {"error_correlation_m": 1.0, "source": "SRTM 30 m"},
        {"vertical_error_m": 1.0, "reference_land": "flat.gpkg"},
        {"surface": "ground"},
    ],
)
def test_an_error_half_stated_or_not_at_all_is_told(tmp_path, keys):
    (fault,) = faults(tmp_path, elevation(**keys))
    assert fault.where == "plan.toml line 7"
    assert fault.what == "[elevation] doesn't say how large the raster's error is"
    for way in ("vertical_error_m", "error_correlation_m", "source", "reference_land"):
        assert way in fault.remedy


def test_an_unknown_source_is_told_with_those_known(tmp_path):
    (fault,) = faults(tmp_path, elevation(source="GLO-31"))
    assert 'source = "GLO-31" isn\'t one of "GLO-30, gentle land"' in fault.what
    assert '"contours every 20 m"' in fault.remedy
