"""The works of hillsides as a run puts them together: outlets, drains, waterways, days."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS

from districtplan import conservation, erosion
from districtplan.conservation.hillsides import Terrain
from districtplan.handbook import packaged
from tests.conservation.cases import DAYS, plan_with, plots_of, standing_on, with_labour
from tests.conservation.hillsides import Land

ZONE = CRS.from_epsg(32736)
BOOK = with_labour()
OUTLINES = shapely.box(0, [55, 27.5, 0], 60, [80, 52.5, 25])
WATERWAY = shapely.LineString([(-2, 110), (-2, -10)])


class Doubted(Land):
    """The plane of a hillside, known to a third of a percent."""

    class doubt:  # noqa: N801 - stands for a value
        floor = 0.003


class Plain:
    """Local metres that are those of the zone."""

    to = back = staticmethod(lambda xy: xy)


class Surfaces:
    def surface(self, _):
        return Plain(), Doubted()


def features(**kinds):
    return pd.DataFrame(
        {
            "kind": [name.replace("_", " ") for name in kinds],
            "feature": [f"{name} {row}" for row, name in enumerate(kinds, 1)],
            "width_m": 2.0,
            "geometry": list(kinds.values()),
        }
    )


@functools.cache
def proposed(asked=()):
    """Three plots of 20 % one below the other, with a long slope above them."""
    plan = plan_with(**dict(asked))
    above = pd.DataFrame(
        {
            "plot_id": ["P0", "P1", "P2"],
            "slope_length_above_m": [90.0, 0.0, 0.0],
            "slope_length_above_at_least": 0,
        }
    )
    plots = plots_of([20.0] * 3, 25.0, plan, BOOK, above=above)
    plots = plots.assign(elevation_mean_m=[1014, 1008, 1002], downslope_true_deg=180.0)
    sited = conservation.work_sites(
        plots.assign(geometry=OUTLINES), np.array([], dtype=object), packaged()
    )
    plots = plots.merge(sited, on="plot_id")
    known = conservation.Known(standing_on(plots, book=BOOK), erosion.Equations(plan, BOOK))
    return plots, conservation.propose(plots, known, plan, BOOK), known, plan


def works(there, flow=(), book=BOOK, taking_part=None, **asked):
    return laid_out(proposed(tuple(asked.items())), there, flow, book, taking_part)


def laid_out(case, there, flow=(), book=BOOK, taking_part=None):
    plots, proposal, known, plan = case
    terrain = Terrain(OUTLINES, there, np.array(flow, dtype=object), ZONE, ZONE, Surfaces())
    known = conservation.Known(known.standing, known.equations, known.vetoes, taking_part)
    return conservation.lay_out(plots, proposal, terrain, known, plan, book)[1]


def test_a_drain_goes_with_the_hillside_and_ends_at_the_named_outlet():
    found = works(features(waterway=WATERWAY))
    assert found.order["work"].tolist() == ["outlet", "cut_off_drain", "structures", "rows"]
    drain = found.lines[found.lines["structure"] == "cut_off_drain"].iloc[0]
    assert drain["structure_outlet"] == "waterway 1"
    end = shapely.Point(drain["geometry"].coords[-1])
    assert end.distance(WATERWAY) < 1e-6
    assert end.y > 80 - 1
    assert found.outlets["outlet"].tolist() == ["waterway 1"]
    assert found.outlets["geometry"][0].equals(WATERWAY)


@pytest.mark.parametrize("kind", ["path", "house"])
def test_without_a_safe_outlet_nothing_carries_water(kind):
    found = works(features(**{kind: WATERWAY}))
    assert found.order["work"].tolist() == ["find_outlet", "structures", "rows"]
    assert found.lines["structure_outlet"].isna().all()
    assert found.refused["structure_reason"].tolist() == ["no_outlet"]


@pytest.mark.parametrize("kind", ["house", "road", "path", "grave", "latrine", "spring"])
def test_no_water_is_led_over_what_stands_between_the_hillside_and_its_outlet(kind):
    between = shapely.box(-1.5, -20, -0.5, 120)
    found = works(features(waterway=WATERWAY, **{kind: between}))
    assert found.lines["structure_outlet"].isna().all()
    assert found.order["work"].iloc[0] == "find_outlet"


def test_a_forest_may_take_the_water():
    found = works(features(forest=shapely.box(-20, -10, -2, 110)))
    assert found.outlets["outlet"].tolist() == ["forest 1"]


def test_a_neighbours_land_is_no_way_for_water():
    plots, proposal, known, plan = proposed()
    # Another site's plot lies between the hillside and the waterway.
    outlines = np.append(OUTLINES[:2], shapely.box(-2.5, -20, 61, 120).difference(
        shapely.box(-1, 26, 60.5, 81)
    ))  # fmt: skip
    apart = plots.assign(work_site=["A", "A", "B"])
    terrain = Terrain(
        outlines, features(waterway=shapely.LineString([(-2, 81), (-2, 26)])),
        np.array([], dtype=object), ZONE, ZONE, Surfaces(),
    )  # fmt: skip
    found = conservation.lay_out(apart, proposal, terrain, known, plan, BOOK)[1]
    assert found.lines.loc[found.lines["work_site"] == "A", "structure_outlet"].isna().all()


def test_ground_that_slips_bears_no_drain():
    found = works(features(waterway=WATERWAY, slipping_ground=shapely.box(70, 0, 90, 50)))
    assert "cut_off_drain" not in set(found.lines["structure"])
    assert "slipping_ground" in set(found.refused["structure_reason"])


def test_days_are_owed_by_line_and_common_work_by_area():
    found = works(features(waterway=WATERWAY))
    order = found.order.set_index("work")
    drain = order.loc["cut_off_drain"]
    days = drain["work_length_m"] / 100 * DAYS["cut_off_drain"]
    assert drain["work_person_days"] == pytest.approx(days)
    assert found.days["days_owed"].sum() == pytest.approx(order["work_person_days"].sum())
    unknown = with_labour({name: days for name, days in DAYS.items() if name != "cut_off_drain"})
    told = works(features(waterway=WATERWAY), book=unknown)
    assert told.days["days_owed"].isna().all()


def test_a_line_is_safe_only_if_all_that_it_needs_take_part():
    found = works(features(waterway=WATERWAY), taking_part=frozenset({"P0"}))
    level = found.lines[found.lines["structure_outlet"].isna()]
    # A level line needs nobody, on plots that take part and on others.
    assert set(level["structure_safe"]) == {1}
    assert {"P0" in on for on in level["structure_plots"]} == {True, False}
    together = found.lines[found.lines["structure_outlet"].notna()]
    assert all(
        safe == int({"P0"}.issuperset(needs))
        for safe, needs in zip(together["structure_safe"], together["structure_needs"], strict=True)
    )
    assert works(features(waterway=WATERWAY)).lines["structure_safe"].isna().all()


def test_common_days_are_owed_by_those_who_take_part_alone():
    plots, proposal, known, plan = proposed()
    there = features(waterway=WATERWAY)
    every = laid_out((plots, proposal, known, plan), there)
    drain = every.order.loc[every.order["work"] == "cut_off_drain", "work_person_days"].sum()
    assert drain > 0
    own = every.days["days_owed"] - drain / 3
    closed = dataclasses.replace(known, closed=frozenset({"P1"}))
    # The drain is dug for the top plot, so that is one of them.
    part = frozenset({"P0", "P1"})
    terrain = Terrain(OUTLINES, there, np.array([], dtype=object), ZONE, ZONE, Surfaces())
    only = conservation.lay_out(plots, proposal, terrain, closed, plan, BOOK)[1]
    owed = (only.days["days_owed"] - own).tolist()
    assert owed == pytest.approx([drain / 2, 0, drain / 2])
    away = dataclasses.replace(closed, taking_part=part)
    alone = conservation.lay_out(plots, proposal, terrain, away, plan, BOOK)[1]
    assert (alone.days["days_owed"] - own).tolist() == pytest.approx([drain, 0, 0])


def test_only_the_first_sites_are_drawn_and_the_others_counted():
    found = works(features(waterway=WATERWAY), sites_drawn_max=0)
    assert (found.sites, found.sites_drawn, len(found.lines), len(found.order)) == (1, 0, 0, 0)


DOWN = shapely.LineString([(15, 100), (15, -20)])
STREAM = shapely.LineString([(-20, -8), (90, -8)])


def crossed(slope_pct, there, flow=(DOWN,), vetoed=()):
    """The works of a hillside whose two lower plots gathered water crosses."""
    plan = plan_with()
    plots = plots_of([slope_pct] * 3, 25.0, plan, BOOK)
    plots = plots.assign(
        elevation_mean_m=[1014, 1008, 1002],
        downslope_true_deg=180.0,
        flow_line_length_m=[0.0, 25.0, 25.0],
    )
    sited = conservation.work_sites(
        plots.assign(geometry=OUTLINES), np.array([], dtype=object), packaged()
    )
    plots = plots.merge(sited, on="plot_id")
    vetoes = pd.DataFrame({"plot_id": vetoed, "measure": "grassed_waterway"})
    plots["outlet_flags"] = [(), (conservation.GATHERED,), (conservation.GATHERED,)]
    known = conservation.Known(standing_on(plots, book=BOOK), erosion.Equations(plan, BOOK), vetoes)
    proposal = conservation.propose(plots, known, plan, BOOK)
    return laid_out((plots, proposal, known, plan), there, flow)


def steps(found):
    """The steps of one hillside; structures of several measures are one."""
    return list(dict.fromkeys(found.order["work"]))


def test_a_waterway_takes_gathered_water_before_rows():
    found = crossed(19.0, features(stream=STREAM))
    assert steps(found) == ["outlet", "waterway", "structures", "rows"]


@pytest.mark.parametrize(
    "given", [{"slope_pct": 24.0}, {"slope_pct": 19.0, "vetoed": ["P1"]}], ids=["steep", "vetoed"]
)
def test_where_no_waterway_will_do_rows_wait_for_a_technician(given):
    found = crossed(there=features(stream=STREAM), **given)
    assert steps(found) == ["find_outlet", "structures", "rows"]
    # Rows on which gathered water crosses wait.
    assert found.order["work_plots"].iloc[-1] == ("P0",)
    assert found.refused["structure"].tolist() == ["grassed_waterway"]


def test_what_staff_drew_takes_the_water_that_runs_in_it_on_any_slope():
    found = crossed(24.0, features(waterway=DOWN))
    assert steps(found) == ["outlet", "structures", "rows"]
    assert found.order["work_outlet"].iloc[0] == "waterway 1"


@pytest.mark.parametrize("kind", ["bank", "terrace", "grass_strip"])
def test_no_line_crosses_what_stands_there(kind):
    standing = shapely.LineString([(30, -20), (30, 120)])
    found = works(features(waterway=WATERWAY, **{kind: standing}))
    assert len(found.lines)
    assert not shapely.crosses(found.lines["geometry"].to_numpy(dtype=object), standing).any()


def with_soil(**soil):
    """What is drawn where every plot is to have a retention bund, by what its soil is."""
    plots, proposal, known, plan = proposed()
    chosen = proposal.priorities.chosen.assign(measure="retention_bund")
    priorities = dataclasses.replace(proposal.priorities, chosen=chosen)
    bunds = dataclasses.replace(proposal, priorities=priorities)
    there = features(waterway=WATERWAY)
    nothing = np.array([], dtype=object)
    terrain = Terrain(OUTLINES, there, nothing, ZONE, ZONE, Surfaces())
    return conservation.lay_out(plots.assign(**soil), bunds, terrain, known, plan, BOOK)[1]


@pytest.mark.parametrize(
    ("soil", "reason"),
    [
        ({"soil_drainage": "poor"}, "soil_not_deep_and_free"),
        ({"soil_depth_m": 0.4}, "soil_not_deep_and_free"),
        # One plot of the hillside slips: nothing is held back or led on any of them.
        ({"slipping_ground": [0, 0, 1]}, "slipping_ground"),
    ],
)
def test_water_is_held_back_only_on_deep_soil_that_drains_and_does_not_slip(soil, reason):
    assert "retention_bund" in set(with_soil().lines["structure"])
    found = with_soil(**soil)
    assert "retention_bund" not in set(found.lines["structure"])
    why = found.refused.set_index("structure")["structure_reason"]
    assert why["retention_bund"] == reason
    leads = found.lines["structure_outlet"].notna()
    assert leads.any() == (reason != "slipping_ground")


DITCHES = with_labour({"hillside_ditch": 1.0, "cut_off_drain": 12.0, "grassed_waterway": 15.0})


def ditched(vetoed=(), **given):
    """The works of a hillside where every plot that may have them is to have ditches."""
    plan = plan_with(budget=1e6, choose_by="work site", reserved_share=0.0)
    known_of = {name: given.pop(name) for name in ("closed", "taking_part") if name in given}
    slope = given.pop("slope_pct", [20.0] * 3)
    there = features(waterway=given.pop("outlet", WATERWAY))
    plots = plots_of(slope, given.pop("length_m", 25.0), plan, DITCHES, **given)
    plots = plots.assign(elevation_mean_m=[1014, 1008, 1002], downslope_true_deg=180.0)
    sited = conservation.work_sites(
        plots.assign(geometry=OUTLINES), np.array([], dtype=object), packaged()
    )
    plots = plots.merge(sited, on="plot_id")
    known = conservation.Known(
        standing_on(plots, book=DITCHES),
        erosion.Equations(plan, DITCHES),
        pd.DataFrame(vetoed, columns=["plot_id", "measure"]),
        **known_of,
    )
    proposal = conservation.propose(plots, known, plan, DITCHES)
    terrain = Terrain(OUTLINES, there, np.array([], dtype=object), ZONE, ZONE, Surfaces())
    return conservation.lay_out(plots, proposal, terrain, known, plan, DITCHES)[1]


@pytest.mark.parametrize(
    "given",
    [
        {"vetoed": [("P1", "all")]},
        pytest.param({"vetoed": [("P1", "hillside_ditch")]}, marks=pytest.mark.slow),
        pytest.param({"soil_depth_m": [2.0, 0.1, 2.0]}, marks=pytest.mark.slow),
        {"slope_pct": [20.0, 70.0, 20.0]},
        {"closed": frozenset({"P1"})},
    ],
    ids=["vetoed", "vetoed by name", "shallow", "steep", "closed"],
)
def test_no_ditch_crosses_a_plot_that_may_bear_none(given):
    usual = ditched().lines["geometry"].to_numpy(dtype=object)
    assert shapely.length(shapely.intersection(usual, OUTLINES[1])).sum() > 50
    lines = ditched(**given).lines
    assert len(lines)
    shapes = lines["geometry"].to_numpy(dtype=object)
    assert shapely.length(shapely.intersection(shapes, OUTLINES[1])).sum() == 0
    assert not any("P1" in own for own in lines["structure_plots"])


@pytest.mark.parametrize(
    "given",
    [{"vetoed": [("P1", "hillside_ditch")]}, {"closed": frozenset({"P1"})}],
    ids=["vetoed", "closed"],
)
def test_below_a_plot_that_bears_no_ditch_a_technician_takes_its_water(given):
    """There is an outlet: none is to be found. The lowest plot is given none that isn't drawn."""
    found = ditched(**given)
    assert found.refused.to_dict("records") == [
        {
            "work_site": "Hill-S01",
            "structure": "hillside_ditch",
            "structure_reason": "plots_between",
        }
    ]
    order = found.order.set_index("work")
    assert order.index[0] == "lay_out_below"
    assert order.loc["lay_out_below", "work_plots"] == ("P2",)
    assert order.loc["lay_out_below", "work_season"] == "the season before"
    assert order.loc["structures", "work_plots"] == ("P0",)
    # One plot's metres are paid, once.
    usual = ditched().order.set_index("work").loc["structures", "work_person_days"]
    assert order["work_person_days"].sum() == pytest.approx(usual / 3)


def test_where_the_outlet_ends_above_one_is_found_whatever_lies_between():
    short = shapely.LineString([(-2, 110), (-2, 62)])
    found = ditched(vetoed=[("P1", "hillside_ditch")], outlet=short)
    assert found.order["work"].tolist() == ["find_outlet", "outlet", "structures", "rows"]
    # No plot pays for ditches that it isn't given.
    assert found.order["work_person_days"].sum() == pytest.approx(3.6)


def test_where_no_ditch_can_be_laid_out_labour_is_not_said_to_be_missing():
    found = ditched(outlet=WATERWAY.interpolate(20).buffer(2))
    assert (found.sites, found.charged) == (0, {})


def test_a_ditch_crosses_a_plot_that_could_bear_one_and_needs_none():
    """A plot as short as the ditches are apart saves nothing by them, and is no bar to others."""
    found = ditched(length_m=[25.0, 4.0, 25.0])
    assert not len(found.refused)
    on = {plot for plots in found.lines["structure_plots"] for plot in plots}
    assert on == {"P0", "P1", "P2"}
    # It isn't chosen there, so nothing is paid for it.
    usual = ditched().order.set_index("work").loc["structures", "work_priced_length_m"]
    order = found.order.set_index("work")
    assert order.loc["structures", "work_priced_length_m"] == pytest.approx(usual * 2 / 3)


def test_plots_that_do_not_take_part_host_ditches_by_agreement():
    found = ditched(taking_part=frozenset({"P0", "P2"}))
    assert any("P1" in own for own in found.lines["structure_needs"])
    water = found.order[found.order["work"] != "rows"]
    assert water["work_plots"].tolist() == [("P0", "P2")] * len(water)
    assert water["work_agreed_by"].tolist() == [("Hill", "P1")] * len(water)
    # They owe none of the work; the others do it all.
    owed = found.days.set_index("plot_id")["days_owed"]
    assert owed["P1"] == 0
    assert owed.sum() == pytest.approx(found.order["work_person_days"].sum())


def test_what_crosses_only_plots_that_do_not_take_part_is_done_by_the_others():
    order = ditched(taking_part=frozenset({"P0"})).order
    assert order["work_plots"].tolist() == [("P0",)] * len(order)


def test_a_closed_plot_neither_works_nor_agrees_nor_owes():
    found = ditched(closed=frozenset({"P1"}))
    assert not any("P1" in own for own in found.order["work_plots"])
    assert not any("P1" in own for own in found.order["work_agreed_by"])
    assert found.days.set_index("plot_id")["days_owed"]["P1"] == 0


def with_drain(**known_of):
    """The works of the hillside with a long slope above, by who is in it."""
    plots, proposal, known, plan = proposed()
    there = features(waterway=WATERWAY)
    terrain = Terrain(OUTLINES, there, np.array([], dtype=object), ZONE, ZONE, Surfaces())
    known = dataclasses.replace(known, **known_of)
    return conservation.lay_out(plots, proposal, terrain, known, plan, BOOK)[1]


@pytest.mark.parametrize(
    "given", [{"closed": frozenset({"P0"})}, {"taking_part": frozenset({"P1", "P2"})}]
)
def test_no_drain_is_drawn_or_charged_for_a_top_plot_where_nothing_is_done(given):
    usual = with_drain()
    assert "cut_off_drain" in set(usual.lines["structure"])
    assert usual.charged
    found = with_drain(**given)
    assert "cut_off_drain" not in set(found.lines["structure"])
    assert not found.charged
    assert "cut_off_drain" not in set(found.order["work"])


@pytest.mark.parametrize(
    ("given", "left"),
    [
        ({}, ("P0", "P1", "P2")),
        ({"closed": frozenset({"P1"})}, ("P0", "P2")),
        ({"taking_part": frozenset({"P1"})}, ("P1",)),
        ({"erosion_flags": [("perennials_only",), (), ("forest_only",)]}, ("P1",)),
        ({"outlet_flags": [(), (), ("no_safe_outlet",)]}, ("P0", "P1")),
        ({"taking_part": frozenset()}, ()),
    ],
    ids=["all", "closed", "away", "not for beans", "no outlet", "nobody"],
)
def test_rows_are_laid_only_where_there_may_be_any(given, left):
    plots, proposal, known, plan = proposed()
    columns = {name: given[name] for name in given if name in plots}
    beside = {name: given[name] for name in given if name not in plots}
    there = features(waterway=WATERWAY)
    terrain = Terrain(OUTLINES, there, np.array([], dtype=object), ZONE, ZONE, Surfaces())
    known = dataclasses.replace(known, **beside)
    found = conservation.lay_out(plots.assign(**columns), proposal, terrain, known, plan, BOOK)[1]
    rows = found.order.loc[found.order["work"] == "rows", "work_plots"].tolist()
    assert rows == ([left] if left else [])
    assert found.order["work_step"].tolist() == list(range(1, len(found.order) + 1))


def test_lines_that_lead_water_fall_by_their_grade():
    lines = works(features(waterway=WATERWAY)).lines
    drains = lines[lines["structure"] == "cut_off_drain"]
    grade_pct = BOOK.number("measure_numbers", "cut_off_drain grade_pct")
    fall_pct = 100 * drains["structure_fall_m"] / drains["structure_length_m"]
    assert fall_pct.to_numpy() == pytest.approx(grade_pct, rel=0.01)
