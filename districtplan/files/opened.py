"""Rasters that stay open while they are read: closed in the end, whatever happens."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Self

import rasterio

if TYPE_CHECKING:
    from collections.abc import Generator
    from types import TracebackType

CACHE_BYTES = 64 << 20
SNIFFED_BYTES = 512
"""Bytes by which a raster's format is known."""

# Files beside a raster are not looked for: overviews and metadata could lead anywhere.
ENVIRONMENT = {
    "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR",
    "GDAL_CACHEMAX": CACHE_BYTES,
    "GDAL_PAM_ENABLED": "NO",
    "CPL_LOG_ERRORS": "OFF",
}


class Opened:
    """Open files, in the environment in which the library of rasters reads them."""

    def __init__(self) -> None:
        self._stack = contextlib.ExitStack()

    @contextlib.contextmanager
    def _opening(self) -> Generator[None]:
        """Open files inside; where one can't be used all are closed."""
        try:
            self._stack.enter_context(rasterio.Env(**ENVIRONMENT))
            yield
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the files."""
        self._stack.close()
