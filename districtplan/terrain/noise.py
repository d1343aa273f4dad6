"""What the raster's vertical error does to slope and bearing: provisional formulas.

Errors are random with a standard deviation σ and a Gaussian correlation exp(-d²/2ℓ²). The
formulas for a plot's mean were found by Monte Carlo on compact plots and read up to a quarter too
small on long ones: they decide whether a bearing is supported, and are marked provisional.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from districtplan.terrain.bearing import eigenvalues

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.handbook import Handbook
    from districtplan.plan import Elevation
    from districtplan.terrain.statistics import Statistics

    Floats = NDArray[np.float64]

TABLE = "terrain_noise"


@dataclass(frozen=True)
class Noise:
    """Errors of the gradient, shape (plots,) each, as fractions.

    Attributes
    ----------
    cell : numpy.ndarray
        Standard error of one component of one cell's gradient [1].
    mean : numpy.ndarray
        Standard error of one component of the plot's mean gradient [1].
    bearing_deg : numpy.ndarray
        Standard error of the row bearing [degrees], at most that of a bearing at random.
    """

    cell: Floats
    mean: Floats
    bearing_deg: Floats


def horn_variance(correlation_m: float, width_m: Floats, height_m: Floats) -> Floats:
    """Give the variance of a Horn gradient component for an error of 1 m.

    Parameters
    ----------
    correlation_m : float
        Correlation length ℓ of the error; 0 for independent cells [m].
    width_m : numpy.ndarray
        Width of a cell along the component, shape (plots,) [m].
    height_m : numpy.ndarray
        Width of a cell across the component, shape (plots,) [m].

    Returns
    -------
    numpy.ndarray
        Variance aᵀCa, a the kernel's weights and C the correlation of its cells, shape (plots,)
        [1/m²].
    """
    along = np.array([-1.0, 0.0, 1.0])
    across = np.array([1.0, 2.0, 1.0])

    def form(weights: Floats, cell: Floats) -> Floats:
        apart = np.subtract.outer(np.arange(3), np.arange(3))[None] * cell[:, None, None]
        if correlation_m > 0:
            alike = np.exp(-(apart**2) / (2 * correlation_m**2))
        else:
            alike = np.where(apart == 0, 1.0, 0.0)
        result: Floats = np.einsum("i,pij,j->p", weights, alike, weights)
        return result

    # The kernel and the Gaussian both split into a factor along and a factor across.
    return form(along, width_m) * form(across, height_m) / (8 * width_m) ** 2


def propagate(
    found: Statistics,
    area_m2: Floats,
    cell_m: tuple[Floats, Floats],
    elevation: Elevation,
    handbook: Handbook,
) -> Noise:
    """Carry the vertical error through to the gradient and the bearing of each plot.

    Parameters
    ----------
    found : Statistics
        What the cells say.
    area_m2 : numpy.ndarray
        Area of each plot, shape (plots,) [m²].
    cell_m : tuple[numpy.ndarray, numpy.ndarray]
        Width and height of a cell at each plot [m].
    elevation : Elevation
        The plan's vertical error and its correlation length.
    handbook : Handbook
        Constants of the formulas (table ``terrain_noise``).

    Returns
    -------
    Noise
        Standard errors; all 0 where the plan takes the raster as true.
    """
    sigma, length = elevation.vertical_error_m, elevation.error_correlation_m
    width, height = cell_m

    def constant(name: str) -> float:
        return handbook.number(TABLE, name)

    one_cell = sigma**2 * np.maximum(
        horn_variance(length, width, height), horn_variance(length, height, width)
    )
    cell = np.sqrt(width * height)
    side = np.sqrt(area_m2 + constant("border_cells") * cell**2)
    smooth = side**3 / (cell + constant("correlation_reach") * length) + length**2
    mean_variance = np.minimum(sigma**2 / smooth, one_cell)

    steep, gentle = eigenvalues(found)
    # The tensor's axis turns by the noise across it over the difference of its eigenvalues. On a
    # plane that is the mean gradient's own turn; where the ground itself bends, more of it turns.
    spread = constant("tensor_base") + constant("tensor_correlated") * (length / cell) ** 2
    apart = steep - gentle
    bent = apart + 2 * np.maximum(gentle - one_cell, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        shared = np.maximum(found.cells / spread, 1.0)
        turn = (mean_variance * bent + one_cell**2 / shared) / apart**2
        turn = np.where(one_cell > 0, turn, 0.0)
    random = 180 / np.sqrt(12)
    bearing = np.minimum(np.degrees(np.sqrt(turn)), random)
    return Noise(np.sqrt(one_cell), np.sqrt(mean_variance), bearing)
