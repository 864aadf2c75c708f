"""The last large piece decoded, kept for the next look.

A PNG, a JPEG, or a TIFF in one single compressed strip only makes sense from its beginning, so that a look
of a few pixels decodes it whole. A probe looks many times at the same one.
"""

import threading
from collections.abc import Callable

from negcat.scans.files import Master
from negcat.scans.picture import Pixels

__all__ = ["KEPT_BYTES", "kept"]

KEPT_BYTES = 256 << 20
"""Nothing larger is kept."""

_Key = tuple[str, int, int, int]


class _Last:
    """One decoded piece; safe between threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._key: _Key | None = None
        self._pixels: Pixels | None = None

    def get(self, key: _Key, decode: Callable[[], Pixels]) -> Pixels:
        with self._lock:
            if self._key == key and self._pixels is not None:
                return self._pixels
        pixels = decode()
        small = pixels.nbytes <= KEPT_BYTES
        with self._lock:
            self._key, self._pixels = (key, pixels) if small else (None, None)
        return pixels


_last = _Last()


def kept(master: Master, index: int, decode: Callable[[], Pixels]) -> Pixels:
    """Give piece `index` of a master, decoded now or the last time; never write into it.

    A master that has changed in size or time is another one.
    """
    return _last.get((str(master.path), master.size, master.modified_ns, index), decode)
