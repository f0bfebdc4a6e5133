"""The part of a store that keeps episodes, the audit trail, and the notices already sent."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from fathomlight.errors import ArgumentError, NotFoundError, StoreBusyError
from fathomlight.model import Result, plain
from fathomlight.store.batches import bump
from fathomlight.store.database import Session
from fathomlight.store.part import Part
from fathomlight.store.reads import Names, as_names
from fathomlight.store.times import TimeLike, to_instants, to_us

EPISODE_COLUMNS: dict[str, str] = {
    "id": "int64", "key": "str", "rule": "str", "station": "str", "parameter": "str",
    "opened": "datetime64[us, UTC]", "last": "datetime64[us, UTC]", "over": "datetime64[us, UTC]", "state": "str",
    "severity": "str", "message": "str", "seen_by": "str", "seen_at": "datetime64[us, UTC]", "seen_note": "str",
    "evidence": "object",
}  # fmt: skip
"""Columns of a table of episodes."""
_SEEN = ("seen_by", "seen_at", "seen_note")


@dataclass(frozen=True, kw_only=True)
class EpisodesSaved(Result):
    """What saving episodes changed: how many are new, changed, as before; and the version afterwards."""

    n_new: int
    n_changed: int
    n_same: int
    version: int


class LedgerPart(Part):
    """Episodes, audit, notices."""

    def save_episodes(
        self,
        episodes: pd.DataFrame | Iterable[Mapping[str, Any] | Result],
        who: str = "",
        *,
        expected_version: int | None = None,
    ) -> EpisodesSaved:
        """Save episodes; saving the same again changes nothing.

        An episode is told by its ``key``, or without one by rule, station, parameter and opening. What a
        mapping leaves out stays as it was (so an evaluation that knows nothing of ``seen_by`` does not undo
        it). Each change is written into the episode's log.

        Parameters
        ----------
        episodes : pandas.DataFrame or iterable of mapping or of Result
            At least ``rule``, ``station``, ``opened`` and ``state``; anything else that JSON can hold.
        who : str
            Who, or what, found them.
        expected_version : int, optional
            :meth:`episodes_version` when the caller read them; with another version nothing is saved.

        Returns
        -------
        EpisodesSaved
            Counts.

        Raises
        ------
        StoreBusyError
            Somebody changed episodes since ``expected_version``: read them again.
        """
        records = [_record(row) for row in _rows(episodes)]
        with self._db.writing() as session:
            version = bump(session, "episodes_version", 0)
            if expected_version is not None and version != expected_version:
                raise StoreBusyError(
                    "the episodes were changed by somebody else meanwhile", got=version, expected=expected_version,
                    fix="Read them again and save anew.",
                )  # fmt: skip
            done = [self._save_episode(session, record, who) for record in records]
            if any(word != "same" for word in done):
                version = bump(session, "episodes_version")
        return EpisodesSaved(
            n_new=done.count("new"),
            n_changed=done.count("changed"),
            n_same=done.count("same"),
            version=version,
        )

    def _save_episode(self, session: Session, record: dict[str, Any], who: str) -> str:
        found = session.row("SELECT id, data FROM episode WHERE key = ?", record["key"])
        old: dict[str, Any] = json.loads(found[1]) if found else {}
        data = old | record
        if found and _told(data) == _told(old):
            return "same"
        columns = (
            data["rule"],
            data["station"],
            data["parameter"],
            to_us(data["opened"]),
            data["state"],
            _json(data),
        )
        if found is None:
            number = session.number(
                "INSERT INTO episode (key, rule, station, parameter, opened_at, state, data) "
                "VALUES (?, ?, ?, ?, ?, ?, ?) RETURNING id",
                data["key"],
                *columns,
            )
            self._log_episode(session, number, who, "opened", {"message": data.get("message", "")})
            return "new"
        session.run(
            "UPDATE episode SET rule = ?, station = ?, parameter = ?, opened_at = ?, state = ?, data = ? WHERE id = ?",
            *columns,
            int(found[0]),
        )
        changes = {
            n: [old.get(n), data[n]] for n in data if old.get(n) != data[n] and n not in ("trace", "readings")
        }
        self._log_episode(session, int(found[0]), who, "changed", changes)
        return "changed"

    def _log_episode(
        self, session: Session, episode: int, who: str, action: str, detail: Mapping[str, Any]
    ) -> None:
        session.run(
            "INSERT INTO episode_log (episode, done_at, who, action, detail) VALUES (?, ?, ?, ?, ?)",
            episode, self._now(), who, action, _json(detail),
        )  # fmt: skip

    def mark_seen(self, episode: int | str, who: str, note: str = "") -> int:
        """Say that a person has seen an episode; return the new version of the episodes.

        Parameters
        ----------
        episode : int or str
            Its id or key.
        who, note : str
            Who, and what they want to say.
        """
        column = "id" if isinstance(episode, int) else "key"
        with self._db.writing() as session:
            found = session.row(f"SELECT id, data FROM episode WHERE {column} = ?", episode)
            if found is None:
                raise NotFoundError("no such episode", got=episode, fix="Look at the list of episodes.")
            now = to_instants([self._now()])[0].isoformat()
            data = json.loads(found[1])
            state = "over" if data["state"] == "over" else "seen"
            data |= {"state": state, "seen_by": who, "seen_at": now, "seen_note": note}
            if isinstance(data.get("trace"), list):
                data["trace"].append({"at": now, "what": "seen", "text": note})
            session.run(
                "UPDATE episode SET state = ?, data = ? WHERE id = ?", state, _json(data), int(found[0])
            )
            self._log_episode(session, int(found[0]), who, "seen", {"note": note})
            return bump(session, "episodes_version")

    def episodes(
        self, *, state: Names = None, station: Names = None, rule: Names = None, since: TimeLike | None = None
    ) -> pd.DataFrame:
        """Return episodes, newest opening first.

        Parameters
        ----------
        state, station, rule : str or iterable of str, optional
            Only these.
        since : time-like, optional
            Only episodes not over before this instant.

        Returns
        -------
        pandas.DataFrame
            ``id``, ``key``, ``rule``, ``station``, ``parameter``, ``opened``, ``last``, ``over``, ``state``,
            ``severity``, ``message``, ``seen_by``, ``seen_at``, ``seen_note``, ``evidence`` (a mapping).
        """
        found = self._episodes(state, station, rule)
        rows = [{"id": number, **data} for number, data in found]
        table = pd.DataFrame({name: _episode_column(rows, name) for name in EPISODE_COLUMNS})
        if since is not None:
            table = table[table["over"].isna() | (table["over"] >= to_instants([to_us(since)])[0])]
        return table.sort_values(["opened", "id"], ascending=[False, True], ignore_index=True)

    def episode_records(
        self, *, state: Names = None, station: Names = None, rule: Names = None
    ) -> list[dict[str, Any]]:
        """Return episodes as the mappings that were saved, oldest opening first; parameters as :meth:`episodes`."""
        return [data for _, data in self._episodes(state, station, rule)]

    def _episodes(self, state: Names, station: Names, rule: Names) -> list[tuple[int, dict[str, Any]]]:
        wanted = {"state": as_names(state), "station": as_names(station), "rule": as_names(rule)}
        with self._db.session() as session:
            rows = session.rows("SELECT id, data FROM episode ORDER BY opened_at, id")
        found = [(int(number), json.loads(data)) for number, data in rows]
        return [
            (number, data)
            for number, data in found
            if all(names is None or data[name] in names for name, names in wanted.items())
        ]

    def episode_log(self, episode: int | str | None = None) -> pd.DataFrame:
        """Return what happened to episodes, oldest first: ``episode`` (id), ``done``, ``who``, ``action``, ``detail``.

        Parameters
        ----------
        episode : int or str, optional
            Id or key of one episode.
        """
        where, parameters = "", []
        if episode is not None:
            column = "id" if isinstance(episode, int) else "key"
            where, parameters = f"WHERE e.{column} = ?", [episode]
        with self._db.session() as session:
            rows = session.rows(
                "SELECT l.episode, l.done_at, l.who, l.action, l.detail FROM episode_log l "
                f"JOIN episode e ON e.id = l.episode {where} ORDER BY l.id",
                *parameters,
            )
        return _log_table(rows, "episode")

    def episodes_version(self) -> int:
        """Return a number that grows with every change of an episode."""
        with self._db.session() as session:
            return session.number("SELECT value FROM counter WHERE name = 'episodes_version'")

    def audit(self, who: str, action: str, detail: str | Mapping[str, Any] = "") -> int:
        """Write down who did what; return the number of the entry.

        Parameters
        ----------
        who, action : str
            Both needed.
        detail : str or mapping
            Whatever helps to understand it later.
        """
        if not action:
            raise ArgumentError("action", "must not be empty", got=action)
        with self._db.writing() as session:
            return session.number(
                "INSERT INTO audit (done_at, who, action, detail) VALUES (?, ?, ?, ?) RETURNING id",
                self._now(), who, action, _json(detail),
            )  # fmt: skip

    def audit_log(
        self,
        *,
        who: str | None = None,
        action: Names = None,
        start: TimeLike | None = None,
        end: TimeLike | None = None,
        limit: int = 1000,
    ) -> pd.DataFrame:
        """Return the newest entries first: ``id``, ``done``, ``who``, ``action``, ``detail``.

        Parameters
        ----------
        who : str, optional
            Only theirs.
        action : str or iterable of str, optional
            Only these.
        start, end : time-like, optional
            Only entries from `start` on, and before `end`.
        limit : int
            At most so many.
        """
        where, parameters = _audit_filter(who, action, start, end)
        with self._db.session() as session:
            rows = session.rows(
                f"SELECT id, done_at, who, action, detail FROM audit WHERE {where} ORDER BY id DESC LIMIT {int(limit)}",
                *parameters,
            )
        return _log_table(rows, "id")

    def audit_counts(
        self, *, who: str | None = None, start: TimeLike | None = None, end: TimeLike | None = None
    ) -> dict[str, int]:
        """Return how many entries there are of each action; parameters as :meth:`audit_log`."""
        where, parameters = _audit_filter(who, None, start, end)
        with self._db.session() as session:
            rows = session.rows(
                f"SELECT action, COUNT(*) FROM audit WHERE {where} GROUP BY action ORDER BY action",
                *parameters,
            )
        return {str(action): int(n) for action, n in rows}

    def claim_notice(self, channel: str, key: str, *, detail: str = "", stale_s: float | None = None) -> bool:
        """Claim the right to send one notice; True for exactly one caller, whatever the number of programs.

        A notice that failed may be claimed again; one that was sent never.

        Parameters
        ----------
        channel, key : str
            Where to, and what about.
        detail : str
            A word for the list of notices.
        stale_s : float, optional
            Also take over a claim that is neither sent nor failed after so long [s]: the program that held
            it is gone, and whether it had sent is not known.
        """
        now = self._now()
        stale = -1 if stale_s is None else now - int(stale_s * 1_000_000)
        with self._db.writing() as session:
            row = session.row(
                "INSERT INTO notice_sent (channel, key, state, attempts, done_at, detail) "
                "VALUES (?, ?, 'claimed', 1, ?, ?) ON CONFLICT (channel, key) DO UPDATE SET state = 'claimed', "
                "attempts = notice_sent.attempts + 1, done_at = excluded.done_at, detail = excluded.detail "
                "WHERE notice_sent.state = 'failed' OR (notice_sent.state = 'claimed' AND notice_sent.done_at < ?) "
                "RETURNING attempts",
                channel, key, now, detail, stale,
            )  # fmt: skip
        return row is not None

    def settle_notice(self, channel: str, key: str, *, sent: bool, detail: str = "") -> None:
        """Say how sending a claimed notice ended.

        Parameters
        ----------
        channel, key : str
            As claimed.
        sent : bool
            False lets it be claimed again.
        detail : str
            E.g. the error.
        """
        with self._db.writing() as session:
            row = session.row(
                "UPDATE notice_sent SET state = ?, done_at = ?, detail = ? WHERE channel = ? AND key = ? RETURNING key",
                "sent" if sent else "failed", self._now(), detail, channel, key,
            )  # fmt: skip
        if row is None:
            raise NotFoundError(
                "this notice was not claimed", got=(channel, key), fix="Claim it before sending."
            )

    def notices(self) -> pd.DataFrame:
        """Return the notices, newest first: ``channel``, ``key``, ``state``, ``attempts``, ``done``, ``detail``.

        ``state`` is ``claimed``, ``sent`` or ``failed``.
        """
        columns = ["channel", "key", "state", "attempts", "done", "detail"]
        with self._db.session() as session:
            rows = session.rows(
                "SELECT channel, key, state, attempts, done_at, detail FROM notice_sent "
                "ORDER BY done_at DESC, channel, key"
            )
        table = pd.DataFrame(rows, columns=columns)
        table = table.astype(
            {name: "int64" if name == "attempts" else "str" for name in columns if name != "done"}
        )
        table["done"] = to_instants(table["done"])
        return table


def _audit_filter(
    who: str | None, action: Names, start: TimeLike | None, end: TimeLike | None
) -> tuple[str, list[Any]]:
    """Return a condition on the audit trail, and its parameters."""
    parts: list[str] = []
    parameters: list[Any] = []
    if who is not None:
        parts.append("who = ?")
        parameters.append(who)
    names = as_names(action)
    if names is not None:
        parts.append(f"action IN ({', '.join('?' * len(names))})" if names else "1 = 0")
        parameters.extend(sorted(names))
    for sign, moment, name in ((">=", start, "start"), ("<", end, "end")):
        if moment is not None:
            parts.append(f"done_at {sign} ?")
            parameters.append(to_us(moment, name))
    return " AND ".join(parts) or "1 = 1", parameters


def _rows(episodes: pd.DataFrame | Iterable[Mapping[str, Any] | Result]) -> list[dict[str, Any]]:
    if isinstance(episodes, pd.DataFrame):
        return [{str(k): v for k, v in row.items() if k != "id"} for row in episodes.to_dict("records")]
    return [
        e.to_dict() if isinstance(e, Result) else {str(k): v for k, v in e.items() if k != "id"}
        for e in episodes
    ]


def _record(row: dict[str, Any]) -> dict[str, Any]:
    missing = [name for name in ("rule", "station", "opened", "state") if row.get(name) is None]
    if missing:
        raise ArgumentError(
            "episodes", f"missing {missing}", got=sorted(row), expected="rule, station, opened, state"
        )
    record: dict[str, Any] = plain(row)
    for name in ("opened", "last", "over", "seen_at"):
        if record.get(name) is not None:
            record[name] = to_instants([to_us(record[name], name)])[0].isoformat()
    record["parameter"] = record.get("parameter") or ""
    if not record.get("key"):
        parts = (record["rule"], record["station"], record["parameter"], record["opened"])
        record["key"] = "|".join(str(part) for part in parts)
    return record


def _episode_column(rows: list[dict[str, Any]], name: str) -> pd.Series:
    dtype = EPISODE_COLUMNS[name]
    if dtype.startswith("datetime64"):
        times = [to_us(row[name]) if row.get(name) is not None else None for row in rows]
        return pd.Series(to_instants(times))
    if dtype == "object":
        return pd.Series([row.get(name) or {} for row in rows], dtype=object)
    return pd.Series([row["id"] if name == "id" else row.get(name) or "" for row in rows], dtype=dtype)


def _log_table(rows: list[tuple[Any, ...]], first: str) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=[first, "done", "who", "action", "detail"])
    table = table.astype({first: "int64", "who": "str", "action": "str"})
    table["done"] = to_instants(table["done"])
    table["detail"] = pd.Series([json.loads(text) for text in table["detail"]], dtype=object)
    return table


def _told(data: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in data.items() if value not in (None, "", {})}


def _json(value: Any) -> str:
    return json.dumps(plain(value), ensure_ascii=False)
