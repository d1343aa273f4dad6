"""Which numbers behind what is proposed weren't read in print, for the page and the sheet.

Who goes to the field has neither the workbook's sheet Sources nor the command ``sources`` at hand.
"""

from __future__ import annotations

from itertools import chain
from math import isnan
from typing import TYPE_CHECKING

from districtplan.conservation import catalogue
from districtplan.handbook.checks import PROVENANCES
from districtplan.outputs import measure_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from districtplan.conservation import Measure
    from districtplan.handbook import Handbook
    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

READ = "read"
BEHIND = {
    "slopes": ("slope_low_pct", "slope_high_pct"),
    "depth": ("depth_min_m",),
    "width": ("width_m", "bench_width_m", "riser_run"),
    "apart": ("spacing_high_m",),
    "grade": ("grade_pct", "length_max_m"),
    "plants": ("rows", "plants_per_m", "plants_per_ha"),
    "beds": ("nursery_plants_m2", "nursery_weeks"),
}
"""What numbers of a measure (table ``measure_numbers``) stand behind, by key of the words."""
COMMON = {
    "distance": ("gentle_m", "moderate_m", "steep_m", "moderate_from_pct", "steep_from_pct"),
    "drop": ("drop_m", "apart_max_m"),
}
"""Numbers of the rules of spacing that have none in the table ``spacing_rules``."""
EFFECTS = {"factor": "structures_now", "cover": "cover_factors"}
"""Table of what a measure leaves of the loss, by its effect."""


def not_read(results: Results, texts: Texts) -> list[str]:
    """Mark the numbers behind the soil loss and the measures chosen that weren't read in print.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    list[str]
        One sentence for the soil loss, then one a measure; none where all was read.
    """
    chosen = set(results.proposal.chosen["measure"].astype(object))
    told = [(texts.say("work.behind.loss"), _of_loss(results))]
    told += [
        (measure_words.name(measure.name, texts), _of_measure(measure, results.handbook))
        for measure in catalogue(results.handbook)
        if measure.name in chosen
    ]
    said = []
    for name, found in told:
        marked = [
            texts.say("work.marked", what=texts.say(f"work.behind.{what}"), how=", ".join(how))
            for what, how in found
            if how
        ]
        if marked:
            said.append(texts.say("work.not_read", name=name, marked=texts.listed(marked)))
    return said


def _of_loss(results: Results) -> Iterator[tuple[str, tuple[str, ...]]]:
    handbook, soil = results.handbook, results.plan.soil
    yield "rain", _how(handbook, "erosivity_equations", [soil.rain_equation], by="equation")
    yield "cover", _how(handbook, "cover_factors", [soil.cover])


def _of_measure(measure: Measure, handbook: Handbook) -> Iterator[tuple[str, tuple[str, ...]]]:
    if measure.effect in EFFECTS:
        yield "effect", _how(handbook, EFFECTS[measure.effect], measure.rows_of)
    common = chain.from_iterable(COMMON.get(rule, ()) for rule in measure.spacing_rules)
    rules = _how(handbook, "spacing_rules", measure.spacing_rules)
    rules += _how(handbook, "line_spacings", common)
    for what, names in BEHIND.items():
        how = _how(handbook, "measure_numbers", [f"{measure.name} {name}" for name in names])
        yield what, _sorted((*how, *rules) if what == "apart" else how)
    if not isnan(measure.days):
        yield "labour", _how(handbook, "measure_costs", [measure.name])


def _how(
    handbook: Handbook, table: str, names: Iterable[str | None], by: str = "name"
) -> tuple[str, ...]:
    """Tell how rows were met that weren't read."""
    rows = handbook.rows(table)
    met = rows.loc[rows[by].isin(set(names)), "provenance"]
    return _sorted(met[met != READ])


def _sorted(met: Iterable[str]) -> tuple[str, ...]:
    there = set(met)
    return tuple(word for word in PROVENANCES if word in there)
