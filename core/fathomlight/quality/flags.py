"""All tests on one series: per-test flags, the roll-up, and what was done in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.model import EQUAL, Flag, Result, plain
from fathomlight.quality import (
    attenuated,
    climatology,
    flat_line,
    gap,
    gross_range,
    rate_of_change,
    spike,
)
from fathomlight.quality import neighbour as neighbour_test
from fathomlight.quality._labelled import is_array, is_dataset
from fathomlight.quality.precedence import SERIAL_TESTS, TESTS, roll_up
from fathomlight.quality.series import Flags, Prepared, prepare
from fathomlight.quality.settings import QualitySettings

_RUN: dict[str, Any] = {
    module.NAME: module.run
    for module in (gap, gross_range, climatology, spike, rate_of_change, flat_line, attenuated)
}


@dataclass(frozen=True, kw_only=True)
class QualityResult(Result):
    """Flags of one series.

    Attributes
    ----------
    flags : ndarray, Series or DataArray of int8, shape (n,)
        The roll-up, in the order and of the kind that the values came.
    by_test : DataFrame or Dataset
        One column or variable per test that was set, in the order of :data:`~fathomlight.quality.TESTS`.
    counts : dict of str to int
        Readings per flag: ``pass``, ``not_evaluated``, ``suspect``, ``fail``, ``missing``.
    gaps : DataFrame
        Pauses longer than planned: ``start``, ``end``, ``hours``.
    method : str
        One sentence fit for a report.
    notes : tuple of str
        What was not tested, and why.
    """

    flags: Any
    by_test: Any
    counts: dict[str, int]
    gaps: pd.DataFrame
    method: str
    notes: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the answer as plain data; tests as lists of flags."""
        tests = self.by_test.data_vars if is_dataset(self.by_test) else self.by_test
        return {
            "flags": plain(np.asarray(self.flags)),
            "by_test": {str(name): plain(np.asarray(tests[name])) for name in tests},
            "counts": plain(self.counts),
            "gaps": plain(self.gaps),
            "method": self.method,
            "notes": list(self.notes),
        }


def qartod_flags(
    values: Any,
    times: Any = None,
    *,
    settings: QualitySettings | Mapping[str, Any],
    qualifiers: Any = None,
    depths: Any = None,
    local_dates: Any = None,
    neighbour: Any = None,
    as_of: Any = None,
) -> QualityResult:
    """Run the QARTOD tests that ``settings`` asks for on one series.

    Parameters
    ----------
    values : array-like, shape (n,)
        In the canonical unit; NaN = missing. numpy, pandas (times from a DatetimeIndex) or xarray (times from
        a ``time`` coordinate).
    times : array-like of datetime, shape (n,), optional
        In any order; UTC when without zone. Without times only gross range, spike and flat line can run.
    settings : QualitySettings or mapping
        What to test; see :class:`~fathomlight.quality.QualitySettings`.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional
        A reading with ``<`` or ``>`` is flagged only when every value it allows lies outside a range, and
        takes no part in spike, rate of change, flat line and attenuated signal.
    depths : array-like, shape (n,) or scalar, optional
        Depth of the readings [m], for climatology windows with a depth band.
    local_dates : array-like of datetime, shape (n,), optional
        Dates at the station, which decide the month; ``times`` when None.
    neighbour : Series or tuple (values, times), optional
        The same parameter at an instrument nearby, for the neighbour test.
    as_of : datetime, optional
        The instant up to which gaps are counted; no clock is read.

    Returns
    -------
    QualityResult
        ``flags``, ``by_test``, ``counts``, ``gaps``, ``method``, ``notes``.

    Raises
    ------
    fathomlight.errors.ArgumentError
        Wrong shapes, unknown qualifiers, times that are not times.
    fathomlight.errors.ConfigError
        When ``settings`` is a mapping with a wrong key.

    Notes
    -----
    Flags of IOC Manuals & Guides 54, volume 3 (2013). Rules: US Integrated Ocean Observing System (2020),
    Manual for Real-Time Quality Control of In-situ Temperature and Salinity Data, version 2.1.

    Examples
    --------
    >>> table = {"gross_range": {"fail": [-5, 40], "suspect": [0, 30]}}
    >>> qartod_flags([-0.5, 45.0, float("nan"), 12.0], settings=table).flags.tolist()
    [3, 4, 9, 1]
    """
    table = settings if isinstance(settings, QualitySettings) else QualitySettings.from_table(settings)
    gap_hours = None if table.gap is None else table.gap.hours
    series = prepare(
        values, times, qualifiers=qualifiers, depths=depths, local_dates=local_dates, gap_hours=gap_hours
    )
    kind = series_kind(series, table)
    other = _prepare_neighbour(neighbour, gap_hours)
    found = run_tests(series, table, kind, other)
    rolled = roll_up(found, series.n)
    back = np.empty_like(series.order)
    back[series.order] = np.arange(series.n)
    return QualityResult(
        flags=_dress(rolled[back], values),
        by_test=_dress_table({name: flags[back] for name, flags in found.items()}, values),
        counts=count_flags(rolled),
        gaps=gap.gaps(series, table.gap, as_of),
        method=_method(found, table, kind),
        notes=_notes(series, table, kind, other),
    )


def series_kind(series: Prepared, settings: QualitySettings) -> str:
    """Return ``logger`` or ``visits``: as set, or told from the median pause."""
    if settings.series != "auto":
        return settings.series
    if series.hours is None:
        return "logger"
    steps = np.diff(series.hours[~np.isnan(series.hours) & ~series.missing])
    return "logger" if len(steps) and float(np.median(steps)) <= settings.logger_step_hours else "visits"


def run_tests(
    series: Prepared, settings: QualitySettings, kind: str, other: Prepared | None = None
) -> dict[str, Flags]:
    """Return flags in order of time of every test that is set, by name.

    Tests for regular series are left at 2 on visits.
    """
    found: dict[str, Flags] = {}
    for name in TESTS:
        wanted = getattr(settings, name)
        if wanted is None:
            continue
        if name in SERIAL_TESTS and kind == "visits":
            found[name] = series.blank()
        elif name == "neighbour":
            rate = settings.rate_of_change
            found[name] = series.blank() if rate is None else neighbour_test.run(series, other, rate, wanted)
        else:
            found[name] = _RUN[name](series, wanted)
    return found


def count_flags(flags: Flags) -> dict[str, int]:
    """Return how many readings carry each flag, by the flag's name in lower case."""
    return {flag.name.lower(): int((flags == flag).sum()) for flag in Flag}


def _prepare_neighbour(other: Any, gap_hours: float | None) -> Prepared | None:
    if other is None:
        return None
    if isinstance(other, tuple):
        if len(other) != 2:
            raise ArgumentError(
                "neighbour", "must be values and times", got=f"{len(other)} things", expected="two"
            )
        return prepare(other[0], other[1], gap_hours=gap_hours)
    prepared = prepare(other, gap_hours=gap_hours)
    if prepared.times is None:
        raise ArgumentError(
            "neighbour", "needs times", fix="Give (values, times) or a series with a time index."
        )
    return prepared


_ATTRS = {
    "flag_values": np.array([1, 2, 3, 4, 9], dtype=np.int8),
    "flag_meanings": "pass not_evaluated suspect fail missing",
}


def _dress(flags: Flags, like: Any) -> Any:
    if isinstance(like, pd.Series):
        return pd.Series(flags, index=like.index, name="flag")
    if is_array(like):
        import xarray as xr

        return xr.DataArray(flags, dims=like.dims, coords=like.coords, name="flag", attrs=dict(_ATTRS))
    return flags


def _dress_table(found: Mapping[str, Flags], like: Any) -> Any:
    if is_array(like):
        import xarray as xr

        coords = {str(name): coord for name, coord in like.coords.items()}
        return xr.Dataset(
            {name: (like.dims, flags, dict(_ATTRS)) for name, flags in found.items()}, coords=coords
        )
    index = like.index if isinstance(like, pd.Series) else None
    return pd.DataFrame(dict(found), index=index)


def _method(found: Mapping[str, Flags], settings: QualitySettings, kind: str) -> str:
    ran = [name for name in found if not (name in SERIAL_TESTS and kind == "visits")]
    if not ran:
        return "No quality test was set for this series."
    words = [name.replace("_", " ") for name in ran]
    if "spike" in ran and settings.spike is not None:
        words[ran.index("spike")] += f" ({settings.spike.rule})"
    return (
        f"QARTOD tests: {', '.join(words)}; the worst flag counts (fail before suspect before pass), "
        f"series treated as {kind}."
    )


def _notes(series: Prepared, settings: QualitySettings, kind: str, other: Prepared | None) -> tuple[str, ...]:
    notes = []
    serial = [name.replace("_", " ") for name in SERIAL_TESTS if getattr(settings, name) is not None]
    if kind == "visits" and serial:
        notes.append(
            f"Not run, because they need a regular series and this one is of visits: {', '.join(serial)}."
        )
    if series.times is None:
        timed = [
            name for name in ("gap", "climatology", "rate_of_change", "attenuated") if getattr(settings, name)
        ]
        if timed:
            notes.append(f"Not run, because no times were given: {', '.join(timed).replace('_', ' ')}.")
    elif np.isnat(series.times).any():
        notes.append(
            f"{int(np.isnat(series.times).sum())} readings have no time; only their range was tested."
        )
    limits = int((~series.missing & (series.qualifiers != EQUAL)).sum())
    if limits:
        notes.append(
            f"{limits} readings are limits (< or >): flagged only where every value they allow is outside."
        )
    if settings.neighbour is not None and other is None and kind == "logger":
        notes.append("The neighbour test was set, but no neighbour was given.")
    if series.infinite:
        notes.append(f"{series.infinite} infinite values were treated as missing.")
    return tuple(notes)


__all__ = ["QualityResult", "count_flags", "qartod_flags", "run_tests", "series_kind"]
