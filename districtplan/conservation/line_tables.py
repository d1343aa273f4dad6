"""Lines, refusals and waterways of all work sites as tables."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import shapely

from districtplan import tables
from districtplan.conservation.order import safe_if
from districtplan.conservation.outlets import TO_BUILD
from districtplan.conservation.structure_lines import DRAWN

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from districtplan.conservation.structure_lines import Drawn, Line
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


def line_tables(
    drawn: Mapping[str, Mapping[str, Drawn]], taking_part: Collection[str] | None = None
) -> LineTables:
    """Put what was drawn in tables.

    Parameters
    ----------
    drawn : Mapping[str, Mapping[str, Drawn]]
        By name of the site, and of the measure.
    taking_part : Collection[str] | None, default None
        Ids of the plots that take part; None where that isn't known.

    Returns
    -------
    LineTables
        The tables, each with the columns declared for it.
    """
    lines: list[dict[str, object]] = []
    refused: list[dict[str, object]] = []
    waterways: list[dict[str, object]] = []
    dug: set[tuple[str, object]] = set()
    every = [(site, name, one) for site in sorted(drawn) for name, one in drawn[site].items()]
    for site, name, one in every:
        told: dict[str, object] = {"work_site": site, "structure": name}
        if one.reason is not None:
            refused.append(told | {"structure_reason": one.reason})
        safe = () if taking_part is None else safe_if(one, taking_part)[0]
        if one.waterway is not None and (site, one.waterway.line) not in dug:
            # Lines of several measures may end in one waterway.
            dug.add((site, one.waterway.line))
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
                    "structure_needs": _needs(line, one),
                    "structure_safe": None if taking_part is None else int(line in safe),
                    "geometry": line.shape,
                }
            )
    return LineTables(
        _table(lines, "structure lines", ("work_site",), ("geometry",)),
        _table(refused, "refused lines", ("work_site", "structure"), ()),
        _table(waterways, "waterways", ("work_site",), ("geometry",)),
    )


def _needs(line: Line, drawn: Drawn) -> tuple[str, ...]:
    """List the plots that must all take part before a line is safe; a level one is safe alone."""
    if line.outlet is None:
        return ()
    below = drawn.waterway_plots if line.outlet == TO_BUILD else ()
    return tuple(dict.fromkeys((*line.plot_ids, *below)))


def _table(
    rows: list[dict[str, object]], maker: Maker, before: tuple[str, ...], after: tuple[str, ...]
) -> pd.DataFrame:
    columns = (*before, *tables.made_by(maker), *after)
    kinds = {"integer": "Int64", "number": "float64"}
    found = pd.DataFrame(rows, columns=list(columns), dtype=object)
    types = {name: kinds.get(tables.BY_NAME[name].kind, "object") for name in columns}
    return tables.check(found.astype(types), columns)
