"""How many fish were there, from catches that shrink pass by pass."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fathomlight.errors import ArgumentError
from fathomlight.model import Result

RemovalMethod = Literal["zippin", "carle-strub"]


@dataclass(frozen=True, kw_only=True)
class RemovalResult(Result):
    """Number of fish before the first pass.

    Attributes
    ----------
    n : int
        Estimate of the number of fish [1].
    se : float
        Its standard error from the expected information [1].
    low, high : float
        Limits by profile likelihood; ``high`` is infinite when the catches do not bound it from above.
    wald_low, wald_high : float
        Estimate -/+ normal quantile times ``se``, not below the catch.
    capture_probability, capture_probability_se : float
        Probability that a fish present is caught in one pass, and its standard error.
    n_conditional : float
        T / (1 - q^k), the solution of Zippin's equation (given the total catch); NaN when it has none.
    total : int
        Fish caught in all passes together.
    counts : tuple of int
        Catch of each pass.
    depletes : bool
        Whether the catches shrink enough for the method (Seber & Whale 1970).
    chi2, chi2_df, chi2_p : float
        Pearson test of equal capture probability in all passes; NaN with two passes.
    confidence : float
        Of the limits.
    method, notes
        See :class:`fathomlight.model.TrendResult`.
    """

    n: int
    se: float
    low: float
    high: float
    wald_low: float
    wald_high: float
    capture_probability: float
    capture_probability_se: float
    n_conditional: float
    total: int
    counts: tuple[int, ...]
    depletes: bool
    chi2: float
    chi2_df: int
    chi2_p: float
    confidence: float
    method: str
    notes: tuple[str, ...]


def _clean_counts(counts: ArrayLike) -> NDArray[np.int64]:
    values = np.asarray(counts, dtype=float).ravel()
    if values.size < 2:
        raise ArgumentError(
            "counts", "one catch a pass is needed for at least two passes", got=values.tolist()
        )
    if not np.all(np.isfinite(values)):
        raise ArgumentError(
            "counts",
            "a pass without a count breaks the sequence",
            got=values.tolist(),
            expected="a number a pass",
        )
    if np.any(values < 0) or np.any(values != np.round(values)):
        raise ArgumentError("counts", "catches must be whole numbers from 0", got=values.tolist())
    if values.sum() == 0:
        raise ArgumentError(
            "counts",
            "no fish were caught, so nothing is known of the capture probability",
            got=values.tolist(),
        )
    return values.astype(np.int64)


def _weighted(counts: NDArray[np.int64]) -> tuple[int, int, int]:
    """Return k, T and X = sum (k - i) c_i."""
    k = counts.size
    return k, int(counts.sum()), int(np.dot(np.arange(k - 1, -1, -1), counts))


def removal_log_likelihood(n: ArrayLike, counts: Sequence[int] | ArrayLike) -> NDArray[np.float64]:
    """Profile log-likelihood of the number of fish, capture probability at its best for each number.

    Multinomial of Moran (1951) and Zippin (1956): l(N) = log N! - log (N-T)! + T log p + (kN - X - T) log(1 -
    p) with p = T / (kN - X); the part without N is left out.

    Parameters
    ----------
    n : array_like of float
        Candidate numbers, at least the total catch [1].
    counts : sequence of int
        Catch of each pass.

    Returns
    -------
    ndarray
        Log-likelihood of each candidate, minus infinity below the total catch.
    """
    from scipy.special import gammaln, xlogy

    caught = np.asarray(counts, dtype=np.int64)
    k, total, x = _weighted(caught)
    number = np.atleast_1d(np.asarray(n, dtype=float))
    out = np.full(number.shape, -math.inf)
    ok = number >= total
    m = number[ok]
    p = total / (k * m - x)
    # log N!/(N-T)! as a sum of T logs would be exact but slow; gammaln loses digits only far above 1e10
    out[ok] = gammaln(m + 1) - gammaln(m - total + 1) + xlogy(total, p) + xlogy(k * m - x - total, 1 - p)
    return out


def _integer_maximum(counts: NDArray[np.int64]) -> int:
    """Smallest whole number that maximises the profile likelihood (it has one peak when catches deplete)."""
    total = int(counts.sum())

    def rises(number: int) -> bool:
        pair = removal_log_likelihood([number, number + 1], counts)
        return bool(pair[1] > pair[0] + 1e-12)

    if not rises(total):
        return total
    step = 1
    while rises(total + step):
        step *= 2
        if total + step > 10**9:
            raise _no_depletion(counts)
    low, high = total + step // 2, total + step
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if rises(middle) else (low, middle)
    return high


def _carle_strub(counts: NDArray[np.int64], alpha: float, beta: float) -> int:
    """Smallest N at or above T meeting equation 7 of Carle & Strub (1978), by doubling and halving."""
    k, total, x = _weighted(counts)
    i = np.arange(1, k + 1)

    def met(number: int) -> bool:
        m = float(number)
        terms = (k * m - x - total + beta + k - i) / (k * m - x + alpha + beta + k - i)
        return bool((m + 1) / (m - total + 1) * np.prod(terms) <= 1.0)

    if met(total):
        return total
    step = 1
    while not met(total + step):
        step *= 2
        if total + step > 10**9:  # pragma: no cover - the beta prior always pulls it back
            raise _no_depletion(counts)
    low, high = total + step // 2, total + step
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if met(middle) else (middle, high)
    return high


def _no_depletion(counts: NDArray[np.int64]) -> ArgumentError:
    return ArgumentError(
        "counts",
        "the catches do not deplete: later passes hold too many fish for any finite estimate",
        got=counts.tolist(),
        expected="catches that shrink, so that sum of (k - i) c_i exceeds (k - 1)/2 times the total",
        fix="Report the total catch as a minimum, fish more passes, or use mark and recapture.",
    )


def _profile_limits(counts: NDArray[np.int64], n: int, confidence: float) -> tuple[float, float]:
    """Whole numbers at which the profile likelihood has dropped by half a chi-square quantile."""
    from scipy.stats import chi2

    total = int(counts.sum())
    best = float(np.max(removal_log_likelihood([max(_integer_maximum(counts), total), n], counts)))
    floor = best - chi2.ppf(confidence, 1) / 2

    def inside(number: float) -> bool:
        return bool(removal_log_likelihood([number], counts)[0] >= floor)

    peak = _integer_maximum(counts)
    low = total
    if not inside(total):
        a, b = total, peak
        while b - a > 1:
            middle = (a + b) // 2
            a, b = (a, middle) if inside(middle) else (middle, b)
        low = b
    step = 1
    while inside(peak + step):
        step *= 2
        if step > 10**8 * max(1, total):
            return float(low), math.inf
    a, b = peak + step // 2, peak + step
    while b - a > 1:
        middle = (a + b) // 2
        a, b = (middle, b) if inside(middle) else (a, middle)
    return float(low), float(a)


def zippin_probability(counts: ArrayLike) -> float:
    """Solve Zippin's equation q/p - k q^k/(1 - q^k) = sum (i - 1) c_i / T for the capture probability p.

    Parameters
    ----------
    counts : array_like of int
        Catch of each pass, first to last.

    Returns
    -------
    float
        Capture probability in one pass, 0 to 1.

    Raises
    ------
    ArgumentError
        Not whole numbers from 0, no fish at all, or catches that do not deplete.

    Notes
    -----
    Zippin, C. 1956. An evaluation of the removal method of estimating animal populations. Biometrics
    12:163-189.

    Examples
    --------
    >>> round(zippin_probability([100, 50]), 6)
    0.5
    """
    from scipy.optimize import brentq

    caught = _clean_counts(counts)
    k, total, x = _weighted(caught)
    if 2 * x <= total * (k - 1):
        raise _no_depletion(caught)
    ratio = ((k - 1) * total - x) / total
    if ratio == 0:
        return 1.0

    def gap(p: float) -> float:
        q = 1.0 - p
        # expected pass (from 0) of a caught fish, summed directly: stable near p = 0
        weights = q ** np.arange(k)
        return float(np.dot(np.arange(k), weights) / weights.sum() - ratio)

    return float(brentq(gap, 1e-12, 1.0, xtol=1e-14))


def zippin_three_pass(first: int, second: int, third: int) -> tuple[float, float]:
    """Explicit solution of Zippin's equation for three passes.

    With X = 2 c1 + c2 and Y = c1 + c2 + c3:
    N = (6X^2 - 3XY - Y^2 + Y sqrt(Y^2 + 6XY - 3X^2)) / (18 (X - Y)),
    p = (3X - Y - sqrt(Y^2 + 6XY - 3X^2)) / (2X).

    Parameters
    ----------
    first, second, third : int
        Catch of each pass.

    Returns
    -------
    tuple of float
        Number of fish [1], and capture probability in one pass.

    Raises
    ------
    ArgumentError
        As :func:`removal_estimate`.

    Notes
    -----
    Junge, C.O. & J. Libosvarsky. 1965. Effects of size selectivity on population estimates based on
    successive removals with electrical fishing gear. Zoologicke Listy 14:171-178.

    Examples
    --------
    >>> zippin_three_pass(40, 20, 10)
    (80.0, 0.5)
    """
    caught = _clean_counts([first, second, third])
    _, y, x = _weighted(caught)
    if x <= y:
        raise _no_depletion(caught)
    root = math.sqrt(y * y + 6 * x * y - 3 * x * x)
    return (6 * x * x - 3 * x * y - y * y + y * root) / (18 * (x - y)), (3 * x - y - root) / (2 * x)


def _errors(n: int, p: float, k: int) -> tuple[float, float]:
    """Standard errors of N and p from the expected information (Zippin 1956; Seber 1982, equation 7.23)."""
    q = 1.0 - p
    if q <= 0:
        return 0.0, 0.0
    caught = 1 - q**k
    bottom = caught**2 - (p * k) ** 2 * q ** (k - 1)
    if bottom <= 0:
        return math.nan, math.nan
    return math.sqrt(n * caught * q**k / bottom), math.sqrt(
        (q * p) ** 2 * caught / (n * (q * caught**2 - (p * k) ** 2 * q**k))
    )


def _equal_capture(counts: NDArray[np.int64], n: int, p: float) -> tuple[float, int, float]:
    from scipy.stats import chi2

    k = counts.size
    if k < 3 or p >= 1:
        return math.nan, max(k - 2, 0), math.nan
    expected = n * p * (1 - p) ** np.arange(k)
    rest = n * (1 - p) ** k
    left = n - counts.sum()
    statistic = float(np.sum((counts - expected) ** 2 / expected) + (left - rest) ** 2 / rest)
    return statistic, k - 2, float(chi2.sf(statistic, k - 2))


def _notes(
    counts: NDArray[np.int64], p: float, high: float, chi2_p: float, depletes: bool
) -> tuple[str, ...]:
    notes = [
        "Assumes that no fish enter or leave, and the same capture probability for every fish in every pass; "
        "fish that grow harder to catch make the estimate too low."
    ]
    if not depletes:
        notes.append(
            "The catches do not deplete: this number rests on the prior of the method, not on the catches."
        )
    if counts.size == 2:
        notes.append("Two passes cannot test equal capture probability.")
    if p < 0.2:
        notes.append(
            f"Capture probability {p:.2f} is low: the estimate is unsure, whatever its standard error says."
        )
    if math.isinf(high):
        notes.append("The catches set no upper limit.")
    if chi2_p < 0.05:
        notes.append(f"Capture probability seems to differ between passes (chi-square p = {chi2_p:.3f}).")
    if counts.sum() < 30:
        notes.append(f"Only {int(counts.sum())} fish were caught.")
    return tuple(notes)


def removal_estimate(
    counts: ArrayLike,
    method: RemovalMethod = "zippin",
    *,
    confidence: float = 0.95,
    prior: tuple[float, float] = (1.0, 1.0),
    accept_no_depletion: bool = False,
) -> RemovalResult:
    """Estimate how many fish were present before the first of several equal passes.

    Parameters
    ----------
    counts : array_like of int, shape (passes,)
        Catch of each pass, first to last, fish not put back in between.
    method : {"zippin", "carle-strub"}
        Maximum likelihood, N a whole number (Moran 1951; Zippin 1956, 1958), or the weighted maximum
        likelihood of Carle & Strub (1978) with a beta prior on the capture probability.
    confidence : float
        Of the limits, 0 to 1.
    prior : tuple of float
        alpha and beta of the prior (only "carle-strub").
    accept_no_depletion : bool
        Let "carle-strub" answer although the catches do not deplete; the notes then say that the prior
        decides.

    Returns
    -------
    RemovalResult
        Estimate with profile-likelihood and Wald limits.

    Raises
    ------
    ArgumentError
        Fewer than two passes, not whole numbers from 0, no fish at all, or catches that do not deplete
        (2 X <= (k - 1) T, X = sum (k - i) c_i: Seber & Whale 1970).

    Notes
    -----
    Zippin, C. 1956. An evaluation of the removal method of estimating animal populations. Biometrics
    12:163-189. Carle, F.L. & M.R. Strub. 1978. A new method for estimating population size from removal data.
    Biometrics 34:621-630. Seber, G.A.F. & J.F. Whale. 1970. The removal method for two and three samples.
    Biometrics 26:393-400.

    Examples
    --------
    >>> removal_estimate([38, 26, 12], "carle-strub").n
    91
    """
    from scipy.stats import norm

    caught = _clean_counts(counts)
    if method not in ("zippin", "carle-strub"):
        raise ArgumentError(
            "method", "unknown removal method", got=method, expected='"zippin" or "carle-strub"'
        )
    if not 0 < confidence < 1:
        raise ArgumentError("confidence", "must lie between 0 and 1", got=confidence)
    if not (len(prior) == 2 and min(prior) > 0):
        raise ArgumentError("prior", "alpha and beta must be above zero", got=prior)
    k, total, x = _weighted(caught)
    depletes = 2 * x > total * (k - 1)
    if not depletes and not (method == "carle-strub" and accept_no_depletion):
        raise _no_depletion(caught)
    n = _integer_maximum(caught) if method == "zippin" else _carle_strub(caught, *prior)
    p = total / (k * n - x)
    se, p_se = _errors(n, p, k)
    low, high = _profile_limits(caught, n, confidence) if depletes else (float(total), math.inf)
    statistic, df, chi2_p = _equal_capture(caught, n, p)
    z = float(norm.ppf(0.5 + confidence / 2))
    fields: dict[str, Any] = {"wald_low": max(float(total), n - z * se), "wald_high": n + z * se}
    conditional = total / (1 - (1 - zippin_probability(caught)) ** k) if depletes else math.nan
    label = (
        "Maximum likelihood (Moran 1951; Zippin 1956)"
        if method == "zippin"
        else (f"Weighted maximum likelihood of Carle & Strub (1978), prior beta({prior[0]:g}, {prior[1]:g})")
    )
    return RemovalResult(
        n=n,
        se=se,
        low=low,
        high=high,
        **fields,
        capture_probability=p,
        capture_probability_se=p_se,
        n_conditional=conditional,
        total=total,
        counts=tuple(int(c) for c in caught),
        depletes=depletes,
        chi2=statistic,
        chi2_df=df,
        chi2_p=chi2_p,
        confidence=confidence,
        method=f"{label}, {k} passes, {total} fish; limits by profile likelihood.",
        notes=_notes(caught, p, high, chi2_p, depletes),
    )
