"""The plan: what is wanted, one checked section a stage.

Every key has a default, or is required, or is left out where absent (``None``), which its
description says. Published defaults come from the handbook. Reading the file is
:mod:`districtplan.files.plan_file`'s work.
"""

from __future__ import annotations

import math
import re
from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated, Any, Literal, cast

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    WithJsonSchema,
    model_validator,
)

from districtplan import intervals, tile_address
from districtplan.errors import Fault, InputError
from districtplan.handbook import packaged
from districtplan.handbook import practice as practices
from districtplan.signs import hidden

if TYPE_CHECKING:
    from districtplan.handbook import Handbook

ERRORS = "elevation_errors"
"""The handbook's table of errors by source."""


def _sources() -> list[str]:
    return [str(name) for name in packaged().rows(ERRORS)["name"]]


def _known_source(name: str) -> str:
    if name not in _sources():
        known = ", ".join(f'"{source}"' for source in _sources())
        raise ValueError(f"isn't one of {known}")
    return name


def _names(table: str, column: str) -> list[str]:
    return list(dict.fromkeys(str(name) for name in packaged().rows(table)[column]))


def _one_of(name: str, names: list[str]) -> str:
    if name not in names:
        raise ValueError("isn't one of " + ", ".join(f'"{known}"' for known in names))
    return name


def _known_equation(name: str) -> str:
    return _one_of(name, _names("erosivity_equations", "equation"))


def _rules() -> list[str]:
    return list(intervals.names(packaged()))


def _known_rule(name: str) -> str:
    return _one_of(name, _rules())


def _known_practice(name: str) -> str:
    return _one_of(name, list(practices.names()))


def _known_cover(name: str) -> str:
    return _one_of(name, _names("cover_factors", "name"))


def _stages() -> list[str]:
    return _names("visit_stages", "name")


def _known_stage(name: str) -> str:
    return _one_of(name, _stages())


def _clock_time(text: str) -> str:
    if not re.fullmatch("([01][0-9]|2[0-3]):[0-5][0-9]", text):
        raise ValueError("isn't a time of the day such as 07:30")
    return text


Text = Annotated[str, Field(min_length=1, max_length=200)]
Share = Annotated[float, Field(gt=0, le=1)]
Source = Annotated[
    str, AfterValidator(_known_source), WithJsonSchema({"enum": _sources(), "type": "string"})
]
RainEquation = Annotated[
    str,
    AfterValidator(_known_equation),
    WithJsonSchema({"enum": _names("erosivity_equations", "equation"), "type": "string"}),
]
CoverName = Annotated[
    str,
    AfterValidator(_known_cover),
    WithJsonSchema({"enum": _names("cover_factors", "name"), "type": "string"}),
]
SpacingRule = Annotated[
    str, AfterValidator(_known_rule), WithJsonSchema({"enum": _rules(), "type": "string"})
]
PracticeName = Annotated[
    str,
    AfterValidator(_known_practice),
    WithJsonSchema({"enum": list(practices.names()), "type": "string"}),
]
Stage = Annotated[
    str, AfterValidator(_known_stage), WithJsonSchema({"enum": _stages(), "type": "string"})
]
ClockTime = Annotated[str, AfterValidator(_clock_time)]
MonthMm = Annotated[float, Field(ge=0, le=5_000)]
RateKgHa = Annotated[float, Field(gt=0, le=50_000)]
DaysHa = Annotated[float, Field(gt=0, le=2_000)]
Price = Annotated[float, Field(ge=0, le=1e9)]
Yield = Annotated[float, Field(ge=0, le=100_000)]
Need = Annotated[float, Field(gt=0, le=1_000)]
StockKg = Annotated[float, Field(ge=0, le=1e8)]
PackKg = Annotated[float, Field(ge=0.001, le=1_000)]
Limit = Annotated[float, Field(gt=0, le=300)]
RAIN_EROSIVITY_MAX, ERODIBILITY_MAX = 50_000, 0.2
"""Largest R [MJ mm / (ha h yr)] and K [t ha h / (ha MJ mm)] that are taken."""
UnitSystem = Literal["si", "us", "technical"]
CORRELATION_MIN_M = 0.001
ROWS_APART_MIN_CM = 10
TILES_ZOOM_MAX = 22
"""Nearest that the map goes."""
FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2199, 12, 31)
Day = Annotated[
    date,
    Field(ge=FIRST_DAY, le=LAST_DAY),
    WithJsonSchema(
        {
            "type": "string",
            "format": "date",
            "minimum": FIRST_DAY.isoformat(),
            "maximum": LAST_DAY.isoformat(),
        }
    ),
]


def _published(table: str, name: str, **limits: Any) -> Any:  # noqa: ANN401 - as Field is typed
    """Declare a key whose default is a published number, which a user's table may replace."""
    return Field(
        default_factory=lambda: packaged().number(table, name),
        json_schema_extra={"published": [table, name]},
        **limits,
    )


def _of_practice(name: str, **limits: Any) -> Any:  # noqa: ANN401 - as Field is typed
    """Declare a key whose default is a number that a practice may have."""
    return Field(
        default_factory=lambda: packaged().tables[practices.TABLE].constants.get(name),
        json_schema_extra={"published": [practices.TABLE, name]},
        **limits,
    )


def _named(value: str) -> str:
    if not value.strip():
        raise ValueError("is blank")
    if hidden(value):
        raise ValueError("has a control character or an invisible one")
    return value


def _correlated(value: float) -> float:
    # Squares of a smaller distance vanish beside those of a cell.
    if 0 < value < CORRELATION_MIN_M:
        raise ValueError(f"is neither 0 nor at least {CORRELATION_MIN_M:g}")
    return value


def _listed(value: object) -> object:
    return [value] if isinstance(value, str) else value


class Section(BaseModel):
    """A section of the plan: unknown keys are refused, values don't change once checked."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=False)


class Version(Section):
    """The plan file's own version."""

    version: Literal[1] = Field(1, description="Version of the plan file's format.")


class District(Section):
    """The district and its season."""

    name: Annotated[Text, AfterValidator(_named)] = Field(
        description="Name of the district, as printed. Required."
    )
    planting_date: date = Field(
        ge=FIRST_DAY,
        le=LAST_DAY,
        # Dates have no limits in a JSON schema, where the key's words are taken from.
        json_schema_extra={"minimum": FIRST_DAY.isoformat(), "maximum": LAST_DAY.isoformat()},
        description="Usual planting date; magnetic bearings are for this day. Required.",
    )


class Files(Section):
    """The files to read; relative paths start at the plan file's folder."""

    plots: Text = Field(description="File of plot polygons. Required.")
    plots_layer: Text | None = Field(
        None, description="Layer of that file; needed only where it has several."
    )
    plots_crs: Text | None = Field(
        None, description="CRS of the plots, such as EPSG:32736, where the file states none."
    )
    plot_id_column: Text = Field("plot_id", description="Column with the plot's id.")
    village_column: Text = Field("village", description="Column with the village's name.")
    farmer_name_column: Text | None = Field(
        None, description="Column with farmers' names; left out: no name is read or written."
    )
    soil_depth_column: Text | None = Field(
        None,
        description="Column of the plots with the depth of soil [m], which stands before that of "
        "files.soils. Left out: none is read.",
    )
    soil_drainage_column: Text | None = Field(
        None,
        description="Column of the plots with the drainage of the soil, free or poor, alike. Left "
        "out: none is read.",
    )
    elevation: Annotated[list[Text], BeforeValidator(_listed)] = Field(
        min_length=1,
        max_length=1000,
        description="One elevation raster or several tiles of one. Required.",
    )
    elevation_crs: Text | None = Field(
        None, description="CRS of the elevation raster, where the file states none."
    )
    readings: Text | None = Field(
        None, description="CSV file of slopes and bearings measured on the ground."
    )
    features: Text | None = Field(
        None,
        description="File of lines and polygons that take land: strips, ditches, banks, terraces, "
        "waterways, streams, paths, roads, houses; each with a kind, lines with a width_m.",
    )
    current_practice: Text | None = Field(
        None,
        description="CSV file of what is there already: rows, structures and their condition, one "
        "row a plot.",
    )
    soils: Text | None = Field(
        None, description="CSV file of soils, one row a village; stands in place of the plan's K."
    )
    vetoes: Text | None = Field(
        None,
        description="CSV file of measures that can't be on a plot, as found in the field: plot_id, "
        "measure (or all), why, date.",
    )
    enrolment: Text | None = Field(
        None,
        description="CSV file of who takes part, one row a plot; without it what is bought is an "
        "upper limit, not an order.",
    )
    onsets: Text | None = Field(
        None,
        description="CSV file of when the rains begin, one row a village: village, zone, "
        "onset_rule, onset_early, onset_usual, onset_late; villages without a row go by season.",
    )
    stock: Text | None = Field(
        None,
        description="CSV file of what buying points have in store, one row each: buying_point, "
        "seed_kg, npk_kg, urea_kg.",
    )
    arrived: Text | None = Field(
        None,
        description="CSV file of what has come, one row a village: village, seed_kg, npk_kg, "
        "urea_kg; a short delivery is shared by what was planned.",
    )
    villages: Text | None = Field(
        None,
        description="CSV file that lists the district's villages, column village; other spellings "
        "among the plots are told, never changed.",
    )
    village_names: Text | None = Field(
        None,
        description="CSV file of spellings and what they stand for, village_as_given and village: "
        "a run's village_names.csv, filled in.",
    )
    handbook: Text | None = Field(
        None, description="Folder of tables that replace or add to the published ones."
    )


class Elevation(Section):
    """How good the elevation raster is."""

    source: Source | None = Field(
        None,
        description="Where the heights are from; gives the error's usual size where the plan "
        "states none.",
    )
    vertical_error_m: float = Field(
        math.nan,
        ge=0,
        le=100,
        description="Random, relative vertical error, one standard deviation [m]; 0 takes the "
        "raster as true. Left out: from reference_land, else by source.",
    )
    error_correlation_m: Annotated[float, AfterValidator(_correlated)] = Field(
        math.nan,
        ge=0,
        le=10_000,
        description="Distance over which errors are alike [m]; 0, or at least a millimetre. Left "
        "out: from reference_land, else by source.",
    )
    reference_land: Text | None = Field(
        None,
        description="Polygons of flat or evenly sloping land, such as playing fields, on which "
        "the error is estimated from the raster itself.",
    )
    surface: Literal["ground", "tree tops and roofs"] | None = Field(
        None,
        description="What the heights are of; left out: by source, else not known.",
    )
    vertical_unit: Literal["metre", "foot", "US survey foot"] | None = Field(
        None,
        description="Unit of the heights, which are brought to metres; left out: as the file "
        "states, else metres, and asked for where they look like feet.",
    )
    voids_filled_max_m: float = Field(
        0.0,
        ge=0,
        le=1_000,
        description="Widest gap in the heights that is filled in from its sides [m]; plots that "
        "rest on such heights are flagged.",
    )

    @property
    def error_known(self) -> bool:
        """Whether the plan, or its source, gives the vertical error.

        Returns
        -------
        bool
            False where it is still to be estimated on reference land.
        """
        return not math.isnan(self.vertical_error_m)

    @model_validator(mode="after")
    def _one_way(self) -> Elevation:
        stated = {"vertical_error_m", "error_correlation_m"} & self.model_fields_set
        if len(stated) == 1 or not (stated or self.source or self.reference_land):
            raise ValueError(
                "doesn't say how large the raster's error is. Give vertical_error_m and "
                "error_correlation_m, both; or source, for their usual size; or reference_land, "
                "to estimate them"
            )
        return self


class Terrain(Section):
    """When a slope and a row bearing are good enough to act on."""

    cells_min: float = Field(
        4.0, ge=1, le=1_000, description="Fewest raster cells in a plot for a bearing (judgement)."
    )
    raster_share_min: Share = Field(
        0.9, description="Least share of a plot that must have elevations (judgement)."
    )
    flat_slope_pct: float = _published(
        "land_use_limits",
        "flat_slope_pct",
        ge=0,
        le=5,
        description="Up to this slope rows may run in any direction [%].",
    )
    coherence_min: float = Field(
        0.2,
        gt=0,
        lt=1,
        description="Least coherence for a bearing; below it no bearing is clearly best "
        "(judgement).",
    )
    row_grade_limit_pct: float = _published(
        "row_grade_limits",
        "row_grade_max_pct",
        gt=0,
        le=10,
        description="Steepest grade along a row [%].",
    )
    row_grade_limit_share: Share = _published(
        "row_grade_limits",
        "row_grade_max_share_of_slope",
        description="Steepest grade along a row as a share of the land slope.",
    )
    bearing_check_slope_pct: float = _published(
        "row_grade_limits",
        "bearing_check_slope_pct",
        ge=0,
        le=100,
        description="Above this slope a bearing is a check of rows set with a level, never the "
        "method [%].",
    )
    hillside_window_m: float = _published(
        "hillside_limits",
        "window_m",
        ge=100,
        le=200,
        description="Side of the window that gives the hillside's slope and fall where a plot "
        "must be measured on the ground [m].",
    )

    @property
    def level_slope_pct(self) -> float:
        """Slope up to which rows may run in any direction: never more than a row may fall.

        Returns
        -------
        float
            Slope [%].
        """
        return min(self.flat_slope_pct, self.row_grade_limit_pct)


class Water(Section):
    """Where water runs together, and how far upslope is looked."""

    flow_line_min_area_ha: float = _published(
        "flow_limits",
        "flow_line_min_area_ha",
        ge=0.01,
        le=10_000,
        description="Upslope area from which water is taken to run together in a line [ha]; at "
        "least some twenty cells.",
    )
    crossing_min_m: float = _published(
        "flow_limits",
        "crossing_min_m",
        ge=0,
        le=1_000,
        description="A plot is crossed where flow lines of this length or more lie inside [m]; "
        "with 0, any.",
    )
    border_m: float = _published(
        "flow_limits",
        "border_m",
        ge=0,
        le=100_000,
        description="How far around the plots the raster is read for what drains onto them [m].",
    )
    catchment_min_area_ha: float | None = Field(
        default=None,
        ge=0.1,
        le=1_000_000,
        description="Least area of the catchments that the land is parted into, as a layer of "
        "plots.gpkg [ha]. Without it there are none: they cost time and memory by the cells of the "
        "raster.",
    )
    strip_width_m: float = _published(
        "outlet_limits",
        "strip_width_m",
        gt=0,
        le=50,
        description="Width of the strip along a flow line that rows keep clear of [m].",
    )
    strip_place_max_m: float = _published(
        "outlet_limits",
        "strip_place_max_m",
        ge=0,
        le=100,
        description="A strip is placed where half a cell is within this, and a hollow that stands "
        "out of the vertical error lies within it of the flow line [m].",
    )


class Soil(Section):
    """What RUSLE needs to know of the district; without all three, tonnes are left out."""

    rain_erosivity_mj_mm_ha_h_yr: float | None = Field(
        None,
        gt=0,
        le=RAIN_EROSIVITY_MAX,
        description="R [MJ mm / (ha h yr)]; left out where absent.",
    )
    erodibility_t_ha_h_ha_mj_mm: float | None = Field(
        None,
        gt=0,
        le=ERODIBILITY_MAX,
        description="K [t ha h / (ha MJ mm)]; left out where absent.",
    )
    rain_erosivity_raster: Text | None = Field(
        None,
        description="GeoTIFF of R, in place of an equation; a plot has the mean over it, and where "
        "it has no value the number, if one is given. Left out: none.",
    )
    rain_erosivity_unit: UnitSystem | None = Field(
        None, description="Unit system of that raster: si, us or technical."
    )
    erodibility_raster: Text | None = Field(
        None,
        description="GeoTIFF of K; files.soils stands before it, and where it has no value the "
        "number stands, if one is given. Left out: none.",
    )
    erodibility_unit: UnitSystem | None = Field(
        None, description="Unit system of that raster: si, us or technical."
    )
    cover_factor: float | None = Field(
        None, gt=0, le=1, description="C, no unit; left out where absent."
    )
    rain_equation: RainEquation | None = Field(
        None,
        description="Regional equation that gives R from rain, in place of R itself; each is of "
        "one region, and they differ threefold. Left out: none.",
    )
    rain_annual_mm: float | None = Field(
        None, gt=0, le=15_000, description="Mean rain of a year [mm]; for rain_equation."
    )
    rain_monthly_mm: list[MonthMm] | None = Field(
        None,
        min_length=12,
        max_length=12,
        description="Mean rain of each month, January first [mm]; for rain_equation, in place of "
        "rain_annual_mm.",
    )
    erodibility_equation: Literal["nomograph", "epic"] | None = Field(
        None,
        description="Equation that gives K from soil values of files.soils, where it has no k. "
        "Left out: none.",
    )
    cover: CoverName | None = Field(
        None,
        description="Crop or cover, by author, that gives C and the P that goes with it, in place "
        "of cover_factor. Left out: none.",
    )
    mulch_cover_pct: float | None = Field(
        None, gt=0, le=100, description="Share of the ground under mulch [%]; left out: none."
    )
    drainage: Literal["free", "poor"] = Field(
        "free",
        description="How water leaves the soil; on poor drainage level rows drown, so that rows "
        "need a fall, and level plots ridges or beds.",
    )

    @property
    def drainage_known(self) -> bool:
        """Whether the plan says how water leaves the soil: a default isn't knowledge.

        Returns
        -------
        bool
            False where the key is left out.
        """
        return "drainage" in self.model_fields_set

    @property
    def annual_mm(self) -> float:
        """Rain of a year.

        Returns
        -------
        float
            As given, else the sum of the months [mm]; 0 where neither is.
        """
        if self.rain_annual_mm is not None:
            return self.rain_annual_mm
        return math.fsum(self.rain_monthly_mm or ())

    @model_validator(mode="after")
    def _mapped(self) -> Soil:
        for name, unit in (
            ("rain_erosivity_raster", "rain_erosivity_unit"),
            ("erodibility_raster", "erodibility_unit"),
        ):
            if (getattr(self, name) is None) != (getattr(self, unit) is None):
                raise ValueError(f"needs both {name} and {unit}, or neither. Give the other")
        if self.rain_erosivity_raster is not None and self.rain_equation is not None:
            raise ValueError("has both rain_equation and rain_erosivity_raster. Give one of them")
        return self

    @model_validator(mode="after")
    def _one_way(self) -> Soil:
        if self.cover is not None and self.cover_factor is not None:
            raise ValueError("has both cover and cover_factor. Give one of them")
        rain = (self.rain_annual_mm, self.rain_monthly_mm)
        if self.rain_equation is None:
            if rain != (None, None):
                raise ValueError("gives rain without rain_equation. Name one, or take the rain out")
            return self
        if self.rain_erosivity_mj_mm_ha_h_yr is not None:
            raise ValueError(
                "has both rain_erosivity_mj_mm_ha_h_yr and rain_equation. Give one of them"
            )
        if (rain[0] is None) == (rain[1] is None):
            raise ValueError(
                "needs the rain for rain_equation. Give rain_annual_mm or rain_monthly_mm, one"
            )
        rows = packaged().rows("erosivity_equations")
        kinds = rows.loc[rows["equation"] == self.rain_equation, "rain"]
        if (kinds == "fournier").any() and rain[1] is None:
            raise ValueError(f"{self.rain_equation} goes by months. Give rain_monthly_mm")
        if self.annual_mm <= 0:
            raise ValueError("rain_monthly_mm is 0 in all months")
        return self


class Erosion(Section):
    """Limits that raise an erosion flag."""

    slope_length_cap_m: float = _published(
        "land_use_limits",
        "slope_length_cap_m",
        gt=0,
        le=305,
        description="Longest slope length used for soil loss [m].",
    )
    equations_slope_max_pct: float = _published(
        "land_use_limits",
        "equations_slope_max_pct",
        gt=0,
        le=55,
        description="Above this slope no tonnes are printed [%].",
    )
    structures_from_slope_pct: float = _published(
        "land_use_limits",
        "structures_from_slope_pct",
        gt=0,
        le=100,
        description="From this slope rows alone do not hold the soil [%].",
    )
    perennials_from_slope_pct: float = _published(
        "land_use_limits",
        "perennials_from_slope_pct",
        gt=0,
        le=200,
        description="From this slope only perennial crops [%].",
    )
    forest_from_slope_pct: float = _published(
        "land_use_limits",
        "forest_from_slope_pct",
        gt=0,
        le=300,
        description="From this slope forest [%].",
    )

    @model_validator(mode="after")
    def _in_order(self) -> Erosion:
        limits = (
            self.structures_from_slope_pct,
            self.perennials_from_slope_pct,
            self.forest_from_slope_pct,
        )
        if list(limits) != sorted(limits):
            raise ValueError(
                "the three *_from_slope_pct limits must rise: structures, then "
                "perennials, then forest"
            )
        return self


class Conservation(Section):
    """Which measures against soil loss are offered, and what may be spent on them."""

    budget: float | None = Field(
        None,
        gt=0,
        le=1e12,
        description="What may be spent; left out: measures are listed, none is chosen.",
    )
    budget_unit: Literal["person-days", "money"] = Field(
        "person-days", description="What the budget is counted in."
    )
    day_cost: float | None = Field(
        None,
        ge=0,
        le=1e9,
        description="Pay of a person-day, in the district's money; needed for a budget of money.",
    )
    choose_by: Literal["plot", "work site"] = Field(
        "plot",
        description="Choose a measure for each plot, or one for each hillside together; only then "
        "are measures that carry water among them.",
    )
    sites_drawn_max: int = Field(
        100,
        ge=0,
        le=100_000,
        description="Hillsides whose lines and order of work are laid out, the first in the order "
        "of work (judgement); some 20 take a second.",
    )
    goal: Literal["most soil", "least labour"] = Field(
        "most soil",
        description="On each plot choose among all measures what saves most, or only the one of "
        "least labour that saves enough.",
    )
    saved_share_min: Share = Field(
        0.5,
        description="With least labour: share of the loss that a measure must save (judgement).",
    )
    village_share: float = Field(
        0.0,
        ge=0,
        le=1,
        description="Share of the budget that is held for villages by their area: each saves at "
        "least what its part would; 0 asks for none.",
    )
    reserved_share: float = Field(
        0.2,
        ge=0,
        le=1,
        description="Share of the budget held for plots without tonnes, in the order of slope "
        "class, area, run-on and what lies below (judgement).",
    )
    land_taken_max_pct: float = Field(
        25.0,
        gt=0,
        le=100,
        description="Measures that take more of a plot are listed, not chosen, but where annual "
        "crops end [%] (judgement).",
    )
    spacing_rule: SpacingRule | None = Field(
        None,
        description="Rule of spacing for measures that it is common for; left out: the first that "
        "the table measures names for each.",
    )
    bench_width_m: float = _published(
        "measure_numbers",
        "bench_terraces bench_width_m",
        ge=1,
        le=10,
        description="Width of the level part of a bench terrace [m].",
    )
    soil_depth_m: float | None = Field(
        None,
        gt=0,
        le=10,
        description="Depth of soil that can be dug [m]; left out: not known, and measures that "
        "need deep soil aren't offered.",
    )

    @model_validator(mode="after")
    def _paid(self) -> Conservation:
        if self.budget_unit == "money" and self.day_cost is None:
            raise ValueError(
                'has budget_unit = "money" without day_cost. Give the pay of a person-day, or a '
                "budget of person-days"
            )
        return self


class Practice(Section):
    """How the crop is grown; rates have no default and are left out where absent."""

    name: PracticeName = Field(
        practices.USUAL,
        description="Practice that the other keys of this section start from.",
    )
    file: Text | None = Field(
        None,
        description="A practice of your own, a TOML file like those of the package, in place of "
        "name.",
    )
    row_spacing_cm: float = _published(
        "practice",
        "row_spacing_cm",
        ge=ROWS_APART_MIN_CM,
        le=300,
        description="Between rows [cm].",
    )
    hole_spacing_cm: float = _published(
        "practice",
        "hole_spacing_cm",
        ge=2,
        le=200,
        description="Between holes along a row [cm].",
    )
    seed_class: Literal["certified", "farm-saved"] = Field(
        "certified", description="One seed a hole if certified, two if farm-saved."
    )
    seeds_per_hole: int | None = Field(
        None, ge=1, le=5, description="Seeds a hole; left out: by the seed class."
    )
    hundred_seed_weight_g: float | None = _of_practice(
        "hundred_seed_weight_g",
        ge=5,
        le=150,
        description="Weight of 100 seeds [g]; left out: no seed weight.",
    )
    seed_kg_ha: Annotated[float, Field(gt=0, le=1_000)] | None = Field(
        None,
        description="Seed on map area [kg/ha], in place of hundred_seed_weight_g, which it "
        "implies; left out where absent.",
    )
    target_plants_ha: Annotated[float, Field(gt=0, le=10_000_000)] | None = Field(
        None,
        description="Plants a hectare that are to stand: seed is bought for these, not for the "
        "holes; left out: by holes.",
    )
    sprouted_of_100: int | None = Field(
        None,
        ge=0,
        le=100,
        description="Seeds of 100 that sprouted in the farmers' own test; decides on seeds a hole "
        "and germination where these are left out.",
    )
    refill_share: float = _published(
        "practice",
        "refill_share",
        ge=0,
        le=1,
        description="Share of the empty holes that are filled again.",
    )
    spillage_share: float = _published(
        "practice", "spillage_share", ge=0, le=0.5, description="Share of seed lost on the way."
    )
    germination_share: Share = Field(
        1.0, description="Share of seeds that germinate; 1 counts a full stand."
    )
    emergence_share: Share = Field(
        1.0, description="Share of germinated seeds that emerge; 1 counts a full stand."
    )
    npk_kg_ha: RateKgHa | None = Field(
        None, description="NPK on map area [kg/ha]; left out where absent."
    )
    urea_kg_ha: RateKgHa | None = Field(
        None, description="Urea on map area [kg/ha]; left out where absent."
    )
    manure_kg_ha: RateKgHa | None = Field(
        None, description="Composted manure on map area [kg/ha]; left out where absent."
    )
    row_form: Literal["flat", "earthed up", "ridges"] = Field(
        default_factory=lambda: packaged().practice.row_form,
        description="Form of the rows; flat rows get no credit for lying on the contour.",
    )
    two_seeds: Literal["thin to one", "holes twice as far apart"] = Field(
        default_factory=lambda: packaged().practice.two_seeds,
        description="What follows from two seeds a hole; a hole_spacing_cm that is given stays.",
    )

    maize_bean_rows: int | None = _of_practice(
        "maize_bean_rows",
        ge=1,
        le=10,
        description="Bean rows between two maize rows; left out: as the practice has it.",
    )
    maize_row_spacing_cm: float = _published(
        "practice",
        "maize_row_spacing_cm",
        ge=30,
        le=600,
        description="Between maize rows [cm]; counts where maize_bean_rows is given.",
    )
    maize_bean_distance_cm: float | None = Field(
        None,
        ge=5,
        le=300,
        description="From a maize row to the nearest bean row [cm]; left out: bean rows stand "
        "row_spacing_cm apart, in the middle.",
    )
    maize_hole_spacing_cm: float = _published(
        "practice",
        "maize_hole_spacing_cm",
        ge=5,
        le=200,
        description="Between holes along a maize row [cm]; counts where maize_bean_rows is given.",
    )
    maize_seeds_per_hole: int = Field(
        default_factory=lambda: round(packaged().number("practice", "maize_seeds_per_hole")),
        json_schema_extra={"published": ["practice", "maize_seeds_per_hole"]},
        ge=1,
        le=5,
        description="Maize seeds a hole; counts where maize_bean_rows is given.",
    )

    @property
    def bean_beside_maize_cm(self) -> float:
        """Distance from a maize row to the bean row beside it.

        Returns
        -------
        float
            As given, else so that bean rows stand in the middle [cm].
        """
        if self.maize_bean_distance_cm is not None:
            return self.maize_bean_distance_cm
        between = ((self.maize_bean_rows or 1) - 1) * self.row_spacing_cm
        return (self.maize_row_spacing_cm - between) / 2

    @property
    def bean_row_step_cm(self) -> float:
        """Distance from a bean row to the next.

        Returns
        -------
        float
            Row spacing; with maize, that of the rows between two maize rows, of which a single one
            lies as far from the maize [cm].
        """
        if self.maize_bean_rows is None:
            return self.row_spacing_cm
        aside = self.bean_beside_maize_cm
        if self.maize_bean_rows == 1:
            return aside
        return (self.maize_row_spacing_cm - 2 * aside) / (self.maize_bean_rows - 1)

    @property
    def bean_rows_apart_cm(self) -> float:
        """Mean distance of bean rows: the width of ground to each.

        Returns
        -------
        float
            Row spacing; with maize, the width of a band over its bean rows [cm].
        """
        if self.maize_bean_rows is None:
            return self.row_spacing_cm
        return self.maize_row_spacing_cm / self.maize_bean_rows

    def seeds_each(self, handbook: Handbook) -> int:
        """Give the seeds a hole.

        Parameters
        ----------
        handbook : Handbook
            The published tables.

        Returns
        -------
        int
            As given; else two where the farmers' test asks for two and one where one will do; else
            those usual for the class of seed.
        """
        if self.seeds_per_hole is not None:
            return self.seeds_per_hole
        usual = handbook.numbers(practices.TABLE)
        classes = ("certified", "farm-saved")
        one, two = (round(usual[f"seeds_per_hole_{c.replace('-', '_')}"]) for c in classes)
        if self.sprouted_of_100 is None:
            return one if self.seed_class == "certified" else two
        return one if self.sprouted_of_100 >= usual["one_seed_from_pct"] else two

    def apart(self, handbook: Handbook) -> Practice:
        """Set holes of two seeds twice as far apart, where the practice has it so.

        Parameters
        ----------
        handbook : Handbook
            The published tables.

        Returns
        -------
        Practice
            The same practice, its hole spacing twice as wide where two seeds go in and aren't
            thinned.
        """
        if self.two_seeds == "thin to one" or self.seeds_each(handbook) == 1:
            return self
        return self.model_copy(update={"hole_spacing_cm": 2 * self.hole_spacing_cm})

    @model_validator(mode="after")
    def _one_weight(self) -> Practice:
        if self.hundred_seed_weight_g is not None and self.seed_kg_ha is not None:
            raise ValueError("has both hundred_seed_weight_g and seed_kg_ha. Give one of them")
        return self

    @model_validator(mode="after")
    def _one_practice(self) -> Practice:
        if {"name", "file"} <= self.model_fields_set and self.file is not None:
            raise ValueError("has both name and file. Give one of them")
        return self

    @model_validator(mode="after")
    def _band(self) -> Practice:
        rows, given = self.maize_bean_rows, self.maize_bean_distance_cm
        if rows is None:
            if given is not None:
                raise ValueError(
                    "has maize_bean_distance_cm without maize_bean_rows. Give both, or neither"
                )
            return self
        width, aside = self.maize_row_spacing_cm, self.bean_beside_maize_cm
        between = width - 2 * aside
        if rows == 1:
            fits = aside > 0 and math.isclose(2 * aside, width)
        else:
            fits = aside > 0 and between / (rows - 1) >= ROWS_APART_MIN_CM
        if not fits:
            raise ValueError(
                f"has no room for maize_bean_rows = {rows} within maize_row_spacing_cm = "
                f"{width:g}, the outer ones {aside:g} cm from the maize. Give maize more room, "
                "fewer bean rows, or another maize_bean_distance_cm; one row stands in the middle"
            )
        return self


class Fertiliser(Section):
    """What fertilisers and manure hold, and what the crop is to get."""

    products: list[Literal["npk", "urea", "manure"]] | None = Field(
        None,
        min_length=1,
        max_length=3,
        description="Those whose rate is worked out from the needs below, where practice gives "
        "none; left out: none is.",
    )
    need_n_kg_ha: Need | None = Field(
        None, description="Nitrogen that the crop is to get [kg/ha]; left out where absent."
    )
    need_p2o5_kg_ha: Need | None = Field(
        None, description="P2O5 that the crop is to get [kg/ha]; left out where absent."
    )
    need_k2o_kg_ha: Need | None = Field(
        None, description="K2O that the crop is to get [kg/ha]; left out where absent."
    )
    npk_n_pct: float = _published(
        "practice", "npk_n_pct", ge=0, le=60, description="N in the NPK, as on its bag [%]."
    )
    npk_p2o5_pct: float = _published(
        "practice", "npk_p2o5_pct", ge=0, le=60, description="P2O5 in the NPK, as on its bag [%]."
    )
    npk_k2o_pct: float = _published(
        "practice", "npk_k2o_pct", ge=0, le=60, description="K2O in the NPK, as on its bag [%]."
    )
    urea_n_pct: float = _published(
        "practice", "urea_n_pct", ge=1, le=60, description="N in the urea, as on its bag [%]."
    )
    manure_n_pct: float = _published(
        "practice", "manure_n_pct", ge=0, le=10, description="N in the manure as it is spread [%]."
    )
    manure_p2o5_pct: float = _published(
        "practice",
        "manure_p2o5_pct",
        ge=0,
        le=10,
        description="P2O5 in the manure as it is spread [%].",
    )
    manure_k2o_pct: float = _published(
        "practice",
        "manure_k2o_pct",
        ge=0,
        le=10,
        description="K2O in the manure as it is spread [%].",
    )
    urea_time: Literal["first weeding", "planting"] = Field(
        default_factory=lambda: packaged().practice.products["urea"].timing,
        description="When urea is given; at planting it injures seed.",
    )
    manure_load_kg: float = _published(
        "practice",
        "manure_load_kg",
        ge=1,
        le=1_000,
        description="Manure that is carried at once [kg].",
    )
    manure_there_kg: float | None = Field(
        None, ge=0, le=1e9, description="Manure that the district has [kg]; left out: enough."
    )


class Season(Section):
    """When the rains begin: works are counted from there."""

    onset_rule: Text | None = Field(
        None,
        description="The rule by which the onset is known, in words, such as: 25 mm in three days "
        "after 1 March. Left out: none is printed.",
    )
    onset_early: Day | None = Field(
        None, description="Onset in an early season; left out: not told apart."
    )
    onset_usual: Day | None = Field(
        None, description="Onset in a usual season; left out: counted back from planting_date."
    )
    onset_late: Day | None = Field(
        None, description="Onset in a late season; left out: not told apart."
    )

    @model_validator(mode="after")
    def _in_order(self) -> Season:
        given = [day for day in (self.onset_early, self.onset_usual, self.onset_late) if day]
        if given != sorted(given):
            raise ValueError("onset_early, onset_usual and onset_late must follow one another")
        return self


class Labour(Section):
    """Work, in the district's or its practice's own figures: no published one is confirmed."""

    peg_and_dig_days_ha: DaysHa | None = _of_practice(
        "peg_and_dig_days_ha",
        description="Pegging and digging [person-days/ha]; left out where absent.",
    )
    planting_days_ha: DaysHa | None = _of_practice(
        "planting_days_ha", description="Planting [person-days/ha]; left out where absent."
    )
    weeding_1_days_ha: DaysHa | None = _of_practice(
        "weeding_1_days_ha", description="First weeding [person-days/ha]; left out where absent."
    )
    weeding_2_days_ha: DaysHa | None = _of_practice(
        "weeding_2_days_ha", description="Second weeding [person-days/ha]; left out where absent."
    )
    weeding_3_days_ha: DaysHa | None = _of_practice(
        "weeding_3_days_ha", description="Third weeding [person-days/ha]; left out where absent."
    )
    harvest_days_ha: DaysHa | None = _of_practice(
        "harvest_days_ha",
        description="Harvest to clean grain [person-days/ha]; left out where absent.",
    )
    manure_loads_a_day: float | None = Field(
        None,
        gt=0,
        le=1_000,
        description="Loads of manure that a person carries in a day; left "
        "out: carrying isn't counted.",
    )
    hands_a_plot: float | None = Field(
        None, gt=0, le=100, description="Hands available for each plot; left out: not compared."
    )
    work_days_a_week: float = Field(
        5.0, gt=0, le=7, description="Days that are worked in a week (judgement)."
    )


class Money(Section):
    """Prices; without one, what it would give is left out."""

    currency: Annotated[str, Field(min_length=1, max_length=12), AfterValidator(_named)] | None = (
        Field(None, description="Name of the money, as printed; left out where absent.")
    )
    seed_price_kg: Price | None = Field(None, description="Price of a kilogram of seed.")
    npk_price_kg: Price | None = Field(None, description="Price of a kilogram of NPK.")
    urea_price_kg: Price | None = Field(None, description="Price of a kilogram of urea.")
    manure_price_kg: Price | None = Field(None, description="Price of a kilogram of manure.")
    grain_price_low_kg: Price | None = Field(
        None, description="Price of a kilogram of grain at harvest, low."
    )
    grain_price_high_kg: Price | None = Field(None, description="The same, high.")
    yield_without_low_kg_ha: Yield = _published(
        "practice",
        "yield_without_low_kg_ha",
        description="Yield without the practice, low [kg/ha].",
    )
    yield_without_high_kg_ha: Yield = _published(
        "practice", "yield_without_high_kg_ha", description="The same, high [kg/ha]."
    )
    yield_with_low_kg_ha: Yield = _published(
        "practice", "yield_with_low_kg_ha", description="Yield with the practice, low [kg/ha]."
    )
    yield_with_high_kg_ha: Yield = _published(
        "practice", "yield_with_high_kg_ha", description="The same, high [kg/ha]."
    )

    @model_validator(mode="after")
    def _in_order(self) -> Money:
        low, high = self.grain_price_low_kg, self.grain_price_high_kg
        if (low is None) != (high is None):
            raise ValueError("has one of grain_price_low_kg and grain_price_high_kg. Give both")
        pairs = (
            (low or 0.0, high or 0.0),
            (self.yield_without_low_kg_ha, self.yield_without_high_kg_ha),
            (self.yield_with_low_kg_ha, self.yield_with_high_kg_ha),
        )
        if any(first > last for first, last in pairs):
            raise ValueError("has a low price or yield above the high one")
        return self


class Rows(Section):
    """How rows are laid over a plot."""

    edge_margin_m: float = Field(
        0.0,
        ge=0,
        le=20,
        description="Strip along the plot's edge that isn't planted [m] (judgement).",
    )
    first_row_offset_cm: float | None = Field(
        None,
        ge=0,
        le=1_000,
        description="From the edge of the land planted to the first row, on the ground [cm]; left "
        "out: half of what lies between the first two rows.",
    )
    row_length_min_m: float = Field(
        5.0,
        ge=0,
        le=100,
        description="Shorter rows are planted, but counted apart [m] (judgement).",
    )
    row_grade_min_pct: float = _published(
        "row_grade_limits",
        "row_grade_min_pct",
        ge=0,
        le=2,
        description="Least fall along rows, ridges or beds where the soil drains poorly [%].",
    )
    outlet_reach_m: float = _published(
        "outlet_limits",
        "outlet_reach_m",
        gt=0,
        le=50,
        description="How far beyond the ends of rows is looked for what they drain onto [m].",
    )
    drawn_rows_max: int = Field(
        50_000,
        ge=1,
        le=10_000_000,
        description="Most row lines in plots.gpkg, about; where there are more, each second, "
        "third ... is drawn, of every plot at least its first (judgement).",
    )
    within_share_min: Share = _published(
        "guide_line_limits",
        "within_share_min",
        description="Share of the rows' length that must keep within the row-grade limit; as few "
        "guide lines are set as reach it.",
    )
    sag_max_cm: float = _published(
        "guide_line_limits",
        "sag_max_cm",
        gt=0,
        le=30,
        description="Depth of water that may stand in a row [cm]; a deeper sag breaks the row.",
    )
    gap_width_m: float = _published(
        "low_places",
        "gap_width_m",
        gt=0,
        le=5,
        description="Width of the gap in rows that are broken in a low place [m].",
    )
    peg_step_m: float = _published(
        "setting_out",
        "peg_step_m",
        ge=2,
        le=50,
        description="From one control peg of a line to the next [m]; half of it in bends.",
    )
    pace_m: float = _published(
        "setting_out",
        "pace_m",
        ge=0.4,
        le=1.2,
        description="Length of the team's pace [m].",
    )


class String(Section):
    """The string whose marks carry the practice; a measure that wasn't weighed has no mark."""

    string_m: float = _published(
        "marked_string",
        "string_m",
        ge=5,
        le=100,
        description="Longest string that a team lays along a row [m].",
    )
    cap_npk_g: float | None = Field(
        None,
        ge=0.5,
        le=500,
        description="NPK in one level cap [g]: weigh 100 and divide; left out: no marks for it.",
    )
    cap_urea_g: float | None = Field(
        None,
        ge=0.5,
        le=500,
        description="Urea in one level cap [g]: weigh 100 and divide; left out: no marks for it.",
    )
    handful_manure_g: float | None = Field(
        None,
        ge=5,
        le=20_000,
        description="Manure in one handful or tin [g]: weigh 20 and divide; left out: no marks "
        "for it.",
    )


class Enrolment(Section):
    """Who takes part, and how sure that is."""

    uptake_low_share: Share = _published(
        "purchase_choices",
        "uptake_low_share",
        description="Share of the enrolled land that is planted in a bad season.",
    )
    uptake_usual_share: Share = _published(
        "purchase_choices", "uptake_usual_share", description="The same in a usual season."
    )
    uptake_high_share: Share = _published(
        "purchase_choices", "uptake_high_share", description="The same in the best season."
    )
    kit_max_ha: float | None = Field(
        None,
        gt=0,
        le=1_000,
        description="Most land that a farmer gets inputs for [ha]; left out: no cap.",
    )
    outline_error_m: float = _published(
        "purchase_choices",
        "outline_error_m",
        ge=0,
        le=100,
        description="Error of an outline's points along each axis, one standard deviation [m].",
    )
    outline_alike_m: float = _published(
        "purchase_choices",
        "outline_alike_m",
        ge=0,
        le=1_000,
        description="Distance over which errors of points of an outline are alike [m].",
    )

    river_buffer_m: float = _published(
        "purchase_choices",
        "river_buffer_m",
        ge=0,
        le=1_000,
        description="Belt about drawn streams and springs that isn't planted [m]: take the local "
        "rule's.",
    )
    forest_buffer_m: float = _published(
        "purchase_choices",
        "forest_buffer_m",
        ge=0,
        le=1_000,
        description="Belt about drawn forest that isn't planted [m]: take the local rule's.",
    )

    @model_validator(mode="after")
    def _in_order(self) -> Enrolment:
        shares = (self.uptake_low_share, self.uptake_usual_share, self.uptake_high_share)
        if list(shares) != sorted(shares):
            raise ValueError("the three uptake_*_share must rise: low, usual, high")
        return self


class Orders(Section):
    """How inputs are packed and bought; a pack without a size isn't counted."""

    bought_at: Literal["plot", "farmer", "group", "village", "district"] = Field(
        "village", description="Level at which packs are bought, and rounded up once."
    )
    chance_enough_share: Annotated[float, Field(gt=0.5, lt=1)] = _published(
        "purchase_choices",
        "chance_enough_share",
        description="Chance that an order is to be enough, given uptake and errors of outlines.",
    )
    seed_stock_kg: StockKg = Field(0.0, description="Seed that the district has in stock [kg].")
    npk_stock_kg: StockKg = Field(0.0, description="NPK that the district has in stock [kg].")
    urea_stock_kg: StockKg = Field(0.0, description="Urea that the district has in stock [kg].")
    vehicle_kg: float | None = Field(
        None, ge=50, le=100_000, description="What a vehicle carries [kg]; left out: no lots."
    )
    lots_a_day: int = Field(1, ge=1, le=1_000, description="Lots that are delivered in a day.")
    seed_pack_kg: PackKg | None = Field(
        None, description="Seed in a pack [kg]; left out: packs aren't counted."
    )
    npk_pack_kg: PackKg | None = Field(
        None, description="NPK in a bag [kg]; left out: bags aren't counted."
    )
    urea_pack_kg: PackKg | None = Field(
        None, description="Urea in a bag [kg]; left out: bags aren't counted."
    )


class DemoMessage(Section):
    """What a demonstration plot shows; a table [[demos.messages]] for each, the preferred first."""

    name: Annotated[Text, AfterValidator(_named)] = Field(
        description="Name of the message, as printed. Required."
    )
    treatments: list[Annotated[Text, AfterValidator(_named)]] = Field(
        min_length=1,
        max_length=20,
        description="What is shown, such as seed, fertiliser, contour rows, barrier. Required.",
    )
    barrier: bool = Field(
        default=False,
        description="Whether it shows a barrier against soil loss: steep villages must see one, "
        "and it stays for conservation_seasons.",
    )
    tenure: bool = Field(
        default=False,
        description="Whether the farmer must hold the land, as demos.answers says.",
    )
    slope_min_pct: float = Field(0.0, ge=0, le=300, description="Least slope that it is for [%].")
    slope_max_pct: float | None = Field(
        None, gt=0, le=300, description="Steepest slope that it is for [%]; left out: any."
    )
    stays_seasons: int | None = Field(
        None,
        ge=1,
        le=50,
        description="Seasons that a plot shows it for; left out: 1, or conservation_seasons of a "
        "barrier.",
    )
    kits: float = Field(
        1.0, gt=0, le=1_000, description="Demonstration kits that a plot of it takes."
    )
    plots_min: int = Field(0, ge=0, le=100_000, description="Fewest plots that show it.")
    plots_max: int | None = Field(
        None, ge=0, le=100_000, description="Most plots that show it; left out: any number."
    )


class Demos(Section):
    """Which plots become demonstration plots; without plots and kits none is chosen."""

    plots: int | None = Field(
        None, ge=1, le=100_000, description="So many are chosen; left out: as kits allow."
    )
    kits: float | None = Field(
        None, gt=0, le=1e6, description="Demonstration kits that there are; left out: any number."
    )
    reach_by: Literal["straight line", "paths", "on foot"] = Field(
        "straight line",
        description="How far people go: the straight line times way_factor, along paths and roads "
        "of files.features, or on foot over the terrain.",
    )
    reach_m: float | None = Field(
        None,
        gt=0,
        le=100_000,
        description="Way within which farmers come to see a plot [m]; with a straight line or "
        "paths.",
    )
    reach_min: float | None = Field(
        None,
        gt=0,
        le=1_440,
        description="Time within which they do [minutes]; on foot, from the farmer to the plot.",
    )
    way_factor: float = _published(
        "walking",
        "straight_line_factor",
        ge=1,
        le=5,
        description="How many times as long a way off paths is as the straight line.",
    )
    homesteads: Text | None = Field(
        None,
        description="CSV file of where farmers live, one row each: farmer_id, longitude_deg, "
        "latitude_deg, sex, youth, reached. Left out: farmers are where their plots are.",
    )
    answers: Text | None = Field(
        None,
        description="CSV file of what farmers answered, one row a plot: plot_id, tenure, "
        "seasons_since_beans, sex, youth, reached.",
    )
    shown: Text | None = Field(
        None,
        description="CSV file of demonstration plots of seasons before, one row each: plot_id, "
        "message, seasons_ago (1 the last), seasons_shown.",
    )
    consent: Literal["needed", "not asked"] = Field(
        "needed", description="Whether files.enrolment must say that the farmer is in and agrees."
    )
    area_min_ha: float = Field(0.0, ge=0, le=1_000, description="Smallest plot that is taken [ha].")
    area_max_ha: float | None = Field(
        None, gt=0, le=1_000_000, description="Largest plot that is taken [ha]; left out: any."
    )
    path_max_m: float | None = Field(
        None,
        ge=0,
        le=100_000,
        description="Furthest from a path or road of files.features [m]; left out: any distance.",
    )
    gathered_water: Literal["left out", "taken"] = Field(
        "left out", description="Plots that gathered water crosses."
    )
    rest_seasons: int = Field(
        default_factory=lambda: round(packaged().number("demo_choices", "rest_seasons")),
        json_schema_extra={"published": ["demo_choices", "rest_seasons"]},
        ge=0,
        le=20,
        description="Seasons without beans that a plot must have had, where it is known.",
    )
    again_after_seasons: int = Field(
        default_factory=lambda: round(packaged().number("demo_choices", "again_after_seasons")),
        json_schema_extra={"published": ["demo_choices", "again_after_seasons"]},
        ge=0,
        le=50,
        description="Seasons that must pass before a plot is shown again.",
    )
    conservation_seasons: int = Field(
        default_factory=lambda: round(packaged().number("demo_choices", "conservation_seasons")),
        json_schema_extra={"published": ["demo_choices", "conservation_seasons"]},
        ge=1,
        le=50,
        description="Seasons that a plot with a barrier is shown for: till then it is chosen.",
    )
    weight_never_reached: float = Field(
        1.0, ge=1, le=100, description="What a farmer who was never reached counts; 1 as all."
    )
    weight_women: float = Field(1.0, ge=1, le=100, description="What a woman counts; 1 as all.")
    weight_youth: float = Field(1.0, ge=1, le=100, description="What a youth counts; 1 as all.")
    village_min: int = Field(0, ge=0, le=10_000, description="Fewest plots of each village.")
    village_max: int | None = Field(
        None, ge=0, le=10_000, description="Most plots of each village; left out: any number."
    )
    steep_village_pct: float = _published(
        "land_use_limits",
        "structures_from_slope_pct",
        ge=0,
        le=300,
        description="From this mean slope of its land at least half of a village's plots show a "
        "barrier, if a message has one [%].",
    )
    slope_limits_pct: list[Limit] | None = Field(
        None,
        min_length=1,
        max_length=10,
        description="Slopes that part classes; plots are then in proportion to the land tilled in "
        "each [%]. Left out: any slopes.",
    )
    class_tolerance_share: float = _published(
        "demo_choices",
        "class_tolerance_share",
        ge=0,
        le=1,
        description="How far the share of a class may be off, besides what whole plots make "
        "unavoidable.",
    )
    apart_m: float = Field(
        0.0, ge=0, le=100_000, description="Least distance between two plots, straight [m]."
    )
    one_a_farmer: bool = Field(
        default=True, description="Whether a farmer has one demonstration plot at most."
    )
    forced_in: list[Text] | None = Field(
        None,
        min_length=1,
        max_length=10_000,
        description="Ids of plots that are chosen in any case.",
    )
    forced_out: list[Text] | None = Field(
        None, min_length=1, max_length=10_000, description="Ids of plots that are never chosen."
    )
    candidates_max: int | None = Field(
        None,
        ge=1,
        le=1_000_000,
        description="Candidates are thinned to about so many, those kept that reach most in their "
        "village; left out: none is left out.",
    )
    seed: int = Field(
        1, ge=1, le=1_000_000, description="Seed of the search and of the draw of sides."
    )
    gap_pct: float = Field(
        0.0, ge=0, le=50, description="The search ends when no choice is better by more [%]."
    )
    nodes_max: int = Field(
        20_000, ge=1, le=10_000_000, description="The search ends after so many nodes (judgement)."
    )
    seconds: float | None = Field(
        None,
        gt=0,
        le=86_400,
        description="The search ends after so many seconds; a choice that ends so isn't "
        "reproducible, and says so. Left out: no clock.",
    )
    up_down_slope_max_pct: float = _published(
        "demo_comparison",
        "up_down_slope_max_pct",
        ge=0,
        le=100,
        description="Above this slope rows never run up and down, not even to compare [%].",
    )
    net_rows: int = Field(
        default_factory=lambda: round(packaged().number("demo_comparison", "net_rows")),
        json_schema_extra={"published": ["demo_comparison", "net_rows"]},
        ge=1,
        le=100,
        description="Rows of a net plot, whose yield is weighed.",
    )
    net_length_m: float = _published(
        "demo_comparison",
        "net_length_m",
        gt=0,
        le=100,
        description="Length of each of them that is harvested [m].",
    )
    messages: list[DemoMessage] | None = Field(
        None,
        min_length=1,
        max_length=20,
        description="What is shown, each in a table [[demos.messages]].",
    )

    @property
    def asked(self) -> bool:
        """Whether demonstration plots are to be chosen.

        Returns
        -------
        bool
            True where their number or their kits are given.
        """
        return self.plots is not None or self.kits is not None

    def stays(self, message: DemoMessage) -> int:
        """Say for how many seasons a plot shows a message.

        Parameters
        ----------
        message : DemoMessage
            The message.

        Returns
        -------
        int
            As given, else as its kind has it.
        """
        if message.stays_seasons is not None:
            return message.stays_seasons
        return self.conservation_seasons if message.barrier else 1

    @model_validator(mode="after")
    def _whole(self) -> Demos:
        if not self.asked:
            told = {"messages", "reach_m", "reach_min", "homesteads", "answers", "shown"}
            if self.model_fields_set & told:
                raise ValueError("gives neither plots nor kits. Give one, or take the section out")
            return self
        if self.messages is None:
            raise ValueError("has no message. Add [[demos.messages]] with name and treatments")
        names = [message.name for message in self.messages]
        if len(set(names)) < len(names):
            raise ValueError("has two messages of one name. Give each its own")
        limit = "reach_min" if self.reach_by == "on foot" else "reach_m"
        if getattr(self, limit) is None:
            raise ValueError(f'has reach_by = "{self.reach_by}" without {limit}. Give it')
        both = set(self.forced_in or ()) & set(self.forced_out or ())
        if both:
            raise ValueError(f"has {min(both)!a} in forced_in and forced_out. Keep it in one")
        return self

    @model_validator(mode="after")
    def _in_order(self) -> Demos:
        if self.village_max is not None and self.village_min > self.village_max:
            raise ValueError("has village_min above village_max. Change one of them")
        if self.area_max_ha is not None and self.area_min_ha > self.area_max_ha:
            raise ValueError("has area_min_ha above area_max_ha. Change one of them")
        limits = self.slope_limits_pct or []
        if sorted(set(limits)) != limits:
            raise ValueError("has slope_limits_pct that don't rise. Order them")
        for message in self.messages or ():
            if message.slope_max_pct is not None and message.slope_min_pct > message.slope_max_pct:
                raise ValueError("has a message whose slope_min_pct is above its slope_max_pct")
            if message.barrier and self.stays(message) < self.conservation_seasons:
                raise ValueError(
                    f"has a message with a barrier that stays for {self.stays(message)} of "
                    f"conservation_seasons = {self.conservation_seasons}. Let it stay"
                )
        return self


class Visits(Section):
    """Who visits which plot on which day; without agents no visits are planned."""

    agents: Text | None = Field(
        None,
        description="CSV file of agents, one row each: agent_id, name, longitude_deg, latitude_deg "
        "of the base, week_days (mon tue ...), from, to (07:00), hours_most away, mode (on foot, "
        "bicycle, motorcycle, car), speed_km_h, wet_speed_km_h (0: closed in the rains, goes on "
        "foot), serves, barred (villages, parted by |), litres_100_km, fuel_l, tank_l, days_most "
        "paid.",
    )
    leave: Text | None = Field(
        None, description="CSV file of leave: agent_id, first_day, last_day."
    )
    holidays: list[Day] | None = Field(
        None, min_length=1, max_length=200, description="Days on which nobody works."
    )
    meeting_places: Text | None = Field(
        None,
        description="CSV file of meeting places, one row each: meeting_place, village, "
        "longitude_deg, latitude_deg. Sessions are held there and at demonstration plots.",
    )
    by_hand: Text | None = Field(
        None,
        description="CSV file of visits fixed by hand: place (a plot_id, or a meeting place), "
        "stage, agent_id, day; one of the last two may be empty.",
    )
    observed: Text | None = Field(
        None,
        description="CSV file of what was seen: event (onset, planting, emergence, flowering, "
        "harvest, storm), day, village (empty: all). Seen days stand before those of the rule; "
        "storms are those above the plan's value.",
    )
    carried_on: Text | None = Field(
        None,
        description="visits.csv of the run before, with yes in the column done where a visit was "
        "made: what is done is kept, as few other days as possible change. Needs made_on.",
    )
    trips: Text | None = Field(
        None,
        description="CSV file of recorded trips, one row each: agent_id, day, km, minutes; where "
        "an agent has trips_min of them before the rains or in them, its speed is theirs. Those of "
        "agents on foot together tell how fast people walk, but over the terrain.",
    )
    trips_min: int = Field(
        5, ge=1, le=1_000, description="Fewest trips that tell a speed (judgement)."
    )
    made_on: Day | None = Field(
        None,
        description="Day on which the plan is made; visits are planned after it. Left out: before "
        "the first of them.",
    )
    season: Literal["early", "usual", "late"] = Field(
        "usual", description="Onset that windows count from where none was seen."
    )
    session_stages: list[Stage] = Field(
        default_factory=lambda: ["consent", "planting", "weeding_1", "weeding_2", "field_day"],
        max_length=20,
        description="Stages with a group session at each meeting place and demonstration plot "
        "(judgement).",
    )
    demo_stages: list[Stage] | None = Field(
        None,
        max_length=20,
        description="Stages at which every demonstration plot is visited. Left out: all but storm.",
    )
    flagged_stages: list[Stage] = Field(
        default_factory=lambda: ["pegging"],
        max_length=20,
        description="Stages at which plots above class_above, and those to be measured on the "
        "ground, are visited.",
    )
    structure_stages: list[Stage] = Field(
        default_factory=lambda: ["storm"],
        max_length=20,
        description="Stages at which plots with structures are visited, those chosen too.",
    )
    rest_stages: list[Stage] = Field(
        default_factory=lambda: ["planting", "weeding_1", "weeding_2"],
        max_length=20,
        description="Stages at which a share of all other plots is visited, in turn.",
    )
    rest_every: int = Field(
        0, ge=0, le=1_000, description="One other plot in so many is visited at each; 0: none."
    )
    class_above: int = Field(
        3,
        ge=0,
        le=5,
        description="Plots above this class of soil loss are visited by themselves; without "
        "tonnes, plots above erosion.structures_from_slope_pct (judgement).",
    )
    visited: Literal["taking part", "all"] = Field(
        "taking part",
        description="Plots that are visited: where files.enrolment says who takes part, theirs; "
        "or all.",
    )
    walk_m: float = Field(
        2_000.0,
        gt=0,
        le=50_000,
        description="Way within which farmers walk to a session [m] (judgement).",
    )
    way_factor: float = _published(
        "walking",
        "straight_line_factor",
        ge=1,
        le=5,
        description="How many times as long a way off paths is as the straight line.",
    )
    walk_by: Literal["straight line", "paths", "on foot"] = Field(
        "straight line",
        description="How ways on foot are measured: the straight line times way_factor, along "
        "paths and roads of files.features, or on foot over the terrain (places off the raster: "
        "the straight line).",
    )
    ride_by: Literal["straight line", "roads"] = Field(
        "straight line",
        description="How ways of who rides are measured: the straight line times way_factor, or "
        "along roads of files.features to the roadhead and on foot from there.",
    )
    roads_closed: list[Text] | None = Field(
        None,
        min_length=1,
        max_length=200,
        description="Names of roads and culverts in files.features that nobody rides along from "
        "the onset of rain on; needs ride_by.",
    )
    storm_from: ClockTime = Field(
        "14:00",
        min_length=5,
        max_length=5,
        description="From then on storms are usual: nobody is in the field (judgement).",
    )
    storm_to: ClockTime = Field(
        "17:00", min_length=5, max_length=5, description="The end of these hours (judgement)."
    )
    back_by: ClockTime = Field(
        "17:30", min_length=5, max_length=5, description="When everybody is back, before dark."
    )
    rain_day_every: int = Field(
        5,
        ge=0,
        le=100,
        description="One working day in so many is held back for rain; 0: none (judgement).",
    )
    farmer_names: bool = Field(
        default=False,
        description="Whether farmers' names stand on the agents' own day sheets, where "
        "files.farmer_name_column is read. In calendars and routes they never do.",
    )
    relief: bool = Field(
        default=True,
        description="Whether it is worked out what one more agent, a faster way or a tank of fuel "
        "would recover and what a cut of cut_share would drop; each plans the season again.",
    )
    cut_share: Share = Field(0.2, description="Share of days that the cut takes (judgement).")
    seed: int = Field(1, ge=1, le=1_000_000, description="Seed of the search.")
    iterations: int = Field(
        2_000,
        ge=1,
        le=1_000_000,
        description="Steps of the search for every hundred visits (judgement).",
    )
    seconds: float | None = Field(
        None,
        gt=0,
        le=86_400,
        description="A search ends after so many seconds; such a plan isn't reproducible, and "
        "says so. Left out: no clock.",
    )

    @property
    def asked(self) -> bool:
        """Whether visits are to be planned.

        Returns
        -------
        bool
            True where agents are named.
        """
        return self.agents is not None

    @model_validator(mode="after")
    def _whole(self) -> Visits:
        if not self.asked:
            told = {"leave", "meeting_places", "by_hand", "observed", "carried_on", "trips"}
            if self.model_fields_set & told:
                raise ValueError("names no agents. Give them, or take the section out")
            return self
        if self.carried_on is not None and self.made_on is None:
            raise ValueError("has carried_on without made_on. Give the day")
        if self.roads_closed is not None and self.ride_by != "roads":
            raise ValueError('has roads_closed without ride_by = "roads". Give it')
        if self.storm_from >= self.storm_to:
            raise ValueError("has storm_from at or after storm_to. Change one of them")
        return self


class Sheets(Section):
    """Which plots get a sheet of paper."""

    plots: Literal["flagged", "all", "none"] = Field(
        "flagged", description="Plots that get a sheet: those flagged or to be measured, all, none."
    )
    plot_ids: list[Text] | None = Field(
        None,
        min_length=1,
        max_length=10_000,
        description="Ids of the plots that get a sheet, such as this week's; left out: by plots.",
    )
    sheets_max: int = Field(
        1_000,
        ge=1,
        le=100_000,
        description="Most plot sheets of a run; of more, none is written (judgement).",
    )


class Page(Section):
    """The map."""

    language: Literal["en", "fr"] = Field(
        "en",
        description="Language of what is printed: en; or fr, in part, not yet reviewed by a "
        "speaker.",
    )
    village_pages_max: int = Field(
        100,
        ge=0,
        le=10_000,
        description="Most pages for phones of a run, one a village; of more villages, none is "
        "written (judgement).",
    )
    tiles: Annotated[Text, AfterValidator(tile_address.checked)] | None = Field(
        None,
        description=f"Address of pictures of the ground on a server, such as "
        f"{tile_address.EXAMPLE}: squares of EPSG:3857 by zoom level, column and row from the "
        "north-west. Pages ask for them only once someone switches them on; the server then sees "
        "which land is looked at. Its terms are yours to keep. Left out: no page asks the network "
        "for anything.",
    )
    tiles_credit: Annotated[Text, AfterValidator(_named)] | None = Field(
        None,
        description="Whom the pictures are from, as their terms want it said; stands on the map "
        "and on paper while they are on. Needed with tiles.",
    )
    tiles_zoom_min: int = Field(
        0, ge=0, le=TILES_ZOOM_MAX, description="Lowest zoom level that the server has."
    )
    tiles_zoom_max: int = Field(
        18,
        ge=0,
        le=TILES_ZOOM_MAX,
        description="Highest zoom level that the server has; nearer, its pictures are enlarged.",
    )

    @model_validator(mode="after")
    def _credited(self) -> Page:
        if (self.tiles is None) != (self.tiles_credit is None):
            raise ValueError("needs both tiles and tiles_credit, or neither. Give the other")
        low, high = self.tiles_zoom_min, self.tiles_zoom_max
        if low > high:
            raise ValueError(f"tiles_zoom_min = {low} is above tiles_zoom_max = {high}")
        return self


class Limits(Section):
    """What is believed of a plot, and how large a job may be."""

    plot_area_min_ha: float = Field(
        0.005, gt=0, le=1, description="Smaller plots are set aside [ha] (judgement)."
    )
    plot_area_max_ha: float = Field(
        1_000.0, gt=0, le=1_000_000, description="Larger plots are set aside [ha] (judgement)."
    )
    repair_area_max_pct: float = Field(
        5.0,
        ge=0,
        le=50,
        description="A broken outline is set aside where mending it would change its area by more "
        "than this [%] (judgement).",
    )
    spike_angle_max_deg: float = Field(
        3.0,
        ge=0,
        le=30,
        description="Corners of an outline sharper than this are spikes and cut off; 0 cuts none "
        "[°] (judgement).",
    )
    name_likeness_min_pct: float = Field(
        80.0,
        ge=50,
        le=100,
        description="Least likeness of two names of villages for one to be suggested for the other "
        "[%] (judgement).",
    )
    overlap_min_pct: float = Field(
        5.0,
        ge=0,
        le=100,
        description="Two plots are told to overlap where they share more than this of the smaller "
        "[%] (judgement).",
    )

    @model_validator(mode="after")
    def _in_order(self) -> Limits:
        low, high = self.plot_area_min_ha, self.plot_area_max_ha
        if low > high:
            raise ValueError(f"plot_area_min_ha = {low:g} is above plot_area_max_ha = {high:g}")
        return self


def _publish(told: dict[str, Any], handbook: Handbook) -> None:
    """Set keys that a plan doesn't set to the handbook's numbers."""
    for name, field in Plan.model_fields.items():
        section = field.annotation
        if not (isinstance(section, type) and issubclass(section, Section)):
            continue
        for key, declared in section.model_fields.items():
            if isinstance(extra := declared.json_schema_extra, dict) and "published" in extra:
                table, row = cast("tuple[str, str]", extra["published"])
                usual = handbook.tables[table].constants.get(row)
                told.setdefault(name, {}).setdefault(key, usual)


class Plan(Section):
    """The whole plan file."""

    plan: Version = Field(default_factory=lambda: Version(version=1))
    district: District
    files: Files
    elevation: Elevation
    terrain: Terrain = Field(default_factory=Terrain)
    water: Water = Field(default_factory=Water)
    soil: Soil = Field(default_factory=Soil)
    erosion: Erosion = Field(default_factory=Erosion)
    conservation: Conservation = Field(default_factory=Conservation)
    practice: Practice = Field(default_factory=Practice)
    fertiliser: Fertiliser = Field(default_factory=Fertiliser)
    rows: Rows = Field(default_factory=Rows)
    string: String = Field(default_factory=String)
    enrolment: Enrolment = Field(default_factory=Enrolment)
    orders: Orders = Field(default_factory=Orders)
    season: Season = Field(default_factory=Season)
    labour: Labour = Field(default_factory=Labour)
    money: Money = Field(default_factory=Money)
    demos: Demos = Field(default_factory=Demos)
    visits: Visits = Field(default_factory=Visits)
    sheets: Sheets = Field(default_factory=Sheets)
    page: Page = Field(default_factory=Page)
    limits: Limits = Field(default_factory=Limits)

    @property
    def tonnes(self) -> bool:
        """Whether R, K and C are given in any way, so that there are tonnes of soil.

        Returns
        -------
        bool
            False where one of them is left out.
        """
        soil = self.soil
        rain = (
            soil.rain_erosivity_mj_mm_ha_h_yr,
            soil.rain_equation,
            soil.rain_erosivity_raster,
        )
        ground = (
            soil.erodibility_t_ha_h_ha_mj_mm,
            self.files.soils,
            soil.erodibility_raster,
        )
        cover = (soil.cover_factor, soil.cover)
        return all(any(way is not None for way in ways) for ways in (rain, ground, cover))

    def file_of(self, key: str) -> str | None:
        """Give the name of a file with a row a plot, a farmer or a village.

        Parameters
        ----------
        key : str
            Its key, of ``[files]``, ``[demos]`` or ``[visits]``.

        Returns
        -------
        str | None
            The name; None where the plan names no such file.
        """
        for section in (self.files, self.demos, self.visits):
            if key in type(section).model_fields:
                name: str | None = getattr(section, key)
                return name
        raise KeyError(key)

    def usual_onset(self, handbook: Handbook) -> date:
        """Give the day on which rains usually begin.

        Parameters
        ----------
        handbook : Handbook
            Table ``practice``: how long after the onset the crop is planted.

        Returns
        -------
        datetime.date
            As given, else counted back from the planting date.
        """
        if self.season.onset_usual is not None:
            return self.season.onset_usual
        after = round(handbook.number("practice", "plant_after_onset_days"))
        return self.district.planting_date - timedelta(days=after)

    def with_error(self, vertical_error_m: float, error_correlation_m: float) -> Plan:
        """Take the raster's error as estimated, unless the plan states it.

        Parameters
        ----------
        vertical_error_m : float
            Random, relative vertical error, one standard deviation [m].
        error_correlation_m : float
            Distance over which errors are alike [m].

        Returns
        -------
        Plan
            The same plan; an error that it doesn't know is the one given.
        """
        if self.elevation.error_known:
            return self
        error = {
            "vertical_error_m": vertical_error_m,
            "error_correlation_m": error_correlation_m,
        }
        return self.model_copy(update={"elevation": self.elevation.model_copy(update=error)})

    def under(self, handbook: Handbook) -> Plan:
        """Take published defaults from the tables in force.

        Parameters
        ----------
        handbook : Handbook
            The tables, a user's among them.

        Returns
        -------
        Plan
            The same plan; keys that it doesn't set have the handbook's values.

        Raises
        ------
        InputError
            If a user's table has a value that the plan does not allow.
        """
        told = self.model_dump(exclude_unset=True)
        own = set(told.get("practice", {}))
        _publish(told, handbook)
        practice = told["practice"]
        if practice.get("seed_kg_ha") is not None:
            # The rate implies a weight, which stands before the practice's.
            practice["hundred_seed_weight_g"] = None
        practice.setdefault("row_form", handbook.practice.row_form)
        practice.setdefault("two_seeds", handbook.practice.two_seeds)
        if "urea" in handbook.practice.products:
            timing = handbook.practice.products["urea"].timing
            told["fertiliser"].setdefault("urea_time", timing)
        if practice.get("sprouted_of_100"):
            practice.setdefault("germination_share", practice["sprouted_of_100"] / 100)
        if self.elevation.source is not None:
            rows = handbook.rows(ERRORS)
            typical = rows[rows["name"] == self.elevation.source].iloc[0].to_dict()
            keys = ["surface"]
            if self.elevation.reference_land is None:
                keys += ["vertical_error_m", "error_correlation_m"]
            for key in keys:
                told["elevation"].setdefault(key, typical[key])
        try:
            asked = Plan.model_validate(told)
        except ValidationError as error:
            raise InputError(
                *(
                    Fault(
                        "a table of your handbook",
                        f"{'.'.join(map(str, wrong['loc']))}: {wrong['msg']}",
                        "Correct the table, or set the key in the plan",
                    )
                    for wrong in error.errors()
                )
            ) from error
        if "hole_spacing_cm" in own:
            return asked
        return asked.model_copy(update={"practice": asked.practice.apart(handbook)})
