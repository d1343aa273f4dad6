"""Plots as layers for mapping programs: GeoParquet 1.1 and GeoPackage."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import pyogrio

from districtplan.outputs.measure_words import cautions, where_led
from districtplan.outputs.plot_table import (
    demo_layers,
    plot_table,
    with_hillside,
    work_layers,
)
from districtplan.outputs.visit_tables import visit_layers
from districtplan.outputs.wording import BARRED
from districtplan.outputs.work_words import care

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

LAYER = "plots"
GEOMETRY = {
    "features": "Unknown",
    "guide_lines": "LineString",
    "structure_lines": "Unknown",
    "outlets": "Unknown",
    "demo_halves": "Unknown",
    "visits": "Point",
    "visit_routes": "LineString",
    "catchments": "MultiPolygon",
}
"""Kinds of geometry of layers that have several, or whose rows may all be without one."""

OF_ROWS = ("rows", "guide_lines", "part_boundaries")
"""Layers that show how rows are set out; pegs are of such plots only."""

OF_RASTER = ("guide_lines", "part_boundaries")
"""Layers in the CRS of the raster."""


def render(results: Results, texts: Texts) -> dict[str, bytes]:
    """Write the plots with their outlines; the GeoPackage also has rows, water and measures.

    What to mind before any of them is built is a table ``cautions`` without geometry.

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
    layers: dict[str, pd.DataFrame] = {LAYER: frame}
    barred = frame.loc[frame["row_set_by"].isin(BARRED.values()), "plot_id"]
    others = {
        "rows": results.row_lines.lines,
        "guide_lines": results.guides.lines,
        "part_boundaries": results.guides.boundaries,
        "pegs": results.pegs.table,
        "flow_lines": results.flow_lines,
        "catchments": results.catchments,
        "features": results.features.used,
        **_with_cautions(work_layers(results), results, texts),
        **demo_layers(results),
        **visit_layers(results),
    }
    for name in OF_ROWS:
        others[name] = others[name][~others[name]["plot_id"].isin(barred)]
    for name, table in others.items():
        if len(table):
            crs = results.guides.crs if name in OF_RASTER else results.grid_crs
            layers[name] = gpd.GeoDataFrame(table, geometry="geometry", crs=crs)
    measures = with_hillside(results.proposal.chosen, results)
    if len(measures):
        outlines = results.plots.set_index("plot_id")["geometry"]
        layers["measures"] = gpd.GeoDataFrame(
            measures.assign(
                measure=measures["measure"].astype(object),
                caution=cautions(measures["measure"], results, texts),
            ),
            geometry=measures["plot_id"].map(outlines).to_numpy(),
            crs=results.plots_crs,
        )
    layers["cautions"] = care(texts)
    return {"plots.parquet": _parquet(frame), "plots.gpkg": _geopackage(layers, written)}


def _with_cautions(
    works: Mapping[str, pd.DataFrame], results: Results, texts: Texts
) -> dict[str, pd.DataFrame]:
    """Put beside each line, waterway and outlet what to mind."""
    below, stop = texts.say("cautions.below"), texts.say("cautions.slipping")
    dug = texts.say("measures.caution.technician")
    lines = works["structure_lines"]
    own = cautions(lines["structure"], results, texts)
    told: dict[str, pd.Series | str] = {
        "structure_lines": where_led(own, lines["structure_outlet"].notna(), texts),
        "waterways": f"{dug} {below} {stop}",
        "outlets": f"{below} {stop}",
    }
    return {name: table.assign(caution=told[name]) for name, table in works.items()}


def _parquet(frame: gpd.GeoDataFrame) -> bytes:
    target = io.BytesIO()
    frame.to_parquet(target, index=False, schema_version="1.1.0", write_covering_bbox=True)
    return target.getvalue()


def _geopackage(layers: Mapping[str, pd.DataFrame], written: str) -> bytes:
    # GDAL adds a layer to a file on disk only, not to one in memory.
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plots.gpkg"
        # A GeoPackage records when it was written: the plan's date, or no two runs would be equal.
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": written})
        try:
            for name, frame in layers.items():
                pyogrio.write_dataframe(
                    frame,
                    path,
                    driver="GPKG",
                    layer=name,
                    promote_to_multi=name in (LAYER, "measures", "catchments"),
                    geometry_type=GEOMETRY.get(name),
                    append=path.exists(),
                )
        finally:
            pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
        return path.read_bytes()
