"""The reading process: takes one job on standard input, answers on standard output, and ends."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import sys
from pathlib import Path
from typing import Any

__all__ = ["main"]


def _limit_memory(extra: int) -> None:
    """Let this process take so many bytes more than it has now."""
    try:
        import resource
    except ImportError:  # no such limits on this system; time and archive limits still hold
        return
    pages = int(Path("/proc/self/statm").read_text().split()[0]) if Path("/proc/self/statm").exists() else 0
    used = pages * os.sysconf("SC_PAGE_SIZE")
    limit = used + extra if used else extra + (2 << 30)
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))


def _limit_time(seconds: float) -> None:
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        most = int(seconds) + 5
        resource.setrlimit(resource.RLIMIT_CPU, (most, most + 5))


def _arguments(job: dict[str, Any], tables: dict[str, bytes], limits: Any, out: Any) -> dict[str, Any]:
    """What the reader is called with."""
    from fathomlight.ingest.isolated import _unpack, send
    from fathomlight.ingest.recipe import Recipe
    from fathomlight.model import Parameter, Station, Water

    def progress(done: int, total: int) -> None:
        send(out, {"kind": "progress", "done": done, "total": total})

    return {
        "recipe": Recipe.model_validate(job["recipe"]),
        "parameters": {p["name"]: Parameter(**p) for p in job["parameters"]},
        "stations": [Station(**{**s, "aliases": tuple(s["aliases"])}) for s in job["stations"]],
        "waters": [Water(**{**w, "depth_areas": tuple(map(tuple, w["depth_areas"]))}) for w in job["waters"]],
        "limits": limits,
        "sheet": job["sheet"],
        "past": _unpack(tables["past"]) if "past" in tables else None,
        "possible": None if job["possible"] is None else {k: tuple(v) for k, v in job["possible"].items()},
        "now": None if job["now"] is None else dt.datetime.fromisoformat(job["now"]),
        "progress": progress if job["wants_progress"] else None,
    }


def main() -> int:
    """Do one job.

    Returns
    -------
    int
        Exit code: 0 when an answer, good or bad, was given.
    """
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever a library prints must not fall into the answer
    from fathomlight.errors import FathomlightError, UnreadableFileError, UnsafeFileError
    from fathomlight.ingest.isolated import error_message, receive, result_message, send
    from fathomlight.ingest.peek import peek_here
    from fathomlight.ingest.read import iter_here
    from fathomlight.ingest.result import ReadLimits

    message = receive(sys.stdin.buffer)
    if message is None:
        return 2
    job, tables = message
    limits = ReadLimits(**job["limits"])

    try:
        _limit_memory(limits.memory_bytes)
        _limit_time(limits.seconds)
        if job.get("do") == "peek":
            peek = peek_here(Path(job["path"]), limits, job["sheet"])
            send(out, {"kind": "peek", "peek": peek.to_plain()})
        else:
            for result in iter_here(Path(job["path"]), **_arguments(job, tables, limits, out)):
                send(out, *result_message(result))
        send(out, {"kind": "done"})
    except FathomlightError as error:
        send(out, error_message(error))
    except MemoryError:
        send(
            out,
            error_message(
                UnsafeFileError(
                    "the file was given up: reading it took too much",
                    where=Path(job["path"]).name,
                    got="the reading process ran out of memory",
                    expected=f"at most {limits.memory_bytes / 2**20:,.0f} MB",
                    fix="Export the table as CSV, or split the file; see ReadLimits for the limits.",
                )
            ),
        )
    except Exception as error:
        send(out, error_message(UnreadableFileError(
            "the file cannot be read", where=Path(job["path"]).name, got=f"{type(error).__name__}: {error}",
            fix="Export the table as CSV (UTF-8) and load that.",
        )))  # fmt: skip
    return 0


if __name__ == "__main__":
    sys.exit(main())
