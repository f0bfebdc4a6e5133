"""Rows of text become readings: station, time, then each column of values, all rows at once."""

from __future__ import annotations

import fnmatch
import itertools
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from fathomlight.errors import RecipeError
from fathomlight.ingest.checks import Past
from fathomlight.ingest.column import ColumnReader, has_value
from fathomlight.ingest.instants import Clockwork, Instants
from fathomlight.ingest.issues import Issues, concat_refused
from fathomlight.ingest.raw import RawTable
from fathomlight.ingest.recipe import Recipe, plain_name
from fathomlight.ingest.repeats import Repeats
from fathomlight.ingest.stations import station_names
from fathomlight.model import READING_COLUMNS, Parameter, Station, empty_frame

__all__ = ["FRAME_COLUMNS", "Assembler", "Piece"]

LONELY_YEARS = 20
"""A pause of so many years makes the readings before it worth a look; they are kept."""

FRAME_COLUMNS: Mapping[str, str] = {k: v for k, v in READING_COLUMNS.items() if k != "batch"}
"""Columns of a table of readings that are not stored yet."""


@dataclass(frozen=True, slots=True)
class Piece:
    """What one piece of a file gave.

    Attributes
    ----------
    frame : pandas.DataFrame
        Readings, :data:`FRAME_COLUMNS`.
    refused, doubts : pandas.DataFrame
        :data:`~fathomlight.model.REFUSED_COLUMNS`; doubts were kept, refused rows were not.
    counts : dict of str to int
        What became of the rows.
    """

    frame: pd.DataFrame
    refused: pd.DataFrame
    doubts: pd.DataFrame
    counts: dict[str, int]


@dataclass
class Assembler:
    """Turns raw tables of one file into readings; keeps what must be known across pieces.

    Attributes
    ----------
    recipe : Recipe
        How the file is read.
    parameters : mapping of str to Parameter
        What may be measured.
    stations : sequence of Station
        Where.
    possible : mapping of str to (float, float)
        Hard limits of the workspace.
    past : pandas.DataFrame or None
        See :meth:`~fathomlight.ingest.checks.Past.of`.
    now : numpy.datetime64
        The present, UTC.
    only : str
        Header of the one value column to read, when a refused cell is tried again.
    """

    recipe: Recipe
    parameters: Mapping[str, Parameter]
    stations: Sequence[Station]
    possible: Mapping[str, tuple[float, float]] | None
    past: pd.DataFrame | None
    now: np.datetime64
    only: str = ""
    warnings: list[str] = field(default_factory=list)
    unused: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        self.by_id = {s.id: s for s in self.stations}
        self.names = station_names(self.stations, self.recipe.station.aliases)
        self.clockwork = Clockwork(
            self.recipe, {s.id: s.timezone for s in self.stations}, self.now, self.warnings
        )
        self.repeats = Repeats(self.recipe.repeats, profiles=self.recipe.kind == "profiles")
        self.readers: list[ColumnReader] | None = None
        self.unwanted: Counter[str] = Counter()
        self.years: Counter[int] = Counter()
        strays = sorted({i for i in self.recipe.station.aliases.values() if i not in self.by_id})
        if self.recipe.station.fixed and self.names.look_up(self.recipe.station.fixed)[1]:
            strays.append(self.recipe.station.fixed)
        if strays:
            raise RecipeError(
                f"recipe {self.recipe.name!r} names stations that are not there",
                where="station.fixed, station.aliases",
                got=", ".join(strays),
                expected="ids of stations.csv",
            )

    def read(self, table: RawTable) -> Piece:
        """Read one piece.

        Parameters
        ----------
        table : RawTable
            Rows of text.

        Returns
        -------
        Piece
            Readings, refusals, doubts and counts.

        Raises
        ------
        RecipeError
            A column that the recipe needs is not in the file.
        """
        if self.readers is None:
            self.readers = self._prepare(table)
        if self.recipe.station.preamble and table.find((self.recipe.station.preamble,)) is None:
            table.kept_label = self.recipe.station.preamble
        row_issues = Issues(table, np.zeros(len(table), bool))
        left_out = self._leave_out(table)
        filled = np.zeros(len(table), bool)
        for reader in self.readers:
            filled |= has_value(table, reader.part, self.recipe)
        silent = left_out | ~filled
        row_issues.bad |= silent
        station, _ = self._stations(table, row_issues)
        instants = self.clockwork.read(table, station, row_issues)
        parts, refused, doubts, kinds = self._columns(table, station, instants, row_issues)
        frame = pd.concat(parts, ignore_index=True) if parts else empty_frame(FRAME_COLUMNS)
        frame = self._order(frame, table)
        duplicates = 0
        if len(frame):
            frame, duplicates = self.repeats.settle(frame, table)
        if len(frame):
            years = frame["local_date"].to_numpy().astype("datetime64[Y]").astype(int) + 1970
            self.years.update(
                dict(zip(*(x.tolist() for x in np.unique(years, return_counts=True)), strict=True))
            )
        out_refused = concat_refused([row_issues.frame(), _spoiled(table), *refused])
        kinds.update(
            rows=len(table) + len(table.spoiled),
            readings=len(frame),
            refused=len(out_refused),
            duplicates=duplicates,
            empty_rows=int((~filled & ~left_out).sum()),
            left_out=table.left_out + int(left_out.sum()),
        )
        frame = frame.drop(columns=["_row"], errors="ignore")
        return Piece(frame, out_refused, concat_refused(doubts), dict(kinds))

    def finish(self) -> None:
        """Say what became clear only at the end of the file."""
        if self.unwanted:
            listed = ", ".join(f"{name} ({n})" for name, n in self.unwanted.most_common(8))
            more = f" and {len(self.unwanted) - 8} more" if len(self.unwanted) > 8 else ""
            self.warnings.append(f"not loaded, because the recipe does not ask for it: {listed}{more}")
        if self.clockwork.aged:
            self.warnings.append(
                f"{self.clockwork.aged} rows have a year of two digits that was taken for the "
                f"century before: it "
                "would lie in the future"
            )
        self.warnings.extend(self.repeats.warnings())
        years = sorted(self.years)
        for before, after in itertools.pairwise(years):
            if after - before >= LONELY_YEARS:
                early = sum(self.years[y] for y in years if y <= before)
                self.warnings.append(
                    f"{early} readings up to {before} lie {after - before} years before the next: check the year"
                )

    # -- parts ---------------------------------------------------------------------------------

    def _prepare(self, table: RawTable) -> list[ColumnReader]:
        """Bind the recipe to the header; say which columns stay unused."""
        past = Past.of(self.past)
        readers, absent = [], []
        for part in self.recipe.values:
            position = table.find(part.column)
            if position is None:
                if part.required or len(self.recipe.values) == 1:
                    table.need(part.column, "values", self.recipe.name)
                absent.append(part.column[0])
            elif not self.only or table.header[position] == self.only:
                readers.append(
                    ColumnReader(self.recipe, part, self.parameters, self.by_id, self.possible, past, table)
                )
        if not readers:
            table.need(self.recipe.values[0].column, "values", self.recipe.name)
        if absent and not self.only:
            self.warnings.append("columns of the recipe that this file does not have: " + ", ".join(absent))
        used = _used_columns(table, self.recipe)
        self.unused = tuple(h for i, h in enumerate(table.header) if h and i not in used)
        return readers

    def _leave_out(self, table: RawTable) -> np.ndarray:
        out = np.zeros(len(table), bool)
        for name, patterns in self.recipe.leave_out.items():
            position = table.find((name,))
            if position is None:
                continue
            coded = table.encoded(position)
            low = [p.casefold() for p in patterns]
            hit = np.array(
                [any(fnmatch.fnmatchcase(t.casefold(), p) for p in low) for t in coded.texts], bool
            )
            out |= coded.spread(hit)
        return out

    def _stations(self, table: RawTable, issues: Issues) -> tuple[np.ndarray, np.ndarray]:
        part = self.recipe.station
        rows = len(table)
        column = part.column or ((part.preamble,) if part.preamble else ())
        if part.preamble and table.find(column) is None:
            text = table.preamble.get(plain_name(part.preamble), "")
            if not text:
                raise RecipeError(
                    "the lines above the header do not name the station", where=table.file,
                    got=", ".join(table.preamble) or "no labels", expected=f"a line {part.preamble}: ...",
                    fix="Choose the station when loading.",
                )  # fmt: skip
            identity, reason, remedy = self.names.look_up(text)
            if reason:
                raise RecipeError(
                    f"{reason} in the lines above the header",
                    where=f"{table.file}: {part.preamble}",
                    got=text,
                    fix=remedy,
                )
            return np.full(rows, identity, dtype=object), np.zeros(rows, int)
        if part.fixed:
            identity = self.names.look_up(part.fixed)[0]
            return np.full(rows, identity, dtype=object), np.zeros(rows, int)
        if part.columns:
            positions = [table.need((c,), "station", self.recipe.name) for c in part.columns]
            key = np.zeros(rows, dtype=np.int64)
            for p in positions:
                key = key * (len(table.encoded(p).texts) + 1) + table.encoded(p).codes
            codes, kinds = pd.factorize(key)
            first = np.zeros(len(kinds), dtype=np.int64)
            first[codes[::-1]] = np.arange(rows)[::-1]
            texts = [
                " ".join(
                    t for t in (table.encoded(p).texts[table.encoded(p).codes[r]] for p in positions) if t
                )
                for r in first
            ]
            header = " + ".join(part.columns)
        else:
            position = table.need(column, "station", self.recipe.name)
            coded = table.encoded(position)
            codes, texts, header = coded.codes, coded.texts, table.header[position]
        found = [self.names.look_up(t) for t in texts]
        ids = np.array([f[0] for f in found], dtype=object)
        wrong = np.array([bool(f[1]) for f in found], dtype=bool)
        bad = np.flatnonzero(wrong[codes]) if rows else np.array([], int)
        at = codes[bad]
        issues.add(
            bad, header, np.array(texts, dtype=object)[at], np.array([f[1] for f in found], dtype=object)[at],
            np.array([f[2] for f in found], dtype=object)[at],
        )  # fmt: skip
        return ids[codes], codes

    def _columns(
        self, table: RawTable, station: np.ndarray, instants: Instants, row_issues: Issues
    ) -> tuple[list[pd.DataFrame], list[pd.DataFrame], list[pd.DataFrame], Counter[str]]:
        parts, refused, doubts, kinds = [], [], [], Counter({"blank": 0, "doubts": 0, "not_wanted": 0})
        for reader in self.readers or ():
            issues = Issues(table, row_issues.bad.copy())
            got = reader.read(table, station, instants, issues)
            kinds["blank"] += got.blank
            kinds["not_wanted"] += sum(got.unwanted.values())
            self.unwanted.update(got.unwanted)
            kinds["doubts"] += len(got.doubts)
            refused.append(issues.frame())
            doubts.append(got.doubts)
            if len(got.frame):
                parts.append(got.frame)
        return parts, refused, doubts, kinds

    def _order(self, frame: pd.DataFrame, table: RawTable) -> pd.DataFrame:
        """File order, whatever the number of value columns."""
        if len(frame) and len(self.readers or ()) > 1:
            return frame.sort_values("_row", kind="stable", ignore_index=True)
        return frame


def _spoiled(table: RawTable) -> pd.DataFrame:
    rows = [
        {
            "file": table.file,
            "line": s.line,
            "column": "",
            "value": "",
            "reason": s.reason,
            "remedy": s.remedy,
            "row_text": s.text,
        }
        for s in table.spoiled
    ]
    return concat_refused([pd.DataFrame(rows)]) if rows else concat_refused([])


def _used_columns(table: RawTable, recipe: Recipe) -> set[int]:
    names: list[tuple[str, ...]] = [(n,) for n in (*recipe.not_imported, *recipe.leave_out)]
    for part in (recipe.station, recipe.time, recipe.depth, *recipe.values):
        for key in type(part).model_fields:
            value = getattr(part, key)
            if key == "column" or key.endswith("_column"):
                names.append(value)
            elif key == "columns" or key.endswith("_columns"):
                names.extend((v,) for v in value)
    return {position for n in names if n and (position := table.find(n)) is not None}
