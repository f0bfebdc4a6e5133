"""What a careful reader must know: the notes that go with a trend."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from fathomlight.trends._inputs import Codes, Floats, SeriesInput
from fathomlight.trends._scores import (
    interval_codes,
    kendall_score,
    permutation_variance,
    row_sums,
    two_sided,
    z_score,
)
from fathomlight.trends.results import KendallResult

FEW = 10
"""Below this many values a trend test is weak (common practice, no source)."""


def number(value: float) -> str:
    """Return a number short enough to read."""
    return f"{value:.4g}"


def notes_on_size(n: int, n_missing: int = 0) -> list[str]:
    """Return notes on the number of values."""
    notes = []
    if n < 3:
        notes.append(f"Only {n} values: no test is possible; at least 4 are needed to find any trend.")
    elif n < FEW:
        notes.append(f"Only {n} values: only a very strong trend can be found.")
    if n_missing > n:
        notes.append(f"{n_missing} of {n + n_missing} values are missing.")
    return notes


def notes_on_qualifiers(series: SeriesInput) -> list[str]:
    """Return notes on what was done with qualified values and on limits that drift with time."""
    below, above = int(np.sum(series.codes < 0)), int(np.sum(series.codes > 0))
    if not below + above:
        return []
    parts = [f"{count} are {mark} their number" for count, mark in ((below, "<"), (above, ">")) if count]
    notes = [
        f"Of {series.n} values {' and '.join(parts)}; pairs whose order this leaves open score 0, nothing is "
        "substituted."
    ]
    if below + above > series.n / 2:
        notes.append(
            "More than half of the values are only bounds: the slope and its limits rest on the rest."
        )
    for code, mark in ((-1, "<"), (1, ">")):
        notes += _note_on_drift(series.times, series.values, series.codes, code, mark)
    return notes


def _note_on_drift(times: Floats, values: Floats, codes: Codes, code: int, mark: str) -> list[str]:
    chosen = codes == code
    limits, when = values[chosen], times[chosen]
    if limits.size < 3 or np.all(limits == limits[0]):
        return []
    low, high = interval_codes(limits, np.zeros(limits.size, dtype=np.int8))
    s = kendall_score(when, low, high)
    p = two_sided(z_score(s, permutation_variance(when, low, high)))
    _, decided = row_sums(low, high)
    strength = abs(s) / math.sqrt(max(decided / 2, 1) * limits.size * (limits.size - 1) / 2)
    if p >= 0.05 and not (limits.size < FEW and strength >= 0.5):
        return []
    half = max(limits.size // 2, 1)
    early, late = float(np.median(limits[:half])), float(np.median(limits[-half:]))
    worst, name = (limits.max(), "highest") if code < 0 else (limits.min(), "lowest")
    return [
        f"The {mark} limits drift with time (about {number(early)} early, {number(late)} late), while the "
        f"test takes them as unrelated to time: repeat it with all values re-censored at the {name} limit, "
        f"{number(float(worst))} (recensor)."
    ]


def notes_on_limits(result: KendallResult) -> list[str]:
    """Return notes on a slope or limits that the data do not fix."""
    if math.isnan(result.slope):
        return ["No slope: too few pairs of values at different times, or the qualifiers leave it open."]
    notes = []
    low, high = result.slope_low, result.slope_high
    if math.isinf(low) or math.isinf(high):
        side = (
            "on both sides"
            if math.isinf(low) and math.isinf(high)
            else ("below" if math.isinf(low) else "above")
        )
        notes.append(
            f"The data do not bound the slope {side} at {100 * result.level:g} %: an infinite limit says so."
        )
    if result.n_below + result.n_above and result.zero_high - result.zero_low > 1e-3 * abs(result.slope):
        notes.append(
            f"Any slope from {number(result.zero_low)} to {number(result.zero_high)} leaves Kendall's S of "
            "the residuals zero; the middle is given."
        )
    return notes


def spacing(times: Floats) -> Any:
    """Return whole-number positions of evenly spaced times (gaps allowed, one value per time), or None."""
    gaps = np.diff(times)
    if gaps.size == 0 or gaps.min() <= 0:
        return None
    steps = (times - times[0]) / gaps.min()
    positions = np.rint(steps).astype(np.int64)
    if (
        np.abs(steps - positions).max() > 0.05
        or np.any(np.diff(positions) < 1)
        or positions[-1] > 3 * times.size
    ):
        return None
    return positions
