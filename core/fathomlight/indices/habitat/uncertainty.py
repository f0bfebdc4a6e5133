"""Habitat with an interval, from doubt about k, about the disc readings, and from discs seen on the bottom."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray
from fathomlight.indices.habitat.daily import best_bed, lay_out_for_area, mean_area
from fathomlight.indices.habitat.inputs import HabitatDays, HabitatInputs, restrict
from fathomlight.indices.habitat.species import WALLEYE, Species
from fathomlight.indices.words import CLARITY_CAUTION, HABITAT_CAUTION
from fathomlight.model import Result

_REACH_NODES = 40
_OPEN_NODES = 60
CLEAREST_M = 80.0
"""[m], the most a disc depth can be; see ``clearest_m``."""
_MOST_DAYS = 2000


@dataclass(frozen=True, kw_only=True)
class HabitatUncertaintyResult(Result):
    """Habitat with an interval for each year.

    Attributes
    ----------
    species : str
        Whose habitat.
    years : pandas.DataFrame
        ``year``, ``area_m2``, ``low_m2``, ``high_m2`` [m2], ``k_part``: share of the spread that comes
        from k rather than from the readings, and ``open_days``: days that rest on a disc seen on the bottom.
    draws, seed : int
        Monte Carlo draws, and the seed that repeats them.
    confidence : float
        Of the interval.
    k_low, k_high : float
        Range of k, drawn evenly, the same k for all years of a draw.
    reading_cv : float
        Relative standard error of one disc reading.
    clearest_m : float
        Disc depth up to which a disc seen on the bottom leaves the clarity open, [m].
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
    clearest_m: float
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


@dataclass(frozen=True)
class _OpenDays:
    """Least and most area of days whose clarity is known from below only, over ln(SD / k) up to a top.

    Each day has nodes of its own, from ``start`` by ``step`` to the top; ``lowest`` and ``highest`` (days,
    nodes) hold the least and most area from each node on.
    """

    rows: npt.NDArray[np.int_]
    start: float
    step: FloatArray
    table: FloatArray
    lowest: FloatArray
    highest: FloatArray

    def at(self, log_reach: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Least and most area when the water reaches at least so far, shape (days,)."""
        last = self.table.shape[1] - 1
        position = np.clip((log_reach - self.start) / self.step, 0.0, last)
        cell = np.minimum(position.astype(np.int64), last - 1)
        days = np.arange(self.rows.size)
        here = self.table[days, cell]
        here = here + (position - cell) * (self.table[days, cell + 1] - here)
        low = np.minimum(here, self.lowest[days, cell + 1])
        return low, np.maximum(here, self.highest[days, cell + 1])


def _open_days(
    laid: HabitatDays, species: Species, clearest: float, lowest: float, low_k: float
) -> _OpenDays | None:
    """Tabulate the days between or beside discs seen on the bottom; None when there is none.

    A day's clarity reaches from the value used up to what it would be with the bound at the clearest water.
    """
    assert laid.weights is not None
    part = laid.weights.spread(laid.above.astype(float))
    rows = np.flatnonzero(np.nan_to_num(part) > 0)
    if not rows.size:
        return None
    clear = np.maximum(laid.log_readings, np.log(clearest))
    top = laid.weights.spread(np.where(laid.above, clear, laid.log_readings))[rows] - low_k
    few = restrict(laid, np.isin(np.arange(laid.days.size), rows))
    step = np.maximum(top - lowest, 1e-6) / (_OPEN_NODES - 1)
    beds, _ = best_bed(few)
    table = np.stack(
        [mean_area(few, beds, lowest + j * step, 1.0, species) for j in range(_OPEN_NODES)], axis=1
    )
    backwards = table[:, ::-1]
    return _OpenDays(
        rows,
        lowest,
        step,
        table,
        np.minimum.accumulate(backwards, axis=1)[:, ::-1],
        np.maximum.accumulate(backwards, axis=1)[:, ::-1],
    )


def _tabulate(laid: HabitatDays, species: Species, low: float, high: float) -> _AreaByReach:
    beds, _ = best_bed(laid)
    nodes = np.linspace(low, max(high, low + 1e-6), _REACH_NODES)
    table = np.stack([mean_area(laid, beds, np.full(laid.days.size, v), 1.0, species) for v in nodes], axis=1)
    return _AreaByReach(float(nodes[0]), float(nodes[1] - nodes[0]), table)


def _limits(
    laid: HabitatDays,
    species: Species,
    point: FloatArray,
    error: FloatArray,
    log_k: FloatArray,
    doubt: tuple[float, tuple[float, float], float],
    confidence: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Lower and upper limit of each year, and the share of the spread that comes from k.

    ``doubt`` holds ln k, the ends of its range, and the clearest water a disc on the bottom may mean.
    """
    centre, (low_k, high_k), clearest = doubt
    logs = laid.log_disc[np.isfinite(laid.log_disc)]
    widest = float(np.abs(error).max())
    some = restrict(laid, np.arange(laid.days.size) % (1 + laid.days.size // _MOST_DAYS) == 0)
    by_reach = _tabulate(some, species, logs.min() - widest - high_k, logs.max() + widest - low_k)
    nothing = np.zeros_like(error)
    middle = _yearly_means(some, by_reach, nothing[:1], np.array([centre]))
    scale = np.divide(point, middle, out=np.ones_like(middle), where=middle > 0)
    both = _yearly_means(some, by_reach, error, log_k)
    opened = _open_days(some, species, clearest, by_reach.start, low_k)
    least, most = _yearly_ends(some, by_reach, opened, error, log_k, both)
    # The readings hold their error already: drawing it a second time also shifts the mean, which is not doubt.
    shift = point - np.quantile(scale * both, 0.5, axis=0)
    low = np.maximum(np.quantile(scale * least, (1 - confidence) / 2, axis=0) + shift, 0.0)
    high = np.quantile(scale * most, (1 + confidence) / 2, axis=0) + shift
    spread_k = (scale * _yearly_means(some, by_reach, nothing, log_k)).var(axis=0)
    spread_readings = (scale * _yearly_means(some, by_reach, error, np.full(log_k.size, centre))).var(axis=0)
    with np.errstate(invalid="ignore"):
        return low, high, spread_k / (spread_k + spread_readings)


def habitat_uncertainty(
    inputs: HabitatInputs,
    *,
    species: Species = WALLEYE,
    k_range: tuple[float, float] | None = None,
    reading_cv: float = 0.10,
    clearest_m: float = CLEAREST_M,
    draws: int = 200,
    seed: int = 1,
    confidence: float = 0.90,
) -> HabitatUncertaintyResult:
    """Interval of each year's habitat from doubt about k, about the readings, and from discs on the bottom.

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
    clearest_m : float
        A disc seen on the bottom (qualifier ``>``) says that the clarity lies anywhere between the value and
        this depth, [m]; the default is the most that this software takes for possible (no source).
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
        multiplied by independent lognormal errors. On days that rest on a disc seen on the bottom, the lower
        quantile is that of the least area any clarity from the bound up to ``clearest_m`` gives, and the upper
        that of the most: nothing is assumed of where the clarity lies.

    Raises
    ------
    ArgumentError
        Disc readings, latitude or depth-area table are missing, or a setting is impossible.
    """
    k_low, k_high = _checked_doubt(inputs.k, k_range, reading_cv, draws, confidence)
    if not clearest_m > 0:
        raise ArgumentError("clearest_m", "must be greater than zero", got=clearest_m)
    laid = lay_out_for_area(inputs, species)
    if not np.isfinite(laid.log_disc).any():
        raise ArgumentError("secchi_m", "no season day is covered by disc readings")
    beds, basis = best_bed(laid)
    point = _means_by_year(laid, mean_area(laid, beds, laid.log_disc, inputs.k, species))
    rng = np.random.default_rng(seed)
    error = float(np.sqrt(np.log1p(reading_cv**2))) * rng.standard_normal((draws, laid.log_readings.size))
    log_k = np.log(rng.uniform(k_low, k_high, draws))
    doubt = (np.log(inputs.k), (np.log(k_low), np.log(k_high)), clearest_m)
    low, high, part = _limits(laid, species, point, error, log_k, doubt, confidence)
    open_days = _count_open(laid)
    years = pd.DataFrame(
        {
            "year": np.unique(laid.year),
            "area_m2": point,
            "low_m2": low,
            "high_m2": high,
            "k_part": part,
            "open_days": open_days,
        }
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
        clearest_m=clearest_m,
        reading=_interval_reading(years, species, confidence, basis),
        method=_method(basis, draws, seed, confidence, k_low, k_high, reading_cv)
        + (_OPEN_METHOD.format(clearest=clearest_m) if open_days.any() else ""),
        notes=(*_open_notes(open_days), *_NOTES),
    )


_NOTES = (
    "The draws are centred on the estimate: the readings hold their error once already.",
    "Because k is shared by all years, years compare with one another more surely than each area is known.",
    "Light, temperature and depth-area table were treated as exact.",
)
_OPEN_METHOD = (
    " A disc seen on the bottom leaves the clarity open up to {clearest:g} m: the interval holds the least and the "
    "most area of any clarity from there on."
)


def _method(
    basis: str, draws: int, seed: int, confidence: float, k_low: float, k_high: float, reading_cv: float
) -> str:
    return (
        f"{confidence:.0%} interval of habitat by {basis} over {draws} draws (seed {seed}): k even between "
        f"{k_low:.3g} and {k_high:.3g}, the same for all years; each disc reading with a relative error of "
        f"{reading_cv:.0%}."
    )


def _count_open(laid: HabitatDays) -> npt.NDArray[np.int_]:
    """Count the days of each year that rest on a disc seen on the bottom."""
    assert laid.weights is not None
    _, where = np.unique(laid.year, return_inverse=True)
    rests = np.nan_to_num(laid.weights.spread(laid.above.astype(float))) > 0
    return np.asarray(np.bincount(where, weights=rests).astype(np.int64))


def _open_notes(open_days: npt.NDArray[np.int_]) -> tuple[str, ...]:
    if not open_days.any():
        return ()
    return (
        f"{int(open_days.sum())} days rest on a disc seen on the bottom: the water was clearer than the value used, "
        "nobody knows by how much, and the interval is as wide as that leaves it.",
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


def _yearly_ends(
    laid: HabitatDays,
    by_reach: _AreaByReach,
    opened: _OpenDays | None,
    error: FloatArray,
    log_k: FloatArray,
    same: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Least and most mean area of each year, shape (draws, years); both ``same`` without an open day."""
    if opened is None:
        return same, same
    assert laid.weights is not None
    low, high = np.full(same.shape, np.nan), np.full(same.shape, np.nan)
    for i in range(log_k.size):
        reach = laid.log_disc + laid.weights.spread(error[i]) - log_k[i]
        least = by_reach.at(reach)
        most = least.copy()
        least[opened.rows], most[opened.rows] = opened.at(reach[opened.rows])
        low[i], high[i] = _means_by_year(laid, least), _means_by_year(laid, most)
    return low, high


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
