"""Where the latest reading stands among its own past at this time of year."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.model import ABOVE, BELOW, EQUAL, USED_FLAGS, Clearer, Result
from fathomlight.seasons.days import Days, day_numbers, days_apart, days_of
from fathomlight.seasons.scheme import MONTHS

StandingWord = Literal["clearer", "usual", "murkier", "too little past", "no recent reading"]


@dataclass(frozen=True, kw_only=True)
class StandingResult(Result):
    """Answer of :func:`standing`.

    Attributes
    ----------
    standing : str
        clearer, usual, murkier, too little past, or no recent reading.
    percentile : float
        Share of past readings below it, ties counting half, 0 to 100; NaN without past.
    percentile_low, percentile_high : float
        What it may be when qualifiers leave pairs open.
    n_past, n_lower, n_higher, n_equal, n_years : int
        Past readings at this time of year (one a day), those lower, higher and equal, and the years they
        come from.
    since : int or None
        Year of the earliest of them.
    value : float
        The reading, [unit]; NaN when there is none.
    qualifier : str
    date : pandas.Timestamp or None
    sentence : str
        The answer in words.
    notes : tuple of str
    """

    standing: StandingWord
    percentile: float = math.nan
    percentile_low: float = math.nan
    percentile_high: float = math.nan
    n_past: int = 0
    n_lower: int = 0
    n_higher: int = 0
    n_equal: int = 0
    n_years: int = 0
    since: int | None = None
    value: float = math.nan
    qualifier: str = EQUAL
    date: pd.Timestamp | None = None
    sentence: str = ""
    notes: tuple[str, ...] = ()


def standing(
    series: pd.DataFrame,
    *,
    window_days: int = 15,
    min_years: int = 5,
    min_readings: int = 10,
    low: float = 10,
    high: float = 90,
    as_of: Any = None,
    schedule_days: float = 30,
    clearer: Clearer = "higher",
    unit: str = "m",
    decimals: int = 1,
    flags: Iterable[int] = USED_FLAGS,
) -> StandingResult:
    """Say where the latest reading of a station stands among its own earlier ones at this time of year.

    Parameters
    ----------
    series : pandas.DataFrame
        Readings of one station and parameter (columns local_date, value, qualifier, flag); several on one
        day are reduced to their median.
    window_days : int
        Past readings count when they lie within so many days of the same day of the year, [d].
    min_years, min_readings : int
        Earlier years and readings needed for an answer.
    low, high : float
        Percentiles beyond which it is not usual, 0 to 100.
    as_of : date-like, optional
        Day of the question: later readings are ignored, and a latest reading older than twice
        ``schedule_days`` is not recent. None asks about the latest reading, however old.
    schedule_days : float
        Longest planned pause between readings, [d].
    clearer : {"higher", "lower"}
        Whether higher or lower values mean clearer water.
    unit, decimals
        For the sentence.
    flags : iterable of int
        Flags whose readings count.

    Returns
    -------
    StandingResult
        A qualified value counts as its bound; where that leaves the answer open, a note says so.

    Raises
    ------
    ArgumentError
        On missing columns or impossible settings.
    """
    _check_standing(window_days, low, high, clearer)
    days = days_of(series, flags=flags)
    limit = None if as_of is None else pd.Timestamp(as_of).normalize().tz_localize(None)
    if limit is not None:
        days = days.where(days.dates <= limit.to_datetime64())
    if not days.dates.size:
        return StandingResult(standing="no recent reading", sentence="There is no reading yet.")
    date, value, code = pd.Timestamp(days.dates[-1]), float(days.values[-1]), int(days.codes[-1])
    past = _past_of(days, window_days)
    answer = _compare(past, date, value, code)
    said = _said(date, value, code, unit, decimals, limit)
    ago = 0 if limit is None else (limit - date).days
    if limit is not None and ago > 2 * schedule_days:
        word: StandingWord = "no recent reading"
        sentence = f"No recent reading: the latest, {said}, is {ago} days old."
    elif answer["n_past"] < min_readings or answer["n_years"] < min_years:
        word = "too little past"
        sentence = (
            f"{said}: too little past to compare with, {_count(answer['n_past'], 'reading')} from "
            f"{_count(answer['n_years'], 'earlier year')} within {window_days} days of this date "
            f"({min_readings} from {min_years} are needed)."
        )
    else:
        word = _word(answer["percentile"], low, high, clearer)
        sentence = _sentence(said, word, answer, clearer, window_days)
    notes = _standing_notes(past, answer, low, high, clearer, word)
    return StandingResult(
        standing=word,
        value=value,
        qualifier=_MARK[code],
        date=date,
        sentence=sentence,
        notes=tuple(notes),
        **answer,
    )


_MARK = {0: EQUAL, -1: BELOW, 1: ABOVE}


def _check_standing(window_days: int, low: float, high: float, clearer: str) -> None:
    if not 0 <= window_days <= 182:
        raise ArgumentError("window_days", "must lie between 0 and 182", got=window_days)
    if not 0 <= low < high <= 100:
        raise ArgumentError(
            "low", "must be below high, both percentiles", got=(low, high), expected="0 <= low < high <= 100"
        )
    if clearer not in ("higher", "lower"):
        raise ArgumentError("clearer", "must be 'higher' or 'lower'", got=clearer)


def _past_of(days: Days, window_days: int) -> Days:
    """Return readings at the time of year of the last one, from earlier years (more than half a year before)."""
    number = day_numbers(days.dates)
    near = days_apart(number, int(number[-1])) <= window_days
    return days.where(near & (days.dates[-1] - days.dates > np.timedelta64(182, "D")))


def _compare(past: Days, date: pd.Timestamp, value: float, code: int) -> dict[str, Any]:
    n = past.dates.size
    if n == 0:
        return {"n_past": 0, "n_years": 0}
    other, marks = past.values, past.codes
    years_before = np.rint((date.to_datetime64() - past.dates) / np.timedelta64(1, "D") / 365.25)
    lower = (other < value) | ((other == value) & (marks < code))
    higher = (other > value) | ((other == value) & (marks > code))
    surely_lower = lower & (code >= 0) & (marks <= 0)
    surely_higher = higher & (code <= 0) & (marks >= 0)
    equal = ~lower & ~higher
    tied = equal & (marks == 0) & (code == 0)
    ties = 0.5 * tied.sum()
    return {
        "n_past": n,
        "n_lower": int(lower.sum()),
        "n_higher": int(higher.sum()),
        "n_equal": int(equal.sum()),
        "n_years": int(np.unique(years_before).size),
        "since": int(past.dates[0].astype("datetime64[Y]").astype(np.int64)) + 1970,
        "percentile": float(100 * (lower.sum() + 0.5 * equal.sum()) / n),
        "percentile_low": float(100 * (surely_lower.sum() + ties) / n),
        "percentile_high": float(100 * (n - surely_higher.sum() - ties) / n),
    }


def _word(percentile: float, low: float, high: float, clearer: str) -> StandingWord:
    if low <= percentile <= high:
        return "usual"
    return "clearer" if (percentile > high) == (clearer == "higher") else "murkier"


def _said(
    date: pd.Timestamp, value: float, code: int, unit: str, decimals: int, as_of: pd.Timestamp | None
) -> str:
    bound = {0: "", -1: "less than ", 1: "more than "}[code]
    day = f"{date.day} {MONTHS[date.month - 1]}"
    if as_of is not None and as_of.year != date.year:
        day += f" {date.year}"
    return f"{bound}{value:.{decimals}f} {unit} on {day}".replace("  ", " ")


def _sentence(said: str, word: str, answer: dict[str, Any], clearer: str, window_days: int) -> str:
    clear, murky = answer["n_lower"], answer["n_higher"]
    if clearer == "lower":
        clear, murky = murky, clear
    since = answer["since"]
    of = f"of {answer['n_past']} readings taken within {window_days} days of this date since {since}."
    if word == "usual":
        text = f"{said}: usual, clearer than {clear} and murkier than {murky} {of}"
    else:
        text = f"{said}: {word} than {clear if word == 'clearer' else murky} {of}"
    return text[0].upper() + text[1:]


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def _standing_notes(
    past: Days, answer: dict[str, Any], low: float, high: float, clearer: str, word: str
) -> list[str]:
    if word not in ("clearer", "usual", "murkier") or answer["percentile_low"] == answer["percentile_high"]:
        return []
    could = {_word(answer[name], low, high, clearer) for name in ("percentile_low", "percentile_high")}
    bounds = int(np.count_nonzero(past.codes))
    start = f"{bounds} of the past readings, or the reading itself, are only bounds and count as their number"
    if could == {word}:
        return [f"{start}; the answer is the same whatever lies behind them."]
    others = sorted(could - {word})
    return [f"{start}; this leaves the answer open: it may also be {' or '.join(others)}."]
