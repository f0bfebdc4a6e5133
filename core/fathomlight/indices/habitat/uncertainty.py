"""Habitat with an interval, from doubt about k and about the disc readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray
from fathomlight.indices.habitat.daily import best_bed, lay_out_for_area, mean_area
from fathomlight.indices.habitat.inputs import HabitatDays, HabitatInputs, restrict
from fathomlight.indices.habitat.species import WALLEYE, Species
from fathomlight.indices.words import CLARITY_CAUTION, HABITAT_CAUTION
from fathomlight.model import Result

_REACH_NODES = 40
_MOST_DAYS = 2000


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


def _tabulate(laid: HabitatDays, species: Species, low: float, high: float) -> _AreaByReach:
    beds, _ = best_bed(laid)
    nodes = np.linspace(low, max(high, low + 1e-6), _REACH_NODES)
    table = np.stack([mean_area(laid, beds, np.full(laid.days.size, v), 1.0, species) for v in nodes], axis=1)
    return _AreaByReach(float(nodes[0]), float(nodes[1] - nodes[0]), table)


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
    laid = lay_out_for_area(inputs, species)
    assert laid.weights is not None
    rng = np.random.default_rng(seed)
    error = float(np.sqrt(np.log1p(reading_cv**2))) * rng.standard_normal((draws, laid.log_readings.size))
    log_k = np.log(rng.uniform(k_low, k_high, draws))
    logs = laid.log_disc[np.isfinite(laid.log_disc)]
    if not logs.size:
        raise ArgumentError("secchi_m", "no season day is covered by disc readings")
    beds, basis = best_bed(laid)
    point = _means_by_year(laid, mean_area(laid, beds, laid.log_disc, inputs.k, species))
    some = restrict(laid, np.arange(laid.days.size) % (1 + laid.days.size // _MOST_DAYS) == 0)
    widest, centre = float(np.abs(error).max()), np.log(inputs.k)
    by_reach = _tabulate(
        some, species, logs.min() - widest - np.log(k_high), logs.max() + widest - np.log(k_low)
    )
    nothing = np.zeros_like(error)
    middle = _yearly_means(some, by_reach, nothing[:1], np.array([centre]))
    scale = np.divide(point, middle, out=np.ones_like(middle), where=middle > 0)
    both = scale * _yearly_means(some, by_reach, error, log_k)
    only_k = scale * _yearly_means(some, by_reach, nothing, log_k)
    only_readings = scale * _yearly_means(some, by_reach, error, np.full(draws, centre))
    low, middle_draw, high = np.quantile(both, [(1 - confidence) / 2, 0.5, (1 + confidence) / 2], axis=0)
    # The readings hold their error already: drawing it a second time also shifts the mean, which is not doubt.
    low, high = np.maximum(low + point - middle_draw, 0.0), high + point - middle_draw
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
        reading=_interval_reading(years, species, confidence, basis),
        method=(
            f"{confidence:.0%} interval of habitat by {basis} over {draws} draws (seed {seed}): k "
            f"even between {k_low:.3g} "
            f"and {k_high:.3g}, the same for all years; each disc reading with a relative error of "
            f"{reading_cv:.0%}."
        ),
        notes=(
            "The draws are centred on the estimate: the readings hold their error once already.",
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
    out = np.full((log_k.size, np.unique(laid.year).size), np.nan)
    for i in range(log_k.size):
        log_disc = laid.log_disc + laid.weights.spread(error[i])
        out[i] = _means_by_year(laid, by_reach.at(log_disc - log_k[i]))
    return out


def _means_by_year(laid: HabitatDays, area: FloatArray) -> FloatArray:
    """Mean over the covered days of each year, NaN for a year without any."""
    years, where = np.unique(laid.year, return_inverse=True)
    good = np.isfinite(area)
    total = np.bincount(where[good], weights=area[good], minlength=years.size)
    count = np.bincount(where[good], minlength=years.size)
    return np.asarray(np.where(count > 0, total / np.maximum(count, 1), np.nan))


def _interval_reading(years: pd.DataFrame, species: Species, confidence: float, basis: str) -> str:
    good = years[years["area_m2"].notna()]
    if good.empty:
        return f"There are too few readings to say how much of the lake suits {species.label.lower()}."
    row = good.iloc[-1]
    low, high, best = (row[c] / 1e4 for c in ("low_m2", "high_m2", "area_m2"))
    what = "light and warmth" if basis == "light and temperature" else "light"
    return (
        f"In {int(row['year'])}, {species.label.lower()} had about {best:.1f} ha of lake bed with the "
        f"{what} they "
        f"prefer; with what is doubtful about light and readings, {low:.1f} to {high:.1f} ha "
        f"({confidence:.0%} interval)."
    )
