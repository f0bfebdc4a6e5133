"""Area of lake bed at the right light and temperature, at one instant."""

from __future__ import annotations

from typing import Any

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import FloatArray, elementwise
from fathomlight.indices.habitat.band import _crossings, optical_depth_band
from fathomlight.indices.habitat.species import WALLEYE, Species
from fathomlight.indices.light import K_DEFAULT
from fathomlight.indices.stratification.profile import tidy_profile
from fathomlight.indices.stratification.stability import depth_area


def band_area(
    secchi_m: Any,
    surface_lux: Any,
    area_depths_m: Any,
    areas_m2: Any,
    *,
    profile_depths_m: Any = None,
    temperatures: Any = None,
    species: Species = WALLEYE,
    k: float = K_DEFAULT,
) -> Any:
    """Area of lake bed with the right light, and given a profile the right temperature, at one instant.

    Parameters
    ----------
    secchi_m, surface_lux : float or array_like
        Secchi depth, [m], and illuminance just below the surface, [lux]; broadcast together.
    area_depths_m, areas_m2 : array_like, shape (m,)
        Depth-area table, [m] and [m2], from depth 0 to the deepest point; linear between rows. A last area
        greater than zero is a flat bottom at that depth.
    profile_depths_m, temperatures : array_like, shape (n,), optional
        Temperature profile, [m] and [degC]; the first and last reading are held to surface and bottom.
    species : Species
        Whose bands.
    k : float
        k in Kd = k / SD.

    Returns
    -------
    float or array
        ``A(z_high) - A(z_low)`` less the part outside the temperature band, [m2]; exact for linear tables.
        Zero where the lake is too shallow for its clarity: the bottom is brighter than the band.

    Raises
    ------
    ArgumentError
        An input is impossible, or only half of the profile is given.

    References
    ----------
    Lester, N.P. et al. 2004. Light and temperature: key factors affecting walleye abundance and production.
    Trans. Am. Fish. Soc. 133:588-605.

    Examples
    --------
    >>> cone = ([0, 10, 20], [4e6, 1e6, 0])
    >>> round(band_area(2.0, 100_000, *cone))
    535674
    """
    za, areas = depth_area(area_depths_m, areas_m2)
    if (profile_depths_m is None) != (temperatures is None):
        raise ArgumentError("temperatures", "give profile_depths_m and temperatures together")
    limits = {"low_lux": species.low_lux, "high_lux": species.high_lux}
    band = optical_depth_band(secchi_m, surface_lux, k=k, **limits)
    nodes, above, flat_suited = _suited_bed(za, areas, profile_depths_m, temperatures, species)

    def kernel(shallow: FloatArray, deep: FloatArray) -> FloatArray:
        flat = areas[-1] * flat_suited * ((shallow < za[-1]) & (deep >= za[-1]))
        area = np.interp(deep, nodes, above) - np.interp(shallow, nodes, above) + flat
        return np.where(np.isnan(shallow + deep), np.nan, area)

    names = ("secchi_m", "surface_lux")
    return elementwise(kernel, band.shallow_m, band.deep_m, names=names, unit="m2", label="habitat area")


def _suited_bed(
    za: FloatArray, areas: FloatArray, depths: Any, temperatures: Any, species: Species
) -> tuple[FloatArray, FloatArray, bool]:
    """Return depths, the suited bed shallower than each, and whether a flat bottom is suited."""
    if depths is None:
        return za, areas[0] - areas, True
    z, t = tidy_profile(depths, temperatures)
    if z.size == 0:
        raise ArgumentError("profile_depths_m", "the profile is empty")
    bottom = float(za[-1])
    nodes = np.unique(np.append(_crossings(z, t, (species.low_degc, species.high_degc), bottom), za))
    middle = np.interp((nodes[1:] + nodes[:-1]) / 2, z, t)
    good = (middle >= species.low_degc) & (middle <= species.high_degc)
    steps = -np.diff(np.interp(nodes, za, areas)) * good
    at_bottom = float(np.interp(bottom, z, t))
    return nodes, np.append(0.0, np.cumsum(steps)), species.low_degc <= at_bottom <= species.high_degc
