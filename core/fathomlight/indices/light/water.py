"""Light in the water: attenuation from the disc or from light readings, euphotic depth, light at a depth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fathomlight.errors import ArgumentError
from fathomlight.indices._values import (
    FloatArray,
    as_floats,
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
    unit = str(getattr(surface, "attrs", {}).get("units", ""))
    return elementwise(kernel, *values, names=("depth_m", "surface", "kd"), unit=unit, label="light at depth")
