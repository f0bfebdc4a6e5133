"""Growth: the von Bertalanffy curve through lengths at age read from scales or otoliths."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from fathomlight.errors import ArgumentError
from fathomlight.model import Result


@dataclass(frozen=True, kw_only=True)
class Growth(Result):
    """A von Bertalanffy curve L(t) = Linf (1 - exp(-K (t - t0))).

    Attributes
    ----------
    n, ages : int
        Fish used, and different ages among them.
    l_inf, l_inf_low, l_inf_high : float
        Mean length of very old fish, with limits [mm].
    k, k_low, k_high : float
        How fast that length is approached, with limits [1/year].
    t0, t0_low, t0_high : float
        Age at which the curve crosses length zero, with limits [year].
    residual_sd : float
        Residual standard deviation of length [mm].
    l_inf_k_correlation : float
        Correlation of the two estimates, usually close to -1.
    supported : bool
        False when the data do not bend enough to fix Linf; the numbers then should not be used.
    curve : pandas.DataFrame
        Columns ``age_years``, ``length_mm``, ``low_mm``, ``high_mm`` over the observed ages (band of the
        mean).
    at_age : pandas.DataFrame
        Columns ``age_years``, ``n``, ``mean_mm``, ``sd_mm`` for each whole age.
    confidence : float
        Of the limits.
    method, notes
        See :class:`fathomlight.model.TrendResult`.
    """

    n: int
    ages: int
    l_inf: float
    l_inf_low: float
    l_inf_high: float
    k: float
    k_low: float
    k_high: float
    t0: float
    t0_low: float
    t0_high: float
    residual_sd: float
    l_inf_k_correlation: float
    supported: bool
    curve: pd.DataFrame
    at_age: pd.DataFrame
    confidence: float
    method: str
    notes: tuple[str, ...]


def _curve(age: NDArray[np.float64], l_inf: float, k: float, t0: float) -> NDArray[np.float64]:
    return l_inf * -np.expm1(-k * (age - t0))


def _slopes(age: NDArray[np.float64], l_inf: float, k: float, t0: float) -> NDArray[np.float64]:
    rest = np.exp(-k * (age - t0))
    return np.column_stack([1 - rest, l_inf * (age - t0) * rest, -l_inf * k * rest])


def _clean(
    age_years: ArrayLike, length_mm: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64], int]:
    age, length = np.asarray(age_years, dtype=float).ravel(), np.asarray(length_mm, dtype=float).ravel()
    if age.shape != length.shape:
        raise ArgumentError(
            "length_mm", "one length an age is needed", got=length.size, expected=f"{age.size}"
        )
    if np.any(age < 0):
        raise ArgumentError("age_years", "an age cannot be below zero", got=float(age[age < 0][0]))
    if np.any(length <= 0):
        raise ArgumentError(
            "length_mm", "a fish length must be greater than zero", got=float(length[length <= 0][0])
        )
    ok = np.isfinite(age) & np.isfinite(length)
    return age[ok], length[ok], int(np.sum(~ok))


def _profile_start(age: NDArray[np.float64], length: NDArray[np.float64]) -> tuple[float, float, float]:
    """Best point on a grid of K; given K the curve is a straight line in exp(-K t)."""
    best = (math.inf, (float(length.max()), 0.3, -0.5))
    for k in np.geomspace(0.005, 3.0, 80):
        x = np.exp(-k * age)
        design = np.column_stack([np.ones_like(x), x])
        (a, b), *_ = np.linalg.lstsq(design, length, rcond=None)
        loss = float(np.sum((length - a - b * x) ** 2))
        if a > 0 and b < 0 and loss < best[0]:
            best = (loss, (float(a), float(k), float(math.log(-b / a) / k)))
    return best[1]


def _least_squares(age: NDArray[np.float64], length: NDArray[np.float64]) -> NDArray[np.float64]:
    from scipy.optimize import least_squares

    start = _profile_start(age, length)
    scale = np.array([max(start[0], 1.0), max(start[1], 0.01), 1.0])
    fit = least_squares(
        lambda u: _curve(age, *(u * scale)) - length,
        np.array(start) / scale,
        jac=lambda u: _slopes(age, *(u * scale)) * scale,
        method="lm",
        max_nfev=2000,
        xtol=1e-13,
        ftol=1e-13,
    )
    return np.asarray(fit.x * scale, dtype=np.float64)


def von_bertalanffy(age_years: ArrayLike, length_mm: ArrayLike, *, confidence: float = 0.95) -> Growth:
    """Fit the von Bertalanffy growth curve by least squares.

    Parameters
    ----------
    age_years : array_like of float, shape (fish,)
        Ages [year]; NaN is missing.
    length_mm : array_like of float, shape (fish,)
        Total lengths at capture [mm]; NaN is missing.
    confidence : float
        Of the limits.

    Returns
    -------
    Growth
        Parameters, the curve with its band, and means at age.

    Raises
    ------
    ArgumentError
        Negative ages, lengths at or below zero, fewer than 10 aged fish or fewer than 4 ages.

    Notes
    -----
    von Bertalanffy, L. 1938. A quantitative theory of organic growth. Human Biology 10:181-213.
    Beverton, R.J.H. & S.J. Holt. 1957. On the Dynamics of Exploited Fish Populations. Limits from the
    linearised least-squares covariance and Student's t.

    Examples
    --------
    >>> import numpy as np
    >>> age = np.tile(np.arange(1.0, 11.0), 2)
    >>> length = 700 * (1 - np.exp(-0.3 * (age + 0.5))) + np.repeat([-3.0, 3.0], 10)
    >>> fit = von_bertalanffy(age, length)
    >>> round(fit.l_inf), round(fit.k, 3), round(fit.t0, 3)
    (700, 0.3, -0.5)
    """
    from scipy.stats import t as student

    if not 0 < confidence < 1:
        raise ArgumentError("confidence", "must lie between 0 and 1", got=confidence)
    age, length, missing = _clean(age_years, length_mm)
    ages = int(np.unique(np.floor(age)).size)
    if age.size < 10 or ages < 4:
        raise ArgumentError(
            "age_years",
            "too few aged fish for a curve",
            got=f"{age.size} fish of {ages} ages",
            expected="at least 10 fish of at least 4 ages",
            fix="Show mean length at age instead.",
        )
    theta = _least_squares(age, length)
    df = age.size - 3
    sd = math.sqrt(float(np.sum((_curve(age, *theta) - length) ** 2)) / df)
    jacobian = _slopes(age, *theta)
    covariance = np.asarray(sd**2 * np.linalg.pinv(jacobian.T @ jacobian), dtype=np.float64)
    se = np.asarray(np.sqrt(np.diag(covariance)), dtype=np.float64)
    quantile = float(student.ppf(0.5 + confidence / 2, df))
    low, high = theta - quantile * se, theta + quantile * se
    supported, notes = _judge(theta, low, length, missing)
    grid = np.linspace(age.min(), age.max(), 60)
    at_grid = _slopes(grid, *theta)
    half = quantile * np.sqrt(np.maximum(0, np.einsum("ij,jk,ik->i", at_grid, covariance, at_grid)))
    mean = _curve(grid, *theta)
    return Growth(
        n=int(age.size),
        ages=ages,
        l_inf=float(theta[0]),
        l_inf_low=float(low[0]),
        l_inf_high=float(high[0]),
        k=float(theta[1]),
        k_low=float(low[1]),
        k_high=float(high[1]),
        t0=float(theta[2]),
        t0_low=float(low[2]),
        t0_high=float(high[2]),
        residual_sd=sd,
        l_inf_k_correlation=_correlation(covariance, se),
        supported=supported,
        curve=pd.DataFrame(
            {"age_years": grid, "length_mm": mean, "low_mm": mean - half, "high_mm": mean + half}
        ),
        at_age=_means(age, length),
        confidence=confidence,
        method=f"Von Bertalanffy curve by least squares, {age.size} fish of {ages} ages.",
        notes=notes,
    )


def _correlation(covariance: NDArray[np.float64], se: NDArray[np.float64]) -> float:
    product = float(se[0] * se[1])
    return float(covariance[0, 1] / product) if product > 0 else math.nan


def _judge(
    theta: NDArray[np.float64], low: NDArray[np.float64], length: NDArray[np.float64], missing: int
) -> tuple[bool, tuple[str, ...]]:
    notes = [f"{missing} fish without age or length were left out."] if missing else []
    longest = float(length.max())
    supported = bool(theta[1] > 0 and low[1] > 0 and theta[0] > 0 and theta[0] < 3 * longest)
    if not supported:
        notes.append(
            "The lengths do not bend enough with age to fix the asymptotic length: use mean length at age, "
            "not these parameters."
        )
    elif theta[0] > 1.25 * longest:
        notes.append(
            f"The asymptotic length {theta[0]:.0f} mm lies far beyond the longest fish, {longest:.0f} mm."
        )
    notes.append("Gears that miss small fish make young ages look longer, and so K too small.")
    return supported, tuple(notes)


def _means(age: NDArray[np.float64], length: NDArray[np.float64]) -> pd.DataFrame:
    groups = pd.DataFrame({"age_years": np.floor(age), "length_mm": length}).groupby("age_years")["length_mm"]
    out = groups.agg(n="count", mean_mm="mean", sd_mm="std").reset_index()
    return out
