"""What a team needs to hear in the field, in sentences that sheets and pages share.

Pegs, the level, the marked string and the pocket table: words from the catalogue, numbers from the
stages, the plan and the handbook.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from districtplan.rows import STANDING, Tie

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterator, Mapping, Sequence

    from districtplan.handbook import Handbook
    from districtplan.inputs.marked_string import MarkedString, Marks
    from districtplan.outputs.texts import Texts
    from districtplan.plan import Erosion, Plan, Practice
    from districtplan.results import Results
    from districtplan.rows.pocket import Pocket, PocketRow

TABLE = "setting_out"
LEVELS = ("a_frame", "line_level", "water_tube")
AT_CORNER_M = 0.05
"""A place nearer than this to a corner is at the corner, as metres are printed [m]."""
METRE_CM = 100
UNSEEN_PCT = 0.05
"""A rounding that would be printed as 0.0 % is none."""


def level_words(
    plan: Plan, handbook: Handbook, texts: Texts, grade_pct: float | None = 0.0
) -> dict[str, list[str]]:
    """Say how a line is levelled.

    Parameters
    ----------
    plan : Plan
        Its limit of grade along a row is the tolerance.
    handbook : Handbook
        Spans of the levels and the closing error (table ``setting_out``).
    texts : Texts
        The words.
    grade_pct : float | None, default 0
        Grade of the design along the line, of either sign [%]; None for lines of several grades,
        whose drops are listed with their pegs.

    Returns
    -------
    dict[str, list[str]]
        Sentences by the title of each level: making it, calibrating, using it, what to aim at, the
        tolerance and how it is seen, pegs between control pegs, walking back.
    """

    def number(name: str) -> float:
        return handbook.number(TABLE, name)

    limit, fall = plan.terrain.row_grade_limit_pct, abs(grade_pct or 0.0)
    level = grade_pct is not None and fall == 0
    aim = "level.graded" if fall > 0 else "level.level" if grade_pct is not None else "level.listed"
    shared = [
        texts.say("level.between", step_m=number("a_frame_span_m")),
        texts.say("level.back", cm=number("closing_error_cm"), run_m=number("closing_run_m")),
    ]
    found = {}
    for name in LEVELS:
        span = number(f"{name}_span_m")
        found[texts.say(f"level.{name}.title")] = [
            texts.say(f"level.{name}.make", span_m=span),
            texts.say("level.before"),
            texts.say(f"level.{name}.calibrate"),
            texts.say(f"level.{name}.use"),
            *([] if level else [texts.say(f"level.{name}.falls", span_m=span)]),
            # 1 % over a metre is a centimetre.
            texts.say(aim, grade_pct=fall, cm=fall * span, span_m=span),
            texts.say("level.tolerance", grade_pct=limit, cm=limit * span, span_m=span),
            texts.say(f"level.{name}.see"),
            *shared,
        ]
    return found


def tie_words(tie: Tie, letter: str | None, plan: Plan, texts: Texts) -> str:
    """Say where a place lies on the plot's edge.

    Parameters
    ----------
    tie : Tie
        The way from a corner.
    letter : str | None
        Sign of the corner on the drawing; None where it has none.
    plan : Plan
        Its pace.
    texts : Texts
        The words.

    Returns
    -------
    str
        Part of a sentence: metres and paces from a named corner.
    """
    named = "unlettered" if letter is None else "corner"
    corner = texts.say(f"pegs.{named}", letter=letter, side=texts.say(f"pegs.{tie.corner}"))
    if tie.along_m < AT_CORNER_M:
        said = texts.say("pegs.tie_at", corner=corner)
    else:
        walked = paces(tie.along_m, plan)
        said = texts.say(
            "pegs.tie" if walked else "pegs.tie_short",
            metres=tie.along_m,
            corner=corner,
            paces=texts.say(f"pegs.paces.{'one' if walked == 1 else 'many'}", count=walked),
            hand=texts.say(f"pegs.{tie.way}"),
        )
    if tie.inside_m >= AT_CORNER_M:
        if np.isnan(tie.inside_magnetic_deg):
            side = texts.say(f"pegs.{tie.inside_side}")
            said += texts.say("pegs.tie_inside_side", metres=tie.inside_m, side=side)
        else:
            said += texts.say(
                "pegs.tie_inside", metres=tie.inside_m, bearing=tie.inside_magnetic_deg
            )
    return said


def begins_words(
    line: Mapping[Hashable, Any], plan: Plan, texts: Texts, letter: str | None = None
) -> str:
    """Say where a guide line starts.

    Parameters
    ----------
    line : Mapping[Hashable, Any]
        ``line`` and the columns made by guide lines.
    plan : Plan
        Its pace.
    texts : Texts
        The words.
    letter : str | None, default None
        Sign of its corner on the drawing, if it has one.

    Returns
    -------
    str
        A sentence: metres and paces along the edge from a named corner.
    """
    start = Tie(
        line["start_corner"],
        line["start_from_corner_m"],
        line["start_way"],
        line["start_inside_m"],
        line["start_inside_true_deg"],
        line["start_inside_magnetic_deg"],
        (line["start_longitude_deg"], line["start_latitude_deg"]),
    )
    said = tie_words(start, letter, plan, texts)
    return texts.say("sheets.pegs.begins", line=line["line"], start=said)


def beside_words(
    line: Mapping[Hashable, Any], texts: Texts, following: Mapping[Hashable, Any] | None = None
) -> list[str]:
    """Count the rows on both sides of a guide line.

    Parameters
    ----------
    line : Mapping[Hashable, Any]
        The columns made by guide lines, or none of them.
    texts : Texts
        The words.
    following : Mapping[Hashable, Any] | None, default None
        The next line uphill, which shares the rows between, if there is one.

    Returns
    -------
    list[str]
        A sentence; none where they aren't known.
    """
    up, down = line.get("rows_uphill"), line.get("rows_downhill")
    if pd.isna(up) or pd.isna(down):
        return []
    if following is not None and following["rows_downhill"] == up:
        number = following["line"]
        return [texts.say("sheets.pegs.beside_shared", up=up, down=down, line=number)]
    return [texts.say("sheets.pegs.beside", up=up, down=down)]


def gap_words(pegs: Sequence[Mapping[Hashable, Any]], texts: Texts) -> list[str]:
    """Say how many rows divide the gap above a level line, from where to where.

    Parameters
    ----------
    pegs : Sequence[Mapping[Hashable, Any]]
        ``peg_along_m`` and ``rows_in_gap`` of the pegs of one line, in the order of walking.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        A sentence; none where no gap lies above it.
    """
    known = [peg for peg in pegs if not pd.isna(peg["rows_in_gap"])]
    if not known:
        return []
    first, *others = (
        peg
        for before, peg in zip([None, *known], known, strict=False)
        if before is None or before["rows_in_gap"] != peg["rows_in_gap"]
    )
    said = [texts.say("lines.gap", rows=first["rows_in_gap"])]
    said += [
        texts.say("lines.gap_from", metres=peg["peg_along_m"], rows=peg["rows_in_gap"])
        for peg in others
    ]
    return [texts.say("lines.gap_all", gaps=", ".join(said))]


def lines_words(
    lines: Sequence[Mapping[Hashable, Any]],
    pegs: Sequence[Mapping[Hashable, Any]],
    results: Results,
    texts: Texts,
) -> list[str]:
    """Say of each guide line of a plot where it starts, how it falls and which rows lie beside it.

    Parameters
    ----------
    lines : Sequence[Mapping[Hashable, Any]]
        ``line`` and the columns made by guide lines, of each.
    pegs : Sequence[Mapping[Hashable, Any]]
        Pegs of these lines: ``line``, ``peg_along_m`` and ``rows_in_gap``.
    results : Results
        The run, whose plan and handbook count.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        A sentence or two a line; none for structures that stand there, which are the lines.
    """
    span = results.handbook.number(TABLE, "line_level_span_m")
    found = []
    for line in lines:
        if line["guide_kind"] == STANDING:
            continue
        said = [begins_words(line, results.plan, texts)]
        if line["line_fall_pct"] > 0:
            # A percent falls a centimetre in a metre.
            cm = round(line["line_fall_pct"] * span, 1)
            said.append(texts.say("lines.falls", cm=cm, metres=span))
        said += beside_words(line, texts)
        # From its last peg on a line has no rows beside it.
        said += gap_words([peg for peg in pegs if peg["line"] == line["line"]][:-1], texts)
        found.append(" ".join(said))
    return found


def paces(metres: float, plan: Plan) -> int:
    """Turn metres into the team's paces.

    Parameters
    ----------
    metres : float
        A distance on the ground [m].
    plan : Plan
        Its pace.

    Returns
    -------
    int
        Whole paces.
    """
    return int(np.floor(metres / plan.rows.pace_m + 0.5))


def string_words(string: MarkedString, texts: Texts) -> list[str]:
    """Say how to mark the string and cut the stick.

    Parameters
    ----------
    string : MarkedString
        The recipe.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        Sentences: the string, holes, each good with its rounding, the stick, the caution, and what
        is still to be weighed.
    """
    seeds = "one" if string.seeds_per_hole == 1 else "many"
    said = [
        texts.say("string.knot", string_m=string.string_m),
        texts.say(
            "string.holes",
            hole_cm=_whole(100 * string.hole_m),
            first_cm=_whole(100 * string.hole_m / 2),
            count=string.holes,
        ),
        texts.say(f"string.seeds.{seeds}", count=string.seeds_per_hole),
    ]
    for mark in string.marks:
        said += [" ".join(_mark_words(mark, texts)), _rounding_words(mark, texts)]
    said += [
        texts.say("string.stick", stick_cm=_whole(100 * string.stick_m)),
        texts.say("string.caution"),
        *(texts.say(f"string.weigh.{good}") for good in string.not_weighed),
    ]
    return said


def _whole(cm: float) -> float:
    # 0.29 m x 100 is 28.999999999999996 cm.
    return round(cm, 3)


def _mark_words(mark: Marks, texts: Texts) -> Iterator[str]:
    """Say where the marks are, what to do at one, and when."""
    number = "one" if mark.measures == 1 else "many"
    measure = texts.say(
        f"string.measure.{mark.good}.{number}", count=mark.measures, grams=mark.measure_g
    )
    holes = "one" if mark.holes == 1 else "many"
    yield texts.say(
        f"string.mark.{mark.good}",
        measure=measure,
        each=texts.say(f"string.each.{holes}", count=mark.holes),
        every_m=mark.every_m,
        first_m=mark.every_m / 2,
        count=mark.on_string,
    )
    yield texts.say(f"string.share.{holes}", count=mark.holes)
    if mark.good == "urea":
        yield texts.say(f"string.urea.{_time(mark)}")


def _time(mark: Marks) -> str:
    return "planting" if mark.at_planting else "first_weeding"


def _rounding_words(mark: Marks, texts: Texts) -> str:
    if abs(mark.error_pct) < UNSEEN_PCT:
        return texts.say("string.rounding.none")
    way = "more" if mark.error_pct > 0 else "less"
    return texts.say(f"string.rounding.{way}", percent=abs(mark.error_pct))


def string_line(string: MarkedString, texts: Texts) -> str:
    """Say in a line what the string carries.

    Parameters
    ----------
    string : MarkedString
        The recipe.
    texts : Texts
        The words.

    Returns
    -------
    str
        A sentence.
    """
    marks = sorted(string.marks, key=lambda mark: not mark.at_planting)
    seeds = f"string.line.holes.{'one' if string.seeds_per_hole == 1 else 'many'}"
    hole_cm = _whole(100 * string.hole_m)
    goods = [texts.say(seeds, hole_cm=hole_cm, count=string.seeds_per_hole)]
    goods += [
        texts.say(
            f"string.line.{mark.good}",
            measure=texts.say(
                f"string.line.{'handful' if mark.good == 'manure' else 'cap'}."
                f"{'one' if mark.measures == 1 else 'many'}",
                count=mark.measures,
            ),
            holes=texts.say(
                f"string.line.count.{'again' if place else 'one' if mark.holes == 1 else 'many'}",
                count=mark.holes,
            ),
            when=texts.say(f"string.line.urea_{_time(mark)}"),
        )
        for place, mark in enumerate(marks)
    ]
    if string.not_weighed:
        unknown = ", ".join(texts.say(f"string.good.{good}") for good in string.not_weighed)
        goods.append(texts.say("string.line.weigh", goods=unknown))
    return texts.say("string.line.all", marks="; ".join(goods))


def pocket_words(pocket: Pocket, length_m: float, texts: Texts) -> list[list[str]]:
    """Write the pocket table out, a column a slope.

    Parameters
    ----------
    pocket : Pocket
        The table.
    length_m : float
        Length over which falls are measured [m].
    texts : Texts
        The words.

    Returns
    -------
    list[list[str]]
        Rows of cells, the first cell of each its head.
    """
    errors = ", ".join(f"{error:g}" for error in pocket.errors_deg)
    heads = {
        "slope": texts.say("pocket.slope", length=length_m),
        "steps": texts.say("pocket.steps"),
        "drop": texts.say("pocket.drop"),
        "limit": texts.say("pocket.limit", length=length_m),
        "off": texts.say("pocket.off", degrees=errors),
    }
    columns = [_pocket_cells(row, length_m, texts) for row in pocket.rows]
    return [[head, *(cells[name] for cells in columns)] for name, head in heads.items()]


def bears_words(erosion: Erosion, length_m: float, texts: Texts) -> str:
    """Say from which slope land bears what, as a fall over a length.

    Parameters
    ----------
    erosion : Erosion
        The plan's limits of slope.
    length_m : float
        Length over which falls are measured [m].
    texts : Texts
        The words.

    Returns
    -------
    str
        A sentence.
    """
    return texts.say(
        "pocket.bears",
        length=length_m,
        technician=_fall(erosion.structures_from_slope_pct * length_m, texts),
        perennials=_fall(erosion.perennials_from_slope_pct * length_m, texts),
        forest=_fall(erosion.forest_from_slope_pct * length_m, texts),
    )


def band_line(practice: Practice, texts: Texts) -> list[str]:
    """Say how rows of maize and of beans follow one another.

    Parameters
    ----------
    practice : Practice
        The plan's practice.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        A sentence; none where beans stand alone.
    """
    beans, seeds = practice.maize_bean_rows, practice.maize_seeds_per_hole
    if beans is None:
        return []
    return [
        texts.say(
            "string.band",
            aside=_whole(practice.bean_beside_maize_cm),
            beans=texts.say(
                f"string.band_beans.{'one' if beans == 1 else 'many'}",
                count=beans,
                apart=_whole(practice.bean_row_step_cm),
            ),
            seeds=texts.say(f"string.band_seeds.{'one' if seeds == 1 else 'many'}", count=seeds),
            hole=practice.maize_hole_spacing_cm,
        )
    ]


def _pocket_cells(row: PocketRow, length_m: float, texts: Texts) -> dict[str, str]:
    near, far = sorted((row.by_distance, row.by_drop), key=lambda spacing: spacing.map_m)
    return {
        # Slopes are percent, so percent times metres are centimetres.
        "slope": _fall(row.slope_pct * length_m, texts),
        "steps": _range(f"{near.steps}", f"{far.steps}", texts),
        "drop": texts.say(
            "pocket.metres", value=_range(_tenth(near.drop_m), _tenth(far.drop_m), texts)
        ),
        "limit": _fall(row.grade_limit_pct * length_m, texts),
        "off": ", ".join(f"{grade * length_m:.0f}" for grade in row.grade_off_pct),
    }


def _range(near: str, far: str, texts: Texts) -> str:
    return near if near == far else texts.say("pocket.range", near=near, far=far)


def _tenth(metres: float) -> str:
    return f"{round(metres, 1):g}"


def _fall(cm: float, texts: Texts) -> str:
    if cm >= METRE_CM:
        return texts.say("pocket.metres", value=f"{cm / METRE_CM:g}")
    return texts.say("pocket.cm", value=cm)
