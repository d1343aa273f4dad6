"""A raster of R or K: one GeoTIFF beside the elevation, on a grid of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from districtplan.errors import Fault, InputError
from districtplan.files import geotiff
from districtplan.files.local import locate, sha256, start_of
from districtplan.files.opened import SNIFFED_BYTES, Opened

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from districtplan.grid import Window


class SoilRaster(Opened):
    """Values of R or K, read by window.

    Parameters
    ----------
    name : str
        Name of the file as in the plan.
    folder : Path
        Folder of the plan file.

    Attributes
    ----------
    grid : Grid
        Its grid.
    sha256 : dict[str, str]
        Its digest, by its name.

    Raises
    ------
    InputError
        If the file can't be used.
    """

    def __init__(self, name: str, folder: Path) -> None:
        super().__init__()
        with self._opening():
            path = locate(name, folder)
            _check_start(path, name)
            self._tile = geotiff.open_tile(path, name, None, self._stack, heights=False)
            self.grid = self._tile.grid
            self.sha256 = {name: sha256(path, name)}

    def read(self, window: Window) -> NDArray[np.float64]:
        """Give values of a window inside the grid, NaN where there is none.

        Parameters
        ----------
        window : Window
            The cells wanted.

        Returns
        -------
        numpy.ndarray
            Values in the unit of the file, shape ``(window.rows, window.columns)``.

        Raises
        ------
        InputError
            If the file turns out to be damaged there.
        """
        return self._tile.read(window).astype(np.float64)


def _check_start(path: Path, name: str) -> None:
    if not start_of(path, SNIFFED_BYTES, name).startswith(geotiff.STARTS):
        raise InputError(Fault(name, "is no GeoTIFF", "Export the raster as GeoTIFF"))
