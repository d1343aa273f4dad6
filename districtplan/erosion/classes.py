"""Classes of slope and of soil loss, by the bounds of a handbook table."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray


def place(values: NDArray[np.float64], lower: pd.Series) -> NDArray[np.intp]:
    """Find the class of each value: the last whose lower bound it reaches.

    Parameters
    ----------
    values : numpy.ndarray
        Values, not below the first bound; NaN falls in the last class.
    lower : pandas.Series
        Lower bounds of the classes, rising; a bound belongs to the class above it.

    Returns
    -------
    numpy.ndarray
        Place of the class among the bounds, from 0.
    """
    found = np.searchsorted(lower.to_numpy(dtype=np.float64), values, side="right") - 1
    return np.maximum(found, 0)
