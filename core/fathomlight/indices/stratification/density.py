"""Density of fresh water at the surface pressure, five published ways."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import Any, Literal

import numpy as np

from fathomlight.errors import OutOfRangeWarning
from fathomlight.indices._values import FloatArray, check_between, check_choice, elementwise

Formula = Literal["tanaka", "kell", "eos80", "chen-millero", "short"]


def _tanaka(t: FloatArray) -> FloatArray:
    return np.asarray(
        999.974950 * (1.0 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881))), dtype=float
    )


def _kell(t: FloatArray) -> FloatArray:
    top = np.polynomial.polynomial.polyval(
        t, [999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12]
    )
    return np.asarray(top / (1.0 + 16.879850e-3 * t), dtype=float)


def _eos80(t: FloatArray) -> FloatArray:
    coefficients = [999.842594, 6.793952e-2, -9.095290e-3, 1.001685e-4, -1.120083e-6, 6.536332e-9]
    return np.asarray(np.polynomial.polynomial.polyval(t, coefficients), dtype=float)


def _chen_millero(t: FloatArray) -> FloatArray:
    coefficients = [0.9998395, 6.7914e-5, -9.0894e-6, 1.0171e-7, -1.2846e-9, 1.1592e-11, -5.0125e-14]
    return np.asarray(1000.0 * np.polynomial.polynomial.polyval(t, coefficients), dtype=float)


def _short(t: FloatArray) -> FloatArray:
    return np.asarray(
        1000.0 * (1.0 - (t + 288.9414) * (t - 3.9863) ** 2 / (508929.2 * (t + 68.12963))), dtype=float
    )


_FORMULAS: dict[str, tuple[Callable[[FloatArray], FloatArray], float, float]] = {
    "tanaka": (_tanaka, 0.0, 40.0),
    "kell": (_kell, 0.0, 150.0),
    "eos80": (_eos80, 0.0, 40.0),
    "chen-millero": (_chen_millero, 0.0, 30.0),
    "short": (_short, 0.0, 40.0),
}
FORMULAS = tuple(_FORMULAS)
"""Names of the formulas :func:`water_density` knows."""

DENSEST_DEGC = 3.983035
"""Temperature of greatest density of fresh water, [degC] (Tanaka et al. 2001)."""


def check_temperature(argument: str, t: FloatArray) -> None:
    """Refuse what liquid water cannot have (supercooled water down to -2 degC is let through)."""
    check_between(argument, t, -2.0, 100.0, "the temperature of liquid water")


def water_density(temperature_degc: Any, *, formula: Formula = "tanaka") -> Any:
    """Density of air-free fresh water.

    Parameters
    ----------
    temperature_degc : float or array_like
        Water temperature, [degC], any shape.
    formula : {"tanaka", "kell", "eos80", "chen-millero", "short"}
        Which equation; the constants of the last two are quoted from memory of their sources.

    Returns
    -------
    float or array
        Density, [kg/m3], same shape; NaN stays NaN.

    Raises
    ------
    ArgumentError
        A temperature that liquid water cannot have, or an unknown formula.

    Warns
    -----
    OutOfRangeWarning
        A temperature outside the range of the formula: 0 to 40 degC (``kell`` to 150, ``chen-millero`` to
        30).

    Notes
    -----
    The formulas differ by up to 0.003 kg/m3 (``short`` by 0.027), mostly as a constant shift: gradients
    agree far better than levels. ``kell`` and ``eos80`` were made for the temperature scale IPTS-68; the
    difference (less than 0.01 degC here) is ignored. A misprinted constant of Kell (16.897850e-3 instead of
    16.879850e-3) is widely copied; the right one is used. Density is greatest near 3.98 degC: below that,
    colder water is lighter.

    References
    ----------
    Tanaka, M., G. Girard, R. Davis, A. Peuto & N. Bignell. 2001. Recommended table for the density of water
    between 0 C and 40 C based on recent experimental reports. Metrologia 38:301-309.

    Kell, G.S. 1975. J. Chem. Eng. Data 20:97-105.

    Fofonoff, N.P. & R.C. Millard. 1983. UNESCO Tech. Pap. Mar. Sci. 44 (zero salinity).

    Chen, C.T. & F.J. Millero. 1986. Limnol. Oceanogr. 31:657-662.

    Martin, J.L. & S.C. McCutcheon. 1999. Hydrodynamics and Transport for Water Quality Modeling (``short``).

    Examples
    --------
    >>> round(water_density(20.0), 4), round(water_density(4.0), 4)
    (998.2067, 999.9749)
    """
    check_choice("formula", formula, FORMULAS)
    function, low, high = _FORMULAS[formula]

    def kernel(t: FloatArray) -> FloatArray:
        check_temperature("temperature_degc", t)
        if np.any((t < low) | (t > high)):
            message = f"temperature_degc: the {formula} formula was made for {low:g} to {high:g} degC"
            warnings.warn(message, OutOfRangeWarning, stacklevel=4)
        return function(t)

    names = ("temperature_degc",)
    return elementwise(kernel, temperature_degc, names=names, unit="kg/m3", label="density of fresh water")


def density_quietly(t: FloatArray, formula: Formula) -> FloatArray:
    """Density without the range warning, for profiles with slightly supercooled readings."""
    check_choice("formula", formula, FORMULAS)
    return _FORMULAS[formula][0](t)
