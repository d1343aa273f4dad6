"""Which plots teach the district, for the page's script: plots, their reach, who is left, why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

import numpy as np
import shapely

from districtplan.outputs import demo_words
from districtplan.outputs.page import palette, shapes
from districtplan.outputs.purchase_tables import GOODS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.demos import Allotment
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

    Objects = NDArray[np.object_]

ROUND_PEOPLE_M = 60.0
"""How far around the farmers of a plot the line of its reach is drawn [m]."""
PEOPLE_MAX = 20_000
"""Most places of farmers without a plot in reach that the page draws: some 100 kB."""


def district(
    results: Results, origin_deg: tuple[float, float], texts: Texts
) -> dict[str, Any] | None:
    """Gather what the view of demonstration plots shows of a district.

    Parameters
    ----------
    results : Results
        The run, its plots in the order of villages.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any] | None
        As :func:`village` makes it, with ``district``: ``curve``, ``compared`` and ``left_out``.
    """
    found = results.demos
    if found is None:
        return None
    return _shown(found, results, origin_deg, texts) | {
        "district": {
            "curve": _curve(found, results, texts),
            "compared": demo_words.compared(found, texts),
            "left_out": demo_words.left_out(found, texts),
        }
    }


def village(
    results: Results, origin_deg: tuple[float, float], texts: Texts
) -> dict[str, Any] | None:
    """Gather what the view of demonstration plots shows of a village.

    Parameters
    ----------
    results : Results
        The run of the village alone.
    origin_deg : tuple[float, float]
        Longitude and latitude that shapes are counted from [degrees].
    texts : Texts
        The words.

    Returns
    -------
    dict[str, Any] | None
        ``plots``, those chosen with their numbers and what is told of each, by ``place`` where they
        are of this run; streams of ``reach``, of ``people`` without a plot in reach, and of halves;
        ``sides`` of those with halves; ``villages``, by their place ``at`` among those of the run,
        ``how`` and ``goods``; no ``district``. None where the plan asks for none.
    """
    found = results.demos
    return None if found is None else _shown(found, results, origin_deg, texts)


def _shown(
    found: Allotment, results: Results, origin_deg: tuple[float, float], texts: Texts
) -> dict[str, Any]:
    def packed(drawn: Objects) -> dict[str, object]:
        return shapes.pack_lines(drawn, results.grid_crs, origin_deg)

    left = found.people_m[found.reached == 0]
    return {
        "look": {"fill": palette.CHOSEN, "ink": palette.ink_on(palette.CHOSEN)},
        "plots": _chosen(found, results, texts),
        "reach": packed(_reach(found, results)),
        "people": packed(np.array(shapely.points(left[:PEOPLE_MAX]), dtype=object).reshape(-1)),
        "people_left_out": max(len(left) - PEOPLE_MAX, 0),
        "nets": packed(_nets(found)),
        "divides": packed(_array([one.halves.divide for one in found.laid.values()])),
        "sides": [one.side for one in found.laid.values()],
        "goods": {good: texts.say(f"goods.{good}_g") for good in GOODS},
        "villages": _villages(found, results, texts),
        "how": demo_words.how(found, results.plan.demos, texts),
        "district": None,
    }


def _chosen(found: Allotment, results: Results, texts: Texts) -> list[dict[str, Any]]:
    place = {plot_id: at for at, plot_id in enumerate(results.plots["plot_id"])}
    told = demo_words.of_chosen(found, texts)
    columns = ("plot_id", "village", "demo_message")
    rows = zip(found.chosen.index, *(found.chosen[name] for name in columns), strict=True)
    return [
        {
            "place": place.get(plot_id),
            "number": int(at) + 1,
            "id": plot_id,
            "village": village_name,
            "message": message,
            "said": told[plot_id],
        }
        for at, plot_id, village_name, message in rows
    ]


def _villages(found: Allotment, results: Results, texts: Texts) -> list[dict[str, Any]]:
    place = {name: at for at, name in enumerate(results.villages["village"].astype(str))}
    said = demo_words.of_villages(found, texts)
    own = found.chosen["village"].value_counts()
    return [
        {
            "at": place[row["village"]],
            "said": said[row["village"]],
            "reached": row["demo_farmers_reached"],
            "farmers": row["demo_farmers"],
            "plots": int(own.get(row["village"], 0)),
        }
        for row in cast("list[dict[str, Any]]", found.villages.to_dict("records"))
    ]


def _array(drawn: list[Any]) -> Objects:
    found = np.empty(len(drawn), dtype=object)
    found[:] = drawn
    return found


def _nets(found: Allotment) -> Objects:
    """Give the edges of net plots, left and right of each plot in turn."""
    halves = [one.halves for one in found.laid.values()]
    nets = [net for one in halves for net in (one.net_left, one.net_right)]
    return _array([shapely.boundary(net) for net in nets])


def _reach(found: Allotment, results: Results) -> Objects:
    """Draw how far each plot reaches: a circle, or a line around those who come to it."""
    asked = results.plan.demos
    places = found.chosen_m
    if asked.reach_by == "straight line":
        wide = (asked.reach_m or 0) / asked.way_factor
        rings = [shapely.Point(place).buffer(wide).exterior for place in places]
        return _array(rings)
    drawn = []
    for at, (x, y) in enumerate(places):
        mine = np.vstack([found.people_m[found.comers[at]], [[x, y]]])
        around = shapely.concave_hull(shapely.multipoints(mine), ratio=0.5)
        drawn.append(shapely.boundary(shapely.buffer(around, ROUND_PEOPLE_M)))
    return _array([part for one in drawn for part in shapely.get_parts(one)])


def _curve(found: Allotment, results: Results, texts: Texts) -> dict[str, Any]:
    asked = results.plan.demos
    known = found.curve[found.curve["demo_reached"].notna()]
    rows = cast("list[dict[str, float]]", known.to_dict("records"))
    unit = texts.say("demos.unit_kits" if asked.plots is None else "demos.unit_plots")
    return {
        "points": [[row["demo_number"], row["demo_reached"]] for row in rows],
        "now": asked.kits if asked.plots is None else asked.plots,
        "unit": unit,
        "said": demo_words.curve(found, texts, unit),
        "rows": [
            [
                texts.number(row["demo_number"], "g"),
                texts.number(row["demo_reached"], ",.0f"),
                "" if np.isnan(row["demo_gain"]) else texts.number(row["demo_gain"], ",.0f"),
            ]
            for row in rows
        ],
    }
