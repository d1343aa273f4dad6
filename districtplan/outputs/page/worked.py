"""How the numbers of a card are worked out, each with its source: told once for all plots."""

from __future__ import annotations

from typing import TYPE_CHECKING

from districtplan.handbook import cite

if TYPE_CHECKING:
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

RESTS_ON: dict[str, tuple[tuple[str, tuple[str, ...]], ...]] = {
    "slope": (("equations", ("slope",)),),
    "slope_read": (("ground_readings", ("slope_se_pct",)),),
    "slope_class": (("slope_classes", ()),),
    "bearing": (("equations", ("row_bearing",)),),
    "bearing_se": (("terrain_noise", ("turn_se",)),),
    "bearing_read": (("ground_readings", ("bearing_se_deg",)),),
    "magnetic": (("equations", ("magnetic_north",)),),
    "guides": (("equations", ("guide_lines",)),),
    "rows": (("equations", ("rows",)),),
    "water": (("equations", ("flow_direction", "spill")),),
    "loss": (("equations", ("soil_loss", "ls")),),
    "loss_contour": (("contour_p", ()), ("erosion_classes", ())),
    "limits": (
        (
            "land_use_limits",
            (
                "equations_slope_max_pct",
                "structures_from_slope_pct",
                "perennials_from_slope_pct",
                "forest_from_slope_pct",
            ),
        ),
    ),
    "measure": (("measures", ()),),
    "inputs": (("practice", ("row_spacing_cm", "hole_spacing_cm")),),
}
"""What each part rests on: tables of the handbook, and of each the rows; none means all."""


def worked(results: Results, texts: Texts) -> list[dict[str, object]]:
    """Say of each part of a card how it is worked out, and where that is from.

    Parameters
    ----------
    results : Results
        The run; its handbook may hold tables of the user's.
    texts : Texts
        The words.

    Returns
    -------
    list[dict[str, object]]
        ``of``, the part; ``title``; ``said``, how; ``cited``, its sources. ``worked.js`` chooses
        what a plot's card has numbers of.
    """
    return [
        {
            "of": part,
            "title": texts.say(f"worked.{part}.title"),
            "said": texts.say(f"worked.{part}.said"),
            "cited": _cited(results, tables),
        }
        for part, tables in RESTS_ON.items()
    ]


def _cited(results: Results, tables: tuple[tuple[str, tuple[str, ...]], ...]) -> list[str]:
    found = []
    for table, names in tables:
        rows = results.handbook.rows(table)
        if names:
            rows = rows[rows["name"].isin(names)]
        pairs = zip(rows["source"], rows["provenance"], strict=True)
        found += [cite(str(source), str(provenance)) for source, provenance in pairs]
    return list(dict.fromkeys(found))
