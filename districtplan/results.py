"""What one run found, ready to be written: the only thing outputs are handed."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.accepted import Given
    from districtplan.conservation import Proposal, Works
    from districtplan.demos import Allotment
    from districtplan.handbook import Handbook
    from districtplan.inputs import MarkedString, Purchase
    from districtplan.plan import Plan
    from districtplan.rows import Clear, Guides, Pegs
    from districtplan.terrain import Calibration, Estimate, Forecast
    from districtplan.visits import VisitPlan


@dataclass(frozen=True)
class Relief:
    """A hillshade of the district and its heights, on an EPSG:3857 grid.

    Attributes
    ----------
    shade : numpy.ndarray
        Brightness, shape (rows, columns), uint8; 0 where there is no elevation.
    heights_m : numpy.ndarray
        Heights of the same cells, float32; NaN where there is none [m].
    west : float
        Outer edge of the grid as a longitude [degrees].
    south : float
        Outer edge of the grid as a latitude [degrees].
    east : float
        Outer edge of the grid as a longitude [degrees].
    north : float
        Outer edge of the grid as a latitude [degrees].
    """

    shade: NDArray[np.uint8]
    heights_m: NDArray[np.float32]
    west: float
    south: float
    east: float
    north: float


@dataclass(frozen=True)
class GroundReadings:
    """What was measured on the ground.

    Attributes
    ----------
    compared : pandas.DataFrame
        One row a reading used, beside what the raster says of its plot.
    set_aside : pandas.DataFrame
        ``source_row, plot_id, reason, remedy`` of readings not used.
    rows_read : int
        Rows of the readings file.
    calibration : Calibration
        What the readings say of the raster.
    """

    compared: pd.DataFrame
    set_aside: pd.DataFrame
    rows_read: int
    calibration: Calibration


@dataclass(frozen=True)
class Features:
    """What takes land.

    Attributes
    ----------
    used : pandas.DataFrame
        ``source_row``, ``kind``, ``width_m`` (of lines) and ``geometry`` in the UTM zone.
    set_aside : pandas.DataFrame
        ``source_row, kind, reason, remedy`` of features not used.
    rows_read : int
        Rows of the features file.
    """

    used: pd.DataFrame
    set_aside: pd.DataFrame
    rows_read: int


@dataclass(frozen=True)
class RowLines:
    """Rows as lines.

    Attributes
    ----------
    lines : pandas.DataFrame
        ``plot_id, crop, row, length_m`` and ``geometry`` in the UTM zone.
    every : int
        One row in so many is drawn.
    planted : numpy.ndarray
        The land that they lie on, in the UTM zone, one polygon for each plot of the run.
    clear : Clear
        What they keep clear of, in the UTM zone; its first features are those of the run, in their
        order, the others belts of rivers and forest.
    """

    lines: pd.DataFrame
    every: int
    planted: NDArray[np.object_]
    clear: Clear


@dataclass(frozen=True)
class Results:
    """One run.

    Attributes
    ----------
    plan : Plan
        What was asked for.
    handbook : Handbook
        The published tables in force.
    plots : pandas.DataFrame
        One row a plot used, in the order of the file: the columns of intake, terrain, water, rows,
        erosion and inputs; ``geometry`` in ``plots_crs``.
    plots_crs : pyproj.CRS
        CRS of the outlines, that of the plots file.
    grid_crs : pyproj.CRS
        UTM zone that grid bearings refer to.
    estimate : Estimate | None
        The raster's error as reference land shows it, if the plan names any.
    guides : Guides
        Guide lines.
    pegs : Pegs
        Control pegs of guide lines, and of a row of each plot that gets a sheet of paper.
    proposal : Proposal
        Measures against soil loss: what each plot may bear, and what to do first.
    works : Works
        Their lines on each hillside, outlets, and the order of work.
    string : MarkedString
        The recipe for the string that carries the practice.
    readings : GroundReadings
        What was measured on the ground; without rows where the plan names no readings.
    features : Features
        What takes land; without rows where the plan names no features.
    row_lines : RowLines
        The rows of plots with a bearing.
    flow_lines : pandas.DataFrame
        ``upslope_area_ha`` at the low end, ``upslope_area_at_least`` and ``geometry``, lines down
        the flow in the UTM zone, near plots.
    purchase : Purchase
        What is bought and for whom; an upper limit where the plan names no file of who takes part.
    villages : pandas.DataFrame
        Totals, one row a village, sorted by name.
    district : pandas.Series
        The same totals over the district.
    set_aside : pandas.DataFrame
        ``source_row, plot_id, reason, remedy, village`` of rows not used.
    rows_read : int
        Rows of the plots file.
    relief : Relief
        Hillshade for the map's ground.
    forecasts : tuple[Forecast, ...]
        What finer rasters would serve.
    input_sha256 : Mapping[str, str]
        Digest of each input, by the name that the plan gives it.
    seconds : Mapping[str, float]
        Time of each step.
    warnings : tuple[str, ...]
        What the user should know, in sentences.
    beside : Mapping[str, Given]
        Rows used and set aside of ``current_practice``, ``soils``, ``vetoes`` and ``enrolment``,
        where the plan names them.
    village_names : pandas.DataFrame
        Spellings of villages that look like others, with suggestions: ``village_as_given``,
        ``plots``, ``suggested``, ``likeness_pct`` and ``village``, empty.
    catchments : pandas.DataFrame
        ``catchment``, the columns of catchments and ``geometry`` in the UTM zone, of those that
        plots are in; without rows where the plan asks for none.
    demos : Allotment | None
        Demonstration plots, or which conditions conflict; None where the plan asks for none.
    visits : VisitPlan | None
        Who visits which plot on which day; None where the plan names no agents.
    """

    plan: Plan
    handbook: Handbook
    plots: pd.DataFrame
    plots_crs: CRS
    grid_crs: CRS
    estimate: Estimate | None
    guides: Guides
    pegs: Pegs
    proposal: Proposal
    works: Works
    string: MarkedString
    readings: GroundReadings
    features: Features
    row_lines: RowLines
    flow_lines: pd.DataFrame
    purchase: Purchase
    villages: pd.DataFrame
    district: pd.Series
    set_aside: pd.DataFrame
    rows_read: int
    relief: Relief
    forecasts: tuple[Forecast, ...]
    input_sha256: Mapping[str, str]
    seconds: Mapping[str, float]
    warnings: tuple[str, ...]
    beside: Mapping[str, Given] = field(default_factory=dict)
    village_names: pd.DataFrame = field(default_factory=pd.DataFrame)
    catchments: pd.DataFrame = field(default_factory=pd.DataFrame)
    demos: Allotment | None = None
    visits: VisitPlan | None = None


def join(plots: pd.DataFrame, *found: pd.DataFrame) -> pd.DataFrame:
    """Join what the stages found to the plots.

    Parameters
    ----------
    plots : pandas.DataFrame
        The plots, one row each.
    *found : pandas.DataFrame
        Tables keyed by ``plot_id``, one row for each plot.

    Returns
    -------
    pandas.DataFrame
        All their columns, in the order of ``plots``.
    """
    joined = plots.reset_index(drop=True)
    for table in found:
        joined = joined.merge(table, on="plot_id", how="left", validate="one_to_one")
    return joined
