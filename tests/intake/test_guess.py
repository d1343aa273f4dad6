from __future__ import annotations

import numpy as np
import pytest
from shapely import box

from districtplan import intake

HERE = np.array([box(29.9, -2.5, 29.91, -2.49)], dtype=object)
FAR = np.array([box(300_000, 9_800_000, 300_010, 9_800_010)], dtype=object)
NONE = np.array([None], dtype=object)


def guessed(columns, geometry=HERE, *, crs_known=True):
    arrays = {
        name: np.array([*values, None], dtype=object)[:-1] for name, values in columns.items()
    }
    return {each.key: each for each in intake.guess(arrays, geometry, crs_known=crs_known)}


@pytest.mark.parametrize(
    ("columns", "key", "value", "why"),
    [
        ({"Plot ID": [1, 2]}, "plot_id_column", "Plot ID", "2 values all differ"),
        ({"id": ["a", "a"], "uid": ["x", "y"]}, "plot_id_column", "uid", "it could also be 'id'"),
        ({"plot_id": ["a", "a", None]}, "plot_id_column", "plot_id", "2 stand in several rows"),
        ({"kode": ["a", "b"], "n": [1, 1]}, "plot_id_column", "kode", "doesn't say that it is an"),
        ({"n": ["a", "a"]}, "plot_id_column", None, "no column has a value of its own"),
        ({"size": [0.5, 0.7]}, "plot_id_column", None, "no column has a value of its own"),
        ({}, "plot_id_column", None, "there are no columns"),
        (
            {"id": [1, 2], "VILLAGE_NAME": ["A", "A"]},
            "village_column",
            "VILLAGE_NAME",
            "has 1 different value",
        ),
        ({"id": [1, 2, 3, 4], "place": list("AABB")}, "village_column", "place", "come back"),
        ({"id": [1, 2, 3, 4], "n": [7, 7, 8, 8]}, "village_column", None, "no column groups"),
        ({"id": [1], "a\x07village": ["A"]}, "village_column", None, "no column groups"),
        ({"id": [1], "x" * 201: ["A"]}, "village_column", None, "no column groups"),
        ({"id": [1], "farmer": ["A"]}, "farmer_name_column", None, "no name is read unless"),
    ],
)
def test_each_guess_has_its_reason(columns, key, value, why):
    found = guessed(columns)[key]
    assert found.value == value
    assert why in found.why


@pytest.mark.parametrize(
    ("geometry", "value", "why"),
    [
        (HERE, "EPSG:4326", "may be degrees"),
        (FAR, None, "no degrees"),
        (NONE, None, "no outline could be read"),
    ],
)
def test_the_crs_is_guessed_only_of_degrees(geometry, value, why):
    found = guessed({"id": [1]}, geometry, crs_known=False)["plots_crs"]
    assert (found.value, why in found.why) == (value, True)
    assert "plots_crs" not in guessed({"id": [1]}, geometry)


def test_the_columns_of_farmers_are_never_filled_in():
    keys = guessed({"id": [1, 2], "owner": ["A", "A"], "village": ["V", "V"]})
    assert keys["village_column"].value == "village"
    assert keys["farmer_name_column"].value is None


def test_what_the_format_calls_a_shape_is_its_id_even_where_one_stands_twice():
    values = {
        "name": np.array(["K1", "K2", "K2"], dtype=object),
        "farmer": np.array(["A", "B", "C"], dtype=object),
    }
    found = intake.guess(values, HERE, "name", crs_known=True)[0]
    assert found.value == "name"
    assert found.why.endswith("what a shape is called, but 2 stand in several rows")
    assert intake.guess(values, HERE, crs_known=True)[0].value == "farmer"
    values["plot_id"] = np.array(["1", "2", "3"], dtype=object)
    assert intake.guess(values, HERE, "name", crs_known=True)[0].value == "plot_id"
