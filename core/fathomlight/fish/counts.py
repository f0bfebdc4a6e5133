"""Count models: Poisson, or negative binomial (NB2) when the catches are shown to vary more.

NB2: E(y) = mu, Var(y) = mu + alpha mu^2, theta = 1/alpha; log mu = X b + log effort. The regression itself is
the generalized linear model of statsmodels; the dispersion is found by profile likelihood.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fathomlight.errors import ArgumentError
from fathomlight.model import Result

Family = Literal["poisson", "nb2"]
Floats = NDArray[np.float64]
_ALPHAS = (1e-5, 1e3)


@dataclass(frozen=True, kw_only=True)
class CountFit(Result):
    """A fitted count model.

    Attributes
    ----------
    family : {"poisson", "nb2"}
        Chosen or demanded.
    coefficients, se : ndarray, shape (columns,)
        On the log scale; standard errors from the model, with alpha taken as known (as is usual).
    covariance : ndarray, shape (columns, columns)
        Of the coefficients, from the model.
    alpha, theta, theta_se : float
        NB2 dispersion and its inverse; NaN for Poisson.
    lr, lr_p : float
        Likelihood ratio of NB2 against Poisson, and its probability when Poisson is true: half the chi-square
        tail, because alpha = 0 lies on the boundary (Self & Liang 1987). NaN when the family was demanded as
        Poisson.
    log_likelihood, aic, deviance : float
        AIC counts alpha as a parameter.
    pearson_dispersion : float
        Pearson chi-square / residual degrees of freedom.
    n, df : int
        Surveys, and residual degrees of freedom.
    expected_zeros, zeros_sd, zeros : float
        Surveys without fish that the model expects, their standard deviation, and those there were.
    fitted : ndarray, shape (n,)
        Expected counts.
    """

    family: Family
    coefficients: Floats
    se: Floats
    covariance: Floats
    alpha: float
    theta: float
    theta_se: float
    lr: float
    lr_p: float
    log_likelihood: float
    aic: float
    deviance: float
    pearson_dispersion: float
    n: int
    df: int
    expected_zeros: float
    zeros_sd: float
    zeros: float
    fitted: Floats


def _glm(y: Floats, x: Floats, offset: Floats, alpha: float | None, start: Floats | None = None) -> Any:
    """Fit at a fixed alpha (None: Poisson). Raises ArgumentError when the fit does not settle."""
    from statsmodels.genmod import families
    from statsmodels.genmod.generalized_linear_model import GLM

    family = families.Poisson() if alpha is None else families.NegativeBinomial(alpha=alpha)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # convergence is checked below, in words
        fit = GLM(y, x, family=family, offset=offset).fit(
            start_params=start, maxiter=200, tol=1e-9, rtol=1e-14
        )
    if not (fit.converged and np.all(np.isfinite(fit.params)) and np.all(np.isfinite(fit.bse))):
        raise ArgumentError(
            "counts", "the count model does not settle on one answer", got=fit.params.tolist()
        )
    if float(np.min(fit.mu)) < 1e-8:
        raise ArgumentError(
            "counts", "one group of surveys caught nothing at all, so its rate has no finite logarithm"
        )
    return fit


def _best_alpha(y: Floats, x: Floats, offset: Floats, start: Floats) -> tuple[float, float, Floats]:
    """Maximise the profile likelihood over log alpha; returns alpha, log-likelihood, coefficients."""
    from scipy.optimize import minimize_scalar

    kept = {"start": start}

    def loss(log_alpha: float) -> float:
        fit = _glm(y, x, offset, math.exp(log_alpha), kept["start"])
        kept["start"] = fit.params
        return -float(fit.llf)

    low, high = (math.log(value) for value in _ALPHAS)
    found = minimize_scalar(loss, bounds=(low, high), method="bounded", options={"xatol": 1e-7})
    return math.exp(float(found.x)), -float(found.fun), kept["start"]


def _theta_se(y: Floats, mu: Floats, theta: float) -> float:
    """Standard error of theta from the observed information at the fitted means."""
    from scipy.special import polygamma

    information = float(
        np.sum(
            -polygamma(1, theta + y)
            + polygamma(1, theta)
            - 1 / theta
            + 2 / (mu + theta)
            - (y + theta) / (mu + theta) ** 2
        )
    )
    return math.sqrt(1 / information) if information > 0 else math.nan


def _clean(counts: ArrayLike, design: ArrayLike, effort: ArrayLike | None) -> tuple[Floats, Floats, Floats]:
    y, x = np.asarray(counts, dtype=float).ravel(), np.asarray(design, dtype=float)
    x = x[:, None] if x.ndim == 1 else x
    spent = np.ones_like(y) if effort is None else np.asarray(effort, dtype=float).ravel()
    if x.shape[0] != y.size or spent.size != y.size:
        raise ArgumentError("design", "one row a count is needed", got=x.shape[0], expected=str(y.size))
    if not (np.all(np.isfinite(y)) and np.all(np.isfinite(x)) and np.all(np.isfinite(spent))):
        raise ArgumentError("design", "missing values must be left out before the fit")
    if np.any(y < 0) or np.any(y != np.round(y)):
        raise ArgumentError(
            "counts", "counts must be whole numbers from 0", got=float(y[(y < 0) | (y != np.round(y))][0])
        )
    if np.any(spent <= 0):
        raise ArgumentError("effort", "effort must be above zero", got=float(spent.min()))
    if y.sum() == 0:
        raise ArgumentError("counts", "no fish at all were caught: there is nothing to model")
    if y.size <= x.shape[1] or np.linalg.matrix_rank(x) < x.shape[1]:
        raise ArgumentError(
            "design",
            "the surveys cannot tell these effects apart",
            got=f"{y.size} surveys, {x.shape[1]} columns",
            fix="Leave a column out, or add surveys.",
        )
    return y, x, np.log(spent)


def fit_counts(
    counts: ArrayLike,
    design: ArrayLike,
    effort: ArrayLike | None = None,
    *,
    family: Literal["auto", "poisson", "nb2"] = "auto",
    level: float = 0.05,
) -> CountFit:
    """Fit a log-linear count model with the logarithm of effort as offset.

    Parameters
    ----------
    counts : array_like of int, shape (n,)
        Fish in each survey.
    design : array_like of float, shape (n, columns)
        Design matrix, its constant included.
    effort : array_like of float, shape (n,), optional
        Effort of each survey, above zero; 1 when left out.
    family : {"auto", "poisson", "nb2"}
        "auto" takes NB2 when the likelihood ratio against Poisson has a probability below ``level``, else
        Poisson.
    level : float
        See ``family``.

    Returns
    -------
    CountFit
        The fit.

    Raises
    ------
    ArgumentError
        Values that cannot be counts or effort, a design that cannot be told apart, no fish, or no
        convergence.

    Notes
    -----
    Hilbe, J.M. 2011. Negative Binomial Regression, 2nd edition. Lawless, J.F. 1987. Negative binomial and
    mixed Poisson regression. Canadian Journal of Statistics 15:209-225. Self, S.G. & K.-Y. Liang. 1987.
    Asymptotic properties of maximum likelihood estimators and likelihood ratio tests under nonstandard
    conditions. Journal of the American Statistical Association 82:605-610.

    Examples
    --------
    >>> fit = fit_counts([2, 4, 6], [[1], [1], [1]], [1, 2, 3])
    >>> fit.family, round(float(np.exp(fit.coefficients[0])), 6)
    ('poisson', 2.0)
    """
    from scipy.stats import chi2

    if family not in ("auto", "poisson", "nb2"):
        raise ArgumentError("family", "unknown family", got=family, expected="auto, poisson or nb2")
    y, x, offset = _clean(counts, design, effort)
    poisson = _glm(y, x, offset, None)
    chosen: Family = "poisson"
    fit, alpha, lr, lr_p = poisson, math.nan, math.nan, math.nan
    if family != "poisson":
        alpha, best, start = _best_alpha(y, x, offset, poisson.params)
        lr = max(0.0, 2 * (best - float(poisson.llf)))
        lr_p = 0.5 * float(chi2.sf(lr, 1)) if lr > 1e-8 else 1.0
        if family == "nb2" or lr_p < level:
            chosen, fit = "nb2", _glm(y, x, offset, alpha, start)
    return _result(chosen, fit, y, x, alpha, (lr, lr_p))


def _result(
    family: Family, fit: Any, y: Floats, x: Floats, alpha: float, lr: tuple[float, float]
) -> CountFit:
    mu = np.asarray(fit.mu)
    theta = 1 / alpha if family == "nb2" else math.nan
    p0 = np.exp(-mu) if family == "poisson" else (1 + alpha * mu) ** (-theta)
    parameters = x.shape[1] + (family == "nb2")
    df = y.size - x.shape[1]
    return CountFit(
        family=family,
        coefficients=np.asarray(fit.params),
        se=np.asarray(fit.bse),
        covariance=np.asarray(fit.cov_params()),
        alpha=alpha if family == "nb2" else math.nan,
        theta=theta,
        theta_se=_theta_se(y, mu, theta) if family == "nb2" else math.nan,
        lr=lr[0],
        lr_p=lr[1],
        log_likelihood=float(fit.llf),
        aic=2 * parameters - 2 * float(fit.llf),
        deviance=float(fit.deviance),
        pearson_dispersion=float(fit.pearson_chi2) / df,
        n=int(y.size),
        df=int(df),
        expected_zeros=float(p0.sum()),
        zeros_sd=math.sqrt(float(np.sum(p0 * (1 - p0)))),
        zeros=float(np.sum(y == 0)),
        fitted=mu,
    )


def leave_one_group_out(
    fit: CountFit, counts: ArrayLike, design: ArrayLike, effort: ArrayLike | None, groups: ArrayLike
) -> tuple[NDArray[Any], Floats]:
    """Refit without each group in turn, at the dispersion of the full fit.

    Parameters
    ----------
    fit : CountFit
        The full fit.
    counts, design, effort
        As given to :func:`fit_counts`.
    groups : array_like, shape (n,)
        Group (water) of each survey.

    Returns
    -------
    tuple of ndarray
        Group labels, shape (groups,), and coefficients, shape (groups, columns); NaN where the rest cannot be
        fitted.
    """
    y, x, offset = _clean(counts, design, effort)
    labels = np.asarray(groups)
    names = np.unique(labels)
    alpha = fit.alpha if fit.family == "nb2" else None
    out = np.full((names.size, x.shape[1]), math.nan)
    for row, name in enumerate(names):
        rest = labels != name
        if rest.sum() <= x.shape[1] or y[rest].sum() == 0 or np.linalg.matrix_rank(x[rest]) < x.shape[1]:
            continue
        try:
            out[row] = _glm(y[rest], x[rest], offset[rest], alpha, fit.coefficients).params
        except ArgumentError:
            continue
    return names, out


def jackknife_covariance(coefficients: ArrayLike, left_out: Floats) -> Floats:
    """Covariance from leaving out one group at a time: (G - 1)/G sum (b_g - b)(b_g - b)'.

    Groups whose rest could not be fitted (NaN) are passed over and do not count in G.

    Notes
    -----
    MacKinnon, J.G., M.O. Nielsen & M.D. Webb. 2023. Fast and reliable jackknife and bootstrap methods for
    cluster-robust inference. Journal of Applied Econometrics 38:671-694.
    """
    usable = left_out[np.all(np.isfinite(left_out), axis=1)]
    size = usable.shape[0]
    width = np.asarray(coefficients).size
    if size < 2:
        return np.full((width, width), math.nan)
    gap = usable - np.asarray(coefficients, dtype=float)
    return np.asarray((size - 1) / size * gap.T @ gap)
