"""How long it takes to walk, up and down [1]_.

References
----------
.. [1] Tobler, W. (1993). Three presentations on geographical analysis and modeling. NCGIA Technical
   Report 93-1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.handbook import Handbook

    Floats = NDArray[np.float64]

TABLE = "walking"
METRES_PER_MINUTE = 1000 / 60
"""In one km/h."""


@dataclass(frozen=True)
class Walking:
    """How fast people walk.

    Attributes
    ----------
    fastest_km_h : float
        Speed on a path, where it is fastest [km/h].
    slope_decay : float
        How speed falls with slope.
    fastest_slope : float
        Rise over distance where it is fastest: a little downhill.
    off_path_share : float
        Share of that speed where there is no path.
    """

    fastest_km_h: float
    slope_decay: float
    fastest_slope: float
    off_path_share: float

    @classmethod
    def of(cls, handbook: Handbook) -> Walking:
        """Look the numbers up.

        Parameters
        ----------
        handbook : Handbook
            The published tables.

        Returns
        -------
        Walking
            What they say.
        """
        names = ("fastest_km_h", "slope_decay", "fastest_slope", "off_path_share")
        return cls(*(handbook.number(TABLE, name) for name in names))

    def farthest_m(self, minutes: float) -> float:
        """Say how far nobody walks in a time.

        Parameters
        ----------
        minutes : float
            The time [minutes].

        Returns
        -------
        float
            Way at the fastest speed [m].
        """
        return self.fastest_km_h * METRES_PER_MINUTE * minutes

    def level_km_h(self, *, path: bool) -> float:
        """Say how fast people walk on level ground.

        Parameters
        ----------
        path : bool
            Whether there is a path.

        Returns
        -------
        float
            The speed [km/h].
        """
        metre = np.ones(1), np.zeros(1), np.array([path])
        return float(1 / METRES_PER_MINUTE / self.minutes(*metre)[0])

    def minutes(self, away_m: Floats, rise_m: Floats, path: NDArray[np.bool_]) -> Floats:
        """Say how long ways take.

        Parameters
        ----------
        away_m : numpy.ndarray
            How far, on the map [m].
        rise_m : numpy.ndarray
            How much higher the end lies than the start [m].
        path : numpy.ndarray
            Whether there is a path, bool.

        Returns
        -------
        numpy.ndarray
            Minutes; walked the other way, they differ.
        """
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = np.where(away_m > 0, rise_m / away_m, 0.0)
        bent = np.exp(-self.slope_decay * np.abs(slope - self.fastest_slope))
        speed = self.fastest_km_h * bent * np.where(path, 1.0, self.off_path_share)
        found: Floats = away_m / (speed * METRES_PER_MINUTE)
        return found
