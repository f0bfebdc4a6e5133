"""Files and visits become readings: a dry run first, then the load; batches, flags and history."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pandas as pd

from fathomlight.errors import ArgumentError, NotFoundError, RecipeError
from fathomlight.ingest import (
    ColumnMeaning,
    Proposal,
    ReadLimits,
    ReadResult,
    Recipe,
    Visit,
    iter_chunks,
    merge_results,
    propose_recipe,
    read_file,
    recheck_row,
    restate,
    template_recipe,
    visit_to_readings,
)
from fathomlight.ingest.opening import hash_file
from fathomlight.model import IDENTITY, READING_COLUMNS, REFUSED_COLUMNS, USED_FLAGS, Result, empty_frame
from fathomlight.store import BatchInfo
from fathomlight.workspace.keeping import Keeping

Progress = Callable[[int, int], None]
FISH_KINDS = ("surveys", "catch", "fish")
PREVIEW = 50
"""Values shown of a file."""
PAST_LEAST = 10
"""Fewest readings of a station and month that say what is usual there."""


@dataclass(frozen=True, kw_only=True)
class CheckReport(Result):
    """What a file holds, and what loading it would do (or did).

    Attributes
    ----------
    file, recipe, kind : str
        The file, the recipe used, and what the recipe reads.
    batch : int or None
        Number of the batch; None for a dry run.
    skipped : bool
        True when this very file was loaded before and nothing was done.
    n_rows, n_good : int
        Rows of the file that hold data, and values (or fish rows) that can be used.
    n_new, n_known, n_corrected, n_refused : int
        Values that are new, that the store has already, that replace another value, that cannot be used.
    n_repeated : int
        Rows that repeat another row of the same file in everything; taken once.
    refused, doubts : pandas.DataFrame
        :data:`~fathomlight.model.REFUSED_COLUMNS`: what cannot be used, with reason and remedy; and what was
        kept but should be looked at.
    preview : pandas.DataFrame
        The first values as they would be stored.
    warnings : tuple of str
        About the whole file.
    sentence : str
        The outcome in one sentence.
    """

    file: str
    recipe: str
    kind: str = "readings"
    batch: int | None = None
    skipped: bool = False
    n_rows: int = 0
    n_good: int = 0
    n_new: int = 0
    n_known: int = 0
    n_corrected: int = 0
    n_refused: int = 0
    n_repeated: int = 0
    refused: pd.DataFrame = field(default_factory=lambda: empty_frame(REFUSED_COLUMNS))
    doubts: pd.DataFrame = field(default_factory=lambda: empty_frame(REFUSED_COLUMNS))
    preview: pd.DataFrame = field(default_factory=lambda: empty_frame(READING_COLUMNS))
    warnings: tuple[str, ...] = ()
    sentence: str = ""


class Adding(Keeping):
    """Loading, checking, withdrawing and flagging."""

    limits = ReadLimits()

    def recipe(self, name: str) -> Recipe:
        """Return one recipe (or that of the visit template), or say which there are."""
        template = template_recipe(self.parameters)
        if name == template.name:
            return template
        if name not in self.recipes:
            raise NotFoundError(
                "there is no recipe of this name", got=name, expected=f"one of {', '.join(sorted(self.recipes))}",
                fix="Recipes are the files in config/recipes.",
            )  # fmt: skip
        return self.recipes[name]

    def propose(self, path: str | Path, *, columns: Mapping[str, ColumnMeaning] | None = None) -> Proposal:
        """Propose how a file is to be read, from its header and first rows; nothing is read or stored by it.

        Parameters
        ----------
        path : str or pathlib.Path
            The file.
        columns : mapping of str to ColumnMeaning, optional
            Column -> what a person says it is; then no ready recipe is looked for, even if it is empty.

        Returns
        -------
        fathomlight.ingest.Proposal
            A recipe and the questions a person must answer before it is used, or what keeps the columns from
            becoming readings.
        """
        return propose_recipe(
            path,
            self.parameters,
            list(self.stations.values()),
            recipes=self.recipes,
            columns=columns,
            limits=self.limits,
        )

    def restate(self, proposal: Proposal, columns: Mapping[str, ColumnMeaning]) -> Proposal:
        """Make a proposal again with what a person says its columns are; the file is not opened again."""
        return restate(proposal, columns, self.parameters, list(self.stations.values()))

    def check(
        self,
        path: str | Path,
        recipe: str | Recipe | None = None,
        *,
        columns: Mapping[str, ColumnMeaning] | None = None,
        progress: Progress | None = None,
    ) -> CheckReport:
        """Read a file and say what loading it would do; nothing is stored.

        Parameters
        ----------
        path : str or pathlib.Path
            The file.
        recipe : str or Recipe, optional
            Name of a recipe or a recipe; when left out, the one ready recipe that fits the file without doubt.
        columns : mapping of str to ColumnMeaning, optional
            Instead of a recipe: column -> what it is; the others are guessed, and nothing may be left open.
        progress : callable, optional
            Called with bytes done and bytes in all.

        Returns
        -------
        CheckReport
            Counts, refused rows, doubts, the first values.

        Raises
        ------
        fathomlight.errors.UnreadableFileError, fathomlight.errors.RecipeError
            The file as a whole cannot be read.
        """
        path = Path(path)
        read = self._read(path, self._chosen(path, recipe, columns), progress)
        if read.kind not in FISH_KINDS:
            return self._report(read, None)
        found = self.store.compare_surveys(read.surveys, read.catches, read.fish)
        read = replace(
            read,
            refused=pd.concat([read.refused, found.refused], ignore_index=True),
            warnings=(*read.warnings, *found.notes),
        )
        return self._report(read, None, (found.n_new, found.n_known, found.n_corrected))

    def load(
        self,
        path: str | Path,
        recipe: str | Recipe | None = None,
        *,
        columns: Mapping[str, ColumnMeaning] | None = None,
        why: str = "",
        name: str | None = None,
        progress: Progress | None = None,
    ) -> CheckReport:
        """Load a file as one batch: the good rows are stored, the bad ones are kept with their reason.

        Parameters
        ----------
        path : str or pathlib.Path
            The file.
        recipe : str or Recipe, optional
        columns : mapping of str to ColumnMeaning, optional
            As for :meth:`check`.
        why : str
            Why, in one's own words.
        name : str, optional
            Name under which the batch is remembered; the file's own when left out.
        progress : callable, optional
            Called with bytes done and bytes in all.

        Returns
        -------
        CheckReport
            With the number of the batch.

        Raises
        ------
        fathomlight.errors.UnreadableFileError, fathomlight.errors.RecipeError, fathomlight.errors.StoreError
            Nothing was stored.
        """
        path = Path(path)
        chosen = self._chosen(path, recipe, columns)
        info = BatchInfo(
            file=name or path.name,
            file_hash=hash_file(path, self.limits),
            recipe=chosen.name,
            who=self.actor,
            why=why,
        )
        if chosen.kind in FISH_KINDS:
            return self._store(self._read(path, chosen, progress), info)
        return self._stream(path, chosen, info, progress)

    def _stream(self, path: Path, recipe: Recipe, info: BatchInfo, progress: Progress | None) -> CheckReport:
        """Read and store piece by piece, at constant memory; the batch is whole or absent all the same."""
        self.require("volunteer", "adding readings")
        kept: list[ReadResult] = []
        stations: set[str] = set()

        def pieces() -> Iterator[pd.DataFrame]:
            options = {**self._reading_options(), "waters": list(self.waters.values()), "progress": progress}
            for piece in iter_chunks(path, recipe, limits=self.limits, **options):
                self.require("volunteer", "adding readings", self._waters_of(piece))
                stations.update(piece.frame["station"].unique())
                kept.append(replace(piece, frame=piece.frame.head(0 if kept else PREVIEW)))
                yield piece.frame

        def refused() -> pd.DataFrame:
            return merge_results(kept).refused if kept else empty_frame(REFUSED_COLUMNS)

        result = self.store.load_readings(pieces(), info, refused=refused)
        if not result.skipped:
            self.run_quality(stations=sorted(stations))
        self._loaded(info, result)
        nothing = ReadResult(file=info.file, file_hash=info.file_hash, recipe=recipe.name)
        return self._report(merge_results(kept) if kept else nothing, result)

    def _store(self, read: ReadResult, info: BatchInfo) -> CheckReport:
        self.require("volunteer", "adding readings", self._waters_of(read))
        if read.kind in FISH_KINDS:
            result = self.store.load_surveys(
                read.surveys, read.catches, read.fish, info, refused=read.refused
            )
        else:
            result = self.store.load_readings(read.frame, info, refused=read.refused)
        if read.kind not in FISH_KINDS and not result.skipped:
            self.run_quality(stations=sorted(read.frame["station"].unique()))
        self._loaded(info, result)
        return self._report(read, result)

    def _loaded(self, info: BatchInfo, result: Any) -> None:
        if not result.skipped:
            told = {"batch": result.batch, "file": info.file, "recipe": info.recipe, "why": info.why}
            self.audit("load", {k: v for k, v in told.items() if v != ""})

    def _waters_of(self, read: ReadResult) -> set[str]:
        waters = {self.stations[s].water for s in read.frame["station"].unique() if s in self.stations}
        return waters | set(read.surveys["water"].unique())

    def _chosen(
        self, path: Path, recipe: str | Recipe | None, columns: Mapping[str, ColumnMeaning] | None
    ) -> Recipe:
        if isinstance(recipe, Recipe):
            return recipe
        if recipe is not None and not columns:
            return self.recipe(recipe)
        if recipe is not None:
            raise ArgumentError("columns", "a recipe says already what the columns are", got=recipe)
        proposal = self.propose(path, columns=columns or None)
        made = proposal.made()
        open_ones = [q for q in proposal.questions if not columns or q.key or q.column]
        if not proposal.certain and open_ones:
            raise RecipeError(
                "it is not certain how this file is to be read", where=path.name,
                got="; ".join(str(q) for q in open_ones[:3]),
                expected=f"a recipe: {', '.join(sorted(self.recipes))}",
                fix="Name it with --recipe, or say what a column is with --column NAME=MEANING, "
                "with its unit or the format of its dates.",
            )  # fmt: skip
        return made

    def _read(self, path: Path, recipe: Recipe, progress: Progress | None) -> ReadResult:
        return read_file(
            path,
            recipe,
            parameters=self.parameters,
            stations=list(self.stations.values()),
            waters=list(self.waters.values()),
            limits=self.limits,
            past=self._past(),
            possible=self.config.possible,
            now=self._now(),
            progress=progress,
        )

    def _past(self) -> pd.DataFrame:
        """Return the range each station has shown, for the question whether another unit was meant."""

        def make() -> pd.DataFrame:
            names = ["station", "parameter", "value", "local_date", "depth_m"]
            seen = self.store.readings(columns=names, flags=tuple(USED_FLAGS))
            table = seen.assign(month=seen["local_date"].dt.month)
            parts = []
            for frame in (table, table.assign(month=0)):
                grouped = frame.groupby(["station", "parameter", "month"])["value"]
                ends = grouped.agg(low="min", high="max", n="size").reset_index()
                parts.append(ends[ends["n"] >= PAST_LEAST])
            return pd.concat(parts, ignore_index=True).drop(columns="n")

        return self.remember(("past",), make)

    def _report(
        self, read: ReadResult, result: Any, counts: tuple[int, int, int] | None = None
    ) -> CheckReport:
        fish_rows = len(read.surveys) + len(read.catches) + len(read.fish)
        good = (
            sum(counts or (fish_rows,))
            if read.kind in FISH_KINDS
            else read.counts.get("readings", len(read.frame))
        )
        if result is not None:
            counts = (result.n_new, result.n_known, result.n_corrected)
        elif counts is None and read.kind in FISH_KINDS:
            counts = (good, 0, 0)  # a row put right that is still refused: there is nothing to compare
        elif counts is None:
            counts = self._compare(read.frame)
        skipped = bool(result is not None and result.skipped)
        n_refused = len(read.refused) if result is None else result.n_refused
        return CheckReport(
            file=read.file,
            recipe=read.recipe,
            kind=read.kind,
            batch=None if result is None else result.batch,
            skipped=skipped,
            n_rows=read.counts.get("rows", good),
            n_good=good,
            n_new=counts[0],
            n_known=counts[1],
            n_corrected=counts[2],
            n_refused=n_refused,
            n_repeated=read.counts.get("duplicates", 0),
            refused=read.refused,
            doubts=read.doubts,
            preview=(
                read.surveys if len(read.surveys) else read.catches if len(read.catches) else read.fish
            ).head(PREVIEW)
            if read.kind in FISH_KINDS
            else read.frame.head(PREVIEW),
            warnings=tuple(read.warnings) + tuple(getattr(result, "notes", ())),
            sentence=_sentence(read.file, result is None, skipped, counts, n_refused, read),
        )

    def _compare(self, frame: pd.DataFrame) -> tuple[int, int, int]:
        """Count new, known and corrected values without storing anything."""
        if frame.empty:
            return 0, 0, 0
        there = self.store.readings(
            station=sorted(frame["station"].unique()), parameter=sorted(frame["parameter"].unique()),
            start=frame["time"].min(), end=frame["time"].max(), columns=[*IDENTITY, "value", "qualifier"],
        )  # fmt: skip
        last = frame.drop_duplicates(list(IDENTITY), keep="last")
        both = last.merge(there, on=list(IDENTITY), how="left", suffixes=("", "_there"))
        new = both["value_there"].isna()
        same = (both["value"] == both["value_there"]) & (both["qualifier"] == both["qualifier_there"])
        known = int(same.sum()) + len(frame) - len(last)
        return int(new.sum()), known, int((~new & ~same).sum())

    # -- one visit, one row ---------------------------------------------------------------------------------

    def _reading_options(self) -> dict[str, Any]:
        return {
            "parameters": self.parameters,
            "stations": list(self.stations.values()),
            "past": self._past(),
            "possible": self.config.possible,
            "now": self._now(),
        }

    def _now(self) -> dt.datetime:
        return dt.datetime.combine(self.as_of, dt.time(23, 59), tzinfo=dt.UTC)

    def check_visit(self, visit: Visit) -> ReadResult:
        """Check one visit as it was typed; nothing is stored."""
        return visit_to_readings(visit, **self._reading_options())

    def add_visit(self, visit: Visit, why: str = "") -> CheckReport:
        """Store one visit as a batch of its own.

        Parameters
        ----------
        visit : Visit
            As typed.
        why : str
            A remark on the batch.

        Returns
        -------
        CheckReport
            With the number of the batch; fields that cannot be used are in ``refused``.
        """
        read = self.check_visit(visit)
        info = BatchInfo(file="visit", recipe=read.recipe, who=self.actor, why=why, source="form")
        return self._store(read, info)

    def retry(
        self, batch: int, line: int, column: str, changes: dict[str, str], why: str = ""
    ) -> CheckReport:
        """Try a refused row again with some cells changed, and store what can be used now.

        Parameters
        ----------
        batch, line, column
            Which refused row: batch, line of the file, column.
        changes : dict of str to str
            Column name -> new text.
        why : str
            A remark on the new batch.

        Returns
        -------
        CheckReport
            With the number of the new batch; ``batch`` is None when the row is still refused.

        Raises
        ------
        fathomlight.errors.NotFoundError
            No such refused row, or its recipe is gone.
        """
        rows = self.store.refused(batch)
        chosen = rows[(rows["line"] == line) & (rows["column"] == column)]
        if chosen.empty:
            raise NotFoundError("there is no such refused row", got=(batch, line, column))
        row = chosen.iloc[0]
        info = self.batches().set_index("batch").loc[batch]
        waters = list(self.waters.values())
        read = recheck_row(
            {str(k): v for k, v in row.items()},
            changes,
            self.recipe(str(info["recipe"])),
            waters=waters,
            **self._reading_options(),
        )
        if read.refused.empty and (
            len(read.frame) or len(read.surveys) or len(read.catches) or len(read.fish)
        ):
            name = f"{info['file']} line {line}"
            done = self._store(
                read, BatchInfo(file=name, recipe=read.recipe, who=self.actor, why=why, source="form")
            )
            self.store.settle_refused(
                batch, line, column or None, who=self.actor, why=why or "put right", by_batch=done.batch or 0
            )
            return done
        return self._report(read, None)


def _sentence(
    file: str, dry: bool, skipped: bool, counts: tuple[int, int, int], n_refused: int, read: ReadResult
) -> str:
    if skipped:
        return f"{file} was loaded before; nothing has changed."
    new, known, corrected = counts
    would = "would be " if dry else ""
    parts = [f"{new} {would}new"]
    if known:
        parts.append(f"{known} known already")
    if corrected:
        parts.append(f"{corrected} {'would replace' if dry else 'replace'} an older value")
    if n_refused:
        parts.append(f"{n_refused} refused")
    if read.counts.get("duplicates"):
        parts.append(f"{read.counts['duplicates']} repeated in the file and taken once")
    if len(read.doubts):
        parts.append(f"{len(read.doubts)} to be looked at")
    return f"{file}: " + ", ".join(parts) + "."
