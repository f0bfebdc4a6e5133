"""What reading a file gives, and how much it may cost."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

import pandas as pd

from fathomlight.ingest.issues import concat_refused
from fathomlight.ingest.readings import FRAME_COLUMNS
from fathomlight.model import (
    CATCH_COLUMNS,
    FISH_COLUMNS,
    REFUSED_COLUMNS,
    SURVEY_COLUMNS,
    Result,
    empty_frame,
)

__all__ = ["ReadLimits", "ReadResult", "merge_results"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadLimits:
    """How much one file may cost.

    Attributes
    ----------
    max_bytes : int
        Size of the file, [byte].
    max_unpacked_bytes : int
        Size of everything inside a workbook, [byte].
    max_ratio : float
        How many times larger a part of a workbook may become when unpacked.
    max_parts : int
        Parts of a workbook.
    max_cells : int
        Rows times columns of a sheet.
    memory_bytes : int
        Memory the reading process may take beyond what it needs to start, [byte].
    seconds : float
        Time the reading process may take, [s].
    isolate : {"always", "never"}
        Whether the file is parsed in a process of its own. ``never`` is for files one has made oneself.
    """

    max_bytes: int = 200 << 20
    max_unpacked_bytes: int = 1 << 30
    max_ratio: float = 200.0
    max_parts: int = 2_000
    max_cells: int = 20_000_000
    memory_bytes: int = 2 << 30
    seconds: float = 900.0
    isolate: Literal["always", "never"] = "always"


@dataclass(frozen=True, kw_only=True)
class ReadResult(Result):
    """What a file, or one piece of it, gave. Nothing is stored yet.

    Attributes
    ----------
    file, file_hash : str
        Name, and SHA-256 of the bytes in hexadecimal.
    recipe : str
        Name of the recipe used.
    kind : {"readings", "profiles", "surveys", "catch", "fish"}
        What the recipe reads.
    frame : pandas.DataFrame
        Readings: :data:`~fathomlight.model.READING_COLUMNS` without ``batch``.
    surveys, catches, fish : pandas.DataFrame
        Tables of the model, for the other kinds.
    refused : pandas.DataFrame
        Cells and rows that cannot be used: :data:`~fathomlight.model.REFUSED_COLUMNS`. ``row_text`` is the
        row as a JSON object (column name -> cell), which :func:`~fathomlight.ingest.recheck_row` takes
        back.
    doubts : pandas.DataFrame
        Readings that were kept but should be looked at; same columns.
    warnings : tuple of str
        What a person should know about the whole file.
    counts : dict of str to int
        ``rows``, ``readings`` (or ``surveys``, ``catches``, ``fish``), ``refused``, ``doubts``, ``blank``
        (cells without a value in rows that have others), ``empty_rows``, ``duplicates``, ``left_out``,
        ``not_wanted``.
    unused_columns : tuple of str
        Columns that the recipe does not speak of.
    """

    file: str
    file_hash: str
    recipe: str
    kind: str = "readings"
    frame: pd.DataFrame = field(default_factory=lambda: empty_frame(FRAME_COLUMNS))
    surveys: pd.DataFrame = field(default_factory=lambda: empty_frame(SURVEY_COLUMNS))
    catches: pd.DataFrame = field(default_factory=lambda: empty_frame(CATCH_COLUMNS))
    fish: pd.DataFrame = field(default_factory=lambda: empty_frame(FISH_COLUMNS))
    refused: pd.DataFrame = field(default_factory=lambda: empty_frame(REFUSED_COLUMNS))
    doubts: pd.DataFrame = field(default_factory=lambda: empty_frame(REFUSED_COLUMNS))
    warnings: tuple[str, ...] = ()
    counts: dict[str, int] = field(default_factory=dict)
    unused_columns: tuple[str, ...] = ()


def _together(frames: list[pd.DataFrame]) -> pd.DataFrame:
    filled = [f for f in frames if len(f)]
    if not filled:
        return frames[0]
    return filled[0] if len(filled) == 1 else pd.concat(filled, ignore_index=True)


def merge_results(parts: Iterable[ReadResult]) -> ReadResult:
    """Put the pieces of one file together.

    Parameters
    ----------
    parts : iterable of ReadResult
        At least one, in file order.

    Returns
    -------
    ReadResult
        The whole file.
    """
    pieces = list(parts)
    first = pieces[0]
    counts: Counter[str] = Counter()
    for piece in pieces:
        counts.update(piece.counts)
    return ReadResult(
        file=first.file,
        file_hash=first.file_hash,
        recipe=first.recipe,
        kind=first.kind,
        frame=_together([p.frame for p in pieces]),
        surveys=_together([p.surveys for p in pieces]),
        catches=_together([p.catches for p in pieces]),
        fish=_together([p.fish for p in pieces]),
        refused=concat_refused([p.refused for p in pieces]),
        doubts=concat_refused([p.doubts for p in pieces]),
        warnings=tuple(dict.fromkeys(w for p in pieces for w in p.warnings)),
        counts=dict(counts),
        unused_columns=first.unused_columns,
    )
