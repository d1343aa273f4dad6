"""Demonstration plots in words: what was found, why here and not there, what would change it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple, cast

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from districtplan.demos import Allotment
    from districtplan.outputs.texts import Texts
    from districtplan.plan import Demos
    from districtplan.results import Results

NAMED_MAX = 3
"""Villages that a sentence names; the others are counted."""
WEIGHTS: dict[str, tuple[str, str | bool]] = {
    "weight_never_reached": ("reached", False),
    "weight_women": ("sex", "female"),
    "weight_youth": ("youth", True),
}
"""Answers that make a farmer count more, by the key of the plan."""
HALF = 0.5
HAIR = 1e-6
"""What a sum may be off by rounding."""
TENS_M = 10.0
LISTED_MAX = 5
"""Villages or plots that a condition names; more are counted."""
ASKED = ("demo_asked_least", "demo_asked_most")


def finding(found: Allotment, asked: Demos, texts: Texts) -> list[str]:
    """Say what was chosen and how good it is, or what stands in the way.

    Parameters
    ----------
    found : Allotment
        The choice.
    asked : Demos
        What the plan asks.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        The finding, then what else an officer must know.
    """
    if found.cover is None:
        return conflicts(found, asked, texts)
    count, farmers = len(found.chosen), texts.number(found.farmers)
    key = "demos.finding_one" if count == 1 else "demos.finding"
    said = [
        texts.say(
            key,
            count=texts.number(count),
            reached=texts.number(found.farmers_reached),
            farmers=farmers,
            within=within(asked, texts),
            bound=bound(found, texts),
        ),
        *_left(found, texts),
        *_next(found, asked, texts),
    ]
    provisional = int(found.chosen["demo_provisional"].sum())
    if provisional:
        key = "demos.provisional_one" if provisional == 1 else "demos.provisional"
        said.append(texts.say(key, count=texts.number(provisional)))
    return [*said, *cautions(found, texts)]


def village_finding(found: Allotment, asked: Demos, texts: Texts) -> list[str]:
    """Say how many farmers of a village have a demonstration plot in reach, and where.

    Parameters
    ----------
    found : Allotment
        The choice, cut to what the village needs.
    asked : Demos
        What the plan asks.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        The finding, why the village has none, one or several, where its farmers go, its
        candidates; or that there is no choice yet.
    """
    ((village, told),) = _told(found, texts).items()
    if found.cover is None:
        return told.why
    (own,) = cast("list[dict[str, Any]]", found.villages.to_dict("records"))
    first = texts.say(
        "demos.of_village",
        village=village,
        reached=texts.number(own["demo_farmers_reached"]),
        farmers=texts.number(own["demo_farmers"]),
        within=within(asked, texts),
    )
    return [first, *told.why, *told.goes, told.able, *cautions(found, texts)]


def within(asked: Demos, texts: Texts) -> str:
    """Say what in reach means, such as "within 1,200 m on foot".

    Parameters
    ----------
    asked : Demos
        What the plan asks.
    texts : Texts
        The words.

    Returns
    -------
    str
        Part of a sentence.
    """
    if asked.reach_by == "on foot":
        return texts.say(
            "demos.within_foot", minutes=texts.number(cast("float", asked.reach_min), "g")
        )
    key = "demos.within_paths" if asked.reach_by == "paths" else "demos.within_line"
    return texts.say(key, metres=texts.number(cast("float", asked.reach_m), ",.0f"))


def bound(found: Allotment, texts: Texts) -> str:
    """Say how much better any other choice could be.

    Parameters
    ----------
    found : Allotment
        The choice.
    texts : Texts
        The words.

    Returns
    -------
    str
        Part of a sentence.
    """
    more = float(np.ceil(found.near_value - HAIR))
    if more <= 0:
        return texts.say("demos.best", weighed=_as_weighed(found, texts))
    return _counted("demos.near", more, texts, weighed=_as_weighed(found, texts))


def _as_weighed(found: Allotment, texts: Texts) -> str:
    """Say that farmers are counted by weight, where any counts more than others."""
    return texts.say("demos.as_weighed") if found.weighed else ""


def weighed(asked: Demos) -> bool:
    """Tell whether the plan counts some farmers more than others.

    Parameters
    ----------
    asked : Demos
        What the plan asks.

    Returns
    -------
    bool
        False where all count 1.
    """
    return any(getattr(asked, name) != 1 for name in WEIGHTS)


def cautions(found: Allotment, texts: Texts) -> list[str]:
    """Say what makes a choice less than it seems.

    Parameters
    ----------
    found : Allotment
        The choice.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Sentences on a clock that stopped the search, on candidates left out, and on plots shown
        last season that aren't kept.
    """
    said = []
    if found.cover is not None and not found.cover.reproducible:
        said.append(texts.say("demos.by_clock"))
    if found.thinned:
        said.append(texts.say("demos.thinned", count=texts.number(found.thinned)))
    if found.ended:
        said.append(texts.say("demos.ended", plots=texts.listed(list(found.ended))))
    return said


def noticed(results: Results, texts: Texts) -> list[str]:
    """Say what a run must tell of its demonstration plots before anything else.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Conflicts, or what makes the choice less than it seems; empty where none are asked for.
    """
    found = results.demos
    if found is None:
        return []
    if found.cover is None:
        return [*conflicts(found, results.plan.demos, texts), *_weighs_nobody(results, texts)]
    return [*cautions(found, texts), *_weighs_nobody(results, texts)]


def _weighs_nobody(results: Results, texts: Texts) -> list[str]:
    """Tell which weights change nothing, since no row that is used gives the answer."""
    files = [results.beside[key].used for key in ("homesteads", "answers") if key in results.beside]
    said = []
    for key, (column, answer) in WEIGHTS.items():
        given = any(rows[column].eq(answer).any() for rows in files if column in rows)
        if getattr(results.plan.demos, key) != 1 and not given:
            said.append(texts.say(f"demos.{key}_nobody"))
    return said


def how(found: Allotment, asked: Demos, texts: Texts) -> list[str]:
    """Say how the choice was made.

    Parameters
    ----------
    found : Allotment
        The choice.
    asked : Demos
        What the plan asks.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Sentences: the goal, ways, weights, candidates, and where kits are.
    """
    key = {"straight line": "line", "paths": "paths", "on foot": "foot"}[asked.reach_by]
    said = [
        texts.say("demos.goal"),
        texts.say(f"demos.how_{key}", factor=texts.number(asked.way_factor, "g")),
    ]
    if weighed(asked):
        who = [
            texts.say(f"demos.{name}", times=texts.number(getattr(asked, name), "g"))
            for name in WEIGHTS
            if getattr(asked, name) != 1
        ]
        said.append(texts.say("demos.weighed", who=texts.listed(who)))
    standing = found.plots["demo_standing"]
    said.append(
        texts.say(
            "demos.candidates",
            able=texts.number(int((standing != "no candidate").sum())),
            plots=texts.number(len(standing)),
            provisional=texts.number(int(standing.str.startswith("provisional").sum())),
        )
    )
    return [*said, texts.say("demos.orders")]


def _left(found: Allotment, texts: Texts) -> Iterator[str]:
    """Say who has no demonstration plot in reach."""
    left = found.farmers - found.farmers_reached
    if not left:
        yield texts.say("demos.all_reached")
        return
    table = found.villages
    lacking = (table["demo_farmers"] - table["demo_farmers_reached"]).set_axis(table["village"])
    lacking = lacking[lacking > 0].sort_values(ascending=False, kind="stable")
    named = [
        texts.say("demos.left_in", count=texts.number(number), village=village)
        for village, number in lacking.iloc[:NAMED_MAX].items()
    ]
    others = int(lacking.iloc[NAMED_MAX:].sum())
    if others:
        named.append(texts.say("demos.left_others", count=texts.number(others)))
    yield texts.say("demos.left", count=texts.number(left), villages=texts.listed(named))
    never = found.farmers - found.farmers_near
    if never:
        yield texts.say("demos.never", count=texts.number(never))


def _next(found: Allotment, asked: Demos, texts: Texts) -> Iterator[str]:
    """Say what more plots, or kits, would give."""
    now = asked.plots if asked.plots is not None else asked.kits
    beyond = found.curve[(found.curve["demo_number"] > now) & found.curve["demo_gain"].notna()]
    if beyond.empty:
        return
    gains = [
        texts.say("demos.more.none") if gain < HALF else _counted("demos.more", gain, texts)
        for gain in beyond["demo_gain"]
    ]
    weighed_as = _as_weighed(found, texts)
    if asked.plots is None:
        kits = texts.number(beyond["demo_number"].iloc[0], "g")
        yield texts.say("demos.next_kits", kits=kits, first=gains[0], weighed=weighed_as)
    elif len(gains) == 1:
        yield texts.say("demos.next_one", first=gains[0], weighed=weighed_as)
    else:
        yield texts.say("demos.next", first=gains[0], second=gains[1], weighed=weighed_as)


def conflicts(found: Allotment, asked: Demos, texts: Texts) -> list[str]:
    """Say which conditions can't be kept together, and what each would have to give.

    Parameters
    ----------
    found : Allotment
        What was found without a choice.
    asked : Demos
        What the plan asks.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Sentences.
    """
    if found.conflicts.empty:
        return [texts.say("demos.not_found")]
    said = [texts.say("demos.none")]
    every = cast("list[dict[str, Any]]", found.conflicts.to_dict("records"))
    for number in found.conflicts["demo_conflict"].unique():
        some = [row for row in every if row["demo_conflict"] == number]
        proved = all(row["demo_proved"] for row in some)
        alike: dict[tuple[Any, ...], list[dict[str, Any]]] = {}
        for row in some:
            asked_for = (row["demo_condition"], *map(str, (row[name] for name in ASKED)))
            alike.setdefault(asked_for, []).append(row)
        named = [_asked(rows, found, texts) for rows in alike.values()]
        key = "demos.conflict" if proved else "demos.conflict_open"
        said.append(texts.say(key, conditions="; ".join(named)))
        reliefs = [_relief(row, found, texts) for row in some if pd.notna(row["demo_enough"])]
        said += reliefs or [texts.say("demos.no_relief")]
    if len(found.conflicts["demo_conflict"].unique()) > 1:
        said.append(texts.say("demos.others_too"))
    return said


def _asked(rows: list[dict[str, Any]], found: Allotment, texts: Texts) -> str:
    """Say what conditions alike ask, of several villages or plots at once."""
    row = rows[0]
    kind = row["demo_condition"]
    least, most = row["demo_asked_least"], row["demo_asked_most"]
    key = kind
    if kind == "message":
        key = "message_at_least" if pd.notna(least) and least > 0 else "message_at_most"
    if kind == "class":
        least = 100 * least
    told = texts.say(
        f"demos.asked.{key}",
        of=_some([str(one["demo_condition_of"]) for one in rows], texts),
        least=_whole(least, texts),
        most=_whole(most, texts),
    )
    if kind != "in":
        return told
    # On the page of another village nothing is known of the plots.
    mine = found.plots["plot_id"].isin([one["demo_condition_of"] for one in rows])
    codes = dict.fromkeys(code for own in found.plots.loc[mine, "demo_reasons"] for code in own)
    reasons = [texts.say(f"demos.kept_out.{code}") for code in codes]
    return f"{told} ({texts.listed(reasons)})" if reasons else told


def _some(names: list[str], texts: Texts) -> str:
    """List names, the first of them where there are many."""
    if len(names) <= LISTED_MAX:
        return texts.listed(names)
    more = texts.say("work.more", count=texts.number(len(names) - LISTED_MAX))
    return texts.listed([*names[:LISTED_MAX], more])


def _relief(row: Mapping[str, Any], found: Allotment, texts: Texts) -> str:
    kind, enough = row["demo_condition"], row["demo_enough"]
    if kind == "class":
        enough = 100 * enough
    if kind == "apart":
        # Towards what can be kept: an officer sets a distance out in tens of metres.
        unit = TENS_M if enough >= TENS_M else 1.0
        enough = float(np.floor(enough / unit) * unit)
    if kind == "budget":
        enough = float(np.ceil(10 * enough - HAIR) / 10)
    change = texts.say(
        f"demos.eased.{kind}", of=row["demo_condition_of"], enough=_whole(enough, texts)
    )
    if pd.isna(row["demo_eased_reached"]):
        return texts.say("demos.relief_only", change=change)
    reached, farmers = texts.number(row["demo_eased_reached"], ",.0f"), texts.number(found.farmers)
    return texts.say("demos.relief", change=change, reached=reached, farmers=farmers)


def _whole(value: float, texts: Texts) -> str:
    return "" if np.isnan(value) else texts.number(round(value, 1), ",g")


def of_villages(found: Allotment, texts: Texts) -> dict[str, list[str]]:
    """Say of each village why it has no demonstration plot, one or several.

    Parameters
    ----------
    found : Allotment
        The choice.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, list[str]]
        Sentences by village.
    """
    return {
        village: [*told.why, told.reached, *told.goes, told.able]
        for village, told in _told(found, texts).items()
    }


class _Village(NamedTuple):
    """What is told of a village."""

    why: list[str]
    reached: str
    goes: list[str]
    able: str


def _told(found: Allotment, texts: Texts) -> dict[str, _Village]:
    own = found.chosen.groupby("village")["plot_id"].agg(list)
    served = dict(iter(found.served.groupby("village")))
    said = {}
    for row in cast("list[dict[str, Any]]", found.villages.to_dict("records")):
        village = row["village"]
        plots: list[str] = own.get(village, [])
        numbers = {
            "reached": texts.number(row["demo_farmers_reached"]),
            "farmers": texts.number(row["demo_farmers"]),
        }
        if found.cover is None:
            first = texts.say("demos.plot.no_choice")
        elif plots:
            key = "has" if len(plots) == 1 else "several_has"
            first = texts.say(f"demos.why.{key}", demos=len(plots), plots=texts.listed(plots))
        else:
            first = texts.say(
                f"demos.why.{row['demo_village_why']}",
                village=village,
                best=row["demo_best"],
                adds=texts.number(row["demo_best_adds"], ",.0f"),
                weighed=_as_weighed(found, texts),
            )
        reached = texts.say("demos.why.reached", **numbers)
        count = texts.say("demos.why.candidates", count=texts.number(row["demo_candidates"]))
        alone = _each(found, plots, texts) if len(plots) > 1 else []
        goes = list(_served(served.get(village), plots, texts))
        said[str(village)] = _Village([first, *alone], reached, goes, count)
    return said


def _each(found: Allotment, plots: list[str], texts: Texts) -> list[str]:
    """Say why a village has several: what each gives that no other does."""
    alone = found.chosen.set_index("plot_id")["demo_reaches_alone"]
    told = [_counted("demos.why.goes", int(alone[plot]), texts, plot=plot) for plot in plots]
    return [texts.say("demos.why.each", plots=texts.listed(told))]


def _served(table: pd.DataFrame | None, own: list[str], texts: Texts) -> Iterator[str]:
    """Say to which plots a village's farmers go, unless that is the one that it has."""
    if table is None or table["plot_id"].tolist() == own:
        return
    told = [
        _counted("demos.why.goes", int(farmers), texts, plot=plot)
        for plot, farmers in zip(table["plot_id"], table["farmers"], strict=True)
    ]
    yield texts.say("demos.why.served", plots=texts.listed(told))


def _counted(key: str, number: float, texts: Texts, **values: object) -> str:
    """Say how many, one or several."""
    shown = texts.number(number, ",.0f")
    return texts.say(f"{key}.{'one' if shown == '1' else 'many'}", count=shown, **values)


def of_plots(found: Allotment, texts: Texts) -> dict[str, list[str]]:
    """Say of each plot, to be read aloud, why it is a demonstration plot or not.

    Parameters
    ----------
    found : Allotment
        The choice.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, list[str]]
        Sentences by plot.
    """
    chosen = of_chosen(found, texts)
    return {
        row["plot_id"]: chosen.get(row["plot_id"]) or _of_other(row, found, texts)
        for row in cast("list[dict[str, Any]]", found.plots.to_dict("records"))
    }


def of_chosen(found: Allotment, texts: Texts) -> dict[str, list[str]]:
    """Say of each demonstration plot why it is one.

    Parameters
    ----------
    found : Allotment
        The choice.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, list[str]]
        Sentences by plot.
    """
    rows = cast("list[dict[str, Any]]", found.chosen.to_dict("records"))
    return {row["plot_id"]: _of_demo(row, found, texts) for row in rows}


def _of_demo(row: Mapping[str, Any], found: Allotment, texts: Texts) -> list[str]:
    treatments = texts.listed(list(row["demo_treatments"]))
    first = texts.say("demos.plot.is", message=row["demo_message"], treatments=treatments)
    return [first, *why_chosen(row, found, texts), side(row, texts)]


def why_chosen(row: Mapping[str, Any], found: Allotment, texts: Texts) -> list[str]:
    """Say why a demonstration plot was chosen, and what comes first there.

    Parameters
    ----------
    row : Mapping[str, Any]
        Its row of those chosen.
    found : Allotment
        The choice.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Sentences.
    """
    said = []
    numbers = {
        "reaches": texts.number(row["demo_reaches"]),
        "alone": texts.number(row["demo_reaches_alone"]),
    }
    if row["demo_why"] == "chosen":
        said.append(texts.say("demos.plot.chosen", **numbers))
    else:
        key = "kept" if row["demo_why"] == "kept" else "forced"
        said += [texts.say(f"demos.plot.{key}"), texts.say("demos.plot.around", **numbers)]
    said.append(runner_up(row, found, texts))
    if row["demo_provisional"]:
        said.append(texts.say("demos.plot.read_first"))
    return said


def of_village(row: Mapping[str, Any], found: Allotment, texts: Texts) -> list[str]:
    """Say how many of its village's farmers have a demonstration plot in reach, and where.

    Parameters
    ----------
    row : Mapping[str, Any]
        Row of a plot chosen.
    found : Allotment
        The choice.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Sentences.
    """
    own = found.villages.set_index("village").loc[row["village"]]
    reached = texts.say(
        "demos.why.reached",
        reached=texts.number(own["demo_farmers_reached"]),
        farmers=texts.number(own["demo_farmers"]),
    )
    served = found.served[found.served["village"] == row["village"]]
    named = texts.say("demos.why.of_village", village=row["village"])
    return [f"{named} {reached}", *_served(served, [], texts)]


def runner_up(row: Mapping[str, Any], found: Allotment, texts: Texts) -> str:
    """Say which plot could take a demonstration plot's place, and what that would lose.

    Parameters
    ----------
    row : Mapping[str, Any]
        Its row of those chosen.
    found : Allotment
        The choice.
    texts : Texts
        The words.

    Returns
    -------
    str
        A sentence.
    """
    if pd.isna(row["demo_runner_up"]):
        return texts.say("demos.plot.no_runner_up")
    loss = row["demo_runner_up_loss"]
    plot = row["demo_runner_up"]
    if loss < HALF:
        return texts.say("demos.plot.runner_up_same", plot=plot)
    return _counted(
        "demos.plot.runner_up", loss, texts, plot=plot, weighed=_as_weighed(found, texts)
    )


def side(row: Mapping[str, Any], texts: Texts) -> str:
    """Say which half shows the message.

    Parameters
    ----------
    row : Mapping[str, Any]
        Its row of those chosen.
    texts : Texts
        The words.

    Returns
    -------
    str
        A sentence.
    """
    return texts.say("demos.plot.side", side=texts.say(f"demos.plot.side_{row['demo_side']}"))


def _of_other(row: Mapping[str, Any], found: Allotment, texts: Texts) -> list[str]:
    reasons = row["demo_reasons"]
    if reasons:
        why = texts.listed([texts.say(f"demos.kept_out.{one}") for one in reasons])
        changes = texts.listed([texts.say(f"demos.change.{one}") for one in reasons])
        return [
            texts.say("demos.plot.cannot", reasons=why),
            texts.say("demos.plot.change", changes=changes),
        ]
    if found.cover is None:
        return [texts.say("demos.plot.no_choice")]
    said = [texts.say("demos.plot.not_one")]
    adds = row["demo_adds"]
    if adds >= HALF:
        as_weighed = _as_weighed(found, texts)
        said.append(_counted("demos.plot.would_add", adds, texts, weighed=as_weighed))
    else:
        said.append(texts.say("demos.plot.no_need"))
    if pd.notna(row["demo_instead_of"]):
        said.append(_instead(row, found, texts))
    if row["demo_stopped"]:
        stopped = [texts.say(f"demos.stopped.{kind}") for kind in row["demo_stopped"]]
        said.append(texts.say("demos.plot.stopped", stopped=texts.listed(stopped)))
    if str(row["demo_standing"]).startswith("provisional"):
        said.append(texts.say("demos.plot.read_first"))
    return [*said, _could(row, texts)]


def _could(row: Mapping[str, Any], texts: Texts) -> str:
    """Say what would have to change for a plot to be chosen: never less than would be enough."""
    stopped = row["demo_stopped"]
    if row["demo_adds"] < HALF and "out" not in stopped:
        return texts.say("demos.plot.not_needed")
    changes = [texts.say(f"demos.could_change.{kind}") for kind in stopped or ("count",)]
    return texts.say("demos.plot.could", changes=texts.listed(changes))


def left_out(found: Allotment, texts: Texts) -> list[list[str]]:
    """Count what keeps plots from showing each message, in words.

    Parameters
    ----------
    found : Allotment
        The choice.
    texts : Texts
        The words.

    Returns
    -------
    list[list[str]]
        Message, reason, plots that it keeps out, and those that nothing else keeps out.
    """
    return [
        [
            row["demo_message"],
            texts.say(f"demos.kept_out.{row['demo_reason']}"),
            texts.number(row["demo_kept_out"]),
            texts.number(row["demo_kept_out_alone"]),
        ]
        for row in cast("list[dict[str, Any]]", found.reasons.to_dict("records"))
    ]


def curve(found: Allotment, texts: Texts, unit: str) -> str:
    """Put the curve of farmers reached into words.

    Parameters
    ----------
    found : Allotment
        The choice.
    texts : Texts
        The words.
    unit : str
        What is counted: demonstration plots, or kits.

    Returns
    -------
    str
        The curve's points; empty where there are none.
    """
    known = found.curve[found.curve["demo_reached"].notna()]
    points = [
        texts.say(
            "demos.curve_point",
            number=texts.number(number, "g"),
            reached=texts.number(reached, ",.0f"),
        )
        for number, reached in zip(known["demo_number"], known["demo_reached"], strict=True)
    ]
    if not points:
        return ""
    listed, as_weighed = texts.listed(points), _as_weighed(found, texts)
    return texts.say("demos.curve", unit=unit, points=listed, weighed=as_weighed)


def _instead(row: Mapping[str, Any], found: Allotment, texts: Texts) -> str:
    """Say what a plot would lose in the place of a demonstration plot."""
    plot, loss = row["demo_instead_of"], row["demo_loss"]
    if loss < HALF:
        return texts.say("demos.plot.would_lose_none", plot=plot)
    return _counted(
        "demos.plot.would_lose", loss, texts, plot=plot, weighed=_as_weighed(found, texts)
    )


def compared(found: Allotment, texts: Texts) -> list[str]:
    """Set demonstration plots beside all plots in words.

    Parameters
    ----------
    found : Allotment
        The choice.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Sentences on size, slope and sex; empty where none is chosen.
    """
    if found.chosen.empty:
        return []
    digits = {"area": 2, "slope": 0, "women": 0}
    table = found.compared.set_index("demo_compared")
    said = [
        texts.say(
            f"demos.compared.said_{name}",
            mine=f"{table['demo_of_chosen'][name]:.{places}f}",
            all=f"{table['demo_of_all'][name]:.{places}f}",
        )
        for name, places in digits.items()
        if name in table.index and pd.notna(table["demo_of_chosen"][name])
    ]
    if "women" not in table.index:
        said.append(texts.say("demos.compared.said_nobody"))
    return said
