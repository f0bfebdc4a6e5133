"""Parse a file in a process of its own, with limits on memory and time.

The child reads by the same code as :func:`fathomlight.ingest.read.iter_here` and sends each piece as JSON
(small things) and Arrow streams (tables) through its standard output: data only, nothing that could run.
When it dies, runs out of memory or takes too long, that is a refusal of the file, and the caller lives on.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import os
import struct
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import IO, Any

import pandas as pd
import pyarrow as pa

import fathomlight.errors as errors
from fathomlight.errors import FathomlightError, UnreadableFileError, UnsafeFileError
from fathomlight.ingest.peek import Peek
from fathomlight.ingest.recipe import Recipe
from fathomlight.ingest.result import ReadLimits, ReadResult
from fathomlight.model import Parameter, Station, Water

__all__ = ["iter_isolated", "peek_isolated"]

TABLES = ("frame", "surveys", "catches", "fish", "refused", "doubts")
_MAX_MESSAGE = 1 << 31


# -- messages --------------------------------------------------------------------------------------


def _pack(frame: pd.DataFrame) -> bytes:
    sink = pa.BufferOutputStream()
    table = pa.Table.from_pandas(frame, preserve_index=False)
    with pa.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    return bytes(sink.getvalue())


def _unpack(data: bytes) -> pd.DataFrame:
    frame: pd.DataFrame = pa.ipc.open_stream(pa.BufferReader(data)).read_all().to_pandas()
    return frame


def send(stream: IO[bytes], head: Mapping[str, Any], tables: Mapping[str, bytes] | None = None) -> None:
    """Send one message: length, JSON with the sizes of the tables, tables.

    Parameters
    ----------
    stream : binary file
        Where to.
    head : mapping
        JSON-able.
    tables : mapping of str to bytes, optional
        Arrow streams by name.
    """
    tables = tables or {}
    text = json.dumps({**head, "tables": {k: len(v) for k, v in tables.items()}}).encode()
    stream.write(struct.pack("<Q", len(text)) + text)
    for data in tables.values():
        stream.write(data)
    stream.flush()


def receive(stream: IO[bytes]) -> tuple[dict[str, Any], dict[str, bytes]] | None:
    """Receive one message; None at the end, or when the sender died in the middle of one."""
    size = stream.read(8)
    if len(size) < 8:
        return None
    length = struct.unpack("<Q", size)[0]
    if length > _MAX_MESSAGE:
        return None
    text = stream.read(length)
    if len(text) < length:
        return None
    head = json.loads(text)
    tables = {}
    for name, wanted in head.pop("tables", {}).items():
        data = stream.read(int(wanted))
        if len(data) < int(wanted):
            return None
        tables[name] = data
    return head, tables


def result_message(result: ReadResult) -> tuple[dict[str, Any], dict[str, bytes]]:
    """Turn a result into a message."""
    head = {
        "kind": "result",
        "fields": {
            k: getattr(result, k)
            for k in ("file", "file_hash", "recipe", "kind", "warnings", "counts", "unused_columns")
        },
    }
    tables = {name: _pack(frame) for name in TABLES if len(frame := getattr(result, name))}
    return head, tables


def _result(head: Mapping[str, Any], tables: Mapping[str, bytes]) -> ReadResult:
    fields = dict(head["fields"])
    fields["warnings"], fields["unused_columns"] = tuple(fields["warnings"]), tuple(fields["unused_columns"])
    blank = ReadResult(file="", file_hash="", recipe="")
    frames: dict[str, Any] = {}
    for name, data in tables.items():
        frame, like = _unpack(data), getattr(blank, name)
        frames[name] = frame[list(like.columns)].astype(like.dtypes.to_dict())
    return ReadResult(**fields, **frames)


def error_message(error: FathomlightError) -> dict[str, Any]:
    """Turn an error into a message."""
    got = error.got if isinstance(error.got, (str, int, float, list, type(None))) else repr(error.got)
    expected = error.expected if error.expected is None else str(error.expected)
    return {
        "kind": "error", "type": type(error).__name__, "what": error.what, "where": error.where, "got": got,
        "expected": expected, "fix": error.fix,
    }  # fmt: skip


def _error(head: Mapping[str, Any]) -> FathomlightError:
    kind = getattr(errors, str(head["type"]), UnreadableFileError)
    if not (isinstance(kind, type) and issubclass(kind, FathomlightError)):
        kind = UnreadableFileError
    if issubclass(kind, (errors.ArgumentError, errors.MissingExtraError)):
        kind = FathomlightError
    return kind(
        str(head["what"]), where=head["where"], got=head["got"], expected=head["expected"], fix=head["fix"]
    )


# -- the parent ------------------------------------------------------------------------------------


def _job(
    path: Path,
    recipe: Recipe,
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    waters: Sequence[Water],
    limits: ReadLimits,
    sheet: str | None,
    possible: Mapping[str, tuple[float, float]] | None,
    now: dt.datetime | None,
) -> dict[str, Any]:
    return {
        "path": str(path.resolve()),
        "recipe": recipe.model_dump(mode="json", exclude_defaults=True) | {"name": recipe.name},
        "parameters": [asdict(p) for p in parameters.values()],
        "stations": [asdict(s) for s in stations],
        "waters": [asdict(w) for w in waters],
        "limits": asdict(limits),
        "sheet": sheet,
        "possible": None if possible is None else {k: list(v) for k, v in possible.items()},
        "now": None if now is None else now.isoformat(),
    }


def _environment() -> dict[str, str]:
    """What the child needs to find Python packages, and one thread for each library."""
    kept = {
        k: v for k, v in os.environ.items() if k in ("PATH", "LANG", "TMPDIR", "TZDIR", "SYSTEMROOT", "HOME")
    }
    paths = [p for p in sys.path if p and Path(p).is_dir()]
    return kept | {
        "PYTHONPATH": os.pathsep.join(paths), "PYTHONDONTWRITEBYTECODE": "1", "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1", "ARROW_NUM_THREADS": "1", "MALLOC_ARENA_MAX": "2",
        "ARROW_DEFAULT_MEMORY_POOL": "system",
    }  # fmt: skip


def _died(path: Path, code: int | None, late: bool, limits: ReadLimits, said: str) -> UnsafeFileError:
    if late:
        got, expected = f"more than {limits.seconds:g} s", f"a file that is read within {limits.seconds:g} s"
    else:
        memory = "MemoryError" in said or "allocat" in said or code in (-6, -9, -11, 134, 137, 139)
        got = (
            "the reading process ran out of memory" if memory else "the reading process ended before its time"
        )
        expected = f"a file that can be read within {limits.memory_bytes / 2**20:,.0f} MB"
    return UnsafeFileError(
        "the file was given up: reading it took too much", where=path.name, got=got, expected=expected,
        fix="Export the table as CSV, or split the file; see ReadLimits for the limits.",
    )  # fmt: skip


def iter_isolated(
    path: Path,
    recipe: Recipe,
    *,
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    waters: Sequence[Water] = (),
    limits: ReadLimits,
    sheet: str | None = None,
    past: pd.DataFrame | None = None,
    possible: Mapping[str, tuple[float, float]] | None = None,
    now: dt.datetime | None = None,
    progress: Any = None,
) -> Iterator[ReadResult]:
    """Read a file in pieces, in a process of its own; see :func:`fathomlight.ingest.iter_chunks`."""
    job = _job(path, recipe, parameters, stations, waters, limits, sheet, possible, now)
    job["wants_progress"] = progress is not None
    tables = {} if past is None or past.empty else {"past": _pack(_slim(past))}
    for head, data in _run(job, tables, path, limits):
        if head["kind"] == "progress":
            progress(int(head["done"]), int(head["total"]))
        else:
            yield _result(head, data)


def peek_isolated(path: Path, limits: ReadLimits, sheet: str | None = None) -> Peek:
    """Look at the beginning of a file in a process of its own; see :mod:`fathomlight.ingest.peek`."""
    job = {"do": "peek", "path": str(path.resolve()), "limits": asdict(limits), "sheet": sheet}
    for head, _ in _run(job, {}, path, limits):
        return Peek.from_plain(head["peek"])
    raise UnreadableFileError("the file cannot be looked at", where=path.name)


def _run(
    job: Mapping[str, Any], tables: Mapping[str, bytes], path: Path, limits: ReadLimits
) -> Iterator[tuple[dict[str, Any], dict[str, bytes]]]:
    """Run one job in a child; give its messages, raise its error or the reason of its death."""
    with tempfile.TemporaryFile() as said:
        process = subprocess.Popen(
            [sys.executable, "-m", "fathomlight.ingest.child"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=said,
            env=_environment(),
            cwd=tempfile.gettempdir(),
        )
        try:
            assert process.stdin is not None
            with contextlib.suppress(BrokenPipeError):
                send(process.stdin, job, tables)
                process.stdin.close()
            yield from _answers(process, path, limits, said)
        finally:
            process.kill()
            process.wait()
            for stream in (process.stdin, process.stdout):
                with contextlib.suppress(OSError):
                    stream.close() if stream is not None else None


def _slim(past: pd.DataFrame) -> pd.DataFrame:
    wanted = (
        "station",
        "parameter",
        "value",
        "local_date",
        "time",
        "flag",
        "qualifier",
        "low",
        "high",
        "month",
    )
    return past[[c for c in wanted if c in past.columns]]


def _receive_in_time(process: subprocess.Popen[bytes], seconds: float) -> tuple[Any, float, bool]:
    """Wait for one message, so long at most; return it, the seconds left, and whether they ran out."""
    assert process.stdout is not None
    late = threading.Event()

    def give_up() -> None:
        late.set()
        process.kill()

    begin = time.monotonic()
    timer = threading.Timer(max(seconds, 0.0), give_up)
    timer.daemon = True
    timer.start()
    try:
        message = receive(process.stdout)
    finally:
        timer.cancel()
    return message, seconds - (time.monotonic() - begin), late.is_set()


def _answers(
    process: subprocess.Popen[bytes], path: Path, limits: ReadLimits, said: Any
) -> Iterator[tuple[dict[str, Any], dict[str, bytes]]]:
    """Give the child's messages; only the time spent waiting for them counts."""
    left = limits.seconds
    while True:
        message, left, late = _receive_in_time(process, left)
        if message is None:
            process.kill()
            code = process.wait()
            said.seek(0)
            raise _died(path, code, late, limits, said.read()[-4000:].decode("utf-8", "replace"))
        head, tables = message
        if head["kind"] == "done":
            return
        if head["kind"] == "error":
            raise _error(head)
        yield head, tables
