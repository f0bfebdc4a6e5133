"""Where in the water the light, and where the temperature, is right."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, as_floats, check_not_negative, check_positive, elementwise
from fathomlight.indices.habitat.species import WALLEYE, Species
from fathomlight.indices.light import K_DEFAULT, check_k, surface_illuminance_series
from fathomlight.indices.stratification.profile import tidy_profile


class OpticalDepthBand(NamedTuple):
    """Depths between which the light is right, [m]; equal depths when no water has that light."""

    shallow_m: Any
    deep_m: Any


def optical_depth_band(
    secchi_m: Any,
    surface_lux: Any,
    *,
    k: float = K_DEFAULT,
    low_lux: float = WALLEYE.low_lux,
    high_lux: float = WALLEYE.high_lux,
    bottom_m: Any = None,
) -> OpticalDepthBand:
    """Depths at which the light lies between two limits.

    Parameters
    ----------
    secchi_m : float or array_like
        Secchi depth, [m], greater than zero.
    surface_lux : float or array_like
        Illuminance just below the surface, [lux], not negative; broadcast with ``secchi_m``.
    k : float
        k in Kd = k / SD, [1].
    low_lux, high_lux : float
        Limits, [lux]; by default those of walleye (Lester et al. 2004).
    bottom_m : float or array_like, optional
        Depth to the bottom, [m]: both depths are clipped to it.

    Returns
    -------
    OpticalDepthBand
        ``shallow_m = ln(E0 / high) / Kd`` and ``deep_m = ln(E0 / low) / Kd``, [m], both at least 0. Where
        the two are equal, no water has that light: too dark at the surface, or still too bright at the
        bottom.

    Raises
    ------
    ArgumentError
        ``secchi_m`` or ``k`` is not greater than zero, ``surface_lux`` or ``bottom_m`` is negative, or the
        limits are not greater than zero and in order.

    Notes
    -----
    Between the limits the band is ``ln(high / low) SD / k`` thick whatever the sun does: 1.26 SD for
    walleye with k = 1.7.

    References
    ----------
    Lester, N.P. et al. 2004. Light and temperature: key factors affecting walleye abundance and production.
    Trans. Am. Fish. Soc. 133:588-605.

    Examples
    --------
    >>> shallow, deep = optical_depth_band(2.0, 100_000)
    >>> round(shallow, 3), round(deep, 3)
    (8.58, 11.098)
    """
    check_k(k)
    check_positive("low_lux", as_floats("low_lux", low_lux), "a light limit")
    if not high_lux > low_lux:
        raise ArgumentError("high_lux", "must be greater than low_lux", got=high_lux)

    def edge(limit: float, label: str) -> Any:
        def kernel(sd: FloatArray, lux: FloatArray, bottom: FloatArray) -> FloatArray:
            check_positive("secchi_m", sd, "a disc depth")
            check_not_negative("surface_lux", lux, "illuminance")
            if np.any(bottom < 0):
                raise ArgumentError("bottom_m", "a depth must not be negative", got=float(np.nanmin(bottom)))
            with np.errstate(divide="ignore"):
                depth = np.log(lux / limit) * sd / k
            return np.asarray(np.minimum(np.maximum(depth, 0.0), bottom))

        bottom = np.inf if bottom_m is None else bottom_m
        names = ("secchi_m", "surface_lux", "bottom_m")
        return elementwise(kernel, secchi_m, surface_lux, bottom, names=names, unit="m", label=label)

    return OpticalDepthBand(
        edge(high_lux, "upper edge of light band"), edge(low_lux, "lower edge of light band")
    )


def light_band_through_day(
    date: Any,
    secchi_m: float,
    latitude: float,
    longitude: float,
    *,
    species: Species = WALLEYE,
    k: float = K_DEFAULT,
    bottom_m: float | None = None,
    timezone: str = "UTC",
    step_minutes: int = 10,
    sky_factor: float = 1.0,
) -> pd.DataFrame:
    """Light band of a species through one day, for pictures.

    Parameters
    ----------
    date : date or str
        Local day.
    secchi_m : float
        Secchi depth, [m].
    latitude, longitude : float
        [deg].
    species : Species
        Whose band.
    k : float
        k in Kd = k / SD.
    bottom_m : float, optional
        Depth to the bottom, [m].
    timezone, step_minutes, sky_factor
        As for :func:`~fathomlight.indices.light.surface_illuminance_series`.

    Returns
    -------
    pandas.DataFrame
        Index ``time`` (UTC); ``elevation_deg``, ``illuminance_lux``, ``shallow_m``, ``deep_m``.

    Raises
    ------
    ArgumentError
        An input is impossible.
    """
    table = surface_illuminance_series(
        date, latitude, longitude, timezone=timezone, step_minutes=step_minutes, sky_factor=sky_factor
    )
    lux = table["illuminance_lux"].to_numpy()
    limits = {"low_lux": species.low_lux, "high_lux": species.high_lux}
    band = optical_depth_band(secchi_m, lux, k=k, bottom_m=bottom_m, **limits)
    return table.assign(shallow_m=band.shallow_m, deep_m=band.deep_m)


def thermal_depth_spans(
    depths_m: Any, temperatures: Any, *, species: Species = WALLEYE, bottom_m: float | None = None
) -> tuple[tuple[float, float], ...]:
    """Depth spans in which the temperature suits a species.

    Parameters
    ----------
    depths_m, temperatures : array_like, shape (n,)
        Profile, [m] and [degC]; linear between readings, first and last readings held to surface and bottom.
    species : Species
        Whose temperature band.
    bottom_m : float, optional
        Depth to the bottom, [m]; the deepest reading when left out.

    Returns
    -------
    tuple of (float, float)
        Spans (from, to), [m], from the surface down; empty when no water suits.

    Raises
    ------
    ArgumentError
        The profile is impossible or empty.

    Examples
    --------
    >>> thermal_depth_spans([0, 5, 10], [27, 23, 7])
    ((2.5, 8.75),)
    """
    z, t = tidy_profile(depths_m, temperatures)
    if z.size == 0:
        raise ArgumentError("depths_m", "the profile is empty")
    bottom = float(z[-1]) if bottom_m is None else float(bottom_m)
    nodes = _crossings(z, t, (species.low_degc, species.high_degc), bottom)
    middle = np.interp((nodes[1:] + nodes[:-1]) / 2, z, t)
    spans: list[tuple[float, float]] = []
    for a, b, m in zip(nodes[:-1], nodes[1:], middle, strict=True):
        if species.low_degc <= m <= species.high_degc:
            if spans and spans[-1][1] == a:
                spans[-1] = (spans[-1][0], float(b))
            else:
                spans.append((float(a), float(b)))
    return tuple(spans)


def _crossings(z: FloatArray, t: FloatArray, limits: tuple[float, ...], bottom: float) -> FloatArray:
    """Depths from 0 to ``bottom`` at which the profile has a reading or passes a limit."""
    found = [np.array([0.0, bottom]), z]
    step = np.diff(t)
    for limit in limits:
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (limit - t[:-1]) / step
        inside = (share > 0) & (share < 1)
        found.append((z[:-1] + share * np.diff(z))[inside])
    nodes = np.unique(np.concatenate(found))
    return np.asarray(nodes[(nodes >= 0) & (nodes <= bottom)])
