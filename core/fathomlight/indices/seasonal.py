"""Seasonal means of an index: with an interval from the readings, and class membership as a probability."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, as_floats, check_choice, local_days, qualifier_array
from fathomlight.indices.trophic import (
    CARLSON_CLASSES,
    TSI_BY_PARAMETER,
    ClassTable,
    tsi_nitrogen,
)
from fathomlight.indices.trophic.carlson import Form
from fathomlight.indices.window import GROWING_SEASON, Window, in_window, window_days
from fathomlight.indices.words import CLARITY_CAUTION, MEMORY_NOTE, ONE_INPUT_NOTE, class_words, tsi_reading
from fathomlight.model import Result

Bound = Literal["", "at most", "at least", "open"]
_BOOTSTRAP_DRAWS = 2000


@dataclass(frozen=True, kw_only=True)
class SeasonalIndexResult(Result):
    """Seasonal means of one index, one row a year.

    Attributes
    ----------
    parameter : str
        What was measured.
    years : pandas.DataFrame
        ``year``; ``readings`` used, ``days`` on which they were taken, ``bounds``, days whose value is a
        bound; ``mean`` with limits ``low`` and ``high``, spread ``sd`` and standard error ``se``, [unit of
        the index]; ``bound``, empty for a value, ``at most`` or ``at least`` when readings with a qualifier
        make the mean a limit (the limit on the open side is NaN), ``open`` when both kinds are mixed (mean
        NaN); ``covered`` and, where not, ``why_not``; ``class_name`` of the mean; ``p: CLASS`` for each
        class, the probability that the true seasonal mean lies in it (NaN where the mean is a bound or the
        interval unknown); ``reading``, one plain sentence.
    classes : tuple of str
        Class names, clearest first.
    window : ((month, day), (month, day))
        Window of the year.
    confidence : float
        Of the limits.
    edge_rule : str
        What happens exactly on a class limit.
    reading, caution, method : str
        Sentence of the latest covered year, what it does not say, and how it was done.
    notes : tuple of str
        What to know before using it.
    """

    parameter: str
    years: pd.DataFrame
    classes: tuple[str, ...]
    window: Window
    confidence: float
    edge_rule: str
    reading: str
    method: str
    caution: str = CLARITY_CAUTION
    notes: tuple[str, ...] = ()


def class_probabilities(
    mean: float, se: float, df: float, table: ClassTable = CARLSON_CLASSES, variable: str = "tsi"
) -> dict[str, float]:
    """Probability that a true mean lies in each class, given an estimate and its standard error.

    Parameters
    ----------
    mean, se : float
        Estimate and standard error, [unit of ``table.limits(variable)``].
    df : float
        Degrees of freedom of the standard error (infinite for a known one).
    table : ClassTable
        Classes.
    variable : str
        Which limits of the table.

    Returns
    -------
    dict of str to float
        Class name to probability, clearest first; they add up to 1. All NaN when an input is NaN or ``df``
        below 1. With ``se`` 0 the class of the mean has all of it.

    Raises
    ------
    ArgumentError
        ``se`` is negative, or the variable is unknown.

    Notes
    -----
    Student's t around the estimate: the share of the confidence distribution of the mean that falls between
    the limits of each class.

    Examples
    --------
    >>> {k: round(p, 3) for k, p in class_probabilities(50.0, 2.0, 1000).items()}
    {'oligotrophic': 0.0, 'mesotrophic': 0.5, 'eutrophic': 0.5, 'hypereutrophic': 0.0}
    """
    from scipy.special import stdtr

    limits = table.limits(variable)
    if se < 0:
        raise ArgumentError("se", "a standard error cannot be negative", got=se)
    if not (math.isfinite(mean) and math.isfinite(se) and df >= 1):
        return dict.fromkeys(table.classes, math.nan)
    if se == 0:
        found = int(limits.rank(np.asarray(mean)))
        return {name: float(i == found) for i, name in enumerate(table.classes)}
    below = stdtr(df, (np.asarray(limits.limits) - mean) / se)
    clearer = 1.0 - below if limits.falling else below
    parts = np.diff(np.concatenate([[0.0], clearer, [1.0]]))
    return {name: float(p) for name, p in zip(table.classes, parts, strict=True)}


@dataclass(frozen=True)
class _Plan:
    """Settings of one seasonal mean, checked."""

    parameter: str
    index: Callable[[FloatArray], FloatArray]
    rising: bool
    table: ClassTable
    variable: str
    window: Window
    min_days: int
    parts: int
    min_parts: int
    confidence: float
    interval: str
    seed: int


def seasonal_index(
    dates: Any,
    values: Any,
    parameter: str,
    *,
    qualifiers: Any = None,
    of: Literal["tsi", "value"] = "tsi",
    form: Form = "simplified",
    classes: ClassTable = CARLSON_CLASSES,
    window: Window = GROWING_SEASON,
    min_days: int = 3,
    parts: int = 3,
    min_parts: int = 2,
    confidence: float = 0.95,
    interval: Literal["t", "bootstrap"] = "t",
    seed: int = 1,
) -> SeasonalIndexResult:
    """Seasonal mean of an index for every year, with an interval, coverage and class probabilities.

    Parameters
    ----------
    dates, values : array_like, shape (n,)
        Local dates, and readings of one parameter in its canonical unit (``secchi`` [m], ``chlorophyll`` and
        ``total_phosphorus`` [ug/L], ``total_nitrogen`` [mg/L]). NaN is left out. Flags are the caller's
        choice.
    parameter : str
        What was measured.
    qualifiers : array_like of str, shape (n,), optional
        ``=``, ``<`` or ``>``. A disc on the bottom (``>``) makes the mean an upper bound of the index, a
        value below detection (``<``) of a nutrient likewise; the limit is not taken for the value.
    of : {"tsi", "value"}
        Average the trophic state index of each day (which is the index of the geometric mean), or the
        values themselves (as the OECD classes want).
    form : {"simplified", "original"}
        Form of Carlson's equations.
    classes : ClassTable
        Classes of the index, or of the values with ``of="value"``.
    window : ((month, day), (month, day))
        Part of the year that is averaged, both ends included.
    min_days : int
        Least days with readings for a year to count as covered.
    parts, min_parts : int
        The window is cut into so many equal parts, of which so many must have a reading.
    confidence : float
        Of the limits, between 0 and 1.
    interval : {"t", "bootstrap"}
        Student's t on the daily values, or quantiles of 2,000 resamples of the days.
    seed : int
        Seed of the bootstrap.

    Returns
    -------
    SeasonalIndexResult
        One row a year. Years that are not covered keep their mean, marked; readings of one day count once.

    Raises
    ------
    ArgumentError
        A value is impossible, a setting is out of range, or the classes have no limits for what is averaged.

    Notes
    -----
    One call, one parameter: indices of different inputs are never averaged.

    Examples
    --------
    >>> result = seasonal_index(["2024-06-10", "2024-07-10", "2024-08-10"], [2.0, 2.2, 1.9], "secchi")
    >>> row = result.years.iloc[0]
    >>> round(float(row["mean"]), 1), row["class_name"], bool(row["covered"])
    (49.8, 'mesotrophic', True)
    """
    plan = _plan(parameter, of, form, classes, window, min_days, parts, min_parts, confidence, interval, seed)
    days, v = local_days("dates", dates), as_floats("values", values).ravel()
    if days.size != v.size:
        raise ArgumentError("values", "not as many values as dates", got=v.size, expected=str(days.size))
    signs = qualifier_array(qualifiers, v.size)
    scores = np.asarray(plan.index(v), dtype=float).ravel()
    inside, year = in_window(days, window)
    used = inside & np.isfinite(scores)
    rows = [
        _year_row(
            plan, int(y), days[used & (year == y)], scores[used & (year == y)], signs[used & (year == y)]
        )
        for y in np.unique(year[used])
    ]
    table = pd.DataFrame(rows, columns=_columns(plan))
    good = table[table["covered"]]
    return SeasonalIndexResult(
        parameter=parameter,
        years=table,
        classes=classes.classes,
        window=window,
        confidence=confidence,
        edge_rule=classes.edge_rule,
        reading=str(good["reading"].iloc[-1]) if len(good) else tsi_reading(math.nan, parameter, None),
        method=_method(plan, of, form),
        notes=_notes(plan, table, of),
    )


def _plan(
    parameter: str,
    of: str,
    form: Form,
    classes: ClassTable,
    window: Window,
    min_days: int,
    parts: int,
    min_parts: int,
    confidence: float,
    interval: str,
    seed: int,
) -> _Plan:
    check_choice("of", of, ("tsi", "value"))
    check_choice("interval", interval, ("t", "bootstrap"))
    if not 0 < confidence < 1:
        raise ArgumentError("confidence", "must lie between 0 and 1", got=confidence)
    if min_days < 1:
        raise ArgumentError("min_days", "must be 1 or more", got=min_days)
    if not 1 <= min_parts <= parts:
        raise ArgumentError("min_parts", "must lie between 1 and parts", got=min_parts)
    if of == "value":
        variable = parameter
        rising = not classes.limits(variable).falling

        def index(v: FloatArray) -> FloatArray:
            classes.classify(v, variable, "values")
            return v

    else:
        if parameter not in TSI_BY_PARAMETER:
            raise ArgumentError(
                "parameter", "has no trophic state index", got=parameter, expected=", ".join(TSI_BY_PARAMETER)
            )
        classes.limits("tsi")
        variable, rising = "tsi", parameter != "secchi"
        chosen: Any = TSI_BY_PARAMETER[parameter]

        def index(v: FloatArray) -> FloatArray:
            return np.asarray(
                tsi_nitrogen(v) if chosen is tsi_nitrogen else chosen(v, form=form), dtype=float
            )

    return _Plan(
        parameter,
        index,
        rising,
        classes,
        variable,
        window,
        min_days,
        parts,
        min_parts,
        confidence,
        interval,
        seed,
    )


def _columns(plan: _Plan) -> list[str]:
    start = [
        "year",
        "readings",
        "days",
        "bounds",
        "mean",
        "low",
        "high",
        "sd",
        "se",
        "bound",
        "covered",
        "why_not",
    ]
    return [*start, "class_name", *(f"p: {name}" for name in plan.table.classes), "reading"]


def _year_row(
    plan: _Plan, year: int, days: npt.NDArray[np.datetime64], scores: FloatArray, signs: npt.NDArray[np.str_]
) -> list[Any]:
    unique, where = np.unique(days, return_inverse=True)
    daily = np.bincount(where, weights=scores) / np.bincount(where)
    up = np.bincount(where, weights=signs == (">" if plan.rising else "<")) > 0
    down = np.bincount(where, weights=signs == ("<" if plan.rising else ">")) > 0
    bound: Bound = ""
    if up.any() or down.any():
        bound = "open" if up.any() and down.any() else "at least" if up.any() else "at most"
    n = unique.size
    mean = float(daily.mean()) if bound != "open" else math.nan
    sd = float(daily.std(ddof=1)) if n > 1 else math.nan
    se = sd / math.sqrt(n)
    low, high = _limits(plan, daily, mean, se)
    if bound in ("at most", "open"):
        low = math.nan
    if bound in ("at least", "open"):
        high = math.nan
    why_not = _why_not(plan, year, unique)
    name = plan.table.classify(mean, plan.variable) if bound != "open" else None
    chances = class_probabilities(mean if not bound else math.nan, se, n - 1, plan.table, plan.variable)
    said = _say(plan, mean, low, high, name, bound, chances)
    return [
        year, scores.size, n, int((up | down).sum()), mean, low, high, sd, se, bound, not why_not, why_not,
        name,
        *chances.values(), f"{year}: {said}",
    ]  # fmt: skip


def _limits(plan: _Plan, daily: FloatArray, mean: float, se: float) -> tuple[float, float]:
    if daily.size < 2 or not math.isfinite(mean):
        return math.nan, math.nan
    if plan.interval == "bootstrap":
        rng = np.random.default_rng(plan.seed)
        means = daily[rng.integers(0, daily.size, (_BOOTSTRAP_DRAWS, daily.size))].mean(axis=1)
        low, high = np.quantile(means, [(1 - plan.confidence) / 2, (1 + plan.confidence) / 2])
        return float(low), float(high)
    from scipy.special import stdtrit

    half = float(stdtrit(daily.size - 1, (1 + plan.confidence) / 2)) * se
    return mean - half, mean + half


def _why_not(plan: _Plan, year: int, days: npt.NDArray[np.datetime64]) -> str:
    """Say why a year is not covered; empty when it is."""
    if days.size < plan.min_days:
        return f"readings on {days.size} of at least {plan.min_days} days"
    whole = window_days(year, plan.window)
    part = np.minimum((days - whole[0]).astype(int) * plan.parts // whole.size, plan.parts - 1)
    hit = np.unique(part).size
    if hit < plan.min_parts:
        return f"readings in {hit} of at least {plan.min_parts} parts of the season"
    return ""


def _say(
    plan: _Plan,
    mean: float,
    low: float,
    high: float,
    name: str | None,
    bound: Bound,
    chances: dict[str, float],
) -> str:
    if bound == "open" or not math.isfinite(mean):
        return "some readings are upper and some are lower limits, so no seasonal mean can be given."
    if plan.variable == "tsi":
        text = tsi_reading(mean, plan.parameter, name, bound)
    else:
        limit = f"{bound} " if bound else ""
        unit = plan.table.limits(plan.variable).unit
        text = f"The seasonal mean is {limit}{mean:.3g} {unit}: {class_words(name)}."
    if bound == "at most":
        return text[:-1] + ", or clearer still: the disc or the laboratory reached its limit."
    if bound == "at least":
        return text[:-1] + ", or murkier still: the readings reached their limit."
    chance = chances.get(name or "", math.nan)
    if math.isfinite(low) and math.isfinite(chance):
        digits = ".0f" if plan.variable == "tsi" else ".3g"
        text = text[:-1] + (
            f"; the readings leave room for {low:{digits}} to {high:{digits}}, and a chance of "
            f"{chance:.0%} that this "
            "class is right."
        )
    return text


def _method(plan: _Plan, of: str, form: str) -> str:
    (m1, d1), (m2, d2) = plan.window
    what = f"trophic state index ({form} form)" if of == "tsi" else "values"
    how = (
        "Student's t"
        if plan.interval == "t"
        else f"{_BOOTSTRAP_DRAWS} bootstrap resamples (seed {plan.seed})"
    )
    return (
        f"Mean of the daily {what} of {plan.parameter}, {m1:02d}-{d1:02d} to {m2:02d}-{d2:02d} "
        "(month-day), with "
        f"{plan.confidence:.0%} limits by {how} over days; a year is covered with readings on "
        f"{plan.min_days} days in "
        f"{plan.min_parts} of {plan.parts} parts of the window. Class by {plan.table.source}"
    )


def _notes(plan: _Plan, table: pd.DataFrame, of: str) -> tuple[str, ...]:
    notes = [
        "The interval takes the days as independent; readings close in time resemble each other, so it is "
        "rather too "
        "narrow than too wide.",
        plan.table.edge_rule,
    ]
    if of == "tsi":
        notes.insert(0, ONE_INPUT_NOTE)
    if not plan.table.verified:
        notes.append(MEMORY_NOTE)
    bounded = int((table["bound"] != "").sum())
    if bounded:
        notes.append(
            f"In {bounded} years some readings are limits (a disc seen on the bottom, a value below "
            "detection): the mean "
            "is a bound, the limits on its closed side are too tight if anything, and no class probability"
            " is given."
        )
    return tuple(notes)
