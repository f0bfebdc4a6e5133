"""Batches, flags and history: what was loaded, by whom, and what people decided about it."""

from __future__ import annotations

from typing import Any

import pandas as pd

from fathomlight.model import IDENTITY, MEASURED, REFUSED_COLUMNS, empty_frame
from fathomlight.store import BatchChange
from fathomlight.workspace.base import Base


class Keeping(Base):
    """Looking after what was loaded."""

    # -- batches ------------------------------------------------------------------------------------------

    def batches(self) -> pd.DataFrame:
        """Return every batch: file, recipe, who, when, counts, state; names only for reviewers, and one's own."""
        return self.without_people(self.store.batches())

    def refused(self, batch: int | None = None) -> pd.DataFrame:
        """Return refused rows: all of one batch, or those of every batch in force that wait to be put right.

        Parameters
        ----------
        batch : int, optional
            One batch; then rows that were put right since are listed too.

        Returns
        -------
        pandas.DataFrame
            :data:`~fathomlight.model.REFUSED_COLUMNS`, and ``batch`` when several are listed.
        """
        table = self.batches()
        if batch is not None:
            return self._rows_as_written(self.store.refused(batch), table, batch)
        numbers = table.loc[(table["n_refused"] > 0) & (table["state"] == "active"), "batch"]
        parts = [(int(n), self.store.refused(int(n), open_only=True)) for n in numbers]
        held = [self._rows_as_written(part, table, n).assign(batch=n) for n, part in parts if len(part)]
        return pd.concat(held, ignore_index=True) if held else empty_frame(REFUSED_COLUMNS).assign(batch=[])

    def _rows_as_written(self, rows: pd.DataFrame, batches: pd.DataFrame, batch: int) -> pd.DataFrame:
        """Leave whole rows, which may name people, to reviewers and to whoever loaded them."""
        own = bool(self.actor) and self.actor in set(batches.loc[batches["batch"] == batch, "who"])
        return rows if own and self.rights.has("volunteer") else self.without_people(rows)

    def set_aside(self, batch: int, line: int, column: str, why: str) -> int:
        """Say that a refused row will not be put right, and why; it stays in the list of its batch."""
        self.require("reviewer", "setting a refused row aside")
        done = self.store.settle_refused(batch, line, column or None, who=self.actor, why=why)
        self.audit("set aside", {"batch": batch, "line": line, "column": column, "why": why})
        return done

    def withdraw(self, batch: int, why: str) -> BatchChange:
        """Take a whole batch out of force; what it had corrected comes back. Nothing is deleted."""
        self._may_change_batch(batch, "withdrawing a batch")
        change = self.store.withdraw(batch, self.actor, why)
        self.audit("withdraw", {"batch": batch, "why": why})
        return change

    def restore(self, batch: int, why: str) -> BatchChange:
        """Put a withdrawn batch back."""
        self._may_change_batch(batch, "putting a batch back")
        change = self.store.restore(batch, self.actor, why)
        self.audit("restore", {"batch": batch, "why": why})
        return change

    def _may_change_batch(self, batch: int, doing: str) -> None:
        if self.rights.waters is None:
            self.require("reviewer", doing)
            return
        stations = set(self.store.readings(batch=batch, columns=["station"])["station"].unique())
        self.require("reviewer", doing, {self.stations[s].water for s in stations if s in self.stations})

    # -- flags --------------------------------------------------------------------------------------------

    def run_quality(self, stations: list[str] | None = None) -> int:
        """Run the quality tests of ``config/parameters.toml`` and store the automatic flags.

        Parameters
        ----------
        stations : list of str, optional
            Only these; all when left out.

        Returns
        -------
        int
            Readings that were tested. Flags a person set stay as they are.
        """
        from fathomlight.quality import flag_frame

        parameters = sorted(self.config.quality)
        names = stations if stations is not None else sorted(set(self.store.counts()["station"]))
        settings: dict[str | tuple[str, str], Any] = dict(self.config.quality.items())
        columns = ["station", "parameter", *MEASURED]
        tested = 0
        for station in names:
            readings = self.store.readings(station=station, parameter=parameters, columns=columns)
            if readings.empty:
                continue
            flags = flag_frame(readings, settings, parameters=self.parameters)
            self.store.set_flags(flags, who="quality tests", automatic=True)
            tested += len(flags)
        return tested

    def set_flag(self, identity: dict[str, Any], flag: int, reason: str) -> int:
        """Set the flag of one reading, as a person, with a reason; automatic tests never change it again.

        Parameters
        ----------
        identity : dict
            station, parameter, depth_m, time, replicate.
        flag : int
            1 pass, 3 suspect, 4 fail.
        reason : str
            Why; it is kept with the flag.

        Returns
        -------
        int
            Readings whose flag was set: 1, or 0 when it was so already.
        """
        self.require("reviewer", "setting a flag", {self.station(str(identity["station"])).water})
        row = pd.DataFrame(
            [{**{k: identity[k] for k in IDENTITY}, "flag": int(flag), "test": "", "reason": reason}]
        )
        n_set = self.store.set_flags(row, who=self.actor, automatic=False).n_set
        self.audit("flag", {**{k: str(identity[k]) for k in IDENTITY}, "flag": int(flag), "why": reason})
        return n_set

    def undo_flag(self, identity: dict[str, Any], why: str = "") -> int:
        """Take back the last flag a person set on a reading; the one before it is in force again."""
        self.require("reviewer", "taking back a flag", {self.station(str(identity["station"])).water})
        n_set = self.store.undo_flag({k: identity[k] for k in IDENTITY}, who=self.actor, why=why).n_set
        self.audit("undo flag", {**{k: str(identity[k]) for k in IDENTITY}, "why": why})
        return n_set

    def history(self, **identity: Any) -> pd.DataFrame:
        """Return all versions of the readings named by station, parameter, time ...: who, when, why."""
        return self.without_people(self.store.history(**identity))
