"""Light in and above the water: attenuation, euphotic depth, and the sun from noon to deep twilight.

``I(z) = I0 exp(-Kd z)``. From a disc reading, ``Kd = k / SD``; k depends on how much the water scatters and
how much it absorbs, so it is a setting, and every result names it:

- 1.7, clear water, the usual default: Poole, H.H. & W.R.G. Atkins. 1929. J. Mar. Biol. Assoc. UK 16:297-324
- 1.44, turbid water: Holmes, R.W. 1970. Limnol. Oceanogr. 15:688-694
- 1.45, a rough field estimate: Walker 1980, as quoted in teaching texts

For stained or glacial lakes these do not hold (Koenings & Edmundson 1991, Limnol. Oceanogr. 36:91-105);
measure light at two depths instead.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import (
    FloatArray,
    as_floats,
    check_between,
    check_choice,
    check_not_negative,
    check_positive,
    elementwise,
)
from fathomlight.model import Result

K_DEFAULT = 1.7
K_SOURCES = {
    1.7: "Poole & Atkins 1929",
    1.44: "Holmes 1970",
    1.45: "Walker 1980, as quoted in teaching texts",
}
"""Published k in Kd = k / SD, and who gave it."""


def k_words(k: float) -> str:
    """Name a k with its source.

    Examples
    --------
    >>> k_words(1.7), k_words(2.0)
    ('k = 1.7 (Poole & Atkins 1929)', 'k = 2 (own setting)')
    """
    return f"k = {k:g} ({K_SOURCES.get(round(float(k), 6), 'own setting')})"


def check_k(k: float) -> None:
    """Refuse a k that is not greater than zero."""
    check_positive("k", as_floats("k", k), "k in Kd = k / disc depth")


def attenuation(secchi_m: Any, *, k: float = K_DEFAULT) -> Any:
    """Diffuse attenuation coefficient from disc depth.

    Parameters
    ----------
    secchi_m : float or array_like
        Secchi depth, [m], greater than zero; any shape.
    k : float
        Product of disc depth and attenuation, [1]; see the module's table.

    Returns
    -------
    float or array
        ``Kd = k / SD``, [1/m], same shape; NaN stays NaN.

    Raises
    ------
    ArgumentError
        ``secchi_m`` or ``k`` is not greater than zero.

    References
    ----------
    Poole, H.H. & W.R.G. Atkins. 1929. Photo-electric measurements of submarine illumination throughout the
    year. J. Mar. Biol. Assoc. UK 16:297-324.

    Examples
    --------
    >>> attenuation(2.0), attenuation(2.0, k=1.44)
    (0.85, 0.72)
    """
    check_k(k)

    def kernel(sd: FloatArray) -> FloatArray:
        check_positive("secchi_m", sd, "a disc depth")
        return k / sd

    return elementwise(kernel, secchi_m, names=("secchi_m",), unit="1/m", label="attenuation coefficient")


def attenuation_from_light(upper_light: Any, lower_light: Any, upper_depth_m: Any, lower_depth_m: Any) -> Any:
    """Attenuation coefficient from light read at two depths.

    Parameters
    ----------
    upper_light, lower_light : float or array_like
        Light at the two depths in one unit (e.g. [umol/m2/s]), greater than zero; broadcast together.
    upper_depth_m, lower_depth_m : float or array_like
        The two depths, [m]; the lower one deeper.

    Returns
    -------
    float or array
        ``Kd = ln(I1 / I2) / (z2 - z1)``, [1/m]. Negative when the lower reading is the brighter one, which
        points to a cloud between the readings, not to water.

    Raises
    ------
    ArgumentError
        Light is not greater than zero, a depth is negative, or the lower depth is not below the upper.

    Examples
    --------
    >>> round(attenuation_from_light(1000.0, 100.0, 0.5, 2.5), 4)
    1.1513
    """

    def kernel(i1: FloatArray, i2: FloatArray, z1: FloatArray, z2: FloatArray) -> FloatArray:
        check_positive("upper_light", i1, "light")
        check_positive("lower_light", i2, "light")
        check_not_negative("upper_depth_m", z1, "a depth")
        check_not_negative("lower_depth_m", z2, "a depth")
        if np.any(z2 <= z1):
            raise ArgumentError(
                "lower_depth_m", "must be deeper than upper_depth_m", got=float(np.nanmin(z2))
            )
        return np.asarray(np.log(i1 / i2) / (z2 - z1))

    names = ("upper_light", "lower_light", "upper_depth_m", "lower_depth_m")
    values = (upper_light, lower_light, upper_depth_m, lower_depth_m)
    return elementwise(kernel, *values, names=names, unit="1/m", label="attenuation coefficient")


@dataclass(frozen=True, kw_only=True)
class AttenuationResult(Result):
    """Attenuation fitted to a light profile: ``kd`` [1/m] with limits, light at the surface, fit, depths."""

    kd: float
    kd_low: float
    kd_high: float
    surface: float
    r2: float
    n: int
    top_m: float
    bottom_m: float
    method: str
    notes: tuple[str, ...] = ()


def attenuation_from_profile(depths_m: Any, light: Any, *, confidence: float = 0.95) -> AttenuationResult:
    """Attenuation coefficient from light read at three depths or more: slope of ln(light) on depth.

    Parameters
    ----------
    depths_m, light : array_like, shape (n,)
        Depths, [m], and light in any one unit, greater than zero. Pairs with NaN are left out.
    confidence : float
        Of the limits, between 0 and 1.

    Returns
    -------
    AttenuationResult
        Least-squares ``Kd`` with Student's t limits, and the light just below the surface.

    Raises
    ------
    ArgumentError
        Fewer than three usable depths, light not greater than zero, or depths all equal.
    """
    from scipy import stats

    z, i = as_floats("depths_m", depths_m).ravel(), as_floats("light", light).ravel()
    if z.size != i.size:
        raise ArgumentError("light", "not as many values as depths", got=i.size, expected=str(z.size))
    check_not_negative("depths_m", z, "a depth")
    check_positive("light", i, "light")
    used = np.isfinite(z) & np.isfinite(i)
    z, i = z[used], i[used]
    if z.size < 3 or np.ptp(z) == 0:
        raise ArgumentError(
            "depths_m", "a fit needs light at three different depths or more", got=int(z.size)
        )
    fit = stats.linregress(z, np.log(i))
    half = float(stats.t.ppf(0.5 + confidence / 2, z.size - 2) * fit.stderr)
    kd = -float(fit.slope)
    notes = (
        () if fit.rvalue**2 >= 0.9 else ("The light does not fall evenly with depth: look at the profile.",)
    )
    return AttenuationResult(
        kd=kd,
        kd_low=kd - half,
        kd_high=kd + half,
        surface=float(np.exp(fit.intercept)),
        r2=float(fit.rvalue**2),
        n=int(z.size),
        top_m=float(z.min()),
        bottom_m=float(z.max()),
        method=(
            f"Least-squares slope of ln(light) on depth, {z.size} depths, "
            f"{confidence:.0%} limits by Student's t."
        ),
        notes=notes,
    )


def _kd(secchi_m: Any, kd: Any, k: float) -> Any:
    if (secchi_m is None) == (kd is None):
        raise ArgumentError("secchi_m", "give either disc depth or kd, not both and not neither")
    if kd is None:
        return attenuation(secchi_m, k=k)

    def kernel(v: FloatArray) -> FloatArray:
        check_positive("kd", v, "an attenuation coefficient")
        return v

    return elementwise(kernel, kd, names=("kd",), unit="1/m", label="attenuation coefficient")


def euphotic_depth(
    secchi_m: Any = None, *, kd: Any = None, k: float = K_DEFAULT, fraction: float = 0.01
) -> Any:
    """Depth at which a given share of the surface light is left; 1 % bounds the euphotic zone.

    Parameters
    ----------
    secchi_m : float or array_like, optional
        Secchi depth, [m]; or give ``kd``.
    kd : float or array_like, optional
        Measured attenuation coefficient, [1/m].
    k : float
        k in Kd = k / SD, used with ``secchi_m`` only.
    fraction : float
        Share of surface light, above 0 and below 1.

    Returns
    -------
    float or array
        ``-ln(fraction) / Kd``, [m], same shape; NaN stays NaN.

    Raises
    ------
    ArgumentError
        An input is not greater than zero, or both or neither of ``secchi_m`` and ``kd`` are given.

    Examples
    --------
    >>> round(euphotic_depth(2.0), 3), round(euphotic_depth(kd=0.85), 3)
    (5.418, 5.418)
    """
    if not 0 < fraction < 1:
        raise ArgumentError("fraction", "must lie between 0 and 1", got=fraction)

    def kernel(v: FloatArray) -> FloatArray:
        return np.asarray(-np.log(fraction) / v)

    return elementwise(kernel, _kd(secchi_m, kd, k), names=("kd",), unit="m", label="euphotic depth")


def light_at_depth(
    depth_m: Any, surface: Any, *, secchi_m: Any = None, kd: Any = None, k: float = K_DEFAULT
) -> Any:
    """Light at a depth, from the light just below the surface.

    Parameters
    ----------
    depth_m : float or array_like
        Depth, [m], not negative.
    surface : float or array_like
        Light just below the surface, any unit, not negative; broadcast with ``depth_m``.
    secchi_m, kd : float or array_like
        Disc depth, [m], or attenuation coefficient, [1/m]; exactly one of them.
    k : float
        k in Kd = k / SD, used with ``secchi_m`` only.

    Returns
    -------
    float or array
        ``surface * exp(-Kd * depth)``, unit of ``surface``.

    Raises
    ------
    ArgumentError
        A depth or light is negative, or an attenuation is not greater than zero.

    Examples
    --------
    >>> round(light_at_depth(2.0, 100.0, secchi_m=2.0), 1)  # 18.3 % is left at the disc depth with k = 1.7
    18.3
    """

    def kernel(z: FloatArray, e: FloatArray, a: FloatArray) -> FloatArray:
        check_not_negative("depth_m", z, "a depth")
        check_not_negative("surface", e, "light")
        return np.asarray(e * np.exp(-a * z))

    values = (depth_m, surface, _kd(secchi_m, kd, k))
    return elementwise(kernel, *values, names=("depth_m", "surface", "kd"), unit="", label="light at depth")


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
