"""Other processes that work for this one: any script may start them, and they end with it."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context, parent_process
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Generator


@contextlib.contextmanager
def workers(processes: int) -> Generator[ProcessPoolExecutor]:
    """Start processes that work side by side, for a time.

    They are started anew and not forked, as threads of compiled loops don't outlive a fork. A
    script that starts them needs no ``if __name__ == "__main__"``. Where this process is killed,
    they end too.

    Parameters
    ----------
    processes : int
        How many.

    Yields
    ------
    ProcessPoolExecutor
        What takes tasks, of functions that stand in this package's own modules.
    """
    anew = get_context("spawn")
    with _without_script(), ProcessPoolExecutor(processes, anew, _end_with_parent) as pool:
        yield pool


def _end_with_parent() -> None:
    """Watch the process that started this one: what is killed calls nobody off."""
    parent = parent_process()
    if parent is not None:

        def watch() -> None:
            parent.join()
            os._exit(1)

        threading.Thread(target=watch, daemon=True).start()


@contextlib.contextmanager
def _without_script() -> Generator[None]:
    """Keep processes that are started anew from running the script that starts them.

    A new process reads the running script again, since what it is handed could be defined there.
    Where that script has no ``if __name__ == "__main__"``, each process would do all that it does
    from the top, and then fail. What this program hands to processes is defined in its own modules,
    so for that time the script has no file that could be read. Notebooks have none anyway.
    """
    main = vars(sys.modules["__main__"])
    # Who runs a module by its name is read by that name.
    kept = {} if main.get("__spec__") else {key: main[key] for key in ("__file__",) if key in main}
    for key in kept:
        del main[key]
    try:
        yield
    finally:
        main.update(kept)
