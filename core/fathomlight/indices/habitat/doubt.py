"""Doubt about habitat, and what another metre of clarity would do to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, as_floats, check_positive
from fathomlight.indices.habitat.course import mean_area
from fathomlight.indices.habitat.inputs import HabitatDays, HabitatInputs, lay_out
from fathomlight.indices.habitat.species import WALLEYE, Species
from fathomlight.indices.light import k_words
from fathomlight.indices.words import CLARITY_CAUTION, HABITAT_CAUTION
from fathomlight.model import Result

_REACH_NODES = 64


@dataclass(frozen=True, kw_only=True)
class HabitatSensitivityResult(Result):
    """Habitat against clarity.

    Attributes
    ----------
    species : str
        Whose habitat.
    curve : pandas.DataFrame
        ``secchi_m`` [m] held all season, and the ``area_m2`` [m2] it would give with the season's
        temperatures.
    changes : pandas.DataFrame
        ``change_m`` [m] added to every reading, and the ``area_m2`` [m2] it would give.
    area_m2, plus_one_m2 : float
        Mean area as it is, and with one metre added to every reading, [m2].
    best_secchi_m : float
        Disc depth of the curve with the largest area, [m].
    basis : {"light and temperature", "light"}
        What the area rests on.
    reading, caution, method : str
        One plain sentence, what it does not say, and how it was done.
    notes : tuple of str
        What to know before using it.
    """

    species: str
    curve: pd.DataFrame
    changes: pd.DataFrame
    area_m2: float
    plus_one_m2: float
    best_secchi_m: float
    basis: str
    reading: str
    method: str
    caution: str = f"{HABITAT_CAUTION} {CLARITY_CAUTION}"
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class HabitatUncertaintyResult(Result):
    """Habitat with an interval for each year.

    Attributes
    ----------
    species : str
        Whose habitat.
    years : pandas.DataFrame
        ``year``, ``area_m2``, ``low_m2``, ``high_m2`` [m2], and ``k_part``: share of the spread that comes
        from k rather than from the readings.
    draws, seed : int
        Monte Carlo draws, and the seed that repeats them.
    confidence : float
        Of the interval.
    k_low, k_high : float
        Range of k, drawn evenly, the same k for all years of a draw.
    reading_cv : float
        Relative standard error of one disc reading.
    reading, caution, method : str
        One plain sentence, what it does not say, and how it was done.
    notes : tuple of str
        What to know before using it.
    """

    species: str
    years: pd.DataFrame
    draws: int
    seed: int
    confidence: float
    k_low: float
    k_high: float
    reading_cv: float
    reading: str
    method: str
    caution: str = f"{HABITAT_CAUTION} {CLARITY_CAUTION}"
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class _AreaByReach:
    """Area of each day tabulated over ln(SD / k), so that a thousand what-ifs cost one table."""

    start: float
    step: float
    table: FloatArray  # (days, nodes)

    def at(self, log_reach: FloatArray) -> FloatArray:
        """Area for ln(SD / k) of shape (..., days)."""
        position = np.clip((log_reach - self.start) / self.step, 0.0, self.table.shape[1] - 1.0)
        position = np.where(np.isnan(position), 0.0, position)
        cell = np.minimum(position.astype(np.int64), self.table.shape[1] - 2)
        share = position - cell
        rows = np.arange(self.table.shape[0])
        low = self.table[rows, cell]
        return np.asarray(
            low + share * (self.table[rows, cell + 1] - low) + np.where(np.isnan(log_reach), np.nan, 0)
        )


def _tabulate(laid: HabitatDays, beds: FloatArray, species: Species, low: float, high: float) -> _AreaByReach:
    nodes = np.linspace(low, max(high, low + 1e-6), _REACH_NODES)
    table = np.stack([mean_area(laid, beds, np.full(laid.days.size, v), 1.0, species) for v in nodes], axis=1)
    return _AreaByReach(float(nodes[0]), float(nodes[1] - nodes[0]), table)


def _prepare(inputs: HabitatInputs, species: Species) -> tuple[HabitatDays, FloatArray, str]:
    """Lay out, and return the beds to use; refuse when there is no area to speak of."""
    laid = lay_out(
        replace(inputs, step_minutes=max(inputs.step_minutes, 30)), species.low_degc, species.high_degc
    )
    needed = {"disc readings": "secchi_m", "latitude": "latitude", "depth-area table": "area_depths_m"}
    for words, argument in needed.items():
        if words in laid.missing:
            raise ArgumentError(argument, f"habitat area cannot be computed without the {words}")
    assert laid.plain_bed is not None
    if laid.bed is None:
        return laid, laid.plain_bed, "light"
    return laid, laid.bed, "light and temperature"


def habitat_sensitivity(
    inputs: HabitatInputs,
    *,
    species: Species = WALLEYE,
    secchi_m: Any = None,
    changes_m: Sequence[float] = (-2.0, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0),
) -> HabitatSensitivityResult:
    """Say what another metre of clarity would do to habitat.

    Parameters
    ----------
    inputs : HabitatInputs
        Readings and settings of one water.
    species : Species
        Light and temperature bands.
    secchi_m : array_like, optional
        Disc depths of the curve, [m]; by default 0.25 to 10 by 0.25.
    changes_m : sequence of float
        Metres added to every reading; one that would fall below 0.1 m is held there.

    Returns
    -------
    HabitatSensitivityResult
        The curve over fixed disc depths, the effect of changes, and a sentence. Temperature stays as it is,
        although clearer water warms deeper.

    Raises
    ------
    ArgumentError
        Disc readings, latitude or depth-area table are missing, or a disc depth is not greater than zero.
    """
    discs = np.arange(0.25, 10.01, 0.25) if secchi_m is None else as_floats("secchi_m", secchi_m).ravel()
    check_positive("secchi_m", discs, "a disc depth")
    laid, beds, basis = _prepare(inputs, species)
    covered = np.isfinite(laid.log_disc) & (np.isfinite(beds[:, 0]) if beds.ndim == 2 else True)
    if not covered.any():
        raise ArgumentError("secchi_m", "no season day has all the readings that habitat needs")
    disc = np.exp(laid.log_disc)
    shifted = [np.where(covered, np.maximum(disc + c, 0.1), np.nan) for c in (*changes_m, 0.0, 1.0)]
    logs = np.log(np.concatenate([discs, *(s[covered] for s in shifted)]))
    by_reach = _tabulate(laid, beds, species, logs.min() - np.log(inputs.k), logs.max() - np.log(inputs.k))

    def mean(log_disc: FloatArray) -> float:
        return float(np.mean(by_reach.at(log_disc - np.log(inputs.k))[covered]))

    curve = [mean(np.full(disc.size, v)) for v in np.log(discs)]
    *changed, now, plus = (mean(np.log(s)) for s in shifted)
    best = float(discs[int(np.argmax(curve))])
    return HabitatSensitivityResult(
        species=species.name,
        curve=pd.DataFrame({"secchi_m": discs, "area_m2": curve}),
        changes=pd.DataFrame({"change_m": list(changes_m), "area_m2": changed}),
        area_m2=now,
        plus_one_m2=plus,
        best_secchi_m=best,
        basis=basis,
        reading=_sensitivity_reading(species, now, plus),
        method=(
            f"Habitat by {basis} for {species.label.lower()} recomputed on {int(covered.sum())} "
            "season days with the disc "
            f"held at each depth, and with so many metres added to each reading; {k_words(inputs.k)}, "
            "step 30 min or more."
        ),
        notes=(
            "Temperature is left as it was; in truth clearer water lets warmth reach deeper.",
            "The largest area on the curve holds for this lake's basin and these seasons, not for other "
            "lakes.",
        ),
    )


def _sensitivity_reading(species: Species, now: float, plus: float) -> str:
    name = species.label.lower()
    if now <= 0:
        return f"As clear as the water is now, no lake bed has the light {name} prefer."
    change = plus / now - 1
    if abs(change) < 0.01:
        return f"One more metre of clarity would leave {name} habitat about as it is ({now / 1e4:.1f} ha)."
    more = "more" if change > 0 else "less"
    return (
        f"One more metre of clarity would give {name} about {abs(change):.0%} {more} habitat "
        f"({now / 1e4:.1f} to {plus / 1e4:.1f} ha)."
    )


def habitat_uncertainty(
    inputs: HabitatInputs,
    *,
    species: Species = WALLEYE,
    k_range: tuple[float, float] | None = None,
    reading_cv: float = 0.10,
    draws: int = 200,
    seed: int = 1,
    confidence: float = 0.90,
) -> HabitatUncertaintyResult:
    """Interval of each year's habitat from doubt about k and about the disc readings.

    Parameters
    ----------
    inputs : HabitatInputs
        Readings and settings of one water.
    species : Species
        Light and temperature bands.
    k_range : (float, float), optional
        Range of k; by default 15 % to either side of ``inputs.k`` (1.7 - 15 % meets the 1.44 of Holmes 1970).
    reading_cv : float
        Relative standard error of one reading; 0.10 is a rule of thumb (no source).
    draws : int
        Number of draws, 20 or more.
    seed : int
        Seed of the random numbers.
    confidence : float
        Of the interval, between 0 and 1.

    Returns
    -------
    HabitatUncertaintyResult
        Quantiles of the yearly mean area over the draws: k drawn evenly and shared by all years, readings
        multiplied by independent lognormal errors.

    Raises
    ------
    ArgumentError
        Disc readings, latitude or depth-area table are missing, or a setting is impossible.
    """
    k_low, k_high = _checked_doubt(inputs.k, k_range, reading_cv, draws, confidence)
    laid, beds, basis = _prepare(inputs, species)
    assert laid.weights is not None
    rng = np.random.default_rng(seed)
    sigma = float(np.sqrt(np.log1p(reading_cv**2)))
    error = sigma * rng.standard_normal((draws, laid.log_readings.size))
    log_k = np.log(rng.uniform(k_low, k_high, draws))
    widest = float(np.abs(error).max(initial=0.0))
    logs = laid.log_disc[np.isfinite(laid.log_disc)]
    if not logs.size:
        raise ArgumentError("secchi_m", "no season day is covered by disc readings")
    by_reach = _tabulate(
        laid, beds, species, logs.min() - widest - np.log(k_high), logs.max() + widest - np.log(k_low)
    )
    centre = np.log(inputs.k)
    both = _yearly_means(laid, by_reach, error, log_k)
    only_k = _yearly_means(laid, by_reach, np.zeros_like(error), log_k)
    only_readings = _yearly_means(laid, by_reach, error, np.full(draws, centre))
    point = _yearly_means(laid, by_reach, error[:1] * 0, np.array([centre]))[0]
    low, high = np.quantile(both, [(1 - confidence) / 2, (1 + confidence) / 2], axis=0)
    spread_k, spread_readings = only_k.var(axis=0), only_readings.var(axis=0)
    with np.errstate(invalid="ignore"):
        part = spread_k / (spread_k + spread_readings)
    years = pd.DataFrame(
        {"year": np.unique(laid.year), "area_m2": point, "low_m2": low, "high_m2": high, "k_part": part}
    )
    return HabitatUncertaintyResult(
        species=species.name,
        years=years,
        draws=draws,
        seed=seed,
        confidence=confidence,
        k_low=k_low,
        k_high=k_high,
        reading_cv=reading_cv,
        reading=_interval_reading(years, species, confidence),
        method=(
            f"{confidence:.0%} interval of habitat by {basis} over {draws} draws (seed {seed}): k "
            f"even between {k_low:.3g} "
            f"and {k_high:.3g}, the same for all years; each disc reading with a relative error of "
            f"{reading_cv:.0%}."
        ),
        notes=(
            "Because k is shared by all years, years compare with one another more surely than each area "
            "is known.",
            "Readings with a qualifier were treated as measured; light, temperature and depth-area table "
            "as exact.",
        ),
    )


def _checked_doubt(
    k: float, k_range: tuple[float, float] | None, reading_cv: float, draws: int, confidence: float
) -> tuple[float, float]:
    """Refuse impossible settings, and return the range of k."""
    k_low, k_high = k_range if k_range is not None else (0.85 * k, 1.15 * k)
    if not 0 < k_low <= k_high:
        raise ArgumentError("k_range", "must be greater than zero and in order", got=(k_low, k_high))
    if not 0 <= reading_cv < 1:
        raise ArgumentError("reading_cv", "must be at least 0 and below 1", got=reading_cv)
    if draws < 20:
        raise ArgumentError("draws", "too few for an interval", got=draws, expected="20 or more")
    if not 0 < confidence < 1:
        raise ArgumentError("confidence", "must lie between 0 and 1", got=confidence)
    return k_low, k_high


def _yearly_means(
    laid: HabitatDays, by_reach: _AreaByReach, error: FloatArray, log_k: FloatArray
) -> FloatArray:
    """Mean area of each year, shape (draws, years); a few draws at a time to spare memory."""
    assert laid.weights is not None
    years, where = np.unique(laid.year, return_inverse=True)
    out = np.full((log_k.size, years.size), np.nan)
    for i in range(log_k.size):
        log_disc = laid.log_disc + laid.weights.spread(error[i])
        area = by_reach.at(log_disc - log_k[i])
        good = np.isfinite(area)
        total = np.bincount(where[good], weights=area[good], minlength=years.size)
        count = np.bincount(where[good], minlength=years.size)
        out[i] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return out


def _interval_reading(years: pd.DataFrame, species: Species, confidence: float) -> str:
    good = years[years["area_m2"].notna()]
    if good.empty:
        return f"There are too few readings to say how much of the lake suits {species.label.lower()}."
    row = good.iloc[-1]
    low, high, best = (row[c] / 1e4 for c in ("low_m2", "high_m2", "area_m2"))
    return (
        f"In {int(row['year'])}, {species.label.lower()} had about {best:.1f} ha of lake bed that "
        "suited them; with what "
        f"is doubtful about light and readings, {low:.1f} to {high:.1f} ha ({confidence:.0%} interval)."
    )
