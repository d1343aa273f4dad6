"""Features that take land: rows in are rows used and rows set aside, each with its reason."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from districtplan.handbook import packaged
from districtplan.intake import accept_features
from districtplan.intake.features import KINDS, TABLE, WITHOUT_WIDTH
from tests.support import renumbered

ZONE = CRS.from_epsg(32736)
LINE = shapely.LineString([(500_000, 9_800_000), (500_050, 9_800_020)])
HOUSE = shapely.box(500_000, 9_800_000, 500_008, 9_800_006)


def raw_of(*features):
    kinds, widths, shapes, problems = zip(
        *(feature if len(feature) == 4 else (*feature, None) for feature in features), strict=True
    )
    columns = {"kind": kinds, "width_m": widths, "geometry": shapes, "problem": problems}
    columns["name"] = [None] * len(kinds)
    series = {name: pd.Series(list(values), dtype=object) for name, values in columns.items()}
    return pd.DataFrame({"source_row": np.arange(1, len(kinds) + 1), **series})


def accepted(*features, crs=ZONE, book=None):
    return accept_features(raw_of(*features), crs, ZONE, book or packaged())


def test_lines_and_polygons_are_used_as_they_are():
    used, aside = accepted(("Ditch ", 0.8, LINE), ("house", None, HOUSE), ("bank", "1.25", LINE))
    assert aside.empty
    assert used["kind"].tolist() == ["ditch", "house", "bank"]
    assert used["width_m"].tolist() == pytest.approx([0.8, np.nan, 1.25], nan_ok=True)
    assert shapely.equals(used["geometry"].to_numpy(), [LINE, HOUSE, LINE]).all()


def named(*given):
    raw = raw_of(*[(kind, None, LINE) for kind, _ in given])
    return accept_features(
        raw.assign(name=pd.Series([name for _, name in given], dtype=object)),
        ZONE,
        ZONE,
        packaged(),
    )


def test_features_are_called_by_kind_and_name_or_row_and_no_two_alike():
    hostile = "<b>=1+1</b>"
    used, aside = named(
        ("stream", "Temmirila"),
        ("stream", None),
        ("stream", np.nan),
        ("stream", "2"),
        ("Waterway", "to build"),
        ("ditch", "Temmirila"),
        ("stream", "Ovindra"),
        ("stream", "Ovindra"),
        ("stream", 15.0),
        ("stream", " "),
        ("path", hostile),
    )
    assert aside.empty
    assert used["feature"].tolist() == [
        "stream “Temmirila”",
        "stream 2",
        "stream 3",
        "stream “2”",
        "waterway “to build”",
        "ditch “Temmirila”",
        "stream “Ovindra” 7",
        "stream “Ovindra” 8",
        "stream “15”",
        "stream 10",
        f"path “{hostile}”",
    ]


@given(st.lists(st.tuples(st.sampled_from(["stream", "ditch"]), st.text("a“” 12", max_size=6))))
@settings(max_examples=200, deadline=None)
def test_no_name_makes_two_features_read_alike(given):
    used, aside = named(*[("stream", "a"), *given])
    assert aside.empty
    assert used["feature"].is_unique


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("x" * 201, "the name is longer than 200 characters"),
        ("a\u202eb", "the name has a control character or an invisible one"),
        ("Temmirila; Ovindra", "the name has a semicolon, which parts names in lists"),
        ({"en": "x"}, "the name is neither text nor a whole number"),
    ],
)
def test_a_feature_whose_name_cannot_be_printed_is_set_aside(name, said):
    used, aside = named(("stream", name), ("stream", "x" * 200))
    assert used["source_row"].tolist() == [2]
    assert aside["reason"].tolist() == [said]
    assert aside["remedy"].tolist() == ["Correct its name, or leave it empty"]


@pytest.mark.parametrize("kind", sorted(set(KINDS) - set(WITHOUT_WIDTH)))
def test_a_line_without_width_takes_what_is_usual(kind):
    name = f"{kind.replace(' ', '_')}_width_m"
    usual = packaged().number(TABLE, name)
    assert accepted((kind, None, LINE))[0]["width_m"].tolist() == [usual]
    other = renumbered(TABLE, name, 2 * usual)
    assert accepted((kind, np.nan, LINE), book=other)[0]["width_m"].tolist() == [2 * usual]


BROKEN = {
    "none": ("ditch", 1.0, None),
    "empty": ("ditch", 1.0, shapely.LineString()),
    "point": ("ditch", 1.0, shapely.Point(500_000, 9_800_000)),
    "unread": ("ditch", 1.0, None, "the outline can't be read"),
    "no length": ("ditch", 1.0, shapely.LineString([(5e5, 9.8e6), (5e5, 9.8e6)])),
    "bow tie": ("house", 1.0, shapely.Polygon([(0, 0), (9, 9), (9, 0), (0, 9)])),
    "kind": ("wall", 1.0, LINE),
    "kind missing": (None, 1.0, LINE),
    "kind hostile": ("=1+1\r\n", 1.0, LINE),
    "no width": ("house", None, LINE),
    "width negative": ("ditch", -1.0, LINE),
    "width zero": ("ditch", 0, LINE),
    "width words": ("ditch", "1 m", LINE),
    "width infinite": ("ditch", np.inf, LINE),
    "width wide": ("ditch", 1e9, LINE),
    "width true": ("ditch", True, LINE),
    "infinite": ("ditch", 1.0, shapely.LineString([(0, 0), (np.inf, 1)])),
}


@pytest.mark.parametrize("fault", BROKEN)
def test_what_cannot_be_used_is_set_aside_with_its_reason(fault):
    used, aside = accepted(BROKEN[fault], ("ditch", 0.8, LINE))
    assert used["source_row"].tolist() == [2]
    assert aside["source_row"].tolist() == [1]
    assert aside["reason"][0]
    assert aside["remedy"][0]


def test_far_off_features_are_set_aside():
    swapped = shapely.LineString([(-3.0, 97.0), (-3.1, 97.2)])
    used, aside = accepted(("ditch", 1.0, swapped), crs=CRS.from_epsg(4326))
    assert len(used) == 0
    assert "far" in aside["reason"][0]


def test_the_widest_is_the_handbooks():
    assert len(accepted(("road", 90.0, LINE))[0]) == 1
    narrow = renumbered(TABLE, "width_max_m", 80.0)
    assert len(accepted(("road", 90.0, LINE), book=narrow)[0]) == 0


kinds = st.one_of(st.none(), st.text(max_size=8), st.sampled_from(KINDS), st.integers())
widths = st.one_of(st.none(), st.floats(), st.text(max_size=4), st.booleans(), st.integers())
shapes = st.one_of(
    st.none(), st.sampled_from([LINE, HOUSE, shapely.Point(0, 0), shapely.MultiLineString([])])
)


@settings(max_examples=80, deadline=None)
@given(st.lists(st.tuples(kinds, widths, shapes), min_size=1, max_size=6))
def test_no_feature_is_lost(features):
    used, aside = accepted(*features)
    assert sorted([*used["source_row"], *aside["source_row"]]) == list(range(1, len(features) + 1))
    assert aside["reason"].str.len().gt(0).all()
    assert aside["remedy"].str.len().gt(0).all()


def test_the_readme_lists_every_kind():
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    said = text.partition("The kind is")[2].partition(";")[0]
    assert set(re.findall(r"`([^`]+)`", said)) == set(KINDS)
