"""Vetoes from the field: rows used and set aside, and what the next run makes of them."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest

from districtplan.conservation import VETOES, accept_vetoes, measure_names, structure_names
from districtplan.conservation.vetoes import respect
from districtplan.files import keyed_csv
from districtplan.handbook import packaged
from districtplan.outputs.measure_words import labels
from districtplan.outputs.texts import Texts
from tests.conservation.cases import MEASURES, options_of, plan_with, plots_of

LABELS = labels(packaged(), Texts.load("en"))

GOOD = "P0,grass_strips,goats graze here,2026-02-27"


def accepted(*lines: str):
    frame, _ = keyed_csv.parse("\n".join([",".join(VETOES), *lines]), "vetoes.csv", VETOES)
    return accept_vetoes(frame, ["P0", "P1"], measure_names(packaged(), LABELS))


def test_rows_are_used_or_set_aside():
    found = accepted(
        GOOD,
        "P1,ALL,the owner is away,2026-02-28",
        "P9,all,gone,2026-02-27",
        "P0,moats,why not,2026-02-27",
        "P0,,why not,2026-02-27",
        "P0,all,,2026-02-27",
        "P0,all,rock,27.2.2026",
        "P0,all",
    )
    assert found.used.to_dict("records")[0] == {
        "plot_id": "P0",
        "measure": "grass_strips",
        "why": "goats graze here",
        "date": "2026-02-27",
    }
    assert found.used["measure"].tolist() == ["grass_strips", "all"]
    assert found.set_aside["source_row"].tolist() == [3, 4, 5, 6, 7, 8]
    assert found.rows_read == 8 == len(found.used) + len(found.set_aside)
    told = found.set_aside["reason"].tolist()
    for reason, word in zip(
        told, ("plot", "moats", "no measure", "reason", "day", "cells"), strict=True
    ):
        assert word in reason


@pytest.mark.parametrize("measure", MEASURES)
def test_a_measure_may_be_written_as_it_is_printed(measure):
    for written in (measure, measure.upper(), measure.replace("_", " "), LABELS[measure]):
        assert accepted(f"P0,{written},rock,2026-02-27").used["measure"].tolist() == [measure]


def test_what_stands_may_be_written_as_the_measure_that_it_was():
    names = structure_names(packaged(), LABELS)
    assert names["grass strips or live barriers"] == names["grass_strips"] == "grass strips"
    assert names["hillside_ditch"] == names["hillside ditches"] == "hillside ditches"
    assert names["retention bunds"] == "bunds"
    # Benches have three forms, each with a P of its own: which one has to be said.
    assert "bench_terraces" not in names
    assert set(names.values()) <= set(packaged().rows("structures_now")["name"])


def test_the_readme_lists_both_ways_to_write_a_measure():
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\w+)` \| ([^|`]+) \| ([^|]+) \|$", text, re.MULTILINE)
    listed = {name: printed for name, printed, _ in rows if name in MEASURES}
    assert listed == LABELS
    stands = structure_names(packaged(), LABELS)
    for name, _, stand in rows:
        if name in stands:
            assert stand == f"`{stands[name]}`"


@pytest.mark.parametrize("hostile", ["=cmd()\u202e", "a\u200bb"])
def test_signs_that_hide_are_refused(hostile):
    assert len(accepted(f"P0,all,{hostile},2026-02-27").set_aside) == 1


def test_no_file_is_no_veto():
    found = accepted()
    assert found.used.empty
    assert found.set_aside.empty


def test_what_is_vetoed_is_refused_and_pairs_stay_whole():
    plots = plots_of([14.0, 14.0, 14.0])
    found = options_of(plots, plan_with())
    used = accepted(GOOD, "P1,all,slips,2026-02-27").used
    after = respect(found, used)
    pairs = [
        pd.concat(part[["plot_id", "measure"]].astype(str) for part in parts).sort_values(
            ["plot_id", "measure"]
        )
        for parts in (found, after)
    ]
    assert pairs[0].to_numpy().tolist() == pairs[1].to_numpy().tolist()
    assert set(after.offered["plot_id"]) == {"P0", "P2"}
    assert "grass_strips" not in set(after.offered.loc[after.offered["plot_id"] == "P0", "measure"])
    vetoed = after.refused[after.refused["measure_reason"] == "vetoed"]
    before = found.offered["plot_id"].eq("P1").sum()
    assert vetoed["plot_id"].value_counts().to_dict() == {"P1": before, "P0": 1}
    # What couldn't be there anyway keeps its own reason.
    steep = after.refused[after.refused["plot_id"] == "P1"].set_index("measure")["measure_reason"]
    assert steep["trash_lines"] == "too_steep"
