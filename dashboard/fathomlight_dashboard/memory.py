"""Keeps the server small and quick: memory goes back to the system, and long-lived objects are not searched again.

Two habits of a server that draws every page in a thread of its own would cost more than the pages themselves at a
million readings. Each thread gets a pool of memory that is not given back; and after every run the framework looks
through all objects of the process for garbage, the modules and the kept answers included.
"""

from __future__ import annotations

import contextlib
import ctypes
import gc
import sys
import time

M_ARENA_MAX, M_MMAP_THRESHOLD = -8, -3
"""Numbers of the settings in ``malloc.h`` of the GNU C library (``mallopt(3)``)."""

OWN_PAGES = 1 << 20
"""Pieces of memory from this size [bytes] on are asked of the system one by one, and given back at once."""


def settle(pools: int = 2) -> bool:
    """Let all threads share few pools of memory, and Arrow use the same ones.

    Parameters
    ----------
    pools : int
        At most so many.

    Returns
    -------
    bool
        False where the system's C library has no such setting; nothing is changed then.
    """
    import pyarrow as pa

    if not sys.platform.startswith("linux"):
        return False
    try:
        library = ctypes.CDLL(None)
        done = all([library.mallopt(M_ARENA_MAX, pools), library.mallopt(M_MMAP_THRESHOLD, OWN_PAGES)])
    except (OSError, AttributeError):  # another C library
        return False
    pa.set_memory_pool(pa.system_memory_pool())
    return done


def _give_back() -> None:
    """Give unused memory back to the system, where the C library can."""
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).malloc_trim(0)


class Searches:
    """Spares the search for garbage the objects that have just been found alive.

    Whenever a whole search has taken long, what is alive is set aside (``gc.freeze``) and the next ones look only at
    what is new. An object set aside is still freed at once when nobody holds it any more; only rings of objects
    that hold each other have to wait, until everything is looked at again.

    Parameters
    ----------
    long_s : float
        A search that takes longer sets aside what it has found alive [s].
    again_s : float
        Everything is looked at again after so long [s].
    """

    def __init__(self, *, long_s: float = 0.01, again_s: float = 600.0) -> None:
        self.long_s, self.again_s = long_s, again_s
        self._begin = 0.0
        self._whole = time.monotonic()

    def start(self) -> None:
        """Begin; once a process. Nothing is searched before :meth:`ready`: starting makes hardly any garbage."""
        gc.disable()
        gc.callbacks.append(self._searched)

    def ready(self) -> None:
        """Search from now on; what has been made while starting is set aside."""
        gc.freeze()
        gc.enable()

    def stop(self) -> None:
        """Search everything again, always."""
        gc.callbacks.remove(self._searched)
        gc.unfreeze()
        gc.enable()

    def _searched(self, phase: str, info: dict[str, int]) -> None:
        if info["generation"] < 2:
            return
        now = time.monotonic()
        if phase == "start":
            self._begin = now
            if now - self._whole > self.again_s:
                self._whole = now
                gc.unfreeze()
        elif now - self._begin > self.long_s:
            gc.freeze()
            _give_back()
