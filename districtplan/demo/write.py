"""The demo's files, as bytes."""

from __future__ import annotations

import csv
import io
from importlib import resources
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
import shapely
from affine import Affine
from rasterio.io import MemoryFile

from districtplan import handbook
from districtplan.demo.ground import (
    CELL_M,
    EPSG,
    ERROR_CORRELATION_M,
    NODATA,
    NORTH_M,
    VERTICAL_ERROR_M,
    WEST_M,
)
from districtplan.demo.readings import BEARING_ERROR_DEG, EVERY, SLOPE_ERROR_PCT
from districtplan.demo.season import BARRIER, ROWS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from districtplan.demo.broken import Broken
    from districtplan.demo.features import Feature
    from districtplan.demo.fields import Field
    from districtplan.demo.ground import Ground

# A GeoPackage records when it was written; the demo was written on its planting date.
WRITTEN = "2026-03-15T00:00:00Z"

COSTS = "measure_costs"
INVENTED = "Invented for the demo: measure your own"
DAYS = {
    "contour_ridges": 1,
    "grass_strips": 2,
    "trash_lines": 1,
    "stone_lines": 8,
    "cut_off_drain": 12,
    "grassed_waterway": 15,
    "hillside_ditch": 12,
    "retention_bund": 25,
    "bench_terraces": 0.6,
    "permanent_cover": 60,
}
"""Person-days of each measure, per what the handbook's table of measures says: invented."""

PLAN = f"""\
# The plan of an invented district. Every key that isn't here has a default:
# `districtplan new FOLDER` writes a plan that explains them all.

[plan]
version = 1

[district]
name = "Invented Hills"
planting_date = 2026-03-15

[files]
plots = "plots.gpkg"
plot_id_column = "plot_id"
village_column = "village"
elevation = ["elevation.tif"]
# Slopes and bearings that agents measured: they override the raster on their plots.
readings = "readings.csv"
# Streams, waterways, paths and a slope that slips, as staff drew them.
features = "features.gpkg"
# Invented person-days of measures: nobody's figures fit another district.
handbook = "handbook"
# Who takes part, and what villages have in store. Without the first, what the run tells is an upper
# limit and not an order.
enrolment = "enrolment.csv"
stock = "stock.csv"

[elevation]
# These fit the error that was added to the invented ground. A real raster has its own.
vertical_error_m = {VERTICAL_ERROR_M}
error_correlation_m = {ERROR_CORRELATION_M}

[soil]
# Invented, of a size that hills in the wet tropics may have. Ask a soil office for your own.
rain_erosivity_mj_mm_ha_h_yr = 4500
erodibility_t_ha_h_ha_mj_mm = 0.03
# An assumption: no published cover factor for hand-planted beans could be verified.
cover_factor = 0.2

[practice]
# Seed of the farmers' own: 88 of 100 sprouted in their test, which decides on seeds a hole.
seed_class = "farm-saved"
sprouted_of_100 = 88
# Invented: weigh 100 seeds of yours.
hundred_seed_weight_g = 40
emergence_share = 0.9
# Invented rates, not advice: take yours from a soil test or the local extension office.
npk_kg_ha = 100
urea_kg_ha = 40
manure_kg_ha = 3000
row_form = "earthed up"

[string]
# Invented: weigh 100 level caps and 20 handfuls of yours.
cap_npk_g = 6
cap_urea_g = 5
handful_manure_g = 300

[conservation]
# What soil staff have for this season; hillsides build together.
budget = 1500
choose_by = "work site"

[orders]
# Invented sizes of packs.
bought_at = "village"
seed_pack_kg = 2
npk_pack_kg = 50
urea_pack_kg = 50
vehicle_kg = 4000
"""

SEASON = f"""
[money]
# Invented prices, in a money that there isn't: an example, never a promise.
currency = "shells"
seed_price_kg = 2.4
npk_price_kg = 1.1
urea_price_kg = 0.9
manure_price_kg = 0.02
grain_price_low_kg = 0.7
grain_price_high_kg = 1.2

[demos]
# Ten plots teach: most farmers within 1,200 m, no two near one another, slopes as the land's.
plots = 10
reach_m = 1200
village_max = 2
apart_m = 500
slope_limits_pct = [5, 12, 25]
class_tolerance_share = 0.15
answers = "answers.csv"
shown = "shown.csv"

[[demos.messages]]
name = "{ROWS}"
treatments = ["seed of good quality", "NPK and urea", "rows on the contour"]
slope_max_pct = 12

[[demos.messages]]
name = "{BARRIER}"
treatments = ["seed of good quality", "NPK and urea", "contour rows", "grass strips"]
barrier = true
tenure = true
slope_min_pct = 8
slope_max_pct = 30

[visits]
# Three invented agents: one rides, one cycles, one walks. Sessions are at demonstration plots and
# meeting places; where soil loss is highest or the raster says nothing, somebody comes to peg.
agents = "agents.csv"
leave = "leave.csv"
meeting_places = "meeting_places.csv"
by_hand = "by_hand.csv"
holidays = [2026-05-01]
class_above = 4
# Few steps, for the demo to be quick: leave the key out for a better plan.
iterations = 60

[labour]
# Invented person-days: time your own teams. No published figure could be confirmed.
peg_and_dig_days_ha = 35
planting_days_ha = 20
weeding_1_days_ha = 22
weeding_2_days_ha = 18
weeding_3_days_ha = 10
harvest_days_ha = 25
manure_loads_a_day = 12
hands_a_plot = 2
"""

README = """\
An invented district
====================

Nothing here is real. The hills are a formula, the fields were laid along them by a program, and
the villages' names are made up. The coordinates (EPSG:{epsg}) lie in open ocean, so that no
real field is meant. `districtplan demo` makes these files anew; seed {seed} made these.

elevation.tif   Cells of {cell:g} m: a valley, spurs and hollows, a scarp, a round hill. To the
                heights of the formula was added a smooth random error with a standard deviation
                of {error:g} m and a Gaussian correlation length of {correlation:g} m (the plan
                states both). One cell inside a plot has no value, as happens in real rasters.
plots.gpkg      {good} fields in {villages} villages, and {bad} rows that can't be used:
{faults}
readings.csv    What an agent with a level and a compass would have read on one field in {every}:
                the true slope and level line, with an error of {slope:g} points and {bearing:g}°.
                One reading is a slip of the pen, one is of a field that isn't in plots.gpkg.
features.gpkg   Streams down the hollows and two brooks into them, two paths, three grassed
                waterways, a slope that slips, and one feature of a kind that isn't known. Brooks
                and waterways have names.
handbook        What measures cost in person-days: invented figures, since no published ones could
                be confirmed. They stand in place of the empty table of the package.
enrolment.csv   Who takes part, with consent, and how much of the field is under beans; one row is
                of a field that isn't in plots.gpkg. Drawn by chance.
stock.csv       What two villages have in store: one more NPK than it needs.
answers.csv     Who holds the land, when beans stood there, sex, youth, who was reached before.
                Drawn by chance.
shown.csv       Two demonstration plots of the season before: a grass strip that is to stand for two
                seasons more, and rows that now rest.
agents.csv      Three agents: where they start, their days and hours, how they go about.
leave.csv       A week of leave of one of them.
meeting_places.csv  Three places where farmers meet, beside the demonstration plots.
by_hand.csv     A visit that the office has fixed to a day.
plan.toml       What is wanted. Rain erosivity, erodibility, rates, the weights of 100 seeds, of
                caps and handfuls, sizes of packs, prices and person-days are invented; the cover
                factor is an assumption, since no published one for hand-planted beans could be
                verified.

The slopes are steeper in places than beans should be planted on: the demo is to show what the
pages say there.
"""


def plan() -> bytes:
    """Write the plan.

    Returns
    -------
    bytes
        A TOML file.
    """
    return (PLAN + SEASON).encode()


def readme(good: list[Field], bad: list[Broken], seed: int) -> bytes:
    """Write how the files were made.

    Parameters
    ----------
    good : list[Field]
        The fields.
    bad : list[Broken]
        The rows that can't be used.
    seed : int
        The seed that made them.

    Returns
    -------
    bytes
        A text file.
    """
    faults = "\n".join(
        f"{' ' * 16}row {len(good) + number}: {row.fault}" for number, row in enumerate(bad, 1)
    )
    text = README.format(
        epsg=EPSG,
        seed=seed,
        cell=CELL_M,
        error=VERTICAL_ERROR_M,
        correlation=ERROR_CORRELATION_M,
        good=len(good),
        villages=len({field.village for field in good}),
        bad=len(bad),
        every=EVERY,
        slope=SLOPE_ERROR_PCT,
        bearing=BEARING_ERROR_DEG,
        faults=faults,
    )
    return text.encode()


def plots(good: list[Field], bad: list[Broken]) -> bytes:
    """Write the plots.

    Parameters
    ----------
    good : list[Field]
        The fields.
    bad : list[Broken]
        The rows that can't be used, written after them.

    Returns
    -------
    bytes
        A GeoPackage with the layer ``plots``.
    """
    frame = gpd.GeoDataFrame(
        {
            "plot_id": [field.plot_id for field in good] + [row.plot_id for row in bad],
            "village": [field.village for field in good] + [row.village for row in bad],
        },
        geometry=[field.outline for field in good] + [row.shape for row in bad],
        crs=f"EPSG:{EPSG}",
    )
    return _geopackage(frame, "plots")


def features(drawn: list[Feature]) -> bytes:
    """Write the features.

    Parameters
    ----------
    drawn : list[Feature]
        The features.

    Returns
    -------
    bytes
        A GeoPackage with the layer ``features``.
    """
    shapes = [shapely.transform(one.shape, lambda xy: np.round(xy, 1)) for one in drawn]
    told = {"kind": [one.kind for one in drawn], "name": [one.name for one in drawn]}
    return _geopackage(gpd.GeoDataFrame(told, geometry=shapes, crs=f"EPSG:{EPSG}"), "features")


def _geopackage(frame: gpd.GeoDataFrame, layer: str) -> bytes:
    target = io.BytesIO()
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": WRITTEN})
    try:
        pyogrio.write_dataframe(frame, target, driver="GPKG", layer=layer, geometry_type="Unknown")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
    return target.getvalue()


def labour() -> Mapping[str, bytes]:
    """Write what measures cost in labour, in place of the empty table of the handbook.

    Returns
    -------
    Mapping[str, bytes]
        ``measure_costs.csv`` and the TOML beside it, in a folder ``handbook``.
    """
    own = handbook.packaged().tables[COSTS].rows["name"]
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(
        [
            ("name", "days", "material_money", "source", "provenance"),
            *((name, f"{DAYS[name]:g}", "", INVENTED, "judgement") for name in own),
        ]
    )
    told = resources.files(handbook).joinpath(f"{COSTS}.toml").read_bytes()
    return {f"handbook/{COSTS}.csv": text.getvalue().encode(), f"handbook/{COSTS}.toml": told}


def _with_gap(survey: NDArray[np.float32], good: list[Field]) -> NDArray[np.float32]:
    inside = max(good, key=lambda field: field.outline.area).outline.representative_point()
    row = int((NORTH_M - inside.y) / CELL_M)
    column = int((inside.x - WEST_M) / CELL_M)
    gapped = survey.copy()
    gapped[row, column] = NODATA
    return gapped


def elevation(ground: Ground, good: list[Field]) -> bytes:
    """Write the elevation raster.

    Parameters
    ----------
    ground : Ground
        The hills and their survey.
    good : list[Field]
        The fields; the largest gets one cell without a value.

    Returns
    -------
    bytes
        A tiled GeoTIFF.
    """
    values = _with_gap(ground.survey, good)
    profile = {
        "driver": "GTiff",
        "dtype": "float32",
        "count": 1,
        "height": values.shape[0],
        "width": values.shape[1],
        "crs": f"EPSG:{EPSG}",
        "transform": Affine(CELL_M, 0.0, WEST_M, 0.0, -CELL_M, NORTH_M),
        "nodata": NODATA,
        "compress": "deflate",
        "predictor": 3,
        "tiled": True,
        "blockxsize": 256,
        "blockysize": 256,
    }
    with rasterio.Env(GDAL_NUM_THREADS="1"), MemoryFile() as memory:
        with memory.open(**profile) as raster:
            raster.write(values, 1)
        return bytes(memory.read())
