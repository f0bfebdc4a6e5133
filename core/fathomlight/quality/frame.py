"""Flags for a whole table of readings, with the deciding test and a reason in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.model import IDENTITY, Flag, Parameter
from fathomlight.quality import attenuated, climatology, flat_line, gap, gross_range, rate_of_change, spike
from fathomlight.quality import neighbour as neighbour_test
from fathomlight.quality.flags import run_tests, series_kind
from fathomlight.quality.precedence import deciding_test, roll_up
from fathomlight.quality.series import Prepared, prepare
from fathomlight.quality.settings import QualitySettings

Key = str | tuple[str, str]

_REASON: dict[str, Any] = {
    module.NAME: module.reason
    for module in (
        gap,
        gross_range,
        climatology,
        spike,
        rate_of_change,
        flat_line,
        attenuated,
        neighbour_test,
    )
}

SERIES = ("station", "parameter", "depth_m", "replicate")
"""What makes a series: readings that are compared with each other."""


def flag_frame(
    readings: pd.DataFrame,
    settings_by_parameter: Mapping[Key, QualitySettings],
    *,
    parameters: Mapping[str, Parameter] | None = None,
) -> pd.DataFrame:
    """Flag every reading of a table.

    Parameters
    ----------
    readings : pandas.DataFrame
        Columns of :data:`fathomlight.model.READING_COLUMNS`; needed are station, parameter, depth_m, time,
        replicate and value; used when there are qualifier and local_date.
    settings_by_parameter : mapping
        Parameter name to settings; a key ``(station, parameter)`` goes before the parameter's own.
    parameters : mapping of str to Parameter, optional
        For the units in the reasons.

    Returns
    -------
    pandas.DataFrame
        Index and order of ``readings``; the identity columns, ``flag`` (int64), ``test`` (the test that
        decided, empty for 1 and 2) and ``reason`` (a plain sentence, empty for 1; for 2 why nothing was
        said).

    Raises
    ------
    fathomlight.errors.ArgumentError
        A needed column is missing.

    Notes
    -----
    A series is one station, parameter, depth and replicate. Stations stand alone here: the neighbour test
    needs a second instrument and is only run by :func:`~fathomlight.quality.qartod_flags`.
    """
    needed = [*IDENTITY, "value"]
    lost = [name for name in needed if name not in readings.columns]
    if lost:
        raise ArgumentError(
            "readings", "columns are missing", got=", ".join(lost), expected=", ".join(needed)
        )
    n = len(readings)
    flags = np.full(n, int(Flag.NOT_EVALUATED), dtype=np.int64)
    tests = np.full(n, "", dtype=object)
    reasons = np.full(n, "", dtype=object)
    columns = _columns(readings)
    groups: Mapping[Any, Any] = readings.groupby(list(SERIES), sort=False, dropna=False).indices
    for key, rows in groups.items():
        station, parameter = str(key[0]), str(key[1])
        settings = settings_by_parameter.get((station, parameter), settings_by_parameter.get(parameter))
        if settings is None:
            reasons[rows] = f"no quality settings for {parameter}"
            continue
        unit = parameters[parameter].unit if parameters and parameter in parameters else ""
        flags[rows], tests[rows], reasons[rows] = _one_series(columns, rows, settings, unit)
    out = readings.loc[:, list(IDENTITY)].copy()
    return out.assign(flag=flags, test=tests, reason=reasons).astype({"test": "str", "reason": "str"})


def _columns(readings: pd.DataFrame) -> dict[str, Any]:
    names = ("value", "depth_m", "qualifier", "local_date")
    return {name: readings[name].to_numpy() for name in names if name in readings.columns} | {
        "time": pd.DatetimeIndex(pd.to_datetime(readings["time"], utc=True)).tz_localize(None).to_numpy()
    }


def _one_series(
    columns: Mapping[str, Any], rows: Any, settings: QualitySettings, unit: str
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    def part(name: str) -> Any:
        return columns[name][rows] if name in columns else None

    series = prepare(
        part("value"),
        part("time"),
        qualifiers=part("qualifier"),
        depths=part("depth_m"),
        local_dates=part("local_date"),
        gap_hours=None if settings.gap is None else settings.gap.hours,
    )
    found = run_tests(series, settings, series_kind(series, settings))
    flags = roll_up(found, series.n)
    flags[series.missing] = Flag.MISSING
    tests = deciding_test(found, flags)
    reasons = _reasons(series, settings, flags, tests, unit)
    back = np.empty_like(series.order)
    back[series.order] = np.arange(series.n)
    return flags[back].astype(np.int64), tests[back], reasons[back]


def _reasons(series: Prepared, settings: QualitySettings, flags: Any, tests: Any, unit: str) -> np.ndarray:
    reasons = np.full(series.n, "", dtype=object)
    reasons[flags == Flag.NOT_EVALUATED] = "no test could be run"
    reasons[flags == Flag.MISSING] = "no value"
    for i in np.flatnonzero(np.isin(flags, (Flag.SUSPECT, Flag.FAIL))):
        test = tests[i]
        reasons[i] = _REASON[test](series, int(i), getattr(settings, test), unit)
    return reasons
