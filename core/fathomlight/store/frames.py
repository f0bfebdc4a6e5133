"""From a table of readings as others hand it in to columns that can be stored, and the rows that cannot be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from fathomlight.errors import ArgumentError
from fathomlight.model import READING_COLUMNS, REFUSED_COLUMNS, Flag, empty_frame
from fathomlight.store.codes import QUALIFIER_CODES, DictionaryArray

REQUIRED = ("station", "parameter", "time", "local_date", "value")
DEFAULTS: dict[str, Any] = {
    "depth_m": 0.0,
    "replicate": 1,
    "qualifier": "=",
    "flag": int(Flag.NOT_EVALUATED),
    "original_value": "",
    "original_unit": "",
    "method": "",
    "note": "",
}
CHUNK_ROWS = 200_000
DAY_US = 86_400_000_000
_DEPTH_DECIMALS = 6


@dataclass(frozen=True)
class ReadingColumns:
    """Rows ready to be staged; every array has the same length."""

    station: DictionaryArray
    parameter: DictionaryArray
    unit: DictionaryArray
    method: DictionaryArray
    numbers: dict[str, np.ndarray]
    texts: dict[str, pa.Array]
    refused: pd.DataFrame
    n_empty: int


def slices(frame: pd.DataFrame, rows: int = CHUNK_ROWS) -> Iterator[pd.DataFrame]:
    """Cut a table into pieces of at most ``rows`` rows."""
    for start in range(0, len(frame), rows):
        yield frame.iloc[start : start + rows]


def check_columns(frame: pd.DataFrame) -> None:
    """Raise :class:`ArgumentError` unless the columns are those of a table of readings."""
    if not isinstance(frame, pd.DataFrame):
        raise ArgumentError(
            "frame", "a table of readings is expected", got=type(frame).__name__, expected="a DataFrame"
        )
    missing = [name for name in REQUIRED if name not in frame]
    strange = [str(name) for name in frame if name not in READING_COLUMNS and name != "line"]
    if missing or strange:
        raise ArgumentError(
            "frame",
            f"wrong columns: missing {missing}, not known {strange}",
            got=[str(name) for name in frame],
            expected=", ".join(name for name in READING_COLUMNS if name != "batch"),
        )


def convert(frame: pd.DataFrame) -> ReadingColumns:
    """Check a piece of a table row by row and turn it into columns to store.

    A row without a value is left out and counted; a row that cannot be stored is refused with reason and
    remedy. Depths are kept to the micrometre, so that 0.1 + 0.2 and 0.3 are one depth; minus zero becomes
    zero.

    Parameters
    ----------
    frame : pandas.DataFrame
        Columns of :data:`fathomlight.model.READING_COLUMNS`; those with a default may be missing, a column
        ``line`` (line in the file) may be there.

    Returns
    -------
    ReadingColumns
        Kept rows in the order given.
    """
    check_columns(frame)
    full = frame.assign(**{name: value for name, value in DEFAULTS.items() if name not in frame})
    time = instants(full["time"], "time")
    day = days(full["local_date"], "local_date")
    value, depth = _floats(full["value"]) + 0.0, np.round(_floats(full["depth_m"]), _DEPTH_DECIMALS) + 0.0
    replicate, flag = _floats(full["replicate"]), _floats(full["flag"])
    station, parameter = words(full["station"]), words(full["parameter"])
    qualifier = _qualifiers(full["qualifier"])
    problems = (
        ("station", _blank(station), "no station", "Name the station."),
        ("parameter", _blank(parameter), "no parameter", "Name what was measured."),
        ("time", time == _NOT_A_TIME, "no time", "Give the date and time of the reading."),
        ("local_date", day == _NOT_A_TIME, "no local date", "Give the day at the station."),
        ("depth_m", ~np.isfinite(depth), "depth is not a number", "Give the depth in metres, 0 at the surface."),
        ("replicate", ~((replicate >= 1) & (replicate == np.floor(replicate))), "replicate is not 1, 2, 3 ...",
         "Number the repeats from 1."),
        ("value", np.isinf(value), "the value is infinite", "Correct the value."),
        ("qualifier", qualifier < 0, "qualifier is none of = < >", "Use =, < or >."),
        ("flag", ~np.isin(flag, [int(f) for f in Flag]), "no such flag", "Use 1, 2, 3, 4 or 9."),
    )  # fmt: skip
    empty = np.isnan(value)
    refused, bad = _refuse(frame, full, problems, ~empty)
    keep = ~(empty | bad)
    numbers = {
        "time": time, "depth_m": depth, "replicate": replicate, "value": value, "qualifier": qualifier,
        "local_day": day, "flag": flag,
    }  # fmt: skip
    whole = {
        n: a[keep] if n in ("depth_m", "value") else a[keep].astype(np.int64) for n, a in numbers.items()
    }
    mask = pa.array(keep)
    return ReadingColumns(
        station=_kept(station, keep),
        parameter=_kept(parameter, keep),
        unit=_kept(words(full["original_unit"]), keep),
        method=_kept(words(full["method"]), keep),
        numbers=whole,
        texts={name: text(full[name]).filter(mask) for name in ("original_value", "note")},
        refused=refused,
        n_empty=int(empty.sum()),
    )


_NOT_A_TIME = np.iinfo(np.int64).min


def instants(column: pd.Series, name: str) -> np.ndarray:
    """Return instants as microseconds since 1970 in UTC, the smallest whole number where there is none."""
    if not isinstance(column.dtype, pd.DatetimeTZDtype):
        raise ArgumentError(
            name,
            "instants need a time zone",
            got=str(column.dtype),
            expected="datetime64[us, UTC]",
            fix="Say which zone they are in with .dt.tz_localize(zone).",
        )
    return np.asarray(column.dt.tz_convert("UTC").dt.as_unit("us").astype("int64"))


def days(column: pd.Series, name: str) -> np.ndarray:
    """Return days as whole days since 1970, the smallest whole number where there is none."""
    if not pd.api.types.is_datetime64_dtype(column.dtype):
        raise ArgumentError(
            name, "dates without a zone are needed", got=str(column.dtype), expected="datetime64[us]"
        )
    us = np.asarray(column.dt.as_unit("us").astype("int64"))
    return np.where(us == _NOT_A_TIME, us, us // DAY_US)


def text(column: pd.Series) -> pa.Array:
    """Return a column as Arrow text, empty where there is none."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        column = column.astype(object)
    try:
        array = pa.array(column, type=pa.string(), from_pandas=True)
    except (pa.ArrowInvalid, pa.ArrowTypeError):  # numbers among the words
        array = pa.array([None if pd.isna(v) else str(v) for v in column], type=pa.string())
    if isinstance(array, pa.ChunkedArray):
        array = array.combine_chunks()
    return pc.fill_null(array, "") if array.null_count else array


def words(column: pd.Series) -> DictionaryArray:
    """Return a column as indices into its different words."""
    coded = text(column).dictionary_encode()
    return np.asarray(coded.indices, dtype=np.int64), coded.dictionary.to_pylist()


def _floats(column: pd.Series) -> np.ndarray:
    return np.asarray(pd.to_numeric(column, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan))


def _qualifiers(column: pd.Series) -> np.ndarray:
    index, known = words(column)
    codes = np.array([QUALIFIER_CODES.get(word, -1) for word in known] or [-1], dtype=np.int64)
    return np.asarray(codes[index])


def _blank(column: DictionaryArray) -> np.ndarray:
    index, known = column
    blank = np.array([not word.strip() for word in known] or [True])
    return np.asarray(blank[index])


def _kept(column: DictionaryArray, keep: np.ndarray) -> DictionaryArray:
    return column[0][keep], column[1]


Problem = tuple[str, np.ndarray, str, str]


def _refuse(
    frame: pd.DataFrame, full: pd.DataFrame, problems: tuple[Problem, ...], considered: np.ndarray
) -> tuple[pd.DataFrame, np.ndarray]:
    bad = np.zeros(len(frame), dtype=bool)
    rows: list[dict[str, object]] = []
    for column, wrong, reason, remedy in problems:
        new = wrong & considered & ~bad
        bad |= new
        for position in np.flatnonzero(new).tolist():
            rows.append(
                {
                    "file": "",
                    "line": int(frame["line"].iloc[position]) if "line" in frame else 0,
                    "column": column,
                    "value": str(full[column].iloc[position]),
                    "reason": reason,
                    "remedy": remedy,
                    "row_text": ", ".join(str(v) for v in frame.iloc[position]),
                }
            )
    if not rows:
        return empty_frame(REFUSED_COLUMNS), bad
    return pd.DataFrame(rows).astype(dict(REFUSED_COLUMNS)), bad
