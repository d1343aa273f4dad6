"""Current practice and soils: what can be used, what is set aside and why."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from districtplan import erosion
from districtplan.accepted import Given
from districtplan.files.keyed_csv import parse
from districtplan.handbook import packaged
from tests.conftest import plan_of

PLAN = plan_of()
HEAD = "plot_id,rows,row_form,row_grade_pct,structure,condition,spacing_m"


def practice(*rows: str, known=("A", "B"), plan=PLAN) -> Given:
    frame, _ = parse("\n".join([HEAD, *rows]), "now.csv", erosion.PRACTICE)
    return erosion.accept_practice(frame, known, plan, packaged())


def soils(head: str, *rows: str, equation: str | None = None) -> Given:
    frame, _ = parse("\n".join([head, *rows]), "soils.csv", erosion.SOILS)
    plan = plan_of(soil={"erodibility_equation": equation})
    return erosion.accept_soils(frame, ("Hill", "Ford"), plan, packaged())


def why(found: Given) -> str:
    assert found.used.empty
    return str(found.set_aside["reason"].iloc[0])


def test_rows_are_taken_in_their_order():
    found = practice("B,Across,ridges,1.5,grass strips,Good,", "A,up and down,,,bunds,poor,12.5")
    assert found.set_aside.empty
    assert found.used["plot_id"].tolist() == ["B", "A"]
    assert found.used["rows"].tolist() == ["across", "up and down"]
    # Where a row gives no form, the plan's stands.
    assert found.used["row_form"].tolist() == ["ridges", PLAN.practice.row_form]
    assert found.used["spacing_m"].tolist()[1] == 12.5


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("C,across,,,,,", "no plot that is used has this plot_id"),
        ("A,sideways,,,,,", "rows = 'sideways' isn't known"),
        ("A,across,tall,,,,", "row_form = 'tall' isn't known"),
        ("A,across,,inf,,,", "row_grade_pct = 'inf' isn't a number"),
        ("A,across,,-1,,,", "row_grade_pct = '-1' isn't a number"),
        ("A,across,,101,,,", "lies outside 0 to 100"),
        ("A,across,,,moat,good,", "structure = 'moat' isn't known"),
        ("A,across,,,grass strips,,", "condition is missing"),
        ("A,across,,,grass strips,new,", "condition = 'new' isn't known"),
        ("A,across,,,,good,", "a condition and no structure"),
        ("A,,,,,,3", "neither rows nor a structure"),
        ("A,across,,,bunds,good,", "bunds need a spacing_m"),
        ("A,across,,,bunds,good,0", "lies outside 1 to 1000"),
        ("A,across", "it has 2 cells, the first line has 7"),
        ("A,\u0663,,,,,", "isn't known"),
        ('A,"ac\x1bross",,,,,', "isn't a value"),
    ],
)
def test_unusable_rows_say_why(row, reason):
    assert reason in why(practice(row))


def test_run_on_may_stand_alone():
    text = "plot_id,run_on\nA,Stopped by bank\nB,perhaps"
    frame, _ = parse(text, "now.csv", erosion.PRACTICE)
    found = erosion.accept_practice(frame, ("A", "B"), PLAN, packaged())
    assert found.used[["plot_id", "run_on"]].to_numpy().tolist() == [["A", "stopped by bank"]]
    assert found.set_aside["reason"].tolist() == ["run_on = 'perhaps' isn't known"]


def test_broken_bunds_need_no_spacing():
    assert len(practice("A,across,,,bunds,broken,").used) == 1


def test_a_plot_listed_twice_is_not_guessed():
    found = practice("A,across,,,,,", "B,across,,,,,", "A,mixed,,,,,")
    assert found.used["plot_id"].tolist() == ["B"]
    assert found.set_aside["source_row"].tolist() == [1, 3]
    assert "stands in 2 rows: 1, 3" in found.set_aside["reason"].iloc[0]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(st.text(max_size=6), min_size=8, max_size=8), max_size=8))
def test_no_row_is_lost(rows):
    frame = pd.DataFrame(rows, columns=list(erosion.PRACTICE), dtype=object)
    frame.insert(0, "source_row", range(1, len(rows) + 1))
    found = erosion.accept_practice(
        frame.assign(reason=None, remedy=None), ("A", ""), PLAN, packaged()
    )
    assert len(found.used) + len(found.set_aside) == found.rows_read == len(rows)


def test_k_is_converted_once_by_its_unit():
    found = soils("village,k,k_unit", "Hill,0.3,us", "Ford,0.03,SI")
    assert found.used["k"].tolist() == pytest.approx([0.3 * 0.1317, 0.03])
    found = soils("village,k,k_unit", "Hill,0.3,technical")
    assert found.used["k"].iloc[0] == pytest.approx(0.3 * 0.1019)
    assert "k_unit is missing" in why(soils("village,k,k_unit", "Hill,0.3,"))
    assert "K = 0.3 is believable of no soil" in why(soils("village,k,k_unit", "Hill,0.3,si"))


GRAINS = "village,sand_pct,silt_pct,very_fine_sand_pct,clay_pct,organic_carbon_pct"
LAYERS = f"{GRAINS},organic_matter_pct,structure,permeability"


def test_a_soil_may_give_depth_and_drainage_alone_or_beside_k():
    head = "village,k,k_unit,depth_m,drainage"
    found = soils(head, "Hill,,,1.5,Free", "Ford,0.03,si,,poor").used
    assert found["depth_m"].fillna(-1).tolist() == [1.5, -1]
    assert found["drainage"].tolist() == ["free", "poor"]
    assert found["k"].fillna(-1).tolist() == [-1, 0.03]
    assert "depth_m = 11 lies outside 0 to 10" in why(soils(head, "Hill,,,11,"))
    assert "it has no k" in why(soils(head, "Hill,,,,"))


@pytest.mark.parametrize(
    ("row", "left", "reason"),
    [
        ("Hill,0.03,si,11,free", (0.03, -1, "free"), "depth_m = 11 lies outside 0 to 10"),
        ("Hill,,,1,wet", (-1, 1, ""), "drainage = 'wet' isn't known"),
        ("Hill,0.3,,1,free", (-1, 1, "free"), "k_unit is missing"),
        ("Hill,0.3,si,,poor", (-1, -1, "poor"), "K = 0.3 is believable of no soil"),
    ],
)
def test_a_value_that_cannot_be_read_costs_itself_and_is_told(row, left, reason):
    found = soils("village,k,k_unit,depth_m,drainage", row)
    assert found.set_aside.empty
    used = found.used.fillna({"k": -1, "depth_m": -1}).iloc[0]
    assert (used["k"], used["depth_m"], used["drainage"]) == left
    (said,) = erosion.soils_doubts(found.used)
    assert reason in said
    assert said.startswith("Row 1 of the soils (Hill)")


def test_soils_by_equation():
    found = soils(GRAINS, "Hill,40,40,,20,1.2", equation="epic")
    assert found.used["k"].iloc[0] == pytest.approx(0.03696, abs=1e-5)
    found = soils(LAYERS, "Hill,,40,25,30,,2.8,2,4", equation="nomograph")
    assert found.used["k"].iloc[0] == pytest.approx(0.04094, abs=1e-5)
    assert found.used["k_by"].tolist() == ["nomograph"]
    # More organic matter than the nomograph was drawn for is held at 4 %.
    held = [
        soils(LAYERS, f"Hill,,40,25,30,,{om},2,4", equation="nomograph").used["k"].iloc[0]
        for om in (3.9, 4, 9)
    ]
    assert held[0] > held[1] == held[2]


def test_organic_matter_is_turned_into_carbon():
    by_matter = soils(
        "village,sand_pct,silt_pct,clay_pct,organic_matter_pct",
        "Hill,40,40,20,2.064",
        equation="epic",
    )
    by_carbon = soils(GRAINS, "Hill,40,40,,20,1.2", equation="epic")
    assert by_matter.used["k"].iloc[0] == pytest.approx(by_carbon.used["k"].iloc[0])


@pytest.mark.parametrize(
    ("head", "row", "equation", "reason"),
    [
        (GRAINS, "Hill,40,40,,20,1.2", None, "the plan names no equation"),
        (GRAINS, "Hill,40,40,,30,1.2", "epic", "add up to 110 %"),
        (GRAINS, "Hill,,40,,20,1.2", "epic", "sand_pct is missing"),
        (GRAINS, "Hill,40,40,,20,", "epic", "are missing"),
        (LAYERS, "Hill,40,40,,20,1,2,,", "epic", "both organic carbon and organic matter"),
        (LAYERS, "Hill,,60,10,20,,2,2,4", "nomograph", "isn't for 70 %"),
        (LAYERS, "Hill,,50,15,40,,2,2,4", "nomograph", "add up to 105 %"),
        (LAYERS, "Hill,,40,25,30,,2,2.5,4", "nomograph", "structure isn't a class"),
        (LAYERS, "Hill,,40,25,30,,2,5,4", "nomograph", "lies outside 1 to 4"),
        (LAYERS, "Hill,,40,25,30,,2,2,0", "nomograph", "lies outside 1 to 6"),
        (LAYERS, "Hill,,40,25,30,,2,2,", "nomograph", "permeability isn't a class"),
        (LAYERS, "Moor,,40,25,30,,2,2,4", "nomograph", "no plot that is used has this village"),
    ],
)
def test_unusable_soils_say_why(head, row, equation, reason):
    assert reason in why(soils(head, row, equation=equation))
