"""Batches: what one load was, what came of it, and the log of what was done to it since."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from fathomlight.errors import ArgumentError, NotFoundError
from fathomlight.model import Result
from fathomlight.store.database import Session
from fathomlight.store.times import to_instants


@dataclass(frozen=True, kw_only=True)
class BatchInfo:
    """Where a load comes from.

    Attributes
    ----------
    file : str
        Name of the file, without its folder; empty for a form.
    file_hash : str
        Digest of the file's bytes; empty when there is none.
    recipe : str
        Name of the recipe (with its own digest, if a changed recipe is to count as another reading of the
        file).
    who : str
        Who loads.
    why : str
        Why, in the person's own words.
    source : {"file", "form", "api"}
        The way in.
    unchanged_file : {"skip", "load"}
        What to do with a file (same digest, same recipe) that an active batch holds already: leave the
        store as it is and return that batch, or load it as a new batch, which makes its values the newest
        again.
    """

    file: str = ""
    file_hash: str = ""
    recipe: str = ""
    who: str = ""
    why: str = ""
    source: Literal["file", "form", "api"] = "file"
    unchanged_file: Literal["skip", "load"] = "skip"

    def __post_init__(self) -> None:
        for name, allowed in (("source", ("file", "form", "api")), ("unchanged_file", ("skip", "load"))):
            if getattr(self, name) not in allowed:
                raise ArgumentError(
                    name, "no such choice", got=getattr(self, name), expected=" or ".join(allowed)
                )


@dataclass(frozen=True, kw_only=True)
class BatchResult(Result):
    """What a load did.

    Attributes
    ----------
    batch : int
        Number of the batch; of the earlier one when ``skipped``.
    n_rows : int
        Rows handed in, refused ones included.
    n_new, n_known, n_corrected, n_refused, n_empty : int
        Rows that are new, that the store knew already, that replace another value, that were refused (by the
        reader of the file or by the store), and that hold no value. They add up to ``n_rows``.
    skipped : bool
        True when the file was there already and nothing was done.
    data_version : int
        Data version of the store after the load.
    method : str
        How rows were told apart.
    notes : tuple of str
        What to look at.
    """

    batch: int
    n_rows: int
    n_new: int
    n_known: int
    n_corrected: int
    n_refused: int
    n_empty: int = 0
    skipped: bool = False
    data_version: int
    method: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class BatchChange(Result):
    """What withdrawing or restoring a batch did.

    Attributes
    ----------
    batch : int
        The batch.
    action : {"withdraw", "restore"}
        What was done.
    n_gone, n_back, n_other_value : int
        Identities that have no value any more, that have one again, and whose value is another version now.
    data_version : int
        Data version of the store afterwards.
    method : str
        The rule.
    notes : tuple of str
        What to look at.
    """

    batch: int
    action: Literal["withdraw", "restore"]
    n_gone: int
    n_back: int
    n_other_value: int
    data_version: int
    method: str = (
        "What is in force is what the latest batch that is not withdrawn says of a reading; "
        "nothing is deleted, and a withdrawn batch can be put back as it was."
    )
    notes: tuple[str, ...] = ()


def bump(session: Session, name: str, by: int = 1) -> int:
    """Raise a counter inside the running transaction and return its new value."""
    return session.number("UPDATE counter SET value = value + ? WHERE name = ? RETURNING value", by, name)


def take_numbers(session: Session, name: str, count: int) -> int:
    """Take ``count`` fresh numbers from a counter and return the first."""
    return bump(session, name, count) - count


def active_copy(session: Session, info: BatchInfo, kind: str) -> tuple[Any, ...] | None:
    """Return the counts of the active batch that holds the same file, None when there is none or it may be loaded."""
    if not info.file_hash or info.unchanged_file == "load":
        return None
    return session.row(
        "SELECT id, n_rows, n_new, n_known, n_corrected, n_refused, n_empty, loaded_at FROM batch "
        "WHERE file_hash = ? AND recipe = ? AND kind = ? AND state = 'active' ORDER BY id LIMIT 1",
        info.file_hash,
        info.recipe,
        kind,
    )


def skipped_result(session: Session, copy: tuple[Any, ...]) -> BatchResult:
    """Return the answer for a file that is there already."""
    number, n_rows, n_new, n_known, n_corrected, n_refused, n_empty, loaded = (int(v) for v in copy)
    on = to_instants([loaded])[0].strftime("%d %b %Y").lstrip("0")
    return BatchResult(
        batch=number,
        n_rows=n_rows,
        n_new=0,
        n_known=n_new + n_known + n_corrected,
        n_corrected=0,
        n_refused=n_refused,
        n_empty=n_empty,
        skipped=True,
        data_version=session.number("SELECT value FROM counter WHERE name = 'data_version'"),
        method="A file with the same content and recipe is not loaded twice.",
        notes=(f"This file was loaded as batch {number} on {on}; nothing was changed.",),
    )


def withdrawn_copies(session: Session, info: BatchInfo) -> list[int]:
    """Return the withdrawn batches that hold the same file."""
    if not info.file_hash:
        return []
    rows = session.rows(
        "SELECT id FROM batch WHERE file_hash = ? AND state = 'withdrawn' ORDER BY id", info.file_hash
    )
    return [int(number) for (number,) in rows]


def write_batch(session: Session, info: BatchInfo, kind: str, result: BatchResult, now: int) -> None:
    """Acknowledge a batch: its row and the first line of its log."""
    session.run(
        "INSERT INTO batch (id, kind, state, file, file_hash, recipe, who, why, source, loaded_at, n_rows, n_new, "
        "n_known, n_corrected, n_refused, n_empty, notes) VALUES (?, ?, 'active', ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, "
        "?, ?, ?)",
        result.batch, kind, info.file, info.file_hash, info.recipe, info.who, info.why, info.source, now,
        result.n_rows, result.n_new, result.n_known, result.n_corrected, result.n_refused, result.n_empty,
        json.dumps(list(result.notes)),
    )  # fmt: skip
    log(session, result.batch, "load", info.who, info.why, now)


def log(session: Session, batch: int, action: str, who: str, why: str, now: int) -> None:
    """Write a line of a batch's log."""
    session.run(
        "INSERT INTO batch_log (batch, action, who, why, done_at) VALUES (?, ?, ?, ?, ?)",
        batch,
        action,
        who,
        why,
        now,
    )


def kind_of(session: Session, batch: int) -> str:
    """Return whether a batch holds readings or surveys; :class:`NotFoundError` when there is none."""
    row = session.row("SELECT kind FROM batch WHERE id = ?", int(batch))
    if row is None:
        raise NotFoundError("no such batch", got=batch, fix="Look at the list of batches.")
    return str(row[0])


def check_state(session: Session, batch: int, state: str) -> None:
    """Raise :class:`ArgumentError` when a batch is in that state already."""
    row = session.row("SELECT state FROM batch WHERE id = ?", int(batch))
    if row is not None and row[0] == state:
        raise ArgumentError("batch", f"batch {batch} is {state} already", got=state)


def set_state(session: Session, batch: int, state: str) -> None:
    """Change the state of a batch inside a transaction; :class:`ArgumentError` when it is in that state already."""
    check_state(session, batch, state)
    session.run("UPDATE batch SET state = ? WHERE id = ?", state, int(batch))


_BATCH_COLUMNS = (
    "batch", "kind", "state", "file", "file_hash", "recipe", "who", "why", "source", "loaded", "n_rows", "n_new",
    "n_known", "n_corrected", "n_refused", "n_empty", "notes",
)  # fmt: skip


def batch_table(session: Session, where: str = "", *parameters: object) -> pd.DataFrame:
    """Return batches, newest first."""
    rows = session.rows(
        "SELECT id, kind, state, file, file_hash, recipe, who, why, source, loaded_at, n_rows, n_new, n_known, "
        f"n_corrected, n_refused, n_empty, notes FROM batch {where} ORDER BY id DESC",
        *parameters,
    )
    table = pd.DataFrame(rows, columns=list(_BATCH_COLUMNS))
    texts = ("kind", "state", "file", "file_hash", "recipe", "who", "why", "source")
    table = table.astype(dict.fromkeys(texts, "str") | {n: "int64" for n in _BATCH_COLUMNS if n[:2] == "n_"})
    table["batch"] = table["batch"].astype("int64")
    table["loaded"] = to_instants(table["loaded"])
    table["notes"] = [tuple(json.loads(notes)) if notes else () for notes in table["notes"]]
    return table
