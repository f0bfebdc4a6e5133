"""The part of a store that reads readings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pandas as pd

from fathomlight.store.part import Part
from fathomlight.store.reads import Names, Selection, count, read, read_latest
from fathomlight.store.times import TimeLike

_VERSION = "SELECT value FROM counter WHERE name = 'data_version'"


class ReadingPart(Part):
    """Reading what is in force."""

    _counted: tuple[int, pd.DataFrame] | None = None

    def readings(
        self,
        *,
        station: Names = None,
        parameter: Names = None,
        start: TimeLike | None = None,
        end: TimeLike | None = None,
        depth: float | tuple[float, float] | None = None,
        flags: Iterable[int] | None = None,
        batch: int | None = None,
        columns: Sequence[str] | None = None,
    ) -> pd.DataFrame:
        """Return the readings in force, chosen by any of these.

        Parameters
        ----------
        station, parameter : str or iterable of str, optional
            Names; all when left out.
        start, end : time-like, optional
            First and last instant, both included; without a zone they are UTC.
        depth : float or (float, float), optional
            Depth, or range of depths with both ends [m].
        flags : iterable of int, optional
            Flags in force, e.g. :data:`fathomlight.model.USED_FLAGS`.
        batch : int, optional
            Only readings that stand under this batch.
        columns : sequence of str, optional
            Only these columns: faster and smaller.

        Returns
        -------
        pandas.DataFrame
            Columns of :data:`fathomlight.model.READING_COLUMNS`, sorted by station, parameter, time, depth,
            replicate.
        """
        selection = Selection(
            station=station, parameter=parameter, start=start, end=end, depth=depth, flags=flags, batch=batch
        )
        with self._db.session() as session:
            return read(session, self._series, self._origins, selection, columns)

    def latest(
        self, parameter: Names = None, *, station: Names = None, flags: Iterable[int] | None = None
    ) -> pd.DataFrame:
        """Return the newest reading of each series, with all depths and replicates of that instant.

        Parameters
        ----------
        parameter, station : str or iterable of str, optional
            Names; all when left out.
        flags : iterable of int, optional
            The newest among those with these flags.

        Returns
        -------
        pandas.DataFrame
            Columns of :data:`fathomlight.model.READING_COLUMNS`.
        """
        with self._db.session() as session:
            return read_latest(
                session,
                self._series,
                self._origins,
                Selection(station=station, parameter=parameter, flags=flags),
            )

    def counts(self) -> pd.DataFrame:
        """Return how many readings in force each series has, and the first and last instant.

        Returns
        -------
        pandas.DataFrame
            Columns ``station``, ``parameter``, ``n``, ``first``, ``last``; series without readings are left
            out.
        """
        with self._db.session() as session:
            version = session.number(_VERSION)
            if self._counted is None or self._counted[0] != version:
                self._counted = version, count(session, self._series)
            return self._counted[1].copy()

    def data_version(self) -> int:
        """Return a number that grows with every change of what the store answers: the key for caches.

        It is raised in the same transaction as the change itself (loads, withdrawals, flags, surveys).
        """
        with self._db.session() as session:
            return session.number(_VERSION)
