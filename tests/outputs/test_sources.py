from __future__ import annotations

import pandas as pd
import pytest

from districtplan.handbook import Handbook, Table, packaged
from districtplan.handbook.checks import PROVENANCES
from districtplan.outputs.sources import listing


def test_every_row_of_every_table_is_listed():
    entries = listing(packaged())
    assert len(entries) == sum(len(table.rows) for table in packaged().tables.values())
    assert [entry.table for entry in entries] == sorted(entry.table for entry in entries)


def test_every_row_says_where_it_comes_from():
    for entry in listing(packaged()):
        assert entry.what
        assert entry.source
        assert entry.provenance in PROVENANCES


@pytest.mark.parametrize(
    ("table", "what", "value", "unit"),
    [
        ("rusle_ls", "steepness_gentle_factor", "10.8", ""),
        ("land_use_limits", "structures_from_slope_pct", "12", "%"),
        ("practice", "hole_spacing_cm", "10", "cm"),
    ],
)
def test_constants_read_as_printed(table, what, value, unit):
    (entry,) = [e for e in listing(packaged()) if (e.table, e.what) == (table, what)]
    assert (entry.value, entry.unit) == (value, unit)


def test_unknown_cells_are_left_out():
    rows = pd.DataFrame(
        {
            "number": [1, 2],
            "upper": [0.5, None],
            "source": ["A 1990", "A 1990"],
            "provenance": ["read", "memory"],
        }
    )
    book = Handbook({"classes": Table("classes", "Classes", {}, rows, "", {})})
    first, second = listing(book)
    assert (first.what, first.value) == ("number 1", "upper 0.5")
    assert (second.what, second.value) == ("number 2", "")
