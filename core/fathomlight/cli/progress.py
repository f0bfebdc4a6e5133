"""A progress bar on standard error that appears only when a job takes over a second."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import Any


class Bar:
    """Context manager; :meth:`step` is what a loader or a trend job calls.

    Parameters
    ----------
    what : str
        The job in two or three words.
    quiet : bool
        True: never show anything.
    """

    def __init__(self, what: str, *, quiet: bool) -> None:
        self.what = what
        self.quiet = quiet
        self._started = time.monotonic()
        self._progress: Any = None
        self._task: Any = None

    def step(self, done: int, total: int | None = None) -> None:
        """Say that ``done`` of ``total`` is finished."""
        if self.quiet or time.monotonic() - self._started < 1.0:
            return
        if self._progress is None:
            self._start(total)
        self._progress.update(self._task, completed=done, total=total)

    def _start(self, total: int | None) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        self._progress = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            MofNCompleteColumn(),
            TimeRemainingColumn(),
            console=Console(file=sys.stderr),
            transient=True,
        )
        self._progress.start()
        self._task = self._progress.add_task(self.what, total=total)

    def __enter__(self) -> Bar:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._progress is not None:
            self._progress.stop()
