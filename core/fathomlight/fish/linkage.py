"""What clarity has to do with the catch, without fooling anyone."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.fish import linkage_words
from fathomlight.fish.counts import CountFit, fit_counts
from fathomlight.fish.gears import gear_key
from fathomlight.fish.linkage_data import LinkageData, prepare
from fathomlight.fish.linkage_models import (
    AlternativeFit,
    Check,
    Estimate,
    Optimum,
    Shape,
    ShapeComparison,
    compare_shapes,
    curve_table,
    detrended_check,
    estimate,
    fit_alternative,
    left_out_table,
    within_water_check,
)
from fathomlight.model import Result

_FOR_HUMP, _FOR_RANK, _WITH_FISH, _DISTINCT, _LEAST_SPAN = 30, 5, 10, 5, 0.5


@dataclass(frozen=True, kw_only=True)
class ClarityEffect(Result):
    """How the catch of one species in one gear went with clarity.

    Attributes
    ----------
    level : {"model", "description"}
        "description" when the surveys are too few or too alike for a model; ``reason`` says why.
    n, waters, zeros, bounds, left_out : int
        Surveys used, their waters, surveys without the species, surveys whose clarity is a bound, surveys
        left out.
    first_year, last_year : int or None
        Of the surveys used.
    species, gear, effort_unit, label, unit : str
        Names; ``label`` is what stands for clarity, ``unit`` its unit.
    rank_correlation, rank_p, rank_n : float, float, int
        Spearman's, catch per effort with clarity.
    clearer_median, murkier_median : float
        Median catch per effort of the clearer and murkier half [fish per effort unit].
    family, theta, alpha, dispersion_lr, dispersion_p
        Count model used; NB2 theta = 1/alpha (NaN for Poisson); likelihood ratio of NB2 against Poisson and
        its boundary-corrected probability.
    expected_zeros : float
        Surveys without the species that the model expects, to hold against ``zeros``.
    effect_per_halving, effect_low, effect_high, effect_p : float
        Factor on the catch when clarity halves, from the straight model, with limits.
    errors : str
        How the limits were made.
    shape : {"linear", "hump", "curved"} or None
        See :class:`ShapeComparison`, kept in ``shapes``.
    optimum : Optimum or None
        Only with a hump.
    covariates : tuple of str
        What the model allows for.
    detrended, within_water : Check or None
        The effect with a year trend added, and from changes within waters alone.
    left_out_table : pandas.DataFrame or None
        ``water``, ``surveys``, ``effect`` without that water.
    alternative : AlternativeFit or None
        Another predictor on the same surveys.
    curve : pandas.DataFrame or None
        ``clarity``, ``fitted``, ``low``, ``high`` [fish per effort unit] for drawing.
    points : pandas.DataFrame
        ``survey``, ``water``, ``year``, ``clarity``, ``cpe``, ``count``, ``effort`` of the surveys used.
    confidence : float
        Of the limits.
    sentences : tuple of str
        The paragraph in plain words; the last ones say association and catchability.
    method, notes
        See :class:`fathomlight.model.TrendResult`.
    """

    level: Literal["model", "description"]
    reason: str
    n: int
    waters: int
    zeros: int
    bounds: int
    left_out: int
    first_year: int | None
    last_year: int | None
    species: str
    gear: str
    effort_unit: str
    label: str
    unit: str
    rank_correlation: float
    rank_p: float
    rank_n: int
    clearer_median: float
    murkier_median: float
    family: str | None = None
    theta: float = math.nan
    alpha: float = math.nan
    dispersion_lr: float = math.nan
    dispersion_p: float = math.nan
    expected_zeros: float = math.nan
    effect_per_halving: float = math.nan
    effect_low: float = math.nan
    effect_high: float = math.nan
    effect_p: float = math.nan
    errors: str = ""
    shape: Shape | None = None
    shapes: ShapeComparison | None = None
    optimum: Optimum | None = None
    covariates: tuple[str, ...] = ()
    detrended: Check | None = None
    within_water: Check | None = None
    left_out_table: pd.DataFrame | None = None
    alternative: AlternativeFit | None = None
    curve: pd.DataFrame | None = None
    points: pd.DataFrame
    confidence: float
    sentences: tuple[str, ...] = ()
    method: str = ""
    notes: tuple[str, ...] = ()


def _too_little(data: LinkageData, minimum: int) -> str:
    """Say why there can be no model; empty when there can."""
    with_fish = int(np.sum(data.count > 0))
    if data.n < minimum:
        return f"Only {data.n} surveys have catch, effort and clarity; a model asks for {minimum}."
    if with_fish < _WITH_FISH:
        return f"Only {with_fish} surveys caught any; a model asks for {_WITH_FISH}."
    if np.any(data.count != np.round(data.count)):
        return "Some catches are not whole numbers, so they are not counts."
    distinct = np.unique(np.round(data.clarity, 6)).size
    if distinct < _DISTINCT or float(np.ptp(data.log2)) < _LEAST_SPAN:
        return "The surveys hardly differ in clarity: no effect of it could be seen."
    return ""


def _describe(data: LinkageData) -> dict[str, Any]:
    from scipy.stats import spearmanr

    cpe = data.count / data.effort
    rho, p = math.nan, math.nan
    if data.n >= _FOR_RANK and np.ptp(cpe) > 0 and np.ptp(data.clarity) > 0:
        found = spearmanr(data.clarity, cpe)
        rho, p = float(found.statistic), float(found.pvalue)
    clearer = data.clarity > np.median(data.clarity) if data.n else np.zeros(0, dtype=bool)
    both = bool(clearer.any() and (~clearer).any())
    years = data.year[np.isfinite(data.year)]
    columns = {name: data.used[name].to_numpy() for name in ("survey", "water", "year") if name in data.used}
    return {
        "n": data.n,
        "waters": data.waters,
        "zeros": int(np.sum(data.count == 0)),
        "bounds": data.bounds,
        "left_out": data.left_out,
        "first_year": int(years.min()) if years.size else None,
        "last_year": int(years.max()) if years.size else None,
        "species": data.species,
        "gear": data.gear,
        "effort_unit": data.effort_unit,
        "rank_correlation": rho,
        "rank_p": p,
        "rank_n": data.n,
        "clearer_median": float(np.median(cpe[clearer])) if both else math.nan,
        "murkier_median": float(np.median(cpe[~clearer])) if both else math.nan,
        "points": pd.DataFrame(
            {**columns, "clarity": data.clarity, "cpe": cpe, "count": data.count, "effort": data.effort}
        ),
    }


def _first_fit(data: LinkageData) -> tuple[CountFit, bool]:
    """Fit the richest shape, which decides the family: a bend left out must not pass for overdispersion."""
    curved = data.n >= _FOR_HUMP and np.unique(np.round(data.clarity, 6)).size >= 8
    if curved:
        try:
            return fit_counts(data.count, data.design(hump=True), data.effort), True
        except ArgumentError:
            pass
    return fit_counts(data.count, data.design(), data.effort), False


def _model(data: LinkageData, confidence: float, alternative: str | None, minimum: int) -> dict[str, Any]:
    first, curved = _first_fit(data)
    family = first.family
    linear = estimate(data, data.design(), family, confidence)
    hump = estimate(data, data.design(hump=True), family, confidence) if curved else None
    shapes, optimum = compare_shapes(data, linear, hump)
    bent = shapes.shape != "linear" and hump is not None
    shown: Estimate = hump if bent and hump is not None else linear
    effect, low, high = linear.halving()
    other: AlternativeFit | str | None = None
    if alternative is not None:
        other = fit_alternative(data, alternative, family, confidence, minimum)
    if isinstance(other, str):
        data.notes.append(f"No comparison: {other}.")
    data.notes.extend(_warn(data, linear, shown))
    return {
        "family": family,
        "theta": shown.fit.theta,
        "alpha": shown.fit.alpha,
        "dispersion_lr": first.lr,
        "dispersion_p": first.lr_p,
        "expected_zeros": shown.fit.expected_zeros,
        "effect_per_halving": effect,
        "effect_low": low,
        "effect_high": high,
        "effect_p": linear.p(1),
        "errors": _errors(linear),
        "shape": shapes.shape,
        "shapes": shapes,
        "optimum": optimum,
        "covariates": data.names,
        "detrended": detrended_check(data, family, confidence),
        "within_water": within_water_check(data, family, confidence),
        "left_out_table": left_out_table(data, linear) if data.waters > 1 else None,
        "alternative": other if isinstance(other, AlternativeFit) else None,
        "curve": curve_table(data, shown, bent),
    }


def _errors(linear: Estimate) -> str:
    if linear.clustered:
        return f"clustered by water (jackknife over {linear.df + 1:g} waters, t with {linear.df:g} df)"
    return "from the model, surveys taken as independent (too few waters to cluster by)"


def _warn(data: LinkageData, linear: Estimate, shown: Estimate) -> list[str]:
    notes = []
    if not linear.clustered:
        notes.append(
            f"With {data.waters} water(s) the surveys are taken as independent; the limits are too narrow if "
            f"surveys of "
            "one water resemble each other."
        )
    elif data.waters < 20:
        notes.append(
            f"{data.waters} waters are few for errors clustered by water: treat the limits as approximate."
        )
    if not np.all(np.isfinite(linear.left_out[1][:, 1])) and data.waters > 1:
        notes.append("Without some waters the model could not be fitted; see the table.")
    expected, zeros = shown.fit.expected_zeros, shown.fit.zeros
    if zeros - expected > max(2 * shown.fit.zeros_sd, 1.0):
        notes.append(
            f"{zeros:.0f} surveys caught none where the model expects {expected:.0f}: something besides "
            f"these terms "
            "decides whether any are caught."
        )
    return notes


def clarity_effect(
    table: pd.DataFrame,
    *,
    species: str | None = None,
    gear: str | None = None,
    clarity: str = "clarity",
    label: str = "disc depth",
    unit: str = "m",
    covariates: Sequence[str] = ("temperature", "day_of_year"),
    alternative: str | None = None,
    confidence: float = 0.95,
    minimum_surveys: int = 20,
    bounds: Literal["leave out", "as values"] = "leave out",
) -> ClarityEffect:
    """Relate the catch of one species in one gear to clarity.

    log E(count) = b0 + b1 log2(clarity) [+ b2 log2(clarity)^2] + covariates + log(effort); the effect per
    halving of clarity is exp(-b1). Poisson, or NB2 when a likelihood ratio shows overdispersion.

    Parameters
    ----------
    table : pandas.DataFrame
        One row a survey, as :func:`fathomlight.fish.linkage_table` makes it: ``water``, ``gear``, ``effort``,
        ``count`` (zeros in it) and the clarity column are needed; ``survey``, ``species``, ``effort_unit``,
        ``start`` or ``year``, ``clarity_qualifier``, and covariates are used where present.
    species, gear : str, optional
        Needed when the table holds several; gears are never pooled.
    clarity, label, unit : str
        Column that stands for clarity (above zero), what to call it, its unit.
    covariates : sequence of str
        Columns to allow for: numbers enter straight, text as groups. Columns that are absent are passed over;
        those unknown for more than a fifth of the surveys, or without room for them, are left out and noted.
    alternative : str, optional
        Column to hold against clarity, e.g. the area of suitable habitat.
    confidence : float
        Of all limits, 0 to 1.
    minimum_surveys : int
        Below this there is a description and no model (at least 10).
    bounds : {"leave out", "as values"}
        What to do with a survey whose clarity is only a bound.

    Returns
    -------
    ClarityEffect
        Numbers, tables to draw, and sentences.

    Raises
    ------
    ArgumentError
        Missing columns; several gears, effort units, species or windows; impossible values.

    Notes
    -----
    Errors: the cluster jackknife (MacKinnon, Nielsen & Webb 2023) with t(G - 1) from 5 waters on. Within
    waters: Mundlak, Y. 1978. On the pooling of time series and cross section data. Econometrica 46:69-85.
    Optimum: Fieller, E.C. 1954. Some problems in interval estimation. Journal of the Royal Statistical
    Society B 16:175-185. Count model: see :func:`fathomlight.fish.fit_counts`. Minimum numbers are common
    practice, without a single source.
    """
    if not 0 < confidence < 1:
        raise ArgumentError("confidence", "must lie between 0 and 1", got=confidence)
    if minimum_surveys < 10:
        raise ArgumentError(
            "minimum_surveys", "fewer than 10 surveys cannot carry a model", got=minimum_surveys
        )
    if bounds not in ("leave out", "as values"):
        raise ArgumentError("bounds", "unknown choice", got=bounds, expected='"leave out" or "as values"')
    data = prepare(
        table,
        species=species,
        gear=gear,
        clarity=clarity,
        covariates=covariates,
        use_bounds=bounds == "as values",
    )
    described = _describe(data)
    reason = _too_little(data, minimum_surveys)
    fitted: dict[str, Any] = {}
    if not reason:
        try:
            fitted = _model(data, confidence, alternative, minimum_surveys)
        except ArgumentError as error:
            if error.argument == "alternative":
                raise
            reason = f"No model could be fitted: {error.what}."
    result = ClarityEffect(
        level="model" if fitted else "description",
        reason=reason,
        label=label,
        unit=unit,
        confidence=confidence,
        notes=tuple(data.notes),
        method=_method(data, fitted, confidence),
        **described,
        **fitted,
    )
    return dataclasses.replace(result, sentences=linkage_words.sentences(result))


def _method(data: LinkageData, fitted: dict[str, Any], confidence: float) -> str:
    if not fitted:
        return f"Description and Spearman rank correlation, {data.n} surveys with {data.gear}."
    name = "Negative binomial (NB2)" if fitted["family"] == "nb2" else "Poisson"
    allowed = f", allowing for {', '.join(data.names)}" if data.names else ""
    return (
        f"{name} count model, log effort as offset, log2 clarity{allowed}; {data.n} surveys in {data.waters} "
        f"water(s) with "
        f"{data.gear}; limits at {100 * confidence:g} %, {fitted['errors']}."
    )


def clarity_effects(table: pd.DataFrame, **options: Any) -> dict[str, ClarityEffect]:
    """Run :func:`clarity_effect` once for each gear.

    Parameters
    ----------
    table : pandas.DataFrame
        As in :func:`clarity_effect`, with any number of gears.
    **options
        Passed on; ``gear`` is set here.

    Returns
    -------
    dict of str to ClarityEffect
        By gear.
    """
    gears = sorted(table["gear"].map(gear_key).unique())
    return {name: clarity_effect(table, gear=name, **options) for name in gears}
