"""The measures of the handbook as values: tables ``measures``, ``measure_numbers``, ``_costs``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from districtplan.handbook import Handbook

NONE = "none"
ALL_ITS_LAND = "cover"
"""Effect of a measure that takes all the land of a plot."""


@dataclass(frozen=True)
class Measure:
    """One measure.

    Attributes
    ----------
    name : str
        Its name.
    effect : str
        How it lowers the loss: contour, factor, length, run_on, cover or none.
    rows_of : tuple[str, str, str]
        Rows of ``structures_now`` or ``cover_factors`` whose low end, geometric mean and high end
        are the low, likely and high effect.
    spacing_rules : tuple[str, ...]
        Rules of spacing that are common for it, the usual first; none where it isn't a set of
        lines.
    line_form : str
        level, graded or none.
    carries_water : bool
        Whether it leads water away, so that it needs a safe outlet.
    soil_known : bool
        Whether depth and drainage of the soil must be known.
    drains_freely : bool
        Whether the soil must drain freely.
    already : tuple[str, ...]
        Structures of current practice that stand in its place.
    labour_per : str
        What labour is counted by: 100 m, m³ or ha.
    upkeep, caution : str
        Keys of the words on them.
    numbers : Mapping[str, float]
        What ``measure_numbers`` has of it, by name.
    days : float
        Person-days per ``labour_per``, NaN where the district gives none.
    material_money : float
        Material per ``labour_per`` [the district's money].
    """

    name: str
    effect: str
    rows_of: tuple[str, str, str]
    spacing_rules: tuple[str, ...]
    line_form: str
    carries_water: bool
    soil_known: bool
    drains_freely: bool
    already: tuple[str, ...]
    labour_per: str
    upkeep: str
    caution: str
    numbers: Mapping[str, float]
    days: float
    material_money: float

    def number(self, name: str, default: float = np.nan) -> float:
        """Look up a number of the measure.

        Parameters
        ----------
        name : str
            Its name in ``measure_numbers``, without the measure's.
        default : float, default NaN
            What stands where the table has none.

        Returns
        -------
        float
            The number.
        """
        return self.numbers.get(name, default)


def catalogue(handbook: Handbook) -> tuple[Measure, ...]:
    """Read the measures.

    Parameters
    ----------
    handbook : Handbook
        The published tables.

    Returns
    -------
    tuple[Measure, ...]
        In the order of the table ``measures``. Slopes of ridged rows are those of the table
        ``contour_p``.
    """
    numbers = handbook.numbers("measure_numbers")
    costs = handbook.rows("measure_costs").set_index("name")
    contour = handbook.rows("contour_p")
    ends = {
        "slope_low_pct": float(contour["slope_low_pct"].min()),
        "slope_high_pct": float(contour["slope_high_pct"].max()),
    }
    found = []
    for row in handbook.rows("measures").to_dict("records"):
        name = str(row["name"])
        own = {
            key.removeprefix(f"{name} "): value
            for key, value in numbers.items()
            if key.startswith(f"{name} ")
        }
        found.append(
            Measure(
                name=name,
                effect=str(row["effect"]),
                rows_of=(
                    str(row["effect_low"]),
                    str(row["effect_likely"]),
                    str(row["effect_high"]),
                ),
                spacing_rules=_listed(row["spacing_rules"]),
                line_form=str(row["line_form"]),
                carries_water=row["carries_water"] == "yes",
                soil_known=row["soil_known"] == "yes",
                drains_freely=row["drainage"] == "free",
                already=_listed(row["already"]),
                labour_per=str(row["labour_per"]),
                upkeep=str(row["upkeep"]),
                caution=str(row["caution"]),
                numbers=ends | own if row["effect"] == "contour" else own,
                days=float(costs["days"][name]),
                material_money=float(np.nan_to_num(costs["material_money"][name])),
            )
        )
    return tuple(found)


def measure_names(handbook: Handbook, labels: Mapping[str, str]) -> dict[str, str]:
    """Give the ways to write each measure: as in the handbook, and as it is printed.

    Parameters
    ----------
    handbook : Handbook
        The published tables.
    labels : Mapping[str, str]
        Printed words by name.

    Returns
    -------
    dict[str, str]
        Names by how they are written, in small letters; also with spaces for underscores.
    """
    names = [measure.name for measure in catalogue(handbook)]
    printed = {labels[name].lower(): name for name in names if name in labels}
    return {
        **printed,
        **{name.lower().replace("_", " "): name for name in names},
        **{name.lower(): name for name in names},
    }


def structure_names(handbook: Handbook, labels: Mapping[str, str]) -> dict[str, str]:
    """Give the ways to write what stands on a plot, where a measure stands there once built.

    Parameters
    ----------
    handbook : Handbook
        The published tables.
    labels : Mapping[str, str]
        Printed words of measures by name.

    Returns
    -------
    dict[str, str]
        Names of structures by how they are written, in small letters. A measure that stands in
        several forms, of which each loses its own share, is not among them.
    """
    stands = {}
    for measure in catalogue(handbook):
        forms = set(measure.rows_of).intersection(measure.already)
        if measure.already and len(forms) <= 1:
            stands[measure.name] = measure.already[0]
    spelled = measure_names(handbook, labels).items()
    return {text: stands[name] for text, name in spelled if name in stands}


def _listed(text: object) -> tuple[str, ...]:
    return () if text == NONE else tuple(str(text).split(";"))
