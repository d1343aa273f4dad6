"""The ground of the map: the hillshade as a quiet, warm grey picture."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from districtplan.outputs.page import shapes
from districtplan.results import Relief

if TYPE_CHECKING:
    import pandas as pd

DARKEST = 95
LIGHTEST = 255
OPACITY = 0.6
"""How much of the picture hides the paper below it, which makes the grey warm."""

AROUND_M = 800.0
"""Ground around the plots of a village on its own page [m]."""
QUALITY = 75
SIDE_MAX = 3_000
"""Longest side of the picture [pixels]: a phone must hold it in memory, four bytes a pixel."""


def around(relief: Relief, plots: pd.DataFrame) -> Relief:
    """Cut the hillshade to the plots and what lies around them, along whole cells.

    Parameters
    ----------
    relief : Relief
        Hillshade on an EPSG:3857 grid.
    plots : pandas.DataFrame
        ``longitude_deg`` and ``latitude_deg``.

    Returns
    -------
    Relief
        The same grid, fewer cells.
    """
    rows, columns = relief.shade.shape
    west, east = plots["longitude_deg"].min(), plots["longitude_deg"].max()
    low, high = _northing(plots["latitude_deg"].min()), _northing(plots["latitude_deg"].max())
    south, north = _northing(relief.south), _northing(relief.north)
    # Metres at the equator are longer than those on the ground, which matters little here.
    cell_deg, cell = (relief.east - relief.west) / columns, (north - south) / rows
    aside = AROUND_M / (shapes.RADIUS_M * np.radians(1))
    left = int(np.clip((west - relief.west - aside) // cell_deg, 0, columns - 1))
    right = int(np.clip(-((relief.west - east - aside) // cell_deg), left + 1, columns))
    top = int(np.clip((north - high - AROUND_M) // cell, 0, rows - 1))
    bottom = int(np.clip(-((low - north - AROUND_M) // cell), top + 1, rows))
    return Relief(
        relief.shade[top:bottom, left:right],
        relief.west + left * cell_deg,
        _latitude(north - bottom * cell),
        relief.west + right * cell_deg,
        _latitude(north - top * cell),
    )


def _northing(latitude: float) -> float:
    return float(shapes.northing(np.array(latitude)))


def _latitude(northing: float) -> float:
    return float(np.degrees(np.arctan(np.sinh(northing / shapes.RADIUS_M))))


def picture(relief: Relief) -> dict[str, object]:
    """Make the picture and say where it lies.

    Parameters
    ----------
    relief : Relief
        Hillshade on an EPSG:3857 grid, whose outer edges are the bounds: stretching a picture of
        another projection would shift it by metres to hundreds of metres.

    Returns
    -------
    dict[str, object]
        ``image``, a data URI (WebP, transparent where there is no elevation), ``bounds_deg``
        (west, south, east, north) and ``opacity``.
    """
    shade = Image.fromarray(np.asarray(relief.shade, dtype=np.uint8))
    factor = SIDE_MAX / max(shade.size)
    if factor < 1:
        # A cell without elevation has the value 0: nearest keeps it from bleeding into others.
        size = (max(1, round(shade.width * factor)), max(1, round(shade.height * factor)))
        shade = shade.resize(size, Image.Resampling.NEAREST)
    grey = shade.point([_grey(value) for value in range(256)])
    # Neutral grey: a tint would be stored coarsely and come out as blotches.
    image = Image.merge("RGBA", [grey, grey, grey, shade.point([0] + [255] * 255)])
    out = io.BytesIO()
    image.save(out, format="WEBP", quality=QUALITY, method=4)
    uri = "data:image/webp;base64," + base64.b64encode(out.getvalue()).decode("ascii")
    bounds = (relief.west, relief.south, relief.east, relief.north)
    edges = [round(float(edge), 7) for edge in bounds]
    return {"image": uri, "bounds_deg": edges, "opacity": OPACITY}


def _grey(value: int) -> int:
    return round(DARKEST + (LIGHTEST - DARKEST) * value / 255)
