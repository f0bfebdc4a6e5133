"""Read a file by a recipe: whole, in pieces, or a few rows that a person has mended."""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from fathomlight.errors import ArgumentError
from fathomlight.ingest.isolated import iter_isolated
from fathomlight.ingest.opening import check_size, hash_file, open_source
from fathomlight.ingest.raw import RawTable, unique_header
from fathomlight.ingest.readings import Assembler, Piece
from fathomlight.ingest.recipe import Recipe
from fathomlight.ingest.result import ReadLimits, ReadResult, merge_results
from fathomlight.ingest.surveys import SurveyAssembler, SurveyPiece
from fathomlight.model import Parameter, Station, Water

__all__ = ["iter_chunks", "read_file", "read_rows", "recheck_row"]

Progress = Callable[[int, int], None]


def moment(now: dt.datetime | None) -> np.datetime64:
    """Return the present as UTC without zone; a time without zone is taken as UTC."""
    present = now or dt.datetime.now(dt.UTC)
    if present.tzinfo is not None:
        present = present.astimezone(dt.UTC).replace(tzinfo=None)
    return np.datetime64(present, "us")


def _assembler(
    recipe: Recipe,
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    waters: Sequence[Water],
    possible: Mapping[str, tuple[float, float]] | None,
    past: pd.DataFrame | None,
    now: dt.datetime | None,
    only: str = "",
) -> Assembler | SurveyAssembler:
    if recipe.kind in ("readings", "profiles"):
        return Assembler(recipe, parameters, stations, possible, past, moment(now), only=only)
    return SurveyAssembler(recipe, stations, waters, moment(now))


def _tables(piece: Piece | SurveyPiece) -> dict[str, Any]:
    """The fields of a piece, as fields of a result."""
    return {f.name: getattr(piece, f.name) for f in dataclasses.fields(piece)}


def iter_here(
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
    progress: Progress | None = None,
) -> Iterator[ReadResult]:
    """Read a file in pieces, in this process; see :func:`iter_chunks`."""
    digest = hash_file(path, limits)
    source = open_source(path, recipe, limits, sheet, progress)
    assembler = _assembler(recipe, parameters, stations, waters, possible, past, now)
    said: set[str] = set()

    def fresh() -> tuple[str, ...]:
        new = [w for w in dict.fromkeys([*source.warnings, *assembler.warnings]) if w not in said]
        said.update(new)
        return tuple(new)

    common: dict[str, Any] = {
        "file": source.name,
        "file_hash": digest,
        "recipe": recipe.name,
        "kind": recipe.kind,
    }
    some = False
    for table in source.chunks():
        piece = assembler.read(table)
        some = True
        yield ReadResult(**common, **_tables(piece), warnings=fresh(), unused_columns=assembler.unused)
    if isinstance(assembler, Assembler):
        assembler.finish()
    last = fresh()
    if last or not some:
        yield ReadResult(**common, warnings=last, unused_columns=assembler.unused)


def iter_chunks(
    path: str | Path,
    recipe: Recipe,
    *,
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    waters: Sequence[Water] = (),
    limits: ReadLimits | None = None,
    sheet: str | None = None,
    past: pd.DataFrame | None = None,
    possible: Mapping[str, tuple[float, float]] | None = None,
    now: dt.datetime | None = None,
    progress: Progress | None = None,
) -> Iterator[ReadResult]:
    """Read a file in pieces of some 100,000 rows, at constant memory.

    Parameters
    ----------
    path, recipe, parameters, stations, waters, limits, sheet, past, possible, now, progress
        As for :func:`read_file`.

    Yields
    ------
    ReadResult
        One piece; the last one may hold warnings only.

    Raises
    ------
    UnreadableFileError, UnsafeFileError, RecipeError
        As for :func:`read_file`; may come after some pieces: collect them before storing anything.
    """
    limits = limits or ReadLimits()
    arguments: dict[str, Any] = {
        "parameters": parameters, "stations": stations, "waters": waters, "limits": limits, "sheet": sheet,
        "past": past, "possible": possible, "now": now, "progress": progress,
    }  # fmt: skip
    check_size(Path(path), limits)
    reader = iter_here if limits.isolate == "never" else iter_isolated
    yield from reader(Path(path), recipe, **arguments)


def read_file(
    path: str | Path,
    recipe: Recipe,
    *,
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    waters: Sequence[Water] = (),
    limits: ReadLimits | None = None,
    sheet: str | None = None,
    past: pd.DataFrame | None = None,
    possible: Mapping[str, tuple[float, float]] | None = None,
    now: dt.datetime | None = None,
    progress: Progress | None = None,
) -> ReadResult:
    """Read a whole file by a recipe. Bad rows are refused one by one; nothing is stored.

    Parameters
    ----------
    path : str or pathlib.Path
        Text (CSV, TSV, logger), workbook or CF NetCDF.
    recipe : Recipe
        How it is read.
    parameters : mapping of str to Parameter
        What may be measured, by name.
    stations : sequence of Station
        Where.
    waters : sequence of Water, optional
        For fish surveys.
    limits : ReadLimits, optional
        How much the file may cost; by default it is parsed in a process of its own.
    sheet : str, optional
        Sheet of a workbook; wins over the recipe.
    past : pandas.DataFrame, optional
        What the stations have shown before: readings (``station, parameter, value, local_date``) or ranges
        (``station, parameter, low, high[, month]``), for "did you mean feet?".
    possible : mapping of str to (float, float), optional
        Hard limits by parameter, canonical unit; they win over the built-in ones.
    now : datetime.datetime, optional
        The present, with zone or in UTC; readings later than a day from it are refused.
    progress : callable, optional
        Called with bytes done and bytes in all.

    Returns
    -------
    ReadResult
        Readings (or surveys, catches, fish), refused rows, doubts, warnings, counts.

    Raises
    ------
    UnreadableFileError
        The file is not what it claims to be.
    UnsafeFileError
        The file is too large or built to exhaust the reader.
    RecipeError
        A column that the recipe needs is not in the file.
    """
    return merge_results(
        iter_chunks(
            path, recipe, parameters=parameters, stations=stations, waters=waters, limits=limits, sheet=sheet,
            past=past, possible=possible, now=now, progress=progress,
        )
    )  # fmt: skip


def read_rows(
    rows: Sequence[Mapping[str, str]],
    recipe: Recipe,
    *,
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    waters: Sequence[Water] = (),
    past: pd.DataFrame | None = None,
    possible: Mapping[str, tuple[float, float]] | None = None,
    now: dt.datetime | None = None,
    file: str = "typed rows",
    lines: Sequence[int] | None = None,
    column: str = "",
) -> ReadResult:
    """Read rows given as column name -> text, e.g. refused rows that a person has mended.

    Parameters
    ----------
    rows : sequence of mapping of str to str
        Cells; a column that a row lacks is empty there.
    recipe, parameters, stations, waters, past, possible, now
        As for :func:`read_file`.
    file : str, optional
        Name for messages.
    lines : sequence of int, optional
        Line of each row; by default 1, 2, ...
    column : str, optional
        Read this value column only.

    Returns
    -------
    ReadResult
        As for a file; ``file_hash`` is that of the rows.
    """
    names = list(dict.fromkeys(str(k) for row in rows for k in row))
    if not rows or not names:
        raise ArgumentError("rows", "at least one row with a cell is needed", got=len(rows))
    columns = [pa.array([str(row.get(n, "") or "") for row in rows], pa.string()) for n in names]
    line = np.array(lines if lines is not None else range(1, len(rows) + 1), dtype=np.int64)
    table = RawTable(file, unique_header(names), columns, line)
    digest = hashlib.sha256(
        json.dumps([dict(r) for r in rows], default=str, sort_keys=True).encode()
    ).hexdigest()
    assembler = _assembler(recipe, parameters, stations, waters, possible, past, now, only=column)
    tables = _tables(assembler.read(table))
    if isinstance(assembler, Assembler):
        assembler.finish()
    return ReadResult(
        file=file, file_hash=digest, recipe=recipe.name, kind=recipe.kind, **tables,
        warnings=tuple(assembler.warnings), unused_columns=assembler.unused,
    )  # fmt: skip


def recheck_row(
    refused: Mapping[str, Any],
    changes: Mapping[str, str],
    recipe: Recipe,
    *,
    parameters: Mapping[str, Parameter],
    stations: Sequence[Station],
    waters: Sequence[Water] = (),
    past: pd.DataFrame | None = None,
    possible: Mapping[str, tuple[float, float]] | None = None,
    now: dt.datetime | None = None,
) -> ReadResult:
    """Try one refused row again after a person has changed some cells.

    Parameters
    ----------
    refused : mapping
        One row of a table of refused rows.
    changes : mapping of str to str
        Column name -> new text.
    recipe, parameters, stations, waters, past, possible, now
        As for :func:`read_file`.

    Returns
    -------
    ReadResult
        Where one value cell of a wide row was refused, only that column is read again: the row's other
        readings were not refused and are not given twice.

    Raises
    ------
    ArgumentError
        The row was refused because it could not be split into cells, or a changed column is not in it.
    """
    try:
        cells = json.loads(str(refused["row_text"]))
    except ValueError:
        cells = None
    if not isinstance(cells, dict):
        raise ArgumentError(
            "refused", "this row could not be split into cells", got=refused.get("row_text"),
            fix="Correct it in the file and load the file again.",
        )  # fmt: skip
    column = str(refused["column"])
    column = next((name for name in cells if name == column or name.startswith(f"{column} [")), column)
    stray = [c for c in changes if c not in cells]
    if stray:
        raise ArgumentError("changes", "no such column in the row", got=stray, expected=", ".join(cells))
    values = {n for part in recipe.values for n in part.column}
    table = RawTable("", tuple(cells), [pa.array([""])] * len(cells), np.array([0]))
    is_value = any(
        table.find((n,)) is not None and table.header[table.find((n,)) or 0] == column for n in values
    )
    return read_rows(
        [{**cells, **changes}], recipe, parameters=parameters, stations=stations, waters=waters, past=past,
        possible=possible, now=now, file=str(refused["file"]), lines=[int(refused["line"])],
        column=column if is_value and len(recipe.values) > 1 else "",
    )  # fmt: skip
