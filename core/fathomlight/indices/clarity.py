"""A water's own relation between clarity and turbidity (or suspended matter).

There is no general formula from disc depth to turbidity: it depends on what clouds the water. Where a water
has both, a log-log regression of its own readings serves, as the sediment trade does it: back-transform
corrected for bias, with a prediction interval, and refused where the readings cannot carry it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, as_floats, check_positive, elementwise, qualifier_array
from fathomlight.indices.words import CLARITY_CAUTION
from fathomlight.model import Result

TURBIDITY_PARAMETERS = ("turbidity_ntu", "turbidity_fnu")


@dataclass(frozen=True, kw_only=True)
class ClarityRelation(Result):
    """``log10 y = intercept + slope log10 x`` fitted to one water's pairs.

    Attributes
    ----------
    x_parameter, y_parameter : str
        What is known, and what is estimated.
    usable : bool
        False when the relation is refused; ``reason`` says why.
    n, left_out : int
        Pairs used, and pairs left out for NaN or a qualifier.
    intercept, slope : float
        Of the line in logarithms to the base 10; ``slope_low`` and ``slope_high`` its limits.
    residual_sd : float
        Residual standard error, [log10 unit of y].
    smearing : float
        Duan's factor, mean of ``10 ** residual``, [1].
    r2 : float
        Of the logarithms.
    x_low, x_high : float
        Range of x that was fitted, [unit of x]; outside it is extrapolation.
    p_normal, p_even, p_curved : float
        Probabilities, if the model holds, of residuals as far from normal (Shapiro-Wilk), as uneven in spread
        (Breusch-Pagan), and of a quadratic term as large.
    log_x_mean, log_x_ss : float
        Mean of log10 x, and sum of squares around it.
    confidence : float
        Of limits and prediction intervals.
    reading, caution, method : str
        One plain sentence, what it does not say, and how it was done.
    notes : tuple of str
        What to know before using it, the residual checks among them.
    """

    x_parameter: str
    y_parameter: str
    usable: bool
    reason: str
    n: int
    left_out: int
    confidence: float
    reading: str
    method: str
    intercept: float = math.nan
    slope: float = math.nan
    slope_low: float = math.nan
    slope_high: float = math.nan
    residual_sd: float = math.nan
    smearing: float = math.nan
    r2: float = math.nan
    x_low: float = math.nan
    x_high: float = math.nan
    p_normal: float = math.nan
    p_even: float = math.nan
    p_curved: float = math.nan
    log_x_mean: float = math.nan
    log_x_ss: float = math.nan
    caution: str = CLARITY_CAUTION
    notes: tuple[str, ...] = ()

    def predict(self, x: Any) -> ClarityPrediction:
        """Estimate y for new values of x.

        Parameters
        ----------
        x : float or array_like
            In the unit of ``x_parameter``, greater than zero; any shape.

        Returns
        -------
        ClarityPrediction
            Mean (bias corrected), median and prediction interval for one new reading.

        Raises
        ------
        ArgumentError
            The relation is not usable, or ``x`` is not greater than zero.
        """
        if not self.usable:
            raise ArgumentError("relation", f"not usable: {self.reason}", got=f"{self.n} pairs")
        from scipy import stats

        t = float(stats.t.ppf((1 + self.confidence) / 2, max(self.n - 2, 1)))

        def part(kind: str) -> Any:
            def kernel(v: FloatArray) -> FloatArray:
                check_positive("x", v, self.x_parameter.replace("_", " "))
                log_x = np.log10(v)
                centre = self.intercept + self.slope * log_x
                if kind in ("low", "high"):
                    leverage = 1 + 1 / self.n + (log_x - self.log_x_mean) ** 2 / self.log_x_ss
                    half = t * self.residual_sd * np.sqrt(leverage)
                    centre = centre - half if kind == "low" else centre + half
                return np.asarray(10.0**centre * (self.smearing if kind == "mean" else 1.0))

            return elementwise(kernel, x, names=("x",), unit="", label=f"{self.y_parameter}, {kind}")

        def outside(v: FloatArray) -> FloatArray:
            return np.asarray((v < self.x_low) | (v > self.x_high))

        beyond = elementwise(outside, x, names=("x",), unit="", label="extrapolated", dtype=bool)
        return ClarityPrediction(
            mean=part("mean"), median=part("median"), low=part("low"), high=part("high"), extrapolated=beyond
        )


@dataclass(frozen=True, kw_only=True)
class ClarityPrediction(Result):
    """Estimates of y; floats or arrays in the unit of y.

    ``mean`` is bias corrected (for sums and loads), ``median`` is not; ``low`` and ``high`` hold one new
    reading; ``extrapolated`` is True outside the fitted range.
    """

    mean: Any
    median: Any
    low: Any
    high: Any
    extrapolated: Any


def fit_clarity_relation(
    x: Any,
    y: Any,
    *,
    x_parameter: str = "secchi",
    y_parameter: str = "turbidity_ntu",
    x_qualifiers: Any = None,
    y_qualifiers: Any = None,
    min_pairs: int = 10,
    min_ratio: float = 3.0,
    confidence: float = 0.95,
) -> ClarityRelation:
    """Fit a water's own log-log relation between two measures of clarity.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        Pairs taken together, in canonical units, greater than zero. Pairs with NaN, and pairs with a
        qualifier other than ``=``, are left out and counted.
    x_parameter, y_parameter : str
        Parameter names; turbidity in NTU and in FNU are never related to one another.
    x_qualifiers, y_qualifiers : array_like of str, optional
        ``=``, ``<`` or ``>``.
    min_pairs : int
        Fewest pairs (common practice, no source).
    min_ratio : float
        Least ratio of the largest to the smallest x (common practice, no source).
    confidence : float
        Of limits and prediction intervals.

    Returns
    -------
    ClarityRelation
        With ``predict``; where the readings cannot carry it, ``usable`` is False and ``reason`` says why.

    Raises
    ------
    ArgumentError
        A value is not greater than zero, lengths differ, a setting is impossible, or two kinds of turbidity
        were to be related.

    Notes
    -----
    Back-transform by Duan's smearing estimator: the mean of y is ``10^(a + b log10 x)`` times the mean of
    ``10^residual``. Prediction limits by Student's t in logarithms.

    References
    ----------
    Duan, N. 1983. Smearing estimate: a nonparametric retransformation method. J. Am. Stat. Assoc. 78:605-610.

    Helsel, D.R. & R.M. Hirsch. 2002. Statistical Methods in Water Resources. USGS TWRI book 4, chapter A3.

    Examples
    --------
    >>> disc = [0.4, 0.5, 0.7, 0.9, 1.1, 1.4, 1.8, 2.2, 2.8, 3.5]
    >>> relation = fit_clarity_relation(disc, [8 / d for d in disc])
    >>> relation.usable, round(relation.slope, 3), round(relation.predict(2.0).mean, 3)
    (True, -1.0, 4.0)
    """
    if x_parameter in TURBIDITY_PARAMETERS and y_parameter in TURBIDITY_PARAMETERS:
        raise ArgumentError(
            "y_parameter",
            "two kinds of turbidity are never turned into one another",
            got=(x_parameter, y_parameter),
        )
    if not 0 < confidence < 1:
        raise ArgumentError("confidence", "must lie between 0 and 1", got=confidence)
    if min_pairs < 3:
        raise ArgumentError("min_pairs", "a line with residuals needs three pairs or more", got=min_pairs)
    if not min_ratio > 1:
        raise ArgumentError("min_ratio", "must be greater than 1", got=min_ratio)
    xs, ys = as_floats("x", x).ravel(), as_floats("y", y).ravel()
    if xs.size != ys.size:
        raise ArgumentError("y", "not as many values as x", got=ys.size, expected=str(xs.size))
    check_positive("x", xs, x_parameter.replace("_", " "))
    check_positive("y", ys, y_parameter.replace("_", " "))
    plain = (qualifier_array(x_qualifiers, xs.size) == "=") & (qualifier_array(y_qualifiers, ys.size) == "=")
    used = plain & np.isfinite(xs) & np.isfinite(ys)
    limits = int((~plain).sum())
    log_x, log_y = np.log10(xs[used]), np.log10(ys[used])
    n = int(used.sum())
    reason = _too_little(log_x, n, min_pairs, min_ratio, x_parameter)
    if reason:
        return _refused(x_parameter, y_parameter, reason, n, xs.size - n, confidence)
    return _fit(log_x, log_y, (x_parameter, y_parameter), xs.size - n, limits, confidence)


def _too_little(log_x: FloatArray, n: int, min_pairs: int, min_ratio: float, name: str) -> str:
    if n < min_pairs:
        return f"{n} pairs of at least {min_pairs}"
    ratio = float(10 ** np.ptp(log_x))
    if ratio < min_ratio:
        return f"the largest {name} is only {ratio:.2g} times the smallest, {min_ratio:g} times are needed"
    return ""


def _refused(x: str, y: str, reason: str, n: int, left_out: int, confidence: float) -> ClarityRelation:
    return ClarityRelation(
        x_parameter=x,
        y_parameter=y,
        usable=False,
        reason=reason,
        n=n,
        left_out=left_out,
        confidence=confidence,
        reading=f"There is no telling {y.replace('_', ' ')} from {x.replace('_', ' ')} here: {reason}.",
        method="Log-log regression, refused.",
    )


def _fit(
    log_x: FloatArray,
    log_y: FloatArray,
    names: tuple[str, str],
    left_out: int,
    limits: int,
    confidence: float,
) -> ClarityRelation:
    from scipy import stats

    n = log_x.size
    line = stats.linregress(log_x, log_y)
    residuals = log_y - (line.intercept + line.slope * log_x)
    sd = float(np.sqrt(np.sum(residuals**2) / (n - 2)))
    half = float(stats.t.ppf((1 + confidence) / 2, n - 2) * line.stderr)
    low, high = float(line.slope) - half, float(line.slope) + half
    checks = _checks(log_x, log_y, residuals)
    reason = "" if low > 0 or high < 0 else "the slope cannot be told from zero"
    x, y = (name.replace("_", " ") for name in names)
    smearing = float(np.mean(10.0**residuals))
    return ClarityRelation(
        x_parameter=names[0],
        y_parameter=names[1],
        usable=not reason,
        reason=reason,
        n=n,
        left_out=left_out,
        intercept=float(line.intercept),
        slope=float(line.slope),
        slope_low=low,
        slope_high=high,
        residual_sd=sd,
        smearing=smearing,
        r2=float(line.rvalue**2),
        x_low=float(10 ** log_x.min()),
        x_high=float(10 ** log_x.max()),
        confidence=confidence,
        reading=(
            f"In this water, when {x} doubles, {y} is multiplied by about {2 ** float(line.slope):.2g}."
            if not reason
            else f"There is no telling {y} from {x} here: {reason}."
        ),
        method=(
            f"Least squares of log10({names[1]}) on log10({names[0]}), {n} pairs; mean by Duan's "
            "smearing (1983), "
            f"{confidence:.0%} prediction limits by Student's t. Holds for this water and this range only."
        ),
        notes=_check_notes(checks, limits),
        log_x_mean=float(log_x.mean()),
        log_x_ss=float(np.sum((log_x - log_x.mean()) ** 2)),
        p_normal=checks["p_normal"],
        p_even=checks["p_even"],
        p_curved=checks["p_curved"],
    )


def _checks(log_x: FloatArray, log_y: FloatArray, residuals: FloatArray) -> dict[str, float]:
    """Shapiro-Wilk, Breusch-Pagan (Koenker's form), and the t test of a quadratic term."""
    from scipy import stats

    n = log_x.size
    exact = float(np.sum(residuals**2)) <= 1e-24 * n * max(1.0, float(np.var(log_y)))
    if exact:
        return {"p_normal": 1.0, "p_even": 1.0, "p_curved": 1.0}
    squared = residuals**2
    r = float(np.corrcoef(log_x, squared)[0, 1]) if np.ptp(squared) > 0 else 0.0
    design = np.column_stack([np.ones(n), log_x - log_x.mean(), (log_x - log_x.mean()) ** 2])
    beta, *_ = np.linalg.lstsq(design, log_y, rcond=None)
    rest = log_y - design @ beta
    p_curved = 1.0
    if n > 3 and np.linalg.matrix_rank(design) == 3:
        variance = float(rest @ rest) / (n - 3)
        se = math.sqrt(variance * float(np.linalg.inv(design.T @ design)[2, 2]))
        p_curved = float(2 * stats.t.sf(abs(beta[2]) / se, n - 3)) if se > 0 else 0.0
    return {
        "p_normal": float(stats.shapiro(residuals).pvalue),
        "p_even": float(stats.chi2.sf(n * r**2, 1)),
        "p_curved": p_curved,
    }


def _check_notes(checks: dict[str, float], limits: int) -> tuple[str, ...]:
    notes = []
    if checks["p_normal"] < 0.05:
        notes.append(
            "The residuals are not normal: prediction limits are rough; the corrected mean does not need it."
        )
    if checks["p_even"] < 0.05:
        notes.append("The scatter changes along the line: prediction limits are too narrow somewhere.")
    if checks["p_curved"] < 0.05:
        notes.append("The relation bends: one straight line in logarithms is not the whole story.")
    if limits:
        notes.append(
            f"{limits} pairs with a qualifier (a disc on the bottom, a value below detection) were "
            "left out; the line "
            "does not speak for such water."
        )
    return tuple(notes)
