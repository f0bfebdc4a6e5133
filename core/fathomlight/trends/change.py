"""Pettitt's change point."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from fathomlight.model import Result
from fathomlight.trends._inputs import Ints, SeriesInput, series_input
from fathomlight.trends._scores import interval_codes, row_sums
from fathomlight.trends.intercept import median, qualified_median
from fathomlight.trends.notes import FEW, notes_on_size, number


@dataclass(frozen=True, kw_only=True)
class ChangePointResult(Result):
    """Answer of :func:`change_point`.

    Attributes
    ----------
    n : int
        Values used.
    index : int
        Last value of the first segment, counted from 1 in the array handed over (missing values count too);
        0 when nothing could be split.
    time : float
        Time of that value.
    statistic : float
        K = max |U_t|.
    p : float
        Approximate two-sided probability under no change.
    median_before, median_after : float
        Medians of the two segments, [unit].
    direction : str
        increasing, decreasing or none.
    method : str
    notes : tuple of str
    """

    n: int
    index: int
    time: float
    statistic: float
    p: float
    median_before: float = math.nan
    median_after: float = math.nan
    direction: str = "none"
    method: str = ""
    notes: tuple[str, ...] = ()


def change_point(values: Any, times: Any = None, *, qualifiers: Any = None) -> ChangePointResult:
    """Find the most likely single change of level in a series.

    U_t = sum over i <= t of (number of values certainly below x_i - number certainly above it), which without
    qualifiers is 2 sum r_i - t(n + 1); K = max |U_t|; p = 2 exp[-6 K^2 / (n^3 + n^2)].

    Parameters
    ----------
    values : array-like, shape (n,)
        NaN = missing.
    times : array-like, shape (n,), optional
        Numbers or dates; None means the order given.
    qualifiers : array-like of {"=", "<", ">"}, shape (n,), optional

    Returns
    -------
    ChangePointResult
        ``index`` is the last value of the first segment, counted from 1.

    Raises
    ------
    ArgumentError
        On wrong shapes, infinite values or unknown qualifiers.

    References
    ----------
    Pettitt, A.N. 1979. A non-parametric approach to the change-point problem. Applied Statistics 28:126-135.

    Examples
    --------
    >>> answer = change_point([1, 2, 1, 2, 1, 8, 9, 8, 9, 8])
    >>> answer.index, answer.statistic
    (5, 25.0)
    """
    series = series_input(values, times, qualifiers)
    at, k, p, falls = _split(row_sums(*interval_codes(series.values, series.codes))[0])
    notes = notes_on_size(series.n, series.n_missing)
    notes.append("The test looks for one change of level; a steady trend also gives a small p.")
    if series.qualified:
        notes.append(
            "Pairs whose order the qualifiers leave open score 0; the formula for p is then approximate."
        )
    before, after = math.nan, math.nan
    if at:
        before = qualified_median(series.values[:at], series.codes[:at])
        after = qualified_median(series.values[at:], series.codes[at:])
    rises = "none" if at == 0 else ("decreasing" if falls else "increasing")
    return ChangePointResult(
        n=series.n,
        index=int(series.kept[at - 1]) + 1 if at else 0,
        time=float(series.times[at - 1]) if at else math.nan,
        statistic=float(k),
        p=p,
        median_before=before,
        median_after=after,
        direction=rises,
        notes=tuple(notes),
        method=f"Pettitt's test for one change of level (1979), approximate p; n = {series.n}.",
    )


def _split(sums: Ints) -> tuple[int, int, float, bool]:
    """Return the last of the first segment (from 1, 0 for none), K, p, and whether the level falls.

    ``sums`` holds, per value, the number certainly below it less the number certainly above.
    """
    n = sums.size
    if n < 2:
        return 0, 0, math.nan, False
    u = np.cumsum(sums)[:-1]
    at = int(np.abs(u).argmax())
    k = int(abs(u[at]))
    if k == 0:
        return 0, 0, 1.0, False
    p = min(1.0, 2.0 * math.exp(-6.0 * k * k / (float(n) ** 3 + float(n) ** 2)))
    return at + 1, k, p, bool(u[at] > 0)


def notes_on_step(series: SeriesInput, slope: float, sums: Ints) -> list[str]:
    """Return a note when one step describes the series better than a steady line.

    ``sums`` holds, per value, the number certainly below it less the number certainly above.
    """
    if not FEW <= series.n <= 100_000 or series.qualified or math.isnan(slope):
        return []
    at, _, p, _ = _split(sums)
    if p >= 0.01 or at < 3 or series.n - at < 3:
        return []
    x = series.values
    line = x - slope * series.times
    before, after = median(x[:at]), median(x[at:])
    from_line = float(np.abs(line - median(line)).sum())
    from_step = float(np.abs(x[:at] - before).sum() + np.abs(x[at:] - after).sum())
    if from_step >= 0.97 * from_line:
        return []
    return [
        f"One step after time {number(float(series.times[at - 1]))} fits better than a steady line "
        f"(from a median of {number(before)} to {number(after)}; "
        f"Pettitt p {number(p)}): a slope describes it badly."
    ]
