"""Row lines as shapes, for layers and pages."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from districtplan.rows.straight import Pieces, back, pieces

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.rows.lay import Laid
    from districtplan.rows.straight import Layout


def draw(laid: Laid, rows_max: int) -> tuple[pd.DataFrame, int]:
    """Draw rows as lines, all of them where they are few enough.

    Rows that only stand in for curved ones aren't: they would break the limit.

    Parameters
    ----------
    laid : Laid
        The rows of plots.
    rows_max : int
        Most rows to draw; where there are more, each n-th of every plot is drawn, counted from its
        first, with the smallest n for which their number is about that.

    Returns
    -------
    lines : pandas.DataFrame
        ``plot_id``, ``crop``, ``row`` (its number in the plot, the first 1), ``length_m`` on the
        ground and ``geometry`` in the UTM zone, ordered by family, plot and row.
    every : int
        The n: 1 where all rows are drawn.
    """
    every = 1
    breadth = sum(_rows_about(laid, layout) for _, layout in laid.layouts)
    if breadth > rows_max:
        every = int(np.ceil(breadth / rows_max))
    frames = [
        _lines(laid, family.crop, layout, pieces(laid.land, layout, every))
        for family, layout in laid.layouts
    ]
    return pd.concat(frames, ignore_index=True), every


def _rows_about(laid: Laid, layout: Layout) -> float:
    """Reckon the number of rows: each is crossed by two edges at least."""
    land = laid.land
    sine, cosine = np.sin(np.radians(layout.bearing_deg)), np.cos(np.radians(layout.bearing_deg))
    plot = land.owner()
    x, y = (land.end - land.xy).T
    across = np.abs(x * cosine[plot] - y * sine[plot])
    return float((across / layout.spacing_m[plot]).sum() / 2)


def _lines(laid: Laid, crop: str, layout: Layout, found: Pieces) -> pd.DataFrame:
    found = Pieces(*(values[~laid.stand_in[found.plot]] for values in vars(found).values()))
    plot = found.plot
    bearing, side = layout.bearing_deg[plot], layout.side[plot]
    ends = [
        laid.origin[plot] + laid.scale[plot, None] * back(s, found.across, bearing, side)
        for s in (found.near, found.far)
    ]
    return pd.DataFrame(
        {
            "plot_id": laid.plot_id[plot],
            "crop": np.full(len(plot), crop, dtype=object),
            "row": found.row + 1,
            "length_m": found.far - found.near,
            "geometry": _segments(*ends),
        }
    )


def _segments(near: NDArray[np.float64], far: NDArray[np.float64]) -> NDArray[np.object_]:
    lines = shapely.linestrings(np.stack([near, far], axis=1))
    return np.asarray(lines, dtype=object)
