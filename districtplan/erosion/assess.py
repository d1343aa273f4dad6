"""Soil loss, classes and flags of each plot.

Flags are codes; the sentences are the outputs' work. What each means, and the values that its
sentence needs (column names of :mod:`districtplan.tables`, keys of the plan, handbook tables):

``slope_beyond_equations``
    Too steep for the equations, no tonnes: slope_mean_pct, erosion.equations_slope_max_pct.
``forest_only``
    From erosion.forest_from_slope_pct: slope_mean_pct, the limit.
``perennials_only``
    From erosion.perennials_from_slope_pct, below the former limit: slope_mean_pct, the limit.
``rows_alone_not_enough``
    From erosion.structures_from_slope_pct, also on all steeper land: slope_mean_pct, the limit.
``loss_class_high``
    Soil loss with rows on the contour is in a class that the table ``erosion_classes`` flags:
    soil_loss_contour_likely_t_ha_yr, erosion_class.
``steeper_than_contour_limit``
    Steeper than the last class of the table ``contour_p``, so rows on the contour get no credit:
    slope_used_pct.
``longer_than_contour_limit``
    Longer than rows on the contour hold at this slope, so they get no credit:
    slope_length_total_m,
    the limit (:func:`districtplan.erosion.practice_factor.contour_p` of slope_used_pct).
``contour_no_credit_flat_rows``
    Rows on the contour would get credit if they were ridged or earthed up: practice.row_form.
``contour_no_credit_vetoed``
    They would get it, but staff ruled out ridges in the field: no values.
``slope_length_capped``
    Soil loss is that of a shorter slope: slope_length_total_m, erosion.slope_length_cap_m.
``practice_not_known``
    The file of current practice doesn't say how rows run now: no values.
``no_slope_length``
    The fall has no clear direction, so slope length and tonnes are left out: no values.
``no_soil_values``
    R, K or C isn't given, so there are no tonnes: the keys of the plan's section soil.
``soil_raster_ends``
    A raster that is named has no value there, nor is there a number: no values.
``rain_erosivity_filled``, ``erodibility_filled``
    The raster has none, and the plan's number stands in: no values.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import compress
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from districtplan import tables
from districtplan.erosion import classes, cover, erosivity, ls, spread
from districtplan.erosion.now import Now, of_plots, rows_p
from districtplan.erosion.practice_factor import NO_CREDIT, contour_p_by_author

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from numpy.typing import NDArray

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

FLAGS = (
    "slope_beyond_equations",
    "forest_only",
    "perennials_only",
    "rows_alone_not_enough",
    "loss_class_high",
    "steeper_than_contour_limit",
    "longer_than_contour_limit",
    "contour_no_credit_flat_rows",
    "contour_no_credit_vetoed",
    "slope_length_capped",
    "practice_not_known",
    "no_slope_length",
    "no_soil_values",
    "soil_raster_ends",
    "rain_erosivity_filled",
    "erodibility_filled",
)


@dataclass(frozen=True)
class Beside:
    """What is known beside the plan and the terrain; None where it isn't.

    Attributes
    ----------
    above : pandas.DataFrame | None
        ``plot_id``, ``slope_length_above_m`` (null where not known) and
        ``slope_length_above_at_least`` (1 where it may be longer).
    practice : pandas.DataFrame | None
        Current practice: rows used of :func:`districtplan.erosion.given.accept_practice`.
    soils : pandas.DataFrame | None
        K of villages: rows used of :func:`districtplan.erosion.given.accept_soils`.
    length_by_area : numpy.ndarray | None
        Mean factor L of each plot by the area that drains into its cells
        (:class:`districtplan.erosion.ls.LengthByArea`), in the order of the plots.
    rain_erosivity : numpy.ndarray | None
        R of each plot from a raster, NaN where it has none, in their order [MJ mm/(ha h yr)].
    erodibility : numpy.ndarray | None
        K of each plot from a raster alike [t ha h/(ha MJ mm)].
    no_ridges : Collection[str]
        Ids of plots on which staff ruled out rows with ridges.
    """

    above: pd.DataFrame | None = None
    practice: pd.DataFrame | None = None
    soils: pd.DataFrame | None = None
    length_by_area: Floats | None = None
    rain_erosivity: Floats | None = None
    erodibility: Floats | None = None
    no_ridges: Collection[str] = frozenset()


NOTHING = Beside()


@dataclass(frozen=True)
class _Ground:
    slope_pct: Floats
    """For classes and land-use limits: as measured, else the raster's mean, which errs upward."""
    used_pct: Floats
    """For the equations: as measured, else the raster's less the bias of its error."""
    se_pct: Floats
    """Standard error of that slope."""
    length_m: Floats
    above_m: Floats
    """Slope length above the plot, 0 where it isn't known."""
    open: Bools
    """Whether the slope above may be longer."""
    beyond: Bools
    """Too steep for the equations."""
    unmeasured: Bools
    """Without a slope length."""
    flat: Bools
    """Rows are flat by the plan, or because staff ruled out ridges."""

    @property
    def total_m(self) -> Floats:
        return self.above_m + self.length_m

    @property
    def without(self) -> Bools:
        """Plots without tonnes for their slope or its length."""
        return self.beyond | self.unmeasured


@dataclass(frozen=True)
class _Contour:
    p: Floats
    earned: Floats
    """What ridged rows would get."""
    steep: Bools
    """Steeper than the last class."""
    long: Bools
    """Longer than its class allows."""
    unearned: Bools
    """Credit that flat rows forgo."""


@dataclass(frozen=True)
class _Factors:
    rain: erosivity.Erosivity
    r: Floats
    k: Floats
    k_error: Floats
    k_own: Bools
    """Where K is the village's, so that its error moves one village against another."""
    c: cover.Cover
    filled: Mapping[str, Bools]
    """Where a number stands in a gap of a raster, by code of the flag."""


@dataclass(frozen=True)
class _Asked:
    plan: Plan
    handbook: Handbook

    @property
    def cap_m(self) -> float:
        return self.plan.erosion.slope_length_cap_m

    @property
    def flat(self) -> bool:
        return self.plan.practice.row_form == "flat"


def assess(
    plots: pd.DataFrame,
    terrain: pd.DataFrame,
    plan: Plan,
    handbook: Handbook,
    beside: Beside = NOTHING,
) -> pd.DataFrame:
    """Assess soil erosion of each plot.

    Soil loss is ``A = R K LS C P`` [1]_ on the corrected mean slope, and on the piece of slope
    that the plot is: from the slope length above it to its lower edge, cut at the plan's cap.
    Where the slope above isn't known it counts as none, and LS says that it is a lower limit.
    Slope class, land-use limits and the limit of the equations go by the mean slope of the raster
    as it is, which errs towards more caution. A slope measured on the ground takes the place of
    both.

    Parameters
    ----------
    plots : pandas.DataFrame
        Plots; ``plot_id`` is used, and ``village`` where there are soils of villages.
    terrain : pandas.DataFrame
        ``plot_id``, ``slope_mean_pct``, ``slope_se_pct``, ``slope_measured_pct``,
        ``slope_used_pct`` and ``slope_length_m`` of the same plots; the measured slope is null
        where there is none, the length where the fall has no clear direction.
    plan : Plan
        What is wanted: soil values, limits, form of the rows.
    handbook : Handbook
        The published tables.
    beside : Beside, default NOTHING
        What is known beside these.

    Returns
    -------
    pandas.DataFrame
        ``plot_id`` and the columns made by erosion, in the order of ``plots``.

    Raises
    ------
    ValueError
        If the terrain of a plot is missing.

    References
    ----------
    .. [1] Renard, K.G., Foster, G.R., Weesies, G.A., McCool, D.K., Yoder, D.C. (1997). Predicting
       soil erosion by water (RUSLE). USDA Agriculture Handbook 703.
    """
    asked = _Asked(plan, handbook)
    ground = _ground(plots, terrain, beside, asked)
    factors = _factors(plots, beside, asked)
    contour = _contour(ground, factors.c.author, asked)
    now = of_plots(plots["plot_id"], beside.practice, handbook)
    found = pd.DataFrame({"plot_id": plots["plot_id"].to_numpy()})
    slopes = handbook.rows("slope_classes").sort_values("lower_pct")
    place = classes.place(ground.slope_pct, slopes["lower_pct"])
    found["slope_class_number"] = slopes["number"].to_numpy(dtype=np.int64)[place]
    found["slope_class"] = slopes["name"].to_numpy()[place]
    _add_slope_factors(found, ground, beside, asked)
    found["r"], found["k"], found["c"] = factors.r, factors.k, _given(factors.c.c)
    found["p_contour"] = np.where(ground.without, np.nan, contour.p)
    # A product with an unknown factor is NaN, so losses are empty beyond the equations, without
    # a slope length, and without R, K and C.
    bare = found["r"] * found["k"] * found["ls"] * found["c"]
    found["soil_loss_up_down_likely_t_ha_yr"] = bare * NO_CREDIT
    found["soil_loss_contour_likely_t_ha_yr"] = bare * found["p_contour"]
    _add_now(found, ground, now, factors, asked)
    _add_spread(found, ground, factors, asked)
    _add_loss_class(found, ground, handbook)
    raised = _limits(ground, plan) | {
        "loss_class_high": _flagged(found, handbook),
        "steeper_than_contour_limit": contour.steep,
        "longer_than_contour_limit": contour.long,
        "contour_no_credit_flat_rows": contour.unearned & asked.flat,
        "contour_no_credit_vetoed": contour.unearned & (not asked.flat),
        "practice_not_known": ~now.known & (beside.practice is not None),
        "no_soil_values": found[["r", "k", "c"]].isna().any(axis="columns").to_numpy(),
        "soil_raster_ends": _ends(found, beside),
        **factors.filled,
    }
    found["erosion_flags"] = _codes(raised)
    return tables.check(found, ("plot_id", *tables.made_by("erosion")))


def _ground(plots: pd.DataFrame, terrain: pd.DataFrame, beside: Beside, asked: _Asked) -> _Ground:
    known = terrain.set_index("plot_id")[["slope_mean_pct", "slope_used_pct"]]
    missing = known.reindex(plots["plot_id"]).isna().any(axis="columns")
    if missing.any():
        raise ValueError(f"no slope of the plots {missing.index[missing].tolist()}")
    joined = terrain.set_index("plot_id").loc[plots["plot_id"]]
    measured = joined["slope_measured_pct"].to_numpy(dtype=np.float64)
    raw = joined["slope_mean_pct"].to_numpy(dtype=np.float64)
    slope_pct = np.where(np.isnan(measured), raw, measured)
    length_m = joined["slope_length_m"].to_numpy(dtype=np.float64)
    above_m, at_least = _above(plots, beside)
    return _Ground(
        slope_pct=slope_pct,
        used_pct=joined["slope_used_pct"].to_numpy(dtype=np.float64),
        se_pct=np.where(
            np.isnan(measured),
            joined["slope_se_pct"].to_numpy(dtype=np.float64),
            _reading_se(measured, asked),
        ),
        length_m=length_m,
        above_m=above_m,
        open=at_least & ~(above_m + length_m >= asked.cap_m),
        beyond=slope_pct > asked.plan.erosion.equations_slope_max_pct,
        unmeasured=np.isnan(length_m),
        flat=plots["plot_id"].isin(beside.no_ridges).to_numpy(dtype=np.bool_) | asked.flat,
    )


def _above(plots: pd.DataFrame, beside: Beside) -> tuple[Floats, Bools]:
    if beside.above is None:
        return np.zeros(len(plots)), np.ones(len(plots), dtype=np.bool_)
    joined = beside.above.set_index("plot_id").reindex(plots["plot_id"])
    above = joined["slope_length_above_m"].to_numpy(dtype=np.float64)
    longer = joined["slope_length_above_at_least"].to_numpy(dtype=np.float64)
    # A plot that water says nothing of is NaN in both: not 0, so it may be longer.
    return np.where(np.isnan(above), 0.0, above), np.isnan(above) | (longer != 0)


def _reading_se(measured_pct: Floats, asked: _Asked) -> Floats:
    level = measured_pct <= asked.plan.terrain.level_slope_pct
    se = {name: asked.handbook.number("ground_readings", name) for name in _READ}
    return np.where(level, se["level_slope_se_pct"], se["slope_se_pct"])


_READ = ("level_slope_se_pct", "slope_se_pct")


def _factors(plots: pd.DataFrame, beside: Beside, asked: _Asked) -> _Factors:
    soil, handbook = asked.plan.soil, asked.handbook
    spreads = handbook.numbers("loss_spread")
    rain = erosivity.of_plan(soil, handbook)
    r, r_filled = _mapped(beside.rain_erosivity, _given(rain.r), len(plots))
    number = _given(soil.erodibility_t_ha_h_ha_mj_mm)
    k, k_filled = _mapped(beside.erodibility, number, len(plots))
    error = np.full(len(plots), spread.of_factor(spreads["erodibility_given_factor"]))
    own = np.zeros(len(plots), dtype=np.bool_)
    if beside.soils is not None:
        rows = beside.soils.set_index("village").reindex(plots["village"])
        own = rows["k"].notna().to_numpy(dtype=np.bool_)
        k = np.where(own, rows["k"].to_numpy(dtype=np.float64), k)
        worked_out = own & ~rows["k_by"].eq("given").to_numpy(dtype=np.bool_)
        by_equation = spread.of_factor(spreads["erodibility_equation_factor"])
        error = np.where(worked_out, by_equation, error)
    filled = {"rain_erosivity_filled": r_filled, "erodibility_filled": k_filled & ~own}
    return _Factors(rain, r, k, error, own, cover.of_plan(soil, handbook), filled)


def _mapped(mapped: Floats | None, number: float, plots: int) -> tuple[Floats, Bools]:
    """Take a factor from a raster, and in its gaps the plan's number; tell where that is."""
    given = np.full(plots, number)
    if mapped is None:
        return given, np.zeros(plots, dtype=np.bool_)
    gaps = np.isnan(mapped)
    return np.where(gaps, given, mapped), gaps & ~np.isnan(given)


def _ends(found: pd.DataFrame, beside: Beside) -> Bools:
    """Tell plots of which a raster that is named has no value, nor has any other way."""
    ends = np.zeros(len(found), dtype=np.bool_)
    for name, mapped in (("r", beside.rain_erosivity), ("k", beside.erodibility)):
        if mapped is not None:
            ends |= found[name].isna().to_numpy()
    return ends


def _contour(ground: _Ground, author: str | None, asked: _Asked) -> _Contour:
    p, length_max_m = contour_p_by_author(author, ground.used_pct, asked.handbook)
    last_pct = float(asked.handbook.rows("contour_p")["slope_high_pct"].max())
    # NaN where there is no class: not longer than any limit.
    long = ground.total_m > length_max_m
    earned = np.where(long, NO_CREDIT, p)
    return _Contour(
        np.where(ground.flat, NO_CREDIT, earned),
        earned,
        ground.used_pct > last_pct,
        long,
        (earned < NO_CREDIT) & ~ground.beyond & ground.flat,
    )


def _ls(ground: _Ground, slope_pct: Floats, asked: _Asked) -> Floats:
    """Give LS of the piece of slope that the plot is, at a slope; the cap is its lower edge."""
    below_m = np.minimum(ground.total_m, asked.cap_m)
    # Beyond the cap the piece keeps its length: no longer slope loses more than it.
    above_m = np.maximum(below_m - ground.length_m, 0)
    return ls.ls_between(slope_pct, above_m, below_m, ls.constants(asked.handbook))


def _add_slope_factors(found: pd.DataFrame, ground: _Ground, beside: Beside, asked: _Asked) -> None:
    constants = ls.constants(asked.handbook)
    alone = ls.ls_factor(ground.used_pct, np.minimum(ground.length_m, asked.cap_m), constants)
    by_area = np.full(len(found), np.nan)
    if beside.length_by_area is not None:
        by_area = beside.length_by_area * ls.steepness(ground.used_pct, constants)
    # On level ground any length has the same factor, an unknown one too: left out all the same.
    for name, value in (
        ("ls", _ls(ground, ground.used_pct, asked)),
        ("ls_plot_only", alone),
        ("ls_upslope_area", by_area),
    ):
        found[name] = np.where(ground.without, np.nan, value)
    found["ls_at_least"] = ground.open.astype(np.int64)
    found["slope_length_total_m"] = ground.total_m


def _add_now(
    found: pd.DataFrame, ground: _Ground, now: Now, factors: _Factors, asked: _Asked
) -> None:
    p, ls_now, with_contour = _practice_now(ground, now, factors, asked)
    found["p_now"] = np.where(ground.without, np.nan, p)
    found["ls_now"] = np.where(ground.without, np.nan, ls_now)
    found["practice_now"] = pd.Series(now.words, dtype="object")
    found["practice_now_known"] = now.known.astype(np.int64)
    bare = found["r"] * found["k"] * found["c"]
    found["soil_loss_now_likely_t_ha_yr"] = bare * found["ls_now"] * found["p_now"]
    kept = bare * found["ls_now"] * with_contour
    found["soil_saved_contour_likely_t_ha_yr"] = found["soil_loss_now_likely_t_ha_yr"] - kept
    limit = np.full(len(found), asked.plan.erosion.equations_slope_max_pct)
    at_limit = replace(ground, used_pct=limit)
    p, ls_now, _ = _practice_now(at_limit, now, factors, asked)
    found["soil_loss_floor_t_ha_yr"] = np.where(ground.beyond, bare * ls_now * p, np.nan)


def _practice_now(
    ground: _Ground, now: Now, factors: _Factors, asked: _Asked
) -> tuple[Floats, Floats, Floats]:
    """Give P and LS of what is there, and P with rows on the contour among the same structures."""
    whole = _ls(ground, ground.used_pct, asked)
    between_m = np.fmin(np.minimum(ground.length_m, asked.cap_m), now.spacing_m)
    constants = ls.constants(asked.handbook)
    between = ls.ls_factor(ground.used_pct, between_m, constants)
    broken = now.shortened == 0
    ls_now = np.where(broken, whole, whole - now.shortened * (whole - np.minimum(between, whole)))
    # Rows between sound structures run no further downslope than to the next one.
    sound = now.shortened == 1
    reached = replace(
        ground,
        above_m=np.where(sound, 0.0, ground.above_m),
        length_m=np.where(sound, between_m, ground.length_m),
    )
    contour = _contour(reached, factors.c.author, asked)
    rows = rows_p(now, contour.earned, ground.used_pct, asked.handbook)
    return rows * now.structure_p, ls_now, np.minimum(rows, contour.p) * now.structure_p


def _add_spread(found: pd.DataFrame, ground: _Ground, factors: _Factors, asked: _Asked) -> None:
    handbook = asked.handbook
    own, shared = _errors(ground, factors, asked)
    error = np.hypot(own, shared)
    for practice in ("now", "contour"):
        likely = found[f"soil_loss_{practice}_likely_t_ha_yr"].to_numpy(dtype=np.float64)
        low, high = spread.interval(likely, error, handbook)
        found[f"soil_loss_{practice}_low_t_ha_yr"] = low
        found[f"soil_loss_{practice}_high_t_ha_yr"] = high
    likely = found["soil_loss_now_likely_t_ha_yr"].to_numpy(dtype=np.float64)
    share = handbook.number("loss_spread", "worst_share")
    found["chance_worst_tenth"] = spread.chance_among_worst(likely, own, share)
    # Beyond the equations by slope; then by loss; those without tonnes last, by slope.
    steep = np.where(ground.beyond | np.isnan(likely), ground.slope_pct, 0.0)
    order = np.lexsort((-steep, -np.nan_to_num(likely, nan=-1.0), ~ground.beyond))
    rank = np.empty(len(found), dtype=np.int64)
    rank[order] = np.arange(1, len(found) + 1)
    found["erosion_rank"] = rank


def _errors(ground: _Ground, factors: _Factors, asked: _Asked) -> tuple[Floats, Floats]:
    """Give standard errors of ln A: the plots' own, and those that all plots share."""
    steeper = _ls(ground, ground.used_pct + ground.se_pct, asked)
    gentler = _ls(ground, np.maximum(ground.used_pct - ground.se_pct, 0), asked)
    slope = np.log(steeper / gentler) / 2
    k = factors.k_error
    own = np.hypot(slope, np.where(factors.k_own, k, 0.0))
    district = np.hypot(
        spread.of_factor(factors.rain.spread_factor), spread.of_factor(factors.c.spread_factor)
    )
    equations = spread.of_equations(ground.used_pct, asked.handbook)
    shared = np.hypot(np.hypot(district, equations), np.where(factors.k_own, 0.0, k))
    return own, shared


def _given(value: float | None) -> float:
    return np.nan if value is None else value


def _add_loss_class(found: pd.DataFrame, ground: _Ground, handbook: Handbook) -> None:
    rows = handbook.rows("erosion_classes")
    with_tonnes = rows.dropna(subset="lower_t_ha_yr").sort_values("lower_t_ha_yr")
    beyond = rows[rows["lower_t_ha_yr"].isna()].iloc[0]
    loss = found["soil_loss_contour_likely_t_ha_yr"].to_numpy(dtype=np.float64)
    place = classes.place(loss, with_tonnes["lower_t_ha_yr"])
    number = with_tonnes["number"].to_numpy(dtype=np.int64)[place]
    number = np.where(ground.beyond, int(beyond["number"]), number)
    unknown = np.isnan(loss) & ~ground.beyond
    found["erosion_class_number"] = pd.array(number, dtype="Int64")
    found.loc[unknown, "erosion_class_number"] = pd.NA
    name = np.where(ground.beyond, beyond["name"], with_tonnes["name"].to_numpy()[place])
    found["erosion_class"] = pd.Series(name, dtype="object").mask(unknown)


def _flagged(found: pd.DataFrame, handbook: Handbook) -> Bools:
    rows = handbook.rows("erosion_classes")
    numbers = rows.loc[rows["flagged"] != 0, "number"]
    return found["erosion_class_number"].isin(numbers).to_numpy(dtype=np.bool_)


def _limits(ground: _Ground, plan: Plan) -> dict[str, Bools]:
    slope, limits = ground.slope_pct, plan.erosion
    forest = slope >= limits.forest_from_slope_pct
    return {
        "slope_beyond_equations": ground.beyond,
        "forest_only": forest,
        "perennials_only": (slope >= limits.perennials_from_slope_pct) & ~forest,
        "rows_alone_not_enough": slope >= limits.structures_from_slope_pct,
        "no_slope_length": ground.unmeasured & ~ground.beyond,
        "slope_length_capped": ~ground.beyond & (ground.total_m > limits.slope_length_cap_m),
    }


def _codes(raised: dict[str, Bools]) -> list[tuple[str, ...]]:
    marks = np.column_stack([raised[code] for code in FLAGS])
    return [tuple(compress(FLAGS, row)) for row in marks.tolist()]
