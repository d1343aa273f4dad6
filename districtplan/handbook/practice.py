"""Practices: how a crop is grown, each a TOML file whose numbers have source and provenance.

Another crop, or a local variant, is another file: no code knows a crop. The numbers of the practice
in force are the handbook's table ``practice``, so that stages look them up like any other.
"""

from __future__ import annotations

import functools
import hashlib
import tomllib
from importlib import resources
from typing import TYPE_CHECKING, Annotated, Literal, NamedTuple

import pandas as pd
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from districtplan.errors import Fault, InputError
from districtplan.handbook.checks import PROVENANCES
from districtplan.signs import hidden

if TYPE_CHECKING:
    from collections.abc import Iterator

TABLE = "practice"
"""The handbook's table of the numbers of the practice in force."""
USUAL = "bush beans"
"""The practice of a plan that names none."""
SHOWN_MAX = 80
UNITS = {
    "_kg_ha": "kg/ha",
    "_days_ha": "days/ha",
    "_cm": "cm",
    "_g": "g",
    "_pct": "%",
    "_day": "day",
    "_days": "days",
}
"""Unit of a number by the end of its name."""


class _Range(NamedTuple):
    """What a number may be."""

    low: float
    high: float
    whole: bool = False
    required: bool = True


NUMBERS = {
    "row_spacing_cm": _Range(10, 300),
    "hole_spacing_cm": _Range(2, 200),
    "seeds_per_hole_certified": _Range(1, 5, whole=True),
    "seeds_per_hole_farm_saved": _Range(1, 5, whole=True),
    "hundred_seed_weight_g": _Range(5, 150, required=False),
    "hundred_seed_weight_low_g": _Range(0.01, 1_000),
    "hundred_seed_weight_high_g": _Range(0.01, 1_000),
    "one_seed_from_pct": _Range(1, 100),
    "two_seeds_from_pct": _Range(1, 100),
    "depth_low_cm": _Range(0.5, 20),
    "depth_high_cm": _Range(0.5, 20),
    "band_beside_cm": _Range(0, 50),
    "band_below_cm": _Range(0, 50),
    "plant_after_onset_days": _Range(0, 120, whole=True),
    "emergence_from_day": _Range(1, 60, whole=True),
    "emergence_to_day": _Range(1, 60, whole=True),
    "thin_from_day": _Range(1, 120, whole=True),
    "thin_to_day": _Range(1, 120, whole=True),
    "weeding_1_day": _Range(1, 365, whole=True),
    "weeding_2_day": _Range(1, 365, whole=True),
    "weeding_3_day": _Range(1, 365, whole=True),
    "flowering_from_day": _Range(1, 365, whole=True),
    "harvest_from_day": _Range(1, 730, whole=True),
    "harvest_to_day": _Range(1, 730, whole=True),
    "yield_without_low_kg_ha": _Range(0, 100_000),
    "yield_without_high_kg_ha": _Range(0, 100_000),
    "yield_with_low_kg_ha": _Range(0, 100_000),
    "yield_with_high_kg_ha": _Range(0, 100_000),
    "holes_per_pole": _Range(1, 20, required=False),
    **{
        f"{work}_days_ha": _Range(0.01, 2_000, required=False)
        for work in (
            "peg_and_dig",
            "planting",
            "weeding_1",
            "weeding_2",
            "weeding_3",
            "harvest",
        )
    },
    "refill_share": _Range(0, 1),
    "spillage_share": _Range(0, 0.5),
    "fertiliser_high_kg_ha": _Range(1, 10_000),
    "beside_seed_max_kg_ha": _Range(1, 1_000),
    "npk_n_pct": _Range(0, 60),
    "npk_p2o5_pct": _Range(0, 60),
    "npk_k2o_pct": _Range(0, 60),
    "urea_n_pct": _Range(1, 60),
    "manure_n_pct": _Range(0, 10),
    "manure_p2o5_pct": _Range(0, 10),
    "manure_k2o_pct": _Range(0, 10),
    "manure_load_kg": _Range(1, 1_000),
    "maize_bean_rows": _Range(1, 10, whole=True, required=False),
    "maize_row_spacing_cm": _Range(30, 600),
    "maize_hole_spacing_cm": _Range(5, 200),
    "maize_seeds_per_hole": _Range(1, 5, whole=True),
}
"""Every number that a practice can have. Those that rise stand as low and high."""


def _plain(text: str) -> str:
    if not text.strip() or hidden(text):
        raise ValueError("is blank, or has a control character or an invisible one")
    return text


def _provenance(word: str) -> str:
    if word not in PROVENANCES:
        raise ValueError(f"isn't one of {', '.join(PROVENANCES)}")
    return word


Words = Annotated[str, Field(min_length=1, max_length=300), AfterValidator(_plain)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)


class Number(_Part):
    """One number of a practice."""

    value: float
    source: Annotated[Words, Field(min_length=10)]
    provenance: Annotated[str, AfterValidator(_provenance)]


class Product(_Part):
    """One product: when and where it is given."""

    name: Words
    timing: Literal["planting", "first weeding"]
    placement: Words


class Practice(_Part):
    """How a crop is grown."""

    title: Words
    crop: Words
    row_form: Literal["flat", "earthed up", "ridges"]
    two_seeds: Literal["thin to one", "holes twice as far apart"]
    reference_day: Literal["planting", "emergence"]
    products: dict[Literal["npk", "urea", "manure"], Product]
    numbers: dict[str, Number]

    def rows(self) -> pd.DataFrame:
        """Give the numbers as rows of a handbook's table.

        Returns
        -------
        pandas.DataFrame
            ``name, value, unit, source, provenance``, in the order of ``NUMBERS``.
        """
        names = [name for name in NUMBERS if name in self.numbers]
        found = [self.numbers[name] for name in names]
        return pd.DataFrame(
            {
                "name": names,
                "value": [number.value for number in found],
                "unit": [_unit(name) for name in names],
                "source": [number.source for number in found],
                "provenance": [number.provenance for number in found],
            }
        )


def _unit(name: str) -> str:
    return next((unit for end, unit in UNITS.items() if name.endswith(end)), "1")


def parse(raw: bytes, where: str) -> tuple[Practice, str]:
    """Read a practice.

    Parameters
    ----------
    raw : bytes
        A TOML file.
    where : str
        Name of the file, for messages.

    Returns
    -------
    practice : Practice
        The practice, checked.
    sha256 : str
        Digest of the file.

    Raises
    ------
    InputError
        With every fault: text that isn't TOML, a key that is unknown or missing, a number without
        a source or outside what it can be.
    """
    try:
        practice = Practice.model_validate(tomllib.loads(raw.decode("utf-8-sig")))
    except ValidationError as error:
        raise InputError(
            *(
                Fault(
                    where,
                    f"{'.'.join(map(str, wrong['loc']))[:SHOWN_MAX]}: {wrong['msg']}",
                    "Write it as in the practices that come with the package",
                )
                for wrong in error.errors(include_url=False, include_input=False)
            )
        ) from error
    except (ValueError, RecursionError) as error:
        told = " ".join(str(error).split())[:SHOWN_MAX]
        raise InputError(
            Fault(where, f"isn't a practice ({told})", "Save it as TOML, UTF-8")
        ) from error
    if faults := [Fault(where, *told) for told in _number_faults(practice)]:
        raise InputError(*faults)
    return practice, hashlib.sha256(raw).hexdigest()


def _number_faults(practice: Practice) -> Iterator[tuple[str, str]]:
    values = {name: number.value for name, number in practice.numbers.items()}
    for name in values:
        if name not in NUMBERS:
            yield f"[numbers.{name[:SHOWN_MAX]}] isn't known", f"Known: {', '.join(NUMBERS)}"
    for name, allowed in NUMBERS.items():
        if name not in values:
            if allowed.required:
                yield f"[numbers.{name}] is missing", "Add it with value, source and provenance"
            continue
        if not allowed.low <= values[name] <= allowed.high:
            bounds = f"{allowed.low:g} to {allowed.high:g}"
            yield f"{name} = {values[name]:g} isn't within {bounds}", "Correct the value"
        elif allowed.whole and not values[name].is_integer():
            yield f"{name} = {values[name]:g} isn't a whole number", "Correct the value"
    for low in values:
        high = low.replace("_low_", "_high_").replace("_from_", "_to_")
        if high != low and high in values and values[low] > values[high]:
            yield f"{low} = {values[low]:g} is above {high} = {values[high]:g}", "Change one"


@functools.cache
def names() -> tuple[str, ...]:
    """List the practices that come with the package.

    Returns
    -------
    tuple[str, ...]
        Their names, in alphabetical order.
    """
    entries = resources.files("districtplan.handbook").joinpath("practices").iterdir()
    return tuple(
        sorted(entry.name[:-5].replace("_", " ") for entry in entries if entry.name[-5:] == ".toml")
    )


@functools.cache
def packaged(name: str = USUAL) -> tuple[Practice, str]:
    """Load a practice that comes with the package.

    Parameters
    ----------
    name : str, default "bush beans"
        One of :func:`names`.

    Returns
    -------
    practice : Practice
        The practice.
    sha256 : str
        Digest of its file.
    """
    file = f"{name.replace(' ', '_')}.toml"
    return parse(
        resources.files("districtplan.handbook").joinpath("practices", file).read_bytes(), file
    )
