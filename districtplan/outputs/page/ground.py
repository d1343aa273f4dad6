"""The ground of the map: a quiet grey hillshade over a tint of how high land lies."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from districtplan.outputs.page import palette, shapes
from districtplan.results import Relief

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from districtplan.plan import Page

DARKEST = 110
LIGHTEST = 255
OPACITY = 0.6
"""How much of the hillshade hides the tint below it, or the paper, which makes the grey warm."""

AROUND_M = 800.0
"""Ground around the plots of a village on its own page [m]."""
QUALITY = 75
SIDE_MAX = 3_000
"""Longest side of the picture [pixels]: a phone must hold it in memory, four bytes a pixel."""
TINT_SIDE_MAX = 400
"""Longest side of the tint [pixels]: heights change little over a few cells, and a browser draws
between their middles."""
TINTS = 48
"""Steps from the lowest tint to the highest: too small to be seen, and small to store."""


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
        relief.heights_m[top:bottom, left:right],
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
    """Make pictures of hillshade and heights and say where they lie.

    Parameters
    ----------
    relief : Relief
        Hillshade and heights on an EPSG:3857 grid, whose outer edges are the bounds: stretching a
        picture of another projection would shift it by metres to hundreds of metres.

    Returns
    -------
    dict[str, object]
        ``image``, the hillshade, and ``tint``, which goes below it: data URIs (WebP, transparent
        where there is no elevation; no tint where there is none at all); ``tints``, of the lowest
        and the highest ground, ``low_m`` and ``high_m``; ``bounds_deg`` (west, south, east, north)
        and ``opacity`` of the hillshade.
    """
    shade = Image.fromarray(np.asarray(relief.shade, dtype=np.uint8))
    # A cell without elevation has the value 0: nearest keeps it from bleeding into others.
    shade = shade.resize(_within(shade.size, SIDE_MAX), Image.Resampling.NEAREST)
    grey = shade.point([_grey(value) for value in range(256)])
    # Neutral grey: a tint would be stored coarsely and come out as blotches.
    image = Image.merge("RGBA", [grey, grey, grey, shade.point([0] + [255] * 255)])
    bounds = (relief.west, relief.south, relief.east, relief.north)
    return {
        "image": _uri(image, quality=QUALITY),
        "bounds_deg": [round(float(edge), 7) for edge in bounds],
        "opacity": OPACITY,
        **_tint(relief.heights_m),
    }


def _tint(heights_m: NDArray[np.float32]) -> dict[str, object]:
    """Make the picture of heights, and say what its ends stand for."""
    known = ~np.isnan(heights_m)
    if not known.any():
        return {"tint": None, "tints": palette.TINT, "low_m": None, "high_m": None}
    low, high = float(heights_m[known].min()), float(heights_m[known].max())
    size = _within(heights_m.shape[::-1], TINT_SIDE_MAX)

    def averaged(values: NDArray[np.float32]) -> NDArray[np.float32]:
        # Over whatever part of a cell a pixel covers, so that the edges stay where they are.
        picture = Image.fromarray(values.astype(np.float32))
        return np.asarray(picture.resize(size, Image.Resampling.BOX))

    covered = averaged(known)
    mean = averaged(np.where(known, heights_m - low, 0)) / np.maximum(covered, np.finfo(float).eps)
    step = np.clip(np.rint(mean / max(high - low, 1) * (TINTS - 1)), 0, TINTS - 1)
    ends = np.array([[int(end[at : at + 2], 16) for at in (1, 3, 5)] for end in palette.TINT])
    colour = ends[0] + (ends[1] - ends[0]) * (step / (TINTS - 1))[:, :, None]
    alpha = np.where(covered > 0, 255, 0)[:, :, None]
    image = Image.fromarray(np.concatenate([np.rint(colour), alpha], axis=2).astype(np.uint8))
    return {
        "tint": _uri(image, lossless=True),
        "tints": palette.TINT,
        "low_m": round(low),
        "high_m": round(high),
    }


def tiles(page: Page) -> dict[str, object] | None:
    """Say where pictures of the ground come from, if the plan asks for any.

    Parameters
    ----------
    page : Page
        The plan's section.

    Returns
    -------
    dict[str, object] | None
        ``address``, with ``{z}``, ``{x}`` and ``{y}``; ``credit``; ``zooms``, the lowest and the
        highest level. None where the plan asks for none.
    """
    if page.tiles is None:
        return None
    return {
        "address": page.tiles,
        "credit": page.tiles_credit,
        "zooms": [page.tiles_zoom_min, page.tiles_zoom_max],
    }


def _within(size: tuple[int, ...], side_max: int) -> tuple[int, int]:
    """Make a size smaller, if it is too large."""
    factor = min(1.0, side_max / max(size))
    return max(1, round(size[0] * factor)), max(1, round(size[1] * factor))


def _uri(image: Image.Image, **how: object) -> str:
    out = io.BytesIO()
    image.save(out, format="WEBP", method=4, **how)
    return "data:image/webp;base64," + base64.b64encode(out.getvalue()).decode("ascii")


def _grey(value: int) -> int:
    return round(DARKEST + (LIGHTEST - DARKEST) * value / 255)
