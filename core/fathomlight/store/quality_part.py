"""The part of a store that keeps flags and shows the history of readings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from fathomlight.errors import ArgumentError, NotFoundError
from fathomlight.model import IDENTITY
from fathomlight.store.batches import bump
from fathomlight.store.database import Session
from fathomlight.store.flagging import FlagResult, new_run, publish_flags, stage_flags, undo_last
from fathomlight.store.history import every_version, read_history
from fathomlight.store.part import Part
from fathomlight.store.reads import Names, Selection, chosen_series, conditions
from fathomlight.store.times import TimeLike, to_instants, to_us

Identity = Mapping[str, Any] | pd.Series
_FLAG_COLUMNS = {
    "station": "str", "parameter": "str", "depth_m": "float64", "time": "datetime64[us, UTC]", "replicate": "int64",
    "value": "float64", "version": "int64", "in_force": "bool", "flag": "int64", "test": "str", "reason": "str",
    "who": "str", "automatic": "bool", "set_at": "datetime64[us, UTC]", "undone": "bool",
    "undone_at": "datetime64[us, UTC]", "undone_who": "str", "undone_why": "str",
}  # fmt: skip


class QualityPart(Part):
    """Flags and versions."""

    def set_flags(
        self, flags: pd.DataFrame, who: str, automatic: bool = False, *, why: str = ""
    ) -> FlagResult:
        """Set flags on readings in force; every flag ever set is kept.

        In force is a person's flag, else the automatic one (or the file's own, where that is worse), else
        the file's. An automatic flag never replaces a person's, it waits under it. The same automatic flag
        again writes nothing.

        Parameters
        ----------
        flags : pandas.DataFrame
            Columns of :data:`fathomlight.model.IDENTITY`, ``flag``, and optionally ``test`` and ``reason``;
            of two rows for one reading the last counts.
        who : str
            Who sets them.
        automatic : bool
            True for tests, False for a person (then every row needs a reason).
        why : str
            A word about the whole call.

        Returns
        -------
        FlagResult
            Counts; rows that name no reading in force are counted as unknown.
        """
        self._db.require_writable()
        with self._db.session(fresh=True) as session:
            staged, unknown = stage_flags(session, self._series, flags, automatic)
            with session.write():
                run, n_set, matched, kept = publish_flags(session, who, why, automatic, self._now())
                version = bump(session, "data_version", 1 if n_set else 0)
        unknown += staged - matched
        notes = (f"{unknown} rows name no reading in force.",) if unknown else ()
        return FlagResult(
            run=run, n_set=n_set, n_same=matched - n_set, n_kept=kept, n_unknown=unknown, data_version=version,
            notes=notes,
        )  # fmt: skip

    def undo_flag(self, identity: Identity | pd.DataFrame, who: str, why: str = "") -> FlagResult:
        """Take back the last flag a person set, on one reading or several; the undoing is kept too.

        Parameters
        ----------
        identity : mapping, pandas.Series or pandas.DataFrame
            :data:`fathomlight.model.IDENTITY` of the readings (depth 0 and replicate 1 may be left out).
        who, why : str
            Kept in the history.

        Returns
        -------
        FlagResult
            ``n_set`` readings changed.

        Raises
        ------
        NotFoundError
            No such reading, or no flag of a person on it; nothing was changed.
        """
        rows = identity.to_dict("records") if isinstance(identity, pd.DataFrame) else [identity]
        with self._db.writing() as session:
            run = new_run(session, who, why, False, self._now())
            for row in rows:
                undo_last(session, self._key(session, row), run)
            version = bump(session, "data_version", 1 if rows else 0)
        return FlagResult(run=run, n_set=len(rows), n_same=0, n_kept=0, n_unknown=0, data_version=version)

    def _key(self, session: Session, identity: Any) -> tuple[int, int, float, int]:
        row = dict(identity)
        missing = [name for name in ("station", "parameter", "time") if name not in row]
        if missing:
            raise ArgumentError(
                "identity", f"missing {missing}", got=sorted(row), expected=", ".join(IDENTITY)
            )
        number = self._series.refresh(session).get((str(row["station"]), str(row["parameter"])))
        if number is None:
            raise NotFoundError("no such series", got=(row["station"], row["parameter"]))
        return (
            number,
            to_us(row["time"]),
            round(float(row.get("depth_m", 0.0)), 6) + 0.0,
            int(row.get("replicate", 1)),
        )

    def _exactly(
        self,
        session: Session,
        identity: Identity | None,
        time: TimeLike | None,
        depth_m: float | None,
        replicate: int | None,
    ) -> str:
        """Return what to add to a WHERE clause for one reading, or for one instant, depth or replicate."""
        extra = ""
        if identity is not None:
            number, at, depth, repeat = self._key(session, identity)
            extra += f" AND r.series = {number} AND r.time = {at} AND r.depth_m = {depth!r} AND r.replicate = {repeat}"
        if time is not None:
            extra += f" AND r.time = {to_us(time)}"
        if depth_m is not None:
            extra += f" AND r.depth_m = {round(float(depth_m), 6) + 0.0!r}"
        if replicate is not None:
            extra += f" AND r.replicate = {int(replicate)}"
        return extra

    def history(
        self,
        identity: Identity | None = None,
        *,
        station: Names = None,
        parameter: Names = None,
        time: TimeLike | None = None,
        depth_m: float | None = None,
        replicate: int | None = None,
        start: TimeLike | None = None,
        end: TimeLike | None = None,
        only_changed: bool = False,
    ) -> pd.DataFrame:
        """Return every version of readings, oldest first within each: in force, superseded, overruled, withdrawn.

        Parameters
        ----------
        identity : mapping or pandas.Series, optional
            One reading: ``station``, ``parameter``, ``time`` and, if not 0 and 1, ``depth_m`` and
            ``replicate``.
        station, parameter, time, depth_m, replicate, start, end : optional
            Or all readings that fit all of these.
        only_changed : bool
            Leave out readings that have only the version in force.

        Returns
        -------
        pandas.DataFrame
            The columns of a reading, then ``version``, ``state``, ``brought_by`` (batch), ``brought_at``,
            ``brought_who``, ``brought_why``, ``ended_by``, ``ended_at``, ``ended_who``, ``ended_why`` (the
            load that superseded it, or the withdrawal) and ``confirmed_by`` (later batches that said the
            same).
        """
        with self._db.session() as session:
            extra = self._exactly(session, identity, time, depth_m, replicate)
            selection = Selection(station=station, parameter=parameter, start=start, end=end)
            table = read_history(session, self._series, self._origins, selection, extra)
        if only_changed:
            table = table[table.duplicated(list(IDENTITY), keep=False) | (table["state"] != "in force")]
            table = table.reset_index(drop=True)
        return table

    def flags_history(
        self,
        identity: Identity | None = None,
        *,
        station: Names = None,
        parameter: Names = None,
        time: TimeLike | None = None,
        depth_m: float | None = None,
        replicate: int | None = None,
        start: TimeLike | None = None,
        end: TimeLike | None = None,
        automatic: bool | None = None,
    ) -> pd.DataFrame:
        """Return every flag ever set on the readings chosen, oldest first within each reading.

        Parameters
        ----------
        identity, station, parameter, time, depth_m, replicate, start, end : optional
            As in :meth:`history`.
        automatic : bool, optional
            Only flags of tests (True) or of people (False).

        Returns
        -------
        pandas.DataFrame
            Identity, ``value``, ``version``, ``in_force`` (whether that version is), ``flag``, ``test``,
            ``reason``, ``who``, ``automatic``, ``set_at``, ``undone``, ``undone_at``, ``undone_who``,
            ``undone_why``.
        """
        with self._db.session() as session, session.snapshot():
            names = self._series.refresh(session)
            chosen = chosen_series(names, Selection(station=station, parameter=parameter))
            where = conditions(Selection(start=start, end=end), [number for _, _, number in chosen] or [-1])
            where += self._exactly(session, identity, time, depth_m, replicate)
            kind = "" if automatic is None else f"WHERE f.automatic = {int(automatic)}"
            rows = session.rows(
                f"""SELECT v.series, v.depth_m, v.time, v.replicate, v.value, v.vid, v.in_force, m.flag, m.test,
                    m.reason, f.who, f.automatic, f.done_at, e.undone_by, coalesce(u.done_at, 0),
                    coalesce(u.who, ''), coalesce(u.why, '')
                FROM ({every_version(where)}) v JOIN flag_event e ON e.vid = v.vid
                JOIN flag_run f ON f.id = e.run JOIN mark m ON m.id = e.mark
                LEFT JOIN flag_run u ON u.id = e.undone_by {kind}
                ORDER BY v.series, v.time, v.depth_m, v.replicate, e.run"""
            )
        return _flag_table(rows, {number: pair for pair, number in names.items()})


def _flag_table(rows: list[tuple[Any, ...]], names: dict[int, tuple[str, str]]) -> pd.DataFrame:
    named = [(*names[int(row[0])], *row[1:14], row[14] or None, *row[15:]) for row in rows]
    table = pd.DataFrame(named, columns=list(_FLAG_COLUMNS))
    times = [name for name, dtype in _FLAG_COLUMNS.items() if "datetime" in dtype]
    table = table.astype({name: dtype for name, dtype in _FLAG_COLUMNS.items() if name not in times})
    for name in times:
        table[name] = to_instants(table[name])
    return table.sort_values(
        ["station", "parameter", "time", "depth_m", "replicate"], kind="stable", ignore_index=True
    )
