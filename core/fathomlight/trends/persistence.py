"""Serial dependence: autocorrelation of what is left after the trend, and corrections of Var(S) for it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.trends._inputs import Floats, Ints, SeriesInput
from fathomlight.trends._scores import dense_ranks, interval_codes, row_sums
from fathomlight.trends.notes import number, spacing

Correction = Literal["hamed-rao", "yue-wang"]
Lags = Literal["significant", "all"] | int

SIGNIFICANCE = 0.05
"""Two-sided level at which a lag counts as significant: |r| > 1.96/sqrt(n)."""


FEW_LAGS = 5
"""Up to this many lags, each is summed on its own instead of all by Fourier transform."""


@dataclass(frozen=True)
class Corrected:
    """A variance corrected for serial dependence."""

    variance: float
    factor: float
    lags: tuple[int, ...]
    sentence: str


def autocorrelation(values: Floats, positions: Ints, lags: int) -> Floats:
    """Return r_1 ... r_lags of values at whole-number positions; missing positions add nothing.

    r_k = sum of (x_t - m)(x_(t+k) - m) over the pairs that exist, over sum of (x_t - m)^2.
    """
    spread = np.zeros(int(positions[-1]) + 1)
    spread[positions] = values - values.mean()
    total = float(np.dot(spread, spread))
    if total == 0.0:
        return np.zeros(lags)
    size = spread.size
    if lags <= FEW_LAGS:
        near = [float(np.dot(spread[:-k], spread[k:])) / total for k in range(1, min(lags, size - 1) + 1)]
        return np.array(near + [0.0] * (lags - len(near)))
    length = 1 << (2 * size - 1).bit_length()
    power = np.abs(np.fft.rfft(spread, length)) ** 2
    sums = np.fft.irfft(power, length)[1 : lags + 1]
    out = np.zeros(lags)
    out[: sums.size] = sums[: max(size - 1, 0)][:lags] / total
    return out


def detrended_ranks(series: SeriesInput, slope: float) -> Floats:
    """Return the ranks of x - b t; a qualified value has the middle of the ranks it may have."""
    residuals = series.values - slope * series.times
    if not series.qualified:
        rank = dense_ranks(residuals)
        counts = np.bincount(rank)
        middles = np.cumsum(counts) - (counts - 1) / 2.0
        ranks: Floats = middles[rank]
        return ranks
    low, high = interval_codes(residuals, series.codes)
    sums, _ = row_sums(low, high)
    return (sums + series.n + 1) / 2.0


def lag_limit(n: int) -> float:
    """Return the size above which an autocorrelation is significant at the 5 % level."""
    return 1.959963984540054 / math.sqrt(n)


def correct(series: SeriesInput, variance: float, slope: float, kind: Correction, lags: Lags) -> Corrected:
    """Return Var(S) corrected for serial dependence.

    Parameters
    ----------
    series : SeriesInput
        Evenly spaced, gaps allowed, one value per time.
    variance, slope : float
        Var(S) before correction; Theil-Sen slope for detrending.
    kind : {"hamed-rao", "yue-wang"}
    lags : "significant", "all" or int
        Lags that enter: only significant ones, all, or 1 to a number.

    Raises
    ------
    ArgumentError
        On uneven times, on ``yue-wang`` with qualifiers, on an unknown correction.

    References
    ----------
    Hamed, K.H. & A.R. Rao. 1998. A modified Mann-Kendall trend test for autocorrelated data. Journal of
    Hydrology 204:182-196: Var* = Var(S) {1 + 2/[n(n-1)(n-2)] sum_k (n-k)(n-k-1)(n-k-2) r_k}, r_k of ranks.
    Yue, S. & C.Y. Wang. 2004. The Mann-Kendall test modified by effective sample size. Water Resources
    Management 18:201-218: Var* = Var(S) [1 + 2 sum_k (1 - k/n) r_k], r_k of the detrended values.
    """
    n = series.n
    positions = spacing(series.times)
    if positions is None:
        raise ArgumentError(
            "times",
            "a correction for serial dependence needs evenly spaced times, one value each",
            fix="Reduce the readings to season cells, or use seasonal_kendall, which has its own correction.",
        )
    if kind == "hamed-rao":
        residuals = detrended_ranks(series, slope)
    elif kind == "yue-wang":
        if series.qualified:
            raise ArgumentError(
                "correction", "yue-wang needs exact values", got="qualifiers", fix="Use hamed-rao."
            )
        residuals = series.values - slope * series.times
    else:
        raise ArgumentError(
            "correction", "unknown correction", got=kind, expected="None, 'hamed-rao' or 'yue-wang'"
        )
    r = autocorrelation(residuals, positions, n - 1)
    chosen = _chosen_lags(r, n, lags)
    k = np.array(chosen, dtype=np.float64)
    r_chosen = r[np.array(chosen, dtype=np.int64) - 1] if chosen else np.empty(0)
    if kind == "hamed-rao":
        factor = 1 + 2 / (n * (n - 1.0) * (n - 2)) * float(
            np.sum((n - k) * (n - k - 1) * (n - k - 2) * r_chosen)
        )
    else:
        factor = 1 + 2 * float(np.sum((1 - k / n) * r_chosen))
    name = "Hamed & Rao 1998" if kind == "hamed-rao" else "Yue & Wang 2004"
    return Corrected(
        variance * factor,
        factor,
        chosen,
        f"variance corrected for serial dependence ({name}, {_say(lags, chosen)})",
    )


def _chosen_lags(r: Floats, n: int, lags: Lags) -> tuple[int, ...]:
    if lags == "significant":
        return tuple(int(k) + 1 for k in np.flatnonzero(np.abs(r) > lag_limit(n)))
    if lags == "all":
        return tuple(range(1, n))
    if isinstance(lags, bool) or not isinstance(lags, (int, np.integer)) or lags < 1:
        raise ArgumentError(
            "lags", "unknown choice", got=lags, expected="'significant', 'all' or a number from 1"
        )
    return tuple(range(1, min(int(lags), n - 1) + 1))


def _say(lags: Lags, chosen: tuple[int, ...]) -> str:
    if not chosen:
        return "no significant lag, so nothing changed"
    shown = ", ".join(str(k) for k in chosen[:6]) + (" ..." if len(chosen) > 6 else "")
    if lags == "significant":
        return f"significant lags only: {shown}"
    return f"lags {shown}"


def notes_on_persistence(series: SeriesInput, slope: float) -> list[str]:
    """Return a note when neighbouring values are alike beyond the trend, for evenly spaced series."""
    if not 10 <= series.n <= 100_000 or math.isnan(slope):
        return []
    positions = spacing(series.times)
    if positions is None:
        return []
    r1 = float(autocorrelation(detrended_ranks(series, slope), positions, 1)[0])
    if r1 <= lag_limit(series.n):
        return []
    return [
        f"Neighbouring values are alike beyond the trend (lag-1 autocorrelation {number(r1)}): without a "
        "correction p is "
        "too small; use correction='hamed-rao'."
    ]
