"""Loops compiled by numba.

Whoever imports this waits a second for numba: modules with such loops are imported late.
"""

from __future__ import annotations

from typing import TypeVar, cast

from numba import njit

Loop = TypeVar("Loop")


def compiled(loop: Loop) -> Loop:
    """Compile a loop at its first call.

    Parameters
    ----------
    loop : Loop
        A function of arrays and numbers.

    Returns
    -------
    Loop
        The same, fast.
    """
    return cast("Loop", njit(cache=True, nogil=True, error_model="numpy")(loop))
