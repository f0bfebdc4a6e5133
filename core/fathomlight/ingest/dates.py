"""Cells that hold dates and clock times.

Conventions, stated once:

* The recipe says whether day or month comes first. A text that two declared formats read as different days is
  refused, never guessed.
* A year of two digits that would lie in the future belongs to the century before.
* A date without a clock time stands at noon of the station's own clock (see
  :mod:`fathomlight.ingest.instants`).
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from fathomlight.ingest.values import parse_numbers

__all__ = ["ParsedClocks", "ParsedDates", "date_remedy", "month_number", "parse_clocks", "parse_dates"]

_ISO = re.compile(
    r"\d{4}-\d{2}-\d{2}(?:[T ]\s*\d{1,2}(?::?\d{2}(?::?\d{2}(?:[.,]\d+)?)?)?\s*"
    r"(Z|z|UTC|GMT|[+-]\d{2}(?::?\d{2})?)?)?\Z|\d{8}(?:T\d{4}(?:\d{2})?(Z)?)?\Z"
)
_USUAL = r"\A\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2})?Z?\z"
_CLOCKS = ("", " %H:%M", " %H:%M:%S", " %H:%M:%S.%f", " %I:%M %p", " %I:%M:%S %p")
_SAMPLE = dt.datetime(2025, 7, 24, 14, 30)
_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january",
            "feb february",
            "mar march",
            "apr april",
            "may",
            "jun june",
            "jul july",
            "aug august",
            "sep sept september",
            "oct october",
            "nov november",
            "dec december",
        ),
        start=1,
    )
    for name in names.split()
}
_NAT = np.datetime64("NaT", "us")


@dataclass(frozen=True, slots=True)
class ParsedDates:
    """What each different text says; one entry per text.

    Attributes
    ----------
    naive : numpy.ndarray of datetime64[us]
        As written, without zone; the instant in UTC where ``utc`` is True. NaT when it cannot be read.
    clock : numpy.ndarray of bool
        The text holds a clock time.
    utc : numpy.ndarray of bool
        The text names its offset.
    reason : numpy.ndarray of object
        Why it cannot be read; empty when it can.
    aged : numpy.ndarray of bool
        A two-digit year was taken for the century before.
    """

    naive: np.ndarray
    clock: np.ndarray
    utc: np.ndarray
    reason: np.ndarray
    aged: np.ndarray


@dataclass(frozen=True, slots=True)
class ParsedClocks:
    """Clock times: seconds after midnight (NaN when missing or wrong), and why wrong."""

    seconds: np.ndarray
    reason: np.ndarray


def month_number(text: str) -> float:
    """Read a month given as number, name or abbreviation.

    Parameters
    ----------
    text : str
        E.g. ``7``, ``Jul``, ``JULY``.

    Returns
    -------
    float
        1 to 12; NaN when it is none.

    Examples
    --------
    >>> month_number("Sept."), month_number("07"), month_number("13")
    (9.0, 7.0, nan)
    """
    word = text.strip().rstrip(".").casefold()
    number = float(word) if re.fullmatch(r"\d{1,2}(\.0+)?", word) else float(_MONTHS.get(word, 0))
    return number if 1 <= number <= 12 else float("nan")


def _strptime(texts: pd.Series, pattern: str) -> np.ndarray:
    found = pd.to_datetime(texts, format=pattern, errors="coerce")
    return (
        found.to_numpy(dtype="datetime64[us]", na_value=_NAT)
        if len(texts)
        else np.array([], "datetime64[us]")
    )


def _usual_instants(out: ParsedDates, texts: pd.Series, todo: np.ndarray) -> bool:
    """Read texts that are all like 2019-07-24T10:30:00Z, as loggers write them, at once."""
    cells = pa.array(texts.to_numpy()[todo], pa.string())
    if not len(cells) or not pc.all(pc.match_substring_regex(cells, _USUAL)).as_py():
        return False
    zoned = pc.ends_with(cells, "Z").to_numpy(zero_copy_only=False)
    times = pd.to_datetime(texts.iloc[todo], format="ISO8601", errors="coerce", utc=True).dt.tz_localize(None)
    if times.isna().any():
        return False
    out.naive[todo] = times.to_numpy(dtype="datetime64[us]")
    out.clock[todo] = True
    out.utc[todo] = zoned
    return True


def _iso(out: ParsedDates, texts: pd.Series, todo: np.ndarray) -> None:
    """Read ISO 8601 texts, which nobody can mistake."""
    if _usual_instants(out, texts, todo):
        return
    matches = [_ISO.match(t) for t in texts.to_numpy()[todo]]
    which = todo[[m is not None for m in matches]]
    if not len(which):
        return
    found = [m for m in matches if m is not None]
    zoned = np.array([bool(m.group(1) or m.group(2)) for m in found], dtype=bool)
    clean = (
        texts.iloc[which].str.replace(r"\s*(?:UTC|GMT)$", "Z", regex=True).str.replace(",", ".", regex=False)
    )
    times = pd.to_datetime(clean, format="ISO8601", errors="coerce", utc=True).dt.tz_localize(None)
    late = times.isna()
    if late.any():  # one-digit hours
        for pattern in ("%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S"):
            times = times.fillna(pd.to_datetime(clean, format=pattern, errors="coerce"))
    out.naive[which] = times.to_numpy(dtype="datetime64[us]", na_value=_NAT)
    out.clock[which] = [len(m.group(0)) > 10 or "T" in m.group(0) for m in found]
    out.utc[which] = zoned


def _serial(out: ParsedDates, texts: pd.Series, todo: np.ndarray, origin: str) -> None:
    """Read day numbers of a spreadsheet."""
    days = parse_numbers(texts.iloc[todo].tolist())
    good = (days >= 1) & (days < 2958466)
    which, days = todo[good], days[good]
    micros = np.round(days * 86_400.0 * 1000.0).astype(np.int64) * 1000
    out.naive[which] = np.datetime64(origin, "us") + micros.astype("timedelta64[us]")
    out.clock[which] = days != np.floor(days)


def _order(pattern: str) -> str:
    """Order of day, month and year, where all are digits."""
    return "".join(re.findall(r"%([dmyY])", pattern)).lower()


def _pattern(out: ParsedDates, texts: pd.Series, todo: np.ndarray, pattern: str, now: np.datetime64) -> None:
    """Read texts by one pattern; a pattern without clock also reads the date with a clock behind it."""
    left = todo[np.isnat(out.naive[todo])]
    has_clock = "%H" in pattern or "%I" in pattern
    clocks = _CLOCKS if not has_clock and any(":" in t for t in texts.to_numpy()[left]) else ("",)
    for clock in clocks:
        if not len(left):
            return
        found = _strptime(texts.iloc[left], pattern + clock)
        got = ~np.isnat(found)
        which, times = left[got], found[got]
        if "%y" in pattern:
            late = times > now + np.timedelta64(1, "D")
            years = times.astype("datetime64[Y]")
            shifted = (years - np.timedelta64(100, "Y")).astype("datetime64[M]") + (
                times.astype("datetime64[M]") - years.astype("datetime64[M]")
            )
            back = shifted.astype("datetime64[us]") + (times - times.astype("datetime64[M]"))
            times = np.where(late, back, times)
            out.aged[which] = late
        out.naive[which] = times
        midnight = times == times.astype("datetime64[D]")
        out.clock[which] = has_clock | ((clock != "") & ~midnight)
        left = left[~got]


def parse_dates(texts: list[str], formats: tuple[str, ...], now: np.datetime64) -> ParsedDates:
    """Read the different texts of a date column.

    Parameters
    ----------
    texts : list of str
        Cells, stripped, each once. ISO 8601 is always read, whatever the formats.
    formats : tuple of str
        See :class:`~fathomlight.ingest.recipe.TimePart`.
    now : numpy.datetime64
        The present, for two-digit years.

    Returns
    -------
    ParsedDates
        One entry per text.

    Examples
    --------
    >>> now = np.datetime64("2025-08-01")
    >>> parse_dates(["7/4/95", "7/4/38", "24.7."], ("%m/%d/%y",), now).naive.astype("datetime64[D]").tolist()
    [datetime.date(1995, 7, 4), datetime.date(1938, 7, 4), None]
    >>> str(parse_dates(["3/4/2020"], ("%m/%d/%Y", "%d/%m/%Y"), now).reason[0])
    'could be 4 Mar 2020 or 3 Apr 2020'
    """
    size = len(texts)
    series = pd.Series(texts, dtype=object)
    out = _blank(size)
    everything = np.arange(size)
    _iso(out, series, everything)
    iso = ~np.isnat(out.naive)
    rest = everything[~iso]
    for position, pattern in enumerate(formats):
        if not len(rest):
            break
        if pattern in ("excel", "excel-1904"):
            left = rest[np.isnat(out.naive[rest])]
            _serial(out, series, left, "1899-12-30" if pattern == "excel" else "1904-01-01")
        elif pattern != "iso":
            rivals = [p for p in formats[:position] if "%" in p and _order(p) != _order(pattern)]
            if rivals:
                _second_opinion(out, series, rest, pattern, now)
            _pattern(out, series, rest, pattern, now)
    for i in np.flatnonzero(np.isnat(out.naive)):
        if not out.reason[i]:
            out.reason[i] = "no date given" if not texts[i] else "not a date in a declared format"
    out.naive[np.array([bool(r) for r in out.reason], dtype=bool)] = _NAT
    return out


def _blank(size: int) -> ParsedDates:
    return ParsedDates(
        np.full(size, _NAT, dtype="datetime64[us]"),
        np.zeros(size, bool),
        np.zeros(size, bool),
        np.full(size, "", dtype=object),
        np.zeros(size, bool),
    )


def _second_opinion(
    out: ParsedDates, texts: pd.Series, rest: np.ndarray, pattern: str, now: np.datetime64
) -> None:
    """Mark texts that were read already, and that this pattern reads as another day."""
    done = rest[~np.isnat(out.naive[rest])]
    other = _blank(len(texts))
    _pattern(other, texts, done, pattern, now)
    for i in done:
        if not np.isnat(other.naive[i]) and other.naive[i] != out.naive[i]:
            first, second = (_spell(t.naive[i]) for t in (out, other))
            out.reason[i] = f"could be {first} or {second}"


def _spell(when: np.datetime64) -> str:
    stamp = pd.Timestamp(when)
    return f"{stamp.day} {stamp:%b %Y}"


def date_remedy(formats: tuple[str, ...]) -> str:
    """Say how a date may be written, by example.

    Parameters
    ----------
    formats : tuple of str
        The recipe's formats.

    Returns
    -------
    str
        One sentence.

    Examples
    --------
    >>> date_remedy(("%m/%d/%Y",))
    'Write it as 2025-07-24 or 07/24/2025.'
    """
    shown = ["2025-07-24"]
    shown += [_SAMPLE.strftime(f) for f in formats if "%" in f]
    shown += ["45862 (day number of a spreadsheet)" for f in formats if f == "excel"]
    return "Write it as " + " or ".join(dict.fromkeys(shown)) + "."


_AMPM = re.compile(r"(\d{1,2})(?::(\d{2}))?(?::(\d{2}))?\s*([ap])\.?\s*m\.?\Z", re.I)
_COLON = re.compile(r"(?:[\d/.-]+[ T])?(\d{1,2})[:.h](\d{2})(?::(\d{2})(?:\.\d+)?)?\Z", re.I)
_DIGITS = re.compile(r"(\d{1,2}?)(\d{2})(?:\.0+)?\Z")


def _clock_seconds(text: str) -> float:
    """Seconds after midnight of ``9:35``, ``930``, ``0930``, ``9:35 PM`` or ``12/30/1899 9:35:00``."""
    found = _AMPM.search(text)
    if found:
        hour = int(found.group(1))
        if not 1 <= hour <= 12:
            return float("nan")
        hour = hour % 12 + (12 if found.group(4).lower() == "p" else 0)
        return _seconds(hour, int(found.group(2) or 0), int(found.group(3) or 0))
    found = _COLON.match(text)
    if found:
        return _seconds(int(found.group(1)), int(found.group(2)), int(found.group(3) or 0))
    if re.fullmatch(r"0?\.\d+", text):  # a share of the day, as spreadsheets keep clock times
        return float(round(float(text) * 86_400)) if float(text) < 1 else float("nan")
    found = _DIGITS.fullmatch(text)
    if found:
        return _seconds(int(found.group(1) or 0), int(found.group(2)), 0)
    return 0.0 if text in ("0", "00") else float("nan")


def _seconds(hour: int, minute: int, second: int) -> float:
    if hour == 24 and minute == second == 0:  # end of the day, as ISO 8601:2004 and many loggers write it
        return 86_400.0
    return hour * 3600.0 + minute * 60 + second if hour < 24 and minute < 60 and second < 60 else float("nan")


def parse_clocks(texts: list[str], missing: np.ndarray) -> ParsedClocks:
    """Read the different texts of a column of clock times.

    Parameters
    ----------
    texts : list of str
        Cells, stripped, each once.
    missing : numpy.ndarray of bool
        Texts that stand for "no value".

    Returns
    -------
    ParsedClocks
        One entry per text.

    Examples
    --------
    >>> texts = ["930", "0930", "752", "12/30/1899 9:35:00", "9:35 PM", "2561", ""]
    >>> found = parse_clocks(texts, np.zeros(7, bool))
    >>> (found.seconds / 60).tolist()
    [570.0, 570.0, 472.0, 575.0, 1295.0, nan, nan]
    """
    seconds = np.full(len(texts), np.nan)
    reason = np.full(len(texts), "", dtype=object)
    for i, text in enumerate(texts):
        if missing[i] or not text:
            continue
        seconds[i] = _clock_seconds(text)
        if np.isnan(seconds[i]):
            reason[i] = "not a clock time"
    return ParsedClocks(seconds, reason)
