"""Sheets of paper, read back and looked at: numbers, cautions, type, ink, bytes."""

from __future__ import annotations

import dataclasses
import io
import math
import re
from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import pypdf
import pypdfium2
import pytest
import shapely
from pyproj import Geod, Transformer
from shapely import LineString, affinity

from districtplan.geodesy import reproject
from districtplan.handbook import packaged
from districtplan.outputs import sheets, wording
from districtplan.outputs.sheets import care_pictures, paper, plot_page
from districtplan.outputs.sheets import pictures as pictures_of
from districtplan.outputs.sheets.build import common, sheets_of
from districtplan.outputs.sheets.laid import PEGS_PRINTED_MAX
from districtplan.outputs.sheets.paper import TEXT_PT, Paper
from districtplan.outputs.sheets.pegs import pegs_table
from districtplan.outputs.sheets.sheet import Drawing, Mark
from districtplan.rows import Clear
from tests.conftest import plan_of
from tests.outputs.conftest import pegs_of
from tests.support import renumbered, tweaked

STACK = "Z" + "\u0301\u0302\u0303\u0304" * 5 + "algo" + "\u0316\u0317\u0318" * 6
HOSTILE = (
    "قرية الجبل العليا",
    "כפר ההר 12-א",
    STACK,
    "W" * 200,
    "ሰላም መንደር",
    "x" * 30 + "قرية الجبل" * 15,
    "é" * 150,
    "Đồi Mới " * 20,
    "{plan} <b>&amp; (\\) Tj ET",
    STACK * 10,
    "\u0651" * 100,
    "=1+1",
)
FRINGE = 25
DOTS = 2
"""Dots of a picture of a page for each point."""


def with_plan(results, **changes):
    changed = results.plan.sheets.model_copy(update={"plots": "all"} | changes)
    plan = results.plan.model_copy(update={"sheets": changed})
    return dataclasses.replace(results, plan=plan)


def renamed(results, names, villages, farmers=None):
    plots = results.plots.copy()
    old = dict(zip(plots["village"].unique(), villages, strict=True))
    plots["plot_id"] = names
    plots["village"] = plots["village"].map(old)
    plots["farmer_name"] = names if farmers is None else farmers
    table = results.villages.assign(village=results.villages["village"].map(old))
    return with_plan(dataclasses.replace(results, plots=plots, villages=table))


def read(content: bytes) -> list[str]:
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    return [page.extract_text().replace("\xa0", " ") for page in pages]


def read_fast(content: bytes) -> list[str]:
    """Read hundreds of pages."""
    pages = pypdfium2.PdfDocument(content)
    return [page.get_textpage().get_text_range().replace("\xa0", " ") for page in pages]


def pictures(content: bytes) -> list[np.ndarray]:
    document = pypdfium2.PdfDocument(content)
    return [np.asarray(page.render(scale=DOTS).to_pil().convert("RGB")) for page in document]


def plot_files(files: dict[str, bytes]) -> dict[str, bytes]:
    return {name: content for name, content in files.items() if not name.endswith("-wall.pdf")}


@pytest.fixture(scope="module")
def all_results(small_results):
    return with_plan(small_results)


@pytest.fixture(scope="module")
def files(all_results, texts):
    return sheets.draw(all_results, texts).files


@pytest.fixture(scope="module")
def pages(files, all_results):
    """Text of each sheet by its plot's id, which stands first on it."""
    plots = all_results.plots
    by_source = dict(zip(plots["source_row"], plots["plot_id"], strict=True))
    found = {}
    for content in plot_files(files).values():
        for text in read(content)[:-1]:
            found.setdefault(by_source[int(re.search(r"Plots file, row (\d+)", text)[1])], text)
    return found


def test_a_file_of_sheets_and_one_for_the_wall_for_each_village(files):
    assert sorted(files) == [
        "sheets/v001-sondo-wall.pdf",
        "sheets/v001-sondo.pdf",
        "sheets/v002-upper-tamba-ridge-wall.pdf",
        "sheets/v002-upper-tamba-ridge.pdf",
        "sheets/v003-7-191-img-src-x-onerror-hit-wall.pdf",
        "sheets/v003-7-191-img-src-x-onerror-hit.pdf",
    ]


def test_same_bytes_twice(files, all_results, texts):
    assert sheets.draw(all_results, texts).files == files


def test_no_sheets_no_files(small_results, texts):
    assert sheets.draw(with_plan(small_results, plots="none"), texts).files == {}


def test_every_plot_has_one_page(pages, all_results):
    assert set(pages) == set(all_results.plots["plot_id"])
    assert all(text.startswith(plot_id) for plot_id, text in pages.items())


def bars(row, plan) -> bool:
    """Whether no rows may be laid: too steep for beans, or no safe outlet yet."""
    steep = row["slope_mean_pct"] >= plan.erosion.perennials_from_slope_pct
    return steep or bool(row.get("outlet_flags"))


def numbers_of(row, plan) -> list[str]:
    """What a sheet must say of a plot, worked out from its row of the table alone."""
    area, metres = row["area_ha"], f"{10_000 * row['area_ha']:.0f} m²"
    said = [f"{area:.2f} ha" if area >= 0.1 else metres, f"row {row['source_row']}"]
    barred = bars(row, plan)
    if not barred:
        amounts = (row[f"{good}_kg"] for good in ("seed", "npk", "urea", "manure"))
        said += [wording.kilograms(round(1000 * kg)) for kg in amounts if pd.notna(kg)]
    drawn = row["guide_bearing_magnetic_deg"]
    bearing = row["row_bearing_magnetic_deg"] if pd.isna(drawn) else drawn
    if row["row_method"] in {"straight", "guide lines"} and not barred and pd.notna(bearing):
        near = round(bearing) % 180
        said.append(f"{near:03d}° / {near + 180:03d}°")
    return said


def check_numbers(table, texts_by_id, plan) -> None:
    for _, row in table.iterrows():
        text = texts_by_id[row["plot_id"]]
        for number in numbers_of(row, plan):
            assert number in text, (row["plot_id"], number, text)
        if row["row_method"] in {"any direction", "measure on the ground"} or bars(row, plan):
            assert not re.search(r"\d{3}° / \d{3}°", text), row["plot_id"]


@pytest.mark.slow
def test_sheets_of_the_demo_say_what_the_table_says(whole_demo):
    """Twenty plots drawn at random, by the run folder's files alone."""
    run = whole_demo / "run"
    table = gpd.read_parquet(run / "plots.parquet")
    found = {}
    for path in sorted((run / "sheets").glob("v*.pdf")):
        if not path.name.endswith(("-wall.pdf", "-list.pdf", "-work.pdf")):
            for text in read_fast(path.read_bytes()):
                # The last pages of a village say how a line is levelled.
                if not text.startswith("String and level"):
                    found.setdefault(text.split()[0], text)
    printed = table[table["plot_id"].isin(list(found))]
    assert len(printed) == len(found) > 20
    seed = int(np.random.SeedSequence().entropy % 2**32)
    print(f"seed {seed}")  # noqa: T201 - pytest shows it where the test fails
    rng = np.random.default_rng(seed)
    drawn = printed.iloc[rng.choice(len(printed), 20, replace=False)]
    check_numbers(drawn, found, plan_of())


def test_each_method_says_what_it_must(pages, all_results):
    check_numbers(with_kilograms(all_results.plots), pages, all_results.plan)
    assert "Measure" in pages["007"]
    assert "HILLSIDE" in pages["007"]
    assert "Level" in pages["109"]
    assert "Rows by level" in pages["A-04"]
    assert "Any way" in pages["=B+1"]
    assert "NOT FOR BEANS" in pages["110"]
    assert "Carry" not in pages["110"]


def test_a_sheet_tells_of_water_before_it_tells_of_rows(pages, all_results):
    """Each state of water has its words on the sheets of its plots, and on no others."""
    plots = all_results.plots.set_index("plot_id")
    laid = {name for name, text in pages.items() if "NOT FOR BEANS" not in text}
    laid -= set(plots.index[plots["outlet_flags"].map(len) > 0])
    unknown, strip = plots["flow_strip_m2"].isna(), plots["flow_strip_m2"] > 0
    crossed = plots["water_flags"].map(lambda raised: "crossed_by_flow" in raised)
    straight = plots["row_method"] == "straight"
    ends_to_be_seen = straight & plots["row_low_end"].isna()
    ends_to_be_seen |= plots["row_method"] == "guide lines"
    states = {
        "Water crosses this plot": unknown & crossed,
        "Water runs through or beside": unknown & ~crossed,
        "The long gap in the rows is for water": strip,
        "Breaks in rows where water would stand": plots["row_breaks"] > 0,
        "By the heights rows fall to their": straight & plots["row_low_end"].notna(),
        "Look where rows end": ends_to_be_seen,
    }
    told = 0
    for words, here in states.items():
        expected = laid & set(plots.index[here])
        assert {name for name, text in pages.items() if words in " ".join(text.split())} == expected
        told += bool(expected)
    assert told >= 4
    pegged = [text for text in pages.values() if "Set out the line" in text and "Water\n" in text]
    assert pegged
    assert all(text.index("Water\n") < text.index("Set out the line") for text in pegged)


def test_a_sheet_says_what_its_rows_come_to(pages, all_results):
    for row in all_results.plots.to_dict("records"):
        said = f"metres of row {row['row_length_m']:,.0f}, holes {row['holes']:,}."
        laid = row["row_method"] in {"straight", "guide lines"} and not bars(row, all_results.plan)
        if laid:
            assert f"In all: rows or parts of rows {row['rows']:,}" in pages[row["plot_id"]]
            assert said in " ".join(pages[row["plot_id"]].split())


def with_kilograms(plots: pd.DataFrame) -> pd.DataFrame:
    goods = ("seed", "npk", "urea", "manure")
    return plots.assign(
        **{f"{good}_kg": plots[f"{good}_g"].astype("Float64") / 1000 for good in goods}
    )


def test_a_plot_to_be_measured_can_be_finished_on_the_ground(pages):
    text = pages["108"]
    words = ("Fall in 10 m", "A row falls at most", "What the land bears: beans", "middle")
    for word in (*words, "Row by compass:"):
        assert word in text
    drawn, rest = text.split("fall in 10 m, in cm\n", 1)
    assert re.findall("[0-9]", rest.split("middle")[0]) == list("12345")
    assert [line for line in drawn.splitlines() if line in set("12345")] == list("12345")


def test_the_pocket_table_is_arithmetic(pages):
    text = pages["108"].split("20° off: cm")[1]
    for slope in packaged().rows("pocket_slopes")["slope_pct"]:
        falls = (1000 * slope / 100 * math.sin(math.radians(error)) for error in (5, 10, 20))
        assert ", ".join(f"{fall:.0f}" for fall in falls) in text


def test_every_sheet_has_all_cautions(files, texts, all_results):
    wanted = [
        texts.say(f"sheets.cautions.{name}", fall=12.0).split()[0]
        for name in texts.section("sheets.cautions")
        if name != "title"
    ]
    assert len(wanted) == 7
    for name, content in files.items():
        pages = read(content)
        last = 1 if name.endswith("-wall.pdf") else len(pages) - 1
        # What goes on overleaf is no sheet of its own.
        fronts = [
            pages[at] for at in range(last) if at == 0 or "goes on: next page" not in pages[at - 1]
        ]
        for text in fronts:
            after = text.split("Take care")[1].replace("\n", " ")
            for key in texts.section("sheets.cautions"):
                said = texts.say(f"sheets.cautions.{key}", fall=12.0)
                assert key == "title" or said in after, (name, key)


def test_care_is_drawn_beside_its_words_within_its_square(small_results, texts):
    shared = common(small_results, texts)
    drawn = [*shared.weedings.care, *shared.cautions.care]
    assert len(shared.cautions.care) == len(shared.cautions.sentences)
    assert sorted(drawn) == sorted(care_pictures.DRAWN)
    shown = []
    for care in drawn:
        page = Paper("a", date(2026, 3, 15), "en")
        page.page()
        care_pictures.draw(page, care, 100, 50)
        (picture,) = pictures(page.finish())
        south, east = np.nonzero(picture[:, :, 0] < 200)
        at = np.stack([east, south]) * 25.4 / 72 / DOTS - [[100], [50]]
        side = care_pictures.SIDE_MM
        assert (at >= -0.6).all()
        assert (at <= side + 0.6).all()
        # Large enough to be seen, and no black square.
        assert np.ptp(at, axis=1).max() > 0.8 * side
        assert 0.08 < len(south) * (25.4 / 72 / DOTS / side) ** 2 < 0.6
        shown.append(picture)
    assert len({one.tobytes() for one in shown}) == len(drawn)


def test_weedings_count_from_a_day_that_is_written_down(pages):
    text = pages["A-01"]
    assert "Write planting day" in text
    for days in (14, 28, 42):
        assert f"{days} days after that day" in text


def test_the_walk_keeps_the_slope_to_the_left(pages, all_results):
    """From the lower left corner to the right of one who looks uphill."""
    for row in all_results.plots.itertuples():
        found = re.search(r"Face (\d{3})° by compass", pages[row.plot_id])
        if found is None:
            continue
        true = int(found[1]) + row.declination_deg
        uphill_right = row.downslope_true_deg + 180 + 90
        assert math.cos(math.radians(true - uphill_right)) > 0
    assert "Face" in pages["A-01"]


@pytest.mark.parametrize("kind", ["sheets", "wall"])
def test_type_is_large_enough(files, kind):
    sizes = set()
    for name, content in files.items():
        if name.endswith("-wall.pdf") is (kind == "wall"):
            for page in pypdf.PdfReader(io.BytesIO(content)).pages:
                page.extract_text(
                    visitor_text=lambda text, _cm, _tm, _font, size: (
                        sizes.add(size) if text.strip() else None
                    )
                )
    assert min(sizes) >= TEXT_PT


def test_pages_are_black_on_white(files):
    for content in files.values():
        for picture in pictures(content):
            assert (picture.max(axis=2) == picture.min(axis=2)).all()
            dark, light = (picture < 60).mean(), (picture > 200).mean()
            assert dark + light > 0.93
            assert light > 0.8


def test_ink_is_black_or_white_and_never_grey(files):
    for content in files.values():
        for page in pypdf.PdfReader(io.BytesIO(content)).pages:
            drawn = page.get_contents().get_data().decode("latin1")
            inks = set(re.findall(r"((?:[\d.]+ )+(?:[gG]|rg|RG|[kK]))\b", drawn))
            assert inks <= {"0 g", "1 g", "0 G"}


def test_fonts_are_embedded(files):
    for content in files.values():
        for page in pypdf.PdfReader(io.BytesIO(content)).pages:
            for font in page["/Resources"]["/Font"].values():
                (inner,) = font.get_object()["/DescendantFonts"]
                assert "/FontFile2" in inner.get_object()["/FontDescriptor"]


@pytest.fixture
def boxes(monkeypatch) -> list[list]:
    """Where names may stand on each page that is drawn."""
    found: list[list] = []
    start, name = Paper.page, Paper.name

    def page(self):
        found.append([])
        start(self)

    def noted(self, text, box, setting, least_pt=TEXT_PT):
        found[-1].append(box)
        return name(self, text, box, setting, least_pt)

    monkeypatch.setattr(Paper, "page", page)
    monkeypatch.setattr(Paper, "name", noted)
    return found


def outside(hostile: dict[str, bytes], ours: list[np.ndarray], boxes: list) -> int:
    """Count dots that differ outside the boxes of names and the line that tells of cuts."""
    theirs = [picture for content in hostile.values() for picture in pictures(content)]
    assert len(theirs) == len(ours) == len(boxes)
    dots = DOTS / paper.MM_PER_PT
    count = 0
    for one, other, page in zip(theirs, ours, boxes, strict=True):
        # The fringe of a letter may be a faint grey: ink is darker.
        differs = np.abs(one.astype(int) - other).max(axis=2) > FRINGE
        for box in page:
            top, left = math.floor(box.y * dots), math.floor(box.x * dots)
            foot = math.ceil((box.y + box.height) * dots)
            differs[top:foot, left : math.ceil((box.x + box.width) * dots) + 1] = False
        differs[math.floor((plot_page.FOOT_MM + 1) * dots) :, :] = False
        count += int(differs.sum())
    return count


@pytest.fixture(scope="module")
def two_namings(results_with_names):
    villages = (HOSTILE[0], STACK * 5, "W" * 199)
    hostile = renamed(results_with_names, list(HOSTILE), villages)
    ids = [f"{chr(ord('a') + place)}" for place in range(12)]
    # Slugs sort as the hostile ones do, so that pages come in the same order.
    return hostile, renamed(results_with_names, ids, ("a", "b", "c"), ids)


@pytest.fixture(scope="module")
def plain_pictures(two_namings, texts):
    plain = sheets.draw(two_namings[1], texts).files
    return [picture for content in plain.values() for picture in pictures(content)]


def test_ink_of_hostile_names_stays_in_its_boxes(two_namings, plain_pictures, texts, boxes):
    hostile = sheets.draw(two_namings[0], texts).files
    assert outside(hostile, plain_pictures, boxes) == 0
    for content in plot_files(hostile).values():
        assert any("mark what can't be printed" in text for text in read(content))


def unfitted(name, known, *_):
    return "".join(sign if ord(sign) in known else "▯" for sign in name)


def test_the_check_of_ink_sees_a_fault(two_namings, plain_pictures, texts, boxes, monkeypatch):
    monkeypatch.setattr(paper, "fitted", unfitted)
    hostile = sheets.draw(two_namings[0], texts).files
    assert outside(hostile, plain_pictures, boxes) > 100


def test_a_name_never_becomes_a_command_of_the_file(two_namings, texts):
    made = sheets.draw(two_namings[0], texts).files
    text = "".join(page for content in made.values() for page in read(content))
    assert "{plan} <b>&amp; (\\) Tj ET" in text.replace("\n", " ")
    for content in made.values():
        assert b"/JavaScript" not in content
        assert b"/URI" not in content


@pytest.mark.parametrize(("pegs", "pages"), [(5, 2), (9, 2), (20, 2), (120, 4)])
def test_pegs_that_were_laid_out_are_listed_all(pegs, pages, small_results, texts):
    plots = small_results.plots
    (outline,) = plots.loc[plots["plot_id"] == "109", "geometry"]
    turn = np.radians(np.linspace(-20, 20, 300))
    arc = [outline.centroid.x, outline.centroid.y] + 80 * np.column_stack(
        [np.sin(turn), np.cos(turn) - 1]
    )
    laid = pegs_of("109", outline, arc, 55.8 / (pegs - 1))
    walk = laid.walks["109", 1]
    results = with_plan(dataclasses.replace(small_results, pegs=laid), plot_ids=["109"])
    found = read(sheets.draw(results, texts).files["sheets/v001-sondo.pdf"])[:-1]
    text = "\n".join(found)
    assert len(found) == pages
    for row in laid.table.iloc[1:-1].itertuples():
        side = f"{row.peg_sideways_cm} right" if row.peg_sideways_cm else "° 0"
        assert side in text
        assert f"{row.peg_bearing_magnetic_deg:g}°" in text
    for along in laid.table["peg_along_m"]:
        assert f"{along:g} m" in text
    assert re.search(rf"{walk.ties[0].along_m:.1f} m \(\d+ paces\) along the edge", text)
    assert "Take care" in found[0]
    assert ("goes on: next page" in found[0]) is (pages > 1)


def test_without_a_magnetic_model_the_level_leads(small_results, texts):
    plots = small_results.plots.assign(row_bearing_magnetic_deg=math.nan)
    results = with_plan(dataclasses.replace(small_results, plots=plots), plot_ids=["A-01"])
    text, _ = read(sheets.draw(results, texts).files["sheets/v002-upper-tamba-ridge.pdf"])
    assert "Rows by level" in text
    assert not re.search(r"\b\d{3}°", text)


def test_without_a_magnetic_model_rows_still_follow_a_guide_line(small_results, texts):
    plots = small_results.plots.assign(row_bearing_magnetic_deg=math.nan)
    results = with_plan(dataclasses.replace(small_results, plots=plots), plot_ids=["109"])
    text, _ = read(sheets.draw(results, texts).files["sheets/v001-sondo.pdf"])
    assert "bend for bend" in text
    assert "row drawn" not in text
    assert "Every row" not in text
    assert "No compass number" in text


def test_a_bearing_that_is_not_sure_says_so(small_results, texts):
    plots = small_results.plots.assign(row_bearing_se_deg=6.0)
    results = with_plan(dataclasses.replace(small_results, plots=plots), plot_ids=["A-01"])
    text, _ = read(sheets.draw(results, texts).files["sheets/v002-upper-tamba-ridge.pdf"])
    assert "the level is right" in text.replace("\n", " ")


def test_the_wall_sheet_lists_every_plot_and_adds_up(files, all_results):
    text = "\n".join(read(files["sheets/v002-upper-tamba-ridge-wall.pdf"]))
    plots = all_results.plots[all_results.plots["village"] == "Upper Tamba Ridge"]
    for row in plots.itertuples():
        assert row.plot_id in text
        if row.outlet_flags:
            # Nothing is carried to a plot that waits: the total leaves it out.
            assert "not yet: outlet - - -" in text
            continue
        if pd.notna(row.row_bearing_magnetic_deg):
            assert wording.both_ends(row.row_bearing_magnetic_deg) in text
        assert f"{wording.kilograms(row.seed_g)} kg" in text
    assert "1 waits for a safe outlet: the needs leave it out, the order does not." in text
    laid = plots[~plots["outlet_flags"].astype(bool)]
    assert 0 < len(laid) < len(plots)
    assert wording.kilograms(int(laid["seed_g"].sum())) in text
    assert wording.kilograms(int(plots["seed_g"].sum())) not in text


def test_the_wall_sheet_leaves_out_what_is_not_for_beans(files, all_results):
    text = "\n".join(read(files["sheets/v001-sondo-wall.pdf"]))
    plots = all_results.plots[all_results.plots["village"] == "Sondo"]
    kept = plots[plots["plot_id"] != "110"]
    assert wording.kilograms(int(kept["seed_g"].sum())) in text
    assert wording.kilograms(int(plots["seed_g"].sum())) not in text
    assert "no beans" in text


def test_a_village_of_many_plots_goes_on_page_by_page(small_results, texts):
    many = pd.concat([small_results.plots.iloc[:1]] * 120, ignore_index=True)
    many["plot_id"] = [f"P{number:03d}" for number in range(120)]
    results = dataclasses.replace(
        small_results, plots=many, villages=small_results.villages.iloc[[1]]
    )
    results = with_plan(results, plot_ids=["P007"])
    made = sheets.draw(results, texts).files
    found = read(made["sheets/v001-upper-tamba-ridge-wall.pdf"])
    assert len(found) == 4
    text = "\n".join(found)
    assert all(f"P{number:03d}" in text for number in range(120))


def drawn_text(results, texts) -> str:
    few = with_plan(results, plot_ids=["007", "108"])
    return "".join(t for content in sheets.draw(few, texts).files.values() for t in read(content))


@pytest.fixture(scope="module")
def usual(small_results, texts):
    return drawn_text(small_results, texts)


@pytest.mark.parametrize("name", list(packaged().rows("field_sheets")["name"]))
def test_every_number_of_the_sheets_matters(name, small_results, texts, usual):
    book = renumbered("field_sheets", name, 1.5 * packaged().number("field_sheets", name))
    assert drawn_text(dataclasses.replace(small_results, handbook=book), texts) != usual


@pytest.mark.parametrize("line", range(len(packaged().rows("pocket_slopes"))))
def test_every_slope_of_the_pocket_table_matters(line, small_results, texts, usual):
    book = tweaked("pocket_slopes", line, "slope_pct", 7.0)
    assert drawn_text(dataclasses.replace(small_results, handbook=book), texts) != usual


def test_the_file_says_it_was_written_on_the_plan_s_day(files, all_results):
    day = all_results.plan.district.planting_date
    for content in files.values():
        made = pypdf.PdfReader(io.BytesIO(content)).metadata.creation_date
        assert date(made.year, made.month, made.day) == day


LEVEL, AGAIN = "Set the row with a level", "MEASURE AGAIN FIRST"


@pytest.mark.parametrize(
    ("told", "said"),
    [
        (("measured_past_limit", ()), [LEVEL]),
        (("measured_against_raster", ("bearing_reading_outside",)), [AGAIN]),
        (("measured_past_limit", ("slope_reading_outside",)), [LEVEL, AGAIN]),
        (("measured", ()), []),
    ],
)
def test_a_doubtful_reading_is_told_beside_its_bearing(all_results, texts, told, said):
    plots = all_results.plots.copy()
    assert plots.loc[0, "row_method"] == "straight"
    for name, value in zip(("row_method_reason", "terrain_flags"), told, strict=True):
        plots[name] = [value, *plots[name][1:]]
    files = plot_files(sheets.draw(dataclasses.replace(all_results, plots=plots), texts).files)
    pages = [re.sub(r"\s+", " ", text) for content in files.values() for text in read(content)]
    page, *_ = (text for text in pages if text.startswith("A-01"))
    assert [note for note in (LEVEL, AGAIN) if note in page] == said
    # To measure again comes before anything is set out.
    assert AGAIN not in said or page.index(AGAIN) < page.index("Carry")


def _told(results, texts, **values):
    """Text of the sheet of A-01, with other values."""
    plots = results.plots.copy()
    for column, value in values.items():
        plots[column] = [value if at == 0 else old for at, old in enumerate(plots[column])]
    files = plot_files(sheets.draw(dataclasses.replace(results, plots=plots), texts).files)
    pages = [re.sub(r"\s+", " ", text) for content in files.values() for text in read(content)]
    (page,) = (text for text in pages if text.startswith("A-01"))
    return page


def test_on_steep_land_the_level_sets_the_row_and_the_bearing_checks_it(all_results, texts):
    text = _told(all_results, texts, slope_used_pct=16.0)
    assert "Rows by level" in text
    assert "The compass only checks it" in text
    assert re.search(r"towards the [a-z-]+ \(check: \d{3}°\)\.", text)
    assert "Face" not in text
    gentle = _told(all_results, texts, slope_used_pct=14.0)
    assert "Rows by compass" in gentle
    assert "only a check" not in gentle


def test_rows_that_would_drain_onto_a_house_are_refused_on_paper(all_results, texts):
    values = {"outlet_flags": ("no_safe_outlet",), "row_outlet": "house", "erosion_flags": ()}
    text = _told(all_results, texts, **values)
    assert "NO ROWS YET: they would drain onto a house. First a safe outlet." in text


def test_rows_that_wait_for_an_outlet_are_nowhere_on_the_sheet(all_results, texts):
    """A sheet that forbids rows and then says how to lay them would be followed."""
    values = {"outlet_flags": ("outlet_before_fall",), "erosion_flags": ()}
    text = _told(all_results, texts, **values)
    assert "Not yet" in text
    assert "Set out no rows yet" in text
    for word in ("Face", "walk across", "Carry", "Stretch the string"):
        assert word not in text
    assert not re.search(r"\d{3}° / \d{3}°", text)


def test_the_farmer_hears_that_rows_fall(all_results, texts):
    assert "fall a little" in _told(all_results, texts, row_grade_design_pct=0.5)
    assert "fall a little" not in _told(all_results, texts, row_grade_design_pct=0.0)


def pegged(results, texts):
    """The sheet of plot 109 with a line of pegs, and the line as it is set out."""
    plots = results.plots
    at = int(np.flatnonzero(plots["plot_id"] == "109")[0])
    outline = plots["geometry"].iloc[at]
    x, y = outline.centroid.x, outline.centroid.y
    course = np.array([[x - 20, y], [x + 20, y]])
    laid = pegs_of("109", outline, course, 10.0)
    results = with_plan(dataclasses.replace(results, pegs=laid), plot_ids=["109"])
    (sheet,) = sheets_of(results, texts, np.array([at]))
    return sheet, laid.walks["109", 1], results.plots.iloc[at]


def test_letters_on_the_drawing_are_the_corners_of_the_words(small_results, texts):
    sheet, walk, plot = pegged(small_results, texts)
    middle = Geod(ellps="WGS84")
    change = Transformer.from_crs(small_results.grid_crs, 4326, always_xy=True)
    drawn = {mark.sign: (mark.east_m, mark.north_m) for mark in sheet.drawing.corners}
    assert len(drawn) == len({end.corner_xy for end in walk.ties})
    said = " ".join((*sheet.walk.sentences, *sheet.ties.sentences))
    for end in walk.ties:
        letter = re.search(rf"corner ([A-H]) \({end.corner}\)", said)[1]
        place = change.transform(*end.corner_xy)
        azimuth, _, far = middle.inv(plot["longitude_deg"], plot["latitude_deg"], *place)
        turn = math.radians(azimuth)
        wanted = far * math.sin(turn), far * math.cos(turn)
        assert drawn[letter] == pytest.approx(wanted, abs=0.05)


def test_the_row_that_is_pegged_is_drawn_thick(small_results, texts):
    plots = small_results.plots.assign(row_method="straight")
    sheet, walk, _ = pegged(dataclasses.replace(small_results, plots=plots), texts)
    (line,) = sheet.drawing.guides
    assert np.hypot(*(line[-1] - line[0])) == pytest.approx(walk.leg_m.sum(), abs=0.1)


@pytest.mark.parametrize("seed", range(12))
def test_signs_on_the_drawing_never_cover_one_another(seed, monkeypatch):
    rng = np.random.default_rng(seed)
    turns = np.sort(rng.uniform(0, 2 * np.pi, 9))
    ring = rng.uniform(5, 60, 9)[:, None] * np.column_stack([np.cos(turns), np.sin(turns)])
    along = np.sort(rng.uniform(-40, 40, rng.integers(2, 20)))
    pegs = tuple(Mark(float(x), float(x) / 3, str(n)) for n, x in enumerate(along, 1))
    corners = tuple(Mark(*map(float, ring[n]), "ABCD"[n]) for n in range(4))
    places = tuple(Mark(*map(float, xy), "12345"[n]) for n, xy in enumerate(ring[:5] / 2))
    box = paper.Box(20, 30, 110, 80)
    found = []
    monkeypatch.setattr(
        Paper, "disc", lambda self, x, y, radius, **how: found.append((x, y, radius))
    )
    written = []
    write = Paper.write
    monkeypatch.setattr(
        Paper, "write", lambda self, text, *how: (written.append(text), write(self, text, *how))
    )
    for marks in ({"pegs": pegs}, {"places": places}):
        found.clear()
        written.clear()
        drawing = Drawing(rings=(np.vstack([ring, ring[:1]]),), corners=corners, **marks)
        page = Paper("a", date(2026, 3, 15), "en")
        page.page()
        pictures_of.plot(page, drawing, box, "N")
        signs = {text for text in written if text in set("ABCD")}
        assert signs == set("ABCD")
        circles = np.array([(x, y) for x, y, radius in found if radius == pictures_of.SIGN_MM])
        dots = [(x, y) for x, y, radius in found if radius == pictures_of.DOT_MM]
        assert len(dots) == len(marks.get("pegs", ()))
        assert len(circles) >= 2
        apart = np.hypot(*(circles[:, None] - circles).transpose(2, 0, 1))
        np.fill_diagonal(apart, np.inf)
        assert apart.min() > 2 * pictures_of.SIGN_MM
        assert (circles - pictures_of.SIGN_MM >= [box.x, box.y]).all()
        assert (circles + pictures_of.SIGN_MM <= [box.x + box.width, box.y + box.height]).all()


def test_paper_leaves_no_file_open():
    # One that is thrown away unfinished fails whichever test runs when it is collected.
    page = Paper("a", date(2026, 3, 15), "en")
    page.page()
    for text in ("Rows", "Ряд"):
        page.write(text, 10, 10)
    fonts = page.pdf.fonts.values()
    assert len(fonts) == 2
    assert all(isinstance(font.ttfont.reader.file, io.BytesIO) for font in fonts)


def test_drops_on_paper_are_grade_times_leg(small_results, texts):
    plots = small_results.plots
    (outline,) = plots.loc[plots["plot_id"] == "109", "geometry"]
    x, y = outline.centroid.x, outline.centroid.y
    pegs = pegs_of("109", outline, np.array([[x - 20, y], [x + 13.3, y]]), 10.0).table
    pegs = pegs.assign(number=range(1, len(pegs) + 1))

    def drops(table) -> list[str]:
        head, *rows = pegs_table(table, texts).rows
        return [row[head.index("Drop")] for row in rows]

    assert drops(pegs) == ["0 cm"] * len(pegs)
    # 0.7 % falls 7 cm in 10 m; the last leg is 3.3 m.
    fallen = pegs.assign(peg_drop_cm=0.7 * pegs["peg_along_m"].diff().fillna(0.0))
    assert drops(fallen) == ["0 cm", "7 cm", "7 cm", "7 cm", "2.3 cm"]


def sheet_with(results, texts, plot_id, **values):
    """The sheet of one plot, some of whose values are others."""
    at = int(np.flatnonzero(results.plots["plot_id"] == plot_id)[0])
    plots = results.plots.copy()
    for name, value in values.items():
        column = plots[name].to_numpy(dtype=object, copy=True)
        column[at] = value
        plots[name] = column
    changed = with_plan(dataclasses.replace(results, plots=plots))
    (sheet,) = sheets_of(changed, texts, np.array([at]))
    return sheet


def carried_of(sheet) -> dict[str, str]:
    return {one.picture: one.amount for one in sheet.carried}


def test_what_is_carried_is_what_is_used(small_results, texts):
    """The string as it is knotted, the stick, and a peg at each step of the level on each line."""
    string = dataclasses.replace(small_results.string, string_m=17.8, stick_m=0.45)
    assert string.string_m != small_results.plan.string.string_m
    sheet, walk, _ = pegged(dataclasses.replace(small_results, string=string), texts)
    assert carried_of(sheet)["string"] == f"{string.string_m:.4g}"
    (name,) = (one.name for one in sheet.carried if one.picture == "string")
    assert name.endswith(f"stick {100 * string.stick_m:g} cm")
    row = small_results.plots.set_index("plot_id").loc[sheet.plot_id]
    for picture, good in (("seed", "seed"), ("sack", "npk"), ("manure", "manure")):
        assert carried_of(sheet)[picture] == wording.kilograms(int(row[f"{good}_g"]))
    assert carried_of(sheet)["peg"] == str(sum(math.ceil(leg / 2) for leg in walk.leg_m) + 1)


def test_a_line_found_with_the_level_says_where_it_starts(small_results, texts):
    sheet = sheet_with(small_results, texts, "109")
    (said,) = sheet.ties.sentences
    assert "Line 1 starts 3.0 m (4 paces) along the edge from corner A (north-east)" in said
    assert "the plot on your left" in said
    assert "Rows: 21 uphill, 20 downhill." in said
    assert [mark.sign for mark in sheet.drawing.places] == ["1"]
    assert "number 1 in the drawing" in " ".join(sheet.walk.sentences)


def test_where_structures_stand_nothing_is_pegged(small_results, texts):
    sheet = sheet_with(small_results, texts, "<b>B2</b>", guide_kind="standing structures")
    said = " ".join(sheet.walk.sentences)
    assert "Peg no line" in said
    assert "Set a peg" not in said
    assert "peg" not in carried_of(sheet)
    assert sheet.drawing.guides
    usual = sheet_with(small_results, texts, "<b>B2</b>")
    assert "between, one every 2 m" in " ".join(usual.walk.sentences)
    assert "peg" in carried_of(usual)


def wet(results):
    """The same results where the soil drains poorly."""
    soil = results.plan.soil.model_copy(update={"drainage": "poor"})
    return dataclasses.replace(results, plan=results.plan.model_copy(update={"soil": soil}))


@pytest.mark.parametrize(
    ("plot_id", "said"), [("<b>B2</b>", "is level"), ("108", "Step 4"), ("=B+1", "technician")]
)
def test_where_soil_drains_poorly_rows_without_a_fall_are_told_first(
    plot_id, said, small_results, texts
):
    values = {"guide_kind": "standing structures"} if plot_id == "<b>B2</b>" else {}
    alarm = sheet_with(wet(small_results), texts, plot_id, **values).alarm
    assert "POOR DRAINAGE" in alarm
    assert said in alarm
    assert "POOR DRAINAGE" not in (sheet_with(small_results, texts, plot_id, **values).alarm or "")


@pytest.mark.parametrize("plot_id", ["109", "<b>B2</b>"])
def test_guide_lines_that_fall_are_told_how_far_and_where_to(plot_id, small_results, texts):
    falls = {"row_grade_design_pct": 0.6, "row_fall_to": "south end", "row_bearing_true_deg": 10.0}
    sheet = sheet_with(wet(small_results), texts, plot_id, **falls)
    said = " ".join(sheet.walk.sentences)
    assert sheet.headline.big == "6 cm in 10 m"
    assert "let the line fall 6 cm in 10 m" in said
    assert "about 1.2 cm lower than the last" in said
    assert "neither climb nor descend" not in said
    assert "fall a little" in " ".join(sheet.farmer_words.sentences)
    assert "POOR" not in (sheet.alarm or "")
    if plot_id == "109":
        assert "towards the south" in said
    level = sheet_with(small_results, texts, plot_id)
    assert level.headline.big == "Level"
    assert "neither climb nor descend" in " ".join(level.walk.sentences)


def test_where_no_fall_is_known_the_sheet_says_how_to_choose_one(small_results, texts):
    said = " ".join(sheet_with(wet(small_results), texts, "108").walk.sentences)
    least = small_results.plan.rows.row_grade_min_pct
    assert "grass, a ditch or a stream" in said
    assert f"fall {2 * least:g} cm from peg to peg (2 m)" in said
    assert "No such end: no rows yet" in said
    assert "neither climb nor descend" not in said


def test_gaps_between_level_lines_have_their_rows(small_results, texts):
    plots = small_results.plots
    (outline,) = plots.loc[plots["plot_id"] == "109", "geometry"]
    x, y = outline.centroid.x, outline.centroid.y
    pegs = pegs_of("109", outline, np.array([[x - 20, y], [x + 15, y]]), 10.0).table
    pegs = pegs.assign(number=range(1, len(pegs) + 1))
    assert "Gap" not in pegs_table(pegs, texts).rows[0]
    count = len(pegs)
    shared = pegs.assign(
        gap_m=[12.04, 12.6, *[13.0] * (count - 2)],
        rows_in_gap=pd.array([24, 25, *[26] * (count - 2)], dtype="Int64"),
        short_rows_start=pd.array([0, 1, *[0] * (count - 2)], dtype="Int64"),
        short_rows_end=pd.array([0] * (count - 2) + [2, 1], dtype="Int64"),
    )
    head, *rows = pegs_table(shared, texts).rows
    assert head[-2:] == ("Gap", "Rows")
    assert rows[0][-2:] == ("12 m", "24")
    assert rows[1][-2:] == ("12.6 m", "25 (+1)")
    assert rows[-2][-2:] == ("13 m", "26 (-2)")
    # From the last peg on there is no row.
    assert rows[-1][-2:] == ("13 m", "-")


def test_rows_of_maize_are_told_and_drawn_apart(small_results, texts):
    """Two crops of 60 rows each, in turn: as many of both are drawn, none on the other."""
    (outline,) = small_results.plots.loc[small_results.plots["plot_id"] == "A-01", "geometry"]
    west, south, east, _ = outline.bounds
    lines = [
        (crop, row, LineString([(west, at), (east, at)]))
        for row in range(1, 61)
        for crop, at in (("maize", south + row), ("beans", south + row + 0.4))
    ]
    table = pd.DataFrame(lines, columns=["crop", "row", "geometry"])
    table = table.assign(plot_id="A-01", length_m=east - west)
    drawn = dataclasses.replace(small_results.row_lines, lines=table)
    practice = small_results.plan.practice.model_copy(
        update={"maize_bean_rows": 2, "maize_row_spacing_cm": 120.0}
    )
    plan = small_results.plan.model_copy(update={"practice": practice})
    results = dataclasses.replace(small_results, row_lines=drawn, plan=plan)
    maize = {"maize_rows": 60, "maize_row_length_m": 4321.0, "maize_seeds": 17_284}
    sheet = sheet_with(results, texts, "A-01", **maize)
    heights = [
        sorted(line[0][1] for line in of) for of in (sheet.drawing.rows, sheet.drawing.maize)
    ]
    assert len(heights[0]) == len(heights[1]) > 10
    assert min(abs(bean - maize) for bean in heights[0] for maize in heights[1]) > 1
    assert "Dashed: maize." in sheet.drawing_note
    said = " ".join(sheet.totals.sentences)
    assert "maize, 35 cm, 2 rows of beans 50 cm apart, 35 cm, the next maize." in said
    assert "cm apart" not in said.split("Band,")[0]
    assert "Of maize: rows 60, metres of row 4,321, seeds 17,284." in said
    alone = sheet_with(small_results, texts, "A-01")
    assert not alone.drawing.maize
    assert "maize" not in " ".join((*alone.totals.sentences, alone.drawing_note))


def test_more_pegs_than_anyone_carries_are_not_printed(small_results, texts):
    """The sheet prints whole lines, says what it leaves out and where it is, and counts all."""
    plots = small_results.plots
    (outline,) = plots.loc[plots["plot_id"] == "109", "geometry"]
    x, y = outline.centroid.x, outline.centroid.y
    one = pegs_of("109", outline, np.array([[x - 20, y], [x + 20, y]]), 5.0)
    count, lines = len(one.table), 30
    table = pd.concat([one.table.assign(line=number) for number in range(1, lines + 1)])
    walks = {("109", number): one.walks["109", 1] for number in range(1, lines + 1)}
    laid = dataclasses.replace(one, table=table.reset_index(drop=True), walks=walks)
    sheet = sheet_with(dataclasses.replace(small_results, pegs=laid), texts, "109")
    assert PEGS_PRINTED_MAX % count
    printed = len(sheet.pegs.rows) - 1
    assert printed == PEGS_PRINTED_MAX // count * count < count * lines
    assert len(sheet.drawing.pegs) == printed
    assert f"From peg {printed + 1} on {count * lines - printed} more" in sheet.ties.sentences[-1]
    assert len(sheet.ties.sentences) == printed // count + 1
    assert f"Set out {lines} lines" in sheet.walk.sentences[0]
    assert f"{printed - count + 1} to {printed};" in sheet.walk.sentences[0]
    steps = sum(math.ceil(leg / 2) for leg in one.walks["109", 1].leg_m) + 1
    assert carried_of(sheet)["peg"] == str(lines * steps)
    results = with_plan(dataclasses.replace(small_results, pegs=laid), plot_ids=["109"])
    printed_pages = read_fast(sheets.draw(results, texts).files["sheets/v001-sondo.pdf"])
    assert sum("Plots file, row 11" in page for page in printed_pages) <= 6


def test_the_drawing_names_what_has_no_rows(small_results, texts):
    """A path, a strip for water, a gap and a hole have their edge and their name; nothing else."""
    plots = small_results.plots
    (at,) = np.flatnonzero(plots["plot_id"] == "109")
    zone = reproject(plots["geometry"].to_numpy(), small_results.plots_crs, small_results.grid_crs)
    west, south, east, north = zone[at].bounds
    middle = (west + east) / 2
    path = shapely.box(middle - 1, south, middle + 1, north)
    empty = np.full(len(plots), None, dtype=object)
    strips, gaps = empty.copy(), empty.copy()
    strips[at], gaps[at] = (
        affinity.translate(path, off, 0) for off in ((east - west) / 4, (west - east) / 4)
    )
    far = affinity.translate(path, 10 * (east - west), 0)
    clear = Clear(np.array([path, far], dtype=object), strips, gaps)
    used = pd.DataFrame({"source_row": [1], "kind": ["path"], "width_m": [np.nan]})
    results = dataclasses.replace(
        small_results,
        row_lines=dataclasses.replace(small_results.row_lines, clear=clear),
        features=dataclasses.replace(small_results.features, used=used.assign(geometry=[path])),
    )
    taken = sheet_with(results, texts, "109").drawing.taken
    assert {one.word for one in taken} == {"grass: low place", "grass: water", "path"}
    assert all(one.rings and one.at for one in taken)
    assert sheet_with(small_results, texts, "109").drawing.taken == ()
