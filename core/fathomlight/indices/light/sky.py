"""Light from the sky: the elevation of the sun, and the illuminance it gives from noon to deep twilight."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, as_floats, check_between, check_choice, elementwise

_SEIDELMANN: tuple[tuple[float, float, float, float, float], ...] = (
    # from elevation [deg], then a, b, c, d of log10 E = a + b x + c x^2 + d x^3 with x = elevation / 90
    (20.0, 3.74, 3.97, -4.07, 1.47),
    (5.0, 3.05, 13.28, -45.98, 64.33),
    (-0.8, 2.88, 22.26, -207.64, 1034.30),
    (-5.0, 2.88, 21.81, -258.11, -858.36),
    (-12.0, 2.70, 12.17, -431.69, -1899.83),
    (-18.0, 13.84, 262.72, 1447.42, 2797.93),
)


def illuminance(solar_elevation_deg: Any) -> Any:
    """Illuminance of a level surface under a clear sky, sun and twilight, from the elevation of the sun.

    Parameters
    ----------
    solar_elevation_deg : float or array_like
        Elevation of the sun's centre without refraction, [deg], -90 to 90; any shape.

    Returns
    -------
    float or array
        Illuminance, [lux], same shape; NaN stays NaN. Below -18 deg (astronomical night) the source ends
        and 0 is returned: moon and stars are left out.

    Raises
    ------
    ArgumentError
        The elevation lies outside -90 to 90.

    Notes
    -----
    ``log10 E = a + b x + c x^2 + d x^3``, ``x = elevation / 90``, with coefficients for six ranges; a range
    includes its lower end. Neighbouring ranges meet within 1 %.

    References
    ----------
    Seidelmann, P.K. (ed.) 1992. Explanatory Supplement to the Astronomical Almanac. University Science Books.

    Examples
    --------
    >>> round(illuminance(60.0)), round(illuminance(-6.0), 3), illuminance(-20.0)
    (103118, 3.412, 0.0)
    """

    def kernel(h: FloatArray) -> FloatArray:
        check_between("solar_elevation_deg", h, -90.0, 90.0, "the elevation of the sun")
        x = h / 90.0
        conditions = [h >= row[0] for row in _SEIDELMANN]
        choices = [10.0 ** (a + x * (b + x * (c + x * d))) for _, a, b, c, d in _SEIDELMANN]
        return np.where(np.isnan(h), np.nan, np.select(conditions, choices, default=0.0))

    with np.errstate(over="ignore"):
        return elementwise(
            kernel, solar_elevation_deg, names=("solar_elevation_deg",), unit="lux", label="illuminance"
        )


Sky = Literal["clear", "partly cloudy", "cloudy"]
_DAYLIGHT: dict[str, tuple[float | None, float, float, float]] = {
    # extinction c of the direct beam (None: no beam), then a, b, e of the diffuse part a + b sin(h)^e, [klx]
    "clear": (0.21, 0.8, 15.5, 0.5),
    "partly cloudy": (0.80, 0.3, 45.0, 1.0),
    "cloudy": (None, 0.3, 21.0, 1.0),
}


def daylight_illuminance(
    solar_elevation_deg: Any, *, sky: Sky = "clear", day_of_year: int | None = None
) -> Any:
    """Illuminance of a level surface by day, for three kinds of sky.

    A second opinion beside :func:`illuminance`, which also covers twilight.

    Parameters
    ----------
    solar_elevation_deg : float or array_like
        Elevation of the sun, [deg], -90 to 90; any shape.
    sky : {"clear", "partly cloudy", "cloudy"}
        State of the sky.
    day_of_year : int, optional
        1 to 366, for the distance of the sun; mean distance when left out.

    Returns
    -------
    float or array
        Direct plus diffuse illuminance, [lux]; 0 when the sun is at or below the horizon.

    Raises
    ------
    ArgumentError
        Elevation, sky or day are impossible.

    Notes
    -----
    Direct ``127.5 d exp(-c / sin h) sin h`` klx, c = 0.21 (clear) or 0.80 (partly cloudy), none when cloudy;
    ``d = 1 + 0.034 cos(2 pi (J - 2) / 365)``. Diffuse, in klx: clear ``0.8 + 15.5 sqrt(sin h)``, partly
    cloudy ``0.3 + 45 sin h``, cloudy ``0.3 + 21 sin h``; these constants are quoted from memory of the
    source. Clear sky differs from :func:`illuminance` by up to 25 % at 10 deg.

    References
    ----------
    IES Calculation Procedures Committee. 1984. Recommended practice for the calculation of daylight
    availability. J. Illum. Eng. Soc. 13:381-392.

    Examples
    --------
    >>> round(daylight_illuminance(45.0)), round(daylight_illuminance(45.0, sky="cloudy"))
    (80825, 15149)
    """
    check_choice("sky", sky, tuple(_DAYLIGHT))
    if day_of_year is not None and not 1 <= day_of_year <= 366:
        raise ArgumentError("day_of_year", "must lie between 1 and 366", got=day_of_year)
    distance = 1.0 if day_of_year is None else 1.0 + 0.034 * np.cos(2 * np.pi * (day_of_year - 2) / 365)
    c, a, b, e = _DAYLIGHT[sky]

    def kernel(h: FloatArray) -> FloatArray:
        check_between("solar_elevation_deg", h, -90.0, 90.0, "the elevation of the sun")
        s = np.where(h > 0, np.sin(np.radians(h)), np.nan)
        klx = a + b * s**e
        if c is not None:
            klx = klx + 127.5 * distance * np.exp(-c / s) * s
        return np.where(np.isnan(h), np.nan, np.where(h > 0, 1000.0 * klx, 0.0))

    names = ("solar_elevation_deg",)
    return elementwise(kernel, solar_elevation_deg, names=names, unit="lux", label="illuminance")


def solar_elevation(times: Any, latitude: float, longitude: float) -> FloatArray:
    """Elevation of the sun's centre without refraction, at UTC instants, by pvlib.

    Parameters
    ----------
    times : array_like of datetime
        Instants, shape (n,); those without zone are taken as UTC.
    latitude, longitude : float
        [deg], north and east positive.

    Returns
    -------
    numpy.ndarray of float, shape (n,)
        Elevation, [deg].

    Raises
    ------
    ArgumentError
        The place is not on Earth.
    """
    from pvlib import spa

    check_between("latitude", as_floats("latitude", latitude), -90.0, 90.0, "a latitude")
    check_between("longitude", as_floats("longitude", longitude), -180.0, 180.0, "a longitude")
    index = pd.DatetimeIndex(pd.to_datetime(times, utc=True))
    seconds = np.asarray(index.as_unit("ns").asi8 / 1e9)
    result = spa.solar_position_numpy(
        seconds, latitude, longitude, 0.0, 1013.25, 12.0, 67.0, 0.5667, 1, False, False
    )
    return np.asarray(result[3], dtype=float)


def surface_illuminance_series(
    dates: Any,
    latitude: float,
    longitude: float,
    *,
    step_minutes: int = 10,
    timezone: str = "UTC",
    sky_factor: float = 1.0,
) -> pd.DataFrame:
    """Illuminance at the surface through one or more whole days.

    Parameters
    ----------
    dates : date, str or array_like of them
        Local calendar days, shape (n,) or one.
    latitude, longitude : float
        [deg], north and east positive.
    step_minutes : int
        Step, [min]; must divide a day. Instants lie in the middle of each step.
    timezone : str
        IANA time zone in which the days begin and end.
    sky_factor : float
        Share of the clear-sky light that comes through, above 0 and at most 1.

    Returns
    -------
    pandas.DataFrame
        Index ``time`` (UTC); columns ``elevation_deg`` [deg] and ``illuminance_lux`` [lux].

    Raises
    ------
    ArgumentError
        The place, step or sky factor is impossible.

    Notes
    -----
    Sun by pvlib (Reda & Andreas 2004, Solar position algorithm for solar radiation applications),
    illuminance by :func:`illuminance`.

    Examples
    --------
    >>> day = surface_illuminance_series("2024-06-21", 45.0, -85.0, step_minutes=60)
    >>> len(day), bool(day.illuminance_lux.max() > 100000)
    (24, True)
    """
    check_step(step_minutes)
    if not 0 < sky_factor <= 1:
        raise ArgumentError("sky_factor", "must be above 0 and at most 1", got=sky_factor)
    days = pd.DatetimeIndex(
        np.atleast_1d(np.asarray(pd.to_datetime(dates), dtype="datetime64[us]"))
    ).normalize()
    parts = []
    for day in days:
        start = day.tz_localize(timezone, nonexistent="shift_forward", ambiguous=True).tz_convert("UTC")
        following = day + pd.Timedelta(days=1)
        end = following.tz_localize(timezone, nonexistent="shift_forward", ambiguous=True).tz_convert("UTC")
        first = start + pd.Timedelta(minutes=step_minutes / 2)
        parts.append(pd.date_range(first, end, freq=f"{step_minutes}min", inclusive="left"))
    times = parts[0].append(parts[1:]) if parts else pd.DatetimeIndex([], tz="UTC")
    elevation = solar_elevation(times, latitude, longitude) if len(times) else np.empty(0)
    table = {"elevation_deg": elevation, "illuminance_lux": sky_factor * illuminance(elevation)}
    return pd.DataFrame(table, index=times.rename("time"))


def check_step(step_minutes: int) -> None:
    """Refuse a time step that does not divide a day."""
    if step_minutes < 1 or 1440 % step_minutes:
        raise ArgumentError("step_minutes", "must divide a day of 1440 minutes", got=step_minutes)
