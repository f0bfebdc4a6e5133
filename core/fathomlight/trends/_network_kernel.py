"""The compiled kernel of :func:`~fathomlight.trends.network_trends`: one station in one pass.

Imported only when a network is asked for. It is a generalized ufunc, so numpy, xarray and Dask hand it their
arrays alike, and it runs without Python's lock.
"""

from __future__ import annotations

import math
from typing import Any

import numba
import numpy as np
import numpy.typing as npt

from fathomlight.trends._blocks import YEARS_FOR_COVARIANCE
from fathomlight.trends._compile import inner
from fathomlight.trends._inputs import Codes, Floats

Sums = npt.NDArray[np.int16]
Grid = npt.NDArray[np.float64]

FIELDS = (
    "n",
    "n_years",
    "n_seasons",
    "s",
    "variance",
    "z",
    "p",
    "tau",
    "slope",
    "slope_low",
    "slope_high",
    "variance_independent",
    "z_independent",
    "p_independent",
    "variance_covariance",
    "z_covariance",
    "p_covariance",
    "covariance_used",
    "homogeneity_chi2",
    "homogeneity_df",
)
"""What the kernel returns per station, in this order."""


ZERO: Any = np.int64(0)
TRUE: Any = np.bool_(True)
"""Constants of a plain type: a literal would make a version of its own of the function it is handed to."""

SAMPLE = 128
"""Entries sorted to find a bracket around the ranks wanted."""

LOW, HIGH, HELD, WHEN, MARKS, ROWS, SEEN = range(7)
"""Working rows: ends of each value, values, years and marks without gaps, sums over seasons, years seen."""


def working_arrays(n_years: int, n_seasons: int) -> tuple[Floats, Grid, Sums, Floats]:
    """Return the last arguments of the kernel: memory it works in, so that it never asks for any.

    Each thread needs arrays of its own.

    Parameters
    ----------
    n_years, n_seasons : int

    Returns
    -------
    entries : ndarray
        Room for the breakpoints of all pairs, a sample of them, and the slope with its limits.
    rows : ndarray, shape (7, year)
    sums : ndarray of int16
        Room for the scores of all pairs of years, and of all years.
    template : ndarray, shape (len(FIELDS),)
        Gives the length of the result; its content is not used.
    """
    pairs = n_years * (n_years - 1) // 2
    return (
        np.empty(2 * pairs * n_seasons + SAMPLE + 6),
        np.empty((7, n_years)),
        np.empty(pairs + n_years, dtype=np.int16),
        np.empty(len(FIELDS)),
    )


@inner
def _ends(value: float, code: int) -> tuple[float, float]:
    """Return the interval of a value; an open end lies one floating-point step inside its bound."""
    step = 1.2e-16 * math.fabs(value) + 5e-324
    if code < 0:
        return -np.inf, value - step
    if code > 0:
        return value + step, np.inf
    return value, value


@inner
def _shrink(entries: Floats, size: int, lowest: int, highest: int, sample: Floats) -> tuple[int, int]:
    """Throw out entries that cannot hold the ranks lowest to highest; return (size left, entries below).

    Each round sorts a small regular sample, takes a bracket around the ranks from it, and keeps what is
    inside, in one pass without branches. A bracket that misses a rank is not used.
    """
    dropped = 0
    while size > 512:
        step = size / sample.size
        for k in range(sample.size):
            entry = entries[math.floor(k * step)]
            m = k
            while m > 0 and sample[m - 1] > entry:
                sample[m] = sample[m - 1]
                m -= 1
            sample[m] = entry
        first = math.floor(lowest / step - 0.15 * sample.size)
        last = math.floor(highest / step + 0.15 * sample.size) + 1
        lower = sample[first] if first >= 0 else -np.inf
        upper = sample[last] if last < sample.size else np.inf
        below, inside = 0, 0
        for k in range(size):
            below += entries[k] < lower
            inside += (entries[k] >= lower) & (entries[k] <= upper)
        if lowest < below or highest >= below + inside or inside > 0.8 * size:
            break
        kept = 0
        for k in range(size):
            entry = entries[k]
            entries[kept] = entry
            kept += (entry >= lower) & (entry <= upper)
        size, dropped = inside, dropped + below
        lowest, highest = lowest - below, highest - below
    return size, dropped


@inner
def _select(entries: Floats, left: int, right: int, rank: int) -> float:
    """Return the entry of a rank (from 0) of entries[left..right], partly sorting them (Hoare's find)."""
    while left < right:
        pivot = entries[(left + right) >> 1]
        i, j = left, right
        while i <= j:
            while entries[i] < pivot:
                i += 1
            while entries[j] > pivot:
                j -= 1
            if i <= j:
                entries[i], entries[j] = entries[j], entries[i]
                i += 1
                j -= 1
        if rank <= j:
            right = j
        elif rank >= i:
            left = i
        else:
            break
    return float(entries[rank])


@inner
def _limits(
    entries: Floats, size: int, doubled: bool, sample: Floats, centres: Floats, found: Floats
) -> None:
    """Average the breakpoint list over (at - 1, at + 1] for each centre, as :mod:`._slopes` does.

    ``centres`` holds the slope, the lower and the upper limit, in this order; NaN is left out.
    """
    halved = 1 if doubled else 0
    length = size << halved
    lowest, highest = size - 1, ZERO
    for k in range(centres.size):
        if not np.isnan(centres[k]):
            first, last = (math.floor(centres[k]) >> halved) - 2, (math.ceil(centres[k]) >> halved) + 2
            lowest = first if first < lowest else lowest
            highest = last if last > highest else highest
    lowest = lowest if lowest > 0 else ZERO
    highest = highest if highest < size else size - 1
    left, dropped = _shrink(entries, size, lowest, highest, sample)
    middle = (math.floor(centres[0]) >> halved) - dropped
    middle = middle if middle > 0 else ZERO
    middle = middle if middle < left else left - 1
    for k in range(centres.size):
        at = centres[k]
        found[k] = np.nan
        if np.isnan(at):
            continue
        total, weight, outside, side = 0.0, 0.0, 0.0, 0.0
        smallest, largest = np.inf, -np.inf
        for cell in range(math.floor(at - 1.0) + 1, math.ceil(at + 1.0) + 1):
            end = float(cell)
            upper = at + 1.0 if at + 1.0 < end else end
            lower = at - 1.0 if at > end else end - 1.0
            part = (upper - lower) / 2.0
            if part <= 1e-12:
                continue
            if cell < 1 or cell > length:
                outside += part
                side = -np.inf if cell < 1 else np.inf
                continue
            rank = ((cell + 1) >> 1 if doubled else cell) - 1 - dropped
            start, stop = ZERO, left - 1
            if k == 1 and rank < middle:
                stop = middle
            elif k == 2 and rank > middle:
                start = middle
            entry = _select(entries, start, stop, rank)
            smallest = entry if entry < smallest else smallest
            largest = entry if entry > largest else largest
            total += part * entry
            weight += part
        if outside > (1e-9 if doubled else 0.5):
            found[k] = side
        else:
            found[k] = smallest if smallest == largest else total / weight


@inner
def _slopes_of(values: Floats, codes: Floats, years: Floats, entries: Floats, size: int) -> tuple[int, int]:
    """Append the breakpoints of one season without gaps; return the new size and the rising ends."""
    rising = 0
    for i in range(values.size - 1):
        for j in range(i + 1, values.size):
            slope = (values[j] - values[i]) / (years[j] - years[i])
            if codes[j] >= 0 and codes[i] <= 0:
                entries[size] = slope
                size += 1
                rising += 1
            if codes[j] <= 0 and codes[i] >= 0:
                entries[size] = slope
                size += 1
    return size, rising


@inner
def _plain_slopes_of(values: Floats, years: Floats, entries: Floats, size: int) -> int:
    """Append the slopes of one season without gaps and qualifiers; return the new size."""
    n = values.size
    for i in range(n - 1):
        for j in range(i + 1, n):
            entries[size + j - i - 1] = (values[j] - values[i]) / (years[j] - years[i])
        size += n - 1 - i
    return size


@inner
def _signs_of(low: Floats, high: Floats, pair_sums: Sums, rows: Sums) -> tuple[int, int]:
    """Add the pair scores of one season to the sums, fill the row sums; return S and the pairs decided."""
    n = low.size
    score, decided, start = 0, 0, 0
    for i in range(n):
        rows[i] = 0
    for i in range(n - 1):
        own: Any = np.int16(0)
        count: Any = np.int16(0)
        for j in range(i + 1, n):
            sign = np.int16(low[j] > high[i]) - np.int16(high[j] < low[i])
            pair_sums[start + j - i - 1] += sign
            rows[j] += sign
            own += sign
            count += sign * sign
        rows[i] -= own
        score += own
        decided += count
        start += n - 1 - i
    return score, decided


@inner
def _standard(s: float, variance: float, continuity: bool) -> tuple[float, float]:
    """Return z and its two-sided probability."""
    if not variance > 0.0:
        return (0.0, 1.0) if variance == 0.0 else (np.nan, np.nan)
    size = math.fabs(s) - 1.0 if continuity else math.fabs(s)
    z = math.copysign(size if size > 0.0 else 0.0, s) / math.sqrt(variance)
    return z, math.erfc(math.fabs(z) / math.sqrt(2.0))


@inner
def _all_exact(codes: Codes) -> bool:
    """Tell whether no value is qualified."""
    qualified = False
    for i in range(codes.shape[0]):
        for g in range(codes.shape[1]):
            qualified |= codes[i, g] != 0
    return not qualified


@inner
def _season(values: Floats, codes: Codes, years: Floats, work: Grid) -> int:
    """Fill the working rows with one season, and leave out its gaps; return the number of values."""
    n = 0
    for i in range(values.size):
        value = values[i]
        work[LOW, i], work[HIGH, i] = _ends(value, codes[i])
        if not np.isnan(value):
            work[HELD, n], work[WHEN, n], work[MARKS, n] = value, years[i], codes[i]
            work[SEEN, i] = 1.0
            n += 1
    return n


@inner
def _variance_of(n: int, decided: int, rows: Sums, all_rows: Floats) -> tuple[float, float]:
    """Return the variance of S of a season of n values, and its share of the products between seasons."""
    squares = 0.0
    for i in range(rows.size):
        row = float(rows[i])
        squares += row * row
        all_rows[i] += row
    variance = float(decided) if n > 1 else 0.0
    if n > 2:
        spread = n * (n * n - 1.0) / 3.0 - n * (n - 1.0)
        variance += spread * (squares - 2.0 * decided) / (n * (n - 1.0) * (n - 2.0))
    return variance, decided + squares


@inner
def _products(pair_sums: Sums, all_rows: Floats) -> float:
    """Return the products of the scores of all seasons, summed over pairs and over rows."""
    together = 0.0
    for k in range(pair_sums.size):
        together += float(pair_sums[k]) * float(pair_sums[k])
    for i in range(all_rows.size):
        together += all_rows[i] * all_rows[i]
    return together


@inner
def _tests(
    out: Floats, score: float, independent: float, dependent: float, use: bool, one_season: bool
) -> None:
    """Write z and p with and without the covariance between seasons; NaN is a variance not to be had."""
    out[5], out[6] = _standard(score, dependent if use else independent, not use)
    out[12], out[13] = _standard(score, independent, TRUE)
    if not np.isnan(dependent):
        out[15], out[16] = _standard(score, dependent, one_season)


@inner
def _slope(
    out: Floats, entries: Floats, size: int, anchor: int, doubled: bool, reach: float, spare: Floats
) -> None:
    """Write the slope and its limits, ``reach`` entries away (NaN for no limits)."""
    sample, centres, found = spare[:SAMPLE], spare[SAMPLE : SAMPLE + 3], spare[SAMPLE + 3 :]
    centres[0], centres[1], centres[2] = float(anchor), anchor - reach, anchor + reach
    _limits(entries, size, doubled, sample, centres, found)
    out[8], out[9], out[10] = found[0], found[1], found[2]
    if math.isinf(found[0]) or not (doubled or 1 <= anchor < size):
        out[8] = np.nan


def station_trend(
    values: Floats,
    codes: Codes,
    years: Floats,
    critical: float,
    dependence: bool,
    entries: Floats,
    work: Grid,
    sums: Sums,
    template: Floats,
    out: Floats,
) -> None:
    """Fill ``out`` with the :data:`FIELDS` of one station.

    Parameters
    ----------
    values : ndarray, shape (year, season)
    codes : ndarray of int8, shape (year, season)
    years : ndarray, shape (year,)
        Rising, no two alike.
    critical : float
        Normal quantile of the limits.
    dependence : bool
        Use the covariance between seasons from ten years on.
    entries, work, sums, template : ndarray
        What :func:`working_arrays` returns; overwritten.
    out : ndarray, shape (len(FIELDS),)
    """
    n_years, n_seasons = values.shape
    n_pairs = n_years * (n_years - 1) // 2
    doubled = _all_exact(codes)
    pair_sums, rows = sums[:n_pairs], sums[n_pairs:]
    sums[:], work[:] = 0, 0.0
    size, anchor, pairs = ZERO, ZERO, ZERO
    count, used_seasons, testable, longest = 0, 0, 0, 0
    score, independent, own_products, z_sum, z_squares = 0.0, 0.0, 0.0, 0.0, 0.0
    for g in range(n_seasons):
        n = _season(values[:, g], codes[:, g], years, work)
        if n == 0:
            continue
        longest = n if n > longest else longest
        used_seasons, count = used_seasons + 1, count + n
        pairs += n * (n - 1) // 2
        s, decided = _signs_of(work[LOW], work[HIGH], pair_sums, rows)
        variance, own = _variance_of(n, decided, rows, work[ROWS])
        score, independent, own_products = score + s, independent + variance, own_products + own
        if n > 2 and variance > 0.0:
            z = s / math.sqrt(variance)
            z_sum, z_squares, testable = z_sum + z, z_squares + z * z, testable + 1
        if doubled:
            size = _plain_slopes_of(work[HELD, :n], work[WHEN, :n], entries, size)
        else:
            size, rising = _slopes_of(work[HELD, :n], work[MARKS, :n], work[WHEN, :n], entries, size)
            anchor += rising
    years_used = 0.0
    for i in range(n_years):
        years_used += work[SEEN, i]
    dependent = independent + (_products(pair_sums, work[ROWS]) - own_products) / 3.0
    if not (dependent > 0.0 and years_used > 2):
        dependent = np.nan
    use = dependence and dependent > 0.0 and years_used >= YEARS_FOR_COVARIANCE and used_seasons > 1
    variance = dependent if use else independent
    out[:] = np.nan
    out[0], out[1], out[2], out[3], out[4] = count, years_used, used_seasons, score, variance
    out[11], out[14], out[17] = independent, dependent, use
    if pairs > 0:
        out[7] = score / pairs
    if longest > 2:
        _tests(out, score, independent, dependent, use, used_seasons == 1)
    if testable > 0:
        spread = z_squares - z_sum * z_sum / testable
        out[18], out[19] = spread if spread > 0.0 else 0.0, testable - 1
    if size > 0:
        reach = critical * math.sqrt(variance) + 1.0 if longest > 2 else np.nan
        spare = entries[entries.size - SAMPLE - 6 :]
        _slope(out, entries, size, pairs if doubled else anchor, doubled, reach, spare)


def build() -> Any:
    """Return the generalized ufunc of :func:`station_trend`, working arrays and template last."""
    guvectorize: Any = numba.guvectorize
    signature = (
        "void(float64[:,:], int8[:,:], float64[:], float64, boolean, "
        "float64[::1], float64[:,::1], int16[::1], float64[:], float64[:])"
    )
    layout = "(y,s),(y,s),(y),(),(),(e),(w,y),(u),(k)->(k)"
    try:
        return guvectorize([signature], layout, nopython=True, cache=True)(station_trend)
    except RuntimeError:
        return guvectorize([signature], layout, nopython=True)(station_trend)
