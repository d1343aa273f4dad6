from __future__ import annotations

import pandas as pd
import pytest

from districtplan import intake
from districtplan.intake import villages


def suggested(names, listed=None, least=80.0):
    table = intake.suggest(pd.Series(names), listed, least)
    return {
        row.village_as_given: None if pd.isna(row.suggested) else row.suggested
        for row in table.itertuples()
    }


@pytest.mark.parametrize(
    ("given", "listed"),
    [
        ("Ostrabec", "Ostrabek"),
        ("ostrabek", "Ostrabek"),
        ("Östrabek ", "Ostrabek"),
        ("Ostra-bek", "Ostrabek"),
        ("Ostrabekk", "Ostrabek"),
        ("Hill Numbassi", "Numbassi Hill"),
        ("Numbasi Hill", "Numbassi Hill"),
        ("Tilverra No. 2", "Tilverra no 2"),
    ],
)
def test_spellings_are_matched_to_the_list(given, listed):
    names = ["Ostrabek", "Numbassi Hill", "Tilverra no 2", "Kesamuri"]
    assert suggested([given, "Kesamuri"], names) == {given: listed}


@pytest.mark.parametrize("given", ["Tilverra 3", "Tilverra", "Brodnica", "Kesamuri B", ""])
def test_other_names_are_told_as_on_no_list(given):
    assert suggested([given], ["Tilverra 2", "Kesamuri A"]) == {given: None}


def test_without_a_list_the_rarer_is_held_against_the_commoner():
    names = ["Ostrabec"] + 3 * ["Ostrabek"] + ["Kesamuri"] + 2 * ["Hill 1"] + ["Hill 2"]
    assert suggested(names) == {"Ostrabec": "Ostrabek"}
    assert suggested(["Tilverra", "Tilvera"]) == {"Tilvera": "Tilverra"}
    assert suggested(["Tilverra", "Tilvera"], least=95.0) == {}
    assert suggested([]) == {}
    assert suggested(["Kesamuri"], []) == {"Kesamuri": None}


def test_counts_and_likeness_stand_beside_an_empty_decision():
    (row,) = intake.suggest(pd.Series(["Ostrabec", "Ostrabec"]), ["Ostrabek"], 80.0).itertuples()
    assert (row.plots, row.likeness_pct, row.village) == (2, 87.5, "")


def spellings(*rows):
    frame = pd.DataFrame(rows, columns=["village_as_given", "village"], dtype=object)
    return frame.assign(source_row=range(1, len(rows) + 1), reason=None, remedy=None)


def test_only_what_staff_filled_in_is_replaced():
    plots = pd.DataFrame({"village": ["Ostrabec", "Ostrabek", "Kesamuri"]})
    table = spellings(
        ("Ostrabec", "Ostrabek"), ("Kesamuri", ""), ("Nowhere", "Ostrabek"), ("Ostrabek", "A\x07")
    )
    found, given = intake.rename(plots, table)
    assert found["village"].tolist() == ["Ostrabek", "Ostrabek", "Kesamuri"]
    assert found["village_as_given"].tolist() == ["Ostrabec", None, None]
    assert given.rows_read == len(given.used) + len(given.set_aside) == 4
    assert given.set_aside["source_row"].tolist() == [3, 4]
    twice, given = intake.rename(plots, spellings(("Ostrabec", "A"), ("Ostrabec", "B")))
    assert twice["village"].tolist() == plots["village"].tolist()
    assert "several rows" in given.set_aside["reason"][0]


def test_notes_name_the_file_to_edit():
    plots = pd.DataFrame({"village": ["Ostrabec", "Brod"], "village_as_given": [None, "Brodd"]})
    table = intake.suggest(plots["village"], ["Ostrabek"], 80.0)
    said = " ".join(intake.name_doubts(table, plots, listed=True))
    assert "'Ostrabec' may be 'Ostrabek'" in said
    assert "village_names.csv" in said
    assert "1 village name is not in the village list" in said
    assert "1 spelling of villages, on 1 plot, was replaced" in said
    plain = pd.DataFrame({"village": ["Brod"], "village_as_given": [None]})
    none = intake.suggest(plain["village"], None, 80.0)
    assert intake.name_doubts(none, plain, listed=False) == []


def test_as_many_names_as_plots_are_no_villages(monkeypatch):
    monkeypatch.setattr(villages, "COMPARED_MAX", 3)
    plots = pd.DataFrame({"village": list("ABCD"), "village_as_given": [None] * 4})
    table = intake.suggest(plots["village"], None, 80.0)
    assert table.empty
    assert "too many to look for" in intake.name_doubts(table, plots, listed=False)[0]
