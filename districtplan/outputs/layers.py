"""Plots as layers for mapping programs: GeoParquet 1.1 and GeoPackage."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import geopandas as gpd
import pyogrio

from districtplan.outputs.plot_table import plot_table

if TYPE_CHECKING:
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

LAYER = "plots"


def render(results: Results, texts: Texts) -> dict[str, bytes]:
    """Write the plots with their outlines.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, bytes]
        ``plots.parquet`` and ``plots.gpkg``.
    """
    frame = gpd.GeoDataFrame(plot_table(results, texts), geometry="geometry", crs=results.plots_crs)
    written = f"{results.plan.district.planting_date:%Y-%m-%d}T00:00:00Z"
    return {"plots.parquet": _parquet(frame), "plots.gpkg": _geopackage(frame, written)}


def _parquet(frame: gpd.GeoDataFrame) -> bytes:
    target = io.BytesIO()
    frame.to_parquet(target, index=False, schema_version="1.1.0", write_covering_bbox=True)
    return target.getvalue()


def _geopackage(frame: gpd.GeoDataFrame, written: str) -> bytes:
    target = io.BytesIO()
    # A GeoPackage records when it was written: the plan's date, or no two runs would be equal.
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": written})
    try:
        pyogrio.write_dataframe(frame, target, driver="GPKG", layer=LAYER, promote_to_multi=True)
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
    return target.getvalue()
