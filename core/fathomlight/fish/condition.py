"""Condition: weight against the standard weight of the length, and weight as a power of length."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fathomlight.errors import ArgumentError, OutOfRangeWarning
from fathomlight.fish.species import Species, StandardWeight, find_species
from fathomlight.model import Result


def _equation(species: str | Species, equation: str) -> tuple[Species, StandardWeight]:
    kind = find_species(species)
    found = kind.standard_weights.get(equation)
    if found is None:
        raise ArgumentError(
            "equation",
            f"no such standard-weight equation for {kind.name}",
            got=equation,
            expected=", ".join(kind.standard_weights) or "none is known for this species",
        )
    return kind, found


def _positive(name: str, values: ArrayLike) -> NDArray[np.float64]:
    array = np.asarray(values, dtype=float)
    wrong = array[(array <= 0) | np.isinf(array)]
    if wrong.size:
        raise ArgumentError(name, "must be greater than zero and finite", got=float(wrong.flat[0]))
    return array


def standard_weight(
    length_mm: ArrayLike, species: str | Species, *, equation: Literal["adult", "juvenile"] = "adult"
) -> float | NDArray[np.float64]:
    """Weight [g] that the standard-weight equation gives for a total length [mm].

    log10 Ws = a + b log10 TL. NaN and an :class:`~fathomlight.errors.OutOfRangeWarning` outside the
    equation's range.

    Parameters
    ----------
    length_mm : array_like of float
        Total length [mm].
    species : str or Species
        Name or species.
    equation : {"adult", "juvenile"}
        Which published equation.

    Returns
    -------
    float or ndarray
        Standard weight [g], in the shape of ``length_mm``.

    Raises
    ------
    ArgumentError
        A length at or below zero, or an equation that does not exist for the species.
    NotFoundError
        An unknown species.

    Notes
    -----
    The source of each equation is kept in :data:`fathomlight.fish.SPECIES`.

    Examples
    --------
    >>> round(standard_weight(510, "walleye"), 1)
    1435.7
    """
    kind, used = _equation(species, equation)
    length = _positive("length_mm", length_mm)
    outside = (length < used.minimum_mm) | (length >= used.maximum_mm)
    if np.any(outside):
        upper = "" if math.isinf(used.maximum_mm) else f" and below {used.maximum_mm:g}"
        hint = (
            " The juvenile equation may serve."
            if equation == "adult" and "juvenile" in kind.standard_weights
            else ""
        )
        warnings.warn(
            f"{int(np.sum(outside))} length(s) outside the {equation} {kind.name} standard-weight equation, "
            f"made for "
            f"{used.minimum_mm:g} mm and longer{upper}: no value is given for them.{hint}",
            OutOfRangeWarning,
            stacklevel=2,
        )
    out = np.full(length.shape, math.nan)
    ok = ~outside & ~np.isnan(length)
    out[ok] = 10.0 ** (used.intercept + used.slope * np.log10(length[ok]))
    return float(out) if out.ndim == 0 else out


def relative_weight(
    length_mm: ArrayLike,
    weight_g: ArrayLike,
    species: str | Species,
    *,
    equation: Literal["adult", "juvenile"] = "adult",
) -> float | NDArray[np.float64]:
    """Relative weight Wr = 100 W / Ws, the weight of a fish in percent of the standard weight of its length.

    Parameters
    ----------
    length_mm : array_like of float
        Total length [mm]; NaN is missing.
    weight_g : array_like of float
        Weight [g], broadcast against the lengths; NaN is missing.
    species : str or Species
        Name or species.
    equation : {"adult", "juvenile"}
        Which published equation.

    Returns
    -------
    float or ndarray
        Relative weight [%]: a float for scalars, else an array. NaN where the length is outside the
        equation's range.

    Raises
    ------
    ArgumentError
        A length or weight at or below zero, shapes that do not fit, or an equation that does not exist.
    NotFoundError
        An unknown species.

    Warns
    -----
    OutOfRangeWarning
        Some lengths are outside the equation's range.

    Notes
    -----
    Wege, G.J. & R.O. Anderson. 1978. Relative weight (Wr): a new index of condition for largemouth bass.

    Examples
    --------
    >>> round(relative_weight(510, 1300.0, "walleye"), 1)
    90.5
    """
    weight = _positive("weight_g", weight_g)
    length = np.asarray(length_mm, dtype=float)
    try:
        np.broadcast_shapes(length.shape, weight.shape)
    except ValueError:
        raise ArgumentError(
            "weight_g", "lengths and weights do not pair", got=weight.shape, expected=f"shape {length.shape}"
        ) from None
    standard = standard_weight(length_mm, species, equation=equation)
    ratio = np.asarray(100.0 * weight / np.asarray(standard))
    return float(ratio) if ratio.ndim == 0 else ratio


@dataclass(frozen=True, kw_only=True)
class LengthWeight(Result):
    """Weight as a power of length, W = a L^b, fitted as log10 W = log10 a + b log10 L.

    Attributes
    ----------
    n : int
        Fish used.
    a, b : float
        Coefficients for length [mm] and weight [g].
    b_low, b_high, log10_a, log10_a_se, b_se : float
        Limits of b, and standard errors on the log scale.
    residual_sd : float
        Residual standard deviation of log10 weight.
    r2 : float
        Share of the variance of log10 weight explained.
    correction : float
        Factor exp((ln 10 sd)^2 / 2) that turns the back-transformed line into a mean weight (Sprugel 1983).
    isometric_p : float
        Probability, two-sided, of b as far from 3 if it were 3.
    shortest_mm, longest_mm : float
        Range of lengths [mm]; the line says nothing beyond it.
    method, notes
        See :class:`fathomlight.model.TrendResult`.
    """

    n: int
    a: float
    b: float
    b_low: float
    b_high: float
    log10_a: float
    log10_a_se: float
    b_se: float
    residual_sd: float
    r2: float
    correction: float
    isometric_p: float
    shortest_mm: float
    longest_mm: float
    method: str
    notes: tuple[str, ...]


def length_weight_fit(length_mm: ArrayLike, weight_g: ArrayLike, *, confidence: float = 0.95) -> LengthWeight:
    """Fit log10 weight against log10 length by least squares.

    Parameters
    ----------
    length_mm, weight_g : array_like of float, shape (fish,)
        Total length [mm] and weight [g]; pairs with a NaN are left out.
    confidence : float
        Of the limits of b.

    Returns
    -------
    LengthWeight
        Coefficients with limits.

    Raises
    ------
    ArgumentError
        A value at or below zero, fewer than 5 pairs, or all fish of one length.

    Notes
    -----
    Ogle, D.H. 2016. Introductory Fisheries Analyses with R. Chapter 7.
    Sprugel, D.G. 1983. Correcting for bias in log-transformed allometric equations. Ecology 64:209-210.

    Examples
    --------
    >>> fit = length_weight_fit([100, 200, 300, 400, 500], [10, 80, 270, 640, 1250])
    >>> round(fit.b, 6), round(fit.a * 1e5, 6)
    (3.0, 1.0)
    """
    from scipy.stats import linregress
    from scipy.stats import t as student

    length, weight = _positive("length_mm", length_mm).ravel(), _positive("weight_g", weight_g).ravel()
    if length.shape != weight.shape:
        raise ArgumentError(
            "weight_g", "one weight a length is needed", got=weight.size, expected=f"{length.size}"
        )
    ok = ~(np.isnan(length) | np.isnan(weight))
    missing = int(np.sum(~ok))
    x, y = np.log10(length[ok]), np.log10(weight[ok])
    if x.size < 5:
        raise ArgumentError("length_mm", "at least 5 fish with length and weight are needed", got=int(x.size))
    if np.ptp(x) == 0:
        raise ArgumentError(
            "length_mm", "all fish have the same length: no line can be fitted", got=float(length[ok][0])
        )
    fit = linregress(x, y)
    df = x.size - 2
    half = float(student.ppf(0.5 + confidence / 2, df)) * fit.stderr
    sd = float(np.sqrt(np.sum((y - fit.intercept - fit.slope * x) ** 2) / df))
    notes = [f"{missing} fish without length or weight were left out."] if missing else []
    if np.ptp(x) < math.log10(2):
        notes.append("The longest fish is less than twice the shortest: the exponent is poorly known.")
    if not 2.5 <= fit.slope <= 3.5:
        notes.append(
            f"An exponent of {fit.slope:.2f} is unusual for fish (2.5 to 3.5): check units and outliers."
        )
    score = (
        abs(fit.slope - 3) / fit.stderr
        if fit.stderr > 0
        else (0.0 if abs(fit.slope - 3) < 1e-9 else math.inf)
    )
    return LengthWeight(
        n=int(x.size),
        a=10.0 ** float(fit.intercept),
        b=float(fit.slope),
        b_low=float(fit.slope - half),
        b_high=float(fit.slope + half),
        log10_a=float(fit.intercept),
        log10_a_se=float(fit.intercept_stderr),
        b_se=float(fit.stderr),
        residual_sd=sd,
        r2=float(fit.rvalue**2),
        correction=math.exp((math.log(10) * sd) ** 2 / 2),
        isometric_p=float(2 * student.sf(score, df)),
        shortest_mm=float(10.0 ** x.min()),
        longest_mm=float(10.0 ** x.max()),
        method=f"Least squares of log10 weight [g] on log10 total length [mm], {x.size} fish.",
        notes=tuple(notes),
    )
