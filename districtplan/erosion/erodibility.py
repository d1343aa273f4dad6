"""Soil erodibility K from soil values: by the nomograph's equation or by EPIC's.

Both give US customary units and are converted here, once. Neither is for strongly aggregated
oxidic soils, Andosols or Vertisols. All numbers are in the table ``erodibility_constants``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from districtplan.handbook import Handbook

    Floats = NDArray[np.float64]

TABLE = "erodibility_constants"


def nomograph(soil: Mapping[str, Floats], handbook: Handbook) -> Floats:
    """Give K by the equation of the nomograph [1]_.

    ``K = (2.1e-4 M^1.14 (12 - OM) + 3.25 (s - 2) + 2.5 (p - 3)) / 100`` in US units, M the
    percentage of silt and very fine sand times that of all but clay.

    Parameters
    ----------
    soil : Mapping[str, numpy.ndarray]
        ``silt_and_very_fine_sand_pct``, ``clay_pct``, ``organic_matter_pct`` [%], ``structure``
        (1 very fine granular to 4 blocky, platy or massive) and ``permeability`` (1 rapid to 6
        very slow).
    handbook : Handbook
        The published tables.

    Returns
    -------
    numpy.ndarray
        K [t ha h/(ha MJ mm)]; NaN where silt and very fine sand exceed what the nomograph was
        drawn for.

    References
    ----------
    .. [1] Wischmeier, W.H., Johnson, C.B., Cross, B.V. (1971). A soil erodibility nomograph for
       farmland and construction sites. Journal of Soil and Water Conservation 26, 189-193.
    """
    n = handbook.numbers(TABLE)
    fine = soil["silt_and_very_fine_sand_pct"]
    organic = np.minimum(soil["organic_matter_pct"], n["nomograph_organic_max_pct"])
    grains = fine * (100 - soil["clay_pct"])
    texture = n["nomograph_factor"] * grains ** n["nomograph_power"]
    structure = soil["structure"] - n["nomograph_structure_middle"]
    permeability = soil["permeability"] - n["nomograph_permeability_middle"]
    us = (
        texture * (n["nomograph_organic_from"] - organic)
        + n["nomograph_structure_factor"] * structure
        + n["nomograph_permeability_factor"] * permeability
    ) / 100
    return np.where(fine < n["nomograph_silt_max_pct"], _si(us, handbook), np.nan)


def epic(soil: Mapping[str, Floats], handbook: Handbook) -> Floats:
    """Give K by the equation of EPIC [1]_.

    Parameters
    ----------
    soil : Mapping[str, numpy.ndarray]
        ``sand_pct``, ``silt_pct``, ``clay_pct`` and ``organic_carbon_pct`` [%]: carbon, not
        organic matter.
    handbook : Handbook
        The published tables.

    Returns
    -------
    numpy.ndarray
        K [t ha h/(ha MJ mm)].

    References
    ----------
    .. [1] Williams, J.R. (1995). The EPIC model. In: Singh, V.P. (ed.), Computer models of
       watershed hydrology, 909-1000. Water Resources Publications.
    """
    n = handbook.numbers(TABLE)
    sand, silt, carbon = soil["sand_pct"], soil["silt_pct"], soil["organic_carbon_pct"]
    coarse = n["epic_base"] + n["epic_sand_factor"] * np.exp(
        -n["epic_sand_rate"] * sand * (1 - silt / 100)
    )
    fine = np.maximum(soil["clay_pct"] + silt, np.finfo(np.float64).tiny)
    share = (silt / fine) ** n["epic_silt_power"]
    organic = 1 - n["epic_carbon_factor"] * carbon / (
        carbon + np.exp(n["epic_carbon_offset"] - n["epic_carbon_rate"] * carbon)
    )
    rest = 1 - sand / 100
    sandy = 1 - n["epic_coarse_factor"] * rest / (
        rest + np.exp(n["epic_coarse_offset"] + n["epic_coarse_rate"] * rest)
    )
    return _si(np.asarray(coarse * share * organic * sandy, dtype=np.float64), handbook)


def _si(us: Floats, handbook: Handbook) -> Floats:
    from_us = handbook.number("soil_ranges", "erodibility_us_to_si")
    return np.maximum(us, 0) * from_us
