"""Lengths: how many fish of which length, and proportional size structure with its uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from fathomlight.errors import ArgumentError
from fathomlight.fish.species import CATEGORIES, Species, find_species
from fathomlight.model import Result

IntervalMethod = Literal["multinomial", "wilson", "clopper-pearson"]
_LETTERS = ("S", "Q", "P", "M", "T")
_FEW = 55
"""Below this many stock-length fish the notes warn (common practice, no single source)."""


@dataclass(frozen=True, kw_only=True)
class SizeIndex(Result):
    """One proportional size index.

    ``name`` e.g. ``PSD``, ``PSD-P``, ``PSD S-Q``; ``n`` fish in the class; ``value``, ``low``, ``high`` in
    percent of the stock-length fish [%].
    """

    name: str
    n: int
    value: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class SizeStructure(Result):
    """Proportional size structure of one sample.

    Attributes
    ----------
    species : str
        Common name.
    n_stock : int
        Fish of stock length or longer: the denominator.
    n_below_stock, n_missing : int
        Fish shorter than stock length (left out), and lengths that were missing.
    psd, psd_p, psd_m, psd_t : float
        Percent of stock-length fish that reach quality, preferred, memorable and trophy length [%]; NaN
        without fish.
    psd_low ... psd_t_high : float
        Limits [%].
    indices : tuple of SizeIndex
        The same four, then the shares between neighbouring limits (PSD S-Q, Q-P, P-M, M-T).
    interval : str
        ``multinomial``, ``wilson`` or ``clopper-pearson``.
    confidence : float
        Of the limits.
    method, notes
        See :class:`fathomlight.model.TrendResult`.
    """

    species: str
    n_stock: int
    n_below_stock: int
    n_missing: int
    psd: float
    psd_low: float
    psd_high: float
    psd_p: float
    psd_p_low: float
    psd_p_high: float
    psd_m: float
    psd_m_low: float
    psd_m_high: float
    psd_t: float
    psd_t_low: float
    psd_t_high: float
    indices: tuple[SizeIndex, ...]
    interval: IntervalMethod
    confidence: float
    method: str
    notes: tuple[str, ...]


def _lengths(lengths_mm: ArrayLike, argument: str = "lengths_mm") -> tuple[NDArray[np.float64], int]:
    values = np.asarray(lengths_mm, dtype=float).ravel()
    missing = int(np.isnan(values).sum())
    values = values[~np.isnan(values)]
    wrong = values[(values <= 0) | np.isinf(values)]
    if wrong.size:
        raise ArgumentError(
            argument, "a fish length must be greater than zero and finite", got=float(wrong[0])
        )
    return values, missing


def _binomial(n_in: int, n: int, confidence: float, interval: str) -> tuple[float, float]:
    from statsmodels.stats.proportion import proportion_confint

    name = "wilson" if interval == "wilson" else "beta"
    low, high = proportion_confint(n_in, n, alpha=1 - confidence, method=name)
    return 100 * float(low), 100 * float(high)


def _limits(
    counts: NDArray[np.int64], members: slice, confidence: float, interval: str
) -> tuple[float, float]:
    """Limits [%] of the share of one run of classes among all classes."""
    from scipy.stats import chi2

    n = int(counts.sum())
    n_in = int(counts[members].sum())
    if n == 0:
        return math.nan, math.nan
    if interval != "multinomial" or n_in in (0, n):
        return _binomial(n_in, n, confidence, "clopper-pearson" if interval == "multinomial" else interval)
    share = n_in / n
    filled = int(np.count_nonzero(counts))
    # c' V c with c the 0/1 membership vector and V the multinomial covariance reduces to share (1 - share)
    half = math.sqrt(float(chi2.ppf(confidence, filled - 1)) * share * (1 - share) / n)
    return 100 * max(0.0, share - half), 100 * min(1.0, share + half)


def _size_notes(counts: NDArray[np.int64], below: int, missing: int, interval: str) -> tuple[str, ...]:
    n = int(counts.sum())
    notes = []
    if n == 0:
        notes.append("No fish of stock length: the indices cannot be computed.")
    elif n < _FEW:
        notes.append(f"Only {n} fish of stock length: the interval matters more than the number.")
    if below:
        notes.append(f"{below} fish shorter than stock length were left out, as the index is defined.")
    if missing:
        notes.append(f"{missing} fish without a length were left out.")
    if interval == "multinomial" and n and np.count_nonzero(counts) < len(counts):
        notes.append(
            "Length classes without fish do not count towards the degrees of freedom; "
            "a share of 0 or 100 % has Clopper-Pearson limits instead."
        )
    notes.append("Each gear selects sizes: compare only samples of the same gear and season.")
    return tuple(notes)


def _indices(counts: NDArray[np.int64], confidence: float, interval: str) -> list[SizeIndex]:
    """PSD and PSD-X, then the shares between neighbouring limits."""
    n = int(counts.sum())
    indices = []
    spans = [("PSD", slice(1, None)), *((f"PSD-{_LETTERS[i]}", slice(i, None)) for i in (2, 3, 4))]
    spans += [(f"PSD {_LETTERS[i]}-{_LETTERS[i + 1]}", slice(i, i + 1)) for i in range(4)]
    for name, members in spans:
        low, high = _limits(counts, members, confidence, interval)
        n_in = int(counts[members].sum())
        indices.append(
            SizeIndex(name=name, n=n_in, value=100 * n_in / n if n else math.nan, low=low, high=high)
        )
    return indices


def size_structure(
    lengths_mm: ArrayLike,
    species: str | Species,
    *,
    interval: IntervalMethod = "multinomial",
    confidence: float = 0.95,
) -> SizeStructure:
    """Compute proportional size structure with intervals.

    PSD-X = 100 x (fish >= X length) / (fish >= stock length).

    Parameters
    ----------
    lengths_mm : array_like of float, shape (fish,)
        Total lengths [mm]; NaN is missing.
    species : str or Species
        Name in :data:`fathomlight.fish.SPECIES`, or a species of your own.
    interval : {"multinomial", "wilson", "clopper-pearson"}
        Simultaneous limits of Brenden, Wagner & Murphy (2008), p +/- sqrt(chi2(k - 1) p (1 - p) / n) with k
        the length classes that hold fish; or limits for each index by itself.
    confidence : float
        Of the limits, 0 to 1.

    Returns
    -------
    SizeStructure
        ``psd``, ``psd_p``, ``psd_m``, ``psd_t`` [%] with limits.

    Raises
    ------
    ArgumentError
        A length at or below zero, or an unknown ``interval``.
    NotFoundError
        An unknown species.

    Notes
    -----
    Gabelhouse, D.W. 1984. A length-categorization system to assess fish stocks. N. Am. J. Fish. Manage.
    4:273-285. Neumann, R.M., C.S. Guy & D.W. Willis. 2012. Chapter 14 in Fisheries Techniques, 3rd edition.
    Brenden, T.O., T. Wagner & B.R. Murphy. 2008. Novel tools for analyzing proportional size distribution
    index data. N. Am. J. Fish. Manage. 28:1233-1242.

    Examples
    --------
    >>> size_structure([200, 260, 300, 390, 520], "walleye").psd
    50.0
    """
    if interval not in ("multinomial", "wilson", "clopper-pearson"):
        raise ArgumentError(
            "interval", "unknown interval", got=interval, expected="multinomial, wilson, clopper-pearson"
        )
    if not 0 < confidence < 1:
        raise ArgumentError("confidence", "must lie between 0 and 1", got=confidence)
    kind = find_species(species)
    lengths, missing = _lengths(lengths_mm)
    edges = np.array([*kind.limits_mm, math.inf])
    counts = np.histogram(lengths[lengths >= edges[0]], bins=edges)[0].astype(np.int64)
    n = int(counts.sum())
    indices = _indices(counts, confidence, interval)
    psd, p, m, t = indices[:4]
    below = int(np.sum(lengths < edges[0]))
    limits = ", ".join(
        f"{name} {limit / 10:g}" for name, limit in zip(CATEGORIES, kind.limits_mm, strict=True)
    )
    return SizeStructure(
        species=kind.name,
        n_stock=n,
        n_below_stock=below,
        n_missing=missing,
        psd=psd.value,
        psd_low=psd.low,
        psd_high=psd.high,
        psd_p=p.value,
        psd_p_low=p.low,
        psd_p_high=p.high,
        psd_m=m.value,
        psd_m_low=m.low,
        psd_m_high=m.high,
        psd_t=t.value,
        psd_t_low=t.low,
        psd_t_high=t.high,
        indices=tuple(indices),
        interval=interval,
        confidence=confidence,
        method=f"Proportional size structure of {n} {kind.name} of stock length "
        f"(limits, cm total length: {limits}); "
        f"{interval} limits at {100 * confidence:g} %.",
        notes=_size_notes(counts, below, missing, interval),
    )


def length_frequency(
    lengths_mm: ArrayLike, *, width_mm: float = 10.0, start_mm: float | None = None
) -> pd.DataFrame:
    """Count fish by length class, empty classes between the ends included.

    Parameters
    ----------
    lengths_mm : array_like of float, shape (fish,)
        Total lengths [mm]; NaN is missing.
    width_mm : float
        Class width [mm].
    start_mm : float, optional
        Lower limit of the first class [mm]; by default a multiple of the width at or below the shortest fish.

    Returns
    -------
    pandas.DataFrame
        Columns ``low_mm``, ``high_mm`` (a fish belongs where low <= length < high), ``count``, ``percent``.

    Raises
    ------
    ArgumentError
        A length or width at or below zero, or ``start_mm`` above the shortest fish.

    Examples
    --------
    >>> length_frequency([101, 109, 125])["count"].tolist()
    [2, 0, 1]
    """
    if not width_mm > 0:
        raise ArgumentError("width_mm", "a class width must be greater than zero", got=width_mm)
    lengths, _ = _lengths(lengths_mm)
    if lengths.size == 0:
        return pd.DataFrame(
            {"low_mm": [], "high_mm": [], "count": np.array([], dtype=np.int64), "percent": []}
        )
    first = math.floor(lengths.min() / width_mm) * width_mm if start_mm is None else float(start_mm)
    if first > lengths.min():
        raise ArgumentError(
            "start_mm",
            "the first class starts above the shortest fish",
            got=start_mm,
            expected=f"<= {lengths.min():g}",
        )
    # a tiny lift keeps 120.0 / 10 from landing in the class below by rounding
    place = np.floor((lengths - first) / width_mm + 1e-9).astype(int)
    classes = int(place.max()) + 1
    if classes > 100_000:
        raise ArgumentError("width_mm", "this width would make more than 100,000 classes", got=width_mm)
    counts = np.bincount(place, minlength=classes)
    low = first + width_mm * np.arange(classes)
    return pd.DataFrame(
        {"low_mm": low, "high_mm": low + width_mm, "count": counts, "percent": 100 * counts / lengths.size}
    )
