"""When each row was taken: columns with dates, clocks and zones become instants and local dates.

Conventions:

* ``local_date`` is the calendar date at the station. Where the file gives a date without a clock time, that
  date stays what it is, whatever its zone mark, and ``time`` stands at local noon; the row's note says
  :data:`NOON_NOTE`.
* A clock time that the station's clock skips (spring) is refused; one that it shows twice (autumn) is taken
  as the earlier, a repeat of the same row key in the same piece of the file as the later, and noted.
* Nothing before 1850 or later than a day from now is a reading.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from fathomlight.ingest.dates import ParsedDates, date_remedy, month_number, parse_clocks, parse_dates
from fathomlight.ingest.issues import Issues
from fathomlight.ingest.raw import RawTable
from fathomlight.ingest.recipe import Recipe
from fathomlight.ingest.values import is_missing, parse_numbers

__all__ = ["NOON_NOTE", "TWICE_NOTE", "Clockwork", "Instants"]

NOON_NOTE = "no clock time; noon assumed"
TWICE_NOTE = "clock time occurs twice that day; the earlier assumed"
EARLIEST = np.datetime64("1850-01-01", "us")
_NAT = np.datetime64("NaT", "us")
_DAY = np.timedelta64(86_400_000_000, "us")

_ZONES = {
    "utc": 0,
    "gmt": 0,
    "z": 0,
    "nst": -3.5,
    "ndt": -2.5,
    "ast": -4,
    "adt": -3,
    "est": -5,
    "edt": -4,
    "cst": -6,
    "cdt": -5,
    "mst": -7,
    "mdt": -6,
    "pst": -8,
    "pdt": -7,
    "akst": -9,
    "akdt": -8,
    "hst": -10,
    "ahst": -10,
}
"""Hours east of Greenwich of the zone codes of the water-quality exchange standard (North America)."""


@dataclass(frozen=True, slots=True)
class Instants:
    """One entry per row; NaT where the row is refused."""

    time: np.ndarray
    local_date: np.ndarray
    note: np.ndarray
    """Code: 0 nothing, 1 :data:`NOON_NOTE`, 2 :data:`TWICE_NOTE`."""


@dataclass
class Clockwork:
    """Turns date columns into instants; remembers across pieces of one file what it decided.

    Attributes
    ----------
    recipe : Recipe
        How the file is read.
    zones : mapping of str to str
        Station id -> IANA zone.
    now : numpy.datetime64
        The present, UTC.
    warnings : list of str
        What a person should know, once per file.
    """

    recipe: Recipe
    zones: Mapping[str, str]
    now: np.datetime64
    warnings: list[str] = field(default_factory=list)
    clock_rule: str = ""
    aged: int = 0

    def read(self, table: RawTable, station: np.ndarray, issues: Issues) -> Instants:
        """Read when each row was taken.

        Parameters
        ----------
        table : RawTable
            The rows.
        station : numpy.ndarray of object, shape (rows,)
            Station ids; empty where refused already.
        issues : Issues
            Receives rows without a usable date.

        Returns
        -------
        Instants
            One entry per row.
        """
        part = self.recipe.time
        naive, clock, utc = self._date_part(table, issues)
        if part.time_column and table.find(part.time_column) is not None:
            naive, clock, utc = self._time_part(table, naive, utc, issues)
        return self._instants(table, naive, clock, utc, station, issues)

    # -- dates ---------------------------------------------------------------------------------

    def _date_part(self, table: RawTable, issues: Issues) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        part = self.recipe.time
        if part.column:
            return self._date_column(table, issues)
        rows = len(table)
        if part.day_number_column:
            naive, clock = self._day_number(table, issues)
        else:
            naive, clock = self._split_date(table, issues), np.zeros(rows, bool)
        return naive, clock, np.zeros(rows, bool)

    def _date_column(self, table: RawTable, issues: Issues) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        part = self.recipe.time
        position = table.need(part.column, "date", self.recipe.name)
        coded = table.encoded(position)
        found = parse_dates(coded.texts, part.formats, self.now)
        self._blank_codes(found, coded.texts)
        self._decide_clock(found)
        rows = np.flatnonzero(coded.spread(np.isnat(found.naive)))
        codes = coded.codes[rows]
        issues.add(
            rows,
            table.header[position],
            np.array(coded.texts, dtype=object)[codes],
            found.reason[codes],
            date_remedy(part.formats),
        )
        self.aged += int(coded.spread(found.aged).sum())
        return coded.spread(found.naive), coded.spread(found.clock), coded.spread(found.utc)

    def _blank_codes(self, found: ParsedDates, texts: list[str]) -> None:
        blank = is_missing(texts, self.recipe.missing)
        found.naive[blank] = _NAT
        found.reason[blank] = "no date given"

    def _decide_clock(self, found: ParsedDates) -> None:
        """Decide once what midnight means in this file."""
        rule = self.clock_rule or self.recipe.time.clock
        if rule == "auto":
            timed = found.clock & ~np.isnat(found.naive)
            midnight = found.naive[timed] == found.naive[timed].astype("datetime64[D]")
            rule = "as written"
            if timed.any() and midnight.all() and not self.recipe.time.time_column:
                rule = "date only"
                self.warnings.append(
                    "every time in the date column is midnight: read as dates without a clock time, as "
                    'local dates. If midnight is meant, set time.clock = "as written" in the '
                    "recipe; if local midnight "
                    'was turned into UTC, set "local midnight in utc"'
                )
            if not timed.any():
                rule = ""
        self.clock_rule = rule
        if rule == "date only":
            good = ~np.isnat(found.naive)
            found.naive[good] = found.naive[good].astype("datetime64[D]").astype("datetime64[us]")
            found.clock[:] = False
            found.utc[:] = False

    def _numbers(self, table: RawTable, names: tuple[str, ...], what: str, issues: Issues) -> np.ndarray:
        position = table.need(names, what, self.recipe.name)
        coded = table.encoded(position)
        if what == "month":
            per_text = np.array([month_number(t) for t in coded.texts], dtype=float)
        else:
            per_text = parse_numbers(coded.texts, self.recipe.file.decimal)
        out = coded.spread(per_text)
        rows = np.flatnonzero(np.isnan(out))
        values = np.array(coded.texts, dtype=object)[coded.codes[rows]]
        issues.add(
            rows, table.header[position], values, np.where(values == "", f"no {what} given", f"not a {what}"),
            f"Fill in the {what}.",
        )  # fmt: skip
        return out

    def _year(self, table: RawTable, issues: Issues) -> np.ndarray:
        year = self._numbers(table, self.recipe.time.year_column, "year", issues)
        this = int(self.now.astype("datetime64[Y]").astype(int)) + 1970
        short = year < 100
        year = np.where(short, year + 2000, year)
        return np.where(short & (year > this), year - 100, year)

    def _split_date(self, table: RawTable, issues: Issues) -> np.ndarray:
        part = self.recipe.time
        year = self._year(table, issues)
        month = self._numbers(table, part.month_column, "month", issues)
        day = self._numbers(table, part.day_column, "day", issues)
        good = ~(np.isnan(year) | np.isnan(month) | np.isnan(day)) & (np.abs(year) < 10_000)
        naive = np.full(len(table), _NAT, dtype="datetime64[us]")
        months = (year[good].astype(int) - 1970) * 12 + month[good].astype(int) - 1
        first = months.astype("datetime64[M]")
        days = first.astype("datetime64[D]") + (day[good].astype(int) - 1).astype("timedelta64[D]")
        fits = (days.astype("datetime64[M]") == first) & (day[good] >= 1)
        naive[np.flatnonzero(good)[fits]] = days[fits].astype("datetime64[us]")
        rows = np.flatnonzero(np.isnat(naive))
        position = table.need(part.day_column, "day", self.recipe.name)
        texts = [table.columns[position][int(r)].as_py() for r in rows]
        issues.add(
            rows, table.header[position], texts, "this month has no such day", "Correct year, month or day."
        )
        return naive

    def _day_number(self, table: RawTable, issues: Issues) -> tuple[np.ndarray, np.ndarray]:
        part = self.recipe.time
        number = self._numbers(table, part.day_number_column, "day number", issues) - part.day_number_base
        good = ~np.isnan(number) & (np.abs(number) < 1e6)
        if part.year_column:
            year = self._year(table, issues)
            good &= ~np.isnan(year) & (np.abs(year) < 10_000)
            start = np.where(good, year, 1970).astype(int) - 1970
            origin = start.astype("datetime64[Y]").astype("datetime64[us]")
        else:
            origin = np.full(len(table), np.datetime64(part.reference_date, "us"))
        micros = np.round(np.where(good, number, 0) * 86_400_000).astype(np.int64) * 1000
        naive = origin + micros.astype("timedelta64[us]")
        naive[~good] = _NAT
        return naive, np.where(good, number, 0) % 1 != 0

    # -- clocks --------------------------------------------------------------------------------

    def _time_part(
        self, table: RawTable, naive: np.ndarray, utc: np.ndarray, issues: Issues
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        position = table.find(self.recipe.time.time_column)
        assert position is not None
        coded = table.encoded(position)
        found = parse_clocks(coded.texts, is_missing(coded.texts, self.recipe.missing))
        wrong = coded.spread(np.array([bool(r) for r in found.reason], dtype=bool))
        rows = np.flatnonzero(wrong)
        issues.add(
            rows, table.header[position], np.array(coded.texts, dtype=object)[coded.codes[rows]],
            "not a clock time", "Write it as 9:35, 0935 or 9:35 PM, or leave the cell empty.",
        )  # fmt: skip
        seconds = coded.spread(found.seconds)
        known = ~np.isnan(seconds)
        day = naive.astype("datetime64[D]").astype("datetime64[us]")
        micros = (np.where(known, seconds, 0) * 1e6).astype(np.int64).astype("timedelta64[us]")
        return day + micros, known, np.zeros(len(table), bool)

    # -- zones ---------------------------------------------------------------------------------

    def _zone_of_rows(self, table: RawTable, station: np.ndarray, issues: Issues) -> np.ndarray:
        """Zone in which each row's clock is written."""
        part = self.recipe.time
        own = _station_zones(station, self.zones)
        zone = own if part.zone == "station" else np.full(len(table), part.zone, dtype=object)
        position = table.find(part.zone_column) if part.zone_column else None
        if position is None:
            return zone
        coded = table.encoded(position)
        blank = is_missing(coded.texts, self.recipe.missing)
        named = np.array(
            ["" if b else _zone(t) for t, b in zip(coded.texts, blank, strict=True)], dtype=object
        )
        rows = np.flatnonzero(coded.spread(named == "?"))
        issues.add(
            rows,
            table.header[position],
            np.array(coded.texts, dtype=object)[coded.codes[rows]],
            "unknown time zone",
            "Use a code such as EST or CDT, UTC, an offset such as -06:00, or an IANA name.",
        )
        given = coded.spread(named)
        return np.where((given == "") | (given == "?"), zone, given)

    def _instants(
        self,
        table: RawTable,
        naive: np.ndarray,
        clock: np.ndarray,
        utc: np.ndarray,
        station: np.ndarray,
        issues: Issues,
    ) -> Instants:
        naive = self._within_calendar(table, naive, issues)
        own = _station_zones(station, self.zones)
        zone = self._zone_of_rows(table, station, issues)
        time = np.where(utc, naive, _NAT)
        note = np.zeros(len(table), dtype=np.int8)
        local_date = naive.astype("datetime64[D]").astype("datetime64[us]")
        if self.clock_rule == "local midnight in utc":
            clock = self._undo_midnight(table, naive, local_date, clock, own, issues)
            utc = np.zeros(len(table), bool)
        usable = ~np.isnat(naive) & (station != "")
        timed = usable & clock
        for name in pd.unique(zone[timed & ~utc]):
            here = np.flatnonzero(timed & ~utc & (zone == name))
            self._localise(here, str(name), naive, time, note, station, table, issues)
        for name in pd.unique(own[usable]):
            here = usable & (own == name)
            known = here & timed & ~np.isnat(time)
            same = known & ~utc & (zone == name)
            away = np.flatnonzero(known & ~same)
            if len(away):
                local_date[away] = _to_local(time[away], str(name))
            noon = np.flatnonzero(here & ~clock)
            if len(noon):
                time[noon] = _from_local(local_date[noon] + _DAY // 2, str(name))[0]
                note[noon] = 1
        self._check_range(table, time, issues)
        lost = np.flatnonzero(usable & np.isnat(time))
        issues.add(lost, _date_header(table, self.recipe), [_minute(t) for t in naive[lost]],
                   "this date does not exist at the station", "Correct the date.")  # fmt: skip
        return Instants(time, local_date, note)

    def _undo_midnight(
        self, table: RawTable, naive: np.ndarray, local_date: np.ndarray, clock: np.ndarray, own: np.ndarray,
        issues: Issues,
    ) -> np.ndarray:  # fmt: skip
        """Turn local midnights that were written in UTC back into local dates."""
        rows = np.flatnonzero(clock & ~np.isnat(naive) & (own != ""))
        slack = np.timedelta64(2, "h")  # an offset kept all year misses summer time by an hour
        for name in pd.unique(own[rows]):
            here = rows[own[rows] == name]
            local = _to_local(naive[here] + slack, str(name), whole_day=False)
            day = local.astype("datetime64[D]").astype("datetime64[us]")
            off = (local - day) > 2 * slack
            local_date[here] = day
            issues.add(
                here[off], _date_header(table, self.recipe), [str(t) for t in naive[here[off]]],
                "not a local midnight, though the recipe says that all are",
                'Set time.clock = "as written" in the recipe, or correct the time.',
            )  # fmt: skip
        return np.zeros(len(table), bool)

    def _localise(
        self, rows: np.ndarray, zone: str, naive: np.ndarray, time: np.ndarray, note: np.ndarray,
        station: np.ndarray, table: RawTable, issues: Issues,
    ) -> None:  # fmt: skip
        found, twice, later = _from_local(naive[rows], zone)
        if twice.any():
            picked = rows[twice]
            again = self._again(picked, naive, station, table)
            found[np.flatnonzero(twice)[again]] = later[twice][again]
            note[picked[~again]] = 2
        time[rows] = found
        gap = rows[np.isnat(found)]
        issues.add(
            gap, _date_header(table, self.recipe), [_minute(t) for t in naive[gap]],
            f"this clock time does not exist in {zone}: the clocks went forward",
            "Correct the time; if the logger keeps one offset all year, set time.zone to it, e.g. -06:00.",
        )  # fmt: skip

    def _again(self, rows: np.ndarray, naive: np.ndarray, station: np.ndarray, table: RawTable) -> np.ndarray:
        """Say which of these rows repeat station, clock time, parameter and depth of one before."""
        key = pd.DataFrame({"station": station[rows], "time": naive[rows]})
        names = [n for v in self.recipe.values for n in (v.parameter_column, v.replicate_column)]
        for name in [*names, self.recipe.depth.column]:
            position = table.find(name) if name else None
            if position is not None:
                key[f"c{position}"] = table.encoded(position).codes[rows]
        return key.duplicated().to_numpy()

    def _within_calendar(self, table: RawTable, naive: np.ndarray, issues: Issues) -> np.ndarray:
        """Refuse dates far outside before any zone is applied: time zones know no year 10000."""
        self._check_range(table, naive, issues, slack=2 * _DAY)
        far = (naive > self.now + 3 * _DAY) | (naive < EARLIEST - 2 * _DAY)
        return np.where(far, _NAT, naive)

    def _check_range(
        self, table: RawTable, time: np.ndarray, issues: Issues, slack: np.timedelta64 = 0 * _DAY
    ) -> None:
        for wrong, reason in (
            (time > self.now + _DAY + slack, "this date lies in the future"),
            (time < EARLIEST - slack, "this date lies before 1850"),
        ):
            rows = np.flatnonzero(wrong)
            issues.add(
                rows, _date_header(table, self.recipe), [_minute(t)[:10] for t in time[rows]], reason,
                "Correct the date; check the order of day, month and year in the recipe.",
            )  # fmt: skip


def _date_header(table: RawTable, recipe: Recipe) -> str:
    part = recipe.time
    position = table.find(part.column or part.day_number_column or part.year_column)
    return table.header[position] if position is not None else "date"


def _minute(when: np.datetime64) -> str:
    return str(when.astype("datetime64[m]")).replace("T", " ")


def _station_zones(station: np.ndarray, zones: Mapping[str, str]) -> np.ndarray:
    codes, ids = pd.factorize(station)
    return np.array([zones.get(str(i), "") for i in ids], dtype=object)[codes] if len(ids) else station


def _zone(text: str) -> str:
    """Turn a zone text into a fixed offset or IANA name; ``?`` when it is neither."""
    hours = _ZONES.get(text.casefold())
    if hours is not None:
        sign, minutes = ("-" if hours < 0 else "+"), round(abs(hours) * 60)
        return f"{sign}{minutes // 60:02d}:{minutes % 60:02d}"
    found = re.fullmatch(r"(?:UTC|GMT)?\s*([+-])(\d{1,2})(?::?(\d{2}))?", text, re.I)
    if found:
        return f"{found.group(1)}{int(found.group(2)):02d}:{found.group(3) or '00'}"
    try:
        return ZoneInfo(text).key
    except (KeyError, ValueError, OSError):
        return "?"


def _from_local(naive: np.ndarray, zone: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Turn clock times of a zone into UTC.

    Returns the instants (the earlier where the clock shows a time twice, NaT where it skips it), a mask of
    times shown twice, and the later instants.
    """
    fixed = re.fullmatch(r"([+-])(\d{2}):(\d{2})", zone)
    if fixed or zone == "UTC":
        minutes = int(fixed.group(1) + "1") * (int(fixed.group(2)) * 60 + int(fixed.group(3))) if fixed else 0
        out = naive - np.timedelta64(minutes * 60_000_000, "us")
        return out, np.zeros(len(naive), bool), out
    codes, times = pd.factorize(naive)
    clock = pd.DatetimeIndex(times)
    info = ZoneInfo(zone)
    early = _bare(clock.tz_localize(info, ambiguous=np.ones(len(clock), bool), nonexistent="NaT"))[codes]
    late = _bare(clock.tz_localize(info, ambiguous=np.zeros(len(clock), bool), nonexistent="NaT"))[codes]
    return early, (early != late) & ~np.isnat(early), late


def _bare(index: pd.DatetimeIndex) -> np.ndarray:
    return index.tz_convert("UTC").tz_localize(None).to_numpy(dtype="datetime64[us]")


def _to_local(time: np.ndarray, zone: str, *, whole_day: bool = True) -> np.ndarray:
    """Turn UTC into the clock (or calendar date) of a zone."""
    codes, times = pd.factorize(time)
    local = pd.DatetimeIndex(times).tz_localize("UTC").tz_convert(ZoneInfo(zone)).tz_localize(None)
    out = local.to_numpy(dtype="datetime64[us]")[codes]
    return out.astype("datetime64[D]").astype("datetime64[us]") if whole_day else out
