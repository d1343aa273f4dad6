"""Time of each step, and word of how far it is."""

from __future__ import annotations

import contextlib
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Generator


class Clock:
    """Time steps and tell their progress.

    Parameters
    ----------
    tell : Callable[[str, float], None]
        Called with the name of a step and the share of it that is done, 0 to 1.
    """

    def __init__(self, tell: Callable[[str, float], None]) -> None:
        self.seconds: dict[str, float] = {}
        self._tell = tell
        self._step = ""

    @contextlib.contextmanager
    def step(self, name: str) -> Generator[None]:
        """Time one step.

        Parameters
        ----------
        name : str
            Name of the step.

        Yields
        ------
        None
            While the step runs.
        """
        self._step = name
        self._tell(name, 0.0)
        start = time.perf_counter()
        yield
        self.seconds[name] = round(time.perf_counter() - start, 3)
        self._tell(name, 1.0)

    def share(self, share: float) -> None:
        """Tell how far the step is.

        Parameters
        ----------
        share : float
            Share that is done, 0 to 1.
        """
        self._tell(self._step, share)
