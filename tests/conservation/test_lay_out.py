"""Choice and works together: the budget pays for what hillsides need, each work once."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import affinity

from districtplan import conservation, erosion
from districtplan.conservation.hillsides import Terrain
from tests.conservation.cases import DAYS, plan_with, plots_of, standing_on, with_labour
from tests.conservation.test_works import (
    BOOK,
    DOWN,
    OUTLINES,
    STREAM,
    WATERWAY,
    ZONE,
    Surfaces,
    features,
)

ALONE = shapely.transform(OUTLINES, lambda xy: xy + np.array([1_000.0, 0.0]))
"""A second hillside of three plots, far from the first."""


def laid_out(there, flow=(DOWN,), book=BOOK, above=None, **asked):
    """Two hillsides of three plots; water gathers on the first alone."""
    plan = plan_with(reserved_share=0.0, **asked)
    plots = plots_of([14.0] * 3 + [13.0] * 3, 25.0, plan, book, above=above)
    plots = plots.assign(
        elevation_mean_m=[1014, 1008, 1002] * 2,
        downslope_true_deg=180.0,
        flow_line_length_m=[0.0, 25.0, 25.0, 0.0, 0.0, 0.0],
    )
    outlines = np.concatenate([OUTLINES, ALONE])
    none = np.array([], dtype=object)
    sited = conservation.work_sites(plots.assign(geometry=outlines), none, book)
    plots = plots.merge(sited, on="plot_id")
    known = conservation.Known(standing_on(plots, book=book), erosion.Equations(plan, book))
    proposal = conservation.propose(plots, known, plan, book)
    flow = np.array(flow, dtype=object)
    terrain = Terrain(outlines, there, flow, ZONE, ZONE, Surfaces())
    found, works = conservation.lay_out(plots, proposal, terrain, known, plan, book)
    return proposal.priorities, found.priorities, works, plots


def spent_on(works):
    return works.order["work_person_days"].sum()


@pytest.mark.parametrize("choose_by", ["plot", "work site"])
@pytest.mark.parametrize("budget", [20.0, 40.0, 60.0, 75.0, 90.0, 1e6])
def test_measures_and_the_works_of_their_hillsides_keep_within_the_budget(choose_by, budget):
    first, found, works, _ = laid_out(features(stream=STREAM), budget=budget, choose_by=choose_by)
    assert spent_on(works) <= budget * (1 + 1e-6)
    assert found.spent == pytest.approx(spent_on(works))
    assert found.saved_t_yr <= first.saved_t_yr * (1 + 1e-9)
    assert found.bound_t_yr >= found.saved_t_yr * (1 - 1e-9)


def test_a_shared_work_is_charged_once():
    _, found, works, _ = laid_out(features(stream=STREAM), budget=1e6, choose_by="work site")
    own = found.chosen["budget_used"].sum()
    (waterway,) = works.order.loc[works.order["work"] == "waterway", "work_person_days"]
    assert waterway > 0
    assert found.spent == pytest.approx(own + waterway)


@pytest.mark.slow
def test_the_choice_of_hillsides_is_the_best_that_the_budget_pays_with_their_works():
    """Every choice of sites and measures, tried one by one, each with its own works."""
    book = with_labour({"grass_strips": 6.0, "stone_lines": 20.0, "grassed_waterway": 25.0})
    _, whole, works, plots = laid_out(
        features(stream=STREAM), book=book, budget=1e6, choose_by="work site"
    )
    site = plots.set_index("plot_id")["work_site"]
    shared = works.charged
    assert len(shared) == 1
    plan = plan_with(budget=1e6, reserved_share=0.0, choose_by="work site")
    known = conservation.Known(standing_on(plots, book=book), erosion.Equations(plan, book))
    offered = conservation.propose(plots, known, plan, book).options.offered
    offered = offered[offered["person_days"].notna() & (offered["loss_left_likely_share"] < 1)]
    offered = offered[offered["land_taken_pct"] <= plan.conservation.land_taken_max_pct]
    sums = offered.assign(site=offered["plot_id"].map(site)).groupby(
        ["site", "measure"], observed=True
    )[["person_days", "soil_saved_counted_t_yr"]]
    ways = {name: [(0.0, 0.0)] for name in site.unique()}
    for (name, _), row in sums.sum().iterrows():
        ways[name].append((row["person_days"] + shared.get(name, 0.0), row.iloc[1]))
    for budget in (30.0, 60.0, 100.0):
        best = max(
            sum(gain for _, gain in picked)
            for picked in itertools.product(*ways.values())
            if sum(days for days, _ in picked) <= budget
        )
        _, found, _, _ = laid_out(
            features(stream=STREAM), book=book, budget=budget, choose_by="work site"
        )
        assert found.saved_t_yr == pytest.approx(best)
        assert found.gap == pytest.approx(0, abs=1e-9)
    assert whole.saved_t_yr > 0


def with_drain(book, **asked):
    """As ``laid_out``, with a long slope above the first hillside."""
    above = pd.DataFrame(
        {
            "plot_id": ["P0", "P3"],
            "slope_length_above_m": [120.0, 0.0],
            "slope_length_above_at_least": 0,
        }
    )
    there = features(stream=STREAM, waterway=WATERWAY)
    return laid_out(there, book=book, above=above, choose_by="work site", **asked)


def test_works_without_labour_are_named_and_leave_what_is_known_of_their_site():
    some = {"grass_strips": 6.0, "grassed_waterway": 25.0}
    _, whole, dug, _ = with_drain(with_labour(some | {"cut_off_drain": 15.0}), budget=1e6)
    assert {"grassed_waterway", "cut_off_drain"} <= set(dug.order["work_structure"])
    assert dug.uncosted == frozenset()
    assert "cut_off_drain" not in whole.not_costed
    days = dug.order.set_index("work")["work_person_days"]
    _, found, works, _ = with_drain(with_labour(some), budget=1e6)
    ((site, cost),) = works.charged.items()
    assert cost > 0
    assert cost == pytest.approx(days["waterway"])
    assert works.uncosted == {(site, "cut_off_drain")}
    assert "cut_off_drain" in found.not_costed
    assert "grassed_waterway" not in found.not_costed
    assert found.spent == pytest.approx(found.chosen["budget_used"].sum() + cost)
    _, none, works, _ = with_drain(with_labour({"grass_strips": 6.0}), budget=60.0)
    assert works.charged == {}
    assert {"grassed_waterway", "cut_off_drain"} <= set(none.not_costed)


def test_ditches_are_not_chosen_where_they_have_no_outlet():
    """They alone have labour; a hillside without an outlet bears none, the other does."""
    book = with_labour({"hillside_ditch": 18.0, "cut_off_drain": 15.0})
    there = features(waterway=affinity.translate(WATERWAY, 1_000.0))
    first, found, works, _ = laid_out(there, flow=(), book=book, budget=1e6, choose_by="work site")
    assert set(first.chosen["plot_id"]) == {f"P{place}" for place in range(6)}
    assert set(found.chosen["plot_id"]) == {"P3", "P4", "P5"}
    assert works.undrawn == frozenset()
    steps = {site: own["work"].tolist() for site, own in works.by_site.items()}
    assert list(steps.values()) == [["outlet", "structures", "rows"], ["find_outlet", "rows"]]
    # The hillside that was given up is told, after the others, and takes nothing of the budget.
    (waiting,) = works.waiting
    assert list(steps)[1] == waiting
    find = works.by_site[waiting].iloc[0]
    assert set(find["work_plots"]) == {"P0", "P1", "P2"}
    assert find["work_waits"] == ("gathered_water", "hillside_ditch")
    assert works.refused.query("work_site == @waiting")["structure_reason"].eq("no_outlet").all()
    assert waiting not in works.charged
    assert works.sites_drawn == 1


def test_a_hillside_that_gets_another_measure_does_not_wait_for_its_ditch():
    book = with_labour({"hillside_ditch": 18.0, "grass_strips": 6.0})
    _, found, works, _ = laid_out(features(), flow=(), book=book, budget=1e6, choose_by="work site")
    assert set(found.chosen["measure"]) == {"grass_strips"}
    assert works.waiting == frozenset()


def test_cover_that_stays_has_its_step_and_its_days():
    book = with_labour({"permanent_cover": 60.0})
    plan = plan_with(budget=1e6)
    plots = plots_of([55.0, 55.0, 14.0], 25.0, plan, book).assign(
        elevation_mean_m=[1014, 1008, 1002], downslope_true_deg=180.0
    )
    none = np.array([], dtype=object)
    sited = conservation.work_sites(plots.assign(geometry=OUTLINES), none, book)
    plots = plots.merge(sited, on="plot_id")
    known = conservation.Known(standing_on(plots, book=book), erosion.Equations(plan, book))
    proposal = conservation.propose(plots, known, plan, book)
    terrain = Terrain(OUTLINES, features(stream=STREAM), none, ZONE, ZONE, Surfaces())
    _, works = conservation.lay_out(plots, proposal, terrain, known, plan, book)
    assert works.order["work"].tolist() == ["cover", "rows"]
    assert works.order["work_plots"].tolist() == [("P0", "P1"), ("P2",)]
    assert works.order["work_person_days"][0] == pytest.approx(2 * 0.3 * 60)


def test_metres_that_days_are_counted_for_stand_beside_those_drawn():
    book = with_labour({name: DAYS[name] for name in ("grass_strips", "grassed_waterway")})
    _, found, works, _ = laid_out(features(stream=STREAM), book=book, budget=1e6)
    order = works.order.set_index("work")
    lines = works.order[works.order["work"] == "structures"]
    drawn = works.lines.groupby("structure")["structure_length_m"].sum()
    assert lines["work_length_m"].sum() == pytest.approx(drawn.sum())
    assert set(found.chosen["measure"]) == set(lines["work_structure"]) == {"grass_strips"}
    assert (lines["work_priced_length_m"] != lines["work_length_m"]).all()
    days = lines["work_priced_length_m"] / 100 * lines["work_structure"].map(DAYS)
    assert lines["work_person_days"].tolist() == pytest.approx(days.tolist())
    # What goes with a hillside is paid as it is drawn.
    waterway = order.loc["waterway"]
    assert waterway["work_priced_length_m"] == pytest.approx(waterway["work_length_m"])
