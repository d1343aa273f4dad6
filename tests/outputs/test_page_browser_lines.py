"""Rows, guide lines and water in a browser: their very pixels, and what the card says of them."""

from __future__ import annotations

import re
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from pyproj import Transformer
from shapely import LineString, affinity

from districtplan import geodesy, rows
from districtplan.outputs import page, wording
from districtplan.results import Results
from tests.conftest import district_page
from tests.outputs import test_page_browser as driven

pytestmark = pytest.mark.browser

DARK, LIGHT = 110, 190
BLUE = 70
# Least brightness and most blueness of the pixels within a reach of each point.
PIXELS = """([points, reach]) => {
  const canvas = document.querySelector('canvas.fields');
  const box = canvas.getBoundingClientRect();
  const dense = canvas.width / box.width;
  const context = canvas.getContext('2d');
  return points.map(([longitude, latitude]) => {
    const { x, y } = districtplan.pointOf(longitude, latitude);
    const [px, py] = [(x - box.left) * dense, (y - box.top) * dense].map(Math.floor);
    const side = 2 * reach + 1;
    const pixels = context.getImageData(px - reach, py - reach, side, side).data;
    let [least, most] = [255, 0];
    for (let at = 0; at < pixels.length; at += 4) {
      // Where nothing is drawn the light ground shines through.
      const dark = 255 - (pixels[at] + pixels[at + 1] + pixels[at + 2]) / 3;
      const light = 255 - (dark * pixels[at + 3]) / 255;
      least = Math.min(least, light);
      most = Math.max(most, pixels[at + 2] - pixels[at]);
    }
    return [least, most];
  });
}"""


made: dict[int, tuple[Results, dict[str, bytes]]] = {}
"""Pages beside the results that they are of: these are kept, so that no others take their id."""


def page_of(results, texts):
    """Render the page of some results once."""
    if id(results) not in made:
        made[id(results)] = results, district_page(results, texts)
    return made[id(results)][1]


@contextmanager
def shown(browser, results, texts, tmp_path, view="rows"):
    """Open the page of some results; no error may come of it."""
    file = tmp_path / "index.html"
    with driven.opened(browser, file, page_of(results, texts)) as (tab, seen):
        tab.evaluate("view => districtplan.show(view)", view)
        yield tab
    assert seen.faults() == []


def look(tab, plot_id, level, xy, crs, reach=0):
    """Go to a plot and give brightness and blueness at points of a CRS."""
    tab.evaluate("([id, level]) => districtplan.placeOf(id, level)", [plot_id, level])
    degrees = Transformer.from_crs(crs, 4326, always_xy=True).transform(*np.asarray(xy).T)
    return np.array(tab.evaluate(PIXELS, [np.column_stack(degrees).tolist(), reach]))


def along(line, shares=(0.1, 0.3, 0.7, 0.9)):
    return [line.interpolate(share, normalized=True).coords[0] for share in shares]


def without_pegs(results):
    return replace(results, pegs=replace(results.pegs, table=results.pegs.table.iloc[:0]))


def guide_of(results, plot_id):
    table = results.guides.lines
    return table.loc[table["plot_id"] == plot_id, "geometry"].iloc[0]


# ---------------------------------------------------------------- guide lines


def test_a_guide_line_is_drawn_where_it_lies(browser, small_results, texts, tmp_path):
    line, crs = guide_of(small_results, "<b>B2</b>"), small_results.guides.crs
    with shown(browser, small_results, texts, tmp_path) as tab:
        assert (look(tab, "<b>B2</b>", 19, along(line), crs)[:, 0] < DARK).all()
        for away in (-3, 3):
            beside = along(affinity.translate(line, 0, away))
            assert (look(tab, "<b>B2</b>", 19, beside, crs)[:, 0] > LIGHT).all()
        # From afar a dash stands for it, which doesn't reach so far.
        assert (look(tab, "<b>B2</b>", 16, along(line, (0, 1)), crs)[:, 0] > LIGHT).all()
        middle = small_results.plots.set_index("plot_id")["geometry"]["<b>B2</b>"]
        here = [middle.representative_point().coords[0]]
        assert look(tab, "<b>B2</b>", 16, here, crs, reach=1)[0, 0] < DARK


def test_a_line_in_the_wrong_place_is_noticed(browser, small_results, texts, tmp_path):
    lines = small_results.guides.lines.copy()
    moved = [None if g is None else affinity.translate(g, 0, 5) for g in lines["geometry"]]
    wrong = replace(
        small_results, guides=replace(small_results.guides, lines=lines.assign(geometry=moved))
    )
    line, crs = guide_of(small_results, "<b>B2</b>"), small_results.guides.crs
    with shown(browser, wrong, texts, tmp_path) as tab:
        assert (look(tab, "<b>B2</b>", 19, along(line), crs)[:, 0] > LIGHT).all()


@pytest.mark.slow
def test_level_lines_are_broken_and_arcs_are_not(browser, small_results, texts, tmp_path):
    line, crs = guide_of(small_results, "<b>B2</b>"), small_results.guides.crs
    shares = np.linspace(0.05, 0.95, 181)
    plots = small_results.plots.copy()
    plots.loc[plots["guide_kind"] == "arc", "guide_kind"] = "level lines"
    unpegged = without_pegs(small_results)
    levelled = replace(unpegged, plots=plots)
    broken = {}
    for name, results in (("arc", unpegged), ("level", levelled)):
        with shown(browser, results, texts, tmp_path) as tab:
            light = look(tab, "<b>B2</b>", 19, along(line, shares), crs)[:, 0]
            broken[name] = (light > LIGHT).mean()
            said = tab.inner_text("#legend")
            assert ("dashes and dots" in said) == (name == "level")
            assert ("an arc to peg" in said) == (name == "arc")
    assert broken["arc"] == 0
    assert 0.15 < broken["level"] < 0.5


@pytest.mark.slow
def test_dashes_lie_between_parts(browser, small_results, parted_results, texts, tmp_path):
    (line,) = parted_results.guides.boundaries["geometry"]
    shares, crs = np.linspace(0.05, 0.95, 181), small_results.guides.crs
    dark = []
    for results in (small_results, parted_results):
        with shown(browser, without_pegs(results), texts, tmp_path) as tab:
            dark.append((look(tab, "<b>B2</b>", 19, along(line, shares), crs)[:, 0] < DARK).mean())
            assert ("one part ends" in tab.inner_text("#legend")) == (results is parted_results)
    assert dark[0] < 0.2
    assert 0.4 < dark[1] < 0.85


def test_land_to_level_on_the_ground_stays_empty(browser, small_results, texts, tmp_path):
    outline = small_results.plots.set_index("plot_id")["geometry"]["109"]
    east, north = np.meshgrid(*[np.linspace(-3, 3, 9)] * 2)
    x, y = outline.representative_point().coords[0]
    points = np.column_stack([x + east.ravel(), y + north.ravel()])
    # Where its line starts there is a ring.
    lines = small_results.guides.lines
    unmarked = replace(small_results.guides, lines=lines[lines["geometry"].notna()])
    with shown(browser, replace(small_results, guides=unmarked), texts, tmp_path) as tab:
        seen = look(tab, "109", 19, points, small_results.plots_crs, reach=2)
        assert (seen[:, 0] > LIGHT).all()
        assert "dashed edge, no lines" in tab.inner_text("#legend")


# ---------------------------------------------------------------- pegs

PEG_PIXELS, EQUATOR_M = 3.5, 2 * np.pi * 6_378_137


def rings(tab, plot_id, level, places, crs):
    """How dark the ring around each place is, and how light its middle."""
    turn = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    _, latitude = Transformer.from_crs(crs, 4326, always_xy=True).transform(*places[0])
    # Of a web map, whose levels halve a pixel from one to the next.
    size = PEG_PIXELS * EQUATOR_M / 256 / 2**level * np.cos(np.radians(latitude))
    found = []
    for x, y in places:
        ring = np.column_stack([x + size * np.cos(turn), y + size * np.sin(turn)])
        found.append(
            (
                look(tab, plot_id, level, ring, crs)[:, 0].mean(),
                look(tab, plot_id, level, [(x, y)], crs)[0, 0],
            )
        )
    return np.array(found)


def test_pegs_are_rings_where_they_stand(browser, small_results, texts, tmp_path):
    table = small_results.pegs.table
    places = [(point.x, point.y) for point in table["geometry"]]
    assert len(places) > 2
    plot_id, crs = table["plot_id"].iloc[0], small_results.grid_crs
    with shown(browser, small_results, texts, tmp_path) as tab:
        ring, middle = rings(tab, plot_id, 21, places, crs).T
        assert (ring < middle - 60).all()
        assert (middle > LIGHT).all()
        assert "control pegs" in tab.inner_text("#legend")
        # From afar there are none.
        _, middle = rings(tab, plot_id, 17, places[1:-1], crs).T
        assert (middle < LIGHT).all()
    with shown(browser, without_pegs(small_results), texts, tmp_path) as tab:
        assert (rings(tab, plot_id, 21, places[1:-1], crs)[:, 1] < LIGHT).all()


def test_a_line_to_level_on_the_ground_starts_at_a_ring(browser, small_results, texts, tmp_path):
    lines = small_results.guides.lines
    (start,) = lines[lines["geometry"].isna()].to_dict("records")
    place = Transformer.from_crs(4326, small_results.grid_crs, always_xy=True).transform(
        start["start_longitude_deg"], start["start_latitude_deg"]
    )
    with shown(browser, small_results, texts, tmp_path) as tab:
        ((ring, middle),) = rings(tab, start["plot_id"], 21, [place], small_results.grid_crs)
        assert ring < middle - 60


# ---------------------------------------------------------------- rows


def laid(results, plot_id):
    """Lay rows by the stage itself; give the results with their distance, and a plot's rows."""
    plots, crs = results.plots, results.grid_crs
    place = plots["longitude_deg"].to_numpy(), plots["latitude_deg"].to_numpy()
    bearing = plots["row_bearing_true_deg"] - geodesy.convergence_deg(crs, *place)
    ground = plots.assign(row_bearing_grid_deg=bearing % 180)
    taken = rows.areas(results.features.used)
    table, planted, found = rows.lay(plots, ground, crs, rows.Clear(taken), results.plan)
    lines, every = rows.draw(found, 1_000_000)
    assert every == 1
    lines = lines[(lines["plot_id"] == plot_id) & (lines["length_m"] > 10)]
    apart = table["row_spacing_map_m"]
    lying = replace(results.row_lines, planted=planted)
    results = replace(results, plots=plots.assign(row_spacing_map_m=apart), row_lines=lying)
    return results, lines["geometry"].to_numpy(dtype=object)


@pytest.mark.parametrize(
    "plot_id", ["A-03", *(pytest.param(name, marks=pytest.mark.slow) for name in ("A-01", "A-04"))]
)
def test_rows_are_drawn_where_they_are_laid(browser, small_results, texts, tmp_path, plot_id):
    results, lines = laid(small_results, plot_id)
    step = results.plots.set_index("plot_id")["row_spacing_map_m"][plot_id]
    middle = results.plots.set_index("plot_id")["geometry"][plot_id].representative_point()
    near = [line for line in lines if 2 < line.distance(middle) < 8]
    assert len(near) > 18
    crs = results.grid_crs
    on = np.array([line.interpolate(line.project(middle)).coords[0] for line in near])
    way = on[1] - on[0]
    assert np.hypot(*way) == pytest.approx(step, rel=0.01)
    offsets = np.linspace(-0.5, 0.5, 21)
    with shown(browser, results, texts, tmp_path) as tab:
        seen = [look(tab, plot_id, 22, on + share * way, crs)[:, 0].mean() for share in offsets]
    darkest = offsets[int(np.argmin(seen))]
    # Outlines are kept to 10 cm, which may shift the first row by a tenth of a row or so.
    assert abs(darkest) <= 0.15, seen
    # Every row is drawn, and nothing between them.
    assert min(seen) < DARK
    assert min(seen[0], seen[-1]) > LIGHT


@pytest.mark.parametrize("plot_id", ["A-02", "110"])
def test_no_row_is_drawn_where_none_may_be_set(browser, small_results, texts, tmp_path, plot_id):
    results, lines = laid(small_results, plot_id)
    middle = results.plots.set_index("plot_id")["geometry"][plot_id].representative_point()
    # Beside the cross of land that isn't for beans.
    near = [line for line in lines if 3 < line.distance(middle) < 8]
    on = np.array([line.interpolate(line.project(middle)).coords[0] for line in near])
    with shown(browser, results, texts, tmp_path) as tab:
        assert look(tab, plot_id, 22, on, results.grid_crs)[:, 0].min() > LIGHT


def test_no_row_is_drawn_on_land_that_is_taken(browser, small_results, texts, tmp_path):
    outline = small_results.plots.set_index("plot_id")["geometry"]["A-03"]
    house = outline.representative_point().buffer(4)
    used = pd.DataFrame(
        {"source_row": [1], "kind": ["house"], "width_m": [np.nan], "geometry": [house]}
    )
    results = replace(small_results, features=replace(small_results.features, used=used))
    results, _ = laid(results, "A-03")
    x, y = house.centroid.coords[0]
    east, north = np.meshgrid(*[np.linspace(-2.5, 2.5, 11)] * 2)
    points = np.column_stack([x + east.ravel(), y + north.ravel()])
    with shown(browser, results, texts, tmp_path) as tab:
        assert (look(tab, "A-03", 22, points, results.grid_crs)[:, 0] > LIGHT).all()
        around = [(x + 6 * np.cos(a), y + 6 * np.sin(a)) for a in np.linspace(0, 6, 200)]
        assert (look(tab, "A-03", 22, around, results.grid_crs, 1)[:, 0] < LIGHT).mean() > 0.3


# ---------------------------------------------------------------- water


@pytest.mark.slow
def test_water_is_blue_and_dashed_where_it_may_be_more(browser, small_results, texts, tmp_path):
    outline = small_results.plots.set_index("plot_id")["geometry"]["A-01"]
    x, y = outline.representative_point().coords[0]
    flow = small_results.flow_lines.assign(
        geometry=[
            LineString([(x - 20, y - 15), (x + 20, y - 15)]),
            LineString([(x - 20, y + 12), (x + 20, y + 12)]),
        ]
    )
    results = replace(small_results, flow_lines=flow)
    crs, shares = results.grid_crs, np.linspace(0.05, 0.95, 91)
    least, sure = (along(line, shares) for line in flow["geometry"])
    with shown(browser, results, texts, tmp_path, "steep") as tab:
        for view in ("steep", "rows"):
            tab.evaluate("view => districtplan.show(view)", view)
            assert (look(tab, "A-01", 19, sure, crs, 1)[:, 1] > BLUE).all()
            blue = look(tab, "A-01", 19, least, crs, 1)[:, 1] > BLUE
            assert 0.5 < blue.mean() < 0.9
            assert "water runs together" in tab.inner_text("#legend")
            assert "heights end or are missing" in tab.inner_text("#legend")
        tab.evaluate("districtplan.show('buy')")
        assert (look(tab, "A-01", 19, sure, crs, 1)[:, 1] < BLUE).all()


def test_more_water_makes_a_wider_line(browser, small_results, texts, tmp_path):
    outline = small_results.plots.set_index("plot_id")["geometry"]["A-01"]
    x, y = outline.representative_point().coords[0]
    flow = pd.DataFrame(
        {
            "upslope_area_ha": [900.0, 1.0],
            "upslope_area_at_least": [0, 0],
            "geometry": [
                LineString([(x - 20, y - 15), (x + 20, y - 15)]),
                LineString([(x - 20, y + 12), (x + 20, y + 12)]),
            ],
        }
    )
    results = replace(small_results, flow_lines=flow)
    across = np.arange(-2, 2, 0.05)
    with shown(browser, results, texts, tmp_path, "steep") as tab:
        wide, narrow = (
            (look(tab, "A-01", 20, [(x, y + d + a) for a in across], results.grid_crs)[:, 1] > BLUE)
            for d in (-15, 12)
        )
    assert wide.sum() > 2 * narrow.sum() > 0


# ---------------------------------------------------------------- what the card says


def line_of(card, term):
    found = re.search(rf"^{term} (.*)$", card, re.MULTILINE)
    return None if found is None else found[1]


def assert_ground_and_flags(card, row, plan, texts):
    assert line_of(card, "Height") == f"{row['elevation_mean_m']:,.0f} m"
    area = float(line_of(card, "Area").split(" ha")[0])
    assert area == pytest.approx(row["area_ha"], abs=0.00501)
    tenth, most = (float(n) for n in re.findall(r"([\d.]+) %", line_of(card, "Steepest parts")))
    assert tenth == pytest.approx(row["slope_p90_pct"], abs=0.0501)
    assert most == pytest.approx(row["slope_max_pct"], abs=0.0501)
    number, worst = row["erosion_class_number"], row["erosion_class"]
    assert line_of(card, "Erosion class") == (None if pd.isna(number) else f"{number}: {worst}")
    # That a plot is not for beans stands on top of its card, in other words.
    rest = wording.flag_sentences(row, plan, texts)[wording.excluded(row) is not None :]
    for sentence in rest:
        assert sentence in card


def test_the_card_says_the_numbers_of_the_table(browser, small_results, texts, tmp_path):
    with shown(browser, small_results, texts, tmp_path) as tab:
        for at, row in enumerate(small_results.plots.to_dict("records")):
            tab.evaluate("id => districtplan.open(id)", row["plot_id"])
            card = tab.inner_text("#card")
            assert_ground_and_flags(card, row, small_results.plan, texts)
            if wording.is_barred(row):
                for term in ("Number of rows", "First row starts", "Guide lines"):
                    assert line_of(card, term) is None
                continue
            metres = f"{row['row_length_m']:,.0f} m in all"
            label, counted = "Length of rows", metres
            if not pd.isna(row["rows"]):
                label = "Number of rows"
                counted = f"{row['rows']} (shorter ones besides: {row['short_rows']}); {metres}"
            assert line_of(card, label) == counted
            assert line_of(card, "Counted by") == row["holes_basis"]
            assert line_of(card, "Planting holes") == f"{row['holes']:,}"
            inputs = card.split("\nInputs\n")[1].split("\nKit\n")[0]
            for term, name in (("NPK", "npk_g"), ("Composted manure", "manure_g")):
                said = float(line_of(inputs, term).removesuffix(" kg").replace(",", ""))
                assert said == pytest.approx(row[name] / 1000, abs=0.51, rel=1e-3)
            start = f"{row['first_row_start_m']:.1f} m clockwise from the north-east corner"
            wanted = f"{start}, along the edge" if row["row_method"] == "straight" else None
            assert line_of(card, "First row starts") == wanted
            guide = {
                "arc": "an arc; lines to peg: 1",
                "level on the ground": "no curve is drawn; lines to level on the ground: 1",
            }.get(row["guide_kind"])
            assert line_of(card, "Guide lines") == guide
            outside = line_of(card, "Water from outside")
            inside = line_of(card, "Water inside")
            if at == 5:
                assert outside == "1.6 ha drain onto the plot at one place"
                said = "lines of gathered water run 31 m inside; 1.7 ha drain through at one place"
                assert inside == said
            elif at == 6:
                assert outside.startswith("at least 1.7 ha drain onto")
                assert inside.endswith("; at least 1.8 ha drain through at one place")
            else:
                assert (outside, inside) == (None, None)


def test_words_of_the_table_are_shown_as_text(browser, small_results, texts, hostile, tmp_path):
    plots = small_results.plots.copy()
    for name in ("first_row_corner", "first_row_way", "holes_basis"):
        plots.loc[0, name] = hostile
    with shown(browser, replace(small_results, plots=plots), texts, tmp_path) as tab:
        tab.evaluate("() => { window.hit = () => { window.ran = true; }; }")
        tab.evaluate("id => districtplan.open(id)", "A-01")
        card = tab.inner_text("#card")
        assert line_of(card, "Counted by") == hostile
        assert f"m {hostile} from the {hostile}, along" in card
        assert tab.locator("#card img").count() == 0
        assert tab.evaluate("window.ran === undefined")


def test_maize_is_counted_on_the_card(browser, small_results, texts, tmp_path):
    plots = small_results.plots.copy()
    plots["maize_rows"] = pd.array([40] * len(plots), dtype="Int64")
    plots["maize_row_length_m"] = 1234.4
    plots["maize_holes"] = pd.array([4938] * len(plots), dtype="Int64")
    with shown(browser, replace(small_results, plots=plots), texts, tmp_path) as tab:
        tab.evaluate("districtplan.open('A-01')")
        card = tab.inner_text("#card")
    assert line_of(card, "Number of rows") is None
    assert line_of(card, "Bean rows").endswith(" m in all")
    assert line_of(card, "Maize rows") == "40; 1,234 m in all; 4,938 holes"


def test_lines_that_are_left_out_are_told(browser, small_results, texts, tmp_path, monkeypatch):
    monkeypatch.setattr(page.lines, "VERTICES_MAX", 2)
    with shown(browser, replace(small_results), texts, tmp_path) as tab:
        said = tab.inner_text("#legend")
        assert "1 guide lines are left out" in said
        assert "1 smallest lines of water are left out" in said


def test_points_are_where_the_hook_says(browser, small_results, texts, tmp_path):
    plot = small_results.plots.iloc[0]
    with shown(browser, small_results, texts, tmp_path) as tab:
        place = tab.evaluate("districtplan.placeOf('A-01', 20)")
        where = [plot["longitude_deg"], plot["latitude_deg"]]
        point = tab.evaluate("([x, y]) => districtplan.pointOf(x, y)", where)
        assert np.hypot(point["x"] - place["x"], point["y"] - place["y"]) < 2
