"""What a rule needs to know besides the readings. Nothing here reads a clock or a file."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from fathomlight.alerts.sentence import Quantity
from fathomlight.errors import ArgumentError
from fathomlight.model import Parameter, Station, Water

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, kw_only=True)
class Context:
    """Surroundings of an evaluation.

    Attributes
    ----------
    as_of : pandas.Timestamp
        The instant taken as now, UTC; later readings are not looked at. A date means all of that day at each
        station; nobody knows how much of it has passed, so no logger is called silent for want of that day.
    stations, waters, parameters : mapping
        By id or name.
    open_water : tuple of int
        Months without ice, for schedules.
    trends : pandas.DataFrame or None
        One row a station and parameter: ``station``, ``parameter``, ``p``, ``slope``, ``direction``, and when
        there are ``n``, ``likelihood``, ``sentence``, ``through`` (the date of the newest reading used).
    classes : pandas.DataFrame or None
        Index classes by year: ``station``, ``index``, ``year``, ``label``, and when there is ``value``.
    classify : callable or None
        ``classify(index, value) -> label``, used where ``classes`` is None.
    show : callable or None
        ``show(parameter, value) -> text`` with unit, in the reader's units; the canonical unit when None.
    show_change : callable or None
        The same for a difference or a slope, with a sign and one digit more.
    """

    as_of: Any
    stations: Mapping[str, Station] = field(default_factory=dict)
    waters: Mapping[str, Water] = field(default_factory=dict)
    parameters: Mapping[str, Parameter] = field(default_factory=dict)
    open_water: tuple[int, ...] = tuple(range(1, 13))
    trends: pd.DataFrame | None = None
    classes: pd.DataFrame | None = None
    classify: Callable[[str, float], str] | None = None
    show: Callable[[str, float], str] | None = None
    show_change: Callable[[str, float], str] | None = None
    date: dt.date | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        """Turn ``as_of`` into an instant, remembering the date when it was one."""
        if isinstance(self.as_of, dt.date) and not isinstance(self.as_of, dt.datetime):
            object.__setattr__(self, "date", self.as_of)
        object.__setattr__(self, "as_of", as_instant(self.as_of))

    def until(self, station: str) -> pd.Timestamp:
        """Return the last instant looked at: ``as_of``, or for a date the end of that day at the station."""
        if self.date is None:
            end: pd.Timestamp = self.as_of
            return end
        return self._midnight(station, 1) - pd.Timedelta(microseconds=1)

    def surely_past(self, station: str) -> pd.Timestamp:
        """Return the last instant that is surely past: ``as_of``, or for a date the beginning of that day."""
        if self.date is None:
            now: pd.Timestamp = self.as_of
            return now
        return self._midnight(station, 0)

    def _midnight(self, station: str, days: int) -> pd.Timestamp:
        assert self.date is not None
        local = pd.Timestamp(self.date) + pd.Timedelta(days=days)
        zone = self.timezone(station)
        stamp: pd.Timestamp = local.tz_localize(zone, ambiguous=False, nonexistent="shift_forward")
        return stamp.tz_convert("UTC").as_unit("us")

    def text(self, parameter: str, value: float, qualifier: str = "=") -> Quantity:
        """Write a value with its unit and the precision of the measurement.

        Parameters
        ----------
        parameter : str
        value : float
            In the canonical unit.
        qualifier : str
            ``<`` or ``>`` is put in front.

        Returns
        -------
        Quantity
            For example ``> 1.5 m``; the number stays beside the text.
        """
        sign = "" if qualifier == "=" else f"{qualifier} "
        known = self.parameters.get(parameter)
        if self.show is not None:
            text = self.show(parameter, value)
        elif known is None:
            text = f"{value:g}"
        else:
            text = f"{value:.{known.decimals}f} {known.unit}"
        return Quantity(sign + text, "value", parameter, value, qualifier)

    def change(self, parameter: str, value: float) -> Quantity:
        """Write a difference or a slope with its sign, unit, and one digit more than the measurement has.

        Parameters
        ----------
        parameter : str
        value : float
            In the canonical unit.

        Returns
        -------
        Quantity
            For example ``-0.04 m``; the number stays beside the text.
        """
        known = self.parameters.get(parameter)
        if self.show_change is not None:
            text = self.show_change(parameter, value)
        elif known is None:
            text = f"{value:+.2g}"
        else:
            text = f"{value:+.{known.decimals + 1}f} {known.unit}"
        return Quantity(text, "change", parameter, value)

    def timezone(self, station: str) -> str:
        """Return the IANA time zone of a station, UTC when it is unknown."""
        known = self.stations.get(station)
        return known.timezone if known else "UTC"

    def day(self, station: str, instant: pd.Timestamp) -> str:
        """Write the local date of an instant, as in ``24 Jul 2025``."""
        local = instant.tz_convert(self.timezone(station))
        return f"{local.day} {MONTHS[local.month - 1]} {local.year}"


def as_instant(value: Any) -> pd.Timestamp:
    """Return a UTC instant; a date without time means the end of that day.

    Parameters
    ----------
    value : date, datetime, str or Timestamp

    Returns
    -------
    pandas.Timestamp

    Raises
    ------
    fathomlight.errors.ArgumentError
        When it is no time.

    Examples
    --------
    >>> as_instant("2025-07-24 12:00")
    Timestamp('2025-07-24 12:00:00+0000', tz='UTC')
    >>> as_instant(dt.date(2025, 7, 24)).hour
    23
    """
    try:
        stamp = pd.Timestamp(value)
    except (TypeError, ValueError):
        raise ArgumentError("as_of", "must be a date or an instant", got=value) from None
    if pd.isna(stamp):
        raise ArgumentError("as_of", "must be a date or an instant", got=value)
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        stamp = stamp + pd.Timedelta(days=1) - pd.Timedelta(microseconds=1)
    utc: pd.Timestamp = stamp.tz_localize("UTC") if stamp.tzinfo is None else stamp.tz_convert("UTC")
    return utc.as_unit("us")
