"""The page's bytes: nothing from outside runs, nothing is lost, all of it can be read."""

from __future__ import annotations

import base64
import hashlib
import html
import io
import itertools
import json
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely
import shapely.affinity
import wcag_contrast_ratio
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from pyproj import CRS, Transformer
from shapely import MultiPolygon, Polygon

from districtplan.outputs import page
from districtplan.outputs.page import content, cut, ground, lines, palette, shapes
from districtplan.rows.land import Clear, areas, planted
from tests.outputs.page_data import block_of, data_of, held_in, loaded_from, naturals, signed

LEAFLET_JS = "db49d009c841f5ca34a888c96511ae936fd9f5533e90d8b2c4d57596f4e5641a"
LEAFLET_CSS = "a7837102824184820dfa198d1ebcd109ff6d0ff9a2672a074b9a1b4d147d04c6"
TEXT_PAIRS = (
    ("ink", "paper"),
    ("ink", "ground"),
    ("ink", "care"),
    ("soft", "paper"),
    ("soft", "ground"),
    ("on-accent", "accent"),
)
EDGE_PAIRS = (
    ("line", "paper"),
    ("line", "ground"),
    ("accent", "paper"),
    ("care-line", "care"),
    ("water", "paper"),
)
# Machado, Oliveira & Fernandes 2009, severity 1.0, linear RGB [from memory].
SIMULATIONS = {
    "protanopia": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritanopia": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}


@pytest.fixture(scope="module")
def files(small_results, texts):
    return page.render(small_results, texts)


@pytest.fixture(scope="module")
def written(files):
    return files["index.html"].decode("utf-8")


@pytest.fixture(scope="module")
def told(files):
    return data_of(files)


# ---------------------------------------------------------------- files, closed


def test_the_map_library_is_the_one_that_was_read():
    library = page.metadata.distribution(page.MAP_PACKAGE)
    for name, digest in (("leaflet.js", LEAFLET_JS), ("leaflet.css", LEAFLET_CSS)):
        found = library.locate_file(f"{page.MAP_FOLDER}/{name}").read_bytes()
        assert hashlib.sha256(found).hexdigest() == digest


def test_the_licence_of_the_map_library_is_in_the_page(written):
    assert "BSD 2-Clause License" in written
    assert "Redistributions in binary form must reproduce" in written


def test_nothing_is_fetched(written):
    assert re.findall(r"url\((?!data:|#default)[^)]*\)", written) == []
    assert re.findall(r"<(?:link|iframe|object|embed|base|img)\b", written) == []
    assert "sourceMappingURL" not in written


def test_the_policy_names_every_script_and_style_by_its_digest(written):
    policy = html.unescape(re.search(r'Policy" content="([^"]*)"', written)[1])
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy
    assert policy.endswith("; img-src data: blob:; base-uri 'none'; form-action 'none'")
    assert block_of(written)["tiles"] is None
    blocks = re.findall(r"<script>(.*?)</script>", written, re.DOTALL)
    blocks += re.findall(r"<style>(.*?)</style>", written, re.DOTALL)
    assert len(blocks) == 3
    for block in blocks:
        # A browser takes the digest of what it parsed: a carriage return would be lost on the way.
        assert "\r" not in block
        digest = base64.b64encode(hashlib.sha256(block.encode("utf-8")).digest()).decode()
        assert f"'sha256-{digest}'" in policy


def test_pictures_open_the_policy_to_their_server_alone():
    told = {
        "address": "https://Tiles.example.org:8443/{z}/{x}/{y}",
        "credit": "c",
        "zooms": [0, 18],
    }
    closed = page.policy(page.Assets("", (), ""))
    opened = page.policy(page.Assets("", (), ""), None, told)
    server = "https://tiles.example.org:8443"
    assert opened == closed.replace("img-src data: blob:", f"img-src data: blob: {server}")


def test_villages_tell_on_how_many_plots_straight_rows_follow_the_bearing(written, small_results):
    told = block_of(written)
    limit = small_results.plan.terrain.bearing_check_slope_pct
    served = dict.fromkeys(told["villages"]["names"], 0)
    for row in small_results.plots.to_dict("records"):
        closed = {"perennials_only", "forest_only"} & set(row["erosion_flags"])
        follows = row["row_method"] == "straight" and row["slope_used_pct"] <= limit
        served[row["village"]] += follows and not closed and not row["outlet_flags"]
    assert naturals(told["villages"]["by_bearing"]) == list(served.values())
    first, _ = told["findings"]["rows"][0].split(" of ")
    assert first == f"On {sum(served.values())}"


def test_scripts_do_not_end_their_block():
    for script in page.assets().scripts:
        assert "</script" not in script.lower()
        assert "<!--" not in script


def test_parts_of_the_script_are_all_joined_and_none_hides_a_name_of_another():
    """They share one function, where the second of two functions of a name would be the one."""
    folder = page.resources.files(page).joinpath("script")
    assert {part.name for part in folder.iterdir()} == set(page.SCRIPTS)
    words = r"^(?:async )?(?:const|let|class|function) (\{[^}]+\}|\[[^\]]+\]|\w+)"
    declared = re.compile(words, re.MULTILINE)
    told = [
        name
        for part in page.SCRIPTS
        for found in declared.findall(folder.joinpath(part).read_text(encoding="utf-8"))
        for name in re.findall(r"\w+", found)
    ]
    assert len(told) > 200
    assert [name for name in set(told) if told.count(name) > 1] == []


def test_the_same_input_gives_the_same_bytes(small_results, texts):
    assert page.render(small_results, texts) == page.render(small_results, texts)


def test_ids_are_unique_and_the_language_is_declared(written):
    ids = re.findall(r'\bid="([^"]+)"', written)
    assert len(ids) == len(set(ids))
    assert '<html lang="en">' in written
    assert "user-scalable" not in written.split("<style>")[0]


# ---------------------------------------------------------------- hostile text


def test_hostile_names_stay_text(written, hostile):
    assert "onerror=hit()>" not in written
    assert "1337" not in re.sub(r"data:[^\"]*", "", written.split('id="data"')[0])
    assert hostile in block_of(written)["villages"]["names"]
    assert html.escape(hostile) in written


@given(st.text())
def test_no_text_can_end_the_data_block(text):
    block = page.embedded({text: text})
    assert not set("<>&\u2028\u2029") & set(block)
    assert json.loads(block) == {text: text}


@given(st.text(alphabet=st.sampled_from("<!->datscripyle")))
def test_no_text_can_be_a_marker(text):
    parts = page.Assets("s", ("a", "b"), "l")
    words = ("language", "title", "district", "season", "finding", "rest", "no_script", "skip")
    made = page.assemble({"x": text}, dict.fromkeys(words, text), parts, {"v": "AA=="})
    assert block_of(made) == {"x": text}
    assert made.count("<script") == 4


def test_an_unknown_marker_is_a_fault():
    with pytest.raises(KeyError):
        page.assemble({}, {}, page.Assets("", (), ""), {})


def test_farmers_are_named_only_if_the_plan_asks(files, results_with_names, texts):
    def all_told(made):
        said = [block_of(part.decode()) for name, part in made.items() if name.endswith(".html")]
        said += [held_in(part.decode()) for name, part in made.items() if name.endswith(".html")]
        said += [loaded_from(part) for name, part in made.items() if name.endswith(".js")]
        return json.dumps(said)

    assert "Invented Farmer" not in all_told(files)
    assert "farmer_name" not in all_told(files)
    named = page.render(results_with_names, texts)
    assert "Invented Farmer 0" in data_of(named)["plots"]["farmers"]
    assert "Invented Farmer 0" in data_of(named)["search"]["farmer_name"]
    assert "Invented Farmer 0" in all_told(named)


# ---------------------------------------------------------------- numbers


def test_numbers_come_back_to_their_last_decimal(small_results, told):
    found = told["plots"]
    plots = cut.in_order(small_results).plots
    drawn = plots["guide_bearing_true_deg"].notna()
    assert drawn.any()
    set_out = plots["row_bearing_true_deg"].mask(drawn, plots["guide_bearing_true_deg"])
    plots = plots.assign(row_bearing_true_deg=set_out)
    assert found["id"] == plots["plot_id"].tolist()
    for name, digits in content.NUMBERS.items():
        column = found["numbers"][name]
        given_values = plots[name]
        assert column["digits"] == digits
        for value, wanted in zip(column["values"], given_values, strict=True):
            if value is None:
                assert pd.isna(wanted)
            else:
                assert value / 10**digits == pytest.approx(wanted, abs=0.5001 * 10**-digits)


def test_counts_and_grams_are_exact(small_results, told):
    numbers = told["plots"]["numbers"]
    plots = cut.in_order(small_results).plots
    for name in ("holes", "plants", "seed_g", "npk_g", "manure_g"):
        assert numbers[name]["values"] == plots[name].tolist()
    kits = small_results.purchase.kits
    served = kits.loc[kits["order_line"] == "registered", "seed_g"]
    assert told["district"]["seed_g"]["values"] == [int(served.sum())]


def test_bearings_are_printed_by_both_ends(told):
    found = told["plots"]
    spoken = found["words"]["row_bearing_true_deg_text"]
    at = found["id"].index
    assert spoken[at("A-01")] == "058° / 238°"
    assert spoken[at("B4")] == "000° / 180°"
    assert spoken[at("B3")] is None


def test_without_soil_values_plots_are_coloured_by_slope(results_without_soil, texts, told):
    found = data_of(page.render(results_without_soil, texts))
    assert found["colour_by"] == "slope"
    assert [entry["number"] for entry in found["classes"]] == list(range(1, 11))
    assert set(found["plots"]["numbers"]["erosion_class_number"]["values"]) == {None, 5}
    assert set(found["plots"]["numbers"]["soil_loss_contour_likely_t_ha_yr"]["values"]) == {None}
    assert told["colour_by"] == "erosion"


def test_what_is_from_memory_is_marked(told):
    cited = [line for table in told["sources"] for line in table["cited"]]
    assert any(line.endswith("[memory]") for line in cited)


def test_land_not_for_beans_is_said_first_and_once(told):
    said = told["plots"]["said"]
    assert said["B4"]["excluded"] == (
        "Not for beans: the guidance here is forest (from 60 % slope)."
    )
    (method,) = said["B4"]["method"]
    assert method.startswith("No rows of beans")
    # The first flag, which the card leaves out because it stands on top already.
    assert said["B4"]["flags"][0].startswith("Not for beans")
    assert said["A-01"]["excluded"] is None


def test_what_is_bought_stands_before_what_is_counted(told):
    names = list(told["district"])
    bought = [names.index(n) for n in ("seed_g", "npk_g", "urea_g", "manure_g", "seed_packs")]
    assert max(bought) < min(names.index("holes"), names.index("plants"))


# ---------------------------------------------------------------- shapes


def unpack(packed):
    """Read outlines back, by an independent reader of the format."""

    moves = [signed(v) for v in naturals(packed["moves"])]
    points = np.cumsum(np.array(moves).reshape(-1, 2), axis=0).tolist()
    rings = [[points.pop(0) for _ in range(n)] for n in naturals(packed["vertices"])]
    return [[rings.pop(0) for _ in range(n)] for n in naturals(packed["rings"])]


def test_outlines_come_back_within_a_step(small_results):
    counted_from = shapes.origin_of(small_results.plots)
    outlines = small_results.plots["geometry"].to_numpy()
    packed = shapes.pack(outlines, small_results.plots_crs, counted_from)
    to_plane = Transformer.from_crs(small_results.plots_crs, 3857, always_xy=True)
    origin = Transformer.from_crs(4326, 3857, always_xy=True).transform(*counted_from)
    for outline, rings in zip(small_results.plots["geometry"], unpack(packed), strict=True):
        wanted = shapely.get_rings(shapely.get_parts(outline))
        assert len(rings) == len(wanted)
        for ring, line in zip(rings, wanted, strict=True):
            x, y = to_plane.transform(*line.coords.xy)
            found = np.array(ring, dtype=float) * shapes.STEP_M + origin
            assert np.abs(found - np.column_stack([x, y])[:-1]).max() <= shapes.STEP_M / 2 + 1e-6


def test_a_district_across_the_180th_meridian_stays_together():
    east = Polygon([(179.999, 0), (180, 0), (180, 0.001), (179.999, 0.001)])
    west = Polygon([(-180, 0), (-179.999, 0), (-179.999, 0.001), (-180, 0.001)])
    packed = shapes.pack([east, MultiPolygon([west])], CRS.from_epsg(4326), (179.999, 0.0))
    points = np.array([point for rings in unpack(packed) for ring in rings for point in ring])
    assert np.ptp(points[:, 0]) * shapes.STEP_M < 300


@given(st.lists(st.integers(-(2**40), 2**40)))
def test_numbers_survive_packing(values):
    array = np.array(values, dtype=np.int64)
    stream = shapes.varints(shapes.zigzag(array))
    found, value, shift = [], 0, 0
    for byte in stream:
        value |= (byte & 127) << shift
        shift += 7
        if byte < 128:
            found.append(-(value + 1) // 2 if value % 2 else value // 2)
            value, shift = 0, 0
    assert found == values


# ---------------------------------------------------------------- lines


def test_guide_lines_come_back_within_a_step(small_results):
    counted_from = shapes.origin_of(small_results.plots)
    ones = shapes.counts(np.ones(1, dtype=np.int64))
    [course] = unpack({**lines.guides(small_results, counted_from), "rings": ones})[0]
    line = small_results.guides.lines["geometry"].iloc[0]
    to_plane = Transformer.from_crs(small_results.guides.crs, 3857, always_xy=True)
    origin = Transformer.from_crs(4326, 3857, always_xy=True).transform(*counted_from)
    wanted = np.column_stack(to_plane.transform(*line.coords.xy))
    drawn = np.array(course, dtype=float) * shapes.STEP_M + origin
    assert drawn == pytest.approx(wanted, abs=shapes.STEP_M / 2 + 1e-6)


def test_guide_lines_belong_to_their_plots_whatever_their_order(small_results):
    guides = small_results.guides
    course = guides.lines["geometry"].iloc[0]
    ids = ["110", "A-02", "110"]
    table = pd.DataFrame(
        {
            "plot_id": ids,
            "geometry": [shapely.affinity.translate(course, 0, 7 * at) for at in range(3)],
        }
    )
    results = replace(small_results, guides=replace(guides, lines=table))
    packed = lines.guides(results, (33.0, -9.0))
    plots = small_results.plots["plot_id"].tolist()
    of_plot = list(base64.b64decode(packed["lines"]))
    assert [of_plot[plots.index(i)] for i in ("A-02", "110")] == [1, 2]
    assert sum(of_plot) == 3
    courses = unpack({**packed, "rings": shapes.counts(np.ones(3, dtype=np.int64))})
    south = [line[0][0][1] for line in courses]
    # A-02 comes first among the plots; the lines of 110 keep their order.
    assert south[0] > south[1]
    assert south[2] > south[0]


def test_a_plot_to_level_on_the_ground_has_no_line(small_results):
    packed = lines.guides(small_results, (33.0, -9.0))
    of_plot = list(base64.b64decode(packed["lines"]))
    assert of_plot[small_results.plots["plot_id"].tolist().index("109")] == 0
    assert sum(of_plot) == 1


def test_cards_say_where_guide_lines_start(small_results, texts, monkeypatch):
    def told(results):
        said = data_of(page.render(results, texts))["plots"]["said"]
        return {plot_id: of["lines"] for plot_id, of in said.items() if of["lines"]}

    said = told(small_results)
    assert set(said) == {"<b>B2</b>", "109"}
    assert said["109"][0].startswith("Line 1 starts 3.0 m (4 paces) along the edge from the north-")
    plots = small_results.plots.copy()
    plots["outlet_flags"] = [
        ("no_safe_outlet",) if plot_id == "109" else () for plot_id in plots["plot_id"]
    ]
    assert set(told(replace(small_results, plots=plots))) == {"<b>B2</b>"}
    monkeypatch.setattr(content, "LINES_TOLD_MAX", 0)
    assert all("layers guide_lines" in one for (one,) in told(small_results).values())


def test_lines_that_would_make_the_page_too_large_are_counted(small_results, monkeypatch):
    monkeypatch.setattr(lines, "VERTICES_MAX", 3)
    flow = lines.flow(small_results, (33.0, -9.0))
    # The largest first.
    assert (flow["area_ha"], flow["left_out"]) == ([4.5], 1)
    assert lines.guides(small_results, (33.0, -9.0))["left_out"] == 0
    monkeypatch.setattr(lines, "VERTICES_MAX", 2)
    assert lines.guides(small_results, (33.0, -9.0)) == {"left_out": 1, "lines": None}


def test_rows_along_guide_lines_belong_to_their_plots_and_are_thinned(small_results, monkeypatch):
    method = small_results.plots.set_index("plot_id")["row_method"]
    bent, other = method[method == "guide lines"].index[0], method[method == "straight"].index[0]
    (place,) = np.flatnonzero(small_results.plots["plot_id"] == bent)
    rows = [
        (plot_id, crop, row, 20.0, shapely.LineString([(0, row), (10, row + 1), (20, row)]))
        for plot_id, crop in ((other, "beans"), (bent, "beans"), (bent, "maize"))
        for row in (1, 2, 3)
    ]
    table = pd.DataFrame(rows, columns=["plot_id", "crop", "row", "length_m", "geometry"])
    drawn = replace(small_results.row_lines, lines=table)
    results = replace(small_results, row_lines=drawn)
    thinned = replace(results, row_lines=lines.thinned_rows(results))
    packed = lines.curved(thinned, (33.0, -9.0))
    streams = {name: list(base64.b64decode(packed[name])) for name in ("lines", "place", "maize")}
    # Those of straight plots are laid by the script.
    assert streams["lines"][place] == sum(streams["lines"]) == 6
    assert streams["place"] == [0, 1, 2, 0, 1, 2]
    assert streams["maize"] == [0, 0, 0, 1, 1, 1]
    assert packed["every"] == 1
    monkeypatch.setattr(lines, "CURVED_MAX", 10)
    results = replace(results, row_lines=replace(drawn, every=2))
    thinned = replace(results, row_lines=lines.thinned_rows(results))
    packed = lines.curved(thinned, (33.0, -9.0))
    assert packed["every"] == 4
    assert list(base64.b64decode(packed["place"])) == [0, 0]


def test_planted_land_is_what_margins_and_features_leave(small_results):
    plan = small_results.plan
    margin = plan.model_copy(update={"rows": plan.rows.model_copy(update={"edge_margin_m": 2.0})})
    outline = small_results.plots["geometry"].iloc[2]
    used = pd.DataFrame(
        {
            "source_row": [1],
            "kind": ["house"],
            "width_m": [np.nan],
            "geometry": [outline.representative_point().buffer(5)],
        }
    )
    outlines = small_results.plots["geometry"].to_numpy(dtype=object)
    left = planted(outlines, Clear(areas(used)), np.full(len(outlines), 2.0)).polygons
    lying = replace(small_results.row_lines, planted=left)
    results = replace(small_results, plan=margin, row_lines=lying)
    packed = lines.rows(results, (33.0, -9.0))
    assert packed["planted"] == list(range(len(small_results.plots)))
    shell, *holes = unpack(packed["land"])[2]
    shape = Polygon(shell, holes)
    wanted = outline.buffer(-2, join_style="mitre").difference(used["geometry"].iloc[0])
    stretch = 1 / np.cos(np.radians(small_results.plots["latitude_deg"].iloc[2])) / shapes.STEP_M
    assert shape.area == pytest.approx(wanted.area * stretch**2, rel=0.015)
    assert len(shape.interiors) == 1
    # Without either, no land is handed over a second time.
    whole = small_results.plots.assign(land_taken_m2=0.0, flow_strip_m2=0.0, row_gap_m2=0.0)
    plain = replace(small_results, plots=whole)
    assert lines.rows(plain, (33.0, -9.0))["planted"] == []


def test_rows_are_counted_downhill(small_results):
    plots = small_results.plots.copy()
    plots.loc[0, "downslope_true_deg"] = (plots["row_bearing_true_deg"].iloc[0] - 90) % 360
    packed = lines.rows(replace(small_results, plots=plots), (33.0, -9.0))
    assert packed["rightwards"][:2] == [0, 1]
    assert packed["families"] == [{"crop": "beans", "first_m": 0.25, "spacing_m": 0.5}]


# ---------------------------------------------------------------- ground


def picture_of(relief):
    made = ground.picture(relief)
    raw = base64.b64decode(made["image"].removeprefix("data:image/webp;base64,"))
    return Image.open(io.BytesIO(raw)).convert("RGBA"), made


def test_the_ground_is_the_relief_within_its_bounds(small_results):
    image, made = picture_of(small_results.relief)
    assert image.size == small_results.relief.shade.shape[::-1]
    assert made["bounds_deg"][0] == pytest.approx(small_results.relief.west, abs=1e-6)
    alpha = np.asarray(image)[:, :, 3]
    assert (alpha[:10, :10] == 0).all()
    assert (alpha[12:, 12:] == 255).all()
    bright = np.asarray(image)[20:, 20:, 0].astype(float)
    shade = small_results.relief.shade[20:, 20:]
    assert np.corrcoef(bright.ravel(), shade.ravel())[0, 1] > 0.99


def test_a_large_relief_is_made_small_enough_for_a_phone(small_results):
    large = replace(small_results.relief, shade=np.full((40, 6_001), 200, dtype=np.uint8))
    assert picture_of(large)[0].size == (3_000, 20)


# ---------------------------------------------------------------- colours


def colours_of_the_style():
    style = page.resources.files(page).joinpath("style.css").read_text(encoding="utf-8")
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", style))


def ratio(one, other):
    """Compute contrast by another package than the one under test."""
    rgb = [tuple(int(c[i : i + 2], 16) / 255 for i in (1, 3, 5)) for c in (one, other)]
    return wcag_contrast_ratio.rgb(*rgb)


def test_contrast_is_computed_as_another_package_does():
    for fill in (*palette.EROSION, *palette.SLOPE):
        assert palette.contrast(fill, "#ffffff") == pytest.approx(ratio(fill, "#ffffff"), rel=1e-3)


@pytest.mark.parametrize(("text", "behind"), TEXT_PAIRS)
def test_text_can_be_read(text, behind):
    colours = colours_of_the_style()
    assert ratio(colours[text], colours[behind]) >= 4.5


@pytest.mark.parametrize(("edge", "behind"), EDGE_PAIRS)
def test_edges_can_be_seen(edge, behind):
    colours = colours_of_the_style()
    assert ratio(colours[edge], colours[behind]) >= 3


def test_the_script_draws_with_the_colours_of_the_style():
    script = page.resources.files(page).joinpath("script", "look.js").read_text(encoding="utf-8")
    colours = colours_of_the_style()
    for name in ("ink", "paper", "accent", "water"):
        assert f'const {name.upper()} = "{colours[name]}"' in script
    assert f'const CONTOUR = "{palette.CONTOUR}"' in script


@pytest.mark.parametrize("fill", sorted({*palette.EROSION, *palette.SLOPE, palette.PLAIN}))
def test_numbers_and_rows_can_be_read_on_every_fill(fill):
    assert ratio(palette.ink_on(fill), fill) >= 4.5


def lit(below, grey):
    """The colour of ground: the hillshade over what shines through it."""
    channels = [int(below[i : i + 2], 16) for i in (1, 3, 5)]
    return "#" + "".join(
        f"{round(ground.OPACITY * grey + (1 - ground.OPACITY) * c):02x}" for c in channels
    )


LEVEL_GREY = ground._grey(round(255 * np.sin(np.radians(45))))


def test_edges_can_be_seen_on_the_darkest_ground():
    for below in (colours_of_the_style()["ground"], *palette.TINT):
        assert ratio(colours_of_the_style()["ink"], lit(below, ground.DARKEST)) >= 4.5


@pytest.mark.parametrize("below", palette.TINT)
def test_lines_of_height_can_be_seen_and_are_no_row_and_no_water(below):
    level = lit(below, LEVEL_GREY)
    assert ratio(palette.CONTOUR, level) >= 3
    assert ratio(colours_of_the_style()["water"], level) >= 3
    # Rows and edges of plots are drawn in ink, which stands out more.
    assert ratio(colours_of_the_style()["ink"], level) > 1.8 * ratio(palette.CONTOUR, level)


@pytest.mark.parametrize("vision", [None, *SIMULATIONS])
def test_the_tint_pales_with_height_and_hides_no_plot(vision):
    matrix = SIMULATIONS.get(vision)
    low, high = palette.TINT
    assert (_luminance(high, matrix) + 0.05) / (_luminance(low, matrix) + 0.05) > 2
    # Level ground of any height beside plots of any class: some 5 apart is seen side by side.
    for fill in (*palette.EROSION, *palette.SLOPE, palette.CHOSEN, palette.PLAIN):
        for share in np.linspace(0, 1, 11):
            mixed = [
                round((1 - share) * int(low[i : i + 2], 16) + share * int(high[i : i + 2], 16))
                for i in (1, 3, 5)
            ]
            below = "#" + "".join(f"{one:02x}" for one in mixed)
            apart = _lab(fill, matrix) - _lab(lit(below, LEVEL_GREY), matrix)
            assert np.linalg.norm(apart) > 5


def _lab(colour, matrix):
    """CIE 1976 L*a*b* under D65 (IEC 61966-2-1 primaries)."""
    channels = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    seen = linear if matrix is None else np.clip(np.array(matrix) @ linear, 0, 1)
    to_xyz = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    xyz = np.array(to_xyz) @ seen / (0.9505, 1.0, 1.089)
    x, y, z = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


@pytest.mark.parametrize("ramp", [palette.EROSION, palette.SLOPE])
@pytest.mark.parametrize("vision", [None, *SIMULATIONS])
def test_classes_darken_in_any_colour_vision(ramp, vision):
    light = [_luminance(colour, SIMULATIONS.get(vision)) for colour in ramp]
    steps = [(a + 0.05) / (b + 0.05) for a, b in itertools.pairwise(light)]
    assert min(steps) > (1.4 if ramp is palette.EROSION else 1.1)


def _luminance(colour, matrix):
    channels = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    seen = linear if matrix is None else np.clip(np.array(matrix) @ linear, 0, 1)
    return float(np.array([0.2126, 0.7152, 0.0722]) @ seen)
