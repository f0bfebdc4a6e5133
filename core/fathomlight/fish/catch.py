"""Catch per effort, with its zeros."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from fathomlight.errors import ArgumentError
from fathomlight.fish.gears import gear_key
from fathomlight.fish.species import species_key
from fathomlight.model import CATCH_COLUMNS, SURVEY_COLUMNS, Result


@dataclass(frozen=True, kw_only=True)
class CatchPerEffort(Result):
    """Catch per effort of surveys with one gear.

    Attributes
    ----------
    n, zeros, left_out : int
        Surveys used, those of them without the species, and those left out (count or effort unknown).
    total, effort : float
        Fish caught [1] and effort spent [effort unit] in all.
    mean, se, low, high : float
        Mean over surveys of catch/effort, its standard error and t limits (low not below 0) [fish per effort
        unit].
    boot_low, boot_high : float
        Limits of the mean by the BCa bootstrap; trust these before the t limits when catches are skewed.
    ratio, ratio_se, ratio_low, ratio_high : float
        Total catch / total effort, with the standard error of a ratio estimate.
    log_mean, log_low, log_high : float
        exp(mean of log(x + 1)) - 1 and its t limits: a typical survey, less than the mean.
    confidence : float
        Of the limits.
    method, notes
        See :class:`fathomlight.model.TrendResult`.
    """

    n: int
    zeros: int
    left_out: int
    total: float
    effort: float
    mean: float
    se: float
    low: float
    high: float
    boot_low: float
    boot_high: float
    ratio: float
    ratio_se: float
    ratio_low: float
    ratio_high: float
    log_mean: float
    log_low: float
    log_high: float
    confidence: float
    method: str
    notes: tuple[str, ...]


def _pairs(counts: ArrayLike, effort: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64], int]:
    count = np.asarray(counts, dtype=float).ravel()
    spent = np.asarray(effort, dtype=float)
    spent = np.full(count.shape, float(spent)) if spent.ndim == 0 else spent.ravel()
    if count.shape != spent.shape:
        raise ArgumentError(
            "effort", "one effort a survey is needed", got=spent.size, expected=str(count.size)
        )
    if np.any(count < 0):
        raise ArgumentError("counts", "a catch cannot be below zero", got=float(count[count < 0][0]))
    if np.any(spent <= 0):
        raise ArgumentError(
            "effort",
            "effort must be above zero",
            got=float(spent[spent <= 0][0]),
            fix="Unknown effort is NaN, not 0.",
        )
    ok = np.isfinite(count) & np.isfinite(spent)
    return count[ok], spent[ok], int(np.sum(~ok))


def _bootstrap(cpe: NDArray[np.float64], confidence: float, resamples: int, seed: int) -> tuple[float, float]:
    from scipy.stats import bootstrap

    if cpe.size < 3 or np.ptp(cpe) == 0 or resamples == 0:
        return math.nan, math.nan
    rng = np.random.default_rng(seed)
    found = bootstrap(
        (cpe,),
        np.mean,
        confidence_level=confidence,
        n_resamples=resamples,
        method="BCa",
        rng=rng,
        vectorized=True,
    )
    return float(found.confidence_interval.low), float(found.confidence_interval.high)


def _refuse_pooling(gears: Sequence[str] | None) -> None:
    kinds = sorted({gear_key(gear) for gear in gears}) if gears is not None else []
    if len(kinds) > 1:
        raise ArgumentError(
            "gears",
            "catches of different gears cannot be pooled",
            got=", ".join(kinds),
            expected="one gear",
            fix="Summarise each gear by itself.",
        )


def _mean(values: NDArray[np.float64]) -> tuple[float, float]:
    """Mean and its standard error, NaN where there are too few."""
    n = values.size
    mean = float(values.mean()) if n else math.nan
    return mean, float(values.std(ddof=1) / math.sqrt(n)) if n > 1 else math.nan


def _ratio(count: NDArray[np.float64], spent: NDArray[np.float64]) -> tuple[float, float]:
    """Total over total and its standard error (Cochran 1977, equation 6.13)."""
    n = count.size
    if n == 0:
        return math.nan, math.nan
    ratio = float(count.sum() / spent.sum())
    if n == 1:
        return ratio, math.nan
    residual = count - ratio * spent
    return ratio, math.sqrt(float(residual @ residual) / (n - 1) / n) / float(spent.mean())


def catch_per_effort(
    counts: ArrayLike,
    effort: ArrayLike,
    *,
    gears: Sequence[str] | None = None,
    confidence: float = 0.95,
    resamples: int = 2000,
    seed: int = 1,
) -> CatchPerEffort:
    """Summarise catch per effort of surveys with one gear and one unit of effort.

    Parameters
    ----------
    counts : array_like of float, shape (surveys,)
        Fish of one species in each survey [1]; zeros belong in; NaN is unknown.
    effort : array_like of float, shape (surveys,) or scalar
        Effort of each survey [effort unit], above zero; NaN is unknown.
    gears : sequence of str, optional
        Gear of each survey; more than one gear is refused.
    confidence : float
        Of the limits, 0 to 1.
    resamples, seed : int
        Of the bootstrap; 0 resamples leaves it out.

    Returns
    -------
    CatchPerEffort
        Mean of ratios, ratio of totals and a log mean, each with limits; NaN where there are too few surveys.

    Raises
    ------
    ArgumentError
        Catch below zero, effort at or below zero, lengths that differ, or several gears.

    Notes
    -----
    Ratio estimate: Cochran, W.G. 1977. Sampling Techniques, 3rd edition, chapter 6. BCa: Efron, B. 1987.
    Better bootstrap confidence intervals. Journal of the American Statistical Association 82:171-185.

    Examples
    --------
    >>> result = catch_per_effort([4, 0, 2], [2, 1, 1])
    >>> round(result.mean, 3), result.ratio, result.zeros
    (1.333, 1.5, 1)
    """
    from scipy.stats import t as student

    if not 0 < confidence < 1:
        raise ArgumentError("confidence", "must lie between 0 and 1", got=confidence)
    _refuse_pooling(gears)
    count, spent, left_out = _pairs(counts, effort)
    n = int(count.size)
    cpe = count / spent
    t = float(student.ppf(0.5 + confidence / 2, n - 1)) if n > 1 else math.nan
    mean, se = _mean(cpe)
    ratio, ratio_se = _ratio(count, spent)
    log_mean, log_se = _mean(np.log1p(cpe))
    boot_low, boot_high = _bootstrap(cpe, confidence, resamples, seed)
    zeros = int(np.sum(count == 0))
    return CatchPerEffort(
        n=n,
        zeros=zeros,
        left_out=left_out,
        total=float(count.sum()),
        effort=float(spent.sum()),
        mean=mean,
        se=se,
        low=_floor(mean - t * se),
        high=mean + t * se,
        boot_low=boot_low,
        boot_high=boot_high,
        ratio=ratio,
        ratio_se=ratio_se,
        ratio_low=_floor(ratio - t * ratio_se),
        ratio_high=ratio + t * ratio_se,
        log_mean=float(np.expm1(log_mean)),
        log_low=_floor(float(np.expm1(log_mean - t * log_se))),
        log_high=float(np.expm1(log_mean + t * log_se)),
        confidence=confidence,
        method=f"Mean catch per effort over {n} surveys, {zeros} without the species; t and BCa bootstrap "
        f"limits at {100 * confidence:g} %.",
        notes=_notes(n, zeros, left_out, count),
    )


def _floor(value: float) -> float:
    return max(0.0, value) if math.isfinite(value) else value


def _notes(n: int, zeros: int, left_out: int, count: NDArray[np.float64]) -> tuple[str, ...]:
    notes = []
    if left_out:
        notes.append(f"{left_out} surveys with unknown catch or effort were left out; unknown is not zero.")
    if 0 < n < 5:
        notes.append(f"Only {n} surveys: the limits are little more than a guess.")
    if n and zeros == n:
        notes.append("No survey caught the species: the limits say nothing of how many there may be.")
    elif zeros > n / 2:
        notes.append(
            "More than half of the surveys caught none: prefer the bootstrap limits or a count model."
        )
    elif n > 2 and float(count.std()) > 2 * float(count.mean()):
        notes.append("A few large catches make up most of the mean: prefer the bootstrap limits.")
    return tuple(notes)


def _need(frame: pd.DataFrame, columns: Sequence[str], argument: str) -> None:
    absent = [name for name in columns if name not in frame.columns]
    if absent:
        raise ArgumentError(
            argument,
            "columns are missing",
            got=", ".join(map(str, frame.columns)),
            expected=", ".join(columns),
        )


def zero_filled(
    surveys: pd.DataFrame,
    catches: pd.DataFrame,
    species: str | Sequence[str] | None = None,
    *,
    first_pass: bool = False,
) -> pd.DataFrame:
    """Give every survey a count of every species: a fished survey without a row caught none.

    Parameters
    ----------
    surveys : pandas.DataFrame
        ``SURVEY_COLUMNS``, one row a survey.
    catches : pandas.DataFrame
        ``CATCH_COLUMNS``; rows of surveys that are not in ``surveys`` are not looked at.
    species : str or sequence of str, optional
        Which species; by default every one in ``catches``.
    first_pass : bool
        Count only the first pass, so that surveys of one and of several passes compare.

    Returns
    -------
    pandas.DataFrame
        ``SURVEY_COLUMNS`` and ``species``, ``count`` (float), ``cpe`` [fish per effort unit]. Where effort is
        unknown an absent species has count NaN: it is not known whether it was looked for long enough to be
        called absent.

    Raises
    ------
    ArgumentError
        Missing columns, a survey named twice, or effort at or below zero.

    Examples
    --------
    >>> surveys = pd.DataFrame({"survey": ["a", "b"], "water": "Loon", "station": "", "gear": "seine",
    ...     "start": pd.to_datetime(["2024-07-01", "2024-07-02"]), "end": pd.NaT, "effort": [2.0, None],
    ...     "effort_unit": "haul", "note": ""})
    >>> catches = pd.DataFrame({"survey": [], "species": [], "count": [], "pass_number": [], "mesh_mm": []})
    >>> zero_filled(surveys, catches, "walleye")["count"].tolist()
    [0.0, nan]
    """
    _need(surveys, list(SURVEY_COLUMNS), "surveys")
    _need(catches, list(CATCH_COLUMNS), "catches")
    if surveys["survey"].duplicated().any():
        twice = surveys.loc[surveys["survey"].duplicated(), "survey"].iloc[0]
        raise ArgumentError("surveys", "a survey is named twice", got=twice)
    if (surveys["effort"] <= 0).any():
        raise ArgumentError(
            "surveys", "effort must be above zero; unknown is NaN", got=float(surveys["effort"].min())
        )
    caught = catches.loc[catches["pass_number"] == 1] if first_pass else catches
    keys = caught["species"].map(species_key) if len(caught) else caught["species"].astype(object)
    if species is None:
        wanted = sorted(set(catches["species"].map(species_key))) if len(catches) else []
    else:
        wanted = [species_key(name) for name in ([species] if isinstance(species, str) else species)]
    wanted = list(dict.fromkeys(wanted))
    sums = caught.assign(species=keys).groupby(["survey", "species"])["count"].sum()
    base = surveys[list(SURVEY_COLUMNS)].reset_index(drop=True)
    parts = []
    for name in wanted:
        index = pd.MultiIndex.from_arrays([base["survey"], [name] * len(base)])
        count = sums.reindex(index).to_numpy(dtype=float)
        known = np.isfinite(base["effort"].to_numpy(dtype=float))
        count = np.where(np.isnan(count) & known, 0.0, count)
        parts.append(base.assign(species=name, count=count, cpe=count / base["effort"].to_numpy(dtype=float)))
    if not parts:
        return base.iloc[:0].assign(species="", count=0.0, cpe=0.0)
    return pd.concat(parts, ignore_index=True)


def catch_table(
    surveys: pd.DataFrame,
    catches: pd.DataFrame,
    species: str | Sequence[str] | None = None,
    *,
    by: Sequence[str] = ("water", "year"),
    first_pass: bool = False,
    confidence: float = 0.95,
    resamples: int = 2000,
    seed: int = 1,
) -> pd.DataFrame:
    """Tabulate catch per effort by gear, unit of effort and whatever else is asked for.

    Parameters
    ----------
    surveys, catches, species, first_pass
        As in :func:`zero_filled`.
    by : sequence of str
        Any of ``water``, ``year``, ``station``, on top of species, gear and effort unit, which are never
        pooled.
    confidence, resamples, seed
        As in :func:`catch_per_effort`.

    Returns
    -------
    pandas.DataFrame
        One row a group: the grouping columns and the numbers of :class:`CatchPerEffort` (surveys with unknown
        effort in ``left_out``). Notes are joined in ``notes``.

    Raises
    ------
    ArgumentError
        As :func:`zero_filled`, or an unknown column in ``by``.
    """
    unknown = set(by) - {"water", "year", "station"}
    if unknown:
        raise ArgumentError(
            "by", "cannot group by this", got=sorted(unknown), expected="water, year, station"
        )
    filled = zero_filled(surveys, catches, species, first_pass=first_pass)
    filled["year"] = pd.to_datetime(filled["start"]).dt.year
    keys = ["species", "gear", "effort_unit", *by]
    rows: list[dict[str, Any]] = []
    for labels, group in filled.groupby(keys, sort=True, dropna=False):
        result = catch_per_effort(
            group["count"], group["effort"], confidence=confidence, resamples=resamples, seed=seed
        )
        numbers = {k: v for k, v in vars(result).items() if k not in ("method", "notes", "confidence")}
        rows.append({**dict(zip(keys, labels, strict=True)), **numbers, "notes": " ".join(result.notes)})
    fields = [k for k in CatchPerEffort.__dataclass_fields__ if k not in ("method", "notes", "confidence")]
    return pd.DataFrame(rows, columns=[*keys, *fields, "notes"])
