"""Colours of the plots: one hue from light to dark, so that order survives any colour vision.

The number of the class is printed in the plot beside its colour; a test computes the contrasts.
"""

from __future__ import annotations

EROSION = ("#f8e8c8", "#e8b878", "#ab5a26", "#6e2c10", "#3d1408")
"""Fill by erosion class, 1 to 5."""

SLOPE = (
    "#fbf1dc",
    "#f6e3c0",
    "#efd1a0",
    "#e5bb7e",
    "#d6a05f",
    "#c28245",
    "#a66330",
    "#84461f",
    "#5f2b13",
    "#3d1408",
)
"""Fill by slope class, 1 to 10, where there are no tonnes."""

PLAIN = "#f6efdb"
"""Fill of a plot where the view isn't about steepness."""

CHOSEN = "#e5bb7e"
"""Fill of a plot where work is proposed, in the view of where to work first."""

TINT = ("#93ad95", "#fdf9f0")
"""Tint of the lowest and of the highest ground, below the hillshade: a greyish green that is
never dark, so that plots stand out; no blue, which is water; the higher the paler in any colour
vision."""

CONTOUR = "#5c4c3a"
"""Lines of equal height."""

INKS = ("#000000", "#ffffff")
"""What is drawn on a fill; of the two one always reaches 4.5 : 1."""


LINEAR_UP_TO = 0.04045
"""Below this, sRGB is linear."""


def luminance(colour: str) -> float:
    """Compute the relative luminance of a colour.

    Parameters
    ----------
    colour : str
        Colour as ``#rrggbb``.

    Returns
    -------
    float
        0 black to 1 white (WCAG 2.2, definition of relative luminance).
    """
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= LINEAR_UP_TO else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Compute the contrast ratio of two colours.

    Parameters
    ----------
    one : str
        Colour as ``#rrggbb``.
    other : str
        The other colour.

    Returns
    -------
    float
        1 alike to 21 black on white (WCAG 2.2, definition of contrast ratio).
    """
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def ink_on(fill: str) -> str:
    """Choose the ink that stands out more on a fill.

    Parameters
    ----------
    fill : str
        Colour as ``#rrggbb``.

    Returns
    -------
    str
        One of ``INKS``.
    """
    return max(INKS, key=lambda ink: contrast(ink, fill))
