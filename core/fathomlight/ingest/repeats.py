"""Readings that share station, parameter, depth and time in one file.

* The same value again, from a row that is the same cell by cell, or (``kind = "profiles"``) a disc depth
  repeated on every depth row of a profile: one reading, the others counted as duplicates.
* Another value: with ``repeats = "replicates"`` numbered 1, 2, ... in file order; with ``"as is"`` passed
  on, with a warning, since the store would take the later for a correction of the earlier.

For ``"replicates"`` the 64-bit keys of all readings of a file are kept (some 20 bytes a reading), so that
the numbers do not depend on where the file was cut into pieces (but across pieces, the same value is always
a duplicate).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from fathomlight.ingest.checks import SURFACE_ONLY
from fathomlight.ingest.raw import RawTable

__all__ = ["Repeats"]

_PRIME = np.uint64(0x9E3779B97F4A7C15)


def _mix(*columns: np.ndarray) -> np.ndarray:
    """Mix integer columns into one 64-bit key per row (multiplicative hashing with xor-shifts)."""
    out = np.zeros(len(columns[0]), dtype=np.uint64)
    with np.errstate(over="ignore"):
        for column in columns:
            out = (out ^ column.astype(np.int64, copy=False).view(np.uint64)) * _PRIME
            out ^= out >> np.uint64(29)
    return out


@dataclass
class Repeats:
    """Settles repeats; remembers over the pieces of one file."""

    rule: str
    profiles: bool = False
    codes: dict[str, int] = field(default_factory=dict)
    numbered: int = 0
    conflicts: int = 0
    duplicates: int = 0
    seen: np.ndarray = field(default_factory=lambda: np.array([], np.uint64))
    often: np.ndarray = field(default_factory=lambda: np.array([], np.int32))
    seen_values: np.ndarray = field(default_factory=lambda: np.array([], np.uint64))

    def _code(self, column: pd.Series) -> np.ndarray:
        codes, texts = pd.factorize(column)
        lasting = np.array(
            [self.codes.setdefault(str(t), len(self.codes) + 1) for t in texts], dtype=np.int64
        )
        return lasting[codes]

    def settle(self, frame: pd.DataFrame, table: RawTable) -> tuple[pd.DataFrame, int]:
        """Settle the repeats of one piece.

        Parameters
        ----------
        frame : pandas.DataFrame
            Readings with the column ``_row``, their row in ``table``.
        table : RawTable
            Where they come from.

        Returns
        -------
        frame : pandas.DataFrame
            Without duplicates.
        duplicates : int
            How many were taken out.
        """
        key = _mix(
            self._code(frame["station"]),
            self._code(frame["parameter"]),
            frame["depth_m"].to_numpy(dtype=float).view(np.int64),
            frame["time"].to_numpy(dtype="datetime64[us]").astype(np.int64),
            frame["replicate"].to_numpy(),
        )
        value = frame["value"].to_numpy(dtype=float).view(np.int64)
        full = _mix(key.view(np.int64), value, self._code(frame["qualifier"]))
        twice = pd.Series(key).duplicated(keep=False).to_numpy()
        drop = np.zeros(len(frame), bool)
        if twice.any():
            drop = self._duplicates(frame, full, table)
        if self.rule == "replicates" and len(self.seen):
            drop |= _inside(full, self.seen_values)
        if drop.any():
            frame = frame[~drop].reset_index(drop=True)
            key, full, twice = (
                key[~drop],
                full[~drop],
                pd.Series(key[~drop]).duplicated(keep=False).to_numpy(),
            )
        self.duplicates += int(drop.sum())
        if self.rule == "replicates":
            frame = self._number(frame, key, full)
        elif twice.any():
            self.conflicts += int(pd.Series(key).duplicated().sum())
        return frame, int(drop.sum())

    def _duplicates(self, frame: pd.DataFrame, full: np.ndarray, table: RawTable) -> np.ndarray:
        again = pd.Series(full).duplicated(keep=False).to_numpy()
        drop = np.zeros(len(frame), bool)
        where = np.flatnonzero(again)
        if not len(where):
            return drop
        surface = frame["parameter"].isin(SURFACE_ONLY).to_numpy()[where] & self.profiles
        rows = frame["_row"].to_numpy()[where]
        texts = np.where(surface, "", np.array(table.row_texts(rows), dtype=object))
        seen = pd.DataFrame({"full": full[where], "text": texts}).duplicated().to_numpy()
        drop[where] = seen
        return drop

    def _number(self, frame: pd.DataFrame, key: np.ndarray, full: np.ndarray) -> pd.DataFrame:
        before = np.zeros(len(key), dtype=np.int64)
        if len(self.seen):
            at = np.minimum(np.searchsorted(self.seen, key), len(self.seen) - 1)
            before = np.where(self.seen[at] == key, self.often[at], 0).astype(np.int64)
        within = pd.Series(key).groupby(key).cumcount().to_numpy()
        extra = before + within
        if extra.any():
            frame = frame.assign(replicate=frame["replicate"].to_numpy() + extra)
            self.numbered += int((extra > 0).sum())
        kinds, counts = np.unique(key, return_counts=True)
        merged = np.concatenate([self.seen, kinds])
        number = np.concatenate([self.often, counts.astype(np.int32)])
        self.seen, back = np.unique(merged, return_inverse=True)
        self.often = np.bincount(back, weights=number).astype(np.int32)
        self.seen_values = np.union1d(self.seen_values, full)
        return frame

    def warnings(self) -> list[str]:
        """What a person should know at the end of the file."""
        out = []
        if self.duplicates:
            out.append(f"{self.duplicates} readings stand in the file more than once and were taken once")
        if self.numbered:
            out.append(
                f"{self.numbered} readings repeat the place and time of another and were numbered "
                f"as replicates"
            )
        if self.conflicts:
            out.append(
                f"{self.conflicts} readings share station, parameter, depth and time with another "
                f"of this file "
                'but differ in value: if they are repeats, set repeats = "replicates" in the recipe'
            )
        return out


def _inside(values: np.ndarray, ordered: np.ndarray) -> np.ndarray:
    """Say which values are in an ordered array."""
    if not len(ordered):
        return np.zeros(len(values), bool)
    at = np.minimum(np.searchsorted(ordered, values), len(ordered) - 1)
    found: np.ndarray = ordered[at] == values
    return found
