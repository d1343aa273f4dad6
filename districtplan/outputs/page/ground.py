"""The ground of the map: the hillshade as a quiet, warm grey picture."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

if TYPE_CHECKING:
    from districtplan.results import Relief

DARKEST = 95
LIGHTEST = 255
OPACITY = 0.6
"""How much of the picture hides the paper below it, which makes the grey warm."""

QUALITY = 75
SIDE_MAX = 3_000
"""Longest side of the picture [pixels]: a phone must hold it in memory, four bytes a pixel."""


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
