"""Random errors of heights as rasters have them."""

from __future__ import annotations

import numpy as np


def correlated(rng: np.random.Generator, side: int, length: float) -> np.ndarray:
    """A square of errors of variance 1, alike as exp(-d²/2ℓ²), ℓ in cells; 0 for none alike."""
    if length == 0:
        return rng.standard_normal((side, side))
    # Smoothing by a Gaussian of ℓ/√2 gives that correlation; a border keeps the sides apart.
    border = int(6 * length) + 2
    whole = side + 2 * border
    turns = np.fft.fftfreq(whole)
    weight = np.exp(-((np.pi * length) ** 2) * (turns[:, None] ** 2 + turns[None] ** 2))
    field = np.fft.ifft2(np.fft.fft2(rng.standard_normal((whole, whole))) * weight).real
    field /= np.sqrt((weight**2).mean())
    return field[border:-border, border:-border]
