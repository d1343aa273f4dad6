"""Other processes that an analyst's script may start without a guard of its own."""

from __future__ import annotations

import contextlib
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextlib.contextmanager
def without_script() -> Iterator[None]:
    """Keep processes that are started anew from running the script that starts them.

    A new process reads the running script again, since what it is handed could be defined there.
    Where that script has no ``if __name__ == "__main__"``, each process would do all that it does
    from the top, and then fail. What this program hands to processes is defined in its own modules,
    so for that time the script has no file that could be read. Notebooks have none anyway.

    Yields
    ------
    None
        Processes may be started.
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
