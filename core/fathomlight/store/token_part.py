"""The part of a store that keeps which login tokens were ended, so that every process refuses them."""

from __future__ import annotations

import datetime as dt

from fathomlight.errors import ArgumentError
from fathomlight.store.part import Part

_LONGEST = dt.timedelta(days=400)
"""A token is remembered at most so long; no provider gives one that lasts longer."""


class TokenPart(Part):
    """Tokens that count no more."""

    def end_token(self, token: str, until: dt.datetime) -> None:
        """Remember that a token was ended; forget those that have run out by themselves.

        Parameters
        ----------
        token : str
            A hash of it, never the token itself. Not empty.
        until : datetime.datetime
            When the token runs out (with its zone), and need not be remembered any more.
        """
        if not token:
            raise ArgumentError("token", "must not be empty", got=token)
        now = self._now()
        last = now + int(_LONGEST.total_seconds() * 1_000_000)
        until_at = min(int(until.timestamp() * 1_000_000), last)
        with self._db.writing() as session:
            session.run("DELETE FROM ended_token WHERE until_at <= ?", now)
            if until_at > now:
                session.run(
                    "INSERT INTO ended_token (token, until_at) VALUES (?, ?) ON CONFLICT (token) DO UPDATE SET "
                    "until_at = excluded.until_at",
                    token, until_at,
                )  # fmt: skip

    def token_ended(self, token: str) -> bool:
        """Return whether a token was ended, by whatever process."""
        with self._db.session() as session:
            return session.row("SELECT 1 FROM ended_token WHERE token = ?", token) is not None
