"""The part of a store that keeps fish surveys."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from fathomlight.model import CATCH_COLUMNS, FISH_COLUMNS, SURVEY_COLUMNS, Result
from fathomlight.store.batches import (
    BatchInfo,
    BatchResult,
    active_copy,
    bump,
    skipped_result,
    take_numbers,
    withdrawn_copies,
    write_batch,
)
from fathomlight.store.database import Session
from fathomlight.store.part import Part
from fathomlight.store.reads import Names, as_names
from fathomlight.store.staging import publish_refused, stage_refused
from fathomlight.store.surveys import (
    CATCH,
    FISH,
    SHAPES,
    SURVEY,
    Kind,
    Row,
    Shape,
    in_force,
    readable,
    rows_of,
    sort_out,
    tell_apart,
    to_table,
    write_versions,
)
from fathomlight.store.times import to_instants

METHOD = (
    "Surveys were matched by name, counts by survey, species, pass and mesh; measured fish alike in every column are "
    "told apart by their number."
)


@dataclass(frozen=True, kw_only=True)
class SurveyComparison(Result):
    """What loading fish surveys would do.

    Attributes
    ----------
    n_new, n_known, n_corrected : int
        Rows that are new, that the store has already, and that would replace another version.
    refused : pandas.DataFrame
        :data:`~fathomlight.model.REFUSED_COLUMNS`: rows the store would refuse, such as catches of unknown surveys.
    notes : tuple of str
        What to look at.
    """

    n_new: int
    n_known: int
    n_corrected: int
    refused: pd.DataFrame
    notes: tuple[str, ...] = ()


class SurveyPart(Part):
    """Surveys, catches and fish."""

    def load_surveys(
        self,
        surveys: pd.DataFrame | None,
        catches: pd.DataFrame | None,
        fish: pd.DataFrame | None,
        batch: BatchInfo,
        refused: pd.DataFrame | None = None,
    ) -> BatchResult:
        """Load surveys, catches and fish as one batch: all of it, or after any error nothing.

        A survey that is known with the same content is *known*, with another a *correction*; so is a count.
        Measured fish have no identity: fish that are not there yet are added. A second count of one species
        in one survey, pass and mesh is refused, for adding up or choosing would both be guesses; catches
        and fish of unknown surveys are refused.

        Parameters
        ----------
        surveys, catches, fish : pandas.DataFrame or None
            Columns of :data:`fathomlight.model.SURVEY_COLUMNS`, ``CATCH_COLUMNS`` and ``FISH_COLUMNS``.
        batch : BatchInfo
            Where they come from.
        refused : pandas.DataFrame, optional
            Rows the reader of the file refused.

        Returns
        -------
        BatchResult
            Counts over all three tables.
        """
        rows = _rows_by_kind(surveys, catches, fish)
        with self._db.writing(fresh=True) as session:
            if (copy := active_copy(session, batch, "surveys")) is not None:
                return skipped_result(session, copy)
            good, bad = _sorted(session, rows)
            tables = [*([refused] if refused is not None else []), *bad]
            n_refused = stage_refused(session, tables, batch.file)
            n_rows = sum(len(r) for r in rows.values()) + (0 if refused is None else len(refused))
            return self._publish_surveys(session, batch, good, n_rows, n_refused)

    def _publish_surveys(
        self, session: Session, info: BatchInfo, good: dict[Kind, list[Row]], n_rows: int, n_refused: int
    ) -> BatchResult:
        batch = take_numbers(session, "next_batch", 1)
        new = known = corrected = 0
        notes = [f"The same file was withdrawn before as batch {n}." for n in withdrawn_copies(session, info)]
        for kind, rows in good.items():
            first = take_numbers(session, "next_vid", len(rows))
            added, old, changed, remarks = write_versions(session, SHAPES[kind], rows, batch, first)
            new, known, corrected = new + added, known + old, corrected + changed
            notes += remarks
        publish_refused(session, batch)
        result = BatchResult(
            batch=batch,
            n_rows=n_rows,
            n_new=new,
            n_known=known,
            n_corrected=corrected,
            n_refused=n_refused,
            data_version=bump(session, "data_version"),
            method=METHOD,
            notes=tuple(notes),
        )
        write_batch(session, info, "surveys", result, self._now())
        return result

    def compare_surveys(
        self, surveys: pd.DataFrame | None, catches: pd.DataFrame | None, fish: pd.DataFrame | None
    ) -> SurveyComparison:
        """Say what :meth:`load_surveys` would find, by the same rules; nothing is stored.

        Parameters
        ----------
        surveys, catches, fish : pandas.DataFrame or None
            As for :meth:`load_surveys`.

        Returns
        -------
        SurveyComparison
            Counts over all three tables, and the rows the store would refuse.
        """
        rows = _rows_by_kind(surveys, catches, fish)
        new = known = corrected = 0
        notes: list[str] = []
        with self._db.session() as session, session.snapshot():
            good, bad = _sorted(session, rows)
            for kind, kept in good.items():
                fresh, _, again, changed, remarks = tell_apart(session, SHAPES[kind], kept)
                new, known, corrected = new + len(fresh) - changed, known + again, corrected + changed
                notes += remarks
        return SurveyComparison(
            n_new=new,
            n_known=known,
            n_corrected=corrected,
            refused=pd.concat(bad, ignore_index=True),
            notes=tuple(notes),
        )

    def surveys(self, water: Names = None, gear: Names = None, *, station: Names = None) -> pd.DataFrame:
        """Return the surveys in force, by start and name.

        Parameters
        ----------
        water, gear, station : str or iterable of str, optional
            Names; all when left out.

        Returns
        -------
        pandas.DataFrame
            Columns of :data:`fathomlight.model.SURVEY_COLUMNS`.
        """
        with self._db.session() as session:
            rows = _chosen_surveys(session, water, gear, station)
        return to_table(SURVEY, rows, SURVEY_COLUMNS).sort_values(["start", "survey"], ignore_index=True)

    def catches(
        self, survey: Names = None, *, water: Names = None, gear: Names = None, species: Names = None
    ) -> pd.DataFrame:
        """Return the counts in force of surveys in force; columns of :data:`fathomlight.model.CATCH_COLUMNS`.

        Parameters
        ----------
        survey, water, gear, species : str or iterable of str, optional
            Names; all when left out.
        """
        table = self._of_surveys(CATCH, survey, water, gear, species)
        table = table.sort_values(["survey", "species", "pass_number", "mesh_mm"], ignore_index=True)
        return table[list(CATCH_COLUMNS)]

    def fish(
        self, survey: Names = None, *, water: Names = None, gear: Names = None, species: Names = None
    ) -> pd.DataFrame:
        """Return the measured fish in force of surveys in force; columns of :data:`fathomlight.model.FISH_COLUMNS`.

        Parameters
        ----------
        survey, water, gear, species : str or iterable of str, optional
            Names; all when left out.
        """
        table = self._of_surveys(FISH, survey, water, gear, species)
        return table.sort_values(["survey", "species", "length_mm"], kind="stable", ignore_index=True)

    def _of_surveys(
        self, shape: Shape, survey: Names, water: Names, gear: Names, species: Names
    ) -> pd.DataFrame:
        surveys, kinds = as_names(survey), as_names(species)
        with self._db.session() as session:
            names = {row[0] for row in _chosen_surveys(session, water, gear, None)}
            names = names if surveys is None else names & surveys
            rows = [row for _, row in in_force(session, shape, names).values()]
        columns = CATCH_COLUMNS if shape is CATCH else FISH_COLUMNS
        return to_table(shape, [row for row in rows if kinds is None or row[1] in kinds], columns)

    def survey_history(self, survey: str) -> pd.DataFrame:
        """Return every version of one survey and its counts and fish, oldest first.

        Parameters
        ----------
        survey : str
            Its name.

        Returns
        -------
        pandas.DataFrame
            ``kind``, ``content`` (a mapping), ``state`` (in force, superseded or withdrawn), ``said_by``
            (batches, in order), ``brought_by``, ``brought_at``, ``brought_who``, ``brought_why``.
        """
        found = []
        with self._db.session() as session:
            batches = {
                int(row[0]): row[1:]
                for row in session.rows("SELECT id, state, loaded_at, who, why FROM batch")
            }
            for shape in SHAPES.values():
                current = {vid for vid, _ in in_force(session, shape, [survey]).values()}
                rows = session.rows(
                    f"SELECT {', '.join(readable(shape, session))}, vid, batch FROM {shape.kind} WHERE survey = ? "
                    "ORDER BY vid",
                    survey,
                )
                for *values, vid, batch in rows:
                    said = [
                        int(b)
                        for (b,) in session.rows(
                            "SELECT batch FROM assertion WHERE vid = ? ORDER BY batch", vid
                        )
                    ]
                    alive = any(batches[b][0] == "active" for b in said)
                    state = "in force" if vid in current else "superseded" if alive else "withdrawn"
                    content = to_table(shape, [_nulls(tuple(values))], shape.columns).iloc[0].to_dict()
                    found.append(
                        (shape.kind, content, state, tuple(said), int(batch), *batches[int(batch)][1:])
                    )
        table = pd.DataFrame(
            found,
            columns=[
                "kind",
                "content",
                "state",
                "said_by",
                "brought_by",
                "brought_at",
                "brought_who",
                "brought_why",
            ],
        )
        table["brought_at"] = to_instants(table["brought_at"])
        return table


def _rows_by_kind(
    surveys: pd.DataFrame | None, catches: pd.DataFrame | None, fish: pd.DataFrame | None
) -> dict[Kind, list[Row]]:
    tables = zip(SHAPES, (surveys, catches, fish), strict=True)
    return {kind: rows_of(SHAPES[kind], table) for kind, table in tables}


def _sorted(
    session: Session, rows: dict[Kind, list[Row]]
) -> tuple[dict[Kind, list[Row]], list[pd.DataFrame]]:
    """Return the rows that can be stored, by kind, and tables of those that cannot."""
    known = {row[0] for _, row in in_force(session, SURVEY).values()}
    good: dict[Kind, list[Row]] = {}
    refused = []
    for kind, shape in SHAPES.items():
        kept, bad = sort_out(shape, rows[kind], known)
        if shape is SURVEY:
            known |= {row[0] for row in kept}
        good[kind] = kept
        refused.append(bad)
    return good, refused


def _nulls(row: Row) -> Row:
    return tuple(None if v == float("inf") or v == -(2**63) else v for v in row)


def _chosen_surveys(session: Session, water: Names, gear: Names, station: Names) -> list[Row]:
    waters, gears, stations = as_names(water), as_names(gear), as_names(station)
    return [
        row
        for _, row in in_force(session, SURVEY).values()
        if (waters is None or row[1] in waters)
        and (stations is None or row[2] in stations)
        and (gears is None or row[3] in gears)
    ]


def count_changes(
    before: dict[str, dict[Row, int]], after: dict[str, dict[Row, int]]
) -> tuple[int, int, int]:
    """Return how many identities went, came back, and have another version."""
    gone = back = other = 0
    for kind, old in before.items():
        new = after[kind]
        gone += len(old.keys() - new.keys())
        back += len(new.keys() - old.keys())
        other += sum(old[key] != new[key] for key in old.keys() & new.keys())
    return gone, back, other


def state_of_surveys(session: Session) -> dict[str, dict[Row, int]]:
    """Return by kind and identity the version in force."""
    return {
        kind: {key: vid for key, (vid, _) in in_force(session, shape).items()}
        for kind, shape in SHAPES.items()
    }
