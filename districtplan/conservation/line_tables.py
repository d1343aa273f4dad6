"""Lines, refusals and waterways of all work sites as tables."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import shapely

from districtplan import tables
from districtplan.conservation.structure_lines import DRAWN

if TYPE_CHECKING:
    from collections.abc import Mapping

    from districtplan.conservation.structure_lines import Drawn
    from districtplan.tables import Maker


class LineTables(NamedTuple):
    """What is drawn on all sites; shapes are in the plane of the hillsides.

    Attributes
    ----------
    lines : pandas.DataFrame
        One row a line, by site and measure, from the top down, with ``geometry``.
    refused : pandas.DataFrame
        One row a site and measure whose lines, or those below the last, aren't drawn.
    waterways : pandas.DataFrame
        One row a waterway to build first, with ``geometry``.
    """

    lines: pd.DataFrame
    refused: pd.DataFrame
    waterways: pd.DataFrame


def line_tables(drawn: Mapping[str, Mapping[str, Drawn]]) -> LineTables:
    """Put what was drawn in tables.

    Parameters
    ----------
    drawn : Mapping[str, Mapping[str, Drawn]]
        By name of the site, and of the measure.

    Returns
    -------
    LineTables
        The tables, each with the columns declared for it.
    """
    lines: list[dict[str, object]] = []
    refused: list[dict[str, object]] = []
    waterways: list[dict[str, object]] = []
    every = [(site, name, one) for site in sorted(drawn) for name, one in drawn[site].items()]
    for site, name, one in every:
        told: dict[str, object] = {"work_site": site, "structure": name}
        if one.reason is not None:
            refused.append(told | {"structure_reason": one.reason})
        if one.waterway is not None:
            waterways.append(
                {
                    "work_site": site,
                    "waterway_length_m": float(one.waterway.line.length),
                    "waterway_fall_m": one.waterway.fall_m,
                    "waterway_outlet": one.waterway.ends_at,
                    "waterway_plots": one.waterway_plots,
                    "geometry": one.waterway.line,
                }
            )
        for line in sorted(one.lines, key=lambda line: line.number):
            length = float(shapely.length(line.shape)) if line.state == DRAWN else np.nan
            lines.append(
                told
                | {
                    "structure_line": line.number,
                    "structure_state": line.state,
                    "structure_length_m": length,
                    "structure_fall_m": line.fall_m,
                    "structure_outlet": line.outlet,
                    "structure_plots": line.plot_ids,
                    "geometry": line.shape,
                }
            )
    return LineTables(
        _table(lines, "structure lines", ("work_site",), ("geometry",)),
        _table(refused, "refused lines", ("work_site", "structure"), ()),
        _table(waterways, "waterways", ("work_site",), ("geometry",)),
    )


def _table(
    rows: list[dict[str, object]], maker: Maker, before: tuple[str, ...], after: tuple[str, ...]
) -> pd.DataFrame:
    columns = (*before, *tables.made_by(maker), *after)
    kinds = {"integer": "int64", "number": "float64"}
    found = pd.DataFrame(rows, columns=list(columns), dtype=object)
    types = {name: kinds.get(tables.BY_NAME[name].kind, "object") for name in columns}
    return tables.check(found.astype(types), columns)
