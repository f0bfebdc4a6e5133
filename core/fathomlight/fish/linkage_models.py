"""The models behind ``clarity_effect``: estimates with errors by water, shapes, optimum, checks, curve."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fathomlight.errors import ArgumentError
from fathomlight.fish.counts import CountFit, fit_counts, jackknife_covariance, leave_one_group_out
from fathomlight.fish.linkage_data import SURVEYS_PER_TERM, LinkageData
from fathomlight.model import Result

Floats = NDArray[np.float64]
Shape = Literal["linear", "hump", "curved"]
FEWEST_CLUSTERS = 5
"""With fewer waters, errors are not clustered: there is nothing to learn the spread between waters from."""


@dataclass(frozen=True)
class Estimate:
    """A fitted model with the covariance used for its limits."""

    fit: CountFit
    design: Floats
    covariance: Floats
    df: float
    clustered: bool
    left_out: tuple[NDArray[Any], Floats]
    confidence: float

    @property
    def quantile(self) -> float:
        """Student's t for two-sided limits."""
        from scipy.stats import t as student

        return float(student.ppf(0.5 + self.confidence / 2, self.df))

    def se(self, column: int) -> float:
        """Standard error of one coefficient."""
        return math.sqrt(max(0.0, float(self.covariance[column, column])))

    def p(self, column: int) -> float:
        """Two-sided probability of a coefficient as far from zero."""
        from scipy.stats import t as student

        return float(2 * student.sf(abs(float(self.fit.coefficients[column])) / self.se(column), self.df))

    def halving(self, column: int = 1) -> tuple[float, float, float]:
        """Factor on catch when clarity halves, with limits."""
        b, half = float(self.fit.coefficients[column]), self.quantile * self.se(column)
        return math.exp(-b), math.exp(-b - half), math.exp(-b + half)


def estimate(data: LinkageData, design: Floats, family: str, confidence: float) -> Estimate:
    """Fit one design; errors by the cluster jackknife when there are enough waters, else from the model.

    Model errors of a Poisson fit are widened by the Pearson dispersion when that exceeds 1.
    """
    fit = fit_counts(data.count, design, data.effort, family=family)  # type: ignore[arg-type]
    names, left_out = leave_one_group_out(fit, data.count, design, data.effort, data.water)
    usable = int(np.all(np.isfinite(left_out), axis=1).sum())
    if usable >= FEWEST_CLUSTERS:
        covariance = jackknife_covariance(fit.coefficients, left_out)
        return Estimate(fit, design, covariance, usable - 1, True, (names, left_out), confidence)
    scale = max(1.0, fit.pearson_dispersion) if fit.family == "poisson" else 1.0
    return Estimate(fit, design, scale * fit.covariance, fit.df, False, (names, left_out), confidence)


@dataclass(frozen=True, kw_only=True)
class Optimum(Result):
    """The clarity at which the hump has its top.

    Attributes
    ----------
    clarity : float
        Top of the curve [unit of clarity].
    low, high : float
        Fieller limits (Fieller 1954) [unit of clarity]; 0 or infinity where the surveys do not bound it.
    delta_low, delta_high : float
        Limits by the delta method, for comparison.
    """

    clarity: float
    low: float
    high: float
    delta_low: float
    delta_high: float


@dataclass(frozen=True, kw_only=True)
class ShapeComparison(Result):
    """Straight against hump-shaped, on the scale of log catch against log2 clarity.

    Attributes
    ----------
    shape : {"linear", "hump", "curved"}
        "hump" when the curve bends downwards with support from both tests and its top lies among the
        clarities surveyed; "curved" when it bends with such support but has no top there.
    tested : bool
        False when there were too few surveys to try a curve.
    aic_linear, aic_hump : float
        Akaike's criterion, lower is better.
    lr, lr_p : float
        Likelihood ratio with one degree of freedom (surveys taken as independent).
    curvature, curvature_p : float
        Coefficient of the square, and its probability with the errors used for the effect.
    """

    shape: Shape
    tested: bool
    aic_linear: float
    aic_hump: float
    lr: float
    lr_p: float
    curvature: float
    curvature_p: float


def fieller(b1: float, b2: float, covariance: Floats, quantile: float) -> tuple[float, float]:
    """Limits of -b1/(2 b2) after Fieller (1954): where (b1 + 2 r b2)^2 <= t^2 Var(b1 + 2 r b2).

    Returns
    -------
    tuple of float
        Limits; (-inf, inf) when the set is not an interval.
    """
    t2 = quantile**2
    a = 4 * (b2 * b2 - t2 * covariance[1, 1])
    b = 4 * (b1 * b2 - t2 * covariance[0, 1])
    c = b1 * b1 - t2 * covariance[0, 0]
    inside = b * b - 4 * a * c
    if a <= 0 or inside < 0:
        return -math.inf, math.inf
    root = math.sqrt(inside)
    return (-b - root) / (2 * a), (-b + root) / (2 * a)


def find_optimum(data: LinkageData, hump: Estimate) -> Optimum:
    """Top of a fitted hump with limits."""
    b1, b2 = (float(value) for value in hump.fit.coefficients[1:3])
    part = hump.covariance[1:3, 1:3]
    top = -b1 / (2 * b2)
    gradient = np.array([-1 / (2 * b2), b1 / (2 * b2 * b2)])
    half = hump.quantile * math.sqrt(max(0.0, float(gradient @ part @ gradient)))
    low, high = fieller(b1, b2, part, hump.quantile)

    def back(value: float) -> float:
        exponent = value + data.centre
        return math.inf if exponent > 60 else float(2.0**exponent)

    return Optimum(
        clarity=back(top),
        low=back(low),
        high=back(high),
        delta_low=back(top - half),
        delta_high=back(top + half),
    )


def compare_shapes(
    data: LinkageData, linear: Estimate, hump: Estimate | None, level: float = 0.05
) -> tuple[ShapeComparison, Optimum | None]:
    """Choose between a straight and a hump-shaped relation; the optimum comes with a hump."""
    from scipy.stats import chi2

    nan = math.nan
    if hump is None:
        plain = ShapeComparison(
            shape="linear",
            tested=False,
            aic_linear=linear.fit.aic,
            aic_hump=nan,
            lr=nan,
            lr_p=nan,
            curvature=nan,
            curvature_p=nan,
        )
        return plain, None
    lr = max(0.0, 2 * (hump.fit.log_likelihood - linear.fit.log_likelihood))
    lr_p, curvature_p = float(chi2.sf(lr, 1)), hump.p(2)
    bend = float(hump.fit.coefficients[2])
    supported = lr_p < level and curvature_p < level and hump.fit.aic < linear.fit.aic
    shape: Shape = "linear"
    optimum = None
    if supported:
        shape = "curved"
        if bend < 0:
            top = find_optimum(data, hump)
            # a top among the outermost twentieth of the surveys is a bend at the edge, not a hump
            inner = np.quantile(data.clarity, [0.05, 0.95])
            if inner[0] <= top.clarity <= inner[1]:
                shape, optimum = "hump", top
    comparison = ShapeComparison(
        shape=shape,
        tested=True,
        aic_linear=linear.fit.aic,
        aic_hump=hump.fit.aic,
        lr=lr,
        lr_p=lr_p,
        curvature=bend,
        curvature_p=curvature_p,
    )
    return comparison, optimum


@dataclass(frozen=True, kw_only=True)
class Check(Result):
    """The effect per halving under another model.

    ``possible`` is False when the surveys do not allow the check; ``reason`` then says why. ``effect``,
    ``low``, ``high`` are factors on catch per halving of clarity; ``p`` is two-sided.
    """

    name: str
    possible: bool
    effect: float = math.nan
    low: float = math.nan
    high: float = math.nan
    p: float = math.nan
    n: int = 0
    reason: str = ""


def _check(name: str, data: LinkageData, extra: Sequence[Floats], family: str, confidence: float) -> Check:
    design = data.design(extra=extra)
    if data.n < SURVEYS_PER_TERM * (design.shape[1] - 1):
        return Check(name=name, possible=False, reason="too few surveys for one more term")
    try:
        found = estimate(data, design, family, confidence)
    except ArgumentError as error:
        return Check(name=name, possible=False, reason=error.what)
    effect, low, high = found.halving()
    return Check(name=name, possible=True, effect=effect, low=low, high=high, p=found.p(1), n=data.n)


def detrended_check(data: LinkageData, family: str, confidence: float) -> Check:
    """Add a straight trend over the years, so that two things that merely both changed no longer agree."""
    name = "year trend added"
    if not np.all(np.isfinite(data.year)) or np.unique(data.year).size < 4:
        return Check(name=name, possible=False, reason="fewer than 4 years")
    trend = (data.year - data.year.mean()) / max(float(data.year.std()), 1e-12)
    return _check(name, data, [trend], family, confidence)


def within_water_check(data: LinkageData, family: str, confidence: float) -> Check:
    """Add the mean clarity of each water (Mundlak 1978): what is left is clarity changing within waters."""
    name = "within waters"
    groups = pd.Series(data.log2).groupby(data.water)
    moving = int((groups.transform("std").groupby(data.water).first() > 0.05).sum())
    if data.waters < 3 or moving < 3:
        return Check(name=name, possible=False, reason="fewer than 3 waters surveyed at different clarities")
    between = groups.transform("mean").to_numpy(dtype=float)
    return _check(name, data, [between - between.mean()], family, confidence)


@dataclass(frozen=True, kw_only=True)
class AlternativeFit(Result):
    """Another predictor in the place of clarity, on the same surveys.

    Attributes
    ----------
    name : str
        Column.
    n : int
        Surveys with both predictors.
    scale : {"log2", "standard deviations"}
        log2 when all values are above zero.
    effect, low, high, p : float
        Factor on catch per halving ("log2"), or per standard deviation less.
    aic, aic_clarity, aic_both : float
        Alternative alone, clarity alone, both together.
    rank_correlation : float
        Spearman's, of the alternative with clarity: near -1 or 1 they cannot be told apart.
    """

    name: str
    n: int
    scale: str
    effect: float
    low: float
    high: float
    p: float
    aic: float
    aic_clarity: float
    aic_both: float
    rank_correlation: float


def fit_alternative(
    data: LinkageData, name: str, family: str, confidence: float, minimum: int
) -> AlternativeFit | str:
    """Fit the alternative predictor; a text says why it cannot be done."""
    import dataclasses

    from scipy.stats import spearmanr

    if name not in data.used:
        raise ArgumentError("alternative", "no such column in the table", got=name)
    values = pd.to_numeric(data.used[name]).to_numpy(dtype=float)
    keep = np.isfinite(values)
    if keep.sum() < minimum or np.unique(values[keep]).size < 5:
        return f"{name} is known for too few surveys, or hardly varies"
    part = dataclasses.replace(
        data,
        used=data.used[keep].reset_index(drop=True),
        count=data.count[keep],
        effort=data.effort[keep],
        clarity=data.clarity[keep],
        log2=data.log2[keep],
        water=data.water[keep],
        year=data.year[keep],
        covariates=data.covariates[keep],
    )
    shown = values[keep]
    scale = "log2" if shown.min() > 0 else "standard deviations"
    column = np.log2(shown) if scale == "log2" else shown / shown.std()
    column = column - column.mean()
    other = np.column_stack([np.ones(part.n), column, part.covariates])
    try:
        alone = estimate(part, other, family, confidence)
        clear = fit_counts(part.count, part.design(), part.effort, family=family)  # type: ignore[arg-type]
        both = fit_counts(part.count, part.design(extra=[column]), part.effort, family=family)  # type: ignore[arg-type]
    except ArgumentError as error:
        return f"{name}: {error.what}"
    effect, low, high = alone.halving()
    return AlternativeFit(
        name=name,
        n=part.n,
        scale=scale,
        effect=effect,
        low=low,
        high=high,
        p=alone.p(1),
        aic=alone.fit.aic,
        aic_clarity=clear.aic,
        aic_both=both.aic,
        rank_correlation=float(spearmanr(shown, part.clarity).statistic),
    )


def curve_table(data: LinkageData, shape: Estimate, hump: bool, points: int = 60) -> pd.DataFrame:
    """Fitted catch per unit of effort over the clarities surveyed, at average covariates, with its band."""
    grid = np.linspace(data.log2.min(), data.log2.max(), points)
    columns = [np.ones(points), grid, *([grid**2] if hump else [])]
    rows = np.column_stack(columns)
    width = rows.shape[1]
    log = rows @ shape.fit.coefficients[:width]
    part = shape.covariance[:width, :width]
    half = shape.quantile * np.sqrt(np.maximum(0, np.einsum("ij,jk,ik->i", rows, part, rows)))
    return pd.DataFrame(
        {
            "clarity": 2.0 ** (grid + data.centre),
            "fitted": np.exp(log),
            "low": np.exp(log - half),
            "high": np.exp(log + half),
        }
    )


def left_out_table(data: LinkageData, linear: Estimate) -> pd.DataFrame:
    """Effect per halving without each water in turn."""
    names, coefficients = linear.left_out
    sizes = pd.Series(data.water).value_counts()
    return pd.DataFrame(
        {
            "water": names.astype(str),
            "surveys": [int(sizes[name]) for name in names],
            "effect": np.exp(-coefficients[:, 1]),
        }
    )
