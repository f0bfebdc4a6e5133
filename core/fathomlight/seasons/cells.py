"""From readings to one value per station, parameter, year and season."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.model import ABOVE, BELOW, EQUAL, USED_FLAGS, Flag
from fathomlight.seasons.scheme import CALENDAR_MONTHS, SeasonScheme

if TYPE_CHECKING:
    import xarray as xr

Statistic = Literal["median", "mean", "minimum", "maximum"]


def bounded_median(values: npt.NDArray[np.float64], codes: npt.NDArray[np.int8]) -> tuple[float, int]:
    """Return the median of values some of which are only bounds, itself as a value or a bound.

    Each value is an interval: itself, below it, or above it. The median of the lower ends and that of the
    upper ends enclose the median. Where they agree it is known, however many values are bounds; else it is a
    bound: ``>`` the lower end where there is one, else ``<`` the upper end, else nothing is known.

    Parameters
    ----------
    values : ndarray, shape (n,)
        No NaN.
    codes : ndarray of int8, shape (n,)
        0 exact, -1 ``<``, 1 ``>``.

    Returns
    -------
    value : float
        NaN when nothing is known of it.
    code : int
        0, -1 or 1.

    Examples
    --------
    >>> bounded_median(np.array([1.0, 2.0, 3.0]), np.array([0, 0, 1], dtype=np.int8))
    (2.0, 0)
    >>> bounded_median(np.array([2.0, 3.0]), np.array([0, 1], dtype=np.int8))
    (2.5, 1)
    """
    if values.size == 0:
        return math.nan, 0
    low = float(np.median(np.where(codes < 0, -np.inf, values)))
    high = float(np.median(np.where(codes > 0, np.inf, values)))
    if low == high:
        return low, 0
    if math.isfinite(low):
        return low, 1
    return (high, -1) if math.isfinite(high) else (math.nan, 0)


def season_cells(
    readings: pd.DataFrame,
    scheme: SeasonScheme = CALENDAR_MONTHS,
    *,
    statistic: Statistic = "median",
    flags: Iterable[int] = USED_FLAGS,
    depth: tuple[float, float] | None = (0.0, 1.0),
) -> pd.DataFrame:
    """Reduce readings to one value per station, parameter, year and season.

    Parameters
    ----------
    readings : pandas.DataFrame
        Columns of :data:`fathomlight.model.READING_COLUMNS` (station, parameter, depth_m, local_date, value,
        qualifier and flag are used).
    scheme : SeasonScheme
    statistic : {"median", "mean", "minimum", "maximum"}
        With qualified readings it is computed once with every reading at its lower end and once at its upper
        end; where the two agree it is known, else it is a bound (see :func:`bounded_median`).
    flags : iterable of int
        Flags whose readings count.
    depth : (float, float) or None
        Depths that count, [m], both ends included; the surface by default. A reading without depth counts.
        None takes every depth together.

    Returns
    -------
    pandas.DataFrame
        Columns station, parameter, year, season (ordered category), value, qualifier, count, n_qualified,
        n_left_out, n_suspect, n_fail, n_missing, n_days, first_date, last_date. A cell whose readings were
        all left out is kept with count 0 and value NaN. ``attrs["notes"]`` says what was not used.

    Raises
    ------
    ArgumentError
        On missing columns, an unknown statistic, or an impossible depth.
    """
    need_columns(readings, ("station", "parameter", "depth_m", "local_date", "value", "qualifier", "flag"))
    if statistic not in _STATISTICS:
        raise ArgumentError("statistic", "unknown statistic", got=statistic, expected=", ".join(_STATISTICS))
    cells, deep, outside = _cells_of(readings, scheme, statistic, flags, depth)
    cells.attrs["notes"] = _cell_notes(int(deep.sum()), depth, int(outside.sum()))
    return cells


_STATISTICS = {"median": "median", "mean": "mean", "minimum": "min", "maximum": "max"}
_COUNTS = ("count", "n_qualified", "n_left_out", "n_suspect", "n_fail", "n_missing", "n_days")


def _cells_of(
    readings: pd.DataFrame,
    scheme: SeasonScheme,
    statistic: Statistic,
    flags: Iterable[int],
    depth: tuple[float, float] | None,
) -> tuple[pd.DataFrame, npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Return the cells, and which readings lie at other depths and which outside every season."""
    inside = _at_depth(readings, depth)
    placed = scheme.place(readings["local_date"])
    outside = inside & placed["season"].isna().to_numpy()
    table = pd.concat([readings, placed], axis=1)[inside & ~outside]
    used = table["flag"].isin([int(f) for f in flags]).to_numpy() & table["value"].notna().to_numpy()
    keys = ["station", "parameter", "year", "season"]
    cells = _count_cells(table, used, keys)
    values = bounded_values(table[used], keys, statistic)
    cells = cells.join(values).reset_index()
    cells["qualifier"] = cells["qualifier"].fillna(EQUAL).astype("str")
    columns = [*keys, "value", "qualifier", *_COUNTS, "first_date", "last_date"]
    return cells[columns].sort_values(keys, kind="stable").reset_index(drop=True), ~inside, outside


def need_columns(table: pd.DataFrame, columns: Iterable[str]) -> None:
    """Refuse a table that lacks columns, naming them."""
    lacking = [name for name in columns if name not in table.columns]
    if lacking:
        raise ArgumentError(
            "readings",
            "lacks columns",
            got=", ".join(map(str, table.columns)),
            expected=", ".join(lacking),
            fix="Use a table with the columns of fathomlight.model.READING_COLUMNS.",
        )


def cells_by_station(
    readings: pd.DataFrame,
    scheme: SeasonScheme = CALENDAR_MONTHS,
    *,
    flags: Iterable[int] = USED_FLAGS,
    depth: tuple[float, float] | None = (0.0, 1.0),
) -> dict[str, pd.DataFrame]:
    """Do as :func:`season_cells` for each of many stations with short series, in one go: far quicker.

    Parameters
    ----------
    readings : pandas.DataFrame
        As there, of one parameter.
    scheme, flags, depth
        As there; the statistic is the median.

    Returns
    -------
    dict of str to pandas.DataFrame
        What :func:`season_cells` returns for the readings of each station, notes included.
    """
    cells, deep, outside = _cells_of(readings, scheme, "median", flags, depth)
    left = pd.DataFrame({"deep": deep, "outside": outside, "station": readings["station"]})
    left = left.groupby("station").sum()
    found = {str(station): part.reset_index(drop=True) for station, part in cells.groupby("station")}
    empty = cells.iloc[:0]
    for station, n_deep, n_outside in zip(left.index, left["deep"], left["outside"], strict=True):
        part = found.setdefault(str(station), empty.copy())
        part.attrs["notes"] = _cell_notes(int(n_deep), depth, int(n_outside))
    return found


def _cell_notes(deep: int, depth: tuple[float, float] | None, outside: int) -> list[str]:
    notes = []
    if depth is not None and deep:
        notes.append(f"{deep} readings at other depths than {depth[0]:g} to {depth[1]:g} m are not used.")
    if outside:
        notes.append(
            f"{outside} readings lie outside every season or the open-water window and are not used."
        )
    return notes


def _at_depth(readings: pd.DataFrame, depth: tuple[float, float] | None) -> npt.NDArray[np.bool_]:
    if depth is None:
        return np.ones(len(readings), dtype=bool)
    shallow, deep = depth
    if not 0 <= shallow <= deep:
        raise ArgumentError(
            "depth", "must be (shallow, deep)", got=depth, expected="0 <= shallow <= deep, in m"
        )
    at = readings["depth_m"]
    inside: npt.NDArray[np.bool_] = (at.between(shallow, deep) | at.isna()).to_numpy(dtype=bool)
    return inside


def _count_cells(table: pd.DataFrame, used: npt.NDArray[np.bool_], keys: list[str]) -> pd.DataFrame:
    missing = table["value"].isna() | (table["flag"] == int(Flag.MISSING))
    marks = pd.DataFrame(
        {
            **{key: table[key] for key in keys},
            "count": used,
            "n_qualified": used & (table["qualifier"] != EQUAL).to_numpy(),
            "n_left_out": ~used,
            "n_suspect": ~used & (table["flag"] == int(Flag.SUSPECT)) & ~missing,
            "n_fail": ~used & (table["flag"] == int(Flag.FAIL)) & ~missing,
            "n_missing": ~used & missing,
            "date": table["local_date"].where(used),
        }
    )
    groups = marks.groupby(keys, observed=True)
    counts = groups[[name for name in _COUNTS if name != "n_days"]].sum().astype(np.int64)
    dates = groups["date"].agg(first_date="min", last_date="max", n_days="nunique")
    return counts.join(dates)


def bounded_values(table: pd.DataFrame, keys: list[str], statistic: str) -> pd.DataFrame:
    """Return value and qualifier of a statistic per group, from its value at the lower and the upper ends."""
    mark, value = table["qualifier"].to_numpy(), table["value"].to_numpy(dtype=np.float64)
    ends = pd.DataFrame(
        {
            **{key: table[key] for key in keys},
            "low": np.where(mark == BELOW, -np.inf, value),
            "high": np.where(mark == ABOVE, np.inf, value),
        }
    )
    with np.errstate(invalid="ignore"):
        found = ends.groupby(keys, observed=True)[["low", "high"]].agg(_STATISTICS[statistic])
    low, high = found["low"].to_numpy(), found["high"].to_numpy()
    known, from_below = low == high, np.isfinite(low)
    out = pd.DataFrame(index=found.index)
    out["value"] = np.where(known | from_below, low, np.where(np.isfinite(high), high, np.nan))
    out["qualifier"] = np.where(
        known, EQUAL, np.where(from_below, ABOVE, np.where(np.isfinite(high), BELOW, EQUAL))
    )
    return out


def coverage(cells: pd.DataFrame) -> pd.DataFrame:
    """Say how well season cells cover their years.

    Parameters
    ----------
    cells : pandas.DataFrame
        Answer of :func:`season_cells`.

    Returns
    -------
    pandas.DataFrame
        One row per station and parameter: first_year, last_year, n_years (with a value), longest_gap (years
        without any value in a row), n_seasons (with a value in any year), n_cells, possible (years from
        first to last x seasons), coverage (n_cells / possible, [1]), n_readings, n_qualified, n_left_out.
    """
    rows = []
    for (station, parameter), part in cells.groupby(["station", "parameter"], observed=True):
        held = part[part["value"].notna()]
        years = np.unique(held["year"].to_numpy())
        seasons = int(held["season"].nunique())
        possible = int(years[-1] - years[0] + 1) * seasons if years.size else 0
        rows.append(
            {
                "station": station,
                "parameter": parameter,
                "first_year": int(years[0]) if years.size else pd.NA,
                "last_year": int(years[-1]) if years.size else pd.NA,
                "n_years": int(years.size),
                "longest_gap": int(np.diff(years).max(initial=1)) - 1,
                "n_seasons": seasons,
                "n_cells": len(held),
                "possible": possible,
                "coverage": len(held) / possible if possible else math.nan,
                "n_readings": int(part["count"].sum()),
                "n_qualified": int(part["n_qualified"].sum()),
                "n_left_out": int(part["n_left_out"].sum()),
            }
        )
    names = (
        "station",
        "parameter",
        "first_year",
        "last_year",
        "n_years",
        "longest_gap",
        "n_seasons",
        "n_cells",
        "possible",
        "coverage",
        "n_readings",
        "n_qualified",
        "n_left_out",
    )
    return pd.DataFrame(rows, columns=list(names)).astype({"first_year": "Int64", "last_year": "Int64"})


def season_cube(cells: pd.DataFrame, *, column: str = "value", parameter: str | None = None) -> xr.DataArray:
    """Arrange season cells as an array for :func:`fathomlight.trends.network_trends`.

    Parameters
    ----------
    cells : pandas.DataFrame
        Answer of :func:`season_cells`.
    column : str
        ``value``, ``count``, ... or ``qualifier``, which becomes 0, -1 (``<``) and 1 (``>``).
    parameter : str, optional
        Needed when the cells hold several.

    Returns
    -------
    xarray.DataArray
        Dims (station, year, season), every year from first to last, NaN (0 for qualifiers) where there is no
        cell.

    Raises
    ------
    ArgumentError
        When the parameter is not one, or the column is not there.
    """
    import xarray as xr

    present = cells["parameter"].unique().tolist()
    chosen = parameter if parameter is not None else (present[0] if len(present) == 1 else None)
    if chosen is None or chosen not in present:
        raise ArgumentError(
            "parameter",
            "must be one that the cells hold",
            got=parameter,
            expected=", ".join(map(str, present)),
        )
    need_columns(cells, (column,))
    part = cells[cells["parameter"] == chosen]
    stations = pd.Index(sorted(part["station"].unique()))
    first, last = int(part["year"].min()), int(part["year"].max())
    held = part["season"].astype("category")
    seasons = [name for name in held.cat.categories if (held == name).any()]
    at = (
        stations.get_indexer(part["station"]),
        part["year"].to_numpy() - first,
        pd.Index(seasons).get_indexer(pd.Index(held.astype(object))),
    )
    shape = (len(stations), last - first + 1, len(seasons))
    if column == "qualifier":
        data = np.zeros(shape, dtype=np.int8)
        data[at] = part["qualifier"].map({EQUAL: 0, BELOW: -1, ABOVE: 1}).to_numpy(dtype=np.int8)
    else:
        data = np.full(shape, np.nan)
        data[at] = part[column].to_numpy(dtype=np.float64)
    return xr.DataArray(
        data,
        dims=("station", "year", "season"),
        name=chosen,
        coords={
            "station": np.array(stations, dtype=object),
            "year": np.arange(first, last + 1),
            "season": seasons,
        },
    )
