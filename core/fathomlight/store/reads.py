"""Readings out of the store: chosen in the database, carried as Arrow columns, handed over as a table."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from fathomlight.errors import ArgumentError
from fathomlight.model import READING_COLUMNS, empty_frame
from fathomlight.store.codes import QUALIFIERS_BY_CODE, Codes
from fathomlight.store.database import Session
from fathomlight.store.times import TimeLike, to_us

Names = str | Iterable[str] | None

# what each column of a table of readings is made of
_SOURCES = {
    "station": "series", "parameter": "series", "depth_m": "depth_m", "time": "time", "local_date": "local_day",
    "replicate": "replicate", "value": "value", "qualifier": "qualifier", "flag": "flag",
    "original_value": "original_value", "original_unit": "origin", "batch": "batch", "method": "origin",
    "note": "note",
}  # fmt: skip
_DAY_US = 86_400_000_000


@dataclass(frozen=True, kw_only=True)
class Selection:
    """Which readings are wanted; None everywhere means all. ``start`` and ``end`` are both included."""

    station: Names = None
    parameter: Names = None
    start: TimeLike | None = None
    end: TimeLike | None = None
    depth: float | tuple[float, float] | None = None
    flags: Iterable[int] | None = None
    batch: int | None = None

    def __post_init__(self) -> None:
        for name in ("start", "end"):
            if (value := getattr(self, name)) is not None:
                to_us(value, name)
        if self.flags is not None:
            object.__setattr__(self, "flags", tuple(int(flag) for flag in self.flags))


def as_names(value: Names) -> set[str] | None:
    """Return names as a set, None for all."""
    return None if value is None else {value} if isinstance(value, str) else {str(v) for v in value}


def columns_wanted(columns: Sequence[str] | None) -> list[str]:
    """Return the columns to read, in their fixed order."""
    if columns is None:
        return list(READING_COLUMNS)
    strange = [name for name in columns if name not in READING_COLUMNS]
    if strange:
        raise ArgumentError("columns", "no such column", got=strange, expected=", ".join(READING_COLUMNS))
    return [name for name in READING_COLUMNS if name in set(columns)]


def chosen_series(series: dict[tuple[str, str], int], selection: Selection) -> list[tuple[str, str, int]]:
    """Return station, parameter and number of the series chosen, in the order of their names."""
    stations, parameters = as_names(selection.station), as_names(selection.parameter)
    return sorted(
        (station, parameter, number)
        for (station, parameter), number in series.items()
        if (stations is None or station in stations) and (parameters is None or parameter in parameters)
    )


def conditions(selection: Selection, numbers: Sequence[int] | None, table: str = "r") -> str:
    """Return the WHERE clause of a selection; only numbers go into it."""
    parts = [] if numbers is None else [f"{table}.series IN ({', '.join(str(int(n)) for n in numbers)})"]
    if selection.start is not None:
        parts.append(f"{table}.time >= {to_us(selection.start, 'start')}")
    if selection.end is not None:
        parts.append(f"{table}.time <= {to_us(selection.end, 'end')}")
    if selection.depth is not None:
        low, high = (
            selection.depth if isinstance(selection.depth, tuple) else (selection.depth, selection.depth)
        )
        # half a micrometre: depths are kept to the micrometre
        parts.append(f"{table}.depth_m BETWEEN {float(low) - 5e-7!r} AND {float(high) + 5e-7!r}")
    if selection.flags is not None:
        flags = [str(int(f)) for f in selection.flags]
        parts.append(f"{table}.flag IN ({', '.join(flags)})" if flags else "1 = 0")
    if selection.batch is not None:
        parts.append(f"{table}.batch = {int(selection.batch)}")
    return " AND ".join(parts) or "1 = 1"


def read(
    session: Session,
    series: Codes,
    origins: Codes,
    selection: Selection,
    columns: Sequence[str] | None = None,
) -> pd.DataFrame:
    """Return the readings in force that are chosen, sorted by station, parameter, time, depth, replicate."""
    wanted = columns_wanted(columns)
    with session.snapshot():
        chosen = chosen_series(series.refresh(session), selection)
        units = origins.refresh(session)
        if selection.batch is not None:
            spoken = session.rows("SELECT series FROM batch_series WHERE batch = ?", int(selection.batch))
            # a batch of old may stand for readings that another one brought
            chosen = [c for c in chosen if c[2] in {int(n) for (n,) in spoken}]
        if not chosen:
            return empty_frame({name: READING_COLUMNS[name] for name in wanted})
        table = _select(session, selection, chosen, wanted)
    return to_frame(table, chosen, units, wanted)


def _select(
    session: Session, selection: Selection, chosen: list[tuple[str, str, int]], wanted: list[str]
) -> pa.Table:
    sources = list(dict.fromkeys(["series", *(_SOURCES[name] for name in wanted)]))
    sql = f"SELECT {', '.join(f'r.{name}' for name in sources)} FROM reading r WHERE " + conditions(
        selection, [number for _, _, number in chosen]
    )
    return session.arrow(sql + " ORDER BY r.series, r.time, r.depth_m, r.replicate")


def by_name(table: pa.Table, chosen: list[tuple[str, str, int]]) -> tuple[pa.Table, np.ndarray]:
    """Sort stored columns by the names of their series; also return each row's place in ``chosen``."""
    place = _lookup({number: i for i, (_, _, number) in enumerate(chosen)})
    rank = place[np.asarray(table["series"])]
    if np.any(rank[1:] < rank[:-1]):
        table = table.take(pa.array(np.argsort(rank, kind="stable")))
        rank = np.sort(rank, kind="stable")
    return table, rank


def to_frame(
    table: pa.Table,
    chosen: list[tuple[str, str, int]],
    origins: dict[tuple[str, str], int],
    wanted: list[str],
) -> pd.DataFrame:
    """Turn stored columns, sorted by series, into a table of readings sorted by the names of the series."""
    if table.num_rows == 0:
        return empty_frame({name: READING_COLUMNS[name] for name in wanted})
    table, rank = by_name(table, chosen)
    columns = {name: _column(name, table, rank, chosen, origins) for name in wanted}
    made = pa.table(columns)
    # one column after the other is let go while the table is made: half the memory at the peak
    del table, columns
    frame: pd.DataFrame = made.to_pandas(split_blocks=True, self_destruct=True)
    return frame


def _lookup(numbers: dict[int, int]) -> np.ndarray:
    table = np.zeros(max(numbers, default=0) + 1, dtype=np.int64)
    for number, index in numbers.items():
        table[number] = index
    return table


def _column(
    name: str,
    table: pa.Table,
    rank: np.ndarray,
    chosen: list[tuple[str, str, int]],
    origins: dict[tuple[str, str], int],
) -> pa.Array | pa.ChunkedArray:
    if name in ("station", "parameter"):
        return _words(rank, [s if name == "station" else p for s, p, _ in chosen])
    if name in ("original_unit", "method"):
        ordered = list(origins.items())
        index = _lookup({number: i for i, (_, number) in enumerate(ordered)})[np.asarray(table["origin"])]
        return _words(index, [pair[0 if name == "original_unit" else 1] for pair, _ in ordered])
    if name == "qualifier":
        return _words(np.asarray(table["qualifier"]), list(QUALIFIERS_BY_CODE))
    if name == "time":
        return table["time"].cast(pa.timestamp("us", tz="UTC"))
    if name == "local_date":
        return pa.array(np.asarray(table["local_day"]) * _DAY_US).cast(pa.timestamp("us"))
    return table[_SOURCES[name]]


def _words(index: np.ndarray, known: list[str]) -> pa.Array:
    return pc.take(pa.array(known, type=pa.string()), pa.array(index))


def read_latest(session: Session, series: Codes, origins: Codes, selection: Selection) -> pd.DataFrame:
    """Return the newest readings of each series chosen (all depths and replicates of its last instant)."""
    wanted = list(READING_COLUMNS)
    with session.snapshot():
        chosen = chosen_series(series.refresh(session), selection)
        units = origins.refresh(session)
        if not chosen:
            return empty_frame(READING_COLUMNS)
        sources = ", ".join(f"r.{name}" for name in dict.fromkeys(["series", *_SOURCES.values()]))
        numbers = ", ".join(str(number) for _, _, number in chosen)
        table = session.arrow(
            f"""SELECT {sources} FROM series s JOIN reading r ON r.series = s.id
            AND r.time = (SELECT max(m.time) FROM reading m
                          WHERE m.series = s.id AND {conditions(selection, None, "m")})
            WHERE s.id IN ({numbers}) AND {conditions(selection, None)}
            ORDER BY r.series, r.time, r.depth_m, r.replicate"""
        )
    return to_frame(table, chosen, units, wanted)


def count(session: Session, series: Codes) -> pd.DataFrame:
    """Return station, parameter, n, first and last of each series that has readings."""
    with session.snapshot():
        names = {number: pair for pair, number in series.refresh(session).items()}
        rows = session.rows("SELECT series, count(*), min(time), max(time) FROM reading GROUP BY series")
    found = sorted((*names[int(number)], int(n), int(first), int(last)) for number, n, first, last in rows)
    table = pd.DataFrame(found, columns=["station", "parameter", "n", "first", "last"])
    table = table.astype({"station": "str", "parameter": "str", "n": "int64"})
    for name in ("first", "last"):
        instants = pd.Series(table[name].to_numpy(dtype=np.int64).view("datetime64[us]"), index=table.index)
        table[name] = instants.dt.tz_localize("UTC")
    return table
