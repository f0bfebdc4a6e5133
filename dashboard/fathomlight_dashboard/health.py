"""Is this process well, and is anybody's work under way in it: what a proxy and an orderly stop need to know."""

from __future__ import annotations

import asyncio
import logging
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from fathomlight_dashboard import data

PATIENCE = 20.0
"""How long a stop waits for work under way [s]; what is not done by then is undone whole by the store."""

log = logging.getLogger("fathomlight.server")


class Work:
    """Counts the page runs under way in this process."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._running = 0
        self.stopping = False

    @contextmanager
    def under_way(self) -> Iterator[None]:
        """Count one run for as long as it lasts."""
        with self._lock:
            self._running += 1
        try:
            yield
        finally:
            with self._lock:
                self._running -= 1

    @property
    def running(self) -> int:
        """How many runs are under way."""
        return self._running

    async def finish(self, patience: float = PATIENCE) -> bool:
        """Wait until nothing is under way.

        Parameters
        ----------
        patience : float
            At most so long [s].

        Returns
        -------
        bool
            True when everything was done in time.
        """
        self.stopping = True
        end = time.monotonic() + patience
        while self.running and time.monotonic() < end:
            await asyncio.sleep(0.05)
        return not self.running


WORK = Work()
"""The work of this process."""


def answer() -> tuple[int, dict[str, Any]]:
    """Return HTTP status and body of ``/health``: 200 when the workspace opens and its store answers, else 503.

    Returns
    -------
    tuple of int and dict
        The body says ``status`` (``ok``, ``trouble``, ``stopping``) and ``data_version``, nothing about data or people.
    """
    if WORK.stopping:
        return 503, {"status": "stopping"}
    try:
        version = data.workspace().data_version
    except Exception:  # whatever it is, the proxy must be told
        log.exception("the health check failed")
        return 503, {"status": "trouble"}
    return 200, {"status": "ok", "data_version": version}
